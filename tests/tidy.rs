//! House rules that the compiler does not hold: which module may use which, tables in order, no clock, no files.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "the walk over the sources reads files, and must not miss one"
)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use weirbook::reference::{CITATIONS, SUBSTANCES, TARGETS};

/// What each module may use: DESIGN.md's table. A new arrow is a design change, so it is made here, on purpose.
const MAY_USE: &[(&str, &[&str])] = &[
    ("diag", &[]),
    ("units", &[]),
    ("reference", &["units"]),
    ("workings", &["units", "reference"]),
    ("site", &["diag", "units", "reference"]),
    // Kernels free of `workings`, thin wrappers that build figures.
    ("chem", &["units", "reference", "workings"]),
    ("water", &["units", "reference", "workings", "chem"]),
    ("plan", &["diag", "units", "reference", "workings", "site", "chem", "water"]),
    ("page", &[]),
    ("drawing", &["plan", "page", "units"]),
    ("document", &["plan", "drawing", "page", "workings", "units", "diag", "site", "reference"]),
    // Knows nothing of ponds.
    ("layout", &["page"]),
    // Knows nothing of ponds.
    ("pdf", &["page"]),
    ("sheet", &["workings", "units"]),
    // It makes a plan again, so it goes through the front door.
    ("audit", &["diag", "units", "site", "water", "plan", "page", "document", "pdf", "workings", "front", "supplies"]),
];

/// The front door and the crate root: they may use everything but `cli`.
const DOOR: &[&str] = &["front", "supplies", "lib"];

struct Arrow {
    from: String,
    to: String,
    place: String,
}

fn source(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            source(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn files() -> Vec<(String, String, String)> {
    let mut paths = Vec::new();
    source(&root(), &mut paths);
    paths
        .into_iter()
        .map(|path| {
            let place = path.strip_prefix(root()).unwrap().to_string_lossy().replace('\\', "/");
            let module = place.split('/').next().unwrap().trim_end_matches(".rs").to_owned();
            (module, place, fs::read_to_string(&path).unwrap())
        })
        .collect()
}

/// A line without its comment; strings with `//` in them do not matter here.
fn code(line: &str) -> &str {
    line.split("//").next().unwrap_or_default()
}

/// Every `crate::x` and each name of `use crate::{x, y::{...}}`, with nested braces.
fn arrows() -> Vec<Arrow> {
    let mut arrows = Vec::new();
    for (module, place, text) in files() {
        let text: String = text.lines().map(|line| format!("{}\n", code(line))).collect();
        let mut rest = text.as_str();
        let mut line = 1;
        while let Some(at) = rest.find("crate::") {
            line += rest[..at].matches('\n').count();
            rest = &rest[at + "crate::".len()..];
            let mut names: BTreeSet<String> = BTreeSet::new();
            if let Some(group) = rest.strip_prefix('{') {
                let mut depth = 0;
                let mut name = String::new();
                let mut head = true;
                for c in group.chars() {
                    match c {
                        '{' => depth += 1,
                        '}' if depth == 0 => break,
                        '}' => depth -= 1,
                        ',' if depth == 0 => {
                            names.insert(std::mem::take(&mut name));
                            head = true;
                        }
                        c if depth == 0 && head && (c.is_ascii_alphanumeric() || c == '_') => name.push(c),
                        c if depth == 0 && !c.is_whitespace() => head = false,
                        _ => {}
                    }
                }
                names.insert(name);
            } else {
                names.insert(rest.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '_').collect());
            }
            for to in names.into_iter().filter(|n| !n.is_empty()) {
                arrows.push(Arrow { from: module.clone(), to, place: format!("src/{place}:{line}") });
            }
        }
    }
    arrows
}

fn modules() -> BTreeSet<String> {
    MAY_USE.iter().map(|(name, _)| (*name).to_owned()).collect()
}

#[test]
fn modules_use_only_what_stands_to_their_left() {
    let known = modules();
    let mut wrong = Vec::new();
    for Arrow { from, to, place } in arrows() {
        let Some((_, allowed)) = MAY_USE.iter().find(|(name, _)| *name == from) else { continue };
        // Macros and names of the crate root are no rooms; the front door is.
        let room = known.contains(&to) || DOOR.contains(&to.as_str()) || to == "cli";
        if room && to != from && !allowed.contains(&to.as_str()) {
            wrong.push(format!("{place}: `{from}` uses `{to}`, which MAY_USE does not list"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_walk_sees_arrows() {
    let seen: BTreeSet<(String, String)> = arrows().into_iter().map(|a| (a.from, a.to)).collect();
    for (from, to) in [("plan", "chem"), ("water", "workings"), ("front", "document"), ("cli", "front")] {
        assert!(seen.contains(&(from.to_owned(), to.to_owned())), "no arrow from {from} to {to}: is the walk blind?");
    }
}

#[test]
fn every_room_is_in_the_table_and_the_table_has_no_other() {
    let rooms: BTreeSet<String> = files().into_iter().map(|(module, ..)| module).collect();
    let mut told = modules();
    told.extend(DOOR.iter().map(|d| (*d).to_owned()));
    told.extend(["cli".to_owned(), "main".to_owned()]);
    assert_eq!(rooms, told);
}

#[test]
fn the_library_never_uses_the_command_line() {
    for Arrow { from, to, place } in arrows() {
        assert!(to != "cli" || from == "cli" || from == "main", "{place}: `{from}` uses `cli`");
    }
}

#[test]
fn files_clock_and_environment_belong_to_the_command_line() {
    let banned =
        ["std::fs", "SystemTime", "Instant::now", "std::env", "Utc::now", "Local::now", "println!", "eprintln!"];
    for (module, place, text) in files() {
        if module == "cli" || module == "main" {
            continue;
        }
        for (line, number) in text.lines().zip(1..) {
            for word in banned {
                let hit = code(line).contains(word);
                assert!(!hit, "src/{place}:{number}: `{word}` belongs to `cli`");
            }
        }
    }
}

#[test]
fn comments_hold_no_marks_of_unfinished_work() {
    for (_, place, text) in files() {
        for (line, number) in text.lines().zip(1..) {
            for mark in ["TODO", "FIXME", "XXX", "todo!(", "unimplemented!("] {
                assert!(!line.contains(mark), "src/{place}:{number}: {mark}");
            }
        }
    }
}

fn sorted(what: &str, keys: &[&str]) {
    for pair in keys.windows(2) {
        assert!(pair[0] < pair[1], "{what}: `{}` stands before `{}`", pair[0], pair[1]);
    }
}

#[test]
fn reference_tables_are_in_order() {
    sorted("SUBSTANCES", &SUBSTANCES.iter().map(|s| s.id).collect::<Vec<_>>());
    sorted("TARGETS", &TARGETS.iter().map(|t| t.reading).collect::<Vec<_>>());
}

#[test]
fn citations_are_in_the_order_of_their_ids() {
    sorted("CITATIONS", &CITATIONS.iter().map(|c| c.id).collect::<Vec<_>>());
}

#[test]
fn what_is_not_sourced_says_so_in_its_own_words() {
    use weirbook::reference::Status;
    for citation in CITATIONS {
        let full = citation.full.to_lowercase();
        match citation.status {
            Status::CommonPractice => assert!(full.contains("common practice"), "{}: {}", citation.id, citation.full),
            Status::FromMemory => assert!(full.contains("from memory"), "{}: {}", citation.id, citation.full),
            Status::Derived => assert!(full.contains("derived"), "{}: {}", citation.id, citation.full),
            Status::Sourced => {}
        }
    }
}
