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
        Err(_) => String::from_utf8_lossy(bytes).into_owned(),
    };
    let text = Text { name: name.to_owned(), words };
    // What is no text at all is said once, by `parse`.
    if let (Err(error), None) = (std::str::from_utf8(bytes), mistaken(&text, file)) {
        complaints.push(not_utf8(bytes, error.valid_up_to(), file));
    }
    (text, complaints)
}

/// The complaint about a file that was taken for another: a log for a site file, a PDF for a text. Every other complaint
/// about it would only hide this one.
#[must_use]
pub fn mistaken(text: &Text, file: FileId) -> Option<Diagnostic> {
    let words = text.words.trim_start();
    let binary = BINARY.iter().find(|(head, _)| words.starts_with(head)).map(|(_, what)| *what);
    let what = match (binary, file) {
        (Some(what), _) => what,
        (None, FileId::SITE) if reads_as_log(words) => "a log of readings",
        (None, FileId::LOG) if reads_as_site(words) => "a site file",
        _ => return None,
    };
    let (wanted, hint) = if file == FileId::SITE {
        let beside = std::path::Path::new(&text.name).with_file_name("site.toml");
        let hint = format!(
            "name the site file, such as `weirbook check {}`; `weirbook new FOLDER` writes one to fill in",
            beside.display()
        );
        ("a site file", hint)
    } else {
        let hint = "write the name of the log into the site file, such as `file = \"log.csv\"` under `[log]`; a spreadsheet saves one as `CSV UTF-8`";
        ("a log of readings", hint.to_owned())
    };
    let length = words.lines().next().unwrap_or_default().len().min(40);
    let start = text.words.len() - words.len();
    let end = (start..=start + length).rev().find(|at| text.words.is_char_boundary(*at)).unwrap_or(start);
    let complaint =
        Diagnostic::error("other-file", Span::new(file, start, end), format!("`{}` is not {wanted}", text.name))
            .label(format!("this is {what}"))
            .why(format!("{wanted} is wanted here"))
            .hint(hint);
    Some(complaint)
}

/// How files that are no texts begin, read as if they were.
const BINARY: [(&str, &str); 9] = [
    ("%PDF-", "a PDF"),
    ("PK\u{3}\u{4}", "a spreadsheet, or another packed file"),
    ("\u{FFFD}PNG", "a picture"),
    ("\u{FFFD}\u{FFFD}\u{FFFD}\u{FFFD}\0\u{10}JFIF", "a picture"),
    ("\u{FFFD}\u{FFFD}\u{11}\u{FFFD}\u{FFFD}\u{1A}\u{FFFD}", "an old office document"),
    ("<!DOCTYPE", "a web page"),
    ("<html", "a web page"),
    ("<svg", "a drawing"),
    ("<?xml", "an XML file, perhaps a drawing"),
];

/// Whether a text begins as a log does: a head of cells, `date` among them.
fn reads_as_log(words: &str) -> bool {
    let head = words.lines().next().unwrap_or_default();
    let cell = |cell: &str| cell.trim().trim_matches('"').eq_ignore_ascii_case("date");
    !head.contains('=') && head.contains([',', ';', '\t']) && head.split([',', ';', '\t']).any(cell)
}

/// Whether a text begins as a site file does: a part in brackets, or a key.
fn reads_as_site(words: &str) -> bool {
    let mut lines = words.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#'));
    let head = lines.next().unwrap_or_default();
    let part = |line: &str| line.starts_with('[') && line.ends_with(']') && !line.contains(',');
    let key = |line: &str| {
        line.split_once('=').is_some_and(|(key, _)| {
            let key = key.trim();
            !key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
        })
    };
    part(head) || (key(head) && lines.any(part))
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
                .hint(if file == FileId::WEATHER {
                    "the first line names the columns: `date,max temperature [°C],min temperature [°C],rain [mm]`"
                } else {
                    "`weirbook new FOLDER` writes a site file and a log to fill in"
                }),
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
