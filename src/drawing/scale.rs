//! What all drawings share: scales, the time axis, marks, and a canvas that never lets two labels meet.

use chrono::{Datelike, NaiveDate};

use crate::page::style::MM;
use crate::page::{Anchor, Drawing, Face, Ink, Item, Segment, Stroke};

/// Left end of the label column, from the left edge of the main column.
pub const LABEL_LEFT: f32 = -39.0 * MM;
/// Right end of the label column.
pub const LABEL_RIGHT: f32 = -5.0 * MM;
/// How far the number column reaches right of the main column.
pub const NUMBER_REACH: f32 = 34.0;
/// Length of a tick.
pub const TICK: f32 = 1.2 * MM;
/// Where axis numbers start, right of the main column.
pub const AXIS_GAP: f32 = 4.5;
/// Height of the label's box above its baseline, in sizes.
pub const ASCENT: f32 = 0.74;
/// Depth of the label's box below its baseline, in sizes.
pub const DESCENT: f32 = 0.22;

/// The largest value that is drawn; others are pulled back to it.
const LARGEST: f64 = 1.0e9;

/// Advances of the letters from space to tilde in the regular sans, in thousandths of the size.
const ADVANCES: [u16; 95] = [
    200, 289, 426, 497, 497, 824, 609, 249, 303, 303, 418, 497, 249, 311, 249, 350, 497, 497, 497, 497, 497, 497, 497,
    497, 497, 497, 249, 249, 497, 497, 497, 425, 847, 544, 588, 571, 615, 527, 494, 617, 652, 263, 480, 579, 486, 727,
    647, 664, 566, 664, 569, 534, 536, 645, 515, 786, 513, 476, 539, 303, 350, 303, 497, 500, 542, 504, 553, 456, 555,
    496, 292, 504, 544, 246, 247, 495, 255, 829, 547, 542, 555, 555, 347, 419, 338, 544, 467, 719, 446, 467, 425, 303,
    241, 303, 497,
];

/// How wide `text` stands, estimated from average advances: good enough to keep labels apart, not to set type.
#[must_use]
pub fn text_width(face: Face, size: f32, text: &str) -> f32 {
    let factor = match face {
        Face::Sans => 1.0,
        Face::SansItalic => 0.98,
        Face::SansSemibold => 1.04,
        Face::SansBold => 1.075,
        Face::Serif => 1.085,
        Face::SerifItalic => 1.06,
        Face::SerifSemibold => 1.105,
        Face::Display => 1.0,
        Face::DisplaySemibold => 1.02,
    };
    let thousandths: f32 = text.chars().map(advance).sum();
    thousandths / 1000.0 * factor * size
}

/// The advance of one letter in thousandths of the size.
fn advance(letter: char) -> f32 {
    let code = u32::from(letter);
    if let Some(width) = code.checked_sub(32).and_then(|at| ADVANCES.get(usize::try_from(at).ok()?)) {
        return f32::from(*width);
    }
    match letter {
        '\u{a0}' | '\u{202f}' | '\u{2009}' => 200.0,
        '°' => 331.0,
        '·' => 249.0,
        '½' | '¼' | '¾' => 808.0,
        '…' | '—' => 950.0,
        _ if code < 0x0250 => 560.0,
        _ if code < 0x2e80 => 600.0,
        _ => 1000.0,
    }
}

/// A number that can be drawn: not a number becomes nought, huge ones are pulled back.
#[must_use]
pub fn tame(value: f64) -> f64 {
    if value.is_nan() { 0.0 } else { value.clamp(-LARGEST, LARGEST) }
}

/// A width that can be drawn in.
#[must_use]
pub fn tame_width(width: f32) -> f32 {
    if width.is_nan() { 40.0 } else { width.clamp(40.0, 2000.0) }
}

/// A count as a length.
#[must_use]
pub fn length(count: usize) -> f32 {
    f32::from(u16::try_from(count).unwrap_or(u16::MAX))
}

/// A straight scale from values to points.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    low: f64,
    high: f64,
    at_low: f32,
    at_high: f32,
}

impl Scale {
    /// The scale that puts `low` at `at_low` and `high` at `at_high`. Equal values are pulled apart.
    #[must_use]
    pub fn new(low: f64, high: f64, at_low: f32, at_high: f32) -> Self {
        let (low, high) = (tame(low), tame(high));
        let (low, high) = if low <= high { (low, high) } else { (high, low) };
        let apart = (low.abs() * 1.0e-6).max(1.0e-12);
        let high = if high - low < apart { low + apart.max(low.abs() * 0.1) } else { high };
        Self { low, high, at_low, at_high }
    }

    /// Where a value stands; values off the scale stand at its ends.
    #[must_use]
    pub fn at(&self, value: f64) -> f32 {
        let share = ((tame(value) - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.at_low + narrow(share) * (self.at_high - self.at_low)
    }

    /// Whether a value stands on the scale.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
}

/// A share between 0 and 1 in the precision of the page.
#[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1 loses only digits that are not printed")]
#[must_use]
pub fn narrow(share: f64) -> f32 {
    share as f32
}

/// The smallest and largest of some values, tamed.
pub fn extent(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    values.into_iter().map(tame).fold(None, |so_far, value| match so_far {
        None => Some((value, value)),
        Some((low, high)) => Some((low.min(value), high.max(value))),
    })
}

/// Days along the width of a drawing. Drawings with equal `width`, `first` and `days` share it exactly.
#[derive(Clone, Copy, Debug)]
pub struct TimeAxis {
    first: NaiveDate,
    days: i64,
    width: f32,
}

/// How months are named under a time axis.
#[derive(Clone, Copy, Debug)]
pub struct MonthNames {
    /// One letter instead of three.
    pub initials: bool,
    /// The year under its first month.
    pub years: bool,
    /// The face.
    pub face: Face,
    /// The size.
    pub size: f32,
    /// The ink.
    pub ink: Ink,
}

impl TimeAxis {
    /// An axis of `days` days from the start of `first`.
    #[must_use]
    pub fn new(first: NaiveDate, days: i64, width: f32) -> Self {
        Self { first, days: days.max(1), width }
    }

    /// The whole months from the one of `first` to the one of `last`.
    #[must_use]
    pub fn months(first: NaiveDate, last: NaiveDate, width: f32) -> Self {
        let start = month_start(month_index(first)).unwrap_or(first);
        let end = month_start(month_index(last) + 1).unwrap_or(last);
        Self::new(start, (end - start).num_days(), width)
    }

    /// Where a day starts.
    #[must_use]
    pub fn at(&self, date: NaiveDate) -> f32 {
        self.at_day((date - self.first).num_days())
    }

    /// Where day number `day` (from 0) starts.
    #[must_use]
    pub fn at_day(&self, day: i64) -> f32 {
        let day = i32::try_from(day.clamp(0, self.days)).unwrap_or(i32::MAX);
        let days = i32::try_from(self.days).unwrap_or(i32::MAX);
        narrow(f64::from(day) / f64::from(days)) * self.width
    }

    /// Draws the axis line at `y` with ticks at month starts below it and their names, thinned out where they are close.
    pub fn draw(&self, canvas: &mut Canvas, y: f32, names: MonthNames) {
        canvas.line(&[(0.0, y), (self.width, y)], 0.4, Ink::Rule);
        let days = i32::try_from(self.days).unwrap_or(i32::MAX);
        let month_width = self.width * 30.44 / narrow(f64::from(days));
        let name_width = if names.initials { names.size * 1.1 } else { names.size * 2.5 };
        let step = [1, 2, 3, 6, 12]
            .into_iter()
            .chain((1..24).map(|doublings| 12_i64 << doublings))
            .find(|step| narrow(f64::from(i32::try_from(*step).unwrap_or(i32::MAX))) * month_width >= name_width)
            .unwrap_or(1 << 30);
        let tick_step = if month_width >= 3.0 { 1 } else { step };
        let first_month = month_index(self.first);
        let end = self.first.checked_add_signed(chrono::Duration::days(self.days)).unwrap_or(NaiveDate::MAX);
        let last_month = month_index(end);
        let baseline = y + TICK + names.size * 0.95 + 0.8;
        // Ticks.
        canvas.tick(0.0, y, names.ink);
        let mut month = next_multiple(first_month, tick_step);
        while month <= last_month {
            if let Some(start) = month_start(month)
                && start > self.first
                && start <= end
            {
                canvas.tick(self.at(start), y, names.ink);
            }
            month += tick_step;
        }
        // Names, and years under the first named month of each.
        let mut named_year = None;
        let mut month = next_multiple(first_month, step);
        while month <= last_month {
            let from = month_start(month).unwrap_or(self.first).max(self.first);
            let to = month_start(month + 1).unwrap_or(end).min(end);
            let (left, right) = (self.at(from), self.at(to));
            let year = month.div_euclid(12);
            if step >= 12 {
                canvas.label(&[Spot::start(left, baseline)], names.face, names.size, names.ink, &year.to_string());
            } else if from < to {
                let name = month_name(month.rem_euclid(12), names.initials);
                let half = text_width(names.face, names.size, name) / 2.0;
                let middle = ((left + right) / 2.0).clamp(half, (self.width - half).max(half));
                // A cut month at either end is named only if its name fits beside the others.
                let cut = to - from < chrono::Duration::days(28);
                let fits = !cut || right - left >= half * 2.0 - 1.0;
                if fits {
                    canvas.label(&[Spot::middle(middle, baseline)], names.face, names.size, names.ink, name);
                }
                if names.years && named_year != Some(year) {
                    let spots = [Spot::start(left, baseline + names.size * 1.22)];
                    canvas.label(&spots, names.face, names.size, names.ink, &year.to_string());
                    named_year = Some(year);
                }
            }
            month += step;
        }
    }
}

/// Months since the start of year nought.
fn month_index(date: NaiveDate) -> i64 {
    i64::from(date.year()) * 12 + i64::from(date.month0())
}

/// The first day of a month.
fn month_start(month: i64) -> Option<NaiveDate> {
    let year = i32::try_from(month.div_euclid(12)).ok()?;
    let month = u32::try_from(month.rem_euclid(12)).ok()?;
    NaiveDate::from_ymd_opt(year, month + 1, 1)
}

/// The first multiple of `step` that is not under `value`.
fn next_multiple(value: i64, step: i64) -> i64 {
    let over = value.rem_euclid(step);
    if over == 0 { value } else { value - over + step }
}

/// The short name of month 0 to 11.
fn month_name(month: i64, initial: bool) -> &'static str {
    let (short, letter) = match month {
        0 => ("Jan", "J"),
        1 => ("Feb", "F"),
        2 => ("Mar", "M"),
        3 => ("Apr", "A"),
        4 => ("May", "M"),
        5 => ("Jun", "J"),
        6 => ("Jul", "J"),
        7 => ("Aug", "A"),
        8 => ("Sep", "S"),
        9 => ("Oct", "O"),
        10 => ("Nov", "N"),
        _ => ("Dec", "D"),
    };
    if initial { letter } else { short }
}

/// A place a label may take.
#[derive(Clone, Copy, Debug)]
pub struct Spot {
    /// The anchor's x.
    pub x: f32,
    /// The baseline.
    pub y: f32,
    /// The anchor.
    pub anchor: Anchor,
}

impl Spot {
    /// Left end at `x`.
    #[must_use]
    pub fn start(x: f32, y: f32) -> Self {
        Self { x, y, anchor: Anchor::Start }
    }

    /// Middle at `x`.
    #[must_use]
    pub fn middle(x: f32, y: f32) -> Self {
        Self { x, y, anchor: Anchor::Middle }
    }

    /// Right end at `x`.
    #[must_use]
    pub fn end(x: f32, y: f32) -> Self {
        Self { x, y, anchor: Anchor::End }
    }
}

/// One line of a label of several lines.
#[derive(Clone, Debug)]
pub struct Line {
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
    #[must_use]
    pub fn new(face: Face, size: f32, ink: Ink, text: &str) -> Self {
        Self { face, size, ink, text: text.to_owned() }
    }
}

/// An upright box.
#[derive(Clone, Copy, Debug)]
struct Area {
    left: f32,
    top: f32,
    right: f32,
    bottom: f32,
}

impl Area {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    /// Whether a straight line passes through the box.
    fn crossed(&self, from: (f32, f32), to: (f32, f32)) -> bool {
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

/// Where a drawing is put together. Paths are pulled into its box; a label that would leave the box or meet another label
/// goes to its next spot or is left out.
#[derive(Clone, Debug)]
pub struct Canvas {
    width: f32,
    height: f32,
    left: f32,
    right: f32,
    paths: Vec<Item>,
    labels: Vec<Item>,
    taken: Vec<Area>,
    fences: Vec<((f32, f32), (f32, f32))>,
    blocks: Vec<Area>,
}

impl Canvas {
    /// A canvas with label and number columns at its sides.
    #[must_use]
    pub fn new(width: f32, height: f32) -> Self {
        Self { left: LABEL_LEFT, right: width + NUMBER_REACH, ..Self::plain(width, height) }
    }

    /// A canvas without columns at its sides.
    #[must_use]
    pub fn plain(width: f32, height: f32) -> Self {
        Self {
            width,
            height,
            left: 0.0,
            right: width,
            paths: Vec::new(),
            labels: Vec::new(),
            taken: Vec::new(),
            fences: Vec::new(),
            blocks: Vec::new(),
        }
    }

    /// The drawing, labels over paths.
    #[must_use]
    pub fn finish(mut self, alternative: &str) -> Drawing {
        self.paths.append(&mut self.labels);
        Drawing { width: self.width, height: self.height, items: self.paths, alternative: alternative.to_owned() }
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

    /// An earlier visit: a dot of 2 pt radius.
    pub fn dot(&mut self, x: f32, y: f32) {
        let segments = self.ring(x, y, 2.0);
        self.paths.push(Item::Path { segments, fill: Some(Ink::Ink), stroke: None });
    }

    /// Tap water: an open circle of 1.9 pt radius.
    pub fn circle(&mut self, x: f32, y: f32) {
        let segments = self.ring(x, y, 1.9);
        let stroke = Some(Stroke { width: 0.8, ink: Ink::Ink, dash: None });
        self.paths.push(Item::Path { segments, fill: Some(Ink::Paper), stroke });
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

    /// Labels placed by [`Canvas::label`] from now on keep clear of this line.
    pub fn fence(&mut self, points: &[(f32, f32)]) {
        for pair in points.windows(2) {
            if let [from, to] = pair {
                self.fences.push((self.pull(*from), self.pull(*to)));
            }
        }
    }

    /// Labels keep clear of a mark here.
    pub fn block(&mut self, x: f32, y: f32, half_width: f32, half_height: f32) {
        self.blocks.push(Area {
            left: x - half_width,
            top: y - half_height,
            right: x + half_width,
            bottom: y + half_height,
        });
    }

    fn area(spot: Spot, face: Face, size: f32, text: &str) -> Area {
        let width = text_width(face, size, text);
        let left = match spot.anchor {
            Anchor::Start => spot.x,
            Anchor::Middle => spot.x - width / 2.0,
            Anchor::End => spot.x - width,
        };
        Area { left, top: spot.y - size * ASCENT, right: left + width, bottom: spot.y + size * DESCENT }
    }

    /// Whether a label may stand there: inside, clear of other labels by a hair, and clear of fences if `strict`.
    fn free(&self, area: &Area, strict: bool) -> bool {
        let inside = area.left >= self.left - 0.01
            && area.right <= self.right + 0.01
            && area.top >= -0.01
            && area.bottom <= self.height + 0.01;
        let wide = Area { left: area.left - 1.5, right: area.right + 1.5, ..*area };
        // Digits have no descenders: a line just under the baseline does no harm.
        let core = Area { top: area.top + 0.5, bottom: area.top + (area.bottom - area.top) * 0.79, ..*area };
        inside
            && !self.taken.iter().any(|taken| taken.meets(&wide))
            && (!strict
                || (!self.fences.iter().any(|(from, to)| core.crossed(*from, *to))
                    && !self.blocks.iter().any(|block| block.meets(&core))))
    }

    /// Puts a label of one line at the first spot that is free of labels and fences; false if there is none.
    pub fn label(&mut self, spots: &[Spot], face: Face, size: f32, ink: Ink, text: &str) -> bool {
        self.lines(spots, 0.0, &[Line::new(face, size, ink, text)], true)
    }

    /// As [`Canvas::label`], without regard to fences.
    pub fn firm_label(&mut self, spots: &[Spot], face: Face, size: f32, ink: Ink, text: &str) -> bool {
        self.lines(spots, 0.0, &[Line::new(face, size, ink, text)], false)
    }

    /// Puts several lines at the first spot (of the first baseline) where all are free; false if there is none.
    pub fn lines(&mut self, spots: &[Spot], leading: f32, lines: &[Line], strict: bool) -> bool {
        for spot in spots {
            let mut y = spot.y;
            let mut placed: Vec<(Spot, Area, &Line)> = Vec::with_capacity(lines.len());
            for line in lines.iter().filter(|line| !line.text.trim().is_empty()) {
                let here = Spot { y, ..*spot };
                placed.push((here, Self::area(here, line.face, line.size, &line.text), line));
                y += leading;
            }
            if placed.is_empty() {
                return true;
            }
            if !placed.iter().all(|(_, area, _)| self.free(area, strict)) {
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

    /// A number of the vertical axis, in the number column; set smaller or cut short if it is too wide.
    pub fn axis_number(&mut self, y: f32, tick: bool, text: &str) {
        if tick {
            self.line(&[(self.width, y), (self.width + TICK, y)], 0.4, Ink::Rule);
        }
        let room = NUMBER_REACH - AXIS_GAP;
        let size = [8.0, 7.5, 7.0, 6.5].into_iter().find(|size| text_width(Face::Sans, *size, text) <= room);
        let size = size.unwrap_or(6.5);
        let text = cut(Face::Sans, size, text, room);
        let baseline = (y + size * 0.33).clamp(size * ASCENT, self.height - size * DESCENT);
        self.firm_label(&[Spot::start(self.width + AXIS_GAP, baseline)], Face::Sans, size, Ink::Quiet, &text);
    }

    /// Lines that name a region, right-aligned in the label column, their middle at `y`; moved up or down a little where
    /// they would meet others.
    pub fn region(&mut self, y: f32, face: Face, ink: Ink, lines: &[String]) {
        let leading = 9.75;
        let room = LABEL_RIGHT - LABEL_LEFT;
        let lines: Vec<Line> =
            lines.iter().map(|line| Line::new(face, 8.0, ink, &cut(face, 8.0, line, room))).collect();
        let first = y + 2.7 - leading * (length(lines.len()) - 1.0) / 2.0;
        let mut spots = vec![Spot::end(LABEL_RIGHT, first)];
        for nudge in 1..12_u8 {
            let nudge = f32::from(nudge) * 2.5;
            spots.push(Spot::end(LABEL_RIGHT, first - nudge));
            spots.push(Spot::end(LABEL_RIGHT, first + nudge));
        }
        self.lines(&spots, leading, &lines, false);
    }

    /// A chart's title in the label column, left-aligned: the first line weighty, the rest quiet.
    pub fn title(&mut self, y: f32, lines: &[String]) {
        let room = LABEL_RIGHT - LABEL_LEFT;
        let mut baseline = y;
        for (index, text) in lines.iter().enumerate() {
            let (face, size, ink) =
                if index == 0 { (Face::SansSemibold, 9.0, Ink::Ink) } else { (Face::Sans, 8.0, Ink::Quiet) };
            let text = cut(face, size, text, room);
            self.firm_label(&[Spot::start(LABEL_LEFT, baseline)], face, size, ink, &text);
            baseline += if index == 0 { 12.0 } else { 9.75 };
        }
    }
}

/// Cuts words that are wider than `room`, with an ellipsis.
#[must_use]
pub fn cut(face: Face, size: f32, text: &str, room: f32) -> String {
    if text_width(face, size, text) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    for letter in text.chars() {
        kept.push(letter);
        kept.push('…');
        let wide = text_width(face, size, &kept) > room;
        kept.pop();
        if wide {
            kept.pop();
            break;
        }
    }
    kept.truncate(kept.trim_end().len());
    kept.push('…');
    kept
}

/// The small drawing that stands for no data.
#[must_use]
pub fn nothing(width: f32, alternative: &str) -> Drawing {
    let width = tame_width(width);
    let mut canvas = Canvas::new(width, 26.0);
    canvas.label(&[Spot::start(0.0, 15.0)], Face::Sans, 8.0, Ink::Quiet, "no readings yet");
    canvas.finish(alternative)
}
