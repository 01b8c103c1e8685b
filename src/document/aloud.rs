//! Text alternatives of drawings as they are heard: a screen reader says `µS/cm` as it pleases, so units are words.

/// Symbols as they stand in print, and how one and several of them are said.
const SAID: &[(&str, &str, &str)] = &[
    ("°dKH", "degree", "degrees"),
    ("°dGH", "degree", "degrees"),
    ("°C", "degree Celsius", "degrees Celsius"),
    ("°F", "degree Fahrenheit", "degrees Fahrenheit"),
    ("ppm CaCO₃", "part per million as calcium carbonate", "parts per million as calcium carbonate"),
    ("ppm N", "part per million as nitrogen", "parts per million as nitrogen"),
    ("ppm", "part per million", "parts per million"),
    ("ppb", "part per billion", "parts per billion"),
    ("mg/L N", "milligram per litre as nitrogen", "milligrams per litre as nitrogen"),
    ("mg/L", "milligram per litre", "milligrams per litre"),
    ("µg/L", "microgram per litre", "micrograms per litre"),
    ("µS/cm", "microsiemens per centimetre", "microsiemens per centimetre"),
    ("kg", "kilogram", "kilograms"),
    ("g", "gram", "grams"),
    ("lb", "pound", "pounds"),
    ("oz", "ounce", "ounces"),
    ("m²", "square metre", "square metres"),
    ("m", "metre", "metres"),
    ("ft²", "square foot", "square feet"),
    ("ft", "foot", "feet"),
    ("%", "per cent", "per cent"),
];

/// A text with the units spelt out that stand behind a number and a no-break space, in the reader's spelling.
pub fn aloud(text: &str, american: bool) -> String {
    let mut out = String::with_capacity(text.len() + 64);
    let mut parts = text.split('\u{a0}');
    out.push_str(parts.next().unwrap_or_default());
    for part in parts {
        let number = out.rsplit([' ', '(']).next().unwrap_or_default();
        let one = number == "1";
        let counted = number.ends_with(|c: char| c.is_ascii_digit() || "½¼¾".contains(c));
        let unit = SAID.iter().find_map(|(symbol, single, several)| {
            let rest = part
                .strip_prefix(symbol)
                .filter(|rest| !rest.starts_with(|c: char| c.is_alphanumeric() || c == '/'))?;
            Some((if one { single } else { several }, rest))
        });
        match unit.filter(|_| counted) {
            Some((words, rest)) => {
                out.push(' ');
                out.push_str(words);
                out.push_str(rest);
            }
            None => {
                out.push('\u{a0}');
                out.push_str(part);
            }
        }
    }
    if american { out.replace("litre", "liter").replace("metre", "meter") } else { out }
}
