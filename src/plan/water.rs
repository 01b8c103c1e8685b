//! The water of the latest readings as its ions: what doses act on.
//!
//! Readings that cannot be of one water are said, with the one to test again; the plan then goes on without that reading
//! where it can, and without a composition where it cannot.

use std::rc::Rc;

use super::{Assumption, Desk, Missing, kinder, readings, rounding};
use crate::chem::activity::density;
use crate::chem::composition::{self, Composed, Disagreement, Trouble};
use crate::chem::solution::{Chlorine, Water};
use crate::chem::treatment::Steps;
use crate::chem::{ammonia, figures};
use crate::diag::{Diagnostic, Span};
use crate::reference::Substance;
use crate::reference::chemistry::COPPER;
use crate::site::{Reading, Readings};
use crate::units::table::weight::{CL, CU, N, NA, O, S};
use crate::units::table::{CALCIUM_MG, CELSIUS, DEGREE_GH, DEGREE_KH, KELVIN_DIFFERENCE, MICROSIEMENS, ONE, PERCENT};
use crate::units::{
    Calcium, CarbonateHardness, Conductivity, Digits, GeneralHardness, MassConcentration, Ratio, Si,
    ThermodynamicTemperature, Unit, plain,
};
use crate::workings::{Expr, Figure, Node};

/// What the water is, by calculation.
#[derive(Clone, Debug)]
pub struct WaterPlan {
    /// Its ions and species.
    pub composed: Composed,
    /// The readings it was composed from.
    pub read: composition::Readings,
    /// kg of water in a litre.
    pub density: f64,
    /// Readings behind it, for the lines of what is found from it.
    pub inputs: Vec<Rc<Node>>,
    /// Conductivity of the ions that were read, at 25 °C, before salt was assumed for the rest.
    pub ions: Option<Figure<Conductivity>>,
    /// How far that lies from the meter.
    pub misfit: Option<Figure<Ratio>>,
    /// Saturation index of lime.
    pub lime: Option<Figure<Ratio>>,
    /// Share of the copper that is free, at most.
    pub free_copper: Option<Figure<Ratio>>,
    /// Two readings that cannot be of one water, and the one that was left out, in words.
    pub disagreement: Option<(String, &'static str)>,
}

impl WaterPlan {
    /// mol/kg for so many mol/m³ in the pond.
    pub fn molal(&self, per_cubic_metre: f64) -> f64 {
        molal(per_cubic_metre, self.density)
    }

    /// The water with so many mol/m³ of a substance of the site file; as it is where that brings no ions.
    pub fn dosed(&self, water: &Water, substance: &str, per_cubic_metre: f64) -> Water {
        figures::addition_of(substance).map_or(*water, |a| water.with(a, self.molal(per_cubic_metre)))
    }

    /// mol/m³ in the pond for so many mol/kg.
    pub fn per_cubic_metre(&self, molal: f64) -> f64 {
        molal * 1000.0 * self.density
    }
}

/// mol/kg for so many mol/m³.
fn molal(per_cubic_metre: f64, density: f64) -> f64 {
    per_cubic_metre / (1000.0 * density)
}

/// kg/mol.
fn kilograms(weight: f64) -> f64 {
    weight / 1000.0
}

/// Composes the pond's water; `None` without carbonate hardness, pH or temperature, or where they cannot be of one water.
pub fn find(desk: &mut Desk<'_>) -> Option<WaterPlan> {
    let warmth = readings::fresh(desk, |r| r.temperature.as_ref())?;
    let hardness = readings::fresh(desk, |r| r.carbonate_hardness.as_ref())?;
    let (ph, _) = readings::worst_ph(desk)?;
    let mut inputs = vec![
        kinder::leaf(desk, hardness, "K", "carbonate hardness of the pond, as read", &DEGREE_KH).node().clone(),
        ph.node().clone(),
        ammonia::absolute(&kinder::temperature(desk, warmth)).node().clone(),
    ];
    let celsius = CELSIUS.of(warmth.value.si());
    let general = readings::fresh(desk, |r| r.general_hardness.as_ref()).filter(|r| !r.less_than);
    let calcium = readings::fresh(desk, |r| r.calcium.as_ref()).filter(|r| !r.less_than);
    let conductivity = readings::fresh(desk, |r| r.conductivity.as_ref()).filter(|r| !r.less_than);
    if let Some(read) = general {
        inputs.push(kinder::leaf(desk, read, "G", "general hardness, as read", &DEGREE_GH).node().clone());
    }
    if let Some(read) = calcium {
        inputs.push(kinder::leaf(desk, read, "Ca", "calcium, as read", &CALCIUM_MG).node().clone());
    }
    let density = density(celsius);
    let molal = |per_cubic_metre: f64| molal(per_cubic_metre, density);
    let mut read = composition::Readings {
        celsius,
        ph: ph.si(),
        alkalinity: molal(hardness.value.si()),
        general_hardness: general.map(|r| molal(r.value.si())),
        calcium: calcium.map(|r| molal(r.value.si())),
        conductivity: conductivity.map(|r| MICROSIEMENS.of(r.value.si())),
        ..others(desk, molal)
    };
    if read.general_hardness.is_none() && read.calcium.is_none() {
        desk.assume(Assumption::new(
            "General hardness, for the chemistry of the doses",
            "as high as carbonate hardness",
            "a general-hardness test",
            "common practice",
        ));
        read.general_hardness = Some(0.5 * read.alkalinity);
    }
    let mut disagreement = None;
    let composed = match composition::compose(&read) {
        Ok(composed) => composed,
        Err(Trouble::Disagree(found)) => {
            disagreement = Some((found.to_string(), found.again.words()));
            complain(desk, &found);
            without(&mut read, found.again)?;
            composition::compose(&read).ok()?
        }
        Err(_) => return None,
    };
    for closure in &composed.closures {
        let (words, instead) = closure.words(density);
        let (what, value) = words.split_once(": ").unwrap_or((&words, ""));
        desk.assume(Assumption::new(&format!("In the water, {what}"), value, instead, "charge and conductivity"));
    }
    let mut plan = WaterPlan {
        composed,
        read,
        density,
        inputs,
        ions: None,
        misfit: None,
        lime: None,
        free_copper: None,
        disagreement,
    };
    lines(desk, &mut plan, conductivity.filter(|_| read.conductivity.is_some()));
    Some(plan)
}

/// The supply as its ions, and the chlorine in it.
#[derive(Clone, Debug)]
pub struct SupplyIons {
    /// Its ions, before any treatment.
    pub water: Water,
    /// Its chlorine; none where it was not tested.
    pub chlorine: Chlorine,
    /// Readings behind it.
    pub inputs: Vec<Rc<Node>>,
}

/// The supply's ions, as warm as `celsius` where no temperature was read; `None` where its readings do not tell them.
pub fn supply(desk: &Desk<'_>, celsius: f64) -> Option<SupplyIons> {
    let supply = &desk.site.supply.readings;
    let hardness = supply.carbonate_hardness.as_ref()?;
    let ph = supply.ph_morning.as_ref().or(supply.ph_afternoon.as_ref())?;
    let celsius = supply.temperature.as_ref().map_or(celsius, |t| CELSIUS.of(t.value.si()));
    let density = density(celsius);
    let hard = |si: f64| molal(si, density);
    let mass = |reading: &Option<Reading<MassConcentration>>, weight: f64| {
        reading.as_ref().filter(|r| !r.less_than).map(|r| hard(r.value.si() / kilograms(weight)))
    };
    let read = composition::Readings {
        celsius,
        ph: ph.value.si(),
        alkalinity: hard(hardness.value.si()),
        general_hardness: supply.general_hardness.as_ref().map(|r| hard(r.value.si())),
        calcium: supply.calcium.as_ref().map(|r| hard(r.value.si())),
        conductivity: supply.conductivity.as_ref().map(|r| MICROSIEMENS.of(r.value.si())),
        chloride: mass(&supply.chloride, CL),
        sulfate: mass(&supply.sulfate, S + 4.0 * O),
        nitrate: supply.nitrate.as_ref().map(|r| hard(r.value.si() / kilograms(N + 3.0 * O))),
        copper: mass(&supply.total_copper, CU),
    };
    // A laboratory's anions may not fit the kits' cations: then they are left out and closed by the rules.
    let bare = composition::Readings { chloride: None, sulfate: None, nitrate: None, ..read };
    let water = composition::compose(&read).or_else(|_| composition::compose(&bare)).ok()?.water;
    let total = mass(&supply.total_chlorine, 2.0 * CL).unwrap_or(0.0);
    let free = mass(&supply.free_chlorine, 2.0 * CL).unwrap_or(0.0).min(total);
    let inputs = vec![
        kinder::leaf(desk, hardness, "K_supply", "carbonate hardness of the supply", &DEGREE_KH).node().clone(),
        kinder::leaf(desk, ph, "pH_supply", "pH of the supply", &ONE).node().clone(),
    ];
    Some(SupplyIons { water, chlorine: Chlorine { free, combined: total - free }, inputs })
}

/// What a buffer that brings so much carbonate hardness adds to the conductivity of the supply; `None` where the supply's
/// readings do not tell its ions.
pub fn supply_lift(
    desk: &Desk<'_>,
    rise: &Figure<CarbonateHardness>,
    buffer: &'static Substance,
    names: [&str; 3],
) -> Option<Figure<Conductivity>> {
    /// A tap's water, °C, where none was read: between winter and summer mains. Its conductivity is that at 25 °C in any case.
    const TAP: f64 = 12.0;
    let SupplyIons { water, inputs, .. } = supply(desk, TAP)?;
    let dosed = water.with(figures::addition_of(buffer.id)?, molal(rise.si() / buffer.charge, density(water.celsius)));
    let inputs = inputs.into_iter().chain([rise.node().clone()]).collect();
    figures::conductivity_gained(names, &water, &dosed, inputs).ok()
}

/// How far each reading of the pond may lie from what was read, by its kit's step, and that in words.
#[derive(Clone, Debug)]
pub struct Resolution {
    /// Below and above, in the units of [`composition::Readings`].
    pub steps: Steps,
    /// In words, for the lines that rest on it.
    pub words: String,
}

/// What the kits leave open of the readings behind `ions` (Decisions): a drop count stands for a step less at most, other kits
/// for half a step either way. A kit that the site file does not name has the step that is common in the trade.
pub fn resolution(desk: &mut Desk<'_>, ions: &WaterPlan) -> Resolution {
    let mut words: Vec<String> = Vec::new();
    let mut assumed: Vec<String> = Vec::new();
    // The step in SI, whether drops are counted; `usual` where no kit is named, with its words.
    let mut open = |name: &str, usual: (f64, bool), unit: &Unit, there: bool| -> (f64, f64) {
        if !there {
            return (0.0, 0.0);
        }
        let known = kinder::kit(desk, name).and_then(|k| k.step.map(|step| (step, k.drops)));
        let (step, drops) = known.unwrap_or(usual);
        if step <= 0.0 {
            return (0.0, 0.0);
        }
        let number = rounding::trim(plain(step / unit.size, Digits::Significant(3)));
        let said = rounding::with_unit(&number, unit.symbol);
        let how = if drops { format!("{name} {said} less") } else { format!("{name} half of {said} either way") };
        words.push(how);
        if known.is_none() {
            assumed.push(format!("{name} {said}{}", if drops { ", drop count" } else { "" }));
        }
        if drops { (step, 0.0) } else { (0.5 * step, 0.5 * step) }
    };
    let read = &ions.read;
    let si = |(below, above): (f64, f64)| (ions.molal(below), ions.molal(above));
    let meter = read.conductivity.unwrap_or(0.0);
    let steps = Steps {
        celsius: open("temperature", (0.5, false), &KELVIN_DIFFERENCE, true),
        ph: {
            let hour = if kinder::kit(desk, "ph afternoon").is_some() { "ph afternoon" } else { "ph morning" };
            open(hour, (0.1, false), &ONE, true)
        },
        alkalinity: si(open("carbonate hardness", (DEGREE_KH.size, true), &DEGREE_KH, true)),
        general_hardness: si(open(
            "general hardness",
            (DEGREE_GH.size, true),
            &DEGREE_GH,
            read.general_hardness.is_some(),
        )),
        // A calcium kit that is not named is taken as read, and that is listed elsewhere.
        calcium: si(open("calcium", (0.0, true), &CALCIUM_MG, read.calcium.is_some())),
        conductivity: {
            // Two parts in a hundred, one either way: a good pocket meter.
            let (below, above) = open(
                "conductivity",
                (MICROSIEMENS.si(0.02 * meter), false),
                &MICROSIEMENS,
                read.conductivity.is_some(),
            );
            (MICROSIEMENS.of(below), MICROSIEMENS.of(above))
        },
        ..Steps::default()
    };
    if !assumed.is_empty() {
        desk.assume(Assumption::new(
            "Steps of the other kits",
            &assumed.join("; "),
            "each kit's own step, in the site file",
            "common practice",
        ));
    }
    Resolution { steps, words: format!("What the kits leave open: {}", words.join(", ")) }
}

/// Where an end of a range lies, as it stands behind a line.
const AT_END: &str = "at an end of its kit's step";

/// Readings at an end of what their kits leave open, in place of those that were read: inputs of what is found from them.
pub fn at_end(ions: &WaterPlan, end: &composition::Readings) -> Vec<Rc<Node>> {
    let read = &ions.read;
    fn leaf<Q: Si>(value: f64, symbol: &str, title: &str, unit: &'static Unit) -> Rc<Node> {
        Figure::stated(Q::from_si(value), &format!("{symbol}_end"), title, unit, AT_END).node().clone()
    }
    let moved = |node: &Rc<Node>| -> Option<Rc<Node>> {
        let symbol = match (&node.name, &node.expr) {
            (None, Expr::Leaf { symbol, .. }) => symbol.as_str(),
            (Some(_), _) => "T",
            _ => "",
        };
        let both = |a: Option<f64>, b: Option<f64>| b.filter(|_| a != b);
        match symbol {
            "T" if end.celsius != read.celsius => {
                Some(leaf::<ThermodynamicTemperature>(CELSIUS.si(end.celsius), "θ", "water temperature", &CELSIUS))
            }
            "pH" => ph_at_end(ions, end).filter(|_| end.ph != read.ph).map(|ph| ph.node().clone()),
            "K" if end.alkalinity != read.alkalinity => Some(leaf::<CarbonateHardness>(
                ions.per_cubic_metre(end.alkalinity),
                "K",
                "carbonate hardness",
                &DEGREE_KH,
            )),
            "G" => both(read.general_hardness, end.general_hardness)
                .map(|v| leaf::<GeneralHardness>(ions.per_cubic_metre(v), "G", "general hardness", &DEGREE_GH)),
            "Ca" => both(read.calcium, end.calcium)
                .map(|v| leaf::<Calcium>(ions.per_cubic_metre(v), "Ca", "calcium", &CALCIUM_MG)),
            "κ" => both(read.conductivity, end.conductivity)
                .map(|v| leaf::<Conductivity>(MICROSIEMENS.si(v), "κ", "conductivity", &MICROSIEMENS)),
            _ => None,
        }
    };
    ions.inputs.iter().map(|node| moved(node).unwrap_or_else(|| node.clone())).collect()
}

/// The pH that was read, or the end of its step that it was moved to.
pub fn ph_at_end(ions: &WaterPlan, end: &composition::Readings) -> Option<Figure<Ratio>> {
    if end.ph == ions.read.ph {
        let Expr::Leaf { symbol, title, unit, source } = &ions.inputs.iter().find(|node| is_ph(node))?.expr else {
            return None;
        };
        return Some(Figure::leaf(Ratio::from_si(end.ph), symbol, title, unit, source.clone()));
    }
    Some(Figure::stated(Ratio::from_si(end.ph), "pH_end", "pH", &ONE, AT_END))
}

/// Ions that a contractor measures now and then.
fn others(desk: &Desk<'_>, molal: impl Fn(f64) -> f64) -> composition::Readings {
    let mass = |pick: fn(&Readings) -> Option<&Reading<MassConcentration>>, weight: f64| {
        let read = readings::fresh(desk, pick).filter(|r| !r.less_than)?;
        Some(molal(read.value.si() / kilograms(weight)))
    };
    let nitrate = readings::fresh(desk, |r| r.nitrate.as_ref()).filter(|r| !r.less_than);
    composition::Readings {
        celsius: 0.0,
        ph: 0.0,
        alkalinity: 0.0,
        general_hardness: None,
        calcium: None,
        conductivity: None,
        chloride: mass(|r| r.chloride.as_ref(), CL).or_else(|| mass(|r| r.salt.as_ref(), NA + CL)),
        sulfate: mass(|r| r.sulfate.as_ref(), S + 4.0 * O),
        nitrate: nitrate.map(|r| molal(r.value.si() / kilograms(N + 3.0 * O))),
        copper: mass(|r| r.total_copper.as_ref().or(r.dissolved_copper.as_ref()), CU),
    }
}

/// Takes a reading out; `None` where nothing can be said without it.
fn without(read: &mut composition::Readings, again: composition::Reading) -> Option<()> {
    use composition::Reading as R;
    let place = match again {
        R::CarbonateHardness | R::Ph => return None,
        R::GeneralHardness => &mut read.general_hardness,
        R::Calcium => &mut read.calcium,
        R::Conductivity => &mut read.conductivity,
        R::Chloride => &mut read.chloride,
        R::Sulfate => &mut read.sulfate,
        R::Nitrate => &mut read.nitrate,
    };
    *place = None;
    if read.general_hardness.is_none() && read.calcium.is_none() {
        read.general_hardness = Some(0.5 * read.alkalinity);
    }
    Some(())
}

/// Says which two readings disagree, at the one to test again.
fn complain(desk: &mut Desk<'_>, found: &Disagreement) {
    let again = found.again.words();
    let span = span_of(desk, found.again);
    desk.complaints.push(
        Diagnostic::warning("readings-disagree", span, found.to_string())
            .label("test this again first")
            .why(
                "doses, pH and conductivity are computed from one water; a reading that is not of it leads them astray",
            )
            .hint(format!("test {again} again, then correct the log; until then the plan goes on without it")),
    );
    desk.miss(Missing::new(&format!("{again}, again"), &format!("{found}: test {again} again first")));
}

fn span_of(desk: &Desk<'_>, reading: composition::Reading) -> Option<Span> {
    use composition::Reading as R;
    fn place<T>(reading: Option<&Reading<T>>) -> Option<Span> {
        reading.map(|r| r.span)
    }
    match reading {
        R::CarbonateHardness => place(readings::fresh(desk, |r| r.carbonate_hardness.as_ref())),
        R::GeneralHardness => place(readings::fresh(desk, |r| r.general_hardness.as_ref())),
        R::Calcium => place(readings::fresh(desk, |r| r.calcium.as_ref())),
        R::Conductivity => place(readings::fresh(desk, |r| r.conductivity.as_ref())),
        R::Chloride => place(readings::fresh(desk, |r| r.chloride.as_ref().or(r.salt.as_ref()))),
        R::Sulfate => place(readings::fresh(desk, |r| r.sulfate.as_ref())),
        R::Nitrate => place(readings::fresh(desk, |r| r.nitrate.as_ref())),
        R::Ph => place(readings::fresh(desk, |r| r.ph_afternoon.as_ref().or(r.ph_morning.as_ref()))),
    }
}

/// The lines of what the water is.
fn lines(desk: &mut Desk<'_>, plan: &mut WaterPlan, meter: Option<&Reading<Conductivity>>) {
    let names = ["water.conductivity", "Conductivity of the ions that were read, at 25 °C", "κ_ions"];
    let value = Conductivity::from_si(MICROSIEMENS.si(plan.composed.conductivity_read));
    let state = &plan.composed.state;
    if let Some(meter) = meter {
        let ions = figures::conductivity(names, value, &plan.composed.conducting, plan.inputs.clone());
        let read = kinder::leaf(desk, meter, "κ", "conductivity, as read", &MICROSIEMENS);
        let misfit = ((&ions - &read) / &read).meaning::<Ratio>().named(
            "water.misfit",
            "How far the ions lie from the meter",
            "e_κ",
            &PERCENT,
        );
        plan.inputs.push(read.node().clone());
        plan.ions = Some(desk.book.publish(ions));
        plan.misfit = Some(desk.book.publish(misfit));
    }
    let lime = figures::lime(["water.lime", "Saturation index of lime", "SI"], state, plan.inputs.clone());
    plan.lime = lime.map(|f| desk.book.publish(f));
    let free = ["water.free-copper", "Free share of the copper, at most", "f_Cu"];
    // The share hardly moves with how much copper there is: a trace tells it for a water without. It is highest at the lowest pH.
    let water = &plan.composed.water;
    let mut totals = water.totals;
    totals[COPPER] = totals[COPPER].max(TRACE);
    let Some(ph) = readings::lowest_ph(desk) else { return };
    if let Ok((_, state)) = Water::of_ph(water.celsius, totals, water.alkalinity, ph.si()) {
        let inputs = plan.inputs.iter().map(|n| if is_ph(n) { ph.node() } else { n }).cloned().collect();
        plan.free_copper = figures::free_copper(free, &state, inputs).map(|f| desk.book.publish(f));
    }
}

fn is_ph(node: &Node) -> bool {
    matches!(&node.expr, Expr::Leaf { symbol, .. } if symbol == "pH")
}

/// Copper to look at the forms with where none was read, mol/kg: about 20 µg/L.
pub const TRACE: f64 = 3e-7;
