//! The water year: what the next twelve months do to this pond if nobody does more than the site file and this plan say.
//!
//! [`forecast`] gathers what the balance needs (basin, weather, supply, care), runs it, and turns what came of it into
//! figures: a month's top-up and hardness are the month's account, whose entries the daily balance made.

use chrono::{Datelike, Days, NaiveDate};

use super::correction::day;
use super::{Assumption, Correction, Desk, Missing, Schedule, VolumePlan, WaterPlan, kinder};
use crate::chem::composition::Closure;
use crate::reference::{
    FEED_NITROGEN, LOSS_PER_DEGREE, OPEN_WATER, OPEN_WATER_FACTOR, OPEN_WATER_PENMAN, REFERENCE_EVAPORATION, Substance,
    WINDOW_HIGH_DKH, WINDOW_LOW_DKH, substance,
};
use crate::site::{AnimalKind, CareWhat, Depth, MONTH_DAYS, MONTHS, Readings, Section, Shape, TopUpBy, Twelve, Visit};
use crate::units::table::{
    CELSIUS, CUBIC_METRE, DAYS, DEGREE, DEGREE_GH, DEGREE_KH, GRAMS_A_DAY, HOUR, LITRE, MEGAJOULES, METRES_PER_SECOND,
    MICROSIEMENS, MILLIGRAMS, MILLIMETRE, MILLIMETRES_A_DAY, MILLIMOLES_PER_LITRE, MOLE, ONE, Unit, weight,
};
use crate::units::{
    AmountOfSubstance, CarbonateHardness, Conductivity, GeneralHardness, Length, MassConcentration, MolarConcentration,
    Ratio, Si, Velocity, Volume,
};
use crate::water::air::{self, Core, Dilute};
use crate::water::balance::{
    self, Care, Chemistry, Evening, FLOWS, Flow, Ledger, Pond, SOLUTES, Setting, Sky, Solutes, solute,
};
use crate::water::basin::{Basin, Part};
use crate::water::weather::{self, Known, Method, Place};
use crate::workings::{Figure, sum};

/// Days of a forecast.
pub const YEAR_DAYS: usize = 365;
/// Degrees of carbonate hardness a flow must have moved to be named among the reasons.
const WORTH_NAMING: f64 = 0.1;
/// Saturation index that water bears before lime comes down, where the log shows no higher.
const BORNE: f64 = 1.0;
/// Warmth from which fish are fed in full, and under which they are not fed, °C (common practice).
const FED: (f64, f64) = (18.0, 10.0);
/// A tap's water where no warmth was read, °C: between winter and summer mains. Its conductivity is that at 25 °C in any case.
const TAP: f64 = 12.0;
/// Days between two fillings by hand where nobody said.
const FILLED_EVERY: u32 = 7;

/// Which way carbonate hardness leaves the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Under it.
    Soft,
    /// Over it.
    Hard,
}

/// How carbonate hardness stands to the window over the year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// Inside on every day, once this plan's corrections are done.
    Inside,
    /// Leaves on this day.
    Leaves(NaiveDate, Side),
    /// Outside on every day.
    Outside(Side),
}

/// One flow among the reasons: how much it moved carbonate hardness.
#[derive(Clone, Debug)]
pub struct Reason {
    /// Which.
    pub flow: Flow,
    /// By how much, down negative.
    pub change: Figure<CarbonateHardness>,
}

/// A month of the forecast, whole or cut by the start or the end of the year.
#[derive(Clone, Debug)]
pub struct Month {
    /// First day.
    pub first: NaiveDate,
    /// Last day.
    pub last: NaiveDate,
    /// Evaporation, falls included, as a depth of the open surface.
    pub evaporation: f64,
    /// Rain, m.
    pub rain: f64,
    /// Water topped up.
    pub top_up: Figure<Volume>,
    /// Carbonate hardness on the last day.
    pub hardness: Figure<CarbonateHardness>,
    /// General hardness on the last day, mol/m³.
    pub general: Figure<GeneralHardness>,
    /// Conductivity on the last day.
    pub conductivity: Figure<Conductivity>,
}

/// Chlorine that a float valve lets in.
#[derive(Clone, Debug)]
pub struct ValveChlorine {
    /// mg/L a day in the month with the most top-up.
    pub a_day: Figure<MassConcentration>,
    /// That month, January as 0.
    pub month: usize,
}

/// One day of the series.
#[derive(Clone, Copy, Debug)]
pub struct Daily {
    /// The day.
    pub date: NaiveDate,
    /// Water and matter in the evening.
    pub evening: Evening,
    /// Water temperature, °C.
    pub celsius: f64,
    /// pH at rest with the air.
    pub ph: f64,
    /// µS/cm at 25 °C.
    pub conductivity: f64,
}

impl Daily {
    /// Carbonate hardness, mol of charge/m³.
    #[must_use]
    pub fn hardness(&self) -> f64 {
        self.evening.water[solute::ALKALINITY]
    }

    /// Calcium and magnesium, mol/m³.
    #[must_use]
    pub fn general(&self) -> f64 {
        self.evening.water[solute::CALCIUM] + self.evening.water[solute::MAGNESIUM]
    }
}

/// The forecast.
#[derive(Clone, Debug)]
pub struct YearPlan {
    /// The visit it starts from.
    pub first: NaiveDate,
    /// Where the weather comes from, in the contractor's words.
    pub origin: String,
    /// How evaporation was found.
    pub method: Method,
    /// Every day, the first after the visit.
    pub days: Vec<Daily>,
    /// Every month.
    pub months: Vec<Month>,
    /// How hardness stands to the window.
    pub course: Course,
    /// The days over which the reasons count.
    pub reasons_over: (NaiveDate, NaiveDate),
    /// Why hardness moves, the strongest flow first.
    pub reasons: Vec<Reason>,
    /// The change they add up to, with its line.
    pub change: Figure<CarbonateHardness>,
    /// Carbonate hardness it starts from.
    pub start: Figure<CarbonateHardness>,
    /// Lowest and highest carbonate hardness from the day it is inside, mol/m³, and their days.
    pub lowest: (f64, NaiveDate),
    /// As [`YearPlan::lowest`].
    pub highest: (f64, NaiveDate),
    /// Top-up of the year.
    pub top_up: Figure<Volume>,
    /// What evaporates in a year, as a depth, and the same by Penman's open-water form where the weather tells it.
    pub evaporation: (Figure<Length>, Option<Figure<Length>>),
    /// On which side of the window the supply is, if it is outside.
    pub supply: Option<Side>,
    /// The first day on which conductivity passes its target, where there is one.
    pub salt_over: Option<NaiveDate>,
    /// What a float valve on chlorinated supply lets in.
    pub valve: Option<ValveChlorine>,
}

/// Why there is no forecast.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoYear {
    /// The site file gives no climate.
    NoClimate,
    /// There is weather, but neither temperatures nor a measured drop.
    NoEvaporation,
    /// Carbonate hardness was never read.
    NoHardness,
    /// The supply was not tested.
    NoSupply,
    /// No surface of the water is known.
    NoSurface,
}

impl NoYear {
    /// Its name for templates.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            NoYear::NoClimate => "no-climate",
            NoYear::NoEvaporation => "no-evaporation",
            NoYear::NoHardness => "no-hardness",
            NoYear::NoSupply => "no-supply",
            NoYear::NoSurface => "no-surface",
        }
    }

    /// What is lacking, and how to come by it.
    #[must_use]
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            NoYear::NoClimate => (
                "weather of the place",
                "`[climate]` in the site file: twelve monthly normals of the nearest weather station, and the latitude",
            ),
            NoYear::NoEvaporation => (
                "evaporation",
                "highest and lowest temperatures in `[climate]`, or the drop of a day in a floating bucket in the log",
            ),
            NoYear::NoHardness => ("carbonate hardness", "drop test, 0.5 °dKH a step on 10 mL"),
            NoYear::NoSupply => ("carbonate hardness of the supply", "the same drop test, at the tap"),
            NoYear::NoSurface => ("surface of the water", "length and width by tape, in `[[volume.section]]`"),
        }
    }
}

/// What the daily balance says: the place of numbers that it summed.
const BALANCE: &str = "daily balance (weirbook forecast)";

/// What a mole of a substance brings.
fn brings(row: &Substance) -> Solutes {
    let mut out = [0.0; SOLUTES];
    out[solute::ALKALINITY] = row.charge;
    out[solute::CALCIUM] = row.calcium;
    match row.id {
        "sodium-bicarbonate" => out[solute::SODIUM] = 1.0,
        "potassium-bicarbonate" => out[solute::POTASSIUM] = 1.0,
        "calcium-chloride" => out[solute::CHLORIDE] = 2.0,
        "salt" => {
            out[solute::SODIUM] = 1.0;
            out[solute::CHLORIDE] = 1.0;
        }
        "sodium-thiosulfate" => {
            out[solute::SODIUM] = 2.0;
            out[solute::SULFATE] = 2.0;
            out[solute::ALKALINITY] = -2.0;
        }
        _ => {}
    }
    out
}

/// A mass of a product (kg) as mol of each solute.
fn dosed(desk: &Desk<'_>, row: &Substance, kilograms: f64) -> Solutes {
    let own = desk.site.substances.iter().find(|s| s.id == row.id).and_then(|s| s.purity.as_ref());
    let purity = own.map_or(row.purity, |p| p.value.si());
    let moles = kilograms * 1000.0 * purity / row.molar_mass;
    brings(row).map(|each| each * moles)
}

fn add(to: &mut Solutes, what: &Solutes) {
    for (sum, more) in to.iter_mut().zip(what) {
        *sum += more;
    }
}

/// The parts of the feature as the balance takes them, and whether the bowl's shape had to be assumed.
fn parts(sections: &[Section]) -> (Vec<Part>, bool) {
    let mut assumed = false;
    let mut out = Vec::new();
    for section in sections {
        let open = section.open;
        let mut bowl = |area: f64, depth: &Depth| match depth {
            Depth::Soundings { depths, .. } => {
                let all = || depths.iter().map(|d| d.si());
                let mean = all().sum::<f64>() / depths.len().max(1) as f64;
                let (least, most) = (all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max));
                Part::sounded(area, mean, least.min(mean), most, open)
            }
            // 0.4 of the greatest depth (VO-10), read either way.
            Depth::Mean(mean) => {
                assumed = true;
                Part::sounded(area, mean.value.si(), 0.0, mean.value.si() / 0.4, open)
            }
            Depth::Greatest(most) => Part::sounded(area, 0.4 * most.value.si(), 0.0, most.value.si(), open),
        };
        let oval = std::f64::consts::FRAC_PI_4;
        let part = match &section.shape {
            Shape::Rectangle { length, width, depth } => bowl(length.value.si() * width.value.si(), depth),
            Shape::Ellipse { length, width, depth } => bowl(oval * length.value.si() * width.value.si(), depth),
            Shape::Circle { diameter, depth } => bowl(oval * diameter.value.si() * diameter.value.si(), depth),
            Shape::MeasuredArea { area, depth } => bowl(area.value.si(), depth),
            Shape::Prismoid { top, middle, bottom, depth } => Part::Prismoid {
                top: top.value.si(),
                middle: middle.value.si(),
                bottom: bottom.value.si(),
                depth: depth.value.si(),
                open,
            },
            // A running stream holds its level: all the loss shows at the pond's edge.
            Shape::Stream { length, width, depth } => {
                let area = length.value.si() * width.value.si();
                Part::Steady { volume: area * depth.value.si(), open: if open { area } else { 0.0 } }
            }
            Shape::Known { volume } => Part::Steady { volume: volume.value.si(), open: 0.0 },
        };
        out.extend(std::iter::repeat_n(part, section.count as usize));
    }
    (out, assumed)
}

/// A water from its readings, and the rules that closed it. `hardness` is its alkalinity, mol/m³.
fn composed(readings: &Readings, hardness: f64, celsius: f64, log_co2: f64) -> (Solutes, Vec<Closure>) {
    let mut water = [0.0; SOLUTES];
    let mut read = [false; SOLUTES];
    let mut put = |at: usize, amount: Option<f64>| {
        if let (Some(amount), Some(slot), Some(was)) = (amount, water.get_mut(at), read.get_mut(at)) {
            (*slot, *was) = (amount, true);
        }
    };
    let grams = |reading: &Option<crate::site::Reading<MassConcentration>>, weight: f64| {
        reading.as_ref().filter(|r| !r.less_than).map(|r| r.value.si() * 1000.0 / weight)
    };
    put(solute::ALKALINITY, Some(hardness));
    put(solute::CALCIUM, readings.calcium.as_ref().filter(|r| !r.less_than).map(|r| r.value.si()));
    put(solute::POTASSIUM, grams(&readings.potassium, weight::K));
    let salt = grams(&readings.salt, weight::NA + weight::CL);
    put(solute::CHLORIDE, grams(&readings.chloride, weight::CL).or(salt));
    put(solute::SULFATE, grams(&readings.sulfate, weight::S + 4.0 * weight::O));
    let nitrate = readings.nitrate.as_ref().filter(|r| !r.less_than);
    put(solute::NITRATE, nitrate.map(|r| r.value.si() * 1000.0 / (weight::N + 3.0 * weight::O)));
    put(solute::COPPER, grams(&readings.total_copper, weight::CU));
    let general = readings.general_hardness.as_ref().filter(|r| !r.less_than).map(|r| r.value.si());
    let conductivity = readings.conductivity.as_ref().filter(|r| !r.less_than).map(|r| MICROSIEMENS.of(r.value.si()));
    air::completed(&air::Told { celsius, log_co2, water, read, general, conductivity })
}

/// Says aloud what had to be taken for ions that nobody measured.
fn closed(desk: &mut Desk<'_>, whose: &str, readings: &Readings, closures: &[Closure]) {
    if readings.conductivity.is_none() {
        desk.assume(Assumption::new(
            &format!("Conductivity of the {whose}, in the forecast"),
            "what the hardness in it conducts, and no salt beside",
            "a conductivity meter",
            "charge of the ions",
        ));
    }
    if readings.general_hardness.is_none() && readings.calcium.is_none() {
        desk.assume(Assumption::new(
            &format!("General hardness of the {whose}, in the forecast"),
            "as high as its carbonate hardness",
            "a general-hardness test",
            "common practice",
        ));
    } else if closures.iter().any(|c| matches!(c, Closure::CalciumFromHardness(_))) {
        desk.assume(Assumption::new(
            &format!("Calcium of the {whose}, in the forecast"),
            "three quarters of its general hardness",
            "a calcium test",
            "common practice",
        ));
    }
}

/// Readings of a visit, with what it lacks taken from the visits of the six weeks before.
fn readings_of(desk: &Desk<'_>, visit: &Visit) -> Readings {
    let mut readings = visit.pond.clone();
    for earlier in desk.site.visits.iter().rev() {
        let age = (visit.date - earlier.date).num_days();
        if (1..=super::readings::FRESH_DAYS).contains(&age) {
            let p = &earlier.pond;
            readings.general_hardness = readings.general_hardness.or_else(|| p.general_hardness.clone());
            readings.calcium = readings.calcium.or_else(|| p.calcium.clone());
            readings.conductivity = readings.conductivity.or_else(|| p.conductivity.clone());
            readings.nitrate = readings.nitrate.or_else(|| p.nitrate.clone());
            readings.total_copper = readings.total_copper.or_else(|| p.total_copper.clone());
        }
    }
    readings
}

/// log₁₀ of the carbon dioxide that the log's pH readings show, their mean; the air's without any. The pond's own plants and
/// filter keep it off the air's, and the mean of morning and afternoon is the day's.
fn carbon_dioxide(desk: &Desk<'_>) -> f64 {
    use crate::chem::carbonate::{log_k1, log_kh};
    let mut found = Vec::new();
    for visit in &desk.site.visits {
        let p = &visit.pond;
        let (Some(hardness), Some(warmth)) = (&p.carbonate_hardness, &p.temperature) else { continue };
        let ph: Vec<f64> = [&p.ph_morning, &p.ph_afternoon].into_iter().flatten().map(|r| r.value.si()).collect();
        if ph.is_empty() || hardness.less_than || hardness.value.si() <= 0.0 {
            continue;
        }
        let ph = ph.iter().sum::<f64>() / ph.len() as f64;
        let t = warmth.value.si();
        // HCO3- is all but the alkalinity at these pH: h · HCO3 = K1 KH p.
        found.push(libm::log10(hardness.value.si() / 1000.0) - ph - log_kh(t) - log_k1(t));
    }
    if found.is_empty() {
        return crate::chem::carbonate::AIR_LOG_CO2;
    }
    found.iter().sum::<f64>() / found.len() as f64
}

/// How much the pond's water is warmer than the month's air, by the readings of the log: their mean, or nothing.
fn warmer(desk: &Desk<'_>, air: &[f64; 12]) -> f64 {
    let differences: Vec<f64> = desk
        .site
        .visits
        .iter()
        .filter_map(|v| {
            let read = v.pond.temperature.as_ref()?;
            Some(CELSIUS.of(read.value.si()) - weather::between_months(air, v.date.ordinal()).max(0.0))
        })
        .collect();
    if differences.len() < 3 {
        return 0.0;
    }
    (differences.iter().sum::<f64>() / differences.len() as f64).clamp(-5.0, 5.0)
}

/// The weather of twelve mean days and what evaporates on them.
struct Sun {
    method: Method,
    /// m a day from still water, by month.
    evaporation: [f64; 12],
    /// The same by Penman's open-water form, where the weather tells it.
    penman: [Option<f64>; 12],
    /// m a day.
    rain: [f64; 12],
    /// Mean air temperature, °C; `None` where it is not known.
    air: Option<[f64; 12]>,
}

fn month_value<Q: Si>(twelve: &Twelve<Q>, month: usize) -> Option<f64> {
    twelve.as_ref().and_then(|t| t.value.get(month)).map(|q| q.si())
}

/// A month in a symbol: `Jan`.
fn short(month0: usize) -> &'static str {
    let name = month_name(month0);
    name.get(..3).unwrap_or(name)
}

/// The name of a month, January as 0.
#[must_use]
pub fn month_name(month0: usize) -> &'static str {
    MONTHS.get(month0).copied().unwrap_or("")
}

fn sun(desk: &mut Desk<'_>) -> Result<Sun, NoYear> {
    let site = desk.site;
    let Some(climate) = &site.year.climate else { return Err(NoYear::NoClimate) };
    let (Some(latitude), Some(rain)) = (&site.latitude, &climate.normals.rain) else { return Err(NoYear::NoClimate) };
    let altitude = match &site.elevation {
        Some(elevation) => elevation.value.si(),
        None => {
            desk.assume(Assumption::new(
                "Height above the sea",
                "sea level",
                "`elevation` in `[site]`, from a map",
                "common practice",
            ));
            0.0
        }
    };
    let wind_height = match (&climate.wind_height, &climate.normals.wind) {
        (Some(height), _) => height.value.si(),
        (None, Some(_)) => {
            desk.assume(Assumption::new(
                "Height of the wind gauge",
                "2\u{a0}m",
                "`wind_height` in `[climate]`, from the station",
                "common practice",
            ));
            2.0
        }
        (None, None) => 2.0,
    };
    let place = Place { latitude: latitude.value.si(), altitude, wind_height };
    let n = &climate.normals;
    let mean = |month: usize| {
        let (high, low) = (month_value(&n.warmest, month)?, month_value(&n.coldest, month)?);
        Some(CELSIUS.of(0.5 * (high + low)))
    };
    let mut air = [0.0; 12];
    let mut whole = true;
    for (month, value) in air.iter_mut().enumerate() {
        match mean(month) {
            Some(celsius) => *value = celsius,
            None => whole = false,
        }
    }
    let air = whole.then_some(air);
    let mut rain_a_day = [0.0; 12];
    for ((day, month), days) in rain_a_day.iter_mut().zip(&rain.value).zip(MONTH_DAYS) {
        *day = month.si() / days;
    }
    let factor = evaporation_factor(desk);
    let drop = measured_drop(desk);
    let mut evaporation = [0.0; 12];
    let mut penman = [None; 12];
    let mut method = Method::PenmanMonteith;
    for month in 0..12 {
        let id = format!("climate.evaporation-{:02}", month + 1);
        let name = month_name(month);
        let title = format!("Evaporation of a day in {name}");
        let known = known(n, air.as_ref(), month);
        let figure = match weather::thirst(&place, &known, weather::middle_day(month)) {
            Some(thirst) => {
                method = method.max(thirst.method);
                if let Some(slot) = penman.get_mut(month) {
                    *slot = thirst.open_water.map(|mm| mm / 1000.0);
                }
                let et = reference_line(desk, &thirst, &known, &place, month);
                (&factor * &et).named(&id, &title, &format!("E_{}", short(month)), &MILLIMETRES_A_DAY)
            }
            None => {
                let Some((visit, drop)) = &drop else { return Err(NoYear::NoEvaporation) };
                method = Method::Drop;
                let here = weather::middle_day(month);
                let then = visit.date.ordinal();
                let share = weather::drop_with_the_sun(&place, 1.0, then, here);
                let leaf: Figure<Ratio> = Figure::leaf(
                    Ratio::from_si(share),
                    &format!("q_{}", short(month)),
                    "sunlight above the air, that month over that day",
                    &ONE,
                    crate::workings::Source::Cited(&REFERENCE_EVAPORATION),
                );
                (drop * &leaf).meaning::<Velocity>().named(
                    &id,
                    &title,
                    &format!("E_{}", short(month)),
                    &MILLIMETRES_A_DAY,
                )
            }
        };
        let figure = desk.book.publish(figure);
        if let Some(slot) = evaporation.get_mut(month) {
            *slot = figure.si() * DAYS.size;
        }
    }
    estimated(desk, method);
    Ok(Sun { method, evaporation, penman, rain: rain_a_day, air })
}

/// Says aloud what evaporation had to do without.
fn estimated(desk: &mut Desk<'_>, method: Method) {
    let site = desk.site;
    let Some(climate) = &site.year.climate else { return };
    let n = &climate.normals;
    if method == Method::PenmanMonteith {
        let mut lacking = Vec::new();
        for (known, name) in [
            (n.humidity.is_some(), "humidity from the coldest hour"),
            (n.wind.is_some(), "wind of 2\u{a0}m/s"),
            (n.sunshine.is_some() || n.sunlight.is_some(), "sun from the range of temperature"),
        ] {
            if !known {
                lacking.push(name);
            }
        }
        if !lacking.is_empty() {
            desk.assume(Assumption::new(
                "Weather that was not given",
                &lacking.join("; "),
                "the normals of the nearest station, in `[climate]`",
                "FAO-56",
            ));
        }
    }
}

fn known(n: &crate::site::Normals, air: Option<&[f64; 12]>, month: usize) -> Known {
    let celsius =
        |twelve: &Twelve<crate::units::ThermodynamicTemperature>| month_value(twelve, month).map(|k| CELSIUS.of(k));
    let around = |step: usize| air.and_then(|a| a.get((month + step) % 12)).copied().unwrap_or(0.0);
    Known {
        range: celsius(&n.warmest).zip(celsius(&n.coldest)),
        humidity: month_value(&n.humidity, month),
        wind: month_value(&n.wind, month),
        sunshine: month_value(&n.sunshine, month).map(|s| HOUR.of(s)),
        sunlight: month_value(&n.sunlight, month).map(|w| MEGAJOULES.of(w)),
        ground_heat: if air.is_some() {
            crate::water::evaporation::monthly_ground_heat(around(11), around(1))
        } else {
            0.0
        },
    }
}

/// Open water over reference evapotranspiration: the site's own, or EV-20.
fn evaporation_factor(desk: &Desk<'_>) -> Figure<Ratio> {
    match &desk.site.year.losses.evaporation_factor {
        Some(own) => {
            Figure::stated(own.value, "f", "open water over reference evapotranspiration", &ONE, &desk.place(own.span))
        }
        None => {
            Figure::cited(OPEN_WATER_FACTOR, "f", "open water over reference evapotranspiration", &ONE, &OPEN_WATER)
        }
    }
}

/// A drop of the water line that evaporation alone made: in a floating bucket, or with the pump off. The latest.
fn measured_drop<'a>(desk: &Desk<'a>) -> Option<(&'a Visit, Figure<Velocity>)> {
    let (visit, reading) = desk
        .last(|v| v.drop_bucket.as_ref().filter(|r| !r.less_than))
        .or_else(|| desk.last(|v| v.drop_still.as_ref().filter(|r| !r.less_than)))?;
    let length = kinder::leaf(desk, reading, "d", "drop of the water line in a day", &MILLIMETRE);
    let one: Figure<crate::units::Time> = Figure::counted(1.0, "1 d", "one day", &DAYS);
    Some((visit, length / one))
}

/// Reference evapotranspiration of a month's mean day, with what went in.
fn reference_line(
    desk: &Desk<'_>,
    thirst: &weather::Thirst,
    known: &Known,
    place: &Place,
    month: usize,
) -> Figure<Velocity> {
    let span = desk.site.year.climate.as_ref().map(|c| &c.normals);
    let at = |twelve: Option<crate::diag::Span>| twelve.map_or_else(|| "estimated".to_owned(), |s| desk.place(s));
    let number = |value: f64, symbol: &str, title: &str, unit: &'static Unit, origin: String| {
        let leaf: Figure<Ratio> = Figure::stated(Ratio::from_si(unit.si(value)), symbol, title, unit, &origin);
        std::rc::Rc::clone(leaf.node())
    };
    let of = |symbol: &str| format!("{symbol}{}{}", if symbol.contains('_') { "," } else { "_" }, short(month));
    let mut inputs = Vec::new();
    if let Some((warmest, coldest)) = known.range {
        let place = at(span.and_then(|n| n.warmest.as_ref()).map(|t| t.span));
        inputs.push(number(warmest, &of("T_max"), "highest of the day, °C", &ONE, place.clone()));
        inputs.push(number(coldest, &of("T_min"), "lowest, °C", &ONE, place));
    }
    let name = month_name(month);
    let reference = Velocity::from_si(MILLIMETRES_A_DAY.si(thirst.reference));
    let id = format!("climate.reference-{:02}", month + 1);
    let title = format!("Reference evapotranspiration of a day in {name}");
    let equation = match thirst.day {
        Some(day) => {
            let n = span;
            inputs.push(number(
                day.vapour_pressure,
                &of("e_a"),
                "vapour pressure, kPa",
                &ONE,
                at(n.and_then(|n| n.humidity.as_ref()).map(|t| t.span)),
            ));
            inputs.push(number(
                day.wind,
                &of("u"),
                "wind at 2 m",
                &METRES_PER_SECOND,
                at(n.and_then(|n| n.wind.as_ref()).map(|t| t.span)),
            ));
            let sun = n.and_then(|n| n.sunlight.as_ref().map(|t| t.span).or(n.sunshine.as_ref().map(|t| t.span)));
            inputs.push(number(day.sunlight, &of("R_s"), "sunlight at the ground", &MEGAJOULES, at(sun)));
            inputs.push(number(day.ground_heat, &of("G"), "heat into the ground", &MEGAJOULES, "FAO-56 eq. 43".into()));
            inputs.push(number(day.pressure, "P", "pressure, kPa", &ONE, "FAO-56 eq. 7".into()));
            "ET = (0.408 Δ (R_n − G) + γ 900 u (e_s − e_a) / (T + 273)) / (Δ + γ (1 + 0.34 u)), FAO-56 eq. 6"
        }
        None => "ET = 0.0023 (T + 17.8) √(T_max − T_min) R_a / λ, FAO-56 eq. 52",
    };
    let origin = format!("FAO-56 eq. 21, day {}", weather::middle_day(month));
    inputs.push(number(thirst.above, &of("R_a"), "sunlight above the air", &MEGAJOULES, origin));
    let latitude = desk.site.latitude.as_ref().map_or_else(String::new, |l| desk.place(l.span));
    inputs.push(number(DEGREE.of(place.latitude), "φ", "latitude, degrees", &ONE, latitude));
    Figure::solved(reference, equation, inputs, 0.0, 1)
        .named(&id, &title, &of("ET"), &MILLIMETRES_A_DAY)
        .from_source(&REFERENCE_EVAPORATION)
}

/// Feed a day in warm water (g), and the share of it that ends as nitrate nitrogen.
fn feed(desk: &mut Desk<'_>) -> (f64, f64) {
    let site = desk.site;
    let told = &site.year.feed;
    let share = match (&told.nitrogen, &told.protein) {
        (Some(nitrogen), _) => nitrogen.value.si(),
        (None, Some(protein)) => {
            desk.assume(Assumption::new(
                "Nitrogen of the feed that ends as nitrate",
                "0.16 of its protein, half of that",
                "`nitrogen` in `[feed]`",
                "from memory",
            ));
            0.5 * 0.16 * protein.value.si()
        }
        (None, None) => FEED_NITROGEN_SHARE,
    };
    if told.fed == Some(false) {
        return (0.0, share);
    }
    if let Some(amount) = &told.amount {
        if told.nitrogen.is_none() && told.protein.is_none() {
            desk.assume(Assumption::new(
                "Nitrogen of the feed that ends as nitrate",
                "3\u{a0}% of the feed",
                "the protein printed on the bag, in `[feed]`",
                FEED_NITROGEN.short,
            ));
        }
        return (GRAMS_A_DAY.of(amount.value.si()), share);
    }
    // Fish that live here are taken to be fed: the drain is counted before it is measured.
    let grams: f64 = site
        .animals
        .iter()
        .filter(|a| !a.given_up && a.stays)
        .map(|a| {
            let each = match a.kind {
                AnimalKind::Koi => 10.0,
                AnimalKind::Goldfish | AnimalKind::TenderFish => 1.0,
                AnimalKind::Orfe | AnimalKind::Tench | AnimalKind::Rudd | AnimalKind::Trout | AnimalKind::Sturgeon => {
                    3.0
                }
                _ => 0.0,
            };
            each * f64::from(a.count.unwrap_or(5))
        })
        .sum();
    if grams > 0.0 {
        desk.assume(Assumption::new(
            "Feed in warm water",
            &format!(
                "{}\u{a0}g a day (koi 10, goldfish 1, others 3\u{a0}g each), 3\u{a0}% of it nitrogen that ends as nitrate",
                crate::units::plain(grams, crate::units::Digits::Significant(2))
            ),
            "the feed of a week, weighed, in `[feed]`",
            "common practice",
        ));
    }
    (grams, share)
}

/// Share of the feed whose nitrogen ends as nitrate (TRADE.md 11.1).
const FEED_NITROGEN_SHARE: f64 = 0.03;

/// The schedule of care, one entry a day, as the site file and this plan say.
fn care(
    desk: &mut Desk<'_>,
    correction: &Correction,
    schedule: Option<&Schedule>,
    first: NaiveDate,
    celsius: &[f64],
) -> Vec<Care> {
    let site = desk.site;
    let year = &site.year;
    let by = year.top_up.as_ref().map(|t| t.by);
    let by = by.unwrap_or(if site.supply.float_valve { TopUpBy::FloatValve } else { TopUpBy::Hand });
    let every = year.top_up.as_ref().and_then(|t| t.every.as_ref()).map(|e| e.value);
    if by == TopUpBy::Hand && every.is_none() {
        desk.assume(Assumption::new(
            "Topping up",
            "by hand, every 7\u{a0}days, to the brim",
            "`[top_up]` in the site file",
            "common practice",
        ));
    }
    let every = every.unwrap_or(FILLED_EVERY).max(1);
    let (grams, nitrogen) = feed(desk);
    let mut out = Vec::with_capacity(celsius.len());
    let loss_20 = libm::sqrt(crate::reference::LOSS_RANGE.0 * crate::reference::LOSS_RANGE.1);
    for (index, warmth) in celsius.iter().enumerate() {
        let date = day(first, index as u64);
        let mut care = Care {
            top_up: match by {
                TopUpBy::FloatValve => true,
                TopUpBy::Hand => (index as u64 + 1).is_multiple_of(u64::from(every)),
                TopUpBy::Nothing => false,
            },
            ..Care::default()
        };
        let appetite = ((warmth - FED.1) / (FED.0 - FED.1)).clamp(0.0, 1.0);
        care.feed = grams * appetite * nitrogen / weight::N;
        if let Some(leak) = &year.losses.leak
            && year.losses.leak_until.as_ref().is_none_or(|until| date <= until.value)
        {
            care.leak = leak.value.si() * DAYS.size;
        }
        if let Some(down) = &year.drain_down {
            let (from, to, month) = (down.from.value, down.to.value, date.month());
            let inside = if from < to { (from..to).contains(&month) } else { month >= from || month < to };
            care.lowered = inside.then(|| 1.0 - down.share.value.si());
        }
        for told in &year.care {
            if told.on(date) {
                match told.what {
                    CareWhat::ChangeShare(share) => care.change_share += share.si(),
                    CareWhat::ChangeVolume(volume) => care.change_volume += volume.si(),
                    CareWhat::Dose(row, mass) => add(&mut care.dose, &dosed(desk, row, mass.si())),
                }
            }
        }
        corrected(desk, correction, date, &mut care);
        if let Some(schedule) = schedule {
            let since = usize::try_from((date - desk.date).num_days()).ok();
            let level = since.and_then(|i| schedule.levels.get(i)).copied().unwrap_or(0);
            let kilograms = schedule.releases.get(level as usize).copied().unwrap_or(0.0);
            care.copper = kilograms * 1000.0 / weight::CU;
        }
        care.copper_lost = 1.0 - libm::exp(-loss_20 * libm::pow(LOSS_PER_DEGREE, warmth - 20.0));
        out.push(care);
    }
    out
}

/// What this plan's own corrections do on a day.
fn corrected(desk: &Desk<'_>, correction: &Correction, date: NaiveDate, care: &mut Care) {
    if let Some(buffer) = &correction.buffer
        && buffer.days.contains(&date)
    {
        add(&mut care.dose, &dosed(desk, buffer.substance, buffer.dose.si()));
    }
    if let Some(calcium) = &correction.calcium
        && calcium.days.contains(&date)
    {
        add(&mut care.dose, &dosed(desk, calcium.substance, calcium.dose.si()));
    }
    if let (Some(salt), Some(row)) = (&correction.salt, substance("salt"))
        && salt.days.contains(&date)
    {
        add(&mut care.dose, &dosed(desk, row, salt.dose.si()));
    }
    for change in [&correction.changes, &correction.copper].into_iter().flatten() {
        if change.days.contains(&date) {
            care.change_volume += change.volume.si();
            if let (Some(buffer), Some(row)) = (&change.buffer, substance("sodium-bicarbonate")) {
                add(&mut care.dose, &dosed(desk, row, buffer.si()));
            }
        }
    }
}

/// The window's edges, mol/m³.
fn edges() -> (f64, f64) {
    (DEGREE_KH.si(WINDOW_LOW_DKH), DEGREE_KH.si(WINDOW_HIGH_DKH))
}

fn side(hardness: f64) -> Option<Side> {
    let (low, high) = edges();
    // The same forgiveness of the last bit as everywhere.
    if hardness < low * (1.0 - 1e-9) {
        Some(Side::Soft)
    } else if hardness >= high * (1.0 - 1e-9) {
        Some(Side::Hard)
    } else {
        None
    }
}

/// The course of hardness against the window, and the day from which it counts: the first inside, or the start.
fn course(days: &[Daily]) -> (Course, usize) {
    let hardness = |d: &Daily| d.hardness();
    let inside = days.iter().position(|d| side(hardness(d)).is_none());
    let Some(from) = inside else {
        return (Course::Outside(days.first().and_then(|d| side(hardness(d))).unwrap_or(Side::Soft)), 0);
    };
    let out = days.iter().enumerate().skip(from).find_map(|(i, d)| side(hardness(d)).map(|s| (i, s)));
    match out {
        Some((i, side)) => (Course::Leaves(days.get(i).map_or(NaiveDate::MIN, |d| d.date), side), from),
        None => (Course::Inside, from),
    }
}

/// The forecast of the twelve months after the last visit that read carbonate hardness. `minerals`: the highest conductivity
/// there should be, S/m, where there is such a target.
pub fn forecast(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    schedule: Option<&Schedule>,
    minerals: Option<f64>,
    ions: Option<&WaterPlan>,
) -> Result<YearPlan, NoYear> {
    let found = run(desk, volume, correction, schedule, minerals, ions);
    if let Err(why) = &found {
        let (what, measure) = why.words();
        desk.miss(Missing::new(what, measure));
    }
    found
}

fn run(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    schedule: Option<&Schedule>,
    minerals: Option<f64>,
    ions: Option<&WaterPlan>,
) -> Result<YearPlan, NoYear> {
    let site = desk.site;
    let Some(climate) = &site.year.climate else { return Err(NoYear::NoClimate) };
    let (visit, reading) =
        desk.last(|v| v.pond.carbonate_hardness.as_ref().filter(|r| !r.less_than)).ok_or(NoYear::NoHardness)?;
    let supply_hardness = site.supply.readings.carbonate_hardness.as_ref().ok_or(NoYear::NoSupply)?;
    let (parts, shape_assumed) = parts(&site.volume.sections);
    let basin = Basin::new(&parts, volume.total.si()).ok_or(NoYear::NoSurface)?;
    if basin.surface(basin.full) <= 0.0 {
        return Err(NoYear::NoSurface);
    }
    let sun = sun(desk)?;
    if shape_assumed {
        desk.assume(Assumption::new(
            "Shape of the bowl",
            "mean depth 0.4 of the greatest",
            "soundings on two crossing lines",
            "a handbook's guess",
        ));
    }
    // Hardness in the middle of what the kit leaves open.
    let range = kinder::hardness(desk, reading, "hardness.reading", "pond");
    let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
    let start = ((&range.low + &range.high) * half).named(
        "year.start",
        "Carbonate hardness the forecast starts from",
        "K_0",
        &DEGREE_KH,
    );
    let log_co2 = carbon_dioxide(desk);
    let warmth_of = |r: &Readings| r.temperature.as_ref().map_or(TAP, |t| CELSIUS.of(t.value.si()).clamp(0.5, 45.0));
    let told = &site.supply.readings;
    let (supply, closures) =
        composed(told, supply_hardness.value.si(), warmth_of(told), crate::chem::carbonate::AIR_LOG_CO2);
    closed(desk, "supply", told, &closures);
    let told = readings_of(desk, visit);
    let (water, closures) = composed(&told, start.si(), warmth_of(&told), log_co2);
    // Where the plan has composed the pond's water, it has said so already.
    if ions.is_none() {
        closed(desk, "pond", &told, &closures);
    }
    let first = visit.date;
    let dates: Vec<NaiveDate> =
        (1..=YEAR_DAYS as u64).map(|i| first.checked_add_days(Days::new(i)).unwrap_or(first)).collect();
    let air_mean = sun.air.unwrap_or_else(|| logged_temperatures(desk));
    let above = if sun.air.is_some() { warmer(desk, &air_mean) } else { 0.0 };
    let celsius: Vec<f64> =
        dates.iter().map(|d| (weather::between_months(&air_mean, d.ordinal()).max(0.0) + above).max(0.5)).collect();
    let mut chemistry = Core(Dilute { log_co2, threshold: BORNE });
    chemistry.0.threshold = borne(desk, &chemistry);
    desk.assume(Assumption::new(
        "Lime comes down",
        &format!(
            "above a saturation index of {}",
            crate::units::plain(chemistry.0.threshold, crate::units::Digits::Places(1))
        ),
        "calcium and conductivity at each visit: lime that falls shows in both",
        "common practice",
    ));
    desk.assume(Assumption::new(
        "Minerals in rain",
        "none",
        "hardness and conductivity of collected rain",
        "common practice",
    ));
    desk.assume(Assumption::new(
        "Warmth of the water, in the forecast",
        if sun.air.is_some() {
            "the month's mean air, and as much warmer as the visits of the log found it"
        } else {
            "that of the visit nearest in the year"
        },
        "a thermometer in the pond, read each week",
        "common practice",
    ));
    let losses = &site.year.losses;
    if losses.falls.is_none() && losses.splash.is_none() && losses.leak.is_none() {
        desk.assume(Assumption::new(
            "Falls, splash and leak",
            "none beside evaporation from still water",
            "the drop of a day with the pump on, off, and in a floating bucket",
            "common practice",
        ));
    }
    let mut catchment = 0.0;
    for roof in &site.year.catchments {
        let share = roof.runoff.as_ref().map_or(RUNOFF, |r| r.value.si());
        if roof.runoff.is_none() {
            desk.assume(Assumption::new(
                "Rain that runs off a catchment",
                "80\u{a0}%",
                "`runoff` in `[[catchment]]`",
                "common practice",
            ));
        }
        catchment += roof.area.value.si() * share;
    }
    let setting = Setting {
        basin,
        catchment,
        falls: losses.falls.as_ref().map_or(0.0, |f| f.value.si()),
        splash: losses.splash.as_ref().map_or(0.0, |s| s.value.si() * DAYS.size),
        supply,
        rain: [0.0; SOLUTES],
    };
    let sky: Vec<Sky<_>> = dates
        .iter()
        .zip(&celsius)
        .map(|(date, celsius)| {
            let month = date.month0() as usize;
            Sky {
                evaporation: sun.evaporation.get(month).copied().unwrap_or(0.0),
                rain: sun.rain.get(month).copied().unwrap_or(0.0),
                celsius: *celsius,
                warmth: chemistry.at(*celsius),
            }
        })
        .collect();
    let care = care(desk, correction, schedule, dates.first().copied().unwrap_or(first), &celsius);
    let lowered = care.first().and_then(|c| c.lowered).unwrap_or(1.0);
    let begin = Pond::of(setting.basin.full * lowered, &water);
    let mut days = Vec::with_capacity(YEAR_DAYS);
    let mut ledgers: Vec<Ledger> = Vec::with_capacity(YEAR_DAYS);
    let mut pond = begin;
    for ((date, sky), care) in dates.iter().zip(&sky).zip(&care) {
        let mut ledger = Ledger::default();
        let evening = balance::day(&setting, &chemistry, sky, care, &mut pond, &mut ledger);
        days.push(Daily {
            date: *date,
            evening,
            celsius: sky.celsius,
            ph: chemistry.ph(&sky.warmth, &evening.water),
            conductivity: chemistry.conductivity(&sky.warmth, &evening.water),
        });
        ledgers.push(ledger);
    }
    let account = Account { first, begin, sun: &sun, setting: &setting, days: &days, ledgers: &ledgers };
    account.closing(desk, &start);
    let months = account.months(desk, &start);
    let (course, from) = course(&days);
    let until = match course {
        Course::Leaves(date, _) => days.iter().position(|d| d.date == date).unwrap_or(days.len() - 1),
        _ => days.len() - 1,
    };
    // From the evening on which it is inside; from the start where it never is.
    let (counts_from, opening) = match course {
        Course::Outside(_) => (0, begin.concentration(solute::ALKALINITY)),
        _ => (from + 1, days.get(from).map_or(0.0, |d| d.hardness())),
    };
    let (reasons, change) = account.reasons(desk, counts_from, until, opening);
    let span_first = days.get(counts_from.min(until)).map_or(first, |d| d.date);
    let span_last = days.get(until).map_or(first, |d| d.date);
    let inside = days.iter().skip(from);
    let ends = |better: fn(f64, f64) -> bool| {
        inside.clone().fold((f64::NAN, first), |best, d| {
            let hardness = d.hardness();
            if best.0.is_nan() || better(hardness, best.0) { (hardness, d.date) } else { best }
        })
    };
    let (lowest, highest) = (ends(|a, b| a < b), ends(|a, b| a > b));
    let top_up = sum(&months.iter().map(|m| m.top_up.clone()).collect::<Vec<_>>()).named(
        "year.top-up",
        "Water topped up in the year",
        "V_top",
        &LITRE,
    );
    let top_up = desk.book.publish(top_up);
    let salt_over = minerals
        .map(|si| MICROSIEMENS.of(si))
        .and_then(|target| days.iter().find(|d| d.conductivity > target).map(|d| d.date));
    let valve = account.valve(desk);
    let evaporation = depths(desk, &sun);
    Ok(YearPlan {
        evaporation,
        supply: side(supply_hardness.value.si()),
        first,
        origin: climate.origin.clone(),
        method: sun.method,
        months,
        course,
        reasons_over: (span_first, span_last),
        reasons,
        change,
        start: desk.book.publish(start),
        lowest,
        highest,
        top_up,
        salt_over,
        valve,
        days,
    })
}

/// What evaporates from still water in twelve mean months, as a depth, by both forms.
fn depths(desk: &mut Desk<'_>, sun: &Sun) -> (Figure<Length>, Option<Figure<Length>>) {
    let months = |letter: &str, a_day: &dyn Fn(usize) -> Option<f64>| -> Option<Figure<Length>> {
        let parts: Option<Vec<Figure<Length>>> = (0..12)
            .zip(MONTH_DAYS)
            .map(|(month, days)| {
                let symbol = format!("{letter}_{}", short(month));
                let title = format!("depth of {}", month_name(month));
                Some(booked(a_day(month)? * days, &symbol, &title, &MILLIMETRE))
            })
            .collect();
        Some(sum(&parts?))
    };
    let used = months("H", &|m| sun.evaporation.get(m).copied());
    let used = used.unwrap_or_else(|| booked(0.0, "E", "evaporation", &MILLIMETRE));
    let used = used.named("year.evaporation", "Evaporation from still water in a year", "H_evap", &MILLIMETRE);
    let penman = months("W", &|m| sun.penman.get(m).copied().flatten()).map(|all| {
        let title = "The same by Penman's open-water form, for comparison";
        all.named("year.penman", title, "W_evap", &MILLIMETRE).from_source(&OPEN_WATER_PENMAN)
    });
    (desk.book.publish(used), penman.map(|p| desk.book.publish(p)))
}

/// Share of the rain that runs off where nobody said (common practice).
const RUNOFF: f64 = 0.8;

/// Water temperatures by month where the climate knows none: those of the log's own visits, nearest in the year.
fn logged_temperatures(desk: &Desk<'_>) -> [f64; 12] {
    let mut out = [12.0; 12];
    for (month, value) in out.iter_mut().enumerate() {
        let here = i64::from(weather::middle_day(month));
        let nearest = desk
            .site
            .visits
            .iter()
            .filter_map(|v| {
                let apart = (i64::from(v.date.ordinal()) - here).rem_euclid(365);
                Some((apart.min(365 - apart), CELSIUS.of(v.pond.temperature.as_ref()?.value.si())))
            })
            .min_by(|a, b| a.0.cmp(&b.0));
        if let Some((_, celsius)) = nearest {
            *value = celsius;
        }
    }
    out
}

/// The saturation index this water bears: the highest that a visit found, if that is more than [`BORNE`].
fn borne(desk: &Desk<'_>, chemistry: &Core) -> f64 {
    let mut most = BORNE;
    for visit in &desk.site.visits {
        let p = &visit.pond;
        let (Some(hardness), Some(_), Some(warmth)) = (&p.carbonate_hardness, &p.calcium, &p.temperature) else {
            continue;
        };
        let celsius = CELSIUS.of(warmth.value.si());
        let (water, _) = composed(p, hardness.value.si(), celsius, chemistry.0.log_co2);
        most = most.max(chemistry.saturation(&chemistry.at(celsius), &water));
    }
    most.min(2.0)
}

/// The books of a run, to be turned into figures.
struct Account<'a> {
    first: NaiveDate,
    begin: Pond,
    sun: &'a Sun,
    setting: &'a Setting,
    days: &'a [Daily],
    ledgers: &'a [Ledger],
}

/// A sum the daily balance made, as a leaf.
fn booked<Q: Si>(value: f64, symbol: &str, title: &str, unit: &'static Unit) -> Figure<Q> {
    Figure::stated(Q::from_si(value), symbol, title, unit, BALANCE)
}

/// A flow's symbol and name in the workings.
#[must_use]
pub fn flow_words(flow: Flow) -> (&'static str, &'static str) {
    match flow {
        Flow::Rain => ("rain", "rain on the water"),
        Flow::Catchment => ("roof", "rain from catchments"),
        Flow::Evaporation => ("evap", "evaporation"),
        Flow::Falls => ("falls", "evaporation of falls and streams"),
        Flow::Splash => ("splash", "splash"),
        Flow::Leak => ("leak", "leak"),
        Flow::DrainDown => ("winter", "winter drain-down"),
        Flow::ChangeOut => ("out", "water let out for changes"),
        Flow::ChangeIn => ("in", "new water of changes"),
        Flow::Dose => ("dose", "substances added"),
        Flow::Feed => ("feed", "feed that ends as nitrate"),
        Flow::TopUp => ("top", "top-up"),
        Flow::Overflow => ("over", "overflow"),
        Flow::Lime => ("lime", "lime that came down"),
        Flow::CopperRelease => ("bars", "copper from the bars"),
        Flow::CopperLoss => ("lost", "copper lost"),
    }
}

impl Account<'_> {
    /// Water and matter of one flow over a run of days: m³, and mol of a solute.
    fn total(&self, flow: Flow, from: usize, until: usize, solute: usize) -> (f64, f64) {
        let mut water = 0.0;
        let mut matter = 0.0;
        for ledger in self.ledgers.iter().take(until + 1).skip(from) {
            let moved = ledger.of(flow);
            water += moved.water;
            matter += moved.amounts.get(solute).copied().unwrap_or(0.0);
        }
        (water, matter)
    }

    /// The pond before a day.
    fn before(&self, index: usize) -> Pond {
        match index.checked_sub(1).and_then(|i| self.days.get(i)) {
            Some(day) => Pond::of(day.evening.volume, &day.evening.water),
            None => self.begin,
        }
    }

    /// The line that proves the books: what is left over after a year.
    fn closing(&self, desk: &mut Desk<'_>, start: &Figure<CarbonateHardness>) {
        let last = self.days.len() - 1;
        let end = self.before(self.days.len());
        let mut worst = 0.0_f64;
        let moved: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, 0).0).sum();
        let passed: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, 0).0.abs()).sum::<f64>() + self.begin.volume;
        worst = worst.max((self.begin.volume + moved - end.volume).abs() / passed);
        for index in 0..SOLUTES {
            let begin = self.begin.amounts.get(index).copied().unwrap_or(0.0);
            let at_end = end.amounts.get(index).copied().unwrap_or(0.0);
            let moved: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, index).1).sum();
            let passed: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, index).1.abs()).sum::<f64>() + begin;
            if passed > 0.0 {
                worst = worst.max((begin + moved - at_end).abs() / passed);
            }
        }
        let inputs = vec![
            std::rc::Rc::clone(booked::<Volume>(self.begin.volume, "V_0", "volume at the start", &CUBIC_METRE).node()),
            std::rc::Rc::clone(
                booked::<crate::units::Area>(
                    self.setting.basin.surface(self.setting.basin.full),
                    "A",
                    "open surface at the brim",
                    &crate::units::table::SQUARE_METRE,
                )
                .node(),
            ),
            std::rc::Rc::clone(start.node()),
        ];
        let volume: Figure<Volume> = Figure::solved(
            Volume::from_si(end.volume),
            "each day V = V + A·(rain − E·(1 + falls)) + roof + top-up + changes in − changes out − splash − leak − overflow; every solute with its water",
            inputs,
            worst,
            u32::try_from(self.days.len()).unwrap_or(0),
        );
        desk.book.publish(volume.named(
            "year.balance",
            "Volume after a year by the daily balance",
            "V_365",
            &CUBIC_METRE,
        ));
    }

    /// The months with their accounts.
    fn months(&self, desk: &mut Desk<'_>, start: &Figure<CarbonateHardness>) -> Vec<Month> {
        let mut out: Vec<Month> = Vec::new();
        let mut from = 0;
        let mut opening = start.clone();
        while from < self.days.len() {
            let Some(first) = self.days.get(from).map(|d| d.date) else { break };
            let until = (from..self.days.len())
                .take_while(|i| {
                    self.days.get(*i).is_some_and(|d| d.date.month() == first.month() && d.date.year() == first.year())
                })
                .last()
                .unwrap_or(from);
            let month = self.month(desk, from, until, &opening);
            opening = month.hardness.clone();
            out.push(month);
            from = until + 1;
        }
        out
    }

    fn month(&self, desk: &mut Desk<'_>, from: usize, until: usize, opening: &Figure<CarbonateHardness>) -> Month {
        let (first, last) = match (self.days.get(from), self.days.get(until)) {
            (Some(a), Some(b)) => (a.date, b.date),
            _ => (self.first, self.first),
        };
        let name = month_name(first.month0() as usize);
        let tag = format!("{:04}-{:02}", first.year(), first.month());
        let at = format!("{}{:02}", short(first.month0() as usize), first.year().rem_euclid(100));
        let (before, after) = (self.before(from), self.before(until + 1));
        let volume = |v: f64, symbol: &str, title: &str| booked::<Volume>(v, &format!("{symbol},{at}"), title, &LITRE);
        // Water: what was topped up is what was lost and is there, less what came otherwise.
        let mut lost = vec![volume(after.volume, "V_end", "volume at the end")];
        let mut came = vec![volume(before.volume, "V_start", "volume at the start")];
        let mut brought: Vec<Figure<AmountOfSubstance>> = Vec::new();
        let mut taken: Vec<Figure<AmountOfSubstance>> = Vec::new();
        for flow in FLOWS {
            let (water, charge) = self.total(flow, from, until, solute::ALKALINITY);
            let (symbol, words) = flow_words(flow);
            if flow != Flow::TopUp {
                if water < 0.0 {
                    lost.push(volume(-water, &format!("V_{symbol}"), words));
                } else if water > 0.0 {
                    came.push(volume(water, &format!("V_{symbol}"), words));
                }
            }
            let words = format!("{words}: charge of alkalinity");
            if charge < 0.0 {
                taken.push(booked(-charge, &format!("n_{symbol},{at}"), &words, &MOLE));
            } else if charge > 0.0 {
                brought.push(booked(charge, &format!("n_{symbol},{at}"), &words, &MOLE));
            }
        }
        // Where nothing was topped up the account would only show the last bit of its own sums.
        let poured = self.total(Flow::TopUp, from, until, solute::ALKALINITY).0;
        let account = if poured > 0.0 {
            sum(&lost) - sum(&came)
        } else {
            Figure::stated(Volume::from_si(0.0), &format!("V_0,{at}"), "top-up, none", &LITRE, BALANCE)
        };
        let top_up = account.named(
            format!("year.top-up-{tag}"),
            &format!("Topped up in {name} {}", first.year()),
            &format!("V_top,{at}"),
            &LITRE,
        );
        let top_up = desk.book.publish(top_up);
        let opening_charge = opening * &volume(before.volume, "V_start", "volume at the start");
        let mut charge = opening_charge;
        if !brought.is_empty() {
            charge = charge + sum(&brought);
        }
        if !taken.is_empty() {
            charge = charge - sum(&taken);
        }
        let end_volume = volume(after.volume, "V_end", "volume at the end");
        // Used up to the last: the account would only show the last bit of its own sums.
        let account = if after.concentration(solute::ALKALINITY) > 1e-9 {
            (charge / end_volume).meaning::<CarbonateHardness>()
        } else {
            Figure::stated(
                CarbonateHardness::from_si(0.0),
                &format!("K_0,{at}"),
                "hardness, none left",
                &DEGREE_KH,
                BALANCE,
            )
        };
        let hardness = account.named(
            format!("year.hardness-{tag}"),
            &format!("Carbonate hardness at the end of {name} {}", first.year()),
            &format!("K_{at}"),
            &DEGREE_KH,
        );
        let hardness = desk.book.publish(hardness);
        let water = after.water();
        let general = booked::<GeneralHardness>(
            water[solute::CALCIUM] + water[solute::MAGNESIUM],
            &format!("G_{at}"),
            "calcium and magnesium",
            &DEGREE_GH,
        );
        let read = self.days.get(until).map_or(0.0, |d| d.conductivity);
        let conductivity =
            desk.book.publish(conductivity_line(&water, read, &tag, &at, &format!("{name} {}", first.year())));
        let surface = self.setting.basin.surface(self.setting.basin.full);
        let days = self.days.iter().take(until + 1).skip(from);
        let (mut evaporation, mut rain) = (0.0, 0.0);
        for day in days {
            evaporation += day.evening.evaporation / surface;
            rain += self.sun.rain.get(day.date.month0() as usize).copied().unwrap_or(0.0);
        }
        Month { first, last, evaporation, rain, top_up, hardness, general, conductivity }
    }

    /// What each flow did to hardness between two evenings, and the change they add up to.
    fn reasons(
        &self,
        desk: &mut Desk<'_>,
        from: usize,
        until: usize,
        opening: f64,
    ) -> (Vec<Reason>, Figure<CarbonateHardness>) {
        let mut parts: Vec<(Flow, f64)> = FLOWS
            .iter()
            .map(|flow| {
                let effect =
                    self.ledgers.iter().take(until + 1).skip(from).map(|l| l.effect(*flow, solute::ALKALINITY));
                (*flow, effect.sum::<f64>())
            })
            // What only moves mixed water, or copper, moves no concentration but by the last bit.
            .filter(|(_, effect)| effect.abs() > 1e-6)
            .collect();
        parts.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        let figures: Vec<(Flow, Figure<CarbonateHardness>)> = parts
            .iter()
            .map(|(flow, effect)| {
                let (symbol, words) = flow_words(*flow);
                (*flow, booked(*effect, &format!("ΔK_{symbol}"), words, &DEGREE_KH))
            })
            .collect();
        let all: Vec<Figure<CarbonateHardness>> = figures.iter().map(|(_, f)| f.clone()).collect();
        let change = sum(&all)
            .named("year.change", "Change of carbonate hardness, flow by flow", "ΔK_year", &DEGREE_KH)
            .remark(format!(
                "From {}\u{a0}°dKH; each flow's part is what hardness was after it less what it was before, day by day",
                crate::units::plain(DEGREE_KH.of(opening), crate::units::Digits::Places(2))
            ));
        let change = desk.book.publish(change);
        let named = figures
            .into_iter()
            .filter(|(_, figure)| DEGREE_KH.of(figure.si()).abs() >= WORTH_NAMING)
            .map(|(flow, change)| Reason { flow, change })
            .collect();
        (named, change)
    }

    /// A float valve on chlorinated supply, without a carbon filter, is an unwatched water change: what it lets in.
    fn valve(&self, desk: &mut Desk<'_>) -> Option<ValveChlorine> {
        let supply = &desk.site.supply;
        let reading = supply.readings.total_chlorine.as_ref().filter(|r| r.value.si() > 0.0 && !r.less_than)?;
        if !supply.float_valve || supply.carbon_filter {
            return None;
        }
        let mut sums = [(0.0, 0.0); 12];
        for day in self.days {
            if let Some(sum) = sums.get_mut(day.date.month0() as usize) {
                sum.0 += day.evening.top_up;
                sum.1 += 1.0;
            }
        }
        let mean = |s: &(f64, f64)| if s.1 > 0.0 { s.0 / s.1 } else { 0.0 };
        let (month, most) = sums.iter().enumerate().map(|(i, s)| (i, mean(s))).max_by(|a, b| a.1.total_cmp(&b.1))?;
        if most <= 0.0 {
            return None;
        }
        let title = format!("top-up of a day in {}", month_name(month));
        let poured: Figure<Volume> = booked(most, "V_day", &title, &LITRE);
        let volume: Figure<Volume> = booked(self.setting.basin.full, "V_brim", "volume at the brim", &LITRE);
        let chlorine = kinder::leaf(desk, reading, "c", "total chlorine of the supply", &MILLIGRAMS);
        let share: Figure<Ratio> = poured / volume;
        let a_day = (chlorine * share).named(
            "year.valve-chlorine",
            "Chlorine the float valve adds in a day",
            "c_day",
            &MILLIGRAMS,
        );
        Some(ValveChlorine { a_day: desk.book.publish(a_day), month })
    }
}

/// Conductivity of a water with what went in.
fn conductivity_line(water: &Solutes, found: f64, tag: &str, at: &str, month: &str) -> Figure<Conductivity> {
    let names = ["alkalinity", "calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate"];
    let symbols = ["c_alk", "c_Ca", "c_Mg", "c_Na", "c_K", "c_Cl", "c_SO4", "c_NO3"];
    let inputs = names
        .iter()
        .zip(symbols)
        .zip(water)
        .map(|((name, symbol), c)| {
            let leaf: Figure<MolarConcentration> = booked(*c, &format!("{symbol},{at}"), name, &MILLIMOLES_PER_LITRE);
            std::rc::Rc::clone(leaf.node())
        })
        .collect();
    Figure::solved(
        Conductivity::from_si(MICROSIEMENS.si(found)),
        "κ = Σ λ m over the free ions at 25 °C, λ = λ° − A √I / (1 + B √I)",
        inputs,
        0.0,
        1,
    )
    .named(
        format!("year.conductivity-{tag}"),
        &format!("Conductivity at the end of {month}"),
        &format!("κ_{at}"),
        &MICROSIEMENS,
    )
    .from_source(&crate::reference::IONIC_CONDUCTIVITY)
}
