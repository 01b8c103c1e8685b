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
use weirbook::diag::Text;
use weirbook::plan::{Plan, Texts, decide};
use weirbook::reference::Status;
use weirbook::units::{System, table as unit};
use weirbook::workings::{Book, Expr, Line};
use weirbook::{Choices, Shipped, prepare};

use crate::demos::DEMOS;
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
            while !self.rest.trim_start().starts_with(", rounded") && (self.eat(",") || self.eat("and ")) {
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
        let mut end = trimmed.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(trimmed.len());
        // `5.6e-9`; the power belongs to the number.
        if let Some(power) = trimmed[end..].strip_prefix("e-") {
            end += 2 + power.find(|c: char| !c.is_ascii_digit()).unwrap_or(power.len());
        }
        let (number, rest) = trimmed.split_at(end);
        // A factor's unit hangs on it by no-break spaces: it is not keyed.
        let unit = if rest.starts_with('\u{a0}') { rest.find([' ', ')', ',']).unwrap_or(rest.len()) } else { 0 };
        self.rest = &rest[unit..];
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
        // Nothing stands behind the residual: a solved value is in the unit of its line.
        let residual = text.rsplit_once(", residual ").map(|(_, residual)| residual.parse::<f64>());
        return if text.contains("; solved in ") && matches!(residual, Some(Ok(_))) {
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
        Ok(Comes::Solved) => {
            assert!(matches!(line.node.expr, Expr::Solved { .. }), "{whose}, {}: {text}", line.id);
            by_hand(line, whose);
        }
        Err(why) => panic!("{whose}, {}: `{text}`: {why}", line.id),
    }
}

/// The equation of a solved line with its numbers put in: keyed, each side comes to what is printed for it, and both to the same.
fn by_hand(line: &Line, whose: &str) {
    let Expr::Solved { closing, .. } = &line.node.expr else { return };
    let Some(text) = line.by_hand_text() else {
        assert!(closing.is_none(), "{whose}, {}: its equation is written out, and not printed", line.id);
        return;
    };
    let (_, sides) = text.split_once(": ").unwrap();
    let sides: Vec<&str> = sides.split("; against ").collect();
    let results = sides.iter().map(|side| {
        let parts: Vec<&str> = side.split(" = ").collect();
        let result = parts.last().unwrap();
        if let [_, keyed, _] = &parts[..] {
            let value = calculate(&bare(keyed)).unwrap_or_else(|why| panic!("{whose}, {}: `{keyed}`: {why}", line.id));
            if sides.len() == 1 && *result == "0 within 0.00001" {
                assert!(value.abs() <= 1e-5, "{whose}, {}: `{keyed}` comes to {value}, not to nothing", line.id);
                return 0.0;
            }
            assert!(shows(value, result), "{whose}, {}: `{keyed}` comes to {value}, shown is {result}", line.id);
        }
        number(result)
    });
    let results: Vec<f64> = results.collect();
    if let [0.0] = results[..] {
        return;
    }
    let [left, right] = results[..] else { panic!("{whose}, {}: not two sides: {text}", line.id) };
    // Five digits are shown of each.
    assert!((left - right).abs() <= 1.1e-4 * left.abs(), "{whose}, {}: {left} against {right}", line.id);
}

pub const SYSTEMS: [System; 3] = [System::Metric, System::Us, System::Imperial];

/// A book of a site in somebody's units.
pub fn book_of(site: &str, log: Option<&str>, system: System) -> Book {
    let site = Text { name: "site.toml".into(), words: site.into() };
    let log = log.map(|log| Text { name: "log.csv".into(), words: log.into() });
    let (job, complaints) =
        prepare(&site, log.as_ref(), Choices { system: Some(system), ..Choices::default() }, &Shipped);
    job.unwrap_or_else(|| panic!("{:#?}", complaints.sorted())).plan.book
}

/// A site that uses every way to measure a volume, a notch, a goal and steps of its own, and little buffer.
pub fn every_shape() -> String {
    let (_, site, _) = DEMOS[0];
    let (head, rest) = site.split_once("[[volume.section]]").unwrap();
    let (_, tail) = rest.split_once("# The water that tops up the pond").unwrap();
    let volume = r#"
[[volume.section]]
name = "basin"
shape = "ellipse"
length = "4.1 m"
width = "2.2 m"
greatest_depth = "0.9 m"
[[volume.section]]
name = "tank"
shape = "circle"
diameter = "1.3 m"
mean_depth = "0.6 m"
[[volume.section]]
name = "pit"
shape = "prismoid"
top = "6 m2"
middle = "4.5 m2"
bottom = "3 m2"
depth = "1.1 m"
uncertainty = "8 %"
[[volume.section]]
name = "rill"
shape = "stream"
length = "9 m"
width = "0.4 m"
depth = "0.07 m"
[[volume.section]]
name = "bog"
shape = "measured area"
area = "5 m2"
mean_depth = "0.3 m"
[[volume.displaced]]
name = "stones"
volume = "310 L"
[volume.metered]
amount = "11.4 m3"
[volume.salt_dilution]
salt = "5 kg"
rise = "905 µS/cm"

"#;
    let tail = tail.replace("bucket_volume = \"14.5 L\"\nbucket_time = \"5.0 s\"", "notch_head = \"8 cm\"");
    format!("{head}{volume}# {tail}")
}

/// The demos and a site of every shape, each in everybody's units.
fn demo_books() -> Vec<(String, Book)> {
    let mut out = Vec::new();
    for system in SYSTEMS {
        for (id, site, log) in DEMOS {
            out.push((format!("{id}, {system:?}"), book_of(site, Some(log), system)));
        }
        out.push((format!("every shape, {system:?}"), book_of(&every_shape(), Some(DEMOS[0].2), system)));
    }
    out
}

/// Plans of random ponds, each in everybody's units.
fn random_plans(count: usize) -> Vec<Plan> {
    let mut out = Vec::new();
    for pond in sample(count) {
        let (site, site_text, log_text) = pond.read();
        let texts = Texts { site: &site_text, log: Some(&log_text) };
        out.extend(
            SYSTEMS
                .iter()
                .filter_map(|&system| decide(&site, texts, pond.date, system, crate::demos::FEW).ok())
                .map(|made| made.0),
        );
    }
    out
}

#[test]
fn what_is_keyed_gives_what_is_shown_in_every_demo() {
    for (id, book) in demo_books() {
        let lines = book.lines();
        assert!(lines.len() > 20, "{id} has {} lines", lines.len());
        for line in lines {
            check_line(line, &id);
        }
    }
}

#[test]
fn what_is_keyed_gives_what_is_shown_for_random_ponds() {
    for (n, plan) in random_plans(250).iter().enumerate() {
        for line in plan.book.lines() {
            check_line(line, &format!("pond {n}, {:?}", plan.system));
        }
    }
}

#[test]
fn a_solved_temperature_stands_in_the_reader_s_degrees() {
    let (_, site, log) = DEMOS[1];
    let site = site.replacen("[supply]\n", "[supply]\ntemperature = \"52 °F\"\n", 1);
    for system in SYSTEMS {
        let book = book_of(&site, Some(log), system);
        let line = book.lines().iter().find(|line| line.id == "change.temperature").unwrap();
        check_line(line, &format!("{system:?}"));
        assert!(line.by_hand_text().is_some());
    }
}

/// What a symbol of a book stands for: a line, or a number with where it came from. From the JSON, as a reader has it.
fn meanings(book: &Book) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for line in json_of(book) {
        let leaf = |input: &Value| format!("{} {} by {}", input["value"], input["unit"], input["origin"]);
        let inputs = line["inputs"].as_array().unwrap();
        for input in inputs {
            let what = input.get("line").map_or_else(|| leaf(input), |id| format!("line {id}"));
            out.push((input["symbol"].as_str().unwrap().to_owned(), what));
        }
        // A line that is nothing but a number somebody wrote is that number.
        let same = line["expression"]["op"] == "same" && inputs.len() == 1 && inputs[0].get("line").is_none();
        let what = if same { leaf(&inputs[0]) } else { format!("line {}", line["id"]) };
        let symbols = line["symbols"].as_str().unwrap();
        let own = symbols.split(" = ").next().unwrap().split(" from ").next().unwrap();
        out.push((own.to_owned(), what));
    }
    out
}

#[test]
fn every_symbol_means_one_thing() {
    let mut books = demo_books();
    books.extend(random_plans(150).into_iter().enumerate().map(|(n, plan)| (format!("pond {n}"), plan.book)));
    for (whose, book) in books {
        let mut held: BTreeMap<String, String> = BTreeMap::new();
        for (symbol, what) in meanings(&book) {
            // A number names itself.
            if symbol.starts_with(|c: char| c.is_ascii_digit() || c == '½') {
                continue;
            }
            let first = held.entry(symbol.clone()).or_insert_with(|| what.clone());
            // One number may stand as a line and be used as such.
            let line = |what: &str| what.starts_with("line ");
            assert!(
                *first == what || (line(first) != line(&what) && one_number(&book, first, &what)),
                "{whose}: {symbol} is {first}, and {what}"
            );
        }
    }
}

/// Whether a line, of two things one is, holds nothing but the other.
fn one_number(book: &Book, a: &str, b: &str) -> bool {
    let (line, leaf) = if a.starts_with("line ") { (a, b) } else { (b, a) };
    let list = json_of(book);
    let found = list.iter().find(|l| format!("line {}", l["id"]) == line).unwrap();
    found["expression"]["op"] == "same"
        && found["inputs"]
            .as_array()
            .unwrap()
            .iter()
            .any(|input| format!("{} {} by {}", input["value"], input["unit"], input["origin"]) == leaf)
}

/// The symbols as they stand in the formulas must be the ones that are explained, with none given twice by the plan's
/// own rooms: a number behind a symbol that only tells it from another is for figures that nobody has looked at yet.
#[test]
fn no_symbol_of_the_demos_needs_a_number_to_tell_it_apart() {
    for (whose, book) in demo_books() {
        let mut names: BTreeMap<String, String> = BTreeMap::new();
        for line in book.lines() {
            let name = line.node.name.as_ref().unwrap();
            assert_eq!(line.symbol_text(), name.symbol, "{whose}: {}", line.id);
            if let Some(other) = names.insert(name.symbol.clone(), line.id.clone()) {
                panic!("{whose}: {} is {other} and {}", name.symbol, line.id);
            }
        }
    }
}

/// Words of other people's units, outside of what a stock solution, a bar's copper and physics are told in.
#[test]
fn lines_are_in_the_readers_units() {
    let mut books = demo_books();
    books.extend(random_plans(60).into_iter().map(|plan| (format!("a pond, {:?}", plan.system), plan.book)));
    for (whose, book) in &books {
        let foreign: &[&str] = match book.spoken().system() {
            System::Metric => &["gal", "ppm", "ft", "ft²", "oz", "lb", "°F", "ppb", "oz a year"],
            System::Us => &[
                "m",
                "m²",
                "m³",
                "L",
                "L/s",
                "°dKH",
                "°dGH",
                "g",
                "kg",
                "mg/L",
                "mg/L N",
                "mg/L Ca",
                "mg/L CaCO₃",
                "°C",
                "g a year",
                "imp gal",
            ],
            System::Imperial => &["m", "m²", "m³", "L/s", "ppm CaCO₃", "oz", "lb", "°F", "US gal"],
        };
        // Copper is shown as the kit shows it.
        let kit = book.spoken().copper().symbol;
        for line in book.lines() {
            let shown = line.unit.symbol;
            assert!(!foreign.contains(&shown) || shown == kit, "{whose}: {} is in {shown}", line.id);
            // Only formulas of equilibrium need a temperature from absolute zero, and that is a line of its own.
            if shown == "K" {
                assert!(matches!(line.node.expr, Expr::Same(_)), "{whose}: {}", line.id);
                assert!(line.keyed_text().contains(" + 273.15") || line.keyed_text().contains(" + 459.67"), "{whose}");
            } else {
                let text = line.keyed_text();
                assert!(!text.contains(" + 273.15") && !text.contains(" + 459.67"), "{whose}, {}: {text}", line.id);
            }
            for note in &line.notes {
                if let weirbook::workings::Note::Symbol(_, words) = note {
                    for unit in foreign.iter().filter(|u| **u != kit) {
                        assert!(!words.contains(&format!("({unit})")), "{whose}, {}: {words}", line.id);
                    }
                }
            }
        }
    }
}

#[test]
fn factors_between_units_carry_their_units() {
    let book = book_of(DEMOS[1].1, Some(DEMOS[1].2), System::Us);
    let keyed = |id: &str| book.lines().iter().find(|l| l.id == id).unwrap().keyed_text();
    // Five digits and one more, from VO-01 (231 cubic inches of 25.4 mm) and the international pound.
    assert!(
        keyed("volume.section-1").contains("× 7.48052\u{a0}US\u{a0}gal\u{a0}per\u{a0}ft³"),
        "{}",
        keyed("volume.section-1")
    );
    assert!(keyed("calcium.dose").contains("× 28.3495\u{a0}g/oz"), "{}", keyed("calcium.dose"));
    assert!(
        keyed("change.thiosulfate.exact").contains("3.78541\u{a0}L/US\u{a0}gal"),
        "{}",
        keyed("change.thiosulfate.exact")
    );
    // Every factor that no line and no source gives has a unit behind it.
    for (whose, book) in demo_books() {
        for line in book.lines() {
            let text = line.keyed_text();
            for unit in ["3.7854", "4.5460", "28.349", "0.356652", "0.0199828", "7.48052", "6.22883"] {
                for (at, _) in text.match_indices(unit) {
                    let number = text[at..].find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len() - at);
                    assert!(text[at + number..].starts_with('\u{a0}'), "{whose}, {}: {text}", line.id);
                }
            }
        }
    }
}

#[test]
fn lines_link_both_ways() {
    for (whose, book) in demo_books() {
        for line in book.lines() {
            for id in &line.uses {
                let used = book.lines().iter().find(|l| l.id == *id).unwrap();
                assert!(used.used_by.contains(&line.id), "{whose}: {id} does not know {}", line.id);
            }
            for id in &line.used_by {
                let user = book.lines().iter().find(|l| l.id == *id).unwrap();
                assert!(user.uses.contains(&line.id), "{whose}: {} does not use {}", id, line.id);
            }
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
        ("12 × 3.5\u{a0}L/US\u{a0}gal / 2\u{a0}g/oz", 21.0),
        ("(\u{2212}2 × 3 + 10)\u{a0} / 4", 1.0),
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
    let mut books = demo_books();
    books.extend(random_plans(200).into_iter().enumerate().map(|(n, plan)| (format!("pond {n}"), plan.book)));
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
    let mut books = demo_books();
    books.extend(random_plans(200).into_iter().enumerate().map(|(n, plan)| (format!("pond {n}"), plan.book)));
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
        // Parts per million are mg/L in fresh water.
        "ppm N" | "ppm NO₂" | "ppm NO₃" => (1e-3, 0.0),
        "oz a year" => (0.028_349_523_125 / (365.0 * day), 0.0),
        "ppm a day" => (1e-3 / day, 0.0),
        "µg/L a day" | "ppb a day" => (1e-6 / day, 0.0),
        "ppm a µS/cm" => (1e-3 / 1e-4, 0.0),
        // MM-04.
        "mg/L CaCO₃" | "ppm CaCO₃" => (if charge { 2.0 } else { 1.0 } / 100.086, 0.0),
        "g/mol" => (1e-3, 0.0),
        "mol" | "mmol/L" | "C/mol" | "Ω" => (1.0, 0.0),
        "Ah" => (3600.0, 0.0),
        "g a day" => (1e-3 / day, 0.0),
        "mm a day" => (1e-3 / day, 0.0),
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

/// Whether a symbol is a carbonate hardness (charge) or another hardness (moles); `None` for what is neither.
fn counts_charge(symbol: &str) -> Option<bool> {
    let head = symbol.split(['_', '(']).next().unwrap_or(symbol);
    match (head, symbol) {
        (_, "s_K" | "s_day" | "r_low" | "r_high") | ("K" | "ΔK", _) => Some(true),
        (_, "s_Ca" | "s_G" | "s_day,Ca") | ("Ca" | "ΔCa" | "G", _) => Some(false),
        _ => None,
    }
}

/// The SI value of a JSON expression, from the JSON alone. `None` where a solved line stands in it.
fn evaluate(tree: &Value, lines: &BTreeMap<&str, f64>, charge: bool) -> Option<f64> {
    if let Some(id) = tree.get("line") {
        return Some(lines[id.as_str().unwrap()]);
    }
    if let Some(value) = tree.get("value") {
        let symbol = tree["unit"].as_str().unwrap();
        let (size, zero) = size_of(symbol, counts_charge(tree["symbol"].as_str().unwrap()).unwrap_or(charge));
        // A difference of one degree is printed with the symbol of a temperature.
        let zero = if tree["symbol"] == "1 °C" { 0.0 } else { zero };
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
            let own = line["symbols"].as_str().unwrap().split(' ').next().unwrap();
            let (size, zero) = size_of(line["unit"].as_str().unwrap(), counts_charge(own).unwrap_or(true));
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
        // What a reader of the text takes for a number may be off in its last bit; a difference feels that of its two.
        let differs = line["expression"]["op"] == "subtract";
        let parts = line["expression"]["of"].as_array().filter(|_| differs).into_iter().flatten();
        let parts =
            parts.filter_map(|part| evaluate(part, &si, true)).fold(0.0, |most: f64, part| most.max(part.abs()));
        let near = |value: f64| (value - shown).abs() <= 1e-12 * shown.abs().max(1e-9) + 2.0 * f64::EPSILON * parts;
        assert!(near(value) || near(other), "{whose}, {id}: the tree gives {value}, the value is {shown}\n{line:#}");
    }
}

#[test]
fn the_json_tree_gives_the_value_in_every_demo() {
    for (id, book) in demo_books() {
        check_json(&book, &id);
    }
}

#[test]
fn the_json_tree_gives_the_value_for_random_ponds() {
    for (n, plan) in random_plans(150).iter().enumerate() {
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
