//! Golden pages: what stands where on each page of each demo plan, with its place in the structure tree, as text that a person
//! can review, and one hash for each PDF.
//!
//! `GOLDEN=accept cargo test golden` takes what is there for right; read the diff of `tests/golden/` before it is committed.
//!
//! ```text
//! === page 2
//! .Table "Readings"                          a block, its dots the depth in the tree
//! ..Row Column Column
//! @57,120.5 [Sans 8.5]Reading | Pond         x and baseline, face and size where they change, the words of a line
//! @57,140+12.5 one line / the next           lines under each other, 12.5 pt apart
//! paths 12 #5f0a at 57,100 60x20             what is drawn beside words: how many, their hash, their box
//! ..ListItem
//! @57,99.2 #04cd 46 Calcium, low end ¦ ...   a line of workings: its place, a hash of all places in it, its words
//! ```

#![expect(clippy::unwrap_used, clippy::disallowed_methods, reason = "golden pages are files")]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use weirbook::cli::Folder;
use weirbook::diag::Text;
use weirbook::document::Edition;
use weirbook::page::display::{DisplayList, Draw, Role, TagId};
use weirbook::page::fonts::Fonts;
use weirbook::page::{Face, Segment};
use weirbook::{Choices, Supplies as _, prepare};

use crate::demos::DEMOS;

const EDITIONS: [Edition; 3] = [Edition::CarePlan, Edition::ShedSheet, Edition::Workings];
/// Lines of a report: enough to see what happened.
const MOST: usize = 40;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden")
}

fn face(face: Face) -> &'static str {
    match face {
        Face::Serif => "Serif",
        Face::SerifItalic => "Serif-i",
        Face::SerifSemibold => "Serif-s",
        Face::Display => "Display",
        Face::DisplaySemibold => "Display-s",
        Face::Sans => "Sans",
        Face::SansItalic => "Sans-i",
        Face::SansSemibold => "Sans-s",
        Face::SansBold => "Sans-b",
    }
}

fn role(role: &Role) -> String {
    match role {
        Role::Heading(level) => format!("H{level}"),
        Role::List { numbered: true } => "List numbered".to_owned(),
        Role::List { .. } => "List".to_owned(),
        Role::Figure { alternative, .. } => format!("Figure \"{alternative}\""),
        Role::Formula { alternative, .. } => format!("Formula \"{alternative}\""),
        other => format!("{other:?}"),
    }
}

/// Tenths of a point, as short as they can be said.
fn short(value: f32) -> String {
    let tenths = (f64::from(value) * 10.0).round() / 10.0;
    format!("{}", if tenths == 0.0 { 0.0 } else { tenths })
}

/// A line of words: where, and in what.
struct Line {
    x: f32,
    y: f32,
    right: f32,
    words: String,
    look: String,
}

/// What belongs to one tag on one page.
#[derive(Default)]
struct Part {
    lines: Vec<Line>,
    paths: Vec<(f32, f32)>,
    count: usize,
    ink: Sha256,
}

impl Part {
    fn text(&mut self, run: &weirbook::page::display::Run) {
        let look = format!("[{} {}]", face(run.face), short(run.size));
        let words = run.text();
        if let Some(last) =
            self.lines.last_mut().filter(|last| (last.y - run.y).abs() < 0.05 && run.x >= last.right - 0.5)
        {
            if run.x > last.right + 4.0 {
                last.words.push_str(" |");
            }
            if run.x > last.right + 1.0 && !last.words.ends_with(' ') && !words.starts_with(' ') {
                last.words.push(' ');
            }
            if last.look != look {
                let _ = write!(last.words, "{look}");
                last.look = look;
            }
            last.words.push_str(&words);
            last.right = run.x + run.width;
            return;
        }
        let words = format!("{look}{words}");
        self.lines.push(Line { x: run.x, y: run.y, right: run.x + run.width, words, look });
    }

    fn path(&mut self, segments: &[Segment], looks: &str) {
        self.count += 1;
        let mut said = String::from(looks);
        for segment in segments {
            let mut put = |mark: &str, points: &[(f32, f32)]| {
                said.push_str(mark);
                for (x, y) in points {
                    let _ = write!(said, " {} {}", short(*x), short(*y));
                    self.paths.push((*x, *y));
                }
            };
            match *segment {
                Segment::Move(x, y) => put("M", &[(x, y)]),
                Segment::Line(x, y) => put("L", &[(x, y)]),
                Segment::Curve(a, b, c, d, x, y) => put("C", &[(a, b), (c, d), (x, y)]),
                Segment::Close => put("Z", &[]),
            }
        }
        self.ink.update(said.as_bytes());
    }

    /// All of it on one line: its place, a hash of where everything in it stands, and its words.
    fn write_short(mut self, out: &mut String) {
        let Some(first) = self.lines.first() else { return };
        let place = format!("@{},{}", short(first.x), short(first.y));
        let mut words = Vec::new();
        for line in &self.lines {
            self.ink.update(format!("{} {} {}", short(line.x), short(line.y), line.words));
            // Faces and sizes are in the hash.
            let mut plain = String::new();
            for (index, piece) in line.words.split('[').enumerate() {
                let look = piece
                    .split_once(']')
                    .filter(|(look, _)| index > 0 && look.starts_with(['S', 'D']) && look.contains(' '));
                plain.push_str(look.map_or(piece, |(_, rest)| rest));
                if look.is_none() && index > 0 {
                    plain.insert(plain.len() - piece.len(), '[');
                }
            }
            words.push(plain.replace('\u{a0}', "_").trim().to_owned());
        }
        let hash = self.ink.finalize();
        let _ = writeln!(out, "{place} #{:02x}{:02x} {}", hash[0], hash[1], words.join(" ¦ "));
    }

    fn write(self, out: &mut String) {
        let mut look = String::new();
        let mut lines = self.lines.into_iter().peekable();
        while let Some(first) = lines.next() {
            // A line's own first look is said only where it differs from the line before.
            let said =
                |line: &Line, look: &str| line.words.strip_prefix(look).unwrap_or(&line.words).replace('\u{a0}', "_");
            let mut words = said(&first, &look).trim_end().to_owned();
            look.clone_from(&first.look);
            let (mut y, mut step) = (first.y, None);
            while let Some(next) = lines.next_if(|next| {
                let apart = next.y - y;
                (next.x - first.x).abs() < 0.05 && apart > 0.0 && step.is_none_or(|s: f32| (s - apart).abs() < 0.05)
            }) {
                step = Some(next.y - y);
                y = next.y;
                let _ = write!(words, " / {}", said(&next, &look).trim());
                look.clone_from(&next.look);
            }
            let step = step.map_or_else(String::new, |step| format!("+{}", short(step)));
            let _ = writeln!(out, "@{},{}{step} {words}", short(first.x), short(first.y));
        }
        if self.count > 0 {
            let edge = |pick: fn(&(f32, f32)) -> f32, fold: fn(f32, f32) -> f32| {
                self.paths.iter().map(pick).reduce(fold).unwrap_or(0.0)
            };
            let (left, right) = (edge(|p| p.0, f32::min), edge(|p| p.0, f32::max));
            let (top, bottom) = (edge(|p| p.1, f32::min), edge(|p| p.1, f32::max));
            let hash = self.ink.finalize();
            let _ = writeln!(
                out,
                "paths {} #{:02x}{:02x} at {},{} {}x{}",
                self.count,
                hash[0],
                hash[1],
                short(left),
                short(top),
                short(right - left),
                short(bottom - top)
            );
        }
    }
}

/// The pages as text.
fn described(list: &DisplayList) -> String {
    let mut out = format!("{} pages of {} by {}\n", list.pages.len(), short(list.page_width), short(list.page_height));
    let depth = |tag: TagId| {
        let mut depth = 0;
        let mut at = Some(tag);
        while let Some(parent) = at.and_then(|id| list.tags.get(id.0 as usize)).and_then(|tag| tag.parent) {
            depth += 1;
            at = Some(parent);
        }
        depth
    };
    // Items of a list that calculate: small signs in many places, of which one line is enough.
    let mut sums: BTreeSet<TagId> = BTreeSet::new();
    for tag in list.tags.iter().filter(|tag| matches!(tag.role, Role::Formula { .. })) {
        let mut at = tag.parent;
        while let Some(id) = at {
            let found = &list.tags[id.0 as usize];
            if found.role == Role::ListItem {
                sums.insert(id);
                break;
            }
            at = found.parent;
        }
    }
    // A cell's words go with its row, a span's or link's with what it stands in.
    let block = |tag: TagId| {
        let mut above = Some(tag);
        while let Some(id) = above {
            if sums.contains(&id) {
                return id;
            }
            above = list.tags[id.0 as usize].parent;
        }
        let mut at = tag;
        while let Some(found) = list.tags.get(at.0 as usize) {
            let own = !matches!(
                found.role,
                Role::Cell | Role::HeadCell(_) | Role::Span | Role::Link | Role::Label | Role::ListBody
            );
            let Some(parent) = found.parent.filter(|_| !own) else { break };
            at = parent;
        }
        at
    };
    let mut told: BTreeSet<TagId> = BTreeSet::from([TagId(0)]);
    for (number, page) in list.pages.iter().enumerate() {
        let _ = writeln!(out, "=== page {}", number + 1);
        let mut parts: Vec<(Option<TagId>, Part)> = Vec::new();
        for item in &page.items {
            let tag = item.tag.map(block);
            let index = parts.iter().position(|(known, _)| *known == tag).unwrap_or_else(|| {
                parts.push((tag, Part::default()));
                parts.len() - 1
            });
            let part = &mut parts[index].1;
            match &item.draw {
                Draw::Text(run) => part.text(run),
                Draw::Path { segments, fill, even_odd, stroke } => {
                    part.path(segments, &format!("{fill:?}{even_odd}{stroke:?}"))
                }
                Draw::Jpeg { bounds, width, height, grey, bytes } => {
                    let look = format!("jpeg {width}x{height} {grey} {:02x?}", Sha256::digest(bytes));
                    let (x, y) = (bounds.x, bounds.y);
                    part.path(&[Segment::Move(x, y), Segment::Line(bounds.right(), bounds.bottom())], &look);
                }
                Draw::Image { bounds, width, height, rgba } => {
                    let look = format!("{width}x{height} {:02x?}", Sha256::digest(rgba));
                    let (x, y) = (bounds.x, bounds.y);
                    part.path(&[Segment::Move(x, y), Segment::Line(bounds.right(), bounds.bottom())], &look);
                }
            }
        }
        for (tag, part) in parts {
            match tag {
                Some(tag) => {
                    let mut above = Vec::new();
                    let mut at = Some(tag);
                    while let Some(id) = at.filter(|id| told.insert(*id)) {
                        above.push(id);
                        at = list.tags.get(id.0 as usize).and_then(|tag| tag.parent);
                    }
                    if above.is_empty() {
                        let _ = writeln!(
                            out,
                            "{}{} goes on",
                            ".".repeat(depth(tag)),
                            role(&list.tags[tag.0 as usize].role)
                        );
                    }
                    for id in above.into_iter().rev() {
                        let found = &list.tags[id.0 as usize];
                        let title = found.title.as_ref().map_or_else(String::new, |title| format!(" \"{title}\""));
                        let cells: String = list
                            .tags
                            .iter()
                            .filter(|tag| found.role == Role::Row && tag.parent == Some(id))
                            .map(|cell| match cell.role {
                                Role::HeadCell(scope) => format!(" {scope:?}"),
                                _ => " cell".to_owned(),
                            })
                            .collect();
                        let _ = writeln!(out, "{}{}{title}{cells}", ".".repeat(depth(id)), role(&found.role));
                    }
                }
                None => out.push_str("Artifact\n"),
            }
            if tag.is_some_and(|tag| sums.contains(&tag)) {
                part.write_short(&mut out);
            } else {
                part.write(&mut out);
            }
        }
        for link in &page.links {
            let _ = writeln!(out, "link to {:?} at {},{}", link.target, short(link.bounds.x), short(link.bounds.y));
        }
    }
    for entry in &list.outline {
        let _ = writeln!(
            out,
            "outline {}{} on page {}",
            "  ".repeat(usize::from(entry.level)),
            entry.title,
            entry.page + 1
        );
    }
    out
}

/// A block of the text: its head, its words without their places, and the lines as they stand.
#[derive(Clone, Debug, PartialEq)]
struct Block {
    page: usize,
    head: String,
    words: String,
    lines: Vec<String>,
}

impl Block {
    fn name(&self) -> String {
        let words: String = self.words.split_whitespace().collect::<Vec<_>>().join(" ");
        let words = if words.chars().count() > 60 { words.chars().take(60).chain(['…']).collect() } else { words };
        let head = self.head.trim_start_matches('.');
        if words.is_empty() { head.to_owned() } else { format!("{head}, `{words}`") }
    }

    /// The place of its first line.
    fn place(&self) -> Option<(f64, f64)> {
        let (x, y) = self.lines.iter().find_map(|l| l.strip_prefix('@'))?.split([' ', '+']).next()?.split_once(',')?;
        Some((x.parse().ok()?, y.parse().ok()?))
    }
}

fn blocks(text: &str) -> Vec<Block> {
    let mut out: Vec<Block> = Vec::new();
    let mut page = 0;
    for line in text.lines() {
        if let Some(number) = line.strip_prefix("=== page ") {
            page = number.parse().unwrap();
        } else if let (true, Some(last)) =
            (line.starts_with(['@']) || line.starts_with("paths ") || line.starts_with("link "), out.last_mut())
        {
            if let Some((_, words)) = line.strip_prefix('@').and_then(|line| line.split_once(' ')) {
                // So is the hash of a line of workings; where a paragraph is broken is a matter of places, not of words.
                let words =
                    words.strip_prefix('#').and_then(|rest| rest.split_once(' ')).map_or(words, |(_, words)| words);
                last.words.push(' ');
                last.words.push_str(&words.replace(" / ", " "));
            }
            last.lines.push(line.to_owned());
        } else {
            out.push(Block { page, head: line.to_owned(), words: String::new(), lines: Vec::new() });
        }
    }
    out
}

/// Which blocks of the one are which of the other: places of both, in order, by the longest common sequence.
fn paired(old: &[Block], new: &[Block]) -> Vec<(usize, usize)> {
    let same = |a: &Block, b: &Block| a.head == b.head && a.words == b.words;
    let head = old.iter().zip(new).take_while(|(a, b)| same(a, b)).count();
    let tail = old[head..].iter().rev().zip(new[head..].iter().rev()).take_while(|(a, b)| same(a, b)).count();
    let (a, b) = (&old[head..old.len() - tail], &new[head..new.len() - tail]);
    let mut best = vec![vec![0_u32; b.len() + 1]; a.len() + 1];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            best[i][j] = if same(&a[i], &b[j]) { best[i + 1][j + 1] + 1 } else { best[i + 1][j].max(best[i][j + 1]) };
        }
    }
    let mut out: Vec<(usize, usize)> = (0..head).map(|i| (i, i)).collect();
    let (mut i, mut j) = (0, 0);
    while i < a.len() && j < b.len() {
        if same(&a[i], &b[j]) {
            out.push((head + i, head + j));
            (i, j) = (i + 1, j + 1);
        } else if best[i + 1][j] >= best[i][j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    out.extend((0..tail).rev().map(|back| (old.len() - 1 - back, new.len() - 1 - back)));
    out
}

/// What changed from one text to another, a line for each block or run of blocks that went the same way.
fn changes(old: &str, new: &str) -> Vec<String> {
    let (old, new) = (blocks(old), blocks(new));
    let pairs = paired(&old, &new);
    let mut out: Vec<String> = Vec::new();
    let mut run: Option<(String, usize)> = None;
    let close = |run: &mut Option<(String, usize)>, out: &mut Vec<String>| {
        if let Some((_, more)) = run.take().filter(|(_, more)| *more > 0) {
            out.push(format!("        and {more} more blocks after it likewise"));
        }
    };
    let (mut i, mut j) = (0, 0);
    for (a, b) in pairs.into_iter().chain([(old.len(), new.len())]) {
        for gone in &old[i..a] {
            close(&mut run, &mut out);
            out.push(format!("page {}: gone is {}", gone.page, gone.name()));
        }
        for fresh in &new[j..b] {
            close(&mut run, &mut out);
            out.push(format!("page {}: new is {}", fresh.page, fresh.name()));
        }
        (i, j) = (a + 1, b + 1);
        let (Some(was), Some(is)) = (old.get(a), new.get(b)) else { continue };
        if was.page == is.page && was.lines == is.lines {
            close(&mut run, &mut out);
            continue;
        }
        let how = match (was.place(), is.place()) {
            _ if was.page != is.page => format!("went from page {} to page {}", was.page, is.page),
            (Some((x, y)), Some((to_x, to_y))) if x != to_x || y != to_y => {
                let along = |by: f64, more: &str, less: &str| match by {
                    by if by > 0.04 => format!(" {} pt {more}", short(by as f32)),
                    by if by < -0.04 => format!(" {} pt {less}", short(-by as f32)),
                    _ => String::new(),
                };
                format!("moved{}{}", along(to_y - y, "down", "up"), along(to_x - x, "right", "left"))
            }
            _ => "is set otherwise".to_owned(),
        };
        match &mut run {
            Some((same, more)) if *same == how && how != "is set otherwise" => *more += 1,
            _ => {
                close(&mut run, &mut out);
                out.push(format!("page {}: {} {how}", is.page, is.name()));
                if how == "is set otherwise" {
                    let odd = was.lines.iter().zip(&is.lines).find(|(w, i)| w != i);
                    if let Some((w, i)) = odd {
                        out.push(format!("        was {w}\n        is  {i}"));
                    }
                }
                run = Some((how, 0));
            }
        }
    }
    close(&mut run, &mut out);
    out
}

#[test]
fn every_page_of_the_demos_is_as_reviewed() {
    let accept = std::env::var("GOLDEN").is_ok_and(|v| v == "accept");
    let fonts = Fonts::new(|face| weirbook::Shipped.face(face)).unwrap();
    let hashes_file = folder().join("hashes.txt");
    let known: BTreeMap<String, String> = fs::read_to_string(&hashes_file)
        .unwrap_or_default()
        .lines()
        .filter_map(|line| line.split_once("  "))
        .map(|(hash, name)| (name.to_owned(), hash.to_owned()))
        .collect();
    let mut hashes = BTreeMap::new();
    let mut report = String::new();
    for (id, site, log) in DEMOS {
        let text = |name: &str, words: &str| Text { name: name.into(), words: words.into() };
        let supplies = Folder::new(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-sites").join(id));
        let (job, _) = prepare(&text("site.toml", site), Some(&text("log.csv", log)), Choices::default(), &supplies);
        let job = job.unwrap();
        for edition in EDITIONS {
            let name = format!("{id}-{}", edition.name());
            let (_, typeset) = weirbook::set(&job, edition, &supplies, &fonts).unwrap();
            let is = described(&typeset.pages);
            let pdf = weirbook::render(&job, edition, &supplies, &fonts).unwrap();
            let hash: String = Sha256::digest(&pdf).iter().map(|b| format!("{b:02x}")).collect();
            let file = folder().join(format!("{name}.txt"));
            let was = fs::read_to_string(&file).unwrap_or_default();
            let same_file = known.get(&name) == Some(&hash);
            hashes.insert(name.clone(), hash);
            if accept {
                fs::create_dir_all(folder()).unwrap();
                fs::write(&file, &is).unwrap();
                continue;
            }
            if was == is && same_file {
                continue;
            }
            let found = changes(&was, &is);
            // The new file, to be looked at.
            let seen = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.pdf"));
            fs::write(&seen, &pdf).unwrap();
            let _ = writeln!(report, "\n{name}: look at {}", seen.display());
            if was == is {
                report.push_str(
                    "    pages and tags are as before, only the file is written otherwise (fonts, metadata, packing)\n",
                );
            }
            for line in found.iter().take(MOST) {
                let _ = writeln!(report, "    {line}");
            }
            if found.len() > MOST {
                let _ = writeln!(report, "    and {} more changes", found.len() - MOST);
            }
        }
    }
    if accept {
        let lines: String = hashes.iter().map(|(name, hash)| format!("{hash}  {name}\n")).collect();
        fs::write(&hashes_file, lines).unwrap();
    }
    let expected: BTreeSet<String> =
        hashes.keys().map(|name| format!("{name}.txt")).chain(["hashes.txt".into()]).collect();
    let there: BTreeSet<String> =
        fs::read_dir(folder()).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    assert_eq!(there, expected, "files in tests/golden that no test reads, or that are missing");
    assert!(report.is_empty(), "pages changed; if they are right: GOLDEN=accept cargo test golden\n{report}");
}

const ONE: &str = "2 pages of 595 by 842\n=== page 1\nSection\n.H1\n@50,100 [Display 21]Title\n.Paragraph\n@50,130+12 [Serif 9.5]one two / three\n.Paragraph\n@50,160 [Serif 9.5]four\npaths 2 #abcd at 1,2 3x4\n=== page 2\n.Paragraph\n@50,80 [Serif 9.5]five\n";

#[test]
fn a_change_is_told_by_page_and_block() {
    assert!(changes(ONE, ONE).is_empty());
    let moved = ONE.replace("@50,130+12", "@50,142+12").replace("@50,160", "@50,172");
    assert_eq!(
        changes(ONE, &moved),
        [
            "page 1: Paragraph, `[Serif 9.5]one two three` moved 12 pt down",
            "        and 1 more blocks after it likewise"
        ]
    );
    let broken = ONE.replace("one two / three", "one / two three");
    assert_eq!(changes(ONE, &broken).len(), 2, "{:?}", changes(ONE, &broken));
    assert!(changes(ONE, &broken)[0].contains("is set otherwise"));
    let words = ONE.replace("four", "fore");
    assert_eq!(
        changes(ONE, &words),
        ["page 1: gone is Paragraph, `[Serif 9.5]four`", "page 1: new is Paragraph, `[Serif 9.5]fore`"]
    );
    let over = ONE.replace("=== page 2\n", "").replace(".Paragraph\n@50,160", "=== page 2\n.Paragraph\n@50,160");
    assert_eq!(changes(ONE, &over)[0], "page 2: Paragraph, `[Serif 9.5]four` went from page 1 to page 2");
    let drawn = ONE.replace("#abcd", "#abce");
    assert!(changes(ONE, &drawn)[0].contains("is set otherwise"), "{:?}", changes(ONE, &drawn));
}
