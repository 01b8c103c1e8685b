//! PDF/UA-1 (ISO 14289-1) by the Matterhorn Protocol 1.1: one test for each failure condition that a machine can see, under
//! its own number, and a few that the protocol leaves to people but a program can see here.
//!
//! Each test holds the condition over every specimen, then spoils one file and expects the condition to be broken.
#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use std::collections::{BTreeMap, BTreeSet};

use lopdf::{Dictionary, Document as File, Object, ObjectId, Stream, dictionary};

use crate::specimen::Spoil::File as Spoilt;
use crate::specimen::{Element, Kid, Pdf, Wrong, plain, resolve, text, try_out};

macro_rules! conditions {
    ($($(#[$words:meta])* $name:ident: $condition:expr, $spoil:expr;)*) => {
        $($(#[$words])* #[test] fn $name() { try_out($condition, $spoil); })*
    };
}

/// The standard structure types of ISO 32000-1, 14.8.4.
const STANDARD: &[&str] = &[
    "Document",
    "Part",
    "Art",
    "Sect",
    "Div",
    "BlockQuote",
    "Caption",
    "TOC",
    "TOCI",
    "Index",
    "NonStruct",
    "Private",
    "H",
    "H1",
    "H2",
    "H3",
    "H4",
    "H5",
    "H6",
    "P",
    "L",
    "LI",
    "Lbl",
    "LBody",
    "Table",
    "TR",
    "TH",
    "TD",
    "THead",
    "TBody",
    "TFoot",
    "Span",
    "Quote",
    "Note",
    "Reference",
    "BibEntry",
    "Code",
    "Link",
    "Annot",
    "Ruby",
    "RB",
    "RT",
    "RP",
    "Warichu",
    "WT",
    "WP",
    "Figure",
    "Formula",
    "Form",
];

// What tests spoil.

/// The first object of the structure tree with this role.
pub fn element<'a>(file: &'a mut File, kind: &str) -> &'a mut Dictionary {
    let of_kind = |object: &&mut Object| {
        object.as_dict().is_ok_and(|dict| {
            dict.get(b"S").and_then(Object::as_name).is_ok_and(|name| name == kind.as_bytes()) && dict.has(b"P")
        })
    };
    file.objects.values_mut().find(of_kind).unwrap().as_dict_mut().unwrap()
}

/// Rewrites the words of the first page's content.
pub fn content(file: &mut File, change: impl Fn(String) -> String) {
    let page = *file.get_pages().values().next().unwrap();
    let words: String = file.get_page_content(page).into_iter().map(char::from).collect();
    let bytes = change(words).chars().map(|c| c as u8).collect();
    let id = file.get_page_contents(page)[0];
    file.get_object_mut(id).unwrap().as_stream_mut().unwrap().set_plain_content(bytes);
}

/// Rewrites the XMP packet.
pub fn xmp(file: &mut File, from: &str, to: &str) {
    let id = file.catalog().unwrap().get(b"Metadata").unwrap().as_reference().unwrap();
    let stream = file.get_object_mut(id).unwrap().as_stream_mut().unwrap();
    let words = String::from_utf8(plain(stream)).unwrap();
    assert!(words.contains(from), "there is no `{from}` to spoil");
    stream.set_plain_content(words.replace(from, to).into_bytes());
}

pub fn catalog(file: &mut File) -> &mut Dictionary {
    file.catalog_mut().unwrap()
}

/// The first page.
pub fn page(file: &mut File) -> &mut Dictionary {
    let id = *file.get_pages().values().next().unwrap();
    file.get_dictionary_mut(id).unwrap()
}

/// Some annotation.
pub fn annotation(file: &mut File) -> &mut Dictionary {
    let found = file.objects.values_mut().find(|o| o.as_dict().is_ok_and(|dict| dict.has_type(b"Annot")));
    found.unwrap().as_dict_mut().unwrap()
}

/// Every dictionary for which this is so.
pub fn every(file: &mut File, which: impl Fn(&Dictionary) -> bool, change: impl Fn(&mut Dictionary)) {
    fn go(object: &mut Object, which: &dyn Fn(&Dictionary) -> bool, change: &dyn Fn(&mut Dictionary)) {
        let dict = match object {
            Object::Dictionary(dict) => dict,
            Object::Stream(stream) => &mut stream.dict,
            Object::Array(list) => return list.iter_mut().for_each(|each| go(each, which, change)),
            _ => return,
        };
        if which(dict) {
            change(dict);
        }
        dict.iter_mut().for_each(|(_, each)| go(each, which, change));
    }
    file.objects.values_mut().for_each(|object| go(object, &which, &change));
}

pub fn is(key: &'static str, value: &'static str) -> impl Fn(&Dictionary) -> bool {
    move |dict| dict.get(key.as_bytes()).and_then(Object::as_name).is_ok_and(|name| name == value.as_bytes())
}

/// Every font of this subtype.
pub fn fonts(file: &mut File, change: impl Fn(&mut Dictionary)) {
    every(file, is("Subtype", "Type0"), change);
}

fn cid_fonts(file: &mut File, change: impl Fn(&mut Dictionary)) {
    every(file, is("Subtype", "CIDFontType0"), change);
}

fn descriptors(file: &mut File, change: impl Fn(&mut Dictionary)) {
    every(file, is("Type", "FontDescriptor"), change);
}

/// Rewrites every ToUnicode map.
pub fn unicode_maps(file: &mut File, change: impl Fn(String) -> String) {
    for object in file.objects.values_mut() {
        let Ok(stream) = object.as_stream_mut() else { continue };
        let words = String::from_utf8_lossy(&plain(stream)).into_owned();
        if words.contains("beginbfchar") {
            stream.set_plain_content(change(words).into_bytes());
        }
    }
}

/// Turns every font into a TrueType font of this sort.
fn truetype(file: &mut File, encoding: Option<Object>, symbolic: bool) {
    fonts(file, |font| {
        font.set("Subtype", "TrueType");
        font.remove(b"Encoding");
        font.remove(b"DescendantFonts");
        font.set("FontDescriptor", dictionary! { "Flags" => if symbolic { 4 } else { 32 } });
        if let Some(encoding) = &encoding {
            font.set("Encoding", encoding.clone());
        }
    });
}

fn annotate(file: &mut File, annotation: Dictionary) {
    let id = file.add_object(annotation);
    page(file).set("Annots", vec![Object::Reference(id)]);
}

// What conditions ask.

fn wrong_where<'a>(elements: impl Iterator<Item = &'a Element>, bad: impl Fn(&Element) -> bool) -> Wrong {
    elements.filter(|element| bad(element)).map(|element| format!("{} {:?}", element.kind, element.id)).collect()
}

/// Catalog, or any element above an object, says which language.
fn language(pdf: &Pdf) -> bool {
    let lang = pdf.entry(pdf.catalog(), "Lang").map(text).unwrap_or_default();
    // BCP 47, as far as a plan's language goes.
    let mut parts = lang.split('-');
    let first = parts.next().unwrap_or_default();
    (2..=3).contains(&first.len())
        && first.bytes().all(|b| b.is_ascii_lowercase())
        && parts.all(|part| (1..=8).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_alphanumeric()))
}

fn without_language(pdf: &Pdf, what: usize, name: &str) -> Wrong {
    if what > 0 && !language(pdf) { vec![format!("{what} {name} without a language")] } else { Vec::new() }
}

/// What may stand above and below in tables, lists, contents, Ruby and Warichu.
fn misplaced(pdf: &Pdf, family: &[&str], above: &[(&str, &[&str])], below: &[(&str, &[&str])]) -> Wrong {
    let mut wrong = Wrong::new();
    for element in pdf.tree.iter().filter(|element| family.contains(&element.kind.as_str())) {
        let parent = pdf.parent_kind(element);
        if above.iter().any(|(kind, may)| *kind == element.kind && !may.contains(&parent)) {
            wrong.push(format!("{} in {parent}", element.kind));
        }
        for child in pdf.children(element) {
            if below.iter().any(|(kind, may)| *kind == element.kind && !may.contains(&child.kind.as_str())) {
                wrong.push(format!("{} holds {}", element.kind, child.kind));
            }
        }
        let holds_content = element.kids.iter().any(|kid| !matches!(kid, Kid::Element(_)));
        if holds_content
            && ["Table", "TR", "THead", "TBody", "TFoot", "L", "LI", "TOC"].contains(&element.kind.as_str())
        {
            wrong.push(format!("{} holds content itself", element.kind));
        }
    }
    wrong
}

fn tables(pdf: &Pdf) -> Wrong {
    let rows: &[&str] = &["Table", "THead", "TBody", "TFoot"];
    let mut wrong = misplaced(
        pdf,
        &["Table", "TR", "TH", "TD", "THead", "TBody", "TFoot"],
        &[
            ("TR", rows),
            ("TH", &["TR"]),
            ("TD", &["TR"]),
            ("THead", &["Table"]),
            ("TBody", &["Table"]),
            ("TFoot", &["Table"]),
        ],
        &[
            ("Table", &["TR", "THead", "TBody", "TFoot", "Caption"]),
            ("TR", &["TH", "TD"]),
            ("THead", &["TR"]),
            ("TBody", &["TR"]),
            ("TFoot", &["TR"]),
        ],
    );
    // The grid closes: every row has as many cells.
    for table in pdf.of_kind("Table") {
        let counts: BTreeSet<usize> = pdf.children(table).map(|row| pdf.children(row).count()).collect();
        if counts.len() != 1 {
            wrong.push(format!("rows of {counts:?} cells"));
        }
    }
    wrong
}

fn lists(pdf: &Pdf) -> Wrong {
    misplaced(
        pdf,
        &["L", "LI", "LBody"],
        &[("LI", &["L"]), ("LBody", &["LI"])],
        &[("L", &["L", "LI", "Caption"]), ("LI", &["Lbl", "LBody"])],
    )
}

/// Numbered headings in reading order.
fn headings(pdf: &Pdf) -> Vec<u32> {
    let level = |element: &Element| element.kind.strip_prefix('H').and_then(|level| level.parse().ok());
    pdf.tree.iter().filter_map(level).collect()
}

/// Content that is shown: which page, whether an artifact, which number.
fn in_artifact(pdf: &Pdf) -> Wrong {
    nested(pdf, |outer, inner| outer == "Artifact" && inner != "Artifact", true)
}

fn nested(pdf: &Pdf, bad: impl Fn(&str, &str) -> bool, tagged: bool) -> Wrong {
    let mut wrong = Wrong::new();
    for (number, page) in pdf.pages.iter().enumerate() {
        for sequence in &page.sequences {
            let mut at = sequence.parent;
            while let Some(outer) = at.map(|at| &page.sequences[at]) {
                if (if tagged { sequence.mcid().is_some() } else { outer.mcid().is_some() })
                    && bad(&outer.tag, &sequence.tag)
                {
                    wrong.push(format!("page {}: {} in {}", number + 1, sequence.tag, outer.tag));
                }
                at = outer.parent;
            }
        }
    }
    wrong
}

fn untagged(pdf: &Pdf) -> Wrong {
    let mut referred: BTreeSet<(ObjectId, i64)> = BTreeSet::new();
    for kid in pdf.tree.iter().flat_map(|element| &element.kids) {
        if let Kid::Content { page, mcid } = kid {
            referred.insert((*page, *mcid));
        }
    }
    let mut wrong = Wrong::new();
    for (number, page) in pdf.pages.iter().enumerate() {
        for painted in &page.painted {
            let mut at = painted.inside;
            let mut known = false;
            while let Some(sequence) = at.map(|at| &page.sequences[at]) {
                let mcid = sequence.mcid();
                known |= sequence.tag == "Artifact" || mcid.is_some_and(|mcid| referred.contains(&(page.id, mcid)));
                at = sequence.parent;
            }
            if !known {
                wrong.push(format!("page {}: {}", number + 1, painted.operator));
            }
        }
    }
    wrong
}

fn roles(pdf: &Pdf) -> Wrong {
    let map = pdf.role_map();
    let ends_well = |kind: &str| {
        let mut at = kind;
        for _ in 0..=map.len() {
            if STANDARD.contains(&at) {
                return true;
            }
            match map.get(at) {
                Some(next) => at = next,
                None => return false,
            }
        }
        false
    };
    wrong_where(pdf.tree.iter(), |element| !ends_well(&element.kind))
}

fn circles(pdf: &Pdf) -> Wrong {
    let map = pdf.role_map();
    let mut wrong = Wrong::new();
    for start in map.keys() {
        let mut at = start;
        for _ in 0..=map.len() {
            match map.get(at) {
                Some(next) if next == start => {
                    wrong.push(start.clone());
                    break;
                }
                Some(next) => at = next,
                None => break,
            }
        }
    }
    wrong
}

/// Text of the XMP packet's first element of this name and namespace.
pub fn property(pdf: &Pdf, namespace: &str, name: &str) -> Option<String> {
    let xmp = pdf.xmp();
    let tree = roxmltree::Document::parse(xmp.trim_matches(['\u{feff}', '\n'])).ok()?;
    let node = tree.descendants().find(|node| node.has_tag_name((namespace, name)))?;
    Some(
        node.descendants()
            .filter_map(|node| node.text().filter(|_| node.is_text()))
            .collect::<String>()
            .trim()
            .to_owned(),
    )
}

pub const DC: &str = "http://purl.org/dc/elements/1.1/";
const UA: &str = "http://www.aiim.org/pdfua/ns/id/";

/// A finding for each font used on a page.
fn each_font(pdf: &Pdf, bad: impl Fn(&crate::specimen::Font) -> Option<String>) -> Wrong {
    let name =
        |font: &crate::specimen::Font| font.dict.get(b"BaseFont").map(|name| format!("{name:?}")).unwrap_or_default();
    pdf.fonts
        .iter()
        .filter(|font| !font.used.is_empty() || !font.dict.has(b"DescendantFonts"))
        .filter_map(|font| bad(font).map(|why| format!("{}: {why}", name(font))))
        .collect()
}

fn is_truetype(font: &crate::specimen::Font) -> bool {
    is("Subtype", "TrueType")(&font.dict)
}

fn symbolic(font: &crate::specimen::Font, pdf: &Pdf) -> bool {
    let descriptor = pdf.dict(&font.dict, "FontDescriptor").unwrap_or(&font.descriptor);
    descriptor.get(b"Flags").and_then(Object::as_i64).unwrap_or(0) & 4 != 0
}

/// A TrueType font would need a look into its program. None is embedded, so none may be.
fn truetype_programs(pdf: &Pdf, which: bool) -> Wrong {
    each_font(pdf, |font| (is_truetype(font) && symbolic(font, pdf) == which).then(|| "not looked into".to_owned()))
}

fn embedded_cmaps(pdf: &Pdf) -> Vec<Stream> {
    let mut found = Vec::new();
    pdf.walk(&mut |object| {
        if let Object::Stream(stream) = object
            && is("Type", "CMap")(&stream.dict)
        {
            found.push(stream.clone());
        }
    });
    found
}

/// Widths in the dictionary beside those in the program.
pub fn widths(pdf: &Pdf) -> Wrong {
    each_font(pdf, |font| {
        let program = font.opened.as_ref()?;
        let default = font.descendant.get(b"DW").and_then(Object::as_float).map_or(1000.0, f64::from);
        font.used.iter().find_map(|code| {
            let said = font.widths.get(code).copied().unwrap_or(default);
            let real = *program.widths.get(code)?;
            ((said - real).abs() > 1.0).then(|| format!("glyph {code}: {said} said, {real} in the program"))
        })
    })
}

pub fn missing_glyphs(pdf: &Pdf) -> Wrong {
    each_font(pdf, |font| {
        let Some(program) = &font.opened else { return Some("a program that cannot be read".to_owned()) };
        font.used.iter().find(|code| !program.widths.contains_key(code)).map(|code| format!("no glyph {code}"))
    })
}

pub fn notdef(pdf: &Pdf) -> Wrong {
    each_font(pdf, |font| font.used.contains(&0).then(|| ".notdef".to_owned()))
}

pub fn unmapped(pdf: &Pdf) -> Wrong {
    each_font(pdf, |font| {
        let empty = |code: &&u16| font.unicode.get(code).is_none_or(String::is_empty);
        font.used.iter().find(empty).map(|code| format!("code {code} has no text"))
    })
}

pub fn forbidden_text(pdf: &Pdf, bad: impl Fn(char) -> bool) -> Wrong {
    each_font(pdf, |font| {
        let found = font.unicode.values().flat_map(|text| text.chars()).find(|c| bad(*c));
        found.map(|c| format!("{:?} in the map", c.escape_unicode().to_string()))
    })
}

pub fn not_embedded(pdf: &Pdf) -> Wrong {
    each_font(pdf, |font| font.program.is_none().then(|| "no program".to_owned()))
}

fn every_annotation(pdf: &Pdf, bad: impl Fn(ObjectId, &Dictionary) -> bool) -> Wrong {
    pdf.annotations()
        .into_iter()
        .filter(|(_, id, dict)| bad(*id, dict))
        .map(|(_, id, dict)| format!("{:?} {id:?}", dict.get(b"Subtype").ok()))
        .collect()
}

fn subtype(dict: &Dictionary) -> &[u8] {
    dict.get(b"Subtype").and_then(Object::as_name).unwrap_or_default()
}

fn no_words(pdf: &Pdf, dict: &Dictionary, key: &str) -> bool {
    pdf.entry(dict, key).is_none_or(|words| text(words).trim().is_empty())
}

fn optional_content(pdf: &Pdf) -> Vec<(&'static str, Dictionary)> {
    let Some(properties) = pdf.dict(pdf.catalog(), "OCProperties") else { return Vec::new() };
    let mut found: Vec<(&str, Dictionary)> = pdf.dict(properties, "D").map(|d| ("D", d.clone())).into_iter().collect();
    for each in pdf.list(properties, "Configs") {
        found.extend(resolve(&pdf.file, each).as_dict().map(|d| ("Configs", d.clone())));
    }
    found
}

fn optional(file: &mut File, place: &str, settings: Dictionary) {
    let value: Object = if place == "D" { settings.into() } else { vec![Object::Dictionary(settings)].into() };
    catalog(file).set("OCProperties", dictionary! { place => value });
}

fn encryption(pdf: &Pdf) -> Option<&Dictionary> {
    pdf.entry(&pdf.file.trailer, "Encrypt").and_then(|object| object.as_dict().ok())
}

fn forms(pdf: &Pdf) -> Vec<Dictionary> {
    pdf.dictionaries().into_iter().filter(|dict| dict.has(b"FT")).collect()
}

/// Sequences of content in the order of the tree, and the same in the order of the page.
fn order(pdf: &Pdf) -> Wrong {
    // A running number for each stretch of content, by walking the tree with kids in their places.
    fn walk(pdf: &Pdf, element: &Element, order: &mut BTreeMap<ObjectId, Vec<i64>>) {
        for kid in &element.kids {
            match kid {
                Kid::Element(at) => walk(pdf, &pdf.tree[*at], order),
                Kid::Content { page, mcid } => order.entry(*page).or_default().push(*mcid),
                Kid::Object { .. } => {}
            }
        }
    }
    let mut order: BTreeMap<ObjectId, Vec<i64>> = BTreeMap::new();
    if let Some(root) = pdf.tree.first() {
        walk(pdf, root, &mut order);
    }
    let mut wrong = Wrong::new();
    for (number, page) in pdf.pages.iter().enumerate() {
        let drawn: Vec<i64> = page.sequences.iter().filter_map(crate::specimen::Sequence::mcid).collect();
        let read = order.remove(&page.id).unwrap_or_default();
        let out_of_place = drawn.iter().zip(&read).filter(|(a, b)| a != b).count();
        // Lines of two columns are drawn by turns and read one after the other; most stands in its place all the same.
        if drawn.len() != read.len() || out_of_place * 2 > drawn.len() {
            wrong.push(format!("page {}: {out_of_place} of {} out of place", number + 1, drawn.len()));
        }
    }
    wrong
}

/// Numbers of marked content, structure and parent tree say the same.
fn parents(pdf: &Pdf) -> Wrong {
    let parents = pdf.parent_tree();
    let mut wrong = Wrong::new();
    let mut expected: BTreeMap<(ObjectId, i64), ObjectId> = BTreeMap::new();
    for element in &pdf.tree {
        for kid in &element.kids {
            match kid {
                Kid::Content { page, mcid } => {
                    if expected.insert((*page, *mcid), element.id).is_some() {
                        wrong.push(format!("content {mcid} of {page:?} is in two elements"));
                    }
                }
                Kid::Object { id, .. } => {
                    let key = pdf.file.get_dictionary(*id).ok().and_then(|dict| dict.get(b"StructParent").ok());
                    let found =
                        key.and_then(|key| parents.get(&key.as_i64().ok()?)).and_then(|o| o.as_reference().ok());
                    if found != Some(element.id) {
                        wrong.push(format!("object {id:?} has another parent"));
                    }
                }
                Kid::Element(child) => {
                    let said = pdf.tree[*child].dict.get(b"P").and_then(Object::as_reference).ok();
                    if said != Some(element.id) {
                        wrong.push(format!("{:?} names another parent", pdf.tree[*child].id));
                    }
                }
            }
        }
    }
    for page in &pdf.pages {
        let key =
            pdf.file.get_dictionary(page.id).unwrap().get(b"StructParents").and_then(Object::as_i64).unwrap_or(-1);
        let entries = parents.get(&key).map(|list| resolve(&pdf.file, list).as_array().cloned().unwrap_or_default());
        let entries = entries.unwrap_or_default();
        let mut drawn = 0;
        for mcid in page.sequences.iter().filter_map(crate::specimen::Sequence::mcid) {
            drawn += 1;
            let entry = usize::try_from(mcid).ok().and_then(|at| entries.get(at)).and_then(|o| o.as_reference().ok());
            if entry.is_none() || entry != expected.get(&(page.id, mcid)).copied() {
                wrong.push(format!("content {mcid} of {:?} is not where the parent tree says", page.id));
            }
        }
        if drawn != entries.len() {
            wrong.push(format!("{drawn} stretches of content, {} parents", entries.len()));
        }
    }
    wrong
}

conditions! {
    /// 01-003: Content marked as Artifact is present inside tagged content.
    m01_003_no_artifact_inside_tagged_content: |pdf| nested(pdf, |_, inner| inner == "Artifact", false), Spoilt(|file| {
        content(file, |words| words.replacen(">> BDC", ">> BDC /Artifact BMC EMC", 3));
    });
    /// 01-004: Tagged content is present inside content marked as Artifact.
    m01_004_no_tagged_content_inside_an_artifact: in_artifact, Spoilt(|file| {
        content(file, |words| format!("/Artifact BMC {words} EMC"));
    });
    /// 01-005: Content is neither marked as Artifact nor tagged as real content.
    m01_005_all_content_is_tagged_or_artifact: untagged, Spoilt(|file| content(file, |words| format!("{words} 0 0 m 9 9 l S")));
    /// 01-007: Suspects entry has a value of true.
    m01_007_no_suspects: |pdf| {
        let marks = pdf.dict(pdf.catalog(), "MarkInfo").cloned().unwrap_or_default();
        let marked = marks.get(b"Marked").and_then(Object::as_bool).unwrap_or(false);
        let suspect = marks.get(b"Suspects").and_then(Object::as_bool).unwrap_or(false);
        if !marked || suspect { vec![format!("{marks:?}")] } else { Wrong::new() }
    }, Spoilt(|file| catalog(file).set("MarkInfo", dictionary! { "Marked" => true, "Suspects" => true }));

    /// 02-001: One or more non-standard tag's mapping does not terminate with a standard type.
    m02_001_tags_are_standard: roles, Spoilt(|file| element(file, "P").set("S", "Paragraph"));
    /// 02-003: A circular mapping exists.
    m02_003_no_circles_in_the_role_map: circles, Spoilt(|file| {
        let root = catalog(file).get(b"StructTreeRoot").unwrap().as_reference().unwrap();
        file.get_dictionary_mut(root).unwrap().set("RoleMap", dictionary! { "A" => "B", "B" => "A" });
    });
    /// 02-004: One or more standard types are remapped.
    m02_004_standard_types_keep_their_meaning: |pdf| {
        pdf.role_map().into_keys().filter(|kind| STANDARD.contains(&kind.as_str())).collect()
    }, Spoilt(|file| {
        let root = catalog(file).get(b"StructTreeRoot").unwrap().as_reference().unwrap();
        file.get_dictionary_mut(root).unwrap().set("RoleMap", dictionary! { "P" => "H1" });
    });

    /// 06-001: Document does not contain an XMP metadata stream.
    m06_001_xmp_stream_exists: |pdf| match pdf.entry(pdf.catalog(), "Metadata") {
        Some(Object::Stream(stream)) if is("Type", "Metadata")(&stream.dict) && is("Subtype", "XML")(&stream.dict) => Wrong::new(),
        other => vec![format!("{other:?}")],
    }, Spoilt(|file| { catalog(file).remove(b"Metadata"); });
    /// 06-002: The XMP metadata stream in the Catalog dictionary does not include the PDF/UA identifier.
    m06_002_xmp_names_the_standard: |pdf| {
        if property(pdf, UA, "part").as_deref() == Some("1") { Wrong::new() } else { vec!["no pdfuaid:part".to_owned()] }
    }, Spoilt(|file| xmp(file, "pdfuaid:part>1<", "pdfuaid:part>2<"));
    /// 06-003: XMP metadata stream does not contain dc:title.
    m06_003_xmp_has_a_title: |pdf| {
        if property(pdf, DC, "title").is_some_and(|title| !title.is_empty()) { Wrong::new() } else { vec!["no dc:title".to_owned()] }
    }, Spoilt(|file| xmp(file, "dc:title>", "dc:source>"));

    /// 07-001: ViewerPreferences dictionary of the Catalog dictionary does not contain a DisplayDocTitle entry.
    m07_001_title_display_is_said: |pdf| {
        let said = pdf.dict(pdf.catalog(), "ViewerPreferences").is_some_and(|dict| dict.has(b"DisplayDocTitle"));
        if said { Wrong::new() } else { vec!["nothing said".to_owned()] }
    }, Spoilt(|file| { catalog(file).remove(b"ViewerPreferences"); });
    /// 07-002: ViewerPreferences dictionary contains a DisplayDocTitle entry with a value of false.
    m07_002_title_is_displayed: |pdf| {
        let shown = pdf.dict(pdf.catalog(), "ViewerPreferences").and_then(|dict| dict.get(b"DisplayDocTitle").ok());
        if shown.and_then(|shown| shown.as_bool().ok()) == Some(true) { Wrong::new() } else { vec!["hidden".to_owned()] }
    }, Spoilt(|file| catalog(file).set("ViewerPreferences", dictionary! { "DisplayDocTitle" => false }));

    /// 09-001 (left to people): Tags are not in logical reading order. Here: the order of the page and of the tree agree.
    m09_001_tags_stand_in_the_order_of_the_page: order, Spoilt(|file| {
        let kids = element(file, "Document").get_mut(b"K").unwrap().as_array_mut().unwrap();
        kids.reverse();
    });
    /// 09-004: A table-related structure element does not conform to ISO 32000-1, Table 337.
    m09_004_tables_are_made_as_tables: tables, Spoilt(|file| element(file, "TR").set("S", "P"));
    /// 09-005: A list-related structure element does not conform to ISO 32000-1, Table 336.
    m09_005_lists_are_made_as_lists: lists, Spoilt(|file| element(file, "LI").set("S", "P"));
    /// 09-006: A TOC-related structure element does not conform to ISO 32000-1, Table 333.
    m09_006_contents_are_made_as_contents: |pdf| misplaced(pdf, &["TOC", "TOCI"], &[("TOCI", &["TOC"])],
        &[("TOC", &["TOC", "TOCI", "Caption"])]), Spoilt(|file| element(file, "P").set("S", "TOCI"));
    /// 09-007: A Ruby-related structure element does not conform to ISO 32000-1, Table 338.
    m09_007_ruby_is_made_as_ruby: |pdf| misplaced(pdf, &["Ruby", "RB", "RT", "RP"],
        &[("RB", &["Ruby"]), ("RT", &["Ruby"]), ("RP", &["Ruby"])], &[("Ruby", &["RB", "RT", "RP"])]),
        Spoilt(|file| element(file, "P").set("S", "RB"));
    /// 09-008: A Warichu-related structure element does not conform to ISO 32000-1, Table 338.
    m09_008_warichu_is_made_as_warichu: |pdf| misplaced(pdf, &["Warichu", "WT", "WP"],
        &[("WT", &["Warichu"]), ("WP", &["Warichu"])], &[("Warichu", &["WT", "WP"])]),
        Spoilt(|file| element(file, "P").set("S", "WT"));

    /// 10-001: Character code cannot be mapped to Unicode.
    m10_001_every_code_has_a_text: unmapped, Spoilt(|file| unicode_maps(file, |map| map.replace("<0003> <", "<FFF0> <")));

    /// 11-001: Natural language for text in page content cannot be determined.
    m11_001_language_of_content: |pdf| without_language(pdf, pdf.pages.len(), "pages"), Spoilt(|file| { catalog(file).remove(b"Lang"); });
    /// 11-002: Natural language for text in Alt, ActualText and E attributes cannot be determined.
    m11_002_language_of_alternatives: |pdf| {
        let count = pdf.tree.iter().filter(|e| [&b"Alt"[..], b"ActualText", b"E"].iter().any(|key| e.dict.has(key))).count();
        without_language(pdf, count, "alternatives")
    }, Spoilt(|file| { catalog(file).remove(b"Lang"); });
    /// 11-003: Natural language in the Outline entries cannot be determined.
    m11_003_language_of_the_outline: |pdf| {
        without_language(pdf, usize::from(pdf.catalog().has(b"Outlines")), "outlines")
    }, Spoilt(|file| catalog(file).set("Lang", Object::string_literal("")));
    /// 11-004: Natural language in the Contents entry for annotations cannot be determined.
    m11_004_language_of_annotations: |pdf| without_language(pdf, pdf.annotations().len(), "annotations"),
        Spoilt(|file| catalog(file).set("Lang", Object::string_literal("English, British")));
    /// 11-005: Natural language in the TU entry for form fields cannot be determined.
    m11_005_language_of_fields: |pdf| without_language(pdf, forms(pdf).len(), "fields"), Spoilt(|file| {
        file.add_object(dictionary! { "FT" => "Tx", "TU" => Object::string_literal("amount") });
        catalog(file).remove(b"Lang");
    });
    /// 11-006: Natural language for document metadata cannot be determined.
    m11_006_language_of_metadata: |pdf| {
        let packet = pdf.xmp();
        let said = packet.contains("<dc:title><rdf:Alt><rdf:li xml:lang=");
        if said { without_language(pdf, 1, "packets") } else { vec!["dc:title in no language".to_owned()] }
    }, Spoilt(|file| xmp(file, " xml:lang=\"x-default\"", ""));

    /// 13-001 (left to people): Graphics objects are not tagged with a Figure tag. Here: paths and images inside tagged
    /// content stand in Figures and Formulas alone.
    m13_001_graphics_are_figures: |pdf| {
        let mut wrong = Wrong::new();
        for (number, page) in pdf.pages.iter().enumerate() {
            for painted in page.painted.iter().filter(|painted| painted.text.is_none()) {
                // A span that only carries the words to copy stands inside its formula.
                let mut inside = painted.inside;
                while let Some(at) = inside.filter(|at| page.sequences[*at].properties.has(b"ActualText")) {
                    inside = page.sequences[at].parent;
                }
                let tag = inside.map_or("nothing", |at| page.sequences[at].tag.as_str());
                if !["Artifact", "Figure", "Formula"].contains(&tag) {
                    wrong.push(format!("page {}: {} in {tag}", number + 1, painted.operator));
                }
            }
        }
        wrong
    }, Spoilt(|file| content(file, |words| words.replace("/Figure <<", "/P <<")));
    /// 13-004: Figure tag alternative or replacement text missing.
    m13_004_figures_have_alternatives: |pdf| {
        wrong_where(pdf.of_kind("Figure"), |e| no_words(pdf, &e.dict, "Alt") && no_words(pdf, &e.dict, "ActualText"))
    }, Spoilt(|file| { element(file, "Figure").remove(b"Alt"); });

    /// 14-002: Does use numbered headings, but the first heading tag is not H1.
    m14_002_the_first_heading_is_h1: |pdf| match headings(pdf).first() {
        Some(1) => Wrong::new(),
        other => vec![format!("{other:?}")],
    }, Spoilt(|file| { element(file, "H1").set("S", "H2"); });
    /// 14-003: Numbered heading levels in descending sequence are skipped.
    m14_003_no_heading_level_is_skipped: |pdf| {
        headings(pdf).windows(2).filter(|pair| pair[1] > pair[0] + 1).map(|pair| format!("{pair:?}")).collect()
    }, Spoilt(|file| { element(file, "H2").set("S", "H4"); });
    /// 14-006: A node contains more than one H tag.
    m14_006_one_h_in_a_node: |pdf| {
        wrong_where(pdf.tree.iter(), |e| pdf.children(e).filter(|child| child.kind == "H").count() > 1)
    }, Spoilt(|file| every(file, is("S", "H1"), |dict| dict.set("S", "H")));
    /// 14-007: Document uses both H and H# tags.
    m14_007_numbered_headings_only: |pdf| {
        if headings(pdf).is_empty() { Wrong::new() } else { wrong_where(pdf.of_kind("H"), |_| true) }
    }, Spoilt(|file| { element(file, "H2").set("S", "H"); });

    /// 15-003: In a table not organized with Headers attributes and IDs, a TH cell does not contain a Scope attribute.
    m15_003_head_cells_say_what_they_head: |pdf| {
        let scopes: [&[u8]; 3] = [b"Row", b"Column", b"Both"];
        let scope = |e: &Element| pdf.attribute(e, "Table", "Scope").and_then(|s| s.as_name().ok()).map(<[u8]>::to_vec);
        wrong_where(pdf.of_kind("TH"), |e| !scope(e).is_some_and(|s| scopes.contains(&s.as_slice())))
    }, Spoilt(|file| { element(file, "TH").remove(b"A"); });
    /// 15-001 and 15-002 (left to people): rows and columns with heads. Here: every table heads its columns or its rows,
    /// and heads rows unless heads would outnumber cells.
    m15_001_tables_have_heads: |pdf| {
        let count = |table: &Element, kind: &str| {
            pdf.children(table).flat_map(|row| pdf.children(row)).filter(|cell| cell.kind == kind).count()
        };
        let rows = |table: &Element| {
            pdf.children(table).skip(1).all(|row| pdf.children(row).next().is_some_and(|cell| cell.kind == "TH"))
        };
        wrong_where(pdf.of_kind("Table"), |table| {
            let (heads, cells, height) = (count(table, "TH"), count(table, "TD"), pdf.children(table).count());
            heads == 0 || (!rows(table) && heads + height - 1 <= cells + 1 - height)
        })
    }, Spoilt(|file| every(file, is("S", "TH"), |dict| dict.set("S", "TD")));

    /// 16-001 (left to people): List is an ordered list, but no value for the ListNumbering attribute is present.
    m16_001_lists_say_how_they_are_numbered: |pdf| {
        wrong_where(pdf.of_kind("L"), |e| pdf.attribute(e, "List", "ListNumbering").is_none())
    }, Spoilt(|file| { element(file, "L").remove(b"A"); });
    /// 16-002 (left to people): ... the ListNumbering value is not one of: Decimal, UpperRoman, LowerRoman, UpperAlpha,
    /// LowerAlpha. Here: lists whose labels are numbers say Decimal.
    m16_002_numbered_lists_say_decimal: |pdf| {
        wrong_where(pdf.of_kind("L"), |list| {
            let mut labels = pdf.children(list).flat_map(|item| pdf.children(item)).filter(|e| e.kind == "Lbl").peekable();
            labels.peek().is_some()
                && labels.all(|label| pdf.own_words(label).trim().parse::<u32>().is_ok())
                && pdf.attribute(list, "List", "ListNumbering").and_then(|n| n.as_name().ok()) != Some(b"Decimal")
        })
    }, Spoilt(|file| every(file, is("ListNumbering", "Decimal"), |dict| dict.set("ListNumbering", "None")));

    /// 17-002: Formula tag is missing an Alt attribute.
    m17_002_formulas_have_alternatives: |pdf| wrong_where(pdf.of_kind("Formula"), |e| no_words(pdf, &e.dict, "Alt")),
        Spoilt(|file| { element(file, "P").set("S", "Formula"); });
    /// 17-003: Unicode mapping requirements are not met (in formulas; see 10-001).
    m17_003_formulas_map_to_unicode: unmapped, Spoilt(|file| fonts(file, |font| { font.remove(b"ToUnicode"); }));

    /// 18-001 and 18-002 (left to people): Headers and footers are not pagination artifacts of their subtype. Here: what
    /// text is an artifact is pagination, and each page has a footer.
    m18_001_running_heads_and_feet_are_pagination: |pdf| {
        let mut wrong = Wrong::new();
        for (number, page) in pdf.pages.iter().enumerate() {
            for painted in page.painted.iter().filter(|painted| painted.text.is_some()) {
                let Some(sequence) = painted.inside.map(|at| &page.sequences[at]) else { continue };
                if sequence.tag == "Artifact" && !is("Type", "Pagination")(&sequence.properties) {
                    wrong.push(format!("page {}: {:?}", number + 1, sequence.properties));
                }
            }
            let feet = page.sequences.iter().any(|each| is("Subtype", "Footer")(&each.properties));
            if pdf.pages.len() > 1 && !feet {
                wrong.push(format!("page {}: no footer", number + 1));
            }
        }
        wrong
    }, Spoilt(|file| content(file, |words| words.replace("/Pagination", "/Layout")));

    /// 19-003: ID entry of the Note tag is not present.
    m19_003_notes_have_ids: |pdf| wrong_where(pdf.of_kind("Note"), |e| no_words(pdf, &e.dict, "ID")),
        Spoilt(|file| { element(file, "P").set("S", "Note"); });
    /// 19-004: ID entry of the Note tag is non-unique.
    m19_004_notes_have_ids_of_their_own: |pdf| {
        let mut seen = BTreeSet::new();
        let ids: Vec<String> = pdf.of_kind("Note").filter_map(|e| pdf.entry(&e.dict, "ID")).map(text).collect();
        ids.into_iter().filter(|id| !seen.insert(id.clone())).collect()
    }, Spoilt(|file| for _ in 0..2 {
        let note = element(file, "P");
        note.set("S", "Note");
        note.set("ID", Object::string_literal("same"));
    });

    /// 20-001: Name entry is missing or empty in an Optional Content Configuration Dictionary in Configs.
    m20_001_optional_content_is_named: |pdf| {
        let found = optional_content(pdf);
        found.into_iter().filter(|(place, dict)| *place == "Configs" && no_words(pdf, dict, "Name")).map(|f| format!("{f:?}")).collect()
    }, Spoilt(|file| optional(file, "Configs", Dictionary::new()));
    /// 20-002: Name entry is missing or empty in the Optional Content Configuration Dictionary D.
    m20_002_default_content_is_named: |pdf| {
        let found = optional_content(pdf);
        found.into_iter().filter(|(place, dict)| *place == "D" && no_words(pdf, dict, "Name")).map(|f| format!("{f:?}")).collect()
    }, Spoilt(|file| optional(file, "D", Dictionary::new()));
    /// 20-003: An AS entry appears in an Optional Content Configuration Dictionary.
    m20_003_no_content_comes_and_goes: |pdf| {
        optional_content(pdf).into_iter().filter(|(_, dict)| dict.has(b"AS")).map(|f| format!("{f:?}")).collect()
    }, Spoilt(|file| optional(file, "D", dictionary! { "AS" => Vec::<Object>::new() }));

    /// 21-001: The file specification dictionary for an embedded file does not contain F and UF entries.
    m21_001_embedded_files_have_both_names: |pdf| {
        let found = pdf.specifications();
        let bad = found.iter().filter(|(_, dict)| no_words(pdf, dict, "F") || no_words(pdf, dict, "UF"));
        bad.map(|(name, _)| name.clone()).chain(found.is_empty().then(|| "no files".to_owned())).collect()
    }, Spoilt(|file| every(file, is("Type", "Filespec"), |dict| { dict.remove(b"F"); }));

    /// 25-001: File contains the dynamicRender element with value "required".
    m25_001_no_dynamic_forms: |pdf| {
        let form = pdf.dict(pdf.catalog(), "AcroForm").is_some_and(|form| form.has(b"XFA"));
        if form { vec!["an XFA form".to_owned()] } else { Wrong::new() }
    }, Spoilt(|file| catalog(file).set("AcroForm", dictionary! { "XFA" => Object::string_literal("") }));

    /// 26-001: The file is encrypted but does not contain a P entry in its encryption dictionary.
    m26_001_encryption_says_what_is_allowed: |pdf| {
        encryption(pdf).filter(|dict| !dict.has(b"P")).map(|dict| format!("{dict:?}")).into_iter().collect()
    }, Spoilt(|file| { file.trailer.set("Encrypt", dictionary! { "V" => 1 }); });
    /// 26-002: The file is encrypted and the 10th bit position of the P entry is false.
    m26_002_encryption_lets_readers_in: |pdf| {
        let shut = |dict: &&Dictionary| dict.get(b"P").and_then(Object::as_i64).is_ok_and(|p| p & 1 << 9 == 0);
        encryption(pdf).filter(shut).map(|dict| format!("{dict:?}")).into_iter().collect()
    }, Spoilt(|file| { file.trailer.set("Encrypt", dictionary! { "V" => 1, "P" => 4 }); });

    /// 28-002: An annotation, other than Widget, Link and PrinterMark, is not a direct child of an Annot element.
    m28_002_annotations_are_in_annot_elements: |pdf| every_annotation(pdf, |id, dict| {
        ![&b"Widget"[..], b"Link", b"PrinterMark"].contains(&subtype(dict))
            && pdf.enclosing(id).first().is_none_or(|element| element.kind != "Annot")
    }), Spoilt(|file| annotate(file, dictionary! { "Type" => "Annot", "Subtype" => "Text" }));
    /// 28-004: An annotation, other than Widget, has neither Contents nor an alternative description.
    m28_004_annotations_are_described: |pdf| every_annotation(pdf, |id, dict| {
        subtype(dict) != b"Widget"
            && no_words(pdf, dict, "Contents")
            && pdf.enclosing(id).first().is_none_or(|element| no_words(pdf, &element.dict, "Alt"))
    }), Spoilt(|file| annotate(file, dictionary! { "Type" => "Annot", "Subtype" => "Text" }));
    /// 28-005: A form field does not have a TU entry and does not have an alternative description.
    m28_005_fields_are_described: |pdf| forms(pdf).iter().filter(|f| no_words(pdf, f, "TU")).map(|f| format!("{f:?}")).collect(),
        Spoilt(|file| { file.add_object(dictionary! { "FT" => "Tx" }); });
    /// 28-006: An annotation with subtype undefined in ISO 32000 does not meet 7.18.1. None is written at all.
    m28_006_annotations_are_known: |pdf| every_annotation(pdf, |_, dict| subtype(dict) != b"Link"),
        Spoilt(|file| annotate(file, dictionary! { "Type" => "Annot", "Subtype" => "Unheard" }));
    /// 28-007: An annotation of subtype TrapNet exists.
    m28_007_no_trap_nets: |pdf| every_annotation(pdf, |_, dict| subtype(dict) == b"TrapNet"),
        Spoilt(|file| annotate(file, dictionary! { "Type" => "Annot", "Subtype" => "TrapNet" }));
    /// 28-008: A page containing an annotation does not contain a Tabs entry.
    m28_008_tab_order_is_said: |pdf| {
        let pages = pdf.annotations().into_iter().map(|(page, ..)| page);
        pages.filter(|page| !pdf.file.get_dictionary(*page).unwrap().has(b"Tabs")).map(|page| format!("{page:?}")).collect()
    }, Spoilt(|file| every(file, is("Type", "Page"), |dict| { dict.remove(b"Tabs"); }));
    /// 28-009: A page containing an annotation has a Tabs entry with a value other than S.
    m28_009_tab_order_is_that_of_the_structure: |pdf| {
        let pages = pdf.annotations().into_iter().map(|(page, ..)| page);
        pages.filter(|page| !is("Tabs", "S")(pdf.file.get_dictionary(*page).unwrap())).map(|page| format!("{page:?}")).collect()
    }, Spoilt(|file| every(file, is("Type", "Page"), |dict| dict.set("Tabs", "R")));
    /// 28-010: A widget annotation is not nested within a Form tag.
    m28_010_widgets_are_in_forms: |pdf| every_annotation(pdf, |id, dict| {
        subtype(dict) == b"Widget" && pdf.enclosing(id).first().is_none_or(|element| element.kind != "Form")
    }), Spoilt(|file| annotate(file, dictionary! { "Type" => "Annot", "Subtype" => "Widget" }));
    /// 28-011: A link annotation is not nested within a Link tag.
    m28_011_links_are_in_link_elements: |pdf| {
        let mut wrong = every_annotation(pdf, |id, dict| {
            subtype(dict) == b"Link" && pdf.enclosing(id).first().is_none_or(|element| element.kind != "Link")
        });
        // And the other way about: a Link element has something to click on, and words.
        let held = |e: &Element, object: bool| e.kids.iter().any(|kid| matches!(kid, Kid::Object { .. }) == object);
        wrong.extend(wrong_where(pdf.of_kind("Link"), |e| !held(e, true) || !held(e, false)));
        wrong
    }, Spoilt(|file| element(file, "Link").set("S", "Span"));
    /// 28-012: A link annotation does not include an alternate description in its Contents entry.
    m28_012_links_are_described: |pdf| every_annotation(pdf, |_, dict| subtype(dict) == b"Link" && no_words(pdf, dict, "Contents")),
        Spoilt(|file| { annotation(file).remove(b"Contents"); });
    /// 28-014: CT entry is missing from the media clip data dictionary.
    m28_014_media_clips_name_their_type: |pdf| {
        pdf.dictionaries().into_iter().filter(|d| is("S", "MCD")(d) && !d.has(b"CT")).map(|d| format!("{d:?}")).collect()
    }, Spoilt(|file| { file.add_object(dictionary! { "S" => "MCD" }); });
    /// 28-015: Alt entry is missing from the media clip data dictionary.
    m28_015_media_clips_have_alternatives: |pdf| {
        pdf.dictionaries().into_iter().filter(|d| is("S", "MCD")(d) && !d.has(b"Alt")).map(|d| format!("{d:?}")).collect()
    }, Spoilt(|file| { file.add_object(dictionary! { "S" => "MCD" }); });
    /// 28-016: File attachment annotations do not conform to 7.11. Files are embedded, not annotated.
    m28_016_no_file_attachment_annotations: |pdf| every_annotation(pdf, |_, dict| subtype(dict) == b"FileAttachment"),
        Spoilt(|file| annotate(file, dictionary! { "Type" => "Annot", "Subtype" => "FileAttachment" }));
    /// 28-017: A PrinterMark annotation is included in the logical structure.
    m28_017_printer_marks_are_not_read: |pdf| every_annotation(pdf, |id, dict| subtype(dict) == b"PrinterMark" && !pdf.enclosing(id).is_empty()),
        Spoilt(|file| annotation(file).set("Subtype", "PrinterMark"));
    /// 28-018: The appearance stream of a PrinterMark annotation is not marked as Artifact.
    m28_018_printer_marks_are_artifacts: |pdf| every_annotation(pdf, |_, dict| subtype(dict) == b"PrinterMark"),
        Spoilt(|file| annotation(file).set("Subtype", "PrinterMark"));

    /// 30-001: A reference XObject is present.
    m30_001_no_reference_xobjects: |pdf| {
        pdf.dictionaries().into_iter().filter(|d| is("Subtype", "Form")(d) && d.has(b"Ref")).map(|d| format!("{d:?}")).collect()
    }, Spoilt(|file| { file.add_object(dictionary! { "Subtype" => "Form", "Ref" => Dictionary::new() }); });
    /// 30-002: Form XObject contains MCIDs and is referenced more than once. None is written at all.
    m30_002_no_form_xobjects: |pdf| {
        pdf.dictionaries().into_iter().filter(is("Subtype", "Form")).map(|d| format!("{d:?}")).collect()
    }, Spoilt(|file| { file.add_object(dictionary! { "Type" => "XObject", "Subtype" => "Form" }); });

    /// 31-001: A Type 0 font with encoding other than Identity-H and Identity-V: values for Registry are not identical.
    m31_001_registries_agree: |pdf| each_font(pdf, |font| {
        let identity = is("Encoding", "Identity-H")(&font.dict) || is("Encoding", "Identity-V")(&font.dict);
        (!identity).then(|| "another encoding".to_owned())
    }), Spoilt(|file| fonts(file, |font| font.set("Encoding", "UniGB-UCS2-H")));
    /// 31-002: ... values for Ordering are not identical. Identity-H alone is used, so that nothing need agree.
    m31_002_orderings_agree: |pdf| each_font(pdf, |font| {
        (!is("Encoding", "Identity-H")(&font.dict)).then(|| "another encoding".to_owned())
    }), Spoilt(|file| fonts(file, |font| font.set("Encoding", "UniGB-UCS2-H")));
    /// 31-003: ... a value for Supplement that is less than that of the CMap.
    m31_003_supplements_agree: |pdf| each_font(pdf, |font| {
        let info = pdf.dict(&font.descendant, "CIDSystemInfo").cloned().unwrap_or_default();
        let supplement = info.get(b"Supplement").and_then(Object::as_i64);
        (!matches!(supplement, Ok(0))).then(|| format!("{info:?}"))
    }), Spoilt(|file| cid_fonts(file, |font| { font.remove(b"CIDSystemInfo"); }));
    /// 31-004: A Type 2 CID font contains neither a stream nor the name Identity as the value of the CIDToGIDMap entry.
    m31_004_glyph_maps_are_maps: |pdf| each_font(pdf, |font| {
        let map = pdf.entry(&font.descendant, "CIDToGIDMap")?;
        let good = map.as_stream().is_ok() || map.as_name().is_ok_and(|name| name == b"Identity");
        (!good && is("Subtype", "CIDFontType2")(&font.descendant)).then(|| format!("{map:?}"))
    }), Spoilt(|file| cid_fonts(file, |font| {
        font.set("Subtype", "CIDFontType2");
        font.set("CIDToGIDMap", 3);
    }));
    /// 31-005: A Type 2 CID font does not contain a CIDToGIDMap entry.
    m31_005_glyph_maps_are_there: |pdf| each_font(pdf, |font| {
        (is("Subtype", "CIDFontType2")(&font.descendant) && !font.descendant.has(b"CIDToGIDMap")).then(|| "no map".to_owned())
    }), Spoilt(|file| cid_fonts(file, |font| font.set("Subtype", "CIDFontType2")));
    /// 31-006: A CMap is neither listed in ISO 32000-1, 9.7.5.2, Table 118 nor is it embedded.
    m31_006_cmaps_are_listed: |pdf| each_font(pdf, |font| {
        let encoding = pdf.entry(&font.dict, "Encoding");
        let good = encoding.is_some_and(|e| e.as_stream().is_ok() || e.as_name().is_ok_and(|n| n.starts_with(b"Identity-")));
        (!good).then(|| format!("{encoding:?}"))
    }), Spoilt(|file| fonts(file, |font| font.set("Encoding", "House-H")));
    /// 31-007: The WMode entry in a CMap dictionary is not identical to the WMode value in the CMap stream.
    m31_007_writing_modes_agree: |pdf| {
        let said = |map: &Stream| map.dict.get(b"WMode").and_then(Object::as_i64).unwrap_or(0);
        let bad = |map: &&Stream| !String::from_utf8_lossy(&plain(map)).contains(&format!("/WMode {} def", said(map)));
        embedded_cmaps(pdf).iter().filter(bad).map(|map| format!("{:?}", map.dict)).collect()
    }, Spoilt(|file| { file.add_object(Stream::new(dictionary! { "Type" => "CMap", "WMode" => 1 }, b"/WMode 0 def".to_vec())); });
    /// 31-008: A CMap references another CMap which is not listed in ISO 32000-1, 9.7.5.2, Table 118.
    m31_008_cmaps_stand_alone: |pdf| {
        let refers = |map: &&Stream| map.dict.has(b"UseCMap") || String::from_utf8_lossy(&plain(map)).contains("usecmap");
        embedded_cmaps(pdf).iter().filter(refers).map(|map| format!("{:?}", map.dict)).collect()
    }, Spoilt(|file| { file.add_object(Stream::new(dictionary! { "Type" => "CMap", "UseCMap" => "House-H" }, Vec::new())); });
    /// 31-009: For a font used by text intended to be rendered the font program is not embedded.
    m31_009_fonts_are_embedded: not_embedded, Spoilt(|file| descriptors(file, |dict| { dict.remove(b"FontFile3"); }));
    /// 31-011: ... the font program does not contain glyphs for all of the glyphs referenced by the text.
    m31_011_every_glyph_is_there: missing_glyphs, Spoilt(|file| content(file, |words| words.replace("Tj", "Tj <7FFF> Tj").replace("] TJ", " <7FFF>] TJ")));
    /// 31-012: The CharSet string of a Type 1 font does not list a glyph of the program.
    m31_012_charsets_list_all: |pdf| each_font(pdf, |font| font.descriptor.has(b"CharSet").then(|| "a CharSet".to_owned())),
        Spoilt(|file| descriptors(file, |dict| dict.set("CharSet", Object::string_literal("/a"))));
    /// 31-013: The CharSet string of a Type 1 font lists a glyph that is not in the program.
    m31_013_charsets_list_no_more: |pdf| each_font(pdf, |font| font.descriptor.has(b"CharSet").then(|| "a CharSet".to_owned())),
        Spoilt(|file| descriptors(file, |dict| dict.set("CharSet", Object::string_literal("/a"))));
    /// 31-014: The CIDSet of a CID font does not list a glyph of the program.
    m31_014_cid_sets_list_all: |pdf| each_font(pdf, |font| font.descriptor.has(b"CIDSet").then(|| "a CIDSet".to_owned())),
        Spoilt(|file| descriptors(file, |dict| dict.set("CIDSet", 0)));
    /// 31-015: The CIDSet of a CID font lists a glyph that is not in the program.
    m31_015_cid_sets_list_no_more: |pdf| each_font(pdf, |font| font.descriptor.has(b"CIDSet").then(|| "a CIDSet".to_owned())),
        Spoilt(|file| descriptors(file, |dict| dict.set("CIDSet", 0)));
    /// 31-016: Glyph widths in the font dictionary and in the embedded program differ by more than 1/1000 unit.
    m31_016_widths_are_those_of_the_program: widths, Spoilt(|file| cid_fonts(file, |font| { font.remove(b"W"); }));
    /// 31-017: A non-symbolic TrueType font whose program has no non-symbolic cmap.
    m31_017_truetype_has_a_cmap: |pdf| truetype_programs(pdf, false), Spoilt(|file| truetype(file, None, false));
    /// 31-018: A non-symbolic TrueType font with a glyph that no non-symbolic cmap finds.
    m31_018_truetype_finds_its_glyphs: |pdf| truetype_programs(pdf, false), Spoilt(|file| truetype(file, None, false));
    /// 31-019: The font dictionary for a non-symbolic TrueType font does not contain an Encoding entry.
    m31_019_truetype_has_an_encoding: |pdf| each_font(pdf, |font| {
        (is_truetype(font) && !symbolic(font, pdf) && !font.dict.has(b"Encoding")).then(|| "no encoding".to_owned())
    }), Spoilt(|file| truetype(file, None, false));
    /// 31-020: ... contains an Encoding dictionary which does not contain a BaseEncoding entry.
    m31_020_truetype_has_a_base_encoding: |pdf| each_font(pdf, |font| {
        let encoding = pdf.dict(&font.dict, "Encoding")?;
        (is_truetype(font) && !symbolic(font, pdf) && !encoding.has(b"BaseEncoding")).then(|| "no base".to_owned())
    }), Spoilt(|file| truetype(file, Some(Dictionary::new().into()), false));
    /// 31-021: ... Encoding or BaseEncoding is neither MacRomanEncoding nor WinAnsiEncoding.
    m31_021_truetype_encodings_are_known: |pdf| each_font(pdf, |font| {
        let encoding = pdf.entry(&font.dict, "Encoding")?;
        let name = encoding.as_name().or_else(|_| encoding.as_dict()?.get(b"BaseEncoding")?.as_name()).unwrap_or_default();
        let known = [&b"MacRomanEncoding"[..], b"WinAnsiEncoding"].contains(&name);
        (is_truetype(font) && !symbolic(font, pdf) && !known).then(|| format!("{encoding:?}"))
    }), Spoilt(|file| truetype(file, Some("StandardEncoding".into()), false));
    /// 31-022: The Differences array of a non-symbolic TrueType font holds names outside the Adobe Glyph List.
    m31_022_truetype_names_are_known: |pdf| each_font(pdf, |font| {
        let differs = pdf.dict(&font.dict, "Encoding").is_some_and(|dict| dict.has(b"Differences"));
        (is_truetype(font) && differs).then(|| "differences".to_owned())
    }), Spoilt(|file| truetype(file, Some(dictionary! { "Differences" => Vec::<Object>::new() }.into()), false));
    /// 31-023: ... and the embedded program has no Microsoft Unicode cmap.
    m31_023_truetype_differences_have_a_cmap: |pdf| each_font(pdf, |font| {
        let differs = pdf.dict(&font.dict, "Encoding").is_some_and(|dict| dict.has(b"Differences"));
        (is_truetype(font) && differs).then(|| "differences".to_owned())
    }), Spoilt(|file| truetype(file, Some(dictionary! { "Differences" => Vec::<Object>::new() }.into()), false));
    /// 31-024: The Encoding entry is present in the font dictionary for a symbolic TrueType font.
    m31_024_symbolic_truetype_has_no_encoding: |pdf| each_font(pdf, |font| {
        (is_truetype(font) && symbolic(font, pdf) && font.dict.has(b"Encoding")).then(|| "an encoding".to_owned())
    }), Spoilt(|file| truetype(file, Some("WinAnsiEncoding".into()), true));
    /// 31-025: The embedded program of a symbolic TrueType font contains no cmap.
    m31_025_symbolic_truetype_has_a_cmap: |pdf| truetype_programs(pdf, true), Spoilt(|file| truetype(file, None, true));
    /// 31-026: ... contains more than one cmap, but none of them is the Microsoft Symbol cmap.
    m31_026_symbolic_truetype_has_the_symbol_cmap: |pdf| truetype_programs(pdf, true), Spoilt(|file| truetype(file, None, true));
    /// 31-027: A font dictionary does not contain the ToUnicode entry and has no other way to Unicode.
    m31_027_fonts_have_a_unicode_map: |pdf| each_font(pdf, |font| (!font.dict.has(b"ToUnicode")).then(|| "no map".to_owned())),
        Spoilt(|file| fonts(file, |font| { font.remove(b"ToUnicode"); }));
    /// 31-028: One or more Unicode values specified in the ToUnicode CMap are zero (0).
    m31_028_no_text_is_zero: |pdf| forbidden_text(pdf, |c| c == '\0'), Spoilt(|file| unicode_maps(file, |map| map.replace("<0003> <", "<0003> <0000")));
    /// 31-029: One or more Unicode values specified in the ToUnicode CMap are equal to either U+FEFF or U+FFFE.
    m31_029_no_text_is_a_byte_order_mark: |pdf| forbidden_text(pdf, |c| matches!(c, '\u{feff}' | '\u{fffe}')),
        Spoilt(|file| unicode_maps(file, |map| map.replace("<0003> <", "<0003> <FEFF")));
    /// 31-030: One or more characters used in text showing operators reference the .notdef glyph.
    m31_030_no_glyph_is_undefined: notdef, Spoilt(|file| content(file, |words| words.replace("] TJ", " <0000>] TJ")));

    /// ISO 14289-1, 7.1 with ISO 32000-1, 14.7.4: content, structure and parent tree agree on who belongs to whom.
    content_structure_and_parent_tree_agree: parents, Spoilt(|file| {
        let found = element(file, "H1");
        found.set("P", Object::Reference((1, 0)));
    });
    /// ISO 14289-1, 7.3: drawings say which box they fill.
    drawings_have_a_box: |pdf| {
        wrong_where(pdf.of_kind("Figure"), |e| pdf.attribute(e, "Layout", "BBox").and_then(|b| b.as_array().ok()).map(Vec::len) != Some(4))
    }, Spoilt(|file| { element(file, "Figure").remove(b"A"); });
    /// ISO 14289-1, 7.17: a document of several pages has an outline, as deep as its headings, and page labels.
    the_outline_is_that_of_the_headings: |pdf| {
        let mut titles = Vec::new();
        let mut open: Vec<(usize, Object)> = Vec::new();
        if let Some(root) = pdf.dict(pdf.catalog(), "Outlines") {
            open.extend(root.get(b"First").ok().map(|first| (1, first.clone())));
        }
        while let Some((level, item)) = open.pop() {
            let Ok(dict) = resolve(&pdf.file, &item).as_dict() else { continue };
            titles.push(level);
            open.extend(dict.get(b"Next").ok().map(|next| (level, next.clone())));
            open.extend(dict.get(b"First").ok().map(|first| (level + 1, first.clone())));
        }
        let deep = titles.iter().max().copied().unwrap_or(0) as u32;
        let mut wrong = Wrong::new();
        if titles.len() != headings(pdf).len() || deep != headings(pdf).into_iter().max().unwrap_or(0) {
            wrong.push(format!("{} titles {deep} deep, headings {:?}", titles.len(), headings(pdf)));
        }
        if pdf.dict(pdf.catalog(), "PageLabels").is_none() {
            wrong.push("no page labels".to_owned());
        }
        wrong
    }, Spoilt(|file| { catalog(file).remove(b"Outlines"); });
}
