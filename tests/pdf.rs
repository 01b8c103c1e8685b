//! The file: written twice it is the same, and its words can be read back.
#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::fs::File;
use std::io::Write as _;

use weirbook::page::Document;
use weirbook::pdf::{Attachment, read, write};

use crate::layout::{fonts, oddments, poster, sampler, set};

fn written(document: &Document) -> Vec<u8> {
    let attachment = Attachment {
        name: "input.toml".to_owned(),
        media_type: "text/plain".to_owned(),
        bytes: b"roof = \"felt\"\n".to_vec(),
        description: "What this report was made from".to_owned(),
        relationship: "Source".to_owned(),
    };
    write(&set(document).pages, document, fonts(), &[attachment]).unwrap()
}

#[test]
#[ignore = "writes the samples for a person to look at"]
fn the_samples_can_be_looked_at() {
    for (name, document) in [("report", sampler()), ("poster", poster()), ("oddments", oddments())] {
        let path = format!("{}/{name}.pdf", env!("CARGO_TARGET_TMPDIR"));
        File::create(path).unwrap().write_all(&written(&document)).unwrap();
    }
}

#[test]
fn the_same_document_gives_the_same_bytes() {
    assert!(written(&sampler()) == written(&sampler()));
    assert!(written(&poster()) == written(&poster()));
}

#[test]
fn words_are_read_back_in_order_with_ligatures_undone() {
    let pages = read::text(&written(&sampler())).unwrap();
    assert_eq!(pages.len(), set(&sampler()).pages.pages.len());
    let first = &pages[0];
    for words in [
        "Not yet: the new roof suits this shed, once the floor is raised from 4.0 to 7.0\u{a0}cm.",
        "Below 5\u{a0}cm the office can flood.",
        "2 Wed 17, Thu 18 and Fri 19 March 1.25\u{a0}kg of fine gravel, once a day",
        "shed down to 4.0. It takes three days to put right. 2",
        "See page\u{a0}2.",
        "1 of 4",
    ] {
        assert!(first.contains(words), "`{words}` is not in:\n{first}");
    }
    let last = pages.last().unwrap();
    for words in
        ["42.066 m³ Printed as 42,000\u{a0}litres: rounded down p\u{a0}1, 2, shed", "= 44.46 [1] × (1 − 0.05385 [2])"]
    {
        let words = words.replace("= ", "=\u{a0}");
        assert!(last.contains(&words), "`{words}` is not in:\n{last}");
    }
}

#[test]
fn attached_files_come_back_whole() {
    let files = read::attachments(&written(&sampler())).unwrap();
    assert_eq!(files, [("input.toml".to_owned(), b"roof = \"felt\"\n".to_vec())]);
}

#[test]
fn what_is_no_pdf_is_refused_without_a_panic() {
    assert!(read::text(b"").is_err());
    assert!(read::text(b"not a pdf").is_err());
    assert!(read::attachments(b"%PDF-1.7\n%%EOF").is_err());
    let whole = written(&poster());
    for cut in (0..whole.len()).step_by(997) {
        let _ = read::text(&whole[..cut]);
    }
}

#[test]
fn a_document_without_text_is_still_a_file() {
    let mut empty = sampler();
    empty.blocks.clear();
    empty.letterhead = None;
    assert!(read::text(&written(&empty)).is_ok());
}

#[test]
#[ignore = "a measurement: run it with --release and look at the times"]
fn ten_pages_are_set_and_written_within_twelve_milliseconds() {
    let mut long = sampler();
    let part = long.blocks.clone();
    for _ in 0..2 {
        long.blocks
            .extend(part.iter().filter(|block| !matches!(block.kind, weirbook::page::BlockKind::Lines(_))).cloned());
    }
    for round in 0..4 {
        #[expect(clippy::disallowed_methods, reason = "a measurement needs a clock")]
        let start = std::time::Instant::now();
        let typeset = set(&long);
        let middle = start.elapsed();
        let bytes = write(&typeset.pages, &long, fonts(), &[]).unwrap();
        let pages = typeset.pages.pages.len();
        println!(
            "round {round}: {pages} pages, {} bytes, set in {middle:?}, all in {:?}",
            bytes.len(),
            start.elapsed()
        );
    }
}
