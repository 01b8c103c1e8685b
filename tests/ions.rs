//! The water of a plan as its ions: from the readings of a log, in their units, to what a dose does.

#![expect(clippy::unwrap_used, reason = "tests fetch their own cases")]

use weirbook::cli::complaints;
use weirbook::diag::Text;
use weirbook::{Choices, Job, Shipped, prepare};

use crate::demos::DEMOS;

const HEAD: &str = "date,temperature [°C],carbonate hardness [meq/L],calcium [mg/L Ca],magnesium [mg/L],general hardness [mg/L CaCO3],ph morning,ph afternoon,conductivity [µS/cm],ammonia [mg/L N],total copper [µg/L]\n";

/// Quoyle End with one visit of these readings, and what is said of it.
fn visited(row: &str) -> (Option<Job>, String) {
    let (_, site, _) = DEMOS.iter().find(|demo| demo.0 == "quoyle-end").unwrap();
    let site = Text { name: "site.toml".into(), words: (*site).into() };
    let log = Text { name: "log.csv".into(), words: format!("{HEAD}2027-02-17,{row}\n") };
    let (job, found) = prepare(&site, Some(&log), Choices::default(), &Shipped);
    let shown = complaints::render(&[site, log], &found, false, 80);
    (job, shown)
}

#[test]
fn doses_of_a_plan_do_what_the_reference_program_says() {
    // tests/reference/buffers.csv, the rows of sodium bicarbonate: a public geochemistry program.
    let table = include_str!("reference/buffers.csv");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let mut tried = 0;
    for row in rows.deserialize::<std::collections::BTreeMap<String, String>>() {
        let row = row.unwrap();
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        if row["chemical"] != "NaHCO3" || !["very soft", "soft", "medium"].contains(&row["water"].as_str()) {
            continue;
        }
        let (celsius, alkalinity) = (number("temperature_c"), number("start_alkalinity_meq_per_kgw"));
        let density = weirbook::chem::activity::density(celsius);
        let (calcium, magnesium) = (number("start_ca_mmol_per_kgw"), number("start_mg_mmol_per_kgw"));
        let ph = number("start_ph");
        let log = format!(
            "{celsius},{},{},,{},{ph},{ph},,<0.05,",
            alkalinity * density,
            calcium * density * 40.078,
            (calcium + magnesium) * density * 100.087,
        );
        let (job, shown) = visited(&log);
        let job = job.unwrap_or_else(|| panic!("{shown}"));
        let water = job.plan.water.as_ref().unwrap();
        let dose = number("dose_mmol_per_kgw") * density;
        let dosed = water.dosed(&water.composed.water, "sodium-bicarbonate", dose);
        let closed = dosed.closed().unwrap();
        let (_, open) = dosed.opened(-3.38).unwrap();
        for (what, ours, theirs) in [
            ("closed pH", closed.ph, number("closed_ph")),
            ("pH at rest with air", open.ph, number("air_ph")),
            ("lime", closed.saturation(weirbook::reference::chemistry::CALCITE).unwrap(), number("closed_si_calcite")),
        ] {
            // Salts that no contractor measures move a pH by less than a meter shows, and lime by a little more.
            assert!((ours - theirs).abs() < 0.03, "{}, {dose} mol/m³: {what} {ours}, reference {theirs}", row["water"]);
        }
        tried += 1;
    }
    assert_eq!(tried, 15);
}

#[test]
fn the_ph_of_a_plan_is_that_of_its_worst_hour_and_no_less() {
    // Both hours read alike, so that the highest pH of the plan is at least that of the closed water after all doses.
    let (job, shown) = visited("12,1.9,30,,107,7.6,7.6,300,0.1,<5");
    let plan = job.unwrap_or_else(|| panic!("{shown}")).plan;
    let (water, buffer) = (plan.water.as_ref().unwrap(), plan.correction.buffer.as_ref().unwrap());
    let gained = buffer.after_most.si() - buffer.start.si();
    let dosed = water.dosed(&water.composed.water, buffer.substance.id, gained);
    let (_, before) = water.composed.water.opened(-3.38).unwrap();
    let (closed, open) = (dosed.closed().unwrap(), dosed.opened(-3.38).unwrap().1);
    let highest = closed.ph.max(7.6 + open.ph - before.ph);
    assert!((buffer.ph_after.si() - highest).abs() < 0.02, "{} against {highest}", buffer.ph_after.si());
}

#[test]
fn readings_that_cannot_be_one_water_are_said() {
    // Carbonate hardness of 2 meq/L alone conducts more than the meter shows: the meter is left out, the buffer stays.
    let (job, shown) = visited("12,1.9,30,,107,7.6,7.6,60,0.1,<5");
    let plan = job.unwrap().plan;
    insta::assert_snapshot!("meter_too_low", shown);
    assert!(plan.correction.buffer.is_some());
    assert!(plan.correction.conductivity_after.is_none() || plan.water.as_ref().unwrap().misfit.is_none());
    assert!(plan.missing.iter().any(|m| m.what == "conductivity, again"), "{:?}", plan.missing);

    // A pH of 4.6 with that carbonate hardness would bubble: no dose rests on it.
    let (job, shown) = visited("12,1.9,30,,107,4.6,4.6,300,0.1,<5");
    let plan = job.unwrap().plan;
    insta::assert_snapshot!("ph_too_low", shown);
    assert!(plan.water.is_none() && plan.correction.buffer.is_none() && plan.correction.buffer_untold);
}

#[test]
fn softened_water_is_known_by_its_ions() {
    let (job, shown) = visited("12,2.4,4,,18,8.0,8.0,300,0.1,<5");
    let plan = job.unwrap_or_else(|| panic!("{shown}")).plan;
    assert!(plan.water.as_ref().unwrap().composed.softened);
    let (job, _) = visited("12,2.4,40,,125,8.0,8.0,300,0.1,<5");
    assert!(!job.unwrap().plan.water.as_ref().unwrap().composed.softened);
}
