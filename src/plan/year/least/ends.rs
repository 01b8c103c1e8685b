//! The highest and the lowest carbonate hardness with what is proposed, each by the books of its one day.

use super::{Extra, Trial, TrialEvening};
use crate::plan::Desk;
use crate::plan::year::account::{booked, flow_words};
use crate::units::table::{CUBIC_METRE, DEGREE_KH, MOLE};
use crate::units::{AmountOfSubstance, CarbonateHardness, Volume};
use crate::water::balance::{FLOWS, solute};
use crate::workings::{Figure, sum};

/// A run with what is proposed.
pub(super) struct Kept<'r> {
    pub extra: &'r [Extra],
    pub evenings: &'r [TrialEvening],
    /// The first evening that counts.
    pub from: usize,
    /// Greatest distance of the straight days of the search from the run, °dKH.
    pub residual: f64,
}

/// Highest and lowest carbonate hardness of a run from a day on, as lines.
pub(super) fn ends(
    desk: &mut Desk<'_>,
    trial: &Trial,
    kept: &Kept<'_>,
) -> (Figure<CarbonateHardness>, Figure<CarbonateHardness>) {
    let of = |index: usize| kept.evenings.get(index).map_or(f64::NAN, TrialEvening::hardness);
    let end = |better: fn(f64, f64) -> bool| {
        let all = kept.from..kept.evenings.len();
        all.reduce(|best, index| if better(of(index), of(best)) { index } else { best }).unwrap_or(kept.from)
    };
    let lines = [
        (end(|a, b| a > b), "year.least-highest", "Highest carbonate hardness with what is proposed", "K_least,high"),
        (end(|a, b| a < b), "year.least-lowest", "Lowest carbonate hardness with what is proposed", "K_least,low"),
    ];
    let [high, low] = lines.map(|(index, id, title, symbol)| {
        let line = by_its_day(trial, kept, index, symbol).unwrap_or_else(|| {
            booked(of(index), symbol, "carbonate hardness that evening, none to speak of", &DEGREE_KH)
        });
        let on = trial.dates.get(index).map_or_else(String::new, ToString::to_string);
        let which = if id.ends_with("highest") { "highest" } else { "lowest" };
        let line = line.named(id, title, symbol, &DEGREE_KH).remark(format!(
            "The {which} of {} evenings, that of {on}, by that day's own books: what was there the evening before, and what came and went{}",
            kept.evenings.len().saturating_sub(kept.from),
            beside_the_search(kept.residual, of(index))
        ));
        desk.book.publish(line)
    });
    (high, low)
}

/// How near the search, to which all days are straight, stands to the balance with its lime, as words behind others; nothing where the
/// search ran the balance itself. `residual`: °dKH; `hardness`: mol/m³.
pub(super) fn beside_the_search(residual: f64, hardness: f64) -> String {
    let share = residual / DEGREE_KH.of(hardness);
    if share > 0.0 {
        format!(
            ". To the search all days are straight: at most {share:.0e} of hardness lies between them and the balance"
        )
    } else {
        String::new()
    }
}

/// Carbonate hardness of an evening from that of the evening before; `None` where next to nothing is left, and the account would
/// only show the last bit of its own sums.
fn by_its_day(trial: &Trial, kept: &Kept<'_>, index: usize, symbol: &str) -> Option<Figure<CarbonateHardness>> {
    let (before, ledger, after) = trial.books(kept.extra, index)?;
    if after.concentration(solute::ALKALINITY) <= 1e-9 {
        return None;
    }
    let at = symbol.trim_start_matches("K_");
    let start: Figure<CarbonateHardness> = booked(
        before.concentration(solute::ALKALINITY),
        &format!("K_0,{at}"),
        "carbonate hardness of the evening before",
        &DEGREE_KH,
    );
    let volume = |value: f64, symbol: &str, title: &str| booked::<Volume>(value, symbol, title, &CUBIC_METRE);
    let mut charge = start * volume(before.volume, &format!("V_0,{at}"), "volume of the evening before");
    let held = before.concentration(solute::ALKALINITY) * before.volume;
    let (mut brought, mut taken): (Vec<Figure<AmountOfSubstance>>, Vec<_>) = (Vec::new(), Vec::new());
    for flow in FLOWS {
        let moved = ledger.of(flow).amounts.get(solute::ALKALINITY).copied().unwrap_or(0.0);
        let (symbol, words) = flow_words(flow);
        let side = if moved < 0.0 { &mut taken } else { &mut brought };
        // Less than the last digits of what was there says nothing.
        if moved.abs() > 1e-9 * held {
            let title = format!("{words}: charge of alkalinity that day");
            side.push(booked(moved.abs(), &format!("n_{symbol},{at}"), &title, &MOLE));
        }
    }
    if !brought.is_empty() {
        charge = charge + sum(&brought);
    }
    if !taken.is_empty() {
        charge = charge - sum(&taken);
    }
    Some((charge / volume(after.volume, &format!("V_{at}"), "volume that evening")).meaning())
}
