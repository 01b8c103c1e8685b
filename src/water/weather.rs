//! From what a place's weather is known by to the evaporation of its open water, month by month.
//!
//! Best first: FAO-56 Penman-Monteith where humidity, wind and sun are known, each of them estimated as that paper says
//! where it is missing; Hargreaves from temperatures alone; a measured drop, carried through the year with the sun.
//! Bare numbers: °C, m/s, shares 0 to 1, hours, MJ/(m²·day), mm, radians, m.

use super::evaporation as air;

/// Where the weather is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Radians, south negative.
    pub latitude: f64,
    /// m over the sea.
    pub altitude: f64,
    /// Height of the wind gauge over the ground, m.
    pub wind_height: f64,
}

/// Mean weather of a day. What is not known is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// Highest and lowest air temperature, °C.
    pub range: Option<(f64, f64)>,
    /// Relative humidity, 0 to 1.
    pub humidity: Option<f64>,
    /// Wind at the gauge, m/s.
    pub wind: Option<f64>,
    /// Sunshine, hours.
    pub sunshine: Option<f64>,
    /// Sunlight at the ground, MJ/(m²·day).
    pub sunlight: Option<f64>,
    /// Heat into the ground, MJ/(m²·day).
    pub ground_heat: f64,
}

/// How reference evapotranspiration was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Method {
    /// FAO-56 Penman-Monteith (eq. 6).
    PenmanMonteith,
    /// Hargreaves (eq. 52).
    Hargreaves,
    /// Not at all: a drop was measured, and goes with the sun.
    Drop,
}

/// Evaporation of a mean day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thirst {
    /// Reference evapotranspiration, mm/day.
    pub reference: f64,
    /// Penman's open water (EV-22), mm/day; where it cannot be had, none.
    pub open_water: Option<f64>,
    /// Sunlight above the air, MJ/(m²·day).
    pub above: f64,
    /// Hours from sunrise to sunset.
    pub daylight: f64,
    /// The day as the formulas took it; `None` for Hargreaves.
    pub day: Option<air::Weather>,
    /// How it was found.
    pub method: Method,
}

/// The middle day of each month, counted from 1 January: the whole part of 30.4 M − 15 (FAO-56, annex 2).
#[must_use]
pub fn middle_day(month0: usize) -> u32 {
    const DAYS: [u32; 12] = [15, 45, 76, 106, 137, 167, 197, 228, 258, 289, 319, 349];
    DAYS.get(month0).copied().unwrap_or(167)
}

/// Wind at two metres where none was measured, m/s (FAO-56, p. 63).
pub const USUAL_WIND: f64 = 2.0;
/// Share of the clear sky's range that sunlight from temperatures takes inland (FAO-56 eq. 50).
pub const INLAND: f64 = 0.16;

/// Evaporation of a mean day. `None` where not even temperatures are known.
#[must_use]
pub fn thirst(place: &Place, known: &Known, day_of_year: u32) -> Option<Thirst> {
    let (warmest, coldest) = known.range?;
    let above = air::above_the_air(place.latitude, day_of_year);
    let daylight = air::daylight(place.latitude, day_of_year);
    if known.humidity.is_none() && known.wind.is_none() && known.sunshine.is_none() && known.sunlight.is_none() {
        let reference = air::hargreaves(warmest, coldest, above).max(0.0);
        return Some(Thirst { reference, open_water: None, above, daylight, day: None, method: Method::Hargreaves });
    }
    let vapour_pressure = match known.humidity {
        Some(humidity) => air::vapour_from_mean_humidity(warmest, coldest, humidity),
        None => air::vapour_from_coldest(coldest),
    };
    let sunlight = match (known.sunlight, known.sunshine) {
        (Some(sunlight), _) => sunlight,
        (None, Some(sunshine)) => air::sunlight(above, sunshine, daylight),
        (None, None) => air::sunlight_from_temperature(above, warmest, coldest, INLAND),
    };
    let day = air::Weather {
        warmest,
        coldest,
        vapour_pressure,
        wind: known.wind.map_or(USUAL_WIND, |wind| air::wind_at_two_metres(wind, place.wind_height)),
        sunlight,
        clear_sky: air::clear_sky(above, place.altitude),
        pressure: air::pressure(place.altitude),
        ground_heat: known.ground_heat,
    };
    Some(Thirst {
        // Dew is no evaporation: a winter's night that gives water back counts as none.
        reference: air::reference(&day).max(0.0),
        open_water: Some(air::open_water(&day).max(0.0)),
        above,
        daylight,
        day: Some(day),
        method: Method::PenmanMonteith,
    })
}

/// A measured drop carried to another day of the year in proportion to the sunlight above the air: mm/day.
#[must_use]
pub fn drop_with_the_sun(place: &Place, drop: f64, measured_on: u32, day_of_year: u32) -> f64 {
    let then = air::above_the_air(place.latitude, measured_on);
    if then <= 0.0 {
        return drop;
    }
    drop * air::above_the_air(place.latitude, day_of_year) / then
}

/// Twelve values of mean days by month, straight between the middles of the months: the value on a day of the year.
#[must_use]
pub fn between_months(months: &[f64; 12], day_of_year: u32) -> f64 {
    let day = f64::from(day_of_year);
    let at = |i: usize| months.get(i % 12).copied().unwrap_or(0.0);
    let middle = |i: usize| f64::from(middle_day(i % 12)) + if i >= 12 { 365.0 } else { 0.0 };
    // From the middle of December of the year before to that of January of the year after.
    let day = if day < middle(0) { day + 365.0 } else { day };
    let month = (0..12).rev().find(|i| middle(*i) <= day).unwrap_or(0);
    let (from, to) = (middle(month), middle(month + 1));
    at(month) + (at(month + 1) - at(month)) * ((day - from) / (to - from)).clamp(0.0, 1.0)
}
