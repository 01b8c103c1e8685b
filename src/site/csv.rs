//! The grammar of logs and tables: RFC 4180, with the place of every cell. (The `csv` crate tells where a row begins, not a cell.)

use crate::diag::{Diagnostic, Diagnostics, FileId, Span};

/// A cell: its text without quotes, and its place with them.
pub(crate) struct Cell {
    pub text: String,
    pub span: Span,
}

/// A row of cells. Blank lines are no rows.
pub(crate) struct Row {
    pub cells: Vec<Cell>,
    pub span: Span,
    /// Counted from one.
    pub line: usize,
}

/// Splits a text into rows. A quoted cell may hold commas, line breaks and doubled quotes.
pub(super) fn rows(source: &str, file: FileId, complaints: &mut Diagnostics) -> Vec<Row> {
    let mut reader = Rows::new(source, file);
    std::iter::from_fn(|| reader.next_row(complaints)).collect()
}

/// The same, a row at a time.
pub(crate) struct Rows<'s> {
    source: &'s str,
    at: usize,
    line: usize,
    file: FileId,
}

impl<'s> Rows<'s> {
    pub(crate) fn new(source: &'s str, file: FileId) -> Self {
        let at = if source.starts_with('\u{FEFF}') { '\u{FEFF}'.len_utf8() } else { 0 };
        Self { source, at, line: 1, file }
    }
}

impl Rows<'_> {
    /// The next row that is not blank.
    pub(crate) fn next_row(&mut self, complaints: &mut Diagnostics) -> Option<Row> {
        while self.at < self.source.len() {
            let (start, line) = (self.at, self.line);
            let cells = self.row(complaints);
            let end = cells.last().map_or(start, |c| c.span.end);
            let blank = matches!(cells.as_slice(), [only] if only.text.trim().is_empty());
            if !blank {
                return Some(Row { cells, span: Span::new(self.file, start, end), line });
            }
        }
        None
    }

    fn rest(&self) -> &str {
        self.source.get(self.at..).unwrap_or_default()
    }

    /// One row, and the line end behind it.
    fn row(&mut self, complaints: &mut Diagnostics) -> Vec<Cell> {
        let mut cells = Vec::new();
        loop {
            cells.push(self.cell(complaints));
            if self.rest().starts_with(',') {
                self.at += 1;
                continue;
            }
            for end in ["\r\n", "\n", "\r"] {
                if self.rest().starts_with(end) {
                    self.at += end.len();
                    self.line += 1;
                    break;
                }
            }
            return cells;
        }
    }

    fn cell(&mut self, complaints: &mut Diagnostics) -> Cell {
        let start = self.at;
        let padding = self.rest().len() - self.rest().trim_start_matches([' ', '\t']).len();
        if self.rest().get(padding..).is_some_and(|r| r.starts_with('"')) {
            self.at += padding;
            return self.quoted(complaints);
        }
        let len = self.rest().find([',', '\n', '\r']).unwrap_or(self.rest().len());
        let text = self.rest().get(..len).unwrap_or_default().to_owned();
        self.at += len;
        // The mark under a cell should not run into the spaces around it.
        let head = if text.trim().is_empty() { 0 } else { padding };
        let end = start + text.trim_end().len();
        Cell { text, span: Span::new(self.file, start + head, end) }
    }

    fn quoted(&mut self, complaints: &mut Diagnostics) -> Cell {
        let start = self.at;
        self.at += 1;
        let mut text = String::new();
        loop {
            let Some(len) = self.rest().find('"') else {
                complaints.push(
                    Diagnostic::error("open-quote", Span::new(self.file, start, start + 1), "a quote is never closed")
                        .label("the cell that begins here runs to the end of the file")
                        .why("every row after it is swallowed")
                        .hint("close the quote, or write a quote inside a quoted cell twice, as `\"\"`"),
                );
                text.push_str(self.rest());
                self.line += self.rest().matches('\n').count();
                self.at = self.source.len();
                break;
            };
            let part = self.rest().get(..len).unwrap_or_default().to_owned();
            self.line += part.matches('\n').count();
            text.push_str(&part);
            self.at += len + 1;
            if !self.rest().starts_with('"') {
                break;
            }
            text.push('"');
            self.at += 1;
        }
        let end = self.at;
        let stray = self.rest().find([',', '\n', '\r']).unwrap_or(self.rest().len());
        if self.rest().get(..stray).is_some_and(|s| !s.trim().is_empty()) {
            complaints.push(
                Diagnostic::error(
                    "stray-text",
                    Span::new(self.file, end, end + stray),
                    "text stands after a closed quote",
                )
                .label("this is outside the quotes")
                .why("it is not clear whether it belongs to the cell")
                .hint("put the whole cell in quotes, and write a quote inside it twice, as `\"\"`"),
            );
        }
        self.at += stray;
        Cell { text, span: Span::new(self.file, start, end) }
    }
}
