//! In whose units the lines are written.

use crate::units::table::{self, Unit};
use crate::units::{Kind, System};

/// In whose units the lines are written: the reader's, and copper as the owner's kit shows it.
#[derive(Clone, Copy, Debug)]
pub struct Spoken {
    system: System,
    copper: &'static Unit,
}

impl Default for Spoken {
    fn default() -> Self {
        Self::new(System::Metric, None)
    }
}

impl Spoken {
    /// The reader's system, and the unit of the owner's copper kit where it is known.
    #[must_use]
    pub fn new(system: System, kit: Option<&'static Unit>) -> Self {
        let known = [&table::MILLIGRAMS, &table::PPM, &table::MICROGRAMS, &table::PPB];
        let copper = match kit {
            Some(unit) if known.contains(&unit) => unit,
            _ if system == System::Us => &table::PPM,
            _ => &table::MILLIGRAMS,
        };
        Self { system, copper }
    }

    /// The unit copper is printed in.
    #[must_use]
    pub fn copper(&self) -> &'static Unit {
        self.copper
    }

    /// Whose units.
    #[must_use]
    pub fn system(&self) -> System {
        self.system
    }

    /// The unit in which a number of this unit is written: shares as decimals, so that no factor of a hundred stands in
    /// a line; absolute temperatures in kelvin, as the formulas need them; all else in the reader's units.
    #[must_use]
    pub fn unit(&self, unit: &'static Unit) -> &'static Unit {
        match (unit.kind, unit.symbol) {
            (Kind::Share, "%") => return &table::ONE,
            (Kind::Copper, _) => return self.copper,
            (Kind::Printed, "mg/L a day") => {
                return match self.copper.symbol {
                    "µg/L" => &table::MICROGRAMS_PER_DAY,
                    "ppb" => &table::PPB_PER_DAY,
                    "ppm" => &table::PPM_PER_DAY,
                    _ => unit,
                };
            }
            _ => {}
        }
        let (gallon, per_minute) = match self.system {
            System::Metric => return unit,
            System::Us => (&table::US_GALLON, &table::US_GALLONS_PER_MINUTE),
            System::Imperial => (&table::IMPERIAL_GALLON, &table::IMPERIAL_GALLONS_PER_MINUTE),
        };
        match (unit.kind, unit.symbol) {
            (Kind::Length, "m" | "cm") => return &table::FOOT,
            (Kind::Area, _) => return &table::SQUARE_FOOT,
            (Kind::Volume, "m³" | "L") => return gallon,
            (Kind::Flow, "m³/h" | "L/s" | "L/min") => return per_minute,
            _ => {}
        }
        if self.system == System::Imperial {
            return unit;
        }
        match (unit.kind, unit.symbol) {
            (Kind::Mass, "kg") => &table::POUND,
            (Kind::Mass, "g") => &table::OUNCE,
            (Kind::Temperature, "°C") => &table::FAHRENHEIT,
            (Kind::TemperatureDifference, _) => &table::FAHRENHEIT_DIFFERENCE,
            (Kind::CarbonateHardness, "°dKH" | "mg/L CaCO₃") => &table::KH_PPM,
            (Kind::GeneralHardness, "°dGH" | "mg/L CaCO₃") => &table::GH_PPM,
            (Kind::Calcium, "mg/L Ca" | "mg/L CaCO₃") => &table::CALCIUM_PPM,
            (Kind::MassConcentration, "mg/L") => &table::PPM,
            (Kind::MassConcentration, "µg/L") => &table::PPB,
            (Kind::Ammonia, "mg/L N") => &table::AMMONIA_PPM,
            (Kind::Nitrite, "mg/L NO₂") => &table::NITRITE_PPM,
            (Kind::Nitrate, "mg/L NO₃") => &table::NITRATE_PPM,
            (Kind::Printed, "g a year") => &table::OUNCES_PER_YEAR,
            (Kind::Printed, "mg/L a µS/cm") => &table::PPM_PER_MICROSIEMENS,
            _ => unit,
        }
    }
}
