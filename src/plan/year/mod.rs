//! The water year: what the next twelve months do to this pond if nobody does more than the site file and this plan say.
//!
//! [`forecast`] gathers what the balance needs (basin, weather, supply, care), runs it, and turns what came of it into
//! figures: a month's top-up and hardness are the month's account, whose entries the daily balance made.

mod account;
mod care;
mod chance;
mod copper;
mod held;
mod least;
mod member;
mod model;
mod outlook;
mod past;
mod sun;

use std::rc::Rc;

use chrono::{Datelike as _, NaiveDate};

use self::account::{Account, depths, salty};
pub use self::chance::Chance;
pub(super) use self::chance::ENSEMBLE;
use self::chance::Prospect;
pub use self::copper::{CopperMonth, CopperYear};
pub use self::least::{
    Bleed, Blend, BlendMonth, BufferRhythm, Changes, Extra, Least, OneChange, Remedy, Size, Trial, TrialEvening, Why,
};
pub use self::outlook::{Ahead, Outlook};

pub use self::member::{SHOWN, Years};
use self::model::Model;
pub use self::past::{Break, Misfit, Number, PastDay, PastPlan};
use super::{CopperLimits, Correction, Desk, Missing, Schedule, VolumePlan, WaterPlan};
use crate::reference::{
    ALKALINITY_FLOOR, FISH_FLOOR_ALKALINITY, LOSS_RANGE, PH_SWING, WINDOW_HIGH_DKH, WINDOW_LOW_DKH,
};
use crate::site::MONTHS;
use crate::units::table::{DEGREE_KH, KH_MG, LITRE, MICROSIEMENS};
use crate::units::{
    AmmoniaNitrogen, CarbonateHardness, Conductivity, GeneralHardness, Length, MassConcentration, Ratio, Volume,
};
use crate::water::balance::{self, Chemistry as _, Evening, Flow, Ledger, solute};
use crate::water::ensemble::Counted;
use crate::water::weather::Method;
use crate::workings::{Figure, sum};

/// Days of a forecast.
pub const YEAR_DAYS: usize = 365;
/// Degrees of carbonate hardness a flow must have moved to be named among the reasons.
const WORTH_NAMING: f64 = 0.1;

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
    pub evaporation: Figure<Length>,
    /// Rain.
    pub rain: Figure<Length>,
    /// Water topped up.
    pub top_up: Figure<Volume>,
    /// Carbonate hardness on the last day.
    pub hardness: Figure<CarbonateHardness>,
    /// General hardness on the last day.
    pub general: Figure<GeneralHardness>,
    /// Conductivity on the last day.
    pub conductivity: Figure<Conductivity>,
    /// Share of possible years that are out of the window by then; none without an ensemble.
    pub out: Option<Figure<Ratio>>,
}

impl Month {
    /// As ids, symbols and titles say it: `2026-03`, `Mar26`, `March 2026`.
    fn names(&self) -> (String, String, String) {
        let (year, month) = (self.first.year(), self.first.month0() as usize);
        let tag = format!("{year:04}-{:02}", month + 1);
        (tag, format!("{}{:02}", sun::short(month), year.rem_euclid(100)), format!("{} {year}", month_name(month)))
    }
}

/// Chlorine that a float valve lets in.
#[derive(Clone, Debug)]
pub struct ValveChlorine {
    /// mg/L a day in the month with the most top-up.
    pub a_day: Figure<MassConcentration>,
    /// What of it stays at rest, with what light, mud and life use up.
    pub rest: Figure<MassConcentration>,
    /// Total chlorine that is held to harm life in water at rest.
    pub limit: Figure<MassConcentration>,
    /// Nitrogen that its chloramine leaves a day, where free chlorine was read beside total.
    pub ammonia: Option<Figure<AmmoniaNitrogen>>,
    /// Copper that the supply brings with it a day, where it was read.
    pub copper: Option<Figure<MassConcentration>>,
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
    /// Carbonate hardness on the evening it is outside the window for the first time.
    pub left: Option<Figure<CarbonateHardness>>,
    /// Lowest carbonate hardness from the day it is inside, and its day.
    pub lowest: (Figure<CarbonateHardness>, NaiveDate),
    /// As [`YearPlan::lowest`].
    pub highest: (Figure<CarbonateHardness>, NaiveDate),
    /// Top-up of the year.
    pub top_up: Figure<Volume>,
    /// What evaporates in a year, as a depth, and the same by Penman's open-water form where the weather tells it.
    pub evaporation: (Figure<Length>, Option<Figure<Length>>),
    /// On which side of the window the supply is, if it is outside.
    pub supply: Option<Side>,
    /// The first day on which conductivity passes its target, where there is one, and what it is then.
    pub salt_over: Option<(NaiveDate, Figure<Conductivity>)>,
    /// What a float valve on chlorinated supply lets in.
    pub valve: Option<ValveChlorine>,
    /// Alkalinity under which pH loses its hold, with its sources: printed where the year or the supply is soft.
    pub floor: Option<Figure<CarbonateHardness>>,
    /// What the same model makes of the log; `None` where there are no two visits to look back upon.
    pub past: Option<PastPlan>,
    /// How far other years come from this one.
    pub chance: Option<Chance>,
    /// Those years, to look into one of them.
    pub years: Option<Rc<Years>>,
    /// Copper month by month, where a level is set and possible years were counted.
    pub copper: Option<CopperYear>,
    /// Dissolved copper that the water can hold on any day with the panel on, at the least.
    pub held: Option<Figure<MassConcentration>>,
    /// The least that keeps the window, where it is left without.
    pub least: Option<Least>,
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

/// The name of a month, January as 0.
#[must_use]
pub fn month_name(month0: usize) -> &'static str {
    MONTHS.get(month0).copied().unwrap_or("")
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

/// What the forecast rests on, gathered before a level is set.
pub(super) struct Gathered {
    model: Model,
    prospect: Option<Prospect>,
    /// The possible years with the panel at zero.
    counted: Option<Counted>,
    /// What they say of every day; none without possible years.
    pub(super) outlook: Option<Outlook>,
}

/// Looks at the twelve months after the last visit that read carbonate hardness, with the panel at zero.
pub(super) fn look_ahead(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    ions: Option<&WaterPlan>,
) -> Result<Gathered, NoYear> {
    let model = Model::gather(desk, volume, correction, ions).inspect_err(|why| {
        let (what, measure) = why.words();
        desk.miss(Missing::new(what, measure));
    })?;
    let mut prospect = Prospect::gather(desk, &model, volume);
    let counted = prospect.as_mut().map(|prospect| prospect.count(desk.draw, &model, LOSS_RANGE, (1.0, 1.0)));
    let outlook = counted.as_ref().map(|counted| Outlook::of(&model, counted));
    Ok(Gathered { model, prospect, counted, outlook })
}

/// The forecast of these twelve months, under the schedule. Spells that would bring one possible year in ten to stop are taken
/// out of it. `minerals`: the highest conductivity there should be, S/m, where there is such a target.
pub(super) fn forecast(
    desk: &mut Desk<'_>,
    gathered: Gathered,
    volume: &VolumePlan,
    correction: &Correction,
    mut schedule: Option<&mut Schedule>,
    limits: Option<&CopperLimits>,
    minerals: Option<f64>,
) -> YearPlan {
    let Gathered { mut model, mut prospect, mut counted, .. } = gathered;
    if let Some(schedule) = schedule.as_mut() {
        counted = copper::settle(desk, &mut model, prospect.as_mut(), schedule);
    }
    let first = model.first;
    let mut days = Vec::with_capacity(YEAR_DAYS);
    let mut ledgers: Vec<Ledger> = Vec::with_capacity(YEAR_DAYS);
    let mut pond = model.begin;
    for ((date, sky), care) in model.dates.iter().zip(&model.sky).zip(&model.care) {
        let mut ledger = Ledger::default();
        let evening = balance::day(&model.setting, &model.chemistry, sky, care, &mut pond, &mut ledger);
        days.push(Daily {
            date: *date,
            evening,
            celsius: sky.celsius,
            ph: model.chemistry.ph(&sky.warmth, &evening.water),
            conductivity: model.chemistry.conductivity(&sky.warmth, &evening.water),
        });
        ledgers.push(ledger);
    }
    let account = Account { model: &model, days: &days, ledgers: &ledgers };
    account.closing(desk);
    let mut months = account.months(desk);
    let (course, from) = course(&days);
    let until = match course {
        Course::Leaves(date, _) => days.iter().position(|d| d.date == date).unwrap_or(days.len() - 1),
        _ => days.len() - 1,
    };
    // From the evening on which it is inside; from the start where it never is.
    let (counts_from, opening) = match course {
        Course::Outside(_) => (0, model.begin.concentration(solute::ALKALINITY)),
        _ => (from + 1, days.get(from).map_or(0.0, |d| d.hardness())),
    };
    let (reasons, change) = account.reasons(desk, counts_from, until, opening);
    let span_first = days.get(counts_from.min(until)).map_or(first, |d| d.date);
    let span_last = days.get(until).map_or(first, |d| d.date);
    let at_end = |better: fn(f64, f64) -> bool| {
        let of = |index: usize| days.get(index).map_or(f64::NAN, Daily::hardness);
        (from..days.len()).reduce(|best, index| if better(of(index), of(best)) { index } else { best }).unwrap_or(from)
    };
    let (lowest, highest) = (at_end(|a, b| a < b), at_end(|a, b| a > b));
    let lowest = account.evening(desk, lowest, "year.lowest", "Lowest carbonate hardness", "K_least");
    let highest = account.evening(desk, highest, "year.highest", "Highest carbonate hardness", "K_most");
    let left = matches!(course, Course::Leaves(..)).then(|| {
        account
            .evening(desk, until, "year.leaves", "Outside the window for the first time: carbonate hardness", "K_out")
            .0
    });
    let top_up = sum(&months.iter().map(|m| m.top_up.clone()).collect::<Vec<_>>()).named(
        "year.top-up",
        "Water topped up in the year",
        "V_top",
        &LITRE,
    );
    let top_up = desk.book.publish(top_up);
    let salt_over = minerals
        .and_then(|target| salty(&model, &days, target))
        .map(|(date, conductivity)| (date, desk.book.publish(conductivity)));
    let valve = account.valve(desk);
    let soft = matches!(course, Course::Leaves(_, Side::Soft) | Course::Outside(Side::Soft));
    let floor = soft.then(|| {
        let unit = &KH_MG;
        let leaf: Figure<CarbonateHardness> = Figure::cited(
            FISH_FLOOR_ALKALINITY,
            "A_floor",
            "lowest alkalinity of a fish pond",
            unit,
            &ALKALINITY_FLOOR,
        );
        let title = "Alkalinity under which pH may swing from 6 to 10 in a day";
        desk.book.publish(leaf.named("year.floor", title, "A_floor", unit).from_source(&PH_SWING))
    });
    let evaporation = depths(desk, &model.sun);
    let copper = copper::months(desk, &model, schedule.as_deref(), limits, counted.as_ref(), &months);
    let held = copper.as_ref().and_then(|_| held::held(desk, &model, &days, schedule.as_deref()));
    let years = prospect.map(|prospect| Rc::new(Years::keep(desk, &model, volume, prospect, schedule.as_deref())));
    let chance = counted.map(|counted| chance::chance(desk, &model, counted, &mut months));
    if let Some(years) = &years {
        member::show(&mut desk.book, years);
    }
    let charges: Vec<f64> = ledgers.iter().map(charge_of_copper).collect();
    let mark = minerals.map(|si| MICROSIEMENS.of(si)).filter(|_| salt_over.is_some());
    let least = least::plan(desk, &model, &charges, &days, course, (volume, correction), mark);
    YearPlan {
        evaporation,
        supply: side(model.setting.supply[solute::ALKALINITY]),
        first,
        origin: model.origin.clone(),
        method: model.sun.method,
        months,
        course,
        reasons_over: (span_first, span_last),
        reasons,
        change,
        start: desk.book.publish(model.start),
        left,
        lowest,
        highest,
        top_up,
        salt_over,
        valve,
        floor,
        past: model.past,
        chance,
        years,
        copper,
        held,
        least,
        days,
    }
}

/// Alkalinity that copper brought on a day less what it took, mol.
fn charge_of_copper(ledger: &Ledger) -> f64 {
    [Flow::CopperRelease, Flow::CopperLoss, Flow::CopperSolid]
        .iter()
        .map(|flow| ledger.of(*flow).amounts[solute::ALKALINITY])
        .sum()
}
