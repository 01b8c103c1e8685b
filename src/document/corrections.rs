//! What is added and changed, as templates see it.

use chrono::NaiveDate;
use minijinja::Value;

use super::Source;
use super::drawings::{column_head, correction_days};
use super::lines::Lines;
use super::view::{figure, figure_with, map, marks, range, weighed};
use super::words::{Reader, count_word};
use crate::plan::ChangePlan;
use crate::units::{Digits, Si, plain};
use crate::workings::{Figure, Way};

pub(super) fn buffer(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let b = source.plan.correction.buffer.as_ref()?;
    let key = "carbonate-hardness";
    let days = correction_days(source);
    let has = |d: &NaiveDate| b.days.contains(d);
    let rises = |rise: f64, day: &NaiveDate| {
        let doses = b.days.iter().filter(|d| *d <= day).count() as f64;
        reader.number(key, b.start.si() + doses * rise)
    };
    let table: Vec<Value> = days
        .iter()
        .map(|d| {
            map! {
                "head" => column_head(*d),
                "dose" => if has(d) { reader.mass(b.dose.si()) } else { String::new() },
                "stir" => if has(d) { b.stir.as_ref().map_or_else(String::new, |s| reader.bucket(s.si())) } else { String::new() },
                "expect" => if has(d) { {
                    let (low, high) = (rises(b.rise_least.si(), d), rises(b.rise_most.si(), d));
                    if low == high { low } else { format!("{low} to {high}") }
                } } else { String::new() },
                "test" => if has(d) { "pH" } else if *d > source.plan.date { "pH, hardness" } else { "done" },
                "done" => *d > source.plan.date,
            }
        })
        .collect();
    let ph = |v: f64| plain(v, Digits::Places(1));
    Some(map! {
        "name" => b.substance.name, "shop" => b.substance.shop, "adding" => b.substance.adding,
        "handling" => b.substance.handling, "beware" => b.substance.beware,
        "dose" => weighed(lines, &b.dose, reader.mass(b.dose.si())),
        "buy" => figure(lines, &b.buy, reader.mass(b.buy.si())),
        "count" => figure(lines, &b.count, count_word(b.days.len() as u64)),
        "many" => b.days.len() > 1,
        "goal" => figure(lines, &b.goal, reader.quantity(key, b.goal.si())),
        "start" => reader.quantity(key, b.start.si()),
        "after" => range(lines, reader, key, &b.after_least, &b.after_most),
        "rise" => figure(lines, &b.rise_most, reader.quantity(key, b.rise_most.si())),
        "stir" => b.stir.as_ref().map(|s| figure(lines, s, reader.bucket(s.si()))),
        "ph_shift" => figure(lines, &b.ph_shift, plain(libm::ceil(b.ph_shift.si() * 10.0 - 1e-9) / 10.0, Digits::Places(1))),
        "ph_after" => figure(lines, &b.ph_after, ph(b.ph_after.si())),
        "takes" => takes(lines, reader, &b.takes),
        "ph_least" => figure(lines, &b.ph_ends[0], ph(b.ph_ends[0].si())),
        "ph_most" => figure(lines, &b.ph_ends[1], ph(b.ph_ends[1].si())),
        "ammonia_after" => figure(lines, &b.unionised_after, reader.quantity("unionised-ammonia", b.unionised_after.si())),
        "days" => reader.days(&b.days),
        "day_list" => day_list(&b.days, reader),
        "table" => table,
        "expect_marks" => {
            let each = b.on_the_way.iter().flatten();
            let rises = [&b.rise_least, &b.rise_most];
            let rises = rises.into_iter().filter(|_| b.on_the_way.len() + 1 < b.days.len());
            marks(lines, rises.chain(each).chain([&b.after_least, &b.after_most]).filter_map(|f| f.id()))
        },
    })
}

pub(super) fn calcium(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let c = source.plan.correction.calcium.as_ref()?;
    let key = "calcium";
    Some(map! {
        "name" => c.substance.name, "shop" => c.substance.shop, "adding" => c.substance.adding,
        "handling" => c.substance.handling, "beware" => c.substance.beware,
        "dose" => weighed(lines, &c.dose, reader.mass(c.dose.si())),
        "buy" => figure(lines, &c.buy, reader.mass(c.buy.si())),
        "count" => figure(lines, &c.count, count_word(c.days.len() as u64)),
        "many" => c.days.len() > 1,
        "goal" => figure(lines, &c.goal, reader.quantity(key, c.goal.si())),
        "start" => reader.quantity(key, c.start.si()),
        "after" => range(lines, reader, key, &c.after_least, &c.after_most),
        "takes" => takes(lines, reader, &c.takes),
        "for_conductivity" => c.for_conductivity,
        "days" => reader.days(&c.days),
        "day_list" => day_list(&c.days, reader),
    })
}

/// What a whole correction takes: as readings and tape are, least, most. Least is cut down and most up, to what a scale shows.
pub(super) fn takes(lines: &Lines, reader: &Reader, ends: &[Figure<crate::units::Mass>; 3]) -> Value {
    let [best, least, most] = ends;
    map! {
        "best" => figure(lines, best, reader.mass_about(best.value(), Way::Down)),
        "least" => figure(lines, least, reader.mass_about(least.value(), Way::Down)),
        "most" => figure(lines, most, reader.mass_about(most.value(), Way::Up)),
    }
}

pub(super) fn change(c: &ChangePlan, source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    map! {
        "count" => figure(lines, &c.count, count_word(c.count.si() as u64)),
        "many" => c.count.si() > 1.5,
        "share" => figure(lines, &c.share, format!("{}\u{a0}%", plain(c.share.si() * 100.0, Digits::Significant(2)))),
        "volume" => figure(lines, &c.volume, reader.volume(c.volume.si(), Way::Down)),
        "through" => figure(lines, &c.through, reader.volume(c.through.si(), Way::Down)),
        "time" => c.time.as_ref().map(|t| figure(lines, t, reader.time(t.si()))),
        "off_at" => c.time.as_ref().and_then(|t| reader.clock_after_nine(t.si())),
        "thiosulfate" => c.thiosulfate.as_ref().map(|m| weighed(lines, m, reader.mass_up(m.si()))),
        "buffer" => c.buffer.as_ref().map(|m| weighed(lines, m, reader.mass(m.si()))),
        "gate" => c.ammonia_gate.as_ref().map(|g| figure(lines, g, reader.quantity("total-ammonia", g.si()))),
        "gate_too_fine" => c.gate_too_fine,
        "ph_differs" => ph_differs(source),
        "ph_shift" => c.followed.as_ref().map(|f| figure(lines, &f.ph_shift, plain(libm::ceil(f.ph_shift.si() * 10.0 - 1e-9) / 10.0, Digits::Places(1)))),
        "ph_after" => c.followed.as_ref().map(|f| figure(lines, &f.ph, plain(f.ph.si(), Digits::Places(1)))),
        "ph_too_far" => c.followed.as_ref().is_some_and(|f| f.too_far),
        "ph_smaller" => c.followed.as_ref().is_some_and(|f| f.smaller),
        "conductivity_after" => c.followed.as_ref().and_then(|f| f.conductivity.as_ref()).map(|k| figure(lines, k, reader.quantity("conductivity", k.si()))),
        "calcium_after" => lines.all().iter().find(|l| l.id == "calcium.changed" && c.hardness_after.is_some()).map(|l| {
            figure_with(lines, Some("calcium.changed"), reader.quantity("calcium", l.node.si))
        }),
        "hardness_after" => c.hardness_after.as_ref().map(|k| figure(lines, k, reader.quantity("carbonate-hardness", k.si()))),
        "copper_after" => c.copper_after.as_ref().map(|k| figure(lines, k, reader.quantity("total-copper", k.si()))),
        "days" => reader.days(&c.days),
        "day_list" => day_list(&c.days, reader),
    }
}

/// Whether supply and pond lie more than half a unit of pH apart.
fn ph_differs(source: &Source<'_>) -> bool {
    let supply = source.site.supply.readings.ph_morning.as_ref();
    let pond = source.plan.readings.iter().find(|r| r.key == "ph-morning").and_then(|r| r.pond);
    supply.zip(pond).is_some_and(|(supply, pond)| (supply.value.si() - pond).abs() > 0.5)
}

/// Each day by itself, for boxes to tick; a run of more than four without weekdays.
fn day_list(days: &[NaiveDate], reader: &Reader) -> Vec<String> {
    let short = days.len() > 1;
    days.iter().map(|d| if short { reader.weekday_number(*d) } else { reader.weekday_day(*d) }).collect()
}
