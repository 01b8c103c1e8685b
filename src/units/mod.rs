//! Quantities and the units people write them in.
//!
//! Inside the program a quantity is a `uom` quantity or a newtype over one, held in SI. This room owns every unit we
//! read or print: each stands once, in [`table`], with its exact size. [`read`] takes `"7 dKH"` or `"2 ft 3 in"`;
//! `number` writes numbers the way PAGE.md section 9 wants them.

mod number;
mod quantities;
mod reading;
pub mod table;

pub use number::{Digits, group, plain, significant, significant_down, significant_up};
pub use quantities::{
    AmmoniaNitrogen, AmountOfSubstance, Angle, Area, Calcium, CarbonateHardness, CellConstant, Conductivity,
    ElectricCharge, ElectricCurrent, ElectricPotential, ElectricalResistance, GeneralHardness, HeatFluxDensity, Length,
    Mass, MassConcentration, MassRate, MolarConcentration, MolarMass, Nitrate, NitriteIon, Ph, Phosphate, Ratio, Si,
    TemperatureInterval, ThermodynamicTemperature, Time, Velocity, Volume, VolumeRate,
};
pub use reading::{Kind, ReadError, Readable, read, read_in, read_number, read_si, read_si_in, unit_named};
pub use table::{System, Unit};
