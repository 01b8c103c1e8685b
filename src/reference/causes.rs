//! Why a panel does not reach its level: the causes, and what speaks for and against each. All of it common practice.
//!
//! A cause is a row of [`CAUSES`], a sign a row of [`SIGNS`]; how a sign is seen in a log is `plan::diagnosis`' business,
//! and the words are the templates'.

/// A cause. Their order settles ties: flow is looked at first, then minerals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cause {
    /// Its name in signs, templates and tests.
    pub key: &'static str,
}

/// The causes.
pub static CAUSES: [Cause; 7] = [
    // Too little water comes past the bars: a strainer, a pump, a valve.
    Cause { key: "strainer" },
    // Enough water runs, but not where the bars stand.
    Cause { key: "dead-water" },
    // Too few minerals to carry the current.
    Cause { key: "minerals" },
    // Cold water carries less.
    Cause { key: "cold" },
    // Lime or film on the bars.
    Cause { key: "scale" },
    // The bars are thin, and little of them is under water.
    Cause { key: "worn" },
    // The level as shown is not the current that flows: a cable, a joint, the panel itself.
    Cause { key: "panel" },
];

/// A sign, and how much it speaks for (or, negative, against) each cause it tells of.
#[derive(Debug)]
pub struct Sign {
    /// Its name in templates and tests.
    pub key: &'static str,
    /// Causes and weights: 3 nearly settles it, 2 is strong, 1 is a hint.
    pub weighs: &'static [(&'static str, i8)],
}

/// The signs (common practice; the state of the bars after the trade's own words for it).
pub static SIGNS: [Sign; 18] = [
    Sign { key: "flow-under-least", weighs: &[("strainer", 3)] },
    Sign { key: "flow-slow", weighs: &[("strainer", 2)] },
    Sign { key: "flow-fell", weighs: &[("strainer", 3)] },
    Sign { key: "flow-good", weighs: &[("strainer", -2)] },
    Sign { key: "green-bars", weighs: &[("dead-water", 3), ("strainer", 2)] },
    Sign { key: "white-bars", weighs: &[("scale", 3)] },
    Sign { key: "clean-bars", weighs: &[("scale", -3), ("dead-water", -2)] },
    Sign { key: "thin-bars", weighs: &[("worn", 3)] },
    Sign { key: "bars-used-up", weighs: &[("worn", 3)] },
    Sign { key: "bars-heavy", weighs: &[("worn", -3)] },
    Sign { key: "minerals-under-least", weighs: &[("minerals", 3)] },
    Sign { key: "minerals-over-least", weighs: &[("minerals", -2)] },
    Sign { key: "minerals-fell", weighs: &[("minerals", 3)] },
    Sign { key: "reached-with-less", weighs: &[("minerals", -3)] },
    Sign { key: "voltage-binds", weighs: &[("minerals", 2), ("cold", 1)] },
    Sign { key: "voltage-to-spare", weighs: &[("minerals", -3), ("cold", -3), ("panel", 1)] },
    Sign { key: "colder-than-when-reached", weighs: &[("cold", 2)] },
    Sign { key: "bars-lose-less", weighs: &[("dead-water", 1), ("panel", 2)] },
];
