//! Figures that carry their own expression, and the numbered lines made from them.
//!
//! A [`Figure`] is a typed value and the tree that made it. Arithmetic on figures makes the value and its line in one
//! act, so there is no second place where a formula is written. Naming a figure ([`Figure::named`]) gives it a line of
//! its own. A [`Book`] collects the published ones and numbers the lines; [`Line`]s are rendered from the tree.

mod aloud;
mod book;
mod by_hand;
mod dims;
mod figure;
mod json;
mod keyed;
mod second;
mod spoken;
mod term;

pub use book::{Book, Line, Note, Published};
pub use figure::{CLOSED, Closing, Expr, Figure, Name, Node, Rounding, Source, Way, maximum, minimum, sum};
pub use second::{Disagreement, second_opinion, tree_agrees};
pub use spoken::Spoken;
pub use term::Piece;
