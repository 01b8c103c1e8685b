//! The figure and its tree.

use std::marker::PhantomData;
use std::ops::{Add, Div, Mul, Sub};
use std::rc::Rc;

use super::book::operands;
use crate::reference::Citation;
use crate::units::{Ratio, Si, Unit};

/// A published number: a typed value that carries the expression it was made by.
#[derive(Debug)]
pub struct Figure<Q> {
    node: Rc<Node>,
    quantity: PhantomData<fn() -> Q>,
}

impl<Q> Clone for Figure<Q> {
    fn clone(&self) -> Self {
        Self { node: Rc::clone(&self.node), quantity: PhantomData }
    }
}

/// One node of an expression tree. Values are in SI base units.
#[derive(Debug)]
pub struct Node {
    /// The name that gives it a line of its own, or a leaf its symbol.
    pub name: Option<Name>,
    /// What made it.
    pub expr: Expr,
    /// Its value.
    pub si: f64,
    /// Sources that belong to this step rather than to a leaf (a formula from a paper).
    pub cited: Vec<&'static Citation>,
    /// Remarks in words, such as how the figure is printed.
    pub remarks: Vec<String>,
}

impl Node {
    /// What it is made of, in reading order; nothing for a leaf.
    #[must_use]
    pub fn operands(&self) -> Vec<&Rc<Node>> {
        operands(&self.expr)
    }
}

/// What a line is called.
#[derive(Clone, Debug)]
pub struct Name {
    /// Stable dotted id, such as `hardness.buffer.dose`.
    pub id: String,
    /// In words.
    pub title: String,
    /// As a symbol; `_` opens a subscript to the end, as in `V_low`.
    pub symbol: String,
    /// The unit its value is shown in.
    pub unit: &'static Unit,
}

/// Where a leaf's value comes from.
#[derive(Clone, Debug)]
pub enum Source {
    /// Written in the site file or the log: `site file, line 14`.
    Stated(String),
    /// A constant or a limit with its citation.
    Cited(&'static Citation),
    /// A whole number of the plan's own making: a count of days or doses.
    Counted,
}

/// What a node does.
#[derive(Debug)]
pub enum Expr {
    /// A value with its symbol, unit and source.
    Leaf {
        /// Symbol.
        symbol: String,
        /// In words.
        title: String,
        /// The unit it is shown in.
        unit: &'static Unit,
        /// Where it comes from.
        source: Source,
    },
    /// Sum of two.
    Add(Rc<Node>, Rc<Node>),
    /// Difference.
    Sub(Rc<Node>, Rc<Node>),
    /// Product.
    Mul(Rc<Node>, Rc<Node>),
    /// Quotient.
    Div(Rc<Node>, Rc<Node>),
    /// Sum of several.
    Sum(Vec<Rc<Node>>),
    /// Square root.
    Sqrt(Rc<Node>),
    /// Natural logarithm of a pure number.
    Ln(Rc<Node>),
    /// e to a pure number.
    Exp(Rc<Node>),
    /// Ten to a pure number.
    Ten(Rc<Node>),
    /// One pure number to another.
    Power(Rc<Node>, Rc<Node>),
    /// The smallest of several.
    Min(Vec<Rc<Node>>),
    /// The largest of several.
    Max(Vec<Rc<Node>>),
    /// Rounded to a step.
    Round(Rc<Node>, Rounding),
    /// The same value under a name of its own.
    Same(Rc<Node>),
    /// Found by iteration: the equation in words, the inputs, the residual it closed to.
    Solved {
        /// The governing equation.
        equation: String,
        /// What went in.
        inputs: Vec<Rc<Node>>,
        /// What is left of the equation at the result.
        residual: f64,
        /// Iterations.
        iterations: u32,
        /// The equation once more, where it can be written out at the result.
        closing: Option<Closing>,
    },
}

/// An equation written out at its result, as a tree of its own beside the line.
#[derive(Clone, Debug)]
pub struct Closing {
    /// The solved value, as it stands in the equation.
    pub value: Rc<Node>,
    /// What is left of the equation, as a share of what it balances: nothing but the last digits.
    pub left: Rc<Node>,
}

/// Of what an equation balances, this share may be left at its result.
pub const CLOSED: f64 = 1e-8;

/// A rounding that is part of the arithmetic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rounding {
    /// Which way.
    pub way: Way,
    /// To multiples of this, SI.
    pub step: f64,
    /// The unit to name the step in.
    pub unit: &'static Unit,
}

/// Which way a value is rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Never up.
    Down,
    /// Never down.
    Up,
}

fn node(expr: Expr, si: f64) -> Rc<Node> {
    Rc::new(Node { name: None, expr, si, cited: Vec::new(), remarks: Vec::new() })
}

impl<Q: Si> Figure<Q> {
    fn wrap(node: Rc<Node>) -> Self {
        Self { node, quantity: PhantomData }
    }

    /// A line of a book as a figure again.
    pub(super) fn of_node(node: &Rc<Node>) -> Self {
        Self::wrap(Rc::clone(node))
    }

    /// A value with its source. `symbol` as in [`Name::symbol`].
    pub fn leaf(value: Q, symbol: &str, title: &str, unit: &'static Unit, source: Source) -> Self {
        let leaf = Expr::Leaf { symbol: symbol.to_owned(), title: title.to_owned(), unit, source };
        Self::wrap(node(leaf, value.si()))
    }

    /// A value that a person wrote: `place` is `site file, line 14` or `log line 9`.
    pub fn stated(value: Q, symbol: &str, title: &str, unit: &'static Unit, place: &str) -> Self {
        Self::leaf(value, symbol, title, unit, Source::Stated(place.to_owned()))
    }

    /// A constant or a limit.
    pub fn cited(number: f64, symbol: &str, title: &str, unit: &'static Unit, citation: &'static Citation) -> Self {
        Self::leaf(Q::from_si(unit.si(number)), symbol, title, unit, Source::Cited(citation))
    }

    /// A whole number of the plan's own making.
    pub fn counted(number: f64, symbol: &str, title: &str, unit: &'static Unit) -> Self {
        Self::leaf(Q::from_si(unit.si(number)), symbol, title, unit, Source::Counted)
    }

    /// The value.
    #[must_use]
    pub fn value(&self) -> Q {
        Q::from_si(self.node.si)
    }

    /// The value in SI base units.
    #[must_use]
    pub fn si(&self) -> f64 {
        self.node.si
    }

    /// The value as a number of a unit.
    #[must_use]
    pub fn in_unit(&self, unit: &Unit) -> f64 {
        unit.of(self.node.si)
    }

    /// The tree.
    #[must_use]
    pub fn node(&self) -> &Rc<Node> {
        &self.node
    }

    /// Its id, if it has a line of its own.
    #[must_use]
    pub fn id(&self) -> Option<&str> {
        self.node.name.as_ref().map(|n| n.id.as_str())
    }

    /// Gives the figure a line of its own.
    #[must_use]
    pub fn named(&self, id: impl Into<String>, title: &str, symbol: &str, unit: &'static Unit) -> Self {
        let name = Name { id: id.into(), title: title.to_owned(), symbol: symbol.to_owned(), unit };
        let unnamed = self.node.name.is_none() && !matches!(self.node.expr, Expr::Leaf { .. });
        let (expr, cited, remarks) = if unnamed {
            (shallow(&self.node.expr), self.node.cited.clone(), self.node.remarks.clone())
        } else {
            (Expr::Same(Rc::clone(&self.node)), Vec::new(), Vec::new())
        };
        Self::wrap(Rc::new(Node { name: Some(name), expr, si: self.node.si, cited, remarks }))
    }

    /// The same figure under another symbol, where one formula serves several quantities.
    #[must_use]
    pub fn called(&self, symbol: &str) -> Self {
        self.touched(|n| match (&mut n.name, &mut n.expr) {
            (Some(name), _) => symbol.clone_into(&mut name.symbol),
            (None, Expr::Leaf { symbol: own, .. }) => symbol.clone_into(own),
            _ => {}
        })
    }

    /// Adds a source that belongs to the formula itself.
    #[must_use]
    pub fn from_source(&self, citation: &'static Citation) -> Self {
        self.touched(|n| n.cited.push(citation))
    }

    /// Adds a remark to the figure's line.
    #[must_use]
    pub fn remark(&self, words: impl Into<String>) -> Self {
        self.touched(|n| n.remarks.push(words.into()))
    }

    fn touched(&self, change: impl FnOnce(&mut Node)) -> Self {
        let mut copy = Node {
            name: self.node.name.clone(),
            expr: shallow(&self.node.expr),
            si: self.node.si,
            cited: self.node.cited.clone(),
            remarks: self.node.remarks.clone(),
        };
        change(&mut copy);
        Self::wrap(Rc::new(copy))
    }

    /// The same number as another quantity, where a name changes its meaning but not its value (an amount of charge
    /// counted per litre is a carbonate hardness).
    #[must_use]
    pub fn meaning<R: Si>(&self) -> Figure<R> {
        Figure::wrap(Rc::clone(&self.node))
    }

    /// Rounded to a multiple of `step` units, never the wrong way. A value within 1e-9 of a multiple stays on it.
    #[must_use]
    pub fn rounded(&self, way: Way, step: f64, unit: &'static Unit) -> Self {
        let steps = self.node.si / (step * unit.size);
        let near = libm::round(steps);
        let whole = if (steps - near).abs() < 1e-9 * near.abs().max(1.0) {
            near
        } else {
            match way {
                Way::Down => libm::floor(steps),
                Way::Up => libm::ceil(steps),
            }
        };
        let rounding = Rounding { way, step: step * unit.size, unit };
        Self::wrap(node(Expr::Round(Rc::clone(&self.node), rounding), whole * step * unit.size))
    }

    /// A result found by iteration outside the tree.
    pub fn solved(value: Q, equation: &str, inputs: Vec<Rc<Node>>, residual: f64, iterations: u32) -> Self {
        let solved = Expr::Solved { equation: equation.to_owned(), inputs, residual, iterations, closing: None };
        Self::wrap(node(solved, value.si()))
    }

    /// Whether its equation is written out over its value.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        matches!(self.node.expr, Expr::Solved { closing: Some(_), .. })
    }

    /// Writes the equation of a solved value out over the value: `left` is what is left of it, as a share. One that is not
    /// closed by the result is another equation than was solved, and is left out.
    #[must_use]
    pub fn closing(&self, left: impl FnOnce(&Figure<Ratio>) -> Figure<Ratio>) -> Self {
        let left = left(&self.meaning());
        if left.si().is_nan() || left.si().abs() > CLOSED {
            return self.clone();
        }
        self.touched(|node| {
            if let Expr::Solved { closing, .. } = &mut node.expr {
                *closing = Some(Closing { value: Rc::clone(&self.node), left: left.node });
            }
        })
    }
}

/// A copy of an expression that shares its operands.
fn shallow(expr: &Expr) -> Expr {
    mapped(expr, &mut Rc::clone)
}

/// A copy of an expression over other operands.
pub(super) fn mapped(expr: &Expr, to: &mut dyn FnMut(&Rc<Node>) -> Rc<Node>) -> Expr {
    let all = |list: &[Rc<Node>], to: &mut dyn FnMut(&Rc<Node>) -> Rc<Node>| list.iter().map(to).collect();
    match expr {
        Expr::Leaf { symbol, title, unit, source } => {
            Expr::Leaf { symbol: symbol.clone(), title: title.clone(), unit, source: source.clone() }
        }
        Expr::Add(a, b) => Expr::Add(to(a), to(b)),
        Expr::Sub(a, b) => Expr::Sub(to(a), to(b)),
        Expr::Mul(a, b) => Expr::Mul(to(a), to(b)),
        Expr::Div(a, b) => Expr::Div(to(a), to(b)),
        Expr::Sum(list) => Expr::Sum(all(list, to)),
        Expr::Sqrt(a) => Expr::Sqrt(to(a)),
        Expr::Ln(a) => Expr::Ln(to(a)),
        Expr::Exp(a) => Expr::Exp(to(a)),
        Expr::Ten(a) => Expr::Ten(to(a)),
        Expr::Power(a, b) => Expr::Power(to(a), to(b)),
        Expr::Min(list) => Expr::Min(all(list, to)),
        Expr::Max(list) => Expr::Max(all(list, to)),
        Expr::Round(a, rounding) => Expr::Round(to(a), *rounding),
        Expr::Same(a) => Expr::Same(to(a)),
        Expr::Solved { equation, inputs, residual, iterations, closing } => Expr::Solved {
            equation: equation.clone(),
            inputs: all(inputs, to),
            residual: *residual,
            iterations: *iterations,
            closing: closing.clone(),
        },
    }
}

macro_rules! operator {
    ($trait:ident, $method:ident, $variant:ident, $op:tt) => {
        impl<A, B> $trait<&Figure<B>> for &Figure<A>
        where
            A: Si + $trait<B>,
            B: Si,
            <A as $trait<B>>::Output: Si,
        {
            type Output = Figure<<A as $trait<B>>::Output>;
            fn $method(self, other: &Figure<B>) -> Self::Output {
                let value = self.value() $op other.value();
                Figure::wrap(node(Expr::$variant(Rc::clone(&self.node), Rc::clone(&other.node)), value.si()))
            }
        }
        impl<A, B> $trait<Figure<B>> for Figure<A>
        where
            A: Si + $trait<B>,
            B: Si,
            <A as $trait<B>>::Output: Si,
        {
            type Output = Figure<<A as $trait<B>>::Output>;
            fn $method(self, other: Figure<B>) -> Self::Output {
                &self $op &other
            }
        }
        impl<A, B> $trait<&Figure<B>> for Figure<A>
        where
            A: Si + $trait<B>,
            B: Si,
            <A as $trait<B>>::Output: Si,
        {
            type Output = Figure<<A as $trait<B>>::Output>;
            fn $method(self, other: &Figure<B>) -> Self::Output {
                &self $op other
            }
        }
        impl<A, B> $trait<Figure<B>> for &Figure<A>
        where
            A: Si + $trait<B>,
            B: Si,
            <A as $trait<B>>::Output: Si,
        {
            type Output = Figure<<A as $trait<B>>::Output>;
            fn $method(self, other: Figure<B>) -> Self::Output {
                self $op &other
            }
        }
    };
}
operator!(Add, add, Add, +);
operator!(Sub, sub, Sub, -);
operator!(Mul, mul, Mul, *);
operator!(Div, div, Div, /);

impl Figure<Ratio> {
    fn unary(&self, make: fn(Rc<Node>) -> Expr, value: f64) -> Self {
        Self::wrap(node(make(Rc::clone(&self.node)), value))
    }

    /// Square root of a pure number.
    #[must_use]
    pub fn sqrt(&self) -> Self {
        self.unary(Expr::Sqrt, libm::sqrt(self.si()))
    }

    /// Natural logarithm.
    #[must_use]
    pub fn ln(&self) -> Self {
        self.unary(Expr::Ln, libm::log(self.si()))
    }

    /// e to this.
    #[must_use]
    pub fn exp(&self) -> Self {
        self.unary(Expr::Exp, libm::exp(self.si()))
    }

    /// Ten to this.
    #[must_use]
    pub fn ten(&self) -> Self {
        self.unary(Expr::Ten, libm::pow(10.0, self.si()))
    }

    /// This to the power of another.
    #[must_use]
    pub fn power(&self, exponent: &Figure<Ratio>) -> Self {
        let value = libm::pow(self.si(), exponent.si());
        Self::wrap(node(Expr::Power(Rc::clone(&self.node), Rc::clone(&exponent.node)), value))
    }
}

fn nodes<Q: Si>(figures: &[Figure<Q>]) -> Vec<Rc<Node>> {
    figures.iter().map(|f| Rc::clone(&f.node)).collect()
}

/// The sum of several; zero of none.
pub fn sum<Q: Si>(figures: &[Figure<Q>]) -> Figure<Q> {
    Figure::wrap(node(Expr::Sum(nodes(figures)), figures.iter().map(Figure::si).sum()))
}

/// The smallest of several, or `None` of none.
pub fn minimum<Q: Si>(figures: &[Figure<Q>]) -> Option<Figure<Q>> {
    let value = figures.iter().map(Figure::si).reduce(f64::min)?;
    Some(Figure::wrap(node(Expr::Min(nodes(figures)), value)))
}

/// The largest of several, or `None` of none.
pub fn maximum<Q: Si>(figures: &[Figure<Q>]) -> Option<Figure<Q>> {
    let value = figures.iter().map(Figure::si).reduce(f64::max)?;
    Some(Figure::wrap(node(Expr::Max(nodes(figures)), value)))
}
