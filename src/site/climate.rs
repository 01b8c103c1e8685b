//! `[climate]`: the weather of a place, as twelve monthly values or as a file of days. Normals are never invented here:
//! whoever writes them says where they come from.

use chrono::{Datelike, NaiveDate};

use super::csv::{Cell, rows};
use super::fields::{Bounds, listed, nearest};
use super::model::Stated;
use super::values::{self, Place, clipped};
use super::written::{Complaints, Table};
use crate::diag::{Diagnostic, Diagnostics, FileId, Span, Text};
use crate::units::table as unit;
use crate::units::{
    HeatFluxDensity, Kind, Length, Ratio, Readable, Si, ThermodynamicTemperature, Time, Unit, Velocity, unit_named,
};

/// The weather of a place.
#[derive(Clone, Debug)]
pub struct Climate {
    /// Where the numbers come from, in the contractor's words.
    pub origin: String,
    /// Height over the ground at which wind was measured.
    pub wind_height: Option<Stated<Length>>,
    /// The mean day of each month; rain is a month's.
    pub normals: Normals,
    /// Days as they were, oldest first; empty where only normals are given.
    pub days: Vec<DayWeather>,
    /// Place.
    pub span: Span,
}

/// Twelve values, January first.
pub type Twelve<Q> = Option<Stated<[Q; 12]>>;

/// Monthly normals. What is not given is `None`.
#[derive(Clone, Debug, Default)]
pub struct Normals {
    /// Mean of the days' highest air temperatures.
    pub warmest: Twelve<ThermodynamicTemperature>,
    /// Mean of the days' lowest.
    pub coldest: Twelve<ThermodynamicTemperature>,
    /// Mean relative humidity.
    pub humidity: Twelve<Ratio>,
    /// Mean wind.
    pub wind: Twelve<Velocity>,
    /// Sunshine a day.
    pub sunshine: Twelve<Time>,
    /// Sunlight that reaches the ground.
    pub sunlight: Twelve<HeatFluxDensity>,
    /// Rain of the month.
    pub rain: Twelve<Length>,
}

/// One day's weather.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "the names are those of `Normals`")]
pub struct DayWeather {
    pub date: NaiveDate,
    pub warmest: Option<ThermodynamicTemperature>,
    pub coldest: Option<ThermodynamicTemperature>,
    pub humidity: Option<Ratio>,
    pub wind: Option<Velocity>,
    pub sunshine: Option<Time>,
    pub sunlight: Option<HeatFluxDensity>,
    pub rain: Option<Length>,
}

impl DayWeather {
    fn on(date: NaiveDate) -> Self {
        Self {
            date,
            warmest: None,
            coldest: None,
            humidity: None,
            wind: None,
            sunshine: None,
            sunlight: None,
            rain: None,
        }
    }
}

const AIR: Bounds = Bounds::new(&unit::CELSIUS, -70.0, 60.0).usual(-40.0, 48.0);
const HUMIDITY: Bounds = Bounds::new(&unit::PERCENT, 1.0, 100.0).usual(10.0, 100.0);
const WIND: Bounds = Bounds::new(&unit::METRES_PER_SECOND, 0.0, 60.0).usual(0.2, 12.0);
const SUNSHINE: Bounds = Bounds::new(&unit::HOUR, 0.0, 24.0);
const SUNLIGHT: Bounds = Bounds::new(&unit::MEGAJOULES, 0.0, 45.0).usual(0.1, 36.0);
const RAIN_MONTH: Bounds = Bounds::new(&unit::MILLIMETRE, 0.0, 10_000.0).usual(0.0, 600.0);
const RAIN_DAY: Bounds = Bounds::new(&unit::MILLIMETRE, 0.0, 2_000.0).usual(0.0, 150.0);
const WIND_HEIGHT: Bounds = Bounds::new(&unit::METRE, 0.5, 100.0).usual(1.5, 20.0);

/// The keys of the table, which are also the columns of a weather file, with spaces.
#[rustfmt::skip]
const KEYS: [(&str, &str, Kind); 7] = [
    ("max_temperature", "max temperature", Kind::Temperature), ("min_temperature", "min temperature", Kind::Temperature),
    ("humidity", "humidity", Kind::Share), ("wind", "wind", Kind::Speed), ("sunshine", "sunshine", Kind::Time),
    ("radiation", "radiation", Kind::Sunlight), ("rain", "rain", Kind::Length),
];

fn bounds(key: &str, monthly: bool) -> &'static Bounds {
    match key {
        "max_temperature" | "min_temperature" => &AIR,
        "humidity" => &HUMIDITY,
        "wind" => &WIND,
        "sunshine" => &SUNSHINE,
        "radiation" => &SUNLIGHT,
        _ if monthly => &RAIN_MONTH,
        _ => &RAIN_DAY,
    }
}

/// Twelve values of one key.
fn twelve<Q: Readable>(t: &mut Table<'_, '_>, key: &'static str, c: &mut Complaints<'_>) -> Twelve<Q> {
    let list = t.quantities::<Q>(key, bounds(key, true), c)?;
    match <[Q; 12]>::try_from(list.value) {
        Ok(value) => Some(Stated { value, span: list.span }),
        Err(list_of) => {
            // A blank list in a file to fill in is "not given".
            if !list_of.is_empty() {
                c.push(
                    Diagnostic::error("twelve-months", list.span, format!("`{key}` holds {} values", list_of.len()))
                        .label("twelve values belong here, January first")
                        .why("the forecast runs through the year, and no month is guessed")
                        .hint("give one value for each month, in the order of the calendar"),
                );
            }
            None
        }
    }
}

/// `[climate]`. `latitude` is whether the site file gives one.
pub(super) fn climate(
    mut t: Table<'_, '_>,
    latitude: bool,
    weather: Option<&Text>,
    c: &mut Complaints<'_>,
) -> Option<Climate> {
    let span = t.span;
    let origin = t.need_text(
        "origin",
        "weather is never invented, so the plan says where these numbers come from",
        "\"normals 1991 to 2020 of the station at Dunmarrow\"",
        c,
    );
    let wind_height = t.quantity("wind_height", &WIND_HEIGHT, c);
    let file = t.text("file", c);
    let table = KEYS.iter().any(|(key, ..)| t.has(key));
    let mut normals = Normals {
        warmest: twelve(&mut t, "max_temperature", c),
        coldest: twelve(&mut t, "min_temperature", c),
        humidity: twelve(&mut t, "humidity", c),
        wind: twelve(&mut t, "wind", c),
        sunshine: twelve(&mut t, "sunshine", c),
        sunlight: twelve(&mut t, "radiation", c),
        rain: twelve(&mut t, "rain", c),
    };
    t.finish(c);
    let mut days = Vec::new();
    if let Some(file) = &file {
        if table {
            c.push(
                Diagnostic::error("two-climates", file.span, "the weather is given in a file and in a table")
                    .label("one of the two is enough")
                    .why("the two may not agree, and the forecast goes by one")
                    .hint("take out the file, or the twelve values a key"),
            );
        }
        match weather {
            Some(text) => {
                let (found, read) = c.through(|list| self::file(text, list));
                normals = found;
                days = read;
            }
            None => c.push(
                Diagnostic::error("missing-file", file.span, format!("the weather `{}` could not be read", file.value))
                    .label("no file of this name stands beside the site file")
                    .why("without weather no forecast can be made")
                    .hint("correct the name, or give twelve values a key instead"),
            ),
        }
    }
    ordered(&normals, c);
    // A part whose keys are all blank is a part to fill in, not a part with a hole.
    if normals.rain.is_none() && !blank(&normals) {
        c.missing(
            Diagnostic::error("missing-key", span, "`[climate]` has no `rain`")
                .label("`rain` belongs in this part")
                .why("without rain every pond would seem to thicken")
                .hint("write `rain = [\"98 mm\", ...]`, twelve months, January first"),
        );
    }
    if (normals.warmest.is_some() || normals.rain.is_some()) && !latitude {
        c.missing(
            Diagnostic::error("missing-key", span, "`[climate]` needs the latitude of the site")
                .label("the sun's height over the year goes by it")
                .why("evaporation is driven by the sun")
                .hint("write `latitude = \"51.4 °N\"` in `[site]`"),
        );
    }
    let empty = normals.rain.is_none() && normals.warmest.is_none();
    if empty {
        return None;
    }
    Some(Climate { origin: origin?.value, wind_height, normals, days, span })
}

/// Nothing but rain, if that, was understood.
fn blank(normals: &Normals) -> bool {
    normals.warmest.is_none()
        && normals.coldest.is_none()
        && normals.humidity.is_none()
        && normals.wind.is_none()
        && normals.sunshine.is_none()
        && normals.sunlight.is_none()
}

/// Highest over lowest, and both or neither.
fn ordered(normals: &Normals, c: &mut Complaints<'_>) {
    match (&normals.warmest, &normals.coldest) {
        (Some(warmest), Some(coldest)) => {
            let crossed = warmest.value.iter().zip(&coldest.value).position(|(high, low)| high.si() < low.si());
            if let Some(month) = crossed {
                c.push(
                    Diagnostic::error(
                        "min-above-max",
                        coldest.span,
                        format!(
                            "the lowest temperature of {} is above the highest",
                            MONTHS.get(month).unwrap_or(&"a month")
                        ),
                    )
                    .label("month by month these lie under `max_temperature`")
                    .why("one of the two is wrong, and evaporation goes by both")
                    .hint("check both rows, and the order of the months"),
                );
            }
        }
        (Some(one), None) | (None, Some(one)) => {
            let (have, lack) = if normals.warmest.is_some() {
                ("max_temperature", "min_temperature")
            } else {
                ("min_temperature", "max_temperature")
            };
            c.push(
                Diagnostic::error("missing-key", one.span, format!("`{have}` is given without `{lack}`"))
                    .label("the other one belongs beside it")
                    .why("evaporation goes by the range of the day, not by its mean")
                    .hint(format!("add `{lack}`, twelve months, January first")),
            );
        }
        (None, None) => {}
    }
    if let (Some(sunshine), Some(_)) = (&normals.sunshine, &normals.sunlight) {
        c.push(
            Diagnostic::error("two-suns", sunshine.span, "both sunshine and radiation are given")
                .label("one of the two is enough")
                .why("radiation is reckoned from sunshine, and the two may not agree")
                .hint("keep `radiation` where it was measured, else `sunshine`"),
        );
    }
}

/// The months by name, January first.
pub const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// The path that `[climate] file = ...` names.
pub(super) fn file_name(site: &Text) -> Option<String> {
    let (root, _) = toml::de::DeTable::parse_recoverable(&site.words);
    let part = root.get_ref().iter().find(|(key, _)| key.get_ref() == "climate")?.1;
    let file = part.get_ref().as_table()?.iter().find(|(key, _)| key.get_ref() == "file")?.1;
    file.get_ref().as_str().map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned)
}

/// A column of a weather file.
struct Column {
    key: &'static str,
    kind: Kind,
    unit: Option<&'static Unit>,
    span: Span,
}

/// What a weather file's rows are.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Rows {
    Days,
    Months,
}

/// The month of a cell, January as 0: `3`, `March`, `Mar`.
fn month(cell: &Cell, complaints: &mut Diagnostics) -> Option<usize> {
    let text = cell.text.trim().to_lowercase();
    let named = |name: &&str| text.len() >= 3 && name.to_lowercase().starts_with(&text);
    let number = values::whole(&text).and_then(|n| usize::try_from(n).ok()).filter(|n| (1..=12).contains(n));
    let found = number.map(|n| n - 1).or_else(|| MONTHS.iter().position(named));
    if found.is_none() {
        complaints.push(
            Diagnostic::error("unknown-month", cell.span, format!("`{}` is not a month", clipped(&text)))
                .label("a number from 1 to 12, or a name, belongs here")
                .why("the forecast runs through the year")
                .hint("write `3` or `March`"),
        );
    }
    found
}

/// Reads a weather file: one day a row, or one month of the calendar.
fn file(text: &Text, complaints: &mut Diagnostics) -> (Normals, Vec<DayWeather>) {
    let nothing = (Normals::default(), Vec::new());
    if !super::text::readable(text, FileId::WEATHER, complaints) {
        return nothing;
    }
    let written = rows(&text.words, FileId::WEATHER, complaints);
    let Some((head, body)) = written.split_first() else { return nothing };
    let mut when = None;
    let mut columns: Vec<Option<Column>> = Vec::new();
    for (index, cell) in head.cells.iter().enumerate() {
        let name = cell.text.trim().to_lowercase();
        if when.is_none() && (name == "date" || name == "month") {
            when = Some((index, if name == "date" { Rows::Days } else { Rows::Months }));
            columns.push(None);
        } else {
            columns.push(column(cell, complaints));
        }
    }
    let Some((when_at, kind)) = when else {
        complaints.push(
            Diagnostic::error("no-date-column", head.span, "the weather has no column `date` or `month`")
                .label("the first line names the columns, `date` or `month` among them")
                .why("weather without its day cannot be placed")
                .hint("write `date` at the head of the column of days, such as `2026-03-12`, or `month` over twelve months"),
        );
        return nothing;
    };
    let mut days: Vec<DayWeather> = Vec::new();
    let mut months: Vec<(usize, DayWeather)> = Vec::new();
    for row in body {
        if row.cells.len() != head.cells.len() {
            complaints.push(
                Diagnostic::error(
                    "cell-count",
                    row.span,
                    format!("line {} has {} cells, the head has {}", row.line, row.cells.len(), head.cells.len()),
                )
                .label("a cell too many, or one too few")
                .why("it is not clear which number stands in which column, so the row is not read")
                .hint("leave a cell empty between two commas when nothing was measured"),
            );
            continue;
        }
        let Some(cell) = row.cells.get(when_at) else { continue };
        let filled = columns.iter().zip(&row.cells).filter_map(|(column, cell)| Some((column.as_ref()?, cell)));
        if kind == Rows::Months {
            let Some(month) = month(cell, complaints) else { continue };
            if months.iter().any(|(known, _)| *known == month) {
                complaints.push(
                    Diagnostic::error(
                        "date-order",
                        cell.span,
                        format!("{} comes twice", MONTHS.get(month).unwrap_or(&"a month")),
                    )
                    .label("each month comes once")
                    .why("only one of the two can be meant")
                    .hint("delete one of them; several years of weather are given day by day"),
                );
                continue;
            }
            let mut mean = DayWeather::on(NaiveDate::MIN);
            for (column, cell) in filled {
                set(&mut mean, column, cell, true, complaints);
            }
            months.push((month, mean));
            continue;
        }
        let Some(date) = values::date(&cell.text, "the date", cell.span, complaints) else { continue };
        if let Some(before) = days.last().filter(|before| before.date >= date) {
            complaints.push(
                Diagnostic::error(
                    "date-order",
                    cell.span,
                    format!("the weather of {date} comes after that of {}", before.date),
                )
                .label("each day comes once, the oldest first")
                .why("the forecast runs day by day")
                .hint("put the rows in order"),
            );
            continue;
        }
        let mut day = DayWeather::on(date);
        for (column, cell) in filled {
            set(&mut day, column, cell, false, complaints);
        }
        if let (Some(high), Some(low)) = (day.warmest, day.coldest)
            && high.si() < low.si()
        {
            complaints.push(
                Diagnostic::error(
                    "min-above-max",
                    row.span,
                    format!("the lowest temperature of {date} is above the highest"),
                )
                .label("one of the two is wrong")
                .why("evaporation goes by both")
                .hint("correct the row"),
            );
        }
        days.push(day);
    }
    let span = |key: &str| columns.iter().flatten().find(|c| c.key == key).map_or(head.span, |c| c.span);
    if kind == Rows::Months {
        months.sort_by_key(|(month, _)| *month);
        let normals = Normals {
            warmest: all(&months, span("max_temperature"), |d| d.warmest),
            coldest: all(&months, span("min_temperature"), |d| d.coldest),
            humidity: all(&months, span("humidity"), |d| d.humidity),
            wind: all(&months, span("wind"), |d| d.wind),
            sunshine: all(&months, span("sunshine"), |d| d.sunshine),
            sunlight: all(&months, span("radiation"), |d| d.sunlight),
            rain: all(&months, span("rain"), |d| d.rain),
        };
        short(&normals, &columns, head.span, complaints);
        return (normals, Vec::new());
    }
    let normals = Normals {
        warmest: mean(&days, span("max_temperature"), |d| d.warmest),
        coldest: mean(&days, span("min_temperature"), |d| d.coldest),
        humidity: mean(&days, span("humidity"), |d| d.humidity),
        wind: mean(&days, span("wind"), |d| d.wind),
        sunshine: mean(&days, span("sunshine"), |d| d.sunshine),
        sunlight: mean(&days, span("radiation"), |d| d.sunlight),
        rain: mean(&days, span("rain"), |d| d.rain)
            .map(|rain| Stated { value: of_months(rain.value), span: rain.span }),
    };
    short(&normals, &columns, head.span, complaints);
    (normals, days)
}

/// Complains of rain that does not reach through the year.
fn short(normals: &Normals, columns: &[Option<Column>], head: Span, complaints: &mut Diagnostics) {
    if normals.rain.is_none() && columns.iter().flatten().any(|c| c.key == "rain") {
        complaints.push(
            Diagnostic::error("short-weather", head, "the weather does not hold all twelve months")
                .label("each month of the calendar needs twenty days at least, or a row of its own")
                .why("the forecast runs through the year, and no month is guessed")
                .hint("add what is missing, or give twelve values a key in `[climate]`"),
        );
    }
}

/// Twelve months as they stand; `None` unless every month has its value.
fn all<Q: Si>(months: &[(usize, DayWeather)], span: Span, pick: impl Fn(&DayWeather) -> Option<Q>) -> Twelve<Q> {
    let values: Vec<Q> = months.iter().filter_map(|(_, mean)| pick(mean)).collect();
    <[Q; 12]>::try_from(values).ok().map(|value| Stated { value, span })
}

/// Days a month must have to make a normal.
const ENOUGH: usize = 20;

/// The mean day of each month of the calendar; `None` unless every month has days enough.
fn mean<Q: Si>(days: &[DayWeather], span: Span, pick: impl Fn(&DayWeather) -> Option<Q>) -> Twelve<Q> {
    let mut sums = [0.0; 12];
    let mut counts = [0_usize; 12];
    for day in days {
        let month = day.date.month0() as usize;
        if let (Some(value), Some(sum), Some(count)) = (pick(day), sums.get_mut(month), counts.get_mut(month)) {
            *sum += value.si();
            *count += 1;
        }
    }
    if counts.iter().any(|count| *count < ENOUGH) {
        return None;
    }
    let mut means = sums;
    for (mean, count) in means.iter_mut().zip(counts) {
        *mean /= count as f64;
    }
    Some(Stated { value: means.map(Q::from_si), span })
}

/// A mean day's rain as a month's, by the calendar's lengths (February 28.25 days).
fn of_months(daily: [Length; 12]) -> [Length; 12] {
    let mut out = daily;
    for (rain, days) in out.iter_mut().zip(MONTH_DAYS) {
        *rain = Length::from_si(rain.si() * days);
    }
    out
}

/// Days of each month, February as its mean.
pub const MONTH_DAYS: [f64; 12] = [31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];

fn column(cell: &Cell, complaints: &mut Diagnostics) -> Option<Column> {
    let (written, unit_text) = match cell.text.trim().split_once('[') {
        Some((name, rest)) => (name.trim(), Some(rest.trim().trim_end_matches(']').trim())),
        None => (cell.text.trim(), None),
    };
    let name = written.to_lowercase().replace('_', " ");
    let Some((key, _, kind)) = KEYS.iter().find(|(_, spaced, _)| *spaced == name) else {
        let names = KEYS.iter().map(|(_, spaced, _)| *spaced).chain(["date"]);
        let hint = match nearest(&name, names.clone()) {
            Some(near) => format!("write `{near}` if that is meant"),
            None => format!("delete it; known are {}", listed(names)),
        };
        complaints.push(
            Diagnostic::error(
                "unknown-column",
                cell.span,
                format!("`{}` is not a column of the weather", clipped(written)),
            )
            .label("this column is not known")
            .why("a column that is not known is not read")
            .hint(hint),
        );
        return None;
    };
    let example = bounds(key, false).unit.symbol;
    let unit = match unit_text.filter(|text| !text.is_empty()).map(|text| unit_named(*kind, text)) {
        Some(Ok(unit)) => Some(unit),
        Some(Err(_)) | None => {
            complaints.push(
                Diagnostic::error("missing-unit", cell.span, format!("the column `{name}` has no unit known here"))
                    .label("a unit in square brackets belongs here")
                    .why("the program does not guess units")
                    .hint(format!("write `{name} [{example}]`, or the unit it was measured in")),
            );
            return None;
        }
    };
    Some(Column { key, kind: *kind, unit, span: cell.span })
}

fn set(day: &mut DayWeather, column: &Column, cell: &Cell, monthly: bool, complaints: &mut Diagnostics) {
    let text = cell.text.trim();
    if text.is_empty() {
        return;
    }
    let what = values::spoken(column.key);
    let place = Place { what: &what, span: cell.span, column: column.unit, quoted: false };
    let Some(number) = values::number(text, Some(column.kind), bounds(column.key, monthly), place, complaints) else {
        return;
    };
    // "Less than a tenth of a millimetre" of rain is none.
    let si = if number.less_than { 0.0 } else { number.si };
    match column.key {
        "max_temperature" => day.warmest = Some(Si::from_si(si)),
        "min_temperature" => day.coldest = Some(Si::from_si(si)),
        "humidity" => day.humidity = Some(Si::from_si(si)),
        "wind" => day.wind = Some(Si::from_si(si)),
        "sunshine" => day.sunshine = Some(Si::from_si(si)),
        "radiation" => day.sunlight = Some(Si::from_si(si)),
        _ => day.rain = Some(Si::from_si(si)),
    }
}
