//! The log as meant: a head that names the readings, then one visit a row.

use chrono::NaiveDate;

use super::csv::{Cell, Row, rows};
use super::fields::{Bounds, FIELDS, Field, field, listed, nearest, vague};
use super::model::{Panel, Reading, Readings, Stated, Visit};
use super::values::{self, Number, Place};
use crate::diag::{Diagnostic, Diagnostics, FileId, Span, Text};
use crate::units::table as unit;
use crate::units::{Kind, ReadError, Si, Unit, unit_named};

/// Columns beside the readings.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Plain {
    Date,
    Time,
    LevelSet,
    LevelReached,
    LevelLeft,
    FullReached,
    BarMass,
    BarState,
    ThreadScore,
    Flow,
    DropRunning,
    DropStill,
    DropBucket,
    By,
    Note,
}

#[rustfmt::skip]
const PLAIN: &[(&str, Plain)] = &[
    ("date", Plain::Date), ("time", Plain::Time), ("level set", Plain::LevelSet),
    ("level reached", Plain::LevelReached), ("level left", Plain::LevelLeft), ("full reached", Plain::FullReached),
    ("bars", Plain::BarMass), ("bar state", Plain::BarState), ("thread score", Plain::ThreadScore),
    ("flow", Plain::Flow), ("drop running", Plain::DropRunning), ("drop still", Plain::DropStill),
    ("drop bucket", Plain::DropBucket), ("by", Plain::By), ("note", Plain::Note),
];

const BARS: Bounds = Bounds::new(&unit::GRAM, 0.1, 1_000_000.0).usual(10.0, 20_000.0);
const FLOW: Bounds = Bounds::new(&unit::LITRES_PER_SECOND, 0.0, 1_000.0).usual(0.1, 20.0);
const DROP: Bounds = Bounds::new(&unit::MILLIMETRE, 0.0, 1_000.0).usual(0.0, 25.0);

impl Plain {
    fn measures(self) -> Option<(Kind, &'static Bounds)> {
        match self {
            Plain::BarMass => Some((Kind::Mass, &BARS)),
            Plain::Flow => Some((Kind::Flow, &FLOW)),
            Plain::DropRunning | Plain::DropStill | Plain::DropBucket => Some((Kind::Length, &DROP)),
            _ => None,
        }
    }
}

#[derive(Clone, Copy)]
enum Meaning {
    Reading(&'static Field),
    Plain(Plain),
}

/// A column of the log.
struct Column {
    name: &'static str,
    meaning: Meaning,
    unit: Option<&'static Unit>,
    span: Span,
}

/// Every name a column may have.
fn names() -> impl Iterator<Item = &'static str> {
    PLAIN.iter().map(|(name, _)| *name).chain(FIELDS.iter().map(|f| f.name))
}

/// What the log has to agree with.
pub(super) struct Against<'a> {
    pub plan_date: Option<NaiveDate>,
    pub panel: Option<&'a Panel>,
}

/// Reads the log. Rows that could not be understood are left out, with a complaint.
pub(super) fn read(log: &Text, against: &Against<'_>, complaints: &mut Diagnostics) -> Vec<Visit> {
    let all = rows(&log.words, FileId::LOG, complaints);
    let Some((head, body)) = all.split_first() else { return Vec::new() };
    let Some(columns) = columns(head, body, complaints) else { return Vec::new() };
    let mut visits: Vec<Visit> = Vec::new();
    for (number, row) in body.iter().enumerate() {
        // Row 1 is the head, as a spreadsheet counts.
        if !counted(row, number + 2, head.cells.len(), complaints) {
            continue;
        }
        if let Some(visit) = visit(row, &columns, against, complaints) {
            in_order(&visit, visits.last(), log, complaints);
            visits.push(visit);
        }
    }
    if body.is_empty() {
        complaints.push(
            Diagnostic::warning("no-visits", head.span, "the log holds no visit yet")
                .label("rows of readings belong under this head")
                .why("without readings the plan can only list what to measure")
                .hint("write one row for each visit, the oldest first"),
        );
    }
    visits
}

/// A name as it is compared: small letters, single spaces, no underscores.
fn folded(name: &str) -> String {
    name.to_lowercase().replace('_', " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

fn columns(head: &Row, body: &[Row], complaints: &mut Diagnostics) -> Option<Vec<Option<Column>>> {
    if let [only] = head.cells.as_slice()
        && only.text.contains([';', '\t'])
    {
        complaints.push(
            Diagnostic::error("wrong-separator", only.span, "the cells of the log are not parted by commas")
                .label("semicolons or tabs stand where commas belong")
                .why("with them a decimal comma would go unnoticed")
                .hint("save the sheet as `CSV UTF-8 (comma delimited)`, with decimal points"),
        );
        return None;
    }
    let mut found: Vec<Option<Column>> = Vec::new();
    for (index, cell) in head.cells.iter().enumerate() {
        let column = column(cell, || filled(body, index), complaints).filter(|new| {
            let first = found.iter().flatten().find(|old| old.name == new.name);
            if first.is_some() {
                complaints.push(
                    Diagnostic::error("duplicate-column", new.span, format!("the column `{}` comes twice", new.name))
                        .label("this is the second one")
                        .why("only one of the two can be meant")
                        .hint("delete one, or rename it if it holds another reading"),
                );
            }
            first.is_none()
        });
        found.push(column);
    }
    if !found.iter().flatten().any(|c| matches!(c.meaning, Meaning::Plain(Plain::Date))) {
        complaints.push(
            Diagnostic::error("no-date-column", head.span, "the log has no column `date`")
                .label("the first line names the columns, `date` among them")
                .why("a reading without its day cannot be placed")
                .hint("write `date` at the head of the column of days, such as `2026-03-12`"),
        );
        return None;
    }
    Some(found)
}

/// The cells of a column that hold something.
fn filled(body: &[Row], index: usize) -> impl Iterator<Item = &Cell> {
    body.iter().filter_map(move |row| row.cells.get(index)).filter(|cell| !cell.text.trim().is_empty())
}

fn column<'c, I: Iterator<Item = &'c Cell>>(
    cell: &Cell,
    cells: impl Fn() -> I,
    complaints: &mut Diagnostics,
) -> Option<Column> {
    let (written, unit_text) = match cell.text.trim().split_once('[') {
        Some((name, rest)) => (name.trim(), Some(rest.trim().trim_end_matches(']').trim())),
        None => (cell.text.trim(), None),
    };
    let name = folded(written);
    let plain = PLAIN.iter().find(|(known, _)| *known == name).map(|(known, plain)| (*known, Meaning::Plain(*plain)));
    let reading = field(&name).map(|f| (f.name, Meaning::Reading(f)));
    let Some((name, meaning)) = plain.or(reading) else {
        complaints.push(unknown_column(cell, written, &name));
        return None;
    };
    let (kind, bounds) = match meaning {
        Meaning::Reading(field) => (field.kind, &field.bounds),
        Meaning::Plain(plain) => match plain.measures() {
            Some((kind, bounds)) => (Some(kind), bounds),
            None => (None, &FIELDS_PLAIN),
        },
    };
    let unit = match (kind, unit_text) {
        (Some(kind), Some(text)) if !text.is_empty() => match unit_named(kind, text) {
            Ok(unit) => Some(unit),
            Err(error) => {
                complaints.push(column_unit(&error, name, kind, cell.span));
                return None;
            }
        },
        (Some(_), _) => {
            // Without a unit in the head each cell has to bring its own.
            let bare = cells().any(|c| c.text.trim_end().ends_with(|ch: char| ch.is_ascii_digit()));
            if bare {
                complaints.push(
                    Diagnostic::error("missing-unit", cell.span, format!("the column `{name}` has no unit"))
                        .label("a unit in square brackets belongs here")
                        .why("the program does not guess units")
                        .hint(format!("write `{name} [{}]`, or the unit that the kit prints", bounds.unit.symbol)),
                );
                return None;
            }
            None
        }
        (None, Some(text)) if !text.is_empty() && !folded(text).starts_with("ph") => {
            complaints.push(
                Diagnostic::error("unknown-unit", cell.span, format!("the column `{name}` has a unit, `{text}`"))
                    .label("what stands in this column has no unit")
                    .why("something else may have been meant")
                    .hint(format!("write `{name}`")),
            );
            return None;
        }
        _ => None,
    };
    Some(Column { name, meaning, unit, span: cell.span })
}

/// Stands in for columns that hold no quantity.
static FIELDS_PLAIN: Bounds = Bounds::new(&unit::ONE, 0.0, 0.0);

fn unknown_column(cell: &Cell, written: &str, name: &str) -> Diagnostic {
    let what = if written.is_empty() {
        "a column has no name".to_owned()
    } else {
        format!("`{}` is not a column of the log", values::clipped(written))
    };
    let complaint = Diagnostic::error("unknown-column", cell.span, what);
    if let Some(vague) = vague(name) {
        let all = listed(vague.could_be.iter().copied());
        let (id, label) = match vague.could_be {
            [only] => ("unknown-column", format!("is `{only}` meant?")),
            _ => ("ambiguous-form", "which form is it?".to_owned()),
        };
        return Diagnostic { id, ..complaint }
            .label(label)
            .why(vague.why)
            .hint(format!("write {all}{}", if vague.bare { "" } else { ", with the unit in square brackets" }));
    }
    match nearest(name, names()) {
        Some(near) => complaint
            .label(format!("is `{near}` meant?"))
            .why("a column that is not known is not read")
            .hint(format!("write `{near}`")),
        None => complaint
            .label("this column is not known")
            .why("a column that is not known is not read")
            .hint(format!("delete it or put its remarks in `note`; known are {}", listed(names()))),
    }
}

fn column_unit(error: &ReadError, name: &str, kind: Kind, span: Span) -> Diagnostic {
    let example = Kind::example(kind).split_once(' ').map_or("", |(_, unit)| unit);
    match error {
        ReadError::Ambiguous { unit, question, hint } => Diagnostic::error(
            "ambiguous-unit",
            span,
            format!("`{unit}` leaves open what the column `{name}` is counted in"),
        )
        .label(*question)
        .why("every reading of the column would rest on a guess")
        .hint(*hint),
        ReadError::OtherKind { unit, measures } => {
            Diagnostic::error("other-quantity", span, format!("the column `{name}` is given in `{unit}`"))
                .label(format!("`{unit}` measures {}", measures.words()))
                .why("one quantity cannot be turned into another without more data")
                .hint(format!("write `{name} [{example}]`, for instance"))
        }
        ReadError::UnknownUnit { unit, nearest } => {
            let near = nearest.unwrap_or(example);
            Diagnostic::error("unknown-unit", span, format!("`{unit}` is not a unit of {} known here", kind.words()))
                .label("this unit is not known")
                .why("the program does not guess units")
                .hint(format!("write `{name} [{near}]`, for instance"))
        }
        ReadError::Empty | ReadError::NoNumber | ReadError::DecimalComma | ReadError::NoUnit => {
            Diagnostic::error("missing-unit", span, format!("the column `{name}` has no unit"))
                .label("a unit in square brackets belongs here")
                .why("the program does not guess units")
                .hint(format!("write `{name} [{example}]`, for instance"))
        }
    }
}

/// Whether a row has as many cells as the head. Blank cells at the end are no offence: spreadsheets drop and add them.
fn counted(row: &Row, number: usize, columns: usize, complaints: &mut Diagnostics) -> bool {
    let cells = row.cells.len();
    let spare = row.cells.iter().skip(columns).all(|c| c.text.trim().is_empty());
    if cells == columns || (cells > columns && spare) {
        return true;
    }
    let hint = if cells > columns {
        "put a note that holds a comma in quotes, and write decimals with a point"
    } else {
        "leave a cell empty between two commas when nothing was measured"
    };
    let label = if cells > columns { "too many cells" } else { "too few cells" };
    complaints.push(
        Diagnostic::error("cell-count", row.span, format!("row {number} has {cells} cells, the head has {columns}"))
            .label(label)
            .why("it is not clear which reading stands in which column, so the row is not read")
            .hint(hint),
    );
    false
}

fn visit(row: &Row, columns: &[Option<Column>], against: &Against<'_>, complaints: &mut Diagnostics) -> Option<Visit> {
    let mut date = None;
    let mut visit = Visit {
        date: NaiveDate::MIN,
        time: None,
        line: row.line,
        span: row.span,
        pond: Readings::default(),
        level_set: None,
        level_reached: None,
        level_left: None,
        full_reached: None,
        bar_mass: None,
        bar_state: None,
        thread_score: None,
        flow: None,
        drop_running: None,
        drop_still: None,
        drop_bucket: None,
        by: None,
        note: String::new(),
    };
    for (column, cell) in columns.iter().zip(&row.cells).filter_map(|(column, cell)| Some((column.as_ref()?, cell))) {
        let text = cell.text.trim();
        if text.is_empty() {
            if matches!(column.meaning, Meaning::Plain(Plain::Date)) {
                complaints.push(
                    Diagnostic::error("no-date", row.span, "a visit has no date")
                        .label("the day is missing in this row")
                        .why("a reading without its day cannot be placed")
                        .hint("write the day, such as `2026-03-12`"),
                );
            }
            continue;
        }
        let what = values::spoken(column.name);
        let place = Place { what: &what, span: cell.span, column: column.unit, quoted: false };
        match column.meaning {
            Meaning::Reading(field) => {
                if let Some(number) = values::number(text, field.kind, &field.bounds, place, complaints) {
                    (field.set)(&mut visit.pond, number.si, number.less_than, cell.span);
                }
            }
            Meaning::Plain(plain) => {
                let measured = plain
                    .measures()
                    .and_then(|(kind, bounds)| values::number(text, Some(kind), bounds, place, complaints));
                let level =
                    |complaints: &mut Diagnostics| level(text, column.name, cell.span, against.panel, complaints);
                match plain {
                    Plain::Date => date = values::date(text, "the date", cell.span, complaints),
                    Plain::Time => visit.time = values::time(text, cell.span, complaints),
                    Plain::LevelSet => visit.level_set = level(complaints),
                    Plain::LevelReached => visit.level_reached = level(complaints),
                    Plain::LevelLeft => visit.level_left = level(complaints),
                    Plain::FullReached => visit.full_reached = level(complaints),
                    Plain::ThreadScore => visit.thread_score = score(text, cell.span, complaints),
                    Plain::BarMass => visit.bar_mass = reading(measured, cell.span),
                    Plain::Flow => visit.flow = reading(measured, cell.span),
                    Plain::DropRunning => visit.drop_running = reading(measured, cell.span),
                    Plain::DropStill => visit.drop_still = reading(measured, cell.span),
                    Plain::DropBucket => visit.drop_bucket = reading(measured, cell.span),
                    Plain::BarState => visit.bar_state = Some(one_line(text)),
                    Plain::By => visit.by = Some(one_line(text)),
                    Plain::Note => visit.note = one_line(text),
                }
            }
        }
    }
    visit.date = date?;
    if let Some(plan_date) = against.plan_date.filter(|plan| visit.date > *plan) {
        let span = row.cells.first().map_or(row.span, |c| c.span);
        complaints.push(
            Diagnostic::error("after-plan-date", span, format!("the visit of {} is after the plan's date", visit.date))
                .label(format!("the plan is dated {plan_date}"))
                .why("a plan cannot rest on readings that were not yet taken")
                .hint("correct the day, or date the plan later with `plan_date` or `--date`"),
        );
    }
    Some(visit)
}

/// A text on one line, without control characters: it is printed in a table's cell.
fn one_line(text: &str) -> String {
    let visible: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    visible.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn reading<Q: Si>(number: Option<Number>, span: Span) -> Option<Reading<Q>> {
    number.map(|n| Reading { value: Q::from_si(n.si), less_than: n.less_than, span })
}

fn level(
    text: &str,
    name: &str,
    span: Span,
    panel: Option<&Panel>,
    complaints: &mut Diagnostics,
) -> Option<Stated<u32>> {
    let Some(value) = values::whole(text) else {
        complaints.push(
            Diagnostic::error("no-number", span, format!("`{}` is no level", values::clipped(text)))
                .label(format!("the panel's step for `{name}`, a whole number, belongs here"))
                .why("full scale, set, reached and current are four things")
                .hint("write `0` to the panel's highest step; currents and per cent belong in the note"),
        );
        return None;
    };
    if let Some(panel) = panel.filter(|p| value > p.steps) {
        complaints.push(
            Diagnostic::error(
                "level-above-panel",
                span,
                format!("{name} is {value}, and the panel has {} steps", panel.steps),
            )
            .label(format!("at most {} is possible", panel.steps))
            .why("the copper given is reckoned from the step's current")
            .hint("correct the level here, or the steps in `[panel]` of the site file"),
        );
        return None;
    }
    Some(Stated { value, span })
}

fn score(text: &str, span: Span, complaints: &mut Diagnostics) -> Option<Stated<u8>> {
    let value = values::whole(text).and_then(|n| u8::try_from(n).ok()).filter(|n| (1..=5).contains(n));
    if value.is_none() {
        complaints.push(
            Diagnostic::error(
                "impossible-value",
                span,
                format!("the thread score cannot be `{}`", values::clipped(text)),
            )
            .label("a whole number from 1, bare stone, to 5, a blanket, belongs here")
            .why("raised spells are decided by it")
            .hint("write the worst of the three stones; green water and scum belong in the note"),
        );
    }
    value.map(|value| Stated { value, span })
}

fn in_order(visit: &Visit, before: Option<&Visit>, log: &Text, complaints: &mut Diagnostics) {
    let Some(before) = before else { return };
    let span = Span::new(FileId::LOG, visit.span.start, visit.span.end);
    let (now, then) = ((visit.date, visit.time), (before.date, before.time));
    let line = before.line;
    let name = &log.name;
    if now == then {
        complaints.push(
            Diagnostic::error("duplicate-visit", span, format!("the visit of {} is written twice", visit.date))
                .label(format!("{name}, line {line}, has the same day and hour"))
                .why("only one of the two can be meant")
                .hint("delete one, or give each its hour in the column `time`"),
        );
    } else if now.0 < then.0 || (now.0 == then.0 && now.1.zip(then.1).is_some_and(|(n, t)| n < t)) {
        complaints.push(
            Diagnostic::error(
                "date-order",
                span,
                format!("the visit of {} comes after that of {}", visit.date, before.date),
            )
            .label(format!("{name}, line {line}, is later than this row"))
            .why("either a date is wrong or the rows are; rates of change and the latest reading go by them")
            .hint("put the rows in order, the oldest first, or correct the date"),
        );
    }
}
