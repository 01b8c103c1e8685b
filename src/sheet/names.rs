//! Names of cells: plain letters, each once, and none that a spreadsheet takes for something else.

use std::collections::BTreeSet;

/// No name is longer; 255 is what spreadsheets hold.
const LONGEST: usize = 80;

/// The names that are given already. Spreadsheets do not tell capitals from small letters.
#[derive(Debug, Default)]
pub(super) struct Names {
    taken: BTreeSet<String>,
}

impl Names {
    /// A name of these words, with a number behind it where it is taken.
    pub(super) fn give(&mut self, prefix: &str, words: &str) -> String {
        let mut name = format!("{prefix}{}", plain(words));
        name.truncate(LONGEST);
        if is_else(&name) {
            name = format!("the_{name}");
        }
        let mut candidate = name.clone();
        let mut number = 1_u32;
        while !self.taken.insert(candidate.to_lowercase()) {
            number += 1;
            candidate = format!("{name}_{number}");
        }
        candidate
    }
}

/// Letters, digits and underscores for these words; what has no like becomes an underscore. Never empty.
fn plain(words: &str) -> String {
    let mut out = String::new();
    for c in words.chars() {
        let gap = match c {
            'a'..='z' | 'A'..='Z' | '0'..='9' => {
                out.push(c);
                continue;
            }
            _ => like(c),
        };
        match gap {
            Some(like) => out.push_str(like),
            None if out.ends_with('_') || out.is_empty() => {}
            None => out.push('_'),
        }
    }
    let trimmed = out.trim_end_matches('_');
    if trimmed.is_empty() { "x".to_owned() } else { trimmed.to_owned() }
}

/// How a letter or sign is written in plain letters.
fn like(c: char) -> Option<&'static str> {
    Some(match c {
        'α' => "alpha",
        'β' => "beta",
        'γ' => "gamma",
        'Δ' => "Delta",
        'δ' => "delta",
        'ε' => "epsilon",
        'η' => "eta",
        'θ' => "theta",
        'Θ' => "Theta",
        'κ' => "kappa",
        'λ' => "lambda",
        'µ' | 'μ' => "u",
        'ν' => "nu",
        'π' => "pi",
        'ρ' => "rho",
        'Σ' => "Sum",
        'σ' => "sigma",
        'τ' => "tau",
        'φ' | 'ϕ' => "phi",
        'Φ' => "Phi",
        'ω' => "omega",
        'Ω' => "ohm",
        '°' => "deg",
        '%' => "percent",
        '½' => "half",
        '₀' => "0",
        '₁' => "1",
        '₂' | '²' => "2",
        '₃' | '³' => "3",
        '₄' => "4",
        '₅' => "5",
        '₆' => "6",
        '₇' => "7",
        '₈' => "8",
        '₉' => "9",
        '/' => "_per_",
        _ => return None,
    })
}

/// Whether a spreadsheet takes the name for a cell (`AB12`, `R1C1`), a truth value or a number.
pub(super) fn is_else(name: &str) -> bool {
    let upper = name.to_uppercase();
    let letters = upper.chars().take_while(char::is_ascii_uppercase).count();
    let rest = upper.get(letters..).unwrap_or_default();
    let digits = |text: &str| text.chars().all(|c| c.is_ascii_digit());
    let cell = (1..=4).contains(&letters) && !rest.is_empty() && digits(rest);
    let row = |text: &str| text.strip_prefix('R').is_some_and(digits);
    let column = |text: &str| text.strip_prefix('C').is_some_and(digits);
    let crossing = upper.split_once('C').is_some_and(|(before, after)| row(before) && digits(after));
    let starts_badly = !upper.starts_with(|c: char| c.is_ascii_uppercase() || c == '_');
    cell || row(&upper) || column(&upper) || crossing || upper == "TRUE" || upper == "FALSE" || starts_badly
}

#[cfg(test)]
mod tests {
    use super::{Names, is_else};

    #[test]
    fn names_are_plain_and_each_once() {
        let mut names = Names::default();
        let given =
            ["Δκ_past", "V", "v", "c_NH₃,max", "°", "…", "M(NaHCO₃)", "mg/L CaCO₃"].map(|s| names.give("in_", s));
        let expected = [
            "in_Deltakappa_past",
            "in_V",
            "in_v_2",
            "in_c_NH3_max",
            "in_deg",
            "in_x",
            "in_M_NaHCO3",
            "in_mg_per_L_CaCO3",
        ];
        assert_eq!(given, expected);
        // A number behind a name may not make one that is there.
        assert_eq!(names.give("in_", "V"), "in_V_3");
        assert_eq!(names.give("", "year.low"), "year_low");
        assert_eq!(names.give("", "pH7"), "the_pH7");
    }

    #[test]
    fn what_a_spreadsheet_takes_for_something_else_is_known() {
        for name in ["A1", "ab12", "XFD1048576", "R", "c", "R1C1", "rc", "R2", "C7", "true", "FALSE", "1x", ""] {
            assert!(is_else(name), "{name}");
        }
        for name in ["in_1", "V_1", "year_low", "copper", "_7", "ABCDE1x"] {
            assert!(!is_else(name), "{name}");
        }
    }
}
