//! weirbook turns a site file and a log of readings into a care plan for a pond, as PDF.
//!
//! One direction only: [`site`] reads the two texts, [`plan`] decides, [`document`] puts it into words, [`layout`] sets the
//! pages, [`pdf`] writes them. Nothing to the left knows what stands to its right. All but [`cli`] is a library that never
//! prints, never reads the clock and never touches a file; what it needs from the world comes in through [`Supplies`].
//!
//! [`read_site`] and [`plan`](plan::decide) make a plan; [`render`] makes the PDF of one edition.
pub mod audit;
pub mod chem;
pub mod cli;
pub mod diag;
pub mod document;
pub mod drawing;
mod front;
pub mod layout;
pub mod page;
pub mod pdf;
pub mod plan;
pub mod reference;
pub mod sheet;
pub mod site;
pub mod supplies;
pub mod units;
pub mod water;
pub mod workings;

pub use front::{Choices, Job, prepare, prepare_with_weather, render, set, spreadsheet};
pub use supplies::{Shipped, Supplies};
