//! From bytes to a text: UTF-8, line ends, the byte-order mark, characters that cannot be read.

use crate::diag::{Diagnostic, Diagnostics, FileId, Span, Text};

/// Turns the bytes of a file into a text, and complains about what a text cannot hold.
///
/// A byte-order mark is dropped in silence: spreadsheets write one at the head of a CSV, it carries no meaning, and
/// nobody can see it to take it out. CRLF line ends are kept as they are; both readers take them. Never fails: bytes that
/// are not UTF-8 become U+FFFD in the text, with a complaint for the first of them. What an empty file or a NUL character means
/// is said by [`parse`](super::parse).
#[must_use]
pub fn decode(name: &str, bytes: &[u8], file: FileId) -> (Text, Diagnostics) {
    let mut complaints = Diagnostics::new();
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let words = match std::str::from_utf8(bytes) {
        Ok(words) => words.to_owned(),
        Err(error) => {
            let at = error.valid_up_to();
            complaints.push(not_utf8(bytes, at, file));
            String::from_utf8_lossy(bytes).into_owned()
        }
    };
    (Text { name: name.to_owned(), words }, complaints)
}

/// Complains about an empty text, and about NUL characters. Returns whether there is anything to read.
pub(super) fn readable(text: &Text, file: FileId, complaints: &mut Diagnostics) -> bool {
    if let Some(at) = text.words.find('\0') {
        complaints.push(
            Diagnostic::error("nul-character", Span::new(file, at, at + 1), "a NUL character stands in the text")
                .label("a byte of value zero stands here")
                .why("no editor writes one into a text, so the file may be damaged or may be no text at all")
                .hint("delete the character, or save the file as plain text in UTF-8"),
        );
    }
    let empty = text.words.trim_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}').is_empty();
    if empty {
        complaints.push(
            Diagnostic::error("empty-file", Span::new(file, 0, 0), format!("`{}` is empty", text.name))
                .label("nothing is written here")
                .why("no plan can be made from nothing")
                .hint("`weirbook new FOLDER` writes a site file and a log to fill in"),
        );
    }
    !empty
}

fn not_utf8(bytes: &[u8], at: usize, file: FileId) -> Diagnostic {
    let before = bytes.get(..at).unwrap_or_default();
    let line = before.iter().filter(|b| **b == b'\n').count() + 1;
    let line_text = before.rsplit(|b| *b == b'\n').next().unwrap_or_default();
    let column = String::from_utf8_lossy(line_text).chars().count() + 1;
    let byte = bytes.get(at).copied().unwrap_or_default();
    let hint = if matches!(bytes, [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..]) {
        "the file is UTF-16; save it as UTF-8"
    } else {
        "save the file as UTF-8; spreadsheets call it `CSV UTF-8`"
    };
    Diagnostic::error(
        "not-utf8",
        Span::new(file, at, at + '\u{FFFD}'.len_utf8()),
        format!("line {line}, column {column}: byte `0x{byte:02X}` is not UTF-8"),
    )
    .label("this byte stands for no character")
    .why("signs such as ° and µ would be read as something else")
    .hint(hint)
}
