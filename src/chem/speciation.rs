//! What a fresh water holds: every species at equilibrium, with activities, for carbonate systems open or closed to air.
//!
//! The chemistry is the tables of [`reference::chemistry`](crate::reference::chemistry); this file only solves. Unknown are
//! the free ions and the ionic strength, on a logarithmic scale, and pH where it is not given. Each step solves the Newton system of the balances; its last pivot
//! gives the outer balance (alkalinity against pH) with all others closed, and with it the side on which pH lies. That
//! bracket holds the outer root: a step that would leave it is halved into it. Bare numbers throughout, no allocation.
//!
//! Range: 0 to 50 °C, pH 3 to 12, ionic strength up to 0.5 mol/kg (17 g/L of salt), no amount over 1 mol/kg. Inside it the
//! activity model was fitted (up to about 0.1 mol/kg for Davies' form); outside, an error comes back and no number.

#![expect(
    clippy::needless_range_loop,
    reason = "matrices are indexed by row and column, as in the algebra they stand for"
)]

use std::fmt;

use super::activity::{self, Curve, LN10, ZERO};
use crate::reference::chemistry::{
    self as table, Activity, CARBON_DIOXIDE_GAS, CARBONATE, HYDROGEN, REACTIONS as ROWS, SOLIDS,
};

/// Free ions.
pub const IONS: usize = table::IONS.len();
/// Species made from them.
const MADE: usize = ROWS.len();
/// All species: the ions first, then what they make, in the order of the tables.
pub const SPECIES: usize = IONS + MADE;

/// Place of the ionic strength among the unknowns.
const STRENGTH: usize = IONS - 1;
/// Place of the hydrogen ion among the unknowns: the outer one.
const OUTER: usize = IONS;
const SIZE: usize = IONS + 1;
// The hydrogen ion stands last in the table, so that every other ion has its own number as its place.
const _: () = assert!(HYDROGEN == IONS - 1);

/// Coldest and warmest water, °C.
pub const CELSIUS: (f64, f64) = (0.0, 50.0);
/// Lowest and highest pH.
pub const PH: (f64, f64) = (3.0, 12.0);
/// Highest ionic strength, mol/kg.
pub const STRONGEST: f64 = 0.5;
/// log₁₀ of the lowest and highest carbon dioxide pressure, atm.
pub const PRESSURE: (f64, f64) = (-8.0, 0.0);
/// Largest amount of any one thing, mol/kg.
pub const MOST: f64 = 1.0;

/// A balance is closed when what is left of it is below this share of what it balances.
const CLOSED: f64 = 2e-11;
/// What a solution must keep to be one.
pub const RESIDUAL: f64 = 1e-10;
const MOST_STEPS: u32 = 120;
/// ln of the hydrogen ion's activity between which the outer root is looked for: a unit of pH beyond the range.
const EDGES: (f64, f64) = (-LN10 * (PH.1 + 1.0), -LN10 * (PH.0 - 1.0));
/// Slack of the bracket, in ln of the hydrogen ion's activity.
const SLACK: f64 = 0.05;

/// Two of the four things that settle the carbonate system. Alkalinity in mol of charge per kg of water: HCO3 + 2 CO3 + OH - H, ion
/// pairs and copper complexes included. Carbon: all inorganic carbon, mol/kg. Pressure: log₁₀ of the carbon dioxide, atm.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "the names are the quantities, their units stand above")]
pub enum Known {
    PhAlkalinity { ph: f64, alkalinity: f64 },
    PhCarbon { ph: f64, carbon: f64 },
    PhPressure { ph: f64, log_co2: f64 },
    AlkalinityCarbon { alkalinity: f64, carbon: f64 },
    AlkalinityPressure { alkalinity: f64, log_co2: f64 },
}

impl Known {
    fn ph(self) -> Option<f64> {
        match self {
            Known::PhAlkalinity { ph, .. } | Known::PhCarbon { ph, .. } | Known::PhPressure { ph, .. } => Some(ph),
            _ => None,
        }
    }
    fn alkalinity(self) -> Option<f64> {
        match self {
            Known::PhAlkalinity { alkalinity, .. }
            | Known::AlkalinityCarbon { alkalinity, .. }
            | Known::AlkalinityPressure { alkalinity, .. } => Some(alkalinity),
            _ => None,
        }
    }
    fn carbon(self) -> Option<f64> {
        match self {
            Known::PhCarbon { carbon, .. } | Known::AlkalinityCarbon { carbon, .. } => Some(carbon),
            _ => None,
        }
    }
    fn pressure(self) -> Option<f64> {
        match self {
            Known::PhPressure { log_co2, .. } | Known::AlkalinityPressure { log_co2, .. } => Some(log_co2),
            _ => None,
        }
    }
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// A given or computed value lies outside the range of the model.
    OutOfRange {
        /// What.
        what: &'static str,
        /// How much.
        value: f64,
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
    },
    /// At this pH the hydroxide alone brings more alkalinity than was given: the two are not of one water.
    NoCarbonLeft {
        /// The pH given.
        ph: f64,
        /// The alkalinity given, mol/kg.
        alkalinity: f64,
        /// The alkalinity without any carbonate, mol/kg.
        least: f64,
    },
    /// Beside this solid so much dissolves at this pH that its own alkalinity passes what is held, or its ionic strength the range.
    TooSoluble {
        /// The solid.
        solid: &'static str,
    },
    /// The balances could not be closed.
    NotSolved {
        /// The largest residual left.
        residual: f64,
    },
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Refusal::OutOfRange { what, value, low, high } => {
                write!(f, "{what} is {value:.4}, outside the range of the chemistry, {low} to {high}")
            }
            Refusal::NoCarbonLeft { ph, alkalinity, least } => write!(
                f,
                "pH {ph:.2} and an alkalinity of {:.4} meq/kg are not of one water: without any carbonate it would be {:.4}",
                alkalinity * 1000.0,
                least * 1000.0
            ),
            Refusal::TooSoluble { solid } => {
                write!(f, "{solid} dissolves so freely at this pH that no fresh water of this alkalinity holds it")
            }
            Refusal::NotSolved { residual } => write!(f, "the balances could not be closed, {residual:.1e} is left"),
        }
    }
}

// The tables, unpacked once by the compiler.

/// A species as the solver reads it.
#[derive(Clone, Copy)]
struct Row {
    /// Ions other than hydrogen that it is made of, and how many of each.
    ions: [usize; 3],
    counts: [f64; 3],
    parts: usize,
    hydrogen: i32,
    water: i32,
    charge: f64,
    /// Hydrogen ions, as a number.
    acid: f64,
    /// Half of the charge squared: what a mole brings to the ionic strength.
    half: f64,
    /// What a mole brings to the alkalinity.
    alkalinity: f64,
    /// Its activity curve.
    class: usize,
    /// The ions once more, each as often as it goes in; [`NONE`] fills up.
    factors: [usize; 3],
    /// Places of its powers in what [`powers`] gives.
    acid_place: usize,
    water_place: usize,
}

/// No ion.
const NONE: usize = usize::MAX;
/// Powers kept of the activities of hydrogen and water: -4 to 4.
const POWERS: usize = 9;

#[derive(Clone, Copy)]
struct Class {
    activity: Activity,
    z2: f64,
}

struct Tables {
    rows: [Row; SPECIES],
    classes: [Class; SPECIES],
    count: usize,
}

const fn alike(a: Class, b: Class) -> bool {
    match (a.activity, b.activity) {
        (Activity::Extended { size: s1, slope: b1 }, Activity::Extended { size: s2, slope: b2 }) => {
            s1 == s2 && b1 == b2 && a.z2 == b.z2
        }
        (Activity::Davies, Activity::Davies) => a.z2 == b.z2,
        (Activity::Neutral { slope: b1 }, Activity::Neutral { slope: b2 }) => b1 == b2,
        _ => false,
    }
}

const fn unpack() -> Tables {
    let none = Row {
        ions: [0; 3],
        counts: [0.0; 3],
        parts: 0,
        hydrogen: 0,
        water: 0,
        charge: 0.0,
        acid: 0.0,
        half: 0.0,
        alkalinity: 0.0,
        class: 0,
        factors: [NONE; 3],
        acid_place: 0,
        water_place: 0,
    };
    let mut out =
        Tables { rows: [none; SPECIES], classes: [Class { activity: Activity::Davies, z2: 0.0 }; SPECIES], count: 0 };
    let mut s = 0;
    while s < SPECIES {
        let mut row = none;
        let mut charge = 0;
        let mut carbonate = 0;
        let activity;
        if s < IONS {
            activity = table::IONS[s].activity;
            charge = table::IONS[s].charge as i32;
            if s == HYDROGEN {
                row.hydrogen = 1;
            } else {
                row.ions[0] = s;
                row.counts[0] = 1.0;
                row.parts = 1;
            }
            if s == CARBONATE {
                carbonate = 1;
            }
        } else {
            let reaction = &ROWS[s - IONS];
            activity = reaction.activity;
            row.water = reaction.water as i32;
            let mut i = 0;
            while i < reaction.from.len() {
                let (ion, count) = reaction.from[i];
                charge += table::IONS[ion].charge as i32 * count as i32;
                if ion == HYDROGEN {
                    row.hydrogen = count as i32;
                } else {
                    row.ions[row.parts] = ion;
                    row.counts[row.parts] = count as f64;
                    row.parts += 1;
                    if ion == CARBONATE {
                        carbonate = count as i32;
                    }
                }
                i += 1;
            }
        }
        row.charge = charge as f64;
        row.half = 0.5 * row.charge * row.charge;
        row.acid = row.hydrogen as f64;
        row.acid_place = (row.hydrogen + 4) as usize;
        row.water_place = (row.water + 4) as usize;
        let (mut factors, mut part) = (0, 0);
        while part < row.parts {
            let mut left = row.counts[part];
            while left > 0.5 {
                row.factors[factors] = row.ions[part];
                factors += 1;
                left -= 1.0;
            }
            part += 1;
        }
        row.alkalinity = (2 * carbonate - row.hydrogen) as f64;
        let class = Class { activity, z2: (charge * charge) as f64 };
        let mut k = 0;
        while k < out.count && !alike(out.classes[k], class) {
            k += 1;
        }
        if k == out.count {
            out.classes[k] = class;
            out.count += 1;
        }
        row.class = k;
        out.rows[s] = row;
        s += 1;
    }
    out
}

const CLASSES: usize = unpack().count;
static TABLES: Tables = unpack();

const BICARBONATE: usize = table::species("HCO3-");
const CARBONIC: usize = table::species("CO2");
const HYDROXIDE: usize = table::species("OH-");

/// All that depends on temperature alone. Made once, used for every water of that temperature.
#[derive(Clone, Debug)]
pub struct Constants {
    /// °C.
    pub celsius: f64,
    /// Density of pure water, kg/L.
    pub density: f64,
    /// Formation constants of the reactions.
    k: [f64; MADE],
    /// ln K of dissolving of the solids.
    ln_solid: [f64; SOLIDS.len()],
    /// ln K of CO2(g) = CO2(aq).
    ln_gas: f64,
    curves: [Curve; CLASSES],
}

impl Constants {
    /// At a temperature in °C.
    ///
    /// # Errors
    /// Outside 0 to 50 °C.
    pub fn at(celsius: f64) -> Result<Self, Refusal> {
        within("the temperature in °C", celsius, CELSIUS)?;
        let kelvin = celsius + ZERO;
        let log_kelvin = libm::log10(kelvin);
        let sum = |rows: &[table::LogK]| rows.iter().map(|r| activity::at(r, kelvin, log_kelvin)).sum::<f64>();
        let mut k = [0.0; MADE];
        for (k, row) in k.iter_mut().zip(ROWS) {
            *k = libm::exp(LN10 * sum(row.log_k));
        }
        let mut ln_solid = [0.0; SOLIDS.len()];
        for (ln, row) in ln_solid.iter_mut().zip(SOLIDS) {
            *ln = LN10 * sum(row.log_k);
        }
        let (a, b) = activity::debye_hueckel(celsius);
        let mut curves = [Curve { c: 0.0, d: 0.0, e: 0.0 }; CLASSES];
        for (curve, class) in curves.iter_mut().zip(&TABLES.classes) {
            *curve = activity::curve(class.activity, class.z2, a, b);
        }
        let ln_gas = LN10 * activity::at(&CARBON_DIOXIDE_GAS, kelvin, log_kelvin);
        Ok(Self { celsius, density: activity::density(celsius), k, ln_solid, ln_gas, curves })
    }
}

impl Constants {
    /// Formation constant of a species made from the ions, by its name.
    #[must_use]
    pub fn formation(&self, name: &str) -> Option<f64> {
        let place = ROWS.iter().position(|row| row.name == name)?;
        self.k.get(place).copied()
    }

    /// Activity of dissolved carbon dioxide under one atmosphere of it.
    #[must_use]
    pub fn gas(&self) -> f64 {
        libm::exp(self.ln_gas)
    }

    /// Solubility product of a solid, by its place in the table.
    #[must_use]
    pub fn solid(&self, solid: usize) -> Option<f64> {
        self.ln_solid.get(solid).map(|ln| libm::exp(*ln))
    }
}

fn within(what: &'static str, value: f64, (low, high): (f64, f64)) -> Result<(), Refusal> {
    // A value that is no number is in no range.
    if value >= low && value <= high { Ok(()) } else { Err(Refusal::OutOfRange { what, value, low, high }) }
}

/// A water at equilibrium.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// °C.
    pub celsius: f64,
    /// pH, activity scale.
    pub ph: f64,
    /// mol of charge per kg.
    pub alkalinity: f64,
    /// All inorganic carbon, mol/kg.
    pub carbon: f64,
    /// mol/kg.
    pub ionic_strength: f64,
    /// Activity of water.
    pub water_activity: f64,
    /// mol/kg of each free species, ions first, in the order of the tables.
    pub molality: [f64; SPECIES],
    /// Activities of the free ions.
    pub ion_activity: [f64; IONS],
    /// Newton steps taken.
    pub iterations: u32,
    /// What is left of the worst balance (mass of each element, ionic strength, alkalinity and with it charge), as a share of
    /// what it balances.
    pub residual: f64,
    totals: [f64; IONS],
    ln_solid: [f64; SOLIDS.len()],
    ln_gas: f64,
    activity: [f64; SPECIES],
}

impl State {
    /// All of an ion, in whatever species, mol/kg.
    #[must_use]
    pub fn total(&self, ion: usize) -> f64 {
        let mut sum = 0.0;
        for (row, m) in TABLES.rows.iter().zip(&self.molality) {
            for (i, count) in row.ions.iter().zip(&row.counts).take(row.parts) {
                if *i == ion {
                    sum += count * m;
                }
            }
        }
        sum
    }

    /// Activity of a species.
    #[must_use]
    pub fn activity(&self, species: usize) -> f64 {
        self.activity.get(species).copied().unwrap_or(0.0)
    }

    /// mol/kg of a species.
    #[must_use]
    pub fn of(&self, species: usize) -> f64 {
        self.molality.get(species).copied().unwrap_or(0.0)
    }

    /// Charge of cations less that of anions, mol/kg.
    #[must_use]
    pub fn charge(&self) -> f64 {
        TABLES.rows.iter().zip(&self.molality).map(|(row, m)| row.charge * m).sum()
    }

    /// log₁₀ of ion activity product over solubility product. `None` where an ion of the solid is not there.
    #[must_use]
    pub fn saturation(&self, solid: usize) -> Option<f64> {
        let row = SOLIDS.get(solid)?;
        let mut ln = f64::from(row.water) * libm::log(self.water_activity) - self.ln_solid.get(solid)?;
        for (ion, count) in row.into {
            let activity = self.ion_activity.get(*ion).copied().filter(|a| *a > 0.0)?;
            ln += f64::from(*count) * libm::log(activity);
        }
        Some(ln / LN10)
    }

    /// log₁₀ of the carbon dioxide pressure that this water would stand under, atm. `None` without carbon.
    #[must_use]
    pub fn log_co2(&self) -> Option<f64> {
        let dissolved = self.activity(CARBONIC);
        (dissolved > 0.0).then(|| (libm::log(dissolved) - self.ln_gas) / LN10)
    }
}

/// Below this an exponential is its series; the first term left out is then under 1e-19.
const SMALL: f64 = 2e-3;

fn series(x: f64) -> f64 {
    1.0 + x * (1.0 + x * (0.5 + x * (1.0 / 6.0 + x * (1.0 / 24.0 + x * (1.0 / 120.0)))))
}

/// exp, by its series where the argument is small: the last steps of a search move hardly at all.
fn exp(x: f64) -> f64 {
    if x.abs() < SMALL { series(x) } else { libm::exp(x) }
}

/// By how much a sum misses what it should be, and the scale of its row: as a share near the mark; far off as a logarithm,
/// whose Newton step is exact for a power law.
fn miss(sum: f64, wanted: f64) -> (f64, f64) {
    let share = sum / wanted - 1.0;
    if share.abs() < 0.1 { (1.0 / wanted, share) } else { (1.0 / sum, libm::log(sum / wanted)) }
}

/// x⁻⁴ to x⁴.
fn powers(x: f64) -> [f64; POWERS] {
    let over = 1.0 / x;
    let (square, over_square) = (x * x, over * over);
    [over_square * over_square, over_square * over, over_square, over, 1.0, x, square, square * x, square * square]
}

/// What closes the row of an unknown.
#[derive(Clone, Copy)]
enum Rule {
    /// Nothing: the unknown stands still.
    Still,
    /// The mass of its ion.
    Mass,
    /// The alkalinity.
    Alkalinity,
    /// The carbon dioxide pressure.
    Pressure,
    /// Saturation of a solid.
    Solid(usize),
    /// The ionic strength, which the present species make this.
    Strength(f64),
}

/// What all species come to.
struct Sums {
    /// Of each ion, mol/kg.
    held: [f64; IONS],
    strength: f64,
    alkalinity: f64,
    /// The alkalinity counted without sign.
    gross: f64,
    all: f64,
}

/// By how much each balance misses, in the order of the unknowns.
struct Balances {
    rule: [Rule; SIZE],
    left: [f64; SIZE],
    scale: [f64; SIZE],
    worst: f64,
    /// The worst but for the outer one.
    inner: f64,
}

/// The state of the search.
struct Search<'c> {
    c: &'c Constants,
    totals: [f64; IONS],
    known: Known,
    solid: Option<usize>,
    /// Which ions are there.
    active: [bool; IONS],
    /// Free ions, mol/kg; that of hydrogen follows from its activity.
    m: [f64; SPECIES],
    /// Activity of the hydrogen ion.
    h: f64,
    strength: f64,
    water: f64,
    ln_gamma: [f64; CLASSES],
    gamma: [f64; CLASSES],
    /// d ln γ / d ln I.
    bend: [f64; CLASSES],
}

impl Search<'_> {
    /// Activity coefficients at the present ionic strength.
    fn activities(&mut self) {
        // Far off the mark the linear terms would overflow; no solution lies there.
        let i = self.strength.min(4.0 * STRONGEST);
        let s = libm::sqrt(i);
        let mut moved = [0.0; CLASSES];
        let mut largest = 0.0_f64;
        for k in 0..CLASSES {
            let Curve { c, d, e } = self.c.curves[k];
            let r = 1.0 / (1.0 + d * s);
            let pull = c * s * r;
            let ln = e * i - pull;
            self.bend[k] = e * i - 0.5 * pull * r;
            moved[k] = ln - self.ln_gamma[k];
            self.ln_gamma[k] = ln;
            largest = largest.max(moved[k].abs());
        }
        if largest < SMALL {
            for k in 0..CLASSES {
                self.gamma[k] *= series(moved[k]);
            }
        } else {
            for k in 0..CLASSES {
                self.gamma[k] *= exp(moved[k]);
            }
        }
    }

    /// Molalities of all that the ions make, and what all species come to.
    fn make(&mut self) -> Sums {
        let acid = powers(self.h);
        let wet = powers(self.water);
        let mut a = [0.0; IONS];
        let mut sums = Sums { held: [0.0; IONS], strength: 0.0, alkalinity: 0.0, gross: 0.0, all: 0.0 };
        self.m[HYDROGEN] = self.h / self.gamma[TABLES.rows[HYDROGEN].class];
        for (i, row) in TABLES.rows.iter().enumerate().take(IONS) {
            let m = self.m[i];
            a[i] = m * self.gamma[row.class];
            sums.held[i] = m;
            sums.strength += row.half * m;
            sums.alkalinity += row.alkalinity * m;
            sums.gross += (row.alkalinity * m).abs();
            sums.all += m;
        }
        for ((row, k), place) in TABLES.rows.iter().skip(IONS).zip(&self.c.k).zip(IONS..) {
            let mut m = k * acid[row.acid_place] * wet[row.water_place] / self.gamma[row.class];
            for ion in row.factors {
                m *= if ion == NONE { 1.0 } else { a[ion] };
            }
            self.m[place] = m;
            for p in 0..row.parts {
                sums.held[row.ions[p]] += row.counts[p] * m;
            }
            let alk = row.alkalinity * m;
            sums.strength += row.half * m;
            sums.alkalinity += alk;
            sums.gross += alk.abs();
            sums.all += m;
        }
        sums
    }

    /// ln of an ion's activity.
    fn ln_activity(&self, ion: usize) -> f64 {
        libm::log(self.m[ion]) + self.ln_gamma[TABLES.rows[ion].class]
    }

    /// What a solid's saturation asks of the first of its ions: ln of the activity product over K.
    fn saturation(&self, solid: usize) -> f64 {
        let row = &SOLIDS[solid];
        let mut ln = f64::from(row.water) * libm::log(self.water) - self.c.ln_solid[solid];
        for (ion, count) in row.into {
            let part = if *ion == HYDROGEN { libm::log(self.h) } else { self.ln_activity(*ion) };
            ln += f64::from(*count) * part;
        }
        ln
    }

    /// A first guess: the carbonate system without ion pairs, then each free ion by what its species would hold.
    fn guess(&mut self) {
        let mut strength = 0.0;
        for i in 0..IONS {
            if i != CARBONATE && i != HYDROGEN {
                strength += TABLES.rows[i].half * self.totals[i];
            }
        }
        let carbon = match self.known {
            Known::PhAlkalinity { alkalinity, .. }
            | Known::AlkalinityCarbon { alkalinity, .. }
            | Known::AlkalinityPressure { alkalinity, .. } => alkalinity.abs(),
            Known::PhCarbon { carbon, .. } => carbon,
            Known::PhPressure { .. } => 0.0,
        };
        self.strength = (strength + 0.5 * carbon + 1e-7).min(STRONGEST);
        self.activities();
        let g = |s: usize| self.gamma[TABLES.rows[s].class];
        let k = |s: usize| self.c.k[s - IONS];
        // Per activity of carbonate: its three forms at an activity h of hydrogen, mol/kg.
        let (single, acid, free) = (k(BICARBONATE) / g(BICARBONATE), k(CARBONIC) / g(CARBONIC), 1.0 / g(CARBONATE));
        let (base, proton) = (k(HYDROXIDE) / g(HYDROXIDE), 1.0 / g(HYDROGEN));
        let pressure = self.known.pressure().map(|p| exp(self.c.ln_gas + LN10 * p) / k(CARBONIC));
        let dissolved = |h: f64| -> f64 {
            let (one, two) = (single * h, acid * h * h);
            match self.known {
                Known::PhAlkalinity { alkalinity, .. } => {
                    let left = alkalinity - base / h + proton * h;
                    left.max(1e-3 * alkalinity.abs() + 1e-12) / (one + 2.0 * free)
                }
                Known::PhCarbon { carbon, .. } | Known::AlkalinityCarbon { carbon, .. } => carbon / (one + two + free),
                _ => pressure.unwrap_or(0.0) / (h * h),
            }
        };
        if let (None, Some(wanted)) = (self.known.ph(), self.known.alkalinity()) {
            // The alkalinity grows with pH: Newton on ln h inside a bracket.
            let (mut low, mut high) = (-LN10 * (PH.1 + 0.5), -LN10 * (PH.0 - 0.5));
            let mut ln = -8.0 * LN10;
            if let (Some(p), true) = (pressure, wanted > 0.0) {
                ln = libm::log(p * single / wanted).clamp(low, high);
            }
            for _ in 0..30 {
                let h = libm::exp(ln);
                let a = dissolved(h);
                let (one, two) = (single * h, acid * h * h);
                let miss = a * (one + 2.0 * free) + base / h - proton * h - wanted;
                if miss > 0.0 {
                    low = ln
                } else {
                    high = ln
                }
                // d ln a / d ln h: -2 under a pressure, else by the shares of the three forms.
                let bend = if pressure.is_some() { -2.0 } else { -(one + 2.0 * two) / (one + two + free) };
                let slope = a * (one + bend * (one + 2.0 * free)) - base / h - proton * h;
                let next = ln - miss / slope;
                let next = if next > low && next < high { next } else { 0.5 * (low + high) };
                let moved = (next - ln).abs();
                ln = next;
                if moved < 1e-2 {
                    break;
                }
            }
            self.h = libm::exp(ln);
        }
        self.m[CARBONATE] = if self.active[CARBONATE] { dissolved(self.h) * free } else { 0.0 };
        for i in 0..IONS - 1 {
            if i != CARBONATE {
                self.m[i] = if self.active[i] { self.totals[i] } else { 0.0 };
            }
        }
        for sweep in 0..40 {
            let sums = self.make();
            self.water = 1.0 - 0.017 * sums.all.min(10.0);
            let mut worst = 0.0_f64;
            for i in 0..IONS - 1 {
                if self.active[i] && i != CARBONATE {
                    let ratio = self.totals[i] / sums.held[i];
                    worst = worst.max((ratio - 1.0).abs());
                    // Two atoms in one species answer twice as strongly.
                    self.m[i] *= if sweep < 2 { ratio } else { libm::sqrt(ratio) };
                }
            }
            if worst < 0.5 {
                break;
            }
        }
    }

    /// Closes all balances, or says that it cannot.
    fn solve(&mut self) -> Result<(u32, f64), Refusal> {
        let (mut low, mut high) = EDGES;
        let fixed = self.known.ph().is_some();
        let mut before = f64::INFINITY;
        for step in 0..MOST_STEPS {
            self.activities();
            let sums = self.make();
            let balances = self.balances(&sums);
            let (worst, inner) = (balances.worst, balances.inner);
            if worst < CLOSED || (worst < RESIDUAL && worst >= before) {
                return Ok((step, worst));
            }
            before = worst;
            let (mut j, total) = self.system(&balances);
            eliminate(&mut j);
            let (slope, miss) = (j[OUTER][OUTER], -j[OUTER][SIZE]);
            // How far ln h moves.
            let mut move_h = 0.0;
            if !fixed {
                let here = self.ln_h();
                // The bracket believes the last pivot once the inner balances are nearly closed, and keeps some slack for
                // what they still lack.
                if inner * inner < 0.1 * miss.abs() {
                    if miss > 0.0 { low = low.max(here - SLACK) } else { high = high.min(here + SLACK) }
                }
                let patient = step > 40;
                if inner < if patient { 1e-6 } else { 0.5 } {
                    let newton = -miss / slope;
                    let inside = slope < 0.0 && here + newton > low && here + newton < high;
                    // Close to the root the step is better than the bracket.
                    let near = slope < 0.0 && newton.abs() < SLACK;
                    let take = near || (inside && !(patient && step % 2 == 0));
                    move_h = if take { newton } else { 0.5 * (low + high) - here };
                    if !take && high - low < 3.0 * SLACK && (low <= EDGES.0 || high >= EDGES.1) {
                        return Err(Refusal::OutOfRange { what: "pH", value: -here / LN10, low: PH.0, high: PH.1 });
                    }
                }
                move_h = move_h.clamp(-3.0, 3.0);
            }
            let mut moves = [0.0; SIZE];
            moves[OUTER] = move_h;
            let mut largest = 0.0_f64;
            for r in (0..OUTER).rev() {
                let mut right = j[r][SIZE];
                for c in r + 1..SIZE {
                    right -= j[r][c] * moves[c];
                }
                moves[r] = right / j[r][r];
                largest = largest.max(moves[r].abs());
            }
            if !largest.is_finite() {
                return Err(Refusal::NotSolved { residual: worst });
            }
            let damp = if largest > 2.0 { 2.0 / largest } else { 1.0 };
            // The activity of water is no unknown: it follows the sum of all species one step ahead.
            let ahead: f64 = sums.all + damp * total.iter().zip(&moves).map(|(t, m)| t * m).sum::<f64>();
            self.water = 1.0 - 0.017 * ahead.clamp(0.0, 10.0);
            for i in 0..IONS - 1 {
                self.m[i] *= exp(damp * moves[i]);
            }
            self.strength *= exp(damp * moves[STRENGTH]);
            self.h *= exp(damp * move_h);
            if self.active[CARBONATE] && self.m[CARBONATE] < 1e-22 && matches!(self.known, Known::PhAlkalinity { .. }) {
                // Carbonate dwindles without end: pH and alkalinity leave no room for it.
                return Err(Refusal::NoCarbonLeft { ph: 0.0, alkalinity: 0.0, least: 0.0 });
            }
        }
        Err(Refusal::NotSolved { residual: before })
    }

    fn ln_h(&self) -> f64 {
        libm::log(self.h)
    }

    /// By how much each balance misses.
    fn balances(&self, sums: &Sums) -> Balances {
        let mut out =
            Balances { left: [0.0; SIZE], scale: [1.0; SIZE], rule: [Rule::Still; SIZE], worst: 0.0, inner: 0.0 };
        let by_alkalinity = matches!(self.known, Known::PhAlkalinity { .. });
        let alkalinity = self.known.alkalinity().map(|wanted| {
            let over = 1.0 / sums.gross.max(1e-30);
            (over, (sums.alkalinity - wanted) * over)
        });
        for (i, held) in sums.held.iter().enumerate().take(HYDROGEN) {
            if !self.active[i] {
                continue;
            }
            let carbonate = i == CARBONATE;
            let (rule, (over, left)) = if let (true, true, Some(balance)) = (carbonate, by_alkalinity, alkalinity) {
                (Rule::Alkalinity, balance)
            } else if let (true, Some(log_co2)) = (carbonate, self.known.pressure()) {
                // K(CO2) a(CO3) a(H)² / a(w) = K(gas) p.
                let left = self.ln_activity(CARBONATE) + libm::log(self.c.k[CARBONIC - IONS]) + 2.0 * self.ln_h()
                    - libm::log(self.water)
                    - self.c.ln_gas
                    - LN10 * log_co2;
                (Rule::Pressure, (1.0, left))
            } else if let Some(solid) = self.solid.filter(|s| SOLIDS[*s].into[0].0 == i) {
                (Rule::Solid(solid), (1.0, self.saturation(solid)))
            } else {
                (Rule::Mass, miss(*held, self.totals[i]))
            };
            (out.rule[i], out.scale[i], out.left[i]) = (rule, over, left);
        }
        let (over, left) = miss(sums.strength, self.strength);
        (out.rule[STRENGTH], out.scale[STRENGTH], out.left[STRENGTH]) = (Rule::Strength(sums.strength), over, left);
        for left in &out.left {
            out.inner = out.inner.max(left.abs());
        }
        out.worst = out.inner;
        if let (None, Some((over, left))) = (self.known.ph(), alkalinity) {
            (out.rule[OUTER], out.scale[OUTER], out.left[OUTER]) = (Rule::Alkalinity, over, left);
            out.worst = out.worst.max(left.abs());
        }
        out
    }

    /// The Newton system of the balances with its right-hand side in the last column, and how the sum of all species follows
    /// the unknowns.
    fn system(&self, balances: &Balances) -> ([[f64; SIZE + 1]; SIZE], [f64; SIZE]) {
        let mut j = [[0.0_f64; SIZE + 1]; SIZE];
        let mut alkalinity = [0.0; SIZE + 1];
        let mut total = [0.0; SIZE];
        let mut bend = [0.0; IONS];
        // Sums kept in registers, by far the busiest places of the three rows.
        let (mut half_curved, mut half_acid, mut alk_curved, mut alk_acid) = (0.0, 0.0, 0.0, 0.0);
        let (mut m_curved, mut m_acid) = (0.0, 0.0);
        for i in 0..HYDROGEN {
            bend[i] = self.bend[TABLES.rows[i].class];
            // An ion is an unknown of its own.
            let m = self.m[i];
            j[i][i] = m;
            j[STRENGTH][i] = TABLES.rows[i].half * m;
            alkalinity[i] = TABLES.rows[i].alkalinity * m;
            total[i] = m;
        }
        for (row, m) in TABLES.rows.iter().zip(self.m).skip(HYDROGEN) {
            if m == 0.0 {
                continue;
            }
            let half = row.half * m;
            let alk = row.alkalinity * m;
            // d ln m / d ln I; d ln m / d ln h is `acid`.
            let mut curved = -self.bend[row.class];
            for p in 0..row.parts {
                curved += row.counts[p] * bend[row.ions[p]];
            }
            for p in 0..row.parts {
                let (i, n) = (row.ions[p], row.counts[p]);
                let held = n * m;
                let line = &mut j[i];
                for q in 0..row.parts {
                    line[row.ions[q]] += held * row.counts[q];
                }
                line[STRENGTH] += held * curved;
                line[OUTER] += held * row.acid;
                j[STRENGTH][i] += half * n;
                alkalinity[i] += alk * n;
                total[i] += held;
            }
            half_curved += half * curved;
            half_acid += half * row.acid;
            alk_curved += alk * curved;
            alk_acid += alk * row.acid;
            m_curved += m * curved;
            m_acid += m * row.acid;
        }
        (j[STRENGTH][STRENGTH], j[STRENGTH][OUTER]) = (half_curved, half_acid);
        (alkalinity[STRENGTH], alkalinity[OUTER]) = (alk_curved, alk_acid);
        (total[STRENGTH], total[OUTER]) = (m_curved, m_acid);
        for i in 0..SIZE {
            let over = balances.scale[i];
            match balances.rule[i] {
                Rule::Still => {
                    j[i] = [0.0; SIZE + 1];
                    j[i][i] = 1.0;
                }
                Rule::Mass => {}
                Rule::Alkalinity => j[i] = alkalinity,
                // The unknown itself stands on the other side.
                Rule::Strength(strength) => j[i][i] -= strength,
                Rule::Pressure => {
                    j[i] = [0.0; SIZE + 1];
                    j[i][i] = 1.0;
                    j[i][STRENGTH] = bend[CARBONATE];
                    j[i][OUTER] = 2.0;
                }
                Rule::Solid(solid) => {
                    j[i] = [0.0; SIZE + 1];
                    for (ion, count) in SOLIDS[solid].into {
                        let n = f64::from(*count);
                        if *ion == HYDROGEN {
                            j[i][OUTER] += n;
                        } else {
                            j[i][*ion] += n;
                            j[i][STRENGTH] += n * bend[*ion];
                        }
                    }
                }
            }
            for value in &mut j[i] {
                *value *= over;
            }
            j[i][SIZE] = -balances.left[i];
        }
        (j, total)
    }

    /// Solves, and holds the answer against the range.
    fn finish(mut self) -> Result<State, Refusal> {
        let (iterations, residual) = self.solve()?;
        let state = self.state(iterations, residual);
        within("pH", state.ph, PH)?;
        within("the ionic strength in mol/kg", state.ionic_strength, (0.0, STRONGEST))?;
        if state.residual > RESIDUAL { Err(Refusal::NotSolved { residual }) } else { Ok(state) }
    }

    fn state(self, iterations: u32, residual: f64) -> State {
        let mut activity = [0.0; SPECIES];
        for s in 0..SPECIES {
            activity[s] = self.m[s] * self.gamma[TABLES.rows[s].class];
        }
        let mut ion_activity = [0.0; IONS];
        ion_activity.copy_from_slice(&activity[..IONS]);
        let mut out = State {
            celsius: self.c.celsius,
            ph: -libm::log10(self.h),
            alkalinity: 0.0,
            carbon: 0.0,
            ionic_strength: self.strength,
            water_activity: self.water,
            molality: self.m,
            ion_activity,
            iterations,
            residual,
            totals: self.totals,
            ln_solid: self.c.ln_solid,
            ln_gas: self.c.ln_gas,
            activity,
        };
        out.alkalinity = TABLES.rows.iter().zip(&out.molality).map(|(row, m)| row.alkalinity * m).sum();
        out.carbon = out.total(CARBONATE);
        out
    }
}

/// Gauss, row by row. Mass balances in logarithms have a positive definite matrix, so each pivot stands where it is; the
/// outer row is eliminated last, so that it ends as the outer balance with all inner ones closed.
fn eliminate(j: &mut [[f64; SIZE + 1]; SIZE]) {
    for k in 0..OUTER {
        let top = j[k];
        let over = 1.0 / top[k];
        for row in j.iter_mut().skip(k + 1) {
            let f = row[k] * over;
            if f != 0.0 {
                // The whole row, though its head is done with: a fixed length is faster than a short one.
                for (value, above) in row.iter_mut().zip(&top) {
                    *value -= f * above;
                }
            }
        }
    }
}

/// Species of the same water beside a solid, its pH and alkalinity held: dissolving copper would move them, and the reference
/// tables hold them too. The amount of the solid's first ion is not that of the water, but what stays dissolved.
///
/// # Errors
/// Where the dissolved copper alone would bring more alkalinity than is held, and outside the documented range.
pub fn beside(constants: &Constants, state: &State, solid: usize) -> Result<State, Refusal> {
    let Some(row) = SOLIDS.get(solid) else {
        return Err(Refusal::NotSolved { residual: f64::INFINITY });
    };
    let too_soluble = Refusal::TooSoluble { solid: row.name };
    let ruled = row.into[0].0;
    let mut active = [false; IONS];
    for (active, m) in active.iter_mut().zip(&state.molality) {
        *active = *m > 0.0;
    }
    if row.into.iter().any(|(ion, _)| *ion != ruled && !active[*ion]) {
        return Err(too_soluble);
    }
    active[ruled] = true;
    let mut search = Search {
        c: constants,
        totals: state.totals,
        known: Known::PhAlkalinity { ph: state.ph, alkalinity: state.alkalinity },
        solid: Some(solid),
        active,
        m: state.molality,
        h: libm::exp(-LN10 * state.ph),
        strength: state.ionic_strength,
        water: state.water_activity,
        ln_gamma: [0.0; CLASSES],
        gamma: [1.0; CLASSES],
        bend: [0.0; CLASSES],
    };
    search.totals[ruled] = 1e-9;
    if !active[CARBONATE] {
        search.known = Known::PhCarbon { ph: state.ph, carbon: 0.0 };
    }
    // The water without the solid is where to start: a trace of copper hardly moves the rest.
    search.activities();
    search.m[ruled] = 1e-9;
    search.m[ruled] *= libm::exp(-search.saturation(solid) / f64::from(row.into[0].1));
    match search.finish() {
        // Below a pH that falls with alkalinity there is no such water: the search wanders off, or its carbonate dwindles.
        Err(Refusal::NotSolved { .. } | Refusal::NoCarbonLeft { .. }) => Err(too_soluble),
        result => result,
    }
}

/// Species of a water at equilibrium.
///
/// `totals`: mol per kg of water of each free ion in all its species, in the order of the table; those of carbonate and hydrogen are not
/// read, `known` stands for them.
///
/// # Errors
/// Outside the documented range, or when pH and alkalinity cannot be of one water.
pub fn speciate(constants: &Constants, totals: &[f64; IONS], known: Known) -> Result<State, Refusal> {
    let mut totals = *totals;
    totals[HYDROGEN] = 0.0;
    totals[CARBONATE] = known.carbon().unwrap_or(0.0);
    for (total, ion) in totals.iter().zip(table::IONS) {
        within(ion.name, *total, (0.0, MOST))?;
    }
    if let Some(ph) = known.ph() {
        within("pH", ph, PH)?;
    }
    if let Some(log_co2) = known.pressure() {
        within("log10 of the carbon dioxide pressure in atm", log_co2, PRESSURE)?;
    }
    if let Some(alkalinity) = known.alkalinity() {
        within("the alkalinity in mol/kg", alkalinity, (-MOST, MOST))?;
    }
    let mut active = [false; IONS];
    for i in 0..IONS {
        active[i] = totals[i] > 0.0;
    }
    active[CARBONATE] = known.carbon().is_none_or(|c| c > 0.0);
    let mut search = Search {
        c: constants,
        totals,
        known,
        solid: None,
        active,
        m: [0.0; SPECIES],
        h: libm::exp(-LN10 * known.ph().unwrap_or(8.0)),
        strength: 0.0,
        water: 1.0,
        ln_gamma: [0.0; CLASSES],
        gamma: [1.0; CLASSES],
        bend: [0.0; CLASSES],
    };
    search.guess();
    match (search.finish(), known) {
        (Err(Refusal::NoCarbonLeft { .. }), Known::PhAlkalinity { ph, alkalinity }) => {
            let bare = speciate(constants, &totals, Known::PhCarbon { ph, carbon: 0.0 })?;
            if (bare.alkalinity - alkalinity).abs() <= ROUNDING {
                Ok(bare)
            } else {
                Err(Refusal::NoCarbonLeft { ph, alkalinity, least: bare.alkalinity })
            }
        }
        (result, _) => result,
    }
}

/// Alkalinity that may be missing at a pH before the two contradict one another, mol/kg: rounding of printed values, a
/// hundredth of what the finest kit reads.
const ROUNDING: f64 = 1e-7;
