//! The days of a schedule: which of them are open to the panel, under which limits, and where spells fit among them.

use chrono::{Datelike, Days, NaiveDate};

use super::Spell;
use crate::plan::copper::DayLimits;
use crate::plan::correction::day;
use crate::plan::verdict::{south, tadpole_month};
use crate::plan::{Ahead, CopperLimits, Desk, Outlook, Side};
use crate::reference::{LASTING_DAYS, SEASON_CELSIUS, SPELL_GAP_DAYS, WINDOW_HIGH_DKH, WINDOW_LOW_DKH};
use crate::site::AnimalKind;
use crate::units::Si as _;
use crate::units::table::{DEGREE, DEGREE_KH};

/// Days of a schedule.
const YEAR: usize = 365;
/// Where in the season spells are looked for, as shares of it: with a season from April to October 20 April, 22 June, 17 August
/// and 1 October (common practice: the first rush of string algae is in spring).
const ANCHORS: [f64; 4] = [19.0 / 214.0, 82.0 / 214.0, 138.0 / 214.0, 183.0 / 214.0];

/// Days after its place in the season by which a spell has to start, else there is none.
const LATEST: i64 = 28;

/// A day. Whether the water is in the window is for a test to say: the days on which the forecast doubts it are marked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// The panel may run: the water is warm enough, nothing is closed for spawn, all corrections are done.
    pub open: bool,
    /// In the season, whatever the water holds.
    pub warm: bool,
    /// Kept shut for spawn and tadpoles.
    pub closed: bool,
    /// One possible year in ten is colder than the season.
    pub cold: bool,
    /// Water is changed or something is added.
    pub busy: bool,
    /// How the forecast stands to the window.
    pub side: Option<Side>,
    /// Limits in the water of that day; none where copper has no place in it.
    pub limits: Option<DayLimits>,
}

/// Copper at rest at the holding level, the most it comes to, kg/m³: in all, and in the form of the lasting limit.
pub(super) struct Resting {
    pub(super) total: f64,
    pub(super) lasting: f64,
}

/// A spell as it has to fit in, kg/m³.
pub(super) struct Shape {
    /// Its level.
    pub(super) level: u32,
    /// How many days it lasts.
    pub(super) days: usize,
    /// The highest copper of each day of it and of four weeks after, in the kinder corner.
    pub(super) path: Vec<f64>,
    /// The mean of the worst 28 days, in the form of the lasting limit.
    pub(super) mean: f64,
    /// Copper it starts from at most.
    pub(super) gate: f64,
}

/// The days from the plan's date, with four weeks more to see a spell out.
pub(super) struct Calendar {
    first: NaiveDate,
    pub(super) days: Vec<Day>,
    anchors: Vec<i64>,
}

/// Months taken to have water at 8 °C or more where no forecast tells: April to October, six months on in the south, all year
/// within 35° of the equator.
fn warm_month(date: NaiveDate, desk: &Desk<'_>) -> bool {
    let degrees = desk.site.latitude.as_ref().map_or(50.0, |l| DEGREE.of(l.value.si()));
    if degrees.abs() < 35.0 {
        return true;
    }
    let month = if degrees < 0.0 { (date.month() + 5) % 12 + 1 } else { date.month() };
    (4..=10).contains(&month)
}

fn closed(date: NaiveDate, desk: &Desk<'_>) -> bool {
    let breeding = desk.site.animals.iter().any(|a| a.kind == AnimalKind::BreedingAmphibians);
    breeding && tadpole_month(date.month(), south(desk))
}

/// The season's first day and its length: the longest stretch of warm days in a year that goes round; by months without a
/// forecast, or where it is always warm. `None` where it is never.
fn season(desk: &Desk<'_>, outlook: Option<&Outlook>) -> Option<(NaiveDate, f64)> {
    let warm: Vec<bool> =
        outlook.map(|o| o.days.iter().map(|d| d.celsius >= SEASON_CELSIUS).collect()).unwrap_or_default();
    let by_months = || {
        let month = if south(desk) { 10 } else { 4 };
        Some((NaiveDate::from_ymd_opt(desk.date.year(), month, 1)?, 214.0))
    };
    let Some(outlook) = outlook.filter(|_| warm.iter().any(|w| !w)) else { return by_months() };
    let count = warm.len();
    let is_warm = |index: usize| warm.get(index % count).copied().unwrap_or(false);
    let starts = (0..count).filter(|i| is_warm(*i) && !is_warm(i + count - 1));
    let lengths = starts.map(|start| (start, (0..count).take_while(|n| is_warm(start + n)).count()));
    let (start, length) = lengths.max_by_key(|(start, length)| (*length, std::cmp::Reverse(*start)))?;
    Some((outlook.first.checked_add_days(Days::new(start as u64))?, length as f64))
}

/// Soft where one possible year in ten is under the window, hard where half of them are over it.
fn doubtful(ahead: &Ahead) -> Option<Side> {
    let degrees = |amount: f64| DEGREE_KH.of(amount);
    if degrees(ahead.hardness.low) < WINDOW_LOW_DKH * (1.0 - 1e-9) {
        Some(Side::Soft)
    } else if degrees(ahead.hardness.middle) >= WINDOW_HIGH_DKH * (1.0 - 1e-9) {
        Some(Side::Hard)
    } else {
        None
    }
}

impl Calendar {
    pub(super) fn of(
        desk: &Desk<'_>,
        limits: &CopperLimits,
        outlook: Option<&Outlook>,
        ready: NaiveDate,
        rest: Resting,
    ) -> Self {
        let first = desk.date;
        let days = (0..YEAR + LASTING_DAYS as usize)
            .map(|index| {
                let date = day(first, index as u64);
                let ahead = outlook.and_then(|o| o.near(date));
                let limits = match &ahead {
                    Some(ahead) => limits.on(ahead),
                    None => Some(limits.now()),
                };
                let warm = ahead.as_ref().map_or_else(|| warm_month(date, desk), |a| a.celsius >= SEASON_CELSIUS);
                let fits = limits.is_some_and(|l| rest.total < l.stop && rest.lasting <= l.lasting);
                let closed = closed(date, desk);
                Day {
                    open: date >= ready && warm && fits && !closed,
                    warm,
                    closed,
                    cold: ahead.as_ref().is_some_and(|a| a.coldest < SEASON_CELSIUS),
                    side: ahead.as_ref().and_then(doubtful),
                    busy: ahead.as_ref().is_some_and(|a| a.busy),
                    limits,
                }
            })
            .collect();
        let mut anchors = Vec::new();
        if let Some((start, length)) = season(desk, outlook) {
            for years in [-1, 0, 1] {
                let begins = (start - first).num_days() + 365 * years;
                anchors.extend(ANCHORS.map(|share| begins + libm::round(share * length) as i64));
            }
        }
        anchors.sort_unstable();
        Self { first, days, anchors }
    }

    /// The level on each of the 365 days.
    pub(super) fn levels(&self, spells: &[Spell], holding: u32) -> Vec<u32> {
        let level = |(index, today): (usize, &Day)| {
            let date = day(self.first, index as u64);
            if !today.open {
                0
            } else {
                spells.iter().find(|s| date >= s.not_before && date < s.back).map_or(holding, |s| s.level)
            }
        };
        self.days.iter().take(YEAR).enumerate().map(level).collect()
    }

    /// Where spells fit, as many as are wanted: their first days, and which of the shapes they have. The first shapes are wanted
    /// most; none starts before `quiet`.
    pub(super) fn spells(&self, shapes: &[Shape], wanted: u32, quiet: NaiveDate) -> Vec<(NaiveDate, usize)> {
        let lengths: Vec<i64> = shapes.iter().map(|shape| shape.days as i64).collect();
        let quiet = (quiet - self.first).num_days();
        let fits = |start: i64, which: usize, care: u8| {
            if start < quiet {
                return false;
            }
            let (Ok(start), Some(shape)) = (usize::try_from(start), shapes.get(which)) else { return false };
            self.fits(shape, start, care)
        };
        place(&self.anchors, YEAR as i64, &lengths, SPELL_GAP_DAYS as i64, wanted as usize, &fits)
            .into_iter()
            .filter_map(|(start, which)| Some((day(self.first, u64::try_from(start).ok()?), which)))
            .collect()
    }

    /// Whether a spell may start on a day. `care`: 2 keeps it clear of every day on which water is changed or something added, 1
    /// only its start, 0 not at all, for ponds where that is done each week.
    fn fits(&self, shape: &Shape, start: usize, care: u8) -> bool {
        let end = start + shape.days;
        let Some(held) = self.days.get(start..end) else { return false };
        let after = self.days.get(end..).unwrap_or_default();
        let whole = held.iter().all(|d| d.open && !d.cold);
        let near = self.days.get(start.saturating_sub(2)..(end + 2).min(self.days.len())).unwrap_or_default();
        let begins = self.days.get(start.saturating_sub(1)..=start).unwrap_or_default();
        let clear = match care {
            2 => !near.iter().any(|d| d.busy),
            1 => !begins.iter().any(|d| d.busy),
            _ => true,
        };
        // A spell opens only while copper is under the watch of that day.
        let opens = held.first().and_then(|d| d.limits).is_some_and(|limits| shape.gate <= 0.5 * limits.stop);
        // Copper may not pass the stop of its day, nor outlast the water that bears it.
        let under =
            held.iter().chain(after).zip(&shape.path).enumerate().all(|(index, (today, copper))| match today.limits {
                Some(limits) => *copper <= limits.stop * (1.0 + 1e-12) && shape.mean <= limits.lasting * (1.0 + 1e-12),
                None => index >= shape.days && *copper <= shape.gate,
            });
        whole && clear && opens && under
    }
}

/// Days on which spells start, each with the kind it is of: for each anchor the first day at it or within four weeks, and before the
/// next anchor, that fits, `gap` days after the spell before was over. Days are counted from the plan's date, and a spell is over
/// within the horizon. Of several grades of care the highest is taken that finds a day, then of several kinds (one length each)
/// the first.
pub fn place(
    anchors: &[i64],
    horizon: i64,
    lengths: &[i64],
    gap: i64,
    wanted: usize,
    fits: &dyn Fn(i64, usize, u8) -> bool,
) -> Vec<(i64, usize)> {
    let mut found: Vec<(i64, usize)> = Vec::new();
    let mut free = 0;
    for (index, anchor) in anchors.iter().enumerate() {
        if found.len() >= wanted {
            break;
        }
        let next = anchors.get(index + 1).copied().unwrap_or(i64::MAX).min(anchor + LATEST);
        let from = free.max(*anchor);
        let start = (0..=2_u8).rev().find_map(|care| {
            lengths.iter().enumerate().find_map(|(kind, length)| {
                let until = next.min(horizon - length + 1);
                (from..until).find(|start| fits(*start, kind, care)).map(|start| (start, kind))
            })
        });
        if let Some((start, kind)) = start {
            free = start + lengths.get(kind).copied().unwrap_or(0) + gap;
            found.push((start, kind));
        }
    }
    found
}
