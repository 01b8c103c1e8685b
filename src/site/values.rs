//! From a text to a number, a date or a word; from what is wrong with it to a complaint.

use chrono::{NaiveDate, NaiveTime};

use super::fields::Bounds;
use crate::diag::{Diagnostic, Diagnostics, Span};
use crate::units::{Kind, ReadError, Unit, read_number, read_si, read_si_in};

/// A number in a text: its SI value, and whether it was written as "less than".
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Number {
    pub si: f64,
    pub less_than: bool,
}

/// Where a number stands and what it is, for the complaint.
#[derive(Clone, Copy)]
pub(super) struct Place<'a> {
    /// The reading or key, in words.
    pub what: &'a str,
    /// Its place.
    pub span: Span,
    /// The unit of its column, if the log gives one.
    pub column: Option<&'static Unit>,
    /// Whether quotes belong around what the hint proposes.
    pub quoted: bool,
}

impl Place<'_> {
    fn write(&self, words: &str) -> String {
        if self.quoted { format!("write `\"{words}\"`") } else { format!("write `{words}`") }
    }
}

/// Reads a number of a kind (`None`: without unit) and checks it against what it can be.
pub(super) fn number(
    text: &str,
    kind: Option<Kind>,
    bounds: &Bounds,
    place: Place<'_>,
    complaints: &mut Diagnostics,
) -> Option<Number> {
    let trimmed = text.trim();
    let (less_than, digits) = match trimmed.strip_prefix('<') {
        Some(rest) => (true, rest),
        None => (false, trimmed),
    };
    if trimmed.starts_with(['>', '≥', '≤', '~', '≈']) {
        let sign: String = trimmed.chars().take(1).collect();
        complaints.push(
            Diagnostic::error("inexact-number", place.span, format!("{} begins with `{sign}`", place.what))
                .label("only `<`, for less than the kit can see, is understood")
                .why("a reading off the end of the kit is no reading")
                .hint("dilute the sample with distilled water, read again and multiply, or leave it out"),
        );
        return None;
    }
    let read = match (kind, place.column) {
        (None, _) => read_number(digits),
        (Some(kind), Some(unit)) => read_si_in(kind, digits, unit),
        (Some(kind), None) => read_si(kind, digits),
    };
    let si = match read {
        Ok(si) => si,
        Err(error) => {
            complaints.push(misread(&error, digits.trim(), kind, bounds, place));
            return None;
        }
    };
    within(trimmed, si, bounds, place, complaints).then_some(Number { si, less_than })
}

/// Whether a number is possible; asks about one that is not usual.
fn within(text: &str, si: f64, bounds: &Bounds, place: Place<'_>, complaints: &mut Diagnostics) -> bool {
    let Bounds { unit, hard, usual } = *bounds;
    let shown = unit.of(si);
    // The last bit of a conversion must not turn 0 °C, written as 32 °F, into something below it.
    let outside = |(low, high): (f64, f64)| {
        let slack = 1e-9 * high.abs().max(low.abs());
        shown < low - slack || shown > high + slack
    };
    let range = |(low, high): (f64, f64)| {
        let words = format!("{} to {} {}", plain(low), plain(high), unit.symbol);
        words.trim_end().to_owned()
    };
    if outside(hard) {
        complaints.push(
            Diagnostic::error("impossible-value", place.span, format!("{} cannot be `{}`", place.what, clipped(text)))
                .label(format!("possible is {}", range(hard)))
                .why("every dose and limit that rests on it would be wrong")
                .hint("check the decimal point and the unit"),
        );
        return false;
    }
    if let Some(usual) = usual.filter(|u| outside(*u)) {
        complaints.push(
            Diagnostic::warning(
                "unusual-value",
                place.span,
                format!("{} of `{}` is unusual", place.what, clipped(text)),
            )
            .label(format!("usual is {}", range(usual)))
            .why("it may be right, but a slip of the pen or another unit looks the same")
            .hint("read it again; if it stands, nothing needs changing"),
        );
    }
    true
}

/// A number for a sentence, with U+2212 for minus.
pub(super) fn plain(value: f64) -> String {
    let digits = format!("{}", value.abs());
    if value < 0.0 { format!("\u{2212}{digits}") } else { digits }
}

/// What a number without a unit could mean, and what hangs on it.
fn question(kind: Kind) -> Option<(&'static str, &'static str, &'static str)> {
    Some(match kind {
        Kind::CarbonateHardness => {
            ("is this °dKH, or mg/L as CaCO₃?", "the two differ eighteen-fold, and the dose with them", "dKH")
        }
        Kind::GeneralHardness => {
            ("is this °dGH, or mg/L as CaCO₃?", "the two differ eighteen-fold, and the limits with them", "dGH")
        }
        Kind::Calcium => (
            "is this mg/L as calcium, or as CaCO₃?",
            "the two differ 2.5-fold, and the copper limit with them",
            "mg/L Ca",
        ),
        Kind::Conductivity => ("is this µS/cm or mS/cm?", "the two differ a thousandfold", "µS/cm"),
        Kind::Temperature => ("is this °C or °F?", "chemistry and fish both go by it", "°C"),
        Kind::Volume => ("litres, cubic metres or gallons?", "every dose is in proportion to the volume", "L"),
        Kind::Flow => ("a second, a minute or an hour, and of what?", "the hose runs by the clock", "L/min"),
        Kind::Length => (
            "metres or feet?",
            "a metre is more than three feet, and what is reckoned from it is wrong by as much or more",
            "m",
        ),
        Kind::Ammonia => ("mg/L as nitrogen, as NH₃ or as NH₄?", "the forms differ by up to three tenths", "mg/L N"),
        Kind::Nitrite => ("mg/L as NO₂ or as nitrogen?", "the two differ 3.3-fold", "mg/L NO2"),
        Kind::Nitrate => ("mg/L as NO₃ or as nitrogen?", "the two differ 4.4-fold", "mg/L NO3"),
        Kind::Phosphate => ("mg/L as PO₄ or as phosphorus?", "the two differ threefold", "mg/L PO4"),
        Kind::MassConcentration => ("mg/L or µg/L?", "the two differ a thousandfold", "mg/L"),
        _ => return None,
    })
}

fn misread(error: &ReadError, text: &str, kind: Option<Kind>, bounds: &Bounds, place: Place<'_>) -> Diagnostic {
    let what = place.what;
    let example = kind.map_or("8.1", |kind| bounds.example(kind));
    match error {
        ReadError::Empty | ReadError::NoNumber => {
            let said =
                if text.is_empty() { format!("{what} is blank") } else { format!("`{}` is no number", clipped(text)) };
            let hint = if place.quoted {
                format!("{}, or delete the line if it was not measured", place.write(example))
            } else {
                format!("{}, or leave the cell empty if it was not measured", place.write(example))
            };
            Diagnostic::error("no-number", place.span, said)
                .label(format!("a number for {what} belongs here"))
                .why("the plan cannot reckon with words")
                .hint(hint)
        }
        ReadError::DecimalComma => {
            Diagnostic::error("decimal-comma", place.span, format!("{what} has a decimal comma"))
                .label("is the comma a decimal point?")
                .why("a comma groups thousands here, so a decimal comma could make the number a thousand times larger")
                .hint(place.write(&text.replace(',', ".")))
        }
        ReadError::NoUnit => {
            let unit = bounds.unit.symbol;
            match kind.and_then(question) {
                Some((label, why, plain_unit)) => {
                    let other = match kind {
                        Some(Kind::CarbonateHardness | Kind::GeneralHardness | Kind::Calcium) => {
                            format!(" or `{}`, whichever the test kit prints", pair(text, "mg/L CaCO3", place.quoted))
                        }
                        _ => " or the unit that the instrument shows".to_owned(),
                    };
                    Diagnostic::error("ambiguous-unit", place.span, format!("{what} has no unit"))
                        .label(label)
                        .why(why)
                        .hint(format!("write `{}`{other}", pair(text, plain_unit, place.quoted)))
                }
                None => Diagnostic::error("missing-unit", place.span, format!("{what} has no unit"))
                    .label("a unit belongs after the number")
                    .why("the program does not guess units")
                    .hint(place.write(&format!("{text} {unit}"))),
            }
        }
        ReadError::Ambiguous { unit, question, hint } if kind == Some(Kind::Angle) => {
            Diagnostic::error("other-quantity", place.span, format!("`{unit}` does not make a latitude"))
                .label(*question)
                .why("the sun's height over the year goes by the latitude")
                .hint(*hint)
        }
        ReadError::Ambiguous { unit, question, hint } => {
            let unit = clipped(unit);
            Diagnostic::error("ambiguous-unit", place.span, format!("`{unit}` leaves open what {what} is counted in"))
                .label(*question)
                .why("the plan would rest on a guess")
                .hint(*hint)
        }
        ReadError::OtherKind { unit, measures } => {
            let unit = clipped(unit);
            Diagnostic::error("other-quantity", place.span, format!("{what} is given in `{unit}`"))
                .label(format!("`{unit}` measures {}", measures.words()))
                .why("one quantity cannot be turned into another without more data")
                .hint(format!("{}, for instance", place.write(example)))
        }
        ReadError::UnknownUnit { unit, .. } if kind.is_none() && between(unit).is_none() => {
            let unit = clipped(unit);
            let ph = what != "evaporation factor";
            Diagnostic::error("unknown-unit", place.span, format!("{what} has a unit, `{unit}`"))
                .label(if ph { "pH is a number without a unit" } else { "a number without a unit belongs here" })
                .why("something else may have been meant")
                .hint(place.write(if ph { example } else { "1.05" }))
        }
        ReadError::UnknownUnit { unit, .. } if between(unit).is_some() => {
            let sign = between(unit).unwrap_or_default();
            let said = format!("a `{sign}` stands inside {what}, `{}`", clipped(text));
            let complaint = Diagnostic::error("no-number", place.span, said);
            if matches!(sign, '-' | '\u{2013}' | '\u{2014}' | '/' | '~') {
                return complaint
                    .label("are these two numbers?")
                    .why("the plan needs one number; how sure it is comes from the kit's step")
                    .hint("write the number that was read; put the other into the note");
            }
            let meant = text.replacen(sign, ".", 1);
            let number = meant.split_whitespace().next().is_some_and(|word| word.parse::<f64>().is_ok());
            let write = if number {
                format!("{} if that is meant", place.write(&meant))
            } else {
                "write one number, with a point before its decimals".to_owned()
            };
            complaint
                .label("is it a decimal point, or are these two readings?")
                .why("the plan would rest on a guess")
                .hint(format!("{write}; two readings stand in two rows"))
        }
        ReadError::UnknownUnit { unit, nearest } => {
            let unit = clipped(unit);
            let kind_words = kind.map_or("number", Kind::words);
            let hint = match nearest {
                Some(near) => format!("write `{near}` if that is meant"),
                None => format!("{}, for instance", place.write(example)),
            };
            Diagnostic::error("unknown-unit", place.span, format!("`{unit}` is not a unit of {kind_words} known here"))
                .label("this unit is not known")
                .why("the program does not guess units")
                .hint(hint)
        }
    }
}

/// The sign between two numbers, when a unit begins with one and goes on with a digit: `;5` of `6;5`.
fn between(unit: &str) -> Option<char> {
    let mut signs = unit.chars();
    let sign = signs.next().filter(|c| !c.is_alphanumeric() && !matches!(c, '°' | '%' | '(' | '['))?;
    signs.next().filter(char::is_ascii_digit).map(|_| sign)
}

fn pair(number: &str, unit: &str, quoted: bool) -> String {
    if quoted { format!("\"{number} {unit}\"") } else { format!("{number} {unit}") }
}

/// A date, written year first.
pub(super) fn date(text: &str, what: &str, span: Span, complaints: &mut Diagnostics) -> Option<NaiveDate> {
    let text = text.trim();
    let parts: Vec<&str> = text.split('-').collect();
    let shape = match parts.as_slice() {
        [year, month, day] if year.len() == 4 && month.len() == 2 && day.len() == 2 => {
            whole(year).zip(whole(month)).zip(whole(day))
        }
        _ => None,
    };
    let Some(((year, month), day)) = shape else {
        complaints.push(
            Diagnostic::error("date-form", span, format!("{what} is not written year first"))
                .label("year, month and day belong here, as in `2026-03-12`")
                .why("`3/12` is March in one country and December in another")
                .hint("write `2026-03-12` for 12 March 2026"),
        );
        return None;
    };
    let found = i32::try_from(year).ok().and_then(|year| NaiveDate::from_ymd_opt(year, month, day));
    let found = found.filter(|_| (1980..=2200).contains(&year));
    if found.is_none() {
        complaints.push(
            Diagnostic::error("impossible-date", span, format!("there is no day `{text}`"))
                .label("no such day, or not in a year that a pond's log can hold")
                .why("the plan counts days from it")
                .hint("check year, month and day"),
        );
    }
    found
}

/// A time of day on the 24-hour clock.
pub(super) fn time(text: &str, span: Span, complaints: &mut Diagnostics) -> Option<NaiveTime> {
    let text = text.trim();
    let found = text.split_once(':').and_then(|(hour, minute)| {
        let minute = (minute.len() == 2).then(|| whole(minute))??;
        NaiveTime::from_hms_opt(whole(hour)?, minute, 0)
    });
    if found.is_none() {
        complaints.push(
            Diagnostic::error("time-form", span, format!("`{}` is not a time of day", clipped(text)))
                .label("hour and minute on the 24-hour clock belong here")
                .why("pH and oxygen mean nothing without their hour")
                .hint("write `07:30` or `16:00`, or leave the cell empty"),
        );
    }
    found
}

/// What was written, short enough for a sentence.
pub(super) fn clipped(text: &str) -> String {
    const MOST: usize = 40;
    if text.chars().count() <= MOST { text.to_owned() } else { text.chars().take(MOST).chain(['…']).collect() }
}

/// A name as it is said: keys and columns write `ph`, people pH.
pub(super) fn spoken(name: &str) -> String {
    let words = name.replace('_', " ");
    match words.strip_prefix("ph") {
        Some(rest) if rest.is_empty() || rest.starts_with(' ') => {
            format!("pH{}", rest.replace(" morning", " of the morning").replace(" afternoon", " of the afternoon"))
        }
        _ => words,
    }
}

/// A whole number of ASCII digits.
pub(super) fn whole(text: &str) -> Option<u32> {
    let text = text.trim();
    (!text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok())?
}
