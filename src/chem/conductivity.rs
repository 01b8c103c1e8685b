//! A first estimate of what a substance adds to conductivity, from limiting ionic conductivities.

use crate::reference::{CONDUCTIVITY_IONS, CONDUCTIVITY_WARMTH, SALT_CONDUCTIVITY, Substance};
use crate::units::table::{CELSIUS, KELVIN_DIFFERENCE, MICROSIEMENS, MILLIGRAMS_PER_MICROSIEMENS, ONE, Unit};
use crate::units::{
    Calcium, CarbonateHardness, Conductivity, Kind, MassConcentration, MolarConcentration, Ratio, TemperatureInterval,
    ThermodynamicTemperature,
};
use crate::workings::Figure;

/// Siemens metre squared a mole.
pub type MolarConductivity = <uom::si::f64::ElectricalConductivity as std::ops::Div<MolarConcentration>>::Output;

/// S cm²/mol, printed only.
pub static MOLAR_CONDUCTIVITY: Unit =
    Unit { kind: Kind::Printed, symbol: "S cm²/mol", size: 1e-4, zero: 0.0, also: &[] };

/// What a mole of a substance adds, in water that holds next to nothing else.
fn limiting(substance: &'static Substance) -> Figure<MolarConductivity> {
    let title = "limiting conductivity of its ions";
    let symbol = format!("Λ({})", substance.formula);
    Figure::cited(substance.conductivity, &symbol, title, &MOLAR_CONDUCTIVITY, &CONDUCTIVITY_IONS)
}

/// Rise of conductivity made by a rise of carbonate hardness with this buffer. Ions hold one another back a little, so
/// the limiting sum is an upper value (EC-11: 33.7 against about 33 µS/cm a degree).
#[must_use]
pub fn rise_with_buffer(
    id: &str,
    rise: &Figure<CarbonateHardness>,
    substance: &'static Substance,
) -> Figure<Conductivity> {
    (&rise.meaning::<MolarConcentration>() * limiting(substance)).meaning::<Conductivity>().named(
        id,
        "Rise in conductivity",
        "Δκ",
        &MICROSIEMENS,
    )
}

/// Rise of conductivity made by a rise of calcium with this calcium salt, from the same limiting values.
#[must_use]
pub fn rise_with_calcium(id: &str, rise: &Figure<Calcium>, substance: &'static Substance) -> Figure<Conductivity> {
    (&rise.meaning::<MolarConcentration>() * limiting(substance)).meaning::<Conductivity>().named(
        id,
        "Rise in conductivity by calcium",
        "Δκ_Ca",
        &MICROSIEMENS,
    )
}

/// Salt a litre for each µS/cm.
type SaltFactor = <MassConcentration as std::ops::Div<uom::si::f64::ElectricalConductivity>>::Output;

/// Salt a litre that a rise of conductivity takes, by the published factor (EC-10): where the ions are not known.
#[must_use]
pub fn salt_for(rise: &Figure<Conductivity>) -> Figure<MassConcentration> {
    let title = "salt a litre for each µS/cm";
    let factor: Figure<SaltFactor> =
        Figure::cited(0.486, "c_κ", title, &MILLIGRAMS_PER_MICROSIEMENS, &SALT_CONDUCTIVITY);
    (factor * rise.meaning::<uom::si::f64::ElectricalConductivity>()).meaning()
}

/// Conductivity at the water's own temperature, from that at 25 °C: κ_T = κ_25 · (1 + 0.0191 (T − 25 °C)) (EC-07). Within
/// 2.5 % from 5 to 35 °C for potassium chloride (EC-05).
#[must_use]
pub fn at_temperature(
    at_25: &Figure<Conductivity>,
    temperature: &Figure<ThermodynamicTemperature>,
) -> Figure<uom::si::f64::ElectricalConductivity> {
    &at_25.meaning::<uom::si::f64::ElectricalConductivity>() * warmth_share(temperature)
}

/// Conductivity at a temperature as a share of that at 25 °C: 1 + 0.0191 (T − 25 °C) (EC-07).
#[must_use]
pub fn warmth_share(temperature: &Figure<ThermodynamicTemperature>) -> Figure<Ratio> {
    let slope: Figure<Ratio> = Figure::cited(0.0191, "α", "conductivity a degree Celsius", &ONE, &CONDUCTIVITY_WARMTH);
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let reference: Figure<ThermodynamicTemperature> =
        Figure::counted(25.0, "θ_25", "where conductivity is told for", &CELSIUS);
    let one_degree: Figure<TemperatureInterval> = Figure::counted(1.0, "1 °C", "one degree", &KELVIN_DIFFERENCE);
    let above = &temperature.meaning::<TemperatureInterval>() - &reference.meaning::<TemperatureInterval>();
    one + slope * (above / one_degree)
}

/// A pure number, to say how many times the supply's conductivity a pond's is.
#[must_use]
pub fn times_supply(pond: &Figure<Conductivity>, supply: &Figure<Conductivity>) -> Figure<Ratio> {
    pond / supply
}
