//! Buffer, calcium and salt as one problem: the least that reaches the carbonate hardness aimed at, the calcium that protects and
//! the conductivity at which the panel reaches its level, inside every limit.
//!
//! Carbonate hardness goes to its goal and not beyond: evaporation lifts it from there. Calcium and salt both conduct; of the two the
//! lighter is taken, calcium no further than general hardness and lime allow. Un-ionised ammonia is judged after the buffer, at the
//! pH that is to be expected ([`super::buffer`]): here only pH itself bounds it.

use std::rc::Rc;

use super::{buffer, calcium, chosen, purity, salt};
use crate::chem::figures::{self, Dosed, Reached};
use crate::chem::solution::Water;
use crate::chem::treatment::{self, Bar, Bounds, Goals, Remedy, Stage, Unmet};
use crate::plan::{Desk, WaterPlan, readings};
use crate::reference::chemistry::{Addition, CALCIUM, CHLORIDE, MAGNESIUM};
use crate::reference::{GENERAL_HIGH_DGH, LIME_BORNE, PH_HIGHEST, Purpose, SALT_ROUTINE, Substance};
use crate::units::table::{DEGREE_GH, MICROSIEMENS, weight};
use crate::units::{MassConcentration, Ratio, Si};
use crate::workings::{Figure, Node};

/// What is asked of the water.
#[derive(Default)]
pub(super) struct Asked {
    /// A carbonate hardness.
    pub buffer: Option<buffer::Wanted>,
    /// A calcium; also there where it is reached, so that calcium may serve the conductivity.
    pub calcium: Option<calcium::Wanted>,
    /// A conductivity.
    pub conductivity: Option<salt::Wanted>,
}

/// A substance that may be used.
#[derive(Clone, Debug)]
struct Product {
    row: &'static Substance,
    /// Share of it in the product.
    share: Figure<Ratio>,
    remedy: Remedy,
}

/// The problem, in the units of [`treatment`].
pub(super) struct Problem<'w> {
    ions: &'w WaterPlan,
    base: Water,
    products: Vec<Product>,
    goals: Goals,
    bounds: Bounds,
    inputs: Vec<Rc<Node>>,
}

/// The least that does all that was asked.
#[derive(Clone, Debug)]
pub struct Joint {
    /// What may be used, with the share of it in the product, and how much the water gets: mol/kg.
    pub amounts: Vec<(&'static Substance, f64, f64)>,
    /// g of all products together, per kg of water.
    pub grams: f64,
    /// The water before.
    pub start: Water,
    /// What was asked.
    pub goals: Goals,
    /// What of it was solved for: calcium under its goal where lime asks for that, the highest conductivity where more is out of reach.
    pub met: Goals,
    /// What it may not pass.
    pub bounds: Bounds,
    /// The water after, closed.
    pub closed: Stage,
    /// The same at rest with air.
    pub rest: Stage,
    /// How far the corrected water stands from the goals that it must just reach, as a share.
    pub off: f64,
    /// The conductivity asked for is out of reach; the highest that is not, µS/cm.
    pub short: Option<f64>,
    /// Calcium ends under its goal, because more would come down as lime.
    pub lime_keeps: bool,
    /// The hardness asked for makes lime come down already.
    pub lime_falls: bool,
}

impl Joint {
    /// mol/kg of the substance of a purpose.
    #[must_use]
    pub fn of(&self, purpose: Purpose) -> f64 {
        self.amounts.iter().filter(|(row, ..)| row.purpose == purpose).map(|(.., amount)| amount).sum()
    }
}

/// What is asked, as a problem.
pub(super) fn state<'w>(desk: &Desk<'_>, ions: &'w WaterPlan, base: Water, asked: &Asked) -> Problem<'w> {
    let mut goals = Goals::default();
    let mut inputs = ions.inputs.clone();
    let mut products = Vec::new();
    let mut offer = |purpose: Purpose, default: &str| {
        let (row, own) = chosen(desk, purpose, default);
        if let Some((row, substance)) = row.and_then(|row| Some((row, figures::addition_of(row.id)?))) {
            let share = purity(row, own);
            inputs.push(share.node().clone());
            let remedy = Remedy { substance, purity: share.si() };
            products.push(Product { row, share, remedy });
        }
    };
    let mut nodes = Vec::new();
    if let Some(wanted) = &asked.buffer {
        goals.alkalinity = base.alkalinity + ions.molal(wanted.needed.si());
        nodes.push(wanted.goal.node().clone());
        offer(Purpose::Buffer, "sodium-bicarbonate");
    }
    let needed = asked.calcium.as_ref().map_or(0.0, |wanted| ions.molal(wanted.needed()));
    if let Some(wanted) = &asked.calcium
        && (needed > 0.0 || asked.conductivity.is_some())
    {
        if needed > 0.0 {
            goals.calcium = base.totals[CALCIUM] + needed;
            nodes.push(wanted.goal.node().clone());
        }
        offer(Purpose::Calcium, "calcium-chloride");
    }
    if let Some(wanted) = &asked.conductivity {
        // The meter is right; the ions say what each substance adds to it.
        let rise = MICROSIEMENS.of(wanted.target.si() - wanted.now.si());
        goals.conductivity = base.conductivity_25().map_or(0.0, |now| now + rise);
        nodes.push(wanted.target.node().clone());
        offer(Purpose::Salt, "salt");
    }
    inputs.extend(nodes);
    let hard = base.totals[CALCIUM] + base.totals[MAGNESIUM];
    let salt = ions.molal(SALT_ROUTINE * 1e6 / (1000.0 * (weight::NA + weight::CL)));
    // Where conductivity leaves no room for the general hardness that was read, the ions hold less of it; the kinder of the two counts.
    let read = readings::fresh(desk, |r| r.general_hardness.as_ref()).map_or(0.0, |read| ions.molal(read.value.si()));
    let unseen = (read - ions.composed.water.totals[CALCIUM] - ions.composed.water.totals[MAGNESIUM]).max(0.0);
    let bounds = Bounds {
        alkalinity: goals.alkalinity.max(base.alkalinity),
        // What calcium needs goes before what these two are for.
        hardness: (ions.molal(DEGREE_GH.si(GENERAL_HIGH_DGH)) - unseen).max(hard + needed),
        chloride: salt.max(base.totals[CHLORIDE] + 2.0 * needed),
        ph: PH_HIGHEST,
        unionised: f64::INFINITY,
        lime: LIME_BORNE,
    };
    Problem { ions, base, products, goals, bounds, inputs }
}

/// Solves it; `None` where nothing is asked, where a bound on pH stands in the way, or the chemistry refuses.
pub(super) fn solve(problem: &Problem<'_>) -> Option<Joint> {
    if problem.products.is_empty() {
        return None;
    }
    let remedies: Vec<Remedy> = problem.products.iter().map(|p| p.remedy).collect();
    let (mut goals, mut bounds) = (problem.goals, problem.bounds);
    let (mut short, mut lime_keeps, mut lime_falls) = (None, false, false);
    // Each round gives up one thing at most, so there are few.
    for _ in 0..4 {
        match treatment::correct(&problem.base, &remedies, &goals, &bounds) {
            Ok(found) => {
                let off = off(&found.closed, &goals, &found.amounts, &problem.products);
                let amounts = problem.products.iter().zip(&found.amounts);
                return Some(Joint {
                    amounts: amounts.map(|(p, amount)| (p.row, p.remedy.purity, *amount)).collect(),
                    grams: found.grams,
                    start: problem.base,
                    goals: problem.goals,
                    met: goals,
                    bounds: problem.bounds,
                    closed: found.closed,
                    rest: found.rest,
                    off,
                    short,
                    lime_keeps,
                    lime_falls,
                });
            }
            Err(Unmet::Conductivity { highest }) if short.is_none() => {
                goals.conductivity = highest * (1.0 - 1e-6);
                short = Some(highest);
            }
            Err(Unmet::Barred { by: Bar::Lime }) if goals.calcium > 0.0 && !lime_keeps => {
                goals.calcium = kept(problem, &remedies, goals.calcium, &bounds).unwrap_or(0.0);
                lime_keeps = true;
            }
            Err(Unmet::Barred { by: Bar::Lime }) if !lime_falls => {
                bounds.lime = f64::INFINITY;
                bounds.hardness = problem.base.totals[CALCIUM] + problem.base.totals[MAGNESIUM];
                lime_falls = true;
            }
            Err(_) => return None,
        }
    }
    None
}

/// The most calcium up to a goal that stays dissolved beside the hardness asked for, with a thousandth in hand; `None` where none may
/// be added.
fn kept(problem: &Problem<'_>, remedies: &[Remedy], goal: f64, bounds: &Bounds) -> Option<f64> {
    let stays = |calcium: f64| {
        let goals = Goals { calcium, conductivity: 0.0, ..problem.goals };
        treatment::correct(&problem.base, remedies, &goals, bounds).is_ok()
    };
    let (mut low, mut high) = (problem.base.totals[CALCIUM], goal);
    if !stays(low) {
        return None;
    }
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if stays(middle) { low = middle } else { high = middle }
    }
    let added = low - problem.base.totals[CALCIUM];
    (added > 1e-6).then_some(problem.base.totals[CALCIUM] + 0.999 * added)
}

/// How far the water stands from the goals that bind it.
fn off(closed: &Stage, goals: &Goals, amounts: &[f64], products: &[Product]) -> f64 {
    let used = |purpose| amounts.iter().zip(products).any(|(x, p)| p.row.purpose == purpose && *x > 1e-9);
    let share = |value: f64, goal: f64| if goal > 0.0 { (value / goal - 1.0).abs() } else { 0.0 };
    let mut worst = if used(Purpose::Buffer) { share(closed.water.alkalinity, goals.alkalinity) } else { 0.0 };
    if used(Purpose::Salt) {
        worst = f64::max(worst, share(closed.conductivity_25, goals.conductivity));
    } else if used(Purpose::Calcium) && goals.conductivity == 0.0 {
        worst = f64::max(worst, share(closed.water.totals[CALCIUM], goals.calcium));
    }
    worst
}

impl Problem<'_> {
    /// The product of a purpose.
    pub fn product(&self, purpose: Purpose) -> Option<Remedy> {
        self.products.iter().find(|p| p.row.purpose == purpose).map(|p| p.remedy)
    }

    /// The share of the substance in the product of a purpose.
    pub fn share(&self, purpose: Purpose) -> Option<Figure<Ratio>> {
        self.products.iter().find(|p| p.row.purpose == purpose).map(|p| p.share.clone())
    }

    /// The most chloride that the water may hold.
    pub fn most_chloride(&self) -> f64 {
        self.bounds.chloride
    }

    /// A water of other readings, with the buffer that brings it to the same carbonate hardness and the calcium that brings it as far as
    /// this answer does.
    pub fn without_salt(&self, answer: &Joint, start: &Water) -> Water {
        let mut water = *start;
        for product in &self.products {
            let amount = match product.row.purpose {
                Purpose::Buffer => water.dose_to_alkalinity(product.remedy.substance, self.goals.alkalinity),
                Purpose::Calcium => {
                    let end = answer.closed.water.totals[CALCIUM];
                    let goes = answer.of(Purpose::Calcium) > 0.0;
                    goes.then(|| water.dose_to_calcium(product.remedy.substance, end)).flatten()
                }
                _ => None,
            };
            water = water.with(product.remedy.substance, amount.unwrap_or(0.0));
        }
        water
    }

    /// The line of a product in the answer: how much a litre of pond needs; `None` for nothing.
    pub fn line(&self, answer: &Joint, purpose: Purpose) -> Option<Figure<MassConcentration>> {
        let names = match purpose {
            Purpose::Buffer => ["joint.buffer", "Buffer that the water needs", "c_buffer"],
            Purpose::Calcium => ["joint.calcium", "Calcium chloride that the water needs", "c_CaCl₂"],
            _ => ["joint.salt", "Salt that the water needs", "c_salt"],
        };
        let amount = answer.of(purpose);
        let product = self.products.iter().find(|p| p.row.purpose == purpose).filter(|_| amount > 1e-9)?;
        let value = MassConcentration::from_si(amount * product.remedy.weight() * self.ions.density);
        let dosed =
            Dosed { substance: product.remedy.substance, purity: product.share.clone(), density: self.ions.density };
        let reached = self.reached(answer, product.remedy.substance, amount);
        let solution = (answer.off, &answer.closed.state);
        let line = figures::least(names, value, solution, (&dosed, &reached), self.inputs.clone());
        Some(line.remark(TOGETHER))
    }

    /// What so many mol/kg of a substance may just reach, in the order of what they are for; last what lime leaves room for, which is
    /// found by halving.
    fn reached(&self, answer: &Joint, substance: &'static Addition, amount: f64) -> Vec<(Reached, &'static str)> {
        let (after, met, bounds) = (&answer.closed.water, &answer.met, &answer.bounds);
        let brings = |wanted: &[usize]| -> f64 {
            substance.ions.iter().filter(|(ion, _)| wanted.contains(ion)).map(|(_, count)| count).sum()
        };
        let holds = |wanted: &[usize]| -> f64 { wanted.iter().filter_map(|ion| after.totals.get(*ion)).sum() };
        let sum = |of: (&'static str, &'static str), each: f64, has: f64, mark: f64| {
            (each > 0.0 && mark > 0.0 && mark.is_finite()).then_some(Reached::Sum {
                of,
                each,
                without: has - each * amount,
                mark,
            })
        };
        let conductivity = || {
            let state = Box::new(after.at(25.0).closed().ok()?);
            (met.conductivity > 0.0).then_some(Reached::Conductivity { mark: met.conductivity, state })
        };
        const CA: (&str, &str) = ("Ca", "calcium");
        let (hard, salt) = ([CALCIUM, MAGNESIUM], [CHLORIDE]);
        let calcium = |mark: f64| sum(CA, brings(&[CALCIUM]), holds(&[CALCIUM]), mark);
        let lime = if answer.lime_keeps {
            "calcium that stays dissolved, with a thousandth in hand"
        } else {
            "the goal for calcium, which it just reaches"
        };
        // What an amount may not pass comes before conductivity: that is reached by all products together, whoever was stopped.
        [
            (
                sum(("K", "alkalinity"), substance.alkalinity, after.alkalinity, met.alkalinity),
                "the goal for carbonate hardness, which it just reaches",
            ),
            (calcium(met.calcium), lime),
            (
                sum(("G", "calcium and magnesium"), brings(&hard), holds(&hard), bounds.hardness),
                "the high end of general hardness, which it may not pass",
            ),
            (
                sum(("Cl", "chloride"), brings(&salt), holds(&salt), bounds.chloride),
                "the most chloride that the water may hold",
            ),
            (conductivity(), "the conductivity that is wanted, which all products together just reach"),
            (calcium(holds(&[CALCIUM])), "the calcium at which lime would begin to come down, found by halving"),
        ]
        .into_iter()
        .filter_map(|(reached, words)| Some((reached?, words)))
        .collect()
    }
}

const TOGETHER: &str = "Buffer, calcium and salt are found together: each conducts, so that one needs less of another";

/// Publishes the lines of the answer.
pub(super) fn lines(desk: &mut Desk<'_>, problem: &Problem<'_>, answer: &Joint) {
    for purpose in [Purpose::Buffer, Purpose::Calcium, Purpose::Salt] {
        if let Some(line) = problem.line(answer, purpose) {
            desk.book.publish(line);
        }
    }
}
