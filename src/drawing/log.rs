//! The log: one reading over months or years, against its window.

use chrono::NaiveDate;

use super::scale::{Canvas, MonthNames, Scale, Spot, TimeAxis, extent, nothing, tame, tame_width, text_width};
use crate::page::style::MM;
use crate::page::{Drawing, Face, Ink};

/// One visit.
#[derive(Clone, Debug)]
pub struct Point {
    /// Its day.
    pub date: NaiveDate,
    /// The reading.
    pub value: f64,
    /// The reading as printed.
    pub label: String,
    /// The kit could only say "less than this": the dot carries a small arrowhead downward.
    pub less_than: bool,
}

/// A log of visits.
#[derive(Clone, Debug)]
pub struct LogChart {
    /// Width of the main column.
    pub width: f32,
    /// The visits, in any order.
    pub points: Vec<Point>,
    /// Where readings should be.
    pub window: Option<(f64, f64)>,
    /// Values worth a number at the right, with that number.
    pub axis: Vec<(f64, String)>,
    /// Name of what lies above the window.
    pub above: Vec<String>,
    /// Name of the window.
    pub inside: Vec<String>,
    /// Name of what lies below the window.
    pub below: Vec<String>,
    /// What the chart says, in words.
    pub alternative: String,
}

/// Up to this many points all carry their value.
const ALL_LABELLED: usize = 12;

/// Draws the log, 62 mm high.
#[must_use]
pub fn log_chart(c: &LogChart) -> Drawing {
    let mut points: Vec<&Point> = c.points.iter().collect();
    points.sort_by_key(|point| point.date);
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return nothing(c.width, &c.alternative);
    };
    let width = tame_width(c.width);
    let height = 62.0 * MM;
    let mut canvas = Canvas::new(width, height);
    let bottom = height - 26.0;
    let top = if c.above.is_empty() { 14.0 } else { 24.0 };
    let window = c.window.map(|(low, high)| (tame(low).min(tame(high)), tame(low).max(tame(high))));
    let values = points.iter().map(|point| point.value).chain(c.axis.iter().map(|(value, _)| *value));
    let values = values.chain(window.into_iter().flat_map(|(low, high)| [low, high]));
    let (lowest, highest) = extent(values).unwrap_or((0.0, 1.0));
    let scale = Scale::new(lowest, highest, bottom, top);
    let time = TimeAxis::months(first.date, last.date, width);

    if let Some((low, high)) = window {
        let (low, high) = (scale.at(low), scale.at(high));
        canvas.slab(0.0, high, width, low, Ink::Window);
        for y in [low, high] {
            canvas.line(&[(0.0, y), (width, y)], 0.5, Ink::Ink);
            canvas.fence(&[(0.0, y), (width, y)]);
        }
        canvas.region((low + high) / 2.0, Face::SansSemibold, Ink::Ink, &c.inside);
        canvas.region((low + bottom) / 2.0, Face::Sans, Ink::Quiet, &c.below);
        canvas.region((high - 12.0).max(10.0), Face::Sans, Ink::Quiet, &c.above);
    }
    time.draw(
        &mut canvas,
        bottom,
        MonthNames { initials: false, years: true, face: Face::Sans, size: 8.0, ink: Ink::Quiet },
    );
    canvas.fence(&[(0.0, bottom), (width, bottom)]);
    for (value, text) in &c.axis {
        let edge = window.is_some_and(|(low, high)| tame(*value) == low || tame(*value) == high);
        canvas.axis_number(scale.at(*value), !edge, text);
    }

    let places: Vec<(f32, f32)> = points
        .iter()
        .map(|point| (time.at(point.date).clamp(3.0, width - 3.0), scale.at(point.value)))
        .collect();
    canvas.line(&places, 0.8, Ink::Ink);
    canvas.fence(&places);
    let latest = points.len() - 1;
    for (index, (point, (x, y))) in points.iter().zip(&places).enumerate() {
        if index == latest {
            canvas.lozenge(*x, *y);
            canvas.block(*x, *y, 3.2, 4.4);
        } else {
            canvas.dot(*x, *y);
            canvas.block(*x, *y, 2.2, 2.2);
        }
        if point.less_than {
            let under = y + if index == latest { 5.0 } else { 3.0 };
            canvas.fill(&[(x - 2.0, under), (x + 2.0, under), (*x, under + 3.6)], Ink::Ink);
            canvas.block(*x, under + 1.8, 2.2, 2.0);
        }
    }

    // The latest first, then the extremes and the first, then the rest: who comes first gets the room.
    let by_value = |a: &usize, b: &usize| {
        let of = |at: &usize| points.get(*at).map_or(0.0, |point| tame(point.value));
        of(a).total_cmp(&of(b))
    };
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
        let (face, reach) = if index == latest { (Face::SansSemibold, 6.2) } else { (Face::Sans, 4.8) };
        let half = text_width(face, 8.0, &point.label) / 2.0;
        let middle = x.clamp(half.min(width / 2.0), (width - half).max(width / 2.0));
        let deeper = if point.less_than { 4.0 } else { 0.0 };
        let over = Spot::middle(middle, y - reach);
        let under = Spot::middle(middle, y + reach + deeper + 5.6);
        // A valley is labelled below, all else above first.
        let neighbour = |at: Option<usize>| at.and_then(|at| places.get(at)).map_or(*y, |place| place.1);
        let before = neighbour(index.checked_sub(1));
        let after = neighbour(Some(index + 1));
        let valley = (before + after) / 2.0 < y - 0.5 && before <= y + 0.5 && after <= y + 0.5;
        let spots = if valley { [under, over] } else { [over, under] };
        canvas.label(&spots, face, 8.0, Ink::Ink, &point.label);
    }
    canvas.finish(&c.alternative)
}
