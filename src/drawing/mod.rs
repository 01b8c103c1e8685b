//! Drawings of the plan: gauges, the log, the staircase of doses, and the year (PAGE.md section 10).
//!
//! Each function takes numbers and finished words and gives a [`Drawing`](crate::page::Drawing). Nothing here formats a
//! value or a unit. Whatever the input, no label meets another and everything stays in the box, widened by the label
//! column at the left and the number column at the right.

mod gauge;
mod log;
pub mod scale;
mod stairs;
mod year;

pub use gauge::{Gauge, gauge};
pub use log::{LogChart, Point, log_chart};
pub use scale::text_width;
pub use stairs::{Stairs, day_centres, staircase};
pub use year::{CopperChart, LevelStrip, YearStrip, copper_chart, level_strip, year_strip};
