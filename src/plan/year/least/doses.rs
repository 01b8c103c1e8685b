//! The least buffer that keeps the lower edge, where the water goes soft and no change of water can help.

use std::rc::Rc;

use chrono::NaiveDate;

use super::ends::{Kept, beside_the_search, ends};
use super::{ALKALINITY, Bench, Extra, GATE_STEP, Least, Remedy, TrialEvening, Why, unionised_share};
use crate::chem::{dosing, figures};
use crate::plan::correction;
use crate::plan::year::account::{booked, dissolved};
use crate::plan::year::care::dosed;
use crate::plan::{Assumption, Correction, Desk, readings, rounding};
use crate::reference::{
    AMMONIA_LIMIT, AMMONIA_PER_NITROGEN, ATOMIC_WEIGHTS, HARDNESS_STEP, HARDNESS_STEP_DKH, PH_STEP, PH_STEP_LIMIT,
    Purpose, Substance, UNIONISED_LIMIT,
};
use crate::units::table::{AMMONIA_N, CELSIUS, DEGREE_KH, GRAM, MILLIGRAMS, ONE, OUNCE, Unit};
use crate::units::{
    AmmoniaNitrogen, CarbonateHardness, Mass, MassConcentration, Ph, Ratio, Si as _, System, ThermodynamicTemperature,
    Volume,
};
use crate::water::air::CoreWarmth;
use crate::water::balance::{Chemistry as _, Sky, Solutes, solute};
use crate::water::least as kernel;
use crate::water::least::{Bounds, Mixed};
use crate::workings::{Figure, Node, Way};

/// Days from one dose to the next that are tried where nobody said, the longest first.
const EVERY: [u32; 3] = [28, 14, 7];
/// Steps the largest dose is cut into, about.
const STEPS: f64 = 40.0;

/// The same dose of buffer on a rhythm.
#[derive(Clone, Debug)]
pub struct BufferRhythm {
    /// What.
    pub substance: &'static Substance,
    /// Days from one dose to the next.
    pub every: u32,
    /// The days of the doses.
    pub days: Vec<NaiveDate>,
    /// One dose.
    pub dose: Figure<Mass>,
    /// How many.
    pub count: Figure<Ratio>,
    /// All of them.
    pub buy: Figure<Mass>,
    /// Rise of one dose at the low volume.
    pub rise: Figure<CarbonateHardness>,
    /// Largest change of pH by a dose.
    pub ph_shift: Figure<Ph>,
    /// Pond water to stir one into.
    pub stir: Option<Figure<Volume>>,
    /// Total ammonia must test at or under this before a dose, where the plan can reckon it.
    pub gate: Option<Figure<AmmoniaNitrogen>>,
    /// Ammonia forbids a dose today.
    pub ammonia_now: bool,
    /// Highest and lowest carbonate hardness with the doses.
    pub ends: (Figure<CarbonateHardness>, Figure<CarbonateHardness>),
}

/// A round step of about a fortieth of the largest dose, kg, and the unit it is weighed in.
fn round_step(largest: f64, system: System, scale: f64) -> Option<(f64, &'static Unit)> {
    let unit: &'static Unit = if system == System::Us { &OUNCE } else { &GRAM };
    let wanted = unit.of(largest) / STEPS;
    if !(wanted.is_finite() && wanted > 0.0) {
        return None;
    }
    let ten = libm::pow(10.0, libm::floor(libm::log10(wanted)));
    let times = [5.0, 2.0, 1.0].into_iter().find(|times| times * ten <= wanted * (1.0 + 1e-9)).unwrap_or(1.0);
    // No finer than the scale shows.
    Some((unit.si((times * ten).max(unit.of(scale))), unit))
}

/// Finds the rhythm and writes it into `out`.
pub(super) fn rhythm(
    desk: &mut Desk<'_>,
    bench: &Bench<'_>,
    correction: &Correction,
    supply_soft: bool,
    out: &mut Least,
) {
    out.remedy = Remedy::Nothing(if supply_soft { Why::SupplySoft } else { Why::TooLittle });
    let told = desk.site.year.water_care.every.as_ref().map(|e| e.value);
    let tried: Vec<u32> = told.map_or_else(|| EVERY.to_vec(), |every| vec![every]);
    let (Some(row), own) = correction::chosen(desk, Purpose::Buffer, "sodium-bicarbonate") else { return };
    let limit = desk.site.practice.hardness_step.as_ref().map_or(DEGREE_KH.si(HARDNESS_STEP_DKH), |s| s.value.si());
    // What a kilogram brings, mol of charge.
    let charge = dosed(desk, row, 1.0)[solute::ALKALINITY];
    if charge <= 0.0 {
        return;
    }
    let largest = limit * bench.volume.low.si() / charge;
    let Some((step, unit)) = round_step(largest, desk.system, correction::scale(desk).si()) else { return };
    let most = (largest / step + 1e-9) as u32;
    out.remedy = Remedy::Nothing(Why::DosesTooSmall);
    let mut best: Option<(u32, f64, Made)> = None;
    for every in tried {
        let days = bench.rhythm(desk, every, |_| true);
        let Some(made) = search(desk, bench, row, &days, step, most) else { continue };
        // The longer rhythm is tried first and costs fewer visits: a shorter one must save a tenth of the buffer.
        let mass = step * f64::from(made.steps) * made.days.len() as f64;
        if best.as_ref().is_none_or(|(_, least, _)| mass < 0.9 * least) {
            best = Some((every, mass, made));
        }
    }
    let Some((every, _, made)) = best else { return };
    if told.is_none() {
        desk.assume(Assumption::new(
            "Rhythm of buffer doses, in the forecast",
            &format!("every {every} days, the same dose each time"),
            "`every` in `[water_care]`",
            "common practice",
        ));
    }
    let purity = correction::purity(row, own);
    let whole: Figure<Mass> = Figure::counted(unit.of(step), "m_step", "step in which the dose is weighed", unit);
    let times = steps_line(bench, &made, &out.low);
    let dose = (&whole * &times).named("year.least-dose", "One dose of buffer on the rhythm", "m_least", &GRAM);
    let count: Figure<Ratio> = Figure::counted(made.days.len() as f64, "n_dose", "doses of the season", &ONE);
    let count = count.named("year.least-doses", "Doses on the rhythm", "n_doses", &ONE);
    let buy = (&dose * &count).named("year.least-buy", "Buffer of the rhythm", "m_least,all", &GRAM);
    let rise = dosing::rise_of(&dose, &bench.volume.low, row, &purity).named(
        "year.least-rise",
        "Rise of one dose at the low volume",
        "r_least",
        &DEGREE_KH,
    );
    let rise = rise.from_source(&HARDNESS_STEP);
    let shift = shift_line(bench, &made, &[Rc::clone(rise.node())]).unwrap_or_else(|| {
        // Outside the core's range the closed form stands.
        let words = "ΔpH = pH with the dose − pH without, closed and at rest with the air, on the day it moves most";
        Figure::solved(Ph::from_si(made.largest.1), words, vec![Rc::clone(rise.node())], 0.0, 1).named(
            "year.least-ph",
            "Largest change of pH by a dose of the rhythm",
            "ΔpH_least",
            &ONE,
        )
    });
    let shift = shift.from_source(&PH_STEP);
    let coldest = made.days.iter().filter_map(|i| bench.trial.sky.get(*i)).map(|sky| sky.celsius);
    let (coldest, warmest) = coldest.fold((f64::INFINITY, f64::NEG_INFINITY), |e, c| (e.0.min(c), e.1.max(c)));
    let stir =
        dosing::water_to_dissolve("year.least-stir", &dose, row, coldest.max(0.0), rounding::bucket_step(desk.system));
    let gate = gate(desk, &shift, warmest);
    let kept = Kept { extra: &made.extra, evenings: &made.evenings, from: made.from, residual: made.residual };
    let ends = ends(desk, &bench.trial, &kept);
    let dates: Vec<NaiveDate> = made.days.iter().filter_map(|i| bench.trial.dates.get(*i).copied()).collect();
    if let Some(from) = bench.trial.dates.get(made.from) {
        out.from = *from;
    }
    out.evenings = made.evenings.iter().map(TrialEvening::hardness).collect();
    out.extra = made.extra;
    out.remedy = Remedy::Buffer(BufferRhythm {
        substance: row,
        every,
        days: dates,
        dose: desk.book.publish(dose),
        count: desk.book.publish(count),
        buy: desk.book.publish(buy),
        rise: desk.book.publish(rise),
        ph_shift: desk.book.publish(shift),
        stir: stir.map(|s| desk.book.publish(s.called("V_stir,least"))),
        gate,
        ammonia_now: correction.ammonia_forbids,
        ends,
    });
}

/// A rhythm that was found, and the run that proves it.
struct Made {
    steps: u32,
    days: Vec<usize>,
    extra: Vec<Extra>,
    evenings: Vec<TrialEvening>,
    from: usize,
    /// The day whose dose moves pH most, and how far.
    largest: (usize, f64),
    lacking: Lacking,
    residual: f64,
}

/// The evening that decides how large a dose must be.
#[derive(Clone, Copy)]
struct Lacking {
    evening: usize,
    /// The lower edge that it must keep, mol/m³.
    edge: f64,
    /// Carbonate hardness without a dose, mol/m³.
    without: f64,
    /// What one step of the dose, on every day of the season until then, has left there, mol/m³.
    step: f64,
}

/// The evening that asks the most steps. The days of the search are straight: doses add up.
fn lacking(window: &Mixed, bounds: &[Bounds], days: &[usize], each: f64) -> Option<Lacking> {
    let (bare, _) = window.dosed(|_| 0.0);
    let (one, _) = window.dosed(|day| if days.contains(&day) { each } else { 0.0 });
    let evenings = bare.iter().zip(&one).zip(bounds).enumerate();
    evenings
        .map(|(evening, ((without, one), bounds))| Lacking {
            evening,
            edge: bounds.low,
            without: *without,
            step: one - without,
        })
        .filter(|l| l.step > 0.0 && l.edge.is_finite())
        .max_by(|a, b| ((a.edge - a.without) / a.step).total_cmp(&((b.edge - b.without) / b.step)))
}

/// How many steps one dose has: what the evening that decides lacks, over what a step leaves there.
fn steps_line(bench: &Bench<'_>, made: &Made, low: &Figure<CarbonateHardness>) -> Figure<Ratio> {
    let Lacking { evening, edge, without, step } = made.lacking;
    let on = bench.trial.dates.get(evening).map_or_else(String::new, ToString::to_string);
    let leaf = |value: f64, symbol: &str, title: String| booked::<CarbonateHardness>(value, symbol, &title, &DEGREE_KH);
    let edge = if (edge - low.si()).abs() < 1e-12 {
        low.clone()
    } else {
        leaf(edge, "K_edge", format!("lower edge on the evening of {on}"))
    };
    let bare = leaf(without, "K_bare", format!("carbonate hardness on the evening of {on} without a dose"));
    let each = leaf(step, "r_step", format!("what one step on each day of the season has left by the evening of {on}"));
    let exact: Figure<Ratio> = (edge - bare) / each;
    let steps = exact.rounded(Way::Up, 1.0, &ONE);
    // The last bit of the division must not make it one step more than the search has.
    let steps = if (steps.si() - f64::from(made.steps)).abs() < 0.5 {
        steps
    } else {
        Figure::counted(f64::from(made.steps), "n_found", "steps that the search found", &ONE)
    };
    steps.named("year.least-dose-steps", "Steps of one dose", "n_step", &ONE).remark(format!(
        "The evening that asks most, {on}, of the season that takes the least buffer{}",
        beside_the_search(made.residual, low.si())
    ))
}

/// The least on these days, as soon as the window can be kept.
fn search(
    desk: &Desk<'_>,
    bench: &Bench<'_>,
    row: &'static Substance,
    days: &[usize],
    step: f64,
    most: u32,
) -> Option<Made> {
    let each = dosed(desk, row, step);
    let stages: Vec<kernel::Stage> = days.iter().map(|day| kernel::Stage { day: *day, most }).collect();
    bench.wishes(&stages).into_iter().find_map(|(inside, from)| {
        let bounds = bench.bounds(inside, from);
        let supply = &bench.trial.setting.supply;
        let window = Mixed::of(&bench.lines, &ALKALINITY, &bench.trial.begin.amounts, supply, &bounds);
        let found = kernel::rhythm(&window, days, each[solute::ALKALINITY], most)?;
        let dosed: Vec<usize> = days.get(found.first..=found.last)?.to_vec();
        if found.steps == 0 {
            return None;
        }
        let mut extra = vec![Extra::default(); bench.trial.dates.len()];
        for day in &dosed {
            if let Some(day) = extra.get_mut(*day) {
                day.dose = each.map(|n| n * f64::from(found.steps));
            }
        }
        let evenings = bench.trial.at_middle(&extra);
        if !bench.keeps(&evenings, &bounds) || !bench.wide(&extra, from) {
            return None;
        }
        let straight = straight(&window, &bench.trial, &extra);
        let apart = straight.iter().zip(&evenings).map(|(a, b)| (a - b.hardness()).abs()).fold(0.0, f64::max);
        let largest = largest_move(bench, &dosed, &extra, &evenings);
        (largest.1 <= PH_STEP_LIMIT).then_some(Made {
            steps: found.steps,
            lacking: lacking(&window, &bounds, &dosed, each[solute::ALKALINITY])?,
            days: dosed,
            extra,
            evenings,
            from,
            largest,
            residual: DEGREE_KH.of(apart),
        })
    })
}

/// The evenings as the straight days have them.
fn straight(window: &Mixed, trial: &super::Trial, extra: &[Extra]) -> Vec<f64> {
    let doses: Vec<f64> = extra.iter().map(|e| e.dose[solute::ALKALINITY]).collect();
    let (evenings, _) = window.dosed(|day| doses.get(day).copied().unwrap_or(0.0));
    evenings.into_iter().take(trial.dates.len()).collect()
}

/// The day whose dose moves pH most, closed or at rest with the air, and how far.
fn largest_move(bench: &Bench<'_>, days: &[usize], extra: &[Extra], evenings: &[TrialEvening]) -> (usize, f64) {
    let chemistry = &bench.trial.chemistry;
    let moves = days.iter().filter_map(|day| {
        let (sky, before, after) = around(bench, *day, extra, evenings)?;
        let rest = chemistry.ph(&sky.warmth, &before);
        let rested = chemistry.ph(&sky.warmth, &after);
        let closed = chemistry.closed(&sky.warmth, &before, &after).map_or(rest, |state| state.ph);
        Some((*day, (rested - rest).abs().max((closed - rest).abs())))
    });
    moves.fold((days.first().copied().unwrap_or(0), 0.0), |most, next| if next.1 > most.1 { next } else { most })
}

/// The water before and after the dose of a day, at the low volume, and that day's weather.
fn around<'b>(
    bench: &'b Bench<'_>,
    day: usize,
    extra: &[Extra],
    evenings: &[TrialEvening],
) -> Option<(&'b Sky<CoreWarmth>, Solutes, Solutes)> {
    let (sky, dose) = (bench.trial.sky.get(day)?, extra.get(day)?.dose);
    let before = day.checked_sub(1).and_then(|d| evenings.get(d)).map_or(bench.trial.begin.water(), |e| e.water);
    let mut after = before;
    for (sum, more) in after.iter_mut().zip(&dose) {
        *sum += more / bench.volume.low.si();
    }
    Some((sky, before, after))
}

/// The line of the largest move of pH, with the pH before and after it; `None` where the core refuses that water.
fn shift_line(bench: &Bench<'_>, made: &Made, inputs: &[Rc<Node>]) -> Option<Figure<Ph>> {
    let (day, _) = made.largest;
    let (sky, before, after) = around(bench, day, &made.extra, &made.evenings)?;
    let chemistry = &bench.trial.chemistry;
    let rest = chemistry.at_rest(&sky.warmth, &before)?;
    let (rested, closed) = (chemistry.at_rest(&sky.warmth, &after)?, chemistry.closed(&sky.warmth, &before, &after)?);
    let (after, how) = if (closed.ph - rest.ph).abs() > (rested.ph - rest.ph).abs() {
        (closed, "closed to the air")
    } else {
        (rested, "at rest with air")
    };
    let names = ["year.least-ph", "Largest change of pH by a dose of the rhythm", "ΔpH_least"];
    let warmth: Figure<ThermodynamicTemperature> =
        booked(CELSIUS.si(sky.celsius), "θ_dose", "water temperature on the day of that dose", &CELSIUS);
    let mut all = dissolved(&before, "dose");
    all.push(Rc::clone(warmth.node()));
    all.extend(inputs.iter().cloned());
    let on = bench.trial.dates.get(day)?;
    Some(figures::ph_moved(names, &rest, &after, &all).remark(format!(
        "The largest of all doses, closed to the air and at rest with it: that of {on}, {how}, at the low volume, from the water of the evening before"
    )))
}

/// Total ammonia at which a dose may be given: un-ionised ammonia at the pH after it, in the warmest water of the rhythm.
fn gate(desk: &mut Desk<'_>, shift: &Figure<Ph>, celsius: f64) -> Option<Figure<AmmoniaNitrogen>> {
    let (ph, hour) = readings::worst_ph(desk)?;
    let after = (&ph.meaning::<Ratio>() + &shift.meaning::<Ratio>()).meaning::<Ph>();
    let after =
        after.named("year.least-ph-after", &format!("pH of the {hour} after a dose, at most"), "pH_least", &ONE);
    let warm: Figure<ThermodynamicTemperature> =
        booked(CELSIUS.si(celsius), "θ_least", "warmest water on a day of these doses, by the forecast", &CELSIUS);
    let part = unionised_share("Un-ionised share after a dose, in the warmest of these waters", &after, &warm);
    let limit: Figure<MassConcentration> =
        Figure::cited(UNIONISED_LIMIT, "c_NH₃,max", "limit of un-ionised ammonia", &MILLIGRAMS, &AMMONIA_LIMIT);
    let weight: Figure<Ratio> =
        Figure::cited(AMMONIA_PER_NITROGEN, "w_NH₃", "NH3 over N by mass", &ONE, &ATOMIC_WEIGHTS);
    let gate = (limit / (part * weight)).meaning::<AmmoniaNitrogen>().rounded(Way::Down, GATE_STEP, &AMMONIA_N).named(
        "year.least-ammonia-gate",
        "Total ammonia at most before a dose of the rhythm",
        "N_least",
        &AMMONIA_N,
    );
    (gate.si() > 0.0).then(|| desk.book.publish(gate))
}
