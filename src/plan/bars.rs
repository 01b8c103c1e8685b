//! The bars: what a year takes from them, how long they last, and what their weight says of the hours run.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use uom::si::f64::MassRate;

use super::schedule::{Schedule, release};
use super::{Assumption, Desk, Missing, kinder};
use crate::reference::{USABLE_BAR, USABLE_SHARE};
use crate::site::Visit;
use crate::units::table::{DAYS, GRAM, GRAMS_PER_YEAR, ONE, PERCENT, YEARS};
use crate::units::{Mass, Ratio, Si, Time};
use crate::workings::Figure;

/// Excess over what the levels explain that is worth a word, in grams: above what brushing and a kitchen scale blur.
const WORTH_A_WORD_GRAMS: f64 = 2.0;

/// What is known of the bars.
#[derive(Clone, Debug)]
pub struct Bars {
    /// Mass used a year under the schedule, and the time until the usable part is gone.
    pub wear: Option<(Figure<MassRate>, Option<Figure<Time>>)>,
    /// What their weight says of the past.
    pub witness: Option<Witness>,
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
pub fn bars(desk: &mut Desk<'_>, schedule: Option<&Schedule>) -> Bars {
    Bars { wear: wear(desk, schedule), witness: witness(desk) }
}

/// The level a visit left the panel at.
fn left(visit: &Visit) -> Option<u32> {
    visit.level_left.as_ref().or(visit.level_set.as_ref()).map(|l| l.value)
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
        let level = left(a)?;
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

/// Grams of bar used a year under the schedule, and years until the usable part is gone.
fn wear(desk: &mut Desk<'_>, schedule: Option<&Schedule>) -> Option<(Figure<MassRate>, Option<Figure<Time>>)> {
    let schedule = schedule?;
    if schedule.releases.is_empty() {
        return None;
    }
    let year: Figure<Time> = Figure::counted(1.0, "1 year", "one year", &YEARS);
    let days_at = |level: u32| schedule.levels.iter().filter(|l| **l == level).count() as f64;
    let hold = release(desk, schedule.holding)?;
    let hold_time: Figure<Time> =
        Figure::counted(days_at(schedule.holding), "t_hold", "days at the holding level", &DAYS);
    let mut used = (hold * hold_time).meaning::<Mass>();
    let mut raised: Vec<u32> = schedule.spells.iter().map(|spell| spell.level).collect();
    raised.sort_unstable();
    raised.dedup();
    for level in raised {
        let spell = release(desk, level)?;
        let title = format!("days at step {level}, all spells used");
        let time: Figure<Time> = Figure::counted(days_at(level), &format!("t_raised,{level}"), &title, &DAYS);
        used = used + (spell * time).meaning::<Mass>();
    }
    let rate = (used / year).named("bars.use", "Bar mass used a year under this schedule", "w_year", &GRAMS_PER_YEAR);
    let rate = desk.book.publish(rate);
    let Some(bars) = desk.site.bars.clone() else {
        desk.miss(Missing::new("mass of the bars", "brush, dry and weigh them on a kitchen scale"));
        return Some((rate, None));
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
    let weighed = desk
        .last(|v| v.bar_mass.as_ref())
        .map(|(_, m)| kinder::leaf(desk, m, "m_bar,now", "bars as last weighed", &GRAM));
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let floor = &new * &(&one - &share);
    let left = weighed.unwrap_or(new) - floor;
    if left.si() <= 0.0 || rate.si() <= 0.0 {
        return Some((rate, None));
    }
    let life = (left.named("bars.left", "Usable mass left", "m_bar,left", &GRAM) / rate.clone()).meaning::<Time>();
    let life = life.named("bars.life", "Years until the usable part is gone", "t_bars", &YEARS);
    Some((rate, Some(desk.book.publish(life))))
}
