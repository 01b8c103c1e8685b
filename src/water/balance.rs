//! The water balance of a pond, day by day: water and what is dissolved in it.
//!
//! [`run`] is a pure function of the setting, the weather, the care and the start. Each flow is a function of its own that
//! says what it moved; none hides in another. A [`Witness`] sees every flow with the pond before and after it, so that a
//! ledger can be kept, and costs nothing when nobody looks.
//!
//! Bare numbers: volumes m³, lengths m, temperatures °C, amounts mol (alkalinity: mol of charge), concentrations mol/m³,
//! all rates a day. Within a day the flows act in the order of [`Flow`]; each acts on what the one before it left.

use super::basin::Basin;
use crate::reference::LOSS_PER_DEGREE;

/// How many solutes are followed.
pub const SOLUTES: usize = 9;

/// Amounts in mol, or concentrations in mol/m³, in the order of [`solute`].
pub type Solutes = [f64; SOLUTES];

/// Where each solute stands in [`Solutes`].
#[expect(missing_docs, reason = "the names are the solutes")]
pub mod solute {
    /// Counted as charge.
    pub const ALKALINITY: usize = 0;
    pub const CALCIUM: usize = 1;
    pub const MAGNESIUM: usize = 2;
    pub const SODIUM: usize = 3;
    pub const POTASSIUM: usize = 4;
    pub const CHLORIDE: usize = 5;
    pub const SULFATE: usize = 6;
    pub const NITRATE: usize = 7;
    /// Total. Not conserved: it is released, and lost to sludge and life.
    pub const COPPER: usize = 8;
}

/// Charge of alkalinity that nitrifying a mole of ammonium nitrogen uses: 7.14 g of CaCO3 for each gram of nitrogen.
/// NH4+ + 2 O2 = NO3- + 2 H+ + H2O.
pub const CHARGE_PER_NITROGEN: f64 = 2.0;

/// Charge of alkalinity that a mole of copper carries. The cathode sets it free with every mole of copper that the anode does
/// (2 H2O + 2 e- = H2 + 2 OH-), and copper that leaves the water as a solid or bound to mud takes it along (EL-08).
pub const CHARGE_PER_COPPER: f64 = 2.0;

/// The pond: its water and all that is dissolved in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pond {
    /// m³.
    pub volume: f64,
    /// mol.
    pub amounts: Solutes,
}

impl Pond {
    /// A pond of this volume and these concentrations.
    #[must_use]
    pub fn of(volume: f64, water: &Solutes) -> Self {
        Self { volume, amounts: water.map(|c| c * volume) }
    }

    /// Concentrations, mol/m³.
    #[must_use]
    pub fn water(&self) -> Solutes {
        let each = 1.0 / self.volume;
        self.amounts.map(|amount| amount * each)
    }

    /// One concentration, mol/m³.
    #[must_use]
    pub fn concentration(&self, solute: usize) -> f64 {
        self.amounts.get(solute).copied().unwrap_or(0.0) / self.volume
    }
}

/// What a flow brought (or, negative, took): m³ and mol.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moved {
    /// m³.
    pub water: f64,
    /// mol.
    pub amounts: Solutes,
}

/// The flows, in the order in which they act within a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flow {
    /// Rain on the open surface.
    Rain,
    /// Rain from roofs and slopes.
    Catchment,
    /// Evaporation from still water.
    Evaporation,
    /// What falls and streams evaporate beyond that.
    Falls,
    /// Water thrown out.
    Splash,
    /// Water that leaks away.
    Leak,
    /// Winter drain-down, and the filling after it.
    DrainDown,
    /// Water let out for a change.
    ChangeOut,
    /// Water let in for a change.
    ChangeIn,
    /// Substances added.
    Dose,
    /// Feed that ends as nitrate.
    Feed,
    /// Topping up.
    TopUp,
    /// What runs over the brim.
    Overflow,
    /// Lime that comes down.
    Lime,
    /// Copper from the bars.
    CopperRelease,
    /// Copper lost from the water.
    CopperLoss,
    /// Copper that falls out as a solid.
    CopperSolid,
}

/// Every flow, in order.
pub const FLOWS: [Flow; 17] = [
    Flow::Rain,
    Flow::Catchment,
    Flow::Evaporation,
    Flow::Falls,
    Flow::Splash,
    Flow::Leak,
    Flow::DrainDown,
    Flow::ChangeOut,
    Flow::ChangeIn,
    Flow::Dose,
    Flow::Feed,
    Flow::TopUp,
    Flow::Overflow,
    Flow::Lime,
    Flow::CopperRelease,
    Flow::CopperLoss,
    Flow::CopperSolid,
];

/// Sees every flow.
pub trait Witness {
    /// A flow has acted.
    fn saw(&mut self, flow: Flow, moved: &Moved, before: &Pond, after: &Pond);
}

/// Nobody looks.
impl Witness for () {
    #[inline]
    fn saw(&mut self, _: Flow, _: &Moved, _: &Pond, _: &Pond) {}
}

/// All that was moved, by flow, and what each flow did to the concentrations.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ledger {
    moved: [Moved; FLOWS.len()],
    effect: [Solutes; FLOWS.len()],
}

impl Ledger {
    /// What a flow moved in all.
    #[must_use]
    pub fn of(&self, flow: Flow) -> Moved {
        self.moved.get(flow as usize).copied().unwrap_or_default()
    }

    /// What a flow did to a concentration in all, mol/m³. The effects of all flows add up to the change.
    #[must_use]
    pub fn effect(&self, flow: Flow, solute: usize) -> f64 {
        self.effect.get(flow as usize).and_then(|of| of.get(solute)).copied().unwrap_or(0.0)
    }
}

impl Witness for Ledger {
    fn saw(&mut self, flow: Flow, moved: &Moved, before: &Pond, after: &Pond) {
        if let Some(sum) = self.moved.get_mut(flow as usize) {
            sum.water += moved.water;
            for (sum, amount) in sum.amounts.iter_mut().zip(&moved.amounts) {
                *sum += amount;
            }
        }
        if let Some(effect) = self.effect.get_mut(flow as usize) {
            for ((effect, old), new) in effect.iter_mut().zip(before.water()).zip(after.water()) {
                *effect += new - old;
            }
        }
    }
}

/// What air and lime do to a water. `Warmth` is whatever depends on temperature alone, found once a day.
pub trait Chemistry {
    /// Constants of one temperature.
    type Warmth;
    /// The constants at a temperature in °C.
    fn at(&self, celsius: f64) -> Self::Warmth;
    /// pH of a water (mol/m³) at rest with the air of this place.
    fn ph(&self, warmth: &Self::Warmth, water: &Solutes) -> f64;
    /// Lime that comes down from a water, mol/m³; nothing while saturation is under the threshold.
    fn lime(&self, warmth: &Self::Warmth, water: &Solutes) -> f64;
    /// Conductivity at 25 °C, µS/cm, of a water at rest with the air.
    fn conductivity(&self, warmth: &Self::Warmth, water: &Solutes) -> f64;
    /// Copper that falls out of a water at rest with the air, mol/m³; nothing while the water can hold it, and nothing at all by a
    /// chemistry that does not know copper's species.
    fn copper_solid(&self, _: &Self::Warmth, _: &Solutes) -> f64 {
        0.0
    }
}

/// The place, and what does not change over the year.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// The basin.
    pub basin: Basin,
    /// Catchment times runoff, m².
    pub catchment: f64,
    /// What falls and streams evaporate beyond still water, as a share of it.
    pub falls: f64,
    /// Water thrown out, m³ a day.
    pub splash: f64,
    /// The supply, mol/m³.
    pub supply: Solutes,
    /// Rain, mol/m³.
    pub rain: Solutes,
    /// What copper does here.
    pub copper: Copper,
}

/// How much copper comes from the bars, and how fast the water loses it to mud, life and walls.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Copper {
    /// Released, over what Faraday's law asks for.
    pub efficiency: f64,
    /// Lost in water of 20 °C, a day.
    pub loss: f64,
}

impl Copper {
    /// All that Faraday's law asks for, and none of it lost.
    pub const KEPT: Self = Self { efficiency: 1.0, loss: 0.0 };

    /// Lost at a temperature in °C, a day.
    #[must_use]
    pub fn rate(&self, celsius: f64) -> f64 {
        self.loss * libm::exp(libm::log(LOSS_PER_DEGREE) * (celsius - 20.0))
    }
}

/// A day's weather, as the pond feels it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sky<K> {
    /// Evaporation of still open water, m.
    pub evaporation: f64,
    /// Rain, m.
    pub rain: f64,
    /// Water temperature, °C.
    pub celsius: f64,
    /// Constants of that temperature.
    pub warmth: K,
}

/// What is done on a day.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Care {
    /// Water changed, as a share of what is there.
    pub change_share: f64,
    /// Water changed, m³.
    pub change_volume: f64,
    /// Substances added, mol.
    pub dose: Solutes,
    /// Nitrogen of the feed that ends as nitrate, mol.
    pub feed: f64,
    /// Leak, m³.
    pub leak: f64,
    /// Share of the full volume to which the water is let down; none outside winter.
    pub lowered: Option<f64>,
    /// Whether it is topped up.
    pub top_up: bool,
    /// Copper from the bars by Faraday's law, mol.
    pub copper: f64,
    /// Alkalinity that comes by itself, mol: what copper brings and takes, where copper is left out.
    pub charge: f64,
}

/// The pond at the end of a day, and the day's water.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Evening {
    /// m³.
    pub volume: f64,
    /// Water line below the brim, m.
    pub below_brim: f64,
    /// Evaporation with falls, m³.
    pub evaporation: f64,
    /// Rain with catchments, m³.
    pub rain: f64,
    /// Top-up, m³.
    pub top_up: f64,
    /// Water let in for changes, m³.
    pub change: f64,
    /// Overflow, m³.
    pub overflow: f64,
    /// mol/m³.
    pub water: Solutes,
}

/// A pond is never emptied below this share of its full volume: what is left cannot be pumped, and must not be divided by.
const LAST: f64 = 0.02;

/// Rain on the open surface.
pub fn rain(pond: &mut Pond, surface: f64, depth: f64, rain: &Solutes) -> Moved {
    let water = surface * depth;
    pour(pond, water, rain)
}

/// Rain from roofs and slopes: `area` is area times runoff.
pub fn catchment(pond: &mut Pond, area: f64, depth: f64, rain: &Solutes) -> Moved {
    pour(pond, area * depth, rain)
}

/// Evaporation: water leaves, what was dissolved stays.
pub fn evaporation(pond: &mut Pond, surface: f64, depth: f64, least: f64) -> Moved {
    let water = (surface * depth).min(pond.volume - least).max(0.0);
    pond.volume -= water;
    Moved { water: -water, amounts: [0.0; SOLUTES] }
}

/// Water leaves with what is dissolved in it: splash, leak, overflow, water let out.
pub fn draw(pond: &mut Pond, water: f64, least: f64) -> Moved {
    let water = water.min(pond.volume - least).max(0.0);
    let share = water / pond.volume;
    let amounts = pond.amounts.map(|amount| -amount * share);
    pond.volume -= water;
    for (amount, moved) in pond.amounts.iter_mut().zip(&amounts) {
        *amount += moved;
    }
    Moved { water: -water, amounts }
}

/// Water comes in with what is dissolved in it: top-up, changes, filling.
pub fn pour(pond: &mut Pond, water: f64, bringing: &Solutes) -> Moved {
    let amounts = bringing.map(|c| c * water);
    pond.volume += water;
    for (amount, moved) in pond.amounts.iter_mut().zip(&amounts) {
        *amount += moved;
    }
    Moved { water, amounts }
}

/// A substance is added.
pub fn dose(pond: &mut Pond, amounts: &Solutes) -> Moved {
    for (amount, moved) in pond.amounts.iter_mut().zip(amounts) {
        *amount += moved;
    }
    Moved { water: 0.0, amounts: *amounts }
}

/// Feed: its nitrogen ends as nitrate and takes alkalinity with it. Ammonia brings a charge of alkalinity when it is
/// excreted, and plants and mud give some back; neither is counted, so the drain is the most it can be. Where alkalinity is
/// used up, nitrification stands still, and what is left stays ammonia.
pub fn feed(pond: &mut Pond, nitrogen: f64) -> Moved {
    let left = pond.amounts[solute::ALKALINITY].max(0.0);
    let nitrogen = nitrogen.min(left / CHARGE_PER_NITROGEN);
    let mut amounts = [0.0; SOLUTES];
    amounts[solute::ALKALINITY] = -CHARGE_PER_NITROGEN * nitrogen;
    amounts[solute::NITRATE] = nitrogen;
    dose(pond, &amounts)
}

/// Lime comes down: so many mol/m³.
pub fn lime(pond: &mut Pond, formed: f64) -> Moved {
    let mut amounts = [0.0; SOLUTES];
    amounts[solute::CALCIUM] = -formed * pond.volume;
    amounts[solute::ALKALINITY] = -2.0 * formed * pond.volume;
    dose(pond, &amounts)
}

/// Copper comes from the bars, and alkalinity from the cathode with it.
pub fn copper_release(pond: &mut Pond, released: f64) -> Moved {
    dose(pond, &with_charge(released))
}

/// Copper leaves the water: `rate` a day of what is there. Of what this day released, which came little by little, as much as
/// had time to go; the day's end is that of the exact solution, C(1) = C(0) e^(-k) + R (1 - e^(-k)) / k.
pub fn copper_loss(pond: &mut Pond, released: f64, rate: f64) -> Moved {
    if rate <= 0.0 {
        return Moved::default();
    }
    let share = -libm::expm1(-rate);
    let there = pond.amounts[solute::COPPER] - released;
    let lost = there * share + released * (1.0 - share / rate);
    dose(pond, &with_charge(-lost))
}

/// Copper falls out, as hydroxide: so many mol/m³. What is bound to carbonate in the solid as well is not counted: malachite
/// takes weeks to form.
pub fn copper_solid(pond: &mut Pond, fallen: f64) -> Moved {
    let fallen = (fallen * pond.volume).min(pond.amounts[solute::COPPER]);
    dose(pond, &with_charge(-fallen))
}

/// So much copper, with the alkalinity it carries.
fn with_charge(copper: f64) -> Solutes {
    let mut amounts = [0.0; SOLUTES];
    amounts[solute::COPPER] = copper;
    amounts[solute::ALKALINITY] = CHARGE_PER_COPPER * copper;
    amounts
}

/// One day. Changes `pond` to the evening's.
pub fn day<C: Chemistry, W: Witness>(
    setting: &Setting,
    chemistry: &C,
    sky: &Sky<C::Warmth>,
    care: &Care,
    pond: &mut Pond,
    witness: &mut W,
) -> Evening {
    let basin = &setting.basin;
    let least = LAST * basin.full;
    let surface = basin.surface(pond.volume);
    let mut evening = Evening::default();
    macro_rules! flow {
        ($flow:ident, $act:expr) => {{
            let before = *pond;
            let moved: Moved = $act;
            witness.saw(Flow::$flow, &moved, &before, pond);
            moved.water
        }};
    }
    if sky.rain > 0.0 {
        evening.rain += flow!(Rain, rain(pond, surface, sky.rain, &setting.rain));
        if setting.catchment > 0.0 {
            evening.rain += flow!(Catchment, catchment(pond, setting.catchment, sky.rain, &setting.rain));
        }
    }
    if sky.evaporation > 0.0 {
        evening.evaporation -= flow!(Evaporation, evaporation(pond, surface, sky.evaporation, least));
        if setting.falls > 0.0 {
            evening.evaporation -= flow!(Falls, evaporation(pond, surface, sky.evaporation * setting.falls, least));
        }
    }
    if setting.splash > 0.0 {
        flow!(Splash, draw(pond, setting.splash, least));
    }
    if care.leak > 0.0 {
        flow!(Leak, draw(pond, care.leak, least));
    }
    let brim = care.lowered.map_or(basin.full, |share| share * basin.full);
    if care.lowered.is_some() && pond.volume > brim {
        flow!(DrainDown, draw(pond, pond.volume - brim, least));
    }
    let change = (care.change_share * pond.volume + care.change_volume).min(pond.volume - least);
    if change > 0.0 {
        flow!(ChangeOut, draw(pond, change, least));
        evening.change += flow!(ChangeIn, pour(pond, change, &setting.supply));
    }
    if care.charge != 0.0 || care.dose.iter().any(|amount| *amount != 0.0) {
        let mut amounts = care.dose;
        amounts[solute::ALKALINITY] += care.charge;
        flow!(Dose, dose(pond, &amounts));
    }
    if care.feed > 0.0 {
        flow!(Feed, feed(pond, care.feed));
    }
    if care.top_up && pond.volume < brim {
        evening.top_up += flow!(TopUp, pour(pond, brim - pond.volume, &setting.supply));
    }
    if pond.volume > brim {
        evening.overflow -= flow!(Overflow, draw(pond, pond.volume - brim, least));
    }
    let formed = chemistry.lime(&sky.warmth, &pond.water());
    if formed > 0.0 {
        flow!(Lime, lime(pond, formed));
    }
    let released = setting.copper.efficiency * care.copper;
    if released > 0.0 {
        flow!(CopperRelease, copper_release(pond, released));
    }
    if pond.amounts[solute::COPPER] > 0.0 {
        flow!(CopperLoss, copper_loss(pond, released, setting.copper.rate(sky.celsius)));
        let fallen = chemistry.copper_solid(&sky.warmth, &pond.water());
        if fallen > 0.0 {
            flow!(CopperSolid, copper_solid(pond, fallen));
        }
    }
    evening.volume = pond.volume;
    evening.below_brim = basin.below_brim(pond.volume);
    evening.water = pond.water();
    evening
}

/// The days one after the other from a start. `each` is handed every day's evening, and the witness of that day.
pub fn run<C: Chemistry, W: Witness>(
    setting: &Setting,
    chemistry: &C,
    sky: &[Sky<C::Warmth>],
    care: &[Care],
    start: Pond,
    witness: &mut W,
    mut each: impl FnMut(usize, &Evening, &mut W),
) -> Pond {
    let mut pond = start;
    for (index, (sky, care)) in sky.iter().zip(care).enumerate() {
        let evening = day(setting, chemistry, sky, care, &mut pond, witness);
        each(index, &evening, witness);
    }
    pond
}
