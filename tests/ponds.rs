//! Random ponds as a contractor would write them: a site file and a log, with the numbers they were made from kept, so
//! that a test can reckon by itself.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test that cannot read its own case has failed; no bytes hang on a last bit"
)]

use std::fmt::Write as _;

use chrono::{Days, NaiveDate};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use weirbook::diag::{Diagnostics, Text};
use weirbook::plan::{Plan, Texts, decide};
use weirbook::site::{Site, parse};
use weirbook::units::System;

/// A number a kit showed, or the bound it showed "less than".
#[derive(Clone, Copy, Debug)]
pub struct Shown {
    pub value: f64,
    pub less_than: bool,
}

/// One water, in °dKH, °dGH, mg/L, °C, µg/L (copper), µS/cm.
#[derive(Clone, Copy, Debug, Default)]
pub struct Water {
    pub temperature: Option<f64>,
    pub hardness: Option<f64>,
    pub general: Option<f64>,
    pub calcium: Option<f64>,
    pub conductivity: Option<f64>,
    pub ph_morning: Option<f64>,
    pub ph_afternoon: Option<f64>,
    pub ammonia: Option<Shown>,
    pub copper: Option<Shown>,
    pub dissolved: Option<f64>,
}

/// What only the supply has.
#[derive(Clone, Copy, Debug)]
pub struct Tap {
    pub kind: &'static str,
    pub softened: bool,
    pub water: Water,
    pub chlorine: Option<f64>,
    /// Free chlorine.
    pub free: Option<f64>,
}

#[derive(Clone, Debug)]
pub struct Panel {
    /// mA.
    pub currents: Vec<f64>,
    pub currents_known: bool,
    pub flow_stop: &'static str,
    pub least_conductivity: Option<f64>,
    /// The step it gave at the last visit, set to full.
    pub full_reached: Option<u32>,
    /// Voltage (V) and cell constant (/cm), or a current (mA) with its conductivity (µS/cm).
    pub cell: Option<(&'static str, f64, f64)>,
    pub bar_state: &'static str,
}

#[derive(Clone, Debug)]
pub struct Practice {
    pub hardness_step: Option<f64>,
    /// Per cent.
    pub change_share: Option<f64>,
    pub copper_stop: Option<f64>,
    pub scale_step: Option<f64>,
    pub spells: Option<u32>,
    pub holding: Option<u32>,
    pub goal: Option<f64>,
    pub calcium_goal: Option<f64>,
}

#[derive(Clone, Debug)]
pub struct Pond {
    /// m³, as known volume.
    pub volume: f64,
    /// m³, by meter.
    pub metered: Option<f64>,
    /// Per cent.
    pub uncertainty: Option<f64>,
    pub tap: Tap,
    /// Oldest first.
    pub visits: Vec<(NaiveDate, Water, Option<u32>, Option<u32>)>,
    pub panel: Option<Panel>,
    pub animals: Vec<(&'static str, bool, bool)>,
    pub country: &'static str,
    pub authorised: bool,
    pub overflow: &'static str,
    pub relaid: bool,
    pub changes: &'static str,
    /// Step in °dKH, and whether drops are counted.
    pub kit: Option<(f64, bool)>,
    /// Name and purity in per cent.
    pub buffer: Option<(&'static str, Option<f64>)>,
    /// Purity in per cent.
    pub calcium_purity: Option<f64>,
    /// Purity in per cent.
    pub thiosulfate_purity: Option<f64>,
    pub practice: Practice,
    pub hose: Option<f64>,
    pub units: &'static str,
    pub date: NaiveDate,
    pub latitude: Option<f64>,
}

fn maybe<S: Strategy>(share: f64, strategy: S) -> impl Strategy<Value = Option<S::Value>> {
    prop::option::weighted(share, strategy)
}

/// Rounded as a kit would show it, so that text and number are the same.
fn places(range: std::ops::Range<f64>, places: i32) -> impl Strategy<Value = f64> {
    let scale = 10_f64.powi(places);
    range.prop_map(move |v| (v * scale).round() / scale)
}

fn shown(range: std::ops::Range<f64>, decimals: i32) -> impl Strategy<Value = Shown> {
    (places(range, decimals), prop::bool::weighted(0.15))
        .prop_map(|(value, less)| Shown { value, less_than: less && value > 0.0 })
}

fn water(known: f64) -> impl Strategy<Value = Water> {
    let hardness = prop_oneof![places(0.0..25.0, 1), places(4.0..9.0, 1)];
    let calcium = prop_oneof![places(0.0..160.0, 0), places(25.0..60.0, 0)];
    let first = (
        maybe(known, places(0.0..30.0, 1)),
        maybe(known, hardness),
        maybe(known, places(0.0..12.0, 1)),
        maybe(known, calcium),
        maybe(known, places(40.0..1200.0, 0)),
    );
    let second = (
        maybe(known, places(6.5..9.5, 1)),
        maybe(known * 0.8, places(6.5..9.5, 1)),
        maybe(known, prop_oneof![shown(0.0..2.0, 2), shown(0.0..0.25, 2)]),
        maybe(known, prop_oneof![shown(0.0..60.0, 0), shown(0.0..300.0, 0)]),
        maybe(0.5, 0.2..1.0_f64),
    );
    (first, second).prop_map(
        |(
            (temperature, hardness, magnesium, calcium, conductivity),
            (ph_morning, ph_afternoon, ammonia, copper, share),
        )| {
            // General hardness holds the calcium and some magnesium: one °dGH is 7.15 mg/L of calcium (HU-01).
            let general = magnesium.map(|m| ((calcium.unwrap_or(30.0) / 7.147 + m) * 10.0).ceil() / 10.0);
            let dissolved = match (copper, share) {
                (Some(c), Some(share)) if !c.less_than => Some((c.value * share).floor()),
                _ => None,
            };
            Water {
                temperature,
                hardness,
                general,
                calcium,
                conductivity,
                ph_morning,
                ph_afternoon,
                ammonia,
                copper,
                dissolved,
            }
        },
    )
}

fn tap() -> impl Strategy<Value = Tap> {
    (
        prop::sample::select(vec!["mains", "well", "rain"]),
        prop::bool::weighted(0.1),
        water(0.9),
        maybe(0.75, prop_oneof![Just(0.0), places(0.05..4.0, 2)]),
        maybe(0.75, 0.0..1.0_f64),
    )
        .prop_map(|(kind, softened, mut water, chlorine, free)| {
            water.copper = water.copper.map(|c| Shown { value: (c.value / 8.0).floor(), less_than: false });
            water.dissolved = None;
            let free = free.map(|share| chlorine.map_or(0.1, |total| (total * share * 100.0).floor() / 100.0));
            Tap { kind, softened, water, chlorine, free }
        })
}

fn panel() -> impl Strategy<Value = Panel> {
    (
        prop::collection::vec(places(0.1..8.0, 1), 1..=12),
        prop_oneof![Just(0.2), Just(1.0), Just(4.0)],
        prop::bool::weighted(0.9),
        prop::sample::select(vec!["yes", "no", "unknown"]),
        maybe(0.2, places(100.0..900.0, 0)),
    )
        .prop_map(|(steps, scale, currents_known, flow_stop, least_conductivity)| {
            let mut total = 0.0;
            let currents = steps
                .iter()
                .map(|step| {
                    total += step * scale;
                    (total * 100.0_f64).round() / 100.0
                })
                .collect();
            // Tried or not, and what the bars look like: by the sum of the steps, as good as a draw.
            let dice = (steps.iter().sum::<f64>() * 10.0).round() as u32;
            Panel {
                full_reached: (!dice.is_multiple_of(3)).then_some(dice % (steps.len() as u32 + 1)),
                cell: match dice % 4 {
                    0 => Some(("constant", 12.0, 0.02 * f64::from(1 + dice % 17))),
                    1 => Some(("pair", 1.0 + f64::from(dice % 23), 100.0 + f64::from(dice % 700))),
                    _ => None,
                },
                bar_state: ["", "green scale", "white scale", "bright", "thin"][(dice % 5) as usize],
                currents,
                currents_known,
                flow_stop,
                least_conductivity,
            }
        })
}

fn practice() -> impl Strategy<Value = Practice> {
    (
        maybe(0.2, places(0.2..1.0, 1)),
        maybe(0.2, places(5.0..34.0, 0)),
        maybe(0.1, places(10.0..200.0, 0)),
        maybe(0.2, prop::sample::select(vec![0.1, 1.0, 5.0, 10.0])),
        maybe(0.2, 0..6_u32),
        maybe(0.1, 1..4_u32),
        maybe(0.3, places(5.8..13.0, 1)),
        maybe(0.3, places(20.0..100.0, 0)),
    )
        .prop_map(|(hardness_step, change_share, copper_stop, scale_step, spells, holding, goal, calcium_goal)| {
            Practice { hardness_step, change_share, copper_stop, scale_step, spells, holding, goal, calcium_goal }
        })
}

const HARDY: [&str; 4] = ["goldfish", "koi", "tench", "dogs"];
const OTHERS: [&str; 7] =
    ["snails", "sturgeon", "trout", "breeding amphibians", "tender fish", "visiting amphibians", "mussels"];

fn animals() -> impl Strategy<Value = Vec<(&'static str, bool, bool)>> {
    (
        prop_oneof![1 => Just(Vec::new()), 8 => prop::collection::vec(prop::sample::select(HARDY.to_vec()), 1..3)],
        prop::collection::vec((prop::sample::select(OTHERS.to_vec()), prop::bool::ANY, prop::bool::ANY), 0..3),
        prop::bool::weighted(0.3),
    )
        .prop_map(|(hardy, others, tender)| {
            hardy
                .into_iter()
                .map(|kind| (kind, true, false))
                .chain(others.into_iter().filter(move |_| tender))
                .collect()
        })
}

fn visits() -> impl Strategy<Value = Vec<(u64, Water, Option<u32>, Option<u32>)>> {
    let some = (20..60_u64, water(0.95), maybe(0.5, 0..3_u32), maybe(0.5, 0..3_u32));
    prop_oneof![1 => Just(Vec::new()), 12 => prop::collection::vec(some, 1..4)]
}

/// Any pond.
pub fn any() -> impl Strategy<Value = Pond> {
    let water = (
        (-0.7..2.3_f64).prop_map(|power| (10_f64.powf(power) * 100.0).round() / 100.0),
        maybe(0.2, 0.8..1.25_f64),
        maybe(0.3, places(1.0..20.0, 0)),
        tap(),
        visits(),
        maybe(0.9, panel()),
    );
    let around = (
        animals(),
        prop::sample::select(vec!["US", "UK", "EU", "other"]),
        prop::bool::weighted(0.75),
        prop::sample::select(vec![
            "own ground",
            "own ground",
            "own ground",
            "own ground",
            "sewer",
            "sewer",
            "watercourse",
            "unknown",
        ]),
        prop::bool::ANY,
        prop::sample::select(vec!["own ground", "own ground", "own ground", "sewer", "sewer", "wetland", "unknown"]),
    );
    let goods = (
        maybe(0.7, (prop::sample::select(vec![0.1, 0.5, 1.0]), prop::bool::ANY)),
        maybe(
            0.6,
            (
                prop::sample::select(vec!["sodium-bicarbonate", "potassium-bicarbonate"]),
                maybe(0.7, places(60.0..100.0, 0)),
            ),
        ),
        maybe(0.5, places(60.0..100.0, 1)),
        maybe(0.5, places(60.0..100.0, 0)),
        practice(),
        maybe(0.8, places(2.0..40.0, 0)),
    );
    let page = (
        prop::sample::select(vec!["metric", "us", "imperial"]),
        0..730_u64,
        prop_oneof![6 => 0..14_u64, 1 => 0..60_u64],
        maybe(0.8, places(-60.0..65.0, 1)),
    );
    (water, around, goods, page).prop_map(
        |(
            (volume, meter, uncertainty, tap, told, panel),
            (animals, country, authorised, overflow, relaid, changes),
            (kit, buffer, calcium_purity, thiosulfate_purity, practice, hose),
            (units, days, age, latitude),
        )| {
            let date = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap() + Days::new(days);
            let mut when = date - Days::new(age);
            let steps = panel.as_ref().map(|p| p.currents.len() as u32);
            let mut visits: Vec<_> = told
                .into_iter()
                .map(|(gap, water, set, left)| {
                    let row = (
                        when,
                        water,
                        set.filter(|l| steps.is_some_and(|s| *l <= s)),
                        left.filter(|l| steps.is_some_and(|s| *l <= s)),
                    );
                    when = when - Days::new(gap);
                    row
                })
                .collect();
            visits.reverse();
            let mut practice = practice;
            practice.holding = practice.holding.filter(|h| steps.is_some_and(|s| *h <= s));
            Pond {
                volume,
                metered: meter.map(|m| ((volume * m * 100.0).round() / 100.0).max(0.05)),
                uncertainty,
                tap,
                visits,
                panel,
                animals,
                country,
                authorised,
                overflow,
                relaid,
                changes,
                kit,
                buffer,
                calcium_purity,
                thiosulfate_purity,
                practice,
                hose,
                units,
                date,
                latitude,
            }
        },
    )
}

/// `count` ponds, the same on every run.
pub fn sample(count: usize) -> Vec<Pond> {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, b"weirbook: ponds that never were.");
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let strategy = any();
    (0..count).map(|_| strategy.new_tree(&mut runner).unwrap().current()).collect()
}

fn yes(value: bool) -> &'static str {
    if value { "yes" } else { "no" }
}

fn cell(value: Option<f64>) -> String {
    value.map_or(String::new(), |v| v.to_string())
}

fn shown_cell(value: Option<Shown>) -> String {
    value.map_or(String::new(), |s| format!("{}{}", if s.less_than { "<" } else { "" }, s.value))
}

impl Pond {
    /// The site file.
    pub fn site_file(&self) -> String {
        let mut out = String::new();
        let mut put = |text: String| out.push_str(&text);
        put(format!(
            "[site]\nid = \"random\"\nname = \"Random\"\nowner = \"Nobody\"\nplace = \"Nowhere\"\ncountry = \"{}\"\nplan_date = {}\n",
            self.country, self.date
        ));
        if let Some(latitude) = self.latitude {
            put(format!("latitude = \"{} °{}\"\n", latitude.abs(), if latitude < 0.0 { "S" } else { "N" }));
        }
        put("[firm]\nname = \"Firm\"\ntelephone = \"1\"\n".into());
        put(format!("[page]\npaper = \"A4\"\nunits = \"{}\"\n", self.units));
        put(format!(
            "[[volume.section]]\nname = \"pond\"\nshape = \"known volume\"\nvolume = \"{} m3\"\n",
            self.volume
        ));
        if let Some(own) = self.uncertainty {
            put(format!("uncertainty = \"{own} %\"\n"));
        }
        if let Some(metered) = self.metered {
            put(format!("[volume.metered]\namount = \"{metered} m3\"\n"));
        }
        let tap = &self.tap;
        put(format!("[supply]\nkind = \"{}\"\nsoftened = \"{}\"\n", tap.kind, yes(tap.softened)));
        for (key, value, unit) in [
            ("carbonate_hardness", tap.water.hardness, " dKH"),
            ("general_hardness", tap.water.general, " dGH"),
            ("calcium", tap.water.calcium, " mg/L Ca"),
            ("conductivity", tap.water.conductivity, " µS/cm"),
            ("ph", tap.water.ph_morning, ""),
            ("total_chlorine", tap.chlorine, " mg/L"),
            ("free_chlorine", tap.free, " mg/L"),
            ("total_copper", tap.water.copper.map(|c| c.value), " µg/L"),
        ] {
            if let Some(value) = value {
                put(format!("{key} = \"{value}{unit}\"\n"));
            }
        }
        for (kind, stays, given_up) in &self.animals {
            put(format!(
                "[[animal]]\nkind = \"{kind}\"\nstays = \"{}\"\ngiven_up = \"{}\"\n",
                yes(*stays),
                yes(*given_up)
            ));
        }
        if let Some(panel) = &self.panel {
            put(format!("[panel]\nsteps = {}\nflow_stop = \"{}\"\n", panel.currents.len(), panel.flow_stop));
            if panel.currents_known {
                let list: Vec<String> = panel.currents.iter().map(|c| format!("\"{c} mA\"")).collect();
                put(format!("currents = [{}]\n", list.join(", ")));
            }
            if let Some(least) = panel.least_conductivity {
                put(format!("least_conductivity = \"{least} µS/cm\"\n"));
            }
            match panel.cell {
                Some(("constant", volts, constant)) => {
                    put(format!("voltage_limit = \"{volts} V\"\ncell_constant = \"{constant} /cm\"\n"));
                }
                Some((_, current, conductivity)) => put(format!(
                    "measured_current = \"{current} mA\"\nmeasured_conductivity = \"{conductivity} µS/cm\"\n"
                )),
                None => {}
            }
            put("[bars]\ncount = 2\nnew_mass = \"430 g\"\n".into());
        }
        if let Some(hose) = self.hose {
            put(format!("[hose]\nflow = \"{hose} L/min\"\n"));
        }
        put(format!(
            "[outflow]\noverflow = \"{}\"\ncan_be_relaid = \"{}\"\nchanges = \"{}\"\n",
            self.overflow,
            yes(self.relaid),
            self.changes
        ));
        if self.authorised {
            put("[authorisation]\nnumber = \"QX-0000 (invented)\"\n".into());
        }
        let substances = [
            self.buffer,
            self.calcium_purity.map(|p| ("calcium-chloride", Some(p))),
            self.thiosulfate_purity.map(|p| ("sodium-thiosulfate", Some(p))),
        ];
        for (name, purity) in substances.into_iter().flatten() {
            put(format!("[[substance]]\nname = \"{name}\"\n"));
            if let Some(purity) = purity {
                put(format!("purity = \"{purity} %\"\n"));
            }
        }
        let practice = &self.practice;
        let group = |head: &str, rows: &[(&str, Option<f64>, &str)]| {
            let mut text = format!("[{head}]\n");
            for (key, value, unit) in rows {
                if let Some(value) = value {
                    let _ = writeln!(text, "{key} = \"{value}{unit}\"");
                }
            }
            text
        };
        put(group(
            "goals",
            &[("carbonate_hardness", practice.goal, " dKH"), ("calcium", practice.calcium_goal, " mg/L Ca")],
        ));
        put(group(
            "practice",
            &[
                ("hardness_step", practice.hardness_step, " dKH"),
                ("change_share", practice.change_share, " %"),
                ("copper_stop", practice.copper_stop, " µg/L"),
                ("scale_step", practice.scale_step, " g"),
                ("spells", practice.spells.map(f64::from), ""),
                ("holding_level", practice.holding.map(f64::from), ""),
            ],
        ));
        if let Some((step, drops)) = self.kit {
            put(format!(
                "[[kit]]\nreading = \"carbonate hardness\"\nstep = \"{step} dKH\"\ndrops = \"{}\"\n",
                yes(drops)
            ));
        }
        put("[log]\nfile = \"log.csv\"\n".into());
        out
    }

    /// The log.
    pub fn log(&self) -> String {
        let mut out = String::from(
            "date,temperature [°C],carbonate hardness [°dKH],general hardness [°dGH],calcium [mg/L Ca],conductivity [µS/cm],ph morning,ph afternoon,ammonia [mg/L N],total copper [µg/L],dissolved copper [µg/L],level set,level left,full reached,bar state\n",
        );
        for (index, (date, water, set, left)) in self.visits.iter().enumerate() {
            let trial = self.panel.as_ref().filter(|_| index + 1 == self.visits.len());
            let _ = writeln!(
                out,
                "{date},{},{},{},{},{},{},{},{},{},{},{},{},{},{}",
                cell(water.temperature),
                cell(water.hardness),
                cell(water.general),
                cell(water.calcium),
                cell(water.conductivity),
                cell(water.ph_morning),
                cell(water.ph_afternoon),
                shown_cell(water.ammonia),
                shown_cell(water.copper),
                cell(water.dissolved),
                set.map_or(String::new(), |l| l.to_string()),
                left.map_or(String::new(), |l| l.to_string()),
                trial.and_then(|p| p.full_reached).map_or(String::new(), |l| l.to_string()),
                trial.map_or("", |p| p.bar_state),
            );
        }
        out
    }

    /// The latest reading of one kind no older than 45 days: what the plan may rest on.
    pub fn fresh<T>(&self, pick: impl Fn(&Water) -> Option<T>) -> Option<T> {
        let (date, found) = self.visits.iter().rev().find_map(|(date, water, ..)| pick(water).map(|v| (*date, v)))?;
        ((self.date - date).num_days() <= 45).then_some(found)
    }

    /// The site as the program reads it.
    pub fn read(&self) -> (Site, Text, Text) {
        let site_text = Text { name: "site.toml".into(), words: self.site_file() };
        let log_text = Text { name: "log.csv".into(), words: self.log() };
        let parsed = parse(&site_text, Some(&log_text), None);
        let Some(site) = parsed.site else {
            panic!(
                "a pond that cannot be read:\n{:#?}\n{}\n{}",
                parsed.complaints.sorted(),
                site_text.words,
                log_text.words
            )
        };
        (site, site_text, log_text)
    }

    /// The plan.
    pub fn plan(&self) -> Result<Plan, Diagnostics> {
        let (site, site_text, log_text) = self.read();
        decide(&site, Texts { site: &site_text, log: Some(&log_text) }, self.date, self.system(), crate::demos::FEW)
            .map(|(plan, _)| plan)
    }

    pub fn system(&self) -> System {
        match self.units {
            "us" => System::Us,
            "imperial" => System::Imperial,
            _ => System::Metric,
        }
    }
}
