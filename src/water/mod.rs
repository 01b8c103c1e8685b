//! Volumes, mixing and the copper balance of a pond.
//!
//! Waters are taken to mix by volume with nothing falling out. The schedule of the panel is plain input here; `plan`
//! chooses it.

pub mod changes;
pub mod copper;
pub mod evaporation;
pub mod flow;
pub mod volume;
