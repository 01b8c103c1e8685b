//! Copper in the water year: the possible years run under the schedule, and what they say of every month.

use chrono::NaiveDate;

use super::chance::{Count, Prospect};
use super::model::Model;
use super::{Month, edges};
use crate::plan::{CopperLimits, Desk, Schedule, rounding};
use crate::reference::WINDOW;
use crate::units::table::{CACO3, COPPER, ONE, weight};
use crate::units::{MassConcentration, Ratio};
use crate::water::ensemble::{Counted, Quantity, Tenth};
use crate::workings::{Figure, minimum};

/// Most runs of the possible years under one schedule, each after a spell or a week was taken out of it.
const MOST_RUNS: u32 = 8;
/// Days after a spell on which what it left is still on its way down.
const ON_THE_WAY: i64 = 42;
/// Days the panel is left at zero from one on which one possible year in ten would come to stop.
const PAUSE: usize = 7;

/// Copper in a month in which the panel may run.
#[derive(Clone, Debug)]
pub struct CopperMonth {
    /// Its days in the schedule.
    pub days: (NaiveDate, NaiveDate),
    /// The level for most of it, and the highest.
    pub levels: (u32, u32),
    /// The most copper that nine possible years in ten come to, total.
    pub most: Figure<MassConcentration>,
    /// The lowest stop of its days.
    pub stop: Figure<MassConcentration>,
}

/// Copper over the year.
#[derive(Clone, Debug)]
pub struct CopperYear {
    /// The months in which the panel may run.
    pub months: Vec<CopperMonth>,
    /// The lowest stop until the next visit, or of the year: what holds whenever nobody looks at the month.
    pub stop: Figure<MassConcentration>,
    /// Half of it.
    pub watch: Figure<MassConcentration>,
}

/// Runs the possible years under the schedule, and takes out of it what brings one in ten to the stop of the day: the spell that
/// does, else the days. `None` without possible years.
pub(super) fn settle(
    desk: &Desk<'_>,
    model: &mut Model,
    prospect: Option<&mut Prospect>,
    schedule: &mut Schedule,
) -> Option<Counted> {
    model.set_panel(schedule);
    let prospect = prospect?;
    let mut counted = prospect.count(desk.draw, model, schedule.loss_range, (1.0, 1.0));
    for _ in 1..MOST_RUNS {
        let Some(date) = first_over(model, &counted, schedule) else { break };
        let spell =
            schedule.spells.iter().position(|s| date >= s.not_before && (date - s.back).num_days() < ON_THE_WAY);
        match spell {
            Some(which) => schedule.drop_spell(which),
            None => schedule.pause(date, PAUSE),
        }
        model.set_panel(schedule);
        counted = prospect.count(desk.draw, model, schedule.loss_range, (1.0, 1.0));
    }
    Some(counted)
}

/// kg/m³ of mol/m³.
fn mass(moles: f64) -> f64 {
    moles * weight::CU / 1000.0
}

/// The first day with the panel on, or a spell on its way down, on which one possible year in ten passes the stop of that day.
fn first_over(model: &Model, counted: &Counted, schedule: &Schedule) -> Option<NaiveDate> {
    let mut ran = false;
    model.dates.iter().zip(counted.ranges(Quantity::Copper)).find_map(|(date, copper)| {
        let (level, day) = (schedule.level_on(*date)?, schedule.day_on(*date)?);
        ran |= level > 0;
        let over = day.limits.is_some_and(|limits| mass(copper.high) > limits.stop);
        (ran && over).then_some(*date)
    })
}

/// What the possible years say of copper in the months of the forecast in which the panel may run.
pub(super) fn months(
    desk: &mut Desk<'_>,
    model: &Model,
    schedule: Option<&Schedule>,
    limits: Option<&CopperLimits>,
    counted: Option<&Counted>,
    months: &[Month],
) -> Option<CopperYear> {
    let (schedule, limits, counted) = (schedule?, limits?, counted?);
    let copper: Vec<f64> = counted.ranges(Quantity::Copper).map(|r| mass(r.high)).collect();
    let hardness: Vec<f64> = counted.ranges(Quantity::Hardness).map(|r| r.low).collect();
    let calcium: Vec<f64> = counted.ranges(Quantity::Calcium).map(|r| r.low).collect();
    let mut found = Vec::new();
    for month in months {
        let days: Vec<(usize, NaiveDate, u32)> = model
            .dates
            .iter()
            .enumerate()
            .filter(|(_, date)| **date >= month.first && **date <= month.last)
            .filter_map(|(index, date)| Some((index, *date, schedule.level_on(*date)?)))
            .collect();
        let highest = days.iter().map(|d| d.2).max().unwrap_or(0);
        let running = days.iter().filter(|d| d.2 > 0);
        let value = |list: &[f64], index: usize| list.get(index).copied().unwrap_or(0.0);
        let shield = |index: usize| value(&hardness, index).max(edges().0).min(2.0 * value(&calcium, index));
        let least = running.min_by(|a, b| shield(a.0).total_cmp(&shield(b.0)));
        let most = days.iter().max_by(|a, b| value(&copper, a.0).total_cmp(&value(&copper, b.0)));
        let (Some(least), Some(most), Some(first), Some(last)) = (least, most, days.first(), days.last()) else {
            continue;
        };
        let usual = (0..=highest).max_by_key(|level| days.iter().filter(|d| d.2 == *level).count()).unwrap_or(0);
        let (tag, at, name) = month.names();
        let count = |(day, date): (usize, NaiveDate), tenth: Tenth| Count {
            counted,
            day,
            evening: format!("the evening of {date}"),
            tenth,
        };
        let softest = count((least.0, least.1), Tenth::One);
        // Moles of charge to mg/L of CaCO3.
        let counted_as = |charge: f64| 0.5 * charge * CACO3;
        let pure = "A pure number: mg/L counted as CaCO\u{2083}";
        let title = format!("Calcium hardness in {name}, one possible year in ten at or under it");
        let hard: Figure<Ratio> = softest
            .figure(Quantity::Calcium, ("h", &format!("Ca,{at}"), "calcium hardness", &ONE), |c| counted_as(2.0 * c))
            .named(format!("copper.calcium-{tag}"), &title, &format!("h_Ca,{at}"), &ONE)
            .remark(pure);
        let soft = value(&hardness, least.0) < edges().0;
        let title = if soft {
            format!("Alkalinity in {name}: the edge of the window, for under it the panel is off")
        } else {
            format!("Alkalinity in {name}, one possible year in ten at or under it")
        };
        let alkaline = if soft {
            Figure::cited(counted_as(edges().0), "a_edge", "edge of the window", &ONE, &WINDOW)
        } else {
            softest.figure(Quantity::Hardness, ("a", &at, "alkalinity", &ONE), counted_as)
        };
        let alkaline =
            alkaline.named(format!("copper.alkalinity-{tag}"), &title, &format!("a_{at}"), &ONE).remark(pure);
        let Some(shield) = minimum(&[alkaline, hard]) else { continue };
        let title = format!("The lower protection of the two in {name}");
        let shield = shield.named(format!("copper.protection-{tag}"), &title, &format!("p_{at}"), &ONE);
        let Some(stop) = limits.stop_at(&shield) else { continue };
        let title = format!("Lowest stop of {name}: total copper");
        let stop = stop.named(format!("copper.stop-{tag}"), &title, &format!("C_stop,{at}"), &COPPER);
        let title = format!("Most copper in {name}, nine possible years in ten at or under it");
        let highest_year = count((most.0, most.1), Tenth::Nine);
        let what = ("C", &*format!("90,{at}"), "total copper", &COPPER);
        let most: Figure<MassConcentration> = highest_year.figure(Quantity::Copper, what, mass);
        let most = most.named(format!("copper.most-{tag}"), &title, &format!("C_90,{at}"), &COPPER).remark(
            "Each possible year is the daily balance with the panel as the schedule has it, and loss of copper anywhere in its range",
        );
        let stop = desk.book.publish(stop);
        found.push(CopperMonth {
            days: (first.1, last.1),
            levels: (usual, highest),
            most: desk.book.publish(most),
            stop,
        });
    }
    let visit = desk.site.next_visit.as_ref().map(|visit| visit.value);
    let mut stops = vec![limits.stop.clone()];
    let until = |month: &&CopperMonth| visit.is_none_or(|visit| month.days.0 <= visit);
    stops.extend(found.iter().filter(until).map(|month| month.stop.clone()));
    let title = if visit.is_some() { "Lowest stop until the next visit" } else { "Lowest stop of the year" };
    let stop = minimum(&stops)?.named("copper.stop-season", title, "C_stop,season", &COPPER);
    let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
    let watch = rounding::copper_limit(&(&stop * &half)).named(
        "copper.watch-season",
        "Watch until then: half of it",
        "C_watch,season",
        &COPPER,
    );
    Some(CopperYear { months: found, stop: desk.book.publish(stop), watch: desk.book.publish(watch) })
}
