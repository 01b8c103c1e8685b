//! Pieces to pages: breaks, running heads and feet, and the letterhead.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::rc::Rc;

use crate::page::display::{
    Anchored, Bounds, DisplayList, Draw, DrawItem, OutlineEntry, Page, Paint, PathStroke, Role, Tag, TagId, Target,
};
use crate::page::style::{MM, Sheet};
use crate::page::{Art, BlockKind, Face, Ink, Inline, Letterhead, Segment};

use super::breaks::{Measure, Room, hold, next_top, page_ends};
use super::flow::{LINE, tie};
use super::piece::Piece;
use super::text::{Lead, Look};
use super::{Finding, Links, Places, Setter};

/// The drop of the step rule.
pub(super) const STEP: f32 = 6.5;
/// The width of the step rule.
pub(super) const STEP_WIDTH: f32 = 0.9;

/// Pages being filled.
#[derive(Default)]
pub(super) struct Book {
    pub(super) pages: Vec<Page>,
    pub(super) places: Places,
    pub(super) outline: Vec<OutlineEntry>,
}

impl Book {
    /// Puts a piece on the last page with its top at `y`.
    pub(super) fn place(&mut self, mut piece: Piece, y: f32, setter: &mut Setter<'_>) {
        let number = self.pages.len().saturating_sub(1);
        let Some(page) = self.pages.last_mut() else { return };
        piece.shift(y);
        page.items.append(&mut piece.items);
        page.links.append(&mut piece.links);
        for mark in piece.marks {
            self.places.marks.entry(mark).or_default().insert(number);
        }
        for (target, y) in piece.anchors {
            self.places.anchors.entry(target).or_insert((number, y));
        }
        if let Some((level, title, y)) = piece.outline {
            self.outline.push(OutlineEntry { level, title, page: number, y });
        }
        for (tag, bounds) in piece.figures {
            if let Some(tag) = setter.tags.get_mut(tag.0 as usize)
                && let Role::Figure { bounds: place, .. } | Role::Formula { bounds: place, .. } = &mut tag.role
            {
                *place = Some((number, bounds));
            }
        }
    }
}

/// A block of the document, set.
struct Group {
    /// Its place among the blocks.
    index: usize,
    pieces: Vec<Piece>,
    /// Its tags, as first made and as made last.
    first_tags: Range<usize>,
    tags: Range<usize>,
    /// Whether a part of the document starts with it.
    new_page: bool,
    /// What was so when it was set.
    heading: u8,
    /// Whether it names a page.
    waits: bool,
    findings: Vec<Finding>,
}

/// Where a piece stands.
struct Spot {
    page: usize,
    y: f32,
    /// Where the head of its table stands again.
    head: Option<f32>,
}

/// The order of reading, for tags that were not made in it.
#[derive(Debug, Default)]
pub(super) struct Order {
    /// Tags that come after another number of tags.
    late: Vec<(Range<usize>, usize)>,
    /// Tags made again, with the first tag of those that they replace, and those that were replaced.
    again: Vec<(Range<usize>, usize)>,
    dead: Vec<Range<usize>>,
}

impl Order {
    /// Some tags belong where there were only `after` of them.
    pub(super) fn late(&mut self, tags: Range<usize>, after: usize) {
        self.late.push((tags, after));
    }

    /// For each tag its new number; none for those no longer in use.
    fn numbers(&self, count: usize) -> Vec<Option<u32>> {
        let mut keys: Vec<(usize, usize, usize)> = (0..count).map(|index| (index, 0, 0)).collect();
        for (tags, first) in &self.again {
            for (place, key) in (1..).zip(keys.get_mut(tags.clone()).into_iter().flatten()) {
                *key = (*first, place, 0);
            }
        }
        for (tags, after) in &self.late {
            let (first, second, _) = after.checked_sub(1).and_then(|last| keys.get(last)).copied().unwrap_or_default();
            for (place, key) in (1..).zip(keys.get_mut(tags.clone()).into_iter().flatten()) {
                *key = (first, second, place);
            }
        }
        let mut live = vec![true; count];
        for tags in &self.dead {
            live.get_mut(tags.clone()).into_iter().flatten().for_each(|live| *live = false);
        }
        let mut sorted: Vec<(&(usize, usize, usize), usize)> =
            keys.iter().zip(0..).filter(|&(_, index)| live.get(index).is_some_and(|live| *live)).collect();
        sorted.sort_unstable();
        let mut numbers = vec![None; count];
        for (number, (_, index)) in (0..).zip(sorted) {
            if let Some(slot) = numbers.get_mut(index) {
                *slot = Some(number);
            }
        }
        numbers
    }

    fn is_kept(&self) -> bool {
        self.late.is_empty() && self.again.is_empty() && self.dead.is_empty()
    }
}

impl Setter<'_> {
    /// Blocks are set once. Then pages are ended, and only blocks that name a page are set anew, until all stands still.
    pub(super) fn report(&mut self) -> Book {
        const PASSES: usize = 4;
        let document = self.document;
        let mut book = Book::default();
        book.pages.push(Page::default());
        let mut top = self.grid.first_top;
        if let Some(letterhead) = &document.letterhead {
            let (piece, bottom) = self.letterhead(letterhead);
            book.place(piece, 0.0, self);
            top = bottom;
        }
        let mut groups = self.groups();
        let mut pass = 0;
        let spots = loop {
            let spots = self.spots(&groups, top);
            let found = survey(&groups, &spots);
            pass += 1;
            if pass == PASSES || found.agrees(&self.places) {
                break spots;
            }
            self.places = found;
            for group in groups.iter_mut().filter(|group| group.waits) {
                self.set_again(group);
            }
        };
        let mut spots = spots.into_iter();
        for mut group in groups {
            self.findings.append(&mut group.findings);
            for (mut piece, spot) in group.pieces.into_iter().zip(&mut spots) {
                while book.pages.len() <= spot.page {
                    book.pages.push(Page::default());
                }
                if let (Some(y), Some(head)) = (spot.head, piece.repeat.take()) {
                    book.place(Rc::unwrap_or_clone(head), y, self);
                }
                if spot.y + piece.height > self.grid.bottom + 0.01 {
                    self.too_tall(piece.origin, spot.y + piece.height - self.grid.bottom);
                }
                if let Some(late) = piece.late.take() {
                    self.add_pages(&mut piece, &late);
                }
                book.place(piece, spot.y, self);
            }
        }
        book
    }

    fn groups(&mut self) -> Vec<Group> {
        let document = self.document;
        let mut groups = Vec::with_capacity(document.blocks.len());
        let mut new_page = false;
        for (index, block) in document.blocks.iter().enumerate() {
            if matches!(block.kind, BlockKind::NewPart) {
                new_page = true;
                continue;
            }
            let group = self.group(index, new_page);
            new_page &= group.pieces.is_empty();
            groups.push(group);
        }
        groups
    }

    fn group(&mut self, index: usize, new_page: bool) -> Group {
        let document = self.document;
        let (from, heading) = (self.tags.len(), self.heading);
        let before = std::mem::take(&mut self.findings);
        self.waits.set(false);
        let place = self.main_place();
        let mut pieces = Vec::new();
        for piece in self.block(&document.blocks, index, &place) {
            self.whole_or_parts(piece, self.grid.bottom - self.grid.top, &mut pieces);
        }
        if let Some(first) = pieces.first_mut() {
            first.new_page = new_page;
        }
        let findings = std::mem::replace(&mut self.findings, before);
        let tags = from..self.tags.len();
        let waits = self.waits.get();
        Group { index, pieces, first_tags: tags.clone(), tags, new_page, heading, waits, findings }
    }

    fn set_again(&mut self, group: &mut Group) {
        let heading = std::mem::replace(&mut self.heading, group.heading);
        let again = self.group(group.index, group.new_page);
        self.heading = heading;
        self.order.dead.push(group.tags.clone());
        self.order.again.push((again.tags.clone(), group.first_tags.start));
        *group = Group { first_tags: group.first_tags.clone(), ..again };
    }

    /// Where each piece of the groups stands.
    fn spots(&mut self, groups: &[Group], top: f32) -> Vec<Spot> {
        let mut measures: Vec<Measure> = Vec::with_capacity(groups.len() * 4);
        for group in groups {
            if let (Some(last), false) = (measures.last_mut(), group.pieces.is_empty()) {
                let (keep, cling) = tie(&self.document.blocks, group.index);
                (last.keep, last.cling) = (last.keep || keep, last.cling.max(cling));
            }
            for piece in &group.pieces {
                let mut measure = Measure::of(piece);
                if let Some(late) = &piece.late {
                    measure.height = self.late_height(piece, late);
                }
                measures.push(measure);
            }
        }
        let (bottom, later) = (self.grid.bottom, self.grid.top);
        let mut spots = Vec::with_capacity(measures.len());
        let mut rest = &mut measures[..];
        let mut page = 0;
        while !rest.is_empty() {
            let length = rest.iter().skip(1).position(|piece| piece.new_page).map_or(rest.len(), |next| next + 1);
            let (part, others) = std::mem::take(&mut rest).split_at_mut_checked(length).unwrap_or_default();
            rest = others;
            hold(part);
            let first = spots.is_empty();
            let room = if first {
                Room { first: top, top: later, bottom, filled_from: self.grid.first_top }
            } else {
                Room { first: later, top: later, bottom, filled_from: later }
            };
            let mut from = 0;
            for end in page_ends(part, room) {
                page += usize::from(!spots.is_empty());
                let origin = if from == 0 { room.first } else { room.top };
                let mut y = origin;
                for (index, piece) in part.iter().enumerate().take(end).skip(from) {
                    let starts = index == from;
                    let head = piece.repeat.filter(|_| starts && from > 0).map(|height| {
                        y += height;
                        y - height
                    });
                    let top = next_top(piece, y, starts, origin);
                    y = top + piece.height;
                    spots.push(Spot { page, y: top, head });
                }
                from = end;
            }
        }
        spots
    }

    /// What is done once, when every page stands where it will stay: running heads and feet, and the order of reading.
    pub(super) fn finish(&mut self, mut book: Book) -> DisplayList {
        let count = book.pages.len();
        let report = self.document.style.sheet == Sheet::Report;
        for (index, page) in book.pages.iter_mut().enumerate().filter(|_| report) {
            let has_letterhead = index == 0;
            let head = self.running(index, count, !has_letterhead);
            // Running heads and feet are decoration and come before the text.
            let body = std::mem::replace(&mut page.items, head.items);
            page.items.extend(body);
        }
        let tags = self.tags_in_order(&mut book);
        for page in &mut book.pages {
            marks_after_text(page, &tags);
        }
        let anchored = |(target, (page, y))| Anchored { target, page, y };
        DisplayList {
            page_width: self.grid.page_width,
            page_height: self.grid.page_height,
            pages: book.pages,
            tags,
            anchors: book.places.anchors.into_iter().map(anchored).collect(),
            outline: book.outline,
        }
    }

    /// The tags in the order of reading.
    fn tags_in_order(&mut self, book: &mut Book) -> Vec<Tag> {
        let tags = self.take_tags();
        if self.order.is_kept() {
            return tags;
        }
        let numbers = self.order.numbers(tags.len());
        let number = |tag: TagId| numbers.get(tag.0 as usize).copied().flatten().map(TagId);
        for page in &mut book.pages {
            for item in &mut page.items {
                item.tag = item.tag.and_then(number);
            }
            for link in &mut page.links {
                link.tag = link.tag.and_then(number);
            }
        }
        let mut sorted: Vec<(u32, Tag)> = (0..)
            .zip(tags)
            .filter_map(|(index, tag)| {
                Some((number(TagId(index))?.0, Tag { parent: tag.parent.and_then(number), ..tag }))
            })
            .collect();
        sorted.sort_unstable_by_key(|(number, _)| *number);
        sorted.into_iter().map(|(_, tag)| tag).collect()
    }

    /// A piece, or what to set in its place when no page can hold it.
    fn whole_or_parts(&mut self, piece: Piece, room: f32, into: &mut Vec<Piece>) {
        if piece.height <= room + 0.01 || piece.parts.is_empty() {
            into.push(piece);
            return;
        }
        self.too_tall(piece.origin, piece.height - room);
        let (keep, cling) = (piece.keep, piece.cling);
        for part in piece.parts {
            self.whole_or_parts(part, room, into);
        }
        if let Some(last) = into.last_mut() {
            (last.keep, last.cling) = (keep, cling);
        }
    }

    /// The step rule: level, down by half a line, level.
    pub(super) fn step_rule(&self, piece: &mut Piece, step_x: f32, right: f32, y: f32) {
        let segments = vec![
            Segment::Move(self.grid.label_x, y),
            Segment::Line(step_x, y),
            Segment::Line(step_x, y + STEP),
            Segment::Line(right, y + STEP),
        ];
        piece.path(None, segments, None, Some((STEP_WIDTH, self.document.style.firm_ink())));
    }

    /// One line of text that is not part of the document's structure.
    pub(super) fn stray(
        &mut self,
        piece: &mut Piece,
        words: &str,
        look: &Look,
        (x, y): (f32, f32),
        end: bool,
        tag: Option<TagId>,
    ) -> f32 {
        let set = self.set(&[Inline::Text(words.to_owned())], look, 1.0e6);
        let mut width = 0.0;
        for line in set.lines {
            width = line.width;
            let x = if end { x - line.width } else { x };
            let frame = (0.0, self.grid.page_width);
            self.put_line(piece, line, (x, y), frame, tag, &mut Links::new(&[]));
        }
        width
    }

    fn running(&mut self, index: usize, count: usize, head: bool) -> Piece {
        let grid = self.grid;
        let running = &self.document.running;
        let right = grid.number_x + grid.number_width;
        let mut piece = Piece::default();
        if head {
            let bold = Look::sans(9.0, LINE).faces(Face::SansSemibold, Face::SansSemibold, Face::SansItalic);
            // The rule's high side stands 7/4 of a unit over the text, as on the first page.
            let y = grid.top - 24.3;
            self.stray(&mut piece, &running.high, &bold, (grid.label_x, y - 6.4), false, None);
            let low = Look::sans(9.0, LINE).ink(Ink::Quiet);
            self.stray(&mut piece, &running.low, &low, (grid.main_x, y + 0.1), false, None);
            self.step_rule(&mut piece, grid.label_x + grid.label_width, right, y);
        }
        let foot = Look::sans(8.0, 9.75).ink(Ink::Quiet);
        let y = grid.page_height - 14.0 * MM;
        self.stray(&mut piece, &running.foot_left, &foot, (grid.label_x, y), false, None);
        let mut x = grid.main_x;
        for words in &running.foot_middle {
            x += self.stray(&mut piece, words, &foot, (x, y), false, None) + 14.0;
        }
        self.stray(&mut piece, &format!("{} of {count}", index + 1), &foot, (right, y), true, None);
        piece
    }

    /// The firm's head; gives back where the text below it starts.
    fn letterhead(&mut self, letterhead: &Letterhead) -> (Piece, f32) {
        let grid = self.grid;
        let right = grid.number_x + grid.number_width;
        let top = grid.first_top;
        let mut piece = Piece::default();
        let height = 17.0 * MM;
        let mut bottom = top + height;
        match &letterhead.art {
            Some(art) => {
                let tag = self.tag(Role::Figure { alternative: letterhead.name.clone(), bounds: None });
                let bounds =
                    put_art(&mut piece, art, Bounds { x: grid.label_x, y: top, width: 80.0 * MM, height }, tag);
                piece.figures.push((tag, bounds));
            }
            None => {
                let name = Look::sans(27.0, 32.0).faces(Face::DisplaySemibold, Face::DisplaySemibold, Face::Display);
                let name = name.ink(self.document.style.firm_ink()).proportional();
                let tag = self.tag(Role::Paragraph);
                let y = top + 21.8;
                let width = self.stray(&mut piece, &letterhead.name, &name, (grid.label_x, y), false, Some(tag));
                if grid.label_x + width > right {
                    self.findings.push(super::Finding::TooWide { origin: None, by: grid.label_x + width - right });
                }
                let trade = Look::sans(9.0, LINE).ink(Ink::Quiet);
                let tag = self.tag(Role::Paragraph);
                self.stray(&mut piece, &letterhead.trade, &trade, (grid.label_x, y + 18.4), false, Some(tag));
                bottom = bottom.min(top + 48.0);
            }
        }
        let address = Look::sans(8.0, 10.5).ink(Ink::Quiet);
        if !letterhead.address.is_empty() {
            let mut y = top + 7.4;
            for line in &letterhead.address {
                let tag = self.tag(Role::Paragraph);
                match mail(line) {
                    Some(lead) => {
                        let leads = [lead];
                        let set = self.set(&[Inline::Text(line.clone())], &address, 1.0e6);
                        for mut each in set.lines {
                            each.runs.iter_mut().for_each(|(_, link)| *link = Some(0));
                            let frame = (0.0, grid.page_width);
                            let place = (right - each.width, y);
                            self.put_line(&mut piece, each, place, frame, Some(tag), &mut Links::new(&leads));
                        }
                    }
                    None => {
                        self.stray(&mut piece, line, &address, (right, y), true, Some(tag));
                    }
                }
                y += address.leading;
            }
            bottom = bottom.max(y - address.leading + 6.0);
        }
        let y = bottom + 10.4;
        self.step_rule(&mut piece, grid.label_x + grid.label_width, right, y);
        (piece, y + STEP + 10.8)
    }
}

/// Where an address line leads if it is an e-mail address.
fn mail(line: &str) -> Option<Lead> {
    let (name, domain) = line.split_once('@')?;
    let bad = |c: char| c.is_whitespace() || c.is_control() || c == '@';
    if name.is_empty() || !domain.contains('.') || line.chars().filter(|&c| bad(c)).count() > 1 {
        return None;
    }
    let mut uri = "mailto:".to_owned();
    for byte in line.bytes() {
        let plain = byte.is_ascii_alphanumeric() || b"-._~@+!$'*".contains(&byte);
        uri += &if plain { char::from(byte).to_string() } else { format!("%{byte:02X}") };
    }
    Some(Lead { target: Target::Outside(uri), description: format!("write to {line}") })
}

/// The pages on which things came to stand.
fn survey(groups: &[Group], spots: &[Spot]) -> Places {
    let mut places = Places::default();
    for (piece, spot) in groups.iter().flat_map(|group| &group.pieces).zip(spots) {
        for mark in &piece.marks {
            places.marks.entry(*mark).or_default().insert(spot.page);
        }
        for (target, y) in &piece.anchors {
            places.anchors.entry(target.clone()).or_insert((spot.page, spot.y + y));
        }
    }
    places
}

/// Fits art into a box, at its lower left; gives back the box it fills.
fn put_art(piece: &mut Piece, art: &Art, frame: Bounds, tag: TagId) -> Bounds {
    let (width, height) = match art {
        Art::Vector { width, height, .. } => (*width, *height),
        Art::Raster { width, height, .. } => (*width as f32, *height as f32),
    };
    if !(width > 0.0 && height > 0.0) {
        return Bounds { height: 0.0, width: 0.0, ..frame };
    }
    let scale = (frame.width / width).min(frame.height / height);
    let bounds =
        Bounds { x: frame.x, y: frame.bottom() - height * scale, width: width * scale, height: height * scale };
    let point = |x: f32, y: f32| (bounds.x + x * scale, bounds.y + y * scale);
    match art {
        Art::Vector { paths, .. } => {
            for path in paths {
                let segments = path
                    .segments
                    .iter()
                    .map(|segment| match *segment {
                        Segment::Move(x, y) => {
                            let (x, y) = point(x, y);
                            Segment::Move(x, y)
                        }
                        Segment::Line(x, y) => {
                            let (x, y) = point(x, y);
                            Segment::Line(x, y)
                        }
                        Segment::Curve(a, b, c, d, x, y) => {
                            let ((a, b), (c, d), (x, y)) = (point(a, b), point(c, d), point(x, y));
                            Segment::Curve(a, b, c, d, x, y)
                        }
                        Segment::Close => Segment::Close,
                    })
                    .collect();
                let stroke = path.stroke.map(|(paint, width)| PathStroke {
                    width: width * scale,
                    paint: Paint::Rgb(paint),
                    dash: None,
                });
                let fill = path.fill.map(Paint::Rgb);
                let draw = Draw::Path { segments, fill, even_odd: path.even_odd, stroke };
                piece.items.push(DrawItem { tag: Some(tag), draw });
            }
        }
        Art::Raster { width, height, rgba } => {
            let draw = Draw::Image { bounds, width: *width, height: *height, rgba: rgba.clone() };
            piece.items.push(DrawItem { tag: Some(tag), draw });
        }
    }
    bounds
}

/// Line numbers in the number column are drawn after the paragraph or table row they belong to, not between its lines or cells.
fn marks_after_text(page: &mut Page, tags: &[crate::page::display::Tag]) {
    let links: BTreeSet<TagId> = page.links.iter().filter_map(|link| link.tag).collect();
    let parent = |tag: TagId| tags.get(tag.0 as usize).and_then(|tag| tag.parent);
    // A row comes out whole, from its name to its last cell, before the numbers that prove it.
    let row_of = |tag: TagId| match tags.get(tag.0 as usize).map(|tag| &tag.role) {
        Some(Role::Cell | Role::HeadCell(_)) => parent(tag).unwrap_or(tag),
        _ => tag,
    };
    let mut waiting: BTreeMap<TagId, Vec<DrawItem>> = BTreeMap::new();
    let mut items = Vec::with_capacity(page.items.len());
    let belongs = |tag: Option<TagId>, to: TagId| {
        let mut at = tag;
        while let Some(tag) = at {
            if tag == to {
                return true;
            }
            at = parent(tag);
        }
        false
    };
    for item in std::mem::take(&mut page.items) {
        let done: Vec<TagId> =
            waiting.keys().copied().filter(|&to| item.tag.is_some() && !belongs(item.tag, to)).collect();
        for to in done {
            items.extend(waiting.remove(&to).into_iter().flatten());
        }
        let mark = match (&item.draw, item.tag) {
            (Draw::Text(run), Some(tag)) if links.contains(&tag) && run.frame.width < 90.0 && run.size < 8.0 => {
                parent(tag).filter(|_| matches!(run.face, Face::SansSemibold)).map(row_of)
            }
            _ => None,
        };
        match mark {
            Some(to) => waiting.entry(to).or_default().push(item),
            None => items.push(item),
        }
    }
    items.extend(waiting.into_values().flatten());
    page.items = items;
}
