//! JPEG files: their frame, their orientation, and the file without what does not belong into a plan.

use super::pixels::Pixels;
use crate::supplies::Fault;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// What a JPEG file says of itself.
#[derive(Debug)]
pub(super) struct Jpeg {
    pub width: usize,
    pub height: usize,
    pub components: u8,
    /// 1 to 8, as in EXIF.
    pub orientation: u32,
    /// Whether every reader of PDF shows it as it is: eight bits, Huffman coded, grey or YCbCr.
    pub plain: bool,
    /// Whether each colour has a scan of its own though nothing is progressive. The decoder gets the colours of such files
    /// wrong without saying so.
    pub parted: bool,
    /// The file with tables, frame and scans only. Cameras write the place of the picture into the rest.
    pub bare: Vec<u8>,
}

fn damaged(what: &str) -> Fault {
    Fault::new(
        format!("the JPEG is damaged: {what}"),
        "open it in a picture program and save it again, or take it off the camera once more",
    )
}

/// Walks a JPEG from marker to marker.
pub(super) fn walk(bytes: &[u8]) -> Result<Jpeg, Fault> {
    let mut jpeg = Jpeg {
        width: 0,
        height: 0,
        components: 0,
        orientation: 1,
        plain: false,
        parted: false,
        bare: bytes.get(..2).unwrap_or_default().to_vec(),
    };
    let mut adobe_transform = None;
    let (mut huffman, mut progressive) = (false, false);
    let mut named_rgb = false;
    let mut rest = bytes.get(2..).unwrap_or_default();
    loop {
        let [0xff, marker, after @ ..] = rest else { return Err(cut_short(rest)) };
        match marker {
            // A marker may be preceded by any number of these.
            0xff => {
                rest = rest.get(1..).unwrap_or_default();
                continue;
            }
            0xd9 => {
                jpeg.bare.extend([0xff, 0xd9]);
                break;
            }
            0x01 | 0xd0..=0xd7 => {
                rest = after;
                continue;
            }
            _ => {}
        }
        let [high, low, ..] = *after else { return Err(cut_short(after)) };
        let length = usize::from(u16::from_be_bytes([high, low]));
        let Some(body) = after.get(2..length) else { return Err(cut_short(&[])) };
        rest = after.get(length..).unwrap_or_default();
        let keep = match marker {
            0xe1 => {
                if let Some(exif) = body.strip_prefix(b"Exif\0\0") {
                    jpeg.orientation = orientation(exif.to_vec());
                }
                false
            }
            0xee => {
                if body.starts_with(b"Adobe") {
                    adobe_transform = body.get(11).copied();
                }
                adobe_transform.is_some()
            }
            0xe0 => body.starts_with(b"JFIF\0") && body.len() == 14,
            0xe2..=0xef | 0xfe => false,
            0xc0..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) => {
                let [precision, h1, h0, w1, w0, components, table @ ..] = body else {
                    return Err(damaged("its frame is cut short"));
                };
                jpeg.height = usize::from(u16::from_be_bytes([*h1, *h0]));
                jpeg.width = usize::from(u16::from_be_bytes([*w1, *w0]));
                jpeg.components = *components;
                progressive = matches!(marker, 0xc2);
                huffman = *precision == 8 && matches!(marker, 0xc0..=0xc2);
                named_rgb =
                    table.chunks_exact(3).map(|entry| entry.first().copied()).eq(b"RGB".iter().copied().map(Some));
                true
            }
            _ => true,
        };
        if keep {
            jpeg.bare.extend([0xff, *marker]);
            jpeg.bare.extend(after.get(..length).unwrap_or_default());
        }
        if *marker == 0xda {
            jpeg.parted |= !progressive && body.first().is_some_and(|&scanned| scanned < jpeg.components);
            // The scan's own bytes: up to the next marker that is neither a stuffed zero nor a restart.
            let end = rest
                .windows(2)
                .position(|pair| matches!(pair, [0xff, next] if !matches!(next, 0x00 | 0xd0..=0xd7 | 0xff)))
                .unwrap_or(rest.len());
            let (scan, others) = rest.split_at(end);
            jpeg.bare.extend(scan);
            rest = others;
        }
    }
    if jpeg.width == 0 || jpeg.height == 0 {
        return Err(damaged("it does not say how large it is"));
    }
    let ycc = match jpeg.components {
        1 => true,
        3 => adobe_transform.map_or(!named_rgb, |transform| transform == 1),
        _ => false,
    };
    jpeg.plain = huffman && ycc;
    Ok(jpeg)
}

/// The complaint about [`Jpeg::parted`].
pub(super) fn parted() -> Fault {
    Fault::new("the JPEG keeps each colour in a scan of its own", "open it in a picture program and save it again")
}

fn cut_short(rest: &[u8]) -> Fault {
    if rest.is_empty() {
        damaged("it ends before the picture does")
    } else {
        damaged("what should be a marker is none")
    }
}

/// The orientation that a block of EXIF data gives; 1, upright, where it gives none.
pub(super) fn orientation(data: Vec<u8>) -> u32 {
    let Ok(exif) = exif::Reader::new().read_raw(data) else { return 1 };
    let field = exif.get_field(exif::Tag::Orientation, exif::In::PRIMARY);
    field.and_then(|field| field.value.get_uint(0)).filter(|orientation| (1..=8).contains(orientation)).unwrap_or(1)
}

/// The pixels as stored.
pub(super) fn pixels(bytes: &[u8], jpeg: &Jpeg) -> Result<Pixels, Fault> {
    let (channels, space) = if jpeg.components == 1 { (1, ColorSpace::Luma) } else { (3, ColorSpace::RGB) };
    let options = DecoderOptions::default()
        .set_use_unsafe(false)
        .set_max_width(jpeg.width)
        .set_max_height(jpeg.height)
        .jpeg_set_out_colorspace(space);
    let decoded =
        JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode().map_err(|e| damaged(&e.to_string()))?;
    if decoded.len() != jpeg.width * jpeg.height * channels {
        return Err(damaged("it holds fewer pixels than it says"));
    }
    Ok(Pixels { width: jpeg.width, height: jpeg.height, channels, bytes: decoded })
}
