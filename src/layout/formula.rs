//! Formulas: fractions built up, radicals drawn, everything else on the line as text.

use crate::page::display::{Bounds, Role, TagId};
use crate::page::{Formula, Ink, Inline, Math, Segment};

use super::piece::Piece;
use super::text::Look;
use super::{Links, SetLine, Setter};

/// Thickness of bars and radicals.
const BAR: f32 = 0.5;
/// Room between a bar and what stands over or under it.
const GAP: f32 = 1.6;
/// How far a bar reaches beyond what stands on it.
const REACH: f32 = 1.5;
/// Width of a radical's hook, and the room over what stands under it.
const HOOK: f32 = 6.4;
const ROOF: f32 = 1.5;
/// How far further lines of a formula stand in.
const INDENT: f32 = 10.0;
/// Room over and under what stands in two levels.
const AIR: f32 = 1.8;
/// Between two lines of one formula.
const LINES: f32 = 2.0;

/// Part of a formula, set: its baseline is at y = 0 and it starts at x = 0.
#[derive(Default)]
struct Set {
    width: f32,
    /// From the baseline up, and down.
    ascent: f32,
    descent: f32,
    texts: Vec<(f32, f32, SetLine)>,
    paths: Vec<Vec<Segment>>,
}

impl Set {
    /// Takes in another with its start at `x` and its baseline at `y`.
    fn take(&mut self, other: Set, x: f32, y: f32) {
        self.width = self.width.max(x + other.width);
        self.ascent = self.ascent.max(other.ascent - y);
        self.descent = self.descent.max(other.descent + y);
        self.texts.extend(other.texts.into_iter().map(|(a, b, line)| (a + x, b + y, line)));
        let moved = |segments: Vec<Segment>| segments.into_iter().map(|s| super::moved(s, x, y)).collect();
        self.paths.extend(other.paths.into_iter().map(moved));
    }
}

impl Setter<'_> {
    /// A formula as one piece, its tag under `parent`. The baseline of its first line is given back.
    pub(super) fn formula(
        &mut self,
        formula: &Formula,
        look: &Look,
        column: (f32, f32),
        parent: TagId,
    ) -> (Piece, f32) {
        let role = Role::Formula { alternative: formula.aloud.clone(), written: formula.written.clone(), bounds: None };
        let tag = self.tag_in(parent, role);
        let lines = self.formula_lines(&formula.parts, look, column.1);
        let mut piece = Piece { origin: self.origin, ..Piece::default() };
        let (mut y, mut first, mut right) = (0.0_f32, 0.0, 0.0_f32);
        let count = lines.len();
        for (index, line) in lines.into_iter().enumerate() {
            let x = column.0 + if index == 0 { 0.0 } else { INDENT };
            // A plain line keeps the leading of its look; a built-up one takes what it needs.
            let tall = line.ascent > look.baseline() || line.descent > look.leading - look.baseline();
            let air = if tall { AIR } else { 0.0 };
            let ascent = line.ascent.max(look.baseline()) + air;
            let descent = line.descent.max(look.leading - look.baseline()) + air;
            let baseline = y + ascent;
            if index == 0 {
                first = baseline;
            }
            right = right.max(x + line.width);
            for (dx, dy, text) in line.texts {
                self.put_line(&mut piece, text, (x + dx, baseline + dy), column, Some(tag), &mut Links::new(&[]));
            }
            for path in line.paths {
                let path = path.into_iter().map(|s| super::moved(s, x, baseline)).collect();
                piece.path(Some(tag), path, None, Some((BAR, Ink::Ink)));
            }
            y = baseline + descent + if index + 1 < count { LINES } else { 0.0 };
        }
        piece.height = y;
        piece.figures.push((tag, Bounds { x: column.0, y: 0.0, width: right - column.0, height: y }));
        (piece, first)
    }

    /// A formula on as many lines as it needs.
    fn formula_lines(&mut self, parts: &[Math], look: &Look, width: f32) -> Vec<Set> {
        let mut lines: Vec<Set> = Vec::new();
        let mut line = Set::default();
        for chunk in chunks(parts) {
            let room = if lines.is_empty() { width } else { width - INDENT };
            let mut set = self.beside(&chunk, look, line.width == 0.0 && !lines.is_empty());
            if line.width > 0.0 && line.width + set.width > room {
                lines.push(std::mem::take(&mut line));
                set = self.beside(&chunk, look, true);
            }
            let room = if lines.is_empty() { width } else { width - INDENT };
            if line.width == 0.0 && set.width > room {
                // Too wide for a line of its own: on one level, and broken like any text.
                for more in self.wrapped(&chunk, look, room) {
                    if line.width > 0.0 {
                        lines.push(std::mem::take(&mut line));
                    }
                    line = more;
                }
                continue;
            }
            let x = line.width;
            line.take(set, x, 0.0);
        }
        lines.push(line);
        lines
    }

    /// Parts side by side. At the start of a line the space before an operator goes.
    fn beside(&mut self, parts: &[Math], look: &Look, starts: bool) -> Set {
        let mut out = Set::default();
        for (index, part) in parts.iter().enumerate() {
            let set = match part {
                Math::Words(inlines) => self.words(inlines, look, starts && index == 0),
                Math::Over(above, below) => self.over(above, below, look),
                Math::Root(inner) => self.root(inner, look),
            };
            let x = out.width;
            out.take(set, x, 0.0);
        }
        out
    }

    fn words(&mut self, inlines: &[Inline], look: &Look, starts: bool) -> Set {
        // Text drops the spaces at its ends; here they part an operator from what stands beside it.
        let mut inlines = inlines.to_vec();
        if let Some(Inline::Text(first)) = inlines.first_mut()
            && first.starts_with(' ')
        {
            *first = if starts { first.trim_start().to_owned() } else { format!("\u{a0}{}", first.trim_start()) };
        }
        if let Some(Inline::Text(last)) = inlines.last_mut()
            && last.ends_with(' ')
        {
            *last = format!("{}\u{a0}", last.trim_end_matches(' '));
        }
        let text = self.set(&inlines, look, 1.0e6);
        let mut out = Set::default();
        for line in text.lines {
            let x = out.width;
            let (ascent, descent) = extent(&line);
            let width = line.width;
            out.take(Set { width, ascent, descent, texts: vec![(0.0, 0.0, line)], paths: Vec::new() }, x, 0.0);
        }
        out
    }

    fn over(&mut self, above: &[Math], below: &[Math], look: &Look) -> Set {
        let (above, below) = (self.beside(above, look, false), self.beside(below, look, false));
        // The bar stands at the height of a minus.
        let axis = -0.26 * look.size;
        let bar = above.width.max(below.width) + 2.0 * REACH;
        let mut out = Set::default();
        let up = axis - GAP - above.descent;
        let down = axis + GAP + below.ascent;
        let side = 1.0;
        let (left, under) = (side + (bar - above.width) / 2.0, side + (bar - below.width) / 2.0);
        out.take(above, left, up);
        out.paths.push(vec![Segment::Move(side, axis), Segment::Line(side + bar, axis)]);
        out.take(below, under, down);
        out.width = bar + 2.0 * side;
        out
    }

    fn root(&mut self, inner: &[Math], look: &Look) -> Set {
        let inner = self.beside(inner, look, false);
        let top = -inner.ascent - ROOF;
        let foot = inner.descent.max(0.1 * look.size);
        let middle = foot - 0.45 * (foot - top);
        let width = inner.width;
        let mut out = Set::default();
        out.take(inner, HOOK, 0.0);
        out.paths.push(vec![
            Segment::Move(0.4, middle + 0.8),
            Segment::Line(1.8, middle),
            Segment::Line(3.6, foot),
            Segment::Line(HOOK - 0.6, top),
            Segment::Line(HOOK + width + 0.8, top),
        ]);
        out.width = HOOK + width + 1.2;
        out.ascent = out.ascent.max(-top + BAR);
        out.descent = out.descent.max(foot);
        out
    }

    /// A chunk that no line holds, on one level and broken between words.
    fn wrapped(&mut self, parts: &[Math], look: &Look, width: f32) -> Vec<Set> {
        let inlines = on_one_level(parts);
        let text = self.set(&inlines, look, width);
        let set = |line: SetLine| {
            let (ascent, descent) = extent(&line);
            Set { width: line.width, ascent, descent, texts: vec![(0.0, 0.0, line)], paths: Vec::new() }
        };
        text.lines.into_iter().map(set).collect()
    }
}

/// How far the runs of a line reach up and down from its baseline.
fn extent(line: &SetLine) -> (f32, f32) {
    line.runs.iter().fold((0.0, 0.0), |(up, down): (f32, f32), (run, _)| {
        (up.max(0.72 * run.size - run.y), down.max(0.22 * run.size + run.y))
    })
}

/// Cuts a formula before its operators, where a line may end.
fn chunks(parts: &[Math]) -> Vec<Vec<Math>> {
    let mut out: Vec<Vec<Math>> = vec![Vec::new()];
    for part in parts {
        let Math::Words(inlines) = part else {
            if let Some(last) = out.last_mut() {
                last.push(part.clone());
            }
            continue;
        };
        for inline in inlines {
            let operator = matches!(inline, Inline::Text(words) if words.starts_with([' ', ',']));
            if operator && out.last().is_some_and(|chunk| !chunk.is_empty()) {
                out.push(Vec::new());
            }
            match out.last_mut().map(|chunk| (chunk.last_mut(), ())) {
                Some((Some(Math::Words(words)), ())) => words.push(inline.clone()),
                _ => {
                    if let Some(chunk) = out.last_mut() {
                        chunk.push(Math::Words(vec![inline.clone()]));
                    }
                }
            }
        }
    }
    out
}

fn on_one_level(parts: &[Math]) -> Vec<Inline> {
    let text = |words: &str| Inline::Text(words.to_owned());
    let mut out = Vec::new();
    for part in parts {
        match part {
            Math::Words(inlines) => out.extend(inlines.iter().cloned()),
            Math::Over(above, below) => {
                out.push(text("("));
                out.extend(on_one_level(above));
                out.push(text(") / ("));
                out.extend(on_one_level(below));
                out.push(text(")"));
            }
            Math::Root(inner) => {
                out.push(text("√("));
                out.extend(on_one_level(inner));
                out.push(text(")"));
            }
        }
    }
    out
}
