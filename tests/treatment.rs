//! Courses of additions and the joint correction: against the reference tables where they have them, else against brute force.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own case has failed")]

use std::collections::BTreeMap;

use weirbook::chem::composition::{Composed, Readings, compose};
use weirbook::chem::solution::Water;
use weirbook::chem::speciation::Refusal;
use weirbook::chem::treatment::{
    Bar, Bounds, Correction, DayLimits, End, Goals, Remedy, Stage, Steps, Unmet, correct, course, fewest_days, range,
    ranges_with_ends,
};
use weirbook::reference::chemistry::{
    self as table, CALCIUM, CARBONATE, CHLORIDE, MAGNESIUM, POTASSIUM, SODIUM, SULFATE,
};

type Cells = BTreeMap<String, String>;

fn rows(text: &str) -> Vec<Cells> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    reader.records().map(|r| head.iter().cloned().zip(r.unwrap().iter().map(str::to_owned)).collect()).collect()
}

fn of(row: &Cells, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// Numbers without end from a seed (SplitMix64, public domain).
struct Dice(u64);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * (((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64)
    }
}

/// A pond: °dKH, °dGH, pH, µS/cm.
fn pond(dkh: f64, dgh: f64, ph: f64, conductivity: Option<f64>) -> Readings {
    // HU-03: 0.35665 meq/L in a degree.
    Readings {
        celsius: 14.0,
        ph,
        alkalinity: dkh * 0.356_65e-3,
        general_hardness: Some(dgh * 0.356_65e-3 / 2.0),
        calcium: None,
        conductivity,
        chloride: None,
        sulfate: None,
        nitrate: None,
        copper: None,
    }
}

const NO_LIMIT: DayLimits =
    DayLimits { ph: f64::INFINITY, alkalinity: f64::INFINITY, hardness: f64::INFINITY, chloride: f64::INFINITY };

#[test]
fn a_course_of_a_day_is_the_dose_of_the_reference() {
    // buffers.csv: pH closed and in air, within 0.01; conductivity within 2.5 % (its README).
    let rows = rows(include_str!("reference/buffers.csv"));
    assert_eq!(rows.len(), 80);
    for row in &rows {
        let mut totals = [0.0; table::IONS.len()];
        for (ion, name) in
            [(CALCIUM, "ca"), (MAGNESIUM, "mg"), (SODIUM, "na"), (POTASSIUM, "k"), (CHLORIDE, "cl"), (SULFATE, "so4")]
        {
            totals[ion] = of(row, &format!("start_{name}_mmol_per_kgw")) / 1000.0;
        }
        totals[CARBONATE] = of(row, "start_dic_mmol_per_kgw") / 1000.0;
        let alkalinity = of(row, "start_alkalinity_meq_per_kgw") / 1000.0;
        let water = Water { celsius: of(row, "temperature_c"), totals, alkalinity, ammonia: 0.0 };
        let substance = table::addition(&row["chemical"]).unwrap();
        let dose = of(row, "dose_mmol_per_kgw") / 1000.0;
        // In one day and in three: the end is the same, and the moves at once add up.
        let one = course(&water, substance, dose, 1, f64::INFINITY).unwrap();
        let three = course(&water, substance, dose / 3.0, 3, f64::INFINITY).unwrap();
        for last in [&one[0], &three[2]] {
            assert!((last.closed.state.ph - of(row, "closed_ph")).abs() < 0.01);
            assert!((last.rest.state.ph - of(row, "air_ph")).abs() < 0.01);
            assert!((last.rest.conductivity_25 / of(row, "air_sc25_us_per_cm") - 1.0).abs() < 0.025);
        }
        let moved = one[0].closed.state.ph - of(row, "start_ph");
        assert!((three.iter().map(|d| d.at_once).sum::<f64>() - moved).abs() < 0.01);
        assert!((one[0].at_once - moved).abs() < 0.01);
    }
}

#[test]
fn a_dose_is_split_into_the_fewest_days_that_keep_the_limits() {
    // Soft water out of a well: soda ash moves its pH by far more than half a unit.
    let water = compose(&pond(1.5, 3.0, 6.6, None)).unwrap().water;
    let soda = table::addition("Na2CO3").unwrap();
    let amount = water.dose_to_alkalinity(soda, 4.0 * 0.356_65e-3).unwrap();
    let limits = DayLimits { ph: 0.5, ..NO_LIMIT };
    let days = fewest_days(&water, soda, amount, &limits, 60).unwrap().unwrap();
    assert!(days.len() > 3 && days.iter().all(|day| day.step() <= 0.5), "{}", days.len());
    let fewer = days.len() as u32 - 1;
    let too_few = course(&water, soda, amount / f64::from(fewer), fewer, 0.5).unwrap();
    assert!(too_few.iter().any(|day| day.step() > 0.5));
    assert_eq!(fewest_days(&water, soda, amount, &limits, fewer).unwrap(), None);
    // Bicarbonate hardly moves it: there the degree a day decides (2.5 degrees, three days).
    let water = compose(&pond(4.5, 6.0, 7.9, None)).unwrap().water;
    let bicarbonate = table::addition("NaHCO3").unwrap();
    let amount = water.dose_to_alkalinity(bicarbonate, 7.0 * 0.356_65e-3).unwrap();
    let limits = DayLimits { alkalinity: 0.356_65e-3, ..limits };
    assert_eq!(fewest_days(&water, bicarbonate, amount, &limits, 60).unwrap().unwrap().len(), 3);
    // Un-ionised ammonia follows pH: before and after, by the share of that pH.
    let mut water = water;
    water.ammonia = 2e-5;
    let last = course(&water, bicarbonate, amount, 1, 0.5).unwrap().remove(0);
    let before = Stage::closed(water).unwrap();
    assert!(last.rest.unionised > before.unionised && before.unionised > 0.01 * water.ammonia);
}

#[test]
fn a_top_up_leaves_what_was_dissolved() {
    let pond = compose(&pond(6.0, 8.0, 8.1, Some(420.0))).unwrap().water;
    let mut supply = pond.at(8.0);
    supply.totals.iter_mut().for_each(|t| *t *= 0.4);
    supply.alkalinity *= 0.4;
    let share = 0.15;
    let topped = pond.topped_up(&supply, share);
    // The same by what it is: the pond thickened, then mixed.
    let other = pond.concentrated(1.0 / (1.0 - share)).mixed(&supply, share);
    for (a, b) in topped.totals.iter().zip(&other.totals) {
        assert!((a - b).abs() <= 1e-12);
    }
    assert!((topped.alkalinity - other.alkalinity).abs() < 1e-12 && (topped.celsius - other.celsius).abs() < 1e-9);
    assert!((topped.alkalinity / pond.alkalinity - 1.06).abs() < 1e-9);
}

fn remedies(formulas: [(&str, f64); 3]) -> Vec<Remedy> {
    formulas.map(|(formula, purity)| Remedy { substance: table::addition(formula).unwrap(), purity }).to_vec()
}

fn made(water: &Water, remedies: &[Remedy], x: &[f64]) -> Water {
    remedies.iter().zip(x).fold(*water, |w, (r, x)| w.with(r.substance, *x))
}

fn grams(remedies: &[Remedy], x: &[f64]) -> f64 {
    remedies.iter().zip(x).map(|(r, x)| x * r.substance.molar_mass / r.purity).sum()
}

/// Whether a water meets all goals and keeps all bounds, with a margin of a share (below zero: by more).
fn meets(water: &Water, start: &Water, goals: &Goals, bounds: &Bounds, slack: f64) -> bool {
    let amounts = water.alkalinity >= goals.alkalinity * (1.0 - slack)
        && water.totals[CALCIUM] >= goals.calcium * (1.0 - slack)
        && water.alkalinity <= bounds.alkalinity.max(start.alkalinity) * (1.0 + slack)
        && water.totals[CALCIUM] + water.totals[MAGNESIUM]
            <= bounds.hardness.max(start.totals[CALCIUM] + start.totals[MAGNESIUM]) * (1.0 + slack)
        && water.totals[CHLORIDE] <= bounds.chloride.max(start.totals[CHLORIDE]) * (1.0 + slack);
    if !amounts {
        return false;
    }
    let conducts = water.conductivity_25().unwrap();
    let (closed, rest) = (Stage::closed(*water).unwrap(), Stage::at_rest(water).unwrap());
    let (first, settled) = (Stage::closed(*start).unwrap(), Stage::at_rest(start).unwrap());
    conducts >= goals.conductivity * (1.0 - slack)
        && [(&closed, &first), (&rest, &settled)].into_iter().all(|(stage, before)| {
            stage.lime().is_none_or(|si| si <= bounds.lime.max(before.lime().unwrap_or(bounds.lime)) + slack)
                && stage.state.ph <= bounds.ph.max(before.state.ph) + slack
        })
}

#[test]
fn the_joint_correction_is_the_lightest_by_brute_force() {
    let mut dice = Dice(7);
    let (mut solved, mut refused, mut spread, mut barred) = (0, 0, 0, 0);
    for case in 0..60 {
        // Flake or the pure salt, by turns: which of calcium and salt is the lighter for conductivity changes with it.
        let purity = if case % 2 == 0 { 1.0 } else { 0.755 };
        let remedies = remedies([("NaHCO3", 1.0), ("CaCl2", purity), ("NaCl", 1.0)]);
        let read = pond(dice.between(1.0, 9.0), dice.between(1.0, 9.0), dice.between(7.3, 8.3), None);
        let water = compose(&read).unwrap().water;
        let here = water.conductivity_25().unwrap();
        let goals = Goals {
            alkalinity: dice.between(2.0, 9.0) * 0.356_65e-3,
            calcium: dice.between(0.0, 1.5e-3),
            conductivity: if case % 3 == 0 { 0.0 } else { here * dice.between(0.9, 2.2) },
        };
        let bounds = Bounds {
            alkalinity: dice.between(9.0, 14.0) * 0.356_65e-3,
            hardness: dice.between(1.0e-3, 4.0e-3),
            chloride: dice.between(3e-3, 12e-3),
            lime: dice.between(0.5, 1.4),
            ph: 9.0,
            ..Bounds::NONE
        };
        // The grid: everything from nothing to the bounds, in 13 steps each.
        const STEPS: usize = 13;
        let most = [bounds.alkalinity, bounds.hardness, bounds.chloride];
        let (mut lightest, mut place) = (f64::INFINITY, Vec::new());
        for n in 0..STEPS * STEPS * STEPS {
            let at = [n % STEPS, n / STEPS % STEPS, n / STEPS / STEPS];
            let x: Vec<f64> = at.iter().zip(most).map(|(a, m)| m * *a as f64 / (STEPS - 1) as f64).collect();
            let weight = grams(&remedies, &x);
            if weight < lightest && meets(&made(&water, &remedies, &x), &water, &goals, &bounds, 0.0) {
                (lightest, place) = (weight, x);
            }
        }
        match correct(&water, &remedies, &goals, &bounds) {
            Ok(Correction { amounts, grams: weight, closed, .. }) => {
                solved += 1;
                spread += i32::from(amounts.iter().filter(|x| **x > 1e-9).count() > 1);
                assert!(meets(&closed.water, &water, &goals, &bounds, 1e-5), "{case}: {amounts:?}");
                assert!((grams(&remedies, &amounts) - weight).abs() < 1e-9);
                assert!(weight <= lightest * 1.000_01 + 1e-9, "{case}: {weight} g/kg, but the grid has {lightest}");
                // Nothing near it that is lighter by a hundredth does as well.
                for _ in 0..150 {
                    let x: Vec<f64> = amounts
                        .iter()
                        .map(|x| (x * dice.between(0.6, 1.4) + dice.between(-2e-4, 2e-4)).max(0.0))
                        .collect();
                    if grams(&remedies, &x) < 0.99 * weight {
                        assert!(
                            !meets(&made(&water, &remedies, &x), &water, &goals, &bounds, 0.0),
                            "{case}: {x:?} is lighter than {amounts:?}"
                        );
                    }
                }
            }
            Err(unmet) => {
                refused += 1;
                if matches!(unmet, Unmet::Barred { .. }) && lightest.is_finite() {
                    // Salt holds a little more lime in solution. It is not added for that: without its salt the place is barred.
                    place[2] = 0.0;
                    let bare = Goals { conductivity: 0.0, ..goals };
                    assert!(!meets(&made(&water, &remedies, &place), &water, &bare, &bounds, 0.0), "{case}: {place:?}");
                    barred += 1;
                    continue;
                }
                barred += i32::from(matches!(unmet, Unmet::Barred { .. }));
                assert!(lightest.is_infinite(), "{case}: {unmet}, but the grid has {lightest} g/kg");
            }
        }
    }
    println!("{solved} corrections, {spread} of more than one substance; {refused} refused, {barred} for pH or lime");
    assert!(solved >= 20 && spread >= 8 && refused >= 8 && barred >= 3);
}

#[test]
fn a_correction_says_what_stands_in_its_way() {
    let water = compose(&pond(6.0, 8.0, 8.0, Some(400.0))).unwrap().water;
    let remedies = remedies([("NaHCO3", 1.0), ("CaCl2", 0.755), ("NaCl", 1.0)]);
    // There already: nothing.
    let none = correct(&water, &remedies, &Goals::default(), &Bounds::NONE).unwrap();
    assert_eq!((none.amounts, none.grams), (vec![0.0; 3], 0.0));
    // Salt alone for conductivity: the inverse of one substance.
    let goals = Goals { conductivity: 600.0, ..Goals::default() };
    let found = correct(&water, &remedies, &goals, &Bounds::NONE).unwrap();
    let alone = water.dose_to_conductivity(remedies[2].substance, 600.0).unwrap().unwrap();
    assert!((found.amounts[2] / alone - 1.0).abs() < 1e-6 && found.amounts[0] + found.amounts[1] < 1e-9, "{found:?}");
    // Half a gram of salt to the litre at most: 8.56 mmol of chloride, and what was there.
    let bounds = Bounds { chloride: water.totals[CHLORIDE] + 1e-3, alkalinity: water.alkalinity, ..Bounds::NONE };
    let error = correct(&water, &remedies, &Goals { conductivity: 900.0, ..goals }, &bounds).unwrap_err();
    assert!(matches!(error, Unmet::Conductivity { highest } if highest > 450.0 && highest < 600.0), "{error}");
    // No buffer among the remedies.
    let goals = Goals { alkalinity: 2.0 * water.alkalinity, ..Goals::default() };
    assert!(matches!(correct(&water, &remedies[1..], &goals, &Bounds::NONE), Err(Unmet::NoRoom)));
    assert!(matches!(correct(&water, &[], &goals, &Bounds::NONE), Err(Unmet::NoRoom)));
    // Lime would come down.
    let goals = Goals { alkalinity: 5e-3, calcium: 3e-3, ..Goals::default() };
    let bounds = Bounds { lime: 0.9, ..Bounds::NONE };
    assert!(matches!(correct(&water, &remedies, &goals, &bounds), Err(Unmet::Barred { by: Bar::Lime })));
}

/// What may be asked of a water from readings.
type Asked = dyn Fn(&Composed) -> Result<f64, Refusal>;

#[test]
fn a_range_holds_every_corner_of_the_readings() {
    let read = pond(4.0, 6.0, 7.8, Some(300.0));
    const STEP: f64 = 0.356_65e-3;
    let steps = Steps {
        // A drop count stands for a step less; the others for half a step either way.
        alkalinity: (STEP, 0.0),
        general_hardness: (STEP / 2.0, 0.0),
        ph: (0.05, 0.05),
        conductivity: (6.0, 6.0),
        ..Steps::default()
    };
    let salt = table::addition("NaCl").unwrap();
    let bicarbonate = table::addition("NaHCO3").unwrap();
    // Salt to 500 µS/cm after bicarbonate to 7 degrees; pH at rest; free calcium.
    let salt_needed = |c: &Composed| {
        let buffered = c.water.with(bicarbonate, c.water.dose_to_alkalinity(bicarbonate, 7.0 * STEP).unwrap());
        Ok(buffered.dose_to_conductivity(salt, 500.0)?.unwrap())
    };
    let buffer_needed = |c: &Composed| Ok(c.water.dose_to_alkalinity(bicarbonate, 7.0 * STEP).unwrap());
    let ph_at_rest = |c: &Composed| Ok(Stage::at_rest(&c.water)?.state.ph);
    let wanted: [&Asked; 3] = [&salt_needed, &buffer_needed, &ph_at_rest];
    for of in wanted {
        let found = range(&read, &steps, of).unwrap();
        assert!(found.low <= found.best && found.best <= found.high);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for corner in 0..16 {
            let end = |bit: u32, (below, above): (f64, f64)| if corner >> bit & 1 == 0 { -below } else { above };
            let mut at = read;
            at.alkalinity += end(0, steps.alkalinity);
            at.general_hardness = at.general_hardness.map(|h| h + end(1, steps.general_hardness));
            at.ph += end(2, steps.ph);
            at.conductivity = at.conductivity.map(|c| c + end(3, steps.conductivity));
            let value = of(&compose(&at).unwrap()).unwrap();
            (low, high) = (low.min(value), high.max(value));
        }
        let width = high - low;
        assert!((found.low - low).abs() < 0.02 * width + 1e-12, "{found:?}, corners {low} to {high}");
        assert!((found.high - high).abs() < 0.02 * width + 1e-12, "{found:?}, corners {low} to {high}");
    }
    // Each end says where it lies: what is found from those readings is that end.
    for of in wanted {
        let [(found, ends)] = ranges_with_ends(&read, &steps, |_, composed| Ok([of(composed)?])).unwrap();
        for (end, value) in ends.iter().zip([found.low, found.high]) {
            let End::At(at) = end else { panic!("these corners are one water: {end:?}") };
            assert!((of(&compose(at).unwrap()).unwrap() - value).abs() <= 1e-12 * value.abs().max(1.0), "{at:?}");
            assert!(at.alkalinity == read.alkalinity || at.alkalinity == read.alkalinity - STEP);
        }
    }
    // The buffer for a drop count: the step in full above, nothing below.
    let found = range(&read, &steps, buffer_needed).unwrap();
    assert!((found.best - 3.0 * STEP).abs() < 1e-9 && (found.low - found.best).abs() < 1e-9);
    assert!((found.high - 4.0 * STEP).abs() < 1e-9);
}
