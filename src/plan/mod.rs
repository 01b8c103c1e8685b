//! Decisions: verdict, corrections, changes, schedule, cautions, assumptions, and the safety check.
//!
//! [`decide`] takes the site as meant and gives a [`Plan`]: what to do, in numbers that carry their workings. Words are
//! the templates' business; a plan holds amounts, days, choices and reasons.

mod actions;
mod advice;
mod assumptions;
mod bars;
mod copper;
mod correction;
mod diagnosis;
mod kinder;
mod opinion;
mod readings;
mod rounding;
mod safety;
mod schedule;
mod verdict;
mod volume;
mod water;
mod year;

pub use crate::water::balance::Flow;
pub use crate::water::ensemble::{Quantity, Range};
pub use crate::water::past::Tracer;
pub use crate::water::weather::Method;
pub use actions::{Act, Action, When};
pub use advice::{Advice, Again, Algae, Explained, Outcome, Seen, Stop, TurnDown, Watch};
pub use assumptions::{Assumption, Missing};
pub use bars::{Bars, Full, Gap, Life, Wear, Witness};
pub use copper::{CopperLimits, DayLimits, LossOrigin};
pub use correction::{BufferPlan, CalciumPlan, ChangePlan, ChangeReason, Correction, Followed, Joint, SaltPlan};
pub use diagnosis::{Cell, Diagnosis, Ranked, Shortfall, Wanted};
pub use readings::{Judged, ReadingRow};
pub use rounding::{mass_words, measured, time_words, volume as volume_words, volume_unit, with_unit};
pub use safety::Check;
pub use schedule::{AFTERWARDS, ByTest, CopperPath, CopperTold, Day, HeldStep, Schedule, Spell, TESTS, place};
pub use verdict::{Reason, Verdict, Word};
pub use volume::VolumePlan;
pub use water::WaterPlan;
pub use year::{
    Ahead, Bleed, Blend, BlendMonth, Break, BufferRhythm, Chance, Changes, CopperMonth, CopperYear, Course, Daily,
    Extra, Least, Misfit, Month, NoYear, Number, OneChange, Outlook, PastDay, PastPlan, Remedy, SHOWN, Side, Size,
    Trial, TrialEvening, Why, YearPlan, Years, month_name,
};

use chrono::NaiveDate;

use crate::diag::{Diagnostic, Diagnostics, FileId, Span, Text};
use crate::site::{Site, Visit};
use crate::units::{Mass, System, ThermodynamicTemperature, Time, VolumeRate};
use crate::water::ensemble::Draw;
use crate::workings::{Book, Figure, Spoken, second_opinion};

/// The texts a plan was made from, to say on which line a number stands.
#[derive(Clone, Copy, Debug)]
pub struct Texts<'a> {
    /// The site file.
    pub site: &'a Text,
    /// The log.
    pub log: Option<&'a Text>,
}

impl Texts<'_> {
    /// `site file, line 14` or `log line 9`.
    #[must_use]
    pub fn place(&self, span: Span) -> String {
        match (span.file, self.log) {
            (FileId::LOG, Some(log)) => format!("log line {}", log.line_of(span.start)),
            (FileId::WEATHER, _) => "the weather file".to_owned(),
            _ => format!("site file, line {}", self.site.line_of(span.start)),
        }
    }
}

/// Everything the plan says, before it is put into words.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The date on the plan.
    pub date: NaiveDate,
    /// In whose units amounts are rounded and printed.
    pub system: System,
    /// Every published figure.
    pub book: Book,
    /// The verdict and its reasons.
    pub verdict: Verdict,
    /// Volume.
    pub volume: VolumePlan,
    /// The readings against their targets.
    pub readings: Vec<ReadingRow>,
    /// What the water is by calculation, where the readings tell.
    pub water: Option<WaterPlan>,
    /// What is corrected, and how.
    pub correction: Correction,
    /// Copper limits in the water as it will be, where there are any.
    pub limits: Option<CopperLimits>,
    /// What the log changes: copper at watch or stop, algae that did not give way.
    pub advice: Advice,
    /// The output-level schedule, where there is one.
    pub schedule: Option<Schedule>,
    /// What copper tests alone allow, where nobody knows the current of a step.
    pub by_test: Option<ByTest>,
    /// Flow past the bars and the time the pond takes to pass them.
    pub flow: Option<(Figure<VolumeRate>, Figure<Time>)>,
    /// Emergency change: volume of each of the two, chlorine neutraliser for it, time at the hose.
    pub emergency: Emergency,
    /// What to do, in order.
    pub actions: Vec<Action>,
    /// When the water is tested again after the corrections, where there are any.
    pub retest: Option<When>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
    /// What was not measured, and how to.
    pub missing: Vec<Missing>,
    /// Every limit with the proposal that comes closest to it.
    pub checks: Vec<Check>,
    /// The bars: wear under the schedule, and what their weight says of the past.
    pub bars: Bars,
    /// What the panel gave when it was last asked for more than it stood at.
    pub panel_answer: Option<Shortfall>,
    /// Why it fell short, where it did.
    pub diagnosis: Option<Diagnosis>,
    /// The water year, or why there is no forecast.
    pub year: Result<YearPlan, NoYear>,
    /// Water temperature of the latest visit that has one.
    pub temperature: Option<Figure<ThermodynamicTemperature>>,
}

/// The changes of first aid: a quarter, and where copper is at stop three tenths twice (Decisions).
#[derive(Clone, Debug)]
pub struct Emergency {
    /// A quarter of the water.
    pub quarter: FirstAid,
    /// Three tenths, one of two.
    pub poisoning: FirstAid,
}

/// One change of first aid.
#[derive(Clone, Debug)]
pub struct FirstAid {
    /// Its volume.
    pub change: Figure<crate::units::Volume>,
    /// Buffer for the new water, where the supply is softer than the window.
    pub buffer: Option<Figure<Mass>>,
    /// Neutraliser for it, where the supply is chlorinated.
    pub thiosulfate: Option<Figure<Mass>>,
    /// Time at the hose.
    pub time: Option<Figure<Time>>,
}

/// What all parts of a plan look at.
pub(crate) struct Desk<'a> {
    pub site: &'a Site,
    pub texts: Texts<'a>,
    pub date: NaiveDate,
    pub system: System,
    pub draw: Draw,
    /// What the bars release over Faraday's law, where the log tells that it is more.
    pub efficiency: Option<Figure<crate::units::Ratio>>,
    pub book: Book,
    pub assumptions: Vec<Assumption>,
    pub missing: Vec<Missing>,
    pub complaints: Diagnostics,
}

impl<'a> Desk<'a> {
    /// The latest reading of one kind, with the visit it belongs to: the last visit that has it.
    pub fn last<T>(&self, pick: impl Fn(&'a Visit) -> Option<&'a T>) -> Option<(&'a Visit, &'a T)> {
        self.site.visits.iter().rev().find_map(|v| pick(v).map(|r| (v, r)))
    }

    pub fn place(&self, span: Span) -> String {
        self.texts.place(span)
    }

    pub fn assume(&mut self, assumption: Assumption) {
        if !self.assumptions.iter().any(|a| a.what == assumption.what) {
            self.assumptions.push(assumption);
        }
    }

    pub fn miss(&mut self, missing: Missing) {
        if !self.missing.iter().any(|m| m.what == missing.what) {
            self.missing.push(missing);
        }
    }
}

/// In whose units the plan's lines are written: copper as the owner's kit shows it (Decisions).
#[must_use]
pub fn spoken(site: &Site, system: System) -> Spoken {
    Spoken::new(system, site.kits.iter().find(|k| k.reading == "total copper").and_then(|k| k.unit))
}

/// Decides what to do at a site. `draw`: how many possible years stand behind the forecast, and which.
///
/// # Errors
/// Complaints, when no plan can be made: no volume, or a plan that would break a limit it states itself (a fault of
/// this program, which is then not printed).
pub fn decide(
    site: &Site,
    texts: Texts<'_>,
    date: NaiveDate,
    system: System,
    draw: Draw,
) -> Result<(Plan, Diagnostics), Diagnostics> {
    let mut desk = Desk {
        site,
        texts,
        date,
        system,
        draw,
        efficiency: None,
        book: Book::new(spoken(site, system)),
        assumptions: Vec::new(),
        missing: Vec::new(),
        complaints: Diagnostics::new(),
    };
    goal_in_window(&mut desk);
    if desk.complaints.any_error() {
        return Err(desk.complaints);
    }
    let Some(volume) = volume::find(&mut desk) else {
        return Err(desk.complaints);
    };
    let mut readings = readings::judge(&mut desk);
    let ions = water::find(&mut desk);
    // Copper at stop comes before everything else: only when it is down are hardness and calcium corrected, by a new plan.
    let as_read = correction::as_read(&mut desk);
    let limits_now = copper::limits(&desk, &as_read);
    let over = correction::copper_over(&desk, limits_now.as_ref());
    let (correction, limits) = if over {
        // Changes may leave less protection than there is: limits hold for the lower of both, where there are any.
        let mixed = correction::mixed_with_supply(&mut desk, &as_read);
        let (water, limits) = match copper::limits(&desk, &mixed) {
            Some(limits) => (mixed, Some(limits)),
            None => (as_read, limits_now),
        };
        let change = limits.as_ref().and_then(|l| correction::for_copper(&mut desk, &volume, l, ions.as_ref()));
        (correction::Correction { copper: change, ..water }, limits)
    } else {
        let correction = correction::plan(&mut desk, &volume, ions.as_ref());
        let limits = copper::limits(&desk, &correction);
        (correction, limits)
    };
    let mut correction = correction;
    safety::doubt_changes(&desk, &mut correction, volume.low.si());
    let over = over || correction::copper_over(&desk, limits.as_ref());
    if let Some(limits) = &limits {
        limits.publish(&mut desk);
    }
    readings.push(readings::copper_row(&desk, limits.as_ref().map(|l| &l.watch)));
    let mut verdict = verdict::judge(&mut desk, &readings, &correction, limits.as_ref(), over);
    let watch = advice::watch(&mut desk, &volume, &correction, limits.as_ref(), ions.as_ref());
    let stop = advice::stop(&mut desk, &volume, &correction, limits.as_ref());
    let gathered = year::look_ahead(&mut desk, &volume, &correction, ions.as_ref());
    let outlook = gathered.as_ref().ok().and_then(|g| g.outlook.as_ref());
    let mut schedule =
        schedule::choose(&mut desk, &volume, &correction, limits.as_ref(), outlook, watch.as_ref(), &mut verdict);
    let by_test = schedule::by_test(&mut desk, &volume, &correction, limits.as_ref(), outlook, &mut verdict);
    let minerals = readings.iter().find(|r| r.key == "conductivity").and_then(|r| r.high);
    let year = gathered.map(|gathered| {
        year::forecast(&mut desk, gathered, &volume, &correction, schedule.as_mut(), limits.as_ref(), minerals)
    });
    let bars = bars::bars(&mut desk, &volume, schedule.as_ref());
    let flow = volume::flow(&mut desk, &volume);
    let emergency = correction::emergency(&mut desk, &volume);
    let panel_answer = diagnosis::last_answer(&desk);
    let diagnosis = diagnosis::find(&mut desk, &volume, &bars, flow.as_ref(), minerals, correction.salt.is_some());
    let again = schedule.as_ref().and_then(|s| s.again.as_ref());
    let algae = advice::unmoved(&desk, flow.as_ref(), diagnosis.as_ref(), again.map(advice::Again::next_spell));
    let advice = Advice { watch, stop, algae };
    if let Some(last) = site.visits.last()
        && (date - last.date).num_days() > readings::FRESH_DAYS
    {
        let age = (date - last.date).num_days();
        desk.complaints.push(
            Diagnostic::warning("old-readings", last.span, format!("the last visit is {age} days before the plan"))
                .label("readings older than six weeks are not used")
                .why("water changes with the season, and doses must not rest on last year's")
                .hint("add a new row to the log, or give an earlier `plan_date`"),
        );
    }
    if site.visits.is_empty() {
        desk.miss(Missing::new("readings of this water", "one full set of tests of pond and supply, in the log"));
    }
    let temperature = desk.last(|v| v.pond.temperature.as_ref()).map(|(_, t)| kinder::temperature(&desk, t));
    let mut plan = Plan {
        date,
        system,
        verdict,
        volume,
        readings,
        water: ions,
        correction,
        limits,
        advice,
        schedule,
        by_test,
        flow,
        emergency,
        actions: Vec::new(),
        retest: None,
        assumptions: Vec::new(),
        missing: Vec::new(),
        checks: Vec::new(),
        bars,
        panel_answer,
        diagnosis,
        year,
        temperature,
        book: Book::default(),
    };
    plan.retest = actions::retest(&plan.correction);
    plan.actions = actions::order(&mut desk, &plan);
    plan.checks = safety::check(&desk, &plan);
    for broken in plan.checks.iter().filter(|c| !c.kept) {
        desk.complaints.push(
            Diagnostic::error(
                "plan-breaks-limit",
                None,
                format!("the plan would break its own limit: {}", broken.limit),
            )
            .why(format!("{} comes to {}, the limit is {}", broken.proposal, broken.proposed, broken.allowed))
            .hint("this is a fault of the program, not of the site file: no plan is written; please report it"),
        );
    }
    for odd in second_opinion(&desk.book) {
        desk.complaints.push(
            Diagnostic::error("second-opinion", None, format!("line `{}` is not what its own expression says", odd.id))
                .why(format!(
                    "it carries {:e}, and a second reckoning finds {:e}, both in SI units",
                    odd.carried, odd.found
                ))
                .hint("this is a fault of the program, not of the site file: no plan is written; please report it"),
        );
    }
    if desk.complaints.any_error() {
        return Err(desk.complaints);
    }
    plan.book = desk.book;
    plan.assumptions = desk.assumptions;
    plan.missing = desk.missing;
    Ok((plan, desk.complaints))
}

/// A goal that would lead out of the window is the site file's fault, said at its line.
fn goal_in_window(desk: &mut Desk<'_>) {
    use crate::units::Si as _;
    use crate::units::table::DEGREE_KH;
    let Some(goal) = &desk.site.goals.carbonate_hardness else { return };
    let degrees = DEGREE_KH.of(goal.value.si());
    if !(crate::reference::WINDOW_LOW_DKH..crate::reference::WINDOW_HIGH_DKH).contains(&degrees) {
        desk.complaints.push(
            Diagnostic::error(
                "goal-outside-window",
                goal.span,
                "the goal for carbonate hardness lies outside the window",
            )
            .label("5.6 to under 14 °dKH")
            .why("below it copper can kill fish; above it copper is bound and of little use")
            .hint("write a goal such as `\"7 dKH\"`, or take it out"),
        );
    }
}
