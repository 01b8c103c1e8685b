//! The gauge: one reading against its target, in a table cell.

use super::canvas::{Canvas, Spot, TEXT};
use super::scale::{narrow, tame};
use crate::page::fonts::Fonts;
use crate::page::style::MM;
use crate::page::{Drawing, Face, Ink};

/// One reading, the water that tops the pond up, and the target of both.
#[derive(Clone, Debug, Default)]
pub struct Gauge {
    /// Low end of the target.
    pub low: Option<f64>,
    /// High end of the target.
    pub high: Option<f64>,
    /// The pond's reading.
    pub pond: Option<f64>,
    /// The supply's reading.
    pub supply: Option<f64>,
    /// Whether a reading of the pond is asked for, so that its absence is said.
    pub asked: bool,
    /// What the gauge says, in words.
    pub alternative: String,
}

const WIDTH: f32 = 36.0 * MM;
const HEIGHT: f32 = 26.0;
const AXIS: f32 = HEIGHT / 2.0;
const LOW_SHARE: f64 = 2.0 / 9.0;
const BAND_SHARE: f64 = 5.0 / 9.0;

/// Where a mark stands.
enum Stand {
    On(f32),
    Under,
    Over,
}

fn stand(value: f64, low: f64, high: f64) -> Stand {
    let value = tame(value);
    let span = high - low;
    if span <= 0.0 {
        // A target of one value: it stands at the low end, all else is off the scale.
        return if value > high {
            Stand::Over
        } else if value < low {
            Stand::Under
        } else {
            Stand::On(narrow(LOW_SHARE) * WIDTH)
        };
    }
    let share = LOW_SHARE + BAND_SHARE * (value - low) / span;
    if share < 0.0 {
        Stand::Under
    } else if share > 1.0 {
        Stand::Over
    } else {
        Stand::On(narrow(share) * WIDTH)
    }
}

/// Puts a mark with `half` its width: on the scale, or at its end with an arrowhead.
fn place<'f>(canvas: &mut Canvas<'f>, at: Stand, y: f32, half: f32, mark: impl Fn(&mut Canvas<'f>, f32, f32)) {
    const ARROW: f32 = 4.2;
    match at {
        Stand::On(x) => mark(canvas, x.clamp(half, WIDTH - half), y),
        Stand::Under => {
            canvas.fill(&[(0.0, y), (ARROW, y - 2.2), (ARROW, y + 2.2)], Ink::Ink);
            mark(canvas, ARROW + 0.8 + half, y);
        }
        Stand::Over => {
            canvas.fill(&[(WIDTH, y), (WIDTH - ARROW, y - 2.2), (WIDTH - ARROW, y + 2.2)], Ink::Ink);
            mark(canvas, WIDTH - ARROW - 0.8 - half, y);
        }
    }
}

/// Draws a gauge, 36 mm by 26 pt: the target's low end at 2/9 of the width, its high end at 7/9, whatever the unit.
#[must_use]
pub fn gauge(g: &Gauge, fonts: &Fonts) -> Drawing {
    let mut canvas = Canvas::plain(fonts, WIDTH, HEIGHT);
    let left = narrow(LOW_SHARE) * WIDTH;
    let right = narrow(LOW_SHARE + BAND_SHARE) * WIDTH;
    let words = |canvas: &mut Canvas<'_>, y: f32, text: &str| {
        canvas.firm_label(&[Spot::middle(WIDTH / 2.0, y)], Face::Sans, TEXT, Ink::Quiet, text);
    };
    let target = match (g.low.map(tame), g.high.map(tame)) {
        (Some(low), Some(high)) => Some((low.min(high), low.max(high))),
        (None, Some(high)) => Some((high.min(0.0), high)),
        (Some(low), None) => {
            // No high end: every reading that is not under the low one is good, and stands in the band.
            let readings = [g.pond, g.supply].into_iter().flatten().map(|value| tame(value) + tame(value).abs() * 0.1);
            let least = if low > 0.0 { low * 2.5 } else { low + low.abs().max(1.0) };
            Some((low, readings.fold(least, f64::max)))
        }
        (None, None) => None,
    };
    let Some((low, high)) = target else {
        if g.pond.is_none() {
            canvas.slab(left, 0.0, right, HEIGHT, Ink::Window);
            words(&mut canvas, AXIS + 2.7, "not measured");
        } else {
            canvas.line(&[(0.0, AXIS), (WIDTH, AXIS)], 0.4, Ink::Rule);
            words(&mut canvas, AXIS - 3.5, "no target");
        }
        return canvas.finish(&g.alternative);
    };
    canvas.slab(left, 0.0, right, HEIGHT, Ink::Window);
    if g.pond.is_none() && g.supply.is_none() {
        words(&mut canvas, AXIS + 2.7, "not measured");
        return canvas.finish(&g.alternative);
    }
    canvas.line(&[(0.0, AXIS), (WIDTH, AXIS)], 0.4, Ink::Rule);
    for (x, exists) in [(left, g.low.is_some()), (right, g.high.is_some())] {
        if exists {
            canvas.line(&[(x, AXIS - 3.5), (x, AXIS + 3.5)], 0.8, Ink::Ink);
        }
    }
    if let Some(supply) = g.supply {
        place(&mut canvas, stand(supply, low, high), AXIS + 5.3, 2.3, |canvas, x, y| canvas.circle(x, y));
    }
    match g.pond {
        Some(pond) => place(&mut canvas, stand(pond, low, high), AXIS, 3.0, |canvas, x, y| canvas.lozenge(x, y)),
        None if g.asked => words(&mut canvas, AXIS - 3.5, "not measured"),
        None => {}
    }
    canvas.finish(&g.alternative)
}
