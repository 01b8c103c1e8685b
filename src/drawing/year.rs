//! The year: the panel's level, the copper it makes, and the strip of the shed sheet.

use chrono::NaiveDate;

use super::canvas::{Canvas, Clear, Line, Spot, TEXT};
use super::log::Limit;
use super::scale::{
    MONTH_ROOM, MonthNames, Scale, TimeAxis, YEAR_ROOM, extent, length, nothing, tame, tame_height, tame_width,
};
use crate::page::fonts::Fonts;
use crate::page::style::MM;
use crate::page::{Drawing, Face, Ink};

/// The panel's level over the year.
#[derive(Clone, Debug)]
pub struct LevelStrip {
    /// Width of the main column.
    pub width: f32,
    /// Height.
    pub height: f32,
    /// The first day.
    pub first: NaiveDate,
    /// The level, one a day.
    pub levels: Vec<u32>,
    /// How many steps the panel has.
    pub steps: u32,
    /// Levels worth a name at the right, with that name.
    pub axis: Vec<(u32, String)>,
    /// Days on which the level changes, with one or two short lines: over a rise, beside a fall.
    pub marks: Vec<(NaiveDate, Vec<String>)>,
    /// Title lines, in the label column.
    pub title: Vec<String>,
    /// What the strip says, in words.
    pub alternative: String,
}

/// The least height of a strip, and of a chart.
const LEAST: (f32, f32) = (24.0 * MM, 40.0 * MM);

/// The copper forecast over the year. One value a day, as at the end of that day; with as many days as the
/// [`LevelStrip`] over it, both share their time axis exactly.
#[derive(Clone, Debug)]
pub struct CopperChart {
    /// Width of the main column.
    pub width: f32,
    /// Height.
    pub height: f32,
    /// The first day.
    pub first: NaiveDate,
    /// Low end of the range.
    pub low: Vec<f64>,
    /// The middle forecast.
    pub middle: Vec<f64>,
    /// High end of the range.
    pub high: Vec<f64>,
    /// The stop limit.
    pub stop: Limit,
    /// The watch limit.
    pub watch: Limit,
    /// The stop of each day, drawn where it is under `stop`; none where copper has no place. As many as the axis has days.
    pub stops: Vec<Option<f64>>,
    /// Values worth a number at the right, with that number.
    pub axis: Vec<(f64, String)>,
    /// What line and band are.
    pub note: String,
    /// Title lines, in the label column.
    pub title: Vec<String>,
    /// What the forecast says, in words.
    pub alternative: String,
}

/// The panel's level over the year, black only, for the shed sheet.
#[derive(Clone, Debug)]
pub struct YearStrip {
    /// Width of the sheet between its margins.
    pub width: f32,
    /// The first day.
    pub first: NaiveDate,
    /// The level, one a day.
    pub levels: Vec<u32>,
    /// How many steps the panel has.
    pub steps: u32,
    /// What the strip says, in words.
    pub alternative: String,
}

/// More days than this are not drawn.
const MOST_DAYS: usize = 4000;

/// Runs of equal level: first day, day after the last, level.
fn runs(levels: &[u32]) -> Vec<(i64, i64, u32)> {
    let mut runs: Vec<(i64, i64, u32)> = Vec::new();
    for (level, day) in levels.iter().take(MOST_DAYS).zip(0_i64..) {
        match runs.last_mut() {
            Some(run) if run.2 == *level => run.1 = day + 1,
            _ => runs.push((day, day + 1, *level)),
        }
    }
    runs
}

/// How many days are drawn.
fn drawn(count: usize) -> i64 {
    i64::try_from(count.min(MOST_DAYS)).unwrap_or(1)
}

/// Draws the level strip.
#[must_use]
pub fn level_strip(s: &LevelStrip, fonts: &Fonts) -> Drawing {
    let runs = runs(&s.levels);
    if runs.is_empty() {
        return nothing(s.width, fonts, &s.alternative);
    }
    let width = tame_width(s.width);
    let height = tame_height(s.height, LEAST.0);
    let mut canvas = Canvas::new(fonts, width, height);
    let (top, bottom) = (14.0, height - MONTH_ROOM);
    let time = TimeAxis::new(s.first, drawn(s.levels.len()), width);
    let scale = Scale::new(0.0, f64::from(s.steps.max(1)), bottom, top);
    let at = |level: u32| scale.at(f64::from(level));

    for (level, _) in s.axis.iter().filter(|(level, _)| *level > 0) {
        canvas.line(&[(0.0, at(*level)), (width, at(*level))], 0.25, Ink::Hair);
    }
    let mut outline: Vec<(f32, f32)> = Vec::new();
    for (from, to, level) in &runs {
        outline.push((time.at_day(*from), at(*level)));
        outline.push((time.at_day(*to), at(*level)));
    }
    let mut area = vec![(0.0, bottom)];
    area.extend(&outline);
    area.push((width, bottom));
    canvas.fill(&area, Ink::Band);
    time.draw(&mut canvas, bottom, MonthNames::short());
    canvas.line(&outline, 1.2, Ink::Ink);
    canvas.fence(&outline);
    canvas.title(9.0, &s.title);
    for (level, text) in &s.axis {
        canvas.axis_number(at(*level), false, text);
    }

    for (date, lines) in &s.marks {
        let day = (*date - s.first).num_days();
        let Some(index) = runs.iter().position(|run| run.0 <= day && day < run.1) else { continue };
        let Some((from, to, level)) = runs.get(index).copied() else { continue };
        let before = index.checked_sub(1).and_then(|index| runs.get(index)).map_or(0, |run| run.2);
        let (left, right) = (time.at_day(from), time.at_day(to));
        let count = lines.len();
        let set: Vec<Line> = lines
            .iter()
            .enumerate()
            .map(|(at, text)| {
                let face = if at + 1 == count { Face::SansSemibold } else { Face::Sans };
                Line::new(face, TEXT, Ink::Ink, text)
            })
            .collect();
        let leading = 9.5;
        let depth = leading * length(count.saturating_sub(1));
        let wide = set.iter().map(|line| canvas.measure(line.face, line.size, &line.text)).fold(0.0, f32::max);
        let y = at(level);
        let mut spots = Vec::new();
        if level >= before {
            let over = y - 4.0 - depth;
            if right - left < wide {
                spots.push(Spot::middle((left + right) / 2.0, over));
                spots.push(Spot::start(left, over));
                spots.push(Spot::end(right, over));
                spots.push(Spot::end(left - 4.0, y + 9.0));
            } else {
                spots.push(Spot::start(left + 1.5, over));
                spots.push(Spot::end(right, over));
            }
        } else {
            let from_level = at(before);
            for share in [0.4, 0.25, 0.1, 0.55, 0.7] {
                spots.push(Spot::start(left + 4.0, from_level + (y - from_level) * share));
            }
            spots.push(Spot::start(left + 4.0, y - 4.0 - depth));
        }
        spots.retain(|spot| spot.x >= 0.0 && spot.x <= width);
        canvas.lines(&spots, leading, &set, Clear::Everything);
    }
    canvas.finish(&s.alternative)
}

/// Draws the copper forecast.
#[must_use]
pub fn copper_chart(c: &CopperChart, fonts: &Fonts) -> Drawing {
    let count = c.middle.len().max(c.low.len()).max(c.high.len()).max(c.stops.len()).min(MOST_DAYS);
    if count == 0 {
        return nothing(c.width, fonts, &c.alternative);
    }
    let width = tame_width(c.width);
    let height = tame_height(c.height, LEAST.1);
    let mut canvas = Canvas::new(fonts, width, height);
    let (top, bottom) = (17.0, height - YEAR_ROOM);
    let time = TimeAxis::new(c.first, drawn(count), width);
    // The limits and the axis set the scale. A forecast over them may stretch it, but not so far that they vanish.
    let fixed = c.axis.iter().map(|(value, _)| *value).chain([c.stop.value, c.watch.value, 0.0]);
    let (lowest, ceiling) = extent(fixed).unwrap_or((0.0, 1.0));
    let forecast = c.low.iter().chain(&c.middle).chain(&c.high).copied();
    let highest = extent(forecast).map_or(ceiling, |(_, high)| high);
    let scale = Scale::new(lowest, highest.min(ceiling * 2.5).max(ceiling), bottom, top);

    let curve = |values: &[f64]| -> Vec<(f32, f32)> {
        let mut points = Vec::new();
        for (value, day) in values.iter().take(MOST_DAYS).zip(1_i64..) {
            let y = scale.at(*value);
            if points.is_empty() {
                points.push((0.0, y));
            }
            points.push((time.at_day(day), y));
        }
        points
    };
    let (low, middle, high) = (curve(&c.low), curve(&c.middle), curve(&c.high));
    if !low.is_empty() && !high.is_empty() {
        let band: Vec<(f32, f32)> = high.iter().chain(low.iter().rev()).copied().collect();
        canvas.fill(&band, Ink::Band);
    }
    time.draw(&mut canvas, bottom, MonthNames::with_years());
    canvas.line(&middle, 1.0, Ink::Ink);
    canvas.watch_line(scale.at(c.watch.value), width);
    canvas.stop_line(scale.at(c.stop.value), width);
    for lower in lower_stops(&c.stops, c.stop.value) {
        let points: Vec<(f32, f32)> = lower
            .iter()
            .flat_map(|(day, value)| [(time.at_day(*day), scale.at(*value)), (time.at_day(day + 1), scale.at(*value))])
            .collect();
        canvas.line(&points, 0.8, Ink::Ink);
        canvas.fence(&points);
    }
    canvas.title(9.0, &c.title);
    for (value, text) in c.axis.iter().rev() {
        canvas.axis_number(scale.at(*value), true, text);
    }
    for line in [&low, &middle, &high] {
        canvas.fence(line);
    }
    for x in peaks(&c.high, &high, scale.high()) {
        canvas.arrow_up(x.clamp(2.2, width - 2.2), top - 6.0);
        canvas.block(x, top - 4.0, 2.2, 2.1);
    }
    for limit in [&c.stop, &c.watch] {
        canvas.limit_words(scale.at(limit.value), width, &limit.said);
    }
    // The note hangs over the curve, as far right as it fits.
    let wide = canvas.measure(Face::Sans, TEXT, &c.note);
    let mut spots = Vec::new();
    for lift in [4.5_f32, 9.0, 14.0, 20.0, 28.0] {
        for step in 0..40_u8 {
            let right = (width - 10.0) * (1.0 - f32::from(step) / 40.0);
            let left = right - wide;
            if left < 0.0 {
                break;
            }
            let crest = high.iter().chain(&middle).filter(|point| point.0 >= left && point.0 <= right);
            let crest = crest.map(|point| point.1).fold(bottom, f32::min);
            spots.push(Spot::end(right, crest - lift));
        }
    }
    canvas.label(&spots, Face::Sans, TEXT, Ink::Ink, &c.note);
    canvas.finish(&c.alternative)
}

/// Stretches of days whose own stop is under the plan's by more than a pen's width.
fn lower_stops(stops: &[Option<f64>], stop: f64) -> Vec<Vec<(i64, f64)>> {
    let mut found: Vec<Vec<(i64, f64)>> = vec![Vec::new()];
    for (today, day) in stops.iter().take(MOST_DAYS).zip(0_i64..) {
        match (today.filter(|value| *value < 0.995 * stop), found.last_mut()) {
            (Some(value), Some(stretch)) => stretch.push((day, value)),
            (None, Some(stretch)) if !stretch.is_empty() => found.push(Vec::new()),
            _ => {}
        }
    }
    found.retain(|stretch| !stretch.is_empty());
    found
}

/// Where the range leaves the scale: the highest day of each stretch over its end.
fn peaks(values: &[f64], places: &[(f32, f32)], most: f64) -> Vec<f32> {
    let mut found: Vec<f32> = Vec::new();
    let mut peak: Option<(f64, f32)> = None;
    // The curve has one place more than there are values: where it begins.
    for (value, (x, _)) in values.iter().map(|value| tame(*value)).zip(places.iter().skip(1)) {
        if value <= most {
            found.extend(peak.take().map(|peak| peak.1));
        } else if peak.is_none_or(|(highest, _)| value > highest) {
            peak = Some((value, *x));
        }
    }
    found.extend(peak.map(|peak| peak.1));
    found
}

/// Draws the year strip of the shed sheet: black bars over month initials.
#[must_use]
pub fn year_strip(s: &YearStrip, fonts: &Fonts) -> Drawing {
    let runs = runs(&s.levels);
    let width = tame_width(s.width);
    let mut canvas = Canvas::plain(fonts, width, 50.0);
    if runs.is_empty() {
        canvas.label(&[Spot::start(0.0, 28.0)], Face::Sans, 13.0, Ink::Ink, "no readings yet");
        return canvas.finish(&s.alternative);
    }
    let bottom = 29.0;
    let time = TimeAxis::new(s.first, drawn(s.levels.len()), width);
    let tallest = runs.iter().map(|run| run.2).max().unwrap_or(0);
    let scale = Scale::new(0.0, f64::from(tallest.min(s.steps.max(1)).max(1)), bottom, 2.0);
    // One outline, so that no seam shows between the bars.
    let mut outline = vec![(0.0, bottom)];
    for (from, to, level) in &runs {
        let y = if *level > 0 { scale.at(f64::from(*level)).min(bottom - 2.5) } else { bottom };
        outline.push((time.at_day(*from), y));
        outline.push((time.at_day(*to), y));
    }
    outline.push((width, bottom));
    if tallest > 0 {
        canvas.fill(&outline, Ink::Ink);
    }
    time.draw(
        &mut canvas,
        bottom,
        MonthNames { initials: true, years: false, face: Face::SansSemibold, size: 13.0, ink: Ink::Ink },
    );
    canvas.finish(&s.alternative)
}
