//! Volumes from tape and sounding stick, their uncertainty, and the mean of several methods.

use crate::reference::{GEOMETRY, MEAN_DEPTH, MEAN_DEPTH_SHORTCUT};
use crate::units::table::{CUBIC_METRE, METRE, ONE, SQUARE_METRE};
use crate::units::{Area, Length, Ratio, Si, Volume};
use crate::workings::{Figure, maximum, minimum, sum};

/// Mean of soundings, zeros at sloping banks included.
#[must_use]
pub fn mean_depth(id: &str, soundings: &[Figure<Length>]) -> Figure<Length> {
    let count: Figure<Ratio> =
        Figure::counted(soundings.len() as f64, &soundings.len().to_string(), "number of soundings", &ONE);
    (sum(soundings) / count).named(id, "Mean depth", "d", &METRE).from_source(&MEAN_DEPTH)
}

/// Mean depth guessed from the greatest.
#[must_use]
pub fn mean_from_greatest(id: &str, greatest: &Figure<Length>) -> Figure<Length> {
    let share: Figure<Ratio> = Figure::cited(0.4, "q_depth", "share of the greatest depth", &ONE, &MEAN_DEPTH_SHORTCUT);
    (greatest * share).named(id, "Mean depth", "d", &METRE)
}

/// Area of an ellipse or circle from its two axes, end to end.
#[must_use]
pub fn ellipse(id: &str, length: &Figure<Length>, width: &Figure<Length>) -> Figure<Area> {
    let quarter: Figure<Ratio> = Figure::cited(std::f64::consts::FRAC_PI_4, "π/4", "quarter of pi", &ONE, &GEOMETRY);
    (quarter * (length * width)).named(id, "Area of the water", "A", &SQUARE_METRE)
}

/// Area of a rectangle.
#[must_use]
pub fn rectangle(id: &str, length: &Figure<Length>, width: &Figure<Length>) -> Figure<Area> {
    (length * width).named(id, "Area of the water", "A", &SQUARE_METRE)
}

/// Prismoid (VO-12): depth / 6 · (top + 4 · middle + bottom).
#[must_use]
pub fn prismoid(
    top: &Figure<Area>,
    middle: &Figure<Area>,
    bottom: &Figure<Area>,
    depth: &Figure<Length>,
) -> Figure<Volume> {
    let six: Figure<Ratio> = Figure::counted(6.0, "6", "six", &ONE);
    let four: Figure<Ratio> = Figure::counted(4.0, "4", "four", &ONE);
    (depth / six * (top + &(four * middle) + bottom)).from_source(&GEOMETRY)
}

/// Relative uncertainty of a sum of parts, each with its own: in quadrature.
#[must_use]
pub fn uncertainty_of_sum(
    id: &str,
    total: &Figure<Volume>,
    parts: &[(Figure<Volume>, Figure<Ratio>)],
) -> Figure<Ratio> {
    let squares: Vec<Figure<Ratio>> = parts
        .iter()
        .map(|(volume, uncertainty)| {
            let share = volume / total * uncertainty;
            &share * &share
        })
        .collect();
    sum(&squares).sqrt().named(id, "Its uncertainty", "u", &ONE)
}

/// Mean of two methods, each weighted by the inverse square of its absolute uncertainty, and its own uncertainty.
/// `step` names the lines: empty for the last mean, which is the volume itself.
#[must_use]
pub fn weighted(
    step: &str,
    first: (&Figure<Volume>, &Figure<Ratio>),
    second: (&Figure<Volume>, &Figure<Ratio>),
) -> (Figure<Volume>, Figure<Ratio>) {
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let two: Figure<Ratio> = Figure::counted(2.0, "2", "two", &ONE);
    let symbol = |letter: &str| if step.is_empty() { letter.to_owned() } else { format!("{letter}_mean") };
    let id = |name: &str| if step.is_empty() { format!("volume.{name}") } else { format!("volume.{step}.{name}") };
    // Weights relative to the first method, so that they stay pure numbers.
    let spread = (first.0 * first.1) / (second.0 * second.1);
    let weight = spread.power(&two).named(id("weight"), "Weight of the second method", &symbol("g"), &ONE);
    let total = &one + &weight;
    let title = if step.is_empty() { "Volume" } else { "Mean of the first two methods" };
    let mean =
        ((first.0 + &(&weight * second.0)) / total.clone()).named(id("total"), title, &symbol("V"), &CUBIC_METRE);
    let uncertainty =
        (first.0 * first.1 / (&mean * &total.sqrt())).named(id("uncertainty"), "Its uncertainty", &symbol("u"), &ONE);
    (mean, uncertainty)
}

/// How far two methods lie apart, in units of their joint uncertainty.
#[must_use]
pub fn disagreement(first: (f64, f64), second: (f64, f64)) -> f64 {
    let joint = libm::sqrt((first.0 * first.1) * (first.0 * first.1) + (second.0 * second.1) * (second.0 * second.1));
    (first.0 - second.0).abs() / joint.max(f64::MIN_POSITIVE)
}

/// The low and the high end of a volume. Methods that disagree widen it to the lowest and highest end of them all.
#[must_use]
pub fn ends(
    total: &Figure<Volume>,
    uncertainty: &Figure<Ratio>,
    disagreeing: &[(Figure<Volume>, Figure<Ratio>)],
) -> (Figure<Volume>, Figure<Volume>) {
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let mut low = vec![total * (&one - uncertainty)];
    let mut high = vec![total * (&one + uncertainty)];
    for (volume, uncertainty) in disagreeing {
        low.push(volume * &(&one - uncertainty));
        high.push(volume * &(&one + uncertainty));
    }
    let low = if low.len() > 1 { minimum(&low) } else { low.pop() };
    let high = if high.len() > 1 { maximum(&high) } else { high.pop() };
    let named = |end: Option<Figure<Volume>>, id: &str, title: &str, symbol: &str| {
        end.unwrap_or_else(|| total.clone()).named(id, title, symbol, &CUBIC_METRE)
    };
    (named(low, "volume.low", "Low end, used for doses", "V_low"), named(high, "volume.high", "High end", "V_high"))
}

/// Salt dilution (DI-02): volume = salt / (factor · rise of conductivity). `factor` in kg/m³ a S/m.
#[must_use]
pub fn from_salt<K, F>(salt: &Figure<uom::si::f64::Mass>, rise: &Figure<K>, factor: &Figure<F>) -> Figure<Volume>
where
    K: Si,
    F: Si + std::ops::Mul<K, Output = uom::si::f64::MassDensity>,
{
    salt / &(factor * rise)
}
