//! Complaints: what is wrong, where, why it matters, and what to write instead. Collected here, rendered by `cli` only.
//!
//! Wording: lower case, no full stop, literals in backticks, no blame, readable without colour.

use std::fmt;

/// Which of the texts handed in a span points into: its place in the list given to the renderer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FileId(pub u16);

impl FileId {
    /// The site file.
    pub const SITE: FileId = FileId(0);
    /// The log of readings.
    pub const LOG: FileId = FileId(1);
    /// The weather file.
    pub const WEATHER: FileId = FileId(2);
}

/// A stretch of a text, in bytes from its start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// Which text.
    pub file: FileId,
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

impl Span {
    /// A span in the given text.
    #[must_use]
    pub fn new(file: FileId, start: usize, end: usize) -> Self {
        Self { file, start, end: end.max(start) }
    }
}

/// A text that complaints point into: its name as the reader knows it, and its words.
#[derive(Clone, Debug)]
pub struct Text {
    /// The name to print, such as `site.toml`.
    pub name: String,
    /// The text itself.
    pub words: String,
}

impl Text {
    /// The line, counted from one, on which a byte stands.
    #[must_use]
    pub fn line_of(&self, at: usize) -> usize {
        self.words.bytes().take(at).filter(|&b| b == b'\n').count() + 1
    }
}

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The plan can be made; the reader should look.
    Warning,
    /// No plan is made: it would be unsafe or meaningless.
    Error,
}

/// One complaint.
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnostic {
    /// A stable name, such as `ambiguous-unit`.
    pub id: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// Where it is; `None` when the whole file is meant.
    pub span: Option<Span>,
    /// What is wrong: makes sense on its own.
    pub message: String,
    /// A few words under the marked text.
    pub label: Option<String>,
    /// Why it matters.
    pub why: Option<String>,
    /// What to write instead.
    pub hint: Option<String>,
}

impl Diagnostic {
    /// A complaint that stops the plan.
    pub fn error(id: &'static str, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, id, span.into(), message.into())
    }

    /// A complaint beside which the plan is still made.
    pub fn warning(id: &'static str, span: impl Into<Option<Span>>, message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, id, span.into(), message.into())
    }

    fn new(severity: Severity, id: &'static str, span: Option<Span>, message: String) -> Self {
        Self { id, severity, span, message, label: None, why: None, hint: None }
    }

    /// Adds a few words under the marked text.
    #[must_use]
    pub fn label(mut self, words: impl Into<String>) -> Self {
        self.label = Some(words.into());
        self
    }

    /// Adds why it matters.
    #[must_use]
    pub fn why(mut self, words: impl Into<String>) -> Self {
        self.why = Some(words.into());
        self
    }

    /// Adds what to write instead.
    #[must_use]
    pub fn hint(mut self, words: impl Into<String>) -> Self {
        self.hint = Some(words.into());
        self
    }
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self.severity {
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
        write!(f, "{word}[{}]: {}", self.id, self.message)
    }
}

impl From<Diagnostic> for Diagnostics {
    fn from(complaint: Diagnostic) -> Self {
        Self { list: vec![complaint] }
    }
}

/// All complaints of a run, in the order in which they were found.
#[derive(Clone, Debug, Default)]
pub struct Diagnostics {
    list: Vec<Diagnostic>,
}

impl Diagnostics {
    /// None yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds one.
    pub fn push(&mut self, complaint: Diagnostic) {
        self.list.push(complaint);
    }

    /// Adds all of another run.
    pub fn append(&mut self, other: Diagnostics) {
        self.list.extend(other.list);
    }

    /// The value, or nothing and one complaint more.
    pub fn keep<T>(&mut self, result: Result<T, Diagnostic>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(complaint) => {
                self.push(complaint);
                None
            }
        }
    }

    /// Whether one of them stops the plan.
    #[must_use]
    pub fn any_error(&self) -> bool {
        self.list.iter().any(|c| c.severity == Severity::Error)
    }

    /// All of them, in the order of their places; those without a place first.
    #[must_use]
    pub fn sorted(&self) -> Vec<&Diagnostic> {
        let mut list: Vec<&Diagnostic> = self.list.iter().collect();
        list.sort_by_key(|c| c.span.map(|s| (s.file, s.start)));
        list
    }

    /// How many.
    #[must_use]
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}

/// The name nearest to what was written, if one is near enough to be meant.
#[must_use]
pub fn nearest<'n>(written: &str, names: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    let written = written.to_lowercase();
    names
        .into_iter()
        .map(|name| (strsim::damerau_levenshtein(name, &written), name))
        .min()
        // A third of the letters may differ: `calcuim` is calcium, `salt` is not `silt bag`.
        .filter(|(distance, name)| *distance * 3 <= name.chars().count().max(3))
        .map(|(_, name)| name)
}

/// Names in a row for a sentence: `a`, `b` or `c`, each in backticks.
#[must_use]
pub fn listed<'n>(names: impl IntoIterator<Item = &'n str>) -> String {
    let names: Vec<String> = names.into_iter().map(|n| format!("`{n}`")).collect();
    match names.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
