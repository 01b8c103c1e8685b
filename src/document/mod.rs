//! From a plan to a document: the view handed to templates, templates to CommonMark, CommonMark to blocks.
//!
//! [`compose`] is the door. Templates are minijinja and hold the words; values reach them escaped, so that a site name of
//! `# **<b>{{ 1 }}` prints as typed. A drawing is an image whose address is `drawing:NAME`; a group of workings lines is
//! one whose address is `workings:GROUP`, the photographs of a part `photos:PART`; a footnote reference `[^hardness.buffer.dose]` is the number of that line in
//! the workings, set in the number column.

mod drawings;
mod lines;
mod markdown;
mod view;
mod words;

use minijinja::Environment;

use crate::diag::Diagnostic;
use crate::page::fonts::Fonts;
use crate::page::{Document, Letterhead, Photo, Running, Style};
use crate::plan::Plan;
use crate::site::{PhotoPart, Site};

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
}

/// Puts a plan into words and blocks.
///
/// # Errors
/// A complaint when a template is missing or broken, with its line.
pub fn compose(source: &Source<'_>, edition: Edition) -> Result<Document, Diagnostic> {
    let name = edition.name();
    let lines = lines::Lines::new(source.plan);
    let reader = Reader::new(source.site, source.plan.system);
    source
        .template
        .template(name)
        .ok_or_else(|| Diagnostic::error("missing-template", None, format!("there is no template `{name}.md`")))?;
    let mut environment = Environment::new();
    environment.set_undefined_behavior(minijinja::UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|_| minijinja::AutoEscape::Custom("markdown".into()));
    environment.set_formatter(words::escaping_formatter);
    for part in ["care-plan", "shed-sheet", "workings", "sentences"] {
        if let Some(text) = source.template.template(part) {
            let text = tidy_tags(text);
            let text = if reader.american() { words::american(&text) } else { text };
            environment.add_template_owned(part, text).map_err(|error| broken(&error, part))?;
        }
    }
    let view = view::view(source, edition, &reader, &lines);
    let template = environment.get_template(name).map_err(|error| broken(&error, name))?;
    let mut rendered = template.render(view).map_err(|error| broken(&error, name))?;
    if edition == Edition::CarePlan {
        rendered.push_str(&photos_without_a_place(source, &rendered));
    }
    let drawings = drawings::Drawings { source, reader: &reader, lines: &lines };
    let blocks = markdown::blocks(&rendered, &drawings, &lines);
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

/// Lets a line that holds nothing but tags leave no trace in the text: its indentation goes, and its line break moves
/// inside its last tag, so that lines keep their numbers in complaints.
fn tidy_tags(template: &str) -> String {
    let mut out = String::with_capacity(template.len() + 256);
    for line in template.split_inclusive('\n') {
        let bare = line.trim();
        let tag = (bare.starts_with("{%") && bare.ends_with("%}")) || (bare.starts_with("{#") && bare.ends_with("#}"));
        if tag && !holds_words(bare) && line.ends_with('\n') {
            let (head, close) = bare.split_at(bare.len() - 2);
            // A dash that trims white space must stay beside its bracket.
            let (head, dash) = head.strip_suffix('-').map_or((head, ""), |h| (h, "-"));
            out.push_str(head);
            out.push('\n');
            out.push_str(dash);
            out.push_str(close);
        } else {
            out.push_str(line);
        }
    }
    out
}

/// Whether anything stands outside the tags of a line.
fn holds_words(line: &str) -> bool {
    let mut rest = line;
    loop {
        rest = rest.trim_start();
        let close = match rest.get(..2) {
            Some("{%") => "%}",
            Some("{#") => "#}",
            _ => return !rest.is_empty(),
        };
        match rest.split_once(close) {
            Some((_, after)) => rest = after,
            None => return true,
        }
    }
}

/// A broken template gets the same kind of complaint as a broken site file.
fn broken(error: &minijinja::Error, name: &str) -> Diagnostic {
    let place = error.name().unwrap_or(name);
    let line = error.line().map_or_else(String::new, |l| format!(":{l}"));
    let detail = error.detail().map_or_else(|| error.kind().to_string(), ToOwned::to_owned);
    Diagnostic::error("broken-template", None, format!("template `{place}.md{line}` could not be used: {detail}"))
        .why("the words of the plan come from it")
        .hint("correct that line; the templates that come with the program show every name that may be used")
}
