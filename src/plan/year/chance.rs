//! How sure the forecast is: the ensemble of a plan, and its figures.
//!
//! What a plan's readings leave open comes from its kits; what evaporation and weather do, from [`Habits`] and the ranges
//! below, which are assumptions and listed as such. The middle run stays what the plan is drawn from: it has an account a
//! reader can follow. The ensemble says how far from it other years come, and how many leave the window.

use std::ops::{Add, Mul};

use chrono::NaiveDate;

use super::model::{Model, readings_of};
use super::{Month, Side, edges};
use crate::chem::followed::Table;
use crate::plan::{Assumption, Desk, VolumePlan, kinder};
use crate::reference::LOSS_RANGE;
use crate::site::{Reading, Readings};
use crate::units::table::{DEGREE_GH, DEGREE_KH, MICROSIEMENS, MILLIMETRE, ONE, PERCENT, Unit, weight};
use crate::units::{CarbonateHardness, Ratio, Si};
use crate::water::air::{self, CoreWarmth};
use crate::water::balance::{SOLUTES, Sky, Solutes, solute};
use crate::water::ensemble::{self, Counted, Doubt, Draw, Given, Habits, Normal, Place, Quantity, Spread, Tenth};
use crate::workings::{Figure, Way, maximum, minimum};

/// How far evaporation may be from the middle either way: by a factor of the tables, and by the site's own or a measured
/// drop. FAO-56's factor for open water and Penman's form lie a fifth to a third apart (EV-20, EV-22).
const EVAPORATION: (f64, f64) = (0.2, 0.1);
/// How far a conductivity meter may be out, as a share.
const METER: f64 = 0.02;
/// Most threads that work at an ensemble.
const THREADS: usize = 8;

/// What the members say: the place of numbers that they were counted to.
pub(in crate::plan) const ENSEMBLE: &str = "ensemble (weirbook forecast)";

/// How sure the forecast is.
#[derive(Clone, Debug)]
pub struct Chance {
    /// How many members, from which seed.
    pub draw: Draw,
    /// Their count.
    pub counted: Counted,
    /// Carbonate hardness on the last evening, 10th and 90th percentile.
    pub last: (Figure<CarbonateHardness>, Figure<CarbonateHardness>),
    /// Share of the members that are out of the window within the year, or were never in it.
    pub out: Figure<Ratio>,
    /// The days by which one, five and nine members in ten are out, and on which side most of them are.
    pub by: [Option<(NaiveDate, Side)>; 3],
}

impl Chance {
    /// Members out of the window by the end of a day: under it, over it. Those that were never in it count from the start.
    fn out_by(counted: &Counted, day: usize) -> [u32; 2] {
        let [under, over] = counted.left_by(day);
        [under + counted.never[0], over + counted.never[1]]
    }
}

/// From where to where the true value may lie when a kit shows a reading, SI: drops count down a step, others half a step
/// either way. `usual` stands for the step of a drop count that nobody named.
pub(super) fn left_open<Q: Si>(desk: &Desk<'_>, reading: &Reading<Q>, kit: &str, usual: f64) -> (f64, f64) {
    let (step, drops) =
        kinder::kit(desk, kit).and_then(|k| k.step.map(|step| (step, k.drops))).unwrap_or((usual, true));
    let read = reading.value.si();
    let (down, up) = if drops { (step, 0.0) } else { (0.5 * step, 0.5 * step) };
    ((read - down).max(0.0), read + up)
}

/// A change of a water with its charges evened by salt's two ions, as the readings were closed: what the water conducts stays
/// as it was read, where it was. Where there is too little of either ion for that, charges alone count: what is too many is
/// taken away as far as it is there, and what is lacking added.
fn evened(water: &Solutes, mut change: Solutes, conducts: bool) -> Solutes {
    use solute::{ALKALINITY, CALCIUM, CHLORIDE, MAGNESIUM, NITRATE, POTASSIUM, SODIUM, SULFATE};
    let positive = 2.0 * (change[CALCIUM] + change[MAGNESIUM]) + change[SODIUM] + change[POTASSIUM];
    let charge = positive - change[ALKALINITY] - change[CHLORIDE] - 2.0 * change[SULFATE] - change[NITRATE];
    if conducts {
        let of = |at: usize| air::CONDUCTIVITIES.get(at).copied().unwrap_or(0.0);
        let conducted: f64 = air::CONDUCTIVITIES.iter().zip(&change).map(|(each, c)| each * c).sum();
        let sodium = -(conducted + of(CHLORIDE) * charge) / (of(SODIUM) + of(CHLORIDE));
        let chloride = sodium + charge;
        if water[SODIUM] + sodium >= 0.0 && water[CHLORIDE] + chloride >= 0.0 {
            change[SODIUM] += sodium;
            change[CHLORIDE] += chloride;
            return change;
        }
    }
    let (take, give) = if charge > 0.0 { (SODIUM, CHLORIDE) } else { (CHLORIDE, SODIUM) };
    let there = water.get(take).copied().unwrap_or(0.0).max(0.0);
    let taken = charge.abs().min(there);
    if let Some(slot) = change.get_mut(take) {
        *slot -= taken;
    }
    if let Some(slot) = change.get_mut(give) {
        *slot += charge.abs() - taken;
    }
    change
}

/// A range as a doubt: `used` lies between its ends, and `change` is what a true value that much higher does to the water.
fn doubt(used: f64, (least, most): (f64, f64), change: impl Fn(f64) -> Solutes) -> Option<Doubt> {
    let wide = most - least;
    (wide > 0.0).then(|| Doubt {
        place: ((used - least) / wide).clamp(0.0, 1.0),
        least: change(least - used),
        most: change(most - used),
    })
}

/// What the readings of a water leave open. `used`: the alkalinity that was taken, mol/m³.
fn doubts(desk: &Desk<'_>, readings: &Readings, water: &Solutes, used: f64) -> Vec<Doubt> {
    let mut out = Vec::new();
    let conducts = readings.conductivity.as_ref().is_some_and(|r| !r.less_than);
    if let Some(reading) = readings.carbonate_hardness.as_ref().filter(|r| !r.less_than) {
        let open = left_open(desk, reading, "carbonate hardness", DEGREE_KH.size);
        out.extend(doubt(used, open, |by| {
            let mut change = [0.0; SOLUTES];
            change[solute::ALKALINITY] = by;
            evened(water, change, conducts)
        }));
    }
    if let Some(reading) = readings.general_hardness.as_ref().filter(|r| !r.less_than) {
        let open = left_open(desk, reading, "general hardness", DEGREE_GH.size);
        let hard = water[solute::CALCIUM] + water[solute::MAGNESIUM];
        let calcium = if hard > 0.0 { water[solute::CALCIUM] / hard } else { 1.0 };
        out.extend(doubt(reading.value.si(), open, |by| {
            let mut change = [0.0; SOLUTES];
            change[solute::CALCIUM] = calcium * by.max(-hard);
            change[solute::MAGNESIUM] = (1.0 - calcium) * by.max(-hard);
            evened(water, change, conducts)
        }));
    }
    if let Some(reading) = readings.calcium.as_ref().filter(|r| !r.less_than) {
        // General hardness has a doubt of its own: what is not calcium is magnesium.
        let open = left_open(desk, reading, "calcium", 0.0);
        out.extend(doubt(reading.value.si(), open, |by| {
            let by = by.clamp(-water[solute::CALCIUM], water[solute::MAGNESIUM]);
            let mut change = [0.0; SOLUTES];
            (change[solute::CALCIUM], change[solute::MAGNESIUM]) = (by, -by);
            change
        }));
    }
    if let Some(reading) = readings.total_copper.as_ref() {
        // A kit that shows less than its first step leaves all of that step open.
        let read = reading.value.si();
        let open = if reading.less_than { (0.0, read) } else { left_open(desk, reading, "total copper", 0.0) };
        let used = if reading.less_than { 0.0 } else { read };
        out.extend(doubt(used, open, |by| {
            let mut change = [0.0; SOLUTES];
            change[solute::COPPER] = by * 1000.0 / weight::CU;
            change
        }));
    }
    if let Some(reading) = readings.conductivity.as_ref().filter(|r| !r.less_than) {
        let read = MICROSIEMENS.of(reading.value.si());
        let mut salted = *water;
        salted[solute::SODIUM] += 0.1;
        salted[solute::CHLORIDE] += 0.1;
        let each = (air::conductivity(&salted) - air::conductivity(water)) / 0.1;
        let there = water[solute::SODIUM].min(water[solute::CHLORIDE]).max(0.0);
        out.extend(doubt(read, (read * (1.0 - METER), read * (1.0 + METER)), |by| {
            let mut change = [0.0; SOLUTES];
            let salt = if each > 0.0 { (by / each).max(-there) } else { 0.0 };
            change[solute::SODIUM] = salt;
            change[solute::CHLORIDE] = salt;
            change
        }));
    }
    out
}

/// What may differ, with what had to be assumed for it.
fn spread(desk: &mut Desk<'_>, model: &Model, volume: &VolumePlan) -> Spread {
    let own = desk.site.year.losses.evaporation_factor.is_some() || model.sun.method == crate::plan::Method::Drop;
    let either = if own { EVAPORATION.1 } else { EVAPORATION.0 };
    let percent = |share: f64| crate::units::plain(100.0 * share, crate::units::Digits::Places(0));
    desk.assume(Assumption::new(
        "Evaporation, in the range of the forecast",
        &format!("{}\u{a0}% less or more than in the middle", percent(either)),
        "the drop of several days in a floating bucket",
        "common practice",
    ));
    let h = Habits::USUAL;
    desk.assume(Assumption::new(
        "Weather, in the range of the forecast",
        &format!(
            "a wet day {}\u{a0}mm in the mean, in spells; a day's evaporation {}\u{a0}%, warmth {}\u{a0}°C about the normal; \
             beside that a year's rain {}\u{a0}%, evaporation {}\u{a0}%, warmth {}\u{a0}°C",
            crate::units::plain(MILLIMETRE.of(h.wet_day), crate::units::Digits::Places(0)),
            percent(h.evaporation_day.0),
            crate::units::plain(h.warmth_day.0, crate::units::Digits::Places(1)),
            percent(h.rain_year),
            percent(h.evaporation_year),
            crate::units::plain(h.warmth_year, crate::units::Digits::Places(1)),
        ),
        "ten years of daily weather of the place",
        "common practice",
    ));
    desk.assume(Assumption::new(
        "Readings, in the range of the forecast",
        "anywhere in the step of their kit (1\u{a0}° where no kit is named); the conductivity meter 2\u{a0}% either way",
        "finer kits, and a meter checked against a standard",
        "common practice",
    ));
    let start = model.start.si();
    let pond = desk
        .last(|v| v.pond.carbonate_hardness.as_ref().filter(|r| !r.less_than))
        .map(|(visit, _)| readings_of(desk, visit))
        .unwrap_or_default();
    let supply = &desk.site.supply.readings;
    let told = &model.setting.supply;
    Spread {
        weather: Some(h),
        volume: (volume.low.si().min(volume.total.si()), volume.high.si().max(volume.total.si())),
        evaporation: (1.0 - either, 1.0 + either),
        pond: doubts(desk, &pond, &model.begin.water(), start),
        supply: doubts(desk, supply, told, told[solute::ALKALINITY]),
        copper_loss: LOSS_RANGE,
        copper_efficiency: (1.0, 1.0),
    }
}

/// What the possible years are drawn from.
#[derive(Debug)]
pub(super) struct Prospect {
    spread: Spread,
    normals: Vec<Normal>,
    table: Table,
}

impl Prospect {
    /// Gathers it; `None` when no members are asked for.
    pub(super) fn gather(desk: &mut Desk<'_>, model: &Model, volume: &VolumePlan) -> Option<Self> {
        if desk.draw.members == 0 || model.sky.is_empty() {
            return None;
        }
        let normal =
            |sky: &Sky<CoreWarmth>| Normal { evaporation: sky.evaporation, rain: sky.rain, celsius: sky.celsius };
        let normals = model.sky.iter().map(normal).collect();
        Some(Self { spread: spread(desk, model, volume), normals, table: Table::new() })
    }

    /// What it was gathered from: what differs, the normals of the days, and constants over temperature.
    pub(super) fn parts(self) -> (Spread, Vec<Normal>, Table) {
        (self.spread, self.normals, self.table)
    }

    /// Runs every member under the care of the model as it is now. `copper`: least and most loss at 20 °C, a day, and release over
    /// what Faraday's law asks for.
    pub(super) fn count(&mut self, draw: Draw, model: &Model, loss: (f64, f64), efficiency: (f64, f64)) -> Counted {
        (self.spread.copper_loss, self.spread.copper_efficiency) = (loss, efficiency);
        let given = Given {
            setting: &model.setting,
            chemistry: model.chemistry,
            table: &self.table,
            normals: &self.normals,
            care: &model.care,
            appetite: Some(model.appetite),
            water: model.begin.water(),
            filled: model.begin.volume / model.setting.basin.full,
            window: edges(),
            spread: &self.spread,
        };
        // How many threads there are changes nothing but the time it takes.
        let threads = std::thread::available_parallelism().map_or(1, usize::from).min(THREADS);
        ensemble::run(&given, draw, threads)
    }
}

/// Puts what the possible years say beside the months, and sums it up.
pub(super) fn chance(desk: &mut Desk<'_>, model: &Model, counted: Counted, months: &mut [Month]) -> Chance {
    let draw = desk.draw;
    let last = model.dates.len() - 1;
    for month in months.iter_mut() {
        let until = model.dates.iter().position(|d| *d == month.last).unwrap_or(last);
        let (tag, at, name) = month.names();
        let title = format!("Share of possible years out of the window by the end of {name}");
        month.out = Some(share(desk, &counted, until, &format!("year.out-{tag}"), &title, &at));
    }
    let mut end = |tenth: Tenth, id: &str, nth: &str, symbol: &str| {
        let coarse = DEGREE_KH.of(counted.coarseness(Quantity::Hardness));
        let tag = if tenth == Tenth::One { "10" } else { "90" };
        let count = Count { counted: &counted, day: last, evening: "their last evening".to_owned(), tenth };
        let what = ("K", tag, "carbonate hardness", &DEGREE_KH);
        let figure: Figure<CarbonateHardness> = count.figure(Quantity::Hardness, what, |c| c);
        let title = format!("Carbonate hardness at the end of the year, {nth} of possible years at or under it");
        // The years are counted, not kept: so near is it to the years sorted one by one.
        let bin = crate::units::plain(coarse, crate::units::Digits::Significant(1));
        let remark = format!(
            "Counted in bins of at most {bin}\u{a0}°dKH, the years of a bin taken to lie evenly in it. Each possible year is the \
             daily balance under weather of its own, with volume, evaporation and readings anywhere in their ranges; the years are \
             numbered from 0 under the seed"
        );
        desk.book.publish(figure.named(id, &title, symbol, &DEGREE_KH).remark(remark))
    };
    let low = end(Tenth::One, "year.low", "one tenth", "K_10");
    let high = end(Tenth::Nine, "year.high", "nine tenths", "K_90");
    let out = match months.last().and_then(|m| m.out.clone()) {
        Some(out) => out,
        None => share(desk, &counted, last, "year.out", "Share of possible years out of the window", "end"),
    };
    let by = [1, 5, 9].map(|tenths| {
        let day = counted.day_left(tenths)?;
        let [under, over] = Chance::out_by(&counted, day);
        Some((*model.dates.get(day)?, if under > over { Side::Soft } else { Side::Hard }))
    });
    Chance { draw, last: (low, high), out, by, counted }
}

/// Members out of the window by the end of a day, over all of them.
fn share(desk: &mut Desk<'_>, counted: &Counted, day: usize, id: &str, title: &str, at: &str) -> Figure<Ratio> {
    let [under, over] = Chance::out_by(counted, day);
    let out = Ratio::from_si(f64::from(under + over));
    let out: Figure<Ratio> = Figure::stated(out, &format!("n_out,{at}"), "possible years that are out", &ONE, ENSEMBLE);
    let all = members(counted.members);
    let share: Figure<Ratio> = out / all;
    desk.book.publish(share.named(id, title, &format!("p_out,{at}"), &PERCENT))
}

/// A percentile as it was counted, to be written out.
pub(super) struct Count<'c> {
    pub(super) counted: &'c Counted,
    /// The day, from 0.
    pub(super) day: usize,
    /// In words.
    pub(super) evening: String,
    pub(super) tenth: Tenth,
}

impl Count<'_> {
    /// The place of the member that stands there, in the order of their values, as a line.
    fn rank(&self) -> Figure<Ratio> {
        let all: Figure<Ratio> = members(self.counted.members);
        let (number, share, word) = match self.tenth {
            Tenth::One => ("10", "0.1", "tenth"),
            Tenth::Five => ("50", "0.5", "half"),
            Tenth::Nine => ("90", "0.9", "nine-tenths"),
        };
        let share: Figure<Ratio> = Figure::counted(f64::from(self.tenth.count()) / 10.0, share, word, &ONE);
        (all * share).rounded(Way::Up, 1.0, &ONE).named(
            format!("year.rank-{number}"),
            &format!(
                "Place of the year that {share} of all do not pass, in the order of their values",
                share = words(self.tenth)
            ),
            &format!("r_{number}"),
            &ONE,
        )
    }

    /// The value by arithmetic within its bin. `what`: letter, subscript, in words, and the unit; `si` turns the kernel's number,
    /// or a width of it, into SI.
    pub(super) fn figure<Q>(
        &self,
        quantity: Quantity,
        (letter, tag, what, unit): (&str, &str, &str, &'static Unit),
        si: impl Fn(f64) -> f64,
    ) -> Figure<Q>
    where
        Q: Si + Add<Q, Output = Q> + Mul<Ratio, Output = Q>,
    {
        let evening = &self.evening;
        let number = |value: f64, symbol: String, title: String| -> Figure<Q> {
            Figure::stated(Q::from_si(si(value)), &symbol, &title, unit, ENSEMBLE)
        };
        let count = |number: u32, symbol: String, title: String| -> Figure<Ratio> {
            Figure::stated(Ratio::from_si(f64::from(number)), &symbol, &title, &ONE, ENSEMBLE)
        };
        let Some(standing) = self.counted.standing(self.day, quantity, self.tenth) else {
            return number(f64::NAN, format!("{letter}_{tag}"), format!("{what}, not counted"));
        };
        let (low, width, under, within) = match standing.place {
            Place::Bin { low, width, under, within } => (low, width, under, within),
            Place::Alike => {
                return number(
                    standing.value(),
                    format!("{letter}_all,{tag}"),
                    format!("{what}, alike in all possible years on {evening}"),
                );
            }
            Place::Beyond(_) => {
                let title = format!(
                    "{what} on {evening}: the end of the bins, beyond which {} of the years lie",
                    words(self.tenth)
                );
                return number(standing.value(), format!("{letter}_end,{tag}"), title);
            }
        };
        let low = number(low, format!("{letter}_bin,{tag}"), format!("{what} on {evening}: low end of the bin"));
        let width = number(width, format!("Δ{letter}_{tag}"), format!("{what} on {evening}: width of the bin"));
        let under =
            count(under, format!("n_under,{tag}"), format!("possible years under the bin on {evening}, {what}"));
        let within = count(within, format!("n_bin,{tag}"), format!("possible years in the bin on {evening}, {what}"));
        let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
        let value = low + width * ((self.rank() - under - half) / within);
        let (least, most) = standing.ends;
        let inside = standing.inside();
        // The last bins reach further than any year did.
        let held = if inside > most {
            minimum(&[
                value.clone(),
                number(most, format!("{letter}_most,{tag}"), format!("the most of any possible year, {what}")),
            ])
        } else if inside < least {
            maximum(&[
                value.clone(),
                number(least, format!("{letter}_least,{tag}"), format!("the least of any possible year, {what}")),
            ])
        } else {
            None
        };
        held.unwrap_or(value)
    }
}

/// A tenth in words.
fn words(tenth: Tenth) -> &'static str {
    match tenth {
        Tenth::One => "one tenth",
        Tenth::Five => "one half",
        Tenth::Nine => "nine tenths",
    }
}

/// How many possible years there are.
pub(super) fn members(count: u32) -> Figure<Ratio> {
    Figure::stated(Ratio::from_si(f64::from(count)), "n_years", "possible years", &ONE, ENSEMBLE)
}
