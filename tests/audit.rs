//! Plans that were changed after they were made, each way by its own finding; and two plans held against each other.
//!
//! Files are changed with lopdf and qpdf's habits in mind; nothing here knows how the audit reads them.

#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::sync::OnceLock;

use lopdf::content::{Content, Operation};
use lopdf::{Dictionary, Document as File, Object, ObjectId, Stream, dictionary};
use weirbook::audit::{Finding, Rebuilt, Report, Side, Tools, audit, audit_against, compare, slips};
use weirbook::cli::art;
use weirbook::diag::Text;
use weirbook::document::Edition;
use weirbook::pdf::{opened, read};
use weirbook::{Choices, Shipped, prepare, render};

use crate::demos::{DEMOS, FEW, quick};
use crate::layout::fonts;
use crate::specimen::{EDITIONS, plain, resolve};

fn tools() -> Tools<'static> {
    Tools { fonts: fonts(), art: &art::read }
}

/// Every edition of every demo.
fn plans() -> &'static [(String, Vec<u8>)] {
    static PLANS: OnceLock<Vec<(String, Vec<u8>)>> = OnceLock::new();
    PLANS.get_or_init(|| {
        let mut found = Vec::new();
        for (id, ..) in DEMOS {
            let job = quick(id);
            for edition in EDITIONS {
                let bytes = render(&job, edition, &Shipped, fonts()).unwrap();
                found.push((format!("{id}-{}", edition.name()), bytes));
            }
        }
        found
    })
}

fn plan(name: &str) -> &'static [u8] {
    &plans().iter().find(|(known, _)| known == name).unwrap().1
}

const CARE_PLAN: &str = "quoyle-end-care-plan";

/// What an audit says of a plan after it was changed.
fn spoilt(name: &str, change: impl FnOnce(&mut File)) -> Report {
    audit(&changed(name, change), tools()).unwrap()
}

fn changed(name: &str, change: impl FnOnce(&mut File)) -> Vec<u8> {
    let mut file = File::load_mem(plan(name)).unwrap();
    change(&mut file);
    let mut bytes = Vec::new();
    file.save_to(&mut bytes).unwrap();
    bytes
}

fn ids(report: &Report) -> Vec<&'static str> {
    let mut ids: Vec<&str> = report.findings.iter().map(|finding| finding.id).collect();
    ids.dedup();
    ids
}

#[track_caller]
fn only(report: &Report, id: &str) -> Finding {
    assert_eq!(ids(report), [id], "{:#?}", report.findings);
    report.findings[0].clone()
}

fn page_id(file: &File, page: u32) -> ObjectId {
    file.get_pages()[&page]
}

/// Changes the operators of a page, counted from 1.
fn redraw(file: &mut File, page: u32, change: impl FnOnce(&mut Vec<Operation>)) {
    let id = file.get_page_contents(page_id(file, page))[0];
    let stream = file.get_object_mut(id).unwrap().as_stream_mut().unwrap();
    let mut content = Content::decode(&plain(stream)).unwrap();
    change(&mut content.operations);
    stream.set_plain_content(content.encode().unwrap());
}

/// The specification of an attached file.
fn specification(file: &File, name: &str) -> ObjectId {
    let found = file.objects.iter().find(|(_, object)| {
        let dict = object.as_dict().ok();
        dict.and_then(|dict| dict.get(b"UF").ok()).is_some_and(|uf| crate::specimen::text(uf) == name)
    });
    *found.unwrap().0
}

fn embedded<'f>(file: &'f mut File, name: &str) -> &'f mut Stream {
    let id = specification(file, name);
    let ef = file.get_dictionary(id).unwrap().get(b"EF").unwrap().as_dict().unwrap();
    let stream = ef.get(b"F").unwrap().as_reference().unwrap();
    file.get_object_mut(stream).unwrap().as_stream_mut().unwrap()
}

/// Changes the words of an attached file.
fn rewrite(file: &mut File, name: &str, from: &str, to: &str) {
    let stream = embedded(file, name);
    let words = String::from_utf8(plain(stream)).unwrap();
    assert!(words.contains(from), "`{from}` is not in {name}");
    let words = words.replacen(from, to, 1);
    stream.set_plain_content(words.into_bytes());
}

/// The list of attached files: name, specification, name, specification.
fn file_names(file: &mut File) -> &mut Vec<Object> {
    let names = file.catalog_mut().unwrap().get_mut(b"Names").unwrap().as_dict_mut().unwrap();
    let files = names.get_mut(b"EmbeddedFiles").unwrap().as_dict_mut().unwrap();
    files.get_mut(b"Names").unwrap().as_array_mut().unwrap()
}

fn take_out(file: &mut File, name: &str) {
    let id = specification(file, name);
    let names = file_names(file);
    let at = names.iter().position(|object| *object == Object::Reference(id)).unwrap();
    names.drain(at - 1..=at);
    let listed = file.catalog_mut().unwrap().get_mut(b"AF").unwrap().as_array_mut().unwrap();
    listed.retain(|object| *object != Object::Reference(id));
    file.objects.remove(&id);
}

fn put_in(file: &mut File, name: &str, bytes: &[u8]) {
    let stream = file.add_object(Stream::new(dictionary! { "Type" => "EmbeddedFile" }, bytes.to_vec()));
    let specification = file.add_object(dictionary! {
        "Type" => "Filespec", "F" => Object::string_literal(name), "UF" => Object::string_literal(name),
        "EF" => dictionary! { "F" => stream },
    });
    file_names(file).extend([Object::string_literal(name), specification.into()]);
}

/// A digit on a page: where it stands, and what it is.
#[derive(Clone, Copy, Debug)]
struct Digit {
    operation: usize,
    item: usize,
    at: usize,
    font: usize,
    digit: char,
}

/// The digits that each font can show, by code.
struct Face {
    name: Vec<u8>,
    digits: Vec<(u16, char)>,
}

fn faces(file: &File, page: ObjectId) -> Vec<Face> {
    let fonts = file.get_page_fonts(page).unwrap();
    fonts
        .into_iter()
        .map(|(name, font)| {
            let map = String::from_utf8(plain(resolve(file, font.get(b"ToUnicode").unwrap()).as_stream().unwrap()));
            let mut digits = Vec::new();
            // `<0012> <0034>`: the code, and the character that it stands for.
            for line in map.unwrap().lines() {
                let parts: Vec<&str> = line.split(['<', '>']).map(str::trim).filter(|part| !part.is_empty()).collect();
                if let [code, text] = parts[..]
                    && let (Ok(code), Ok(text)) = (u16::from_str_radix(code, 16), u32::from_str_radix(text, 16))
                    && let Some(c @ '0'..='9') = char::from_u32(text)
                {
                    digits.push((code, c));
                }
            }
            Face { name, digits }
        })
        .collect()
}

fn digits(operations: &[Operation], faces: &[Face]) -> Vec<Digit> {
    let mut found = Vec::new();
    let mut font = None;
    for (operation, each) in operations.iter().enumerate() {
        if each.operator == "Tf" {
            font = faces.iter().position(|face| face.name == each.operands[0].as_name().unwrap());
        }
        let (Some(font), "TJ") = (font, each.operator.as_str()) else { continue };
        for (item, words) in each.operands[0].as_array().unwrap().iter().enumerate() {
            let Ok(codes) = words.as_str() else { continue };
            for (at, pair) in codes.chunks_exact(2).enumerate() {
                let code = u16::from_be_bytes([pair[0], pair[1]]);
                let digit = faces[font].digits.iter().find(|(known, _)| *known == code);
                found.extend(digit.map(|&(_, digit)| Digit { operation, item, at, font, digit }));
            }
        }
    }
    found
}

/// Puts another digit of the same font in the place of one.
fn exchange(operations: &mut [Operation], faces: &[Face], digit: Digit, by: usize) -> Option<char> {
    let others: Vec<(u16, char)> =
        faces[digit.font].digits.iter().copied().filter(|(_, c)| *c != digit.digit).collect();
    let (code, new) = *others.get(by % others.len().max(1))?;
    let items = operations[digit.operation].operands[0].as_array_mut().unwrap();
    let Object::String(codes, _) = &mut items[digit.item] else { panic!("no words") };
    codes[2 * digit.at..2 * digit.at + 2].copy_from_slice(&code.to_be_bytes());
    Some(new)
}

/// Numbers that look like chance, the same on every run (a linear congruence: Knuth, MMIX).
struct Chance(u64);

impl Chance {
    fn next(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % below
    }
}

#[test]
fn plans_as_they_were_written_agree() {
    for (name, bytes) in plans() {
        let report = audit(bytes, tools()).unwrap();
        assert!(report.agrees() && report.same_bytes, "{name}: {:#?}", report.findings);
        assert!(report.figures > 100 && report.numbers > 15 && report.pages > 0, "{name}: {report:?}");
    }
}

#[test]
fn a_plan_saved_again_by_another_program_agrees() {
    let report = spoilt(CARE_PLAN, |_| {});
    assert!(report.agrees() && !report.same_bytes, "{:#?}", report.findings);
    assert_eq!(report.remarks.len(), 1);
}

/// The corpus: a thousand edits of one digit each, spread over all demos, editions and pages. Each is found on its page, with what
/// is printed and what should be; all other pages stay as they are, as only this one was drawn anew.
#[test]
fn a_thousand_edits_of_one_digit_are_each_found() {
    const EDITS: usize = 1000;
    let mut chance = Chance(20_270_218);
    let mut places = Vec::new();
    let mut files = Vec::new();
    for (name, bytes) in plans() {
        let mut kept: Option<Rebuilt> = None;
        assert!(audit_against(bytes, tools(), &mut kept).unwrap().agrees(), "{name}");
        let file = File::load_mem(bytes).unwrap();
        let mut pages = Vec::new();
        for (number, id) in file.get_pages().into_values().enumerate() {
            places.push((files.len(), number));
            pages.push((file.get_page_content(id), faces(&file, id)));
        }
        files.push((name, opened::open(bytes).unwrap(), kept.unwrap().pages, pages));
    }
    let mut found = 0;
    for edit in 0..EDITS {
        // Every page has its turn; which digit of it, chance says.
        let (file, page) = places[edit % places.len()];
        let (name, opened, rebuilt, pages) = &files[file];
        let (content, faces) = &pages[page];
        let mut operations = Content::decode(content).unwrap().operations;
        let digits = digits(&operations, faces);
        let digit = digits[chance.next(digits.len())];
        let new = exchange(&mut operations, faces, digit, chance.next(9)).unwrap();
        let content = Content { operations }.encode().unwrap();
        let slips = slips(&opened.seen_with(page, &content).unwrap(), &rebuilt[page]);
        let place = format!("{name}, page {}, edit {edit}, {digit:?} to {new}", page + 1);
        assert_eq!(slips.len(), 1, "{place}: {slips:#?}");
        let (printed, recomputed) = (slips[0].printed.clone().unwrap(), slips[0].recomputed.clone().unwrap());
        let differ: Vec<(char, char)> = printed.chars().zip(recomputed.chars()).filter(|(a, b)| a != b).collect();
        assert_eq!(differ, [(new, digit.digit)], "{place}: `{printed}` for `{recomputed}`");
        assert!(slips[0].in_numbers() && slips[0].line > 0, "{place}");
        found += 1;
    }
    assert_eq!(found, EDITS);
    assert!(places.len() < EDITS / 2, "each page has at least two edits");
}

#[test]
fn a_digit_changed_in_a_file_is_reported_with_page_line_and_figure() {
    let mut chance = Chance(7);
    for (name, page) in [(CARE_PLAN, 1), (CARE_PLAN, 3), ("quoyle-end-workings", 2), ("pinch-gap-shed-sheet", 1)] {
        let mut told = None;
        let report = spoilt(name, |file| {
            let id = page_id(file, page);
            let faces = faces(file, id);
            redraw(file, page, |operations| {
                let digits = digits(operations, &faces);
                let digit = digits[chance.next(digits.len())];
                told = Some((digit.digit, exchange(operations, &faces, digit, 3).unwrap()));
            });
        });
        let finding = only(&report, "number");
        assert_eq!(finding.page, Some(page as usize), "{name}");
        assert!(finding.line.is_some() && finding.beside.is_some());
        let (old, new) = told.unwrap();
        assert!(finding.printed.unwrap().contains(new) && finding.recomputed.unwrap().contains(old));
        if name.ends_with("workings") {
            assert!(finding.figure.is_some(), "a line of the workings has its figure");
        }
    }
}

#[test]
fn a_dose_that_was_changed_names_its_figure() {
    // The first `740` of the first page is the buffer dose, line 34.
    let report = spoilt(CARE_PLAN, |file| {
        let id = page_id(file, 1);
        let faces = faces(file, id);
        redraw(file, 1, |operations| {
            let digits = digits(operations, &faces);
            let at = digits.windows(3).position(|three| three.iter().map(|d| d.digit).eq("740".chars())).unwrap();
            let eight = faces[digits[at].font].digits.iter().filter(|(_, c)| *c != '7').position(|(_, c)| *c == '8');
            assert_eq!(exchange(operations, &faces, digits[at], eight.unwrap()), Some('8'));
        });
    });
    let finding = only(&report, "number");
    assert_eq!((finding.printed.as_deref(), finding.recomputed.as_deref()), (Some("840"), Some("740")));
    assert_eq!(finding.figure.unwrap().1, "hardness.buffer.dose");
    assert!(finding.message.contains("840") && finding.message.contains("740"), "{}", finding.message);
}

#[test]
fn a_site_file_changed_afterwards_is_told_first() {
    let report = spoilt(CARE_PLAN, |file| rewrite(file, "site.toml", "length = \"5.40 m\"", "length = \"5.60 m\""));
    assert_eq!(report.findings[0].id, "not-the-input", "{:#?}", report.findings);
    assert!(report.findings[0].message.contains("site.toml"));
    assert!(report.findings.iter().any(|finding| finding.id == "number"), "the pages print what the old file gave");
    assert_eq!(report.findings.iter().filter(|finding| finding.id == "figure").count(), 1);
    let moved = report.moved.iter().find(|moved| moved.id == "volume.low").unwrap();
    assert_eq!(moved.chain.first().map(String::as_str), Some("volume.section-1.area"), "{moved:?}");
    assert!(!report.findings.iter().any(|finding| finding.id == "own-workings"), "pages and workings tell the same");
}

#[test]
fn a_log_changed_afterwards_is_told_also_when_its_hash_was_changed_with_it() {
    let (old, new) = ("2027-02-17,,5.5,5.5", "2027-02-17,,5.5,6.5");
    let report = spoilt(CARE_PLAN, |file| rewrite(file, "log.csv", old, new));
    assert_eq!(report.findings[0].id, "not-the-input");
    assert!(report.findings[0].message.contains("log.csv"));
    // Whoever changes the hash too is found by the mark of the input on the pages.
    let report = spoilt(CARE_PLAN, |file| {
        use sha2::Digest as _;
        let hash = |bytes: &[u8]| sha2::Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect::<String>();
        let before = hash(&plain(embedded(file, "log.csv")));
        rewrite(file, "log.csv", old, new);
        let after = hash(&plain(embedded(file, "log.csv")));
        rewrite(file, "made-with.json", &before, &after);
    });
    assert_eq!(report.findings[0].id, "not-the-input", "{:#?}", report.findings[0]);
    assert!(report.findings[0].why.as_ref().unwrap().contains("input mark"));
}

#[test]
fn workings_changed_in_the_attached_file_only_are_told_so() {
    let report = spoilt(CARE_PLAN, |file| {
        let stream = embedded(file, "workings.json");
        let words = String::from_utf8(plain(stream)).unwrap();
        let line = words.lines().find(|line| line.contains("\"id\":\"volume.total\"")).unwrap();
        let value = line.split("\"value\":").last().unwrap().split(',').next().unwrap();
        let new = line.replace(
            &format!("\"value\":{value},\"unit\":\"m³\",\"citation"),
            "\"value\":99.5,\"unit\":\"m³\",\"citation",
        );
        assert_ne!(new, line);
        stream.set_plain_content(words.replace(line, &new).into_bytes());
    });
    let finding = only(&report, "figure");
    assert_eq!(finding.figure.unwrap().1, "volume.total");
    assert_eq!(finding.printed.as_deref(), Some("99.5 m³"));
    assert!(finding.why.unwrap().contains("the attached file is the one that was changed"));
    let report = spoilt(CARE_PLAN, |file| rewrite(file, "workings.json", "[", "{"));
    assert_eq!(only(&report, "figure").figure, None);
}

#[test]
fn a_missing_attachment_is_told_by_its_name() {
    for (name, recomputed) in [("site.toml", false), ("log.csv", false), ("workings.json", true)] {
        let report = spoilt(CARE_PLAN, |file| take_out(file, name));
        let finding = report.findings.iter().find(|finding| finding.id == "missing-file").unwrap();
        assert!(finding.message.contains(name), "{}", finding.message);
        assert_eq!(report.figures > 0 && recomputed, recomputed, "{name}");
        assert!(!report.agrees());
    }
    // Without the record all is taken from elsewhere; it is missed, and its number of possible years with it.
    let report = spoilt(CARE_PLAN, |file| take_out(file, "made-with.json"));
    assert_eq!(report.findings[0].id, "no-record", "{:#?}", report.findings);
    assert_eq!(report.made_by, None);
}

#[test]
fn a_record_that_asks_for_the_impossible_is_told() {
    let report =
        spoilt(CARE_PLAN, |file| rewrite(file, "made-with.json", "\"members\": 20", "\"members\": 4000000000"));
    let record = report.findings.iter().find(|finding| finding.id == "no-record").unwrap();
    assert!(record.message.contains("4000000000"), "{}", record.message);
    for date in ["2027-02-30", "+262142-12-31", "-9999-01-01", "soon"] {
        let report =
            spoilt(CARE_PLAN, |file| rewrite(file, "made-with.json", "\"2027-02-18\"", &format!("\"{date}\"")));
        assert!(!report.agrees(), "{date}");
    }
}

#[test]
fn two_attachments_of_one_name_are_told() {
    let report = spoilt(CARE_PLAN, |file| put_in(file, "site.toml", b"[site]\n"));
    let finding = only(&report, "two-files");
    assert!(finding.message.contains("site.toml"), "{}", finding.message);
    // The plan was made from one of the two, whichever stands first.
    let report = spoilt(CARE_PLAN, |file| {
        let names = file_names(file);
        let at = names.iter().position(|object| crate::specimen::text(object) == "log.csv").unwrap();
        let rest = names.split_off(at);
        put_in(file, "LOG.csv", b"date\n");
        file_names(file).extend(rest);
    });
    assert_eq!(only(&report, "two-files").id, "two-files");
}

#[test]
fn a_file_that_was_put_in_is_told() {
    let report = spoilt(CARE_PLAN, |file| put_in(file, "invoice.exe", b"MZ"));
    assert!(only(&report, "foreign-file").message.contains("invoice.exe"));
}

#[test]
fn one_name_with_two_files_behind_it_is_told() {
    // Some readers take `F`, others `UF`.
    let report = spoilt(CARE_PLAN, |file| {
        let other = file.add_object(Stream::new(dictionary! { "Type" => "EmbeddedFile" }, b"[site]".to_vec()));
        let id = specification(file, "site.toml");
        let files = file.get_dictionary_mut(id).unwrap().get_mut(b"EF").unwrap().as_dict_mut().unwrap();
        files.set("UF", other);
    });
    assert!(only(&report, "file").message.contains("site.toml"));
}

#[test]
fn a_site_file_that_no_plan_can_be_made_of_is_told_with_its_line() {
    let report = spoilt(CARE_PLAN, |file| rewrite(file, "site.toml", "length = \"5.40 m\"", "length = \"5.40\""));
    let finding = report.findings.iter().find(|finding| finding.id == "not-recomputed").unwrap();
    assert!(finding.why.as_ref().unwrap().contains("site.toml line 36"), "{:?}", finding.why);
    let report = spoilt(CARE_PLAN, |file| embedded(file, "site.toml").set_plain_content(vec![b'#'; 6_000_000]));
    assert!(report.findings.iter().any(|finding| finding.id == "large-file"), "{:#?}", report.findings);
}

#[test]
fn words_laid_over_a_page_are_told() {
    let report = spoilt(CARE_PLAN, |file| {
        redraw(file, 2, |operations| {
            let shown = operations.iter().position(|operation| operation.operator == "BT").unwrap();
            let again: Vec<Operation> = operations[shown..shown + 5].to_vec();
            operations.extend(again);
        });
    });
    let finding = report.findings.iter().find(|finding| finding.message.contains("does not belong here"));
    assert!(finding.is_some_and(|finding| finding.page == Some(2)), "{:#?}", report.findings);
}

#[test]
fn a_second_stream_of_drawing_with_a_font_of_its_own_is_told() {
    let report = spoilt(CARE_PLAN, |file| {
        let words = b"q BT /Helv 12 Tf 100 700 Td (999 g) Tj ET Q".to_vec();
        let stream = file.add_object(Stream::new(Dictionary::new(), words));
        let font = file.add_object(dictionary! { "Type" => "Font", "Subtype" => "Type1", "BaseFont" => "Helvetica" });
        let page = page_id(file, 2);
        let resources = file.get_dictionary(page).unwrap().get(b"Resources").unwrap().clone();
        let resources = match resources {
            Object::Reference(id) => file.get_dictionary_mut(id).unwrap(),
            _ => file.get_dictionary_mut(page).unwrap().get_mut(b"Resources").unwrap().as_dict_mut().unwrap(),
        };
        let fonts = resources.get(b"Font").unwrap().clone();
        match fonts {
            Object::Reference(id) => file.get_dictionary_mut(id).unwrap().set("Helv", font),
            Object::Dictionary(mut fonts) => {
                fonts.set("Helv", font);
                resources.set("Font", fonts);
            }
            _ => panic!("no fonts"),
        }
        let content = file.get_dictionary(page).unwrap().get(b"Contents").unwrap().clone();
        file.get_dictionary_mut(page).unwrap().set("Contents", vec![content, stream.into()]);
    });
    let found = ids(&report);
    for id in ["number", "foreign-drawing", "font"] {
        assert!(found.contains(&id), "{id} in {:#?}", report.findings);
    }
    let number = report.findings.iter().find(|finding| finding.id == "number").unwrap();
    assert_eq!((number.page, number.printed.as_deref()), (Some(2), Some("999 g")), "{number:?}");
}

#[test]
fn a_form_and_what_it_writes_are_told() {
    let report = spoilt(CARE_PLAN, |file| {
        let id = page_id(file, 3);
        let resources = file.get_dictionary(id).unwrap().get(b"Resources").unwrap().clone();
        let resources = resolve(file, &resources).as_dict().unwrap().clone();
        let drawn = Content::decode(&file.get_page_content(id)).unwrap().operations;
        let at = drawn.iter().position(|operation| operation.operator == "BT").unwrap();
        let words = Content { operations: drawn[at..at + 5].to_vec() }.encode().unwrap();
        let mut with_form = resources.clone();
        let form = Stream::new(
            dictionary! { "Type" => "XObject", "Subtype" => "Form", "BBox" => vec![0.into(), 0.into(), 600.into(), 900.into()], "Resources" => resources },
            words,
        );
        let form = file.add_object(form);
        with_form.set("XObject", dictionary! { "Fm0" => form });
        file.get_dictionary_mut(id).unwrap().set("Resources", with_form);
        redraw(file, 3, |operations| operations.push(Operation::new("Do", vec!["Fm0".into()])));
    });
    assert!(report.findings.iter().any(|f| f.id == "foreign-drawing" && f.why.as_ref().unwrap().contains("a form")));
    assert!(report.findings.iter().any(|f| f.message.contains("does not belong here")), "{:#?}", report.findings);
}

#[test]
fn words_that_were_hidden_moved_or_dressed_otherwise_are_told() {
    // Two amounts change places: the words of the page are the same.
    let report = spoilt(CARE_PLAN, |file| {
        redraw(file, 1, |operations| {
            let places: Vec<usize> =
                operations.iter().enumerate().filter(|(_, o)| o.operator == "Tm").map(|(at, _)| at).collect();
            let (a, b) = (places[20], places[30]);
            let other = operations[a].operands.clone();
            operations[a].operands = std::mem::replace(&mut operations[b].operands, other);
        });
    });
    assert!(report.findings.iter().all(|finding| finding.page == Some(1)) && !report.agrees());
    let report = spoilt(CARE_PLAN, |file| {
        redraw(file, 1, |operations| {
            let at = operations.iter().rposition(|operation| operation.operator == "rg").unwrap();
            operations[at].operands = vec![1.into(), 1.into(), 1.into()];
        });
    });
    assert!(ids(&report).contains(&"look") || ids(&report).contains(&"drawing"), "{:#?}", report.findings);
    // Words that are not painted (text rendering mode 3) still read the same.
    let report = spoilt(CARE_PLAN, |file| {
        redraw(file, 1, |operations| operations.insert(0, Operation::new("Tr", vec![3.into()])));
    });
    assert!(only(&report, "foreign-drawing").why.unwrap().contains("`Tr`"));
}

#[test]
fn a_drawing_that_was_changed_is_one_finding_for_its_page() {
    let report = spoilt(CARE_PLAN, |file| {
        redraw(file, 3, |operations| {
            for operation in operations.iter_mut().filter(|operation| operation.operator == "l") {
                operation.operands[1] = (operation.operands[1].as_float().unwrap() + 4.0).into();
            }
        });
    });
    assert_eq!(only(&report, "drawing").page, Some(3));
    assert_eq!(report.findings.len(), 1);
}

#[test]
fn what_a_page_claims_to_say_is_held_against_what_it_shows() {
    let report = spoilt("quoyle-end-workings", |file| {
        redraw(file, 2, |operations| {
            let claim = operations.iter_mut().find_map(|operation| {
                let properties = operation.operands.get_mut(1)?.as_dict_mut().ok()?;
                properties.has(b"ActualText").then_some(properties)
            });
            claim.unwrap().set("ActualText", Object::string_literal("V = 1"));
        });
    });
    let finding = only(&report, "claim");
    assert_eq!((finding.page, finding.printed.as_deref()), (Some(2), Some("V = 1")));
}

#[test]
fn a_map_that_reads_one_digit_as_another_is_told() {
    // The page still reads as before: its codes and the map were changed together, so that `7` is shown as another shape.
    let report = spoilt(CARE_PLAN, |file| {
        let maps: Vec<ObjectId> = file
            .objects
            .values()
            .filter_map(|object| object.as_dict().ok()?.get(b"ToUnicode").ok()?.as_reference().ok())
            .collect();
        for id in maps {
            let stream = file.get_object_mut(id).unwrap().as_stream_mut().unwrap();
            let map = String::from_utf8(plain(stream)).unwrap();
            let map = map.replace("<0037>", "<0039>");
            stream.set_plain_content(map.into_bytes());
        }
    });
    let found = ids(&report);
    assert!(found.contains(&"number") && found.contains(&"font"), "{found:?}");
}

#[test]
fn letters_whose_shapes_were_exchanged_are_told() {
    let report = spoilt(CARE_PLAN, |file| {
        let program = file
            .objects
            .values()
            .find_map(|object| object.as_dict().ok()?.get(b"FontFile3").ok()?.as_reference().ok())
            .unwrap();
        let stream = file.get_object_mut(program).unwrap().as_stream_mut().unwrap();
        let mut bytes = plain(stream);
        let last = bytes.len() - 100;
        bytes[last] ^= 1;
        stream.set_plain_content(bytes);
    });
    let finding = only(&report, "font");
    assert!(finding.why.unwrap().contains("other digits than it holds"));
}

#[test]
fn notes_laid_over_a_page_are_told() {
    let report = spoilt(CARE_PLAN, |file| {
        let note = file.add_object(dictionary! {
            "Type" => "Annot", "Subtype" => "FreeText", "Rect" => vec![100.into(), 700.into(), 200.into(), 720.into()],
            "Contents" => Object::string_literal("840 g"),
        });
        let id = page_id(file, 4);
        let notes = file.get_dictionary(id).unwrap().get(b"Annots").ok().cloned();
        let mut notes = notes.map(|notes| resolve(file, &notes).as_array().unwrap().clone()).unwrap_or_default();
        notes.push(note.into());
        file.get_dictionary_mut(id).unwrap().set("Annots", notes);
    });
    assert_eq!(only(&report, "annotation").page, Some(4));
}

#[test]
fn what_is_read_aloud_and_said_of_the_file_is_compared() {
    let report = spoilt(CARE_PLAN, |file| {
        let figure = file.objects.values_mut().find_map(|object| {
            let dict = object.as_dict_mut().ok()?;
            (dict.get(b"S").ok()?.as_name().ok()? == b"Figure").then_some(dict)
        });
        figure.unwrap().set("Alt", Object::string_literal("Copper stays under 1 mg/L"));
    });
    let finding = only(&report, "structure");
    assert_eq!(finding.printed.as_deref(), Some("Copper stays under 1 mg/L"));
    let report = spoilt(CARE_PLAN, |file| {
        let id = file.trailer.get(b"Info").unwrap().as_reference().unwrap();
        file.get_dictionary_mut(id).unwrap().set("Title", Object::string_literal("Another"));
    });
    assert_eq!(only(&report, "about").printed.as_deref(), Some("Another"));
    let report = spoilt(CARE_PLAN, |file| {
        let action = dictionary! { "S" => "JavaScript", "JS" => Object::string_literal("app.alert(1)") };
        file.catalog_mut().unwrap().set("OpenAction", action);
    });
    assert!(only(&report, "part").message.contains("OpenAction"));
}

#[test]
fn a_page_that_is_missing_or_was_put_in_is_told() {
    let report = spoilt(CARE_PLAN, |file| file.delete_pages(&[3]));
    let missing = report.findings.iter().find(|finding| finding.message.contains("page 3 of the plan is missing"));
    assert!(missing.is_some() && report.findings[0].id == "page-count", "{:#?}", report.findings);
    let report = spoilt(CARE_PLAN, |file| {
        let page = page_id(file, 2);
        let parent = file.get_dictionary(page).unwrap().get(b"Parent").unwrap().as_reference().unwrap();
        let kids = file.get_dictionary_mut(parent).unwrap();
        kids.get_mut(b"Kids").unwrap().as_array_mut().unwrap().insert(1, page.into());
        let count = kids.get(b"Count").unwrap().as_i64().unwrap();
        kids.set("Count", count + 1);
    });
    assert!(report.findings.iter().all(|finding| finding.id == "page-count"), "{:#?}", report.findings);
    assert!(report.findings.iter().any(|finding| finding.message.contains("not one of the plan's")));
}

#[test]
fn what_cannot_be_audited_is_said_each_in_its_own_words() {
    let refused = |bytes: &[u8]| audit(bytes, tools()).unwrap_err();
    assert_eq!(refused(b"").id, "not-a-pdf");
    assert_eq!(refused(b"[site]\nname = \"x\"\n").id, "not-a-pdf");
    let bytes = plan(CARE_PLAN);
    assert_eq!(refused(&bytes[..bytes.len() / 2]).id, "broken-pdf");
    assert_eq!(refused(b"%PDF-1.7\nand nothing more").id, "broken-pdf");
    let mut other = File::with_version("1.7");
    let page = other
        .add_object(dictionary! { "Type" => "Page", "MediaBox" => vec![0.into(), 0.into(), 100.into(), 100.into()] });
    let pages = other.add_object(dictionary! { "Type" => "Pages", "Kids" => vec![page.into()], "Count" => 1 });
    other.get_dictionary_mut(page).unwrap().set("Parent", pages);
    let root = other.add_object(dictionary! { "Type" => "Catalog", "Pages" => pages });
    other.trailer.set("Root", root);
    let mut something = Vec::new();
    other.save_to(&mut something).unwrap();
    assert_eq!(refused(&something).id, "other-pdf");
    let locked = changed(CARE_PLAN, |file| {
        let lock = file.add_object(dictionary! { "Filter" => "Standard", "V" => 1, "R" => 2, "P" => -4,
        "O" => Object::string_literal("o".repeat(32)), "U" => Object::string_literal("u".repeat(32)) });
        file.trailer.set("Encrypt", lock);
    });
    assert_eq!(refused(&locked).id, "encrypted");
    assert_eq!(refused(&[b"%PDF-1.7\n".as_slice(), &vec![b' '; opened::LARGEST]].concat()).id, "too-large");
}

#[test]
fn a_part_that_unfolds_without_end_is_not_unfolded() {
    use std::io::Write as _;
    let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
    let zeros = vec![0_u8; 1_000_000];
    for _ in 0..60 {
        packed.write_all(&zeros).unwrap();
    }
    let bomb = packed.finish().unwrap();
    assert!(bomb.len() < 100_000);
    let report = spoilt(CARE_PLAN, |file| {
        let stream = embedded(file, "workings.json");
        stream.dict.set("Filter", "FlateDecode");
        stream.set_content(bomb);
    });
    let finding = report.findings.iter().find(|finding| finding.id == "unreadable-file").unwrap();
    assert!(finding.message.contains("workings.json"));
}

/// Another version is not taken for a forger: what moved is told by figure, and where it began.
#[test]
fn a_plan_of_another_version_tells_what_moved() {
    let report = spoilt(CARE_PLAN, |file| {
        rewrite(file, "made-with.json", "\"version\": \"", "\"version\": \"0.0.9-");
        // As if that version had taken the pond for larger; what rests on it is left as it was.
        let stream = embedded(file, "workings.json");
        let words = String::from_utf8(plain(stream)).unwrap();
        let line = words.lines().find(|line| line.contains("\"id\":\"volume.low\"")).unwrap();
        let head = line.split(",\"unit\":\"m³\",\"citation").next().unwrap();
        let value = head.rsplit("\"value\":").next().unwrap();
        let new = line.replace(
            &format!("\"value\":{value},\"unit\":\"m³\",\"citation"),
            "\"value\":99.5,\"unit\":\"m³\",\"citation",
        );
        stream.set_plain_content(words.replace(line, &new).into_bytes());
    });
    assert!(report.made_by.as_ref().unwrap().starts_with("0.0.9-"));
    let finding = report.findings.iter().find(|finding| finding.id == "other-version").unwrap();
    assert!(finding.message.contains("computes 1 figure otherwise"), "{}", finding.message);
    assert_eq!(report.moved.len(), 1);
    assert_eq!(report.moved[0].id, "volume.low");
    assert!(report.moved[0].is_root());
    // Nothing moved: then the version alone is no finding.
    let report = spoilt(CARE_PLAN, |file| rewrite(file, "made-with.json", "\"version\": \"", "\"version\": \"0.0.9-"));
    assert!(report.agrees(), "{:#?}", report.findings);
    assert!(report.remarks[0].contains("0.0.9-"), "{:?}", report.remarks);
}

/// Where the plan cannot be made again, its workings on the pages are held against the attached ones.
#[test]
fn workings_on_pages_and_in_the_file_are_compared_without_a_plan() {
    let untouched = spoilt("quoyle-end-workings", |file| take_out(file, "site.toml"));
    assert_eq!(ids(&untouched), ["missing-file"], "{:#?}", untouched.findings);
    assert!(untouched.figures > 100, "its own workings were read");
    let report = spoilt("quoyle-end-workings", |file| {
        take_out(file, "site.toml");
        let id = page_id(file, 2);
        let faces = faces(file, id);
        redraw(file, 2, |operations| {
            let digits = digits(operations, &faces);
            // `24.931` of line 10, the last on this page that has it.
            let at = digits.windows(5).rposition(|five| five.iter().map(|d| d.digit).eq("24931".chars())).unwrap();
            exchange(operations, &faces, digits[at], 5).unwrap();
        });
    });
    let finding = report.findings.iter().find(|finding| finding.id == "own-workings").unwrap();
    assert_eq!((finding.page, finding.recomputed.as_deref()), (Some(2), Some("24.931")));
    assert_eq!(finding.figure.as_ref().unwrap().1, "volume.low");
}

/// Whatever the bytes are, an answer comes back.
#[test]
fn no_bytes_make_the_audit_panic() {
    let mut chance = Chance(1);
    let bytes = plan("wendlow-bottom-shed-sheet");
    let mut kept = None;
    audit_against(bytes, tools(), &mut kept).unwrap();
    let mut opened_again = 0;
    for round in 0..400 {
        let mut spoilt = bytes.to_vec();
        for _ in 0..=chance.next(4) {
            let at = chance.next(spoilt.len());
            match chance.next(4) {
                0 => spoilt[at] = chance.next(256) as u8,
                1 => spoilt[at] ^= 1 << chance.next(8),
                2 => drop(spoilt.drain(at..(at + chance.next(40)).min(spoilt.len()))),
                _ => drop(spoilt.splice(at..at, vec![b' '; chance.next(20)])),
            }
        }
        if round % 8 == 0 {
            spoilt.truncate(chance.next(spoilt.len()));
        }
        // What lies inside decides whether a plan is made again; keeping one makes this quick.
        if let Ok(file) = opened::open(&spoilt) {
            opened_again += 1;
            for page in 0..file.page_count() {
                let _ = file.seen(page);
            }
            let _ = (file.attached(), file.pictures().count());
            if round % 10 == 0 {
                let _ = audit(&spoilt, tools());
            }
        }
    }
    assert!(opened_again > 20, "{opened_again} could be opened at all");
    // The operators of a page.
    let whole = opened::open(bytes).unwrap();
    for _ in 0..400 {
        let mut content = whole.content(0).unwrap();
        for _ in 0..=chance.next(20) {
            let at = chance.next(content.len());
            content[at] = b"0123456789 -.[]()<>/qQBTETfmJjDoc'\""[chance.next(35)];
        }
        let _ = whole.seen_with(0, &content).map(|seen| slips(&seen, &kept.as_ref().unwrap().pages[0]));
    }
    // What is written in the record and in the workings.
    for name in ["made-with.json", "workings.json"] {
        for _ in 0..25 {
            let spoilt = changed("wendlow-bottom-shed-sheet", |file| {
                let stream = embedded(file, name);
                let mut words = plain(stream);
                for _ in 0..=chance.next(3) {
                    let at = chance.next(words.len());
                    words[at] = b"0123456789-,\"{}[]"[chance.next(17)];
                }
                stream.set_plain_content(words);
            });
            let _ = audit(&spoilt, tools());
        }
    }
    // Objects, not bytes: each entry of each dictionary in turn becomes something else.
    let file = File::load_mem(bytes).unwrap();
    let keys: Vec<ObjectId> = file.objects.keys().copied().collect();
    for _ in 0..150 {
        let mut file = file.clone();
        for _ in 0..3 {
            let id = keys[chance.next(keys.len())];
            let odd = [
                Object::Null,
                7.into(),
                Object::Reference(id),
                Object::Array(vec![Object::Reference(id)]),
                "Odd".into(),
            ][chance.next(5)]
            .clone();
            let dict = match file.objects.get_mut(&id).unwrap() {
                Object::Dictionary(dict) => dict,
                Object::Stream(stream) => &mut stream.dict,
                other => {
                    *other = odd;
                    continue;
                }
            };
            let names: Vec<Vec<u8>> = dict.iter().map(|(key, _)| key.clone()).collect();
            if !names.is_empty() {
                dict.set(names[chance.next(names.len())].clone(), odd);
            }
        }
        let mut spoilt = Vec::new();
        if file.save_to(&mut spoilt).is_ok() {
            let _ = audit_against(&spoilt, tools(), &mut kept);
        }
    }
}

/// The weather file travels inside, and the plan is made again with it.
#[test]
fn a_plan_with_a_weather_file_agrees() {
    let (_, words, log) = DEMOS[0];
    let (head, rest) = words.split_once("[climate]").unwrap();
    let (_, tail) = rest.split_once("[top_up]").unwrap();
    let climate = "[climate]\norigin = \"a file of a test\"\nfile = \"sky/weather.csv\"\n\n[top_up]";
    let mut weather = "month,rain [mm],max temperature [°C],min temperature [°C]\n".to_owned();
    for (month, warm) in (1..=12).zip([7, 8, 10, 13, 16, 19, 22, 22, 18, 14, 10, 8]) {
        weather += &format!("{month},{},{warm},{}\n", 90 - 2 * warm, warm - 6);
    }
    let text = |name: &str, words: &str| Text { name: name.into(), words: words.into() };
    let (site, log, weather) = (
        text("site.toml", &format!("{head}{climate}{tail}")),
        text("readings/log.csv", log),
        text("sky/weather.csv", &weather),
    );
    let choices = Choices { draw: Some(FEW), ..Choices::default() };
    let (job, complaints) = weirbook::prepare_with_weather(&site, Some(&log), Some(&weather), choices, &Shipped);
    let job = job.unwrap_or_else(|| panic!("{:#?}", complaints.sorted()));
    let bytes = render(&job, Edition::CarePlan, &Shipped, fonts()).unwrap();
    let report = audit(&bytes, tools()).unwrap();
    assert!(report.agrees() && report.same_bytes, "{:#?}", report.findings);
    let mut file = File::load_mem(&bytes).unwrap();
    rewrite(&mut file, "weather.csv", "\n7,46,22", "\n7,46,29");
    let mut bytes = Vec::new();
    file.save_to(&mut bytes).unwrap();
    let report = audit(&bytes, tools()).unwrap();
    assert_eq!(report.findings[0].id, "not-the-input", "{:#?}", report.findings[0]);
    assert!(report.findings[0].message.contains("weather.csv"));
}

// Two plans.

fn side(site: &str, log: &str) -> Side {
    let site = Text { name: "site.toml".into(), words: site.into() };
    let log = Text { name: "log.csv".into(), words: log.into() };
    let choices = Choices { draw: Some(FEW), ..Choices::default() };
    let (job, complaints) = prepare(&site, Some(&log), choices, &Shipped);
    let job = job.unwrap_or_else(|| panic!("{:#?}", complaints.sorted()));
    Side { job, made_by: None, site, log: Some(log), weather: None }
}

#[test]
fn the_same_plan_twice_has_no_difference() {
    let (_, site, log) = DEMOS[0];
    let pdf = weirbook::audit::side_of_pdf(plan(CARE_PLAN), tools()).unwrap();
    let found = compare(&pdf, &side(site, log));
    assert!(found.is_same(), "{:#?}", found.decisions);
    assert!(found.count > 100);
}

#[test]
fn a_reading_that_changed_is_followed_to_the_dose() {
    let (_, site, log) = DEMOS[0];
    let new = log.replace("2027-02-17,,5.5,5.5", "2027-02-17,,5.5,5.0");
    let found = compare(&side(site, log), &side(site, &new));
    assert_eq!(found.inputs.len(), 1, "{:#?}", found.inputs);
    let change = &found.inputs[0];
    assert_eq!((change.old.as_deref(), change.new.as_deref(), change.line), (Some("5.5"), Some("5.0"), Some(13)));
    assert!(change.what.contains("carbonate hardness") && change.what.contains("2027-02-17"), "{}", change.what);
    let dose = found.decisions.iter().find(|decided| decided.what == "buffer dose").unwrap();
    assert!(dose.old.as_ref().unwrap().contains("740 g"), "{dose:?}");
    let id = dose.figure.as_ref().unwrap();
    assert!(found.because(id).unwrap().contains("5.5 and is 5.0 (log line 13)"), "{:?}", found.because(id));
    let figure = found.figure(id).unwrap();
    assert_eq!(figure.chain.first().map(String::as_str), Some("hardness.buffer.rise"), "{figure:?}");
    // Each figure between two others uses the one before it.
    for pair in figure.chain.windows(2) {
        let uses = |line: &&weirbook::workings::Line| line.id == pair[1] && line.uses.contains(&pair[0]);
        assert!(side(site, &new).job.plan.book.lines().iter().find(uses).is_some(), "{pair:?}");
    }
    // The way back tells the same from the other side.
    let back = compare(&side(site, &new), &side(site, log));
    assert_eq!(back.inputs[0].new.as_deref(), Some("5.5"));
    assert_eq!(back.figures.len(), found.figures.len());
}

#[test]
fn a_key_of_the_site_file_that_changed_is_named_with_its_line() {
    let (_, site, log) = DEMOS[0];
    let new = site.replace("length = \"5.40 m\"", "length = \"5.60 m\"");
    let found = compare(&side(site, log), &side(&new, log));
    assert_eq!(found.inputs.len(), 1, "{:#?}", found.inputs);
    assert_eq!((found.inputs[0].file, found.inputs[0].line), ("site file", Some(36)));
    assert!(found.figure("volume.total").is_some());
    let because = found.because("volume.low").unwrap();
    assert!(because.contains("\"5.40 m\" and is \"5.60 m\" (site file, line 36)"), "{because}");
    // Words that no figure rests on are told too.
    let named = site.replace("owner = \"Mrs L. Vennaby\"", "owner = \"Mr Vennaby\"");
    let found = compare(&side(site, log), &side(&named, log));
    assert!(found.figures.is_empty() && found.inputs.len() == 1 && !found.is_same(), "{:#?}", found.inputs);
}

#[test]
fn a_visit_more_is_told_as_one() {
    let (_, site, log) = DEMOS[0];
    let fewer: String = log.lines().take(12).map(|line| format!("{line}\n")).collect();
    let found = compare(&side(site, &fewer), &side(site, log));
    assert_eq!(found.inputs.len(), 1, "{:#?}", found.inputs);
    assert_eq!(found.inputs[0].what, "the visit of 2027-02-17");
    assert_eq!(found.inputs[0].line, Some(13));
}

#[test]
fn an_edition_the_audit_made_again_is_that_of_the_file() {
    for (name, edition) in [("pinch-gap-shed-sheet", Edition::ShedSheet), ("pinch-gap-workings", Edition::Workings)] {
        let mut kept = None;
        let report = audit_against(plan(name), tools(), &mut kept).unwrap();
        assert_eq!(report.edition, Some(edition.name()));
        assert_eq!(kept.unwrap().bytes, plan(name));
        assert!(read::attachments(plan(name)).unwrap().len() >= 4);
    }
}
