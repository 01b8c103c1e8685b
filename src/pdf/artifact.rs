//! What is drawn but not read aloud: running heads and feet, rules, grounds (ISO 32000-1, 14.8.2.2).

use crate::page::display::{DisplayList, Draw, DrawItem, TagId};
use crate::page::{Grid, Segment};

/// What a stretch of the page's content belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Content {
    /// A part of the document.
    Tagged(TagId),
    /// No part of the document.
    Artifact(Artifact),
}

/// The kinds of artifact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Artifact {
    /// A running head.
    Head,
    /// A running foot.
    Foot,
    /// Words that are there because a page ends: the head of a table, said again.
    Again,
    /// Rules and signs.
    Layout,
    /// A coloured block behind words.
    Background,
}

impl Artifact {
    /// The entries of its property list.
    pub(super) fn properties(self) -> impl Iterator<Item = (&'static str, &'static str)> {
        let (kind, subtype) = match self {
            Artifact::Head => ("Pagination", Some("Header")),
            Artifact::Foot => ("Pagination", Some("Footer")),
            Artifact::Again => ("Pagination", None),
            Artifact::Layout => ("Layout", None),
            Artifact::Background => ("Background", None),
        };
        std::iter::once(("Type", kind)).chain(subtype.map(|subtype| ("Subtype", subtype)))
    }
}

impl Content {
    /// What an item belongs to.
    pub(super) fn of(item: &DrawItem, list: &DisplayList, grid: &Grid) -> Content {
        if let Some(tag) = item.tag.filter(|tag| list.tags.get(tag.0 as usize).is_some()) {
            return Content::Tagged(tag);
        }
        Content::Artifact(match &item.draw {
            Draw::Text(run) if run.y < grid.top => Artifact::Head,
            Draw::Text(run) if run.y > grid.bottom => Artifact::Foot,
            Draw::Text(_) => Artifact::Again,
            Draw::Path { segments, fill: Some(_), stroke: None, .. } if is_block(segments) => Artifact::Background,
            Draw::Path { .. } | Draw::Image { .. } | Draw::Jpeg { .. } => Artifact::Layout,
        })
    }
}

/// Whether a shape is large enough to stand behind words.
fn is_block(segments: &[Segment]) -> bool {
    const LEAST: f32 = 30.0;
    let points = segments.iter().filter_map(|segment| match *segment {
        Segment::Move(x, y) | Segment::Line(x, y) | Segment::Curve(.., x, y) => Some((x, y)),
        Segment::Close => None,
    });
    let start = [f32::INFINITY, f32::INFINITY, f32::NEG_INFINITY, f32::NEG_INFINITY];
    let [left, top, right, bottom] =
        points.fold(start, |[l, t, r, b], (x, y)| [l.min(x), t.min(y), r.max(x), b.max(y)]);
    right - left > LEAST && bottom - top > LEAST
}
