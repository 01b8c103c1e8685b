//! The workbook: inputs, units, workings, roundings, solved values and limits, each on a sheet of its own.
//!
//! Every number that arithmetic makes is a formula over named cells, written with the value we found, so that a viewer
//! that does not recalculate shows it too. The same book gives the same bytes.

use chrono::{Datelike as _, NaiveDate};
use rust_xlsxwriter::{
    Color, DocProperties, ExcelDateTime, Format, FormatAlign, FormatBorder, Formula, Workbook, Worksheet, XlsxError,
};

use super::cells::{Group, Made, Plan, Row, Solved, Stands};
use super::names::Names;
use super::text::shortest;
use super::units::held;
use crate::units::{Unit, table};
use crate::workings::{Book, CLOSED, Expr, Way};

/// What stands at the head of the workbook.
#[derive(Clone, Debug)]
pub struct Heading {
    /// The site in words.
    pub site: String,
    /// The date on the plan.
    pub date: NaiveDate,
    /// The program with its version.
    pub program: String,
}

/// A limit stated in the plan with the proposal that comes closest to it.
#[derive(Clone, Debug)]
pub struct Limit {
    /// The limit in words.
    pub limit: String,
    /// The proposal in words.
    pub proposal: String,
    /// What it comes to.
    pub proposed: f64,
    /// What is allowed.
    pub allowed: f64,
    /// The unit of both.
    pub unit: &'static str,
    /// Whether `allowed` is the least rather than the most.
    pub floor: bool,
    /// Lines the proposal may come from, by their ids.
    pub proposed_in: &'static [&'static str],
    /// Lines the allowance may come from, or titles of inputs.
    pub allowed_in: &'static [&'static str],
}

/// Lines, differences and limits are held to this: of the value, and in all.
const NEAR: &str = "1E-9";
const NOTHING: &str = "1E-12";

/// The fixed looks.
struct Looks {
    title: Format,
    head: Format,
    group: Format,
    words: Format,
    key: Format,
    live: Format,
    input: Format,
    fixed: Format,
    small: Format,
}

impl Looks {
    fn new() -> Looks {
        let ink = Color::RGB(0x2F_5D50);
        let cell = Format::new().set_align(FormatAlign::Top);
        let figures = cell.clone().set_num_format("General");
        Looks {
            title: Format::new().set_bold().set_font_size(16).set_font_color(ink),
            head: Format::new()
                .set_bold()
                .set_text_wrap()
                .set_align(FormatAlign::Top)
                .set_font_color(Color::White)
                .set_background_color(ink),
            group: Format::new().set_bold().set_font_color(ink).set_border_bottom(FormatBorder::Thin),
            words: cell.clone().set_text_wrap(),
            key: cell.clone().set_font_color(Color::RGB(0x55_5555)),
            live: figures.clone(),
            input: figures.clone().set_font_color(Color::RGB(0x1F_3F9F)).set_background_color(Color::RGB(0xFF_F6D5)),
            fixed: figures.set_font_color(Color::RGB(0x55_5555)),
            small: cell.set_num_format("0.0E+00"),
        }
    }
}

/// A sheet that is written from top to bottom.
struct Page<'l> {
    sheet: Worksheet,
    looks: &'l Looks,
    row: u32,
    widths: Vec<f64>,
}

/// Points from one line of a cell to the next.
const LINE: f64 = 15.0;

/// Lines of the highest row: 409 points are what spreadsheets hold.
const DEEPEST: u32 = 26;
/// Letters of a cell; spreadsheets hold 32,767 of the plain ones, and count others twice.
const LONGEST: usize = 16_000;
/// Letters of a title.
const LONGEST_TITLE: usize = 200;

/// Lines that words take in a column: not every program finds out by itself.
fn lines(words: &str, width: f64) -> u32 {
    let mut lines = 1;
    let mut used = 0;
    for word in words.split(' ') {
        let length = word.chars().count();
        if used > 0 && (used + 1 + length) as f64 > 0.95 * width {
            lines += 1;
            used = length;
        } else {
            used += usize::from(used > 0) + length;
        }
    }
    lines
}

/// A cell of a row.
enum Cell {
    Words(String),
    Key(String),
    /// A number to be changed.
    Input(f64),
    /// A number that stands as it is.
    Fixed(f64),
    /// A formula with its value.
    Live(String, f64),
    /// A formula whose value is nearly nothing.
    Small(String, f64),
    /// A formula with a word or a truth value.
    Says(String, String),
    None,
}

impl<'l> Page<'l> {
    fn new(name: &str, looks: &'l Looks, columns: &[(&str, f64)]) -> Result<Page<'l>, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(name)?.set_landscape().set_print_fit_to_pages(1, 0).set_repeat_rows(0, 0)?;
        for (column, (head, width)) in (0_u16..).zip(columns) {
            sheet.set_column_width(column, *width)?;
            sheet.write_string_with_format(0, column, *head, &looks.head)?;
        }
        sheet.set_freeze_panes(1, 0)?;
        let widths = columns.iter().map(|(_, width)| *width).collect();
        Ok(Page { sheet, looks, row: 1, widths })
    }

    /// The number of the next row as a spreadsheet counts.
    fn next(&self) -> u32 {
        self.row + 1
    }

    fn group(&mut self, words: &str) -> Result<(), XlsxError> {
        self.sheet.write_string_with_format(self.row, 0, words, &self.looks.group)?;
        self.row += 1;
        Ok(())
    }

    fn put(&mut self, cells: Vec<Cell>) -> Result<(), XlsxError> {
        let looks = self.looks;
        let deep = cells.iter().zip(&self.widths).map(|(cell, width)| match cell {
            Cell::Words(words) => lines(words, *width),
            _ => 1,
        });
        let deep = deep.max().unwrap_or(1);
        if deep > 1 {
            self.sheet.set_row_height(self.row, LINE * f64::from(deep.min(DEEPEST)))?;
        }
        for (column, cell) in (0_u16..).zip(cells) {
            let (row, sheet) = (self.row, &mut self.sheet);
            match cell {
                Cell::Words(words) => sheet.write_string_with_format(row, column, spaced(&words), &looks.words)?,
                Cell::Key(words) => sheet.write_string_with_format(row, column, spaced(&words), &looks.key)?,
                Cell::Input(value) => sheet.write_number_with_format(row, column, value, &looks.input)?,
                Cell::Fixed(value) => sheet.write_number_with_format(row, column, value, &looks.fixed)?,
                Cell::Live(formula, value) => {
                    sheet.write_formula_with_format(row, column, of(&formula, &result(value)), &looks.live)?
                }
                Cell::Small(formula, value) => {
                    sheet.write_formula_with_format(row, column, of(&formula, &result(value)), &looks.small)?
                }
                Cell::Says(formula, word) => {
                    sheet.write_formula_with_format(row, column, of(&formula, &word), &looks.live)?
                }
                Cell::None => sheet,
            };
        }
        self.row += 1;
        Ok(())
    }
}

fn of(formula: &str, result: &str) -> Formula {
    Formula::new(formula).set_result(result)
}

/// A number as a spreadsheet keeps it; what is none is its error.
fn result(value: f64) -> String {
    if value.is_finite() { shortest(value) } else { "#NUM!".to_owned() }
}

/// No-break spaces are for the page; whoever searches this types ordinary ones.
fn spaced(words: &str) -> String {
    words.chars().take(LONGEST).map(|c| if matches!(c, '\u{a0}' | '\u{202f}') { ' ' } else { c }).collect()
}

/// A number of a unit in as few digits as give the same quantity to thirteen digits: 7 for 6.999999999999999.
fn tidy(unit: &Unit, si: f64) -> f64 {
    let plain = unit.of(si);
    let short: f64 = format!("{plain:.11e}").parse().unwrap_or(plain);
    if (unit.si(short) - si).abs() <= 1e-13 * si.abs() { short } else { plain }
}

/// Cells that other sheets call by name.
struct Named {
    list: Vec<(String, String)>,
}

impl Named {
    fn give(&mut self, name: &str, sheet: &str, column: char, row: u32) {
        self.list.push((name.to_owned(), format!("={sheet}!${column}${row}")));
    }
}

/// The workbook of a book of workings.
///
/// # Errors
/// What the writer of the file may err with, such as more rows than a sheet has.
pub fn xlsx(book: &Book, heading: &Heading, limits: &[Limit]) -> Result<Vec<u8>, XlsxError> {
    let looks = Looks::new();
    let mut plan = Plan::of(book);
    let mut named = Named { list: Vec::new() };
    // Limits may need units of their own, so they come before the units are written.
    let limits = limits_sheet(&mut plan, limits, &looks)?;
    let sheets = [
        read_me(heading, &plan, &looks)?,
        inputs_sheet(&plan, &looks, &mut named)?,
        workings_sheet(&plan, &looks, &mut named)?,
        limits,
        roundings_sheet(&plan, &looks, &mut named)?,
        solved_sheet(&plan, &looks, &mut named)?,
        units_sheet(&plan, &looks, &mut named)?,
    ];
    let mut workbook = Workbook::new();
    for sheet in sheets {
        workbook.push_worksheet(sheet);
    }
    for (name, place) in &named.list {
        workbook.define_name(name, place)?;
    }
    // Spreadsheets know no other years.
    let year = u16::try_from(heading.date.year()).ok().filter(|year| (1900..=9999).contains(year));
    let created = match year {
        Some(year) => ExcelDateTime::from_ymd(year, heading.date.month() as u8, heading.date.day() as u8)?,
        None => ExcelDateTime::from_ymd(1900, 1, 1)?,
    };
    let properties =
        DocProperties::new().set_title(title(heading)).set_author(&heading.program).set_creation_datetime(&created);
    workbook.set_properties(&properties);
    workbook.save_to_buffer()
}

fn title(heading: &Heading) -> String {
    format!("Workings of the care plan for {}", heading.site).chars().take(LONGEST_TITLE).collect()
}

/// Width of the words on the first sheet.
const WORDS: f64 = 90.0;

fn read_me(heading: &Heading, plan: &Plan<'_>, looks: &Looks) -> Result<Worksheet, XlsxError> {
    let mut sheet = Worksheet::new();
    sheet.set_name("Read me")?.set_column_width(0, 26)?.set_column_width(1, WORDS)?.set_print_fit_to_pages(1, 0);
    sheet.write_string_with_format(0, 0, title(heading), &looks.title)?;
    let mut row = 2;
    let mut put = |sheet: &mut Worksheet, head: &str, words: &str| -> Result<(), XlsxError> {
        sheet.write_string_with_format(row, 0, head, &looks.words)?;
        sheet.write_string_with_format(row, 1, spaced(words), &looks.words)?;
        sheet.set_row_height(row, LINE * f64::from(lines(words, WORDS).min(DEEPEST)) + 6.0)?;
        row += 1;
        Ok(())
    };
    let date = heading.date.format("%Y-%m-%d").to_string();
    put(&mut sheet, "Date of the plan", &date)?;
    put(&mut sheet, "Made by", &heading.program)?;
    put(
        &mut sheet,
        "What this is",
        "The arithmetic of the plan, live. It is for checking, and takes the place of no line of the plan: what must never be done with copper and fish, the limits and the cautions stand there.",
    )?;
    put(
        &mut sheet,
        "How to check",
        "Recalculate (Ctrl+Shift+F9 in most programs). On the sheet Workings the column Same must say `same` in every line, and every row of Limits must say TRUE. Follow a formula by the names of its cells: in_… are inputs, u_… are units, all others are lines of the plan by their id.",
    )?;
    put(
        &mut sheet,
        "What if",
        "Change a yellow cell on the sheet Inputs: all arithmetic follows, and the column Same says which lines changed. The decisions do not follow: how many doses and on which days, which limit rules, what the daily balance of the year comes to. For these change the site file or the log and make a new plan.",
    )?;
    put(
        &mut sheet,
        "Units",
        "Inside, every quantity is in SI units; the sheet Units has the factor of each unit once. Results stand in SI, in which formulas work, and in the unit of the plan.",
    )?;
    put(
        &mut sheet,
        "Status of a line",
        "The weakest of what it rests on directly. sourced: read in the document named. derived: plain arithmetic from definitions. common practice: a rule of the trade without a source. from memory: a remembered value, the text was not seen.",
    )?;
    let count = |stands: Stands| plan.solved.iter().filter(|solved| solved.stands() == stands).count();
    put(
        &mut sheet,
        "Solved values",
        &format!(
            "{} of {} lines rest on equations that are solved, or on the daily balance. {} of them are written out once more and follow their inputs. {} stand as numbers, and what they leave of their equation is live: it must be near nothing. {} are not recomputed here: they stand on the sheet Solved with the equation in words, what went in and what our solver left of it.",
            plan.solved.len(),
            plan.rows.len(),
            count(Stands::Restated),
            count(Stands::Closed),
            count(Stands::Left),
        ),
    )?;
    sheet.write_string_with_format(row, 0, "Lines that differ", &looks.words)?;
    sheet.write_formula_with_format(row, 1, of("COUNTIF(Workings!J2:J100000,\"differs\")", "0"), &looks.live)?;
    sheet.write_string_with_format(row + 1, 0, "Limits that are not kept", &looks.words)?;
    sheet.write_formula_with_format(row + 1, 1, of("COUNTIF(Limits!G2:G100000,FALSE)", "0"), &looks.live)?;
    sheet.write_string_with_format(row + 2, 0, "Equations left open", &looks.words)?;
    sheet.write_formula_with_format(row + 2, 1, of("COUNTIF(Solved!H2:H100000,FALSE)", "0"), &looks.live)?;
    Ok(sheet)
}

fn inputs_sheet(plan: &Plan<'_>, looks: &Looks, named: &mut Named) -> Result<Worksheet, XlsxError> {
    let columns = [
        ("Symbol", 22.0),
        ("What it is", 44.0),
        ("Value", 16.0),
        ("Unit", 14.0),
        ("SI value", 20.0),
        ("SI unit", 16.0),
        ("Where it comes from", 44.0),
        ("Status", 18.0),
        ("Cell", 24.0),
        ("Source in full", 60.0),
    ];
    let mut page = Page::new("Inputs", looks, &columns)?;
    for group in Group::ALL {
        if !plan.inputs.iter().any(|input| input.group == group) {
            continue;
        }
        page.group(group.words())?;
        for input in plan.inputs.iter().filter(|input| input.group == group) {
            let row = page.next();
            named.give(&input.name, "Inputs", 'E', row);
            let value = tidy(input.unit, input.si);
            let unit = plan.units.at(input.unit);
            page.put(vec![
                Cell::Words(input.symbols.join("; ")),
                Cell::Words(input.title.clone()),
                if group == Group::Carried { Cell::Fixed(value) } else { Cell::Input(value) },
                Cell::Key(input.unit.symbol.to_owned()),
                Cell::Live(plan.units.to_si(unit, &format!("C{row}")), input.si),
                Cell::Key(held(input.unit).to_owned()),
                Cell::Words(input.origin.clone()),
                Cell::Key(input.standing.to_owned()),
                Cell::Key(input.name.clone()),
                Cell::Key(input.full.to_owned()),
            ])?;
        }
    }
    Ok(page.sheet)
}

fn workings_sheet(plan: &Plan<'_>, looks: &Looks, named: &mut Named) -> Result<Worksheet, XlsxError> {
    let columns = [
        ("Line", 6.0),
        ("Id", 30.0),
        ("What it is", 44.0),
        ("In symbols", 50.0),
        ("Result, SI", 20.0),
        ("Result", 16.0),
        ("Unit", 14.0),
        ("As the plan has it", 20.0),
        ("Difference", 12.0),
        ("Same", 9.0),
        ("How", 40.0),
        ("Status", 18.0),
        ("Citations", 18.0),
        ("Cell", 30.0),
    ];
    let mut page = Page::new("Workings", looks, &columns)?;
    for Row { line, name, formula, made } in &plan.rows {
        let row = page.next();
        named.give(name, "Workings", 'E', row);
        let unit = plan.units.at(line.unit);
        let shown = line.unit.of(line.node.si);
        let symbols = if line.formula_text().is_empty() { line.symbol_text() } else { line.equation_text() };
        let how = match made {
            Made::Live => "arithmetic".to_owned(),
            Made::Input => "an input".to_owned(),
            Made::Solved(at) => match plan.solved.get(*at).map(Solved::stands) {
                Some(Stands::Restated) => "by its equation, written out on Solved".to_owned(),
                Some(Stands::Closed) => "solved, its equation is live on Solved".to_owned(),
                _ => "solved, not recomputed here: see Solved".to_owned(),
            },
        };
        page.put(vec![
            Cell::Fixed(f64::from(line.number)),
            Cell::Key(line.id.clone()),
            Cell::Words(line.title.clone()),
            Cell::Words(symbols),
            Cell::Live(formula.clone(), line.node.si),
            Cell::Live(plan.units.of_si(unit, &format!("E{row}")), shown),
            Cell::Key(line.unit.symbol.to_owned()),
            Cell::Fixed(shown),
            Cell::Small(format!("F{row}-H{row}"), 0.0),
            Cell::Says(
                format!("IF(ABS(F{row}-H{row})<={NEAR}*ABS(H{row})+{NOTHING},\"same\",\"differs\")"),
                "same".to_owned(),
            ),
            Cell::Words(how),
            Cell::Key(line.status.words().to_owned()),
            Cell::Key(line.citations().iter().map(|c| c.id).collect::<Vec<_>>().join(" ")),
            Cell::Key(name.clone()),
        ])?;
    }
    Ok(page.sheet)
}

fn roundings_sheet(plan: &Plan<'_>, looks: &Looks, named: &mut Named) -> Result<Worksheet, XlsxError> {
    let columns = [
        ("Line", 6.0),
        ("Id", 30.0),
        ("Exact, SI", 22.0),
        ("Step", 10.0),
        ("Unit", 12.0),
        ("Step, SI", 16.0),
        ("Way", 8.0),
        ("Steps, exact", 18.0),
        ("Nearest whole", 14.0),
        ("Steps, rounded", 14.0),
        ("Rounded, SI", 20.0),
        ("Cell", 34.0),
    ];
    let mut page = Page::new("Roundings", looks, &columns)?;
    for rounded in &plan.roundings {
        let row = page.next();
        named.give(&rounded.name, "Roundings", 'K', row);
        let rounding = rounded.rounding;
        let unit = plan.units.at(rounding.unit);
        let factor = plan.units.to_si(unit, &format!("D{row}"));
        let steps = rounded.exact_si / rounding.step;
        let (way, whole) = match rounding.way {
            Way::Down => ("down", format!("INT(H{row})")),
            Way::Up => ("up", format!("-INT(-H{row})")),
        };
        page.put(vec![
            Cell::Fixed(f64::from(rounded.line)),
            Cell::Key(rounded.id.clone()),
            Cell::Live(rounded.exact.clone(), rounded.exact_si),
            Cell::Input(tidy(&Unit { zero: 0.0, ..*rounding.unit }, rounding.step)),
            Cell::Key(rounding.unit.symbol.to_owned()),
            Cell::Live(factor, rounding.step),
            Cell::Key(way.to_owned()),
            Cell::Live(format!("C{row}/F{row}"), steps),
            Cell::Live(format!("ROUND(H{row},0)"), libm::round(steps)),
            // What is whole to a thousand-millionth stays where it is.
            Cell::Live(
                format!("IF(ABS(H{row}-I{row})<{NEAR}*MAX(1,ABS(I{row})),I{row},{whole})"),
                libm::round(rounded.si / rounding.step),
            ),
            Cell::Live(format!("J{row}*F{row}"), rounded.si),
            Cell::Key(rounded.name.clone()),
        ])?;
    }
    Ok(page.sheet)
}

fn solved_sheet(plan: &Plan<'_>, looks: &Looks, named: &mut Named) -> Result<Worksheet, XlsxError> {
    let columns = [
        ("Line", 6.0),
        ("Id or step", 34.0),
        ("What it is", 44.0),
        ("Equation", 60.0),
        ("Value, SI", 20.0),
        ("As the plan has it, SI", 20.0),
        ("Left of the equation", 14.0),
        ("Near nothing", 12.0),
        ("Left by our solver", 14.0),
        ("Steps", 7.0),
        ("What went in", 60.0),
        ("Cell", 34.0),
    ];
    let mut page = Page::new("Solved", looks, &columns)?;
    page.group("Written out once more: the value follows its inputs")?;
    for solved in plan.solved.iter().filter(|solved| solved.restated.is_some()) {
        let (Expr::Solved { equation, residual, iterations, .. }, Some(restated)) =
            (&solved.node.expr, &solved.restated)
        else {
            continue;
        };
        for step in &restated.steps {
            let row = page.next();
            named.give(&step.name, "Solved", 'E', row);
            page.put(vec![
                Cell::None,
                Cell::Key(step.name.clone()),
                Cell::Words(step.title.to_owned()),
                Cell::None,
                Cell::Live(step.formula.clone(), step.value),
            ])?;
        }
        let row = page.next();
        named.give(&solved.name, "Solved", 'E', row);
        page.put(vec![
            solved.line.map_or(Cell::None, |line| Cell::Fixed(f64::from(line.number))),
            Cell::Key(solved.line.map_or_else(String::new, |line| line.id.clone())),
            Cell::Words(solved.line.map_or_else(String::new, |line| line.title.clone())),
            Cell::Words(equation.clone()),
            Cell::Live(restated.formula.clone(), solved.node.si),
            Cell::Fixed(solved.node.si),
            Cell::Small(format!("E{row}-F{row}"), 0.0),
            Cell::Says(format!("ABS(G{row})<={NEAR}*ABS(F{row})+{NOTHING}"), "TRUE".to_owned()),
            Cell::Fixed(*residual),
            Cell::Fixed(f64::from(*iterations)),
            Cell::Key(solved.inputs.join(", ")),
            Cell::Key(solved.name.clone()),
        ])?;
    }
    page.group("Solved elsewhere, the equation is live: with this value, what is left of it must be near nothing")?;
    for solved in plan.solved.iter().filter(|solved| solved.stands() == Stands::Closed) {
        page.put(solved_row(solved, named, page.next()))?;
    }
    page.group("Not recomputed here: the value stands as our solver or the daily balance left it")?;
    for solved in plan.solved.iter().filter(|solved| solved.stands() == Stands::Left) {
        page.put(solved_row(solved, named, page.next()))?;
    }
    Ok(page.sheet)
}

/// A value that stands as a number, with what is left of its equation where that is live.
fn solved_row(solved: &Solved<'_>, named: &mut Named, row: u32) -> Vec<Cell> {
    let Expr::Solved { equation, residual, iterations, .. } = &solved.node.expr else { return Vec::new() };
    named.give(&solved.name, "Solved", 'E', row);
    let (left, holds) = match &solved.left {
        Some((formula, value)) => (
            Cell::Small(formula.clone(), *value),
            Cell::Says(format!("ABS(G{row})<={}", shortest(CLOSED)), "TRUE".to_owned()),
        ),
        None => (Cell::Key("not recomputed here".to_owned()), Cell::None),
    };
    vec![
        solved.line.map_or(Cell::None, |line| Cell::Fixed(f64::from(line.number))),
        Cell::Key(solved.line.map_or_else(String::new, |line| line.id.clone())),
        Cell::Words(solved.line.map_or_else(String::new, |line| line.title.clone())),
        Cell::Words(equation.clone()),
        Cell::Fixed(solved.node.si),
        Cell::Fixed(solved.node.si),
        left,
        holds,
        Cell::Fixed(*residual),
        Cell::Fixed(f64::from(*iterations)),
        Cell::Key(solved.inputs.join(", ")),
        Cell::Key(solved.name.clone()),
    ]
}

/// A cell that has the number of a limit, as a formula in the limit's unit, with its line or title; `None` where none has.
fn link(plan: &mut Plan<'_>, wanted: &[&'static str], value: f64, names: &mut Names) -> Option<(String, &'static str)> {
    wanted.iter().find_map(|wanted| {
        let line = plan.rows.iter().find(|row| row.line.id == *wanted);
        let (cell, si, kind) = match line {
            Some(row) => (row.name.clone(), row.line.node.si, row.line.unit.kind),
            None => {
                let input = plan.inputs.iter().find(|input| input.title == *wanted)?;
                (input.name.clone(), input.si, input.unit.kind)
            }
        };
        // The unit in which the cell has the number of the limit.
        let mut units = [&table::ONE].into_iter().chain(table::ALL).filter(|unit| unit.kind == kind);
        let unit = units.find(|unit| (unit.of(si) - value).abs() <= 1e-9 * value.abs())?;
        let at = plan.units.row(unit, names);
        Some((plan.units.of_si(at, &cell), *wanted))
    })
}

fn limits_sheet(plan: &mut Plan<'_>, limits: &[Limit], looks: &Looks) -> Result<Worksheet, XlsxError> {
    let columns = [
        ("Limit", 44.0),
        ("Proposal", 44.0),
        ("Proposed", 16.0),
        ("Allowed", 16.0),
        ("Unit", 12.0),
        ("Allowed is", 12.0),
        ("Kept", 8.0),
        ("Margin", 14.0),
        ("Proposed comes from", 50.0),
        ("Allowed comes from", 40.0),
    ];
    let mut page = Page::new("Limits", looks, &columns)?;
    let mut names = std::mem::take(&mut plan.names);
    for limit in limits {
        let row = page.next();
        let mut side =
            |value: f64, wanted: &[&'static str], otherwise: &str| match link(plan, wanted, value, &mut names) {
                Some((formula, from)) => (Cell::Live(formula, value), from.to_owned()),
                None => (Cell::Fixed(value), otherwise.to_owned()),
            };
        let (proposed, from) =
            side(limit.proposed, limit.proposed_in, "worked out by the safety check, apart from the lines");
        let (allowed, bound) = side(limit.allowed, limit.allowed_in, "the limit as a number");
        let (kept, margin, width) = if limit.floor {
            (format!("C{row}>=D{row}*(1-{NEAR})-{NOTHING}"), format!("C{row}-D{row}"), limit.proposed - limit.allowed)
        } else {
            (format!("C{row}<=D{row}*(1+{NEAR})+{NOTHING}"), format!("D{row}-C{row}"), limit.allowed - limit.proposed)
        };
        let near = 1e-9 * limit.allowed.abs() + 1e-12;
        let word = if width >= -near { "TRUE" } else { "FALSE" };
        page.put(vec![
            Cell::Words(limit.limit.clone()),
            Cell::Words(limit.proposal.clone()),
            proposed,
            allowed,
            Cell::Key(limit.unit.to_owned()),
            Cell::Key(if limit.floor { "the least" } else { "the most" }.to_owned()),
            Cell::Says(kept, word.to_owned()),
            Cell::Live(margin, width),
            Cell::Words(from),
            Cell::Words(bound),
        ])?;
    }
    plan.names = names;
    Ok(page.sheet)
}

fn units_sheet(plan: &Plan<'_>, looks: &Looks, named: &mut Named) -> Result<Worksheet, XlsxError> {
    let columns = [
        ("Unit", 16.0),
        ("Quantity", 26.0),
        ("One in SI", 24.0),
        ("SI unit", 18.0),
        ("SI value at its zero", 20.0),
        ("Cell of the factor", 34.0),
        ("Cell of the zero", 24.0),
    ];
    let mut page = Page::new("Units", looks, &columns)?;
    for unit in &plan.units.rows {
        let row = page.next();
        named.give(&unit.size, "Units", 'C', row);
        if let Some(zero) = &unit.zero {
            named.give(zero, "Units", 'E', row);
        }
        let symbol = if unit.unit.symbol.is_empty() { "1" } else { unit.unit.symbol };
        page.put(vec![
            Cell::Key(symbol.to_owned()),
            Cell::Words(unit.unit.kind.words().to_owned()),
            Cell::Fixed(unit.unit.size),
            Cell::Key(held(unit.unit).to_owned()),
            if unit.zero.is_some() { Cell::Fixed(unit.unit.zero) } else { Cell::None },
            Cell::Key(unit.size.clone()),
            unit.zero.clone().map_or(Cell::None, Cell::Key),
        ])?;
    }
    Ok(page.sheet)
}
