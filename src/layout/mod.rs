//! Blocks to pages: text is shaped and broken into lines, lines into pages, and references to pages are filled in.
//!
//! Nothing is lost in silence: what does not fit is drawn all the same and reported as a [`Finding`].

mod breaks;
mod flow;
mod formula;
mod lines;
mod pages;
mod photo;
mod piece;
mod poster;
mod table;
mod text;

use std::cell::Cell;
use std::collections::{BTreeMap, BTreeSet};

use crate::page::display::{Bounds, DisplayList, Draw, DrawItem, Link, Paint, PathStroke, Role, Tag, TagId, Target};
pub use crate::page::fonts::{FontError, Fonts};
use crate::page::style::Sheet;
use crate::page::{Document, Drawing, Face, Grid, Ink, Inline, Item, Origin};

use piece::{Piece, moved, rectangle};
use text::{Case, Lead, Look, SetLine, SetText};

/// A document set on pages, and what went wrong on the way.
#[derive(Clone, Debug, Default)]
pub struct Typeset {
    /// The pages.
    pub pages: DisplayList,
    /// What did not fit or could not be found.
    pub findings: Vec<Finding>,
    /// The pages, from 0, on which each numbered line is referred to.
    pub marks: BTreeMap<u32, BTreeSet<usize>>,
}

/// Something that did not fit, or that a reference did not find.
#[derive(Clone, Debug, PartialEq)]
pub enum Finding {
    /// A word, cell or drawing is wider than its place; it was cut between letters or drawn past its edge.
    TooWide {
        /// The template line it came from.
        origin: Option<Origin>,
        /// By how many points.
        by: f32,
    },
    /// A block is taller than a page, or a poster than its sheet.
    TooTall {
        /// The template line it came from.
        origin: Option<Origin>,
        /// By how many points.
        by: f32,
    },
    /// A reference to an anchor that no heading has.
    UnknownAnchor {
        /// The template line it came from.
        origin: Option<Origin>,
        /// The anchor.
        anchor: String,
    },
    /// A mark refers to a line that is not in this document.
    UnknownLine {
        /// The template line it came from.
        origin: Option<Origin>,
        /// The line's number.
        number: u32,
    },
    /// A character none of the faces has.
    MissingGlyph {
        /// The template line it came from.
        origin: Option<Origin>,
        /// The word it stands in.
        word: String,
    },
}

/// Where things stand: the pages that references name.
#[derive(Clone, Debug, Default)]
struct Places {
    anchors: BTreeMap<Target, (usize, f32)>,
    /// The pages on which each numbered line is referred to.
    marks: BTreeMap<u32, BTreeSet<usize>>,
}

impl Places {
    /// Whether everything stands on the same pages.
    fn agrees(&self, other: &Places) -> bool {
        let pages = |places: &Places| -> Vec<usize> { places.anchors.values().map(|&(page, _)| page).collect() };
        self.marks == other.marks && self.anchors.keys().eq(other.anchors.keys()) && pages(self) == pages(other)
    }
}

/// Sets a document.
#[must_use]
pub fn typeset(document: &Document, fonts: &Fonts) -> Typeset {
    let case = Case::new(fonts, &document.language);
    let mut setter = Setter::new(document, &case);
    let mut book = match document.style.sheet {
        Sheet::Report => setter.report(),
        Sheet::Poster => setter.poster(),
    };
    if document.style.sheet == Sheet::Poster && setter.waits.get() {
        setter = Setter { places: book.places, ..Setter::new(document, &case) };
        book = setter.poster();
    }
    setter.check_references(&book.places);
    let marks = book.places.marks.clone();
    let pages = setter.finish(book);
    Typeset { pages, findings: setter.findings, marks }
}

/// Sets a document, block by block.
struct Setter<'a> {
    document: &'a Document,
    fonts: &'a Case<'a>,
    grid: Grid,
    /// The ink of line numbers, reckoned once.
    numeral: Ink,
    /// Where things came to stand so far.
    places: Places,
    /// Whether what was set last names a page.
    waits: Cell<bool>,
    tags: Vec<Tag>,
    /// Tags that were made later than their place in the order of reading.
    order: pages::Order,
    /// The tag that what is set next belongs to.
    parent: TagId,
    findings: Vec<Finding>,
    /// The template line of the block being set.
    origin: Option<Origin>,
    /// Marks already set in this block.
    seen: BTreeSet<u32>,
    /// Every reference met, with its origin.
    references: Vec<(Target, Option<Origin>)>,
    heading: u8,
    /// Whether what is set lists sources: the one place but the numbered lines where words are divided.
    sources: bool,
}

impl<'a> Setter<'a> {
    fn new(document: &'a Document, fonts: &'a Case<'a>) -> Self {
        Setter {
            document,
            fonts,
            grid: document.style.grid(),
            numeral: document.style.numeral_ink(),
            places: Places::default(),
            waits: Cell::new(false),
            order: pages::Order::default(),
            tags: vec![Tag { role: Role::Document, parent: None, title: None }],
            parent: TagId(0),
            findings: Vec::new(),
            origin: None,
            seen: BTreeSet::new(),
            references: Vec::new(),
            heading: 0,
            sources: false,
        }
    }

    fn tag(&mut self, role: Role) -> TagId {
        self.tag_in(self.parent, role)
    }

    fn tag_in(&mut self, parent: TagId, role: Role) -> TagId {
        self.tags.push(Tag { role, parent: Some(parent), title: None });
        TagId(u32::try_from(self.tags.len() - 1).unwrap_or(u32::MAX))
    }

    fn title(&mut self, tag: TagId, title: String) {
        if let Some(tag) = self.tags.get_mut(tag.0 as usize) {
            tag.title = Some(title);
        }
    }

    /// Runs `inner` with `tag` as the parent of what it sets.
    fn within<T>(&mut self, tag: TagId, inner: impl FnOnce(&mut Self) -> T) -> T {
        let outer = std::mem::replace(&mut self.parent, tag);
        let result = inner(self);
        self.parent = outer;
        result
    }

    fn page_of(&self, anchor: &str) -> Option<usize> {
        self.waits.set(true);
        self.places.anchors.get(&Target::Anchor(anchor.to_owned())).map(|&(page, _)| page)
    }

    fn check_references(&mut self, found: &Places) {
        for (target, origin) in std::mem::take(&mut self.references) {
            if found.anchors.contains_key(&target) {
                continue;
            }
            let finding = match target {
                Target::Line(number) => Finding::UnknownLine { origin, number },
                Target::Anchor(anchor) => Finding::UnknownAnchor { origin, anchor },
                Target::Page(_) | Target::Outside(_) => continue,
            };
            if !self.findings.contains(&finding) {
                self.findings.push(finding);
            }
        }
    }

    /// Breaks inlines into lines and reports what is too wide.
    fn set(&mut self, inlines: &[Inline], look: &Look, width: f32) -> SetText {
        let set = text::set(self.fonts, inlines, look, width, &|anchor| self.page_of(anchor));
        if let Some(by) = set.too_wide {
            self.findings.push(Finding::TooWide { origin: self.origin, by });
        }
        let origin = self.origin;
        for lead in &set.links {
            self.references.push((lead.target.clone(), origin));
        }
        for (run, _) in set.lines.iter().filter(|_| set.missing).flat_map(|line| &line.runs) {
            if run.glyphs.iter().any(|glyph| glyph.id == 0) {
                self.findings.push(Finding::MissingGlyph { origin, word: run.text() });
            }
        }
        set
    }

    fn natural(&self, inlines: &[Inline], look: &Look) -> f32 {
        text::natural_width(self.fonts, inlines, look, &|anchor| self.page_of(anchor))
    }

    /// Draws a line with its start at `x` and its baseline at `y`. Its marks go to the number column.
    fn put_line(
        &mut self,
        piece: &mut Piece,
        line: SetLine,
        (x, y): (f32, f32),
        frame: (f32, f32),
        tag: Option<TagId>,
        links: &mut Links<'_>,
    ) {
        for (mut run, link) in line.runs {
            run.x += x;
            run.y += y;
            if run.ink == Ink::Accent && run.size < 25.0 {
                run.ink = self.numeral;
            }
            let (above, below) = (run.size * 0.95, run.size * 0.35);
            run.frame = Bounds { x: frame.0, y: run.y - above, width: frame.1, height: above + below };
            let item_tag = match (link.and_then(|link| links.leads.get(link).cloned().map(|lead| (link, lead))), tag) {
                (Some((index, lead)), Some(parent)) => {
                    let link_tag = match links.tags.get(&index) {
                        Some(&tag) => tag,
                        None => {
                            let tag = self.tag_in(parent, Role::Link);
                            links.tags.insert(index, tag);
                            tag
                        }
                    };
                    piece.links.push(Link {
                        bounds: Bounds { x: run.x, width: run.width, ..run.frame },
                        target: lead.target,
                        description: lead.description,
                        tag: Some(link_tag),
                    });
                    Some(link_tag)
                }
                _ => tag,
            };
            piece.items.push(DrawItem { tag: item_tag, draw: Draw::Text(run) });
        }
        for (at, side) in line.ticks {
            let stroke = if side > 15.0 { 1.4 } else { 0.8 };
            let bounds = Bounds { x: x + at + 0.5, y: y - side * 0.86, width: side - 1.0, height: side - 1.0 };
            self.put_tick(piece, bounds, stroke, tag);
        }
        for (at, drawing) in line.drawings {
            self.put_drawing(piece, &drawing, x + at, y - drawing.height + 3.0, tag);
        }
        self.put_marks(piece, &line.marks, y, tag);
    }

    /// Draws a box to tick; those who hear the page are told of it.
    fn put_tick(&mut self, piece: &mut Piece, bounds: Bounds, stroke: f32, parent: Option<TagId>) {
        let role = Role::Figure { alternative: "box to tick".to_owned(), bounds: None };
        let tag = self.tag_in(parent.unwrap_or(self.parent), role);
        piece.path(Some(tag), rectangle(bounds), None, Some((stroke, Ink::Ink)));
        piece.figures.push((tag, bounds));
    }

    /// Sets marks in the number column with their baseline at `y`.
    fn put_marks(&mut self, piece: &mut Piece, marks: &[u32], y: f32, tag: Option<TagId>) {
        let fresh: Vec<u32> = marks.iter().copied().filter(|&number| self.seen.insert(number)).collect();
        if fresh.is_empty() || self.grid.number_width <= 0.0 {
            return;
        }
        let look = Look { size: 7.5, leading: 9.0, ..Look::sans(7.5, 9.0) }
            .faces(Face::SansSemibold, Face::SansSemibold, Face::SansItalic)
            .ink(self.numeral);
        let frame = (self.grid.number_x, self.grid.number_width + 22.0);
        let parent = tag.unwrap_or(self.parent);
        let (mut x, mut y) = (self.grid.number_x, y);
        let runs: Vec<&[u32]> = fresh.chunk_by(|one, next| one.checked_add(1) == Some(*next)).collect();
        // Two are said one by one; from three on a run is shorter than its numbers.
        let runs: Vec<&[u32]> =
            runs.into_iter().flat_map(|run| run.chunks(if run.len() > 2 { run.len() } else { 1 })).collect();
        for (index, run) in runs.iter().enumerate() {
            let [number, rest @ ..] = run else { continue };
            let comma = if index + 1 < runs.len() { "," } else { "" };
            let (words, description) = match rest.last() {
                Some(last) => (format!("{number}–{last}{comma}"), format!("lines {number} to {last}")),
                None => (format!("{number}{comma}"), format!("line {number}")),
            };
            let set = self.set(&[Inline::Text(words)], &look, 1.0e6);
            let target = Target::Line(*number);
            for number in *run {
                self.references.push((Target::Line(*number), self.origin));
                piece.marks.push(*number);
            }
            for line in set.lines {
                if x + line.width > frame.0 + frame.1 {
                    x = self.grid.number_x;
                    y += look.leading;
                }
                let width = line.width;
                let lead = Lead { target: target.clone(), description: description.clone() };
                let leads = [lead];
                let mut line = line;
                for (_, link) in &mut line.runs {
                    *link = Some(0);
                }
                let mut links = Links::new(&leads);
                self.put_line(piece, line, (x, y), frame, Some(parent), &mut links);
                x += width + look.size * 0.22;
            }
        }
    }

    /// Draws a drawing with its top left corner at `x`, `y`.
    fn put_drawing(&mut self, piece: &mut Piece, drawing: &Drawing, x: f32, y: f32, parent: Option<TagId>) {
        let role = Role::Figure { alternative: drawing.alternative.clone(), bounds: None };
        let tag = self.tag_in(parent.unwrap_or(self.parent), role);
        let page = Bounds { x: 0.0, y: f32::MIN / 2.0, width: self.grid.page_width, height: f32::MAX / 2.0 };
        let (mut left, mut top, mut right, mut bottom) = (x, y, x + drawing.width, y + drawing.height);
        for item in &drawing.items {
            match item {
                Item::Path { segments, fill, stroke } => {
                    let segments: Vec<_> = segments.iter().map(|&segment| moved(segment, x, y)).collect();
                    piece.items.push(DrawItem {
                        tag: Some(tag),
                        draw: Draw::Path {
                            segments,
                            fill: fill.map(Paint::Ink),
                            even_odd: false,
                            stroke: stroke.map(|stroke| PathStroke {
                                width: stroke.width,
                                paint: Paint::Ink(stroke.ink),
                                dash: stroke.dash,
                            }),
                        },
                    });
                }
                Item::Label { x: label_x, y: label_y, anchor, face, size, ink, text } => {
                    let look = Look::sans(*size, *size).faces(*face, *face, *face).ink(*ink);
                    let set = self.set(&[Inline::Text(text.clone())], &look, 1.0e6);
                    for line in set.lines {
                        let start = x + label_x
                            - match anchor {
                                crate::page::Anchor::Start => 0.0,
                                crate::page::Anchor::Middle => line.width / 2.0,
                                crate::page::Anchor::End => line.width,
                            };
                        left = left.min(start);
                        right = right.max(start + line.width);
                        top = top.min(y + label_y - size);
                        bottom = bottom.max(y + label_y + size * 0.3);
                        if start < 0.0 || start + line.width > self.grid.page_width {
                            let by = (-start).max(start + line.width - self.grid.page_width);
                            self.findings.push(Finding::TooWide { origin: self.origin, by });
                        }
                        let frame = (page.x, page.width);
                        let mut links = Links::new(&[]);
                        self.put_line(piece, line, (start, y + label_y), frame, Some(tag), &mut links);
                    }
                }
            }
        }
        let bounds = Bounds { x: left, y: top, width: right - left, height: bottom - top };
        piece.figures.push((tag, bounds));
    }

    /// One piece a line, in a column; first and last two lines stay together.
    fn paragraph(&mut self, inlines: &[Inline], look: &Look, (x, width): (f32, f32), tag: TagId) -> Vec<Piece> {
        let set = self.set(inlines, look, width);
        let mut links = Links::new(&set.links);
        let count = set.lines.len();
        let mut pieces = Vec::with_capacity(count);
        for (index, line) in set.lines.into_iter().enumerate() {
            let mut piece = Piece {
                height: look.leading,
                keep: count > 1 && (index == 0 || index + 2 == count),
                cling: if index + 1 < count { breaks::LINES } else { 0.0 },
                origin: self.origin,
                ..Piece::default()
            };
            self.put_line(&mut piece, line, (x, look.baseline()), (x, width), Some(tag), &mut links);
            pieces.push(piece);
        }
        pieces
    }

    /// All lines of a text as one piece.
    fn block_of_text(&mut self, inlines: &[Inline], look: &Look, column: (f32, f32), tag: TagId) -> Piece {
        let pieces = self.paragraph(inlines, look, column, tag);
        piece::stack(pieces)
    }
}

/// The links of one text, and the tags made for them.
struct Links<'a> {
    leads: &'a [Lead],
    tags: BTreeMap<usize, TagId>,
}

impl<'a> Links<'a> {
    fn new(leads: &'a [Lead]) -> Self {
        Links { leads, tags: BTreeMap::new() }
    }
}

/// The words of inlines, without their looks.
fn plain(inlines: &[Inline]) -> String {
    let mut words = String::new();
    for inline in inlines {
        match inline {
            Inline::Text(text) | Inline::Unit(text) => words.push_str(text),
            Inline::Strong(inner) | Inline::Emph(inner) | Inline::Sub(inner) | Inline::Sup(inner) => {
                words.push_str(&plain(inner));
            }
            Inline::Break => words.push(' '),
            _ => {}
        }
    }
    words
}

/// Whether any of the inlines is strong.
fn has_strong(inlines: &[Inline]) -> bool {
    inlines.iter().any(|inline| matches!(inline, Inline::Strong(_)))
}
