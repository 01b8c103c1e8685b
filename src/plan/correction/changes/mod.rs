//! Water changes: how many and how large, what makes the new water fit, and what they do to the pond; and those of first aid.

mod copper;

use std::rc::Rc;

use chrono::NaiveDate;

pub use self::copper::{for_copper, for_watch};
use super::course::Move;
use super::{Correction, buffer, chosen, course, day, scale, stock};
use crate::chem::solution::{AIR, Water};
use crate::chem::treatment::Stage;
use crate::chem::{ammonia, chlorine, figures};
use crate::plan::{
    Assumption, Desk, Emergency, FirstAid, Missing, VolumePlan, WaterPlan, kinder, readings, rounding, water,
};
use crate::reference::chemistry::agent;
use crate::reference::{
    AMMONIA_LIMIT, AMMONIA_PER_NITROGEN, ATOMIC_WEIGHTS, CHANGE_SHARE, CHANGE_SHARE_DAY, CREEP_GOAL_DKH, PH_STEP,
    PH_STEP_LIMIT, POND_TARGETS, Purpose, THIOSULFATE_PER_CHLORINE, UNIONISED_LIMIT, WINDOW_LOW_DKH,
};
use crate::units::table::{
    AMMONIA_N, CALCIUM_MG, CELSIUS, DEGREE_GH, DEGREE_KH, GRAM, HOUR, LITRE, MICROSIEMENS, MILLIGRAMS, ONE, PERCENT,
};
use crate::units::{
    AmmoniaNitrogen, CarbonateHardness, Conductivity, Mass, MassConcentration, Ph, Ratio, Si, ThermodynamicTemperature,
    Time, Volume,
};
use crate::workings::{Figure, Node, Way};

/// Why water is changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeReason {
    /// Hardness crept up.
    Hardness,
    /// Copper is at stop or over.
    Copper,
}

/// Equal water changes.
#[derive(Clone, Debug)]
pub struct ChangePlan {
    /// Why.
    pub reason: ChangeReason,
    /// How many.
    pub count: Figure<Ratio>,
    /// Share of one.
    pub share: Figure<Ratio>,
    /// Volume of one, as printed.
    pub volume: Figure<Volume>,
    /// The same by one flow-through.
    pub through: Figure<Volume>,
    /// Time at the hose for one.
    pub time: Option<Figure<Time>>,
    /// Neutraliser for one, as printed.
    pub thiosulfate: Option<Figure<Mass>>,
    /// Buffer for the new water of one, where the supply is softer than the window.
    pub buffer: Option<Figure<Mass>>,
    /// Total ammonia must test at or under this before each change.
    pub ammonia_gate: Option<Figure<AmmoniaNitrogen>>,
    /// The owner's ammonia kit steps wider than that.
    pub gate_too_fine: bool,
    /// Carbonate hardness after the last, where that is known.
    pub hardness_after: Option<Figure<CarbonateHardness>>,
    /// Copper after the last.
    pub copper_after: Option<Figure<MassConcentration>>,
    /// Days, one change each.
    pub days: Vec<NaiveDate>,
    /// Highest share of the pond that one change may be, had it the low volume: for the check.
    pub limit: Figure<Ratio>,
    /// What the changes do to the water, where the ions of pond and supply are known.
    pub followed: Option<Followed>,
}

/// What changes of water do, by calculation. New water is counted as treated, with its buffer, and as warm as it was read (as the pond
/// where it was not: it is matched).
#[derive(Clone, Debug)]
pub struct Followed {
    /// The pond after the last change at the low volume, closed.
    pub left: Water,
    /// pH right after one change, at the hour of the highest.
    pub ph: Figure<Ph>,
    /// Largest change of pH by one change, closed and at rest with air.
    pub ph_shift: Figure<Ph>,
    /// That is more than a day may bring.
    pub too_far: bool,
    /// The changes are smaller than they might be, so that it is not.
    pub smaller: bool,
    /// Temperature after one change, where the supply's was read.
    pub temperature: Option<Figure<ThermodynamicTemperature>>,
    /// Un-ionised ammonia after one change, at today's reading.
    pub unionised: Option<Figure<MassConcentration>>,
    /// Saturation index of lime after the last.
    pub lime: Option<Figure<Ratio>>,
    /// Conductivity after the last.
    pub conductivity: Option<Figure<Conductivity>>,
}

/// Which change of water a line belongs to, as a subscript: of the lines of one kind, each has its own symbol.
pub(super) fn which(id: &str) -> String {
    if let Some(steps) = id.strip_prefix("year.least-") {
        let steps: String = steps.chars().take_while(char::is_ascii_digit).collect();
        format!("least{steps}")
    } else if id.contains("quarter") {
        "quarter".to_owned()
    } else if id.starts_with("emergency") || id == "change" {
        "poison".to_owned()
    } else {
        "change".to_owned()
    }
}

/// Total chlorine of the supply, measured or, for mains, assumed out loud.
fn chlorine_of(desk: &mut Desk<'_>) -> Option<Figure<MassConcentration>> {
    let site = desk.site;
    match (&site.supply.readings.total_chlorine, site.supply.kind) {
        (Some(reading), _) if reading.value.si() > 0.0 => {
            Some(kinder::leaf(desk, reading, "Cl", "total chlorine of the supply", &MILLIGRAMS))
        }
        (Some(_), _) => None,
        (None, crate::site::SupplyKind::Mains) => {
            desk.assume(Assumption::new(
                "Total chlorine of the supply",
                "4.0\u{a0}mg/L, the highest a US utility may send",
                "a total-chlorine test at the tap",
                "COMAR 26.04.01.23 (T-33)",
            ));
            Some(Figure::stated(
                MassConcentration::from_si(4e-3),
                "Cl",
                "total chlorine of the supply",
                &MILLIGRAMS,
                "assumed, T-33",
            ))
        }
        (None, _) => None,
    }
}

/// Neutraliser for a volume of supply, as printed; `None` for a supply without chlorine.
pub(in crate::plan) fn neutraliser(desk: &mut Desk<'_>, id: &str, volume: &Figure<Volume>) -> Option<Figure<Mass>> {
    let total = chlorine_of(desk)?;
    let (_, own) = chosen(desk, Purpose::Dechlorinator, "sodium-thiosulfate");
    let exact = match own {
        Some((value, place)) => {
            let purity: Figure<Ratio> =
                Figure::stated(value, "q(Na₂S₂O₃)", "share of sodium thiosulfate in the product", &PERCENT, &place);
            chlorine::thiosulfate(volume, &total) / purity
        }
        None => chlorine::thiosulfate(volume, &total),
    };
    let symbol = format!("m_Cl,{}", which(id));
    let exact = exact.named(format!("{id}.exact"), "Sodium thiosulfate", &symbol, &GRAM);
    let printed = rounding::dose_up(&exact, desk.system, scale(desk));
    let words = rounding::mass_words(printed.value(), desk.system, Way::Up);
    let printed = printed
        .named(id, "Sodium thiosulfate, as printed", &format!("{symbol},print"), &GRAM)
        .remark(format!("Printed as {words}: rounded up"));
    stock(desk, id, &printed);
    Some(desk.book.publish(printed))
}

pub(in crate::plan) fn hose_time(desk: &mut Desk<'_>, id: &str, volume: &Figure<Volume>) -> Option<Figure<Time>> {
    let hose = desk.site.hose.clone();
    let Some(hose) = hose else {
        desk.miss(Missing::new("flow of the hose", "a bucket of known size and a watch"));
        return None;
    };
    if hose.value.si() <= 0.0 {
        return None;
    }
    let flow = Figure::stated(
        hose.value,
        "Q_hose",
        "flow of the hose",
        &crate::units::table::LITRES_PER_MINUTE,
        &desk.place(hose.span),
    );
    Some(desk.book.publish((volume / &flow).named(id, "Time at the hose", &format!("t_hose,{}", which(id)), &HOUR)))
}

pub(in crate::plan) fn change_limit(desk: &mut Desk<'_>) -> Figure<Ratio> {
    match &desk.site.practice.change_share {
        Some(own) => {
            Figure::stated(own.value, "s_max", "largest share changed in a day", &PERCENT, &desk.place(own.span))
        }
        None => {
            desk.assume(Assumption::new(
                "Largest share of the water changed in a day",
                "25\u{a0}%",
                "no published limit was found",
                "common practice",
            ));
            Figure::cited(CHANGE_SHARE_DAY * 100.0, "s_max", "largest share changed in a day", &PERCENT, &CHANGE_SHARE)
        }
    }
}

/// Whether the supply holds combined chlorine, which leaves ammonia. Free chlorine that was not tested counts as none.
pub(in crate::plan) fn chloraminated(desk: &Desk<'_>) -> bool {
    let supply = &desk.site.supply.readings;
    let free = supply.free_chlorine.as_ref().map_or(0.0, |f| f.value.si());
    supply.total_chlorine.as_ref().is_some_and(|t| t.value.si() - free >= MILLIGRAMS.si(0.05))
}

/// Ammonia that treated supply brings.
fn brought(desk: &mut Desk<'_>, id: &str) -> Option<Figure<AmmoniaNitrogen>> {
    let site = desk.site;
    let total = site.supply.readings.total_chlorine.as_ref()?;
    let total = kinder::leaf(desk, total, "Cl", "total chlorine of the supply", &MILLIGRAMS);
    let free = match &site.supply.readings.free_chlorine {
        Some(free) => kinder::leaf(desk, free, "Cl_free", "free chlorine of the supply", &MILLIGRAMS),
        None => {
            desk.assume(Assumption::new(
                "Free chlorine of the supply",
                "none, so that all of it is chloramine",
                "a free-chlorine test at the tap",
                "common practice",
            ));
            Figure::counted(0.0, "0", "free chlorine, not tested", &MILLIGRAMS)
        }
    };
    Some(chlorine::ammonia_left(&format!("{id}.supply-ammonia"), &total, &free))
}

/// Total ammonia that may be in the pond before a change of `share` with treated supply, so that un-ionised ammonia
/// stays at its limit or under at the day's worst pH, before the change and after it. `None` when the pond is not known
/// well enough to say.
fn ammonia_gate(desk: &mut Desk<'_>, id: &str, share: &Figure<Ratio>) -> Option<Figure<AmmoniaNitrogen>> {
    let warmth = readings::fresh(desk, |r| r.temperature.as_ref())?;
    let (ph, hour) = readings::worst_ph(desk)?;
    let warmth = kinder::temperature(desk, warmth);
    let brought = brought(desk, id)?;
    let part = ammonia::unionised_share("ammonia.share", &format!("Un-ionised share, {hour}"), &ph, &warmth);
    let limit: Figure<MassConcentration> =
        Figure::cited(UNIONISED_LIMIT, "c_NH₃,max", "limit of un-ionised ammonia", &MILLIGRAMS, &AMMONIA_LIMIT);
    let weight: Figure<Ratio> =
        Figure::cited(AMMONIA_PER_NITROGEN, "w_NH₃", "NH3 over N by mass", &ONE, &ATOMIC_WEIGHTS);
    let bearable = (limit / (part * weight)).meaning::<AmmoniaNitrogen>().named(
        format!("{id}.ammonia-bearable"),
        "Total ammonia that keeps un-ionised ammonia at its limit",
        "N_max",
        &AMMONIA_N,
    );
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let gate = (&bearable - &(brought * share.clone())) / (&one - share);
    let gate = crate::workings::minimum(&[gate.clone(), bearable]).unwrap_or(gate);
    Some(gate.named(format!("{id}.ammonia-gate"), "Total ammonia at most before a change", "N_gate", &AMMONIA_N))
}

/// The pond at its hours of pH, and the new water as it runs in.
struct Mixing<'w> {
    ions: &'w WaterPlan,
    hours: Vec<Water>,
    new: Water,
    inputs: Vec<Rc<Node>>,
}

impl<'w> Mixing<'w> {
    /// `None` where the ions of either are not known. `rise`: what buffer brings the new water.
    fn of(desk: &mut Desk<'_>, ions: Option<&'w WaterPlan>, rise: Option<&Figure<CarbonateHardness>>) -> Option<Self> {
        let ions = ions?;
        let base = course::with_ammonia(desk, ions);
        let supply = water::supply(desk, base.celsius)?;
        let mut inputs: Vec<Rc<Node>> = ions.inputs.iter().chain(&supply.inputs).cloned().collect();
        let mut new = supply.water;
        // What is poured in by the page's own rule is far more than the chlorine needs; all of it ends as sulfate.
        if let (Some(chlorine), Some(agent)) = (chlorine_of(desk), agent("sodium thiosulfate")) {
            let grams = chlorine.si() * 1000.0 * THIOSULFATE_PER_CHLORINE;
            let (treated, _) = new.dechlorinated(agent, ions.molal(grams / agent.molar_mass), supply.chlorine);
            new = treated;
            inputs.push(chlorine.node().clone());
        }
        if let (Some(rise), Some(row)) = (rise, chosen(desk, Purpose::Buffer, "sodium-bicarbonate").0) {
            new = ions.dosed(&new, row.id, rise.si() / row.charge);
            inputs.push(rise.node().clone());
        }
        Some(Self { ions, hours: course::hours(desk, &base), new, inputs })
    }

    /// The largest move of pH by a change of so great a share: closed, and at rest with air.
    fn largest_move(&self, share: f64) -> Option<Move> {
        let mut largest: Option<Move> = None;
        for (index, water) in self.hours.iter().enumerate() {
            let mixed = water.mixed(&self.new, share);
            let words = |how: &str| format!("{}, {how}", course::hour(index));
            let closed =
                Move { before: water.closed().ok()?, after: mixed.closed().ok()?, words: words(course::CLOSED) };
            let (before, after) = (water.opened(AIR).ok()?.1, mixed.opened(AIR).ok()?.1);
            let larger = closed.larger(Move { before, after, words: words(course::AT_REST) });
            largest = Some(match largest {
                Some(known) => known.larger(larger),
                None => larger,
            });
        }
        largest
    }

    /// Follows `count` changes of `share` of the pond each.
    fn follow(
        &self,
        desk: &mut Desk<'_>,
        id: &str,
        share: &Figure<Ratio>,
        count: &Figure<Ratio>,
        smaller: bool,
    ) -> Option<Followed> {
        let which = which(&format!("{id}."));
        let first = *self.hours.first()?;
        let mixed = Stage::closed(first.mixed(&self.new, share.si())).ok()?;
        let largest = self.largest_move(share.si())?;
        let with =
            |more: &[&Rc<Node>]| -> Vec<Rc<Node>> { self.inputs.iter().chain(more.iter().copied()).cloned().collect() };
        let one = with(&[share.node()]);
        let ph = figures::ph(
            [&format!("{id}.ph"), "pH right after one change", &format!("pH_{which}")],
            mixed.state.ph,
            &mixed.state,
            one.clone(),
        );
        let mut wide = one.clone();
        if let Some(low) = course::inputs(desk, self.ions, []).get(self.ions.inputs.len()) {
            wide.push(low.clone());
        }
        let names =
            [&*format!("{id}.ph-shift"), "Largest change of pH by one change of water", &*format!("ΔpH_{which}")];
        let ph_shift = figures::ph_moved(names, &largest.before, &largest.after, &wide)
            .remark(format!("The largest of all moves, closed to the air and at rest with it: {}", largest.words));
        let left = (0..count.si() as u32).fold(first, |water, _| water.mixed(&self.new, share.si()));
        let last = Stage::closed(left).ok()?;
        let all = with(&[share.node(), count.node()]);
        let lime = figures::lime(
            [&format!("{id}.lime"), "Saturation index of lime after the last change", &format!("SI_{which}")],
            &last.state,
            all.clone(),
        );
        let read = readings::fresh(desk, |r| r.conductivity.as_ref()).filter(|r| !r.less_than);
        let read = read.map(|r| kinder::leaf(desk, r, "κ", "conductivity, as read", &MICROSIEMENS));
        let conductivity = read.and_then(|read| {
            let names =
                [&*format!("{id}.conductivity-rise"), "Rise in conductivity by the changes", &*format!("Δκ_{which}")];
            let lift = figures::conductivity_gained(names, &first, &left, all).ok()?;
            Some((read + lift).named(
                format!("{id}.conductivity"),
                "Conductivity after the last change, about",
                &format!("κ_{which}"),
                &MICROSIEMENS,
            ))
        });
        let unionised = self.unionised(desk, id, share, &ph);
        let temperature = desk.site.supply.readings.temperature.clone().and_then(|tap| {
            let pond = kinder::temperature(desk, readings::fresh(desk, |r| r.temperature.as_ref())?);
            let tap = kinder::leaf(desk, &tap, "θ_supply", "temperature of the supply", &CELSIUS);
            let inputs = vec![pond.node().clone(), tap.node().clone(), share.node().clone()];
            let value = ThermodynamicTemperature::from_si(CELSIUS.si(mixed.water.celsius));
            let title = "Temperature right after one change";
            // By hand from absolute zero; the parts make one.
            let figure = Figure::solved(value, "θ·(1 − s) + θ_supply·s, by mass", inputs, 0.0, 1).closing(|found| {
                let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
                let parts = pond.meaning::<Ratio>() * (&one - share) + tap.meaning::<Ratio>() * share.clone();
                parts / found - one
            });
            Some(figure.named(format!("{id}.temperature"), title, &format!("θ_{which}"), &CELSIUS))
        });
        Some(Followed {
            left,
            too_far: largest.far() > PH_STEP_LIMIT,
            smaller,
            ph: desk.book.publish(ph),
            ph_shift: desk.book.publish(ph_shift),
            temperature: temperature.map(|f| desk.book.publish(f)),
            unionised: unionised.map(|f| desk.book.publish(f)),
            lime: lime.map(|f| desk.book.publish(f)),
            conductivity: conductivity.map(|f| desk.book.publish(f)),
        })
    }

    /// Un-ionised ammonia right after one change, from today's reading: the pond's is thinned, chloramine brings its own (CL-08).
    fn unionised(
        &self,
        desk: &mut Desk<'_>,
        id: &str,
        share: &Figure<Ratio>,
        ph: &Figure<Ph>,
    ) -> Option<Figure<MassConcentration>> {
        let which = which(&format!("{id}."));
        let total = readings::fresh(desk, |r| r.ammonia.as_ref())?;
        let total = kinder::leaf(desk, total, "N", "total ammonia as nitrogen", &AMMONIA_N);
        let warmth = kinder::temperature(desk, readings::fresh(desk, |r| r.temperature.as_ref())?);
        let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
        let mut mixed = &total * &(&one - share);
        if chloraminated(desk) {
            mixed = mixed + brought(desk, id)? * share.clone();
        }
        let mixed = mixed.named(
            format!("{id}.ammonia"),
            "Total ammonia right after one change",
            &format!("N_{which}"),
            &AMMONIA_N,
        );
        let title = "Un-ionised share right after one change";
        let part = ammonia::unionised_share(&format!("{id}.ammonia-share"), title, ph, &warmth)
            .called(&format!("f_NH₃,{which}"));
        let title = "Un-ionised ammonia right after one change";
        let found = ammonia::unionised(&format!("{id}.unionised"), title, &mixed, &part);
        Some(found.called(&format!("c_NH₃,{which}")))
    }
}

/// What a change may be.
struct Bearable {
    /// Its largest share of the water.
    most: Figure<Ratio>,
    /// Total ammonia that the pond may hold before it.
    gate: Option<Figure<AmmoniaNitrogen>>,
    /// Smaller than the daily share, for pH.
    smaller: bool,
}

/// The share a change may have at most, and the ammonia gate before it. Chloramine brings ammonia, and water of another pH moves
/// the pond's: where `most` a day leaves no room for either, a smaller share. `None` where no share does for ammonia, or where
/// nobody can say; where none does for pH, the daily share stands, to be run in slowly.
fn bearable_share(
    desk: &mut Desk<'_>,
    id: &str,
    most: &Figure<Ratio>,
    mixing: Option<&Mixing<'_>>,
) -> Option<Bearable> {
    // The gate is printed in steps of 0.05 mg/L: one that rounds to nothing cannot be opened.
    let wanted = AMMONIA_N.si(0.05);
    let chloraminated = chloraminated(desk);
    let moves =
        |share: f64| mixing.is_some_and(|m| m.largest_move(share).is_some_and(|largest| largest.far() > PH_STEP_LIMIT));
    let smaller = [0.20, 0.15, 0.10, 0.05].into_iter().filter(|share| *share < most.si());
    let shares: Vec<f64> = std::iter::once(most.si()).chain(smaller).collect();
    // Smaller changes only where one of these is small enough.
    let eases = moves(most.si()) && shares.iter().any(|share| !moves(*share));
    for (i, share) in shares.iter().enumerate() {
        if eases && moves(*share) {
            continue;
        }
        let limit = if i == 0 {
            most.clone()
        } else {
            let (why, source) = if eases {
                ("share changed in a day, smaller so that pH moves by 0.5 at most", &PH_STEP)
            } else {
                ("share changed in a day, smaller for the chloramine's ammonia", &CHANGE_SHARE)
            };
            Figure::cited(share * 100.0, "s_max", why, &PERCENT, source)
        };
        if !chloraminated {
            return Some(Bearable { most: limit, gate: None, smaller: eases });
        }
        if let Some(gate) = ammonia_gate(desk, id, &limit).filter(|g| g.si() >= wanted) {
            return Some(Bearable { most: limit, gate: Some(gate), smaller: eases });
        }
    }
    None
}

struct Swap<'v> {
    id: &'static str,
    reason: ChangeReason,
    volume: &'v VolumePlan,
    /// Share of the water to replace.
    needed: Figure<Ratio>,
    most: Figure<Ratio>,
    gate: Option<Figure<AmmoniaNitrogen>>,
    /// Whether the aim must be reached even at the high volume (copper), or must not be passed at the low one.
    reach: bool,
}

fn swap(desk: &mut Desk<'_>, swap: Swap<'_>) -> Option<ChangePlan> {
    let id = swap.id;
    // A change may take its largest share of the low volume; of the high volume that is a smaller share.
    let (base, most) = if swap.reach {
        let most = (&(&swap.volume.low * &swap.most) / &swap.volume.high).named(
            format!("{id}.share-cap"),
            "Largest share of the high volume",
            "s_cap",
            &ONE,
        );
        (&swap.volume.high, most)
    } else {
        (&swap.volume.low, swap.most.clone())
    };
    let count = crate::water::changes::fewest(&format!("{id}.count"), &swap.needed, &most);
    let share = crate::water::changes::each(&format!("{id}.share"), &swap.needed, &count);
    let volume = rounding::volume_figure(&(base * &share), desk.system, Way::Down).named(
        format!("{id}.volume"),
        "Volume of one change, as printed",
        "V_change",
        &LITRE,
    );
    if volume.si() <= 0.0 || count.si() > 60.0 || count.si() < 1.0 {
        return None;
    }
    let through = crate::water::changes::flow_through(&format!("{id}.through"), base, &swap.needed);
    let time = hose_time(desk, &format!("{id}.time"), &volume);
    let thiosulfate = neutraliser(desk, &format!("{id}.thiosulfate"), &volume);
    // The gate is opened by a kit that reads a twentieth of a milligram: rounded down to what it can show.
    let gate = swap.gate.map(|g| {
        let id = format!("{id}.ammonia-gate-printed");
        desk.book.publish(g.rounded(Way::Down, 0.05, &AMMONIA_N).named(
            id,
            "The same, as printed",
            "N_gate,print",
            &AMMONIA_N,
        ))
    });
    let kit_step = kinder::kit(desk, "ammonia").and_then(|k| k.step);
    let gate_too_fine = gate.as_ref().zip(kit_step).is_some_and(|(g, step)| step > g.si());
    let days = (0..count.si() as u64).map(|i| day(desk.date, i + 1)).collect();
    Some(ChangePlan {
        reason: swap.reason,
        count: desk.book.publish(count),
        share: desk.book.publish(share),
        volume: desk.book.publish(volume),
        through: desk.book.publish(through),
        time,
        thiosulfate,
        buffer: None,
        ammonia_gate: gate,
        gate_too_fine,
        hardness_after: None,
        copper_after: None,
        days,
        limit: swap.most,
        followed: None,
    })
}

/// Water changes that bring a pond that crept up back to its goal.
pub(super) fn for_hardness(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    range: &kinder::Hardness,
    ions: Option<&WaterPlan>,
    out: &mut Correction,
) {
    let Some(supply) = desk.site.supply.readings.carbonate_hardness.clone() else {
        desk.miss(Missing::new("carbonate hardness of the supply", "the same drop test, tap run for three minutes"));
        return;
    };
    let goal: Figure<CarbonateHardness> = match &desk.site.goals.carbonate_hardness {
        Some(own) => {
            Figure::stated(own.value, "K_goal", "goal for carbonate hardness", &DEGREE_KH, &desk.place(own.span))
        }
        None => {
            desk.assume(Assumption::new(
                "Carbonate hardness to come back to",
                "10\u{a0}°dKH",
                "a goal of the firm's own, in the site file",
                "common practice",
            ));
            Figure::cited(CREEP_GOAL_DKH, "K_back", "carbonate hardness to come back to", &DEGREE_KH, &POND_TARGETS)
        }
    };
    let tap = kinder::leaf(desk, &supply, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    if tap.si() >= goal.si() * (1.0 - 1e-9) {
        out.supply_cannot = true;
        return;
    }
    let needed = crate::water::changes::share_needed("change.needed", &range.read, &goal, &tap);
    // From the lowest the reading allows, at the low volume, the same changes must not leave the window.
    let lowest = tap.si() + (range.low.si() - tap.si()) * (1.0 - needed.si());
    if lowest < DEGREE_KH.si(WINDOW_LOW_DKH) {
        out.supply_cannot = true;
        return;
    }
    let limit = change_limit(desk);
    let mixing = Mixing::of(desk, ions, None);
    let Some(Bearable { most, gate, smaller }) = bearable_share(desk, "change", &limit, mixing.as_ref()) else {
        out.supply_cannot = true;
        return;
    };
    let Some(mut plan) =
        swap(desk, Swap { id: "change", reason: ChangeReason::Hardness, volume, needed, most, gate, reach: false })
    else {
        return;
    };
    let real = (&plan.volume / &volume.high).named(
        "change.share-least",
        "Share of one change at the high volume",
        "s_change,low",
        &ONE,
    );
    let after = crate::water::changes::after(&range.read, &tap, &real, &plan.count).named(
        "change.after",
        "Carbonate hardness after the last change",
        "K_changed",
        &DEGREE_KH,
    );
    plan.hardness_after = Some(desk.book.publish(after));
    // The low end: every change at the low volume, from the lowest the reading allows.
    let full = (&plan.volume / &volume.low).named(
        "change.share-most",
        "Share of one change at the low volume",
        "s_change,high",
        &ONE,
    );
    let low = crate::water::changes::after(&range.low, &tap, &full, &plan.count).named(
        "hardness.after.low",
        "Lowest carbonate hardness after the changes",
        "K_after",
        &DEGREE_KH,
    );
    out.hardness_after = Some(low);
    plan.followed = mixing.and_then(|mixing| mixing.follow(desk, "change", &full, &plan.count, smaller));
    // Calcium and general hardness move with the same water.
    let read_calcium = readings::fresh(desk, |r| r.calcium.as_ref());
    if let (Some(read), Some(tap)) = (read_calcium, &desk.site.supply.readings.calcium) {
        let read = kinder::leaf(desk, read, "Ca", "calcium, as read", &CALCIUM_MG);
        let tap = kinder::leaf(desk, tap, "Ca_supply", "calcium of the supply", &CALCIUM_MG);
        let after = crate::water::changes::after(&read, &tap, &real, &plan.count).named(
            "calcium.changed",
            "Calcium after the changes, as read and at the high volume",
            "Ca_changed",
            &CALCIUM_MG,
        );
        out.calcium_changed = Some(desk.book.publish(after));
    }
    if let (Some(before), Some(tap)) = (out.calcium_after.clone(), &desk.site.supply.readings.calcium) {
        let tap = kinder::leaf(desk, tap, "Ca_supply", "calcium of the supply", &CALCIUM_MG);
        let after = crate::water::changes::after(&before, &tap, &full, &plan.count).named(
            "calcium.after-changes",
            "Calcium after the changes",
            "Ca_changed,low",
            &CALCIUM_MG,
        );
        if after.si() < before.si() {
            out.calcium_after = Some(after);
        }
    }
    if let (Some(before), Some(tap)) = (out.general_after.clone(), &desk.site.supply.readings.general_hardness) {
        let tap = kinder::leaf(desk, tap, "G_supply", "general hardness of the supply", &DEGREE_GH);
        let after = crate::water::changes::after(&before, &tap, &full, &plan.count).named(
            "hardness.general-after",
            "General hardness after the changes",
            "G_changed",
            &DEGREE_GH,
        );
        if after.si() < before.si() {
            out.general_after = Some(after);
        }
    }
    out.changes = Some(plan);
}

/// The changes of first aid (TRADE.md section 6; Decisions).
pub fn emergency(desk: &mut Desk<'_>, volume: &VolumePlan) -> Emergency {
    let mut change_of = |share: f64, id: &str, title: &str| -> FirstAid {
        let share: Figure<Ratio> =
            Figure::cited(share, &format!("s_{}", which(id)), "share of the water", &PERCENT, &CHANGE_SHARE);
        let change = rounding::volume_figure(&(&volume.low * &share), desk.system, Way::Down).named(
            format!("emergency.{id}"),
            title,
            &format!("V_{}", which(id)),
            &LITRE,
        );
        let change = desk.book.publish(change);
        let thiosulfate = neutraliser(desk, &format!("emergency.{id}-thiosulfate"), &change);
        let buffer = buffer::for_new_water(desk, &format!("emergency.{id}-buffer"), &change);
        let time = hose_time(desk, &format!("emergency.{id}-time"), &change);
        FirstAid { change, thiosulfate, buffer, time }
    };
    Emergency {
        quarter: change_of(25.0, "quarter", "First aid: a quarter of the water"),
        poisoning: change_of(30.0, "change", "Copper at stop: one of two changes of three tenths"),
    }
}
