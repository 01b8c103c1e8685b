//! A figure's expression as it is written: sums and products gathered, squares seen as such.
//!
//! The tree of a figure holds what was computed, two operands at a time. A [`Term`] is the same, arranged as a person
//! writes it. Symbols, the words that are read aloud and the keyed line all come from it, so that they cannot differ.

use std::rc::Rc;

use super::book::Names;
use super::figure::{Expr, Node, Rounding, Source, Way};
use super::spoken::Spoken;
use crate::units::{Digits, group};

/// A piece of a formula.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// Upright: numbers, operators, words.
    Text(String),
    /// A variable, italic; its second part is a subscript, upright.
    Variable(String, String),
    /// Raised.
    Raised(Vec<Piece>),
    /// One above the other, with a bar between.
    Over(Vec<Piece>, Vec<Piece>),
    /// Under a radical.
    Root(Vec<Piece>),
    /// A reference to the line with this id.
    Line(String),
}

/// How tightly an expression binds, for brackets.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Binding {
    Sum,
    Product,
    Atom,
}

/// An expression as it is written.
#[derive(Debug)]
pub(super) enum Term<'n> {
    /// A line or a leaf, called by its symbol.
    Operand(&'n Node),
    /// Terms, each with whether it is taken away.
    Sum(Vec<(bool, Term<'n>)>),
    /// Factors and divisors.
    Product(Vec<Term<'n>>, Vec<Term<'n>>),
    /// To a power.
    Power(Box<Term<'n>>, Box<Term<'n>>),
    /// Squared.
    Square(Box<Term<'n>>),
    Root(Box<Term<'n>>),
    Ln(Box<Term<'n>>),
    Exp(Box<Term<'n>>),
    Ten(Box<Term<'n>>),
    /// The smallest or the largest of several.
    Pick(Pick, Vec<Term<'n>>),
    Round(Box<Term<'n>>, Rounding),
    /// A temperature counted from absolute zero.
    Absolute(&'n Node),
    /// Found by iteration.
    Solved {
        equation: &'n str,
        residual: f64,
        iterations: u32,
        inputs: &'n [Rc<Node>],
    },
}

/// Which of several is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pick {
    Smallest,
    Largest,
}

impl Pick {
    pub(super) fn words(self) -> &'static str {
        match self {
            Pick::Smallest => "the smallest of ",
            Pick::Largest => "the largest of ",
        }
    }

    pub(super) fn of(self, a: f64, b: f64) -> f64 {
        match self {
            Pick::Smallest => a.min(b),
            Pick::Largest => a.max(b),
        }
    }
}

/// A node that is called by a symbol inside the formula of another: a line or a leaf.
pub(super) fn is_called(node: &Node) -> bool {
    node.name.is_some() || matches!(node.expr, Expr::Leaf { .. })
}

/// A pure number of the plan's own making.
fn counted(node: &Node) -> Option<f64> {
    match (&node.name, &node.expr) {
        (None, Expr::Leaf { unit, source: Source::Counted, .. }) if unit.symbol.is_empty() => Some(node.si),
        _ => None,
    }
}

fn is_zero(node: &Node) -> bool {
    node.name.is_none() && node.si == 0.0 && matches!(node.expr, Expr::Leaf { source: Source::Counted, .. })
}

/// An operand of another expression.
pub(super) fn operand(node: &Node) -> Term<'_> {
    if is_called(node) { Term::Operand(node) } else { written(node) }
}

/// The term of a node itself, not of its name. `None` where it is a leaf under a name of its own.
pub(super) fn of_line(node: &Node) -> Option<Term<'_>> {
    match &node.expr {
        Expr::Same(inner) if inner.name.is_none() && is_called(inner) => {
            let (Some(name), Expr::Leaf { unit, .. }) = (&node.name, &inner.expr) else { return None };
            (unit.zero != 0.0 && name.unit.zero == 0.0).then_some(Term::Absolute(inner))
        }
        Expr::Leaf { .. } => None,
        _ => Some(written(node)),
    }
}

fn boxed(node: &Node) -> Box<Term<'_>> {
    Box::new(operand(node))
}

fn written(node: &Node) -> Term<'_> {
    match &node.expr {
        Expr::Leaf { .. } => Term::Operand(node),
        Expr::Same(a) => operand(a),
        Expr::Sub(a, b) if is_zero(a) => Term::Sum(vec![(true, operand(b))]),
        Expr::Add(a, b) => added(a, b, false),
        Expr::Sub(a, b) => added(a, b, true),
        Expr::Sum(list) if list.len() == 1 => list.first().map_or(Term::Sum(Vec::new()), |only| operand(only)),
        Expr::Sum(list) => Term::Sum(list.iter().map(|n| (false, operand(n))).collect()),
        Expr::Mul(a, b) if Rc::ptr_eq(a, b) => Term::Square(boxed(a)),
        Expr::Mul(..) | Expr::Div(..) => {
            let (mut over, mut under) = (Vec::new(), Vec::new());
            gather(&node.expr, &mut over, &mut under);
            // One times something is that something.
            if over.iter().any(|t| !is_one(t)) {
                over.retain(|t| !is_one(t));
            } else {
                over.truncate(1);
            }
            under.retain(|t| !is_one(t));
            match (over.pop(), under.is_empty()) {
                (Some(only), true) if over.is_empty() => only,
                (last, _) => {
                    over.extend(last);
                    Term::Product(over, under)
                }
            }
        }
        Expr::Sqrt(a) => Term::Root(boxed(a)),
        Expr::Ln(a) => Term::Ln(boxed(a)),
        Expr::Exp(a) => Term::Exp(boxed(a)),
        Expr::Ten(a) => Term::Ten(boxed(a)),
        Expr::Power(a, b) if counted(b) == Some(2.0) => Term::Square(boxed(a)),
        Expr::Power(a, b) => Term::Power(boxed(a), boxed(b)),
        Expr::Min(list) if list.len() == 1 => list.first().map_or(Term::Sum(Vec::new()), |only| operand(only)),
        Expr::Max(list) if list.len() == 1 => list.first().map_or(Term::Sum(Vec::new()), |only| operand(only)),
        Expr::Min(list) => Term::Pick(Pick::Smallest, list.iter().map(|n| operand(n)).collect()),
        Expr::Max(list) => Term::Pick(Pick::Largest, list.iter().map(|n| operand(n)).collect()),
        Expr::Round(a, rounding) => Term::Round(boxed(a), *rounding),
        Expr::Solved { equation, residual, iterations, inputs, .. } => {
            Term::Solved { equation, residual: *residual, iterations: *iterations, inputs }
        }
    }
}

fn is_one(term: &Term<'_>) -> bool {
    matches!(term, Term::Operand(node) if counted(node) == Some(1.0))
}

fn added<'n>(a: &'n Node, b: &'n Node, minus: bool) -> Term<'n> {
    let mut list = match operand(a) {
        Term::Sum(list) => list,
        other => vec![(false, other)],
    };
    list.push((minus, operand(b)));
    Term::Sum(list)
}

/// The factors and divisors of products inside products.
fn gather<'n>(expr: &'n Expr, over: &mut Vec<Term<'n>>, under: &mut Vec<Term<'n>>) {
    let mut part = |node: &'n Rc<Node>, turned: bool| {
        let (over, under) = if turned { (&mut *under, &mut *over) } else { (&mut *over, &mut *under) };
        match &node.expr {
            Expr::Mul(a, b) if !is_called(node) && !Rc::ptr_eq(a, b) => gather(&node.expr, over, under),
            Expr::Div(..) if !is_called(node) => gather(&node.expr, over, under),
            _ => over.push(operand(node)),
        }
    };
    match expr {
        Expr::Mul(a, b) => {
            part(a, false);
            part(b, false);
        }
        Expr::Div(a, b) => {
            part(a, false);
            part(b, true);
        }
        _ => {}
    }
}

/// How formulas are written: the reader's units, and the symbols that tell quantities apart.
#[derive(Clone, Copy)]
pub(super) struct Writing<'w> {
    pub(super) spoken: &'w Spoken,
    pub(super) names: &'w Names,
}

/// A symbol as it is written.
pub(super) enum Symbol<'s> {
    /// A letter or two, and a subscript.
    Variable(&'s str, &'s str),
    /// `M(NaHCO₃)`: a letter and what stands in brackets behind it.
    Function(&'s str, &'s str),
    /// Its own number, such as `28 days` or `½`.
    Number(String),
}

/// Splits a symbol that is no number.
pub(super) fn split(symbol: &str) -> Symbol<'_> {
    if let Some((head, inner)) = symbol.split_once('(') {
        return Symbol::Function(head, inner.trim_end_matches(')'));
    }
    let (head, sub) = symbol.split_once('_').unwrap_or((symbol, ""));
    Symbol::Variable(head, sub)
}

/// Whether a symbol is a number that names itself.
pub(super) fn is_number(symbol: &str) -> bool {
    symbol.starts_with(|c: char| c.is_ascii_digit() || c == '½')
}

/// A number of at most six digits with its unit.
pub(super) fn quantity(number: f64, unit: &str) -> String {
    let number = trimmed(number, 6);
    match unit {
        "" => number,
        "days" | "years" if number == "1" => format!("{number}\u{a0}{}", unit.trim_end_matches('s')),
        _ => format!("{number}\u{a0}{}", unit.replace(' ', "\u{a0}")),
    }
}

/// Shortest decimal of at most `figures` significant digits, without idle zeros, with commas at thousands.
pub(super) fn trimmed(number: f64, figures: usize) -> String {
    let text = group(number, Digits::Significant(figures));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn pieces_of(symbol: Symbol<'_>) -> Vec<Piece> {
    match symbol {
        Symbol::Number(words) => vec![Piece::Text(words)],
        Symbol::Function(head, inner) => {
            vec![Piece::Variable(head.to_owned(), String::new()), Piece::Text(format!("({inner})"))]
        }
        Symbol::Variable(head, sub) => vec![Piece::Variable(head.to_owned(), sub.to_owned())],
    }
}

/// The pieces of a symbol.
pub(super) fn symbol_pieces(symbol: &str) -> Vec<Piece> {
    if is_number(symbol) { vec![Piece::Text(symbol.to_owned())] } else { pieces_of(split(symbol)) }
}

pub(super) fn bracketed(pieces: Vec<Piece>, wrap: bool) -> Vec<Piece> {
    if wrap { around("(", pieces, ")") } else { pieces }
}

pub(super) fn around(before: &str, inner: Vec<Piece>, after: &str) -> Vec<Piece> {
    let mut out = vec![Piece::Text(before.to_owned())];
    out.extend(inner);
    out.push(Piece::Text(after.to_owned()));
    out
}

pub(super) fn listed(parts: Vec<Vec<Piece>>) -> Vec<Piece> {
    let count = parts.len();
    let mut out = Vec::new();
    for (i, part) in parts.into_iter().enumerate() {
        if i > 0 {
            out.push(Piece::Text(if i + 1 == count { " and ".into() } else { ", ".into() }));
        }
        out.extend(part);
    }
    out
}

pub(super) fn rounding_words(way: Way) -> &'static str {
    match way {
        Way::Down => ", rounded down",
        Way::Up => ", rounded up",
    }
}

impl<'n> Term<'n> {
    pub(super) fn binding(&self) -> Binding {
        match self {
            Term::Sum(..) | Term::Pick(..) | Term::Round(..) | Term::Solved { .. } | Term::Absolute(_) => Binding::Sum,
            Term::Product(..) => Binding::Product,
            _ => Binding::Atom,
        }
    }

    /// How many symbols stand in it.
    fn weight(&self) -> usize {
        let all = |list: &[Term<'_>]| list.iter().map(Term::weight).sum::<usize>();
        match self {
            Term::Operand(_) | Term::Absolute(_) => 1,
            Term::Sum(list) => list.iter().map(|(_, term)| term.weight()).sum(),
            Term::Product(over, under) => all(over) + all(under),
            Term::Power(a, b) => a.weight() + b.weight(),
            Term::Ten(a) => 1 + a.weight(),
            Term::Square(a) | Term::Root(a) | Term::Ln(a) | Term::Exp(a) | Term::Round(a, _) => a.weight(),
            Term::Pick(_, list) => all(list),
            Term::Solved { .. } => 0,
        }
    }
}

/// Symbols from which a quotient is built up in two levels; smaller ones read better on one line.
const BUILT_UP: usize = 4;

/// Terms of one letter that are numbered through, such as soundings, stand as first to last from so many on.
const MANY: usize = 5;

impl Writing<'_> {
    /// The symbol of a node as it is written here.
    pub(super) fn symbol<'s>(&'s self, node: &'s Node) -> Symbol<'s> {
        let symbol = self.names.symbol(node);
        match (&node.name, &node.expr) {
            (None, Expr::Leaf { unit, .. }) if is_number(symbol) => {
                let shown = self.spoken.unit(unit);
                Symbol::Number(if shown.symbol.is_empty() {
                    symbol.to_owned()
                } else {
                    quantity(shown.of(node.si), shown.symbol)
                })
            }
            _ => split(symbol),
        }
    }

    pub(super) fn called(&self, node: &Node) -> Vec<Piece> {
        pieces_of(self.symbol(node))
    }

    /// A formula in symbols. `flat` keeps it on one level: in exponents and inside quotients.
    pub(super) fn symbols(&self, term: &Term<'_>, flat: bool) -> Vec<Piece> {
        let on_one_level = |term: &Term<'_>| self.symbols(term, true);
        match term {
            Term::Operand(node) => self.called(node),
            Term::Sum(list) => self.sum(list, flat),
            Term::Product(over, under) if under.is_empty() => self.product(over, flat),
            Term::Product(over, under) => {
                if !flat && term.weight() >= BUILT_UP {
                    let level = |list: &[Term<'_>]| match list {
                        [only] => on_one_level(only),
                        list => self.product(list, true),
                    };
                    return vec![Piece::Over(level(over), level(under))];
                }
                let mut out = self.product(over, flat);
                out.push(Piece::Text(" / ".into()));
                match under.as_slice() {
                    [only] => out.extend(bracketed(on_one_level(only), only.binding() < Binding::Atom)),
                    list => out.extend(bracketed(self.product(list, true), true)),
                }
                out
            }
            Term::Power(base, exponent) => {
                // Inside brackets on one level, so that plain brackets are tall enough.
                let wrap = base.binding() < Binding::Atom;
                let mut out = bracketed(self.symbols(base, flat || wrap), wrap);
                out.push(Piece::Raised(on_one_level(exponent)));
                out
            }
            Term::Square(base) => {
                let simple = matches!(**base, Term::Operand(_));
                let mut out = bracketed(self.symbols(base, flat || !simple), !simple);
                out.push(Piece::Raised(vec![Piece::Text("2".into())]));
                out
            }
            Term::Root(a) => vec![Piece::Root(self.symbols(a, flat))],
            Term::Ln(a) => around("ln(", self.symbols(a, true), ")"),
            Term::Exp(a) => vec![Piece::Text("e".into()), Piece::Raised(on_one_level(a))],
            Term::Ten(a) => vec![Piece::Text("10".into()), Piece::Raised(on_one_level(a))],
            Term::Pick(pick, list) => {
                let mut out = vec![Piece::Text(pick.words().into())];
                out.extend(listed(list.iter().map(|t| self.symbols(t, flat)).collect()));
                out
            }
            Term::Round(a, rounding) => {
                let mut out = self.symbols(a, flat);
                out.push(Piece::Text(rounding_words(rounding.way).into()));
                out
            }
            Term::Absolute(node) => {
                let (add, times) = self.above_zero(node);
                let mut out = self.called(node);
                out.push(Piece::Text(format!(" + {add}")));
                match times {
                    Some(times) => {
                        out = bracketed(out, true);
                        out.push(Piece::Text(format!(" · {times}")));
                        out
                    }
                    None => out,
                }
            }
            Term::Solved { equation, .. } => vec![Piece::Text((*equation).to_owned())],
        }
    }

    /// What is added to a reading of a temperature, and what it is then multiplied by, to count it from absolute zero.
    pub(super) fn above_zero(&self, node: &Node) -> (String, Option<&'static str>) {
        let unit = match (&node.name, &node.expr) {
            (Some(name), _) => self.spoken.unit(name.unit),
            (None, Expr::Leaf { unit, .. }) => self.spoken.unit(unit),
            _ => return (String::new(), None),
        };
        (trimmed(unit.zero / unit.size, 6), (unit.size != 1.0).then_some("5 / 9"))
    }

    fn sum(&self, list: &[(bool, Term<'_>)], flat: bool) -> Vec<Piece> {
        if let Some(run) = self.numbered(list) {
            return run;
        }
        let mut out = Vec::new();
        for (i, (minus, term)) in list.iter().enumerate() {
            match (i, minus) {
                (0, false) => {}
                (0, true) => out.push(Piece::Text("\u{2212}".into())),
                (_, false) => out.push(Piece::Text(" + ".into())),
                (_, true) => out.push(Piece::Text(" \u{2212} ".into())),
            }
            let words = matches!(term, Term::Pick(..) | Term::Round(..));
            let wrap = term.binding() < Binding::Product && (*minus || words);
            out.extend(bracketed(self.symbols(term, flat || wrap), wrap));
        }
        out
    }

    /// `z₁ + z₂ + … + z₂₄`, where all terms have one letter.
    fn numbered(&self, list: &[(bool, Term<'_>)]) -> Option<Vec<Piece>> {
        let symbols: Option<Vec<(&str, &str)>> = list
            .iter()
            .map(|(minus, term)| match term {
                Term::Operand(node) if !minus => match split(self.names.symbol(node)) {
                    Symbol::Variable(head, sub) => Some((head, sub)),
                    _ => None,
                },
                _ => None,
            })
            .collect();
        let symbols = symbols.filter(|list| list.len() >= MANY)?;
        let [first, second, .., last] = symbols.as_slice() else { return None };
        if symbols.iter().any(|(head, sub)| head != &first.0 || sub.is_empty()) {
            return None;
        }
        let mut out = Vec::new();
        for (i, (head, sub)) in [first, second, last].into_iter().enumerate() {
            if i > 0 {
                out.push(Piece::Text(if i == 2 { " + … + ".into() } else { " + ".into() }));
            }
            out.push(Piece::Variable((*head).to_owned(), (*sub).to_owned()));
        }
        Some(out)
    }

    fn product(&self, list: &[Term<'_>], flat: bool) -> Vec<Piece> {
        let mut out = Vec::new();
        for (i, term) in list.iter().enumerate() {
            if i > 0 {
                out.push(Piece::Text(" · ".into()));
            }
            let wrap = term.binding() < Binding::Product;
            out.extend(bracketed(self.symbols(term, flat || wrap), wrap));
        }
        out
    }
}
