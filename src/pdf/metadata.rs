//! What the file says of itself: information, XMP, the colours' meaning.

use lopdf::{Object, Stream, dictionary};

use crate::page::Document;

use super::colour;
use super::finish::{Finish, words};
use super::write::PdfError;

impl Finish<'_> {
    pub(super) fn catalog(&mut self, document: &Document) -> Result<(), PdfError> {
        let profile = Stream::new(dictionary! { "N" => 3, "Alternate" => "DeviceRGB" }, colour::srgb());
        let profile = self.file.add_object(profile);
        let intent = self.file.add_object(dictionary! {
            "Type" => "OutputIntent",
            "S" => "GTS_PDFA1",
            "OutputConditionIdentifier" => words("sRGB"),
            "Info" => words("sRGB IEC61966-2.1"),
            "DestOutputProfile" => Object::Reference(profile),
        });
        let day = date(document);
        let metadata = Stream::new(
            dictionary! { "Type" => "Metadata", "Subtype" => "XML" },
            xmp(document, day.as_deref()).into_bytes(),
        )
        .with_compression(false);
        let metadata = self.file.add_object(metadata);

        let mut info = dictionary! {
            "Title" => words(&document.title),
            "Creator" => words("weirbook"),
            "Producer" => words("weirbook"),
        };
        for (key, value) in [("Author", &document.author), ("Subject", &document.subject)] {
            if !value.is_empty() {
                info.set(key, words(value));
            }
        }
        if let Some(day) = &day {
            let stamp = format!("D:{}000000Z", day.replace('-', ""));
            info.set("CreationDate", words(&stamp));
            info.set("ModDate", words(&stamp));
        }
        let info = self.file.add_object(info);
        self.file.trailer.set("Info", Object::Reference(info));

        let catalog = self.file.catalog_mut()?;
        catalog.remove(b"PageMode");
        catalog.remove(b"PageLayout");
        catalog.set("Lang", words(&document.language));
        catalog.set("ViewerPreferences", dictionary! { "DisplayDocTitle" => true });
        catalog.set("OutputIntents", vec![Object::Reference(intent)]);
        catalog.set("Metadata", Object::Reference(metadata));
        Ok(())
    }
}

/// The document's date, if it is one.
pub(super) fn date(document: &Document) -> Option<String> {
    let date = document.date.as_bytes();
    let good = date.len() == 10
        && date.iter().enumerate().all(|(at, b)| if at == 4 || at == 7 { *b == b'-' } else { b.is_ascii_digit() });
    good.then(|| document.date.clone())
}

fn escape(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// The XMP packet: what the file is, and that it keeps to PDF/A-3a and PDF/UA-1.
fn xmp(document: &Document, day: Option<&str>) -> String {
    let title = escape(&document.title);
    let language = escape(&document.language);
    let mut fields = format!(
        "<dc:format>application/pdf</dc:format>\n\
         <dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">{title}</rdf:li></rdf:Alt></dc:title>\n\
         <dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>\n"
    );
    if !document.author.is_empty() {
        let author = escape(&document.author);
        fields += &format!("<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>\n");
    }
    if !document.subject.is_empty() {
        let subject = escape(&document.subject);
        fields += &format!(
            "<dc:description><rdf:Alt><rdf:li xml:lang=\"x-default\">{subject}</rdf:li></rdf:Alt></dc:description>\n"
        );
    }
    if let Some(day) = day {
        fields += &format!(
            "<xmp:CreateDate>{day}T00:00:00Z</xmp:CreateDate>\n<xmp:ModifyDate>{day}T00:00:00Z</xmp:ModifyDate>\n"
        );
    }
    format!(
        "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n\
<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n\
<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n\
<rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" \
xmlns:pdf=\"http://ns.adobe.com/pdf/1.3/\" xmlns:pdfaid=\"http://www.aiim.org/pdfa/ns/id/\" \
xmlns:pdfuaid=\"http://www.aiim.org/pdfua/ns/id/\" xmlns:pdfaExtension=\"http://www.aiim.org/pdfa/ns/extension/\" \
xmlns:pdfaSchema=\"http://www.aiim.org/pdfa/ns/schema#\" xmlns:pdfaProperty=\"http://www.aiim.org/pdfa/ns/property#\">\n\
{fields}\
<xmp:CreatorTool>weirbook</xmp:CreatorTool>\n\
<pdf:Producer>weirbook</pdf:Producer>\n\
<pdfaid:part>3</pdfaid:part>\n\
<pdfaid:conformance>A</pdfaid:conformance>\n\
<pdfuaid:part>1</pdfuaid:part>\n\
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType=\"Resource\">\n\
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>\n\
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>\n\
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>\n\
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType=\"Resource\">\n\
<pdfaProperty:name>part</pdfaProperty:name>\n\
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>\n\
<pdfaProperty:category>internal</pdfaProperty:category>\n\
<pdfaProperty:description>Part of the PDF/UA standard</pdfaProperty:description>\n\
</rdf:li></rdf:Seq></pdfaSchema:property>\n\
</rdf:li></rdf:Bag></pdfaExtension:schemas>\n\
</rdf:Description>\n\
</rdf:RDF>\n\
</x:xmpmeta>\n\
<?xpacket end=\"w\"?>"
    )
}
