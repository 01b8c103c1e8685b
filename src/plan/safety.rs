//! The safety check of every run: each limit stated in the plan, and the proposal that comes closest to it.
//!
//! Nothing here shares arithmetic with the planning: chemistry is recomputed from bare numbers ([`opinion`]), copper is followed by
//! small steps instead of the exact solution.

use chrono::{Datelike, NaiveDate};

use super::correction::day;
use super::verdict::{south, tadpole_month};
use super::{
    AFTERWARDS, ChangePlan, Correction, Day, Desk, Extra, Least, Plan, Quantity, Remedy, Schedule, TESTS, Word,
    opinion, readings,
};
use crate::chem::activity::density;
use crate::reference::chemistry::{CALCIUM, CHLORIDE, MAGNESIUM};
use crate::reference::{
    AMMONIA_PER_NITROGEN, CHANGE_SHARE_DAY, GENERAL_STEP_DGH, HARDNESS_STEP_DKH, LASTING_DAYS, NITROGEN_PER_CHLORINE,
    PH_STEP_LIMIT, Purpose, SALT_ROUTINE, Substance, UNIONISED_LIMIT, WINDOW_HIGH_DKH, WINDOW_LOW_DKH, substance,
};
use crate::site::AnimalKind;
use crate::units::Si;
use crate::units::table::{CALCIUM_CACO3, DAYS, DEGREE_KH, KH_MG, MILLIGRAMS, weight};
use crate::water::balance::solute;
use crate::water::copper::daily_by_steps;

/// One limit and the proposal closest to it, in the unit named.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// The limit in words.
    pub limit: String,
    /// The proposal in words.
    pub proposal: String,
    /// What it comes to.
    pub proposed: f64,
    /// What is allowed.
    pub allowed: f64,
    /// The unit of both.
    pub unit: &'static str,
    /// Whether `allowed` is the least rather than the most.
    pub floor: bool,
    /// Whether it is kept.
    pub kept: bool,
}

/// Collects the checks. A value may pass its limit by arithmetic noise only.
struct List(Vec<Check>);

impl List {
    fn at_most(&mut self, limit: &str, proposal: &str, proposed: f64, allowed: f64, unit: &'static str) {
        let kept = proposed <= allowed * (1.0 + 1e-9) + 1e-12;
        self.0.push(Check {
            limit: limit.into(),
            proposal: proposal.into(),
            proposed,
            allowed,
            unit,
            floor: false,
            kept,
        });
    }

    fn at_least(&mut self, limit: &str, proposal: &str, proposed: f64, allowed: f64, unit: &'static str) {
        let kept = proposed >= allowed * (1.0 - 1e-9) - 1e-12;
        self.0.push(Check {
            limit: limit.into(),
            proposal: proposal.into(),
            proposed,
            allowed,
            unit,
            floor: true,
            kept,
        });
    }
}

/// Share of the pure substance: the site's own product, or the one usually sold.
fn purity_of(desk: &Desk<'_>, substance: &Substance) -> f64 {
    let own = desk.site.substances.iter().find(|s| s.id == substance.id).and_then(|s| s.purity.as_ref());
    own.map_or(substance.purity, |p| p.value.si())
}

/// NH3 in mg/L from total ammonia N in mg/L, pH and kelvin: Emerson, written out on its own.
fn nh3(nitrogen: f64, ph: f64, kelvin: f64) -> f64 {
    nitrogen * AMMONIA_PER_NITROGEN / (libm::pow(10.0, 0.09018 + 2729.92 / kelvin - ph) + 1.0)
}

/// All checks.
pub fn check(desk: &Desk<'_>, plan: &Plan) -> Vec<Check> {
    let mut list = List(Vec::new());
    let low = plan.volume.low.si();
    if let Some(buffer) = &plan.correction.buffer {
        // Charge in a dose over the smallest pond: g/mol, kg, m³ give mol/m³.
        let purity = purity_of(desk, buffer.substance);
        let rise = buffer.dose.si() * 1000.0 * purity / buffer.substance.molar_mass * buffer.substance.charge / low;
        let step = desk.site.practice.hardness_step.as_ref().map_or(HARDNESS_STEP_DKH, |s| DEGREE_KH.of(s.value.si()));
        list.at_most(
            "largest rise of carbonate hardness in a day",
            "one dose of buffer",
            DEGREE_KH.of(rise),
            step,
            "°dKH",
        );
        let end = DEGREE_KH.of(buffer.start.si() + rise * buffer.count.si());
        list.at_most("upper edge of the window", "carbonate hardness after all doses", end, WINDOW_HIGH_DKH, "°dKH");
        let hours = opinion::pond(desk);
        let own = hours.iter().map(|water| opinion::buffered_shift(water, rise / 1000.0, buffer.days.len()));
        let own = forgiven(own.fold(0.0, f64::max));
        list.at_most(PH_LIMIT, "one dose of buffer", buffer.ph_shift.si().max(own), PH_STEP_LIMIT, "");
        if let (Some(total), Some(warm)) =
            (readings::fresh(desk, |r| r.ammonia.as_ref()), readings::fresh(desk, |r| r.temperature.as_ref()))
        {
            // The kinder end of both readings: half a step of a kit that does not count drops.
            let kit = desk.site.kits.iter().find(|k| k.reading == "ammonia" && !k.drops).and_then(|k| k.step);
            let most = MILLIGRAMS.of(total.value.si() + 0.5 * kit.unwrap_or(0.0));
            let ph = buffer.ph_after.si().max(buffer.ph_ends[1].si());
            list.at_most(
                "un-ionised ammonia",
                "at the highest pH after all doses",
                nh3(most, ph, warm.value.si()),
                UNIONISED_LIMIT,
                "mg/L NH₃",
            );
        }
    }
    if let Some(calcium) = &plan.correction.calcium {
        let purity = purity_of(desk, calcium.substance);
        let rise = calcium.dose.si() * 1000.0 * purity / calcium.substance.molar_mass / low;
        let degrees = crate::units::table::DEGREE_GH.of(rise);
        list.at_most(
            "largest rise of general hardness in a day",
            "one dose of calcium chloride",
            degrees,
            GENERAL_STEP_DGH,
            "°dGH",
        );
        if let Some(shift) = &calcium.ph_shift {
            list.at_most(PH_LIMIT, "one dose of calcium chloride", shift.si(), PH_STEP_LIMIT, "");
        }
    }
    if let Some(salt) = &plan.correction.salt {
        let concentration = salt.days.len() as f64 * salt.dose.si() / low;
        list.at_most("salt as routine", "all doses of salt", concentration, SALT_ROUTINE, "g/L");
        if let Some(shift) = &salt.ph_shift {
            list.at_most(PH_LIMIT, "one dose of salt", shift.si(), PH_STEP_LIMIT, "");
        }
    }
    // Salt offered for the panel comes on top of what the plan itself adds.
    if let Some(salt) = plan.diagnosis.as_ref().and_then(|d| d.wanted.as_ref()).and_then(|w| w.salt.as_ref()) {
        let planned = plan.correction.salt.as_ref().map_or(0.0, |s| s.days.len() as f64 * s.dose.si());
        list.at_most(
            "salt as routine",
            "what the panel may ask for, with the plan's own",
            (planned + salt.si()) / low,
            SALT_ROUTINE,
            "g/L",
        );
    }
    joint(desk, plan, low, &mut list);
    calendar(plan, &mut list);
    for change in [&plan.correction.changes, &plan.correction.copper].into_iter().flatten() {
        changes(desk, change, low, &mut list);
    }
    if let Ok(Some(least)) = plan.year.as_ref().map(|year| year.least.as_ref()) {
        kept(desk, least, low, &mut list);
    }
    eased(desk, plan, low, &mut list);
    copper(desk, plan, &mut list);
    by_test(desk, plan, &mut list);
    list.0
}

/// How far one change moves pH, by the second opinion: what that may lie off forgiven.
fn shift_by_change(desk: &Desk<'_>, change: &ChangePlan, low: f64) -> f64 {
    // Buffer in the new water, mol/m³: from its mass, as bicarbonate.
    let buffer = change.buffer.as_ref().map_or(0.0, |mass| {
        let own = desk.site.substances.iter().filter_map(|s| substance(&s.id)).filter(|s| s.purpose == Purpose::Buffer);
        let row = own.min_by_key(|row| row.id.starts_with("potassium")).or_else(|| substance("sodium-bicarbonate"));
        row.map_or(0.0, |row| mass.si() * 1000.0 * purity_of(desk, row) / row.molar_mass / change.volume.si())
    });
    // Acid from the neutraliser, mol/m³: S2O3 ends as two sulfates and two H+, free chlorine as chloride and H+ (DECHLORINATION).
    let free = desk.site.supply.readings.free_chlorine.as_ref().map_or(0.0, |f| f.value.si());
    let thiosulfate = change.thiosulfate.as_ref().map_or(0.0, |mass| mass.si() / change.volume.si());
    let acid = 2000.0 * thiosulfate / 248.19 + 1000.0 * free / 70.9;
    let share = change.volume.si() / low;
    let own = opinion::pond(desk).into_iter().filter_map(|pond| {
        let new = opinion::supply(desk, &pond, buffer / 1000.0, acid / 1000.0)?;
        Some(opinion::mixed_shift(&pond, &new, share))
    });
    forgiven(own.fold(0.0, f64::max))
}

/// A change that the second opinion holds to move pH further than the plan does is one of those that are run in over the day:
/// where two ways of reckoning disagree, the kinder counts.
pub(super) fn doubt_changes(desk: &Desk<'_>, correction: &mut Correction, low: f64) {
    for change in [&mut correction.changes, &mut correction.copper].into_iter().flatten() {
        let far = shift_by_change(desk, change, low) > PH_STEP_LIMIT;
        if let Some(followed) = &mut change.followed {
            followed.too_far |= far;
        }
    }
}

const PH_LIMIT: &str = "largest change of pH in a day";

/// What the second opinion on a step of pH may lie off is forgiven.
fn forgiven(shift: f64) -> f64 {
    if shift <= PH_STEP_LIMIT + OPINION { shift.min(PH_STEP_LIMIT) } else { shift }
}

/// The second opinion on pH takes all metals as one and its pairs at 25 °C: this far it may lie off the solver.
const OPINION: f64 = 0.05;

/// The joint answer against what one keys by hand: no more substance than the goals ask for one after the other, and no bound passed.
fn joint(desk: &Desk<'_>, plan: &Plan, low: f64, list: &mut List) {
    let Some(joint) = &plan.correction.joint else { return };
    let finished = &joint.closed.water;
    // mol/kg to mol/m³. What the solver leaves of a bound that it stands on is forgiven.
    let bulk = 1000.0 * density(finished.celsius);
    let kept = |value: f64, most: f64| if value <= most * (1.0 + 1e-6) { value.min(most) } else { value };
    if plan.correction.calcium.is_some() || plan.correction.salt.is_some() {
        let hard = kept(finished.totals[CALCIUM] + finished.totals[MAGNESIUM], joint.bounds.hardness);
        let degrees = |molal: f64| crate::units::table::DEGREE_GH.of(molal * bulk);
        list.at_most(
            "general hardness: its target, or what calcium needs",
            "the water after all doses",
            degrees(hard),
            degrees(joint.bounds.hardness),
            "°dGH",
        );
        let chloride = kept(finished.totals[CHLORIDE], joint.bounds.chloride);
        let weight = |molal: f64| molal * bulk * crate::units::table::weight::CL;
        list.at_most(
            "chloride: that of salt as routine, or what calcium brings",
            "the water after all doses",
            weight(chloride),
            weight(joint.bounds.chloride),
            "mg/L",
        );
    }
    let Some(buffer) = &plan.correction.buffer else { return };
    let poured = buffer.buy.si() * 1000.0 * purity_of(desk, buffer.substance) / buffer.substance.molar_mass / low;
    let found = joint.of(Purpose::Buffer) * bulk;
    list.at_most("buffer found with calcium and salt", "all doses of buffer, by hand", poured, found, "mol/m³");
}

/// No two doses or changes on one day, and a clear day between buffer and calcium, which make lime.
fn calendar(plan: &Plan, list: &mut List) {
    let correction = &plan.correction;
    let buffer = correction.buffer.as_ref().map(|b| &b.days);
    let calcium = correction.calcium.as_ref().map(|c| &c.days);
    let all = [
        buffer,
        calcium,
        correction.salt.as_ref().map(|s| &s.days),
        correction.changes.as_ref().map(|c| &c.days),
        correction.copper.as_ref().map(|c| &c.days),
    ];
    let mut days: Vec<NaiveDate> = all.into_iter().flatten().flatten().copied().collect();
    let count = days.len();
    if count == 0 {
        return;
    }
    days.sort();
    days.dedup();
    list.at_most("days with two corrections", "buffer, calcium, salt, changes", (count - days.len()) as f64, 0.0, "");
    if let (Some(last), Some(first)) = (buffer.and_then(|d| d.last()), calcium.and_then(|d| d.first())) {
        let between = (*first - *last).num_days() as f64;
        list.at_least("days from buffer to calcium", "the calendar of doses", between, 2.0, "");
    }
}

fn changes(desk: &Desk<'_>, change: &ChangePlan, low: f64, list: &mut List) {
    let own = desk.site.practice.change_share.as_ref().map_or(CHANGE_SHARE_DAY, |s| s.value.si());
    list.at_most(
        "largest share of the water changed in a day",
        "one change",
        change.volume.si() / low * 100.0,
        own * 100.0,
        "%",
    );
    // A change that moves pH further is printed with its caution, and run in over the day.
    if let Some(followed) = change.followed.as_ref().filter(|f| !f.too_far) {
        let own = shift_by_change(desk, change, low);
        list.at_most(PH_LIMIT, "one change of water", followed.ph_shift.si().max(own), PH_STEP_LIMIT, "");
    }
    let supply = &desk.site.supply.readings;
    let free = supply.free_chlorine.as_ref().map_or(0.0, |f| f.value.si());
    if let (Some(gate), Some(total), Some((ph, _)), Some(warm)) = (
        &change.ammonia_gate,
        &supply.total_chlorine,
        readings::worst_ph(desk),
        readings::fresh(desk, |r| r.temperature.as_ref()),
    ) {
        let brought = (MILLIGRAMS.of(total.value.si()) - MILLIGRAMS.of(free)) * NITROGEN_PER_CHLORINE;
        let share = change.volume.si() / low;
        let after = MILLIGRAMS.of(gate.si()) * (1.0 - share) + brought * share;
        let toxic = nh3(after, ph.si(), warm.value.si());
        list.at_most("un-ionised ammonia", "after a change with treated supply", toxic, UNIONISED_LIMIT, "mg/L NH₃");
    }
}

/// Copper at watch: the change proposed, the copper it leaves, by small steps the copper of the day the panel may run again, and no day
/// with the panel on before that.
fn eased(desk: &Desk<'_>, plan: &Plan, low: f64, list: &mut List) {
    let (Some(watch), Some(limits)) = (&plan.advice.watch, &plan.limits) else { return };
    let now = watch.now.si();
    let wait = (watch.clear - plan.date).num_days();
    let days = usize::try_from(wait).unwrap_or(0);
    let warm = readings::fresh(desk, |r| r.temperature.as_ref()).map_or(8.0, |t| (t.value.si() - 273.15).min(8.0));
    // The loss at 20 °C is known where there is a schedule.
    if let Some(schedule) = &plan.schedule {
        let loss = schedule.loss_range.0 * libm::pow(1.05, warm - 20.0);
        let left = (0..days).fold(now, |copper, _| day_end(copper, low, loss, 0.0));
        list.at_most(
            "watch for total copper",
            "at level zero until the panel may run again",
            MILLIGRAMS.of(left),
            MILLIGRAMS.of(limits.watch.si()),
            "mg/L",
        );
    }
    let early = plan.schedule.iter().flat_map(|s| s.levels.iter().take(days)).filter(|level| **level > 0).count();
    list.at_most("days with the panel on over watch", "the schedule", early as f64, 0.0, "");
    let Some(change) = &watch.change else { return };
    changes(desk, change, low, list);
    let tap = desk.site.supply.readings.total_copper.as_ref().map_or(f64::INFINITY, |r| r.value.si());
    // Copper in the pond and in the new water, by mass; the largest pond keeps most.
    let high = plan.volume.high.si();
    let swapped = change.volume.si();
    let left = (now * (high - swapped) + tap * swapped) / high;
    list.at_most(
        "stop for total copper",
        "after the change at watch",
        MILLIGRAMS.of(left),
        MILLIGRAMS.of(limits.stop.si()),
        "mg/L",
    );
    // The new water thins what protects, most in the smallest pond; a supply softer than the window comes with its buffer.
    let readings = &desk.site.supply.readings;
    let part = swapped / low;
    let thinned = |now: f64, tap: f64| now * (1.0 - part) + tap * part;
    if let (Some(hardness), Some(tap)) = (&plan.correction.hardness_after, &readings.carbonate_hardness) {
        let tap = DEGREE_KH.of(tap.value.si()).max(WINDOW_LOW_DKH);
        let after = thinned(DEGREE_KH.of(hardness.si()), tap);
        list.at_least("lower edge of the window", "after the change at watch", after, WINDOW_LOW_DKH, "°dKH");
    }
    if let (Some(calcium), Some(tap)) = (&plan.correction.calcium_after, &readings.calcium) {
        let after = thinned(CALCIUM_CACO3.of(calcium.si()), CALCIUM_CACO3.of(tap.value.si()));
        list.at_least("calcium hardness under copper", "after the change at watch", after, 16.0, "mg/L");
    }
}

/// What is proposed against the forecast, as it is printed: the whole balance is run with it once more, and a day's share,
/// rise and pH are held against their limits.
fn kept(desk: &Desk<'_>, least: &Least, low: f64, list: &mut List) {
    let trial = &least.trial;
    let mut extra = vec![Extra::default(); trial.dates.len()];
    let mut clash = 0.0;
    let mut place = |date: NaiveDate| {
        let index = trial.dates.iter().position(|d| *d == date)?;
        let busy = trial.care.get(index).is_none_or(|care| {
            care.change_share > 0.0 || care.change_volume > 0.0 || care.dose.iter().any(|n| *n != 0.0)
        });
        clash += f64::from(u8::from(busy || date <= desk.date));
        Some(index)
    };
    let mut largest = 0.0_f64;
    let step = desk.site.practice.hardness_step.as_ref().map_or(HARDNESS_STEP_DKH, |s| DEGREE_KH.of(s.value.si()));
    match &least.remedy {
        Remedy::Changes(changes) => {
            for change in &changes.list {
                if let Some(day) = place(change.date).and_then(|i| extra.get_mut(i)) {
                    day.change += change.volume.si();
                }
                largest = largest.max(change.volume.si());
            }
            if let (Some(gate), Some(total), Some((ph, _))) =
                (&changes.gate, &desk.site.supply.readings.total_chlorine, readings::worst_ph(desk))
            {
                let free = desk.site.supply.readings.free_chlorine.as_ref().map_or(0.0, |f| f.value.si());
                let brought = (MILLIGRAMS.of(total.value.si()) - MILLIGRAMS.of(free)) * NITROGEN_PER_CHLORINE;
                let worst = trial.dates.iter().zip(&trial.sky).filter_map(|(date, sky)| {
                    let change = changes.list.iter().find(|c| c.date == *date)?;
                    let share = change.volume.si() / low;
                    let after = MILLIGRAMS.of(gate.si()) * (1.0 - share) + brought * share;
                    Some(nh3(after, ph.si(), sky.celsius + 273.15))
                });
                let worst = worst.fold(0.0, f64::max);
                list.at_most(
                    "un-ionised ammonia",
                    "after a change of the water year",
                    worst,
                    UNIONISED_LIMIT,
                    "mg/L NH₃",
                );
            }
        }
        Remedy::Bleed(bleed) => {
            for (day, date) in extra.iter_mut().zip(&trial.dates) {
                if *date >= bleed.days.0 && *date <= bleed.days.1 {
                    let runs = least.extra.iter().zip(&trial.dates).any(|(e, d)| d == date && e.change > 0.0);
                    day.change = if runs { bleed.a_day.si() } else { 0.0 };
                }
            }
            largest = bleed.a_day.si();
        }
        Remedy::Buffer(rhythm) => {
            let row = rhythm.substance;
            let moles = rhythm.dose.si() * 1000.0 * purity_of(desk, row) / row.molar_mass;
            for date in &rhythm.days {
                if let Some(day) = place(*date).and_then(|i| extra.get_mut(i)) {
                    day.dose[solute::ALKALINITY] += moles * row.charge;
                    day.dose[if row.id.starts_with("potassium") { solute::POTASSIUM } else { solute::SODIUM }] += moles;
                }
            }
            let rise = DEGREE_KH.of(moles * row.charge / low);
            list.at_most("largest rise of carbonate hardness in a day", "a dose of the water year", rise, step, "°dKH");
            let shift = rhythm.ph_shift.si();
            list.at_most("largest change of pH by a dose", "a dose of the water year", shift, PH_STEP_LIMIT, "");
        }
        Remedy::Nothing(_) => return,
    }
    list.at_most("days with two measures", "the water year", clash, 0.0, "");
    list.at_most(
        "largest share of the water changed in a day",
        "the water year",
        largest / low * 100.0,
        desk.site.practice.change_share.as_ref().map_or(CHANGE_SHARE_DAY, |s| s.value.si()) * 100.0,
        "%",
    );
    let (mut lowest, mut highest) = (f64::INFINITY, 0.0_f64);
    for (evening, date) in trial.at_middle(&extra).iter().zip(&trial.dates) {
        if *date >= least.from {
            lowest = lowest.min(DEGREE_KH.of(evening.hardness()));
            highest = highest.max(DEGREE_KH.of(evening.hardness()));
        }
    }
    list.at_least("lower edge of the window", "the water year with what is proposed", lowest, WINDOW_LOW_DKH, "°dKH");
    list.at_most("upper edge of the window", "the water year with what is proposed", highest, WINDOW_HIGH_DKH, "°dKH");
}

fn copper(desk: &Desk<'_>, plan: &Plan, list: &mut List) {
    let Some(schedule) = &plan.schedule else { return };
    let runs = schedule.levels.iter().any(|l| *l > 0);
    list.at_most(
        "days with the panel on under a verdict of No",
        "the schedule",
        f64::from(u8::from(plan.verdict.word == Word::No && runs)),
        0.0,
        "",
    );
    let breeding = desk.site.animals.iter().any(|a| a.kind == AnimalKind::BreedingAmphibians);
    if breeding {
        let broken = (0u64..)
            .zip(&schedule.levels)
            .filter(|(i, level)| {
                let date: NaiveDate = super::correction::day(plan.date, *i);
                **level > 0 && tadpole_month(date.month(), south(desk))
            })
            .count();
        list.at_most("days with the panel on while tadpoles are here", "the schedule", broken as f64, 0.0, "");
    }
    let Some(limits) = &plan.limits else {
        list.at_most(
            "days with the panel on without a copper limit",
            "the schedule",
            f64::from(u8::from(runs)),
            0.0,
            "",
        );
        return;
    };
    // The floors, from the readings after the corrections, by plain numbers.
    if let (Some(hardness), Some(calcium)) = (&plan.correction.hardness_after, &plan.correction.calcium_after) {
        list.at_least(
            "alkalinity under copper",
            "after the corrections, low end",
            KH_MG.of(hardness.si()),
            50.0,
            "mg/L",
        );
        list.at_least(
            "calcium hardness under copper",
            "after the corrections, low end",
            CALCIUM_CACO3.of(calcium.si()),
            16.0,
            "mg/L",
        );
        list.at_least(
            "lower edge of the window",
            "after the corrections, low end",
            DEGREE_KH.of(hardness.si()),
            WINDOW_LOW_DKH,
            "°dKH",
        );
    }
    if schedule.releases.is_empty() || schedule.loss_kinder <= 0.0 {
        return;
    }
    let low = plan.volume.low.si();
    let release = |level: u32| schedule.releases.get(level as usize).copied().unwrap_or(0.0);
    let rest = release(schedule.holding) / (low * schedule.loss_kinder);
    let dissolved = dissolved_share(desk);
    let loss = schedule.loss_kinder;
    // The year as it is planned, from the higher of rest and today's reading.
    let year: Vec<f64> = schedule.levels.iter().map(|l| release(*l)).collect();
    let start = if schedule.start < limits.stop.si() { schedule.start.max(rest) } else { rest };
    let mut highest = daily_by_steps(start, low, loss, &year).into_iter().fold(rest, f64::max);
    let mut lasting = rest.max(worst_month(start, low, loss, &year));
    // A spell that opens at its own gate, on its first day.
    let mut spell_days: Vec<(NaiveDate, Vec<f64>)> = Vec::new();
    let gate = schedule.spell_gate.si();
    for planned in &schedule.spells {
        let length = DAYS.of(planned.days.si()) as usize;
        let mut spell = vec![release(planned.level); length];
        spell.resize(length + LASTING_DAYS as usize, release(schedule.holding));
        let path = daily_by_steps(gate, low, loss, &spell);
        highest = path.iter().copied().fold(highest, f64::max);
        lasting = lasting.max(worst_month(gate, low, loss, &spell));
        spell_days.push((planned.not_before, path));
    }
    // Every row of the table of steps, from the gate of a spell.
    for row in &schedule.table {
        let Some((days, _)) = &row.held else { continue };
        let length = DAYS.of(days.si()) as usize;
        let mut spell = vec![release(row.level); length];
        highest = daily_by_steps(gate, low, loss, &spell).into_iter().fold(highest, f64::max);
        spell.resize(length + LASTING_DAYS as usize, release(schedule.holding));
        lasting = lasting.max(worst_month(gate, low, loss, &spell));
    }
    list.at_most(
        "stop for total copper",
        "the highest day of the schedule, kinder corner",
        MILLIGRAMS.of(highest),
        MILLIGRAMS.of(limits.stop.si()),
        "mg/L",
    );
    day_by_day(plan, schedule, &spell_days, list);
    // Whole days cut the worst month a little otherwise than the plan did: a thousandth is forgiven.
    let allowed = MILLIGRAMS.of(limits.lasting.si());
    // What stands in the water already is no proposal: at watch its own mean, with the panel at zero, is allowed for.
    let untouched = vec![0.0; LASTING_DAYS as usize];
    let own = plan.advice.watch.as_ref().map_or(0.0, |_| worst_month(schedule.start, low, loss, &untouched));
    let allowed = allowed.max(MILLIGRAMS.of(own * dissolved));
    let proposed = MILLIGRAMS.of(lasting * dissolved);
    let proposed = if proposed <= allowed * 1.001 { proposed.min(allowed) } else { proposed };
    list.at_most("lasting limit, mean over 28 days", "the worst 28 days of the schedule", proposed, allowed, "mg/L");
}

/// Tests alone: from the highest copper that a reading may stand for, followed by small steps to the next answer, for water that keeps
/// all copper and for water that loses it fast. The release is the most that can have brought copper there.
fn by_test(desk: &Desk<'_>, plan: &Plan, list: &mut List) {
    let (Some(found), Some(limits)) = (&plan.by_test, &plan.limits) else { return };
    let read = found.reading.si();
    let kit = desk.site.kits.iter().find(|kit| kit.reading == "total copper").and_then(|kit| kit.step);
    let [weekly, fortnight] = AFTERWARDS.map(|days| days as f64);
    let last = TESTS.iter().fold(0.0, |last: f64, t| last.max(*t));
    let mut most = 0.0_f64;
    for loss in [0.0, 0.02, 0.1, 0.4, 1.0] {
        // Copper of a release that fills the pond to 1 in a day, after so long from none: by small steps.
        let filled = |days: f64| (0..(160.0 * days) as u32).fold(0.0, |c, _| step(c, 1.0, loss, 1.0, 1.0 / 160.0));
        if found.laboratory {
            // Two standard deviations, a tenth each and 2 µg/L at least. From a start without copper a run has added all of it; it goes on
            // without a pause, for twice as long.
            let highest = (1.2 * read).max(read + 4e-6);
            for run in TESTS {
                let next = if run < last { 2.0 * run } else { fortnight + weekly };
                most = most.max(highest * libm::exp(-loss * next) + highest * filled(next) / filled(run));
            }
        } else {
            let highest = read + 0.5 * kit.unwrap_or(f64::INFINITY);
            let afterwards = (0..=8).map(|week| (last + weekly * f64::from(week), last + weekly * f64::from(week + 1)));
            let pairs = TESTS.iter().zip(TESTS.iter().skip(1)).map(|(now, next)| (*now, *next)).chain(afterwards);
            for (now, next) in pairs {
                most = most.max(highest * filled(next) / filled(now));
            }
        }
    }
    let (proposal, allowed) = ("by copper tests alone, at the next test", found.most.si().min(found.watch.si()));
    list.at_most("watch for total copper", proposal, MILLIGRAMS.of(most), MILLIGRAMS.of(allowed), "mg/L");
    let stop = found.stop.si().min(limits.stop.si());
    list.at_most("stop for total copper", proposal, MILLIGRAMS.of(most), MILLIGRAMS.of(stop), "mg/L");
    let breeding = desk.site.animals.iter().any(|a| a.kind == AnimalKind::BreedingAmphibians);
    let spawn = breeding && tadpole_month(found.first.month(), south(desk));
    let wrong = spawn || plan.verdict.word == Word::No || found.first < plan.date;
    list.at_most(
        "starts while tadpoles are here, or under a verdict of No",
        proposal,
        f64::from(u8::from(wrong)),
        0.0,
        "",
    );
}

/// Copper on every day of the water year against the stop of that day: nine possible years in ten, and spells from their gates.
/// The day that comes closest is listed of each, and the days on which the panel would run without a limit, which must be none.
fn day_by_day(plan: &Plan, schedule: &Schedule, spells: &[(NaiveDate, Vec<f64>)], list: &mut List) {
    let stop = |date: NaiveDate| schedule.day_on(date).and_then(|day| day.limits).map(|limits| limits.stop);
    let mut closest: [Option<(f64, f64)>; 2] = [None, None];
    let mut weigh = |which: usize, copper: f64, date: NaiveDate| {
        let (Some(stop), Some(slot)) = (stop(date), closest.get_mut(which)) else { return };
        if slot.is_none_or(|(most, of)| copper * of > most * stop) {
            *slot = Some((copper, stop));
        }
    };
    for (first, path) in spells {
        for (index, copper) in path.iter().enumerate() {
            weigh(1, *copper, day(*first, index as u64));
        }
    }
    let mut ran = false;
    if let Ok(year) = &plan.year
        && let Some(chance) = &year.chance
    {
        for (today, copper) in year.days.iter().zip(chance.counted.ranges(Quantity::Copper)) {
            ran |= schedule.level_on(today.date).is_some_and(|level| level > 0);
            if ran {
                weigh(0, copper.high * weight::CU / 1000.0, today.date);
            }
        }
    }
    let told =
        ["nine possible years in ten, the day that comes closest", "a spell from its gate, the day that comes closest"];
    for (found, proposal) in closest.into_iter().zip(told) {
        if let Some((copper, stop)) = found {
            list.at_most("stop in the water of that day", proposal, MILLIGRAMS.of(copper), MILLIGRAMS.of(stop), "mg/L");
        }
    }
    let unlimited = |(level, day): &(&u32, &Day)| **level > 0 && (day.limits.is_none() || day.closed || !day.warm);
    let loose = schedule.levels.iter().zip(&schedule.days).filter(unlimited).count();
    list.at_most("days the panel runs in cold, closed or unprotected water", "the schedule", loose as f64, 0.0, "");
}

/// The highest mean of any 28 whole days, by small steps; zero for a shorter time. Units as in [`daily_by_steps`].
fn worst_month(start: f64, volume: f64, loss: f64, releases: &[f64]) -> f64 {
    let mut copper = start;
    let means: Vec<f64> = releases
        .iter()
        .map(|release| {
            let mean = mean_by_steps(copper, volume, loss, *release);
            copper = day_end(copper, volume, loss, *release);
            mean
        })
        .collect();
    means.windows(LASTING_DAYS as usize).map(|month| month.iter().sum::<f64>() / LASTING_DAYS).fold(0.0, f64::max)
}

/// One small step of release less loss (Heun's method).
fn step(copper: f64, volume: f64, loss: f64, release: f64, time: f64) -> f64 {
    let slope = release / volume - loss * copper;
    let guess = copper + slope * time;
    copper + 0.5 * time * (slope + release / volume - loss * guess)
}

/// Small steps in a day.
const STEPS: u32 = 100;

fn day_end(start: f64, volume: f64, loss: f64, release: f64) -> f64 {
    (0..STEPS).fold(start, |copper, _| step(copper, volume, loss, release, 1.0 / f64::from(STEPS)))
}

/// Mean of one day.
fn mean_by_steps(start: f64, volume: f64, loss: f64, release: f64) -> f64 {
    let mut copper = start;
    let mut total = 0.0;
    for _ in 0..STEPS {
        let next = step(copper, volume, loss, release, 1.0 / f64::from(STEPS));
        total += 0.5 * (copper + next);
        copper = next;
    }
    total / f64::from(STEPS)
}

fn dissolved_share(desk: &Desk<'_>) -> f64 {
    let shares = desk.site.visits.iter().filter_map(|v| {
        let total = v.pond.total_copper.as_ref().filter(|r| !r.less_than && r.value.si() >= 8e-6)?;
        let dissolved = v.pond.dissolved_copper.as_ref().filter(|r| !r.less_than)?;
        Some(dissolved.value.si() / total.value.si())
    });
    shares.fold(None, |most: Option<f64>, s| Some(most.map_or(s, |m| m.max(s)))).unwrap_or(1.0)
}
