//! The rows of the safety check for the spreadsheet, with the lines behind their numbers.

use crate::plan::Check;
use crate::sheet::Limit;

/// Limit and proposal in the words of the check; the lines that may have what is proposed; the lines, or titles of inputs,
/// that may have what is allowed. A link is drawn only where the numbers are the same: the check works most of its own out
/// apart from the lines.
struct Link(&'static str, &'static str, &'static [&'static str], &'static [&'static str]);

const RISE: &[&str] = &["largest rise in a day"];
const LOW: &[&str] = &["target.carbonate-hardness.low", "year.least-edge-low"];
const HIGH: &[&str] = &["target.carbonate-hardness.high", "year.least-edge-high"];
const SHARE: &[&str] = &["largest share changed in a day"];
const TOXIC: &[&str] = &["target.unionised-ammonia.high", "limit of un-ionised ammonia"];

#[rustfmt::skip]
const LINKS: &[Link] = &[
    Link("largest rise of carbonate hardness in a day", "one dose of buffer", &["hardness.buffer.rise-most"], RISE),
    Link("largest rise of carbonate hardness in a day", "a dose of the water year", &["year.least-rise"], RISE),
    Link("upper edge of the window", "carbonate hardness after all doses", &["hardness.buffer.after-most"], HIGH),
    Link("upper edge of the window", "the water year with what is proposed", &["year.least-highest"], HIGH),
    Link("lower edge of the window", "the water year with what is proposed", &["year.least-lowest"], LOW),
    Link("lower edge of the window", "after the corrections, low end", &["hardness.after.low"], LOW),
    Link("un-ionised ammonia", "at the highest pH after all doses", &["ammonia.unionised-after-most"], TOXIC),
    Link("un-ionised ammonia", "after a change with treated supply", &[], TOXIC),
    Link("un-ionised ammonia", "after a change of the water year", &[], TOXIC),
    Link("largest rise of general hardness in a day", "one dose of calcium chloride", &[], &["largest rise of general hardness in a day"]),
    Link("largest change of pH in a day", "one dose of calcium chloride", &["ph.calcium-shift"], &[]),
    Link("largest change of pH in a day", "one dose of salt", &["ph.salt-shift"], &[]),
    Link("largest change of pH in a day", "one dose of buffer", &["ph.dose-shift"], &[]),
    Link("largest change of pH in a day", "one change of water", &["change.ph-shift", "copper.change.ph-shift"], &[]),
    Link("largest change of pH by a dose", "a dose of the water year", &["year.least-ph"], &[]),
    Link("general hardness: its target, or what calcium needs", "the water after all doses", &[], &["target.general-hardness.high"]),
    Link("largest share of the water changed in a day", "one change", &["change.share-most", "copper.change.share-most"], SHARE),
    Link("largest share of the water changed in a day", "the water year", &["year.least-share"], SHARE),
    Link("alkalinity under copper", "after the corrections, low end", &["hardness.after.low", "copper.alkalinity"], &[]),
    Link("calcium hardness under copper", "after the corrections, low end", &["calcium.after-low", "copper.calcium"], &[]),
    Link("stop for total copper", "the highest day of the schedule, kinder corner", &[], &["copper.stop"]),
    Link("watch for total copper", "by copper tests alone, at the next test", &[], &["copper.test-most"]),
    Link("stop for total copper", "by copper tests alone, at the next test", &[], &["copper.test-stop"]),
    Link("lasting limit, mean over 28 days", "the worst 28 days of the schedule", &[], &["copper.lasting"]),
];

/// The rows.
pub(super) fn rows(checks: &[Check]) -> Vec<Limit> {
    checks
        .iter()
        .map(|check| {
            let link = LINKS.iter().find(|link| link.0 == check.limit && link.1 == check.proposal);
            Limit {
                limit: check.limit.clone(),
                proposal: check.proposal.clone(),
                proposed: check.proposed,
                allowed: check.allowed,
                unit: check.unit,
                floor: check.floor,
                proposed_in: link.map_or(&[], |link| link.2),
                allowed_in: link.map_or(&[], |link| link.3),
            }
        })
        .collect()
}
