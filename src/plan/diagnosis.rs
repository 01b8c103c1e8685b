//! Why the panel does not reach its level: what the log says for and against each cause, and the electrical reason.
//!
//! Causes and signs are rows of [`crate::reference`]; this room sees the signs in site file and log, adds their weights up,
//! and works out what the cell lets through. A panel that reached seven tenths of its steps is good enough.

use chrono::NaiveDate;

use super::{Bars, Desk, Missing, VolumePlan, kinder};
use crate::chem::conductivity;
use crate::reference::{CAUSES, Cause, POND_TARGETS, SALT_ROUTINE, SEASON_CELSIUS, SIGNS, Sign, USABLE_SHARE};
use crate::site::{Panel, Visit};
use crate::units::table::{
    CELSIUS, CENTIMETRE, GRAM, INCH, LITRE, MICROSIEMENS, MILLIAMPERE, MILLIGRAMS, OHM, PER_CENTIMETRE, SECOND,
    US_GALLON, VOLT,
};
use crate::units::{
    CellConstant, Conductivity, ElectricCurrent, ElectricPotential, ElectricalResistance, Length, Mass,
    MassConcentration, Ratio, Si as _, System, ThermodynamicTemperature, Time, Volume, VolumeRate,
};
use crate::workings::Figure;

/// Share of the steps that is good enough when the panel is set to full (common practice).
const GOOD_SHARE: f64 = 0.7;
/// The pond passes the bars in two hours at most (common practice).
const SLOW_SECONDS: f64 = 2.0 * 3600.0;
/// A flow or a conductivity under this share of an earlier one has fallen.
const FALLEN: f64 = 0.85;
/// Colder by so many kelvins carries about a fifth less.
const COLDER: f64 = 8.0;

/// What was found when the panel was asked for more than it gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shortfall {
    /// The step it was set to.
    pub set: u32,
    /// The step it reached.
    pub reached: u32,
    /// The steps of the panel.
    pub steps: u32,
    /// The day.
    pub date: NaiveDate,
}

impl Shortfall {
    /// Whether what it reached is good enough: seven tenths of the steps, or the step it was set to.
    #[must_use]
    pub fn enough(&self) -> bool {
        self.reached >= self.set || f64::from(self.reached) >= GOOD_SHARE * f64::from(self.steps)
    }
}

/// A cause with what speaks for and against it.
#[derive(Clone, Debug)]
pub struct Ranked {
    /// Which.
    pub cause: &'static Cause,
    /// The sum of the weights.
    pub score: i32,
    /// Signs for it.
    pub speaks_for: Vec<&'static Sign>,
    /// Signs against it.
    pub speaks_against: Vec<&'static Sign>,
}

/// What the cell lets through.
#[derive(Clone, Debug)]
pub struct Cell {
    /// The most current at the water's own warmth; what the bars' surfaces take is left out, so it is at most this.
    pub most: Figure<ElectricCurrent>,
    /// Resistance of the cell, where its constant is known.
    pub resistance: Option<Figure<ElectricalResistance>>,
    /// The highest step with no more current than that.
    pub step: u32,
}

/// Minerals that a step wants, if too few of them are the cause.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The step: the lowest that is good enough.
    pub step: u32,
    /// Conductivity it would take.
    pub conductivity: Figure<Conductivity>,
    /// Salt for it; `None` where that would pass the routine limit of salt or the highest conductivity, or where the plan
    /// adds salt of its own.
    pub salt: Option<Figure<Mass>>,
}

/// The diagnosis of a panel that fell short.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    /// What it fell short of.
    pub short: Shortfall,
    /// The causes with anything for them, the likeliest first; flow and minerals where nothing points anywhere.
    pub causes: Vec<Ranked>,
    /// The electrical reason, where the site file tells enough.
    pub cell: Option<Cell>,
    /// What minerals would take, where conductivity was read that day.
    pub wanted: Option<Wanted>,
    /// Worked examples of measuring the flow.
    pub examples: Examples,
}

/// How flow past the bars is measured, with numbers.
#[derive(Clone, Debug)]
pub struct Examples {
    /// A bucket, how long it took to fill, and the flow.
    pub bucket: (Volume, Time, Figure<VolumeRate>),
    /// Water over a 90° notch, and the flow.
    pub notch: (Length, Figure<VolumeRate>),
}

/// The last time the panel was asked for something and said what it gave.
#[must_use]
pub fn last_answer(desk: &Desk<'_>) -> Option<Shortfall> {
    let steps = desk.site.panel.as_ref()?.steps;
    desk.site.visits.iter().rev().find_map(|visit| answer(visit, steps))
}

fn answer(visit: &Visit, steps: u32) -> Option<Shortfall> {
    let (set, reached) = match (&visit.full_reached, &visit.level_set, &visit.level_reached) {
        (Some(full), _, _) => (steps, full.value),
        // A low level that was reached says nothing of the levels above it.
        (None, Some(set), Some(reached)) if set.value == steps || reached.value < set.value => {
            (set.value, reached.value)
        }
        _ => return None,
    };
    Some(Shortfall { set, reached, steps, date: visit.date })
}

/// The diagnosis, where the panel's last answer fell short. `highest`: the most conductivity there should be, S/m; `salted`:
/// the plan adds salt of its own.
pub fn find(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    bars: &Bars,
    flow: Option<&(Figure<VolumeRate>, Figure<Time>)>,
    highest: Option<f64>,
    salted: bool,
) -> Option<Diagnosis> {
    let short = last_answer(desk).filter(|s| !s.enough())?;
    let panel = desk.site.panel.clone()?;
    let visit = desk.site.visits.iter().find(|v| v.date == short.date)?;
    let cell = cell(desk, &panel, visit);
    let signs: Vec<&'static Sign> =
        SIGNS.iter().filter(|sign| seen(desk, sign.key, &panel, visit, &short, bars, flow, cell.as_ref())).collect();
    let mut causes: Vec<Ranked> = CAUSES
        .iter()
        .map(|cause| {
            let weight = |sign: &Sign| sign.weighs.iter().find(|(key, _)| *key == cause.key).map_or(0, |(_, w)| *w);
            Ranked {
                cause,
                score: signs.iter().map(|s| i32::from(weight(s))).sum(),
                speaks_for: signs.iter().copied().filter(|s| weight(s) > 0).collect(),
                speaks_against: signs.iter().copied().filter(|s| weight(s) < 0).collect(),
            }
        })
        .filter(|r| r.score > 0 || (matches!(r.cause.key, "strainer" | "minerals") && r.score == 0))
        .collect();
    // The table's own order settles ties.
    causes.sort_by_key(|r| std::cmp::Reverse(r.score));
    if cell.is_none() {
        desk.miss(Missing::new(
            "what the bars let through",
            "`voltage_limit` of the panel, and the current it drives when it can give no more, with the conductivity of that day",
        ));
    }
    let wanted = wanted(desk, volume, &panel, visit, &short, highest, salted);
    let examples = examples(desk);
    Some(Diagnosis { short, causes, cell, wanted, examples })
}

/// A bucket of the reader's size in eight seconds, and eight centimetres (three inches) over a notch.
fn examples(desk: &mut Desk<'_>) -> Examples {
    let (size, unit) = if desk.system == System::Us { (5.0, &US_GALLON) } else { (20.0, &LITRE) };
    let bucket: Figure<Volume> = Figure::counted(size, "V_ex", "a bucket, as an example", unit);
    let time: Figure<Time> = Figure::counted(8.0, "t_ex", "time to fill it, as an example", &SECOND);
    let (head, unit) = if desk.system == System::Us { (3.0, &INCH) } else { (8.0, &CENTIMETRE) };
    let head: Figure<Length> = Figure::counted(head, "H_ex", "head over a notch, as an example", unit);
    let rate =
        crate::water::flow::bucket(["flow.example-bucket", "Example: flow by that bucket", "Q_bucket"], &bucket, &time);
    let over = crate::water::flow::notch(["flow.example-notch", "Example: flow over that notch", "Q_notch"], &head);
    Examples {
        bucket: (bucket.value(), time.value(), desk.book.publish(rate)),
        notch: (head.value(), desk.book.publish(over)),
    }
}

/// Whether a sign is seen. What was not measured is not seen.
#[expect(clippy::too_many_arguments, reason = "all that is known of the panel, for one table of signs")]
fn seen(
    desk: &Desk<'_>,
    key: &str,
    panel: &Panel,
    visit: &Visit,
    short: &Shortfall,
    bars: &Bars,
    flow: Option<&(Figure<VolumeRate>, Figure<Time>)>,
    cell: Option<&Cell>,
) -> bool {
    let visits = &desk.site.visits;
    let logged =
        || visits.iter().filter(|v| v.date <= visit.date).filter_map(|v| v.flow.as_ref()).map(|f| f.value.si());
    let now = logged().next_back().or(flow.map(|f| f.0.si()));
    let least = panel.least_flow.as_ref().map(|f| f.value.si());
    let slow = flow.is_some_and(|(_, turnover)| turnover.si() > SLOW_SECONDS);
    let under = now.zip(least).is_some_and(|(now, least)| now < least);
    let state = || {
        let told = visits.iter().rev().filter(|v| v.date <= visit.date).find_map(|v| v.bar_state.as_deref());
        told.unwrap_or("").to_lowercase()
    };
    let conductivity = |v: &Visit| v.pond.conductivity.as_ref().filter(|r| !r.less_than).map(|r| r.value.si());
    let warmth = |v: &Visit| v.pond.temperature.as_ref().map(|r| CELSIUS.of(r.value.si()));
    // Visits at which the panel gave more steps than at the one in question.
    let better = || {
        visits
            .iter()
            .filter(|v| v.date != visit.date && answer(v, panel.steps).is_some_and(|a| a.reached > short.reached))
    };
    let left = || {
        let mass = visits.iter().rev().filter(|v| v.date <= visit.date).find_map(|v| v.bar_mass.as_ref())?;
        let new = desk.site.bars.as_ref()?.new_mass.value.si();
        let usable = desk.site.bars.as_ref()?.usable_share.as_ref().map_or(USABLE_SHARE, |s| s.value.si());
        (new > 0.0).then(|| (mass.value.si() / new, 1.0 - usable))
    };
    match key {
        "flow-under-least" => under,
        "flow-slow" => slow && !under,
        "flow-fell" => {
            logged().reduce(f64::max).zip(logged().next_back()).is_some_and(|(best, now)| now < FALLEN * best)
        }
        "flow-good" => flow.is_some() && !slow && !under,
        "green-bars" => state().contains("green"),
        "white-bars" => state().contains("white") || state().contains("lime"),
        "clean-bars" => state().contains("bright") || state().contains("clean"),
        "thin-bars" => state().contains("thin") || state().contains("waist"),
        "bars-used-up" => left().is_some_and(|(left, least)| left <= least),
        "bars-heavy" => left().is_some_and(|(left, least)| left >= 0.5 * (1.0 + least)),
        "minerals-under-least" | "minerals-over-least" => conductivity(visit)
            .zip(panel.least_conductivity.as_ref())
            .is_some_and(|(now, least)| (now < least.value.si()) == (key == "minerals-under-least")),
        "minerals-fell" => {
            conductivity(visit).is_some_and(|now| better().filter_map(conductivity).any(|then| now < FALLEN * then))
        }
        "reached-with-less" => {
            conductivity(visit).is_some_and(|now| better().filter_map(conductivity).any(|then| then <= now * 1.02))
        }
        "voltage-binds" => cell.is_some_and(|c| c.step < wanted_step(short)),
        "voltage-to-spare" => cell.is_some_and(|c| c.step >= wanted_step(short)),
        "colder-than-when-reached" => {
            warmth(visit).is_some_and(|now| better().filter_map(warmth).any(|then| now < then - COLDER))
        }
        "bars-lose-less" => bars.witness.as_ref().is_some_and(|w| w.lost.si() < 0.7 * w.explained_least.si()),
        _ => false,
    }
}

/// What the site file tells of the water between the bars.
enum Told {
    /// Cell constant and highest voltage.
    Cell(Figure<CellConstant>, Figure<ElectricPotential>),
    /// A current that was read while the panel could give no more, and that day's conductivity.
    Pair(Figure<ElectricCurrent>, Figure<Conductivity>),
}

fn told(desk: &Desk<'_>, panel: &Panel) -> Option<Told> {
    match (&panel.cell_constant, &panel.voltage_limit, &panel.measured) {
        (Some(constant), Some(voltage), _) => Some(Told::Cell(
            Figure::stated(constant.value, "k_cell", "cell constant", &PER_CENTIMETRE, &desk.place(constant.span)),
            Figure::stated(voltage.value, "U_max", "highest voltage", &VOLT, &desk.place(voltage.span)),
        )),
        (_, _, Some((current, conductivity))) => {
            let title = "current read while the panel could give no more";
            let place = desk.place(conductivity.span);
            Some(Told::Pair(
                Figure::stated(current.value, "I_read", title, &MILLIAMPERE, &desk.place(current.span)),
                Figure::stated(conductivity.value, "κ_read", "conductivity of that day", &MICROSIEMENS, &place),
            ))
        }
        _ => None,
    }
}

/// The least conductivity at which the panel reaches a step that is good enough: what its maker states, else what its cell and
/// voltage make of the coldest water it runs in, else a current that was read, in proportion. `None` where nothing tells.
pub(super) fn least_conductivity(desk: &Desk<'_>) -> Option<Figure<Conductivity>> {
    let panel = desk.site.panel.as_ref()?;
    if let Some(least) = &panel.least_conductivity {
        let place = desk.place(least.span);
        return Some(Figure::stated(least.value, "κ_min", "least conductivity of the panel", &MICROSIEMENS, &place));
    }
    let step = (1..=panel.steps).find(|step| f64::from(*step) >= GOOD_SHARE * f64::from(panel.steps))?;
    let current = *panel.currents.get(usize::try_from(step).ok()?.checked_sub(1)?)?;
    let place = desk.place(panel.span);
    let title = format!("current at step {step}");
    let current: Figure<ElectricCurrent> = Figure::stated(current, &format!("I_{step}"), &title, &MILLIAMPERE, &place);
    let least: Figure<Conductivity> = match told(desk, panel)? {
        Told::Cell(constant, voltage) => {
            let title = "coldest water the panel runs in, common practice";
            let cold: Figure<ThermodynamicTemperature> = Figure::counted(SEASON_CELSIUS, "θ_cold", title, &CELSIUS);
            let here: Figure<uom::si::f64::ElectricalConductivity> = (current * constant / voltage).meaning();
            (here / conductivity::warmth_share(&cold)).meaning()
        }
        Told::Pair(read, then) => {
            let share: Figure<Ratio> = current / read;
            then * share
        }
    };
    let title = format!("Least conductivity at which step {step} is reached");
    Some(least.named("panel.least-conductivity", &title, "κ_min", &MICROSIEMENS))
}

/// The lowest step that is good enough.
fn wanted_step(short: &Shortfall) -> u32 {
    let good = (1..=short.steps).find(|step| f64::from(*step) >= GOOD_SHARE * f64::from(short.steps));
    good.unwrap_or(short.steps).min(short.set.max(short.reached + 1))
}

/// What the cell lets through at that visit's conductivity and warmth.
fn cell(desk: &mut Desk<'_>, panel: &Panel, visit: &Visit) -> Option<Cell> {
    if panel.currents.is_empty() {
        return None;
    }
    let reading = visit.pond.conductivity.as_ref().filter(|r| !r.less_than)?;
    let at_25 = kinder::leaf(desk, reading, "κ_25", "conductivity that day, at 25\u{a0}°C", &MICROSIEMENS);
    let (most, resistance) = match told(desk, panel)? {
        Told::Cell(constant, voltage) => {
            let warm = visit.pond.temperature.as_ref()?;
            let here = conductivity::at_temperature(&at_25, &kinder::temperature(desk, warm));
            let resistance = (constant / here).meaning::<ElectricalResistance>().named(
                "panel.resistance",
                "Resistance between the bars that day",
                "R",
                &OHM,
            );
            let resistance = desk.book.publish(resistance);
            ((voltage / resistance.clone()).meaning::<ElectricCurrent>(), Some(resistance))
        }
        Told::Pair(current, then) => (current * (at_25 / then), None),
    };
    let most = most.named("panel.most-current", "Most current the water lets through", "I_most", &MILLIAMPERE);
    let step = panel.currents.iter().take_while(|c| c.si() <= most.si() * (1.0 + 1e-9)).count();
    Some(Cell { most: desk.book.publish(most), resistance, step: u32::try_from(step).unwrap_or(u32::MAX) })
}

/// What minerals it takes to a step that is good enough, if the current is held back by nothing else: it grows with
/// conductivity.
fn wanted(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    panel: &Panel,
    visit: &Visit,
    short: &Shortfall,
    highest: Option<f64>,
    salted: bool,
) -> Option<Wanted> {
    let step = wanted_step(short);
    let current = |step: u32| panel.currents.get(usize::try_from(step).ok()?.checked_sub(1)?).copied();
    let (needs, gave) = (current(step)?, current(short.reached)?);
    let reading = visit.pond.conductivity.as_ref().filter(|r| !r.less_than)?;
    let now = kinder::leaf(desk, reading, "κ_25", "conductivity that day, at 25\u{a0}°C", &MICROSIEMENS);
    let place = desk.place(panel.span);
    let of = |value: ElectricCurrent, step: u32| -> Figure<ElectricCurrent> {
        Figure::stated(value, &format!("I_{step}"), &format!("current at step {step}"), &MILLIAMPERE, &place)
    };
    let share: Figure<Ratio> = of(needs, step) / of(gave, short.reached);
    let needed = (now.clone() * share).named(
        "panel.conductivity",
        &format!("Conductivity that step {step} would take, if minerals are the cause"),
        "κ_need",
        &MICROSIEMENS,
    );
    let needed = desk.book.publish(needed);
    let salt = conductivity::salt_for(&(needed.clone() - now));
    let most: Figure<MassConcentration> =
        Figure::cited(SALT_ROUTINE * 1000.0, "c_salt,max", "salt at most, as routine", &MILLIGRAMS, &POND_TARGETS);
    let bearable = !salted && salt.si() <= most.si() && highest.is_none_or(|most| needed.si() <= most);
    let salt = bearable.then(|| {
        let mass = (salt * volume.low.clone()).meaning::<Mass>();
        desk.book.publish(mass.named("panel.salt", "Salt for that, in all", "m_panel", &GRAM))
    });
    Some(Wanted { step, conductivity: needed, salt })
}
