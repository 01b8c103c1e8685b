//! Looking back: a log made with a known leak and a known evaporation gives both back, a log that tells nothing is said to
//! tell nothing, a broken log is found out, and brute force agrees with the fit.

#![expect(clippy::expect_used, clippy::disallowed_methods, reason = "a test makes its own case")]

use proptest::prelude::*;
use weirbook::water::balance::{Care, Chemistry, Copper, Pond, SOLUTES, Setting, Sky, Solutes, solute};
use weirbook::water::basin::{Basin, Part};
use weirbook::water::past::{
    Doubts, Drop, Drops, Falls, Guess, Limits, Mark, NINE_TENTHS, Past, Tracer, least_squares,
};

/// Nothing comes down; conductivity is a plain sum.
#[derive(Clone)]
struct Plain;

impl Chemistry for Plain {
    type Warmth = ();
    fn at(&self, _: f64) {}
    fn ph(&self, (): &(), _: &Solutes) -> f64 {
        7.0
    }
    fn lime(&self, (): &(), _: &Solutes) -> f64 {
        0.0
    }
    fn conductivity(&self, (): &(), water: &Solutes) -> f64 {
        100.0 * water[solute::CHLORIDE] + 90.0 * water[solute::ALKALINITY]
    }
}

fn pond() -> Basin {
    Basin::new(&[Part::Bowl { area: 12.0, straight: 0.9, depth: 0.9, power: 0.0, open: true }], 10.8).expect("a box")
}

fn chloride(c: f64) -> Solutes {
    let mut water = [0.0; SOLUTES];
    water[solute::CHLORIDE] = c;
    water[solute::ALKALINITY] = 2.0 * c;
    water
}

/// Noise that a seed gives: uniform, of standard deviation one.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        // SplitMix64: neighbouring seeds give unlike noise.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let share = ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64;
        (2.0 * share - 1.0) * 3f64.sqrt()
    }
}

/// What a log is made of.
#[derive(Clone, Copy, Debug)]
struct Made {
    truth: Guess,
    days: usize,
    every: usize,
    /// Standard deviation of a reading, as a share; zero for a perfect one.
    noise: f64,
    seed: u64,
    /// Whether drops were measured at the visits.
    drops: bool,
    /// A water change that nobody noted, on a day.
    unnoted: Option<(usize, f64)>,
}

const LIMITS: Limits = Limits { loss: 0.43, factor: (0.5, 2.0) };
const TAKEN: Guess = Guess { loss: 0.0, factor: 1.05, rain: 1.0, supply: 1.0 };
const TAPE: f64 = 0.0005;

/// A pond that starts as its supply, from early spring on: evaporation goes with the season, and it is topped up each day.
fn log<'a>(setting: &'a Setting, made: &Made) -> Past<'a, Plain> {
    let season = |day: usize| {
        let turn = 2.0 * std::f64::consts::PI * (day as f64 - 110.0) / 365.0;
        0.0028 * (1.0 + 0.7 * turn.cos())
    };
    let thirst: Vec<f64> = (0..made.days).map(season).collect();
    let sky = thirst.iter().map(|t| Sky { evaporation: *t, rain: 0.0, celsius: 15.0, warmth: () }).collect();
    let care =
        |day: usize| Care { top_up: true, change_share: if day % 41 == 40 { 0.05 } else { 0.0 }, ..Care::default() };
    let mut past = Past {
        setting,
        chemistry: &Plain,
        sky,
        fallen: vec![0.0; made.days],
        thirst,
        care: (0..made.days).map(care).collect(),
        marks: vec![Mark { day: 0, water: chloride(1.2), tracer: Some((1.2, 1.0)), hardness: (2.4, 0.1) }],
        tracer: Tracer::Chloride,
        drops: Drops { list: Vec::new(), own: 12.0, all: 12.0, tape: TAPE, spread: made.noise.max(0.001) },
        falls: Falls::Given(0.0),
        splash: 0.0,
        doubts: Doubts::default(),
        starts: Vec::new(),
    };
    let mut story = past.clone();
    if let Some((day, share)) = made.unnoted {
        story.care[day].change_share += share;
    }
    let mut waters: Vec<Pond> = Vec::new();
    story.follow(&made.truth, 0, made.days, 0.0, |_, pond| waters.push(*pond));
    let mut noise = Noise(made.seed);
    past.marks.clear();
    for day in (0..=made.days).step_by(made.every) {
        let truth = waters[day].concentration(solute::CHLORIDE);
        let read = truth * (1.0 + made.noise * noise.next());
        let deviation = read * made.noise.max(0.001);
        past.marks.push(Mark {
            day,
            water: chloride(read),
            tracer: Some((read, deviation)),
            hardness: (2.0 * read, 0.1),
        });
        if made.drops && day > 0 && day < made.days {
            let evaporation = made.truth.factor * past.thirst[day] * (1.0 + made.noise * noise.next());
            let tape = if made.noise > 0.0 { TAPE } else { 0.0 };
            past.drops.list.push(Drop {
                day,
                running: Some(evaporation + made.truth.loss / 12.0 + tape * noise.next()),
                still: None,
                bucket: Some(evaporation + tape * noise.next()),
                named: 0.0,
            });
        }
    }
    past
}

fn setting() -> Setting {
    Setting {
        basin: pond(),
        catchment: 0.0,
        falls: 0.0,
        splash: 0.0,
        supply: chloride(1.0),
        rain: [0.0; SOLUTES],
        copper: Copper::KEPT,
    }
}

fn made(loss: f64, factor: f64) -> Made {
    Made { truth: Guess::of(loss, factor), days: 240, every: 24, noise: 0.0, seed: 1, drops: true, unnoted: None }
}

/// What the fit leaves behind: no step of any number takes anything off the sum, and at the ends of a range the straightened sum
/// has risen to its limit. Sums are taken anew from the model.
#[test]
fn the_fit_leaves_nothing_to_gain_and_ranges_that_end_at_the_limit() {
    let setting = setting();
    let mut past = log(&setting, &Made { noise: 0.02, seed: 7, ..made(0.06, 0.9) });
    past.doubts = Doubts { rain: 0.0, supply: 0.02 };
    let told = past.explain((true, true), &TAKEN, &LIMITS);
    assert!(told.broken.is_empty() && told.loss.told && told.factor.told, "{told:?}");
    let closing = told.closing.clone();
    let squares: f64 = closing.misfits.iter().map(|(_, off)| off * off).sum();
    assert!((squares / told.sum - 1.0).abs() < 1e-12);
    let lift = {
        let mark = past.marks[0].tracer.expect("a reading");
        closing.misfits[0].1 * mark.1 / mark.0
    };
    let mut sum = |guess: &Guess| -> f64 { past.misfits(guess, &[lift]).iter().map(|off| off * off).sum() };
    assert!((sum(&told.guess) / told.sum - 1.0).abs() < 1e-9, "{} beside {}", sum(&told.guess), told.sum);
    let [loss, factor, rain, supply] = &closing.numbers;
    assert!(rain.is_none(), "rain is known");
    for (which, number) in [loss, factor, supply].into_iter().enumerate() {
        let number = number.as_ref().expect("it was looked for");
        let bend: f64 = number.slopes.iter().map(|slope| slope * slope).sum();
        let step = 0.01 / bend.sqrt();
        for by in [-step, step] {
            let mut guess = told.guess;
            *[&mut guess.loss, &mut guess.factor, &mut guess.supply][which] += by;
            // A hundredth of a standard deviation, the others held, adds a ten-thousandth.
            let rise = sum(&guess) - told.sum;
            assert!((rise / 1e-4 - 1.0).abs() < 0.05, "{rise:e}");
        }
        let slope: f64 = number.slopes.iter().zip(&closing.misfits).map(|(slope, (_, off))| slope * off).sum();
        assert!(slope.abs() / bend.sqrt() < 1e-8, "{slope:e}");
    }
    let limit = told.sum + NINE_TENTHS * (told.sum / closing.spare as f64).max(1.0);
    for (number, estimate) in [(loss, told.loss), (factor, told.factor)] {
        let number = number.as_ref().expect("it was looked for");
        for (end, at) in number.ends.iter().zip([estimate.low, estimate.high]) {
            let end = end.expect("the bound is far");
            let by = at - number.at;
            assert!(((end.squares + by * (2.0 * end.cross + by * end.bend)) / limit - 1.0).abs() < 1e-9);
            // The others moved, it lies under what the number alone would make of the sum.
            let alone: f64 =
                number.slopes.iter().zip(&closing.misfits).map(|(slope, (_, off))| (off + slope * by).powi(2)).sum();
            assert!(alone > limit, "{alone} and {limit}");
        }
    }
}

#[test]
fn a_perfect_log_gives_its_numbers_back() {
    let setting = setting();
    for (loss, factor, drops) in [(0.0, 1.05, true), (0.06, 0.8, true), (0.11, 1.4, false), (0.02, 1.0, false)] {
        let mut past = log(&setting, &Made { drops, ..made(loss, factor) });
        let told = past.explain((true, true), &TAKEN, &LIMITS);
        assert!(told.broken.is_empty(), "{told:?}");
        assert!((told.loss.at - loss).abs() < 1e-4, "loss {loss}: {told:?}");
        assert!((told.factor.at - factor).abs() < 1e-3, "factor {factor}: {told:?}");
        assert!(told.loss.low <= loss + 1e-6 && loss <= told.loss.high + 1e-6, "{told:?}");
        assert!(told.sum < 1e-3 && told.gain < 1e-9, "{told:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_noisy_log_gives_its_numbers_back_within_their_range(
        loss in 0.0..0.12_f64, factor in 0.8..1.4_f64, seed in any::<u64>(), every in 14..32_usize, drops in any::<bool>(),
    ) {
        let setting = setting();
        let made = Made { noise: 0.012, seed, every, drops, ..made(loss, factor) };
        let told = log(&setting, &made).explain((true, true), &TAKEN, &LIMITS);
        // The range holds nine of ten; four standard deviations hold all that uniform noise can do.
        let wide = |low: f64, at: f64, high: f64| {
            let times = 4.0 / 1.645;
            (at - times * (at - low) - 1e-6, at + times * (high - at) + 1e-6)
        };
        if told.loss.told && told.factor.told {
            let (low, high) = wide(told.loss.low, told.loss.at, told.loss.high);
            prop_assert!(low <= loss && loss <= high, "loss {loss}: {told:?}");
            let (low, high) = wide(told.factor.low, told.factor.at, told.factor.high);
            prop_assert!(low <= factor && factor <= high, "factor {factor}: {told:?}");
        }
        if drops {
            prop_assert!(told.loss.told && told.factor.told, "with drops both are told: {told:?}");
        }
    }
}

#[test]
fn nine_of_ten_ranges_hold_the_truth() {
    let setting = setting();
    let (mut loss, mut factor) = (0, 0);
    let cases = 150;
    for seed in 0..cases {
        let made = Made { noise: 0.012, seed: seed * 7919 + 13, ..made(0.06, 1.1) };
        let told = log(&setting, &made).explain((true, true), &TAKEN, &LIMITS);
        loss += i32::from(told.loss.low <= 0.06 && 0.06 <= told.loss.high);
        factor += i32::from(told.factor.low <= 1.1 && 1.1 <= told.factor.high);
    }
    // 135 of 150 are expected; three standard deviations of the count are eleven.
    for (what, count) in [("loss", loss), ("factor", factor)] {
        println!("{what}: {count} of {cases}");
        assert!((122..=148).contains(&count), "{what}: {count} of {cases}");
    }
}

#[test]
fn brute_force_agrees_with_the_fit() {
    let setting = setting();
    let mut past = log(&setting, &Made { noise: 0.012, seed: 4, drops: false, ..made(0.05, 1.2) });
    let told = past.explain((true, true), &TAKEN, &LIMITS);
    assert!(told.broken.is_empty(), "{told:?}");
    // The start's own reading is looked for on the grid as well.
    let mut best = (f64::INFINITY, 0.0, 0.0);
    let mut least_by_loss = Vec::new();
    let steps = 43;
    for i in 0..=steps {
        let loss = LIMITS.loss * f64::from(i) / f64::from(steps);
        let mut least = f64::INFINITY;
        for j in 0..=60 {
            let factor = 0.5 + 1.5 * f64::from(j) / 60.0;
            for k in -12..=12 {
                let lift = 0.002 * f64::from(k);
                let sum: f64 = past.misfits(&Guess::of(loss, factor), &[lift]).iter().map(|m| m * m).sum();
                least = least.min(sum);
                if sum < best.0 {
                    best = (sum, loss, factor);
                }
            }
        }
        least_by_loss.push((loss, least));
    }
    assert!(told.sum <= best.0 + 1e-9, "the fit {told:?} is not under the grid's {best:?}");
    assert!(best.0 - told.sum < 0.6, "the grid's {best:?} is far over the fit's {told:?}");
    // The range of the loss: where the grid's least sum has risen by as much as a 90 % range allows.
    let spare = (told.misfits - 3) as f64;
    let allowed = told.sum + 2.7055 * (told.sum / spare).max(1.0);
    let inside: Vec<f64> = least_by_loss.iter().filter(|(_, sum)| *sum <= allowed).map(|(loss, _)| *loss).collect();
    let (low, high) = (inside[0], inside[inside.len() - 1]);
    let near = 0.02 + 0.2 * (high - low);
    assert!((told.loss.low - low).abs() < near && (told.loss.high - high).abs() < near, "{low} to {high}: {told:?}");
}

#[test]
fn a_log_that_tells_nothing_is_said_to_tell_nothing() {
    let setting = setting();
    // Two visits.
    let mut past = log(&setting, &Made { days: 48, every: 48, drops: false, ..made(0.05, 1.2) });
    let told = past.explain((true, true), &TAKEN, &LIMITS);
    assert!(!told.loss.told && !told.factor.told, "{told:?}");
    assert_eq!((told.loss.at, told.factor.at), (TAKEN.loss, TAKEN.factor));
    // Many visits in a month in which nothing evaporates, of a pond as its supply: a leak would change nothing.
    let mut past = log(&setting, &Made { days: 60, every: 10, noise: 0.02, drops: false, ..made(0.0, 1.2) });
    past.thirst.iter_mut().for_each(|thirst| *thirst = 0.0);
    for mark in &mut past.marks {
        mark.water = chloride(1.0);
        mark.tracer = Some((1.0, 0.02));
    }
    let told = past.explain((true, true), &TAKEN, &LIMITS);
    assert!(!told.loss.told && !told.factor.told, "{told:?}");
    assert_eq!((told.loss.at, told.factor.at), (TAKEN.loss, TAKEN.factor));
    assert!(told.loss.high - told.loss.low > 0.9 * LIMITS.loss, "as wide as the bounds: {told:?}");
}

#[test]
fn what_is_known_is_not_looked_for() {
    let setting = setting();
    let mut past = log(&setting, &Made { noise: 0.01, seed: 9, ..made(0.05, 1.2) });
    let told = past.explain((true, false), &Guess::of(0.0, 1.2), &LIMITS);
    assert_eq!(told.factor.at, 1.2);
    assert!(told.loss.told && told.loss.low < 0.05 && 0.05 < told.loss.high, "{told:?}");
}

#[test]
fn a_change_that_nobody_noted_is_found_between_its_visits() {
    let setting = setting();
    let honest = made(0.02, 1.1);
    // On day 130, between the visits of days 120 and 144; the sixth and the seventh.
    let made = Made { noise: 0.01, seed: 3, unnoted: Some((130, 0.35)), ..honest };
    let mut past = log(&setting, &made);
    let told = past.explain((true, true), &TAKEN, &LIMITS);
    assert_eq!(told.broken, [(5, 6)], "{told:?}");
    // And what is left of the log still tells the rest.
    assert!(told.loss.low <= 0.02 + 0.01 && 0.02 - 0.01 <= told.loss.high, "{told:?}");
    let mut past = log(&setting, &Made { noise: 0.01, seed: 3, ..honest });
    assert!(past.explain((true, true), &TAKEN, &LIMITS).broken.is_empty());
}

#[test]
fn drops_are_read_as_the_trade_reads_them() {
    // TRADE.md sections 1 and 9 B, by hand in inches and square feet: pond 69, stream and basin 40. On 3 July 0.49 with the pump
    // on and 0.25 in the bucket: 33.81 less 0.25 × 109 = 6.56, of 27.25 is 24.1 %.
    let july = Drop { day: 0, running: Some(0.49), still: Some(0.25), bucket: Some(0.25), named: 0.0 };
    let drops = Drops { list: vec![july], own: 69.0, all: 109.0, tape: 0.02, spread: 0.25 };
    assert!((drops.falls(0.0).expect("a pair") - 6.56 / 27.25).abs() < 1e-9);
    // On 21 May, with 22.46 square foot inches (14 gallons) leaking at the stream's edge: 49.68 − 22.46 − 0.18 × 109 = 7.60.
    let may = Drop { day: 0, running: Some(0.72), still: Some(0.19), bucket: Some(0.18), named: 22.46 };
    let drops = Drops { list: vec![may, july], ..drops };
    assert!((drops.falls(0.0).expect("pairs") - (7.60 + 6.56) / (0.43 * 109.0)).abs() < 1e-9);
    // What leaks does not evaporate.
    assert!(drops.falls(3.0).expect("pairs") < drops.falls(0.0).expect("pairs"));
    assert!(Drops::default().falls(0.0).is_none());
}

#[test]
fn the_solver_finds_what_is_known() {
    // A line through four points, by the closed form: slope 1.4, 3.5 at nought.
    let points = [(1.0, 6.0), (2.0, 5.0), (3.0, 7.0), (4.0, 10.0)];
    let line = |at: &[f64]| points.iter().map(|(x, y)| at[0] + at[1] * x - y).collect::<Vec<f64>>();
    let found = least_squares(&[0.0, 0.0], &[(-50.0, 50.0), (-50.0, 50.0)], line);
    assert!((found.at[0] - 3.5).abs() < 1e-6 && (found.at[1] - 1.4).abs() < 1e-6, "{found:?}");
    assert!((found.sum - 4.2).abs() < 1e-9, "{found:?}");
    // Held at its bound: slope at most 1, then 4.5 at nought.
    let found = least_squares(&[0.0, 0.0], &[(-50.0, 50.0), (-50.0, 1.0)], line);
    assert!((found.at[0] - 4.5).abs() < 1e-6 && (found.at[1] - 1.0).abs() < 1e-12, "{found:?}");
    // Rosenbrock's valley.
    let valley = |at: &[f64]| vec![10.0 * (at[1] - at[0] * at[0]), 1.0 - at[0]];
    let found = least_squares(&[-1.2, 1.0], &[(-2.0, 2.0), (-2.0, 2.0)], valley);
    assert!((found.at[0] - 1.0).abs() < 1e-4 && (found.at[1] - 1.0).abs() < 1e-4, "{found:?}");
}
