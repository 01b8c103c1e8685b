//! What a plan was made with, written into its PDF: all that is needed to make the same file again.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::Job;
use crate::document::{self, Edition, Templates as _};
use crate::page::PhotoData;
use crate::page::display::{self, DisplayList};
use crate::pdf::{Attachment, file_names};
use crate::supplies::{Shipped, Supplies};
use crate::units::System;
use crate::water::ensemble::Draw;

/// The name of the record among the files of a PDF.
pub const RECORD: &str = "made-with.json";

/// The program.
pub const PROGRAM: &str = env!("CARGO_PKG_NAME");

/// What a plan was made with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// The program.
    pub program: String,
    /// Its version.
    pub version: String,
    /// Which document this is, by [`Edition::name`].
    pub edition: String,
    /// The date on the plan: year, month, day.
    pub date: String,
    /// Whose units it speaks: `metric`, `us`, `imperial`.
    pub units: String,
    /// How many possible years stand behind the forecast.
    pub members: u32,
    /// Which years.
    pub seed: u64,
    /// Hash of site file, log, weather, date, units and draw, in hexadecimal digits.
    pub input: String,
    /// The name of the attached site file.
    pub site: String,
    /// Of the log.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub log: Option<String>,
    /// Of the weather.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weather: Option<String>,
    /// Of the workings.
    pub workings: String,
    /// The firm's own words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub templates: Vec<OwnWords>,
    /// The art at the head of the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub letterhead: Option<HeadArt>,
    /// The photographs that are on its pages, and are read from there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub photographs: Vec<Shown>,
    /// Every attached file, this one left out.
    pub files: Vec<Hashed>,
}

/// A template of the firm's own.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OwnWords {
    /// Which template it stands for.
    pub part: String,
    /// The name of the attached file.
    pub name: String,
}

/// The letterhead's art.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HeadArt {
    /// Its path in the site file.
    pub path: String,
    /// The name of the attached file; none where only the drawing was at hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
}

/// A photograph as it is drawn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// Its path in the site file.
    pub path: String,
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Hash of what is drawn.
    pub sha256: String,
}

/// A file and its hash.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hashed {
    /// Its name.
    pub name: String,
    /// SHA-256 in hexadecimal digits.
    pub sha256: String,
}

impl Record {
    /// The edition, if it is one.
    #[must_use]
    pub fn edition(&self) -> Option<Edition> {
        [Edition::CarePlan, Edition::ShedSheet, Edition::Workings].into_iter().find(|each| each.name() == self.edition)
    }

    /// The date on the plan, if it is one.
    #[must_use]
    pub fn date(&self) -> Option<NaiveDate> {
        self.date.parse().ok()
    }

    /// The units, if they are known.
    #[must_use]
    pub fn system(&self) -> Option<System> {
        System::ALL.into_iter().find(|each| each.name() == self.units)
    }

    /// The possible years.
    #[must_use]
    pub fn draw(&self) -> Draw {
        Draw { members: self.members, seed: self.seed }
    }
}

/// A hash in hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// SHA-256 of a file, in hexadecimal digits.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Whether a photograph is on the pages: not every edition shows them.
fn shows(pages: &DisplayList, data: &PhotoData) -> bool {
    pages.pages.iter().flat_map(|page| &page.items).any(|item| match (&item.draw, data) {
        (display::Draw::Jpeg { bytes, .. }, PhotoData::Jpeg { bytes: own, .. }) => bytes == own,
        (display::Draw::Image { rgba, .. }, PhotoData::Rgba(own)) => rgba[..] == own[..],
        _ => false,
    })
}

/// Pixels as they are drawn: on white paper.
fn drawn(data: &PhotoData) -> String {
    match data {
        PhotoData::Jpeg { bytes, .. } => sha256(bytes),
        PhotoData::Rgba(pixels) => sha256(&crate::pdf::on_paper(pixels)),
    }
}

/// Puts the firm's own templates, the letterhead and the record beside the files of a plan. The site file comes first among
/// `files`; `log`, `weather` and `workings` are the places of the others.
pub(super) fn recorded(
    job: &Job,
    edition: Edition,
    supplies: &dyn Supplies,
    pages: &DisplayList,
    mut files: Vec<Attachment>,
    [log, weather, workings]: [Option<usize>; 3],
) -> Result<Vec<Attachment>, serde_json::Error> {
    let mut parts = Vec::new();
    for part in document::PARTS {
        let shipped = Shipped.template(part).unwrap_or_default();
        if let Some(words) = supplies.template(part).filter(|words| !document::unchanged(words, shipped)) {
            parts.push((part.to_owned(), files.len()));
            files.push(Attachment {
                name: format!("{part}.md"),
                media_type: "text/markdown".to_owned(),
                bytes: words.as_bytes().to_vec(),
                description: "Words of this plan that are the firm's own".to_owned(),
                relationship: "Source".to_owned(),
            });
        }
    }
    let mut art = None;
    if let (Some(path), true) = (&job.site.firm.letterhead, job.letterhead.art.is_some()) {
        let file = job.art_file.as_ref().map(|bytes| {
            let svg = !bytes.starts_with(b"\x89PNG");
            files.push(Attachment {
                name: path.value.clone(),
                media_type: if svg { "image/svg+xml" } else { "image/png" }.to_owned(),
                bytes: bytes.clone(),
                description: "The art at the head of this plan".to_owned(),
                relationship: "Source".to_owned(),
            });
            files.len() - 1
        });
        art = Some((path.value.clone(), file));
    }
    let names = file_names(files.iter().map(|file| file.name.as_str()));
    let name = |place: usize| names.get(place).cloned().unwrap_or_default();
    let draw = job.draw;
    let record = Record {
        program: PROGRAM.to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        edition: edition.name().to_owned(),
        date: job.plan.date.to_string(),
        units: job.plan.system.name().to_owned(),
        members: draw.members,
        seed: draw.seed,
        input: hex(&job.fingerprint),
        site: name(0),
        log: log.map(name),
        weather: weather.map(name),
        workings: workings.map(name).unwrap_or_default(),
        templates: parts.into_iter().map(|(part, place)| OwnWords { part, name: name(place) }).collect(),
        letterhead: art.map(|(path, file)| HeadArt { path, name: file.map(name) }),
        photographs: job
            .photos
            .iter()
            .filter(|pictured| shows(pages, &pictured.photo.data))
            .map(|pictured| Shown {
                path: pictured.path.clone(),
                width: pictured.photo.width,
                height: pictured.photo.height,
                sha256: drawn(&pictured.photo.data),
            })
            .collect(),
        files: files
            .iter()
            .zip(&names)
            .map(|(file, name)| Hashed { name: name.clone(), sha256: sha256(&file.bytes) })
            .collect(),
    };
    files.push(Attachment {
        name: RECORD.to_owned(),
        media_type: "application/json".to_owned(),
        bytes: format!("{}\n", serde_json::to_string_pretty(&record)?).into_bytes(),
        description: "What this plan was made with, to make it again".to_owned(),
        relationship: "Supplement".to_owned(),
    });
    Ok(files)
}
