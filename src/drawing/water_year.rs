//! The water year: carbonate hardness against its window, conductivity, and what was topped up, on one time axis.

use chrono::NaiveDate;

use super::canvas::{Canvas, Clear, LEADING, Line, Said, Spot, TEXT};
use super::scale::{
    MONTH_ROOM, MonthNames, Scale, TimeAxis, YEAR_ROOM, extent, length, nothing, tame, tame_height, tame_width,
};
use crate::page::fonts::Fonts;
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
    /// The same with what is proposed, a thin line, and the words beside it.
    pub other: Option<(Vec<f64>, String)>,
    /// The 10 and 90 % ends of the range, as many as `middle`; empty without one.
    pub range: (Vec<f64>, Vec<f64>),
    /// Where it should be.
    pub window: Option<(f64, f64)>,
    /// Highest it should be, where there is no window.
    pub ceiling: Option<(f64, Said)>,
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
    /// Height.
    pub height: f32,
    /// Lines that prove what the drawing says.
    pub lines: Vec<u32>,
}

/// Amounts by month.
#[derive(Clone, Debug)]
pub struct MonthBars {
    /// Width of the main column.
    pub width: f32,
    /// The first day.
    pub first: NaiveDate,
    /// Height.
    pub height: f32,
    /// How many days the axis has.
    pub days: usize,
    /// First day, day after the last, amount, amount as printed.
    pub bars: Vec<(NaiveDate, NaiveDate, f64, String)>,
    /// Title lines, in the label column.
    pub title: Vec<String>,
    /// What the drawing says, in words.
    pub alternative: String,
    /// Lines that prove what the drawing says.
    pub lines: Vec<u32>,
}

/// More days than this are not drawn.
const MOST_DAYS: usize = 4000;

fn drawn(count: usize) -> i64 {
    i64::try_from(count.min(MOST_DAYS)).unwrap_or(1)
}

/// The least height of a chart, and of a strip.
const LEAST: (f32, f32) = (30.0 * MM, 24.0 * MM);

/// Draws a quantity over the year.
#[must_use]
pub fn year_line(c: &YearLine, fonts: &Fonts) -> Drawing {
    let count = c.middle.len().min(MOST_DAYS);
    if count == 0 {
        return nothing(c.width, fonts, &c.alternative);
    }
    let width = tame_width(c.width);
    let height = tame_height(c.height, LEAST.0);
    let mut canvas = Canvas::new(fonts, width, height);
    let (top, bottom) = (17.0, height - YEAR_ROOM);
    let time = TimeAxis::new(c.first, drawn(count), width);
    let window = c.window.map(|(low, high)| (tame(low).min(tame(high)), tame(low).max(tame(high))));
    let (least, most) = &c.range;
    let fixed = c.axis.iter().map(|(value, _)| *value).chain(c.ceiling.iter().map(|(value, _)| *value));
    let thin = c.other.as_ref().map(|(values, _)| values.as_slice()).unwrap_or_default();
    let values = c.middle.iter().chain(least).chain(most).chain(thin).copied().chain(fixed);
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
    time.draw(&mut canvas, bottom, MonthNames::with_years());
    canvas.fence(&[(0.0, bottom), (width, bottom)]);
    canvas.line(&middle, 1.0, Ink::Ink);
    let thin = curve(thin);
    canvas.line(&thin, 0.5, Ink::Ink);
    for line in [&under, &middle, &over, &thin] {
        canvas.fence(line);
    }
    if let Some((value, said)) = &c.ceiling {
        canvas.watch_line(scale.at(*value), width);
        canvas.limit_words(scale.at(*value), width, said);
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
            let set: Vec<Line> = lines
                .iter()
                .enumerate()
                .map(|(at, text)| {
                    let face = if at == 0 { Face::SansSemibold } else { Face::Sans };
                    Line::new(face, TEXT, Ink::Ink, text)
                })
                .collect();
            let depth = LEADING * length(set.len().saturating_sub(1));
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
            let widest = set.iter().map(|line| canvas.measure(line.face, line.size, &line.text)).fold(0.0, f32::max);
            let inside = |spot: &Spot| match spot.anchor {
                crate::page::Anchor::Start => spot.x + widest <= width,
                crate::page::Anchor::End => spot.x >= widest,
                crate::page::Anchor::Middle => spot.x >= widest / 2.0 && spot.x + widest / 2.0 <= width,
            };
            spots.retain(inside);
            if !canvas.lines(&spots, LEADING, &set, Clear::Everything) {
                canvas.lines(&spots, LEADING, &set, Clear::Labels);
            }
        }
    }
    if let Some((_, words)) = &c.other {
        // Beside the thin line, where there is room for it: from its end backwards, under it and over it.
        let spots: Vec<Spot> = thin
            .iter()
            .rev()
            .step_by(6)
            .flat_map(|(x, y)| [9.0_f32, -5.0, 15.0, -11.0].map(|down| (*x, y + down)))
            .filter(|(_, y)| *y > top && *y < bottom - 2.0)
            .map(|(x, y)| Spot::end(x, y))
            .filter(|spot| spot.x >= canvas.measure(Face::Sans, TEXT, words))
            .collect();
        canvas.label(&spots, Face::Sans, TEXT, Ink::Ink, words);
    }
    canvas.prove(&c.lines);
    canvas.finish(&c.alternative)
}

/// Draws amounts by month, from zero.
#[must_use]
pub fn month_bars(b: &MonthBars, fonts: &Fonts) -> Drawing {
    if b.bars.is_empty() || b.days == 0 {
        return nothing(b.width, fonts, &b.alternative);
    }
    let width = tame_width(b.width);
    let height = tame_height(b.height, LEAST.1);
    let mut canvas = Canvas::new(fonts, width, height);
    let (top, bottom) = (18.0, height - MONTH_ROOM);
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
    time.draw(&mut canvas, bottom, MonthNames::short());
    canvas.fence(&[(0.0, bottom), (width, bottom)]);
    for (from, to, amount, label) in &b.bars {
        let (left, right) = (time.at(*from), time.at(*to));
        if *amount > 0.0 {
            let spot = Spot::middle((left + right) / 2.0, scale.at(*amount) - 3.5);
            let half = canvas.measure(Face::Sans, TEXT, label) / 2.0;
            if spot.x >= half && spot.x + half <= width {
                canvas.label(&[spot], Face::Sans, TEXT, Ink::Ink, label);
            }
        }
    }
    canvas.prove(&b.lines);
    canvas.finish(&b.alternative)
}
