//! CommonMark to blocks.
//!
//! Conventions, beside those of CommonMark: a heading's classes choose its look (`.verdict`, `.wide`, `.steps`, `.part`)
//! and `label=Word_and_word` its label; an ordered list after a heading with `.steps` is a list of steps, whose items open
//! with the time in emphasis and the amount in strong; a definition list is labels with their text; alerts are callouts,
//! and a first paragraph all in strong is the callout's label; a paragraph all in emphasis is quiet; code is a unit.

use std::iter::Peekable;
use std::ops::Range;
use std::vec::IntoIter;

use pulldown_cmark::{Alignment, BlockQuoteKind, Event, HeadingLevel, Options, Parser, Tag, TagEnd};

use super::checks::unknown_picture;
use super::drawings::Drawings;
use super::lines::{GROUPS, Lines};
use super::template::Slip;
use crate::diag::{Diagnostic, listed, nearest};
use crate::page::{
    Align, Block, BlockKind, Column, Heading, HeadingLook, Inline, Labelled, Paragraph, ParagraphLook, Row, Step,
    Table, Weight,
};

/// Looks of headings.
const LOOKS: [&str; 5] = ["part", "section", "steps", "verdict", "wide"];
/// How deep lists, callouts and emphasis may stand inside each other: no page has room for more.
const DEEPEST: usize = 8;

struct Composer<'a> {
    text: &'a str,
    events: Peekable<IntoIter<(Event<'a>, Range<usize>)>>,
    drawings: &'a Drawings<'a>,
    lines: &'a Lines,
    steps_next: bool,
    table_summary: String,
    /// Level of the last heading; 0 before the first.
    level: u8,
    depth: usize,
    slips: Vec<Slip>,
}

/// The blocks of a rendered template, and what in it cannot be set as it stands.
pub(super) fn blocks<'a>(text: &'a str, drawings: &'a Drawings<'a>, lines: &'a Lines) -> (Vec<Block>, Vec<Slip>) {
    let options = Options::ENABLE_TABLES
        | Options::ENABLE_GFM
        | Options::ENABLE_HEADING_ATTRIBUTES
        | Options::ENABLE_OLD_FOOTNOTES
        | Options::ENABLE_DEFINITION_LIST;
    let events: Vec<(Event<'a>, Range<usize>)> = Parser::new_ext(text, options).into_offset_iter().collect();
    let mut composer = Composer {
        text,
        events: events.into_iter().peekable(),
        drawings,
        lines,
        steps_next: false,
        table_summary: String::new(),
        level: 0,
        depth: 0,
        slips: Vec::new(),
    };
    let blocks = composer.until(None);
    if composer.level == 0 {
        composer.slip(
            0,
            "",
            slip(
                "no-heading",
                "the document has no heading",
                "a line that begins with `# ` belongs here",
                "outline and screen readers go by headings",
                "begin with a title, such as `# Care plan`",
            ),
        );
    }
    (blocks, composer.slips)
}

/// A slip without its place.
fn slip(id: &'static str, message: impl Into<String>, label: &str, why: &str, hint: impl Into<String>) -> Diagnostic {
    Diagnostic::error(id, None, message).label(label).why(why).hint(hint)
}

fn block(kind: BlockKind) -> Block {
    Block { kind, origin: None }
}

/// The words of inlines, without marks.
pub fn plain_words(inlines: &[Inline]) -> String {
    inlines
        .iter()
        .map(|inline| match inline {
            Inline::Text(words) | Inline::Unit(words) => words.clone(),
            Inline::Strong(inner) | Inline::Emph(inner) | Inline::Sub(inner) | Inline::Sup(inner) => plain_words(inner),
            Inline::Break => " ".into(),
            _ => String::new(),
        })
        .collect()
}

impl Composer<'_> {
    /// Blocks up to the end tag (or the end of the text).
    fn until(&mut self, end: Option<TagEnd>) -> Vec<Block> {
        self.depth += 1;
        let out = self.body(end);
        self.depth -= 1;
        out
    }

    fn slip(&mut self, at: usize, word: &str, complaint: Diagnostic) {
        self.slips.push(Slip { at, word: word.to_owned(), complaint });
    }

    /// Whether something begins too deep inside others; what is inside is then left out.
    fn too_deep(&mut self, at: usize) -> bool {
        let deep = self.depth >= DEEPEST;
        if deep {
            let complaint = slip(
                "too-deep",
                "lists, callouts or emphasis stand too deep inside each other",
                "this is one level too many",
                "there is no room for it on the page",
                "write a paragraph of its own; a line that begins with four spaces or more belongs to the item above it",
            );
            self.slip(at, "", complaint);
            let mut open = 1_usize;
            for (event, _) in self.events.by_ref() {
                match event {
                    Event::Start(_) => open += 1,
                    Event::End(_) => open -= 1,
                    _ => {}
                }
                if open == 0 {
                    break;
                }
            }
        }
        deep
    }

    fn body(&mut self, end: Option<TagEnd>) -> Vec<Block> {
        let mut out = Vec::new();
        // Text outside a paragraph, as in tight list items.
        let mut loose: Vec<Inline> = Vec::new();
        while let Some((event, place)) = self.events.next() {
            match event {
                Event::End(tag) if Some(tag) == end => break,
                Event::Start(Tag::List(_) | Tag::DefinitionList | Tag::BlockQuote(_)) if self.too_deep(place.start) => {
                }
                Event::Start(Tag::Paragraph) => {
                    let text = self.inlines(TagEnd::Paragraph);
                    out.extend(self.paragraph(text));
                }
                Event::Start(Tag::Heading { level, id, classes, attrs }) => {
                    let classes: Vec<String> = classes.iter().map(ToString::to_string).collect();
                    let label = attrs
                        .iter()
                        .find(|(key, _)| &**key == "label")
                        .and_then(|(_, value)| value.as_ref())
                        .map(|v| v.replace('_', " "));
                    let id = id.map(|i| i.to_string());
                    self.odd_look(&classes, &attrs, &place);
                    let text = self.inlines(TagEnd::Heading(level));
                    self.order(level, &text, place.start);
                    self.heading(level, id, &classes, label, text, &mut out);
                }
                Event::Start(Tag::List(start)) => {
                    let list = self.list(start);
                    out.push(list);
                }
                Event::Start(Tag::DefinitionList) => {
                    let list = self.definitions();
                    out.push(list);
                }
                Event::Start(Tag::BlockQuote(kind)) => {
                    if kind.is_none() {
                        self.no_callout(&place);
                    }
                    let body = self.until(Some(TagEnd::BlockQuote(kind)));
                    out.push(callout(kind, body));
                }
                Event::Start(Tag::Table(alignments)) => {
                    let table = self.table(&alignments);
                    out.push(table);
                }
                Event::Start(Tag::CodeBlock(kind)) => {
                    let _ = kind;
                    let complaint = slip(
                        "code-block",
                        "these lines are read as program code",
                        "code has no look of its own on the page",
                        "CommonMark takes lines that begin with four spaces, or stand between ``` and ```, for code",
                        "begin the line at the margin",
                    );
                    self.slip(place.start, "", complaint);
                    let words = self.inlines(TagEnd::CodeBlock);
                    out.extend(self.paragraph(words));
                }
                inline @ Event::Start(Tag::Strong | Tag::Emphasis | Tag::Link { .. } | Tag::Image { .. }) => {
                    self.inline(inline, &place, &mut loose);
                }
                Event::Rule => {
                    let complaint = slip(
                        "no-rule",
                        "a rule is not drawn",
                        "a line of dashes or stars leaves no trace",
                        "parts are set apart by their headings",
                        "take it out, or begin a part with `# Title {.part}`",
                    );
                    self.slip(place.start, "", complaint);
                }
                Event::Start(_) | Event::End(_) => {}
                other => self.inline(other, &place, &mut loose),
            }
        }
        if !loose.is_empty() {
            out.splice(0..0, self.paragraph(loose));
        }
        out
    }

    /// Complains of a heading that skips a level, or is empty.
    fn order(&mut self, level: HeadingLevel, text: &[Inline], at: usize) {
        let level = level as u8;
        let (last, marks) = (self.level, "#".repeat(usize::from(level)));
        if level > last + 1 {
            let should = "#".repeat(usize::from(last) + 1);
            let message = if last == 0 {
                "the first heading is not one of the first level".to_owned()
            } else {
                format!("a heading of level {level} follows one of level {last}")
            };
            let complaint = slip(
                "heading-order",
                message,
                "a level is left out",
                "outline and screen readers go by levels, and a gap in them is a fault of the PDF",
                format!("write `{should}` in place of `{marks}`"),
            );
            self.slip(at, &marks, complaint);
        }
        if plain_words(text).trim().is_empty() {
            let complaint = slip(
                "empty-heading",
                "a heading has no words",
                "words belong after the marks",
                "outline and screen readers go by headings",
                "write a title, or take the line out",
            );
            self.slip(at, &marks, complaint);
        }
        self.level = level;
    }

    /// Complains of a look that headings do not have.
    fn odd_look<T>(&mut self, classes: &[String], attrs: &[(pulldown_cmark::CowStr<'_>, T)], place: &Range<usize>) {
        for class in classes.iter().filter(|c| !LOOKS.contains(&c.as_str())) {
            let hint = match nearest(class, LOOKS) {
                Some(near) => format!("write `.{near}` if that is meant"),
                None => format!("possible are {}", listed(LOOKS)),
            };
            let complaint = slip(
                "unknown-look",
                format!("headings have no look `.{class}`"),
                "this look is not known",
                "the heading would look like any other",
                hint,
            );
            self.slip(place.start, &format!(".{class}"), complaint);
        }
        for (key, _) in attrs.iter().filter(|(key, _)| &**key != "label") {
            let complaint = slip(
                "unknown-look",
                format!("headings have no `{key}`"),
                "this is not known",
                "it would leave no trace",
                "write `label=Words_of_the_label`, or take it out",
            );
            self.slip(place.start, key, complaint);
        }
    }

    /// Complains of a quotation that means to be a callout.
    fn no_callout(&mut self, place: &Range<usize>) {
        const KINDS: [&str; 5] = ["CAUTION", "IMPORTANT", "NOTE", "TIP", "WARNING"];
        let first = self.text.get(place.clone()).and_then(|t| t.lines().next()).unwrap_or_default();
        let words = first.trim_start_matches(['>', ' ']).trim();
        let Some(kind) = words.strip_prefix("[!").and_then(|w| w.split_once(']')).map(|(kind, _)| kind) else { return };
        let hint = match nearest(&kind.to_lowercase(), KINDS.map(str::to_lowercase).iter().map(String::as_str)) {
            Some(near) => format!("write `[!{}]` on a line of its own, if that is meant", near.to_uppercase()),
            None => "possible are `[!NOTE]`, `[!WARNING]` and `[!CAUTION]`, each on a line of its own".to_owned(),
        };
        let complaint = slip(
            "unknown-callout",
            format!("`[!{kind}]` makes no callout"),
            "this would be printed as it stands",
            "a caution that does not look like one is not heeded",
            hint,
        );
        self.slip(place.start, &format!("[!{kind}]"), complaint);
    }

    fn paragraph(&mut self, text: Vec<Inline>) -> Vec<Block> {
        if let [Inline::Drawing(drawing)] = text.as_slice() {
            return vec![block(BlockKind::Drawing(drawing.clone()))];
        }
        if let [Inline::PageOf(address)] = text.as_slice()
            && let Some(part) = address.strip_prefix("photos:")
        {
            let photos = self.drawings.photos(part).into_iter();
            return photos.map(|photo| block(BlockKind::Photo(Box::new(photo)))).collect();
        }
        // A group of workings comes in as a mark of our own; see `image`.
        if let [Inline::PageOf(address)] = text.as_slice()
            && let Some(group) = address.strip_prefix("workings:")
        {
            return self.lines.page_group(group).map(|g| block(BlockKind::Lines(g))).into_iter().collect();
        }
        match text.as_slice() {
            [] => Vec::new(),
            [Inline::Emph(inner)] => {
                vec![block(BlockKind::Paragraph(Paragraph { look: ParagraphLook::Quiet, text: inner.clone() }))]
            }
            _ => vec![block(BlockKind::Paragraph(Paragraph { look: ParagraphLook::Body, text }))],
        }
    }

    fn heading(
        &mut self,
        level: HeadingLevel,
        anchor: Option<String>,
        classes: &[String],
        label: Option<String>,
        text: Vec<Inline>,
        out: &mut Vec<Block>,
    ) {
        let has = |name: &str| classes.iter().any(|c| c == name);
        if has("part") {
            out.push(block(BlockKind::NewPart));
        }
        let look = match level {
            _ if has("verdict") => HeadingLook::Verdict,
            _ if has("wide") || has("steps") => HeadingLook::Wide,
            HeadingLevel::H1 => HeadingLook::Page,
            _ => HeadingLook::Section,
        };
        self.steps_next = has("steps");
        self.table_summary = plain_words(&text);
        out.push(block(BlockKind::Heading(Heading {
            level: level as u8,
            look,
            label: label.map(|l| vec![Inline::Text(l)]).unwrap_or_default(),
            anchor,
            text,
        })));
    }

    fn list(&mut self, start: Option<u64>) -> Block {
        let mut items = Vec::new();
        let mut places = Vec::new();
        let as_steps = start.is_some() && self.steps_next;
        self.steps_next = false;
        while let Some((event, place)) = self.events.next() {
            match event {
                Event::Start(Tag::Item) => {
                    places.push(place.start);
                    items.push(self.until(Some(TagEnd::Item)));
                }
                Event::End(TagEnd::List(_)) => break,
                _ => {}
            }
        }
        if as_steps {
            let steps: Vec<Step> = items.into_iter().map(step).collect();
            for (step, at) in steps.iter().zip(places) {
                if step.when.is_empty() || step.amount.is_empty() {
                    let complaint = slip(
                        "bare-step",
                        "a step does not say when, or what",
                        "this item of the list of steps is not whole",
                        "the time stands at its side, and the act over it in large type",
                        "open it with the time in emphasis and the act in strong, each a paragraph: `1. *Today*`, then `**Panel to zero**`",
                    );
                    self.slip(at, "", complaint);
                }
            }
            return block(BlockKind::Steps(steps));
        }
        block(BlockKind::List { start, items })
    }

    fn definitions(&mut self) -> Block {
        let mut rows: Vec<Labelled> = Vec::new();
        while let Some((event, _)) = self.events.next() {
            match event {
                Event::Start(Tag::DefinitionListTitle) => {
                    let label = self.inlines(TagEnd::DefinitionListTitle);
                    rows.push(Labelled { label, body: Vec::new() });
                }
                Event::Start(Tag::DefinitionListDefinition) => {
                    let body = self.until(Some(TagEnd::DefinitionListDefinition));
                    if let Some(row) = rows.last_mut() {
                        row.body.extend(body);
                    }
                }
                Event::End(TagEnd::DefinitionList) => break,
                _ => {}
            }
        }
        block(BlockKind::Labelled(rows))
    }

    fn table(&mut self, alignments: &[Alignment]) -> Block {
        let columns = alignments
            .iter()
            .map(|a| Column {
                align: match a {
                    Alignment::None | Alignment::Left => Align::Left,
                    Alignment::Center => Align::Middle,
                    Alignment::Right => Align::Decimal,
                },
                share: 0.0,
            })
            .collect();
        let mut head = Vec::new();
        let mut rows: Vec<Row> = Vec::new();
        let mut in_head = false;
        while let Some((event, place)) = self.events.next() {
            match event {
                Event::Start(Tag::TableHead) => in_head = true,
                Event::End(TagEnd::TableHead) => in_head = false,
                Event::Start(Tag::TableRow) => {
                    let (written, wanted) = (cells(self.text.get(place.clone()).unwrap_or_default()), alignments.len());
                    if written != wanted {
                        let complaint = slip(
                            "cells-of-row",
                            format!("the head of a table has {wanted} cells, and a row of it {written}"),
                            if written > wanted {
                                "the last cells would be left out"
                            } else {
                                "cells are missing here"
                            },
                            "what stands in a cell could be read under the wrong head",
                            "write as many cells as the head has, each followed by `|`; a bar inside a cell is written `\\|`",
                        );
                        self.slip(place.start, "", complaint);
                    }
                    rows.push(Row { cells: Vec::new(), origin: None });
                }
                Event::Start(Tag::TableCell) => {
                    let cell = self.inlines(TagEnd::TableCell);
                    if in_head {
                        head.push(cell);
                    } else if let Some(row) = rows.last_mut() {
                        row.cells.push(cell);
                    }
                }
                Event::End(TagEnd::Table) => break,
                _ => {}
            }
        }
        block(BlockKind::Table(Table { summary: self.table_summary.clone(), columns, head, rows }))
    }

    fn inlines(&mut self, end: TagEnd) -> Vec<Inline> {
        let mut out = Vec::new();
        while let Some((event, place)) = self.events.next() {
            match event {
                Event::End(tag) if tag == end => break,
                other => self.inline(other, &place, &mut out),
            }
        }
        merged(out)
    }

    fn inline(&mut self, event: Event<'_>, place: &Range<usize>, out: &mut Vec<Inline>) {
        match event {
            Event::Text(words) => push_words(&words, out),
            Event::Html(words) | Event::InlineHtml(words) => {
                let complaint = slip(
                    "html",
                    "HTML is not read",
                    "this would be printed as it stands",
                    "the page is no web page",
                    "write `**strong**` and `*emphasis*`; a sign `<` alone is written `\\<`",
                );
                self.slip(place.start, words.trim(), complaint);
                out.push(Inline::Text(words.to_string()));
            }
            Event::Code(words) => out.push(Inline::Unit(words.to_string())),
            Event::SoftBreak => out.push(Inline::Text(" ".into())),
            Event::HardBreak => out.push(Inline::Break),
            Event::FootnoteReference(id) => match self.lines.number(&id) {
                Some(number) => out.push(Inline::Mark(number)),
                None => self.no_line(&id, place.start),
            },
            Event::Start(Tag::Strong | Tag::Emphasis | Tag::Link { .. } | Tag::Image { .. })
                if self.too_deep(place.start) => {}
            Event::Start(Tag::Strong) => {
                let inner = self.deeper(TagEnd::Strong);
                out.push(Inline::Strong(inner));
            }
            Event::Start(Tag::Emphasis) => {
                let inner = self.deeper(TagEnd::Emphasis);
                out.push(Inline::Emph(inner));
            }
            Event::Start(Tag::Link { dest_url, .. }) => {
                let inner = self.deeper(TagEnd::Link);
                match dest_url.strip_prefix('#') {
                    Some(anchor) => out.push(Inline::PageOf(anchor.to_owned())),
                    None => out.extend(inner),
                }
            }
            Event::Start(Tag::Image { dest_url, .. }) => {
                let alternative = plain_words(&self.deeper(TagEnd::Image));
                out.extend(self.image(&dest_url, alternative, place.start));
            }
            _ => {}
        }
    }

    fn deeper(&mut self, end: TagEnd) -> Vec<Inline> {
        self.depth += 1;
        let inner = self.inlines(end);
        self.depth -= 1;
        inner
    }

    /// Complains of a mark of a line that no plan has; one that this plan does not need leaves no trace.
    fn no_line(&mut self, id: &str, at: usize) {
        let group = id.split('.').next().unwrap_or_default();
        if id.contains('.') && GROUPS.iter().any(|(known, _)| *known == group) {
            return;
        }
        let ids = self.lines.all().iter().map(|line| line.id.as_str());
        let hint = match nearest(id, ids) {
            Some(near) => format!("write `[^{near}]` if that is meant"),
            None => "`weirbook figures SITE.toml` lists the ids of all lines".to_owned(),
        };
        let complaint = slip(
            "unknown-line",
            format!("no line of the workings is called `{id}`"),
            "this id is not known",
            "the number in the margin would be missing",
            hint,
        );
        self.slip(at, id, complaint);
    }

    fn image(&mut self, address: &str, alternative: String, at: usize) -> Option<Inline> {
        if address.starts_with("workings:") || address.starts_with("photos:") {
            if let Some(complaint) = unknown_picture(address, true) {
                self.slip(at, address, complaint);
            }
            return Some(Inline::PageOf(address.to_owned()));
        }
        let Some(name) = address.strip_prefix("drawing:") else {
            let complaint = slip(
                "unknown-drawing",
                format!("`{address}` is no drawing of the program"),
                "pictures from files are not read here",
                "its place on the page would stay empty",
                "name a drawing, such as `![](drawing:staircase)`; the head of each template that is written out lists them",
            );
            self.slip(at, address, complaint);
            return None;
        };
        let Some(mut drawing) = self.drawings.find(name) else {
            if let Some(complaint) = unknown_picture(address, true) {
                self.slip(at, address, complaint);
            }
            return None;
        };
        if !alternative.trim().is_empty() {
            drawing.alternative = alternative;
        }
        Some(Inline::Drawing(Box::new(drawing)))
    }
}

/// How many cells are written in a row of a table.
fn cells(row: &str) -> usize {
    let row = row.trim();
    let row = row.strip_prefix('|').unwrap_or(row);
    let mut count = 0;
    let mut open = false;
    let mut signs = row.chars();
    while let Some(sign) = signs.next() {
        open = sign != '|';
        match sign {
            '|' => count += 1,
            '\\' => {
                let _ = signs.next();
            }
            _ => {}
        }
    }
    count + usize::from(open)
}

/// Text with its tick boxes taken out.
fn push_words(words: &str, out: &mut Vec<Inline>) {
    for (i, part) in words.split('☐').enumerate() {
        if i > 0 {
            out.push(Inline::TickBox);
        }
        if !part.is_empty() {
            out.push(Inline::Text(part.to_owned()));
        }
    }
}

/// Neighbouring texts joined: escapes split them.
fn merged(list: Vec<Inline>) -> Vec<Inline> {
    let mut out: Vec<Inline> = Vec::new();
    for inline in list {
        match (out.last_mut(), inline) {
            (Some(Inline::Text(last)), Inline::Text(next)) => last.push_str(&next),
            (_, inline) => out.push(inline),
        }
    }
    if let Some(Inline::Text(last)) = out.last_mut() {
        let trimmed = last.trim_end_matches([' ', '\n']).len();
        last.truncate(trimmed);
    }
    out.retain(|i| !matches!(i, Inline::Text(t) if t.is_empty()));
    out
}

fn callout(kind: Option<BlockQuoteKind>, mut body: Vec<Block>) -> Block {
    let weight = match kind {
        Some(BlockQuoteKind::Warning | BlockQuoteKind::Important) => Weight::Care,
        Some(BlockQuoteKind::Caution) => Weight::Danger,
        _ => Weight::Note,
    };
    let label = match body.first().map(|b| &b.kind) {
        Some(BlockKind::Paragraph(Paragraph { text, .. })) => match text.as_slice() {
            [Inline::Strong(label)] => Some(label.clone()),
            _ => None,
        },
        _ => None,
    };
    if label.is_some() {
        body.remove(0);
    }
    block(BlockKind::Callout { weight, label: label.unwrap_or_default(), body })
}

fn step(body: Vec<Block>) -> Step {
    let mut step = Step { when: Vec::new(), amount: Vec::new(), text: Vec::new() };
    for part in body {
        match part.kind {
            BlockKind::Paragraph(Paragraph { look: ParagraphLook::Quiet, text }) if step.when.is_empty() => {
                step.when = text
            }
            BlockKind::Paragraph(Paragraph { text, .. }) if step.amount.is_empty() => {
                step.amount = text
                    .into_iter()
                    .flat_map(|inline| match inline {
                        Inline::Strong(inner) => inner,
                        other => vec![other],
                    })
                    .collect();
            }
            kind => step.text.push(Block { kind, origin: part.origin }),
        }
    }
    step
}
