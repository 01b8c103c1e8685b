//! A line with numbers, as one would key it into a calculator.
//!
//! Every printed number knows its units. Where those of the operands do not come out as the unit of the result, the
//! factors between them are printed with their own units, so that what is keyed is what is shown.

use super::dims::{Dims, factors};
use super::figure::{Expr, Node, Rounding, Way};
use super::term::{
    Binding, Piece, Term, Writing, around, bracketed, listed, of_line, quantity, rounding_words, trimmed,
};
use crate::units::{Digits, Unit, group, significant};

/// What was keyed: the pieces, the number they come to, and its units.
struct Keyed {
    pieces: Vec<Piece>,
    number: f64,
    dims: Dims,
    binding: Binding,
    /// The unit of a temperature that is not counted from absolute zero.
    reading: Option<&'static Unit>,
}

impl Keyed {
    fn plain(pieces: Vec<Piece>, number: f64, binding: Binding) -> Self {
        Keyed { pieces, number, dims: Dims::default(), binding, reading: None }
    }
}

/// One attempt at a line, with so many digits in every number. Pieces are made only where they are wanted.
struct Keying<'w> {
    writing: Writing<'w>,
    figures: usize,
    write: bool,
    /// Small numbers as powers of ten: activities have ten zeros.
    powers: bool,
}

impl Keying<'_> {
    fn text(&self, words: impl FnOnce() -> String) -> Vec<Piece> {
        if self.write { vec![Piece::Text(words())] } else { Vec::new() }
    }

    fn number(&self, si: f64, unit: &'static Unit, id: Option<&str>) -> Keyed {
        let unit = self.writing.spoken.unit(unit);
        let exact = unit.of(si);
        let number = significant(exact, self.figures);
        let mut pieces =
            self.text(|| if self.powers { short(exact, self.figures) } else { trimmed(exact, self.figures) });
        if let Some(id) = id.filter(|_| self.write) {
            pieces.push(Piece::Line(id.to_owned()));
        }
        let binding = if number < 0.0 { Binding::Sum } else { Binding::Atom };
        let reading = (unit.zero != 0.0).then_some(unit);
        Keyed { pieces, number, dims: Dims::of(unit), binding, reading }
    }

    fn operand(&self, node: &Node) -> Keyed {
        match (&node.name, &node.expr) {
            (Some(name), _) => self.number(node.si, name.unit, Some(&name.id)),
            (None, Expr::Leaf { unit, .. }) => self.number(node.si, unit, None),
            _ => Keyed::plain(Vec::new(), f64::NAN, Binding::Atom),
        }
    }

    fn bracket(&self, pieces: Vec<Piece>, wrap: bool) -> Vec<Piece> {
        bracketed(pieces, wrap && self.write)
    }

    /// A temperature counted from absolute zero.
    fn absolute(&self, keyed: Keyed) -> Keyed {
        let Some(unit) = keyed.reading else { return keyed };
        let shift = unit.zero / unit.size;
        let sum = keyed.number + shift;
        let mut pieces = keyed.pieces;
        if self.write {
            pieces.push(Piece::Text(format!(" + {}", trimmed(shift, 6))));
        }
        if unit.size == 1.0 {
            return Keyed {
                pieces,
                number: sum,
                dims: Dims::of(&crate::units::table::KELVIN),
                binding: Binding::Sum,
                reading: None,
            };
        }
        let mut pieces = self.bracket(pieces, true);
        pieces.extend(self.text(|| " × 5 / 9".to_owned()));
        let kelvin = Dims::of(&crate::units::table::KELVIN);
        Keyed { pieces, number: sum * 5.0 / 9.0, dims: kelvin, binding: Binding::Product, reading: None }
    }

    /// The same quantity in other units: the factors between them are keyed too.
    fn in_units(&self, keyed: Keyed, dims: &Dims) -> Keyed {
        let keyed = self.absolute(keyed);
        // What was solved is not keyed: its result stands in the line's own unit.
        let found = if keyed.number.is_nan() { Vec::new() } else { factors(&keyed.dims, dims) };
        if found.is_empty() {
            return Keyed { dims: *dims, ..keyed };
        }
        let mut pieces = self.bracket(keyed.pieces, keyed.binding < Binding::Product);
        let mut number = keyed.number;
        for factor in found {
            let size = significant(factor.number, self.figures + 1);
            number = if factor.times { number * size } else { number / size };
            pieces.extend(self.text(|| {
                let label = factor.label();
                let gap = if label.is_empty() { "" } else { "\u{a0}" };
                let sign = if factor.times { " × " } else { " / " };
                format!("{sign}{}{gap}{label}", trimmed(factor.number, self.figures + 1))
            }));
        }
        Keyed { pieces, number, dims: *dims, binding: Binding::Product, reading: None }
    }

    fn pure(&self, term: &Term<'_>) -> Keyed {
        self.in_units(self.key(term, None), &Dims::default())
    }

    fn key(&self, term: &Term<'_>, wanted: Option<&'static Unit>) -> Keyed {
        match term {
            Term::Operand(node) => self.operand(node),
            Term::Absolute(node) => self.absolute(self.operand(node)),
            Term::Sum(list) => self.sum(list),
            Term::Product(over, under) => self.product(over, under),
            Term::Power(base, exponent) => {
                let (base, exponent) = (self.pure(base), self.pure(exponent));
                let mut pieces = self.bracket(base.pieces, base.binding < Binding::Atom);
                if self.write {
                    pieces.push(Piece::Raised(exponent.pieces));
                }
                Keyed::plain(pieces, libm::pow(base.number, exponent.number), Binding::Atom)
            }
            Term::Square(base) => {
                let keyed = self.absolute(self.key(base, None));
                let mut pieces = self.bracket(keyed.pieces, !matches!(**base, Term::Operand(_)));
                if self.write {
                    pieces.push(Piece::Raised(vec![Piece::Text("2".into())]));
                }
                let dims = Dims::default().times(&keyed.dims, 2);
                Keyed { pieces, number: keyed.number * keyed.number, dims, binding: Binding::Atom, reading: None }
            }
            Term::Root(a) => self.function("√(", a, libm::sqrt),
            Term::Ln(a) => self.function("ln(", a, libm::log),
            Term::Exp(a) => self.raised("e", a, libm::exp),
            Term::Ten(a) => self.raised("10", a, |x| libm::pow(10.0, x)),
            Term::Pick(pick, list) => {
                let mut keyed = list.iter().map(|t| self.key(t, None));
                let Some(first) = keyed.next() else { return Keyed::plain(Vec::new(), 0.0, Binding::Sum) };
                let (dims, reading) = (first.dims, first.reading);
                let (mut number, mut parts) = (first.number, vec![first.pieces]);
                for next in keyed {
                    let next =
                        if reading.is_some() && reading == next.reading { next } else { self.in_units(next, &dims) };
                    number = pick.of(number, next.number);
                    parts.push(next.pieces);
                }
                let mut pieces = self.text(|| pick.words().to_owned());
                if self.write {
                    pieces.extend(listed(parts));
                }
                Keyed { pieces, number, dims, binding: Binding::Sum, reading }
            }
            Term::Round(a, rounding) => self.rounded(a, rounding, wanted),
            Term::Solved { residual, iterations, inputs, .. } => {
                let mut pieces = self.text(|| "with ".to_owned());
                for (i, input) in inputs.iter().enumerate().filter(|_| self.write) {
                    if i > 0 {
                        pieces.push(Piece::Text("; ".into()));
                    }
                    pieces.extend(self.writing.called(input));
                    pieces.push(Piece::Text(" = ".into()));
                    pieces.extend(self.operand(input).pieces);
                    if let Some(unit) = unit_of(input) {
                        let symbol = self.writing.spoken.unit(unit).symbol;
                        pieces.extend((!symbol.is_empty()).then(|| Piece::Text(format!("\u{a0}{symbol}"))));
                    }
                }
                // Its size: on which side of nothing the last digits fall says nothing.
                let residual = residual.abs();
                pieces.extend(self.text(|| format!("; solved in {iterations} steps, residual {residual:.0e}")));
                Keyed::plain(pieces, f64::NAN, Binding::Sum)
            }
        }
    }

    fn sum(&self, list: &[(bool, Term<'_>)]) -> Keyed {
        if let [(false, a), (true, b)] = list {
            let (a, b) = (self.key(a, None), self.key(b, None));
            if let (Some(unit), Some(other)) = (a.reading, b.reading)
                && unit == other
            {
                // A difference of two readings is so many degrees, whatever their zero.
                let pieces = self.joined(a.pieces, " \u{2212} ", self.bracket(b.pieces, b.binding < Binding::Product));
                return Keyed {
                    pieces,
                    number: a.number - b.number,
                    dims: a.dims,
                    binding: Binding::Sum,
                    reading: None,
                };
            }
            return self.folded([(false, a), (true, b)].into_iter());
        }
        self.folded(list.iter().map(|(minus, term)| (*minus, self.key(term, None))))
    }

    fn joined(&self, mut a: Vec<Piece>, operator: &str, b: Vec<Piece>) -> Vec<Piece> {
        if self.write {
            a.push(Piece::Text(operator.to_owned()));
            a.extend(b);
        }
        a
    }

    fn folded(&self, mut list: impl Iterator<Item = (bool, Keyed)>) -> Keyed {
        let Some((minus, first)) = list.next() else {
            return Keyed::plain(self.text(|| "0".into()), 0.0, Binding::Atom);
        };
        let first = self.absolute(first);
        let mut total = if minus {
            let mut pieces = self.text(|| "\u{2212}".to_owned());
            pieces.extend(self.bracket(first.pieces, first.binding < Binding::Product));
            Keyed { pieces, number: -first.number, binding: Binding::Sum, ..first }
        } else {
            first
        };
        for (minus, next) in list {
            let next = self.in_units(next, &total.dims);
            let signed = matches!(next.pieces.first(), Some(Piece::Text(t)) if t.starts_with('\u{2212}'));
            let wrap = (minus && next.binding < Binding::Product) || signed;
            let operator = if minus { " \u{2212} " } else { " + " };
            let sign = if minus { -1.0 } else { 1.0 };
            total = Keyed {
                number: total.number + sign * next.number,
                pieces: self.joined(total.pieces, operator, self.bracket(next.pieces, wrap)),
                binding: Binding::Sum,
                ..total
            };
        }
        total
    }

    fn product(&self, over: &[Term<'_>], under: &[Term<'_>]) -> Keyed {
        let many = |list: &[Term<'_>], least: Binding| {
            let mut out = Keyed::plain(Vec::new(), 1.0, Binding::Product);
            for (i, term) in list.iter().enumerate() {
                let part = self.absolute(self.key(term, None));
                let pieces = self.bracket(part.pieces, part.binding < least);
                out.pieces = if i == 0 { pieces } else { self.joined(out.pieces, " × ", pieces) };
                out.number *= part.number;
                out.dims = out.dims.times(&part.dims, 1);
            }
            out
        };
        let mut out = many(over, Binding::Product);
        if !under.is_empty() {
            let single = under.len() == 1;
            let below = many(under, if single { Binding::Atom } else { Binding::Product });
            out.pieces = self.joined(out.pieces, " / ", self.bracket(below.pieces, !single));
            out.number /= below.number;
            out.dims = out.dims.times(&below.dims, -1);
        }
        out
    }

    fn function(&self, before: &str, of: &Term<'_>, apply: fn(f64) -> f64) -> Keyed {
        let inner = self.pure(of);
        let pieces = if self.write { around(before, inner.pieces, ")") } else { Vec::new() };
        Keyed::plain(pieces, apply(inner.number), Binding::Atom)
    }

    fn raised(&self, base: &str, of: &Term<'_>, apply: fn(f64) -> f64) -> Keyed {
        let inner = self.pure(of);
        let mut pieces = self.text(|| base.to_owned());
        if self.write {
            pieces.push(Piece::Raised(inner.pieces));
        }
        Keyed::plain(pieces, apply(inner.number), Binding::Atom)
    }

    /// The step is named in the unit of the result where it is a short number there, else in its own.
    fn rounded(&self, a: &Term<'_>, rounding: &Rounding, wanted: Option<&'static Unit>) -> Keyed {
        let own = self.writing.spoken.unit(rounding.unit);
        let own = if (own.size / rounding.unit.size - 1.0).abs() < 1e-12 { own } else { rounding.unit };
        let short = |unit: &&'static Unit| {
            let step = rounding.step / unit.size;
            (significant(step, 3) / step - 1.0).abs() < 1e-9 && Dims::of(unit).is_like(&Dims::of(own))
        };
        let unit = wanted.filter(short).unwrap_or(own);
        let keyed = self.in_units(self.key(a, None), &Dims::of(unit));
        let step = rounding.step / unit.size;
        let steps = keyed.number / step;
        let near = libm::round(steps);
        let whole = match rounding.way {
            _ if (steps - near).abs() < 1e-6 * near.abs().max(1.0) => near,
            Way::Down => libm::floor(steps),
            Way::Up => libm::ceil(steps),
        };
        let mut pieces = keyed.pieces;
        pieces.extend(self.text(|| {
            let step = match (unit.symbol, step == 1.0) {
                ("", true) => "a whole number".to_owned(),
                ("days", true) => "a whole number of days".to_owned(),
                _ => quantity(step, unit.symbol),
            };
            format!("{} to {step}", rounding_words(rounding.way))
        }));
        Keyed { pieces, number: whole * step, dims: Dims::of(unit), binding: Binding::Sum, reading: None }
    }

    /// A whole line, in the unit of its result.
    fn line(&self, term: &Term<'_>, unit: &'static Unit) -> Keyed {
        let keyed = self.key(term, Some(unit));
        // What was solved is not keyed, and stands in the line's own unit.
        if keyed.number.is_nan() {
            return keyed;
        }
        if unit.zero == 0.0 {
            return self.in_units(keyed, &Dims::of(unit));
        }
        if keyed.reading == Some(unit) {
            return keyed;
        }
        // Down from absolute zero to where this unit's own zero lies.
        let keyed = self.in_units(keyed, &Dims::of(unit));
        let shift = unit.zero / unit.size;
        let mut pieces = keyed.pieces;
        pieces.extend(self.text(|| format!(" \u{2212} {}", trimmed(shift, 6))));
        Keyed { pieces, number: keyed.number - shift, reading: Some(unit), binding: Binding::Sum, ..keyed }
    }
}

fn unit_of(node: &Node) -> Option<&'static Unit> {
    match (&node.name, &node.expr) {
        (Some(name), _) => Some(name.unit),
        (None, Expr::Leaf { unit, .. }) => Some(unit),
        _ => None,
    }
}

/// A node's own line: keyed pieces, whether it was found by iteration, and the shown result, with just enough digits
/// that keying gives the result.
pub(super) fn keyed(writing: Writing<'_>, node: &Node, unit: &'static Unit) -> (Vec<Piece>, String) {
    let unit = writing.spoken.unit(unit);
    let result = result_text(unit.of(node.si));
    let Some(term) = of_line(node) else {
        // A leaf under a name of its own: its number is the result.
        return (vec![Piece::Text(result.clone())], result);
    };
    // Fifteen digits are all a number has.
    let enough = (5..15).find(|&figures| {
        let number = Keying { writing, figures, write: false, powers: false }.line(&term, unit).number;
        number.is_nan() || result_text(number) == result
    });
    let keying = Keying { writing, figures: enough.unwrap_or(15), write: true, powers: false };
    (keying.line(&term, unit).pieces, result)
}

/// Under this a number is written as a power of ten.
const SMALL: f64 = 1e-4;

/// A number of so many digits, small ones as `5.6e-9`.
fn short(number: f64, figures: usize) -> String {
    if number == 0.0 || number.abs() >= SMALL {
        return trimmed(number, figures);
    }
    let text = format!("{:.*e}", figures.saturating_sub(1), number.abs());
    let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
    let digits = if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.') } else { digits };
    format!("{}{digits}e{power}", if number < 0.0 { "\u{2212}" } else { "" })
}

/// A term of plain numbers with just enough digits that keying gives `value`, and what it comes to.
pub(super) fn plainly(writing: Writing<'_>, term: &Term<'_>, value: f64) -> (Vec<Piece>, String) {
    let result = short(value, 5);
    let keying = |figures: usize, write: bool| Keying { writing, figures, write, powers: true };
    let enough = (5..15).find(|&figures| short(keying(figures, false).pure(term).number, 5) == result);
    (keying(enough.unwrap_or(15), true).pure(term).pieces, result)
}

/// A term of plain numbers that comes to nothing, with just enough digits that keying it stays within [`NOTHING`].
pub(super) fn to_nothing(writing: Writing<'_>, term: &Term<'_>) -> Vec<Piece> {
    let keying = |figures: usize, write: bool| Keying { writing, figures, write, powers: true };
    let enough = (5..15).find(|&figures| keying(figures, false).pure(term).number.abs() <= NOTHING);
    keying(enough.unwrap_or(15), true).pure(term).pieces
}

/// What a calculator may leave of an equation that comes to nothing.
pub(super) const NOTHING: f64 = 1e-5;

/// A result before it is rounded for print: five significant digits, whole numbers as such.
pub(super) fn result_text(number: f64) -> String {
    if (number - libm::round(number)).abs() < 1e-9 && number.abs() < 1e6 {
        group(libm::round(number), Digits::Places(0))
    } else {
        trimmed(number, 5)
    }
}
