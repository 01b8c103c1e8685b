//! The carbonate system of dilute fresh water, ideal solution. Concentrations in mol/m³ (mmol/L).
//!
//! Constants: Plummer and Busenberg (1982), Geochim. Cosmochim. Acta 46:1011-1040, 0 to 90 °C (rows CE-01 to CE-03);
//! water: the expression shipped with the public geochemistry program's reference table of constants.

/// log₁₀ K_H of CO2(g) = CO2(aq), mol/(L atm). `t_kelvin`: 273.15 to 363.15.
#[must_use]
pub fn log_kh(t_kelvin: f64) -> f64 {
    let t = t_kelvin;
    108.3865 + 0.019_850_76 * t - 6919.53 / t - 40.451_54 * libm::log10(t) + 669_365.0 / (t * t)
}

/// log₁₀ K₁ of CO2(aq) + H2O = H+ + HCO3-. `t_kelvin`: 273.15 to 363.15.
#[must_use]
pub fn log_k1(t_kelvin: f64) -> f64 {
    let t = t_kelvin;
    -356.3094 - 0.060_919_64 * t + 21_834.37 / t + 126.8339 * libm::log10(t) - 1_684_915.0 / (t * t)
}

/// log₁₀ K₂ of HCO3- = H+ + CO3-2. `t_kelvin`: 273.15 to 363.15.
#[must_use]
pub fn log_k2(t_kelvin: f64) -> f64 {
    let t = t_kelvin;
    -107.8871 - 0.032_528_49 * t + 5151.79 / t + 38.925_61 * libm::log10(t) - 563_713.9 / (t * t)
}

/// log₁₀ K_w of H2O = H+ + OH-. `t_kelvin`: 273.15 to 373.15.
#[must_use]
pub fn log_kw(t_kelvin: f64) -> f64 {
    let t = t_kelvin;
    293.292_27 + 0.136_083_3 * t - 10_576.913 / t - 123.731_58 * libm::log10(t) - 6.996_455e-5 * t * t
}

/// A water's inorganic carbon state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carbonate {
    /// pH.
    pub ph: f64,
    /// Inorganic carbon, mmol/L.
    pub carbon: f64,
    /// What is left of the alkalinity balance at this pH, relative to the alkalinity.
    pub residual: f64,
    /// Bisections made.
    pub iterations: u32,
}

/// Shares of inorganic carbon as HCO3- and CO3-2 at a pH, and OH- less H+ in mmol/L.
fn shares(ph: f64, t_kelvin: f64) -> (f64, f64, f64) {
    let h = libm::pow(10.0, -ph);
    let k1 = libm::pow(10.0, log_k1(t_kelvin));
    let k2 = libm::pow(10.0, log_k2(t_kelvin));
    let total = h * h + k1 * h + k1 * k2;
    let water = (libm::pow(10.0, log_kw(t_kelvin)) / h - h) * 1000.0;
    (k1 * h / total, k1 * k2 / total, water)
}

/// Inorganic carbon (mmol/L) of a water of this alkalinity (mmol charge/L) and pH at `t_kelvin`.
#[must_use]
pub fn carbon_of(alkalinity: f64, ph: f64, t_kelvin: f64) -> f64 {
    let (bicarbonate, carbonate, water) = shares(ph, t_kelvin);
    ((alkalinity - water) / (bicarbonate + 2.0 * carbonate)).max(0.0)
}

/// Halves `[4, 12]` until the balance closes. `alkalinity_at` must grow with pH.
fn bracketed(alkalinity: f64, alkalinity_at: impl Fn(f64) -> f64) -> (f64, f64, u32) {
    let (mut low, mut high) = (4.0_f64, 12.0_f64);
    let mut count = 0;
    while high - low > 1e-13 && count < 60 {
        let middle = 0.5 * (low + high);
        if alkalinity_at(middle) < alkalinity {
            low = middle
        } else {
            high = middle
        }
        count += 1;
    }
    let ph = 0.5 * (low + high);
    (ph, (alkalinity_at(ph) - alkalinity) / alkalinity.abs().max(1e-6), count)
}

/// pH of a closed water: alkalinity (mmol charge/L) and inorganic carbon (mmol/L) given, at `t_kelvin`.
#[must_use]
pub fn closed(alkalinity: f64, carbon: f64, t_kelvin: f64) -> Carbonate {
    let (ph, residual, iterations) = bracketed(alkalinity, |ph| {
        let (bicarbonate, carbonate, water) = shares(ph, t_kelvin);
        carbon * (bicarbonate + 2.0 * carbonate) + water
    });
    Carbonate { ph, carbon, residual, iterations }
}

/// pH of a water at rest with air of this carbon dioxide pressure (log₁₀ atm), at `t_kelvin`.
#[must_use]
pub fn open(alkalinity: f64, log_co2_atm: f64, t_kelvin: f64) -> Carbonate {
    let dissolved = libm::pow(10.0, log_kh(t_kelvin) + log_co2_atm) * 1000.0;
    let carbon_at = |ph: f64| {
        let (bicarbonate, carbonate, _) = shares(ph, t_kelvin);
        dissolved / (1.0 - bicarbonate - carbonate).max(1e-12)
    };
    let (ph, residual, iterations) = bracketed(alkalinity, |ph| {
        let (bicarbonate, carbonate, water) = shares(ph, t_kelvin);
        carbon_at(ph) * (bicarbonate + 2.0 * carbonate) + water
    });
    Carbonate { ph, carbon: carbon_at(ph), residual, iterations }
}

/// Carbon dioxide in air, log₁₀ atm: the value of the reference tables.
pub const AIR_LOG_CO2: f64 = -3.38;
