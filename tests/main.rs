//! All integration tests, in one binary: it links once.
mod chem;
mod complaints;
mod decisions;
mod demos;
mod drawing;
mod evaporation;
mod laws;
mod layout;
mod pdf;
mod ponds;
mod program;
mod published;
mod tidy;
mod units;
mod workings;
