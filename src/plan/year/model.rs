//! What the daily balance of a plan runs on.

use chrono::{Datelike as _, Days, NaiveDate};

use super::care::care;
use super::past::{self, PastPlan};
use super::sun::{Sun, Weather};
use super::{NoYear, YEAR_DAYS};
use crate::chem::composition::Closure;
use crate::plan::{Assumption, Correction, Desk, Schedule, VolumePlan, WaterPlan, kinder};
use crate::reference::LOSS_RANGE;
use crate::site::{Depth, Readings, Section, Shape, Visit};
use crate::units::table::{CELSIUS, DAYS, DEGREE_KH, MICROSIEMENS, ONE, weight};
use crate::units::{CarbonateHardness, MassConcentration, Ratio, Si as _};
use crate::water::air::{self, Core, CoreWarmth, Dilute};
use crate::water::balance::{Care, Chemistry as _, Copper, Pond, SOLUTES, Setting, Sky, Solutes, solute};
use crate::water::basin::{Basin, Part};
use crate::water::ensemble::Appetite;
use crate::water::weather::{between_months, middle_day};
use crate::workings::Figure;

/// Saturation index that water bears before lime comes down, where the log shows no higher.
const BORNE: f64 = crate::reference::LIME_BORNE;
/// A tap's water where no warmth was read, °C: between winter and summer mains. Its conductivity is that at 25 °C in any case.
const TAP: f64 = 12.0;
/// Share of the rain that runs off where nobody said (common practice).
const RUNOFF: f64 = 0.8;

/// What the daily balance runs on: the place, its weather, what is done, and the water it starts with.
pub(super) struct Model {
    /// The visit it starts from.
    pub(super) first: NaiveDate,
    /// Where the weather comes from, in the contractor's words.
    pub(super) origin: String,
    /// Every day, the first after the visit.
    pub(super) dates: Vec<NaiveDate>,
    /// The weather of the months.
    pub(super) sun: Sun,
    pub(super) setting: Setting,
    pub(super) chemistry: Core,
    /// The weather of the days.
    pub(super) sky: Vec<Sky<CoreWarmth>>,
    /// What is done on the days.
    pub(super) care: Vec<Care>,
    /// The feed in it, by warmth.
    pub(super) appetite: Appetite,
    /// The pond on the day of the visit.
    pub(super) begin: Pond,
    /// Its carbonate hardness.
    pub(super) start: Figure<CarbonateHardness>,
    /// What the same model makes of the log, where there is enough of one.
    pub(super) past: Option<PastPlan>,
}

impl Model {
    /// Gathers it from the site file, the log and this plan's own corrections, and lists what had to be assumed.
    pub(super) fn gather(
        desk: &mut Desk<'_>,
        volume: &VolumePlan,
        correction: &Correction,
        ions: Option<&WaterPlan>,
    ) -> Result<Self, NoYear> {
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
        let weather = Weather::gather(desk)?;
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
        let warmth_of =
            |r: &Readings| r.temperature.as_ref().map_or(TAP, |t| CELSIUS.of(t.value.si()).clamp(0.5, 45.0));
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
        let air_mean = weather.air.unwrap_or_else(|| logged_temperatures(desk));
        let above = if weather.air.is_some() { warmer(desk, &air_mean) } else { 0.0 };
        let warmth = |date: &NaiveDate| (between_months(&air_mean, date.ordinal()).max(0.0) + above).max(0.5);
        let celsius: Vec<f64> = dates.iter().map(warmth).collect();
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
            if weather.air.is_some() {
                "the month's mean air, and as much warmer as the visits of the log found it"
            } else {
                "that of the visit nearest in the year"
            },
            "a thermometer in the pond, read each week",
            "common practice",
        ));
        let losses = &site.year.losses;
        let mut catchment = 0.0;
        for roof in site.year.catchments.iter().filter(|roof| !roof.stored) {
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
        let mut setting = Setting {
            basin,
            catchment,
            falls: losses.falls.as_ref().map_or(0.0, |f| f.value.si()),
            splash: losses.splash.as_ref().map_or(0.0, |s| s.value.si() * DAYS.size),
            supply,
            rain: [0.0; SOLUTES],
            copper: Copper::KEPT,
        };
        let known =
            past::Known { weather: &weather, setting: &setting, chemistry: &chemistry, warmth: &warmth, parts: &parts };
        let past = past::look_back(desk, &known);
        // A value that the site file states wins over one that the log told, and that over a default.
        let told = past.as_ref().map(PastPlan::told).unwrap_or_default();
        if let Some(loss) = &told.loss {
            setting.splash += loss.si() * DAYS.size;
        }
        if let Some(falls) = &told.falls {
            setting.falls = falls.si();
        }
        if losses.falls.is_none() && losses.splash.is_none() && losses.leak.is_none() && told.none() {
            desk.assume(Assumption::new(
                "Falls, splash and leak",
                "none beside evaporation from still water",
                "the drop of a day with the pump on, off, and in a floating bucket",
                "common practice",
            ));
        }
        let sun = weather.sun(desk, told.factor.as_ref());
        let factor = told.factor.unwrap_or_else(|| weather.factor(desk)).si();
        let sky: Vec<Sky<_>> = dates
            .iter()
            .zip(&celsius)
            .map(|(date, celsius)| {
                let day = weather.on(*date);
                Sky {
                    evaporation: factor * day.thirst,
                    rain: day.rain,
                    celsius: *celsius,
                    warmth: chemistry.at(*celsius),
                }
            })
            .collect();
        let (care, appetite) = care(desk, Some(correction), dates.first().copied().unwrap_or(first), &celsius);
        setting.copper.loss = libm::sqrt(LOSS_RANGE.0 * LOSS_RANGE.1);
        let lowered = care.first().and_then(|c| c.lowered).unwrap_or(1.0);
        let begin = Pond::of(setting.basin.full * lowered, &water);
        Ok(Self {
            first,
            origin: climate.origin.clone(),
            dates,
            sun,
            setting,
            chemistry,
            sky,
            care,
            appetite,
            begin,
            start,
            past,
        })
    }
}

impl Model {
    /// Puts the panel's level on each day into what is done, and how fast the water loses copper at 20 °C, a day.
    pub(super) fn set_panel(&mut self, schedule: &Schedule) {
        self.setting.copper.loss = libm::sqrt(schedule.loss_range.0 * schedule.loss_range.1);
        for (date, care) in self.dates.iter().zip(&mut self.care) {
            let level = schedule.level_on(*date).unwrap_or(0);
            let kilograms = schedule.releases.get(level as usize).copied().unwrap_or(0.0);
            care.copper = kilograms * 1000.0 / weight::CU;
        }
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
pub(super) fn composed(readings: &Readings, hardness: f64, celsius: f64, log_co2: f64) -> (Solutes, Vec<Closure>) {
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
pub(super) fn readings_of(desk: &Desk<'_>, visit: &Visit) -> Readings {
    let mut readings = visit.pond.clone();
    for earlier in desk.site.visits.iter().rev() {
        let age = (visit.date - earlier.date).num_days();
        if (1..=crate::plan::readings::FRESH_DAYS).contains(&age) {
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
            Some(CELSIUS.of(read.value.si()) - between_months(air, v.date.ordinal()).max(0.0))
        })
        .collect();
    if differences.len() < 3 {
        return 0.0;
    }
    (differences.iter().sum::<f64>() / differences.len() as f64).clamp(-5.0, 5.0)
}

/// Water temperatures by month where the climate knows none: those of the log's own visits, nearest in the year.
fn logged_temperatures(desk: &Desk<'_>) -> [f64; 12] {
    let mut out = [12.0; 12];
    for (month, value) in out.iter_mut().enumerate() {
        let here = i64::from(middle_day(month));
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
