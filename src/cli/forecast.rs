//! `weirbook forecast`: the water year as a series of days, for other programs.

use serde_json::{Map, Value, json};

use crate::plan::{Daily, YearPlan};
use crate::units::table::{DEGREE_GH, DEGREE_KH, LITRE, MILLIMETRE};
use crate::units::{Digits, plain};
use crate::water::ensemble::{Quantity, Range};

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

/// Every column, each with its percentiles where they vary.
fn series(year: &YearPlan) -> Vec<Series> {
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
    out
}

/// One day a row, with a head that names each column and its unit.
pub(super) fn csv(year: &YearPlan) -> String {
    let series = series(year);
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
pub(super) fn json(year: &YearPlan) -> Value {
    let series = series(year);
    let units: Map<String, Value> = series.iter().map(|s| (s.key.clone(), s.unit.into())).collect();
    let days: Vec<Value> = year
        .days
        .iter()
        .enumerate()
        .map(|(index, day)| {
            let mut row = Map::new();
            row.insert("date".into(), day.date.to_string().into());
            for series in &series {
                let rounded = series.values.get(index).and_then(|text| text.parse::<f64>().ok()).unwrap_or(0.0);
                row.insert(series.key.clone(), rounded.into());
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
