//! Inlines to lines: words are shaped, breaks are chosen over the whole paragraph, and every line knows its width.

use std::collections::VecDeque;
use std::sync::Arc;

use unicode_linebreak::{BreakOpportunity, linebreaks};

use crate::page::display::{Bounds, Glyph, Run, Target};
use crate::page::fonts::{Figures, Fonts, Shaped};
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

enum Bit {
    Text { style: Style, link: Option<usize> },
    Tick,
    Drawing(Drawing),
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
    pub(super) drawings: Vec<(f32, Drawing)>,
}

/// A paragraph cut into lines.
#[derive(Clone, Debug, Default)]
pub(super) struct SetText {
    pub(super) lines: Vec<SetLine>,
    pub(super) links: Vec<Lead>,
    /// By how much the widest unbreakable part is wider than the column.
    pub(super) too_wide: Option<f32>,
}

struct Flat {
    text: String,
    bits: Vec<(usize, Bit)>,
    marks: Vec<(usize, u32)>,
    links: Vec<Lead>,
}

/// Raised and lowered text, and numbers of lines in brackets, are no smaller than this.
const SMALLEST_SCRIPT: f32 = 6.0;
const SMALLEST_MARK: f32 = 7.0;

/// Words in place of a reference to a page; the number comes from the pass before.
pub(super) type PageOf<'a> = &'a dyn Fn(&str) -> Option<usize>;

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
                let shift = if matches!(inline, Inline::Sub(_)) { -0.18 } else { 0.33 };
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
                flat.bits.push((flat.text.len(), Bit::Drawing((**drawing).clone())));
                flat.text.push('\u{fffc}');
            }
        }
    }
}

fn push(flat: &mut Flat, text: &str, style: Style, link: Option<usize>) {
    if text.is_empty() {
        return;
    }
    flat.bits.push((flat.text.len(), Bit::Text { style, link }));
    for c in text.chars() {
        let c = match c {
            '\u{2028}' | '\u{2029}' | '\u{fffc}' | '\u{200b}' => ' ',
            c if c.is_whitespace() && !matches!(c, '\u{a0}' | '\u{2009}' | '\u{202f}') => ' ',
            c if c.is_control() => ' ',
            c => c,
        };
        if c != ' ' || !(flat.text.is_empty() || flat.text.ends_with([' ', '\u{2028}'])) {
            flat.text.push(c);
        }
    }
}

/// A stretch that is never broken, with the space after it.
#[derive(Default)]
struct Segment {
    parts: Vec<Part>,
    width: f32,
    space: Option<(Style, f32, Option<usize>)>,
    end: usize,
    forced: bool,
}

enum Part {
    Glyphs { style: Style, link: Option<usize>, shaped: Arc<Shaped> },
    Tick(f32),
    Drawing(Drawing),
}

impl Part {
    fn width(&self) -> f32 {
        match self {
            Part::Glyphs { style, shaped, .. } => shaped.advance * style.size / 1000.0,
            Part::Tick(side) => *side,
            Part::Drawing(drawing) => drawing.width,
        }
    }
}

/// Cuts a paragraph into lines of at most `width`.
pub(super) fn set(fonts: &Fonts, inlines: &[Inline], look: &Look, width: f32, page_of: PageOf<'_>) -> SetText {
    let (parts, flat) = segments(fonts, inlines, look, page_of);
    let mut too_wide = None;
    let mut segments = Vec::new();
    for segment in parts {
        if segment.width > width + 0.01 {
            too_wide = Some(segment.width - width);
            split(segment, width, &mut segments);
        } else {
            segments.push(segment);
        }
    }
    let mut text = SetText { lines: Vec::new(), links: flat.links, too_wide };
    let ends = breaks(&segments, width);
    let mut segments: VecDeque<Segment> = segments.into();
    let mut marks: VecDeque<(usize, u32)> = flat.marks.into();
    let mut from = 0;
    let count = ends.len();
    for (index, end) in ends.into_iter().enumerate() {
        let taken: Vec<Segment> = segments.drain(..(end - from).min(segments.len())).collect();
        from = end;
        let stop = taken.last().map_or(0, |segment| segment.end);
        let last = index + 1 == count;
        let mut line = assemble(fonts, taken, last);
        while let Some(&(at, number)) = marks.front() {
            if at > stop && !last {
                break;
            }
            if !line.marks.contains(&number) {
                line.marks.push(number);
            }
            marks.pop_front();
        }
        text.lines.push(line);
    }
    text
}

/// The width of a text on one line, however long.
pub(super) fn natural_width(fonts: &Fonts, inlines: &[Inline], look: &Look, page_of: PageOf<'_>) -> f32 {
    let (mut widest, mut line, mut space) = (0.0_f32, 0.0, 0.0);
    for segment in segments(fonts, inlines, look, page_of).0 {
        line += space + segment.width;
        widest = widest.max(line);
        space = segment.space.as_ref().map_or(0.0, |space| space.1);
        if segment.forced {
            (line, space) = (0.0, 0.0);
        }
    }
    widest
}

/// The width of the widest part that cannot be broken.
pub(super) fn least_width(fonts: &Fonts, inlines: &[Inline], look: &Look, page_of: PageOf<'_>) -> f32 {
    let (segments, _) = segments(fonts, inlines, look, page_of);
    segments.iter().fold(0.0, |widest, segment| widest.max(segment.width))
}

/// The unbreakable parts of a text, and its links and marks.
fn segments(fonts: &Fonts, inlines: &[Inline], look: &Look, page_of: PageOf<'_>) -> (Vec<Segment>, Flat) {
    let style = Style::of(look);
    let mut flat = Flat { text: String::new(), bits: Vec::new(), marks: Vec::new(), links: Vec::new() };
    flatten(inlines, look, style, None, page_of, &mut flat);
    (cut(fonts, &flat, look, style), flat)
}

fn cut(fonts: &Fonts, flat: &Flat, look: &Look, style: Style) -> Vec<Segment> {
    let mut segments = Vec::new();
    let mut start = 0;
    for (end, opportunity) in linebreaks(&flat.text) {
        let before = flat.text.get(..end).unwrap_or("");
        if end < flat.text.len() && unwelcome(before) {
            continue;
        }
        let piece = flat.text.get(start..end).unwrap_or("");
        let words = piece.trim_end_matches([' ', '\u{2028}']);
        let mut segment = Segment {
            end,
            forced: opportunity == BreakOpportunity::Mandatory && piece.ends_with('\u{2028}'),
            ..Segment::default()
        };
        fill(fonts, flat, look, start, start + words.len(), &mut segment);
        if words.len() < piece.len() && piece.contains(' ') {
            let (style, link) = style_at(flat, start + words.len(), style);
            segment.space = Some((style, space(fonts, style).advance * style.size / 1000.0, link));
        }
        segment.width = segment.parts.iter().map(Part::width).sum();
        segments.push(segment);
        start = end;
    }
    segments
}

/// Whether a line must not end here though the standard's rules would let it: `10-litre` and `mg/L` stay whole.
fn unwelcome(before: &str) -> bool {
    const SHORT: usize = 12;
    let mut tail = before.chars().rev();
    match tail.next() {
        Some('-') => tail.next().is_some_and(|c| c.is_ascii_digit()),
        // Addresses are long and may be broken.
        Some('/') => tail.take_while(|c| !c.is_whitespace()).count() < SHORT,
        _ => false,
    }
}

/// The space between words.
fn space(fonts: &Fonts, style: Style) -> Arc<Shaped> {
    let shaped = fonts.shape(style.face, style.figures, " ");
    if style.space != 1.0 {
        let mut shaped = Shaped::clone(&shaped);
        for glyph in &mut shaped.glyphs {
            glyph.advance *= style.space;
        }
        shaped.advance *= style.space;
        return Arc::new(shaped);
    }
    shaped
}

fn style_at(flat: &Flat, at: usize, fallback: Style) -> (Style, Option<usize>) {
    let index = flat.bits.partition_point(|(start, _)| *start <= at);
    let bit = index.checked_sub(1).and_then(|index| flat.bits.get(index));
    match bit {
        Some((_, Bit::Text { style, link })) => (*style, *link),
        _ => (fallback, None),
    }
}

fn fill(fonts: &Fonts, flat: &Flat, look: &Look, from: usize, to: usize, segment: &mut Segment) {
    let first = flat.bits.partition_point(|(start, _)| *start <= from).saturating_sub(1);
    for (index, (start, bit)) in flat.bits.iter().enumerate().skip(first) {
        if *start >= to {
            break;
        }
        let bit_end = flat.bits.get(index + 1).map_or(flat.text.len(), |(next, _)| *next);
        let (a, b) = ((*start).max(from), bit_end.min(to));
        if a >= b {
            continue;
        }
        match bit {
            Bit::Text { style, link } => {
                let text = flat.text.get(a..b).unwrap_or("");
                let before = flat.text.get(..a).and_then(|text| text.chars().next_back());
                let after = flat.text.get(b..).and_then(|text| text.chars().next());
                words(fonts, text, before, after, *style, *link, &mut segment.parts);
            }
            Bit::Tick => segment.parts.push(Part::Tick(look.tick)),
            Bit::Drawing(drawing) => segment.parts.push(Part::Drawing(drawing.clone())),
            Bit::Break => {}
        }
    }
}

/// Shapes a stretch of one style. A no-break space between a number and its unit is drawn a fifth of an em wide.
fn words(
    fonts: &Fonts,
    text: &str,
    before: Option<char>,
    after: Option<char>,
    style: Style,
    link: Option<usize>,
    parts: &mut Vec<Part>,
) {
    const SPACES: [char; 3] = ['\u{a0}', '\u{202f}', '\u{2009}'];
    let mut previous = before;
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        if SPACES.contains(&c) {
            let following = rest.chars().nth(1).or(after);
            let number = previous.is_some_and(|c| c.is_ascii_digit());
            let unit = following.is_some_and(|c| c.is_alphabetic() || matches!(c, '%' | '‰' | '°'));
            let mut shaped = Shaped::clone(&fonts.shape(style.face, style.figures, " "));
            let width = match c {
                '\u{2009}' => Some(160.0),
                _ if number && unit => Some(200.0),
                _ => None,
            };
            for glyph in &mut shaped.glyphs {
                glyph.text = if c == '\u{2009}' { " ".to_owned() } else { "\u{a0}".to_owned() };
                glyph.advance = width.unwrap_or(glyph.advance);
            }
            shaped.advance = shaped.glyphs.iter().map(|glyph| glyph.advance).sum();
            parts.push(Part::Glyphs { style, link, shaped: Arc::new(shaped) });
            previous = Some(c);
            rest = rest.get(c.len_utf8()..).unwrap_or("");
        } else {
            let end = rest.find([' ', '\u{a0}', '\u{202f}', '\u{2009}']).unwrap_or(rest.len());
            // Spaces before the first word of a paragraph.
            let end = if end == 0 { 1 } else { end };
            let word = rest.get(..end).unwrap_or(rest);
            let shaped = fonts.shape(style.face, style.figures, word);
            parts.push(Part::Glyphs { style, link, shaped });
            previous = word.chars().next_back();
            rest = rest.get(end..).unwrap_or("");
        }
    }
}

/// Cuts a segment that is wider than its column between glyphs, so that nothing is lost.
fn split(segment: Segment, width: f32, into: &mut Vec<Segment>) {
    let mut current = Segment { end: segment.end, ..Segment::default() };
    for part in segment.parts {
        match part {
            Part::Glyphs { style, link, shaped } => {
                for glyph in shaped.glyphs.clone() {
                    let advance = glyph.advance * style.size / 1000.0;
                    if current.width + advance > width && current.width > 0.0 {
                        into.push(std::mem::replace(&mut current, Segment { end: segment.end, ..Segment::default() }));
                    }
                    current.width += advance;
                    let advance = glyph.advance;
                    let shaped = Arc::new(Shaped { glyphs: vec![glyph], advance });
                    current.parts.push(Part::Glyphs { style, link, shaped });
                }
            }
            part => {
                let advance = part.width();
                if current.width + advance > width && current.width > 0.0 {
                    into.push(std::mem::replace(&mut current, Segment { end: segment.end, ..Segment::default() }));
                }
                current.width += advance;
                current.parts.push(part);
            }
        }
    }
    current.space = segment.space;
    current.forced = segment.forced;
    into.push(current);
}

/// Chooses the breaks with the fewest lines, then the most even rag, then no short word alone at the end.
fn breaks(segments: &[Segment], width: f32) -> Vec<usize> {
    const LINE: f32 = 1000.0;
    const LONELY: f32 = 40.0;
    let count = segments.len();
    // Best cost of the text up to each segment, and where its last line starts.
    let mut best: Vec<(f32, usize)> = vec![(f32::INFINITY, 0); count + 1];
    if let Some(first) = best.first_mut() {
        first.0 = 0.0;
    }
    for start in 0..count {
        let so_far = best.get(start).map_or(f32::INFINITY, |b| b.0);
        if !so_far.is_finite() {
            continue;
        }
        let mut natural = 0.0;
        let mut space = 0.0;
        for (end, segment) in segments.iter().enumerate().skip(start) {
            natural += space + segment.width;
            if natural > width + 0.01 && end > start {
                break;
            }
            let last = end + 1 == count || segment.forced;
            let slack = ((width - natural) / width).max(0.0);
            let lonely = last && start > 0 && slack > 0.8;
            let cost =
                so_far + LINE + if last { 0.0 } else { slack * slack * 100.0 } + if lonely { LONELY } else { 0.0 };
            if let Some(slot) = best.get_mut(end + 1)
                && cost < slot.0
            {
                *slot = (cost, start);
            }
            space = segment.space.as_ref().map_or(0.0, |space| space.1);
            if segment.forced {
                break;
            }
        }
    }
    let mut ends = Vec::new();
    let mut at = count;
    while at > 0 {
        ends.push(at);
        at = best.get(at).map_or(0, |b| b.1).min(at - 1);
    }
    ends.reverse();
    ends
}

fn assemble(fonts: &Fonts, segments: Vec<Segment>, last: bool) -> SetLine {
    let mut line = SetLine::default();
    let mut x = 0.0;
    let mut current: Option<(Run, Option<usize>, Style)> = None;
    let count = segments.len();
    for (index, segment) in segments.into_iter().enumerate() {
        for part in segment.parts {
            let advance = part.width();
            match part {
                Part::Glyphs { style, link, shaped } => {
                    append(&mut line, &mut current, x, style, link, &shaped.glyphs);
                    if let Some((run, ..)) = &mut current {
                        run.width = x + advance - run.x;
                    }
                }
                Part::Tick(side) => {
                    flush(&mut line, &mut current);
                    line.ticks.push((x, side));
                }
                Part::Drawing(drawing) => {
                    flush(&mut line, &mut current);
                    line.drawings.push((x, drawing));
                }
            }
            x += advance;
        }
        line.width = x;
        let ends = index + 1 == count;
        if let Some((style, width, link)) = segment.space
            && !(ends && last)
        {
            append(&mut line, &mut current, x, style, link, &space(fonts, style).glyphs);
            x += width;
        }
    }
    flush(&mut line, &mut current);
    line
}

fn append(
    line: &mut SetLine,
    current: &mut Option<(Run, Option<usize>, Style)>,
    x: f32,
    style: Style,
    link: Option<usize>,
    glyphs: &[Glyph],
) {
    if let Some((run, of, with)) = current
        && *of == link
        && *with == style
    {
        run.glyphs.extend_from_slice(glyphs);
        return;
    }
    flush(line, current);
    let run = Run {
        face: style.face,
        size: style.size,
        ink: style.ink,
        x,
        y: -style.rise,
        width: 0.0,
        frame: Bounds::default(),
        glyphs: glyphs.to_vec(),
    };
    *current = Some((run, link, style));
}

fn flush(line: &mut SetLine, current: &mut Option<(Run, Option<usize>, Style)>) {
    if let Some((run, link, _)) = current.take() {
        line.runs.push((run, link));
    }
}
