//! Constants, limits and substances, each with its citation in the same row.
//!
//! Ids such as `CU-21` are rows of the project's table of published values; the citation carries the words to print.

mod algae;
mod causes;
pub mod chemistry;
mod citations;
mod limits;
mod substances;

pub use algae::*;
pub use causes::*;
pub use citations::*;
pub use limits::*;
pub use substances::*;

/// How well a number is founded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Status {
    /// Read in the document named, or in a general-purpose reference library.
    Sourced,
    /// Plain arithmetic from definitions.
    Derived,
    /// A rule of the trade without a source.
    CommonPractice,
    /// A remembered value; the text was not seen.
    FromMemory,
}

impl Status {
    /// The word printed beside a figure.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Status::Sourced => "sourced",
            Status::Derived => "derived",
            Status::CommonPractice => "common practice",
            Status::FromMemory => "from memory",
        }
    }
}

/// Where a number comes from.
#[derive(Debug, PartialEq, Eq)]
pub struct Citation {
    /// Row id in the table of published values, or a name of our own for common practice.
    pub id: &'static str,
    /// A few words for the workings.
    pub short: &'static str,
    /// The full reference for the list of sources.
    pub full: &'static str,
    /// How well founded.
    pub status: Status,
}
