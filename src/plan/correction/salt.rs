//! Salt, for the conductivity at which the panel reaches its level: what buffer and calcium leave wanting.

use chrono::NaiveDate;

use super::buffer::added_up;
use super::course::{self, Poured};
use super::joint::{Asked, Joint, Problem};
use super::{Correction, day, scale};
use crate::chem::composition::{Composed, Readings, compose};
use crate::chem::figures::{Dosed, Reached};
use crate::chem::solution::Water;
use crate::chem::treatment::{DayLimits, End, ranges_with_ends};
use crate::chem::{conductivity, figures};
use crate::plan::{Desk, VolumePlan, WaterPlan, diagnosis, kinder, readings, rounding, water};
use crate::reference::{PH_STEP_LIMIT, POND_TARGETS, Purpose, SALT_ROUTINE};
use crate::units::table::{GRAM, MICROSIEMENS, MILLIGRAMS, ONE};
use crate::units::{Conductivity, Mass, MassConcentration, Ph, Ratio, Si};
use crate::workings::{Figure, Way};

/// Salt, a third a day or less.
#[derive(Clone, Debug)]
pub struct SaltPlan {
    /// All of it.
    pub total: Figure<Mass>,
    /// One dose, as printed.
    pub dose: Figure<Mass>,
    /// What the whole correction takes, by readings and tape: as they are, least, most.
    pub takes: [Figure<Mass>; 3],
    /// Largest change of pH by one dose, where the water's ions are known.
    pub ph_shift: Option<Figure<Ph>>,
    /// Days.
    pub days: Vec<NaiveDate>,
}

/// A conductivity that is wanted.
pub(super) struct Wanted {
    /// The least that the panel's own data name.
    pub target: Figure<Conductivity>,
    /// As read, or as changes of water leave it.
    pub now: Figure<Conductivity>,
}

/// The conductivity that the panel wants of a water that has less.
pub(super) fn wanted(desk: &Desk<'_>, out: &Correction) -> Option<Wanted> {
    let target = diagnosis::least_conductivity(desk)?;
    let reading = readings::fresh(desk, |r| r.conductivity.as_ref())?;
    let now = match &out.changes {
        Some(change) => change.followed.as_ref()?.conductivity.clone()?,
        None => kinder::leaf(desk, reading, "κ", "conductivity, as read", &MICROSIEMENS),
    };
    (now.si() < target.si()).then_some(Wanted { target, now })
}

/// Salt a litre of pond: as the readings are, and the least and most that they allow.
fn needed(
    desk: &mut Desk<'_>,
    wanted: &Wanted,
    answer: Option<(&Problem<'_>, &Joint)>,
    ions: Option<&WaterPlan>,
    changed: bool,
) -> Option<[Figure<MassConcentration>; 3]> {
    let (Some((problem, joint)), Some(ions)) = (answer, ions) else {
        let names = ["salt.concentration", "Salt the water needs", "c_salt"];
        let [id, title, symbol] = names;
        let rise = &wanted.target - &wanted.now;
        let by_factor = conductivity::salt_for(&rise).named(id, title, symbol, &MILLIGRAMS);
        let most: Figure<MassConcentration> =
            Figure::cited(SALT_ROUTINE * 1000.0, "c_salt,max", "salt at most, as routine", &MILLIGRAMS, &POND_TARGETS);
        let allowed = crate::workings::minimum(&[by_factor.clone(), most]).unwrap_or(by_factor);
        return Some([allowed.clone(), allowed.clone(), allowed]);
    };
    let substance = figures::addition_of("salt")?;
    let found = joint.of(crate::reference::Purpose::Salt);
    if found <= 1e-9 {
        return None;
    }
    let product = problem.product(crate::reference::Purpose::Salt)?;
    let best = problem.line(joint, crate::reference::Purpose::Salt)?;
    let open = water::resolution(desk, ions);
    let chloride = crate::reference::chemistry::CHLORIDE;
    // The water without salt, and the conductivity that salt must bring it to, where the readings stand elsewhere.
    let without = |read: &Readings, composed: &Composed| {
        let target = composed.water.conductivity_25()? + MICROSIEMENS.of(wanted.target.si())
            - read.conductivity.unwrap_or_else(|| MICROSIEMENS.of(wanted.now.si()));
        Ok((problem.without_salt(joint, &composed.water), target))
    };
    let dose = |with: &Water, target: f64| {
        let room = (problem.most_chloride() - with.totals[chloride]).max(0.0);
        Ok(with.dose_to_conductivity(substance, target)?.map_or(room, |amount| amount.min(room)))
    };
    let corner = ranges_with_ends(&ions.read, &open.steps, |read, composed| {
        let (with, target) = without(read, composed)?;
        Ok([dose(&with, target)?])
    });
    // After changes the supply's kits would have a say as well: what was found stands for itself.
    let (least, most) = match &corner {
        Ok([(range, [low, high])]) if !changed => (
            Some((range.best, low)).filter(|_| range.low < found),
            Some((range.best, high)).filter(|_| range.high > found),
        ),
        _ => (None, None),
    };
    let scale = product.weight() * ions.density;
    let [low, high] = [
        (["joint.salt-least", "Salt that the water needs, least by what the kits can tell", "c_salt,low"], least),
        (["joint.salt-most", "Salt that the water needs, most by what the kits can tell", "c_salt,high"], most),
    ]
    .map(|(names, end)| {
        let line = match end {
            Some((_, End::At(read))) => compose(read).ok().and_then(|composed| {
                let (with, target) = without(read, &composed).ok()?;
                let amount = dose(&with, target).ok()?;
                if amount <= 0.0 {
                    let [id, title, symbol] = names;
                    let title = format!("{title}: none");
                    let place = "those ends of the readings conduct enough";
                    let none: Figure<MassConcentration> =
                        Figure::stated(MassConcentration::from_si(0.0), symbol, &title, &MILLIGRAMS, place);
                    return Some(none.named(id, names[1], symbol, &MILLIGRAMS));
                }
                let finished = with.with(substance, amount);
                let state = finished.at(25.0).closed().ok()?;
                let dosed = Dosed { substance, purity: problem.share(Purpose::Salt)?, density: ions.density };
                let brings = Reached::Sum {
                    of: ("Cl", "chloride"),
                    each: substance.ions.iter().find(|(ion, _)| *ion == chloride).map_or(0.0, |(_, count)| *count),
                    without: with.totals[chloride],
                    mark: problem.most_chloride(),
                };
                let reached = [
                    (
                        Reached::Conductivity { mark: target, state: Box::new(state.clone()) },
                        "the conductivity that is wanted, at those ends of the readings, which all products together just reach",
                    ),
                    (brings, "the most chloride that the water may hold, at those ends of the readings"),
                ];
                let inputs = water::at_end(ions, read).into_iter().chain([wanted.target.node().clone()]).collect();
                let value = MassConcentration::from_si(amount * scale);
                Some(figures::least(names, value, (0.0, &state), (&dosed, &reached), inputs))
            }),
            Some((best, End::Added(moves))) => {
                let moves = moves.map(|moved| MILLIGRAMS.of(moved * scale));
                let [id, title, symbol] = names;
                let all = added_up::<MassConcentration>(MILLIGRAMS.of(best * scale), &moves, &MILLIGRAMS);
                Some(all.named(id, title, symbol, &MILLIGRAMS))
            }
            None => None,
        };
        let [id, title, symbol] = names;
        line.unwrap_or_else(|| best.named(id, title, symbol, &MILLIGRAMS)).remark(open.words.clone())
    });
    Some([best, low, high])
}

/// Plans the doses, after all others.
pub(super) fn plan(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    asked: &Asked,
    answer: Option<(&Problem<'_>, &Joint)>,
    poured: &mut Poured<'_>,
    out: &mut Correction,
) {
    let Some(wanted) = &asked.conductivity else { return };
    let Some([best, least, most]) = needed(desk, wanted, answer, poured.ions, out.changes.is_some()) else { return };
    let total = (&volume.low * &least).named("salt.total", "Salt", "m_salt", &GRAM);
    let salt = figures::addition_of("salt");
    let followed = match (poured.ions, poured.water, salt) {
        (Some(ions), Some(water), Some(salt)) => {
            let amount = ions.molal(least.si() * 1000.0 / salt.molar_mass);
            let limits = DayLimits {
                ph: PH_STEP_LIMIT,
                alkalinity: f64::INFINITY,
                hardness: f64::INFINITY,
                chloride: f64::INFINITY,
            };
            let hours = course::hours(desk, &water);
            let Some(split) = course::split(&hours, salt, amount, &limits, 3) else { return };
            Some((split, hours, salt, ions))
        }
        _ => None,
    };
    let count = followed.as_ref().map_or(3, |(split, ..)| split.days());
    let parts: Figure<Ratio> = Figure::counted(count as f64, &count.to_string(), "equal doses, one a day", &ONE);
    let dose = rounding::dose(&(&total / &parts), desk.system, scale(desk));
    let dose = dose
        .named("salt.dose", "One dose of salt, as printed", "m_salt,print", &GRAM)
        .remark(format!("Printed as {}: rounded down", rounding::mass_words(dose.value(), desk.system, Way::Down)));
    if dose.si() <= 0.0 {
        return;
    }
    let last = [
        out.buffer.as_ref().and_then(|b| b.days.last().copied()),
        out.calcium.as_ref().and_then(|c| c.days.last().copied()),
        out.changes.as_ref().and_then(|c| c.days.last().copied()),
    ]
    .into_iter()
    .flatten()
    .max();
    let first = last.map_or_else(|| day(desk.date, 1), |d| day(d, 1));
    let each = dose.si() / volume.low.si() * 1000.0 / salt.map_or(1.0, |s| s.molar_mass);
    let ph_shift = followed.and_then(|(split, hours, salt, ions)| {
        let shift = split.with(&hours, salt, ions.molal(each))?.line(
            ["ph.salt-shift", "Largest change of pH by one dose of salt", "ΔpH_salt"],
            &course::inputs(desk, ions, [dose.node()]),
        )?;
        Some(desk.book.publish(shift))
    });
    poured.pour("salt", each * count as f64, [dose.node(), parts.node()]);
    let takes = [
        ("", "Salt in all, by readings and tape", "m_salt,best", &best, &volume.total),
        ("-least", "Salt in all, least", "m_salt,low", &least, &volume.low),
        ("-most", "Salt in all, most", "m_salt,high", &most, &volume.high),
    ]
    .map(|(end, title, symbol, salt, volume)| {
        desk.book.publish((volume * salt).named(format!("salt.takes{end}"), title, symbol, &GRAM))
    });
    out.salt = Some(SaltPlan {
        total: desk.book.publish(total),
        dose: desk.book.publish(dose),
        takes,
        ph_shift,
        days: (0..count as u64).map(|i| day(first, i)).collect(),
    });
}
