//! Looking back: how well the model of the forecast explains the log, what the log tells of leak and evaporation, and where
//! it contradicts the model. What it tells is used forward.

mod lines;

use chrono::{Days, NaiveDate};

use self::lines::Lines;
use super::care::care;
use super::model::{composed, readings_of};
use super::sun::Weather;
use crate::plan::{Assumption, Desk, kinder};
use crate::site::{Reading, Section, Shape, Visit};
use crate::units::table::{CELSIUS, DAYS, DEGREE_KH, LITRES_PER_DAY, MICROSIEMENS, MILLIGRAMS, Unit, weight};
use crate::units::{CarbonateHardness, Digits, Length, Ratio, Si, System, VolumeRate, plain};
use crate::water::air::{Core, Near};
use crate::water::balance::{Chemistry as _, Setting, Sky, solute};
use crate::water::basin::Part;
use crate::water::past::{Doubts, Drop, Drops, FEWEST, Falls, Guess, Limits, Mark, Past, Told as Fit, Tracer};
use crate::workings::Figure;

/// Days before the last visit that are looked back upon: two years. Leaks and splash do not stay the same for longer.
const LOOK_BACK: i64 = 731;
/// Most visits that are looked at, spread over that time: more tell hardly more, and each costs its time.
const MOST_VISITS: usize = 48;
/// Most water that may leave with its salts, as a share of the volume a day: a pond that loses more is repaired, not modelled.
const MOST_LOSS: f64 = 0.04;
/// Lowest and highest factor of evaporation: half and twice what comes to about one in every source.
const FACTORS: (f64, f64) = (0.5, 2.0);
/// A conductivity meter's own uncertainty, either way (TRADE.md section 2).
const METER: f64 = 0.02;
/// Step of a chloride kit where none is named, mg/L (common practice).
const CHLORIDE_STEP: f64 = 5.0;
/// What the model cannot know of a tracer, as a share of it: weather within the months, the hour of a filling (common practice).
const UNKNOWN_TRACER: f64 = 0.015;
/// The same of carbonate hardness: feed and plants move it too (common practice).
const UNKNOWN_HARDNESS: f64 = 0.05;
/// Standard deviation of a drop by tape, m (common practice).
const TAPE: f64 = 0.0005;
/// How far one day's evaporation lies from the month's mean day, as a share: a standard deviation; and from that of the day's own
/// weather (common practice; TRADE.md section 2 puts a drop within half of the month's evaporation).
const SPREAD: (f64, f64) = (0.25, 0.10);
/// How far the rain of a log's time lies from the normals, as a share: a standard deviation; and from a file of its own days, read
/// at the next station (common practice).
const RAIN: (f64, f64) = (0.20, 0.05);
/// A supply whose tracer nobody read: it is reckoned from its ions (common practice).
const UNREAD_SUPPLY: f64 = 0.05;
/// Share of the days that need their own weather before the rain counts as read.
const MOSTLY: f64 = 0.9;
/// A hardness that moved less than this is not spoken of, whatever the kit says, °dKH.
const LEAST_HARDNESS: f64 = 1.0;

/// What the forecast has gathered already.
pub(super) struct Known<'k, 'a> {
    pub(super) weather: &'k Weather<'a>,
    pub(super) setting: &'k Setting,
    pub(super) chemistry: &'k Core,
    pub(super) warmth: &'k dyn Fn(&NaiveDate) -> f64,
    pub(super) parts: &'k [Part],
}

/// One of the two numbers, as the plan speaks of it.
#[derive(Clone, Debug)]
pub enum Number<Q> {
    /// The site file states it.
    Stated,
    /// The log tells it: value, low and high end of the range.
    Told {
        /// The value used in the forecast.
        value: Figure<Q>,
        /// Low end of the 90 % range.
        low: Figure<Q>,
        /// High end.
        high: Figure<Q>,
    },
    /// The log cannot tell it.
    Untold,
}

impl<Q> Number<Q> {
    /// The value that the log told.
    #[must_use]
    pub fn told(&self) -> Option<&Figure<Q>> {
        match self {
            Number::Told { value, .. } => Some(value),
            Number::Stated | Number::Untold => None,
        }
    }
}

/// Two visits between which something happened that the model does not know of.
#[derive(Clone, Debug)]
pub struct Break {
    /// `conductivity`, `chloride` or `carbonate-hardness`.
    pub what: &'static str,
    /// The first visit and its reading, SI.
    pub from: (NaiveDate, f64),
    /// The second.
    pub to: (NaiveDate, f64),
    /// What the model makes of the first by the second, SI, and its line.
    pub expected: f64,
    /// The line of [`Break::expected`].
    pub line: Option<String>,
    /// The reading lies over what was expected.
    pub rose: bool,
}

/// A day of the past as the model has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PastDay {
    /// Its morning.
    pub date: NaiveDate,
    /// Carbonate hardness, mol/m³.
    pub hardness: f64,
    /// The tracer, SI.
    pub tracer: f64,
}

/// How far readings are from the model.
#[derive(Clone, Debug)]
pub struct Misfit {
    /// Root of the mean square of the tracer's misfits, SI of the tracer.
    pub tracer: f64,
    /// Its line.
    pub tracer_line: Option<String>,
    /// The same as a share of the mean reading.
    pub share: f64,
    /// Root of the mean square of the misfits of carbonate hardness.
    pub hardness: Figure<CarbonateHardness>,
}

/// What the model makes of the log.
#[derive(Clone, Debug)]
pub struct PastPlan {
    /// First and last visit it runs over.
    pub span: (NaiveDate, NaiveDate),
    /// What it should explain.
    pub tracer: Tracer,
    /// How many readings of that it had.
    pub visits: usize,
    /// Every run: it starts anew where the log breaks.
    pub runs: Vec<Vec<PastDay>>,
    /// How far off it is; `None` with too few visits.
    pub misfit: Option<Misfit>,
    /// Water lost with its salts, beside what the site file names.
    pub loss: Number<VolumeRate>,
    /// A leak that the site file names and that has ended, with its last day.
    pub mended: Option<(Figure<VolumeRate>, NaiveDate)>,
    /// Open water over reference evapotranspiration.
    pub factor: Number<Ratio>,
    /// What was taken for rain and for what the supply holds, over what was told.
    pub allowed: (Figure<Ratio>, Figure<Ratio>),
    /// What falls and streams evaporate beyond still water, from the drops.
    pub falls: Option<Figure<Ratio>>,
    /// What still water loses beside evaporation, from the drops with the pump off and in a bucket.
    pub still: Option<Figure<VolumeRate>>,
    /// Where the log contradicts the model.
    pub breaks: Vec<Break>,
    /// How many days had their own weather, and how many there are.
    pub weather: (usize, usize),
}

/// What the log told for the days to come.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    pub(super) loss: Option<Figure<VolumeRate>>,
    pub(super) factor: Option<Figure<Ratio>>,
    pub(super) falls: Option<Figure<Ratio>>,
}

impl Told {
    /// Nothing of what is lost beside evaporation.
    pub(super) fn none(&self) -> bool {
        self.loss.is_none() && self.falls.is_none()
    }
}

impl PastPlan {
    pub(super) fn told(&self) -> Told {
        Told { loss: self.loss.told().cloned(), factor: self.factor.told().cloned(), falls: self.falls.clone() }
    }

    /// The reading's name that the tracer has in the tables.
    #[must_use]
    pub fn tracer_key(&self) -> &'static str {
        key(self.tracer)
    }
}

fn key(tracer: Tracer) -> &'static str {
    match tracer {
        Tracer::Chloride => "chloride",
        Tracer::Conductivity => "conductivity",
    }
}

/// The unit a tracer is written in, its letter, and one of the kernel's own units as SI.
fn tongue(tracer: Tracer) -> (&'static Unit, &'static str, f64) {
    match tracer {
        // mol/m³ to kg/m³.
        Tracer::Chloride => (&MILLIGRAMS, "c_Cl", weight::CL / 1000.0),
        Tracer::Conductivity => (&MICROSIEMENS, "κ", MICROSIEMENS.size),
    }
}

/// The pond's own surface, where the tape stands: that of its largest open part, with the place where it was measured.
fn own_surface(desk: &Desk<'_>, parts: &[Part]) -> Option<(f64, String)> {
    let of = |part: &Part| match *part {
        Part::Bowl { area, open: true, .. } | Part::Prismoid { top: area, open: true, .. } => area,
        _ => 0.0,
    };
    let most = parts.iter().map(of).fold(0.0, f64::max);
    let held = |section: &Section| match &section.shape {
        Shape::Rectangle { .. } | Shape::Ellipse { .. } | Shape::Circle { .. } | Shape::MeasuredArea { .. } => true,
        Shape::Prismoid { .. } => true,
        Shape::Stream { .. } | Shape::Known { .. } => false,
    };
    // Parts stand in the order of the sections, each as often as it comes.
    let mut at = parts.iter();
    let largest = desk.site.volume.sections.iter().find(|section| {
        let here = at.by_ref().take(section.count as usize).map(of).fold(0.0, f64::max);
        held(section) && here >= most
    });
    (most > 0.0).then(|| (most, largest.map_or_else(String::new, |section| desk.place(section.span))))
}

/// The visits that are looked back upon: with carbonate hardness, no older than two years, one a day, not too many.
fn visits<'a>(desk: &Desk<'a>) -> Vec<(&'a Visit, &'a Reading<CarbonateHardness>)> {
    let usable = |visit: &'a Visit| {
        let read = visit.pond.carbonate_hardness.as_ref().filter(|r| !r.less_than && r.value.si() > 0.0)?;
        Some((visit, read))
    };
    let mut found: Vec<_> = desk.site.visits.iter().filter_map(usable).collect();
    found.dedup_by_key(|(visit, _)| visit.date);
    if let Some((last, _)) = found.last().copied() {
        found.retain(|(visit, _)| (last.date - visit.date).num_days() <= LOOK_BACK);
    }
    let count = found.len();
    if count > MOST_VISITS {
        // Evenly, the first and the last among them.
        let mut place = 0;
        let mut kept = None;
        found.retain(|_| {
            let slot = Some(place * (MOST_VISITS - 1) / (count - 1));
            place += 1;
            std::mem::replace(&mut kept, slot) != slot
        });
    }
    found
}

fn seen<Q>(reading: &Option<Reading<Q>>) -> Option<&Reading<Q>> {
    reading.as_ref().filter(|r| !r.less_than)
}

/// Chloride where it was read often enough and the supply's is known, else conductivity.
fn tracer(desk: &Desk<'_>, visits: &[(&Visit, &Reading<CarbonateHardness>)]) -> Tracer {
    let chloride = visits.iter().filter(|(visit, _)| seen(&visit.pond.chloride).is_some()).count();
    let conductivity = visits.iter().filter(|(visit, _)| seen(&visit.pond.conductivity).is_some()).count();
    let supply = seen(&desk.site.supply.readings.chloride).is_some();
    if supply && chloride >= FEWEST && 2 * chloride >= conductivity { Tracer::Chloride } else { Tracer::Conductivity }
}

/// A tracer's reading as the kernel takes it, with its standard deviation.
fn traced(desk: &Desk<'_>, tracer: Tracer, visit: &Visit) -> Option<(f64, f64)> {
    let (_, _, size) = tongue(tracer);
    let (read, own) = match tracer {
        Tracer::Chloride => {
            let read = seen(&visit.pond.chloride)?.value.si();
            let step = kinder::kit(desk, "chloride").and_then(|kit| kit.step);
            (read, step.unwrap_or(MILLIGRAMS.si(CHLORIDE_STEP)) / libm::sqrt(12.0))
        }
        Tracer::Conductivity => {
            let read = seen(&visit.pond.conductivity)?.value.si();
            let step = kinder::kit(desk, "conductivity").and_then(|kit| kit.step).unwrap_or(0.0);
            (read, libm::hypot(METER * read / libm::sqrt(3.0), step / libm::sqrt(12.0)))
        }
    };
    (read > 0.0).then(|| (read / size, libm::hypot(own, UNKNOWN_TRACER * read) / size))
}

/// How well the supply's tracer is known, as a share: a standard deviation.
fn supply_doubt(desk: &Desk<'_>, tracer: Tracer) -> f64 {
    let supply = &desk.site.supply.readings;
    match tracer {
        Tracer::Chloride => {
            let read = seen(&supply.chloride).map_or(0.0, |read| read.value.si());
            let step = kinder::kit(desk, "chloride").and_then(|kit| kit.step).unwrap_or(MILLIGRAMS.si(CHLORIDE_STEP));
            if read > 0.0 { (step / libm::sqrt(12.0) / read).min(0.25) } else { 0.25 }
        }
        Tracer::Conductivity if seen(&supply.conductivity).is_some() => METER / libm::sqrt(3.0),
        Tracer::Conductivity => UNREAD_SUPPLY,
    }
}

/// Carbonate hardness in the middle of what the kit leaves open, and its standard deviation.
fn hardness(desk: &Desk<'_>, reading: &Reading<CarbonateHardness>) -> (f64, f64) {
    let kit = kinder::kit(desk, "carbonate hardness").and_then(|kit| kit.step.map(|step| (step, kit.drops)));
    let (step, drops) = kit.unwrap_or((DEGREE_KH.size, true));
    let read = reading.value.si();
    let middle = if drops { (read - 0.5 * step).max(0.25 * read) } else { read };
    (middle, libm::hypot(step / libm::sqrt(12.0), UNKNOWN_HARDNESS * read))
}

/// What the model makes of the log; `None` where there is not even a pair of visits.
pub(super) fn look_back<'a>(desk: &mut Desk<'a>, known: &Known<'_, 'a>) -> Option<PastPlan> {
    let site = desk.site;
    let visits = visits(desk);
    let (first, last) = (visits.first()?.0.date, visits.last()?.0.date);
    let length = usize::try_from((last - first).num_days()).ok().filter(|days| *days > 0)?;
    let tracer = tracer(desk, &visits);
    let (unit, _, size) = tongue(tracer);
    let dates: Vec<NaiveDate> = (0..length).map(|day| date_of(first, day)).collect();
    let celsius: Vec<f64> = dates.iter().map(known.warmth).collect();
    let weather: Vec<_> = dates.iter().map(|date| known.weather.on(*date)).collect();
    let day_of = |date: NaiveDate| usize::try_from((date - first).num_days()).unwrap_or(0);
    let sky = weather
        .iter()
        .zip(&celsius)
        .map(|(day, celsius)| Sky {
            evaporation: day.thirst,
            rain: day.rain,
            celsius: *celsius,
            warmth: known.chemistry.at(*celsius),
        })
        .collect();
    let (done, _) = care(desk, None, first, &celsius);
    let marks: Vec<Mark> = visits
        .iter()
        .map(|(visit, reading)| {
            let hardness = hardness(desk, reading);
            let readings = readings_of(desk, visit);
            let celsius = visit
                .pond
                .temperature
                .as_ref()
                .map_or_else(|| (known.warmth)(&visit.date), |read| CELSIUS.of(read.value.si()).clamp(0.5, 45.0));
            let (water, _) = composed(&readings, hardness.0, celsius, known.chemistry.0.log_co2);
            Mark { day: day_of(visit.date), water, tracer: traced(desk, tracer, visit), hardness }
        })
        .collect();
    let losses = &site.year.losses;
    let lasting = losses.leak.is_some() && losses.leak_until.is_none();
    let named = |date: NaiveDate| {
        let until = losses.leak_until.as_ref().is_none_or(|until| date <= until.value);
        losses.leak.as_ref().filter(|_| until).map_or(0.0, |leak| leak.value.si() * DAYS.size)
    };
    let mut drops = measured(desk, known, &visits, &day_of, &named);
    let as_it_was = weather.iter().filter(|day| day.as_it_was).count();
    if !drops.list.is_empty() && drops.list.iter().all(|drop| weather.get(drop.day).is_some_and(|day| day.as_it_was)) {
        drops.spread = SPREAD.1;
    }
    let falls = match &losses.falls {
        Some(stated) => Falls::Given(stated.value.si()),
        None if drops.falls(0.0).is_some() => Falls::Left,
        None => Falls::Given(0.0),
    };
    // Hundreds of runs: lime by the closed form, brought onto the core at these visits' own waters.
    let waters: Vec<_> = marks.iter().map(|mark| ((known.warmth)(&date_of(first, mark.day)), mark.water)).collect();
    let chemistry = Near::new(*known.chemistry, &waters);
    let mut past = Past {
        setting: known.setting,
        chemistry: &chemistry,
        sky,
        fallen: weather.iter().map(|day| day.rain).collect(),
        thirst: weather.iter().map(|day| day.thirst).collect(),
        care: done,
        marks,
        tracer,
        drops,
        falls,
        splash: known.setting.splash,
        doubts: Doubts {
            rain: if as_it_was as f64 >= MOSTLY * length as f64 { RAIN.1 } else { RAIN.0 },
            supply: supply_doubt(desk, tracer),
        },
        starts: Vec::new(),
    };
    let stated_factor =
        losses.evaporation_factor.is_some() && known.weather.method != crate::water::weather::Method::Drop;
    let taken = Guess::of(0.0, known.weather.factor(desk).si());
    let free = (losses.splash.is_none() && !lasting, !stated_factor);
    let full = known.setting.basin.full;
    let limits = Limits { loss: MOST_LOSS * full, factor: FACTORS };
    let fit = past.explain(free, &taken, &limits);
    let guess = fit.guess;
    let lines = Lines { visits: &visits, tracer };
    let allowed = lines.allowed(desk, &past.marks, &fit, &past.doubts);
    let sums = lines.sums(desk, &past.marks, &fit);
    let left = (past.marks.as_slice(), &fit, &sums);
    let (loss, factor) = (lines.loss(desk, free.0, left, full), lines.factor(desk, free.1, left));
    let mended = losses.leak.as_ref().zip(losses.leak_until.as_ref()).map(|(leak, until)| {
        let leaf =
            Figure::stated(leak.value, "q_leak", "the leak that is named", rate(desk.system), &desk.place(leak.span));
        let line = leaf.named("past.leak", "Leak that the site file names, now mended", "q_mended", rate(desk.system));
        (desk.book.publish(line), until.value)
    });
    let shares = lines.falls(desk, known, &past, loss.told());
    let still = lines.still(desk, known, &past.drops);
    spoken(desk, free, &fit, &loss, &factor, shares.as_ref());
    let runs = runs(&mut past, &guess, &dates, last, size);
    let modelled = modelled(&mut past, &guess);
    let misfit = lines.misfit(desk, &past, &modelled);
    let breaks = lines.breaks(desk, &mut past, &fit, &guess, unit);
    let count = past.marks.iter().filter(|mark| mark.tracer.is_some()).count();
    Some(PastPlan {
        span: (first, last),
        tracer,
        visits: count,
        runs,
        misfit,
        loss,
        mended,
        factor,
        allowed,
        falls: shares,
        still,
        breaks,
        weather: (as_it_was, length),
    })
}

fn date_of(first: NaiveDate, day: usize) -> NaiveDate {
    first.checked_add_days(Days::new(day as u64)).unwrap_or(first)
}

/// The drops of the water line that the log has.
fn measured(
    desk: &Desk<'_>,
    known: &Known<'_, '_>,
    visits: &[(&Visit, &Reading<CarbonateHardness>)],
    day_of: &dyn Fn(NaiveDate) -> usize,
    named: &dyn Fn(NaiveDate) -> f64,
) -> Drops {
    let own = own_surface(desk, known.parts).map_or(0.0, |(area, _)| area);
    let all = known.setting.basin.surface(known.setting.basin.full);
    let metres = |reading: &Option<Reading<Length>>| seen(reading).map(|r| r.value.si());
    let drop = |(visit, _): &(&Visit, &Reading<CarbonateHardness>)| {
        let drop = Drop {
            day: day_of(visit.date),
            running: metres(&visit.drop_running),
            still: metres(&visit.drop_still),
            bucket: metres(&visit.drop_bucket),
            named: named(visit.date),
        };
        (drop.running.is_some() || drop.still.is_some() || drop.bucket.is_some()).then_some(drop)
    };
    let list = if own > 0.0 { visits.iter().filter_map(drop).collect() } else { Vec::new() };
    Drops { list, own, all, tape: TAPE, spread: SPREAD.0 }
}

/// The model over the days, every third of them and the visits' own.
fn runs(
    past: &mut Past<'_, Near>,
    guess: &Guess,
    dates: &[NaiveDate],
    last: NaiveDate,
    size: f64,
) -> Vec<Vec<PastDay>> {
    let mut out = Vec::new();
    for run in past.runs() {
        let ends = |at: Option<&usize>| at.and_then(|at| past.marks.get(*at)).map(|mark| mark.day);
        let (Some(from), Some(until)) = (run.first().copied(), ends(run.last())) else { continue };
        let mut waters = Vec::new();
        past.follow(guess, from, until, 0.0, |day, pond| waters.push((day, pond.water())));
        let marked: Vec<usize> = past.marks.iter().map(|mark| mark.day).collect();
        let days = waters.iter().filter(|(day, _)| day % 3 == 0 || marked.contains(day));
        let day = |(day, water): &(usize, _)| PastDay {
            date: dates.get(*day).copied().unwrap_or(last),
            hardness: {
                let water: &crate::water::balance::Solutes = water;
                water[solute::ALKALINITY]
            },
            tracer: past.tracer_of(*day, water) * size,
        };
        out.push(days.map(day).collect());
    }
    out
}

/// Tracer and alkalinity of the model at each mark that follows a start, by the mark's place.
fn modelled(past: &mut Past<'_, Near>, guess: &Guess) -> Vec<(usize, f64, f64)> {
    let mut out = Vec::new();
    for run in past.runs() {
        let ends = |at: Option<&usize>| at.and_then(|at| past.marks.get(*at)).map(|mark| mark.day);
        let (Some(from), Some(until)) = (run.first().copied(), ends(run.last())) else { continue };
        let mut waters = Vec::new();
        past.follow(guess, from, until, 0.0, |day, pond| waters.push((day, pond.water())));
        for at in run.iter().skip(1) {
            let found = past.marks.get(*at).and_then(|mark| waters.iter().find(|(day, _)| *day == mark.day));
            if let Some((day, water)) = found {
                out.push((*at, past.tracer_of(*day, water), water[solute::ALKALINITY]));
            }
        }
    }
    out
}

/// Says aloud what of the two numbers the forecast uses.
fn spoken(
    desk: &mut Desk<'_>,
    free: (bool, bool),
    fit: &Fit,
    loss: &Number<VolumeRate>,
    factor: &Number<Ratio>,
    falls: Option<&Figure<Ratio>>,
) {
    let rate = rate(desk.system);
    let flow = |figure: &Figure<VolumeRate>| plain(rate.of(figure.si()), Digits::Significant(2));
    let number = |si: f64| plain(si, Digits::Places(2));
    if let Number::Told { value, low, high } = loss {
        desk.assume(Assumption::new(
            "Leak or splash, in the forecast",
            &format!("{}\u{a0}{}: the log tells {} to {}", flow(value), rate.symbol, flow(low), flow(high)),
            "the drop of a day with the pump on, off, and in a floating bucket",
            "fitted to the log",
        ));
    } else if free.0 {
        desk.assume(Assumption::new(
            "Leak or splash, in the forecast",
            if fit.misfits == 0 { "none" } else { "none: the log cannot tell" },
            "the drop of a day with the pump on, off, and in a floating bucket",
            "common practice",
        ));
    }
    if let Number::Told { value, low, high } = factor {
        desk.assume(Assumption::new(
            "Evaporation factor",
            &format!("{}: the log tells {} to {}", number(value.si()), number(low.si()), number(high.si())),
            "the drop of a day in a floating bucket, at each visit",
            "fitted to the log",
        ));
    }
    if let Some(falls) = falls {
        desk.assume(Assumption::new(
            "Falls and streams, in the forecast",
            &format!("{}\u{a0}% beyond evaporation from still water", plain(100.0 * falls.si(), Digits::Places(0))),
            "more days with the pump on and a floating bucket beside it",
            "the drops of the log",
        ));
    }
}

/// The reader's unit of a slow loss.
pub(super) fn rate(system: System) -> &'static Unit {
    match system {
        System::Metric => &LITRES_PER_DAY,
        System::Us => &crate::units::table::US_GALLONS_PER_DAY,
        System::Imperial => &crate::units::table::IMPERIAL_GALLONS_PER_DAY,
    }
}
