//! Doses that raise carbonate hardness, and buffer for new water that is too soft.

use std::rc::Rc;

use chrono::NaiveDate;

use super::changes::which;
use super::{Correction, chosen, course, day, purity, scale, stock};
use crate::chem::composition::{Readings, compose};
use crate::chem::solution::Water;
use crate::chem::speciation::State;
use crate::chem::treatment::{DayLimits, End, MOVED, Stage, ranges_with_ends};
use crate::chem::{ammonia, dosing, figures};
use crate::plan::{Assumption, Desk, VolumePlan, WaterPlan, kinder, readings, rounding, water};
use crate::reference::chemistry::Addition;
use crate::reference::{
    GOAL_DKH, HARDNESS_STEP, HARDNESS_STEP_DKH, PH_HIGHEST, PH_STEP, PH_STEP_LIMIT, POND_TARGETS, Purpose, Substance,
    UNIONISED_LIMIT, WINDOW_LOW_DKH,
};
use crate::units::table::{AMMONIA_N, CELSIUS, DEGREE_KH, GRAM, MILLIGRAMS, ONE};
use crate::units::{
    AmmoniaNitrogen, CarbonateHardness, Mass, MassConcentration, Ph, Ratio, Si, ThermodynamicTemperature, Unit, Volume,
};
use crate::workings::{Figure, Node, Way};

/// Buffer by day.
#[derive(Clone, Debug)]
pub struct BufferPlan {
    /// What.
    pub substance: &'static Substance,
    /// Where to.
    pub goal: Figure<CarbonateHardness>,
    /// Reading it starts from.
    pub start: Figure<CarbonateHardness>,
    /// Number of doses.
    pub count: Figure<Ratio>,
    /// One dose as printed.
    pub dose: Figure<Mass>,
    /// All doses.
    pub buy: Figure<Mass>,
    /// Rise of one dose if the pond holds the high volume.
    pub rise_least: Figure<CarbonateHardness>,
    /// Rise of one dose if it holds the low volume.
    pub rise_most: Figure<CarbonateHardness>,
    /// After the last dose, at the high volume.
    pub after_least: Figure<CarbonateHardness>,
    /// After the last dose, at the low volume.
    pub after_most: Figure<CarbonateHardness>,
    /// After each dose before the last, at the high and the low volume, where there are few. With more, each adds one
    /// rise.
    pub on_the_way: Vec<[Figure<CarbonateHardness>; 2]>,
    /// Pond water to stir one dose into.
    pub stir: Option<Figure<Volume>>,
    /// Days, one dose each.
    pub days: Vec<NaiveDate>,
    /// Largest change of pH by one dose.
    pub ph_shift: Figure<Ph>,
    /// pH to expect after the last dose.
    pub ph_after: Figure<Ph>,
    /// Least and most that it may be, by what the kits can tell.
    pub ph_ends: [Figure<Ph>; 2],
    /// Un-ionised ammonia at that pH.
    pub unionised_after: Figure<MassConcentration>,
    /// The same at the highest pH and with the most ammonia that the kits allow.
    pub unionised_most: Figure<MassConcentration>,
    /// What the whole correction takes, by reading and tape: as they are, least, most.
    pub takes: [Figure<Mass>; 3],
}

/// Doses up to which what each leads to has a line of its own: more numbers the margin does not hold.
const FEW_DOSES: f64 = 3.0;

/// What buffer must lift a supply by that is softer than the window; `None` for one that needs none.
pub(super) fn rise_of_new_water(desk: &mut Desk<'_>) -> Option<Figure<CarbonateHardness>> {
    let reading = desk.site.supply.readings.carbonate_hardness.clone()?;
    if reading.value.si() >= DEGREE_KH.si(WINDOW_LOW_DKH) {
        return None;
    }
    let goal = goal(desk);
    let tap = kinder::leaf(desk, &reading, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    (goal.si() > tap.si()).then(|| goal - tap)
}

/// Buffer for a volume of supply that is softer than the window, as printed; `None` for a supply that needs none.
pub(super) fn for_new_water(desk: &mut Desk<'_>, id: &str, volume: &Figure<Volume>) -> Option<Figure<Mass>> {
    let (row, own) = chosen(desk, Purpose::Buffer, "sodium-bicarbonate");
    let row = row?;
    let purity = purity(row, own);
    let exact = dosing::buffer(&rise_of_new_water(desk)?, volume, row, &purity);
    let symbol = format!("m_new,{}", which(id));
    let printed =
        rounding::dose(&exact, desk.system, scale(desk)).named(id, "Buffer for the new water", &symbol, &GRAM);
    (printed.si() > 0.0).then(|| desk.book.publish(printed))
}

/// Buffer that brings a thousand litres of soft supply to the goal.
pub(super) fn for_supply(desk: &mut Desk<'_>, reading: &crate::site::Reading<CarbonateHardness>, out: &mut Correction) {
    let (Some(row), own) = chosen(desk, Purpose::Buffer, "sodium-bicarbonate") else { return };
    let purity = purity(row, own);
    let goal = goal(desk);
    let tap = kinder::leaf(desk, reading, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    let unit = rounding::volume_unit(desk.system);
    let thousand: Figure<Volume> = Figure::counted(
        1000.0,
        "1000",
        &format!("a thousand {} of new water", rounding::volume_words(desk.system)),
        unit,
    );
    let exact = dosing::buffer(&(goal - tap), &thousand, row, &purity).named(
        "hardness.supply.exact",
        "Buffer for a thousand of supply",
        "m_supply",
        &GRAM,
    );
    let printed = rounding::dose(&exact, desk.system, scale(desk)).named(
        "hardness.supply.buffer",
        "The same, as printed",
        "m_supply,print",
        &GRAM,
    );
    out.buffer_for_supply = Some(desk.book.publish(printed));
}

pub(super) fn goal(desk: &mut Desk<'_>) -> Figure<CarbonateHardness> {
    match &desk.site.goals.carbonate_hardness {
        Some(own) => {
            Figure::stated(own.value, "K_goal", "goal for carbonate hardness", &DEGREE_KH, &desk.place(own.span))
        }
        None => {
            desk.assume(Assumption::new(
                "Goal for carbonate hardness",
                "7.0\u{a0}°dKH",
                "a goal of the firm's own, in the site file",
                "common practice",
            ));
            Figure::cited(GOAL_DKH, "K_goal", "goal for carbonate hardness", &DEGREE_KH, &POND_TARGETS)
        }
    }
}

/// What is wanted of a buffer, with the readings that decide whether it may be given.
pub(super) struct Wanted {
    row: &'static Substance,
    purity: Figure<Ratio>,
    /// Where to.
    pub goal: Figure<CarbonateHardness>,
    read: Figure<CarbonateHardness>,
    low: Figure<CarbonateHardness>,
    /// From the reading to the goal.
    pub needed: Figure<CarbonateHardness>,
    /// The same from the highest that the reading allows: what is dosed.
    rise: Figure<CarbonateHardness>,
    /// The most that a day may rise.
    step: Figure<CarbonateHardness>,
    total: Figure<AmmoniaNitrogen>,
    warmth: Figure<ThermodynamicTemperature>,
    ph: Figure<Ph>,
}

impl Wanted {
    fn fewest(&self) -> Figure<Ratio> {
        (&self.rise / &self.step).rounded(Way::Up, 1.0, &ONE)
    }
}

/// What buffer the water wants; nothing where it is at its goal, or where a reading is missing that the dose rests on.
pub(super) fn wanted(
    desk: &mut Desk<'_>,
    ions: Option<&WaterPlan>,
    range: &kinder::Hardness,
    out: &mut Correction,
) -> Option<Wanted> {
    let ammonia = readings::fresh(desk, |r| r.ammonia.as_ref());
    let temperature = readings::fresh(desk, |r| r.temperature.as_ref());
    let (Some(total), Some(warmth), Some((ph, _)), Some(_)) = (ammonia, temperature, readings::worst_ph(desk), ions)
    else {
        out.buffer_untold = true;
        return None;
    };
    let total = kinder::leaf(desk, total, "N", "total ammonia as nitrogen", &AMMONIA_N);
    let warmth = kinder::temperature(desk, warmth);
    let (row, own) = chosen(desk, Purpose::Buffer, "sodium-bicarbonate");
    let row = row?;
    let purity = purity(row, own);
    let goal = goal(desk);
    let read = &range.read;
    let names = ["hardness.buffer.rise", "Rise in carbonate hardness", "ΔK"];
    let rise = |from: &Figure<CarbonateHardness>, [id, title, symbol]: [&str; 3]| {
        (&goal - from).named(id, title, symbol, &DEGREE_KH)
    };
    let as_read = rise(read, names);
    if as_read.si() <= 0.0 {
        return None;
    }
    // The kinder end is dosed. Where the kit cannot tell the reading from the goal, the reading is all there is to go by.
    let kinder = rise(&range.high, names);
    let (rise, needed) = if kinder.si() > 0.0 && kinder.si() < as_read.si() {
        let of_read = ["hardness.buffer.rise-read", "Rise in carbonate hardness from the reading itself", "ΔK_read"];
        (kinder, rise(read, of_read))
    } else {
        (as_read.clone(), as_read)
    };
    let step = match &desk.site.practice.hardness_step {
        Some(own) => Figure::stated(own.value, "s_day", "largest rise in a day", &DEGREE_KH, &desk.place(own.span)),
        None => {
            desk.assume(Assumption::new(
                "Largest rise of carbonate hardness in a day",
                "1\u{a0}°dKH",
                "no published limit was found",
                "common practice",
            ));
            Figure::cited(HARDNESS_STEP_DKH, "s_day", "largest rise in a day", &DEGREE_KH, &HARDNESS_STEP)
        }
    };
    let (read, low) = (range.read.clone(), range.low.clone());
    Some(Wanted { row, purity, goal, read, low, needed, rise, step, total, warmth, ph })
}

/// What the whole correction takes, as sold: by reading and tape as they are, and by the ends that kit and tape leave open.
fn takes(desk: &mut Desk<'_>, volume: &VolumePlan, wanted: &Wanted) -> [Figure<Mass>; 3] {
    let (row, purity) = (wanted.row, &wanted.purity);
    let ends = [
        ("", "Buffer in all, by reading and tape", "m_all", &wanted.needed, &volume.total),
        ("-least", "Buffer in all, least", "m_all,low", &wanted.rise, &volume.low),
    ];
    let [best, least] = ends.map(|(end, title, symbol, rise, volume)| {
        dosing::buffer(rise, volume, row, purity).named(format!("hardness.buffer.takes{end}"), title, symbol, &GRAM)
    });
    let most = dosing::buffer(&(&wanted.goal - &wanted.low), &volume.high, row, purity).named(
        "hardness.buffer.takes-most",
        "Buffer in all, most",
        "m_all,high",
        &GRAM,
    );
    [best, least, most].map(|figure| desk.book.publish(figure))
}

/// The highest pH after the last dose where the readings stand at an end of what the kits leave open: each of the three that it may be,
/// as for the readings themselves.
fn ph_at_end(
    (id, symbol): (&str, &str),
    ions: &WaterPlan,
    read: &Readings,
    (addition, all): (&Addition, f64),
    doses: [&Rc<Node>; 2],
) -> Option<Figure<Ph>> {
    let composed = compose(read).ok()?;
    let dosed = composed.water.with(addition, all);
    let inputs = water::at_end(ions, read);
    let with_doses: Vec<_> = inputs.iter().chain(doses).cloned().collect();
    let (closed, rest, before) =
        (dosed.closed().ok()?, Stage::at_rest(&dosed).ok()?.state, Stage::at_rest(&composed.water).ok()?.state);
    let line = |(end, title, sub): (&str, &str, &str), state: &State, inputs: &[Rc<Node>]| {
        let names = [&*format!("{id}-{end}"), title, &*format!("{symbol},{sub}")];
        figures::ph(names, state.ph, state, inputs.to_vec()).meaning::<Ratio>()
    };
    let closed = line(
        ("closed", "pH after the last dose at those ends of the readings, closed to the air", "closed"),
        &closed,
        &with_doses,
    );
    let rest = line(
        ("rest", "pH after the last dose at those ends of the readings, at rest with air", "rest"),
        &rest,
        &with_doses,
    );
    let before = line(
        ("before", "pH before the doses at those ends of the readings, at rest with air", "rest,0"),
        &before,
        &inputs,
    );
    let read_ph = water::ph_at_end(ions, read)?;
    let carried = &read_ph + &(rest - before);
    Some(crate::workings::maximum(&[read_ph, closed, carried])?.meaning())
}

/// An end where the readings' ends make no one water: what each reading does alone, added up.
pub(super) fn added_up<Q: Si>(best: f64, moves: &[f64; MOVED.len()], unit: &'static Unit) -> Figure<Q> {
    let place = "the same water, found anew with one reading at an end of its kit's step";
    let leaf = |value: f64, symbol: &str, title: &str| -> Figure<Q> {
        Figure::stated(Q::from_si(unit.si(value)), symbol, title, unit, place)
    };
    let each = MOVED.iter().zip(moves).filter(|(_, moved)| **moved != 0.0);
    let each =
        each.map(|((symbol, what), moved)| leaf(*moved, &format!("Δ_{symbol}"), &format!("what {what} does alone")));
    let all: Vec<Figure<Q>> =
        std::iter::once(leaf(best, "as_read", "by the readings as they are")).chain(each).collect();
    crate::workings::sum(&all)
}

/// Plans the doses; false where there are none, with the reason in `out`.
pub(super) fn plan(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    ions: &WaterPlan,
    wanted: &Wanted,
    base: &Water,
    out: &mut Correction,
) -> bool {
    let Wanted { row, purity, goal, read, rise, total, warmth, ph, .. } = wanted;
    let row: &'static Substance = row;
    let Some(addition) = figures::addition_of(row.id) else { return false };
    let fewest = wanted.fewest();
    let hours = course::hours(desk, base);
    let limits = DayLimits {
        ph: PH_STEP_LIMIT,
        // A hair is left to the rounding of the division.
        alkalinity: ions.molal(wanted.step.si()) * (1.0 + 1e-9),
        hardness: f64::INFINITY,
        chloride: f64::INFINITY,
    };
    // More, smaller doses until no dose moves pH further than it may.
    let amount = ions.molal(rise.si() / row.charge);
    let Some(split) = course::split(&hours, addition, amount, &limits, fewest.si() as u32) else {
        // Too few days, or a water that the chemistry refuses.
        let solved = Stage::closed(base.with(addition, amount)).and_then(|stage| Stage::at_rest(&stage.water));
        out.ammonia_forbids = solved.is_ok();
        out.buffer_untold = solved.is_err();
        return false;
    };
    let count = split.days() as f64;
    let count_figure = if (count - fewest.si()).abs() < 0.5 {
        wanted.fewest().named("hardness.buffer.count", "Number of doses", "n_dose", &ONE)
    } else {
        let stated: Figure<Ratio> = Figure::counted(
            count,
            "n_pH",
            "doses, more than the daily step asks, so that pH moves by 0.5 at most",
            &ONE,
        );
        stated.named("hardness.buffer.count", "Number of doses", "n_dose", &ONE).from_source(&PH_STEP)
    };
    let exact = dosing::buffer(&(rise / &count_figure), &volume.low, row, purity).named(
        "hardness.buffer.exact",
        "One dose",
        "m_dose",
        &GRAM,
    );
    let dose = rounding::dose(&exact, desk.system, scale(desk));
    let dose = dose.named("hardness.buffer.dose", "One dose, as printed", "m_dose,print", &GRAM).remark(format!(
        "Printed as {}: rounded down to what a scale shows",
        rounding::mass_words(dose.value(), desk.system, Way::Down)
    ));
    if dose.si() <= 0.0 {
        return false;
    }
    stock(desk, "hardness.buffer.dose", &dose);
    let buy = (&dose * &count_figure).named("hardness.buffer.buy", "All doses", "m_dose,all", &GRAM);
    let rise_least = dosing::rise_of(&dose, &volume.high, row, purity).named(
        "hardness.buffer.rise-least",
        "Rise of one dose at the high volume",
        "r_low",
        &DEGREE_KH,
    );
    let rise_most = dosing::rise_of(&dose, &volume.low, row, purity).named(
        "hardness.buffer.rise-most",
        "Rise of one dose at the low volume",
        "r_high",
        &DEGREE_KH,
    );
    let after_least = (read + &(&rise_least * &count_figure)).named(
        "hardness.buffer.after-least",
        "After the last dose, high volume",
        "K_end,low",
        &DEGREE_KH,
    );
    let after_most = (read + &(&rise_most * &count_figure)).named(
        "hardness.buffer.after-most",
        "After the last dose, low volume",
        "K_end,high",
        &DEGREE_KH,
    );
    let few = (2.0..=FEW_DOSES).contains(&count);
    let on_the_way = (1..if few { count as u32 } else { 1 })
        .map(|doses| {
            let times: Figure<Ratio> = Figure::counted(f64::from(doses), &doses.to_string(), "doses so far", &ONE);
            [("least", "high", &rise_least), ("most", "low", &rise_most)].map(|(end, volume, rise)| {
                let id = format!("hardness.buffer.after-{doses}-{end}");
                let title = format!("After dose {doses}, {volume} volume");
                let symbol = format!("K_{doses},{}", if end == "least" { "low" } else { "high" });
                (read + &(rise * &times)).named(id, &title, &symbol, &DEGREE_KH)
            })
        })
        .collect::<Vec<_>>();
    // What is printed, at the low volume: the most that a dose does.
    let each = ions.molal(rise_most.si() / row.charge);
    let followed = split.with(&hours, addition, each);
    let (Some(followed), Ok(rest_before)) = (followed, Stage::at_rest(base)) else {
        out.buffer_untold = true;
        return false;
    };
    let Some(last) = followed.first().last() else { return false };
    let doses = [rise_most.node(), count_figure.node()];
    let inputs: Vec<_> = ions.inputs.iter().chain(doses).cloned().collect();
    let names = ["ph.dose-shift", "Largest change of pH by one dose", "ΔpH"];
    let Some(ph_shift) = followed.line(names, &course::inputs(desk, ions, doses)) else {
        out.buffer_untold = true;
        return false;
    };
    let ph_shift = ph_shift
        .remark("Activities and ion pairs are counted. weirbook water with these readings and --add gives the same pH");
    let closed = figures::ph(
        ["ph.after-closed", "pH after the last dose, closed to the air", "pH_closed"],
        last.closed.state.ph,
        &last.closed.state,
        inputs.clone(),
    );
    let rested = figures::ph(
        ["ph.after-rest", "pH after the last dose, at rest with air", "pH_rest"],
        last.rest.state.ph,
        &last.rest.state,
        inputs.clone(),
    );
    let before = figures::ph(
        ["ph.rest-before", "pH before the doses, at rest with air", "pH_rest,0"],
        rest_before.state.ph,
        &rest_before.state,
        ions.inputs.clone(),
    );
    // Fish and plants hold the water off its rest with air; they go on doing so.
    let read_ph = ph.meaning::<Ratio>();
    let carried = &read_ph + &(rested.meaning::<Ratio>() - before.meaning::<Ratio>());
    let ends = [read_ph, closed.meaning::<Ratio>(), carried.clone()];
    let highest = crate::workings::maximum(&ends).unwrap_or(carried);
    let ph_after =
        highest.meaning::<Ph>().named("ph.after", "Highest pH to expect after the last dose", "pH_after", &ONE);
    let open = water::resolution(desk, ions);
    let all = each * count;
    let found = ranges_with_ends(&ions.read, &open.steps, |read, composed| {
        let dosed = composed.water.with(addition, all);
        let moved = Stage::at_rest(&dosed)?.state.ph - Stage::at_rest(&composed.water)?.state.ph;
        Ok([read.ph.max(dosed.closed()?.ph).max(read.ph + moved)])
    });
    let (low, high) = match found {
        Ok([(range, [low, high])]) => {
            (Some((range.best, low)), Some((range.best, high)).filter(|_| range.high > ph_after.si()))
        }
        Err(_) => (None, None),
    };
    let doses = [rise_most.node(), count_figure.node()];
    let mut end = |(id, title, symbol): (&str, &str, &str), at: Option<(f64, End)>| -> Figure<Ph> {
        let line = match at {
            Some((_, End::At(read))) => ph_at_end((id, symbol), ions, &read, (addition, all), doses),
            Some((best, End::Added(moves))) => Some(added_up(best, &moves, &ONE)),
            None => None,
        };
        let line = line.unwrap_or_else(|| ph_after.clone());
        desk.book.publish(line.named(id, title, symbol, &ONE).remark(open.words.clone()))
    };
    let ph_ends = [
        end(("ph.after-least", "Highest pH after the last dose, least by what the kits can tell", "pH_after,low"), low),
        end(("ph.after-most", "Highest pH after the last dose, most by what the kits can tell", "pH_after,high"), high),
    ];
    let highest = followed.first().iter().map(|day| day.closed.state.ph).fold(ph_after.si(), f64::max);
    if highest > PH_HIGHEST.max(ph.si()) {
        out.ammonia_forbids = true;
        return false;
    }
    let share =
        ammonia::unionised_share("ammonia.share-after", "Un-ionised share after the last dose", &ph_after, warmth)
            .called("f_NH₃,after");
    let unionised_after =
        ammonia::unionised("ammonia.unionised-after", "Un-ionised ammonia after the last dose", total, &share)
            .called("c_NH₃,after");
    // The kinder end decides: the highest pH and the most ammonia that the kits allow.
    let top = kinder::highest_ammonia(desk, total);
    let share = ammonia::unionised_share(
        "ammonia.share-after-most",
        "Un-ionised share at the highest pH that the kits allow",
        &ph_ends[1],
        warmth,
    )
    .called("f_NH₃,after,high");
    let unionised_most = ammonia::unionised(
        "ammonia.unionised-after-most",
        "Un-ionised ammonia after the last dose, at most",
        &top,
        &share,
    )
    .called("c_NH₃,after,high");
    if unionised_after.in_unit(&MILLIGRAMS).max(unionised_most.in_unit(&MILLIGRAMS)) > UNIONISED_LIMIT {
        // Raising hardness raises pH and with it toxic ammonia: ammonia comes first (NH-08).
        out.ammonia_forbids = true;
        desk.book.publish(unionised_after);
        desk.book.publish(unionised_most);
        return false;
    }
    let stir = dosing::water_to_dissolve(
        "hardness.buffer.stir",
        &dose,
        row,
        CELSIUS.of(warmth.si()),
        rounding::bucket_step(desk.system),
    );
    let gained = &rise_least * &count_figure;
    let low_after = (&wanted.low + &gained).named(
        "hardness.after.low",
        "Lowest carbonate hardness after the doses",
        "K_after",
        &DEGREE_KH,
    );
    out.hardness_after = Some(low_after);
    let days = (0..count as u64).map(|i| day(desk.date, i + 1)).collect();
    let takes = takes(desk, volume, wanted);
    out.buffer = Some(BufferPlan {
        takes,
        substance: row,
        goal: desk.book.publish(goal.named("hardness.goal", "Goal for carbonate hardness", "K_goal", &DEGREE_KH)),
        start: read.clone(),
        count: desk.book.publish(count_figure),
        dose: desk.book.publish(dose),
        buy: desk.book.publish(buy),
        rise_least: desk.book.publish(rise_least),
        rise_most: desk.book.publish(rise_most),
        after_least: desk.book.publish(after_least),
        after_most: desk.book.publish(after_most),
        on_the_way: on_the_way.into_iter().map(|ends| ends.map(|end| desk.book.publish(end))).collect(),
        stir: stir.map(|s| desk.book.publish(s)),
        days,
        ph_shift: desk.book.publish(ph_shift),
        ph_after: desk.book.publish(ph_after),
        ph_ends,
        unionised_after: desk.book.publish(unionised_after),
        unionised_most: desk.book.publish(unionised_most),
    });
    true
}
