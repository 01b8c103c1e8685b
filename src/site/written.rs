//! The site file as written: TOML with the place of every key and value, nothing judged but its grammar.
//!
//! A [`Table`] hands out one key at a time and remembers which were asked for; [`Table::finish`] complains about the rest.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fields::{Bounds, listed, nearest, vague};
use super::model::Stated;
use super::values::{self, Number, Place};
use crate::diag::{Diagnostic, Diagnostics, FileId, Span};
use crate::units::{Kind, Readable};

/// All complaints of the site file, and the lines on which its grammar failed: a second complaint there would only be an
/// echo of the first.
pub(super) struct Complaints<'d> {
    pub(super) list: &'d mut Diagnostics,
    source: &'d str,
    broken: BTreeSet<usize>,
}

impl<'d> Complaints<'d> {
    pub(super) fn push(&mut self, complaint: Diagnostic) {
        let echo = complaint.span.is_some_and(|s| self.broken.contains(&self.line_start(s.start)));
        if !echo {
            self.list.push(complaint);
        }
    }

    /// Complains that something is not there, unless the file's grammar failed: then it may well be there.
    pub(super) fn missing(&mut self, complaint: Diagnostic) {
        if self.broken.is_empty() {
            self.list.push(complaint);
        }
    }

    /// Runs a check that fills a plain list, and sifts what it says.
    pub(super) fn through<T>(&mut self, check: impl FnOnce(&mut Diagnostics) -> T) -> T {
        let mut found = Diagnostics::new();
        let result = check(&mut found);
        for complaint in found.sorted() {
            self.push(complaint.clone());
        }
        result
    }

    fn line_start(&self, at: usize) -> usize {
        self.source.get(..at).and_then(|head| head.rfind('\n')).map_or(0, |i| i + 1)
    }
}

/// Reads the grammar of a site file. What could be recovered comes back even when some of it failed.
pub(super) fn grammar<'d>(source: &'d str, list: &'d mut Diagnostics) -> (Spanned<DeTable<'d>>, Complaints<'d>) {
    let (root, errors) = DeTable::parse_recoverable(source);
    let mut complaints = Complaints { list, source, broken: BTreeSet::new() };
    for error in errors {
        let range = error.span().unwrap_or(0..0);
        let start = complaints.line_start(range.start.min(source.len()));
        // One slip can upset the rest of its line; the first word on it is the one that helps.
        if complaints.broken.insert(start) {
            let complaint = ungrammatical(source, start, &range, error.message());
            complaints.list.push(complaint);
        }
    }
    (root, complaints)
}

fn ungrammatical(source: &str, line_start: usize, range: &std::ops::Range<usize>, message: &str) -> Diagnostic {
    let line = source.get(line_start..).and_then(|tail| tail.lines().next()).unwrap_or_default();
    let (mut start, mut end) = (floor(source, range.start), floor(source, range.end));
    if message.starts_with("duplicate key") {
        let key = source.get(start..end).unwrap_or_default().trim().to_owned();
        return Diagnostic::error(
            "duplicate-key",
            Span::new(FileId::SITE, start, end),
            format!("`{}` is written twice", values::clipped(&key)),
        )
        .label("this is the second one")
        .why("only one of the two can be meant, and the plan would rest on a guess")
        .hint("delete one of them; parts that come several times stand in double brackets, such as `[[animal]]`");
    }
    // `depth = 1.2 m`: the commonest slip, best marked as a whole.
    let bare = line.split_once('=').map(|(key, value)| (key, value.trim())).filter(|(_, value)| {
        value.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '<' | '.'))
            && !value.contains('"')
            && !value.contains('#')
    });
    if let Some((key, value)) = bare {
        start = line_start + line.find(value).unwrap_or(0).max(key.len() + 1);
        end = start + value.len();
        return Diagnostic::error(
            "bare-quantity",
            Span::new(FileId::SITE, start, end),
            format!("`{}` needs quotes", values::clipped(value)),
        )
        .label("a number with its unit is a text in quotes")
        .why("without quotes the file cannot be read past this place")
        .hint(format!("write `{}= \"{value}\"`", key.trim_start()));
    }
    if start >= end {
        // Nothing to underline, as when a quote is never closed: mark where reading stopped.
        end = floor(source, source.len().min(start + 1));
    }
    let general = "each line reads `key = \"value\"`, `[part]` or `[[part]]`; a remark begins with `#`".to_owned();
    let key = line.split_once('=').map_or("", |(key, _)| key.trim());
    let word = source.get(start..end).unwrap_or_default().trim();
    let (label, hint) = if message.starts_with("string values must be quoted") {
        ("a text belongs in quotes".to_owned(), format!("write `{key} = \"{word}\"`"))
    } else if message.contains("string") {
        (
            "the quote that opens this text is not closed".to_owned(),
            "end the text with the sign that begins it".to_owned(),
        )
    } else if message.starts_with("key with no value") {
        ("`=` is missing".to_owned(), general)
    } else if message.starts_with("unclosed table") {
        ("`]` is missing".to_owned(), general)
    } else {
        (message.to_owned(), general)
    };
    Diagnostic::error("grammar", Span::new(FileId::SITE, start, end), "the file cannot be read here as TOML")
        .label(label)
        .why("what follows may have been misunderstood")
        .hint(hint)
}

/// The character boundary at or before a byte.
fn floor(source: &str, at: usize) -> usize {
    let mut at = at.min(source.len());
    while !source.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// One table of the site file.
pub(super) struct Table<'t, 'i> {
    /// As the reader knows it: `[supply]`, `[[animal]]`; empty for the file itself.
    pub title: String,
    /// Its head, or the whole of it when written in braces.
    pub span: Span,
    entries: &'t DeTable<'i>,
    asked: Vec<&'static str>,
    /// Keys and parts that are not there, with what is to be said. A misspelt one may turn up in their place.
    lacking: Vec<(String, Diagnostic)>,
}

type Value<'t, 'i> = (Span, &'t DeValue<'i>);

fn span(range: std::ops::Range<usize>) -> Span {
    Span::new(FileId::SITE, range.start, range.end)
}

impl<'t, 'i> Table<'t, 'i> {
    /// The whole file.
    pub(super) fn root(entries: &'t Spanned<DeTable<'i>>) -> Self {
        Self {
            title: String::new(),
            span: Span::new(FileId::SITE, 0, 0),
            entries: entries.get_ref(),
            asked: Vec::new(),
            lacking: Vec::new(),
        }
    }

    fn take(&mut self, key: &'static str) -> Option<Value<'t, 'i>> {
        self.asked.push(key);
        let (_, value) = self.entries.iter().find(|(k, _)| k.get_ref() == key)?;
        Some((span(value.span()), value.get_ref()))
    }

    /// The text of a key as written, if it is a text; does not count as asking for it.
    pub(super) fn text_as_written(&self, key: &str) -> Option<&str> {
        self.entries.iter().find(|(k, _)| k.get_ref() == key).and_then(|(_, value)| value.get_ref().as_str())
    }

    /// The text of a key of a part, as written, if both are there; does not count as asking for either.
    pub(super) fn text_within(&self, part: &str, key: &str) -> Option<&str> {
        let (_, value) = self.entries.iter().find(|(k, _)| k.get_ref() == part)?;
        let (_, value) = value.get_ref().as_table()?.iter().find(|(k, _)| k.get_ref() == key)?;
        value.get_ref().as_str()
    }

    /// Whether the key is there; does not count as asking for it.
    pub(super) fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|(k, _)| k.get_ref() == key)
    }

    fn full(&self, name: &str) -> String {
        self.title
            .trim_matches(['[', ']'])
            .split('.')
            .filter(|part| !part.is_empty())
            .chain([name])
            .collect::<Vec<_>>()
            .join(".")
    }

    /// A table of this name in single brackets.
    pub(super) fn table(&mut self, key: &'static str, complaints: &mut Complaints<'_>) -> Option<Table<'t, 'i>> {
        let title = format!("[{}]", self.full(key));
        let (place, value) = self.take(key)?;
        match value {
            DeValue::Table(entries) => {
                Some(Table { title, span: place, entries, asked: Vec::new(), lacking: Vec::new() })
            }
            DeValue::Array(array) if array.iter().all(|v| v.get_ref().is_table()) => {
                let head = array.iter().next().map_or(place, |first| span(first.span()));
                complaints.push(
                    Diagnostic::error("wrong-brackets", head, format!("`{title}` comes once"))
                        .label("double brackets are for parts that come several times")
                        .why("only one can be meant")
                        .hint(format!("write `{title}`")),
                );
                None
            }
            _ => {
                complaints.push(not_a(place, key, "a part of its own", &format!("begin it with a line `{title}`")));
                None
            }
        }
    }

    /// All tables of this name in double brackets.
    pub(super) fn tables(&mut self, key: &'static str, complaints: &mut Complaints<'_>) -> Vec<Table<'t, 'i>> {
        let title = format!("[[{}]]", self.full(key));
        let Some((place, value)) = self.take(key) else { return Vec::new() };
        let complaint =
            || not_a(place, key, "a part that can come several times", &format!("begin each with a line `{title}`"));
        let DeValue::Array(array) = value else {
            complaints.push(complaint());
            return Vec::new();
        };
        let mut found = Vec::new();
        for item in array.iter() {
            match item.get_ref() {
                DeValue::Table(entries) => {
                    found.push(Table {
                        title: title.clone(),
                        span: span(item.span()),
                        entries,
                        asked: Vec::new(),
                        lacking: Vec::new(),
                    });
                }
                _ => complaints.push(complaint()),
            }
        }
        found
    }

    /// A text; `None` when the key is absent or its text blank.
    pub(super) fn text(&mut self, key: &'static str, complaints: &mut Complaints<'_>) -> Option<Stated<String>> {
        let (place, value) = self.take(key)?;
        let DeValue::String(text) = value else {
            complaints.push(not_a(place, key, "a text", "put it in quotes"));
            return None;
        };
        let text = text.trim();
        if let Some(bad) = text.chars().find(|c| c.is_control()) {
            complaints.push(
                Diagnostic::error("control-character", place, format!("`{key}` holds a control character"))
                    .label(format!("U+{:04X} cannot be printed", u32::from(bad)))
                    .why("it would be invisible on the page, or break its line")
                    .hint("delete it"),
            );
            return None;
        }
        (!text.is_empty()).then(|| Stated { value: text.to_owned(), span: place })
    }

    /// A text that must be there.
    pub(super) fn need_text(
        &mut self,
        key: &'static str,
        why: &str,
        example: &str,
        complaints: &mut Complaints<'_>,
    ) -> Option<Stated<String>> {
        let blank = self.blank(key);
        if blank {
            self.complain_missing(key, why, example, complaints);
        }
        self.text(key, complaints)
    }

    /// Whether a key is absent or an empty text.
    pub(super) fn blank(&self, key: &str) -> bool {
        let entry = self.entries.iter().find(|(k, _)| k.get_ref() == key);
        entry.is_none_or(|(_, v)| v.get_ref().as_str().is_some_and(|text| text.trim().is_empty()))
    }

    /// Complains that a key is missing or blank.
    pub(super) fn complain_missing(&mut self, key: &str, why: &str, example: &str, complaints: &mut Complaints<'_>) {
        let place = self.entries.iter().find(|(k, _)| k.get_ref() == key).map_or(self.span, |(_, v)| span(v.span()));
        let there = self.has(key);
        let (said, label) = if there && self.title.is_empty() {
            (format!("`{key}` is blank"), "something belongs between the quotes".to_owned())
        } else if there {
            (format!("`{key}` of `{}` is blank", self.title), "something belongs between the quotes".to_owned())
        } else if self.title.is_empty() {
            (format!("`{key}` is missing"), format!("`{key}` is to be added to the file"))
        } else {
            (format!("`{}` has no `{key}`", self.title), format!("`{key}` belongs in this part"))
        };
        let complaint = Diagnostic::error("missing-key", place, said)
            .label(label)
            .why(why)
            .hint(format!("write `{key} = {example}`"));
        if there {
            complaints.missing(complaint);
        } else {
            self.lacks(key, complaint);
        }
    }

    /// Keeps a complaint about what is not there, until it is known whether it was only misspelt.
    pub(super) fn lacks(&mut self, key: &str, complaint: Diagnostic) {
        self.lacking.push((key.to_owned(), complaint));
    }

    /// Complains about what is not there, and does not judge the keys that are.
    pub(super) fn finish_unjudged(self, complaints: &mut Complaints<'_>) {
        for (_, complaint) in self.lacking {
            complaints.missing(complaint);
        }
    }

    /// One of a few words.
    pub(super) fn word<T: Copy>(
        &mut self,
        key: &'static str,
        words: &[(&str, T)],
        complaints: &mut Complaints<'_>,
    ) -> Option<Stated<T>> {
        let text = self.text(key, complaints)?;
        if let Some((_, value)) = words.iter().find(|(word, _)| word.eq_ignore_ascii_case(&text.value)) {
            return Some(Stated { value: *value, span: text.span });
        }
        let all = listed(words.iter().map(|(word, _)| *word));
        let hint = match nearest(&text.value, words.iter().map(|(word, _)| *word)) {
            Some(near) => format!("write `\"{near}\"` if that is meant; possible are {all}"),
            None => format!("possible are {all}"),
        };
        complaints.push(
            Diagnostic::error(
                "unknown-word",
                text.span,
                format!("`{}` is not one of the words for `{key}`", values::clipped(&text.value)),
            )
            .label("this word is not known here")
            .why("the rules of the plan go by these words")
            .hint(hint),
        );
        None
    }

    /// Yes or no, in quotes or as TOML has it; `None` when absent, blank or `"unknown"`.
    pub(super) fn yes_no(&mut self, key: &'static str, complaints: &mut Complaints<'_>) -> Option<bool> {
        if let Some((_, value)) = self.entries.iter().find(|(k, _)| k.get_ref() == key)
            && let Some(flag) = value.get_ref().as_bool()
        {
            self.asked.push(key);
            return Some(flag);
        }
        let words = [("yes", Some(true)), ("no", Some(false)), ("unknown", None)];
        self.word(key, &words, complaints).and_then(|found| found.value)
    }

    /// A whole number within a range.
    pub(super) fn count(
        &mut self,
        key: &'static str,
        range: std::ops::RangeInclusive<u32>,
        complaints: &mut Complaints<'_>,
    ) -> Option<Stated<u32>> {
        let (place, value) = self.take(key)?;
        let text = match value {
            DeValue::Integer(number) => number.as_str().replace('_', ""),
            DeValue::Float(number) => number.as_str().to_owned(),
            DeValue::String(text) if text.trim().is_empty() => return None,
            DeValue::String(text) => text.trim().to_owned(),
            _ => {
                complaints.push(not_a(place, key, "a whole number", &format!("write `{key} = {}`", range.start())));
                return None;
            }
        };
        let (low, high) = (range.start(), range.end());
        match values::whole(&text) {
            Some(number) if range.contains(&number) => Some(Stated { value: number, span: place }),
            _ => {
                complaints.push(
                    Diagnostic::error(
                        "impossible-count",
                        place,
                        format!("`{key}` cannot be `{}`", values::clipped(&text)),
                    )
                    .label(format!("a whole number from {low} to {high} belongs here"))
                    .why("it is counted, not measured")
                    .hint(format!("write `{key} = {}`, for instance", (*low).max(2).min(*high))),
                );
                None
            }
        }
    }

    /// A date, as TOML has it or in quotes.
    pub(super) fn date(&mut self, key: &'static str, complaints: &mut Complaints<'_>) -> Option<Stated<NaiveDate>> {
        let (place, value) = self.take(key)?;
        let text = match value {
            DeValue::Datetime(when) => {
                when.date.filter(|_| when.time.is_none()).map_or_else(|| when.to_string(), |d| d.to_string())
            }
            DeValue::String(text) if text.trim().is_empty() => return None,
            DeValue::String(text) => text.to_string(),
            _ => {
                complaints.push(not_a(place, key, "a date", &format!("write `{key} = 2026-03-12`")));
                return None;
            }
        };
        let value = complaints.through(|list| values::date(&text, &format!("`{key}`"), place, list))?;
        Some(Stated { value, span: place })
    }

    /// A number of a kind, with its unit.
    pub(super) fn number(
        &mut self,
        key: &'static str,
        kind: Option<Kind>,
        bounds: &Bounds,
        complaints: &mut Complaints<'_>,
    ) -> Option<(Number, Span)> {
        let (place, value) = self.take(key)?;
        read_value(key, place, value, kind, bounds, complaints)
    }

    /// A quantity; "less than" has no place here.
    pub(super) fn quantity<Q: Readable>(
        &mut self,
        key: &'static str,
        bounds: &Bounds,
        complaints: &mut Complaints<'_>,
    ) -> Option<Stated<Q>> {
        let (number, place) = self.number(key, Some(Q::KIND), bounds, complaints)?;
        exact(key, number, place, complaints).map(|si| Stated { value: Q::from_si(si), span: place })
    }

    /// A quantity that must be there.
    pub(super) fn need_quantity<Q: Readable>(
        &mut self,
        key: &'static str,
        bounds: &Bounds,
        why: &str,
        complaints: &mut Complaints<'_>,
    ) -> Option<Stated<Q>> {
        if self.blank(key) {
            self.complain_missing(key, why, &format!("\"{}\"", bounds.example(Q::KIND)), complaints);
        }
        self.quantity(key, bounds, complaints)
    }

    /// A list of quantities.
    pub(super) fn quantities<Q: Readable>(
        &mut self,
        key: &'static str,
        bounds: &Bounds,
        complaints: &mut Complaints<'_>,
    ) -> Option<Stated<Vec<Q>>> {
        let (place, value) = self.take(key)?;
        let DeValue::Array(array) = value else {
            let hint = format!("write `{key} = [\"{}\"]`", bounds.example(Q::KIND));
            complaints.push(not_a(place, key, "a list in square brackets", &hint));
            return None;
        };
        let mut found = Vec::new();
        let mut whole = true;
        for item in array.iter() {
            let item_place = span(item.span());
            let number =
                read_value(key.trim_end_matches('s'), item_place, item.get_ref(), Some(Q::KIND), bounds, complaints)
                    .and_then(|(number, place)| exact(key.trim_end_matches('s'), number, place, complaints));
            match number {
                Some(si) => found.push(Q::from_si(si)),
                None => whole = false,
            }
        }
        whole.then_some(Stated { value: found, span: place })
    }

    /// A list of texts.
    pub(super) fn texts(&mut self, key: &'static str, complaints: &mut Complaints<'_>) -> Vec<String> {
        let Some((place, value)) = self.take(key) else { return Vec::new() };
        let complaint =
            || not_a(place, key, "a list of texts", &format!("write `{key} = [\"first line\", \"second line\"]`"));
        let DeValue::Array(array) = value else {
            complaints.push(complaint());
            return Vec::new();
        };
        let mut found = Vec::new();
        for item in array.iter() {
            match item.get_ref() {
                DeValue::String(text) if !text.chars().any(char::is_control) => found.push(text.trim().to_owned()),
                _ => complaints.push(complaint()),
            }
        }
        found.retain(|text| !text.is_empty());
        found
    }

    /// Complains about every key that nobody asked for, and about what is not there unless one of those is meant for it.
    pub(super) fn finish(self, complaints: &mut Complaints<'_>) {
        let mut misspelt: BTreeSet<String> = BTreeSet::new();
        let place = if self.title.is_empty() { "a site file".to_owned() } else { format!("`{}`", self.title) };
        for (key, value) in self.entries.iter().filter(|(k, _)| !self.asked.iter().any(|a| k.get_ref() == a)) {
            let name = key.get_ref().as_ref();
            let complaint = Diagnostic::error(
                "unknown-key",
                span(key.span()),
                format!("`{}` is not a key of {place}", values::clipped(name)),
            );
            let spaced = name.to_lowercase().replace('_', " ");
            let forms = vague(&spaced)
                .map(|v| (v.could_be, v.why))
                .filter(|(names, _)| names.iter().all(|n| self.asked.contains(&n.replace(' ', "_").as_str())));
            let complaint = if let Some((names, why)) = forms {
                let keys: Vec<String> = names.iter().map(|n| n.replace(' ', "_")).collect();
                misspelt.extend(keys.iter().cloned());
                let id = if keys.len() > 1 { "ambiguous-form" } else { "unknown-key" };
                Diagnostic { id, ..complaint }
                    .label(if keys.len() > 1 {
                        "which form is it?".to_owned()
                    } else {
                        format!("is {} meant?", listed(keys.iter().map(String::as_str)))
                    })
                    .why(why)
                    .hint(format!("write {}", listed(keys.iter().map(String::as_str))))
            } else if let Some(near) = nearest(name, self.asked.iter().copied()) {
                misspelt.insert(near.to_owned());
                complaint
                    .label(format!("is `{near}` meant?"))
                    .why("what stands here is not read")
                    .hint(format!("write `{near}`"))
            } else {
                let what = if value.get_ref().is_table() { "this part is not known" } else { "this key is not known" };
                let known = listed(self.asked.iter().copied());
                let hint = if known.is_empty() { "delete it".to_owned() } else { format!("known here are {known}") };
                complaint.label(what).why("what stands here is not read").hint(hint)
            };
            complaints.push(complaint);
        }
        for (key, complaint) in self.lacking {
            if !misspelt.contains(&key) {
                complaints.missing(complaint);
            }
        }
    }
}

fn not_a(place: Span, key: &str, what: &str, hint: &str) -> Diagnostic {
    Diagnostic::error("wrong-type", place, format!("`{key}` has to be {what}"))
        .label(format!("{what} belongs here"))
        .why("written like this it cannot be understood")
        .hint(hint)
}

fn read_value(
    key: &str,
    place: Span,
    value: &DeValue<'_>,
    kind: Option<Kind>,
    bounds: &Bounds,
    complaints: &mut Complaints<'_>,
) -> Option<(Number, Span)> {
    let text: &str = match value {
        // A blank is "not measured", as in the log.
        DeValue::String(text) if text.trim().is_empty() => return None,
        DeValue::String(text) => text,
        DeValue::Integer(number) => number.as_str(),
        DeValue::Float(number) => number.as_str(),
        _ => {
            let example = kind.map_or("8.1", |kind| bounds.example(kind));
            complaints.push(not_a(place, key, "a number with its unit", &format!("write `{key} = \"{example}\"`")));
            return None;
        }
    };
    let what = values::spoken(key);
    let at = Place { what: &what, span: place, column: None, quoted: true };
    complaints.through(|list| values::number(text, kind, bounds, at, list)).map(|number| (number, place))
}

fn exact(key: &str, number: Number, place: Span, complaints: &mut Complaints<'_>) -> Option<f64> {
    if number.less_than {
        complaints.push(
            Diagnostic::error("inexact-number", place, format!("`{key}` is only known to be less"))
                .label("`<` belongs to readings of a test kit")
                .why("the plan has to reckon with this number")
                .hint("write the number itself"),
        );
        return None;
    }
    Some(number.si)
}
