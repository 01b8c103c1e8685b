//! What printpdf does not write: structure, outline, links, metadata, colours' meaning, attachments.

use std::collections::{BTreeMap, BTreeSet};

use lopdf::{Dictionary, Document as File, Object, ObjectId, Stream, StringFormat, dictionary};

use crate::page::display::{Bounds, DisplayList, Role, Scope, TagId, Target};
use crate::page::fonts::Fonts;
use crate::page::{Document, Face};

use super::colour;
use super::write::{Attachment, Drawn, FaceResource, Marked, PdfError, kept_empty, owners, round};

/// The name of a role in the file.
pub(super) fn structure_type(role: &Role) -> &'static str {
    match role {
        Role::Document => "Document",
        Role::Section => "Sect",
        Role::Heading(1) => "H1",
        Role::Heading(2) => "H2",
        Role::Heading(3) => "H3",
        Role::Heading(4) => "H4",
        Role::Heading(5) => "H5",
        Role::Heading(_) => "H6",
        Role::Paragraph => "P",
        Role::List { .. } => "L",
        Role::ListItem => "LI",
        Role::Label => "Lbl",
        Role::ListBody => "LBody",
        Role::Table => "Table",
        Role::Row => "TR",
        Role::HeadCell(_) => "TH",
        Role::Cell => "TD",
        Role::Figure { .. } => "Figure",
        Role::Formula { .. } => "Formula",
        Role::Link => "Link",
        Role::Span | Role::Written(_) => "Span",
    }
}

fn name(text: &str) -> Object {
    Object::Name(text.as_bytes().to_vec())
}

/// A text string: plain where it is ASCII, else UTF-16.
fn words(text: &str) -> Object {
    if text.bytes().all(|b| (0x20..0x7f).contains(&b)) {
        return Object::String(text.as_bytes().to_vec(), StringFormat::Literal);
    }
    let mut bytes = vec![0xfe, 0xff];
    bytes.extend(text.encode_utf16().flat_map(u16::to_be_bytes));
    Object::String(bytes, StringFormat::Hexadecimal)
}

fn real(v: f32) -> Object {
    Object::Real(round(v))
}

struct Finish<'a> {
    file: File,
    list: &'a DisplayList,
    pages: Vec<ObjectId>,
}

/// Completes the file and saves it.
pub(super) fn finish(
    file: File,
    list: &DisplayList,
    document: &Document,
    fonts: &Fonts,
    faces: &[FaceResource],
    drawn: Drawn,
    attachments: &[Attachment],
) -> Result<Vec<u8>, PdfError> {
    let mut finish = Finish { file, list, pages: Vec::new() };
    finish.repair_fonts(fonts, faces)?;
    // The file is still small: what is added from here on is all used, and numbered without gaps. To prune and renumber
    // it with its structure tree took a sixth of a plan's time.
    finish.file.trailer.remove(b"Info");
    finish.file.prune_objects();
    finish.file.renumber_objects();
    finish.pages = finish.file.get_pages().into_values().collect();
    finish.contents(drawn.contents)?;
    finish.structure(&drawn.marked)?;
    finish.outline()?;
    finish.catalog(document)?;
    finish.attach(attachments, document)?;

    let mut file = finish.file;
    file.version = "1.7".to_owned();
    let id = Object::String(document.fingerprint.iter().copied().take(16).collect(), StringFormat::Hexadecimal);
    file.trailer.set("ID", vec![id.clone(), id]);
    super::save::save(&file)
}

impl Finish<'_> {
    /// The drawing operators of each page.
    fn contents(&mut self, contents: Vec<Vec<u8>>) -> Result<(), PdfError> {
        for (page, content) in self.pages.iter().zip(contents) {
            let id = self
                .file
                .get_page_contents(*page)
                .first()
                .copied()
                .ok_or_else(|| PdfError::Assembly("a page without content".to_owned()))?;
            self.file.get_object_mut(id)?.as_stream_mut()?.set_plain_content(content);
        }
        Ok(())
    }

    /// printpdf takes the height of capitals from the ascender, knows no serifs, and embeds a face once per resource.
    fn repair_fonts(&mut self, fonts: &Fonts, faces: &[FaceResource]) -> Result<(), PdfError> {
        let mut programs: BTreeMap<Face, Object> = BTreeMap::new();
        let mut resources: BTreeMap<String, ObjectId> = BTreeMap::new();
        for object in self.file.objects.values() {
            let Ok(dictionary) = object.as_dict() else { continue };
            for face in faces {
                if let Ok(Object::Reference(id)) = dictionary.get(face.name.as_bytes()) {
                    resources.insert(face.name.clone(), *id);
                }
            }
        }
        for face in faces {
            let Some(&id) = resources.get(&face.name) else { continue };
            let descriptor = self
                .file
                .get_dictionary(id)
                .and_then(|font| font.get(b"DescendantFonts"))
                .and_then(Object::as_array)
                .ok()
                .and_then(|fonts| fonts.first())
                .and_then(|font| font.as_dict().ok())
                .and_then(|font| font.get(b"FontDescriptor").ok())
                .and_then(|descriptor| descriptor.as_reference().ok())
                .ok_or_else(|| PdfError::Assembly(format!("no descriptor for {}", face.name)))?;
            let measures = fonts.measures(face.face).ok_or(PdfError::Font(face.face))?;
            let descriptor = self.file.get_dictionary_mut(descriptor)?;
            descriptor.set("CapHeight", i64::from(measures.cap_height));
            descriptor.set("XHeight", i64::from(measures.x_height));
            let serif = !matches!(face.face, Face::Sans | Face::SansItalic | Face::SansSemibold | Face::SansBold);
            let flags = descriptor.get(b"Flags").and_then(Object::as_i64).unwrap_or(32);
            descriptor.set("Flags", if serif { flags | 2 } else { flags });
            if let Ok(program) = descriptor.get(b"FontFile3") {
                let shared = programs.entry(face.face).or_insert_with(|| program.clone()).clone();
                descriptor.set("FontFile3", shared);
            }
        }
        Ok(())
    }

    fn page(&self, number: usize) -> Result<ObjectId, PdfError> {
        self.pages.get(number).copied().ok_or_else(|| PdfError::Assembly(format!("no page {}", number + 1)))
    }

    /// The structure tree, its map from marked content, and the links.
    fn structure(&mut self, marked: &[Marked]) -> Result<(), PdfError> {
        let root = self.file.new_object_id();
        let list = self.list;
        let parent = |tag: TagId| list.tags.get(tag.0 as usize).and_then(|node| node.parent);

        // Children stand in the order in which their content is met; empty cells keep their place by their number.
        let mut kids: BTreeMap<TagId, Vec<Kid>> = BTreeMap::new();
        let mut placed: BTreeSet<TagId> = BTreeSet::from([TagId(0)]);
        let hang = |tag: TagId, kids: &mut BTreeMap<TagId, Vec<Kid>>, placed: &mut BTreeSet<TagId>| {
            let mut at = tag;
            let mut chain = Vec::new();
            while placed.insert(at) {
                chain.push(at);
                match parent(at) {
                    Some(above) => at = above,
                    None => break,
                }
            }
            for tag in chain.into_iter().rev() {
                if let Some(above) = parent(tag) {
                    kids.entry(above).or_default().push(Kid::Tag(tag));
                }
            }
        };
        for each in marked {
            hang(each.tag, &mut kids, &mut placed);
            kids.entry(each.tag).or_default().push(Kid::Content { page: each.page, number: each.number });
        }
        let used = owners(marked);
        for (index, node) in list.tags.iter().enumerate() {
            let tag = TagId(index as u32);
            if placed.contains(&tag) || used.contains(&tag) || !kept_empty(&node.role) {
                continue;
            }
            let Some(above) = node.parent.filter(|above| placed.contains(above)) else { continue };
            let siblings = kids.entry(above).or_default();
            let at =
                siblings.iter().rposition(|kid| matches!(kid, Kid::Tag(other) if *other < tag)).map_or(0, |at| at + 1);
            siblings.insert(at, Kid::Tag(tag));
            placed.insert(tag);
        }

        // Only tags that are placed become objects.
        let mut ids: Vec<Option<ObjectId>> = Vec::with_capacity(list.tags.len());
        for index in 0..list.tags.len() {
            ids.push(placed.contains(&TagId(index as u32)).then(|| self.file.new_object_id()));
        }
        let id_of = |tag: TagId| ids.get(tag.0 as usize).copied().flatten();

        // Links: each an annotation, an object reference in its tag, and an entry in the parent tree.
        let mut numbers: Vec<Object> = Vec::new();
        let mut by_page: Vec<Vec<Object>> = vec![Vec::new(); self.pages.len()];
        for each in marked {
            if let (Some(entries), Some(id)) = (by_page.get_mut(each.page), id_of(each.tag)) {
                entries.push(Object::Reference(id));
            }
        }
        for (index, entries) in by_page.into_iter().enumerate() {
            numbers.push(Object::Integer(index as i64));
            numbers.push(Object::Reference(self.file.add_object(entries)));
        }
        let mut next_key = self.pages.len() as i64;
        for (number, page) in list.pages.iter().enumerate() {
            let page_id = self.page(number)?;
            let mut annotations = Vec::new();
            for link in &page.links {
                let Some((target_page, y)) = self.destination(&link.target) else { continue };
                let Some(tag_id) = link.tag.and_then(id_of) else { continue };
                let destination = self.view(target_page, y)?;
                let annotation = self.file.add_object(dictionary! {
                    "Type" => "Annot",
                    "Subtype" => "Link",
                    "Rect" => self.rectangle(&link.bounds),
                    "Border" => vec![0.into(), 0.into(), 0.into()],
                    "F" => 4,
                    "Contents" => words(&link.description),
                    "StructParent" => next_key,
                    "Dest" => destination,
                });
                numbers.push(Object::Integer(next_key));
                numbers.push(Object::Reference(tag_id));
                next_key += 1;
                annotations.push(Object::Reference(annotation));
                if let Some(tag) = link.tag {
                    kids.entry(tag).or_default().push(Kid::Annotation { page: number, id: annotation });
                }
            }
            let dictionary = self.file.get_dictionary_mut(page_id)?;
            dictionary.remove(b"Annots");
            if !annotations.is_empty() {
                dictionary.set("Annots", annotations);
            }
            dictionary.set("StructParents", number as i64);
            dictionary.set("Tabs", name("S"));
        }

        for (index, node) in list.tags.iter().enumerate() {
            let tag = TagId(index as u32);
            let Some(id) = id_of(tag) else { continue };
            let mut element = dictionary! {
                "Type" => "StructElem",
                "S" => name(structure_type(&node.role)),
                "P" => Object::Reference(node.parent.and_then(id_of).unwrap_or(root)),
            };
            let own = kids.remove(&tag).unwrap_or_default();
            let home = own.iter().find_map(|kid| match kid {
                Kid::Content { page, .. } => Some(*page),
                _ => None,
            });
            if let Some(home) = home {
                element.set("Pg", Object::Reference(self.page(home)?));
            }
            let mut entries = Vec::new();
            for kid in own {
                entries.push(match kid {
                    Kid::Tag(child) => match id_of(child) {
                        Some(child) => Object::Reference(child),
                        None => continue,
                    },
                    Kid::Content { page, number } if Some(page) == home => Object::Integer(number),
                    Kid::Content { page, number } => Object::Dictionary(dictionary! {
                        "Type" => "MCR",
                        "Pg" => Object::Reference(self.page(page)?),
                        "MCID" => number,
                    }),
                    Kid::Annotation { page, id } => Object::Dictionary(dictionary! {
                        "Type" => "OBJR",
                        "Pg" => Object::Reference(self.page(page)?),
                        "Obj" => Object::Reference(id),
                    }),
                });
            }
            if entries.len() == 1 {
                if let Some(only) = entries.pop() {
                    element.set("K", only);
                }
            } else if !entries.is_empty() {
                element.set("K", entries);
            }
            self.describe(&mut element, &node.role, node.title.as_deref());
            self.file.set_object(id, element);
        }

        let parent_tree = self.file.add_object(dictionary! { "Nums" => numbers });
        let document = id_of(TagId(0)).ok_or_else(|| PdfError::Assembly("no structure".to_owned()))?;
        self.file.set_object(
            root,
            dictionary! {
                "Type" => "StructTreeRoot",
                "K" => Object::Reference(document),
                "ParentTree" => Object::Reference(parent_tree),
                "ParentTreeNextKey" => next_key,
            },
        );
        let catalog = self.file.catalog_mut()?;
        catalog.set("StructTreeRoot", Object::Reference(root));
        catalog.set("MarkInfo", dictionary! { "Marked" => true });
        Ok(())
    }

    fn describe(&self, element: &mut Dictionary, role: &Role, title: Option<&str>) {
        match role {
            Role::Figure { alternative, bounds } | Role::Formula { alternative, bounds, .. } => {
                element.set("Alt", words(alternative));
                let mut layout = dictionary! { "O" => "Layout", "Placement" => "Block" };
                if let Some((_, bounds)) = bounds {
                    layout.set("BBox", self.rectangle(bounds));
                }
                element.set("A", layout);
            }
            Role::List { numbered } => {
                let numbering = if *numbered { "Decimal" } else { "None" };
                element.set("A", dictionary! { "O" => "List", "ListNumbering" => numbering });
            }
            Role::HeadCell(scope) => {
                let scope = match scope {
                    Scope::Column => "Column",
                    Scope::Row => "Row",
                };
                element.set("A", dictionary! { "O" => "Table", "Scope" => scope });
            }
            Role::Table => {
                if let Some(summary) = title.filter(|summary| !summary.is_empty()) {
                    element.set("A", dictionary! { "O" => "Table", "Summary" => words(summary) });
                }
            }
            _ => {
                if let Some(title) = title.filter(|title| !title.is_empty()) {
                    element.set("T", words(title));
                }
            }
        }
    }

    fn rectangle(&self, bounds: &Bounds) -> Vec<Object> {
        let height = self.list.page_height;
        vec![real(bounds.x), real(height - bounds.bottom()), real(bounds.right()), real(height - bounds.y)]
    }

    fn destination(&self, target: &Target) -> Option<(usize, f32)> {
        if let Target::Page(page) = target {
            return Some((*page, 0.0));
        }
        self.list
            .anchors
            .binary_search_by(|anchor| anchor.target.cmp(target))
            .ok()
            .and_then(|at| self.list.anchors.get(at))
            .map(|anchor| (anchor.page, anchor.y))
    }

    fn view(&self, page: usize, y: f32) -> Result<Vec<Object>, PdfError> {
        let top = (self.list.page_height - y + 12.0).min(self.list.page_height);
        Ok(vec![Object::Reference(self.page(page)?), name("XYZ"), Object::Null, real(top), Object::Null])
    }

    /// The outline, nested by level.
    fn outline(&mut self) -> Result<(), PdfError> {
        let entries = &self.list.outline;
        if entries.is_empty() {
            return Ok(());
        }
        let root = self.file.new_object_id();
        let ids: Vec<ObjectId> = entries.iter().map(|_| self.file.new_object_id()).collect();
        // For each entry, the entry it stands under.
        let mut above: Vec<Option<usize>> = Vec::new();
        let mut open: Vec<(u8, usize)> = Vec::new();
        for (index, entry) in entries.iter().enumerate() {
            open.retain(|(level, _)| *level < entry.level);
            above.push(open.last().map(|(_, at)| *at));
            open.push((entry.level, index));
        }
        let children = |of: Option<usize>| -> Vec<usize> {
            above.iter().enumerate().filter(|(_, up)| **up == of).map(|(index, _)| index).collect()
        };
        let reference = |index: &usize| ids.get(*index).map_or(Object::Null, |id| Object::Reference(*id));
        for (index, entry) in entries.iter().enumerate() {
            let up = above.get(index).copied().flatten();
            let siblings = children(up);
            let place = siblings.iter().position(|&each| each == index).unwrap_or(0);
            let mut item = dictionary! {
                "Title" => words(&entry.title),
                "Parent" => up.as_ref().map_or(Object::Reference(root), reference),
                "Dest" => self.view(entry.page, entry.y)?,
            };
            if let Some(before) = place.checked_sub(1).and_then(|place| siblings.get(place)) {
                item.set("Prev", reference(before));
            }
            if let Some(after) = siblings.get(place + 1) {
                item.set("Next", reference(after));
            }
            let own = children(Some(index));
            if let (Some(first), Some(last)) = (own.first(), own.last()) {
                item.set("First", reference(first));
                item.set("Last", reference(last));
                // Negative: shut until it is opened.
                item.set("Count", -(own.len() as i64));
            }
            if let Some(id) = ids.get(index) {
                self.file.set_object(*id, item);
            }
        }
        let top = children(None);
        let mut outlines = dictionary! { "Type" => "Outlines", "Count" => top.len() as i64 };
        if let (Some(first), Some(last)) = (top.first(), top.last()) {
            outlines.set("First", reference(first));
            outlines.set("Last", reference(last));
        }
        self.file.set_object(root, outlines);
        self.file.catalog_mut()?.set("Outlines", Object::Reference(root));
        Ok(())
    }

    fn catalog(&mut self, document: &Document) -> Result<(), PdfError> {
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

    fn attach(&mut self, attachments: &[Attachment], document: &Document) -> Result<(), PdfError> {
        if attachments.is_empty() {
            return Ok(());
        }
        let mut sorted: Vec<&Attachment> = attachments.iter().collect();
        sorted.sort_by(|a, b| a.name.cmp(&b.name));
        let mut names = Vec::new();
        let mut associated = Vec::new();
        for attachment in sorted {
            let mut parameters = dictionary! { "Size" => attachment.bytes.len() as i64 };
            if let Some(day) = date(document) {
                parameters.set("ModDate", words(&format!("D:{}000000Z", day.replace('-', ""))));
            }
            let stream = Stream::new(
                dictionary! {
                    "Type" => "EmbeddedFile",
                    "Subtype" => name(&attachment.media_type),
                    "Params" => parameters,
                },
                attachment.bytes.clone(),
            );
            let stream = self.file.add_object(stream);
            let specification = self.file.add_object(dictionary! {
                "Type" => "Filespec",
                "F" => words(&attachment.name),
                "UF" => words(&attachment.name),
                "Desc" => words(&attachment.description),
                "AFRelationship" => name(&attachment.relationship),
                "EF" => dictionary! { "F" => Object::Reference(stream), "UF" => Object::Reference(stream) },
            });
            names.push(words(&attachment.name));
            names.push(Object::Reference(specification));
            associated.push(Object::Reference(specification));
        }
        let catalog = self.file.catalog_mut()?;
        catalog.set("Names", dictionary! { "EmbeddedFiles" => dictionary! { "Names" => names } });
        catalog.set("AF", associated);
        Ok(())
    }
}

enum Kid {
    Tag(TagId),
    Content { page: usize, number: i64 },
    Annotation { page: usize, id: ObjectId },
}

/// The document's date, if it is one.
fn date(document: &Document) -> Option<String> {
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
