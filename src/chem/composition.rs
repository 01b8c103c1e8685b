//! A water from the readings a contractor has: a charge-balanced composition, what was assumed to close it, and readings that
//! cannot be of one water.
//!
//! The rules, in order. Calcium that was not measured is three quarters of the general hardness. What the anions read have in
//! charge over the cations is sodium; what the cations have over the anions is chloride, or sulfate where chloride was measured. What
//! the conductivity meter shows over the water so far is sodium chloride, or sodium sulfate where chloride was measured. Each
//! rule that was used is listed, and the misfit with the meter is told before and after.

use std::fmt;

use super::conductance::{self, molal};
use super::solution::Water;
use super::speciation::{IONS, Refusal, State};
use crate::reference::chemistry::{
    self as table, ADDITIONS, CALCIUM, CHLORIDE, CONDUCTANCES, COPPER, MAGNESIUM, NITRATE, SALT, SODIUM,
    SODIUM_SULFATE, SULFATE,
};

/// What says how much of a salt closed the conductivity.
type Rule = fn(f64) -> Closure;

/// Share of general hardness taken as calcium, by moles [`CALCIUM_SHARE`](crate::reference::CALCIUM_SHARE).
pub const CALCIUM_PART: f64 = 0.75;
/// By how much the chemistry may ask for more conductivity than the meter shows before the two disagree: a tenth for the meter and its
/// temperature compensation, a twentieth for the kits (common practice), and a degree of hardness for their coarseness, µS/cm.
pub const TOLERANCE: (f64, f64) = (0.15, 30.0);
/// Calcium may read so much above general hardness, of which it is a part: a twentieth for each of the two kits (common practice).
pub const KITS: f64 = 0.10;
/// log₁₀ of the carbon dioxide pressures that pH and carbonate hardness may imply, atm: from the afternoon of a pond green with
/// algae to raw deep well water (common practice).
pub const CARBON_DIOXIDE: (f64, f64) = (-7.0, -1.0);
/// Hardness below this share of alkalinity (both as charge): softened, or buffered with sodium or potassium bicarbonate.
pub const SOFT: f64 = 0.5;

/// A thing that is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the readings")]
pub enum Reading {
    CarbonateHardness,
    GeneralHardness,
    Calcium,
    Ph,
    Conductivity,
    Chloride,
    Sulfate,
    Nitrate,
}

impl Reading {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Reading::CarbonateHardness => "carbonate hardness",
            Reading::GeneralHardness => "general hardness",
            Reading::Calcium => "calcium",
            Reading::Ph => "pH",
            Reading::Conductivity => "conductivity",
            Reading::Chloride => "chloride",
            Reading::Sulfate => "sulfate",
            Reading::Nitrate => "nitrate",
        }
    }
}

/// What was read. Amounts in mol per kg of water; `None` where nothing was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// °C, 0 to 50.
    pub celsius: f64,
    /// pH.
    pub ph: f64,
    /// Carbonate hardness: all alkalinity, mol of charge.
    pub alkalinity: f64,
    /// Calcium and magnesium together.
    pub general_hardness: Option<f64>,
    /// Calcium.
    pub calcium: Option<f64>,
    /// At 25 °C, µS/cm.
    pub conductivity: Option<f64>,
    /// Chloride, or salt counted as chloride.
    pub chloride: Option<f64>,
    /// Sulfate.
    pub sulfate: Option<f64>,
    /// Nitrate.
    pub nitrate: Option<f64>,
    /// Total copper.
    pub copper: Option<f64>,
}

/// A rule that was used to close a composition, with its amount in mol/kg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Closure {
    /// Calcium from general hardness.
    CalciumFromHardness(f64),
    /// Magnesium, a third of calcium, where general hardness was not measured.
    MagnesiumFromCalcium(f64),
    /// Calcium read a little above general hardness: all of the hardness is calcium.
    HardnessIsCalcium(f64),
    /// Sodium for the charge that the anions have over the cations.
    SodiumForCharge(f64),
    /// Chloride for the charge that the cations have over the anions.
    ChlorideForCharge(f64),
    /// Sulfate for the same, where chloride was measured.
    SulfateForCharge(f64),
    /// Sodium chloride for what the meter shows beyond.
    SaltForConductivity(f64),
    /// Sodium sulfate for the same, where chloride was measured.
    SodiumSulfateForConductivity(f64),
    /// Conductivity was not measured: nothing beyond the charge was added.
    NoConductivity,
}

impl Closure {
    /// What was assumed, in words, and the measurement that would replace it. Amounts as mg/L by `density`, kg/L.
    #[must_use]
    pub fn words(&self, density: f64) -> (String, &'static str) {
        use crate::units::table::weight::{CA, CL, MG, NA, O, S};
        let mg = |amount: f64, weight: f64| format!("{:.0} mg/L", amount * density * weight * 1000.0);
        match *self {
            Closure::CalciumFromHardness(x) => {
                (format!("calcium: three quarters of the general hardness, {}", mg(x, CA)), "calcium")
            }
            Closure::MagnesiumFromCalcium(x) => {
                (format!("magnesium: a third of the calcium by moles, {}", mg(x, MG)), "general hardness")
            }
            Closure::HardnessIsCalcium(x) => {
                (format!("general hardness: all of it calcium, {}", mg(x, CA)), "calcium and general hardness again")
            }
            Closure::SodiumForCharge(x) => {
                (format!("sodium: {}, the charge that the cations lack", mg(x, NA)), "sodium, at a laboratory")
            }
            Closure::ChlorideForCharge(x) => {
                (format!("chloride: {}, the charge that the anions lack", mg(x, CL)), "chloride and sulfate")
            }
            Closure::SulfateForCharge(x) => {
                (format!("sulfate: {}, the charge that the anions lack", mg(x, S + 4.0 * O)), "sulfate")
            }
            Closure::SaltForConductivity(x) => (
                format!("sodium chloride: {}, what the conductivity shows beyond the other readings", mg(x, NA + CL)),
                "chloride",
            ),
            Closure::SodiumSulfateForConductivity(x) => (
                format!(
                    "sodium sulfate: {}, what the conductivity shows beyond the other readings",
                    mg(x, 2.0 * NA + S + 4.0 * O)
                ),
                "sulfate",
            ),
            Closure::NoConductivity => {
                ("salt: none beyond what the charge asks for".to_owned(), "conductivity at 25 °C")
            }
        }
    }
}

/// Two readings that cannot be of one water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disagreement {
    /// The two.
    pub between: (Reading, Reading),
    /// Which to test again first: the one that stands against the others.
    pub again: Reading,
    /// What is wrong with them.
    pub fault: Fault,
}

/// In what way two readings disagree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// The ions read conduct more than the meter shows, µS/cm at 25 °C.
    ConductsMore {
        /// The least that they conduct.
        least: f64,
        /// What the meter shows.
        read: f64,
    },
    /// Calcium is a part of general hardness, but reads higher, mol/kg.
    PartAboveWhole {
        /// Calcium.
        calcium: f64,
        /// General hardness.
        hardness: f64,
    },
    /// The carbon dioxide that the two imply is that of no pond and no well, log₁₀ atm; `None` where no carbonate is left at
    /// all.
    CarbonDioxide {
        /// What they imply.
        log_co2: Option<f64>,
    },
    /// Every anion was measured and they do not cover the cations, mol of charge per kg.
    Uncovered {
        /// Charge of the cations.
        cations: f64,
        /// Charge of the anions.
        anions: f64,
    },
}

impl fmt::Display for Disagreement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (first, second) = (self.between.0.words(), self.between.1.words());
        match self.fault {
            Fault::ConductsMore { least, read } => {
                write!(
                    f,
                    "{first} and {second} cannot be of one water: such a {first} conducts at least {least:.0} µS/cm, and the meter shows {read:.0}"
                )
            }
            Fault::PartAboveWhole { calcium, hardness } => {
                write!(
                    f,
                    "{first} and {second} cannot be of one water: calcium is a part of general hardness, and reads {:.1} times it",
                    calcium / hardness
                )
            }
            Fault::CarbonDioxide { log_co2: Some(p) } if p > CARBON_DIOXIDE.1 => {
                write!(
                    f,
                    "{first} and {second} cannot be of one water: together they mean more carbon dioxide than any pond or well holds"
                )
            }
            Fault::CarbonDioxide { .. } => {
                write!(
                    f,
                    "{first} and {second} cannot be of one water: together they mean next to no carbon dioxide, less than algae leave"
                )
            }
            Fault::Uncovered { cations, anions } => {
                write!(
                    f,
                    "{first} and {second} cannot be of one water: the hardness brings {:.1} meq/L of charge, all anions read together {:.1}",
                    cations * 1000.0,
                    anions * 1000.0
                )
            }
        }
    }
}

/// Why no composition came of the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// Two readings disagree.
    Disagree(Disagreement),
    /// A reading is needed that is not there.
    Missing(Reading),
    /// The chemistry refuses.
    Refused(Refusal),
}

impl From<Refusal> for Trouble {
    fn from(refusal: Refusal) -> Self {
        Trouble::Refused(refusal)
    }
}

/// A water from readings.
#[derive(Clone, Debug)]
pub struct Composed {
    /// Its ions.
    pub water: Water,
    /// Its species at its own temperature.
    pub state: State,
    /// Rules used, in the order of their use.
    pub closures: Vec<Closure>,
    /// Computed conductivity at 25 °C before the meter's excess was closed with salt, µS/cm.
    pub conductivity_read: f64,
    /// The species at 25 °C that conduct it.
    pub conducting: State,
    /// Computed conductivity at 25 °C of the finished water, µS/cm.
    pub conductivity: f64,
    /// Computed over measured conductivity, less one; `None` without a measurement.
    pub misfit: Option<f64>,
    /// Hardness gone, alkalinity kept: softened, or buffered without calcium. Such a water does not protect fish from copper, whatever
    /// its carbonate hardness (rows CU-50, CU-51).
    pub softened: bool,
}

/// Whether a water's hardness is gone and its alkalinity kept.
#[must_use]
pub fn is_softened(water: &Water) -> bool {
    2.0 * (water.totals[CALCIUM] + water.totals[MAGNESIUM]) < SOFT * water.alkalinity
}

/// The least that so much charge of an ion conducts at 25 °C with the slowest partner, at an ionic strength of 0.02 mol/kg,
/// µS/cm.
fn alone(name: &str, partner: &str, charge: f64) -> f64 {
    let each = |wanted: &str| {
        CONDUCTANCES.iter().find(|row| row.name == wanted).map_or(0.0, |row| molal(row, 25.0, 0.1414) / charges(wanted))
    };
    1000.0 * charge * (each(name) + each(partner))
}

fn charges(name: &str) -> f64 {
    let ion = table::IONS.iter().find(|ion| ion.name == name);
    ion.map_or(1.0, |ion| f64::from(ion.charge.abs()))
}

/// The water that these readings are of.
///
/// # Errors
/// When two readings cannot be of one water, general hardness and calcium are both missing, or the chemistry refuses.
pub fn compose(readings: &Readings) -> Result<Composed, Trouble> {
    let mut closures = Vec::new();
    let mut totals = [0.0; IONS];
    let (calcium, magnesium) = hardness(readings, &mut closures)?;
    totals[CALCIUM] = calcium;
    totals[MAGNESIUM] = magnesium;
    totals[COPPER] = readings.copper.unwrap_or(0.0);
    totals[CHLORIDE] = readings.chloride.unwrap_or(0.0);
    totals[SULFATE] = readings.sulfate.unwrap_or(0.0);
    totals[NITRATE] = readings.nitrate.unwrap_or(0.0);
    let cations = 2.0 * (calcium + magnesium + totals[COPPER]);
    let anions = readings.alkalinity + totals[CHLORIDE] + 2.0 * totals[SULFATE] + totals[NITRATE];
    let lacking = cations - anions;
    if lacking <= 0.0 {
        totals[SODIUM] = -lacking;
        if lacking < 0.0 {
            closures.push(Closure::SodiumForCharge(-lacking));
        }
    } else if readings.chloride.is_none() {
        totals[CHLORIDE] = lacking;
        closures.push(Closure::ChlorideForCharge(lacking));
    } else if readings.sulfate.is_none() || lacking < KITS * cations {
        // A little more than the sulfate read is within what the kits can tell.
        totals[SULFATE] += 0.5 * lacking;
        closures.push(Closure::SulfateForCharge(0.5 * lacking));
    } else {
        let between = (Reading::GeneralHardness, Reading::Sulfate);
        let fault = Fault::Uncovered { cations, anions };
        return Err(Trouble::Disagree(Disagreement { between, again: Reading::GeneralHardness, fault }));
    }
    let (mut water, state) = of_ph(readings, totals)?;
    let mut state = state;
    let conducting = water.at(25.0).closed()?;
    let conductivity_read = conductance::conductivity(&conducting);
    let mut conductivity = conductivity_read;
    match readings.conductivity {
        None => closures.push(Closure::NoConductivity),
        Some(read) if conductivity_read > read * (1.0 + TOLERANCE.0) + TOLERANCE.1 => {
            return Err(Trouble::Disagree(conducts_more(readings, calcium + magnesium, conductivity_read, read)));
        }
        Some(read) if conductivity_read < read => {
            let rule: Option<(usize, Rule)> = match (readings.chloride, readings.sulfate) {
                (None, _) => Some((SALT, Closure::SaltForConductivity)),
                (Some(_), None) => Some((SODIUM_SULFATE, Closure::SodiumSulfateForConductivity)),
                // All was measured: the misfit stands as it is.
                (Some(_), Some(_)) => None,
            };
            if let Some((place, closure)) = rule {
                let salt = &ADDITIONS[place];
                let amount = water.dose_to_conductivity(salt, read)?.ok_or(Refusal::OutOfRange {
                    what: "conductivity in µS/cm",
                    value: read,
                    low: 0.0,
                    high: conductivity_read,
                })?;
                closures.push(closure(amount));
                // Salt moves the activities, so that the inorganic carbon behind the pH read is found anew.
                (water, state) = of_ph(readings, water.with(salt, amount).totals)?;
                conductivity = water.conductivity_25()?;
            }
        }
        Some(_) => {}
    }
    let misfit = readings.conductivity.map(|read| conductivity / read - 1.0);
    let softened = is_softened(&water);
    Ok(Composed { water, state, closures, conductivity_read, conducting, conductivity, misfit, softened })
}

/// Calcium and magnesium by what was read of them.
fn hardness(readings: &Readings, closures: &mut Vec<Closure>) -> Result<(f64, f64), Trouble> {
    Ok(match (readings.general_hardness, readings.calcium) {
        (None, None) => return Err(Trouble::Missing(Reading::GeneralHardness)),
        (Some(whole), None) => {
            let calcium = CALCIUM_PART * whole;
            closures.push(Closure::CalciumFromHardness(calcium));
            (calcium, whole - calcium)
        }
        (None, Some(calcium)) => {
            let magnesium = calcium * (1.0 / CALCIUM_PART - 1.0);
            closures.push(Closure::MagnesiumFromCalcium(magnesium));
            (calcium, magnesium)
        }
        (Some(whole), Some(calcium)) if calcium > whole * (1.0 + KITS) => {
            return Err(Trouble::Disagree(Disagreement {
                between: (Reading::Calcium, Reading::GeneralHardness),
                again: Reading::Calcium,
                fault: Fault::PartAboveWhole { calcium, hardness: whole },
            }));
        }
        (Some(whole), Some(calcium)) if calcium >= whole => {
            closures.push(Closure::HardnessIsCalcium(calcium));
            (calcium, 0.0)
        }
        (Some(whole), Some(calcium)) => (calcium, whole - calcium),
    })
}

fn of_ph(readings: &Readings, totals: [f64; IONS]) -> Result<(Water, State), Trouble> {
    let disagree = |log_co2: Option<f64>| {
        let between = (Reading::Ph, Reading::CarbonateHardness);
        Trouble::Disagree(Disagreement { between, again: Reading::Ph, fault: Fault::CarbonDioxide { log_co2 } })
    };
    match Water::of_ph(readings.celsius, totals, readings.alkalinity, readings.ph) {
        Ok((water, state)) => {
            let pressure = state.log_co2();
            let odd = pressure.is_none_or(|p| p < CARBON_DIOXIDE.0 || p > CARBON_DIOXIDE.1);
            // Where there is next to no alkalinity, pH says nothing about it.
            if odd && readings.alkalinity > 1e-4 { Err(disagree(pressure)) } else { Ok((water, state)) }
        }
        Err(Refusal::NoCarbonLeft { .. }) => Err(disagree(None)),
        Err(refusal) => Err(refusal.into()),
    }
}

/// Which reading stands against the meter. Where two of them ask alone for more than it shows, they bear each other out, and the
/// meter is tested first.
fn conducts_more(readings: &Readings, hard: f64, least: f64, read: f64) -> Disagreement {
    let candidates = [
        (Reading::CarbonateHardness, alone("HCO3-", "Na+", readings.alkalinity)),
        (Reading::GeneralHardness, alone("Mg+2", "HCO3-", 2.0 * hard)),
        (Reading::Chloride, alone("Cl-", "Na+", readings.chloride.unwrap_or(0.0))),
        (Reading::Sulfate, alone("SO4-2", "Na+", 2.0 * readings.sulfate.unwrap_or(0.0))),
        (Reading::Nitrate, alone("NO3-", "Na+", readings.nitrate.unwrap_or(0.0))),
    ];
    let mut worst = candidates[0];
    for candidate in candidates {
        if candidate.1 > worst.1 {
            worst = candidate;
        }
    }
    // Calcium was read where general hardness was not.
    let first = match worst.0 {
        Reading::GeneralHardness if readings.general_hardness.is_none() => Reading::Calcium,
        other => other,
    };
    let over = candidates.iter().filter(|c| c.1 > read).count();
    let again = if over == 1 { first } else { Reading::Conductivity };
    Disagreement { between: (first, Reading::Conductivity), again, fault: Fault::ConductsMore { least, read } }
}
