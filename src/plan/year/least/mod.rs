//! The least that keeps the window over the forecast's twelve months: water changes or a bleed where the supply can do it,
//! rain for a supply that is itself too hard, buffer where the water goes soft.
//!
//! [`plan`] asks the kernel ([`crate::water::least`]) for a schedule in amounts that can be measured, runs the whole balance
//! with it, lime and all, and keeps it only if that run stays inside. The safety check runs it once more.

mod doses;
mod ends;
mod rain;
mod trial;

pub use doses::BufferRhythm;
pub use rain::{Blend, BlendMonth};
pub use trial::{Extra, Trial, TrialEvening};

use std::rc::Rc;

use chrono::NaiveDate;

use self::ends::{Kept, ends};
use super::account::booked;
use super::model::Model;
use super::{Course, Daily, Side, edges, side};
use crate::chem::chlorine;
use crate::plan::correction::{self, chloraminated};
use crate::plan::{Assumption, Correction, Desk, VolumePlan, kinder, readings, rounding};
use crate::reference::{
    AMMONIA_EMERSON, AMMONIA_LIMIT, AMMONIA_PER_NITROGEN, ATOMIC_WEIGHTS, CHANGE_WARMTH, NITROGEN_PER_CHLORINE,
    UNIONISED_LIMIT, WINDOW, WINDOW_HIGH_DKH, WINDOW_LOW_DKH,
};
use crate::site::WaterAim;
use crate::units::table::{AMMONIA_N, CELSIUS, DEGREE_KH, KELVIN, LITRE, MICROSIEMENS, MILLIGRAMS, ONE, PERCENT};
use crate::units::{
    AmmoniaNitrogen, CarbonateHardness, Conductivity, Mass, MassConcentration, Ph, Ratio, Si as _, System,
    TemperatureInterval, ThermodynamicTemperature, Time, Volume,
};
use crate::water::air::CONDUCTIVITIES;
use crate::water::balance::{Chemistry as _, SOLUTES, Solutes, solute};
use crate::water::least::{self as kernel, Aim, Bounds, Change, DayLine, Mixed, Stage};
use crate::workings::{Figure, Way};

/// Weights that pick alkalinity.
const ALKALINITY: Solutes = {
    let mut weights = [0.0; SOLUTES];
    weights[solute::ALKALINITY] = 1.0;
    weights
};

/// Days from one possible day of a change to the next where nobody said.
const EVERY: u32 = 7;
/// Water colder than this is changed only where nothing else helps, °C (TRADE.md section 4: in winter little or none).
const COLD: f64 = 4.0;
/// Steps a largest change is cut into, about, where water is saved.
const STEPS: f64 = 20.0;
/// Where visits are saved, every change has one of a few sizes: so many steps make the largest.
const SIZES: [f64; 3] = [3.0, 4.0, 5.0];
/// A kit shows total ammonia in steps of this, mg/L N: a gate below it cannot be opened.
const GATE_STEP: f64 = 0.05;
/// How often a schedule is looked for with the lime that the one before let come down.
const ROUNDS: usize = 3;
/// More changes than this have no conductivity line each.
const FEW_CHANGES: usize = 16;

/// What keeps the window, and what was tried it on.
#[derive(Clone, Debug)]
pub struct Least {
    /// What is saved.
    pub aim: WaterAim,
    /// Which way the water would go.
    pub side: Side,
    /// What is proposed.
    pub remedy: Remedy,
    /// Rain for a supply that is too hard.
    pub blend: Option<Blend>,
    /// The first evening from which the window is kept, and the edges that are kept, °dKH: the window less a step of the kit.
    pub from: NaiveDate,
    /// The lower edge that is kept.
    pub low: Figure<CarbonateHardness>,
    /// The upper edge that is kept.
    pub high: Figure<CarbonateHardness>,
    /// Carbonate hardness of each evening with the remedy, mol/m³; empty without one.
    pub evenings: Vec<f64>,
    /// What the safety check runs again.
    pub trial: Rc<Trial>,
    /// What the remedy adds to each day.
    pub extra: Vec<Extra>,
    /// The largest share of the water that may be changed in a day.
    pub share: Figure<Ratio>,
}

/// What is proposed.
#[derive(Clone, Debug)]
pub enum Remedy {
    /// Changes on dates.
    Changes(Changes),
    /// A little every day.
    Bleed(Bleed),
    /// The same dose of buffer on a rhythm.
    Buffer(BufferRhythm),
    /// Nothing does.
    Nothing(Why),
}

/// Why nothing does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The supply stands over the edge that is to be kept.
    SupplyHard,
    /// The supply stands under it.
    SupplySoft,
    /// No changes that the daily share allows are enough.
    TooLittle,
    /// Buffer is wanted, and no dose that a day allows is enough.
    DosesTooSmall,
}

/// One change.
#[derive(Clone, Debug)]
pub struct OneChange {
    /// Its day.
    pub date: NaiveDate,
    /// How much.
    pub volume: Figure<Volume>,
    /// Carbonate hardness that evening.
    pub hardness: Figure<CarbonateHardness>,
    /// Conductivity that evening, where there are few changes.
    pub conductivity: Option<Figure<Conductivity>>,
}

/// What one size of change needs.
#[derive(Clone, Debug)]
pub struct Size {
    /// How much.
    pub volume: Figure<Volume>,
    /// Time at the hose.
    pub time: Option<Figure<Time>>,
    /// Neutraliser.
    pub thiosulfate: Option<Figure<Mass>>,
}

/// Changes on dates.
#[derive(Clone, Debug)]
pub struct Changes {
    /// All of them, in order.
    pub list: Vec<OneChange>,
    /// Their sizes, the largest first.
    pub sizes: Vec<Size>,
    /// How many.
    pub count: Figure<Ratio>,
    /// All water.
    pub total: Figure<Volume>,
    /// Highest and lowest carbonate hardness with them, once they are kept.
    pub ends: (Figure<CarbonateHardness>, Figure<CarbonateHardness>),
    /// How near in warmth the new water must be, °C.
    pub warmth: Figure<Ratio>,
    /// Total ammonia must test at or under this before each.
    pub gate: Option<Figure<AmmoniaNitrogen>>,
    /// The ammonia of treated supply forbids them; through a carbon filter they may be made.
    pub filter: bool,
    /// Some fall into the cold months, because nothing else keeps the window.
    pub cold: bool,
    /// Nothing better is possible; else, where lime comes down, nothing better was found.
    pub proven: bool,
    /// Conductivity is kept under its mark as well, where there is one and it would pass it.
    pub salt_kept: Option<bool>,
}

/// A little every day.
#[derive(Clone, Debug)]
pub struct Bleed {
    /// Water a day.
    pub a_day: Figure<Volume>,
    /// All of it in the year.
    pub total: Figure<Volume>,
    /// Highest and lowest carbonate hardness with it.
    pub ends: (Figure<CarbonateHardness>, Figure<CarbonateHardness>),
    /// First and last day.
    pub days: (NaiveDate, NaiveDate),
    /// The supply is chlorinated: a bleed needs a carbon filter, since nobody treats it.
    pub filter: bool,
    /// Conductivity is kept under its mark as well, where there is one and it would pass it.
    pub salt_kept: Option<bool>,
}

/// What all parts of this look at.
struct Bench<'a> {
    trial: Trial,
    /// The forecast without a schedule.
    days: &'a [Daily],
    lines: Vec<DayLine>,
    volume: &'a VolumePlan,
    /// Index of the first evening inside the window, without a schedule.
    inside: Option<usize>,
    /// Step of the hardness kit, mol/m³.
    margin: f64,
    /// Highest conductivity there should be, µS/cm, where it would be passed.
    salt: Option<f64>,
}

/// A schedule and its run.
struct Tried {
    changes: Vec<Change>,
    extra: Vec<Extra>,
    evenings: Vec<TrialEvening>,
    /// Greatest difference between the straight days and the run, °dKH.
    residual: f64,
    /// Nothing better is possible: the run let no more lime come down than the search put in.
    proven: bool,
}

/// Whether an evening keeps its bounds, with the last bit forgiven.
fn within(evening: &TrialEvening, bounds: &Bounds) -> bool {
    evening.hardness() >= bounds.low - 1e-9 && evening.hardness() <= bounds.high + 1e-9
}

/// A schedule that was found, and the run that proves it.
struct Found {
    changes: Vec<Change>,
    extra: Vec<Extra>,
    evenings: Vec<TrialEvening>,
    from: usize,
    step: f64,
    /// Greatest difference between the straight days and the run, °dKH.
    residual: f64,
    /// Whether nothing better is possible.
    proven: bool,
}

impl Bench<'_> {
    /// The supply, mol/m³ of alkalinity.
    fn supply(&self) -> f64 {
        self.trial.setting.supply[solute::ALKALINITY]
    }

    /// Whether a day is free for care: after the plan's date, and nothing else is done on it or beside it.
    fn free(&self, desk: &Desk<'_>, index: usize) -> bool {
        let later = self.trial.dates.get(index).is_some_and(|date| *date > desk.date);
        // A clear day before and after whatever else is changed or added.
        let quiet = |index: usize| {
            self.trial.care.get(index).is_none_or(|care| {
                care.change_share <= 0.0 && care.change_volume <= 0.0 && care.dose.iter().all(|n| *n == 0.0)
            })
        };
        later && quiet(index) && quiet(index + 1) && index.checked_sub(1).is_none_or(quiet)
    }

    fn mild(&self, index: usize) -> bool {
        self.trial.sky.get(index).is_some_and(|sky| sky.celsius >= COLD)
            && self.trial.care.get(index).is_some_and(|care| care.lowered.is_none())
    }

    /// A possible day in each rhythm: its first free one.
    fn rhythm(&self, desk: &Desk<'_>, every: u32, also: impl Fn(usize) -> bool) -> Vec<usize> {
        let count = self.trial.dates.len();
        let first = self.trial.dates.iter().position(|date| *date > desk.date).unwrap_or(count);
        let every = every.max(1) as usize;
        (first..count)
            .step_by(every)
            .filter_map(|from| (from..(from + every).min(count)).find(|i| self.free(desk, *i) && also(*i)))
            .collect()
    }

    /// The bounds of each evening: the window itself from `inside` on, less a step of the kit from `kept` on.
    fn bounds(&self, inside: Option<usize>, kept: usize) -> Vec<Bounds> {
        let (low, high) = edges();
        (0..self.trial.dates.len())
            .map(|i| {
                if i >= kept {
                    Bounds { low: low + self.margin, high: high - self.margin }
                } else if inside.is_some_and(|inside| i >= inside) {
                    Bounds { low, high: high * (1.0 - 2e-9) }
                } else {
                    Bounds { low: f64::NEG_INFINITY, high: f64::INFINITY }
                }
            })
            .collect()
    }

    /// From when on the window is asked to be kept: as soon as may be. The window itself from its first evening inside, the
    /// margin from the first possible day; else a little later; at last without what goes before.
    fn wishes(&self, stages: &[Stage]) -> Vec<(Option<usize>, usize)> {
        let from = |stage: &Stage| stage.day.max(self.inside.unwrap_or(0));
        let soon = stages.iter().take(6).map(|s| (self.inside, from(s)));
        let late = stages.iter().take(20).map(|s| (Some(s.day), s.day));
        if self.inside.is_some() { soon.chain(late).collect() } else { late.collect() }
    }

    /// Whether evenings keep their bounds.
    fn keeps(&self, evenings: &[TrialEvening], bounds: &[Bounds]) -> bool {
        evenings.iter().zip(bounds).all(|(evening, bounds)| within(evening, bounds))
    }

    /// Whether a pond at the low and at the high end of the volume stays inside the window as well.
    fn wide(&self, extra: &[Extra], from: usize) -> bool {
        [self.volume.low.si(), self.volume.high.si()].into_iter().all(|full| {
            let evenings = self.trial.run(extra, full);
            evenings.iter().skip(from).all(|evening| side(evening.hardness()).is_none())
        })
    }

    fn salty(&self, evenings: &[TrialEvening], from: usize) -> bool {
        let Some(most) = self.salt else { return false };
        evenings
            .iter()
            .zip(&self.trial.sky)
            .skip(from)
            .any(|(evening, sky)| self.trial.chemistry.conductivity(&sky.warmth, &evening.water) > most * (1.0 + 1e-9))
    }

    /// What conductivity is over the plain sum of the ions, on each day of a run.
    fn held_back(&self, waters: impl Iterator<Item = Solutes>) -> Vec<f64> {
        waters
            .zip(&self.trial.sky)
            .map(|(water, sky)| {
                let plain: f64 = CONDUCTIVITIES.iter().zip(&water).map(|(each, c)| each * c).sum();
                self.trial.chemistry.conductivity(&sky.warmth, &water) / plain.max(1e-9)
            })
            .collect()
    }

    /// A schedule on these days that keeps these bounds, lime and all. The straight days know no lime: it is put in as the run
    /// before found it, until the run finds what was put in. Without lime in the first run that is the best there is; with lime,
    /// changes that are made as late as may be in the whole balance are tried as well, and the better of both is taken.
    fn schedule(
        &self,
        stages: &[Stage],
        step: f64,
        aim: Aim,
        bounds: &[Bounds],
        salt_from: Option<usize>,
    ) -> Option<Tried> {
        let cost = |tried: &Tried| {
            let steps = tried.changes.iter().map(|c| c.steps as usize).sum::<usize>();
            if aim == Aim::FewestVisits { (tried.changes.len(), steps) } else { (steps, tried.changes.len()) }
        };
        let mut lime: Vec<f64> = Vec::new();
        let mut factors = salt_from.map(|_| self.held_back(self.days.iter().map(|d| d.evening.water)));
        let mut best: Option<Tried> = None;
        for _ in 0..ROUNDS {
            let Some(tried) = self.straight(stages, step, aim, bounds, &lime, factors.as_deref().zip(salt_from)) else {
                break;
            };
            let fits =
                self.keeps(&tried.evenings, bounds) && !salt_from.is_some_and(|from| self.salty(&tried.evenings, from));
            let settled = {
                let before = lime.iter().copied().chain(std::iter::repeat(0.0));
                let found = tried.evenings.iter().map(|e| e.lime);
                found.zip(before).all(|(now, was)| (now - was).abs() <= 1e-9 * (1.0 + now.abs()))
            };
            lime = tried.evenings.iter().map(|e| e.lime).collect();
            factors = salt_from.map(|_| self.held_back(tried.evenings.iter().map(|e| e.water)));
            if fits && best.as_ref().is_none_or(|best| cost(&tried) < cost(best)) {
                best = Some(tried);
            }
            if settled && fits {
                return best.map(|best| Tried { proven: true, ..best });
            }
        }
        // Where no schedule does without lime, none is built on it.
        let found = best?;
        // Where visits are saved each change is as large as may be; where water is, it grows by a fifth of that at a time.
        let (most, lump) = match aim {
            Aim::FewestVisits => (found.changes.len(), u32::MAX),
            Aim::LeastWater => (stages.len(), stages.iter().map(|s| s.most.div_ceil(5)).max().unwrap_or(1)),
        };
        if salt_from.is_none()
            && let Some(late) = self.late(stages, step, bounds, (most, lump))
            && cost(&late) < cost(&found)
        {
            return Some(late);
        }
        Some(found)
    }

    /// The best schedule while so much lime comes down on each day (calcium, mol), and the run of the balance with it.
    fn straight(
        &self,
        stages: &[Stage],
        step: f64,
        aim: Aim,
        bounds: &[Bounds],
        lime: &[f64],
        salt: Option<(&[f64], usize)>,
    ) -> Option<Tried> {
        let (trial, start, supply) = (&self.trial, self.trial.begin.amounts, &self.trial.setting.supply);
        let with_lime;
        let lines = if lime.is_empty() {
            &self.lines
        } else {
            with_lime = kernel::lines(&trial.setting, &trial.sky, &trial.care, trial.begin, lime);
            &with_lime
        };
        let window = Mixed::of(lines, &ALKALINITY, &start, supply, bounds);
        let ceiling = salt.zip(self.salt).map(|((factors, from), most)| {
            let high = |i: usize, factor: f64| if i >= from { most / factor } else { f64::INFINITY };
            let factors = factors.iter().enumerate();
            let bounds: Vec<Bounds> =
                factors.map(|(i, factor)| Bounds { low: f64::NEG_INFINITY, high: high(i, *factor) }).collect();
            Mixed::of(lines, &CONDUCTIVITIES, &start, supply, &bounds)
        });
        let changes = kernel::least(&window, ceiling.as_ref(), stages, step, aim)?;
        let extra = self.extra(&changes, step);
        let evenings = trial.at_middle(&extra);
        let (straight, _) = window.evenings(|day| extra.get(day).map_or(0.0, |e| e.change));
        let apart = straight.iter().zip(&evenings).map(|(a, b)| (a - b.hardness()).abs()).fold(0.0, f64::max);
        Some(Tried { changes, extra, evenings, residual: DEGREE_KH.of(apart), proven: false })
    }

    fn extra(&self, changes: &[Change], step: f64) -> Vec<Extra> {
        let mut extra = vec![Extra::default(); self.trial.dates.len()];
        for change in changes {
            if let Some(day) = extra.get_mut(change.day) {
                day.change = step * f64::from(change.steps);
            }
        }
        extra
    }

    /// Changes as late as may be in the whole balance, lime and all; `None` with more than `most` of them. They grow by `lump`
    /// steps.
    fn late(&self, stages: &[Stage], step: f64, bounds: &[Bounds], (most, lump): (usize, u32)) -> Option<Tried> {
        let mut evenings: Vec<TrialEvening> = Vec::with_capacity(bounds.len());
        let changes = kernel::late(bounds.len(), self.trial.begin, stages, step, (most, lump), |day, pond, change| {
            let evening = self.trial.day(day, pond, &Extra { change, ..Extra::default() }).unwrap_or_default();
            evenings.truncate(day);
            evenings.push(evening);
            bounds.get(day).is_some_and(|bounds| within(&evening, bounds))
        })?;
        Some(Tried { extra: self.extra(&changes, step), changes, evenings, residual: 0.0, proven: false })
    }

    /// The first wish that a schedule on these days can grant.
    fn search(&self, stages: &[Stage], step: f64, aim: Aim, salt: bool) -> Option<Found> {
        self.wishes(stages).into_iter().find_map(|(inside, from)| {
            let bounds = self.bounds(inside, from);
            let salt_from = salt.then_some(from);
            let Tried { changes, extra, evenings, residual, proven } =
                self.schedule(stages, step, aim, &bounds, salt_from)?;
            self.wide(&extra, from).then_some(Found { changes, extra, evenings, from, step, residual, proven })
        })
    }
}

/// A round step of about a twentieth of the largest change, and how many of them make it: m³.
fn round_step(largest: f64, system: System) -> Option<f64> {
    let unit = rounding::volume_unit(system);
    let wanted = unit.of(largest) / STEPS;
    if !(wanted.is_finite() && wanted > 0.0) {
        return None;
    }
    let ten = libm::pow(10.0, libm::floor(libm::log10(wanted)));
    let times = [5.0, 2.0, 1.0].into_iter().find(|times| times * ten <= wanted * (1.0 + 1e-9)).unwrap_or(1.0);
    Some(unit.si(times * ten))
}

/// A step so that a few of them come as near to the largest change as they can in round amounts: m³.
fn few_sizes(largest: f64, system: System) -> Option<f64> {
    let grain = 0.5 * round_step(largest, system)?;
    let step = |sizes: f64| libm::floor(largest / sizes / grain + 1e-9) * grain;
    let best = SIZES.into_iter().max_by(|a, b| (a * step(*a)).total_cmp(&(b * step(*b))).then(b.total_cmp(a)))?;
    Some(step(best)).filter(|step| *step > 0.0)
}

/// Finds what keeps the window; `None` where nothing need be done.
pub(super) fn plan(
    desk: &mut Desk<'_>,
    model: &Model,
    charges: &[f64],
    days: &[Daily],
    course: Course,
    (volume, correction): (&VolumePlan, &Correction),
    salt: Option<f64>,
) -> Option<Least> {
    let leaving = match course {
        Course::Inside => salt.map(|_| Side::Hard)?,
        Course::Leaves(_, side) | Course::Outside(side) => side,
    };
    let (_, reading) = desk.last(|v| v.pond.carbonate_hardness.as_ref().filter(|r| !r.less_than))?;
    let range = kinder::hardness(desk, reading, "hardness.reading", "pond");
    let kit = (&range.high - &range.low).named("year.least-margin", "What the kit leaves open", "s_kit", &DEGREE_KH);
    let edge = |id: &str, title: &str, symbol: &str, degrees: f64| -> Figure<CarbonateHardness> {
        Figure::cited(degrees, symbol, title, &DEGREE_KH, &WINDOW).named(id, title, symbol, &DEGREE_KH)
    };
    let low = &edge("year.least-edge-low", "Lower edge of the window", "K_window,low", WINDOW_LOW_DKH) + &kit;
    let high = &edge("year.least-edge-high", "Upper edge of the window", "K_window,high", WINDOW_HIGH_DKH) - &kit;
    let low = low.named("year.least-low", "Lowest carbonate hardness that is planned for", "K_keep,low", &DEGREE_KH);
    let high =
        high.named("year.least-high", "Highest carbonate hardness that is planned for", "K_keep,high", &DEGREE_KH);
    let trial = Trial::new(model, charges);
    let bench = Bench {
        lines: kernel::lines(&trial.setting, &trial.sky, &trial.care, trial.begin, &[]),
        trial,
        days,
        volume,
        inside: days.iter().position(|d| side(d.hardness()).is_none()),
        margin: kit.si(),
        salt,
    };
    let care = &desk.site.year.water_care;
    let aim = care.aim.as_ref().map_or(WaterAim::FewestVisits, |a| a.value);
    let every = care.every.as_ref().map_or(EVERY, |e| e.value);
    let supply = bench.supply();
    let share = correction::change_limit(desk);
    let mut out = Least {
        aim,
        side: leaving,
        remedy: Remedy::Nothing(Why::TooLittle),
        blend: None,
        from: days.first().map(|d| d.date)?,
        low: desk.book.publish(low),
        high: desk.book.publish(high),
        evenings: Vec::new(),
        trial: Rc::new(bench.trial.clone()),
        extra: Vec::new(),
        share,
    };
    let (bottom, top) = edges();
    let supply_hard = supply >= top - bench.margin;
    let supply_soft = supply < bottom + bench.margin;
    let made = match leaving {
        Side::Hard if supply_hard => None,
        Side::Soft if supply_soft => None,
        _ if aim == WaterAim::Bleed => bleed(desk, &bench, &mut out),
        _ => changes(desk, &bench, every, &mut out),
    };
    if made.is_some() {
        if care_untold(desk) && aim != WaterAim::Bleed {
            desk.assume(Assumption::new(
                "Days for water changes, in the forecast",
                &format!("any one of each {every}, the fewest that do"),
                "`[water_care]` in the site file",
                "common practice",
            ));
        }
        return Some(out);
    }
    match leaving {
        Side::Hard => {
            if supply_hard {
                out.remedy = Remedy::Nothing(Why::SupplyHard);
            }
            out.blend = rain::blend(desk, &bench);
        }
        Side::Soft => doses::rhythm(desk, &bench, correction, supply_soft, &mut out),
    }
    Some(out)
}

fn care_untold(desk: &Desk<'_>) -> bool {
    let told = &desk.site.year.water_care;
    told.aim.is_none() || told.every.is_none()
}

/// The largest share of the pond that a change may be on a day of this warmth, so that the ammonia which treated chloramine
/// leaves does not pass the limit from a pond that tests at the gate; `None` where that cannot be reckoned.
fn bearable(desk: &Desk<'_>, celsius: f64) -> Option<f64> {
    let supply = &desk.site.supply.readings;
    let total = MILLIGRAMS.of(supply.total_chlorine.as_ref()?.value.si());
    let free = supply.free_chlorine.as_ref().map_or(0.0, |f| MILLIGRAMS.of(f.value.si()));
    let (ph, _) = readings::worst_ph(desk)?;
    let brought = (total - free) * NITROGEN_PER_CHLORINE;
    let share = 1.0 / (1.0 + libm::pow(10.0, 0.09018 + 2729.92 / (celsius + 273.15) - ph.si()));
    let borne = UNIONISED_LIMIT / (AMMONIA_PER_NITROGEN * share);
    if borne < GATE_STEP {
        return Some(0.0);
    }
    Some(if brought <= borne { 1.0 } else { (borne - GATE_STEP) / (brought - GATE_STEP) })
}

/// Changes on dates, kinder days first; writes what it finds into `out`.
fn changes(desk: &mut Desk<'_>, bench: &Bench<'_>, every: u32, out: &mut Least) -> Option<()> {
    let share = out.share.si();
    let low = bench.volume.low.si();
    let size = low / bench.trial.setting.basin.full;
    let (aim, step) = if out.aim == WaterAim::LeastWater {
        (Aim::LeastWater, round_step(share * low, desk.system)?)
    } else {
        (Aim::FewestVisits, few_sizes(share * low, desk.system)?)
    };
    let gated = chloraminated(desk);
    let stages = |desk: &Desk<'_>, cold: bool, filter: bool| -> Vec<Stage> {
        let days = bench.rhythm(desk, every, |i| cold || bench.mild(i));
        days.into_iter()
            .filter_map(|day| {
                // Rain of the same day may stand over the brim for an hour: that is no water to count a share of.
                let there = (bench.lines.get(day)?.volume() * size).min(low);
                let celsius = bench.trial.sky.get(day)?.celsius;
                let most = if gated && !filter { bearable(desk, celsius)?.min(share) } else { share };
                let most = (most * there / step + 1e-9).max(0.0) as u32;
                (most > 0).then_some(Stage { day, most })
            })
            .collect()
    };
    let ways: &[(bool, bool)] = if gated {
        &[(false, false), (true, false), (false, true), (true, true)]
    } else {
        &[(false, false), (true, false)]
    };
    let salts: &[bool] = if bench.salt.is_some() { &[true, false] } else { &[false] };
    let mut last = Vec::new();
    for salt in salts {
        for (cold, filter) in ways {
            let stages = stages(desk, *cold, *filter);
            // The same days as before need no second look.
            if stages == last {
                continue;
            }
            if let Some(found) = bench.search(&stages, step, aim, *salt) {
                let kept = bench.salt.map(|_| !bench.salty(&found.evenings, found.from));
                let cold = found.changes.iter().any(|c| !bench.mild(c.day));
                write(desk, bench, &found, (*filter, cold, kept), out)?;
                return Some(());
            }
            last = stages;
        }
    }
    None
}

/// A day in a line's id and symbol.
fn tag(date: NaiveDate) -> String {
    date.format("%Y-%m-%d").to_string()
}

/// Turns a schedule into figures.
fn write(
    desk: &mut Desk<'_>,
    bench: &Bench<'_>,
    found: &Found,
    (filter, cold, salt_kept): (bool, bool, Option<bool>),
    out: &mut Least,
) -> Option<()> {
    let unit = rounding::volume_unit(desk.system);
    let step: Figure<Volume> =
        Figure::counted(unit.of(found.step), "V_step", "step in which changes are measured", unit);
    let volume_of = |steps: u32| -> Figure<Volume> {
        let times: Figure<Ratio> = Figure::counted(f64::from(steps), &steps.to_string(), "steps of the change", &ONE);
        (&step * &times).named(
            format!("year.least-{steps}"),
            &format!("A change of {steps} steps"),
            &format!("V_least,{steps}"),
            &LITRE,
        )
    };
    let mut kinds: Vec<u32> = found.changes.iter().map(|c| c.steps).collect();
    kinds.sort_unstable_by(|a, b| b.cmp(a));
    kinds.dedup();
    let mut sizes = Vec::new();
    for steps in &kinds {
        let volume = desk.book.publish(volume_of(*steps));
        let id = format!("year.least-{steps}");
        let time = correction::hose_time(desk, &format!("{id}-time"), &volume);
        let thiosulfate = correction::neutraliser(desk, &format!("{id}-thiosulfate"), &volume);
        sizes.push(Size { volume, time, thiosulfate });
    }
    let few = found.changes.len() <= FEW_CHANGES;
    let mut list = Vec::new();
    for change in &found.changes {
        let date = *bench.trial.dates.get(change.day)?;
        let evening = found.evenings.get(change.day)?;
        let tag = tag(date);
        let hardness = booked::<CarbonateHardness>(
            evening.hardness(),
            &format!("K_{tag}"),
            "carbonate hardness that evening",
            &DEGREE_KH,
        )
        .named(
            format!("year.least-hardness-{tag}"),
            &format!("Carbonate hardness on the evening of the change of {tag}"),
            &format!("K_{tag}"),
            &DEGREE_KH,
        );
        let conductivity = if few {
            let sky = bench.trial.sky.get(change.day)?;
            let read = bench.trial.chemistry.conductivity(&sky.warmth, &evening.water);
            let line: Figure<Conductivity> =
                booked(MICROSIEMENS.si(read), &format!("κ_{tag}"), "conductivity that evening", &MICROSIEMENS);
            Some(desk.book.publish(line.named(
                format!("year.least-conductivity-{tag}"),
                &format!("Conductivity on the evening of the change of {tag}"),
                &format!("κ_{tag}"),
                &MICROSIEMENS,
            )))
        } else {
            None
        };
        let hardness = desk.book.publish(hardness);
        list.push(OneChange { date, volume: volume_of(change.steps), hardness, conductivity });
    }
    let words = match out.aim {
        _ if !found.proven => {
            "the best schedule that was found in the whole balance with its lime: by the search with lime as it fell, and as late as may be"
        }
        WaterAim::LeastWater => {
            "the least water on these days: every schedule with less leaves the edges that are planned for"
        }
        _ => {
            "the least j with n_0 ≤ U(j, first), where U(j, i) is the highest amount before day i from which j more changes keep the edges"
        }
    };
    // The list itself, by size: what the search did is told beside it.
    let counts: Vec<Figure<Ratio>> = kinds
        .iter()
        .map(|steps| {
            let count = found.changes.iter().filter(|change| change.steps == *steps).count();
            Figure::counted(count as f64, &format!("n_{steps}"), &format!("changes of {steps} steps in the list"), &ONE)
        })
        .collect();
    let count = crate::workings::sum(&counts)
        .named("year.least-count", "Water changes in the year", "n_changes", &ONE)
        .remark(format!("The changes of the list by their size; found by search: {words}"));
    let steps: u32 = found.changes.iter().map(|c| c.steps).sum();
    let all: Figure<Ratio> = Figure::counted(f64::from(steps), &steps.to_string(), "steps of all changes", &ONE);
    let total = (&step * &all).named("year.least-total", "Water of all these changes", "V_changes", &LITRE);
    let largest = kinds.first().copied()?;
    let share = (&volume_of(largest) / &bench.volume.low).named(
        "year.least-share",
        "Share of the largest change, low volume",
        "s_each",
        &PERCENT,
    );
    let warmth = warmth(desk, &share);
    let warmest = found
        .changes
        .iter()
        .filter_map(|c| bench.trial.sky.get(c.day))
        .map(|sky| sky.celsius)
        .fold(f64::NEG_INFINITY, f64::max);
    let gate = if chloraminated(desk) && !filter { gate(desk, &share, warmest) } else { None };
    let kept = Kept { extra: &found.extra, evenings: &found.evenings, from: found.from, residual: found.residual };
    let ends = ends(desk, &bench.trial, &kept);
    out.from = *bench.trial.dates.get(found.from)?;
    out.evenings = found.evenings.iter().map(TrialEvening::hardness).collect();
    out.extra = found.extra.clone();
    out.remedy = Remedy::Changes(Changes {
        list,
        sizes,
        count: desk.book.publish(count),
        total: desk.book.publish(total),
        ends,
        warmth,
        gate,
        filter,
        cold,
        proven: found.proven,
        salt_kept,
    });
    Some(())
}

/// How near to the pond the new water must be in warmth, so that the pond itself moves by 0.6 °C at most; never more than 3 °C.
fn warmth(desk: &mut Desk<'_>, share: &Figure<Ratio>) -> Figure<Ratio> {
    let moves: Figure<Ratio> =
        Figure::cited(0.6, "Δθ_pond", "most the pond may move in a day, °C", &ONE, &CHANGE_WARMTH);
    let most: Figure<Ratio> = Figure::cited(3.0, "Δθ_most", "most the new water may differ, °C", &ONE, &CHANGE_WARMTH);
    let apart = &moves / share;
    let least = crate::workings::minimum(&[apart.clone(), most]).unwrap_or(apart);
    desk.book.publish(least.named("year.least-warmth", "New water as warm as the pond, within so many °C", "Δθ", &ONE))
}

/// Share of total ammonia that is NH3 (Emerson), in water that the forecast knows and no reading.
fn unionised_share(title: &str, ph: &Figure<Ph>, temperature: &Figure<ThermodynamicTemperature>) -> Figure<Ratio> {
    let slope: Figure<ThermodynamicTemperature> = Figure::cited(2729.92, "b_NH₃", "slope", &KELVIN, &AMMONIA_EMERSON);
    let start: Figure<Ratio> = Figure::cited(0.09018, "a_NH₃", "constant", &ONE, &AMMONIA_EMERSON);
    let kelvin = temperature.named("year.least-temperature", "Their warmth from absolute zero", "T_least", &KELVIN);
    // A quotient of temperatures is a pure number; the leaf keeps its kelvins.
    let pk = &start + &(&slope.meaning::<TemperatureInterval>() / &kelvin.meaning::<TemperatureInterval>());
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let power = (&pk - &ph.meaning::<Ratio>()).ten();
    (&one / &(&power + &one)).named("year.least-ammonia-share", title, "f_NH3", &ONE)
}

/// Total ammonia at which a change may be begun, in the warmest of the schedule's waters.
fn gate(desk: &mut Desk<'_>, share: &Figure<Ratio>, celsius: f64) -> Option<Figure<AmmoniaNitrogen>> {
    let supply = &desk.site.supply.readings;
    let total = kinder::leaf(desk, supply.total_chlorine.as_ref()?, "Cl", "total chlorine of the supply", &MILLIGRAMS);
    let free = match &supply.free_chlorine {
        Some(free) => kinder::leaf(desk, free, "Cl_free", "free chlorine of the supply", &MILLIGRAMS),
        None => Figure::counted(0.0, "0", "free chlorine, not tested", &MILLIGRAMS),
    };
    let (ph, hour) = readings::worst_ph(desk)?;
    let brought = chlorine::ammonia_left("change.supply-ammonia", &total, &free);
    let warm: Figure<ThermodynamicTemperature> =
        booked(CELSIUS.si(celsius), "θ_least", "warmest water on a day of these changes, by the forecast", &CELSIUS);
    let part = unionised_share(&format!("Un-ionised share, {hour}, in the warmest of these waters"), &ph, &warm);
    let limit: Figure<MassConcentration> =
        Figure::cited(UNIONISED_LIMIT, "c_NH₃,max", "limit of un-ionised ammonia", &MILLIGRAMS, &AMMONIA_LIMIT);
    let weight: Figure<Ratio> =
        Figure::cited(AMMONIA_PER_NITROGEN, "w_NH₃", "NH3 over N by mass", &ONE, &ATOMIC_WEIGHTS);
    let borne = (limit / (part * weight)).meaning::<AmmoniaNitrogen>();
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let after = (&borne - &(brought * share.clone())) / (&one - share);
    let gate = crate::workings::minimum(&[after.clone(), borne]).unwrap_or(after);
    let gate = gate.rounded(Way::Down, GATE_STEP, &AMMONIA_N).named(
        "year.least-ammonia-gate",
        "Total ammonia at most before one of these changes",
        "N_least",
        &AMMONIA_N,
    );
    Some(desk.book.publish(gate))
}

/// A steady bleed; writes what it finds into `out`.
fn bleed(desk: &mut Desk<'_>, bench: &Bench<'_>, out: &mut Least) -> Option<()> {
    let share = out.share.si();
    let unit = rounding::volume_unit(desk.system);
    let low = bench.volume.low.si();
    // Measured to a two-hundredth of what a day allows, rounded to what can be set at a tap.
    let step = round_step(share * low / 10.0, desk.system)?;
    let most = (share * low / step) as u32;
    let chlorinated = desk.site.supply.readings.total_chlorine.as_ref().is_some_and(|c| c.value.si() > 0.0);
    for cold in [false, true] {
        let runs: Vec<bool> =
            (0..bench.trial.dates.len()).map(|i| bench.free(desk, i) && (cold || bench.mild(i))).collect();
        let first = runs.iter().position(|r| *r)?;
        let last = runs.iter().rposition(|r| *r)?;
        let starts = [0, 28, 56, 84, 112, 168].map(|later| first + later);
        for from in starts {
            let kept = from.max(bench.inside.unwrap_or(0));
            let bounds = bench.bounds(bench.inside.or(Some(kept)), kept);
            let supply = &bench.trial.setting.supply;
            let mut lime: Vec<f64> = Vec::new();
            for _ in 0..3 {
                let lines =
                    kernel::lines(&bench.trial.setting, &bench.trial.sky, &bench.trial.care, bench.trial.begin, &lime);
                let window = Mixed::of(&lines, &ALKALINITY, &bench.trial.begin.amounts, supply, &bounds);
                let Some(mut steps) = kernel::bleed(&window, None, &runs, step, most) else { break };
                let run = |steps: u32| {
                    let water = step * f64::from(steps);
                    let extra: Vec<Extra> = runs
                        .iter()
                        .map(|runs| Extra { change: if *runs { water } else { 0.0 }, ..Extra::default() })
                        .collect();
                    let evenings = bench.trial.at_middle(&extra);
                    (extra, evenings)
                };
                let (mut extra, mut evenings) = run(steps);
                // A smaller bleed lets more lime come down than was put in: down to the last that does.
                while steps > 0 && lime.iter().any(|n| *n > 0.0) && bench.keeps(&evenings, &bounds) {
                    let (leaner, lower) = run(steps - 1);
                    if !bench.keeps(&lower, &bounds) {
                        break;
                    }
                    (steps, extra, evenings) = (steps - 1, leaner, lower);
                }
                // What keeps hardness may leave minerals over their mark. More of it brings them down: the least that does, by halving.
                let mut salt_kept = bench.salt.map(|_| !bench.salty(&evenings, kept));
                if salt_kept == Some(false) {
                    let tried = |steps: u32| {
                        let (extra, evenings) = run(steps);
                        let fits = bench.keeps(&evenings, &bounds) && !bench.salty(&evenings, kept);
                        fits.then_some((steps, extra, evenings))
                    };
                    let (mut under, mut best) = (steps, tried(most));
                    while let Some(over) = best.as_ref().map(|(steps, ..)| *steps).filter(|over| over - under > 1) {
                        let middle = under + (over - under) / 2;
                        match tried(middle) {
                            Some(found) => best = Some(found),
                            None => under = middle,
                        }
                    }
                    if let Some(found) = best {
                        (steps, extra, evenings) = found;
                        salt_kept = Some(true);
                    }
                }
                if bench.keeps(&evenings, &bounds) && bench.wide(&extra, kept) {
                    let (straight, _) = window.evenings(|day| extra.get(day).map_or(0.0, |e| e.change));
                    let apart = straight.iter().zip(&evenings).map(|(a, b)| (a - b.hardness()).abs());
                    let residual = DEGREE_KH.of(apart.fold(0.0, f64::max));
                    let count = runs.iter().filter(|r| **r).count();
                    let one: Figure<Volume> =
                        Figure::counted(unit.of(step), "V_step", "step in which the bleed is measured", unit);
                    let number: Figure<Ratio> =
                        Figure::counted(f64::from(steps), "n_step", "steps of a day, found by search", &ONE);
                    let daily = (one * number).named("year.least-bleed", "Bleed of a day", "B_day", unit).remark(format!(
                        "The least whole step with which every evening keeps the edges, and the mark of conductivity where it can; at rest (E + B) / B of the supply's (EV-30){}",
                        ends::beside_the_search(residual, out.low.si())
                    ));
                    let times: Figure<Ratio> = Figure::counted(count as f64, &count.to_string(), "days it runs", &ONE);
                    let total = (&daily * &times).named("year.least-total", "Water bled in the year", "B_year", &LITRE);
                    out.from = *bench.trial.dates.get(kept)?;
                    let run = Kept { extra: &extra, evenings: &evenings, from: kept, residual };
                    let ends = ends(desk, &bench.trial, &run);
                    out.evenings = evenings.iter().map(TrialEvening::hardness).collect();
                    out.extra = extra;
                    out.remedy = Remedy::Bleed(Bleed {
                        a_day: desk.book.publish(daily),
                        total: desk.book.publish(total),
                        ends,
                        days: (*bench.trial.dates.get(first)?, *bench.trial.dates.get(last)?),
                        filter: chlorinated,
                        salt_kept,
                    });
                    return Some(());
                }
                lime = evenings.iter().map(|e| e.lime).collect();
            }
        }
    }
    None
}
