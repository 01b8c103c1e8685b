//! The water year: carbonate hardness against its window, conductivity, and what was topped up, on one time axis.

use chrono::NaiveDate;

use super::scale::{
    Canvas, MonthNames, Scale, Spot, TimeAxis, cut, extent, length, nothing, tame, tame_width, text_width,
};
use crate::page::style::MM;
use crate::page::{Drawing, Face, Ink};

/// A quantity over the days of a year, one value a day; with as many days as the drawings under it, all share their time axis
/// exactly.
#[derive(Clone, Debug)]
pub struct YearLine {
    /// Width of the main column.
    pub width: f32,
    /// The first day.
    pub first: NaiveDate,
    /// The middle forecast.
    pub middle: Vec<f64>,
    /// The 10 and 90 % ends of the range, as many as `middle`; empty without one.
    pub range: (Vec<f64>, Vec<f64>),
    /// Where it should be.
    pub window: Option<(f64, f64)>,
    /// Highest it should be, where there is no window.
    pub ceiling: Option<(f64, String)>,
    /// Values worth a number at the right, with that number.
    pub axis: Vec<(f64, String)>,
    /// A day on which something happens, and one or two short lines that say what.
    pub mark: Option<(NaiveDate, Vec<String>)>,
    /// Title lines, in the label column.
    pub title: Vec<String>,
    /// Name of the window.
    pub inside: Vec<String>,
    /// What the drawing says, in words.
    pub alternative: String,
    /// Height of the plot in mm: 58 for the main one, less for a strip.
    pub height: f32,
}

/// Amounts by month.
#[derive(Clone, Debug)]
pub struct MonthBars {
    /// Width of the main column.
    pub width: f32,
    /// The first day.
    pub first: NaiveDate,
    /// How many days the axis has.
    pub days: usize,
    /// First day, day after the last, amount, amount as printed.
    pub bars: Vec<(NaiveDate, NaiveDate, f64, String)>,
    /// Title lines, in the label column.
    pub title: Vec<String>,
    /// What the drawing says, in words.
    pub alternative: String,
}

/// More days than this are not drawn.
const MOST_DAYS: usize = 4000;

fn drawn(count: usize) -> i64 {
    i64::try_from(count.min(MOST_DAYS)).unwrap_or(1)
}

fn months(years: bool) -> MonthNames {
    MonthNames { initials: false, years, face: Face::Sans, size: 8.0, ink: Ink::Quiet }
}

/// Draws a quantity over the year.
#[must_use]
pub fn year_line(c: &YearLine) -> Drawing {
    let count = c.middle.len().min(MOST_DAYS);
    if count == 0 {
        return nothing(c.width, &c.alternative);
    }
    let width = tame_width(c.width);
    let height = c.height.clamp(20.0, 120.0) * MM;
    let mut canvas = Canvas::new(width, height);
    let (top, bottom) = (14.0, height - 26.0);
    let time = TimeAxis::new(c.first, drawn(count), width);
    let window = c.window.map(|(low, high)| (tame(low).min(tame(high)), tame(low).max(tame(high))));
    let (least, most) = &c.range;
    let fixed = c.axis.iter().map(|(value, _)| *value).chain(c.ceiling.iter().map(|(value, _)| *value));
    let values = c.middle.iter().chain(least).chain(most).copied().chain(fixed);
    let values = values.chain(window.into_iter().flat_map(|(low, high)| [low, high]));
    let (lowest, highest) = extent(values).unwrap_or((0.0, 1.0));
    let scale = Scale::new(lowest, highest, bottom, top);
    let curve = |values: &[f64]| -> Vec<(f32, f32)> {
        let places = values.iter().take(MOST_DAYS).zip(1_i64..);
        places.map(|(value, day)| (time.at_day(day), scale.at(*value))).collect()
    };
    if let Some((low, high)) = window {
        let (low, high) = (scale.at(low), scale.at(high));
        canvas.slab(0.0, high, width, low, Ink::Window);
    }
    let (under, middle, over) = (curve(least), curve(&c.middle), curve(most));
    if !under.is_empty() && under.len() == over.len() {
        let band: Vec<(f32, f32)> = over.iter().chain(under.iter().rev()).copied().collect();
        canvas.fill(&band, Ink::Band);
    }
    canvas.title(9.0, &c.title);
    if let Some((low, high)) = window {
        let (low, high) = (scale.at(low), scale.at(high));
        for y in [low, high] {
            canvas.line(&[(0.0, y), (width, y)], 0.5, Ink::Ink);
            canvas.fence(&[(0.0, y), (width, y)]);
        }
        canvas.region((low + high) / 2.0, Face::Sans, Ink::Quiet, &c.inside);
    }
    time.draw(&mut canvas, bottom, months(true));
    canvas.fence(&[(0.0, bottom), (width, bottom)]);
    canvas.line(&middle, 1.0, Ink::Ink);
    for line in [&under, &middle, &over] {
        canvas.fence(line);
    }
    if let Some((value, text)) = &c.ceiling {
        let y = scale.at(*value);
        canvas.dashed(&[(0.0, y), (width, y)], 0.9, Ink::Ink, Some((4.0, 2.5)));
        canvas.fence(&[(0.0, y), (width, y)]);
        let text = cut(Face::Sans, 8.0, text, width);
        let along = |down: f32| (0..40_u8).map(move |step| Spot::end(width * (1.0 - f32::from(step) / 40.0), y + down));
        let wide = text_width(Face::Sans, 8.0, &text);
        let spots: Vec<Spot> = along(-4.0).chain(along(9.5)).filter(|spot| spot.x >= wide).collect();
        canvas.label(&spots, Face::Sans, 8.0, Ink::Ink, &text);
    }
    for (value, text) in &c.axis {
        let edge = window.is_some_and(|(low, high)| tame(*value) == low || tame(*value) == high);
        canvas.axis_number(scale.at(*value), !edge, text);
    }
    if let Some((date, lines)) = &c.mark {
        let day = (*date - c.first).num_days();
        let index = usize::try_from(day).ok().and_then(|day| middle.get(day)).copied();
        if let Some((x, y)) = index {
            canvas.lozenge(x, y);
            canvas.block(x, y, 3.2, 4.4);
            let set: Vec<super::scale::Line> = lines
                .iter()
                .enumerate()
                .map(|(at, text)| {
                    let face = if at == 0 { Face::SansSemibold } else { Face::Sans };
                    super::scale::Line::new(face, 8.0, Ink::Ink, text)
                })
                .collect();
            let depth = 9.75 * length(set.len().saturating_sub(1));
            let mut spots = Vec::new();
            for away in [8.0_f32, 14.0, 22.0, 32.0] {
                for (dx, anchor) in [(4.0_f32, 0), (-4.0, 1), (0.0, 2)] {
                    for down in [-away - depth, away + 5.6] {
                        let at = (x + dx, y + down);
                        spots.push(match anchor {
                            0 => Spot::start(at.0, at.1),
                            1 => Spot::end(at.0, at.1),
                            _ => Spot::middle(at.0, at.1),
                        });
                    }
                }
            }
            let widest = set.iter().map(|line| text_width(line.face, line.size, &line.text)).fold(0.0, f32::max);
            let inside = |spot: &Spot| match spot.anchor {
                crate::page::Anchor::Start => spot.x + widest <= width,
                crate::page::Anchor::End => spot.x >= widest,
                crate::page::Anchor::Middle => spot.x >= widest / 2.0 && spot.x + widest / 2.0 <= width,
            };
            spots.retain(inside);
            if !canvas.lines(&spots, 9.75, &set, true) {
                canvas.lines(&spots, 9.75, &set, false);
            }
        }
    }
    canvas.finish(&c.alternative)
}

/// Draws amounts by month, 34 mm high, from zero.
#[must_use]
pub fn month_bars(b: &MonthBars) -> Drawing {
    if b.bars.is_empty() || b.days == 0 {
        return nothing(b.width, &b.alternative);
    }
    let width = tame_width(b.width);
    let height = 34.0 * MM;
    let mut canvas = Canvas::new(width, height);
    let (top, bottom) = (18.0, height - 14.0);
    let time = TimeAxis::new(b.first, drawn(b.days), width);
    let (_, most) = extent(b.bars.iter().map(|bar| bar.2).chain([0.0])).unwrap_or((0.0, 1.0));
    let scale = Scale::new(0.0, most.max(1e-9), bottom, top);
    canvas.title(9.0, &b.title);
    for (from, to, amount, _) in &b.bars {
        let (left, right) = (time.at(*from), time.at(*to));
        let y = scale.at(*amount);
        if *amount > 0.0 && right > left {
            canvas.slab(left, y, right, bottom, Ink::Band);
            canvas.line(&[(left, bottom), (left, y), (right, y), (right, bottom)], 0.8, Ink::Ink);
        }
    }
    time.draw(&mut canvas, bottom, months(false));
    canvas.fence(&[(0.0, bottom), (width, bottom)]);
    for (from, to, amount, label) in &b.bars {
        let (left, right) = (time.at(*from), time.at(*to));
        if *amount > 0.0 {
            let spot = Spot::middle((left + right) / 2.0, scale.at(*amount) - 3.5);
            let half = text_width(Face::Sans, 7.5, label) / 2.0;
            if spot.x >= half && spot.x + half <= width {
                canvas.label(&[spot], Face::Sans, 7.5, Ink::Ink, label);
            }
        }
    }
    canvas.finish(&b.alternative)
}
