//! The firm's own words: what templates may use, how mistakes in them read, and that nothing in a value is read as a mark.
//!
//! A new case is a new file in `templates/`: `care-plan.unknown-name.md` is a template in the place of `care-plan.md`.

#![expect(clippy::unwrap_used, clippy::disallowed_methods, reason = "tests fetch their own cases")]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use proptest::prelude::*;
use weirbook::cli::complaints;
use weirbook::diag::{Diagnostics, Text};
use weirbook::document::{self, DRAWINGS, Edition, FILTERS, Kind, NAMES, PARTS, TESTS, Templates};
use weirbook::page::fonts::Fonts;
use weirbook::page::{Art, Face, Photo};
use weirbook::supplies::Fault;
use weirbook::{Job, Shipped, Supplies};

use crate::demos::{DEMOS, FEW, made, quick as job};
use crate::ponds::sample;

/// What comes with the program, but for some templates.
#[derive(Debug, Default)]
pub struct Own(BTreeMap<&'static str, String>);

impl Own {
    fn one(part: &str, words: &str) -> Self {
        let part = PARTS.into_iter().find(|p| *p == part).unwrap();
        Self(BTreeMap::from([(part, words.to_owned())]))
    }
}

impl Templates for Own {
    fn template(&self, name: &str) -> Option<&str> {
        static SHIPPED: Shipped = Shipped;
        self.0.get(name).map(String::as_str).or_else(|| SHIPPED.template(name))
    }
    fn own(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }
}

impl Supplies for Own {
    fn face(&self, face: Face) -> std::borrow::Cow<'static, [u8]> {
        Shipped.face(face)
    }
    fn art(&self, _path: &str) -> Option<Result<Art, Fault>> {
        None
    }
    fn photo(&self, _path: &str) -> Option<Result<Photo, Fault>> {
        None
    }
}

fn fonts() -> Fonts {
    Fonts::new(|face| Shipped.face(face)).unwrap()
}

/// Complaints as they are shown, or what came out when there are none.
fn shown(job: &Job, supplies: &Own, edition: Edition) -> String {
    match weirbook::set(job, edition, supplies, &fonts()) {
        Ok((document, _)) => format!("nothing to complain about: {} blocks\n", document.blocks.len()),
        Err(found) => plain(supplies, &found),
    }
}

fn plain(supplies: &Own, found: &Diagnostics) -> String {
    let mut texts = vec![Text { name: "site.toml".into(), words: String::new() }; 3];
    texts.extend(document::texts(supplies));
    complaints::render(&texts, found, false, 100)
}

#[test]
fn mistakes_in_templates_read_well() {
    let job = job("quoyle-end");
    insta::glob!("templates/*.md", |path| {
        let name = path.file_name().unwrap().to_str().unwrap();
        let part = name.split('.').next().unwrap();
        let edition = match part {
            "shed-sheet" => Edition::ShedSheet,
            "workings" => Edition::Workings,
            _ => Edition::CarePlan,
        };
        insta::assert_snapshot!(shown(&job, &Own::one(part, &std::fs::read_to_string(path).unwrap()), edition));
    });
}

#[test]
fn a_template_may_not_be_a_whole_library() {
    let words = format!("# Plan\n\n{}", "words ".repeat(200_000));
    insta::assert_snapshot!(shown(&job("quoyle-end"), &Own::one("care-plan", &words), Edition::CarePlan));
}

#[test]
fn every_complaint_about_templates_has_a_case() {
    let mut ids = BTreeSet::new();
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src/document")).unwrap() {
        let source = std::fs::read_to_string(entry.unwrap().path()).unwrap();
        for mark in ["Diagnostic::error(", "slip("] {
            for (at, _) in source.match_indices(mark) {
                let rest = source[at + mark.len()..].trim_start();
                ids.extend(rest.strip_prefix('"').and_then(|r| r.split_once('"')).map(|(id, _)| id.to_owned()));
            }
        }
    }
    let seen: String = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/snapshots"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.file_name().unwrap().to_str().unwrap().contains("templates"))
        .map(|path| std::fs::read_to_string(path).unwrap())
        .collect();
    // A template that is missing altogether cannot be: ours take its place.
    let unseen: Vec<_> =
        ids.iter().filter(|id| *id != "missing-template" && !seen.contains(&format!("[{id}]"))).collect();
    assert!(ids.len() > 20, "only {} ids were found in the source", ids.len());
    assert!(unseen.is_empty(), "no case shows {unseen:?}");
}

/// Sites that between them have everything a plan can have.
fn many() -> Vec<Job> {
    let mut jobs: Vec<Job> = DEMOS.iter().map(|(id, ..)| job(id)).collect();
    jobs.push(crate::year::untold_changes());
    jobs.push(crate::released::tested_through_a_spell(1.0));
    jobs.extend(crate::advice::everything());
    jobs.extend(crate::by_test::everything());
    // A steady bleed in place of changes, and a roof too small for the blend.
    for (id, was, is) in [
        ("pinch-gap", "aim = \"fewest visits\"", "aim = \"bleed\""),
        ("wendlow-bottom", "area = \"46 m2\"", "area = \"1 m2\""),
    ] {
        let (_, site, log) = DEMOS.iter().find(|demo| demo.0 == id).unwrap();
        let site = site.replace(was, is).replace("every = \"5 days\"                   #", "#");
        jobs.push(crate::demos::made(&site, Some(log)));
    }
    for pond in sample(150) {
        let (site, log) = (pond.site_file(), pond.log());
        let text = |name: &str, words: &str| Text { name: name.into(), words: words.into() };
        let choices = weirbook::Choices { draw: Some(FEW), ..weirbook::Choices::default() };
        let (job, _) = weirbook::prepare(&text("site.toml", &site), Some(&text("log.csv", &log)), choices, &Shipped);
        jobs.extend(job);
    }
    jobs
}

#[test]
fn the_names_that_are_told_are_those_that_plans_offer() {
    let told: BTreeMap<String, Kind> = NAMES.iter().map(|name| (name.path.to_owned(), name.kind)).collect();
    assert_eq!(told.len(), NAMES.len(), "a name stands twice in the table");
    let mut offered: BTreeMap<String, BTreeSet<Kind>> = BTreeMap::new();
    let fonts = fonts();
    for job in many() {
        for (path, kind) in document::offered(&job.site, &job.plan, &fonts) {
            offered.entry(path).or_default().extend(kind);
        }
    }
    for (path, kinds) in &offered {
        let Some(said) = told.get(path) else {
            panic!("plans offer `{path}` ({kinds:?}), and src/document/offer.rs does not tell of it")
        };
        for kind in kinds {
            // Words that carry marks of their own are safe, as marks are.
            let like = |kind: Kind| if kind == Kind::Mark { Kind::Text } else { kind };
            assert_eq!(like(*said), like(*kind), "{path}");
        }
    }
    let nowhere: Vec<&String> = told.keys().filter(|path| !offered.contains_key(*path)).collect();
    assert!(nowhere.is_empty(), "src/document/offer.rs tells of names that no plan offered: {nowhere:?}");
}

#[test]
fn the_comments_name_all_that_may_be_used() {
    for part in ["care-plan", "shed-sheet", "workings", "sentences"] {
        let comment = document::comment(part);
        let mut named: BTreeSet<&str> = BTreeSet::new();
        for line in comment.lines().skip_while(|line| !line.starts_with("Values.")).skip(1) {
            named.extend(
                line.strip_prefix("  ").and_then(|line| line.split_whitespace().next()).filter(|n| !n.starts_with('.')),
            );
        }
        let known: BTreeSet<&str> = NAMES.iter().map(|name| name.path).collect();
        assert_eq!(named, known, "{part}");
        for (name, _) in DRAWINGS {
            assert!(comment.contains(&format!("\n  {name} ")), "{part} does not tell of the drawing {name}");
        }
    }
}

#[test]
fn filters_and_tests_are_those_of_the_language() {
    let mut words = String::from("# Words\n\n");
    for name in FILTERS {
        writeln!(words, "{{{{ \"{name}\" is filter }}}}").unwrap();
    }
    for name in TESTS {
        writeln!(words, "{{{{ \"{name}\" is test }}}}").unwrap();
    }
    let (document, _) =
        weirbook::set(&job("quoyle-end"), Edition::CarePlan, &Own::one("care-plan", &words), &fonts()).unwrap();
    let words = format!("{:?}", document.blocks);
    assert!(words.contains("True") && !words.contains("False"), "{words}");
}

#[test]
fn our_own_templates_are_above_complaint() {
    for text in document::texts(&Shipped) {
        assert!(!text.words.is_empty(), "{}", text.name);
    }
    let found = document::check(&Shipped);
    assert!(found.is_empty(), "{}", plain(&Own::default(), &found));
    let fonts = fonts();
    for (at, job) in many().iter().enumerate() {
        // Composing is what can fail; a few ponds are enough for each edition but the first.
        for edition in [Edition::CarePlan, Edition::ShedSheet] {
            if edition == Edition::CarePlan || at < 20 {
                let made = weirbook::set(job, edition, &Shipped, &fonts);
                if let Err(found) = made {
                    let said = plain(&Own::default(), &found);
                    assert!(said.contains("sheet-too-full"), "{} {edition:?}\n{said}", job.site.id);
                }
            }
        }
    }
}

#[test]
fn a_comment_at_the_head_leaves_no_trace() {
    let fonts = fonts();
    let commented = PARTS.map(|part| (part, format!("{}{}", document::comment(part), Shipped.template(part).unwrap())));
    let own = Own(BTreeMap::from(commented));
    for (id, ..) in DEMOS {
        let job = job(id);
        for edition in [Edition::CarePlan, Edition::ShedSheet, Edition::Workings] {
            let (ours, _) = weirbook::set(&job, edition, &Shipped, &fonts).unwrap();
            let (theirs, _) =
                weirbook::set(&job, edition, &own, &fonts).unwrap_or_else(|found| panic!("{}", plain(&own, &found)));
            assert_eq!(format!("{:?}", ours.blocks), format!("{:?}", theirs.blocks), "{id} {edition:?}");
        }
    }
}

#[test]
fn unmodified_copies_give_the_same_bytes() {
    let fonts = fonts();
    let shipped = |part| Shipped.template(part).unwrap().to_owned();
    let plain = Own(BTreeMap::from(PARTS.map(|part| (part, shipped(part)))));
    let commented = Own(BTreeMap::from(PARTS.map(|part| (part, document::comment(part) + &shipped(part)))));
    let changed = Own::one("workings", &shipped("workings").replace("Workings", "Sums"));
    let job = job("pinch-gap");
    for edition in [Edition::CarePlan, Edition::ShedSheet, Edition::Workings] {
        let made = |own: &dyn Supplies| weirbook::render(&job, edition, own, &fonts).unwrap();
        let ours = made(&Shipped);
        assert!(ours == made(&plain) && ours == made(&commented), "{edition:?}");
        assert!(ours != made(&changed), "{edition:?}: other words are another input");
    }
}

/// Values that try to be something else.
const ODD: [&str; 6] = [
    "# **<script>{{ 1 }}",
    "a | b ~~c~~ [d](e) `f` &amp; 1. \\\\n _g_ {% if %} ![h](drawing:i)",
    "[^volume.low] {.verdict #x}",
    "> [!CAUTION]",
    "1. one",
    "(parens) <x@y.example> ]]> &lt; ' %",
];

#[test]
fn values_print_as_typed() {
    let (_, site, log) = DEMOS.iter().find(|demo| demo.0 == "quoyle-end").unwrap();
    let fonts = fonts();
    for odd in ODD {
        let site = site.replacen("name = \"Quoyle End\"", &format!("name = '''{odd}'''"), 1).replacen(
            "owner = \"Mrs L. Vennaby\"",
            &format!("owner = '''{odd}'''"),
            1,
        );
        let job = made(&site, Some(log));
        for edition in [Edition::CarePlan, Edition::ShedSheet, Edition::Workings] {
            let bytes = weirbook::render(&job, edition, &Shipped, &fonts)
                .unwrap_or_else(|f| panic!("{odd}: {}", plain(&Own::default(), &f)));
            let words = weirbook::pdf::read::text(&bytes).unwrap().join(" ").replace('\u{a0}', " ");
            let head: String = odd.chars().take(20).collect();
            assert!(words.contains(&head), "{odd} in {edition:?}:\n{words}");
            if edition == Edition::CarePlan {
                assert!(words.contains(odd), "{odd}:\n{words}");
            }
            in_metadata(&bytes, odd, edition);
        }
    }
}

/// Title in the document information, in XMP, and nothing strange in the outline.
fn in_metadata(bytes: &[u8], odd: &str, edition: Edition) {
    let file = lopdf::Document::load_mem(bytes).unwrap();
    let text = |bytes: &[u8]| match bytes {
        [0xfe, 0xff, rest @ ..] => {
            let units: Vec<u16> = rest.chunks(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect();
            String::from_utf16(&units).unwrap()
        }
        _ => bytes.iter().map(|b| char::from(*b)).collect(),
    };
    let title = format!("{} for {odd}", edition.title());
    let info = file
        .trailer
        .get(b"Info")
        .and_then(|info| file.dereference(info))
        .ok()
        .and_then(|(_, info)| info.as_dict().ok().cloned());
    if let Some(info) = info {
        assert_eq!(text(info.get(b"Title").unwrap().as_str().unwrap()), title);
    }
    let catalog = file.catalog().unwrap();
    let metadata = catalog.get_deref(b"Metadata", &file).unwrap().as_stream().unwrap();
    let metadata = String::from_utf8(metadata.get_plain_content().unwrap_or(metadata.content.clone())).unwrap();
    let escaped = title.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let quoted = escaped.replace('"', "&quot;").replace('\'', "&apos;");
    let found =
        metadata.contains(&escaped) || metadata.contains(&quoted) || metadata.contains(&escaped.replace('\'', "&#39;"));
    assert!(found, "{title} is not in\n{metadata}");
    assert!(!metadata.contains("<script>"), "{metadata}");
}

#[test]
fn endless_templates_are_stopped() {
    let job = job("quoyle-end");
    for words in [
        "# A\n\n{% for a in range(99999) %}{% for b in range(99999) %}{% for c in range(99999) %}x{% endfor %}{% endfor %}{% endfor %}\n",
        "# A\n\n{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}\n",
        "# A\n\n{% include \"care-plan\" %}\n",
        "# A\n\n{{ \"x\" * 1000000000 }}\n",
        "# A\n\n{% set ns = namespace(x=\"x\") %}{% for i in range(60) %}{% set ns.x = ns.x ~ ns.x %}{% endfor %}\n",
    ] {
        let said = shown(&job, &Own::one("care-plan", words), Edition::CarePlan);
        assert!(said.contains("error[") && said.contains("care-plan.md:"), "{words}\n{said}");
    }
}

#[test]
fn deep_templates_do_not_exhaust_us() {
    let job = job("quoyle-end");
    for words in [
        format!("# A\n\n{}", "> ".repeat(5000)),
        format!("# A\n\n{}x", "- ".repeat(5000)),
        format!("# A\n\n{}x{}", "*a ".repeat(5000), "*".repeat(5000)),
        format!("# A\n\n{}", "[".repeat(20000)),
        format!("# A\n\n{{{{ {}1{} }}}}", "(".repeat(5000), ")".repeat(5000)),
        format!("# A\n\n{{{{ 1{} }}}}", " + 1".repeat(50_000)),
        format!("# A\n\n{{{{ site{} }}}}", ".name".repeat(20_000)),
        format!("# A\n\n{}x", "{% if site %}".repeat(2000)),
        format!("# A\n\n{}x{}", "{% if site %}".repeat(140), "{% endif %}".repeat(140)),
        format!("# A\n\n| {} |\n|{}\n", "a |".repeat(3000), "---|".repeat(3000)),
        "# A\n\n{% for x in readings %}{{ loop.cycle() }}{% endfor %}".to_owned(),
        "# A\n\n{% for x in readings %}{{ loop.cycle(*[]) }}{% endfor %}".to_owned(),
    ] {
        let _ = shown(&job, &Own::one("care-plan", &words), Edition::CarePlan);
    }
}

/// A change that a slip of the hand makes in a template.
fn slips() -> impl Strategy<Value = Vec<(usize, usize, String)>> {
    let pieces = [
        "{{",
        "}}",
        "{%",
        "%}",
        "{#",
        "#}",
        "|",
        "*",
        "**",
        "#",
        "##",
        "\n\n",
        "    ",
        "> ",
        "- ",
        "1. ",
        "`",
        "[^",
        "](",
        "![](drawing:",
        "{% if x %}",
        "{% endif %}",
        "{{ site.nmae }}",
        "|---|",
        ": ",
        "<b>",
        "é",
        "\u{0}",
        "\u{F0001}",
        "\"",
        ".",
        "%",
    ];
    let piece = proptest::sample::select(pieces.to_vec()).prop_map(String::from);
    proptest::collection::vec((0..20_000usize, 0..30usize, piece), 1..5)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_slip_in_a_template_makes_us_panic(which in 0..4usize, slips in slips()) {
        let part = PARTS[which];
        let mut signs: Vec<char> = Shipped.template(part).unwrap().chars().collect();
        for (at, length, piece) in slips {
            let at = at % signs.len();
            let end = (at + length).min(signs.len());
            signs.splice(at..end, piece.chars());
        }
        let own = Own::one(part, &signs.into_iter().collect::<String>());
        let edition = if part == "shed-sheet" { Edition::ShedSheet } else { Edition::CarePlan };
        let said = shown(&job("wendlow-bottom"), &own, edition);
        prop_assert!(!said.contains("endless-template"), "{}", said);
    }
}
