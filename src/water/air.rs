//! A dilute water at rest with the air: pH, lime and conductivity in closed form, for the daily balance.
//!
//! Ions are taken as single, with Davies activities; pairs are not counted, so saturation comes out a little high (a tenth
//! of a unit in soft water, two in hard) and lime comes down a little early: the kinder side for a promised hardness.

use super::balance::{Chemistry, SOLUTES, Solutes, solute};
use crate::chem::carbonate::{log_k1, log_k2, log_kh, log_kw};

/// What of a water's chemistry is settled for a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dilute {
    /// log₁₀ of the carbon dioxide pressure it rests with, atm.
    pub log_co2: f64,
    /// Saturation index above which lime comes down.
    pub threshold: f64,
}

/// Constants of one temperature, concentrations in mol/L.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// K1 · KH · p: activity of HCO3- times that of H+.
    bicarbonate: f64,
    /// K1 · K2 · KH · p: activity of CO3-2 times that of H+ squared.
    carbonate: f64,
    /// Kw.
    water: f64,
    /// Solubility product of calcite.
    calcite: f64,
}

/// log₁₀ K of calcite = Ca+2 + CO3-2; `t_kelvin` 273 to 363 (the reference tables' constant of the public geochemistry
/// program's database: 17.118 − 0.046528 T − 3496 / T).
#[must_use]
pub fn log_calcite(t_kelvin: f64) -> f64 {
    17.118 - 0.046_528 * t_kelvin - 3496.0 / t_kelvin
}

/// Activity coefficient of a single charge by Davies, at an ionic strength in mol/L.
fn single(strength: f64) -> f64 {
    let root = libm::sqrt(strength);
    libm::pow(10.0, -0.5 * (root / (1.0 + root) - 0.3 * strength))
}

/// Ionic strength, mol/L, of concentrations in mol/m³; all alkalinity as bicarbonate.
#[must_use]
pub fn strength(water: &Solutes) -> f64 {
    use solute::{ALKALINITY, CALCIUM, CHLORIDE, MAGNESIUM, NITRATE, POTASSIUM, SODIUM, SULFATE};
    let single = water[ALKALINITY] + water[SODIUM] + water[POTASSIUM] + water[CHLORIDE] + water[NITRATE];
    let double = water[CALCIUM] + water[MAGNESIUM] + water[SULFATE];
    (0.5 * (single + 4.0 * double) / 1000.0).max(0.0)
}

/// Limiting equivalent conductivities at 25 °C times charge, S cm²/mol, in the order of [`Solutes`]: EC-02 (sodium, potassium,
/// half calcium, half magnesium), EC-01 (chloride, bicarbonate, half sulfate; nitrate 71.4: CRC Handbook, from memory).
/// Copper is too little to count.
const CONDUCTIVITIES: Solutes = [44.5, 2.0 * 59.5, 2.0 * 53.06, 50.11, 73.5, 76.31, 2.0 * 80.0, 71.4, 0.0];

impl Warmth {
    /// log₁₀ of carbon dioxide's pressure in atm; °C.
    #[must_use]
    pub fn new(log_co2: f64, celsius: f64) -> Self {
        let t = celsius.clamp(0.0, 45.0) + 273.15;
        let dissolved = log_kh(t) + log_co2;
        Self {
            bicarbonate: libm::pow(10.0, dissolved + log_k1(t)),
            carbonate: libm::pow(10.0, dissolved + log_k1(t) + log_k2(t)),
            water: libm::pow(10.0, log_kw(t)),
            calcite: libm::pow(10.0, log_calcite(t)),
        }
    }

    /// Activity of H+ in a water of this alkalinity (mol/L) at rest with the air, from the balance
    /// alkalinity = (K1 KH p + Kw) / (g1 h) + 2 K1 K2 KH p / (g2 h²) − h / g1.
    fn protons(&self, alkalinity: f64, g1: f64) -> f64 {
        let g2 = g1 * g1 * g1 * g1;
        let (once, twice) = ((self.bicarbonate + self.water) / g1, 2.0 * self.carbonate / g2);
        if alkalinity > 1e-5 {
            // A square in 1/h; the last term moves it by a hair, and twice round settles it.
            let mut h = 0.0;
            for _ in 0..3 {
                let left = alkalinity + h / g1;
                h = (once + libm::sqrt(once * once + 4.0 * twice * left)) / (2.0 * left);
            }
            return h;
        }
        let (mut low, mut high) = (4.0_f64, 9.0_f64);
        for _ in 0..50 {
            let ph = 0.5 * (low + high);
            let h = libm::pow(10.0, -ph);
            if once / h + twice / (h * h) - h / g1 < alkalinity { low = ph } else { high = ph }
        }
        libm::pow(10.0, -0.5 * (low + high))
    }
}

impl Dilute {
    /// Saturation of calcite, as a quotient: 1 at equilibrium.
    fn over(warmth: &Warmth, alkalinity: f64, calcium: f64, g1: f64) -> f64 {
        let h = warmth.protons(alkalinity, g1);
        let g2 = g1 * g1 * g1 * g1;
        calcium * g2 * warmth.carbonate / (h * h) / warmth.calcite
    }

    /// Saturation index of calcite.
    #[must_use]
    pub fn saturation(&self, warmth: &Warmth, water: &Solutes) -> f64 {
        let g1 = single(strength(water));
        libm::log10(Self::over(warmth, water[solute::ALKALINITY] / 1000.0, water[solute::CALCIUM] / 1000.0, g1))
    }
}

impl Chemistry for Dilute {
    type Warmth = Warmth;

    fn at(&self, celsius: f64) -> Warmth {
        Warmth::new(self.log_co2, celsius)
    }

    fn ph(&self, warmth: &Warmth, water: &Solutes) -> f64 {
        -libm::log10(warmth.protons(water[solute::ALKALINITY] / 1000.0, single(strength(water))))
    }

    fn lime(&self, warmth: &Warmth, water: &Solutes) -> f64 {
        let (alkalinity, calcium) = (water[solute::ALKALINITY] / 1000.0, water[solute::CALCIUM] / 1000.0);
        if alkalinity <= 0.0 || calcium <= 0.0 {
            return 0.0;
        }
        let limit = libm::pow(10.0, self.threshold);
        // Activities only lower saturation: a water under the limit without them is under it with them, and most days
        // need no more than this.
        if Self::over(warmth, alkalinity, calcium, 1.0) <= limit {
            return 0.0;
        }
        // Each mole that comes down takes four charges squared of calcium and two of alkalinity from the strength.
        let strength = strength(water);
        let at = |formed: f64| {
            let g1 = single((strength - 3.0 * formed).max(0.0));
            Self::over(warmth, alkalinity - 2.0 * formed, calcium - formed, g1) - limit
        };
        if at(0.0) <= 0.0 {
            return 0.0;
        }
        let (mut low, mut high) = (0.0, calcium.min(alkalinity / 2.0) * 0.999);
        let (mut at_low, mut at_high) = (at(low), at(high));
        if at_high >= 0.0 {
            return high * 1000.0;
        }
        let mut formed = high;
        for step in 0..60 {
            // False position with halving in between: the curve is steep at one end and flat at the other.
            formed = if step % 3 == 2 { 0.5 * (low + high) } else { low + (high - low) * at_low / (at_low - at_high) };
            let here = at(formed);
            if here > 0.0 {
                (low, at_low) = (formed, here);
            } else {
                (high, at_high) = (formed, here);
            }
            if here.abs() < 1e-12 * limit || high - low < 1e-15 {
                break;
            }
        }
        formed * 1000.0
    }

    fn conductivity(&self, water: &Solutes) -> f64 {
        conductivity(water)
    }
}

/// Conductivity at 25 °C, µS/cm, of concentrations in mol/m³: limiting conductivities held back by the square of a single
/// charge's activity (Standard Methods 2510, from memory). Within 4 % of the reference tables in the mean.
#[must_use]
pub fn conductivity(water: &Solutes) -> f64 {
    let free: f64 = CONDUCTIVITIES.iter().zip(water).map(|(each, c)| each * c).sum();
    let activity = single(strength(water));
    free * activity * activity
}

/// What is known of a water before its sodium and chloride are found, mol/m³.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// All solutes that were measured; sodium and chloride are the least they may be.
    pub water: Solutes,
    /// µS/cm at 25 °C.
    pub conductivity: Option<f64>,
}

/// A water whose charges balance and whose conductivity is as read: what is lacking is sodium or chloride, and after that
/// salt of both. The second value is how far the conductivity so found lies over the reading, as a share of it: above nothing
/// where the measured ions alone conduct more than was read.
#[must_use]
pub fn completed(known: &Known) -> (Solutes, f64) {
    use solute::{ALKALINITY, CALCIUM, CHLORIDE, MAGNESIUM, NITRATE, POTASSIUM, SODIUM, SULFATE};
    let mut water = known.water;
    let lacking = |w: &Solutes| {
        w[ALKALINITY] + w[CHLORIDE] + 2.0 * w[SULFATE] + w[NITRATE]
            - w[SODIUM]
            - w[POTASSIUM]
            - 2.0 * (w[CALCIUM] + w[MAGNESIUM])
    };
    let gap = lacking(&water);
    if gap > 0.0 {
        water[SODIUM] += gap;
    } else {
        water[CHLORIDE] -= gap;
    }
    let Some(read) = known.conductivity else { return (water, 0.0) };
    let with = |salt: f64| {
        let mut more: [f64; SOLUTES] = water;
        more[SODIUM] += salt;
        more[CHLORIDE] += salt;
        more
    };
    let least = conductivity(&water);
    if least >= read || read <= 0.0 {
        return (water, if read > 0.0 { least / read - 1.0 } else { 0.0 });
    }
    let (mut low, mut high) = (0.0, read);
    for _ in 0..60 {
        let salt = 0.5 * (low + high);
        if conductivity(&with(salt)) < read { low = salt } else { high = salt }
    }
    (with(0.5 * (low + high)), 0.0)
}
