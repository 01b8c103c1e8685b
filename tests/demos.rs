//! The three demo sites, read and planned in memory.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own case has failed")]

use weirbook::diag::Text;
use weirbook::water::ensemble::Draw;
use weirbook::{Choices, Job, Shipped, prepare};

/// Site file and log of each demo, by the site's id.
pub const DEMOS: [(&str, &str, &str); 3] = [
    (
        "quoyle-end",
        include_str!("../demo-sites/quoyle-end/site.toml"),
        include_str!("../demo-sites/quoyle-end/log.csv"),
    ),
    ("pinch-gap", include_str!("../demo-sites/pinch-gap/site.toml"), include_str!("../demo-sites/pinch-gap/log.csv")),
    (
        "wendlow-bottom",
        include_str!("../demo-sites/wendlow-bottom/site.toml"),
        include_str!("../demo-sites/wendlow-bottom/log.csv"),
    ),
];

/// Few possible years, for tests that make many plans. What is printed of them is coarse; all else is as with a thousand.
pub const FEW: Draw = Draw { members: 20, seed: 1 };

/// The job of one demo.
pub fn job(id: &str) -> Job {
    let (_, site, log) = DEMOS.iter().find(|demo| demo.0 == id).unwrap();
    made(site, Some(log))
}

/// [`job`] with [`FEW`] possible years.
pub fn quick(id: &str) -> Job {
    let (_, site, log) = DEMOS.iter().find(|demo| demo.0 == id).unwrap();
    drawn(site, Some(log), Some(FEW))
}

/// A job from texts; panics with the complaints when there is none.
pub fn made(site: &str, log: Option<&str>) -> Job {
    drawn(site, log, None)
}

fn drawn(site: &str, log: Option<&str>, draw: Option<Draw>) -> Job {
    let site = Text { name: "site.toml".into(), words: site.into() };
    let log = log.map(|log| Text { name: "log.csv".into(), words: log.into() });
    let (job, complaints) = prepare(&site, log.as_ref(), Choices { draw, ..Choices::default() }, &Shipped);
    job.unwrap_or_else(|| panic!("{:#?}", complaints.sorted()))
}
