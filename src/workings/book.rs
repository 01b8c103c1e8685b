//! The book of workings: which figures are published, and their numbered lines.

use std::collections::BTreeMap;
use std::rc::Rc;

use serde_json::{Value, json};

use super::figure::{Expr, Figure, Node, Source, Way};
use super::render::{self, Piece};
use crate::reference::{Citation, Status};
use crate::units::{Digits, Kind, Ratio, Si, Unit, plain};

/// The published figures of a plan, in the order of the plan.
#[derive(Clone, Debug, Default)]
pub struct Book {
    published: Vec<Published>,
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
    /// In symbols, after the equals sign.
    pub formula: Vec<Piece>,
    /// With numbers, after the equals sign.
    pub keyed: Vec<Piece>,
    /// The result, digits only.
    pub result: String,
    /// Its unit.
    pub unit: &'static Unit,
    /// Sources and remarks.
    pub notes: Vec<Note>,
    /// The weakest status of what it rests on directly.
    pub status: Status,
    /// Ids of the lines it uses.
    pub uses: Vec<String>,
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
}

impl Book {
    /// Empty.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Publishes a named figure and hands it back. A second figure with the same id is not taken.
    pub fn publish<Q: Si>(&mut self, figure: Figure<Q>) -> Figure<Q> {
        if let Some(id) = figure.id()
            && self.find(id).is_none()
        {
            self.published.push(Published { node: Rc::clone(figure.node()) });
        }
        figure
    }

    /// The published node with this id.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<&Rc<Node>> {
        self.published.iter().map(|p| &p.node).find(|n| n.name.as_ref().is_some_and(|name| name.id == id))
    }

    /// Every line: published figures and the named figures they rest on, each after what it uses, grouped by the first
    /// part of its id.
    #[must_use]
    pub fn lines(&self) -> Vec<Line> {
        let mut ordered: Vec<Rc<Node>> = Vec::new();
        let mut seen: BTreeMap<String, ()> = BTreeMap::new();
        for published in &self.published {
            visit(&published.node, &mut seen, &mut ordered);
        }
        let mut groups: Vec<String> = Vec::new();
        for node in &ordered {
            let group = group_of(node);
            if !groups.contains(&group) {
                groups.push(group);
            }
        }
        // A stable sort keeps the order of use inside a group.
        ordered.sort_by_key(|node| groups.iter().position(|g| *g == group_of(node)));
        ordered.iter().zip(1..).filter_map(|(node, number)| line(node, number)).collect()
    }

    /// Every figure as JSON: a list of `{id, title, symbols, expression, inputs, value, unit, citation, status}`.
    #[must_use]
    pub fn json(&self) -> Value {
        Value::Array(self.lines().iter().map(line_json).collect())
    }
}

fn group_of(node: &Node) -> String {
    node.name.as_ref().and_then(|n| n.id.split('.').next()).unwrap_or_default().to_owned()
}

fn operands(expr: &Expr) -> Vec<&Rc<Node>> {
    match expr {
        Expr::Leaf { .. } => Vec::new(),
        Expr::Add(a, b) | Expr::Sub(a, b) | Expr::Mul(a, b) | Expr::Div(a, b) | Expr::Power(a, b) => vec![a, b],
        Expr::Sqrt(a) | Expr::Ln(a) | Expr::Exp(a) | Expr::Ten(a) | Expr::Round(a, _) | Expr::Same(a) => vec![a],
        Expr::Sum(list) | Expr::Min(list) | Expr::Max(list) => list.iter().collect(),
        Expr::Solved { inputs, .. } => inputs.iter().collect(),
    }
}

fn visit(node: &Rc<Node>, seen: &mut BTreeMap<String, ()>, ordered: &mut Vec<Rc<Node>>) {
    if let Some(name) = &node.name
        && seen.insert(name.id.clone(), ()).is_some()
    {
        return;
    }
    for operand in operands(&node.expr) {
        visit(operand, seen, ordered);
    }
    if node.name.is_some() {
        ordered.push(Rc::clone(node));
    }
}

/// What a line uses directly: leaves and other lines, in reading order, each once.
fn direct<'a>(expr: &'a Expr, found: &mut Vec<&'a Rc<Node>>) {
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

fn line(node: &Rc<Node>, number: u32) -> Option<Line> {
    let name = node.name.as_ref()?;
    let (keyed, result) = render::keyed(node, name);
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
            (None, Expr::Leaf { symbol, title, source, .. }) => {
                let words = match source {
                    Source::Stated(place) => format!(" {title}, {place}"),
                    Source::Cited(citation) => {
                        weaken(citation.status);
                        format!(" {title}: {}", cited_words(citation))
                    }
                    // A bare number such as 1 or ½ names itself.
                    Source::Counted if symbol.starts_with(|c: char| c.is_ascii_digit() || c == '½') => continue,
                    Source::Counted => format!(" {title}"),
                };
                add_symbol(&mut notes, symbol_pieces(symbol), words);
            }
            _ => {}
        }
    }
    for citation in &node.cited {
        weaken(citation.status);
        notes.push(Note::Source(cited_words(citation)));
    }
    notes.extend(node.remarks.iter().cloned().map(Note::Remark));
    if keyed.iter().any(|p| matches!(p, Piece::Text(t) if is_factor(t))) {
        notes.extend(unit_remark(node, name.unit).map(Note::Remark));
    }
    Some(Line {
        number,
        id: name.id.clone(),
        title: name.title.clone(),
        symbol: symbol_pieces(&name.symbol),
        formula: render::symbols(node),
        keyed,
        result,
        unit: name.unit,
        notes,
        status,
        uses,
        node: Rc::clone(node),
    })
}

/// Whether a piece is a factor between units, as `render` adds it: an operator and a number.
fn is_factor(text: &str) -> bool {
    text.strip_prefix(" × ")
        .or_else(|| text.strip_prefix(" / "))
        .is_some_and(|n| n.starts_with(|c: char| c.is_ascii_digit()))
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

/// Hardness degrees and the like among the units a line is keyed in, said in moles, so that its factor can be found.
fn unit_remark(node: &Node, name_unit: &'static Unit) -> Option<String> {
    let mut units: Vec<&'static Unit> = vec![name_unit];
    let mut found = Vec::new();
    direct(&node.expr, &mut found);
    for used in found {
        match (&used.name, &used.expr) {
            (Some(name), _) => units.push(name.unit),
            (None, Expr::Leaf { unit, .. }) => units.push(unit),
            _ => {}
        }
    }
    let odd = |u: &&'static Unit| {
        matches!(u.kind, Kind::CarbonateHardness | Kind::GeneralHardness | Kind::Calcium)
            && (u.size - 1.0).abs() > 1e-12
    };
    let mut said: Vec<String> = Vec::new();
    for unit in units.iter().filter(|u| odd(u)) {
        let moles = if unit.kind == Kind::CarbonateHardness { "meq/L" } else { "mmol/L" };
        let words = format!("1\u{a0}{} = {}\u{a0}{moles}", unit.symbol, plain(unit.size, Digits::Significant(6)));
        if !said.contains(&words) {
            said.push(words);
        }
    }
    (!said.is_empty()).then(|| said.join("; "))
}

fn symbol_pieces(symbol: &str) -> Vec<Piece> {
    let leaf: Figure<Ratio> = Figure::counted(0.0, symbol, "", &crate::units::table::ONE);
    render::symbols(leaf.node())
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
            Piece::Line(id) => format!(" [{id}]"),
        })
        .collect()
}

impl Line {
    /// The formula as plain text.
    #[must_use]
    pub fn formula_text(&self) -> String {
        flat(&self.formula)
    }

    /// The keyed line as plain text, with the ids of the lines its numbers come from.
    #[must_use]
    pub fn keyed_text(&self) -> String {
        flat(&self.keyed)
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

fn tree(node: &Node, top: bool) -> Value {
    if !top && let Some(name) = &node.name {
        return json!({ "line": name.id });
    }
    let all = |op: &str, list: &[&Rc<Node>]| json!({ "op": op, "of": list.iter().map(|n| tree(n, false)).collect::<Vec<_>>() });
    let of = operands(&node.expr);
    match &node.expr {
        Expr::Leaf { symbol, unit, .. } => json!({ "symbol": symbol, "value": unit.of(node.si), "unit": unit.symbol }),
        Expr::Add(..) | Expr::Sum(_) => all("add", &of),
        Expr::Sub(..) => all("subtract", &of),
        Expr::Mul(..) => all("multiply", &of),
        Expr::Div(..) => all("divide", &of),
        Expr::Sqrt(_) => all("square root", &of),
        Expr::Ln(_) => all("natural logarithm", &of),
        Expr::Exp(_) => all("e to the", &of),
        Expr::Ten(_) => all("ten to the", &of),
        Expr::Power(..) => all("power", &of),
        Expr::Min(_) => all("smallest", &of),
        Expr::Max(_) => all("largest", &of),
        Expr::Same(_) => all("same", &of),
        Expr::Round(inner, rounding) => json!({
            "op": match rounding.way { Way::Down => "round down", Way::Up => "round up" },
            "step": rounding.unit.of(rounding.step), "unit": rounding.unit.symbol, "of": [tree(inner, false)],
        }),
        Expr::Solved { equation, residual, iterations, .. } => json!({
            "op": "solve", "equation": equation, "residual": residual, "iterations": iterations,
            "of": of.iter().map(|n| tree(n, false)).collect::<Vec<_>>(),
        }),
    }
}

fn line_json(line: &Line) -> Value {
    let mut found = Vec::new();
    direct(&line.node.expr, &mut found);
    let inputs: Vec<Value> = found
        .iter()
        .map(|used| match (&used.name, &used.expr) {
            (Some(name), _) => json!({
                "symbol": name.symbol, "title": name.title, "value": name.unit.of(used.si), "unit": name.unit.symbol,
                "line": name.id,
            }),
            (None, Expr::Leaf { symbol, title, unit, source }) => {
                let origin = match source {
                    Source::Stated(place) => place.clone(),
                    Source::Cited(citation) => format!("{} ({})", citation.short, citation.id),
                    Source::Counted => "counted by the plan".to_owned(),
                };
                json!({ "symbol": symbol, "title": title, "value": unit.of(used.si), "unit": unit.symbol, "origin": origin })
            }
            _ => Value::Null,
        })
        .collect();
    let citations: Vec<Value> =
        line.citations().iter().map(|c| json!({ "id": c.id, "words": c.full, "status": c.status.words() })).collect();
    json!({
        "id": line.id,
        "title": line.title,
        "symbols": format!("{} = {}", line.symbol_text(), line.formula_text()),
        "keyed": line.keyed_text(),
        "expression": tree(&line.node, true),
        "inputs": inputs,
        "value": line.unit.of(line.node.si),
        "unit": line.unit.symbol,
        "citation": citations,
        "status": line.status.words(),
        "remarks": line.node.remarks,
    })
}
