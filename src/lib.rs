//! weirbook turns a site file and a log of readings into a care plan for a pond, as PDF.
pub mod chem;
pub mod cli {
    //! The command line.
    pub mod complaints;
}
pub mod diag;
pub mod page;
pub mod plan;
pub mod reference;
pub mod site;
pub mod units;
pub mod water;
pub mod workings;
