//! Formulas: built up, read aloud, copied out. What stands where is asserted from the display list.

#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::collections::BTreeMap;

use weirbook::layout::{Finding, Typeset, typeset};
use weirbook::page::display::{Bounds, Draw, Role, Run, TagId, Target};
use weirbook::page::{BlockKind, Document, Formula, Line, LineGroup, Math, Segment};
use weirbook::units::System;

use crate::demos::{DEMOS, job};
use crate::layout::{block, document, fonts, t};
use crate::workings::{SYSTEMS, book_of, every_shape};

fn line(number: u32, parts: Vec<Math>, written: &str, aloud: &str) -> Line {
    Line {
        number,
        name: t("Share"),
        formula: Formula { parts, written: written.to_owned(), aloud: aloud.to_owned() },
        keyed: t("1 / 2"),
        result: "0.5".to_owned(),
        unit: String::new(),
        notes: vec![],
        also: vec![],
    }
}

fn words(text: &str) -> Math {
    Math::Words(t(text))
}

fn of_lines(lines: Vec<Line>) -> Document {
    document(vec![block(BlockKind::Lines(LineGroup { title: "Shares".to_owned(), lines }))])
}

/// Texts and paths of the first formula, in the order drawn.
fn first_formula(set: &Typeset) -> (Vec<Run>, Vec<Vec<Segment>>, Bounds) {
    let (index, bounds) = set
        .pages
        .tags
        .iter()
        .enumerate()
        .find_map(|(index, tag)| match &tag.role {
            Role::Formula { bounds, .. } => Some((index, bounds.unwrap().1)),
            _ => None,
        })
        .unwrap();
    let (mut runs, mut paths) = (Vec::new(), Vec::new());
    for item in set.pages.pages.iter().flat_map(|page| &page.items) {
        if item.tag != Some(TagId(index as u32)) {
            continue;
        }
        match &item.draw {
            Draw::Text(run) => runs.push(run.clone()),
            Draw::Path { segments, .. } => paths.push(segments.clone()),
            _ => {}
        }
    }
    (runs, paths, bounds)
}

fn span(segments: &[Segment]) -> (f32, f32, f32) {
    let xs = segments.iter().filter_map(|s| match s {
        Segment::Move(x, y) | Segment::Line(x, y) => Some((*x, *y)),
        _ => None,
    });
    let points: Vec<(f32, f32)> = xs.collect();
    let low = points.iter().map(|p| p.0).fold(f32::MAX, f32::min);
    let high = points.iter().map(|p| p.0).fold(f32::MIN, f32::max);
    (low, high, points.last().unwrap().1)
}

#[test]
fn a_quotient_stands_over_its_bar_and_under_it() {
    let over = Math::Over(vec![words("_I_ · _t_ · _M_")], vec![words("_z_")]);
    let set = typeset(&of_lines(vec![line(1, vec![words("_w_ = "), over], "w = I · t · M / z", "w")]), fonts());
    assert_eq!(set.findings, []);
    let (runs, paths, bounds) = first_formula(&set);
    let [bar] = paths.as_slice() else { panic!("{} paths", paths.len()) };
    let (left, right, y) = span(bar);
    let find = |text: &str| runs.iter().find(|run| run.text().trim() == text).unwrap_or_else(|| panic!("no {text}"));
    let (above, below, before) = (find("M"), find("z"), find("w"));
    assert!(above.y < y && y < below.y, "the bar is at {y}, {} over it, {} under", above.y, below.y);
    // The bar stands where a minus would, and reaches beyond what stands on it.
    assert!(before.y > y && before.y - y < 0.4 * before.size, "bar {y}, baseline {}", before.y);
    assert!(above.x + above.width <= right && find("I").x >= left);
    let middle = below.x + below.width / 2.0;
    assert!((middle - (left + right) / 2.0).abs() < 0.1, "what is under the bar is not in its middle");
    for run in &runs {
        assert!(run.y - run.size >= bounds.y - 4.0 && run.y <= bounds.bottom(), "{} leaves its formula", run.text());
    }
}

#[test]
fn a_radical_covers_what_stands_under_it() {
    let root = Math::Root(vec![words("_a_ + "), Math::Over(vec![words("_b_")], vec![words("_c_")])]);
    let set = typeset(&of_lines(vec![line(1, vec![words("_u_ = "), root], "u = √(a + b / c)", "u")]), fonts());
    assert_eq!(set.findings, []);
    let (runs, paths, _) = first_formula(&set);
    // Two paths: the bar, and the radical with five points.
    let radical = paths.iter().find(|path| path.len() == 5).unwrap();
    let (left, right, top) = span(radical);
    for name in ["a", "b", "c"] {
        let run = runs.iter().find(|run| run.text().trim() == name).unwrap();
        assert!(run.x > left && run.x + run.width <= right, "{name} is not covered");
        assert!(run.y - 0.7 * run.size > top, "{name} cuts the roof");
    }
}

#[test]
fn a_long_formula_is_broken_before_an_operator() {
    let terms: Vec<String> = (1..40).map(|n| format!("_term_!{n}!")).collect();
    let mut parts = t("_sum_");
    for (n, term) in terms.iter().enumerate() {
        parts.push(weirbook::page::Inline::Text(if n == 0 { " = ".into() } else { " + ".into() }));
        parts.extend(t(term));
    }
    let set = typeset(&of_lines(vec![line(1, vec![Math::Words(parts)], "sum", "sum")]), fonts());
    assert_eq!(set.findings, []);
    let (runs, ..) = first_formula(&set);
    let mut by_line: BTreeMap<i32, Vec<&Run>> = BTreeMap::new();
    for run in runs.iter().filter(|run| run.size > 9.0) {
        by_line.entry((run.y * 10.0) as i32).or_default().push(run);
    }
    assert!(by_line.len() > 1);
    for (_, line) in by_line.iter().skip(1) {
        let first = line.iter().min_by(|a, b| a.x.total_cmp(&b.x)).unwrap();
        assert!(first.text().trim_start().starts_with('+'), "a line starts with `{}`", first.text());
    }
    let frame = runs[0].frame;
    assert!(runs.iter().all(|run| run.x + run.width <= frame.right() + 0.1), "a formula leaves its column");
}

#[test]
fn what_no_line_holds_is_set_on_one_level_and_not_lost() {
    let long = |letter: &str| words(&(0..30).map(|_| format!("_{letter}_ · ")).collect::<String>());
    let over = Math::Over(vec![long("a")], vec![long("b")]);
    let set = typeset(&of_lines(vec![line(1, vec![words("_x_ = "), over], "x", "x")]), fonts());
    assert!(!set.findings.iter().any(|f| matches!(f, Finding::TooWide { .. })), "{:?}", set.findings);
    let (runs, ..) = first_formula(&set);
    let all: String = runs.iter().map(Run::text).collect();
    assert_eq!(all.matches('a').count(), 30);
    assert_eq!(all.matches('b').count(), 30);
}

/// Every formula in the tag tree, by the number of its line.
fn spoken_in(set: &Typeset) -> usize {
    set.pages.tags.iter().filter(|tag| matches!(tag.role, Role::Formula { .. })).count()
}

#[test]
fn every_line_of_the_workings_is_a_formula_with_words() {
    for (id, ..) in DEMOS {
        let job = job(id);
        for edition in [weirbook::document::Edition::CarePlan, weirbook::document::Edition::Workings] {
            let (_, set) = weirbook::set(&job, edition, &weirbook::Shipped, fonts()).unwrap();
            assert_eq!(spoken_in(&set), job.plan.book.lines().len(), "{id}");
            let lines = set.pages.anchors.iter().filter(|a| matches!(a.target, Target::Line(_))).count();
            assert_eq!(lines, job.plan.book.lines().len(), "{id}");
        }
    }
}

#[test]
fn formulas_read_aloud_as_a_teacher_would_say_them() {
    let book = book_of(DEMOS[0].1, Some(DEMOS[0].2), System::Metric);
    for (id, words) in [
        ("volume.low", "V low equals V times open bracket 1 minus u close bracket"),
        (
            "hardness.buffer.exact",
            "m dose equals Delta K times V low times M of NaHCO₃ over open bracket n dose times q of NaHCO₃ close bracket",
        ),
        ("hardness.buffer.count", "n dose equals Delta K over s day, rounded up"),
        (
            "ammonia.share",
            "f NH₃ equals 1 over open bracket 10 to the power of open bracket a NH₃ plus b NH₃ over T minus pH close bracket plus 1 close bracket",
        ),
        ("ammonia.temperature", "T equals theta plus 273.15"),
        ("copper.watch", "C watch equals C stop times one half, rounded down"),
        ("copper.hardness", "h equals the smallest of h G and h Ca"),
        (
            "volume.tape-uncertainty",
            "u tape equals the square root of open bracket open bracket V 1 times u 1 over V tape close bracket squared plus open bracket V 2 times u 2 over V tape close bracket squared close bracket",
        ),
    ] {
        let line = book.lines().iter().find(|line| line.id == id).unwrap();
        assert_eq!(line.aloud, words, "{id}");
    }
}

#[test]
fn what_is_read_aloud_has_words_for_every_sign() {
    for system in SYSTEMS {
        for (site, log) in DEMOS.iter().map(|d| (d.1.to_owned(), d.2)).chain([(every_shape(), DEMOS[0].2)]) {
            for line in book_of(&site, Some(log), system).lines() {
                let solved = matches!(line.node.expr, weirbook::workings::Expr::Solved { .. });
                let signs = ['=', '/', '·', '×', '√', '(', ')', '_', '^', '−', 'θ', 'κ', 'Δ', 'π', 'φ', 'Λ', '½'];
                assert!(solved || !line.aloud.contains(signs), "{}: {}", line.id, line.aloud);
                assert!(!line.aloud.contains("  ") && !line.aloud.ends_with(' '), "{}: {}", line.id, line.aloud);
                let count = |what: &str| line.aloud.matches(what).count();
                assert_eq!(count("open bracket"), count("close bracket"), "{}: {}", line.id, line.aloud);
                if !line.formula.is_empty() && !solved {
                    assert!(line.aloud.contains(" equals "), "{}: {}", line.id, line.aloud);
                }
            }
        }
    }
}

/// The formula as it is copied out, against the same read by a parser of its own: brackets close, and the symbols are
/// those that the line names or takes from others.
#[test]
fn a_formula_copied_out_holds_the_symbols_it_is_made_of() {
    for system in SYSTEMS {
        let book = book_of(&every_shape(), Some(DEMOS[0].2), system);
        for line in book.lines() {
            let text = line.formula_text();
            assert_eq!(text.matches('(').count(), text.matches(')').count(), "{}: {text}", line.id);
            for id in &line.uses {
                let used = book.lines().iter().find(|l| l.id == *id).unwrap().symbol_text();
                let solved = matches!(line.node.expr, weirbook::workings::Expr::Solved { .. });
                let elided = text.contains('…');
                assert!(solved || elided || text.contains(&used), "{}: `{text}` lacks {used}", line.id);
            }
        }
    }
}

#[test]
fn the_file_says_how_a_formula_is_copied_out() {
    let over = Math::Over(vec![words("_a_ + _b_")], vec![words("_c_")]);
    let made = of_lines(vec![line(1, vec![words("_w_ = "), over], "w = (a + b) / c", "w equals a plus b, over c")]);
    let set = typeset(&made, fonts());
    let bytes = weirbook::pdf::write(&set.pages, &made, fonts(), &[]).unwrap();
    let file = lopdf::Document::load_mem(&bytes).unwrap();
    let page = *file.get_pages().values().next().unwrap();
    let content = String::from_utf8_lossy(&file.get_page_content(page)).into_owned();
    let hex: String = "w = (a + b) / c".encode_utf16().map(|unit| format!("{unit:04X}")).collect();
    assert!(content.contains(&format!("/Span <</ActualText <FEFF{hex}>>> BDC")), "{content}");
    let alternative = b"w equals a plus b, over c";
    let formula = file
        .objects
        .values()
        .filter_map(|o| o.as_dict().ok())
        .find(|d| d.get(b"S").is_ok_and(|s| s.as_name().is_ok_and(|name| name == b"Formula")));
    assert_eq!(formula.unwrap().get(b"Alt").unwrap().as_str().unwrap(), alternative);
    // Every stretch that is opened is closed.
    let count = |what: &str| content.split_whitespace().filter(|word| *word == what).count();
    assert_eq!(count("BDC") + count("BMC"), count("EMC"));
}

#[test]
fn a_power_in_a_keyed_line_is_copied_out_as_a_power() {
    let mut each = line(1, vec![words("_p_")], "p", "p");
    each.keyed = t("1.05^1.5 − 2^ × 3");
    let set = typeset(&of_lines(vec![each]), fonts());
    let written: Vec<&String> = set
        .pages
        .tags
        .iter()
        .filter_map(|tag| match &tag.role {
            Role::Written(words) => Some(words),
            _ => None,
        })
        .collect();
    assert_eq!(written, ["^(1.5 − 2)"]);
}
