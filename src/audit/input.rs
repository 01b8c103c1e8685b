//! What went into two plans, held against each other: keys of the site file, cells of the log.

use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::diag::{Diagnostics, FileId, Text};
use crate::site::csv::Rows;

/// Something that went in and is another now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Where: `site file`, `log`, `weather file`, `choice`.
    pub file: &'static str,
    /// The key or the cell, in words.
    pub what: String,
    /// As it was written; `None` where it was not there.
    pub old: Option<String>,
    /// As it is written; `None` where it is not there.
    pub new: Option<String>,
    /// The line in the new file.
    pub line: Option<usize>,
    /// The line in the old file.
    pub line_before: Option<usize>,
}

/// As written, and its line.
type Entries = BTreeMap<String, (String, usize)>;

/// What differs, in the order of the new file, what is gone last.
fn differences(file: &'static str, old: &Entries, new: &Entries) -> Vec<Change> {
    let mut found: Vec<Change> = Vec::new();
    for (what, (words, line)) in new {
        let before = old.get(what);
        if before.is_none_or(|(before, _)| before != words) {
            found.push(Change {
                file,
                what: what.clone(),
                old: before.map(|(words, _)| words.clone()),
                new: Some(words.clone()),
                line: Some(*line),
                line_before: before.map(|(_, line)| *line),
            });
        }
    }
    for (what, (words, line)) in old.iter().filter(|(what, _)| !new.contains_key(*what)) {
        found.push(Change {
            file,
            what: what.clone(),
            old: Some(words.clone()),
            new: None,
            line: None,
            line_before: Some(*line),
        });
    }
    found.sort_by_key(|change| (change.line.is_none(), change.line.or(change.line_before)));
    found
}

/// Keys of a site file that differ.
pub(super) fn site(old: &Text, new: &Text) -> Vec<Change> {
    differences("site file", &keys(old), &keys(new))
}

fn keys(text: &Text) -> Entries {
    let (root, _) = DeTable::parse_recoverable(&text.words);
    let mut found = Entries::new();
    table(text, root.get_ref(), "", &mut found);
    found
}

fn table(text: &Text, from: &DeTable<'_>, path: &str, found: &mut Entries) {
    for (key, value) in from {
        let path = if path.is_empty() { key.get_ref().to_string() } else { format!("{path}.{}", key.get_ref()) };
        self::value(text, value, path, found);
    }
}

fn value(text: &Text, from: &Spanned<DeValue<'_>>, path: String, found: &mut Entries) {
    match from.get_ref() {
        DeValue::Table(inner) => table(text, inner, &path, found),
        DeValue::Array(list) if list.iter().any(|each| each.get_ref().is_table()) => {
            for (number, each) in (1..).zip(list.iter()) {
                value(text, each, format!("{path} {number}"), found);
            }
        }
        _ => {
            let words = text.words.get(from.span()).unwrap_or_default();
            // A list over several lines is told on one.
            let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
            found.insert(path, (words, text.line_of(from.span().start)));
        }
    }
}

/// Cells of a log that differ.
pub(super) fn log(old: Option<&Text>, new: Option<&Text>) -> Vec<Change> {
    let read = |text: Option<&Text>| text.map(cells).unwrap_or_default();
    let (old, new) = (read(old), read(new));
    let mut found = Vec::new();
    // A visit that is new or gone is told as one.
    let visits = |all: &Entries| -> BTreeMap<String, usize> {
        all.iter().filter_map(|(what, (_, line))| Some((what.rsplit_once(" on ")?.1.to_owned(), *line))).collect()
    };
    let (before, after) = (visits(&old), visits(&new));
    for change in differences("log", &old, &new) {
        let visit = change.what.rsplit_once(" on ").map(|(_, visit)| visit.to_owned()).unwrap_or_default();
        match (before.get(&visit), after.get(&visit)) {
            (Some(_), Some(_)) => found.push(change),
            (was, is) => {
                let what = format!("the visit of {visit}");
                if !found.iter().any(|known: &Change| known.what == what) {
                    let words = |line: Option<&usize>| line.map(|_| "a row of readings".to_owned());
                    found.push(Change {
                        file: "log",
                        what,
                        old: words(was),
                        new: words(is),
                        line: is.copied(),
                        line_before: was.copied(),
                    });
                }
            }
        }
    }
    found
}

fn cells(text: &Text) -> Entries {
    let mut complaints = Diagnostics::new();
    let mut rows = Rows::new(&text.words, FileId::LOG);
    let mut found = Entries::new();
    let Some(head) = rows.next_row(&mut complaints) else { return found };
    let head: Vec<String> = head.cells.iter().map(|cell| cell.text.trim().to_owned()).collect();
    let place = |wanted: &str| head.iter().position(|name| name.eq_ignore_ascii_case(wanted));
    let mut met: BTreeMap<String, usize> = BTreeMap::new();
    while let Some(row) = rows.next_row(&mut complaints) {
        let cell = |at: Option<usize>| at.and_then(|at| row.cells.get(at)).map_or("", |cell| cell.text.trim());
        let mut visit = format!("{} {}", cell(place("date")), cell(place("time"))).trim().to_owned();
        let times = met.entry(visit.clone()).or_default();
        *times += 1;
        if *times > 1 {
            visit = format!("{visit}, row {times}");
        }
        for (name, cell) in head.iter().zip(&row.cells) {
            let words = cell.text.trim();
            if !words.is_empty() && !["date", "time"].contains(&name.to_lowercase().as_str()) {
                found.insert(format!("{name} on {visit}"), (words.to_owned(), row.line));
            }
        }
    }
    found
}

/// Whether the weather files differ.
pub(super) fn weather(old: Option<&Text>, new: Option<&Text>) -> Vec<Change> {
    let (was, is) = (old.map(|text| &text.words), new.map(|text| &text.words));
    if was == is {
        return Vec::new();
    }
    let rows = |text: Option<&String>| text.map(|words| format!("{} rows", words.lines().count()));
    vec![Change {
        file: "weather file",
        what: "the weather".to_owned(),
        old: rows(was),
        new: rows(is),
        line: None,
        line_before: None,
    }]
}

/// Something chosen when the plan was made.
pub(super) fn choice(what: &str, old: String, new: String) -> Option<Change> {
    (old != new).then(|| Change {
        file: "choice",
        what: what.to_owned(),
        old: Some(old),
        new: Some(new),
        line: None,
        line_before: None,
    })
}
