//! The possible years behind a forecast: one member (aim: under 150 µs on one core) and a thousand (under 120 ms on two). Run with
//! `cargo bench --bench ensemble`.

use divan::{Bencher, black_box};
use weirbook::chem::followed::Table;
use weirbook::water::air::{Core, Dilute};
use weirbook::water::balance::{Care, Copper, SOLUTES, Setting, Solutes};
use weirbook::water::basin::{Basin, Part};
use weirbook::water::ensemble::{Appetite, Given, Habits, Normal, Spread, USUAL, member, run};

fn main() {
    divan::main();
}

/// A pond of 16 m³ with everything in it: catchment, falls, splash, feed, copper, a kit's doubts.
struct Pond {
    setting: Setting,
    normals: Vec<Normal>,
    care: Vec<Care>,
    spread: Spread,
    table: Table,
}

const SUPPLY: Solutes = [4.0, 1.7, 0.4, 0.9, 0.08, 0.9, 0.3, 0.2, 0.0];

fn pond() -> Pond {
    let part = Part::Bowl { area: 20.0, straight: 0.3, depth: 1.6, power: 1.0, open: true };
    let Some(basin) = Basin::new(&[part], 16.0) else { panic!("the bowl holds water") };
    let setting = Setting {
        basin,
        catchment: 20.0,
        falls: 0.1,
        splash: 0.01,
        supply: SUPPLY,
        rain: [0.0; SOLUTES],
        copper: Copper::KEPT,
    };
    let mut care = vec![Care { feed: 0.02, copper: 1e-3, ..Care::default() }; 365];
    for (day, care) in care.iter_mut().enumerate() {
        care.top_up = day % 7 == 6;
    }
    let season = |day: i32| libm::sin(f64::from(day) / 365.0 * std::f64::consts::TAU);
    let normal = |s: f64| Normal { evaporation: 0.0025 - 0.002 * s, rain: 0.0019, celsius: 12.0 - 8.0 * s };
    Pond {
        setting,
        normals: (0..365).map(|day| normal(season(day))).collect(),
        care,
        spread: Spread {
            weather: Some(Habits::USUAL),
            volume: (14.5, 17.5),
            evaporation: (0.8, 1.2),
            ..Spread::none(16.0, Copper::KEPT)
        },
        table: Table::new(),
    }
}

/// Well under saturation, and with lime coming down through the summer.
const WATERS: [(&str, f64); 2] = [("soft", 0.6), ("hard", 1.4)];

fn given(pond: &Pond, scale: f64) -> Given<'_> {
    Given {
        setting: &pond.setting,
        chemistry: Core(Dilute { log_co2: -3.2, threshold: 1.0 }),
        table: &pond.table,
        normals: &pond.normals,
        care: &pond.care,
        appetite: Some(Appetite { full: 0.05, from: 10.0, to: 18.0 }),
        water: SUPPLY.map(|c| scale * c),
        filled: 1.0,
        window: (2.0, 5.0),
        spread: &pond.spread,
    }
}

#[divan::bench(args = [0, 1])]
fn one_member(bencher: Bencher, water: usize) {
    let pond = pond();
    let given = given(&pond, WATERS[water].1);
    bencher.bench_local(|| {
        let mut sum = 0.0;
        member(black_box(&given), 1, 7, |_, values| sum += values[7]);
        sum
    });
}

#[divan::bench(args = [1, 2], sample_count = 20)]
fn a_thousand_members(bencher: Bencher, threads: usize) {
    let pond = pond();
    let given = given(&pond, WATERS[1].1);
    bencher.bench_local(|| run(black_box(&given), USUAL, threads).members);
}

#[divan::bench]
fn tabulated_constants() -> Table {
    Table::new()
}
