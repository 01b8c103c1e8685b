//! The output-level schedule: low nearly all year, short raised spells sized by volume, current and limits.

use chrono::{Datelike, NaiveDate};
use uom::si::f64::{Frequency, MassRate};

use super::correction::day;
use super::verdict::{south, tadpole_month};
use super::{
    Assumption, CopperLimits, Correction, Desk, LossOrigin, Missing, Verdict, VolumePlan, Word, kinder, readings,
    rounding,
};
use crate::chem::copper as electrolysis;
use crate::reference::{
    COPPER_LOSS, LASTING_DAYS, LOSS_RANGE, SEASON_CELSIUS, SPELL_DAYS, SPELL_GAP_DAYS, SPELLS, WINDOW_LOW_DKH,
};
use crate::site::{AnimalKind, Visit};
use crate::units::table::{CELSIUS, COPPER, DAYS, DEGREE_KH, GRAMS_PER_DAY, MICROGRAMS, MILLIAMPERE, ONE, PER_DAY};
use crate::units::{ElectricCurrent, MassConcentration, Ratio, Si, ThermodynamicTemperature, Time, Volume};
use crate::water::copper as balance;
use crate::workings::{Figure, Way, maximum, minimum};

/// A raised spell: offered when algae appears, not before a day, for so many days at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spell {
    /// Not before.
    pub not_before: NaiveDate,
    /// Last day at the raised level, if it starts on that day.
    pub last: NaiveDate,
    /// The day to turn back.
    pub back: NaiveDate,
}

/// Copper day by day for the drawing, kg/m³.
#[derive(Clone, Debug, Default)]
pub struct CopperPath {
    /// First day.
    pub first: Option<NaiveDate>,
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
    /// Number of steps of the panel.
    pub steps: u32,
    /// The level of the year round.
    pub holding: u32,
    /// The level of a spell.
    pub raised: Option<u32>,
    /// Days a spell lasts at most.
    pub spell_days: Option<Figure<Time>>,
    /// The spells of the next twelve months.
    pub spells: Vec<Spell>,
    /// Why none is offered: `current-unknown`, `no-step`, `none-left`.
    pub no_spell: Option<&'static str>,
    /// Resting copper at the holding level, the most it may come to.
    pub rest_most: Option<Figure<MassConcentration>>,
    /// The least it may come to.
    pub rest_least: Option<Figure<MassConcentration>>,
    /// Copper a spell may start from: its gate.
    pub spell_start: Option<Figure<MassConcentration>>,
    /// The same, whether or not a spell is planned.
    pub spell_gate: Figure<MassConcentration>,
    /// Copper on a spell's last day, the most it may come to.
    pub spell_end: Option<Figure<MassConcentration>>,
    /// Mean over 28 days with a spell in them, in the form of the lasting limit.
    pub spell_mean: Option<Figure<MassConcentration>>,
    /// Where the loss of copper comes from.
    pub loss: LossOrigin,
    /// For every step above the holding level: how long it may stay raised from the gate of a spell.
    pub table: Vec<HeldStep>,
    /// The level on each of the 365 days from the plan's date, season and closed months kept.
    pub levels: Vec<u32>,
    /// Copper over these days.
    pub path: CopperPath,
    /// Months the water is taken to be at 8 °C or more, for the drawing: the panel itself goes by test.
    pub season: (NaiveDate, NaiveDate),
    /// The two constants of the kinder corner, for the safety check: loss 1/day at 8 °C.
    pub loss_kinder: f64,
    /// Release a day at each level, kg.
    pub releases: Vec<f64>,
    /// Copper the first day starts from, kg/m³.
    pub start: f64,
}

/// The loss constants at 20 °C.
struct Loss {
    least: Figure<Frequency>,
    most: Figure<Frequency>,
    origin: LossOrigin,
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
    Some(figure.called(&format!("w_{level}")))
}

/// Level zero frees nothing.
fn no_release() -> Figure<MassRate> {
    let nothing: Figure<MassRate> = Figure::counted(0.0, "0", "nothing at level zero", &GRAMS_PER_DAY);
    nothing.named("copper.release-0", "Copper freed at level zero", "w_0", &GRAMS_PER_DAY)
}

/// One pair of visits between which the panel rested at one level, long enough for copper to rest too.
fn resting_pair(pair: &[Visit]) -> Option<(&Visit, &Visit, u32)> {
    let [before, now] = pair else { return None };
    let level = now.level_set.as_ref().map(|l| l.value).filter(|l| *l > 0)?;
    let left = before.level_left.as_ref().or(before.level_set.as_ref())?.value;
    let days = (now.date - before.date).num_days();
    (left == level && days >= 20 && now.pond.total_copper.as_ref().is_some_and(|c| !c.less_than))
        .then_some((before, now, level))
}

/// The loss that resting copper in the log shows: least of all pairs, by the kinder end of volume and warmth.
fn loss_from_log(desk: &Desk<'_>, volume: &VolumePlan) -> Option<Loss> {
    let reference = rounding::warmth(20.0, desk.system);
    let mut least: Vec<Figure<Frequency>> = Vec::new();
    let mut most: Vec<Figure<Frequency>> = Vec::new();
    for pair in desk.site.visits.windows(2) {
        let Some((before, now, level)) = resting_pair(pair) else { continue };
        let (Some(release), Some(copper)) = (release(desk, level), now.pond.total_copper.as_ref()) else { continue };
        let (Some(t1), Some(t2)) = (before.pond.temperature.as_ref(), now.pond.temperature.as_ref()) else { continue };
        if copper.value.si() <= 0.0 {
            continue;
        }
        let warm = if t1.value.si() > t2.value.si() { t1 } else { t2 };
        let cool = if t1.value.si() > t2.value.si() { t2 } else { t1 };
        let copper = kinder::leaf(desk, copper, &format!("C_log{}", now.line), "resting copper, total", &COPPER);
        let at = |volume: &Figure<Volume>, warmth: &crate::site::Reading<ThermodynamicTemperature>, end: &str| {
            let sub = format!("log{},{}", now.line, if end == "least" { "low" } else { "high" });
            let warmth = kinder::temperature(desk, warmth).called(&format!("θ_{sub}"));
            let growth = balance::growth(&warmth).named(
                format!("copper.growth-{}-{end}", now.line),
                &format!("Growth of the loss from {reference} to the pond's warmth"),
                &format!("φ_{sub}"),
                &ONE,
            );
            (&release / &(volume * &copper) / growth).meaning::<Frequency>().named(
                format!("copper.loss-{}-{end}", now.line),
                &format!("Loss at {reference} by log line {}, {end}", now.line),
                &format!("k_{sub}"),
                &PER_DAY,
            )
        };
        let low = at(&volume.high, warm, "least");
        // Copper that has not had three time constants may not be at rest, and would flatter the loss.
        let days = (now.date - before.date).num_days() as f64;
        if PER_DAY.of(low.si()) * days < 3.0 {
            continue;
        }
        most.push(at(&volume.low, cool, "most"));
        least.push(low);
    }
    let [least_title, most_title] = loss_titles(desk);
    let least = minimum(&least)?.named("copper.loss-least", &least_title, "k_least", &PER_DAY);
    let most = maximum(&most)?.named("copper.loss-most", &most_title, "k_most", &PER_DAY);
    Some(Loss { least, most, origin: LossOrigin::Log })
}

fn loss_titles(desk: &Desk<'_>) -> [String; 2] {
    ["Least", "Most"].map(|end| format!("{end} loss of copper at {}", rounding::warmth(20.0, desk.system)))
}

fn loss(desk: &mut Desk<'_>, volume: &VolumePlan) -> Loss {
    if let Some(loss) = loss_from_log(desk, volume) {
        return loss;
    }
    desk.assume(Assumption::new(
        "Loss of copper from the water",
        "0.1 to 1.0 a day at 20\u{a0}°C",
        "two copper tests with the panel at one level for three weeks",
        "common practice",
    ));
    let words = format!("loss a day at {}", rounding::warmth(20.0, desk.system));
    let [least_title, most_title] = loss_titles(desk);
    let end = |value: f64, id: &str, title: &str, symbol: &str| {
        let leaf: Figure<Frequency> = Figure::cited(value, symbol, &words, &PER_DAY, &COPPER_LOSS);
        leaf.named(id, title, symbol, &PER_DAY)
    };
    Loss {
        least: end(LOSS_RANGE.0, "copper.loss-least", &least_title, "k_least"),
        most: end(LOSS_RANGE.1, "copper.loss-most", &most_title, "k_most"),
        origin: LossOrigin::Assumed,
    }
}

/// The share of copper that is dissolved, the highest of the log; `None` when never measured.
fn dissolved_share(desk: &Desk<'_>) -> Option<Figure<Ratio>> {
    let shares: Vec<Figure<Ratio>> = desk
        .site
        .visits
        .iter()
        .filter_map(|v| {
            let total = v.pond.total_copper.as_ref().filter(|r| !r.less_than && r.value.si() > 0.0)?;
            let dissolved = v.pond.dissolved_copper.as_ref().filter(|r| !r.less_than)?;
            // At a few micrograms a rounding step decides the share; such pairs say nothing.
            if total.value.si() < 8e-6 {
                return None;
            }
            let total = kinder::leaf(desk, total, &format!("C_log{}", v.line), "total copper", &COPPER);
            let dissolved = kinder::leaf(desk, dissolved, &format!("C_d,log{}", v.line), "dissolved copper", &COPPER);
            Some((dissolved / total).meaning::<Ratio>())
        })
        .collect();
    Some(maximum(&shares)?.named("copper.dissolved-share", "Highest dissolved share in the log", "q_d", &ONE))
}

/// Months taken to have water at 8 °C or more: April to October, six months on in the south, all year within 35° of
/// the equator. For the drawing; the panel goes by test.
fn in_season(date: NaiveDate, desk: &Desk<'_>) -> bool {
    let degrees = desk.site.latitude.as_ref().map_or(50.0, |l| crate::units::table::DEGREE.of(l.value.si()));
    if degrees.abs() < 35.0 {
        return true;
    }
    let month = if degrees < 0.0 { (date.month() + 5) % 12 + 1 } else { date.month() };
    (4..=10).contains(&month)
}

fn closed(date: NaiveDate, desk: &Desk<'_>) -> bool {
    let breeding = desk.site.animals.iter().any(|a| a.kind == AnimalKind::BreedingAmphibians);
    breeding && tadpole_month(date.month(), south(desk))
}

/// The part of a spell, in days from its start, at which the worst 28 days begin: copper is then as high as it will be
/// 28 days on. Bare numbers: kg/m³, 1/day, days.
fn worst_start(start: f64, raised: f64, rest: f64, end: f64, loss: f64, days: f64) -> f64 {
    let up = |t: f64| raised + (start - raised) * libm::exp(-loss * t);
    let down = |t: f64| rest + (end - rest) * libm::exp(-loss * t);
    let mut best = (0.0, f64::MIN);
    let mut x = 0.0;
    while x <= days {
        // The integral of both parts, from their own closed form.
        let first = raised * (days - x) + (up(x) - raised) * (1.0 - libm::exp(-loss * (days - x))) / loss;
        let left = LASTING_DAYS - (days - x);
        let second = rest * left + (down(0.0) - rest) * (1.0 - libm::exp(-loss * left)) / loss;
        if first + second > best.1 {
            best = (x, first + second);
        }
        x += 0.25;
    }
    best.0
}

/// Mean over the worst 28 days around a spell of `days`: the rest of the raised part, then the way back to rest.
fn mean_with_spell(
    names: &Names,
    start: &Figure<MassConcentration>,
    raised: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    end: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
    days: &Figure<Time>,
) -> Figure<MassConcentration> {
    let offset = worst_start(start.si(), raised.si(), rest.si(), end.si(), PER_DAY.of(loss.si()), days.in_unit(&DAYS));
    let span: Figure<Time> = Figure::counted(LASTING_DAYS, "28", "averaging time of the lasting limit", &DAYS);
    let offset: Figure<Time> =
        Figure::counted(offset, &names.sub("t_x"), "day of the spell on which the worst 28 days begin", &DAYS);
    let first = days - &offset;
    let left = &span - &first;
    let from = balance::after(start, raised, loss, &offset).named(
        names.id("mean-from"),
        "Copper when the worst 28 days begin",
        &names.sub("C_x"),
        &COPPER,
    );
    let up = balance::mean(&from, raised, loss, &first).named(
        names.id("mean-up"),
        "Mean of the spell's part of them",
        &names.sub("C_up"),
        &COPPER,
    );
    let down = balance::mean(end, rest, loss, &left).named(
        names.id("mean-down"),
        "Mean of the days after it",
        &names.sub("C_down"),
        &COPPER,
    );
    let share: Figure<Ratio> = (&first / &span).meaning();
    let rest_share: Figure<Ratio> = (&left / &span).meaning();
    &up * &share + &down * &rest_share
}

struct Raised {
    level: u32,
    days: Figure<Time>,
    end: Figure<MassConcentration>,
    mean: Figure<MassConcentration>,
    /// The lasting mean asked for fewer days than stop.
    cut: bool,
}

/// What the lines of a spell are called.
struct Names {
    id: String,
    words: String,
    symbol: String,
}

impl Names {
    fn id(&self, part: &str) -> String {
        format!("{}-{part}", self.id)
    }

    fn symbol(&self, letter: &str) -> String {
        format!("{letter}_{}", self.symbol)
    }

    /// `C_x` of the plan's own spell, `C_x,4` of a row.
    fn sub(&self, symbol: &str) -> String {
        if self.symbol == "spell" { symbol.to_owned() } else { format!("{symbol},{}", self.symbol) }
    }
}

/// Days from the end of a spell until copper is within a tenth of its resting value, rounded up.
fn back_at_rest(
    level: u32,
    end: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
) -> Option<Figure<Time>> {
    let tenth: Figure<Ratio> = Figure::counted(0.1, "0.1", "a tenth of rest", &ONE);
    let near = rest * &tenth;
    if end.si() <= rest.si() + near.si() || rest.si() <= 0.0 {
        return None;
    }
    let ratio: Figure<Ratio> = ((end - rest) / &near).meaning();
    let days = (ratio.ln() / loss).meaning::<Time>().rounded(Way::Up, 1.0, &DAYS);
    let title = format!("Days after it until copper is within a tenth of rest, from step {level}");
    Some(days.named(format!("copper.level-{level}-rest"), &title, &format!("t_back,{level}"), &DAYS))
}

/// The rooms a spell has to fit: everything but the level.
struct Room<'r> {
    volume: &'r VolumePlan,
    limits: &'r CopperLimits,
    loss: Figure<Frequency>,
    start: Figure<MassConcentration>,
    rest: Figure<MassConcentration>,
    dissolved: Option<Figure<Ratio>>,
}

/// Longest spell at a level that keeps stop and the lasting mean, if it lasts a day at least. As the plan's own spell, or as
/// a row of the table of steps: the two have lines of their own.
fn spell_at(desk: &Desk<'_>, room: &Room<'_>, level: u32, own: bool) -> Option<Raised> {
    let names = if own {
        Names { id: "copper.spell".into(), words: "a spell".into(), symbol: "spell".into() }
    } else {
        let words = format!("a spell at step {level}");
        Names { id: format!("copper.level-{level}"), words, symbol: level.to_string() }
    };
    let release = release(desk, level)?;
    let raised = balance::resting(
        &format!("copper.raised-{level}"),
        &format!("Where copper heads at step {level}"),
        &release,
        &room.volume.low,
        &room.loss,
        &COPPER,
    )
    .called(&format!("C_rest,{level}"));
    let most: Figure<Time> = Figure::cited(f64::from(SPELL_DAYS.1), "t_max", "longest spell", &DAYS, &SPELLS);
    let reach = balance::days_to(&format!("copper.days-{level}"), &room.start, &raised, &room.limits.stop, &room.loss)
        .map(|days| days.called(&format!("t_stop,{level}")));
    if reach.is_none() && raised.si() > room.limits.stop.si() {
        return None;
    }
    let bounded = match reach {
        Some(reach) => minimum(&[reach, most])?,
        None => most,
    };
    let mut cut = false;
    let mut days = bounded.rounded(Way::Down, 1.0, &DAYS);
    // The lasting mean may ask for a shorter spell than stop does.
    loop {
        if days.in_unit(&DAYS) < 1.0 {
            return None;
        }
        let named =
            days.named(names.id("days"), &format!("Days of {} at most", names.words), &names.symbol("t"), &DAYS);
        let end = balance::after(&room.start, &raised, &room.loss, &named).named(
            names.id("end"),
            &if own {
                "Copper on the last day, at most".to_owned()
            } else {
                format!("Copper on the last day of {}, at most", names.words)
            },
            &names.symbol("C"),
            &COPPER,
        );
        let total = mean_with_spell(&names, &room.start, &raised, &room.rest, &end, &room.loss, &named);
        let mean = match &room.dissolved {
            Some(share) => &total * share,
            None => total,
        }
        .named(
            names.id("mean"),
            &format!("Mean over the worst 28 days around {}, at most", names.words),
            &names.sub("C_28"),
            &COPPER,
        );
        if mean.si() <= room.limits.lasting.si() && end.si() <= room.limits.stop.si() * (1.0 + 1e-12) {
            return Some(Raised { level, days: named, end, mean, cut });
        }
        let fewer = days.in_unit(&DAYS) - 1.0;
        cut = true;
        days = Figure::counted(fewer, "t_fewer", "days, fewer than stop allows, for the lasting mean", &DAYS);
    }
}

fn temperature(celsius: f64, symbol: &str, title: &str) -> Figure<ThermodynamicTemperature> {
    Figure::counted(celsius, symbol, title, &CELSIUS)
}

/// Chooses the schedule. Adds the panel's line to the verdict.
pub fn choose(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    limits: Option<&CopperLimits>,
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
    let settled = !["authorisation-missing", "calcium-untested", "copper-high", "copper-over-stop"]
        .iter()
        .any(|k| verdict.has(k));
    // The panel has a schedule only in water that is inside the window once the corrections are done.
    let after = correction.hardness_after.as_ref()?;
    let inside = after.si() >= DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9)
        && (!verdict.has("pond-hard") || correction.changes.is_some());
    if verdict.word == Word::No || !settled || !inside {
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
    if panel.currents.is_empty() {
        desk.miss(Missing::new(
            "current at each step of the panel",
            "an electrician's meter in the bar circuit, at every step; without it no level can be called safe",
        ));
        verdict.add("panel", "current-unknown", Word::NotYet, "");
        return None;
    }
    let steps = panel.steps;
    let holding = desk.site.practice.holding_level.as_ref().map_or(1, |l| l.value).min(steps);
    let first_day = desk.date;
    let levels_of = |desk: &Desk<'_>, spells: &[Spell], raised: u32, ready: NaiveDate| -> Vec<u32> {
        (0..365)
            .map(|i| {
                let date = day(first_day, i);
                if date < ready || !in_season(date, desk) || closed(date, desk) {
                    0
                } else if spells.iter().any(|s| date >= s.not_before && date < s.back) {
                    raised
                } else {
                    holding
                }
            })
            .collect()
    };
    let cold =
        readings::fresh(desk, |r| r.temperature.as_ref()).is_none_or(|t| CELSIUS.of(t.value.si()) < SEASON_CELSIUS);
    let pending = ready_day(desk, correction) > desk.date;
    // What is not settled today has a date no earlier than the next visit, or two weeks on; cold water, a week.
    let mut ready = ready_day(desk, correction);
    if verdict.word != Word::Yes || pending {
        let visit = desk.site.next_visit.as_ref().map_or_else(|| day(desk.date, 14), |d| d.value);
        ready = ready.max(if verdict.word == Word::Yes { ready } else { visit }).max(day(desk.date, 1));
    } else if cold {
        ready = day(desk.date, 7);
    }
    let season_ends = season_bounds(desk);
    let loss = loss(desk, volume);
    let cold = temperature(SEASON_CELSIUS, "θ_cold", "coldest water the panel runs in, common practice");
    let warm = temperature(20.0, "θ_warm", "water of summer");
    let title = |end: &str, celsius: f64| format!("{end} loss in water of {}", rounding::warmth(celsius, desk.system));
    let least =
        balance::loss_at("copper.loss-cold", &title("Least", SEASON_CELSIUS), &loss.least, &cold).called("k_cold");
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
    starts.extend(last.clone().filter(|read| read.si() < limits.stop.si()));
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
    let mut raised: Option<Raised> = None;
    let mut table = Vec::new();
    for level in (holding + 1..=steps).rev() {
        let found = spell_at(desk, &room, level, true);
        let days = found.as_ref().map(|r| r.days.in_unit(&DAYS) as u32);
        table.push(level);
        if raised.is_none()
            && let Some(found) = found
            && days.is_some_and(|d| d >= SPELL_DAYS.0)
        {
            raised = Some(found);
        }
    }
    table.reverse();
    let wanted = desk.site.practice.spells.as_ref().map_or(3, |s| s.value);
    let days = raised.as_ref().map_or(0, |r| r.days.in_unit(&DAYS) as u64);
    let spells = if raised.is_some() { spell_dates(desk, ready, days, wanted) } else { Vec::new() };
    let no_spell = match (&raised, spells.is_empty()) {
        (None, _) => Some("no-step"),
        (Some(_), true) => Some("none-left"),
        _ => None,
    };
    if spells.iter().any(|_| true) {
        desk.assume(Assumption::new(
            "When raised spells are offered",
            "three a year, six weeks apart at least, in the algae season",
            "the thread score of each visit",
            "common practice",
        ));
    }
    desk.assume(Assumption::new(
        "Months with water at 8\u{a0}°C or more",
        "April to October, for the drawing only",
        "three mornings' readings, which decide",
        "common practice",
    ));
    let raised_level = raised.as_ref().map_or(holding, |r| r.level);
    let levels = levels_of(desk, &spells, raised_level, ready);
    let releases: Vec<f64> =
        (0..=steps).map(|level| release(desk, level).map_or(0.0, |r| GRAMS_PER_DAY.of(r.si()) / 1000.0)).collect();
    let daily: Vec<f64> = levels.iter().map(|l| releases.get(*l as usize).copied().unwrap_or(0.0)).collect();
    let start_now = last.as_ref().map_or(0.0, Figure::si);
    let middle_loss =
        libm::sqrt(PER_DAY.of(loss.least.si()) * PER_DAY.of(loss.most.si())) * libm::pow(1.05, 14.0 - 20.0);
    let path = CopperPath {
        first: Some(first_day),
        high: balance::daily(start_now, volume.low.si(), PER_DAY.of(least.si()), &daily),
        middle: balance::daily(start_now, volume.total.si(), middle_loss, &daily),
        low: balance::daily(start_now, volume.high.si(), PER_DAY.of(most.si()), &daily),
    };
    let spell_start = desk.book.publish(room.start.clone());
    let table = table.into_iter().map(|level| held_step(desk, &room, level)).collect();
    let (spell_days, spell_end, spell_mean) = match raised.filter(|_| !spells.is_empty()) {
        Some(raised) => {
            let release = release(desk, raised.level);
            release.map(|r| desk.book.publish(r));
            (
                Some(desk.book.publish(raised.days)),
                Some(desk.book.publish(raised.end)),
                Some(desk.book.publish(raised.mean)),
            )
        }
        None => (None, None, None),
    };
    Some(Schedule {
        steps,
        holding,
        raised: spell_end.is_some().then_some(raised_level),
        spell_days,
        spells,
        no_spell,
        rest_most: Some(rest_most),
        rest_least: Some(rest_least),
        spell_start: spell_end.is_some().then_some(spell_start.clone()),
        spell_gate: spell_start,
        spell_end,
        spell_mean,
        loss: loss.origin,
        table,
        levels,
        path,
        season: season_ends,
        loss_kinder: PER_DAY.of(least.si()),
        releases,
        start: start_now,
    })
}

/// A row of the table of steps, with its lines.
fn held_step(desk: &mut Desk<'_>, room: &Room<'_>, level: u32) -> HeldStep {
    let Some(found) = spell_at(desk, room, level, false) else { return HeldStep { level, held: None, back: None } };
    let held = (desk.book.publish(found.days), desk.book.publish(found.end));
    if found.cut {
        desk.book.publish(found.mean);
    }
    let back = back_at_rest(level, &held.1, &room.rest, &room.loss).map(|days| desk.book.publish(days));
    HeldStep { level, held: Some(held), back }
}

/// The first day the panel may run: two days after the last correction.
fn ready_day(desk: &Desk<'_>, correction: &Correction) -> NaiveDate {
    let last = [
        correction.buffer.as_ref().and_then(|b| b.days.last()),
        correction.calcium.as_ref().and_then(|c| c.days.last()),
        correction.salt.as_ref().and_then(|s| s.days.last()),
        correction.changes.as_ref().and_then(|c| c.days.last()),
        correction.copper.as_ref().and_then(|c| c.days.last()),
    ]
    .into_iter()
    .flatten()
    .max()
    .copied();
    last.map_or(desk.date, |d| day(d, 2))
}

fn season_bounds(desk: &Desk<'_>) -> (NaiveDate, NaiveDate) {
    let days: Vec<NaiveDate> = (0..365).map(|i| day(desk.date, i)).filter(|d| in_season(*d, desk)).collect();
    (days.first().copied().unwrap_or(desk.date), days.last().copied().unwrap_or(desk.date))
}

/// Spells of the next twelve months: from 20 April, 22 June and 17 August (six months on in the south), then every six
/// weeks if more are wanted, kept clear of corrections and closed seasons.
fn spell_dates(desk: &Desk<'_>, ready: NaiveDate, days: u64, wanted: u32) -> Vec<Spell> {
    let starts: [(u32, u32); 4] = [(4, 20), (6, 22), (8, 17), (10, 1)];
    let mut found: Vec<Spell> = Vec::new();
    let mut candidates: Vec<NaiveDate> = Vec::new();
    for year in [desk.date.year() - 1, desk.date.year(), desk.date.year() + 1] {
        for (month, dom) in starts {
            let (month, year) = if south(desk) {
                ((month + 5) % 12 + 1, if month + 6 > 12 { year + 1 } else { year })
            } else {
                (month, year)
            };
            candidates.extend(NaiveDate::from_ymd_opt(year, month, dom));
        }
    }
    candidates.sort_unstable();
    let horizon = day(desk.date, 364);
    for start in candidates {
        let back = day(start, days);
        let fits = start >= ready && back <= horizon && in_season(start, desk) && in_season(back, desk);
        let open = (0..=days).all(|i| !closed(day(start, i), desk));
        let clear = found.last().is_none_or(|s| (start - s.back).num_days() >= SPELL_GAP_DAYS as i64);
        if fits && open && clear && (found.len() as u32) < wanted {
            found.push(Spell { not_before: start, last: day(back, 0).pred_opt().unwrap_or(back), back });
        }
    }
    found
}
