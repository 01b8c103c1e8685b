//! Where a drawing is put together: paths, marks, and labels that never meet.
//!
//! Every label passes through [`Canvas::lines`]. It takes the first of its spots that is inside the drawing and clear of
//! every label before it (and, if asked, of lines and marks), or is left out. Labels are measured as the typesetter will
//! set them, so that what is clear here is clear on paper.

use super::scale::{TICK, length};
use crate::page::fonts::{Figures, Fonts};
use crate::page::style::MM;
use crate::page::{Anchor, Drawing, Face, Ink, Item, LineMark, Segment, Stroke};

/// Left end of the label column, from the left edge of the main column.
pub(super) const LABEL_LEFT: f32 = -39.0 * MM;
/// Right end of the label column.
pub(super) const LABEL_RIGHT: f32 = -5.0 * MM;
/// How far labels may reach right of the main column: the number column and part of the margin, as line numbers do.
pub(super) const NUMBER_REACH: f32 = 50.0;
/// How far axis numbers may reach: the number column and a little of the margin.
const AXIS_REACH: f32 = 42.0;
/// Where axis numbers start, right of the main column.
const AXIS_GAP: f32 = 6.0;
/// Where line numbers start, right of the main column: the number column's left edge.
const MARK_GAP: f32 = 3.0 * MM;
/// Size of line numbers.
const MARK_SIZE: f32 = 7.5;
/// Leading of line numbers.
const MARK_LEADING: f32 = 9.0;
/// Baseline of the first of them.
const FIRST_MARK: f32 = 9.0;
/// How far the first axis number must stay under the top, so that a row of line numbers stands over it.
pub(super) const OVER_AXIS: f32 = 17.0;
/// Height of a label's box above its baseline, in sizes.
const ASCENT: f32 = 0.74;
/// Depth of a label's box below its baseline, in sizes.
const DESCENT: f32 = 0.22;
/// Size of chart text.
pub(super) const TEXT: f32 = 8.0;
/// Leading of chart text.
pub(super) const LEADING: f32 = 9.75;

/// Words in a drawing, with the lines of the workings that prove what they say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// The words.
    pub words: String,
    /// Numbers of the lines.
    pub lines: Vec<u32>,
}

impl Said {
    /// Words that rest on these lines.
    #[must_use]
    pub fn new(words: impl Into<String>, lines: Vec<u32>) -> Self {
        Self { words: words.into(), lines }
    }
}

impl From<&str> for Said {
    fn from(words: &str) -> Self {
        Self::new(words, Vec::new())
    }
}

impl From<String> for Said {
    fn from(words: String) -> Self {
        Self::new(words, Vec::new())
    }
}

/// A space of a fixed width.
fn is_space(letter: char) -> bool {
    matches!(letter, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}')
}

/// How wide `text` stands on one line: shaped and kerned, figures of one width, as the typesetter sets a label.
#[must_use]
pub fn text_width(fonts: &Fonts, face: Face, size: f32, text: &str) -> f32 {
    let mut thousandths = 0.0;
    let mut previous: Option<char> = None;
    let mut rest = text;
    while let Some(letter) = rest.chars().next() {
        let end = if is_space(letter) { letter.len_utf8() } else { rest.find(is_space).unwrap_or(rest.len()) };
        let (piece, after) = rest.split_at(end);
        // A no-break space between a number and its unit is a fifth of an em (PAGE.md section 9).
        let unit = after.chars().next().is_some_and(|c| c.is_alphabetic() || matches!(c, '%' | '‰' | '°'));
        let number = previous.is_some_and(|c| c.is_ascii_digit());
        thousandths += match letter {
            '\u{2009}' => 160.0,
            '\u{a0}' | '\u{202f}' if number && unit => 200.0,
            space if is_space(space) => fonts.shape(face, Figures::Tabular, " ").advance,
            _ => fonts.shape(face, Figures::Tabular, piece).advance,
        };
        previous = piece.chars().next_back();
        rest = after;
    }
    thousandths / 1000.0 * size
}

/// Text on one line without what cannot be seen: control characters and runs of spaces become one space.
fn one_line(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        let letter = if letter.is_control() || matches!(letter, '\u{2028}' | '\u{2029}') { ' ' } else { letter };
        if letter != ' ' || !(out.is_empty() || out.ends_with(' ')) {
            out.push(letter);
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// Cuts words that are wider than `room`, with an ellipsis.
pub(super) fn cut(fonts: &Fonts, face: Face, size: f32, text: &str, room: f32) -> String {
    let text = one_line(text);
    if text_width(fonts, face, size, &text) <= room {
        return text;
    }
    // Letter by letter, so that no new word is shaped; kerning may leave a hair of the room unused.
    let mut kept = String::new();
    let mut width = text_width(fonts, face, size, "…");
    let mut letter_text = [0_u8; 4];
    for letter in text.chars() {
        width += text_width(fonts, face, size, letter.encode_utf8(&mut letter_text));
        if width > room {
            break;
        }
        kept.push(letter);
    }
    kept.truncate(kept.trim_end().len());
    kept.push('…');
    kept
}

/// Words in lines no wider than `room`, broken at spaces; a word that is wider by itself is cut.
pub(super) fn wrap(fonts: &Fonts, face: Face, size: f32, text: &str, room: f32) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let text = one_line(text);
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        if let Some(last) = lines.last_mut() {
            let longer = format!("{last} {word}");
            if text_width(fonts, face, size, &longer) <= room {
                *last = longer;
                continue;
            }
        }
        lines.push(cut(fonts, face, size, word, room));
    }
    lines
}

/// Line numbers as they are printed.
fn joined(lines: &[u32]) -> String {
    lines.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")
}

/// Line numbers in rows no wider than the number column reaches.
fn mark_rows(fonts: &Fonts, lines: &[u32]) -> Vec<Vec<u32>> {
    let room = NUMBER_REACH - MARK_GAP;
    let mut rows: Vec<Vec<u32>> = Vec::new();
    for line in lines {
        if let Some(row) = rows.last_mut() {
            row.push(*line);
            if text_width(fonts, Face::SansSemibold, MARK_SIZE, &joined(row)) <= room {
                continue;
            }
            row.pop();
        }
        rows.push(vec![*line]);
    }
    rows
}

/// How much room so many line numbers take at the top of the number column, so that an axis may start under it.
pub(super) fn room_for_marks(fonts: &Fonts, lines: &[u32]) -> f32 {
    let mut fresh: Vec<u32> = Vec::new();
    for line in lines {
        if !fresh.contains(line) {
            fresh.push(*line);
        }
    }
    match mark_rows(fonts, &fresh).len() {
        0 => 0.0,
        rows => OVER_AXIS + MARK_LEADING * (length(rows) - 1.0),
    }
}

/// A place a label may take.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    /// The anchor's x.
    pub x: f32,
    /// The baseline.
    pub y: f32,
    /// The anchor.
    pub anchor: Anchor,
}

impl Spot {
    /// Left end at `x`.
    pub fn start(x: f32, y: f32) -> Self {
        Self { x, y, anchor: Anchor::Start }
    }

    /// Middle at `x`.
    pub fn middle(x: f32, y: f32) -> Self {
        Self { x, y, anchor: Anchor::Middle }
    }

    /// Right end at `x`.
    pub fn end(x: f32, y: f32) -> Self {
        Self { x, y, anchor: Anchor::End }
    }
}

/// One line of a label of several lines.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// The face.
    pub face: Face,
    /// The size.
    pub size: f32,
    /// The ink.
    pub ink: Ink,
    /// The words.
    pub text: String,
}

impl Line {
    /// A line.
    pub fn new(face: Face, size: f32, ink: Ink, text: &str) -> Self {
        Self { face, size, ink, text: one_line(text) }
    }
}

/// An upright box.
#[derive(Clone, Copy, Debug)]
pub(super) struct Area {
    pub left: f32,
    pub top: f32,
    pub right: f32,
    pub bottom: f32,
}

impl Area {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    /// Whether a straight line passes through the box.
    fn crossed(&self, from: (f32, f32), to: (f32, f32)) -> bool {
        // A curve has hundreds of pieces, and nearly all of them lie to one side.
        if from.0.max(to.0) < self.left || from.0.min(to.0) > self.right {
            return false;
        }
        let (across, down) = (to.0 - from.0, to.1 - from.1);
        let (mut enter, mut leave) = (0.0_f32, 1.0_f32);
        for (step, gap) in [
            (-across, from.0 - self.left),
            (across, self.right - from.0),
            (-down, from.1 - self.top),
            (down, self.bottom - from.1),
        ] {
            if step == 0.0 {
                if gap < 0.0 {
                    return false;
                }
            } else if step < 0.0 {
                enter = enter.max(gap / step);
            } else {
                leave = leave.min(gap / step);
            }
        }
        enter <= leave
    }
}

/// Whether a label keeps clear of lines and marks as well as of other labels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Clear {
    /// Of labels, lines and marks.
    Everything,
    /// Of labels only.
    Labels,
}

/// A drawing in the making. Paths are pulled into its box; labels go where they are free.
pub(super) struct Canvas<'f> {
    fonts: &'f Fonts,
    width: f32,
    height: f32,
    left: f32,
    right: f32,
    paths: Vec<Item>,
    labels: Vec<Item>,
    marks: Vec<LineMark>,
    proofs: Vec<u32>,
    taken: Vec<Area>,
    fences: Vec<((f32, f32), (f32, f32))>,
    blocks: Vec<Area>,
}

impl<'f> Canvas<'f> {
    /// A canvas with label and number columns at its sides.
    pub fn new(fonts: &'f Fonts, width: f32, height: f32) -> Self {
        Self { left: LABEL_LEFT, right: width + NUMBER_REACH, ..Self::plain(fonts, width, height) }
    }

    /// A canvas without columns at its sides.
    pub fn plain(fonts: &'f Fonts, width: f32, height: f32) -> Self {
        Self {
            fonts,
            width,
            height,
            left: 0.0,
            right: width,
            paths: Vec::new(),
            labels: Vec::new(),
            marks: Vec::new(),
            proofs: Vec::new(),
            taken: Vec::new(),
            fences: Vec::new(),
            blocks: Vec::new(),
        }
    }

    /// The drawing, labels over paths.
    pub fn finish(mut self, alternative: &str) -> Drawing {
        self.set_marks();
        self.paths.append(&mut self.labels);
        Drawing {
            width: self.width,
            height: self.height,
            items: self.paths,
            marks: self.marks,
            alternative: alternative.to_owned(),
        }
    }

    /// How wide words stand here.
    pub fn measure(&self, face: Face, size: f32, text: &str) -> f32 {
        text_width(self.fonts, face, size, text)
    }

    fn pull(&self, point: (f32, f32)) -> (f32, f32) {
        let pull = |value: f32, low: f32, high: f32| if value.is_nan() { low } else { value.clamp(low, high) };
        (pull(point.0, self.left, self.right), pull(point.1, 0.0, self.height))
    }

    fn outline(&self, points: &[(f32, f32)], closed: bool) -> Vec<Segment> {
        let mut segments: Vec<Segment> = Vec::with_capacity(points.len() + 1);
        for point in points {
            let (x, y) = self.pull(*point);
            segments.push(if segments.is_empty() { Segment::Move(x, y) } else { Segment::Line(x, y) });
        }
        if closed {
            segments.push(Segment::Close);
        }
        segments
    }

    /// A filled outline.
    pub fn fill(&mut self, points: &[(f32, f32)], ink: Ink) {
        if points.len() >= 3 {
            let segments = self.outline(points, true);
            self.paths.push(Item::Path { segments, fill: Some(ink), stroke: None });
        }
    }

    /// A closed outline, filled with paper and stroked: an open mark that hides the line it stands on.
    fn open_mark(&mut self, segments: Vec<Segment>) {
        let stroke = Some(Stroke { width: 0.8, ink: Ink::Ink, dash: None });
        self.paths.push(Item::Path { segments, fill: Some(Ink::Paper), stroke });
    }

    /// A filled upright box.
    pub fn slab(&mut self, left: f32, top: f32, right: f32, bottom: f32, ink: Ink) {
        self.fill(&[(left, top), (right, top), (right, bottom), (left, bottom)], ink);
    }

    /// An open line.
    pub fn line(&mut self, points: &[(f32, f32)], width: f32, ink: Ink) {
        self.dashed(points, width, ink, None);
    }

    /// An open line, dashed if asked.
    pub fn dashed(&mut self, points: &[(f32, f32)], width: f32, ink: Ink, dash: Option<(f32, f32)>) {
        if points.len() >= 2 {
            let segments = self.outline(points, false);
            self.paths.push(Item::Path { segments, fill: None, stroke: Some(Stroke { width, ink, dash }) });
        }
    }

    /// A tick under an axis, 1.2 mm.
    pub fn tick(&mut self, x: f32, y: f32, ink: Ink) {
        let ink = if ink == Ink::Ink { Ink::Ink } else { Ink::Rule };
        let x = x.clamp(0.2, (self.width - 0.2).max(0.2));
        self.line(&[(x, y), (x, y + TICK)], 0.4, ink);
    }

    /// The latest reading: a solid lozenge 8.4 pt high.
    pub fn lozenge(&mut self, x: f32, y: f32) {
        self.fill(&[(x, y - 4.2), (x + 3.0, y), (x, y + 4.2), (x - 3.0, y)], Ink::Ink);
    }

    /// The latest reading where the kit only said "less than": an open lozenge with a tick down.
    pub fn open_lozenge(&mut self, x: f32, y: f32) {
        let segments = self.outline(&[(x, y - 3.8), (x + 2.6, y), (x, y + 3.8), (x - 2.6, y)], true);
        self.open_mark(segments);
        self.line(&[(x, y + 3.8), (x, y + 7.6)], 0.8, Ink::Ink);
    }

    /// An earlier visit: a dot of 2 pt radius.
    pub fn dot(&mut self, x: f32, y: f32) {
        let segments = self.ring(x, y, 2.0);
        self.paths.push(Item::Path { segments, fill: Some(Ink::Ink), stroke: None });
    }

    /// An earlier visit where the kit only said "less than": an open dot with a tick down.
    pub fn open_dot(&mut self, x: f32, y: f32) {
        let segments = self.ring(x, y, 1.7);
        self.open_mark(segments);
        self.line(&[(x, y + 1.7), (x, y + 5.7)], 0.8, Ink::Ink);
    }

    /// Tap water: an open circle of 1.9 pt radius.
    pub fn circle(&mut self, x: f32, y: f32) {
        let segments = self.ring(x, y, 1.9);
        self.open_mark(segments);
    }

    /// A solid arrowhead that points up, its tip at the point: more than the scale holds.
    pub fn arrow_up(&mut self, x: f32, y: f32) {
        self.fill(&[(x, y), (x + 2.2, y + 4.2), (x - 2.2, y + 4.2)], Ink::Ink);
    }

    fn ring(&self, x: f32, y: f32, radius: f32) -> Vec<Segment> {
        let pull = radius * 0.552_284_8;
        let curve = |from: (f32, f32), to: (f32, f32), end: (f32, f32)| {
            let (a, b, c) = (self.pull(from), self.pull(to), self.pull(end));
            Segment::Curve(a.0, a.1, b.0, b.1, c.0, c.1)
        };
        let start = self.pull((x + radius, y));
        vec![
            Segment::Move(start.0, start.1),
            curve((x + radius, y + pull), (x + pull, y + radius), (x, y + radius)),
            curve((x - pull, y + radius), (x - radius, y + pull), (x - radius, y)),
            curve((x - radius, y - pull), (x - pull, y - radius), (x, y - radius)),
            curve((x + pull, y - radius), (x + radius, y - pull), (x + radius, y)),
            Segment::Close,
        ]
    }

    /// Labels that keep clear of everything keep clear of this line from now on.
    pub fn fence(&mut self, points: &[(f32, f32)]) {
        for pair in points.windows(2) {
            if let [from, to] = pair {
                self.fences.push((self.pull(*from), self.pull(*to)));
            }
        }
    }

    /// Labels that keep clear of everything keep clear of a mark here.
    pub fn block(&mut self, x: f32, y: f32, half_width: f32, half_height: f32) {
        self.blocks.push(Area {
            left: x - half_width,
            top: y - half_height,
            right: x + half_width,
            bottom: y + half_height,
        });
    }

    fn area(spot: Spot, size: f32, width: f32) -> Area {
        let left = match spot.anchor {
            Anchor::Start => spot.x,
            Anchor::Middle => spot.x - width / 2.0,
            Anchor::End => spot.x - width,
        };
        Area { left, top: spot.y - size * ASCENT, right: left + width, bottom: spot.y + size * DESCENT }
    }

    /// Whether a label may stand there: inside, clear of other labels by a hair, and of lines and marks if asked.
    fn free(&self, area: &Area, clear: Clear) -> bool {
        let inside = area.left >= self.left - 0.01
            && area.right <= self.right + 0.01
            && area.top >= -0.01
            && area.bottom <= self.height + 0.01;
        let wide = Area { left: area.left - 1.5, right: area.right + 1.5, ..*area };
        // Digits have no descenders: a line just under the baseline does no harm. One that touches an end does.
        let bottom = area.top + (area.bottom - area.top) * 0.79;
        let core = Area { left: area.left - 2.0, right: area.right + 2.0, top: area.top + 0.5, bottom };
        // A level line so close that it would read as an underline does.
        let apart = Area { top: core.top - 1.0, bottom: core.bottom + 2.0, ..core };
        let crossed = |(from, to): &((f32, f32), (f32, f32))| {
            if (from.1 - to.1).abs() < 0.01 { apart.crossed(*from, *to) } else { core.crossed(*from, *to) }
        };
        inside
            && !self.taken.iter().any(|taken| taken.meets(&wide))
            && (clear == Clear::Labels
                || (!self.fences.iter().any(crossed) && !self.blocks.iter().any(|block| block.meets(&core))))
    }

    /// Puts a label of one line at the first spot that is clear of everything; whether there was one.
    pub fn label(&mut self, spots: &[Spot], face: Face, size: f32, ink: Ink, text: &str) -> bool {
        self.lines(spots, 0.0, &[Line::new(face, size, ink, text)], Clear::Everything)
    }

    /// As [`Canvas::label`], without regard to lines and marks.
    pub fn firm_label(&mut self, spots: &[Spot], face: Face, size: f32, ink: Ink, text: &str) -> bool {
        self.lines(spots, 0.0, &[Line::new(face, size, ink, text)], Clear::Labels)
    }

    /// Puts a label and takes up the lines that prove it; whether it found room.
    pub fn said(&mut self, spots: &[Spot], face: Face, size: f32, ink: Ink, said: &Said) -> bool {
        let placed = self.label(spots, face, size, ink, &said.words);
        if placed {
            self.prove(&said.lines);
        }
        placed
    }

    /// The line of the stop limit.
    pub fn stop_line(&mut self, y: f32, width: f32) {
        self.line(&[(0.0, y), (width, y)], 1.6, Ink::Ink);
        self.fence(&[(0.0, y), (width, y)]);
    }

    /// The line of the watch limit.
    pub fn watch_line(&mut self, y: f32, width: f32) {
        self.dashed(&[(0.0, y), (width, y)], 0.9, Ink::Ink, Some((4.0, 2.5)));
        self.fence(&[(0.0, y), (width, y)]);
    }

    /// A limit's words over its line, at the right if nothing stands there, else further left; under the line, and over
    /// what is drawn, if there is no room else: a limit must be named.
    pub fn limit_words(&mut self, y: f32, width: f32, said: &Said) {
        let (face, size) = (Face::SansSemibold, 9.0);
        let words = cut(self.fonts, face, size, &said.words, width);
        let wide = self.measure(face, size, &words);
        let along = |down: f32| (0..60_u8).map(move |step| Spot::end(width * (1.0 - f32::from(step) / 60.0), y + down));
        let spots: Vec<Spot> = along(-4.0).chain(along(10.0)).filter(|spot| spot.x >= wide).collect();
        let placed =
            self.label(&spots, face, size, Ink::Ink, &words) || self.firm_label(&spots, face, size, Ink::Ink, &words);
        if placed {
            self.prove(&said.lines);
        }
    }

    /// Puts several lines at the first spot (of the first baseline) where all are free; whether there was one.
    pub fn lines(&mut self, spots: &[Spot], leading: f32, lines: &[Line], clear: Clear) -> bool {
        let lines: Vec<(&Line, f32)> = lines
            .iter()
            .filter(|line| !line.text.is_empty())
            .map(|line| (line, self.measure(line.face, line.size, &line.text)))
            .collect();
        for spot in spots {
            let mut y = spot.y;
            let mut placed: Vec<(Spot, Area, &Line)> = Vec::with_capacity(lines.len());
            for (line, width) in &lines {
                let here = Spot { y, ..*spot };
                placed.push((here, Self::area(here, line.size, *width), line));
                y += leading;
            }
            if placed.is_empty() || !placed.iter().all(|(_, area, _)| self.free(area, clear)) {
                continue;
            }
            for (here, area, line) in placed {
                self.taken.push(area);
                self.labels.push(Item::Label {
                    x: here.x,
                    y: here.y,
                    anchor: here.anchor,
                    face: line.face,
                    size: line.size,
                    ink: line.ink,
                    text: line.text.clone(),
                });
            }
            return true;
        }
        false
    }

    /// Takes up the lines of the workings that prove what a label says; they are set by [`Canvas::finish`].
    pub fn prove(&mut self, lines: &[u32]) {
        for line in lines {
            if !self.proofs.contains(line) {
                self.proofs.push(*line);
            }
        }
    }

    /// Sets the line numbers, together at the top of the number column: among the numbers of an axis they would be read
    /// as its values.
    fn set_marks(&mut self) {
        let rows = mark_rows(self.fonts, &std::mem::take(&mut self.proofs));
        let mut y = FIRST_MARK;
        for row in rows {
            let width = text_width(self.fonts, Face::SansSemibold, MARK_SIZE, &joined(&row));
            let places = (0..400_u16).map(|step| Spot::start(self.width + MARK_GAP, y + f32::from(step) * 0.5));
            let here = places.into_iter().find_map(|spot| {
                let area = Self::area(spot, MARK_SIZE, width);
                self.free(&area, Clear::Labels).then_some((spot, area))
            });
            if let Some((spot, area)) = here {
                self.taken.push(area);
                self.marks.push(LineMark { y: spot.y, lines: row });
                y = spot.y + MARK_LEADING;
            }
        }
    }

    /// A number of the vertical axis, in the number column. Where its unit makes it too wide, the unit goes under it.
    pub fn axis_number(&mut self, y: f32, tick: bool, text: &str) {
        let room = AXIS_REACH - AXIS_GAP;
        let baseline = (y + TEXT * 0.33).clamp(TEXT * ASCENT, self.height - TEXT * DESCENT);
        let spot = [Spot::start(self.width + AXIS_GAP, baseline)];
        let text = one_line(text);
        let fits = self.measure(Face::Sans, TEXT, &text) <= room;
        let placed = match text.split_once('\u{a0}') {
            Some((number, unit)) if !fits => {
                let lines = [number, unit].map(|words| {
                    let words = cut(self.fonts, Face::Sans, TEXT, words, room);
                    Line::new(Face::Sans, TEXT, Ink::Quiet, &words)
                });
                self.lines(&spot, LEADING, &lines, Clear::Labels)
            }
            _ => {
                let text = cut(self.fonts, Face::Sans, TEXT, &text, room);
                self.firm_label(&spot, Face::Sans, TEXT, Ink::Quiet, &text)
            }
        };
        if tick && placed {
            self.line(&[(self.width, y), (self.width + TICK, y)], 0.4, Ink::Rule);
        }
    }

    /// Lines that name a region, right-aligned in the label column, their middle at `y`; moved up or down a little where
    /// they would meet others. Whether they found room.
    pub fn region(&mut self, y: f32, face: Face, ink: Ink, lines: &[String]) -> bool {
        let room = LABEL_RIGHT - LABEL_LEFT;
        let lines: Vec<Line> = lines
            .iter()
            .flat_map(|line| wrap(self.fonts, face, TEXT, line, room))
            .map(|line| Line::new(face, TEXT, ink, &line))
            .collect();
        let first = y + 2.7 - LEADING * (length(lines.len()) - 1.0) / 2.0;
        let mut spots = vec![Spot::end(LABEL_RIGHT, first)];
        for nudge in 1..16_u8 {
            let nudge = f32::from(nudge) * 2.5;
            spots.push(Spot::end(LABEL_RIGHT, first - nudge));
            spots.push(Spot::end(LABEL_RIGHT, first + nudge));
        }
        self.lines(&spots, LEADING, &lines, Clear::Labels)
    }

    /// A title in the label column, left-aligned: the first line weighty, the rest quiet.
    pub fn title(&mut self, y: f32, lines: &[String]) {
        let room = LABEL_RIGHT - LABEL_LEFT;
        let mut baseline = y;
        for (index, text) in lines.iter().enumerate() {
            let (face, size, ink, leading) = if index == 0 {
                (Face::SansSemibold, 9.0, Ink::Ink, 12.0)
            } else {
                (Face::Sans, TEXT, Ink::Quiet, LEADING)
            };
            for line in wrap(self.fonts, face, size, text, room) {
                self.firm_label(&[Spot::start(LABEL_LEFT, baseline)], face, size, ink, &line);
                baseline += leading;
            }
        }
    }
}
