//! Pieces: what the page breaker moves about. A piece is never cut.

use std::rc::Rc;

use crate::page::display::{Bounds, Draw, DrawItem, Link, Paint, PathStroke, TagId, Target};
use crate::page::{Ink, Origin, Segment};

use super::lines::Late;

/// Something of fixed height that stands on one page. Heights are from its own top.
#[derive(Clone, Debug, Default)]
pub(super) struct Piece {
    /// Space above it, dropped at the top of a page.
    pub(super) before: f32,
    pub(super) height: f32,
    /// Whether its top must stand on the baseline grid.
    pub(super) snap: bool,
    /// Whether the next piece must stand on the same page.
    pub(super) keep: bool,
    /// What it costs to part it from the next piece where that is allowed; see [`super::breaks`].
    pub(super) cling: f32,
    /// Whether it starts a page.
    pub(super) new_page: bool,
    pub(super) items: Vec<DrawItem>,
    pub(super) links: Vec<Link>,
    /// Numbers that stand in its number column.
    pub(super) marks: Vec<u32>,
    pub(super) anchors: Vec<(Target, f32)>,
    pub(super) outline: Option<(u8, String, f32)>,
    /// Figures whose place must be told to their tag.
    pub(super) figures: Vec<(TagId, Bounds)>,
    /// Drawn first when this piece comes first on a page: the head of its table.
    pub(super) repeat: Option<Rc<Piece>>,
    /// What to set in its place when it is taller than a page.
    pub(super) parts: Vec<Piece>,
    /// What is added when it is known on which pages things stand.
    pub(super) late: Option<Late>,
    pub(super) origin: Option<Origin>,
}

impl Piece {
    pub(super) fn path(
        &mut self,
        tag: Option<TagId>,
        segments: Vec<Segment>,
        fill: Option<Ink>,
        stroke: Option<(f32, Ink)>,
    ) {
        self.items.push(DrawItem {
            tag,
            draw: Draw::Path {
                segments,
                fill: fill.map(Paint::Ink),
                even_odd: false,
                stroke: stroke.map(|(width, ink)| PathStroke { width, paint: Paint::Ink(ink), dash: None }),
            },
        });
    }

    /// A level line with its middle at `y`.
    pub(super) fn rule(&mut self, x: f32, right: f32, y: f32, width: f32, ink: Ink) {
        self.path(None, vec![Segment::Move(x, y), Segment::Line(right, y)], None, Some((width, ink)));
    }

    pub(super) fn fill(&mut self, bounds: Bounds, ink: Ink) {
        self.path(None, rectangle(bounds), Some(ink), None);
    }

    /// Takes in another piece with its top at `y`.
    pub(super) fn take(&mut self, mut other: Piece, y: f32) {
        other.shift(y);
        self.height = self.height.max(y + other.height);
        self.items.append(&mut other.items);
        self.links.append(&mut other.links);
        self.marks.append(&mut other.marks);
        self.anchors.append(&mut other.anchors);
        self.figures.append(&mut other.figures);
        if self.outline.is_none() {
            self.outline = other.outline;
        }
    }

    /// Moves everything in it down.
    pub(super) fn shift(&mut self, dy: f32) {
        for item in &mut self.items {
            shift(item, 0.0, dy);
        }
        for link in &mut self.links {
            link.bounds.y += dy;
        }
        for (_, y) in &mut self.anchors {
            *y += dy;
        }
        for (_, bounds) in &mut self.figures {
            bounds.y += dy;
        }
        if let Some((_, _, y)) = &mut self.outline {
            *y += dy;
        }
    }
}

/// One piece out of several, which then are never parted.
pub(super) fn stack(pieces: Vec<Piece>) -> Piece {
    let mut whole = Piece::default();
    let mut y = 0.0;
    for (index, piece) in pieces.into_iter().enumerate() {
        if index > 0 {
            y += piece.before;
        }
        let height = piece.height;
        whole.take(piece, y);
        y += height;
    }
    whole.height = whole.height.max(y);
    whole
}

/// Moves an item.
pub(super) fn shift(item: &mut DrawItem, dx: f32, dy: f32) {
    match &mut item.draw {
        Draw::Text(run) => {
            run.x += dx;
            run.y += dy;
            run.frame.x += dx;
            run.frame.y += dy;
        }
        Draw::Path { segments, .. } => {
            for segment in segments {
                *segment = moved(*segment, dx, dy);
            }
        }
        Draw::Image { bounds, .. } | Draw::Jpeg { bounds, .. } => {
            bounds.x += dx;
            bounds.y += dy;
        }
    }
}

/// A segment somewhere else.
pub(super) fn moved(segment: Segment, dx: f32, dy: f32) -> Segment {
    match segment {
        Segment::Move(x, y) => Segment::Move(x + dx, y + dy),
        Segment::Line(x, y) => Segment::Line(x + dx, y + dy),
        Segment::Curve(a, b, c, d, x, y) => Segment::Curve(a + dx, b + dy, c + dx, d + dy, x + dx, y + dy),
        Segment::Close => Segment::Close,
    }
}

/// The outline of a box.
pub(super) fn rectangle(b: Bounds) -> Vec<Segment> {
    vec![
        Segment::Move(b.x, b.y),
        Segment::Line(b.right(), b.y),
        Segment::Line(b.right(), b.bottom()),
        Segment::Line(b.x, b.bottom()),
        Segment::Close,
    ]
}
