//! What can be said against templates without filling them in: names, filters, drawings, in every branch, also in those that
//! one plan does not take.
//!
//! Each expression is given a [`Shape`]: what is known of the value behind it. A macro is followed with the shapes of what it
//! is called with. Where nothing is known, nothing is complained about.

use std::collections::{BTreeMap, BTreeSet};

use minijinja::machinery::{ast, parse};

use super::offer::{self, Kind};
use super::template::{PARTS, Prepared, complaint, file_of, pieces, unknown_name};
use super::{drawings, lines};
use crate::diag::{Diagnostic, Diagnostics, Span, listed, nearest};
use crate::site::PhotoPart;

/// Filters of the template language; a test holds the list against it.
#[rustfmt::skip]
pub const FILTERS: [&str; 47] = [
    "abs", "attr", "batch", "bool", "capitalize", "chain", "count", "d", "default", "dictsort", "e", "escape", "first",
    "float", "format", "groupby", "indent", "int", "items", "join", "last", "length", "lines", "list", "lower", "map",
    "max", "min", "pprint", "reject", "rejectattr", "replace", "reverse", "round", "safe", "select", "selectattr",
    "slice", "sort", "split", "string", "sum", "title", "trim", "unique", "upper", "zip",
];
/// Tests of the template language, as in `x is odd`.
#[rustfmt::skip]
pub const TESTS: [&str; 35] = [
    "boolean", "defined", "divisibleby", "endingwith", "eq", "equalto", "escaped", "even", "false", "filter", "float",
    "ge", "greaterthan", "gt", "in", "int", "integer", "iterable", "le", "lessthan", "lower", "lt", "mapping", "ne",
    "none", "number", "odd", "safe", "sameas", "sequence", "startingwith", "string", "test", "true", "undefined",
];
/// Functions that are there without being imported.
const FUNCTIONS: [&str; 4] = ["debug", "dict", "namespace", "range"];
/// What a loop tells of itself.
const LOOP: [&str; 11] =
    ["depth", "depth0", "first", "index", "index0", "last", "length", "nextitem", "previtem", "revindex", "revindex0"];
/// How deep an expression is looked into.
const DEEPEST: usize = 200;

/// What is known of a value.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Shape {
    /// Nothing.
    Unknown,
    /// A value of the view, by its whole name.
    At(String),
    /// The stock solution of a figure.
    Stock,
    /// Words, a number, yes or no.
    Bare,
    /// A list of such values.
    ListOf(Box<Shape>),
    /// One of these.
    OneOf(Vec<Shape>),
    /// The loop over such values.
    Loop(Box<Shape>),
    /// The macros of a template.
    Macros(&'static str),
    /// A macro of a template.
    Macro(&'static str, String),
}

fn one_of(first: Shape, second: Shape) -> Shape {
    if first == second {
        return first;
    }
    let mut all = Vec::new();
    for shape in [first, second] {
        match shape {
            Shape::Unknown => return Shape::Unknown,
            Shape::OneOf(list) => all.extend(list),
            shape => all.push(shape),
        }
    }
    all.sort();
    all.dedup();
    // What is assigned again and again is no longer followed.
    if all.len() > 8 { Shape::Unknown } else { Shape::OneOf(all) }
}

fn kind(shape: &Shape) -> Option<Kind> {
    match shape {
        Shape::At(path) => offer::find(path).map(|name| name.kind),
        Shape::Stock => Some(Kind::Part),
        Shape::Bare => Some(Kind::Text),
        Shape::ListOf(_) => Some(Kind::List),
        _ => None,
    }
}

/// What a `for` takes from it.
fn each(shape: &Shape) -> Shape {
    match shape {
        Shape::At(path) if kind(shape) == Some(Kind::List) => Shape::At(format!("{path}[]")),
        Shape::ListOf(each) => (**each).clone(),
        Shape::OneOf(all) => all.iter().map(each).reduce(one_of).unwrap_or(Shape::Unknown),
        _ => Shape::Unknown,
    }
}

type Frame = BTreeMap<String, Shape>;

struct Checker<'t> {
    prepared: &'t BTreeMap<&'static str, Prepared>,
    /// Macros at the top of each template.
    macros: BTreeMap<(&'static str, &'t str), &'t ast::Macro<'t>>,
    /// Calls that were followed: template, macro, shapes.
    followed: BTreeSet<(&'static str, String, Vec<Shape>)>,
    found: BTreeMap<(Span, &'static str), Diagnostic>,
    /// The template that is looked at.
    part: &'static str,
    depth: usize,
}

/// Everything that can be said against these templates.
pub(super) fn check(prepared: &BTreeMap<&'static str, Prepared>) -> Diagnostics {
    let mut complaints = Diagnostics::new();
    let mut parsed = BTreeMap::new();
    for (part, text) in prepared {
        match parse(&text.text, part, Default::default()) {
            Ok(tree) => {
                parsed.insert(*part, tree);
            }
            Err(error) => {
                let range = error.range().unwrap_or(0..0);
                let written = text.text.get(range.clone()).unwrap_or_default();
                let span = text.span(file_of(part), range);
                complaints.push(complaint(error.kind(), error.detail().unwrap_or_default(), written, span));
            }
        }
        pictures(part, text, &mut complaints);
    }
    for found in names(prepared, &parsed) {
        complaints.push(found);
    }
    complaints
}

fn names(
    prepared: &BTreeMap<&'static str, Prepared>,
    parsed: &BTreeMap<&'static str, ast::Stmt<'_>>,
) -> Vec<Diagnostic> {
    let mut checker = Checker {
        prepared,
        macros: BTreeMap::new(),
        followed: BTreeSet::new(),
        found: BTreeMap::new(),
        part: "",
        depth: 0,
    };
    for (part, tree) in parsed {
        for statement in children(tree) {
            if let ast::Stmt::Macro(found) = statement {
                checker.macros.insert((part, found.name), found);
            }
        }
    }
    for (part, tree) in parsed {
        checker.part = part;
        checker.all(children(tree), &mut vec![Frame::new()]);
    }
    // A macro that nobody calls: of what it is called with nothing is known.
    let macros: Vec<_> = checker.macros.iter().map(|(key, found)| (*key, *found)).collect();
    for ((part, name), found) in macros {
        if !checker.followed.iter().any(|(p, n, _)| *p == part && n == name) {
            checker.follow(part, found, vec![Shape::Unknown; found.args.len()]);
        }
    }
    checker.found.into_values().collect()
}

fn children<'t>(tree: &'t ast::Stmt<'t>) -> &'t [ast::Stmt<'t>] {
    match tree {
        ast::Stmt::Template(template) => &template.children,
        _ => &[],
    }
}

/// The template that a constant names.
fn named<'e>(name: &'e ast::Expr<'_>) -> Option<&'e str> {
    match name {
        ast::Expr::Const(value) => value.value.as_str(),
        _ => None,
    }
}

impl<'t> Checker<'t> {
    fn complain(&mut self, complaint: Diagnostic) {
        if let Some(span) = complaint.span {
            self.found.entry((span, complaint.id)).or_insert(complaint);
        }
    }

    fn span(&self, range: std::ops::Range<usize>) -> Span {
        let file = file_of(self.part);
        self.prepared.get(self.part).map_or(Span::new(file, 0, 0), |text| text.span(file, range))
    }

    fn range(span: minijinja::machinery::Span) -> std::ops::Range<usize> {
        span.start_offset as usize..span.end_offset as usize
    }

    /// What is written in a stretch of the template, on one line.
    fn written(&self, range: std::ops::Range<usize>) -> String {
        let text = self.prepared.get(self.part).and_then(|text| text.text.get(range)).unwrap_or_default();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// The place of a word inside a stretch, else the whole stretch: the last one, as what is asked of comes before it.
    fn word(&self, range: std::ops::Range<usize>, word: &str) -> Span {
        let text = self.prepared.get(self.part).and_then(|text| text.text.get(range.clone())).unwrap_or_default();
        match text.rfind(word) {
            Some(at) => self.span(range.start + at..range.start + at + word.len()),
            None => self.span(range),
        }
    }

    fn all(&mut self, body: &'t [ast::Stmt<'t>], scope: &mut Vec<Frame>) {
        for statement in body {
            self.statement(statement, scope);
        }
    }

    fn within(&mut self, frame: Frame, body: &'t [ast::Stmt<'t>], scope: &mut Vec<Frame>) {
        scope.push(frame);
        self.all(body, scope);
        scope.pop();
    }

    fn statement(&mut self, statement: &'t ast::Stmt<'t>, scope: &mut Vec<Frame>) {
        use ast::Stmt;
        match statement {
            Stmt::Template(template) => self.all(&template.children, scope),
            Stmt::EmitRaw(_) => {}
            Stmt::EmitExpr(emit) => {
                self.shape(&emit.expr, scope);
            }
            Stmt::ForLoop(found) => {
                let list = self.shape(&found.iter, scope);
                let listless =
                    matches!(kind(&list), Some(Kind::Text | Kind::Number | Kind::Flag | Kind::Mark | Kind::Figure));
                if listless && list != Shape::Bare {
                    let range = Self::range(found.iter.span());
                    let complaint = Diagnostic::error(
                        "no-list",
                        self.span(range.clone()),
                        format!("`{}` is no list", self.written(range)),
                    )
                    .label("`for` takes the values of a list one by one")
                    .why("there is nothing to take from this value")
                    .hint("print it with `{{ }}`, or ask for it with `{% if %}`");
                    self.complain(complaint);
                }
                let each = each(&list);
                let mut frame = Frame::new();
                frame.insert("loop".into(), Shape::Loop(Box::new(each.clone())));
                assign(&found.target, each, &mut frame);
                scope.push(frame);
                if let Some(filter) = &found.filter_expr {
                    self.shape(filter, scope);
                }
                self.all(&found.body, scope);
                scope.pop();
                self.within(Frame::new(), &found.else_body, scope);
            }
            Stmt::IfCond(found) => {
                self.shape(&found.expr, scope);
                self.all(&found.true_body, scope);
                self.all(&found.false_body, scope);
            }
            Stmt::WithBlock(found) => {
                let mut frame = Frame::new();
                for (target, value) in &found.assignments {
                    let shape = self.shape(value, scope);
                    assign(target, shape, &mut frame);
                }
                self.within(frame, &found.body, scope);
            }
            Stmt::Set(found) => {
                let shape = self.shape(&found.expr, scope);
                if let Some(frame) = scope.last_mut() {
                    assign(&found.target, shape, frame);
                }
            }
            Stmt::SetBlock(found) => {
                if let Some(filter) = &found.filter {
                    self.shape(filter, scope);
                }
                self.within(Frame::new(), &found.body, scope);
                if let Some(frame) = scope.last_mut() {
                    assign(&found.target, Shape::Unknown, frame);
                }
            }
            Stmt::AutoEscape(found) => self.all(&found.body, scope),
            Stmt::FilterBlock(found) => {
                self.shape(&found.filter, scope);
                self.within(Frame::new(), &found.body, scope);
            }
            Stmt::Block(found) => self.within(Frame::new(), &found.body, scope),
            Stmt::Import(found) => {
                let shape = self.template(&found.expr, scope).map_or(Shape::Unknown, Shape::Macros);
                if let Some(frame) = scope.last_mut() {
                    assign(&found.name, shape, frame);
                }
            }
            Stmt::FromImport(found) => {
                let template = self.template(&found.expr, scope);
                for (name, alias) in &found.names {
                    let ast::Expr::Var(wanted) = name else { continue };
                    let shape = template.map_or(Shape::Unknown, |template| {
                        self.part_of(&Shape::Macros(template), wanted.id, Self::range(name.span()))
                    });
                    if let Some(frame) = scope.last_mut() {
                        assign(alias.as_ref().unwrap_or(name), shape, frame);
                    }
                }
            }
            Stmt::Extends(found) => {
                self.template(&found.name, scope);
            }
            Stmt::Include(found) => {
                self.template(&found.name, scope);
            }
            Stmt::Macro(found) => {
                if let Some(frame) = scope.last_mut() {
                    frame.insert(found.name.to_owned(), Shape::Macro(self.part, found.name.to_owned()));
                }
            }
            Stmt::CallBlock(found) => {
                self.call(&found.call, Self::range(found.call_expr_span), scope);
                let frame = parameters(&found.macro_decl, &[]);
                self.within(frame, &found.macro_decl.body, scope);
            }
            Stmt::Do(found) => {
                self.call(&found.call, Self::range(found.call.span()), scope);
            }
        }
    }

    /// The template of that name, if it is known before the template is filled in.
    fn template(&mut self, name: &'t ast::Expr<'t>, scope: &mut Vec<Frame>) -> Option<&'static str> {
        let Some(written) = named(name) else {
            self.shape(name, scope);
            return None;
        };
        let known = PARTS.iter().find(|part| **part == written).copied();
        if known.is_none() {
            let hint = match nearest(written.trim_end_matches(".md"), PARTS) {
                Some(near) => format!("write `\"{near}\"` if that is meant"),
                None => format!("possible are {}", listed(PARTS)),
            };
            let complaint = Diagnostic::error(
                "unknown-template",
                self.span(Self::range(name.span())),
                format!("there is no template `{written}`"),
            )
            .label("this name is not known")
            .why("a folder of templates holds four files, and no others are read")
            .hint(hint);
            self.complain(complaint);
        }
        known
    }

    /// Looks into a macro with what it is called with.
    fn follow(&mut self, part: &'static str, found: &'t ast::Macro<'t>, shapes: Vec<Shape>) {
        if !self.followed.insert((part, found.name.to_owned(), shapes.clone())) {
            return;
        }
        let before = std::mem::replace(&mut self.part, part);
        let mut globals = Frame::new();
        for (p, name) in self.macros.keys() {
            if *p == part {
                globals.insert((*name).to_owned(), Shape::Macro(part, (*name).to_owned()));
            }
        }
        let mut scope = vec![globals, parameters(found, &shapes)];
        self.all(&found.body, &mut scope);
        self.part = before;
    }

    /// A part of a value.
    fn part_of(&mut self, shape: &Shape, name: &str, range: std::ops::Range<usize>) -> Shape {
        let whole = self.written(range.clone());
        let refuse = |checker: &mut Self, message: String, label: &str, hint: String| {
            let complaint = Diagnostic::error("unknown-name", checker.word(range.clone(), name), message)
                .label(label)
                .why("nothing can be printed in its place")
                .hint(hint);
            checker.complain(complaint);
            Shape::Unknown
        };
        let near = |names: &[&'static str]| match nearest(name, names.iter().copied()) {
            Some(near) => format!("write `{near}` if that is meant"),
            None => format!("possible are {}", listed(names.iter().copied())),
        };
        match shape {
            Shape::Unknown => Shape::Unknown,
            Shape::At(path) => match kind(shape) {
                Some(Kind::Part) => {
                    let wanted = format!("{path}.{name}");
                    if offer::find(&wanted).is_some() {
                        return Shape::At(wanted);
                    }
                    let complaint = unknown_name(&whole, path, name, self.word(range, name), &[]);
                    self.complain(complaint);
                    Shape::Unknown
                }
                Some(Kind::Figure) => match offer::FIGURE.iter().find(|(known, ..)| *known == name) {
                    Some(("stock", ..)) => Shape::Stock,
                    Some(_) => Shape::Bare,
                    None => {
                        let names: Vec<&str> = offer::FIGURE.iter().map(|(known, ..)| *known).collect();
                        refuse(self, format!("a figure has no part `{name}`"), "this name is not known", near(&names))
                    }
                },
                Some(Kind::List) => refuse(
                    self,
                    format!("`{path}` is a list, and has no part `{name}`"),
                    "a list has no parts of its own",
                    format!("take its values one by one: `{{% for x in {path} %}}{{{{ x.{name} }}}}{{% endfor %}}`"),
                ),
                _ => {
                    let of = whole.rsplit_once(['.', '[']).map_or(path.as_str(), |(of, _)| of);
                    refuse(
                        self,
                        format!("`{of}` has no parts, and no `{name}`"),
                        "this value has no parts",
                        format!("write `{of}`; a filter stands after a bar, as in `{{{{ {of} | upper }}}}`"),
                    )
                }
            },
            Shape::Stock => match offer::STOCK.iter().find(|(known, _)| *known == name) {
                Some(_) => Shape::Bare,
                None => {
                    let names: Vec<&str> = offer::STOCK.iter().map(|(known, _)| *known).collect();
                    refuse(
                        self,
                        format!("a stock solution has no part `{name}`"),
                        "this name is not known",
                        near(&names),
                    )
                }
            },
            Shape::OneOf(all) => {
                let having: Vec<&Shape> = all.iter().filter(|shape| has(shape, name)).collect();
                match having.split_first() {
                    Some((first, rest)) => {
                        let first = self.part_of(first, name, range.clone());
                        rest.iter().fold(first, |so_far, shape| {
                            let next = self.part_of(shape, name, range.clone());
                            one_of(so_far, next)
                        })
                    }
                    None => all.first().map_or(Shape::Unknown, |first| self.part_of(first, name, range)),
                }
            }
            Shape::Loop(each) => match name {
                "previtem" | "nextitem" => (**each).clone(),
                _ if LOOP.contains(&name) => Shape::Bare,
                _ => refuse(self, format!("a loop has no part `{name}`"), "this name is not known", near(&LOOP)),
            },
            Shape::Macros(part) => {
                if self.macros.contains_key(&(*part, name)) {
                    return Shape::Macro(part, name.to_owned());
                }
                let names: Vec<&str> = self.macros.keys().filter(|(p, _)| p == part).map(|(_, name)| *name).collect();
                let hint = match nearest(name, names.iter().copied()) {
                    Some(near) => format!("write `{near}` if that is meant"),
                    None if names.is_empty() => {
                        format!("define it in {part}.md: `{{% macro {name}() %}} ... {{% endmacro %}}`")
                    }
                    None => format!("possible are {}", listed(names)),
                };
                refuse(self, format!("{part}.md has no macro `{name}`"), "this macro is not known", hint)
            }
            Shape::Bare | Shape::ListOf(_) | Shape::Macro(..) => Shape::Unknown,
        }
    }

    fn variable(&mut self, name: &str, range: std::ops::Range<usize>, scope: &[Frame]) -> Shape {
        if let Some(shape) = scope.iter().rev().find_map(|frame| frame.get(name)) {
            return shape.clone();
        }
        if offer::find(name).is_some() {
            return Shape::At(name.to_owned());
        }
        if FUNCTIONS.contains(&name) || matches!(name, "loop" | "self" | "super" | "caller") {
            return Shape::Unknown;
        }
        let also: Vec<&str> = scope.iter().flat_map(|frame| frame.keys().map(String::as_str)).collect();
        let complaint = unknown_name(name, "", name, self.span(range), &also);
        self.complain(complaint);
        Shape::Unknown
    }

    fn shape(&mut self, expression: &'t ast::Expr<'t>, scope: &mut Vec<Frame>) -> Shape {
        if self.depth >= DEEPEST {
            return Shape::Unknown;
        }
        self.depth += 1;
        let shape = self.looked_at(expression, scope);
        self.depth -= 1;
        shape
    }

    fn looked_at(&mut self, expression: &'t ast::Expr<'t>, scope: &mut Vec<Frame>) -> Shape {
        use ast::Expr;
        let range = Self::range(expression.span());
        match expression {
            Expr::Var(name) => self.variable(name.id, range, scope),
            Expr::Const(value) => {
                if value.value.is_true() && value.value.try_iter().is_ok() {
                    Shape::Unknown
                } else {
                    Shape::Bare
                }
            }
            Expr::Slice(slice) => {
                for bound in [&slice.start, &slice.stop, &slice.step].into_iter().flatten() {
                    self.shape(bound, scope);
                }
                self.shape(&slice.expr, scope)
            }
            Expr::UnaryOp(found) => {
                self.shape(&found.expr, scope);
                Shape::Bare
            }
            Expr::BinOp(found) => {
                let (left, right) = (self.shape(&found.left, scope), self.shape(&found.right, scope));
                match found.op {
                    ast::BinOpKind::ScAnd | ast::BinOpKind::ScOr => one_of(left, right),
                    ast::BinOpKind::Add | ast::BinOpKind::Mul => Shape::Unknown,
                    _ => Shape::Bare,
                }
            }
            Expr::Compare(found) => {
                self.shape(&found.expr, scope);
                for op in &found.ops {
                    self.shape(&op.expr, scope);
                }
                Shape::Bare
            }
            Expr::IfExpr(found) => {
                self.shape(&found.test_expr, scope);
                let first = self.shape(&found.true_expr, scope);
                match &found.false_expr {
                    Some(second) => {
                        let second = self.shape(second, scope);
                        one_of(first, second)
                    }
                    None => first,
                }
            }
            Expr::Filter(found) => {
                self.arguments(&found.args, scope);
                if !FILTERS.contains(&found.name) {
                    let complaint = self.unknown_word("filter", found.name, &FILTERS, range);
                    self.complain(complaint);
                }
                let asked = matches!(found.name, "default" | "d");
                let of = match &found.expr {
                    // `x | default("")` may ask for what is not there.
                    Some(ast::Expr::Var(_)) if asked => Shape::Unknown,
                    Some(of) => self.shape(of, scope),
                    None => Shape::Unknown,
                };
                match found.name {
                    "first" | "last" | "min" | "max" => each(&of),
                    "sort" | "reverse" | "list" | "unique" | "select" | "reject" | "selectattr" | "rejectattr" => of,
                    "upper" | "lower" | "title" | "capitalize" | "trim" | "replace" | "string" | "join" | "length" => {
                        Shape::Bare
                    }
                    _ => Shape::Unknown,
                }
            }
            Expr::Test(found) => {
                self.arguments(&found.args, scope);
                if !TESTS.contains(&found.name) {
                    let complaint = self.unknown_word("test", found.name, &TESTS, range);
                    self.complain(complaint);
                }
                if !(matches!(found.name, "defined" | "undefined") && matches!(found.expr, Expr::Var(_))) {
                    self.shape(&found.expr, scope);
                }
                Shape::Bare
            }
            Expr::GetAttr(found) => {
                let of = self.shape(&found.expr, scope);
                self.part_of(&of, found.name, range)
            }
            Expr::GetItem(found) => {
                let of = self.shape(&found.expr, scope);
                match &found.subscript_expr {
                    Expr::Const(value) if value.value.as_str().is_some() => {
                        self.part_of(&of, value.value.as_str().unwrap_or_default(), range)
                    }
                    subscript => {
                        self.shape(subscript, scope);
                        each(&of)
                    }
                }
            }
            Expr::Call(found) => self.call(found, range, scope),
            Expr::List(found) => self.list(&found.items, scope),
            Expr::Tuple(found) => self.list(&found.items, scope),
            Expr::Map(found) => {
                for value in found.keys.iter().chain(&found.values) {
                    self.shape(value, scope);
                }
                Shape::Unknown
            }
        }
    }

    fn list(&mut self, items: &'t [ast::Expr<'t>], scope: &mut Vec<Frame>) -> Shape {
        let shapes: Vec<Shape> = items.iter().map(|item| self.shape(item, scope)).collect();
        Shape::ListOf(Box::new(shapes.into_iter().reduce(one_of).unwrap_or(Shape::Unknown)))
    }

    fn arguments(&mut self, arguments: &'t [ast::CallArg<'t>], scope: &mut Vec<Frame>) -> Vec<Option<Shape>> {
        arguments
            .iter()
            .map(|argument| match argument {
                ast::CallArg::Pos(value) => Some(self.shape(value, scope)),
                ast::CallArg::Kwarg(_, value) | ast::CallArg::PosSplat(value) | ast::CallArg::KwargSplat(value) => {
                    self.shape(value, scope);
                    None
                }
            })
            .collect()
    }

    fn call(&mut self, found: &'t ast::Call<'t>, range: std::ops::Range<usize>, scope: &mut Vec<Frame>) -> Shape {
        let given = self.arguments(&found.args, scope);
        let callee = match &found.expr {
            ast::Expr::GetAttr(method) => {
                let of = self.shape(&method.expr, scope);
                match (&of, method.name) {
                    // Without values to take turns with, it would divide by their number.
                    (_, "cycle") if given.is_empty() || given.iter().any(Option::is_none) => {
                        let complaint = Diagnostic::error(
                            "few-values",
                            self.span(range),
                            "`cycle` needs values to take turns with",
                        )
                        .label("no value is written between the brackets")
                        .why("each round of the loop takes the next of them")
                        .hint("write `loop.cycle(\"one\", \"other\")`");
                        self.complain(complaint);
                        return Shape::Bare;
                    }
                    (Shape::Loop(_), "cycle" | "changed") => return Shape::Bare,
                    (Shape::At(_) | Shape::Stock | Shape::Bare | Shape::ListOf(_), name) => {
                        let hint = match nearest(name, FILTERS) {
                            Some(near) => format!("a filter does this: write `| {near}` after the value"),
                            None => "filters do this, such as `| upper`".to_owned(),
                        };
                        let complaint = Diagnostic::error(
                            "no-method",
                            self.word(range, name),
                            format!("values have no `{name}()`"),
                        )
                        .label("a value cannot be called")
                        .why("nothing can be printed in its place")
                        .hint(hint);
                        self.complain(complaint);
                        return Shape::Unknown;
                    }
                    _ => self.part_of(&of, method.name, Self::range(found.expr.span())),
                }
            }
            callee => self.shape(callee, scope),
        };
        let Shape::Macro(part, name) = callee else { return Shape::Unknown };
        let Some(called) = self.macros.iter().find(|((p, n), _)| *p == part && **n == *name).map(|(_, called)| *called)
        else {
            return Shape::Unknown;
        };
        let plain = given.iter().all(Option::is_some);
        let (most, least) = (called.args.len(), called.args.len() - called.defaults.len().min(called.args.len()));
        if plain && !(least..=most).contains(&given.len()) {
            let names: Vec<String> = called
                .args
                .iter()
                .filter_map(|a| if let ast::Expr::Var(a) = a { Some(a.id.to_owned()) } else { None })
                .collect();
            let complaint = Diagnostic::error(
                "few-values",
                self.span(range),
                format!("`{name}` takes {most} values, and is given {}", given.len()),
            )
            .label("too few or too many values stand between these brackets")
            .why("what is not handed over is not there inside")
            .hint(format!("write `{name}({})`", names.join(", ")));
            self.complain(complaint);
        }
        let shapes = given.into_iter().map(|shape| shape.unwrap_or(Shape::Unknown)).collect();
        let shapes = if plain { shapes } else { vec![Shape::Unknown; most] };
        self.follow(part, called, shapes);
        Shape::Unknown
    }

    fn unknown_word(&self, what: &str, name: &str, known: &[&str], range: std::ops::Range<usize>) -> Diagnostic {
        let hint = match nearest(name, known.iter().copied()) {
            Some(near) => format!("write `{near}` if that is meant"),
            None if what == "filter" => "useful are `capitalize`, `lower`, `upper`, `title`, `join`, `first`, `last`, `length`, `replace`, `round` and `default`".to_owned(),
            None => format!("possible are {}", listed(known.iter().copied())),
        };
        Diagnostic::error(
            if what == "filter" { "unknown-filter" } else { "unknown-test" },
            self.word(range, name),
            format!("there is no {what} `{name}`"),
        )
        .label(format!("this {what} is not known"))
        .why("the value before it cannot be printed")
        .hint(hint)
    }
}

/// Whether a value has such a part.
fn has(shape: &Shape, name: &str) -> bool {
    match shape {
        Shape::At(path) => match kind(shape) {
            Some(Kind::Part) => offer::find(&format!("{path}.{name}")).is_some(),
            Some(Kind::Figure) => offer::FIGURE.iter().any(|(known, ..)| *known == name),
            _ => false,
        },
        Shape::Stock => offer::STOCK.iter().any(|(known, _)| *known == name),
        Shape::OneOf(all) => all.iter().any(|shape| has(shape, name)),
        Shape::Unknown | Shape::Loop(_) | Shape::Macros(_) => true,
        Shape::Bare | Shape::ListOf(_) | Shape::Macro(..) => false,
    }
}

/// Names a value; what is named twice may be either.
fn assign(target: &ast::Expr<'_>, shape: Shape, frame: &mut Frame) {
    match target {
        ast::Expr::Var(name) => {
            let shape = match frame.remove(name.id) {
                Some(before) => one_of(before, shape),
                None => shape,
            };
            frame.insert(name.id.to_owned(), shape);
        }
        ast::Expr::List(names) => names.items.iter().for_each(|name| assign(name, Shape::Unknown, frame)),
        ast::Expr::Tuple(names) => names.items.iter().for_each(|name| assign(name, Shape::Unknown, frame)),
        _ => {}
    }
}

/// The frame of a macro: its parameters, by what they are called with.
fn parameters(called: &ast::Macro<'_>, shapes: &[Shape]) -> Frame {
    let mut frame = Frame::new();
    for (index, parameter) in called.args.iter().enumerate() {
        assign(parameter, shapes.get(index).cloned().unwrap_or(Shape::Unknown), &mut frame);
    }
    frame
}

/// Drawings and groups of workings that the words of a template name.
fn pictures(part: &str, prepared: &Prepared, complaints: &mut Diagnostics) {
    for (tag, at, words) in pieces(&prepared.text) {
        if tag {
            continue;
        }
        for (found, _) in words.match_indices("](") {
            let address = words.get(found + 2..).unwrap_or_default();
            let (name, whole) = match address.find([')', '\n', ' ']) {
                Some(end) => (address.get(..end).unwrap_or_default(), true),
                None => (address, false),
            };
            if let Some(complaint) = unknown_picture(name, whole) {
                let start = at + found + 2;
                let span = prepared.span(file_of(part), start..start + name.len());
                complaints.push(Diagnostic { span: Some(span), ..complaint });
            }
        }
    }
}

/// The complaint about an address of a drawing that is not known; `whole` says whether the address ends there.
pub(super) fn unknown_picture(address: &str, whole: bool) -> Option<Diagnostic> {
    let complaint = |what: &str, name: &str, known: Vec<&str>| {
        let hint = match nearest(name, known.iter().copied()) {
            Some(near) => format!("write `{near}` if that is meant"),
            None => format!("possible are {}", listed(known)),
        };
        Diagnostic::error("unknown-drawing", None, format!("there is no {what} `{name}`"))
            .label("this name is not known")
            .why("its place on the page would stay empty")
            .hint(hint)
    };
    if let Some(name) = address.strip_prefix("drawing:") {
        let known: Vec<&str> = drawings::DRAWINGS.iter().map(|(name, _)| *name).collect();
        let fits = known.iter().any(|k| match k.split_once("KEY") {
            Some((head, _)) => name.starts_with(head),
            None if whole => *k == name,
            None => k.starts_with(name),
        });
        return (!fits).then(|| complaint("drawing", name, known));
    }
    if let Some(name) = address.strip_prefix("photos:") {
        let known: Vec<&str> = PhotoPart::ALL.iter().map(|(word, _)| *word).collect();
        let fits = known.iter().any(|k| if whole { *k == name } else { k.starts_with(name) });
        return (!fits).then(|| complaint("part with photographs", name, known));
    }
    if let Some(name) = address.strip_prefix("workings:") {
        let known: Vec<&str> = lines::GROUPS.iter().map(|(key, _)| *key).collect();
        let fits = known.iter().any(|k| if whole { *k == name } else { k.starts_with(name) });
        return (!fits).then(|| complaint("group of workings", name, known));
    }
    None
}
