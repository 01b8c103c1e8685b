//! A water as its ions, and what is done to it: doses, mixing, evaporation, air, lime coming down.
//!
//! Every act maps a water to a water. It moves amounts only; the equilibrium is found afterwards, closed to the air
//! ([`Water::closed`]) or at rest with it ([`Water::opened`]). Amounts in mol per kg of water, bare numbers throughout.

use super::conductance;
use super::speciation::{Constants, IONS, Known, MOST, PH, Refusal, State, speciate};
use crate::reference::chemistry::{Addition, Agent, CALCITE, CALCIUM, CARBONATE, CHLORIDE, SODIUM, SULFATE};

/// log₁₀ of the carbon dioxide pressure of air, atm [`CARBON_DIOXIDE_AIR`](crate::reference::CARBON_DIOXIDE_AIR).
pub const AIR: f64 = -3.38;

/// A water as its ions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Water {
    /// °C, 0 to 50.
    pub celsius: f64,
    /// mol/kg of each ion of [`IONS`](crate::reference::chemistry::IONS) in all its species. That of carbonate is all
    /// inorganic carbon; that of hydrogen is not used, alkalinity stands for it.
    pub totals: [f64; IONS],
    /// mol of charge per kg: HCO3 + 2 CO3 + OH - H, pairs and copper complexes included.
    pub alkalinity: f64,
    /// Total ammonia, mol of nitrogen per kg. It rides along: neither its charge nor its alkalinity is counted.
    pub ammonia: f64,
}

/// Chlorine in new water, mol/kg counted as Cl2.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Chlorine {
    /// HOCl and OCl-.
    pub free: f64,
    /// Bound to ammonia (chloramine).
    pub combined: f64,
}

impl Water {
    /// A water of this pH: its inorganic carbon is found. `totals` as in [`Water::totals`], carbonate not read.
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn of_ph(celsius: f64, totals: [f64; IONS], alkalinity: f64, ph: f64) -> Result<(Self, State), Refusal> {
        let state = speciate(&Constants::at(celsius)?, &totals, Known::PhAlkalinity { ph, alkalinity })?;
        let mut totals = totals;
        totals[CARBONATE] = state.carbon;
        Ok((Self { celsius, totals, alkalinity, ammonia: 0.0 }, state))
    }

    /// Equilibrium with no gas exchanged.
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn closed(&self) -> Result<State, Refusal> {
        self.closed_with(&Constants::at(self.celsius)?)
    }

    /// [`Water::closed`] with the constants of its temperature at hand.
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn closed_with(&self, constants: &Constants) -> Result<State, Refusal> {
        let known = Known::AlkalinityCarbon { alkalinity: self.alkalinity, carbon: self.totals[CARBONATE] };
        speciate(constants, &self.totals, known)
    }

    /// The water after carbon dioxide has come to rest with a pressure (log₁₀ atm; [`AIR`]).
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn opened(&self, log_co2: f64) -> Result<(Self, State), Refusal> {
        let known = Known::AlkalinityPressure { alkalinity: self.alkalinity, log_co2 };
        let state = speciate(&Constants::at(self.celsius)?, &self.totals, known)?;
        let mut water = *self;
        water.totals[CARBONATE] = state.carbon;
        Ok((water, state))
    }

    /// The same water brought to another temperature, nothing exchanged.
    #[must_use]
    pub fn at(&self, celsius: f64) -> Self {
        Self { celsius, ..*self }
    }

    /// Conductivity of the same closed water brought to 25 °C, µS/cm.
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn conductivity_25(&self) -> Result<f64, Refusal> {
        Ok(conductance::conductivity(&self.at(25.0).closed()?))
    }

    /// With so many mol/kg of a substance dissolved in it.
    #[must_use]
    pub fn with(&self, substance: &Addition, amount: f64) -> Self {
        let mut water = *self;
        for (ion, count) in substance.ions {
            water.totals[*ion] += count * amount;
        }
        water.alkalinity += substance.alkalinity * amount;
        water
    }

    /// With chlorine taken out by so many mol/kg of an agent, free chlorine first; the second value is the chlorine left where the
    /// agent falls short. Free chlorine becomes chloride, combined chlorine chloride and ammonia. All of the agent ends as
    /// sulfate, by chlorine or, what is left over, by the oxygen of the water. The alkalinity of the start counts OCl-. Net
    /// reactions: [`DECHLORINATION`](crate::reference::DECHLORINATION).
    #[must_use]
    pub fn dechlorinated(&self, agent: &Agent, amount: f64, chlorine: Chlorine) -> (Self, Chlorine) {
        let mut water = *self;
        let capacity = agent.chlorine * amount;
        let free = chlorine.free.min(capacity);
        let combined = chlorine.combined.min(capacity - free);
        let (sodium, sulfate) = (agent.sodium * amount, agent.sulfur * amount);
        water.totals[SODIUM] += sodium;
        water.totals[SULFATE] += sulfate;
        water.totals[CHLORIDE] += free + combined;
        // What the new ions lack in charge is taken from the alkalinity; the chloride of chloramine has its ammonium.
        water.alkalinity += sodium - 2.0 * sulfate - free;
        water.ammonia += combined;
        (water, Chlorine { free: chlorine.free - free, combined: chlorine.combined - combined })
    }

    /// This water with a mass share of another in it, closed. The temperature is the mean by mass.
    #[must_use]
    pub fn mixed(&self, other: &Self, share: f64) -> Self {
        let blend = |a: f64, b: f64| a + share * (b - a);
        let mut water = Self {
            celsius: blend(self.celsius, other.celsius),
            totals: self.totals,
            alkalinity: blend(self.alkalinity, other.alkalinity),
            ammonia: blend(self.ammonia, other.ammonia),
        };
        for (mine, theirs) in water.totals.iter_mut().zip(&other.totals) {
            *mine = blend(*mine, *theirs);
        }
        water
    }

    /// With water taken away until all else is `factor` times as concentrated, closed.
    #[must_use]
    pub fn concentrated(&self, factor: f64) -> Self {
        let mut water = *self;
        for total in &mut water.totals {
            *total *= factor;
        }
        water.alkalinity *= factor;
        water.ammonia *= factor;
        water
    }

    /// Lime comes down until its saturation index is `limit`, or does not form when the water is below that; at rest with a carbon dioxide
    /// pressure, or closed without one. The second value is the lime, mol/kg.
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn limed(&self, limit: f64, log_co2: Option<f64>) -> Result<(Self, f64, State), Refusal> {
        let constants = Constants::at(self.celsius)?;
        let after = |formed: f64| -> Result<(Self, State), Refusal> {
            let mut water = *self;
            water.totals[CALCIUM] -= formed;
            water.alkalinity -= 2.0 * formed;
            match log_co2 {
                Some(log_co2) => {
                    let known = Known::AlkalinityPressure { alkalinity: water.alkalinity, log_co2 };
                    let state = speciate(&constants, &water.totals, known)?;
                    water.totals[CARBONATE] = state.carbon;
                    Ok((water, state))
                }
                None => {
                    water.totals[CARBONATE] -= formed;
                    let state = water.closed_with(&constants)?;
                    Ok((water, state))
                }
            }
        };
        let over = |state: &State| state.saturation(CALCITE).map_or(-1.0, |si| si - limit);
        let (water, state) = after(0.0)?;
        let start = over(&state);
        if start <= 0.0 {
            return Ok((water, 0.0, state));
        }
        // All the calcium, or all that the carbonate has to give, would be more than can come down.
        let mut high = self.totals[CALCIUM];
        if log_co2.is_none() {
            high = high.min(self.totals[CARBONATE]);
        }
        let formed = root(0.0, start, 0.999_999 * high, |x| match after(x) {
            Ok((_, state)) => over(&state),
            // Beyond what the water can give: too much has come down.
            Err(_) => -1.0,
        });
        let (water, state) = after(formed)?;
        Ok((water, formed, state))
    }

    /// How much a gram of a substance in a kilogram of this water adds to its conductivity at 25 °C, closed: µS/cm per g/kg, at
    /// the start of the dose.
    ///
    /// # Errors
    /// As [`speciate`].
    pub fn rise_per_gram(&self, substance: &Addition) -> Result<f64, Refusal> {
        // Small enough to be a slope, large enough to stand above the solver's rounding.
        const GRAMS: f64 = 1e-3;
        let dosed = self.with(substance, GRAMS / substance.molar_mass);
        Ok((dosed.conductivity_25()? - self.conductivity_25()?) / GRAMS)
    }

    /// mol/kg of a substance that brings the conductivity at 25 °C to a target in µS/cm, closed: 0 where it is reached
    /// already, `None` where no amount in range reaches it.
    ///
    /// # Errors
    /// As [`speciate`], for the water as it is.
    pub fn dose_to_conductivity(&self, substance: &Addition, target: f64) -> Result<Option<f64>, Refusal> {
        let here = self.conductivity_25()? - target;
        if here >= 0.0 {
            return Ok(Some(0.0));
        }
        let at = |amount: f64| self.with(substance, amount).conductivity_25();
        let mut high = 1e-3;
        loop {
            match at(high) {
                Ok(value) if value >= target => break,
                Ok(_) if high < 0.5 * MOST => high *= 2.0,
                _ => return Ok(None),
            }
        }
        Ok(Some(root(0.0, here, high, |amount| at(amount).map_or(1.0, |value| value - target))))
    }
}

/// Species of a water of so much inorganic carbon (mol/kg) under a carbon dioxide pressure (log₁₀ atm): the one pair that says neither pH nor
/// alkalinity. Under a pressure the carbon grows with pH, so that the pH is looked for between the edges of the range.
///
/// # Errors
/// As [`speciate`], and where carbon dioxide alone would be more carbon than there is.
pub fn of_carbon_and_pressure(
    constants: &Constants,
    totals: &[f64; IONS],
    carbon: f64,
    log_co2: f64,
) -> Result<State, Refusal> {
    let at = |ph: f64| speciate(constants, totals, Known::PhPressure { ph, log_co2 });
    let least = at(PH.0)?;
    let beyond = |low, high| Refusal::OutOfRange {
        what: "the inorganic carbon in mol/kg at rest with this carbon dioxide pressure",
        value: carbon,
        low,
        high,
    };
    if carbon < least.carbon {
        return Err(beyond(least.carbon, MOST));
    }
    // A refusal at the high end is for more carbon or salt than the range holds.
    let over = |ph: f64| at(ph).map_or(1.0, |state| libm::log(state.carbon / carbon));
    let top = over(PH.1);
    if top < 0.0 {
        return Err(beyond(least.carbon, at(PH.1)?.carbon));
    }
    at(root(PH.0, libm::log(least.carbon / carbon), PH.1, over))
}

/// Where `f` changes sign between `low` (where it is `at_low`) and `high`: false position with the Illinois weight, to a
/// hundred-millionth of the interval.
pub(super) fn root(low: f64, at_low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut fa, mut b) = (low, at_low, high);
    let mut fb = f(b);
    if fb == 0.0 || fa * fb > 0.0 {
        return b;
    }
    let width = 1e-11 * (high - low).abs();
    let mut side = 0;
    for step in 0..200 {
        let line = (a * fb - b * fa) / (fb - fa);
        // Every fourth step halves, so that a flat end cannot hold the search up.
        let x = if line.is_finite() && step % 4 != 3 { line } else { 0.5 * (a + b) };
        let fx = f(x);
        if fx == 0.0 || (b - a).abs() < width {
            return x;
        }
        if fx * fb > 0.0 {
            (b, fb) = (x, fx);
            if side == -1 {
                fa *= 0.5;
            }
            side = -1;
        } else {
            (a, fa) = (x, fx);
            if side == 1 {
                fb *= 0.5;
            }
            side = 1;
        }
        if (b - a).abs() < width {
            return x;
        }
    }
    0.5 * (a + b)
}
