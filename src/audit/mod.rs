//! Opens a finished plan, makes it again from what is inside it, and compares; or holds two plans against each other.
//!
//! A plan is the same bytes for the same input, so [`audit`] reads the site file and the log out of the PDF, plans, sets the
//! pages and writes the file once more. Equal bytes agree in all. Else it says what differs: words as their glyphs stand on
//! the page (never what a file claims that they say), drawings, fonts, attached files, figures, and every other part.
//! [`compare`] takes two plans or site files and says which inputs changed, which figures moved, and through which chain.

mod compare;
mod decisions;
mod figures;
mod finding;
mod input;
mod inside;
mod pages;
mod rebuild;
mod report;

pub use compare::{Comparison, Decided, Group, Side, compare, number, side_of_pdf};
pub use figures::{Cause, Leaf, Moved};
pub use finding::{Finding, Report};
pub use input::Change;
pub use pages::{Slip, SlipKind, slips};
pub use rebuild::{Rebuilt, Tools};
pub use report::{audit, audit_against, roots};

use crate::pdf::read::{self, ReadError};

/// The words of `wanted` that cannot be read on any page of a PDF. White space and no-break spaces count as one.
///
/// # Errors
/// When the PDF cannot be opened.
pub fn not_printed<'w>(pdf: &[u8], wanted: &[&'w str]) -> Result<Vec<&'w str>, ReadError> {
    let text: String = read::text(pdf)?.iter().map(|page| squeezed(page)).collect::<Vec<_>>().join(" ");
    Ok(wanted.iter().copied().filter(|w| !text.contains(&squeezed(w))).collect())
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
