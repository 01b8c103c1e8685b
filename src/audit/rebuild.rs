//! The plan made again, from what is inside it.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use crate::diag::{Diagnostics, Text};
use crate::document::{Edition, Templates};
use crate::front::{self, Choices, Job, Record, sha256};
use crate::page::display::{DisplayList, Target};
use crate::page::fonts::Fonts;
use crate::page::{Art, Face, Photo, PhotoData};
use crate::pdf::opened::{self, Opened, Picture};
use crate::pdf::seen::Seen;
use crate::supplies::{Fault, Shipped, Supplies};

use super::inside::Inside;

/// What an audit needs of its surroundings.
#[derive(Clone, Copy)]
pub struct Tools<'a> {
    /// The fonts.
    pub fonts: &'a Fonts,
    /// Reads letterhead art from a file.
    pub art: &'a dyn Fn(&[u8]) -> Result<Art, Fault>,
}

impl fmt::Debug for Tools<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Tools").finish_non_exhaustive()
    }
}

/// A plan made again.
#[derive(Debug)]
pub struct Rebuilt {
    /// The plan with what it was made from.
    pub job: Job,
    /// Which document.
    pub edition: Edition,
    /// The file.
    pub bytes: Vec<u8>,
    /// The file, opened.
    pub file: Opened,
    /// What can be seen on each page.
    pub pages: Vec<Seen>,
    /// Photographs of the plan that are not on its pages any more, by their paths.
    pub lost: Vec<String>,
    list: DisplayList,
}

/// Supplies from inside a PDF.
struct FromInside<'a> {
    templates: BTreeMap<&'a str, &'a str>,
    art: Option<(&'a str, &'a [u8])>,
    photos: BTreeMap<String, Photo>,
    tools: Tools<'a>,
}

impl fmt::Debug for FromInside<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FromInside").finish_non_exhaustive()
    }
}

impl Templates for FromInside<'_> {
    fn template(&self, name: &str) -> Option<&str> {
        static SHIPPED: Shipped = Shipped;
        self.templates.get(name).copied().or_else(|| SHIPPED.template(name))
    }

    fn own(&self, name: &str) -> bool {
        self.templates.contains_key(name)
    }
}

impl Supplies for FromInside<'_> {
    fn face(&self, face: Face) -> Cow<'static, [u8]> {
        Shipped.face(face)
    }

    fn art(&self, path: &str) -> Option<Result<Art, Fault>> {
        self.art.filter(|(known, _)| *known == path).map(|(_, bytes)| (self.tools.art)(bytes))
    }

    fn art_file(&self, path: &str) -> Option<Vec<u8>> {
        self.art.filter(|(known, _)| *known == path).map(|(_, bytes)| bytes.to_vec())
    }

    fn photo(&self, path: &str) -> Option<Result<Photo, Fault>> {
        self.photos.get(path).cloned().map(Ok)
    }
}

/// How many photographs are looked for.
const MOST_PHOTOS: usize = 200;
/// More pixels in a row than any photograph is drawn with.
const LARGEST_SIDE: usize = 2000;

/// The photographs as they are drawn in the file. One that is not there is a white block of its size, so that the rest of its
/// page stands where it should.
fn photos(record: &Record, file: &Opened) -> BTreeMap<String, Photo> {
    if record.photographs.is_empty() {
        return BTreeMap::new();
    }
    let pictures: Vec<(String, Picture)> = file.pictures().map(|each| (sha256(&each.bytes), each)).collect();
    let mut found = BTreeMap::new();
    for shown in record.photographs.iter().take(MOST_PHOTOS) {
        let photo = match pictures.iter().find(|(hash, _)| *hash == shown.sha256).map(|(_, picture)| picture) {
            Some(picture) => {
                let data = if picture.jpeg {
                    PhotoData::Jpeg { grey: picture.grey, bytes: Arc::from(picture.bytes.as_slice()) }
                } else {
                    let rgba: Vec<u8> = picture.bytes.chunks_exact(3).flat_map(|rgb| [rgb, &[255]].concat()).collect();
                    PhotoData::Rgba(Arc::from(rgba))
                };
                Photo { width: picture.width, height: picture.height, data }
            }
            None => Photo {
                width: shown.width.min(LARGEST_SIDE),
                height: shown.height.min(LARGEST_SIDE),
                data: PhotoData::Rgba(Arc::from([])),
            },
        };
        found.insert(shown.path.clone(), photo);
    }
    found
}

/// Reads and plans what is inside a PDF. The job is `None` when no plan can be made of it.
pub(super) fn planned(inside: &Inside, file: &Opened, tools: Tools<'_>) -> (Option<Job>, Diagnostics) {
    let Some(site) = &inside.site else { return (None, Diagnostics::new()) };
    let record = &inside.record;
    let choices = Choices { date: record.date(), system: record.system(), draw: Some(record.draw()) };
    let supplies = supplies(inside, file, tools);
    front::prepare_with_weather(site, inside.log.as_ref(), inside.weather.as_ref(), choices, &supplies)
}

fn supplies<'a>(inside: &'a Inside, file: &Opened, tools: Tools<'a>) -> FromInside<'a> {
    let record = &inside.record;
    let templates =
        record.templates.iter().filter_map(|own| Some((own.part.as_str(), inside.words(&own.name)?))).collect();
    let art = record.letterhead.as_ref().and_then(|art| {
        let bytes = inside.files.get(art.name.as_deref()?)?.bytes.as_deref()?;
        Some((art.path.as_str(), bytes))
    });
    FromInside { templates, art, photos: photos(record, file), tools }
}

impl Rebuilt {
    /// Makes a plan again.
    ///
    /// # Errors
    /// Every complaint, when no plan can be made of what is inside.
    pub(super) fn of(inside: &Inside, file: &Opened, tools: Tools<'_>) -> Result<Rebuilt, Diagnostics> {
        let (job, complaints) = planned(inside, file, tools);
        let Some(job) = job else { return Err(complaints) };
        let edition = inside.record.edition().unwrap_or(Edition::CarePlan);
        let supplies = supplies(inside, file, tools);
        let found: Vec<String> = file.pictures().map(|picture| sha256(&picture.bytes)).collect();
        let lost = inside.record.photographs.iter().filter(|shown| !found.contains(&shown.sha256));
        let lost = lost.map(|shown| shown.path.clone()).collect();
        let (list, bytes) = front::made(&job, edition, &supplies, tools.fonts)?;
        let broken = |_| crate::diag::Diagnostic::error("no-pdf", None, "the file made again cannot be opened");
        let file = opened::open(&bytes).map_err(broken)?;
        let pages = (0..file.page_count()).map(|page| file.seen(page).unwrap_or_default()).collect();
        Ok(Rebuilt { job, edition, bytes, file, pages, lost, list })
    }

    /// The number and id of the workings line that belongs to a place of a page: the number beside it, or the line it is in.
    #[must_use]
    pub fn figure_at(&self, page: usize, y: f32) -> Option<(u32, String)> {
        /// A line of the workings is not taller than this.
        const TALLEST: f32 = 120.0;
        let shown = self.list.pages.get(page)?;
        let beside = shown.links.iter().filter_map(|link| match link.target {
            Target::Line(number) if link.bounds.y - 2.0 <= y && y <= link.bounds.bottom() + 2.0 => {
                Some(((link.bounds.y + link.bounds.height * 0.8 - y).abs(), number))
            }
            _ => None,
        });
        let within = self.list.anchors.iter().filter_map(|anchor| match anchor.target {
            Target::Line(number) if anchor.page == page && anchor.y - 2.0 <= y && y <= anchor.y + TALLEST => {
                Some((y - anchor.y, number))
            }
            _ => None,
        });
        let nearest = |mut all: Vec<(f32, u32)>| {
            all.sort_by(|a, b| a.0.total_cmp(&b.0));
            all.first().map(|(_, number)| *number)
        };
        let number = nearest(within.collect()).or_else(|| nearest(beside.collect()))?;
        let line = self.job.plan.book.lines().iter().find(|line| line.number == number)?;
        Some((number, line.id.clone()))
    }
}

/// A text with its name, for complaints.
pub(super) fn text_of(text: Option<&Text>) -> Text {
    text.cloned().unwrap_or_else(|| Text { name: String::new(), words: String::new() })
}
