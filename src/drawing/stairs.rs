//! The staircase: what each dose does, day by day.

use chrono::NaiveDate;

use super::scale::{Canvas, Scale, Spot, extent, length, nothing, tame, tame_width};
use crate::page::style::MM;
use crate::page::{Drawing, Face, Ink};

/// A correction, day by day.
#[derive(Clone, Debug)]
pub struct Stairs {
    /// Width of the main column.
    pub width: f32,
    /// The days, one column each.
    pub days: Vec<NaiveDate>,
    /// The reading before the first dose.
    pub start: f64,
    /// The day of that reading, from 0.
    pub start_index: usize,
    /// Value at the end of each day if the pond holds the high volume: the thin line.
    pub low: Vec<f64>,
    /// Value at the end of each day if it holds the low volume: the heavy line.
    pub high: Vec<f64>,
    /// Doses: the day from 0, and the amount as printed, set left of its riser.
    pub doses: Vec<(usize, String)>,
    /// Where readings should be.
    pub window: Option<(f64, f64)>,
    /// Values worth a number at the right, with that number.
    pub axis: Vec<(f64, String)>,
    /// Name of the window's edge, in the label column.
    pub window_label: Vec<String>,
    /// Name of the reading, in the label column.
    pub start_label: Vec<String>,
    /// What the heavy line ends at.
    pub end_high: String,
    /// What the thin line ends at.
    pub end_low: String,
    /// What the staircase says, in words.
    pub alternative: String,
}

/// Where in a day's column its dose is given: in the morning.
const MORNING: f32 = 0.3;

/// The middles of the day columns, for whatever stands under the staircase.
#[must_use]
pub fn day_centres(width: f32, days: usize) -> Vec<f32> {
    let days = days.min(usize::from(u16::MAX));
    (0..days).map(|day| tame_width(width) * (length(day) + 0.5) / length(days)).collect()
}

/// Draws the staircase, 58 mm high.
#[must_use]
pub fn staircase(s: &Stairs) -> Drawing {
    let days = s.days.len().min(400);
    if days == 0 {
        return nothing(s.width, &s.alternative);
    }
    let width = tame_width(s.width);
    let height = 58.0 * MM;
    let mut canvas = Canvas::new(width, height);
    let (top, bottom) = (4.0, height - 10.0);
    let column = width / length(days);
    let start_index = s.start_index.min(days - 1);

    // What each line stands at on each day; missing days stay where the last one was.
    let follow = |values: &[f64]| -> Vec<f64> {
        let mut at = tame(s.start);
        (0..days)
            .map(|day| {
                if day >= start_index
                    && let Some(value) = values.get(day)
                {
                    at = tame(*value);
                }
                at
            })
            .collect()
    };
    let (low, high) = (follow(&s.low), follow(&s.high));
    let values = s.axis.iter().map(|(value, _)| *value).chain(low.iter().copied()).chain(high.iter().copied());
    let (lowest, highest) = extent(values.chain([s.start])).unwrap_or((0.0, 1.0));
    let scale = Scale::new(lowest, highest, bottom, top);

    let window = s.window.map(|(low, high)| (tame(low).min(tame(high)), tame(low).max(tame(high))));
    let mut edges: Vec<f32> = Vec::new();
    if let Some((low, high)) = window {
        let (at_low, at_high) = (scale.at(low), scale.at(high));
        if at_low > at_high {
            canvas.slab(0.0, at_high, width, at_low, Ink::Window);
        }
        for (value, y) in [(low, at_low), (high, at_high)] {
            if scale.holds(value) {
                canvas.line(&[(0.0, y), (width, y)], 0.5, Ink::Ink);
                canvas.fence(&[(0.0, y), (width, y)]);
                edges.push(y);
            }
        }
    }

    // The three outlines.
    let begin = column * length(start_index);
    let steps = |values: &[f64]| -> Vec<(f32, f32)> {
        let mut y = scale.at(s.start);
        let mut points = vec![(begin, y)];
        for (day, value) in values.iter().enumerate().skip(start_index) {
            let next = scale.at(*value);
            if (next - y).abs() > 0.01 {
                let x = column * (length(day) + MORNING);
                points.push((x, y));
                points.push((x, next));
                y = next;
            }
        }
        points.push((width, y));
        points
    };
    let (thin, heavy) = (steps(&low), steps(&high));
    let band: Vec<(f32, f32)> = heavy.iter().chain(thin.iter().rev()).copied().collect();
    canvas.fill(&band, Ink::Band);
    canvas.line(&thin, 0.5, Ink::Ink);
    canvas.line(&heavy, 1.2, Ink::Ink);
    canvas.fence(&thin);
    canvas.fence(&heavy);

    // The reading.
    let dosed_at_once = s.doses.iter().any(|(day, _)| *day == start_index);
    let lozenge_x = column * (length(start_index) + if dosed_at_once { MORNING / 2.0 } else { 0.5 });
    let start_y = scale.at(s.start);
    canvas.lozenge(lozenge_x, start_y);
    canvas.block(lozenge_x, start_y, 3.2, 4.4);

    for (value, text) in &s.axis {
        canvas.axis_number(scale.at(*value), true, text);
    }
    // Two names that would stand in one place: the reading's moves below its own height.
    let near = edges.first().is_some_and(|edge| (edge - start_y).abs() < 30.0);
    let start_name_y = if near { (start_y + 18.0).min(height - 10.0) } else { start_y };
    canvas.region(start_name_y, Face::Sans, Ink::Quiet, &s.start_label);
    if let Some(edge) = edges.first() {
        let lift = 9.75 * (length(s.window_label.len()) - 1.0) / 2.0 + 5.5;
        canvas.region((edge - lift).max(6.0), Face::SansSemibold, Ink::Ink, &s.window_label);
    }

    // Ends, then doses.
    let end_of = |line: &[(f32, f32)]| line.last().map_or(start_y, |point| point.1);
    let (end_heavy, end_thin) = (end_of(&heavy), end_of(&thin));
    let right = width - 4.0;
    let over = Spot::end(right, end_heavy.min(end_thin) - 4.5);
    let under = Spot::end(right, end_heavy.max(end_thin) + 9.5);
    let far_over = Spot::end(right, over.y - 10.0);
    let far_under = Spot::end(right, under.y + 10.0);
    let (for_heavy, for_thin) = if end_heavy <= end_thin {
        ([over, far_over, far_under, under], [under, far_under, far_over, over])
    } else {
        ([under, far_under, far_over, over], [over, far_over, far_under, under])
    };
    canvas.label(&for_heavy, Face::Sans, 8.0, Ink::Ink, &s.end_high);
    canvas.label(&for_thin, Face::Sans, 8.0, Ink::Ink, &s.end_low);
    for (day, text) in s.doses.iter().filter(|(day, _)| *day < days && *day >= start_index) {
        let x = column * (length(*day) + MORNING);
        let before = day.checked_sub(1).and_then(|day| high.get(day)).copied().unwrap_or(s.start);
        let after = high.get(*day).copied().unwrap_or(s.start);
        let (before, after) = (scale.at(before), scale.at(after));
        let middle = (before + after) / 2.0;
        let mut spots = Vec::new();
        for down in [0.0, 3.0, -4.0, 6.0, -8.0, -12.0, -16.0] {
            spots.push(Spot::end(x - 4.0, middle + down));
        }
        for down in [0.0, 4.0, -4.0, 12.0, 20.0] {
            spots.push(Spot::start(x + 4.0, middle + down));
        }
        spots.retain(|spot| spot.x > 0.0 && spot.x < width);
        canvas.label(&spots, Face::SansSemibold, 9.0, Ink::Ink, text);
    }
    canvas.finish(&s.alternative)
}
