//! PDF/A-3a (ISO 19005-3): the conditions of the archive that a machine can see, under the numbers of their clauses.
//!
//! Each test holds the condition over every specimen, then spoils one file and expects the condition to be broken. What
//! PDF/UA-1 asks in the same words stands in `matterhorn`.

use std::collections::BTreeSet;

use lopdf::{Dictionary, Object, Stream, dictionary};

use crate::matterhorn::{
    DC, annotation, catalog, content, element, every, forbidden_text, is, missing_glyphs, not_embedded, notdef, page,
    property, unicode_maps, unmapped, widths, xmp,
};
use crate::specimen::Spoil::{Bytes, File as Spoilt};
use crate::specimen::{Pdf, Wrong, plain, resolve, text, try_out};

macro_rules! conditions {
    ($($(#[$words:meta])* $name:ident: $condition:expr, $spoil:expr;)*) => {
        $($(#[$words])* #[test] fn $name() { try_out($condition, $spoil); })*
    };
}

const ID: &str = "http://www.aiim.org/pdfa/ns/id/";
const PDF: &str = "http://ns.adobe.com/pdf/1.3/";
const XMP: &str = "http://ns.adobe.com/xap/1.0/";
const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";

fn unless(good: bool, why: impl FnOnce() -> String) -> Wrong {
    if good { Wrong::new() } else { vec![why()] }
}

/// A finding for each object of which this is so.
fn each(pdf: &Pdf, bad: impl Fn(&Object) -> bool) -> Wrong {
    let mut wrong = Wrong::new();
    pdf.walk(&mut |object| {
        if bad(object) {
            wrong.push(format!("{object:?}").chars().take(200).collect());
        }
    });
    wrong
}

fn each_dictionary(pdf: &Pdf, bad: impl Fn(&Dictionary) -> bool) -> Wrong {
    pdf.dictionaries()
        .iter()
        .filter(|dict| bad(dict))
        .map(|dict| format!("{dict:?}").chars().take(200).collect())
        .collect()
}

fn name_of(object: Option<&Object>) -> Vec<u8> {
    object.and_then(|object| object.as_name().ok()).map(<[u8]>::to_vec).unwrap_or_default()
}

/// Operators of ISO 32000-1, Annex A.
const OPERATORS: &[&str] = &[
    "b", "B", "b*", "B*", "BDC", "BI", "BMC", "BT", "BX", "c", "cm", "CS", "cs", "d", "d0", "d1", "Do", "DP", "EI",
    "EMC", "ET", "EX", "f", "F", "f*", "G", "g", "gs", "h", "i", "ID", "j", "J", "K", "k", "l", "m", "M", "MP", "n",
    "q", "Q", "re", "RG", "rg", "ri", "s", "S", "SC", "sc", "SCN", "scn", "sh", "T*", "Tc", "Td", "TD", "Tf", "Tj",
    "TJ", "TL", "Tm", "Tr", "Ts", "Tw", "Tz", "v", "w", "W", "W*", "y", "'", "\"",
];

fn intents(pdf: &Pdf) -> Vec<&Dictionary> {
    pdf.list(pdf.catalog(), "OutputIntents").iter().filter_map(|o| resolve(&pdf.file, o).as_dict().ok()).collect()
}

fn profile(pdf: &Pdf) -> Vec<u8> {
    let stream = intents(pdf).first().and_then(|intent| pdf.entry(intent, "DestOutputProfile")?.as_stream().ok());
    stream.map(plain).unwrap_or_default()
}

/// Operators that say a colour in this device's terms.
fn device_colours(pdf: &Pdf, operators: &[&str], name: &str) -> Wrong {
    let mut wrong = Wrong::new();
    for (number, page) in pdf.pages.iter().enumerate() {
        let found = page.operations.iter().find(|operation| operators.contains(&operation.operator.as_str()));
        wrong.extend(found.map(|operation| format!("page {}: {}", number + 1, operation.operator)));
    }
    wrong.extend(each_dictionary(pdf, |dict| {
        is("Subtype", "Image")(dict) && name_of(dict.get(b"ColorSpace").ok()) == name.as_bytes()
    }));
    wrong
}

fn info(pdf: &Pdf, key: &str) -> Option<String> {
    let info = pdf.entry(&pdf.file.trailer, "Info")?.as_dict().ok()?;
    pdf.entry(info, key).map(text)
}

/// `D:20270218000000Z` as `2027-02-18T00:00:00Z`.
fn iso(date: &str) -> String {
    let digits = date.strip_prefix("D:").unwrap_or(date);
    let part = |from: usize, to: usize| digits.get(from..to).unwrap_or("?");
    format!("{}-{}-{}T{}:{}:{}Z", part(0, 4), part(4, 6), part(6, 8), part(8, 10), part(10, 12), part(12, 14))
}

fn parsed<T>(pdf: &Pdf, ask: impl FnOnce(&roxmltree::Document<'_>) -> T) -> Option<T> {
    let words = pdf.xmp();
    roxmltree::Document::parse(words.trim_matches(['\u{feff}', '\n'])).ok().map(|tree| ask(&tree))
}

fn positions(bytes: &[u8], needle: &[u8]) -> Vec<usize> {
    bytes.windows(needle.len()).enumerate().filter(|(_, window)| *window == needle).map(|(at, _)| at).collect()
}

/// Streams as they stand in the file: where `stream` ends and `endstream` begins, and the length said.
fn raw_streams(bytes: &[u8]) -> Vec<(usize, usize, usize)> {
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(at) = bytes[from..].windows(6).position(|window| window == b"stream").map(|at| from + at) {
        let head = &bytes[at.saturating_sub(4096).max(from)..at];
        let said = positions(head, b"/Length ").last().and_then(|at| {
            let digits: String =
                head[at + 8..].iter().take_while(|b| b.is_ascii_digit()).map(|b| char::from(*b)).collect();
            digits.parse::<usize>().ok()
        });
        let Some(length) = said else { break };
        let start = at + 6 + if bytes.get(at + 6) == Some(&b'\r') { 2 } else { 1 };
        let end = bytes[start.min(bytes.len())..]
            .windows(9)
            .position(|w| w == b"endstream")
            .map_or(bytes.len(), |n| start + n);
        // What looks like an end may stand inside the data: then the length decides.
        let end = if bytes
            .get(start + length..)
            .is_some_and(|rest| rest.starts_with(b"\nendstream") || rest.starts_with(b"endstream"))
        {
            start + length
        } else {
            end
        };
        found.push((start, end, length));
        from = end + 10;
        if from >= bytes.len() {
            break;
        }
    }
    found
}

fn associated(pdf: &Pdf) -> Vec<&Dictionary> {
    pdf.list(pdf.catalog(), "AF").iter().filter_map(|object| resolve(&pdf.file, object).as_dict().ok()).collect()
}

fn embedded<'a>(pdf: &'a Pdf, specification: &'a Dictionary) -> Option<&'a Stream> {
    pdf.entry(pdf.dict(specification, "EF")?, "F")?.as_stream().ok()
}

conditions! {
    /// 6.1.2: the header stands at byte zero: `%PDF-1.n` and one end of line; this file is of version 1.7.
    a6_1_2_header_is_that_of_version_1_7: |pdf| unless(pdf.bytes.starts_with(b"%PDF-1.7\n") || pdf.bytes.is_empty(), || format!("{:?}", &pdf.bytes[..9])),
        Bytes(|bytes| bytes.insert(0, b' '));
    /// 6.1.2: a comment of at least four bytes above 127 follows at once.
    a6_1_2_header_is_followed_by_high_bytes: |pdf| {
        let rest = pdf.bytes.get(9..14).unwrap_or(b"%\xff\xff\xff\xff");
        unless(rest[0] == b'%' && rest[1..].iter().all(|b| *b > 127), || format!("{rest:?}"))
    }, Bytes(|bytes| bytes[10] = b'a');
    /// 6.1.3: the trailer has an identifier of two strings.
    a6_1_3_trailer_has_an_identifier: |pdf| {
        let id = pdf.list(&pdf.file.trailer, "ID");
        unless(id.len() == 2 && id.iter().all(|part| part.as_str().is_ok_and(|part| part.len() == 16)), || format!("{id:?}"))
    }, Spoilt(|file| { file.trailer.remove(b"ID"); });
    /// 6.1.3: no two files share an identifier.
    a6_1_3_identifiers_are_those_of_the_content: |pdf| {
        let id = |pdf: &Pdf| format!("{:?}", pdf.list(&pdf.file.trailer, "ID"));
        let twins = crate::specimen::specimens().iter().filter(|other| id(other) == id(pdf) && other.name != pdf.name);
        twins.map(|twin| twin.name.clone()).collect()
    }, Spoilt(|_| {});
    /// 6.1.3: the file is not encrypted.
    a6_1_3_nothing_is_encrypted: |pdf| unless(!pdf.file.trailer.has(b"Encrypt"), || "encrypted".to_owned()),
        Spoilt(|file| { file.trailer.set("Encrypt", Dictionary::new()); });
    /// 6.1.3: nothing but one end of line follows the last end-of-file marker.
    a6_1_3_nothing_follows_the_end: |pdf| {
        unless(pdf.bytes.is_empty() || pdf.bytes.ends_with(b"%%EOF") || pdf.bytes.ends_with(b"%%EOF\n"), || "a tail".to_owned())
    }, Bytes(|bytes| bytes.extend(b"\nmore"));
    /// 6.1.7.1: the length of each stream is that said; `stream` and `endstream` stand on their own lines.
    a6_1_7_1_streams_are_as_long_as_they_say: |pdf| {
        raw_streams(&pdf.bytes).into_iter()
            .filter(|(start, end, length)| (end - start).abs_diff(*length) > 1)
            .map(|found| format!("{found:?}")).collect()
    }, Bytes(|bytes| {
        let (start, ..) = raw_streams(bytes)[0];
        bytes.splice(start..start, *b"seven more bytes");
    });
    /// 6.1.7.1: no stream lies outside the file.
    a6_1_7_1_no_stream_lies_elsewhere: |pdf| each(pdf, |object| object.as_stream().is_ok_and(|stream| {
        [&b"F"[..], b"FFilter", b"FDecodeParms"].iter().any(|key| stream.dict.has(key))
    })), Spoilt(|file| { file.add_object(Stream::new(dictionary! { "F" => Object::string_literal("x") }, Vec::new())); });
    /// 6.1.7.2: no filter but those of Table 6 without LZWDecode and Crypt. Ours writes FlateDecode, and DCTDecode for photographs.
    a6_1_7_2_filters_are_allowed: |pdf| each(pdf, |object| object.as_stream().is_ok_and(|stream| {
        let names: Vec<Vec<u8>> = match stream.dict.get(b"Filter") {
            Ok(Object::Array(list)) => list.iter().map(|each| name_of(Some(each))).collect(),
            Ok(one) => vec![name_of(Some(one))],
            Err(_) => Vec::new(),
        };
        names.iter().any(|name| ![&b"FlateDecode"[..], b"DCTDecode"].contains(&name.as_slice()))
    })), Spoilt(|file| { file.add_object(Stream::new(dictionary! { "Filter" => "LZWDecode" }, Vec::new())); });
    /// 6.1.8: names of fonts and structure types are UTF-8.
    a6_1_8_names_are_utf_8: |pdf| each(pdf, |object| object.as_name().is_ok_and(|name| std::str::from_utf8(name).is_err())),
        Spoilt(|file| { file.add_object(Object::Name(vec![0xff, 0xfe])); });
    /// 6.1.13: whole numbers of 32 bits, strings of 32,767 bytes, names of 127 bytes at most.
    a6_1_13_values_are_within_their_bounds: |pdf| each(pdf, |object| match object {
        Object::Integer(number) => i32::try_from(*number).is_err(),
        Object::Real(number) => !number.is_finite() || (*number != 0.0 && number.abs() < 1.175e-38),
        Object::String(words, _) => words.len() > 32_767,
        Object::Name(name) => name.len() > 127,
        _ => false,
    }), Spoilt(|file| { file.add_object(Object::string_literal("x".repeat(40_000))); });
    /// 6.1.13: at most 8,388,607 objects; `q` nested at most 28 deep.
    a6_1_13_nothing_is_nested_too_deep: |pdf| {
        let deepest = pdf.pages.iter().map(|page| page.depth).max().unwrap_or(0);
        unless(deepest <= 28 && pdf.file.objects.len() < 8_388_607, || format!("{deepest} deep"))
    }, Spoilt(|file| content(file, |words| format!("{} {words} {}", "q ".repeat(29), "Q ".repeat(29))));
    /// 6.1.13: pages measure between 3 and 14,400 units.
    a6_1_13_pages_are_of_a_size_that_prints: |pdf| pdf.pages.iter().filter_map(|each| {
        let dict = pdf.file.get_dictionary(each.id).unwrap();
        let sizes: Vec<f32> = pdf.list(dict, "MediaBox").iter().filter_map(|n| n.as_float().ok()).collect();
        let good = sizes.len() == 4 && (3.0..=14_400.0).contains(&(sizes[2] - sizes[0])) && (3.0..=14_400.0).contains(&(sizes[3] - sizes[1]));
        (!good).then(|| format!("{sizes:?}"))
    }).collect(), Spoilt(|file| page(file).set("MediaBox", vec![0.into(), 0.into(), 2.into(), 800.into()]));

    /// 6.2.2: no operator outside ISO 32000-1.
    a6_2_2_operators_are_known: |pdf| {
        let operations = pdf.pages.iter().flat_map(|page| &page.operations);
        operations.filter(|o| !OPERATORS.contains(&o.operator.as_str())).map(|o| o.operator.clone()).collect()
    }, Spoilt(|file| content(file, |words| format!("{words} frobnicate")));
    /// 6.2.2: a page that refers to fonts or images has its own resources, and they are there.
    a6_2_2_resources_are_there: |pdf| {
        let mut wrong = Wrong::new();
        for each in &pdf.pages {
            let resources = pdf.dict(pdf.file.get_dictionary(each.id).unwrap(), "Resources").cloned().unwrap_or_default();
            for (operator, kind) in [("Tf", "Font"), ("Do", "XObject"), ("gs", "ExtGState")] {
                let listed = pdf.dict(&resources, kind).cloned().unwrap_or_default();
                for operation in each.operations.iter().filter(|o| o.operator == operator) {
                    let name = operation.operands[0].as_name().unwrap();
                    if pdf.entry(&listed, &String::from_utf8_lossy(name)).is_none() {
                        wrong.push(format!("{kind} {}", String::from_utf8_lossy(name)));
                    }
                }
            }
        }
        wrong
    }, Spoilt(|file| { page(file).remove(b"Resources"); });
    /// 6.2.3: one output intent of PDF/A with a profile of its own: class mntr, RGB, version 2 or 4, as long as it says.
    a6_2_3_output_intent_has_a_profile: |pdf| {
        let intent = intents(pdf);
        let bytes = profile(pdf);
        let at = |from: usize, to: usize| bytes.get(from..to).unwrap_or_default();
        let size = at(0, 4).iter().fold(0, |sum, byte| sum << 8 | usize::from(*byte));
        let good = intent.len() == 1
            && is("S", "GTS_PDFA1")(intent[0])
            && pdf.entry(intent[0], "OutputConditionIdentifier").is_some()
            && at(12, 16) == b"mntr" && at(16, 20) == b"RGB " && at(36, 40) == b"acsp"
            && matches!(bytes.get(8), Some(2 | 4)) && size == bytes.len();
        unless(good, || format!("{intent:?}"))
    }, Spoilt(|file| { catalog(file).remove(b"OutputIntents"); });
    /// 6.2.3: the profile's components are as many as its stream says, and its tags lie inside it.
    a6_2_3_profile_is_whole: |pdf| {
        let bytes = profile(pdf);
        let word = |at: usize| bytes.get(at..at + 4).unwrap_or_default().iter().fold(0, |sum, byte| sum << 8 | usize::from(*byte));
        let count = word(128);
        let inside = (0..count).all(|n| word(132 + 12 * n + 4) + word(132 + 12 * n + 8) <= bytes.len());
        let stream = intents(pdf).first().and_then(|intent| pdf.entry(intent, "DestOutputProfile")?.as_stream().ok());
        let three = stream.is_some_and(|stream| stream.dict.get(b"N").and_then(Object::as_i64).is_ok_and(|n| n == 3));
        unless(count >= 9 && inside && three, || format!("{count} tags"))
    }, Spoilt(|file| every(file, |dict| dict.has(b"N") && dict.has(b"Alternate"), |dict| dict.set("N", 4)));
    /// 6.2.4.3: DeviceRGB needs an RGB output intent.
    a6_2_4_3_rgb_is_defined: |pdf| unless(profile(pdf).get(16..20) == Some(b"RGB "), || "no RGB".to_owned()),
        Spoilt(|file| { catalog(file).remove(b"OutputIntents"); });
    /// 6.2.4.3: DeviceCMYK needs a CMYK output intent: none is used.
    a6_2_4_3_no_cmyk: |pdf| device_colours(pdf, &["k", "K"], "DeviceCMYK"), Spoilt(|file| content(file, |words| format!("0 0 0 1 k {words}")));
    /// 6.2.4.4: no spot colours are used.
    a6_2_4_4_no_spot_colours: |pdf| each(pdf, |object| object.as_array().is_ok_and(|list| {
        list.first().and_then(|o| o.as_name().ok()).is_some_and(|name| name == b"Separation" || name == b"DeviceN")
    })), Spoilt(|file| { file.add_object(Object::Array(vec!["Separation".into(), "Gold".into()])); });
    /// 6.2.5: graphics states without TR, TR2 and HTP.
    a6_2_5_no_transfer_functions: |pdf| each_dictionary(pdf, |dict| {
        is("Type", "ExtGState")(dict) && [&b"TR"[..], b"TR2", b"HTP", b"HT"].iter().any(|key| dict.has(key))
    }), Spoilt(|file| { file.add_object(dictionary! { "Type" => "ExtGState", "TR" => "Identity" }); });
    /// 6.2.6: rendering intents are the four known ones.
    a6_2_6_rendering_intents_are_known: |pdf| {
        let known = [&b"RelativeColorimetric"[..], b"AbsoluteColorimetric", b"Perceptual", b"Saturation"];
        let operations = pdf.pages.iter().flat_map(|page| &page.operations).filter(|o| o.operator == "ri");
        let mut wrong: Wrong = operations.filter(|o| !known.contains(&name_of(o.operands.first()).as_slice())).map(|o| format!("{o:?}")).collect();
        wrong.extend(each_dictionary(pdf, |dict| dict.has(b"Intent") && !known.contains(&name_of(dict.get(b"Intent").ok()).as_slice())));
        wrong
    }, Spoilt(|file| content(file, |words| format!("/Vivid ri {words}")));
    /// 6.2.8: images without Alternates, OPI or Interpolate true, of 1, 2, 4, 8 or 16 bits.
    a6_2_8_images_are_plain: |pdf| each_dictionary(pdf, |dict| is("Subtype", "Image")(dict) && {
        let bits = dict.get(b"BitsPerComponent").and_then(Object::as_i64).unwrap_or(8);
        let smooth = dict.get(b"Interpolate").and_then(Object::as_bool).unwrap_or(false);
        dict.has(b"Alternates") || dict.has(b"OPI") || smooth || ![1, 2, 4, 8, 16].contains(&bits)
    }), Spoilt(|file| every(file, is("Subtype", "Image"), |dict| dict.set("Interpolate", true)));
    /// 6.2.9: no form XObjects with OPI, PS or Ref; no PostScript.
    a6_2_9_no_postscript: |pdf| each_dictionary(pdf, |dict| {
        is("Subtype", "PS")(dict) || (is("Subtype", "Form")(dict) && [&b"OPI"[..], b"PS", b"Subtype2", b"Ref"].iter().any(|key| dict.has(key)))
    }), Spoilt(|file| { file.add_object(dictionary! { "Type" => "XObject", "Subtype" => "PS" }); });
    /// 6.2.10: blend modes are those of ISO 32000-1; a page with transparency has a group. None is used.
    a6_2_10_no_transparency: |pdf| each_dictionary(pdf, |dict| {
        let clear = |key: &str| dict.get(key.as_bytes()).and_then(Object::as_float).is_ok_and(|alpha| alpha < 1.0);
        dict.has(b"SMask") || (is("Type", "ExtGState")(dict) && (clear("CA") || clear("ca") || dict.has(b"BM") && !is("BM", "Normal")(dict)))
    }), Spoilt(|file| { file.add_object(dictionary! { "Type" => "ExtGState", "ca" => 0.5 }); });
    /// 6.2.11.2: fonts are dictionaries of Type Font with a BaseFont; composite ones have one descendant.
    a6_2_11_2_fonts_are_well_made: |pdf| pdf.fonts.iter().filter(|font| {
        let named = |dict: &Dictionary| is("Type", "Font")(dict) && dict.get(b"BaseFont").and_then(Object::as_name).is_ok();
        !(named(&font.dict) && named(&font.descendant) && pdf.list(&font.dict, "DescendantFonts").len() == 1)
    }).map(|font| format!("{:?}", font.dict)).collect(), Spoilt(|file| every(file, is("Subtype", "Type0"), |font| { font.remove(b"BaseFont"); }));
    /// 6.2.11.2: the program's key and subtype fit the font: a bare CFF with CIDs.
    a6_2_11_2_programs_are_of_their_kind: |pdf| pdf.fonts.iter().filter(|font| {
        let stream = pdf.entry(&font.descriptor, "FontFile3").and_then(|o| o.as_stream().ok());
        !stream.is_some_and(|stream| is("Subtype", "CIDFontType0C")(&stream.dict)) || !is("Subtype", "CIDFontType0")(&font.descendant)
    }).map(|font| format!("{:?}", font.descriptor)).collect(), Spoilt(|file| every(file, is("Subtype", "CIDFontType0C"), |dict| dict.set("Subtype", "Type1C")));
    /// ISO 32000-1, 9.8 (which 6.2.11.2 asks for): descriptors are whole; a font is symbolic or it is not.
    a6_2_11_2_descriptors_are_whole: |pdf| pdf.fonts.iter().filter(|font| {
        let flags = font.descriptor.get(b"Flags").and_then(Object::as_i64).unwrap_or(0);
        let keys = ["FontName", "FontBBox", "ItalicAngle", "Ascent", "Descent", "CapHeight", "StemV"];
        let same = font.descriptor.get(b"FontName").ok() == font.dict.get(b"BaseFont").ok();
        !same || (flags & 4 != 0) == (flags & 32 != 0) || keys.iter().any(|key| !font.descriptor.has(key.as_bytes()))
    }).map(|font| format!("{:?}", font.descriptor)).collect(), Spoilt(|file| every(file, is("Type", "FontDescriptor"), |dict| dict.set("Flags", 36)));
    /// 6.2.11.4.1: programs are embedded; subsets have a tag of six capitals.
    a6_2_11_4_1_fonts_are_embedded_subsets: |pdf| {
        let tagged = |font: &crate::specimen::Font| {
            let name = name_of(font.dict.get(b"BaseFont").ok());
            name.get(..6).is_some_and(|tag| tag.iter().all(u8::is_ascii_uppercase)) && name.get(6) == Some(&b'+')
        };
        let mut wrong = not_embedded(pdf);
        wrong.extend(pdf.fonts.iter().filter(|font| !tagged(font)).map(|font| format!("{:?}", font.dict.get(b"BaseFont"))));
        wrong
    }, Spoilt(|file| every(file, is("Type", "FontDescriptor"), |dict| { dict.remove(b"FontFile3"); }));
    /// 6.2.11.4.1: programs hold every glyph that is shown. Ours hold no more than that and `.notdef`.
    a6_2_11_4_1_programs_hold_what_is_shown: |pdf| {
        let mut wrong = missing_glyphs(pdf);
        // One program may serve two fonts: what either shows belongs into it.
        for font in &pdf.fonts {
            let same = |other: &&crate::specimen::Font| other.dict.get(b"BaseFont").ok() == font.dict.get(b"BaseFont").ok();
            let used: BTreeSet<u16> = pdf.fonts.iter().filter(same).flat_map(|other| other.used.iter().copied()).collect();
            let held = font.opened.as_ref().map_or(0, |program| program.widths.len());
            if held > used.len() + 1 {
                wrong.push(format!("{:?}: {held} glyphs for {} shown", font.dict.get(b"BaseFont"), used.len()));
            }
        }
        wrong
    }, Spoilt(|file| content(file, |words| words.replace("] TJ", " <7FFF>] TJ")));
    /// 6.2.11.5: widths in the dictionary are those of the program.
    a6_2_11_5_widths_are_those_of_the_program: widths, Spoilt(|file| every(file, is("Subtype", "CIDFontType0"), |font| { font.remove(b"W"); }));
    /// 6.2.11.7.2: every code has a text.
    a6_2_11_7_2_codes_map_to_unicode: unmapped, Spoilt(|file| every(file, is("Subtype", "Type0"), |font| { font.remove(b"ToUnicode"); }));
    /// 6.2.11.7.2: no text is U+0000, U+FEFF or U+FFFE. Ours holds no replacement character either.
    a6_2_11_7_2_texts_are_characters: |pdf| forbidden_text(pdf, |c| matches!(c, '\0' | '\u{feff}' | '\u{fffe}' | '\u{fffd}')),
        Spoilt(|file| unicode_maps(file, |map| map.replace("<0003> <", "<0003> <FFFD")));
    /// 6.2.11.7.3: a text in a private use area needs an ActualText: there is none. Ligatures are undone.
    a6_2_11_7_3_no_private_characters: |pdf| forbidden_text(pdf, |c| {
        matches!(u32::from(c), 0xe000..=0xf8ff | 0xf_0000..=0x10_ffff | 0xfb00..=0xfb06)
    }), Spoilt(|file| unicode_maps(file, |map| map.replace("<0003> <", "<0003> <E001")));
    /// 6.2.11.8: .notdef is not shown.
    a6_2_11_8_no_undefined_glyph: notdef, Spoilt(|file| content(file, |words| words.replace("] TJ", " <0000>] TJ")));

    /// 6.3.1: no annotations of unknown kind, nor 3D, Sound, Screen or Movie.
    a6_3_1_annotations_are_links: |pdf| {
        pdf.annotations().into_iter().filter(|(.., dict)| !is("Subtype", "Link")(dict)).map(|(.., dict)| format!("{dict:?}")).collect()
    }, Spoilt(|file| annotation(file).set("Subtype", "Movie"));
    /// 6.3.2: annotations have flags: Print set; Hidden, Invisible, ToggleNoView and NoView clear.
    a6_3_2_annotations_print: |pdf| {
        let flags = |dict: &Dictionary| dict.get(b"F").and_then(Object::as_i64).unwrap_or(0);
        let bad = |dict: &Dictionary| flags(dict) & 4 == 0 || flags(dict) & (1 | 2 | 32 | 256) != 0;
        pdf.annotations().into_iter().filter(|(.., dict)| bad(dict)).map(|(.., dict)| format!("{dict:?}")).collect()
    }, Spoilt(|file| annotation(file).set("F", 6));
    /// 6.3.3: annotations but links and popups have an appearance; ours are links alone, without one.
    a6_3_3_links_have_no_appearance: |pdf| {
        pdf.annotations().into_iter().filter(|(.., dict)| dict.has(b"AP")).map(|(.., dict)| format!("{dict:?}")).collect()
    }, Spoilt(|file| annotation(file).set("AP", dictionary! { "D" => 1 }));
    /// 6.4: no forms, no XFA, no NeedsRendering.
    a6_4_no_forms: |pdf| unless(!pdf.catalog().has(b"AcroForm") && !pdf.catalog().has(b"NeedsRendering"), || "a form".to_owned()),
        Spoilt(|file| catalog(file).set("NeedsRendering", true));
    /// 6.5.1: no actions but going to a place and to an address.
    a6_5_1_actions_are_harmless: |pdf| {
        let mut wrong = each_dictionary(pdf, |dict| dict.get(b"A").and_then(Object::as_dict).is_ok_and(|action| {
            action.has(b"S") && !is("S", "URI")(action) && !is("S", "GoTo")(action)
        }));
        wrong.extend(unless(!pdf.catalog().has(b"OpenAction"), || "an open action".to_owned()));
        wrong
    }, Spoilt(|file| annotation(file).set("A", dictionary! { "S" => "JavaScript" }));
    /// 6.5.2: no additional actions.
    a6_5_2_no_additional_actions: |pdf| each_dictionary(pdf, |dict| dict.has(b"AA")), Spoilt(|file| catalog(file).set("AA", Dictionary::new()));
    /// Links lead somewhere: to a page of the file, or to an address.
    links_lead_somewhere: |pdf| {
        let pages: BTreeSet<_> = pdf.pages.iter().map(|page| page.id).collect();
        pdf.annotations_of(b"Link").filter(|(.., dict)| {
            let place = pdf.list(dict, "Dest").first().and_then(|o| o.as_reference().ok());
            let address = pdf.dict(dict, "A").and_then(|action| pdf.entry(action, "URI")).is_some();
            !address && !place.is_some_and(|place| pages.contains(&place))
        }).map(|(.., dict)| format!("{dict:?}")).collect()
    }, Spoilt(|file| { annotation(file).remove(b"Dest"); annotation(file).remove(b"A"); });

    /// 6.6.2.1: the packet's header has neither bytes nor encoding, and the packet is UTF-8 that parses.
    a6_6_2_1_packet_is_well_formed: |pdf| {
        let words = pdf.xmp();
        let header = words.split("?>").next().unwrap_or_default();
        let good = header.contains("<?xpacket begin=") && !header.contains("bytes=") && !header.contains("encoding=");
        unless(good && parsed(pdf, |_| ()).is_some() && words.trim_end().ends_with("<?xpacket end=\"w\"?>"), || header.to_owned())
    }, Spoilt(|file| xmp(file, "</rdf:RDF>", ""));
    /// 6.6.2.1: the packet is not compressed, so that a program can find it without reading PDF.
    a6_6_2_1_packet_lies_open: |pdf| match pdf.entry(pdf.catalog(), "Metadata") {
        Some(Object::Stream(stream)) => unless(!stream.dict.has(b"Filter"), || "compressed".to_owned()),
        _ => vec!["no packet".to_owned()],
    }, Spoilt(|file| every(file, is("Type", "Metadata"), |dict| dict.set("Filter", "FlateDecode")));
    /// 6.6.2.3: properties are of predefined schemas, or of one that the packet describes.
    a6_6_2_3_properties_are_known: |pdf| {
        let known = [DC, PDF, XMP, ID, "http://www.aiim.org/pdfa/ns/extension/"];
        parsed(pdf, |tree| {
            let declared: Vec<String> = tree.descendants()
                .filter(|node| node.tag_name().name() == "namespaceURI")
                .filter_map(|node| node.text().map(str::to_owned)).collect();
            tree.descendants()
                .filter(|node| node.has_tag_name((RDF, "Description")))
                .flat_map(|node| node.children().filter(|child| child.is_element()))
                .filter_map(|node| node.tag_name().namespace())
                .filter(|space| !known.contains(space) && !declared.iter().any(|each| each == space))
                .map(str::to_owned).collect()
        }).unwrap_or_else(|| vec!["no packet".to_owned()])
    }, Spoilt(|file| xmp(file, "<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua", "<pdfaSchema:namespaceURI>http://www.aiim.org/other"));
    /// 6.6.2.3.3: the description of a schema names it, its address, its prefix and each property: name, type, category, words.
    a6_6_2_3_3_extension_schema_is_whole: |pdf| {
        const SCHEMA: &str = "http://www.aiim.org/pdfa/ns/schema#";
        const PROPERTY: &str = "http://www.aiim.org/pdfa/ns/property#";
        let fields = [
            (SCHEMA, "schema"), (SCHEMA, "namespaceURI"), (SCHEMA, "prefix"), (SCHEMA, "property"),
            (PROPERTY, "name"), (PROPERTY, "valueType"), (PROPERTY, "category"), (PROPERTY, "description"),
        ];
        fields.iter().filter(|(space, name)| property(pdf, space, name).is_none_or(|words| words.is_empty())).map(|f| f.1.to_owned()).collect()
    }, Spoilt(|file| xmp(file, "pdfaProperty:category>", "pdfaProperty:kind>"));
    /// 6.6.4: the packet says part 3, conformance A.
    a6_6_4_packet_names_part_and_level: |pdf| {
        let said = (property(pdf, ID, "part"), property(pdf, ID, "conformance"));
        unless(said == (Some("3".to_owned()), Some("A".to_owned())), || format!("{said:?}"))
    }, Spoilt(|file| xmp(file, "conformance>A<", "conformance>B<"));
    /// The packet and the information dictionary say the same: title, author, subject, creator, producer, both dates.
    packet_and_information_agree: |pdf| {
        let pairs = [
            ("Title", DC, "title"), ("Author", DC, "creator"), ("Subject", DC, "description"), ("Creator", XMP, "CreatorTool"),
            ("Producer", PDF, "Producer"), ("CreationDate", XMP, "CreateDate"), ("ModDate", XMP, "ModifyDate"),
        ];
        pairs.iter().filter_map(|(key, space, name)| {
            let there = property(pdf, space, name);
            let here = info(pdf, key).map(|words| if key.ends_with("Date") { iso(&words) } else { words });
            (here.is_none() || here != there).then(|| format!("{key}: {here:?}, {there:?}"))
        }).collect()
    }, Spoilt(|file| xmp(file, "T00:00:00Z</xmp:CreateDate>", "T01:00:00Z</xmp:CreateDate>"));

    /// 6.7.2.2: the catalog says that the file is marked.
    a6_7_2_2_file_is_marked: |pdf| {
        let marked = pdf.dict(pdf.catalog(), "MarkInfo").and_then(|marks| marks.get(b"Marked").ok());
        unless(marked.and_then(|marked| marked.as_bool().ok()) == Some(true), || format!("{marked:?}"))
    }, Spoilt(|file| { catalog(file).remove(b"MarkInfo"); });
    /// 6.7.3.3: the structure hangs from the catalog; its elements name their parents.
    a6_7_3_3_structure_hangs_from_the_catalog: |pdf| {
        let mut wrong = unless(pdf.tree.first().is_some_and(|first| first.kind == "Document"), || "no document".to_owned());
        wrong.extend(pdf.tree.iter().filter(|e| !e.dict.has(b"P") || !e.dict.has(b"S")).map(|e| format!("{:?}", e.id)));
        wrong
    }, Spoilt(|file| { element(file, "P").remove(b"P"); });
    /// 6.7.4: the language is said as a language tag.
    a6_7_4_language_is_said: |pdf| {
        let lang = pdf.entry(pdf.catalog(), "Lang").map(text).unwrap_or_default();
        unless(lang.len() >= 2 && lang.split('-').all(|part| (1..=8).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_alphanumeric())), || lang.clone())
    }, Spoilt(|file| catalog(file).set("Lang", Object::string_literal("en_GB!")));

    /// 6.8: embedded files say their media type.
    a6_8_files_say_their_type: |pdf| {
        let typed = |dict: &Dictionary| embedded(pdf, dict).is_some_and(|stream| {
            let name = name_of(stream.dict.get(b"Subtype").ok());
            String::from_utf8_lossy(&name).split_once('/').is_some_and(|(kind, rest)| !kind.is_empty() && !rest.is_empty())
        });
        pdf.specifications().iter().filter(|(_, dict)| !typed(dict)).map(|(name, _)| name.clone()).collect()
    }, Spoilt(|file| every(file, is("Type", "EmbeddedFile"), |dict| { dict.remove(b"Subtype"); }));
    /// 6.8: embedded files say their size and when they were changed.
    a6_8_files_say_size_and_date: |pdf| {
        let good = |dict: &Dictionary| embedded(pdf, dict).is_some_and(|stream| {
            let parameters = pdf.dict(&stream.dict, "Params").cloned().unwrap_or_default();
            let size = parameters.get(b"Size").and_then(Object::as_i64).unwrap_or(-1);
            let date = pdf.entry(&parameters, "ModDate").map(text).unwrap_or_default();
            usize::try_from(size) == Ok(plain(stream).len()) && info(pdf, "ModDate") == Some(date)
        });
        pdf.specifications().iter().filter(|(_, dict)| !good(dict)).map(|(name, _)| name.clone()).collect()
    }, Spoilt(|file| every(file, |dict| dict.has(b"Size") && dict.has(b"ModDate"), |dict| dict.set("Size", 1)));
    /// 6.8: file specifications say what the file is to the document.
    a6_8_files_say_their_relationship: |pdf| {
        let known = [&b"Source"[..], b"Data", b"Alternative", b"Supplement", b"Unspecified"];
        pdf.specifications().iter().filter(|(_, dict)| !known.contains(&name_of(dict.get(b"AFRelationship").ok()).as_slice()))
            .map(|(name, _)| name.clone()).collect()
    }, Spoilt(|file| every(file, is("Type", "Filespec"), |dict| { dict.remove(b"AFRelationship"); }));
    /// 6.8: each embedded file is tied to the document.
    a6_8_files_are_tied_to_the_document: |pdf| {
        let (tied, listed) = (associated(pdf), pdf.specifications());
        unless(!tied.is_empty() && tied.len() == listed.len() && listed.iter().all(|(_, dict)| tied.contains(dict)), || format!("{} of {}", tied.len(), listed.len()))
    }, Spoilt(|file| { catalog(file).remove(b"AF"); });
    /// ISO 32000-1, 7.9.6: the tree of file names is sorted and holds no name twice; names hold no folders.
    file_names_are_sorted_and_plain: |pdf| {
        let names = pdf.dict(pdf.catalog(), "Names").and_then(|names| pdf.dict(names, "EmbeddedFiles"));
        let keys: Vec<&[u8]> = names.map(|tree| pdf.list(tree, "Names")).unwrap_or_default().iter().step_by(2).map(|k| k.as_str().unwrap()).collect();
        let sorted = !keys.is_empty() && keys.windows(2).all(|pair| pair[0] < pair[1]);
        let plain = pdf.specifications().iter().all(|(name, dict)| {
            pdf.entry(dict, "UF").map(text).as_deref() == Some(name) && !name.contains(['/', '\\', ':']) && name.chars().count() < 100
        });
        unless(sorted && plain, || format!("{keys:?}"))
    }, Spoilt(|file| every(file, is("Type", "Filespec"), |dict| dict.set("UF", Object::string_literal("a/b"))));

    /// 6.9: no optional content.
    a6_9_no_optional_content: |pdf| unless(!pdf.catalog().has(b"OCProperties"), || "optional content".to_owned()),
        Spoilt(|file| catalog(file).set("OCProperties", Dictionary::new()));
    /// 6.10: no alternate presentations, no presentation steps.
    a6_10_no_presentations: |pdf| {
        let mut wrong = each_dictionary(pdf, |dict| dict.has(b"PresSteps"));
        wrong.extend(each_dictionary(pdf, |dict| dict.has(b"AlternatePresentations")));
        wrong
    }, Spoilt(|file| page(file).set("PresSteps", Dictionary::new()));
    /// 6.11: the catalog asks nothing of readers.
    a6_11_no_requirements: |pdf| unless(!pdf.catalog().has(b"Requirements"), || "requirements".to_owned()),
        Spoilt(|file| catalog(file).set("Requirements", Vec::<Object>::new()));
}

#[test]
fn site_file_log_and_workings_come_back_whole() {
    for pdf in crate::specimen::specimens() {
        let found = pdf.specifications();
        let of = |relation: &str| {
            let file = found.iter().find(|(_, dict)| name_of(dict.get(b"AFRelationship").ok()) == relation.as_bytes());
            file.map(|(name, dict)| (name.clone(), String::from_utf8(plain(embedded(pdf, dict).unwrap())).unwrap()))
        };
        let (_, site) = of("Source").unwrap_or_else(|| panic!("{}: no site file", pdf.name));
        assert!(site.contains("[site]") && site.contains("plan_date"), "{}: not the site file:\n{site}", pdf.name);
        assert_eq!(of("Data").is_some(), !pdf.name.ends_with("no log"), "{}: the log", pdf.name);
        if let Some((_, log)) = of("Data") {
            assert!(log.starts_with("date,"), "{}: not the log:\n{log}", pdf.name);
        }
        let named = found.iter().find(|(name, _)| name == "workings.json");
        let (_, dict) = named.unwrap_or_else(|| panic!("{}: no workings", pdf.name));
        assert_eq!(name_of(dict.get(b"AFRelationship").ok()), b"Supplement");
        let workings = String::from_utf8(plain(embedded(pdf, dict).unwrap())).unwrap();
        let figures: serde_json::Value = serde_json::from_str(&workings).unwrap();
        assert!(figures.as_array().is_some_and(|list| list.len() > 10), "{}: not the workings", pdf.name);
        assert!(figures[0]["id"].is_string(), "{}: not figures", pdf.name);
        let (_, sheet) = found.iter().find(|(name, _)| name == "workings.xlsx").unwrap();
        assert_eq!(name_of(sheet.get(b"AFRelationship").ok()), b"Supplement");
        let rows = crate::sheet::line_ids(&plain(embedded(pdf, sheet).unwrap()));
        let ids: Vec<&str> = figures.as_array().unwrap().iter().filter_map(|figure| figure["id"].as_str()).collect();
        assert_eq!(rows, ids, "{}: the spreadsheet inside has other lines", pdf.name);
    }
}
