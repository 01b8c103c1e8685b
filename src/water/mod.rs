//! Volumes, mixing, evaporation, the daily balance, and the copper of a pond.
//!
//! The schedule of the panel and the care of the pond are plain input here; `plan` chooses them. [`balance`] is the kernel
//! of the water year: [`basin`] gives it a shape, [`weather`] its sky, [`air`] its chemistry; [`past`] runs
//! it over the visits of a log, and learns from them.

pub mod air;
pub mod balance;
pub mod basin;
pub mod changes;
pub mod copper;
pub mod ensemble;
pub mod evaporation;
pub mod flow;
pub mod least;
pub mod past;
pub mod released;
pub mod volume;
pub mod weather;
