//! The readings of TRADE.md section 2: what each is called, what it measures, and what it can be.
//!
//! Site file and log share this table: `[supply]` writes the names with underscores, the log with spaces.

use crate::diag::Span;
pub(super) use crate::diag::{listed, nearest};
use crate::site::model::{Reading, Readings};
use crate::units::table as unit;
use crate::units::{Kind, Si, Unit};

/// What a number can be, in a unit people know. Outside `hard` it is refused, outside `usual` it is asked about.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    /// The unit of both ranges.
    pub unit: &'static Unit,
    /// What is possible.
    pub hard: (f64, f64),
    /// What is plausible, where TRADE.md section 2 gives a range.
    pub usual: Option<(f64, f64)>,
}

impl Bounds {
    pub(super) const fn new(unit: &'static Unit, low: f64, high: f64) -> Self {
        Self { unit, hard: (low, high), usual: None }
    }
    pub(super) const fn usual(mut self, low: f64, high: f64) -> Self {
        self.usual = Some((low, high));
        self
    }

    /// A number to write in its place, as an example: a time in the unit that is asked for.
    pub(super) fn example(&self, kind: Kind) -> &'static str {
        match (kind, self.unit.symbol) {
            (Kind::Time, "days") => "7 days",
            (Kind::Time, "h") => "5 h",
            _ => kind.example(),
        }
    }
}

/// One reading.
pub(super) struct Field {
    /// Its name in the log.
    pub name: &'static str,
    /// What it measures; `None` for pH, a number without unit.
    pub kind: Option<Kind>,
    /// What it can be.
    pub bounds: Bounds,
    /// Puts it in its place.
    pub set: fn(&mut Readings, f64, bool, Span),
    /// Whether it was measured.
    pub measured: fn(&Readings) -> bool,
}

fn reading<Q: Si>(si: f64, less_than: bool, span: Span) -> Option<Reading<Q>> {
    Some(Reading { value: Q::from_si(si), less_than, span })
}

macro_rules! field {
    ($name:literal, $field:ident, $kind:expr, $bounds:expr) => {
        Field {
            name: $name,
            kind: $kind,
            bounds: $bounds,
            set: |readings, si, less_than, span| readings.$field = reading(si, less_than, span),
            measured: |readings| readings.$field.is_some(),
        }
    };
}

const fn mg(high: f64) -> Bounds {
    Bounds::new(&unit::MILLIGRAMS, 0.0, high)
}
const COPPER: Bounds = Bounds::new(&unit::MICROGRAMS, 0.0, 100_000.0).usual(0.0, 500.0);
const CHLORINE: Bounds = mg(20.0).usual(0.0, 4.0);
const PH: Bounds = Bounds::new(&unit::ONE, 0.0, 14.0).usual(6.0, 10.0);
const MASS: Option<Kind> = Some(Kind::MassConcentration);

/// Usual ranges: TRADE.md section 2. Hard ranges: beyond what any fresh water, or sea water where that is more, can hold.
#[rustfmt::skip]
pub(super) static FIELDS: &[Field] = &[
    field!("temperature", temperature, Some(Kind::Temperature), Bounds::new(&unit::CELSIUS, -2.0, 45.0).usual(0.0, 35.0)),
    field!("carbonate hardness", carbonate_hardness, Some(Kind::CarbonateHardness), Bounds::new(&unit::DEGREE_KH, 0.0, 60.0).usual(0.0, 30.0)),
    field!("general hardness", general_hardness, Some(Kind::GeneralHardness), Bounds::new(&unit::DEGREE_GH, 0.0, 100.0).usual(0.0, 40.0)),
    field!("calcium", calcium, Some(Kind::Calcium), Bounds::new(&unit::CALCIUM_MG, 0.0, 700.0).usual(2.0, 200.0)),
    field!("magnesium", magnesium, MASS, mg(1_500.0)),
    field!("sodium", sodium, MASS, mg(12_000.0)),
    field!("potassium", potassium, MASS, mg(500.0)),
    field!("chloride", chloride, MASS, mg(20_000.0)),
    field!("sulfate", sulfate, MASS, mg(3_000.0)),
    field!("conductivity", conductivity, Some(Kind::Conductivity), Bounds::new(&unit::MICROSIEMENS, 0.0, 60_000.0).usual(30.0, 5_000.0)),
    field!("ph morning", ph_morning, None, PH),
    field!("ph afternoon", ph_afternoon, None, PH),
    field!("ammonia", ammonia, Some(Kind::Ammonia), Bounds::new(&unit::AMMONIA_N, 0.0, 200.0).usual(0.0, 8.0)),
    field!("nitrite", nitrite, Some(Kind::Nitrite), Bounds::new(&unit::NITRITE_ION, 0.0, 200.0).usual(0.0, 5.0)),
    field!("nitrate", nitrate, Some(Kind::Nitrate), Bounds::new(&unit::NITRATE_ION, 0.0, 2_000.0).usual(0.0, 200.0)),
    field!("phosphate", phosphate, Some(Kind::Phosphate), Bounds::new(&unit::PHOSPHATE_ION, 0.0, 200.0).usual(0.0, 10.0)),
    field!("total copper", total_copper, MASS, COPPER),
    field!("dissolved copper", dissolved_copper, MASS, COPPER),
    field!("oxygen at dawn", oxygen_dawn, MASS, mg(40.0).usual(2.0, 20.0)),
    field!("free chlorine", free_chlorine, MASS, CHLORINE),
    field!("total chlorine", total_chlorine, MASS, CHLORINE),
    field!("salt", salt, MASS, Bounds::new(&unit::GRAMS_PER_LITRE, 0.0, 40.0).usual(0.0, 10.0)),
];

/// The reading of this name, in the spelling of the log.
pub(super) fn field(name: &str) -> Option<&'static Field> {
    FIELDS.iter().find(|f| f.name == name)
}

/// A name of the trade that leaves a question open: what it could be, and why it matters.
pub(super) struct Vague {
    /// The names it could stand for.
    pub could_be: &'static [&'static str],
    /// Why the difference matters.
    pub why: &'static str,
    /// Whether its columns have no unit.
    pub bare: bool,
}

/// What a name leaves open: a reading with several forms, or one the trade knows under another word.
pub(super) fn vague(name: &str) -> Option<Vague> {
    let (could_be, why): (&'static [&'static str], &'static str) = match name {
        "copper" | "cu" => (
            &["total copper", "dissolved copper"],
            "each limit is for one of the two, and total is often several times dissolved",
        ),
        "free copper" => (
            &["total copper", "dissolved copper"],
            "no limit is for what the first stage of a two-stage kit shows, so it cannot be judged",
        ),
        "hardness" | "total hardness" | "degrees" => (
            &["carbonate hardness", "general hardness"],
            "carbonate hardness holds the pH, general hardness is calcium and magnesium; a softener parts them",
        ),
        "kh" | "alkalinity" | "alk" => (&["carbonate hardness"], "the log has one name for each reading"),
        "gh" => (&["general hardness"], "the log has one name for each reading"),
        "ec" | "tds" => (
            &["conductivity"],
            "a meter that shows dissolved solids multiplies conductivity by a factor of its own, so the conductivity is needed",
        ),
        "ph" => (&["ph morning", "ph afternoon"], "pH moves through the day, and ammonia is judged at the same hour"),
        "chlorine" => (
            &["free chlorine", "total chlorine"],
            "chloramine shows only in total chlorine, and harms fish as chlorine does",
        ),
        "oxygen" | "dissolved oxygen" => {
            (&["oxygen at dawn"], "oxygen is lowest just before daybreak; an afternoon reading says little")
        }
        "level" => (
            &["level set", "level reached", "level left"],
            "a panel that stops below the level it is set to tells of poor flow or of too few minerals",
        ),
        _ => return None,
    };
    Some(Vague { could_be, why, bare: matches!(name, "ph" | "level") })
}
