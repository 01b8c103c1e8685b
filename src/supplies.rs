//! What a run may ask of the world.

use std::borrow::Cow;

use crate::document::Templates;
use crate::page::{Art, Face, Photo};

/// All that a run may ask for. `cli` answers from disk; tests answer from memory.
pub trait Supplies: Templates {
    /// The bytes of a face.
    fn face(&self, face: Face) -> Cow<'static, [u8]>;
    /// The letterhead art at a path relative to the site file: `None` if there is no such file.
    fn art(&self, path: &str) -> Option<Result<Art, Fault>>;
    /// The file of that art as it is, to travel inside the PDF.
    fn art_file(&self, _path: &str) -> Option<Vec<u8>> {
        None
    }
    /// The photograph at a path relative to the site file: `None` if there is no such file.
    fn photo(&self, path: &str) -> Option<Result<Photo, Fault>>;
}

/// Why a picture cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What is wrong with the file: a clause, lower case.
    pub reason: String,
    /// What to do about it.
    pub hint: String,
}

impl Fault {
    /// A reason and a hint.
    #[must_use]
    pub fn new(reason: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { reason: reason.into(), hint: hint.into() }
    }
}

/// Templates and fonts that come with the program; no pictures.
#[derive(Clone, Copy, Debug, Default)]
pub struct Shipped;

macro_rules! template {
    ($name:literal) => {
        include_str!(concat!("../templates/", $name, ".md"))
    };
}

impl Templates for Shipped {
    fn template(&self, name: &str) -> Option<&str> {
        match name {
            "care-plan" => Some(template!("care-plan")),
            "shed-sheet" => Some(template!("shed-sheet")),
            "workings" => Some(template!("workings")),
            "sentences" => Some(template!("sentences")),
            _ => None,
        }
    }
}

macro_rules! font {
    ($name:literal) => {
        include_bytes!(concat!("../fonts/", $name, ".otf"))
    };
}

impl Supplies for Shipped {
    fn face(&self, face: Face) -> Cow<'static, [u8]> {
        let bytes: &'static [u8] = match face {
            Face::Serif => font!("SourceSerif4-Regular"),
            Face::SerifItalic => font!("SourceSerif4-It"),
            Face::SerifSemibold => font!("SourceSerif4-Semibold"),
            Face::Display => font!("SourceSerif4Display-Regular"),
            Face::DisplaySemibold => font!("SourceSerif4Display-Semibold"),
            Face::Sans => font!("SourceSans3-Regular"),
            Face::SansItalic => font!("SourceSans3-It"),
            Face::SansSemibold => font!("SourceSans3-Semibold"),
            Face::SansBold => font!("SourceSans3-Bold"),
        };
        Cow::Borrowed(bytes)
    }

    fn art(&self, _path: &str) -> Option<Result<Art, Fault>> {
        None
    }

    fn photo(&self, _path: &str) -> Option<Result<Photo, Fault>> {
        None
    }
}
