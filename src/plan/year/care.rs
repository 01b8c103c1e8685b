//! What is done to the pond on each day of the forecast: as the site file says, and as this plan does.

use chrono::{Datelike as _, NaiveDate};

use crate::plan::correction::day;
use crate::plan::{Assumption, Correction, Desk};
use crate::reference::{FEED_NITROGEN, Substance, substance};
use crate::site::{AnimalKind, CareWhat, TopUpBy};
use crate::units::Si as _;
use crate::units::table::{DAYS, GRAMS_A_DAY, weight};
use crate::water::balance::{Care, SOLUTES, Solutes, solute};
use crate::water::ensemble::Appetite;

/// Warmth from which fish are fed in full, and under which they are not fed, °C (common practice).
const FED: (f64, f64) = (18.0, 10.0);
/// Days between two fillings by hand where nobody said.
const FILLED_EVERY: u32 = 7;

/// What a mole of a substance brings.
fn brings(row: &Substance) -> Solutes {
    let mut out = [0.0; SOLUTES];
    out[solute::ALKALINITY] = row.charge;
    out[solute::CALCIUM] = row.calcium;
    match row.id {
        "sodium-bicarbonate" => out[solute::SODIUM] = 1.0,
        "potassium-bicarbonate" => out[solute::POTASSIUM] = 1.0,
        "calcium-chloride" => out[solute::CHLORIDE] = 2.0,
        "salt" => {
            out[solute::SODIUM] = 1.0;
            out[solute::CHLORIDE] = 1.0;
        }
        "sodium-thiosulfate" => {
            out[solute::SODIUM] = 2.0;
            out[solute::SULFATE] = 2.0;
            out[solute::ALKALINITY] = -2.0;
        }
        _ => {}
    }
    out
}

/// A mass of a product (kg) as mol of each solute.
pub(super) fn dosed(desk: &Desk<'_>, row: &Substance, kilograms: f64) -> Solutes {
    let own = desk.site.substances.iter().find(|s| s.id == row.id).and_then(|s| s.purity.as_ref());
    let purity = own.map_or(row.purity, |p| p.value.si());
    let moles = kilograms * 1000.0 * purity / row.molar_mass;
    brings(row).map(|each| each * moles)
}

fn add(to: &mut Solutes, what: &Solutes) {
    for (sum, more) in to.iter_mut().zip(what) {
        *sum += more;
    }
}

/// Feed a day in warm water (g), and the share of it that ends as nitrate nitrogen.
fn feed(desk: &mut Desk<'_>) -> (f64, f64) {
    let site = desk.site;
    let told = &site.year.feed;
    let share = match (&told.nitrogen, &told.protein) {
        (Some(nitrogen), _) => nitrogen.value.si(),
        (None, Some(protein)) => {
            desk.assume(Assumption::new(
                "Nitrogen of the feed that ends as nitrate",
                "0.16 of its protein, half of that",
                "`nitrogen` in `[feed]`",
                "from memory",
            ));
            0.5 * 0.16 * protein.value.si()
        }
        (None, None) => FEED_NITROGEN_SHARE,
    };
    if told.fed == Some(false) {
        return (0.0, share);
    }
    if let Some(amount) = &told.amount {
        if told.nitrogen.is_none() && told.protein.is_none() {
            desk.assume(Assumption::new(
                "Nitrogen of the feed that ends as nitrate",
                "3\u{a0}% of the feed",
                "the protein printed on the bag, in `[feed]`",
                FEED_NITROGEN.short,
            ));
        }
        return (GRAMS_A_DAY.of(amount.value.si()), share);
    }
    // Fish that live here are taken to be fed: the drain is counted before it is measured.
    let grams: f64 = site
        .animals
        .iter()
        .filter(|a| !a.given_up && a.stays)
        .map(|a| {
            let each = match a.kind {
                AnimalKind::Koi => 10.0,
                AnimalKind::Goldfish | AnimalKind::TenderFish => 1.0,
                AnimalKind::Orfe | AnimalKind::Tench | AnimalKind::Rudd | AnimalKind::Trout | AnimalKind::Sturgeon => {
                    3.0
                }
                _ => 0.0,
            };
            each * f64::from(a.count.unwrap_or(5))
        })
        .sum();
    if grams > 0.0 {
        desk.assume(Assumption::new(
            "Feed in warm water",
            &format!(
                "{}\u{a0}g a day (koi 10, goldfish 1, others 3\u{a0}g each), 3\u{a0}% of it nitrogen that ends as nitrate",
                crate::units::plain(grams, crate::units::Digits::Significant(2))
            ),
            "a week's feed, weighed: `[feed]`",
            "common practice",
        ));
    }
    (grams, share)
}

/// Share of the feed whose nitrogen ends as nitrate (TRADE.md 11.1).
const FEED_NITROGEN_SHARE: f64 = 0.03;

/// The schedule of care, one entry a day, as the site file says, and as this plan does where its corrections are given: the
/// past knows none; and the feed in it by warmth. The panel is set later.
pub(super) fn care(
    desk: &mut Desk<'_>,
    correction: Option<&Correction>,
    first: NaiveDate,
    celsius: &[f64],
) -> (Vec<Care>, Appetite) {
    let site = desk.site;
    let year = &site.year;
    let by = year.top_up.as_ref().map(|t| t.by);
    let by = by.unwrap_or(if site.supply.float_valve { TopUpBy::FloatValve } else { TopUpBy::Hand });
    let every = year.top_up.as_ref().and_then(|t| t.every.as_ref()).map(|e| e.value);
    if by == TopUpBy::Hand && every.is_none() {
        desk.assume(Assumption::new(
            "Topping up",
            "by hand, every 7\u{a0}days, to the brim",
            "`[top_up]` in the site file",
            "common practice",
        ));
    }
    let every = every.unwrap_or(FILLED_EVERY).max(1);
    let (grams, nitrogen) = feed(desk);
    let appetite = Appetite { full: grams * nitrogen / weight::N, from: FED.1, to: FED.0 };
    let mut out = Vec::with_capacity(celsius.len());
    for (index, warmth) in celsius.iter().enumerate() {
        let date = day(first, index as u64);
        let mut care = Care {
            top_up: match by {
                TopUpBy::FloatValve => true,
                TopUpBy::Hand => (index as u64 + 1).is_multiple_of(u64::from(every)),
                TopUpBy::Nothing => false,
            },
            ..Care::default()
        };
        care.feed = appetite.at(*warmth);
        if let Some(leak) = &year.losses.leak
            && year.losses.leak_until.as_ref().is_none_or(|until| date <= until.value)
        {
            care.leak = leak.value.si() * DAYS.size;
        }
        if let Some(down) = &year.drain_down {
            let (from, to, month) = (down.from.value, down.to.value, date.month());
            let inside = if from < to { (from..to).contains(&month) } else { month >= from || month < to };
            care.lowered = inside.then(|| 1.0 - down.share.value.si());
        }
        for told in &year.care {
            if told.on(date) {
                match told.what {
                    CareWhat::ChangeShare(share) => care.change_share += share.si(),
                    CareWhat::ChangeVolume(volume) => care.change_volume += volume.si(),
                    CareWhat::Dose(row, mass) => add(&mut care.dose, &dosed(desk, row, mass.si())),
                }
            }
        }
        if let Some(correction) = correction {
            corrected(desk, correction, date, &mut care);
        }
        out.push(care);
    }
    (out, appetite)
}

/// What this plan's own corrections do on a day.
fn corrected(desk: &Desk<'_>, correction: &Correction, date: NaiveDate, care: &mut Care) {
    if let Some(buffer) = &correction.buffer
        && buffer.days.contains(&date)
    {
        add(&mut care.dose, &dosed(desk, buffer.substance, buffer.dose.si()));
    }
    if let Some(calcium) = &correction.calcium
        && calcium.days.contains(&date)
    {
        add(&mut care.dose, &dosed(desk, calcium.substance, calcium.dose.si()));
    }
    if let (Some(salt), Some(row)) = (&correction.salt, substance("salt"))
        && salt.days.contains(&date)
    {
        add(&mut care.dose, &dosed(desk, row, salt.dose.si()));
    }
    for change in [&correction.changes, &correction.copper].into_iter().flatten() {
        if change.days.contains(&date) {
            care.change_volume += change.volume.si();
            if let (Some(buffer), Some(row)) = (&change.buffer, substance("sodium-bicarbonate")) {
                add(&mut care.dose, &dosed(desk, row, buffer.si()));
            }
        }
    }
}
