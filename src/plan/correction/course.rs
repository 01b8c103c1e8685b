//! What the doses do to the water, followed day by day at both hours of the pond's pH: so many days that no limit is passed, and what
//! the water is when all are in.

use std::rc::Rc;

use super::Correction;
use crate::chem::figures;
use crate::chem::solution::Water;
use crate::chem::treatment::{Day, DayLimits, Stage, course, ranges};
use crate::plan::{Desk, WaterPlan, kinder, readings, water};
use crate::reference::CARBONATE_CONSTANTS;
use crate::reference::chemistry::{Addition, COPPER};
use crate::units::table::{MICROSIEMENS, ONE, weight};
use crate::units::{Conductivity, Ph, Si};
use crate::workings::{Figure, Node};

/// The pond's water with its ammonia.
pub(super) fn with_ammonia(desk: &Desk<'_>, ions: &WaterPlan) -> Water {
    let mut water = ions.composed.water;
    if let Some(total) = readings::fresh(desk, |r| r.ammonia.as_ref()) {
        water.ammonia = nitrogen(ions, total.value.si());
    }
    water
}

/// mol/kg for so many kg of ammonia nitrogen in a cubic metre.
pub(super) fn nitrogen(ions: &WaterPlan, kilograms: f64) -> f64 {
    ions.molal(kilograms * 1000.0 / weight::N)
}

/// A water at the hour of its pH and, where the pond has a lower one, at that hour too: limits on a step of pH hold at both.
pub(super) fn hours(desk: &Desk<'_>, base: &Water) -> Vec<Water> {
    let mut out = vec![*base];
    let highest = readings::worst_ph(desk).map(|(ph, _)| ph.si());
    if let (Some(highest), Some(lowest)) = (highest, readings::lowest_ph(desk))
        && lowest.si() < highest
        && let Ok(now) = base.closed()
        && let Ok((low, _)) = Water::of_ph(base.celsius, base.totals, base.alkalinity, now.ph - (highest - lowest.si()))
    {
        out.push(Water { ammonia: base.ammonia, ..low });
    }
    out
}

/// What a step of pH rests on: the readings, with the lower pH beside the higher, and the doses.
pub(super) fn inputs<'n>(
    desk: &Desk<'_>,
    ions: &WaterPlan,
    doses: impl IntoIterator<Item = &'n Rc<Node>>,
) -> Vec<Rc<Node>> {
    let mut out = ions.inputs.clone();
    let highest = readings::worst_ph(desk).map(|(ph, _)| ph.si());
    if let Some(low) = readings::lowest_ph(desk).filter(|low| highest.is_some_and(|high| low.si() < high)) {
        out.push(low.called("pH_low").node().clone());
    }
    out.extend(doses.into_iter().cloned());
    out
}

/// The courses of a dose from each of several waters, in the same days.
pub(super) struct Courses {
    each: Vec<Vec<Day>>,
    /// Up to which drift the water's own way to the air counts on the first day.
    drift: f64,
}

impl Courses {
    /// So many equal doses of `each` mol/kg. At the lower hour of pH only what the doses do counts: the day itself takes the water from
    /// there to the higher one and back.
    fn of(waters: &[Water], substance: &Addition, each: f64, days: u32, drift: f64) -> Option<Self> {
        let drifts = std::iter::once(drift).chain(std::iter::repeat(0.0));
        let each = waters.iter().zip(drifts).map(|(water, drift)| course(water, substance, each, days, drift).ok());
        Some(Self { each: each.collect::<Option<_>>()?, drift })
    }

    /// The same days with other doses.
    pub fn with(&self, waters: &[Water], substance: &Addition, each: f64) -> Option<Self> {
        let days = u32::try_from(self.days()).ok()?;
        Self::of(waters, substance, each, days, self.drift)
    }

    /// How many.
    pub fn days(&self) -> usize {
        self.each.first().map_or(0, Vec::len)
    }

    /// Each day from each water.
    pub fn all(&self) -> impl Iterator<Item = &Day> {
        self.each.iter().flatten()
    }

    /// Each day from the first water: that of the higher pH.
    pub fn first(&self) -> &[Day] {
        self.each.first().map_or(&[], Vec::as_slice)
    }

    /// The largest move of pH by a dose.
    pub fn step(&self) -> f64 {
        self.all().map(Day::step).fold(0.0, f64::max)
    }

    /// The worst residual, and the steps of the last solution.
    pub fn solution(&self) -> (f64, u32) {
        let states = self.all().flat_map(|day| [&day.closed.state, &day.rest.state]);
        let residual = states.map(|state| state.residual.abs()).fold(0.0, f64::max);
        (residual, self.first().last().map_or(0, |day| day.closed.state.iterations))
    }

    /// A line of the largest move of pH.
    pub fn line(&self, names: [&str; 3], inputs: Vec<Rc<Node>>) -> Figure<Ph> {
        let [id, title, symbol] = names;
        let (residual, iterations) = self.solution();
        let figure = Figure::solved(Ph::from_si(self.step()), STEP, inputs, residual, iterations);
        figure.named(id, title, symbol, &ONE).from_source(&CARBONATE_CONSTANTS)
    }
}

/// The equation behind a step of pH.
pub(super) const STEP: &str = "K = C·(α₁ + 2 α₂) + OH − H, closed and at rest with air";
/// The most days a dose is spread over.
pub(super) const MOST_DAYS: u32 = 60;

/// The fewest equal days, `least` or more, in which so many mol/kg go into each of several waters without a day passing a limit;
/// `None` where [`MOST_DAYS`] are too few. Where the water's own drift to the air leaves no dose room in the first day's step, the
/// part made by the doses is what counts (Decisions).
pub(super) fn split(
    waters: &[Water],
    substance: &Addition,
    amount: f64,
    limits: &DayLimits,
    least: u32,
) -> Option<Courses> {
    let least = least.max(limits.fewest(substance, amount) as u32);
    if least > MOST_DAYS {
        return None;
    }
    let of = |days: u32, drift: f64| Courses::of(waters, substance, amount / f64::from(days), days, drift);
    for drift in [limits.ph, 0.0] {
        if of(MOST_DAYS, drift)?.step() > limits.ph {
            continue;
        }
        for days in least..=MOST_DAYS {
            let found = of(days, drift)?;
            if found.step() <= limits.ph {
                return Some(found);
            }
        }
    }
    None
}

/// The water as the doses go in, at the low volume: the most that each brings.
pub(super) struct Poured<'w> {
    pub ions: Option<&'w WaterPlan>,
    start: Option<Water>,
    /// As it is so far.
    pub water: Option<Water>,
    added: Vec<(&'static Addition, f64)>,
    doses: Vec<Rc<Node>>,
}

impl<'w> Poured<'w> {
    /// Before calcium and salt; with the buffer where that is planned.
    pub fn new(ions: Option<&'w WaterPlan>, start: Option<Water>, out: &Correction) -> Self {
        let mut poured = Self { ions, start, water: start, added: Vec::new(), doses: Vec::new() };
        if let Some(buffer) = &out.buffer {
            let rise = buffer.rise_most.si() * buffer.count.si();
            poured.pour(
                buffer.substance.id,
                rise / buffer.substance.charge,
                [buffer.rise_most.node(), buffer.count.node()],
            );
        }
        poured
    }

    /// So many mol/m³ of a substance of the site file, by these lines.
    pub fn pour<'n>(&mut self, substance: &str, per_cubic_metre: f64, lines: impl IntoIterator<Item = &'n Rc<Node>>) {
        let (Some(ions), Some(water), Some(addition)) = (self.ions, self.water, figures::addition_of(substance)) else {
            return;
        };
        let amount = ions.molal(per_cubic_metre);
        self.water = Some(water.with(addition, amount));
        self.added.push((addition, amount));
        self.doses.extend(lines.into_iter().cloned());
    }

    fn all(&self, water: &Water) -> Water {
        self.added.iter().fold(*water, |water, (addition, amount)| water.with(addition, *amount))
    }
}

/// The lines of the water when all doses are in: conductivity with its range, lime, the free share of the copper.
pub(super) fn after_all(desk: &mut Desk<'_>, poured: &Poured<'_>, out: &mut Correction) {
    let (Some(ions), Some(start), Some(water)) = (poured.ions, poured.start, poured.water) else { return };
    if poured.added.is_empty() {
        return;
    }
    let inputs: Vec<_> = ions.inputs.iter().chain(&poured.doses).cloned().collect();
    let before = out.changes.as_ref().and_then(|c| c.followed.as_ref()).and_then(|f| f.conductivity.clone());
    let read = readings::fresh(desk, |r| r.conductivity.as_ref()).filter(|r| !r.less_than);
    let read = read.map(|r| kinder::leaf(desk, r, "κ", "conductivity, as read", &MICROSIEMENS));
    let before = if out.changes.is_some() { before } else { read };
    let names = ["conductivity.rise", "Rise in conductivity by all doses", "Δκ"];
    let lift = figures::conductivity_gained(names, &start, &water, inputs.clone());
    if let (Some(before), Ok(lift)) = (before, lift) {
        let after = (before + lift).named(
            "conductivity.after",
            "Conductivity after the doses, about",
            "κ_after",
            &MICROSIEMENS,
        );
        out.conductivity_after = Some(desk.book.publish(after));
        let open = water::resolution(desk, ions);
        // From the readings as they are; after changes the supply's kits would have a say as well.
        let found = ranges(&ions.read, &open.steps, |read, composed| {
            let lift = poured.all(&composed.water).conductivity_25()? - composed.water.conductivity_25()?;
            Ok([read.conductivity.unwrap_or(0.0) + lift])
        });
        if let (Ok([range]), true, Ok(state)) = (found, out.changes.is_none(), water.at(25.0).closed()) {
            let mut end = |names: [&str; 3], value: f64| {
                let value = Conductivity::from_si(MICROSIEMENS.si(value));
                desk.book.publish(figures::end(names, value, &MICROSIEMENS, &state, inputs.clone(), &open.words))
            };
            out.conductivity_ends = Some([
                end(
                    [
                        "conductivity.after-least",
                        "Conductivity after the doses, least by what the kits can tell",
                        "κ_after,low",
                    ],
                    range.low,
                ),
                end(
                    [
                        "conductivity.after-most",
                        "Conductivity after the doses, most by what the kits can tell",
                        "κ_after,high",
                    ],
                    range.high,
                ),
            ]);
        }
    }
    if let Ok(stage) = Stage::closed(water) {
        let names = ["water.lime-after", "Saturation index of lime after all doses", "SI_after"];
        out.lime_after = figures::lime(names, &stage.state, inputs.clone()).map(|f| desk.book.publish(f));
        // The share is that of a trace where no copper was read.
        let mut traced = water;
        traced.totals[COPPER] = traced.totals[COPPER].max(water::TRACE);
        if let Some(Ok(state)) = hours(desk, &traced).last().map(Water::closed) {
            let names = ["water.free-copper-after", "Free share of the copper after all doses, at most", "f_Cu,after"];
            let inputs = self::inputs(desk, ions, &poured.doses);
            if let Some(free) = figures::free_copper(names, &state, inputs) {
                desk.book.publish(free);
            }
        }
    }
}
