//! Inlines to lines: words are shaped, breaks are chosen over the whole paragraph, and every line knows its width.

use std::cell::RefCell;
use std::hash::{Hash as _, Hasher as _};
use std::rc::Rc;

use hypher::{Lang, hyphenate_bounded};
use rustc_hash::{FxHashMap, FxHasher};
use unicode_linebreak::{BreakOpportunity, linebreaks};

use crate::page::display::{Bounds, Glyph, Run, Target};
use crate::page::fonts::{Figures, Fonts, Shaped, Shaper};
use crate::page::{Drawing, Face, Ink, Inline};

/// How a paragraph is set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    pub(super) regular: Face,
    pub(super) strong: Face,
    pub(super) emph: Face,
    pub(super) size: f32,
    /// Size of strong runs where it differs.
    pub(super) strong_size: f32,
    pub(super) leading: f32,
    pub(super) ink: Ink,
    pub(super) figures: Figures,
    /// Side of a box to tick.
    pub(super) tick: f32,
    /// How much wider than the face's own the spaces are drawn.
    pub(super) space: f32,
    /// Ink of strong runs where it differs.
    pub(super) strong_ink: Option<Ink>,
    /// Whether words may be divided at the end of a line.
    pub(super) hyphens: bool,
}

impl Look {
    pub(super) const fn sans(size: f32, leading: f32) -> Look {
        Look {
            regular: Face::Sans,
            strong: Face::SansSemibold,
            emph: Face::SansItalic,
            size,
            strong_size: size,
            leading,
            ink: Ink::Ink,
            figures: Figures::Tabular,
            tick: 8.5,
            space: 1.0,
            strong_ink: None,
            hyphens: false,
        }
    }

    pub(super) const fn serif(size: f32, leading: f32) -> Look {
        Look { regular: Face::Serif, strong: Face::SerifSemibold, emph: Face::SerifItalic, ..Look::sans(size, leading) }
    }

    pub(super) const fn ink(self, ink: Ink) -> Look {
        Look { ink, ..self }
    }

    pub(super) const fn faces(self, regular: Face, strong: Face, emph: Face) -> Look {
        Look { regular, strong, emph, ..self }
    }

    pub(super) const fn proportional(self) -> Look {
        Look { figures: Figures::Proportional, ..self }
    }

    pub(super) const fn hyphenated(self) -> Look {
        Look { hyphens: true, ..self }
    }

    /// The baseline below the top of a line of this leading.
    pub(super) fn baseline(&self) -> f32 {
        baseline(self.leading)
    }
}

/// The baseline stands at this height in a line, so that all faces of one leading share it.
pub(super) fn baseline(leading: f32) -> f32 {
    leading * (9.5 / 13.0)
}

/// The look of one stretch of text.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Style {
    face: Face,
    size: f32,
    ink: Ink,
    rise: f32,
    figures: Figures,
    space: f32,
}

impl Style {
    fn of(look: &Look) -> Style {
        Style {
            face: look.regular,
            size: look.size,
            ink: look.ink,
            rise: 0.0,
            figures: look.figures,
            space: look.space,
        }
    }
}

/// Where a stretch of text leads.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Lead {
    pub(super) target: Target,
    pub(super) description: String,
}

#[derive(Debug, PartialEq)]
enum Bit {
    Text { style: Style, link: Option<usize> },
    Tick,
    Drawing(Rc<Drawing>),
    Break,
}

/// One line, with its baseline at y = 0 and its start at x = 0.
#[derive(Clone, Debug, Default)]
pub(super) struct SetLine {
    pub(super) runs: Vec<(Run, Option<usize>)>,
    pub(super) width: f32,
    pub(super) marks: Vec<u32>,
    /// Squares to tick: left edge and side.
    pub(super) ticks: Vec<(f32, f32)>,
    pub(super) drawings: Vec<(f32, Rc<Drawing>)>,
}

/// A paragraph cut into lines.
#[derive(Clone, Debug, Default)]
pub(super) struct SetText {
    pub(super) lines: Vec<SetLine>,
    pub(super) links: Vec<Lead>,
    /// By how much the widest unbreakable part is wider than the column.
    pub(super) too_wide: Option<f32>,
    /// Whether no face has one of its characters.
    pub(super) missing: bool,
}

/// Words in one string, with what each stretch of it looks like.
#[derive(Debug, Default, PartialEq)]
struct Flat {
    text: String,
    bits: Vec<(usize, Bit)>,
    marks: Vec<(usize, u32)>,
    links: Vec<Lead>,
    tick: f32,
    hyphens: bool,
}

impl Flat {
    fn clear(&mut self) {
        self.text.clear();
        self.bits.clear();
        self.marks.clear();
        self.links.clear();
    }
}

/// Raised and lowered text, and numbers of lines in brackets, are no smaller than this.
const SMALLEST_SCRIPT: f32 = 6.0;
const SMALLEST_MARK: f32 = 7.0;

/// Words in place of a reference to a page; the number comes from the pass before.
pub(super) type PageOf<'a> = &'a dyn Fn(&str) -> Option<usize>;

/// Where type is taken from: the faces, and every text of this document that was set before. A text is set again for each
/// pass and measured before it is set in a table; only what differs is done anew.
pub(super) struct Case<'a> {
    pub(super) fonts: &'a Fonts,
    /// Whether words may be divided: the patterns are those of English.
    english: bool,
    ready: RefCell<FxHashMap<u64, Rc<Ready>>>,
    gaps: RefCell<Vec<Gap>>,
    /// Room for the next text, so that one known already needs no memory.
    scratch: RefCell<Flat>,
}

/// A space that is not the face's own.
struct Gap {
    face: Face,
    text: char,
    advance: Option<f32>,
    shaped: Shaped,
}

impl<'a> Case<'a> {
    pub(super) fn new(fonts: &'a Fonts, language: &str) -> Case<'a> {
        let english = language.get(..2).is_some_and(|language| language.eq_ignore_ascii_case("en"));
        Case { fonts, english, ready: RefCell::default(), gaps: RefCell::default(), scratch: RefCell::default() }
    }

    /// A text with its words shaped and the places found where a line may end.
    pub(super) fn ready(&self, inlines: &[Inline], look: &Look, page_of: PageOf<'_>) -> Rc<Ready> {
        let mut flat = self.scratch.take();
        (flat.tick, flat.hyphens) = (look.tick, look.hyphens && self.english);
        flatten(inlines, look, Style::of(look), None, page_of, &mut flat);
        let mut hasher = FxHasher::default();
        flat.text.hash(&mut hasher);
        (look.regular as usize, look.size.to_bits(), flat.bits.len()).hash(&mut hasher);
        let key = hasher.finish();
        if let Some(known) = self.ready.borrow().get(&key).filter(|ready| ready.flat == flat) {
            flat.clear();
            self.scratch.replace(flat);
            return Rc::clone(known);
        }
        let ready = Rc::new(self.prepare(flat));
        self.ready.borrow_mut().insert(key, Rc::clone(&ready));
        ready
    }

    fn prepare(&self, flat: Flat) -> Ready {
        let mut shaper = self.fonts.shaper();
        let spans = self.spans(&flat, &mut shaper);
        let breaks = opportunities(&flat, &spans, &mut shaper);
        let missing = spans.iter().any(|span| match &span.what {
            What::Glyphs { shaped, .. } => shaped.glyphs.iter().any(|glyph| glyph.id == 0),
            _ => false,
        });
        Ready { flat, spans, breaks, missing, set: RefCell::default() }
    }

    fn spans(&self, flat: &Flat, shaper: &mut Shaper<'_>) -> Vec<Span> {
        let mut spans = Spans { list: Vec::with_capacity(flat.text.len() / 3), x: 0.0 };
        for (index, (start, bit)) in flat.bits.iter().enumerate() {
            let end = flat.bits.get(index + 1).map_or(flat.text.len(), |(next, _)| *next);
            match bit {
                Bit::Text { style, link } => self.stretch(flat, (*start, end), *style, *link, shaper, &mut spans),
                Bit::Tick => spans.push(*start, end, flat.tick, What::Tick),
                Bit::Drawing(drawing) => spans.push(*start, end, drawing.width, What::Drawing(Rc::clone(drawing))),
                Bit::Break => {}
            }
        }
        spans.list
    }

    /// Shapes a stretch of one style. A no-break space between a number and its unit is drawn a fifth of an em wide.
    fn stretch(
        &self,
        flat: &Flat,
        (from, to): (usize, usize),
        style: Style,
        link: Option<usize>,
        shaper: &mut Shaper<'_>,
        spans: &mut Spans,
    ) {
        let text = flat.text.get(from..to).unwrap_or("");
        let mut at = from;
        for part in text.split_inclusive(SPACES) {
            let word = part.trim_end_matches(SPACES);
            if !word.is_empty() {
                word_spans(word, at, style, link, shaper, spans);
                at += word.len();
            }
            let Some(c) = part.get(word.len()..).and_then(|space| space.chars().next()) else { continue };
            let shaped = match c {
                ' ' if style.space == 1.0 => shaper.shape(style.face, style.figures, " "),
                ' ' => {
                    let advance = shaper.shape(style.face, style.figures, " ").advance * style.space;
                    self.gap(style.face, ' ', Some(advance), shaper)
                }
                '\u{2009}' => self.gap(style.face, ' ', Some(160.0), shaper),
                _ => {
                    let before = flat.text.get(..at).and_then(|text| text.chars().next_back());
                    let after = flat.text.get(at + c.len_utf8()..).and_then(|text| text.chars().next());
                    let number = before.is_some_and(|c| c.is_ascii_digit());
                    let unit = after.is_some_and(|c| c.is_alphabetic() || matches!(c, '%' | '‰' | '°'));
                    self.gap(style.face, '\u{a0}', (number && unit).then_some(200.0), shaper)
                }
            };
            let end = at + c.len_utf8();
            spans.push(at, end, shaped.advance * style.size / 1000.0, What::Glyphs { style, link, shaped });
            at = end;
        }
    }

    /// A space of another width or another text than the face's own.
    fn gap(&self, face: Face, text: char, advance: Option<f32>, shaper: &mut Shaper<'_>) -> Shaped {
        let mut gaps = self.gaps.borrow_mut();
        let known = gaps.iter().find(|gap| gap.face == face && gap.text == text && gap.advance == advance);
        if let Some(gap) = known {
            return gap.shaped.clone();
        }
        let own = shaper.shape(face, Figures::Tabular, " ");
        let glyph = |glyph: &Glyph| Glyph {
            text: text.encode_utf8(&mut [0; 4]).into(),
            advance: advance.unwrap_or(glyph.advance),
            ..*glyph
        };
        let shaped = Shaped::from(own.glyphs.iter().map(glyph).collect::<Vec<_>>());
        gaps.push(Gap { face, text, advance, shaped: shaped.clone() });
        shaped
    }
}

/// Spaces, each of them set as a stretch of its own.
const SPACES: [char; 4] = [' ', '\u{a0}', '\u{202f}', '\u{2009}'];

fn flatten(inlines: &[Inline], look: &Look, style: Style, link: Option<usize>, page_of: PageOf<'_>, flat: &mut Flat) {
    for inline in inlines {
        match inline {
            Inline::Text(text) => push(flat, text, style, link),
            Inline::Strong(inner) => {
                let size = style.size * look.strong_size / look.size;
                let ink = look.strong_ink.unwrap_or(style.ink);
                let style = Style { face: look.strong, size, ink, space: 1.0, ..style };
                flatten(inner, look, style, link, page_of, flat);
            }
            Inline::Emph(inner) => flatten(inner, look, Style { face: look.emph, ..style }, link, page_of, flat),
            Inline::Sub(inner) | Inline::Sup(inner) => {
                let low = matches!(inline, Inline::Sub(_));
                if let [Inline::Text(text)] = &inner[..]
                    && let Some(real) = shifted(text, low)
                {
                    push(flat, &real, style, link);
                    continue;
                }
                let shift = if low { -0.18 } else { 0.33 };
                // A script of a script stays large enough to read.
                let size = (style.size * 0.7).max(SMALLEST_SCRIPT.min(style.size));
                let style = Style { size, rise: style.rise + style.size * shift, ..style };
                flatten(inner, look, style, link, page_of, flat);
            }
            Inline::Unit(text) => {
                // A wide space parts a name from its unit.
                if !flat.text.is_empty() {
                    push(flat, "\u{a0} ", style, link);
                }
                let style = Style { face: Face::Sans, size: style.size * (8.0 / 9.0), ink: Ink::Quiet, ..style };
                push(flat, text, style, link);
            }
            Inline::Mark(number) => flat.marks.push((flat.text.len(), *number)),
            Inline::InlineMark(number) => {
                let lead = Lead { target: Target::Line(*number), description: format!("line {number}") };
                flat.links.push(lead);
                let link = Some(flat.links.len() - 1);
                let small = (look.size * 0.78).max(SMALLEST_MARK.min(look.size));
                let style = Style { face: Face::SansSemibold, size: small, ink: Ink::Accent, ..style };
                push(flat, &format!("\u{2009}[{number}]"), style, link);
            }
            Inline::PageOf(anchor) => {
                let page = page_of(anchor);
                let words = page.map_or_else(|| "page\u{a0}?".to_owned(), |page| format!("page\u{a0}{}", page + 1));
                let lead = Lead { target: Target::Anchor(anchor.clone()), description: words.replace('\u{a0}', " ") };
                flat.links.push(lead);
                push(flat, &words, style, Some(flat.links.len() - 1));
            }
            Inline::Break => {
                flat.bits.push((flat.text.len(), Bit::Break));
                flat.text.push('\u{2028}');
            }
            Inline::TickBox => {
                flat.bits.push((flat.text.len(), Bit::Tick));
                flat.text.push('\u{fffc}');
            }
            Inline::Drawing(drawing) => {
                flat.bits.push((flat.text.len(), Bit::Drawing(Rc::new((**drawing).clone()))));
                flat.text.push('\u{fffc}');
            }
        }
    }
}

/// The raised or lowered characters for a text, where each has one of its own: drawn for the purpose by the face, and found
/// by a search.
fn shifted(text: &str, low: bool) -> Option<String> {
    const PLAIN: &str = "0123456789+−-=()";
    const RAISED: &str = "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻⁻⁼⁽⁾";
    const LOWERED: &str = "₀₁₂₃₄₅₆₇₈₉₊₋₋₌₍₎";
    let real = if low { LOWERED } else { RAISED };
    text.chars().map(|c| real.chars().nth(PLAIN.chars().position(|plain| plain == c)?)).collect()
}

fn push(flat: &mut Flat, text: &str, style: Style, link: Option<usize>) {
    if text.is_empty() {
        return;
    }
    flat.bits.push((flat.text.len(), Bit::Text { style, link }));
    // Most text stands as it is; it is taken over in stretches between what must be changed.
    let mut spaced = flat.text.is_empty() || flat.text.ends_with([' ', '\u{2028}']);
    let mut number = flat.text.ends_with(|c: char| c.is_ascii_digit());
    let mut from = 0;
    for (at, c) in text.char_indices() {
        let space = match c {
            '!'..='~' => false,
            '\u{a0}' | '\u{2009}' | '\u{202f}' => false,
            '\u{fffc}' | '\u{200b}' => true,
            c => c.is_whitespace() || c.is_control(),
        };
        let bound = space && number && is_unit(text.get(at + c.len_utf8()..).unwrap_or(""));
        if space && (spaced || bound || c != ' ') {
            flat.text.push_str(text.get(from..at).unwrap_or(""));
            if bound {
                flat.text.push('\u{a0}');
            } else if !spaced {
                flat.text.push(' ');
            }
            from = at + c.len_utf8();
        }
        (spaced, number) = (space, c.is_ascii_digit());
    }
    flat.text.push_str(text.get(from..).unwrap_or(""));
}

/// Whether a text starts with a unit of measure: such a one stays with the number before it.
fn is_unit(text: &str) -> bool {
    const UNITS: [&str; 24] = [
        "Ah", "L", "V", "W", "cm", "g", "gallon", "gallons", "h", "kPa", "kg", "lb", "litre", "litres", "m", "mA",
        "mL", "mS", "mg", "min", "mm", "mmol", "mol", "oz",
    ];
    let word = text.split([' ', '\u{a0}', '/', '²', '³']).next().unwrap_or("");
    let word = word.trim_end_matches(['.', ',', ';', ':', ')', '?']);
    word.starts_with(['°', '%', '‰', 'µ']) || UNITS.binary_search(&word).is_ok()
}

/// A stretch of one look: a word or a part of one, or a space, or something that is no text.
#[derive(Debug)]
struct Span {
    /// First byte, and the byte after the last.
    start: usize,
    end: usize,
    /// Left edge on a line without end. In double precision, as a paragraph may be long.
    x: f64,
    width: f32,
    what: What,
}

#[derive(Debug)]
enum What {
    Glyphs { style: Style, link: Option<usize>, shaped: Shaped },
    Tick,
    Drawing(Rc<Drawing>),
}

struct Spans {
    list: Vec<Span>,
    x: f64,
}

impl Spans {
    fn push(&mut self, start: usize, end: usize, width: f32, what: What) {
        self.list.push(Span { start, end, x: self.x, width, what });
        self.x += f64::from(width);
    }
}

/// A place where a line may end.
#[derive(Clone, Copy, Debug)]
struct Break {
    /// The byte after the last that is seen on the line, and the first of the next line.
    until: usize,
    next: usize,
    /// The first span not wholly on the line, and the first of the next line.
    until_span: usize,
    next_span: usize,
    /// Where the line ends, and where on the line without end the next one starts.
    end: f64,
    start: f64,
    kind: Kind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// At a space, or after a sign such as a solidus.
    Free,
    /// Inside a word, with a hyphen.
    Hyphen,
    /// Between two letters, where nothing else helps.
    Cut,
    /// Asked for.
    Forced,
}

/// A word, in another face where its own lacks a character.
fn word_spans(word: &str, at: usize, style: Style, link: Option<usize>, shaper: &mut Shaper<'_>, spans: &mut Spans) {
    let shaped = shaper.shape(style.face, style.figures, word);
    if shaped.glyphs.iter().all(|glyph| glyph.id != 0) {
        let width = shaped.advance * style.size / 1000.0;
        spans.push(at, at + word.len(), width, What::Glyphs { style, link, shaped });
        return;
    }
    let other = Style { face: style.face.substitute(), ..style };
    let mut put = |from: usize, to: usize, style: Style, shaper: &mut Shaper<'_>| {
        if let Some(part) = word.get(from..to).filter(|part| !part.is_empty()) {
            let shaped = shaper.shape(style.face, style.figures, part);
            let width = shaped.advance * style.size / 1000.0;
            spans.push(at + from, at + to, width, What::Glyphs { style, link, shaped });
        }
    };
    let has = |face: Face, c: char, shaper: &mut Shaper<'_>| {
        let glyphs = shaper.shape(face, style.figures, c.encode_utf8(&mut [0; 4]));
        glyphs.glyphs.iter().all(|glyph| glyph.id != 0)
    };
    let (mut from, mut current) = (0, style);
    for (index, c) in word.char_indices() {
        let own = has(style.face, c, shaper) || !has(other.face, c, shaper);
        let wanted = if own { style } else { other };
        if wanted != current {
            put(from, index, current, shaper);
            (from, current) = (index, wanted);
        }
    }
    put(from, word.len(), current, shaper);
}

/// The places where a line may end, first to last; the last is the end of the text.
fn opportunities(flat: &Flat, spans: &[Span], shaper: &mut Shaper<'_>) -> Vec<Break> {
    let text = flat.text.as_str();
    let mut breaks = Vec::with_capacity(spans.len() / 2 + 1);
    if text.is_empty() {
        return breaks;
    }
    let total = spans.last().map_or(0.0, |span| span.x + f64::from(span.width));
    let (mut until_span, mut start) = (0, 0);
    for (next, opportunity) in linebreaks(text) {
        let piece = text.get(start..next).unwrap_or("");
        let until = start + piece.trim_ascii_end().trim_end_matches('\u{2028}').trim_ascii_end().len();
        if next < text.len() && until == next && unwelcome(text.get(..next).unwrap_or("")) {
            continue;
        }
        start = next;
        let forced = opportunity == BreakOpportunity::Mandatory && piece.ends_with('\u{2028}');
        while spans.get(until_span).is_some_and(|span| span.end <= until) {
            until_span += 1;
        }
        let mut next_span = until_span;
        while spans.get(next_span).is_some_and(|span| span.end <= next) {
            next_span += 1;
        }
        let at = |byte: usize, index: usize, shaper: &mut Shaper<'_>, after: bool| match spans.get(index) {
            None => total,
            Some(span) if span.start >= byte => span.x,
            Some(span) => {
                let What::Glyphs { style, .. } = &span.what else { return span.x };
                let part = if after { text.get(byte..span.end) } else { text.get(span.start..byte) };
                let shaped = shaper.shape(style.face, style.figures, part.unwrap_or(""));
                let width = f64::from(shaped.advance * style.size / 1000.0);
                if after { span.x + f64::from(span.width) - width } else { span.x + width }
            }
        };
        breaks.push(Break {
            until,
            next,
            until_span,
            next_span,
            end: at(until, until_span, shaper, false),
            start: at(next, next_span, shaper, true),
            kind: if forced { Kind::Forced } else { Kind::Free },
        });
    }
    breaks
}

/// Whether a line must not end here though the standard's rules would let it: `10-litre` and `mg/L` stay whole.
fn unwelcome(before: &str) -> bool {
    const SHORT: usize = 12;
    let mut tail = before.chars().rev();
    match tail.next() {
        Some('-') => tail.next().is_some_and(|c| c.is_ascii_digit()),
        // A thin space binds what it parts.
        Some('\u{2009}') => true,
        // Addresses are long and may be broken.
        Some('/') => tail.take_while(|c| !c.is_whitespace()).count() < SHORT,
        _ => false,
    }
}

/// A text ready to be cut into lines.
#[derive(Debug)]
pub(super) struct Ready {
    flat: Flat,
    spans: Vec<Span>,
    breaks: Vec<Break>,
    missing: bool,
    /// The lines, with the narrowest and the widest column they are right for.
    set: RefCell<Vec<((f32, f32), SetText)>>,
}

impl Ready {
    /// The width of the text on one line, however long.
    pub(super) fn natural(&self) -> f32 {
        let (mut widest, mut start) = (0.0_f64, 0.0);
        for (index, each) in self.breaks.iter().enumerate() {
            if each.kind == Kind::Forced || index + 1 == self.breaks.len() {
                widest = widest.max(each.end - start);
                start = each.start;
            }
        }
        widest as f32
    }

    /// The width of the widest part that cannot be broken.
    pub(super) fn least(&self) -> f32 {
        let (mut widest, mut start) = (0.0_f64, 0.0);
        for each in &self.breaks {
            widest = widest.max(each.end - start);
            start = each.start;
        }
        widest as f32
    }

    /// Lines of at most `width`.
    pub(super) fn set(&self, case: &Case<'_>, width: f32) -> SetText {
        let known = self.set.borrow();
        if let Some((_, known)) = known.iter().find(|((least, most), _)| (*least..=*most).contains(&width)) {
            return known.clone();
        }
        drop(known);
        let set = self.cut(case, width);
        let natural = self.natural();
        let columns = if width >= natural { (natural, f32::INFINITY) } else { (width, width) };
        self.set.borrow_mut().push((columns, set.clone()));
        set
    }

    fn cut(&self, case: &Case<'_>, width: f32) -> SetText {
        let least = self.least();
        let too_wide = (least > width + TOLERANCE).then_some(least - width);
        let with_cuts;
        let mut breaks = &self.breaks;
        if too_wide.is_some() {
            with_cuts = self.with_cuts(width);
            breaks = &with_cuts;
        }
        let mut ends = if width >= self.natural() { forced(breaks) } else { choose(breaks, width) };
        let with_hyphens;
        if self.flat.hyphens && ragged(breaks, &ends, width) {
            with_hyphens = self.with_hyphens(breaks);
            breaks = &with_hyphens;
            ends = choose(breaks, width);
        }
        let mut text = SetText {
            lines: Vec::with_capacity(ends.len()),
            links: self.flat.links.clone(),
            too_wide,
            missing: self.missing,
        };
        let mut shaper = case.fonts.shaper();
        let mut marks = self.flat.marks.iter().peekable();
        let mut before = None;
        let mut pen = Pen::default();
        let count = ends.len();
        for (index, end) in ends.into_iter().filter_map(|end| breaks.get(end)).enumerate() {
            let last = index + 1 == count;
            let mut line = self.line(before, end, last, &mut shaper, &mut pen);
            while let Some(&(_, number)) = marks.next_if(|(at, _)| *at <= end.next || last) {
                if !line.marks.contains(&number) {
                    line.marks.push(number);
                }
            }
            text.lines.push(line);
            before = Some(end);
        }
        text
    }

    /// The same opportunities, and others between letters wherever a part is wider than its column.
    fn with_cuts(&self, width: f32) -> Vec<Break> {
        let mut breaks = Vec::new();
        let (mut start, mut first) = (0.0, 0);
        for each in &self.breaks {
            if each.end - start > f64::from(width + TOLERANCE) {
                let end = self.spans.len().min(each.until_span + 1);
                let inside = self.spans.get(first..end).unwrap_or(&[]);
                for (index, span) in (first..).zip(inside) {
                    let What::Glyphs { style, shaped, .. } = &span.what else { continue };
                    let (mut x, mut byte) = (span.x, span.start);
                    for glyph in shaped.glyphs.iter() {
                        let advance = f64::from(glyph.advance * style.size / 1000.0);
                        let inner = byte > span.start || x > start;
                        if byte >= each.until {
                            break;
                        }
                        // Letters parted lose their kerning, hence a little room.
                        if inner && !glyph.text.is_empty() && x + advance - start > f64::from(width - 0.05 * style.size)
                        {
                            let cut = Break {
                                until: byte,
                                next: byte,
                                until_span: index,
                                next_span: index,
                                end: x,
                                start: x,
                                kind: Kind::Cut,
                            };
                            breaks.push(cut);
                            start = x;
                        }
                        x += advance;
                        byte += glyph.text.len();
                    }
                }
            }
            breaks.push(*each);
            (start, first) = (each.start, each.next_span);
        }
        breaks
    }

    /// The same opportunities, and others inside long words.
    fn with_hyphens(&self, breaks: &[Break]) -> Vec<Break> {
        const LEAST: usize = 6;
        let mut all = Vec::with_capacity(2 * breaks.len());
        let mut rest = breaks.iter().peekable();
        for (index, span) in self.spans.iter().enumerate() {
            while let Some(each) = rest.next_if(|each| each.until <= span.start) {
                all.push(*each);
            }
            let What::Glyphs { style, shaped, .. } = &span.what else { continue };
            let word = self.flat.text.get(span.start..span.end).unwrap_or("");
            let letters = word.trim_matches(|c: char| !c.is_alphabetic());
            if letters.len() < LEAST || !letters.bytes().all(|b| b.is_ascii_lowercase()) {
                continue;
            }
            let lead = word.len() - word.trim_start_matches(|c: char| !c.is_alphabetic()).len();
            let mut byte = span.start + lead;
            let (mut x, mut measured) = (span.x, span.start);
            let mut glyphs = shaped.glyphs.iter();
            let hyphen = 0.35 * f64::from(style.size);
            for syllable in hyphenate_bounded(letters, Lang::English, 3, 3) {
                if byte > span.start + lead {
                    while measured < byte
                        && let Some(glyph) = glyphs.next()
                    {
                        x += f64::from(glyph.advance * style.size / 1000.0);
                        measured += glyph.text.len();
                    }
                    // Letters parted lose their kerning, hence a little room on both sides.
                    let room = 0.05 * f64::from(style.size);
                    if measured == byte {
                        all.push(Break {
                            until: byte,
                            next: byte,
                            until_span: index,
                            next_span: index,
                            end: x + hyphen + room,
                            start: x - room,
                            kind: Kind::Hyphen,
                        });
                    }
                }
                byte += syllable.len();
            }
        }
        all.extend(rest);
        all
    }

    /// The line between two breaks.
    fn line(&self, before: Option<&Break>, end: &Break, last: bool, shaper: &mut Shaper<'_>, pen: &mut Pen) -> SetLine {
        let (from, first) = before.map_or((0, 0), |before| (before.next, before.next_span));
        let mut line = SetLine::default();
        pen.x = 0.0;
        let spans = self.spans.get(first..).unwrap_or(&[]);
        for span in spans.iter().take_while(|span| span.start < end.until) {
            match &span.what {
                What::Glyphs { style, link, shaped } => {
                    let (a, b) = (span.start.max(from), span.end.min(end.until));
                    if self.flat.text.as_bytes().get(a) == Some(&b' ') {
                        pen.space(&mut line, *style, *link, shaped);
                    } else if (a, b) == (span.start, span.end) {
                        pen.write(&mut line, *style, *link, shaped);
                    } else {
                        let part = self.flat.text.get(a..b).unwrap_or("");
                        let shaped = if b == end.until && end.kind == Kind::Hyphen {
                            divided(part, *style, shaper)
                        } else {
                            shaper.shape(style.face, style.figures, part)
                        };
                        pen.write(&mut line, *style, *link, &shaped);
                    }
                }
                What::Tick => {
                    pen.lift(&mut line);
                    line.ticks.push((pen.x, span.width));
                    pen.x += span.width;
                }
                What::Drawing(drawing) => {
                    pen.lift(&mut line);
                    line.drawings.push((pen.x, Rc::clone(drawing)));
                    pen.x += span.width;
                }
            }
        }
        line.width = pen.x;
        if !last
            && let Some(Span { what: What::Glyphs { style, link, shaped }, start, .. }) = self.spans.get(end.until_span)
            && (end.until..end.next).contains(start)
        {
            // A space at the end is there for those who copy the words; it cannot be seen.
            pen.space(&mut line, *style, *link, shaped);
        }
        pen.lift(&mut line);
        line
    }
}

/// Part of a word with the hyphen that divides it, which stands for no character of the word.
fn divided(part: &str, style: Style, shaper: &mut Shaper<'_>) -> Shaped {
    let shaped = shaper.shape(style.face, style.figures, &format!("{part}-"));
    let mut glyphs = shaped.glyphs.to_vec();
    if let Some(hyphen) = glyphs.last_mut() {
        hyphen.text = "\u{ad}".into();
    }
    Shaped::from(glyphs)
}

/// Lines may be longer than their column by this much, as lengths are not exact.
const TOLERANCE: f32 = 0.01;

/// Cuts a paragraph into lines of at most `width`.
pub(super) fn set(case: &Case<'_>, inlines: &[Inline], look: &Look, width: f32, page_of: PageOf<'_>) -> SetText {
    case.ready(inlines, look, page_of).set(case, width)
}

/// The width of a text on one line, however long.
pub(super) fn natural_width(case: &Case<'_>, inlines: &[Inline], look: &Look, page_of: PageOf<'_>) -> f32 {
    case.ready(inlines, look, page_of).natural()
}

/// The ends of the lines where each has room for all its words.
fn forced(breaks: &[Break]) -> Vec<usize> {
    let count = breaks.len();
    let ends = breaks.iter().enumerate().filter(|(index, each)| each.kind == Kind::Forced || index + 1 == count);
    ends.map(|(index, _)| index).collect()
}

/// Whether words should be divided: a line leaves much room.
fn ragged(breaks: &[Break], ends: &[usize], width: f32) -> bool {
    const MOST: f64 = 0.12;
    let mut start = 0.0;
    let lines = ends.len().saturating_sub(1);
    ends.iter().take(lines).filter_map(|&end| breaks.get(end)).any(|each| {
        let slack = 1.0 - (each.end - start) / f64::from(width);
        start = each.start;
        slack > MOST && each.kind != Kind::Forced
    })
}

/// Chooses the ends of lines for the whole text at once: the fewest lines, then the most even rag.
///
/// As Knuth and Plass (1981, Software: Practice and Experience 11, 1119-1184) have it, the cheapest way to every place where a
/// line may end is kept, and costs are squared so that two lines a little short are better than one very short. Theirs are the
/// costs of justified lines, ours those of a ragged edge; the weights were chosen by looking at pages.
fn choose(breaks: &[Break], width: f32) -> Vec<usize> {
    const LINE: f64 = 1000.0;
    const RAG: f64 = 100.0;
    // More than the worst rag: a short word alone at the end is avoided wherever it can be without another line.
    const LONELY: f64 = 400.0;
    const SHORT: f64 = 0.2;
    const HYPHEN: f64 = 6.0;
    const DIVIDED_END: f64 = 30.0;
    let width = f64::from(width);
    let count = breaks.len();
    // The least cost of the text up to each break, and the break before it.
    let mut best: Vec<(f64, usize)> = vec![(f64::INFINITY, 0); count + 1];
    if let Some(first) = best.first_mut() {
        first.0 = 0.0;
    }
    for from in 0..count {
        let Some(&(so_far, _)) = best.get(from).filter(|best| best.0.is_finite()) else { continue };
        let before = from.checked_sub(1).and_then(|from| breaks.get(from));
        let start = before.map_or(0.0, |before| before.start);
        let divided = before.is_some_and(|before| before.kind == Kind::Hyphen);
        let mut words = 0;
        for (to, each) in breaks.iter().enumerate().skip(from) {
            let length = each.end - start;
            if length > width + f64::from(TOLERANCE) && to > from {
                break;
            }
            let last = to + 1 == count || each.kind == Kind::Forced;
            words += usize::from(matches!(each.kind, Kind::Free | Kind::Forced));
            let slack = (1.0 - length / width).max(0.0);
            let mut cost = so_far + LINE;
            if !last {
                cost += slack * slack * RAG;
            } else if words == 1 && before.is_some_and(|before| before.kind != Kind::Forced) && slack > 1.0 - SHORT {
                cost += LONELY;
            }
            if each.kind == Kind::Hyphen {
                cost += if divided { 4.0 * HYPHEN } else { HYPHEN };
            }
            if last && divided {
                cost += DIVIDED_END;
            }
            if let Some(slot) = best.get_mut(to + 1)
                && cost < slot.0
            {
                *slot = (cost, from);
            }
            if each.kind == Kind::Forced {
                break;
            }
        }
    }
    let mut ends = Vec::new();
    let mut at = count;
    while at > 0 {
        ends.push(at - 1);
        at = best.get(at).map_or(0, |best| best.1).min(at - 1);
    }
    ends.reverse();
    ends
}

/// Writes runs on a line.
#[derive(Default)]
struct Pen {
    x: f32,
    run: Option<OpenRun>,
    /// The glyphs of the open run from its second word on, with those of the first.
    glyphs: Vec<Glyph>,
}

/// A run that may go on.
struct OpenRun {
    style: Style,
    link: Option<usize>,
    x: f32,
    width: f32,
    /// Its glyphs as long as it is one word.
    word: Shaped,
}

impl Pen {
    fn write(&mut self, line: &mut SetLine, style: Style, link: Option<usize>, shaped: &Shaped) {
        self.space(line, style, link, shaped);
        if let Some(run) = &mut self.run {
            run.width = self.x - run.x;
        }
    }

    /// As `write`, but what is written does not count as part of the line that is seen unless something follows.
    fn space(&mut self, line: &mut SetLine, style: Style, link: Option<usize>, shaped: &Shaped) {
        match &self.run {
            Some(run) if run.link == link && run.style == style => {
                if self.glyphs.is_empty() {
                    self.glyphs.extend_from_slice(&run.word.glyphs);
                }
                self.glyphs.extend_from_slice(&shaped.glyphs);
            }
            _ => {
                self.lift(line);
                self.run = Some(OpenRun { style, link, x: self.x, width: 0.0, word: shaped.clone() });
            }
        }
        self.x += shaped.advance * style.size / 1000.0;
    }

    fn lift(&mut self, line: &mut SetLine) {
        let Some(OpenRun { style, link, x, width, word }) = self.run.take() else { return };
        let glyphs = if self.glyphs.is_empty() { word.glyphs } else { self.glyphs.drain(..).collect() };
        let (face, size, ink) = (style.face, style.size, style.ink);
        let run = Run { face, size, ink, x, y: -style.rise, width, frame: Bounds::default(), glyphs };
        line.runs.push((run, link));
    }
}
