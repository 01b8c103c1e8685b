//! What the log changes: copper at watch or at stop, and algae that did not give way to a raised spell.

mod algae;
mod copper;

use chrono::NaiveDate;

pub use algae::{Algae, Explained, Outcome, Seen};
pub(super) use algae::{quiet_until, unmoved};
pub use copper::{Again, Stop, TurnDown, Watch};
pub(super) use copper::{stop, watch};

use super::Desk;
use crate::site::Visit;

/// What the log changes.
#[derive(Clone, Debug, Default)]
pub struct Advice {
    /// Copper at watch or over it, and under stop.
    pub watch: Option<Watch>,
    /// Copper at stop or over it.
    pub stop: Option<Stop>,
    /// Algae that did not give way to a raised spell.
    pub algae: Option<Algae>,
}

/// The level over which the panel counts as raised: that of the year round as the site file has it; where it has none, the lowest the
/// log ran at, if it ran at others as well.
fn usual(desk: &Desk<'_>) -> u32 {
    let steps = desk.site.panel.as_ref().map_or(u32::MAX, |panel| panel.steps);
    if let Some(own) = &desk.site.practice.holding_level {
        return own.value.min(steps);
    }
    let mut ran: Vec<u32> = desk.site.visits.iter().filter_map(Visit::left).filter(|level| *level > 0).collect();
    ran.sort_unstable();
    ran.dedup();
    match ran.as_slice() {
        [lowest, _, ..] => (*lowest).max(1).min(steps),
        _ => 1.min(steps),
    }
}

/// Days from one date to another.
fn between(from: NaiveDate, to: NaiveDate) -> i64 {
    (to - from).num_days()
}
