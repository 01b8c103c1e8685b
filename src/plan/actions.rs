//! What to do now, in order. The words are the templates'.

use chrono::NaiveDate;

use super::correction::day;
use super::{Desk, Plan, Word};

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
    Buffer,
    PhGuard,
    Calcium,
    Salt,
    Retest,
    LessFood,
    ChangeForHardness,
    StopOverflow,
    Settle,
    TestMissing,
    OtherMeasures,
    SwitchOn,
    CopperTest,
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

/// The steps, in the order an owner follows them.
pub fn order(desk: &mut Desk<'_>, plan: &Plan) -> Vec<Action> {
    let mut out = Vec::new();
    let mut push = |act, when| out.push(Action { act, when });
    let correction = &plan.correction;
    let verdict = &plan.verdict;
    let pending = correction.buffer.is_some()
        || correction.calcium.is_some()
        || correction.changes.is_some()
        || correction.copper.is_some()
        || correction.salt.is_some();
    let cold = plan
        .temperature
        .as_ref()
        .is_none_or(|t| crate::units::table::CELSIUS.of(t.si()) < crate::reference::SEASON_CELSIUS);
    let run_today = verdict.word == Word::Yes && !pending && !cold && plan.schedule.is_some();
    push(if run_today { Act::PanelHold } else { Act::PanelZero }, When::Today);
    if let Some(change) = &correction.copper {
        let when = if change.ammonia_gate.is_some() { When::Gate("ammonia-gate-copper") } else { on(&change.days) };
        push(Act::ChangeForCopper, when);
    }
    if verdict.has("overflow-relay") || verdict.has("overflow-open") || verdict.has("changes-open") {
        push(Act::StopOverflow, When::Today);
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
    if let Some(calcium) = &correction.calcium {
        push(Act::Calcium, on(&calcium.days));
    }
    if let Some(salt) = &correction.salt {
        push(Act::Salt, on(&salt.days));
    }
    if let Some(change) = &correction.changes {
        let when = if change.ammonia_gate.is_some() { When::Gate("ammonia-gate") } else { on(&change.days) };
        push(Act::ChangeForHardness, when);
    }
    let last = [
        correction.buffer.as_ref().and_then(|b| b.days.last()),
        correction.calcium.as_ref().and_then(|c| c.days.last()),
        correction.salt.as_ref().and_then(|s| s.days.last()),
    ]
    .into_iter()
    .flatten()
    .max();
    if let Some(last) = last {
        push(Act::Retest, When::On(vec![day(*last, 1)]));
    }
    if !desk.missing.is_empty() && verdict.reasons.iter().any(|r| r.word == Word::NotYet && r.key.ends_with("untested"))
    {
        push(Act::TestMissing, When::Gate("next-visit"));
    }
    if verdict.has("authorisation-missing") && verdict.word != Word::No {
        push(Act::Settle, When::Gate("before-panel"));
    }
    if verdict.word == Word::No {
        push(Act::OtherMeasures, When::Gate("this-year"));
    } else if plan.schedule.is_some() {
        if !run_today {
            push(Act::SwitchOn, When::Gate("spring-start"));
        }
        push(Act::CopperTest, When::Gate("week-after-start"));
    }
    out
}
