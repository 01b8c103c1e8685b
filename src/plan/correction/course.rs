//! What the doses do to the water, followed day by day at both hours of the pond's pH: so many days that no limit is passed, and what
//! the water is when all are in.

use std::rc::Rc;

use super::Correction;
use super::buffer::added_up;
use crate::chem::composition::{Readings, compose};
use crate::chem::figures;
use crate::chem::solution::{AIR, Water};
use crate::chem::speciation::State;
use crate::chem::treatment::{Day, DayLimits, End, Stage, course, ranges_with_ends};
use crate::plan::{Desk, WaterPlan, kinder, readings, water};
use crate::reference::chemistry::{Addition, COPPER};
use crate::units::table::{MICROSIEMENS, weight};
use crate::units::{Conductivity, Ph, Si};
use crate::workings::{Expr, Figure, Node};

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

/// A move of pH by a dose or a change.
pub(super) struct Move {
    /// The water before it.
    pub before: State,
    /// The water after it.
    pub after: State,
    /// Which of all moves it is, in words.
    pub words: String,
}

impl Move {
    /// How far, without sign.
    pub fn far(&self) -> f64 {
        (self.after.ph - self.before.ph).abs()
    }

    /// The larger of two.
    pub fn larger(self, other: Self) -> Self {
        if other.far() > self.far() { other } else { self }
    }
}

/// At which hour of the pond's pH a water of [`hours`] stands.
pub(super) fn hour(index: usize) -> &'static str {
    if index == 0 { "at the day's higher pH" } else { "at the day's lower pH" }
}

/// Air as it goes into such a move.
pub(super) const CLOSED: &str = "closed to the air";
/// The same, with all its time.
pub(super) const AT_REST: &str = "at rest with air";

/// The courses of a dose from each of several waters, in the same days.
pub(super) struct Courses {
    /// What each starts from.
    starts: Vec<Water>,
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
        Some(Self { starts: waters.to_vec(), each: each.collect::<Option<_>>()?, drift })
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

    /// The move that is the largest, with the water on both sides of it.
    fn largest(&self) -> Option<Move> {
        let drifts = std::iter::once(self.drift).chain(std::iter::repeat(0.0));
        let mut found: Option<Move> = None;
        for (index, ((start, days), drift)) in self.starts.iter().zip(&self.each).zip(drifts).enumerate() {
            let (mut closed, rest) = (start.closed().ok()?, start.opened(AIR).ok()?.1);
            // As `treatment::course` counts: on the first day the water's own way to the air goes with the dose, where it may.
            let own = (rest.ph - closed.ph).abs() <= drift;
            let mut rest = if own { closed.clone() } else { rest };
            for (day, number) in days.iter().zip(1..) {
                let words = |how: &str| format!("dose {number} of {}, {}, {how}", days.len(), hour(index));
                let [shut, open] = [(&closed, &day.closed.state, CLOSED), (&rest, &day.rest.state, AT_REST)].map(
                    |(before, after, how)| Move { before: before.clone(), after: after.clone(), words: words(how) },
                );
                let larger = shut.larger(open);
                found = Some(match found {
                    Some(known) => known.larger(larger),
                    None => larger,
                });
                (closed, rest) = (day.closed.state.clone(), day.rest.state.clone());
            }
        }
        found
    }

    /// A line of the largest move of pH; `None` where the chemistry refuses.
    pub fn line(&self, names: [&str; 3], inputs: &[Rc<Node>]) -> Option<Figure<Ph>> {
        let largest = self.largest()?;
        let line = figures::ph_moved(names, &largest.before, &largest.after, inputs);
        Some(line.remark(format!("The largest of all moves, closed to the air and at rest with it: {}", largest.words)))
    }
}

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

    /// Conductivity after all doses where the readings stand at an end of what the kits leave open.
    fn conductivity_at(&self, which: &str, read: &Readings) -> Option<Figure<Conductivity>> {
        let ions = self.ions?;
        let before = compose(read).ok()?.water;
        let inputs = water::at_end(ions, read);
        let meter = inputs.iter().find_map(|node| match &node.expr {
            Expr::Leaf { symbol, title, unit, source } if symbol.starts_with('κ') => {
                Some(Figure::leaf(Conductivity::from_si(node.si), symbol, title, unit, source.clone()))
            }
            _ => None,
        })?;
        let inputs = inputs.iter().chain(&self.doses).cloned().collect();
        let names = [
            &*format!("conductivity.rise-{which}"),
            "Rise in conductivity by all doses, at those ends of the readings",
            &*format!("Δκ_{}", if which == "least" { "low" } else { "high" }),
        ];
        let lift = figures::conductivity_gained(names, &before, &self.all(&before), inputs).ok()?;
        Some(meter + lift)
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
        let found = ranges_with_ends(&ions.read, &open.steps, |read, composed| {
            let lift = poured.all(&composed.water).conductivity_25()? - composed.water.conductivity_25()?;
            Ok([read.conductivity.unwrap_or(0.0) + lift])
        });
        if let (Ok([(range, ends)]), true) = (found, out.changes.is_none()) {
            let names = [
                ("least", "Conductivity after the doses, least by what the kits can tell", "κ_after,low"),
                ("most", "Conductivity after the doses, most by what the kits can tell", "κ_after,high"),
            ];
            let lines = names.iter().zip(&ends).map(|((which, title, symbol), end)| {
                let line = match end {
                    End::At(read) => poured.conductivity_at(which, read)?,
                    End::Added(moves) => added_up(range.best, moves, &MICROSIEMENS),
                };
                let line = line.named(format!("conductivity.after-{which}"), title, symbol, &MICROSIEMENS);
                Some(desk.book.publish(line.remark(open.words.clone())))
            });
            let lines: Option<Vec<Figure<Conductivity>>> = lines.collect();
            out.conductivity_ends = lines.and_then(|lines| lines.try_into().ok());
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
