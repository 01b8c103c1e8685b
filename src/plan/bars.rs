//! The bars: what a year takes from them, how long they last, and what their weight says of the hours run.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use uom::si::f64::MassRate;

use super::schedule::{Schedule, release};
use super::{Assumption, Desk, Missing, VolumePlan, kinder};
use crate::reference::{USABLE_BAR, USABLE_SHARE};
use crate::site::Visit;
use crate::units::table::{COPPER, DAYS, GRAM, GRAMS_PER_YEAR, ONE, PERCENT, YEARS};
use crate::units::{Mass, MassConcentration, Ratio, Si, Time};
use crate::water::copper as balance;
use crate::workings::{Figure, Way, minimum};

/// Excess over what the levels explain that is worth a word, in grams: above what brushing and a kitchen scale blur.
const WORTH_A_WORD_GRAMS: f64 = 2.0;

/// What is known of the bars.
#[derive(Clone, Debug)]
pub struct Bars {
    /// Wear under the schedule.
    pub wear: Option<Wear>,
    /// What their weight says of the past.
    pub witness: Option<Witness>,
}

/// Wear under the schedule.
#[derive(Clone, Debug)]
pub struct Wear {
    /// Used a year with every spell used.
    pub rate: Figure<MassRate>,
    /// How long the usable part lasts; none without the mass of the bars, or where it is gone.
    pub life: Option<Life>,
    /// What full output all year would do, where full is over the holding level.
    pub full: Option<Full>,
}

/// How long the usable part lasts.
#[derive(Clone, Debug)]
pub struct Life {
    /// With every spell used.
    pub least: Figure<Time>,
    /// With none used; none where no spell is planned, or nothing is used at all.
    pub most: Option<Figure<Time>>,
    /// The day by which to look whether they are half used, and the days to it from the weighing it counts from.
    pub inspect: (NaiveDate, Figure<Time>),
    /// The day to order new ones, and the days to it.
    pub order: (NaiveDate, Figure<Time>),
}

/// Full output all year.
#[derive(Clone, Debug)]
pub struct Full {
    /// Bar used a year.
    pub rate: Figure<MassRate>,
    /// Until the usable part is gone, where it is known.
    pub life: Option<Figure<Time>>,
    /// Copper it heads for, in the kinder corner.
    pub copper: Figure<MassConcentration>,
}

/// Mass lost beside the mass that the levels in the log explain: an independent witness of hours run.
#[derive(Clone, Debug)]
pub struct Witness {
    /// First and last weighing.
    pub days: (NaiveDate, NaiveDate),
    /// Lost between them.
    pub lost: Figure<Mass>,
    /// What the levels explain at least: between two visits, the lower of the level left and the level found.
    pub explained_least: Figure<Mass>,
    /// The same by the higher of the two.
    pub explained_most: Figure<Mass>,
    /// The gap between two visits that the levels explain least.
    pub gap: Option<Gap>,
}

/// A gap between two visits in which the bars lost more than the level left explains.
#[derive(Clone, Debug)]
pub struct Gap {
    /// The two visits.
    pub days: (NaiveDate, NaiveDate),
    /// Lost in the gap.
    pub lost: Figure<Mass>,
    /// What the level left explains.
    pub explained: Figure<Mass>,
    /// The level left at the first visit.
    pub left: u32,
    /// The level found at the second, and the days at it that explain the loss.
    pub found: Option<(u32, Figure<Time>)>,
}

/// What a year takes, and what the past took.
pub fn bars(desk: &mut Desk<'_>, volume: &VolumePlan, schedule: Option<&Schedule>) -> Bars {
    Bars { wear: wear(desk, volume, schedule), witness: witness(desk) }
}

/// Mass freed at `levels`, each for so many days: one term a level. `None` where a current is unknown.
fn explained(
    desk: &Desk<'_>,
    id: &str,
    title: &str,
    symbol: &str,
    levels: &BTreeMap<u32, i64>,
) -> Option<Figure<Mass>> {
    let mut sum: Option<Figure<Mass>> = None;
    for (&level, &days) in levels.iter().filter(|(level, days)| **level > 0 && **days > 0) {
        let time: Figure<Time> = Figure::counted(
            days as f64,
            &format!("t_{symbol},{level}"),
            &format!("days the log has the panel at step {level}"),
            &DAYS,
        );
        let part = (release(desk, level)? * time).meaning::<Mass>();
        sum = Some(match sum {
            Some(sum) => sum + part,
            None => part,
        });
    }
    let sum = sum.unwrap_or_else(|| Figure::counted(0.0, "0", "nothing at level zero", &GRAM));
    Some(sum.named(id, title, &format!("m_bar,{symbol}"), &GRAM))
}

/// Mass lost between two weighings.
fn lost(desk: &Desk<'_>, from: &Visit, to: &Visit, id: &str, title: &str, symbol: &str) -> Option<Figure<Mass>> {
    let weight = |visit: &Visit| {
        let reading = visit.bar_mass.as_ref()?;
        Some(kinder::leaf(desk, reading, &format!("m_log{}", visit.line), "bars together", &GRAM))
    };
    Some((weight(from)? - weight(to)?).named(id, title, symbol, &GRAM))
}

fn witness(desk: &mut Desk<'_>) -> Option<Witness> {
    let site = desk.site;
    let weighed = |v: &Visit| v.bar_mass.as_ref().map(|m| m.value.si());
    // Bars that grew heavier are new bars: the witness starts with them.
    let mut start = None;
    let mut before: Option<f64> = None;
    for (index, visit) in site.visits.iter().enumerate() {
        let Some(mass) = weighed(visit) else { continue };
        if before.is_none_or(|b| mass > b + GRAM.size) {
            start = Some(index);
        }
        before = Some(mass);
    }
    let end = site.visits.iter().rposition(|v| v.bar_mass.is_some())?;
    let visits = site.visits.get(start?..=end)?;
    let [first, .., last] = visits else { return None };

    let (mut least, mut most) = (BTreeMap::new(), BTreeMap::new());
    let mut worst: Option<(f64, Gap)> = None;
    for pair in visits.windows(2) {
        let [a, b] = pair else { continue };
        let level = a.left()?;
        let days = (b.date - a.date).num_days();
        let found = b.level_set.as_ref().map_or(level, |l| l.value);
        *least.entry(level.min(found)).or_insert(0) += days;
        *most.entry(level.max(found)).or_insert(0) += days;
        let Some(gap) = gap(desk, a, b, level, days) else { continue };
        let excess = GRAM.of(gap.lost.si() - gap.explained.si());
        let speaks = excess >= WORTH_A_WORD_GRAMS && gap.lost.si() >= 2.0 * gap.explained.si();
        if speaks && worst.as_ref().is_none_or(|(most, _)| excess > *most) {
            worst = Some((excess, gap));
        }
    }
    let least =
        explained(desk, "bars.explained-least", "Bar mass the levels of the log explain, at least", "least", &least)?;
    let most =
        explained(desk, "bars.explained-most", "Bar mass the levels of the log explain, at most", "most", &most)?;
    let lost = lost(desk, first, last, "bars.lost", "Bar mass lost since the first weighing", "m_bar,lost")?;
    let gap = worst.map(|(_, gap)| Gap {
        lost: desk.book.publish(gap.lost),
        explained: desk.book.publish(gap.explained),
        found: gap.found.map(|(level, days)| (level, desk.book.publish(days))),
        ..gap
    });
    Some(Witness {
        days: (first.date, last.date),
        lost: desk.book.publish(lost),
        explained_least: desk.book.publish(least),
        explained_most: desk.book.publish(most),
        gap,
    })
}

/// Between two visits that both weighed the bars.
fn gap(desk: &Desk<'_>, a: &Visit, b: &Visit, level: u32, days: i64) -> Option<Gap> {
    let lines = format!("log lines {} to {}", a.line, b.line);
    let lost = lost(desk, a, b, "bars.gap-lost", &format!("Bar mass lost, {lines}"), "m_bar,gap")?;
    let title = format!("Bar mass that step {level}, as left, explains, {lines}");
    let explained = explained(desk, "bars.gap-explained", &title, "held", &BTreeMap::from([(level, days)]))?;
    let found = b.level_set.as_ref().map(|l| l.value).filter(|found| *found != level).and_then(|found| {
        let rate = release(desk, found)?;
        let rate = if level > 0 { rate - release(desk, level)? } else { rate };
        if rate.si() <= 0.0 {
            return None;
        }
        let time = ((&lost - &explained) / rate).meaning::<Time>();
        let title = format!("Days at step {found} that explain what is left over");
        // More days than the gap has is no explanation.
        (DAYS.of(time.si()) <= days as f64 * 1.1)
            .then(|| (found, time.named("bars.gap-days", &title, "t_bar,gap", &DAYS)))
    });
    Some(Gap { days: (a.date, b.date), lost, explained, left: level, found })
}

/// Weeks before the usable part is gone in which new bars are ordered (common practice).
const ORDER_WEEKS: f64 = 8.0;
/// Days after which bars are looked at in any case (common practice).
const LOOK_WITHIN: f64 = 365.0;

/// Bar used in a year with so many days at each of these levels.
fn used(desk: &Desk<'_>, days: &[(u32, f64, String, String)]) -> Option<Figure<MassRate>> {
    let year: Figure<Time> = Figure::counted(1.0, "1 year", "one year", &YEARS);
    let mut sum: Option<Figure<Mass>> = None;
    for (level, days, symbol, title) in days {
        let time: Figure<Time> = Figure::counted(*days, symbol, title, &DAYS);
        let part = (release(desk, *level)? * time).meaning::<Mass>();
        sum = Some(match sum {
            Some(sum) => sum + part,
            None => part,
        });
    }
    Some(sum? / year)
}

/// Bar used a year under the schedule, years until the usable part is gone, and the same at full output.
fn wear(desk: &mut Desk<'_>, volume: &VolumePlan, schedule: Option<&Schedule>) -> Option<Wear> {
    let schedule = schedule?;
    if schedule.releases.is_empty() {
        return None;
    }
    let days_at = |level: u32| schedule.levels.iter().filter(|l| **l == level).count() as f64;
    let held =
        (schedule.holding, days_at(schedule.holding), "t_hold".to_owned(), "days at the holding level".to_owned());
    let mut raised: Vec<u32> = schedule.spells.iter().map(|spell| spell.level).collect();
    raised.sort_unstable();
    raised.dedup();
    let mut all = vec![held];
    all.extend(raised.iter().map(|level| {
        let title = format!("days at step {level}, all spells used");
        (*level, days_at(*level), format!("t_raised,{level}"), title)
    }));
    let running: f64 = all.iter().map(|(_, days, ..)| days).sum();
    let rate = if schedule.holding == 0 { used(desk, all.get(1..)?) } else { used(desk, &all) }?;
    let rate = rate.named("bars.use", "Bar mass used a year under this schedule", "w_year", &GRAMS_PER_YEAR);
    let rate = desk.book.publish(rate);
    let quiet = (!raised.is_empty() && schedule.holding > 0)
        .then(|| {
            let title = "days the panel runs, no spell used".to_owned();
            used(desk, &[(schedule.holding, running, "t_quiet".to_owned(), title)])
        })
        .flatten();
    let usable = usable(desk);
    let life = usable.as_ref().and_then(|(left, since)| {
        (left.si() > 0.0 && rate.si() > 0.0).then(|| life(desk, left, *since, &rate, quiet.as_ref()))
    });
    Some(Wear { full: full(desk, volume, schedule, usable.as_ref().map(|u| &u.0)), rate, life })
}

/// What is left of the bars to use, and the day it was weighed, or the plan's.
fn usable(desk: &mut Desk<'_>) -> Option<(Figure<Mass>, NaiveDate)> {
    let Some(bars) = desk.site.bars.clone() else {
        desk.miss(Missing::new("mass of the bars", "brush, dry and weigh them on a kitchen scale"));
        return None;
    };
    let share: Figure<Ratio> = match &bars.usable_share {
        Some(own) => Figure::stated(own.value, "q_bar", "usable share of a bar", &PERCENT, &desk.place(own.span)),
        None => {
            desk.assume(Assumption::new(
                "Usable share of a bar",
                "60\u{a0}%",
                "the maker's word, in the site file",
                "common practice",
            ));
            Figure::cited(USABLE_SHARE * 100.0, "q_bar", "usable share of a bar", &PERCENT, &USABLE_BAR)
        }
    };
    let new = Figure::stated(bars.new_mass.value, "m_bar,new", "bars when new", &GRAM, &desk.place(bars.new_mass.span));
    let last = desk.last(|v| v.bar_mass.as_ref());
    let since = last.map_or(desk.date, |(visit, _)| visit.date);
    let weighed = last.map(|(_, m)| kinder::leaf(desk, m, "m_bar,now", "bars as last weighed", &GRAM));
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    // Where the current is never turned round, the bars on one side alone wear.
    let turned = desk.site.panel.as_ref().is_none_or(|panel| panel.turns_round != Some(false));
    let share = if turned || bars.count < 2 {
        share
    } else {
        let wearing = f64::from(bars.count / 2) / f64::from(bars.count);
        let title = "share of the bars that wears, where the current is not turned round";
        let wearing: Figure<Ratio> = Figure::counted(wearing, "q_worn", title, &ONE);
        &share * &wearing
    };
    let floor = &new * &(&one - &share);
    let left = weighed.unwrap_or(new) - floor;
    Some((left.named("bars.left", "Usable mass left", "m_bar,left", &GRAM), since))
}

fn life(
    desk: &mut Desk<'_>,
    left: &Figure<Mass>,
    since: NaiveDate,
    rate: &Figure<MassRate>,
    quiet: Option<&Figure<MassRate>>,
) -> Life {
    let least = (left / rate).meaning::<Time>();
    let least = least.named("bars.life", "Years until the usable part is gone", "t_bars", &YEARS);
    let least = desk.book.publish(least);
    let most = quiet.filter(|quiet| quiet.si() > 0.0).map(|quiet| {
        let time = (left / quiet).meaning::<Time>();
        let title = "Years until the usable part is gone, no spell used";
        desk.book.publish(time.named("bars.life-most", title, "t_bars,most", &YEARS))
    });
    let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
    let a_year: Figure<Time> = Figure::counted(LOOK_WITHIN, "t_look", "days within which they are looked at", &DAYS);
    let halfway = (&least * &half).meaning::<Time>();
    let look = minimum(&[halfway, a_year.clone()]).unwrap_or(a_year).rounded(Way::Down, 1.0, &DAYS);
    let look = look.named("bars.inspect", "Days until the bars are inspected", "t_inspect", &DAYS);
    let ahead: Figure<Time> =
        Figure::counted(7.0 * ORDER_WEEKS, "t_order", "days it takes to have new ones, common practice", &DAYS);
    let order = if least.si() > ahead.si() { &least - &ahead } else { Figure::counted(0.0, "0", "at once", &DAYS) };
    let order =
        order.rounded(Way::Down, 1.0, &DAYS).named("bars.order", "Days until new bars are ordered", "t_new", &DAYS);
    // Never before the plan itself: what is overdue is due on its date.
    let date = desk.date;
    let on = |days: &Figure<Time>| {
        let days = libm::round(days.in_unit(&DAYS)).clamp(0.0, 36_500.0) as u64;
        since.checked_add_days(Days::new(days)).unwrap_or(since).max(date)
    };
    let (inspect, order_on) = (on(&look), on(&order));
    Life { least, most, inspect: (inspect, desk.book.publish(look)), order: (order_on, desk.book.publish(order)) }
}

/// Full output all year: what the bars lose, and where copper heads.
fn full(desk: &mut Desk<'_>, volume: &VolumePlan, schedule: &Schedule, left: Option<&Figure<Mass>>) -> Option<Full> {
    if schedule.holding >= schedule.steps {
        return None;
    }
    let release = release(desk, schedule.steps)?;
    let day: Figure<Time> = Figure::counted(365.0, "t_year", "days of a year", &DAYS);
    let year: Figure<Time> = Figure::counted(1.0, "1 year", "one year", &YEARS);
    let rate = ((&release * &day).meaning::<Mass>() / year).meaning::<MassRate>();
    let rate = rate.named("bars.full-use", "Bar mass a year of full output would use", "w_full", &GRAMS_PER_YEAR);
    let rate = desk.book.publish(rate);
    let life = left.filter(|left| left.si() > 0.0 && rate.si() > 0.0).map(|left| {
        let time = (left / &rate).meaning::<Time>();
        desk.book.publish(time.named("bars.full-life", "Years the bars would last at full output", "t_full", &YEARS))
    });
    let loss = &schedule.loss_cold;
    let copper = balance::resting(
        "bars.full-copper",
        "Copper that full output heads for, at most",
        &release,
        &volume.low,
        loss,
        &COPPER,
    );
    Some(Full { rate, life, copper: desk.book.publish(copper.called("C_full")) })
}
