//! Bringing the water to where it belongs: buffer, calcium, salt, water changes; and the change of an emergency.

use chrono::{Days, NaiveDate};

use super::{
    Assumption, CopperLimits, Desk, Emergency, FirstAid, Missing, VolumePlan, WaterPlan, kinder, readings, rounding,
};
use crate::chem::solution::{self, Water};
use crate::chem::speciation::Refusal;
use crate::chem::{ammonia, chlorine, dosing, figures};
use crate::reference::chemistry::Addition;
use crate::reference::{
    AMMONIA_LIMIT, AMMONIA_PER_NITROGEN, ATOMIC_WEIGHTS, CALCIUM_GOAL, CARBONATE_CONSTANTS, CHANGE_SHARE,
    CHANGE_SHARE_DAY, CREEP_GOAL_DKH, CREEP_TRIGGER_DKH, GENERAL_STEP_DGH, GOAL_DKH, HARDNESS_STEP, HARDNESS_STEP_DKH,
    PH_HIGHEST, PH_STEP, PH_STEP_LIMIT, POND_TARGETS, Purpose, SALT_CONDUCTIVITY, SALT_ROUTINE, Substance,
    UNIONISED_LIMIT, WINDOW_HIGH_DKH, WINDOW_LOW_DKH, substance,
};
use crate::units::table::{
    AMMONIA_N, CALCIUM_MG, CELSIUS, COPPER, DEGREE_GH, DEGREE_KH, GRAM, HOUR, LITRE, MICROSIEMENS, MILLIGRAMS,
    MILLIGRAMS_PER_MICROSIEMENS, ONE, PERCENT,
};
use crate::units::{
    AmmoniaNitrogen, Calcium, CarbonateHardness, Conductivity, GeneralHardness, Mass, MassConcentration, Ph, Ratio, Si,
    Time, Volume,
};
use crate::workings::{Figure, Way};

/// What is corrected.
#[derive(Clone, Debug, Default)]
pub struct Correction {
    /// Buffer doses.
    pub buffer: Option<BufferPlan>,
    /// Calcium doses.
    pub calcium: Option<CalciumPlan>,
    /// Salt for the panel's sake.
    pub salt: Option<SaltPlan>,
    /// Water changes that bring hardness down.
    pub changes: Option<ChangePlan>,
    /// Water changes that bring copper down.
    pub copper: Option<ChangePlan>,
    /// Buffer is wanted, but ammonia forbids it.
    pub ammonia_forbids: bool,
    /// Buffer is wanted, but a reading it rests on is missing.
    pub buffer_untold: bool,
    /// Changes are wanted, but this supply cannot bring hardness down that far.
    pub supply_cannot: bool,
    /// Low end of carbonate hardness after the correction.
    pub hardness_after: Option<Figure<CarbonateHardness>>,
    /// Low end of calcium after the correction.
    pub calcium_after: Option<Figure<Calcium>>,
    /// Calcium after water changes, the most it may be: what a dose must start from, so as not to overshoot.
    pub calcium_changed: Option<Figure<Calcium>>,
    /// Low end of general hardness after the correction.
    pub general_after: Option<Figure<GeneralHardness>>,
    /// Conductivity after the correction, where it is known before.
    pub conductivity_after: Option<Figure<Conductivity>>,
    /// Buffer for each thousand litres (or gallons) of supply, where the supply is softer than the window.
    pub buffer_for_supply: Option<Figure<Mass>>,
}

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
    /// Un-ionised ammonia at that pH.
    pub unionised_after: Figure<MassConcentration>,
}

/// Calcium by day.
#[derive(Clone, Debug)]
pub struct CalciumPlan {
    /// What.
    pub substance: &'static Substance,
    /// Where to.
    pub goal: Figure<Calcium>,
    /// Reading it starts from.
    pub start: Figure<Calcium>,
    /// The lowest the water may hold before the doses.
    pub low_before: Figure<Calcium>,
    /// Number of doses.
    pub count: Figure<Ratio>,
    /// One dose as printed.
    pub dose: Figure<Mass>,
    /// All doses.
    pub buy: Figure<Mass>,
    /// After the last dose, at the high volume.
    pub after_least: Figure<Calcium>,
    /// After the last dose, at the low volume.
    pub after_most: Figure<Calcium>,
    /// Days.
    pub days: Vec<NaiveDate>,
}

/// Salt, a third a day.
#[derive(Clone, Debug)]
pub struct SaltPlan {
    /// All of it.
    pub total: Figure<Mass>,
    /// One of three doses, as printed.
    pub dose: Figure<Mass>,
    /// Days.
    pub days: Vec<NaiveDate>,
}

/// Why water is changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeReason {
    /// Hardness crept up.
    Hardness,
    /// Copper is at stop or over.
    Copper,
}

/// Equal water changes.
#[derive(Clone, Debug)]
pub struct ChangePlan {
    /// Why.
    pub reason: ChangeReason,
    /// How many.
    pub count: Figure<Ratio>,
    /// Share of one.
    pub share: Figure<Ratio>,
    /// Volume of one, as printed.
    pub volume: Figure<Volume>,
    /// The same by one flow-through.
    pub through: Figure<Volume>,
    /// Time at the hose for one.
    pub time: Option<Figure<Time>>,
    /// Neutraliser for one, as printed.
    pub thiosulfate: Option<Figure<Mass>>,
    /// Buffer for the new water of one, where the supply is softer than the window.
    pub buffer: Option<Figure<Mass>>,
    /// Total ammonia must test at or under this before each change.
    pub ammonia_gate: Option<Figure<AmmoniaNitrogen>>,
    /// The owner's ammonia kit steps wider than that.
    pub gate_too_fine: bool,
    /// Carbonate hardness after the last, where that is known.
    pub hardness_after: Option<Figure<CarbonateHardness>>,
    /// Copper after the last.
    pub copper_after: Option<Figure<MassConcentration>>,
    /// Days, one change each.
    pub days: Vec<NaiveDate>,
    /// Highest share of the pond that one change may be, had it the low volume: for the check.
    pub limit: Figure<Ratio>,
}

/// Doses up to which what each leads to has a line of its own: more numbers the margin does not hold.
const FEW_DOSES: f64 = 3.0;

/// Which change of water a line belongs to, as a subscript: of the lines of one kind, each has its own symbol.
fn which(id: &str) -> &'static str {
    if id.contains("quarter") {
        "quarter"
    } else if id.starts_with("emergency") || id == "change" {
        "poison"
    } else {
        "change"
    }
}

/// The day so many days after another.
pub fn day(from: NaiveDate, days: u64) -> NaiveDate {
    from.checked_add_days(Days::new(days)).unwrap_or(from)
}

fn chosen(desk: &Desk<'_>, purpose: Purpose, default: &str) -> (Option<&'static Substance>, Option<(Ratio, String)>) {
    let own = desk.site.substances.iter().find(|s| substance(&s.id).is_some_and(|row| row.purpose == purpose));
    let row = own.and_then(|s| substance(&s.id)).or_else(|| substance(default));
    let purity = own.and_then(|s| s.purity.as_ref()).map(|p| (p.value, desk.place(p.span)));
    (row, purity)
}

fn purity(desk: &mut Desk<'_>, row: &'static Substance, own: Option<(Ratio, String)>) -> Figure<Ratio> {
    let share = format!("q({})", row.formula);
    if let Some((value, place)) = own {
        return Figure::stated(value, &share, &format!("share of {} in the product", row.formula), &PERCENT, &place);
    }
    if row.purity < 1.0 {
        desk.assume(Assumption::new(
            &format!("Purity of {}", row.name),
            &format!(
                "{}\u{a0}%, the pure dihydrate",
                crate::units::plain(row.purity * 100.0, crate::units::Digits::Places(1))
            ),
            "the share printed on the bag, in the site file",
            "derived from atomic weights",
        ));
        return Figure::cited(
            row.purity * 100.0,
            &share,
            &format!("share of {} in the product", row.formula),
            &PERCENT,
            &ATOMIC_WEIGHTS,
        );
    }
    Figure::cited(100.0, &share, "share of the pure substance", &PERCENT, &ATOMIC_WEIGHTS)
}

fn scale(desk: &Desk<'_>) -> Mass {
    desk.site.practice.scale_step.as_ref().map_or(Mass::from_si(GRAM.size), |s| s.value)
}

/// The water as it is, by the kinder end of each reading, with nothing corrected yet.
pub fn as_read(desk: &mut Desk<'_>) -> Correction {
    let mut out = Correction::default();
    let Some(reading) = readings::fresh(desk, |r| r.carbonate_hardness.as_ref()) else {
        desk.miss(Missing::new("carbonate hardness", "drop test, 0.5 °dKH a step on 10 mL"));
        return out;
    };
    let range = kinder::hardness(desk, reading, "hardness.reading", "pond");
    out.hardness_after = Some(range.low);
    if let Some(reading) = readings::fresh(desk, |r| r.calcium.as_ref()) {
        if kinder::kit(desk, "calcium").and_then(|k| k.step).is_none() {
            desk.assume(Assumption::new(
                "Step of the calcium kit",
                "taken as read",
                "the kit's own step, in the site file",
                "common practice",
            ));
        }
        let read = kinder::leaf(desk, reading, "Ca", "calcium, as read", &CALCIUM_MG);
        out.calcium_after =
            Some(kinder::lowest(desk, reading, &read, ["calcium", "calcium.reading.low", "Ca_low"], &CALCIUM_MG));
    }
    if let Some(reading) = readings::fresh(desk, |r| r.general_hardness.as_ref()) {
        let read = kinder::leaf(desk, reading, "G", "general hardness, as read", &DEGREE_GH);
        let names = ["general hardness", "hardness.general.low", "G_low"];
        out.general_after = Some(kinder::lowest(desk, reading, &read, names, &DEGREE_GH));
    }
    out
}

/// Plans all corrections but that of copper, which comes first where copper stands at stop.
pub fn plan(desk: &mut Desk<'_>, volume: &VolumePlan, ions: Option<&WaterPlan>) -> Correction {
    let mut out = as_read(desk);
    let Some(reading) = readings::fresh(desk, |r| r.carbonate_hardness.as_ref()) else { return out };
    let range = kinder::hardness(desk, reading, "hardness.reading", "pond");
    let supply = desk.site.supply.readings.carbonate_hardness.clone();
    // A supply over the window rules copper out; nothing is added for copper's sake then.
    let supply_over = supply.as_ref().is_some_and(|s| s.value.si() >= DEGREE_KH.si(WINDOW_HIGH_DKH));
    let wanted = desk.site.goals.carbonate_hardness.clone();
    let too_soft = range.low.si() < DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9);
    let trigger = wanted.as_ref().map_or(DEGREE_KH.si(CREEP_TRIGGER_DKH), |g| g.value.si() * (1.0 + 1e-9));
    if too_soft && !supply_over {
        buffer(desk, volume, ions, &range, &mut out);
    } else if range.high.si() > trigger && !supply_over && !too_soft {
        hardness_changes(desk, volume, &range, &mut out);
    }
    let readable = readings::fresh(desk, |r| r.calcium.as_ref()).filter(|r| !r.less_than);
    if let (Some(reading), Some(low), false) = (readable, out.calcium_after.clone(), supply_over) {
        let last = [
            out.buffer.as_ref().and_then(|b| b.days.last().copied()),
            out.changes.as_ref().and_then(|c| c.days.last().copied()),
        ];
        let after = last.into_iter().flatten().max();
        let read = kinder::leaf(desk, reading, "Ca", "calcium, as read", &CALCIUM_MG);
        let start = out.calcium_changed.clone().unwrap_or(read);
        calcium_doses(desk, volume, &start, &low, after, &mut out);
    }
    if let (Some(general), Some(calcium), Some(low)) = (&out.general_after, &out.calcium, &out.calcium_after) {
        let gained = (low - &calcium.low_before).meaning::<GeneralHardness>();
        out.general_after = Some((general + &gained).named(
            "hardness.general-after-calcium",
            "General hardness after the calcium, low end",
            "G_after",
            &DEGREE_GH,
        ));
    }
    let mut water = ions.map(|ions| ions.composed.water);
    if let (Some(ions), Some(start)) = (ions, water)
        && let Some(buffer) = &out.buffer
    {
        let rise = buffer.rise_most.si() * buffer.count.si();
        water = Some(ions.dosed(&start, buffer.substance.id, rise / buffer.substance.charge));
    }
    if let (Some(ions), Some(start), Some(calcium)) = (ions, water, &out.calcium) {
        let gained = &calcium.after_most - &calcium.start;
        let dosed = ions.dosed(&start, calcium.substance.id, gained.si() / calcium.substance.calcium);
        water = Some(dosed);
        let names = ["conductivity.rise-calcium", "Rise in conductivity by calcium", "Δκ_Ca"];
        let lift = figures::conductivity_gained(names, &start, &dosed, inputs_with(ions, gained.node()));
        if let (Some(before), Ok(lift)) = (&out.conductivity_after, lift) {
            let after = (before + &lift).named(
                "conductivity.after-all",
                "Conductivity after buffer and calcium, about",
                "κ_end",
                &MICROSIEMENS,
            );
            out.conductivity_after = Some(desk.book.publish(after));
        }
    }
    salt(desk, volume, ions.zip(water), &mut out);
    if let (Some(reading), false) = (&supply, supply_over)
        && reading.value.si() < DEGREE_KH.si(WINDOW_LOW_DKH)
    {
        supply_buffer(desk, reading, &mut out);
    }
    out
}

/// Buffer for a volume of supply that is softer than the window, as printed; `None` for a supply that needs none.
fn buffer_for(desk: &mut Desk<'_>, id: &str, volume: &Figure<Volume>) -> Option<Figure<Mass>> {
    let reading = desk.site.supply.readings.carbonate_hardness.clone()?;
    if reading.value.si() >= DEGREE_KH.si(WINDOW_LOW_DKH) {
        return None;
    }
    let (row, own) = chosen(desk, Purpose::Buffer, "sodium-bicarbonate");
    let row = row?;
    let purity = purity(desk, row, own);
    let goal = goal(desk);
    let tap = kinder::leaf(desk, &reading, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    if goal.si() <= tap.si() {
        return None;
    }
    let exact = dosing::buffer(&(goal - tap), volume, row, &purity);
    let symbol = format!("m_new,{}", which(id));
    let printed =
        rounding::dose(&exact, desk.system, scale(desk)).named(id, "Buffer for the new water", &symbol, &GRAM);
    (printed.si() > 0.0).then(|| desk.book.publish(printed))
}

/// Buffer that brings a thousand litres of soft supply to the goal.
fn supply_buffer(desk: &mut Desk<'_>, reading: &crate::site::Reading<CarbonateHardness>, out: &mut Correction) {
    let (Some(row), own) = chosen(desk, Purpose::Buffer, "sodium-bicarbonate") else { return };
    let purity = purity(desk, row, own);
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

fn goal(desk: &mut Desk<'_>) -> Figure<CarbonateHardness> {
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

/// What a run of doses does to pH: the largest shift, closed and at rest with air, and the pH after the last.
struct PhPath {
    shift: f64,
    after: f64,
    residual: f64,
    iterations: u32,
}

/// What the lines of a dose rest on: the readings of the water, and the dose.
fn inputs_with(ions: &WaterPlan, dose: &std::rc::Rc<crate::workings::Node>) -> Vec<std::rc::Rc<crate::workings::Node>> {
    ions.inputs.iter().chain([dose]).cloned().collect()
}

/// Follows `count` doses of `dose` (mol/kg) of a buffer.
fn ph_path(start: &Water, buffer: &Addition, dose: f64, count: u32) -> Result<PhPath, Refusal> {
    let first = start.closed()?;
    let rested_first = start.opened(solution::AIR)?.1.ph;
    let mut path = PhPath { shift: 0.0, after: first.ph, residual: 0.0, iterations: 0 };
    let (mut water, mut now, mut at_rest) = (*start, first.ph, rested_first);
    for _ in 0..count {
        water = water.with(buffer, dose);
        let closed = water.closed()?;
        let rested = water.opened(solution::AIR)?.1;
        // Where the water itself drifts, only the part made by the dose counts (Decisions).
        path.shift = path.shift.max((closed.ph - now).abs()).max((rested.ph - at_rest).abs());
        path.after = path.after.max(closed.ph).max(first.ph + (rested.ph - rested_first));
        path.residual = path.residual.max(closed.residual.abs()).max(rested.residual.abs());
        path.iterations = closed.iterations;
        (now, at_rest) = (closed.ph, rested.ph);
    }
    Ok(path)
}

fn buffer(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    ions: Option<&WaterPlan>,
    range: &kinder::Hardness,
    out: &mut Correction,
) {
    let ammonia = readings::fresh(desk, |r| r.ammonia.as_ref());
    let temperature = readings::fresh(desk, |r| r.temperature.as_ref());
    let ph = readings::worst_ph(desk);
    let (Some(total), Some(warmth), Some((ph, _)), Some(ions)) = (ammonia, temperature, ph, ions) else {
        out.buffer_untold = true;
        return;
    };
    let total = kinder::leaf(desk, total, "N", "total ammonia as nitrogen", &AMMONIA_N);
    let warmth_si = warmth.value.si();
    let warmth = kinder::temperature(desk, warmth);
    let (Some(row), own) = chosen(desk, Purpose::Buffer, "sodium-bicarbonate") else { return };
    let purity = purity(desk, row, own);
    let goal = goal(desk);
    let rise = (&goal - &range.read).named("hardness.buffer.rise", "Rise in carbonate hardness", "ΔK", &DEGREE_KH);
    if rise.si() <= 0.0 {
        return;
    }
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
    let fewest = (&rise / &step).rounded(Way::Up, 1.0, &ONE);
    // More, smaller doses until no dose moves pH further than it may.
    let mut count = fewest.si();
    let Some(addition) = figures::addition_of(row.id) else { return };
    let path = loop {
        let dose = ions.molal(rise.si() / count / row.charge);
        let Ok(path) = ph_path(&ions.composed.water, addition, dose, count as u32) else {
            out.buffer_untold = true;
            return;
        };
        if path.shift <= PH_STEP_LIMIT || count >= 60.0 {
            break path;
        }
        count += 1.0;
    };
    if path.shift > PH_STEP_LIMIT || path.after > PH_HIGHEST.max(ph.si()) {
        out.ammonia_forbids = true;
        return;
    }
    let count_figure = if (count - fewest.si()).abs() < 0.5 {
        fewest.named("hardness.buffer.count", "Number of doses", "n_dose", &ONE)
    } else {
        let stated: Figure<Ratio> = Figure::counted(
            count,
            "n_pH",
            "doses, more than the daily step asks, so that pH moves by 0.5 at most",
            &ONE,
        );
        stated.named("hardness.buffer.count", "Number of doses", "n_dose", &ONE).from_source(&PH_STEP)
    };
    let exact = dosing::buffer(&(&rise / &count_figure), &volume.low, row, &purity).named(
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
        return;
    }
    stock(desk, "hardness.buffer.dose", &dose);
    let buy = (&dose * &count_figure).named("hardness.buffer.buy", "All doses", "m_dose,all", &GRAM);
    let rise_least = dosing::rise_of(&dose, &volume.high, row, &purity).named(
        "hardness.buffer.rise-least",
        "Rise of one dose at the high volume",
        "r_low",
        &DEGREE_KH,
    );
    let rise_most = dosing::rise_of(&dose, &volume.low, row, &purity).named(
        "hardness.buffer.rise-most",
        "Rise of one dose at the low volume",
        "r_high",
        &DEGREE_KH,
    );
    let after_least = (&range.read + &(&rise_least * &count_figure)).named(
        "hardness.buffer.after-least",
        "After the last dose, high volume",
        "K_end,low",
        &DEGREE_KH,
    );
    let after_most = (&range.read + &(&rise_most * &count_figure)).named(
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
                (&range.read + &(rise * &times)).named(id, &title, &symbol, &DEGREE_KH)
            })
        })
        .collect::<Vec<_>>();
    let inputs: Vec<_> = ions.inputs.iter().chain([rise_most.node(), count_figure.node()]).cloned().collect();
    let equation = "K = C·(α₁ + 2 α₂) + OH − H, closed and at rest with air";
    let ph_shift: Figure<Ph> = Figure::solved(
        Ph::from_si(path.shift),
        equation,
        inputs.clone(),
        path.residual,
        path.iterations,
    )
    .named("ph.dose-shift", "Largest change of pH by one dose", "ΔpH", &ONE)
    .from_source(&CARBONATE_CONSTANTS)
    .remark("Activities and ion pairs are counted. `weirbook water` with these readings and `--add` gives the same pH");
    let ph_after: Figure<Ph> =
        Figure::solved(Ph::from_si(path.after), equation, inputs, path.residual, path.iterations)
            .named("ph.after", "Highest pH to expect after the last dose", "pH_after", &ONE)
            .from_source(&CARBONATE_CONSTANTS);
    let share =
        ammonia::unionised_share("ammonia.share-after", "Un-ionised share after the last dose", &ph_after, &warmth)
            .called("f_NH₃,after");
    let unionised_after =
        ammonia::unionised("ammonia.unionised-after", "Un-ionised ammonia after the last dose", &total, &share)
            .called("c_NH₃,after");
    if unionised_after.in_unit(&MILLIGRAMS) > UNIONISED_LIMIT {
        // Raising hardness raises pH and with it toxic ammonia: ammonia comes first (NH-08).
        out.ammonia_forbids = true;
        desk.book.publish(unionised_after);
        return;
    }
    let stir = dosing::water_to_dissolve(
        "hardness.buffer.stir",
        &dose,
        row,
        CELSIUS.of(warmth_si),
        rounding::bucket_step(desk.system),
    );
    let gained = &rise_least * &count_figure;
    let low_after = (&range.low + &gained).named(
        "hardness.after.low",
        "Lowest carbonate hardness after the doses",
        "K_after",
        &DEGREE_KH,
    );
    out.hardness_after = Some(low_after);
    if let Some(reading) = readings::fresh(desk, |r| r.conductivity.as_ref()) {
        let before = kinder::leaf(desk, reading, "κ", "conductivity, as read", &MICROSIEMENS);
        let gained = (&rise_most * &count_figure).named(
            "conductivity.rise-hardness",
            "All doses together",
            "ΔK_all",
            &DEGREE_KH,
        );
        let start = &ions.composed.water;
        let dosed = ions.dosed(start, row.id, gained.si() / row.charge);
        let names = ["conductivity.rise", "Rise in conductivity", "Δκ"];
        let lift = figures::conductivity_gained(names, start, &dosed, inputs_with(ions, gained.node()));
        if let Ok(lift) = lift {
            let after = (before + lift).named(
                "conductivity.after",
                "Conductivity after the doses, about",
                "κ_after",
                &MICROSIEMENS,
            );
            out.conductivity_after = Some(desk.book.publish(after));
        }
    }
    let days = (0..count as u64).map(|i| day(desk.date, i + 1)).collect();
    out.buffer = Some(BufferPlan {
        substance: row,
        goal: desk.book.publish(goal.named("hardness.goal", "Goal for carbonate hardness", "K_goal", &DEGREE_KH)),
        start: range.read.clone(),
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
        unionised_after: desk.book.publish(unionised_after),
    });
}

fn calcium_doses(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    start: &Figure<Calcium>,
    low: &Figure<Calcium>,
    after: Option<NaiveDate>,
    out: &mut Correction,
) {
    let goal: Figure<Calcium> = match &desk.site.goals.calcium {
        Some(own) => Figure::stated(own.value, "Ca_goal", "goal for calcium", &CALCIUM_MG, &desk.place(own.span)),
        None => Figure::cited(CALCIUM_GOAL, "Ca_goal", "goal for calcium", &CALCIUM_MG, &POND_TARGETS),
    };
    let supply_brings = desk.site.supply.readings.calcium.as_ref().is_some_and(|s| s.value.si() >= goal.si());
    if start.si() >= goal.si() * (1.0 - 1e-9) || supply_brings {
        return;
    }
    let (Some(row), own) = chosen(desk, Purpose::Calcium, "calcium-chloride") else { return };
    let purity = purity(desk, row, own);
    let rise = (&goal - start).named("calcium.rise", "Rise in calcium", "ΔCa", &CALCIUM_MG);
    let step: Figure<GeneralHardness> = Figure::cited(
        GENERAL_STEP_DGH,
        "s_day,Ca",
        "largest rise of general hardness in a day",
        &DEGREE_GH,
        &HARDNESS_STEP,
    );
    let count = (&rise.meaning::<GeneralHardness>() / &step).rounded(Way::Up, 1.0, &ONE).named(
        "calcium.count",
        "Number of calcium doses",
        "n_Ca",
        &ONE,
    );
    let exact = dosing::calcium(&(&rise / &count), &volume.low, row, &purity).named(
        "calcium.exact",
        "One dose of calcium chloride",
        "m_Ca",
        &GRAM,
    );
    let dose = rounding::dose(&exact, desk.system, scale(desk));
    let dose =
        dose.named("calcium.dose", "One dose of calcium chloride, as printed", "m_Ca,print", &GRAM).remark(format!(
            "Printed as {}: rounded down to what a scale shows",
            rounding::mass_words(dose.value(), desk.system, Way::Down)
        ));
    if dose.si() <= 0.0 {
        return;
    }
    stock(desk, "calcium.dose", &dose);
    let buy = (&dose * &count).named("calcium.buy", "All doses of calcium chloride", "m_Ca,all", &GRAM);
    let after_at = |volume: &Figure<Volume>, id: &str, title: &str, symbol: &str| {
        let each = dosing::calcium_of(&dose, volume, row, &purity);
        (start + &(each * &count)).named(id, title, symbol, &CALCIUM_MG)
    };
    let after_least =
        after_at(&volume.high, "calcium.after-least", "Calcium after the last dose, high volume", "Ca_end,low");
    let after_most =
        after_at(&volume.low, "calcium.after-most", "Calcium after the last dose, low volume", "Ca_end,high");
    // One substance a day, and a clear day between bicarbonate and calcium.
    let first = after.map_or_else(|| day(desk.date, 1), |last| day(last, 2));
    let days = (0..count.si() as u64).map(|i| day(first, i)).collect();
    let gained = &after_least - start;
    out.calcium_after =
        Some((low + &gained).named("calcium.after-low", "Lowest calcium after the doses", "Ca_after", &CALCIUM_MG));
    out.calcium = Some(CalciumPlan {
        low_before: low.clone(),
        substance: row,
        goal: desk.book.publish(goal.named("calcium.goal", "Goal for calcium", "Ca_goal", &CALCIUM_MG)),
        start: start.clone(),
        count: desk.book.publish(count),
        dose: desk.book.publish(dose),
        buy: desk.book.publish(buy),
        after_least: desk.book.publish(after_least),
        after_most: desk.book.publish(after_most),
        days,
    });
}

/// Salt a litre for each µS/cm, SI: kg/m³ a S/m.
type SaltFactor = <uom::si::f64::MassDensity as std::ops::Div<uom::si::f64::ElectricalConductivity>>::Output;

/// Salt that lifts this water from a conductivity to another: by its ions where they are known, else by the published
/// factor.
fn salt_needed(
    target: &Figure<Conductivity>,
    now: &Figure<Conductivity>,
    water: Option<(&WaterPlan, Water)>,
) -> Option<Figure<MassConcentration>> {
    let names = ["salt.concentration", "Salt the water needs", "c_salt"];
    if let Some((ions, water)) = water {
        let salt = figures::addition_of("salt")?;
        // The meter is right; the ions say what salt adds to it.
        let computed = MICROSIEMENS.si(water.conductivity_25().ok()?);
        let wanted = MICROSIEMENS.of(computed + target.si() - now.si());
        let amount = water.dose_to_conductivity(salt, wanted).ok()??;
        let state = water.with(salt, amount).at(25.0).closed().ok()?;
        let inputs = ions.inputs.iter().chain([target.node(), now.node()]).cloned().collect();
        let grams = amount * salt.molar_mass * ions.density;
        return Some(figures::salt(names, MassConcentration::from_si(grams), &state, inputs));
    }
    let factor: Figure<SaltFactor> =
        Figure::cited(0.486, "c_κ", "salt a litre for each µS/cm", &MILLIGRAMS_PER_MICROSIEMENS, &SALT_CONDUCTIVITY);
    let rise = (target - now).meaning::<uom::si::f64::ElectricalConductivity>();
    let [id, title, symbol] = names;
    Some((factor * rise).named(id, title, symbol, &MILLIGRAMS))
}

/// Salt to the least conductivity the panel's own data name, if buffer leaves it under that.
fn salt(desk: &mut Desk<'_>, volume: &VolumePlan, water: Option<(&WaterPlan, Water)>, out: &mut Correction) {
    let Some(least) = desk.site.panel.as_ref().and_then(|p| p.least_conductivity.clone()) else { return };
    let Some(reading) = readings::fresh(desk, |r| r.conductivity.as_ref()) else { return };
    let now = out
        .conductivity_after
        .clone()
        .unwrap_or_else(|| kinder::leaf(desk, reading, "κ", "conductivity, as read", &MICROSIEMENS));
    let target =
        Figure::stated(least.value, "κ_min", "least conductivity of the panel", &MICROSIEMENS, &desk.place(least.span));
    if now.si() >= target.si() {
        return;
    }
    let Some(needed) = salt_needed(&target, &now, water) else { return };
    let most: Figure<MassConcentration> =
        Figure::cited(SALT_ROUTINE * 1000.0, "c_salt,max", "salt at most, as routine", &MILLIGRAMS, &POND_TARGETS);
    let allowed = crate::workings::minimum(&[needed.clone(), most]).unwrap_or(needed);
    let total = (&volume.low * &allowed).named("salt.total", "Salt", "m_salt", &GRAM);
    let three: Figure<Ratio> = Figure::counted(3.0, "3", "thirds over three days", &ONE);
    let dose = rounding::dose(&(&total / &three), desk.system, scale(desk));
    let dose = dose
        .named("salt.dose", "One of three doses of salt, as printed", "m_salt,print", &GRAM)
        .remark(format!("Printed as {}: rounded down", rounding::mass_words(dose.value(), desk.system, Way::Down)));
    if dose.si() <= 0.0 {
        return;
    }
    let last = [
        out.buffer.as_ref().and_then(|b| b.days.last().copied()),
        out.calcium.as_ref().and_then(|c| c.days.last().copied()),
    ]
    .into_iter()
    .flatten()
    .max();
    let first = last.map_or_else(|| day(desk.date, 1), |d| day(d, 1));
    out.salt = Some(SaltPlan {
        total: desk.book.publish(total),
        dose: desk.book.publish(dose),
        days: (0..3).map(|i| day(first, i)).collect(),
    });
}

/// Total chlorine of the supply, measured or, for mains, assumed out loud.
fn chlorine_of(desk: &mut Desk<'_>) -> Option<Figure<MassConcentration>> {
    let site = desk.site;
    match (&site.supply.readings.total_chlorine, site.supply.kind) {
        (Some(reading), _) if reading.value.si() > 0.0 => {
            Some(kinder::leaf(desk, reading, "Cl", "total chlorine of the supply", &MILLIGRAMS))
        }
        (Some(_), _) => None,
        (None, crate::site::SupplyKind::Mains) => {
            desk.assume(Assumption::new(
                "Total chlorine of the supply",
                "4.0\u{a0}mg/L, the highest a US utility may send",
                "a total-chlorine test at the tap",
                "COMAR 26.04.01.23 (T-33)",
            ));
            Some(Figure::stated(
                MassConcentration::from_si(4e-3),
                "Cl",
                "total chlorine of the supply",
                &MILLIGRAMS,
                "assumed, T-33",
            ))
        }
        (None, _) => None,
    }
}

/// Neutraliser for a volume of supply, as printed; `None` for a supply without chlorine.
fn neutraliser(desk: &mut Desk<'_>, id: &str, volume: &Figure<Volume>) -> Option<Figure<Mass>> {
    let total = chlorine_of(desk)?;
    let (_, own) = chosen(desk, Purpose::Dechlorinator, "sodium-thiosulfate");
    let exact = match own {
        Some((value, place)) => {
            let purity: Figure<Ratio> =
                Figure::stated(value, "q(Na₂S₂O₃)", "share of sodium thiosulfate in the product", &PERCENT, &place);
            chlorine::thiosulfate(volume, &total) / purity
        }
        None => chlorine::thiosulfate(volume, &total),
    };
    let symbol = format!("m_Cl,{}", which(id));
    let exact = exact.named(format!("{id}.exact"), "Sodium thiosulfate", &symbol, &GRAM);
    let printed = rounding::dose_up(&exact, desk.system, scale(desk));
    let words = rounding::mass_words(printed.value(), desk.system, Way::Up);
    let printed = printed
        .named(id, "Sodium thiosulfate, as printed", &format!("{symbol},print"), &GRAM)
        .remark(format!("Printed as {words}: rounded up"));
    stock(desk, id, &printed);
    Some(desk.book.publish(printed))
}

/// Publishes how much of a stock solution holds a dose too small to weigh: under twenty steps of the scale (Decisions).
/// Ten grams in a litre for the smallest, a hundred else.
fn stock(desk: &mut Desk<'_>, id: &str, dose: &Figure<Mass>) {
    if dose.si() >= 20.0 * scale(desk).si() - 1e-12 || dose.si() <= 0.0 {
        return;
    }
    let strength = if dose.si() < 2e-3 { 10.0 } else { 100.0 };
    let symbol = match dose.node().name.as_ref().and_then(|name| name.symbol.split_once('_')) {
        Some((_, sub)) => format!("V_stock,{}", sub.trim_end_matches(",print")),
        None => "V_stock".to_owned(),
    };
    let strength: Figure<MassConcentration> =
        Figure::counted(strength, "100", "grams in a litre of stock solution", &crate::units::table::GRAMS_PER_LITRE);
    let volume = (dose / &strength).named(
        format!("{id}.stock"),
        "Stock solution that holds the dose",
        &symbol,
        &crate::units::table::MILLILITRE,
    );
    desk.book.publish(volume);
}

fn hose_time(desk: &mut Desk<'_>, id: &str, volume: &Figure<Volume>) -> Option<Figure<Time>> {
    let hose = desk.site.hose.clone();
    let Some(hose) = hose else {
        desk.miss(Missing::new("flow of the hose", "a bucket of known size and a watch"));
        return None;
    };
    if hose.value.si() <= 0.0 {
        return None;
    }
    let flow = Figure::stated(
        hose.value,
        "Q_hose",
        "flow of the hose",
        &crate::units::table::LITRES_PER_MINUTE,
        &desk.place(hose.span),
    );
    Some(desk.book.publish((volume / &flow).named(id, "Time at the hose", &format!("t_hose,{}", which(id)), &HOUR)))
}

fn change_limit(desk: &mut Desk<'_>) -> Figure<Ratio> {
    match &desk.site.practice.change_share {
        Some(own) => {
            Figure::stated(own.value, "s_max", "largest share changed in a day", &PERCENT, &desk.place(own.span))
        }
        None => {
            desk.assume(Assumption::new(
                "Largest share of the water changed in a day",
                "25\u{a0}%",
                "no published limit was found",
                "common practice",
            ));
            Figure::cited(CHANGE_SHARE_DAY * 100.0, "s_max", "largest share changed in a day", &PERCENT, &CHANGE_SHARE)
        }
    }
}

/// Whether the supply holds combined chlorine, which leaves ammonia. Free chlorine that was not tested counts as none.
fn chloraminated(desk: &Desk<'_>) -> bool {
    let supply = &desk.site.supply.readings;
    let free = supply.free_chlorine.as_ref().map_or(0.0, |f| f.value.si());
    supply.total_chlorine.as_ref().is_some_and(|t| t.value.si() - free >= MILLIGRAMS.si(0.05))
}

/// Total ammonia that may be in the pond before a change of `share` with treated supply, so that un-ionised ammonia
/// stays at its limit or under at the day's worst pH, before the change and after it. `None` when the pond is not known
/// well enough to say.
fn ammonia_gate(desk: &mut Desk<'_>, id: &str, share: &Figure<Ratio>) -> Option<Figure<AmmoniaNitrogen>> {
    let site = desk.site;
    let total = site.supply.readings.total_chlorine.as_ref()?;
    let warmth = readings::fresh(desk, |r| r.temperature.as_ref())?;
    let (ph, hour) = readings::worst_ph(desk)?;
    let warmth = kinder::temperature(desk, warmth);
    let total = kinder::leaf(desk, total, "Cl", "total chlorine of the supply", &MILLIGRAMS);
    let free = match &site.supply.readings.free_chlorine {
        Some(free) => kinder::leaf(desk, free, "Cl_free", "free chlorine of the supply", &MILLIGRAMS),
        None => {
            desk.assume(Assumption::new(
                "Free chlorine of the supply",
                "none, so that all of it is chloramine",
                "a free-chlorine test at the tap",
                "common practice",
            ));
            Figure::counted(0.0, "0", "free chlorine, not tested", &MILLIGRAMS)
        }
    };
    let brought = chlorine::ammonia_left(&format!("{id}.supply-ammonia"), &total, &free);
    let part = ammonia::unionised_share("ammonia.share", &format!("Un-ionised share, {hour}"), &ph, &warmth);
    let limit: Figure<MassConcentration> =
        Figure::cited(UNIONISED_LIMIT, "c_NH₃,max", "limit of un-ionised ammonia", &MILLIGRAMS, &AMMONIA_LIMIT);
    let weight: Figure<Ratio> =
        Figure::cited(AMMONIA_PER_NITROGEN, "w_NH₃", "NH3 over N by mass", &ONE, &ATOMIC_WEIGHTS);
    let bearable = (limit / (part * weight)).meaning::<AmmoniaNitrogen>().named(
        format!("{id}.ammonia-bearable"),
        "Total ammonia that keeps un-ionised ammonia at its limit",
        "N_max",
        &AMMONIA_N,
    );
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let gate = (&bearable - &(brought * share.clone())) / (&one - share);
    let gate = crate::workings::minimum(&[gate.clone(), bearable]).unwrap_or(gate);
    Some(gate.named(format!("{id}.ammonia-gate"), "Total ammonia at most before a change", "N_gate", &AMMONIA_N))
}

/// The share a change may have at most, and the ammonia gate before it. Chloramine brings ammonia: where `most` a day
/// leaves no room for it, a smaller share; `None` where no share does, or where nobody can say.
fn bearable_share(
    desk: &mut Desk<'_>,
    id: &str,
    most: Figure<Ratio>,
) -> Option<(Figure<Ratio>, Option<Figure<AmmoniaNitrogen>>)> {
    if !chloraminated(desk) {
        return Some((most, None));
    }
    // The gate is printed in steps of 0.05 mg/L: one that rounds to nothing cannot be opened.
    let wanted = AMMONIA_N.si(0.05);
    if let Some(gate) = ammonia_gate(desk, id, &most).filter(|g| g.si() >= wanted) {
        return Some((most, Some(gate)));
    }
    for share in [20.0, 15.0, 10.0, 5.0] {
        if share / 100.0 >= most.si() {
            continue;
        }
        let smaller: Figure<Ratio> = Figure::cited(
            share,
            "s_max",
            "share changed in a day, smaller for the chloramine's ammonia",
            &PERCENT,
            &CHANGE_SHARE,
        );
        if let Some(gate) = ammonia_gate(desk, id, &smaller).filter(|g| g.si() >= wanted) {
            return Some((smaller, Some(gate)));
        }
    }
    None
}

struct Swap<'v> {
    id: &'static str,
    reason: ChangeReason,
    volume: &'v VolumePlan,
    /// Share of the water to replace.
    needed: Figure<Ratio>,
    most: Figure<Ratio>,
    gate: Option<Figure<AmmoniaNitrogen>>,
    /// Whether the aim must be reached even at the high volume (copper), or must not be passed at the low one.
    reach: bool,
}

fn swap(desk: &mut Desk<'_>, swap: Swap<'_>) -> Option<ChangePlan> {
    let id = swap.id;
    // A change may take its largest share of the low volume; of the high volume that is a smaller share.
    let (base, most) = if swap.reach {
        let most = (&(&swap.volume.low * &swap.most) / &swap.volume.high).named(
            format!("{id}.share-cap"),
            "Largest share of the high volume",
            "s_cap",
            &ONE,
        );
        (&swap.volume.high, most)
    } else {
        (&swap.volume.low, swap.most.clone())
    };
    let count = crate::water::changes::fewest(&format!("{id}.count"), &swap.needed, &most);
    let share = crate::water::changes::each(&format!("{id}.share"), &swap.needed, &count);
    let volume = rounding::volume_figure(&(base * &share), desk.system, Way::Down).named(
        format!("{id}.volume"),
        "Volume of one change, as printed",
        "V_change",
        &LITRE,
    );
    if volume.si() <= 0.0 || count.si() > 60.0 || count.si() < 1.0 {
        return None;
    }
    let through = crate::water::changes::flow_through(&format!("{id}.through"), base, &swap.needed);
    let time = hose_time(desk, &format!("{id}.time"), &volume);
    let thiosulfate = neutraliser(desk, &format!("{id}.thiosulfate"), &volume);
    // The gate is opened by a kit that reads a twentieth of a milligram: rounded down to what it can show.
    let gate = swap.gate.map(|g| {
        let id = format!("{id}.ammonia-gate-printed");
        desk.book.publish(g.rounded(Way::Down, 0.05, &AMMONIA_N).named(
            id,
            "The same, as printed",
            "N_gate,print",
            &AMMONIA_N,
        ))
    });
    let kit_step = kinder::kit(desk, "ammonia").and_then(|k| k.step);
    let gate_too_fine = gate.as_ref().zip(kit_step).is_some_and(|(g, step)| step > g.si());
    let days = (0..count.si() as u64).map(|i| day(desk.date, i + 1)).collect();
    Some(ChangePlan {
        reason: swap.reason,
        count: desk.book.publish(count),
        share: desk.book.publish(share),
        volume: desk.book.publish(volume),
        through: desk.book.publish(through),
        time,
        thiosulfate,
        buffer: None,
        ammonia_gate: gate,
        gate_too_fine,
        hardness_after: None,
        copper_after: None,
        days,
        limit: swap.most,
    })
}

fn hardness_changes(desk: &mut Desk<'_>, volume: &VolumePlan, range: &kinder::Hardness, out: &mut Correction) {
    let Some(supply) = desk.site.supply.readings.carbonate_hardness.clone() else {
        desk.miss(Missing::new("carbonate hardness of the supply", "the same drop test, tap run for three minutes"));
        return;
    };
    let goal: Figure<CarbonateHardness> = match &desk.site.goals.carbonate_hardness {
        Some(own) => {
            Figure::stated(own.value, "K_goal", "goal for carbonate hardness", &DEGREE_KH, &desk.place(own.span))
        }
        None => {
            desk.assume(Assumption::new(
                "Carbonate hardness to come back to",
                "10\u{a0}°dKH",
                "a goal of the firm's own, in the site file",
                "common practice",
            ));
            Figure::cited(CREEP_GOAL_DKH, "K_back", "carbonate hardness to come back to", &DEGREE_KH, &POND_TARGETS)
        }
    };
    let tap = kinder::leaf(desk, &supply, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    if tap.si() >= goal.si() * (1.0 - 1e-9) {
        out.supply_cannot = true;
        return;
    }
    let needed = crate::water::changes::share_needed("change.needed", &range.read, &goal, &tap);
    // From the lowest the reading allows, at the low volume, the same changes must not leave the window.
    let lowest = tap.si() + (range.low.si() - tap.si()) * (1.0 - needed.si());
    if lowest < DEGREE_KH.si(WINDOW_LOW_DKH) {
        out.supply_cannot = true;
        return;
    }
    let limit = change_limit(desk);
    let Some((most, gate)) = bearable_share(desk, "change", limit) else {
        out.supply_cannot = true;
        return;
    };
    let Some(mut plan) =
        swap(desk, Swap { id: "change", reason: ChangeReason::Hardness, volume, needed, most, gate, reach: false })
    else {
        return;
    };
    let real = (&plan.volume / &volume.high).named(
        "change.share-least",
        "Share of one change at the high volume",
        "s_change,low",
        &ONE,
    );
    let after = crate::water::changes::after(&range.read, &tap, &real, &plan.count).named(
        "change.after",
        "Carbonate hardness after the last change",
        "K_changed",
        &DEGREE_KH,
    );
    plan.hardness_after = Some(desk.book.publish(after));
    // The low end: every change at the low volume, from the lowest the reading allows.
    let full = (&plan.volume / &volume.low).named(
        "change.share-most",
        "Share of one change at the low volume",
        "s_change,high",
        &ONE,
    );
    let low = crate::water::changes::after(&range.low, &tap, &full, &plan.count).named(
        "hardness.after.low",
        "Lowest carbonate hardness after the changes",
        "K_after",
        &DEGREE_KH,
    );
    out.hardness_after = Some(low);
    // Calcium and general hardness move with the same water.
    let read_calcium = readings::fresh(desk, |r| r.calcium.as_ref());
    if let (Some(read), Some(tap)) = (read_calcium, &desk.site.supply.readings.calcium) {
        let read = kinder::leaf(desk, read, "Ca", "calcium, as read", &CALCIUM_MG);
        let tap = kinder::leaf(desk, tap, "Ca_supply", "calcium of the supply", &CALCIUM_MG);
        let after = crate::water::changes::after(&read, &tap, &real, &plan.count).named(
            "calcium.changed",
            "Calcium after the changes, as read and at the high volume",
            "Ca_changed",
            &CALCIUM_MG,
        );
        out.calcium_changed = Some(desk.book.publish(after));
    }
    if let (Some(before), Some(tap)) = (out.calcium_after.clone(), &desk.site.supply.readings.calcium) {
        let tap = kinder::leaf(desk, tap, "Ca_supply", "calcium of the supply", &CALCIUM_MG);
        let after = crate::water::changes::after(&before, &tap, &full, &plan.count).named(
            "calcium.after-changes",
            "Calcium after the changes",
            "Ca_changed,low",
            &CALCIUM_MG,
        );
        if after.si() < before.si() {
            out.calcium_after = Some(after);
        }
    }
    if let (Some(before), Some(tap)) = (out.general_after.clone(), &desk.site.supply.readings.general_hardness) {
        let tap = kinder::leaf(desk, tap, "G_supply", "general hardness of the supply", &DEGREE_GH);
        let after = crate::water::changes::after(&before, &tap, &full, &plan.count).named(
            "hardness.general-after",
            "General hardness after the changes",
            "G_changed",
            &DEGREE_GH,
        );
        if after.si() < before.si() {
            out.general_after = Some(after);
        }
    }
    out.changes = Some(plan);
}

/// The water as changes with supply may leave it: the lower of what it is and what the supply brings, with its buffer
/// where that is softer than the window. Limits for it hold before, during and after the changes.
pub fn mixed_with_supply(desk: &mut Desk<'_>, now: &Correction) -> Correction {
    let supply = desk.site.supply.readings.clone();
    let mut out = now.clone();
    if let (Some(before), Some(tap)) = (&now.hardness_after, &supply.carbonate_hardness) {
        let soft = tap.value.si() < DEGREE_KH.si(WINDOW_LOW_DKH);
        let tap = kinder::leaf(desk, tap, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
        let brought = if soft { goal(desk) } else { tap };
        out.hardness_after = lower(
            before,
            brought,
            "hardness.mixed",
            "Lowest carbonate hardness while water is changed",
            "K_mix",
            &DEGREE_KH,
        );
    }
    if let (Some(before), Some(tap)) = (&now.calcium_after, &supply.calcium) {
        let tap = kinder::leaf(desk, tap, "Ca_supply", "calcium of the supply", &CALCIUM_MG);
        out.calcium_after =
            lower(before, tap, "calcium.mixed", "Lowest calcium while water is changed", "Ca_mix", &CALCIUM_MG);
    }
    if let (Some(before), Some(tap)) = (&now.general_after, &supply.general_hardness) {
        let tap = kinder::leaf(desk, tap, "G_supply", "general hardness of the supply", &DEGREE_GH);
        out.general_after = lower(
            before,
            tap,
            "hardness.general-mixed",
            "Lowest general hardness while water is changed",
            "G_mix",
            &DEGREE_GH,
        );
    }
    out
}

fn lower<Q: Si>(
    now: &Figure<Q>,
    brought: Figure<Q>,
    id: &str,
    title: &str,
    symbol: &str,
    unit: &'static crate::units::Unit,
) -> Option<Figure<Q>> {
    if brought.si() >= now.si() {
        return Some(now.clone());
    }
    crate::workings::minimum(&[now.clone(), brought]).map(|m| m.named(id, title, symbol, unit))
}

/// Whether total copper stands at stop or over it.
pub fn copper_over(desk: &Desk<'_>, limits: Option<&CopperLimits>) -> bool {
    let reading = readings::fresh(desk, |r| r.total_copper.as_ref()).filter(|r| !r.less_than);
    reading.zip(limits).is_some_and(|(reading, limits)| reading.value.si() >= limits.stop.si())
}

/// Water changes that bring copper at or over stop down to watch.
pub fn for_copper(desk: &mut Desk<'_>, volume: &VolumePlan, limits: &CopperLimits) -> Option<ChangePlan> {
    let reading = readings::fresh(desk, |r| r.total_copper.as_ref()).filter(|r| !r.less_than)?;
    let now = kinder::leaf(desk, reading, "C_now", "total copper, as read", &COPPER);
    let tap: Figure<MassConcentration> = match &desk.site.supply.readings.total_copper {
        Some(tap) => kinder::leaf(desk, tap, "C_supply", "total copper of the supply", &COPPER),
        None => {
            desk.miss(Missing::new("total copper of the supply", "a laboratory sample, tap run for three minutes"));
            return None;
        }
    };
    if tap.si() >= limits.watch.si() {
        return None;
    }
    let needed: Figure<Ratio> = ((&now - &limits.watch) / (&now - &tap)).meaning::<Ratio>().named(
        "copper.change.needed",
        "Share of the water to replace",
        "f_change",
        &ONE,
    );
    let limit = change_limit(desk);
    let (most, gate) = bearable_share(desk, "copper.change", limit)?;
    let made = Swap { id: "copper.change", reason: ChangeReason::Copper, volume, needed, most, gate, reach: true };
    let mut plan = swap(desk, made)?;
    let real = (&plan.volume / &volume.high).named(
        "copper.change.share-least",
        "Share of one change at the high volume",
        "s_change,low",
        &ONE,
    );
    let after = crate::water::changes::after(&now, &tap, &real, &plan.count).named(
        "copper.change.after",
        "Total copper after the last change, before any loss",
        "C_changed",
        &COPPER,
    );
    plan.copper_after = Some(desk.book.publish(after));
    plan.buffer = buffer_for(desk, "copper.change.buffer", &plan.volume);
    Some(plan)
}

/// The changes of first aid (TRADE.md section 6; Decisions).
pub fn emergency(desk: &mut Desk<'_>, volume: &VolumePlan) -> Emergency {
    let mut change_of = |share: f64, id: &str, title: &str| -> FirstAid {
        let share: Figure<Ratio> =
            Figure::cited(share, &format!("s_{}", which(id)), "share of the water", &PERCENT, &CHANGE_SHARE);
        let change = rounding::volume_figure(&(&volume.low * &share), desk.system, Way::Down).named(
            format!("emergency.{id}"),
            title,
            &format!("V_{}", which(id)),
            &LITRE,
        );
        let change = desk.book.publish(change);
        let thiosulfate = neutraliser(desk, &format!("emergency.{id}-thiosulfate"), &change);
        let buffer = buffer_for(desk, &format!("emergency.{id}-buffer"), &change);
        let time = hose_time(desk, &format!("emergency.{id}-time"), &change);
        FirstAid { change, thiosulfate, buffer, time }
    };
    Emergency {
        quarter: change_of(25.0, "quarter", "First aid: a quarter of the water"),
        poisoning: change_of(30.0, "change", "Copper at stop: one of two changes of three tenths"),
    }
}
