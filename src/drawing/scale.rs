//! Scales, round ticks and the time axis, shared by all drawings.

use chrono::{Datelike, NaiveDate};

use super::canvas::{Canvas, Spot, TEXT};
use crate::page::fonts::Fonts;
use crate::page::style::MM;
use crate::page::{Drawing, Face, Ink};
use crate::units::{Digits, group};

/// Length of a tick.
pub(super) const TICK: f32 = 1.2 * MM;

/// The largest value that is drawn; others are pulled back to it.
const LARGEST: f64 = 1.0e9;

/// A number that can be drawn: not a number becomes nought, huge ones are pulled back.
pub(super) fn tame(value: f64) -> f64 {
    if value.is_nan() { 0.0 } else { value.clamp(-LARGEST, LARGEST) }
}

/// A width that can be drawn in.
pub(super) fn tame_width(width: f32) -> f32 {
    if width.is_nan() { 40.0 } else { width.clamp(40.0, 2000.0) }
}

/// A height that can be drawn in, from `least`.
pub(super) fn tame_height(height: f32, least: f32) -> f32 {
    if height.is_nan() { least } else { height.clamp(least, 600.0) }
}

/// A count as a length.
pub(super) fn length(count: usize) -> f32 {
    f32::from(u16::try_from(count).unwrap_or(u16::MAX))
}

/// Round values along an axis: whole multiples of 1, 2 or 5 times a power of ten.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    /// The values, lowest first.
    pub values: Vec<f64>,
    /// Decimal places that show them.
    pub places: usize,
}

impl Ticks {
    /// The round values from `low` to `high`, `most` of them at most.
    #[must_use]
    pub fn within(low: f64, high: f64, most: usize) -> Self {
        Self::new(low, high, most, Ends::Inside)
    }

    /// The round values from the last that is not over `low` to the first that is not under `high`, `most` (and three) at most.
    /// Where the two are nearly one, a little around them.
    #[must_use]
    pub fn around(low: f64, high: f64, most: usize) -> Self {
        let (low, high) = (tame(low.min(high)), tame(low.max(high)));
        let air = (low.abs().max(high.abs()) * 0.02).max(1.0e-9);
        if high - low < air {
            Self::new(low - air, high + air, most, Ends::Outside)
        } else {
            Self::new(low, high, most, Ends::Outside)
        }
    }

    fn new(low: f64, high: f64, most: usize, ends: Ends) -> Self {
        let (low, high) = (tame(low.min(high)), tame(low.max(high)));
        // Around nought there are three: nought itself and one at either side.
        let least = if ends == Ends::Outside { 3 } else { 2 };
        let most = most.clamp(least, 20);
        let span = (high - low).max(1.0e-9);
        let first_power = libm::floor(libm::log10(span)) as i32 - 2;
        for power in first_power..first_power + 6 {
            for digit in [1.0, 2.0, 5.0] {
                let ticks = Self::of_step(low, high, digit, power, ends);
                if ticks.values.len() <= most {
                    return ticks;
                }
            }
        }
        Self { values: Vec::new(), places: 0 }
    }

    /// All multiples of `digit` times ten to the `power`. A value just beside one is taken for it.
    fn of_step(low: f64, high: f64, digit: f64, power: i32, ends: Ends) -> Self {
        let scale = libm::pow(10.0, f64::from(power.abs()));
        // A whole number times or over a whole power of ten: no digit is lost on the way.
        let value = |count: f64| if power < 0 { count * digit / scale } else { count * digit * scale };
        let count = |value: f64| if power < 0 { value * scale / digit } else { value / scale / digit };
        let (first, last) = match ends {
            Ends::Inside => (libm::ceil(count(low) - 1.0e-6), libm::floor(count(high) + 1.0e-6)),
            Ends::Outside => (libm::floor(count(low) + 1.0e-6), libm::ceil(count(high) - 1.0e-6)),
        };
        // More than any axis holds: the caller tries a wider step.
        let many = (last - first).clamp(-1.0, 99.0) as i32;
        let values = (0..=many).map(|step| value(first + f64::from(step)) + 0.0).collect();
        Self { values, places: usize::try_from(-power).unwrap_or(0) }
    }

    /// The values with their numbers in print.
    #[must_use]
    pub fn numbers(&self) -> Vec<(f64, String)> {
        let number = |value: f64| group(value, Digits::Places(if value == 0.0 { 0 } else { self.places }));
        self.values.iter().map(|value| (*value, number(*value))).collect()
    }
}

/// Whether the outermost ticks stand inside the range or around it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ends {
    Inside,
    Outside,
}

/// A straight scale from values to points.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    at_low: f32,
    at_high: f32,
}

impl Scale {
    /// The scale that puts `low` at `at_low` and `high` at `at_high`. Equal values are pulled apart.
    pub fn new(low: f64, high: f64, at_low: f32, at_high: f32) -> Self {
        let (low, high) = (tame(low), tame(high));
        let (low, high) = if low <= high { (low, high) } else { (high, low) };
        let apart = (low.abs() * 1.0e-6).max(1.0e-12);
        let high = if high - low < apart { low + apart.max(low.abs() * 0.1) } else { high };
        Self { low, high, at_low, at_high }
    }

    /// Where a value stands; values off the scale stand at its ends.
    pub fn at(&self, value: f64) -> f32 {
        let share = ((tame(value) - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.at_low + narrow(share) * (self.at_high - self.at_low)
    }

    /// The value at its high end.
    pub fn high(&self) -> f64 {
        self.high
    }

    /// Whether a value stands on the scale.
    pub fn holds(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
}

/// A share between 0 and 1 in the precision of the page.
#[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1 loses only digits that are not printed")]
pub(super) fn narrow(share: f64) -> f32 {
    share as f32
}

/// The smallest and largest of some values, tamed.
pub(super) fn extent(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    values.into_iter().map(tame).fold(None, |so_far, value| match so_far {
        None => Some((value, value)),
        Some((low, high)) => Some((low.min(value), high.max(value))),
    })
}

/// Days along the width of a drawing. Drawings with equal `width`, `first` and `days` share it exactly.
#[derive(Clone, Copy, Debug)]
pub(super) struct TimeAxis {
    first: NaiveDate,
    days: i64,
    width: f32,
}

/// How months are named under a time axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct MonthNames {
    /// One letter instead of three.
    pub initials: bool,
    /// The year under its first month.
    pub years: bool,
    /// The face.
    pub face: Face,
    /// The size.
    pub size: f32,
    /// The ink.
    pub ink: Ink,
}

impl MonthNames {
    /// Short names in chart text.
    pub fn short() -> Self {
        Self { initials: false, years: false, face: Face::Sans, size: TEXT, ink: Ink::Quiet }
    }

    /// Short names, and the years under them.
    pub fn with_years() -> Self {
        Self { years: true, ..Self::short() }
    }
}

/// Room under a time axis for the names of its months.
pub(super) const MONTH_ROOM: f32 = 16.0;
/// Room under a time axis for the names of months and years.
pub(super) const YEAR_ROOM: f32 = 26.0;

impl TimeAxis {
    /// An axis of `days` days from the start of `first`.
    pub fn new(first: NaiveDate, days: i64, width: f32) -> Self {
        Self { first, days: days.max(1), width }
    }

    /// The whole months from the one of `first` to the one of `last`.
    pub fn months(first: NaiveDate, last: NaiveDate, width: f32) -> Self {
        let start = month_start(month_index(first)).unwrap_or(first);
        let end = month_start(month_index(last) + 1).unwrap_or(last);
        Self::new(start, (end - start).num_days(), width)
    }

    /// Where a day starts.
    pub fn at(&self, date: NaiveDate) -> f32 {
        self.at_day((date - self.first).num_days())
    }

    /// Where day number `day` (from 0) starts.
    pub fn at_day(&self, day: i64) -> f32 {
        let day = i32::try_from(day.clamp(0, self.days)).unwrap_or(i32::MAX);
        let days = i32::try_from(self.days).unwrap_or(i32::MAX);
        narrow(f64::from(day) / f64::from(days)) * self.width
    }

    /// Draws the axis line at `y` with ticks at month starts, without names.
    pub fn draw_ticks(&self, canvas: &mut Canvas<'_>, y: f32, ink: Ink) {
        self.draw_line(canvas, y, ink, self.step_for(TEXT * 2.5));
    }

    /// Every how many months a name of this width fits.
    fn step_for(&self, name_width: f32) -> i64 {
        let month_width = self.month_width();
        [1, 2, 3, 6, 12]
            .into_iter()
            .chain((1..24).map(|doublings| 12_i64 << doublings))
            .find(|step| narrow(f64::from(i32::try_from(*step).unwrap_or(i32::MAX))) * month_width >= name_width)
            .unwrap_or(1 << 30)
    }

    fn month_width(&self) -> f32 {
        self.width * 30.44 / narrow(f64::from(i32::try_from(self.days).unwrap_or(i32::MAX)))
    }

    fn end(&self) -> NaiveDate {
        self.first.checked_add_signed(chrono::Duration::days(self.days)).unwrap_or(NaiveDate::MAX)
    }

    fn draw_line(&self, canvas: &mut Canvas<'_>, y: f32, ink: Ink, step: i64) {
        canvas.line(&[(0.0, y), (self.width, y)], 0.4, Ink::Rule);
        let tick_step = if self.month_width() >= 3.0 { 1 } else { step };
        let end = self.end();
        canvas.tick(0.0, y, ink);
        let mut month = next_multiple(month_index(self.first), tick_step);
        while month <= month_index(end) {
            if let Some(start) = month_start(month)
                && start > self.first
                && start <= end
            {
                canvas.tick(self.at(start), y, ink);
            }
            month += tick_step;
        }
    }

    /// Draws the axis line at `y` with ticks at month starts below it and their names, thinned out where they are close.
    pub fn draw(&self, canvas: &mut Canvas<'_>, y: f32, names: MonthNames) {
        let step = self.step_for(if names.initials { names.size * 1.1 } else { names.size * 2.5 });
        self.draw_line(canvas, y, names.ink, step);
        let end = self.end();
        let (first_month, last_month) = (month_index(self.first), month_index(end));
        let baseline = y + TICK + names.size * 0.95 + 0.8;
        // Names, and years under the first named month of each.
        let mut named_year = None;
        let mut month = next_multiple(first_month, step);
        while month <= last_month {
            let from = month_start(month).unwrap_or(self.first).max(self.first);
            let to = month_start(month + 1).unwrap_or(end).min(end);
            let (left, right) = (self.at(from), self.at(to));
            let year = month.div_euclid(12);
            if step >= 12 {
                canvas.label(&[Spot::start(left, baseline)], names.face, names.size, names.ink, &year.to_string());
            } else if from < to {
                let name = month_name(month.rem_euclid(12), names.initials);
                let half = canvas.measure(names.face, names.size, name) / 2.0;
                let middle = ((left + right) / 2.0).clamp(half, (self.width - half).max(half));
                // A cut month at either end is named only if its name fits beside the others.
                let cut = to - from < chrono::Duration::days(28);
                let fits = !cut || right - left >= half * 2.0 - 1.0;
                if fits {
                    canvas.label(&[Spot::middle(middle, baseline)], names.face, names.size, names.ink, name);
                }
                if names.years && named_year != Some(year) {
                    let spots = [Spot::start(left, baseline + names.size * 1.22)];
                    canvas.label(&spots, names.face, names.size, names.ink, &year.to_string());
                    named_year = Some(year);
                }
            }
            month += step;
        }
    }
}

/// Months since the start of year nought.
fn month_index(date: NaiveDate) -> i64 {
    i64::from(date.year()) * 12 + i64::from(date.month0())
}

/// The first day of a month.
fn month_start(month: i64) -> Option<NaiveDate> {
    let year = i32::try_from(month.div_euclid(12)).ok()?;
    let month = u32::try_from(month.rem_euclid(12)).ok()?;
    NaiveDate::from_ymd_opt(year, month + 1, 1)
}

/// The first multiple of `step` that is not under `value`.
fn next_multiple(value: i64, step: i64) -> i64 {
    let over = value.rem_euclid(step);
    if over == 0 { value } else { value - over + step }
}

/// The short name of month 0 to 11.
fn month_name(month: i64, initial: bool) -> &'static str {
    let (short, letter) = match month {
        0 => ("Jan", "J"),
        1 => ("Feb", "F"),
        2 => ("Mar", "M"),
        3 => ("Apr", "A"),
        4 => ("May", "M"),
        5 => ("Jun", "J"),
        6 => ("Jul", "J"),
        7 => ("Aug", "A"),
        8 => ("Sep", "S"),
        9 => ("Oct", "O"),
        10 => ("Nov", "N"),
        _ => ("Dec", "D"),
    };
    if initial { letter } else { short }
}

/// The small drawing that stands for no data.
pub(super) fn nothing(width: f32, fonts: &Fonts, alternative: &str) -> Drawing {
    let width = tame_width(width);
    let mut canvas = Canvas::new(fonts, width, 26.0);
    canvas.label(&[Spot::start(0.0, 15.0)], Face::Sans, TEXT, Ink::Quiet, "no readings yet");
    canvas.finish(alternative)
}
