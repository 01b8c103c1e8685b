//! A panel whose currents nobody knows, run by copper tests alone.
//!
//! An owner is simulated who follows the plan: any current, any pond, any loss of copper, a kit or a laboratory as far out as it may
//! be. The day's copper is the analytic solution of dC/dt = w / V − k C (a first course in differential equations), which the plan
//! does not use here. Kits of 10 to 50 µg/L, laboratories of 1 µg/L: common practice.

use proptest::prelude::*;
use weirbook::Job;
use weirbook::plan::{AFTERWARDS, Act, ByTest, Plan, TESTS, Word};
use weirbook::units::table as unit;

use crate::demos::made;

const HEAD: &str = "date,temperature [°C],carbonate hardness [°dKH],general hardness [°dGH],calcium [mg/L Ca],ph morning,ammonia [mg/L N],total copper [µg/L],level set,level left\n";
const STEPS: &str = "steps = 6\n";
const KNOWN: &str = "currents = [\"0.5 mA\", \"1 mA\", \"2 mA\", \"4 mA\", \"6 mA\", \"8 mA\"]\n";
const TODAY: &str = "2026-06-20,18,8.0,9,50,7.8,0.05,5,0,0";

/// 10 m³, hardy fish, a June day.
fn site(panel: &str, kit: Option<&str>, more: &str, log: &[&str]) -> Job {
    site_on("A4", panel, kit, more, log)
}

/// With the shed sheet on this paper.
fn site_on(shed: &str, panel: &str, kit: Option<&str>, more: &str, log: &[&str]) -> Job {
    let kit = kit.map_or(String::new(), |step| format!("[[kit]]\nreading = \"total copper\"\nstep = \"{step}\"\n"));
    let site = format!(
        "[site]\nid = \"p\"\nname = \"P\"\nowner = \"O\"\nplace = \"X\"\ncountry = \"other\"\nplan_date = 2026-06-20\nlatitude = \"50 °N\"\n\
         [firm]\nname = \"F\"\ntelephone = \"1\"\n[page]\npaper = \"A4\"\nshed_paper = \"{shed}\"\nunits = \"metric\"\n\
         [[volume.section]]\nname = \"pond\"\nshape = \"known volume\"\nvolume = \"10 m3\"\n\
         [supply]\nkind = \"well\"\ncarbonate_hardness = \"8 dKH\"\ncalcium = \"50 mg/L Ca\"\ntotal_copper = \"2 µg/L\"\n\
         [[animal]]\nkind = \"koi\"\n[outflow]\noverflow = \"own ground\"\nchanges = \"own ground\"\n[panel]\n{panel}flow_stop = \"yes\"\n\
         [[kit]]\nreading = \"carbonate hardness\"\nstep = \"0.5 dKH\"\ndrops = \"yes\"\n{kit}{more}[log]\nfile = \"log.csv\"\n"
    );
    let log: String = log.iter().map(|row| format!("{row}\n")).collect();
    made(&site, Some(&format!("{HEAD}{log}")))
}

fn by_test(plan: &Plan) -> &ByTest {
    plan.by_test.as_ref().unwrap_or_else(|| panic!("no level by tests: {:?}", plan.verdict))
}

#[test]
fn the_sheet_in_the_shed_holds_the_tests_on_every_paper() {
    let fonts = crate::advice::fonts();
    // Quoyle End with its panel untold: buffer and calcium first, so that the sheet is full.
    let (_, site, log) = crate::demos::DEMOS.iter().find(|demo| demo.0 == "quoyle-end").unwrap();
    let (before, rest) = site.split_once("currents = [").unwrap();
    let (_, after) = rest.split_once(']').unwrap();
    let untold = format!("{before}steps = 6{after}");
    for paper in ["A4", "A5", "Letter", "Half Letter"] {
        for kit in ["10 µg/L", "50 µg/L"] {
            let site = untold.replace("[page]", &format!("[page]\nshed_paper = \"{paper}\""));
            assert!(site.contains(&format!("shed_paper = \"{paper}\"")));
            let job = made(&site.replace("step = \"50 µg/L\"", &format!("step = \"{kit}\"")), Some(log));
            assert_eq!(by_test(&job.plan).laboratory, kit == "50 µg/L");
            assert!(job.plan.correction.buffer.is_some() && job.plan.correction.calcium.is_some());
            if let Err(complaints) =
                weirbook::set(&job, weirbook::document::Edition::ShedSheet, &weirbook::Shipped, &fonts)
            {
                panic!("{paper}, {kit}: {:#?}", complaints.sorted());
            }
        }
    }
}

/// Jobs that between them have all that such a plan can say.
pub fn everything() -> Vec<Job> {
    let running = ["2026-05-20,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,5,2,2"];
    vec![
        site(STEPS, Some("10 µg/L"), "", &[TODAY]),
        site(STEPS, Some("50 µg/L"), "", &[TODAY]),
        site(STEPS, Some("10 µg/L"), "", &running),
        site(STEPS, None, "", &running),
    ]
}

#[test]
fn without_currents_one_low_step_stands_by_copper_tests_and_the_plan_says_what_is_missing() {
    let job = site(STEPS, Some("10 µg/L"), "", &[TODAY]);
    let plan = &job.plan;
    assert!(plan.schedule.is_none(), "a schedule needs the currents");
    let found = by_test(plan);
    assert_eq!((found.step, found.steps, found.borne_out), (1, 6, None));
    assert_eq!(plan.verdict.word, Word::Yes);
    assert!(plan.verdict.has("by-test"));
    assert!(plan.missing.iter().any(|m| m.what.contains("current at each step") && m.measure.contains("weighed")));
    let acts: Vec<Act> = plan.actions.iter().map(|a| a.act).collect();
    assert!(acts.contains(&Act::PanelZero) && acts.contains(&Act::StartByTest) && acts.contains(&Act::MeasureCurrent));
    assert!(plan.bars.wear.is_none(), "no life of bars without a current");
    // Stop and watch as for any panel: the fish do not know what drives the bars.
    let known = site(KNOWN, Some("10 µg/L"), "", &[TODAY]).plan;
    let (here, there) = (plan.limits.as_ref().unwrap(), known.limits.as_ref().unwrap());
    assert_eq!(here.stop.si(), there.stop.si());
    assert!(found.stop.si() <= here.stop.si() && 2.0 * found.watch.si() <= found.stop.si() * (1.0 + 1e-9));
    assert!(known.by_test.is_none(), "known currents make a schedule");
}

#[test]
fn what_a_kit_cannot_see_a_laboratory_tests() {
    // Watch is some 45 µg/L here: a third of it is what a kit's step may be.
    for (kit, laboratory) in [
        (Some("5 µg/L"), false),
        (Some("10 µg/L"), false),
        (Some("20 µg/L"), true),
        (Some("50 µg/L"), true),
        (None, true),
    ] {
        let job = site(STEPS, kit, "", &[TODAY]);
        let found = by_test(&job.plan);
        assert_eq!(found.laboratory, laboratory, "{kit:?}, {:?}", found.most.si() * 1e6);
        // A reading in the kit's steps that is over nothing and under the mark.
        assert!(found.reading.si() >= 1e-6, "{kit:?}: no reading would do");
    }
}

#[test]
fn a_step_that_tests_have_borne_out_stays_and_no_other_does() {
    let stood = ["2026-05-20,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,5,2,2"];
    let job = site(STEPS, Some("10 µg/L"), "", &stood);
    let found = by_test(&job.plan);
    assert_eq!((found.step, found.borne_out), (2, "2026-06-20".parse().ok()));
    assert_eq!(job.plan.actions.first().map(|a| a.act), Some(Act::PanelHold));
    assert!(job.plan.actions.iter().any(|a| a.act == Act::TestWeekly));
    for (why, log) in [
        ("copper is high", ["2026-05-20,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,30,2,2"]),
        ("found at another step", ["2026-05-20,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,5,3,3"]),
        ("for less than a week", ["2026-06-15,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,5,2,2"]),
        (
            "turned down at the visit",
            ["2026-05-20,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,5,2,0"],
        ),
        ("copper not read", ["2026-05-20,15,8.0,9,50,7.8,0.05,4,1,2", "2026-06-20,18,8.0,9,50,7.8,0.05,,2,2"]),
    ] {
        let job = site(STEPS, Some("10 µg/L"), "", &log);
        let found = by_test(&job.plan);
        assert_eq!((found.step, found.borne_out), (1, None), "{why}");
    }
}

#[test]
fn where_copper_has_no_place_no_test_gives_it_one() {
    let log = |row: &'static str| [row];
    for (why, more, row) in [
        ("snails that stay", "[[animal]]\nkind = \"snails\"\nstays = \"yes\"\n", TODAY),
        ("calcium untested", "", "2026-06-20,18,8.0,9,,7.8,0.05,5,0,0"),
        ("copper over stop", "", "2026-06-20,18,8.0,9,50,7.8,0.05,200,0,0"),
        ("hardness untested", "", "2026-06-20,18,,9,50,7.8,0.05,5,0,0"),
    ] {
        let job = site(STEPS, Some("10 µg/L"), more, &log(row));
        assert!(job.plan.by_test.is_none(), "{why}");
        assert!(job.plan.schedule.is_none(), "{why}");
    }
    // Tadpoles: not before the season is over.
    let job = site(STEPS, Some("10 µg/L"), "[[animal]]\nkind = \"breeding amphibians\"\n", &[TODAY]);
    assert_eq!(job.plan.verdict.word, Word::NotYet);
    assert!(by_test(&job.plan).first >= "2026-08-01".parse().unwrap());
}

/// Faraday's law by hand: a gram of copper in thirty days, 96,485 C/mol, 63.546 g/mol, two charges an atom.
#[test]
fn a_gram_in_thirty_days_is_just_over_a_milliampere() {
    let job = site(STEPS, Some("10 µg/L"), "", &[TODAY]);
    let by_hand = 1.0 / 63.546 * 2.0 * 96_485.332_12 / (30.0 * 86_400.0) * 1000.0;
    let found = unit::MILLIAMPERE.of(by_test(&job.plan).gram.si());
    assert!((found - by_hand).abs() < 1e-9 * by_hand, "{found} against {by_hand}");
    assert!((found - 1.17).abs() < 0.005);
}

/// Copper after a while at one release, kg/m³, days: the analytic solution.
fn after(copper: f64, rise: f64, loss: f64, days: f64) -> f64 {
    if loss < 1e-9 {
        return copper + rise * days;
    }
    let rest = rise / loss;
    rest + (copper - rest) * libm::exp(-loss * days)
}

/// What an owner gets who follows the plan: the highest copper after the first test.
struct Owner {
    /// Rise of copper a day before losses, kg/m³.
    rise: f64,
    loss: f64,
    /// How much lower than it is copper is read, as a share of what the plan allows for.
    short: f64,
    /// Days until a laboratory answers.
    wait: f64,
}

impl Owner {
    /// As read: short by what the kit or the laboratory may be out, at most.
    fn read(&self, copper: f64, found: &ByTest, step: f64) -> f64 {
        let out =
            if found.laboratory { (copper - copper / 1.2).max(4e-6).min(copper) } else { (0.5 * step).min(copper) };
        copper - self.short * out
    }

    fn highest(&self, found: &ByTest, step: f64, begin: f64) -> f64 {
        let mark = found.reading.si();
        let mut copper = begin;
        if self.read(copper, found, step) > mark {
            return copper;
        }
        let mut highest = 0.0_f64;
        let [weekly, fortnight] = AFTERWARDS.map(|days| days as f64);
        if found.laboratory {
            for (index, run) in TESTS.into_iter().enumerate() {
                copper = after(copper, self.rise, self.loss, run);
                if index > 0 {
                    highest = highest.max(copper);
                }
                if self.read(copper, found, step) > mark {
                    return highest;
                }
                if index + 1 < TESTS.len() {
                    copper = after(copper, 0.0, self.loss, self.wait);
                }
            }
            // It stays on; each answer comes a week after its sample.
            for _ in 0..20 {
                copper = after(copper, self.rise, self.loss, fortnight);
                let sample = copper;
                copper = after(copper, self.rise, self.loss, weekly);
                highest = highest.max(copper);
                if self.read(sample, found, step) > mark {
                    return highest;
                }
                // The next sample is a fortnight after the last one.
                copper = sample;
            }
            return highest;
        }
        let mut now = 0.0;
        let afterwards = (1..=30).map(|week| TESTS[TESTS.len() - 1] + weekly * f64::from(week));
        for (index, test) in TESTS.into_iter().chain(afterwards).enumerate() {
            copper = after(copper, self.rise, self.loss, test - now);
            now = test;
            if index > 0 {
                highest = highest.max(copper);
            }
            if self.read(copper, found, step) > mark {
                return highest;
            }
        }
        highest
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn who_follows_the_tests_never_passes_what_is_allowed(
        weak in 0.0_f64..9.0, loss in prop_oneof![Just(0.0), 0.001_f64..2.0], short in -1.0_f64..=1.0,
        wait in 0.0_f64..21.0, begin in 0.0_f64..1.0, kit in 0_usize..4,
    ) {
        thread_local! {
            static PLANS: Vec<(Plan, f64)> = [Some(("5 µg/L", 5e-6)), Some(("10 µg/L", 10e-6)), Some(("50 µg/L", 50e-6)), None]
                .into_iter()
                .map(|kit| (site(STEPS, kit.map(|k| k.0), "", &[TODAY]).plan, kit.map_or(0.0, |k| k.1)))
                .collect();
        }
        PLANS.with(|plans| {
            let (plan, step) = &plans[kit];
            let found = by_test(plan);
            // Any current under the one that the plan warns of, down to a ten-thousandth of it; two charges an atom.
            let milliamperes = unit::MILLIAMPERE.of(found.current.si()) * libm::exp(-weak);
            let rise = milliamperes * 1e-3 * 86_400.0 * 63.546e-3 / (2.0 * 96_485.332_12) / plan.volume.low.si();
            let owner = Owner { rise, loss, short, wait };
            // The start at the highest copper that the tests let pass, at most.
            let highest = owner.highest(found, *step, begin * found.reading.si());
            prop_assert!(highest <= found.most.si() * (1.0 + 1e-9), "{highest:e} over {:e}", found.most.si());
            // And the first six hours keep stop.
            let first = after(found.reading.si(), rise, loss, TESTS[0]);
            prop_assert!(first <= found.stop.si() * (1.0 + 1e-9));
            Ok(())
        })?;
    }
}

/// The rule is not merely safe: an owner with a weak panel is let run on.
#[test]
fn a_weak_panel_is_let_run() {
    for kit in [Some("5 µg/L"), Some("50 µg/L")] {
        let job = site(STEPS, kit, "", &[TODAY]);
        let found = by_test(&job.plan);
        let owner = Owner { rise: 0.5e-6, loss: 0.1, short: 0.0, wait: 7.0 };
        let highest = owner.highest(found, 5e-6, 0.0);
        assert!((highest - 5e-6).abs() < 0.5e-6, "{highest:e}: it comes to its rest at 5 µg/L");
    }
}

#[test]
fn the_safety_check_follows_the_tests_by_small_steps() {
    for job in everything() {
        let found = by_test(&job.plan);
        let row = job
            .plan
            .checks
            .iter()
            .find(|c| c.proposal.contains("copper tests alone") && c.limit.starts_with("watch"))
            .unwrap();
        assert!(row.kept && row.proposed <= 1000.0 * found.most.si() * (1.0 + 1e-9), "{row:?}");
        // Not far from the limit either: the rule gives away no more than its rounding.
        assert!(row.proposed >= 1000.0 * found.most.si() - 4e-3, "{row:?}");
    }
}
