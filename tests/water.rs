//! `weirbook water`, driven as a person does, and its tables held against the reference.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test that cannot read its own case has failed; the tests of the program read and write files"
)]

use std::collections::BTreeMap;
use std::fs;
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

struct Run {
    code: i32,
    out: String,
    err: String,
}

fn water(arguments: &[&str]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_weirbook")).arg("water").args(arguments).output().unwrap();
    Run {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The words of a complaint without the line breaks of the terminal.
fn flat(words: &str) -> String {
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The answer to a table: by row, by column.
fn table_with(text: &str, more: &[&str]) -> (Run, Vec<BTreeMap<String, String>>) {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("waters.csv");
    fs::write(&path, text).unwrap();
    let mut arguments = vec!["--table", path.to_str().unwrap()];
    arguments.extend(more);
    let run = water(&arguments);
    let mut reader = csv::Reader::from_reader(run.out.as_bytes());
    let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows =
        reader.records().map(|r| head.iter().cloned().zip(r.unwrap().iter().map(str::to_owned)).collect()).collect();
    (run, rows)
}

fn table(text: &str) -> Vec<BTreeMap<String, String>> {
    let (run, rows) = table_with(text, &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert_eq!(run.err, "");
    rows
}

fn number(row: &BTreeMap<String, String>, column: &str) -> f64 {
    row.get(column).unwrap_or_else(|| panic!("no column {column}")).parse().unwrap()
}

const ONE: [&str; 12] = [
    "--carbonate-hardness",
    "6 dKH",
    "--general-hardness",
    "8 dGH",
    "--ph",
    "8.1",
    "--temperature",
    "14 °C",
    "--conductivity",
    "420 µS/cm",
    "--copper",
    "40 µg/L",
];

fn one(more: &[&str]) -> Run {
    water(&[&ONE[..], more].concat())
}

#[test]
fn one_water_is_told_stage_by_stage() {
    let run = one(&["--add", "50 g/m3 NaHCO3", "--open-air"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    insta::assert_snapshot!(run.out);
}

#[test]
fn one_water_as_json_holds_the_same() {
    let run = one(&["--add", "50 g/m3 NaHCO3", "--add", "20 g/m3 of salt", "--open-air", "--format", "json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let value: Value = serde_json::from_str(&run.out).unwrap();
    let stages = value["stages"].as_array().unwrap();
    assert_eq!(stages.len(), 4);
    let of = |stage: usize, key: &str| stages[stage][key].as_f64().unwrap();
    assert!((of(0, "ph") - 8.1).abs() < 1e-6);
    assert!((of(0, "conductivity_25_us_per_cm") - 420.0).abs() < 0.1);
    // 50 g/m³ of NaHCO3 at 84.006 g/mol are 0.5952 mmol/L; a litre of water at 14 °C weighs 0.99925 kg.
    let risen = of(1, "alkalinity_meq_per_kg") - of(0, "alkalinity_meq_per_kg");
    assert!((risen - 50.0 / 84.006 / 0.99925).abs() < 1e-4, "{risen}");
    // EC-10: 0.486 mg/L of salt for each µS/cm, ± 2.8 %, background under 500; ours stands close to that, and the method reads up
    // to 1 % low on salt.
    let per = 20.0 / (of(2, "conductivity_25_us_per_cm") - of(1, "conductivity_25_us_per_cm"));
    assert!((per / 0.486 - 1.0).abs() < 0.038, "{per}");
    // In air the pressure is 10^-3.38 atm, and nothing but carbon has moved.
    assert!((of(3, "log10_co2_pressure_atm") + 3.38).abs() < 1e-9);
    assert!((of(3, "alkalinity_meq_per_kg") - of(2, "alkalinity_meq_per_kg")).abs() < 1e-9);
    for stage in stages {
        assert!(stage["charge_balance_meq_per_kg"].as_f64().unwrap().abs() < 1e-6);
        assert!(stage["residual"].as_f64().unwrap() < 1e-10);
        let copper: f64 = stage["species_mol_per_kg"]
            .as_object()
            .unwrap()
            .iter()
            .filter(|(name, _)| name.starts_with("Cu"))
            .map(|(name, m)| m.as_f64().unwrap() * if name.starts_with("Cu2(") { 2.0 } else { 1.0 })
            .sum();
        // 40 µg/L.
        assert!((copper * 63.546e6 * 0.99925 - 40.0).abs() < 0.01, "{copper}");
    }
    assert!(run.out.contains("upper bound"));
}

#[test]
fn chloramine_and_dechlorinator_show_the_ammonia_that_is_left() {
    let run = one(&["--combined-chlorine", "2 mg/L", "--add", "14 g/m3 Na2S2O3·5H2O", "--format", "json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let value: Value = serde_json::from_str(&run.out).unwrap();
    // CL-08: 0.198 mg N per mg of chlorine.
    let left = value["stages"][1]["total_ammonia_mg_per_l_n"].as_f64().unwrap();
    assert!((left - 2.0 * 0.198).abs() < 0.002, "{left}");
    let run = one(&["--free-chlorine", "2 mg/L", "--add", "0.1 g/m3 Na2S2O3·5H2O"]);
    assert!(run.out.contains("Chlorine is left"), "{}", run.out);
}

#[test]
fn every_substance_may_be_added_by_formula_and_by_name() {
    // What each brings, from its formula alone: mmol of alkalinity, calcium, sodium, chloride a mmol.
    for (words, grams, alkalinity, calcium, sodium, chloride) in [
        ("NaHCO3", 84.006, 1.0, 0.0, 1.0, 0.0),
        ("baking soda", 84.006, 1.0, 0.0, 1.0, 0.0),
        ("sodium-bicarbonate", 84.006, 1.0, 0.0, 1.0, 0.0),
        ("potassium bicarbonate", 100.114, 1.0, 0.0, 0.0, 0.0),
        ("KHCO₃", 100.114, 1.0, 0.0, 0.0, 0.0),
        ("Na2CO3", 105.988, 2.0, 0.0, 2.0, 0.0),
        ("hydrated lime", 74.092, 2.0, 1.0, 0.0, 0.0),
        ("CaCO3", 100.086, 2.0, 1.0, 0.0, 0.0),
        ("calcium chloride", 110.978, 0.0, 1.0, 0.0, 2.0),
        ("calcium-chloride", 110.978, 0.0, 1.0, 0.0, 2.0),
        ("CaCl2·2H2O", 147.008, 0.0, 1.0, 0.0, 2.0),
        ("gypsum", 172.164, 0.0, 1.0, 0.0, 0.0),
        ("salt", 58.440, 0.0, 0.0, 1.0, 1.0),
        ("of NaCl", 58.440, 0.0, 0.0, 1.0, 1.0),
        ("KCl", 74.548, 0.0, 0.0, 0.0, 1.0),
        ("Epsom salt", 246.466, 0.0, 0.0, 0.0, 0.0),
        ("Na2SO4", 142.036, 0.0, 0.0, 2.0, 0.0),
        ("HCl", 36.458, -1.0, 0.0, 0.0, 1.0),
        ("sodium thiosulfate", 248.172, -2.0, 0.0, 2.0, 0.0),
        ("Na2S2O3", 158.097, -2.0, 0.0, 2.0, 0.0),
        ("Na2SO3", 126.037, 0.0, 0.0, 2.0, 0.0),
        ("NaHSO3", 104.056, -1.0, 0.0, 1.0, 0.0),
        ("Na2S2O5", 190.096, -2.0, 0.0, 2.0, 0.0),
        ("CuSO4.5H2O", 249.677, 0.0, 0.0, 0.0, 0.0),
        ("copper from the bars", 63.546, 2.0, 0.0, 0.0, 0.0),
    ] {
        let run = one(&["--add", &format!("20 g/m3 {words}"), "--format", "json"]);
        assert_eq!(run.code, 0, "{words}: {}", run.err);
        let value: Value = serde_json::from_str(&run.out).unwrap();
        // A litre of water at 14 °C weighs 0.99925 kg.
        let mole = 20.0 / grams / 0.99925;
        let stage = |n: usize| value["stages"][n].clone();
        let risen = |read: &dyn Fn(&Value) -> f64| (read(&stage(1)) - read(&stage(0))) / mole;
        let ion = |name: &'static str| move |stage: &Value| stage["composition_mmol_per_kg"][name].as_f64().unwrap();
        for (what, risen, brought) in [
            ("alkalinity", risen(&|s| s["alkalinity_meq_per_kg"].as_f64().unwrap()), alkalinity),
            ("calcium", risen(&ion("calcium")), calcium),
            ("sodium", risen(&ion("sodium")), sodium),
            ("chloride", risen(&ion("chloride")), chloride),
        ] {
            // Molar masses above have six digits, the density five.
            assert!((risen - brought).abs() < 1e-4, "{words}: {what} {risen}, {brought}");
        }
    }
    let run = one(&["--add", "20 g/m3 sodium bicarbonat"]);
    assert!(flat(&run.err).contains("did you mean `sodium bicarbonate`?"), "{}", run.err);
}

#[test]
fn softened_water_is_recognised() {
    let run = water(&[
        "--carbonate-hardness",
        "12 dKH",
        "--general-hardness",
        "0.3 dGH",
        "--ph",
        "7.9",
        "--temperature",
        "57 °F",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(flat(&run.out).contains("Softened water: its hardness is gone"), "{}", run.out);
    assert!(run.out.contains("no copper"));
}

#[test]
fn what_is_missing_or_unclear_is_said_all_at_once() {
    let run = water(&[
        "--carbonate-hardness",
        "107 mg/L",
        "--ph",
        "8,1",
        "--add",
        "50 g/m3 washing powder",
        "--copper",
        "40",
    ]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    for id in ["ambiguous-unit", "decimal-comma", "missing-reading", "unknown-substance", "number-without-unit"] {
        assert!(run.err.contains(&format!("error[{id}]")), "{id}: {}", run.err);
    }
    assert!(run.err.contains("--temperature") && run.err.contains("--general-hardness"));
}

#[test]
fn readings_of_two_waters_get_both_names_and_the_one_to_test_again() {
    let run = water(&[
        "--carbonate-hardness",
        "3 dKH",
        "--general-hardness",
        "22 dGH",
        "--ph",
        "7.6",
        "--temperature",
        "14 °C",
        "--conductivity",
        "180 µS/cm",
    ]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    let words = flat(&run.err);
    assert!(
        words.contains("error[readings-disagree]: general hardness and conductivity cannot be of one water"),
        "{words}"
    );
    assert!(words.contains("test general hardness again first"), "{words}");
    // Outside the range of the chemistry: an error, not a number.
    let run = water(&[
        "--carbonate-hardness",
        "6 dKH",
        "--general-hardness",
        "8 dGH",
        "--ph",
        "8.1",
        "--temperature",
        "61 °C",
    ]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    assert!(run.err.contains("error[outside-the-chemistry]"), "{}", run.err);
}

// Tables.

#[test]
fn the_same_water_in_other_units_is_the_same_water() {
    let density = 0.999_099_6; // Kell (1975) at 15 °C, kg/L.
    let first = table(
        "temperature [°C],ph,alkalinity [meq/kg],calcium [mmol/kg],magnesium [mmol/kg],sodium [mmol/kg],chloride [mmol/kg],sulfate [mmol/kg],copper [µg/kg]\n15,8.0,2,1,0.4,1.2,1.4,0.3,40\n",
    );
    let litre = |amount: f64| amount * density;
    let second = table(&format!(
        "copper [µg/L],sulfate [mg/L],chloride [mg/L],sodium [mg/L Na],magnesium [meq/L],calcium [mg/L as CaCO3],alkalinity [dKH],pH,temperature [°F]\n{},{},{},{},{},{},{},8.0,59\n",
        litre(40.0),
        litre(0.3 * 96.056),
        litre(1.4 * 35.45),
        litre(1.2 * 22.98977),
        litre(0.8),
        litre(100.086),
        litre(2.0 / 0.356_652),
    ));
    for (column, value) in &first[0] {
        let (a, b): (f64, f64) = (value.parse().unwrap(), second[0][column].parse().unwrap());
        if !matches!(column.as_str(), "residual" | "charge_balance [meq/kg]") {
            // The factors above have six digits.
            assert!((a - b).abs() <= 3e-5 * a.abs(), "{column}: {a} {b}");
        }
    }
    // And by every pair that defines it.
    let (ph, carbon) = (&first[0]["ph"], &first[0]["inorganic_carbon [mmol/kg]"]);
    let ions = "1,0.4,1.2,1.4,0.3,40";
    let heads =
        "calcium [mmol/kg],magnesium [mmol/kg],sodium [mmol/kg],chloride [mmol/kg],sulfate [mmol/kg],copper [µg/kg]";
    let rows = table(&format!(
        "temperature [°C],ph,alkalinity [µeq/kg],inorganic_carbon [µmol/kg],{heads}\n15,{ph},,{c},{ions}\n15,,2000,{c},{ions}\n15,{ph},2000,,{ions}\n",
        c = carbon.parse::<f64>().unwrap() * 1000.0
    ));
    for row in &rows {
        for (column, value) in row {
            let a: f64 = value.parse().unwrap();
            if !matches!(column.as_str(), "residual" | "iterations" | "charge_balance [meq/kg]") {
                let b = number(&first[0], column);
                // pH and carbon were written with nine digits.
                assert!((a - b).abs() <= 1e-6 * b.abs().max(1e-12), "{column}: {a} {b}");
            }
        }
    }
}

#[test]
fn every_spelling_of_a_unit_is_the_same_amount() {
    // 2 meq/kg, 1 mmol/kg, 40 µg/kg at 20 °C, where a litre of water weighs 0.998204 kg (Kell 1975).
    let litre = 0.998_204;
    let row = |alkalinity: (&str, f64), calcium: (&str, f64), copper: (&str, f64), temperature: (&str, f64)| {
        let text = format!(
            "Alkalinity [{}],CALCIUM [{}],copper [{}],temperature [{}],pH\n{},{},{},{},8.0\n",
            alkalinity.0, calcium.0, copper.0, temperature.0, alkalinity.1, calcium.1, copper.1, temperature.1
        );
        table(&text).remove(0)
    };
    let first = row(("meq/kg", 2.0), ("mmol/kg", 1.0), ("µg/kg", 40.0), ("°C", 20.0));
    for (alkalinity, calcium, copper, temperature) in [
        (("meq/kgw", 2.0), ("mol/kgw", 0.001), ("ug/kgw", 40.0), ("C", 20.0)),
        (("µeq/kg", 2000.0), ("µmol/kg", 1000.0), ("mg/kg", 0.04), ("degC", 20.0)),
        (("mmol/kg", 2.0), ("meq/kg", 2.0), ("nmol/kg", 629.4653), ("K", 293.15)),
        (("mg/kg CaCO3", 100.0869), ("mg/kg Ca", 40.078), ("µmol/kg", 0.629_465_3), ("°F", 68.0)),
        (("mg CaCO3/L", 100.0869 * litre), ("mg Ca/L", 40.078 * litre), ("µg/L", 40.0 * litre), ("°C", 20.0)),
        (
            ("mg/L as CaCO3", 100.0869 * litre),
            ("mg/L as CaCO₃", 100.0869 * litre),
            ("mg/L", 0.04 * litre),
            ("°C", 20.0),
        ),
        (("ppm CaCO3", 100.0869 * litre), ("°dGH", 5.6077 * litre), ("ppb", 40.0 * litre), ("°C", 20.0)),
        (("dKH", 5.6077 * litre), ("mol/m3", litre), ("mg/m3", 40.0 * litre), ("°C", 20.0)),
        (("mg/L HCO3", 122.034 * litre), ("mmol/L", litre), ("g/m³", 0.04 * litre), ("°C", 20.0)),
    ] {
        let other = row(alkalinity, calcium, copper, temperature);
        for column in ["inorganic_carbon [mmol/kg]", "ionic_strength [mol/kg]", "cu_free [mol/kg]"] {
            let (a, b) = (number(&first, column), number(&other, column));
            // The factors above have five digits or six.
            assert!((a / b - 1.0).abs() < 2e-5, "{column}: {a} {b}, {alkalinity:?} {calcium:?} {copper:?}");
        }
    }
}

#[test]
fn every_ion_may_be_given_by_mass() {
    let moles = "temperature [°C],ph,alkalinity [meq/kg],magnesium [mmol/kg],sodium [mmol/kg],potassium [mmol/kg],chloride [mmol/kg],sulfate [mmol/kg],nitrate [mmol/kg],copper [µg/kg]\n\
                 20,8,2,1,2,0.5,3,0.4,0.1,50\n";
    let first = table(moles).remove(0);
    // g/mol of CIAAW; a litre at 20 °C weighs 0.998204 kg.
    let of = |amounts: [f64; 7]| -> String {
        let grams = [24.305, 22.98977, 39.0983, 35.45, 96.056, 62.004, 1.0];
        amounts.iter().zip(grams).map(|(a, g)| format!(",{}", a * g)).collect()
    };
    let heads = ["magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate"];
    for (unit, factor, nitrate) in [
        ("mg/kg", 1.0, "mg/kg NO3"),
        ("µg/kg", 1000.0, "µg/kg NO3"),
        ("mg/L", 0.998_204, "mg/L NO3"),
        ("ppm", 0.998_204, "ppm NO3"),
        ("g/m3", 0.998_204, "mg/L as NO3"),
        ("g/L", 0.000_998_204, "g/L NO3"),
    ] {
        let head: String = heads
            .iter()
            .map(|ion| if *ion == "nitrate" { format!(",nitrate [{nitrate}]") } else { format!(",{ion} [{unit}]") })
            .collect();
        let cells = of([1.0, 2.0, 0.5, 3.0, 0.4, 0.1, 0.05].map(|a| a * factor));
        let row =
            table(&format!("temperature [°C],ph,alkalinity [meq/kg]{head},copper [{unit}]\n20,8,2{cells}\n")).remove(0);
        for column in ["ionic_strength [mol/kg]", "conductivity [µS/cm]", "charge_balance [meq/kg]", "cuco3 [mol/kg]"]
        {
            let (a, b) = (number(&first, column), number(&row, column));
            assert!((a - b).abs() < 2e-5 * a.abs() + 1e-10, "{unit}: {column}: {a} {b}");
        }
    }
}

#[test]
fn a_third_thing_given_must_agree_with_the_other_two() {
    let text = "temperature [°C],ph,alkalinity [meq/kg],inorganic_carbon [mmol/kg],log10_co2_pressure [atm],calcium [mmol/kg]\n\
                20,8.0,2,2.02,,1\n\
                20,8.0,2,2.50,,1\n\
                20,,2,2.02,-2.0,1\n\
                20,8.0,,,-3.0,1\n\
                20,,,2.02,-2.95,1\n\
                20,,,2.02,-1.0,1\n\
                20,8.0,,,,1\n\
                20,,,,,1\n";
    let (run, rows) = table_with(text, &[]);
    assert_eq!(run.code, 2);
    let answered: Vec<bool> = rows.iter().map(|row| !row["ph"].is_empty()).collect();
    assert_eq!(answered, [true, false, false, true, true, false, false, false]);
    let words = flat(&run.err);
    for told in [
        "error[contradicting-cells]: line 3, column `inorganic_carbon`: 2.5000 mmol/kg is given, and the other cells make it 2.0",
        "error[contradicting-cells]: line 4, column `log10_co2_pressure`: -2.0000",
        "error[no-answer]: line 7: the inorganic carbon in mol/kg at rest with this carbon dioxide pressure is 0.0020",
        "error[undefined-water]: line 8: the water is not defined by what is given: `ph`",
        "error[undefined-water]: line 9: the water is not defined by what is given: none of them",
        "waters.csv:3:1",
    ] {
        assert!(words.contains(told), "{told}\n{words}");
    }
}

#[test]
fn copper_of_nothing_is_nothing_and_copper_not_given_is_not_known() {
    let text = "temperature [°C],ph,alkalinity [meq/kg],copper [µg/kg]\n20,8.0,2,0\n20,8.0,2,\n20,8.0,2,10\n";
    let rows = table(text);
    assert_eq!((rows[0]["cu_free [mol/kg]"].as_str(), rows[0]["si_malachite"].as_str()), ("0", ""));
    assert_eq!((rows[1]["cu_free [mol/kg]"].as_str(), rows[1]["si_malachite"].as_str()), ("", ""));
    assert!(number(&rows[2], "cu_free [mol/kg]") > 0.0);
    // What stays dissolved beside a solid does not hang on how much there is.
    let malachite: Vec<f64> = rows.iter().map(|row| number(row, "solubility_malachite [µg/kg]")).collect();
    assert!((malachite[0] / malachite[1] - 1.0).abs() < 1e-6 && (malachite[0] / malachite[2] - 1.0).abs() < 1e-3);
}

#[test]
fn a_column_that_looks_as_if_it_was_to_be_read_is_warned_of() {
    let text = "Temperature [°C],pH,alkalinity [meq/kg],calcuim [mmol/kg],DIC [mmol/kg],sodium (mmol/kg),si_calcite,site,nitrite [mg/L]\n\
                20,8.0,2,1,2,1,0.1,pond,0\n";
    let (run, rows) = table_with(text, &[]);
    // A warning only: other names are carried through.
    assert_eq!((run.code, rows.len()), (0, 1));
    let words = flat(&run.err);
    for told in [
        "warning[unread-column]: line 1: the column `calcuim [mmol/kg]` is carried through, not read",
        "was `calcium` meant?",
        "was `inorganic_carbon` meant?",
        "write `sodium [mmol/kg]`",
        "warning[name-of-an-answer]: line 1: the column `si_calcite`",
    ] {
        assert!(words.contains(told), "{told}\n{words}");
    }
    assert_eq!(run.err.matches("warning[").count(), 4, "{words}");
}

#[test]
fn a_table_from_a_spreadsheet_is_read_or_told_how_to_be_saved() {
    // CRLF, a byte-order mark, quoted cells, a thousands mark, a printed minus, a blank line at the end.
    let text = "\u{FEFF}\"temperature [°C]\",\"alkalinity [meq/kg]\",\"log10_co2_pressure [atm]\",\"copper [µg/kg]\"\r\n\
                \"20\",\"2.0\",\"\u{2212}3.38\",\"1,000\"\r\n\r\n";
    let rows = table(text);
    assert_eq!(rows.len(), 1);
    // The same letters as Windows writes them: 0xB0 for the degree.
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("latin.csv");
    fs::write(&path, b"temperature [\xB0C],ph,alkalinity [meq/kg]\r\n20,8,2\r\n").unwrap();
    let run = water(&["--table", path.to_str().unwrap()]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    assert!(run.err.contains("error[not-utf8]") && run.err.contains("latin.csv:1:14"), "{}", run.err);
    // An open quote would swallow the rest.
    let (run, _) = table_with("temperature [°C],ph,alkalinity [meq/kg]\n20,8,\"2\n20,8,2\n", &[]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("error[open-quote]"), "{}", run.err);
}

#[test]
fn open_air_brings_every_row_to_rest() {
    let text = "temperature [°C],ph,alkalinity [meq/kg],calcium [mmol/kg],chloride [mmol/kg]\n10,7.2,2,1,0\n25,9.0,0.8,1,1.2\n";
    let (run, rows) = table_with(text, &["--open-air"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let open = table(
        "temperature [°C],log10_co2_pressure [atm],alkalinity [meq/kg],calcium [mmol/kg],chloride [mmol/kg]\n10,-3.38,2,1,0\n25,-3.38,0.8,1,1.2\n",
    );
    for (a, b) in rows.iter().zip(&open) {
        assert!((number(a, "ph") - number(b, "ph")).abs() < 1e-8);
    }
}

#[test]
fn unknown_columns_are_carried_through_in_their_order() {
    let rows = 20_000;
    let mut text = "\u{FEFF}site,temperature [°C],ph,alkalinity [meq/kg],\"note, free\"\n".to_owned();
    for n in 0..rows {
        text.push_str(&format!("pond {n},{},8.0,{},\"a \"\"b\"\", c\"\n", n % 30, 1.0 + f64::from(n % 7)));
    }
    let (run, out) = table_with(&text, &[]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.starts_with("site,\"note, free\",ph,inorganic_carbon [mmol/kg],co2 [mmol/kg],"));
    assert!(run.out.lines().next().unwrap().ends_with(
        "si_calcite,conductivity [µS/cm],conductivity_25 [µS/cm],cu_free [mol/kg],cuoh [mol/kg],cu_oh2 [mol/kg],cuco3 [mol/kg],cu_co3_2 [mol/kg],cuhco3 [mol/kg],si_malachite,si_tenorite,si_cu_oh2,solubility_malachite [µg/kg],solubility_tenorite [µg/kg],solubility_cu_oh2 [µg/kg],unionised_ammonia_share,iterations,residual"
    ));
    assert_eq!(out.len(), rows as usize);
    for (n, row) in out.iter().enumerate() {
        assert_eq!(row["site"], format!("pond {n}"));
        assert_eq!(row["note, free"], "a \"b\", c");
    }
}

#[test]
fn bad_cells_are_named_by_line_and_column_and_the_other_rows_answered() {
    let text = "id,temperature [°C],ph,alkalinity [meq/kg],calcium [mmol/kg]\n\
                a,15,8.0,2,1\n\
                b,15,eight,2,1\n\
                c,15,8.0,2,-1\n\
                d,95,8.0,2,1\n\
                e,15,,2,1\n\
                f,15,8.0,2\n\
                g,15,NaN,2,1\n\
                h,15,10.5,0.01,1\n\
                i,15,8.0,2,\n";
    let (run, rows) = table_with(text, &[]);
    assert_eq!(run.code, 2);
    let words = flat(&run.err);
    for told in [
        "error[bad-cell]: line 3, column `ph`: `eight` is no number",
        "error[bad-cell]: line 4, column `calcium`: `-1` is below nothing",
        "error[out-of-range]: line 5, column `temperature`: `95` is outside the range of the chemistry, 0 to 50 °C",
        "error[undefined-water]: line 6: the water is not defined by what is given: `alkalinity`",
        "error[cell-count]: line 7: the row has 4 cells, the head has 5",
        "error[bad-cell]: line 8, column `ph`: `NaN` is no number",
        "error[no-answer]: line 9: pH 10.50 and an alkalinity of 0.0100 meq/kg are not of one water",
    ] {
        assert!(words.contains(told), "{told}\n{words}");
    }
    assert_eq!(rows.len(), 9);
    for (n, row) in rows.iter().enumerate() {
        let answered = matches!(row["id"].as_str(), "a" | "i");
        assert_eq!(!row["ph"].is_empty(), answered, "row {n}");
    }
}

#[test]
fn a_table_that_cannot_be_understood_is_refused_whole() {
    for (text, told) in [
        ("", "error[empty-table]"),
        ("temperature [°C],ph\n15,8\n", "error[undefined-water]: the table does not define its waters"),
        ("ph,alkalinity [meq/kg]\n8,2\n", "error[no-temperature]"),
        (
            "temperature,ph,alkalinity [meq/kg]\n15,8,2\n",
            "error[no-unit-in-head]: line 1: the column `temperature` has no unit",
        ),
        (
            "temperature [°C],ph,alkalinity [mg/L]\n15,8,2\n",
            "error[ambiguous-unit]: line 1: the column `alkalinity` is in `mg/L`: as CaCO₃ or as bicarbonate?",
        ),
        (
            "temperature [°C],ph,inorganic_carbon [mg/L]\n15,8,24\n",
            "error[ambiguous-unit]: line 1: the column `inorganic_carbon` is in `mg/L`: as carbon or as carbon dioxide?",
        ),
        (
            "temperature [°C],ph,alkalinity [meq/kg],calcium [mg/L]\n15,8,2,40\n",
            "error[ambiguous-unit]: line 1: the column `calcium` is in `mg/L`: as calcium, or as CaCO₃?",
        ),
        ("temperature [°C],ph,alkalinity [furlongs]\n15,8,2\n", "error[unknown-unit]"),
        ("temperature [°C],ph,alkalinity [µS/cm]\n15,8,2\n", "error[other-quantity]"),
        ("temperature [°C],ph,PH,alkalinity [meq/kg]\n15,8,8,2\n", "error[repeated-column]"),
        ("temperature [°C],ph,alkalinity [meq/kg\n15,8,2\n", "error[open-bracket]"),
        ("temperature [°C];ph;alkalinity [meq/kg]\n15;8;2\n", "error[other-separator]"),
    ] {
        let (run, rows) = table_with(text, &[]);
        assert_eq!((run.code, run.out.as_str(), rows.len()), (2, "", 0), "{text}");
        assert!(flat(&run.err).contains(told), "{text}\n{}", run.err);
    }
    let (run, _) = table_with("temperature [°C],ph,alkalinity [meq/kg]\n15,8,2\n", &["--ph", "8"]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    assert!(run.err.contains("error[option-beside-table]"));
    let (run, _) = table_with("temperature [°C],ph,alkalinity [meq/kg]\n15,8,2\n", &["--format", "json"]);
    assert!(run.code == 2 && run.err.contains("`--format` is given beside `--table`"));
    assert_eq!(water(&["--table", "there-is-none.csv"]).code, 1);
}
