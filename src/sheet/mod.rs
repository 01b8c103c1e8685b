//! The workings as tables: one figure a row as comma-separated values that any spreadsheet opens, and a workbook in which
//! every arithmetic figure is a live formula over named cells.

mod cells;
mod names;
mod restated;
mod text;
mod units;
mod workbook;

use crate::workings::Book;

pub use workbook::{Heading, Limit, xlsx};

/// The head of the table.
const HEAD: [&str; 9] = ["number", "id", "title", "symbols", "keyed", "value", "unit", "status", "citations"];

/// Every line of the book as CSV (RFC 4180), full precision, with a head row.
///
/// # Errors
/// Only what the CSV writer may err with, which on memory is nothing.
pub fn csv(book: &Book) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEAD)?;
    for line in book.lines() {
        let citations: Vec<&str> = line.citations().iter().map(|c| c.id).collect();
        writer.write_record([
            line.number.to_string(),
            line.id.clone(),
            line.title.clone(),
            line.equation_text(),
            line.keyed_text(),
            line.unit.of(line.node.si).to_string(),
            line.unit.symbol.to_owned(),
            line.status.words().to_owned(),
            citations.join(" "),
        ])?;
    }
    let bytes = writer.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
