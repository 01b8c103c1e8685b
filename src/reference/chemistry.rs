//! What dissolves in fresh water and how it combines: ions, reactions, solids, ionic conductivities, as rows.
//!
//! Adding a species is adding a row; `chem::speciation` reads the rows and knows no species by heart. Constants are those
//! of the project's reference tables of water chemistry: `phreeqc.dat` for the major ions, and for copper a reviewed set in its place, because
//! `phreeqc.dat` and `wateq4f.dat` carry log*beta = -13.68 for Cu(OH)2, 2.5 units stronger than the IUPAC review, `sit.dat`
//! and `minteq.v4.dat` (-16.2): they turn nine tenths of the copper of a pond into Cu(OH)2 and hide the free ion. The reviewed set gives more free
//! copper, and so is also the kinder one. The enthalpy of malachite is that of `sit.dat` (-51.6 kJ/mol): that of
//! `minteq.v4.dat` has the wrong sign.

use super::{
    ACTIVITY_MODEL, AQUEOUS_CONSTANTS, ATOMIC_WEIGHTS, COPPER_MEMORY, COPPER_REVIEWED, COPPER_SIT, Citation,
    DECHLORINATION, IONIC_CONDUCTIVITY, IONIC_CONDUCTIVITY_ONE, IONIC_CONDUCTIVITY_SIGNS, NITRATE_ACTIVITY,
};
use crate::units::table::weight::{C, CA, CL, CU, H, K, MG, NA, O, S};

/// How the activity coefficient of a species follows ionic strength I (mol/kg), as log₁₀.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Activity {
    /// -A z² √I / (1 + B a √I) + b I, `size` a in ångström, `slope` b in kg/mol.
    Extended {
        /// Ion size parameter, Å.
        size: f64,
        /// Linear term, kg/mol.
        slope: f64,
    },
    /// -A z² (√I / (1 + √I) - 0.3 I).
    Davies,
    /// A neutral species: b I, `slope` b in kg/mol.
    Neutral {
        /// Linear term, kg/mol.
        slope: f64,
    },
}

/// log₁₀ of an equilibrium constant as it follows temperature T (kelvin).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LogK {
    /// a₁ + a₂ T + a₃/T + a₄ log₁₀ T + a₅/T² + a₆ T².
    Fit([f64; 6]),
    /// Value at 25 °C and enthalpy of reaction in kJ/mol (van 't Hoff).
    Enthalpy {
        /// log₁₀ K at 25 °C.
        at_25: f64,
        /// kJ/mol.
        enthalpy: f64,
    },
}

/// A free ion, from which everything else is made.
#[derive(Debug)]
pub struct Ion {
    /// Formula with charge, as `Ca+2`.
    pub name: &'static str,
    /// Elementary charges.
    pub charge: i8,
    /// Its activity coefficient.
    pub activity: Activity,
    /// Where the row comes from.
    pub citation: &'static Citation,
}

/// A species made from free ions and water.
#[derive(Debug)]
pub struct Reaction {
    /// Formula with charge of what is made.
    pub name: &'static str,
    /// Ions that go in (negative: come out), by their place in [`IONS`]; three at most.
    pub from: &'static [(usize, i8)],
    /// Molecules of water that go in (negative: come out).
    pub water: i8,
    /// log₁₀ K of the whole reaction: the sum of these.
    pub log_k: &'static [LogK],
    /// Its activity coefficient.
    pub activity: Activity,
    /// Where the row comes from.
    pub citation: &'static Citation,
}

/// A solid that may be at equilibrium with the water.
#[derive(Debug)]
pub struct Solid {
    /// Its name.
    pub name: &'static str,
    /// Ions that it gives when it dissolves (negative: takes up); the first is the one whose amount it rules.
    pub into: &'static [(usize, i8)],
    /// Molecules of water that it gives.
    pub water: i8,
    /// log₁₀ K of dissolving.
    pub log_k: &'static [LogK],
    /// Where the row comes from.
    pub citation: &'static Citation,
}

/// Conductivity of one mole of an ion in a kilogram of water, mS kg/(cm mol): λ - A √I / (1 + B √I), where λ and A are each
/// a₂ t² + a₁ t + a₀ with t in °C.
#[derive(Debug)]
pub struct Conductance {
    /// A name in [`IONS`] or [`REACTIONS`].
    pub name: &'static str,
    /// a₂, a₁, a₀ of λ.
    pub limiting: [f64; 3],
    /// a₂, a₁, a₀ of A.
    pub slope: [f64; 3],
    /// B, (kg/mol)^½.
    pub damping: f64,
    /// Where the row comes from.
    pub citation: &'static Citation,
}

const fn extended(size: f64, slope: f64) -> Activity {
    Activity::Extended { size, slope }
}

/// A neutral species for which no linear term was measured.
const NEUTRAL: Activity = Activity::Neutral { slope: 0.1 };

const fn neutral(slope: f64) -> Activity {
    Activity::Neutral { slope }
}

const fn at_25(at_25: f64, enthalpy: f64) -> LogK {
    LogK::Enthalpy { at_25, enthalpy }
}

/// kJ in a thermochemical kcal.
const KCAL: f64 = 4.184;

const fn same(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    if a.len() != b.len() {
        return false;
    }
    let mut i = 0;
    while i < a.len() {
        if a[i] != b[i] {
            return false;
        }
        i += 1;
    }
    true
}

/// The place of an ion in [`IONS`]; does not compile for a name that is not there.
const fn ion(name: &str) -> usize {
    let mut i = 0;
    while i < IONS.len() {
        if same(IONS[i].name, name) {
            return i;
        }
        i += 1;
    }
    panic!("no such ion")
}

/// The place of a species: the ions first, then the reactions. Meant for constants: a name that is not there does not compile.
#[must_use]
pub const fn species(name: &str) -> usize {
    let mut i = 0;
    while i < IONS.len() {
        if same(IONS[i].name, name) {
            return i;
        }
        i += 1;
    }
    while i < IONS.len() + REACTIONS.len() {
        if same(REACTIONS[i - IONS.len()].name, name) {
            return i;
        }
        i += 1;
    }
    panic!("no such species")
}

/// Nitrate.
pub const NITRATE: usize = ion("NO3-");
/// Chloride.
pub const CHLORIDE: usize = ion("Cl-");
/// Potassium.
pub const POTASSIUM: usize = ion("K+");
/// Sodium.
pub const SODIUM: usize = ion("Na+");
/// Magnesium.
pub const MAGNESIUM: usize = ion("Mg+2");
/// Calcium.
pub const CALCIUM: usize = ion("Ca+2");
/// Copper, all of it divalent.
pub const COPPER: usize = ion("Cu+2");
/// Sulfate.
pub const SULFATE: usize = ion("SO4-2");
/// Carbonate.
pub const CARBONATE: usize = ion("CO3-2");
/// Hydrogen ion.
pub const HYDROGEN: usize = ion("H+");

/// The free ions. The order is that in which the solver eliminates them: those that combine with least come first, carbonate
/// last but one, hydrogen last; a test holds the last two.
#[rustfmt::skip]
pub static IONS: &[Ion] = &[
    Ion { name: "NO3-",  charge: -1, activity: extended(3.0,  0.0),   citation: &NITRATE_ACTIVITY },
    Ion { name: "Cl-",   charge: -1, activity: extended(3.63, 0.017), citation: &ACTIVITY_MODEL },
    Ion { name: "K+",    charge:  1, activity: extended(3.5,  0.015), citation: &ACTIVITY_MODEL },
    Ion { name: "Na+",   charge:  1, activity: extended(4.08, 0.082), citation: &ACTIVITY_MODEL },
    Ion { name: "Mg+2",  charge:  2, activity: extended(5.5,  0.2),   citation: &ACTIVITY_MODEL },
    Ion { name: "Ca+2",  charge:  2, activity: extended(5.0,  0.165), citation: &ACTIVITY_MODEL },
    Ion { name: "Cu+2",  charge:  2, activity: extended(6.0,  0.0),   citation: &ACTIVITY_MODEL },
    Ion { name: "SO4-2", charge: -2, activity: extended(5.0, -0.04),  citation: &ACTIVITY_MODEL },
    Ion { name: "CO3-2", charge: -2, activity: extended(5.4,  0.0),   citation: &ACTIVITY_MODEL },
    Ion { name: "H+",    charge:  1, activity: extended(9.0,  0.0),   citation: &ACTIVITY_MODEL },
];

/// CO3-2 + H+ = HCO3-, on which two rows below stand.
const BICARBONATE_K: LogK = LogK::Fit([107.8871, 0.032_528_49, -5151.79, -38.925_61, 563_713.9, 0.0]);

/// What the ions make.
#[rustfmt::skip]
pub static REACTIONS: &[Reaction] = &[
    Reaction { name: "OH-", from: &[(HYDROGEN, -1)], water: 1,
        log_k: &[LogK::Fit([293.292_27, 0.136_083_3, -10_576.913, -123.731_58, 0.0, -6.996_455e-5])],
        activity: extended(3.5, 0.0), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "HCO3-", from: &[(CARBONATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[BICARBONATE_K], activity: extended(5.4, 0.0), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "CO2", from: &[(CARBONATE, 1), (HYDROGEN, 2)], water: -1,
        log_k: &[LogK::Fit([464.1965, 0.093_448_13, -26_986.16, -165.759_51, 2_248_628.9, 0.0])],
        activity: neutral(0.066), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "CaOH+", from: &[(CALCIUM, 1), (HYDROGEN, -1)], water: 1,
        log_k: &[at_25(-12.78, 0.0)], activity: Activity::Davies, citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "CaCO3", from: &[(CALCIUM, 1), (CARBONATE, 1)], water: 0,
        log_k: &[LogK::Fit([-1228.732, -0.299_44, 35_512.75, 485.818, 0.0, 0.0])],
        activity: NEUTRAL, citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "CaHCO3+", from: &[(CALCIUM, 1), (CARBONATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[LogK::Fit([-6.009, 3.377e-2, 2044.0, 0.0, 0.0, 0.0])],
        activity: extended(6.0, 0.0), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "CaSO4", from: &[(CALCIUM, 1), (SULFATE, 1)], water: 0,
        log_k: &[at_25(2.25, 1.325 * KCAL)], activity: NEUTRAL, citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "MgOH+", from: &[(MAGNESIUM, 1), (HYDROGEN, -1)], water: 1,
        log_k: &[at_25(-11.44, 15.952 * KCAL)], activity: extended(6.5, 0.0), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "MgCO3", from: &[(MAGNESIUM, 1), (CARBONATE, 1)], water: 0,
        log_k: &[LogK::Fit([0.991, 0.006_67, 0.0, 0.0, 0.0, 0.0])], activity: NEUTRAL, citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "MgHCO3+", from: &[(MAGNESIUM, 1), (CARBONATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[LogK::Fit([48.6721, 0.032_528_49, -2614.335, -18.002_63, 563_713.9, 0.0])],
        activity: extended(4.0, 0.0), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "MgSO4", from: &[(MAGNESIUM, 1), (SULFATE, 1)], water: 0,
        log_k: &[LogK::Fit([0.0, 9.64e-3, -136.0, 0.0, 0.0, 0.0])],
        activity: neutral(0.2), citation: &AQUEOUS_CONSTANTS },
    // The two alkali bicarbonates are tabulated from HCO3-, hence the sum.
    Reaction { name: "NaHCO3", from: &[(SODIUM, 1), (CARBONATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[BICARBONATE_K, at_25(-0.06, 21.0)], activity: neutral(0.2), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "NaSO4-", from: &[(SODIUM, 1), (SULFATE, 1)], water: 0,
        log_k: &[LogK::Fit([255.903, 0.100_57, 0.0, -111.138, -8.5983e5, 0.0])],
        activity: extended(5.5, 0.0), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "KHCO3", from: &[(POTASSIUM, 1), (CARBONATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[BICARBONATE_K, at_25(-0.35, 12.0)], activity: neutral(9.4e-3), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "KSO4-", from: &[(POTASSIUM, 1), (SULFATE, 1)], water: 0,
        log_k: &[LogK::Fit([-3.0246, 9.986e-3, 0.0, 0.0, 1.093e5, 0.0])],
        activity: extended(5.4, 0.19), citation: &AQUEOUS_CONSTANTS },
    Reaction { name: "HSO4-", from: &[(SULFATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[LogK::Fit([-56.889, 0.006_473, 2307.9, 19.8858, 0.0, 0.0])],
        activity: Activity::Davies, citation: &AQUEOUS_CONSTANTS },
    // Copper: the reviewed set (see the head of this file).
    Reaction { name: "CuOH+", from: &[(COPPER, 1), (HYDROGEN, -1)], water: 1,
        log_k: &[at_25(-7.95, 36.0)], activity: extended(4.0, 0.0), citation: &COPPER_MEMORY },
    Reaction { name: "Cu(OH)2", from: &[(COPPER, 1), (HYDROGEN, -2)], water: 2,
        log_k: &[at_25(-16.2, 92.82)], activity: NEUTRAL, citation: &COPPER_MEMORY },
    Reaction { name: "Cu(OH)3-", from: &[(COPPER, 1), (HYDROGEN, -3)], water: 3,
        log_k: &[at_25(-26.63, 114.482)], activity: Activity::Davies, citation: &COPPER_SIT },
    Reaction { name: "Cu(OH)4-2", from: &[(COPPER, 1), (HYDROGEN, -4)], water: 4,
        log_k: &[at_25(-39.73, 0.0)], activity: Activity::Davies, citation: &COPPER_SIT },
    Reaction { name: "Cu2(OH)2+2", from: &[(COPPER, 2), (HYDROGEN, -2)], water: 2,
        log_k: &[LogK::Fit([2.659_513, 0.0, -3938.416, 0.0, 0.0, 0.0])],
        activity: Activity::Davies, citation: &COPPER_SIT },
    Reaction { name: "CuCO3", from: &[(COPPER, 1), (CARBONATE, 1)], water: 0,
        log_k: &[at_25(6.75, 10.4)], activity: NEUTRAL, citation: &COPPER_REVIEWED },
    Reaction { name: "Cu(CO3)2-2", from: &[(COPPER, 1), (CARBONATE, 2)], water: 0,
        log_k: &[at_25(10.3, 36.616)], activity: Activity::Davies, citation: &COPPER_REVIEWED },
    Reaction { name: "CuHCO3+", from: &[(COPPER, 1), (CARBONATE, 1), (HYDROGEN, 1)], water: 0,
        log_k: &[at_25(12.17, -5.841)], activity: Activity::Davies, citation: &COPPER_REVIEWED },
    Reaction { name: "CuSO4", from: &[(COPPER, 1), (SULFATE, 1)], water: 0,
        log_k: &[at_25(2.31, 5.102)], activity: NEUTRAL, citation: &COPPER_SIT },
    Reaction { name: "CuCl+", from: &[(COPPER, 1), (CHLORIDE, 1)], water: 0,
        log_k: &[at_25(0.64, 8.7)], activity: extended(4.0, 0.0), citation: &COPPER_SIT },
    Reaction { name: "CuCl2", from: &[(COPPER, 1), (CHLORIDE, 2)], water: 0,
        log_k: &[at_25(0.6, 23.0)], activity: NEUTRAL, citation: &COPPER_SIT },
];

/// CO2(g) = CO2(aq), mol/(kg atm).
pub static CARBON_DIOXIDE_GAS: LogK = LogK::Fit([10.5624, -2.3547e-2, -3972.8, 0.0, 5.8746e5, 1.9194e-5]);

/// The solids.
#[rustfmt::skip]
pub static SOLIDS: &[Solid] = &[
    Solid { name: "calcite", into: &[(CALCIUM, 1), (CARBONATE, 1)], water: 0,
        log_k: &[LogK::Fit([17.118, -0.046_528, -3496.0, 0.0, 0.0, 0.0])], citation: &AQUEOUS_CONSTANTS },
    Solid { name: "malachite", into: &[(COPPER, 2), (CARBONATE, 1), (HYDROGEN, -2)], water: 2,
        log_k: &[at_25(-5.18, -51.649)], citation: &COPPER_SIT },
    Solid { name: "tenorite", into: &[(COPPER, 1), (HYDROGEN, -2)], water: 1,
        log_k: &[at_25(7.64, -64.867)], citation: &COPPER_MEMORY },
    Solid { name: "Cu(OH)2(s)", into: &[(COPPER, 1), (HYDROGEN, -2)], water: 2,
        log_k: &[at_25(8.67, -56.42)], citation: &COPPER_MEMORY },
    // Freshly made it may be up to a whole unit more soluble: the most that a water can be taken to hold.
    Solid { name: "Cu(OH)2(s), just made", into: &[(COPPER, 1), (HYDROGEN, -2)], water: 2,
        log_k: &[at_25(9.67, -56.42)], citation: &COPPER_MEMORY },
];

const fn solid(name: &str) -> usize {
    let mut i = 0;
    while i < SOLIDS.len() {
        if same(SOLIDS[i].name, name) {
            return i;
        }
        i += 1;
    }
    panic!("no such solid")
}

/// Lime.
pub const CALCITE: usize = solid("calcite");
/// Green copper carbonate, the least soluble in most ponds; it forms slowly.
pub const MALACHITE: usize = solid("malachite");
/// Black copper oxide; it forms slowly.
pub const TENORITE: usize = solid("tenorite");
/// Fresh copper hydroxide, what an addition meets first.
pub const COPPER_HYDROXIDE: usize = solid("Cu(OH)2(s)");
/// The same in its first hours, before it has aged.
pub const COPPER_HYDROXIDE_MADE: usize = solid("Cu(OH)2(s), just made");

/// Ionic conductivities of McCleskey and others (2012). Two public copies of the coefficients agree on Na, K, Ca, Mg, Cl and
/// SO4 and differ in signs for CO3 and HCO3; those here give CO3 its known limiting conductivity (138.8 against 138.6).
#[rustfmt::skip]
pub static CONDUCTANCES: &[Conductance] = &[
    Conductance { name: "H+",    limiting: [0.01414,   5.355,  224.2], slope: [0.00918,  1.842,  39.23], damping: 0.3,  citation: &IONIC_CONDUCTIVITY_ONE },
    Conductance { name: "OH-",   limiting: [0.003396,  2.925,  121.3], slope: [0.00933,  0.1086, 35.90], damping: 0.01, citation: &IONIC_CONDUCTIVITY_ONE },
    Conductance { name: "Na+",   limiting: [0.003763,  0.8770, 26.23], slope: [0.00027,  1.141,  32.07], damping: 1.7,  citation: &IONIC_CONDUCTIVITY },
    Conductance { name: "K+",    limiting: [0.003046,  1.261,  40.70], slope: [0.00535,  0.9316, 22.59], damping: 1.5,  citation: &IONIC_CONDUCTIVITY },
    Conductance { name: "Ca+2",  limiting: [0.009645,  1.984,  62.28], slope: [0.03174,  2.334,  132.3], damping: 2.8,  citation: &IONIC_CONDUCTIVITY },
    Conductance { name: "Mg+2",  limiting: [0.01068,   1.695,  57.16], slope: [0.02453,  1.915,  80.50], damping: 2.1,  citation: &IONIC_CONDUCTIVITY },
    Conductance { name: "Cl-",   limiting: [0.003817,  1.337,  40.99], slope: [0.00613,  0.9469, 22.01], damping: 1.5,  citation: &IONIC_CONDUCTIVITY },
    Conductance { name: "NO3-",  limiting: [0.001925,  1.214,  39.90], slope: [0.00118,  0.5045, 23.31], damping: 0.1,  citation: &IONIC_CONDUCTIVITY_ONE },
    Conductance { name: "SO4-2", limiting: [0.01037,   2.838,  82.37], slope: [0.03324,  5.889,  193.5], damping: 2.6,  citation: &IONIC_CONDUCTIVITY },
    Conductance { name: "HCO3-", limiting: [0.000614,  0.9048, 21.14], slope: [-0.00503, 0.8957, 10.97], damping: 0.1,  citation: &IONIC_CONDUCTIVITY_SIGNS },
    Conductance { name: "CO3-2", limiting: [-0.000326, 2.998,  64.03], slope: [-0.00181, 5.542,  120.2], damping: 2.3,  citation: &IONIC_CONDUCTIVITY_SIGNS },
];

/// Something that is dissolved in a water, as the ions it brings.
#[derive(Debug)]
pub struct Addition {
    /// Formula, as one writes it on a command line.
    pub formula: &'static str,
    /// Its name.
    pub name: &'static str,
    /// g/mol.
    pub molar_mass: f64,
    /// mol of each ion a mole brings, by its place in [`IONS`]; carbonate stands for inorganic carbon.
    pub ions: &'static [(usize, f64)],
    /// mol of charge of alkalinity a mole brings: what its other ions leave uncovered.
    pub alkalinity: f64,
    /// Where the molar mass comes from.
    pub citation: &'static Citation,
}

/// Sorted by formula; tests keep it so, and hold that each row is neutral.
#[rustfmt::skip]
pub static ADDITIONS: &[Addition] = &[
    Addition { formula: "Ca(OH)2", name: "hydrated lime", molar_mass: CA + 2.0 * (O + H),
        ions: &[(CALCIUM, 1.0)], alkalinity: 2.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "CaCO3", name: "calcium carbonate, if it dissolves", molar_mass: CA + C + 3.0 * O,
        ions: &[(CALCIUM, 1.0), (CARBONATE, 1.0)], alkalinity: 2.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "CaCl2", name: "calcium chloride, anhydrous", molar_mass: CA + 2.0 * CL,
        ions: &[(CALCIUM, 1.0), (CHLORIDE, 2.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "CaCl2.2H2O", name: "calcium chloride dihydrate", molar_mass: CA + 2.0 * CL + 2.0 * (2.0 * H + O),
        ions: &[(CALCIUM, 1.0), (CHLORIDE, 2.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "CaSO4.2H2O", name: "gypsum", molar_mass: CA + S + 4.0 * O + 2.0 * (2.0 * H + O),
        ions: &[(CALCIUM, 1.0), (SULFATE, 1.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    // What leaves the bars; the other pole makes two OH- (row EL-08).
    Addition { formula: "Cu", name: "copper from the bars", molar_mass: CU,
        ions: &[(COPPER, 1.0)], alkalinity: 2.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "CuSO4.5H2O", name: "copper sulfate", molar_mass: CU + S + 4.0 * O + 5.0 * (2.0 * H + O),
        ions: &[(COPPER, 1.0), (SULFATE, 1.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "HCl", name: "hydrochloric acid", molar_mass: H + CL,
        ions: &[(CHLORIDE, 1.0)], alkalinity: -1.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "KCl", name: "potassium chloride", molar_mass: K + CL,
        ions: &[(POTASSIUM, 1.0), (CHLORIDE, 1.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "KHCO3", name: "potassium bicarbonate", molar_mass: K + H + C + 3.0 * O,
        ions: &[(POTASSIUM, 1.0), (CARBONATE, 1.0)], alkalinity: 1.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "MgSO4.7H2O", name: "Epsom salt", molar_mass: MG + S + 4.0 * O + 7.0 * (2.0 * H + O),
        ions: &[(MAGNESIUM, 1.0), (SULFATE, 1.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "Na2CO3", name: "sodium carbonate", molar_mass: 2.0 * NA + C + 3.0 * O,
        ions: &[(SODIUM, 2.0), (CARBONATE, 1.0)], alkalinity: 2.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "Na2SO4", name: "sodium sulfate", molar_mass: 2.0 * NA + S + 4.0 * O,
        ions: &[(SODIUM, 2.0), (SULFATE, 1.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "NaCl", name: "salt", molar_mass: NA + CL,
        ions: &[(SODIUM, 1.0), (CHLORIDE, 1.0)], alkalinity: 0.0, citation: &ATOMIC_WEIGHTS },
    Addition { formula: "NaHCO3", name: "sodium bicarbonate", molar_mass: NA + H + C + 3.0 * O,
        ions: &[(SODIUM, 1.0), (CARBONATE, 1.0)], alkalinity: 1.0, citation: &ATOMIC_WEIGHTS },
];

const fn place_of(formula: &str) -> usize {
    let mut i = 0;
    while i < ADDITIONS.len() {
        if same(ADDITIONS[i].formula, formula) {
            return i;
        }
        i += 1;
    }
    panic!("no such addition")
}

/// Salt, by its place in [`ADDITIONS`].
pub const SALT: usize = place_of("NaCl");
/// Sodium sulfate.
pub const SODIUM_SULFATE: usize = place_of("Na2SO4");

/// Something that takes chlorine out of a water; all its sulfur ends as sulfate.
#[derive(Debug)]
pub struct Agent {
    /// Formula, as one writes it on a command line.
    pub formula: &'static str,
    /// Its name.
    pub name: &'static str,
    /// g/mol.
    pub molar_mass: f64,
    /// mol of sodium a mole brings.
    pub sodium: f64,
    /// mol of sulfate a mole ends as.
    pub sulfur: f64,
    /// mol of Cl2 that a mole takes out when its reaction runs to the end.
    pub chlorine: f64,
    /// Where the reaction comes from.
    pub citation: &'static Citation,
}

/// Sorted by formula.
#[rustfmt::skip]
pub static AGENTS: &[Agent] = &[
    Agent { formula: "Na2S2O3", name: "sodium thiosulfate, anhydrous", molar_mass: 2.0 * NA + 2.0 * S + 3.0 * O,
        sodium: 2.0, sulfur: 2.0, chlorine: 4.0, citation: &DECHLORINATION },
    Agent { formula: "Na2S2O3.5H2O", name: "sodium thiosulfate", molar_mass: 2.0 * NA + 2.0 * S + 3.0 * O + 5.0 * (2.0 * H + O),
        sodium: 2.0, sulfur: 2.0, chlorine: 4.0, citation: &DECHLORINATION },
    Agent { formula: "Na2S2O5", name: "sodium metabisulfite", molar_mass: 2.0 * NA + 2.0 * S + 5.0 * O,
        sodium: 2.0, sulfur: 2.0, chlorine: 2.0, citation: &DECHLORINATION },
    Agent { formula: "Na2SO3", name: "sodium sulfite", molar_mass: 2.0 * NA + S + 3.0 * O,
        sodium: 2.0, sulfur: 1.0, chlorine: 1.0, citation: &DECHLORINATION },
    Agent { formula: "NaHSO3", name: "sodium bisulfite", molar_mass: NA + H + S + 3.0 * O,
        sodium: 1.0, sulfur: 1.0, chlorine: 1.0, citation: &DECHLORINATION },
];

/// What else the rows are called, sorted, with the formula meant. Where a shop's name may mean two things the plan's own substance is
/// meant: pure calcium chloride, crystals of thiosulfate.
#[rustfmt::skip]
static ALSO: &[(&str, &str)] = &[
    ("baking soda", "NaHCO3"),
    ("calcium chloride", "CaCl2"),
    ("calcium chloride flake", "CaCl2.2H2O"),
    ("chalk", "CaCO3"),
    ("copper", "Cu"),
    ("pond salt", "NaCl"),
    ("slaked lime", "Ca(OH)2"),
    ("soda ash", "Na2CO3"),
    ("sodium chloride", "NaCl"),
    ("sodium hydrogencarbonate", "NaHCO3"),
    ("sodium thiosulphate", "Na2S2O3.5H2O"),
    ("table salt", "NaCl"),
    ("thiosulfate", "Na2S2O3.5H2O"),
];

/// A formula or name as it is compared: no spaces and hyphens, `·` and `*` as `.`, subscripts as digits.
fn folded(formula: &str) -> String {
    formula
        .chars()
        .filter(|c| !c.is_whitespace() && *c != '-')
        .map(|c| match c {
            '·' | '*' | '•' => '.',
            '₀'..='₉' => char::from_digit(u32::from(c) - u32::from('₀'), 10).unwrap_or(c),
            c => c.to_ascii_lowercase(),
        })
        .collect()
}

/// What is looked for, folded, by its formula where the words are another name.
fn wanted(words: &str) -> String {
    let given = folded(words);
    ALSO.iter().find(|(name, _)| folded(name) == given).map_or(given, |(_, formula)| folded(formula))
}

/// The addition with this formula or name.
#[must_use]
pub fn addition(words: &str) -> Option<&'static Addition> {
    let wanted = wanted(words);
    ADDITIONS.iter().find(|a| folded(a.formula) == wanted || folded(a.name) == wanted)
}

/// The dechlorinator with this formula or name.
#[must_use]
pub fn agent(words: &str) -> Option<&'static Agent> {
    let wanted = wanted(words);
    AGENTS.iter().find(|a| folded(a.formula) == wanted || folded(a.name) == wanted)
}

/// The formula or name that comes nearest to words which name nothing.
#[must_use]
pub fn nearest_substance(words: &str) -> Option<&'static str> {
    let names =
        ADDITIONS.iter().flat_map(|a| [a.formula, a.name]).chain(AGENTS.iter().flat_map(|a| [a.formula, a.name]));
    let given = folded(words);
    names
        .chain(ALSO.iter().map(|(name, _)| *name))
        .map(|name| (strsim::damerau_levenshtein(&folded(name), &given), name))
        .min_by_key(|(distance, _)| *distance)
        .filter(|(distance, name)| *distance <= 2 && distance * 3 <= name.chars().count())
        .map(|(_, name)| name)
}
