//! Copper over time: constant release with first-order loss. C(t) = C_rest + (C_0 − C_rest) · e^(−k t).

use uom::si::f64::{Frequency, MassRate};

use crate::reference::{COPPER_LOSS_WARMTH, LOSS_PER_DEGREE};
use crate::units::table::{CELSIUS, DAYS, KELVIN_DIFFERENCE, ONE, PER_DAY};
use crate::units::{MassConcentration, Ratio, Si, TemperatureInterval, ThermodynamicTemperature, Time, Unit, Volume};
use crate::workings::Figure;

/// How much faster copper is lost at a temperature than at 20 °C: 1.05^(T − 20 °C).
#[must_use]
pub fn growth(temperature: &Figure<ThermodynamicTemperature>) -> Figure<Ratio> {
    let base: Figure<Ratio> = Figure::cited(LOSS_PER_DEGREE, "b", "growth a degree Celsius", &ONE, &COPPER_LOSS_WARMTH);
    let twenty: Figure<ThermodynamicTemperature> =
        Figure::counted(20.0, "θ_ref", "where the loss is told for", &CELSIUS);
    let one_degree: Figure<TemperatureInterval> = Figure::counted(1.0, "1 °C", "one degree", &KELVIN_DIFFERENCE);
    let above = &temperature.meaning::<TemperatureInterval>() - &twenty.meaning::<TemperatureInterval>();
    base.power(&(above / one_degree))
}

/// Loss constant at a temperature: k20 · 1.05^(T − 20 °C).
#[must_use]
pub fn loss_at(
    id: &str,
    title: &str,
    at_20: &Figure<Frequency>,
    temperature: &Figure<ThermodynamicTemperature>,
) -> Figure<Frequency> {
    (at_20 * growth(temperature)).named(id, title, "k", &PER_DAY)
}

/// Copper at which release and loss balance.
#[must_use]
pub fn resting(
    id: &str,
    title: &str,
    release: &Figure<MassRate>,
    volume: &Figure<Volume>,
    loss: &Figure<Frequency>,
    unit: &'static Unit,
) -> Figure<MassConcentration> {
    (release / &(volume * loss)).named(id, title, "C_rest", unit)
}

/// Copper a time after it was `start`, heading for `rest`.
#[must_use]
pub fn after(
    start: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
    time: &Figure<Time>,
) -> Figure<MassConcentration> {
    let zero: Figure<Ratio> = Figure::counted(0.0, "0", "zero", &ONE);
    let left = (zero - (loss * time).meaning::<Ratio>()).exp();
    rest + &((start - rest) * left)
}

/// Days until copper that heads for `rest` from `start` passes `ceiling`; `None` if it never does.
#[must_use]
pub fn days_to(
    id: &str,
    start: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    ceiling: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
) -> Option<Figure<Time>> {
    if rest.si() <= ceiling.si() || start.si() >= ceiling.si() {
        return None;
    }
    let ratio: Figure<Ratio> = ((rest - start) / (rest - ceiling)).meaning();
    Some((ratio.ln() / loss).meaning::<Time>().named(id, "Days until copper reaches stop", "t_stop", &DAYS))
}

/// Mean over `span` of a path that heads for `rest` from `start`: rest + (start − rest) · (1 − e^(−k t)) / (k t).
#[must_use]
pub fn mean(
    start: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
    span: &Figure<Time>,
) -> Figure<MassConcentration> {
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let zero: Figure<Ratio> = Figure::counted(0.0, "0", "zero", &ONE);
    let kt: Figure<Ratio> = (loss * span).meaning();
    let part = (&one - &(zero - &kt).exp()) / &kt;
    rest + &((start - rest) * part)
}

/// Copper day by day, for drawing and for the independent check: `steps` substeps a day of the exact solution over
/// pieces of constant release. All in SI a day: releases kg/day, volume m³, loss 1/day, start kg/m³.
#[must_use]
pub fn daily(start: f64, volume: f64, loss: f64, releases: &[f64]) -> Vec<f64> {
    let mut copper = start;
    releases
        .iter()
        .map(|release| {
            let rest = release / (volume * loss);
            copper = rest + (copper - rest) * libm::exp(-loss);
            copper
        })
        .collect()
}

/// The same by small explicit steps, sharing no formula with the exact solution: the second opinion of the safety
/// check. Returns the highest value of each day. Units as in [`daily`].
#[must_use]
pub fn daily_by_steps(start: f64, volume: f64, loss: f64, releases: &[f64]) -> Vec<f64> {
    const STEPS: u32 = 200;
    let step = 1.0 / f64::from(STEPS);
    let mut copper = start;
    releases
        .iter()
        .map(|release| {
            let mut highest = copper;
            for _ in 0..STEPS {
                // Heun's method: second order, plenty at 200 steps a day.
                let slope = release / volume - loss * copper;
                let guess = copper + slope * step;
                copper += 0.5 * step * (slope + release / volume - loss * guess);
                highest = highest.max(copper);
            }
            highest
        })
        .collect()
}

/// Bare value for callers that only compare.
#[must_use]
pub fn milligrams(figure: &Figure<MassConcentration>) -> f64 {
    figure.value().si() * 1000.0
}
