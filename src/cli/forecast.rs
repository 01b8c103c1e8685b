//! `weirbook forecast`: the water year as a series of days, for other programs.

use serde_json::{Map, Value, json};

use crate::plan::{Daily, YearPlan};
use crate::units::table::{DEGREE_GH, DEGREE_KH, LITRE, MILLIMETRE};
use crate::units::{Digits, plain};

/// A column: its name in JSON, its head in CSV, its decimals, and its value.
struct Column {
    key: &'static str,
    head: &'static str,
    places: usize,
    value: fn(&Daily) -> f64,
}

#[rustfmt::skip]
const COLUMNS: &[Column] = &[
    Column { key: "volume", head: "volume [L]", places: 1, value: |d| LITRE.of(d.evening.volume) },
    Column { key: "level", head: "level below brim [mm]", places: 1, value: |d| MILLIMETRE.of(d.evening.below_brim) },
    Column { key: "evaporation", head: "evaporation [L]", places: 2, value: |d| LITRE.of(d.evening.evaporation) },
    Column { key: "rain", head: "rain [L]", places: 2, value: |d| LITRE.of(d.evening.rain) },
    Column { key: "top_up", head: "top-up [L]", places: 2, value: |d| LITRE.of(d.evening.top_up) },
    Column { key: "change", head: "change [L]", places: 2, value: |d| LITRE.of(d.evening.change) },
    Column { key: "overflow", head: "overflow [L]", places: 2, value: |d| LITRE.of(d.evening.overflow) },
    Column { key: "carbonate_hardness", head: "carbonate hardness [°dKH]", places: 3, value: |d| DEGREE_KH.of(d.hardness()) },
    Column { key: "general_hardness", head: "general hardness [°dGH]", places: 3, value: |d| DEGREE_GH.of(d.general()) },
    Column { key: "conductivity", head: "conductivity [µS/cm]", places: 1, value: |d| d.conductivity },
    Column { key: "ph", head: "ph", places: 2, value: |d| d.ph },
    Column { key: "temperature", head: "temperature [°C]", places: 1, value: |d| d.celsius },
];

/// A number without a minus that is only a rounded nothing, and with a plain hyphen: programs read it.
fn number(value: f64, places: usize) -> String {
    plain(value, Digits::Places(places)).replace('\u{2212}', "-")
}

/// One day a row, with a head that names each column and its unit.
pub(super) fn csv(year: &YearPlan) -> String {
    let mut out = String::from("date");
    for column in COLUMNS {
        out.push(',');
        out.push_str(column.head);
    }
    for day in &year.days {
        out.push('\n');
        out.push_str(&day.date.to_string());
        for column in COLUMNS {
            out.push(',');
            out.push_str(&number((column.value)(day), column.places));
        }
    }
    out
}

/// The same as an object: the units once, then the days.
pub(super) fn json(year: &YearPlan) -> Value {
    let mut units = Map::new();
    for column in COLUMNS {
        let unit = column.head.split_once('[').map_or("", |(_, rest)| rest.trim_end_matches(']'));
        units.insert(column.key.into(), unit.into());
    }
    let days: Vec<Value> = year
        .days
        .iter()
        .map(|day| {
            let mut row = Map::new();
            row.insert("date".into(), day.date.to_string().into());
            for column in COLUMNS {
                let rounded = number((column.value)(day), column.places).parse::<f64>().unwrap_or(0.0);
                row.insert(column.key.into(), rounded.into());
            }
            Value::Object(row)
        })
        .collect();
    json!({ "from": year.first.to_string(), "weather": year.origin, "units": units, "days": days })
}
