//! The least that keeps the window, as templates see it.

use chrono::Datelike as _;
use minijinja::Value;

use super::Source;
use super::lines::Lines;
use super::view::{figure_with, map, marks};
use super::words::{Reader, count_word};
use crate::plan::{Bleed, Blend, BufferRhythm, Changes, Least, OneChange, Remedy, Side, Size, Why, month_name};
use crate::site::WaterAim;
use crate::units::{Digits, plain};
use crate::workings::{Figure, Way};

const HARDNESS: &str = "carbonate-hardness";

/// More days than this do not stand on the shed sheet.
const MOST_DAYS: usize = 6;

/// The view of it; `None` where nothing need be done.
pub(super) fn view(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let least = source.plan.year.as_ref().ok()?.least.as_ref()?;
    let hardness =
        |f: &Figure<crate::units::CarbonateHardness>| figure_with(lines, f.id(), reader.quantity(HARDNESS, f.si()));
    let (kind, ends) = match &least.remedy {
        Remedy::Changes(c) => ("changes", Some(&c.ends)),
        Remedy::Bleed(b) => ("bleed", Some(&b.ends)),
        Remedy::Buffer(b) => ("buffer", Some(&b.ends)),
        Remedy::Nothing(_) => ("nothing", None),
    };
    Some(map! {
        "kind" => kind,
        "aim" => match least.aim {
            WaterAim::FewestVisits => "visits",
            WaterAim::LeastWater => "water",
            WaterAim::Bleed => "bleed",
        },
        "side" => if least.side == Side::Hard { "hard" } else { "soft" },
        "from" => reader.day_year(least.from),
        "low" => hardness(&least.low),
        "high" => hardness(&least.high),
        "highest" => ends.map(|e| hardness(&e.0)),
        "lowest" => ends.map(|e| hardness(&e.1)),
        "why" => match least.remedy {
            Remedy::Nothing(Why::SupplyHard) => "supply-hard",
            Remedy::Nothing(Why::SupplySoft) => "supply-soft",
            Remedy::Nothing(Why::TooLittle) => "too-little",
            Remedy::Nothing(Why::DosesTooSmall) => "doses-too-small",
            _ => "",
        },
        "changes" => match &least.remedy {
            Remedy::Changes(c) => Some(changes(c, source, reader, lines)),
            _ => None,
        },
        "bleed" => match &least.remedy {
            Remedy::Bleed(b) => Some(bleed(b, reader, lines)),
            _ => None,
        },
        "buffer" => match &least.remedy {
            Remedy::Buffer(b) => Some(buffer(b, reader, lines)),
            _ => None,
        },
        "blend" => least.blend.as_ref().map(|b| blend(b, reader, lines)),
    })
}

fn changes(c: &Changes, source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    let size = |change: &OneChange| c.sizes.iter().find(|s| s.volume.id() == change.volume.id());
    let time = |size: Option<&Size>| size.and_then(|s| s.time.as_ref()).map(|t| reader.time(t.si()));
    let salt = |size: Option<&Size>| size.and_then(|s| s.thiosulfate.as_ref()).map(|m| reader.mass_up(m.si()));
    let rows: Vec<Value> = c
        .list
        .iter()
        .map(|change| {
            let size = size(change);
            let ids = [
                change.volume.id(),
                change.hardness.id(),
                change.conductivity.as_ref().and_then(|k| k.id()),
            ];
            map! {
                "day" => reader.day_year(change.date),
                "volume" => reader.volume_number(change.volume.si()),
                "time" => time(size).unwrap_or_default(),
                "thiosulfate" => salt(size).unwrap_or_default(),
                "hardness" => reader.number(HARDNESS, change.hardness.si()),
                "conductivity" => change.conductivity.as_ref().map_or_else(String::new, |k| reader.number("conductivity", k.si())),
                "marks" => marks(lines, ids.into_iter().flatten()),
            }
        })
        .collect();
    let next = source.site.next_visit.as_ref().map(|n| n.value);
    let sheet: Vec<String> = c
        .list
        .iter()
        .filter(|change| next.is_none_or(|next| change.date <= next))
        .take(MOST_DAYS)
        .map(|change| format!("{}: {}", reader.day(change.date), reader.volume(change.volume.si(), Way::Down)))
        .collect();
    let first = c.sizes.first();
    let helpers = c
        .sizes
        .iter()
        .flat_map(|s| [s.time.as_ref().and_then(|t| t.id()), s.thiosulfate.as_ref().and_then(|m| m.id())]);
    map! {
        "count" => figure_with(lines, c.count.id(), count_word(c.list.len() as u64)),
        "many" => c.list.len() > 1,
        "total" => figure_with(lines, c.total.id(), reader.volume(c.total.si(), Way::Down)),
        "list" => rows,
        "timed" => first.is_some_and(|s| s.time.is_some()),
        "treated" => first.is_some_and(|s| s.thiosulfate.is_some()),
        "charged" => c.list.first().is_some_and(|change| change.conductivity.is_some()),
        "helper_marks" => marks(lines, helpers.flatten()),
        "warmth" => figure_with(lines, c.warmth.id(), apart(reader, c.warmth.si())),
        "gate" => c.gate.as_ref().map(|g| figure_with(lines, g.id(), reader.quantity("total-ammonia", g.si()))),
        "filter" => c.filter,
        "cold" => c.cold,
        "proven" => c.proven,
        "salt_kept" => c.salt_kept.unwrap_or(true),
        "sheet" => sheet,
    }
}

fn bleed(b: &Bleed, reader: &Reader, lines: &Lines) -> Value {
    map! {
        "a_day" => figure_with(lines, b.a_day.id(), reader.volume(b.a_day.si(), Way::Down)),
        "total" => figure_with(lines, b.total.id(), reader.volume(b.total.si(), Way::Down)),
        "from" => reader.day_year(b.days.0),
        "until" => reader.day_year(b.days.1),
        "salt_over" => b.salt_kept == Some(false),
        "filter" => b.filter,
    }
}

fn buffer(b: &BufferRhythm, reader: &Reader, lines: &Lines) -> Value {
    let first = b.days.first().map(|d| reader.day_year(*d));
    let last = b.days.last().map(|d| reader.day_year(*d));
    // The year with the last day of each year only.
    let days: Vec<String> = b
        .days
        .iter()
        .enumerate()
        .map(|(index, day)| match b.days.get(index + 1) {
            Some(next) if next.year() == day.year() => reader.day(*day),
            _ => reader.day_year(*day),
        })
        .collect();
    let days = match days.as_slice() {
        [many @ .., last] if !many.is_empty() => format!("{} and {last}", many.join(", ")),
        _ => days.join(""),
    };
    map! {
        "days" => days,
        "name" => b.substance.name,
        "dose" => figure_with(lines, b.dose.id(), reader.mass(b.dose.si())),
        "every" => b.every,
        "count" => figure_with(lines, b.count.id(), count_word(b.days.len() as u64)),
        "many" => b.days.len() > 1,
        "buy" => figure_with(lines, b.buy.id(), reader.mass_up(b.buy.si())),
        "first" => first,
        "last" => last,
        "rise" => figure_with(lines, b.rise.id(), reader.quantity(HARDNESS, b.rise.si())),
        "ph" => figure_with(lines, b.ph_shift.id(), plain(b.ph_shift.si().max(0.01), Digits::Places(2))),
        "stir" => b.stir.as_ref().map(|s| figure_with(lines, s.id(), reader.bucket(s.si()))),
        "gate" => b.gate.as_ref().map(|g| figure_with(lines, g.id(), reader.quantity("total-ammonia", g.si()))),
        "ammonia_now" => b.ammonia_now,
    }
}

fn blend(b: &Blend, reader: &Reader, lines: &Lines) -> Value {
    let volume = |f: &Figure<crate::units::Volume>, way: Way| figure_with(lines, f.id(), reader.volume(f.si(), way));
    let share = plain(b.share.si() * 100.0, Digits::Significant(2));
    let driest = b
        .months
        .iter()
        .filter(|m| m.need > m.yields)
        .max_by(|a, b| (a.need - a.yields).total_cmp(&(b.need - b.yields)));
    map! {
        "target" => figure_with(lines, b.target.id(), reader.quantity(HARDNESS, b.target.si())),
        "share" => figure_with(lines, b.share.id(), format!("{share}\u{a0}%")),
        "need" => volume(&b.need, Way::Up),
        "yields" => b.yields.as_ref().map(|y| volume(y, Way::Down)),
        "enough" => b.yields.as_ref().is_some_and(|y| y.si() >= b.need.si()),
        "tank" => b.tank.as_ref().map(|t| volume(t, Way::Up)),
        "driest" => driest.map(|m| map! {
            "month" => month_name(m.month),
            "need" => reader.volume(m.need, Way::Up),
            "yields" => reader.volume(m.yields, Way::Down),
        }),
        "rain_buffer" => b.rain_buffer.as_ref().map(|m| figure_with(lines, m.id(), reader.mass(m.si()))),
        "inside" => b.inside.map(|day| reader.day_year(day)),
    }
}

/// A difference of temperatures (K) in the reader's degrees, cut down.
fn apart(reader: &Reader, kelvin: f64) -> String {
    if reader.american() {
        let degrees = libm::floor(kelvin * 1.8 + 1e-9);
        format!("{}\u{a0}°F", plain(degrees, Digits::Places(0)))
    } else {
        let degrees = libm::floor(kelvin * 10.0 + 1e-9) / 10.0;
        format!("{}\u{a0}°C", plain(degrees, Digits::Places(1)))
    }
}

/// What stands beside the thin line of the hardness drawing.
pub(super) fn line_words(least: &Least) -> Option<&'static str> {
    match least.remedy {
        Remedy::Changes(_) => Some("with these changes"),
        Remedy::Bleed(_) => Some("with this bleed"),
        Remedy::Buffer(_) => Some("with this buffer"),
        Remedy::Nothing(_) => least.blend.as_ref().map(|_| "topped up with the blend"),
    }
}
