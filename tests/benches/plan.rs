//! What the van waits for: a whole plan of the first demo site, then its stages. Run with `cargo bench`.

#![expect(clippy::unwrap_used, reason = "a bench that cannot read its own case has failed")]

use divan::{Bencher, black_box};
use weirbook::diag::Text;
use weirbook::document::Edition;
use weirbook::page::fonts::Fonts;
use weirbook::plan::{Texts, decide};
use weirbook::water::ensemble::USUAL;
use weirbook::{Choices, Job, Shipped, Supplies, prepare, render, site};

/// As in the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const SITE: &str = include_str!("../../demo-sites/quoyle-end/site.toml");
const LOG: &str = include_str!("../../demo-sites/quoyle-end/log.csv");

fn main() {
    divan::main();
}

fn texts() -> (Text, Text) {
    (Text { name: "site.toml".into(), words: SITE.into() }, Text { name: "log.csv".into(), words: LOG.into() })
}

fn fonts() -> Fonts {
    Fonts::new(|face| Shipped.face(face)).unwrap()
}

fn job() -> Job {
    let (site, log) = texts();
    prepare(&site, Some(&log), Choices::default(), &Shipped).0.unwrap()
}

/// Texts to the bytes of both documents, fonts opened anew as in a fresh process.
#[divan::bench]
fn whole_plan(bencher: Bencher) {
    let (site, log) = texts();
    bencher.bench(|| {
        let fonts = fonts();
        let job = prepare(&site, Some(&log), Choices::default(), &Shipped).0.unwrap();
        let plan = render(&job, Edition::CarePlan, &Shipped, &fonts).unwrap();
        let sheet = render(&job, Edition::ShedSheet, &Shipped, &fonts).unwrap();
        (plan.len(), sheet.len())
    });
}

#[divan::bench]
fn open_fonts() -> Fonts {
    fonts()
}

#[divan::bench]
fn parse(bencher: Bencher) {
    let (site, log) = texts();
    bencher.bench(|| site::parse(black_box(&site), Some(&log), None));
}

#[divan::bench]
fn decide_plan(bencher: Bencher) {
    let (site_text, log) = texts();
    let site = site::parse(&site_text, Some(&log), None).site.unwrap();
    let date = site.plan_date.as_ref().unwrap().value;
    let texts = Texts { site: &site_text, log: Some(&log) };
    bencher.bench_local(|| decide(black_box(&site), texts, date, site.page.system, USUAL).is_ok());
}

/// The workings as a spreadsheet, which every edition carries: made once a plan.
#[divan::bench]
fn workings_as_spreadsheet(bencher: Bencher) {
    bencher.with_inputs(job).bench_local_refs(|job| weirbook::spreadsheet(job).unwrap().len());
}

#[divan::bench(args = [Edition::CarePlan, Edition::ShedSheet, Edition::Workings])]
fn render_edition(bencher: Bencher, edition: Edition) {
    let (job, fonts) = (job(), fonts());
    bencher.bench_local(|| render(&job, edition, &Shipped, &fonts).unwrap().len());
}

/// The stages of one document, each on what the one before it made.
mod stages {
    use super::*;
    use weirbook::document::{self, Source, Templates};
    use weirbook::layout;
    use weirbook::page::style::Sheet;
    use weirbook::page::{Document, Paper, Style};

    #[derive(Debug)]
    struct Words;

    impl Templates for Words {
        fn template(&self, name: &str) -> Option<&str> {
            static SHIPPED: Shipped = Shipped;
            SHIPPED.template(name)
        }
    }

    fn compose_from(job: &Job, fonts: &Fonts) -> Document {
        let style = Style { paper: Paper::A4, sheet: Sheet::Report, accent: [0x2f, 0x5d, 0x50] };
        let source = Source {
            site: &job.site,
            plan: &job.plan,
            template: &Words,
            style,
            fonts,
            letterhead: None,
            photos: &[],
            fingerprint: job.fingerprint,
            squeeze: 0,
        };
        document::compose(&source, Edition::CarePlan).unwrap()
    }

    #[divan::bench]
    fn compose(bencher: Bencher) {
        let job = job();
        let fonts = fonts();
        bencher.bench_local(|| compose_from(black_box(&job), &fonts));
    }

    #[divan::bench]
    fn typeset(bencher: Bencher) {
        let fonts = fonts();
        let document = compose_from(&job(), &fonts);
        bencher.bench_local(|| layout::typeset(black_box(&document), &fonts));
    }

    #[divan::bench]
    fn write(bencher: Bencher) {
        let fonts = fonts();
        let document = compose_from(&job(), &fonts);
        let pages = layout::typeset(&document, &fonts).pages;
        bencher.bench_local(|| weirbook::pdf::write::write(black_box(&pages), &document, &fonts, &[]).unwrap().len());
    }
}

/// A care plan of so many pages under a letterhead with a logo. What it takes to typeset and to write grows with its
/// length, and no faster.
mod length {
    use super::*;
    use weirbook::page::{Art, Block, BlockKind, Document, Inline, Letterhead};
    use weirbook::{layout, pdf};

    const LOGO: &[u8] = include_bytes!("../../demo-sites/quoyle-end/letterhead.svg");

    /// The plan without its numbered lines, from the start again as often as it takes: those name every page that leads to
    /// them, and would be longer in a longer plan.
    fn document(pages: usize, fonts: &Fonts) -> Document {
        let (mut document, _) = weirbook::set(&job(), Edition::CarePlan, &Shipped, fonts).unwrap();
        let art: Art = weirbook::cli::art::read(LOGO).unwrap();
        document.letterhead = document.letterhead.map(|head| Letterhead { art: Some(art), ..head });
        assert!(document.letterhead.is_some(), "the first page has a letterhead");
        let mut blocks = std::mem::take(&mut document.blocks);
        let plan = blocks.iter().position(|block| matches!(block.kind, BlockKind::Lines(_))).unwrap();
        blocks.truncate(plan);
        let counts: Vec<usize> = (0..pages * plan).collect();
        let most = counts.partition_point(|&count| {
            document.blocks = first(count, &blocks);
            layout::typeset(&document, fonts).pages.pages.len() <= pages
        });
        document.blocks = first(most - 1, &blocks);
        document
    }

    /// Each paragraph ends with a number of its own: one that stood there before would be known already.
    fn first(count: usize, blocks: &[Block]) -> Vec<Block> {
        let mut blocks: Vec<Block> = blocks.iter().cycle().take(count).cloned().collect();
        for (number, block) in blocks.iter_mut().enumerate() {
            if let BlockKind::Paragraph(paragraph) = &mut block.kind {
                paragraph.text.push(Inline::Text(format!(" {number}")));
            }
        }
        blocks
    }

    fn made(document: &Document, fonts: &Fonts) -> (usize, usize) {
        let set = layout::typeset(document, fonts).pages;
        let bytes = pdf::write::write(&set, document, fonts, &[]).unwrap();
        (set.pages.len(), bytes.len())
    }

    /// Ten pages should take at most 12 ms, and two hundred at most 22 times as long.
    #[divan::bench(args = [10, 200])]
    fn typeset_and_write(bencher: Bencher, pages: usize) {
        let fonts = fonts();
        let document = document(pages, &fonts);
        let (count, bytes) = made(&document, &fonts);
        assert_eq!(count, pages);
        assert!(bytes <= pages * 15_000, "{pages} pages take {bytes} bytes");
        bencher.bench_local(|| made(black_box(&document), &fonts));
    }
}
