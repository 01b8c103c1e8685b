//! All integration tests, linked once.
mod layout;
mod pdf;
