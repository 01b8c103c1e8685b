//! Pure water and the activity of what is dissolved in it.
//!
//! The extended Debye-Hückel model of the reference tables [`ACTIVITY_MODEL`](crate::reference::ACTIVITY_MODEL). Kernels in
//! bare numbers; temperatures in °C, ionic strength in mol/kg of water.

use crate::reference::chemistry::{Activity, LogK};

/// ln 10.
pub(super) const LN10: f64 = std::f64::consts::LN_10;
/// Gas constant, kJ/(mol K), to the digits of the reference tables.
const GAS: f64 = 8.314_46e-3;
/// 0 °C in kelvin.
pub(super) const ZERO: f64 = 273.15;

/// Density of pure water at 1 atm, kg/L. `celsius`: 0 to 100. Source: Kell (1975) J. Chem. Eng. Data 20:97-105.
#[must_use]
pub fn density(celsius: f64) -> f64 {
    let t = celsius;
    let above = 999.839_52
        + t * (16.945_176 + t * (-7.987_040_1e-3 + t * (-46.170_461e-6 + t * (105.563_02e-9 + t * -280.542_53e-12))));
    above / (1.0 + 16.879_850e-3 * t) / 1000.0
}

/// Relative permittivity of pure water at 1 atm. `celsius`: 0 to 100. Source: Bradley and Pitzer (1979) J. Phys. Chem.
/// 83:1599-1603.
#[must_use]
pub fn permittivity(celsius: f64) -> f64 {
    let k = celsius + ZERO;
    let at_1000_bar = 342.79 * libm::exp(k * (-5.0866e-3 + k * 9.4690e-7));
    let c = -2.0525 + 3115.9 / (k - 182.89);
    let b = -8032.5 + 4.2142e6 / k + 2.1417 * k;
    at_1000_bar + c * libm::log((b + 1.013_25) / (b + 1000.0))
}

/// Debye-Hückel A (for log₁₀, (kg/mol)^½) and B ((kg/mol)^½ per ångström). `celsius`: 0 to 100.
#[must_use]
pub fn debye_hueckel(celsius: f64) -> (f64, f64) {
    let (rho, weak) = (density(celsius), permittivity(celsius) * (celsius + ZERO));
    (1.824_83e6 * libm::sqrt(rho) / (weak * libm::sqrt(weak)), 50.2916 * libm::sqrt(rho / weak))
}

/// log₁₀ of an equilibrium constant at a temperature in °C, 0 to 50.
#[must_use]
pub fn log_k(row: &LogK, celsius: f64) -> f64 {
    let kelvin = celsius + ZERO;
    at(row, kelvin, libm::log10(kelvin))
}

/// [`log_k`] with the logarithm at hand.
pub(super) fn at(row: &LogK, kelvin: f64, log_kelvin: f64) -> f64 {
    match *row {
        LogK::Fit([a1, a2, a3, a4, a5, a6]) => {
            let over = 1.0 / kelvin;
            a1 + a2 * kelvin + a3 * over + a4 * log_kelvin + a5 * over * over + a6 * kelvin * kelvin
        }
        LogK::Enthalpy { at_25, enthalpy } => at_25 - enthalpy / (LN10 * GAS) * (1.0 / kelvin - 1.0 / 298.15),
    }
}

/// ln γ as all three models write it: -c √I / (1 + d √I) + e I.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Curve {
    pub c: f64,
    pub d: f64,
    pub e: f64,
}

/// The curve of a species of charge² `z2` under Debye-Hückel A (log₁₀) and B (per Å).
pub(super) fn curve(activity: Activity, z2: f64, a: f64, b: f64) -> Curve {
    let strong = LN10 * a * z2;
    match activity {
        Activity::Extended { size, slope } => Curve { c: strong, d: b * size, e: LN10 * slope },
        Activity::Davies => Curve { c: strong, d: 1.0, e: 0.3 * strong },
        Activity::Neutral { slope } => Curve { c: 0.0, d: 0.0, e: LN10 * slope },
    }
}
