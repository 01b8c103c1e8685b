//! The sheet that hangs on a nail: one page, amounts to be read from two metres, black but for the step rule.

use crate::page::display::{Bounds, Page, Role, Scope, Target};
use crate::page::style::MM;
use crate::page::{
    Block, BlockKind, Face, Heading, HeadingLook, Ink, Inline, Labelled, Paragraph, ParagraphLook, Step, Table, Weight,
};

use super::flow::{Place, circle, warning};
use super::pages::{Book, STEP};
use super::piece::{Piece, stack};
use super::text::{Look, baseline};
use super::{Finding, Links, Setter, plain};

/// Sizes in points, and distances, on one size of sheet. A size is followed by its leading.
struct Sizes {
    /// The amounts, and the least they may shrink to.
    amount: f32,
    least_amount: f32,
    unit: f32,
    /// How far a row's baselines of amount and first line stand apart at full size.
    drop: f32,
    what: (f32, f32),
    how: (f32, f32),
    section: (f32, f32),
    /// Over a section's rule, and from the rule to its words.
    apart: (f32, f32),
    title: (f32, f32),
    /// From the top of the sheet's text to the step rule, and the baselines of title, site and date in it.
    head: f32,
    head_lines: [f32; 3],
    /// From the low side of the step rule to the first section.
    after_head: f32,
    ring: f32,
    /// A row of boxes to tick.
    tick: (f32, f32),
    tick_gap: f32,
    /// The emergency block: its head, the words in it, its steps.
    alarm_head: f32,
    alarm: (f32, f32),
    steps: (f32, f32),
    /// Between its frame and its words.
    pad: f32,
}

/// A4 and Letter: amounts 54 pt, whose digits at two metres are twice as high as half of normal sight needs.
const LARGE: Sizes = Sizes {
    amount: 54.0,
    least_amount: 44.0,
    unit: 22.0,
    drop: 24.5,
    what: (18.0, 22.0),
    how: (14.0, 18.0),
    section: (13.0, 17.0),
    apart: (8.0, 4.0),
    title: (30.0, 34.0),
    head: 36.9,
    head_lines: [25.1, 10.6, 28.6],
    after_head: 20.0,
    ring: 8.0 * MM,
    tick: (18.0, 28.0),
    tick_gap: 30.0,
    alarm_head: 40.0,
    alarm: (24.0, 28.0),
    steps: (17.0, 22.5),
    pad: 14.6,
};

/// A5 and Half Letter: amounts 40 pt and no less, text 12 pt.
const SMALL: Sizes = Sizes {
    amount: 40.0,
    least_amount: 40.0,
    unit: 14.0,
    drop: 18.5,
    what: (13.5, 16.0),
    how: (12.0, 15.0),
    section: (12.0, 14.5),
    apart: (5.0, 2.5),
    title: (22.0, 25.0),
    head: 24.5,
    head_lines: [17.0, 7.4, 21.0],
    after_head: 11.0,
    ring: 5.5 * MM,
    tick: (13.5, 22.0),
    tick_gap: 8.0,
    alarm_head: 27.0,
    alarm: (18.0, 21.0),
    steps: (12.0, 15.0),
    pad: 9.0,
};

/// Between an amount and what it is of, at least.
const AMOUNT_GAP: f32 = 6.0;

impl Setter<'_> {
    fn sizes(&self) -> &'static Sizes {
        if self.document.style.paper.is_small() { &SMALL } else { &LARGE }
    }

    /// How far above the first section the sheet's text begins.
    fn head_height(&self) -> f32 {
        self.sizes().head + STEP + self.sizes().after_head
    }

    pub(super) fn poster(&mut self) -> Book {
        let mut size = self.sizes().amount;
        if self.document.style.paper.is_small() {
            self.narrow_amounts(size);
        }
        loop {
            let before = (self.tags.clone(), self.findings.clone(), self.references.clone());
            let (body, foot) = self.sheet(size);
            let used: f32 = body.iter().enumerate().map(|(n, p)| p.height + if n > 0 { p.before } else { 0.0 }).sum();
            let top = self.grid.first_top + self.head_height();
            let room = self.grid.bottom - top - foot.as_ref().map_or(0.0, |foot| foot.height + 9.0);
            if used > room + 0.01 && size > self.sizes().least_amount {
                (self.tags, self.findings, self.references) = before;
                size -= 2.0;
                continue;
            }
            if used > room + 0.01 {
                self.findings.push(Finding::TooTall { origin: None, by: used - room });
            }
            return self.hang(body, foot, top);
        }
    }

    /// On a small sheet the amounts take only the width they need: what they are of then breaks over fewer lines.
    fn narrow_amounts(&mut self, size: f32) {
        let (right, gutter) = (self.main_right(), self.grid.main_x - self.grid.label_x - self.grid.label_width);
        let rows = self.document.blocks.iter().filter_map(|block| match &block.kind {
            BlockKind::Labelled(rows) => Some(rows),
            _ => None,
        });
        let look = self.amount_look(size);
        let widest = rows.flatten().map(|row| self.natural(&row.label, &look)).fold(0.0, f32::max);
        self.grid.label_width = (widest + AMOUNT_GAP).clamp(40.0 * MM, 70.0 * MM);
        self.grid.main_x = self.grid.label_x + self.grid.label_width + gutter;
        self.grid.main_width = right - self.grid.main_x;
    }

    fn amount_look(&self, size: f32) -> Look {
        Look {
            strong_size: size,
            space: 1.8,
            ..Look::sans(self.sizes().unit, size * 0.9).faces(Face::SansSemibold, Face::SansBold, Face::SansSemibold)
        }
    }

    fn hang(&mut self, body: Vec<Piece>, foot: Option<Piece>, top: f32) -> Book {
        let mut book = Book::default();
        book.pages.push(Page::default());
        let mut y = top;
        for (index, piece) in body.into_iter().enumerate() {
            if index > 0 {
                y += piece.before;
            }
            let height = piece.height;
            book.place(piece, y, self);
            y += height;
        }
        if let Some(foot) = foot {
            let y = self.grid.bottom - foot.height;
            book.place(foot, y, self);
        }
        book
    }

    fn full(&self) -> (f32, f32) {
        (self.grid.label_x, self.main_right() - self.grid.label_x)
    }

    fn small(&self) -> Look {
        let (size, leading) = self.sizes().how;
        Look::sans(size, leading).faces(Face::Sans, Face::SansBold, Face::SansItalic)
    }

    /// The pieces of the sheet, and the emergency block that stands at its foot.
    fn sheet(&mut self, size: f32) -> (Vec<Piece>, Option<Piece>) {
        let blocks = &self.document.blocks;
        let mut pieces: Vec<Piece> = Vec::new();
        let mut foot = None;
        let mut sections = 0;
        self.heading = 0;
        let title = blocks.iter().find_map(|block| match &block.kind {
            BlockKind::Heading(heading) if heading.look == HeadingLook::Page => Some(heading),
            _ => None,
        });
        let mut head = self.sheet_head(title);
        head.height = 0.0;
        pieces.push(head);
        for block in blocks {
            self.origin = block.origin;
            let mut set = match &block.kind {
                BlockKind::Heading(heading) if title.is_some_and(|title| std::ptr::eq(title, heading)) => continue,
                BlockKind::Heading(heading) => {
                    sections += 1;
                    self.section(heading, sections > 1)
                }
                BlockKind::Labelled(rows) => rows.iter().map(|row| self.amount_row(row, size)).collect(),
                BlockKind::Drawing(drawing) => {
                    let mut piece = Piece { before: 6.0, height: drawing.height + 2.0, ..Piece::default() };
                    self.put_drawing(&mut piece, drawing, self.grid.label_x, 0.0, None);
                    vec![piece]
                }
                BlockKind::Callout { weight: Weight::Danger, label, body } => {
                    let block = self.emergency(label, body);
                    foot = Some(match foot.take() {
                        None => block,
                        Some(above) => stack(vec![above, Piece { before: 8.0, ..block }]),
                    });
                    continue;
                }
                _ => {
                    let place = Place { x: self.full().0, width: self.full().1, look: self.small(), main: false };
                    let mut set = self.sheet_block(block, &place);
                    if let Some(first) = set.first_mut() {
                        first.before = 3.0;
                    }
                    set
                }
            };
            pieces.append(&mut set);
        }
        self.origin = None;
        (pieces, foot)
    }

    fn sheet_head(&mut self, title: Option<&Heading>) -> Piece {
        let grid = self.grid;
        let right = self.main_right();
        // The head is drawn upward from the top of the first section.
        let sizes = self.sizes();
        let top = -self.head_height();
        let mut piece = Piece::default();
        let ring = circle(grid.page_width / 2.0, top - grid.first_top + sizes.ring, 2.5 * MM);
        piece.path(None, ring, None, Some((0.5, Ink::Ink)));
        let [title_y, high_y, low_y] = sizes.head_lines;
        let display =
            Look::sans(sizes.title.0, sizes.title.1).faces(Face::DisplaySemibold, Face::DisplaySemibold, Face::Display);
        let words = title.map_or_else(|| self.document.title.clone(), |title| plain(&title.text));
        self.heading = 1;
        let tag = self.tag(Role::Heading(1));
        self.origin = None;
        self.stray(&mut piece, &words, &display.proportional(), (grid.label_x, top + title_y), false, Some(tag));
        piece.outline = Some((1, words, top));
        if let Some(anchor) = title.and_then(|title| title.anchor.clone()) {
            piece.anchors.push((Target::Anchor(anchor), top));
        }
        let running = self.document.running.clone();
        let small = self.small();
        let bold = small.faces(Face::SansBold, Face::SansBold, Face::SansBold);
        let tag = self.tag(Role::Paragraph);
        self.stray(&mut piece, &running.high, &bold, (right, top + high_y), true, Some(tag));
        let tag = self.tag(Role::Paragraph);
        self.stray(&mut piece, &running.low, &small, (right, top + low_y), true, Some(tag));
        self.step_rule(&mut piece, grid.label_x + grid.label_width, right, top + sizes.head);
        piece
    }

    fn section(&mut self, heading: &Heading, rule: bool) -> Vec<Piece> {
        let level = heading.level.clamp(1, 6).min(self.heading + 1);
        self.heading = level;
        let tag = self.tag(Role::Heading(level));
        let (size, leading) = self.sizes().section;
        let look =
            Look::sans(size, leading).faces(Face::SansSemibold, Face::SansBold, Face::SansSemibold).ink(Ink::Quiet);
        let text = self.block_of_text(&heading.text, &look, self.full(), tag);
        let mut piece = Piece { before: if rule { self.sizes().apart.0 } else { 0.0 }, ..Piece::default() };
        let top = if rule { self.sizes().apart.1 } else { -2.0 };
        if rule {
            piece.rule(self.full().0, self.main_right(), 0.0, 1.2, Ink::Ink);
        }
        piece.take(text, top);
        piece.height += 2.4;
        piece.outline = Some((level, plain(&heading.text), 0.0));
        if let Some(anchor) = &heading.anchor {
            piece.anchors.push((Target::Anchor(anchor.clone()), 0.0));
        }
        vec![piece]
    }

    fn amount_row(&mut self, row: &Labelled, size: f32) -> Piece {
        let (grid, sizes) = (self.grid, self.sizes());
        let list = self.tag(Role::List { numbered: false });
        let item = self.tag_in(list, Role::ListItem);
        let label_tag = self.tag_in(item, Role::Label);
        let room = grid.main_x - grid.label_x - AMOUNT_GAP;
        // A long amount shrinks before it is broken over two lines.
        let mut strong = size;
        while strong > sizes.least_amount && self.natural(&row.label, &self.amount_look(strong)) > room {
            strong -= 2.0;
        }
        let look = self.amount_look(strong);
        let first = Look::sans(sizes.what.0, sizes.what.1);
        let drop = sizes.drop * size / sizes.amount;
        let y = first.baseline() + drop;
        let mut piece = Piece::default();
        let label = self.block_of_text(&row.label, &look, (grid.label_x, room), label_tag);
        let label_bottom = y - look.baseline() + label.height;
        let empty = row.label.is_empty();
        piece.take(label, y - look.baseline());
        let body_tag = self.tag_in(item, Role::ListBody);
        let body = self.within(body_tag, |setter| setter.how(&row.body));
        let body_height = body.height;
        piece.take(body, 0.0);
        let least = if empty { 0.0 } else { (size * 0.9).max(label_bottom - 8.0) };
        piece.height = least.max(body_height + 4.0);
        piece
    }

    /// What an amount is of, and how it is given.
    fn how(&mut self, blocks: &[Block]) -> Piece {
        let place = Place { x: self.grid.main_x, width: self.grid.main_width, look: self.small(), main: false };
        let mut pieces = Vec::new();
        for (index, block) in blocks.iter().enumerate() {
            match &block.kind {
                BlockKind::Paragraph(paragraph) if index == 0 => {
                    let mut rest = &paragraph.text[..];
                    let tag = self.tag(Role::Paragraph);
                    if let Some((Inline::Strong(what), others)) = rest.split_first() {
                        let (size, leading) = self.sizes().what;
                        let what_look =
                            Look::sans(size, leading).faces(Face::SansSemibold, Face::SansBold, Face::SansItalic);
                        pieces.append(&mut self.paragraph(what, &what_look, (place.x, place.width), tag));
                        rest = others;
                    }
                    while let Some((first, others)) = rest.split_first()
                        && (matches!(first, Inline::Break) || plain(std::slice::from_ref(first)).trim().is_empty())
                        && !matches!(first, Inline::Mark(_) | Inline::TickBox)
                    {
                        rest = others;
                    }
                    pieces.append(&mut self.paragraph(rest, &place.look, (place.x, place.width), tag));
                }
                _ => pieces.append(&mut self.sheet_block(block, &place)),
            }
        }
        for piece in &mut pieces {
            piece.before = 0.0;
        }
        stack(pieces)
    }

    fn sheet_block(&mut self, block: &Block, place: &Place) -> Vec<Piece> {
        match &block.kind {
            BlockKind::Paragraph(paragraph) if paragraph.text.contains(&Inline::TickBox) => {
                self.tick_rows(&paragraph.text, place)
            }
            BlockKind::Table(table) => vec![self.small_table(table, place)],
            BlockKind::NewPart => Vec::new(),
            BlockKind::Callout { label, body, .. } => {
                let mut pieces = Vec::new();
                if !label.is_empty() {
                    let tag = self.tag(Role::Paragraph);
                    let bold = [Inline::Strong(label.clone())];
                    pieces = self.paragraph(&bold, &place.look, (place.x, place.width), tag);
                }
                pieces.extend(body.iter().flat_map(|block| self.sheet_block(block, place)));
                pieces
            }
            BlockKind::Steps(steps) => {
                let item = |step: &Step| {
                    let mut words = vec![Inline::Strong(step.amount.clone()), Inline::Text(" ".to_owned())];
                    words.extend(step.when.iter().cloned());
                    let text = Paragraph { look: ParagraphLook::Body, text: words };
                    let first = Block { kind: BlockKind::Paragraph(text), origin: block.origin };
                    std::iter::once(first).chain(step.text.iter().cloned()).collect()
                };
                let list = BlockKind::List { start: Some(1), items: steps.iter().map(item).collect() };
                self.blocks(&[Block { kind: list, origin: block.origin }], place)
            }
            BlockKind::Labelled(rows) => {
                rows.iter().map(|row| self.amount_row(row, self.sizes().least_amount)).collect()
            }
            BlockKind::Paragraph(paragraph) => {
                let tag = self.tag(Role::Paragraph);
                let mut pieces = self.paragraph(&paragraph.text, &place.look, (place.x, place.width), tag);
                if let Some(first) = pieces.first_mut() {
                    first.before = 0.0;
                }
                pieces
            }
            _ => self.blocks(std::slice::from_ref(block), place),
        }
    }

    /// Boxes a wet pencil can hit, each with its words, as many in a row as there is room for.
    fn tick_rows(&mut self, text: &[Inline], place: &Place) -> Vec<Piece> {
        let (size, row_height) = self.sizes().tick;
        let next_line = self.sizes().what.1;
        let side = 7.5 * MM;
        let look = Look::sans(size, row_height).faces(Face::SansSemibold, Face::SansBold, Face::SansItalic);
        let tag = self.tag(Role::Paragraph);
        let mut rows = vec![Piece { height: row_height + 3.0, ..Piece::default() }];
        let mut x = place.x;
        for (index, words) in text.split(|inline| matches!(inline, Inline::TickBox)).enumerate() {
            let ticked = index > 0;
            if words.is_empty() && !ticked {
                continue;
            }
            let lead = if ticked { side + 6.0 } else { 0.0 };
            let words: Vec<Inline> = match words.split_first() {
                Some((Inline::Text(first), others)) => {
                    std::iter::once(Inline::Text(first.trim_start().to_owned())).chain(others.iter().cloned()).collect()
                }
                _ => words.to_vec(),
            };
            let natural = self.natural(&words, &look);
            if x > place.x && x + lead + natural > place.x + place.width {
                rows.push(Piece { height: row_height + 3.0, ..Piece::default() });
                x = place.x;
            }
            let set = self.set(&words, &look, (place.width - lead).max(1.0));
            let Some(row) = rows.last_mut() else { break };
            let y = baseline(row_height) - 0.5;
            if ticked {
                let bounds = Bounds { x: x + 0.7, y: y - side + 4.3, width: side - 1.4, height: side - 1.4 };
                self.put_tick(row, bounds, 1.4, Some(tag));
            }
            let count = set.lines.len();
            let mut width = 0.0_f32;
            let mut links = Links::new(&set.links);
            for (n, line) in set.lines.into_iter().enumerate() {
                width = width.max(line.width);
                let y = y + n as f32 * next_line;
                self.put_line(row, line, (x + lead, y), (place.x, place.width), Some(tag), &mut links);
            }
            row.height = row.height.max(row_height + 3.0 + next_line * count.saturating_sub(1) as f32);
            x += lead + width + self.sizes().tick_gap;
        }
        rows
    }

    /// A few words in columns as wide as they need.
    fn small_table(&mut self, table: &Table, place: &Place) -> Piece {
        let tag = self.tag(Role::Table);
        self.title(tag, table.summary.clone());
        let look = place.look;
        let count = table.columns.len();
        let head = table.head.iter().any(|cell| !cell.is_empty()).then_some(&table.head);
        let rows: Vec<&Vec<Vec<Inline>>> = head.into_iter().chain(table.rows.iter().map(|row| &row.cells)).collect();
        let mut widths = vec![0.0_f32; count];
        for row in &rows {
            for (width, cell) in widths.iter_mut().zip(row.iter()) {
                *width = width.max(self.natural(cell, &look) + 20.0);
            }
        }
        let total: f32 = widths.iter().sum::<f32>() - 20.0;
        let scale = if total > place.width { place.width / total } else { 1.0 };
        let mut piece = Piece::default();
        let mut y = 0.0;
        for (r, row) in rows.into_iter().enumerate() {
            let row_tag = self.tag_in(tag, Role::Row);
            let mut x = place.x;
            let mut height = 0.0_f32;
            for (n, (cell, width)) in row.iter().zip(&widths).enumerate() {
                let role = match (r, n) {
                    (0, _) if head.is_some() => Role::HeadCell(Scope::Column),
                    (_, 0) => Role::HeadCell(Scope::Row),
                    _ => Role::Cell,
                };
                let cell_tag = self.tag_in(row_tag, role);
                let width = width * scale;
                let text = self.block_of_text(cell, &look, (x, width - 20.0 * scale), cell_tag);
                height = height.max(text.height);
                piece.take(text, y);
                x += width;
            }
            y += height;
        }
        piece.height = y;
        piece
    }

    fn emergency(&mut self, label: &[Inline], body: &[Block]) -> Piece {
        let sizes = self.sizes();
        let (left, width) = self.full();
        let tag = self.tag(Role::Section);
        let own = [Inline::Text("Danger".to_owned())];
        let label = if label.is_empty() { &own[..] } else { label };
        self.title(tag, plain(label));
        let level = (self.heading.min(1) + 1).min(6);
        let label_tag = self.tag_in(tag, Role::Heading(level));
        let look = Look::sans(sizes.alarm.0, sizes.alarm.1)
            .faces(Face::SansBold, Face::SansBold, Face::SansBold)
            .ink(Ink::Paper);
        let words = self.block_of_text(
            label,
            &look,
            (left + sizes.pad + sizes.alarm_head, width - 24.0 - sizes.alarm_head),
            label_tag,
        );
        let head = (words.height + 12.0).max(sizes.alarm_head);
        let place = Place {
            x: left + sizes.pad,
            width: width - 2.0 * sizes.pad,
            look: Look::sans(sizes.steps.0, sizes.steps.1).faces(Face::Sans, Face::SansBold, Face::SansItalic),
            main: false,
        };
        let text = self.within(tag, |setter| setter.blocks(body, &place));
        let text = stack(text);
        let height = head + 5.2 + text.height + 7.0;
        let mut piece = Piece { height, origin: self.origin, ..Piece::default() };
        piece.fill(Bounds { x: left, y: 0.0, width, height: head }, Ink::Ink);
        let frame = Bounds { x: left + 1.25, y: 1.25, width: width - 2.5, height: height - 2.5 };
        piece.path(None, super::piece::rectangle(frame), None, Some((2.5, Ink::Ink)));
        let sign = sizes.alarm_head * 0.7075;
        warning(&mut piece, left + sizes.pad, head / 2.0 - sign * 0.435, sign);
        let top = (head - words.height) / 2.0;
        piece.take(words, top);
        piece.take(text, head + 5.2);
        piece.height = height;
        piece.outline = Some((level, plain(label), 0.0));
        piece
    }
}
