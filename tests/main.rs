//! All integration tests, in one binary: it links once.
mod complaints;
mod drawing;
mod layout;
mod pdf;
mod units;
