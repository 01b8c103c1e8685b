//! What was assumed, and what was not measured.

/// A number that was not measured and was used.
#[derive(Clone, Debug, PartialEq)]
pub struct Assumption {
    /// What.
    pub what: String,
    /// The value.
    pub value: String,
    /// The measurement that would replace it.
    pub instead: String,
    /// Where the value comes from: a citation's short words, or `common practice`.
    pub source: String,
}

impl Assumption {
    /// An assumption in words.
    pub fn new(what: &str, value: &str, instead: &str, source: &str) -> Self {
        Self { what: what.into(), value: value.into(), instead: instead.into(), source: source.into() }
    }
}

/// Something that was not measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Missing {
    /// What.
    pub what: String,
    /// How to measure it.
    pub measure: String,
}

impl Missing {
    /// Something missing, in words.
    pub fn new(what: &str, measure: &str) -> Self {
        Self { what: what.into(), measure: measure.into() }
    }
}
