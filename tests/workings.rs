//! The workings can be checked without this program: what is keyed gives what is shown, and the JSON tree gives the value.
//!
//! The evaluator below knows nothing of the program: numbers, + − · / brackets, powers, √, ln, e and 10.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test that cannot read its own case has failed; the second opinion uses other functions on purpose"
)]

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use weirbook::plan::Plan;
use weirbook::reference::Status;
use weirbook::units::table as unit;
use weirbook::workings::{Book, Expr, Line};

use crate::demos::{DEMOS, job};
use crate::ponds::sample;

/// A pocket calculator for one keyed line.
struct Calculator<'t> {
    rest: &'t str,
}

impl<'t> Calculator<'t> {
    fn eat(&mut self, what: &str) -> bool {
        let trimmed = self.rest.trim_start_matches([' ', '\u{a0}']);
        if let Some(rest) = trimmed.strip_prefix(what) {
            self.rest = rest;
            return true;
        }
        false
    }

    fn sum(&mut self) -> Result<f64, String> {
        let mut total = self.product()?;
        loop {
            if self.eat("+") {
                total += self.product()?;
            } else if self.eat("\u{2212}") {
                total -= self.product()?;
            } else {
                return Ok(total);
            }
        }
    }

    fn product(&mut self) -> Result<f64, String> {
        let mut total = self.power()?;
        loop {
            if self.eat("×") {
                total *= self.power()?;
            } else if self.eat("/") {
                total /= self.power()?;
            } else {
                return Ok(total);
            }
        }
    }

    fn power(&mut self) -> Result<f64, String> {
        let base = self.atom()?;
        if self.eat("^(") {
            let exponent = self.closed()?;
            return Ok(base.powf(exponent));
        }
        Ok(base)
    }

    /// A whole line, or what stands in brackets: arithmetic, or "the smallest of a, b and c"; then "rounded down to 50 g".
    fn phrase(&mut self) -> Result<f64, String> {
        let pick = if self.eat("the smallest of ") {
            Some(f64::min as fn(f64, f64) -> f64)
        } else if self.eat("the largest of ") {
            Some(f64::max as fn(f64, f64) -> f64)
        } else {
            None
        };
        let mut value = self.sum()?;
        if let Some(pick) = pick {
            while !self.rest.starts_with(", rounded") && (self.eat(",") || self.eat("and ")) {
                value = pick(value, self.sum()?);
            }
        }
        for (words, up) in [(", rounded down to ", false), (", rounded up to ", true)] {
            if self.eat(words) {
                let step = if self.eat("a whole number") { 1.0 } else { self.atom()? };
                // The step's unit stands behind it, to the end of the phrase.
                let end = self.rest.find(')').unwrap_or(self.rest.len());
                self.rest = &self.rest[end..];
                let steps = value / step;
                // What is keyed has five digits or more; a value that stands on a step must not fall off it.
                let whole = if (steps - steps.round()).abs() < 1e-6 * steps.abs().max(1.0) {
                    steps.round()
                } else if up {
                    steps.ceil()
                } else {
                    steps.floor()
                };
                value = whole * step;
            }
        }
        Ok(value)
    }

    fn closed(&mut self) -> Result<f64, String> {
        let inner = self.phrase()?;
        if self.eat(")") { Ok(inner) } else { Err(format!("a bracket is left open before `{}`", self.rest)) }
    }

    fn atom(&mut self) -> Result<f64, String> {
        if self.eat("\u{2212}") {
            return Ok(-self.atom()?);
        }
        if self.eat("√(") {
            return Ok(self.closed()?.sqrt());
        }
        if self.eat("ln(") {
            return Ok(self.closed()?.ln());
        }
        if self.eat("(") {
            return self.closed();
        }
        if self.eat("e^(") {
            return Ok(self.closed()?.exp());
        }
        let trimmed = self.rest.trim_start_matches([' ', '\u{a0}']);
        let end = trimmed.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(trimmed.len());
        let (number, rest) = trimmed.split_at(end);
        self.rest = rest;
        number.parse().map_err(|_| format!("no number at `{trimmed}`"))
    }
}

fn calculate(text: &str) -> Result<f64, String> {
    let mut calculator = Calculator { rest: text };
    let value = calculator.phrase()?;
    if calculator.rest.trim().is_empty() { Ok(value) } else { Err(format!("`{}` is left over", calculator.rest)) }
}

/// Line marks and thousands commas off: ` [volume.low]`, `1,234`.
fn bare(text: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    let letters: Vec<char> = text.chars().collect();
    for (i, &c) in letters.iter().enumerate() {
        match c {
            '[' => inside = true,
            ']' => inside = false,
            ',' if !inside
                && i > 0
                && letters[i - 1].is_ascii_digit()
                && letters.len() > i + 3
                && letters[i + 1..i + 4].iter().all(char::is_ascii_digit) => {}
            _ if inside => {}
            _ => out.push(c),
        }
    }
    out
}

/// What a keyed line comes to.
enum Comes {
    To(f64),
    /// Found by iteration: the equation is printed with its residual instead, so there is nothing to key.
    Solved,
}

fn keyed(text: &str) -> Result<Comes, String> {
    let text = bare(text);
    if text.starts_with("with ") {
        return if text.contains("; solved in ") && text.contains("residual") {
            Ok(Comes::Solved)
        } else {
            Err("no residual".into())
        };
    }
    calculate(&text).map(Comes::To)
}

/// `1,234.5`, `−0.02` as a number.
fn number(text: &str) -> f64 {
    text.replace(',', "").replace('\u{2212}', "-").parse().unwrap()
}

/// Whether a value rounds to what is shown. Results have five significant digits, idle zeros off, so half a unit of the
/// fifth digit is all that rounding explains.
fn shows(value: f64, result: &str) -> bool {
    let shown = number(result);
    let scale = if value == 0.0 { 1.0 } else { 10_f64.powf(value.abs().log10().floor() - 4.0) };
    (value - shown).abs() <= 0.5 * scale * (1.0 + 1e-6)
}

fn check_line(line: &Line, whose: &str) {
    let text = line.keyed_text();
    match keyed(&text) {
        Ok(Comes::To(value)) => {
            assert!(
                shows(value, &line.result),
                "{whose}, {}: `{text}` comes to {value}, shown is {}",
                line.id,
                line.result
            );
        }
        Ok(Comes::Solved) => assert!(matches!(line.node.expr, Expr::Solved { .. }), "{whose}, {}: {text}", line.id),
        Err(why) => panic!("{whose}, {}: `{text}`: {why}", line.id),
    }
}

fn demo_books() -> Vec<(&'static str, Book)> {
    DEMOS.iter().map(|(id, ..)| (*id, job(id).plan.book)).collect()
}

/// Books of random ponds; each pond makes one.
fn random_plans(count: usize) -> Vec<Plan> {
    sample(count).iter().filter_map(|pond| pond.plan().ok()).collect()
}

#[test]
fn what_is_keyed_gives_what_is_shown_in_every_demo() {
    for (id, book) in demo_books() {
        let lines = book.lines();
        assert!(lines.len() > 20, "{id} has {} lines", lines.len());
        for line in &lines {
            check_line(line, id);
        }
    }
}

#[test]
fn what_is_keyed_gives_what_is_shown_for_random_ponds() {
    for (n, plan) in random_plans(600).iter().enumerate() {
        for line in plan.book.lines() {
            check_line(&line, &format!("pond {n}"));
        }
    }
}

#[test]
fn the_calculator_knows_its_rules() {
    for (text, value) in [
        ("2 + 3 × 4", 14.0),
        ("(2 + 3) × 4 / 8", 2.5),
        ("10^(\u{2212}2 + 1)", 0.1),
        ("8 \u{2212} 3 \u{2212} 2", 3.0),
        ("√(16) × 2^(3)", 32.0),
        ("ln(e^(1.5)) / 3", 0.5),
    ] {
        assert!((calculate(text).unwrap() - value).abs() < 1e-12, "{text}");
    }
    assert_eq!(bare("1,234.5 [volume.low] × 2"), "1234.5  × 2");
    assert!(matches!(keyed("the smallest of 3.5 [a.b], 1,200 and 2 [c]"), Ok(Comes::To(v)) if v == 2.0));
    assert!(matches!(keyed("1,249 [x], rounded down to 50\u{a0}g"), Ok(Comes::To(v)) if v == 1200.0));
    assert!(calculate("2 + (3").is_err() && calculate("2 3").is_err());
}

#[test]
fn every_line_has_an_id_of_its_own_and_uses_lines_that_exist() {
    let mut books: Vec<(String, Book)> = demo_books().into_iter().map(|(id, book)| (id.to_owned(), book)).collect();
    books.extend(random_plans(600).into_iter().enumerate().map(|(n, plan)| (format!("pond {n}"), plan.book)));
    for (whose, book) in books {
        let lines = book.lines();
        let ids: BTreeSet<&str> = lines.iter().map(|l| l.id.as_str()).collect();
        assert_eq!(ids.len(), lines.len(), "{whose}: an id comes twice");
        for (line, at) in lines.iter().zip(1..) {
            assert_eq!(line.number, at, "{whose}");
            for used in &line.uses {
                assert!(ids.contains(used.as_str()), "{whose}: {} uses `{used}`, which is no line", line.id);
                assert_ne!(used, &line.id, "{whose}: {used} uses itself");
            }
            let dotted = line.id.split('.').all(|part| {
                !part.is_empty() && part.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
            });
            assert!(dotted, "{whose}: `{}` is no dotted id", line.id);
        }
    }
}

/// The same id must mean the same number wherever it is used: a figure that is named again with another value would print
/// one line and compute with another.
#[test]
fn a_line_has_one_value_wherever_it_is_used() {
    fn walk(node: &weirbook::workings::Node, seen: &mut BTreeMap<String, f64>, whose: &str) {
        if let Some(name) = &node.name {
            let first = *seen.entry(name.id.clone()).or_insert(node.si);
            assert!((first - node.si).abs() <= 1e-12 * first.abs(), "{whose}: {} is {first} and {}", name.id, node.si);
        }
        let of: Vec<&std::rc::Rc<weirbook::workings::Node>> = match &node.expr {
            Expr::Leaf { .. } => vec![],
            Expr::Add(a, b) | Expr::Sub(a, b) | Expr::Mul(a, b) | Expr::Div(a, b) | Expr::Power(a, b) => vec![a, b],
            Expr::Sqrt(a) | Expr::Ln(a) | Expr::Exp(a) | Expr::Ten(a) | Expr::Round(a, _) | Expr::Same(a) => vec![a],
            Expr::Sum(list) | Expr::Min(list) | Expr::Max(list) => list.iter().collect(),
            Expr::Solved { inputs, .. } => inputs.iter().collect(),
        };
        for operand in of {
            walk(operand, seen, whose);
        }
    }
    let mut books: Vec<(String, Book)> = demo_books().into_iter().map(|(id, book)| (id.to_owned(), book)).collect();
    books.extend(random_plans(600).into_iter().enumerate().map(|(n, plan)| (format!("pond {n}"), plan.book)));
    for (whose, book) in &books {
        let mut seen = BTreeMap::new();
        for line in book.lines() {
            walk(&line.node, &mut seen, whose);
        }
    }
}

/// Size and zero of a unit by its printed symbol, in SI. `charge`: whether "mg/L CaCO₃" counts charge (carbonate hardness)
/// or moles (calcium, general hardness); the symbol alone does not say.
fn size_of(symbol: &str, charge: bool) -> (f64, f64) {
    // Printed only, each from its definition.
    let day = 86_400.0;
    match symbol {
        "" => (1.0, 0.0),
        "°C" => (1.0, 273.15),
        // MM-04.
        "mg/L CaCO₃" | "ppm CaCO₃" => (if charge { 2.0 } else { 1.0 } / 100.086, 0.0),
        "g/mol" => (1e-3, 0.0),
        "mol" | "mmol/L" | "C/mol" => (1.0, 0.0),
        "Ah" => (3600.0, 0.0),
        "g a day" => (1e-3 / day, 0.0),
        "g a year" => (1e-3 / (365.0 * day), 0.0),
        "mg/L a day" => (1e-3 / day, 0.0),
        "a day" => (1.0 / day, 0.0),
        "mg/L a µS/cm" => (1e-3 / 1e-4, 0.0),
        "S cm²/mol" => (1e-4, 0.0),
        _ => {
            let found = unit::ALL.iter().find(|u| u.symbol == symbol).unwrap_or_else(|| panic!("no unit `{symbol}`"));
            (found.size, found.zero)
        }
    }
}

/// The SI value of a JSON expression, from the JSON alone. `None` where a solved line stands in it.
fn evaluate(tree: &Value, lines: &BTreeMap<&str, f64>, charge: bool) -> Option<f64> {
    if let Some(id) = tree.get("line") {
        return Some(lines[id.as_str().unwrap()]);
    }
    if let Some(value) = tree.get("value") {
        let symbol = tree["unit"].as_str().unwrap();
        let (size, zero) = size_of(symbol, charge);
        // A difference of one degree is printed with the symbol of a temperature.
        let zero = if tree["symbol"] == "1 K" { 0.0 } else { zero };
        return Some(value.as_f64().unwrap() * size + zero);
    }
    let of: Option<Vec<f64>> = tree["of"].as_array().unwrap().iter().map(|t| evaluate(t, lines, charge)).collect();
    let of = of?;
    Some(match tree["op"].as_str().unwrap() {
        "add" => of.iter().sum(),
        "subtract" => of[0] - of[1],
        "multiply" => of[0] * of[1],
        "divide" => of[0] / of[1],
        "square root" => of[0].sqrt(),
        "natural logarithm" => of[0].ln(),
        "e to the" => of[0].exp(),
        "ten to the" => 10_f64.powf(of[0]),
        "power" => of[0].powf(of[1]),
        "smallest" => of.iter().copied().reduce(f64::min).unwrap(),
        "largest" => of.iter().copied().reduce(f64::max).unwrap(),
        "same" => of[0],
        "round down" | "round up" => {
            let step = tree["step"].as_f64().unwrap() * size_of(tree["unit"].as_str().unwrap(), charge).0;
            let steps = of[0] / step;
            let near = steps.round();
            if (steps - near).abs() < 1e-9 * near.abs().max(1.0) {
                near * step
            } else if tree["op"] == "round down" {
                steps.floor() * step
            } else {
                steps.ceil() * step
            }
        }
        "solve" => return None,
        other => panic!("an operation of no kind: {other}"),
    })
}

fn json_of(book: &Book) -> Vec<Value> {
    // Through text, as a reader gets it.
    let text = serde_json::to_string(&book.json()).unwrap();
    serde_json::from_str(&text).unwrap()
}

fn check_json(book: &Book, whose: &str) {
    let list = json_of(book);
    let si: BTreeMap<&str, f64> = list
        .iter()
        .map(|line| {
            let (size, zero) = size_of(line["unit"].as_str().unwrap(), true);
            (line["id"].as_str().unwrap(), line["value"].as_f64().unwrap() * size + zero)
        })
        .collect();
    for line in &list {
        let id = line["id"].as_str().unwrap();
        if line["expression"]["op"] == "solve" {
            assert!(
                line["expression"]["residual"].as_f64().unwrap().abs() < 1e-6,
                "{whose}, {id}: {}",
                line["expression"]
            );
            continue;
        }
        let shown = si[id];
        let [value, other] = [true, false].map(|charge| evaluate(&line["expression"], &si, charge).unwrap());
        let near = |value: f64| (value - shown).abs() <= 1e-12 * shown.abs().max(1e-9);
        assert!(near(value) || near(other), "{whose}, {id}: the tree gives {value}, the value is {shown}\n{line:#}");
    }
}

#[test]
fn the_json_tree_gives_the_value_in_every_demo() {
    for (id, book) in demo_books() {
        check_json(&book, id);
    }
}

#[test]
fn the_json_tree_gives_the_value_for_random_ponds() {
    for (n, plan) in random_plans(300).iter().enumerate() {
        check_json(&plan.book, &format!("pond {n}"));
    }
}

#[test]
fn json_has_the_documented_keys() {
    for (whose, book) in demo_books() {
        let list = json_of(&book);
        let ids: BTreeSet<&str> = list.iter().map(|line| line["id"].as_str().unwrap()).collect();
        for line in &list {
            for key in ["id", "title", "symbols", "unit", "status"] {
                assert!(line[key].is_string(), "{whose}: {key} of {line:#}");
            }
            assert!(line["value"].is_number() && line["expression"].is_object(), "{whose}: {line:#}");
            assert!(line["symbols"].as_str().unwrap().contains(" = "), "{whose}: {line:#}");
            let status = line["status"].as_str().unwrap();
            assert!(["sourced", "derived", "common practice", "from memory"].contains(&status), "{status}");
            for input in line["inputs"].as_array().unwrap() {
                assert!(
                    input["symbol"].is_string() && input["value"].is_number() && input["unit"].is_string(),
                    "{input:#}"
                );
                let from = input.get("line").or(input.get("origin")).and_then(Value::as_str);
                assert!(from.is_some_and(|f| !f.is_empty()), "{whose}: an input from nowhere: {input:#}");
                if let Some(id) = input.get("line") {
                    assert!(ids.contains(id.as_str().unwrap()), "{whose}: {input:#}");
                }
            }
            for citation in line["citation"].as_array().unwrap() {
                assert!(["id", "words", "status"].iter().all(|key| citation[key].is_string()), "{citation:#}");
            }
        }
    }
}

#[test]
fn a_line_is_no_better_founded_than_its_weakest_source() {
    for (whose, book) in demo_books() {
        for line in book.lines() {
            for citation in line.citations() {
                let weaker = citation.status != Status::Derived && citation.status > line.status;
                assert!(
                    !weaker,
                    "{whose}, {}: {:?}, but {} is {:?}",
                    line.id, line.status, citation.id, citation.status
                );
            }
        }
    }
}
