//! `weirbook audit` and `weirbook compare`: what they find, as lines to read or as JSON.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use serde_json::{Value, json};

use super::terminal::{attend, fail, fault, say_line, show};
use super::{Input, UnitsName, art, no_font, read};
use crate::audit::{self, Cause, Comparison, Finding, Moved, Report, Side, Tools};
use crate::diag::{Diagnostic, Text};
use crate::document::Edition;
use crate::page::fonts::Fonts;
use crate::supplies::{Shipped, Supplies as _};

macro_rules! say {
    ($($words:tt)*) => { say_line(format_args!($($words)*)) };
}

/// What is told of `audit` behind its options.
pub(super) const AUDIT_HELP: &str = "Example:\n  weirbook audit quoyle-end-care-plan.pdf\n\nReads the site file and the log inside the PDF, makes the plan again, and compares every word and number on every page,\nthe drawings, the workings, the attached files and all other parts.\n\nExit codes:\n  0  all agrees\n  1  something differs; each finding is a line\n  2  the file cannot be audited: no PDF, broken, locked, or a PDF of something else";

/// What is told of `compare` behind its options.
pub(super) const COMPARE_HELP: &str = "Examples:\n  weirbook compare plan-of-march.pdf plan-of-april.pdf\n  weirbook compare plan-of-march.pdf site.toml --format json\n\nSays what went in and is another now, what is decided otherwise, and which figures moved and through which others.\nBoth are reckoned by this version of the program.\n\nExit codes:\n  0  nothing differs\n  1  something differs\n  2  one of them cannot be read";

/// How the answer is printed.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(super) enum Answer {
    /// Lines to read.
    Text,
    /// An object.
    Json,
}

/// What `compare` is given.
#[derive(Debug, clap::Args)]
pub(super) struct Two {
    /// The older plan: a PDF, or a site file.
    #[arg(value_name = "OLD")]
    old: PathBuf,
    /// The newer one.
    #[arg(value_name = "NEW")]
    new: PathBuf,
    /// How to print it.
    #[arg(long, value_enum, default_value_t = Answer::Text)]
    format: Answer,
    /// The date for plans from site files; a PDF keeps its own.
    #[arg(long, value_parser = super::date)]
    date: Option<chrono::NaiveDate>,
    /// The units for plans from site files; a PDF keeps its own.
    #[arg(long, value_enum, ignore_case = true)]
    units: Option<UnitsName>,
}

fn unreadable(path: &Path, error: &std::io::Error) -> ExitCode {
    let said = format!("`{}` could not be read: {}", path.display(), fault(error));
    fail(2, Diagnostic::error("unreadable-file", None, said).hint("name the PDF that `weirbook plan` wrote"))
}

fn named(path: &Path, mut complaint: Diagnostic) -> Diagnostic {
    complaint.message = format!("`{}`: {}", path.display(), complaint.message);
    complaint
}

fn reads_art(bytes: &[u8]) -> Result<crate::page::Art, crate::supplies::Fault> {
    art::read(bytes)
}

fn fonts() -> Result<Fonts, ExitCode> {
    Fonts::new(|face| Shipped.face(face)).map_err(|error| no_font(&error))
}

/// `weirbook audit`.
pub(super) fn audit(path: &Path, format: Answer) -> ExitCode {
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) => return unreadable(path, &error),
    };
    let fonts = match fonts() {
        Ok(fonts) => fonts,
        Err(code) => return code,
    };
    let report = match audit::audit(&bytes, Tools { fonts: &fonts, art: &reads_art }) {
        Ok(report) => report,
        Err(complaint) => return fail(2, named(path, complaint)),
    };
    match format {
        Answer::Text => tell_report(&report),
        Answer::Json => match serde_json::to_string_pretty(&report_json(&report)) {
            Ok(text) => say!("{text}"),
            Err(error) => return fail(2, Diagnostic::error("no-json", None, error.to_string())),
        },
    }
    ExitCode::from(u8::from(!report.agrees()))
}

/// How many findings are told one by one: a plan made of another site file differs in thousands of words.
const MOST_LINES: usize = 500;

fn counted(count: usize, one: &str, more: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}

fn tell_report(report: &Report) {
    let edition = [Edition::CarePlan, Edition::ShedSheet, Edition::Workings]
        .into_iter()
        .find(|edition| Some(edition.name()) == report.edition)
        .map_or("a plan", Edition::title);
    let date = report.date.as_ref().map(|date| format!(" of {date}")).unwrap_or_default();
    let by = report.made_by.as_ref().map_or_else(
        || format!("it does not say by which version it was made; this is {}", report.this),
        |version| format!("made by weirbook {version}; this is {}", report.this),
    );
    attend("plan", &format!("{edition}{date}, {by}"));
    attend(
        "read",
        &format!(
            "{}, {}, {} of them with digits; {}",
            counted(report.pages, "page", "pages"),
            counted(report.words, "word", "words"),
            report.numbers,
            counted(report.figures, "figure", "figures")
        ),
    );
    for finding in report.findings.iter().take(MOST_LINES) {
        attend("differs", &finding_words(finding));
    }
    if let Some(more) = report.findings.len().checked_sub(MOST_LINES).filter(|more| *more > 0) {
        attend("differs", &format!("and {more} more; `--format json` lists all"));
    }
    let other = report.made_by.as_deref() != Some(report.this);
    if other || report.findings.iter().any(|finding| finding.id == "not-the-input") {
        for moved in &report.moved {
            attend("moved", &moved_words(moved));
        }
    }
    for remark in &report.remarks {
        attend("note", remark);
    }
    if report.agrees() {
        let how = if report.same_bytes {
            "the plan made again from what is inside is the same file, byte for byte"
        } else {
            "every word, number, drawing and file is what the site file and the log inside give"
        };
        attend("agrees", how);
    } else {
        attend("found", &counted(report.findings.len(), "finding", "findings"));
    }
}

fn finding_words(finding: &Finding) -> String {
    let mut place = String::new();
    if let Some(page) = finding.page {
        place.push_str(&format!("page {page}"));
        if let Some(line) = finding.line {
            place.push_str(&format!(", line {line}"));
        }
        place.push_str(": ");
    }
    let figure = finding.figure.as_ref().map(|(number, id)| format!(" [{number} {id}]")).unwrap_or_default();
    let beside = finding
        .beside
        .as_ref()
        .filter(|beside| !beside.is_empty() && Some(*beside) != finding.printed.as_ref())
        .map(|beside| format!(", in: {beside}"))
        .unwrap_or_default();
    let why = finding.why.as_ref().filter(|why| !why.is_empty()).map(|why| format!(" ({why})")).unwrap_or_default();
    format!("{place}{}{figure}{beside}{why} <{}>", finding.message, finding.id)
}

fn finding_json(finding: &Finding) -> Value {
    json!({
        "id": finding.id,
        "page": finding.page,
        "line": finding.line,
        "figure": finding.figure.as_ref().map(|(number, id)| json!({ "line": number, "id": id })),
        "printed": finding.printed,
        "recomputed": finding.recomputed,
        "message": finding.message,
        "beside": finding.beside,
        "why": finding.why,
    })
}

fn report_json(report: &Report) -> Value {
    json!({
        "agrees": report.agrees(),
        "made_by": report.made_by,
        "this": report.this,
        "edition": report.edition,
        "date": report.date,
        "same_bytes": report.same_bytes,
        "pages": report.pages,
        "words": report.words,
        "numbers": report.numbers,
        "figures": report.figures,
        "findings": report.findings.iter().map(finding_json).collect::<Vec<Value>>(),
        "moved": report.moved.iter().map(moved_json).collect::<Vec<Value>>(),
        "remarks": report.remarks,
    })
}

/// Why a figure moved, in a word and more.
fn cause(cause: &Cause) -> (&'static str, String) {
    match cause {
        Cause::Inputs(leaves) => {
            let told: Vec<String> = leaves
                .iter()
                .map(|leaf| {
                    let (old, new) = (audit::number(leaf.old), audit::number(leaf.new));
                    format!("{} was {old} and is {new} {} ({})", leaf.title, leaf.unit, leaf.origin)
                })
                .collect();
            ("inputs", told.join("; "))
        }
        Cause::Formula => ("formula", "its formula, or what it rests on, changed".to_owned()),
        Cause::Follows(ids) => ("follows", format!("follows from {}", ids.join(", "))),
        Cause::New => ("new", "it was not reckoned before".to_owned()),
        Cause::Gone => ("gone", "it is not reckoned any more".to_owned()),
    }
}

fn values(moved: &Moved) -> String {
    let shown = |value: Option<f64>, unit: &str| {
        value.map_or("nothing".to_owned(), |value| format!("{} {unit}", audit::number(value)).trim_end().to_owned())
    };
    // Where the digits told do not differ, all are.
    let (old, new) = (shown(moved.old, &moved.unit_before), shown(moved.new, &moved.unit));
    if old == new {
        let whole = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        return format!("was {} and is {} {}", whole(moved.old), whole(moved.new), moved.unit);
    }
    format!("was {old} and is {new}")
}

fn moved_words(moved: &Moved) -> String {
    format!("{} [{} {}] {}; {}", moved.title, moved.number, moved.id, values(moved), cause(&moved.cause).1)
}

fn moved_json(moved: &Moved) -> Value {
    let (kind, words) = cause(&moved.cause);
    json!({
        "id": moved.id,
        "line": moved.number,
        "title": moved.title,
        "old": moved.old,
        "old_unit": moved.unit_before,
        "new": moved.new,
        "new_unit": moved.unit,
        "cause": kind,
        "because": words,
        "chain": moved.chain,
    })
}

/// One of two plans, from a PDF or a site file.
fn side(path: &Path, two: &Two, tools: Tools<'_>) -> Result<Side, ExitCode> {
    let bytes = std::fs::read(path).map_err(|error| unreadable(path, &error))?;
    let head = bytes.get(..bytes.len().min(1024)).unwrap_or_default();
    if head.windows(5).any(|window| window == b"%PDF-") {
        return audit::side_of_pdf(&bytes, tools).map_err(|(complaints, texts)| {
            show(&texts, &complaints);
            let said = format!("no plan can be made of what is inside `{}`", path.display());
            fail(2, Diagnostic::error("no-plan", None, said).hint("`weirbook audit` says more of that PDF"))
        });
    }
    let input = Input { site: path.to_path_buf(), date: two.date, units: two.units };
    let run = read(&input, None, None).map_err(|_| ExitCode::from(2))?;
    let Some(job) = run.job else { return Err(ExitCode::from(2)) };
    let mut texts = run.texts.into_iter();
    let mut next = || texts.next().unwrap_or(Text { name: String::new(), words: String::new() });
    let (site, log, weather) = (next(), next(), next());
    let there = |text: Text| Some(text).filter(|text| !text.name.is_empty());
    Ok(Side { job, made_by: None, site, log: there(log), weather: there(weather) })
}

/// `weirbook compare`.
pub(super) fn compare(two: &Two) -> ExitCode {
    let fonts = match fonts() {
        Ok(fonts) => fonts,
        Err(code) => return code,
    };
    let tools = Tools { fonts: &fonts, art: &reads_art };
    let (old, new) = match (side(&two.old, two, tools), side(&two.new, two, tools)) {
        (Ok(old), Ok(new)) => (old, new),
        (Err(code), _) | (_, Err(code)) => return code,
    };
    let found = audit::compare(&old, &new);
    match two.format {
        Answer::Text => tell_comparison(&found, &old, &new, two),
        Answer::Json => match serde_json::to_string_pretty(&comparison_json(&found, &old, &new)) {
            Ok(text) => say!("{text}"),
            Err(error) => return fail(2, Diagnostic::error("no-json", None, error.to_string())),
        },
    }
    ExitCode::from(u8::from(!found.is_same()))
}

fn side_words(side: &Side, path: &Path) -> String {
    let by = side
        .made_by
        .as_ref()
        .filter(|version| *version != env!("CARGO_PKG_VERSION"))
        .map(|version| format!(", made by weirbook {version} and reckoned anew here"))
        .unwrap_or_default();
    format!("{}, plan of {}{by}", path.display(), side.job.plan.date)
}

/// How many consequences of one reason are told one by one.
const MOST_TOLD: usize = 8;

fn tell_comparison(found: &Comparison, old: &Side, new: &Side, two: &Two) {
    attend("old", &side_words(old, &two.old));
    attend("new", &side_words(new, &two.new));
    if found.is_same() {
        attend("same", &format!("nothing differs: {}", counted(found.count, "figure", "figures")));
        return;
    }
    for change in &found.inputs {
        let place = match (change.line, change.line_before) {
            (Some(line), _) => format!(" ({} line {line})", change.file),
            (None, Some(line)) => format!(" ({} line {line} of the old one)", change.file),
            (None, None) => String::new(),
        };
        let words = match (&change.old, &change.new) {
            (Some(old), Some(new)) => format!("{} was {old} and is {new}{place}", change.what),
            (None, Some(new)) => format!("{} is new: {new}{place}", change.what),
            (Some(old), None) => format!("{} is gone; it was {old}{place}", change.what),
            (None, None) => continue,
        };
        attend("input", &words);
    }
    for decided in &found.decisions {
        let mut words = match (&decided.old, &decided.new) {
            (Some(old), Some(new)) => format!("{}: {old}; now {new}", decided.what),
            (None, Some(new)) => format!("{}: now {new}; before, nothing", decided.what),
            (Some(old), None) => format!("{}: before, {old}; now nothing", decided.what),
            (None, None) => continue,
        };
        if let Some(because) = decided.figure.as_deref().and_then(|id| found.because(id)) {
            words.push_str(&format!(". Because: {because}"));
            if let Some(through) = decided.figure.as_deref().and_then(|id| through(found, id)) {
                words.push_str(&format!(", through {through}"));
            }
        }
        attend("decided", &words);
    }
    let moved = found.figures.len();
    attend("figures", &format!("{} of {} moved", moved, counted(found.count, "figure", "figures")));
    for group in &found.groups {
        let follow = match group.follow.len() {
            0 => String::new(),
            count => format!(", and {count} more in consequence"),
        };
        let begins = counted(group.roots.len(), "figure", "figures");
        attend("because", &format!("{}. Moved: {begins}{follow}", group.because));
        for id in group.roots.iter().chain(&group.follow).take(MOST_TOLD) {
            let Some(figure) = found.figure(id) else { continue };
            let through = through(found, id).map(|chain| format!("; through {chain}")).unwrap_or_default();
            attend("  moved", &format!("{} [{} {id}] {}{through}", figure.title, figure.number, values(figure)));
        }
        let told = group.roots.len() + group.follow.len();
        if told > MOST_TOLD {
            attend("  moved", &format!("and {} more; `--format json` lists all", told - MOST_TOLD));
        }
    }
}

/// The figures between where a movement began and one that followed, by their titles.
fn through(found: &Comparison, id: &str) -> Option<String> {
    let chain = &found.figure(id)?.chain;
    let titles: Vec<String> = chain
        .iter()
        .filter_map(|id| found.figure(id))
        .map(|figure| format!("{} [{}]", figure.title, figure.number))
        .collect();
    (!titles.is_empty()).then(|| titles.join(", "))
}

fn comparison_json(found: &Comparison, old: &Side, new: &Side) -> Value {
    let side = |side: &Side| json!({ "date": side.job.plan.date.to_string(), "units": side.job.plan.system.name(), "made_by": side.made_by });
    json!({
        "same": found.is_same(),
        "this": env!("CARGO_PKG_VERSION"),
        "old": side(old),
        "new": side(new),
        "inputs": found.inputs.iter().map(|change| json!({
            "file": change.file, "what": change.what, "old": change.old, "new": change.new,
            "line": change.line, "old_line": change.line_before,
        })).collect::<Vec<Value>>(),
        "decisions": found.decisions.iter().map(|decided| json!({
            "what": decided.what, "old": decided.old, "new": decided.new, "figure": decided.figure,
            "because": decided.figure.as_deref().and_then(|id| found.because(id)),
        })).collect::<Vec<Value>>(),
        "figures": found.figures.iter().map(moved_json).collect::<Vec<Value>>(),
        "reasons": found.groups.iter().map(|group| json!({
            "because": group.because, "begins_at": group.roots, "then": group.follow,
        })).collect::<Vec<Value>>(),
        "count": found.count,
    })
}
