//! The panel by copper tests alone, as templates see it.

use minijinja::Value;

use super::Source;
use super::lines::Lines;
use super::view::{figure, map};
use super::words::Reader;
use crate::plan::TESTS;
use crate::units::table::MILLIAMPERE;
use crate::units::{Digits, MassConcentration, plain};
use crate::workings::Figure;

/// A time from the start on, in words.
fn after(days: f64) -> String {
    let (number, word) = if days < 1.0 { (24.0 * days, "hour") } else { (days, "day") };
    let many = if number == 1.0 { "" } else { "s" };
    format!("{}\u{a0}{word}{many}", plain(number, Digits::Places(0)))
}

/// The view; `None` where the currents are known, or no level is set.
pub(super) fn view(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let found = source.plan.by_test.as_ref()?;
    let copper = |f: &Figure<MassConcentration>| figure(lines, f, reader.quantity("total-copper", f.si()));
    let current = |f: &Figure<crate::units::ElectricCurrent>, digits: u32| {
        // A current that must not be reached is cut down to its digits, never up.
        let milliamperes = MILLIAMPERE.of(f.si());
        let scale = libm::pow(10.0, f64::from(digits) - 1.0 - libm::floor(libm::log10(milliamperes.max(1e-9))));
        let cut = libm::floor(milliamperes * scale + 1e-9) / scale;
        figure(lines, f, format!("{}\u{a0}mA", plain(cut, Digits::Significant(digits as usize))))
    };
    let words: Vec<String> = TESTS.iter().map(|days| after(*days)).collect();
    let tests = match words.split_last() {
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
        None => String::new(),
    };
    Some(map! {
        "steps" => found.steps, "step" => found.step,
        "laboratory" => found.laboratory,
        "running" => found.borne_out.is_some(),
        "found_on" => found.borne_out.map(|date| reader.day(date)),
        "from" => reader.day(found.first),
        "tests" => tests,
        "most" => copper(&found.most), "reading" => copper(&found.reading),
        "current" => current(&found.current, 2), "gram" => current(&found.gram, 3),
    })
}
