//! What this water is, and what an addition does to it.
//!
//! Kernels take bare numbers whose units stand in their comments and know nothing of workings: [`speciation`] (every
//! species at equilibrium), [`conductance`], [`solution`] (a water as its ions, and what is done to it), [`composition`]
//! (a water from a contractor's readings), [`treatment`] (courses of additions, and the least that is needed), [`gases`] and
//! [`activity`]. [`carbonate`] is the ideal carbonate system, kept as a second opinion for tests. The other files are thin
//! wrappers that build figures; [`figures`] has those of the solver, `equations` what it solved, written out at the result.

pub mod activity;
pub mod ammonia;
pub mod carbonate;
pub mod chlorine;
pub mod composition;
pub mod conductance;
pub mod conductivity;
pub mod copper;
pub mod dosing;
mod equations;
pub mod figures;
pub mod followed;
pub mod gases;
pub mod solution;
pub mod speciation;
pub mod treatment;
