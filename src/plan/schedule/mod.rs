//! The output-level schedule: low nearly all year, short raised spells sized by volume, current and limits.

mod by_test;
mod days;
mod fitted;
mod loss;
mod spell;

use chrono::NaiveDate;
use uom::si::f64::{Frequency, MassRate};

pub use self::by_test::{AFTERWARDS, ByTest, TESTS, by_test};
use self::days::{Calendar, Resting, Shape};
pub use self::days::{Day, place};
pub use self::fitted::CopperTold;
use self::loss::{dissolved_share, loss};
use self::spell::{Names, Raised, Room, held_step, spell_at};
use super::correction::day;
use super::{
    Again, Assumption, CopperLimits, Correction, Desk, LossOrigin, Missing, Outlook, Side, Verdict, VolumePlan, Watch,
    Word, kinder, readings, rounding,
};
use crate::chem::copper as electrolysis;
use crate::reference::{COPPER_COLD, LASTING_DAYS, SEASON_CELSIUS, SPELL_DAYS, SPELL_GAP_DAYS, SPELLS, WINDOW_LOW_DKH};
use crate::units::table::{CELSIUS, COPPER, DAYS, DEGREE_KH, GRAMS_PER_DAY, MICROGRAMS, MILLIAMPERE, PER_DAY};
use crate::units::{ElectricCurrent, MassConcentration, Si, ThermodynamicTemperature, Time};
use crate::water::copper as balance;
use crate::workings::{Figure, Way, maximum};

/// A raised spell: offered when algae appears, not before a day, for so many days at most.
#[derive(Clone, Debug)]
pub struct Spell {
    /// Not before.
    pub not_before: NaiveDate,
    /// Last day at the raised level, if it starts on that day.
    pub last: NaiveDate,
    /// The day to turn back.
    pub back: NaiveDate,
    /// Its level.
    pub level: u32,
    /// Days it lasts at most.
    pub days: Figure<Time>,
    /// Copper on its last day, the most it may come to.
    pub end: Figure<MassConcentration>,
    /// Mean over 28 days with it in them, in the form of the lasting limit.
    pub mean: Figure<MassConcentration>,
}

/// Copper day by day from the plan's date, by the corners of volume and loss, kg/m³.
#[derive(Clone, Debug, Default)]
pub struct CopperPath {
    /// Least of the range.
    pub low: Vec<f64>,
    /// Middle.
    pub middle: Vec<f64>,
    /// Most of the range.
    pub high: Vec<f64>,
}

/// How long a step may stay raised, if it is raised from a spell's gate.
#[derive(Clone, Debug)]
pub struct HeldStep {
    /// The step.
    pub level: u32,
    /// Days, and what copper comes to on the last of them at most; `None` where it may not stay a day.
    pub held: Option<(Figure<Time>, Figure<MassConcentration>)>,
    /// Days after that until copper is within a tenth of its resting value.
    pub back: Option<Figure<Time>>,
}

/// The schedule.
#[derive(Clone, Debug)]
pub struct Schedule {
    /// The plan's date, its first day.
    pub first: NaiveDate,
    /// Number of steps of the panel.
    pub steps: u32,
    /// The level of the year round.
    pub holding: u32,
    /// The spells of the next twelve months.
    pub spells: Vec<Spell>,
    /// Why none is offered: `no-step`, `none-left`.
    pub no_spell: Option<&'static str>,
    /// Resting copper at the holding level, the most it may come to.
    pub rest_most: Option<Figure<MassConcentration>>,
    /// The least it may come to.
    pub rest_least: Option<Figure<MassConcentration>>,
    /// Copper a spell may start from: its gate.
    pub spell_start: Option<Figure<MassConcentration>>,
    /// The same, whether or not a spell is planned.
    pub spell_gate: Figure<MassConcentration>,
    /// Where the loss of copper comes from.
    pub loss: LossOrigin,
    /// What the tests of the log tell of release and loss.
    pub told: Option<CopperTold>,
    /// Least and most loss at 20 °C, 1/day.
    pub loss_range: (f64, f64),
    /// For every step above the holding level: how long it may stay raised from the gate of a spell.
    pub table: Vec<HeldStep>,
    /// The level on each of the 365 days from the plan's date, season and closed months kept.
    pub levels: Vec<u32>,
    /// These days, and four weeks more: whether the panel may run, and under which limits.
    pub days: Vec<Day>,
    /// Copper over the 365.
    pub path: CopperPath,
    /// The two constants of the kinder corner, for the safety check: loss 1/day at 8 °C.
    pub loss_kinder: f64,
    /// The same as a figure.
    pub loss_cold: Figure<Frequency>,
    /// Release a day at each level, kg.
    pub releases: Vec<f64>,
    /// Copper the first day starts from, kg/m³.
    pub start: f64,
    /// When the panel may run again, where copper stood at watch.
    pub again: Option<Again>,
}

impl Schedule {
    /// The day of a date, if it is one of the schedule's.
    #[must_use]
    pub fn index_of(&self, date: NaiveDate) -> Option<usize> {
        usize::try_from((date - self.first).num_days()).ok()
    }

    /// The highest level of its spells.
    #[must_use]
    pub fn raised(&self) -> Option<u32> {
        self.spells.iter().map(|spell| spell.level).max()
    }

    /// The spell whose end brings most copper.
    #[must_use]
    pub fn hardest_spell(&self) -> Option<&Spell> {
        self.spells.iter().max_by(|a, b| a.end.si().total_cmp(&b.end.si()))
    }

    /// All spells are of one level and one length.
    #[must_use]
    pub fn spells_alike(&self) -> bool {
        self.spells.windows(2).all(|pair| matches!(pair, [a, b] if a.level == b.level && a.days.si() == b.days.si()))
    }

    /// The first day with the panel on that the forecast has on one side of the window.
    #[must_use]
    pub fn first_doubt(&self, side: Side) -> Option<NaiveDate> {
        let index = self.levels.iter().zip(&self.days).position(|(level, day)| *level > 0 && day.side == Some(side))?;
        Some(day(self.first, index as u64))
    }

    /// The level on a date.
    #[must_use]
    pub fn level_on(&self, date: NaiveDate) -> Option<u32> {
        self.levels.get(self.index_of(date)?).copied()
    }

    /// What is known of a date.
    #[must_use]
    pub fn day_on(&self, date: NaiveDate) -> Option<&Day> {
        self.days.get(self.index_of(date)?)
    }

    /// Leaves the panel at zero from a date on, for so many days.
    pub(super) fn pause(&mut self, from: NaiveDate, days: usize) {
        if let Some(from) = self.index_of(from) {
            self.levels.iter_mut().skip(from).take(days).for_each(|level| *level = 0);
        }
    }

    /// Takes a spell out: its days go back to the holding level.
    pub(super) fn drop_spell(&mut self, which: usize) {
        if which >= self.spells.len() {
            return;
        }
        let spell = self.spells.remove(which);
        if let (Some(from), Some(to)) = (self.index_of(spell.not_before), self.index_of(spell.back)) {
            for level in self.levels.iter_mut().take(to).skip(from) {
                *level = self.holding;
            }
        }
        if self.spells.is_empty() {
            self.no_spell = Some("none-left");
            self.spell_start = None;
        }
    }
}

fn current(desk: &Desk<'_>, level: u32) -> Option<Figure<ElectricCurrent>> {
    let panel = desk.site.panel.as_ref()?;
    let index = usize::try_from(level).ok()?.checked_sub(1)?;
    let value = *panel.currents.get(index)?;
    Some(Figure::stated(
        value,
        &format!("I_{level}"),
        &format!("current at step {level}"),
        &MILLIAMPERE,
        &desk.place(panel.span),
    ))
}

/// Copper freed a day at a step, where the site file gives its current.
pub(super) fn release(desk: &Desk<'_>, level: u32) -> Option<Figure<MassRate>> {
    let current = current(desk, level)?;
    let figure =
        electrolysis::release(&format!("copper.release-{level}"), &format!("Copper freed at step {level}"), &current);
    let figure = match &desk.efficiency {
        Some(more) => {
            let title = format!("Copper freed at step {level}, by the log more than the law asks for");
            (&figure * more).meaning::<MassRate>().named(format!("copper.freed-{level}"), &title, "w", &GRAMS_PER_DAY)
        }
        None => figure,
    };
    Some(figure.called(&format!("w_{level}")))
}

/// Level zero frees nothing.
fn no_release() -> Figure<MassRate> {
    let nothing: Figure<MassRate> = Figure::counted(0.0, "0", "nothing at level zero", &GRAMS_PER_DAY);
    nothing.named("copper.release-0", "Copper freed at level zero", "w_0", &GRAMS_PER_DAY)
}

fn temperature(celsius: f64, symbol: &str, title: &str) -> Figure<ThermodynamicTemperature> {
    Figure::counted(celsius, symbol, title, &CELSIUS)
}

/// The least loss of copper at 20 °C.
pub(super) fn slowest_loss(desk: &mut Desk<'_>, volume: &VolumePlan) -> Figure<Frequency> {
    loss(desk, volume).least
}

/// Chooses the schedule. Adds the panel's line to the verdict.
pub fn choose(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    limits: Option<&CopperLimits>,
    outlook: Option<&Outlook>,
    watch: Option<&Watch>,
    verdict: &mut Verdict,
) -> Option<Schedule> {
    let Some(panel) = &desk.site.panel else {
        desk.miss(Missing::new(
            "the panel",
            "its number of steps and the current at each, from its plate or an electrician's meter",
        ));
        verdict.add("panel", "panel-untold", Word::NotYet, "");
        return None;
    };
    if panel.flow_stop != Some(true) {
        verdict.add("panel", "no-flow-stop", Word::Yes, "");
    }
    let limits = limits?;
    // Where no current is known, `by_test` says what can be done.
    if panel.currents.is_empty() || !may_run(correction, verdict) {
        return None;
    }
    if panel.even_steps {
        desk.assume(Assumption::new(
            "Current at each step of the panel",
            "equal shares of the current at full scale",
            "an electrician's meter in the bar circuit, at every step",
            "the site file",
        ));
    }
    let steps = panel.steps;
    let holding = desk.site.practice.holding_level.as_ref().map_or(1, |l| l.value).min(steps);
    let ready = first_running_day(desk, correction, verdict);
    let loss = loss(desk, volume);
    let cold = temperature(SEASON_CELSIUS, "θ_cold", "coldest water the panel runs in, common practice");
    let warm = temperature(20.0, "θ_warm", "water of summer");
    let title = |end: &str, celsius: f64| format!("{end} loss in water of {}", rounding::warmth(celsius, desk.system));
    let least = balance::loss_at("copper.loss-cold", &title("Least", SEASON_CELSIUS), &loss.least, &cold)
        .called("k_cold")
        .from_source(&COPPER_COLD);
    let most = balance::loss_at("copper.loss-warm", &title("Most", 20.0), &loss.most, &warm).called("k_warm");
    let hold = if holding == 0 { no_release() } else { release(desk, holding)? };
    let rest_most =
        balance::resting("copper.rest-most", "Resting copper, at most", &hold, &volume.low, &least, &COPPER)
            .called("C_rest,high");
    let rest_least =
        balance::resting("copper.rest-least", "Resting copper, at least", &hold, &volume.high, &most, &COPPER)
            .called("C_rest,low");
    let dissolved = dissolved_share(desk);
    let lasting_form = match &dissolved {
        Some(share) => {
            (&rest_most * share).named("copper.rest-dissolved", "Of that, dissolved at most", "C_rest,d", &COPPER)
        }
        None => rest_most.clone(),
    };
    let hold = desk.book.publish(hold);
    let _ = desk.book.publish(electrolysis::rise(
        "copper.rise",
        &format!("Rise at step {holding} before losses"),
        &hold,
        &volume.low,
    ));
    desk.book.publish(rest_most.clone());
    desk.book.publish(rest_least.clone());
    if rest_most.si() >= limits.stop.si() || lasting_form.si() > limits.lasting.si() {
        // A measured loss settles it; an assumed one asks for the measurement first.
        match loss.origin {
            LossOrigin::Log => verdict.add("panel", "step-over-limit", Word::No, ""),
            LossOrigin::Assumed => {
                verdict.add("panel", "loss-untold", Word::NotYet, "");
                desk.miss(Missing::new(
                    "how fast copper leaves this water",
                    "under our eyes: lowest step for a few days, a laboratory copper test each second day, then off and again",
                ));
            }
        }
        return None;
    }
    let last = readings::fresh(desk, |r| r.total_copper.as_ref()).filter(|r| !r.less_than);
    let last = last.map(|r| kinder::leaf(desk, r, "C_now", "total copper, as read", &COPPER));
    // The spell before may have ended at stop six weeks ago; what is left of it is still on its way to rest.
    let gap: Figure<Time> = Figure::cited(SPELL_GAP_DAYS, "t_gap", "days between two spells at least", &DAYS, &SPELLS);
    let mut starts = vec![balance::after(&limits.stop, &rest_most, &least, &gap)];
    let from = watch.map(|w| w.end.clone()).or_else(|| last.clone());
    starts.extend(from.filter(|read| read.si() < limits.stop.si()));
    let start = maximum(&starts)?.rounded(Way::Up, 1.0, &MICROGRAMS).named(
        "copper.spell-start",
        "Copper a spell may start from, at most",
        "C_start",
        &COPPER,
    );
    if start.si() >= limits.stop.si() {
        verdict.add("panel", "step-over-limit", Word::NotYet, "");
        return None;
    }
    let room = Room { volume, limits, loss: least.clone(), start, rest: rest_most.clone(), dissolved };
    let release_si = |level: u32| release(desk, level).map_or(0.0, |r| GRAMS_PER_DAY.of(r.si()) / 1000.0);
    let releases: Vec<f64> = (0..=steps).map(release_si).collect();
    let kinder = Corner { volume: volume.low.si(), loss: PER_DAY.of(least.si()) };
    // At watch the panel stands at zero until copper is under it, and the mean over 28 days keeps its limit.
    let again = watch.map(|w| w.again(desk, &rest_most, &least, room.dissolved.as_ref(), limits));
    let ready = again.as_ref().map_or(ready, |again| again.day.max(ready));
    let calendar =
        Calendar::of(desk, limits, outlook, ready, Resting { total: rest_most.si(), lasting: lasting_form.si() });
    let mut quiet = super::advice::quiet_until(desk).unwrap_or(desk.date);
    if let Some(again) = &again {
        quiet = quiet.max(again.next_spell());
    }
    let wanted = desk.site.practice.spells.as_ref().map_or(3, |s| s.value);
    let at = |level: u32| releases.get(level as usize).copied().unwrap_or(0.0);
    let mut shapes: Vec<Shape> = Vec::new();
    for level in (holding + 1..=steps).rev() {
        let Some(found) = spell_at(desk, &room, level, &Names::of_spell(1), None) else { continue };
        let longest = found.days.in_unit(&DAYS) as u32;
        for days in (SPELL_DAYS.0..=longest).rev() {
            let Some(found) = spell_at(desk, &room, level, &Names::of_spell(1), Some(days)) else { continue };
            shapes.push(Shape {
                level,
                days: days as usize,
                path: kinder.path(room.start.si(), days, at(level), at(holding)),
                mean: found.mean.si(),
                gate: room.start.si(),
            });
        }
    }
    let spells = published_spells(desk, &room, &shapes, calendar.spells(&shapes, wanted, quiet));
    let no_spell = match (shapes.is_empty(), spells.is_empty()) {
        (true, _) => Some("no-step"),
        (false, true) => Some("none-left"),
        _ => None,
    };
    if !spells.is_empty() {
        desk.assume(Assumption::new(
            "When raised spells are offered",
            "three a year, six weeks apart at least, in the algae season",
            "the thread score of each visit",
            "common practice",
        ));
    }
    if outlook.is_none() {
        desk.assume(Assumption::new(
            "Months with water at 8\u{a0}°C or more",
            "April to October, for the drawing only",
            "three mornings' readings, which decide",
            "common practice",
        ));
    }
    let levels = calendar.levels(&spells, holding);
    let daily: Vec<f64> = levels.iter().map(|l| releases.get(*l as usize).copied().unwrap_or(0.0)).collect();
    let start_now = last.as_ref().map_or(0.0, Figure::si);
    let middle_loss =
        libm::sqrt(PER_DAY.of(loss.least.si()) * PER_DAY.of(loss.most.si())) * libm::pow(1.05, 14.0 - 20.0);
    let path = CopperPath {
        high: balance::daily(start_now, kinder.volume, kinder.loss, &daily),
        middle: balance::daily(start_now, volume.total.si(), middle_loss, &daily),
        low: balance::daily(start_now, volume.high.si(), PER_DAY.of(most.si()), &daily),
    };
    let spell_start = desk.book.publish(room.start.clone());
    let table = (holding + 1..=steps).map(|level| held_step(desk, &room, level)).collect();
    Some(Schedule {
        first: desk.date,
        steps,
        holding,
        spell_start: (!spells.is_empty()).then_some(spell_start.clone()),
        spells,
        no_spell,
        rest_most: Some(rest_most),
        rest_least: Some(rest_least),
        spell_gate: spell_start,
        loss: loss.origin,
        told: loss.told.clone(),
        loss_range: (PER_DAY.of(loss.least.si()), PER_DAY.of(loss.most.si())),
        table,
        levels,
        days: calendar.days,
        path,
        loss_kinder: kinder.loss,
        loss_cold: least,
        releases,
        start: start_now,
        again,
    })
}

/// Whether the panel may be told a level: only in water that is inside the window once the corrections are done, with nothing
/// unsettled that a level would rest on.
fn may_run(correction: &Correction, verdict: &Verdict) -> bool {
    let settled = !["authorisation-missing", "calcium-untested", "copper-high", "copper-over-stop"]
        .iter()
        .any(|k| verdict.has(k));
    let inside = correction.hardness_after.as_ref().is_some_and(|after| {
        after.si() >= DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9)
            && (!verdict.has("pond-hard") || correction.changes.is_some())
    });
    verdict.word != Word::No && settled && inside
}

/// The spells with their figures. Those of one level and length share them.
fn published_spells(
    desk: &mut Desk<'_>,
    room: &Room<'_>,
    shapes: &[Shape],
    placed: Vec<(NaiveDate, usize)>,
) -> Vec<Spell> {
    let mut made: Vec<(usize, Raised)> = Vec::new();
    let mut spells = Vec::new();
    for (start, which) in placed {
        let Some(shape) = shapes.get(which) else { continue };
        if !made.iter().any(|(of, _)| *of == which) {
            let names = Names::of_spell(made.len() + 1);
            let days = u32::try_from(shape.days).ok();
            let Some(found) = spell_at(desk, room, shape.level, &names, days) else { continue };
            let _ = release(desk, shape.level).map(|r| desk.book.publish(r));
            let found = Raised {
                days: desk.book.publish(found.days),
                end: desk.book.publish(found.end),
                mean: desk.book.publish(found.mean),
                cut: found.cut,
            };
            made.push((which, found));
        }
        let Some((_, found)) = made.iter().find(|(of, _)| *of == which) else { continue };
        let back = day(start, shape.days as u64);
        spells.push(Spell {
            not_before: start,
            last: back.pred_opt().unwrap_or(back),
            back,
            level: shape.level,
            days: found.days.clone(),
            end: found.end.clone(),
            mean: found.mean.clone(),
        });
    }
    spells
}

/// The first day the panel may run. What is not settled today has a date no earlier than the next visit, or two weeks on; cold
/// water, a week.
fn first_running_day(desk: &Desk<'_>, correction: &Correction, verdict: &Verdict) -> NaiveDate {
    let cold =
        readings::fresh(desk, |r| r.temperature.as_ref()).is_none_or(|t| CELSIUS.of(t.value.si()) < SEASON_CELSIUS);
    let corrected = ready_day(desk, correction);
    if verdict.word != Word::Yes || corrected > desk.date {
        let visit = desk.site.next_visit.as_ref().map_or_else(|| day(desk.date, 14), |d| d.value);
        return corrected.max(if verdict.word == Word::Yes { corrected } else { visit }).max(day(desk.date, 1));
    }
    if cold { day(desk.date, 7) } else { corrected }
}

/// The kinder corner: least water, slowest loss, m³ and 1/day.
#[derive(Clone, Copy)]
struct Corner {
    volume: f64,
    loss: f64,
}

impl Corner {
    /// The highest copper of each day of a spell that starts at its gate, and of the four weeks after it, kg/m³. It rises or falls
    /// all day, so that one of the day's ends is the highest.
    fn path(self, gate: f64, days: u32, raised: f64, holding: f64) -> Vec<f64> {
        let mut releases = vec![raised; days as usize];
        releases.resize(days as usize + LASTING_DAYS as usize, holding);
        let ends = balance::daily(gate, self.volume, self.loss, &releases);
        std::iter::once(gate).chain(ends.iter().copied()).zip(&ends).map(|(begins, ends)| begins.max(*ends)).collect()
    }
}

/// The first day the panel may run: two days after the last correction.
fn ready_day(desk: &Desk<'_>, correction: &Correction) -> NaiveDate {
    correction.last_day().map_or(desk.date, |d| day(d, 2))
}
