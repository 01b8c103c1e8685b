//! Photographs: JPEG and PNG, right way up by their EXIF orientation, in no more pixels than the page shows.

use std::borrow::Cow;
use std::sync::Arc;

use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

use super::jpeg;
use super::pixels::Pixels;
use crate::page::{Photo, PhotoData};
use crate::supplies::Fault;

/// The largest file that is opened.
pub const MOST_BYTES: u64 = 40_000_000;
/// The most pixels a picture may have.
const MOST_PIXELS: usize = 100_000_000;
/// What a photograph may fill on the page, 131 by 85 mm, at 200 pixels to the inch.
const BOX: (usize, usize) = (1031, 669);
/// A JPEG that has no more than this many times the pixels it needs goes into the plan as it is.
const SLACK: usize = 5;
const SLACK_OF: usize = 4;
/// And no more bytes than this.
const MOST_AS_IT_IS: usize = 300_000;
/// Of 100. Higher is larger without being seen at this size in print.
const QUALITY: u8 = 82;

/// Reads a photograph.
///
/// # Errors
/// What is wrong with the file, and what to do about it.
pub fn read(bytes: &[u8]) -> Result<Photo, Fault> {
    if bytes.starts_with(b"\xff\xd8\xff") {
        return from_jpeg(bytes);
    }
    if bytes.starts_with(b"\x89PNG") {
        let (pixels, orientation) = png(bytes)?;
        return made(pixels, orientation);
    }
    Err(Fault::new(
        what_it_is(bytes).map_or_else(|| "it is no picture".to_owned(), |kind| format!("it is {kind}")),
        "save it as JPEG or PNG",
    ))
}

fn from_jpeg(bytes: &[u8]) -> Result<Photo, Fault> {
    let frame = jpeg::walk(bytes)?;
    bounded(frame.width, frame.height)?;
    if frame.parted && !(frame.plain && frame.orientation == 1 && frame.width <= BOX.0 && frame.height <= BOX.1) {
        return Err(jpeg::parted());
    }
    let pixels = jpeg::pixels(bytes, &frame)?;
    let fitted = pixels.fitted(BOX);
    let small = frame.width * SLACK_OF <= fitted.0 * SLACK && frame.bare.len() <= MOST_AS_IT_IS;
    if frame.plain && frame.orientation == 1 && small {
        let data = PhotoData::Jpeg { grey: frame.components == 1, bytes: Arc::from(frame.bare) };
        return Ok(Photo { width: pixels.width, height: pixels.height, data });
    }
    made(pixels, frame.orientation)
}

/// Shrinks, turns and packs.
fn made(pixels: Pixels, orientation: u32) -> Result<Photo, Fault> {
    let lies = matches!(orientation, 5..=8);
    let frame = if lies { (BOX.1, BOX.0) } else { BOX };
    let fitted = pixels.fitted(frame);
    let pixels = pixels.shrunk(fitted).upright(orientation);
    let (width, height) = (pixels.width, pixels.height);
    if pixels.is_drawn() {
        return Ok(Photo { width, height, data: PhotoData::Rgba(Arc::from(pixels.rgba())) });
    }
    let sides = (u16::try_from(width).ok()).zip(u16::try_from(height).ok());
    let mut packed = Vec::new();
    let mut encoder = Encoder::new(&mut packed, QUALITY);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    let colours = if pixels.channels == 1 { ColorType::Luma } else { ColorType::Rgb };
    let encoded = sides.and_then(|(width, height)| encoder.encode(&pixels.bytes, width, height, colours).ok());
    encoded.ok_or_else(|| Fault::new("it could not be packed for the plan", "save it smaller"))?;
    Ok(Photo { width, height, data: PhotoData::Jpeg { grey: pixels.channels == 1, bytes: Arc::from(packed) } })
}

/// Complains of a picture with too many pixels to hold in memory.
pub(super) fn bounded(width: usize, height: usize) -> Result<(), Fault> {
    if width.saturating_mul(height) > MOST_PIXELS {
        return Err(Fault::new(
            format!("it has {width} by {height} pixels; 100 million are the most"),
            "save it smaller: 2,000 pixels in the longer side are plenty for a page",
        ));
    }
    Ok(())
}

/// The pixels of a PNG on white paper, and its orientation.
pub(super) fn png(bytes: &[u8]) -> Result<(Pixels, u32), Fault> {
    let broken = |e: png::DecodingError| {
        let what = match e {
            png::DecodingError::IoError(_) => "it ends before the picture does".to_owned(),
            other => other.to_string(),
        };
        Fault::new(format!("the PNG is damaged: {what}"), "open it in a picture program and save it again")
    };
    let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
    // Palettes, two and four bits, sixteen bits: all come out as eight bits a channel.
    decoder.set_transformations(png::Transformations::normalize_to_color8());
    let mut reader = decoder.read_info().map_err(broken)?;
    let (width, height) = (reader.info().width as usize, reader.info().height as usize);
    bounded(width, height)?;
    let turned = reader.info().exif_metadata.as_ref().map_or(1, |exif| jpeg::orientation(exif.to_vec()));
    let size = reader.output_buffer_size().ok_or_else(|| Fault::new("the PNG is too large", "save it smaller"))?;
    let mut buffer = vec![0; size];
    let frame = reader.next_frame(&mut buffer).map_err(broken)?;
    buffer.truncate(frame.buffer_size());
    let pixels = match frame.color_type {
        png::ColorType::Grayscale => Pixels { width, height, channels: 1, bytes: buffer },
        png::ColorType::Rgb => Pixels { width, height, channels: 3, bytes: buffer },
        png::ColorType::GrayscaleAlpha => Pixels::on_white(width, height, 2, &buffer),
        png::ColorType::Rgba => Pixels::on_white(width, height, 4, &buffer),
        png::ColorType::Indexed => return Err(Fault::new("the PNG has no palette", "save it again as RGB")),
    };
    if pixels.bytes.len() != width * height * pixels.channels {
        return Err(Fault::new(
            "the PNG holds fewer pixels than it says",
            "open it in a picture program and save it again",
        ));
    }
    Ok((pixels, turned))
}

/// What a file is that is no picture we read, by its first bytes.
pub(super) fn what_it_is(bytes: &[u8]) -> Option<Cow<'static, str>> {
    let head = || String::from_utf8_lossy(bytes.get(..bytes.len().min(2000)).unwrap_or_default()).contains("<svg");
    let kinds: [(&[u8], usize, &str); 14] = [
        (b"\xff\xd8\xff", 0, "a JPEG file"),
        (b"\x89PNG", 0, "a PNG file"),
        (b"GIF8", 0, "a GIF file"),
        (b"II*\0", 0, "a TIFF file, or a camera's raw file"),
        (b"MM\0*", 0, "a TIFF file, or a camera's raw file"),
        (b"WEBP", 8, "a WebP file"),
        (b"ftypavif", 4, "an AVIF file"),
        (b"ftyp", 4, "a HEIC file or a film"),
        (b"%PDF", 0, "a PDF file"),
        (b"%!PS", 0, "an EPS file"),
        (b"BM", 0, "a BMP file"),
        (b"\x1f\x8b", 0, "a compressed file"),
        (b"PK\x03\x04", 0, "a ZIP file or a document"),
        (b"\0\0\x01\0", 0, "an icon file"),
    ];
    let by_mark = kinds.iter().find(|(mark, at, _)| bytes.get(*at..).is_some_and(|tail| tail.starts_with(mark)));
    match by_mark {
        Some((_, _, kind)) => Some(Cow::Borrowed(kind)),
        None if bytes.is_empty() => Some(Cow::Borrowed("empty")),
        None if head() => Some(Cow::Borrowed("an SVG file")),
        None => None,
    }
}
