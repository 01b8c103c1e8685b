//! The book of workings: which figures are published, and their numbered lines.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use serde::Serialize;

use super::aloud::symbol_aloud;
use super::by_hand::by_hand;
use super::figure::{Expr, Figure, Node, Source};
use super::json;
use super::keyed::keyed;
use super::spoken::Spoken;
use super::term::{Piece, Term, Writing, is_number, of_line, split, symbol_pieces};
use crate::reference::{Citation, Status};
use crate::units::{Si, Unit};

/// The published figures of a plan, in the order of the plan.
#[derive(Clone, Debug, Default)]
pub struct Book {
    published: Vec<Published>,
    spoken: Spoken,
    /// The lines, made when they are first asked for.
    numbered: OnceCell<Numbered>,
}

/// The lines and the symbols they are written with.
#[derive(Clone, Debug)]
struct Numbered {
    names: Names,
    lines: Rc<[Line]>,
}

/// A published figure: a named node.
#[derive(Clone, Debug)]
pub struct Published {
    /// The tree.
    pub node: Rc<Node>,
}

/// One numbered line.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its number.
    pub number: u32,
    /// Its dotted id.
    pub id: String,
    /// In words.
    pub title: String,
    /// Its symbol.
    pub symbol: Vec<Piece>,
    /// In symbols, after the equals sign. Empty for a number that stands by itself.
    pub formula: Vec<Piece>,
    /// Symbol and formula as they are read aloud.
    pub aloud: String,
    /// With numbers, after the equals sign.
    pub keyed: Vec<Piece>,
    /// The result, digits only.
    pub result: String,
    /// The unit it is written in.
    pub unit: &'static Unit,
    /// Sources and remarks.
    pub notes: Vec<Note>,
    /// The weakest status of what it rests on directly.
    pub status: Status,
    /// Ids of the lines it uses.
    pub uses: Vec<String>,
    /// Ids of the lines that use it.
    pub used_by: Vec<String>,
    /// The tree.
    pub node: Rc<Node>,
}

/// What stands under a line.
#[derive(Clone, Debug, PartialEq)]
pub enum Note {
    /// A symbol, what it is, and where its value comes from.
    Symbol(Vec<Piece>, String),
    /// A source of the formula, with its status.
    Source(String),
    /// A remark.
    Remark(String),
    /// The equation of a solved value with its numbers put in.
    ByHand(Vec<Piece>),
}

impl Book {
    /// Empty, to be written in the units of `spoken`.
    #[must_use]
    pub fn new(spoken: Spoken) -> Self {
        Self { spoken, ..Self::default() }
    }

    /// In whose units its lines are written.
    #[must_use]
    pub fn spoken(&self) -> &Spoken {
        &self.spoken
    }

    /// Publishes a named figure and hands it back. A second figure with the same id is not taken.
    pub fn publish<Q: Si>(&mut self, figure: Figure<Q>) -> Figure<Q> {
        if let Some(id) = figure.id()
            && self.find(id).is_none()
        {
            self.published.push(Published { node: Rc::clone(figure.node()) });
            self.numbered = OnceCell::new();
        }
        figure
    }

    /// The published node with this id.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<&Rc<Node>> {
        self.published.iter().map(|p| &p.node).find(|n| n.name.as_ref().is_some_and(|name| name.id == id))
    }

    /// The line with this id, published or used by one that is, as a quantity of the caller's choosing: it is for him to know of what it is.
    #[must_use]
    pub fn figure<Q: Si>(&self, id: &str) -> Option<Figure<Q>> {
        let (mut seen, mut ordered) = (BTreeSet::new(), Vec::new());
        for published in &self.published {
            visit(&published.node, &mut seen, &mut ordered);
        }
        ordered.into_iter().find(|node| node.name.as_ref().is_some_and(|name| name.id == id)).map(Figure::of_node)
    }

    /// Every line: published figures and the named figures they rest on, each after what it uses, grouped by the first
    /// part of its id.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.numbered().lines
    }

    /// The lines, to be held by another.
    #[must_use]
    pub fn shared_lines(&self) -> Rc<[Line]> {
        Rc::clone(&self.numbered().lines)
    }

    /// What a leaf or a line is called in these lines: its own symbol, or another where two quantities came with one.
    #[must_use]
    pub fn symbol<'b>(&'b self, node: &'b Node) -> &'b str {
        self.numbered().names.symbol(node)
    }

    fn numbered(&self) -> &Numbered {
        self.numbered.get_or_init(|| self.number())
    }

    fn number(&self) -> Numbered {
        let mut ordered: Vec<&Rc<Node>> = Vec::new();
        let mut seen: BTreeSet<&str> = BTreeSet::new();
        for published in &self.published {
            visit(&published.node, &mut seen, &mut ordered);
        }
        let mut groups: Vec<&str> = Vec::new();
        for node in &ordered {
            let group = group_of(node);
            if !groups.contains(&group) {
                groups.push(group);
            }
        }
        // A stable sort keeps the order of use inside a group.
        ordered.sort_by_key(|node| groups.iter().position(|g| *g == group_of(node)));
        let names = Names::apart(&ordered);
        let writing = Writing { spoken: &self.spoken, names: &names };
        let mut lines: Vec<Line> =
            ordered.iter().zip(1..).filter_map(|(node, number)| line(node, number, writing)).collect();
        let mut used: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for line in &lines {
            for id in &line.uses {
                used.entry(id.clone()).or_default().push(line.id.clone());
            }
        }
        for line in &mut lines {
            line.used_by = used.remove(&line.id).unwrap_or_default();
        }
        Numbered { names, lines: lines.into() }
    }

    /// Every figure for JSON: a list of `{id, title, symbols, expression, inputs, value, unit, citation, status}`.
    #[must_use]
    pub fn json(&self) -> Vec<impl Serialize> {
        let Numbered { names, lines } = self.numbered();
        let writing = Writing { spoken: &self.spoken, names };
        lines.iter().map(|line| json::Line::of(line, writing)).collect()
    }
}

/// The symbols of a book, each for one quantity.
#[derive(Clone, Debug, Default)]
pub(super) struct Names {
    /// By the symbol as the figure has it: quantities that came second to it, and the symbol they are given instead.
    instead: BTreeMap<String, Vec<(Identity, String)>>,
}

/// What tells one quantity from another.
#[derive(Clone, Debug, PartialEq)]
enum Identity {
    /// A line, by its id.
    Line(String),
    /// A number that somebody wrote, or a constant: its value and where it comes from.
    Leaf(u64, String),
}

fn identity(node: &Node) -> Identity {
    match (&node.name, &node.expr) {
        // A leaf under a name of its own is that leaf.
        (Some(_), Expr::Same(inner)) if inner.name.is_none() && matches!(inner.expr, Expr::Leaf { .. }) => {
            identity(inner)
        }
        (Some(name), _) => Identity::Line(name.id.clone()),
        (None, Expr::Leaf { source, title, .. }) => {
            let from = match source {
                Source::Stated(place) => place.clone(),
                Source::Cited(citation) => citation.id.to_owned(),
                Source::Counted => title.clone(),
            };
            Identity::Leaf(node.si.to_bits(), from)
        }
        _ => Identity::Leaf(node.si.to_bits(), String::new()),
    }
}

fn own_symbol(node: &Node) -> &str {
    match (&node.name, &node.expr) {
        (Some(name), _) => &name.symbol,
        (None, Expr::Leaf { symbol, .. }) => symbol,
        _ => "",
    }
}

impl Names {
    /// Gives quantities that share a symbol one each: the first keeps it, the others get a number behind it.
    fn apart(lines: &[&Rc<Node>]) -> Names {
        let mut held: BTreeMap<&str, Vec<Identity>> = BTreeMap::new();
        let mut found = Vec::new();
        for node in lines {
            found.clear();
            direct(&node.expr, &mut found);
            for node in std::iter::once(*node).chain(found.iter().copied()) {
                let symbol = own_symbol(node);
                if is_number(symbol) {
                    continue;
                }
                let sharers = held.entry(symbol).or_default();
                let identity = identity(node);
                if !sharers.contains(&identity) {
                    sharers.push(identity);
                }
            }
        }
        let mut names = Names::default();
        let mut taken: BTreeSet<String> = held.keys().map(|symbol| (*symbol).to_owned()).collect();
        for (symbol, sharers) in &held {
            let mut number = 1;
            for identity in sharers.iter().skip(1) {
                let other = loop {
                    number += 1;
                    let other = numbered(symbol, number);
                    if taken.insert(other.clone()) {
                        break other;
                    }
                };
                names.instead.entry((*symbol).to_owned()).or_default().push((identity.clone(), other));
            }
        }
        names
    }

    /// The symbol of a line or a leaf.
    pub(super) fn symbol<'s>(&'s self, node: &'s Node) -> &'s str {
        let own = own_symbol(node);
        if self.instead.is_empty() {
            return own;
        }
        let Some(others) = self.instead.get(own) else { return own };
        let identity = identity(node);
        others.iter().find(|(held, _)| *held == identity).map_or(own, |(_, symbol)| symbol)
    }
}

/// `V_low` and 2 is `V_low,2`; `V` and 2 is `V_2`; `M(Cu)` and 2 is `M_2(Cu)`.
fn numbered(symbol: &str, number: u32) -> String {
    if let Some((head, rest)) = symbol.split_once('(') {
        return format!("{head}_{number}({rest}");
    }
    let joint = if symbol.contains('_') { ',' } else { '_' };
    format!("{symbol}{joint}{number}")
}

fn group_of(node: &Node) -> &str {
    node.name.as_ref().and_then(|n| n.id.split('.').next()).unwrap_or_default()
}

pub(super) fn operands(expr: &Expr) -> Vec<&Rc<Node>> {
    match expr {
        Expr::Leaf { .. } => Vec::new(),
        Expr::Add(a, b) | Expr::Sub(a, b) | Expr::Mul(a, b) | Expr::Div(a, b) | Expr::Power(a, b) => vec![a, b],
        Expr::Sqrt(a) | Expr::Ln(a) | Expr::Exp(a) | Expr::Ten(a) | Expr::Round(a, _) | Expr::Same(a) => vec![a],
        Expr::Sum(list) | Expr::Min(list) | Expr::Max(list) => list.iter().collect(),
        Expr::Solved { inputs, .. } => inputs.iter().collect(),
    }
}

fn visit<'n>(node: &'n Rc<Node>, seen: &mut BTreeSet<&'n str>, ordered: &mut Vec<&'n Rc<Node>>) {
    if let Some(name) = &node.name
        && !seen.insert(&name.id)
    {
        return;
    }
    for operand in operands(&node.expr) {
        visit(operand, seen, ordered);
    }
    if node.name.is_some() {
        ordered.push(node);
    }
}

/// What a line uses directly: leaves and other lines, in reading order, each once.
pub(super) fn direct<'a>(expr: &'a Expr, found: &mut Vec<&'a Rc<Node>>) {
    for operand in operands(expr) {
        let known = found.iter().any(|f| Rc::ptr_eq(f, operand) || same_symbol(f, operand));
        if operand.name.is_some() || matches!(operand.expr, Expr::Leaf { .. }) {
            if !known {
                found.push(operand);
            }
        } else {
            direct(&operand.expr, found);
        }
    }
}

fn same_symbol(a: &Node, b: &Node) -> bool {
    match (&a.name, &b.name, &a.expr, &b.expr) {
        (Some(a), Some(b), ..) => a.id == b.id,
        (None, None, Expr::Leaf { symbol: a, title: ta, .. }, Expr::Leaf { symbol: b, title: tb, .. }) => {
            a == b && ta == tb
        }
        _ => false,
    }
}

fn cited_words(citation: &Citation) -> String {
    match citation.status {
        Status::Sourced => citation.short.to_owned(),
        other => format!("{}, {}", citation.short, other.words()),
    }
}

fn line(node: &Rc<Node>, number: u32, writing: Writing<'_>) -> Option<Line> {
    let name = node.name.as_ref()?;
    let unit = writing.spoken.unit(name.unit);
    let (keyed, result) = keyed(writing, node, name.unit);
    let mut found = Vec::new();
    direct(&node.expr, &mut found);
    let mut notes = Vec::new();
    let mut uses = Vec::new();
    let mut status = Status::Sourced;
    let mut weaken = |other: Status| {
        if other > status && other != Status::Derived {
            status = other;
        }
    };
    for used in found {
        match (&used.name, &used.expr) {
            (Some(name), _) => uses.push(name.id.clone()),
            (None, Expr::Leaf { title, source, unit, .. }) => {
                let symbol = writing.names.symbol(used);
                let shown = writing.spoken.unit(unit).symbol;
                // A number names itself, and so does a constant that the line lets stand for itself.
                let unit = if shown.is_empty() || is_number(symbol) { String::new() } else { format!(" ({shown})") };
                let words = match source {
                    Source::Stated(place) => format!(" {title}{unit}, {place}"),
                    Source::Cited(citation) => {
                        weaken(citation.status);
                        format!(" {title}{unit}: {}", cited_words(citation))
                    }
                    Source::Counted if is_number(symbol) => continue,
                    Source::Counted => format!(" {title}{unit}"),
                };
                add_symbol(&mut notes, writing.called(used), words);
            }
            _ => {}
        }
    }
    for citation in &node.cited {
        weaken(citation.status);
        notes.push(Note::Source(cited_words(citation)));
    }
    notes.extend(by_hand(writing, node).map(Note::ByHand));
    notes.extend(node.remarks.iter().cloned().map(Note::Remark));
    let term = of_line(node);
    let symbol = writing.names.symbol(node);
    let called = symbol_aloud(&split(symbol));
    let aloud = match &term {
        Some(term @ Term::Solved { .. }) => format!("{called} from {}", writing.aloud(term)),
        Some(term) => format!("{called} equals {}", writing.aloud(term)),
        None => called,
    };
    Some(Line {
        number,
        id: name.id.clone(),
        title: name.title.clone(),
        symbol: symbol_pieces(symbol),
        formula: term.map(|term| writing.symbols(&term, false)).unwrap_or_default(),
        aloud,
        keyed,
        result,
        unit,
        notes,
        status,
        uses,
        used_by: Vec::new(),
        node: Rc::clone(node),
    })
}

/// Adds a symbol with its words. A run of symbols with the same words stands as first to last.
fn add_symbol(notes: &mut Vec<Note>, symbol: Vec<Piece>, words: String) {
    if let Some(Note::Symbol(pieces, last)) = notes.last_mut()
        && *last == words
    {
        if let Some(at) = pieces.iter().position(|p| matches!(p, Piece::Text(t) if t == " to ")) {
            pieces.truncate(at);
        }
        pieces.push(Piece::Text(" to ".into()));
        pieces.extend(symbol);
        return;
    }
    notes.push(Note::Symbol(symbol, words));
}

/// The pieces as plain text, subscripts after an underscore, powers after a caret.
pub(super) fn flat(pieces: &[Piece]) -> String {
    pieces
        .iter()
        .map(|piece| match piece {
            Piece::Text(words) => words.clone(),
            Piece::Variable(head, sub) if sub.is_empty() => head.clone(),
            Piece::Variable(head, sub) => format!("{head}_{sub}"),
            Piece::Raised(inner) => format!("^({})", flat(inner)),
            Piece::Over(above, below) => {
                let wrapped = |pieces: &[Piece], operators: &[&str]| {
                    if stands_open(pieces, operators) { format!("({})", flat(pieces)) } else { flat(pieces) }
                };
                let sums = [" + ", " \u{2212} ", " + … + "];
                format!("{} / {}", wrapped(above, &sums), wrapped(below, &[&sums[..], &[" · ", " / "]].concat()))
            }
            Piece::Root(inner) => format!("√({})", flat(inner)),
            Piece::Line(id) => format!(" [{id}]"),
        })
        .collect()
}

/// Whether one of these operators stands outside all brackets.
fn stands_open(pieces: &[Piece], operators: &[&str]) -> bool {
    let mut depth = 0_i32;
    pieces.iter().any(|piece| {
        let Piece::Text(words) = piece else { return false };
        depth += words.matches('(').count() as i32 - words.matches(')').count() as i32;
        depth == 0 && operators.contains(&words.as_str())
    })
}

impl Line {
    /// The formula as plain text.
    #[must_use]
    pub fn formula_text(&self) -> String {
        flat(&self.formula)
    }

    /// Symbol and formula as plain text.
    #[must_use]
    pub fn equation_text(&self) -> String {
        let joint = if matches!(self.node.expr, Expr::Solved { .. }) { "from" } else { "=" };
        format!("{} {joint} {}", self.symbol_text(), self.formula_text())
    }

    /// The keyed line as plain text, with the ids of the lines its numbers come from.
    #[must_use]
    pub fn keyed_text(&self) -> String {
        flat(&self.keyed)
    }

    /// The equation of a solved value with its numbers put in, as plain text; `None` where it is not written out.
    #[must_use]
    pub fn by_hand_text(&self) -> Option<String> {
        self.notes.iter().find_map(|note| match note {
            Note::ByHand(pieces) => Some(flat(pieces)),
            _ => None,
        })
    }

    /// The symbol as plain text.
    #[must_use]
    pub fn symbol_text(&self) -> String {
        flat(&self.symbol)
    }

    /// Citations used directly by this line.
    #[must_use]
    pub fn citations(&self) -> Vec<&'static Citation> {
        let mut found = Vec::new();
        direct(&self.node.expr, &mut found);
        let mut out: Vec<&'static Citation> = self.node.cited.clone();
        for used in found {
            if let (None, Expr::Leaf { source: Source::Cited(citation), .. }) = (&used.name, &used.expr) {
                out.push(citation);
            }
        }
        out.sort_by_key(|c| c.id);
        out.dedup_by_key(|c| c.id);
        out
    }
}

/// The unit in which a rounding step is named.
pub(super) fn step_unit(unit: &'static Unit, spoken: &Spoken) -> &'static Unit {
    let shown = spoken.unit(unit);
    if (shown.size / unit.size - 1.0).abs() < 1e-12 { shown } else { unit }
}
