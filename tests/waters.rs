//! Every water of every reference table (tests/reference), put through `weirbook water --table` as another person would, and held
//! against the table within the tolerances recommended beside it (tests/reference/README.md).
//!
//! `cargo test waters -- --nocapture` prints median and worst error of each column. `log_k.csv` holds constants and no waters.

#![expect(clippy::print_stdout, reason = "the tables of errors are there to be read: run with --nocapture")]
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test that cannot read its own case has failed; the program reads its table from a file"
)]

use std::collections::BTreeMap;
use std::fs;
use std::process::Command;

use tempfile::TempDir;

type Cells = BTreeMap<String, String>;

fn rows(text: &str) -> Vec<Cells> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    reader.records().map(|r| head.iter().cloned().zip(r.unwrap().iter().map(str::to_owned)).collect()).collect()
}

fn of(row: &Cells, column: &str) -> f64 {
    let text = row.get(column).unwrap_or_else(|| panic!("no column {column}"));
    text.parse().unwrap_or_else(|_| panic!("{column} is {text}"))
}

/// Columns of a table that is asked, with those of the reference that they come from.
const IONS: [(&str, &str); 6] = [
    ("calcium [mmol/kg]", "ca"),
    ("magnesium [mmol/kg]", "mg"),
    ("sodium [mmol/kg]", "na"),
    ("potassium [mmol/kg]", "k"),
    ("chloride [mmol/kg]", "cl"),
    ("sulfate [mmol/kg]", "so4"),
];
const TEMPERATURE: &str = "temperature [°C]";
const ALKALINITY: &str = "alkalinity [meq/kg]";
const CARBON: &str = "inorganic_carbon [mmol/kg]";
const PRESSURE: &str = "log10_co2_pressure [atm]";
const COPPER: &str = "copper [µg/kg]";

/// What is asked of one water, and what should come out of it.
#[derive(Default)]
struct Case {
    asked: BTreeMap<&'static str, f64>,
    expected: Vec<Expected>,
}

struct Expected {
    /// Column of the answer.
    column: &'static str,
    value: f64,
    limit: f64,
    /// A share of the value, or so many of its own unit.
    share: bool,
}

impl Case {
    fn with(mut self, column: &'static str, value: f64) -> Self {
        self.asked.insert(column, value);
        self
    }
    /// The ions of a row from columns with this prefix, those that are there.
    fn ions(mut self, row: &Cells, prefix: &str) -> Self {
        for (column, ion) in IONS {
            let name = format!("{prefix}{ion}_mmol_per_kgw");
            if row.contains_key(&name) {
                self.asked.insert(column, of(row, &name));
            }
        }
        self
    }
    fn more(mut self, column: &'static str, amount: f64) -> Self {
        *self.asked.entry(column).or_insert(0.0) += amount;
        self
    }
    fn near(mut self, column: &'static str, value: f64, limit: f64) -> Self {
        self.expected.push(Expected { column, value, limit, share: false });
        self
    }
    fn share(mut self, column: &'static str, value: f64, limit: f64) -> Self {
        self.expected.push(Expected { column, value, limit, share: true });
        self
    }
}

// The recommended tolerances.
const PH: f64 = 0.01;
const CARBONATE: f64 = 0.01;
const SATURATION: f64 = 0.02;
const COPPER_FORM: f64 = 0.02;
const SOLUBLE: f64 = 0.03;
const CONDUCTIVITY: f64 = 0.025;
/// log10 of the pressure of air in the tables, atm.
const AIR: f64 = -3.38;

/// Puts all cases through the program as one table, and judges the answers.
fn judge(name: &str, cases: &[Case], more: &[&str]) {
    let mut heads: Vec<&str> = cases.iter().flat_map(|c| c.asked.keys().copied()).collect();
    heads.sort_unstable();
    heads.dedup();
    let mut text = format!("case,{}\n", heads.join(","));
    for (n, case) in cases.iter().enumerate() {
        text.push_str(&n.to_string());
        for head in &heads {
            text.push(',');
            if let Some(value) = case.asked.get(head) {
                text.push_str(&value.to_string());
            }
        }
        text.push('\n');
    }
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("waters.csv");
    fs::write(&path, text).unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_weirbook"))
        .args(["water", "--table", path.to_str().unwrap()])
        .args(more)
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    assert_eq!(run.stderr, b"");
    let answers = rows(&String::from_utf8(run.stdout).unwrap());
    assert_eq!(answers.len(), cases.len());
    let mut errors: BTreeMap<&str, (Vec<f64>, f64, bool)> = BTreeMap::new();
    let mut faults = Vec::new();
    for (n, (case, answer)) in cases.iter().zip(&answers).enumerate() {
        assert_eq!(answer["case"], n.to_string());
        assert!(of(answer, "residual") < 1e-10 && of(answer, "iterations") >= 0.0);
        for Expected { column, value, limit, share } in &case.expected {
            let ours = of(answer, column);
            let error = (ours - value).abs() / if *share { value.abs() } else { 1.0 };
            if error.is_nan() || error > *limit {
                faults.push(format!("{name}, case {n}: {column}: ours {ours}, table {value}; asked {:?}", case.asked));
            }
            errors.entry(column).or_insert((Vec::new(), *limit, *share)).0.push(error);
        }
    }
    println!("{name:<20} {:<32} {:>6} {:>12} {:>12} {:>10}", "column", "waters", "median", "worst", "limit");
    for (column, (mut errors, limit, share)) in errors {
        errors.sort_by(f64::total_cmp);
        let show = |e: f64| if share { format!("{:.4} %", 100.0 * e) } else { format!("{e:.6}") };
        let (median, worst) = (errors[errors.len() / 2], errors[errors.len() - 1]);
        let count = errors.len();
        println!("{:<20} {column:<32} {count:>6} {:>12} {:>12} {:>10}", "", show(median), show(worst), show(limit));
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn carbonate_waters_open_and_closed() {
    // One table: where the pressure is given the pH is blank, and the other way round.
    let mut cases = Vec::new();
    for row in rows(include_str!("reference/carbonate.csv")) {
        let case = Case::default()
            .with(TEMPERATURE, of(&row, "temperature_c"))
            .with(ALKALINITY, of(&row, "alkalinity_meq_per_kgw"))
            .ions(&row, "");
        let case = match row["case"].as_str() {
            "open" => case.with(PRESSURE, of(&row, "log10_pco2_atm")),
            _ => case.with("pH", of(&row, "ph")),
        };
        cases.push(
            case.near("ph", of(&row, "ph"), PH)
                .share(CARBON, of(&row, "dic_mmol_per_kgw"), CARBONATE)
                .share("co2 [mmol/kg]", of(&row, "co2_aq_mmol_per_kgw"), CARBONATE)
                .share("hco3 [mmol/kg]", of(&row, "hco3_mmol_per_kgw"), CARBONATE)
                .share("co3 [mmol/kg]", of(&row, "co3_mmol_per_kgw"), CARBONATE)
                .share("ionic_strength [mol/kg]", of(&row, "ionic_strength_mol_per_kgw"), CARBONATE)
                .near("si_calcite", of(&row, "si_calcite"), SATURATION)
                // Seven digits of the ions leave this much.
                .near("charge_balance [meq/kg]", of(&row, "charge_balance_meq_per_kgw"), 1e-4),
        );
    }
    assert_eq!(cases.len(), 150);
    judge("carbonate", &cases, &[]);
}

#[test]
fn the_same_carbonate_waters_by_every_other_pair() {
    // The table's own carbon, pH and pressure stand in for one another; a seventh digit of a row moves pH by less than a thousandth.
    let mut cases = Vec::new();
    for row in rows(include_str!("reference/carbonate.csv")) {
        let (ph, carbon) = (of(&row, "ph"), of(&row, "dic_mmol_per_kgw"));
        let (alkalinity, pressure) = (of(&row, "alkalinity_meq_per_kgw"), of(&row, "log10_pco2_atm"));
        let water = || Case::default().with(TEMPERATURE, of(&row, "temperature_c")).ions(&row, "");
        for case in [
            water().with("ph", ph).with(CARBON, carbon),
            water().with(ALKALINITY, alkalinity).with(CARBON, carbon),
            water().with("ph", ph).with(PRESSURE, pressure),
            water().with(CARBON, carbon).with(PRESSURE, pressure),
            // More than two, which agree.
            water().with("ph", ph).with(ALKALINITY, alkalinity).with(CARBON, carbon).with(PRESSURE, pressure),
        ] {
            cases.push(
                case.near("ph", ph, PH)
                    .share(CARBON, carbon, CARBONATE)
                    .share("co2 [mmol/kg]", of(&row, "co2_aq_mmol_per_kgw"), CARBONATE)
                    .share("hco3 [mmol/kg]", of(&row, "hco3_mmol_per_kgw"), CARBONATE)
                    .near("si_calcite", of(&row, "si_calcite"), SATURATION),
            );
        }
    }
    assert_eq!(cases.len(), 750);
    judge("carbonate, pairs", &cases, &[]);
}

/// Moles of each ion that a mole of a substance of the table brings.
fn brings(formula: &str) -> &'static [(&'static str, f64)] {
    match formula {
        "NaHCO3" => &[("sodium [mmol/kg]", 1.0)],
        "KHCO3" => &[("potassium [mmol/kg]", 1.0)],
        "Na2CO3" => &[("sodium [mmol/kg]", 2.0)],
        "Ca(OH)2" => &[("calcium [mmol/kg]", 1.0)],
        "CaCl2" => &[("calcium [mmol/kg]", 1.0), ("chloride [mmol/kg]", 2.0)],
        other => panic!("{other}"),
    }
}

#[test]
fn buffered_waters_before_closed_and_in_air() {
    let (mut cases, mut in_air) = (Vec::new(), Vec::new());
    for row in rows(include_str!("reference/buffers.csv")) {
        let water = || Case::default().with(TEMPERATURE, of(&row, "temperature_c")).ions(&row, "start_");
        cases.push(
            water()
                .with(ALKALINITY, of(&row, "start_alkalinity_meq_per_kgw"))
                .with(PRESSURE, of(&row, "start_log10_pco2_atm"))
                .near("ph", of(&row, "start_ph"), PH)
                .share(CARBON, of(&row, "start_dic_mmol_per_kgw"), CARBONATE),
        );
        let dosed = || {
            let mut case = water().with(ALKALINITY, of(&row, "closed_alkalinity_meq_per_kgw"));
            for (column, moles) in brings(&row["chemical"]) {
                case = case.more(column, moles * of(&row, "dose_mmol_per_kgw"));
            }
            case
        };
        let expect = |case: Case, tag: &str| {
            let column = |name: &str| of(&row, &format!("{tag}_{name}"));
            case.near("ph", column("ph"), PH)
                .share(CARBON, column("dic_mmol_per_kgw"), CARBONATE)
                .near("si_calcite", column("si_calcite"), SATURATION)
                .share("conductivity_25 [µS/cm]", column("sc25_us_per_cm"), CONDUCTIVITY)
        };
        let closed = dosed().with(CARBON, of(&row, "closed_dic_mmol_per_kgw"));
        cases.push(expect(closed, "closed"));
        cases.push(expect(dosed().with(PRESSURE, AIR), "air"));
        // And the closed water left to the air by the program.
        in_air.push(expect(dosed().with(CARBON, of(&row, "closed_dic_mmol_per_kgw")), "air"));
    }
    assert_eq!((cases.len(), in_air.len()), (240, 80));
    judge("buffers", &cases, &[]);
    judge("buffers, --open-air", &in_air, &["--open-air"]);
}

#[test]
fn conductivity_as_it_is_and_at_25() {
    let cases: Vec<Case> = rows(include_str!("reference/conductivity.csv"))
        .iter()
        .map(|row| {
            Case::default()
                .with(TEMPERATURE, of(row, "temperature_c"))
                .with("ph", of(row, "ph"))
                .with(ALKALINITY, of(row, "alkalinity_meq_per_kgw"))
                .ions(row, "")
                .share("ionic_strength [mol/kg]", of(row, "ionic_strength_mol_per_kgw"), CARBONATE)
                .share("conductivity [µS/cm]", of(row, "conductivity_at_t_us_per_cm"), CONDUCTIVITY)
                .share("conductivity_25 [µS/cm]", of(row, "sc25_us_per_cm"), CONDUCTIVITY)
        })
        .collect();
    assert_eq!(cases.len(), 93);
    judge("conductivity", &cases, &[]);
}

#[test]
fn copper_by_its_forms() {
    let cases: Vec<Case> = rows(include_str!("reference/copper_speciation.csv"))
        .iter()
        .map(|row| {
            Case::default()
                .with(TEMPERATURE, of(row, "temperature_c"))
                .with("ph", of(row, "ph"))
                .with(ALKALINITY, of(row, "alkalinity_meq_per_kgw"))
                .with(COPPER, of(row, "cu_total_ug_per_kgw"))
                .ions(row, "")
                .share(CARBON, of(row, "dic_mmol_per_kgw"), CARBONATE)
                .share("ionic_strength [mol/kg]", of(row, "ionic_strength_mol_per_kgw"), CARBONATE)
                .share("cu_free [mol/kg]", of(row, "m_cu2_mol_per_kgw"), COPPER_FORM)
                .share("cuoh [mol/kg]", of(row, "m_cuoh_mol_per_kgw"), COPPER_FORM)
                .share("cu_oh2 [mol/kg]", of(row, "m_cuoh2_mol_per_kgw"), COPPER_FORM)
                .share("cuco3 [mol/kg]", of(row, "m_cuco3_mol_per_kgw"), COPPER_FORM)
                .share("cu_co3_2 [mol/kg]", of(row, "m_cuco32_mol_per_kgw"), COPPER_FORM)
                .share("cuhco3 [mol/kg]", of(row, "m_cuhco3_mol_per_kgw"), COPPER_FORM)
                .near("si_malachite", of(row, "si_malachite"), SATURATION)
                .near("si_tenorite", of(row, "si_tenorite"), SATURATION)
                .near("si_cu_oh2", of(row, "si_cuoh2"), SATURATION)
        })
        .collect();
    assert_eq!(cases.len(), 84);
    judge("copper_speciation", &cases, &[]);
}

#[test]
fn copper_by_its_solids() {
    let cases: Vec<Case> = rows(include_str!("reference/copper_solubility.csv"))
        .iter()
        .map(|row| {
            let ion = |name: &str| of(row, &format!("{name}_mmol_per_kgw"));
            let alkalinity = of(row, "alkalinity_meq_per_kgw");
            Case::default()
                .with(TEMPERATURE, of(row, "temperature_c"))
                .with("ph", of(row, "ph"))
                .with(ALKALINITY, alkalinity)
                .ions(row, "")
                // Chloride closes the charge (the README of the tables).
                .with(
                    "chloride [mmol/kg]",
                    ion("na") + ion("k") + 2.0 * (ion("ca") + ion("mg") - ion("so4")) - alkalinity,
                )
                .share("solubility_malachite [µg/kg]", of(row, "cu_malachite_ug_per_kgw"), SOLUBLE)
                .share("solubility_tenorite [µg/kg]", of(row, "cu_tenorite_ug_per_kgw"), SOLUBLE)
                .share("solubility_cu_oh2 [µg/kg]", of(row, "cu_cuoh2_ug_per_kgw"), SOLUBLE)
        })
        .collect();
    assert_eq!(cases.len(), 84);
    judge("copper_solubility", &cases, &[]);
}

#[test]
fn evaporated_waters() {
    let cases: Vec<Case> = rows(include_str!("reference/evaporation.csv"))
        .iter()
        .map(|row| {
            let factor = of(row, "concentration_factor");
            let mut case = Case::default()
                .with(TEMPERATURE, of(row, "temperature_c"))
                .with(ALKALINITY, of(row, "alkalinity_meq_per_kgw"))
                .with(PRESSURE, AIR)
                .ions(row, "start_");
            // All but what lime takes is as many times as much.
            case.asked
                .iter_mut()
                .filter(|(column, _)| IONS.iter().any(|(ion, _)| ion == *column))
                .for_each(|(_, v)| *v *= factor);
            case.with("calcium [mmol/kg]", of(row, "ca_mmol_per_kgw"))
                .near("ph", of(row, "ph"), PH)
                .share(CARBON, of(row, "dic_mmol_per_kgw"), CARBONATE)
                .near("si_calcite", of(row, "si_calcite"), SATURATION)
                .share("ionic_strength [mol/kg]", of(row, "ionic_strength_mol_per_kgw"), CARBONATE)
                .share("conductivity [µS/cm]", of(row, "conductivity_at_t_us_per_cm"), CONDUCTIVITY)
                .share("conductivity_25 [µS/cm]", of(row, "sc25_us_per_cm"), CONDUCTIVITY)
        })
        .collect();
    assert_eq!(cases.len(), 144);
    judge("evaporation", &cases, &[]);
}

#[test]
fn mixed_waters() {
    let mut cases = Vec::new();
    for row in rows(include_str!("reference/mixing.csv")) {
        let mut parts = Vec::new();
        for tag in ["a_", "b_"] {
            let column = |name: &str| of(&row, &format!("{tag}{name}"));
            let part = || Case::default().with(TEMPERATURE, column("temperature_c")).ions(&row, tag);
            cases.push(
                part()
                    .with(ALKALINITY, column("alkalinity_meq_per_kgw"))
                    .with(PRESSURE, column("log10_pco2_atm"))
                    .near("ph", column("ph"), PH)
                    .share(CARBON, column("dic_mmol_per_kgw"), CARBONATE),
            );
            parts.push(part());
        }
        let share = of(&row, "mass_fraction_of_b");
        let mut mix = Case::default();
        for (column, _) in IONS {
            mix = mix.with(column, parts[0].asked[column] * (1.0 - share) + parts[1].asked[column] * share);
        }
        cases.push(
            mix.with(TEMPERATURE, of(&row, "temperature_c"))
                .with(ALKALINITY, of(&row, "alkalinity_meq_per_kgw"))
                .with(CARBON, of(&row, "dic_mmol_per_kgw"))
                .near("ph", of(&row, "ph"), PH)
                .near("si_calcite", of(&row, "si_calcite"), SATURATION)
                .share("conductivity [µS/cm]", of(&row, "conductivity_at_t_us_per_cm"), CONDUCTIVITY)
                .share("conductivity_25 [µS/cm]", of(&row, "sc25_us_per_cm"), CONDUCTIVITY),
        );
    }
    assert_eq!(cases.len(), 150);
    judge("mixing", &cases, &[]);
}

#[test]
fn dechlorinated_waters() {
    let (mut cases, mut in_air) = (Vec::new(), Vec::new());
    for row in rows(include_str!("reference/dechlorination.csv")) {
        let water = || {
            Case::default()
                .with(TEMPERATURE, of(&row, "temperature_c"))
                .with(ALKALINITY, of(&row, "closed_alkalinity_meq_per_kgw"))
                .with(CARBON, of(&row, "start_dic_mmol_per_kgw"))
                .ions(&row, "start_")
                // Both agents of the table bring two sodium.
                .more("sodium [mmol/kg]", 2.0 * of(&row, "dose_mmol_per_kgw"))
                .with("chloride [mmol/kg]", of(&row, "closed_cl_mmol_per_kgw"))
                .with("sulfate [mmol/kg]", of(&row, "closed_so4_mmol_per_kgw"))
        };
        cases.push(water().near("ph", of(&row, "closed_ph"), PH));
        in_air.push(water().near("ph", of(&row, "air_ph"), PH));
    }
    assert_eq!(cases.len(), 40);
    judge("dechlorination", &cases, &[]);
    judge("dechlorination, air", &in_air, &["--open-air"]);
}
