//! `weirbook water --table`: one water a row, written as CSV, so that anyone can compare it with another program.
//!
//! Rows are worked out in blocks on two threads and written in their order. Each complaint shows its line and cell.

use std::io::{self, Read, Write};
use std::path::Path;
use std::process::ExitCode;

use super::{Arguments, solubilities};
use crate::chem::conductance::conductivity;
use crate::chem::gases;
use crate::chem::solution::{AIR, Water, of_carbon_and_pressure};
use crate::chem::speciation::{CELSIUS, Constants, IONS, Known, MOST, PH, PRESSURE, Refusal, State, speciate};
use crate::cli::{fail, fault, show};
use crate::diag::{Diagnostic, Diagnostics, FileId, Span};
use crate::reference::chemistry::{
    self as chemistry, CALCITE, CALCIUM, CARBONATE, CHLORIDE, COPPER, COPPER_HYDROXIDE, MAGNESIUM, MALACHITE, NITRATE,
    POTASSIUM, SODIUM, SULFATE, TENORITE, species,
};
use crate::site::csv::{Cell, Row, Rows};
use crate::site::decode;
use crate::units::table::{CACO3, weight};
use crate::units::{Kind, ReadError, read_number, unit_named};

/// Rows worked out at a time.
const BLOCK: usize = 8192;
const BLOCKS: usize = 2;
/// The table, as the only text that complaints point into.
const TABLE: FileId = FileId(0);
/// How far a third thing given may lie from what two others settle: a share of inorganic carbon, so much in pH or log₁₀ of a
/// pressure. Wide enough for values printed to two places.
const AGREES: f64 = 0.02;

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
    let (name, bytes) = if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        ("standard input".to_owned(), io::stdin().lock().read_to_end(&mut bytes).map(|_| bytes))
    } else {
        (path.display().to_string(), std::fs::read(path))
    };
    let bytes = match bytes {
        Ok(bytes) => bytes,
        Err(error) => {
            let message = format!("`{name}` could not be read: {}", fault(&error));
            return fail(1, Diagnostic::error("unreadable-file", None, message));
        }
    };
    let (text, found) = decode(&name, &bytes, TABLE);
    drop(bytes);
    complaints.append(found);
    let out = io::BufWriter::new(io::stdout().lock());
    // A table that is no text in UTF-8 may have lost its units and its signs: nothing is answered.
    let written =
        if complaints.any_error() { Ok(()) } else { answer(&text.words, out, arguments.open_air, &mut complaints) };
    show(&[text], &complaints);
    match written {
        Ok(()) => ExitCode::from(if complaints.any_error() { 2 } else { 0 }),
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            let message = format!("the table could not be written to its end: {}", fault(&error));
            fail(1, Diagnostic::error("unwritable-output", None, message))
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
    if arguments.format.is_some() {
        complaints.push(
            Diagnostic::error("option-beside-table", None, "`--format` is given beside `--table`")
                .why("a table is answered as CSV, whatever the format")
                .hint("leave out `--format`"),
        );
    }
}

/// Reads a table, writes its answers.
fn answer(source: &str, mut out: impl Write, open_air: bool, complaints: &mut Diagnostics) -> io::Result<()> {
    let mut rows = Rows::new(source, TABLE);
    let Some(header) = rows.next_row(complaints) else {
        complaints.push(
            Diagnostic::error("empty-table", None, "the table is empty").hint("its first line names the columns"),
        );
        return Ok(());
    };
    let Some(plan) = plan(&header, open_air, complaints) else { return Ok(()) };
    let carried = plan.carried.iter().filter_map(|c| header.cells.get(*c)).map(|cell| cell.text.as_str());
    let mut line = String::new();
    for (n, cell) in carried.chain(OUTPUT).enumerate() {
        if n > 0 {
            line.push(',');
        }
        quoted(&mut line, cell);
    }
    line.push('\n');
    out.write_all(line.as_bytes())?;
    loop {
        let block: Vec<Row> = std::iter::from_fn(|| rows.next_row(complaints)).take(BLOCK).collect();
        if block.is_empty() {
            return out.flush();
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
                complaints.push(fault);
            }
        }
        if done != block.len() {
            return Err(io::Error::other("a part of it was lost while it was worked out"));
        }
    }
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

/// A column's name as it is compared: small letters, one `_` between words.
fn plain_name(name: &str) -> String {
    name.split([' ', '_', '-', '\t']).filter(|w| !w.is_empty()).collect::<Vec<_>>().join("_").to_lowercase()
}

fn plan(header: &Row, open_air: bool, complaints: &mut Diagnostics) -> Option<Plan> {
    let mut read: Vec<(usize, &'static str, Holds, Scale)> = Vec::new();
    let mut carried = Vec::new();
    for (column, cell) in header.cells.iter().enumerate() {
        let head = cell.text.trim();
        let (name, unit) = match head.split_once('[') {
            Some((name, rest)) => (name.trim(), rest.trim_end().strip_suffix(']').map(str::trim)),
            None => (head, None),
        };
        let plain = plain_name(name);
        let Some((name, holds, example)) = COLUMNS.iter().find(|(known, ..)| *known == plain).copied() else {
            if let Some(warning) = nearly(&plain, head, cell.span) {
                complaints.push(warning);
            }
            carried.push(column);
            continue;
        };
        if read.iter().any(|(_, known, ..)| *known == name) {
            complaints.push(
                Diagnostic::error("repeated-column", cell.span, format!("line 1: two columns are called `{name}`"))
                    .why("it is not clear which of them counts")
                    .hint("give one of them another name; it is then carried through"),
            );
            continue;
        }
        if head.contains('[') && unit.is_none() {
            complaints.push(
                Diagnostic::error(
                    "open-bracket",
                    cell.span,
                    format!("line 1: the head `{head}` has no closing bracket"),
                )
                .hint(written(name, example)),
            );
            continue;
        }
        match scale(holds, unit.unwrap_or_default()) {
            Ok(scale) => read.push((column, name, holds, scale)),
            Err(fault) => complaints.push(head_fault(name, head, cell.span, example, &fault)),
        }
    }
    let has = |wanted: Holds| read.iter().any(|(_, _, holds, _)| *holds == wanted);
    if !complaints.any_error() {
        if !has(Holds::Temperature) {
            complaints.push(
                Diagnostic::error("no-temperature", header.span, "the table has no column `temperature [°C]`")
                    .why("every constant follows temperature")
                    .hint("add the column, with its unit in square brackets"),
            );
        }
        let pair =
            [Holds::Ph, Holds::Alkalinity, Holds::Carbon, Holds::Pressure].into_iter().filter(|h| has(*h)).count();
        if pair < 2 {
            complaints.push(
                Diagnostic::error("undefined-water", header.span, "the table does not define its waters")
                    .why("two things settle the carbonate system, and nothing is assumed in a table")
                    .hint("give two of `ph`, `alkalinity [meq/kg]`, `inorganic_carbon [mmol/kg]`, `log10_co2_pressure [atm]`"),
            );
        }
    }
    if complaints.any_error() {
        if matches!(header.cells.as_slice(), [only] if only.text.contains([';', '\t'])) {
            complaints.push(
                Diagnostic::error("other-separator", header.span, "the columns are not parted by commas")
                    .hint("save the table as CSV with commas, and with decimal points"),
            );
        }
        return None;
    }
    let warm = Constants::at(25.0).ok()?;
    Some(Plan { read, carried, width: header.cells.len(), open_air, warm })
}

/// What others call the columns.
const SHORT: [(&str, &str); 18] = [
    ("temp", "temperature"),
    ("t", "temperature"),
    ("alk", "alkalinity"),
    ("total_alkalinity", "alkalinity"),
    ("ca", "calcium"),
    ("mg", "magnesium"),
    ("na", "sodium"),
    ("k", "potassium"),
    ("cl", "chloride"),
    ("so4", "sulfate"),
    ("sulphate", "sulfate"),
    ("no3", "nitrate"),
    ("cu", "copper"),
    ("dic", "inorganic_carbon"),
    ("tic", "inorganic_carbon"),
    ("pco2", "log10_co2_pressure"),
    ("log_pco2", "log10_co2_pressure"),
    ("log10_pco2", "log10_co2_pressure"),
];

/// A column that is carried through, but looks as if it was meant to be read or stands where an answer does.
fn nearly(plain: &str, head: &str, span: Span) -> Option<Diagnostic> {
    if OUTPUT.iter().any(|out| out.split(" [").next() == Some(plain)) {
        return Some(
            Diagnostic::warning(
                "name-of-an-answer",
                span,
                format!("line 1: the column `{head}` is called as an answer is"),
            )
            .label("carried through unread; the answer of that name follows behind it")
            .hint("give it another name, so that no reader takes one for the other"),
        );
    }
    let bare = plain.split('(').next().unwrap_or_default().trim_end_matches('_');
    let bare = SHORT.iter().find(|(short, _)| *short == bare).map_or(bare, |(_, long)| *long);
    // A letter or two amiss, or the unit in round brackets; a short name is near to too many.
    let (name, _, example) = COLUMNS.iter().find(|(known, ..)| {
        *known == bare
            || (known.len() > 3 && bare != "nitrite" && bare.len() > 3 && strsim::damerau_levenshtein(known, bare) <= 2)
    })?;
    Some(
        Diagnostic::warning("unread-column", span, format!("line 1: the column `{head}` is carried through, not read"))
            .label(format!("was `{name}` meant?"))
            .why("what it holds does not count as part of the water")
            .hint(written(name, example)),
    )
}

/// How a column's head is written.
fn written(name: &str, example: &str) -> String {
    if example.is_empty() { format!("write `{name}`") } else { format!("write `{name} [{example}]`") }
}

fn head_fault(name: &str, head: &str, span: Span, example: &str, fault: &ReadError) -> Diagnostic {
    let write = format!("{}, or another unit of the same quantity", written(name, example));
    match fault {
        ReadError::Empty | ReadError::NoUnit => {
            Diagnostic::error("no-unit-in-head", span, format!("line 1: the column `{head}` has no unit"))
                .why("the same number in another unit is another water")
                .hint(write)
        }
        ReadError::Ambiguous { unit, question, hint } => {
            Diagnostic::error("ambiguous-unit", span, format!("line 1: the column `{name}` is in `{unit}`: {question}"))
                .hint(*hint)
        }
        ReadError::OtherKind { unit, measures } => Diagnostic::error(
            "other-quantity",
            span,
            format!("line 1: the column `{name}` is in `{unit}`, a unit of {}", measures.words()),
        )
        .hint(write),
        _ => Diagnostic::error("unknown-unit", span, format!("line 1: the unit of the column `{head}` is not known"))
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
        Holds::Carbon => amount(holds, unit).ok_or_else(|| match unit_named(Kind::MassConcentration, unit) {
            Ok(_) => ReadError::Ambiguous {
                unit: unit.to_owned(),
                question: "as carbon or as carbon dioxide?",
                hint: "write `mg/L C` or `mg/L CO2`, whichever was counted; they differ 3.7-fold",
            },
            Err(_) => unknown(),
        }),
        Holds::Alkalinity | Holds::Ion(..) => amount(holds, unit).ok_or(()).or_else(|()| {
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
                    let grams = match (kind, holds) {
                        // Held as kilograms of the ion, the others here as moles or charge.
                        (Kind::MassConcentration | Kind::Nitrate, Holds::Ion(_, grams)) => 1000.0 / grams,
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

/// Units of amount, charge or mass, per kilogram of water or litre: `mmol/kg`, `meq/L`, `mg/L Ca`, `mg CaCO3/kg`, `µg/kg`. `None` for any
/// other, and for a mass whose form would have to be guessed.
fn amount(holds: Holds, unit: &str) -> Option<Scale> {
    let folded: String = unit
        .replace(['μ', 'µ'], "u")
        .replace('₃', "3")
        .replace('₄', "4")
        .replace('³', "3")
        .split_whitespace()
        .filter(|word| *word != "as")
        .collect::<String>()
        .to_lowercase();
    let (above, below) = folded.split_once('/')?;
    // The longest name first, so that none is taken for the beginning of another.
    let (per_litre, each_volume, below) = [("kgw", false, 1.0), ("kg", false, 1.0), ("m3", true, 1e-3)]
        .into_iter()
        .chain([("litre", true, 1.0), ("liter", true, 1.0), ("l", true, 1.0)])
        .find_map(|(name, litre, size)| below.strip_prefix(name).map(|rest| (litre, size, rest)))?;
    let (size, base, above) =
        [("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9)].into_iter().find_map(|(prefix, size)| {
            let rest = above.strip_prefix(prefix)?;
            ["mol", "eq", "val", "g"]
                .into_iter()
                .find_map(|base| rest.strip_prefix(base).map(|form| (size, base, form)))
        })?;
    // What is counted may stand above or below, not both.
    let form = match (above, below) {
        (form, "") | ("", form) => form,
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
        ("g", "co2") if holds == Holds::Carbon => 1.0 / (weight::C + 2.0 * weight::O),
        _ => return None,
    };
    Some(Scale { size: size * each * each_volume, zero: 0.0, per_litre })
}

// The rows.

#[derive(Default)]
struct Answers {
    text: String,
    faults: Vec<Diagnostic>,
    rows: usize,
}

fn work(plan: &Plan, rows: &[Row]) -> Answers {
    let mut answers = Answers::default();
    for row in rows {
        answers.rows += 1;
        let mut first = true;
        for column in &plan.carried {
            if !std::mem::replace(&mut first, false) {
                answers.text.push(',');
            }
            quoted(&mut answers.text, row.cells.get(*column).map_or("", |cell| cell.text.as_str()));
        }
        let out = given(plan, row, &mut answers.faults).and_then(|given| match outcome(plan, &given) {
            Ok(out) => Some(out),
            Err(fault) => {
                answers.faults.push(fault.told(row));
                None
            }
        });
        // A row without an answer is left blank, all of it.
        for value in out.unwrap_or_default() {
            if !std::mem::replace(&mut first, false) {
                answers.text.push(',');
            }
            if let Some(value) = value {
                number(&mut answers.text, value);
            }
        }
        answers.text.push('\n');
    }
    answers
}

/// What a row gives of the carbonate system, in pH, mol of charge and mol per kg, log₁₀ atm.
#[derive(Clone, Copy, Debug, Default)]
struct Carbonates {
    ph: Option<f64>,
    alkalinity: Option<f64>,
    carbon: Option<f64>,
    log_co2: Option<f64>,
}

/// A row, as meant.
struct Given {
    constants: Constants,
    totals: [f64; IONS],
    carbonates: Carbonates,
    copper: bool,
}

fn given(plan: &Plan, row: &Row, faults: &mut Vec<Diagnostic>) -> Option<Given> {
    let line = row.line;
    if row.cells.len() != plan.width {
        let (cells, width) = (row.cells.len(), plan.width);
        faults.push(
            Diagnostic::error(
                "cell-count",
                row.span,
                format!("line {line}: the row has {cells} cells, the head has {width}"),
            )
            .why("a cell too many or too few shifts every number behind it")
            .hint("put a cell that holds a comma in quotes"),
        );
        return None;
    }
    let before = faults.len();
    let mut celsius = None;
    let mut carbonates = Carbonates::default();
    // With what is per litre apart: it waits for the density.
    let mut values: Vec<(Holds, f64, bool)> = Vec::with_capacity(plan.read.len());
    for (column, name, holds, scale) in &plan.read {
        let Some(cell) = row.cells.get(*column) else { continue };
        if cell.text.trim().is_empty() {
            continue;
        }
        match value(cell, line, name, *holds, scale) {
            Ok(value) => match holds {
                Holds::Temperature => celsius = Some(value),
                Holds::Ph => carbonates.ph = Some(value),
                Holds::Pressure => carbonates.log_co2 = Some(value),
                Holds::Alkalinity | Holds::Carbon | Holds::Ion(..) => values.push((*holds, value, scale.per_litre)),
            },
            Err(fault) => faults.push(fault),
        }
    }
    if faults.len() > before {
        return None;
    }
    let Some(celsius) = celsius else {
        faults.push(
            Diagnostic::error("undefined-water", row.span, format!("line {line}: the temperature is missing"))
                .hint("every constant follows temperature; fill in the cell"),
        );
        return None;
    };
    let constants = Constants::at(celsius).ok()?;
    let mut totals = [0.0; IONS];
    let mut copper = false;
    for (holds, value, per_litre) in values {
        let value = if per_litre { value / constants.density } else { value };
        match holds {
            Holds::Alkalinity => carbonates.alkalinity = Some(value),
            Holds::Carbon => carbonates.carbon = Some(value),
            Holds::Ion(ion, _) => {
                totals[ion] = value;
                copper |= ion == COPPER;
            }
            Holds::Temperature | Holds::Ph | Holds::Pressure => {}
        }
    }
    Some(Given { constants, totals, carbonates, copper })
}

/// A cell's number, in our unit.
fn value(cell: &Cell, line: usize, name: &str, holds: Holds, scale: &Scale) -> Result<f64, Diagnostic> {
    let text = cell.text.trim();
    let place = || format!("line {line}, column `{name}`: `{}`", clipped(text));
    // A minus as print has it is read too, and commas between thousands.
    let read = text.parse().ok().or_else(|| read_number(text).ok()).filter(|v: &f64| v.is_finite());
    let Some(read) = read else {
        return Err(Diagnostic::error("bad-cell", cell.span, format!("{} is no number", place())).hint(
            "write a number with a decimal point and nothing else; leave the cell empty where nothing is known",
        ));
    };
    let value = read * scale.size + scale.zero;
    let ((low, high), unit) = match holds {
        Holds::Temperature => (CELSIUS, "°C"),
        Holds::Ph => (PH, "in pH"),
        Holds::Pressure => (PRESSURE, "as log10 of atm"),
        Holds::Alkalinity => ((-MOST, MOST), "mol/kg of charge"),
        Holds::Carbon | Holds::Ion(..) => ((0.0, MOST), "mol/kg"),
    };
    if low == 0.0 && value < 0.0 && holds != Holds::Temperature {
        return Err(
            Diagnostic::error("bad-cell", cell.span, format!("{} is below nothing", place())).hint("check the sign")
        );
    }
    if value < low || value > high {
        let message = format!("{} is outside the range of the chemistry, {low} to {high} {unit}", place());
        return Err(Diagnostic::error("out-of-range", cell.span, message)
            .why("beyond it no equation that is used here was fitted")
            .hint("check the decimal point and the column's unit"));
    }
    Ok(value)
}

fn clipped(text: &str) -> String {
    let short: String = text.chars().take(24).collect();
    if short.len() < text.len() { format!("{short}…") } else { short }
}

/// Why a row has no answer.
enum Fault {
    /// Fewer than two of what settles the carbonate system.
    Undefined(Carbonates),
    /// A third thing is given, and differs from what two others settle.
    Contradicted {
        column: &'static str,
        given: f64,
        settled: f64,
        unit: &'static str,
    },
    Refused(Refusal),
}

impl From<Refusal> for Fault {
    fn from(refusal: Refusal) -> Self {
        Fault::Refused(refusal)
    }
}

impl Fault {
    fn told(&self, row: &Row) -> Diagnostic {
        let line = row.line;
        match self {
            Fault::Undefined(had) => {
                let have = [
                    ("`ph`", had.ph.is_some()),
                    ("`alkalinity`", had.alkalinity.is_some()),
                    ("`inorganic_carbon`", had.carbon.is_some()),
                    ("`log10_co2_pressure`", had.log_co2.is_some()),
                ]
                .into_iter()
                .find_map(|(name, there)| there.then_some(name))
                .unwrap_or("none of them");
                let message = format!("line {line}: the water is not defined by what is given: {have}");
                Diagnostic::error("undefined-water", row.span, message)
                    .why("two things settle the carbonate system, and nothing is assumed in a table")
                    .hint("fill in two of `ph`, `alkalinity`, `inorganic_carbon`, `log10_co2_pressure`")
            }
            Fault::Contradicted { column, given, settled, unit } => {
                let message = format!(
                    "line {line}, column `{column}`: {given:.4} {unit} is given, and the other cells make it {settled:.4}"
                );
                Diagnostic::error("contradicting-cells", row.span, message)
                    .why("two things settle the carbonate system; a third must agree with them")
                    .hint("leave one of the cells blank, or check all of them")
            }
            Fault::Refused(refusal) => Diagnostic::error("no-answer", row.span, format!("line {line}: {refusal}"))
                .hint("check the decimal point and the units of the row"),
        }
    }
}

/// The species of a row: by two things given, a third held against them.
fn solved(constants: &Constants, totals: &[f64; IONS], had: Carbonates) -> Result<State, Fault> {
    let Carbonates { ph, alkalinity, carbon, log_co2 } = had;
    let state = match (alkalinity, ph, carbon, log_co2) {
        (Some(alkalinity), Some(ph), ..) => speciate(constants, totals, Known::PhAlkalinity { ph, alkalinity })?,
        (Some(alkalinity), None, Some(carbon), _) => {
            speciate(constants, totals, Known::AlkalinityCarbon { alkalinity, carbon })?
        }
        (Some(alkalinity), None, None, Some(log_co2)) => {
            speciate(constants, totals, Known::AlkalinityPressure { alkalinity, log_co2 })?
        }
        (None, Some(ph), Some(carbon), _) => speciate(constants, totals, Known::PhCarbon { ph, carbon })?,
        (None, Some(ph), None, Some(log_co2)) => speciate(constants, totals, Known::PhPressure { ph, log_co2 })?,
        (None, None, Some(carbon), Some(log_co2)) => of_carbon_and_pressure(constants, totals, carbon, log_co2)?,
        _ => return Err(Fault::Undefined(had)),
    };
    if let Some(given) = carbon.filter(|c| (c - state.carbon).abs() > AGREES * state.carbon.abs() + 1e-7) {
        let (given, settled) = (given * 1000.0, state.carbon * 1000.0);
        return Err(Fault::Contradicted { column: "inorganic_carbon", given, settled, unit: "mmol/kg" });
    }
    if let Some(given) = log_co2 {
        let settled = state.log_co2().unwrap_or(f64::NEG_INFINITY);
        if (given - settled).abs() > AGREES {
            return Err(Fault::Contradicted { column: "log10_co2_pressure", given, settled, unit: "(log10 of atm)" });
        }
    }
    Ok(state)
}

fn outcome(plan: &Plan, given: &Given) -> Result<[Option<f64>; OUTPUT.len()], Fault> {
    let mut state = solved(&given.constants, &given.totals, given.carbonates)?;
    if plan.open_air {
        let known = Known::AlkalinityPressure { alkalinity: state.alkalinity, log_co2: AIR };
        state = speciate(&given.constants, &given.totals, known)?;
    }
    let mut totals = given.totals;
    totals[CARBONATE] = state.carbon;
    let water = Water { celsius: 25.0, totals, alkalinity: state.alkalinity, ammonia: 0.0 };
    let warm = water.closed_with(&plan.warm)?;
    let [malachite, tenorite, hydroxide] = solubilities(&given.constants, &state);
    // Copper given as 0 has no free copper; copper not given is not known.
    let form = |place: usize| given.copper.then(|| state.of(place));
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
