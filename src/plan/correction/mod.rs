//! Bringing the water to where it belongs: buffer, calcium, salt, water changes; and the change of an emergency.
//!
//! What is asked (a hardness, a calcium, a conductivity) is put to the chemistry core as one problem ([`joint`]); its answer is
//! split over days and followed day by day ([`course`]), and the files named after the substances make figures of it. Where the
//! readings do not tell the water's ions, what can be reckoned without them still is.

mod buffer;
mod calcium;
mod changes;
mod course;
mod joint;
mod salt;

pub use buffer::BufferPlan;
pub use calcium::CalciumPlan;
pub use changes::{ChangePlan, ChangeReason, Followed, emergency, for_copper, for_watch};
pub(in crate::plan) use changes::{change_limit, chloraminated, hose_time, neutraliser};
pub use joint::Joint;
pub use salt::SaltPlan;

use chrono::{Days, NaiveDate};

use super::{Assumption, CopperLimits, Desk, Missing, VolumePlan, WaterPlan, kinder, readings};
use crate::reference::{
    ATOMIC_WEIGHTS, CREEP_TRIGGER_DKH, Purpose, Substance, WINDOW_HIGH_DKH, WINDOW_LOW_DKH, substance,
};
use crate::units::table::{CALCIUM_MG, DEGREE_GH, DEGREE_KH, GRAM, MICROSIEMENS, PERCENT};
use crate::units::{Calcium, CarbonateHardness, Conductivity, GeneralHardness, Mass, MassConcentration, Ratio, Si};
use crate::workings::Figure;
use joint::Asked;

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
    /// Least and most that it may be, by what the kits can tell.
    pub conductivity_ends: Option<[Figure<Conductivity>; 2]>,
    /// Saturation index of lime after all doses.
    pub lime_after: Option<Figure<Ratio>>,
    /// Buffer, calcium and salt as one problem, where the water's ions are known and something is asked.
    pub joint: Option<Joint>,
    /// The conductivity that the panel asks for is out of reach inside the limits: what can be reached.
    pub short_of: Option<Conductivity>,
    /// Calcium ends under its goal, because more would come down as lime.
    pub lime_keeps: bool,
    /// The hardness asked for already makes lime come down: no calcium is added.
    pub lime_falls: bool,
    /// Buffer for each thousand litres (or gallons) of supply, where the supply is softer than the window.
    pub buffer_for_supply: Option<Figure<Mass>>,
}

impl Correction {
    /// The day of its last dose or change.
    pub(super) fn last_day(&self) -> Option<NaiveDate> {
        [
            self.buffer.as_ref().and_then(|b| b.days.last()),
            self.calcium.as_ref().and_then(|c| c.days.last()),
            self.salt.as_ref().and_then(|s| s.days.last()),
            self.changes.as_ref().and_then(|c| c.days.last()),
            self.copper.as_ref().and_then(|c| c.days.last()),
        ]
        .into_iter()
        .flatten()
        .max()
        .copied()
    }
}

/// The day so many days after another.
pub fn day(from: NaiveDate, days: u64) -> NaiveDate {
    from.checked_add_days(Days::new(days)).unwrap_or(from)
}

pub(in crate::plan) fn chosen(
    desk: &Desk<'_>,
    purpose: Purpose,
    default: &str,
) -> (Option<&'static Substance>, Option<(Ratio, String)>) {
    // Potassium makes copper more harmful: where the site has another buffer as well, that is taken.
    let listed = desk.site.substances.iter().filter(|s| substance(&s.id).is_some_and(|row| row.purpose == purpose));
    let own = listed.min_by_key(|s| s.id.starts_with("potassium"));
    let row = own.and_then(|s| substance(&s.id)).or_else(|| substance(default));
    let purity = own.and_then(|s| s.purity.as_ref()).map(|p| (p.value, desk.place(p.span)));
    (row, purity)
}

/// Share of the substance in the product: the site's own, or that of what is usually sold.
pub(in crate::plan) fn purity(row: &'static Substance, own: Option<(Ratio, String)>) -> Figure<Ratio> {
    let share = format!("q({})", row.formula);
    if let Some((value, place)) = own {
        return Figure::stated(value, &share, &format!("share of {} in the product", row.formula), &PERCENT, &place);
    }
    let title = if row.purity < 1.0 {
        format!("share of {} in the product", row.formula)
    } else {
        "share of the pure substance".to_owned()
    };
    Figure::cited(row.purity * 100.0, &share, &title, &PERCENT, &ATOMIC_WEIGHTS)
}

/// Lists the share that was taken for a product whose own the site file does not tell.
fn assume_purity(desk: &mut Desk<'_>, row: &'static Substance) {
    let told = desk.site.substances.iter().any(|s| s.id == row.id && s.purity.is_some());
    if !told && row.purity < 1.0 {
        desk.assume(Assumption::new(
            &format!("Purity of {}", row.name),
            &format!(
                "{}\u{a0}%, the pure dihydrate",
                crate::units::plain(row.purity * 100.0, crate::units::Digits::Places(1))
            ),
            "the share printed on the bag, in the site file",
            "derived from atomic weights",
        ));
    }
}

pub(in crate::plan) fn scale(desk: &Desk<'_>) -> Mass {
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
    let goal = desk.site.goals.carbonate_hardness.clone();
    let too_soft = range.low.si() < DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9);
    let trigger = goal.as_ref().map_or(DEGREE_KH.si(CREEP_TRIGGER_DKH), |g| g.value.si() * (1.0 + 1e-9));
    // The water that doses go into: the pond's, after the changes where there are some.
    let mut base = ions.map(|ions| course::with_ammonia(desk, ions));
    let mut asked = Asked::default();
    if too_soft && !supply_over {
        asked.buffer = buffer::wanted(desk, ions, &range, &mut out);
    } else if range.high.si() > trigger && !supply_over && !too_soft {
        changes::for_hardness(desk, volume, &range, ions, &mut out);
        if let Some(change) = &out.changes {
            base = change.followed.as_ref().map(|followed| followed.left);
        }
    }
    // Where buffer is wanted and cannot be given, salt waits for it: buffer conducts too.
    let buffer_open = |out: &Correction| out.buffer_untold || out.ammonia_forbids;
    if !supply_over {
        asked.calcium = calcium::wanted(desk, &out);
        asked.conductivity = salt::wanted(desk, &out).filter(|_| !buffer_open(&out));
    }
    let mut problem = ions.zip(base).map(|(ions, base)| joint::state(desk, ions, base, &asked));
    let mut answer = problem.as_ref().and_then(joint::solve);
    if let (Some(ions), Some(base), Some(wanted)) = (ions, &base, &asked.buffer)
        && !buffer::plan(desk, volume, ions, wanted, base, &mut out)
        && buffer_open(&out)
    {
        asked.buffer = None;
        asked.conductivity = None;
        problem = Some(joint::state(desk, ions, *base, &asked));
        answer = problem.as_ref().and_then(joint::solve);
    }
    out.lime_keeps = answer.as_ref().is_some_and(|a| a.lime_keeps);
    out.lime_falls = answer.as_ref().is_some_and(|a| a.lime_falls);
    let mut poured = course::Poured::new(ions, base, &out);
    let rest = problem.as_ref().zip(answer.as_ref());
    calcium::plan(desk, volume, &asked, rest, &mut poured, &mut out);
    if let (Some(general), Some(calcium), Some(low)) = (&out.general_after, &out.calcium, &out.calcium_after) {
        let gained = (low - &calcium.low_before).meaning::<GeneralHardness>();
        out.general_after = Some((general + &gained).named(
            "hardness.general-after-calcium",
            "General hardness after the calcium, low end",
            "G_after",
            &DEGREE_GH,
        ));
    }
    salt::plan(desk, volume, &asked, rest, &mut poured, &mut out);
    if let (Some(problem), Some(answer)) = (&problem, answer) {
        joint::lines(desk, problem, &answer);
        out.short_of = answer.short.map(|reached| Conductivity::from_si(MICROSIEMENS.si(reached)));
        out.joint = Some(answer);
    }
    course::after_all(desk, &poured, &mut out);
    if let (Some(reading), false) = (&supply, supply_over)
        && reading.value.si() < DEGREE_KH.si(WINDOW_LOW_DKH)
    {
        buffer::for_supply(desk, reading, &mut out);
    }
    out
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

/// The water as changes with supply may leave it: the lower of what it is and what the supply brings, with its buffer
/// where that is softer than the window. Limits for it hold before, during and after the changes.
pub fn mixed_with_supply(desk: &mut Desk<'_>, now: &Correction) -> Correction {
    let supply = desk.site.supply.readings.clone();
    let mut out = now.clone();
    if let (Some(before), Some(tap)) = (&now.hardness_after, &supply.carbonate_hardness) {
        let soft = tap.value.si() < DEGREE_KH.si(WINDOW_LOW_DKH);
        let tap = kinder::leaf(desk, tap, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
        let brought = if soft { buffer::goal(desk) } else { tap };
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
