//! The spreadsheet of the workings: every line has its row, every name is legal and stands for one cell, and every formula
//! worked out here by other means than made it comes to the value that was written beside it.

#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read as _};

use proptest::prelude::*;
use weirbook::sheet::{Heading, xlsx};
use weirbook::units::table as unit;
use weirbook::units::{Length, Si as _};
use weirbook::workings::{Book, Expr, Figure, Spoken, Way};
use weirbook::{Job, spreadsheet};

use crate::demos::{DEMOS, job, made};

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq)]
enum Value {
    Number(f64),
    Truth(bool),
    Words(String),
}

impl Value {
    fn number(&self) -> f64 {
        match self {
            Value::Number(number) => *number,
            other => panic!("not a number: {other:?}"),
        }
    }

    fn words(&self) -> &str {
        match self {
            Value::Words(words) => words,
            other => panic!("not words: {other:?}"),
        }
    }
}

/// A cell with its formula, if it has one.
#[derive(Clone, Debug)]
struct Cell {
    value: Value,
    formula: Option<String>,
}

/// A workbook, taken apart with nothing that knows how it was written.
#[derive(Default)]
struct Workbook {
    /// By sheet and place, as `Inputs!C7`.
    cells: BTreeMap<String, Cell>,
    names: BTreeMap<String, String>,
    files: Vec<(String, Option<zip::DateTime>)>,
    core: String,
}

fn file(archive: &mut zip::ZipArchive<Cursor<&[u8]>>, name: &str) -> String {
    let mut text = String::new();
    archive.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

fn opened(bytes: &[u8]) -> Workbook {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut book = Workbook::default();
    for at in 0..archive.len() {
        let entry = archive.by_index(at).unwrap();
        book.files.push((entry.name().unwrap().into_owned(), entry.last_modified()));
    }
    book.core = file(&mut archive, "docProps/core.xml");
    let strings = file(&mut archive, "xl/sharedStrings.xml");
    let strings = roxmltree::Document::parse(&strings).unwrap();
    let strings: Vec<String> = strings
        .descendants()
        .filter(|node| node.has_tag_name_local("si"))
        .map(|si| si.descendants().filter(|node| node.has_tag_name_local("t")).filter_map(|t| t.text()).collect())
        .collect();
    let text = file(&mut archive, "xl/workbook.xml");
    let workbook = roxmltree::Document::parse(&text).unwrap();
    for name in workbook.descendants().filter(|node| node.has_tag_name_local("definedName")) {
        let called = name.attribute("name").unwrap();
        // Rows that are printed on every page are a name too.
        if !called.starts_with("_xlnm.") {
            let before = book.names.insert(called.to_owned(), name.text().unwrap().replace('$', ""));
            assert_eq!(before, None, "{called} is given twice");
        }
    }
    let sheets: Vec<String> = workbook
        .descendants()
        .filter(|node| node.has_tag_name_local("sheet"))
        .map(|sheet| sheet.attribute("name").unwrap().to_owned())
        .collect();
    for (number, sheet) in (1..).zip(sheets) {
        let text = file(&mut archive, &format!("xl/worksheets/sheet{number}.xml"));
        let parsed = roxmltree::Document::parse(&text).unwrap();
        for cell in parsed.descendants().filter(|node| node.has_tag_name_local("c")) {
            let child = |tag: &str| {
                cell.children().find(|node| node.has_tag_name_local(tag)).map(|node| node.text().unwrap_or_default())
            };
            let Some(text) = child("v") else { continue };
            let value = match cell.attribute("t") {
                Some("s") => Value::Words(strings[text.parse::<usize>().unwrap()].clone()),
                Some("str") => Value::Words(text.to_owned()),
                Some("b") => Value::Truth(text == "1"),
                None => Value::Number(text.parse().unwrap()),
                Some(other) => panic!("{sheet}: a cell of type {other}: {text}"),
            };
            let formula = child("f").map(str::to_owned);
            book.cells.insert(format!("{sheet}!{}", cell.attribute("r").unwrap()), Cell { value, formula });
        }
    }
    book
}

trait Local {
    fn has_tag_name_local(&self, tag: &str) -> bool;
}

impl Local for roxmltree::Node<'_, '_> {
    fn has_tag_name_local(&self, tag: &str) -> bool {
        self.is_element() && self.tag_name().name() == tag
    }
}

impl Workbook {
    /// The rows of a sheet below its head, by the words of the head.
    fn rows(&self, sheet: &str) -> Vec<BTreeMap<String, Cell>> {
        let mut rows: BTreeMap<u32, BTreeMap<String, Cell>> = BTreeMap::new();
        for (place, cell) in self.cells.iter().filter(|(place, _)| place.split('!').next() == Some(sheet)) {
            let at = place.split('!').nth(1).unwrap();
            let column = at.trim_end_matches(|c: char| c.is_ascii_digit());
            let row: u32 = at[column.len()..].parse().unwrap();
            if row > 1 {
                let head = self.cells[&format!("{sheet}!{column}1")].value.words().to_owned();
                rows.entry(row).or_default().insert(head, cell.clone());
            }
        }
        rows.into_values().collect()
    }
}

/// Works formulas out: four operations, comparison, and the few functions that the workbook uses.
struct Calculator<'w> {
    book: &'w Workbook,
    /// Cells that were given other numbers.
    changed: BTreeMap<String, f64>,
    known: BTreeMap<String, Value>,
}

/// A formula that is read.
struct Reader<'t> {
    rest: &'t str,
    sheet: &'t str,
}

impl<'w> Calculator<'w> {
    fn new(book: &'w Workbook) -> Self {
        Self { book, changed: BTreeMap::new(), known: BTreeMap::new() }
    }

    fn cell(&mut self, place: &str) -> Value {
        if let Some(number) = self.changed.get(place) {
            return Value::Number(*number);
        }
        if let Some(value) = self.known.get(place) {
            return value.clone();
        }
        let Cell { value, formula } = self.book.cells.get(place).unwrap_or_else(|| panic!("no cell {place}")).clone();
        let value = match formula {
            Some(formula) => {
                let mut reader = Reader { rest: &formula, sheet: place.split('!').next().unwrap() };
                let found = self.compared(&mut reader);
                assert_eq!(reader.rest, "", "{place}: {formula}");
                found
            }
            None => value,
        };
        self.known.insert(place.to_owned(), value.clone());
        value
    }

    fn named(&mut self, name: &str) -> Value {
        let place = self.book.names.get(name).unwrap_or_else(|| panic!("no name {name}"));
        self.cell(place)
    }

    fn compared(&mut self, reader: &mut Reader<'_>) -> Value {
        let left = self.sum(reader);
        for (sign, holds) in [
            ("<=", (|a, b| a <= b) as fn(f64, f64) -> bool),
            (">=", |a, b| a >= b),
            ("<", |a, b| a < b),
            (">", |a, b| a > b),
        ] {
            if reader.take(sign) {
                let right = self.sum(reader);
                return Value::Truth(holds(left.number(), right.number()));
            }
        }
        left
    }

    fn sum(&mut self, reader: &mut Reader<'_>) -> Value {
        let mut total = self.product(reader);
        loop {
            if reader.take("+") {
                total = Value::Number(total.number() + self.product(reader).number());
            } else if reader.take("-") {
                total = Value::Number(total.number() - self.product(reader).number());
            } else {
                return total;
            }
        }
    }

    fn product(&mut self, reader: &mut Reader<'_>) -> Value {
        let mut total = self.atom(reader);
        loop {
            if reader.take("*") {
                total = Value::Number(total.number() * self.atom(reader).number());
            } else if reader.take("/") {
                total = Value::Number(total.number() / self.atom(reader).number());
            } else {
                return total;
            }
        }
    }

    fn atom(&mut self, reader: &mut Reader<'_>) -> Value {
        if reader.take("-") {
            return Value::Number(-self.atom(reader).number());
        }
        if reader.take("(") {
            let inner = self.compared(reader);
            assert!(reader.take(")"), "a bracket is open before {}", reader.rest);
            return inner;
        }
        if reader.take("\"") {
            let (words, rest) = reader.rest.split_once('"').unwrap();
            reader.rest = rest;
            return Value::Words(words.to_owned());
        }
        let end = reader.rest.find(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '.' || c == '!'));
        let (mut word, mut rest) = reader.rest.split_at(end.unwrap_or(reader.rest.len()));
        assert!(!word.is_empty(), "nothing to work out before {rest}");
        if word.starts_with(|c: char| c.is_ascii_digit()) {
            // `1E-9`: the sign belongs to the number.
            if word.ends_with('E') && rest.starts_with('-') {
                let digits = rest[1..].find(|c: char| !c.is_ascii_digit()).map_or(rest.len(), |at| at + 1);
                word = &reader.rest[..word.len() + digits];
                rest = &rest[digits..];
            }
            reader.rest = rest;
            return Value::Number(word.parse().unwrap_or_else(|_| panic!("no number: {word}")));
        }
        reader.rest = rest;
        if reader.take("(") {
            return self.function(word, reader);
        }
        let digits = word.trim_start_matches(|c: char| c.is_ascii_uppercase());
        let is_place = digits.len() < word.len() && !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit());
        if is_place { self.cell(&format!("{}!{word}", reader.sheet)) } else { self.named(word) }
    }

    fn function(&mut self, name: &str, reader: &mut Reader<'_>) -> Value {
        let mut given = Vec::new();
        loop {
            given.push(self.compared(reader));
            if reader.take(")") {
                break;
            }
            assert!(reader.take(","), "{name}: neither more nor an end before {}", reader.rest);
        }
        if name == "IF" {
            let [Value::Truth(holds), yes, no] = &given[..] else { panic!("IF of {given:?}") };
            return if *holds { yes.clone() } else { no.clone() };
        }
        let given: Vec<f64> = given.iter().map(Value::number).collect();
        Value::Number(match (name, &given[..]) {
            ("SUM", list) => list.iter().sum(),
            ("MIN", list) => list.iter().copied().fold(f64::INFINITY, f64::min),
            ("MAX", list) => list.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            ("SQRT", [a]) => libm::sqrt(*a),
            ("LN", [a]) => libm::log(*a),
            ("EXP", [a]) => libm::exp(*a),
            ("POWER", [a, b]) => libm::pow(*a, *b),
            ("ABS", [a]) => a.abs(),
            ("INT", [a]) => a.floor(),
            ("ROUND", [a, 0.0]) => a.round(),
            _ => panic!("{name} of {} is not known", given.len()),
        })
    }
}

impl Reader<'_> {
    fn take(&mut self, sign: &str) -> bool {
        self.rest.strip_prefix(sign).map(|rest| self.rest = rest).is_some()
    }
}

fn workbook(job: &Job) -> Workbook {
    opened(spreadsheet(job).unwrap())
}

/// The ids of the lines in the bytes of a spreadsheet, in their order.
pub fn line_ids(bytes: &[u8]) -> Vec<String> {
    opened(bytes).rows("Workings").iter().map(|row| row["Id"].value.words().to_owned()).collect()
}

/// Every formula worked out, against the value that stands beside it; how many there were.
fn works_out(book: &Workbook, name: &str) -> usize {
    let mut calculator = Calculator::new(book);
    let mut count = 0;
    for (place, cell) in &book.cells {
        let Some(formula) = &cell.formula else { continue };
        // What spreadsheets hold.
        assert!(formula.len() < 8_192, "{name}: {place} is {} letters long", formula.len());
        // Counting over a whole column is for the reader; here the rows themselves are counted.
        if formula.starts_with("COUNTIF") {
            continue;
        }
        count += 1;
        let found = calculator.cell(place);
        match (&cell.value, &found) {
            (Value::Number(beside), Value::Number(found)) => {
                // A difference is held to the size of what it is the difference of.
                let size = formula.split('-').next().and_then(|a| {
                    book.cells.get(&format!("{}!{a}", place.split('!').next()?)).map(|cell| cell.value.number())
                });
                // What is left of an equation is a share of what it balances.
                let size = if place.starts_with("Solved!G") { Some(1e-2) } else { size };
                let near = 1e-10 * beside.abs().max(size.unwrap_or(0.0).abs()) + 1e-15;
                assert!((beside - found).abs() <= near, "{name}: {place} = {formula}: {beside} beside {found}");
            }
            (beside, found) => assert_eq!(beside, found, "{name}: {place} = {formula}"),
        }
    }
    count
}

#[test]
fn every_formula_of_the_demos_comes_to_the_value_beside_it() {
    for (id, site, log) in DEMOS {
        for system in ["metric", "us", "imperial"] {
            let mut words = site.to_owned();
            for other in ["metric", "us", "imperial"] {
                words = words.replace(&format!("units = \"{other}\""), &format!("units = \"{system}\""));
            }
            let book = workbook(&made(&words, Some(log)));
            assert!(works_out(&book, &format!("{id}, {system}")) > 1_000);
        }
    }
}

#[test]
fn every_line_has_its_row_and_every_row_says_how_it_is_made() {
    for (id, ..) in DEMOS {
        let job = job(id);
        let book = workbook(&job);
        let rows = book.rows("Workings");
        let lines = job.plan.book.lines();
        assert_eq!(rows.len(), lines.len());
        let solved = lines.iter().filter(|line| matches!(line.node.expr, Expr::Solved { .. })).count();
        let mut not_recomputed = 0;
        for (row, line) in rows.iter().zip(lines) {
            assert_eq!(row["Id"].value.words(), line.id);
            assert_eq!(row["Line"].value.number(), f64::from(line.number));
            assert_eq!(row["As the plan has it"].value.number(), line.unit.of(line.node.si), "{}", line.id);
            assert!(row["Result, SI"].formula.is_some(), "{}: its value stands as a number", line.id);
            assert_eq!(row["Same"].value.words(), "same");
            not_recomputed += usize::from(row["How"].value.words().contains("not recomputed here"));
        }
        let rows = book.rows("Solved");
        let said = rows.iter().filter(|row| {
            row.get("Left of the equation").is_some_and(|cell| cell.value == Value::Words("not recomputed here".into()))
        });
        assert_eq!(said.count(), not_recomputed, "{id}");
        let live: Vec<_> = rows.iter().filter(|row| row.contains_key("Near nothing")).collect();
        assert_eq!(live.len() + not_recomputed, solved, "{id}");
        let (written_out, closed): (Vec<_>, Vec<_>) =
            live.into_iter().partition(|row| row["Value, SI"].formula.is_some());
        // Twelve months of reference evapotranspiration, and the misfit of the tracer.
        assert!(written_out.len() >= 13, "{id}: only {} of {solved} are written out once more", written_out.len());
        // pH, lime, free copper, conductivity: the equation is live over the value, and closed by it.
        for row in &closed {
            let formula = row["Left of the equation"].formula.as_ref().unwrap();
            let value = row["Cell"].value.words();
            assert!(formula.contains(value), "{id}: {formula} is not about {value}");
            assert!(row["Left of the equation"].value.number().abs() < 1e-9, "{id}: {value}");
        }
        for equation in ["K = C·(α₁ + 2 α₂) + OH − H", "10^SI", "f = [Cu]", "κ = Σ λ·m"] {
            let there = closed.iter().any(|row| row["Equation"].value.words().starts_with(equation));
            assert!(there, "{id}: no live `{equation}`");
        }
        let told = format!("{} of {} lines rest on equations", solved, lines.len());
        let told = book.cells.values().any(|cell| matches!(&cell.value, Value::Words(words) if words.contains(&told)));
        assert!(told, "{id}: the first sheet does not count what is solved");
    }
}

#[test]
fn every_solved_line_has_its_equation_live() {
    for (id, ..) in DEMOS {
        let book = workbook(&job(id));
        let rows = book.rows("Solved");
        assert!(rows.len() > 30, "{id}: {} rows", rows.len());
        let left: Vec<String> = rows
            .into_iter()
            .filter(|row| {
                row.get("Left of the equation")
                    .is_some_and(|cell| cell.value == Value::Words("not recomputed here".into()))
            })
            .map(|row| row["Id or step"].value.words().to_owned())
            .collect();
        assert!(left.is_empty(), "{id}: {left:?} stand as numbers, and nothing says whether they are right");
    }
}

#[test]
fn names_are_legal_and_each_stands_for_a_cell() {
    for (id, ..) in DEMOS {
        let book = workbook(&job(id));
        let mut seen = BTreeSet::new();
        for (name, place) in &book.names {
            assert!(seen.insert(name.to_lowercase()), "{id}: {name} is there in capitals and in small letters");
            assert!(name.len() < 255 && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_'), "{id}: {name}");
            assert!(name.starts_with(|c: char| c.is_ascii_alphabetic() || c == '_'), "{id}: {name}");
            // A cell of either style, or one of the letters that mean this row and this column.
            let letters = name.trim_end_matches(|c: char| c.is_ascii_digit());
            assert!(letters.len() == name.len() || letters.len() > 3 || letters.contains('_'), "{id}: {name}");
            assert!(!["r", "c", "true", "false"].contains(&letters.to_lowercase().as_str()), "{id}: {name}");
            let cell =
                book.cells.get(place).unwrap_or_else(|| panic!("{id}: {name} stands for {place}, which is empty"));
            cell.value.number();
        }
        // Two names for one cell would be two quantities that are one.
        let places: BTreeSet<&String> = book.names.values().collect();
        assert_eq!(places.len(), book.names.len(), "{id}");
    }
}

#[test]
fn every_input_stands_once_with_its_unit_and_where_it_comes_from() {
    for (id, ..) in DEMOS {
        let book = workbook(&job(id));
        let mut seen = BTreeSet::new();
        let rows: Vec<_> = book.rows("Inputs").into_iter().filter(|row| row.contains_key("Cell")).collect();
        assert!(rows.len() > 100);
        for row in &rows {
            let words = |head: &str| row.get(head).map(|cell| cell.value.words().to_owned()).unwrap_or_default();
            let origin = words("Where it comes from");
            assert!(!origin.is_empty() && !words("What it is").is_empty() && !words("Status").is_empty());
            let number = row["Value"].value.number();
            let factor = row["SI value"].formula.as_ref().unwrap();
            // One mg/L as CaCO3 is one thing of calcium and another of alkalinity.
            let unit = factor.split('*').nth(1).unwrap_or_default().to_owned();
            assert!(unit.starts_with("u_"), "{id}: {factor}: its unit is no named factor");
            let input = (words("Symbol"), words("What it is"), number.to_bits(), unit, origin);
            assert!(seen.insert(input), "{id}: {} twice", words("Cell"));
        }
        // The reading of carbonate hardness is corrected, followed and compared: it is one reading.
        let last = |words: &str| {
            let rows = rows.iter().filter(|row| row["What it is"].value.words().contains(words));
            rows.filter(|row| row["Where it comes from"].value.words().starts_with("log line")).count()
        };
        assert_eq!(last("carbonate hardness of the pond, as read"), 1, "{id}");
    }
    // Equal soundings are two, and equal months too.
    let book = workbook(&job("quoyle-end"));
    let rows = book.rows("Inputs");
    let soundings =
        rows.iter().filter(|row| row.get("What it is").is_some_and(|cell| cell.value.words() == "sounding")).count();
    assert_eq!(soundings, 9);
}

#[test]
fn units_are_said_in_si_and_no_name_of_one_is_another() {
    for (id, ..) in DEMOS {
        for row in workbook(&job(id)).rows("Units") {
            assert_ne!(row["SI unit"].value.words(), "SI", "{id}: {:?}", row["Unit"].value);
            assert!(row["One in SI"].value.number() > 0.0);
        }
    }
}

#[test]
fn limits_are_compared_in_the_sheet_and_most_rest_on_lines() {
    for (id, least) in [("quoyle-end", 10), ("pinch-gap", 8), ("wendlow-bottom", 2)] {
        let job = job(id);
        let rows = workbook(&job).rows("Limits");
        assert_eq!(rows.len(), job.plan.checks.len());
        for (row, check) in rows.iter().zip(&job.plan.checks) {
            assert_eq!(row["Kept"].value, Value::Truth(check.kept), "{id}: {}", check.limit);
            assert!(row["Kept"].formula.is_some() && row["Margin"].formula.is_some());
        }
        let live = rows.iter().filter(|row| row["Proposed"].formula.is_some() || row["Allowed"].formula.is_some());
        assert!(live.count() >= least, "{id}");
    }
}

/// What is counted over possible years, and what is fitted to the log, is arithmetic or has its equation live: nothing of it is
/// to be taken on trust.
#[test]
fn counts_and_fits_are_arithmetic_or_close_their_equation() {
    let counted = ["year.low", "year.high", "copper.alkalinity-", "copper.calcium-", "copper.most-"];
    let fitted = ["copper.fit-", "past.sum", "past.limit", "past.loss", "past.factor", "past.rain", "past.supply"];
    for (id, counts, fits) in [("quoyle-end", 20, 14), ("pinch-gap", 8, 9), ("wendlow-bottom", 2, 16)] {
        let job = job(id);
        let book = workbook(&job);
        let rows = book.rows("Solved");
        let (mut found, mut closed) = ([0, 0], 0);
        for line in job.plan.book.lines() {
            let kind = [&counted[..], &fitted[..]].map(|list| list.iter().any(|of| line.id.starts_with(of)));
            let Some(kind) = kind.iter().position(|is| *is) else { continue };
            found[kind] += 1;
            let Expr::Solved { closing, .. } = &line.node.expr else { continue };
            assert_eq!(kind, 1, "{id}: {} is counted and needs no solving", line.id);
            assert!(closing.is_some(), "{id}: no equation stands over {}", line.id);
            let row = rows
                .iter()
                .find(|row| row.get("Id or step").is_some_and(|cell| cell.value == Value::Words(line.id.clone())));
            let row = row.unwrap_or_else(|| panic!("{id}: {} has no row", line.id));
            assert_eq!(row["Near nothing"].value, Value::Truth(true), "{id}: {}", line.id);
            closed += 1;
        }
        assert!(found[0] >= counts && found[1] >= fits && closed >= 5, "{id}: {found:?}, {closed}");
    }
}

/// An equation is about its value: another pH does not close it.
#[test]
fn another_value_does_not_close_its_equation() {
    let book = workbook(&job("quoyle-end"));
    let rows = book.rows("Solved");
    let mut tried = 0;
    for row in rows.iter().filter(|row| row.get("Left of the equation").is_some_and(|cell| cell.formula.is_some())) {
        if row["Value, SI"].formula.is_some() {
            continue;
        }
        let (cell, value) = (row["Cell"].value.words(), row["Value, SI"].value.number());
        let place = &book.names[cell];
        let mut calculator = Calculator::new(&book);
        // A number that is held at nothing is moved off it by what a pond would feel: a litre a day and more.
        calculator.changed.insert(place.clone(), if value == 0.0 { 1e-7 } else { value * 1.001 });
        let left = calculator.cell(&place.replace("!E", "!G")).number();
        assert!(left.abs() > 1e-5, "{cell}: {left:e} is left with another value");
        tried += 1;
    }
    assert!(tried >= 8, "only {tried} equations are live");
}

/// Another volume in the sheet gives what a plan with another volume gives.
#[test]
fn another_volume_gives_what_another_plan_gives() {
    let (_, site, log) = DEMOS[0];
    let other = site.replace("amount = \"24.9 m3\"", "amount = \"24.95 m3\"");
    assert_ne!(site, other);
    let (book, fresh) = (workbook(&made(site, Some(log))), made(&other, Some(log)));
    let mut calculator = Calculator::new(&book);
    let place = book.names["in_V_meter"].replace("!E", "!C");
    assert_eq!(book.cells[&place].value, Value::Number(24.9));
    calculator.changed.insert(place, 24.95);
    let mut moved = 0;
    for line in fresh.plan.book.lines().iter().filter(|line| line.id.starts_with("volume.")) {
        let name = line.id.replace(['.', '-'], "_");
        let (was, found) = (book.cells[&book.names[&name]].value.number(), calculator.named(&name).number());
        assert!((found - line.node.si).abs() <= 1e-12 * line.node.si.abs(), "{}: {found}, {}", line.id, line.node.si);
        moved += usize::from((was - found).abs() > 1e-9 * found.abs());
    }
    assert!(moved >= 3, "only {moved} lines moved");
}

#[test]
fn the_same_plan_gives_the_same_bytes_and_the_clock_is_not_asked() {
    let (first, second) = (job("quoyle-end"), job("quoyle-end"));
    assert_eq!(spreadsheet(&first).unwrap(), spreadsheet(&second).unwrap());
    let book = workbook(&first);
    for (name, time) in &book.files {
        assert_eq!(*time, Some(zip::DateTime::default()), "{name} says when it was written");
    }
    let date = first.plan.date.to_string();
    assert_eq!(book.core.matches(&format!("{date}T00:00:00Z")).count(), 2, "{}", book.core);
}

fn small(figure: &Figure<Length>) -> Workbook {
    small_of(figure, "a test", 2027)
}

fn small_of(figure: &Figure<Length>, site: &str, year: i32) -> Workbook {
    let mut book = Book::new(Spoken::default());
    book.publish(figure.named("a.rounded", "a length, rounded", "x_r", &unit::METRE));
    let date = chrono::NaiveDate::from_ymd_opt(year, 2, 28).unwrap();
    let heading = Heading { site: site.into(), date, program: "a test".into() };
    opened(&xlsx(&book, &heading, &[]).unwrap())
}

/// What a person may have written must not stop the plan.
#[test]
fn long_names_and_odd_years_still_make_a_spreadsheet() {
    let long = "Pond ".repeat(20_000);
    let leaf: Figure<Length> = Figure::stated(Length::from_si(1.0), &long, &long, &unit::METRE, &long);
    let odd: Figure<Length> = Figure::stated(Length::from_si(2.0), "κ\u{1}<&>", "=1+1", &unit::METRE, "\"\u{7}");
    for year in [1, 1899, 1900, 9999, 12_000] {
        let book = small_of(&(&leaf + &odd), &long, year);
        works_out(&book, "long names");
        assert_eq!(Calculator::new(&book).named("a_rounded"), Value::Number(3.0));
        assert!(book.cells.values().all(|cell| !matches!(&cell.value, Value::Words(words) if words.len() > 32_767)));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 64, ..ProptestConfig::default() })]

    /// Either side of nothing, on a step, a hair off it, and anywhere.
    #[test]
    fn rounding_in_the_sheet_is_rounding_in_the_plan(
        count in -400..400_i32,
        off in prop::sample::select(vec![0.0, 1e-12, -1e-12, 1e-7, -1e-7, 0.3, -0.3]),
        step in prop::sample::select(vec![0.05, 0.1, 1.0, 25.0]),
    ) {
        let exact = (f64::from(count) + off) * step;
        for way in [Way::Down, Way::Up] {
            let leaf: Figure<Length> = Figure::stated(Length::from_si(exact), "x", "a length", &unit::METRE, "site file, line 1");
            let rounded = leaf.rounded(way, step, &unit::METRE);
            let book = small(&rounded);
            works_out(&book, "a length");
            let found = Calculator::new(&book).named("a_rounded").number();
            prop_assert!((found - rounded.si()).abs() <= 1e-12 * rounded.si().abs(), "{exact} {way:?}: {found}, {}", rounded.si());
        }
    }
}
