//! Tables: the first column in the label column, the others on the main column.

use std::rc::Rc;

use crate::page::display::{Role, Scope, TagId};
use crate::page::{Align, Face, Ink, Inline, Table};

use super::flow::LINE;
use super::lines::before_point;
use super::piece::Piece;
use super::text::{Look, SetText, baseline};
use super::{Links, Setter, breaks, plain};

/// Room between columns.
const GUTTER: f32 = 9.0;
/// Height of a row of one line, and of one with a gauge.
const ROW: f32 = 19.5;
/// A table of no more rows than this is not spread over two pages if that can be helped.
const SMALL: usize = 8;

struct Columns {
    /// Left edge and width of the text in each.
    frames: Vec<(f32, f32)>,
    /// Where the decimal point stands in those that have one.
    points: Vec<f32>,
}

impl Setter<'_> {
    pub(super) fn table(&mut self, table: &Table) -> Vec<Piece> {
        let tag = self.tag(Role::Table);
        self.title(tag, table.summary.clone());
        let columns = self.columns(table);
        let mut pieces = Vec::new();
        let has_head = table.head.iter().any(|cell| !cell.is_empty());
        let mut repeat = None;
        if has_head {
            let row = self.tag_in(tag, Role::Row);
            let mut head = self.table_head(table, &columns, Some(row), false);
            head.before = LINE;
            pieces.push(head);
            repeat = Some(Rc::new(self.table_head(table, &columns, None, true)));
        }
        let count = table.rows.len();
        for (index, row) in table.rows.iter().enumerate() {
            let outer = self.origin;
            self.origin = row.origin.or(outer);
            self.seen.clear();
            let row_tag = self.tag_in(tag, Role::Row);
            let mut piece = self.row(&row.cells, table, &columns, row_tag, index + 1 < count);
            piece.repeat.clone_from(&repeat);
            // The head stays with two rows, and the last row is not alone.
            piece.keep = index + 1 < count && (index == 0 || index + 2 == count);
            piece.cling = if count <= SMALL { breaks::SMALL_TABLE } else { breaks::ROWS };
            piece.origin = self.origin;
            if index == 0 && !has_head {
                piece.before = LINE;
            }
            pieces.push(piece);
            self.origin = outer;
        }
        pieces
    }

    fn cell_look(&self) -> Look {
        let look = Look::sans(9.0, LINE);
        if self.sources { look.hyphenated() } else { look }
    }

    fn head_look() -> Look {
        let quiet = Look::sans(8.0, 9.75).ink(Ink::Quiet).faces(Face::Sans, Face::SansSemibold, Face::SansItalic);
        Look { strong_size: 9.0, strong_ink: Some(Ink::Ink), ..quiet }
    }

    fn columns(&mut self, table: &Table) -> Columns {
        let grid = self.grid;
        let (cell, head) = (self.cell_look(), Self::head_look());
        let rest = table.columns.len().saturating_sub(1);
        let mut natural = vec![0.0_f32; rest];
        let mut least = vec![0.0_f32; rest];
        for (row, look) in std::iter::once((&table.head, head)).chain(table.rows.iter().map(|row| (&row.cells, cell))) {
            let widths = natural.iter_mut().zip(&mut least);
            for ((natural, least), text) in widths.zip(row.iter().skip(1)) {
                let ready = self.fonts.ready(text, &look, &|anchor| self.page_of(anchor));
                *natural = natural.max(ready.natural());
                *least = least.max(ready.least());
            }
        }
        // Numbers under one another by their points need the widest of both sides.
        let sides: Vec<(f32, f32)> =
            table.columns.iter().enumerate().map(|(n, column)| self.sides(table, n, column.align)).collect();
        for ((natural, least), (whole, part)) in natural.iter_mut().zip(&mut least).zip(sides.iter().skip(1)) {
            *natural = natural.max(whole + part);
            *least = least.max(whole + part);
        }
        let total = grid.main_width;
        let shares: Vec<f32> = table.columns.iter().skip(1).map(|column| column.share.max(0.0)).collect();
        let asked: f32 = shares.iter().sum();
        let free: Vec<usize> = (0..rest).filter(|&n| shares.get(n).is_some_and(|share| *share <= 0.0)).collect();
        let scale = if asked > 1.0 || (free.is_empty() && asked > 0.0) { 1.0 / asked } else { 1.0 };
        let mut widths: Vec<f32> = shares.iter().map(|share| share * scale * total).collect();
        let left = (total - widths.iter().sum::<f32>()).max(0.0);
        let get = |list: &[f32], n: usize| list.get(n).copied().unwrap_or(0.0);
        let wish: f32 = free.iter().map(|&n| get(&natural, n) + GUTTER).sum();
        let need: f32 = free.iter().map(|&n| get(&least, n) + GUTTER).sum();
        // Where there is too little room, wide columns give way first: none is wider than this unless a word is.
        let mut cap = total;
        if wish > left && need < left {
            let (mut low, mut high) = (0.0, total);
            for _ in 0..24 {
                cap = (low + high) / 2.0;
                let sum: f32 = free.iter().map(|&n| get(&natural, n).min(get(&least, n).max(cap)) + GUTTER).sum();
                if sum > left { high = cap } else { low = cap }
            }
            cap = low;
        }
        for &n in &free {
            let (natural, least) = (get(&natural, n), get(&least, n));
            let width = if wish <= left {
                natural + GUTTER + (left - wish) / free.len() as f32
            } else if need < left {
                natural.min(least.max(cap)) + GUTTER
            } else if need > 0.0 {
                left * (least + GUTTER) / need
            } else {
                left
            };
            if let Some(slot) = widths.get_mut(n) {
                *slot = width;
            }
        }
        let mut frames = vec![(grid.label_x, grid.main_x - grid.label_x - 5.0)];
        let mut x = grid.main_x;
        for (n, width) in widths.iter().enumerate() {
            let middle = table.columns.get(n + 1).is_some_and(|column| column.align == Align::Middle);
            let gutter = if n + 1 == rest || middle { 0.0 } else { GUTTER };
            frames.push((x, (width - gutter).max(1.0)));
            x += width;
        }
        if table.columns.len() == 1 {
            frames = vec![(grid.label_x, self.main_right() - grid.label_x)];
        }
        let mut points = Vec::new();
        for (n, (whole, part)) in sides.into_iter().enumerate() {
            // A narrow column of numbers stands under the middle of its head, as far as there is room.
            let head = table.head.get(n).map_or(0.0, |head| self.natural(head, &Self::head_look()));
            let room = frames.get(n).map_or(0.0, |frame| frame.1) - whole - part;
            points.push(whole + ((head - whole - part) / 2.0).min(room).max(0.0));
        }
        Columns { frames, points }
    }

    /// The widths before and after the decimal point in a column of numbers.
    fn sides(&mut self, table: &Table, n: usize, align: Align) -> (f32, f32) {
        let look = self.cell_look();
        let (mut whole, mut part) = (0.0_f32, 0.0_f32);
        for row in table.rows.iter().filter(|_| align == Align::Decimal) {
            let Some(cell) = row.cells.get(n).filter(|cell| is_number(cell)) else { continue };
            let set = super::text::set(self.fonts, cell, &look, 1.0e6, &|anchor| self.page_of(anchor));
            for line in &set.lines {
                let before = before_point(line);
                whole = whole.max(before);
                part = part.max(line.width - before);
            }
        }
        (whole, part)
    }

    fn table_head(&mut self, table: &Table, columns: &Columns, row: Option<TagId>, continued: bool) -> Piece {
        let look = Self::head_look();
        let mut cells: Vec<(SetText, Option<TagId>)> = Vec::new();
        for (n, cell) in table.head.iter().enumerate() {
            let mut cell = cell.clone();
            if n == 0 && continued {
                let comma = if cell.is_empty() { "continued" } else { ", continued" };
                cell.push(Inline::Text(comma.to_owned()));
            }
            let tag = row.map(|row| self.tag_in(row, Role::HeadCell(Scope::Column)));
            let width = columns.frames.get(n).map_or(1.0, |frame| frame.1);
            cells.push((self.set(&cell, &look, width), tag));
        }
        let lines = cells.iter().map(|(set, _)| set.lines.len()).max().unwrap_or(1).max(1);
        let mut piece = Piece { keep: true, ..Piece::default() };
        let bottom = lines as f32 * look.leading;
        for (n, (set, tag)) in cells.into_iter().enumerate() {
            // Heads stand on the rule, not under one another's first line.
            let y = bottom - look.leading * set.lines.len() as f32 + look.baseline();
            let align = table.columns.get(n).map_or(Align::Left, |column| column.align);
            let frame = columns.frames.get(n).copied().unwrap_or((0.0, 1.0));
            self.cell(&mut piece, set, frame, align, None, y, look.leading, tag);
        }
        let y = bottom + 4.6;
        piece.rule(self.grid.label_x, self.main_right(), y, 0.8, Ink::Ink);
        piece.height = y;
        piece
    }

    fn row(&mut self, cells: &[Vec<Inline>], table: &Table, columns: &Columns, row: TagId, hair: bool) -> Piece {
        let look = self.cell_look();
        let mut set = Vec::new();
        for (n, cell) in cells.iter().enumerate() {
            let role = if n == 0 { Role::HeadCell(Scope::Row) } else { Role::Cell };
            let tag = self.tag_in(row, role);
            let width = columns.frames.get(n).map_or(1.0, |frame| frame.1);
            let drawn = cell.iter().any(|inline| matches!(inline, Inline::Drawing(_)));
            set.push((self.set(cell, &look, if drawn { 1.0e6 } else { width }), tag, is_number(cell)));
        }
        let lines = set.iter().map(|(set, ..)| set.lines.len()).max().unwrap_or(1).max(1);
        let drawn = set
            .iter()
            .flat_map(|(set, ..)| &set.lines)
            .flat_map(|line| &line.drawings)
            .fold(0.0_f32, |height, (_, drawing)| height.max(drawing.height));
        let leading = look.leading.min(if lines > 1 { 11.5 } else { look.leading });
        let height = (ROW - LINE + lines as f32 * leading).max(ROW).max(drawn);
        let mut piece = Piece { height, ..Piece::default() };
        if hair {
            piece.rule(self.grid.label_x, self.main_right(), height, 0.3, Ink::Hair);
        }
        let top = (height - lines as f32 * leading) / 2.0;
        let y = top + baseline(leading) + 0.2;
        for (n, (set, tag, number)) in set.into_iter().enumerate() {
            let align = table.columns.get(n).map_or(Align::Left, |column| column.align);
            let frame = columns.frames.get(n).copied().unwrap_or((0.0, 1.0));
            let point = columns.points.get(n).copied().filter(|_| align == Align::Decimal && number);
            self.cell(&mut piece, set, frame, align, point, y, leading, Some(tag));
        }
        piece
    }

    #[expect(clippy::too_many_arguments, reason = "a cell's place takes a frame, an alignment and a baseline")]
    fn cell(
        &mut self,
        piece: &mut Piece,
        set: SetText,
        frame: (f32, f32),
        align: Align,
        point: Option<f32>,
        y: f32,
        leading: f32,
        tag: Option<TagId>,
    ) {
        let leads = set.links;
        let mut links = Links::new(&leads);
        let mut y = y;
        let row_height = piece.height;
        for mut line in set.lines {
            let slack = frame.1 - line.width;
            let x = frame.0
                + match (align, point) {
                    (_, Some(point)) => point - before_point(&line),
                    (Align::Left | Align::Decimal, None) => 0.0,
                    (Align::Middle, None) => slack / 2.0,
                    (Align::Right, None) => slack,
                };
            for (at, drawing) in std::mem::take(&mut line.drawings) {
                self.put_drawing(piece, &drawing, x + at, (row_height - drawing.height) / 2.0, tag);
            }
            let column = (frame.0.min(x), frame.1.max(x - frame.0 + line.width));
            if x + line.width > frame.0 + frame.1 + 0.5 && point.is_some() {
                let by = x + line.width - frame.0 - frame.1;
                self.findings.push(super::Finding::TooWide { origin: self.origin, by });
            }
            self.put_line(piece, line, (x, y), column, tag, &mut links);
            y += leading;
        }
    }
}

/// Whether a cell is a number that can be aligned by its point.
fn is_number(cell: &[Inline]) -> bool {
    let words = plain(cell);
    let first = words.trim_start().trim_start_matches(['<', '≤', '≥', '>', '−', '-', '+', '±', '\u{a0}', ' ']);
    first.starts_with(|c: char| c.is_ascii_digit())
}
