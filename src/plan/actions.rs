//! What to do now, in order. The words are the templates'.

use chrono::NaiveDate;

use super::correction::day;
use super::{Correction, Desk, Plan, Word};
use crate::units::Si;

/// When a step is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum When {
    /// Today.
    Today,
    /// On these days.
    On(Vec<NaiveDate>),
    /// Each morning before a dose.
    Mornings,
    /// When something is so; the template words it by this key.
    Gate(&'static str),
}

/// What is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the acts; each has its sentences in the templates")]
pub enum Act {
    PanelZero,
    PanelHold,
    ChangeForCopper,
    CopperWatch,
    AlgaeUnmoved,
    Buffer,
    PhGuard,
    Calcium,
    Salt,
    Retest,
    LessFood,
    ChangeForHardness,
    StopOverflow,
    ShutFloatValve,
    RingForCopper,
    Settle,
    TestMissing,
    OtherMeasures,
    SwitchOn,
    CopperTest,
    StartByTest,
    TestWeekly,
    MeasureCurrent,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Action {
    /// What.
    pub act: Act,
    /// When.
    pub when: When,
}

fn on(days: &[NaiveDate]) -> When {
    When::On(days.to_vec())
}

/// When the water is tested again: the morning after the last correction, or after changes that wait for ammonia.
pub fn retest(correction: &Correction) -> Option<When> {
    let last = correction.last_day()?;
    let mut changes = [&correction.changes, &correction.copper].into_iter().flatten();
    let gated = changes.any(|c| c.ammonia_gate.is_some());
    Some(if gated { When::Gate("after-changes") } else { on(&[day(last, 1)]) })
}

/// The steps, in the order an owner follows them.
pub fn order(desk: &mut Desk<'_>, plan: &Plan) -> Vec<Action> {
    let mut out = Vec::new();
    let mut push = |act, when| out.push(Action { act, when });
    let correction = &plan.correction;
    let verdict = &plan.verdict;
    // The steps say of today what the schedule shows of today.
    let by_test = plan.by_test.as_ref();
    let run_today = plan.schedule.as_ref().and_then(|s| s.levels.first()).is_some_and(|level| *level > 0)
        || by_test.is_some_and(|found| found.borne_out.is_some());
    push(if run_today { Act::PanelHold } else { Act::PanelZero }, When::Today);
    if verdict.has("overflow-relay") || verdict.has("overflow-open") || verdict.has("changes-open") {
        push(Act::StopOverflow, When::Today);
    }
    let supply = &desk.site.supply;
    let chlorinated = supply.readings.total_chlorine.as_ref().is_some_and(|c| c.value.si() > 0.0 && !c.less_than);
    if supply.float_valve && chlorinated && !supply.carbon_filter {
        push(Act::ShutFloatValve, When::Today);
    }
    if let Some(change) = &correction.copper {
        let when = if change.ammonia_gate.is_some() { When::Gate("ammonia-gate-copper") } else { on(&change.days) };
        push(Act::ChangeForCopper, when);
    }
    if let Some(watch) = &plan.advice.watch {
        push(Act::CopperWatch, on(&[watch.retest]));
    }
    if verdict.has("copper-over-stop") {
        push(Act::RingForCopper, When::Today);
    }
    if verdict.has("ammonia-high") || verdict.has("pond-soft-ammonia") {
        push(Act::LessFood, When::Today);
    }
    if let Some(buffer) = &correction.buffer {
        push(Act::Buffer, on(&buffer.days));
        // One dose carries its own guard; a run of doses has a step for it.
        if buffer.days.len() > 1 {
            push(Act::PhGuard, When::Mornings);
        }
    }
    let gated = correction.changes.as_ref().is_some_and(|c| c.ammonia_gate.is_some());
    if let Some(change) = &correction.changes {
        push(Act::ChangeForHardness, if gated { When::Gate("ammonia-gate") } else { on(&change.days) });
    }
    if let Some(calcium) = &correction.calcium {
        push(Act::Calcium, if gated { When::Gate("after-changes") } else { on(&calcium.days) });
    }
    if let Some(salt) = &correction.salt {
        push(Act::Salt, if gated { When::Gate("after-changes") } else { on(&salt.days) });
    }
    if let Some(when) = &plan.retest {
        push(Act::Retest, when.clone());
    }
    let untested = verdict.reasons.iter().any(|r| {
        r.word == Word::NotYet
            && (r.key.ends_with("untested") || r.key.ends_with("unknown") || r.key.ends_with("untold"))
    });
    if verdict.word != Word::No && untested && !desk.missing.is_empty() {
        push(Act::TestMissing, When::Gate("next-visit"));
    }
    if verdict.has("authorisation-missing") && verdict.word != Word::No {
        push(Act::Settle, When::Gate("before-panel"));
    }
    if plan.advice.algae.is_some() && verdict.word != Word::No {
        push(Act::AlgaeUnmoved, When::Today);
    }
    if verdict.word == Word::No {
        push(Act::OtherMeasures, When::Gate("this-year"));
    } else if plan.schedule.is_some() {
        if !run_today {
            push(Act::SwitchOn, When::Gate("spring-start"));
        }
        push(Act::CopperTest, When::Gate("week-after-start"));
    } else if let Some(found) = by_test {
        if found.borne_out.is_some() {
            push(Act::TestWeekly, When::Gate("test-days"));
        } else {
            push(Act::StartByTest, When::Gate("spring-start"));
        }
        push(Act::MeasureCurrent, When::Gate("at-visit"));
    }
    // The first page holds about six steps; what stands elsewhere in the plan as well gives way.
    for spare in [Act::CopperTest, Act::Retest, Act::MeasureCurrent] {
        if out.len() > 6 {
            out.retain(|a| a.act != spare);
        }
    }
    out
}
