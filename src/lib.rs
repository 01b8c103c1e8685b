//! weirbook turns a site file and a log of readings into a care plan for a pond, as PDF.
pub mod diag;
pub mod layout;
pub mod page;
pub mod pdf;
pub mod reference;
pub mod site;
pub mod units;
pub mod workings;
