//! What weighs out to what: buffers, calcium chloride, and the water to dissolve them in.

use crate::reference::{ATOMIC_WEIGHTS, SOLUBILITY, Substance};
use crate::units::table::{GRAM, GRAMS_PER_MOLE, LITRE, ONE};
use crate::units::{AmountOfSubstance, Calcium, CarbonateHardness, Mass, MassConcentration, Ratio, Volume};
use crate::workings::Figure;
use uom::si::f64::{MassDensity, MolarMass};

fn molar_mass(substance: &'static Substance) -> Figure<MolarMass> {
    let symbol = format!("M({})", substance.formula);
    let title = format!("molar mass of {}", substance.name);
    Figure::cited(substance.molar_mass, &symbol, &title, &GRAMS_PER_MOLE, substance.citation)
}

fn charges_of(substance: &Substance) -> String {
    format!("z({})", substance.formula)
}

/// Mass of a product that brings an amount: amount · M / purity.
fn product(amount: Figure<AmountOfSubstance>, substance: &'static Substance, purity: &Figure<Ratio>) -> Figure<Mass> {
    let pure = amount * molar_mass(substance);
    if (purity.si() - 1.0).abs() < f64::EPSILON { pure } else { pure / purity }
}

/// Buffer that lifts `volume` by `rise`. The charge a mole brings divides the amount.
#[must_use]
pub fn buffer(
    rise: &Figure<CarbonateHardness>,
    volume: &Figure<Volume>,
    substance: &'static Substance,
    purity: &Figure<Ratio>,
) -> Figure<Mass> {
    let amount = rise * volume;
    if (substance.charge - 1.0).abs() < f64::EPSILON {
        return product(amount, substance, purity);
    }
    let charges: Figure<Ratio> =
        Figure::cited(substance.charge, &charges_of(substance), "charges of alkalinity a mole", &ONE, &ATOMIC_WEIGHTS);
    product(amount / charges, substance, purity)
}

/// Rise of carbonate hardness that a mass of buffer makes in a volume: the same relation read backward.
#[must_use]
pub fn rise_of(
    mass: &Figure<Mass>,
    volume: &Figure<Volume>,
    substance: &'static Substance,
    purity: &Figure<Ratio>,
) -> Figure<CarbonateHardness> {
    let pure = if (purity.si() - 1.0).abs() < f64::EPSILON { mass.clone() } else { mass * purity };
    let amount = pure / molar_mass(substance);
    let charge = if (substance.charge - 1.0).abs() < f64::EPSILON {
        amount
    } else {
        let charges: Figure<Ratio> = Figure::cited(
            substance.charge,
            &charges_of(substance),
            "charges of alkalinity a mole",
            &ONE,
            &ATOMIC_WEIGHTS,
        );
        amount * charges
    };
    (charge / volume).meaning()
}

/// Calcium chloride that lifts calcium by `rise` in `volume`.
#[must_use]
pub fn calcium(
    rise: &Figure<Calcium>,
    volume: &Figure<Volume>,
    substance: &'static Substance,
    purity: &Figure<Ratio>,
) -> Figure<Mass> {
    product(rise * volume, substance, purity)
}

/// Rise of calcium that a mass of calcium chloride makes in a volume.
#[must_use]
pub fn calcium_of(
    mass: &Figure<Mass>,
    volume: &Figure<Volume>,
    substance: &'static Substance,
    purity: &Figure<Ratio>,
) -> Figure<Calcium> {
    let pure = if (purity.si() - 1.0).abs() < f64::EPSILON { mass.clone() } else { mass * purity };
    (pure / molar_mass(substance) / volume).meaning()
}

/// Calcium that so much calcium chloride in a volume of water is.
#[must_use]
pub fn calcium_in(
    product: &Figure<MassConcentration>,
    substance: &'static Substance,
    purity: &Figure<Ratio>,
) -> Figure<Calcium> {
    let pure = if (purity.si() - 1.0).abs() < f64::EPSILON { product.clone() } else { product * purity };
    (pure / molar_mass(substance)).meaning()
}

/// Grams that dissolve in 100 g of water at a temperature, straight lines between 0, 10 and 20 °C, flat outside.
/// `celsius` in °C.
fn dissolves(solubility: &[f64; 3], celsius: f64) -> f64 {
    let [at_0, at_10, at_20] = *solubility;
    match celsius {
        c if c <= 0.0 => at_0,
        c if c <= 10.0 => at_0 + (at_10 - at_0) * c / 10.0,
        c if c <= 20.0 => at_10 + (at_20 - at_10) * (c - 10.0) / 10.0,
        _ => at_20,
    }
}

/// Water to stir a dose into, with a fifth in hand, to whole steps of a unit; `None` where the substance dissolves more than a dose ever needs.
#[must_use]
pub fn water_to_dissolve(
    id: &str,
    dose: &Figure<Mass>,
    substance: &'static Substance,
    celsius: f64,
    (step, unit): (f64, &'static crate::units::Unit),
) -> Option<Figure<Volume>> {
    let per_litre = dissolves(substance.solubility.as_ref()?, celsius) * 10.0;
    let solubility: Figure<MassDensity> = Figure::cited(
        per_litre,
        "c_sat",
        "grams that dissolve in a litre at the pond's temperature",
        &crate::units::table::GRAMS_PER_LITRE,
        &SOLUBILITY,
    );
    let hand: Figure<Ratio> = Figure::counted(1.2, "q_hand", "a fifth in hand", &ONE);
    Some((dose * hand / solubility).rounded(crate::workings::Way::Up, step, unit).named(
        id,
        "Pond water to stir one dose into",
        "V_stir",
        &LITRE,
    ))
}

/// The unit doses are computed in.
pub const DOSE_UNIT: &crate::units::Unit = &GRAM;
