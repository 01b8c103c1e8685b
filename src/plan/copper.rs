//! Copper limits in the water as it will be after the corrections, by the kinder end (DESIGN, Copper limits, ring 1).

use super::{Ahead, Correction, Desk, kinder, rounding};
use crate::reference::{
    COPPER_CANADA, COPPER_CRITERION, COPPER_FLOOR_ALKALINITY, COPPER_FLOOR_CALCIUM, COPPER_HUSBANDRY, COPPER_LASTING,
    COPPER_SHORT, COPPER_TENTH, Citation, LASTING_BY_HARDNESS, LC50_BY_ALKALINITY, WINDOW_LOW_DKH, on_curve,
};
use crate::units::table::{CACO3, COPPER, DEGREE_KH, KH_MG, ONE, Unit, weight};
use crate::units::{MassConcentration, Ratio, Si};
use crate::workings::{Figure, minimum};

/// Where the loss of copper comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LossOrigin {
    /// From resting copper in the log.
    Log,
    /// Assumed range.
    Assumed,
}

/// The limits.
#[derive(Clone, Debug)]
pub struct CopperLimits {
    /// Lower of alkalinity and calcium hardness after the corrections, mg/L CaCO3 as a pure number.
    pub protection: Figure<Ratio>,
    /// Stop: total copper at no moment over this.
    pub stop: Figure<MassConcentration>,
    /// Watch: half of stop.
    pub watch: Figure<MassConcentration>,
    /// Lasting: 28-day mean, dissolved copper.
    pub lasting: Figure<MassConcentration>,
    /// Chronic criterion of open water, for comparison and for what forbids draining to a stream.
    pub open_water: Figure<MassConcentration>,
    /// The strictest guideline of open water that was found, total copper, for comparison.
    pub open_water_strict: Figure<MassConcentration>,
    /// The owner's copper kit steps wider than watch, so that it cannot clear a spell.
    pub kit_too_coarse: bool,
}

/// Straight line between the points that enclose `x`; flat past the last. `None` below the first.
/// Points: (x as a pure number, y in mg/L).
pub fn between(
    x: &Figure<Ratio>,
    points: &[(f64, f64)],
    symbols: (&str, &str),
    citation: &'static Citation,
) -> Option<Figure<MassConcentration>> {
    let value = x.si();
    let point = |p: (f64, f64), n: &str| -> (Figure<Ratio>, Figure<MassConcentration>) {
        (
            Figure::cited(p.0, &format!("{}_{n}", symbols.0), "point of the curve", &ONE, citation),
            Figure::cited(p.1, &format!("{}_{n}", symbols.1), "value at that point", &COPPER, citation),
        )
    };
    let last = *points.last()?;
    if value < points.first()?.0 {
        return None;
    }
    if value >= last.0 {
        return Some(point(last, "top").1);
    }
    let (a, b) = points.windows(2).find_map(|pair| match pair {
        [a, b] if value >= a.0 && value < b.0 => Some((*a, *b)),
        _ => None,
    })?;
    let ((x1, y1), (x2, y2)) = (point(a, "1"), point(b, "2"));
    Some(&y1 + &((x - &x1) * (&y2 - &y1) / (&x2 - &x1)))
}

/// Limits in the water of one day, kg/m³.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayLimits {
    /// Total copper at no moment over this.
    pub stop: f64,
    /// The mean over 28 days, dissolved.
    pub lasting: f64,
}

/// Whole micrograms a litre, down, of mg/L; kg/m³.
fn whole(milligrams: f64) -> f64 {
    libm::floor(1000.0 * milligrams + 1e-9) / 1e6
}

fn as_caco3<Q: Si>(figure: &Figure<Q>, unit: &'static Unit, symbol: &str, id: &str, title: &str) -> Figure<Ratio> {
    // A pure number of mg/L CaCO3, because the curves are tabulated so; the factor stands in the line.
    let per: Figure<Q> =
        Figure::cited(1.0, "1 mg/L CaCO₃", "one mg/L as CaCO₃", unit, &crate::reference::ATOMIC_WEIGHTS);
    let ratio: Figure<Ratio> =
        &figure.meaning::<uom::si::f64::MolarConcentration>().meaning::<Ratio>() / &per.meaning::<Ratio>();
    ratio.named(id, title, symbol, &ONE).remark("A pure number: mg/L counted as CaCO₃")
}

/// The limits, or `None` where there is no copper at any limit: hardness or calcium unknown or under its floor.
pub fn limits(desk: &Desk<'_>, correction: &Correction) -> Option<CopperLimits> {
    let alkalinity = correction.hardness_after.as_ref()?;
    let calcium = correction.calcium_after.as_ref()?;
    let alkalinity =
        as_caco3(alkalinity, &KH_MG, "a", "copper.alkalinity", "Alkalinity after the corrections, low end");
    let calcium = as_caco3(
        calcium,
        &crate::units::table::CALCIUM_CACO3,
        "h_Ca",
        "copper.calcium",
        "Calcium hardness after the corrections, low end",
    );
    if alkalinity.si() < COPPER_FLOOR_ALKALINITY || calcium.si() < COPPER_FLOOR_CALCIUM {
        return None;
    }
    let protection = minimum(&[alkalinity.clone(), calcium.clone()])?.named(
        "copper.protection",
        "The lower protection of the two",
        "p",
        &ONE,
    );
    let lc50 = between(&protection, &LC50_BY_ALKALINITY, ("p", "L"), &COPPER_SHORT)?.named(
        "copper.lc50",
        "LC50 of catfish in such water",
        "L",
        &COPPER,
    );
    let tenth: Figure<Ratio> = Figure::cited(0.1, "q_tenth", "a tenth", &ONE, &COPPER_TENTH);
    let short = (&lc50 * &tenth).named("copper.short", "A tenth of it: the short limit, total copper", "S", &COPPER);
    let hundred: Figure<Ratio> = Figure::cited(100.0, "100", "alkalinity over 100", &ONE, &COPPER_HUSBANDRY);
    let share: Figure<Ratio> =
        Figure::cited(weight::CU / 249.677, "w_Cu", "copper in the sulfate", &ONE, &crate::reference::ATOMIC_WEIGHTS);
    let one_mg: Figure<MassConcentration> = Figure::counted(1.0, "1 mg/L", "one milligram a litre", &COPPER);
    let husbandry = (one_mg * (&alkalinity / &hundred * share)).named(
        "copper.husbandry",
        "The husbandry rule as copper",
        "S_H",
        &COPPER,
    );
    let mut candidates = vec![short.clone(), husbandry];
    if let Some(own) = &desk.site.practice.copper_stop {
        candidates.push(Figure::stated(own.value, "S_own", "the site's own stop", &COPPER, &desk.place(own.span)));
    }
    if let Some(label) = &desk.site.authorisation.label_limit {
        candidates.push(Figure::stated(label.value, "S_label", "limit on the label", &COPPER, &desk.place(label.span)));
    }
    let least = minimum(&candidates)?;
    let stop = rounding::copper_limit(&least).named("copper.stop", "Stop: total copper", "C_stop", &COPPER);
    let half: Figure<Ratio> = Figure::counted(0.5, "½", "half", &ONE);
    let watch =
        rounding::copper_limit(&(&stop * &half)).named("copper.watch", "Watch: half of stop", "C_watch", &COPPER);
    // The lasting curve stands on hardness: the lower of general and calcium hardness.
    let hardness = match &correction.general_after {
        Some(general) => {
            let general = as_caco3(
                general,
                &crate::units::table::GH_MG,
                "h_G",
                "copper.general",
                "General hardness after the corrections, low end",
            );
            minimum(&[general, calcium.clone()])?
        }
        None => calcium.clone(),
    };
    let hardness = hardness.named("copper.hardness", "The lower hardness of the two", "h", &ONE);
    let lasting = between(&hardness, &LASTING_BY_HARDNESS, ("h", "y"), &COPPER_LASTING)?;
    let lasting = rounding::copper_limit(&lasting).named(
        "copper.lasting",
        "Lasting limit: mean over 28 days, dissolved copper",
        "C_lasting",
        &COPPER,
    );
    // exp(0.8545 ln H − 1.702) µg/L, total recoverable, times 0.960 for dissolved.
    let slope: Figure<Ratio> = Figure::cited(0.8545, "a_C", "slope", &ONE, &COPPER_CRITERION);
    let start: Figure<Ratio> = Figure::cited(1.702, "b_C", "constant", &ONE, &COPPER_CRITERION);
    let dissolved: Figure<Ratio> = Figure::cited(0.960, "q_C", "dissolved share", &ONE, &COPPER_CRITERION);
    // The criterion is told in micrograms.
    let one_ug: Figure<MassConcentration> = Figure::counted(1e-3, "1 µg/L", "one microgram a litre", &COPPER);
    // Above 400 mg/L the criterion counts 400 (CU-04).
    let most: Figure<Ratio> = Figure::cited(400.0, "h_max", "hardness counted at most", &ONE, &COPPER_CRITERION);
    let counted = if hardness.si() > most.si() { minimum(&[hardness.clone(), most])? } else { hardness.clone() };
    let power = (&(&slope * &counted.ln()) - &start).exp();
    let open_water = (one_ug * (power * dissolved)).named(
        "copper.open-water",
        "Chronic criterion of open water, dissolved copper, for comparison",
        "C_stream",
        &COPPER,
    );
    let open_water_strict = canada(&hardness)?.named(
        "copper.open-water-strict",
        "Guideline of open water in Canada, total copper, for comparison",
        "C_strict",
        &COPPER,
    );
    let kit_too_coarse = kinder::kit(desk, "total copper").and_then(|k| k.step).is_some_and(|step| step > watch.si());
    Some(CopperLimits { protection, stop, watch, lasting, open_water, open_water_strict, kit_too_coarse })
}

/// The Canadian guideline by hardness, a pure number of mg/L: 2 µg/L to 90, 0.2 exp(0.8545 ln H − 1.465) µg/L above, 4 at most.
fn canada(hardness: &Figure<Ratio>) -> Option<Figure<MassConcentration>> {
    let fixed = |micrograms: f64, words: &str| -> Figure<MassConcentration> {
        Figure::cited(micrograms / 1000.0, "C_fixed", words, &COPPER, &COPPER_CANADA)
    };
    if hardness.si() <= 90.0 {
        return Some(fixed(2.0, "guideline up to hardness 90"));
    }
    let number = |value: f64, symbol: &str, words: &str| -> Figure<Ratio> {
        Figure::cited(value, symbol, words, &ONE, &COPPER_CANADA)
    };
    let power = &(&number(0.8545, "a_strict", "slope") * &hardness.ln()) - &number(1.465, "b_strict", "constant");
    let one_ug: Figure<MassConcentration> = Figure::counted(1e-3, "1 µg/L", "one microgram a litre", &COPPER);
    let rising = one_ug * (number(0.2, "q_strict", "share") * power.exp());
    if hardness.si() > 180.0 { minimum(&[rising, fixed(4.0, "guideline at most")]) } else { Some(rising) }
}

impl CopperLimits {
    /// As they are after the corrections, to the next visit.
    pub(super) fn now(&self) -> DayLimits {
        DayLimits { stop: self.stop.si(), lasting: self.lasting.si() }
    }

    /// On a day of the forecast, by the protection that nine possible years in ten have; never over those of now, which a test
    /// has to raise. The panel runs only where a test finds the window or more: softer years stand at its edge. None where there
    /// is too little calcium.
    pub(super) fn on(&self, ahead: &Ahead) -> Option<DayLimits> {
        // Moles of charge to mg/L of CaCO3.
        let counted = |charge: f64| 0.5 * charge * CACO3;
        let alkalinity = counted(ahead.hardness.low.max(DEGREE_KH.si(WINDOW_LOW_DKH)));
        let calcium = counted(2.0 * ahead.calcium);
        if calcium < COPPER_FLOOR_CALCIUM {
            return None;
        }
        let short = 0.1 * on_curve(alkalinity.min(calcium), &LC50_BY_ALKALINITY)?;
        let lasting = on_curve(calcium, &LASTING_BY_HARDNESS)?;
        let now = self.now();
        Some(DayLimits { stop: whole(short).min(now.stop), lasting: whole(lasting).min(now.lasting) })
    }

    /// Stop in water of so much protection, mg/L as CaCO3, never over that of now; kg/m³. `None` under the floor.
    pub(super) fn stop_in(&self, protection: f64) -> Option<f64> {
        if protection < COPPER_FLOOR_CALCIUM {
            return None;
        }
        Some(whole(0.1 * on_curve(protection, &LC50_BY_ALKALINITY)?).min(self.stop.si()))
    }

    /// The same stop as a figure: of a protection in mg/L as CaCO₃. `None` under the floor.
    pub(super) fn stop_at(&self, protection: &Figure<Ratio>) -> Option<Figure<MassConcentration>> {
        if protection.si() < COPPER_FLOOR_CALCIUM {
            return None;
        }
        let lc50 = between(protection, &LC50_BY_ALKALINITY, ("p", "L"), &COPPER_SHORT)?;
        let tenth: Figure<Ratio> = Figure::cited(0.1, "q_tenth", "a tenth", &ONE, &COPPER_TENTH);
        minimum(&[rounding::copper_limit(&(lc50 * tenth)), self.stop.clone()])
    }

    /// Puts the limits into the book, once they are final.
    pub(super) fn publish(&self, desk: &mut Desk<'_>) {
        desk.book.publish(self.protection.clone());
        for figure in [&self.stop, &self.watch, &self.lasting, &self.open_water, &self.open_water_strict] {
            desk.book.publish(figure.clone());
        }
    }
}
