//! How fast copper leaves this water, and how much of it is dissolved: by the log, else as it is assumed.

use uom::si::f64::Frequency;

use super::fitted::{self, CopperTold};
use super::release;
use crate::plan::{Assumption, Desk, LossOrigin, VolumePlan, kinder, rounding};
use crate::reference::{COPPER_LOSS, LOSS_RANGE};
use crate::site::Visit;
use crate::units::table::{COPPER, ONE, PER_DAY};
use crate::units::{Ratio, Si, ThermodynamicTemperature, Volume};
use crate::water::copper as balance;
use crate::workings::{Figure, maximum, minimum};

/// The loss constants at 20 °C.
pub(super) struct Loss {
    pub(super) least: Figure<Frequency>,
    pub(super) most: Figure<Frequency>,
    pub(super) origin: LossOrigin,
    pub(super) told: Option<CopperTold>,
}

/// One pair of visits between which the panel rested at one level, long enough for copper to rest too.
fn resting_pair(pair: &[Visit]) -> Option<(&Visit, &Visit, u32)> {
    let [before, now] = pair else { return None };
    let level = now.level_set.as_ref().map(|l| l.value).filter(|l| *l > 0)?;
    let left = before.left()?;
    let days = (now.date - before.date).num_days();
    (left == level && days >= 20 && now.pond.total_copper.as_ref().is_some_and(|c| !c.less_than))
        .then_some((before, now, level))
}

/// The loss that the log shows: least of what resting copper and the fit to all tests allow, the first by the kinder end of volume
/// and warmth.
fn loss_from_log(desk: &mut Desk<'_>, volume: &VolumePlan) -> Option<Loss> {
    let told = fitted::told(desk, volume);
    let reference = rounding::warmth(20.0, desk.system);
    let mut least: Vec<Figure<Frequency>> = Vec::new();
    let mut most: Vec<Figure<Frequency>> = Vec::new();
    for pair in desk.site.visits.windows(2) {
        let Some((before, now, level)) = resting_pair(pair) else { continue };
        let (Some(release), Some(copper)) = (release(desk, level), now.pond.total_copper.as_ref()) else { continue };
        let (Some(t1), Some(t2)) = (before.pond.temperature.as_ref(), now.pond.temperature.as_ref()) else { continue };
        if copper.value.si() <= 0.0 {
            continue;
        }
        let warm = if t1.value.si() > t2.value.si() { t1 } else { t2 };
        let cool = if t1.value.si() > t2.value.si() { t2 } else { t1 };
        let copper = kinder::leaf(desk, copper, &format!("C_log{}", now.line), "resting copper, total", &COPPER);
        let at = |volume: &Figure<Volume>, warmth: &crate::site::Reading<ThermodynamicTemperature>, end: &str| {
            let sub = format!("log{},{}", now.line, if end == "least" { "low" } else { "high" });
            let warmth = kinder::temperature(desk, warmth).called(&format!("θ_{sub}"));
            let growth = balance::growth(&warmth).named(
                format!("copper.growth-{}-{end}", now.line),
                &format!("Growth of the loss from {reference} to the pond's warmth"),
                &format!("φ_{sub}"),
                &ONE,
            );
            (&release / &(volume * &copper) / growth).meaning::<Frequency>().named(
                format!("copper.loss-{}-{end}", now.line),
                &format!("Loss at {reference} by log line {}, {end}", now.line),
                &format!("k_{sub}"),
                &PER_DAY,
            )
        };
        let low = at(&volume.high, warm, "least");
        // Copper that has not had three time constants may not be at rest, and would flatter the loss.
        let days = (now.date - before.date).num_days() as f64;
        if PER_DAY.of(low.si()) * days < 3.0 {
            continue;
        }
        most.push(at(&volume.low, cool, "most"));
        least.push(low);
    }
    if let Some(CopperTold { loss: [low, _, high], .. }) = &told {
        least.push(low.clone());
        most.push(high.clone());
    }
    let [least_title, most_title] = loss_titles(desk);
    let least = minimum(&least)?.named("copper.loss-least", &least_title, "k_least", &PER_DAY);
    let most = maximum(&most)?.named("copper.loss-most", &most_title, "k_most", &PER_DAY);
    // Bars that free more than the law asks for, by all that the log leaves open, win over the law, at the end that is harder on
    // fish; of less nothing is made.
    desk.efficiency = told
        .as_ref()
        .and_then(|told| told.efficiency.as_ref())
        .filter(|[low, ..]| low.si() > 1.0)
        .map(|[_, _, high]| high.clone());
    Some(Loss { least, most, origin: LossOrigin::Log, told })
}

fn loss_titles(desk: &Desk<'_>) -> [String; 2] {
    ["Least", "Most"].map(|end| format!("{end} loss of copper at {}", rounding::warmth(20.0, desk.system)))
}

pub(super) fn loss(desk: &mut Desk<'_>, volume: &VolumePlan) -> Loss {
    if let Some(loss) = loss_from_log(desk, volume) {
        return loss;
    }
    desk.assume(Assumption::new(
        "Loss of copper from the water",
        "0.1 to 1.0 a day at 20\u{a0}°C",
        "two copper tests with the panel at one level for three weeks",
        "common practice",
    ));
    let words = format!("loss a day at {}", rounding::warmth(20.0, desk.system));
    let [least_title, most_title] = loss_titles(desk);
    let end = |value: f64, id: &str, title: &str, symbol: &str| {
        let leaf: Figure<Frequency> = Figure::cited(value, symbol, &words, &PER_DAY, &COPPER_LOSS);
        leaf.named(id, title, symbol, &PER_DAY)
    };
    Loss {
        least: end(LOSS_RANGE.0, "copper.loss-least", &least_title, "k_least"),
        most: end(LOSS_RANGE.1, "copper.loss-most", &most_title, "k_most"),
        origin: LossOrigin::Assumed,
        told: None,
    }
}

/// The share of copper that is dissolved, the highest of the log; `None` when never measured.
pub(super) fn dissolved_share(desk: &Desk<'_>) -> Option<Figure<Ratio>> {
    let shares: Vec<Figure<Ratio>> = desk
        .site
        .visits
        .iter()
        .filter_map(|v| {
            let total = v.pond.total_copper.as_ref().filter(|r| !r.less_than && r.value.si() > 0.0)?;
            let dissolved = v.pond.dissolved_copper.as_ref().filter(|r| !r.less_than)?;
            // At a few micrograms a rounding step decides the share; such pairs say nothing.
            if total.value.si() < 8e-6 {
                return None;
            }
            let total = kinder::leaf(desk, total, &format!("C_log{}", v.line), "total copper", &COPPER);
            let dissolved = kinder::leaf(desk, dissolved, &format!("C_d,log{}", v.line), "dissolved copper", &COPPER);
            Some((dissolved / total).meaning::<Ratio>())
        })
        .collect();
    Some(maximum(&shares)?.named("copper.dissolved-share", "Highest dissolved share in the log", "q_d", &ONE))
}
