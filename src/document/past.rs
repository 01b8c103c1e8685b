//! What the log says of the model, as templates and drawings see it.

use minijinja::Value;

use super::Source;
use super::drawings::Drawings;
use super::lines::Lines;
use super::view::{figure_with, map, marks, reading_name};
use super::words::Reader;
use crate::drawing::{self, Log, Panel, Point, Ticks};
use crate::page::Drawing;
use crate::page::style::MM;
use crate::plan::{Break, Number, PastPlan, with_unit};
use crate::reference::{WINDOW_HIGH_DKH, WINDOW_LOW_DKH};
use crate::units::table::{DEGREE_KH, IMPERIAL_GALLONS_PER_DAY, LITRES_PER_DAY, US_GALLONS_PER_DAY};
use crate::units::{Digits, Ratio, Si, System, VolumeRate, plain};
use crate::workings::Figure;

const HARDNESS: &str = "carbonate-hardness";

/// A slow loss in words: `12 litres a day`, `3 gallons a day`.
fn rate(reader: &Reader, si: f64) -> String {
    let (unit, word) = match reader.system() {
        System::Metric => (&LITRES_PER_DAY, "litre"),
        System::Us => (&US_GALLONS_PER_DAY, "gallon"),
        System::Imperial => (&IMPERIAL_GALLONS_PER_DAY, "gallon"),
    };
    let amount = unit.of(si.max(0.0));
    let number = plain(amount, if amount < 10.0 { Digits::Places(1) } else { Digits::Places(0) });
    let number = number.trim_end_matches(".0").to_owned();
    let plural = if number == "1" { "" } else { "s" };
    format!("{number}\u{a0}{word}{plural} a day")
}

/// One of the two numbers. `none` is whether the value rounds to nothing.
fn number<Q: Si>(lines: &Lines, number: &Number<Q>, say: &dyn Fn(f64) -> String, none: f64) -> Value {
    match number {
        Number::Stated => map! { "key" => "stated" },
        Number::Untold => map! { "key" => "untold" },
        Number::Told { value, low, high } => map! {
            "key" => "told",
            "value" => figure_with(lines, value.id(), say(value.si())),
            "low" => figure_with(lines, low.id(), say(low.si())),
            "high" => figure_with(lines, high.id(), say(high.si())),
            "none" => value.si() < none,
            "from_none" => low.si() < none,
        },
    }
}

fn found(found: &Break, reader: &Reader, lines: &Lines) -> Value {
    let say = |si: f64| reader.quantity(found.what, si);
    map! {
        "what" => found.what.replace('-', " "),
        "from" => reader.day_year(found.from.0),
        "to" => reader.day_year(found.to.0),
        "before" => say(found.from.1),
        "after" => say(found.to.1),
        "expected" => figure_with(lines, found.line.as_deref(), say(found.expected)),
        "rose" => found.rose,
    }
}

/// What the log says of the model; nothing where there is no past to look back upon.
pub(super) fn view(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let past = source.plan.year.as_ref().ok()?.past.as_ref()?;
    let share = |figure: &Figure<Ratio>| {
        let words = format!("{}\u{a0}%", plain(100.0 * figure.si(), Digits::Places(0)));
        figure_with(lines, figure.id(), words)
    };
    let factor = |si: f64| plain(si, Digits::Places(2));
    // Half a litre a day, in any unit: less is none.
    let none = LITRES_PER_DAY.si(0.5);
    let key = past.tracer_key();
    Some(map! {
        "from" => reader.day_year(past.span.0),
        "until" => reader.day_year(past.span.1),
        "visits" => past.visits,
        "tracer" => key,
        "misfit" => past.misfit.as_ref().map(|misfit| map! {
            "tracer" => figure_with(lines, misfit.tracer_line.as_deref(), reader.quantity(key, misfit.tracer)),
            "share" => format!("{}\u{a0}%", plain(100.0 * misfit.share, Digits::Significant(2))),
            "hardness" => figure_with(lines, misfit.hardness.id(), reader.quantity(HARDNESS, misfit.hardness.si())),
        }),
        "loss" => number::<VolumeRate>(lines, &past.loss, &|si| rate(reader, si), none),
        "named" => past.mended.as_ref().map(|(leak, _)| figure_with(lines, leak.id(), rate(reader, leak.si()))),
        "mended" => past.mended.as_ref().map(|(_, until)| reader.day_year(*until)),
        "factor" => number::<Ratio>(lines, &past.factor, &factor, 0.0),
        "allowed" => marks(lines, [past.allowed.0.id(), past.allowed.1.id()].into_iter().flatten()),
        "falls" => past.falls.as_ref().map(share),
        "still" => past.still.as_ref().map(|still| figure_with(lines, still.id(), rate(reader, still.si()))),
        "breaks" => past.breaks.iter().map(|b| found(b, reader, lines)).collect::<Vec<_>>(),
        "own_weather" => past.weather.0 * 10 >= past.weather.1 * 9,
    })
}

/// What a break says in one line, for those who read no page.
#[must_use]
pub fn break_words(found: &Break, reader: &Reader) -> String {
    let say = |si: f64| reader.quantity(found.what, si);
    format!(
        "{} {} on {} and {} on {}, where {} was to be expected",
        found.what.replace('-', " "),
        say(found.from.1),
        reader.day_year(found.from.0),
        say(found.to.1),
        reader.day_year(found.to.0),
        say(found.expected)
    )
}

fn course(past: &PastPlan, pick: impl Fn(&crate::plan::PastDay) -> f64) -> Vec<Vec<(chrono::NaiveDate, f64)>> {
    past.runs.iter().map(|run| run.iter().map(|day| (day.date, pick(day))).collect()).collect()
}

/// Readings as marks, and the model as a line: carbonate hardness, and under it the tracer.
pub(super) fn drawn(drawings: &Drawings<'_>) -> Option<Drawing> {
    let (source, reader) = (drawings.source, drawings.reader);
    let past = source.plan.year.as_ref().ok()?.past.as_ref()?;
    let misfit = past.misfit.as_ref()?;
    let since = past.span.0;
    let shown = reader.shown(HARDNESS);
    let mut points = drawings.points(HARDNESS, |r| r.carbonate_hardness.as_ref());
    points.retain(|point| point.date >= since);
    let unit = shown.unit;
    let (low, high) = (DEGREE_KH.si(WINDOW_LOW_DKH), DEGREE_KH.si(WINDOW_HIGH_DKH));
    let hardness = Panel {
        height: drawings.chart(40.0),
        points: unlabelled(points),
        model: course(past, |day| unit.of(day.hardness)),
        low: Some(unit.of(low)),
        high: Some(unit.of(high)),
        window_lines: drawings.numbers([misfit.hardness.id()]),
        axis: vec![
            (unit.of(high), with_unit(&reader.target(HARDNESS, high), shown.symbol)),
            (unit.of(low), reader.target(HARDNESS, low)),
        ],
        above: Vec::new(),
        inside: vec!["Carbonate hardness:".into(), "marks read, line model".into()],
        below: Vec::new(),
        ..Panel::default()
    };
    let key = past.tracer_key();
    let of_tracer = reader.shown(key);
    let mut points = match past.tracer {
        crate::plan::Tracer::Conductivity => drawings.points(key, |r| r.conductivity.as_ref()),
        crate::plan::Tracer::Chloride => drawings.points(key, |r| r.chloride.as_ref()),
    };
    points.retain(|point| point.date >= since);
    let model = course(past, |day| of_tracer.unit.of(day.tracer));
    let values = || points.iter().map(|p| p.value).chain(model.iter().flatten().map(|(_, value)| *value));
    let ends = values().fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
    let tracer = Panel {
        height: 34.0 * MM,
        title: vec![reading_name(key).into(), of_tracer.symbol.into()],
        axis: Ticks::around(ends.0, ends.1, 4).numbers(),
        window_lines: drawings.numbers([misfit.tracer_line.as_deref()]),
        points: unlabelled(points),
        model,
        ..Panel::default()
    };
    let alternative = format!(
        "Readings of {} visits and what the model makes of them: on average the readings of {} lie {} from the line, those of \
         carbonate hardness {}.",
        past.visits,
        reading_name(key).to_lowercase(),
        reader.quantity(key, misfit.tracer),
        reader.quantity(HARDNESS, misfit.hardness.si()),
    );
    let log =
        Log { width: drawings.width(), first: since, last: past.span.1, panels: vec![hardness, tracer], alternative };
    Some(drawing::log(&log, source.fonts))
}

/// The chart of the log has their numbers.
fn unlabelled(points: Vec<Point>) -> Vec<Point> {
    points.into_iter().map(|point| Point { label: String::new(), ..point }).collect()
}
