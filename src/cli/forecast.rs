//! `weirbook forecast`: the water year as a series of days, for other programs.

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use crate::Job;
use crate::diag::Diagnostic;
use crate::plan::{Daily, Schedule, YearPlan};
use crate::units::table::{DEGREE_GH, DEGREE_KH, LITRE, MICROGRAMS, MILLIMETRE, weight};
use crate::units::{Digits, plain};
use crate::water::balance::solute;
use crate::water::ensemble::{Quantity, Range};
use crate::workings::{Book, Expr, Node, Note, Source};

/// A column: its name in JSON, its name and its unit in CSV, its decimals, its value in the middle run, and what the
/// possible years count it as.
struct Column {
    key: &'static str,
    head: &'static str,
    unit: &'static str,
    places: usize,
    value: fn(&Daily) -> f64,
    quantity: Quantity,
    /// A value of that quantity in the column's unit.
    told: fn(f64) -> f64,
}

fn litres(si: f64) -> f64 {
    LITRE.of(si)
}

fn micrograms(moles: f64) -> f64 {
    MICROGRAMS.of(moles * weight::CU / 1000.0)
}

fn as_it_is(value: f64) -> f64 {
    value
}

#[rustfmt::skip]
const COLUMNS: &[Column] = &[
    Column { key: "volume", head: "volume", unit: "L", places: 1, value: |d| d.evening.volume, quantity: Quantity::Volume, told: litres },
    Column { key: "level", head: "level below brim", unit: "mm", places: 1, value: |d| d.evening.below_brim, quantity: Quantity::Level, told: |m| MILLIMETRE.of(m) },
    Column { key: "evaporation", head: "evaporation", unit: "L", places: 2, value: |d| d.evening.evaporation, quantity: Quantity::Evaporation, told: litres },
    Column { key: "rain", head: "rain", unit: "L", places: 2, value: |d| d.evening.rain, quantity: Quantity::Rain, told: litres },
    Column { key: "top_up", head: "top-up", unit: "L", places: 2, value: |d| d.evening.top_up, quantity: Quantity::TopUp, told: litres },
    Column { key: "change", head: "change", unit: "L", places: 2, value: |d| d.evening.change, quantity: Quantity::Change, told: litres },
    Column { key: "overflow", head: "overflow", unit: "L", places: 2, value: |d| d.evening.overflow, quantity: Quantity::Overflow, told: litres },
    Column { key: "carbonate_hardness", head: "carbonate hardness", unit: "°dKH", places: 3, value: Daily::hardness, quantity: Quantity::Hardness, told: |c| DEGREE_KH.of(c) },
    Column { key: "general_hardness", head: "general hardness", unit: "°dGH", places: 3, value: Daily::general, quantity: Quantity::General, told: |c| DEGREE_GH.of(c) },
    Column { key: "conductivity", head: "conductivity", unit: "µS/cm", places: 1, value: |d| d.conductivity, quantity: Quantity::Conductivity, told: as_it_is },
    Column { key: "ph", head: "ph", unit: "", places: 2, value: |d| d.ph, quantity: Quantity::Ph, told: as_it_is },
    Column { key: "copper", head: "total copper", unit: "µg/L", places: 1, value: |d| d.evening.water[solute::COPPER], quantity: Quantity::Copper, told: micrograms },
    Column { key: "temperature", head: "temperature", unit: "°C", places: 1, value: |d| d.celsius, quantity: Quantity::Temperature, told: as_it_is },
];

/// A percentile: how it is called, and which it is.
type Percentile = (&'static str, fn(&Range) -> f64);

const PERCENTILES: [Percentile; 3] = [("_10", |r| r.low), ("_50", |r| r.middle), ("_90", |r| r.high)];

/// One series of the answer.
struct Series {
    key: String,
    head: String,
    unit: &'static str,
    values: Vec<String>,
}

/// A number without a minus that is only a rounded nothing, and with a plain hyphen: programs read it.
fn number(value: f64, places: usize) -> String {
    plain(value, Digits::Places(places)).replace('\u{2212}', "-")
}

/// What the schedule says of each day: the level, and watch and stop in the water of that day. Empty where it says nothing.
fn panel(year: &YearPlan, schedule: &Schedule) -> [Series; 3] {
    let each = |key: &str, unit: &'static str, of: &dyn Fn(NaiveDate) -> Option<String>| {
        let head = if unit.is_empty() { key.replace('_', " ") } else { format!("{} [{unit}]", key.replace('_', " ")) };
        let values = year.days.iter().map(|day| of(day.date).unwrap_or_default()).collect();
        Series { key: key.to_owned(), head, unit, values }
    };
    let limit = |date: NaiveDate, share: f64| {
        let stop = schedule.day_on(date)?.limits?.stop;
        // Watch is half of stop, in whole micrograms, down, as on the page.
        Some(number(libm::floor(share * MICROGRAMS.of(stop) + 1e-9), 0))
    };
    [
        each("output_level", "", &|date| Some(schedule.level_on(date)?.to_string())),
        each("watch", "µg/L", &|date| limit(date, 0.5)),
        each("stop", "µg/L", &|date| limit(date, 1.0)),
    ]
}

/// Every column, each with its percentiles where they vary.
fn series(year: &YearPlan, schedule: Option<&Schedule>) -> Vec<Series> {
    let mut out = Vec::new();
    for column in COLUMNS {
        let unit = column.unit;
        let head = |which: &str| {
            let name = format!("{}{which}", column.head);
            if unit.is_empty() { name } else { format!("{name} [{unit}]") }
        };
        let text = |value: f64| number((column.told)(value), column.places);
        let values = year.days.iter().map(|day| text((column.value)(day))).collect();
        out.push(Series { key: column.key.to_owned(), head: head(""), unit, values });
        let Some(chance) = &year.chance else { continue };
        let ranges = || chance.counted.ranges(column.quantity);
        if ranges().all(|r| r.low >= r.high) {
            continue;
        }
        for (which, of) in PERCENTILES {
            let values = ranges().map(|range| text(of(&range))).collect();
            out.push(Series { key: format!("{}{which}", column.key), head: head(which), unit, values });
        }
    }
    out.extend(schedule.into_iter().flat_map(|schedule| panel(year, schedule)));
    out
}

/// One day a row, with a head that names each column and its unit.
pub(super) fn csv(year: &YearPlan, schedule: Option<&Schedule>) -> String {
    let series = series(year, schedule);
    let mut out = String::from("date");
    for series in &series {
        out.push(',');
        out.push_str(&series.head);
    }
    for (index, day) in year.days.iter().enumerate() {
        out.push('\n');
        out.push_str(&day.date.to_string());
        for series in &series {
            out.push(',');
            out.push_str(series.values.get(index).map_or("", String::as_str));
        }
    }
    out
}

/// The same as an object: the units once, then the days.
pub(super) fn json(year: &YearPlan, schedule: Option<&Schedule>) -> Value {
    let series = series(year, schedule);
    let units: Map<String, Value> = series.iter().map(|s| (s.key.clone(), s.unit.into())).collect();
    let days: Vec<Value> = year
        .days
        .iter()
        .enumerate()
        .map(|(index, day)| {
            let mut row = Map::new();
            row.insert("date".into(), day.date.to_string().into());
            for series in &series {
                let told = series.values.get(index).and_then(|text| text.parse::<f64>().ok());
                row.insert(series.key.clone(), told.map_or(Value::Null, Value::from));
            }
            Value::Object(row)
        })
        .collect();
    let mut out = json!({ "from": year.first.to_string(), "weather": year.origin });
    if let (Some(chance), Some(object)) = (&year.chance, out.as_object_mut()) {
        object.insert("members".into(), chance.draw.members.into());
        object.insert("seed".into(), chance.draw.seed.into());
    }
    if let Some(object) = out.as_object_mut() {
        object.insert("units".into(), units.into());
        object.insert("days".into(), days.into());
    }
    out
}

/// One day of one possible year as lines of a book of its own; beside them the lines of the plan that they rest on.
pub(super) fn one_day(job: &Job, year: &YearPlan, member: u32, day: NaiveDate) -> Result<Book, Diagnostic> {
    let Some(years) = year.years.as_ref().filter(|years| years.draw.members > 0) else {
        let said = format!("possible year {member} was asked for, and there are none");
        return Err(Diagnostic::error("no-such-year", None, said).hint("leave `--members 0` out"));
    };
    if member >= years.draw.members {
        let last = years.draw.members.saturating_sub(1);
        let said = format!("possible year {member} was asked for, and they are numbered from 0 to {last}");
        let hint = "ask for one of those, or for more years with `--members`";
        return Err(Diagnostic::error("no-such-year", None, said).hint(hint));
    }
    let mut book = Book::new(*job.plan.book.spoken());
    let at = years.dates.iter().position(|date| *date == day);
    if at.and_then(|at| years.lines(&mut book, member, at)).is_none() {
        let (first, last) = (years.dates.first().copied().unwrap_or(day), years.dates.last().copied().unwrap_or(day));
        let said = format!("{day} is no day of the forecast, which runs from {first} to {last}");
        return Err(Diagnostic::error("no-such-day", None, said)
            .hint(format!("ask for a day between those, such as `--day {last}`")));
    }
    Ok(book)
}

/// What the numbers of a line are that no other line gives, each once.
fn leaves(book: &Book, node: &Node, out: &mut Vec<String>) {
    for inner in node.operands() {
        match (&inner.name, &inner.expr) {
            (None, Expr::Leaf { title, source: Source::Stated(_) | Source::Cited(_), .. }) => {
                let words = format!("       {}: {title}", book.symbol(inner));
                if !out.contains(&words) {
                    out.push(words);
                }
            }
            (None, _) => leaves(book, inner, out),
            _ => {}
        }
    }
}

/// The lines of the day, each with its formula, the same keyed, its result, and where its numbers come from.
pub(super) fn day_text(book: &Book) -> String {
    let mut out = Vec::new();
    for line in book.lines().iter().filter(|line| line.id.starts_with("year.member.")) {
        out.push(format!("{}  [{}]", line.title, line.id));
        if !line.formula.is_empty() {
            out.push(format!("     {}", line.equation_text()));
            out.push(format!("     = {}", line.keyed_text()));
        }
        out.push(format!("     = {} {}", line.result, line.unit.symbol).trim_end().to_owned());
        let mut told = Vec::new();
        leaves(book, &line.node, &mut told);
        out.extend(told);
        let remarks =
            line.notes.iter().filter_map(|note| if let Note::Remark(words) = note { Some(words) } else { None });
        out.extend(remarks.map(|words| format!("     {words}")));
    }
    out.push("A number in brackets is another line, of this day or of `weirbook figures`.".to_owned());
    out.join("\n")
}
