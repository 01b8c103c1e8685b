//! Copper from the bars, by Faraday's law, and what an amount of it makes in a pond.

use crate::reference::{ATOMIC_WEIGHTS, FARADAY, RELEASE};
use crate::units::table::{
    COULOMBS_PER_MOLE, GRAMS_PER_DAY, GRAMS_PER_MOLE, MILLIAMPERE, MILLIGRAMS_PER_DAY, ONE, weight,
};
use crate::units::{ElectricCurrent, Ratio, Volume};
use crate::workings::Figure;
use uom::si::f64::{ElectricCharge, MassRate, MolarMass};

/// Mass a second and cubic metre: concentration over time.
pub type ConcentrationRate = <MassRate as std::ops::Div<Volume>>::Output;
/// Charge a mole.
pub type ChargePerMole = <ElectricCharge as std::ops::Div<uom::si::f64::AmountOfSubstance>>::Output;

/// Molar mass of copper, charges an atom, and the Faraday constant.
fn constants() -> (Figure<MolarMass>, Figure<Ratio>, Figure<ChargePerMole>) {
    (
        Figure::cited(weight::CU, "M(Cu)", "molar mass of copper", &GRAMS_PER_MOLE, &ATOMIC_WEIGHTS),
        Figure::counted(2.0, "z", "charges an atom", &ONE),
        Figure::cited(96_485.332_12, "F", "Faraday constant", &COULOMBS_PER_MOLE, &FARADAY),
    )
}

/// Copper freed at a current: I · M(Cu) / (z · F), every ampere taken to free copper (EL-07: never assume less when
/// capping a concentration).
#[must_use]
pub fn release(id: &str, title: &str, current: &Figure<ElectricCurrent>) -> Figure<MassRate> {
    let (copper, charges, faraday) = constants();
    (current * copper / (charges * faraday)).named(id, title, "w", &GRAMS_PER_DAY).from_source(&RELEASE)
}

/// The current that frees so much copper: w · z · F / M(Cu), [`release`] turned round.
#[must_use]
pub fn current(id: &str, title: &str, symbol: &str, release: &Figure<MassRate>) -> Figure<ElectricCurrent> {
    let (copper, charges, faraday) = constants();
    (release * (charges * faraday) / copper).named(id, title, symbol, &MILLIAMPERE).from_source(&RELEASE)
}

/// Rise of copper in a day before losses.
#[must_use]
pub fn rise(id: &str, title: &str, release: &Figure<MassRate>, volume: &Figure<Volume>) -> Figure<ConcentrationRate> {
    (release / volume).named(id, title, "r_C", &MILLIGRAMS_PER_DAY)
}
