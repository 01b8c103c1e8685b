//! A water at rest with the air: pH, lime and conductivity, for the daily balance.
//!
//! [`Core`] asks the chemistry core, which counts pairs. [`Dilute`] is the same in closed form: ions taken as single, with
//! Davies activities, so saturation comes out a little high (a tenth of a unit in soft water, two in hard). It says on most
//! days that no lime can come down without asking further, and stands in where the core refuses.

use std::cell::RefCell;

use super::balance::{Chemistry, SOLUTES, Solutes, solute};
use crate::chem::carbonate::{log_k1, log_k2, log_kh, log_kw};
use crate::chem::composition::{self, Closure, Trouble};
use crate::chem::conductance;
use crate::chem::followed::{self, Table, Totals, Track};
use crate::chem::solution::Water;
use crate::chem::speciation::{Constants, IONS, Known, State, beside, speciate};
use crate::reference::chemistry as ion;

/// What of a water's chemistry is settled for a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dilute {
    /// log₁₀ of the carbon dioxide pressure it rests with, atm.
    pub log_co2: f64,
    /// Saturation index above which lime comes down.
    pub threshold: f64,
}

/// Constants of one temperature, concentrations in mol/L.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// K1 · KH · p: activity of HCO3- times that of H+.
    bicarbonate: f64,
    /// K1 · K2 · KH · p: activity of CO3-2 times that of H+ squared.
    carbonate: f64,
    /// Kw.
    water: f64,
    /// Solubility product of calcite.
    calcite: f64,
}

/// log₁₀ K of calcite = Ca+2 + CO3-2; `t_kelvin` 273 to 363 (the reference tables' constant of the public geochemistry
/// program's database: 17.118 − 0.046528 T − 3496 / T).
#[must_use]
pub fn log_calcite(t_kelvin: f64) -> f64 {
    17.118 - 0.046_528 * t_kelvin - 3496.0 / t_kelvin
}

/// Activity coefficient of a single charge by Davies, at an ionic strength in mol/L.
fn single(strength: f64) -> f64 {
    let root = libm::sqrt(strength);
    libm::pow(10.0, -0.5 * (root / (1.0 + root) - 0.3 * strength))
}

/// Ionic strength, mol/L, of concentrations in mol/m³; all alkalinity as bicarbonate.
#[must_use]
pub fn strength(water: &Solutes) -> f64 {
    use solute::{ALKALINITY, CALCIUM, CHLORIDE, MAGNESIUM, NITRATE, POTASSIUM, SODIUM, SULFATE};
    let single = water[ALKALINITY] + water[SODIUM] + water[POTASSIUM] + water[CHLORIDE] + water[NITRATE];
    let double = water[CALCIUM] + water[MAGNESIUM] + water[SULFATE];
    (0.5 * (single + 4.0 * double) / 1000.0).max(0.0)
}

/// Limiting equivalent conductivities at 25 °C times charge, S cm²/mol, in the order of [`Solutes`]: EC-02 (sodium, potassium,
/// half calcium, half magnesium), EC-01 (chloride, bicarbonate, half sulfate; nitrate 71.4: CRC Handbook, from memory).
/// Copper is too little to count.
pub const CONDUCTIVITIES: Solutes = [44.5, 2.0 * 59.5, 2.0 * 53.06, 50.11, 73.5, 76.31, 2.0 * 80.0, 71.4, 0.0];

impl Warmth {
    /// log₁₀ of carbon dioxide's pressure in atm; °C.
    #[must_use]
    pub fn new(log_co2: f64, celsius: f64) -> Self {
        let t = celsius.clamp(0.0, 45.0) + 273.15;
        let dissolved = log_kh(t) + log_co2;
        Self {
            bicarbonate: libm::pow(10.0, dissolved + log_k1(t)),
            carbonate: libm::pow(10.0, dissolved + log_k1(t) + log_k2(t)),
            water: libm::pow(10.0, log_kw(t)),
            calcite: libm::pow(10.0, log_calcite(t)),
        }
    }

    /// Activity of H+ in a water of this alkalinity (mol/L) at rest with the air, from the balance
    /// alkalinity = (K1 KH p + Kw) / (g1 h) + 2 K1 K2 KH p / (g2 h²) − h / g1.
    fn protons(&self, alkalinity: f64, g1: f64) -> f64 {
        let g2 = g1 * g1 * g1 * g1;
        let (once, twice) = ((self.bicarbonate + self.water) / g1, 2.0 * self.carbonate / g2);
        if alkalinity > 1e-5 {
            // A square in 1/h; the last term moves it by a hair, and twice round settles it.
            let mut h = 0.0;
            for _ in 0..3 {
                let left = alkalinity + h / g1;
                h = (once + libm::sqrt(once * once + 4.0 * twice * left)) / (2.0 * left);
            }
            return h;
        }
        let (mut low, mut high) = (4.0_f64, 9.0_f64);
        for _ in 0..50 {
            let ph = 0.5 * (low + high);
            let h = libm::pow(10.0, -ph);
            if once / h + twice / (h * h) - h / g1 < alkalinity { low = ph } else { high = ph }
        }
        libm::pow(10.0, -0.5 * (low + high))
    }
}

impl Dilute {
    /// Saturation of calcite, as a quotient: 1 at equilibrium.
    fn over(warmth: &Warmth, alkalinity: f64, calcium: f64, g1: f64) -> f64 {
        let h = warmth.protons(alkalinity, g1);
        let g2 = g1 * g1 * g1 * g1;
        calcium * g2 * warmth.carbonate / (h * h) / warmth.calcite
    }

    /// Whether no lime can come down. Activities and pairs only lower saturation: a water under the limit without them is
    /// under it with them, and most days need no more than this.
    fn cannot_lime(&self, warmth: &Warmth, water: &Solutes) -> bool {
        let (alkalinity, calcium) = (water[solute::ALKALINITY] / 1000.0, water[solute::CALCIUM] / 1000.0);
        alkalinity <= 0.0
            || calcium <= 0.0
            || Self::over(warmth, alkalinity, calcium, 1.0) <= libm::pow(10.0, self.threshold)
    }

    /// Saturation index of calcite.
    #[must_use]
    pub fn saturation(&self, warmth: &Warmth, water: &Solutes) -> f64 {
        let g1 = single(strength(water));
        libm::log10(Self::over(warmth, water[solute::ALKALINITY] / 1000.0, water[solute::CALCIUM] / 1000.0, g1))
    }
}

impl Chemistry for Dilute {
    type Warmth = Warmth;

    fn at(&self, celsius: f64) -> Warmth {
        Warmth::new(self.log_co2, celsius)
    }

    fn ph(&self, warmth: &Warmth, water: &Solutes) -> f64 {
        -libm::log10(warmth.protons(water[solute::ALKALINITY] / 1000.0, single(strength(water))))
    }

    fn lime(&self, warmth: &Warmth, water: &Solutes) -> f64 {
        if self.cannot_lime(warmth, water) {
            return 0.0;
        }
        let (alkalinity, calcium) = (water[solute::ALKALINITY] / 1000.0, water[solute::CALCIUM] / 1000.0);
        let limit = libm::pow(10.0, self.threshold);
        // Each mole that comes down takes four charges squared of calcium and two of alkalinity from the strength.
        let strength = strength(water);
        let at = |formed: f64| {
            let g1 = single((strength - 3.0 * formed).max(0.0));
            Self::over(warmth, alkalinity - 2.0 * formed, calcium - formed, g1) - limit
        };
        if at(0.0) <= 0.0 {
            return 0.0;
        }
        let (mut low, mut high) = (0.0, calcium.min(alkalinity / 2.0) * 0.999);
        let (mut at_low, mut at_high) = (at(low), at(high));
        if at_high >= 0.0 {
            return high * 1000.0;
        }
        let mut formed = high;
        for step in 0..60 {
            // False position with halving in between: the curve is steep at one end and flat at the other.
            formed = if step % 3 == 2 { 0.5 * (low + high) } else { low + (high - low) * at_low / (at_low - at_high) };
            let here = at(formed);
            if here > 0.0 {
                (low, at_low) = (formed, here);
            } else {
                (high, at_high) = (formed, here);
            }
            if here.abs() < 1e-12 * limit || high - low < 1e-15 {
                break;
            }
        }
        formed * 1000.0
    }

    fn conductivity(&self, _: &Warmth, water: &Solutes) -> f64 {
        conductivity(water)
    }
}

/// The chemistry core for the daily balance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Core(pub Dilute);

/// Constants of one temperature, for the core and for its closed form.
#[derive(Clone, Debug)]
pub struct CoreWarmth {
    quick: Warmth,
    celsius: f64,
    /// At that temperature and at 25 °C; none outside the core's range.
    constants: Option<(Constants, Constants)>,
    /// [`followed::held_at_least`].
    held: f64,
}

/// Where each solute stands among the core's ions. Copper is too little to move anything else, and rides along outside.
const PLACES: [(usize, usize); 7] = [
    (solute::CALCIUM, ion::CALCIUM),
    (solute::MAGNESIUM, ion::MAGNESIUM),
    (solute::SODIUM, ion::SODIUM),
    (solute::POTASSIUM, ion::POTASSIUM),
    (solute::CHLORIDE, ion::CHLORIDE),
    (solute::SULFATE, ion::SULFATE),
    (solute::NITRATE, ion::NITRATE),
];

/// Amounts in mol/m³ as the core takes them, mol per kg of water of this density (kg/L).
fn core_totals(water: &Solutes, density: f64) -> ([f64; IONS], f64) {
    let each = 1.0 / (1000.0 * density);
    let mut totals = [0.0; IONS];
    for (mine, theirs) in PLACES {
        if let (Some(total), Some(amount)) = (totals.get_mut(theirs), water.get(mine)) {
            // What is taken out to the last may be short of nothing by a hair.
            *total = (amount * each).max(0.0);
        }
    }
    (totals, water[solute::ALKALINITY] * each)
}

/// The core's water as amounts in mol/m³.
fn from_core(water: &Water, density: f64) -> Solutes {
    let mut out = [0.0; SOLUTES];
    for (mine, theirs) in PLACES {
        if let (Some(amount), Some(total)) = (out.get_mut(mine), water.totals.get(theirs)) {
            *amount = total * 1000.0 * density;
        }
    }
    out[solute::ALKALINITY] = water.alkalinity * 1000.0 * density;
    out[solute::COPPER] = water.totals[ion::COPPER] * 1000.0 * density;
    out
}

impl Core {
    fn state(&self, warmth: &CoreWarmth, water: &Solutes) -> Option<(State, [f64; IONS])> {
        let (constants, _) = warmth.constants.as_ref()?;
        let (totals, alkalinity) = core_totals(water, constants.density);
        let known = Known::AlkalinityPressure { alkalinity, log_co2: self.0.log_co2 };
        Some((speciate(constants, &totals, known).ok()?, totals))
    }

    /// Species of a water at rest with the air. `None` where the core refuses.
    #[must_use]
    pub fn at_rest(&self, warmth: &CoreWarmth, water: &Solutes) -> Option<State> {
        Some(self.state(warmth, water)?.0)
    }

    /// Species of a water that was at rest with the air as `before`, and got what makes it `after` without touching air since;
    /// the alkalinity that is new came as bicarbonate. `None` where the core refuses.
    #[must_use]
    pub fn closed(&self, warmth: &CoreWarmth, before: &Solutes, after: &Solutes) -> Option<State> {
        let (state, _) = self.state(warmth, before)?;
        let (constants, _) = warmth.constants.as_ref()?;
        let (totals, alkalinity) = core_totals(after, constants.density);
        let carbon = state.carbon + alkalinity - state.alkalinity;
        speciate(constants, &totals, Known::AlkalinityCarbon { alkalinity, carbon }).ok()
    }

    /// Species at 25 °C of a water at rest with the air, closed and brought there: what its conductivity is told from. `None` where
    /// the core refuses.
    #[must_use]
    pub fn conducting(&self, warmth: &CoreWarmth, water: &Solutes) -> Option<State> {
        let (state, totals) = self.state(warmth, water)?;
        let (_, at_25) = warmth.constants.as_ref()?;
        let known = Known::AlkalinityCarbon { alkalinity: state.alkalinity, carbon: state.carbon };
        speciate(at_25, &totals, known).ok()
    }

    /// Saturation index of calcite.
    #[must_use]
    pub fn saturation(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        let found = self.state(warmth, water).and_then(|(state, _)| state.saturation(ion::CALCITE));
        found.unwrap_or_else(|| self.0.saturation(&warmth.quick, water))
    }
}

impl Core {
    /// An open water beside copper hydroxide that has just formed, its pH and alkalinity as they are, and kilograms of water in a
    /// litre. `None` where the core refuses, or where copper alone would bring more alkalinity than there is.
    #[must_use]
    pub fn beside_hydroxide(&self, warmth: &CoreWarmth, water: &Solutes) -> Option<(State, f64)> {
        let (state, _) = self.state(warmth, water)?;
        let (constants, _) = warmth.constants.as_ref()?;
        Some((beside(constants, &state, ion::COPPER_HYDROXIDE_MADE).ok()?, constants.density))
    }

    /// What stays dissolved there, mol/m³.
    #[must_use]
    pub fn copper_held(&self, warmth: &CoreWarmth, water: &Solutes) -> Option<f64> {
        let (state, density) = self.beside_hydroxide(warmth, water)?;
        Some(state.total(ion::COPPER) * 1000.0 * density)
    }
}

impl Chemistry for Core {
    type Warmth = CoreWarmth;

    fn at(&self, celsius: f64) -> CoreWarmth {
        let constants = Constants::at(celsius).ok().zip(Constants::at(25.0).ok());
        let held = constants.as_ref().and_then(|(here, _)| followed::held_at_least(here)).unwrap_or(f64::INFINITY);
        CoreWarmth { quick: self.0.at(celsius), celsius, constants, held }
    }

    fn ph(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        self.state(warmth, water).map_or_else(|| self.0.ph(&warmth.quick, water), |(state, _)| state.ph)
    }

    fn lime(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        if self.0.cannot_lime(&warmth.quick, water) {
            return 0.0;
        }
        let quick = || self.0.lime(&warmth.quick, water);
        let Some((constants, _)) = warmth.constants.as_ref() else { return quick() };
        let (mut totals, alkalinity) = core_totals(water, constants.density);
        totals[ion::CARBONATE] = alkalinity.max(0.0);
        let start = Water { celsius: warmth.celsius, totals, alkalinity, ammonia: 0.0 };
        match start.limed(self.0.threshold, Some(self.0.log_co2)) {
            Ok((_, formed, _)) => formed * 1000.0 * constants.density,
            Err(_) => quick(),
        }
    }

    fn copper_solid(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        let copper = water[solute::COPPER];
        let density = warmth.constants.as_ref().map_or(1.0, |(here, _)| here.density);
        if copper <= warmth.held * libm::pow(10.0, self.0.log_co2) * 1000.0 * density {
            return 0.0;
        }
        self.copper_held(warmth, water).map_or(0.0, |held| (copper - held).max(0.0))
    }

    fn conductivity(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        let state = self.conducting(warmth, water);
        state.map_or_else(|| conductivity(water), |state| conductance::conductivity(&state))
    }
}

/// The closed form brought onto the core: its saturation, lower by what pairs take near a given water. For runs by the hundred
/// over waters that stay near that one; conductivity and pH are the core's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Near {
    core: Core,
    lifted: Dilute,
}

impl Near {
    /// Near these waters (mol/m³, at °C): where the closed form puts the core's threshold, in their mean.
    #[must_use]
    pub fn new(core: Core, waters: &[(f64, Solutes)]) -> Self {
        let over = |(celsius, water): &(f64, Solutes)| {
            let warmth = core.at(*celsius);
            let off = core.0.saturation(&warmth.quick, water) - core.saturation(&warmth, water);
            if off.is_finite() { off } else { 0.0 }
        };
        let count = waters.len().max(1) as f64;
        let lift = waters.iter().map(over).sum::<f64>() / count;
        Self { core, lifted: Dilute { threshold: core.0.threshold + lift, ..core.0 } }
    }
}

impl Chemistry for Near {
    type Warmth = CoreWarmth;

    fn at(&self, celsius: f64) -> CoreWarmth {
        self.core.at(celsius)
    }

    fn ph(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        self.core.ph(warmth, water)
    }

    fn lime(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        self.lifted.lime(&warmth.quick, water)
    }

    fn copper_solid(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        self.core.copper_solid(warmth, water)
    }

    fn conductivity(&self, warmth: &CoreWarmth, water: &Solutes) -> f64 {
        self.core.conductivity(warmth, water)
    }
}

/// The chemistry core for thousands of years: [`Core`] as [`followed`] finds it, one water after the other. It remembers where
/// it stood; what it answers hangs on that by less than [`followed`] leaves open. Where that does not arrive, [`Core`] answers.
#[derive(Clone, Debug)]
pub struct Followed<'t> {
    core: Core,
    table: &'t Table,
    /// atm.
    pressure: f64,
    /// Saturation quotient above which lime comes down.
    most: f64,
    track: RefCell<Track>,
}

impl<'t> Followed<'t> {
    /// The core of a place with its constants tabulated.
    #[must_use]
    pub fn new(core: Core, table: &'t Table) -> Self {
        let (pressure, most) = (libm::pow(10.0, core.0.log_co2), libm::pow(10.0, core.0.threshold));
        Self { core, table, pressure, most, track: RefCell::default() }
    }

    /// pH and conductivity of a water, as [`Chemistry`] gives them one by one.
    #[must_use]
    pub fn read(&self, warmth: &followed::Warmth, water: &Solutes) -> (f64, f64) {
        let totals = totals(water, warmth.density());
        let found = self.with(|track| {
            let conductivity = track.conductivity(self.table, warmth, &totals, self.pressure)?;
            Some((track.ph(warmth, &totals, self.pressure)?, conductivity))
        });
        found.unwrap_or_else(|| (self.ph(warmth, water), self.conductivity(warmth, water)))
    }

    #[inline]
    fn with<R>(&self, act: impl FnOnce(&mut Track) -> R) -> R {
        match self.track.try_borrow_mut() {
            Ok(mut track) => act(&mut track),
            // Nothing that acts on the track asks for it again.
            Err(_) => act(&mut Track::default()),
        }
    }
}

/// Amounts in mol/m³ as the search takes them, mol per kg of water of this density (kg/L).
fn totals(water: &Solutes, density: f64) -> Totals {
    let each = 1.0 / (1000.0 * density);
    let of = |at: usize| (water.get(at).copied().unwrap_or(0.0) * each).max(0.0);
    Totals {
        alkalinity: water[solute::ALKALINITY] * each,
        calcium: of(solute::CALCIUM),
        magnesium: of(solute::MAGNESIUM),
        sodium: of(solute::SODIUM),
        potassium: of(solute::POTASSIUM),
        chloride: of(solute::CHLORIDE),
        sulfate: of(solute::SULFATE),
        nitrate: of(solute::NITRATE),
    }
}

impl Chemistry for Followed<'_> {
    type Warmth = followed::Warmth;

    fn at(&self, celsius: f64) -> followed::Warmth {
        self.table.at(celsius)
    }

    fn ph(&self, warmth: &followed::Warmth, water: &Solutes) -> f64 {
        let found = self.with(|track| track.ph(warmth, &totals(water, warmth.density()), self.pressure));
        found.unwrap_or_else(|| self.core.ph(&self.core.at(warmth.celsius), water))
    }

    fn lime(&self, warmth: &followed::Warmth, water: &Solutes) -> f64 {
        let density = warmth.density();
        let found = self.with(|track| track.lime(warmth, &totals(water, density), self.pressure, self.most));
        match found {
            Some(formed) => formed * 1000.0 * density,
            None => self.core.lime(&self.core.at(warmth.celsius), water),
        }
    }

    fn copper_solid(&self, warmth: &followed::Warmth, water: &Solutes) -> f64 {
        // Copper is far under that, but where a site's own limits are: then the whole core answers.
        if water[solute::COPPER] <= warmth.copper_held(self.pressure) * 1000.0 * warmth.density() {
            return 0.0;
        }
        self.core.copper_solid(&self.core.at(warmth.celsius), water)
    }

    fn conductivity(&self, warmth: &followed::Warmth, water: &Solutes) -> f64 {
        let totals = totals(water, warmth.density());
        let found = self.with(|track| track.conductivity(self.table, warmth, &totals, self.pressure));
        found.unwrap_or_else(|| self.core.conductivity(&self.core.at(warmth.celsius), water))
    }
}

/// Conductivity at 25 °C, µS/cm, of concentrations in mol/m³: limiting conductivities held back by the square of a single
/// charge's activity (Standard Methods 2510, from memory). Within 4 % of the reference tables in the mean.
#[must_use]
pub fn conductivity(water: &Solutes) -> f64 {
    let free: f64 = CONDUCTIVITIES.iter().zip(water).map(|(each, c)| each * c).sum();
    let activity = single(strength(water));
    free * activity * activity
}

/// What is known of a water before its salts are found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// °C.
    pub celsius: f64,
    /// log₁₀ of the carbon dioxide pressure it rests with, atm: its pH hardly matters to anything but that.
    pub log_co2: f64,
    /// Alkalinity, mol/m³; the other solutes hold what was measured, where [`Told::read`] says so.
    pub water: Solutes,
    /// Which of the solutes were measured.
    pub read: [bool; SOLUTES],
    /// Calcium and magnesium together, mol/m³.
    pub general: Option<f64>,
    /// µS/cm at 25 °C.
    pub conductivity: Option<f64>,
}

/// A water whose charges balance and whose conductivity is as read, with the rules that were used to close it. A reading that
/// cannot be of one water with the others is left out, one after the other; without general hardness and calcium, general
/// hardness is taken to be as high as carbonate hardness.
#[must_use]
pub fn completed(told: &Told) -> (Solutes, Vec<Closure>) {
    let density = crate::chem::activity::density(told.celsius);
    let each = 1.0 / (1000.0 * density);
    let of = |at: usize| {
        let read = told.read.get(at).copied().unwrap_or(false);
        told.water.get(at).filter(|_| read).map(|c| c * each)
    };
    let warmth = Warmth::new(told.log_co2, told.celsius);
    let plain = bare(told);
    let resting = -libm::log10(warmth.protons(plain[solute::ALKALINITY] / 1000.0, single(strength(&plain))));
    let mut read = composition::Readings {
        celsius: told.celsius,
        ph: resting,
        alkalinity: told.water[solute::ALKALINITY] * each,
        general_hardness: told.general.map(|c| c * each),
        calcium: of(solute::CALCIUM),
        conductivity: told.conductivity,
        chloride: of(solute::CHLORIDE),
        sulfate: of(solute::SULFATE),
        nitrate: of(solute::NITRATE),
        copper: None,
    };
    let mut left = None;
    for _ in 0..8 {
        if read.general_hardness.is_none() && read.calcium.is_none() {
            read.general_hardness = Some(0.5 * read.alkalinity);
        }
        match composition::compose(&read) {
            Ok(composed) => {
                left = Some((from_core(&composed.water, density), composed.closures));
                break;
            }
            Err(Trouble::Disagree(found)) => {
                use composition::Reading as R;
                match found.again {
                    // The forecast rests on carbonate hardness, and its pH is that of the air.
                    R::CarbonateHardness | R::Ph => break,
                    R::GeneralHardness => read.general_hardness = None,
                    R::Calcium => read.calcium = None,
                    R::Conductivity => read.conductivity = None,
                    R::Chloride => read.chloride = None,
                    R::Sulfate => read.sulfate = None,
                    R::Nitrate => read.nitrate = None,
                }
            }
            Err(_) => break,
        }
    }
    let (mut water, closures) = left.unwrap_or((plain, Vec::new()));
    // Potassium is told apart from the sodium that the rules found.
    let potassium = told.water[solute::POTASSIUM].min(water[solute::SODIUM]);
    if told.read[solute::POTASSIUM] {
        water[solute::POTASSIUM] += potassium;
        water[solute::SODIUM] -= potassium;
    }
    water[solute::COPPER] = told.water[solute::COPPER];
    (water, closures)
}

/// A water of carbonate hardness, with calcium for it as far as it was read and sodium for the rest.
fn bare(told: &Told) -> Solutes {
    let mut water = [0.0; SOLUTES];
    let alkalinity = told.water[solute::ALKALINITY].max(0.0);
    let hard = told.general.unwrap_or(0.5 * alkalinity).min(0.5 * alkalinity);
    water[solute::ALKALINITY] = alkalinity;
    water[solute::CALCIUM] = composition::CALCIUM_PART * hard;
    water[solute::MAGNESIUM] = hard - water[solute::CALCIUM];
    water[solute::SODIUM] = alkalinity - 2.0 * hard;
    water
}
