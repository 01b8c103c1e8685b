//! The audit itself: what is inside, the plan made again, and every part of both held against each other.

use std::collections::{BTreeMap, BTreeSet};

use similar::{Algorithm, DiffOp, capture_diff_slices};

use crate::diag::{Diagnostic, Diagnostics, Severity};
use crate::document::Edition;
use crate::front::RECORD;
use crate::pdf::opened::{self, Attached, Opened};
use crate::pdf::seen::Seen;
use crate::pdf::unlike::{Part, Unlike, unlike};

use super::figures::{self, Cause, Moved, Told};
use super::finding::{Finding, Report};
use super::inside::{self, Inside};
use super::pages::{Slip, SlipKind, slips};
use super::rebuild::{Rebuilt, Tools, text_of};

/// The version of this program.
const THIS: &str = env!("CARGO_PKG_VERSION");
/// Of a plan of another version, so many lines that differ are listed one by one.
const FEW_LINES: usize = 50;
/// Findings of one kind on one page beyond this are told by their number.
const MOST_ON_A_PAGE: usize = 200;

/// Opens a plan, makes it again from what is inside it, and compares.
///
/// # Errors
/// When the file is no PDF, broken, locked, or a PDF of something else.
pub fn audit(bytes: &[u8], tools: Tools<'_>) -> Result<Report, Diagnostic> {
    audit_against(bytes, tools, &mut None)
}

/// [`audit`], for whoever looks at many copies of one plan: the plan made again is kept in `kept` and used for the next file in
/// which the same lies inside.
///
/// # Errors
/// As [`audit`].
pub fn audit_against(bytes: &[u8], tools: Tools<'_>, kept: &mut Option<Rebuilt>) -> Result<Report, Diagnostic> {
    if let Some(known) = kept.as_ref().filter(|known| known.bytes == bytes) {
        return Ok(same(known));
    }
    let file = opened::open(bytes).map_err(|why| inside::unopened(&why))?;
    let inside = Inside::of(&file)?;
    let record = &inside.record;
    let mut report = Report {
        made_by: inside.recorded.then(|| record.version.clone()),
        this: THIS,
        edition: record.edition().map(Edition::name),
        date: Some(record.date.clone()).filter(|date| !date.is_empty()),
        findings: inside.findings.clone(),
        pages: file.page_count(),
        ..Report::default()
    };
    let pages: Vec<Option<Seen>> = (0..file.page_count()).map(|page| file.seen(page)).collect();
    count(&mut report, &pages);
    let fits = kept.as_ref().is_some_and(|known| made_of(known, &inside));
    if !fits {
        *kept = None;
        if inside.enough && inside.site.is_some() {
            match Rebuilt::of(&inside, &file, tools) {
                Ok(made) => *kept = Some(made),
                Err(complaints) => report.findings.push(not_recomputed(&inside, &complaints)),
            }
        }
    }
    let told = inside.words(&record.workings).and_then(figures::read);
    let Some(rebuilt) = kept.as_ref() else {
        own_workings(&mut report, &pages, told.as_deref());
        return Ok(report);
    };
    if rebuilt.bytes == bytes {
        return Ok(same(rebuilt));
    }
    // A file that does not say its version may be of any.
    let other_version = record.version != THIS;
    let audit = Audit { file: &file, inside: &inside, rebuilt, pages: &pages };
    if !other_version {
        audit.input(&mut report);
    }
    let other_input = report.findings.iter().any(|finding| finding.id == "not-the-input");
    audit.workings(&mut report, told.as_deref(), other_version || other_input);
    if other_input {
        audit.other_input(&mut report);
    }
    if other_input || other_version {
        own_workings(&mut report, &pages, told.as_deref());
    }
    if other_version {
        audit.other_version(&mut report);
    } else {
        audit.pages(&mut report);
        audit.files(&mut report);
        audit.parts(&mut report);
        if report.findings.is_empty() {
            report.remarks.push(
                "the file is not the same byte for byte: another program saved it again, and changed nothing in it"
                    .to_owned(),
            );
        }
    }
    report.findings.sort_by_key(|finding| (rank(finding.id), finding.page, finding.line));
    Ok(report)
}

/// What comes first.
fn rank(id: &str) -> usize {
    const FIRST: [&str; 9] = [
        "not-the-input",
        "no-record",
        "two-files",
        "missing-file",
        "not-recomputed",
        "other-version",
        "figure",
        "page-count",
        "number",
    ];
    // Findings on pages come in the order of the pages.
    let id = if ["words", "moved-words", "look", "drawing", "foreign-drawing", "claim"].contains(&id) {
        "number"
    } else {
        id
    };
    FIRST.iter().position(|first| *first == id).unwrap_or(FIRST.len())
}

fn same(known: &Rebuilt) -> Report {
    let pages: Vec<Option<Seen>> = known.pages.iter().cloned().map(Some).collect();
    let mut report = Report {
        made_by: Some(THIS.to_owned()),
        this: THIS,
        edition: Some(known.edition.name()),
        date: Some(known.job.plan.date.to_string()),
        pages: pages.len(),
        figures: known.job.plan.book.lines().len(),
        same_bytes: true,
        ..Report::default()
    };
    count(&mut report, &pages);
    report
}

fn count(report: &mut Report, pages: &[Option<Seen>]) {
    let words = || pages.iter().flatten().flat_map(|page| &page.words);
    report.words = words().count();
    report.numbers = words().filter(|word| word.text.chars().any(|c| c.is_ascii_digit())).count();
}

/// Whether a plan made before was made of what is inside this file too.
fn made_of(known: &Rebuilt, inside: &Inside) -> bool {
    let theirs = known.file.attached();
    let record = &inside.record;
    let inputs = [Some(&record.site), record.log.as_ref(), record.weather.as_ref(), Some(&RECORD.to_owned())]
        .into_iter()
        .flatten()
        .chain(record.templates.iter().map(|own| &own.name))
        .chain(record.letterhead.iter().filter_map(|art| art.name.as_ref()))
        .cloned()
        .collect::<Vec<String>>();
    inputs.iter().all(|name| {
        let mine = inside.files.get(name).and_then(|file| file.bytes.as_ref());
        mine.is_some() && mine == theirs.iter().find(|file| file.name == *name).and_then(|file| file.bytes.as_ref())
    })
}

fn not_recomputed(inside: &Inside, complaints: &Diagnostics) -> Finding {
    let texts = [text_of(inside.site.as_ref()), text_of(inside.log.as_ref()), text_of(inside.weather.as_ref())];
    let sorted = complaints.sorted();
    let errors: Vec<String> = sorted
        .iter()
        .filter(|complaint| complaint.severity == Severity::Error)
        .take(5)
        .map(|complaint| {
            let place = complaint.span.and_then(|span| Some((span, texts.get(usize::from(span.file.0))?)));
            match place {
                Some((span, text)) => format!("{} line {}: {}", text.name, text.line_of(span.start), complaint.message),
                None => complaint.message.clone(),
            }
        })
        .collect();
    Finding::new("not-recomputed", "no plan can be made of the files inside this PDF, so nothing could be recomputed")
        .why(errors.join("; "))
}

/// Numbers in a text: digits with points and commas between them.
fn numbers(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut number = String::new();
    for c in text.chars().chain([' ']) {
        if c.is_ascii_digit() || matches!(c, '.' | ',') && !number.is_empty() {
            number.push(c);
        } else if !number.is_empty() {
            found.push(number.trim_end_matches(['.', ',']).to_owned());
            number.clear();
        }
    }
    found
}

/// Checks the lines of the workings on the pages against `workings.json` of the same file: all that can be said where the plan
/// cannot be made again as it was.
fn own_workings(report: &mut Report, pages: &[Option<Seen>], told: Option<&[Told]>) {
    let Some(told) = told else { return };
    let mut next = 1_usize;
    let mut blocks: BTreeMap<usize, Block> = BTreeMap::new();
    for (page, seen) in (1..).zip(pages) {
        let Some(seen) = seen else { continue };
        let mut rows: BTreeMap<usize, Vec<&crate::pdf::seen::Word>> = BTreeMap::new();
        for word in &seen.words {
            rows.entry(word.line).or_default().push(word);
        }
        for (line, row) in rows {
            let first = row.iter().min_by(|a, b| a.x.total_cmp(&b.x));
            // A line of the workings begins with its number at the left edge, and they follow each other.
            if first.is_some_and(|word| word.x < LABEL_EDGE && word.text == next.to_string()) {
                let title = told.get(next - 1).map_or("", |told| told.title.as_str());
                let begins = title.split_whitespace().next().unwrap_or_default();
                if row.iter().any(|word| word.text == begins) {
                    blocks.insert(next, Block { page, line, numbers: Vec::new() });
                    next += 1;
                }
            }
            if let Some(block) = blocks.get_mut(&(next - 1)).filter(|block| block.numbers.len() < 500) {
                let words: Vec<&str> = row.iter().map(|word| word.text.as_str()).collect();
                block.numbers.extend(numbers(&words.join(" ")));
            }
        }
    }
    // Not every edition prints the workings.
    if blocks.len() < told.len() {
        return;
    }
    report.figures = report.figures.max(told.len());
    for (number, block) in blocks {
        let Some(figure) = told.get(number - 1) else { continue };
        let mut left = block.numbers;
        let plain: String = figure.keyed.split('[').enumerate().fold(String::new(), |text, (n, part)| {
            // What stands in brackets names another line, which has a number there.
            let part = if n == 0 { part } else { part.split_once(']').map_or("", |(_, rest)| rest) };
            text + part + " "
        });
        // A single digit may be an exponent, and stand on a line of its own.
        for wanted in numbers(&plain).into_iter().filter(|number| number.len() > 1) {
            match left.iter().position(|found| *found == wanted) {
                Some(at) => {
                    left.swap_remove(at);
                }
                None => report.findings.push(Finding {
                    line: Some(block.line),
                    figure: Some((figure.number, figure.id.clone())),
                    recomputed: Some(wanted.clone()),
                    ..Finding::new(
                        "own-workings",
                        format!("line {number} of the workings does not print {wanted}, which `workings.json` in the same file has there"),
                    )
                    .on(block.page)
                    .why("page and attached file were made together: one of them was changed afterwards")
                }),
            }
        }
    }
}

/// The number of a line of the workings begins left of this.
const LABEL_EDGE: f32 = 60.0;

struct Block {
    page: usize,
    line: usize,
    numbers: Vec<String>,
}

struct Audit<'a> {
    file: &'a Opened,
    inside: &'a Inside,
    rebuilt: &'a Rebuilt,
    pages: &'a [Option<Seen>],
}

impl Audit<'_> {
    /// The mark of the input that the foot of each page carries: it is not that of the files inside.
    fn input(&self, report: &mut Report) {
        let told = report.findings.iter().any(|finding| finding.id == "not-the-input");
        // Without a record the date and the units are guesses.
        if told || !self.inside.recorded {
            return;
        }
        let mark = |seen: &Seen| {
            let at = seen.words.iter().position(|word| word.text == "Input")?;
            let parts: Vec<&str> = seen.words.iter().skip(at + 1).take(2).map(|word| word.text.as_str()).collect();
            let hex = |part: &&str| part.len() == 4 && part.chars().all(|c| c.is_ascii_hexdigit());
            (parts.len() == 2 && parts.iter().all(hex)).then(|| parts.join(" "))
        };
        let marks = self.pages.iter().zip(&self.rebuilt.pages).filter_map(|(printed, rebuilt)| {
            let (printed, rebuilt) = (mark(printed.as_ref()?)?, mark(rebuilt)?);
            Some((printed, rebuilt))
        });
        let marks: Vec<(String, String)> = marks.collect();
        // One page may have been changed; the plan's own mark is on all of them.
        if let Some((printed, rebuilt)) = marks.first().filter(|_| marks.iter().all(|(a, b)| a != b)) {
            report.findings.push(
                Finding::new(
                    "not-the-input",
                    "the files inside this PDF, or what it says of date, units and possible years, are not what the plan was made from",
                )
                .values(Some(printed.clone()), Some(rebuilt.clone()))
                .why(format!("its pages carry the input mark `{printed}`, and what is inside gives `{rebuilt}`")),
            );
        }
    }

    fn pages(&self, report: &mut Report) {
        let rebuilt = &self.rebuilt.pages;
        if self.pages.len() == rebuilt.len() {
            for (number, (printed, rebuilt)) in self.pages.iter().zip(rebuilt).enumerate() {
                self.page(report, number, printed.as_ref(), number, rebuilt);
            }
            return;
        }
        let (has, should) = (self.pages.len(), rebuilt.len());
        report.findings.push(
            Finding::new("page-count", format!("this PDF has {has} pages, and the plan made again has {should}"))
                .values(Some(has.to_string()), Some(should.to_string())),
        );
        // Pages that are the same tell which are missing, and which were put in.
        let words = |seen: &Seen| seen.lines.join("\n");
        let old: Vec<String> = self.pages.iter().map(|page| page.as_ref().map(words).unwrap_or_default()).collect();
        let new: Vec<String> = rebuilt.iter().map(words).collect();
        for op in capture_diff_slices(Algorithm::Myers, &old, &new) {
            let (olds, news) = (op.old_range(), op.new_range());
            if let DiffOp::Equal { .. } = op {
                for (a, b) in olds.zip(news) {
                    self.pair(report, a, b);
                }
                continue;
            }
            let both = olds.len().min(news.len());
            (0..both).for_each(|n| self.pair(report, olds.start + n, news.start + n));
            for page in olds.skip(both) {
                report.findings.push(
                    Finding::new("page-count", "this page is not one of the plan's").on(page + 1).why("it was put in"),
                );
            }
            for page in news.skip(both) {
                let first = new.get(page).and_then(|words| words.lines().nth(2)).unwrap_or_default();
                report.findings.push(
                    Finding::new("page-count", format!("page {} of the plan is missing", page + 1))
                        .values(None, Some(first.to_owned()))
                        .why(format!("it has the words `{first}`")),
                );
            }
        }
    }

    fn pair(&self, report: &mut Report, a: usize, b: usize) {
        if let (Some(printed), Some(rebuilt)) = (self.pages.get(a), self.rebuilt.pages.get(b)) {
            self.page(report, a, printed.as_ref(), b, rebuilt);
        }
    }

    fn page(&self, report: &mut Report, number: usize, printed: Option<&Seen>, other: usize, rebuilt: &Seen) {
        let page = number + 1;
        let Some(printed) = printed else {
            report.findings.push(Finding::new("unreadable-page", "this page cannot be read").on(page));
            return;
        };
        let before = report.findings.len();
        let all = slips(printed, rebuilt);
        for slip in all.iter().take(MOST_ON_A_PAGE) {
            report.findings.push(self.slip(page, other, slip));
        }
        if let Some(more) = all.len().checked_sub(MOST_ON_A_PAGE).filter(|more| *more > 0) {
            let message = format!("and {more} more places of this page that differ");
            report.findings.push(Finding::new("words", message).on(page));
        }
        if !printed.whole {
            report
                .findings
                .push(Finding::new("unreadable-page", "the drawing of this page cannot be read to its end").on(page));
        }
        if !printed.foreign.is_empty() {
            let names: Vec<String> = printed.foreign.iter().map(|name| format!("`{name}`")).collect();
            report.findings.push(
                Finding::new("foreign-drawing", "another program has drawn on this page")
                    .on(page)
                    .why(format!("it uses {}, and weirbook never does", names.join(", "))),
            );
        }
        if printed.drawing != rebuilt.drawing {
            report.findings.push(
                Finding::new("drawing", "a drawing or a ground on this page is not what these readings give")
                    .on(page)
                    .why("its lines and areas are others than in the plan made again"),
            );
        }
        if printed.claims != rebuilt.claims {
            let at = printed.claims.iter().zip(&rebuilt.claims).find(|(a, b)| a != b);
            let values = at.map_or((None, None), |(a, b)| (Some(a.clone()), Some(b.clone())));
            report.findings.push(
                Finding::new("claim", "what is copied or read aloud from this page is not what it shows")
                    .on(page)
                    .values(values.0, values.1)
                    .why("the text that stands for a formula was changed"),
            );
        }
        // Whatever else: a page that is drawn otherwise is not left without a finding.
        if report.findings.len() == before && self.file.content(number) != self.rebuilt.file.content(other) {
            report.findings.push(
                Finding::new("foreign-drawing", "this page is drawn with other operators than weirbook writes")
                    .on(page)
                    .why("its words and lines read the same here; another reader may show others"),
            );
        }
    }

    fn slip(&self, page: usize, rebuilt: usize, slip: &Slip) -> Finding {
        let (printed, recomputed) = (slip.printed.clone(), slip.recomputed.clone());
        let words = |text: &Option<String>| text.clone().unwrap_or_default();
        let id = match slip.kind {
            SlipKind::Moved => "moved-words",
            SlipKind::Look => "look",
            _ if slip.in_numbers() => "number",
            _ => "words",
        };
        let others = match slip.words {
            0 | 1 => String::new(),
            more => format!(", and {} more words", more - 1),
        };
        let message = match slip.kind {
            SlipKind::Words => format!("printed `{}`, recomputed `{}`", words(&printed), words(&recomputed)),
            SlipKind::Added => format!("printed `{}`, which does not belong here", words(&printed)),
            SlipKind::Missing => format!("`{}` is missing here", words(&recomputed)),
            SlipKind::Moved => format!("`{}`{others} stands at another place than it should", words(&printed)),
            SlipKind::Look => {
                format!("`{}`{others} is printed in another size, colour or face than it should", words(&printed))
            }
        };
        Finding {
            id,
            page: Some(page),
            line: Some(slip.line),
            figure: self.rebuilt.figure_at(rebuilt, slip.y),
            printed,
            recomputed,
            message,
            beside: Some(slip.beside.clone()),
            why: None,
        }
    }

    /// The workings inside the file, figure by figure.
    fn workings(&self, report: &mut Report, told: Option<&[Told]>, expected: bool) {
        let now = figures::of(&self.rebuilt.job.plan.book);
        report.figures = now.len();
        let name = &self.inside.record.workings;
        let Some(told) = told else {
            if self.inside.files.contains_key(name) {
                report.findings.push(
                    Finding::new("figure", format!("`{name}` inside the PDF cannot be read as a list of figures"))
                        .why("it was changed, or cut off"),
                );
            }
            return;
        };
        // As it is attached: with ordinary spaces.
        let made = self.rebuilt.file.attached();
        let made = made.iter().find(|file| file.name == *name).and_then(|file| file.bytes.clone());
        let now = made.and_then(|bytes| figures::read(&String::from_utf8_lossy(&bytes))).unwrap_or(now);
        report.moved = figures::moved(told, &now, false);
        if expected {
            return;
        }
        let ids: BTreeSet<&str> = report.moved.iter().map(|moved| moved.id.as_str()).collect();
        for moved in &report.moved {
            let show = |value: Option<f64>, unit: &str| value.map(|value| format!("{value} {unit}").trim().to_owned());
            let (old, new) = (show(moved.old, &moved.unit_before), show(moved.new, &moved.unit));
            let (was, is) = (old.clone().unwrap_or_default(), new.clone().unwrap_or_default());
            let message = match moved.cause {
                Cause::New => format!("`{name}` does not have the figure `{}`, which comes to {is}", moved.id),
                Cause::Gone => format!("`{name}` has a figure `{}` that this plan does not have", moved.id),
                _ => format!("`{name}` gives {was} for `{}`, recomputed {is}", moved.id),
            };
            report.findings.push(Finding {
                figure: Some((moved.number, moved.id.clone())),
                ..Finding::new("figure", message).values(old, new)
            });
        }
        let known: BTreeMap<&str, &Told> = told.iter().map(|told| (told.id.as_str(), told)).collect();
        for now in now.iter().filter(|now| !ids.contains(now.id.as_str())) {
            if known.get(now.id.as_str()).is_some_and(|then| !then.is(now)) {
                report.findings.push(Finding {
                    figure: Some((now.number, now.id.clone())),
                    ..Finding::new("figure", format!("`{name}` tells of `{}` otherwise than it is reckoned", now.id))
                        .why("its value is the same; its formula, numbers or sources are not")
                });
            }
        }
    }

    /// The figures that the changed files give: other than those the plan was made with, which is one finding, not hundreds.
    fn other_input(&self, report: &mut Report) {
        let (count, name) = (report.moved.len(), &self.inside.record.workings);
        let message = match count {
            0 => return,
            1 => format!("1 figure of `{name}` comes out otherwise from the files inside"),
            more => format!("{more} figures of `{name}` come out otherwise from the files inside"),
        };
        report.findings.push(
            Finding::new("figure", message).why(
                "they are listed as moved, each with where that began; the printed words that differ are listed too",
            ),
        );
    }

    /// Whether page and attached workings tell the same of each figure, now that both were compared.
    fn sides(&self, report: &mut Report) {
        let on_pages: BTreeSet<String> = report
            .findings
            .iter()
            .filter(|finding| finding.id == "number")
            .filter_map(|finding| Some(finding.figure.as_ref()?.1.clone()))
            .collect();
        let pages_agree = !report.findings.iter().any(|finding| ["number", "page-count"].contains(&finding.id));
        for finding in report.findings.iter_mut().filter(|finding| finding.id == "figure" && finding.why.is_none()) {
            let Some((_, id)) = &finding.figure else { continue };
            if on_pages.contains(id) {
                finding.why = Some("the pages print another number there too".to_owned());
            } else if pages_agree {
                let words =
                    "every number on the pages is as it comes out: the attached file is the one that was changed";
                finding.why = Some(words.to_owned());
            }
        }
    }

    fn files(&self, report: &mut Report) {
        self.sides(report);
        for path in &self.rebuilt.lost {
            report.findings.push(
                Finding::new(
                    "picture",
                    format!("the photograph `{path}` is not on the pages as the plan was made with it"),
                )
                .why("it was exchanged or taken out"),
            );
        }
        let made = self.rebuilt.file.attached();
        for file in &made {
            if !self.inside.files.contains_key(&file.name) {
                let told = report.findings.iter().any(|f| f.id == "missing-file" && f.message.contains(&file.name))
                    || file.name == RECORD;
                if !told {
                    let message = format!("the attached file `{}` is missing from the PDF", file.name);
                    report.findings.push(Finding::new("missing-file", message).why("every plan carries it"));
                }
            }
        }
        for name in self.inside.files.keys() {
            if !made.iter().any(|file| file.name == *name) {
                report.findings.push(
                    Finding::new("foreign-file", format!("a file `{name}` is inside the PDF that is not the plan's"))
                        .why("somebody put it in"),
                );
            }
        }
        for file in &made {
            let Some(mine) = self.inside.files.get(&file.name) else { continue };
            if mine.bytes == file.bytes {
                continue;
            }
            let explained = report.findings.iter().any(|finding| match finding.id {
                "not-the-input" => file.name == RECORD || finding.message.contains(&file.name),
                "figure" => file.name == self.inside.record.workings,
                "no-record" | "picture" => file.name == RECORD,
                _ => false,
            });
            if !explained {
                let why = if file.name == RECORD {
                    "what it says of how the plan was made is not what comes out"
                } else {
                    "it was changed after the plan was made"
                };
                let message = format!("the attached file `{}` is not the one that comes out", file.name);
                report.findings.push(Finding::new("file", message).why(why));
            }
        }
    }

    /// Everything else.
    fn parts(&self, report: &mut Report) {
        let made = self.rebuilt.file.attached();
        let both: Vec<(Attached, Attached)> =
            made.into_iter().filter_map(|file| Some((self.inside.files.get(&file.name)?.clone(), file))).collect();
        if self.pages.len() != self.rebuilt.pages.len() {
            return;
        }
        let mut grouped: BTreeMap<(Part, Option<usize>), Vec<Unlike>> = BTreeMap::new();
        for found in unlike(self.file, &self.rebuilt.file, &both) {
            let page = if matches!(found.part, Part::Font(_)) { None } else { found.page };
            grouped.entry((found.part.clone(), page)).or_default().push(found);
        }
        let pages_differ = report.findings.iter().any(|f| f.id == "number" || f.id == "words");
        for ((part, page), found) in grouped {
            let told = found.iter().find(|each| each.here.is_some() || each.there.is_some());
            let values = told.map_or((None, None), |each| (each.here.clone(), each.there.clone()));
            let keys: BTreeSet<&str> = found.iter().map(|each| each.key.as_str()).collect();
            let keys = keys.into_iter().take(6).map(|key| format!("`{key}`")).collect::<Vec<_>>().join(", ");
            let finding = match &part {
                Part::Font(name) => Finding::new(
                    "font",
                    format!("the letters of the font `{name}` are not those of the plan made again"),
                )
                .why(if pages_differ {
                    "other words need other letters; or their shapes were exchanged, so that a page shows other digits than it holds"
                } else {
                    "their shapes, or what they are read as, were exchanged: a page may show other digits than it holds"
                }),
                Part::Picture => Finding::new("picture", "a picture on this page is another than in the plan made again"),
                Part::Annotations => {
                    Finding::new("annotation", "notes, links or fields laid over this page are not the plan's")
                        .why("what is laid over a page can hide what is under it")
                }
                Part::Page(key) => Finding::new("page", format!("this page has another `{key}` than the plan made again")),
                Part::Structure => Finding::new(
                    "structure",
                    "what is read aloud to those who do not see the pages is not what comes out",
                )
                .why(format!("it differs in {keys}")),
                Part::Outline => Finding::new("outline", "the list of contents beside the pages is not what comes out"),
                Part::About => Finding::new("about", "what the file says of itself is not what comes out")
                    .why(format!("it differs in {keys}")),
                Part::File(name) => {
                    if self.file_told(report, name) {
                        continue;
                    }
                    Finding::new("file", format!("the attached file `{name}` is described otherwise than it comes out"))
                        .why(format!("it differs in {keys}; a reader may be handed another file under this name"))
                }
                Part::Other(key) => {
                    Finding::new("part", format!("the file has another `{key}` than the plan made again"))
                        .why("a plan does nothing but show its pages: whatever was added does not belong to it")
                }
            };
            let mut finding = finding.values(values.0, values.1);
            finding.page = page.map(|page| page + 1);
            report.findings.push(finding);
        }
    }

    /// Whether something was said of a file already.
    fn file_told(&self, report: &Report, name: &str) -> bool {
        let quoted = format!("`{name}`");
        let same = self.inside.files.get(name).map(|file| &file.bytes);
        let made = self.rebuilt.file.attached();
        let bytes_differ = same != made.iter().find(|file| file.name == *name).map(|file| &file.bytes);
        bytes_differ && (name == RECORD || report.findings.iter().any(|finding| finding.message.contains(&quoted)))
    }

    /// A plan of another version is not expected to come out the same.
    fn other_version(&self, report: &mut Report) {
        let version = match self.inside.record.version.as_str() {
            "" => "a version it does not name".to_owned(),
            version => format!("version {version}"),
        };
        let lines: usize = self
            .pages
            .iter()
            .zip(&self.rebuilt.pages)
            .map(|(printed, rebuilt)| {
                let printed = printed.as_ref().map(|page| page.lines.as_slice()).unwrap_or_default();
                let same = printed.iter().zip(&rebuilt.lines).filter(|(a, b)| a == b).count();
                printed.len().max(rebuilt.lines.len()) - same
            })
            .sum();
        if lines == 0 && report.moved.is_empty() && self.pages.len() == self.rebuilt.pages.len() {
            let words = format!("made by {version}; this is {THIS}, which prints and computes the same for it");
            report.remarks.push(words);
            self.pages(report);
            self.files_but_record(report);
            self.parts(report);
            return;
        }
        let count = report.moved.len();
        let computes = match count {
            0 => "which computes the same".to_owned(),
            1 => "which computes 1 figure otherwise".to_owned(),
            more => format!("which computes {more} figures otherwise"),
        };
        let few = lines <= FEW_LINES && self.pages.len() == self.rebuilt.pages.len();
        let so = if few {
            "they are listed; only that version itself can tell whether it printed them so"
        } else {
            "they are not listed one by one; to audit the pages themselves, use that version"
        };
        let are = if lines == 1 { "line of its pages is" } else { "lines of its pages are" };
        report.findings.push(
            Finding::new("other-version", format!("the plan was made by {version}; this is {THIS}, {computes}"))
                .why(format!("{lines} {are} printed otherwise by now; {so}")),
        );
        if few {
            self.pages(report);
        }
    }

    /// The attached files, where pages and figures are the same though the version is not.
    fn files_but_record(&self, report: &mut Report) {
        let before = report.findings.len();
        self.files(report);
        let mut kept = report.findings.split_off(before);
        kept.retain(|finding| !finding.message.contains(&format!("`{RECORD}`")));
        report.findings.extend(kept);
    }
}

/// Where the movement of figures began, and what follows from it.
#[must_use]
pub fn roots(moved: &[Moved]) -> Vec<(&Moved, Vec<&Moved>)> {
    let follow = |root: &Moved| moved.iter().filter(|each| each.chain.first() == Some(&root.id)).collect();
    moved.iter().filter(|each| each.is_root()).map(|root| (root, follow(root))).collect()
}
