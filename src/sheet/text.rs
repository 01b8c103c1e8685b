//! Expressions as formulas.

use std::rc::Rc;

use crate::workings::{Expr, Node};

/// How tightly an expression binds, for brackets.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Binding {
    Sum,
    Product,
    Atom,
}

/// What a formula calls by name: whoever holds the cells.
pub(super) trait Cells {
    /// The name of a line, a leaf, a rounded or a solved value; `None` for what is written out where it is used.
    fn name(&mut self, node: &Rc<Node>) -> Option<String>;
}

/// The expression of a node, not its name.
pub(super) fn formula(node: &Rc<Node>, cells: &mut dyn Cells) -> String {
    written(node, cells).0
}

/// What a node is called where another uses it.
pub(super) fn operand(node: &Rc<Node>, cells: &mut dyn Cells) -> String {
    of(node, cells).0
}

fn of(node: &Rc<Node>, cells: &mut dyn Cells) -> (String, Binding) {
    match cells.name(node) {
        Some(name) => (name, Binding::Atom),
        None => written(node, cells),
    }
}

/// In brackets where it binds less tightly than asked.
fn within(node: &Rc<Node>, least: Binding, cells: &mut dyn Cells) -> String {
    let (text, binding) = of(node, cells);
    if binding < least { format!("({text})") } else { text }
}

fn listed(list: &[Rc<Node>], cells: &mut dyn Cells) -> String {
    list.iter().map(|node| of(node, cells).0).collect::<Vec<_>>().join(",")
}

fn written(node: &Rc<Node>, cells: &mut dyn Cells) -> (String, Binding) {
    let called = |function: &str, inner: String| (format!("{function}({inner})"), Binding::Atom);
    match &node.expr {
        // The second of two stands in brackets, so that a spreadsheet works in the order we do.
        Expr::Add(a, b) => {
            let a = within(a, Binding::Sum, cells);
            (format!("{a}+{}", within(b, Binding::Product, cells)), Binding::Sum)
        }
        Expr::Sub(a, b) => {
            let a = within(a, Binding::Sum, cells);
            (format!("{a}-{}", within(b, Binding::Product, cells)), Binding::Sum)
        }
        Expr::Mul(a, b) => {
            let a = within(a, Binding::Product, cells);
            (format!("{a}*{}", within(b, Binding::Atom, cells)), Binding::Product)
        }
        Expr::Div(a, b) => {
            let a = within(a, Binding::Product, cells);
            (format!("{a}/{}", within(b, Binding::Atom, cells)), Binding::Product)
        }
        Expr::Sum(list) if list.is_empty() => ("0".to_owned(), Binding::Atom),
        Expr::Sum(list) => called("SUM", listed(list, cells)),
        Expr::Sqrt(a) => called("SQRT", of(a, cells).0),
        Expr::Ln(a) => called("LN", of(a, cells).0),
        Expr::Exp(a) => called("EXP", of(a, cells).0),
        Expr::Ten(a) => called("POWER", format!("10,{}", of(a, cells).0)),
        Expr::Power(a, b) => {
            let a = of(a, cells).0;
            called("POWER", format!("{a},{}", of(b, cells).0))
        }
        Expr::Min(list) => called("MIN", listed(list, cells)),
        Expr::Max(list) => called("MAX", listed(list, cells)),
        Expr::Same(a) => of(a, cells),
        // Both have cells of their own; without one the value is all there is.
        Expr::Leaf { .. } | Expr::Round(..) | Expr::Solved { .. } => (number(node.si), Binding::Atom),
    }
}

/// A number in a formula.
pub(super) fn number(value: f64) -> String {
    let text = shortest(value);
    if value < 0.0 { format!("({text})") } else { text }
}

/// The fewest digits that give the number back.
pub(super) fn shortest(value: f64) -> String {
    let text = format!("{value:?}");
    text.strip_suffix(".0").map_or_else(|| text.replace('e', "E"), ToOwned::to_owned)
}
