//! Templates: how they are read, filled in, and complained about at their own line.
//!
//! Before it is filled in, a template is prepared: a line that holds only tags is folded so that it leaves no trace, and an
//! American reader's words are spelled as there. A [`Prepared`] text knows where each of its bytes stood, so that complaints
//! point into the file as it was written.

use std::collections::BTreeMap;
use std::error::Error as _;

use minijinja::{Environment, ErrorKind, Value};

use super::{Templates, checks, offer, words};
use crate::diag::{Diagnostic, Diagnostics, FileId, Span, Text, listed, nearest};

/// The templates, in the order of their [`FileId`]s.
pub const PARTS: [&str; 4] = ["care-plan", "shed-sheet", "workings", "sentences"];

/// Work that filling in one template may take. The largest care plan of the demo sites takes less than a thirtieth of it.
const FUEL: u64 = 500_000;
/// The longest text a template may make, in bytes: several hundred pages.
const LONGEST: usize = 2_000_000;
/// The largest template, in bytes: ours have forty thousand.
const LARGEST: usize = 1_000_000;
/// The longest tag, in words and signs. The language reads longer ones by going ever deeper.
const LONGEST_TAG: usize = 400;

/// The file that complaints about a template point into: site file and log come first.
#[must_use]
pub fn file_of(name: &str) -> FileId {
    let index = PARTS.iter().position(|part| *part == name).unwrap_or(0);
    FileId(FileId::WEATHER.0 + 1 + index as u16)
}

/// The templates as texts, in the order in which complaints point into them.
#[must_use]
pub fn texts(templates: &dyn Templates) -> Vec<Text> {
    PARTS
        .iter()
        .map(|part| Text {
            name: templates.label(part),
            words: templates.template(part).unwrap_or_default().to_owned(),
        })
        .collect()
}

/// Whether a template is the one that comes with the program, be it with the comment at its head or without.
#[must_use]
pub fn unchanged(words: &str, shipped: &str) -> bool {
    let head = words.strip_suffix(shipped).map(str::trim);
    head.is_some_and(|head| {
        let comment = head.strip_prefix("{#-").and_then(|head| head.strip_suffix("-#}"));
        head.is_empty() || comment.is_some_and(|comment| !comment.contains("#}"))
    })
}

/// A text made from another, and where its bytes came from.
#[derive(Clone, Debug, Default)]
pub(super) struct Prepared {
    pub text: String,
    /// Where a stretch starts here, and where it started there; sorted.
    places: Vec<(usize, usize)>,
}

impl Prepared {
    /// The place there of a byte here.
    pub(super) fn origin(&self, at: usize) -> usize {
        let index = self.places.partition_point(|(here, _)| *here <= at);
        let Some((here, there)) = index.checked_sub(1).and_then(|i| self.places.get(i)) else { return at };
        let next = self.places.get(index).map_or(usize::MAX, |(_, there)| *there);
        (there + (at - here)).min(next)
    }

    /// The place there of a stretch here.
    pub(super) fn span(&self, file: FileId, range: std::ops::Range<usize>) -> Span {
        let start = self.origin(range.start);
        // The end is that of the last byte, so that a stretch does not take in what was left out after it.
        let end = if range.end > range.start { self.origin(range.end - 1) + 1 } else { start };
        Span::new(file, start, end.max(start))
    }

    pub(super) fn copy(&mut self, words: &str, from: usize) {
        self.places.push((self.text.len(), from));
        self.text.push_str(words);
    }

    /// This text, made from one that was made from another.
    fn through(mut self, earlier: &Prepared) -> Self {
        let mut places: Vec<(usize, usize)> =
            self.places.iter().map(|(here, there)| (*here, earlier.origin(*there))).collect();
        // A stretch here may run over several stretches there.
        for (middle, there) in &earlier.places {
            let index = self.places.partition_point(|(_, from)| from <= middle);
            if let Some((here, from)) = index.checked_sub(1).and_then(|i| self.places.get(i)) {
                let at = here + (middle - from);
                let end = self.places.get(index).map_or(self.text.len(), |(next, _)| *next);
                if at < end {
                    places.push((at, *there));
                }
            }
        }
        places.sort_unstable();
        self.places = places;
        self
    }
}

/// A template as it is filled in.
pub(super) fn prepare(template: &str, american: bool) -> Prepared {
    let tidy = tidy_tags(template);
    if american { words::american(&tidy.text).through(&tidy) } else { tidy }
}

/// Lets a line that holds nothing but tags leave no trace in the text: its indentation goes, and its line break moves
/// inside its last tag, so that lines keep their numbers.
fn tidy_tags(template: &str) -> Prepared {
    let mut out = Prepared { text: String::with_capacity(template.len() + 256), places: Vec::new() };
    let mut at = 0;
    for line in template.split_inclusive('\n') {
        let bare = line.trim();
        let tag = (bare.starts_with("{%") && bare.ends_with("%}")) || (bare.starts_with("{#") && bare.ends_with("#}"));
        if tag && !holds_words(bare) && line.ends_with('\n') {
            let (head, close) = bare.split_at(bare.len() - 2);
            // A dash that trims white space must stay beside its bracket.
            let (head, dash) = head.strip_suffix('-').map_or((head, ""), |h| (h, "-"));
            let start = at + (line.len() - line.trim_start().len());
            out.copy(head, start);
            out.copy("\n", start + head.len());
            out.copy(dash, start + head.len());
            out.copy(close, start + head.len() + dash.len());
        } else {
            out.copy(line, at);
        }
        at += line.len();
    }
    out
}

/// Whether anything stands outside the tags of a line.
fn holds_words(line: &str) -> bool {
    let mut rest = line;
    loop {
        rest = rest.trim_start();
        let close = match rest.get(..2) {
            Some("{%") => "%}",
            Some("{#") => "#}",
            _ => return !rest.is_empty(),
        };
        match rest.split_once(close) {
            Some((_, after)) => rest = after,
            None => return true,
        }
    }
}

/// Words and tags of a prepared template, in turn: whether it is a tag, where it starts, and its text.
pub(super) fn pieces(template: &str) -> Vec<(bool, usize, &str)> {
    let mut out = Vec::new();
    let (mut rest, mut at) = (template, 0);
    while !rest.is_empty() {
        let mut open = 0;
        while let Some(found) = rest.get(open..).and_then(|tail| tail.find('{')) {
            open += found;
            if matches!(rest.as_bytes().get(open + 1), Some(b'{' | b'%' | b'#')) {
                break;
            }
            open += 1;
        }
        if !matches!(rest.get(open..open + 2), Some("{{" | "{%" | "{#")) {
            open = rest.len();
        }
        let (words, tail) = rest.split_at(open);
        if !words.is_empty() {
            out.push((false, at, words));
        }
        let close = match tail.get(..2) {
            Some("{{") => "}}",
            Some("{%") => "%}",
            _ => "#}",
        };
        let length = tail.find(close).map_or(tail.len(), |end| end + 2);
        let (tag, after) = tail.split_at(length);
        if !tag.is_empty() {
            out.push((true, at + open, tag));
        }
        at += open + length;
        rest = after;
    }
    out
}

/// All templates, ready to be filled in.
pub(super) struct Library {
    prepared: BTreeMap<&'static str, Prepared>,
}

impl Library {
    /// Reads all templates; own ones are checked in every branch.
    ///
    /// # Errors
    /// Everything that is wrong with them.
    pub(super) fn read(templates: &dyn Templates, american: bool) -> Result<Self, Diagnostics> {
        let mut prepared = BTreeMap::new();
        let mut complaints = Diagnostics::new();
        for part in PARTS {
            let Some(text) = templates.template(part) else { continue };
            if templates.own(part)
                && let Some(range) = long_tag(text)
            {
                complaints.push(
                    Diagnostic::error(
                        "long-tag",
                        Span::new(file_of(part), range.start, range.end),
                        "a tag is too long",
                    )
                    .label(format!("more than {LONGEST_TAG} words and signs stand in it"))
                    .why("nobody can read it, and the program would go too deep")
                    .hint("give parts of it names, each with a `{% set %}` of its own"),
                );
                continue;
            }
            if text.len() > LARGEST {
                complaints.push(
                    Diagnostic::error("large-template", Span::new(file_of(part), 0, 0), "the template is too large")
                        .label(format!("it has {} kB", text.len() / 1000))
                        .why("no plan has so many words, so something else may stand in the file")
                        .hint("see whether the right file was saved under this name"),
                );
                continue;
            }
            prepared.insert(part, prepare(text, american));
        }
        let library = Library { prepared };
        if !complaints.any_error() && PARTS.iter().any(|part| templates.own(part)) {
            complaints.append(library.check());
        }
        if complaints.any_error() { Err(complaints) } else { Ok(library) }
    }

    /// Everything that can be said against the templates without filling them in.
    pub(super) fn check(&self) -> Diagnostics {
        checks::check(&self.prepared)
    }

    /// Fills in one template.
    ///
    /// # Errors
    /// A complaint at the place where it could not go on.
    pub(super) fn fill(&self, name: &str, view: &Value) -> Result<String, Diagnostic> {
        let texts = self.prepared.iter().map(|(part, prepared)| (*part, prepared.text.as_str()));
        let text = render(texts, name, view.clone()).map_err(|error| self.broken(&error, name))?;
        if text.len() > LONGEST {
            return Err(Diagnostic::error(
                "endless-template",
                Span::new(file_of(name), 0, 0),
                "the plan becomes too long",
            )
            .label(format!("this template makes {} kB of text", text.len() / 1000))
            .why("nobody would print it, so a loop may run too often")
            .hint("look for a `{% for %}` inside another"));
        }
        Ok(text)
    }

    /// The line of a template that made a place in its text: filled in again with marks at the heads of lines.
    /// `None` when the marks themselves changed the text.
    pub(super) fn sources(&self, name: &str, view: &Value, filled: &str) -> Option<Sources> {
        let mut lines: Vec<(FileId, usize)> = Vec::new();
        let mut marked: Vec<(&str, String)> = Vec::new();
        for (part, prepared) in &self.prepared {
            let mut out = String::with_capacity(prepared.text.len() + 4096);
            for (tag, at, words) in pieces(&prepared.text) {
                if tag {
                    out.push_str(words);
                    continue;
                }
                let mut line_at = at;
                for line in words.split_inclusive('\n') {
                    let head = line.len() - line.trim_start().len();
                    if let (false, Some(mark)) = (line.trim().is_empty(), mark(lines.len())) {
                        // Directly before a sign that is not white space, which tags may trim.
                        out.push_str(line.get(..head).unwrap_or_default());
                        out.push(mark);
                        out.push_str(line.get(head..).unwrap_or_default());
                        lines.push((file_of(part), prepared.origin(line_at + head)));
                    } else {
                        out.push_str(line);
                    }
                    line_at += line.len();
                }
            }
            marked.push((part, out));
        }
        let texts = marked.iter().map(|(part, text)| (*part, text.as_str()));
        let text = render(texts, name, view.clone()).ok()?;
        let mut plain = String::with_capacity(text.len());
        let mut places = Vec::new();
        for c in text.chars() {
            match unmark(c).and_then(|index| lines.get(index)) {
                Some(line) => places.push((plain.len(), *line)),
                None => plain.push(c),
            }
        }
        (plain == filled).then_some(Sources { places })
    }

    /// A broken template gets the same kind of complaint as a broken site file.
    fn broken(&self, error: &minijinja::Error, name: &str) -> Diagnostic {
        // An error in an included template or a macro wraps the one that says where.
        let mut inner = error;
        while let Some(source) = inner.source().and_then(|e| e.downcast_ref::<minijinja::Error>()) {
            inner = source;
        }
        let part = inner.name().or(error.name()).unwrap_or(name);
        let part = PARTS.iter().find(|p| **p == part).copied().unwrap_or("care-plan");
        let file = file_of(part);
        let prepared = self.prepared.get(part);
        let line = || {
            let start =
                prepared?.text.split_inclusive('\n').take(inner.line()?.checked_sub(1)?).map(str::len).sum::<usize>();
            let line = prepared?.text.get(start..)?.lines().next()?;
            Some(start..start + line.trim_end().len())
        };
        let range = inner.range().or_else(line).unwrap_or(0..0);
        let span = prepared.map_or_else(|| Span::new(file, 0, 0), |prepared| prepared.span(file, range.clone()));
        let written = prepared.and_then(|p| p.text.get(range)).unwrap_or_default();
        complaint(inner.kind(), inner.detail().unwrap_or_default(), written, span)
    }
}

/// A complaint about an error of the template language.
pub(super) fn complaint(kind: ErrorKind, detail: &str, written: &str, span: Span) -> Diagnostic {
    let short: String = written.split_whitespace().collect::<Vec<_>>().join(" ");
    let why = "the words of the plan come from it";
    let saying = |otherwise: &str| if detail.is_empty() { otherwise.to_owned() } else { detail.to_owned() };
    match kind {
        ErrorKind::InvalidOperation if detail.contains("recursion limit") => {
            Diagnostic::error("endless-template", span, "the template does not come to an end")
                .label("this calls itself again and again")
                .why("it was stopped at a depth that no plan needs")
                .hint("look for a macro that calls itself, or a template that includes itself")
        }
        ErrorKind::OutOfFuel => {
            Diagnostic::error("endless-template", span, "the template does not come to an end")
                .label("it was stopped here")
                .why("a plan is made in less than a thirtieth of the work that was spent on it")
                .hint("look for a `{% for %}` that runs too often, or a macro that calls itself")
        }
        ErrorKind::UndefinedError => {
            let root: String = short.chars().take_while(|c| c.is_alphanumeric() || matches!(c, '_' | '.')).collect();
            let whole = root.rsplit_once('.').map_or(root.as_str(), |(head, _)| head);
            let hint = if offer::find(whole).is_some() {
                format!("`{whole}` is absent in this plan: put this between `{{% if {whole} %}}` and `{{% endif %}}`")
            } else {
                "ask with `{% if %}` whether it is there; `weirbook templates FOLDER` writes templates that name all values".to_owned()
            };
            let name = if short.is_empty() { "a value".to_owned() } else { format!("`{short}`") };
            Diagnostic::error("absent-value", span, format!("{name} is not there"))
                .label("nothing stands behind this in the plan that is being made")
                .why("a plan with a hole in a sentence is worse than none")
                .hint(hint)
        }
        ErrorKind::SyntaxError => Diagnostic::error("template-syntax", span, "the template cannot be read here")
            .label(saying("something is missing or out of place"))
            .why(why)
            .hint("a value reads `{{ site.name }}`, a question `{% if buffer %} ... {% endif %}`, a list `{% for r in readings %} ... {% endfor %}`"),
        ErrorKind::TemplateNotFound | ErrorKind::BadInclude => {
            Diagnostic::error("unknown-template", span, "a template of this name does not exist")
                .label(saying("this name is not known"))
                .why(why)
                .hint(format!("possible are {}", listed(PARTS)))
        }
        _ => Diagnostic::error("broken-template", span, "the template cannot go on here")
            .label(saying(&kind.to_string()))
            .why(why)
            .hint("compare with the template that comes with the program: `weirbook templates FOLDER` writes it out"),
    }
}

/// The first tag that is too long.
fn long_tag(template: &str) -> Option<std::ops::Range<usize>> {
    use minijinja::machinery::{Token, tokenize};
    let mut tag: Option<(usize, usize)> = None;
    for found in tokenize(template, false, Default::default()) {
        // What cannot be read is complained about elsewhere.
        let (token, span) = found.ok()?;
        match token {
            Token::VariableStart | Token::BlockStart => tag = Some((span.start_offset as usize, 0)),
            Token::VariableEnd | Token::BlockEnd => tag = None,
            _ => {
                if let Some((start, count)) = &mut tag {
                    *count += 1;
                    if *count > LONGEST_TAG {
                        return Some(*start..*start + 2);
                    }
                }
            }
        }
    }
    None
}

fn environment<'t>(texts: impl Iterator<Item = (&'t str, &'t str)>) -> Result<Environment<'t>, minijinja::Error> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(minijinja::UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|_| minijinja::AutoEscape::Custom("markdown".into()));
    environment.set_formatter(words::escaping_formatter);
    environment.set_fuel(Some(FUEL));
    environment.set_debug(true);
    for (part, text) in texts {
        environment.add_template(part, text)?;
    }
    Ok(environment)
}

fn render<'t>(
    texts: impl Iterator<Item = (&'t str, &'t str)>,
    name: &str,
    view: Value,
) -> Result<String, minijinja::Error> {
    environment(texts)?.get_template(name)?.render(view)
}

/// The first sign of a plane for private use: no script has it, and no value that is printed holds it.
const MARKS: u32 = 0xF_0000;
const MOST_MARKS: u32 = 0xFFFD;

fn mark(index: usize) -> Option<char> {
    u32::try_from(index).ok().filter(|i| *i < MOST_MARKS).and_then(|i| char::from_u32(MARKS + i))
}

fn unmark(c: char) -> Option<usize> {
    u32::from(c).checked_sub(MARKS).filter(|i| *i < MOST_MARKS).map(|i| i as usize)
}

/// Where the lines of a filled-in text came from.
pub(super) struct Sources {
    /// Place in the text; template and place in it.
    places: Vec<(usize, (FileId, usize))>,
}

impl Sources {
    /// The template and the place in it that made this place of the text.
    pub(super) fn of(&self, at: usize) -> Option<(FileId, usize)> {
        let index = self.places.partition_point(|(place, _)| *place <= at);
        index.checked_sub(1).and_then(|i| self.places.get(i)).map(|(_, line)| *line)
    }
}

/// Something in the filled-in text that cannot be set as it stands.
#[derive(Clone, Debug)]
pub(super) struct Slip {
    /// Where it is in the text.
    pub at: usize,
    /// What to underline, if the template holds it as it stands.
    pub word: String,
    /// The complaint, without a place.
    pub complaint: Diagnostic,
}

/// Slips as complaints at the lines of the templates that made them, each place once.
pub(super) fn located(slips: Vec<Slip>, sources: Option<&Sources>, name: &str, texts: &[Text]) -> Diagnostics {
    let mut out = Diagnostics::new();
    let mut said: Vec<(Option<Span>, &'static str)> = Vec::new();
    for slip in slips {
        let (file, at) = sources.and_then(|s| s.of(slip.at)).unwrap_or((file_of(name), 0));
        let words =
            file.0.checked_sub(FileId::WEATHER.0 + 1).and_then(|i| texts.get(usize::from(i))).map(|t| t.words.as_str());
        let words = words.unwrap_or_default();
        let found = sources.is_some().then(|| words.get(at..)).flatten().map(|tail| {
            // The word may stand a few lines below the mark: a table's rows have one each, a paragraph's lines too.
            let near: usize = tail.split_inclusive('\n').take(3).map(str::len).sum();
            let line = tail.lines().next().unwrap_or_default().trim_end().len();
            let within = tail.get(..near).filter(|_| !slip.word.is_empty()).and_then(|near| near.find(&slip.word));
            match within {
                Some(start) => Span::new(file, at + start, at + start + slip.word.len()),
                None => Span::new(file, at, at + line),
            }
        });
        let span = found.unwrap_or_else(|| Span::new(file, 0, 0));
        if said.contains(&(Some(span), slip.complaint.id)) {
            continue;
        }
        said.push((Some(span), slip.complaint.id));
        out.push(Diagnostic { span: Some(span), ..slip.complaint });
    }
    out
}

/// A complaint about a name that is not offered, with the nearest that is.
pub(super) fn unknown_name(whole: &str, under: &str, written: &str, span: Span, also: &[&str]) -> Diagnostic {
    let mut names: Vec<&str> = also.to_vec();
    names.extend(offer::under(under).iter().copied());
    let near = nearest(written, names.iter().copied());
    let elsewhere = || offer::NAMES.iter().find(|n| n.path.rsplit('.').next() == Some(written)).map(|n| n.path);
    let hint = match (near, elsewhere()) {
        (Some(near), _) => {
            let near = if under.is_empty() {
                near.to_owned()
            } else {
                format!("{}.{near}", whole.rsplit_once('.').map_or(under, |(head, _)| head))
            };
            format!("write `{near}` if that is meant")
        }
        (None, Some(path)) if !path.contains("[]") => format!("`{path}` has a name like it"),
        _ if !under.is_empty() && names.len() <= 12 => format!("possible are {}", listed(names)),
        _ => "`weirbook templates FOLDER` writes templates that name all values at their head".to_owned(),
    };
    Diagnostic::error("unknown-name", span, format!("`{whole}` is no value of the plan"))
        .label("this name is not known")
        .why("nothing can be printed in its place")
        .hint(hint)
}
