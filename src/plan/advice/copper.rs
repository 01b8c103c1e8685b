//! Copper at watch: level zero, how long it takes to fall by itself, what one change of water does instead, when to test again. And
//! copper at stop, beside the changes: how soon it is met, when to test, when a new plan may be made.

use chrono::NaiveDate;
use uom::si::f64::Frequency;

use super::usual;
use crate::plan::correction::{self, day};
use crate::plan::{ChangePlan, CopperLimits, Correction, Desk, VolumePlan, WaterPlan, kinder, readings, schedule};
use crate::reference::{LASTING_DAYS, SEASON_CELSIUS};
use crate::units::table::{CELSIUS, COPPER, DAYS, ONE, PER_DAY};
use crate::units::{MassConcentration, Ratio, ThermodynamicTemperature, Time};
use crate::water::copper as balance;
use crate::workings::{Figure, Way, maximum};

/// Days between two tests at watch (Decisions: every second day).
const TEST_DAYS: u64 = 2;

/// From what the panel is turned down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TurnDown {
    /// A raised spell, at this step.
    Spell(u32),
    /// The level of the year round.
    Holding(u32),
    /// It is at zero.
    Zero,
    /// The log does not say where it stands.
    Untold,
}

/// Copper at watch or over it, under stop.
#[derive(Clone, Debug)]
pub struct Watch {
    /// As read.
    pub now: Figure<MassConcentration>,
    /// The day it was read.
    pub read_on: NaiveDate,
    /// From what the panel is turned down.
    pub from: TurnDown,
    /// Days at level zero until it is under watch without a change of water, at most.
    pub days: Figure<Time>,
    /// Copper by then, at most.
    pub end: Figure<MassConcentration>,
    /// The day, counted from the plan's.
    pub clear: NaiveDate,
    /// One change of water that does the same at once, or part of it; none where it would do harm, or other water is changed.
    pub change: Option<ChangePlan>,
    /// Days after that change until it is under watch, where the change alone does not do.
    pub then: Option<Figure<Time>>,
    /// The first of the tests on every second day.
    pub retest: NaiveDate,
    /// The slowest loss.
    loss: Figure<Frequency>,
}

/// When the panel may run again after watch.
#[derive(Clone, Debug)]
pub struct Again {
    /// The day: copper is under watch then, and the mean of the 28 days from the plan's keeps the lasting limit.
    pub day: NaiveDate,
    /// Days at level zero.
    pub wait: Figure<Time>,
    /// That mean, in the form of the lasting limit, at most.
    pub mean: Figure<MassConcentration>,
    /// Whether it passes the limit at level zero all the while: then water has to be changed.
    pub over: bool,
}

impl Again {
    /// The day before which no spell starts: what stood at watch counts in the mean for four weeks more.
    pub(in crate::plan) fn next_spell(&self) -> NaiveDate {
        day(self.day, LASTING_DAYS as u64)
    }
}

impl Watch {
    /// When the panel may run again at the level of the year round, where copper rests at `rest` with the loss `least`.
    pub(in crate::plan) fn again(
        &self,
        desk: &mut Desk<'_>,
        rest: &Figure<MassConcentration>,
        least: &Figure<Frequency>,
        dissolved: Option<&Figure<Ratio>>,
        limits: &CopperLimits,
    ) -> Again {
        let share = dissolved.map_or(1.0, Figure::si);
        let (fall, build) = (PER_DAY.of(self.loss.si()), PER_DAY.of(least.si()));
        let (now, rest_si) = (self.now.si(), rest.si());
        // Mean of 28 days, so many of them at level zero: the integrals of both parts.
        let mean = |wait: f64| {
            let end = now * libm::exp(-fall * wait);
            let left = LASTING_DAYS - wait;
            let first = (now - end) / fall;
            let second = rest_si * left + (end - rest_si) * (1.0 - libm::exp(-build * left)) / build;
            share * (first + second) / LASTING_DAYS
        };
        let under = self.days.in_unit(&DAYS);
        let longest = under.max(LASTING_DAYS);
        let mut wait = under;
        while wait < longest && mean(wait) > limits.lasting.si() {
            wait += 1.0;
        }
        let time: Figure<Time> = Figure::counted(wait, "t_zero", "days at level zero", &DAYS);
        let span: Figure<Time> = Figure::counted(LASTING_DAYS, "28", "averaging time of the lasting limit", &DAYS);
        let none: Figure<MassConcentration> = Figure::counted(0.0, "0", "no release at level zero", &COPPER);
        let total = if wait >= LASTING_DAYS {
            balance::mean(&self.now, &none, &self.loss, &span)
        } else {
            let end = balance::after(&self.now, &none, &self.loss, &time);
            let left = &span - &time;
            let down = balance::mean(&self.now, &none, &self.loss, &time);
            let up = balance::mean(&end, rest, least, &left);
            let first: Figure<Ratio> = (&time / &span).meaning();
            let second: Figure<Ratio> = (&left / &span).meaning();
            &down * &first + &up * &second
        };
        let total = match dissolved {
            Some(share) => &total * share,
            None => total,
        };
        let title = "Mean over the 28 days from today, at most";
        let total = desk.book.publish(total.named("copper.fall-mean", title, "C_28,fall", &COPPER));
        let title = "Days at level zero that keep the mean over 28 days";
        let wait_days = desk.book.publish(time.named("copper.fall-wait", title, "t_wait", &DAYS));
        let over = total.si() > limits.lasting.si() * (1.0 + 1e-9);
        Again { day: day(desk.date, wait as u64), wait: wait_days, mean: total, over }
    }
}

/// Copper at stop or over it.
#[derive(Clone, Debug)]
pub struct Stop {
    /// The day it was read.
    pub read_on: NaiveDate,
    /// Changes, one a day, until it is under stop; none without changes.
    pub under: Option<Figure<Ratio>>,
    /// Days at level zero until it is under watch without a change, at most.
    pub days: Figure<Time>,
    /// The day to test again: the morning after the last change, or the second day from now.
    pub retest: NaiveDate,
}

/// The slowest loss, in the coldest water of these weeks: that of the season's edge, or the pond's own where that is colder.
fn slowest(desk: &mut Desk<'_>, volume: &VolumePlan) -> Figure<Frequency> {
    let least = schedule::slowest_loss(desk, volume);
    let edge: Figure<ThermodynamicTemperature> =
        Figure::counted(SEASON_CELSIUS, "θ_cold", "coldest water the panel runs in, common practice", &CELSIUS);
    let read = readings::fresh(desk, |r| r.temperature.as_ref()).map(|t| kinder::temperature(desk, t));
    let cold = read.filter(|t| t.si() < edge.si()).unwrap_or(edge);
    balance::loss_at("copper.fall-loss", "Least loss of copper in these weeks", &least, &cold).called("k_fall")
}

/// Days at level zero until copper is under `mark`: ln(C / mark) / k, up, and one at least.
fn falls(
    names: [&str; 3],
    now: &Figure<MassConcentration>,
    mark: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
) -> Option<Figure<Time>> {
    let one: Figure<Time> = Figure::counted(1.0, "1 day", "one day at least", &DAYS);
    let ratio: Figure<Ratio> = (now / mark).meaning();
    let days = (ratio.ln() / loss).meaning::<Time>().rounded(Way::Up, 1.0, &DAYS);
    let [id, title, symbol] = names;
    Some(maximum(&[days, one])?.named(id, title, symbol, &DAYS))
}

/// The last reading of copper, where it is fresh and more than the kit's "less than".
fn read(desk: &Desk<'_>) -> Option<(Figure<MassConcentration>, NaiveDate)> {
    let reading = readings::fresh(desk, |r| r.total_copper.as_ref()).filter(|r| !r.less_than)?;
    let (visit, _) = desk.last(|v| v.pond.total_copper.as_ref())?;
    Some((kinder::leaf(desk, reading, "C_now", "total copper, as read", &COPPER), visit.date))
}

/// The next day of testing: the second after a reading, and not before today.
fn next_test(desk: &Desk<'_>, read_on: NaiveDate) -> NaiveDate {
    day(read_on, TEST_DAYS).max(desk.date)
}

/// What copper at watch asks for.
pub fn watch(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    limits: Option<&CopperLimits>,
    ions: Option<&WaterPlan>,
) -> Option<Watch> {
    let limits = limits?;
    let (now, read_on) = read(desk)?;
    if now.si() < limits.watch.si() || now.si() >= limits.stop.si() {
        return None;
    }
    let visit = desk.last(|v| v.pond.total_copper.as_ref()).map(|(visit, _)| visit);
    let level = visit.and_then(|v| v.found().or_else(|| v.left()));
    let from = match level {
        None => TurnDown::Untold,
        Some(0) => TurnDown::Zero,
        Some(level) if level > usual(desk) => TurnDown::Spell(level),
        Some(level) => TurnDown::Holding(level),
    };
    let loss = slowest(desk, volume);
    let names = ["copper.fall-days", "Days at level zero until copper is under watch, at most", "t_fall"];
    let days = falls(names, &now, &limits.watch, &loss)?;
    let none: Figure<MassConcentration> = Figure::counted(0.0, "0", "no release at level zero", &COPPER);
    let end = balance::after(&now, &none, &loss, &days).named(
        "copper.fall-end",
        "Copper by then, at most",
        "C_fall",
        &COPPER,
    );
    let (days, end) = (desk.book.publish(days), desk.book.publish(end));
    let change = correction::for_watch(desk, volume, limits, correction, ions);
    let short = change.as_ref().and_then(|c| c.copper_after.clone()).filter(|after| after.si() >= limits.watch.si());
    let names = ["copper.ease-days", "Days after that change until copper is under watch, at most", "t_ease"];
    let then = short.and_then(|after| falls(names, &after, &limits.watch, &loss)).map(|days| desk.book.publish(days));
    let clear = day(desk.date, days.in_unit(&DAYS) as u64);
    Some(Watch { now, read_on, from, days, end, clear, change, then, retest: next_test(desk, read_on), loss })
}

/// What copper at stop asks for beside the changes.
pub fn stop(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    limits: Option<&CopperLimits>,
) -> Option<Stop> {
    let limits = limits?;
    let (now, read_on) = read(desk)?;
    if now.si() < limits.stop.si() {
        return None;
    }
    let loss = slowest(desk, volume);
    let names = ["copper.fall-days", "Days at level zero until copper is under watch, at most", "t_fall"];
    let days = falls(names, &now, &limits.watch, &loss)?;
    let days = desk.book.publish(days);
    let change = correction.copper.as_ref();
    let under = change.and_then(|change| under_stop(desk, volume, change, &now, limits));
    let last = change.filter(|c| c.ammonia_gate.is_none()).and_then(|c| c.days.last());
    let retest = last.map_or_else(|| next_test(desk, read_on), |last| day(*last, 1));
    Some(Stop { read_on, under: under.map(|n| desk.book.publish(n)), days, retest })
}

/// Changes until copper is under stop, at the high volume: ln((C_stop − C_supply) / (C − C_supply)) / ln(1 − s), up, one at least.
fn under_stop(
    desk: &Desk<'_>,
    volume: &VolumePlan,
    change: &ChangePlan,
    now: &Figure<MassConcentration>,
    limits: &CopperLimits,
) -> Option<Figure<Ratio>> {
    let tap = desk.site.supply.readings.total_copper.as_ref()?;
    let tap = kinder::leaf(desk, tap, "C_supply", "total copper of the supply", &COPPER);
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let share: Figure<Ratio> = (&change.volume / &volume.high).meaning();
    let left: Figure<Ratio> = ((&limits.stop - &tap) / (now - &tap)).meaning();
    let count = (left.ln() / (&one - &share).ln()).rounded(Way::Up, 1.0, &ONE);
    let count = maximum(&[count, one])?;
    // No more than there are: their last brings it to watch.
    (count.si() <= change.count.si())
        .then(|| count.named("copper.change.under-stop", "Changes until copper is under stop", "n_stop", &ONE))
}
