//! Writing numbers (PAGE.md section 9): decimal point, comma at thousands, U+2212 minus.

/// How many digits to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Digits {
    /// After the decimal point.
    Places(usize),
    /// Significant.
    Significant(usize),
}

/// Decimal places that show `figures` significant digits of `value`.
fn places_for(value: f64, figures: usize) -> i32 {
    if value == 0.0 || !value.is_finite() {
        return 0;
    }
    let exponent = libm::floor(libm::log10(value.abs())) as i32;
    // Rounding may carry into a new digit (9.996 to three figures is 10.0).
    let places = figures as i32 - 1 - exponent;
    let scale = libm::pow(10.0, f64::from(places));
    let rounded = libm::round(value.abs() * scale) / scale;
    if rounded >= libm::pow(10.0, f64::from(exponent + 1)) { places - 1 } else { places }
}

fn scaled(value: f64, figures: usize, round: fn(f64) -> f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let places = places_for(value, figures);
    let scale = libm::pow(10.0, f64::from(places));
    // A number that is already round must not lose a step to the last bit of its own arithmetic.
    let steps = value * scale;
    let near = libm::round(steps);
    let steps = if (steps - near).abs() < 1e-9 * near.abs().max(1.0) { near } else { round(steps) };
    steps / scale
}

/// To `figures` significant digits, to nearest.
#[must_use]
pub fn significant(value: f64, figures: usize) -> f64 {
    scaled(value, figures, libm::round)
}

/// To `figures` significant digits, never up.
#[must_use]
pub fn significant_down(value: f64, figures: usize) -> f64 {
    scaled(value, figures, libm::floor)
}

/// To `figures` significant digits, never down.
#[must_use]
pub fn significant_up(value: f64, figures: usize) -> f64 {
    scaled(value, figures, libm::ceil)
}

/// The number with so many digits, no grouping, U+2212 for minus.
#[must_use]
pub fn plain(value: f64, digits: Digits) -> String {
    let places = match digits {
        Digits::Places(places) => places,
        Digits::Significant(figures) => places_for(value, figures).max(0) as usize,
    };
    let value = match digits {
        Digits::Significant(figures) => significant(value, figures),
        Digits::Places(_) => value,
    };
    let text = format!("{:.*}", places, value.abs());
    if value < 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { format!("\u{2212}{text}") } else { text }
}

/// The number with so many digits and commas at thousands.
#[must_use]
pub fn group(value: f64, digits: Digits) -> String {
    let text = plain(value, digits);
    let (sign, rest) = match text.strip_prefix('\u{2212}') {
        Some(rest) => ("\u{2212}", rest),
        None => ("", text.as_str()),
    };
    let (whole, fraction) = rest.split_once('.').map_or((rest, None), |(w, f)| (w, Some(f)));
    let mut out = String::from(sign);
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if let Some(fraction) = fraction {
        out.push('.');
        out.push_str(fraction);
    }
    out
}
