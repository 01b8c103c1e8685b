//! Un-ionised ammonia, the form that harms fish.

use crate::reference::{AMMONIA_EMERSON, AMMONIA_PER_NITROGEN, ATOMIC_WEIGHTS};
use crate::units::table::{CELSIUS, KELVIN, MILLIGRAMS, ONE};
use crate::units::{AmmoniaNitrogen, MassConcentration, Ph, Ratio, ThermodynamicTemperature};
use crate::workings::Figure;

/// Share of total ammonia that is NH3, Emerson and others (1975): pKa = 0.09018 + 2729.92 / T.
/// `id` and `title` name the line; `when` says of which hour the pH is.
#[must_use]
pub fn unionised_share(
    id: &str,
    title: &str,
    ph: &Figure<Ph>,
    temperature: &Figure<ThermodynamicTemperature>,
) -> Figure<Ratio> {
    let temperature = absolute(temperature);
    let slope: Figure<ThermodynamicTemperature> = Figure::cited(2729.92, "b_NH₃", "slope", &KELVIN, &AMMONIA_EMERSON);
    let start: Figure<Ratio> = Figure::cited(0.09018, "a_NH₃", "constant", &ONE, &AMMONIA_EMERSON);
    // A quotient of temperatures is a pure number; the leaf keeps its kelvins.
    let pk = &start
        + &(&slope.meaning::<uom::si::f64::TemperatureInterval>()
            / &temperature.meaning::<uom::si::f64::TemperatureInterval>());
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let power = (&pk - &ph.meaning::<Ratio>()).ten();
    (&one / &(&power + &one)).named(id, title, "f_NH₃", &ONE)
}

/// A temperature as the formulas of equilibrium need it, from absolute zero: a step of its own.
#[must_use]
pub fn absolute(temperature: &Figure<ThermodynamicTemperature>) -> Figure<ThermodynamicTemperature> {
    temperature.named("ammonia.temperature", "Water temperature from absolute zero", "T", &KELVIN)
}

/// Un-ionised ammonia as NH3 from total ammonia counted as nitrogen.
#[must_use]
pub fn unionised(
    id: &str,
    title: &str,
    total: &Figure<AmmoniaNitrogen>,
    share: &Figure<Ratio>,
) -> Figure<MassConcentration> {
    let weight: Figure<Ratio> =
        Figure::cited(AMMONIA_PER_NITROGEN, "w_NH₃", "NH3 over N by mass", &ONE, &ATOMIC_WEIGHTS);
    (&total.meaning::<MassConcentration>() * share * weight).named(id, title, "c_NH₃", &MILLIGRAMS)
}

/// Shown beside temperatures: the unit they are read in.
pub const READ_IN: &crate::units::Unit = &CELSIUS;
