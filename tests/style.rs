//! The house style: colours that can be told apart and read, the grid, the sizes, each paper. What is asserted of pages is
//! read from the display list. Numbers come from WCAG 2.2, from Machado, Oliveira and Fernandes (2009), and from the
//! project's description of its pages.

#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use weirbook::cli::complaints::render;
use weirbook::diag::{Diagnostics, Text};
use weirbook::document::Edition;
use weirbook::layout::Typeset;
use weirbook::page::display::{Draw, DrawItem, Paint, Run};
use weirbook::page::style::{LARGE_CONTRAST, MM, TEXT_CONTRAST, contrast, luminance};
use weirbook::page::{Face, Ink, Paper, Segment, Style, style::Sheet};
use weirbook::{Choices, Job, Shipped, prepare, set};

use crate::demos::DEMOS;
use crate::layout::fonts;

const PAPERS: [&str; 4] = ["A4", "Letter", "A5", "Half Letter"];
const WHITE: [u8; 3] = [255; 3];

fn style(accent: [u8; 3]) -> Style {
    Style { paper: Paper::A4, sheet: Sheet::Report, accent }
}

/// The accent of the description's invented firm.
fn house() -> Style {
    style([0x8a, 0x4a, 0x1e])
}

/// A demo with lines of its site file replaced, and all complaints.
fn told(id: &str, changes: &[(&str, &str)]) -> (Option<Job>, Diagnostics, Text) {
    let (_, site, log) = DEMOS.iter().find(|demo| demo.0 == id).unwrap();
    let words = site
        .lines()
        .map(|line| {
            let key = line.split('=').next().unwrap_or_default().trim();
            changes.iter().find(|(old, _)| *old == key).map_or(line, |(_, new)| new)
        })
        .collect::<Vec<_>>()
        .join("\n");
    let site = Text { name: "site.toml".into(), words };
    let log = Text { name: "log.csv".into(), words: (*log).into() };
    let (job, complaints) = prepare(&site, Some(&log), Choices::default(), &Shipped);
    (job, complaints, site)
}

/// The pages of one edition of a demo on one paper.
fn pages(id: &str, edition: Edition, paper: &str) -> (Style, Typeset) {
    let plan = if edition == Edition::ShedSheet { "A4" } else { paper };
    let line = format!("paper = \"{plan}\"\nshed_paper = \"{paper}\"");
    let job = told(id, &[("paper", &line)]).0.unwrap();
    let (document, typeset) = set(&job, edition, &Shipped, fonts()).unwrap();
    (document.style, typeset)
}

fn every_page(of: impl Fn(&str, &str, Style, &Typeset)) {
    for (id, ..) in DEMOS {
        for paper in PAPERS {
            for edition in [Edition::CarePlan, Edition::ShedSheet, Edition::Workings] {
                if edition != Edition::ShedSheet && !["A4", "Letter"].contains(&paper) {
                    continue;
                }
                let (style, typeset) = pages(id, edition, paper);
                of(&format!("{id}, {edition:?}, {paper}"), paper, style, &typeset);
            }
        }
    }
}

fn runs(items: &[DrawItem]) -> impl Iterator<Item = &Run> {
    items.iter().filter_map(|item| match &item.draw {
        Draw::Text(run) => Some(run),
        _ => None,
    })
}

/// Colour blindness at full strength, for linear light: Machado, Oliveira and Fernandes (2009), A physiologically-based
/// model for simulation of color vision deficiency, IEEE Trans. Vis. Comput. Graph. 15, 1291-1298, their table for severity 1.0.
const BLIND: [(&str, [[f64; 3]; 3]); 3] = [
    ("red-blind", [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    ("green-blind", [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    ("blue-blind", [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
];

fn linear(channel: u8) -> f64 {
    let c = f64::from(channel) / 255.0;
    if c <= 0.04045 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) }
}

fn channel(linear: f64) -> u8 {
    let c = if linear <= 0.003_130_8 { linear * 12.92 } else { 1.055 * libm::pow(linear, 1.0 / 2.4) - 0.055 };
    (c.clamp(0.0, 1.0) * 255.0).round() as u8
}

/// Contrast to white of a colour as someone sees it whose eyes follow `matrix`. White stays white in all three.
fn seen_on_white(colour: [u8; 3], matrix: &[[f64; 3]; 3]) -> f64 {
    let light = colour.map(linear);
    let [red, green, blue] = matrix.map(|row| row.iter().zip(light).map(|(m, c)| m * c).sum::<f64>().clamp(0.0, 1.0));
    1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)
}

/// A colour as a grey printer prints it: the grey of the same luminance.
fn grey(colour: [u8; 3]) -> [u8; 3] {
    [channel(luminance(colour)); 3]
}

#[test]
fn contrast_agrees_with_published_pairs() {
    // The extremes are WCAG's own (21:1). #767676 is the lightest grey that passes 4.5 on white, and #777777 the first that
    // fails: 4.54 and 4.48, the usual example in the literature on WCAG 1.4.3.
    for (one, other, ratio) in
        [([0, 0, 0], WHITE, 21.0), ([0x76; 3], WHITE, 4.54), ([0x77; 3], WHITE, 4.48), ([255, 0, 0], WHITE, 4.0)]
    {
        assert!((contrast(one, other) - ratio).abs() < 0.005, "{one:?}: {}", contrast(one, other));
        assert_eq!(contrast(one, other), contrast(other, one));
    }
}

#[test]
fn the_palette_is_the_one_described_in_colour_in_grey_and_to_colour_blind_eyes() {
    // Ink, contrast to white, its grey, and contrast to white for red-, green- and blue-blind eyes: the page description's
    // table, computed there by another program.
    let table: [(Ink, f64, u8, [f64; 3]); 7] = [
        (Ink::Ink, 16.0, 0x22, [15.8, 16.1, 16.0]),
        (Ink::Quiet, 7.4, 0x56, [7.2, 7.4, 7.3]),
        (Ink::Rule, 3.6, 0x87, [3.5, 3.6, 3.6]),
        (Ink::Hair, 1.8, 0xc0, [1.8, 1.8, 1.8]),
        (Ink::Band, 1.6, 0xce, [1.6, 1.6, 1.6]),
        (Ink::Window, 1.2, 0xeb, [1.2, 1.2, 1.2]),
        (Ink::Accent, 6.8, 0x5b, [7.8, 6.3, 6.9]),
    ];
    let style = house();
    for (ink, on_white, grey_equal, blind) in table {
        let colour = style.colour(ink);
        // The table gives one decimal, so half of the last one either way; and a grey is right to one step.
        assert!((contrast(colour, WHITE) - on_white).abs() <= 0.051, "{ink:?}: {}", contrast(colour, WHITE));
        assert!(grey(colour)[0].abs_diff(grey_equal) <= 1, "{ink:?} prints as {:02x}", grey(colour)[0]);
        for ((name, matrix), expected) in BLIND.iter().zip(blind) {
            let found = seen_on_white(colour, matrix);
            assert!((found - expected).abs() <= 0.051, "{ink:?}, {name}: {found}");
        }
    }
    for (one, other, expected) in [
        (Ink::Ink, Ink::Window, 13.3),
        (Ink::Ink, Ink::Band, 10.1),
        (Ink::Quiet, Ink::Window, 6.1),
        (Ink::Quiet, Ink::Band, 4.7),
        (Ink::Window, Ink::Band, 1.3),
    ] {
        let found = contrast(style.colour(one), style.colour(other));
        assert!((found - expected).abs() <= 0.051, "{one:?} on {other:?}: {found}");
    }
}

/// What is painted under a point by the items before it: the last fill that covers it, else the paper.
fn ground(style: &Style, before: &[DrawItem], (x, y): (f32, f32)) -> Option<[u8; 3]> {
    for item in before.iter().rev() {
        match &item.draw {
            Draw::Path { segments, fill: Some(paint), .. } if covers(segments, (x, y)) => {
                return Some(match paint {
                    Paint::Ink(ink) => style.colour(*ink),
                    Paint::Rgb(rgb) => *rgb,
                });
            }
            Draw::Image { bounds, .. }
                if bounds.x <= x && x <= bounds.right() && bounds.y <= y && y <= bounds.bottom() =>
            {
                return None;
            }
            _ => {}
        }
    }
    Some(WHITE)
}

/// Whether an outline, curves taken as straight, winds around a point.
fn covers(segments: &[Segment], (x, y): (f32, f32)) -> bool {
    let mut points: Vec<(f32, f32)> = Vec::new();
    let mut inside = false;
    let mut close = |points: &mut Vec<(f32, f32)>| {
        for (n, &(x1, y1)) in points.iter().enumerate() {
            let (x2, y2) = points[(n + 1) % points.len()];
            if (y1 > y) != (y2 > y) && x < (x2 - x1) * (y - y1) / (y2 - y1) + x1 {
                inside = !inside;
            }
        }
        points.clear();
    };
    for segment in segments {
        match *segment {
            Segment::Move(x, y) => {
                close(&mut points);
                points.push((x, y));
            }
            Segment::Line(x, y) | Segment::Curve(.., x, y) => points.push((x, y)),
            Segment::Close => {}
        }
    }
    close(&mut points);
    inside
}

#[test]
fn every_text_can_be_read_on_the_ground_it_stands_on() {
    let mut grounds = 0;
    every_page(|place, _, style, typeset| {
        for (number, page) in typeset.pages.pages.iter().enumerate() {
            for (index, item) in page.items.iter().enumerate() {
                let Draw::Text(run) = &item.draw else { continue };
                let ink = style.colour(run.ink);
                // Left, middle and right of the letters, at half their height.
                for share in [0.02, 0.5, 0.98] {
                    let point = (run.x + run.width * share, run.y - run.size * 0.25);
                    let under = ground(&style, &page.items[..index], point).unwrap();
                    let found = contrast(ink, under);
                    assert!(
                        found >= TEXT_CONTRAST,
                        "{place}, page {}: `{}` has {found:.2} on {under:02x?}",
                        number + 1,
                        run.text()
                    );
                    // And printed in grey.
                    assert!(
                        contrast(grey(ink), grey(under)) >= TEXT_CONTRAST - 0.1,
                        "{place}: `{}` in grey",
                        run.text()
                    );
                }
            }
        }
    });
    // White on a block of ink is met as well, so the search for what lies under a text finds something.
    let style = house();
    let (_, typeset) = pages(DEMOS[0].0, Edition::ShedSheet, "A4");
    let page = &typeset.pages.pages[0];
    for (index, item) in page.items.iter().enumerate() {
        if let Draw::Text(run) = &item.draw
            && run.ink == Ink::Paper
        {
            grounds += 1;
            let under = ground(&style, &page.items[..index], (run.x + 1.0, run.y - 3.0)).unwrap();
            assert_eq!(under, style.colour(Ink::Ink));
        }
    }
    assert!(grounds > 0);
}

#[test]
fn text_is_set_in_three_inks_and_white_only() {
    every_page(|place, _, _, typeset| {
        for run in typeset.pages.pages.iter().flat_map(|page| runs(&page.items)) {
            let known = matches!(run.ink, Ink::Ink | Ink::Quiet | Ink::Accent | Ink::Paper);
            assert!(known, "{place}: `{}` in {:?}", run.text(), run.ink);
        }
    });
}

/// What the firm's colour draws: nothing that a reader needs it for.
#[test]
fn the_accent_draws_the_firm_the_step_rule_and_numbers_only() {
    every_page(|place, _, _, typeset| {
        for item in typeset.pages.pages.iter().flat_map(|page| &page.items) {
            match &item.draw {
                Draw::Text(run) if run.ink == Ink::Accent => {
                    let text = run.text();
                    let number = text.trim().chars().all(|c| c.is_ascii_digit() || ",[]–".contains(c));
                    assert!(number || run.face == Face::DisplaySemibold, "{place}: `{text}` in the firm's colour");
                }
                Draw::Path { fill, stroke, segments, .. } => {
                    assert_ne!(*fill, Some(Paint::Ink(Ink::Accent)), "{place}");
                    if stroke.is_some_and(|stroke| stroke.paint == Paint::Ink(Ink::Accent)) {
                        assert_eq!(segments.len(), 4, "{place}: a line in the firm's colour that is not the step rule");
                    }
                }
                _ => {}
            }
        }
    });
}

#[test]
fn the_accent_is_used_as_far_as_it_can_be_read() {
    // Contrast to white by WCAG 2.2: #767676 4.54, #949494 3.03, #959595 2.99.
    for (accent, firm, numerals) in [
        ([0x76; 3], Ink::Accent, Ink::Accent),
        ([0x77; 3], Ink::Accent, Ink::Quiet),
        ([0x94; 3], Ink::Accent, Ink::Quiet),
        ([0x95; 3], Ink::Ink, Ink::Ink),
    ] {
        assert_eq!((style(accent).firm_ink(), style(accent).numeral_ink()), (firm, numerals), "{accent:02x?}");
    }
    // And so from the site file to the page: name and step rule on the one hand, numerals and line numbers on the other.
    for (accent, firm, numerals) in
        [("#767676", Some([0x76; 3]), Some([0x76; 3])), ("#949494", Some([0x94; 3]), None), ("#959595", None, None)]
    {
        let line = format!("accent = \"{accent}\"");
        let (job, complaints, _) = told("quoyle-end", &[("accent", &line), ("letterhead", "")]);
        let pale = complaints.sorted().iter().any(|complaint| complaint.id == "pale-accent");
        assert_eq!(pale, firm.is_none(), "{accent}");
        let (document, typeset) = set(&job.unwrap(), Edition::CarePlan, &Shipped, fonts()).unwrap();
        let style = document.style;
        let page = &typeset.pages.pages[0];
        let name = runs(&page.items).find(|run| run.size > 25.0).unwrap();
        let ink = style.colour(Ink::Ink);
        assert_eq!(style.colour(name.ink), firm.unwrap_or(ink), "{accent}");
        let numeral = runs(&page.items).find(|run| run.face == Face::Display && run.text() == "1").unwrap();
        let other = if firm.is_some() { style.colour(Ink::Quiet) } else { ink };
        assert_eq!(style.colour(numeral.ink), numerals.unwrap_or(other), "{accent}");
        let mark = runs(&page.items).find(|run| run.size == 7.5).unwrap();
        assert_eq!(style.colour(mark.ink), numerals.unwrap_or(other), "{accent}");
    }
    const { assert!(LARGE_CONTRAST < TEXT_CONTRAST) };
}

#[test]
fn a_pale_accent_is_complained_of_with_a_darker_one_to_write() {
    let (job, complaints, text) = told("quoyle-end", &[("accent", "accent = \"#e0b040\""), ("letterhead", "")]);
    assert!(job.is_some(), "the plan is made all the same");
    let mut pale = Diagnostics::new();
    complaints.sorted().into_iter().filter(|c| c.id == "pale-accent").for_each(|c| pale.push(c.clone()));
    let shown = render(&[text], &pale, false, 100);
    insta::assert_snapshot!("pale_accent", shown);
    // What it says to write can be read.
    let hint = pale.sorted()[0].hint.clone().unwrap();
    let hex = hint.split('#').nth(1).unwrap().get(..6).unwrap();
    let part = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
    assert!(contrast([part(0), part(2), part(4)], WHITE) >= TEXT_CONTRAST);
}

#[test]
fn amounts_of_the_shed_sheet_can_be_read_from_two_metres() {
    // The digits of the bold sans are 0.66 of the size high (its capitals, by the font's own OS/2 table). Half of normal sight
    // resolves letters ten minutes of arc high (ISO 8596: normal sight, five): 5.8 mm at two metres.
    let least_mm = 2000.0 * (10.0_f32 / 60.0).to_radians().tan();
    let high = f32::from(fonts().measures(Face::SansBold).unwrap().cap_height) / 1000.0;
    for (id, ..) in DEMOS {
        for (paper, most, least) in
            [("A4", 54.0, 44.0), ("Letter", 54.0, 44.0), ("A5", 40.0, 40.0), ("Half Letter", 40.0, 40.0)]
        {
            let (_, typeset) = pages(id, Edition::ShedSheet, paper);
            assert!(typeset.findings.is_empty(), "{id}, {paper}: {:?}", typeset.findings);
            assert_eq!(typeset.pages.pages.len(), 1);
            let items = &typeset.pages.pages[0].items;
            let amounts: Vec<&Run> = runs(items).filter(|run| run.face == Face::SansBold && run.size > 30.0).collect();
            assert!((2..=10).contains(&amounts.len()), "{id}, {paper}: {} amounts", amounts.len());
            for run in &amounts {
                assert!((least..=most).contains(&run.size), "{id}, {paper}: `{}` at {}", run.text(), run.size);
                assert!(run.size * high / MM > least_mm, "{id}, {paper}: `{}`", run.text());
            }
            // The main amount is never among what shrinks to nothing: digits stand in it.
            assert!(amounts.iter().any(|run| run.text().contains(|c: char| c.is_ascii_digit())));
            // Nothing is smaller than it may be.
            let smallest = runs(items).map(|run| run.size).fold(f32::INFINITY, f32::min);
            assert!(smallest >= if most > 50.0 { 13.0 } else { 12.0 }, "{id}, {paper}: {smallest} pt");
        }
    }
}
