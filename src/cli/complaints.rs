//! Complaints as text: what, where with the line itself, why, and what to write instead.
//!
//! ```text
//! error[ambiguous-unit]: carbonate hardness has no unit
//!   --> ash-lane.toml:14:22
//! 14 | carbonate_hardness = "125"
//!    |                      ^^^^^ is this °dKH, or mg/L as CaCO₃?
//! why:  the two differ eighteen-fold, and the dose with them
//! hint: write `"7 dKH"` or `"125 mg/L CaCO3"`, whichever the test kit prints
//! ```

use crate::diag::{Diagnostic, Diagnostics, Severity, Span, Text};

/// The narrowest terminal we set text for; a narrower one wraps by itself.
const NARROWEST: usize = 30;
/// The most complaints that are written out. A file with more is no site file or log, and would fill the screen for ever.
const MOST: usize = 500;
/// Columns from one tab stop to the next.
const TAB: usize = 4;

/// All complaints in the order of their places, a blank line between them; after five hundred only their number. `texts` are those that spans point into, by
/// [`FileId`](crate::diag::FileId): the site file first, then the log. `width` is that of the terminal, in columns.
#[must_use]
pub fn render(texts: &[Text], complaints: &Diagnostics, colour: bool, width: usize) -> String {
    let pen = Pen { colour, width: width.max(NARROWEST) };
    let all = complaints.sorted();
    let mut blocks: Vec<String> = all.iter().take(MOST).map(|c| pen.complaint(texts, c)).collect();
    if all.len() > MOST {
        blocks.push(format!("and {} more\n", all.len() - MOST));
    }
    blocks.join("\n")
}

#[derive(Clone, Copy)]
enum Tone {
    Error,
    Warning,
    Frame,
    Strong,
}

struct Pen {
    colour: bool,
    width: usize,
}

/// A character as it is shown, and the byte it came from.
struct Glyph {
    shown: String,
    width: usize,
    at: usize,
}

impl Pen {
    fn paint(&self, tone: Tone, words: &str) -> String {
        if !self.colour || words.is_empty() {
            return words.to_owned();
        }
        let code = match tone {
            Tone::Error => "1;31",
            Tone::Warning => "1;33",
            Tone::Frame => "1;34",
            Tone::Strong => "1",
        };
        format!("\u{1b}[{code}m{words}\u{1b}[0m")
    }

    fn complaint(&self, texts: &[Text], complaint: &Diagnostic) -> String {
        let (word, tone) = match complaint.severity {
            Severity::Error => ("error", Tone::Error),
            Severity::Warning => ("warning", Tone::Warning),
        };
        let head = self.paint(tone, &format!("{word}[{}]", complaint.id));
        // The message wraps under itself; its first line shares the row with severity and id.
        let message = format!("{word}[{}]: {}", complaint.id, visible(&complaint.message));
        let lines = wrapped(&message, self.width.saturating_sub(2));
        let mut out = String::new();
        for (i, line) in lines.iter().enumerate() {
            let rest = line.strip_prefix(&format!("{word}[{}]", complaint.id)).filter(|_| i == 0);
            match rest {
                Some(rest) => out.push_str(&format!("{head}{}\n", self.paint(Tone::Strong, rest))),
                None => out.push_str(&format!("  {}\n", self.paint(Tone::Strong, line))),
            }
        }
        let place = complaint.span.and_then(|span| Some((span, texts.get(usize::from(span.file.0))?)));
        match place {
            Some((span, text)) => self.quote(&mut out, text, span, complaint.label.as_deref(), tone),
            None => self.note(&mut out, "      ", complaint.label.as_deref()),
        }
        self.note(&mut out, "why:  ", complaint.why.as_deref());
        self.note(&mut out, "hint: ", complaint.hint.as_deref());
        out
    }

    /// `why:` and `hint:`, wrapped under themselves.
    fn note(&self, out: &mut String, title: &str, words: Option<&str>) {
        let Some(words) = words else { return };
        for (i, line) in wrapped(&visible(words), self.width.saturating_sub(title.len())).into_iter().enumerate() {
            let margin = if i == 0 { self.paint(Tone::Strong, title) } else { " ".repeat(title.len()) };
            out.push_str(&format!("{margin}{line}\n"));
        }
    }

    /// The place, the line itself and the mark under it.
    fn quote(&self, out: &mut String, text: &Text, span: Span, label: Option<&str>, tone: Tone) {
        let words = text.words.as_str();
        let start = floor(words, span.start);
        let before = words.get(..start).unwrap_or_default();
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        let line = words.get(line_start..).and_then(|tail| tail.split('\n').next()).unwrap_or_default();
        let line = line.strip_suffix('\r').unwrap_or(line);
        let number = before.matches('\n').count() + 1;
        let column = words.get(line_start..start).unwrap_or_default().chars().count() + 1;
        out.push_str(&format!("  {} {}:{number}:{column}\n", self.paint(Tone::Frame, "-->"), visible(&text.name)));

        let number = number.to_string();
        let gutter = number.len() + 3;
        let room = self.width.saturating_sub(gutter).max(NARROWEST / 2);
        // Of a line without end only the neighbourhood of the mark is looked at.
        let near = 4 * room;
        let window = floor(line, (start - line_start).saturating_sub(near))..floor(line, start - line_start + 2 * near);
        let line_start = line_start + window.start;
        let glyphs = glyphs(line.get(window).unwrap_or_default());
        // A mark that runs on to further lines is shown as far as the end of its first.
        let from = glyphs.iter().take_while(|g| line_start + g.at < start).map(|g| g.width).sum::<usize>();
        let marked =
            glyphs.iter().filter(|g| (start..span.end).contains(&(line_start + g.at))).map(|g| g.width).sum::<usize>();
        let marked = marked.max(1);
        let view = trimmed(&glyphs, from, marked, room);

        let frame = |left: &str| self.paint(Tone::Frame, &format!("{left:>w$} |", w = number.len()));
        let numbered = format!("{} {}", frame(&number), view.line);
        out.push_str(numbered.trim_end());
        out.push('\n');
        let carets = self.paint(tone, &"^".repeat(view.marked));
        let label = visible(label.unwrap_or_default());
        let fits = view.from + view.marked + 1 + columns(&label) <= room;
        let beside = if fits && !label.is_empty() { format!(" {}", self.paint(tone, &label)) } else { String::new() };
        out.push_str(&format!("{} {}{carets}{beside}\n", frame(""), " ".repeat(view.from)));
        if !fits {
            // No room beside the carets: below them, as far to the right as it goes.
            let lines = wrapped(&label, room);
            let widest = lines.iter().map(|l| columns(l)).max().unwrap_or(0);
            let indent = view.from.min(room.saturating_sub(widest));
            for line in lines {
                out.push_str(&format!("{} {}{}\n", frame(""), " ".repeat(indent), self.paint(tone, &line)));
            }
        }
    }
}

/// The part of a line that is shown, and where the mark stands in it.
struct View {
    line: String,
    from: usize,
    marked: usize,
}

/// Cuts a line that is too long, so that its mark stays in sight.
fn trimmed(glyphs: &[Glyph], from: usize, marked: usize, room: usize) -> View {
    let total: usize = glyphs.iter().map(|g| g.width).sum();
    if total <= room {
        return View { line: glyphs.iter().map(|g| g.shown.as_str()).collect(), from, marked };
    }
    // A third of the spare room before the mark, the rest behind it.
    let spare = room.saturating_sub(marked + 2);
    let left = from.saturating_sub(spare / 3).min(total.saturating_sub(room - 1));
    let left = if left <= 1 { 0 } else { left };
    let limit = room - 1;
    let mut line = String::new();
    let (mut shown, mut at, mut cut) = (0, 0, 0);
    if left > 0 {
        line.push('…');
        shown = 1;
    }
    for glyph in glyphs {
        let here = at;
        at += glyph.width;
        if here < left {
            cut = at;
            continue;
        }
        if shown + glyph.width > limit {
            line.push('…');
            break;
        }
        shown += glyph.width;
        line.push_str(&glyph.shown);
    }
    let new_from = from.saturating_sub(cut) + usize::from(left > 0);
    View { line, from: new_from.min(limit), marked: marked.min(limit.saturating_sub(new_from)).max(1) }
}

/// A line as it can safely be shown: tabs as spaces, control characters as pictures.
fn glyphs(line: &str) -> Vec<Glyph> {
    let mut column = 0;
    line.char_indices()
        .map(|(at, c)| {
            let (shown, width) = match c {
                '\t' => {
                    let width = TAB - column % TAB;
                    (" ".repeat(width), width)
                }
                c => {
                    let c = tamed(c);
                    (c.to_string(), char_width(c))
                }
            };
            column += width;
            Glyph { shown, width, at }
        })
        .collect()
}

/// Text for a terminal: nothing in it moves the cursor, rings the bell or turns the writing round.
fn visible(words: &str) -> String {
    words.chars().map(tamed).collect()
}

fn tamed(c: char) -> char {
    match c {
        // Unicode has a picture of each: U+2400 and what follows.
        '\0'..='\u{1F}' => char::from_u32(0x2400 + u32::from(c)).unwrap_or('\u{FFFD}'),
        '\u{7F}' => '\u{2421}',
        // No-break spaces are for the page; whoever searches or copies this needs ordinary ones.
        '\u{A0}' | '\u{202F}' => ' ',
        // Further controls, marks without width, and those that turn the direction of writing.
        '\u{80}'..='\u{9F}'
        | '\u{200B}'..='\u{200F}'
        | '\u{2028}'..='\u{202E}'
        | '\u{2060}'..='\u{206F}'
        | '\u{FEFF}' => '\u{FFFD}',
        c => c,
    }
}

/// Columns a text takes on a terminal.
fn columns(words: &str) -> usize {
    words.chars().map(char_width).sum()
}

/// Columns one character takes: two for the wide scripts of East Asia and for emoji, none for accents that combine.
fn char_width(c: char) -> usize {
    match u32::from(c) {
        0x0300..=0x036F | 0x20D0..=0x20FF | 0xFE00..=0xFE0F => 0,
        0x1100..=0x115F
        | 0x2E80..=0x303E
        | 0x3041..=0xA4CF
        | 0xAC00..=0xD7A3
        | 0xF900..=0xFAFF
        | 0xFE30..=0xFE6F
        | 0xFF00..=0xFF60
        | 0xFFE0..=0xFFE6
        | 0x1F300..=0x1F64F
        | 0x1F680..=0x1F6FF
        | 0x1F900..=0x1F9FF
        | 0x20000..=0x3FFFD => 2,
        _ => 1,
    }
}

/// Lines of at most `width` columns, broken at spaces; a word longer than that keeps its line to itself.
pub(super) fn wrapped(words: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words.split(' ') {
        if !line.is_empty() && columns(&line) + 1 + columns(word) > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines
}

/// The character boundary at or before a byte.
fn floor(words: &str, at: usize) -> usize {
    let mut at = at.min(words.len());
    while !words.is_char_boundary(at) {
        at -= 1;
    }
    at
}
