//! How long a step may stay raised: from the gate of a spell until copper comes to stop, or its mean to the lasting limit.

use uom::si::f64::Frequency;

use super::{HeldStep, release};
use crate::plan::{CopperLimits, Desk, VolumePlan};
use crate::reference::{LASTING_DAYS, SPELL_DAYS, SPELLS};
use crate::units::table::{COPPER, DAYS, ONE, PER_DAY};
use crate::units::{MassConcentration, Ratio, Time};
use crate::water::copper as balance;
use crate::workings::{Figure, Way, minimum};

/// The part of a spell, in days from its start, at which the worst 28 days begin: copper is then as high as it will be
/// 28 days on. Bare numbers: kg/m³, 1/day, days.
fn worst_start(start: f64, raised: f64, rest: f64, end: f64, loss: f64, days: f64) -> f64 {
    let up = |t: f64| raised + (start - raised) * libm::exp(-loss * t);
    let down = |t: f64| rest + (end - rest) * libm::exp(-loss * t);
    let mut best = (0.0, f64::MIN);
    let mut x = 0.0;
    while x <= days {
        // The integral of both parts, from their own closed form.
        let first = raised * (days - x) + (up(x) - raised) * (1.0 - libm::exp(-loss * (days - x))) / loss;
        let left = LASTING_DAYS - (days - x);
        let second = rest * left + (down(0.0) - rest) * (1.0 - libm::exp(-loss * left)) / loss;
        if first + second > best.1 {
            best = (x, first + second);
        }
        x += 0.25;
    }
    best.0
}

/// Mean over the worst 28 days around a spell of `days`: the rest of the raised part, then the way back to rest.
fn mean_with_spell(
    names: &Names,
    start: &Figure<MassConcentration>,
    raised: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    end: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
    days: &Figure<Time>,
) -> Figure<MassConcentration> {
    let offset = worst_start(start.si(), raised.si(), rest.si(), end.si(), PER_DAY.of(loss.si()), days.in_unit(&DAYS));
    let span: Figure<Time> = Figure::counted(LASTING_DAYS, "28", "averaging time of the lasting limit", &DAYS);
    let offset: Figure<Time> =
        Figure::counted(offset, &names.sub("t_x"), "day of the spell on which the worst 28 days begin", &DAYS);
    let first = days - &offset;
    let left = &span - &first;
    let from = balance::after(start, raised, loss, &offset).named(
        names.id("mean-from"),
        "Copper when the worst 28 days begin",
        &names.sub("C_x"),
        &COPPER,
    );
    let up = balance::mean(&from, raised, loss, &first).named(
        names.id("mean-up"),
        "Mean of the spell's part of them",
        &names.sub("C_up"),
        &COPPER,
    );
    let down = balance::mean(end, rest, loss, &left).named(
        names.id("mean-down"),
        "Mean of the days after it",
        &names.sub("C_down"),
        &COPPER,
    );
    let share: Figure<Ratio> = (&first / &span).meaning();
    let rest_share: Figure<Ratio> = (&left / &span).meaning();
    &up * &share + &down * &rest_share
}

pub(super) struct Raised {
    pub(super) days: Figure<Time>,
    pub(super) end: Figure<MassConcentration>,
    pub(super) mean: Figure<MassConcentration>,
    /// Fewer days than stop asks for: the lasting mean, or the water of those days, did.
    pub(super) cut: bool,
}

/// What the lines of a spell are called.
pub(super) struct Names {
    id: String,
    words: String,
    symbol: String,
}

impl Names {
    /// The plan's own spells, by kind: those of one level and length.
    pub(super) fn of_spell(kind: usize) -> Self {
        match kind {
            0 | 1 => Self { id: "copper.spell".into(), words: "a spell".into(), symbol: "spell".into() },
            _ => Self {
                id: format!("copper.spell-{kind}"),
                words: format!("a spell of kind {kind}"),
                symbol: format!("spell{kind}"),
            },
        }
    }

    /// A row of the table of steps.
    fn of_step(level: u32) -> Self {
        let words = format!("a spell at step {level}");
        Self { id: format!("copper.level-{level}"), words, symbol: level.to_string() }
    }

    fn id(&self, part: &str) -> String {
        format!("{}-{part}", self.id)
    }

    fn symbol(&self, letter: &str) -> String {
        format!("{letter}_{}", self.symbol)
    }

    /// `C_x` of the plan's own spell, `C_x,4` of a row.
    fn sub(&self, symbol: &str) -> String {
        if self.symbol == "spell" { symbol.to_owned() } else { format!("{symbol},{}", self.symbol) }
    }
}

/// Days from the end of a spell until copper is within a tenth of its resting value, rounded up.
fn back_at_rest(
    level: u32,
    end: &Figure<MassConcentration>,
    rest: &Figure<MassConcentration>,
    loss: &Figure<Frequency>,
) -> Option<Figure<Time>> {
    let tenth: Figure<Ratio> = Figure::counted(0.1, "0.1", "a tenth of rest", &ONE);
    let near = rest * &tenth;
    if end.si() <= rest.si() + near.si() || rest.si() <= 0.0 {
        return None;
    }
    let ratio: Figure<Ratio> = ((end - rest) / &near).meaning();
    let days = (ratio.ln() / loss).meaning::<Time>().rounded(Way::Up, 1.0, &DAYS);
    let title = format!("Days after it until copper is within a tenth of rest, from step {level}");
    Some(days.named(format!("copper.level-{level}-rest"), &title, &format!("t_back,{level}"), &DAYS))
}

/// The rooms a spell has to fit: everything but the level.
pub(super) struct Room<'r> {
    pub(super) volume: &'r VolumePlan,
    pub(super) limits: &'r CopperLimits,
    pub(super) loss: Figure<Frequency>,
    pub(super) start: Figure<MassConcentration>,
    pub(super) rest: Figure<MassConcentration>,
    pub(super) dissolved: Option<Figure<Ratio>>,
}

/// Longest spell at a level that keeps stop and the lasting mean, and lasts `most` days where that is given; if it lasts a day at
/// least.
pub(super) fn spell_at(
    desk: &Desk<'_>,
    room: &Room<'_>,
    level: u32,
    names: &Names,
    most: Option<u32>,
) -> Option<Raised> {
    let longest = most;
    let release = release(desk, level)?;
    let raised = balance::resting(
        &format!("copper.raised-{level}"),
        &format!("Where copper heads at step {level}"),
        &release,
        &room.volume.low,
        &room.loss,
        &COPPER,
    )
    .called(&format!("C_rest,{level}"));
    let most: Figure<Time> = Figure::cited(f64::from(SPELL_DAYS.1), "t_max", "longest spell", &DAYS, &SPELLS);
    let reach = balance::days_to(&format!("copper.days-{level}"), &room.start, &raised, &room.limits.stop, &room.loss)
        .map(|days| days.called(&format!("t_stop,{level}")));
    if reach.is_none() && raised.si() > room.limits.stop.si() {
        return None;
    }
    let bounded = match reach {
        Some(reach) => minimum(&[reach, most])?,
        None => most,
    };
    let mut cut = false;
    let mut days = bounded.rounded(Way::Down, 1.0, &DAYS);
    if let Some(longest) = longest.map(f64::from)
        && days.in_unit(&DAYS) > longest
    {
        days = Figure::counted(longest, "t_fewer", "days, fewer than stop allows, for the water of those days", &DAYS);
        cut = true;
    }
    // The lasting mean may ask for a shorter spell than stop does.
    loop {
        if days.in_unit(&DAYS) < 1.0 {
            return None;
        }
        let named =
            days.named(names.id("days"), &format!("Days of {} at most", names.words), &names.symbol("t"), &DAYS);
        let end = balance::after(&room.start, &raised, &room.loss, &named).named(
            names.id("end"),
            &format!("Copper on the last day of {}, at most", names.words),
            &names.symbol("C"),
            &COPPER,
        );
        let total = mean_with_spell(names, &room.start, &raised, &room.rest, &end, &room.loss, &named);
        let mean = match &room.dissolved {
            Some(share) => &total * share,
            None => total,
        }
        .named(
            names.id("mean"),
            &format!("Mean over the worst 28 days around {}, at most", names.words),
            &names.sub("C_28"),
            &COPPER,
        );
        if mean.si() <= room.limits.lasting.si() && end.si() <= room.limits.stop.si() * (1.0 + 1e-12) {
            return Some(Raised { days: named, end, mean, cut });
        }
        let fewer = days.in_unit(&DAYS) - 1.0;
        cut = true;
        days = Figure::counted(fewer, "t_fewer", "days, fewer than stop allows, for the lasting mean", &DAYS);
    }
}

/// A row of the table of steps, with its lines.
pub(super) fn held_step(desk: &mut Desk<'_>, room: &Room<'_>, level: u32) -> HeldStep {
    let Some(found) = spell_at(desk, room, level, &Names::of_step(level), None) else {
        return HeldStep { level, held: None, back: None };
    };
    let held = (desk.book.publish(found.days), desk.book.publish(found.end));
    if found.cut {
        desk.book.publish(found.mean);
    }
    let back = back_at_rest(level, &held.1, &room.rest, &room.loss).map(|days| desk.book.publish(days));
    HeldStep { level, held: Some(held), back }
}
