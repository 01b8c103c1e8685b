//! The least water that keeps a window: on which days to change how much, or how much to bleed, so that a mixed quantity
//! stays where it should be.
//!
//! A change lets out as much as it lets in, so it moves no volume of any day: evaporation, rain, top-up and overflow are what
//! they are without it. What is left is straight: the evening's amount of a solute is `keep` times that of the evening before,
//! plus `add`, and a change of `v` out of `V` turns an amount n into n·(1 − v/V) + c·v, with c the supply's. [`lines`] reads
//! `keep` and `add` of every day off one run of the balance; lime, the only flow that is not straight, is put in as a run
//! before found it, and the caller runs the balance again with what was found.
//!
//! **Why the search is exact.** Both maps rise with n. So of two ponds that were changed as often and with as much water, the
//! one that stands lower stays lower whatever is done afterwards; where only the upper edge can be broken, the other is never
//! needed again. [`least`] walks from one possible day to the next and keeps, for every count of visits and of water steps, the
//! lowest pond only: no schedule that is better than what it finds has been thrown away. Where only the lower edge can be
//! broken the same holds upside down. Where both can, a lower pond is no longer better, and ponds are thrown together that
//! differ by less than a five-hundredth of the window. What still must be done is bounded from behind: U(j, i), the highest
//! amount before day i from which j more visits suffice, follows from U(j, i + 1) and U(j − 1, i + 1) by the same straight
//! maps turned round, since the largest change lets the highest amount through. U(j, first) also proves the least count of
//! visits. While nothing but evaporation and top-up acts, this is the rule of thumb "as late as may be, and then as much as
//! may be": a change takes a share of what stands above the supply, and that only grows; where rain thins the pond it is not,
//! since then early changes take more than late ones, and the search finds that as well.
//!
//! Bare numbers as in [`balance`]: m³, mol, mol/m³, a day.

use super::balance::{
    self, CHARGE_PER_NITROGEN, Care, Chemistry, Flow, Moved, Pond, SOLUTES, Setting, Sky, Solutes, Witness, solute,
};

/// Amounts after a while: `keep` of what was there, and `add`, mol.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Straight {
    keep: f64,
    add: Solutes,
}

impl Straight {
    const STILL: Self = Self { keep: 1.0, add: [0.0; SOLUTES] };

    fn thinned(&mut self, share_left: f64) {
        self.keep *= share_left;
        self.add = self.add.map(|n| n * share_left);
    }

    fn gains(&mut self, amounts: &Solutes) {
        for (sum, more) in self.add.iter_mut().zip(amounts) {
            *sum += more;
        }
    }
}

/// What a day does to the amounts: up to the hour of a change, and after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayLine {
    before: Straight,
    /// Volume at the hour of a change, m³.
    volume: f64,
    after: Straight,
    /// Volume in the evening, m³.
    evening: f64,
}

impl DayLine {
    /// Volume at the hour of a change, m³.
    #[must_use]
    pub fn volume(&self) -> f64 {
        self.volume
    }
}

/// Sees a day's flows and keeps them as straight maps.
struct Reading {
    line: DayLine,
    feed: f64,
}

impl Witness for Reading {
    fn saw(&mut self, flow: Flow, moved: &Moved, before: &Pond, after: &Pond) {
        let early = flow <= Flow::DrainDown;
        let part = if early { &mut self.line.before } else { &mut self.line.after };
        match flow {
            Flow::Splash | Flow::Leak | Flow::DrainDown | Flow::ChangeOut | Flow::Overflow => {
                part.thinned(after.volume / before.volume);
            }
            // Feed is taken whole: the run that is read may have used its alkalinity up, and the one that is sought does not.
            Flow::Feed => {
                let mut amounts = [0.0; SOLUTES];
                amounts[solute::ALKALINITY] = -CHARGE_PER_NITROGEN * self.feed;
                amounts[solute::NITRATE] = self.feed;
                part.gains(&amounts);
            }
            Flow::Lime | Flow::CopperRelease | Flow::CopperLoss | Flow::CopperSolid => {}
            _ => part.gains(&moved.amounts),
        }
        if early {
            self.line.volume = after.volume;
        }
    }
}

/// A chemistry in which no lime comes down; nothing else of it is asked.
struct Limeless;

impl Chemistry for Limeless {
    type Warmth = ();
    fn at(&self, _: f64) {}
    fn ph(&self, (): &(), _: &Solutes) -> f64 {
        7.0
    }
    fn lime(&self, (): &(), _: &Solutes) -> f64 {
        0.0
    }
    fn conductivity(&self, (): &(), _: &Solutes) -> f64 {
        0.0
    }
}

/// The days as straight maps. `lime`: calcium that comes down as lime on each day, mol; days beyond its end have none. Copper is
/// left out.
#[must_use]
pub fn lines<K>(setting: &Setting, sky: &[Sky<K>], care: &[Care], begin: Pond, lime: &[f64]) -> Vec<DayLine> {
    let mut pond = begin;
    let fallen = lime.iter().copied().chain(std::iter::repeat(0.0));
    let days = sky.iter().zip(care).zip(fallen);
    days.map(|((sky, care), lime)| {
        let plain = Sky { evaporation: sky.evaporation, rain: sky.rain, celsius: sky.celsius, warmth: () };
        let line =
            DayLine { before: Straight::STILL, volume: pond.volume, after: Straight::STILL, evening: pond.volume };
        let mut reading = Reading { line, feed: care.feed };
        let evening = balance::day(setting, &Limeless, &plain, care, &mut pond, &mut reading);
        reading.line.evening = evening.volume;
        if lime != 0.0 {
            let mut amounts = [0.0; SOLUTES];
            amounts[solute::CALCIUM] = -lime;
            amounts[solute::ALKALINITY] = -2.0 * lime;
            reading.line.after.gains(&amounts);
        }
        reading.line
    })
    .collect()
}

/// A quantity that mixes by volume (alkalinity, or conductivity as a sum over ions), and the range its evenings should keep.
#[derive(Clone, Debug)]
pub struct Mixed {
    days: Vec<MixedDay>,
    /// Amount at the start.
    start: f64,
    /// Of the supply, a m³.
    supply: f64,
}

#[derive(Clone, Copy, Debug)]
struct MixedDay {
    before: (f64, f64),
    volume: f64,
    after: (f64, f64),
    /// Least and most amount in the evening.
    low: f64,
    high: f64,
    evening: f64,
}

impl MixedDay {
    /// The evening's amount after a change of `water`.
    fn evening(&self, amount: f64, water: f64, supply: f64) -> f64 {
        let there = self.before.0 * amount + self.before.1;
        let changed = there * (1.0 - water / self.volume) + supply * water;
        self.after.0 * changed + self.after.1
    }
}

/// What is allowed on an evening, a m³: infinite where there is no edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Least.
    pub low: f64,
    /// Most.
    pub high: f64,
}

impl Mixed {
    /// The sum of all solutes, each times `weights`, with the bounds of each evening. What is let in is `supply`.
    #[must_use]
    pub fn of(lines: &[DayLine], weights: &Solutes, start: &Solutes, supply: &Solutes, bounds: &[Bounds]) -> Self {
        let sum = |amounts: &Solutes| amounts.iter().zip(weights).map(|(n, w)| n * w).sum::<f64>();
        let days = lines
            .iter()
            .zip(bounds)
            .map(|(line, bounds)| MixedDay {
                before: (line.before.keep, sum(&line.before.add)),
                volume: line.volume,
                after: (line.after.keep, sum(&line.after.add)),
                low: bounds.low * line.evening,
                high: bounds.high * line.evening,
                evening: line.evening,
            })
            .collect();
        Self { days, start: sum(start), supply: sum(supply) }
    }

    /// The same upside down: what was the lower edge is the upper one.
    fn mirrored(&self) -> Self {
        let days = self.days.iter().map(|d| MixedDay {
            before: (d.before.0, -d.before.1),
            after: (d.after.0, -d.after.1),
            low: -d.high,
            high: -d.low,
            ..*d
        });
        Self { days: days.collect(), start: -self.start, supply: -self.supply }
    }

    /// The evenings (a m³) when so much is changed on the days, m³ each, and whether all keep their bounds.
    #[must_use]
    pub fn evenings(&self, water: impl Fn(usize) -> f64) -> (Vec<f64>, bool) {
        let mut amount = self.start;
        let mut kept = true;
        let evenings = self
            .days
            .iter()
            .enumerate()
            .map(|(i, day)| {
                amount = day.evening(amount, water(i), self.supply);
                kept &= within(amount, day.low, day.high);
                amount / day.evening
            })
            .collect();
        (evenings, kept)
    }
}

impl Mixed {
    /// The evenings (a m³) when so much of the quantity is added on the days, after the hour of changes, and whether all keep
    /// their bounds.
    #[must_use]
    pub fn dosed(&self, dose: impl Fn(usize) -> f64) -> (Vec<f64>, bool) {
        let mut amount = self.start;
        let mut kept = true;
        let evenings = self
            .days
            .iter()
            .enumerate()
            .map(|(i, day)| {
                let there = day.before.0 * amount + day.before.1 + dose(i);
                amount = day.after.0 * there + day.after.1;
                kept &= within(amount, day.low, day.high);
                amount / day.evening
            })
            .collect();
        (evenings, kept)
    }
}

/// The last bit is forgiven.
fn within(amount: f64, low: f64, high: f64) -> bool {
    let slack = 1e-11 * (1.0 + amount.abs());
    amount >= low - slack && amount <= high + slack
}

/// What is to be as small as may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// The number of changes, and among those the water.
    FewestVisits,
    /// The water.
    LeastWater,
}

/// A day on which water may be changed, at most so many steps of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stage {
    /// Index of the day.
    pub day: usize,
    /// Steps of water at most.
    pub most: u32,
}

/// One change of a schedule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// Index of the day.
    pub day: usize,
    /// Steps of water.
    pub steps: u32,
}

/// From the hour of change of one possible day to that of the next: amount n becomes keep·n + add, if n stands between low and
/// high, else an evening on the way breaks its bounds.
#[derive(Clone, Copy, Debug)]
struct Leg {
    keep: f64,
    add: f64,
    low: f64,
    high: f64,
}

impl Leg {
    const NEW: Self = Self { keep: 1.0, add: 0.0, low: f64::NEG_INFINITY, high: f64::INFINITY };

    fn then(&mut self, (keep, add): (f64, f64)) {
        self.keep *= keep;
        self.add = keep * self.add + add;
    }

    fn bounded(&mut self, low: f64, high: f64) {
        if self.keep > 0.0 {
            self.low = self.low.max((low - self.add) / self.keep);
            self.high = self.high.min((high - self.add) / self.keep);
        } else if !within(self.add, low, high) {
            // Nothing is left of what was there, and what came is wrong.
            (self.low, self.high) = (f64::INFINITY, f64::NEG_INFINITY);
        }
    }

    fn to(&self, amount: f64) -> f64 {
        self.keep * amount + self.add
    }

    fn admits(&self, amount: f64) -> bool {
        within(amount, self.low, self.high)
    }

    /// The highest amount that is let through and ends at `high` at most.
    fn highest(&self, high: f64) -> f64 {
        let behind = if self.keep > 0.0 { (high - self.add) / self.keep } else { f64::INFINITY };
        if self.keep <= 0.0 && self.add > high { f64::NEG_INFINITY } else { self.high.min(behind) }
    }
}

/// A possible day of a quantity: volume then, and the leg that follows.
#[derive(Clone, Copy, Debug)]
struct Stop {
    volume: f64,
    leg: Leg,
    /// Water at most.
    most: f64,
    steps: u32,
}

/// A quantity between possible days.
struct Track {
    first: Leg,
    stops: Vec<Stop>,
    start: f64,
    supply: f64,
}

impl Track {
    fn new(mixed: &Mixed, stages: &[Stage], step: f64) -> Self {
        let mut first = Leg::NEW;
        let mut stops: Vec<Stop> = Vec::with_capacity(stages.len());
        let mut next = stages.iter().peekable();
        for (index, day) in mixed.days.iter().enumerate() {
            let leg = stops.last_mut().map_or(&mut first, |stop| &mut stop.leg);
            leg.then(day.before);
            if let Some(stage) = next.next_if(|stage| stage.day == index) {
                // What cannot be let out is not changed.
                let room = (day.volume * MOST_OF_ALL / step).max(0.0) as u32;
                let steps = stage.most.min(room);
                stops.push(Stop { volume: day.volume, leg: Leg::NEW, most: step * f64::from(steps), steps });
            }
            let leg = stops.last_mut().map_or(&mut first, |stop| &mut stop.leg);
            leg.then(day.after);
            leg.bounded(day.low, day.high);
        }
        Self { first, stops, start: mixed.start, supply: mixed.supply }
    }

    fn changed(&self, stop: &Stop, amount: f64, water: f64) -> f64 {
        amount * (1.0 - water / stop.volume) + self.supply * water
    }

    /// Whether the lower edge holds whatever is done: the lowest that changes can make of it, day after day.
    fn never_under(&self) -> bool {
        let mut amount = self.start;
        if amount < self.first.low - 1e-11 * (1.0 + amount.abs()) {
            return false;
        }
        amount = self.first.to(amount);
        for stop in &self.stops {
            amount = amount.min(self.changed(stop, amount, stop.most));
            if amount < stop.leg.low - 1e-11 * (1.0 + amount.abs()) {
                return false;
            }
            amount = stop.leg.to(amount);
        }
        true
    }

    /// U(j, i) for j from 0 to `visits`, i over the stops and one beyond: the highest amount before the change of stop i from
    /// which j more changes keep the upper edge.
    fn bounds(&self, visits: usize) -> Vec<Vec<f64>> {
        let count = self.stops.len();
        let mut all: Vec<Vec<f64>> = Vec::with_capacity(visits + 1);
        for j in 0..=visits {
            let mut row = vec![f64::INFINITY; count + 1];
            let fewer = j.checked_sub(1).and_then(|j| all.get(j));
            for (i, stop) in self.stops.iter().enumerate().rev() {
                let beyond = |row: &[f64]| row.get(i + 1).copied().unwrap_or(f64::INFINITY);
                let still = stop.leg.highest(beyond(&row));
                let mut best = still;
                if let Some(fewer) = fewer {
                    let left = 1.0 - stop.most / stop.volume;
                    best = best.max((stop.leg.highest(beyond(fewer)) - self.supply * stop.most) / left);
                }
                if let Some(slot) = row.get_mut(i) {
                    *slot = best;
                }
            }
            all.push(row);
        }
        all
    }
}

/// A change never takes more than this share of what is there.
const MOST_OF_ALL: f64 = 0.9;
/// Ponds nearer to each other than the window over this are thrown together, where both edges can be broken.
const BUCKETS: f64 = 500.0;
/// More visits than this are not looked for.
const MOST_VISITS: usize = 60;
/// How many quantities are followed at once.
const QUANTITIES: usize = 2;

/// A pond on its way.
#[derive(Clone, Copy, Debug)]
struct Label {
    amounts: [f64; QUANTITIES],
    visits: u32,
    steps: u32,
    /// Its last change, in the book of changes.
    last: Option<usize>,
}

/// The schedule that keeps all bounds with the fewest visits, or the least water, in whole steps of `step` m³; `None` when no
/// schedule on these days keeps them. `window` is the quantity that should keep both edges, `ceiling` one more that should
/// only stay under its upper edge. Stages in the order of their days.
#[must_use]
pub fn least(window: &Mixed, ceiling: Option<&Mixed>, stages: &[Stage], step: f64, aim: Aim) -> Option<Vec<Change>> {
    if step.is_nan() || step <= 0.0 {
        return None;
    }
    let upright = Track::new(window, stages, step);
    let mirrored = window.mirrored();
    let upside = Track::new(&mirrored, stages, step);
    let second = ceiling.map(|mixed| Track::new(mixed, stages, step));
    // Which way the window can be left decides what "better" means.
    let (tracks, both): (Vec<&Track>, Option<&Track>) = if upright.never_under() {
        ([Some(&upright), second.as_ref()].into_iter().flatten().collect(), None)
    } else if upside.never_under() {
        ([Some(&upside), second.as_ref()].into_iter().flatten().collect(), None)
    } else {
        ([Some(&upright), second.as_ref()].into_iter().flatten().collect(), Some(&upside))
    };
    // A place is as wide as the narrowest evening over so many.
    let narrowest = |widths: &mut dyn Iterator<Item = f64>| {
        widths.filter(|w| w.is_finite() && *w > 0.0).fold(f64::INFINITY, f64::min) / BUCKETS
    };
    let bucket = [
        narrowest(&mut window.days.iter().map(|d| d.high - d.low)),
        narrowest(&mut ceiling.into_iter().flat_map(|mixed| &mixed.days).map(|d| d.high)),
    ];
    let search = Search { tracks, both, bucket, stages, aim };
    if aim == Aim::FewestVisits && search.both.is_none() {
        // One more visit at a time: the bounds from behind turn back a count that is too small at once.
        let most = stages.len().min(MOST_VISITS);
        let bounds: Vec<Vec<Vec<f64>>> = search.tracks.iter().map(|t| t.bounds(most)).collect();
        return (0..=most).find_map(|visits| search.walk(Some(visits), &bounds, None));
    }
    // No change more, or as many as there are days.
    let ends = |track: &Track| {
        let mut all = track.bounds(stages.len());
        let (none, every) = (all.first().cloned(), all.pop());
        [none, every].into_iter().flatten().collect::<Vec<_>>()
    };
    let bounds: Vec<Vec<Vec<f64>>> = search.tracks.iter().map(|t| ends(t)).collect();
    let under = search.both.map(ends);
    search.walk(None, &bounds, under.as_deref())
}

struct Search<'a> {
    tracks: Vec<&'a Track>,
    /// The first quantity upside down, where its lower edge can be broken as well.
    both: Option<&'a Track>,
    bucket: [f64; QUANTITIES],
    stages: &'a [Stage],
    aim: Aim,
}

impl Search<'_> {
    /// Whether a pond before the change of stop `i` may still be brought through with `left` more visits.
    fn hopeful(label: &Label, i: usize, left: usize, bounds: &[Vec<Vec<f64>>], under: Option<&[Vec<f64>]>) -> bool {
        let at = |rows: &[Vec<f64>]| rows.get(left).or_else(|| rows.last()).and_then(|r| r.get(i)).copied();
        let fits = |amount: f64, most: f64| amount <= most + 1e-11 * (1.0 + amount.abs());
        label.amounts.iter().zip(bounds).all(|(n, rows)| at(rows).is_none_or(|most| fits(*n, most)))
            && under.is_none_or(|rows| at(rows).is_none_or(|most| fits(-label.amounts[0], most)))
    }

    /// What a schedule costs, the less the better.
    fn cost(&self, label: &Label) -> (u32, u32) {
        match self.aim {
            Aim::FewestVisits => (label.visits, label.steps),
            Aim::LeastWater => (label.steps, label.visits),
        }
    }

    /// The best schedule with at most so many visits; without a number, with any.
    fn walk(&self, visits: Option<usize>, bounds: &[Vec<Vec<f64>>], under: Option<&[Vec<f64>]>) -> Option<Vec<Change>> {
        let mut start = Label { amounts: [0.0; QUANTITIES], visits: 0, steps: 0, last: None };
        for (amount, track) in start.amounts.iter_mut().zip(&self.tracks) {
            if !track.first.admits(track.start) {
                return None;
            }
            *amount = track.first.to(track.start);
        }
        // Each change with the one before it.
        let mut book: Vec<(Option<usize>, Change)> = Vec::new();
        let mut here = vec![start];
        let mut best: Option<Label> = None;
        let left = |label: &Label| match visits {
            Some(visits) => visits.saturating_sub(label.visits as usize),
            None => usize::MAX,
        };
        for (i, stage) in self.stages.iter().enumerate() {
            let mut next = Vec::with_capacity(here.len() * 2);
            for label in &here {
                if best.is_some_and(|b| self.cost(&b) <= self.cost(label)) {
                    continue;
                }
                // Nothing more need be done.
                if Self::hopeful(label, i, 0, bounds, under) {
                    best = Some(*label);
                    continue;
                }
                if !Self::hopeful(label, i, left(label), bounds, under) {
                    continue;
                }
                self.branch(label, i, stage, left(label), &mut book, &mut next);
            }
            self.prune(&mut next, visits.is_some());
            here = next;
        }
        for label in &here {
            if best.is_none_or(|b| self.cost(label) < self.cost(&b)) {
                best = Some(*label);
            }
        }
        let mut changes = Vec::new();
        let mut last = best?.last;
        while let Some((before, change)) = last.and_then(|at| book.get(at)) {
            changes.push(*change);
            last = *before;
        }
        changes.reverse();
        Some(changes)
    }

    /// All that may be done with one pond on one possible day, carried to the next.
    fn branch(
        &self,
        label: &Label,
        i: usize,
        stage: &Stage,
        left: usize,
        book: &mut Vec<(Option<usize>, Change)>,
        next: &mut Vec<Label>,
    ) {
        let stops: Vec<(&Track, &Stop)> =
            self.tracks.iter().filter_map(|track| track.stops.get(i).map(|stop| (*track, stop))).collect();
        let Some((_, stop)) = stops.first() else { return };
        let most = if left == 0 { 0 } else { stop.steps };
        let size = if stop.steps > 0 { stop.most / f64::from(stop.steps) } else { 0.0 };
        for steps in 0..=most {
            let water = size * f64::from(steps);
            let mut after = *label;
            let mut kept = true;
            for (amount, (track, stop)) in after.amounts.iter_mut().zip(&stops) {
                let changed = track.changed(stop, *amount, water);
                kept &= stop.leg.admits(changed);
                *amount = stop.leg.to(changed);
            }
            if !kept {
                continue;
            }
            if steps > 0 {
                book.push((label.last, Change { day: stage.day, steps }));
                after.last = Some(book.len() - 1);
                after.visits += 1;
                after.steps += steps;
            }
            next.push(after);
        }
    }

    /// Throws away what another pond is at least as good as.
    fn prune(&self, labels: &mut Vec<Label>, count_visits: bool) {
        let visits = |label: &Label| if count_visits { label.visits } else { 0 };
        if self.both.is_some() {
            // One pond for each place: the one that took the least.
            let place = |label: &Label| {
                let mut places = [0_i64; QUANTITIES];
                for ((place, n), width) in places.iter_mut().zip(label.amounts).zip(self.bucket) {
                    *place = libm::floor(n / width) as i64;
                }
                places
            };
            labels.sort_by_cached_key(|label| (place(label), self.cost(label)));
            labels.dedup_by(|b, a| place(a) == place(b));
            return;
        }
        labels.sort_by(|a, b| {
            let sizes = (visits(a), a.steps).cmp(&(visits(b), b.steps));
            let amounts = a.amounts.iter().zip(&b.amounts).map(|(a, b)| a.total_cmp(b));
            amounts.fold(sizes, std::cmp::Ordering::then).then(a.visits.cmp(&b.visits))
        });
        let mut kept: Vec<Label> = Vec::with_capacity(labels.len());
        let mut group = 0;
        for label in labels.iter() {
            if kept.get(group).is_some_and(|first| visits(first) != visits(label)) {
                group = kept.len();
            }
            // Those before it took no more water. With one quantity the last that was kept is the lowest of them.
            let rivals = kept.get(group..).unwrap_or_default();
            let from = if self.tracks.len() == 1 { rivals.len().saturating_sub(1) } else { 0 };
            let beaten = rivals.iter().skip(from).any(|rival| {
                rival.amounts.iter().zip(&label.amounts).take(self.tracks.len()).all(|(theirs, ours)| theirs <= ours)
            });
            if !beaten {
                kept.push(*label);
            }
        }
        *labels = kept;
    }
}

/// Changes as late as may be in a balance that need not be straight: `day` runs one day of the
/// pond with so much water changed (m³) and says whether its evening keeps the bounds. The days are run until an evening does
/// not; then the change of the latest possible day before it that may still grow grows by `lump` steps, and all goes on from
/// there. With a `lump` as large as any change, each is as much as may be. `None` with more than `most` changes, or when no day
/// is left.
#[must_use]
pub fn late(
    days: usize,
    begin: Pond,
    stages: &[Stage],
    step: f64,
    (most, lump): (usize, u32),
    mut day: impl FnMut(usize, &mut Pond, f64) -> bool,
) -> Option<Vec<Change>> {
    let mut used = vec![0_u32; stages.len()];
    let mut before: Vec<Pond> = Vec::with_capacity(stages.len());
    let mut pond = begin;
    let mut index = 0;
    while index < days {
        let mut steps = 0;
        if stages.get(before.len()).is_some_and(|stage| stage.day == index) {
            steps = used.get(before.len()).copied().unwrap_or(0);
            before.push(pond);
        }
        if day(index, &mut pond, step * f64::from(steps)) {
            index += 1;
            continue;
        }
        let grows = |i: &usize| stages.get(*i).zip(used.get(*i)).is_some_and(|(stage, used)| *used < stage.most);
        let free = (0..before.len()).rev().find(grows)?;
        let (stage, grows) = (stages.get(free)?, used.get_mut(free)?);
        *grows = grows.saturating_add(lump.max(1)).min(stage.most);
        if used.iter().filter(|used| **used > 0).count() > most {
            return None;
        }
        pond = *before.get(free)?;
        before.truncate(free);
        index = stage.day;
    }
    let made = stages.iter().zip(used).filter(|(_, used)| *used > 0);
    Some(made.map(|(stage, steps)| Change { day: stage.day, steps }).collect())
}

/// The least bleed, in whole steps of `step` m³ a day on all `days`, that keeps every bound; `None` when `most` steps do not.
#[must_use]
pub fn bleed(window: &Mixed, ceiling: Option<&Mixed>, days: &[bool], step: f64, most: u32) -> Option<u32> {
    (0..=most).find(|steps| {
        let water = |day: usize| {
            let runs = days.get(day).copied().unwrap_or(false);
            let there = window.days.get(day).map_or(0.0, |d| d.volume);
            if runs { (step * f64::from(*steps)).min(MOST_OF_ALL * there) } else { 0.0 }
        };
        window.evenings(water).1 && ceiling.is_none_or(|mixed| mixed.evenings(water).1)
    })
}

/// A dose on a rhythm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rhythm {
    /// First of the possible days.
    pub first: usize,
    /// Last of them.
    pub last: usize,
    /// Steps of one dose.
    pub steps: u32,
}

/// The least that keeps the lower edge when the same dose is given on every possible day of one season: all seasons are tried,
/// and the dose of each is the least that its worst evening asks. `step` is what one step of the dose adds (mol of the
/// quantity), `most` the steps one dose may have. Doses act after the hour of changes.
#[must_use]
pub fn rhythm(window: &Mixed, days: &[usize], step: f64, most: u32) -> Option<Rhythm> {
    // Without a dose, and what one step on each possible day adds to every evening.
    let mut bare = Vec::with_capacity(window.days.len());
    let mut amount = window.start;
    for day in &window.days {
        amount = day.evening(amount, 0.0, window.supply);
        bare.push(amount);
    }
    let echo = |from: usize| {
        let mut left = 0.0;
        window
            .days
            .iter()
            .enumerate()
            .map(|(index, day)| {
                left *= day.before.0;
                if index == from {
                    left += step;
                }
                left *= day.after.0;
                left
            })
            .collect::<Vec<f64>>()
    };
    let echoes: Vec<Vec<f64>> = days.iter().map(|day| echo(*day)).collect();
    let mut best: Option<(u64, Rhythm)> = None;
    for first in 0..days.len() {
        let mut added = vec![0.0; bare.len()];
        for (last, one) in echoes.iter().enumerate().skip(first) {
            for (sum, more) in added.iter_mut().zip(one) {
                *sum += more;
            }
            let mut wanted = 0.0_f64;
            let mut room = f64::from(most);
            for ((bare, added), day) in bare.iter().zip(&added).zip(&window.days) {
                let lacking = day.low - bare;
                if lacking > 1e-11 * (1.0 + bare.abs()) {
                    wanted = wanted.max(if *added > 0.0 { lacking / added } else { f64::INFINITY });
                }
                if *added > 0.0 {
                    room = room.min((day.high - bare) / added);
                }
            }
            let steps = libm::ceil(wanted - 1e-9).max(0.0);
            if steps.is_finite() && steps <= room + 1e-9 {
                let count = u64::try_from(last - first + 1).unwrap_or(u64::MAX);
                let total = (steps as u64).saturating_mul(count);
                if best.is_none_or(|(least, _)| total < least) {
                    best = Some((total, Rhythm { first, last, steps: steps as u32 }));
                }
            }
        }
    }
    best.map(|(_, rhythm)| rhythm)
}

/// Share of rain in a blend of supply and rain that comes to `target`: 1 − target / supply where rain holds nothing. `None` when
/// no blend comes to it.
#[must_use]
pub fn rain_share(supply: f64, rain: f64, target: f64) -> Option<f64> {
    let share = (supply - target) / (supply - rain);
    (share.is_finite() && (0.0..=1.0).contains(&share)).then_some(share)
}
