//! Files that travel inside the PDF.

use std::collections::BTreeSet;

use lopdf::{Object, Stream, dictionary};

use crate::page::Document;

use super::finish::{Finish, name, words};
use super::metadata::date;
use super::write::{Attachment, PdfError};

impl Finish<'_> {
    /// Embeds the files and ties them to the document (ISO 19005-3, 6.8).
    pub(super) fn attach(&mut self, attachments: &[Attachment], document: &Document) -> Result<(), PdfError> {
        if attachments.is_empty() {
            return Ok(());
        }
        let named = file_names(attachments.iter().map(|attachment| attachment.name.as_str()));
        let mut tree: Vec<(Vec<u8>, Object, Object)> = Vec::new();
        let mut associated = Vec::new();
        for (attachment, file_name) in attachments.iter().zip(&named) {
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
            // Old readers know only `F`, in an encoding of their own: there the name keeps to ASCII.
            let plain: String = file_name.chars().map(|c| if c.is_ascii() { c } else { '_' }).collect();
            let specification = self.file.add_object(dictionary! {
                "Type" => "Filespec",
                "F" => words(&plain),
                "UF" => words(file_name),
                "Desc" => words(&attachment.description),
                "AFRelationship" => name(&attachment.relationship),
                "EF" => dictionary! { "F" => Object::Reference(stream), "UF" => Object::Reference(stream) },
            });
            let key = words(file_name);
            tree.push((key.as_str()?.to_vec(), key, Object::Reference(specification)));
            associated.push(Object::Reference(specification));
        }
        // A name tree is sorted by the bytes of its keys.
        tree.sort_by(|a, b| a.0.cmp(&b.0));
        let names: Vec<Object> = tree.into_iter().flat_map(|(_, key, specification)| [key, specification]).collect();
        let catalog = self.file.catalog_mut()?;
        catalog.set("Names", dictionary! { "EmbeddedFiles" => dictionary! { "Names" => names } });
        catalog.set("AF", associated);
        Ok(())
    }
}

/// Names under which files can be saved anywhere: no folders, nothing a file system forbids, not too long, no two alike.
#[must_use]
pub fn file_names<'a>(asked: impl Iterator<Item = &'a str>) -> Vec<String> {
    const LONGEST: usize = 80;
    const ENDING: usize = 12;
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let mut names = Vec::new();
    for path in asked {
        let last = path.rsplit(['/', '\\']).next().unwrap_or(path);
        let forbidden = |c: char| c.is_control() || "<>:\"|?*".contains(c) || is_noncharacter(c);
        let clean: String = last.chars().map(|c| if forbidden(c) { '-' } else { c }).collect();
        let clean = clean.trim().trim_end_matches('.');
        let (stem, ending) = match clean.rsplit_once('.') {
            Some((stem, ending)) if !stem.is_empty() && ending.chars().count() <= ENDING => {
                (stem, format!(".{ending}"))
            }
            _ => (clean, String::new()),
        };
        let stem = if stem.is_empty() { "file" } else { stem };
        let stem: String = stem.chars().take(LONGEST).collect();
        let mut candidate = format!("{stem}{ending}");
        let mut count = 2;
        // Some file systems do not tell capitals from small letters.
        while !taken.insert(candidate.to_lowercase()) {
            candidate = format!("{stem}-{count}{ending}");
            count += 1;
        }
        names.push(candidate);
    }
    names
}

/// Whether this is no character at all, in any text.
pub(super) fn is_noncharacter(c: char) -> bool {
    let code = u32::from(c);
    code & 0xfffe == 0xfffe || (0xfdd0..=0xfdef).contains(&code)
}

#[cfg(test)]
mod tests {
    use super::file_names;

    #[test]
    fn names_are_fit_for_any_disk_and_unlike_each_other() {
        let long = format!("{}.csv", "ä".repeat(300));
        let asked = ["a/b/site.toml", "C:\\ponds\\SITE.toml", "?.csv", "", "..", &long, "log\u{7}.csv", ".toml"];
        let expected = [
            "site.toml".to_owned(),
            "SITE-2.toml".to_owned(),
            "-.csv".to_owned(),
            "file".to_owned(),
            "file-2".to_owned(),
            format!("{}.csv", "ä".repeat(80)),
            "log-.csv".to_owned(),
            ".toml".to_owned(),
        ];
        assert_eq!(file_names(asked.into_iter()), expected);
    }
}
