//! The equation of a solved value with its numbers put in, for whoever checks it with a calculator.

use std::rc::Rc;

use super::figure::{CLOSED, Closing, Expr, Node, mapped};
use super::keyed::{plainly, to_nothing};
use super::term::{Piece, Writing, operand};
use crate::units::table::ONE;

/// What is said of an equation with one side.
const COMES_TO_NOTHING: &str = "0 within 0.00001";

/// Both sides of the equation in symbols and in numbers, and what each comes to; `None` for a line whose equation is not written out.
/// All numbers are of SI units, since an equation of the chemistry knows no others.
pub(super) fn by_hand(writing: Writing<'_>, node: &Rc<Node>) -> Option<Vec<Piece>> {
    let Expr::Solved { closing: Some(Closing { value, left }), .. } = &node.expr else { return None };
    let found = leaf(writing.names.symbol(node), node);
    let left = in_numbers(writing, left, &|inner| Rc::ptr_eq(inner, value).then(|| Rc::clone(&found)));
    // What is left is a quotient less one where the equation has two sides.
    let sides = match &left.expr {
        Expr::Sub(quotient, one) if one.si == 1.0 => match &quotient.expr {
            Expr::Div(over, under) => vec![over, under],
            _ => vec![&left],
        },
        _ => vec![&left],
    };
    let unit = node.name.as_ref().map(|name| name.unit);
    let units = if unit.is_some_and(|unit| unit.size == 1.0) { "" } else { ", in SI units" };
    let mut out = vec![Piece::Text(format!("By hand{units}: "))];
    for (index, side) in sides.iter().enumerate() {
        if index > 0 {
            out.push(Piece::Text("; against ".to_owned()));
        }
        let term = operand(side);
        out.extend(writing.symbols(&term, true));
        // One side alone comes to nothing: its last digits are those of whatever reckons it.
        let (keyed, result) = if sides.len() == 1 && side.si.abs() <= CLOSED {
            (to_nothing(writing, &term), COMES_TO_NOTHING.to_owned())
        } else {
            plainly(writing, &term, side.si)
        };
        out.push(Piece::Text(" = ".to_owned()));
        if !matches!(side.expr, Expr::Leaf { .. }) {
            out.extend(keyed);
            out.push(Piece::Text(" = ".to_owned()));
        }
        out.push(Piece::Text(result));
    }
    Some(out)
}

/// The tree with every line and every leaf as a plain number of SI units.
fn in_numbers(writing: Writing<'_>, node: &Rc<Node>, known: &dyn Fn(&Rc<Node>) -> Option<Rc<Node>>) -> Rc<Node> {
    if let Some(known) = known(node) {
        return known;
    }
    if node.name.is_some() || matches!(node.expr, Expr::Leaf { .. }) {
        return leaf(writing.names.symbol(node), node);
    }
    let expr = mapped(&node.expr, &mut |inner| in_numbers(writing, inner, known));
    Rc::new(Node { name: None, expr, si: node.si, cited: Vec::new(), remarks: Vec::new() })
}

fn leaf(symbol: &str, node: &Node) -> Rc<Node> {
    let source = match &node.expr {
        Expr::Leaf { source, .. } => source.clone(),
        _ => super::figure::Source::Stated(String::new()),
    };
    let expr = Expr::Leaf { symbol: symbol.to_owned(), title: String::new(), unit: &ONE, source };
    Rc::new(Node { name: None, expr, si: node.si, cited: Vec::new(), remarks: Vec::new() })
}
