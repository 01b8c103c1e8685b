//! Printed rounding (PAGE.md section 9): to the kinder side, in the reader's own unit, once.

use crate::units::table::{self, CUBIC_METRE, GRAM, IMPERIAL_GALLON, KILOGRAM, LITRE, MINUTE, OUNCE, POUND, US_GALLON};
use crate::units::{Digits, Mass, Si, System, Time, Unit, Volume, group, plain, significant_down, significant_up};
use crate::workings::{Figure, Way};

/// Number, no-break space, unit.
pub fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_owned() } else { format!("{number}\u{a0}{unit}") }
}

/// The step to which a dose of this size is measured, and its unit. Weighed: 50 g over 1 kg, 10 g over 100 g, the
/// scale's step below; half an ounce over a pound. Under twenty steps of the scale it is measured as a stock solution, a
/// millilitre of which holds a tenth or a hundredth of a gram (Decisions).
fn dose_step(dose_si: f64, system: System, scale_si: f64) -> (f64, &'static Unit) {
    let scale = GRAM.of(scale_si);
    let grams = GRAM.of(dose_si);
    match system {
        _ if grams < 2.0_f64.min(20.0 * scale) => (0.01, &GRAM),
        _ if grams < 20.0 * scale => (0.1, &GRAM),
        System::Us if dose_si >= POUND.size => (0.5_f64.max(OUNCE.of(scale_si)), &OUNCE),
        _ if grams >= 1000.0 && system != System::Us => (scale.max(50.0), &GRAM),
        _ if grams >= 100.0 && system != System::Us => (scale.max(10.0), &GRAM),
        _ => (scale, &GRAM),
    }
}

/// A mass cut to the step of a dose of its size, the given way: for the ends of a range, which nobody weighs out.
pub fn measured(mass: Mass, system: System, way: Way) -> Mass {
    let (step, unit) = dose_step(mass.si(), system, GRAM.size);
    let steps = mass.si() / (step * unit.size);
    let near = libm::round(steps);
    let whole = match way {
        _ if (steps - near).abs() < 1e-9 * near.abs().max(1.0) => near,
        Way::Down => libm::floor(steps),
        Way::Up => libm::ceil(steps),
    };
    Mass::from_si(whole * step * unit.size)
}

/// A dose rounded down to what can be measured, never up.
pub fn dose(exact: &Figure<Mass>, system: System, scale: Mass) -> Figure<Mass> {
    let (step, unit) = dose_step(exact.si(), system, scale.si());
    exact.rounded(Way::Down, step, unit)
}

/// A neutraliser rounded up.
pub fn dose_up(exact: &Figure<Mass>, system: System, scale: Mass) -> Figure<Mass> {
    let (step, unit) = dose_step(exact.si(), system, scale.si());
    exact.rounded(Way::Up, step, unit)
}

/// A number cut to so many decimals, the given way, without losing a step to the last bit of its own arithmetic.
fn cut(value: f64, places: i32, way: Way) -> f64 {
    let scale = libm::pow(10.0, f64::from(places));
    let near = libm::round(value * scale);
    let whole = match way {
        _ if (value * scale - near).abs() < 1e-6 => near,
        Way::Down => libm::floor(value * scale),
        Way::Up => libm::ceil(value * scale),
    };
    whole / scale
}

/// A mass in words: `1.25 kg`, `350 g`, `2 lb 12 oz`, `0.31 oz (9 g)`. A changed unit is cut the same way as the dose was
/// rounded, so that it never says more than a dose, or less than a neutraliser.
pub fn mass_words(mass: Mass, system: System, way: Way) -> String {
    let si = mass.si();
    if system == System::Us {
        let ounces = OUNCE.of(si);
        if ounces < 15.999 {
            let grams = trim(plain(cut(GRAM.of(si), 2, way), Digits::Places(2)));
            let ounces = trim(plain(cut(ounces, 2, way), Digits::Places(2)));
            return format!("{} ({})", with_unit(&ounces, "oz"), with_unit(&grams, "g"));
        }
        let tenths = cut(ounces, 1, way);
        let pounds = libm::floor(tenths / 16.0 + 1e-9);
        let rest = (tenths - pounds * 16.0).max(0.0);
        let head = with_unit(&plain(pounds, Digits::Places(0)), "lb");
        let tail = with_unit(&trim(plain(rest, Digits::Places(1))), "oz");
        return if rest < 0.05 { head } else { format!("{head}\u{a0}{tail}") };
    }
    if si >= 0.9995 {
        with_unit(&trim(plain(cut(si, 2, way), Digits::Places(2))), KILOGRAM.symbol)
    } else {
        with_unit(&trim(plain(cut(GRAM.of(si), 2, way), Digits::Places(2))), GRAM.symbol)
    }
}

/// Trailing zeros off.
pub fn trim(text: String) -> String {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The unit volumes are printed in.
pub fn volume_unit(system: System) -> &'static Unit {
    match system {
        System::Metric => &LITRE,
        System::Us => &US_GALLON,
        System::Imperial => &IMPERIAL_GALLON,
    }
}

/// What that unit is called in a sentence.
pub fn volume_words(system: System) -> &'static str {
    match system {
        System::Metric => "litres",
        _ => "gallons",
    }
}

/// The step in which water to stir a dose into is told, and its unit.
pub fn bucket_step(system: System) -> (f64, &'static Unit) {
    if system == System::Us { (0.5, &US_GALLON) } else { (1.0, &LITRE) }
}

/// A temperature the plan sets, in the reader's degrees.
pub fn warmth(celsius: f64, system: System) -> String {
    match system {
        System::Us => with_unit(
            &plain(table::FAHRENHEIT.of(table::CELSIUS.si(celsius)), Digits::Places(0)),
            table::FAHRENHEIT.symbol,
        ),
        _ => with_unit(&trim(plain(celsius, Digits::Places(1))), table::CELSIUS.symbol),
    }
}

/// A volume to three significant digits, the given way: the number, and the words.
pub fn volume(exact: Volume, system: System, way: Way) -> (f64, String) {
    let unit = volume_unit(system);
    let number = unit.of(exact.si());
    let number = match way {
        Way::Down => significant_down(number, 3),
        Way::Up => significant_up(number, 3),
    };
    (unit.si(number), format!("{}\u{a0}{}", group(number, Digits::Significant(3)), volume_words(system)))
}

/// A volume figure rounded to three significant digits.
pub fn volume_figure(exact: &Figure<Volume>, system: System, way: Way) -> Figure<Volume> {
    let unit = volume_unit(system);
    let size = unit.of(exact.si()).abs().max(f64::MIN_POSITIVE);
    let step = libm::pow(10.0, libm::floor(libm::log10(size)) - 2.0);
    exact.rounded(way, step, unit)
}

/// A duration in words, to five minutes up: `2 hours 15 minutes`.
pub fn time_words(time: Time) -> String {
    let minutes = libm::ceil(MINUTE.of(time.si()) / 5.0 - 1e-9) * 5.0;
    let hours = libm::floor(minutes / 60.0);
    let rest = minutes - hours * 60.0;
    let hour = |h: f64| if (h - 1.0).abs() < 0.5 { "1\u{a0}hour".to_owned() } else { format!("{h:.0}\u{a0}hours") };
    match (hours, rest) {
        (h, r) if h < 0.5 => format!("{r:.0}\u{a0}minutes"),
        (h, r) if r < 0.5 => hour(h),
        (h, r) => format!("{} {r:.0}\u{a0}minutes", hour(h)),
    }
}

/// Copper's step in print: one microgram a litre, down.
pub fn copper_limit(exact: &Figure<crate::units::MassConcentration>) -> Figure<crate::units::MassConcentration> {
    exact.rounded(Way::Down, 1.0, &table::MICROGRAMS)
}

/// The unit volumes are computed in.
pub const VOLUME_UNIT: &Unit = &CUBIC_METRE;
