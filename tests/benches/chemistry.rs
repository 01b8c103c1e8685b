//! The chemistry core: one full speciation (aimed at: under 5 µs, no allocation) and a table of 100,000 waters through the program
//! (under 2 s on two cores). Run with `cargo bench --bench chemistry`.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a bench that cannot read its own case has failed; it writes the table that the program reads"
)]

use std::fmt::Write as _;
use std::process::{Command, Stdio};

use divan::{AllocProfiler, Bencher, black_box};
use weirbook::chem::conductance::conductivity;
use weirbook::chem::speciation::{Constants, IONS, Known, beside, speciate};
use weirbook::reference::chemistry::{
    CALCIUM, CHLORIDE, COPPER, MAGNESIUM, MALACHITE, NITRATE, POTASSIUM, SODIUM, SULFATE,
};

/// Shows that no speciation allocates.
#[global_allocator]
static ALLOC: AllocProfiler = AllocProfiler::system();

fn main() {
    divan::main();
}

/// A medium tap water with everything in it, copper too.
fn water() -> [f64; IONS] {
    let mut totals = [0.0; IONS];
    for (ion, amount) in [
        (CALCIUM, 1.0e-3),
        (MAGNESIUM, 0.35e-3),
        (SODIUM, 0.5e-3),
        (POTASSIUM, 0.05e-3),
        (CHLORIDE, 0.8e-3),
        (SULFATE, 0.225e-3),
        (NITRATE, 0.05e-3),
        (COPPER, 1e-6),
    ] {
        totals[ion] = amount;
    }
    totals
}

const WAYS: [(&str, Known); 4] = [
    ("pH and alkalinity", Known::PhAlkalinity { ph: 8.1, alkalinity: 2e-3 }),
    ("pH and carbon", Known::PhCarbon { ph: 8.1, carbon: 2e-3 }),
    ("closed", Known::AlkalinityCarbon { alkalinity: 2e-3, carbon: 2.01e-3 }),
    ("open to air", Known::AlkalinityPressure { alkalinity: 2e-3, log_co2: -3.38 }),
];

/// All constants at a new temperature, then all species.
#[divan::bench(args = [0, 1, 2, 3])]
fn full_speciation(bencher: Bencher, way: usize) {
    let (totals, known) = (water(), WAYS[way].1);
    bencher.bench(|| {
        let constants = Constants::at(black_box(15.0)).unwrap();
        speciate(&constants, black_box(&totals), black_box(known)).unwrap().ph
    });
}

#[divan::bench]
fn constants() -> f64 {
    Constants::at(black_box(15.0)).unwrap().density
}

#[divan::bench]
fn beside_malachite(bencher: Bencher) {
    let constants = Constants::at(15.0).unwrap();
    let state = speciate(&constants, &water(), WAYS[0].1).unwrap();
    bencher.bench(|| beside(&constants, black_box(&state), MALACHITE).unwrap().total(COPPER));
}

#[divan::bench]
fn conductivity_of_a_state(bencher: Bencher) {
    let constants = Constants::at(15.0).unwrap();
    let state = speciate(&constants, &water(), WAYS[0].1).unwrap();
    bencher.bench(|| conductivity(black_box(&state)));
}

/// The program itself, from its start to its end, on 100,000 different waters.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn table_of_100_000_waters(bencher: Bencher) {
    let mut text = "id,temperature [°C],ph,alkalinity [meq/kg],calcium [mmol/kg],magnesium [mmol/kg],sodium [mmol/kg],\
                    chloride [mmol/kg],sulfate [mmol/kg],copper [µg/kg]\n"
        .to_owned();
    for n in 0..100_000_u32 {
        let part = |step: u32| f64::from(n.wrapping_mul(step) % 1009) / 1009.0;
        writeln!(
            text,
            "{n},{:.2},{:.2},{:.3},{:.3},{:.3},{:.3},{:.3},{:.3},{:.1}",
            1.0 + 29.0 * part(7),
            6.8 + 2.4 * part(11),
            0.5 + 5.5 * part(13),
            0.1 + 2.9 * part(17),
            0.1 + 0.9 * part(19),
            0.1 + 9.9 * part(23),
            0.1 + 9.9 * part(29),
            0.1 + 0.9 * part(31),
            1.0 + 299.0 * part(37),
        )
        .unwrap();
    }
    let folder = tempfile::TempDir::new().unwrap();
    let path = folder.path().join("waters.csv");
    std::fs::write(&path, text).unwrap();
    bencher.bench_local(|| {
        let status = Command::new(env!("CARGO_BIN_EXE_weirbook"))
            .args(["water", "--table"])
            .arg(&path)
            .stdout(Stdio::null())
            .status()
            .unwrap();
        assert!(status.success());
    });
}
