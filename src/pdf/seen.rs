//! What can be seen on a page: its words glyph by glyph with their places, and all else that is drawn. What a file says that
//! it says (`ActualText`) is kept apart.

use std::collections::{BTreeMap, BTreeSet};

use lopdf::content::{Content, Operation};
use lopdf::{Dictionary, Object};

use super::opened::{Opened, plain};
use super::read::{Reading, string};

/// A font as far as reading goes.
#[derive(Clone, Debug)]
pub(super) struct Face {
    pub(super) reading: Reading,
    /// Two bytes a glyph, not one.
    pub(super) wide: bool,
}

/// A word as it is drawn: glyphs without a gap between them.
#[derive(Clone, Debug, PartialEq)]
pub struct Word {
    /// What its glyphs stand for.
    pub text: String,
    /// Where it begins.
    pub x: f32,
    /// Its baseline, from the top of the page.
    pub y: f32,
    /// The size.
    pub size: f32,
    /// What it is painted with.
    pub ink: String,
    /// Its font on this page.
    pub face: String,
    /// The line of the page it stands on, counted from 1 at the top.
    pub line: usize,
}

/// What can be seen on a page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seen {
    /// Its words, in the order in which they are drawn.
    pub words: Vec<Word>,
    /// Its lines, from the top.
    pub lines: Vec<String>,
    /// Everything that is drawn and is no word, as operators.
    pub drawing: Vec<u8>,
    /// What stretches of it claim to say, in the order in which they are drawn.
    pub claims: Vec<String>,
    /// Operators and objects that this program never uses.
    pub foreign: BTreeSet<String>,
    /// Whether its operators could be read to the end.
    pub whole: bool,
}

/// Operators that `write` uses.
const OURS: &[&str] = &[
    "BT", "ET", "Tf", "Tm", "TJ", "rg", "RG", "w", "d", "m", "l", "c", "h", "f", "f*", "s", "S", "q", "Q", "cm", "Do",
    "BDC", "EMC",
];
/// How deep forms may stand in forms.
const DEEPEST: usize = 6;
/// The most words that are read of a page.
const MOST_WORDS: usize = 200_000;
/// Baselines closer than this are one line.
const LINE: f32 = 3.0;
/// A gap of more than this share of the size parts two words.
const GAP: f32 = 0.12;

type Matrix = [f32; 6];

const UNIT: Matrix = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];

/// First `a`, then `b`.
fn times(a: Matrix, b: Matrix) -> Matrix {
    let [a0, a1, a2, a3, a4, a5] = a;
    let [b0, b1, b2, b3, b4, b5] = b;
    [
        a0 * b0 + a1 * b2,
        a0 * b1 + a1 * b3,
        a2 * b0 + a3 * b2,
        a2 * b1 + a3 * b3,
        a4 * b0 + a5 * b2 + b4,
        a4 * b1 + a5 * b3 + b5,
    ]
}

#[derive(Clone)]
struct State {
    to_page: Matrix,
    face: Option<Vec<u8>>,
    size: f32,
    leading: f32,
    ink: String,
}

struct Reader<'a> {
    file: &'a Opened,
    height: f32,
    state: State,
    kept: Vec<State>,
    line_start: Matrix,
    text: Matrix,
    /// Where the next glyph goes on in the same word.
    next: Option<(f32, f32)>,
    seen: Seen,
}

impl Seen {
    pub(super) fn read(file: &Opened, content: &[u8], resources: Option<&Dictionary>, height: f32) -> Seen {
        let state = State { to_page: UNIT, face: None, size: 0.0, leading: 0.0, ink: String::new() };
        let seen = Seen { whole: true, ..Seen::default() };
        let mut reader =
            Reader { file, height, state, kept: Vec::new(), line_start: UNIT, text: UNIT, next: None, seen };
        reader.content(content, resources, 0);
        reader.seen.set_lines();
        reader.seen
    }

    fn set_lines(&mut self) {
        let mut order: Vec<usize> = (0..self.words.len()).collect();
        let place = |words: &[Word], index: usize| words.get(index).map_or((0.0, 0.0), |word| (word.y, word.x));
        order.sort_by(|&a, &b| place(&self.words, a).0.total_cmp(&place(&self.words, b).0));
        let mut rows: Vec<(f32, Vec<usize>)> = Vec::new();
        for index in order {
            let y = place(&self.words, index).0;
            match rows.last_mut() {
                Some((top, row)) if y - *top <= LINE => row.push(index),
                _ => rows.push((y, vec![index])),
            }
        }
        for (number, (_, row)) in (1..).zip(&mut rows) {
            row.sort_by(|&a, &b| place(&self.words, a).1.total_cmp(&place(&self.words, b).1));
            let mut text = String::new();
            for &index in row.iter() {
                if let Some(word) = self.words.get_mut(index) {
                    word.line = number;
                    if !text.is_empty() {
                        text.push(' ');
                    }
                    text.push_str(&word.text);
                }
            }
            self.lines.push(text);
        }
    }
}

fn number(operation: &Operation, n: usize) -> Option<f32> {
    operation.operands.get(n).and_then(|operand| operand.as_float().ok()).filter(|number| number.is_finite())
}

fn matrix(operation: &Operation) -> Option<Matrix> {
    let all: Vec<f32> = (0..6).filter_map(|n| number(operation, n)).collect();
    all.try_into().ok()
}

fn name(operation: &Operation, n: usize) -> Option<&[u8]> {
    operation.operands.get(n).and_then(|operand| operand.as_name().ok())
}

impl Reader<'_> {
    fn content(&mut self, content: &[u8], resources: Option<&Dictionary>, depth: usize) {
        let Ok(content) = Content::decode(content) else {
            self.seen.whole = false;
            return;
        };
        let faces = self.file.faces(resources);
        for operation in &content.operations {
            if self.seen.words.len() > MOST_WORDS {
                self.seen.whole = false;
                return;
            }
            if !OURS.contains(&operation.operator.as_str()) {
                self.seen.foreign.insert(operation.operator.clone());
            }
            if self.text_operator(operation, &faces) {
                continue;
            }
            match operation.operator.as_str() {
                "q" => self.kept.push(self.state.clone()),
                "Q" => {
                    if let Some(state) = self.kept.pop() {
                        self.state = state;
                    }
                }
                "cm" => {
                    if let Some(matrix) = matrix(operation) {
                        self.state.to_page = times(matrix, self.state.to_page);
                    }
                }
                "rg" | "g" | "k" | "sc" | "scn" | "cs" => self.state.ink = told(operation),
                "BDC" => {
                    self.claim(operation);
                    continue;
                }
                "BMC" | "EMC" => continue,
                "Do" => self.object(operation, resources, depth),
                _ => {}
            }
            self.seen.drawing.extend(told(operation).bytes());
            self.seen.drawing.push(b'\n');
        }
    }

    /// Whether this operator was one of text.
    fn text_operator(&mut self, operation: &Operation, faces: &BTreeMap<Vec<u8>, Face>) -> bool {
        match operation.operator.as_str() {
            "BT" => (self.text, self.line_start) = (UNIT, UNIT),
            "ET" => {}
            "Tf" => {
                self.state.face = name(operation, 0).map(<[u8]>::to_vec);
                self.state.size = number(operation, 1).unwrap_or(0.0);
            }
            "TL" => self.state.leading = number(operation, 0).unwrap_or(0.0),
            "Tm" => {
                if let Some(matrix) = matrix(operation) {
                    (self.text, self.line_start) = (matrix, matrix);
                }
            }
            "Td" | "TD" => {
                let (x, y) = (number(operation, 0).unwrap_or(0.0), number(operation, 1).unwrap_or(0.0));
                if operation.operator == "TD" {
                    self.state.leading = -y;
                }
                self.down(x, y);
            }
            "T*" => self.down(0.0, -self.state.leading),
            "Tj" | "TJ" => self.show(operation.operands.first(), faces),
            "'" => {
                self.down(0.0, -self.state.leading);
                self.show(operation.operands.first(), faces);
            }
            "\"" => {
                self.down(0.0, -self.state.leading);
                self.show(operation.operands.get(2), faces);
            }
            "Tc" | "Tw" | "Tz" | "Ts" | "Tr" => {}
            _ => return false,
        }
        true
    }

    fn down(&mut self, x: f32, y: f32) {
        self.line_start = times([1.0, 0.0, 0.0, 1.0, x, y], self.line_start);
        self.text = self.line_start;
    }

    fn show(&mut self, shown: Option<&Object>, faces: &BTreeMap<Vec<u8>, Face>) {
        let items = match shown {
            Some(Object::Array(items)) => items.as_slice(),
            Some(one) => std::slice::from_ref(one),
            None => &[],
        };
        let face = self.state.face.clone();
        let known = face.as_ref().and_then(|face| faces.get(face));
        let face = face.map(|face| String::from_utf8_lossy(&face).into_owned()).unwrap_or_default();
        for item in items {
            if let Ok(offset) = item.as_float() {
                self.advance(-offset * self.state.size / 1000.0);
                continue;
            }
            let Ok(codes) = item.as_str() else { continue };
            let wide = known.is_none_or(|face| face.wide);
            for code in codes.chunks(if wide { 2 } else { 1 }) {
                let code = match *code {
                    [high, low] => u16::from_be_bytes([high, low]),
                    [one] => u16::from(one),
                    _ => 0,
                };
                let text = match known {
                    Some(face) if face.wide || !face.reading.texts.is_empty() => {
                        face.reading.texts.get(&code).map_or("\u{fffd}", String::as_str).to_owned()
                    }
                    _ => char::from_u32(u32::from(code)).unwrap_or('\u{fffd}').to_string(),
                };
                let fallback = if wide { 1000.0 } else { 500.0 };
                let width = known.and_then(|face| face.reading.widths.get(&code)).copied().unwrap_or(fallback);
                self.glyph(&text, &face);
                self.advance(width * self.state.size / 1000.0);
                if let (Some(next), false) = (&mut self.next, text.trim().is_empty()) {
                    let at = times(self.text, self.state.to_page);
                    *next = (at[4], at[5]);
                }
            }
        }
    }

    fn advance(&mut self, by: f32) {
        self.text = times([1.0, 0.0, 0.0, 1.0, by, 0.0], self.text);
    }

    fn glyph(&mut self, text: &str, face: &str) {
        // A glyph that stands for nothing, or for a gap that cannot be seen.
        let visible: String = text.chars().filter(|c| !matches!(c, '\u{200b}' | '\u{2060}' | '\u{feff}')).collect();
        if visible.is_empty() {
            return;
        }
        if visible.trim().is_empty() {
            self.next = None;
            return;
        }
        let at = times(self.text, self.state.to_page);
        let size = self.state.size * at[3].abs().max(at[1].abs());
        let (x, y) = (at[4], at[5]);
        let goes_on = self
            .next
            .is_some_and(|(next_x, next_y)| (y - next_y).abs() < 0.05 && (x - next_x).abs() < GAP * size.max(1.0));
        match self.seen.words.last_mut() {
            Some(word) if goes_on => word.text.push_str(&visible),
            _ => self.seen.words.push(Word {
                text: visible,
                x,
                y: self.height - y,
                size,
                ink: self.state.ink.clone(),
                face: face.to_owned(),
                line: 0,
            }),
        }
        self.next = Some((x, y));
    }

    fn claim(&mut self, operation: &Operation) {
        let Some(properties) = operation.operands.get(1) else { return };
        let Ok(properties) = self.file.follow(properties).as_dict() else {
            // Properties by name: never ours.
            self.seen.foreign.insert("BDC with a name".to_owned());
            return;
        };
        for key in [&b"ActualText"[..], b"Alt", b"E"] {
            if let Some(said) = self.file.entry(properties, key).and_then(|said| said.as_str().ok()) {
                self.seen.claims.push(string(said));
            }
        }
    }

    /// A form is drawn with operators of its own, which this program never does.
    fn object(&mut self, operation: &Operation, resources: Option<&Dictionary>, depth: usize) {
        let found = name(operation, 0).and_then(|name| {
            let listed = self.file.dictionary(resources?, b"XObject")?;
            self.file.entry(listed, name)?.as_stream().ok()
        });
        let Some(stream) = found else { return };
        let image = stream.dict.get(b"Subtype").and_then(Object::as_name).is_ok_and(|kind| kind == b"Image");
        if image {
            return;
        }
        self.seen.foreign.insert("a form".to_owned());
        let Some(content) = plain(stream).filter(|_| depth < DEEPEST) else {
            self.seen.whole = false;
            return;
        };
        let own = self.file.dictionary(&stream.dict, b"Resources");
        let sides: Vec<f32> = self
            .file
            .entry(&stream.dict, b"Matrix")
            .and_then(|matrix| matrix.as_array().ok())
            .into_iter()
            .flatten()
            .filter_map(|side| side.as_float().ok())
            .collect();
        let kept = (self.state.clone(), self.kept.len());
        if let Ok(matrix) = Matrix::try_from(sides) {
            self.state.to_page = times(matrix, self.state.to_page);
        }
        self.content(&content, own.or(resources), depth + 1);
        self.state = kept.0;
        self.kept.truncate(kept.1);
    }
}

/// An operation as words, to be held against another.
fn told(operation: &Operation) -> String {
    let mut out = String::new();
    for operand in &operation.operands {
        match operand {
            Object::Name(name) => out.push_str(&format!("/{}", String::from_utf8_lossy(name))),
            Object::Array(items) => {
                for item in items.iter().filter_map(|item| item.as_float().ok()) {
                    out.push_str(&format!("{item} "));
                }
            }
            other => match other.as_float() {
                Ok(number) => out.push_str(&number.to_string()),
                Err(_) => out.push('?'),
            },
        }
        out.push(' ');
    }
    out.push_str(&operation.operator);
    out
}
