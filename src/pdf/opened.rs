//! A file that somebody hands in, opened with care: it may be large, broken, locked, or something else.

use std::collections::{BTreeMap, BTreeSet};

use lopdf::{Dictionary, Document as File, LoadOptions, Object, ObjectId, Stream};

use super::read::{reading, string};
use super::seen::{Face, Seen};

/// The largest file that is opened, in bytes.
pub const LARGEST: usize = 100_000_000;
/// The most bytes that one part of a file may unfold to.
pub const LARGEST_PART: usize = 50_000_000;
/// How deep trees of names may go.
const DEEPEST: usize = 32;
/// How many attached files are looked at.
const MOST_FILES: usize = 1000;
/// How many pages are looked at.
const MOST_PAGES: usize = 10_000;

/// Why a file could not be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unopened {
    /// It does not begin as a PDF does.
    NotPdf,
    /// It is larger than anything this program would write.
    TooLarge,
    /// It is locked with a password.
    Encrypted,
    /// It begins as a PDF, and cannot be read.
    Broken(String),
}

/// An opened file.
#[derive(Debug)]
pub struct Opened {
    pub(super) file: File,
    pub(super) pages: Vec<ObjectId>,
}

/// A file that travels inside another.
#[derive(Clone, Debug, PartialEq)]
pub struct Attached {
    /// Its name.
    pub name: String,
    /// The file; `None` where it cannot be unfolded, or is larger than [`LARGEST_PART`].
    pub bytes: Option<Vec<u8>>,
    /// Where its specification stands.
    pub(super) specification: Object,
}

/// A picture in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// One component, not three.
    pub grey: bool,
    /// Whether the bytes are a JPEG file, and not pixels.
    pub jpeg: bool,
    /// JPEG file or pixels.
    pub bytes: Vec<u8>,
}

/// Opens a file.
///
/// # Errors
/// Why it cannot be opened.
pub fn open(bytes: &[u8]) -> Result<Opened, Unopened> {
    if bytes.len() > LARGEST {
        return Err(Unopened::TooLarge);
    }
    let head = bytes.get(..bytes.len().min(1024)).unwrap_or_default();
    if !head.windows(5).any(|window| window == b"%PDF-") {
        return Err(Unopened::NotPdf);
    }
    let options = LoadOptions { max_decompressed_size: Some(LARGEST_PART), ..LoadOptions::default() };
    let file = File::load_mem_with_options(bytes, options).map_err(|error| {
        // What is locked fails in other words where nothing of it can be read.
        let locked = bytes.windows(8).any(|window| window == b"/Encrypt");
        if locked { Unopened::Encrypted } else { Unopened::Broken(error.to_string()) }
    })?;
    if file.is_encrypted() || file.was_encrypted() || file.trailer.has(b"Encrypt") {
        return Err(Unopened::Encrypted);
    }
    let pages: Vec<ObjectId> = file.page_iter().take(MOST_PAGES).collect();
    if pages.is_empty() {
        return Err(Unopened::Broken("it has no pages".to_owned()));
    }
    Ok(Opened { file, pages })
}

impl Opened {
    /// How many pages it has.
    #[must_use]
    pub fn page_count(&self) -> usize {
        self.pages.len()
    }

    /// What can be seen on a page, counted from 0. `None` when there is no such page, or it cannot be read.
    #[must_use]
    pub fn seen(&self, page: usize) -> Option<Seen> {
        self.seen_with(page, &self.content(page)?)
    }

    /// [`Opened::seen`], if the page were drawn by these operators.
    #[must_use]
    pub fn seen_with(&self, page: usize, content: &[u8]) -> Option<Seen> {
        let id = *self.pages.get(page)?;
        let resources = self.inherited(id, b"Resources").and_then(|found| found.as_dict().ok());
        Some(Seen::read(self, content, resources, self.height(id)))
    }

    /// The drawing operators of a page.
    #[must_use]
    pub fn content(&self, page: usize) -> Option<Vec<u8>> {
        self.file.get_page_content_with_limit(*self.pages.get(page)?, LARGEST_PART).ok()
    }

    fn height(&self, page: ObjectId) -> f32 {
        let sides: Vec<f32> = self
            .inherited(page, b"MediaBox")
            .and_then(|sides| sides.as_array().ok())
            .into_iter()
            .flatten()
            .filter_map(|side| self.follow(side).as_float().ok())
            .collect();
        match sides.as_slice() {
            [_, bottom, _, top] if (top - bottom).is_finite() => (top - bottom).abs(),
            _ => 0.0,
        }
    }

    /// What a page says, or what stands above it says for it.
    pub(super) fn inherited(&self, page: ObjectId, key: &[u8]) -> Option<&Object> {
        let mut at = self.file.get_dictionary(page).ok()?;
        for _ in 0..DEEPEST {
            if let Ok(found) = at.get(key) {
                return Some(self.follow(found));
            }
            at = at.get(b"Parent").ok().and_then(|above| self.follow(above).as_dict().ok())?;
        }
        None
    }

    /// What a reference leads to.
    pub(super) fn follow<'a>(&'a self, object: &'a Object) -> &'a Object {
        self.file.dereference(object).map_or(&Object::Null, |(_, found)| found)
    }

    pub(super) fn entry<'a>(&'a self, dictionary: &'a Dictionary, key: &[u8]) -> Option<&'a Object> {
        dictionary.get(key).ok().map(|found| self.follow(found)).filter(|found| **found != Object::Null)
    }

    pub(super) fn dictionary<'a>(&'a self, dictionary: &'a Dictionary, key: &[u8]) -> Option<&'a Dictionary> {
        self.entry(dictionary, key)?.as_dict().ok()
    }

    /// The fonts of resources, by name.
    pub(super) fn faces(&self, resources: Option<&Dictionary>) -> BTreeMap<Vec<u8>, Face> {
        let listed = resources.and_then(|resources| self.dictionary(resources, b"Font"));
        listed
            .into_iter()
            .flatten()
            .filter_map(|(name, font)| {
                let font = self.follow(font).as_dict().ok()?;
                let wide = font.get(b"Subtype").and_then(Object::as_name).is_ok_and(|kind| kind == b"Type0");
                Some((name.clone(), Face { reading: reading(&self.file, font), wide }))
            })
            .collect()
    }

    /// The files that travel inside, in the order of their names; of one name there may be several.
    #[must_use]
    pub fn attached(&self) -> Vec<Attached> {
        let Ok(catalog) = self.file.catalog() else { return Vec::new() };
        let mut specifications: Vec<Object> = Vec::new();
        if let Some(names) = self.dictionary(catalog, b"Names").and_then(|names| names.get(b"EmbeddedFiles").ok()) {
            self.name_tree(names, 0, &mut specifications);
        }
        if let Some(listed) = self.entry(catalog, b"AF").and_then(|listed| listed.as_array().ok()) {
            specifications.extend(listed.iter().take(MOST_FILES).cloned());
        }
        let mut met = BTreeSet::new();
        let mut found = Vec::new();
        for specification in specifications {
            if let Object::Reference(id) = specification
                && !met.insert(id)
            {
                continue;
            }
            let Ok(dictionary) = self.follow(&specification).as_dict() else { continue };
            let name = self.entry(dictionary, b"UF").or_else(|| self.entry(dictionary, b"F"));
            let name = name.and_then(|name| name.as_str().ok()).map(string).unwrap_or_default();
            let stream = self.dictionary(dictionary, b"EF").and_then(|files| self.entry(files, b"F"));
            let bytes = stream.and_then(|stream| stream.as_stream().ok()).and_then(plain);
            found.push(Attached { name, bytes, specification });
        }
        found.sort_by(|a, b| a.name.cmp(&b.name));
        found
    }

    fn name_tree(&self, node: &Object, depth: usize, found: &mut Vec<Object>) {
        let Ok(node) = self.follow(node).as_dict() else { return };
        if depth > DEEPEST || found.len() > MOST_FILES {
            return;
        }
        if let Some(names) = self.entry(node, b"Names").and_then(|names| names.as_array().ok()) {
            found.extend(names.iter().skip(1).step_by(2).take(MOST_FILES).cloned());
        }
        for kid in self.entry(node, b"Kids").and_then(|kids| kids.as_array().ok()).into_iter().flatten() {
            self.name_tree(kid, depth + 1, found);
        }
    }

    /// What the file says of itself, such as its `Title`.
    #[must_use]
    pub fn information(&self, key: &str) -> Option<String> {
        let information = self.dictionary(&self.file.trailer, b"Info")?;
        self.entry(information, key.as_bytes())?.as_str().ok().map(string)
    }

    /// The pictures in the file.
    pub fn pictures(&self) -> impl Iterator<Item = Picture> + '_ {
        self.file.objects.values().filter_map(|object| {
            let stream = object.as_stream().ok()?;
            let name = |key: &[u8]| self.entry(&stream.dict, key).and_then(|found| found.as_name().ok());
            let number =
                |key: &[u8]| self.entry(&stream.dict, key)?.as_i64().ok().and_then(|n| usize::try_from(n).ok());
            if name(b"Subtype")? != b"Image" {
                return None;
            }
            let jpeg = name(b"Filter").is_some_and(|filter| filter == b"DCTDecode");
            let bytes = if jpeg { stream.content.clone() } else { plain(stream)? };
            let grey = name(b"ColorSpace").is_some_and(|space| space == b"DeviceGray");
            Some(Picture { width: number(b"Width")?, height: number(b"Height")?, grey, jpeg, bytes })
        })
    }
}

/// A stream unfolded, unless it is too large or cannot be.
pub(super) fn plain(stream: &Stream) -> Option<Vec<u8>> {
    stream.get_plain_content_with_limit(LARGEST_PART).ok()
}
