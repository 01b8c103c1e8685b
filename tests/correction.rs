//! The corrections of a plan against the bench, against the same done one after the other, and against the kits' steps.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own case has failed")]

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;
use weirbook::chem::composition::Composed;
use weirbook::chem::solution::Water;
use weirbook::chem::treatment::{Range, Steps, range};
use weirbook::plan::{Joint, Plan};
use weirbook::reference::chemistry::{CALCIUM, CHLORIDE, MAGNESIUM, addition};
use weirbook::reference::{Purpose, THIOSULFATE_PER_CHLORINE};
use weirbook::units::table as unit;
use weirbook::workings::Expr;

use crate::demos::{DEMOS, job, made};
use crate::ponds::{Panel, sample};

/// What `weirbook water` prints for a water, all stages.
fn bench(arguments: &[String]) -> Vec<Value> {
    let out = Command::new(env!("CARGO_BIN_EXE_weirbook"))
        .args(["water", "--format", "json"])
        .args(arguments)
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    json["stages"].as_array().unwrap().clone()
}

/// The last visit of the first demo, as one would type it.
fn quoyle_end(plan: &Plan, more: &[String]) -> Vec<Value> {
    let mut arguments: Vec<String> = [
        "--carbonate-hardness",
        "5.5 dKH",
        "--general-hardness",
        "4.0 dGH",
        "--calcium",
        "26 mg/L Ca",
        "--ph",
        "8.4",
        "--temperature",
        "5.5 °C",
        "--conductivity",
        "375 µS/cm",
        "--nitrate",
        "20 mg/L NO3",
        "--ammonia",
        "0.1 mg/L N",
    ]
    .map(str::to_owned)
    .to_vec();
    let low = plan.volume.low.si();
    let correction = &plan.correction;
    let buffer = correction.buffer.as_ref().unwrap();
    for _ in &buffer.days {
        // What is poured is 99 % of it (site file).
        arguments.extend(["--add".into(), format!("{} g/m3 NaHCO3", buffer.dose.si() * 1000.0 * 0.99 / low)]);
    }
    arguments.extend(more.iter().cloned());
    bench(&arguments)
}

fn number(stage: &Value, key: &str) -> f64 {
    stage[key].as_f64().unwrap()
}

#[test]
fn the_plan_foretells_what_the_bench_computes() {
    let plan = job("quoyle-end").plan;
    let correction = &plan.correction;
    let calcium = correction.calcium.as_ref().unwrap();
    let line = |id: &str| plan.book.lines().iter().find(|l| l.id == id).unwrap_or_else(|| panic!("no {id}")).node.si;
    // After the buffer, closed and at rest with air.
    let closed = quoyle_end(&plan, &[]);
    let last = closed.last().unwrap();
    assert!((number(last, "ph") - line("ph.after-closed")).abs() < 1e-6);
    let open = quoyle_end(&plan, &["--open-air".into()]);
    assert!((number(open.last().unwrap(), "ph") - line("ph.after-rest")).abs() < 1e-6);
    let bare = bench(
        &[
            "--carbonate-hardness",
            "5.5 dKH",
            "--general-hardness",
            "4.0 dGH",
            "--calcium",
            "26 mg/L Ca",
            "--ph",
            "8.4",
            "--temperature",
            "5.5 °C",
            "--conductivity",
            "375 µS/cm",
            "--nitrate",
            "20 mg/L NO3",
            "--open-air",
        ]
        .map(str::to_owned),
    );
    assert!((number(bare.last().unwrap(), "ph") - line("ph.rest-before")).abs() < 1e-6);
    // After the calcium too: conductivity, lime, and the highest pH by hand.
    let flake = calcium.dose.si() * 1000.0 * calcium.count.si() * 0.755 / plan.volume.low.si();
    let all = quoyle_end(&plan, &["--add".into(), format!("{flake} g/m3 CaCl2")]);
    let (first, last) = (all.first().unwrap(), all.last().unwrap());
    let lift = number(last, "conductivity_25_us_per_cm") - number(first, "conductivity_25_us_per_cm");
    let after = unit::MICROSIEMENS.of(correction.conductivity_after.as_ref().unwrap().si());
    assert!((after - (375.0 + lift)).abs() < 1e-3, "{after}, {lift}");
    let lime = last["saturation_index"]["calcite"].as_f64().unwrap();
    assert!((lime - correction.lime_after.as_ref().unwrap().si()).abs() < 1e-6);
    let highest = [8.4, line("ph.after-closed"), 8.4 + line("ph.after-rest") - line("ph.rest-before")];
    let highest = highest.into_iter().fold(0.0, f64::max);
    assert!((correction.buffer.as_ref().unwrap().ph_after.si() - highest).abs() < 1e-9);
}

/// Grams of product in a kilogram of water, where each goal is met by its own substance, the ones before counted: None where
/// that passes a bound or cannot be.
fn one_after_the_other(joint: &Joint) -> Option<f64> {
    let product = |purpose| joint.amounts.iter().find(|(row, ..)| row.purpose == purpose);
    let mut water: Water = joint.start;
    let mut grams = 0.0;
    for purpose in [Purpose::Buffer, Purpose::Calcium, Purpose::Salt] {
        let Some((row, purity, _)) = product(purpose) else { continue };
        let substance = addition(row.name).unwrap();
        let amount = match purpose {
            Purpose::Buffer => water.dose_to_alkalinity(substance, joint.goals.alkalinity)?,
            Purpose::Calcium => water.dose_to_calcium(substance, joint.goals.calcium)?,
            _ => water.dose_to_conductivity(substance, joint.goals.conductivity).ok()??,
        };
        water = water.with(substance, amount);
        grams += amount * substance.molar_mass / purity;
    }
    (water.totals[CHLORIDE] <= joint.bounds.chloride * (1.0 + 1e-9)).then_some(grams)
}

/// Groups of lines whose solved values are all closed by an equation.
const CLOSED: [&str; 8] =
    ["water.", "ph.", "joint.", "calcium.", "conductivity.", "salt.", "change.", "copper.change."];

#[test]
fn the_joint_correction_breaks_no_limit_and_never_takes_more_than_one_thing_after_the_other() {
    let (mut found, mut salted, mut both, mut lighter, mut short, mut calcium_for_it) = (0, 0, 0, 0, 0, 0);
    let mut reached = BTreeSet::new();
    for (n, mut pond) in sample(1200).into_iter().enumerate() {
        // A panel that asks for more than most ponds have, and calcium of every strength.
        let least = 250.0 + 450.0 * (n % 7) as f64 / 6.0;
        let Some(panel) = pond.panel.take() else { continue };
        pond.panel = Some(Panel { least_conductivity: Some(least), ..panel });
        if n % 3 == 0 {
            pond.calcium_purity = Some(96.0);
        }
        let Ok(plan) = pond.plan() else { panic!("no plan:\n{}", pond.site_file()) };
        let Some(joint) = &plan.correction.joint else { continue };
        found += 1;
        let water = &joint.closed.water;
        let hard = |w: &Water| w.totals[CALCIUM] + w.totals[MAGNESIUM];
        let near = 1.0 + 1e-6;
        assert!(water.alkalinity <= joint.bounds.alkalinity * near, "{n}: carbonate hardness");
        assert!(hard(water) <= joint.bounds.hardness.max(hard(&joint.start)) * near, "{n}: general hardness");
        assert!(
            water.totals[CHLORIDE] <= joint.bounds.chloride.max(joint.start.totals[CHLORIDE]) * near,
            "{n}: chloride"
        );
        assert!(joint.closed.state.ph <= joint.start.closed().unwrap().ph.max(9.0) + 1e-5, "{n}: pH");
        if !joint.lime_falls {
            let before = weirbook::chem::treatment::Stage::closed(joint.start).unwrap().lime().unwrap_or(0.0);
            let si = joint.closed.lime().unwrap_or(0.0);
            assert!(si <= before.max(1.0) + 1e-5, "{n}: lime at {si} from {before}");
        }
        // Goals that could be met are met.
        assert!(water.alkalinity >= joint.goals.alkalinity * (1.0 - 1e-6), "{n}: {joint:#?}");
        if !joint.lime_keeps && !joint.lime_falls {
            assert!(water.totals[CALCIUM] >= joint.goals.calcium * (1.0 - 1e-6), "{n}");
        }
        match joint.short {
            Some(reached) => {
                short += 1;
                assert!(reached < joint.goals.conductivity, "{n}");
            }
            None => assert!(joint.closed.conductivity_25 >= joint.goals.conductivity * (1.0 - 1e-6), "{n}"),
        }
        let used = |purpose| joint.of(purpose) > 1e-9;
        salted += i32::from(used(Purpose::Salt));
        both += i32::from(used(Purpose::Salt) && used(Purpose::Buffer));
        calcium_for_it += i32::from(plan.correction.calcium.as_ref().is_some_and(|c| c.for_conductivity));
        if joint.short.is_none()
            && !joint.lime_keeps
            && !joint.lime_falls
            && let Some(grams) = one_after_the_other(joint)
        {
            assert!(joint.grams <= grams * near + 1e-9, "{n}: {} g/kg, one after the other {grams}", joint.grams);
            lighter += i32::from(joint.grams < grams * 0.999);
        }
        // Each amount is closed by what it just reaches, and all else that the chemistry solved by its own equation.
        for line in plan.book.lines() {
            if let Expr::Solved { closing: None, .. } = &line.node.expr {
                assert!(
                    !CLOSED.iter().any(|group| line.id.starts_with(group)),
                    "{n}: {} has no live equation",
                    line.id
                );
            }
            let words = "What sets it: ";
            let told = line.node.remarks.iter().find_map(|remark| remark.strip_prefix(words));
            reached.extend(told.map(str::to_owned));
        }
        // What is printed comes to no more than that: the low volume, the kinder end, rounded down.
        let correction = &plan.correction;
        let printed = correction.buffer.as_ref().map_or(0.0, |b| b.buy.si())
            + correction.calcium.as_ref().map_or(0.0, |c| c.buy.si())
            + correction.salt.as_ref().map_or(0.0, |s| s.dose.si() * s.days.len() as f64);
        let density = plan.water.as_ref().unwrap().density;
        let most = joint.grams * density * plan.volume.low.si();
        assert!(printed <= most * near + 1e-9, "{n}: {printed} kg printed, {most} found");
    }
    println!(
        "{found} corrections, {salted} with salt, {both} of those with buffer, {lighter} lighter, {short} short, {calcium_for_it} by calcium"
    );
    println!("what sets the amounts: {reached:#?}");
    for words in [
        "the goal for carbonate hardness",
        "the goal for calcium",
        "calcium that stays dissolved",
        "the high end of general hardness",
        "the most chloride",
        "the conductivity that is wanted",
    ] {
        assert!(reached.iter().any(|told| told.starts_with(words)), "{words} sets none");
    }
    assert!(found > 120 && salted > 30 && both > 3 && lighter > 2 && short > 0 && calcium_for_it > 2);
}

#[test]
fn what_the_whole_takes_is_the_range_of_the_kits_and_the_tape() {
    // Drop counts of half a degree; the kinder end is what the doses come to.
    let plan = job("quoyle-end").plan;
    let water = plan.water.as_ref().unwrap();
    let steps = Steps { alkalinity: (water.molal(unit::DEGREE_KH.si(0.5)), 0.0), ..Steps::default() };
    let goal = water.molal(unit::DEGREE_KH.si(6.5));
    let buffer = addition("NaHCO3").unwrap();
    let of = |c: &Composed| Ok(c.water.dose_to_alkalinity(buffer, goal).unwrap());
    let Range { low, best, high } = range(&water.read, &steps, of).unwrap();
    let planned = plan.correction.buffer.as_ref().unwrap();
    let volumes = [&plan.volume.total, &plan.volume.low, &plan.volume.high];
    for ((takes, volume), amount) in planned.takes.iter().zip(volumes).zip([best, low, high]) {
        let kilograms = water.per_cubic_metre(amount) * volume.si() * 84.0066 / 0.99 / 1000.0;
        assert!((takes.si() / kilograms - 1.0).abs() < 1e-4, "{} for {kilograms}", takes.si());
    }
    assert!(planned.buy.si() <= planned.takes[1].si() && planned.takes[1].si() - planned.buy.si() < 0.01);
    // A kit that does not count drops: half a step either way, and the dose goes by the higher reading.
    let (_, site, log) = DEMOS[0];
    let site = site.replacen("step = \"0.5 dKH\"\ndrops = \"yes\"", "step = \"0.5 dKH\"", 1);
    let halved = made(&site, Some(log)).plan;
    let halved = halved.correction.buffer.as_ref().unwrap();
    // 6.5 less 5.75 instead of 6.5 less 5.5: three quarters.
    assert!((halved.takes[1].si() / planned.takes[1].si() - 0.75).abs() < 1e-9);
    assert!((halved.takes[0].si() / planned.takes[0].si() - 1.0).abs() < 1e-9);
    assert!(halved.buy.si() <= halved.takes[1].si());
}

#[test]
fn a_range_of_ph_holds_what_each_end_of_the_kits_gives() {
    let plan = job("quoyle-end").plan;
    let buffer = plan.correction.buffer.as_ref().unwrap();
    let [least, most] = &buffer.ph_ends;
    assert!(least.si() < buffer.ph_after.si() && buffer.ph_after.si() < most.si());
    // A tenth of pH, half of it either way, is nearly all of it: the meter itself.
    assert!((most.si() - buffer.ph_after.si() - 0.05).abs() < 0.02, "{}", most.si());
    let [least, most] = plan.correction.conductivity_ends.as_ref().unwrap();
    let after = plan.correction.conductivity_after.as_ref().unwrap();
    // Two in a hundred of 375, half of it either way.
    assert!((unit::MICROSIEMENS.of(most.si() - after.si()) - 3.75).abs() < 1.0);
    assert!((unit::MICROSIEMENS.of(after.si() - least.si()) - 3.75).abs() < 1.0);
}

#[test]
fn the_largest_move_of_ph_is_that_of_the_worse_hour_and_the_worse_air() {
    let plan = job("quoyle-end").plan;
    let line = |id: &str| plan.book.lines().iter().find(|l| l.id == id).unwrap().node.si;
    // By hand from the water: the dose at the low volume, from the pH of the afternoon and that of the morning.
    let water = plan.water.as_ref().unwrap();
    let buffer = plan.correction.buffer.as_ref().unwrap();
    assert_eq!(buffer.days.len(), 1);
    let pond = water.composed.water;
    let dosed = |from: &Water| from.with(addition("NaHCO3").unwrap(), water.molal(buffer.rise_most.si()));
    let (morning, _) = Water::of_ph(pond.celsius, pond.totals, pond.alkalinity, 7.9).unwrap();
    let at_rest = |from: &Water| from.opened(weirbook::chem::solution::AIR).unwrap().1.ph;
    let closed = |from: &Water| from.closed().unwrap().ph;
    let moves = [
        closed(&dosed(&pond)) - closed(&pond),
        // On the first day the water's own way to the air goes with the dose.
        at_rest(&dosed(&pond)) - closed(&pond),
        closed(&dosed(&morning)) - closed(&morning),
        at_rest(&dosed(&morning)) - at_rest(&morning),
    ];
    let largest = moves.iter().map(|m: &f64| m.abs()).fold(0.0, f64::max);
    assert!((line("ph.dose-shift") - largest).abs() < 1e-6, "{moves:?}");
    assert!((line("ph.dose-shift-to") - line("ph.dose-shift-from") - largest).abs() < 1e-6);
}

/// A pond that crept up to 13 dKH beside a supply of another pH; `copper` in µg/L.
fn changed(supply: &str, ph: &str, copper: &str) -> Plan {
    let site = format!(
        "[site]\nid = \"p\"\nname = \"P\"\nowner = \"O\"\nplace = \"X\"\ncountry = \"other\"\nplan_date = 2026-06-20\n\
         [firm]\nname = \"F\"\ntelephone = \"1\"\n[page]\npaper = \"A4\"\nunits = \"metric\"\n\
         [[volume.section]]\nname = \"pond\"\nshape = \"known volume\"\nvolume = \"10 m3\"\n\
         [supply]\nkind = \"mains\"\ncalcium = \"40 mg/L Ca\"\ngeneral_hardness = \"8 dGH\"\ntotal_copper = \"2 µg/L\"\n{supply}\
         [[animal]]\nkind = \"koi\"\n[outflow]\noverflow = \"own ground\"\nchanges = \"own ground\"\n\
         [panel]\ncurrents = [\"0.5 mA\", \"1 mA\", \"2 mA\"]\n\
         [[kit]]\nreading = \"carbonate hardness\"\nstep = \"0.5 dKH\"\ndrops = \"yes\"\n[log]\nfile = \"log.csv\"\n"
    );
    let log = format!(
        "date,temperature [°C],carbonate hardness [°dKH],general hardness [°dGH],calcium [mg/L Ca],conductivity [µS/cm],ph morning,ammonia [mg/L N],total copper [µg/L]\n\
         2026-06-20,16,13.0,12,60,700,{ph},0.05,{copper}\n"
    );
    made(&site, Some(&log)).plan
}

#[test]
fn a_change_that_moves_ph_too_far_is_split_or_told() {
    let mild = changed("carbonate_hardness = \"8 dKH\"\nph = \"7.9\"\ntotal_chlorine = \"0 mg/L\"\n", "8.2", "5");
    let change = mild.correction.changes.unwrap();
    let followed = change.followed.unwrap();
    assert!(!followed.smaller && !followed.too_far && followed.ph_shift.si() < 0.3);
    assert!((change.limit.si() - 0.25).abs() < 1e-9);
    // Much carbon dioxide out of a well, into a green pond in the afternoon: a quarter would take it down by more than half.
    let far = changed("carbonate_hardness = \"8 dKH\"\nph = \"6.7\"\ntotal_chlorine = \"0 mg/L\"\n", "8.6", "5");
    let change = far.correction.changes.unwrap();
    let followed = change.followed.unwrap();
    assert!(followed.smaller && !followed.too_far, "{}", followed.ph_shift.si());
    assert!(followed.ph_shift.si() <= 0.5 && change.limit.si() < 0.25 && change.days.len() > 2);
    // By hand from the two waters: mixed, closed, and what the quarter would have done.
    let pond = far.water.unwrap().composed.water;
    let moved = |share: f64| {
        let start = pond.closed().unwrap().ph;
        // The supply as the plan sees it: eight degrees and pH 6.7 (its other ions do not move pH).
        let (supply, _) = Water::of_ph(16.0, pond.totals, 8.0 * 0.356_65e-3, 6.7).unwrap();
        pond.mixed(&supply, share).closed().unwrap().ph - start
    };
    assert!(moved(0.25) < -0.5, "{}", moved(0.25));
    assert!((moved(change.volume.si() / far.volume.low.si()) + followed.ph_shift.si()).abs() < 0.05);
    // Copper does not wait: the change stays as large, and the page says to run it in over the day.
    let copper = changed("carbonate_hardness = \"8 dKH\"\nph = \"6.7\"\ntotal_chlorine = \"0 mg/L\"\n", "8.6", "200");
    let change = copper.correction.copper.unwrap();
    assert!(change.followed.unwrap().too_far && (change.limit.si() - 0.25).abs() < 1e-9);
}

#[test]
fn a_change_carries_what_the_neutraliser_and_chloramine_leave() {
    let supply =
        "carbonate_hardness = \"8 dKH\"\nph = \"7.9\"\ntotal_chlorine = \"2.0 mg/L\"\nfree_chlorine = \"0.2 mg/L\"\n";
    let plan = changed(supply, "7.8", "5");
    let change = plan.correction.changes.as_ref().unwrap();
    let line = |id: &str| plan.book.lines().iter().find(|l| l.id == id).unwrap().node.si;
    let share = change.volume.si() / plan.volume.low.si();
    // CL-08: 0.198 g of nitrogen a gram of combined chlorine.
    let nitrogen = unit::AMMONIA_N.si(0.05 * (1.0 - share) + 0.198 * 1.8 * share);
    assert!((line("change.ammonia") / nitrogen - 1.0).abs() < 0.003);
    // Sulfate and acid: seven grams of thiosulfate a gram of chlorine take 2 · 2 · 7 / 248.19 mmol of alkalinity, free chlorine its own.
    let acid = 2.0 * 2.0 * THIOSULFATE_PER_CHLORINE / 248.19 + 0.2 / 70.906;
    let clean = changed("carbonate_hardness = \"8 dKH\"\nph = \"7.9\"\ntotal_chlorine = \"0 mg/L\"\n", "7.8", "5");
    let left = change.followed.as_ref().unwrap().left;
    let clean = clean.correction.changes.unwrap();
    assert_eq!(clean.days.len(), change.days.len());
    let kept = (1.0 - share).powi(change.days.len() as i32);
    let lost = (clean.followed.unwrap().left.alkalinity - left.alkalinity) * 1000.0;
    assert!((lost / (acid * (1.0 - kept)) - 1.0).abs() < 0.02, "{lost} against {}", acid * (1.0 - kept));
    assert!(left.ammonia > 0.0);
}
