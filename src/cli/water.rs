//! `weirbook water`: a bench for one water without a site file, or a table of waters.

mod table;

use std::path::PathBuf;
use std::process::ExitCode;

use serde_json::{Map, Value, json};

use super::show;
use crate::chem::composition::{self, Composed, Readings, Trouble, compose};
use crate::chem::conductance::conductivity;
use crate::chem::gases;
use crate::chem::solution::{AIR, Chlorine, Water};
use crate::chem::speciation::{Constants, IONS, Refusal, State, beside};
use crate::diag::{Diagnostic, Diagnostics};
use crate::reference::chemistry::{
    self as chemistry, ADDITIONS, AGENTS, CALCITE, CALCIUM, CHLORIDE, COPPER, COPPER_HYDROXIDE, MAGNESIUM, MALACHITE,
    NITRATE, POTASSIUM, REACTIONS, SODIUM, SULFATE, TENORITE, species,
};
use crate::reference::{
    AMMONIA_PER_NITROGEN, COPPER_FLOOR_ALKALINITY, COPPER_FLOOR_CALCIUM, LASTING_BY_HARDNESS, LC50_BY_ALKALINITY,
    UNIONISED_LIMIT, WINDOW_HIGH_DKH, WINDOW_LOW_DKH, on_curve,
};
use crate::units::table::{CACO3, CHARGE_PER_DEGREE, weight};
use crate::units::{
    AmmoniaNitrogen, Calcium, CarbonateHardness, Conductivity, Digits, GeneralHardness, Kind, MassConcentration,
    Nitrate, ReadError, Readable, Si, ThermodynamicTemperature, plain, read, read_number, significant_down,
};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Carbonate hardness, all the alkalinity: "6 dKH", "107 mg/L CaCO3".
    #[arg(long, value_name = "QUANTITY")]
    carbonate_hardness: Option<String>,
    /// General hardness: "8 dGH".
    #[arg(long, value_name = "QUANTITY")]
    general_hardness: Option<String>,
    /// Calcium: "40 mg/L Ca".
    #[arg(long, value_name = "QUANTITY")]
    calcium: Option<String>,
    /// pH.
    #[arg(long, value_name = "NUMBER")]
    ph: Option<String>,
    /// Water temperature: "14 °C".
    #[arg(long, value_name = "QUANTITY")]
    temperature: Option<String>,
    /// Conductivity at 25 °C, as a pen shows it: "420 µS/cm".
    #[arg(long, value_name = "QUANTITY")]
    conductivity: Option<String>,
    /// Salt, counted as sodium chloride: "0.5 g/L". Its chloride counts; instead of --chloride.
    #[arg(long, value_name = "QUANTITY")]
    salt: Option<String>,
    /// Chloride: "45 mg/L".
    #[arg(long, value_name = "QUANTITY")]
    chloride: Option<String>,
    /// Sulfate, counted as SO4: "30 mg/L".
    #[arg(long, value_name = "QUANTITY")]
    sulfate: Option<String>,
    /// Nitrate: "15 mg/L NO3".
    #[arg(long, value_name = "QUANTITY")]
    nitrate: Option<String>,
    /// Total copper: "40 µg/L".
    #[arg(long, value_name = "QUANTITY")]
    copper: Option<String>,
    /// Total ammonia: "0.3 mg/L N".
    #[arg(long, value_name = "QUANTITY")]
    ammonia: Option<String>,
    /// Free chlorine, which a dechlorinator given with --add takes out: "0.8 mg/L".
    #[arg(long, value_name = "QUANTITY")]
    free_chlorine: Option<String>,
    /// Combined chlorine (chloramine), counted as chlorine: "1.5 mg/L".
    #[arg(long, value_name = "QUANTITY")]
    combined_chlorine: Option<String>,
    /// A substance to dissolve, by amount and formula: "50 g/m3 NaHCO3". May be given several times; each adds to the one before.
    #[arg(long = "add", value_name = "AMOUNT SUBSTANCE")]
    additions: Vec<String>,
    /// Brings the water to rest with air (417 ppm of carbon dioxide) at the end.
    #[arg(long)]
    open_air: bool,
    /// How to print one water; text without it.
    #[arg(long, value_enum)]
    format: Option<Format>,
    /// One water a row; `-` reads from standard input. Writes CSV to standard output.
    #[arg(long, value_name = "FILE.csv")]
    table: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Format {
    /// Tables to read.
    Text,
    /// One object.
    Json,
}

pub(super) const HELP: &str = r#"Examples:
  weirbook water --carbonate-hardness "6 dKH" --general-hardness "8 dGH" --ph 8.1 \
      --temperature "14 °C" --conductivity "420 µS/cm" --copper "40 µg/L" \
      --add "50 g/m3 NaHCO3" --open-air
  weirbook water --table waters.csv > answers.csv

Substances for --add, by formula or name:
  buffers           NaHCO3 (baking soda), KHCO3, Na2CO3, CaCO3, Ca(OH)2
  calcium           CaCl2 (the pure salt), CaCl2.2H2O (flake), CaSO4.2H2O (gypsum)
  salts             NaCl (salt), KCl, Na2SO4, MgSO4.7H2O (Epsom salt)
  dechlorinators    Na2S2O3.5H2O (sodium thiosulfate), Na2S2O3, Na2S2O5, Na2SO3, NaHSO3
  copper and acid   Cu (from the bars), CuSO4.5H2O, HCl

A table has one water a row, with units in square brackets:
  temperature [°C]                   always
  ph, alkalinity [meq/kg],           any two; a third must agree with them;
  inorganic_carbon [mmol/kg],        with a pressure the water stands open to it
  log10_co2_pressure [atm]
  calcium, magnesium, sodium,        nothing where blank or missing
  potassium, chloride, sulfate,
  nitrate [mmol/kg], copper [µg/kg]
Other units of the same quantities are read too (mg/L, mg/L CaCO3, dKH, °F...). Ions are taken as
they stand: nothing is closed or assumed. Other columns are carried through. --open-air brings
each water to rest with air. A row that has no answer keeps its carried columns, leaves the rest
blank, and is complained of by line and column; the exit code is then 2."#;

pub(super) fn run(arguments: &Arguments) -> ExitCode {
    if let Some(path) = &arguments.table {
        return table::run(path, arguments);
    }
    let mut complaints = Diagnostics::new();
    let answer = asked(arguments, &mut complaints).and_then(|asked| bench(&asked, &mut complaints));
    show(&[], &complaints);
    let Some(bench) = answer else { return ExitCode::from(2) };
    match arguments.format.unwrap_or(Format::Text) {
        Format::Text => super::say_line(format_args!("{}", text(&bench).trim_end())),
        Format::Json => match serde_json::to_string_pretty(&json(&bench)) {
            Ok(words) => super::say_line(format_args!("{words}")),
            Err(error) => return super::fail(1, Diagnostic::error("no-json", None, error.to_string())),
        },
    }
    ExitCode::SUCCESS
}

// From the command line to readings.

/// Something to dissolve.
enum Dose {
    Substance(&'static chemistry::Addition),
    Agent(&'static chemistry::Agent),
}

struct Addition {
    /// As it is printed.
    words: String,
    dose: Dose,
    /// kg/m³.
    amount: f64,
}

struct Asked {
    readings: Readings,
    /// mol/kg of nitrogen.
    ammonia: Option<f64>,
    chlorine: Chlorine,
    additions: Vec<Addition>,
    open_air: bool,
    /// kg/L, for per-litre units.
    density: f64,
}

fn misread(option: &str, text: &str, kind: Option<Kind>, error: &ReadError) -> Diagnostic {
    let example = kind.map_or("8.1", Kind::example);
    let say =
        |id, message: String| Diagnostic::error(id, None, message).hint(format!("write `--{option} \"{example}\"`"));
    match error {
        ReadError::Empty | ReadError::NoNumber => {
            say("no-number", format!("`--{option}` is `{text}`, which does not begin with a number"))
        }
        ReadError::DecimalComma => {
            say("decimal-comma", format!("`--{option}` is `{text}`, with a comma that is no thousands mark"))
                .hint("write a decimal point")
        }
        ReadError::NoUnit => say("number-without-unit", format!("`--{option}` is `{text}`, without a unit"))
            .why("the same number in another unit is another water"),
        ReadError::Ambiguous { question, hint, .. } => {
            say("ambiguous-unit", format!("`--{option}` is `{text}`: {question}")).hint(*hint)
        }
        ReadError::OtherKind { unit, measures } => {
            say("other-quantity", format!("`--{option}` is `{text}`, and `{unit}` is a unit of {}", measures.words()))
        }
        ReadError::UnknownUnit { unit, nearest } => {
            let out = say("unknown-unit", format!("`--{option}` is `{text}`, and `{unit}` is no unit of it"));
            match nearest {
                Some(near) => out.hint(format!("did you mean `{near}`?")),
                None => out,
            }
        }
    }
}

fn quantity<Q: Readable + Si>(option: &str, text: Option<&String>, complaints: &mut Diagnostics) -> Option<f64> {
    let text = text?;
    match read::<Q>(text.trim()) {
        Ok(value) if value.si() >= 0.0 => Some(value.si()),
        Ok(_) => {
            let message = format!("`--{option}` is `{text}`, which is below nothing");
            complaints.push(Diagnostic::error("impossible-value", None, message).hint("check the sign"));
            None
        }
        Err(error) => {
            complaints.push(misread(option, text, Some(Q::KIND), &error));
            None
        }
    }
}

/// A mass concentration, with or without the formula of what is counted behind it.
fn dissolved(option: &str, form: &str, text: Option<&String>, complaints: &mut Diagnostics) -> Option<f64> {
    let text = text?;
    let trimmed = text.trim();
    let bare = trimmed.strip_suffix(form).map_or(trimmed, str::trim_end);
    quantity::<MassConcentration>(option, Some(&bare.to_owned()), complaints)
}

fn needed(option: &str, example: &str, complaints: &mut Diagnostics) {
    let message = format!("`--{option}` is missing");
    let hint = format!("write `--{option} \"{example}\"`, or give a table of waters with `--table FILE.csv`");
    complaints
        .push(Diagnostic::error("missing-reading", None, message).why("without it the water is not known").hint(hint));
}

fn asked(arguments: &Arguments, complaints: &mut Diagnostics) -> Option<Asked> {
    let temperature = quantity::<ThermodynamicTemperature>("temperature", arguments.temperature.as_ref(), complaints);
    let alkalinity =
        quantity::<CarbonateHardness>("carbonate-hardness", arguments.carbonate_hardness.as_ref(), complaints);
    let ph = arguments.ph.as_ref().and_then(|text| match read_number(text) {
        Ok(value) => Some(value),
        Err(error) => {
            complaints.push(misread("ph", text, None, &error));
            None
        }
    });
    for (given, option, example) in [
        (arguments.temperature.is_some(), "temperature", "14 °C"),
        (arguments.carbonate_hardness.is_some(), "carbonate-hardness", "6 dKH"),
        (arguments.ph.is_some(), "ph", "8.1"),
        (arguments.general_hardness.is_some() || arguments.calcium.is_some(), "general-hardness", "8 dGH"),
    ] {
        if !given {
            needed(option, example, complaints);
        }
    }
    let hardness = quantity::<GeneralHardness>("general-hardness", arguments.general_hardness.as_ref(), complaints);
    let calcium = quantity::<Calcium>("calcium", arguments.calcium.as_ref(), complaints);
    let conductivity = quantity::<Conductivity>("conductivity", arguments.conductivity.as_ref(), complaints);
    let salt = dissolved("salt", "NaCl", arguments.salt.as_ref(), complaints);
    let chloride = dissolved("chloride", "Cl", arguments.chloride.as_ref(), complaints);
    if arguments.salt.is_some() && arguments.chloride.is_some() {
        complaints.push(
            Diagnostic::error("two-chlorides", None, "`--salt` and `--chloride` are both given")
                .why("salt is counted by its chloride, so that the two are one reading")
                .hint("leave out one of them"),
        );
    }
    let sulfate = dissolved("sulfate", "SO4", arguments.sulfate.as_ref(), complaints);
    let nitrate = quantity::<Nitrate>("nitrate", arguments.nitrate.as_ref(), complaints);
    let copper = dissolved("copper", "Cu", arguments.copper.as_ref(), complaints);
    let ammonia = quantity::<AmmoniaNitrogen>("ammonia", arguments.ammonia.as_ref(), complaints);
    let free = dissolved("free-chlorine", "Cl2", arguments.free_chlorine.as_ref(), complaints);
    let combined = dissolved("combined-chlorine", "Cl2", arguments.combined_chlorine.as_ref(), complaints);
    let additions: Vec<Option<Addition>> =
        arguments.additions.iter().map(|words| complaints.keep(addition(words))).collect();
    if complaints.any_error() {
        return None;
    }
    let celsius = temperature? - 273.15;
    let constants = match Constants::at(celsius) {
        Ok(constants) => constants,
        Err(refusal) => {
            complaints.push(refused(&refusal));
            return None;
        }
    };
    // Readings are per litre; a litre counts as the mass of as much pure water. That is right within 0.1 % under 2 g/L of salt.
    let density = constants.density;
    let per_kg = |mol_per_m3: f64| mol_per_m3 / (1000.0 * density);
    let by_weight = |kg_per_m3: f64, grams: f64| per_kg(1000.0 * kg_per_m3 / grams);
    let readings = Readings {
        celsius,
        ph: ph?,
        alkalinity: per_kg(alkalinity?),
        general_hardness: hardness.map(per_kg),
        calcium: calcium.map(per_kg),
        // The quantity is held in S/m; one is 10,000 µS/cm.
        conductivity: conductivity.map(|si| si * 1e4),
        chloride: chloride.map(|c| by_weight(c, weight::CL)).or(salt.map(|s| by_weight(s, weight::NA + weight::CL))),
        sulfate: sulfate.map(|s| by_weight(s, weight::S + 4.0 * weight::O)),
        nitrate: nitrate.map(|n| by_weight(n, weight::N + 3.0 * weight::O)),
        copper: copper.map(|c| by_weight(c, weight::CU)),
    };
    let chlorine = |c: Option<f64>| c.map_or(0.0, |c| by_weight(c, 2.0 * weight::CL));
    Some(Asked {
        readings,
        ammonia: ammonia.map(|n| by_weight(n, weight::N)),
        chlorine: Chlorine { free: chlorine(free), combined: chlorine(combined) },
        additions: additions.into_iter().flatten().collect(),
        open_air: arguments.open_air,
        density,
    })
}

fn addition(words: &str) -> Result<Addition, Diagnostic> {
    let known = || {
        let formulas: Vec<&str> = ADDITIONS.iter().map(|a| a.formula).chain(AGENTS.iter().map(|a| a.formula)).collect();
        format!("known are {}", formulas.join(", "))
    };
    let amount_hint = "write an amount, its unit and a formula, such as `50 g/m3 NaHCO3`";
    let mut unit_fault = None;
    for (at, _) in words.char_indices().filter(|(_, c)| c.is_whitespace()) {
        let (amount, name) = words.split_at(at);
        match read::<MassConcentration>(amount.trim()) {
            Ok(value) if value.si() < 0.0 => {
                let message = format!("`--add \"{words}\"` takes away");
                return Err(Diagnostic::error("impossible-value", None, message).hint(amount_hint));
            }
            Ok(value) => {
                let name = name.trim();
                // `of` may stand between amount and name.
                let name = name.strip_prefix("of ").unwrap_or(name).trim();
                let dose = match (chemistry::addition(name), chemistry::agent(name)) {
                    (Some(row), _) => Dose::Substance(row),
                    (None, Some(row)) => Dose::Agent(row),
                    (None, None) if name.is_empty() => continue,
                    (None, None) => {
                        let message = format!("`--add \"{words}\"`: no substance is called `{name}`");
                        let hint = match chemistry::nearest_substance(name) {
                            Some(near) => format!("did you mean `{near}`? {}", known()),
                            None => known(),
                        };
                        return Err(Diagnostic::error("unknown-substance", None, message).hint(hint));
                    }
                };
                let called = match dose {
                    Dose::Substance(row) => row.name,
                    Dose::Agent(row) => row.name,
                };
                return Ok(Addition { words: format!("{} of {called}", amount.trim()), dose, amount: value.si() });
            }
            Err(error) => unit_fault = Some(error),
        }
    }
    let message = match unit_fault {
        Some(ReadError::UnknownUnit { unit, .. } | ReadError::OtherKind { unit, .. }) => {
            format!("`--add \"{words}\"`: `{unit}` is no unit of mass in a volume of water")
        }
        _ => format!("`--add \"{words}\"` is no amount of a substance"),
    };
    Err(Diagnostic::error("no-amount", None, message).hint(amount_hint))
}

// From readings to waters.

/// A water at one stage.
struct Stage {
    name: String,
    water: Water,
    state: State,
    conductivity: f64,
    conductivity_25: f64,
    /// µg/kg over malachite, tenorite, fresh hydroxide.
    solubility: [Option<f64>; 3],
}

struct Bench {
    composed: Composed,
    measured: Option<f64>,
    stages: Vec<Stage>,
    chlorine: Chlorine,
    density: f64,
    ammonia: bool,
}

const COPPER_SOLIDS: [(usize, &str); 3] =
    [(MALACHITE, "malachite"), (TENORITE, "tenorite"), (COPPER_HYDROXIDE, "fresh copper hydroxide")];

fn refused(refusal: &Refusal) -> Diagnostic {
    Diagnostic::error("outside-the-chemistry", None, refusal.to_string())
        .why("beyond it no equation that is used here was fitted, and no number would be better than a wrong one")
        .hint("check the decimal point and the unit of each reading")
}

/// µg of copper per kg that stay dissolved beside each copper solid.
fn solubilities(constants: &Constants, state: &State) -> [Option<f64>; 3] {
    COPPER_SOLIDS.map(|(solid, _)| beside(constants, state, solid).ok().map(|s| s.total(COPPER) * weight::CU * 1e6))
}

fn stage(name: String, water: Water, state: State) -> Result<Stage, Refusal> {
    let constants = Constants::at(water.celsius)?;
    let solubility = solubilities(&constants, &state);
    Ok(Stage {
        name,
        water,
        conductivity: conductivity(&state),
        conductivity_25: water.conductivity_25()?,
        state,
        solubility,
    })
}

fn bench(asked: &Asked, complaints: &mut Diagnostics) -> Option<Bench> {
    let composed = match compose(&asked.readings) {
        Ok(composed) => composed,
        Err(trouble) => {
            complaints.push(match trouble {
                Trouble::Disagree(found) => Diagnostic::error("readings-disagree", None, found.to_string())
                    .why("a dose worked out from them would be wrong by as much")
                    .hint(format!("test {} again first, then {}", found.again.words(), other(&found).words())),
                Trouble::Missing(reading) => {
                    Diagnostic::error("missing-reading", None, format!("{} is missing", reading.words()))
                        .hint("test it, or give calcium instead")
                }
                Trouble::Refused(refusal) => refused(&refusal),
            });
            return None;
        }
    };
    let made = stages(asked, &composed);
    match made {
        Ok((stages, chlorine)) => Some(Bench {
            measured: asked.readings.conductivity,
            composed,
            stages,
            chlorine,
            density: asked.density,
            ammonia: asked.ammonia.is_some() || asked.chlorine.combined > 0.0,
        }),
        Err(refusal) => {
            complaints.push(refused(&refusal));
            None
        }
    }
}

fn other(found: &composition::Disagreement) -> composition::Reading {
    if found.again == found.between.0 { found.between.1 } else { found.between.0 }
}

fn stages(asked: &Asked, composed: &Composed) -> Result<(Vec<Stage>, Chlorine), Refusal> {
    let mut water = composed.water;
    water.ammonia = asked.ammonia.unwrap_or(0.0);
    let mut chlorine = asked.chlorine;
    let mut stages = vec![stage("as read".to_owned(), water, composed.state.clone())?];
    for addition in &asked.additions {
        // kg/m³ is g/L.
        let grams_per_kg = addition.amount / asked.density;
        water = match addition.dose {
            Dose::Substance(row) => water.with(row, grams_per_kg / row.molar_mass),
            Dose::Agent(row) => {
                let (after, left) = water.dechlorinated(row, grams_per_kg / row.molar_mass, chlorine);
                chlorine = left;
                after
            }
        };
        stages.push(stage(format!("then {}, closed to the air", addition.words), water, water.closed()?)?);
    }
    if asked.open_air {
        let (water, state) = water.opened(AIR)?;
        stages.push(stage("then at rest with air".to_owned(), water, state)?);
    }
    Ok((stages, chlorine))
}

// Limits.

/// What must not be passed in a water, mg/L.
struct Limits {
    /// Total copper at no moment over this.
    stop: Option<f64>,
    /// Dissolved copper, mean over 28 days.
    lasting: Option<f64>,
    /// Total ammonia as nitrogen at which the un-ionised part reaches its limit.
    ammonia: f64,
}

fn limits(stage: &Stage) -> Limits {
    let density = stage_density(stage);
    let mg = |mol_per_kg: f64| mol_per_kg * density * CACO3 * 1000.0;
    let alkalinity = mg(0.5 * stage.state.alkalinity);
    let calcium = mg(stage.water.totals[CALCIUM]);
    let general = mg(stage.water.totals[CALCIUM] + stage.water.totals[MAGNESIUM]);
    let floors = alkalinity >= COPPER_FLOOR_ALKALINITY && calcium >= COPPER_FLOOR_CALCIUM;
    let pentahydrate = weight::CU / 249.677;
    let stop = on_curve(alkalinity.min(calcium), &LC50_BY_ALKALINITY)
        .map(|lc50| (0.1 * lc50).min(alkalinity / 100.0 * pentahydrate));
    let share = gases::unionised_share(stage.state.ph, stage.state.celsius);
    Limits {
        stop: stop.filter(|_| floors),
        lasting: on_curve(general.min(calcium), &LASTING_BY_HARDNESS).filter(|_| floors),
        ammonia: UNIONISED_LIMIT / (AMMONIA_PER_NITROGEN * share),
    }
}

fn stage_density(stage: &Stage) -> f64 {
    crate::chem::activity::density(stage.water.celsius)
}

// Words.

const HONESTY: [&str; 3] = [
    "Organic matter is not modelled. In a pond it binds most of the copper, so that free copper here is an upper bound, and total dissolved copper may pass the solubilities.",
    "Accuracy to expect: conductivity 2 to 4 %, pH no better than the 0.05 of a good meter; copper's forms differ up to threefold between two respected sets of constants, and its solids by another 0.3 (log10) in cold water.",
    "Malachite and tenorite form slowly; copper fresh from the bars meets fresh hydroxide first. Lime may stay away up to an index of 0.5 to 1 for days.",
];

const CO2: usize = species("CO2");

/// The forms of copper that are listed, with their names.
const COPPER_FORMS: [(&str, usize); 9] = [
    ("Cu2+ (free)", COPPER),
    ("CuOH+", species("CuOH+")),
    ("Cu(OH)2", species("Cu(OH)2")),
    ("Cu(OH)3-", species("Cu(OH)3-")),
    ("CuCO3", species("CuCO3")),
    ("Cu(CO3)2 2-", species("Cu(CO3)2-2")),
    ("CuHCO3+", species("CuHCO3+")),
    ("CuSO4", species("CuSO4")),
    ("CuCl+", species("CuCl+")),
];

const ION_NAMES: [(&str, usize, f64); 8] = [
    ("calcium", CALCIUM, weight::CA),
    ("magnesium", MAGNESIUM, weight::MG),
    ("sodium", SODIUM, weight::NA),
    ("potassium", POTASSIUM, weight::K),
    ("chloride", CHLORIDE, weight::CL),
    ("sulfate", SULFATE, weight::S + 4.0 * weight::O),
    ("nitrate", NITRATE, weight::N + 3.0 * weight::O),
    ("copper", COPPER, weight::CU),
];

/// To three digits; very small numbers by their power of ten.
fn figure(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if value.abs() < 1e-4 {
        return format!("{value:.2e}");
    }
    plain(value, Digits::Significant(3))
}

/// A share in whole per cent.
fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.005 { "<1%".to_owned() } else { format!("{:.0}%", 100.0 * share) }
}

/// A limit, never rounded up.
fn limit(value: f64) -> String {
    plain(significant_down(value, 2), Digits::Significant(2))
}

struct Lines {
    out: String,
}

impl Lines {
    fn title(&mut self, words: &str) {
        self.out.push_str(&format!("\n{words}\n"));
    }

    fn row(&mut self, name: &str, cells: impl IntoIterator<Item = String>) {
        let pad = 36_usize.saturating_sub(name.chars().count());
        self.out.push_str(&format!("  {name}{}", " ".repeat(pad)));
        for cell in cells {
            let pad = 11_usize.saturating_sub(cell.chars().count());
            self.out.push_str(&format!(" {}{cell}", " ".repeat(pad)));
        }
        self.out.push('\n');
    }
}

fn text(bench: &Bench) -> String {
    let stages = &bench.stages;
    let mut lines = Lines { out: String::new() };
    for (n, stage) in stages.iter().enumerate() {
        lines.out.push_str(&format!("{}  {}\n", n + 1, stage.name));
    }
    if stages.len() > 1 {
        lines.out.push('\n');
        lines.row("", (1..=stages.len()).map(|n| n.to_string()));
    }
    let each = |f: &dyn Fn(&Stage) -> String| stages.iter().map(f).collect::<Vec<_>>();
    let litre = |s: &Stage, mol: f64| mol * stage_density(s);
    lines.title("the water");
    lines.row("temperature, °C", each(&|s| plain(s.state.celsius, Digits::Places(1))));
    lines.row("pH", each(&|s| plain(s.state.ph, Digits::Places(2))));
    let degrees = |s: &Stage, charge: f64| plain(litre(s, charge) * 1000.0 / CHARGE_PER_DEGREE, Digits::Places(2));
    lines.row("carbonate hardness, °dKH", each(&|s| degrees(s, s.state.alkalinity)));
    lines.row(
        "general hardness, °dGH",
        each(&|s| degrees(s, 2.0 * (s.water.totals[CALCIUM] + s.water.totals[MAGNESIUM]))),
    );
    lines.row("conductivity at 25 °C, µS/cm", each(&|s| plain(s.conductivity_25, Digits::Places(0))));
    lines.row("conductivity as it is, µS/cm", each(&|s| plain(s.conductivity, Digits::Places(0))));
    lines.row(
        "carbon dioxide, mg/L",
        each(&|s| figure(litre(s, s.state.of(CO2)) * 1000.0 * (weight::C + 2.0 * weight::O))),
    );
    lines.row(
        "carbon dioxide, times that of air",
        each(&|s| s.state.log_co2().map_or_else(|| "0".to_owned(), |p| figure(libm::pow(10.0, p - AIR)))),
    );
    lines.row("ionic strength, mol/kg", each(&|s| figure(s.state.ionic_strength)));
    lines.title("composition, mg/L");
    for (name, ion, grams) in ION_NAMES {
        if stages.iter().any(|s| s.water.totals[ion] > 0.0) {
            lines.row(name, each(&|s| figure(litre(s, s.water.totals[ion]) * grams * 1000.0)));
        }
    }
    lines.title("species, mmol/kg");
    for place in 0..IONS + REACTIONS.len() {
        let name = name_of(place);
        if name.starts_with("Cu") || !stages.iter().any(|s| s.state.of(place) > 0.0) {
            continue;
        }
        lines.row(name, each(&|s| figure(s.state.of(place) * 1000.0)));
    }
    lines.title("saturation (log10; above 0 it may come down)");
    lines.row("lime (calcite)", each(&|s| index(s.state.saturation(CALCITE))));
    if stages.iter().any(|s| s.water.totals[COPPER] > 0.0) {
        for (solid, name) in COPPER_SOLIDS {
            lines.row(name, each(&|s| index(s.state.saturation(solid))));
        }
        lines.title("copper forms, µg/L (share of all)");
        for (name, place) in COPPER_FORMS {
            if !stages.iter().any(|s| s.state.of(place) > 0.0) {
                continue;
            }
            lines.row(
                name,
                each(&|s| {
                    let total = s.state.total(COPPER);
                    let share = if total > 0.0 { s.state.of(place) / total } else { 0.0 };
                    let micro = litre(s, s.state.of(place)) * weight::CU * 1e6;
                    format!("{} {:>4}", figure(micro), percent(share))
                }),
            );
        }
    }
    lines.title("copper that stays dissolved beside, µg/L");
    for (n, (_, name)) in COPPER_SOLIDS.iter().enumerate() {
        lines.row(
            name,
            each(&|s| {
                s.solubility[n]
                    .map_or_else(|| "no limit".to_owned(), |c| plain(c * stage_density(s), Digits::Significant(3)))
            }),
        );
    }
    lines.title("ammonia and oxygen");
    let share = |s: &Stage| gases::unionised_share(s.state.ph, s.state.celsius);
    lines.row("un-ionised share of ammonia, %", each(&|s| figure(100.0 * share(s))));
    if bench.ammonia {
        lines.row("total ammonia, mg/L N", each(&|s| figure(litre(s, s.water.ammonia) * weight::N * 1000.0)));
        lines.row(
            "un-ionised ammonia, mg/L NH3",
            each(&|s| figure(litre(s, s.water.ammonia) * (weight::N + 3.0 * weight::H) * 1000.0 * share(s))),
        );
    }
    lines.row("oxygen at rest with air, mg/L", each(&|s| plain(gases::oxygen(s.state.celsius), Digits::Places(1))));
    lines.title("limits");
    let limits: Vec<Limits> = stages.iter().map(limits).collect();
    let copper = |c: Option<f64>| c.map_or_else(|| "no copper".to_owned(), limit);
    lines.row("copper, stop (total), mg/L", limits.iter().map(|l| copper(l.stop)));
    lines.row("copper, watch (total), mg/L", limits.iter().map(|l| copper(l.stop.map(|s| 0.5 * s))));
    lines.row("copper, mean of 28 days, mg/L", limits.iter().map(|l| copper(l.lasting)));
    lines.row("total ammonia at its limit, mg/L N", limits.iter().map(|l| limit(l.ammonia)));
    lines.row(
        "window of carbonate hardness",
        each(&|s| {
            let degrees = litre(s, s.state.alkalinity) * 1000.0 / CHARGE_PER_DEGREE;
            if degrees < WINDOW_LOW_DKH {
                "below".to_owned()
            } else if degrees < WINDOW_HIGH_DKH {
                "inside".to_owned()
            } else {
                "above".to_owned()
            }
        }),
    );
    lines.title("assumed");
    for closure in &bench.composed.closures {
        let (words, instead) = closure.words(bench.density);
        lines.out.push_str(&format!("  {words} (measure instead: {instead})\n"));
    }
    if let Some(measured) = bench.measured {
        lines.out.push_str(&format!(
            "  conductivity at 25 °C: {measured:.0} µS/cm measured, {:.0} from the readings, {:.0} once closed; misfit {} %\n",
            bench.composed.conductivity_read,
            bench.composed.conductivity,
            plain(100.0 * bench.composed.misfit.unwrap_or(0.0), Digits::Places(1))
        ));
    }
    lines.title("notes");
    for note in notes(bench) {
        for (n, line) in super::complaints::wrapped(&note, 92).into_iter().enumerate() {
            lines.out.push_str(&format!("  {}{line}\n", if n == 0 { "- " } else { "  " }));
        }
    }
    let worst = stages.iter().map(|s| s.state.residual).fold(0.0, f64::max);
    let steps: Vec<String> = stages.iter().map(|s| s.state.iterations.to_string()).collect();
    lines
        .out
        .push_str(&format!("  - Newton steps: {}; largest residual of a balance {worst:.1e}.\n", steps.join(", ")));
    lines.out
}

fn notes(bench: &Bench) -> Vec<String> {
    let mut notes = Vec::new();
    if bench.stages.last().is_some_and(|s| composition::is_softened(&s.water)) {
        notes.push(
            "Softened water: its hardness is gone and its carbonate hardness kept. It does not protect fish from copper, whatever its carbonate hardness (CU-50, CU-51); calcium does."
                .to_owned(),
        );
    }
    if bench.chlorine.free + bench.chlorine.combined > 1e-9 {
        notes.push("Chlorine is left in this water: no dechlorinator, or too little of it, was added.".to_owned());
    }
    notes.extend(HONESTY.iter().map(|n| (*n).to_owned()));
    notes
}

fn index(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |v| plain(v, Digits::Places(2)))
}

fn name_of(place: usize) -> &'static str {
    match chemistry::IONS.get(place) {
        Some(ion) => ion.name,
        None => REACTIONS.get(place - IONS).map_or("", |r| r.name),
    }
}

// Figures for programs.

fn json(bench: &Bench) -> Value {
    let stages: Vec<Value> = bench
        .stages
        .iter()
        .map(|s| {
            let milli: Map<String, Value> = ION_NAMES
                .iter()
                .map(|(name, ion, _)| ((*name).to_owned(), json!(s.water.totals[*ion] * 1000.0)))
                .collect();
            let species: Map<String, Value> = (0..IONS + REACTIONS.len())
                .map(|place| (name_of(place).to_owned(), json!(s.state.of(place))))
                .collect();
            let saturation: Map<String, Value> = std::iter::once((CALCITE, "calcite"))
                .chain(COPPER_SOLIDS)
                .map(|(solid, name)| (name.to_owned(), json!(s.state.saturation(solid))))
                .collect();
            let solubility: Map<String, Value> =
                COPPER_SOLIDS.iter().zip(s.solubility).map(|((_, name), c)| ((*name).to_owned(), json!(c))).collect();
            let limits = limits(s);
            let share = gases::unionised_share(s.state.ph, s.state.celsius);
            let nitrogen = s.water.ammonia * stage_density(s) * weight::N * 1000.0;
            json!({
                "name": s.name,
                "temperature_celsius": s.state.celsius,
                "ph": s.state.ph,
                "alkalinity_meq_per_kg": s.state.alkalinity * 1000.0,
                "inorganic_carbon_mmol_per_kg": s.state.carbon * 1000.0,
                "log10_co2_pressure_atm": s.state.log_co2(),
                "ionic_strength_mol_per_kg": s.state.ionic_strength,
                "charge_balance_meq_per_kg": s.state.charge() * 1000.0,
                "conductivity_us_per_cm": s.conductivity,
                "conductivity_25_us_per_cm": s.conductivity_25,
                "composition_mmol_per_kg": milli,
                "species_mol_per_kg": species,
                "saturation_index": saturation,
                "copper_solubility_ug_per_kg": solubility,
                "unionised_ammonia_share": share,
                "total_ammonia_mg_per_l_n": nitrogen,
                "unionised_ammonia_mg_per_l_nh3": nitrogen * AMMONIA_PER_NITROGEN * share,
                "oxygen_at_rest_with_air_mg_per_l": gases::oxygen(s.state.celsius),
                "limits": {
                    "copper_stop_total_mg_per_l": limits.stop,
                    "copper_watch_total_mg_per_l": limits.stop.map(|c| 0.5 * c),
                    "copper_mean_28_days_dissolved_mg_per_l": limits.lasting,
                    "total_ammonia_mg_per_l_n": limits.ammonia,
                },
                "softened": composition::is_softened(&s.water),
                "iterations": s.state.iterations,
                "residual": s.state.residual,
            })
        })
        .collect();
    let assumed: Vec<Value> = bench
        .composed
        .closures
        .iter()
        .map(|closure| {
            let (words, instead) = closure.words(bench.density);
            json!({ "assumed": words, "measure_instead": instead })
        })
        .collect();
    json!({
        "stages": stages,
        "assumptions": assumed,
        "conductivity_25_measured_us_per_cm": bench.measured,
        "conductivity_25_from_readings_us_per_cm": bench.composed.conductivity_read,
        "conductivity_25_closed_us_per_cm": bench.composed.conductivity,
        "conductivity_misfit_share": bench.composed.misfit,
        "notes": notes(bench),
    })
}
