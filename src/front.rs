//! The front door: site text + log text -> plan; plan + edition -> PDF bytes.

mod limits;
mod look;
mod record;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use chrono::NaiveDate;
use sha2::{Digest, Sha256};

use crate::diag::{Diagnostic, Diagnostics, Text};
use crate::document::Templates as _;
use crate::document::{self, Edition, Source};
use crate::layout::{self, Finding};
use crate::page::display::DisplayList;
use crate::page::style::Sheet;
use crate::page::{Block, BlockKind, Letterhead, Style};
use crate::pdf::Attachment;
use crate::plan::{self, Plan, Texts};
use crate::site::{self, Site};
use crate::supplies::{Shipped, Supplies};
use crate::units::System;
use crate::water::ensemble::{Draw, USUAL};

pub use record::{PROGRAM, RECORD, Record, sha256};

/// What the command line may choose over the site file.
#[derive(Clone, Copy, Debug, Default)]
pub struct Choices {
    /// The date on the plan.
    pub date: Option<NaiveDate>,
    /// In whose units the plan speaks.
    pub system: Option<System>,
    /// How many possible years stand behind the forecast, and which; without it [`USUAL`].
    pub draw: Option<Draw>,
}

/// A plan with what it was made from.
#[derive(Clone, Debug)]
pub struct Job {
    /// The site as meant.
    pub site: Site,
    /// The plan.
    pub plan: Plan,
    /// Hash of the site file, the log, the weather, the date and the units.
    pub fingerprint: [u8; 32],
    /// How many possible years stand behind the forecast, and which.
    pub draw: Draw,
    letterhead: Letterhead,
    /// The file the letterhead's art was read from.
    art_file: Option<Vec<u8>>,
    accent: [u8; 3],
    photos: Vec<document::Pictured>,
    site_text: Text,
    log_text: Option<Text>,
    weather_text: Option<Text>,
    /// The workings as JSON. Written when the first edition is made: all editions carry the same.
    workings: OnceLock<String>,
    /// The workings as a spreadsheet, likewise.
    spreadsheet: OnceLock<Vec<u8>>,
}

/// Reads and plans. The second value holds every complaint, in both texts; the job is `None` when one of them is an error.
pub fn prepare(
    site_text: &Text,
    log: Option<&Text>,
    choices: Choices,
    supplies: &dyn Supplies,
) -> (Option<Job>, Diagnostics) {
    prepare_with_weather(site_text, log, None, choices, supplies)
}

/// [`prepare`] with the weather file that the site file names ([`site::weather_file`]), if it could be fetched.
pub fn prepare_with_weather(
    site_text: &Text,
    log: Option<&Text>,
    weather: Option<&Text>,
    choices: Choices,
    supplies: &dyn Supplies,
) -> (Option<Job>, Diagnostics) {
    let parsed = site::parse_with_weather(site_text, log, weather, choices.date);
    let mut complaints = parsed.complaints;
    let Some(site) = parsed.site else { return (None, complaints) };
    let Some(date) = choices.date.or(site.plan_date.as_ref().map(|d| d.value)) else {
        complaints.push(
            Diagnostic::error("no-date", None, "the plan has no date")
                .why("days are counted from it, and the clock is never asked, so that the same input gives the same plan")
                .hint("write `plan_date = 2027-02-18` in `[site]`, or give `--date 2027-02-18`"),
        );
        return (None, complaints);
    };
    let system = choices.system.unwrap_or(site.page.system);
    let letterhead = look::letterhead(&site, supplies, &mut complaints);
    let accent = look::accent(&site, &mut complaints);
    let photos = look::photos(&site, supplies, &mut complaints);
    let art_file = site.firm.letterhead.as_ref().and_then(|path| supplies.art_file(&path.value));
    let draw = choices.draw.unwrap_or(USUAL);
    let texts = Texts { site: site_text, log };
    match plan::decide(&site, texts, date, system, draw) {
        Ok((plan, found)) => {
            complaints.append(found);
            let fingerprint = fingerprint([Some(site_text), log, weather], date, system, choices.draw);
            let (site_text, log_text, weather_text) = (site_text.clone(), log.cloned(), weather.cloned());
            let job = Job {
                site,
                plan,
                fingerprint,
                draw,
                letterhead,
                art_file,
                accent,
                photos,
                site_text,
                log_text,
                weather_text,
                workings: OnceLock::new(),
                spreadsheet: OnceLock::new(),
            };
            (Some(job), complaints)
        }
        Err(found) => {
            complaints.append(found);
            (None, complaints)
        }
    }
}

fn fingerprint(texts: [Option<&Text>; 3], date: NaiveDate, system: System, draw: Option<Draw>) -> [u8; 32] {
    let mut hash = Sha256::new();
    // Lengths keep two texts from running into each other.
    for text in texts.into_iter().flatten() {
        hash.update((text.words.len() as u64).to_le_bytes());
        hash.update(text.words.as_bytes());
    }
    hash.update(date.to_string().as_bytes());
    hash.update(format!("{system:?}").as_bytes());
    // What everyone has is no mark of this plan.
    if let Some(draw) = draw.filter(|draw| *draw != USUAL) {
        hash.update(draw.members.to_le_bytes());
        hash.update(draw.seed.to_le_bytes());
    }
    hash.finalize().into()
}

/// The PDF of one edition.
///
/// # Errors
/// A broken template, a font that cannot be read, or a page that cannot be written.
pub fn render(
    job: &Job,
    edition: Edition,
    supplies: &dyn Supplies,
    fonts: &crate::page::fonts::Fonts,
) -> Result<Vec<u8>, Diagnostics> {
    Ok(made(job, edition, supplies, fonts)?.1)
}

/// [`render`], with the pages as they were set.
pub(crate) fn made(
    job: &Job,
    edition: Edition,
    supplies: &dyn Supplies,
    fonts: &crate::page::fonts::Fonts,
) -> Result<(DisplayList, Vec<u8>), Diagnostics> {
    let (document, typeset) = set(job, edition, supplies, fonts)?;
    let bytes =
        crate::pdf::write::write(&typeset.pages, &document, fonts, &enclosed(job, edition, supplies, &typeset.pages)?)
            .map_err(|e| Diagnostic::error("no-pdf", None, format!("the pages could not be written: {e}")))?;
    Ok((typeset.pages, bytes))
}

/// The pages of one edition before they are written, with what the typesetter found.
///
/// # Errors
/// A broken template, or a shed sheet that does not hold what it has to say.
pub fn set(
    job: &Job,
    edition: Edition,
    supplies: &dyn Supplies,
    fonts: &crate::page::fonts::Fonts,
) -> Result<(crate::page::Document, layout::Typeset), Diagnostics> {
    let sheet = if edition == Edition::ShedSheet { Sheet::Poster } else { Sheet::Report };
    let paper = look::paper(if sheet == Sheet::Poster { job.site.page.shed_paper } else { job.site.page.paper });
    let style = Style { paper, sheet, accent: job.accent };
    let mut hash = Sha256::new();
    hash.update(job.fingerprint);
    hash.update(edition.name().as_bytes());
    for part in document::PARTS {
        // Words of the firm's own are input too; an unchanged copy of ours is none.
        let changed = |words: &&str| !document::unchanged(words, Shipped.template(part).unwrap_or_default());
        if let Some(words) = supplies.template(part).filter(changed) {
            hash.update((words.len() as u64).to_le_bytes());
            hash.update(words.as_bytes());
        }
    }
    let fingerprint: [u8; 32] = hash.finalize().into();
    // A small sheet has no room for the year strip, which goes first.
    let mut squeeze = u8::from(sheet == Sheet::Poster && paper.is_small());
    loop {
        let source = Source {
            site: &job.site,
            plan: &job.plan,
            template: &ShowTemplates(supplies),
            style,
            fonts,
            letterhead: Some(&job.letterhead),
            photos: &job.photos,
            fingerprint,
            squeeze,
        };
        let mut document = document::compose(&source, edition)?;
        if edition == Edition::Workings {
            // By themselves the workings name no page: those of the care plan are where their lines are printed.
            let (_, plan) = set(job, Edition::CarePlan, supplies, fonts)?;
            name_pages(&mut document.blocks, &plan.marks);
        }
        let typeset = layout::typeset(&document, fonts);
        let too_tall = typeset.findings.iter().any(|f| matches!(f, Finding::TooTall { .. }));
        if sheet == Sheet::Poster && too_tall {
            if squeeze < MOST_SQUEEZE {
                squeeze += 1;
                continue;
            }
            // An emergency box that covers other words is worse than no sheet.
            return Err(Diagnostic::error("sheet-too-full", None, "the shed sheet does not hold all it has to say")
                .why("its amounts must be read from two metres, and nothing may cover the emergency box")
                .hint("print the other editions with `--edition`, and shorten the names of site and firm")
                .into());
        }
        return Ok((document, typeset));
    }
}

/// The workings as a spreadsheet with live formulas.
///
/// # Errors
/// When it cannot be written, such as with more lines than a sheet has rows.
pub fn spreadsheet(job: &Job) -> Result<&[u8], Diagnostic> {
    if let Some(bytes) = job.spreadsheet.get() {
        return Ok(bytes);
    }
    let heading = crate::sheet::Heading {
        site: job.site.name.clone(),
        date: job.plan.date,
        program: format!("weirbook {}", env!("CARGO_PKG_VERSION")),
    };
    let bytes = crate::sheet::xlsx(&job.plan.book, &heading, &limits::rows(&job.plan.checks))
        .map_err(|e| Diagnostic::error("no-spreadsheet", None, format!("the spreadsheet could not be written: {e}")))?;
    Ok(job.spreadsheet.get_or_init(|| bytes))
}

/// Puts the pages of another edition beside the lines that it prints: `plan 3`, then `5`.
fn name_pages(blocks: &mut [Block], marks: &BTreeMap<u32, BTreeSet<usize>>) {
    for block in blocks {
        match &mut block.kind {
            BlockKind::Lines(group) => {
                for line in &mut group.lines {
                    let pages = marks.get(&line.number).into_iter().flatten().enumerate();
                    line.also = pages
                        .map(|(index, page)| {
                            let head = if index == 0 { "plan\u{a0}" } else { "" };
                            format!("{head}{}", page + 1)
                        })
                        .collect();
                }
            }
            BlockKind::List { items, .. } => items.iter_mut().for_each(|item| name_pages(item, marks)),
            _ => {}
        }
    }
}

/// What travels inside every edition: what the plan was made from, its workings for other programs, and with what to make it
/// again.
fn enclosed(
    job: &Job,
    edition: Edition,
    supplies: &dyn Supplies,
    pages: &DisplayList,
) -> Result<Vec<Attachment>, Diagnostic> {
    let file = |name: &str, media_type: &str, bytes: &[u8], description: &str, relationship: &str| Attachment {
        name: name.to_owned(),
        media_type: media_type.to_owned(),
        bytes: bytes.to_vec(),
        description: description.to_owned(),
        relationship: relationship.to_owned(),
    };
    let site = &job.site_text;
    let words = "The site file of this plan";
    let mut files = vec![file(&site.name, "application/toml", site.words.as_bytes(), words, "Source")];
    let [mut log_at, mut weather_at] = [None; 2];
    if let Some(log) = &job.log_text {
        log_at = Some(files.len());
        let words = "The log of readings this plan rests on";
        files.push(file(&log.name, "text/csv", log.words.as_bytes(), words, "Data"));
    }
    if let Some(weather) = &job.weather_text {
        weather_at = Some(files.len());
        let words = "The weather the forecast of this plan rests on";
        files.push(file(&weather.name, "text/csv", weather.words.as_bytes(), words, "Data"));
    }
    let workings = match job.workings.get() {
        Some(workings) => workings,
        None => {
            let text = workings_text(job)
                .map_err(|e| Diagnostic::error("no-json", None, format!("the workings could not be written: {e}")))?;
            job.workings.get_or_init(|| text)
        }
    };
    let workings_at = Some(files.len());
    files.push(file(
        "workings.json",
        "application/json",
        workings.as_bytes(),
        "Every published number with its workings",
        "Supplement",
    ));
    files.push(file(
        "workings.xlsx",
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        spreadsheet(job)?,
        "The workings as a spreadsheet with live formulas",
        "Supplement",
    ));
    record::recorded(job, edition, supplies, pages, files, [log_at, weather_at, workings_at]).map_err(|e| {
        Diagnostic::error("no-json", None, format!("what the plan was made with could not be written: {e}"))
    })
}

/// The workings as JSON, one line a figure: short, and still to be read by a person.
fn workings_text(job: &Job) -> serde_json::Result<String> {
    let mut text = "[\n".to_owned();
    for (index, line) in job.plan.book.json().iter().enumerate() {
        if index > 0 {
            text += ",\n";
        }
        text += &serde_json::to_string(line)?;
    }
    text += "\n]\n";
    // No-break spaces are for the page; whoever searches this types ordinary ones.
    Ok(text.replace(['\u{a0}', '\u{202f}'], " "))
}

/// How far a shed sheet may be cut down: the templates say what goes at each step.
const MOST_SQUEEZE: u8 = 7;

/// Supplies seen only as templates.
#[derive(Debug)]
struct ShowTemplates<'a>(&'a dyn Supplies);

impl document::Templates for ShowTemplates<'_> {
    fn template(&self, name: &str) -> Option<&str> {
        self.0.template(name)
    }
    fn own(&self, name: &str) -> bool {
        self.0.own(name)
    }
    fn label(&self, name: &str) -> String {
        self.0.label(name)
    }
}
