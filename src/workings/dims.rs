//! The units of a keyed number, taken apart, and the factors between two sets of them.
//!
//! A printed number is so many of a product of units. Where the operands of a line do not come out in the unit of its
//! result, the factors between them are printed, each with its own unit (`3.78541 L/US gal`), so that an auditor can
//! look every one of them up.

use crate::units::{Kind, Unit};

/// What a single unit measures. Two units of one dimension differ by a factor only.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Dimension {
    /// Substance in a volume; all degrees of hardness.
    Molar,
    /// Mass in a volume.
    MassIn,
    Length,
    Volume,
    Mass,
    Amount,
    Time,
    Charge,
    Conductivity,
    Warmth,
    /// Anything else: it meets only its like.
    Other,
}

/// A unit that is not a product of others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Atom {
    dimension: Dimension,
    symbol: &'static str,
    /// SI units in one.
    size: f64,
}

const fn atom(dimension: Dimension, symbol: &'static str, size: f64) -> Atom {
    Atom { dimension, symbol, size }
}

const LITRE: Atom = atom(Dimension::Volume, "L", 1e-3);
const CUBIC_METRE: Atom = atom(Dimension::Volume, "m³", 1.0);
const MILLIGRAM: Atom = atom(Dimension::Mass, "mg", 1e-6);
const GRAM: Atom = atom(Dimension::Mass, "g", 1e-3);
const MILLIMOLE: Atom = atom(Dimension::Amount, "mmol", 1e-3);
const MOLE: Atom = atom(Dimension::Amount, "mol", 1.0);
const SECOND: Atom = atom(Dimension::Time, "s", 1.0);
const DAY: Atom = atom(Dimension::Time, "days", 86_400.0);
const YEAR: Atom = atom(Dimension::Time, "years", 365.0 * 86_400.0);
const MICROSIEMENS: Atom = atom(Dimension::Conductivity, "µS/cm", 1e-4);
const MILLIMOLAR: Atom = atom(Dimension::Molar, "mmol/L", 1.0);

/// A product of units with their powers.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Dims {
    list: [Option<(Atom, i8)>; MOST],
}

/// More units than any line has.
const MOST: usize = 10;

impl Dims {
    fn with(mut self, atom: Atom, power: i8) -> Dims {
        for slot in &mut self.list {
            match slot {
                Some((held, powers)) if *held == atom => {
                    *powers += power;
                    if *powers == 0 {
                        *slot = None;
                    }
                    return self;
                }
                _ => {}
            }
        }
        if power != 0
            && let Some(slot) = self.list.iter_mut().find(|slot| slot.is_none())
        {
            *slot = Some((atom, power));
        }
        self
    }

    /// The units of one unit.
    pub(super) fn of(unit: &Unit) -> Dims {
        let one = |dimension| Dims::default().with(atom(dimension, unit.symbol, unit.size), 1);
        let dims = match unit.kind {
            Kind::Length => one(Dimension::Length),
            Kind::Area if unit.symbol == "m²" => Dims::default().with(atom(Dimension::Length, "m", 1.0), 2),
            Kind::Area if unit.symbol == "ft²" => Dims::default().with(atom(Dimension::Length, "ft", 0.3048), 2),
            Kind::Volume => one(Dimension::Volume),
            Kind::Mass => one(Dimension::Mass),
            Kind::Temperature | Kind::TemperatureDifference => one(Dimension::Warmth),
            Kind::Conductivity => one(Dimension::Conductivity),
            Kind::CarbonateHardness | Kind::GeneralHardness | Kind::Calcium => one(Dimension::Molar),
            Kind::MassConcentration
            | Kind::Copper
            | Kind::Ammonia
            | Kind::Nitrite
            | Kind::Nitrate
            | Kind::Phosphate => one(Dimension::MassIn),
            Kind::Time => one(Dimension::Time),
            Kind::Share if unit.size == 1.0 => Dims::default(),
            Kind::Flow => flow(unit),
            Kind::Current => {
                let symbol = if unit.symbol == "mA" { "mC" } else { "C" };
                Dims::default().with(atom(Dimension::Charge, symbol, unit.size), 1).with(SECOND, -1)
            }
            Kind::Printed => printed(unit),
            _ => one(Dimension::Other),
        };
        // A unit taken apart wrongly would print a factor that is none.
        if (dims.size() / unit.size - 1.0).abs() < 1e-9 { dims } else { one(Dimension::Other) }
    }

    /// SI units in one.
    pub(super) fn size(&self) -> f64 {
        self.entries().map(|(atom, power)| libm::pow(atom.size, f64::from(power))).product()
    }

    fn entries(&self) -> impl Iterator<Item = (Atom, i8)> {
        self.list.iter().flatten().copied()
    }

    pub(super) fn is_none(&self) -> bool {
        self.entries().next().is_none()
    }

    /// Whether the two differ by a factor only.
    pub(super) fn is_like(&self, other: &Dims) -> bool {
        let difference = self.times(other, -1);
        let mut left = difference;
        meet(&mut left, &mut Vec::new());
        left.is_none()
    }

    pub(super) fn times(self, other: &Dims, power: i8) -> Dims {
        other.entries().fold(self, |dims, (atom, powers)| dims.with(atom, powers * power))
    }

    fn find(&self, wanted: impl Fn(Atom, i8) -> bool) -> Option<(Atom, i8)> {
        self.entries().find(|&(atom, power)| wanted(atom, power))
    }
}

/// `US gal/min`: a volume in a time.
fn flow(unit: &Unit) -> Dims {
    let (volume, time) = match unit.symbol {
        "L/s" => (LITRE, SECOND),
        "L/min" => (LITRE, atom(Dimension::Time, "min", 60.0)),
        "L/day" => (LITRE, DAY),
        "m³/h" => (CUBIC_METRE, atom(Dimension::Time, "h", 3600.0)),
        "US gal/min" => (atom(Dimension::Volume, "US gal", unit.size * 60.0), atom(Dimension::Time, "min", 60.0)),
        "imp gal/min" => (atom(Dimension::Volume, "imp gal", unit.size * 60.0), atom(Dimension::Time, "min", 60.0)),
        _ => return Dims::default().with(atom(Dimension::Other, unit.symbol, unit.size), 1),
    };
    Dims::default().with(volume, 1).with(time, -1)
}

/// Units that are printed only.
fn printed(unit: &Unit) -> Dims {
    let none = Dims::default();
    let mass_in = |symbol, size| none.with(atom(Dimension::MassIn, symbol, size), 1);
    match unit.symbol {
        "g/mol" => none.with(GRAM, 1).with(MOLE, -1),
        "mol" => none.with(MOLE, 1),
        "mmol/L" => none.with(MILLIMOLAR, 1),
        "C/mol" => none.with(atom(Dimension::Charge, "C", 1.0), 1).with(MOLE, -1),
        "Ah" => none.with(atom(Dimension::Charge, "Ah", 3600.0), 1),
        "g a day" => none.with(GRAM, 1).with(DAY, -1),
        "g a year" => none.with(GRAM, 1).with(YEAR, -1),
        "oz a year" => none.with(atom(Dimension::Mass, "oz", unit.size * YEAR.size), 1).with(YEAR, -1),
        "mg/L a day" => mass_in("mg/L", 1e-3).with(DAY, -1),
        "ppm a day" => mass_in("ppm", 1e-3).with(DAY, -1),
        "µg/L a day" => mass_in("µg/L", 1e-6).with(DAY, -1),
        "ppb a day" => mass_in("ppb", 1e-6).with(DAY, -1),
        "mg/L a µS/cm" => mass_in("mg/L", 1e-3).with(MICROSIEMENS, -1),
        "ppm a µS/cm" => mass_in("ppm", 1e-3).with(MICROSIEMENS, -1),
        "a day" => none.with(DAY, -1),
        "S cm²/mol" => none.with(MICROSIEMENS, 1).with(MILLIMOLAR, -1),
        _ => none.with(atom(Dimension::Other, unit.symbol, unit.size), 1),
    }
}

/// A factor between units as it is keyed: ` × 3.78541 L/US gal`, ` / 28.3495 g/oz`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Factor {
    /// Multiplied, else divided.
    pub(super) times: bool,
    /// The number.
    pub(super) number: f64,
    /// What it counts, and what it counts it for. Empty for a factor that has no name.
    label: (&'static str, &'static str),
    /// What it is between: factors are keyed in this order.
    dimension: Dimension,
}

impl Factor {
    /// Its unit, without a plain space in it.
    pub(super) fn label(&self) -> String {
        let (counted, each) = self.label;
        if each.is_empty() {
            return counted.to_owned();
        }
        let simple = |symbol: &str| !symbol.contains(['/', ' ']);
        let words = match each {
            "days" => "day",
            "years" => "year",
            other => other,
        };
        let joint = if simple(counted) && (simple(each) || each.ends_with(" gal")) { "/" } else { " per " };
        format!("{counted}{joint}{words}").replace(' ', "\u{a0}")
    }
}

/// The factors that lead from some units to others; none where they are the same.
pub(super) fn factors(from: &Dims, to: &Dims) -> Vec<Factor> {
    let ratio = from.size() / to.size();
    let difference = from.times(to, -1);
    if difference.is_none() {
        return Vec::new();
    }
    // Mass in a volume may be taken apart as mg/L, g/m³ or g/L, and amounts likewise: what needs the fewest factors is taken.
    let ways = [(LITRE, MILLIGRAM, MILLIMOLE), (CUBIC_METRE, GRAM, MOLE), (LITRE, GRAM, MILLIMOLE)];
    let best = ways.iter().filter_map(|way| along(difference, way)).min_by_key(Vec::len);
    let product =
        |list: &[Factor]| -> f64 { list.iter().map(|f| if f.times { f.number } else { 1.0 / f.number }).product() };
    match best {
        Some(list) if (product(&list) / ratio - 1.0).abs() < 1e-9 => list,
        // Units that do not meet: the whole ratio, without a name.
        _ if (ratio - 1.0).abs() < 1e-12 => Vec::new(),
        _ => vec![Factor { times: true, number: ratio, label: ("", ""), dimension: Dimension::Other }],
    }
}

fn along(difference: Dims, &(volume, mass, amount): &(Atom, Atom, Atom)) -> Option<Vec<Factor>> {
    let mut left = difference;
    let mut out = Vec::new();
    meet(&mut left, &mut out);
    // What is in a volume, and has not met its like, is taken apart.
    while let Some((held, power)) = left.find(|atom, _| matches!(atom.dimension, Dimension::Molar | Dimension::MassIn))
    {
        let molar = held.dimension == Dimension::Molar;
        let part = if molar { amount } else { mass };
        let metres = volume == CUBIC_METRE;
        let whole = match (molar, metres) {
            (true, false) if held.symbol.ends_with("KH") || held.symbol.ends_with("CaCO₃") => "meq/L",
            (true, false) => "mmol/L",
            (true, true) => "mol/m³",
            (false, false) if mass == GRAM => "g/L",
            (false, false) => "mg/L",
            (false, true) => "g/m³",
        };
        let size = part.size / volume.size;
        for _ in 0..power.unsigned_abs() {
            out.extend(factor(held.size / size, whole, held.symbol, power > 0, held.dimension));
        }
        left = left.with(held, -power).with(part, power).with(volume, -power);
        meet(&mut left, &mut out);
    }
    out.sort_by_key(|factor: &Factor| factor.dimension);
    left.is_none().then_some(out)
}

/// Units of one dimension, one over and one under, become a factor; so do lengths cubed and volumes.
fn meet(left: &mut Dims, out: &mut Vec<Factor>) {
    let pair = |left: &Dims| {
        left.entries().filter(|(_, power)| *power > 0).find_map(|(over, power)| {
            left.entries().filter(|(_, power)| *power < 0).find_map(|(under, _)| {
                let cubed = over.dimension == Dimension::Length && power >= 3 && under.dimension == Dimension::Volume;
                (over.dimension == under.dimension || cubed).then_some((over, under, cubed))
            })
        })
    };
    while let Some((over, under, cubed)) = pair(left) {
        if cubed {
            let symbol = if over.symbol == "ft" { "ft³" } else { "m³" };
            out.extend(factor(libm::pow(over.size, 3.0) / under.size, under.symbol, symbol, true, Dimension::Volume));
            *left = left.with(over, -3).with(under, 1);
        } else {
            out.extend(factor(over.size / under.size, under.symbol, over.symbol, true, over.dimension));
            *left = left.with(over, -1).with(under, 1);
        }
    }
}

/// One factor: `ratio` of `to` in one `from`, multiplied where `forward`. Written as a quotient where that is rounder.
fn factor(ratio: f64, to: &'static str, from: &'static str, forward: bool, dimension: Dimension) -> Option<Factor> {
    if (ratio - 1.0).abs() < 1e-9 {
        return None;
    }
    let whole = |v: f64| v >= 1.0 && (v - libm::round(v)).abs() < 1e-9 * v;
    let inverse = 1.0 / ratio;
    // What is in a volume is known by its factor (0.356652 meq/L in a degree), all else by a number over one.
    let known = matches!(dimension, Dimension::Molar | Dimension::MassIn);
    let turn = !whole(ratio) && (whole(inverse) || (ratio < 1.0 && !known));
    Some(if turn {
        Factor { times: !forward, number: inverse, label: (from, to), dimension }
    } else {
        Factor { times: forward, number: ratio, label: (to, from), dimension }
    })
}
