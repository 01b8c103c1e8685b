//! The log: readings over months or years, one panel a reading, on one time axis.

use chrono::NaiveDate;

use super::canvas::{Canvas, OVER_AXIS, Said, Spot, TEXT};
use super::scale::{MonthNames, Scale, TimeAxis, YEAR_ROOM, extent, nothing, tame, tame_height, tame_width};
use crate::page::fonts::Fonts;
use crate::page::{Drawing, Face, Ink};

/// One visit.
#[derive(Clone, Debug)]
pub struct Point {
    /// Its day.
    pub date: NaiveDate,
    /// The reading.
    pub value: f64,
    /// The reading as printed; empty for none.
    pub label: String,
    /// The kit could only say "less than this": an open mark with a tick down, joined to nothing.
    pub less_than: bool,
}

/// A limit of copper.
#[derive(Clone, Debug)]
pub struct Limit {
    /// Its value.
    pub value: f64,
    /// Its name, value and what to do.
    pub said: Said,
}

/// One reading over the visits.
#[derive(Clone, Debug, Default)]
pub struct Panel {
    /// Height, without the names of months.
    pub height: f32,
    /// Title lines, in the label column, where the regions do not name it.
    pub title: Vec<String>,
    /// The visits, in any order.
    pub points: Vec<Point>,
    /// Whether a line joins them.
    pub joined: bool,
    /// What a model makes of them, run by run: day and value, in order.
    pub model: Vec<Vec<(NaiveDate, f64)>>,
    /// Low edge of the window.
    pub low: Option<f64>,
    /// High edge of the window.
    pub high: Option<f64>,
    /// Lines that prove the window.
    pub window_lines: Vec<u32>,
    /// The stop limit.
    pub stop: Option<Limit>,
    /// The watch limit.
    pub watch: Option<Limit>,
    /// Values worth a number at the right, with that number; the scale shows them all.
    pub axis: Vec<(f64, String)>,
    /// Name of what lies above the window.
    pub above: Vec<String>,
    /// Name of the window.
    pub inside: Vec<String>,
    /// Name of what lies below the window.
    pub below: Vec<String>,
}

/// Readings over the visits, panel under panel.
#[derive(Clone, Debug)]
pub struct Log {
    /// Width of the main column.
    pub width: f32,
    /// The first day; its whole month is shown.
    pub first: NaiveDate,
    /// The last day; its whole month is shown.
    pub last: NaiveDate,
    /// The panels, top to bottom.
    pub panels: Vec<Panel>,
    /// What the chart says, in words.
    pub alternative: String,
}

/// Up to this many points all carry their value.
const ALL_LABELLED: usize = 12;
/// Between two panels.
const BETWEEN: f32 = 16.0;
/// Readings over this many times the largest limit or window edge leave the scale, so that those keep their place.
const MOST_OVER: f64 = 4.0;

/// Draws the log, with the months under the lowest panel.
#[must_use]
pub fn log(c: &Log, fonts: &Fonts) -> Drawing {
    let panels: Vec<&Panel> = c.panels.iter().filter(|panel| !panel.points.is_empty()).collect();
    if panels.is_empty() {
        return nothing(c.width, fonts, &c.alternative);
    }
    let width = tame_width(c.width);
    let heights: Vec<f32> = panels.iter().map(|panel| tame_height(panel.height, 48.0)).collect();
    let between = BETWEEN * super::scale::length(panels.len() - 1);
    let height = heights.iter().sum::<f32>() + between + YEAR_ROOM;
    let mut canvas = Canvas::new(fonts, width, height);
    let time = TimeAxis::months(c.first.min(c.last), c.last.max(c.first), width);
    let mut top = 0.0;
    for (index, (panel, height)) in panels.iter().zip(heights).enumerate() {
        let bottom = top + height;
        if index + 1 == panels.len() {
            time.draw(&mut canvas, bottom, MonthNames::with_years());
        } else {
            time.draw_ticks(&mut canvas, bottom, Ink::Quiet);
        }
        canvas.fence(&[(0.0, bottom), (width, bottom)]);
        draw_panel(&mut canvas, panel, &time, (top, bottom), width);
        top = bottom + BETWEEN;
    }
    canvas.finish(&c.alternative)
}

/// The scale of a panel between two heights.
fn scale_of(panel: &Panel, bottom: f32, top: f32) -> Scale {
    let edges = [panel.low, panel.high].into_iter().flatten();
    let limits = [&panel.stop, &panel.watch].into_iter().flatten().map(|limit| limit.value);
    let fixed = extent(edges.chain(limits).chain(panel.axis.iter().map(|(value, _)| *value)));
    let modelled = panel.model.iter().flatten().map(|(_, value)| *value);
    let read = extent(panel.points.iter().map(|point| point.value).chain(modelled)).unwrap_or((0.0, 0.0));
    let (low, high) = match fixed {
        Some((low, high)) if high > 0.0 => (low.min(read.0), high.max(read.1.min(high * MOST_OVER))),
        Some((low, high)) => (low.min(read.0), high.max(read.1)),
        None => read,
    };
    Scale::new(low, high, bottom, top)
}

fn draw_panel(canvas: &mut Canvas<'_>, panel: &Panel, time: &TimeAxis, (top, bottom): (f32, f32), width: f32) {
    let mut points: Vec<&Point> = panel.points.iter().collect();
    points.sort_by_key(|point| point.date);
    let head = if panel.above.is_empty() { OVER_AXIS } else { 24.0 };
    let scale = scale_of(panel, bottom, top + head);
    draw_window(canvas, panel, &scale, (top, bottom), width);
    draw_limits(canvas, panel, &scale, width);
    canvas.title(top + 9.0, &panel.title);
    let edge = |value: f64| [panel.low, panel.high].into_iter().flatten().any(|edge| tame(edge) == tame(value));
    // The window's edges first, then the top one: who comes first gets the room.
    let mut axis: Vec<&(f64, String)> = panel.axis.iter().collect();
    axis.sort_by(|a, b| edge(b.0).cmp(&edge(a.0)).then(tame(b.0).total_cmp(&tame(a.0))));
    for (value, text) in axis {
        canvas.axis_number(scale.at(*value), !edge(*value), text);
    }
    let places = draw_points(canvas, panel, &points, time, &scale, width);
    label_limits(canvas, panel, &scale, width);
    label_points(canvas, &points, &places, (top, bottom), width);
}

fn draw_window(canvas: &mut Canvas<'_>, panel: &Panel, scale: &Scale, (top, bottom): (f32, f32), width: f32) {
    if panel.low.is_none() && panel.high.is_none() {
        return;
    }
    let low = panel.low.map_or(bottom, |low| scale.at(low));
    let high = panel.high.map_or(top, |high| scale.at(high));
    let (low, high) = (low.max(high), low.min(high));
    canvas.slab(0.0, high, width, low, Ink::Window);
    for (edge, y) in [(panel.low, low), (panel.high, high)] {
        if edge.is_some() {
            canvas.line(&[(0.0, y), (width, y)], 0.5, Ink::Ink);
            canvas.fence(&[(0.0, y), (width, y)]);
        }
    }
    canvas.region((low + high) / 2.0, Face::SansSemibold, Ink::Ink, &panel.inside);
    if panel.low.is_some() {
        canvas.region((low + bottom) / 2.0, Face::Sans, Ink::Quiet, &panel.below);
    }
    if panel.high.is_some() {
        canvas.region((high - 12.0).max(top + 10.0), Face::Sans, Ink::Quiet, &panel.above);
    }
    canvas.prove(&panel.window_lines);
}

fn draw_limits(canvas: &mut Canvas<'_>, panel: &Panel, scale: &Scale, width: f32) {
    if let Some(watch) = &panel.watch {
        canvas.watch_line(scale.at(watch.value), width);
    }
    if let Some(stop) = &panel.stop {
        canvas.stop_line(scale.at(stop.value), width);
    }
}

fn label_limits(canvas: &mut Canvas<'_>, panel: &Panel, scale: &Scale, width: f32) {
    for limit in [&panel.stop, &panel.watch].into_iter().flatten() {
        canvas.limit_words(scale.at(limit.value), width, &limit.said);
    }
}

fn draw_points(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    points: &[&Point],
    time: &TimeAxis,
    scale: &Scale,
    width: f32,
) -> Vec<(f32, f32)> {
    let places: Vec<(f32, f32)> =
        points.iter().map(|point| (time.at(point.date).clamp(3.0, width - 3.0), scale.at(point.value))).collect();
    for run in &panel.model {
        let curve: Vec<(f32, f32)> =
            run.iter().map(|(date, value)| (time.at(*date).clamp(0.0, width), scale.at(*value))).collect();
        canvas.line(&curve, 0.8, Ink::Ink);
        canvas.fence(&curve);
    }
    if panel.joined {
        let known: Vec<(f32, f32)> =
            points.iter().zip(&places).filter(|(point, _)| !point.less_than).map(|(_, place)| *place).collect();
        canvas.line(&known, 0.8, Ink::Ink);
        canvas.fence(&known);
    }
    let latest = points.len().saturating_sub(1);
    for (index, (point, (x, y))) in points.iter().zip(&places).enumerate() {
        let (x, y) = (*x, *y);
        match (index == latest, point.less_than) {
            (true, false) => canvas.lozenge(x, y),
            (true, true) => canvas.open_lozenge(x, y),
            (false, false) => canvas.dot(x, y),
            (false, true) => canvas.open_dot(x, y),
        }
        let (half_width, half_height) = if index == latest { (3.2, 4.4) } else { (2.2, 2.2) };
        canvas.block(x, y, half_width, half_height);
        if point.less_than {
            canvas.block(x, y + half_height + 1.6, 1.0, 2.0);
        }
        if tame(point.value) > scale.high() {
            canvas.arrow_up(x, y - half_height - 5.4);
            canvas.block(x, y - half_height - 3.3, 2.2, 2.1);
        }
    }
    places
}

/// The latest first, then the extremes and the first, then the rest: who comes first gets the room.
fn label_points(
    canvas: &mut Canvas<'_>,
    points: &[&Point],
    places: &[(f32, f32)],
    (top, bottom): (f32, f32),
    width: f32,
) {
    let Some(latest) = points.len().checked_sub(1) else { return };
    let value = |at: &usize| points.get(*at).map_or(0.0, |point| tame(point.value));
    let by_value = |a: &usize, b: &usize| value(a).total_cmp(&value(b));
    let mut order = vec![latest];
    order.extend((0..points.len()).max_by(by_value));
    order.extend((0..points.len()).min_by(by_value));
    order.push(0);
    if points.len() <= ALL_LABELLED {
        order.extend(0..points.len());
    }
    let mut done: Vec<usize> = Vec::new();
    for index in order {
        if done.contains(&index) {
            continue;
        }
        done.push(index);
        let (Some(point), Some((x, y))) = (points.get(index), places.get(index)) else { continue };
        if point.label.is_empty() {
            continue;
        }
        let (face, reach) = if index == latest { (Face::SansSemibold, 6.2) } else { (Face::Sans, 4.8) };
        let half = canvas.measure(face, TEXT, &point.label) / 2.0;
        let middle = x.clamp(half.min(width / 2.0), (width - half).max(width / 2.0));
        let deeper = if point.less_than { 4.0 } else { 0.0 };
        let over = Spot::middle(middle, y - reach);
        let under = Spot::middle(middle, y + reach + deeper + 5.6);
        // A valley is labelled below, all else above first.
        let neighbour = |at: Option<usize>| at.and_then(|at| places.get(at)).map_or(*y, |place| place.1);
        let before = neighbour(index.checked_sub(1));
        let after = neighbour(Some(index + 1));
        let valley = (before + after) / 2.0 < y - 0.5 && before <= y + 0.5 && after <= y + 0.5;
        let (near, far) = if valley { (under, over) } else { (over, under) };
        // Beside the point where above and below are taken.
        let gap = if index == latest { 6.5 } else { 5.0 };
        let (left, right) = (Spot::end(x - gap, y + 2.7), Spot::start(x + gap, y + 2.7));
        let beside = if x + gap + half * 2.0 <= width { [right, left] } else { [left, left] };
        // Not among the names of months, nor in the panel above.
        let inside = |spot: &Spot| spot.x >= 0.0 && spot.y <= bottom - 1.0 && spot.y >= top + 6.0;
        let spots: Vec<Spot> = [near, far].into_iter().chain(beside).filter(inside).collect();
        canvas.label(&spots, face, TEXT, Ink::Ink, &point.label);
    }
}
