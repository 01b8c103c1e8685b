//! What the firm brings to the look: its colour and its letterhead.

use crate::diag::{Diagnostic, Diagnostics};
use crate::document::Pictured;
use crate::page::style::{LARGE_CONTRAST, TEXT_CONTRAST, contrast};
use crate::page::{Letterhead, Paper};
use crate::site::{self, Site};
use crate::supplies::Supplies;

const PAPER: [u8; 3] = [0xff; 3];
/// What is drawn where the firm has no colour, or none that can be read.
const INK: [u8; 3] = [0x1b, 0x23, 0x26];

/// The paper of the site file as layout knows it.
pub(super) fn paper(chosen: site::Paper) -> Paper {
    match chosen {
        site::Paper::A4 => Paper::A4,
        site::Paper::Letter => Paper::Letter,
        site::Paper::A5 => Paper::A5,
        site::Paper::HalfLetter => Paper::HalfLetter,
    }
}

/// The firm's colour: plain ink where it has none, or one too pale for paper, which is complained of.
pub(super) fn accent(site: &Site, complaints: &mut Diagnostics) -> [u8; 3] {
    let Some(accent) = &site.firm.accent else { return INK };
    let found = contrast(accent.value, PAPER);
    if found >= LARGE_CONTRAST {
        return accent.value;
    }
    // Rounded down, so that 2.98 is not printed as the 3.0 it misses.
    let shown = crate::units::plain(libm::floor(found * 10.0) / 10.0, crate::units::Digits::Places(1));
    complaints.push(
        Diagnostic::warning("pale-accent", accent.span, format!("`{}` is too pale for white paper", hex(accent.value)))
            .label(format!("its contrast is {shown}; 4.5 can be read by nearly all, 3.0 is the least"))
            .why("the firm's name and the line numbers would be hard to read, and a grey printer would lose them; they are printed in plain ink instead")
            .hint(format!("write `\"{}\"`, the same colour darker, or take the line out", hex(darker(accent.value)))),
    );
    INK
}

fn hex([red, green, blue]: [u8; 3]) -> String {
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// The lightest shade of a colour that can be read as text on paper.
fn darker(colour: [u8; 3]) -> [u8; 3] {
    (0..=100u16)
        .rev()
        .map(|share| colour.map(|channel| u8::try_from(u16::from(channel) * share / 100).unwrap_or(0)))
        .find(|shade| contrast(*shade, PAPER) >= TEXT_CONTRAST)
        .unwrap_or(INK)
}

/// The firm's head. Art that cannot be read is complained of, and the firm's name stands in its place.
pub(super) fn letterhead(site: &Site, supplies: &dyn Supplies, complaints: &mut Diagnostics) -> Letterhead {
    let firm = &site.firm;
    let art = firm.letterhead.as_ref().and_then(|path| {
        let complaint = |message: String, hint: &str| {
            Diagnostic::warning("no-letterhead", path.span, message)
                .why("the firm's name is set in its place")
                .hint(hint)
        };
        match supplies.art(&path.value) {
            Some(Ok(art)) => Some(art),
            Some(Err(fault)) => {
                complaints.push(complaint(
                    format!("the letterhead `{}` cannot be used: {}", path.value, fault.reason),
                    &fault.hint,
                ));
                None
            }
            None => {
                let hint = "give the path of an SVG or PNG file, relative to the site file";
                complaints.push(complaint(format!("there is no letterhead `{}`", path.value), hint));
                None
            }
        }
    });
    let mut address = firm.address.clone();
    address.truncate(2);
    address.push(firm.telephone.clone());
    address.extend(firm.email.clone());
    Letterhead { name: firm.name.clone(), trade: firm.trade.clone(), address, art }
}

/// The photographs of the site file. One that cannot be used is complained of, and left out.
pub(super) fn photos(site: &Site, supplies: &dyn Supplies, complaints: &mut Diagnostics) -> Vec<Pictured> {
    let read = |photo: &site::Photo| {
        let complaint = |message: String, hint: &str| {
            Diagnostic::warning("no-photo", photo.file.span, message).why("the plan is made without it").hint(hint)
        };
        let name = &photo.file.value;
        match supplies.photo(name) {
            Some(Ok(found)) => Ok(Pictured {
                path: name.clone(),
                part: photo.part,
                photo: found,
                caption: photo.caption.clone(),
                alternative: photo.description.clone(),
            }),
            Some(Err(fault)) => {
                Err(complaint(format!("the photograph `{name}` cannot be used: {}", fault.reason), &fault.hint))
            }
            None => Err(complaint(
                format!("there is no photograph `{name}`"),
                "give the path of a JPEG or PNG file, relative to the site file",
            )),
        }
    };
    site.photos.iter().filter_map(|photo| complaints.keep(read(photo))).collect()
}
