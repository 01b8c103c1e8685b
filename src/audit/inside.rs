//! What is inside a plan: its record, its texts, its pictures; and everything that is wrong with them.

use std::collections::BTreeMap;

use crate::diag::{Diagnostic, FileId, Text};
use crate::document::Edition;
use crate::front::{PROGRAM, RECORD, Record, sha256};
use crate::pdf::opened::{Attached, LARGEST, LARGEST_PART, Opened, Unopened};
use crate::site;

use super::finding::Finding;

/// The largest text that is read from inside a PDF, in bytes: a log of a hundred years has less.
const LARGEST_TEXT: usize = 5_000_000;

/// The most possible years that a plan can be made with.
const MOST_YEARS: u32 = 100_000;

/// What was found inside.
pub(super) struct Inside {
    /// The record; made up where the file has none.
    pub record: Record,
    /// Whether the file has one.
    pub recorded: bool,
    /// The site file.
    pub site: Option<Text>,
    /// The log.
    pub log: Option<Text>,
    /// The weather.
    pub weather: Option<Text>,
    /// Every attached file, each name once.
    pub files: BTreeMap<String, Attached>,
    /// What is wrong.
    pub findings: Vec<Finding>,
    /// Whether the plan can be made again from this.
    pub enough: bool,
}

/// The complaint about a file that cannot be audited at all.
pub(super) fn unopened(why: &Unopened) -> Diagnostic {
    let megabytes = LARGEST / 1_000_000;
    match why {
        Unopened::NotPdf => Diagnostic::error("not-a-pdf", None, "this is no PDF")
            .why("a PDF begins with `%PDF-`, and this file does not")
            .hint("give the PDF that `weirbook plan` wrote"),
        Unopened::TooLarge => {
            Diagnostic::error("too-large", None, format!("the file is larger than {megabytes} MB, and is not opened"))
                .why("no plan of this program comes near that")
                .hint("give the PDF as `weirbook plan` wrote it")
        }
        Unopened::Encrypted => Diagnostic::error("encrypted", None, "the PDF is locked with a password or a right")
            .why("a plan is never written so: somebody locked it afterwards, and what is inside cannot be compared")
            .hint("ask for the file as it was written"),
        Unopened::Broken(reason) => {
            Diagnostic::error("broken-pdf", None, format!("the PDF is broken and cannot be read: {reason}"))
                .why("it may be cut off, or damaged on its way")
                .hint("ask for the file again, and compare its size with that of the sender's")
        }
    }
}

/// The complaint about a PDF of something else.
pub(super) fn other() -> Diagnostic {
    Diagnostic::error("other-pdf", None, "this PDF is no care plan of weirbook")
        .why("it names another program as its maker, and no site file is inside it")
        .hint("give the PDF that `weirbook plan` wrote")
}

/// The two files of a name, or one that is too large.
fn sorted_out(
    all: Vec<Attached>,
    wanted: &dyn Fn(&str) -> Option<String>,
    found: &mut Vec<Finding>,
) -> BTreeMap<String, Attached> {
    let mut files: BTreeMap<String, Attached> = BTreeMap::new();
    for file in all {
        let name = file.name.clone();
        if file.bytes.is_none() {
            let most = LARGEST_PART / 1_000_000;
            found.push(
                Finding::new("unreadable-file", format!("the attached file `{name}` cannot be unpacked"))
                    .why(format!("it is damaged, or larger than {most} MB")),
            );
        }
        let twin = files.keys().find(|known| known.to_lowercase() == name.to_lowercase()).cloned();
        if let Some(twin) = twin {
            found.push(
                Finding::new("two-files", format!("two files inside the PDF are called `{name}`"))
                    .why("the plan was made from one of them; a reader may be shown the other"),
            );
            // The one that the record knows is read.
            let hash = file.bytes.as_deref().map(sha256);
            if wanted(&name).is_some_and(|wanted| Some(wanted) == hash) {
                files.remove(&twin);
                files.insert(name, file);
            }
            continue;
        }
        files.insert(name, file);
    }
    files
}

/// The record as a file without one would have it.
fn guessed(file: &Opened, files: &BTreeMap<String, Attached>) -> Record {
    let title = file.information("Title").unwrap_or_default();
    let edition = [Edition::ShedSheet, Edition::Workings, Edition::CarePlan]
        .into_iter()
        .find(|edition| title.starts_with(edition.title()))
        .unwrap_or(Edition::CarePlan);
    let stamp = file.information("CreationDate").unwrap_or_default();
    let digits: String = stamp.trim_start_matches("D:").chars().take(8).collect();
    let date = match (digits.get(..4), digits.get(4..6), digits.get(6..8)) {
        (Some(year), Some(month), Some(day)) => format!("{year}-{month}-{day}"),
        _ => String::new(),
    };
    let ending = |ending: &str| files.keys().find(|name| name.to_lowercase().ends_with(ending)).cloned();
    let site = ending(".toml").unwrap_or_else(|| "site.toml".to_owned());
    let text = files.get(&site).and_then(|file| text(file, FileId::SITE));
    let named = |path: Option<String>| {
        let path = path?;
        let last = path.rsplit(['/', '\\']).next().unwrap_or(&path).to_owned();
        Some(last)
    };
    let usual = crate::water::ensemble::USUAL;
    let told = |title: &str| {
        let workings = files.get("workings.json")?.bytes.as_deref()?;
        super::figures::input_of(std::str::from_utf8(workings).ok()?, title)
    };
    Record {
        program: PROGRAM.to_owned(),
        version: String::new(),
        edition: edition.name().to_owned(),
        date,
        units: String::new(),
        members: told("possible years").map_or(usual.members, |count| count as u32),
        seed: told("seed").map_or(usual.seed, |seed| seed as u64),
        input: String::new(),
        log: named(text.as_ref().and_then(site::log_file)),
        weather: named(text.as_ref().and_then(site::weather_file)),
        site,
        workings: "workings.json".to_owned(),
        templates: Vec::new(),
        letterhead: None,
        photographs: Vec::new(),
        files: Vec::new(),
    }
}

fn text(file: &Attached, id: FileId) -> Option<Text> {
    let bytes = file.bytes.as_deref().filter(|bytes| bytes.len() <= LARGEST_TEXT)?;
    Some(site::decode(&file.name, bytes, id).0)
}

impl Inside {
    /// Looks into a file.
    ///
    /// # Errors
    /// When it is no plan of ours.
    pub(super) fn of(file: &Opened) -> Result<Inside, Diagnostic> {
        let all = file.attached();
        let made_by_us = ["Producer", "Creator"]
            .iter()
            .any(|key| file.information(key).is_some_and(|maker| maker.starts_with(PROGRAM)));
        let has = |name: &str| all.iter().any(|file| file.name.eq_ignore_ascii_case(name));
        let site_inside = all.iter().any(|file| file.name.to_lowercase().ends_with(".toml"));
        if !(made_by_us || has(RECORD) || site_inside && has("workings.json")) {
            return Err(other());
        }
        let mut findings = Vec::new();
        let written = all.iter().find(|file| file.name == RECORD).map(|file| file.bytes.clone().unwrap_or_default());
        let told: Option<Record> = written.as_ref().and_then(|bytes| serde_json::from_slice(bytes).ok());
        let hash = |name: &str| {
            let known = told.as_ref()?.files.iter().find(|file| file.name == name)?;
            Some(known.sha256.clone())
        };
        let files = sorted_out(all, &hash, &mut findings);
        let recorded = told.is_some();
        let record = match told {
            Some(record) => record,
            None => {
                let message = if written.is_some() {
                    format!("`{RECORD}` inside the PDF cannot be read")
                } else {
                    format!("`{RECORD}` is missing from the PDF")
                };
                findings.push(Finding::new("no-record", message).why(
                    "it says with which version, date and units the plan was made; these are taken from elsewhere in the file",
                ));
                guessed(file, &files)
            }
        };
        let mut record = record;
        if record.members > MOST_YEARS {
            let message = format!("`{RECORD}` asks for {} possible years", record.members);
            let why = format!("no plan is made with more than {MOST_YEARS}; as many as usual were taken instead");
            findings.push(Finding::new("no-record", message).why(why));
            record.members = crate::water::ensemble::USUAL.members;
        }
        let mut inside =
            Inside { recorded, site: None, log: None, weather: None, files, findings, enough: true, record };
        inside.texts();
        if let Some(art) = inside.record.letterhead.as_ref().filter(|art| art.name.is_none()) {
            let message = format!("the art of the letterhead `{}` is not inside the PDF", art.path);
            inside.findings.push(
                Finding::new("no-letterhead", message)
                    .why("the plan is made again without it, so that the page that bears it differs"),
            );
        }
        if recorded {
            inside.hashes();
        }
        Ok(inside)
    }

    fn texts(&mut self) {
        let mut read = |name: &Option<String>, id: FileId, what: &str| {
            let name = name.as_ref()?;
            let Some(file) = self.files.get(name) else {
                self.findings.push(
                    Finding::new("missing-file", format!("{what} `{name}` is missing from the PDF"))
                        .why("the plan cannot be made again without it: nothing here could be recomputed"),
                );
                self.enough = false;
                return None;
            };
            let found = text(file, id);
            if found.is_none() {
                self.enough = false;
                if file.bytes.is_some() {
                    let most = LARGEST_TEXT / 1_000_000;
                    self.findings.push(
                        Finding::new("large-file", format!("{what} `{name}` inside the PDF is larger than {most} MB"))
                            .why("no pond has so much to tell; it is not read, and nothing here could be recomputed"),
                    );
                }
            }
            found
        };
        let record = &self.record;
        let (site, log, weather) = (Some(record.site.clone()), record.log.clone(), record.weather.clone());
        self.site = read(&site, FileId::SITE, "the site file");
        self.log = read(&log, FileId::LOG, "the log");
        self.weather = read(&weather, FileId::WEATHER, "the weather");
    }

    /// Which of the files a plan was made from are others than those.
    fn hashes(&mut self) {
        let record = &self.record;
        let mut roles: Vec<(&str, &str)> = vec![(record.site.as_str(), "the site file")];
        roles.extend(record.log.as_deref().map(|name| (name, "the log")));
        roles.extend(record.weather.as_deref().map(|name| (name, "the weather file")));
        roles.extend(record.templates.iter().map(|own| (own.name.as_str(), "the firm's words")));
        roles.extend(record.letterhead.iter().filter_map(|art| Some((art.name.as_deref()?, "the letterhead"))));
        for (name, what) in roles {
            let Some(bytes) = self.files.get(name).and_then(|file| file.bytes.as_deref()) else { continue };
            let known = record.files.iter().find(|file| file.name == name).map(|file| file.sha256.as_str());
            if known != Some(sha256(bytes).as_str()) {
                self.findings.push(not_the_input(what, name));
            }
        }
    }

    /// The words of an attached file.
    pub(super) fn words(&self, name: &str) -> Option<&str> {
        let bytes = self.files.get(name)?.bytes.as_deref()?;
        std::str::from_utf8(bytes).ok()
    }
}

/// The finding about a file that was put in, or changed, after the plan was made.
pub(super) fn not_the_input(what: &str, name: &str) -> Finding {
    Finding::new("not-the-input", format!("{what} `{name}` inside this PDF is not the one that the plan was made from"))
        .why("it was changed or exchanged afterwards; what is printed differs from what it gives wherever that matters")
}
