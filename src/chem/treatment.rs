//! What a course of additions does to a water, day by day, and the least that brings it where it should be.
//!
//! Each act is a map from water to water ([`Water`]); this file looks at the water after it, at once (closed) and after the air
//! has had its say (at rest), and turns the question round: how much reaches a hardness, a calcium, a conductivity, all of
//! them together, without passing a limit. Bare numbers, amounts in mol per kg of water unless said.

use std::fmt;

use super::composition::{Composed, Readings, Trouble, compose};
use super::gases;
use super::solution::{AIR, Water};
use super::speciation::{Refusal, State};
use crate::reference::chemistry::{Addition, CALCITE, CALCIUM, CHLORIDE, MAGNESIUM};

/// A water and all that is asked of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Its ions.
    pub water: Water,
    /// Its species: pH, copper's forms, saturations.
    pub state: State,
    /// At 25 °C, closed, µS/cm.
    pub conductivity_25: f64,
    /// Un-ionised ammonia.
    pub unionised: f64,
}

impl Stage {
    /// As the water is, no gas exchanged.
    ///
    /// # Errors
    /// As [`speciate`](super::speciation::speciate).
    pub fn closed(water: Water) -> Result<Self, Refusal> {
        let state = water.closed()?;
        Self::of(water, state)
    }

    /// At rest with air.
    ///
    /// # Errors
    /// As [`speciate`](super::speciation::speciate).
    pub fn at_rest(water: &Water) -> Result<Self, Refusal> {
        let (water, state) = water.opened(AIR)?;
        Self::of(water, state)
    }

    fn of(water: Water, state: State) -> Result<Self, Refusal> {
        let unionised = water.ammonia * gases::unionised_share(state.ph, state.celsius);
        Ok(Self { water, conductivity_25: water.conductivity_25()?, state, unionised })
    }

    /// Saturation index of lime; `None` without calcium or carbonate.
    #[must_use]
    pub fn lime(&self) -> Option<f64> {
        self.state.saturation(CALCITE)
    }
}

/// A day of a course.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// After this day's dose where no gas was exchanged since the start.
    pub closed: Stage,
    /// After this day's dose, at rest with air.
    pub rest: Stage,
    /// By how much the dose moves pH at once.
    pub at_once: f64,
    /// By how much it moves pH at rest with air: the dose's part. On the first day the water's own way to the air is counted in,
    /// unless that alone passes the limit on a step.
    pub at_rest: f64,
}

impl Day {
    /// The larger of the two moves, without sign.
    #[must_use]
    pub fn step(&self) -> f64 {
        self.at_once.abs().max(self.at_rest.abs())
    }
}

/// So many equal days of `daily` mol/kg of a substance, from a water as it was read. `limit`: the most that pH may move in a
/// day; it only says whether the water's own drift to the air counts.
///
/// # Errors
/// As [`speciate`](super::speciation::speciate).
pub fn course(water: &Water, substance: &Addition, daily: f64, days: u32, limit: f64) -> Result<Vec<Day>, Refusal> {
    let mut now = water.closed()?.ph;
    let mut rest_before = water.opened(AIR)?.1.ph;
    let drift = rest_before - now;
    let mut dosed = *water;
    let mut out = Vec::new();
    for day in 0..days {
        dosed = dosed.with(substance, daily);
        let closed = Stage::closed(dosed)?;
        let rest = Stage::at_rest(&dosed)?;
        let own = if day == 0 && drift.abs() <= limit { drift } else { 0.0 };
        let at_once = closed.state.ph - now;
        let at_rest = rest.state.ph - rest_before + own;
        (now, rest_before) = (closed.state.ph, rest.state.ph);
        out.push(Day { closed, rest, at_once, at_rest });
    }
    Ok(out)
}

/// What no day of a course may pass. Infinite where nothing is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayLimits {
    /// Move of pH.
    pub ph: f64,
    /// Rise of alkalinity, mol of charge.
    pub alkalinity: f64,
    /// Rise of calcium and magnesium.
    pub hardness: f64,
    /// Chloride's rise.
    pub chloride: f64,
}

impl DayLimits {
    /// The fewest days that the amounts alone ask for.
    #[must_use]
    pub fn fewest(&self, substance: &Addition, amount: f64) -> f64 {
        let brought = |wanted: &[usize]| -> f64 {
            substance.ions.iter().filter(|(ion, _)| wanted.contains(ion)).map(|(_, count)| count).sum()
        };
        [
            (substance.alkalinity.abs(), self.alkalinity),
            (brought(&[CALCIUM, MAGNESIUM]), self.hardness),
            (brought(&[CHLORIDE]), self.chloride),
        ]
        .into_iter()
        .map(|(each, limit)| each * amount / limit)
        // A whole number of days that came out a hair over is that number.
        .fold(1.0, |most: f64, days| most.max(libm::ceil(days - 1e-9)))
    }
}

/// The fewest equal days in which `amount` mol/kg of a substance goes in without a day passing `limits`; `None` where `most` days
/// are too few.
///
/// # Errors
/// As [`speciate`](super::speciation::speciate).
pub fn fewest_days(
    water: &Water,
    substance: &Addition,
    amount: f64,
    limits: &DayLimits,
    most: u32,
) -> Result<Option<Vec<Day>>, Refusal> {
    let first = limits.fewest(substance, amount);
    if first > f64::from(most) {
        return Ok(None);
    }
    for days in (1..=most).filter(|days| f64::from(*days) >= first) {
        let found = course(water, substance, amount / f64::from(days), days, limits.ph)?;
        if found.iter().all(|day| day.step() <= limits.ph) {
            return Ok(Some(found));
        }
    }
    Ok(None)
}

impl Water {
    /// This water after a mass share of it has gone into the air and been made up from a supply, closed: a top-up. What was dissolved
    /// stays.
    #[must_use]
    pub fn topped_up(&self, supply: &Self, share: f64) -> Self {
        let mut water = *self;
        for (mine, theirs) in water.totals.iter_mut().zip(&supply.totals) {
            *mine += share * theirs;
        }
        water.alkalinity += share * supply.alkalinity;
        water.ammonia += share * supply.ammonia;
        water.celsius += share * (supply.celsius - self.celsius);
        water
    }

    /// mol/kg of a substance that bring the alkalinity to a target: 0 where it is reached already, `None` where the substance
    /// brings none.
    #[must_use]
    pub fn dose_to_alkalinity(&self, substance: &Addition, target: f64) -> Option<f64> {
        (substance.alkalinity > 0.0).then(|| ((target - self.alkalinity) / substance.alkalinity).max(0.0))
    }

    /// The same for calcium.
    #[must_use]
    pub fn dose_to_calcium(&self, substance: &Addition, target: f64) -> Option<f64> {
        let each = brings(substance, CALCIUM);
        (each > 0.0).then(|| ((target - self.totals[CALCIUM]) / each).max(0.0))
    }
}

fn brings(substance: &Addition, wanted: usize) -> f64 {
    substance.ions.iter().filter(|(ion, _)| *ion == wanted).map(|(_, count)| count).sum()
}

// The joint correction.

/// A substance that may be used, as it is sold.
#[derive(Clone, Copy, Debug)]
pub struct Remedy {
    /// What it is.
    pub substance: &'static Addition,
    /// Share of the substance in the product.
    pub purity: f64,
}

impl Remedy {
    /// Grams of the product in a mole.
    #[must_use]
    pub fn weight(&self) -> f64 {
        self.substance.molar_mass / self.purity
    }
}

/// Where the water should be, at least. Zero where nothing is asked.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Goals {
    /// mol of charge.
    pub alkalinity: f64,
    /// Calcium.
    pub calcium: f64,
    /// At 25 °C, µS/cm.
    pub conductivity: f64,
}

/// What the corrected water may not pass. Infinite where nothing is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// mol of charge.
    pub alkalinity: f64,
    /// Calcium and magnesium.
    pub hardness: f64,
    /// Chloride.
    pub chloride: f64,
    /// pH, closed and at rest with air.
    pub ph: f64,
    /// Un-ionised ammonia, closed and at rest.
    pub unionised: f64,
    /// Saturation index of lime, closed and at rest.
    pub lime: f64,
}

impl Bounds {
    /// No bound at all.
    pub const NONE: Bounds = Bounds {
        alkalinity: f64::INFINITY,
        hardness: f64::INFINITY,
        chloride: f64::INFINITY,
        ph: f64::INFINITY,
        unionised: f64::INFINITY,
        lime: f64::INFINITY,
    };
}

/// What stands in the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bar {
    /// Alkalinity.
    Alkalinity,
    /// Calcium or hardness.
    Hardness,
    /// Chloride.
    Chloride,
    /// pH.
    Ph,
    /// Un-ionised ammonia.
    Ammonia,
    /// Lime would come down.
    Lime,
}

/// Why there is no correction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unmet {
    /// None of the substances brings what a goal asks for, or the bounds leave no room for all goals.
    NoRoom,
    /// The conductivity is out of reach inside the bounds: the highest that is not, µS/cm.
    Conductivity {
        /// µS/cm at 25 °C.
        highest: f64,
    },
    /// The least correction would pass this bound, and no other is inside it.
    Barred {
        /// Which.
        by: Bar,
    },
    /// The chemistry refuses.
    Refused(Refusal),
}

impl From<Refusal> for Unmet {
    fn from(refusal: Refusal) -> Self {
        Unmet::Refused(refusal)
    }
}

impl fmt::Display for Unmet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unmet::NoRoom => write!(f, "no amounts of these substances meet all goals inside the bounds"),
            Unmet::Conductivity { highest } => {
                write!(f, "inside the bounds the conductivity comes to {highest:.0} µS/cm at most")
            }
            Unmet::Barred { by } => write!(
                f,
                "every correction that meets the goals passes the bound on {}",
                match by {
                    Bar::Alkalinity => "carbonate hardness",
                    Bar::Hardness => "general hardness",
                    Bar::Chloride => "chloride",
                    Bar::Ph => "pH",
                    Bar::Ammonia => "un-ionised ammonia",
                    Bar::Lime => "saturation of lime",
                }
            ),
            Unmet::Refused(refusal) => refusal.fmt(f),
        }
    }
}

/// The least that meets all goals.
#[derive(Clone, Debug)]
pub struct Correction {
    /// mol/kg of each remedy, in their order.
    pub amounts: Vec<f64>,
    /// g of all products together, per kg of water.
    pub grams: f64,
    /// The water with all of it, closed.
    pub closed: Stage,
    /// The same at rest with air.
    pub rest: Stage,
}

/// Σ a x ≥ b.
struct Plane {
    a: Vec<f64>,
    b: f64,
}

/// How far a point may stand behind a plane and still touch it: a share of the largest amount in play.
const TOUCH: f64 = 1e-9;
/// Rounds in which a bound that is no plane is turned into one.
const ROUNDS: usize = 4;

/// The least mass of products that brings `water` to all goals at once and passes no bound; nothing where it is there already.
///
/// Goals and bounds on amounts are planes, the mass is linear, and conductivity grows with every salt and bends so little that the least
/// lies on an edge of the room the planes enclose: every edge is walked to where the conductivity is reached, and the lightest
/// place wins. pH, ammonia and lime are held against the finished water; where the lightest place passes one of them, the
/// amount that drives it is bounded where it meets the limit and the search goes round again. (Salt holds a little more lime in
/// solution; it is not added for that.)
///
/// # Errors
/// [`Unmet`], with what stands in the way.
pub fn correct(water: &Water, remedies: &[Remedy], goals: &Goals, bounds: &Bounds) -> Result<Correction, Unmet> {
    let start = Stage::closed(*water)?;
    let n = remedies.len();
    let row = |each: &dyn Fn(&Addition) -> f64| -> Vec<f64> { remedies.iter().map(|r| each(r.substance)).collect() };
    let alkalinity = row(&|s| s.alkalinity);
    let calcium = row(&|s| brings(s, CALCIUM));
    let hardness = row(&|s| brings(s, CALCIUM) + brings(s, MAGNESIUM));
    let chloride = row(&|s| brings(s, CHLORIDE));
    let negative = |a: &[f64]| -> Vec<f64> { a.iter().map(|v| -v).collect() };
    let mut planes: Vec<Plane> =
        (0..n).map(|i| Plane { a: (0..n).map(|k| if k == i { 1.0 } else { 0.0 }).collect(), b: 0.0 }).collect();
    planes.push(Plane { a: alkalinity.clone(), b: goals.alkalinity - water.alkalinity });
    planes.push(Plane { a: calcium.clone(), b: goals.calcium - water.totals[CALCIUM] });
    let hard = water.totals[CALCIUM] + water.totals[MAGNESIUM];
    for (a, most, has) in [
        (&alkalinity, bounds.alkalinity, water.alkalinity),
        (&hardness, bounds.hardness, hard),
        (&chloride, bounds.chloride, water.totals[CHLORIDE]),
    ] {
        if most.is_finite() {
            // A water that is over already may stay where it is, and go no further.
            planes.push(Plane { a: negative(a), b: -(most - has).max(0.0) });
        }
    }
    let made = |x: &[f64]| -> Water {
        remedies.iter().zip(x).fold(*water, |water, (remedy, amount)| water.with(remedy.substance, *amount))
    };
    // What the water passes already as it is may stay so, and be pushed no further.
    let start_rest = Stage::at_rest(water)?;
    let passes = |closed: &Stage, rest: &Stage| -> Option<Bar> {
        [(closed, &start), (rest, &start_rest)].into_iter().find_map(|(stage, before)| {
            let lime = before.lime().map_or(bounds.lime, |si| si.max(bounds.lime));
            if stage.lime().is_some_and(|si| si > lime + 1e-6) {
                Some(Bar::Lime)
            } else if stage.state.ph > bounds.ph.max(before.state.ph) + 1e-6 {
                Some(Bar::Ph)
            } else if stage.unionised > bounds.unionised.max(before.unionised) * (1.0 + 1e-6) {
                Some(Bar::Ammonia)
            } else {
                None
            }
        })
    };
    let mut barred = None;
    for _ in 0..ROUNDS {
        let x = match lightest(remedies, &planes, &made, goals.conductivity, start.conductivity_25) {
            Ok(x) => x,
            Err(unmet) => return Err(barred.map_or(unmet, |by| Unmet::Barred { by })),
        };
        let finished = made(&x);
        let (closed, rest) = (Stage::closed(finished)?, Stage::at_rest(&finished)?);
        let Some(by) = passes(&closed, &rest) else {
            let grams = x.iter().zip(remedies).map(|(amount, remedy)| amount * remedy.weight()).sum();
            return Ok(Correction { amounts: x, grams, closed, rest });
        };
        barred = Some(by);
        // Lime is driven by calcium where some was added beyond need, else by alkalinity; pH and ammonia by alkalinity.
        let sum = |a: &[f64]| -> f64 { a.iter().zip(&x).map(|(a, x)| a * x).sum() };
        let beyond = |a: &[f64], goal: f64, has: f64| sum(a) > (goal - has).max(0.0) * (1.0 + 1e-6) + 1e-9;
        let spare_calcium = beyond(&calcium, goals.calcium, water.totals[CALCIUM]);
        let (driver, keep) = if by == Bar::Lime && spare_calcium {
            (&calcium, (goals.calcium - water.totals[CALCIUM]).max(0.0))
        } else if beyond(&alkalinity, goals.alkalinity, water.alkalinity) {
            (&alkalinity, (goals.alkalinity - water.alkalinity).max(0.0))
        } else {
            return Err(Unmet::Barred { by });
        };
        // How much of the driver may stay, all else as found: between need and what was found.
        let over = |share: f64| -> Option<bool> {
            let scaled: Vec<f64> = x.iter().zip(driver).map(|(x, d)| if *d > 0.0 { x * share } else { *x }).collect();
            let finished = made(&scaled);
            let (closed, rest) = (Stage::closed(finished).ok()?, Stage::at_rest(&finished).ok()?);
            Some(passes(&closed, &rest).is_some())
        };
        let (mut low, mut high) = (keep / sum(driver), 1.0);
        if over(low).unwrap_or(true) {
            return Err(Unmet::Barred { by });
        }
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if over(middle).unwrap_or(true) { high = middle } else { low = middle }
        }
        planes.push(Plane { a: negative(driver), b: -low * sum(driver) });
    }
    Err(barred.map_or(Unmet::NoRoom, |by| Unmet::Barred { by }))
}

/// The lightest place behind all planes where the conductivity is reached.
fn lightest(
    remedies: &[Remedy],
    planes: &[Plane],
    made: &dyn Fn(&[f64]) -> Water,
    goal: f64,
    here: f64,
) -> Result<Vec<f64>, Unmet> {
    let n = remedies.len();
    let weigh = |x: &[f64]| -> f64 { x.iter().zip(remedies).map(|(x, r)| x * r.weight()).sum() };
    let behind = |plane: &Plane, x: &[f64]| -> f64 { plane.a.iter().zip(x).map(|(a, x)| a * x).sum::<f64>() - plane.b };
    let size = planes.iter().map(|p| p.b.abs()).fold(1e-3, f64::max);
    let inside = |x: &[f64]| planes.iter().all(|p| behind(p, x) >= -TOUCH * size);
    // Where no conductivity is asked for, none is worked out: every place conducts enough.
    let conducts = |x: &[f64]| if goal > 0.0 { made(x).conductivity_25() } else { Ok(0.0) };
    if n == 0 || inside(&vec![0.0; n]) && here >= goal {
        let x = vec![0.0; n];
        return if inside(&x) && here >= goal { Ok(x) } else { Err(Unmet::NoRoom) };
    }
    let mut best: Option<(f64, Vec<f64>)> = None;
    let mut highest: Option<f64> = None;
    let mut offer = |x: Vec<f64>| {
        let grams = weigh(&x);
        if best.as_ref().is_none_or(|(least, _)| grams < *least) {
            best = Some((grams, x));
        }
    };
    for edge in choices(planes.len(), n - 1) {
        let chosen: Vec<&Plane> = edge.iter().filter_map(|i| planes.get(*i)).collect();
        let Some((origin, direction)) = line(&chosen, n) else { continue };
        // From where to where the edge lies behind all other planes.
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for plane in planes {
            let (at, slope) = (behind(plane, &origin), plane.a.iter().zip(&direction).map(|(a, d)| a * d).sum::<f64>());
            if slope.abs() < 1e-12 {
                if at < -TOUCH * size {
                    (low, high) = (1.0, 0.0);
                }
            } else if slope > 0.0 {
                low = low.max(-at / slope);
            } else {
                high = high.min(-at / slope);
            }
        }
        if low > high + TOUCH * size || !low.is_finite() {
            continue;
        }
        let place = |t: f64| -> Vec<f64> { origin.iter().zip(&direction).map(|(o, d)| (o + t * d).max(0.0)).collect() };
        let at_low = conducts(&place(low))?;
        highest = Some(highest.map_or(at_low, |h: f64| h.max(at_low)));
        if at_low >= goal {
            offer(place(low));
        }
        let high = if high.is_finite() { high.max(low) } else { low + 0.2 };
        // Beyond the range of the chemistry there is more salt than any goal asks for.
        let far = conducts(&place(high));
        if let Ok(at_high) = far {
            highest = Some(highest.map_or(at_high, |h| h.max(at_high)));
            if at_high >= goal {
                offer(place(high));
            }
        }
        let over = |t: f64| conducts(&place(t)).map_or(1.0, |value| value - goal);
        let ends = (at_low - goal, far.map_or(1.0, |value| value - goal));
        if (ends.0 < 0.0) != (ends.1 < 0.0) {
            offer(place(super::solution::root(low, ends.0, high, over)));
        }
    }
    match (best, highest) {
        (Some((_, x)), _) => Ok(x),
        (None, Some(highest)) => Err(Unmet::Conductivity { highest }),
        (None, None) => Err(Unmet::NoRoom),
    }
}

/// All ways to choose `k` of `n`.
fn choices(n: usize, k: usize) -> Vec<Vec<usize>> {
    let mut out = vec![Vec::new()];
    for _ in 0..k {
        out = out
            .into_iter()
            .flat_map(|chosen: Vec<usize>| {
                let from = chosen.last().map_or(0, |last| last + 1);
                (from..n).map(move |next| {
                    let mut longer = chosen.clone();
                    longer.push(next);
                    longer
                })
            })
            .collect();
    }
    out
}

/// The line in which n - 1 planes meet: a point of it and its direction. `None` where they do not meet in one.
fn line(planes: &[&Plane], n: usize) -> Option<(Vec<f64>, Vec<f64>)> {
    let mut rows: Vec<Vec<f64>> = planes.iter().map(|p| p.a.iter().copied().chain([p.b]).collect()).collect();
    let mut pivots = Vec::new();
    for column in 0..n {
        let from = pivots.len();
        let Some(best) = (from..rows.len()).max_by(|a, b| rows[*a][column].abs().total_cmp(&rows[*b][column].abs()))
        else {
            break;
        };
        if rows[best][column].abs() < 1e-12 {
            continue;
        }
        rows.swap(from, best);
        let over = 1.0 / rows[from][column];
        rows[from].iter_mut().for_each(|v| *v *= over);
        let top = rows[from].clone();
        for (i, row) in rows.iter_mut().enumerate() {
            if i != from {
                let f = row[column];
                row.iter_mut().zip(&top).for_each(|(v, t)| *v -= f * t);
            }
        }
        pivots.push(column);
    }
    if pivots.len() != n - 1 {
        return None;
    }
    let free = (0..n).find(|c| !pivots.contains(c))?;
    let (mut origin, mut direction) = (vec![0.0; n], vec![0.0; n]);
    direction[free] = 1.0;
    for (row, column) in rows.iter().zip(&pivots) {
        origin[*column] = row[n];
        direction[*column] = -row[free];
    }
    Some((origin, direction))
}

// Ranges.

/// A value with the lowest and highest it may stand for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Lowest.
    pub low: f64,
    /// As read.
    pub best: f64,
    /// Highest.
    pub high: f64,
}

/// By how much each reading may lie below and above what was read, in the units of [`Readings`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[expect(missing_docs, reason = "the names are the readings")]
pub struct Steps {
    pub celsius: (f64, f64),
    pub ph: (f64, f64),
    pub alkalinity: (f64, f64),
    pub general_hardness: (f64, f64),
    pub calcium: (f64, f64),
    pub conductivity: (f64, f64),
    pub chloride: (f64, f64),
    pub copper: (f64, f64),
}

/// Where an end of a range lies.
#[derive(Clone, Debug, PartialEq)]
pub enum End {
    /// At these readings.
    At(Box<Readings>),
    /// These cannot be one water: what each reading does alone, added up, in the order of [`MOVED`].
    Added([f64; MOVED.len()]),
}

/// The readings that are moved, in the order in which that is done: symbol and name.
pub const MOVED: [(&str, &str); 8] = [
    ("T", "temperature"),
    ("pH", "pH"),
    ("K", "carbonate hardness"),
    ("G", "general hardness"),
    ("Ca", "calcium"),
    ("κ", "conductivity"),
    ("Cl", "chloride"),
    ("Cu", "copper"),
];

/// Something of a water from readings, with the range that the readings leave open: as [`ranges`], for one value.
///
/// # Errors
/// As [`ranges`].
pub fn range(
    readings: &Readings,
    steps: &Steps,
    of: impl Fn(&Composed) -> Result<f64, Refusal>,
) -> Result<Range, Trouble> {
    let [found] = ranges(readings, steps, |_, composed| Ok([of(composed)?]))?;
    Ok(found)
}

/// Several things of a water from readings, each with the range that the readings leave open: each reading is moved to both ends
/// alone, then all to the ends that lower the result, and all to those that raise it. Where such a corner cannot be one water,
/// the single moves are added up instead, which is wider. `of` is given the readings as moved and the water they make.
///
/// # Errors
/// As [`compose`] for the readings as they are, and what `of` refuses of them.
pub fn ranges<const N: usize>(
    readings: &Readings,
    steps: &Steps,
    of: impl Fn(&Readings, &Composed) -> Result<[f64; N], Refusal>,
) -> Result<[Range; N], Trouble> {
    Ok(ranges_with_ends(readings, steps, of)?.map(|(range, _)| range))
}

/// The same, and where the ends lie: the lowest, the highest.
///
/// # Errors
/// As [`ranges`].
pub fn ranges_with_ends<const N: usize>(
    readings: &Readings,
    steps: &Steps,
    of: impl Fn(&Readings, &Composed) -> Result<[f64; N], Refusal>,
) -> Result<[(Range, [End; 2]); N], Trouble> {
    let values = |readings: &Readings| -> Result<[f64; N], Trouble> { Ok(of(readings, &compose(readings)?)?) };
    let best = values(readings)?;
    let moved = |which: usize, up: bool, mut from: Readings| -> Readings {
        let shift =
            |at: &mut f64, (down, above): (f64, f64)| *at = if up { *at + above } else { (*at - down).max(0.0) };
        match which {
            0 => shift(&mut from.celsius, steps.celsius),
            1 => shift(&mut from.ph, steps.ph),
            2 => shift(&mut from.alkalinity, steps.alkalinity),
            _ => {
                let (at, by) = match which {
                    3 => (&mut from.general_hardness, steps.general_hardness),
                    4 => (&mut from.calcium, steps.calcium),
                    5 => (&mut from.conductivity, steps.conductivity),
                    6 => (&mut from.chloride, steps.chloride),
                    _ => (&mut from.copper, steps.copper),
                };
                if let Some(at) = at {
                    shift(at, by);
                }
            }
        }
        from
    };
    // Per value: the readings at its lowest and highest corner, and the single moves added up.
    let mut corners = best.map(|_| ([*readings; 2], [[0.0_f64; MOVED.len()]; 2]));
    for which in 0..MOVED.len() {
        let ends = [false, true].map(|up| {
            let at = moved(which, up, *readings);
            if at == *readings { Ok(best) } else { values(&at) }
        });
        for (i, ((corner, sums), best)) in corners.iter_mut().zip(best).enumerate() {
            let off = |end: &Result<[f64; N], Trouble>| {
                end.as_ref().ok().and_then(|all| all.get(i)).map_or(0.0, |value| value - best)
            };
            let [fall, rise] = [off(&ends[0]), off(&ends[1])];
            let (down, up) = (fall.min(rise), fall.max(rise));
            if down < 0.0 {
                sums[0][which] = down;
                corner[0] = moved(which, rise < fall, corner[0]);
            }
            if up > 0.0 {
                sums[1][which] = up;
                corner[1] = moved(which, rise > fall, corner[1]);
            }
        }
    }
    let here = || End::At(Box::new(*readings));
    let mut out = best.map(|best| (Range { low: best, best, high: best }, [here(), here()]));
    for (i, ((range, ends), (corner, sums))) in out.iter_mut().zip(corners).enumerate() {
        let best = range.best;
        let at = |corner: Readings, moves: [f64; MOVED.len()]| {
            let value = values(&corner).ok().and_then(|all| all.get(i).copied());
            match value {
                Some(value) => (value, End::At(Box::new(corner))),
                None => (best + moves.iter().sum::<f64>(), End::Added(moves)),
            }
        };
        let ([low, high], [down, up]) = (corner, sums);
        let ((low, lowest), (high, highest)) = (at(low, down), at(high, up));
        if low < best {
            (range.low, ends[0]) = (low, lowest);
        }
        if high > best {
            (range.high, ends[1]) = (high, highest);
        }
    }
    Ok(out)
}
