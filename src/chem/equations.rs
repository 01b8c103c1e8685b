//! The equations of the solver written out at a result: what is left of each, as a share of what it balances.
//!
//! Constants come from the tables at the water's temperature; activities and amounts of what was not asked for are those the
//! solver found, as numbers. So each says whether its own result closes it, given the rest.

use super::conductance::molal;
use super::speciation::{Constants, IONS, State};
use crate::reference::Citation;
use crate::reference::chemistry::{
    Addition, CALCITE, CALCIUM, CARBONATE, CHLORIDE, CONDUCTANCES, COPPER, HYDROGEN, REACTIONS, SOLIDS, SULFATE,
    species,
};
use crate::units::table::{MICROSIEMENS, ONE, weight};
use crate::units::{Ratio, Si as _};
use crate::workings::{Figure, sum};

/// A number that the solver found on the way to the result of a line.
fn found(value: f64, symbol: &str, what: &str, line: &str) -> Figure<Ratio> {
    let title = format!("{what} ({line})");
    Figure::stated(Ratio::from_si(value), symbol, &title, &ONE, "the equilibrium that was solved")
}

fn constant(value: f64, symbol: &str, what: &str, state: &State, citation: &'static Citation) -> Figure<Ratio> {
    let title = format!("{what} at {} °C", crate::units::plain(state.celsius, crate::units::Digits::Places(1)));
    Figure::cited(value, symbol, &title, &ONE, citation)
}

fn one() -> Figure<Ratio> {
    Figure::counted(1.0, "1", "one", &ONE)
}

fn zero() -> Figure<Ratio> {
    Figure::counted(0.0, "0", "zero", &ONE)
}

/// A refusal, as what is left of an equation.
fn nothing() -> Figure<Ratio> {
    Figure::counted(f64::NAN, "none", "no equation", &ONE)
}

const BICARBONATE: usize = species("HCO3-");
const HYDROXIDE: usize = species("OH-");

/// The formation constant of a species from the tables, with its row's citation.
fn formation(constants: &Constants, at: usize) -> Option<(f64, &'static Citation)> {
    let row = REACTIONS.get(at - IONS)?;
    Some((constants.formation(row.name)?, row.citation))
}

/// Activity coefficient of a species that is there.
fn coefficient(state: &State, at: usize) -> f64 {
    let molality = state.of(at);
    if molality > 0.0 { state.activity(at) / molality } else { f64::NAN }
}

/// Alkalinity against pH: free carbonate, bicarbonate, hydroxide and hydrogen by their constants, pairs as they were found.
pub(super) fn alkalinity(ph: &Figure<Ratio>, state: &State, line: &str) -> Figure<Ratio> {
    written_alkalinity(ph, state, line).unwrap_or_else(nothing)
}

fn written_alkalinity(ph: &Figure<Ratio>, state: &State, line: &str) -> Option<Figure<Ratio>> {
    let constants = Constants::at(state.celsius).ok()?;
    let h = (zero() - ph).ten();
    let carbonate = found(state.activity(CARBONATE), "a_CO3", "activity of carbonate", line);
    let gamma = |at: usize, symbol: &str, of: &str| {
        found(coefficient(state, at), symbol, &format!("activity coefficient of {of}"), line)
    };
    let (first, cited) = formation(&constants, BICARBONATE)?;
    let beta = constant(first, "K_HCO3", "constant of CO3 + H = HCO3", state, cited);
    let (second, cited) = formation(&constants, HYDROXIDE)?;
    let water = constant(second, "K_w", "constant of water = OH + H", state, cited);
    let activity = found(state.water_activity, "a_H2O", "activity of water", line);
    let two: Figure<Ratio> = Figure::counted(2.0, "2", "two", &ONE);
    let free = two * &carbonate / gamma(CARBONATE, "γ_CO3", "carbonate");
    let bicarbonate = beta * &h * &carbonate / gamma(BICARBONATE, "γ_HCO3", "bicarbonate");
    let hydroxide = water * activity / &h / gamma(HYDROXIDE, "γ_OH", "hydroxide");
    let acid = &h / &gamma(HYDROGEN, "γ_H", "hydrogen");
    // Pairs by the hydrogen that goes into them: none, one, or hydroxide.
    let mut pairs = [0.0; 3];
    for (row, at) in REACTIONS.iter().zip(IONS..) {
        if at == BICARBONATE || at == HYDROXIDE {
            continue;
        }
        let count = |ion: usize| row.from.iter().find(|(i, _)| *i == ion).map_or(0, |(_, count)| i32::from(*count));
        let brings = f64::from(2 * count(CARBONATE) - count(HYDROGEN)) * state.of(at);
        let kind = match count(HYDROGEN) {
            0 => 0,
            n if n > 0 => 1,
            _ => 2,
        };
        if let Some(sum) = pairs.get_mut(kind) {
            *sum += brings;
        }
    }
    let [with_carbonate, with_bicarbonate, with_hydroxide] = pairs;
    let pairs = [
        found(with_carbonate, "P_CO3", "alkalinity in pairs of carbonate, mol/kg", line),
        found(with_bicarbonate, "P_HCO3", "alkalinity in pairs of bicarbonate, mol/kg", line),
        found(with_hydroxide, "P_OH", "alkalinity in pairs of hydroxide, mol/kg", line),
    ];
    let all = sum(&[free, bicarbonate, hydroxide]) + sum(&pairs) - acid;
    let total = found(state.alkalinity, "K_kg", "alkalinity, mol/kg", line);
    Some(all / total - one())
}

/// Saturation index of lime against the activities of calcium and carbonate.
pub(super) fn lime(index: &Figure<Ratio>, state: &State, line: &str) -> Figure<Ratio> {
    let product = Constants::at(state.celsius).ok().and_then(|constants| constants.solid(CALCITE));
    let (Some(product), Some(row)) = (product, SOLIDS.get(CALCITE)) else { return nothing() };
    let product = constant(product, "K_lime", "solubility product of lime", state, row.citation);
    let calcium = found(state.activity(CALCIUM), "a_Ca", "activity of calcium", line);
    let carbonate = found(state.activity(CARBONATE), "a_CO3", "activity of carbonate", line);
    index.ten() * product / (calcium * carbonate) - one()
}

/// Free copper as a share of all of it.
pub(super) fn free_copper(share: &Figure<Ratio>, state: &State, line: &str) -> Figure<Ratio> {
    let free = found(state.of(COPPER), "m_Cu", "free copper, mol/kg", line);
    let mut pairs = [0.0; 4];
    for (row, at) in REACTIONS.iter().zip(IONS..) {
        let count = |ion: usize| row.from.iter().find(|(i, _)| *i == ion).map_or(0, |(_, count)| *count);
        let kind = [CARBONATE, SULFATE, CHLORIDE].iter().position(|ion| count(*ion) > 0).unwrap_or(3);
        if let Some(sum) = pairs.get_mut(kind) {
            *sum += f64::from(count(COPPER)) * state.of(at);
        }
    }
    let names = [
        ("m_CuCO3", "copper paired with carbonate and bicarbonate, mol/kg"),
        ("m_CuSO4", "copper paired with sulfate, mol/kg"),
        ("m_CuCl", "copper paired with chloride, mol/kg"),
        ("m_CuOH", "copper paired with hydroxide, mol/kg"),
    ];
    let pairs: Vec<Figure<Ratio>> =
        pairs.iter().zip(names).map(|(sum, (symbol, what))| found(*sum, symbol, what, line)).collect();
    share * &(&free + &sum(&pairs)) / free - one()
}

/// Dissolved copper beside a hydroxide against its solubility product, pH and pairs. The value is in kg/m³; `density`: kilograms of
/// water in a litre.
pub(super) fn copper_held(
    value: &Figure<Ratio>,
    solid: usize,
    density: f64,
    state: &State,
    line: &str,
) -> Figure<Ratio> {
    let product = Constants::at(state.celsius).ok().and_then(|constants| constants.solid(solid));
    let (Some(product), Some(row)) = (product, SOLIDS.get(solid)) else { return nothing() };
    let product = constant(product, "K_Cu", "solubility of copper hydroxide, just made", state, row.citation);
    let h = (zero() - found(state.ph, "pH", "pH at rest with the air", line)).ten();
    let water = found(state.water_activity, "a_H2O", "activity of water", line);
    let gamma = found(coefficient(state, COPPER), "γ_Cu", "activity coefficient of copper", line);
    let free = product * (&h * &h) / (&water * &water) / gamma;
    let paired = found(state.total(COPPER) - state.of(COPPER), "m_pairs", "copper in pairs of all kinds, mol/kg", line);
    let weight = found(
        weight::CU * density,
        "M_Cu,ρ",
        "molar mass of copper times density, kg/m³ of a mole in a kilogram",
        line,
    );
    (free + paired) * weight / value - one()
}

/// What each free ion conducts at this temperature and strength, S/m. `free` writes an ion's amount where it is known as more than a
/// number.
fn conducted(state: &State, line: &str, free: impl Fn(usize) -> Option<Figure<Ratio>>) -> Vec<Figure<Ratio>> {
    let root = libm::sqrt(state.ionic_strength);
    CONDUCTANCES
        .iter()
        .filter(|row| state.of(species_of(row.name)) > 0.0)
        .map(|row| {
            let at = species_of(row.name);
            // mS kg/(cm mol) are a tenth of S kg/(m mol).
            let lambda = 0.1 * molal(row, state.celsius, root);
            let lambda = found(
                lambda,
                &format!("λ_{}", row.name),
                &format!("conductivity of a mole of {} in a kilogram, S/m", row.name),
                line,
            );
            let amount =
                || found(state.of(at), &format!("m_{}", row.name), &format!("free {}, mol/kg", row.name), line);
            lambda * free(at).unwrap_or_else(amount)
        })
        .collect()
}

/// Conductivity against the free ions, each with its own at this temperature and strength. `first`, µS/cm: what it is the rise from.
pub(super) fn conductivity(value: &Figure<Ratio>, first: f64, state: &State, line: &str) -> Figure<Ratio> {
    let all = sum(&conducted(state, line, |_| None));
    if first == 0.0 {
        return all / value - one();
    }
    let first = found(MICROSIEMENS.si(first), "κ_before", "conductivity before, S/m", line);
    (all - &first) / value - one()
}

/// A product in the least correction: how its amount in a litre of pond, as it is sold, becomes moles in a kilogram of water.
#[derive(Clone, Debug)]
pub struct Dosed {
    /// What it is.
    pub substance: &'static Addition,
    /// Share of the substance in the product.
    pub purity: Figure<Ratio>,
    /// kg of water in a litre.
    pub density: f64,
}

/// What an amount just reaches.
#[derive(Clone, Debug)]
pub enum Reached {
    /// A sum of what the product brings: mol/kg, by what a mole of it brings, of what all the rest leaves, up to the mark.
    Sum {
        /// Symbol and name of what is summed.
        of: (&'static str, &'static str),
        /// What a mole of the product brings.
        each: f64,
        /// What is there without the product.
        without: f64,
        /// The mark.
        mark: f64,
    },
    /// A conductivity at 25 °C, µS/cm, with the water's state there.
    Conductivity {
        /// The mark.
        mark: f64,
        /// The water with all products.
        state: Box<State>,
    },
}

impl Dosed {
    /// mol/kg of the substance.
    fn moles(&self, amount: &Figure<Ratio>) -> Figure<Ratio> {
        let substance = self.substance;
        let symbol = format!("M_{}", substance.formula);
        let title = format!("grams in a mole of {}", substance.name);
        let weight: Figure<Ratio> = Figure::cited(substance.molar_mass, &symbol, &title, &ONE, substance.citation);
        let density = Figure::stated(
            Ratio::from_si(self.density),
            "ρ",
            "kilograms of water in a litre of this warmth",
            &ONE,
            "the equilibrium that was solved",
        );
        amount * &self.purity / (weight * density)
    }
}

/// The least amount of a product against what it just reaches. `amount`: kg/m³, as it is sold.
pub(super) fn least(amount: &Figure<Ratio>, product: &Dosed, reached: &Reached, line: &str) -> Figure<Ratio> {
    let moles = product.moles(amount);
    match reached {
        Reached::Sum { of: (symbol, what), each, without, mark } => {
            let each: Figure<Ratio> =
                Figure::counted(*each, "z", &format!("{what} that a mole of {} brings", product.substance.name), &ONE);
            let without = found(*without, &format!("{symbol}_0"), &format!("{what} without it, mol/kg"), line);
            let mark = found(*mark, &format!("{symbol}_mark"), &format!("{what} that it reaches, mol/kg"), line);
            (without + moles * each) / mark - one()
        }
        Reached::Conductivity { mark, state } => {
            let free = |at: usize| -> Option<Figure<Ratio>> {
                let (ion, count) = product.substance.ions.iter().find(|(ion, _)| *ion == at)?;
                let name = crate::reference::chemistry::IONS.get(at)?.name;
                let brings: Figure<Ratio> = Figure::counted(
                    *count,
                    "z",
                    &format!("{name} that a mole of {} brings", product.substance.name),
                    &ONE,
                );
                // What does not come from the product, less what is bound in pairs.
                let moles_now = moles.si() * count;
                let rest = state.of(*ion) - moles_now;
                let rest = found(
                    rest,
                    &format!("m_0,{name}"),
                    &format!("free {name} less what the product brings, mol/kg"),
                    line,
                );
                Some(rest + &moles * &brings)
            };
            let mark = found(MICROSIEMENS.si(*mark), "κ_mark", "conductivity that it reaches, S/m", line);
            sum(&conducted(state, line, free)) / mark - one()
        }
    }
}

/// The place of a row of conductances among the species.
fn species_of(name: &str) -> usize {
    let ion = crate::reference::chemistry::IONS.iter().position(|ion| ion.name == name);
    let made = || REACTIONS.iter().position(|row| row.name == name).map(|at| at + IONS);
    ion.or_else(made).unwrap_or(usize::MAX)
}
