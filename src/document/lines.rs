//! The workings as numbered lines on a page.

use std::collections::BTreeMap;
use std::rc::Rc;

use crate::page::{Formula, Inline, Line, LineGroup, Math};
use crate::plan::Plan;
use crate::workings::{self, Note, Piece};

/// The lines of a plan, numbered, found by id.
#[derive(Debug)]
pub struct Lines {
    list: Rc<[workings::Line]>,
    numbers: BTreeMap<String, u32>,
}

/// Heads of the groups, by the first part of the ids.
pub(super) const GROUPS: &[(&str, &str)] = &[
    ("volume", "Volume"),
    ("hardness", "Carbonate hardness"),
    ("ph", "pH"),
    ("ammonia", "Ammonia"),
    ("target", "Targets"),
    ("calcium", "Calcium"),
    ("conductivity", "Conductivity"),
    ("salt", "Salt"),
    ("joint", "Doses found together"),
    ("change", "Water changes"),
    ("copper", "Copper"),
    ("bars", "Bars"),
    ("flow", "Flow past the bars"),
    ("panel", "The panel"),
    ("emergency", "Emergency"),
    ("supply", "Supply"),
    ("water", "What the water is"),
    ("past", "Looking back"),
    ("climate", "Weather"),
    ("year", "The water year"),
];

impl Lines {
    /// Numbers the lines of a plan.
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        let list = plan.book.shared_lines();
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
        for line in self.list.iter() {
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
        let mut pieces = line.symbol.clone();
        if !line.formula.is_empty() {
            let solved = matches!(line.node.expr, workings::Expr::Solved { .. });
            pieces.push(Piece::Text(if solved { " from " } else { " = " }.into()));
            pieces.extend(line.formula.iter().cloned());
        }
        let written = if line.formula.is_empty() { line.symbol_text() } else { line.equation_text() };
        let written = written.replace("^(2)", "²");
        let formula = Formula { parts: self.math(&pieces), written, aloud: line.aloud.clone() };
        // A number that stands by itself is its own result.
        let mut keyed = Vec::new();
        if !line.formula.is_empty() {
            keyed.push(Inline::Text("= ".into()));
            keyed.extend(self.inlines(&line.keyed));
        }
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
                Note::ByHand(pieces) => notes.push(self.inlines(pieces)),
                Note::Source(words) | Note::Remark(words) => notes.push(vec![Inline::Text(words.clone())]),
            }
        }
        if !symbols.is_empty() {
            notes.insert(0, symbols);
        }
        let users: Vec<u32> = line.used_by.iter().filter_map(|id| self.number(id)).collect();
        if !users.is_empty() {
            // On the last note's own line where there is one, so that it takes no room.
            let mut used = vec![Inline::Text("used in".into())];
            // Where there are many, they may be parted between two lines.
            for (index, number) in users.into_iter().enumerate() {
                if index >= 4 {
                    used.push(Inline::Text(" ".into()));
                }
                used.push(Inline::InlineMark(number));
            }
            match notes.last_mut() {
                Some(last) => {
                    last.push(Inline::Text("; ".into()));
                    last.extend(used);
                }
                None => {
                    if let Some(Inline::Text(words)) = used.first_mut() {
                        *words = "Used in".into();
                    }
                    notes.push(used);
                }
            }
        }
        Line {
            number: line.number,
            name: vec![Inline::Text(line.title.clone())],
            formula,
            keyed,
            result: line.result.clone(),
            unit: line.unit.symbol.to_owned(),
            notes,
            also: Vec::new(),
        }
    }

    fn math(&self, pieces: &[Piece]) -> Vec<Math> {
        let mut out: Vec<Math> = Vec::new();
        for piece in pieces {
            match piece {
                Piece::Over(above, below) => out.push(Math::Over(self.math(above), self.math(below))),
                Piece::Root(inner) => out.push(Math::Root(self.math(inner))),
                other => {
                    let inlines = self.inlines(std::slice::from_ref(other));
                    match out.last_mut() {
                        Some(Math::Words(words)) => words.extend(inlines),
                        _ => out.push(Math::Words(inlines)),
                    }
                }
            }
        }
        out
    }

    fn inlines(&self, pieces: &[Piece]) -> Vec<Inline> {
        let mut out = Vec::new();
        for piece in pieces {
            match piece {
                Piece::Text(words) => out.push(Inline::Text(words.clone())),
                Piece::Variable(head, sub) => {
                    // One letter, Greek before it or not, is a variable; more are a name such as pH, set upright.
                    let letters: Vec<char> = head.chars().filter(|c| c.is_alphabetic() && *c != 'Δ').collect();
                    let name = letters.len() != 1 || head.contains('/');
                    match head.strip_prefix('Δ') {
                        Some(rest) if !name => {
                            out.push(Inline::Text("Δ".into()));
                            out.push(Inline::Emph(vec![Inline::Text(rest.to_owned())]));
                        }
                        _ if name => out.push(Inline::Text(head.clone())),
                        _ => out.push(Inline::Emph(vec![Inline::Text(head.clone())])),
                    }
                    if !sub.is_empty() {
                        out.push(Inline::Sub(vec![Inline::Text(sub.clone())]));
                    }
                }
                Piece::Raised(inner) => out.push(Inline::Sup(self.inlines(inner))),
                // On the line these stand in brackets.
                Piece::Over(above, below) => {
                    out.push(Inline::Text("(".into()));
                    out.extend(self.inlines(above));
                    out.push(Inline::Text(") / (".into()));
                    out.extend(self.inlines(below));
                    out.push(Inline::Text(")".into()));
                }
                Piece::Root(inner) => {
                    out.push(Inline::Text("√(".into()));
                    out.extend(self.inlines(inner));
                    out.push(Inline::Text(")".into()));
                }
                Piece::Line(id) => out.extend(self.number(id).map(Inline::InlineMark)),
            }
        }
        out
    }
}

fn group(id: &str) -> &str {
    id.split('.').next().unwrap_or(id)
}
