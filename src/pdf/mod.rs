//! The display list as a PDF file, and the words of a PDF file read back.
//!
//! The files are tagged (PDF/UA-1) and fit for an archive (PDF/A-3a): faces embedded, colours defined, a document that says
//! what its parts are. The same display list gives the same bytes on every machine.

mod artifact;
mod attach;
mod colour;
mod finish;
mod metadata;
pub mod opened;
pub mod read;
mod save;
pub mod seen;
mod structure;
pub mod unlike;
pub mod write;

pub use attach::file_names;
pub use write::{Attachment, PdfError, on_paper, write};
