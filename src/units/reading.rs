//! Reading a quantity that a person wrote: `"7 dKH"`, `"3,300 US gal"`, `"2 ft 3 in"`.

use super::quantities::{
    AmmoniaNitrogen, Angle, Area, Calcium, CarbonateHardness, CellConstant, Conductivity, ElectricCurrent,
    ElectricPotential, GeneralHardness, HeatFluxDensity, Length, Mass, MassConcentration, MassRate, Nitrate,
    NitriteIon, Phosphate, Ratio, Si, TemperatureInterval, ThermodynamicTemperature, Time, Velocity, Volume,
    VolumeRate,
};
use super::table::{self, Unit};

/// What a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the quantities")]
pub enum Kind {
    Length,
    Area,
    Volume,
    Mass,
    Temperature,
    TemperatureDifference,
    Conductivity,
    CarbonateHardness,
    GeneralHardness,
    Calcium,
    MassConcentration,
    Copper,
    Ammonia,
    Nitrite,
    Nitrate,
    Phosphate,
    Flow,
    Current,
    Voltage,
    CellConstant,
    Time,
    Share,
    Angle,
    Speed,
    Sunlight,
    MassRate,
    /// Printed in workings, never read from input.
    Printed,
}

impl Kind {
    /// The quantity in words, as in "a length".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Kind::Length => "length",
            Kind::Area => "area",
            Kind::Volume => "volume",
            Kind::Mass => "mass",
            Kind::Temperature => "temperature",
            Kind::TemperatureDifference => "temperature difference",
            Kind::Conductivity => "conductivity",
            Kind::CarbonateHardness => "carbonate hardness",
            Kind::GeneralHardness => "general hardness",
            Kind::Calcium => "calcium",
            Kind::MassConcentration => "mass concentration",
            Kind::Copper => "copper",
            Kind::Ammonia => "ammonia",
            Kind::Nitrite => "nitrite",
            Kind::Nitrate => "nitrate",
            Kind::Phosphate => "phosphate",
            Kind::Flow => "flow",
            Kind::Current => "current",
            Kind::Voltage => "voltage",
            Kind::CellConstant => "cell constant",
            Kind::Time => "time",
            Kind::Share => "share",
            Kind::Angle => "latitude",
            Kind::Speed => "speed",
            Kind::Sunlight => "sunlight",
            Kind::MassRate => "mass a day",
            Kind::Printed => "number",
        }
    }

    /// A quantity of this kind as one would write it.
    #[must_use]
    pub fn example(self) -> &'static str {
        match self {
            Kind::Length => "1.20 m",
            Kind::Area => "18.5 m2",
            Kind::Volume => "24.9 m3",
            Kind::Mass => "430 g",
            Kind::Temperature => "14 °C",
            Kind::TemperatureDifference => "3 °C",
            Kind::Conductivity => "420 µS/cm",
            Kind::CarbonateHardness => "7 dKH",
            Kind::GeneralHardness => "9 dGH",
            Kind::Calcium => "40 mg/L Ca",
            Kind::MassConcentration => "0.05 mg/L",
            Kind::Copper => "0.03 mg/L",
            Kind::Ammonia => "0.2 mg/L N",
            Kind::Nitrite => "0.05 mg/L NO2",
            Kind::Nitrate => "15 mg/L NO3",
            Kind::Phosphate => "0.1 mg/L PO4",
            Kind::Flow => "15 L/min",
            Kind::Current => "10 mA",
            Kind::Voltage => "24 V",
            Kind::CellConstant => "0.2 /cm",
            Kind::Time => "8 s",
            Kind::Share => "80 %",
            Kind::Angle => "55.2 °N",
            Kind::Speed => "2.4 m/s",
            Kind::Sunlight => "14 MJ/m2",
            Kind::MassRate => "120 g/day",
            Kind::Printed => "1",
        }
    }

    /// What two readings of a bare `mg/L` or `degrees` could mean, and how to write each.
    fn ambiguous(self, unit: &str) -> Option<(&'static str, &'static str)> {
        let mass = matches!(unit, "mg/l" | "ppm" | "g/m3" | "g/m³" | "µg/l" | "ug/l" | "ppb");
        let degrees = matches!(unit, "°" | "d" | "deg" | "degrees" | "degree" | "°d" | "°h");
        Some(match self {
            Kind::CarbonateHardness if mass => (
                "as CaCO₃ or as bicarbonate?",
                "write `mg/L CaCO3` or `mg/L HCO3`, whichever the test kit prints; they differ by a fifth",
            ),
            Kind::CarbonateHardness if degrees => {
                ("German, French or English degrees?", "write `dKH` for German degrees, or give mg/L CaCO3")
            }
            Kind::GeneralHardness if mass => {
                ("counted as CaCO₃?", "write `mg/L CaCO3` if the kit counts as calcium carbonate, as most do")
            }
            Kind::GeneralHardness if degrees => {
                ("German, French or English degrees?", "write `dGH` for German degrees, or give mg/L CaCO3")
            }
            Kind::Calcium if mass => (
                "as calcium, or as CaCO₃?",
                "write `mg/L Ca` or `mg/L CaCO3`, whichever the test kit prints; they differ 2.5-fold",
            ),
            Kind::Ammonia if mass => (
                "as nitrogen, as NH₃ or as NH₄?",
                "write `mg/L N`, `mg/L NH3` or `mg/L NH4`, whichever the test kit prints",
            ),
            Kind::Nitrite if mass => {
                ("as NO₂ or as nitrogen?", "write `mg/L NO2` or `mg/L NO2-N`; they differ 3.3-fold")
            }
            Kind::Nitrate if mass => {
                ("as NO₃ or as nitrogen?", "write `mg/L NO3` or `mg/L NO3-N`; they differ 4.4-fold")
            }
            Kind::Phosphate if mass => {
                ("as PO₄ or as phosphorus?", "write `mg/L PO4` or `mg/L PO4-P`; they differ threefold")
            }
            Kind::Volume if matches!(unit, "gal" | "gallon" | "gallons") => {
                ("US or imperial gallons?", "write `US gal` or `imp gal`; they differ by a fifth")
            }
            Kind::Flow if matches!(unit, "gal/day" | "gpd") => {
                ("US or imperial gallons?", "write `US gal/day` or `imp gal/day`; they differ by a fifth")
            }
            Kind::Flow if matches!(unit, "gal/min" | "gpm" | "gal/h" | "gph") => {
                ("US or imperial gallons?", "write `US gal/min` or `imp gal/min`; they differ by a fifth")
            }
            Kind::Angle if matches!(unit, "°w" | "°e" | "w" | "e") => {
                ("that is a longitude", "write the latitude, such as `51.4 °N` or `33.9 °S`")
            }
            _ => return None,
        })
    }
}

/// A quantity that may stand in a site file or a log.
pub trait Readable: Si {
    /// What it measures.
    const KIND: Kind;
}
macro_rules! readable {
    ($($type:ty => $kind:ident),* $(,)?) => { $(impl Readable for $type { const KIND: Kind = Kind::$kind; })* };
}
readable! {
    Length => Length, Area => Area, Volume => Volume, Mass => Mass, ThermodynamicTemperature => Temperature,
    TemperatureInterval => TemperatureDifference, Conductivity => Conductivity,
    CarbonateHardness => CarbonateHardness, GeneralHardness => GeneralHardness, Calcium => Calcium,
    MassConcentration => MassConcentration, AmmoniaNitrogen => Ammonia, NitriteIon => Nitrite, Nitrate => Nitrate,
    Phosphate => Phosphate, VolumeRate => Flow, ElectricCurrent => Current, ElectricPotential => Voltage,
    CellConstant => CellConstant,
    Time => Time, Ratio => Share, Angle => Angle, Velocity => Speed, HeatFluxDensity => Sunlight, MassRate => MassRate,
}

/// Why a text is not a quantity of the kind asked for. Byte ranges are within the text given.
#[derive(Clone, Debug, PartialEq)]
pub enum ReadError {
    /// Nothing there.
    Empty,
    /// No number where one should stand.
    NoNumber,
    /// A comma that is not a thousands separator.
    DecimalComma,
    /// A number and nothing after it.
    NoUnit,
    /// The unit could mean two things.
    Ambiguous {
        /// The unit as written.
        unit: String,
        /// The question it leaves open.
        question: &'static str,
        /// How to settle it.
        hint: &'static str,
    },
    /// The unit measures something else.
    OtherKind {
        /// The unit as written.
        unit: String,
        /// What it measures.
        measures: Kind,
    },
    /// No such unit.
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// The known spelling nearest to it.
        nearest: Option<&'static str>,
    },
}

/// A unit's spelling for comparison: no spaces, and without the `as` of `mg/L as CaCO3`.
fn folded(text: &str) -> String {
    text.split_whitespace().filter(|word| *word != "as").collect()
}

fn matches(unit: &Unit, written: &str) -> bool {
    let folded_symbol = folded(unit.symbol);
    if written == folded_symbol || unit.also.contains(&written) {
        return true;
    }
    // mS and MS, mA and MA would change size; every other unit may be written in any case.
    let case_matters = matches!(unit.symbol, "mS/cm" | "mA" | "A" | "K" | "mm" | "m");
    let lower = written.to_lowercase();
    !case_matters && (lower == folded_symbol.to_lowercase() || unit.also.contains(&lower.as_str()))
}

/// The unit of this kind with this spelling.
///
/// # Errors
/// [`ReadError::Ambiguous`], [`ReadError::OtherKind`] or [`ReadError::UnknownUnit`].
pub fn unit_named(kind: Kind, written: &str) -> Result<&'static Unit, ReadError> {
    let short = folded(written);
    if let Some(unit) = table::ALL.iter().find(|u| u.kind == kind && matches(u, &short)) {
        return Ok(unit);
    }
    if let Some((question, hint)) = kind.ambiguous(&short.to_lowercase()) {
        return Err(ReadError::Ambiguous { unit: written.trim().to_owned(), question, hint });
    }
    if let Some(other) = table::ALL.iter().find(|u| matches(u, &short)) {
        return Err(ReadError::OtherKind { unit: written.trim().to_owned(), measures: other.kind });
    }
    let nearest = table::ALL
        .iter()
        .filter(|u| u.kind == kind)
        .flat_map(|u| std::iter::once(u.symbol).chain(u.also.iter().copied()))
        .map(|name| (strsim::damerau_levenshtein(&folded(name).to_lowercase(), &short.to_lowercase()), name))
        .min_by_key(|(distance, _)| *distance)
        // At least half of the letters must be right: `metr` is metre, but `q` is not `m`.
        .filter(|(distance, name)| *distance <= 2 && *distance * 2 <= name.chars().count())
        .map(|(_, name)| name);
    Err(ReadError::UnknownUnit { unit: written.trim().to_owned(), nearest })
}

/// Splits `"3,300 US gal"` into its number and the rest.
fn split_number(text: &str) -> Result<(f64, &str), ReadError> {
    let text = text.trim_start();
    if text.is_empty() {
        return Err(ReadError::Empty);
    }
    let (negative, body) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let end = body.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',')).unwrap_or(body.len());
    let (digits, rest) = body.split_at(end);
    if digits.is_empty() || !digits.bytes().any(|b| b.is_ascii_digit()) {
        return Err(ReadError::NoNumber);
    }
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let groups: Vec<&str> = whole.split(',').collect();
    let grouped = groups.len() == 1
        || (groups.iter().skip(1).all(|g| g.len() == 3) && groups.first().is_some_and(|g| (1..=3).contains(&g.len())));
    if !grouped || fraction.contains(',') {
        return Err(ReadError::DecimalComma);
    }
    let cleaned: String = digits.chars().filter(|c| *c != ',').collect();
    // A power of ten may follow (`1.2e-3`), but not the start of a unit such as `e`.
    let (exponent, rest) = match rest.strip_prefix(['e', 'E']) {
        Some(tail) => {
            let len = tail.find(|c: char| !(c.is_ascii_digit() || c == '-' || c == '+')).unwrap_or(tail.len());
            let (power, after) = tail.split_at(len);
            match power.parse::<i32>() {
                Ok(_) => (format!("e{power}"), after),
                Err(_) => (String::new(), rest),
            }
        }
        None => (String::new(), rest),
    };
    let value: f64 = format!("{cleaned}{exponent}").parse().map_err(|_| ReadError::NoNumber)?;
    if !value.is_finite() {
        return Err(ReadError::NoNumber);
    }
    Ok((if negative { -value } else { value }, rest))
}

/// Whether `"2 ft 3 in"` may be written with these two units one after the other.
fn follows(first: &Unit, second: &Unit) -> bool {
    matches!((first.symbol, second.symbol), ("ft", "in") | ("lb", "oz") | ("h", "min") | ("min", "s") | ("m", "cm"))
}

/// Reads a quantity with its unit.
///
/// # Errors
/// A [`ReadError`] that says what is wrong; the caller knows whose number it was, and complains.
pub fn read<Q: Readable>(text: &str) -> Result<Q, ReadError> {
    read_si(Q::KIND, text).map(Q::from_si)
}

/// Reads a quantity of a kind known only at run time (a column of the log), as its SI value.
///
/// # Errors
/// As [`read`].
pub fn read_si(kind: Kind, text: &str) -> Result<f64, ReadError> {
    let (value, rest) = split_number(text)?;
    let rest = rest.trim();
    if rest.is_empty() {
        return Err(ReadError::NoUnit);
    }
    // A second number marks a compound such as feet and inches.
    let compound = rest
        .char_indices()
        .skip(1)
        .find(|(_, c)| c.is_ascii_digit())
        .filter(|(i, _)| rest.get(..*i).is_some_and(|head| head.ends_with(|c: char| c.is_whitespace() || c == '\'')))
        .map(|(i, _)| rest.split_at(i));
    if let Some((head, tail)) = compound {
        let first = unit_named(kind, head)?;
        let (second_value, second_rest) = split_number(tail)?;
        let second = unit_named(kind, second_rest)?;
        if follows(first, second) && value >= 0.0 && second_value >= 0.0 {
            return Ok(first.si(value) + second.si(second_value));
        }
        return Err(ReadError::UnknownUnit { unit: rest.to_owned(), nearest: None });
    }
    Ok(unit_named(kind, rest)?.si(value))
}

/// Reads a number that has no unit, such as a pH.
///
/// # Errors
/// A [`ReadError`]; whatever follows the number is an unknown unit.
pub fn read_number(text: &str) -> Result<f64, ReadError> {
    let (value, rest) = split_number(text)?;
    match rest.trim() {
        "" => Ok(value),
        unit => Err(ReadError::UnknownUnit { unit: unit.to_owned(), nearest: None }),
    }
}

/// Reads a bare number in a unit that stands elsewhere (a column's head).
///
/// # Errors
/// A [`ReadError`]; a unit beside the number is read too, and must be of the same kind.
pub fn read_in<Q: Readable>(text: &str, unit: &Unit) -> Result<Q, ReadError> {
    read_si_in(Q::KIND, text, unit).map(Q::from_si)
}

/// [`read_in`] for a kind known only at run time, as its SI value.
///
/// # Errors
/// As [`read_in`].
pub fn read_si_in(kind: Kind, text: &str, unit: &Unit) -> Result<f64, ReadError> {
    let (value, rest) = split_number(text)?;
    if rest.trim().is_empty() { Ok(unit.si(value)) } else { read_si(kind, text) }
}
