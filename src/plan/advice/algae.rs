//! Algae that did not give way to a raised spell: seen in the thread scores and levels of the log, with what else the log has to
//! explain it.

use chrono::NaiveDate;

use super::{between, usual};
use crate::plan::correction::day;
use crate::plan::{Desk, Diagnosis};
use crate::reference::{
    ALGAE_CAUSES, AlgaeCause, BACK_WITHIN_DAYS, PHOSPHATE_FEEDS, SCORE_WORSE, SPELL_GAP_DAYS, SPELL_TELLS_DAYS,
    TARGETS, WINDOW_HIGH_DKH,
};
use crate::site::{Readings, Visit};
use crate::units::table::{DEGREE_KH, NITRATE_ION, PHOSPHATE_ION};
use crate::units::{Si as _, Time, VolumeRate};
use crate::workings::Figure;

/// Days back to which spells are looked at.
const YEAR_DAYS: i64 = 365;
/// Days after which a visit that finds the panel turned back says nothing of the spell.
const TURNED_BACK_DAYS: i64 = 28;
/// The pond passes the bars in two hours at most (common practice).
const SLOW_SECONDS: f64 = 2.0 * 3600.0;
/// A flow under this share of an earlier one has fallen.
const FALLEN: f64 = 0.85;

/// What became of the threads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// No better at the end of it, or worse.
    Unmoved,
    /// Better, and back within a month: on this day, with this score.
    Back(NaiveDate, u8),
}

/// A raised spell of the log that algae did not give way to.
#[derive(Clone, Debug)]
pub struct Algae {
    /// Its first visit and its last.
    pub days: (NaiveDate, NaiveDate),
    /// The level.
    pub level: u32,
    /// Thread score at its beginning and at its end.
    pub scores: (u8, u8),
    /// What became of the threads.
    pub outcome: Outcome,
    /// What explains it, in order.
    pub explained: Vec<Explained>,
    /// The next raised spell, not before.
    pub next: NaiveDate,
}

/// A cause with what was seen of it.
#[derive(Clone, Debug)]
pub struct Explained {
    /// Which.
    pub cause: &'static AlgaeCause,
    /// What speaks for it; empty for what no reading shows.
    pub seen: Vec<Seen>,
}

/// A sign in the log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Which.
    pub sign: &'static str,
    /// The day it was seen; none for what holds now.
    pub date: Option<NaiveDate>,
    /// The reading: its row's key, and its SI value.
    pub reading: Option<(&'static str, f64)>,
}

/// The visits of a raised stretch, and whether the panel still stood raised at the last of them.
struct Stretch<'v> {
    visits: &'v [Visit],
    after: &'v [Visit],
    level: u32,
}

/// Stretches of visits between which the panel was left raised.
fn stretches<'v>(visits: &'v [Visit], usual: u32) -> Vec<Stretch<'v>> {
    let mut out = Vec::new();
    let mut first = 0;
    while first < visits.len() {
        let mut last = first;
        let mut level = 0;
        while let (Some(a), Some(b)) = (visits.get(last), visits.get(last + 1)) {
            let Some(raised) = a.left().filter(|l| *l > usual) else { break };
            let turned_back = b.found().is_some_and(|l| l <= usual);
            if turned_back && between(a.date, b.date) > TURNED_BACK_DAYS {
                break;
            }
            level = level.max(raised);
            last += 1;
            if turned_back {
                break;
            }
        }
        if let (true, Some(run), Some(after)) = (last > first, visits.get(first..=last), visits.get(last + 1..)) {
            out.push(Stretch { visits: run, after, level });
        }
        first = last.max(first + 1);
    }
    out
}

fn score(visit: &Visit) -> Option<u8> {
    visit.thread_score.as_ref().map(|s| s.value)
}

/// Judges a stretch; `None` where it is too short, the scores are not told, or the threads gave way.
fn judged(stretch: &Stretch<'_>) -> Option<((u8, u8), Outcome)> {
    let (first, last) = (stretch.visits.first()?, stretch.visits.last()?);
    let (before, after) = (score(first)?, score(last)?);
    if between(first.date, last.date) < SPELL_TELLS_DAYS {
        return None;
    }
    if after >= before {
        return (after >= SCORE_WORSE).then_some(((before, after), Outcome::Unmoved));
    }
    let back = stretch.after.iter().take_while(|v| between(last.date, v.date) <= BACK_WITHIN_DAYS);
    let mut back = back.filter_map(|v| Some((v.date, score(v)?)));
    let (date, again) = back.find(|(_, s)| *s > after && *s >= SCORE_WORSE)?;
    Some(((before, after), Outcome::Back(date, again)))
}

/// The last raised spell of the log, where algae did not give way to it, with what explains it. `waits`: no spell before that day for
/// another reason.
pub fn unmoved(
    desk: &Desk<'_>,
    flow: Option<&(Figure<VolumeRate>, Figure<Time>)>,
    diagnosis: Option<&Diagnosis>,
    waits: Option<NaiveDate>,
) -> Option<Algae> {
    let all = stretches(&desk.site.visits, usual(desk));
    let stretch = all.last()?;
    // A visit that found the panel raised since then tells of another spell, of which nobody knows when it began.
    let usual = usual(desk);
    if stretch.after.iter().any(|v| v.found().is_some_and(|l| l > usual)) {
        return None;
    }
    let (scores, outcome) = judged(stretch)?;
    let days = (stretch.visits.first()?.date, stretch.visits.last()?.date);
    if between(days.1, desk.date) > YEAR_DAYS {
        return None;
    }
    let explained = ALGAE_CAUSES
        .iter()
        .map(|cause| {
            let seen = cause.signs.iter().filter_map(|sign| seen(desk, sign, stretch, flow, diagnosis)).collect();
            Explained { cause, seen }
        })
        .filter(|e| e.cause.signs.is_empty() || !e.seen.is_empty())
        .collect();
    let next = day(days.1, SPELL_GAP_DAYS as u64)
        .max(quiet_until(desk).unwrap_or(days.1))
        .max(waits.unwrap_or(days.1))
        .max(desk.date);
    Some(Algae { days, level: stretch.level, scores, outcome, explained, next })
}

/// The day before which no spell starts, six weeks after the last day on which the log may have the panel raised.
pub fn quiet_until(desk: &Desk<'_>) -> Option<NaiveDate> {
    let usual = usual(desk);
    let visits = &desk.site.visits;
    let over = |level: Option<u32>| level.is_some_and(|l| l > usual);
    let index = visits.iter().rposition(|v| over(v.found()) || over(v.left()))?;
    let visit = visits.get(index)?;
    // Left raised: until the next visit, or until today, when the plan turns it down.
    let end = if over(visit.left()) { visits.get(index + 1).map_or(desk.date, |v| v.date) } else { visit.date };
    Some(day(end, SPELL_GAP_DAYS as u64))
}

/// A sign, if it is seen in the stretch or holds now.
fn seen(
    desk: &Desk<'_>,
    sign: &'static str,
    stretch: &Stretch<'_>,
    flow: Option<&(Figure<VolumeRate>, Figure<Time>)>,
    diagnosis: Option<&Diagnosis>,
) -> Option<Seen> {
    // The highest reading of the stretch, if it is at the limit or over it.
    let most = |pick: &dyn Fn(&Readings) -> Option<f64>, key: &'static str, limit: f64, at: bool| -> Option<Seen> {
        let read = stretch.visits.iter().filter_map(|v| Some((v.date, pick(&v.pond)?)));
        let (date, value) = read.max_by(|a, b| a.1.total_cmp(&b.1))?;
        let over = if at { value >= limit * (1.0 - 1e-9) } else { value > limit * (1.0 + 1e-9) };
        over.then_some(Seen { sign, date: Some(date), reading: Some((key, value)) })
    };
    let plain = |date: Option<NaiveDate>| Some(Seen { sign, date, reading: None });
    match sign {
        "hardness-over" => {
            let pick = |r: &Readings| Some(r.carbonate_hardness.as_ref().filter(|r| !r.less_than)?.value.si());
            most(&pick, "carbonate-hardness", DEGREE_KH.si(WINDOW_HIGH_DKH), true)
        }
        "fell-short" => {
            let short =
                |v: &&Visit| v.level_reached.as_ref().zip(v.level_set.as_ref()).is_some_and(|(r, s)| r.value < s.value);
            let visit = stretch.visits.iter().find(short).map(|v| v.date);
            let told = visit.or_else(|| diagnosis.map(|d| d.short.date));
            told.and_then(|date| plain(Some(date)))
        }
        "flow-under-least" => {
            let least = desk.site.panel.as_ref()?.least_flow.as_ref()?.value.si();
            flow.filter(|f| f.0.si() < least).and_then(|_| plain(None))
        }
        "flow-slow" => flow.filter(|f| f.1.si() > SLOW_SECONDS).and_then(|_| plain(None)),
        "flow-fell" => {
            let read = |visits: &[Visit]| {
                visits.iter().filter_map(|v| Some((v.date, v.flow.as_ref()?.value.si()))).collect::<Vec<_>>()
            };
            let (date, now) = read(stretch.visits).last().copied()?;
            let best = read(&desk.site.visits).iter().filter(|f| f.0 <= date).map(|f| f.1).fold(0.0, f64::max);
            (now < FALLEN * best).then_some(Seen { sign, date: Some(date), reading: None })
        }
        "nitrate-high" => {
            let limit = TARGETS.iter().find(|t| t.reading == "nitrate").and_then(|t| t.high)?;
            let pick = |r: &Readings| Some(r.nitrate.as_ref().filter(|r| !r.less_than)?.value.si());
            most(&pick, "nitrate", NITRATE_ION.si(limit), false)
        }
        "phosphate-high" => {
            let pick = |r: &Readings| Some(r.phosphate.as_ref().filter(|r| !r.less_than)?.value.si());
            most(&pick, "phosphate", PHOSPHATE_ION.si(PHOSPHATE_FEEDS), true)
        }
        "supply-phosphate" => {
            let read = desk.site.supply.readings.phosphate.as_ref().filter(|r| !r.less_than)?.value.si();
            let over = read >= PHOSPHATE_ION.si(PHOSPHATE_FEEDS) * (1.0 - 1e-9);
            over.then_some(Seen { sign, date: None, reading: Some(("phosphate", read)) })
        }
        "note-green" => {
            let visit = stretch.visits.iter().chain(stretch.after).find(|v| green(&v.note))?;
            plain(Some(visit.date))
        }
        _ => None,
    }
}

/// Whether a note tells of green water: threads stand on stones, and then the floor is seen.
fn green(note: &str) -> bool {
    let note = note.to_lowercase();
    ["green water", "water green", "pea soup", "cannot see the bottom", "bottom not seen", "bottom not visible"]
        .iter()
        .any(|words| note.contains(words))
}
