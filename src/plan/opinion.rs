//! A second opinion on pH for the safety check: carbonates alone, with constants conditional on ionic strength (Davies) and on the
//! pairs that calcium and magnesium make with them taken as one metal. It shares the constants of temperature with the solver and
//! nothing else; the two agree within a few hundredths.

use super::{Desk, readings};
use crate::chem::carbonate::{AIR_LOG_CO2, log_k1, log_k2, log_kh, log_kw};
use crate::site::Readings;
use crate::units::Si;
use crate::units::table::MICROSIEMENS;

/// A water as this file sees it: mol/L and kelvin.
#[derive(Clone, Copy, Debug)]
pub struct Plain {
    alkalinity: f64,
    hardness: f64,
    strength: f64,
    kelvin: f64,
    /// Inorganic carbon.
    carbon: f64,
}

/// log₁₀ of the constants of CaCO3 and CaHCO3+ (magnesium's are 0.2 and 0.1 lower), 25 °C: Plummer and Busenberg 1982 (CE-01).
const PAIRS: (f64, f64) = (3.2, 1.1);
/// mol/L of ionic strength a µS/cm (Langelier's rule, from memory).
const STRENGTH: f64 = 1.6e-5;

impl Plain {
    /// From readings, at one pH. `kelvin` where no temperature was read.
    pub fn of(read: &Readings, ph: f64, kelvin: Option<f64>) -> Option<Self> {
        let alkalinity = read.carbonate_hardness.as_ref()?.value.si() / 1000.0;
        let general = read.general_hardness.as_ref().map(|r| r.value.si() / 1000.0);
        let calcium = read.calcium.as_ref().map(|r| r.value.si() / 1000.0);
        let hardness = general.or(calcium).unwrap_or(0.5 * alkalinity);
        let meter = read.conductivity.as_ref().map(|r| STRENGTH * MICROSIEMENS.of(r.value.si()));
        let kelvin = read.temperature.as_ref().map(|r| r.value.si()).or(kelvin)?;
        let strength = meter.unwrap_or(0.5 * (alkalinity + 4.0 * hardness) + 0.5 * alkalinity.max(2.0 * hardness));
        let mut water = Self { alkalinity, hardness, strength, kelvin, carbon: 0.0 };
        let (bicarbonate, carbonate, rest) = water.shares(ph);
        water.carbon = ((alkalinity - rest) / (bicarbonate + 2.0 * carbonate)).max(0.0);
        Some(water)
    }

    /// With a bicarbonate, mol/L.
    pub fn buffered(self, amount: f64) -> Self {
        let strength = self.strength + amount;
        Self { alkalinity: self.alkalinity + amount, carbon: self.carbon + amount, strength, ..self }
    }

    /// With a share of another water in it.
    pub fn mixed(self, other: Self, share: f64) -> Self {
        let blend = |a: f64, b: f64| a + share * (b - a);
        Self {
            alkalinity: blend(self.alkalinity, other.alkalinity),
            hardness: blend(self.hardness, other.hardness),
            strength: blend(self.strength, other.strength),
            kelvin: blend(self.kelvin, other.kelvin),
            carbon: blend(self.carbon, other.carbon),
        }
    }

    /// Shares of the carbon as HCO3- and CO3-2, pairs counted, and OH- less H+, at a pH.
    fn shares(&self, ph: f64) -> (f64, f64, f64) {
        let ten = |power: f64| libm::pow(10.0, power);
        let root = libm::sqrt(self.strength);
        let log_single = -0.5 * (root / (1.0 + root) - 0.3 * self.strength);
        let (single, double) = (ten(log_single), ten(4.0 * log_single));
        let h = ten(-ph);
        // Free species, of one mole of CO2.
        let bicarbonate = ten(log_k1(self.kelvin)) / (h * single);
        let carbonate = ten(log_k1(self.kelvin) + log_k2(self.kelvin)) / (h * h * double);
        let bicarbonate = bicarbonate * (1.0 + ten(PAIRS.1) * self.hardness * double);
        let carbonate = carbonate * (1.0 + ten(PAIRS.0) * self.hardness * double * double);
        let all = 1.0 + bicarbonate + carbonate;
        let water = ten(log_kw(self.kelvin)) / (h * single) - h / single;
        (bicarbonate / all, carbonate / all, water)
    }

    fn solved(&self, alkalinity_at: impl Fn(f64) -> f64) -> f64 {
        let (mut low, mut high) = (4.0_f64, 12.0_f64);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if alkalinity_at(middle) < self.alkalinity { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    }

    /// pH, no gas exchanged.
    pub fn closed(&self) -> f64 {
        self.solved(|ph| {
            let (bicarbonate, carbonate, water) = self.shares(ph);
            self.carbon * (bicarbonate + 2.0 * carbonate) + water
        })
    }

    /// pH at rest with air.
    pub fn open(&self) -> f64 {
        let dissolved = libm::pow(10.0, log_kh(self.kelvin) + AIR_LOG_CO2);
        self.solved(|ph| {
            let (bicarbonate, carbonate, water) = self.shares(ph);
            dissolved / (1.0 - bicarbonate - carbonate).max(1e-12) * (bicarbonate + 2.0 * carbonate) + water
        })
    }
}

/// The pond at both hours of its pH.
pub fn pond(desk: &Desk<'_>) -> Vec<Plain> {
    let read = Readings {
        carbonate_hardness: readings::fresh(desk, |r| r.carbonate_hardness.as_ref()).cloned(),
        general_hardness: readings::fresh(desk, |r| r.general_hardness.as_ref()).filter(|r| !r.less_than).cloned(),
        calcium: readings::fresh(desk, |r| r.calcium.as_ref()).filter(|r| !r.less_than).cloned(),
        conductivity: readings::fresh(desk, |r| r.conductivity.as_ref()).filter(|r| !r.less_than).cloned(),
        temperature: readings::fresh(desk, |r| r.temperature.as_ref()).cloned(),
        ..Readings::default()
    };
    let hours = [readings::fresh(desk, |r| r.ph_morning.as_ref()), readings::fresh(desk, |r| r.ph_afternoon.as_ref())];
    hours.into_iter().flatten().filter_map(|ph| Plain::of(&read, ph.value.si(), None)).collect()
}

/// The supply with buffer in it and less the acid that taking out its chlorine makes (both mol/L), as warm as the pond where it was not
/// read.
pub fn supply(desk: &Desk<'_>, pond: &Plain, buffer: f64, acid: f64) -> Option<Plain> {
    let read = &desk.site.supply.readings;
    let ph = read.ph_morning.as_ref().or(read.ph_afternoon.as_ref())?.value.si();
    let supply = Plain::of(read, ph, Some(pond.kelvin))?.buffered(buffer);
    Some(Plain { alkalinity: supply.alkalinity - acid, ..supply })
}

/// The largest move of pH by `count` doses of a bicarbonate, mol/L each, closed and at rest with air.
pub fn buffered_shift(start: &Plain, dose: f64, count: usize) -> f64 {
    let (mut water, mut now, mut rest) = (*start, start.closed(), start.open());
    let mut most = 0.0_f64;
    for _ in 0..count {
        water = water.buffered(dose);
        let (next, rested) = (water.closed(), water.open());
        most = most.max((next - now).abs()).max((rested - rest).abs());
        (now, rest) = (next, rested);
    }
    most
}

/// The move of pH by one change of a share, closed and at rest with air.
pub fn mixed_shift(pond: &Plain, new: &Plain, share: f64) -> f64 {
    let mixed = pond.mixed(*new, share);
    (mixed.closed() - pond.closed()).abs().max((mixed.open() - pond.open()).abs())
}
