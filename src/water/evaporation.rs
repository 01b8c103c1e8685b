//! What the air takes from open water in a day: FAO-56 Penman-Monteith, the open-water Penman form, Hargreaves.
//!
//! Kernels in bare numbers: °C, kPa, m/s, MJ/(m²·day), mm/day, radians; each argument says its own. Source unless a row
//! says otherwise: Allen, Pereira, Raes, Smith (1998), Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, by
//! equation number. Nothing here errs: an input out of its physical range gives a number out of its physical range, and
//! the site's check keeps those away.

use core::f64::consts::PI;

/// Solar constant, MJ/(m²·min) (eq. 21).
const SOLAR: f64 = 0.0820;
/// Stefan-Boltzmann constant, MJ/(K⁴·m²·day) (eq. 39).
const STEFAN_BOLTZMANN: f64 = 4.903e-9;
/// Share of sunlight that grass throws back (eq. 38).
pub const GRASS_ALBEDO: f64 = 0.23;
/// Share of sunlight that water throws back (EV-24: McMahon and others 2013).
pub const WATER_ALBEDO: f64 = 0.08;
/// MJ/(m²·day) to mm/day at the latent heat FAO-56 keeps constant, 2.45 MJ/kg (eq. 20).
pub const MM_PER_MEGAJOULE: f64 = 0.408;

/// A day's weather, as a month's mean or as measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weather {
    /// Highest air temperature, °C.
    pub warmest: f64,
    /// Lowest air temperature, °C.
    pub coldest: f64,
    /// Vapour pressure, kPa.
    pub vapour_pressure: f64,
    /// Wind at two metres, m/s.
    pub wind: f64,
    /// Sunlight that reaches the ground, MJ/(m²·day).
    pub sunlight: f64,
    /// The same under a clear sky.
    pub clear_sky: f64,
    /// Atmospheric pressure, kPa.
    pub pressure: f64,
    /// Heat that goes into the ground (or the water), MJ/(m²·day).
    pub ground_heat: f64,
}

/// Saturation vapour pressure at `celsius`, kPa (eq. 11).
#[must_use]
pub fn saturation(celsius: f64) -> f64 {
    0.6108 * libm::exp(17.27 * celsius / (celsius + 237.3))
}

/// Mean saturation vapour pressure of a day, kPa (eq. 12): of the two ends, not of their mean.
#[must_use]
pub fn mean_saturation(warmest: f64, coldest: f64) -> f64 {
    (saturation(warmest) + saturation(coldest)) / 2.0
}

/// Slope of the saturation curve at `celsius`, kPa/°C (eq. 13).
#[must_use]
pub fn slope(celsius: f64) -> f64 {
    let t = celsius + 237.3;
    4098.0 * saturation(celsius) / (t * t)
}

/// Vapour pressure from the mean relative humidity as a share 0 to 1, kPa (eq. 19).
#[must_use]
pub fn vapour_from_mean_humidity(warmest: f64, coldest: f64, humidity: f64) -> f64 {
    humidity * mean_saturation(warmest, coldest)
}

/// Vapour pressure from the highest and the lowest relative humidity, shares 0 to 1, kPa (eq. 17).
#[must_use]
pub fn vapour_from_humidity_range(warmest: f64, coldest: f64, highest: f64, lowest: f64) -> f64 {
    (saturation(coldest) * highest + saturation(warmest) * lowest) / 2.0
}

/// Vapour pressure where no humidity is known: dew point taken at the day's lowest temperature, kPa (eq. 48).
#[must_use]
pub fn vapour_from_coldest(coldest: f64) -> f64 {
    saturation(coldest)
}

/// Atmospheric pressure at an altitude in metres, kPa (eq. 7).
#[must_use]
pub fn pressure(altitude: f64) -> f64 {
    101.3 * libm::pow((293.0 - 0.0065 * altitude) / 293.0, 5.26)
}

/// Psychrometric constant at a pressure in kPa, kPa/°C (eq. 8).
#[must_use]
pub fn psychrometric(pressure: f64) -> f64 {
    0.665e-3 * pressure
}

/// Wind at two metres from wind at `height` metres, m/s (eq. 47).
#[must_use]
pub fn wind_at_two_metres(wind: f64, height: f64) -> f64 {
    wind * 4.87 / libm::log(67.8 * height - 5.42)
}

/// Declination of the sun (eq. 24), its hour angle at sunset (eq. 25, held where it does not set or rise), and the
/// inverse square of its distance relative to the mean (eq. 23). `latitude` in radians, south negative.
fn sun(latitude: f64, day_of_year: u32) -> (f64, f64, f64) {
    let turn = 2.0 * PI * f64::from(day_of_year) / 365.0;
    let declination = 0.409 * libm::sin(turn - 1.39);
    let sunset = libm::acos((-libm::tan(latitude) * libm::tan(declination)).clamp(-1.0, 1.0));
    (declination, sunset, 1.0 + 0.033 * libm::cos(turn))
}

/// Sunlight above the air, MJ/(m²·day) (eq. 21). `latitude` in radians, south negative; `day_of_year` from 1.
#[must_use]
pub fn above_the_air(latitude: f64, day_of_year: u32) -> f64 {
    let (declination, sunset, nearness) = sun(latitude, day_of_year);
    let upright = sunset * libm::sin(latitude) * libm::sin(declination);
    let slanting = libm::cos(latitude) * libm::cos(declination) * libm::sin(sunset);
    24.0 * 60.0 / PI * SOLAR * nearness * (upright + slanting)
}

/// Hours from sunrise to sunset (eq. 34).
#[must_use]
pub fn daylight(latitude: f64, day_of_year: u32) -> f64 {
    24.0 / PI * sun(latitude, day_of_year).1
}

/// Sunlight that reaches the ground, from hours of sunshine (eq. 35), MJ/(m²·day). In a day without daylight, none.
#[must_use]
pub fn sunlight(above_the_air: f64, sunshine: f64, daylight: f64) -> f64 {
    if daylight <= 0.0 {
        return 0.0;
    }
    (0.25 + 0.50 * (sunshine / daylight).min(1.0)) * above_the_air
}

/// Sunlight from the day's range of temperature (eq. 50): 0.16 inland, 0.19 near a coast.
#[must_use]
pub fn sunlight_from_temperature(above_the_air: f64, warmest: f64, coldest: f64, coefficient: f64) -> f64 {
    coefficient * libm::sqrt((warmest - coldest).max(0.0)) * above_the_air
}

/// Sunlight under a clear sky at an altitude in metres (eq. 37), MJ/(m²·day).
#[must_use]
pub fn clear_sky(above_the_air: f64, altitude: f64) -> f64 {
    (0.75 + 2e-5 * altitude) * above_the_air
}

/// Heat the surface keeps: sunlight less what it throws back (eq. 38) less what it radiates (eq. 39), MJ/(m²·day).
#[must_use]
pub fn net_radiation(day: &Weather, albedo: f64) -> f64 {
    (1.0 - albedo) * day.sunlight - net_longwave(day)
}

/// Heat radiated away (eq. 39), MJ/(m²·day). In a polar night, where there is no sunlight to judge clouds by, half a
/// clear sky is taken.
#[must_use]
pub fn net_longwave(day: &Weather) -> f64 {
    let fourth = |celsius: f64| {
        let kelvin = celsius + 273.16;
        kelvin * kelvin * kelvin * kelvin
    };
    let clearness = if day.clear_sky > 0.0 { (day.sunlight / day.clear_sky).clamp(0.3, 1.0) } else { 0.5 };
    let warmth = (fourth(day.warmest) + fourth(day.coldest)) / 2.0;
    STEFAN_BOLTZMANN * warmth * (0.34 - 0.14 * libm::sqrt(day.vapour_pressure)) * (1.35 * clearness - 0.35)
}

/// Heat into the ground in a month, from the mean temperatures of the months before and after (eq. 43), MJ/(m²·day).
#[must_use]
pub fn monthly_ground_heat(before: f64, after: f64) -> f64 {
    0.07 * (after - before)
}

/// Reference evapotranspiration by FAO-56 Penman-Monteith, mm/day (eq. 6).
#[must_use]
pub fn reference(day: &Weather) -> f64 {
    let mean = (day.warmest + day.coldest) / 2.0;
    let slope = slope(mean);
    let constant = psychrometric(day.pressure);
    let thirst = mean_saturation(day.warmest, day.coldest) - day.vapour_pressure;
    let heat = net_radiation(day, GRASS_ALBEDO) - day.ground_heat;
    (MM_PER_MEGAJOULE * slope * heat + constant * 900.0 / (mean + 273.0) * day.wind * thirst)
        / (slope + constant * (1.0 + 0.34 * day.wind))
}

/// Evaporation of open water by Penman's form, mm/day (EV-22: Shuttleworth 1993).
#[must_use]
pub fn open_water(day: &Weather) -> f64 {
    let mean = (day.warmest + day.coldest) / 2.0;
    let slope = slope(mean);
    let constant = psychrometric(day.pressure);
    let thirst = mean_saturation(day.warmest, day.coldest) - day.vapour_pressure;
    let latent = 2.501 - 0.002_361 * mean;
    let heat = net_radiation(day, WATER_ALBEDO) - day.ground_heat;
    (slope * heat + constant * 6.43 * (1.0 + 0.536 * day.wind) * thirst) / (latent * (slope + constant))
}

/// Reference evapotranspiration from temperatures alone, mm/day (eq. 52: Hargreaves). `above_the_air` in MJ/(m²·day).
#[must_use]
pub fn hargreaves(warmest: f64, coldest: f64, above_the_air: f64) -> f64 {
    let mean = (warmest + coldest) / 2.0;
    0.0023 * (mean + 17.8) * libm::sqrt((warmest - coldest).max(0.0)) * MM_PER_MEGAJOULE * above_the_air
}
