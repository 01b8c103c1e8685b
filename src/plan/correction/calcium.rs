//! Calcium chloride: for protection from copper, and where it is the lighter way, for the panel's conductivity.

use chrono::NaiveDate;

use super::course::Poured;
use super::joint::{Asked, Joint, Problem};
use super::{Correction, assume_purity, chosen, course, day, purity, scale, stock};
use crate::chem::treatment::DayLimits;
use crate::chem::{dosing, figures};
use crate::plan::{Desk, VolumePlan, WaterPlan, kinder, readings, rounding};
use crate::reference::{
    CALCIUM_GOAL, GENERAL_STEP_DGH, HARDNESS_STEP, PH_STEP, PH_STEP_LIMIT, POND_TARGETS, Purpose, Substance,
};
use crate::units::table::{CALCIUM_MG, DEGREE_GH, GRAM, ONE};
use crate::units::{Calcium, GeneralHardness, Mass, Ph, Ratio, Si, Volume};
use crate::workings::{Figure, Way};

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
    /// What the whole correction takes, by reading and tape: as they are, least, most.
    pub takes: [Figure<Mass>; 3],
    /// Largest change of pH by one dose, where the water's ions are known.
    pub ph_shift: Option<Figure<Ph>>,
    /// More than the goal asks for, because calcium is the lighter way to the panel's conductivity.
    pub for_conductivity: bool,
    /// Days.
    pub days: Vec<NaiveDate>,
}

/// Calcium that is wanted, or may serve the conductivity.
pub(super) struct Wanted {
    row: &'static Substance,
    purity: Figure<Ratio>,
    /// Where to.
    pub goal: Figure<Calcium>,
    /// From where: the reading, or what changes of water make of it.
    start: Figure<Calcium>,
    /// The same at the high end of the kit's step.
    high: Figure<Calcium>,
    /// The lowest the water may hold.
    low: Figure<Calcium>,
    /// The supply brings calcium by itself: none is added for protection.
    supply_brings: bool,
}

impl Wanted {
    /// mol/m³ from where the water stands to the goal; zero where nothing is asked.
    pub fn needed(&self) -> f64 {
        let rise = self.goal.si() - self.start.si();
        if self.supply_brings || rise <= self.goal.si() * 1e-9 { 0.0 } else { rise }
    }
}

/// What calcium the water wants; `None` where it was not read, or read as "less than".
pub(super) fn wanted(desk: &Desk<'_>, out: &Correction) -> Option<Wanted> {
    let reading = readings::fresh(desk, |r| r.calcium.as_ref()).filter(|r| !r.less_than)?;
    let low = out.calcium_after.clone()?;
    let goal: Figure<Calcium> = match &desk.site.goals.calcium {
        Some(own) => Figure::stated(own.value, "Ca_goal", "goal for calcium", &CALCIUM_MG, &desk.place(own.span)),
        None => Figure::cited(CALCIUM_GOAL, "Ca_goal", "goal for calcium", &CALCIUM_MG, &POND_TARGETS),
    };
    let supply_brings = desk.site.supply.readings.calcium.as_ref().is_some_and(|s| s.value.si() >= goal.si());
    let read = kinder::leaf(desk, reading, "Ca", "calcium, as read", &CALCIUM_MG);
    let (start, high) = match &out.calcium_changed {
        Some(changed) => (changed.clone(), changed.clone()),
        None => {
            let high = kinder::highest_calcium(desk, &read);
            (read, high)
        }
    };
    let (row, own) = chosen(desk, Purpose::Calcium, "calcium-chloride");
    let row = row?;
    let purity = purity(row, own);
    Some(Wanted { row, purity, goal, start, high, low, supply_brings })
}

/// The rise that is dosed, and that by the readings as they are: by hand from the goal where that is all that decides, else from the
/// joint solution. `None` for no calcium.
fn rise(
    wanted: &Wanted,
    answer: Option<(&Problem<'_>, &Joint, &WaterPlan)>,
) -> Option<(Figure<Calcium>, Figure<Calcium>, bool)> {
    let names = ("calcium.rise", "Rise in calcium", "ΔCa");
    let needed = wanted.needed();
    if let Some((problem, joint, ions)) = answer {
        let found = ions.per_cubic_metre(joint.of(Purpose::Calcium)) * wanted.row.calcium;
        if found <= 1e-6 {
            return None;
        }
        if (found - needed).abs() > 1e-6 * needed {
            let product = problem.line(joint, Purpose::Calcium)?;
            let rise =
                dosing::calcium_in(&product, wanted.row, &wanted.purity).named(names.0, names.1, names.2, &CALCIUM_MG);
            return Some((rise.clone(), rise, found > needed));
        }
    }
    if needed <= 0.0 {
        return None;
    }
    let by_hand = |from: &Figure<Calcium>| (&wanted.goal - from).named(names.0, names.1, names.2, &CALCIUM_MG);
    // Where the kit cannot tell the reading from the goal, nothing is added.
    let kinder = by_hand(&wanted.high);
    (kinder.si() > 0.0).then(|| (kinder, &wanted.goal - &wanted.start, false))
}

/// Plans the doses, after buffer and changes.
pub(super) fn plan(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    asked: &Asked,
    answer: Option<(&Problem<'_>, &Joint)>,
    poured: &mut Poured<'_>,
    out: &mut Correction,
) {
    let Some(wanted) = &asked.calcium else { return };
    let Some((rise, as_read, for_conductivity)) =
        rise(wanted, answer.zip(poured.ions).map(|((problem, joint), ions)| (problem, joint, ions)))
    else {
        return;
    };
    let Wanted { row, purity, goal, start, low, .. } = wanted;
    let row: &'static Substance = row;
    let step: Figure<GeneralHardness> = Figure::cited(
        GENERAL_STEP_DGH,
        "s_day,Ca",
        "largest rise of general hardness in a day",
        &DEGREE_GH,
        &HARDNESS_STEP,
    );
    let fewest = (&rise.meaning::<GeneralHardness>() / &step).rounded(Way::Up, 1.0, &ONE);
    let followed = match (poured.ions, poured.water, figures::addition_of(row.id)) {
        (Some(ions), Some(water), Some(addition)) => {
            let limits = DayLimits {
                ph: PH_STEP_LIMIT,
                alkalinity: f64::INFINITY,
                hardness: ions.molal(step.si()) * (1.0 + 1e-9),
                chloride: f64::INFINITY,
            };
            let hours = course::hours(desk, &water);
            let amount = ions.molal(rise.si() / row.calcium);
            let Some(split) = course::split(&hours, addition, amount, &limits, fewest.si() as u32) else { return };
            Some((split, hours, addition, ions))
        }
        _ => None,
    };
    let names = ("calcium.count", "Number of calcium doses", "n_Ca");
    let days = followed.as_ref().map_or(fewest.si(), |(split, ..)| split.days() as f64);
    let count = if (days - fewest.si()).abs() < 0.5 {
        fewest.named(names.0, names.1, names.2, &ONE)
    } else {
        let words = "doses, more than the daily step asks, so that pH moves by 0.5 at most";
        let stated: Figure<Ratio> = Figure::counted(days, "n_Ca,pH", words, &ONE);
        stated.named(names.0, names.1, names.2, &ONE).from_source(&PH_STEP)
    };
    let exact = dosing::calcium(&(&rise / &count), &volume.low, row, purity).named(
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
        let each = dosing::calcium_of(&dose, volume, row, purity);
        (start + &(each * &count)).named(id, title, symbol, &CALCIUM_MG)
    };
    let after_least =
        after_at(&volume.high, "calcium.after-least", "Calcium after the last dose, high volume", "Ca_end,low");
    let after_most =
        after_at(&volume.low, "calcium.after-most", "Calcium after the last dose, low volume", "Ca_end,high");
    // One substance a day, and a clear day between bicarbonate and calcium.
    let last = [
        out.buffer.as_ref().and_then(|b| b.days.last().copied()),
        out.changes.as_ref().and_then(|c| c.days.last().copied()),
    ];
    let first = last.into_iter().flatten().max().map_or_else(|| day(desk.date, 1), |last| day(last, 2));
    let days = (0..count.si() as u64).map(|i| day(first, i)).collect();
    let gained = &after_least - start;
    out.calcium_after =
        Some((low + &gained).named("calcium.after-low", "Lowest calcium after the doses", "Ca_after", &CALCIUM_MG));
    let ph_shift = followed.and_then(|(split, hours, addition, ions)| {
        let all = ions.molal((after_most.si() - start.si()) / row.calcium);
        let shift = split.with(&hours, addition, all / count.si())?.line(
            ["ph.calcium-shift", "Largest change of pH by one dose of calcium chloride", "ΔpH_Ca"],
            &course::inputs(desk, ions, [after_most.node(), count.node()]),
        )?;
        Some(desk.book.publish(shift))
    });
    poured.pour(row.id, (after_most.si() - start.si()) / row.calcium, [after_most.node()]);
    let most = if rise.id() == as_read.id() && for_conductivity { rise.clone() } else { goal - low };
    let takes = [
        ("", "Calcium chloride in all, by reading and tape", "m_Ca,best", &as_read, &volume.total),
        ("-least", "Calcium chloride in all, least", "m_Ca,low", &rise, &volume.low),
        ("-most", "Calcium chloride in all, most", "m_Ca,high", &most, &volume.high),
    ]
    .map(|(end, title, symbol, rise, volume)| {
        let takes =
            dosing::calcium(rise, volume, row, purity).named(format!("calcium.takes{end}"), title, symbol, &GRAM);
        desk.book.publish(takes)
    });
    assume_purity(desk, row);
    out.calcium = Some(CalciumPlan {
        takes,
        ph_shift,
        for_conductivity,
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
