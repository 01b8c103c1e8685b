//! What printpdf does not write: structure, outline, links, metadata, colours' meaning, attachments.

use std::collections::BTreeMap;

use lopdf::{Document as File, Object, ObjectId, StringFormat};

use crate::page::display::DisplayList;
use crate::page::fonts::Fonts;
use crate::page::{Document, Face};

use super::metadata;
use super::save::Written;
use super::write::{Attachment, Drawn, FaceResource, PdfError, round};

pub(super) fn name(text: &str) -> Object {
    Object::Name(text.as_bytes().to_vec())
}

/// A text string: plain where it is ASCII, else UTF-16.
pub(super) fn words(text: &str) -> Object {
    if text.bytes().all(|b| (0x20..0x7f).contains(&b)) {
        return Object::String(text.as_bytes().to_vec(), StringFormat::Literal);
    }
    let mut bytes = vec![0xfe, 0xff];
    bytes.extend(text.encode_utf16().flat_map(u16::to_be_bytes));
    Object::String(bytes, StringFormat::Hexadecimal)
}

pub(super) fn real(v: f32) -> Object {
    Object::Real(round(v))
}

pub(super) struct Finish<'a> {
    pub(super) file: File,
    pub(super) list: &'a DisplayList,
    pub(super) pages: Vec<ObjectId>,
    /// What is not kept as an object first.
    pub(super) written: Written,
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
    let mut finish = Finish { file, list, pages: Vec::new(), written: Written::default() };
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
    file.trailer.set("ID", metadata::placeholder(document));
    let mut bytes = super::save::save(&file, &finish.written)?;
    metadata::identify(&mut bytes, document);
    Ok(bytes)
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
            // Symbolic: degrees, raised figures and arrows lie outside the standard Latin set.
            let flags = (flags & !32) | 4;
            descriptor.set("Flags", if serif { flags | 2 } else { flags });
            if let Ok(program) = descriptor.get(b"FontFile3") {
                let shared = programs.entry(face.face).or_insert_with(|| program.clone()).clone();
                descriptor.set("FontFile3", shared);
            }
        }
        Ok(())
    }

    pub(super) fn page(&self, number: usize) -> Result<ObjectId, PdfError> {
        self.pages.get(number).copied().ok_or_else(|| PdfError::Assembly(format!("no page {}", number + 1)))
    }
}
