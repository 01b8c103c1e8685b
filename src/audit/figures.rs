//! Figures of two books held against each other: which moved, and where that began.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use serde_json::Value;

use crate::workings::Book;

/// A figure as the workings tell it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Told {
    /// Its number among the lines.
    pub number: u32,
    pub id: String,
    pub title: String,
    pub symbols: String,
    pub keyed: String,
    pub value: f64,
    pub unit: String,
    inputs: Vec<Input>,
    whole: Value,
}

/// What a figure rests on directly.
#[derive(Clone, Debug, PartialEq)]
struct Input {
    symbol: String,
    title: String,
    value: f64,
    unit: String,
    /// The line it comes from, or nothing.
    line: Option<String>,
    /// Where it was read, or its source.
    origin: String,
}

/// A number that went in and is another now.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaf {
    /// What it is.
    pub title: String,
    /// Where it is read or cited, in the new book.
    pub origin: String,
    /// Where it was, in the old one.
    pub origin_before: String,
    /// What it was.
    pub old: f64,
    /// What it is.
    pub new: f64,
    /// The unit of both.
    pub unit: String,
}

/// Why a figure moved.
#[derive(Clone, Debug, PartialEq)]
pub enum Cause {
    /// These numbers that went in are others.
    Inputs(Vec<Leaf>),
    /// It rests on other things than before, or on the same in another way.
    Formula,
    /// Other figures moved: their ids.
    Follows(Vec<String>),
    /// It was not there before.
    New,
    /// It is not there any more.
    Gone,
}

/// A figure that moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// Its id.
    pub id: String,
    /// Its number in the new workings, or in the old where it is gone.
    pub number: u32,
    /// In words.
    pub title: String,
    /// What it was.
    pub old: Option<f64>,
    /// What it is.
    pub new: Option<f64>,
    /// The unit of what it is.
    pub unit: String,
    /// The unit of what it was.
    pub unit_before: String,
    /// Why.
    pub cause: Cause,
    /// The figures from where it began to this one, first to last, this one left out.
    pub chain: Vec<String>,
}

impl Moved {
    /// Whether the movement began here.
    #[must_use]
    pub fn is_root(&self) -> bool {
        !matches!(self.cause, Cause::Follows(_))
    }
}

fn text(value: &Value, key: &str) -> String {
    value.get(key).and_then(Value::as_str).unwrap_or_default().to_owned()
}

impl Told {
    fn of(number: u32, value: &Value) -> Option<Told> {
        let input = |input: &Value| {
            Some(Input {
                symbol: text(input, "symbol"),
                title: text(input, "title"),
                value: input.get("value")?.as_f64()?,
                unit: text(input, "unit"),
                line: input.get("line").and_then(Value::as_str).map(str::to_owned),
                origin: text(input, "origin"),
            })
        };
        Some(Told {
            number,
            id: value.get("id")?.as_str()?.to_owned(),
            title: text(value, "title"),
            symbols: text(value, "symbols"),
            keyed: text(value, "keyed"),
            value: value.get("value")?.as_f64()?,
            unit: text(value, "unit"),
            inputs: value.get("inputs").and_then(Value::as_array).into_iter().flatten().filter_map(input).collect(),
            whole: value.clone(),
        })
    }

    /// Whether every word of it is the same.
    pub fn is(&self, other: &Told) -> bool {
        self.whole == other.whole
    }

    fn is_near(&self, other: &Told) -> bool {
        self.unit == other.unit && near(self.value, other.value)
    }
}

/// The same number, but for the last digits of a double.
fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}

/// The figures of `workings.json`; `None` when it is no list of figures.
pub(super) fn read(words: &str) -> Option<Vec<Told>> {
    let list: Vec<Value> = serde_json::from_str(words).ok()?;
    (1..).zip(&list).map(|(number, value)| Told::of(number, value)).collect()
}

/// The value of an input by its title, from whichever figure has it.
pub(super) fn input_of(words: &str, title: &str) -> Option<f64> {
    let figures = read(words)?;
    let input = figures.iter().flat_map(|told| &told.inputs).find(|input| input.title == title)?;
    Some(input.value)
}

/// The figures of a book.
pub(super) fn of(book: &Book) -> Vec<Told> {
    let list = serde_json::to_value(book.json()).unwrap_or_default();
    let list = list.as_array().cloned().unwrap_or_default();
    (1..).zip(&list).filter_map(|(number, value)| Told::of(number, value)).collect()
}

/// The inputs of a figure that are others than before; `None` where it rests on other things.
fn changed(old: &Told, new: &Told) -> Option<Vec<Leaf>> {
    if old.inputs.len() != new.inputs.len() {
        return None;
    }
    let mut leaves = Vec::new();
    for (a, b) in old.inputs.iter().zip(&new.inputs) {
        if a.line != b.line || a.title != b.title || a.unit != b.unit {
            return None;
        }
        if b.line.is_none() && !near(a.value, b.value) {
            leaves.push(other(a, b));
        }
    }
    Some(leaves)
}

/// An input that was another before.
fn other(before: &Input, now: &Input) -> Leaf {
    Leaf {
        title: now.title.clone(),
        origin: now.origin.clone(),
        origin_before: before.origin.clone(),
        old: before.value,
        new: now.value,
        unit: now.unit.clone(),
    }
}

/// The inputs that stand for each other where a figure rests on another number of things: those of one title.
fn changed_of_title(old: &Told, new: &Told) -> Vec<Leaf> {
    let leaf = |input: &&Input| input.line.is_none();
    new.inputs
        .iter()
        .filter(leaf)
        .filter_map(|b| {
            let a = old.inputs.iter().filter(leaf).find(|a| a.title == b.title && a.unit == b.unit)?;
            let one = |all: &Told| all.inputs.iter().filter(|each| each.title == b.title).count() == 1;
            (one(old) && one(new) && !near(a.value, b.value)).then(|| other(a, b))
        })
        .collect()
}

impl Leaf {
    /// Whether somebody read or wrote it, and the program did not come to it by itself.
    #[must_use]
    pub fn is_input(&self) -> bool {
        ["site file", "log line", "the weather file"].iter().any(|place| self.origin.starts_with(place))
    }
}

/// Every figure that moved from one book to another, in the order of the new one; those that are gone last. Of one program no
/// constant moves: a number that it took from itself, such as that of a day by day balance, then follows from what went in.
pub(super) fn moved(old: &[Told], new: &[Told], one_program: bool) -> Vec<Moved> {
    let before: BTreeMap<&str, &Told> = old.iter().map(|told| (told.id.as_str(), told)).collect();
    let after: BTreeMap<&str, &Told> = new.iter().map(|told| (told.id.as_str(), told)).collect();
    let gone = old.iter().filter(|told| !after.contains_key(told.id.as_str()));
    let other = new.iter().filter(|now| before.get(now.id.as_str()).is_none_or(|then| !then.is_near(now)));
    let ids: BTreeSet<&str> = other.clone().chain(gone.clone()).map(|told| told.id.as_str()).collect();
    let mut found: Vec<Moved> = Vec::new();
    for now in other {
        let then = before.get(now.id.as_str()).copied();
        let cause = match then {
            None => Cause::New,
            Some(then) => {
                let lines = |told: &Told| -> BTreeSet<String> {
                    told.inputs.iter().filter_map(|input| input.line.clone()).collect()
                };
                let follows: Vec<String> =
                    lines(now).union(&lines(then)).filter(|id| ids.contains(id.as_str())).cloned().collect();
                let leaves = changed(then, now);
                let by_title = || changed_of_title(then, now);
                let begins = |leaves: &[Leaf]| {
                    let enough = follows.is_empty() || !one_program || leaves.iter().any(Leaf::is_input);
                    !leaves.is_empty() && enough
                };
                match leaves {
                    Some(leaves) if begins(&leaves) => Cause::Inputs(leaves),
                    Some(_) if !follows.is_empty() => Cause::Follows(follows),
                    Some(_) => Cause::Formula,
                    None if begins(&by_title()) => Cause::Inputs(by_title()),
                    None if !follows.is_empty() => Cause::Follows(follows),
                    None => Cause::Formula,
                }
            }
        };
        found.push(Moved {
            id: now.id.clone(),
            number: now.number,
            title: now.title.clone(),
            old: then.map(|then| then.value),
            new: Some(now.value),
            unit: now.unit.clone(),
            unit_before: then.map_or_else(|| now.unit.clone(), |then| then.unit.clone()),
            cause,
            chain: Vec::new(),
        });
    }
    found.extend(gone.map(|then| Moved {
        id: then.id.clone(),
        number: then.number,
        title: then.title.clone(),
        old: Some(then.value),
        new: None,
        unit: then.unit.clone(),
        unit_before: then.unit.clone(),
        cause: Cause::Gone,
        chain: Vec::new(),
    }));
    chains(&mut found);
    found
}

/// The shortest way from a root to each figure.
fn chains(moved: &mut [Moved]) {
    let mut after: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (index, figure) in moved.iter().enumerate() {
        if let Cause::Follows(ids) = &figure.cause {
            for id in ids {
                after.entry(id.clone()).or_default().push(index);
            }
        }
    }
    let mut waiting: VecDeque<usize> =
        moved.iter().enumerate().filter(|(_, figure)| figure.is_root()).map(|(index, _)| index).collect();
    let mut met: BTreeSet<usize> = waiting.iter().copied().collect();
    while let Some(index) = waiting.pop_front() {
        let Some(figure) = moved.get(index) else { continue };
        let mut chain = figure.chain.clone();
        chain.push(figure.id.clone());
        for &next in after.get(&figure.id).into_iter().flatten() {
            if met.insert(next) {
                if let Some(next) = moved.get_mut(next) {
                    next.chain.clone_from(&chain);
                }
                waiting.push_back(next);
            }
        }
    }
}
