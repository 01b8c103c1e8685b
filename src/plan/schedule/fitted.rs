//! What the copper tests of the log tell of release and loss, by least squares: stretches of the log in which the panel's level
//! is known, put to the kernel ([`released`]).

use std::rc::Rc;

use uom::si::f64::Frequency;

use super::release;
use crate::plan::correction::day;
use crate::plan::{Desk, VolumePlan, kinder, rounding};
use crate::reference::LOSS_PER_DEGREE;
use crate::site::{CareWhat, Visit};
use crate::units::table::{CELSIUS, COPPER, CUBIC_METRE, GRAMS_PER_DAY, ONE, PER_DAY, PERCENT};
use crate::units::{Ratio, Si};
use crate::water::released::{self, Day, Fit, Stretch, Test};
use crate::workings::{Figure, Node};

/// Standard deviation of a laboratory's copper, as a share and at least, kg/m³ (common practice).
pub(super) const LABORATORY: (f64, f64) = (0.1, 2e-6);
/// What the model cannot know of copper in a pond, as a share of a reading: mixing, mud, the hour (common practice).
const UNKNOWN: f64 = 0.15;

/// What the log tells.
#[derive(Clone, Debug)]
pub struct CopperTold {
    /// Loss at 20 °C: low end, best value and high end of nine in ten.
    pub loss: [Figure<Frequency>; 3],
    /// The same of what the bars release over Faraday's law; none where the log cannot tell it from the loss.
    pub efficiency: Option<[Figure<Ratio>; 3]>,
    /// Tests that it rests on.
    pub tests: usize,
}

/// What a test may be off, kg/m³: a kit's step, or a laboratory's share where the reading is finer than the kit; and what nobody
/// knows of the pond.
fn doubt(desk: &Desk<'_>, read: f64) -> f64 {
    let step = kinder::kit(desk, "total copper").and_then(|kit| kit.step).filter(|step| *step > 0.0);
    let by_kit = step.filter(|step| (read / step - libm::round(read / step)).abs() < 1e-6);
    let own = by_kit.map_or_else(|| (LABORATORY.0 * read).max(LABORATORY.1), |step| step / libm::sqrt(12.0));
    libm::sqrt(own * own + UNKNOWN * UNKNOWN * read * read)
}

/// Copper released a day at a level, kg.
fn freed(desk: &Desk<'_>, level: u32) -> Option<f64> {
    if level == 0 {
        return Some(0.0);
    }
    Some(GRAMS_PER_DAY.of(release(desk, level)?.si()) / 1000.0)
}

/// The stretches of the log: from a copper test on, as long as each visit found the panel as the one before left it.
fn stretches(desk: &Desk<'_>) -> Vec<Stretch> {
    let mut out: Vec<Stretch> = Vec::new();
    let mut open: Option<Stretch> = None;
    for pair in desk.site.visits.windows(2) {
        let [before, now] = pair else { continue };
        if open.is_none() {
            open = before.pond.total_copper.as_ref().filter(|c| !c.less_than).map(|c| Stretch {
                start: c.value.si(),
                days: Vec::new(),
                tests: Vec::new(),
            });
        }
        let level = before.left();
        let same = level.is_some() && now.level_set.as_ref().map(|l| l.value) == level;
        let temperature = |v: &Visit| v.pond.temperature.as_ref().map(|t| CELSIUS.of(t.value.si()));
        let known =
            level.filter(|_| same).and_then(|level| freed(desk, level)).zip(temperature(before).zip(temperature(now)));
        let (Some(stretch), Some((released, (cool, warm)))) = (open.as_mut(), known) else {
            out.extend(open.take());
            continue;
        };
        let days = (now.date - before.date).num_days().max(0);
        for index in 0..days {
            let celsius = cool + (warm - cool) * (index as f64 + 0.5) / days as f64;
            let date = day(before.date, index.unsigned_abs());
            let changed: f64 = desk
                .site
                .year
                .care
                .iter()
                .filter(|told| told.on(date))
                .map(|told| match told.what {
                    CareWhat::ChangeShare(share) => share.si(),
                    _ => 0.0,
                })
                .sum();
            let growth = libm::pow(LOSS_PER_DEGREE, celsius - 20.0);
            stretch.days.push(Day { released, growth, kept: (1.0 - changed).clamp(0.0, 1.0) });
        }
        if let Some(copper) = &now.pond.total_copper {
            let read = copper.value.si();
            stretch.tests.push(Test {
                after: stretch.days.len(),
                read,
                less_than: copper.less_than,
                doubt: doubt(desk, read),
            });
        }
    }
    out.extend(open);
    out.retain(|stretch| !stretch.tests.is_empty());
    out
}

/// Every copper test with its place in the log, and the volume: what the fit rests on.
fn inputs(desk: &Desk<'_>, volume: &VolumePlan) -> Vec<Rc<Node>> {
    let tests = desk.site.visits.iter().filter_map(|visit| {
        let copper = visit.pond.total_copper.as_ref()?;
        let leaf = kinder::leaf(desk, copper, &format!("C_log{}", visit.line), "total copper", &COPPER);
        Some(Rc::clone(leaf.node()))
    });
    let number = |value: f64, symbol: &str, title: &str, unit| -> Rc<Node> {
        let leaf: Figure<Ratio> = Figure::stated(Ratio::from_si(value), symbol, title, unit, "common practice");
        Rc::clone(leaf.node())
    };
    tests
        .chain([
            Rc::clone(volume.total.node()),
            number(UNKNOWN, "u_pond", "what nobody knows of copper in a pond, over a reading", &PERCENT),
            number(LABORATORY.0, "u_lab", "a laboratory's doubt, over a reading", &PERCENT),
        ])
        .collect()
}

/// Fits loss and efficiency to the log; `None` where it cannot tell the loss.
pub(super) fn told(desk: &mut Desk<'_>, volume: &VolumePlan) -> Option<CopperTold> {
    let stretches = stretches(desk);
    let cubic = CUBIC_METRE.of(volume.total.si());
    let Fit { loss, efficiency, misfit, residual, tests, looked } = released::fit(&stretches, cubic)?;
    let inputs = inputs(desk, volume);
    let reference = rounding::warmth(20.0, desk.system);
    let off = crate::units::plain(misfit, crate::units::Digits::Significant(2));
    let over = if efficiency.is_some() { "k and η" } else { "k, with η = 1" };
    let equation = |what: &str| {
        format!(
            "{what} of Σ ((C_model − C_log) / u)² over {over}; dC/dt = η w / V − k 1.05^(T − 20 °C) C between visits at one level; \
             u: the kit's step or the laboratory's doubt, with what nobody knows of the pond"
        )
    };
    let ends = [
        (
            loss.low,
            "copper.fit-loss-low",
            "k_fit,low",
            "low end of nine in ten",
            equation("where it grows by 2.71 below the least"),
        ),
        (loss.best, "copper.fit-loss", "k_fit", "best value", equation("least")),
        (
            loss.high,
            "copper.fit-loss-high",
            "k_fit,high",
            "high end",
            equation("where it grows by 2.71 above the least"),
        ),
    ];
    let loss = ends.map(|(value, id, symbol, end, equation)| {
        let solved: Figure<Frequency> =
            Figure::solved(Frequency::from_si(PER_DAY.si(value)), &equation, inputs.clone(), residual, looked);
        let title = format!("Loss of copper at {reference} by the tests of the log, {end}");
        solved.named(id, &title, symbol, &PER_DAY).remark(format!(
            "{tests} tests count; they lie {off} standard deviations off the model, root of the mean square"
        ))
    });
    let efficiency = efficiency.map(|told| {
        [
            (told.low, "copper.fit-efficiency-low", "η_low", "low end of nine in ten"),
            (told.best, "copper.fit-efficiency", "η", "best value"),
            (told.high, "copper.fit-efficiency-high", "η_high", "high end"),
        ]
        .map(|(value, id, symbol, end)| {
            let solved: Figure<Ratio> = Figure::solved(
                Ratio::from_si(value),
                &equation(if end == "best value" { "least" } else { "where it grows by 2.71 beside the least" }),
                inputs.clone(),
                residual,
                looked,
            );
            let title = format!("Copper released over Faraday's law by the tests of the log, {end}");
            desk.book.publish(solved.named(id, &title, symbol, &ONE))
        })
    });
    Some(CopperTold { loss: loss.map(|figure| desk.book.publish(figure)), efficiency, tests })
}
