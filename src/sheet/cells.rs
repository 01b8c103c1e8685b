//! Which cell holds what: every leaf once, every line, every rounded and every solved value, each with a name.

use std::collections::BTreeMap;
use std::rc::Rc;

use super::names::Names;
use super::restated::{self, Restated};
use super::text::{self, Cells};
use super::units::Units;
use crate::units::Unit;
use crate::workings::{Book, Expr, Line, Node, Rounding, Source};

/// Where a group of inputs comes from, in the order they stand in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Group {
    Site,
    Log,
    Published,
    Counted,
    Carried,
}

impl Group {
    pub(super) const ALL: [Group; 5] = [Group::Site, Group::Log, Group::Published, Group::Counted, Group::Carried];

    pub(super) fn words(self) -> &'static str {
        match self {
            Group::Site => "From the site file",
            Group::Log => "From the log",
            Group::Published => "Published values, limits and rules of the trade",
            Group::Counted => "Counted by the plan: days, doses and plain numbers",
            Group::Carried => {
                "Found by the program day by day or year by year, and carried here as numbers: they do not follow a change above"
            }
        }
    }

    fn of(source: &Source) -> Group {
        match source {
            Source::Cited(_) => Group::Published,
            Source::Counted => Group::Counted,
            Source::Stated(place) if place.starts_with("site file") => Group::Site,
            Source::Stated(place) if place.starts_with("log") || place.starts_with("the weather") => Group::Log,
            Source::Stated(place) if place.starts_with("common practice") => Group::Published,
            Source::Stated(_) => Group::Carried,
        }
    }
}

/// One leaf, or several that are one reading.
#[derive(Debug)]
pub(super) struct Input {
    /// Its cell.
    pub(super) name: String,
    /// What the lines call it: one symbol, or several where one reading serves several formulas.
    pub(super) symbols: Vec<String>,
    pub(super) title: String,
    pub(super) unit: &'static Unit,
    pub(super) si: f64,
    pub(super) origin: String,
    pub(super) standing: &'static str,
    pub(super) full: &'static str,
    pub(super) group: Group,
}

/// A rounding that is part of a line.
#[derive(Debug)]
pub(super) struct Rounded {
    pub(super) name: String,
    pub(super) line: u32,
    pub(super) id: String,
    /// The exact value, as a formula.
    pub(super) exact: String,
    pub(super) exact_si: f64,
    pub(super) rounding: Rounding,
    pub(super) si: f64,
}

/// A line as a formula.
#[derive(Debug)]
pub(super) struct Row<'b> {
    pub(super) line: &'b Line,
    pub(super) name: String,
    pub(super) formula: String,
    pub(super) made: Made,
}

/// How a line's value comes to stand in its cell.
#[derive(Debug, PartialEq)]
pub(super) enum Made {
    /// By arithmetic on other cells.
    Live,
    /// A leaf under a name of its own.
    Input,
    /// Found outside; the index of its row among the solved.
    Solved(usize),
}

/// A value that was found outside the tree.
#[derive(Debug)]
pub(super) struct Solved<'b> {
    pub(super) name: String,
    pub(super) line: Option<&'b Line>,
    pub(super) node: Rc<Node>,
    /// What went in, by name.
    pub(super) inputs: Vec<String>,
    pub(super) restated: Option<Restated>,
    /// What is left of the equation, live, where it is written out at the result.
    pub(super) left: Option<(String, f64)>,
}

/// How a solved value stands in the workbook.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stands {
    /// By its equation, written out once more.
    Restated,
    /// As a number, with what is left of its equation live.
    Closed,
    /// As a number.
    Left,
}

impl Solved<'_> {
    pub(super) fn stands(&self) -> Stands {
        match (&self.restated, &self.left) {
            (Some(_), _) => Stands::Restated,
            (None, Some(_)) => Stands::Closed,
            (None, None) => Stands::Left,
        }
    }
}

/// All cells of a book.
#[derive(Debug, Default)]
pub(super) struct Plan<'b> {
    pub(super) units: Units,
    pub(super) inputs: Vec<Input>,
    pub(super) roundings: Vec<Rounded>,
    pub(super) solved: Vec<Solved<'b>>,
    pub(super) rows: Vec<Row<'b>>,
    /// All names that are given, for more.
    pub(super) names: Names,
}

/// What makes two leaves one: what they are, their value, its unit and where it comes from.
type Key = (String, u64, u64, u64, String);

/// The leaves of a book, gathered.
struct Leaves<'b> {
    book: &'b Book,
    found: Vec<Input>,
    /// The rows of each key, with the symbol the figure itself has.
    rows: BTreeMap<Key, Vec<(String, usize)>>,
    /// By place in memory.
    at: BTreeMap<usize, usize>,
}

fn place(node: &Rc<Node>) -> usize {
    Rc::as_ptr(node).addr()
}

/// A reading is called otherwise where it is corrected, followed or held against a limit; it is one reading.
fn reading(title: &str) -> String {
    let mut title = title.to_lowercase();
    for idle in
        [", as read", " as read", " of the pond", "resting ", ", total", "total ", " as last weighed", " together"]
    {
        title = title.replace(idle, "");
    }
    title
}

/// Letters before the first subscript or bracket.
fn head(symbol: &str) -> &str {
    symbol.split(['_', '(']).next().unwrap_or(symbol)
}

fn is_log(source: &Source) -> bool {
    matches!(source, Source::Stated(place) if place.starts_with("log line"))
}

/// Whether two symbols of one key are one quantity: a line of the log holds one reading of a kind, a list in the site file
/// several.
fn is_same(source: &Source, group: Group, a: &str, b: &str) -> bool {
    a == b
        || match group {
            Group::Log => is_log(source),
            Group::Site | Group::Published => head(a) != head(b),
            Group::Counted | Group::Carried => false,
        }
}

impl<'b> Leaves<'b> {
    fn gather(book: &'b Book) -> Leaves<'b> {
        let mut leaves = Leaves { book, found: Vec::new(), rows: BTreeMap::new(), at: BTreeMap::new() };
        for line in book.lines() {
            leaves.walk(&line.node);
        }
        leaves
    }

    fn walk(&mut self, node: &Rc<Node>) {
        if let Expr::Solved { closing: Some(closing), .. } = &node.expr {
            self.walk(&closing.left);
        }
        for inner in node.operands() {
            if inner.name.is_some() {
                continue;
            }
            match &inner.expr {
                Expr::Leaf { .. } => self.leaf(inner),
                _ => self.walk(inner),
            }
        }
    }

    fn leaf(&mut self, node: &Rc<Node>) {
        let Expr::Leaf { symbol, title, unit, source } = &node.expr else { return };
        if self.at.contains_key(&place(node)) || is_plain(node) {
            return;
        }
        let group = Group::of(source);
        let origin = match source {
            Source::Stated(place) => place.clone(),
            Source::Cited(citation) => format!("{} ({})", citation.short, citation.id),
            Source::Counted => "counted by the plan".to_owned(),
        };
        let key = (
            if is_log(source) { reading(title) } else { title.clone() },
            node.si.to_bits(),
            unit.size.to_bits(),
            unit.zero.to_bits(),
            origin.clone(),
        );
        let shown = self.book.symbol(node).to_owned();
        let rows = self.rows.entry(key).or_default();
        if let Some((_, row)) = rows.iter().find(|(own, _)| is_same(source, group, own, symbol)) {
            self.at.insert(place(node), *row);
            if let Some(input) = self.found.get_mut(*row)
                && !input.symbols.contains(&shown)
            {
                input.symbols.push(shown);
            }
            return;
        }
        let row = self.found.len();
        rows.push((symbol.clone(), row));
        self.at.insert(place(node), row);
        let (standing, full) = match source {
            Source::Stated(_) if group == Group::Carried => ("not recomputed here", ""),
            Source::Stated(_) => ("as written there", ""),
            Source::Cited(citation) => (citation.status.words(), citation.full),
            Source::Counted => ("counted", ""),
        };
        self.found.push(Input {
            name: String::new(),
            symbols: vec![shown],
            title: title.clone(),
            unit: self.book.spoken().unit(unit),
            si: node.si,
            origin,
            standing,
            full,
            group,
        });
    }
}

/// A pure number of one word, such as two or a half, is written out where it is used.
fn is_plain(node: &Node) -> bool {
    matches!(&node.expr, Expr::Leaf { symbol, title, unit, source: Source::Counted }
        if unit.symbol.is_empty() && !title.contains(' ') && symbol.starts_with(|c: char| c.is_ascii_digit() || c == '½'))
}

/// Names by place in memory, and what is met on the way.
struct Writer<'w> {
    leaves: &'w BTreeMap<usize, usize>,
    inputs: &'w [Input],
    lines: &'w BTreeMap<&'w str, String>,
    names: &'w mut Names,
    /// The line that is written.
    number: u32,
    id: String,
    roundings: Vec<Rounded>,
    solved: Vec<(String, Rc<Node>)>,
    held: BTreeMap<usize, String>,
}

impl Cells for Writer<'_> {
    fn name(&mut self, node: &Rc<Node>) -> Option<String> {
        if let Some(name) = &node.name {
            return self.lines.get(name.id.as_str()).cloned();
        }
        self.own(node)
    }
}

impl Writer<'_> {
    /// The cell of a leaf, a rounding or a solution, whatever name it goes by.
    fn own(&mut self, node: &Rc<Node>) -> Option<String> {
        match &node.expr {
            Expr::Leaf { .. } => {
                self.leaves.get(&place(node)).and_then(|row| self.inputs.get(*row)).map(|input| input.name.clone())
            }
            Expr::Round(inner, rounding) => {
                if let Some(name) = self.held.get(&place(node)) {
                    return Some(name.clone());
                }
                let exact = text::operand(inner, self);
                let name = self.names.give("", &format!("{}_rounded", self.id));
                self.held.insert(place(node), name.clone());
                self.roundings.push(Rounded {
                    name: name.clone(),
                    line: self.number,
                    id: self.id.clone(),
                    exact,
                    exact_si: inner.si,
                    rounding: *rounding,
                    si: node.si,
                });
                Some(name)
            }
            Expr::Solved { .. } => {
                if let Some(name) = self.held.get(&place(node)) {
                    return Some(name.clone());
                }
                let name = self.names.give("", &format!("{}_found", self.id));
                self.held.insert(place(node), name.clone());
                self.solved.push((name.clone(), Rc::clone(node)));
                Some(name)
            }
            _ => None,
        }
    }
}

impl<'b> Plan<'b> {
    /// The cells of a book.
    pub(super) fn of(book: &'b Book) -> Plan<'b> {
        let mut names = Names::default();
        let mut units = Units::default();
        let Leaves { found, at, .. } = Leaves::gather(book);
        let lines = book.lines();
        let line_names: BTreeMap<&str, String> =
            lines.iter().map(|line| (line.id.as_str(), names.give("", &line.id))).collect();
        // By where they come from, and inside that in the order of use.
        let mut order: Vec<usize> = (0..found.len()).collect();
        order.sort_by_key(|at| found.get(*at).map(|input| input.group));
        let mut moved = vec![0; found.len()];
        for (new, old) in order.iter().enumerate() {
            if let Some(slot) = moved.get_mut(*old) {
                *slot = new;
            }
        }
        let mut inputs: Vec<Input> = found;
        inputs.sort_by_key(|input| input.group);
        for input in &mut inputs {
            let symbol = input.symbols.first().map(String::as_str).unwrap_or_default();
            let number = symbol.starts_with(|c: char| c.is_ascii_digit() || c == '½');
            input.name = names.give("in_", if number { &input.title } else { symbol });
            units.row(input.unit, &mut names);
        }
        let leaves: BTreeMap<usize, usize> =
            at.into_iter().map(|(place, row)| (place, moved.get(row).copied().unwrap_or(row))).collect();
        let mut writer = Writer {
            leaves: &leaves,
            inputs: &inputs,
            lines: &line_names,
            names: &mut names,
            number: 0,
            id: String::new(),
            roundings: Vec::new(),
            solved: Vec::new(),
            held: BTreeMap::new(),
        };
        let mut rows = Vec::new();
        let mut solved = Vec::new();
        for line in lines {
            writer.number = line.number;
            writer.id.clone_from(&line.id);
            let name = line_names.get(line.id.as_str()).cloned().unwrap_or_default();
            let formula = match &line.node.expr {
                Expr::Round(..) | Expr::Solved { .. } => writer.own(&line.node).unwrap_or_default(),
                _ => text::formula(&line.node, &mut writer),
            };
            let mut made = match &line.node.expr {
                Expr::Same(inner) if inner.name.is_none() && matches!(inner.expr, Expr::Leaf { .. }) => Made::Input,
                _ => Made::Live,
            };
            for (name, node) in std::mem::take(&mut writer.solved) {
                let own = Rc::ptr_eq(&node, &line.node);
                if own {
                    made = Made::Solved(solved.len());
                }
                let Expr::Solved { equation, inputs, closing, .. } = &node.expr else { continue };
                let called: Vec<String> = inputs.iter().map(|input| text::operand(input, &mut writer)).collect();
                let id = writer.id.clone();
                let give = &mut |key: &str| writer.names.give("", &format!("{id}_{key}"));
                let restated = restated::restate(equation, inputs, &called, node.si, give);
                let left = closing.as_ref().map(|closing| {
                    // In its own equation the value is the cell that holds it.
                    writer.held.insert(place(&closing.value), name.clone());
                    (text::operand(&closing.left, &mut writer), closing.left.si)
                });
                let line = own.then_some(line);
                solved.push(Solved { name, line, node: Rc::clone(&node), inputs: called, restated, left });
            }
            rows.push(Row { line, name, formula, made });
        }
        let roundings = writer.roundings;
        for line in lines {
            units.row(line.unit, &mut names);
        }
        for rounded in &roundings {
            units.row(rounded.rounding.unit, &mut names);
        }
        Plan { units, inputs, roundings, solved, rows, names }
    }
}
