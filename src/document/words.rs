//! Quantities, dates and lists in the reader's words (PAGE.md sections 9 and 15).

use std::fmt::Write as _;

use chrono::{Datelike, NaiveDate};
use minijinja::value::{Value, ValueKind};
use minijinja::{Error, Output, State};

use super::template::{Prepared, pieces};
use crate::plan::{mass_words, spoken, time_words, volume_unit, volume_words, with_unit};
use crate::site::{Country, MONTHS, Site};
use crate::units::table::{self, Unit};
use crate::units::{Digits, Mass, Si, System, Time, Volume, group, plain};
use crate::workings::Way;

/// In whose units, dates and words the plan speaks.
#[derive(Clone, Copy, Debug)]
pub struct Reader {
    system: System,
    american: bool,
    ppm: bool,
    copper: Shown,
}

const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// A reading's unit, its symbol in print, and its decimals.
#[derive(Clone, Copy, Debug)]
pub struct Shown {
    /// The unit.
    pub unit: &'static Unit,
    /// How it is printed.
    pub symbol: &'static str,
    /// Decimals.
    pub places: usize,
}

impl Reader {
    /// The reader of this site's plan.
    #[must_use]
    pub fn new(site: &Site, system: System) -> Self {
        let ppm = system == System::Us;
        // Copper is printed in the unit of the owner's kit; mg/L (ppm) without one (Decisions).
        let unit = spoken(site, system).copper();
        let copper = Shown { unit, symbol: unit.symbol, places: if unit.size < 1e-5 { 0 } else { 3 } };
        Self { system, american: site.country == Country::UnitedStates, ppm, copper }
    }

    /// In whose units.
    #[must_use]
    pub fn system(&self) -> System {
        self.system
    }

    /// Month first, `call us`.
    #[must_use]
    pub fn american(&self) -> bool {
        self.american
    }

    /// How a row of the readings table is shown.
    #[must_use]
    pub fn shown(&self, key: &str) -> Shown {
        let shown = |unit, symbol, places| Shown { unit, symbol, places };
        match (key, self.ppm) {
            ("carbonate-hardness", false) => shown(&table::DEGREE_KH, "°dKH", 1),
            ("carbonate-hardness", true) => shown(&table::KH_PPM, "ppm", 0),
            ("general-hardness", false) => shown(&table::DEGREE_GH, "°dGH", 1),
            ("general-hardness", true) => shown(&table::GH_PPM, "ppm", 0),
            ("calcium", false) => shown(&table::CALCIUM_MG, "mg/L", 0),
            ("calcium", true) => shown(&table::CALCIUM_PPM, "ppm CaCO₃", 0),
            ("conductivity", _) => shown(&table::MICROSIEMENS, "µS/cm", 0),
            ("ph-morning" | "ph-afternoon" | "ph", _) => shown(&table::ONE, "", 1),
            ("unionised-ammonia", ppm) => shown(&table::MILLIGRAMS, if ppm { "ppm" } else { "mg/L" }, 4),
            ("total-ammonia", ppm) => shown(&table::AMMONIA_N, if ppm { "ppm N" } else { "mg/L N" }, 2),
            ("nitrite", ppm) => shown(&table::NITRITE_ION, if ppm { "ppm" } else { "mg/L" }, 2),
            ("nitrate", ppm) => shown(&table::NITRATE_ION, if ppm { "ppm" } else { "mg/L" }, 0),
            ("phosphate", ppm) => shown(&table::PHOSPHATE_ION, if ppm { "ppm" } else { "mg/L" }, 2),
            ("oxygen", ppm) => shown(&table::MILLIGRAMS, if ppm { "ppm" } else { "mg/L" }, 1),
            ("chlorine", ppm) => shown(&table::MILLIGRAMS, if ppm { "ppm" } else { "mg/L" }, 2),
            ("chloride", ppm) => shown(&table::MILLIGRAMS, if ppm { "ppm" } else { "mg/L" }, 0),
            ("total-copper", _) => self.copper,
            ("rain", false) => shown(&table::MILLIMETRE, "mm", 0),
            ("rain", true) => shown(&table::INCH, "in", 1),
            ("temperature", false) => shown(&table::CELSIUS, "°C", 1),
            ("temperature", true) => shown(&table::FAHRENHEIT, "°F", 0),
            _ => shown(&table::ONE, "", 2),
        }
    }

    /// A number of a row's quantity, without its unit.
    #[must_use]
    pub fn number(&self, key: &str, si: f64) -> String {
        let shown = self.shown(key);
        group(shown.unit.of(si), Digits::Places(shown.places))
    }

    /// A quantity of a row with its unit.
    #[must_use]
    pub fn quantity(&self, key: &str, si: f64) -> String {
        with_unit(&self.number(key, si), self.shown(key).symbol)
    }

    /// The end of a target: as few decimals as say it.
    #[must_use]
    pub fn target(&self, key: &str, si: f64) -> String {
        let shown = self.shown(key);
        let number = shown.unit.of(si);
        // A window is printed inward: 14 °dKH is 249.9 ppm, printed 249.
        let number = if key == "carbonate-hardness" && self.ppm {
            if number > 200.0 { libm::floor(number) } else { libm::ceil(number - 0.5) }
        } else {
            number
        };
        let text = group(number, Digits::Places(shown.places));
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    }

    /// A limit of a row's quantity with its unit, in as few decimals as say it.
    #[must_use]
    pub fn quantity_short(&self, key: &str, si: f64) -> String {
        with_unit(&self.target(key, si), self.shown(key).symbol)
    }

    /// A mass.
    #[must_use]
    pub fn mass(&self, si: f64) -> String {
        mass_words(Mass::from_si(si), self.system, Way::Down)
    }

    /// A mass that nobody weighs out, cut the given way to the step of a dose of its size.
    #[must_use]
    pub fn mass_about(&self, mass: Mass, way: Way) -> String {
        mass_words(crate::plan::measured(mass, self.system, way), self.system, way)
    }

    /// The mass of a neutraliser, which must not say less.
    #[must_use]
    pub fn mass_up(&self, si: f64) -> String {
        mass_words(Mass::from_si(si), self.system, Way::Up)
    }

    /// A volume rounded to three digits, the given way, in words.
    #[must_use]
    pub fn volume(&self, si: f64, way: Way) -> String {
        volume_words(Volume::from_si(si), self.system, way).1
    }

    /// A small volume: litres or quarts of water to stir into.
    #[must_use]
    pub fn bucket(&self, si: f64) -> String {
        if self.system == System::Us {
            let gallons = libm::ceil(table::US_GALLON.of(si) * 2.0 - 1e-9) / 2.0;
            return with_unit(&crate_trim(plain(gallons, Digits::Places(1))), "gallons");
        }
        with_unit(&plain(libm::ceil(table::LITRE.of(si) - 1e-9), Digits::Places(0)), "litres")
    }

    /// A volume's bare number in the reader's unit.
    #[must_use]
    pub fn volume_number(&self, si: f64) -> String {
        group(volume_unit(self.system).of(si), Digits::Significant(3))
    }

    /// The reader's unit of volume.
    #[must_use]
    pub fn volume_unit(&self) -> &'static Unit {
        volume_unit(self.system)
    }

    /// A length by tape or sounding stick: metres to the centimetre, or feet.
    #[must_use]
    pub fn length(&self, si: f64) -> String {
        if self.system == System::Metric {
            return with_unit(&group(table::METRE.of(si), Digits::Places(2)), "m");
        }
        with_unit(&crate_trim(group(table::FOOT.of(si), Digits::Places(2))), "ft")
    }

    /// An area of water.
    #[must_use]
    pub fn area(&self, si: f64) -> String {
        let (unit, symbol) =
            if self.system == System::Metric { (&table::SQUARE_METRE, "m²") } else { (&table::SQUARE_FOOT, "ft²") };
        with_unit(&group(unit.of(si), Digits::Significant(3)), symbol)
    }

    /// The word for the unit of volume.
    #[must_use]
    pub fn volume_word(&self) -> &'static str {
        if self.system == System::Metric { "litres" } else { "gallons" }
    }

    /// A duration, up to five minutes.
    #[must_use]
    pub fn time(&self, si: f64) -> String {
        time_words(Time::from_si(si))
    }

    /// `9:00` plus a duration, as a clock time.
    #[must_use]
    pub fn clock_after_nine(&self, si: f64) -> Option<String> {
        let minutes = 9.0 * 60.0 + libm::ceil(si / 300.0 - 1e-9) * 5.0;
        if minutes >= 24.0 * 60.0 {
            return None;
        }
        let (hours, rest) = (libm::floor(minutes / 60.0), minutes % 60.0);
        if self.american {
            let (hour, half) = if hours > 12.5 {
                (hours - 12.0, "pm")
            } else if hours > 11.5 {
                (hours, "pm")
            } else {
                (hours, "am")
            };
            return Some(format!("{hour:.0}:{rest:02.0}\u{a0}{half}"));
        }
        Some(format!("{hours:.0}:{rest:02.0}"))
    }

    /// A flow.
    #[must_use]
    pub fn flow(&self, si: f64) -> String {
        let (unit, symbol): (&Unit, &str) = match self.system {
            System::Metric => (&table::LITRES_PER_SECOND, "litres a second"),
            System::Us => (&table::US_GALLONS_PER_MINUTE, "gallons a minute"),
            System::Imperial => (&table::IMPERIAL_GALLONS_PER_MINUTE, "gallons a minute"),
        };
        with_unit(&plain(unit.of(si), Digits::Significant(2)), symbol)
    }

    /// `Thursday 18 February 2027`, `Thursday, February 18, 2027`.
    #[must_use]
    pub fn long_date(&self, date: NaiveDate) -> String {
        let day = match date.weekday().num_days_from_monday() {
            0 => "Monday",
            1 => "Tuesday",
            2 => "Wednesday",
            3 => "Thursday",
            4 => "Friday",
            5 => "Saturday",
            _ => "Sunday",
        };
        if self.american { format!("{day}, {}", self.day_year(date)) } else { format!("{day} {}", self.day_year(date)) }
    }

    /// `18 February 2027`, `February 18, 2027`.
    #[must_use]
    pub fn day_year(&self, date: NaiveDate) -> String {
        if self.american {
            format!("{}, {}", self.day(date), date.year())
        } else {
            format!("{} {}", self.day(date), date.year())
        }
    }

    /// `18 February`, `February 18`.
    #[must_use]
    pub fn day(&self, date: NaiveDate) -> String {
        let month = MONTHS.get(date.month0() as usize).unwrap_or(&"");
        if self.american { format!("{month}\u{a0}{}", date.day()) } else { format!("{}\u{a0}{month}", date.day()) }
    }

    /// `Thu 18`, for heads of columns.
    #[must_use]
    pub fn weekday_number(&self, date: NaiveDate) -> String {
        format!("{}\u{a0}{}", weekday(date), date.day())
    }

    /// `Thu 18 February`, `Thu, February 18`.
    #[must_use]
    pub fn weekday_day(&self, date: NaiveDate) -> String {
        if self.american {
            format!("{}, {}", weekday(date), self.day(date))
        } else {
            format!("{} {}", weekday(date), self.day(date))
        }
    }

    /// `Fri 19, Sat 20 and Sun 21 February`; a long run as `Fri 19 to Thu 25 February`.
    #[must_use]
    pub fn days(&self, dates: &[NaiveDate]) -> String {
        let (Some(first), Some(last)) = (dates.first(), dates.last()) else { return String::new() };
        if dates.len() == 1 {
            return self.weekday_day(*first);
        }
        if dates.len() > 4 {
            return format!("{} to {}", self.weekday_day(*first), self.weekday_day(*last));
        }
        let mut out = String::new();
        for (i, date) in dates.iter().enumerate() {
            let is_last = i + 1 == dates.len();
            let sep = if i == 0 {
                ""
            } else if is_last {
                " and "
            } else {
                ", "
            };
            let next_month = dates.get(i + 1).is_some_and(|d| d.month() != date.month());
            let text = if is_last || next_month { self.weekday_day(*date) } else { self.weekday_number(*date) };
            let _ = write!(out, "{sep}{text}");
        }
        out
    }
}

fn crate_trim(text: String) -> String {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A name cut to so many characters, with an ellipsis: for heads that have one line.
#[must_use]
pub fn cut(name: &str, most: usize) -> String {
    if name.chars().count() <= most {
        return name.to_owned();
    }
    let head: String = name.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", head.trim_end())
}

/// Three letters of the weekday.
#[must_use]
pub fn weekday(date: NaiveDate) -> &'static str {
    DAYS.get(date.weekday().num_days_from_monday() as usize).copied().unwrap_or("")
}

/// `2027-02-18`.
#[must_use]
pub fn iso(date: NaiveDate) -> String {
    format!("{:04}-{:02}-{:02}", date.year(), date.month(), date.day())
}

/// The first eight digits of a hash, in two groups.
#[must_use]
pub fn short_hash(hash: &[u8; 32]) -> String {
    let digits: String = hash.iter().take(4).map(|b| format!("{b:02x}")).collect();
    let (a, b) = digits.split_at(4);
    format!("{a}\u{a0}{b}")
}

/// A whole number as a word up to twelve.
#[must_use]
pub fn count_word(count: u64) -> String {
    let words =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    usize::try_from(count).ok().and_then(|i| words.get(i)).map_or_else(|| count.to_string(), |w| (*w).to_owned())
}

/// British words of the templates and how an American reads them.
const AMERICAN: [(&str, &str); 10] = [
    ("authorisation", "authorization"),
    ("authorised", "authorized"),
    ("neutralised", "neutralized"),
    ("fertiliser", "fertilizer"),
    ("a licence", "a license"),
    ("our licence", "our license"),
    ("neighbour", "neighbor"),
    ("a few centimetres", "a couple of inches"),
    ("mains electricity", "line voltage"),
    ("a gully", "a gutter"),
];

/// A template's own words in American spelling. What stands inside its tags is left alone.
#[must_use]
pub(super) fn american(template: &str) -> Prepared {
    let mut out = Prepared::default();
    for (tag, at, words) in pieces(template) {
        let (mut rest, mut at) = (words, at);
        while let Some((found, british, us)) = AMERICAN
            .iter()
            .filter(|_| !tag)
            .filter_map(|(british, us)| Some((rest.find(british)?, *british, *us)))
            .min_by_key(|(found, british, _)| (*found, usize::MAX - british.len()))
        {
            let (before, after) = rest.split_at(found);
            out.copy(before, at);
            out.copy(us, at + found);
            at += found + british.len();
            rest = after.get(british.len()..).unwrap_or_default();
        }
        out.copy(rest, at);
    }
    out
}

/// Escapes what CommonMark would read as markup. Every value that reaches a template's output passes here.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '\n' | '\r' | '\t' => out.push(' '),
            '☐' => out.push('□'),
            c if c.is_ascii_punctuation() => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// The formatter that escapes all values not marked safe.
///
/// # Errors
/// What writing to the output may err with.
pub fn escaping_formatter(out: &mut Output, state: &mut State<'_, '_>, value: &Value) -> Result<(), Error> {
    match value.kind() {
        ValueKind::Undefined => minijinja::escape_formatter(out, state, value),
        ValueKind::None => Ok(()),
        _ if value.is_safe() => out.write_str(value.as_str().unwrap_or_default()).map_err(Error::from),
        _ => out.write_str(&escape(&value.to_string())).map_err(Error::from),
    }
}
