//! What a plan decides, in short words, to be held against another.

use chrono::NaiveDate;

use crate::document::Reader;
use crate::front::Job;
use crate::plan::{ChangePlan, Judged, When, Word};
use crate::units::Si;
use crate::units::table::DAYS;
use crate::workings::{Figure, Way};

/// One decision.
pub(super) struct Decision {
    /// What it is about.
    pub what: String,
    /// What was decided.
    pub words: String,
    /// The figure behind it.
    pub figure: Option<String>,
}

struct Decisions {
    all: Vec<Decision>,
}

impl Decisions {
    fn add(&mut self, what: impl Into<String>, words: String, figure: Option<&str>) {
        self.all.push(Decision { what: what.into(), words, figure: figure.map(str::to_owned) });
    }

    fn figure<Q: Si>(&mut self, what: &str, figure: &Figure<Q>, words: String) {
        self.add(what, words, figure.id());
    }
}

fn word(word: Word) -> &'static str {
    match word {
        Word::Yes => "yes",
        Word::NotYet => "not yet",
        Word::No => "no",
    }
}

/// `ChangeForCopper` as `change for copper`.
fn spaced(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_uppercase() && !out.is_empty() {
            out.push(' ');
        }
        out.extend(c.to_lowercase());
    }
    out
}

fn times(days: &[NaiveDate], reader: &Reader) -> String {
    match days.len() {
        1 => format!("once: {}", reader.days(days)),
        more => format!("{more} times: {}", reader.days(days)),
    }
}

/// Everything a plan decides, in its order.
pub(super) fn of(job: &Job) -> Vec<Decision> {
    let plan = &job.plan;
    let reader = Reader::new(&job.site, plan.system);
    let mut found = Decisions { all: Vec::new() };
    found.add("verdict", word(plan.verdict.word).to_owned(), None);
    for reason in &plan.verdict.reasons {
        let name = if reason.name.is_empty() { String::new() } else { format!(" ({})", reason.name) };
        let words = format!("{}: {}", word(reason.word), reason.key.replace('-', " "));
        found.add(format!("verdict on {}{name}", reason.about), words, None);
    }
    for row in &plan.readings {
        found.add(format!("judgement of {}", row.key.replace('-', " ")), judged(row.judged), None);
    }
    corrections(job, &reader, &mut found);
    copper(job, &reader, &mut found);
    let aid = [
        ("first aid, a quarter of the water", &plan.emergency.quarter),
        ("first aid, each of two changes", &plan.emergency.poisoning),
    ];
    for (what, aid) in aid {
        found.figure(what, &aid.change, reader.volume(aid.change.si(), Way::Down));
    }
    let steps: Vec<String> = plan
        .actions
        .iter()
        .map(|action| {
            let when = match &action.when {
                When::Today => "today".to_owned(),
                When::On(days) => reader.days(days),
                When::Mornings => "in the mornings".to_owned(),
                When::Gate(key) => key.replace('-', " "),
            };
            format!("{} ({when})", spaced(&format!("{:?}", action.act)))
        })
        .collect();
    found.add("what to do, in order", steps.join(", "), None);
    for missing in &plan.missing {
        found.add(format!("missing: {}", missing.what), missing.measure.clone(), None);
    }
    for assumed in &plan.assumptions {
        found.add(format!("assumed: {}", assumed.what), assumed.value.clone(), None);
    }
    for decision in &mut found.all {
        decision.words = decision.words.replace(['\u{a0}', '\u{202f}'], " ");
    }
    found.all
}

fn judged(judged: Judged) -> String {
    spaced(&format!("{judged:?}"))
}

fn corrections(job: &Job, reader: &Reader, found: &mut Decisions) {
    let correction = &job.plan.correction;
    if let Some(plan) = &correction.buffer {
        let words =
            format!("{} of {}, {}", reader.mass(plan.dose.si()), plan.substance.name, times(&plan.days, reader));
        found.figure("buffer dose", &plan.dose, words);
    }
    if let Some(plan) = &correction.calcium {
        let words =
            format!("{} of {}, {}", reader.mass(plan.dose.si()), plan.substance.name, times(&plan.days, reader));
        found.figure("calcium dose", &plan.dose, words);
    }
    if let Some(plan) = &correction.salt {
        let words = format!("{}, {}", reader.mass(plan.dose.si()), times(&plan.days, reader));
        found.figure("salt dose", &plan.dose, words);
    }
    let change =
        |plan: &ChangePlan| format!("{}, {}", reader.volume(plan.volume.si(), Way::Down), times(&plan.days, reader));
    for (what, plan) in
        [("water changes for hardness", &correction.changes), ("water changes for copper", &correction.copper)]
    {
        if let Some(plan) = plan {
            found.figure(what, &plan.volume, change(plan));
        }
    }
    if let Some(after) = &correction.hardness_after {
        let words = reader.quantity("carbonate-hardness", after.si());
        found.figure("carbonate hardness after it, low end", after, words);
    }
    if let Some(after) = &correction.calcium_after {
        found.figure("calcium after it, low end", after, reader.quantity("calcium", after.si()));
    }
}

fn copper(job: &Job, reader: &Reader, found: &mut Decisions) {
    let copper = |si: f64| reader.quantity("total-copper", si);
    if let Some(limits) = &job.plan.limits {
        for (what, figure) in [
            ("copper, stop", &limits.stop),
            ("copper, watch", &limits.watch),
            ("copper, mean of 28 days", &limits.lasting),
        ] {
            found.figure(what, figure, copper(figure.si()));
        }
    }
    if let Some(alone) = &job.plan.by_test {
        let start = match alone.borne_out {
            Some(date) => format!("where it stood on {}", reader.day_year(date)),
            None => format!("not before {}", reader.day_year(alone.first)),
        };
        let tests = if alone.laboratory { "a laboratory's" } else { "copper" };
        let words = format!("step {} of {} by {tests} tests alone, {start}", alone.step, alone.steps);
        found.add("level of the year", words, None);
        let what = "copper with which the panel starts, stays on or runs again";
        found.figure(what, &alone.reading, copper(alone.reading.si()));
    }
    let Some(schedule) = &job.plan.schedule else { return };
    found.add("level of the year", format!("step {} of {}", schedule.holding, schedule.steps), None);
    if let Some(why) = schedule.no_spell {
        found.add("no spell", why.replace('-', " "), None);
    }
    for (number, spell) in (1..).zip(&schedule.spells) {
        let words = format!(
            "step {}, {} days at most, not before {}, back on {}",
            spell.level,
            spell.days.in_unit(&DAYS),
            reader.day_year(spell.not_before),
            reader.day_year(spell.back)
        );
        found.figure(&format!("spell {number}"), &spell.days, words);
        let end = format!("copper at the end of spell {number}, the most");
        found.figure(&end, &spell.end, copper(spell.end.si()));
    }
    found.figure("copper a spell may start from", &schedule.spell_gate, copper(schedule.spell_gate.si()));
    // The level of each day, as stretches.
    let mut stretches: Vec<(u32, usize)> = Vec::new();
    for level in &schedule.levels {
        match stretches.last_mut() {
            Some((last, count)) if last == level => *count += 1,
            _ => stretches.push((*level, 1)),
        }
    }
    let words: Vec<String> = stretches.iter().map(|(level, days)| format!("{days} days at {level}")).collect();
    found.add("levels from the plan's date", words.join(", "), None);
}
