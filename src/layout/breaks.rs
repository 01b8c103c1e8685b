//! Where pages end: chosen for a whole part at once, so that no page in the middle of one is left nearly empty because what
//! comes next is large.
//!
//! Some pieces are never parted ([`Piece::keep`]); to part others has a price. The prices stand in an order, and each outweighs
//! all that come before it: an even foot, a page more, a small table in two, a drawing without its table, a page less than a
//! quarter full, a danger without what it guards.

use super::flow::LINE;
use super::piece::Piece;

/// Between two lines of a paragraph.
pub(super) const LINES: f32 = 2.0;
/// Between two rows of a long table.
pub(super) const ROWS: f32 = 1.0;
/// Between two rows of a table that would fit on a page.
pub(super) const SMALL_TABLE: f32 = 3.0e3;
/// Between a drawing and the table under it.
pub(super) const ONE_BLOCK: f32 = 1.0e4;
/// Between what is guarded and the danger that guards it.
pub(super) const GUARDED: f32 = 1.0e5;

/// A page more.
const PAGE: f32 = 1.0e3;
/// A page less than a quarter full that is not the last of its part.
const NEARLY_EMPTY: f32 = 3.0e4;
/// A little more than a quarter, as heights are measured in more than one way.
const QUARTER: f32 = 0.27;
/// White at the foot of a page, as a share squared.
const WHITE: f32 = 100.0;
/// The last page of a part with next to nothing on it.
const TAIL: f32 = 10.0;
/// What is never parted, where no page can hold it.
const TORN: f32 = 1.0e6;
/// What is taller than a page.
const TOO_TALL: f32 = 1.0e8;

/// The room for text on the first page of a part, and on the others.
#[derive(Clone, Copy, Debug)]
pub(super) struct Room {
    /// Where the text of the first page starts, and of the others.
    pub(super) first: f32,
    pub(super) top: f32,
    /// Where all pages end.
    pub(super) bottom: f32,
    /// From where on the first page counts as filled: its letterhead.
    pub(super) filled_from: f32,
}

/// What counts of a piece where pages end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Measure {
    pub(super) before: f32,
    pub(super) height: f32,
    pub(super) snap: bool,
    pub(super) keep: bool,
    pub(super) cling: f32,
    pub(super) new_page: bool,
    /// Whether it is a heading.
    pub(super) heading: bool,
    /// The height of the head that comes again over it.
    pub(super) repeat: Option<f32>,
}

impl Measure {
    pub(super) fn of(piece: &Piece) -> Measure {
        Measure {
            before: piece.before,
            height: piece.height,
            snap: piece.snap,
            keep: piece.keep,
            cling: piece.cling,
            new_page: piece.new_page,
            heading: piece.keep && piece.outline.is_some(),
            repeat: piece.repeat.as_ref().map(|head| head.height),
        }
    }
}

/// A heading stays with at least two lines of what follows.
pub(super) fn hold(pieces: &mut [Measure]) {
    const TWO_LINES: f32 = 19.0;
    let mut headed = false;
    for piece in pieces {
        piece.keep |= headed && piece.height < TWO_LINES;
        headed = piece.heading;
    }
}

/// Where a piece stands after what is above it.
pub(super) fn next_top(piece: &Measure, y: f32, first: bool, origin: f32) -> f32 {
    let mut top = if first { y } else { y + piece.before };
    if piece.snap {
        let lines = ((top - origin) / LINE - 0.001).ceil();
        top = origin + lines * LINE;
    }
    top
}

/// The number of pieces up to the end of each page of a part.
pub(super) fn page_ends(pieces: &[Measure], room: Room) -> Vec<usize> {
    choose(pieces, room, false).or_else(|| choose(pieces, room, true)).unwrap_or_else(|| vec![pieces.len()])
}

/// The cheapest way to every place where a page may end is kept; `torn` lets pages end anywhere.
fn choose(pieces: &[Measure], room: Room, torn: bool) -> Option<Vec<usize>> {
    let count = pieces.len();
    let mut best: Vec<(f32, usize)> = vec![(f32::INFINITY, 0); count + 1];
    best.first_mut()?.0 = 0.0;
    for from in 0..count {
        let so_far = best.get(from)?.0;
        if !so_far.is_finite() {
            continue;
        }
        let (origin, filled_from) = if from == 0 { (room.first, room.filled_from) } else { (room.top, room.top) };
        let mut y = origin + pieces.get(from)?.repeat.filter(|_| from > 0).unwrap_or(0.0);
        for (to, piece) in pieces.iter().enumerate().skip(from) {
            y = next_top(piece, y, to == from, origin) + piece.height;
            let mut cost = so_far + PAGE;
            if y > room.bottom + 0.01 {
                // On the first page of all, there may be room for it on the next.
                if to > from || (from == 0 && room.first > room.top && count > 1) {
                    break;
                }
                cost += TOO_TALL;
            }
            let filled = (y - filled_from) / (room.bottom - filled_from);
            if to + 1 == count {
                let missing = (1.0 - filled / QUARTER).max(0.0);
                cost += if from > 0 { missing * missing * TAIL } else { 0.0 };
            } else {
                if piece.keep && !torn {
                    continue;
                }
                let white = (1.0 - filled).max(0.0);
                cost += white * white * WHITE + piece.cling + if piece.keep { TORN } else { 0.0 };
                cost += if filled < QUARTER { NEARLY_EMPTY } else { 0.0 };
            }
            let slot = best.get_mut(to + 1)?;
            if cost < slot.0 {
                *slot = (cost, from);
            }
        }
    }
    if !best.last()?.0.is_finite() {
        return None;
    }
    let mut ends = Vec::new();
    let mut at = count;
    while at > 0 {
        ends.push(at);
        at = best.get(at)?.1;
    }
    ends.reverse();
    Some(ends)
}
