//! Figures of what the solver finds: the equation, what went in, what is left of the worst balance, and how many steps it took.

use std::rc::Rc;

use super::conductance;
use super::equations;
pub use super::equations::{Dosed, Reached};
use super::solution::Water;
use super::speciation::{Refusal, State};
use crate::reference::chemistry::{CALCITE, COPPER, COPPER_HYDROXIDE_MADE};
use crate::reference::{CARBONATE_CONSTANTS, COPPER_MEMORY, COPPER_REVIEWED, IONIC_CONDUCTIVITY, substance};
use crate::units::table::{self, MICROSIEMENS, MILLIGRAMS, ONE, PERCENT, weight};
use crate::units::{Conductivity, MassConcentration, Ph, Ratio, Si};
use crate::workings::{Figure, Node};

/// The addition of the tables that is this substance of the site file; `None` for one that brings no ions to count.
#[must_use]
pub fn addition_of(id: &str) -> Option<&'static crate::reference::chemistry::Addition> {
    crate::reference::chemistry::addition(substance(id)?.name)
}

/// What a change of a water adds to its conductivity at 25 °C, closed.
///
/// # Errors
/// As [`speciate`](super::speciation::speciate).
pub fn conductivity_gained(
    names: [&str; 3],
    before: &Water,
    after: &Water,
    inputs: Vec<Rc<Node>>,
) -> Result<Figure<Conductivity>, Refusal> {
    let [id, title, symbol] = names;
    let state = after.at(25.0).closed()?;
    let first = before.conductivity_25()?;
    let value = Conductivity::from_si(MICROSIEMENS.si(conductance::conductivity(&state) - first));
    let figure = Figure::solved(value, CONDUCTIVITY, inputs, state.residual, state.iterations);
    let figure = figure.closing(|gained| equations::conductivity(gained, first, &state, id));
    Ok(figure.named(id, title, symbol, &MICROSIEMENS).from_source(&IONIC_CONDUCTIVITY))
}

/// Conductivity of a water that was found with its state at 25 °C.
#[must_use]
pub fn conductivity(
    names: [&str; 3],
    value: Conductivity,
    state: &State,
    inputs: Vec<Rc<Node>>,
) -> Figure<Conductivity> {
    let [id, title, symbol] = names;
    let figure = Figure::solved(value, CONDUCTIVITY, inputs, state.residual, state.iterations);
    let figure = figure.closing(|found| equations::conductivity(found, 0.0, state, id));
    figure.named(id, title, symbol, &MICROSIEMENS).from_source(&IONIC_CONDUCTIVITY)
}

/// A product's amount in the least correction, as it is sold, in a litre of pond. `reached`: what it may just reach, with that in
/// words; the first that it does is written out over the amount. `off` is how far the corrected water stands from the goals it
/// must just reach, as a share of each.
#[must_use]
pub fn least(
    names: [&str; 3],
    value: MassConcentration,
    (off, state): (f64, &State),
    (product, reached): (&Dosed, &[(Reached, &str)]),
    inputs: Vec<Rc<Node>>,
) -> Figure<MassConcentration> {
    let [id, title, symbol] = names;
    let solved = Figure::solved(value, LEAST, inputs, off.max(state.residual.abs()), state.iterations);
    let closed = reached.iter().find_map(|(reached, words)| {
        let closed = solved.closing(|amount| equations::least(amount, product, reached, id));
        closed.is_closed().then(|| closed.remark(format!("What sets it: {words}")))
    });
    closed.unwrap_or(solved).named(id, title, symbol, &MILLIGRAMS).from_source(&IONIC_CONDUCTIVITY)
}

/// pH of a water whose state was found.
#[must_use]
pub fn ph(names: [&str; 3], value: f64, state: &State, inputs: Vec<Rc<Node>>) -> Figure<Ph> {
    let [id, title, symbol] = names;
    let figure = Figure::solved(Ph::from_si(value), ALKALINITY, inputs, state.residual.abs(), state.iterations);
    let figure = figure.closing(|ph| equations::alkalinity(ph, state, id));
    figure.named(id, title, symbol, &ONE).from_source(&CARBONATE_CONSTANTS)
}

/// Dissolved copper that a water holds beside copper hydroxide that has just formed: `state` is the water with it. `density`: kilograms
/// of water in a litre.
#[must_use]
pub fn copper_held(names: [&str; 3], density: f64, state: &State, inputs: Vec<Rc<Node>>) -> Figure<MassConcentration> {
    let [id, title, symbol] = names;
    let value = MassConcentration::from_si(state.total(COPPER) * weight::CU * density);
    let equation = "C = M(Cu)·ρ·([Cu] + Σ of its pairs), with a(Cu)·a(H₂O)² = K·a(H)²";
    let figure = Figure::solved(value, equation, inputs, state.residual, state.iterations);
    let solid = COPPER_HYDROXIDE_MADE;
    let figure = figure.closing(|held| equations::copper_held(held, solid, density, state, id));
    figure.named(id, title, symbol, &table::COPPER).from_source(&COPPER_MEMORY)
}

/// A move of pH, without sign, with a line for the pH before it and one for the pH after it.
#[must_use]
pub fn ph_moved(names: [&str; 3], before: &State, after: &State, inputs: &[Rc<Node>]) -> Figure<Ph> {
    let [id, title, symbol] = names;
    let sub = symbol.trim_start_matches("ΔpH").trim_start_matches('_');
    let comma = if sub.is_empty() { "" } else { "," };
    let ends = [("before", "from", before), ("after", "to", after)];
    let [from, to] = ends.map(|(when, end, state)| {
        let names = [&*format!("{id}-{end}"), &*format!("{title}: pH {when} it"), &*format!("pH_{sub}{comma}{end}")];
        ph(names, state.ph, state, inputs.to_vec()).meaning::<Ratio>()
    });
    let moved = if after.ph < before.ph { from - to } else { to - from };
    moved.meaning::<Ph>().named(id, title, symbol, &ONE).from_source(&CARBONATE_CONSTANTS)
}

/// What the joint correction solves.
pub const LEAST: &str =
    "m = least of all products with K ≥ K_goal, Ca ≥ Ca_goal and κ ≥ κ_min, inside the limits on K, G, Cl, pH and SI";
const ALKALINITY: &str = "K = C·(α₁ + 2 α₂) + OH − H";
const CONDUCTIVITY: &str = "κ = Σ λ·m over all free ions, at 25 °C";

/// Saturation index of lime: zero where lime neither dissolves nor comes down. `None` without calcium or carbonate.
#[must_use]
pub fn lime(names: [&str; 3], state: &State, inputs: Vec<Rc<Node>>) -> Option<Figure<Ratio>> {
    let [id, title, symbol] = names;
    let value = state.saturation(CALCITE)?;
    let equation = "10^SI = a(Ca)·a(CO₃) / K, lime";
    let figure = Figure::solved(Ratio::from_si(value), equation, inputs, state.residual, state.iterations);
    let figure = figure.closing(|index| equations::lime(index, state, id));
    Some(figure.named(id, title, symbol, &ONE).from_source(&CARBONATE_CONSTANTS))
}

/// Share of the copper that is the free ion, were there nothing in the water but its ions. `None` without copper.
#[must_use]
pub fn free_copper(names: [&str; 3], state: &State, inputs: Vec<Rc<Node>>) -> Option<Figure<Ratio>> {
    let [id, title, symbol] = names;
    let total = state.total(COPPER);
    if total <= 0.0 {
        return None;
    }
    let share = state.of(COPPER) / total;
    let equation = "f = [Cu] / ([Cu] + Σ of its pairs with OH, CO₃, HCO₃, SO₄ and Cl)";
    let figure = Figure::solved(Ratio::from_si(share), equation, inputs, state.residual, state.iterations);
    let figure = figure.closing(|share| equations::free_copper(share, state, id));
    Some(figure.named(id, title, symbol, &PERCENT).from_source(&COPPER_REVIEWED))
}
