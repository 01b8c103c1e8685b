//! Two small bar charts side by side: the same two cases, in two quantities.

use super::canvas::{Canvas, Said, Spot, TEXT};
use super::scale::{nothing, tame, tame_width};
use crate::page::fonts::Fonts;
use crate::page::{Drawing, Face, Ink};

/// One chart: bars from nothing to a value, each with its name over it.
#[derive(Clone, Debug, Default)]
pub struct Bars {
    /// What the bars show.
    pub title: String,
    /// Name, length and words of each bar, two at most.
    pub rows: Vec<(String, f64, Said)>,
    /// A limit to hold them against, with its words.
    pub limit: Option<(f64, Said)>,
}

/// Two charts beside each other.
#[derive(Clone, Debug)]
pub struct Beside {
    /// Width of the main column.
    pub width: f32,
    /// The charts, left and right.
    pub charts: [Bars; 2],
    /// Title lines, in the label column.
    pub title: Vec<String>,
    /// What the charts say, in words.
    pub alternative: String,
}

const HEIGHT: f32 = 74.0;
/// Space between the two.
const GAP: f32 = 22.0;
/// Where the bars of a chart stand: their upper edges.
const ROWS: [f32; 2] = [25.0, 49.0];
const THICK: f32 = 8.0;

/// Draws two charts side by side.
#[must_use]
pub fn beside(b: &Beside, fonts: &Fonts) -> Drawing {
    if b.charts.iter().all(|chart| chart.rows.is_empty()) {
        return nothing(b.width, fonts, &b.alternative);
    }
    let width = tame_width(b.width);
    let half = (width - GAP) / 2.0;
    let mut canvas = Canvas::new(fonts, width, HEIGHT);
    canvas.title(9.0, &b.title);
    for (chart, left) in b.charts.iter().zip([0.0, half + GAP]) {
        canvas.firm_label(&[Spot::start(left, 9.0)], Face::SansSemibold, TEXT, Ink::Ink, &chart.title);
        let limit = chart.limit.as_ref().map(|(value, _)| tame(*value).max(0.0));
        let most = chart.rows.iter().map(|(_, value, _)| tame(*value)).chain(limit).fold(0.0, f64::max);
        // A bar leaves its words room at its end where they do not fit on it.
        let at = |value: f64| -> f32 {
            let share = if most > 0.0 { (tame(value) / most).clamp(0.0, 1.0) } else { 0.0 };
            share as f32 * half * 0.6
        };
        for ((name, value, said), top) in chart.rows.iter().zip(ROWS) {
            let right = left + at(*value).max(0.8);
            canvas.slab(left, top, right, top + THICK, Ink::Band);
            canvas.line(&[(left, top), (left, top + THICK)], 0.8, Ink::Ink);
            canvas.line(&[(right, top), (right, top + THICK)], 1.2, Ink::Ink);
            canvas.firm_label(&[Spot::start(left, top - 3.0)], Face::Sans, TEXT, Ink::Ink, name);
            let y = top + THICK - 1.2;
            // The limit stands across each bar, and words stand clear of it.
            let wide = canvas.measure(Face::SansSemibold, TEXT, &said.words);
            let mut start = right + 4.0;
            if let Some(x) = limit.map(|limit| left + at(limit)) {
                canvas.line(&[(x, top - 1.5), (x, top + THICK + 1.5)], 1.6, Ink::Ink);
                if x > right && x < start + wide + 3.0 {
                    start = x + 4.0;
                }
            }
            if canvas.firm_label(&[Spot::start(start, y)], Face::SansSemibold, TEXT, Ink::Ink, &said.words) {
                canvas.prove(&said.lines);
            }
        }
        if let Some((_, said)) = &chart.limit {
            let y = HEIGHT - 2.0;
            if canvas.firm_label(&[Spot::start(left, y)], Face::Sans, TEXT, Ink::Ink, &said.words) {
                canvas.prove(&said.lines);
            }
        }
    }
    canvas.finish(&b.alternative)
}
