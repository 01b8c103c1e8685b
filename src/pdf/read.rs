//! The words of a PDF file, read back, and the files that travel inside it.

use std::collections::BTreeMap;
use std::fmt;

use lopdf::content::Content;
use lopdf::{Dictionary, Document as File, Object};

/// Why a file could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadError(pub String);

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "not a PDF that can be read: {}", self.0)
    }
}

impl std::error::Error for ReadError {}

impl From<lopdf::Error> for ReadError {
    fn from(error: lopdf::Error) -> Self {
        ReadError(error.to_string())
    }
}

/// A font as far as reading goes.
#[derive(Clone, Debug, Default)]
pub(super) struct Reading {
    pub(super) texts: BTreeMap<u16, String>,
    pub(super) widths: BTreeMap<u16, f32>,
}

/// The words of each page, in the order in which they are drawn. Words are parted by one space; ligatures are undone.
///
/// # Errors
///
/// When the bytes are not a PDF file.
pub fn text(bytes: &[u8]) -> Result<Vec<String>, ReadError> {
    let file = File::load_mem(bytes)?;
    let mut pages = Vec::new();
    for id in file.get_pages().into_values() {
        let mut fonts: BTreeMap<Vec<u8>, Reading> = BTreeMap::new();
        for (name, font) in file.get_page_fonts(id).unwrap_or_default() {
            fonts.insert(name, reading(&file, font));
        }
        let content = Content::decode(&file.get_page_content(id))?;
        pages.push(words(&content, &fonts));
    }
    Ok(pages)
}

/// The attached files: name and bytes, by name.
///
/// # Errors
///
/// When the bytes are not a PDF file.
pub fn attachments(bytes: &[u8]) -> Result<Vec<(String, Vec<u8>)>, ReadError> {
    let file = File::load_mem(bytes)?;
    let mut found = Vec::new();
    for object in file.objects.values() {
        let Ok(specification) = object.as_dict() else { continue };
        if !specification.has_type(b"Filespec") {
            continue;
        }
        let name = specification.get(b"UF").or_else(|_| specification.get(b"F")).and_then(Object::as_str);
        let stream = specification
            .get_deref(b"EF", &file)
            .and_then(Object::as_dict)
            .and_then(|files| files.get_deref(b"F", &file))
            .and_then(Object::as_stream);
        if let (Ok(name), Ok(stream)) = (name, stream) {
            let bytes = stream.get_plain_content().unwrap_or_else(|_| stream.content.clone());
            found.push((string(name), bytes));
        }
    }
    found.sort();
    Ok(found)
}

pub(super) fn string(bytes: &[u8]) -> String {
    match bytes {
        [0xfe, 0xff, rest @ ..] => utf16(rest),
        _ => bytes.iter().map(|&b| char::from(b)).collect(),
    }
}

fn utf16(bytes: &[u8]) -> String {
    let units = bytes.chunks_exact(2).filter_map(|pair| match pair {
        [high, low] => Some(u16::from_be_bytes([*high, *low])),
        _ => None,
    });
    char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER)).collect()
}

pub(super) fn reading(file: &File, font: &Dictionary) -> Reading {
    let mut reading = Reading::default();
    if let Ok(stream) = font.get_deref(b"ToUnicode", file).and_then(Object::as_stream) {
        let map = stream.get_plain_content().unwrap_or_else(|_| stream.content.clone());
        reading.texts = unicode_map(&String::from_utf8_lossy(&map));
    }
    let widths = font
        .get_deref(b"DescendantFonts", file)
        .and_then(Object::as_array)
        .ok()
        .and_then(|fonts| fonts.first())
        .and_then(|font| file.dereference(font).ok())
        .and_then(|(_, font)| font.as_dict().ok())
        .and_then(|font| font.get_deref(b"W", file).ok())
        .and_then(|widths| widths.as_array().ok());
    let mut entries = widths.into_iter().flatten();
    while let (Some(first), Some(second)) = (entries.next(), entries.next()) {
        let Ok(start) = first.as_i64() else { continue };
        if let Ok(list) = second.as_array() {
            for (offset, width) in list.iter().enumerate() {
                if let (Ok(code), Ok(width)) = (u16::try_from(start + offset as i64), width.as_float()) {
                    reading.widths.insert(code, width);
                }
            }
        } else if let (Ok(end), Some(Ok(width))) = (second.as_i64(), entries.next().map(Object::as_float)) {
            for code in start..=end.min(start + 65_535) {
                if let Ok(code) = u16::try_from(code) {
                    reading.widths.insert(code, width);
                }
            }
        }
    }
    reading
}

/// Reads the `bfchar` and `bfrange` parts of a ToUnicode map.
fn unicode_map(map: &str) -> BTreeMap<u16, String> {
    let mut texts = BTreeMap::new();
    let hex = |token: &str| -> Option<Vec<u8>> {
        let digits: String = token.chars().filter(char::is_ascii_hexdigit).collect();
        (0..digits.len() / 2).map(|n| u8::from_str_radix(digits.get(2 * n..2 * n + 2)?, 16).ok()).collect()
    };
    let code = |token: &str| -> Option<u16> {
        match hex(token)?.as_slice() {
            [high, low] => Some(u16::from_be_bytes([*high, *low])),
            [low] => Some(u16::from(*low)),
            _ => None,
        }
    };
    // Tokens in angle brackets, with the words between them.
    let mut tokens: Vec<&str> = Vec::new();
    let mut rest = map;
    while let Some(c) = rest.chars().next() {
        let length = match c {
            '<' => rest.find('>').map_or(rest.len(), |end| end + 1),
            '[' | ']' => 1,
            c if c.is_whitespace() => {
                rest = rest.trim_start();
                continue;
            }
            _ => rest.find(|c: char| c.is_whitespace() || matches!(c, '<' | '[' | ']')).unwrap_or(rest.len()),
        };
        let length = length.max(c.len_utf8());
        tokens.push(rest.get(..length).unwrap_or(rest));
        rest = rest.get(length..).unwrap_or("");
    }
    let mut tokens = tokens.into_iter().peekable();
    while let Some(token) = tokens.next() {
        match token {
            "beginbfchar" => {
                while let Some(from) = tokens.next_if(|token| token.starts_with('<')) {
                    let to = tokens.next_if(|token| token.starts_with('<'));
                    if let (Some(from), Some(to)) = (code(from), to.and_then(hex)) {
                        texts.insert(from, utf16(&to));
                    }
                }
            }
            "beginbfrange" => {
                while let Some(from) = tokens.next_if(|token| token.starts_with('<')) {
                    let Some(end) = tokens.next() else { break };
                    let (Some(from), Some(end)) = (code(from), code(end)) else { break };
                    if tokens.next_if_eq(&"[").is_some() {
                        let mut at = from;
                        while let Some(to) = tokens.next_if(|token| token.starts_with('<')) {
                            if let Some(to) = hex(to) {
                                texts.insert(at, utf16(&to));
                            }
                            at = at.saturating_add(1);
                        }
                        let _ = tokens.next_if_eq(&"]");
                    } else if let Some(to) = tokens.next().and_then(hex) {
                        let text = utf16(&to);
                        for at in from..=end {
                            let mut chars: Vec<char> = text.chars().collect();
                            if let Some(last) = chars.last_mut() {
                                *last = char::from_u32(u32::from(*last) + u32::from(at - from)).unwrap_or(*last);
                            }
                            texts.insert(at, chars.into_iter().collect());
                        }
                    }
                }
            }
            _ => {}
        }
    }
    texts
}

/// Where the next glyph would stand, to tell a gap between words from a change of face inside one.
#[derive(Default)]
struct Pen {
    x: f32,
    y: f32,
    size: f32,
}

fn words(content: &Content, fonts: &BTreeMap<Vec<u8>, Reading>) -> String {
    let mut out = String::new();
    let mut font: Option<&Reading> = None;
    let mut pen = Pen::default();
    for operation in &content.operations {
        let number = |n: usize| operation.operands.get(n).and_then(|operand| operand.as_float().ok());
        match operation.operator.as_str() {
            "Tf" => {
                font = operation.operands.first().and_then(|name| name.as_name().ok()).and_then(|name| fonts.get(name));
                pen.size = number(1).unwrap_or(pen.size);
            }
            "Tm" => {
                if let (Some(x), Some(y)) = (number(4), number(5)) {
                    let same_line = (y - pen.y).abs() < pen.size * 0.5;
                    let gap = x - pen.x;
                    if !(same_line && gap.abs() < pen.size * 0.12) {
                        out.push(' ');
                    }
                    (pen.x, pen.y) = (x, y);
                }
            }
            "Td" | "TD" | "T*" | "'" | "\"" => out.push(' '),
            "TJ" | "Tj" => {
                let items = match operation.operands.first() {
                    Some(Object::Array(items)) => items.as_slice(),
                    Some(_) => operation.operands.get(..1).unwrap_or(&[]),
                    None => &[],
                };
                for item in items {
                    if let Ok(codes) = item.as_str() {
                        for pair in codes.chunks_exact(2) {
                            let [high, low] = pair else { continue };
                            let code = u16::from_be_bytes([*high, *low]);
                            if let Some(font) = font {
                                out.push_str(font.texts.get(&code).map_or("\u{fffd}", String::as_str));
                                pen.x += font.widths.get(&code).unwrap_or(&1000.0) * pen.size / 1000.0;
                            }
                        }
                    } else if let Ok(offset) = item.as_float() {
                        pen.x -= offset * pen.size / 1000.0;
                    }
                }
            }
            _ => {}
        }
    }
    let words: Vec<&str> = out.split([' ', '\n', '\u{200b}']).filter(|word| !word.is_empty()).collect();
    words.join(" ")
}
