//! What the file says of itself: information, XMP, the colours' meaning.

use lopdf::{Object, Stream, StringFormat, dictionary};
use sha2::{Digest, Sha256};

use crate::page::Document;

use super::attach::is_noncharacter;
use super::colour;
use super::finish::{Finish, words};
use super::write::PdfError;

/// Who made the file.
const PROGRAM: &str = "weirbook";

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
            "Title" => words(&title(document)),
            "Creator" => words(PROGRAM),
            "Producer" => words(PROGRAM),
        };
        for (key, value) in [("Author", &document.author), ("Subject", &document.subject)] {
            let value = plain(value);
            if !value.is_empty() {
                info.set(key, words(&value));
            }
        }
        if let Some(day) = &day {
            let stamp = format!("D:{}000000Z", day.replace('-', ""));
            info.set("CreationDate", words(&stamp));
            info.set("ModDate", words(&stamp));
        }
        let info = self.file.add_object(info);
        self.file.trailer.set("Info", Object::Reference(info));

        let labels = dictionary! { "Nums" => vec![0.into(), dictionary! { "S" => "D" }.into()] };
        let catalog = self.file.catalog_mut()?;
        catalog.set("PageLabels", labels);
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

/// The same words as in the information dictionary, as XML.
fn escape(text: &str) -> String {
    plain(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// A text without what XML cannot hold, so that both places can say the same. A reader takes spaces at the ends of a
/// text for layout.
fn plain(text: &str) -> String {
    let clean: String = text.chars().map(|c| if c.is_control() || is_noncharacter(c) { ' ' } else { c }).collect();
    clean.trim().to_owned()
}

/// The title: there is always one.
fn title(document: &Document) -> String {
    let title = plain(&document.title);
    if title.is_empty() { "Untitled".to_owned() } else { title }
}

/// Stands in the file where its identifier goes.
pub(super) fn placeholder(document: &Document) -> Vec<Object> {
    let id = Object::String(identifier(&document.fingerprint), StringFormat::Hexadecimal);
    vec![id.clone(), id]
}

fn identifier(hash: &[u8]) -> Vec<u8> {
    hash.iter().copied().take(16).collect()
}

/// Puts the hash of the whole file where the placeholder stands: two files that differ anywhere have two identifiers.
pub(super) fn identify(file: &mut [u8], document: &Document) {
    let hex = |bytes: Vec<u8>| bytes.iter().map(|byte| format!("{byte:02X}")).collect::<String>().into_bytes();
    let old = hex(identifier(&document.fingerprint));
    let new = hex(identifier(&Sha256::digest(&*file)));
    // The trailer is the last thing in the file.
    let mut end = file.len();
    for _ in 0..2 {
        let found =
            file.get(..end).unwrap_or_default().windows(old.len()).rposition(|at| at.eq_ignore_ascii_case(&old));
        let Some(at) = found else { return };
        if let Some(place) = file.get_mut(at..at + old.len()) {
            place.copy_from_slice(&new);
        }
        end = at;
    }
}

/// The XMP packet: what the file is, and that it keeps to PDF/A-3a and PDF/UA-1.
fn xmp(document: &Document, day: Option<&str>) -> String {
    let title = escape(&title(document));
    let language = escape(&document.language);
    let mut fields = format!(
        "<dc:format>application/pdf</dc:format>\n\
         <dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">{title}</rdf:li></rdf:Alt></dc:title>\n\
         <dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>\n"
    );
    let author = escape(&document.author);
    if !author.is_empty() {
        fields += &format!("<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>\n");
    }
    let subject = escape(&document.subject);
    if !subject.is_empty() {
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
<xmp:CreatorTool>{PROGRAM}</xmp:CreatorTool>\n\
<pdf:Producer>{PROGRAM}</pdf:Producer>\n\
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
