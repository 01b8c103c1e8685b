//! All integration tests, in one binary: it links once.
mod complaints;
mod layout;
mod pdf;
mod units;
