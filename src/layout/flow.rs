//! The blocks of a report as pieces.

use crate::page::display::{Bounds, Role, Tag, TagId, Target};
use crate::page::{
    Block, BlockKind, Drawing, Face, Heading, HeadingLook, Ink, Inline, Labelled, Paragraph, ParagraphLook, Segment,
    Step, Weight,
};

use super::piece::{Piece, stack};
use super::text::{Look, baseline};
use super::{Finding, Links, Setter, breaks, has_strong, plain};

/// Half a line: the smallest space between blocks.
pub(super) const HALF: f32 = 6.5;
/// The baseline grid.
pub(super) const LINE: f32 = 13.0;

/// A column and the look of text in it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) x: f32,
    pub(super) width: f32,
    pub(super) look: Look,
    /// Whether this is the page's own main column, whose lines stand on the grid.
    pub(super) main: bool,
}

impl Place {
    fn column(&self) -> (f32, f32) {
        (self.x, self.width)
    }
}

impl Setter<'_> {
    pub(super) fn main_place(&self) -> Place {
        Place { x: self.grid.main_x, width: self.grid.main_width, look: Look::serif(10.0, LINE), main: true }
    }

    pub(super) fn main_right(&self) -> f32 {
        self.grid.main_x + self.grid.main_width
    }

    fn label_right(&self) -> f32 {
        self.grid.label_x + self.grid.label_width
    }

    /// Sets blocks one under another.
    pub(super) fn blocks(&mut self, blocks: &[Block], place: &Place) -> Vec<Piece> {
        let mut pieces: Vec<Piece> = Vec::new();
        let mut new_page = false;
        for (index, block) in blocks.iter().enumerate() {
            if matches!(block.kind, BlockKind::NewPart) {
                new_page = true;
                continue;
            }
            let mut set = self.block(blocks, index, place);
            if let Some(last) = pieces.last_mut() {
                let (keep, cling) = tie(blocks, index);
                (last.keep, last.cling) = (last.keep || keep, last.cling.max(cling));
            }
            if let Some(first) = set.first_mut() {
                first.new_page = std::mem::take(&mut new_page);
                if pieces.is_empty() && !place.main {
                    first.before = 0.0;
                }
            }
            pieces.append(&mut set);
        }
        pieces
    }

    /// Sets one of several blocks.
    pub(super) fn block(&mut self, blocks: &[Block], index: usize, place: &Place) -> Vec<Piece> {
        let Some(block) = blocks.get(index) else { return Vec::new() };
        let outer = self.origin;
        self.origin = block.origin.or(outer);
        if place.main {
            self.seen.clear();
        }
        let next = blocks.get(index + 1).map(|block| &block.kind);
        let mut set = match &block.kind {
            BlockKind::NewPart => Vec::new(),
            BlockKind::Heading(heading) => self.heading(heading, next, place),
            BlockKind::Paragraph(paragraph) => self.text_block(paragraph, place),
            BlockKind::List { start, items } => self.list(*start, items, place),
            BlockKind::Steps(steps) => self.steps(steps),
            BlockKind::Labelled(rows) => self.labelled(rows, place),
            BlockKind::Callout { weight, label, body } => self.callout(*weight, label, body),
            BlockKind::Table(table) => self.table(table),
            BlockKind::Drawing(drawing) => {
                let keep = matches!(next, Some(BlockKind::Table(_)));
                self.drawing(drawing, keep)
            }
            BlockKind::Photo(photo) => self.photo(photo),
            BlockKind::Lines(group) => self.lines(group),
        };
        for piece in &mut set {
            piece.origin = piece.origin.or(self.origin);
        }
        // What follows a heading belongs to it and stands close under it.
        if let (true, Some(BlockKind::Heading(heading)), Some(first)) =
            (place.main, before(blocks, index), set.first_mut())
        {
            first.before = match (&block.kind, heading.look) {
                (BlockKind::Heading(_) | BlockKind::Callout { .. }, _) => HALF,
                (BlockKind::Table(_), HeadingLook::Section | HeadingLook::Wide) => 3.25,
                (BlockKind::Lines(_), _) => first.before,
                _ => 0.0,
            };
            if matches!(block.kind, BlockKind::Steps(_)) {
                first.snap = false;
            }
        }
        self.origin = outer;
        set
    }

    fn heading(&mut self, heading: &Heading, next: Option<&BlockKind>, place: &Place) -> Vec<Piece> {
        let level = heading.level.clamp(1, 6).min(self.heading + 1);
        self.heading = level;
        self.sources = heading.anchor.as_deref() == Some("sources");
        let tag = self.tag(Role::Heading(level));
        let sans = Look::sans(11.0, LINE).faces(Face::SansSemibold, Face::SansBold, Face::SansSemibold);
        let display = |regular| Look::sans(22.0, 26.0).faces(regular, Face::DisplaySemibold, regular).proportional();
        let (look, before, pad) = match heading.look {
            HeadingLook::Verdict => (Look { size: 21.0, strong_size: 21.0, ..display(Face::Display) }, LINE, HALF),
            HeadingLook::Page => (display(Face::DisplaySemibold), LINE, HALF),
            HeadingLook::Section => (sans, LINE, 0.0),
            HeadingLook::Wide => (sans, LINE, 0.0),
        };
        let wide = heading.look == HeadingLook::Wide;
        let column = if wide { (self.grid.label_x, self.main_right() - self.grid.label_x) } else { place.column() };
        let mut text = self.block_of_text(&heading.text, &look, column, tag);
        text.height += pad;
        if pad > 0.0 {
            let mut padded = Piece::default();
            padded.take(text, pad);
            text = padded;
        }
        if !heading.label.is_empty() && !wide {
            let label_look = Look::sans(9.0, LINE).faces(Face::SansSemibold, Face::SansSemibold, Face::SansItalic);
            let label_tag = self.tag(Role::Paragraph);
            let column = (self.grid.label_x, self.grid.label_width);
            let label = self.block_of_text(&heading.label, &label_look, column, label_tag);
            text.take(label, pad + look.baseline() - label_look.baseline());
        }
        if wide {
            text.height += 3.25;
            if !matches!(next, Some(BlockKind::Steps(_) | BlockKind::Lines(_))) {
                let y = text.height;
                text.rule(self.grid.label_x, self.main_right(), y, 0.4, Ink::Rule);
                text.height += 3.25;
            }
        }
        text.before = before;
        text.snap = place.main;
        text.keep = true;
        let words = plain(&heading.text);
        text.outline = Some((level, words, 0.0));
        if let Some(anchor) = &heading.anchor {
            text.anchors.push((Target::Anchor(anchor.clone()), 0.0));
        }
        vec![text]
    }

    fn text_block(&mut self, paragraph: &Paragraph, place: &Place) -> Vec<Piece> {
        let tag = self.tag(Role::Paragraph);
        let quiet = paragraph.look == ParagraphLook::Quiet;
        let look = if quiet { Look::sans(8.0, 9.75).ink(Ink::Quiet) } else { place.look };
        let mut pieces = self.paragraph(&paragraph.text, &look, place.column(), tag);
        for (index, piece) in pieces.iter_mut().enumerate() {
            piece.snap = place.main && !quiet;
            piece.before = if index == 0 { HALF } else { 0.0 };
        }
        pieces
    }

    fn list(&mut self, start: Option<u64>, items: &[Vec<Block>], place: &Place) -> Vec<Piece> {
        let list = self.tag(Role::List { numbered: start.is_some() });
        let last = start.map(|start| start.saturating_add(items.len() as u64).saturating_sub(1));
        let indent = match last {
            _ if place.look.size > 14.0 => 26.0,
            _ if place.look.size > 11.5 => 19.5,
            Some(last) if last > 9 => 19.5,
            _ => LINE,
        };
        let mut pieces = Vec::new();
        for (index, item) in items.iter().enumerate() {
            let row = self.tag_in(list, Role::ListItem);
            let label_tag = self.tag_in(row, Role::Label);
            let words = match start {
                Some(start) => format!("{}", start.saturating_add(index as u64)),
                None => "•".to_owned(),
            };
            let faces = if start.is_some() { Face::SansSemibold } else { place.look.regular };
            let faces = if place.look.size > 11.5 { Face::SansBold } else { faces };
            let label_look = Look { regular: faces, ..place.look };
            let ticked = ticked(item);
            let words = if ticked.is_some() { Inline::TickBox } else { Inline::Text(words) };
            let item = ticked.as_deref().unwrap_or(item);
            let label = self.block_of_text(&[words], &label_look, (place.x, indent), label_tag);
            let body_tag = self.tag_in(row, Role::ListBody);
            let inner = Place { x: place.x + indent, width: place.width - indent, ..*place };
            let mut set = self.within(body_tag, |setter| setter.blocks(item, &inner));
            for (n, piece) in set.iter_mut().enumerate() {
                if n == 0 {
                    piece.before = match (index, place.main) {
                        (0, true) => HALF,
                        _ => 0.0,
                    };
                }
            }
            match set.first_mut() {
                Some(first) => {
                    let mut joined = label;
                    joined.before = first.before;
                    joined.snap = first.snap;
                    joined.keep = first.keep;
                    let body = std::mem::take(first);
                    joined.height = joined.height.max(body.height);
                    joined.take(body, 0.0);
                    *first = joined;
                }
                None => set.push(label),
            }
            pieces.append(&mut set);
        }
        pieces
    }

    fn steps(&mut self, steps: &[Step]) -> Vec<Piece> {
        let list = self.tag(Role::List { numbered: true });
        let (left, right) = (self.grid.label_x, self.main_right());
        let main = (self.grid.main_x, self.grid.main_width);
        let mut pieces = Vec::new();
        for (index, step) in steps.iter().enumerate() {
            self.seen.clear();
            let item = self.tag_in(list, Role::ListItem);
            let mut piece = Piece { before: if index == 0 { HALF } else { 0.0 }, ..Piece::default() };
            piece.rule(left, right, 0.0, 0.4, Ink::Rule);

            const AMOUNT: f32 = 19.0;
            let numeral = Look::sans(20.0, 26.0).faces(Face::Display, Face::Display, Face::Display);
            let numeral = numeral.ink(Ink::Accent).proportional();
            let label = self.tag_in(item, Role::Label);
            let words = [Inline::Text(format!("{}", index + 1))];
            let figure = self.block_of_text(&words, &numeral, (left, 25.7), label);
            piece.take(figure, AMOUNT - numeral.baseline());

            let body = self.tag_in(item, Role::ListBody);
            let when_look = Look::sans(9.0, LINE);
            let when_tag = self.tag_in(body, Role::Paragraph);
            let column = (left + 25.7, self.label_right() - left - 25.7 + 2.0);
            let when = self.block_of_text(&step.when, &when_look, column, when_tag);
            let when_bottom = if step.when.is_empty() { 0.0 } else { AMOUNT - when_look.baseline() + when.height };
            piece.take(when, AMOUNT - when_look.baseline());

            let amount_look = Look::sans(14.0, 17.0).faces(Face::SansSemibold, Face::SansSemibold, Face::SansSemibold);
            let amount_tag = self.tag_in(body, Role::Paragraph);
            let amount = self.block_of_text(&step.amount, &amount_look, main, amount_tag);
            let top = AMOUNT - amount_look.baseline();
            let mut y = top + amount.height;
            piece.take(amount, top);
            // From the amount's baseline to the first line of text it is 15.75 pt, a little more than the grid.
            y += 15.75 - (17.0 - amount_look.baseline()) - baseline(LINE);
            let place = Place { main: false, ..self.main_place() };
            let text = self.within(body, |setter| setter.blocks(&step.text, &place));
            let tall: f32 = text.iter().map(|piece| piece.before + piece.height).sum();
            if tall + y + 7.25 > self.grid.bottom - self.grid.top {
                // No page can hold it: its head, then its text line by line.
                let mut head = piece.clone();
                head.height = y.max(when_bottom);
                head.keep = true;
                piece.parts.push(head);
                piece.parts.extend(text.iter().cloned());
            }
            if !text.is_empty() {
                let text = stack(text);
                let height = text.height;
                piece.take(text, y);
                y += height;
            }
            piece.height = y.max(when_bottom) + 7.25;
            piece.snap = index == 0;
            pieces.push(piece);
        }
        pieces
    }

    fn labelled(&mut self, rows: &[Labelled], place: &Place) -> Vec<Piece> {
        let list = self.tag(Role::List { numbered: false });
        // Plain labels name data; where every label is strong, they head sentences.
        let prose = rows.iter().all(|row| has_strong(&row.label));
        let look = if prose { Look::serif(10.0, LINE) } else { Look::sans(9.0, LINE) };
        let long = rows.iter().any(|row| {
            row.body.len() > 1
                || row.body.iter().any(|block| match &block.kind {
                    BlockKind::Paragraph(paragraph) => self.natural(&paragraph.text, &look) > place.width,
                    _ => true,
                })
        });
        let mut pieces = Vec::new();
        for (index, row) in rows.iter().enumerate() {
            self.seen.clear();
            let item = self.tag_in(list, Role::ListItem);
            let label_look = Look::sans(9.0, LINE);
            let label_tag = self.tag_in(item, Role::Label);
            let label =
                self.block_of_text(&row.label, &label_look, (self.grid.label_x, self.grid.label_width), label_tag);
            let body_tag = self.tag_in(item, Role::ListBody);
            let inner = Place { look, ..*place };
            let mut set = self.within(body_tag, |setter| setter.blocks(&row.body, &inner));
            let before = match index {
                0 => HALF,
                _ if prose => HALF,
                _ if long => HALF / 2.0,
                _ => 0.0,
            };
            if long && !prose && index > 0 {
                for piece in &mut set {
                    piece.snap = false;
                }
            }
            let body_height: f32 = set.iter().map(|piece| piece.height).sum();
            let mut joined = label;
            let label_height = joined.height;
            joined.before = before;
            joined.snap = place.main && (prose || !long || index == 0);
            match set.first_mut() {
                Some(first) => {
                    joined.keep = first.keep;
                    joined.height = first.height;
                    let body = std::mem::take(first);
                    joined.take(body, 0.0);
                    joined.height = joined.height.max(LINE);
                    *first = joined;
                    if label_height > body_height {
                        if let Some(last) = set.last_mut() {
                            last.height += label_height - body_height;
                        }
                        for piece in &mut set {
                            piece.keep = true;
                        }
                        if let Some(last) = set.last_mut() {
                            last.keep = false;
                        }
                    }
                }
                None => set.push(joined),
            }
            // Another template line's page break may fall between rows, not before the second line of a label.
            pieces.append(&mut set);
        }
        pieces
    }

    fn callout(&mut self, weight: Weight, label: &[Inline], body: &[Block]) -> Vec<Piece> {
        let tag = self.tag(Role::Section);
        let word = match weight {
            Weight::Note => "Note",
            Weight::Care => "Take care",
            Weight::Danger => "Danger",
        };
        let own = [Inline::Text(word.to_owned())];
        let label = if label.is_empty() { &own[..] } else { label };
        self.title(tag, plain(label));
        let label_tag = self.tag_in(tag, Role::Paragraph);
        let grid = self.grid;
        let label_column = (grid.label_x, grid.label_width);
        let mut whole = Piece { before: LINE, origin: self.origin, ..Piece::default() };
        let care_faces = |look: Look| look.faces(Face::Sans, Face::SansBold, Face::SansItalic);
        let main_x = grid.main_x;
        let (place, label_look, text_top) = match weight {
            Weight::Note => (
                Place { look: Look::serif(9.5, LINE), main: false, x: main_x, width: grid.main_width },
                Look::sans(10.0, LINE).faces(Face::SerifItalic, Face::SerifItalic, Face::SerifItalic),
                2.3,
            ),
            Weight::Care => (
                Place {
                    look: care_faces(Look::sans(10.0, LINE)),
                    main: false,
                    x: main_x + 11.5,
                    width: grid.main_width - 11.5,
                },
                Look::sans(11.0, LINE).faces(Face::SansBold, Face::SansBold, Face::SansBold),
                0.0,
            ),
            Weight::Danger => (
                Place {
                    look: care_faces(Look::sans(11.0, 15.0)),
                    main: false,
                    x: main_x,
                    width: grid.main_width - 13.0,
                },
                Look::sans(15.0, 17.0).faces(Face::SansBold, Face::SansBold, Face::SansBold).ink(Ink::Paper),
                17.7 - baseline(15.0),
            ),
        };
        let label_piece = if weight == Weight::Danger {
            self.block_of_text(label, &label_look, (grid.label_x + 12.0, grid.label_width - 16.0), label_tag)
        } else {
            self.block_of_text(label, &label_look, label_column, label_tag)
        };
        let parts = self.within(tag, |setter| setter.blocks(body, &place));
        let text = stack(parts.clone());
        let text_height = text.height;
        let text_bottom = text_top + text_height;
        match weight {
            Weight::Note => {
                whole.rule(grid.label_x, self.label_right(), 0.0, 0.4, Ink::Rule);
                whole.rule(main_x, self.main_right(), 0.0, 0.4, Ink::Rule);
                let label_bottom = text_top + label_piece.height;
                whole.take(label_piece, text_top);
                whole.take(text, text_top);
                whole.height = text_bottom.max(label_bottom);
            }
            Weight::Care => {
                let bar = Bounds { x: main_x, y: 0.7, width: 3.0, height: text_height - 1.7 };
                whole.fill(bar, Ink::Ink);
                let label_bottom = label_piece.height;
                whole.take(label_piece, 0.0);
                whole.take(text, text_top);
                whole.height = text_bottom.max(label_bottom);
            }
            Weight::Danger => {
                let label_height = label_piece.height;
                let height = (text_bottom + 8.75).max(label_height + 43.0);
                let frame = Bounds { x: grid.label_x, y: 0.0, width: self.main_right() - grid.label_x, height };
                let block = Bounds { width: grid.label_width, ..frame };
                whole.fill(block, Ink::Ink);
                let inset = Bounds { x: frame.x + 0.75, y: 0.75, width: frame.width - 1.5, height: frame.height - 1.5 };
                whole.path(None, super::piece::rectangle(inset), None, Some((1.5, Ink::Ink)));
                // The triangle stands over the label; both are centred in the block's height.
                let sign = 25.5;
                let top = ((height - (sign * 0.87 + 3.0 + label_height)) / 2.0).max(6.0) - 1.0;
                warning(&mut whole, grid.label_x + 12.0, top, sign);
                whole.take(label_piece, top + sign * 0.87 + 3.0);
                let shift = ((height - (text_height + text_top + 8.75)) / 2.0).max(0.0);
                whole.take(text, text_top + shift);
                whole.height = height;
            }
        }
        whole.parts = parts;
        if let Some(first) = whole.parts.first_mut() {
            first.before = LINE;
        }
        vec![whole]
    }

    fn drawing(&mut self, drawing: &Drawing, keep: bool) -> Vec<Piece> {
        let cling = if keep { breaks::ONE_BLOCK } else { 0.0 };
        let mut piece = Piece { before: HALF, height: drawing.height, cling, ..Piece::default() };
        self.put_drawing(&mut piece, drawing, self.grid.main_x, 0.0, None);
        if !drawing.marks.is_empty() {
            let tag = self.tag(Role::Paragraph);
            for mark in &drawing.marks {
                self.put_marks(&mut piece, &mark.lines, mark.y, Some(tag));
            }
        }
        vec![piece]
    }

    /// A head over numbered lines or rows, in the label column, with a heavy rule under it.
    pub(super) fn group_head(&mut self, title: &str, tag: Option<TagId>, continued: bool) -> Piece {
        let look = Look::sans(9.0, LINE).faces(Face::SansSemibold, Face::SansSemibold, Face::SansItalic);
        let mut words = vec![Inline::Text(title.to_owned())];
        if continued {
            words.push(Inline::Text(", continued".to_owned()));
        }
        let column = (self.grid.label_x, self.main_right() - self.grid.label_x);
        let mut piece = Piece { keep: true, ..Piece::default() };
        let set = self.set(&words, &look, column.1);
        let mut y = look.baseline();
        let mut links = Links::new(&[]);
        for line in set.lines {
            self.put_line(&mut piece, line, (column.0, y), column, tag, &mut links);
            y += LINE;
        }
        y += 5.0 - LINE;
        piece.rule(column.0, column.0 + column.1, y, 0.8, Ink::Ink);
        piece.height = y;
        piece
    }

    /// Reports a block that is taller than its page.
    pub(super) fn too_tall(&mut self, origin: Option<crate::page::Origin>, by: f32) {
        self.findings.push(Finding::TooTall { origin, by });
    }

    /// The tags, handed over at the end of a pass.
    pub(super) fn take_tags(&mut self) -> Vec<Tag> {
        std::mem::take(&mut self.tags)
    }
}

fn before(blocks: &[Block], index: usize) -> Option<&BlockKind> {
    index.checked_sub(1).and_then(|before| blocks.get(before)).map(|block| &block.kind)
}

/// What holds a block to the one before it: whether they are never parted, and what it costs to part them. The key under a
/// table stays with it, a list with the words that announce it, a danger with what it guards.
pub(super) fn tie(blocks: &[Block], index: usize) -> (bool, f32) {
    let (Some(block), Some(before)) = (blocks.get(index), before(blocks, index)) else { return (false, 0.0) };
    let key = matches!(&block.kind, BlockKind::Paragraph(paragraph) if paragraph.look == ParagraphLook::Quiet)
        && matches!(before, BlockKind::Table(_) | BlockKind::Drawing(_));
    let guards = matches!(&block.kind, BlockKind::Callout { weight: Weight::Danger, .. });
    (key || announces(before), if guards { breaks::GUARDED } else { 0.0 })
}

/// Whether a paragraph ends with a colon: what follows belongs to it.
fn announces(block: &BlockKind) -> bool {
    let BlockKind::Paragraph(paragraph) = block else { return false };
    plain(paragraph.text.get(paragraph.text.len().saturating_sub(1)..).unwrap_or(&[])).trim_end().ends_with(':')
}

/// An item that starts with a box to tick, without it: the box stands in the place of the bullet.
fn ticked(item: &[Block]) -> Option<Vec<Block>> {
    let (first, others) = item.split_first()?;
    let BlockKind::Paragraph(paragraph) = &first.kind else { return None };
    let (Inline::TickBox, rest) = paragraph.text.split_first()? else { return None };
    let text = Paragraph { look: paragraph.look, text: rest.to_vec() };
    let first = Block { kind: BlockKind::Paragraph(text), origin: first.origin };
    Some(std::iter::once(first).chain(others.iter().cloned()).collect())
}

/// The warning sign: a white triangle with an exclamation mark, on a ground of ink.
pub(super) fn warning(piece: &mut Piece, x: f32, y: f32, width: f32) {
    let height = width * 0.87;
    let triangle = vec![
        Segment::Move(x, y + height),
        Segment::Line(x + width / 2.0, y),
        Segment::Line(x + width, y + height),
        Segment::Close,
    ];
    piece.path(None, triangle, Some(Ink::Paper), None);
    let middle = x + width / 2.0;
    let (top, foot) = (y + height * 0.36, y + height * 0.70);
    let (broad, narrow) = (width * 0.055, width * 0.032);
    let stem = vec![
        Segment::Move(middle - broad, top),
        Segment::Line(middle + broad, top),
        Segment::Line(middle + narrow, foot),
        Segment::Line(middle - narrow, foot),
        Segment::Close,
    ];
    piece.path(None, stem, Some(Ink::Ink), None);
    let r = width * 0.052;
    let centre = y + height * 0.825;
    piece.path(None, circle(middle, centre, r), Some(Ink::Ink), None);
}

/// A circle of four curves.
pub(super) fn circle(x: f32, y: f32, r: f32) -> Vec<Segment> {
    let k = r * 0.552_285;
    vec![
        Segment::Move(x + r, y),
        Segment::Curve(x + r, y + k, x + k, y + r, x, y + r),
        Segment::Curve(x - k, y + r, x - r, y + k, x - r, y),
        Segment::Curve(x - r, y - k, x - k, y - r, x, y - r),
        Segment::Curve(x + k, y - r, x + r, y - k, x + r, y),
        Segment::Close,
    ]
}
