//! The panel by steps and copper tests alone, where nobody knows the current of a step.
//!
//! Without a current no release can be computed, and so neither resting copper nor a spell. What a test can say is how much
//! copper rose while the panel ran. With a step that is left alone, and loss that grows with what is there, copper rises no
//! faster later than it did at first: in as long again as it has run, by no more than it has risen.
//!
//! With a kit that sees small steps the panel runs on, and a reading whose most is half of what is allowed bears a second
//! stretch as long as all before it. With a laboratory it stands at zero until the answer is in, and starts again with less copper
//! than was read: a run twice as long adds at most twice what the last one can have added, so a third of what is allowed
//! bears it. Both hold for any current.

use chrono::NaiveDate;
use uom::si::f64::{ElectricCurrent, Mass, MassRate};

use super::days::{Calendar, Resting};
use super::fitted::LABORATORY;
use super::{first_running_day, may_run};
use crate::chem::copper as electrolysis;
use crate::plan::copper::between;
use crate::plan::correction::day;
use crate::plan::{
    CopperLimits, Correction, Desk, Missing, Outlook, Verdict, VolumePlan, Word, kinder, readings, rounding,
};
use crate::reference::{COPPER_LASTING, LASTING_BY_HARDNESS, WINDOW_LOW_DKH};
use crate::units::table::{CACO3, COPPER, DAYS, DEGREE_KH, GRAM, ONE};
use crate::units::{MassConcentration, Ratio, Si, Time};
use crate::workings::{Figure, minimum};

/// Days after the start on which copper is tested, each as long again after the start as the one before; with a laboratory, the
/// lengths of the runs.
pub const TESTS: [f64; 7] = [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0];
/// Days between two tests afterwards: by a kit, and by a laboratory, which answers within a week. Neither is longer than the last
/// of the tests allows.
pub const AFTERWARDS: [i64; 2] = [7, 14];
/// Days that a limit is looked for, where no visit is planned: the tests of the start, and a month and a half more.
const AHEAD: u64 = 60;

/// What the tests allow.
#[derive(Clone, Debug)]
pub struct ByTest {
    /// Number of steps of the panel.
    pub steps: u32,
    /// The step: the lowest, or the one that tests have borne out.
    pub step: u32,
    /// The visit at which it was found to have stood there for a week or more with little copper; none where it is to be started.
    pub borne_out: Option<NaiveDate>,
    /// Not before this day.
    pub first: NaiveDate,
    /// The kit cannot see such steps, or none is named: a laboratory tests.
    pub laboratory: bool,
    /// The lowest stop until the next visit.
    pub stop: Figure<MassConcentration>,
    /// Half of it.
    pub watch: Figure<MassConcentration>,
    /// What copper may come to by the next test: watch or the lasting limit, whichever is lower.
    pub most: Figure<MassConcentration>,
    /// The highest reading with which the panel is started, stays on, or runs again.
    pub reading: Figure<MassConcentration>,
    /// The current at which copper comes to stop in the six hours before the first test.
    pub current: Figure<ElectricCurrent>,
    /// The mean current that takes a gram off the bars in thirty days.
    pub gram: Figure<ElectricCurrent>,
}

/// The lower limits of the days ahead, where the forecast has softer water than now.
struct Lowest {
    stop: Figure<MassConcentration>,
    lasting: Figure<MassConcentration>,
}

fn lowest(desk: &Desk<'_>, limits: &CopperLimits, outlook: Option<&Outlook>, first: NaiveDate) -> Option<Lowest> {
    let now = || Lowest { stop: limits.stop.clone(), lasting: limits.lasting.clone() };
    let Some(outlook) = outlook else { return Some(now()) };
    let until = desk.site.next_visit.as_ref().map_or(first, |visit| visit.value).max(day(first, AHEAD));
    let days = (0..).map(|index| day(first, index)).take_while(|date| *date <= until);
    let (mut hardness, mut calcium) = (f64::INFINITY, f64::INFINITY);
    for ahead in days.filter_map(|date| outlook.near(date)) {
        hardness = hardness.min(ahead.hardness.low.max(DEGREE_KH.si(WINDOW_LOW_DKH)));
        calcium = calcium.min(ahead.calcium);
    }
    // Moles of charge to mg/L of CaCO3.
    let counted = |charge: f64| 0.5 * charge * CACO3;
    let leaf = |value: f64, symbol: &str, title: &str| -> Figure<Ratio> {
        Figure::stated(Ratio::from_si(value), symbol, title, &ONE, crate::plan::year::ENSEMBLE)
    };
    let alkalinity =
        leaf(counted(hardness), "a_ahead", "lowest alkalinity ahead, one year in ten, or the window's edge");
    let calcium = leaf(counted(2.0 * calcium), "h_Ca,ahead", "lowest calcium hardness ahead, one year in ten");
    let protection = minimum(&[alkalinity, calcium.clone()])?
        .named("copper.test-protection", "The lower protection of the two, until the next visit", "p_ahead", &ONE)
        .remark("A pure number: mg/L counted as CaCO\u{2083}");
    let stop = limits.stop_at(&protection)?;
    let lasting = rounding::copper_limit(&between(&calcium, &LASTING_BY_HARDNESS, ("h", "y"), &COPPER_LASTING)?);
    let lasting = minimum(&[lasting, limits.lasting.clone()])?.named(
        "copper.test-lasting",
        "Lowest lasting limit until the next visit",
        "C_lasting,test",
        &COPPER,
    );
    Some(Lowest { stop, lasting })
}

/// A panel that was left at a step a week or more before a visit, found there, and read with no more copper than `most`.
fn borne_out(desk: &Desk<'_>, most: f64) -> Option<(u32, NaiveDate)> {
    let reading = readings::fresh(desk, |r| r.total_copper.as_ref())?;
    let (visit, _) = desk.last(|v| v.pond.total_copper.as_ref())?;
    let level = visit.found().filter(|level| *level > 0)?;
    let before = desk.site.visits.iter().rev().find(|v| (visit.date - v.date).num_days() >= AFTERWARDS[0])?;
    let since = desk.site.visits.iter().filter(|v| v.date >= before.date && v.date < visit.date);
    let stood = since.into_iter().all(|v| v.left() == Some(level));
    let left = visit.left() == Some(level);
    (stood && left && reading.value.si() <= most).then_some((level, visit.date))
}

/// Half of what is allowed, less half a step of the kit, by which a reading may be short; and that half.
fn highest_of_kit(
    most: &Figure<MassConcentration>,
    step: f64,
    place: &str,
) -> (Figure<MassConcentration>, Figure<MassConcentration>) {
    let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
    let step: Figure<MassConcentration> =
        Figure::stated(MassConcentration::from_si(step), "s_C", "step of the copper kit", &COPPER, place);
    let doubt = &step * &half;
    (&(most * &half) - &doubt, doubt)
}

/// A third of what is allowed, less two standard deviations of a laboratory; and what such a reading may be short by.
fn highest_of_laboratory(
    most: &Figure<MassConcentration>,
) -> Option<(Figure<MassConcentration>, Figure<MassConcentration>)> {
    let (share, least) = LABORATORY;
    let assumed = "assumed, common practice";
    let three: Figure<Ratio> = Figure::counted(3.0, "3", "what was read, and twice what a run can have added", &ONE);
    let more: Figure<Ratio> =
        Figure::stated(Ratio::from_si(1.0 + 2.0 * share), "q_lab", "two standard deviations over", &ONE, assumed);
    let at_least: Figure<MassConcentration> = Figure::stated(
        MassConcentration::from_si(2.0 * least),
        "u_lab",
        "two standard deviations, at least",
        &COPPER,
        assumed,
    );
    let third: Figure<MassConcentration> = (most / &three).meaning();
    let by_share: Figure<MassConcentration> = (&third / &more).meaning();
    let reading = minimum(&[by_share, &third - &at_least])?;
    let doubt = &third - &reading;
    Some((reading, doubt))
}

/// Works out what tests alone allow, where no current is known. Adds the panel's line to the verdict.
pub fn by_test(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    correction: &Correction,
    limits: Option<&CopperLimits>,
    outlook: Option<&Outlook>,
    verdict: &mut Verdict,
) -> Option<ByTest> {
    let panel = desk.site.panel.as_ref().filter(|panel| panel.currents.is_empty())?;
    let limits = limits?;
    if !may_run(correction, verdict) {
        return None;
    }
    desk.miss(Missing::new(
        "current at each step of the panel",
        "an electrician's meter in the bar circuit, at every step; or the bars weighed before and after a month at one step",
    ));
    let ready = first_running_day(desk, correction, verdict);
    let calendar = Calendar::of(desk, limits, outlook, ready, Resting { total: 0.0, lasting: 0.0 });
    let first = calendar.days.iter().zip(0..).find_map(|(today, index)| today.open.then(|| day(desk.date, index)));
    let lowest = first.and_then(|first| lowest(desk, limits, outlook, first));
    let (Some(first), Some(lowest)) = (first, lowest) else {
        verdict.add("panel", "current-unknown", Word::NotYet, "");
        return None;
    };
    let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
    let stop = lowest.stop.named("copper.test-stop", "Lowest stop until the next visit", "C_stop,test", &COPPER);
    let watch = rounding::copper_limit(&(&stop * &half)).named(
        "copper.test-watch",
        "Watch until then: half of it",
        "C_watch,test",
        &COPPER,
    );
    let most = minimum(&[watch.clone(), lowest.lasting])?.named(
        "copper.test-most",
        "Copper by the next test, at most: watch, or the lasting limit",
        "C_next",
        &COPPER,
    );
    let kit = kinder::kit(desk, "total copper").and_then(|kit| Some((kit.step?, desk.place(kit.span))));
    let fine = kit.filter(|(step, _)| *step <= most.si() / 3.0);
    let laboratory = fine.is_none();
    let (reading, doubt) = match fine {
        Some((step, place)) => highest_of_kit(&most, step, &place),
        None => highest_of_laboratory(&most)?,
    };
    let reading = rounding::copper_limit(&reading).named(
        "copper.test-reading",
        "Highest reading with which the panel starts, stays on or runs again",
        "C_read",
        &COPPER,
    );
    let hours: Figure<Time> = Figure::counted(TESTS[0], "t_1", "time to the first test", &DAYS);
    let highest = &reading + &doubt;
    let room: Figure<MassRate> = ((&stop - &highest) * &volume.low / hours).meaning();
    let current = electrolysis::current(
        "copper.test-current",
        "Current that brings copper to stop before the first test, without any loss",
        "I_stop",
        &room,
    );
    let gram: Figure<Mass> = Figure::counted(1.0, "1 g", "one gram", &GRAM);
    let month: Figure<Time> = Figure::counted(30.0, "30 days", "thirty days", &DAYS);
    let title = "Mean current that takes a gram off the bars in thirty days";
    let gram = electrolysis::current("copper.test-gram", title, "I_gram", &(gram / month).meaning());
    let found = borne_out(desk, reading.si()).filter(|_| verdict.word == Word::Yes && first == desk.date);
    verdict.add("panel", "by-test", Word::Yes, "");
    let stop = desk.book.publish(stop);
    Some(ByTest {
        steps: panel.steps,
        step: found.map_or(1, |(level, _)| level),
        borne_out: found.map(|(_, date)| date),
        first,
        laboratory,
        stop,
        watch: desk.book.publish(watch),
        most: desk.book.publish(most),
        reading: desk.book.publish(reading),
        current: desk.book.publish(current),
        gram: desk.book.publish(gram),
    })
}
