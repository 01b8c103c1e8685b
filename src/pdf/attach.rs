//! Files that travel inside the PDF.

use lopdf::{Object, Stream, dictionary};

use crate::page::Document;

use super::finish::{Finish, name, words};
use super::metadata::date;
use super::write::{Attachment, PdfError};

impl Finish<'_> {
    pub(super) fn attach(&mut self, attachments: &[Attachment], document: &Document) -> Result<(), PdfError> {
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
