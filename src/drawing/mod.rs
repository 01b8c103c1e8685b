//! Drawings of the plan: gauges, the log, staircases, the year, and the water in section (PAGE.md section 10).
//!
//! Each function takes numbers and finished words and gives a [`Drawing`](crate::page::Drawing). `scale` has the scales,
//! round ticks and the time axis of all of them, `canvas` their marks and labels. Nothing here formats a value or a unit,
//! but for the round numbers of an axis ([`Ticks`]). Whatever the input, no label meets another and everything stays in
//! the box, widened by the label column at the left and the number column at the right.

mod beside;
mod canvas;
mod gauge;
mod log;
mod scale;
mod section;
mod stairs;
mod water_year;
mod year;

pub use beside::{Bars, Beside, beside};
pub use canvas::{Said, text_width};
pub use gauge::{Gauge, gauge};
pub use log::{Limit, Log, Panel, Point, log};
pub use scale::Ticks;
pub use section::{Floor, SectionSketch, SketchPart, section_sketch};
pub use stairs::{Stairs, day_centres, staircase};
pub use water_year::{MonthBars, YearLine, month_bars, year_line};
pub use year::{CopperChart, LevelStrip, YearStrip, copper_chart, level_strip, year_strip};
