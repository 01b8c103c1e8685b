//! A second opinion: every expression tree evaluated again, in bare SI numbers, by other means than made it.
//!
//! The typed path works through `uom` and `libm`; this one adds with compensation, goes through powers and
//! logarithms of two, and does not round at all: of a rounded value it asks what rounding must keep (a whole number of steps, on the right
//! side, less than a step away). Of a solved value it asks that the residual is a number, and, where its equation is written
//! out, that the value closes it. What it shares with the typed
//! path is the leaves, which are what it is about: given these inputs, is this the result?

use std::collections::BTreeMap;
use std::f64::consts::{LN_2, LN_10, LOG2_10, LOG2_E};
use std::rc::Rc;

use super::book::Book;
use super::figure::{CLOSED, Closing, Expr, Node, Rounding, Way};

/// Relative to the value, or to the largest term of a sum that cancels.
pub const TOLERANCE: f64 = 1e-12;
/// Of a step: what typed rounding takes for whole.
const WHOLE: f64 = 1e-9;

/// A line whose value is not what its expression says.
#[derive(Clone, Debug, PartialEq)]
pub struct Disagreement {
    /// The line.
    pub id: String,
    /// The value it carries, SI.
    pub carried: f64,
    /// The value found, SI; not a number where a rule of rounding or solving is broken.
    pub found: f64,
}

/// What was found of a node: its value, and the size of what went into it, so that a difference of near equals is not
/// held to its own smallness.
#[derive(Clone, Copy)]
struct Found {
    value: f64,
    size: f64,
}

/// All lines of a book that do not bear a second look.
#[must_use]
pub fn second_opinion(book: &Book) -> Vec<Disagreement> {
    let mut seen = BTreeMap::new();
    let mut out = Vec::new();
    for line in book.lines() {
        if let Err(found) = agrees(&line.node, &mut seen) {
            out.push(Disagreement { id: line.id.clone(), carried: line.node.si, found });
        }
    }
    out
}

/// Whether a tree's value is what its expression says; else the value that it says.
///
/// # Errors
/// The value found; not a number where a rule of rounding or solving is broken.
pub fn tree_agrees(node: &Rc<Node>) -> Result<(), f64> {
    agrees(node, &mut BTreeMap::new()).map(|_| ())
}

/// Nodes are shared between lines: each is looked at once, under its place in memory.
fn agrees(node: &Rc<Node>, seen: &mut BTreeMap<usize, Found>) -> Result<Found, f64> {
    let place = Rc::as_ptr(node).addr();
    if let Some(found) = seen.get(&place) {
        return Ok(*found);
    }
    let found = evaluate(node, seen)?;
    let near = (found.value - node.si).abs() <= TOLERANCE * found.size.max(found.value.abs());
    if !near && found.value.to_bits() != node.si.to_bits() {
        return Err(found.value);
    }
    seen.insert(place, found);
    Ok(found)
}

fn evaluate(node: &Rc<Node>, seen: &mut BTreeMap<usize, Found>) -> Result<Found, f64> {
    let plain = |value: f64| Found { value, size: value.abs() };
    let mut of = |inner: &Rc<Node>| agrees(inner, seen);
    Ok(match &node.expr {
        Expr::Leaf { .. } => plain(node.si),
        Expr::Same(a) => of(a)?,
        Expr::Add(a, b) => total(&[of(a)?, of(b)?]),
        Expr::Sub(a, b) => {
            let (a, b) = (of(a)?, of(b)?);
            total(&[a, Found { value: -b.value, size: b.size }])
        }
        Expr::Sum(list) => {
            let terms = list.iter().map(of).collect::<Result<Vec<_>, _>>()?;
            total(&terms)
        }
        Expr::Mul(a, b) => {
            let (a, b) = (of(a)?, of(b)?);
            let value = a.value * b.value;
            Found { value, size: (a.size * b.value).abs().max((a.value * b.size).abs()) }
        }
        Expr::Div(a, b) => {
            let (a, b) = (of(a)?, of(b)?);
            let value = a.value * b.value.recip();
            Found { value, size: (a.size / b.value).abs().max((value * (b.size / b.value)).abs()) }
        }
        Expr::Sqrt(a) => plain(libm::exp2(0.5 * libm::log2(of(a)?.value))),
        Expr::Ln(a) => {
            let a = of(a)?;
            Found { value: libm::log2(a.value) * LN_2, size: (a.size / a.value).abs().max(1.0) }
        }
        Expr::Exp(a) => {
            let a = of(a)?;
            let value = libm::exp2(a.value * LOG2_E);
            Found { value, size: value * a.size.max(1.0) }
        }
        Expr::Ten(a) => {
            let a = of(a)?;
            let value = libm::exp2(a.value * LOG2_10);
            Found { value, size: value * (a.size * LN_10).max(1.0) }
        }
        Expr::Power(a, b) => {
            let (a, b) = (of(a)?, of(b)?);
            let two = libm::log2(a.value);
            // Nothing to any power is nothing, to none it is one.
            let value = if a.value > 0.0 { libm::exp2(b.value * two) } else { f64::from(u8::from(b.value == 0.0)) };
            let bent = (b.value * a.size / a.value).abs().max((two * LN_2 * b.size).abs());
            Found { value, size: value.abs() * if bent.is_finite() { bent.max(1.0) } else { 1.0 } }
        }
        Expr::Min(list) | Expr::Max(list) => {
            let mut all = list.iter().map(of).collect::<Result<Vec<_>, _>>()?;
            all.sort_by(|a, b| a.value.total_cmp(&b.value));
            let chosen = if matches!(node.expr, Expr::Min(_)) { all.first() } else { all.last() };
            chosen.copied().ok_or(f64::NAN)?
        }
        Expr::Round(a, rounding) => {
            let exact = of(a)?.value;
            if !rounded(exact, node.si, *rounding) {
                return Err(f64::NAN);
            }
            plain(node.si)
        }
        Expr::Solved { inputs, residual, closing, .. } => {
            for input in inputs {
                of(input)?;
            }
            if !residual.is_finite() || !node.si.is_finite() {
                return Err(f64::NAN);
            }
            if let Some(Closing { value, left }) = closing {
                // The equation must be about this value, and closed by it.
                let found = of(left)?.value;
                if value.si.to_bits() != node.si.to_bits() || found.is_nan() || found.abs() > CLOSED {
                    return Err(f64::NAN);
                }
            }
            plain(node.si)
        }
    })
}

/// A sum with compensation (Neumaier), and the size of its largest term.
fn total(terms: &[Found]) -> Found {
    let (mut sum, mut lost) = (0.0_f64, 0.0_f64);
    let mut size = 0.0_f64;
    for term in terms {
        let next = sum + term.value;
        lost += if sum.abs() >= term.value.abs() { (sum - next) + term.value } else { (term.value - next) + sum };
        sum = next;
        size = size.max(term.size);
    }
    Found { value: sum + lost, size }
}

/// Whether a value is a whole number of steps: the exact one's own where that is whole itself, else the next on the right side.
fn rounded(exact: f64, value: f64, rounding: Rounding) -> bool {
    let (steps, wanted) = (value / rounding.step, exact / rounding.step);
    let count = libm::rint(steps);
    let size = steps.abs().max(wanted.abs()).max(1.0);
    if (steps - count).abs() > WHOLE * size {
        return false;
    }
    let off = (wanted - libm::rint(wanted)).abs() / wanted.abs().max(1.0);
    let itself = count == libm::rint(wanted);
    let next = match rounding.way {
        Way::Down => count == libm::floor(wanted),
        Way::Up => count == libm::ceil(wanted),
    };
    // Typed rounding takes for whole what is so to a thousand-millionth; a tenth to either side both are right.
    if off < 0.9 * WHOLE {
        itself
    } else if off > 1.1 * WHOLE {
        next
    } else {
        itself || next
    }
}
