//! What an audit finds.

use crate::diag::Diagnostic;

use super::figures::Moved;

/// One thing that is not as it should be.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Finding {
    /// A stable name, such as `number`.
    pub id: &'static str,
    /// The page, counted from 1.
    pub page: Option<usize>,
    /// The line of that page, counted from 1 at the top.
    pub line: Option<usize>,
    /// The number of the figure's line in the workings, and its id.
    pub figure: Option<(u32, String)>,
    /// What is printed, or what the file holds.
    pub printed: Option<String>,
    /// What comes out when the plan is made again.
    pub recomputed: Option<String>,
    /// What is wrong: makes sense on its own.
    pub message: String,
    /// The words around it.
    pub beside: Option<String>,
    /// Why it matters, or what it means.
    pub why: Option<String>,
}

impl Finding {
    /// A finding that is about no page.
    #[must_use]
    pub fn new(id: &'static str, message: impl Into<String>) -> Self {
        Self { id, message: message.into(), ..Self::default() }
    }

    /// Adds why it matters.
    #[must_use]
    pub fn why(mut self, words: impl Into<String>) -> Self {
        self.why = Some(words.into());
        self
    }

    /// Says on which page it is.
    #[must_use]
    pub fn on(mut self, page: usize) -> Self {
        self.page = Some(page);
        self
    }

    /// Adds what stands there and what should.
    #[must_use]
    pub fn values(mut self, printed: Option<String>, recomputed: Option<String>) -> Self {
        self.printed = printed;
        self.recomputed = recomputed;
        self
    }

    /// As a complaint.
    #[must_use]
    pub fn complaint(&self) -> Diagnostic {
        let place = match (self.page, self.line) {
            (Some(page), Some(line)) => format!("page {page}, line {line}: "),
            (Some(page), None) => format!("page {page}: "),
            _ => String::new(),
        };
        let mut complaint = Diagnostic::error(self.id, None, format!("{place}{}", self.message));
        if let Some(beside) = &self.beside {
            complaint = complaint.label(beside.clone());
        }
        if let Some(why) = &self.why {
            complaint = complaint.why(why.clone());
        }
        complaint
    }
}

/// What an audit comes to.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// The version that made the plan, where the file says it.
    pub made_by: Option<String>,
    /// The version that audits it.
    pub this: &'static str,
    /// Which document it is, where that is known: `care-plan`.
    pub edition: Option<&'static str>,
    /// The date on the plan.
    pub date: Option<String>,
    /// Everything that is not as it should be, the gravest first.
    pub findings: Vec<Finding>,
    /// What is worth knowing and no finding.
    pub remarks: Vec<String>,
    /// Figures that come out otherwise than the workings inside the file say.
    pub moved: Vec<Moved>,
    /// How many pages were read.
    pub pages: usize,
    /// How many words on them.
    pub words: usize,
    /// How many of these hold digits.
    pub numbers: usize,
    /// How many figures were compared.
    pub figures: usize,
    /// Whether the file made again is the same, byte for byte.
    pub same_bytes: bool,
}

impl Report {
    /// Whether everything agrees.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.findings.is_empty()
    }
}
