//! Water changes: how much to swap, and in how many equal changes, to move a pond to a target.

use crate::units::table::{LITRE, ONE};
use crate::units::{Ratio, Si, Volume};
use crate::workings::{Figure, Way};

/// Share of the water to replace so that a mixed quantity goes from `now` to `target` with water that has `supply`.
#[must_use]
pub fn share_needed<Q>(id: &str, now: &Figure<Q>, target: &Figure<Q>, supply: &Figure<Q>) -> Figure<Ratio>
where
    Q: Si + std::ops::Sub<Output = Q> + std::ops::Div<Output = Ratio>,
{
    ((now - target) / (now - supply)).named(id, "Share of the water to replace", "f_change", &ONE)
}

/// The fewest equal changes that replace `share` when none may be larger than `most`: ln(1 − f) / ln(1 − s), up.
#[must_use]
pub fn fewest(id: &str, share: &Figure<Ratio>, most: &Figure<Ratio>) -> Figure<Ratio> {
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    ((&one - share).ln() / (&one - most).ln()).rounded(Way::Up, 1.0, &ONE).named(
        id,
        "Number of equal changes",
        "n_change",
        &ONE,
    )
}

/// Share of each of `count` equal changes that together replace `share`.
#[must_use]
pub fn each(id: &str, share: &Figure<Ratio>, count: &Figure<Ratio>) -> Figure<Ratio> {
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let rest = (&one - share).power(&(&one / count));
    (&one - &rest).named(id, "Share of one change", "s_change", &ONE)
}

/// Water that one continuous flow-through needs to replace `share`: −V · ln(1 − f).
#[must_use]
pub fn flow_through(id: &str, volume: &Figure<Volume>, share: &Figure<Ratio>) -> Figure<Volume> {
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let passes = (&one / &(&one - share)).ln();
    (volume * passes).named(id, "The same by one flow-through", "V_through", &LITRE)
}

/// A mixed quantity after `count` changes of `share` each: supply + (now − supply) · (1 − s)^n.
#[must_use]
pub fn after<Q>(now: &Figure<Q>, supply: &Figure<Q>, share: &Figure<Ratio>, count: &Figure<Ratio>) -> Figure<Q>
where
    Q: Si + std::ops::Sub<Output = Q> + std::ops::Add<Output = Q> + std::ops::Mul<Ratio, Output = Q>,
{
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let left = (&one - share).power(count);
    supply + &((now - supply) * left)
}
