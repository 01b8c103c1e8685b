//! Readings that cannot, or should not, stand side by side.

use super::fields::field;
use super::model::{Kit, Readings, Supply, Visit};
use super::values::plain;
use crate::diag::{Diagnostic, Diagnostics, Span};
use crate::units::{Si, table as unit};

/// By how much a pair of readings may contradict itself before it cannot be one water: two kits, each off by a step.
const KIT_ERROR: f64 = 1.1;

/// A pair of numbers of which the first cannot be the greater.
struct Pair<'a> {
    id: &'static str,
    /// What each is, with its value in one unit.
    small: (&'a str, f64),
    large: (&'a str, f64),
    unit: &'a str,
    why: &'a str,
    hint: &'a str,
    span: Span,
}

fn judge(pair: &Pair<'_>, complaints: &mut Diagnostics) {
    let ((small, low), (large, high)) = (pair.small, pair.large);
    if low <= high * (1.0 + 1e-9) {
        return;
    }
    let figure = |value: f64| plain((value * 100.0).round() / 100.0);
    let message = format!("{small} is greater than {large}");
    let label = format!("{} against {} {}", figure(low), figure(high), pair.unit);
    // A step of the kit either way may do it; more than that is another water, another unit or a slip.
    let complaint = if low <= high * KIT_ERROR {
        Diagnostic::warning(pair.id, pair.span, message)
    } else {
        Diagnostic::error(pair.id, pair.span, message)
    };
    complaints.push(complaint.label(label).why(pair.why).hint(pair.hint));
}

fn pairs(readings: &Readings, complaints: &mut Diagnostics) {
    if let (Some(calcium), Some(hardness)) = (&readings.calcium, &readings.general_hardness)
        && !calcium.less_than
        && !hardness.less_than
    {
        judge(
            &Pair {
                id: "calcium-above-hardness",
                small: ("calcium", unit::CALCIUM_CACO3.of(calcium.value.si())),
                large: ("general hardness", unit::GH_MG.of(hardness.value.si())),
                unit: "mg/L as CaCO₃",
                why: "general hardness is calcium and magnesium together, so the two cannot be of one water",
                hint: "see whether the calcium kit counts as Ca or as CaCO3; the two differ 2.5-fold",
                span: calcium.span,
            },
            complaints,
        );
    }
    if let (Some(dissolved), Some(total)) = (&readings.dissolved_copper, &readings.total_copper)
        && !dissolved.less_than
    {
        judge(
            &Pair {
                id: "dissolved-above-total",
                small: ("dissolved copper", unit::MICROGRAMS.of(dissolved.value.si())),
                large: ("total copper", unit::MICROGRAMS.of(total.value.si())),
                unit: "µg/L",
                why: "total copper holds the dissolved copper, so the two cannot be of one sample",
                hint: "see whether the two were swapped, or read from different samples",
                span: dissolved.span,
            },
            complaints,
        );
    }
    if let (Some(free), Some(total)) = (&readings.free_chlorine, &readings.total_chlorine)
        && !free.less_than
    {
        judge(
            &Pair {
                id: "free-above-total",
                small: ("free chlorine", unit::MILLIGRAMS.of(free.value.si())),
                large: ("total chlorine", unit::MILLIGRAMS.of(total.value.si())),
                unit: "mg/L",
                why: "total chlorine holds the free chlorine, so the two cannot be of one sample",
                hint: "see whether the two were swapped",
                span: free.span,
            },
            complaints,
        );
    }
}

/// General hardness and carbonate hardness as mg/L CaCO₃, with their places, where the first is the lower.
fn soft_under_buffer(readings: &Readings) -> Option<(f64, f64, Span)> {
    let (general, carbonate) = (readings.general_hardness.as_ref()?, readings.carbonate_hardness.as_ref()?);
    let (g, c) = (unit::GH_MG.of(general.value.si()), unit::KH_MG.of(carbonate.value.si()));
    (!general.less_than && !carbonate.less_than && g < c * (1.0 - 1e-9)).then_some((g, c, general.span))
}

fn soft_warning((general, carbonate, span): (f64, f64, Span), whose: &str, also: usize) -> Diagnostic {
    let more = match also {
        0 => String::new(),
        1 => ", and at one later visit".to_owned(),
        n => format!(", and at {n} later visits"),
    };
    Diagnostic::warning(
        "softened-water",
        span,
        format!("general hardness of the {whose} is below its carbonate hardness{more}"),
    )
    .label(format!("{general:.0} against {carbonate:.0} mg/L as CaCO₃"))
    .why("a softener, added bicarbonate or an old kit does this; calcium, not carbonate hardness, then limits the copper")
    .hint("test the filling tap before and after any softener; if there is one, write `softened = \"yes\"` in `[supply]`")
}

/// Checks readings against each other, and kits against visits.
pub(super) fn check(supply: Option<&Supply>, kits: &[Kit], visits: &[Visit], complaints: &mut Diagnostics) {
    let softened = supply.is_some_and(|s| s.softened);
    let supply_soft = supply.and_then(|s| soft_under_buffer(&s.readings));
    if let Some(supply) = supply {
        pairs(&supply.readings, complaints);
    }
    for visit in visits {
        pairs(&visit.pond, complaints);
    }
    if !softened {
        if let Some(found) = supply_soft {
            // The supply explains the pond, so the pond is not asked about again.
            complaints.push(soft_warning(found, "supply", 0));
        } else {
            let found: Vec<_> = visits.iter().filter_map(|v| soft_under_buffer(&v.pond)).collect();
            if let Some((first, rest)) = found.split_first() {
                complaints.push(soft_warning(*first, "pond", rest.len()));
            }
        }
    }
    for kit in kits {
        expired(kit, visits, complaints);
    }
}

fn expired(kit: &Kit, visits: &[Visit], complaints: &mut Diagnostics) {
    let (Some(expires), Some(field)) = (&kit.expires, field(&kit.reading)) else { return };
    let late: Vec<&Visit> = visits.iter().filter(|v| v.date > expires.value && (field.measured)(&v.pond)).collect();
    if let Some(first) = late.first() {
        let count = late.len();
        let times = if count == 1 { "once".to_owned() } else { format!("{count} times") };
        complaints.push(
            Diagnostic::warning(
                "expired-kit",
                expires.span,
                format!("the kit for {} was used {times} after its last day", kit.reading),
            )
            .label(format!("first on {}", first.date))
            .why("old reagent reads low or jumps, and the plan would follow it")
            .hint("test again with a fresh kit, or correct the date"),
        );
    }
}
