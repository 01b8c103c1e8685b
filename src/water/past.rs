//! Looking back: what a log of readings tells of two numbers that are seldom measured, the water that leaves with its salts
//! (leak or splash) and how much more open water evaporates than the reference.
//!
//! The daily balance runs from visit to visit. What it should explain is a tracer, chloride or conductivity; never alkalinity,
//! which feed, buffer and lime move as well. Drops of the water line, pump on, pump off and in a floating bucket, are read in
//! the same fit. It is a bounded least-squares problem of two numbers, and one more for each start: the reading that the
//! balance starts from is a reading like the others.
//!
//! Bare numbers: m, m², m³, mol/m³, all rates a day.

use super::balance::{self, Care, Chemistry, Pond, Setting, Sky, Solutes, solute};

/// The two numbers, and two that are only allowed for: they are nearly known, and not quite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// Water lost with its salts beside what the care names, m³ a day.
    pub loss: f64,
    /// Evaporation of still water over the thirst of [`Past::thirst`].
    pub factor: f64,
    /// Rain over that of [`Past::fallen`].
    pub rain: f64,
    /// What the supply holds over what it was read to hold.
    pub supply: f64,
}

impl Guess {
    /// With rain and supply as they were told.
    #[must_use]
    pub fn of(loss: f64, factor: f64) -> Self {
        Self { loss, factor, rain: 1.0, supply: 1.0 }
    }
}

/// Standard deviations, as shares, of what is nearly known; zero for what is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Doubts {
    /// Rain of the whole time.
    pub rain: f64,
    /// The supply's tracer.
    pub supply: f64,
}

/// What a visit read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Days since the first day of the run: the reading is the water before anything is done on that day.
    pub day: usize,
    /// The water as read.
    pub water: Solutes,
    /// The tracer and its standard deviation; in its own unit.
    pub tracer: Option<(f64, f64)>,
    /// Alkalinity and its standard deviation, mol/m³.
    pub hardness: (f64, f64),
}

/// What the readings of the tracer count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tracer {
    /// Chloride, mol/m³.
    Chloride,
    /// Conductivity, µS/cm at 25 °C.
    Conductivity,
}

/// The drop of the water line in a day, m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drop {
    /// Days since the first day of the run.
    pub day: usize,
    /// Pump on.
    pub running: Option<f64>,
    /// Pump off.
    pub still: Option<f64>,
    /// In a floating bucket: evaporation alone.
    pub bucket: Option<f64>,
    /// A leak that is named for that day, m³.
    pub named: f64,
}

impl Drop {
    /// Evaporation of that day as it was measured: in the bucket, else with the pump off.
    #[must_use]
    pub fn evaporation(&self) -> Option<f64> {
        self.bucket.or(self.still)
    }
}

/// The measured drops and what they are read by. A running stream holds its level: all that pond, stream and falls lose shows
/// at the pond's own edge, and a bucket shows evaporation only (TRADE.md section 1).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drops {
    /// One a visit.
    pub list: Vec<Drop>,
    /// The pond's own surface, where the tape stands, m².
    pub own: f64,
    /// All open surface, m².
    pub all: f64,
    /// Standard deviation of a drop by tape, m.
    pub tape: f64,
    /// Standard deviation of one day's evaporation from that of the weather given, as a share.
    pub spread: f64,
}

/// What falls and streams evaporate beyond still water, as a share of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Falls {
    /// So much.
    Given(f64),
    /// What the drops leave when the loss is taken off.
    Left,
}

/// The past of a pond: the days from the first visit to the last.
#[derive(Clone, Debug)]
pub struct Past<'a, C: Chemistry> {
    /// The place; its splash and its falls are not used.
    pub setting: &'a Setting,
    /// Air and lime.
    pub chemistry: &'a C,
    /// The days; their evaporation and rain are overwritten.
    pub sky: Vec<Sky<C::Warmth>>,
    /// Rain, m, as many as `sky`.
    pub fallen: Vec<f64>,
    /// Evaporation of still water at a factor of one, m, as many as `sky`.
    pub thirst: Vec<f64>,
    /// What was done, as many as `sky`; a leak among it is one that is named.
    pub care: Vec<Care>,
    /// The visits, the oldest first.
    pub marks: Vec<Mark>,
    /// What their tracer is.
    pub tracer: Tracer,
    /// Drops of the water line.
    pub drops: Drops,
    /// Falls and streams.
    pub falls: Falls,
    /// Splash that is known, m³ a day.
    pub splash: f64,
    /// How well rain and supply are known.
    pub doubts: Doubts,
    /// Visits at which the run starts anew, as places among `marks`, beside the first: what lies before is not explained.
    pub starts: Vec<usize>,
}

/// A number that was looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value used.
    pub at: f64,
    /// Low end of the range in which nine of ten such logs would put it.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Whether the log tells it; if not, `at` is what was taken without the log.
    pub told: bool,
}

/// What a misfit is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Where a run starts, against the reading of that mark.
    Start(usize),
    /// The tracer at a mark.
    Tracer(usize),
    /// Drops of the water line, and what is nearly known.
    Other,
}

/// An end of a range, where the sum has risen to its limit: `squares + 2 cross (x − at) + bend (x − at)²` is the straightened sum
/// at a value x of the number, all others held where they go best with the end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct End {
    /// The sum at the best value of this number, the others moved.
    pub squares: f64,
    /// Half of how it grows there.
    pub cross: f64,
    /// Half of how that grows.
    pub bend: f64,
}

/// A number that was looked for, as the solver left it.
#[derive(Clone, Debug, PartialEq)]
pub struct Number {
    /// Where.
    pub at: f64,
    /// Between what.
    pub bounds: (f64, f64),
    /// How each misfit grows with it.
    pub slopes: Vec<f64>,
    /// Its low and high end; none where the bound comes first.
    pub ends: [Option<End>; 2],
}

/// How the solver left the problem: what shows that its numbers close it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Closing {
    /// Every misfit over its standard deviation, and what it is of.
    pub misfits: Vec<(Of, f64)>,
    /// Loss, factor, rain and supply, in the order of [`Guess`]; none that was not looked for.
    pub numbers: [Option<Number>; 4],
    /// Misfits less numbers, at least one.
    pub spare: usize,
}

/// What the log tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// m³ a day.
    pub loss: Estimate,
    /// Over the thirst.
    pub factor: Estimate,
    /// All that was found, with what was taken for rain and supply.
    pub guess: Guess,
    /// Sum of squares of misfit over standard deviation, at the end.
    pub sum: f64,
    /// How many misfits went in.
    pub misfits: usize,
    /// What one more step would take off that sum: nothing at the least.
    pub gain: f64,
    /// Rounds of the solver.
    pub rounds: u32,
    /// Pairs of neighbouring visits (places among the marks) between which the tracer did what the model cannot do.
    pub broken: Vec<(usize, usize)>,
    /// What shows that they are the least.
    pub closing: Closing,
}

/// Bounds of the two numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// m³ a day, from none.
    pub loss: f64,
    /// Lowest and highest factor.
    pub factor: (f64, f64),
}

/// A range this wide, as a share of what is possible, tells nothing.
pub const TELLS: f64 = 1.0 / 3.0;
/// Standard deviations from which a pair of visits contradicts the model.
pub const CONTRADICTS: f64 = 3.0;
/// Rise of the sum of squares at the ends of a 90 % range of one number: 1.645².
pub const NINE_TENTHS: f64 = 2.7055;
/// A step this small, in standard deviations of its number, is no step.
const SETTLED: f64 = 3e-10;
/// Beyond a step of this many standard deviations slopes may have changed in a digit that counts.
const FAR: f64 = 1e-4;
/// Most pairs of visits that are left out of the fit.
const MOST_BROKEN: usize = 4;
/// Readings of the tracer needed before anything is looked for.
pub const FEWEST: usize = 3;

impl<C: Chemistry> Past<'_, C> {
    /// Share that falls and streams evaporate beyond still water, at a loss.
    #[must_use]
    pub fn share_of_falls(&self, loss: f64) -> f64 {
        match self.falls {
            Falls::Given(share) => share,
            Falls::Left => self.drops.falls(loss).map_or(0.0, |share| share.max(0.0)),
        }
    }

    /// Runs the days from one mark on until `last` (not included), and shows the pond before each of them and at the end.
    /// `lift` is how far the start stands above its reading, as a share.
    pub fn follow(&mut self, guess: &Guess, from: usize, last: usize, lift: f64, mut see: impl FnMut(usize, &Pond)) {
        let Some(mark) = self.marks.get(from) else { return };
        let setting = Setting {
            splash: self.splash + guess.loss,
            falls: self.share_of_falls(guess.loss),
            supply: self.setting.supply.map(|c| c * guess.supply),
            ..self.setting.clone()
        };
        let lowered = self.care.get(mark.day).and_then(|care| care.lowered).unwrap_or(1.0);
        let water = mark.water.map(|c| c * (1.0 + lift));
        let mut pond = Pond::of(setting.basin.full * lowered, &water);
        let first = mark.day;
        see(first, &pond);
        let weather = self.thirst.iter().zip(&self.fallen);
        let days = self.sky.iter_mut().zip(weather).zip(&self.care).enumerate().take(last).skip(first);
        for (day, ((sky, (thirst, fallen)), care)) in days {
            sky.evaporation = guess.factor * thirst;
            sky.rain = guess.rain * fallen;
            balance::day(&setting, self.chemistry, sky, care, &mut pond, &mut ());
            see(day + 1, &pond);
        }
    }

    /// The tracer of a water.
    #[must_use]
    pub fn tracer_of(&self, day: usize, water: &Solutes) -> f64 {
        match self.tracer {
            Tracer::Chloride => water[solute::CHLORIDE],
            // The last day's constants serve the evening after it.
            Tracer::Conductivity => match self.sky.get(day).or(self.sky.last()) {
                Some(sky) => self.chemistry.conductivity(&sky.warmth, water),
                None => 0.0,
            },
        }
    }

    /// Places among the marks that read the tracer.
    fn traced(&self) -> Vec<usize> {
        self.marks.iter().enumerate().filter(|(_, mark)| mark.tracer.is_some()).map(|(at, _)| at).collect()
    }

    /// The runs: each a start and the marks that follow it, all with a tracer.
    #[must_use]
    pub fn runs(&self) -> Vec<Vec<usize>> {
        let mut runs: Vec<Vec<usize>> = Vec::new();
        for at in self.traced() {
            match runs.last_mut() {
                Some(run) if !self.starts.contains(&at) => run.push(at),
                _ => runs.push(vec![at]),
            }
        }
        runs.retain(|run| run.len() > 1);
        runs
    }

    /// What each of [`Past::misfits`] is of, as far as they come from marks: in the same order.
    fn marked(&self) -> Vec<Of> {
        let runs = self.runs();
        let run = |run: Vec<usize>| {
            run.into_iter().enumerate().map(|(place, at)| if place == 0 { Of::Start(at) } else { Of::Tracer(at) })
        };
        runs.into_iter().flat_map(run).collect()
    }

    /// Misfits over their standard deviations: of the tracer at each mark after a start, of each start, of each drop.
    /// `lifts` is one for each run.
    pub fn misfits(&mut self, guess: &Guess, lifts: &[f64]) -> Vec<f64> {
        let mut out = Vec::new();
        for (run, lift) in self.runs().into_iter().zip(lifts.iter().copied().chain(std::iter::repeat(0.0))) {
            let mut waters: Vec<(usize, Solutes)> = Vec::new();
            let days: Vec<usize> = run.iter().filter_map(|at| self.marks.get(*at)).map(|mark| mark.day).collect();
            let (Some(from), Some(last)) = (run.first(), days.last()) else { continue };
            self.follow(guess, *from, *last, lift, |day, pond| {
                if days.contains(&day) {
                    waters.push((day, pond.water()));
                }
            });
            for (place, at) in run.iter().enumerate() {
                let Some(mark) = self.marks.get(*at) else { continue };
                let Some((read, deviation)) = mark.tracer else { continue };
                if place == 0 {
                    out.push(lift * read / deviation);
                } else if let Some((day, water)) = waters.iter().find(|(day, _)| *day == mark.day) {
                    out.push((self.tracer_of(*day, water) - read) / deviation);
                }
            }
        }
        self.drop_misfits(guess, &mut out);
        for (value, doubt) in [(guess.rain, self.doubts.rain), (guess.supply, self.doubts.supply)] {
            if doubt > 0.0 {
                out.push((value - 1.0) / doubt);
            }
        }
        out
    }

    fn drop_misfits(&self, guess: &Guess, out: &mut Vec<f64>) {
        let drops = &self.drops;
        let falls = match self.falls {
            Falls::Given(share) => Some(share),
            Falls::Left => None,
        };
        for drop in &drops.list {
            let weather = guess.factor * self.thirst.get(drop.day).or(self.thirst.last()).copied().unwrap_or(0.0);
            let lost = guess.loss + self.splash + drop.named;
            if let Some(bucket) = drop.bucket {
                out.push((weather - bucket) / libm::hypot(drops.tape, drops.spread * bucket));
            }
            if let Some(still) = drop.still {
                // Still water loses at most what leaks in all: some of it leaks only while the stream runs.
                let (least, deviation) = match drop.bucket {
                    Some(bucket) => (bucket, drops.tape * std::f64::consts::SQRT_2),
                    None => (weather, libm::hypot(drops.tape, drops.spread * still)),
                };
                let most = least + lost / drops.own;
                // With a bucket beside it, less than the bucket is the tape's noise and tells nothing more.
                let under = if drop.bucket.is_some() { 0.0 } else { (least - still).max(0.0) };
                out.push((under - (still - most).max(0.0)) / deviation);
            }
            if let (Some(running), Some(falls)) = (drop.running, falls) {
                let surface = drops.all * (1.0 + falls);
                let (evaporation, of_it) = match drop.evaporation() {
                    Some(measured) => (measured, drops.tape),
                    None => (weather, drops.spread * running * drops.own / surface),
                };
                let mut off = evaporation * surface + lost - running * drops.own;
                let square = |x: f64| x * x;
                let mut variance = square(drops.tape * drops.own) + square(of_it * surface);
                if let Some(bucket) = drop.bucket {
                    // The bucket's own error is in the misfit above as well, the other way round: what is common is taken out.
                    let above = square(drops.tape) + square(drops.spread * bucket);
                    let common = -surface * square(drops.tape);
                    off -= common / above * (weather - bucket);
                    variance -= square(common) / above;
                }
                out.push(off / libm::sqrt(variance));
            }
        }
        // Where falls are what the drops leave, more cannot be lost than drops.
        if falls.is_none()
            && let Some((volume, deviation)) = drops.beyond(guess.loss + self.splash)
        {
            out.push(-volume.min(0.0) / deviation);
        }
    }

    /// From one mark to another at this guess: the tracer, and the alkalinity in mol/m³.
    pub fn between(&mut self, guess: &Guess, from: usize, to: usize) -> Option<(f64, f64)> {
        let day = self.marks.get(to)?.day;
        let mut water = None;
        self.follow(guess, from, day, 0.0, |_, pond| water = Some(pond.water()));
        let water = water?;
        Some((self.tracer_of(day, &water), water[solute::ALKALINITY]))
    }

    /// How far the tracer of each pair of neighbouring marks is from what the model makes of the first of them, in standard
    /// deviations: read less modelled.
    pub fn steps(&mut self, guess: &Guess) -> Vec<(usize, usize, f64)> {
        let traced = self.traced();
        let mut out = Vec::new();
        for (from, to) in traced.iter().zip(traced.iter().skip(1)) {
            let Some((found, _)) = self.between(guess, *from, *to) else { continue };
            let tracer = |at: &usize| self.marks.get(*at).and_then(|mark| mark.tracer);
            let (Some((before, first)), Some((after, second))) = (tracer(from), tracer(to)) else { continue };
            let deviation = libm::hypot(second, first * found / before);
            out.push((*from, *to, (after - found) / deviation));
        }
        out
    }

    /// What the log tells. `free` says which of the two numbers is looked for at all (loss, factor), `taken` what is taken for
    /// them without the log.
    pub fn explain(&mut self, free: (bool, bool), taken: &Guess, limits: &Limits) -> Told {
        let mut broken: Vec<(usize, usize)> = Vec::new();
        let pairs = self.traced().len().saturating_sub(1);
        loop {
            let mut told = self.tell(free, taken, limits);
            let steps = self.steps(&told.guess);
            let worst = steps
                .iter()
                .filter(|(from, to, off)| off.abs() > CONTRADICTS && !broken.contains(&(*from, *to)))
                .max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()));
            match worst {
                // One pair in three may be left out, and four in all; a log that disagrees more is no log of this model.
                Some((from, to, _)) if 3 * (broken.len() + 1) <= pairs.max(3) && broken.len() < MOST_BROKEN => {
                    broken.push((*from, *to));
                    self.starts.push(*to);
                }
                _ => {
                    broken.extend(worst.map(|(from, to, _)| (*from, *to)));
                    broken.sort_unstable();
                    told.broken = broken;
                    return told;
                }
            }
        }
    }

    /// One round of [`Past::explain`]: the fit with the starts as they are, and what it tells.
    fn tell(&mut self, free: (bool, bool), taken: &Guess, limits: &Limits) -> Told {
        let enough = self.runs().iter().map(Vec::len).sum::<usize>() >= FEWEST;
        let free = if enough { free } else { (false, false) };
        let both = self.fit(free, taken, limits);
        let tells = |told: &Told| (told.loss.told || !free.0, told.factor.told || !free.1);
        // What the log does not tell is held at what is taken without it, and the other looked for again.
        let again = match tells(&both) {
            (true, true) => return both,
            (false, true) => (false, free.1),
            // The factor has a source of its own; the loss has none.
            (true, false) | (false, false) => (free.0, false),
        };
        let mut one = self.fit(again, taken, limits);
        let open = (free.0 && !again.0, free.1 && !again.1);
        if (again.0 && !one.loss.told) || (again.1 && !one.factor.told) {
            let ranges = (one.loss, one.factor);
            one = self.fit((false, false), taken, limits);
            if again.0 {
                one.loss = Estimate { at: taken.loss, told: false, ..ranges.0 };
            }
            if again.1 {
                one.factor = Estimate { at: taken.factor, told: false, ..ranges.1 };
            }
        }
        if open.0 {
            one.loss = Estimate { at: taken.loss, told: false, ..both.loss };
        }
        if open.1 {
            one.factor = Estimate { at: taken.factor, told: false, ..both.factor };
        }
        one
    }

    /// Least squares over what is free.
    fn fit(&mut self, free: (bool, bool), taken: &Guess, limits: &Limits) -> Told {
        let runs = self.runs().len();
        let mut bounds = Vec::new();
        let mut start = Vec::new();
        let mut look = |free: bool, from: f64, within: (f64, f64)| {
            if free {
                bounds.push(within);
                start.push(from);
            }
        };
        look(free.0, taken.loss, (0.0, limits.loss));
        look(free.1, taken.factor, limits.factor);
        // Four deviations hold all that is worth allowing for.
        let doubts = self.doubts;
        look(doubts.rain > 0.0, 1.0, ((1.0 - 4.0 * doubts.rain).max(0.0), 1.0 + 4.0 * doubts.rain));
        look(doubts.supply > 0.0, 1.0, ((1.0 - 4.0 * doubts.supply).max(0.1), 1.0 + 4.0 * doubts.supply));
        let numbers = bounds.len();
        bounds.extend(std::iter::repeat_n((-0.2, 0.2), runs));
        start.extend(std::iter::repeat_n(0.0, runs));
        let guess = |at: &[f64]| {
            let mut at = at.iter().copied();
            let mut next = |free: bool, known: f64| if free { at.next().unwrap_or(known) } else { known };
            Guess {
                loss: next(free.0, taken.loss),
                factor: next(free.1, taken.factor),
                rain: next(doubts.rain > 0.0, 1.0),
                supply: next(doubts.supply > 0.0, 1.0),
            }
        };
        let mut of = |at: &[f64]| self.misfits(&guess(at), at.get(numbers..).unwrap_or_default());
        let found = least_squares(&start, &bounds, &mut of).settled(&bounds, &mut of);
        let at = guess(&found.at);
        let mut place = 0..;
        let looked = [free.0, free.1, doubts.rain > 0.0, doubts.supply > 0.0];
        let places = looked.map(|free| if free { place.next() } else { None });
        let ranged = places.map(|place| place.map(|place| (place, found.range(place, &bounds))));
        let estimate = |range: &Option<(usize, Ranged)>, at: f64, width: f64| match range {
            Some((_, Ranged { low, high, .. })) => {
                Estimate { at, low: *low, high: *high, told: high - low < TELLS * width }
            }
            None => Estimate { at, low: at, high: at, told: false },
        };
        let loss = estimate(&ranged[0], at.loss, limits.loss);
        let factor = estimate(&ranged[1], at.factor, limits.factor.1 - limits.factor.0);
        let number = |range: Option<(usize, Ranged)>| {
            let (place, Ranged { ends, .. }) = range?;
            let slopes = found.columns.get(place)?.clone();
            Some(Number { at: *found.at.get(place)?, bounds: *bounds.get(place)?, slopes, ends })
        };
        let marked = self.marked().into_iter().chain(std::iter::repeat(Of::Other));
        let closing = Closing {
            misfits: marked.zip(found.misfits.iter().copied()).collect(),
            numbers: ranged.map(number),
            spare: found.spare(),
        };
        Told {
            loss,
            factor,
            guess: at,
            sum: found.sum,
            misfits: found.misfits.len(),
            gain: found.gain,
            rounds: found.rounds,
            broken: Vec::new(),
            closing,
        }
    }
}

impl Drops {
    /// The drops with the pump on that have evaporation beside them, with it.
    fn pairs(&self) -> impl Iterator<Item = (f64, f64, f64)> {
        self.list.iter().filter_map(|drop| Some((drop.running?, drop.evaporation()?, drop.named)))
    }

    /// What drops with the pump on beyond evaporation of all open surface and a loss, m³ over all such days, and its
    /// standard deviation.
    #[must_use]
    pub fn beyond(&self, loss: f64) -> Option<(f64, f64)> {
        let days = self.pairs().count();
        let volume: f64 = self
            .pairs()
            .map(|(running, evaporation, named)| running * self.own - named - loss - evaporation * self.all)
            .sum();
        let deviation = self.tape * libm::hypot(self.own, self.all) * libm::sqrt(days as f64);
        (days > 0).then_some((volume, deviation))
    }

    /// What falls and streams evaporate beyond still water, as a share of it: what the drops leave when a loss is taken off.
    #[must_use]
    pub fn falls(&self, loss: f64) -> Option<f64> {
        let evaporation: f64 = self.pairs().map(|(_, evaporation, _)| evaporation).sum();
        let (volume, _) = self.beyond(loss)?;
        (evaporation > 0.0).then(|| volume / (evaporation * self.all))
    }
}

/// A bounded least-squares problem solved.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// Where.
    pub at: Vec<f64>,
    /// Sum of squares there.
    pub sum: f64,
    /// The misfits there.
    pub misfits: Vec<f64>,
    /// What one more step would take off the sum, by the straightened problem: nothing at the least.
    pub gain: f64,
    /// Rounds.
    pub rounds: u32,
    /// Slopes of the misfits, a column for each number.
    columns: Vec<Vec<f64>>,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// What misfits become by steps, if their slopes do not change.
fn straightened(columns: &[Vec<f64>], misfits: &[f64], steps: &[f64]) -> Vec<f64> {
    let mut left = misfits.to_vec();
    for (column, step) in columns.iter().zip(steps) {
        for (left, slope) in left.iter_mut().zip(column) {
            *left += slope * step;
        }
    }
    left
}

/// The least of g·d + ½ d·H·d with every d between `low` and `high`, one number after the other until none moves. H is made
/// of `columns`, with `weight` added along its diagonal as a share of it.
fn boxed(columns: &[Vec<f64>], misfits: &[f64], weight: f64, bounds: &[(f64, f64)]) -> Vec<f64> {
    let mut steps: Vec<f64> = bounds.iter().map(|(low, high)| 0.0_f64.clamp(*low, *high)).collect();
    let mut left = straightened(columns, misfits, &steps);
    for _ in 0..5_000 {
        let mut moved = 0.0_f64;
        for ((column, step), (low, high)) in columns.iter().zip(steps.iter_mut()).zip(bounds) {
            let steep = dot(column, column);
            if steep <= 0.0 {
                continue;
            }
            let wanted = (*step * steep - dot(column, &left)) / (steep * (1.0 + weight));
            let next = wanted.clamp(*low, *high);
            let by = next - *step;
            for (left, slope) in left.iter_mut().zip(column) {
                *left += slope * by;
            }
            *step = next;
            moved = moved.max(by.abs() * libm::sqrt(steep));
        }
        if moved < 1e-10 {
            break;
        }
    }
    steps
}

/// Slopes of the misfits at a place, a column for each number: across both sides, or to one side where there is room.
fn slopes(
    at: &[f64],
    here: &[f64],
    bounds: &[(f64, f64)],
    both: bool,
    misfits: &mut impl FnMut(&[f64]) -> Vec<f64>,
) -> Vec<Vec<f64>> {
    let mut columns = Vec::with_capacity(bounds.len());
    for (which, (low, high)) in bounds.iter().enumerate() {
        let mut shifted = |by: f64| {
            let mut there = at.to_vec();
            let mut moved = 0.0;
            if let Some(x) = there.get_mut(which) {
                let next = (*x + by).clamp(*low, *high);
                moved = next - *x;
                *x = next;
            }
            (moved, if moved == 0.0 { here.to_vec() } else { misfits(&there) })
        };
        let small = 1e-4 * (high - low);
        let (up, over) = shifted(small);
        let (down, under) = if both || up == 0.0 { shifted(-small) } else { (0.0, here.to_vec()) };
        let width = up - down;
        let rise = |(a, b): (&f64, &f64)| if width > 0.0 { (a - b) / width } else { 0.0 };
        columns.push(over.iter().zip(&under).map(rise).collect::<Vec<f64>>());
    }
    columns
}

/// From each number to its bounds.
fn room(at: &[f64], bounds: &[(f64, f64)]) -> Vec<(f64, f64)> {
    at.iter().zip(bounds).map(|(x, (low, high))| (low - x, high - x)).collect()
}

/// The least sum of squares of `misfits` over numbers within bounds: Levenberg and Marquardt's way, each round's step the
/// least of the straightened problem within the bounds.
pub fn least_squares(start: &[f64], bounds: &[(f64, f64)], mut misfits: impl FnMut(&[f64]) -> Vec<f64>) -> Solved {
    let square = |list: &[f64]| dot(list, list);
    let mut at: Vec<f64> = start.iter().zip(bounds).map(|(x, (low, high))| x.clamp(*low, *high)).collect();
    let mut here = misfits(&at);
    let mut sum = square(&here);
    let mut weight = 1e-3;
    let mut rounds = 0;
    let mut columns = Vec::new();
    let mut gain = 0.0;
    // Slopes to one side are cheap and lead near; slopes across both sides decide where the search ends.
    let mut both = false;
    while rounds < 60 {
        rounds += 1;
        columns = slopes(&at, &here, bounds, both, &mut misfits);
        let room = room(&at, bounds);
        gain = (sum - square(&straightened(&columns, &here, &boxed(&columns, &here, 0.0, &room)))).max(0.0);
        if both && gain < 1e-12 * (1.0 + sum) {
            break;
        }
        let mut better = false;
        while weight < 1e12 {
            let step = boxed(&columns, &here, weight, &room);
            let next: Vec<f64> =
                at.iter().zip(&step).zip(bounds).map(|((x, d), (low, high))| (x + d).clamp(*low, *high)).collect();
            let there = misfits(&next);
            let found = square(&there);
            if found < sum {
                let gained = sum - found;
                (at, here, sum) = (next, there, found);
                weight = (weight * 0.1).max(1e-9);
                better = gained > if both { 1e-12 } else { 1e-6 } * (1.0 + sum);
                break;
            }
            weight *= 10.0;
        }
        if !better {
            if both {
                break;
            }
            both = true;
            weight = 1e-3;
        }
    }
    Solved { at, sum, misfits: here, gain, rounds, columns }
}

impl Solved {
    /// Carries it on by steps of the straightened problem until none is left to see: the sum itself is too flat at its foot to
    /// lead there. Slopes are taken anew only where a step goes so far that they may have changed.
    #[must_use]
    pub fn settled(mut self, bounds: &[(f64, f64)], mut misfits: impl FnMut(&[f64]) -> Vec<f64>) -> Self {
        let mut last = f64::INFINITY;
        for _ in 0..12 {
            let room = room(&self.at, bounds);
            let steps = boxed(&self.columns, &self.misfits, 0.0, &room);
            let left = straightened(&self.columns, &self.misfits, &steps);
            self.gain = (self.sum - dot(&left, &left)).max(0.0);
            let moved = |(step, column): (&f64, &Vec<f64>)| step.abs() * libm::sqrt(dot(column, column));
            let size = steps.iter().zip(&self.columns).map(moved).fold(0.0, f64::max);
            if size < SETTLED || size > last {
                break;
            }
            last = size;
            let next: Vec<f64> = self
                .at
                .iter()
                .zip(&steps)
                .zip(bounds)
                .map(|((x, d), (low, high))| (x + d).clamp(*low, *high))
                .collect();
            let there = misfits(&next);
            let sum = dot(&there, &there);
            if sum > self.sum * (1.0 + 1e-6) {
                break;
            }
            (self.at, self.misfits, self.sum) = (next, there, sum);
            self.rounds += 1;
            if size > FAR {
                self.columns = slopes(&self.at, &self.misfits, bounds, true, &mut misfits);
            }
        }
        self
    }

    /// Misfits less numbers, at least one.
    #[must_use]
    pub fn spare(&self) -> usize {
        self.misfits.len().saturating_sub(self.at.len()).max(1)
    }

    /// The 90 % range of one number: where the sum of squares has risen by so much, the others following, by the straightened
    /// problem within the bounds. Where the misfits are larger than their standard deviations say, it is widened by as much.
    #[must_use]
    pub fn range(&self, which: usize, bounds: &[(f64, f64)]) -> Ranged {
        let (Some(at), Some((low, high)), Some(column)) =
            (self.at.get(which), bounds.get(which), self.columns.get(which))
        else {
            return Ranged { low: f64::NAN, high: f64::NAN, ends: [None; 2] };
        };
        let allowed = self.sum + NINE_TENTHS * (self.sum / self.spare() as f64).max(1.0);
        let room = room(&self.at, bounds);
        let steps_at = |value: f64| {
            let held: Vec<(f64, f64)> = room
                .iter()
                .enumerate()
                .map(|(place, room)| if place == which { (value - at, value - at) } else { *room })
                .collect();
            boxed(&self.columns, &self.misfits, 0.0, &held)
        };
        let sum_at = |value: f64| {
            let left = straightened(&self.columns, &self.misfits, &steps_at(value));
            dot(&left, &left)
        };
        let end = |edge: f64| {
            if sum_at(edge) <= allowed {
                return (edge, None);
            }
            let (mut inside, mut outside) = (*at, edge);
            for _ in 0..50 {
                let middle = 0.5 * (inside + outside);
                if sum_at(middle) <= allowed { inside = middle } else { outside = middle }
            }
            let found = 0.5 * (inside + outside);
            let mut others = steps_at(found);
            if let Some(own) = others.get_mut(which) {
                *own = 0.0;
            }
            let left = straightened(&self.columns, &self.misfits, &others);
            let end = End { squares: dot(&left, &left), cross: dot(&left, column), bend: dot(column, column) };
            (found, Some(end))
        };
        let ((low, under), (high, over)) = (end(*low), end(*high));
        Ranged { low, high, ends: [under, over] }
    }
}

/// The range of a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranged {
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// How the sum comes to its limit at both; none where the bound comes first.
    pub ends: [Option<End>; 2],
}
