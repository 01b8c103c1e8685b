//! Every unit we read or print, each once, with its exact size.
//!
//! A size is the SI value of one unit. Definitions: the international yard and pound (1959), the US gallon of 231 cubic
//! inches (VO-01), the imperial gallon of 4.54609 L (VO-02), one German degree of hardness = 10 g/m³ of CaO (HU-01).

use super::Kind;

/// In whose units the plan speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum System {
    /// Litres, grams, °dKH, °C, mg/L.
    Metric,
    /// US gallons, pounds, ppm, °F.
    Us,
    /// Imperial gallons, kilograms and grams, °dKH, °C.
    Imperial,
}

impl System {
    /// All of them.
    pub const ALL: [System; 3] = [System::Metric, System::Us, System::Imperial];

    /// Its name in site files and on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            System::Metric => "metric",
            System::Us => "us",
            System::Imperial => "imperial",
        }
    }
}

/// A unit of one kind of quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// What it measures.
    pub kind: Kind,
    /// How it is printed.
    pub symbol: &'static str,
    /// SI value of one unit.
    pub size: f64,
    /// SI value at the unit's zero; zero for all but °C and °F.
    pub zero: f64,
    /// Other spellings that are read, without spaces and in lower case where case carries no meaning.
    pub also: &'static [&'static str],
}

impl Unit {
    /// A number of this unit, from an SI value.
    #[must_use]
    pub fn of(&self, si: f64) -> f64 {
        (si - self.zero) / self.size
    }

    /// The SI value of a number of this unit.
    #[must_use]
    pub fn si(&self, number: f64) -> f64 {
        number * self.size + self.zero
    }
}

const fn unit(kind: Kind, symbol: &'static str, size: f64, also: &'static [&'static str]) -> Unit {
    Unit { kind, symbol, size, zero: 0.0, also }
}

/// g/mol. CIAAW standard atomic weights 2021, conventional values (published.md section 3).
pub mod weight {
    /// Hydrogen.
    pub const H: f64 = 1.008;
    /// Carbon.
    pub const C: f64 = 12.011;
    /// Nitrogen.
    pub const N: f64 = 14.007;
    /// Oxygen.
    pub const O: f64 = 15.999;
    /// Sodium.
    pub const NA: f64 = 22.98976928;
    /// Magnesium.
    pub const MG: f64 = 24.305;
    /// Sulfur.
    pub const S: f64 = 32.06;
    /// Phosphorus.
    pub const P: f64 = 30.973761998;
    /// Chlorine.
    pub const CL: f64 = 35.45;
    /// Potassium.
    pub const K: f64 = 39.0983;
    /// Calcium.
    pub const CA: f64 = 40.078;
    /// Copper.
    pub const CU: f64 = 63.546;
}
use weight::{C, CA, H, N, O, P};

/// CaO, g/mol.
const CAO: f64 = CA + O;
/// CaCO3, g/mol.
pub const CACO3: f64 = CA + C + 3.0 * O;
/// Charge in one German degree, mol/m³: 10 g/m³ of CaO with two charges a mole (HU-03).
pub const CHARGE_PER_DEGREE: f64 = 2.0 * 10.0 / CAO;
/// Grams in a grain (1/7000 of the international pound).
const GRAIN: f64 = 0.064_798_91;
/// Cubic metres in a US gallon.
const US_GAL: f64 = 3.785_411_784e-3;
/// Cubic metres in an imperial gallon.
const IMP_GAL: f64 = 4.546_09e-3;
/// Kilograms in a pound.
const LB: f64 = 0.453_592_37;
/// Seconds in a day.
const DAY: f64 = 86_400.0;

// Lengths.
/// Metre.
pub const METRE: Unit = unit(Kind::Length, "m", 1.0, &["metre", "metres", "meter", "meters"]);
/// Centimetre.
pub const CENTIMETRE: Unit = unit(Kind::Length, "cm", 0.01, &[]);
/// Millimetre.
pub const MILLIMETRE: Unit = unit(Kind::Length, "mm", 0.001, &[]);
/// Foot.
pub const FOOT: Unit = unit(Kind::Length, "ft", 0.3048, &["feet", "foot", "'"]);
/// Inch.
pub const INCH: Unit = unit(Kind::Length, "in", 0.0254, &["inch", "inches", "\""]);
// Areas.
/// Square metre.
pub const SQUARE_METRE: Unit = unit(Kind::Area, "m²", 1.0, &["m2", "sqm"]);
/// Square foot.
pub const SQUARE_FOOT: Unit = unit(Kind::Area, "ft²", 0.092_903_04, &["ft2", "sqft"]);
// Volumes.
/// Cubic metre.
pub const CUBIC_METRE: Unit = unit(Kind::Volume, "m³", 1.0, &["m3"]);
/// Litre.
pub const LITRE: Unit = unit(Kind::Volume, "L", 1e-3, &["l", "litre", "litres", "liter", "liters"]);
/// Millilitre.
pub const MILLILITRE: Unit = unit(Kind::Volume, "mL", 1e-6, &["ml"]);
/// US gallon.
pub const US_GALLON: Unit = unit(Kind::Volume, "US gal", US_GAL, &["usgal", "usgallon", "usgallons"]);
/// Imperial gallon.
pub const IMPERIAL_GALLON: Unit =
    unit(Kind::Volume, "imp gal", IMP_GAL, &["impgal", "ukgal", "imperialgallon", "imperialgallons"]);
/// Cubic foot.
pub const CUBIC_FOOT: Unit = unit(Kind::Volume, "ft³", 0.028_316_846_592, &["ft3", "cuft"]);
/// US fluid ounce, a 128th of a US gallon.
pub const US_FLUID_OUNCE: Unit = unit(Kind::Volume, "US fl oz", US_GAL / 128.0, &["usfloz"]);
// Masses.
/// Kilogram.
pub const KILOGRAM: Unit = unit(Kind::Mass, "kg", 1.0, &[]);
/// Gram.
pub const GRAM: Unit = unit(Kind::Mass, "g", 1e-3, &["gram", "grams"]);
/// Pound.
pub const POUND: Unit = unit(Kind::Mass, "lb", LB, &["lbs"]);
/// Ounce.
pub const OUNCE: Unit = unit(Kind::Mass, "oz", LB / 16.0, &[]);
// Temperatures.
/// Degree Celsius.
pub const CELSIUS: Unit =
    Unit { kind: Kind::Temperature, symbol: "°C", size: 1.0, zero: 273.15, also: &["c", "degc", "ºc"] };
/// Degree Fahrenheit.
pub const FAHRENHEIT: Unit = Unit {
    kind: Kind::Temperature,
    symbol: "°F",
    size: 5.0 / 9.0,
    zero: 459.67 * 5.0 / 9.0,
    also: &["f", "degf", "ºf"],
};
/// Kelvin.
pub const KELVIN: Unit = unit(Kind::Temperature, "K", 1.0, &["k"]);
// Conductivity.
/// Microsiemens per centimetre, at 25 °C.
pub const MICROSIEMENS: Unit = unit(Kind::Conductivity, "µS/cm", 1e-4, &["us/cm", "μs/cm", "microsiemens/cm"]);
/// Millisiemens per centimetre, at 25 °C.
pub const MILLISIEMENS: Unit = unit(Kind::Conductivity, "mS/cm", 0.1, &["ms/cm"]);
// Carbonate hardness (all alkalinity), held as charge.
/// German degree of carbonate hardness.
pub const DEGREE_KH: Unit = unit(Kind::CarbonateHardness, "°dKH", CHARGE_PER_DEGREE, &["dkh", "ºdkh", "degkh"]);
/// Parts per million as CaCO3 (mg/L).
pub const KH_PPM: Unit = unit(Kind::CarbonateHardness, "ppm CaCO₃", 2.0 / CACO3, &["ppmcaco3", "ppmcaco₃"]);
/// Milligrams per litre as CaCO3.
pub const KH_MG: Unit = unit(Kind::CarbonateHardness, "mg/L CaCO₃", 2.0 / CACO3, &["mg/lcaco3", "mg/lcaco₃"]);
/// Milliequivalents per litre: mol of charge per m³.
pub const KH_MEQ: Unit = unit(Kind::CarbonateHardness, "meq/L", 1.0, &["meq/l", "mval/l"]);
/// Bicarbonate, mg/L.
pub const KH_HCO3: Unit =
    unit(Kind::CarbonateHardness, "mg/L HCO₃", 1.0 / (H + C + 3.0 * O), &["mg/lhco3", "mg/lhco₃"]);
/// French degree of alkalinity.
pub const KH_FRENCH: Unit = unit(Kind::CarbonateHardness, "°fKH", 20.0 / CACO3, &["fkh", "ºfkh"]);
/// English (Clark) degree of alkalinity: a grain as CaCO3 in an imperial gallon (HU-05).
pub const KH_ENGLISH: Unit = unit(Kind::CarbonateHardness, "°eKH", 2.0 * GRAIN / IMP_GAL / CACO3, &["ekh", "ºekh"]);
/// Grains per US gallon as CaCO3 (HU-07).
pub const KH_GRAINS: Unit = unit(Kind::CarbonateHardness, "gpg", 2.0 * GRAIN / US_GAL / CACO3, &[]);
// General hardness, held as moles of Ca + Mg.
/// German degree of general hardness.
pub const DEGREE_GH: Unit = unit(Kind::GeneralHardness, "°dGH", CHARGE_PER_DEGREE / 2.0, &["dgh", "ºdgh", "°dh", "dh"]);
/// Parts per million as CaCO3.
pub const GH_PPM: Unit = unit(Kind::GeneralHardness, "ppm CaCO₃", 1.0 / CACO3, &["ppmcaco3", "ppmcaco₃"]);
/// Milligrams per litre as CaCO3.
pub const GH_MG: Unit = unit(Kind::GeneralHardness, "mg/L CaCO₃", 1.0 / CACO3, &["mg/lcaco3", "mg/lcaco₃"]);
/// Millimoles per litre.
pub const GH_MMOL: Unit = unit(Kind::GeneralHardness, "mmol/L", 1.0, &["mmol/l"]);
/// French degree.
pub const GH_FRENCH: Unit = unit(Kind::GeneralHardness, "°fH", 10.0 / CACO3, &["fh", "ºfh"]);
/// Grains per US gallon as CaCO3 (HU-07).
pub const GH_GRAINS: Unit = unit(Kind::GeneralHardness, "gpg", GRAIN / US_GAL / CACO3, &[]);
/// English (Clark) degree: a grain as CaCO3 in an imperial gallon (HU-05).
pub const GH_ENGLISH: Unit = unit(Kind::GeneralHardness, "°e", GRAIN / IMP_GAL / CACO3, &["eh", "ºe", "°clark"]);
// Calcium, held as moles.
/// As the element.
pub const CALCIUM_MG: Unit = unit(Kind::Calcium, "mg/L Ca", 1.0 / CA, &["mg/lca"]);
/// As CaCO3, mg/L.
pub const CALCIUM_CACO3: Unit = unit(Kind::Calcium, "mg/L CaCO₃", 1.0 / CACO3, &["mg/lcaco3", "mg/lcaco₃"]);
/// As CaCO3, ppm.
pub const CALCIUM_PPM: Unit = unit(Kind::Calcium, "ppm CaCO₃", 1.0 / CACO3, &["ppmcaco3", "ppmcaco₃"]);
/// As moles.
pub const CALCIUM_MMOL: Unit = unit(Kind::Calcium, "mmol/L", 1.0, &["mmol/l"]);
// Dissolved matter by mass.
/// Milligrams per litre.
pub const MILLIGRAMS: Unit = unit(Kind::MassConcentration, "mg/L", 1e-3, &["mg/l"]);
/// Parts per million: mg/L.
pub const PPM: Unit = unit(Kind::MassConcentration, "ppm", 1e-3, &[]);
/// Micrograms per litre.
pub const MICROGRAMS: Unit = unit(Kind::MassConcentration, "µg/L", 1e-6, &["ug/l", "μg/l"]);
/// Parts per billion: µg/L.
pub const PPB: Unit = unit(Kind::MassConcentration, "ppb", 1e-6, &[]);
/// Grams per litre.
pub const GRAMS_PER_LITRE: Unit = unit(Kind::MassConcentration, "g/L", 1.0, &["g/l", "kg/m3", "kg/m³"]);
/// Grams per cubic metre.
pub const GRAMS_PER_CUBIC_METRE: Unit = unit(Kind::MassConcentration, "g/m³", 1e-3, &["g/m3"]);
// Nitrogen and phosphorus, by the form they are counted in.
/// Total ammonia as nitrogen.
pub const AMMONIA_N: Unit = unit(Kind::Ammonia, "mg/L N", 1e-3, &["mg/ln", "mg/lnh3-n", "mg/lnh4-n", "ppmn"]);
/// Total ammonia as NH3.
pub const AMMONIA_NH3: Unit =
    unit(Kind::Ammonia, "mg/L NH₃", 1e-3 * N / (N + 3.0 * H), &["mg/lnh3", "mg/lnh₃", "ppmnh3"]);
/// Total ammonia as NH4.
pub const AMMONIA_NH4: Unit =
    unit(Kind::Ammonia, "mg/L NH₄", 1e-3 * N / (N + 4.0 * H), &["mg/lnh4", "mg/lnh₄", "ppmnh4"]);
/// Total ammonia as nitrogen, in the words of US kits.
pub const AMMONIA_PPM: Unit = unit(Kind::Ammonia, "ppm N", 1e-3, &[]);
/// Nitrite as the ion, in the words of US kits.
pub const NITRITE_PPM: Unit = unit(Kind::Nitrite, "ppm NO₂", 1e-3, &[]);
/// Nitrate as the ion, in the words of US kits.
pub const NITRATE_PPM: Unit = unit(Kind::Nitrate, "ppm NO₃", 1e-3, &[]);
/// Copper. A unit of its own, because it is shown as the owner's kit shows it, whatever else is in mg/L.
pub const COPPER: Unit = unit(Kind::Copper, "mg/L", 1e-3, &[]);
/// Nitrite as the ion.
pub const NITRITE_ION: Unit = unit(Kind::Nitrite, "mg/L NO₂", 1e-3, &["mg/lno2", "mg/lno₂", "ppmno2"]);
/// Nitrite as nitrogen.
pub const NITRITE_N: Unit = unit(Kind::Nitrite, "mg/L NO₂-N", 1e-3 * (N + 2.0 * O) / N, &["mg/lno2-n", "ppmno2-n"]);
/// Nitrate as the ion.
pub const NITRATE_ION: Unit = unit(Kind::Nitrate, "mg/L NO₃", 1e-3, &["mg/lno3", "mg/lno₃", "ppmno3"]);
/// Nitrate as nitrogen.
pub const NITRATE_N: Unit = unit(Kind::Nitrate, "mg/L NO₃-N", 1e-3 * (N + 3.0 * O) / N, &["mg/lno3-n", "ppmno3-n"]);
/// Phosphate as the ion.
pub const PHOSPHATE_ION: Unit = unit(Kind::Phosphate, "mg/L PO₄", 1e-3, &["mg/lpo4", "mg/lpo₄"]);
/// Phosphate as phosphorus.
pub const PHOSPHATE_P: Unit = unit(Kind::Phosphate, "mg/L PO₄-P", 1e-3 * (P + 4.0 * O) / P, &["mg/lpo4-p", "mg/lp"]);
// Flows.
/// Litres per second.
pub const LITRES_PER_SECOND: Unit = unit(Kind::Flow, "L/s", 1e-3, &["l/s"]);
/// Litres per minute.
pub const LITRES_PER_MINUTE: Unit = unit(Kind::Flow, "L/min", 1e-3 / 60.0, &["l/min"]);
/// Cubic metres per hour.
pub const CUBIC_METRES_PER_HOUR: Unit = unit(Kind::Flow, "m³/h", 1.0 / 3600.0, &["m3/h"]);
/// US gallons per minute.
pub const US_GALLONS_PER_MINUTE: Unit = unit(Kind::Flow, "US gal/min", US_GAL / 60.0, &["usgal/min", "usgpm"]);
/// Imperial gallons per minute.
pub const IMPERIAL_GALLONS_PER_MINUTE: Unit = unit(Kind::Flow, "imp gal/min", IMP_GAL / 60.0, &["impgal/min"]);
/// Litres per day.
pub const LITRES_PER_DAY: Unit = unit(Kind::Flow, "L/day", 1e-3 / DAY, &["l/day", "l/d"]);
/// US gallons per day.
pub const US_GALLONS_PER_DAY: Unit = unit(Kind::Flow, "US gal/day", US_GAL / DAY, &["usgal/day"]);
/// Imperial gallons per day.
pub const IMPERIAL_GALLONS_PER_DAY: Unit = unit(Kind::Flow, "imp gal/day", IMP_GAL / DAY, &["impgal/day"]);
// Electricity.
/// Ampere.
pub const AMPERE: Unit = unit(Kind::Current, "A", 1.0, &["a"]);
/// Milliampere.
pub const MILLIAMPERE: Unit = unit(Kind::Current, "mA", 1e-3, &["ma"]);
/// Volt.
pub const VOLT: Unit = unit(Kind::Voltage, "V", 1.0, &["v"]);
/// Per centimetre: what a cell's gap and plates make of conductivity.
pub const PER_CENTIMETRE: Unit = unit(Kind::CellConstant, "/cm", 100.0, &["1/cm", "cm-1"]);
/// Per metre.
pub const PER_METRE: Unit = unit(Kind::CellConstant, "/m", 1.0, &["1/m", "m-1"]);
/// Ohm.
pub const OHM: Unit = unit(Kind::Printed, "Ω", 1.0, &[]);
// Times.
/// Second.
pub const SECOND: Unit = unit(Kind::Time, "s", 1.0, &["sec", "second", "seconds"]);
/// Minute.
pub const MINUTE: Unit = unit(Kind::Time, "min", 60.0, &["minute", "minutes"]);
/// Hour.
pub const HOUR: Unit = unit(Kind::Time, "h", 3600.0, &["hour", "hours"]);
/// Day.
pub const DAYS: Unit = unit(Kind::Time, "days", DAY, &["day", "d"]);
/// Year of 365 days.
pub const YEARS: Unit = unit(Kind::Time, "years", 365.0 * DAY, &["year"]);
// Pure numbers.
/// Per cent.
pub const PERCENT: Unit = unit(Kind::Share, "%", 0.01, &["percent"]);
/// One.
pub const ONE: Unit = unit(Kind::Share, "", 1.0, &[]);
/// Degree of arc.
pub const DEGREE: Unit = unit(Kind::Angle, "°", 0.017_453_292_519_943_295, &["deg", "°n", "n"]);
/// Degree of arc, south of the equator.
pub const DEGREE_SOUTH: Unit = unit(Kind::Angle, "° S", -0.017_453_292_519_943_295, &["°s", "degs", "s"]);
// Weather.
/// Metres per second.
pub const METRES_PER_SECOND: Unit = unit(Kind::Speed, "m/s", 1.0, &[]);
/// Kilometres per hour.
pub const KILOMETRES_PER_HOUR: Unit = unit(Kind::Speed, "km/h", 1.0 / 3.6, &["kmh", "kph"]);
/// Miles per hour (international mile).
pub const MILES_PER_HOUR: Unit = unit(Kind::Speed, "mph", 0.447_04, &["mi/h"]);
/// Knots: nautical miles of 1,852 m an hour.
pub const KNOTS: Unit = unit(Kind::Speed, "kn", 1852.0 / 3600.0, &["knots", "knot", "kt"]);
/// Megajoules per square metre and day, held as the day's mean power.
pub const MEGAJOULES: Unit =
    unit(Kind::Sunlight, "MJ/m²", 1e6 / DAY, &["mj/m2", "mj/m2/day", "mj/m²/day", "mj/m2/d", "mj/m²/d"]);
/// Kilowatt-hours per square metre and day.
pub const KILOWATT_HOURS: Unit = unit(Kind::Sunlight, "kWh/m²", 3.6e6 / DAY, &["kwh/m2", "kwh/m2/day", "kwh/m²/day"]);
/// Watts per square metre, mean of the day.
pub const WATTS: Unit = unit(Kind::Sunlight, "W/m²", 1.0, &["w/m2"]);
/// Grams per day, as fish are fed.
pub const GRAMS_A_DAY: Unit = unit(Kind::MassRate, "g/day", 1e-3 / DAY, &["g/d"]);
/// Kilograms per day.
pub const KILOGRAMS_A_DAY: Unit = unit(Kind::MassRate, "kg/day", 1.0 / DAY, &["kg/d"]);
/// Ounces per day.
pub const OUNCES_A_DAY: Unit = unit(Kind::MassRate, "oz/day", LB / 16.0 / DAY, &["oz/d"]);
/// Pounds per day.
pub const POUNDS_A_DAY: Unit = unit(Kind::MassRate, "lb/day", LB / DAY, &["lb/d"]);

// Only printed, never read.
/// Millimetres per day.
pub const MILLIMETRES_A_DAY: Unit = unit(Kind::Printed, "mm a day", 1e-3 / DAY, &[]);
/// Grams per mole.
pub const GRAMS_PER_MOLE: Unit = unit(Kind::Printed, "g/mol", 1e-3, &[]);
/// Moles.
pub const MOLE: Unit = unit(Kind::Printed, "mol", 1.0, &[]);
/// Moles per cubic metre (mmol/L).
pub const MILLIMOLES_PER_LITRE: Unit = unit(Kind::Printed, "mmol/L", 1.0, &[]);
/// Coulombs per mole.
pub const COULOMBS_PER_MOLE: Unit = unit(Kind::Printed, "C/mol", 1.0, &[]);
/// Ampere-hours.
pub const AMPERE_HOUR: Unit = unit(Kind::Printed, "Ah", 3600.0, &[]);
/// Grams per day.
pub const GRAMS_PER_DAY: Unit = unit(Kind::Printed, "g a day", 1e-3 / DAY, &[]);
/// Grams per year.
pub const GRAMS_PER_YEAR: Unit = unit(Kind::Printed, "g a year", 1e-3 / (365.0 * DAY), &[]);
/// Ounces per year.
pub const OUNCES_PER_YEAR: Unit = unit(Kind::Printed, "oz a year", LB / 16.0 / (365.0 * DAY), &[]);
/// Milligrams per litre and day.
pub const MILLIGRAMS_PER_DAY: Unit = unit(Kind::Printed, "mg/L a day", 1e-3 / DAY, &[]);
/// The same, in the words of US kits.
pub const PPM_PER_DAY: Unit = unit(Kind::Printed, "ppm a day", 1e-3 / DAY, &[]);
/// Micrograms per litre and day.
pub const MICROGRAMS_PER_DAY: Unit = unit(Kind::Printed, "µg/L a day", 1e-6 / DAY, &[]);
/// The same, in the words of US kits.
pub const PPB_PER_DAY: Unit = unit(Kind::Printed, "ppb a day", 1e-6 / DAY, &[]);
/// Milligrams per litre for each µS/cm.
pub const MILLIGRAMS_PER_MICROSIEMENS: Unit = unit(Kind::Printed, "mg/L a µS/cm", 10.0, &[]);
/// The same, in the words of US kits.
pub const PPM_PER_MICROSIEMENS: Unit = unit(Kind::Printed, "ppm a µS/cm", 10.0, &[]);
/// Per day.
pub const PER_DAY: Unit = unit(Kind::Printed, "a day", 1.0 / DAY, &[]);
/// Kelvin, as a difference.
pub const KELVIN_DIFFERENCE: Unit = unit(Kind::TemperatureDifference, "°C", 1.0, &["k", "degc"]);
/// Degrees Fahrenheit, as a difference.
pub const FAHRENHEIT_DIFFERENCE: Unit = unit(Kind::TemperatureDifference, "°F", 5.0 / 9.0, &["degf"]);

/// All units that are read. The first of a kind is the one suggested in complaints.
#[rustfmt::skip]
pub const ALL: &[Unit] = &[
    METRE, CENTIMETRE, MILLIMETRE, FOOT, INCH,
    SQUARE_METRE, SQUARE_FOOT,
    CUBIC_METRE, LITRE, MILLILITRE, US_GALLON, IMPERIAL_GALLON, CUBIC_FOOT, US_FLUID_OUNCE,
    KILOGRAM, GRAM, POUND, OUNCE,
    CELSIUS, FAHRENHEIT, KELVIN, KELVIN_DIFFERENCE, FAHRENHEIT_DIFFERENCE,
    MICROSIEMENS, MILLISIEMENS,
    DEGREE_KH, KH_MG, KH_PPM, KH_MEQ, KH_HCO3, KH_FRENCH, KH_ENGLISH, KH_GRAINS,
    DEGREE_GH, GH_MG, GH_PPM, GH_MMOL, GH_FRENCH, GH_ENGLISH, GH_GRAINS,
    CALCIUM_MG, CALCIUM_CACO3, CALCIUM_PPM, CALCIUM_MMOL,
    MILLIGRAMS, MICROGRAMS, PPM, PPB, GRAMS_PER_LITRE, GRAMS_PER_CUBIC_METRE,
    AMMONIA_N, AMMONIA_NH3, AMMONIA_NH4,
    NITRITE_ION, NITRITE_N, NITRATE_ION, NITRATE_N, PHOSPHATE_ION, PHOSPHATE_P,
    LITRES_PER_SECOND, LITRES_PER_MINUTE, CUBIC_METRES_PER_HOUR, US_GALLONS_PER_MINUTE,
    IMPERIAL_GALLONS_PER_MINUTE, LITRES_PER_DAY, US_GALLONS_PER_DAY, IMPERIAL_GALLONS_PER_DAY,
    AMPERE, MILLIAMPERE, VOLT, PER_CENTIMETRE, PER_METRE,
    SECOND, MINUTE, HOUR, DAYS, YEARS,
    PERCENT, DEGREE, DEGREE_SOUTH,
    METRES_PER_SECOND, KILOMETRES_PER_HOUR, MILES_PER_HOUR, KNOTS,
    MEGAJOULES, KILOWATT_HOURS, WATTS,
    GRAMS_A_DAY, KILOGRAMS_A_DAY, OUNCES_A_DAY, POUNDS_A_DAY,
];
