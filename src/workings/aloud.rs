//! Formulas in words, for those who hear them: "m equals V times rise times M over p".

use super::figure::Way;
use super::term::{Binding, Pick, Symbol, Term, Writing};

impl Writing<'_> {
    /// A formula as it is read aloud.
    pub(super) fn aloud(&self, term: &Term<'_>) -> String {
        match term {
            Term::Operand(node) => symbol_aloud(&self.symbol(node)),
            Term::Sum(list) => {
                let mut out = String::new();
                for (i, (minus, term)) in list.iter().enumerate() {
                    out.push_str(match (i, minus) {
                        (0, false) => "",
                        (0, true) => "minus ",
                        (_, false) => " plus ",
                        (_, true) => " minus ",
                    });
                    out.push_str(&self.aloud_at(term, if *minus { Binding::Product } else { Binding::Sum }));
                }
                out
            }
            Term::Product(over, under) => {
                let mut out = self.times(over);
                match under.as_slice() {
                    [] => {}
                    [only] => {
                        out.push_str(" over ");
                        out.push_str(&self.aloud_at(only, Binding::Atom));
                    }
                    list => {
                        out.push_str(" over ");
                        out.push_str(&grouped(&self.times(list)));
                    }
                }
                out
            }
            Term::Power(base, exponent) => format!(
                "{} to the power of {}",
                self.aloud_at(base, Binding::Atom),
                self.aloud_at(exponent, Binding::Atom)
            ),
            Term::Square(base) => format!("{} squared", self.aloud_at(base, Binding::Atom)),
            Term::Root(a) => format!("the square root of {}", self.aloud_at(a, Binding::Atom)),
            Term::Ln(a) => format!("the natural logarithm of {}", self.aloud_at(a, Binding::Atom)),
            Term::Exp(a) => format!("e to the power of {}", self.aloud_at(a, Binding::Atom)),
            Term::Ten(a) => format!("10 to the power of {}", self.aloud_at(a, Binding::Atom)),
            Term::Pick(pick, list) => {
                let mut out = match pick {
                    Pick::Smallest => "the smallest of ",
                    Pick::Largest => "the largest of ",
                }
                .to_owned();
                for (i, term) in list.iter().enumerate() {
                    out.push_str(match i {
                        0 => "",
                        _ if i + 1 == list.len() => " and ",
                        _ => ", ",
                    });
                    out.push_str(&self.aloud_at(term, Binding::Sum));
                }
                out
            }
            Term::Round(a, rounding) => format!(
                "{}, rounded {}",
                self.aloud_at(a, Binding::Sum),
                match rounding.way {
                    Way::Down => "down",
                    Way::Up => "up",
                }
            ),
            Term::Absolute(node) => {
                let (add, times) = self.above_zero(node);
                let sum = format!("{} plus {add}", symbol_aloud(&self.symbol(node)));
                if times.is_some() { format!("{} times 5 over 9", grouped(&sum)) } else { sum }
            }
            Term::Solved { equation, .. } => equation_aloud(equation),
        }
    }

    fn aloud_at(&self, term: &Term<'_>, least: Binding) -> String {
        let words = self.aloud(term);
        if term.binding() < least { grouped(&words) } else { words }
    }

    fn times(&self, list: &[Term<'_>]) -> String {
        let parts: Vec<String> = list.iter().map(|term| self.aloud_at(term, Binding::Product)).collect();
        parts.join(" times ")
    }
}

fn grouped(words: &str) -> String {
    format!("open bracket {words} close bracket")
}

/// A symbol in words: `V_low` is "V low", `ΔK` "Delta K", `M(NaHCO₃)` "M of NaHCO₃".
pub(super) fn symbol_aloud(symbol: &Symbol<'_>) -> String {
    match symbol {
        Symbol::Number(words) => words.replace('½', "one half").replace('/', " per ").replace('−', "minus "),
        Symbol::Function(head, inner) => format!("{} of {inner}", letters(head)),
        Symbol::Variable(head, "") => letters(head),
        Symbol::Variable(head, sub) => {
            let sub: Vec<String> = sub.split(',').map(letters).collect();
            format!("{} {}", letters(head), sub.join(" "))
        }
    }
}

/// An equation that stands as a text, sign by sign.
fn equation_aloud(equation: &str) -> String {
    let mut out = String::new();
    for c in letters(equation).chars() {
        match c {
            '=' => out.push_str("equals"),
            '·' => out.push_str(" times "),
            '+' => out.push_str("plus"),
            '−' => out.push_str("minus"),
            '(' => out.push_str("open bracket "),
            ')' => out.push_str(" close bracket"),
            '₀'..='₉' => out.extend(char::from_digit(u32::from(c) - u32::from('₀'), 10)),
            c => out.push(c),
        }
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Greek letters by name, each a word of its own.
fn letters(text: &str) -> String {
    const GREEK: [(char, &str); 9] = [
        ('Δ', "Delta"),
        ('Λ', "Lambda"),
        ('α', "alpha"),
        ('γ', "gamma"),
        ('θ', "theta"),
        ('κ', "kappa"),
        ('π', "pi"),
        ('φ', "phi"),
        ('ω', "omega"),
    ];
    let mut out = String::new();
    for c in text.chars() {
        match GREEK.iter().find(|(letter, _)| *letter == c) {
            Some((_, name)) => {
                if !out.is_empty() && !out.ends_with(' ') {
                    out.push(' ');
                }
                out.push_str(name);
                out.push(' ');
            }
            None if c == '/' => out.push_str("over "),
            None => out.push(c),
        }
    }
    out.trim_end().to_owned()
}
