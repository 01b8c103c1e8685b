//! Opens a finished plan and looks for what should stand in it.
//!
//! A small room: it answers whether amounts a plan must print can be read back out of its pages. Recomputing a PDF from
//! what is embedded in it is not here.

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
