//! What this water is, and what an addition does to it.
//!
//! Kernels ([`carbonate`]) take bare numbers whose units stand in their comments and know nothing of workings; the
//! other files are thin wrappers that build figures. Dilute fresh water is taken as ideal here: activities, ion pairs
//! and copper's forms are not modelled.

pub mod ammonia;
pub mod carbonate;
pub mod chlorine;
pub mod conductivity;
pub mod copper;
pub mod dosing;
