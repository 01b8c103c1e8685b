//! Numbered lines of calculation.

use std::collections::BTreeSet;
use std::rc::Rc;

use crate::page::display::{Draw, DrawItem, Role, TagId, Target};
use crate::page::{Face, Ink, Inline, Line, LineGroup};

use super::piece::Piece;
use super::text::{Look, baseline};
use super::{Finding, Links, SetLine, Setter, plain, text};

/// From the right edge of the main column to the decimal point, and to the unit.
const POINT: f32 = 79.5;
const UNIT: f32 = 45.4;
/// Between a keyed line and its result.
const RESULT: f32 = 10.0;
/// Under a line.
const FOOT: f32 = 4.0;

/// The pages that refer to a numbered line, `p 1, 3` in the number column: set when they are known.
#[derive(Clone, Debug)]
pub(super) struct Late {
    number: u32,
    also: Vec<String>,
    body: TagId,
    /// The baseline of the first.
    y: f32,
    /// How many tags there were when the line was set.
    after: usize,
}

/// One of those pages: where it stands, its words, and what they lead to.
struct PageEntry {
    x: f32,
    y: f32,
    line: SetLine,
    lead: Option<text::Lead>,
}

impl Setter<'_> {
    pub(super) fn lines(&mut self, group: &LineGroup) -> Vec<Piece> {
        let level = (self.heading + 1).min(6);
        let tag = self.tag(Role::Heading(level));
        let mut head = self.group_head(&group.title, Some(tag), false);
        head.before = 16.0;
        head.outline = Some((level, group.title.clone(), 0.0));
        let repeat = Rc::new(self.group_head(&group.title, None, true));
        let list = self.tag(Role::List { numbered: true });
        let mut pieces = vec![head];
        for line in &group.lines {
            self.seen.clear();
            let mut piece = self.line(line, list);
            piece.repeat = Some(Rc::clone(&repeat));
            pieces.push(piece);
        }
        pieces
    }

    fn line(&mut self, line: &Line, list: TagId) -> Piece {
        const TOP: f32 = 11.0;
        let grid = self.grid;
        let right = self.main_right();
        let main = (grid.main_x, grid.main_width);
        let item = self.tag_in(list, Role::ListItem);
        let mut piece = Piece { origin: self.origin, ..Piece::default() };
        piece.anchors.push((Target::Line(line.number), 0.0));

        let number_tag = self.tag_in(item, Role::Label);
        let bold = Look::sans(9.0, 11.0).faces(Face::SansSemibold, Face::SansSemibold, Face::SansItalic);
        let words = [Inline::Text(line.number.to_string())];
        let number = self.block_of_text(&words, &bold.ink(Ink::Accent), (grid.label_x, 23.0), number_tag);
        piece.take(number, TOP - bold.baseline());

        let body = self.tag_in(item, Role::ListBody);
        let name_look = Look::sans(9.0, 11.0);
        let name_tag = self.tag_in(body, Role::Paragraph);
        let name = self.block_of_text(
            &line.name,
            &name_look,
            (grid.label_x + 23.0, grid.main_x - grid.label_x - 29.0),
            name_tag,
        );
        let name_bottom = TOP - name_look.baseline() + name.height;
        piece.take(name, TOP - name_look.baseline());

        let formula_look = Look::serif(10.0, 12.5);
        let mut y = TOP - formula_look.baseline();
        let mut formula_y = TOP;
        if !line.formula.parts.is_empty() {
            let (formula, baseline) = self.formula(&line.formula, &formula_look, main, body);
            let height = formula.height;
            formula_y = y + baseline;
            piece.take(formula, y);
            y += height;
        }

        let keyed_look = Look::serif(9.0, 11.5);
        let result = self.natural_to_point(&line.result);
        let narrow = right - POINT - result - RESULT - grid.main_x;
        let mut keyed: Vec<Inline> = Vec::new();
        if !line.keyed.is_empty() {
            if !plain(&line.keyed).trim_start().starts_with('=') {
                keyed.push(Inline::Text("=\u{a0}".to_owned()));
            }
            keyed.extend(line.keyed.iter().cloned());
        }
        let natural = self.natural(&keyed, &keyed_look);
        let keyed_tag = self.tag_in(body, Role::Paragraph);
        let set = self.set(&keyed, &keyed_look, if natural <= narrow { narrow } else { main.1 });
        let mut links = Links::new(&set.links);
        let mut last_width = f32::INFINITY;
        let mut result_y = y + keyed_look.baseline();
        for each in set.lines {
            last_width = each.width;
            result_y = y + keyed_look.baseline();
            let from = piece.items.len();
            self.put_line(&mut piece, each, (main.0, result_y), main, Some(keyed_tag), &mut links);
            self.write_powers(&mut piece, from, result_y);
            y += keyed_look.leading;
        }
        if line.keyed.is_empty() {
            result_y = formula_y;
        } else if last_width > narrow {
            result_y = y + keyed_look.baseline();
            y += keyed_look.leading;
        }

        self.result(&mut piece, line, body, result_y);

        let note_look = Look::sans(7.5, 9.0).ink(Ink::Quiet).hyphenated();
        if !line.notes.is_empty() {
            y += 1.6;
        }
        for note in &line.notes {
            let note_tag = self.tag_in(body, Role::Paragraph);
            let note = self.block_of_text(note, &note_look, main, note_tag);
            let height = note.height;
            piece.take(note, y);
            y += height;
        }
        piece.height = y.max(name_bottom) + FOOT;
        let (number, also) = (line.number, line.also.clone());
        piece.late = Some(Late { number, also, body, y: result_y, after: self.tags.len() });
        piece
    }

    /// What is raised in a line of calculation is copied out as a power: `10^(2)`, not `102`.
    fn write_powers(&mut self, piece: &mut Piece, from: usize, baseline: f32) {
        let raised = |item: &DrawItem| matches!(&item.draw, Draw::Text(run) if run.y < baseline - 1.0);
        let mut at = from;
        while at < piece.items.len() {
            let end = piece.items.iter().skip(at).position(|item| !raised(item)).map_or(piece.items.len(), |n| at + n);
            for index in at..end {
                let Some(DrawItem { tag: Some(tag), draw: Draw::Text(run) }) = piece.items.get(index) else { continue };
                let open = if index == at { "^(" } else { "" };
                let close = if index + 1 == end { ")" } else { "" };
                if open.is_empty() && close.is_empty() {
                    continue;
                }
                let words = format!("{open}{}{close}", run.text());
                let written = self.tag_in(*tag, Role::Written(words));
                if let Some(item) = piece.items.get_mut(index) {
                    item.tag = Some(written);
                }
            }
            at = end + 1;
        }
    }

    /// The width of a result before its decimal point.
    fn natural_to_point(&self, result: &str) -> f32 {
        let inlines = [Inline::Text(result.to_owned())];
        let set = text::set(self.fonts, &inlines, &result_look(), 1.0e6, &|_| None);
        set.lines.first().map_or(0.0, before_point)
    }

    /// The result with its decimal point on the page's line, and its unit.
    fn result(&mut self, piece: &mut Piece, line: &Line, body: TagId, y: f32) {
        let right = self.main_right();
        let tag = self.tag_in(body, Role::Paragraph);
        let set = self.set(&[Inline::Text(line.result.clone())], &result_look(), 1.0e6);
        let mut end = right - POINT;
        let mut links = Links::new(&[]);
        for each in set.lines {
            let x = right - POINT - before_point(&each);
            end = x + each.width;
            let column = (self.grid.main_x, self.grid.main_width);
            if x < column.0 {
                self.findings.push(Finding::TooWide { origin: self.origin, by: column.0 - x });
            }
            self.put_line(piece, each, (x.max(column.0), y), column, Some(tag), &mut links);
        }
        if line.unit.is_empty() {
            return;
        }
        let look = Look::sans(9.0, 11.0);
        let x = (right - UNIT).max(end + 5.0);
        let set = self.set(&[Inline::Text(line.unit.clone())], &look, self.grid.number_x - 4.0 - x);
        let mut y = y;
        for each in set.lines {
            self.put_line(piece, each, (x, y), (x, self.grid.number_x - x), Some(tag), &mut links);
            y += look.leading;
        }
    }

    /// The pages of a line as far as they are known, set one after another.
    fn page_list(&mut self, late: &Late) -> Vec<PageEntry> {
        let pages: Vec<usize> = self.places.marks.get(&late.number).into_iter().flatten().copied().collect();
        let mut words: Vec<(String, Option<text::Lead>)> = Vec::new();
        for (index, page) in pages.iter().enumerate() {
            let prefix = if index == 0 { "p\u{a0}" } else { "" };
            let lead = text::Lead { target: Target::Page(*page), description: format!("page {}", page + 1) };
            words.push((format!("{prefix}{}", page + 1), Some(lead)));
        }
        words.extend(late.also.iter().map(|place| (place.clone(), None)));
        let left = self.grid.number_x;
        let edge = left + self.grid.number_width + 8.0;
        let (mut x, mut y) = (left, late.y);
        let count = words.len();
        let mut entries = Vec::with_capacity(count);
        for (index, (word, lead)) in words.into_iter().enumerate() {
            let comma = if index + 1 < count { "," } else { "" };
            let set = self.set(&[Inline::Text(format!("{word}{comma}"))], &pages_look(), 1.0e6);
            for line in set.lines {
                if x > left && x + line.width > edge {
                    x = left;
                    y += pages_look().leading;
                }
                let at = x;
                x += line.width + pages_look().size * 0.22;
                entries.push(PageEntry { x: at, y, line, lead: lead.clone() });
            }
        }
        entries
    }

    /// The height of a line with the pages that refer to it.
    pub(super) fn late_height(&mut self, piece: &Piece, late: &Late) -> f32 {
        let pages = self.places.marks.get(&late.number).map_or(0, BTreeSet::len) + late.also.len();
        let last = match pages {
            0 => return piece.height,
            1 => late.y,
            _ => self.page_list(late).last().map_or(late.y, |entry| entry.y),
        };
        let look = pages_look();
        piece.height.max(last + look.leading - baseline(look.leading) + FOOT)
    }

    /// Adds to a line the pages that refer to it.
    pub(super) fn add_pages(&mut self, piece: &mut Piece, late: &Late) {
        let entries = self.page_list(late);
        if entries.is_empty() {
            return;
        }
        let from = self.tags.len();
        let tag = self.tag_in(late.body, Role::Paragraph);
        let (left, right) = (self.grid.number_x, self.grid.page_width - 10.0);
        for PageEntry { x, y, mut line, lead } in entries {
            let leads: Vec<text::Lead> = lead.into_iter().collect();
            if !leads.is_empty() {
                for (_, link) in &mut line.runs {
                    *link = Some(0);
                }
            }
            self.put_line(piece, line, (x, y), (left, right - left), Some(tag), &mut Links::new(&leads));
        }
        self.order.late(from..self.tags.len(), late.after);
    }
}

fn pages_look() -> Look {
    Look::sans(7.5, 9.0).ink(Ink::Quiet)
}

fn result_look() -> Look {
    Look::sans(9.0, 11.0).faces(Face::SansSemibold, Face::SansSemibold, Face::SansItalic)
}

/// The width of a number up to its decimal point, or of all of it.
pub(super) fn before_point(line: &super::SetLine) -> f32 {
    let mut width = 0.0;
    let mut digits = false;
    for (run, _) in &line.runs {
        width = run.x;
        for glyph in run.glyphs.iter() {
            let number = glyph.text.chars().all(|c| c.is_ascii_digit() || c == ',');
            if glyph.text == "." || (digits && !number) {
                return width;
            }
            digits |= number;
            width += glyph.advance * run.size / 1000.0;
        }
    }
    width
}
