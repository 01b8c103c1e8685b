//! The lines for other programs: each field borrowed where it can be, so that no tree is built before it is written.

use std::rc::Rc;

use serde::Serialize;

use super::book::{self, direct, operands, step_unit};
use super::figure::{Expr, Node, Source, Way};
use super::term::Writing;

/// A line.
#[derive(Serialize)]
pub(super) struct Line<'a> {
    id: &'a str,
    title: &'a str,
    symbols: String,
    keyed: String,
    expression: Tree<'a>,
    inputs: Vec<Option<Input<'a>>>,
    value: f64,
    unit: &'static str,
    citation: Vec<Cited>,
    status: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    by_hand: Option<String>,
    remarks: &'a [String],
    used_by: &'a [String],
}

/// An expression.
#[derive(Serialize)]
#[serde(untagged)]
enum Tree<'a> {
    Line { line: &'a str },
    Leaf { symbol: &'a str, value: f64, unit: &'static str },
    Operation { op: &'static str, of: Vec<Tree<'a>> },
    Rounding { op: &'static str, step: f64, unit: &'static str, of: Vec<Tree<'a>> },
    Solution { op: &'static str, equation: &'a str, residual: f64, iterations: u32, of: Vec<Tree<'a>> },
}

/// What a line rests on directly.
#[derive(Serialize)]
struct Input<'a> {
    symbol: &'a str,
    title: &'a str,
    value: f64,
    unit: &'static str,
    #[serde(flatten)]
    from: Origin<'a>,
}

/// Where an input comes from.
#[derive(Serialize)]
enum Origin<'a> {
    #[serde(rename = "line")]
    Line(&'a str),
    #[serde(rename = "origin")]
    Words(String),
}

#[derive(Serialize)]
struct Cited {
    id: &'static str,
    words: &'static str,
    status: &'static str,
}

impl<'a> Line<'a> {
    pub(super) fn of(line: &'a book::Line, writing: Writing<'a>) -> Line<'a> {
        let mut found = Vec::new();
        direct(&line.node.expr, &mut found);
        let citations = line.citations();
        Line {
            id: &line.id,
            title: &line.title,
            symbols: line.equation_text(),
            keyed: line.keyed_text(),
            expression: inside(&line.node, writing),
            inputs: found.into_iter().map(|used| input(used, writing)).collect(),
            value: line.unit.of(line.node.si),
            unit: line.unit.symbol,
            citation: citations.iter().map(|c| Cited { id: c.id, words: c.full, status: c.status.words() }).collect(),
            status: line.status.words(),
            by_hand: line.by_hand_text(),
            remarks: &line.node.remarks,
            used_by: &line.used_by,
        }
    }
}

fn input<'a>(used: &'a Node, writing: Writing<'a>) -> Option<Input<'a>> {
    let (title, unit, from) = match (&used.name, &used.expr) {
        (Some(name), _) => (&name.title, name.unit, Origin::Line(&name.id)),
        (None, Expr::Leaf { title, unit, source, .. }) => {
            let origin = match source {
                Source::Stated(place) => place.clone(),
                Source::Cited(citation) => format!("{} ({})", citation.short, citation.id),
                Source::Counted => "counted by the plan".to_owned(),
            };
            (title, *unit, Origin::Words(origin))
        }
        _ => return None,
    };
    let unit = writing.spoken.unit(unit);
    let symbol = writing.names.symbol(used);
    Some(Input { symbol, title, value: unit.of(used.si), unit: unit.symbol, from })
}

/// What a node is made of; one with a name is another line.
fn tree<'a>(node: &'a Node, writing: Writing<'a>) -> Tree<'a> {
    match &node.name {
        Some(name) => Tree::Line { line: &name.id },
        None => inside(node, writing),
    }
}

fn inside<'a>(node: &'a Node, writing: Writing<'a>) -> Tree<'a> {
    let of = operands(&node.expr).into_iter().map(|operand: &Rc<Node>| tree(operand, writing)).collect();
    let op = match &node.expr {
        Expr::Leaf { unit, .. } => {
            let unit = writing.spoken.unit(unit);
            return Tree::Leaf { symbol: writing.names.symbol(node), value: unit.of(node.si), unit: unit.symbol };
        }
        Expr::Round(_, rounding) => {
            let unit = step_unit(rounding.unit, writing.spoken);
            let op = match rounding.way {
                Way::Down => "round down",
                Way::Up => "round up",
            };
            return Tree::Rounding { op, step: unit.of(rounding.step), unit: unit.symbol, of };
        }
        Expr::Solved { equation, residual, iterations, .. } => {
            return Tree::Solution { op: "solve", equation, residual: *residual, iterations: *iterations, of };
        }
        Expr::Add(..) | Expr::Sum(_) => "add",
        Expr::Sub(..) => "subtract",
        Expr::Mul(..) => "multiply",
        Expr::Div(..) => "divide",
        Expr::Sqrt(_) => "square root",
        Expr::Ln(_) => "natural logarithm",
        Expr::Exp(_) => "e to the",
        Expr::Ten(_) => "ten to the",
        Expr::Power(..) => "power",
        Expr::Min(_) => "smallest",
        Expr::Max(_) => "largest",
        Expr::Same(_) => "same",
    };
    Tree::Operation { op, of }
}
