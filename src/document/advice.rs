//! What the log changes, as templates see it.

use minijinja::Value;

use super::Source;
use super::lines::Lines;
use super::view::{figure, map};
use super::words::{Reader, count_word};
use crate::plan::{Act, ChangePlan, Outcome, TurnDown, Watch, When};
use crate::units::table::DAYS;
use crate::units::{Digits, Time, plain};
use crate::workings::{Figure, Way};

fn days(lines: &Lines, of: &Figure<Time>) -> Value {
    let number = plain(of.in_unit(&DAYS), Digits::Places(0));
    let word = if number == "1" { "day" } else { "days" };
    figure(lines, of, format!("{number}\u{a0}{word}"))
}

/// The view; `None` where the log changes nothing.
pub(super) fn view(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let advice = &source.plan.advice;
    if advice.watch.is_none() && advice.stop.is_none() && advice.algae.is_none() {
        return None;
    }
    Some(map! {
        "watch" => advice.watch.as_ref().map(|w| watch(w, source, reader, lines)),
        "stop" => advice.stop.as_ref().map(|stop| map! {
            "read_on" => reader.day(stop.read_on),
            "under" => stop.under.as_ref().map(|n| figure(lines, n, count_word(n.si() as u64))),
            "one" => stop.under.as_ref().is_some_and(|n| n.si() < 1.5),
            "days" => days(lines, &stop.days),
            "retest" => reader.weekday_day(stop.retest),
        }),
        "algae" => advice.algae.as_ref().map(|algae| {
            let (back_on, back_score) = match algae.outcome {
                Outcome::Back(date, score) => (Some(reader.day(date)), Some(score)),
                Outcome::Unmoved => (None, None),
            };
            map! {
                "from" => reader.day(algae.days.0), "to" => reader.day_year(algae.days.1),
                "level" => algae.level, "before" => algae.scores.0, "after" => algae.scores.1,
                "worse" => algae.scores.1 > algae.scores.0,
                "back_on" => back_on, "back_score" => back_score,
                "next" => (algae.next > source.plan.date).then(|| reader.day_year(algae.next)),
                "told" => algae.explained.iter().any(|e| !e.seen.is_empty()),
                "causes" => algae.explained.iter().map(|explained| map! {
                    "key" => explained.cause.key,
                    "seen" => explained.seen.iter().map(|seen| map! {
                        "sign" => seen.sign,
                        "on" => seen.date.map(|date| reader.day(date)),
                        "reading" => seen.reading.map(|(key, si)| reader.quantity(key, si)),
                    }).collect::<Value>(),
                }).collect::<Value>(),
            }
        }),
    })
}

fn watch(watch: &Watch, source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    let (from, level) = match watch.from {
        TurnDown::Spell(level) => ("spell", Some(level)),
        TurnDown::Holding(level) => ("holding", Some(level)),
        TurnDown::Zero => ("zero", None),
        TurnDown::Untold => ("untold", None),
    };
    map! {
        "read_on" => reader.day(watch.read_on),
        "from" => from, "level" => level,
        "days" => days(lines, &watch.days),
        "end" => figure(lines, &watch.end, reader.quantity("total-copper", watch.end.si())),
        "clear" => reader.weekday_day(watch.clear),
        "retest" => reader.weekday_day(watch.retest),
        "again" => source.plan.schedule.as_ref().and_then(|s| {
            let again = s.again.as_ref()?;
            Some(map! {
                "on" => reader.weekday_day(again.day),
                "wait" => days(lines, &again.wait),
                "mean" => figure(lines, &again.mean, reader.quantity("total-copper", again.mean.si())),
                "longer" => again.day > watch.clear,
                "over" => again.over,
            })
        }),
        "change" => watch.change.as_ref().map(|c| change(c, reader, lines)),
        "then" => watch.then.as_ref().map(|t| days(lines, t)),
    }
}

fn change(c: &ChangePlan, reader: &Reader, lines: &Lines) -> Value {
    map! {
        "volume" => figure(lines, &c.volume, reader.volume(c.volume.si(), Way::Down)),
        "share" => figure(lines, &c.share, format!("{}\u{a0}%", plain(c.share.si() * 100.0, Digits::Significant(2)))),
        "after" => c.copper_after.as_ref().map(|k| figure(lines, k, reader.quantity("total-copper", k.si()))),
        "time" => c.time.as_ref().map(|t| figure(lines, t, reader.time(t.si()))),
        "thiosulfate" => c.thiosulfate.as_ref().map(|m| figure(lines, m, reader.mass_up(m.si()))),
        "buffer" => c.buffer.as_ref().map(|m| figure(lines, m, reader.mass(m.si()))),
        "gate" => c.ammonia_gate.as_ref().map(|g| figure(lines, g, reader.quantity("total-ammonia", g.si()))),
        "slowly" => c.followed.as_ref().is_some_and(|f| f.too_far),
    }
}

/// When the water is tested again after the corrections, also where the first page has no room for it.
pub(super) fn retest(source: &Source<'_>, reader: &Reader) -> Option<String> {
    let plan = source.plan;
    let listed = plan.actions.iter().find(|a| a.act == Act::Retest).map(|a| &a.when);
    match listed.or(plan.retest.as_ref())? {
        When::On(days) => Some(reader.days(days)),
        _ => None,
    }
}
