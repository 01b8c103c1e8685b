//! Changes that bring copper down: at stop as many as it takes, at watch one.

use super::super::{Correction, buffer};
use super::{Bearable, ChangePlan, ChangeReason, Mixing, Swap, bearable_share, change_limit, swap};
use crate::plan::{CopperLimits, Desk, Missing, VolumePlan, WaterPlan, kinder, readings};
use crate::reference::WINDOW_LOW_DKH;
use crate::units::table::{CALCIUM_CACO3, COPPER, DEGREE_KH, KH_MG, ONE};
use crate::units::{MassConcentration, Ratio, Si, Volume};
use crate::workings::Figure;

/// Water changes that bring copper at or over stop down to watch.
pub fn for_copper(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    limits: &CopperLimits,
    ions: Option<&WaterPlan>,
) -> Option<ChangePlan> {
    let reading = readings::fresh(desk, |r| r.total_copper.as_ref()).filter(|r| !r.less_than)?;
    let now = kinder::leaf(desk, reading, "C_now", "total copper, as read", &COPPER);
    let tap: Figure<MassConcentration> = match &desk.site.supply.readings.total_copper {
        Some(tap) => kinder::leaf(desk, tap, "C_supply", "total copper of the supply", &COPPER),
        None => {
            desk.miss(Missing::new("total copper of the supply", "a laboratory sample, tap run for three minutes"));
            return None;
        }
    };
    if tap.si() >= limits.watch.si() {
        return None;
    }
    let needed: Figure<Ratio> = ((&now - &limits.watch) / (&now - &tap)).meaning::<Ratio>().named(
        "copper.change.needed",
        "Share of the water to replace",
        "f_change",
        &ONE,
    );
    let limit = change_limit(desk);
    let rise = buffer::rise_of_new_water(desk);
    let mixing = Mixing::of(desk, ions, rise.as_ref());
    // Copper at stop does not wait for smaller changes: where pH moves far the water is run in slowly, and the page says so.
    let Bearable { most, gate, .. } = bearable_share(desk, "copper.change", &limit, None)?;
    let made = Swap { id: "copper.change", reason: ChangeReason::Copper, volume, needed, most, gate, reach: true };
    let mut plan = swap(desk, made)?;
    let lines = CopperLines {
        id: "copper.change",
        which: "one change",
        after: "Total copper after the last change, before any loss",
        symbols: ["s_change,low", "C_changed", "s_change,high"],
    };
    lines.reckon(desk, &mut plan, volume, [&now, &tap], mixing, false);
    Some(plan)
}

/// What the lines of changes for copper are called.
struct CopperLines {
    id: &'static str,
    which: &'static str,
    after: &'static str,
    symbols: [&'static str; 3],
}

impl CopperLines {
    /// Copper after the changes by the high volume, the buffer that goes in with them, and how they move the water by the low one.
    fn reckon(
        &self,
        desk: &mut Desk<'_>,
        plan: &mut ChangePlan,
        volume: &VolumePlan,
        [now, tap]: [&Figure<MassConcentration>; 2],
        mixing: Option<Mixing>,
        smaller: bool,
    ) {
        let [least, after_symbol, most] = self.symbols;
        let share = |of: &Figure<Volume>, end: &str, words: &str, symbol: &str| -> Figure<Ratio> {
            let title = format!("Share of {} at the {words} volume", self.which);
            (&plan.volume / of).meaning::<Ratio>().named(format!("{}.share-{end}", self.id), &title, symbol, &ONE)
        };
        let real = share(&volume.high, "least", "high", least);
        let full = share(&volume.low, "most", "low", most);
        let after = crate::water::changes::after(now, tap, &real, &plan.count).named(
            format!("{}.after", self.id),
            self.after,
            after_symbol,
            &COPPER,
        );
        plan.copper_after = Some(desk.book.publish(after));
        plan.buffer = buffer::for_new_water(desk, &format!("{}.buffer", self.id), &plan.volume);
        plan.followed = mixing.and_then(|mixing| mixing.follow(desk, self.id, &full, &plan.count, smaller));
    }
}

/// Part of watch that one change at watch aims at, so that a kit can see the fall (common practice).
const EASE_AIM: f64 = 0.9;

/// One change within a day's share for copper at watch: to nine tenths of watch, or as far as a day's share goes. `None` where other
/// water is changed or something is added, where the supply's own readings do not say that its water does no harm, or where the
/// pond's water may not go.
pub fn for_watch(
    desk: &mut Desk<'_>,
    volume: &VolumePlan,
    limits: &CopperLimits,
    correction: &Correction,
    ions: Option<&WaterPlan>,
) -> Option<ChangePlan> {
    let busy = correction.changes.is_some()
        || correction.buffer.is_some()
        || correction.calcium.is_some()
        || correction.salt.is_some();
    let goes =
        matches!(desk.site.outflow.changes, crate::site::Destination::OwnGround | crate::site::Destination::Sewer);
    if busy || !goes {
        return None;
    }
    let reading = readings::fresh(desk, |r| r.total_copper.as_ref()).filter(|r| !r.less_than)?;
    let now = kinder::leaf(desk, reading, "C_now", "total copper, as read", &COPPER);
    let Some(tap) = &desk.site.supply.readings.total_copper else {
        desk.miss(Missing::new("total copper of the supply", "a laboratory sample, tap run for three minutes"));
        return None;
    };
    let tap = kinder::leaf(desk, tap, "C_supply", "total copper of the supply", &COPPER);
    let aim: Figure<Ratio> = Figure::counted(EASE_AIM, "q_aim", "part of watch aimed at, common practice", &ONE);
    let aim = &limits.watch * &aim;
    if tap.si() >= aim.si() {
        return None;
    }
    let wanted: Figure<Ratio> = ((&now - &aim) / (&now - &tap)).meaning();
    let limit = change_limit(desk);
    let rise = buffer::rise_of_new_water(desk);
    let mixing = Mixing::of(desk, ions, rise.as_ref());
    let Bearable { most, gate, smaller } = bearable_share(desk, "copper.ease", &limit, mixing.as_ref())?;
    let cap: Figure<Ratio> = (&(&volume.low * &most) / &volume.high).meaning();
    let needed = crate::workings::minimum(&[wanted, cap])?.named(
        "copper.ease.needed",
        "Share of the water to replace, within a day's",
        "f_ease",
        &ONE,
    );
    // What protects fish may not be thinned so far that the copper that is left would stand over watch of that water.
    let share = (needed.si() * volume.high.si() / volume.low.si()).min(1.0);
    let after_now = tap.si() + (now.si() - tap.si()) * (1.0 - needed.si());
    if !bears(desk, correction, limits, share, after_now) {
        return None;
    }
    let made = Swap { id: "copper.ease", reason: ChangeReason::Copper, volume, needed, most, gate, reach: true };
    let mut plan = swap(desk, made)?;
    let lines = CopperLines {
        id: "copper.ease",
        which: "that change",
        after: "Total copper after one change, before any loss",
        symbols: ["s_ease,low", "C_ease", "s_ease,high"],
    };
    lines.reckon(desk, &mut plan, volume, [&now, &tap], mixing, smaller);
    Some(plan)
}

/// Whether the water that a change of this share leaves bears the copper that is left: under stop, and no less under it than now. Bare
/// numbers: kg/m³.
fn bears(desk: &Desk<'_>, correction: &Correction, limits: &CopperLimits, share: f64, copper: f64) -> bool {
    let supply = &desk.site.supply.readings;
    let (Some(hardness), Some(calcium)) = (&correction.hardness_after, &correction.calcium_after) else { return false };
    let (Some(tap_hardness), Some(tap_calcium)) = (&supply.carbonate_hardness, &supply.calcium) else { return false };
    let mixed = |now: f64, tap: f64| now + (tap - now) * share;
    let brought = tap_hardness.value.si().max(DEGREE_KH.si(WINDOW_LOW_DKH));
    // Softer supply comes with its buffer, at the window's edge or over it.
    let hardness = mixed(hardness.si(), brought);
    let calcium = mixed(calcium.si(), tap_calcium.value.si());
    if hardness < DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9) {
        return false;
    }
    let Some(stop) = limits.stop_in(KH_MG.of(hardness).min(CALCIUM_CACO3.of(calcium))) else { return false };
    let now = readings::fresh(desk, |r| r.total_copper.as_ref()).map_or(f64::INFINITY, |r| r.value.si());
    copper / stop <= now / limits.stop.si() * (1.0 + 1e-9) && copper < stop
}
