//! The workings as numbered lines on a page.

use std::collections::BTreeMap;

use crate::page::{Inline, Line, LineGroup};
use crate::plan::Plan;
use crate::workings::{self, Note, Piece};

/// The lines of a plan, numbered, found by id.
#[derive(Debug)]
pub struct Lines {
    list: Vec<workings::Line>,
    numbers: BTreeMap<String, u32>,
}

/// Heads of the groups, by the first part of the ids.
const GROUPS: [(&str, &str); 14] = [
    ("volume", "Volume"),
    ("hardness", "Carbonate hardness"),
    ("ph", "pH"),
    ("ammonia", "Ammonia"),
    ("target", "Targets"),
    ("calcium", "Calcium"),
    ("conductivity", "Conductivity"),
    ("salt", "Salt"),
    ("change", "Water changes"),
    ("copper", "Copper"),
    ("bars", "Bars"),
    ("flow", "Flow past the bars"),
    ("emergency", "Emergency"),
    ("supply", "Supply"),
];

impl Lines {
    /// Numbers the lines of a plan.
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        let list = plan.book.lines();
        let numbers = list.iter().map(|l| (l.id.clone(), l.number)).collect();
        Self { list, numbers }
    }

    /// The number of the line with this id.
    #[must_use]
    pub fn number(&self, id: &str) -> Option<u32> {
        self.numbers.get(id).copied()
    }

    /// All lines.
    #[must_use]
    pub fn all(&self) -> &[workings::Line] {
        &self.list
    }

    /// Groups in the order of their lines: id and title.
    #[must_use]
    pub fn groups(&self) -> Vec<(String, String)> {
        let mut out: Vec<(String, String)> = Vec::new();
        for line in &self.list {
            let key = group(&line.id);
            if !out.iter().any(|(k, _)| k == key) {
                let title = GROUPS.iter().find(|(k, _)| *k == key).map_or(key, |(_, t)| t);
                out.push((key.to_owned(), title.to_owned()));
            }
        }
        out
    }

    /// One group for the page.
    #[must_use]
    pub fn page_group(&self, key: &str) -> Option<LineGroup> {
        let (_, title) = self.groups().into_iter().find(|(k, _)| k == key)?;
        let lines = self.list.iter().filter(|l| group(&l.id) == key).map(|l| self.page_line(l)).collect();
        Some(LineGroup { title, lines })
    }

    fn page_line(&self, line: &workings::Line) -> Line {
        let mut formula = self.inlines(&line.symbol);
        if !line.formula.is_empty() {
            formula.push(Inline::Text(" = ".into()));
            formula.extend(self.inlines(&line.formula));
        }
        let mut keyed = vec![Inline::Text("= ".into())];
        keyed.extend(self.inlines(&line.keyed));
        let mut notes: Vec<Vec<Inline>> = Vec::new();
        let mut symbols: Vec<Inline> = Vec::new();
        for note in &line.notes {
            match note {
                Note::Symbol(symbol, words) => {
                    if !symbols.is_empty() {
                        symbols.push(Inline::Text("; ".into()));
                    }
                    symbols.extend(self.inlines(symbol));
                    symbols.push(Inline::Text(words.clone()));
                }
                Note::Source(words) | Note::Remark(words) => notes.push(vec![Inline::Text(words.clone())]),
            }
        }
        if !symbols.is_empty() {
            notes.insert(0, symbols);
        }
        Line {
            number: line.number,
            name: vec![Inline::Text(line.title.clone())],
            formula,
            keyed,
            result: line.result.clone(),
            unit: if line.unit.zero == 0.0 { line.unit.symbol.to_owned() } else { "K".to_owned() },
            notes,
            also: Vec::new(),
        }
    }

    fn inlines(&self, pieces: &[Piece]) -> Vec<Inline> {
        pieces
            .iter()
            .flat_map(|piece| match piece {
                Piece::Text(words) => vec![Inline::Text(words.clone())],
                Piece::Variable(head, sub) if head.chars().all(|c| c.is_ascii_digit() || " °½/%".contains(c)) => {
                    let _ = sub;
                    vec![Inline::Text(head.clone())]
                }
                Piece::Variable(head, sub) => {
                    let mut out = vec![Inline::Emph(vec![Inline::Text(head.clone())])];
                    if !sub.is_empty() {
                        out.push(Inline::Sub(vec![Inline::Text(sub.clone())]));
                    }
                    out
                }
                Piece::Raised(inner) => vec![Inline::Sup(self.inlines(inner))],
                Piece::Line(id) => self.number(id).map(Inline::InlineMark).into_iter().collect(),
            })
            .collect()
    }
}

fn group(id: &str) -> &str {
    id.split('.').next().unwrap_or(id)
}
