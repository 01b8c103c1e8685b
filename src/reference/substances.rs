//! What may be added to a pond, and what it does there.

use super::*;
use crate::units::table::weight::{C, CA, CL, H, K, N, NA, O, S};

/// What a substance is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Raises carbonate hardness.
    Buffer,
    /// Raises calcium.
    Calcium,
    /// Raises conductivity.
    Salt,
    /// Takes chlorine out of new water.
    Dechlorinator,
}

/// A substance. Behaviour that varies by row is data.
#[derive(Debug)]
pub struct Substance {
    /// Its name in the site file.
    pub id: &'static str,
    /// Its name in print.
    pub name: &'static str,
    /// What shops call it.
    pub shop: &'static str,
    /// Formula, for symbols.
    pub formula: &'static str,
    /// What it is for.
    pub purpose: Purpose,
    /// g/mol of the pure substance.
    pub molar_mass: f64,
    /// Moles of charge of alkalinity a mole brings.
    pub charge: f64,
    /// Moles of calcium a mole brings.
    pub calcium: f64,
    /// Share of the pure substance in the product usually sold.
    pub purity: f64,
    /// Grams that dissolve in 100 g of water at 0, 10 and 20 °C; `None` when it dissolves more than a dose ever needs.
    pub solubility: Option<[f64; 3]>,
    /// Sum of limiting equivalent conductivities of its ions, S cm²/eq, times charges a mole.
    pub conductivity: f64,
    /// How to add it: one or two sentences.
    pub adding: &'static str,
    /// What it does to people.
    pub handling: &'static str,
    /// What must never be mistaken for it or mixed with it.
    pub beware: &'static str,
    /// Where the molar mass comes from.
    pub citation: &'static Citation,
}

/// Sorted by id; a test keeps it so.
pub static SUBSTANCES: &[Substance] = &[
    Substance {
        id: "calcium-chloride",
        name: "calcium chloride",
        shop: "calcium chloride flake, the dihydrate, food or aquarium grade",
        formula: "CaCl₂",
        purpose: Purpose::Calcium,
        molar_mass: CA + 2.0 * CL,
        charge: 0.0,
        calcium: 1.0,
        // Pure dihydrate holds 110.978 / 147.008 of CaCl2.
        purity: 0.755,
        solubility: None,
        conductivity: 2.0 * (59.5 + 76.31),
        adding: "Flake into water, never water onto flake: it heats. Let it cool, then pour it slowly into the return.",
        handling: "Goggles and gloves: it burns eyes and skin.",
        beware: "Never on the same day or in the same bucket as baking soda: they make lime.",
        citation: &ATOMIC_WEIGHTS,
    },
    Substance {
        id: "potassium-bicarbonate",
        name: "potassium bicarbonate",
        shop: "potassium bicarbonate, food grade",
        formula: "KHCO₃",
        purpose: Purpose::Buffer,
        molar_mass: K + H + C + 3.0 * O,
        charge: 1.0,
        calcium: 0.0,
        purity: 1.0,
        solubility: Some([22.0, 27.0, 33.0]),
        conductivity: 73.5 + 44.5,
        adding: "Stir it into cold pond water until clear, then pour it slowly along the return.",
        handling: "It irritates eyes.",
        beware: "Potassium makes copper more harmful: not while copper is in the water.",
        citation: &ATOMIC_WEIGHTS,
    },
    Substance {
        id: "salt",
        name: "salt",
        shop: "pure dried salt, nothing added, no anti-caking agent",
        formula: "NaCl",
        purpose: Purpose::Salt,
        molar_mass: NA + CL,
        charge: 0.0,
        calcium: 0.0,
        purity: 1.0,
        solubility: None,
        conductivity: 50.11 + 76.31,
        adding: "Dissolve it in pond water. Add a third a day over three days.",
        handling: "No special care.",
        beware: "Never iodised salt, nor salt with yellow prussiate of soda. Never heaped on the floor where fish lie.",
        citation: &ATOMIC_WEIGHTS,
    },
    Substance {
        id: "sodium-bicarbonate",
        name: "sodium bicarbonate",
        shop: "baking soda, food or feed grade, nothing added",
        formula: "NaHCO₃",
        purpose: Purpose::Buffer,
        molar_mass: NA + H + C + 3.0 * O,
        charge: 1.0,
        calcium: 0.0,
        purity: 1.0,
        solubility: Some([6.9, 8.2, 9.6]),
        conductivity: 50.11 + 44.5,
        adding: "Stir it into cold pond water until clear, then pour it slowly along the return over 15 minutes.",
        handling: "Dust mask and glasses.",
        beware: "Never washing soda, soda ash or lime: they look the same and can kill every fish.",
        citation: &ATOMIC_WEIGHTS,
    },
    Substance {
        id: "sodium-thiosulfate",
        name: "sodium thiosulfate",
        shop: "sodium thiosulfate crystals, the pentahydrate",
        formula: "Na₂S₂O₃·5H₂O",
        purpose: Purpose::Dechlorinator,
        molar_mass: 2.0 * NA + 2.0 * S + 3.0 * O + 5.0 * (2.0 * H + O),
        charge: 0.0,
        calcium: 0.0,
        purity: 1.0,
        solubility: None,
        conductivity: 0.0,
        adding: "All of it for the whole new volume, before the hose opens, spread where the water comes in.",
        handling: "It irritates eyes and skin: glasses and gloves.",
        beware: "Keep it away from acids. It frees ammonia from chloramine.",
        citation: &CHLORINE_THIOSULFATE,
    },
];

/// The substance with this id.
#[must_use]
pub fn substance(id: &str) -> Option<&'static Substance> {
    SUBSTANCES.iter().find(|s| s.id == id)
}

/// Grams of nitrogen in a gram of combined chlorine counted as Cl2 [`CHLORAMINE_AMMONIA`].
pub const NITROGEN_PER_CHLORINE: f64 = N / (2.0 * CL);
/// Grams of sodium thiosulfate pentahydrate for a gram of chlorine [`CHLORINE_THIOSULFATE`].
pub const THIOSULFATE_PER_CHLORINE: f64 = 7.00;
/// NH3 over N, by mass.
pub const AMMONIA_PER_NITROGEN: f64 = (N + 3.0 * H) / N;
