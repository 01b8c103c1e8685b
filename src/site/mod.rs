//! The site file and the log: as written, then as meant.
pub mod model;
pub use model::*;
