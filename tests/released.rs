//! What copper tests tell of release and loss: logs made by small steps with a loss and an efficiency that are known.

use proptest::prelude::*;
use weirbook::Job;
use weirbook::water::released::{At, Day, EFFICIENCIES, NINE_IN_TEN, Stretch, Test, fit};
use weirbook::workings::Expr;

const VOLUME: f64 = 20.0;

/// A pond followed by a hundred small steps a day (midpoint rule): release (kg a day) by day, loss at 20 °C, efficiency, warmth.
fn pond(start: f64, releases: &[f64], loss: f64, efficiency: f64, celsius: f64) -> Vec<f64> {
    let rate = loss * libm::pow(1.05, celsius - 20.0);
    let mut copper = start;
    releases
        .iter()
        .map(|release| {
            let gain = efficiency * release / VOLUME;
            for _ in 0..100 {
                let half = copper + 0.005 * (gain - rate * copper);
                copper += 0.01 * (gain - rate * half);
            }
            copper
        })
        .collect()
}

/// A stretch with tests after these days, each off by a share of its own.
fn stretch(start: f64, releases: &[f64], truth: (f64, f64), celsius: f64, tests: &[(usize, f64)]) -> Stretch {
    let path = pond(start, releases, truth.0, truth.1, celsius);
    let growth = libm::pow(1.05, celsius - 20.0);
    Stretch {
        start,
        days: releases.iter().map(|released| Day { released: *released, growth, kept: 1.0 }).collect(),
        tests: tests
            .iter()
            .map(|(after, off)| {
                let read = path[after - 1] * (1.0 + off);
                Test { after: *after, read, less_than: false, doubt: 0.1 * path[after - 1] }
            })
            .collect(),
    }
}

/// Three weeks at rest at 0.1 g a day, ten days at 0.8 g, three weeks on the way down with the panel off.
fn spell(truth: (f64, f64), celsius: f64, off: &[f64]) -> Stretch {
    let releases = [vec![1e-4; 21], vec![8e-4; 10], vec![0.0; 21]].concat();
    let days = [7, 14, 21, 22, 24, 27, 31, 33, 36, 40, 45];
    let tests: Vec<(usize, f64)> = days.iter().zip(off).map(|(day, off)| (*day, *off)).collect();
    stretch(1e-5, &releases, truth, celsius, &tests)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    /// Tests without error give back what made them.
    #[test]
    fn what_made_the_log_is_found_again(loss in 0.06_f64..0.9, efficiency in 0.7_f64..1.7, celsius in 8.0_f64..24.0) {
        let found = fit(&[spell((loss, efficiency), celsius, &[0.0; 11])], VOLUME).unwrap();
        prop_assert!((found.loss.best / loss - 1.0).abs() < 0.01, "{:?} for {loss}", found.loss);
        let told = found.efficiency.unwrap();
        prop_assert!((told.best / efficiency - 1.0).abs() < 0.02, "{told:?} for {efficiency}");
        prop_assert!(told.low <= efficiency && efficiency <= told.high && told.low >= EFFICIENCIES.0 && told.high <= EFFICIENCIES.1);
        prop_assert!(found.loss.low <= loss && loss <= found.loss.high);
        prop_assert!(found.misfit < 0.05 && found.residual < 1e-2, "{found:?}");
        prop_assert_eq!(found.tests, 11);
    }
}

/// With errors of a tenth, one standard deviation each, the ranges hold the truth in about nine of ten logs (binomial: 200 draws of
/// 0.9 stay over 170 in all but one case of a hundred).
#[test]
fn nine_ranges_in_ten_hold_the_truth() {
    use proptest::strategy::ValueTree as _;
    use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, b"weirbook: copper tests, invented");
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    // The sum of twelve even numbers less six is a normal number, near enough.
    let normal = prop::collection::vec(0.0_f64..1.0, 12 * 11);
    let truth = (0.25, 1.3);
    let (mut held, mut told) = ([0, 0], 0);
    for _ in 0..200 {
        let even = normal.new_tree(&mut runner).unwrap().current();
        let off: Vec<f64> = even.chunks(12).map(|twelve| 0.1 * (twelve.iter().sum::<f64>() - 6.0)).collect();
        let Some(found) = fit(&[spell(truth, 16.0, &off)], VOLUME) else { continue };
        let Some(efficiency) = found.efficiency else { continue };
        told += 1;
        held[0] += usize::from(found.loss.low <= truth.0 && truth.0 <= found.loss.high);
        held[1] += usize::from(efficiency.low <= truth.1 && truth.1 <= efficiency.high);
    }
    assert!(told >= 195, "{told} of 200 logs tell");
    assert!(held.iter().all(|held| *held >= told * 85 / 100), "{held:?} of {told}");
}

/// What the fit leaves behind, worked out again by small steps: the model beside each test, its growth with the loss, a sum that is
/// level at the best loss and has risen to its limit at the ends.
#[test]
fn the_fit_closes_by_another_way_through_the_model() {
    let releases = [vec![1e-4; 21], vec![8e-4; 10], vec![0.0; 21]].concat();
    let off = [0.05, -0.12, 0.09, 0.02, -0.07, 0.11, -0.04, 0.08, -0.1, 0.03, 0.06];
    let spell = spell((0.25, 1.3), 16.0, &off);
    let found = fit(std::slice::from_ref(&spell), VOLUME).unwrap();
    assert_eq!((found.numbers, found.efficiency.is_some()), (2, true));
    let path = |loss: f64, efficiency: f64| pond(spell.start, &releases, loss, efficiency, 16.0);
    let squares = |at: &At| -> f64 {
        let path = path(at.loss, at.efficiency);
        spell.tests.iter().map(|test| ((path[test.after - 1] - test.read) / test.doubt).powi(2)).sum()
    };
    for at in &found.at {
        assert_eq!(at.rows.len(), 11);
        let near = path(at.loss, at.efficiency);
        let (over, under) = (path(1.001 * at.loss, at.efficiency), path(0.999 * at.loss, at.efficiency));
        let most = at.rows.iter().map(|row| row.slope.abs()).fold(0.0, f64::max);
        for row in &at.rows {
            let day = row.test.after - 1;
            // The midpoint rule at a hundred steps a day is out by (k / 100)² / 24 a day.
            assert!((row.copper / near[day] - 1.0).abs() < 1e-5, "{row:?}: {}", near[day]);
            assert!((row.before / if day == 0 { spell.start } else { near[day - 1] } - 1.0).abs() < 1e-5);
            let slope = (over[day] - under[day]) / (0.002 * at.loss);
            assert!((row.slope - slope).abs() < 1e-3 * most, "{row:?}: {slope}");
        }
    }
    let [low, best, high] = &found.at;
    let slope = |at: &At| -> (f64, f64) {
        let each = at.rows.iter().map(|row| row.off().unwrap() * row.slope / row.test.doubt);
        each.fold((0.0, 0.0), |(sum, size), term| (sum + term, size + term.abs()))
    };
    assert!(slope(best).0.abs() < 1e-10 * slope(best).1, "{:?}", slope(best));
    let limit = squares(best) + NINE_IN_TEN * (squares(best) / 9.0).max(1.0);
    for at in [low, high] {
        assert!((squares(at) / limit - 1.0).abs() < 1e-3, "{} of {limit}", squares(at));
        assert!(slope(at).0.abs() > 0.1 * slope(at).1, "the sum is level at an end of the range: {:?}", slope(at));
    }
    // The range is taken outward, by less than a place of the grid: a fortieth.
    assert!(found.loss.low <= low.loss && low.loss < 1.026 * found.loss.low, "{found:?}");
    assert!(high.loss <= found.loss.high && found.loss.high < 1.026 * high.loss, "{found:?}");
    for end in found.efficiency_at.iter().flatten() {
        assert!((squares(end) / found.efficiency_limit - 1.0).abs() < 1e-3, "{}", squares(end));
    }
    assert!(found.efficiency_at.iter().all(Option::is_some));
}

/// At rest only release over loss shows: the loss is told for a release by Faraday's law, and the efficiency is not.
#[test]
fn copper_at_rest_does_not_tell_release_from_loss() {
    let releases = vec![3e-4; 60];
    let rest = stretch(5e-5, &releases, (0.3, 1.0), 15.0, &[(40, 0.02), (50, -0.02), (60, 0.0)]);
    let found = fit(std::slice::from_ref(&rest), VOLUME).unwrap();
    assert_eq!(found.efficiency, None);
    assert!((found.loss.best / 0.3 - 1.0).abs() < 0.03, "{found:?}");
    // A test that showed less than a kit's first step counts only where it is passed.
    let under = Test { after: 30, read: 1e-4, less_than: true, doubt: 1e-5 };
    let with = Stretch { tests: [&[under], rest.tests.as_slice()].concat(), ..rest };
    assert_eq!(fit(&[with], VOLUME).unwrap().loss.best.to_bits(), found.loss.best.to_bits());
}

#[test]
fn a_log_that_cannot_tell_says_nothing() {
    let releases = vec![3e-4; 60];
    // One test is none too few: nothing shows how far it is off.
    let one = stretch(5e-5, &releases, (0.3, 1.0), 15.0, &[(40, 0.0)]);
    assert_eq!(fit(&[one], VOLUME), None);
    // Tests that no loss explains: up and down threefold at one level.
    let odd = stretch(5e-5, &releases, (0.3, 1.0), 15.0, &[(30, 2.0), (40, -0.6), (50, 2.0), (60, -0.6)]);
    assert_eq!(fit(&[odd], VOLUME), None);
    assert_eq!(fit(&[], VOLUME), None);
    // A panel that stood still, and copper that came to nothing.
    let still = stretch(0.0, &[0.0; 60], (0.3, 1.0), 15.0, &[]);
    assert_eq!(fit(&[still], VOLUME), None);
}

/// Quoyle End with four more tests around its first spell, and the day the level was turned up and back.
/// All currents told as this share of themselves.
pub fn tested_through_a_spell(share: f64) -> Job {
    let (_, site, log) = crate::demos::DEMOS[0];
    let told =
        |currents: [f64; 6]| format!("currents = [{}]", currents.map(|each| format!("\"{each} mA\"")).join(", "));
    let all = [3.0, 6.0, 10.0, 15.0, 21.0, 28.0];
    assert!(site.contains(&told(all)), "the demo's panel is another");
    let site = &site.replace(&told(all), &told(all.map(|each| each * share)));
    let row = |date: &str, copper: u32, set: u32, left: u32| {
        format!("{date},,13.5,,,,,,,,,,{copper},,,{set},,{left},,,,,,\n")
    };
    let log = log
        .replace("2026-06-02,", &format!("{}{}2026-06-02,", row("2026-05-27", 13, 1, 5), row("2026-05-30", 53, 5, 5)))
        .replace(",78,39,7.8,1,1,1,", ",78,39,7.8,5,5,1,")
        .replace("2026-07-15,", &format!("{}{}2026-07-15,", row("2026-06-11", 41, 1, 1), row("2026-06-16", 18, 1, 1)));
    crate::demos::made(site, Some(&log))
}

#[test]
fn a_log_with_tests_through_a_spell_tells_release_and_loss() {
    let efficiency = |job: &Job| {
        let told = job.plan.schedule.as_ref().unwrap().told.as_ref().unwrap();
        told.efficiency.as_ref().unwrap().clone().map(|end| end.si())
    };
    // EL-03: 28.452 g a day at one ampere; step 5 has 21 mA.
    let law = 28.452 * 0.021 / 1000.0;
    let job = tested_through_a_spell(1.0);
    // Nothing of the fit is left without its equation.
    let solved = job.plan.book.lines().iter().filter_map(|line| match &line.node.expr {
        Expr::Solved { closing, .. } if line.id.starts_with("copper.fit-") => {
            Some((line.id.clone(), closing.is_some()))
        }
        _ => None,
    });
    let solved: Vec<(String, bool)> = solved.collect();
    assert!(solved.len() >= 6 && solved.iter().all(|(_, closed)| *closed), "{solved:?}");
    let [low, best, high] = efficiency(&job);
    assert!(low < best && best < high && low > 0.5 && high < 2.0);
    // The law is within what the log leaves open: the plan goes by the law.
    assert!(low < 1.0 && high > 1.0, "{low} to {high}");
    let released = job.plan.schedule.as_ref().unwrap().releases[5];
    assert!((released / law - 1.0).abs() < 1e-4, "{released} kg");
    // The same readings with currents told six tenths of what they are: the bars free more than those ask for, and the plan takes
    // the end that is harder on fish.
    let job = tested_through_a_spell(0.6);
    let [low, best_again, high] = efficiency(&job);
    assert!((best_again / (best / 0.6) - 1.0).abs() < 0.01, "{best_again} and {best}");
    assert!(low > 1.0, "{low} to {high}");
    let released = job.plan.schedule.as_ref().unwrap().releases[5];
    assert!((released / (0.6 * law * high) - 1.0).abs() < 1e-4, "{released} kg");
}
