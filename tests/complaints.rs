//! How complaints read. A new case is a new file in `complaints/`: a `.toml` is a site file, a `.csv` a log; a `.csv` beside a
//! `.toml` of the same name is its log. What a case leaves out is taken from `BASE`, added behind it.

#![expect(clippy::disallowed_methods, clippy::unwrap_used, reason = "tests fetch their own cases")]

use std::path::Path;

use proptest::prelude::*;
use weirbook::cli::complaints::render;
use weirbook::diag::{Diagnostic, Diagnostics, FileId, Span, Text};
use weirbook::site;

/// The parts of a site file about which there is nothing to complain.
const BASE: &[(&str, &str)] = &[
    (
        "[site]",
        "[site]\nid = \"ash-lane\"\nname = \"Ash Lane\"\nowner = \"A. Reeve\"\nplace = \"Dunmarrow\"\ncountry = \"UK\"\n\
         plan_date = 2026-09-01\n",
    ),
    ("[firm]", "[firm]\nname = \"Reeve\"\ntelephone = \"01632 960000\"\n"),
    ("[page]", "[page]\npaper = \"A4\"\nunits = \"metric\"\n"),
    ("[volume", "[[volume.section]]\nname = \"pond\"\nshape = \"circle\"\ndiameter = \"3 m\"\nmean_depth = \"1 m\"\n"),
    ("[supply]", "[supply]\nkind = \"mains\"\n"),
    ("[panel]", "[panel]\nsteps = 6\n"),
    ("[log]", "[log]\nfile = \"log.csv\"\n"),
];
const BASE_LOG: &str = "date,carbonate hardness [°dKH]\n2026-08-30,7\n";

fn with_base(case: &str) -> String {
    let lacking = BASE.iter().filter(|(mark, _)| !case.contains(mark)).map(|(_, part)| *part);
    std::iter::once(case).chain(lacking).collect::<Vec<_>>().join("\n")
}

fn text(name: &str, words: &str) -> Text {
    Text { name: name.to_owned(), words: words.to_owned() }
}

/// Both texts through the whole of `site`, rendered as in a pipe 100 columns wide.
fn plain(site: &[u8], log: Option<&[u8]>) -> String {
    let (site, mut complaints) = site::decode("site.toml", site, FileId::SITE);
    let log = log.map(|bytes| {
        let (log, found) = site::decode("log.csv", bytes, FileId::LOG);
        complaints.append(found);
        log
    });
    let parsed = site::parse(&site, log.as_ref(), None);
    assert_eq!(parsed.site.is_none(), parsed.complaints.any_error(), "a site comes back exactly when no error stands");
    complaints.append(parsed.complaints);
    let texts: Vec<Text> = std::iter::once(site).chain(log).collect();
    let rendered = render(&texts, &complaints, false, 100);
    if rendered.is_empty() { "nothing to complain about\n".to_owned() } else { rendered }
}

#[test]
fn complaints_about_site_files_read_well() {
    insta::glob!("complaints/*.toml", |path| {
        let case = std::fs::read_to_string(path).unwrap();
        let log = std::fs::read(path.with_extension("csv")).unwrap_or_else(|_| BASE_LOG.into());
        insta::assert_snapshot!(plain(with_base(&case).as_bytes(), Some(&log)));
    });
}

#[test]
fn complaints_about_logs_read_well() {
    insta::glob!("complaints/*.csv", |path| {
        if !path.with_extension("toml").exists() {
            let log = std::fs::read(path).unwrap();
            insta::assert_snapshot!(plain(with_base("").as_bytes(), Some(&log)));
        }
    });
}

#[test]
fn every_complaint_has_a_case() {
    // The ids stand in the source as the first argument of `error(` and `warning(`, or of a `Pair`.
    let mut ids = Vec::new();
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src/site")).unwrap() {
        let source = std::fs::read_to_string(entry.unwrap().path()).unwrap();
        for mark in ["Diagnostic::error(", "Diagnostic::warning(", "id: ", "(id, label) = "] {
            for (at, _) in source.match_indices(mark) {
                let rest = source[at + mark.len()..].trim_start();
                ids.extend(rest.strip_prefix('"').and_then(|r| r.split_once('"')).map(|(id, _)| id.to_owned()));
            }
        }
    }
    ids.retain(|id| id != "ash-lane");
    let seen: String = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/snapshots"))
        .unwrap()
        .map(|entry| std::fs::read_to_string(entry.unwrap().path()).unwrap())
        .collect();
    ids.sort();
    ids.dedup();
    let unseen: Vec<_> = ids.iter().filter(|id| !seen.contains(&format!("[{id}]"))).collect();
    assert!(ids.len() > 40, "only {} ids were found in the source", ids.len());
    assert!(unseen.is_empty(), "no case shows {unseen:?}");
}

#[test]
fn bytes_that_are_no_text_are_complained_about() {
    let base = with_base("");
    let latin = |log: &str| log.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect::<Vec<u8>>();
    insta::assert_snapshot!("latin_1_log", plain(base.as_bytes(), Some(&latin(BASE_LOG))));
    insta::assert_snapshot!("utf_16_log", plain(base.as_bytes(), Some(b"\xFF\xFEd\0a\0t\0e\0")));
    insta::assert_snapshot!("nul_in_log", plain(base.as_bytes(), Some(b"date,note\n2026-08-30,a\0b\n")));
    insta::assert_snapshot!("empty_site", plain(b" \n", Some(BASE_LOG.as_bytes())));
    insta::assert_snapshot!("empty_log", plain(base.as_bytes(), Some(b"")));
    insta::assert_snapshot!("log_for_site", plain(BASE_LOG.as_bytes(), Some(BASE_LOG.as_bytes())));
    insta::assert_snapshot!("site_for_log", plain(base.as_bytes(), Some(base.as_bytes())));
    insta::assert_snapshot!("pdf_for_log", plain(base.as_bytes(), Some(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj")));
    insta::assert_snapshot!("missing_log", plain(base.as_bytes(), None));
    insta::assert_snapshot!("no_log", plain(base.replace("[log]\nfile = \"log.csv\"\n", "").as_bytes(), None));
}

#[test]
fn byte_order_mark_and_crlf_are_taken_in_silence() {
    let mark = |words: &str| format!("\u{FEFF}{}", words.replace('\n', "\r\n"));
    let (site, log) = (mark(&with_base("")), mark(BASE_LOG));
    assert_eq!(plain(site.as_bytes(), Some(log.as_bytes())), "nothing to complain about\n");
}

#[test]
fn positions_count_characters_not_bytes() {
    let log = "date,note,ph morning\r\n2026-08-30,\"µµ°\r\nzwei\",71\r\n";
    let shown = plain(with_base("").as_bytes(), Some(log.as_bytes()));
    assert!(shown.contains("--> log.csv:3:7\n"), "{shown}");
}

#[test]
fn marks_stand_under_their_text() {
    let shown = |line: &str, marked: &str| {
        let text = text("case", line);
        let at = line.find(marked).unwrap();
        let mut list = Diagnostics::new();
        let span = Span::new(FileId::SITE, at, at + marked.len());
        list.push(
            Diagnostic::warning("case", span, "a case").label("here").why("wide, long and odd lines must not shift it"),
        );
        render(&[text], &list, false, 60)
    };
    let long = format!("{}MARK{}", "left ".repeat(40), " right".repeat(40));
    let cases = [
        shown("池の水 = \"錦鯉\"", "錦鯉"),
        shown("\tdepth\t= 1", "depth"),
        shown("a\u{7}b\u{1b}[31mc\u{202E}d", "\u{1b}"),
        shown(&long, "MARK"),
        shown(&format!("{}MARK", "left ".repeat(40)), "MARK"),
        shown(&format!("MARK{}", " right".repeat(40)), "MARK"),
        shown(&format!("x = {}", "M".repeat(200)), &"M".repeat(200)),
    ];
    insta::assert_snapshot!(cases.join("\n"));
}

#[test]
fn colour_adds_nothing_but_colour() {
    let mut list = Diagnostics::new();
    let complaint =
        Diagnostic::error("case", Span::new(FileId::SITE, 0, 1), "a case").label("here").why("because").hint("so");
    list.push(complaint);
    let texts = [text("case", "x")];
    let coloured = render(&texts, &list, true, 80);
    let mut stripped = String::new();
    let mut rest = coloured.as_str();
    while let Some((head, tail)) = rest.split_once('\u{1b}') {
        stripped.push_str(head);
        rest = tail.split_once('m').unwrap().1;
    }
    stripped.push_str(rest);
    assert_ne!(coloured, stripped);
    assert_eq!(stripped, render(&texts, &list, false, 80));
}

fn demo(site: &str) -> (Text, Text) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-sites").join(site);
    let read = |name: &str| text(name, &std::fs::read_to_string(folder.join(name)).unwrap());
    (read("site.toml"), read("log.csv"))
}

#[test]
fn demo_sites_are_understood() {
    for (name, visits, warnings) in [("quoyle-end", 12, 1), ("pinch-gap", 12, 1), ("wendlow-bottom", 8, 0)] {
        let (site, log) = demo(name);
        assert_eq!(site::log_file(&site).as_deref(), Some("log.csv"));
        let parsed = site::parse(&site, Some(&log), None);
        let shown = render(&[site, log], &parsed.complaints, false, 100);
        let understood = parsed.site.unwrap_or_else(|| panic!("{name} was not understood:\n{shown}"));
        assert_eq!(understood.id, name);
        assert_eq!(understood.visits.len(), visits, "{name}");
        assert_eq!(parsed.complaints.len(), warnings, "{name} is complained about:\n{shown}");
    }
}

#[test]
fn demo_warnings_read_well() {
    for name in ["quoyle-end", "pinch-gap"] {
        let (site, log) = demo(name);
        let complaints = site::parse(&site, Some(&log), None).complaints;
        insta::assert_snapshot!(format!("demo_{name}"), render(&[site, log], &complaints, false, 100));
    }
}

#[test]
fn blank_files_pass_once_their_blanks_are_filled() {
    let (site, log) = (text("site.toml", &site::blank_site()), text("log.csv", &site::blank_log()));
    let untouched = site::parse(&site, Some(&log), None);
    assert!(untouched.site.is_none());
    insta::assert_snapshot!("blank_site", render(&[site.clone(), log.clone()], &untouched.complaints, false, 100));
    let answers = [
        ("id", "ash-lane"),
        ("name", "Ash Lane"),
        ("owner", "A. Reeve"),
        ("place", "Dunmarrow"),
        ("country", "UK"),
        ("plan_date", "2026-09-01"),
        ("telephone", "01632 960000"),
        ("paper", "A4"),
        ("units", "metric"),
        ("shape", "rectangle"),
        ("length", "5.4 m"),
        ("width", "3.2 m"),
        ("walls", "vertical"),
        ("mean_depth", "1.4 m"),
        ("kind", "mains"),
        ("count", "2"),
        ("steps", "6"),
        ("new_mass", "430 g"),
    ];
    let mut filled = site.words;
    for (key, answer) in answers {
        let lines: Vec<String> = filled
            .lines()
            .map(|line| match line.strip_prefix(&format!("{key} = \"\"")) {
                Some(rest) => format!("{key} = \"{answer}\"{rest}"),
                None => line.to_owned(),
            })
            .collect();
        filled = lines.join("\n");
    }
    let site = text("site.toml", &filled);
    let parsed = site::parse(&site, Some(&log), None);
    assert!(parsed.site.is_some(), "{}", render(&[site, log], &parsed.complaints, false, 100));
}

/// A change that a slip of the hand, or worse, makes in a file.
#[derive(Clone, Debug)]
enum Slip {
    Delete(usize, usize),
    Insert(usize, String),
    Swap(usize, usize),
    Repeat(usize, usize),
}

fn slips() -> impl Strategy<Value = Vec<Slip>> {
    let piece = prop_oneof![
        any::<char>().prop_map(String::from),
        proptest::sample::select(vec![
            "\"",
            "'",
            "[",
            "]",
            "[[",
            "=",
            "#",
            ",",
            "\n",
            "\r",
            "\"\"\"",
            "-",
            "<",
            ".",
            "e9",
            "1e999",
            "99999999999999999999",
            "ppm",
            "°",
            "\0",
            "{",
            "}",
            "<",
            " ",
            "\u{FEFF}",
            "µ",
            "ſ",
            "İ",
            "2 ft 3 in",
            "9999-12-31",
        ])
        .prop_map(String::from),
    ];
    let slip = prop_oneof![
        (0..9_000usize, 0..40usize).prop_map(|(at, len)| Slip::Delete(at, len)),
        (0..9_000usize, piece).prop_map(|(at, piece)| Slip::Insert(at, piece)),
        (0..9_000usize, 0..9_000usize).prop_map(|(a, b)| Slip::Swap(a, b)),
        (0..9_000usize, 0..400usize).prop_map(|(at, len)| Slip::Repeat(at, len)),
    ];
    proptest::collection::vec(slip, 0..8)
}

fn slipped(words: &str, slips: &[Slip]) -> String {
    let mut chars: Vec<char> = words.chars().collect();
    for slip in slips {
        let len = chars.len().max(1);
        match slip {
            Slip::Delete(at, n) => {
                let at = at % len;
                let end = (at + n).min(chars.len());
                chars.drain(at.min(end)..end);
            }
            Slip::Insert(at, piece) => {
                let at = (at % len).min(chars.len());
                chars.splice(at..at, piece.chars());
            }
            Slip::Swap(a, b) => {
                if !chars.is_empty() {
                    chars.swap(a % len, b % len);
                }
            }
            Slip::Repeat(at, n) => {
                let at = (at % len).min(chars.len());
                let end = (at + n).min(chars.len());
                let piece = chars[at..end].to_vec();
                chars.splice(at..at, piece);
            }
        }
    }
    chars.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_slip_of_the_hand_makes_us_panic(
        which in 0..3usize,
        site_slips in slips(),
        log_slips in slips(),
        width in 0..200usize,
    ) {
        let (site, log) = demo(["quoyle-end", "pinch-gap", "wendlow-bottom"][which]);
        let site = text("site.toml", &slipped(&site.words, &site_slips));
        let log = text("log.csv", &slipped(&log.words, &log_slips));
        let _ = site::log_file(&site);
        let parsed = site::parse(&site, Some(&log), None);
        prop_assert_eq!(parsed.site.is_none(), parsed.complaints.any_error());
        let shown = render(&[site, log], &parsed.complaints, false, width);
        let safe = !shown.chars().any(|c| c.is_control() && c != '\n');
        prop_assert!(safe, "a control character reached the terminal");
    }
}
