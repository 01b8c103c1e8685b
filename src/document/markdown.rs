//! CommonMark to blocks.
//!
//! Conventions, beside those of CommonMark: a heading's classes choose its look (`.verdict`, `.wide`, `.steps`, `.part`)
//! and `label=Word_and_word` its label; an ordered list after a heading with `.steps` is a list of steps, whose items open
//! with the time in emphasis and the amount in strong; a definition list is labels with their text; alerts are callouts,
//! and a first paragraph all in strong is the callout's label; a paragraph all in emphasis is quiet; code is a unit.

use std::iter::Peekable;
use std::vec::IntoIter;

use pulldown_cmark::{Alignment, BlockQuoteKind, Event, HeadingLevel, Options, Parser, Tag, TagEnd};

use super::drawings::Drawings;
use super::lines::Lines;
use crate::page::{
    Align, Block, BlockKind, Column, Heading, HeadingLook, Inline, Labelled, Paragraph, ParagraphLook, Row, Step,
    Table, Weight,
};

struct Composer<'a> {
    events: Peekable<IntoIter<Event<'a>>>,
    drawings: &'a Drawings<'a>,
    lines: &'a Lines,
    steps_next: bool,
    table_summary: String,
}

/// The blocks of a rendered template.
pub fn blocks<'a>(text: &'a str, drawings: &'a Drawings<'a>, lines: &'a Lines) -> Vec<Block> {
    let options = Options::ENABLE_TABLES
        | Options::ENABLE_GFM
        | Options::ENABLE_HEADING_ATTRIBUTES
        | Options::ENABLE_OLD_FOOTNOTES
        | Options::ENABLE_DEFINITION_LIST;
    let events: Vec<Event<'a>> = Parser::new_ext(text, options).collect();
    let mut composer = Composer {
        events: events.into_iter().peekable(),
        drawings,
        lines,
        steps_next: false,
        table_summary: String::new(),
    };
    composer.until(None)
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
        let mut out = Vec::new();
        // Text outside a paragraph, as in tight list items.
        let mut loose: Vec<Inline> = Vec::new();
        while let Some(event) = self.events.next() {
            match event {
                Event::End(tag) if Some(tag) == end => break,
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
                    let text = self.inlines(TagEnd::Heading(level));
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
                    let body = self.until(Some(TagEnd::BlockQuote(kind)));
                    out.push(callout(kind, body));
                }
                Event::Start(Tag::Table(alignments)) => {
                    let table = self.table(&alignments);
                    out.push(table);
                }
                Event::Start(Tag::CodeBlock(kind)) => {
                    let _ = kind;
                    let words = self.inlines(TagEnd::CodeBlock);
                    out.extend(self.paragraph(words));
                }
                inline @ Event::Start(Tag::Strong | Tag::Emphasis | Tag::Link { .. } | Tag::Image { .. }) => {
                    self.inline(inline, &mut loose);
                }
                Event::Start(_) | Event::End(_) | Event::Rule => {}
                other => self.inline(other, &mut loose),
            }
        }
        if !loose.is_empty() {
            out.splice(0..0, self.paragraph(loose));
        }
        out
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
        let as_steps = start.is_some() && self.steps_next;
        self.steps_next = false;
        while let Some(event) = self.events.next() {
            match event {
                Event::Start(Tag::Item) => items.push(self.until(Some(TagEnd::Item))),
                Event::End(TagEnd::List(_)) => break,
                _ => {}
            }
        }
        if as_steps {
            return block(BlockKind::Steps(items.into_iter().map(step).collect()));
        }
        block(BlockKind::List { start, items })
    }

    fn definitions(&mut self) -> Block {
        let mut rows: Vec<Labelled> = Vec::new();
        while let Some(event) = self.events.next() {
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
        while let Some(event) = self.events.next() {
            match event {
                Event::Start(Tag::TableHead) => in_head = true,
                Event::End(TagEnd::TableHead) => in_head = false,
                Event::Start(Tag::TableRow) => rows.push(Row { cells: Vec::new(), origin: None }),
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
        while let Some(event) = self.events.next() {
            match event {
                Event::End(tag) if tag == end => break,
                other => self.inline(other, &mut out),
            }
        }
        merged(out)
    }

    fn inline(&mut self, event: Event<'_>, out: &mut Vec<Inline>) {
        match event {
            Event::Text(words) => push_words(&words, out),
            Event::Html(words) | Event::InlineHtml(words) => out.push(Inline::Text(words.to_string())),
            Event::Code(words) => out.push(Inline::Unit(words.to_string())),
            Event::SoftBreak => out.push(Inline::Text(" ".into())),
            Event::HardBreak => out.push(Inline::Break),
            Event::FootnoteReference(id) => {
                if let Some(number) = self.lines.number(&id) {
                    out.push(Inline::Mark(number));
                }
            }
            Event::Start(Tag::Strong) => {
                let inner = self.inlines(TagEnd::Strong);
                out.push(Inline::Strong(inner));
            }
            Event::Start(Tag::Emphasis) => {
                let inner = self.inlines(TagEnd::Emphasis);
                out.push(Inline::Emph(inner));
            }
            Event::Start(Tag::Link { dest_url, .. }) => {
                let inner = self.inlines(TagEnd::Link);
                match dest_url.strip_prefix('#') {
                    Some(anchor) => out.push(Inline::PageOf(anchor.to_owned())),
                    None => out.extend(inner),
                }
            }
            Event::Start(Tag::Image { dest_url, .. }) => {
                let alternative = plain_words(&self.inlines(TagEnd::Image));
                out.extend(self.image(&dest_url, alternative));
            }
            _ => {}
        }
    }

    fn image(&self, address: &str, alternative: String) -> Option<Inline> {
        if address.starts_with("workings:") || address.starts_with("photos:") {
            return Some(Inline::PageOf(address.to_owned()));
        }
        let mut drawing = self.drawings.find(address.strip_prefix("drawing:")?)?;
        if !alternative.trim().is_empty() {
            drawing.alternative = alternative;
        }
        Some(Inline::Drawing(Box::new(drawing)))
    }
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
