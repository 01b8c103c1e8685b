//! The quantity types: `uom`'s where it has them, newtypes where two meanings share a dimension.
//! A mass concentration is `uom`'s mass density, so that mass over volume is one without a conversion.

use std::ops::{Add, Div, Mul, Sub};

pub use uom::si::f64::{
    AmountOfSubstance, Angle, Area, ElectricCharge, ElectricCurrent, ElectricPotential, ElectricalResistance,
    HeatFluxDensity, Length, LinearNumberDensity as CellConstant, Mass, MassDensity as MassConcentration, MassRate,
    MolarConcentration, MolarMass, Ratio, TemperatureInterval, ThermodynamicTemperature, Time, Velocity, Volume,
    VolumeRate,
};
use uom::si::{Dimension, Quantity, SI};

/// The number behind a quantity, in the SI base units of its dimension, and back.
pub trait Si: Copy {
    /// In SI base units.
    fn si(self) -> f64;
    /// From SI base units.
    fn from_si(value: f64) -> Self;
}

impl<D: Dimension + ?Sized> Si for Quantity<D, SI<f64>, f64> {
    fn si(self) -> f64 {
        self.value
    }
    fn from_si(value: f64) -> Self {
        Quantity { dimension: std::marker::PhantomData, units: std::marker::PhantomData, value }
    }
}

macro_rules! newtype {
    ($(#[$doc:meta])* $name:ident over $inner:ty) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name($inner);

        impl Si for $name {
            fn si(self) -> f64 {
                self.0.si()
            }
            fn from_si(value: f64) -> Self {
                Self(<$inner>::from_si(value))
            }
        }

        impl $name {
            /// The plain quantity behind the name.
            #[must_use]
            pub fn plain(self) -> $inner {
                self.0
            }
        }

        impl From<$inner> for $name {
            fn from(value: $inner) -> Self {
                Self(value)
            }
        }
    };
}

macro_rules! linear {
    ($name:ident over $inner:ty) => {
        impl Add for $name {
            type Output = $name;
            fn add(self, other: $name) -> $name {
                $name(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = $name;
            fn sub(self, other: $name) -> $name {
                $name(self.0 - other.0)
            }
        }
        impl Mul<Ratio> for $name {
            type Output = $name;
            fn mul(self, share: Ratio) -> $name {
                $name(<$inner>::from_si(self.0.si() * share.si()))
            }
        }
        impl Div<Ratio> for $name {
            type Output = $name;
            fn div(self, share: Ratio) -> $name {
                $name(<$inner>::from_si(self.0.si() / share.si()))
            }
        }
        impl Div for $name {
            type Output = Ratio;
            fn div(self, other: $name) -> Ratio {
                Ratio::from_si(self.0.si() / other.0.si())
            }
        }
    };
}

newtype! {
    /// Carbonate hardness in the trade's sense: all the alkalinity of a water, counted in degrees. Held as moles of
    /// charge per cubic metre (meq/L). Not [`GeneralHardness`], and the compiler says so:
    /// ```compile_fail,E0308
    /// use weirbook::units::{CarbonateHardness, GeneralHardness, Si};
    /// let nonsense = CarbonateHardness::from_si(2.5) + GeneralHardness::from_si(1.6);
    /// ```
    CarbonateHardness over MolarConcentration
}
linear!(CarbonateHardness over MolarConcentration);

newtype! {
    /// General hardness: calcium and magnesium together, moles per cubic metre (mmol/L).
    GeneralHardness over MolarConcentration
}
linear!(GeneralHardness over MolarConcentration);

newtype! {
    /// Calcium, moles per cubic metre (mmol/L).
    Calcium over MolarConcentration
}
linear!(Calcium over MolarConcentration);

newtype! {
    /// Conductivity at 25 °C, siemens per metre.
    Conductivity over uom::si::f64::ElectricalConductivity
}
linear!(Conductivity over uom::si::f64::ElectricalConductivity);

newtype! {
    /// Total ammonia (NH3 and NH4+), counted as nitrogen, kilograms per cubic metre.
    AmmoniaNitrogen over MassConcentration
}
linear!(AmmoniaNitrogen over MassConcentration);

newtype! {
    /// Nitrite, counted as the ion NO2-, kilograms per cubic metre.
    NitriteIon over MassConcentration
}
newtype! {
    /// Nitrate, counted as the ion NO3-, kilograms per cubic metre.
    Nitrate over MassConcentration
}
newtype! {
    /// Phosphate, counted as the ion PO4, kilograms per cubic metre.
    Phosphate over MassConcentration
}
newtype! {
    /// pH on the activity scale, a pure number.
    Ph over Ratio
}

/// Hardness times volume is an amount: the charge, or the moles, in the whole pond.
macro_rules! amount {
    ($name:ident) => {
        impl Mul<Volume> for $name {
            type Output = AmountOfSubstance;
            fn mul(self, volume: Volume) -> AmountOfSubstance {
                AmountOfSubstance::from_si(self.si() * volume.si())
            }
        }
        impl Mul<$name> for Volume {
            type Output = AmountOfSubstance;
            fn mul(self, other: $name) -> AmountOfSubstance {
                AmountOfSubstance::from_si(self.si() * other.si())
            }
        }
    };
}
amount!(CarbonateHardness);
amount!(GeneralHardness);
amount!(Calcium);
