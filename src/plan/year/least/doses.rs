//! The least buffer that keeps the lower edge, where the water goes soft and no change of water can help.

use std::rc::Rc;

use chrono::NaiveDate;

use super::{ALKALINITY, Bench, Extra, GATE_STEP, Least, Remedy, TrialEvening, Why, ends, unionised_share};
use crate::chem::dosing;
use crate::plan::correction;
use crate::plan::year::account::booked;
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
use crate::water::balance::{Chemistry as _, solute};
use crate::water::least as kernel;
use crate::water::least::Mixed;
use crate::workings::{Figure, Way};

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
    let inputs = vec![Rc::clone(out.low.node()), Rc::clone(out.high.node()), Rc::clone(whole.node())];
    let equation = "n steps = max over the evenings of (K_keep,low V − n_0) / Σ a: what each evening lacks without a dose, over what one step on every day of the season has left there; the season with the least buffer in all";
    let times: Figure<Ratio> =
        Figure::solved(Ratio::from_si(f64::from(made.steps)), equation, inputs, made.residual, 1).named(
            "year.least-dose-steps",
            "Steps of one dose",
            "n_step",
            &ONE,
        );
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
    let shift: Figure<Ph> = Figure::solved(
        Ph::from_si(made.shift),
        "ΔpH = pH with the dose − pH without, closed and at rest with the air, on the day it moves most",
        vec![Rc::clone(rise.node())],
        0.0,
        1,
    )
    .named("year.least-ph", "Largest change of pH by a dose of the rhythm", "ΔpH_least", &ONE)
    .from_source(&PH_STEP);
    let coldest = made.days.iter().filter_map(|i| bench.trial.sky.get(*i)).map(|sky| sky.celsius);
    let (coldest, warmest) = coldest.fold((f64::INFINITY, f64::NEG_INFINITY), |e, c| (e.0.min(c), e.1.max(c)));
    let stir =
        dosing::water_to_dissolve("year.least-stir", &dose, row, coldest.max(0.0), rounding::bucket_step(desk.system));
    let gate = gate(desk, &shift, warmest);
    let ends = ends(desk, &made.evenings, made.from, made.residual);
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
    shift: f64,
    residual: f64,
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
        let shift = shift(bench, &dosed, &extra, &evenings);
        (shift <= PH_STEP_LIMIT).then_some(Made {
            steps: found.steps,
            days: dosed,
            extra,
            evenings,
            from,
            shift,
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

/// Largest change of pH by one of the doses, closed or at rest with the air.
fn shift(bench: &Bench<'_>, days: &[usize], extra: &[Extra], evenings: &[TrialEvening]) -> f64 {
    let low = bench.volume.low.si();
    days.iter()
        .filter_map(|day| {
            let (sky, dose) = (bench.trial.sky.get(*day)?, extra.get(*day)?.dose);
            let before =
                day.checked_sub(1).and_then(|d| evenings.get(d)).map_or(bench.trial.begin.water(), |e| e.water);
            let mut after = before;
            for (sum, more) in after.iter_mut().zip(&dose) {
                *sum += more / low;
            }
            let chemistry = &bench.trial.chemistry;
            let rest = chemistry.ph(&sky.warmth, &before);
            let rested = chemistry.ph(&sky.warmth, &after);
            let closed = chemistry.ph_closed(&sky.warmth, &before, &after).unwrap_or(rest);
            Some((rested - rest).abs().max((closed - rest).abs()))
        })
        .fold(0.0, f64::max)
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
