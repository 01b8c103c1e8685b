//! From a plan to a document: the view handed to templates, templates to CommonMark, CommonMark to blocks.
//!
//! [`compose`] is the door. Templates are minijinja and hold the words; values reach them escaped, so that a site name of
//! `# **<b>{{ 1 }}` prints as typed. A drawing is an image whose address is `drawing:NAME`; a group of workings lines is
//! one whose address is `workings:GROUP`, the photographs of a part `photos:PART`; a footnote reference `[^hardness.buffer.dose]` is the number of that line in
//! the workings, set in the number column.

mod advice;
mod aloud;
mod bars;
mod by_test;
mod checks;
mod corrections;
mod drawings;
mod least;
mod lines;
mod markdown;
mod offer;
mod panel;
mod past;
mod template;
mod view;
mod words;
mod year;

use std::collections::BTreeMap;

use crate::diag::{Diagnostic, Diagnostics};
use crate::page::fonts::Fonts;
use crate::page::style::Sheet;
use crate::page::{Document, Letterhead, Paper, Photo, Running, Style};
use crate::plan::Plan;
use crate::site::{PhotoPart, Site};

pub use checks::{FILTERS, TESTS};
pub use drawings::DRAWINGS;
pub use offer::{Kind, NAMES, Name, comment};
pub use past::break_words;
pub use template::{PARTS, file_of, texts, unchanged};
pub use words::Reader;

/// Which document is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edition {
    /// The whole care plan.
    CarePlan,
    /// One sheet for the shed.
    ShedSheet,
    /// The workings alone.
    Workings,
}

impl Edition {
    /// Its name on the command line, in file names, and of its template.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Edition::CarePlan => "care-plan",
            Edition::ShedSheet => "shed-sheet",
            Edition::Workings => "workings",
        }
    }

    /// Its title in print.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Edition::CarePlan => "Care plan",
            Edition::ShedSheet => "Pond sheet",
            Edition::Workings => "Workings",
        }
    }
}

/// What a document is made from.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The site.
    pub site: &'a Site,
    /// The plan.
    pub plan: &'a Plan,
    /// Templates by name.
    pub template: &'a dyn Templates,
    /// The look.
    pub style: Style,
    /// The fonts, to measure the labels of drawings with.
    pub fonts: &'a Fonts,
    /// The letterhead, art already read.
    pub letterhead: Option<&'a Letterhead>,
    /// The photographs, already read.
    pub photos: &'a [Pictured],
    /// Hash of everything that went in.
    pub fingerprint: [u8; 32],
    /// How much has been left out because the sheet did not hold it (PAGE.md section 12): 0 for nothing.
    pub squeeze: u8,
}

/// A photograph with what is said of it, and the part of the plan it stands in.
#[derive(Clone, Debug)]
pub struct Pictured {
    /// The path of its file, relative to the site file.
    pub path: String,
    /// Where it stands.
    pub part: PhotoPart,
    /// The picture.
    pub photo: Photo,
    /// What is printed beside it.
    pub caption: String,
    /// What it shows.
    pub alternative: String,
}

/// Templates by name.
pub trait Templates: std::fmt::Debug {
    /// The template of this name; `None` if there is none.
    fn template(&self, name: &str) -> Option<&str>;
    /// Whether it is the firm's own, and not the one that comes with the program.
    fn own(&self, _name: &str) -> bool {
        false
    }
    /// What complaints call it.
    fn label(&self, name: &str) -> String {
        format!("{name}.md")
    }
}

/// Everything that is wrong with these templates, as far as can be said without a plan. Complaints point into [`texts`].
#[must_use]
pub fn check(templates: &dyn Templates) -> Diagnostics {
    match template::Library::read(templates, false) {
        Ok(library) => library.check(),
        Err(found) => found,
    }
}

/// The whole name and kind of each value that this plan offers to templates; what is absent in it has no kind.
#[must_use]
pub fn offered(site: &Site, plan: &Plan, fonts: &Fonts) -> BTreeMap<String, Option<Kind>> {
    let style = Style { paper: Paper::A4, sheet: Sheet::Report, accent: [0; 3] };
    let template: &dyn Templates = &NoTemplates;
    let source =
        Source { site, plan, template, style, fonts, letterhead: None, photos: &[], fingerprint: [0; 32], squeeze: 0 };
    let lines = lines::Lines::new(plan);
    let reader = Reader::new(site, plan.system);
    let mut out = BTreeMap::new();
    view::names(&view::view(&source, Edition::CarePlan, &reader, &lines), "", &mut out);
    out
}

#[derive(Debug)]
struct NoTemplates;

impl Templates for NoTemplates {
    fn template(&self, _name: &str) -> Option<&str> {
        None
    }
}

/// Puts a plan into words and blocks.
///
/// # Errors
/// Everything that is wrong with the templates, with its line; complaints point into [`texts`].
pub fn compose(source: &Source<'_>, edition: Edition) -> Result<Document, Diagnostics> {
    let name = edition.name();
    let lines = lines::Lines::new(source.plan);
    let reader = Reader::new(source.site, source.plan.system);
    source
        .template
        .template(name)
        .ok_or_else(|| Diagnostic::error("missing-template", None, format!("there is no template `{name}.md`")))?;
    let library = template::Library::read(source.template, reader.american())?;
    let view = view::view(source, edition, &reader, &lines);
    let filled = library.fill(name, &view)?;
    let mut rendered = filled.clone();
    if edition == Edition::CarePlan {
        rendered.push_str(&photos_without_a_place(source, &rendered));
    }
    let drawings = drawings::Drawings { source, reader: &reader, lines: &lines };
    let (blocks, slips) = markdown::blocks(&rendered, &drawings, &lines);
    if !slips.is_empty() {
        let sources = library.sources(name, &view, &filled);
        return Err(template::located(slips, sources.as_ref(), name, &texts(source.template)));
    }
    let date = words::iso(source.plan.date);
    let running = match edition {
        Edition::ShedSheet => Running {
            high: words::cut(&source.site.name, 30),
            low: source
                .site
                .next_visit
                .as_ref()
                .map_or_else(String::new, |d| format!("Use until {}", reader.day_year(d.value))),
            ..Running::default()
        },
        _ => Running {
            high: words::cut(&source.site.name, 24),
            low: format!("{}, {}", edition.title(), reader.day_year(source.plan.date)),
            foot_left: source.site.firm.name.clone(),
            foot_middle: vec![
                source.site.firm.telephone.clone(),
                format!("Input {}", words::short_hash(&source.fingerprint)),
            ],
        },
    };
    Ok(Document {
        title: format!("{} for {}", edition.title(), source.site.name),
        language: if reader.american() { "en-US".into() } else { "en-GB".into() },
        author: source.site.firm.name.clone(),
        subject: format!("{} of {}, {}", edition.title(), date, source.site.place),
        date,
        style: source.style,
        letterhead: if edition == Edition::CarePlan { source.letterhead.cloned() } else { None },
        running,
        blocks,
        fingerprint: source.fingerprint,
    })
}

/// Photographs of parts that a firm's own template says nothing of: they stand at the end, and are not lost.
fn photos_without_a_place(source: &Source<'_>, rendered: &str) -> String {
    let addresses = PhotoPart::ALL
        .iter()
        .filter(|(_, part)| source.photos.iter().any(|pictured| pictured.part == *part))
        .map(|(word, _)| format!("](photos:{word})"));
    addresses.filter(|address| !rendered.contains(address)).map(|address| format!("\n\n![{address}\n")).collect()
}
