//! A tree as words: in symbols, and as one would key it into a calculator.
//!
//! Every printed number knows how many SI units one of it is. Where the units of the operands do not come out as the
//! unit of the result, the factor between them is printed, so that what is keyed is what is shown.

use std::rc::Rc;

use super::figure::{Expr, Name, Node, Way};
use crate::units::{Digits, Unit, group, plain};

/// A piece of a formula.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// Upright: numbers, operators, words.
    Text(String),
    /// A variable, italic; its second part is a subscript, upright.
    Variable(String, String),
    /// Raised.
    Raised(Vec<Piece>),
    /// A reference to the line with this id.
    Line(String),
}

/// How tightly an expression binds, for brackets.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Binding {
    Sum,
    Product,
    Atom,
}

/// A symbol such as `V_low` as a piece; formulas such as `M(NaHCO₃)` keep their brackets upright.
fn variable(symbol: &str) -> Vec<Piece> {
    if let Some((head, inner)) = symbol.split_once('(') {
        return vec![Piece::Variable(head.to_owned(), String::new()), Piece::Text(format!("({inner}"))];
    }
    let (head, sub) = symbol.split_once('_').unwrap_or((symbol, ""));
    vec![Piece::Variable(head.to_owned(), sub.to_owned())]
}

fn bracketed(pieces: Vec<Piece>, wrap: bool) -> Vec<Piece> {
    if !wrap {
        return pieces;
    }
    let mut out = vec![Piece::Text("(".into())];
    out.extend(pieces);
    out.push(Piece::Text(")".into()));
    out
}

/// The name or leaf symbol by which a node is called inside the formula of another.
fn called(node: &Node) -> Option<&str> {
    match (&node.name, &node.expr) {
        (Some(name), _) => Some(&name.symbol),
        (None, Expr::Leaf { symbol, .. }) => Some(symbol),
        _ => None,
    }
}

/// The formula in symbols, of a node itself (not of its name).
pub(super) fn symbols(node: &Node) -> Vec<Piece> {
    // A leaf under a name of its own has no formula: its number stands alone.
    if let (Some(_), Expr::Same(inner)) = (&node.name, &node.expr)
        && inner.name.is_none()
    {
        return Vec::new();
    }
    symbols_of(&node.expr).0
}

fn symbols_in(node: &Node, least: Binding) -> Vec<Piece> {
    if let Some(symbol) = called(node) {
        return variable(symbol);
    }
    let (pieces, binding) = symbols_of(&node.expr);
    bracketed(pieces, binding < least)
}

fn listed(word: &str, list: &[Rc<Node>]) -> Vec<Piece> {
    let mut out = vec![Piece::Text(format!("{word} of "))];
    for (i, item) in list.iter().enumerate() {
        if i > 0 {
            out.push(Piece::Text(if i + 1 == list.len() { " and ".into() } else { ", ".into() }));
        }
        out.extend(symbols_in(item, Binding::Sum));
    }
    out
}

fn joined(a: Vec<Piece>, operator: &str, b: Vec<Piece>) -> Vec<Piece> {
    let mut out = a;
    out.push(Piece::Text(operator.to_owned()));
    out.extend(b);
    out
}

fn around(before: &str, inner: Vec<Piece>, after: &str) -> Vec<Piece> {
    let mut out = vec![Piece::Text(before.to_owned())];
    out.extend(inner);
    out.push(Piece::Text(after.to_owned()));
    out
}

fn rounding_words(way: Way) -> &'static str {
    match way {
        Way::Down => ", rounded down",
        Way::Up => ", rounded up",
    }
}

fn symbols_of(expr: &Expr) -> (Vec<Piece>, Binding) {
    use Binding::{Atom, Product, Sum};
    match expr {
        Expr::Leaf { symbol, .. } => (variable(symbol), Atom),
        Expr::Add(a, b) => (joined(symbols_in(a, Sum), " + ", symbols_in(b, Sum)), Sum),
        Expr::Sub(a, b) => (joined(symbols_in(a, Sum), " \u{2212} ", symbols_in(b, Product)), Sum),
        Expr::Mul(a, b) => (joined(symbols_in(a, Product), " · ", symbols_in(b, Product)), Product),
        Expr::Div(a, b) => (joined(symbols_in(a, Product), " / ", symbols_in(b, Atom)), Product),
        Expr::Sum(list) => {
            let mut out = Vec::new();
            for (i, item) in list.iter().enumerate() {
                if i > 0 {
                    out.push(Piece::Text(" + ".into()));
                }
                out.extend(symbols_in(item, Sum));
            }
            (out, if list.len() > 1 { Sum } else { Atom })
        }
        Expr::Sqrt(a) => (around("√(", symbols_in(a, Sum), ")"), Atom),
        Expr::Ln(a) => (around("ln(", symbols_in(a, Sum), ")"), Atom),
        Expr::Exp(a) => (vec![Piece::Text("e".into()), Piece::Raised(symbols_in(a, Sum))], Atom),
        Expr::Ten(a) => (vec![Piece::Text("10".into()), Piece::Raised(symbols_in(a, Sum))], Atom),
        Expr::Power(a, b) => {
            let mut out = symbols_in(a, Atom);
            out.push(Piece::Raised(symbols_in(b, Sum)));
            (out, Atom)
        }
        Expr::Min(list) => (listed("the smallest", list), Sum),
        Expr::Max(list) => (listed("the largest", list), Sum),
        Expr::Round(a, rounding) => {
            let mut out = symbols_in(a, Sum);
            out.push(Piece::Text(rounding_words(rounding.way).into()));
            (out, Sum)
        }
        Expr::Same(a) => (symbols_in(a, Sum), Sum),
        Expr::Solved { equation, .. } => (vec![Piece::Text(equation.clone())], Sum),
    }
}

/// What was keyed: the pieces, the number they come to, and how many SI units one of that number is.
struct Keyed {
    pieces: Vec<Piece>,
    number: f64,
    factor: f64,
    binding: Binding,
}

/// Shortest decimal of at most `figures` significant digits, without trailing zeros.
fn trimmed(number: f64, figures: usize) -> String {
    let text = plain(number, Digits::Significant(figures));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The unit in which a number is keyed: temperatures in kelvin, shares as decimals, so that products hold.
fn shown_in(unit: &'static Unit) -> &'static Unit {
    if unit.zero != 0.0 {
        return &crate::units::table::KELVIN;
    }
    // A share is keyed as a decimal, so that no factor of a hundred stands in the line.
    if unit.symbol == "%" { &crate::units::table::ONE } else { unit }
}

struct Keying {
    figures: usize,
}

impl Keying {
    fn number(&self, si: f64, unit: &'static Unit, id: Option<&str>) -> Keyed {
        let unit = shown_in(unit);
        let text = trimmed(unit.of(si), self.figures);
        let number = text.replace('\u{2212}', "-").parse().unwrap_or(0.0);
        let mut pieces = vec![Piece::Text(with_commas(&text))];
        if let Some(id) = id {
            pieces.push(Piece::Line(id.to_owned()));
        }
        let binding = if si < 0.0 { Binding::Sum } else { Binding::Atom };
        Keyed { pieces, number, factor: unit.size, binding }
    }

    fn operand(&self, node: &Node) -> Keyed {
        match (&node.name, &node.expr) {
            (Some(name), _) => self.number(node.si, name.unit, Some(&name.id)),
            (None, Expr::Leaf { unit, .. }) => self.number(node.si, unit, None),
            _ => self.expression(&node.expr),
        }
    }

    fn at(&self, node: &Node, least: Binding) -> Keyed {
        let keyed = self.operand(node);
        let wrap = keyed.binding < least;
        Keyed {
            pieces: bracketed(keyed.pieces, wrap),
            binding: if wrap { Binding::Atom } else { keyed.binding },
            ..keyed
        }
    }

    /// The same quantity in units of another factor: the ratio between them is keyed too.
    fn converted(&self, keyed: Keyed, factor: f64) -> Keyed {
        let ratio = keyed.factor / factor;
        if (ratio - 1.0).abs() < 1e-12 {
            return keyed;
        }
        let (pieces, value) = scaled(bracketed(keyed.pieces, keyed.binding < Binding::Product), ratio, self.figures);
        Keyed { pieces, number: keyed.number * value, factor, binding: Binding::Product }
    }

    fn pure(&self, node: &Node) -> Keyed {
        let keyed = self.operand(node);
        self.converted(keyed, 1.0)
    }

    fn added(&self, a: Keyed, operator: &str, b: Keyed, sign: f64) -> Keyed {
        let b = self.converted(b, a.factor);
        let wrap = sign < 0.0 && b.binding < Binding::Product || b.number < 0.0;
        Keyed {
            number: a.number + sign * b.number,
            factor: a.factor,
            pieces: joined(a.pieces, operator, bracketed(b.pieces, wrap)),
            binding: Binding::Sum,
        }
    }

    fn expression(&self, expr: &Expr) -> Keyed {
        match expr {
            Expr::Leaf { .. } => Keyed { pieces: Vec::new(), number: 0.0, factor: 1.0, binding: Binding::Atom },
            Expr::Add(a, b) => self.added(self.operand(a), " + ", self.operand(b), 1.0),
            Expr::Sub(a, b) => self.added(self.operand(a), " \u{2212} ", self.operand(b), -1.0),
            Expr::Sum(list) => {
                let mut items = list.iter().map(|n| self.operand(n));
                let Some(first) = items.next() else {
                    return Keyed {
                        pieces: vec![Piece::Text("0".into())],
                        number: 0.0,
                        factor: 1.0,
                        binding: Binding::Atom,
                    };
                };
                items.fold(first, |total, item| self.added(total, " + ", item, 1.0))
            }
            Expr::Mul(a, b) => {
                let (a, b) = (self.at(a, Binding::Product), self.at(b, Binding::Product));
                Keyed {
                    number: a.number * b.number,
                    factor: a.factor * b.factor,
                    pieces: joined(a.pieces, " × ", b.pieces),
                    binding: Binding::Product,
                }
            }
            Expr::Div(a, b) => {
                let (a, b) = (self.at(a, Binding::Product), self.at(b, Binding::Atom));
                Keyed {
                    number: a.number / b.number,
                    factor: a.factor / b.factor,
                    pieces: joined(a.pieces, " / ", b.pieces),
                    binding: Binding::Product,
                }
            }
            Expr::Sqrt(a) => self.function("√(", a, ")", libm::sqrt),
            Expr::Ln(a) => self.function("ln(", a, ")", libm::log),
            Expr::Exp(a) => {
                let a = self.pure(a);
                let pieces = vec![Piece::Text("e".into()), Piece::Raised(a.pieces)];
                Keyed { pieces, number: libm::exp(a.number), factor: 1.0, binding: Binding::Atom }
            }
            Expr::Ten(a) => {
                let a = self.pure(a);
                let pieces = vec![Piece::Text("10".into()), Piece::Raised(a.pieces)];
                Keyed { pieces, number: libm::pow(10.0, a.number), factor: 1.0, binding: Binding::Atom }
            }
            Expr::Power(a, b) => {
                let (a, b) = (self.pure(a), self.pure(b));
                let mut pieces = bracketed(a.pieces, a.binding < Binding::Atom);
                pieces.push(Piece::Raised(b.pieces));
                Keyed { pieces, number: libm::pow(a.number, b.number), factor: 1.0, binding: Binding::Atom }
            }
            Expr::Min(list) => self.chosen("the smallest of ", list, f64::min),
            Expr::Max(list) => self.chosen("the largest of ", list, f64::max),
            Expr::Round(a, rounding) => {
                let keyed = self.operand(a);
                let keyed = self.converted(keyed, rounding.unit.size);
                let steps = keyed.number * rounding.unit.size / rounding.step;
                let near = libm::round(steps);
                let whole = match rounding.way {
                    _ if (steps - near).abs() < 1e-6 * near.abs().max(1.0) => near,
                    Way::Down => libm::floor(steps),
                    Way::Up => libm::ceil(steps),
                };
                let mut pieces = keyed.pieces;
                let step = trimmed(rounding.unit.of(rounding.step), 6);
                let gap = if rounding.unit.symbol.is_empty() { "" } else { "\u{a0}" };
                pieces.push(Piece::Text(format!(
                    "{} to {}{gap}{}",
                    rounding_words(rounding.way),
                    if rounding.unit.symbol.is_empty() && step == "1" { "a whole number" } else { &step },
                    rounding.unit.symbol
                )));
                Keyed {
                    pieces,
                    number: whole * rounding.step / rounding.unit.size,
                    factor: rounding.unit.size,
                    binding: Binding::Sum,
                }
            }
            Expr::Same(a) => self.operand(a),
            Expr::Solved { residual, iterations, inputs, .. } => {
                let mut pieces = vec![Piece::Text("with ".into())];
                for (i, input) in inputs.iter().enumerate() {
                    if i > 0 {
                        pieces.push(Piece::Text("; ".into()));
                    }
                    if let Some(symbol) = called(input) {
                        pieces.extend(variable(symbol));
                        pieces.push(Piece::Text(" = ".into()));
                    }
                    pieces.extend(self.operand(input).pieces);
                }
                pieces.push(Piece::Text(format!("; solved in {iterations} steps, residual {residual:.0e}")));
                Keyed { pieces, number: f64::NAN, factor: 1.0, binding: Binding::Sum }
            }
        }
    }

    fn function(&self, before: &str, of: &Node, after: &str, apply: fn(f64) -> f64) -> Keyed {
        let inner = self.pure(of);
        Keyed {
            pieces: around(before, inner.pieces, after),
            number: apply(inner.number),
            factor: 1.0,
            binding: Binding::Atom,
        }
    }

    fn chosen(&self, words: &str, list: &[Rc<Node>], pick: fn(f64, f64) -> f64) -> Keyed {
        let mut pieces = vec![Piece::Text(words.to_owned())];
        let mut factor: Option<f64> = None;
        let mut number: Option<f64> = None;
        for (i, item) in list.iter().enumerate() {
            if i > 0 {
                pieces.push(Piece::Text(if i + 1 == list.len() { " and ".into() } else { ", ".into() }));
            }
            let keyed = self.operand(item);
            let common = *factor.get_or_insert(keyed.factor);
            let keyed = self.converted(keyed, common);
            number = Some(number.map_or(keyed.number, |n| pick(n, keyed.number)));
            pieces.extend(keyed.pieces);
        }
        Keyed { pieces, number: number.unwrap_or(0.0), factor: factor.unwrap_or(1.0), binding: Binding::Sum }
    }
}

fn with_commas(text: &str) -> String {
    match text.replace('\u{2212}', "-").parse::<f64>() {
        Ok(number) => {
            let places = text.split_once('.').map_or(0, |(_, fraction)| fraction.len());
            group(number, Digits::Places(places))
        }
        Err(_) => text.to_owned(),
    }
}

/// Pieces times a ratio, written as a product or, when that is rounder, as a quotient. Returns the ratio as keyed.
fn scaled(mut pieces: Vec<Piece>, ratio: f64, figures: usize) -> (Vec<Piece>, f64) {
    let inverse = 1.0 / ratio;
    let round = |v: f64| (v - libm::round(v)).abs() < 1e-9 * v.abs() && v >= 1.0;
    let (sign, shown) = if round(ratio) || !round(inverse) { (" × ", ratio) } else { (" / ", inverse) };
    let text = trimmed(shown, figures + 1);
    let number: f64 = text.parse().unwrap_or(1.0);
    pieces.push(Piece::Text(format!("{sign}{}", with_commas(&text))));
    (pieces, if sign == " × " { number } else { 1.0 / number })
}

/// A node's own line: keyed pieces and the shown result, with just enough digits that keying gives the result.
pub(super) fn keyed(node: &Node, name: &Name) -> (Vec<Piece>, String) {
    let unit = shown_in(name.unit);
    let result = result_text(unit.of(node.si));
    // A leaf under a name of its own: its number is the result.
    for figures in 5..=15 {
        let keyed = Keying { figures }.expression(&node.expr);
        if keyed.number.is_nan() {
            return (keyed.pieces, result);
        }
        let Keyed { pieces, number, .. } = Keying { figures }.converted(keyed, unit.size);
        if result_text(number) == result || figures == 15 {
            return (pieces, result);
        }
    }
    (Vec::new(), result)
}

/// A result before it is rounded for print: five significant digits, whole numbers as such.
pub(super) fn result_text(number: f64) -> String {
    if (number - libm::round(number)).abs() < 1e-9 && number.abs() < 1e6 {
        group(libm::round(number), Digits::Places(0))
    } else {
        let text = group(number, Digits::Significant(5));
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    }
}
