//! Flow past the bars: bucket and stopwatch, or a notch.

use crate::reference::{BUCKET_TEST, NOTCH};
use crate::units::table::{LITRES_PER_SECOND, ONE};
use crate::units::{Length, Ratio, Si, Time, Volume, VolumeRate};
use crate::workings::Figure;

/// Bucket and stopwatch (FL-01), under an id, a title and a symbol.
#[must_use]
pub fn bucket([id, title, symbol]: [&str; 3], volume: &Figure<Volume>, time: &Figure<Time>) -> Figure<VolumeRate> {
    (volume / time).named(id, title, symbol, &LITRES_PER_SECOND).from_source(&BUCKET_TEST)
}

/// A 90° notch (FL-03): Q = 2.49 · H^2.48 in feet and cubic feet a second; under an id, a title and a symbol.
#[must_use]
pub fn notch([id, title, symbol]: [&str; 3], head: &Figure<Length>) -> Figure<VolumeRate> {
    let foot: Figure<Length> = Figure::counted(0.3048, "1 ft", "one foot", &crate::units::table::METRE);
    let exponent: Figure<Ratio> = Figure::cited(2.48, "n_Q", "exponent", &ONE, &NOTCH);
    let factor: Figure<VolumeRate> = Figure::leaf(
        VolumeRate::from_si(2.49 * 0.028_316_846_592),
        "c_Q",
        "2.49 cubic feet a second",
        &LITRES_PER_SECOND,
        crate::workings::Source::Cited(&NOTCH),
    );
    (factor * (head / foot).power(&exponent)).named(id, title, symbol, &LITRES_PER_SECOND)
}

/// How long the whole pond takes to pass the bars once.
#[must_use]
pub fn turnover(volume: &Figure<Volume>, flow: &Figure<VolumeRate>) -> Figure<Time> {
    (volume / flow).named("flow.turnover", "Time to pass the pond once", "t_turn", &crate::units::table::HOUR)
}
