//! Two files held against each other, part by part: whatever can be reached from the head of one must be in the other.
//!
//! Numbering of objects, compression and order of keys do not matter; what pages show is looked at by [`seen`](super::seen).

use std::collections::BTreeSet;
use std::sync::LazyLock;

use lopdf::{Dictionary, Object, ObjectId, Stream};

use super::opened::{Attached, Opened, plain};
use super::read::string;

/// A part of a file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// A font, by its name on pages.
    Font(String),
    /// A picture on a page.
    Picture,
    /// Notes, links and fields laid over a page.
    Annotations,
    /// Anything else of a page, by its key.
    Page(String),
    /// What the parts of the document are, and what is said of them to those who do not see it.
    Structure,
    /// The outline.
    Outline,
    /// What the file says of itself.
    About,
    /// An attached file, by its name.
    File(String),
    /// Anything else of the file, by its key.
    Other(String),
}

/// A difference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unlike {
    /// Where.
    pub part: Part,
    /// The page, counted from 0.
    pub page: Option<usize>,
    /// The key whose value differs.
    pub key: String,
    /// What stands in the one file, where that is a text or a number.
    pub here: Option<String>,
    /// What stands in the other.
    pub there: Option<String>,
}

/// The most differences that are told.
const MOST: usize = 500;

struct Step<'a> {
    here: &'a Object,
    there: &'a Object,
    part: Part,
    page: Option<usize>,
    key: String,
}

struct Walk<'a> {
    here: &'a Opened,
    there: &'a Opened,
    met: BTreeSet<(ObjectId, ObjectId)>,
    steps: Vec<Step<'a>>,
    found: Vec<Unlike>,
}

static NOTHING: Object = Object::Null;

/// Everything in which two files of as many pages differ, but for what their pages show. Of attached files those are looked at
/// that both have.
#[must_use]
pub fn unlike(here: &Opened, there: &Opened, files: &[(Attached, Attached)]) -> Vec<Unlike> {
    let mut walk = Walk { here, there, met: BTreeSet::new(), steps: Vec::new(), found: Vec::new() };
    let pages: Vec<(ObjectId, ObjectId)> = here.pages.iter().copied().zip(there.pages.iter().copied()).collect();
    // Pages are met from everywhere; what is wrong with them is said of the page.
    walk.met.extend(&pages);
    for (number, (a, b)) in pages.iter().enumerate() {
        walk.page(number, *a, *b);
        walk.run();
    }
    if let (Ok(a), Ok(b)) = (here.file.catalog(), there.file.catalog()) {
        walk.catalog(a, b);
    }
    if let Some((a, b)) = here.file.trailer.get(b"Info").ok().zip(there.file.trailer.get(b"Info").ok()) {
        walk.push(a, b, Part::About, None, "Info");
    }
    walk.run();
    for (a, b) in files {
        let part = Part::File(a.name.clone());
        walk.steps.push(Step {
            here: &a.specification,
            there: &b.specification,
            part,
            page: None,
            key: "EF".to_owned(),
        });
        walk.run();
    }
    walk.found
}

static EMPTY: LazyLock<Dictionary> = LazyLock::new(Dictionary::new);

fn resources(file: &Opened, page: ObjectId) -> &Dictionary {
    file.inherited(page, b"Resources").and_then(|found| found.as_dict().ok()).unwrap_or(&EMPTY)
}

fn keys<'a>(a: &'a Dictionary, b: &'a Dictionary) -> BTreeSet<&'a [u8]> {
    a.iter().chain(b.iter()).map(|(key, _)| key.as_slice()).collect()
}

fn shown(object: &Object) -> Option<String> {
    match object {
        Object::String(bytes, _) => Some(string(bytes)),
        Object::Name(name) => Some(String::from_utf8_lossy(name).into_owned()),
        Object::Integer(number) => Some(number.to_string()),
        Object::Real(number) => Some(number.to_string()),
        Object::Boolean(yes) => Some(yes.to_string()),
        _ => None,
    }
}

impl<'a> Walk<'a> {
    fn push(&mut self, here: &'a Object, there: &'a Object, part: Part, page: Option<usize>, key: &str) {
        self.steps.push(Step { here, there, part, page, key: key.to_owned() });
    }

    fn page(&mut self, number: usize, a: ObjectId, b: ObjectId) {
        let page = Some(number);
        for key in ["MediaBox", "CropBox", "Rotate"] {
            let at = |file: &'a Opened, id| file.inherited(id, key.as_bytes()).unwrap_or(&NOTHING);
            self.push(at(self.here, a), at(self.there, b), Part::Page(key.to_owned()), page, key);
        }
        let (here, there) = (self.here, self.there);
        let (mine, theirs) = (resources(here, a), resources(there, b));
        for key in keys(mine, theirs) {
            let name = String::from_utf8_lossy(key).into_owned();
            let of = |file: &'a Opened, all: &'a Dictionary| file.entry(all, key).unwrap_or(&NOTHING);
            let (x, y) = (of(here, mine), of(there, theirs));
            match (x.as_dict(), y.as_dict()) {
                (Ok(x), Ok(y)) => {
                    for key in keys(x, y) {
                        let each = String::from_utf8_lossy(key).into_owned();
                        let part = match name.as_str() {
                            "Font" => Part::Font(each.clone()),
                            "XObject" => Part::Picture,
                            _ => Part::Page(name.clone()),
                        };
                        let of = |all: &'a Dictionary| all.get(key).unwrap_or(&NOTHING);
                        self.push(of(x), of(y), part, page, &each);
                    }
                }
                _ => self.push(x, y, Part::Page(name.clone()), page, &name),
            }
        }
        let (Ok(mine), Ok(theirs)) = (here.file.get_dictionary(a), there.file.get_dictionary(b)) else { return };
        for key in keys(mine, theirs) {
            let name = String::from_utf8_lossy(key).into_owned();
            if ["Parent", "Contents", "Resources", "MediaBox", "CropBox", "Rotate"].contains(&name.as_str()) {
                continue;
            }
            let of = |all: &'a Dictionary| all.get(key).unwrap_or(&NOTHING);
            let part = if name == "Annots" { Part::Annotations } else { Part::Page(name.clone()) };
            self.push(of(mine), of(theirs), part, page, &name);
        }
    }

    fn catalog(&mut self, a: &'a Dictionary, b: &'a Dictionary) {
        for key in keys(a, b) {
            let name = String::from_utf8_lossy(key).into_owned();
            let of = |all: &'a Dictionary| all.get(key).unwrap_or(&NOTHING);
            let part = match name.as_str() {
                // Pages one by one; files by their names.
                "Pages" | "AF" => continue,
                "StructTreeRoot" => Part::Structure,
                "Outlines" => Part::Outline,
                "Metadata" => Part::About,
                "Names" => {
                    let (x, y) = (self.here.follow(of(a)).as_dict(), self.there.follow(of(b)).as_dict());
                    if let (Ok(x), Ok(y)) = (x, y) {
                        for key in keys(x, y).into_iter().filter(|key| *key != b"EmbeddedFiles") {
                            let each = String::from_utf8_lossy(key).into_owned();
                            let of = |all: &'a Dictionary| all.get(key).unwrap_or(&NOTHING);
                            self.push(of(x), of(y), Part::Other(each.clone()), None, &each);
                        }
                    }
                    continue;
                }
                _ => Part::Other(name.clone()),
            };
            self.push(of(a), of(b), part, None, &name);
        }
    }

    fn differ(&mut self, step: &Step<'a>, here: Option<String>, there: Option<String>) {
        self.found.push(Unlike { part: step.part.clone(), page: step.page, key: step.key.clone(), here, there });
    }

    fn run(&mut self) {
        while let Some(step) = self.steps.pop() {
            if self.found.len() >= MOST {
                self.steps.clear();
                return;
            }
            if let (Object::Reference(a), Object::Reference(b)) = (step.here, step.there)
                && !self.met.insert((*a, *b))
            {
                continue;
            }
            let (here, there) = (self.here, self.there);
            match (here.follow(step.here), there.follow(step.there)) {
                (Object::Dictionary(a), Object::Dictionary(b)) => self.dictionaries(&step, a, b, &[]),
                (Object::Stream(a), Object::Stream(b)) => self.streams(&step, a, b),
                (Object::Array(a), Object::Array(b)) => {
                    if a.len() != b.len() {
                        self.differ(&step, None, None);
                    }
                    for (a, b) in a.iter().zip(b) {
                        self.push(a, b, step.part.clone(), step.page, &step.key);
                    }
                }
                (a, b) => {
                    if !same(a, b) {
                        self.differ(&step, shown(a), shown(b));
                    }
                }
            }
        }
    }

    fn dictionaries(&mut self, step: &Step<'a>, a: &'a Dictionary, b: &'a Dictionary, but: &[&[u8]]) {
        for key in keys(a, b) {
            if but.contains(&key) {
                continue;
            }
            let of = |all: &'a Dictionary| all.get(key).unwrap_or(&NOTHING);
            let name = String::from_utf8_lossy(key).into_owned();
            self.push(of(a), of(b), step.part.clone(), step.page, &name);
        }
    }

    fn streams(&mut self, step: &Step<'a>, a: &'a Stream, b: &'a Stream) {
        self.dictionaries(step, &a.dict, &b.dict, &[b"Length", b"Filter", b"DecodeParms"]);
        let filters = |stream: &'a Stream| stream.dict.get(b"Filter").ok();
        if a.content == b.content && filters(a) == filters(b) {
            return;
        }
        let (x, y) = (plain(a), plain(b));
        if x.is_none() || x != y {
            self.differ(step, None, None);
        }
    }
}

fn same(a: &Object, b: &Object) -> bool {
    match (a, b) {
        (Object::String(a, _), Object::String(b, _)) => string(a) == string(b),
        (Object::Integer(_) | Object::Real(_), Object::Integer(_) | Object::Real(_)) => {
            matches!((a.as_float(), b.as_float()), (Ok(a), Ok(b)) if (a - b).abs() <= 1e-4 * a.abs().max(1.0))
        }
        _ => a == b,
    }
}
