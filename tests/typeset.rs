//! The pages of every demo plan and of many generated ones: what a good compositor would not let pass.
#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use weirbook::Shipped;
use weirbook::document::Edition;
use weirbook::layout::typeset;

use crate::demos::{DEMOS, job};
use crate::layout::fonts;

#[test]
#[ignore = "for a profiler"]
fn many_times() {
    let job = job(DEMOS[0].0);
    let (document, _) = weirbook::set(&job, Edition::CarePlan, &Shipped, fonts()).unwrap();
    let times: usize = std::env::var("TIMES").map_or(1, |times| times.parse().unwrap());
    for _ in 0..times {
        std::hint::black_box(typeset(&document, fonts()));
    }
}
