//! Two plans held against each other: what went in, what is decided, which figures moved, and through which chain.

use std::collections::BTreeMap;

use crate::diag::{Diagnostic, Diagnostics, Text};
use crate::front::Job;
use crate::pdf::opened;
use crate::units::{Digits, plain};

use super::decisions;
use super::figures::{self, Cause, Leaf, Moved};
use super::input::{self, Change};
use super::inside::{self, Inside};
use super::rebuild::{self, Tools, text_of};

/// One of the two.
#[derive(Clone, Debug)]
pub struct Side {
    /// The plan, made by this version.
    pub job: Job,
    /// The version that made the PDF it comes from.
    pub made_by: Option<String>,
    /// The site file.
    pub site: Text,
    /// The log.
    pub log: Option<Text>,
    /// The weather.
    pub weather: Option<Text>,
}

/// A decision that is another now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decided {
    /// What it is about.
    pub what: String,
    /// What was decided; `None` where nothing was.
    pub old: Option<String>,
    /// What is decided.
    pub new: Option<String>,
    /// The figure behind it, if it moved: its id.
    pub figure: Option<String>,
}

/// Figures that moved for one reason.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The reason, as a sentence.
    pub because: String,
    /// The ids of the figures where it begins.
    pub roots: Vec<String>,
    /// The ids of those that follow.
    pub follow: Vec<String>,
}

/// What a comparison comes to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Comparison {
    /// What went in and is another now.
    pub inputs: Vec<Change>,
    /// What is decided otherwise.
    pub decisions: Vec<Decided>,
    /// The figures that moved.
    pub figures: Vec<Moved>,
    /// By where that began.
    pub groups: Vec<Group>,
    /// How many figures the new plan has.
    pub count: usize,
}

impl Comparison {
    /// Whether nothing differs.
    #[must_use]
    pub fn is_same(&self) -> bool {
        self.inputs.is_empty() && self.decisions.is_empty() && self.figures.is_empty()
    }

    /// A figure that moved.
    #[must_use]
    pub fn figure(&self, id: &str) -> Option<&Moved> {
        self.figures.iter().find(|figure| figure.id == id)
    }

    /// Why a figure moved: the reason of the group it belongs to.
    #[must_use]
    pub fn because(&self, id: &str) -> Option<&str> {
        let of = |ids: &[String]| ids.iter().any(|each| each == id);
        self.groups.iter().find(|group| of(&group.roots) || of(&group.follow)).map(|group| group.because.as_str())
    }
}

/// Makes a side of a PDF.
///
/// # Errors
/// When the file is no plan, or no plan can be made of what is inside it; the texts are those that complaints point into.
pub fn side_of_pdf(bytes: &[u8], tools: Tools<'_>) -> Result<Side, (Diagnostics, Vec<Text>)> {
    let alone = |complaint: Diagnostic| (Diagnostics::from(complaint), Vec::new());
    let file = opened::open(bytes).map_err(|why| alone(inside::unopened(&why)))?;
    let inside = Inside::of(&file).map_err(alone)?;
    let texts = vec![text_of(inside.site.as_ref()), text_of(inside.log.as_ref()), text_of(inside.weather.as_ref())];
    let lacking = inside.findings.iter().find(|finding| ["missing-file", "large-file"].contains(&finding.id));
    if let Some(finding) = lacking {
        return Err((finding.complaint().hint("ask for the PDF as it was written").into(), texts));
    }
    let (job, complaints) = rebuild::planned(&inside, &file, tools);
    let Some(job) = job else { return Err((complaints, texts)) };
    let made_by = inside.recorded.then(|| inside.record.version.clone());
    let [site, ..] = [text_of(inside.site.as_ref())];
    Ok(Side { job, made_by, site, log: inside.log, weather: inside.weather })
}

/// Holds a plan against an older one.
#[must_use]
pub fn compare(old: &Side, new: &Side) -> Comparison {
    let mut inputs = input::site(&old.site, &new.site);
    inputs.extend(input::log(old.log.as_ref(), new.log.as_ref()));
    inputs.extend(input::weather(old.weather.as_ref(), new.weather.as_ref()));
    let (a, b) = (&old.job, &new.job);
    inputs.extend(
        [
            input::choice("the date on the plan", a.plan.date.to_string(), b.plan.date.to_string()),
            input::choice("the units", a.plan.system.name().to_owned(), b.plan.system.name().to_owned()),
            input::choice("the number of possible years", a.draw.members.to_string(), b.draw.members.to_string()),
            input::choice("the seed of the possible years", a.draw.seed.to_string(), b.draw.seed.to_string()),
        ]
        .into_iter()
        .flatten(),
    );
    let (before, after) = (figures::of(&a.plan.book), figures::of(&b.plan.book));
    let figures = figures::moved(&before, &after, true);
    let decisions = decided(a, b, &figures);
    let groups = groups(&figures, &inputs);
    Comparison { inputs, decisions, figures, groups, count: after.len() }
}

fn decided(old: &Job, new: &Job, moved: &[Moved]) -> Vec<Decided> {
    let (before, after) = (decisions::of(old), decisions::of(new));
    let was: BTreeMap<&str, &str> = before.iter().map(|each| (each.what.as_str(), each.words.as_str())).collect();
    let is: BTreeMap<&str, &str> = after.iter().map(|each| (each.what.as_str(), each.words.as_str())).collect();
    let figure = |id: &Option<String>| id.clone().filter(|id| moved.iter().any(|each| each.id == *id));
    let changed =
        after.iter().filter(|each| was.get(each.what.as_str()) != Some(&each.words.as_str())).map(|each| Decided {
            what: each.what.clone(),
            old: was.get(each.what.as_str()).map(|words| (*words).to_owned()),
            new: Some(each.words.clone()),
            figure: figure(&each.figure),
        });
    let gone = before.iter().filter(|each| !is.contains_key(each.what.as_str())).map(|each| Decided {
        what: each.what.clone(),
        old: Some(each.words.clone()),
        new: None,
        figure: figure(&each.figure),
    });
    changed.chain(gone).collect()
}

/// A value in as few digits as tell it.
#[must_use]
pub fn number(value: f64) -> String {
    let text = plain(value, Digits::Significant(6));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn quantity(value: f64, unit: &str) -> String {
    format!("{} {unit}", number(value)).trim_end().to_owned()
}

/// The number of a line in a place such as `log line 13` or `site file, line 14`.
fn line_in(origin: &str) -> Option<(&'static str, usize)> {
    let file = if origin.starts_with("log") {
        "log"
    } else if origin.starts_with("site file") {
        "site file"
    } else {
        return None;
    };
    let number = origin.rsplit(' ').next()?.parse().ok()?;
    Some((file, number))
}

fn sentence(leaf: &Leaf, inputs: &[Change]) -> String {
    let place = if leaf.origin == leaf.origin_before || line_in(&leaf.origin).is_none() {
        leaf.origin.clone()
    } else {
        format!("{}; before, {}", leaf.origin, leaf.origin_before)
    };
    // The key or cell it was written in, where it is the one of its line that changed.
    if let Some((file, line)) = line_in(&leaf.origin) {
        let mut of_line = inputs.iter().filter(|change| change.file == file && change.line == Some(line));
        if let (Some(Change { what, old: Some(old), new: Some(new), .. }), None) = (of_line.next(), of_line.next()) {
            return format!("{} was {old} and is {new} ({place})", capital(what));
        }
    }
    format!(
        "{} was {} and is {} ({place})",
        capital(&leaf.title),
        quantity(leaf.old, &leaf.unit),
        quantity(leaf.new, &leaf.unit)
    )
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// Why a movement began.
fn reason(figure: &Moved, inputs: &[Change]) -> String {
    match &figure.cause {
        Cause::Inputs(leaves) if leaves.iter().any(Leaf::is_input) => {
            let mut told: Vec<String> = Vec::new();
            let mut places: Vec<&str> = Vec::new();
            for leaf in leaves.iter().filter(|leaf| leaf.is_input()) {
                // One reading may go in as its least and as its most.
                if !places.contains(&leaf.origin.as_str()) {
                    places.push(&leaf.origin);
                    told.push(sentence(leaf, inputs));
                }
            }
            told.join("; ")
        }
        Cause::Inputs(_) => "What the year is reckoned to be, day by day, comes out otherwise".to_owned(),
        Cause::New => "The plan reckons what it did not reckon before".to_owned(),
        Cause::Gone => "The plan does not reckon any more what it did".to_owned(),
        Cause::Formula | Cause::Follows(_) => {
            "It rests on other things than before, or comes out of a search".to_owned()
        }
    }
}

fn groups(figures: &[Moved], inputs: &[Change]) -> Vec<Group> {
    let mut found: Vec<Group> = Vec::new();
    let mut of: BTreeMap<&str, usize> = BTreeMap::new();
    for figure in figures.iter().filter(|figure| figure.is_root()) {
        let because = reason(figure, inputs);
        let place = found.iter().position(|group| group.because == because).unwrap_or_else(|| {
            found.push(Group { because, roots: Vec::new(), follow: Vec::new() });
            found.len() - 1
        });
        of.insert(&figure.id, place);
        if let Some(group) = found.get_mut(place) {
            group.roots.push(figure.id.clone());
        }
    }
    for figure in figures.iter().filter(|figure| !figure.is_root()) {
        let place = figure.chain.first().and_then(|root| of.get(root.as_str()).copied());
        if let Some(group) = place.and_then(|place| found.get_mut(place)) {
            group.follow.push(figure.id.clone());
        }
    }
    // What went in comes first, then what came out of it on ways that are no lines.
    let input = |group: &Group| group.because.contains("log line") || group.because.contains("site file");
    found.sort_by_key(|group| (!input(group), std::cmp::Reverse(group.roots.len() + group.follow.len())));
    found
}
