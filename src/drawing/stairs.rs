//! The staircase: what each dose or water change does, day by day.

use chrono::NaiveDate;

use super::canvas::{Canvas, Said, Spot, TEXT, room_for_marks};
use super::log::Limit;
use super::scale::{Scale, extent, length, nothing, tame, tame_height, tame_width};
use crate::page::fonts::Fonts;
use crate::page::{Drawing, Face, Ink};

/// A correction, day by day.
#[derive(Clone, Debug)]
pub struct Stairs {
    /// Width of the main column.
    pub width: f32,
    /// Height.
    pub height: f32,
    /// The days, one column each.
    pub days: Vec<NaiveDate>,
    /// Names of the days under their columns; empty where a table of days stands under the staircase.
    pub day_names: Vec<String>,
    /// The reading before the first step.
    pub start: f64,
    /// The day of that reading, from 0.
    pub start_index: usize,
    /// Value at the end of each day if the pond holds the high volume: the thin line.
    pub low: Vec<f64>,
    /// Value at the end of each day if it holds the low volume: the heavy line.
    pub high: Vec<f64>,
    /// Steps: the day from 0, and the amount as printed, set left of its riser.
    pub doses: Vec<(usize, Said)>,
    /// Where readings should be.
    pub window: Option<(f64, f64)>,
    /// The stop limit.
    pub stop: Option<Limit>,
    /// The watch limit.
    pub watch: Option<Limit>,
    /// Values worth a number at the right, with that number.
    pub axis: Vec<(f64, String)>,
    /// Name of the window's edge, in the label column.
    pub window_label: Vec<String>,
    /// Lines that prove that edge.
    pub window_lines: Vec<u32>,
    /// Name of the reading, in the label column.
    pub start_label: Vec<String>,
    /// What the heavy line ends at; empty for nothing.
    pub end_high: Said,
    /// What the thin line ends at.
    pub end_low: Said,
    /// What the staircase says, in words.
    pub alternative: String,
}

/// Where in a day's column its step is made: in the morning.
const MORNING: f32 = 0.3;
/// Size of the amounts.
const AMOUNT: f32 = 9.0;
/// More days than this are not drawn.
const MOST_DAYS: usize = 400;

/// The middles of the day columns, for whatever stands under the staircase.
#[must_use]
pub fn day_centres(width: f32, days: usize) -> Vec<f32> {
    let days = days.min(usize::from(u16::MAX));
    (0..days).map(|day| tame_width(width) * (length(day) + 0.5) / length(days)).collect()
}

/// Draws the staircase.
#[must_use]
pub fn staircase(s: &Stairs, fonts: &Fonts) -> Drawing {
    let days = s.days.len().min(MOST_DAYS);
    if days == 0 {
        return nothing(s.width, fonts, &s.alternative);
    }
    let width = tame_width(s.width);
    let height = tame_height(s.height, 100.0);
    let mut canvas = Canvas::new(fonts, width, height);
    let limits = [&s.stop, &s.watch].into_iter().flatten();
    let mut proofs = s.window_lines.clone();
    proofs.extend(s.doses.iter().flat_map(|(_, said)| &said.lines));
    proofs.extend(limits.clone().flat_map(|limit| &limit.said.lines));
    proofs.extend(s.end_high.lines.iter().chain(&s.end_low.lines));
    // A limit's words stand over its line.
    let over_line = if s.stop.is_some() || s.watch.is_some() { 16.0 } else { 4.0 };
    let top = room_for_marks(fonts, &proofs).max(over_line);
    let bottom = height - if s.day_names.is_empty() { 10.0 } else { 16.0 };
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
    let values = values.chain(limits.map(|limit| limit.value));
    let (lowest, highest) = extent(values.chain([s.start])).unwrap_or((0.0, 1.0));
    let scale = Scale::new(lowest, highest, bottom - 6.0, top);

    let edges = draw_window(&mut canvas, s, &scale, bottom, (lowest, highest), width);
    if let Some(watch) = &s.watch {
        canvas.watch_line(scale.at(watch.value), width);
    }
    if let Some(stop) = &s.stop {
        canvas.stop_line(scale.at(stop.value), width);
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
    let stepped_at_once = s.doses.iter().any(|(day, _)| *day == start_index);
    let lozenge_x = column * (length(start_index) + if stepped_at_once { MORNING / 2.0 } else { 0.5 });
    let start_y = scale.at(s.start);
    canvas.lozenge(lozenge_x, start_y);
    canvas.block(lozenge_x, start_y, 3.2, 4.4);

    // The top number first: it carries the unit.
    for (value, text) in s.axis.iter().rev() {
        canvas.axis_number(scale.at(*value), true, text);
    }
    // Two names that would stand in one place: the reading's moves below its own height.
    let near = edges.first().is_some_and(|edge| (edge - start_y).abs() < 30.0);
    let start_name_y = if near { (start_y + 18.0).min(height - 10.0) } else { start_y };
    canvas.region(start_name_y, Face::Sans, Ink::Quiet, &s.start_label);
    if let Some(edge) = edges.first() {
        let lift = 9.75 * (length(s.window_label.len()) - 1.0) / 2.0 + 5.5;
        if canvas.region((edge - lift).max(6.0), Face::SansSemibold, Ink::Ink, &s.window_label) {
            canvas.prove(&s.window_lines);
        }
    }

    // Days under their columns: all, or every so many.
    let centres = day_centres(width, days);
    let widest = s.day_names.iter().map(|name| canvas.measure(Face::Sans, TEXT, name)).fold(0.0, f32::max);
    let every = (1..=days).find(|every| column * length(*every) >= widest + 4.0).unwrap_or(days);
    for (name, x) in s.day_names.iter().zip(&centres).step_by(every) {
        canvas.firm_label(&[Spot::middle(*x, height - 3.0)], Face::Sans, TEXT, Ink::Quiet, name);
    }

    // Limits, ends, then amounts.
    for limit in [&s.stop, &s.watch].into_iter().flatten() {
        canvas.limit_words(scale.at(limit.value), width, &limit.said);
    }
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
    canvas.said(&for_heavy, Face::Sans, TEXT, Ink::Ink, &s.end_high);
    canvas.said(&for_thin, Face::Sans, TEXT, Ink::Ink, &s.end_low);
    label_amounts(&mut canvas, s, &high, &scale, column);
    canvas.finish(&s.alternative)
}

/// Every amount that has its own place; where they stand too close, the first and the last say it for all.
fn label_amounts(canvas: &mut Canvas<'_>, s: &Stairs, high: &[f64], scale: &Scale, column: f32) {
    let days = high.len();
    let start_index = s.start_index.min(days.saturating_sub(1));
    let (width, start_y) = (column * length(days), scale.at(s.start));
    let shown: Vec<&(usize, Said)> = s.doses.iter().filter(|(day, _)| *day < days && *day >= start_index).collect();
    let amounts = shown.iter().map(|(_, said)| canvas.measure(Face::SansSemibold, AMOUNT, &said.words));
    let crowded = shown.len() > 2 && amounts.fold(0.0, f32::max) > column - 6.0 && {
        let drop = |line: &[f64]| line.last().map_or(0.0, |end| (scale.at(*end) - start_y).abs());
        drop(high) / length(shown.len()) < AMOUNT + 3.0
    };
    for (index, (day, said)) in shown.iter().enumerate() {
        if crowded && index > 0 && index + 1 < shown.len() {
            continue;
        }
        let x = column * (length(*day) + MORNING);
        let before = day.checked_sub(1).and_then(|day| high.get(day)).copied().unwrap_or(s.start);
        let after = high.get(*day).copied().unwrap_or(s.start);
        let (before, after) = (scale.at(before), scale.at(after));
        let middle = (before + after) / 2.0;
        let mut spots = Vec::new();
        for down in [0.0, 3.0, -4.0, 6.0, -8.0, 10.0, -12.0, 14.0, -16.0, 20.0] {
            spots.push(Spot::end(x - 4.0, middle + down));
        }
        for down in [0.0, 4.0, -4.0, 12.0, -12.0, 20.0, -20.0] {
            spots.push(Spot::start(x + 4.0, middle + down));
        }
        spots.retain(|spot| spot.x > 0.0 && spot.x < width);
        canvas.said(&spots, Face::SansSemibold, AMOUNT, Ink::Ink, said);
    }
}

/// The window where the scale shows it; the heights of its edges.
fn draw_window(
    canvas: &mut Canvas<'_>,
    s: &Stairs,
    scale: &Scale,
    bottom: f32,
    (lowest, highest): (f64, f64),
    width: f32,
) -> Vec<f32> {
    let mut edges: Vec<f32> = Vec::new();
    if let Some((low, high)) = s.window.map(|(low, high)| (tame(low).min(tame(high)), tame(low).max(tame(high)))) {
        let (at_low, at_high) = (scale.at(low), scale.at(high));
        let at_low = if scale.holds(low) { at_low } else { bottom };
        if at_low > at_high && low < highest && high > lowest {
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
    edges
}
