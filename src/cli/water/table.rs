//! `weirbook water --table`: one water a row, written as CSV, so that anyone can compare it with another program.
//!
//! Rows are read in blocks, worked out on two threads and written in their order, so that a table of any length needs the room
//! of one block.
#![expect(clippy::print_stderr, reason = "this is where the program speaks")]

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;
use std::process::ExitCode;

use csv::StringRecord;

use super::{Arguments, solubilities};
use crate::chem::conductance::conductivity;
use crate::chem::gases;
use crate::chem::solution::{AIR, Water};
use crate::chem::speciation::{Constants, IONS, Known, Refusal, State, speciate};
use crate::cli::show;
use crate::diag::{Diagnostic, Diagnostics};
use crate::reference::chemistry::{
    self as chemistry, CALCITE, CALCIUM, CARBONATE, CHLORIDE, COPPER, COPPER_HYDROXIDE, MAGNESIUM, MALACHITE, NITRATE,
    POTASSIUM, SODIUM, SULFATE, TENORITE, species,
};
use crate::units::table::{CACO3, weight};
use crate::units::{Kind, ReadError, unit_named};

/// Rows worked out at a time.
const BLOCK: usize = 8192;
/// Complaints shown; a table with more is of another kind.
const MOST: usize = 200;
const BLOCKS: usize = 2;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Holds {
    Temperature,
    Ph,
    Alkalinity,
    Carbon,
    Pressure,
    /// An ion by its place, with its grams a mole.
    Ion(usize, f64),
}

/// The columns that are read, with the unit that is asked for when none is given.
const COLUMNS: [(&str, Holds, &str); 13] = [
    ("temperature", Holds::Temperature, "°C"),
    ("ph", Holds::Ph, ""),
    ("alkalinity", Holds::Alkalinity, "meq/kg"),
    ("calcium", Holds::Ion(CALCIUM, weight::CA), "mmol/kg"),
    ("magnesium", Holds::Ion(MAGNESIUM, weight::MG), "mmol/kg"),
    ("sodium", Holds::Ion(SODIUM, weight::NA), "mmol/kg"),
    ("potassium", Holds::Ion(POTASSIUM, weight::K), "mmol/kg"),
    ("chloride", Holds::Ion(CHLORIDE, weight::CL), "mmol/kg"),
    ("sulfate", Holds::Ion(SULFATE, weight::S + 4.0 * weight::O), "mmol/kg"),
    ("nitrate", Holds::Ion(NITRATE, weight::N + 3.0 * weight::O), "mmol/kg"),
    ("inorganic_carbon", Holds::Carbon, "mmol/kg"),
    ("copper", Holds::Ion(COPPER, weight::CU), "µg/kg"),
    ("log10_co2_pressure", Holds::Pressure, "atm"),
];

/// The columns that are written.
const OUTPUT: [&str; 25] = [
    "ph",
    "inorganic_carbon [mmol/kg]",
    "co2 [mmol/kg]",
    "hco3 [mmol/kg]",
    "co3 [mmol/kg]",
    "ionic_strength [mol/kg]",
    "charge_balance [meq/kg]",
    "si_calcite",
    "conductivity [µS/cm]",
    "conductivity_25 [µS/cm]",
    "cu_free [mol/kg]",
    "cuoh [mol/kg]",
    "cu_oh2 [mol/kg]",
    "cuco3 [mol/kg]",
    "cu_co3_2 [mol/kg]",
    "cuhco3 [mol/kg]",
    "si_malachite",
    "si_tenorite",
    "si_cu_oh2",
    "solubility_malachite [µg/kg]",
    "solubility_tenorite [µg/kg]",
    "solubility_cu_oh2 [µg/kg]",
    "unionised_ammonia_share",
    "iterations",
    "residual",
];

// Places of the species that are written, found by the compiler.
const CO2: usize = species("CO2");
const HCO3: usize = species("HCO3-");
const CUOH: usize = species("CuOH+");
const CU_OH2: usize = species("Cu(OH)2");
const CUCO3: usize = species("CuCO3");
const CU_CO3_2: usize = species("Cu(CO3)2-2");
const CUHCO3: usize = species("CuHCO3+");

/// A number of a column's unit, made a number of ours: times `size`, plus `zero`, and over the water's density where it was
/// counted per litre.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Scale {
    size: f64,
    zero: f64,
    per_litre: bool,
}

const AS_IT_IS: Scale = Scale { size: 1.0, zero: 0.0, per_litre: false };

/// The header, as meant.
struct Plan {
    /// Column, what it holds, its scale.
    read: Vec<(usize, &'static str, Holds, Scale)>,
    /// Columns carried through.
    carried: Vec<usize>,
    width: usize,
    open_air: bool,
    warm: Constants,
}

pub(super) fn run(path: &Path, arguments: &Arguments) -> ExitCode {
    let mut complaints = Diagnostics::new();
    alone(arguments, &mut complaints);
    if complaints.any_error() {
        show(&[], &complaints);
        return ExitCode::from(2);
    }
    let source: Box<dyn Read> = if path.as_os_str() == "-" {
        Box::new(io::stdin().lock())
    } else {
        match File::open(path) {
            Ok(file) => Box::new(file),
            Err(error) => {
                eprintln!("error[unreadable-file]: `{}` could not be read: {error}", path.display());
                return ExitCode::from(1);
            }
        }
    };
    let out = io::BufWriter::new(io::stdout().lock());
    match answer(source, out, arguments.open_air, &mut complaints) {
        Ok(()) => {
            show(&[], &complaints);
            ExitCode::from(if complaints.any_error() { 2 } else { 0 })
        }
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            show(&[], &complaints);
            eprintln!("error[unwritable-output]: the table could not be read or written to its end: {error}");
            ExitCode::from(1)
        }
    }
}

/// A table brings its own readings: options for one water have no place beside it.
fn alone(arguments: &Arguments, complaints: &mut Diagnostics) {
    let others = [
        ("carbonate-hardness", arguments.carbonate_hardness.is_some()),
        ("general-hardness", arguments.general_hardness.is_some()),
        ("calcium", arguments.calcium.is_some()),
        ("ph", arguments.ph.is_some()),
        ("temperature", arguments.temperature.is_some()),
        ("conductivity", arguments.conductivity.is_some()),
        ("salt", arguments.salt.is_some()),
        ("chloride", arguments.chloride.is_some()),
        ("sulfate", arguments.sulfate.is_some()),
        ("nitrate", arguments.nitrate.is_some()),
        ("copper", arguments.copper.is_some()),
        ("ammonia", arguments.ammonia.is_some()),
        ("free-chlorine", arguments.free_chlorine.is_some()),
        ("combined-chlorine", arguments.combined_chlorine.is_some()),
        ("add", !arguments.additions.is_empty()),
    ];
    for (option, _) in others.into_iter().filter(|(_, given)| *given) {
        complaints.push(
            Diagnostic::error("option-beside-table", None, format!("`--{option}` is given beside `--table`"))
                .why("a table brings the readings of each water itself")
                .hint(format!("leave out `--{option}`, or leave out `--table` to work on one water")),
        );
    }
}

/// Reads a table, writes its answers.
fn answer(source: impl Read, mut out: impl Write, open_air: bool, complaints: &mut Diagnostics) -> io::Result<()> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(source);
    let mut header = StringRecord::new();
    let found = reader.read_record(&mut header).map_err(io::Error::other)?;
    if !found {
        complaints.push(
            Diagnostic::error("empty-table", None, "the table is empty").hint("its first line names the columns"),
        );
        return Ok(());
    }
    let Some(plan) = plan(&header, open_air, complaints) else { return Ok(()) };
    let head: Vec<&str> = plan.carried.iter().map(|c| header.get(*c).unwrap_or_default()).chain(OUTPUT).collect();
    let mut line = String::new();
    for (n, cell) in head.iter().enumerate() {
        if n > 0 {
            line.push(',');
        }
        quoted(&mut line, cell.trim_start_matches('\u{FEFF}'));
    }
    line.push('\n');
    out.write_all(line.as_bytes())?;
    let mut faults = 0;
    loop {
        let mut block: Vec<StringRecord> = Vec::with_capacity(BLOCK);
        while block.len() < BLOCK {
            let mut record = StringRecord::new();
            match reader.read_record(&mut record) {
                Ok(true) => block.push(record),
                Ok(false) => break,
                Err(error) => {
                    let line = error.position().map_or(0, csv::Position::line);
                    complaints.push(
                        Diagnostic::error(
                            "unreadable-row",
                            None,
                            format!("line {line}: the row cannot be read: {error}"),
                        )
                        .hint("save the table as CSV in UTF-8"),
                    );
                    if error.is_io_error() {
                        return Err(io::Error::other(error));
                    }
                }
            }
        }
        if block.is_empty() {
            break;
        }
        let half = block.len().div_ceil(BLOCKS);
        let answers: Vec<Answers> = std::thread::scope(|scope| {
            let workers: Vec<_> = block.chunks(half).map(|rows| scope.spawn(|| work(&plan, rows))).collect();
            // A worker that fell over has no answers; its rows would be missing, so that is said below.
            workers.into_iter().map(|w| w.join().unwrap_or_default()).collect()
        });
        let done: usize = answers.iter().map(|a| a.rows).sum();
        for part in answers {
            out.write_all(part.text.as_bytes())?;
            for fault in part.faults {
                faults += 1;
                if faults <= MOST {
                    complaints.push(fault);
                }
            }
        }
        if done != block.len() {
            return Err(io::Error::other("a part of the table was lost while it was worked out"));
        }
    }
    if faults > MOST {
        complaints.push(Diagnostic::error(
            "more-complaints",
            None,
            format!("{} more rows have no answer", faults - MOST),
        ));
    }
    out.flush()
}

/// A cell as CSV.
fn quoted(line: &mut String, cell: &str) {
    if cell.contains([',', '"', '\n', '\r']) {
        line.push('"');
        line.push_str(&cell.replace('"', "\"\""));
        line.push('"');
    } else {
        line.push_str(cell);
    }
}

// The header.

fn plan(header: &StringRecord, open_air: bool, complaints: &mut Diagnostics) -> Option<Plan> {
    let mut read: Vec<(usize, &'static str, Holds, Scale)> = Vec::new();
    let mut carried = Vec::new();
    for (column, head) in header.iter().enumerate() {
        let head = head.trim_start_matches('\u{FEFF}').trim();
        let (name, unit) = match head.split_once('[') {
            Some((name, rest)) => (name.trim(), rest.trim_end().strip_suffix(']').map(str::trim)),
            None => (head, None),
        };
        let lower = name.to_ascii_lowercase();
        let Some((name, holds, example)) = COLUMNS.iter().find(|(known, ..)| *known == lower).copied() else {
            carried.push(column);
            continue;
        };
        if read.iter().any(|(_, known, ..)| *known == name) {
            complaints.push(
                Diagnostic::error("repeated-column", None, format!("line 1: two columns are called `{name}`"))
                    .why("it is not clear which of them counts")
                    .hint("give one of them another name; it is then carried through"),
            );
            continue;
        }
        if head.contains('[') && unit.is_none() {
            complaints.push(
                Diagnostic::error("open-bracket", None, format!("line 1: the head `{head}` has no closing bracket"))
                    .hint(format!("write `{name} [{example}]`")),
            );
            continue;
        }
        match scale(holds, unit.unwrap_or_default()) {
            Ok(scale) => read.push((column, name, holds, scale)),
            Err(fault) => complaints.push(head_fault(name, head, example, &fault)),
        }
    }
    let has = |wanted: Holds| read.iter().any(|(_, _, holds, _)| *holds == wanted);
    if !complaints.any_error() {
        if !has(Holds::Temperature) {
            complaints.push(
                Diagnostic::error("no-temperature", None, "the table has no column `temperature [°C]`")
                    .why("every constant follows temperature")
                    .hint("add the column, with its unit in square brackets"),
            );
        }
        let pair =
            [Holds::Ph, Holds::Alkalinity, Holds::Carbon, Holds::Pressure].into_iter().filter(|h| has(*h)).count();
        if pair < 2 {
            complaints.push(
                Diagnostic::error("undefined-water", None, "the table does not define its waters")
                    .why("two things settle the carbonate system, and nothing is assumed in a table")
                    .hint("give two of `ph`, `alkalinity [meq/kg]`, `inorganic_carbon [mmol/kg]`, `log10_co2_pressure [atm]`"),
            );
        }
    }
    if complaints.any_error() {
        if header.len() == 1 && header.get(0).is_some_and(|h| h.contains(';') || h.contains('\t')) {
            complaints.push(
                Diagnostic::error("other-separator", None, "the columns are not parted by commas")
                    .hint("save the table as CSV with commas"),
            );
        }
        return None;
    }
    let warm = Constants::at(25.0).ok()?;
    Some(Plan { read, carried, width: header.len(), open_air, warm })
}

fn head_fault(name: &str, head: &str, example: &str, fault: &ReadError) -> Diagnostic {
    let write = format!("write `{name} [{example}]`, or another unit of the same quantity");
    match fault {
        ReadError::Empty | ReadError::NoUnit => {
            Diagnostic::error("no-unit-in-head", None, format!("line 1: the column `{head}` has no unit"))
                .why("the same number in another unit is another water")
                .hint(write)
        }
        ReadError::Ambiguous { unit, question, hint } => {
            Diagnostic::error("ambiguous-unit", None, format!("line 1: the column `{name}` is in `{unit}`: {question}"))
                .hint(*hint)
        }
        ReadError::OtherKind { unit, measures } => Diagnostic::error(
            "other-quantity",
            None,
            format!("line 1: the column `{name}` is in `{unit}`, a unit of {}", measures.words()),
        )
        .hint(write),
        _ => Diagnostic::error("unknown-unit", None, format!("line 1: the unit of the column `{head}` is not known"))
            .hint(write),
    }
}

/// From a unit to ours: °C, mol/kg, mol of charge per kg, log₁₀ atm.
fn scale(holds: Holds, unit: &str) -> Result<Scale, ReadError> {
    let unknown = || ReadError::UnknownUnit { unit: unit.to_owned(), nearest: None };
    if holds == Holds::Ph {
        return if unit.is_empty() || unit == "1" || unit == "-" { Ok(AS_IT_IS) } else { Err(unknown()) };
    }
    if unit.is_empty() {
        return Err(ReadError::NoUnit);
    }
    match holds {
        Holds::Ph => Ok(AS_IT_IS),
        Holds::Temperature => {
            let unit = unit_named(Kind::Temperature, unit)?;
            Ok(Scale { size: unit.size, zero: unit.zero - 273.15, per_litre: false })
        }
        Holds::Pressure => {
            let atm = match unit.to_lowercase().replace(['μ', 'µ'], "u").as_str() {
                "atm" => 1.0,
                "uatm" | "ppm" => 1e-6,
                "bar" => 1.0 / 1.013_25,
                "mbar" | "hpa" => 1.0 / 1013.25,
                "kpa" => 1.0 / 101.325,
                "pa" => 1.0 / 101_325.0,
                _ => return Err(unknown()),
            };
            Ok(Scale { size: 1.0, zero: libm::log10(atm), per_litre: false })
        }
        Holds::Alkalinity | Holds::Carbon | Holds::Ion(..) => amount(holds, unit).ok_or(()).or_else(|()| {
            // Trade units, held per cubic metre.
            let kinds: &[Kind] = match holds {
                Holds::Alkalinity => &[Kind::CarbonateHardness],
                Holds::Ion(CALCIUM, _) => &[Kind::Calcium, Kind::GeneralHardness],
                Holds::Ion(NITRATE, _) => &[Kind::Nitrate],
                _ => &[Kind::MassConcentration],
            };
            let mut first = Err(unknown());
            for kind in kinds {
                let found = unit_named(*kind, unit);
                if let Ok(found) = found {
                    let grams = match holds {
                        // Nitrate is held as kilograms of the ion, the others here as moles or charge.
                        Holds::Ion(NITRATE, grams) => 1000.0 / grams,
                        _ => 1.0,
                    };
                    return Ok(Scale { size: found.size * 1e-3 * grams, zero: 0.0, per_litre: true });
                }
                if first.is_err() && *kind == kinds[0] {
                    first = found.map(|_| AS_IT_IS);
                }
            }
            first
        }),
    }
}

/// Units of amount, charge or mass, per kilogram or litre: `mmol/kg`, `meq/L`, `mg/L Ca`, `µg/kg`. `None` for any other, and for a mass whose
/// form would have to be guessed.
fn amount(holds: Holds, unit: &str) -> Option<Scale> {
    let folded: String = unit
        .replace(['μ', 'µ'], "u")
        .replace('₃', "3")
        .replace('₄', "4")
        .split_whitespace()
        .filter(|word| *word != "as")
        .collect::<String>()
        .to_lowercase();
    let (above, below) = folded.split_once('/')?;
    let (per_litre, form) = if let Some(form) = below.strip_prefix("kg") {
        (false, form)
    } else {
        (true, below.strip_prefix("litre").or(below.strip_prefix('l'))?)
    };
    let (prefix, base) =
        ["mol", "eq", "val", "g"].into_iter().find_map(|base| above.strip_suffix(base).map(|p| (p, base)))?;
    let size = match prefix {
        "" => 1.0,
        "m" => 1e-3,
        "u" => 1e-6,
        "n" => 1e-9,
        _ => return None,
    };
    let (own, grams, charges) = match holds {
        Holds::Ion(ion, grams) => {
            let row = chemistry::IONS.get(ion)?;
            let own = row.name.split(['+', '-']).next().unwrap_or_default().to_lowercase();
            (own, grams, f64::from(row.charge.abs()))
        }
        Holds::Carbon => ("c".to_owned(), weight::C, 0.0),
        _ => (String::new(), 0.0, 1.0),
    };
    let each = match (base, form) {
        ("mol", "") => 1.0,
        ("eq" | "val", "") if charges > 0.0 => 1.0 / charges,
        // Alkalinity by mass always needs its form; calcium does, because it is counted both ways.
        ("g", "") if matches!(holds, Holds::Ion(ion, _) if ion != CALCIUM && ion != NITRATE) => 1.0 / grams,
        ("g", form) if !own.is_empty() && form == own => 1.0 / grams,
        ("g", "caco3") if holds == Holds::Alkalinity => 2.0 / CACO3,
        ("g", "caco3") if matches!(holds, Holds::Ion(CALCIUM | MAGNESIUM, _)) => 1.0 / CACO3,
        ("g", "hco3") if holds == Holds::Alkalinity => 1.0 / (weight::H + weight::C + 3.0 * weight::O),
        ("g", "n" | "no3-n") if matches!(holds, Holds::Ion(NITRATE, _)) => 1.0 / weight::N,
        _ => return None,
    };
    Some(Scale { size: size * each, zero: 0.0, per_litre })
}

// The rows.

#[derive(Default)]
struct Answers {
    text: String,
    faults: Vec<Diagnostic>,
    rows: usize,
}

fn work(plan: &Plan, rows: &[StringRecord]) -> Answers {
    let mut answers = Answers::default();
    for row in rows {
        answers.rows += 1;
        let mut first = true;
        for column in &plan.carried {
            if !std::mem::replace(&mut first, false) {
                answers.text.push(',');
            }
            quoted(&mut answers.text, row.get(*column).unwrap_or_default());
        }
        let line = row.position().map_or(0, csv::Position::line);
        let mut faults = Vec::new();
        let given = given(plan, row, line, &mut faults);
        let out = given.and_then(|given| match outcome(plan, &given) {
            Ok(out) => Some(out),
            Err(refusal) => {
                faults.push(
                    Diagnostic::error("no-answer", None, format!("line {line}: {refusal}"))
                        .hint("check the decimal point and the units of the row"),
                );
                None
            }
        });
        match out {
            Some(out) => {
                for value in out {
                    if !std::mem::replace(&mut first, false) {
                        answers.text.push(',');
                    }
                    if let Some(value) = value {
                        number(&mut answers.text, value);
                    }
                }
            }
            None => {
                for _ in 0..OUTPUT.len() {
                    if !std::mem::replace(&mut first, false) {
                        answers.text.push(',');
                    }
                }
            }
        }
        answers.text.push('\n');
        answers.faults.append(&mut faults);
    }
    answers
}

/// A row, as meant.
struct Given {
    constants: Constants,
    totals: [f64; IONS],
    known: Known,
}

fn given(plan: &Plan, row: &StringRecord, line: u64, faults: &mut Vec<Diagnostic>) -> Option<Given> {
    let before = faults.len();
    if row.len() != plan.width {
        faults.push(
            Diagnostic::error(
                "cell-count",
                None,
                format!("line {line}: the row has {} cells, the head has {}", row.len(), plan.width),
            )
            .why("a cell too many or too few shifts every number behind it")
            .hint("put a cell that holds a comma in quotes"),
        );
        return None;
    }
    let mut values: Vec<(Holds, f64, bool)> = Vec::with_capacity(plan.read.len());
    for (column, name, holds, scale) in &plan.read {
        let text = row.get(*column).unwrap_or_default().trim();
        if text.is_empty() {
            continue;
        }
        // A minus as print has it is read too.
        let value: Option<f64> =
            text.parse().ok().or_else(|| text.replace('\u{2212}', "-").parse().ok()).filter(|v: &f64| v.is_finite());
        let Some(value) = value else {
            faults.push(
                Diagnostic::error(
                    "bad-cell",
                    None,
                    format!("line {line}, column `{name}`: `{}` is no number", clipped(text)),
                )
                .hint(
                    "write a number with a decimal point and nothing else; leave the cell empty where nothing is known",
                ),
            );
            continue;
        };
        let value = value * scale.size + scale.zero;
        if matches!(holds, Holds::Ion(..) | Holds::Carbon) && value < 0.0 {
            faults.push(
                Diagnostic::error(
                    "bad-cell",
                    None,
                    format!("line {line}, column `{name}`: `{}` is below nothing", clipped(text)),
                )
                .hint("check the sign"),
            );
            continue;
        }
        values.push((*holds, value, scale.per_litre));
    }
    if faults.len() > before {
        return None;
    }
    let of = |wanted: Holds| values.iter().find(|(holds, ..)| *holds == wanted);
    let Some((_, celsius, _)) = of(Holds::Temperature) else {
        faults.push(
            Diagnostic::error("undefined-water", None, format!("line {line}: the temperature is missing"))
                .hint("every constant follows temperature; fill in the cell"),
        );
        return None;
    };
    let constants = match Constants::at(*celsius) {
        Ok(constants) => constants,
        Err(refusal) => {
            faults.push(Diagnostic::error("no-answer", None, format!("line {line}: {refusal}")).hint("check the unit"));
            return None;
        }
    };
    let per_kg =
        |(_, value, per_litre): &(Holds, f64, bool)| if *per_litre { value / constants.density } else { *value };
    let mut totals = [0.0; IONS];
    for entry in &values {
        if let Holds::Ion(ion, _) = entry.0 {
            totals[ion] = per_kg(entry);
        }
    }
    let (ph, log_co2) = (of(Holds::Ph).map(|v| v.1), of(Holds::Pressure).map(|v| v.1));
    let (alkalinity, carbon) = (of(Holds::Alkalinity).map(per_kg), of(Holds::Carbon).map(per_kg));
    let known = match (ph, alkalinity, carbon, log_co2) {
        (Some(ph), Some(alkalinity), None, None) => Known::PhAlkalinity { ph, alkalinity },
        (Some(ph), None, Some(carbon), None) => Known::PhCarbon { ph, carbon },
        (Some(ph), None, None, Some(log_co2)) => Known::PhPressure { ph, log_co2 },
        (None, Some(alkalinity), Some(carbon), None) => Known::AlkalinityCarbon { alkalinity, carbon },
        (None, Some(alkalinity), None, Some(log_co2)) => Known::AlkalinityPressure { alkalinity, log_co2 },
        _ => {
            let named: Vec<&str> = [
                ("`ph`", ph.is_some()),
                ("`alkalinity`", alkalinity.is_some()),
                ("`inorganic_carbon`", carbon.is_some()),
                ("`log10_co2_pressure`", log_co2.is_some()),
            ]
            .into_iter()
            .filter_map(|(name, there)| there.then_some(name))
            .collect();
            let have = if named.is_empty() { "none of them".to_owned() } else { named.join(", ") };
            let message = format!("line {line}: the water is not defined by what is given: {have}");
            faults.push(
                Diagnostic::error("undefined-water", None, message)
                    .why("two things settle the carbonate system: fewer leave it open, a third would contradict them")
                    .hint("fill in two of ph, alkalinity, inorganic_carbon, log10_co2_pressure, one of them ph or alkalinity"),
            );
            return None;
        }
    };
    Some(Given { constants, totals, known })
}

fn clipped(text: &str) -> String {
    let short: String = text.chars().take(24).collect();
    if short.len() < text.len() { format!("{short}…") } else { short }
}

fn outcome(plan: &Plan, given: &Given) -> Result<[Option<f64>; OUTPUT.len()], Refusal> {
    let mut state: State = speciate(&given.constants, &given.totals, given.known)?;
    if plan.open_air {
        let known = Known::AlkalinityPressure { alkalinity: state.alkalinity, log_co2: AIR };
        state = speciate(&given.constants, &given.totals, known)?;
    }
    let mut totals = given.totals;
    totals[CARBONATE] = state.carbon;
    let water = Water { celsius: 25.0, totals, alkalinity: state.alkalinity, ammonia: 0.0 };
    let warm = water.closed_with(&plan.warm)?;
    let [malachite, tenorite, hydroxide] = solubilities(&given.constants, &state);
    let copper = given.totals[COPPER] > 0.0;
    let form = |place: usize| copper.then(|| state.of(place));
    Ok([
        Some(state.ph),
        Some(state.carbon * 1000.0),
        Some(state.of(CO2) * 1000.0),
        Some(state.of(HCO3) * 1000.0),
        Some(state.of(CARBONATE) * 1000.0),
        Some(state.ionic_strength),
        Some(state.charge() * 1000.0),
        state.saturation(CALCITE),
        Some(conductivity(&state)),
        Some(conductivity(&warm)),
        form(COPPER),
        form(CUOH),
        form(CU_OH2),
        form(CUCO3),
        form(CU_CO3_2),
        form(CUHCO3),
        state.saturation(MALACHITE),
        state.saturation(TENORITE),
        state.saturation(COPPER_HYDROXIDE),
        malachite,
        tenorite,
        hydroxide,
        Some(gases::unionised_share(state.ph, state.celsius)),
        Some(f64::from(state.iterations)),
        Some(state.residual),
    ])
}

/// Nine significant digits, without trailing zeros; powers of ten where the number is very large or small.
fn number(line: &mut String, value: f64) {
    use std::fmt::Write as _;
    if value == 0.0 {
        line.push('0');
        return;
    }
    let start = line.len();
    let size = value.abs();
    if (1e-4..1e9).contains(&size) {
        // Places behind the point that make nine digits.
        let mut places = 8_usize;
        let mut bound = 10.0;
        while size >= bound && places > 0 {
            bound *= 10.0;
            places -= 1;
        }
        let mut bound = 1.0;
        while size < bound {
            bound *= 0.1;
            places += 1;
        }
        let _ = write!(line, "{value:.places$}");
        if line[start..].contains('.') {
            while line.ends_with('0') {
                line.pop();
            }
            if line.ends_with('.') {
                line.pop();
            }
        }
    } else {
        let _ = write!(line, "{value:.8e}");
    }
}
