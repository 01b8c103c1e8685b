//! Gases in fresh water: the share of ammonia that harms fish, and oxygen at rest with air.

use super::activity::ZERO;

/// Share of total ammonia that is NH3. `celsius`: 0 to 50. Emerson and others (1975),
/// [`AMMONIA_EMERSON`](crate::reference::AMMONIA_EMERSON).
#[must_use]
pub fn unionised_share(ph: f64, celsius: f64) -> f64 {
    let pk = 0.090_18 + 2729.92 / (celsius + ZERO);
    1.0 / (libm::pow(10.0, pk - ph) + 1.0)
}

/// Oxygen in fresh water at rest with air of 1 atm, mg/L. `celsius`: 0 to 40. Benson and Krause (1984),
/// [`OXYGEN_SATURATION`](crate::reference::OXYGEN_SATURATION).
#[must_use]
pub fn oxygen(celsius: f64) -> f64 {
    let over = 1.0 / (celsius + ZERO);
    libm::exp(-139.344_11 + over * (1.575_701e5 + over * (-6.642_308e7 + over * (1.243_800e10 - over * 8.621_949e11))))
}
