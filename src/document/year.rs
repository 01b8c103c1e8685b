//! The water year as templates and drawings see it.

use chrono::NaiveDate;
use minijinja::Value;

use super::Source;
use super::drawings::Drawings;
use super::lines::Lines;
use super::view::{figure_with, map, marks};
use super::words::Reader;
use crate::drawing::{self, MonthBars, Said, Ticks, YearLine};
use crate::page::Drawing;
use crate::page::style::MM;
use crate::plan::{Chance, Course, Flow, Method, Quantity, Side, YearPlan, month_name};
use crate::reference::{WINDOW_HIGH_DKH, WINDOW_LOW_DKH};
use crate::units::table::{DEGREE_KH, MICROSIEMENS, PERCENT};
use crate::units::{Digits, Length, group, plain};
use crate::workings::Figure;

const HARDNESS: &str = "carbonate-hardness";

fn side(side: Side) -> &'static str {
    match side {
        Side::Soft => "soft",
        Side::Hard => "hard",
    }
}

/// The key of a flow's sentence.
fn flow(flow: Flow) -> &'static str {
    match flow {
        Flow::Rain => "rain",
        Flow::Catchment => "catchment",
        Flow::Evaporation => "evaporation",
        Flow::Falls => "falls",
        Flow::Splash
        | Flow::Leak
        | Flow::ChangeOut
        | Flow::Overflow
        | Flow::CopperRelease
        | Flow::CopperLoss
        | Flow::CopperSolid => "other",
        Flow::DrainDown => "winter",
        Flow::ChangeIn => "change",
        Flow::Dose => "dose",
        Flow::Feed => "feed",
        Flow::TopUp => "top-up",
        Flow::Lime => "lime",
    }
}

/// `March`, or `17 to 28 February` where the year cuts it.
pub(super) fn month_words((first, last): (NaiveDate, NaiveDate), reader: &Reader) -> String {
    use chrono::Datelike as _;
    let name = month_name(first.month0() as usize);
    let next = last.succ_opt().unwrap_or(last);
    if first.day() == 1 && next.day() == 1 {
        return format!("{name} {}", first.year());
    }
    let days =
        if first.day() == last.day() { first.day().to_string() } else { format!("{} to {}", first.day(), last.day()) };
    if reader.american() { format!("{name}\u{a0}{days}") } else { format!("{days}\u{a0}{name}") }
}

/// A volume's number in the reader's unit: whole, and with a decimal under ten.
fn volume(reader: &Reader, si: f64) -> String {
    let amount = reader.volume_unit().of(si.max(0.0));
    let places = if (0.05..9.95).contains(&amount) { 1 } else { 0 };
    group(amount, Digits::Places(places))
}

/// A depth of evaporation with its unit and its line.
fn depth(lines: &Lines, reader: &Reader, figure: &Figure<Length>) -> Value {
    let shown = reader.shown("rain");
    figure_with(lines, figure.id(), format!("{}\u{a0}{}", reader.number("rain", figure.si()), shown.symbol))
}

/// A little chlorine, in two digits.
fn chlorine(reader: &Reader, si: f64) -> String {
    let shown = reader.shown("chlorine");
    format!("{}\u{a0}{}", plain(shown.unit.of(si), Digits::Significant(2)), shown.symbol)
}

fn outside(hardness: f64) -> bool {
    hardness < DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9) || hardness >= DEGREE_KH.si(WINDOW_HIGH_DKH) * (1.0 - 1e-9)
}

/// The view of the forecast; `None` where there is none.
pub(super) fn view(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    let year = match &source.plan.year {
        Ok(year) => year,
        Err(why) => return map! { "known" => false, "why" => why.key() },
    };
    let hardness = |si: f64| reader.quantity(HARDNESS, si);
    let (course, date, which) = match year.course {
        Course::Inside => ("inside", None, ""),
        Course::Leaves(date, out) => ("leaves", Some(date), side(out)),
        Course::Outside(out) => ("outside", None, side(out)),
    };
    let by = |change: f64| {
        let number = reader.number(HARDNESS, change.abs());
        map! { "text" => format!("{number}\u{a0}{}", reader.shown(HARDNESS).symbol), "up" => change > 0.0 }
    };
    let months: Vec<Value> = year
        .months
        .iter()
        .map(|m| {
            map! {
                "name" => month_words((m.first, m.last), reader),
                "evaporation" => reader.number("rain", m.evaporation.si()),
                "rain" => reader.number("rain", m.rain.si()),
                "top_up" => volume(reader, m.top_up.si()),
                "hardness" => reader.number(HARDNESS, m.hardness.si()),
                "general" => reader.number("general-hardness", m.general.si()),
                "conductivity" => reader.number("conductivity", m.conductivity.si()),
                "outside" => outside(m.hardness.si()),
                "out" => m.out.as_ref().map(|out| plain(PERCENT.of(out.si()), Digits::Places(0))),
                "marks" => marks(
                    lines,
                    [
                        m.top_up.id(),
                        m.hardness.id(),
                        m.general.id(),
                        m.conductivity.id(),
                        m.evaporation.id(),
                        m.rain.id(),
                        m.out.as_ref().and_then(Figure::id),
                    ]
                    .into_iter()
                    .flatten(),
                ),
            }
        })
        .collect();
    let reasons: Vec<Value> =
        year.reasons.iter().map(|r| map! { "flow" => flow(r.flow), "by" => by(r.change.si()) }).collect();
    map! {
        "known" => true,
        "from" => reader.long_date(year.first),
        "until" => year.days.last().map(|d| reader.day_year(d.date)),
        "origin" => year.origin.as_str(),
        "method" => match year.method {
            Method::PenmanMonteith => "penman",
            Method::Hargreaves => "hargreaves",
            Method::Drop => "drop",
        },
        "course" => course,
        "side" => which,
        "supply_side" => year.supply.map_or("", side),
        "date" => date.map(|d| reader.day_year(d)),
        "early" => date.map(|d| reader.day_year(early(year, d))),
        "start" => figure_with(lines, year.start.id(), hardness(year.start.si())),
        "lowest" => figure_with(lines, year.lowest.0.id(), hardness(year.lowest.0.si())),
        "lowest_on" => reader.day_year(year.lowest.1),
        "highest" => figure_with(lines, year.highest.0.id(), hardness(year.highest.0.si())),
        "highest_on" => reader.day_year(year.highest.1),
        "date_mark" => marks(lines, year.left.as_ref().and_then(Figure::id)),
        "reasons" => reasons,
        "reasons_from" => reader.day_year(year.reasons_over.0),
        "reasons_until" => reader.day_year(year.reasons_over.1),
        "change" => by(year.change.si()),
        "change_mark" => marks(lines, year.change.id()),
        "balance_mark" => marks(lines, ["year.balance"]),
        "top_up" => figure_with(lines, year.top_up.id(), reader.volume(year.top_up.si(), crate::workings::Way::Up)),
        "evaporation" => depth(lines, reader, &year.evaporation.0),
        "penman" => year.evaporation.1.as_ref().map(|p| depth(lines, reader, p)),
        "months" => months,
        "range" => year.chance.as_ref().map(|chance| range(year, chance, reader, lines)),
        "rain_unit" => reader.shown("rain").symbol,
        "hardness_unit" => reader.shown(HARDNESS).symbol,
        "general_unit" => reader.shown("general-hardness").symbol,
        "floor_mark" => marks(lines, year.floor.as_ref().and_then(|f| f.id())),
        "salt_over" => year.salt_over.as_ref().map(|(date, found)| figure_with(lines, found.id(), reader.day_year(*date))),
        "least" => super::least::view(source, reader, lines),
        "valve" => year.valve.as_ref().map(|v| map! {
            "a_day" => figure_with(lines, v.a_day.id(), chlorine(reader, v.a_day.si())),
            "rest" => figure_with(lines, v.rest.id(), chlorine(reader, v.rest.si())),
            "limit" => figure_with(lines, v.limit.id(), chlorine(reader, v.limit.si())),
            "ammonia" => v.ammonia.as_ref().map(|n| {
                let shown = reader.shown("chlorine");
                let words = format!("{}\u{a0}{}", plain(crate::units::table::AMMONIA_N.of(n.si()), Digits::Significant(2)), shown.symbol);
                figure_with(lines, n.id(), words)
            }),
            // What rounds to nothing in the owner's unit is not spoken of.
            "copper" => v.copper.as_ref().filter(|c| reader.number("total-copper", c.si()).contains(|d| ('1'..='9').contains(&d))).map(|c| {
                figure_with(lines, c.id(), reader.quantity("total-copper", c.si()))
            }),
            "month" => month_name(v.month),
        }),
    }
}

/// The day to be ready for: the middle year's, or where one year in ten leaves before it, that one's.
fn early(year: &YearPlan, date: NaiveDate) -> NaiveDate {
    let first = year.chance.as_ref().and_then(|chance| chance.by.first().copied().flatten());
    first.map_or(date, |(day, _)| day.min(date))
}

/// How far other years come from the middle one.
fn range(year: &YearPlan, chance: &Chance, reader: &Reader, lines: &Lines) -> Value {
    let tenths = libm::round(10.0 * chance.out.si());
    let ends = [&chance.last.0, &chance.last.1];
    let day = |at: usize| chance.by.get(at).copied().flatten().map(|(date, _)| reader.day_year(date));
    // A day on which it is out from the start says nothing.
    let first = year.days.first().map(|d| reader.day_year(d.date));
    let told = |at: usize| day(at).filter(|date| Some(date) != first.as_ref());
    map! {
        "years" => group(f64::from(chance.draw.members), Digits::Places(0)),
        "seed" => chance.draw.seed.to_string(),
        "low" => figure_with(lines, ends[0].id(), reader.number(HARDNESS, ends[0].si())),
        "high" => figure_with(lines, ends[1].id(), reader.quantity(HARDNESS, ends[1].si())),
        "out" => figure_with(lines, chance.out.id(), plain(tenths, Digits::Places(0))),
        "never" => chance.out.si() < 0.05,
        "always" => chance.out.si() >= 0.95,
        "side" => chance.by.iter().flatten().next().map_or("", |(_, out)| side(*out)),
        "one_in_ten" => told(0),
        "half" => told(1),
        "nine_in_ten" => told(2),
    }
}

/// The 10 and 90 % ends of a quantity on every day, in a unit; empty without an ensemble.
fn band(year: &YearPlan, quantity: Quantity, told: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
    let ranges = year.chance.iter().flat_map(|chance| chance.counted.ranges(quantity));
    ranges.map(|range| (told(range.low), told(range.high))).unzip()
}

/// The line of a title that says what the band is.
const EIGHT_IN_TEN: &str = "band: 8 years in 10";

fn series(year: &YearPlan, pick: impl Fn(&crate::plan::Daily) -> f64) -> Vec<f64> {
    year.days.iter().map(pick).collect()
}

/// Title lines, with what the band is where there is one.
fn titled(words: [&str; 2], range: &(Vec<f64>, Vec<f64>)) -> Vec<String> {
    let band = (!range.0.is_empty()).then_some(EIGHT_IN_TEN);
    words.into_iter().chain(band).map(str::to_owned).collect()
}

/// Carbonate hardness over the year.
pub(super) fn hardness(drawings: &Drawings<'_>) -> Option<Drawing> {
    let (source, reader) = (drawings.source, drawings.reader);
    let year = source.plan.year.as_ref().ok()?;
    let unit = reader.shown(HARDNESS).unit;
    let symbol = reader.shown(HARDNESS).symbol;
    let (low, high) = (DEGREE_KH.si(WINDOW_LOW_DKH), DEGREE_KH.si(WINDOW_HIGH_DKH));
    let middle = series(year, |d| unit.of(d.hardness()));
    let range = band(year, Quantity::Hardness, |si| unit.of(si));
    let mut axis = vec![
        (unit.of(high), format!("{}\u{a0}{symbol}", reader.target(HARDNESS, high))),
        (unit.of(low), reader.target(HARDNESS, low)),
    ];
    let other = year.least.as_ref().and_then(|least| {
        let words = super::least::line_words(least)?;
        let evenings = match &least.blend {
            Some(blend) if least.evenings.is_empty() => &blend.evenings,
            _ => &least.evenings,
        };
        (!evenings.is_empty()).then(|| (evenings.iter().map(|v| unit.of(*v)).collect::<Vec<f64>>(), words.to_owned()))
    });
    let all = middle.iter().chain(&range.0).chain(&range.1).copied();
    let ends = all.fold((f64::INFINITY, f64::NEG_INFINITY), |e: (f64, f64), v| (e.0.min(v), e.1.max(v)));
    if ends.0 < unit.of(low) * 0.7 {
        axis.push((0.0, "0".into()));
    }
    if ends.1 > unit.of(high) * 1.15 {
        axis.push((ends.1, group(ends.1, Digits::Places(reader.shown(HARDNESS).places))));
    }
    let first = year.days.first()?.date;
    let mark = match year.course {
        Course::Leaves(date, Side::Soft) => {
            Some((date, vec![reader.day(date), format!("under {}", reader.target(HARDNESS, low))]))
        }
        Course::Leaves(date, Side::Hard) => {
            Some((date, vec![reader.day(date), format!("{} or more", reader.target(HARDNESS, high))]))
        }
        _ => None,
    };
    let last = year.days.last()?;
    let verdict = match year.course {
        Course::Inside => "stays inside the window all year".to_owned(),
        Course::Leaves(date, Side::Soft) => format!("falls under the window on {}", reader.day_year(date)),
        Course::Leaves(date, Side::Hard) => format!("rises over the window on {}", reader.day_year(date)),
        Course::Outside(Side::Soft) => "stays under the window".to_owned(),
        Course::Outside(Side::Hard) => "stays over the window".to_owned(),
    };
    let line = YearLine {
        width: drawings.width(),
        first,
        window: Some((unit.of(low), unit.of(high))),
        ceiling: None,
        axis,
        mark,
        title: titled(["Carbonate hardness", "forecast of each evening"], &range),
        inside: vec!["the window".into()],
        alternative: format!(
            "Carbonate hardness {verdict}; it ends at {}{}.{}",
            reader.quantity(HARDNESS, last.hardness()),
            year.chance.as_ref().map_or_else(String::new, |chance| {
                let (low, high) = (&chance.last.0, &chance.last.1);
                let (low, high) = (reader.number(HARDNESS, low.si()), reader.quantity(HARDNESS, high.si()));
                format!(", in eight years of ten between {low} and {high}")
            }),
            other.as_ref().map_or_else(String::new, |(line, words)| {
                let end = line.last().copied().unwrap_or(0.0);
                format!(" A thin line shows it {words}; it ends at {}.", reader.quantity(HARDNESS, unit.si(end)))
            })
        ),
        height: drawings.chart(58.0),
        lines: drawings.numbers([year.start.id(), Some("target.carbonate-hardness.low"), Some("year.balance")]),
        middle,
        range,
        other,
    };
    Some(drawing::year_line(&line, source.fonts))
}

/// Conductivity over the year.
pub(super) fn conductivity(drawings: &Drawings<'_>) -> Option<Drawing> {
    let (source, reader) = (drawings.source, drawings.reader);
    let year = source.plan.year.as_ref().ok()?;
    let middle = series(year, |d| d.conductivity);
    let target = source.plan.readings.iter().find(|r| r.key == "conductivity").and_then(|r| r.high);
    let range = band(year, Quantity::Conductivity, |value| value);
    let all = middle.iter().chain(&range.0).chain(&range.1).copied();
    let ends = all.fold((f64::INFINITY, 0.0), |e: (f64, f64), v| (e.0.min(v), e.1.max(v)));
    // A ceiling far over the line would flatten it: then it is left to the words.
    let ceiling = target.map(|t| MICROSIEMENS.of(t)).filter(|t| *t <= ends.1 * 1.6).map(|t| {
        let lines = drawings.numbers([Some("target.conductivity.high")]);
        (t, Said::new(format!("{} or more: change water", group(t, Digits::Places(0))), lines))
    });
    let axis = Ticks::around(ends.0, ends.1, 4).numbers();
    let first = year.days.first()?.date;
    let number = |v: f64| reader.quantity("conductivity", MICROSIEMENS.si(v));
    let line = YearLine {
        width: drawings.width(),
        first,
        window: None,
        ceiling,
        axis,
        mark: None,
        title: titled(["Conductivity", "µS/cm at 25 °C"], &range),
        inside: Vec::new(),
        alternative: format!(
            "Conductivity goes from {} to {}, between {} and {}.",
            number(middle.first().copied()?),
            number(middle.last().copied()?),
            number(ends.0),
            number(ends.1)
        ),
        height: 38.0 * MM,
        lines: drawings.numbers(year.months.last().map(|m| m.conductivity.id())),
        middle,
        range,
        other: None,
    };
    Some(drawing::year_line(&line, source.fonts))
}

/// What is topped up, by month.
pub(super) fn top_up(drawings: &Drawings<'_>) -> Option<Drawing> {
    let (source, reader) = (drawings.source, drawings.reader);
    let year = source.plan.year.as_ref().ok()?;
    let first = year.days.first()?.date;
    let bars = year
        .months
        .iter()
        .map(|m| {
            let after = m.last.succ_opt().unwrap_or(m.last);
            let printed = volume(reader, m.top_up.si());
            // What rounds to nothing is nothing, and gets no bar.
            let amount = if printed == "0" { 0.0 } else { m.top_up.si() };
            (m.first, after, amount, printed)
        })
        .collect();
    let bars = MonthBars {
        width: drawings.width(),
        height: 34.0 * MM,
        first,
        days: year.days.len(),
        lines: drawings.numbers([year.top_up.id()]),
        bars,
        title: vec!["Topped up".into(), format!("{} in each month", reader.volume_word())],
        alternative: format!(
            "In the year {} are topped up.",
            reader.volume(year.top_up.si(), crate::workings::Way::Up)
        ),
    };
    Some(drawing::month_bars(&bars, source.fonts))
}
