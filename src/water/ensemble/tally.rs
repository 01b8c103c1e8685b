//! Counting members: how many came to which value on which day. Whole numbers only, so that order does not matter.

use super::{QUANTITIES, Quantity, Values};

/// Places between the ends of a bracket.
const PLACES: usize = 254;
/// With one under them, for what stands at the low end or below, and one over them: a byte names each.
const BINS: usize = PLACES + 2;
/// The bin over all places.
const TOP: u8 = u8::MAX;
const _: () = assert!(BINS - 1 == TOP as usize);
/// Members whose bins are noted before they are counted together: so a day's counts are fetched once for all of them.
const TOGETHER: usize = 64;
/// Counts that are dealt with at a time.
const NEIGHBOURS: usize = 32;

/// The 10th, 50th and 90th percentile: nine, five and one in ten members came to that or more.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Range {
    /// 10th.
    pub low: f64,
    /// 50th.
    pub middle: f64,
    /// 90th.
    pub high: f64,
}

/// A tenth of the members, as it was counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tenth {
    /// What one in ten do not pass.
    One,
    /// What five in ten do not pass.
    Five,
    /// What nine in ten do not pass.
    Nine,
}

impl Tenth {
    /// In order.
    pub const ALL: [Tenth; 3] = [Tenth::One, Tenth::Five, Tenth::Nine];

    /// How many tenths.
    #[must_use]
    pub fn count(self) -> u32 {
        match self {
            Tenth::One => 1,
            Tenth::Five => 5,
            Tenth::Nine => 9,
        }
    }

    /// The least rank among so many members that is this many tenths or more, counted from 1.
    #[must_use]
    pub fn rank(self, members: u32) -> u64 {
        (u64::from(members) * u64::from(self.count())).div_ceil(10).max(1)
    }
}

/// The bin in which a percentile lies, with all that its arithmetic needs: from what was counted to the value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// The member that stands there, counted from 1 in the order of values.
    pub rank: u64,
    /// Least and most value of any member.
    pub ends: (f64, f64),
    /// Where in the count it stands.
    pub place: Place,
}

/// Where a percentile stands in the count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// All members came to one value.
    Alike,
    /// Under all bins, or over them: only the end from which they start or the most of all members is known.
    Beyond(f64),
    /// In a bin: its members are taken to lie evenly in it.
    Bin {
        /// Low end of the bin.
        low: f64,
        /// Its width.
        width: f64,
        /// Members under it.
        under: u32,
        /// Members in it.
        within: u32,
    },
}

impl Standing {
    /// The value: within the bin, and within what any member came to.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.inside().clamp(self.ends.0, self.ends.1)
    }

    /// The value before it is held between the least and the most of all members.
    #[must_use]
    pub fn inside(&self) -> f64 {
        match self.place {
            Place::Alike => self.ends.0,
            Place::Beyond(value) => value,
            Place::Bin { low, width, under, within } => {
                low + width * ((self.rank as f64 - f64::from(under) - 0.5) / f64::from(within))
            }
        }
    }
}

/// A percentile as it is kept: the bin, the members in it and those under it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Spot {
    bin: u8,
    under: u32,
    within: u32,
}

/// From where to where the places of one quantity on one day go.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Bracket {
    low: f64,
    width: f64,
    over: f64,
}

/// A bracket for every day and quantity.
#[derive(Clone, Debug)]
pub(super) struct Brackets(Vec<Bracket>);

impl Brackets {
    /// As far as the pilots reach, and a quarter of that further at both ends. A quantity that is nothing in some year starts at
    /// nothing: so many years without rain are told from years with little.
    pub fn around(days: usize, pilots: &[Vec<Values>]) -> Self {
        let mut ends = vec![(f64::INFINITY, f64::NEG_INFINITY); days * QUANTITIES];
        for pilot in pilots {
            for (end, value) in ends.iter_mut().zip(pilot.as_flattened()) {
                *end = (end.0.min(*value), end.1.max(*value));
            }
        }
        let bracket = |(least, most): (f64, f64)| {
            let reach = most - least;
            if !(reach > 0.0 && reach.is_finite()) {
                return Bracket { low: least, width: 0.0, over: 0.0 };
            }
            let low = if least == 0.0 { 0.0 } else { least - 0.25 * reach };
            let width = (most + 0.25 * reach - low) / PLACES as f64;
            Bracket { low, width, over: 1.0 / width }
        };
        Self(ends.into_iter().map(bracket).collect())
    }
}

impl Bracket {
    #[inline]
    fn bin(&self, value: f64) -> u8 {
        if value <= self.low {
            return 0;
        }
        // A bracket without width holds its one value and none over it. The cast stops at its ends.
        if self.over <= 0.0 { TOP } else { (1.0 + (value - self.low) * self.over) as u8 }
    }
}

/// The counts.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    counts: Vec<u32>,
    /// Bins of the members not yet counted, one after the other.
    noted: Vec<u8>,
    ends: Vec<(f64, f64)>,
    left: Vec<[u32; 2]>,
    never: [u32; 2],
}

impl Tally {
    pub fn new(days: usize) -> Self {
        Self {
            counts: vec![0; days * QUANTITIES * BINS],
            noted: Vec::with_capacity(days * QUANTITIES * TOGETHER),
            ends: vec![(f64::INFINITY, f64::NEG_INFINITY); days * QUANTITIES],
            left: vec![[0; 2]; days],
            never: [0; 2],
        }
    }

    /// Counts a member. `window` as in [`Given`](super::Given).
    pub fn count(&mut self, brackets: &Brackets, days: &[Values], window: (f64, f64)) {
        let values = days.as_flattened();
        let rows = values.iter().zip(&mut self.ends).zip(&brackets.0);
        self.noted.extend(rows.map(|((value, end), bracket)| {
            *end = (end.0.min(*value), end.1.max(*value));
            bracket.bin(*value)
        }));
        if self.noted.len() >= self.ends.len() * TOGETHER {
            self.settle();
        }
        let mut inside = false;
        for (day, left) in days.iter().zip(&mut self.left) {
            match (side(day[Quantity::Hardness as usize], window), inside) {
                (None, _) => inside = true,
                (Some(side), true) => {
                    left[side as usize] += 1;
                    return;
                }
                _ => {}
            }
        }
        if !inside && let Some(side) = days.first().and_then(|day| side(day[Quantity::Hardness as usize], window)) {
            self.never[side as usize] += 1;
        }
    }

    /// Counts the members that are noted.
    fn settle(&mut self) {
        let cells = self.ends.len().max(1);
        for (block, counts) in self.counts.chunks_mut(NEIGHBOURS * BINS).enumerate() {
            for member in self.noted.chunks_exact(cells) {
                let bins = member.iter().skip(block * NEIGHBOURS);
                for (bin, row) in bins.zip(counts.as_chunks_mut::<BINS>().0) {
                    row[usize::from(*bin)] += 1;
                }
            }
        }
        self.noted.clear();
    }

    /// Adds what another thread counted.
    pub fn add(&mut self, mut other: Self) {
        other.settle();
        for (count, more) in self.counts.iter_mut().zip(&other.counts) {
            *count += more;
        }
        for (end, theirs) in self.ends.iter_mut().zip(&other.ends) {
            *end = (end.0.min(theirs.0), end.1.max(theirs.1));
        }
        for (left, more) in self.left.as_flattened_mut().iter_mut().zip(other.left.as_flattened()) {
            *left += more;
        }
        for (never, more) in self.never.iter_mut().zip(other.never) {
            *never += more;
        }
    }

    pub fn finish(mut self, brackets: &Brackets, members: u32) -> Counted {
        self.settle();
        let mut widest = [0.0_f64; QUANTITIES];
        let mut ranges: Vec<Range> = Vec::with_capacity(self.ends.len());
        let ranks = Tenth::ALL.map(|tenth| tenth.rank(members));
        let mut spots: Vec<[Spot; 3]> = Vec::with_capacity(self.ends.len());
        let rows = self.counts.chunks_exact(BINS).zip(&self.ends).zip(&brackets.0);
        for ((counts, ends), bracket) in rows {
            let found = ranks.map(|rank| spot(counts, rank));
            let value = |spot, rank| standing(spot, *ends, bracket, rank).value();
            ranges.push(Range {
                low: value(found[0], ranks[0]),
                middle: value(found[1], ranks[1]),
                high: value(found[2], ranks[2]),
            });
            spots.push(found);
        }
        for (place, bracket) in brackets.0.iter().enumerate() {
            if let Some(widest) = widest.get_mut(place % QUANTITIES) {
                *widest = widest.max(bracket.width);
            }
        }
        let ranges = ranges.as_chunks().0.to_vec();
        let brackets = brackets.0.clone();
        Counted { members, ranges, left: self.left, never: self.never, widest, brackets, spots, ends: self.ends }
    }
}

/// Below the window (0), over it (1), or inside. The last bit is forgiven, as everywhere.
fn side(hardness: f64, (low, high): (f64, f64)) -> Option<Out> {
    if hardness < low * (1.0 - 1e-9) {
        Some(Out::Under)
    } else if hardness >= high * (1.0 - 1e-9) {
        Some(Out::Over)
    } else {
        None
    }
}

#[derive(Clone, Copy)]
enum Out {
    Under,
    Over,
}

/// The bin in which the member of a rank stands.
fn spot(counts: &[u32], rank: u64) -> Spot {
    let mut under = 0_u32;
    for (bin, count) in (0..=TOP).zip(counts) {
        if u64::from(under) + u64::from(*count) >= rank {
            return Spot { bin, under, within: *count };
        }
        under += count;
    }
    Spot { bin: TOP, under, within: 0 }
}

/// The value that so many of the members do not pass: the member that stands there, its place within its bin taken as if the
/// bin's members lay evenly. Exact where all members are alike; else within the width of the bin.
fn standing(spot: Spot, ends: (f64, f64), bracket: &Bracket, rank: u64) -> Standing {
    let place = if ends.0 >= ends.1 {
        Place::Alike
    } else if spot.bin == 0 {
        Place::Beyond(bracket.low)
    } else if spot.bin == TOP {
        Place::Beyond(ends.1)
    } else {
        let low = bracket.low + f64::from(spot.bin - 1) * bracket.width;
        Place::Bin { low, width: bracket.width, under: spot.under, within: spot.within }
    };
    Standing { rank, ends, place }
}

/// What all members came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// How many there were.
    pub members: u32,
    ranges: Vec<[Range; QUANTITIES]>,
    /// Members that left the window on each day, after they had been inside: under it, over it.
    left: Vec<[u32; 2]>,
    /// Members that were never inside, by the side on which they started.
    pub never: [u32; 2],
    widest: [f64; QUANTITIES],
    brackets: Vec<Bracket>,
    spots: Vec<[Spot; 3]>,
    ends: Vec<(f64, f64)>,
}

impl Counted {
    /// How a percentile of a quantity on a day, counted from 0, was counted; `None` beyond the last day.
    #[must_use]
    pub fn standing(&self, day: usize, quantity: Quantity, tenth: Tenth) -> Option<Standing> {
        let at = day * QUANTITIES + quantity as usize;
        let spot = self.spots.get(at)?.get(tenth as usize)?;
        Some(standing(*spot, *self.ends.get(at)?, self.brackets.get(at)?, tenth.rank(self.members)))
    }

    /// The range of a quantity on every day.
    pub fn ranges(&self, quantity: Quantity) -> impl Iterator<Item = Range> + '_ {
        self.ranges.iter().map(move |day| day[quantity as usize])
    }

    /// Members that have left the window by the end of a day, counted from 0: under it, over it.
    #[must_use]
    pub fn left_by(&self, day: usize) -> [u32; 2] {
        let days = self.left.iter().take(day.saturating_add(1));
        days.fold([0; 2], |sum, left| [sum[0] + left[0], sum[1] + left[1]])
    }

    /// The first day by which this many tenths of the members have left.
    #[must_use]
    pub fn day_left(&self, tenths: u32) -> Option<usize> {
        let wanted = (u64::from(self.members) * u64::from(tenths)).div_ceil(10).max(1);
        let mut sum = 0_u64;
        self.left.iter().position(|left| {
            sum += u64::from(left[0]) + u64::from(left[1]);
            sum >= wanted
        })
    }

    /// How far a percentile of this quantity may be from that of the members sorted: the widest bin of any day. Only where
    /// more than a tenth of the members went further than a quarter beyond all pilots could it be more.
    #[must_use]
    pub fn coarseness(&self, quantity: Quantity) -> f64 {
        self.widest[quantity as usize]
    }

    /// Bytes of the counting, which the days make and the members do not.
    #[must_use]
    pub fn counting_bytes(days: usize) -> usize {
        let tally = Tally::new(days);
        size_of_val(tally.counts.as_slice())
            + size_of_val(tally.ends.as_slice())
            + size_of_val(tally.left.as_slice())
            + tally.noted.capacity()
    }
}
