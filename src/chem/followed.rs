//! An open water followed from day to day: what [`speciation`](super::speciation) finds anew, found from where it stood.
//!
//! For the thousands of years of an ensemble a full speciation a day is too dear, and a pond hardly moves from one day to
//! the next. The species, constants and activity curves are those of the tables, all that a water without copper holds; the
//! balances are the same. Four things make it cheap: constants are tabulated over temperature; free cations follow from the
//! balances without a system of equations; the search starts from the last root, so that one or two passes close it; and
//! activity coefficients come from a short series. Tests hold it to the full speciation.
//!
//! Bare numbers: mol per kg of water, °C, activities without unit.

use super::activity::{LN10, curve, debye_hueckel, density};
use super::speciation::{CELSIUS, Constants};
use crate::reference::chemistry::{self as table, Activity, CALCITE, CONDUCTANCES, COPPER_HYDROXIDE_MADE, species};

/// Rows of the table over temperature for each degree.
const PER_DEGREE: usize = 4;
const ROWS: usize = 50 * PER_DEGREE + 1;

/// The species made, in the order in which their constants are kept.
const MADE: [&str; 16] = [
    "OH-", "HCO3-", "CO2", "CaOH+", "CaCO3", "CaHCO3+", "CaSO4", "MgOH+", "MgCO3", "MgHCO3+", "MgSO4", "NaHCO3",
    "NaSO4-", "KHCO3", "KSO4-", "HSO4-",
];
const GAS: usize = MADE.len();
const LIME: usize = GAS + 1;
const DENSITY: usize = GAS + 2;
const SLOPE: usize = GAS + 3;
const SIZE: usize = GAS + 4;
const COPPER: usize = GAS + 5;
const WIDTH: usize = GAS + 6;

/// Constants of one temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// °C.
    pub celsius: f64,
    of: [f64; WIDTH],
}

impl Warmth {
    /// Density of pure water, kg/L.
    #[must_use]
    pub fn density(&self) -> f64 {
        self.of[DENSITY]
    }

    /// Copper that a water open to carbon dioxide of a pressure in atm holds at the least beside fresh hydroxide, mol/kg: what is
    /// paired with carbonate alone. Both go against each other with pH, so that only warmth and air decide.
    #[must_use]
    pub fn copper_held(&self, pressure: f64) -> f64 {
        self.of[COPPER] * pressure
    }

    /// Straight from the constants of the speciation.
    fn exact(celsius: f64) -> Option<Self> {
        let constants = Constants::at(celsius).ok()?;
        let mut of = [0.0; WIDTH];
        for (slot, name) in of.iter_mut().zip(MADE) {
            *slot = constants.formation(name)?;
        }
        let (a, b) = debye_hueckel(celsius);
        of[GAS] = constants.gas();
        of[LIME] = constants.solid(CALCITE)?;
        of[DENSITY] = density(celsius);
        (of[SLOPE], of[SIZE]) = (LN10 * a, b);
        of[COPPER] = held_at_least(&constants)?;
        Some(Self { celsius, of })
    }
}

/// Copper paired with carbonate beside fresh hydroxide in open water, mol/kg for each atm of carbon dioxide: {Cu} = K h² and
/// {CO3} = K_gas p / (K_CO2 h²), so that h falls out. A neutral pair of the model is at most an eighth over its activity's share.
#[must_use]
pub fn held_at_least(constants: &Constants) -> Option<f64> {
    let carbonate = constants.gas() / constants.formation("CO2")?;
    Some(constants.solid(COPPER_HYDROXIDE_MADE)? * constants.formation("CuCO3")? * carbonate / 1.125)
}

/// Constants over temperature.
#[derive(Clone, Debug)]
pub struct Table {
    rows: Vec<Warmth>,
    /// At 25 °C, where conductivity is told.
    told: Warmth,
    /// Activity coefficients there, over the root of the ionic strength.
    gamma: Vec<[f64; LANES]>,
}

/// Rows of [`Table::gamma`], and how many a unit of the root has; they reach to the model's strongest water.
const ROOTS: usize = 360;
const PER_ROOT: f64 = 500.0;

impl Table {
    /// The table, 0 to 50 °C.
    #[must_use]
    pub fn new() -> Self {
        let at = |celsius| Warmth::exact(celsius).unwrap_or(Warmth { celsius, of: [1.0; WIDTH] });
        let rows = (0..ROWS).map(|row| at(row as f64 / PER_DEGREE as f64)).collect();
        let told = at(25.0);
        let roots = (0..ROOTS).map(|row| row as f64 / PER_ROOT);
        let gamma = roots.map(|root| coefficients(&told, root * root, root)).collect();
        Self { rows, told, gamma }
    }

    /// Constants at a temperature, a straight line between rows a quarter of a degree apart: within 6e-5 of themselves.
    /// What is colder than 0 °C or warmer than 50 °C counts as that.
    #[must_use]
    pub fn at(&self, celsius: f64) -> Warmth {
        let celsius = celsius.clamp(CELSIUS.0, CELSIUS.1);
        let place = celsius * PER_DEGREE as f64;
        let row = (place as usize).min(ROWS - 2);
        let share = place - row as f64;
        let (Some(low), Some(high)) = (self.rows.get(row), self.rows.get(row + 1)) else { return self.told };
        let mut of = low.of;
        for (value, next) in of.iter_mut().zip(&high.of) {
            *value += share * (next - *value);
        }
        Warmth { celsius, of }
    }
}

impl Table {
    /// [`coefficients`] at 25 °C, a straight line between rows: within 1e-5 of themselves.
    #[inline]
    fn told_coefficients(&self, strength: f64, root: f64) -> [f64; LANES] {
        let place = root * PER_ROOT;
        let row = place as usize;
        let (Some(low), Some(high)) = (self.gamma.get(row), self.gamma.get(row + 1)) else {
            return coefficients(&self.told, strength, root);
        };
        let share = place - row as f64;
        let mut out = *low;
        for (value, next) in out.iter_mut().zip(high) {
            *value += share * (next - *value);
        }
        out
    }
}

impl Default for Table {
    fn default() -> Self {
        Self::new()
    }
}

/// A water as the search takes it, mol/kg of each ion in all its species.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[expect(missing_docs, reason = "the names are the ions")]
pub struct Totals {
    /// mol of charge per kg.
    pub alkalinity: f64,
    pub calcium: f64,
    pub magnesium: f64,
    pub sodium: f64,
    pub potassium: f64,
    pub chloride: f64,
    pub sulfate: f64,
    pub nitrate: f64,
}

impl Totals {
    /// Ionic strength with all alkalinity as bicarbonate and nothing paired.
    fn strength(&self) -> f64 {
        let singles = self.sodium + self.potassium + self.chloride + self.nitrate + self.alkalinity.abs();
        0.5 * singles + 2.0 * (self.calcium + self.magnesium + self.sulfate) + 1e-7
    }
}

// Activity coefficients, sixteen side by side: those of free ions as they are, of what is made turned over.
const LANES: usize = 16;
const NAMES: [(&str, f64); LANES] = [
    ("K+", 1.0),
    ("Na+", 1.0),
    ("Mg+2", 1.0),
    ("Ca+2", 1.0),
    ("SO4-2", 1.0),
    ("CO3-2", -1.0),
    ("H+", -1.0),
    ("OH-", -1.0),
    ("HCO3-", -1.0),
    ("CaOH+", -1.0),
    ("CaHCO3+", -1.0),
    ("MgOH+", -1.0),
    ("MgHCO3+", -1.0),
    ("NaSO4-", -1.0),
    ("KSO4-", -1.0),
    ("CaCO3", -1.0),
];

/// ln γ = sign · (−c √I / (1 + d √I) + e I), with c, d, e as a temperature's A and B make them.
struct Lanes {
    charge: [f64; LANES],
    size: [f64; LANES],
    fixed: [f64; LANES],
    linear: [f64; LANES],
    davies: [f64; LANES],
}

const fn charge_of(name: &str) -> f64 {
    let at = species(name);
    if at < table::IONS.len() {
        return table::IONS[at].charge as f64;
    }
    let reaction = &table::REACTIONS[at - table::IONS.len()];
    let (mut charge, mut i) = (0, 0);
    while i < reaction.from.len() {
        let (ion, count) = reaction.from[i];
        charge += table::IONS[ion].charge as i32 * count as i32;
        i += 1;
    }
    charge as f64
}

const fn activity_of(name: &str) -> Activity {
    let at = species(name);
    if at < table::IONS.len() { table::IONS[at].activity } else { table::REACTIONS[at - table::IONS.len()].activity }
}

const fn lanes() -> Lanes {
    let none = [0.0; LANES];
    let mut out = Lanes { charge: none, size: none, fixed: none, linear: none, davies: none };
    let mut i = 0;
    while i < LANES {
        let (name, sign) = NAMES[i];
        let charge = charge_of(name);
        out.charge[i] = -sign * charge * charge;
        match activity_of(name) {
            Activity::Extended { size, slope } => {
                out.size[i] = size;
                out.linear[i] = sign * LN10 * slope;
            }
            Activity::Davies => {
                out.fixed[i] = 1.0;
                out.davies[i] = sign * 0.3 * charge * charge;
            }
            Activity::Neutral { slope } => out.linear[i] = sign * LN10 * slope,
        }
        i += 1;
    }
    out
}

static CURVES: Lanes = lanes();

// Two species go by another's coefficient.
const _: () = assert!(times("NaHCO3") == times("MgSO4") && charge_of("HSO4-") == -charge_of("CaOH+"));
const _: () = assert!(matches!((activity_of("HSO4-"), activity_of("CaOH+")), (Activity::Davies, Activity::Davies)));

/// A neutral species' own linear term over that of the last lane.
const fn times(name: &str) -> f64 {
    match (activity_of(name), activity_of("CaCO3")) {
        (Activity::Neutral { slope }, Activity::Neutral { slope: base }) => slope / base,
        _ => 1.0,
    }
}

/// Coefficients at an ionic strength and its root. The series stands for exp within 3e-5 over the whole range of the model, and
/// within 1e-8 in ponds.
#[inline(always)]
fn coefficients(c: &Warmth, strength: f64, root: f64) -> [f64; LANES] {
    let (a, b) = (c.of[SLOPE], c.of[SIZE]);
    let mut out = [0.0; LANES];
    let rows = CURVES.charge.iter().zip(&CURVES.size).zip(&CURVES.fixed).zip(&CURVES.linear).zip(&CURVES.davies);
    for (slot, ((((charge, size), fixed), linear), davies)) in out.iter_mut().zip(rows) {
        let ln = a * charge * root / (1.0 + (b * size + fixed) * root) + (linear + a * davies) * strength;
        let x = 0.25 * ln;
        let fourth = 1.0 + x * (1.0 + x * (1.0 / 2.0 + x * (1.0 / 6.0 + x * (1.0 / 24.0 + x * (1.0 / 120.0)))));
        let square = fourth * fourth;
        *slot = square * square;
    }
    out
}

/// Where a search stands. All zero: nowhere yet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Place {
    /// ln of the activity of the hydrogen ion is searched; this is the activity.
    h: f64,
    /// Activity of carbonate.
    carbonate: f64,
    /// Ionic strength.
    strength: f64,
    /// Activity of water.
    wet: f64,
    /// Free sulfate.
    sulfate: f64,
}

impl Place {
    /// One step further.
    fn step(&mut self, h: f64, found: &Look) {
        self.h *= stepped(h);
        self.strength = found.strength;
        self.sulfate = found.sulfate;
        self.wet = 1.0 - 0.017 * found.all.clamp(0.0, 10.0);
    }

    /// How far strength and sulfate are from what was found.
    fn away(&self, t: &Totals, found: &Look) -> f64 {
        let strength = (found.strength / self.strength - 1.0).abs();
        strength.max(if t.sulfate > 0.0 { (found.sulfate / self.sulfate - 1.0).abs() } else { 0.0 })
    }
}

/// What one look at a place finds.
struct Look {
    alkalinity: f64,
    /// d alkalinity / d ln h at the same carbonate, and / d ln carbonate.
    alkalinity_by: (f64, f64),
    carbon: f64,
    carbon_by_h: f64,
    strength: f64,
    all: f64,
    sulfate: f64,
    /// Activity of calcium.
    calcium: f64,
    /// In the order of [`CONDUCTANCES`].
    free: [f64; FREE],
}

#[inline(always)]
fn look(c: &Warmth, t: &Totals, p: &Place, gamma: &[f64; LANES]) -> Look {
    let [oh, hco3, co2, caoh, caco3, cahco3, caso4, mgoh, mgco3, mghco3, mgso4, nahco3, naso4, khco3, kso4, hso4] = {
        let mut k = [0.0; 16];
        k.copy_from_slice(&c.of[..16]);
        k
    };
    let [k, na, mg, ca, so4, r_co3, r_h, r_oh, r_hco3, r_caoh, r_cahco3, r_mgoh, r_mghco3, r_naso4, r_kso4, r_neutral] =
        *gamma;
    const MGSO4: f64 = times("MgSO4");
    const KHCO3: f64 = times("KHCO3");
    const CO2: f64 = times("CO2");
    // r_neutral^n for the other neutral species, near one: by its linear term.
    let away = 1.0 - r_neutral;
    let power = |n: f64| 1.0 - n * away + 0.5 * n * (n - 1.0) * away * away;
    let base = p.wet / p.h;
    let bicarbonate = p.carbonate * p.h;
    let sulfate = so4 * p.sulfate;
    // Calcium: what each unit of its activity makes.
    let (ca_oh, ca_co3) = (caoh * base * r_caoh, caco3 * p.carbonate * r_neutral);
    let (ca_hco3, ca_so4) = (cahco3 * bicarbonate * r_cahco3, caso4 * sulfate * r_neutral);
    let calcium = t.calcium / (1.0 + ca * (ca_oh + ca_co3 + ca_hco3 + ca_so4));
    let ca_active = ca * calcium;
    let (mg_oh, mg_co3) = (mgoh * base * r_mgoh, mgco3 * p.carbonate * r_neutral);
    let r_mgso4 = power(MGSO4);
    let (mg_hco3, mg_so4) = (mghco3 * bicarbonate * r_mghco3, mgso4 * sulfate * r_mgso4);
    let magnesium = t.magnesium / (1.0 + mg * (mg_oh + mg_co3 + mg_hco3 + mg_so4));
    let mg_active = mg * magnesium;
    let (na_hco3, na_so4) = (nahco3 * bicarbonate * r_mgso4, naso4 * sulfate * r_naso4);
    let sodium = t.sodium / (1.0 + na * (na_hco3 + na_so4));
    let na_active = na * sodium;
    let (k_hco3, k_so4) = (khco3 * bicarbonate * power(KHCO3), kso4 * sulfate * r_kso4);
    let potassium = t.potassium / (1.0 + k * (k_hco3 + k_so4));
    let k_active = k * potassium;
    let h_so4 = hso4 * p.h * r_caoh;
    let paired = ca_active * caso4 * r_neutral
        + mg_active * mgso4 * r_mgso4
        + na_active * naso4 * r_naso4
        + k_active * kso4 * r_kso4
        + h_so4;
    let free_sulfate = t.sulfate / (1.0 + so4 * paired);
    // Of the anions.
    let (m_oh, m_hco3) = (oh * base * r_oh, hco3 * bicarbonate * r_hco3);
    let (m_co3, m_h, m_hso4) = (p.carbonate * r_co3, p.h * r_h, h_so4 * sulfate);
    let m_co2 = co2 * bicarbonate * p.h / p.wet * power(CO2);
    let (c_oh, c_co3, c_hco3, c_so4) = (ca_active * ca_oh, ca_active * ca_co3, ca_active * ca_hco3, ca_active * ca_so4);
    let (g_oh, g_co3, g_hco3, g_so4) = (mg_active * mg_oh, mg_active * mg_co3, mg_active * mg_hco3, mg_active * mg_so4);
    let (n_hco3, n_so4, p_hco3, p_so4) = (na_active * na_hco3, na_active * na_so4, k_active * k_hco3, k_active * k_so4);
    let ones = m_hco3 + c_hco3 + g_hco3 + n_hco3 + p_hco3;
    let twos = m_co3 + c_co3 + g_co3;
    let bases = m_oh + c_oh + g_oh;
    let acids = m_h + m_hso4;
    let singles = potassium + sodium + t.chloride + t.nitrate + m_h + m_oh + m_hco3 + c_oh + c_hco3 + g_oh + g_hco3;
    let singles = singles + n_so4 + p_so4 + m_hso4;
    let doubles = calcium + magnesium + p.sulfate + m_co3;
    let neutrals = m_co2 + c_co3 + g_co3 + c_so4 + g_so4 + n_hco3 + p_hco3;
    Look {
        alkalinity: ones + 2.0 * twos + bases - acids,
        alkalinity_by: (ones - bases - acids, ones + 2.0 * twos),
        carbon: m_co2 + ones + twos,
        carbon_by_h: ones + 2.0 * m_co2,
        strength: 0.5 * singles + 2.0 * doubles,
        all: singles + doubles + neutrals,
        sulfate: free_sulfate,
        calcium: ca_active,
        free: [m_h, m_oh, sodium, potassium, calcium, magnesium, t.chloride, t.nitrate, free_sulfate, m_hco3, m_co3],
    }
}

/// exp of a small step, and of a large one well enough to get there.
fn stepped(x: f64) -> f64 {
    let half = 0.5 * x.clamp(-1.5, 1.5);
    (1.0 + half * (1.0 + half / 3.0)) / (1.0 - half * (1.0 - half / 3.0))
}

/// Passes after which a search gives up.
const MOST: usize = 60;

/// How far the last step of ln h, of the strength and of the sulfate may have gone: what is left after it is a tenth of that
/// or less.
const NEAR: f64 = 4e-3;
/// The same where lime comes down: what is left of ln h stands twice in the saturation that stops it.
const NEAR_LIME: f64 = 2e-4;
/// The same at 25 °C, where only conductivity is asked, which hardly hangs on pH.
const NEAR_25: f64 = 1e-2;

/// An open water, followed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Track {
    open: Place,
    told: Place,
    /// The water and the warmth of `open`.
    of: (Totals, f64),
    /// Activity of HCO3- times that of H+, at that warmth.
    carbonic: f64,
    carbon: f64,
    /// Calcite's ion product over its solubility product.
    over: f64,
    /// −d ln(over) / d(lime formed), kg/mol.
    slope: f64,
}

impl Track {
    /// A place to start from. Near one that is known: with all alkalinity bicarbonate, h goes with what the air gives and
    /// against alkalinity, and the rest with the ions. Anew: nothing paired.
    fn guess(&mut self, c: &Warmth, t: &Totals, pressure: f64) {
        let carbonic = c.of[GAS] * pressure * c.of[1] / c.of[2];
        let (was, known) = (&self.of.0, &mut self.open);
        let near =
            known.h > 0.0 && was.alkalinity > 1e-5 && t.alkalinity > 1e-5 && (was.sulfate > 0.0) == (t.sulfate > 0.0);
        if near {
            let swelled = t.strength() / was.strength();
            known.h *= carbonic / self.carbonic * was.alkalinity / t.alkalinity;
            known.strength *= swelled;
            self.told.strength *= swelled;
            if t.sulfate > 0.0 {
                let swelled = t.sulfate / was.sulfate;
                known.sulfate *= swelled;
                self.told.sulfate *= swelled;
            }
        } else {
            let h = carbonic / t.alkalinity.max(1e-6);
            *known = Place { h, carbonate: 0.0, strength: t.strength(), wet: 1.0, sulfate: t.sulfate };
            self.told = Place::default();
        }
        self.carbonic = carbonic;
    }

    /// One pass over an open water; how far it moved.
    #[inline]
    fn pass(&mut self, c: &Warmth, t: &Totals, pressure: f64) -> f64 {
        let p = &mut self.open;
        let dissolved = c.of[GAS] * pressure / c.of[2];
        p.carbonate = dissolved * p.wet / (p.h * p.h);
        let root = libm::sqrt(p.strength);
        let found = look(c, t, p, &coefficients(c, p.strength, root));
        let slope = found.alkalinity_by.0 - 2.0 * found.alkalinity_by.1;
        let step = (t.alkalinity - found.alkalinity) / slope;
        let moved = step.abs().max(p.away(t, &found));
        p.step(step, &found);
        p.carbonate = dissolved * p.wet / (p.h * p.h);
        self.over = found.calcium * p.carbonate / c.of[LIME];
        self.slope = 1.0 / t.calcium.max(1e-12) - 4.0 / slope;
        self.carbon = found.carbon + step * (found.carbon_by_h - 2.0 * found.carbon);
        moved
    }

    /// Brings the search to a water open to carbon dioxide of a pressure in atm. False when it does not arrive.
    fn arrive(&mut self, c: &Warmth, t: &Totals, pressure: f64) -> bool {
        if self.of == (*t, c.celsius) && self.open.h > 0.0 {
            return true;
        }
        self.guess(c, t, pressure);
        for _ in 0..MOST {
            let moved = self.pass(c, t, pressure);
            if moved < NEAR {
                self.of = (*t, c.celsius);
                return true;
            }
            if !moved.is_finite() {
                break;
            }
        }
        *self = Self::default();
        false
    }

    /// pH of an open water. `None` when the search does not arrive.
    pub fn ph(&mut self, c: &Warmth, t: &Totals, pressure: f64) -> Option<f64> {
        self.arrive(c, t, pressure).then(|| -libm::log(self.open.h) * (1.0 / LN10))
    }

    /// Lime that comes down from an open water until calcite's saturation quotient is at `most`, mol/kg; 0 where it is under
    /// that. `None` when the search does not arrive.
    pub fn lime(&mut self, c: &Warmth, t: &Totals, pressure: f64, most: f64) -> Option<f64> {
        if !self.arrive(c, t, pressure) {
            return None;
        }
        if t.calcium <= 0.0 || t.alkalinity <= 0.0 || self.over <= most {
            return Some(0.0);
        }
        let highest = 0.999_999 * t.calcium.min(0.5 * t.alkalinity);
        let mut formed = 0.0;
        for _ in 0..MOST {
            let step = libm::log(self.over / most) / self.slope;
            // Never more than half way to the end at once: the curve is steep there.
            let next = (formed + step).clamp(0.0, 0.5 * (formed + highest));
            let moved = (next - formed).abs();
            formed = next;
            let left = Totals { calcium: t.calcium - formed, alkalinity: t.alkalinity - 2.0 * formed, ..*t };
            let passed = self.pass(c, &left, pressure);
            if moved < LIMED * t.calcium && passed < NEAR_LIME {
                self.of = (left, c.celsius);
                return Some(formed);
            }
            if !passed.is_finite() {
                break;
            }
        }
        *self = Self::default();
        None
    }

    /// Conductivity at 25 °C of an open water closed and brought there, µS/cm. `None` when the search does not arrive.
    pub fn conductivity(&mut self, table: &Table, c: &Warmth, t: &Totals, pressure: f64) -> Option<f64> {
        if !self.arrive(c, t, pressure) {
            return None;
        }
        if self.told.h <= 0.0 {
            self.told = self.open;
        }
        let at = &table.told;
        for _ in 0..MOST {
            let p = &mut self.told;
            let root = libm::sqrt(p.strength);
            let mut found = look(at, t, p, &table.told_coefficients(p.strength, root));
            // Two balances, alkalinity and carbon, in ln h and ln carbonate.
            let (a, b) = (t.alkalinity - found.alkalinity, self.carbon - found.carbon);
            let ((a_h, a_c), (b_h, b_c)) = (found.alkalinity_by, (found.carbon_by_h, found.carbon));
            let over = 1.0 / (a_h * b_c - a_c * b_h);
            let (step_h, step_c) = ((a * b_c - b * a_c) * over, (b * a_h - a * b_h) * over);
            let moved = step_h.abs().max(step_c.abs()).max(p.away(t, &found));
            p.step(step_h, &found);
            p.carbonate *= stepped(step_c);
            if moved < NEAR_25 {
                // The last step, taken along.
                let [h, oh, .., hco3, co3] = &mut found.free;
                *h *= 1.0 + step_h;
                *oh *= 1.0 - step_h;
                *hco3 *= 1.0 + step_h + step_c;
                *co3 *= 1.0 + step_c;
                return Some(conducted(&found));
            }
            if !moved.is_finite() {
                break;
            }
        }
        self.told = Place::default();
        None
    }
}

/// How far the last step of lime may have gone, as a share of the calcium.
const LIMED: f64 = 1e-6;

/// Ionic conductivities at 25 °C side by side, in the order of [`CONDUCTANCES`]: λ, A and B.
struct Conducting {
    limiting: [f64; FREE],
    slope: [f64; FREE],
    damping: [f64; FREE],
}

const FREE: usize = 11;

const fn conducting() -> Conducting {
    // The order in which `look` hands out the free ions.
    const ORDER: [&str; FREE] = ["H+", "OH-", "Na+", "K+", "Ca+2", "Mg+2", "Cl-", "NO3-", "SO4-2", "HCO3-", "CO3-2"];
    let none = [0.0; FREE];
    let mut out = Conducting { limiting: none, slope: none, damping: none };
    let mut i = 0;
    while i < FREE {
        let row = &CONDUCTANCES[i];
        assert!(species(row.name) == species(ORDER[i]));
        let ([l2, l1, l0], [a2, a1, a0]) = (row.limiting, row.slope);
        out.limiting[i] = (l2 * 25.0 + l1) * 25.0 + l0;
        out.slope[i] = (a2 * 25.0 + a1) * 25.0 + a0;
        out.damping[i] = row.damping;
        i += 1;
    }
    out
}

const _: () = assert!(CONDUCTANCES.len() == FREE);
static AT_25: Conducting = conducting();

/// What the free ions conduct at 25 °C, µS/cm: [`conductance`](super::conductance).
#[inline]
fn conducted(found: &Look) -> f64 {
    let root = libm::sqrt(found.strength);
    let rows = AT_25.limiting.iter().zip(&AT_25.slope).zip(&AT_25.damping).zip(&found.free);
    let mut each = [0.0; FREE];
    for (each, (((limiting, slope), damping), m)) in each.iter_mut().zip(rows) {
        *each = m * (limiting - slope * root / (1.0 + damping * root));
    }
    1000.0 * each.iter().sum::<f64>()
}

/// The activity coefficient of a lane's species by the full model, for the tests of the series.
#[must_use]
pub fn lane(index: usize, celsius: f64, strength: f64) -> Option<(f64, f64)> {
    let (name, sign) = NAMES.get(index)?;
    let (a, b) = debye_hueckel(celsius);
    let charge = charge_of(name);
    let whole = curve(activity_of(name), charge * charge, a, b);
    let root = libm::sqrt(strength);
    let ln = -whole.c * root / (1.0 + whole.d * root) + whole.e * strength;
    let ours = coefficients(&Warmth::exact(celsius)?, strength, root);
    Some((*ours.get(index)?, libm::exp(sign * ln)))
}
