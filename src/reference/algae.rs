//! Why algae does not give way to a raised spell: what in the log explains it, in the order in which it is looked at. All of it common
//! practice.
//!
//! How a sign is seen in a log is `plan::advice`' business, and the words are the templates'.

/// What explains it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlgaeCause {
    /// Its name in templates and tests.
    pub key: &'static str,
    /// The signs that tell of it, by their names.
    pub signs: &'static [&'static str],
}

/// What explains it, in order: a reading that makes copper idle, then the panel, then what algae lives on.
pub static ALGAE_CAUSES: [AlgaeCause; 6] = [
    // From the upper edge of the window on copper is bound.
    AlgaeCause { key: "bound", signs: &["hardness-over"] },
    // The level set was not the level that ran.
    AlgaeCause { key: "panel", signs: &["fell-short"] },
    // Copper does not get to the stones.
    AlgaeCause { key: "flow", signs: &["flow-under-least", "flow-slow", "flow-fell"] },
    // What algae eats comes in faster than copper can hold it.
    AlgaeCause { key: "nutrients", signs: &["nitrate-high", "phosphate-high", "supply-phosphate"] },
    // It is the water that is green, not the stones.
    AlgaeCause { key: "green-water", signs: &["note-green"] },
    // No reading shows it: it is looked at in any case.
    AlgaeCause { key: "light", signs: &[] },
];

/// Phosphate from which algae is fed, mg/L PO4 (common practice: growth slows below it).
pub const PHOSPHATE_FEEDS: f64 = 0.1;
/// Thread score at which algae has not given way (common practice: 2, a film, is the aim).
pub const SCORE_WORSE: u8 = 3;
/// Days a level stands raised before algae can be said not to have given way (common practice).
pub const SPELL_TELLS_DAYS: i64 = 7;
/// Days within which threads that come back count as not having given way (common practice: a month).
pub const BACK_WITHIN_DAYS: i64 = 31;
