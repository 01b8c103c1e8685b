//! The file: written twice it is the same, and its words can be read back.

use std::fs::File;
use std::io::Write as _;

use weirbook::page::Document;
use weirbook::pdf::{Attachment, read, write};

use crate::layout::{fonts, poster, sampler, set};

fn written(document: &Document) -> Vec<u8> {
    let attachment = Attachment {
        name: "input.toml".to_owned(),
        media_type: "text/plain".to_owned(),
        bytes: b"roof = \"felt\"\n".to_vec(),
        description: "What this report was made from".to_owned(),
        relationship: "Source".to_owned(),
    };
    write(&set(document).pages, document, fonts(), &[attachment]).unwrap()
}

#[test]
#[ignore = "writes the samples for a person to look at"]
fn the_samples_can_be_looked_at() {
    for (name, document) in [("report", sampler()), ("poster", poster())] {
        let path = format!("{}/{name}.pdf", env!("CARGO_TARGET_TMPDIR"));
        File::create(path).unwrap().write_all(&written(&document)).unwrap();
    }
}
