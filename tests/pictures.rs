//! Letterheads and photographs: what is read, what it becomes, and what is said of files that cannot be used.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test of the program reads and writes files, and fails by panicking"
)]

use std::borrow::Cow;
use std::io::Write as _;

use jpeg_encoder::{ColorType, Encoder};
use proptest::prelude::*;
use weirbook::cli::{art, photo};
use weirbook::diag::Text;
use weirbook::document::{Edition, Templates};
use weirbook::page::{Art, BlockKind, Face, Photo, PhotoData};
use weirbook::supplies::Fault;
use weirbook::{Choices, Shipped, Supplies, prepare};
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use crate::demos::DEMOS;
use crate::layout::fonts;

const RED: [u8; 3] = [200, 30, 30];
const GREEN: [u8; 3] = [30, 180, 30];
const BLUE: [u8; 3] = [30, 30, 200];
const GREY: [u8; 3] = [120, 120, 120];

/// A scene of four quarters, as one looks at it: red, green over blue, grey.
fn scene(width: usize, height: usize) -> impl Fn(usize, usize) -> [u8; 3] {
    move |x, y| match (x * 2 < width, y * 2 < height) {
        (true, true) => RED,
        (false, true) => GREEN,
        (true, false) => BLUE,
        (false, false) => GREY,
    }
}

fn rgb(width: usize, height: usize, of: impl Fn(usize, usize) -> [u8; 3]) -> Vec<u8> {
    (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).flat_map(|(x, y)| of(x, y)).collect()
}

/// A picture with so many colours that it can be no drawing.
fn busy(width: usize, height: usize) -> Vec<u8> {
    rgb(width, height, |x, y| [(x * 255 / width) as u8, (y * 255 / height) as u8, ((x * 7 + y * 3) % 256) as u8])
}

/// An EXIF block that holds an orientation and nothing else: TIFF 6.0, little-endian, one entry of type SHORT.
fn exif(orientation: u8) -> Vec<u8> {
    let mut block = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
    block.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
    block
}

fn jpeg(
    width: usize,
    height: usize,
    pixels: &[u8],
    kind: ColorType,
    with: impl Fn(&mut Encoder<&mut Vec<u8>>),
) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, 95);
    with(&mut encoder);
    encoder.encode(pixels, width as u16, height as u16, kind).unwrap();
    bytes
}

fn png_file(
    width: u32,
    height: u32,
    colour: png::ColorType,
    depth: png::BitDepth,
    data: &[u8],
    with: impl Fn(&mut png::Info<'_>),
) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut info = png::Info::with_size(width, height);
    info.color_type = colour;
    info.bit_depth = depth;
    with(&mut info);
    let mut writer = png::Encoder::with_info(&mut bytes, info).unwrap().write_header().unwrap();
    writer.write_image_data(data).unwrap();
    writer.finish().unwrap();
    bytes
}

/// The pixels of a photograph, three channels.
fn shown(photo: &Photo) -> Vec<[u8; 3]> {
    match &photo.data {
        PhotoData::Rgba(rgba) => rgba.chunks_exact(4).map(|p| [p[0], p[1], p[2]]).collect(),
        PhotoData::Jpeg { bytes, grey } => {
            let (channels, space) = if *grey { (1, ColorSpace::Luma) } else { (3, ColorSpace::RGB) };
            let options = DecoderOptions::default().jpeg_set_out_colorspace(space);
            let pixels = JpegDecoder::new_with_options(ZCursor::new(&bytes[..]), options).decode().unwrap();
            assert_eq!(pixels.len(), photo.width * photo.height * channels);
            pixels.chunks_exact(channels).map(|p| if *grey { [p[0]; 3] } else { [p[0], p[1], p[2]] }).collect()
        }
    }
}

fn near(found: [u8; 3], expected: [u8; 3]) -> bool {
    // Two rounds of JPEG at the middle of a flat quarter move a channel by a few steps of 256.
    found.iter().zip(expected).all(|(a, b)| a.abs_diff(b) <= 12)
}

/// The middles of the four quarters of a photograph.
fn quarters(photo: &Photo) -> [[u8; 3]; 4] {
    let pixels = shown(photo);
    let at = |x: usize, y: usize| pixels[(photo.height * y / 4) * photo.width + photo.width * x / 4];
    [at(1, 1), at(3, 1), at(1, 3), at(3, 3)]
}

/// How a scene is stored under each orientation. TIFF 6.0 and EXIF 2.32 say for each value where the stored row 0 and the stored
/// column 0 stand in the scene; from these the place of the stored pixel (column, row) follows.
fn stored(orientation: u8, (width, height): (usize, usize), column: usize, row: usize) -> (usize, usize) {
    let (row_0, column_0) = match orientation {
        1 => ("top", "left"),
        2 => ("top", "right"),
        3 => ("bottom", "right"),
        4 => ("bottom", "left"),
        5 => ("left", "top"),
        6 => ("right", "top"),
        7 => ("right", "bottom"),
        _ => ("left", "bottom"),
    };
    let (mut x, mut y) = (0, 0);
    for (side, steps) in [(row_0, row), (column_0, column)] {
        match side {
            "top" => y = steps,
            "bottom" => y = height - 1 - steps,
            "left" => x = steps,
            _ => x = width - 1 - steps,
        }
    }
    (x, y)
}

#[test]
fn photographs_stand_the_right_way_up_whatever_the_camera_held() {
    let (width, height) = (96, 64);
    let scene = scene(width, height);
    for orientation in 1..=8 {
        let (across, down) = if orientation < 5 { (width, height) } else { (height, width) };
        let pixels = rgb(across, down, |column, row| {
            let (x, y) = stored(orientation, (width, height), column, row);
            scene(x, y)
        });
        let as_jpeg = jpeg(across, down, &pixels, ColorType::Rgb, |e| e.add_exif_metadata(&exif(orientation)).unwrap());
        let as_png = png_file(across as u32, down as u32, png::ColorType::Rgb, png::BitDepth::Eight, &pixels, |info| {
            info.exif_metadata = Some(exif(orientation).into());
        });
        for (kind, bytes) in [("JPEG", as_jpeg), ("PNG", as_png)] {
            let photo = photo::read(&bytes).unwrap();
            assert_eq!((photo.width, photo.height), (width, height), "{kind}, orientation {orientation}");
            let found = quarters(&photo);
            let right = found.iter().zip([RED, GREEN, BLUE, GREY]).all(|(&a, b)| near(a, b));
            assert!(right, "{kind}, orientation {orientation}: {found:?}");
        }
    }
}

#[test]
fn a_small_upright_jpeg_goes_in_as_it_is_without_what_the_camera_knows() {
    let mut with_place = exif(1);
    with_place.extend(b"GPS 51.0 N 1.0 W");
    let bytes = jpeg(600, 400, &busy(600, 400), ColorType::Rgb, |e| {
        e.add_exif_metadata(&with_place).unwrap();
        e.add_app_segment(13, b"someone's name".to_vec()).unwrap();
    });
    let photo = photo::read(&bytes).unwrap();
    let PhotoData::Jpeg { bytes: kept, grey: false } = &photo.data else { panic!("not passed on") };
    let holds = |words: &[u8]| kept.windows(words.len()).any(|window| window == words);
    assert!(!holds(b"GPS") && !holds(b"Exif") && !holds(b"someone"), "the place and the name stay at home");
    let pixels = |bytes: &[u8]| JpegDecoder::new(ZCursor::new(bytes)).decode().unwrap();
    assert!(pixels(&bytes) == pixels(kept), "no pixel has changed");
}

#[test]
fn a_large_photograph_is_shrunk_to_what_the_page_shows() {
    // A camera's 12 megapixels. At 125 by 85 mm and 200 dots to the inch: 984 by 669, and no more than a tenth over.
    let (width, height) = (4000, 3000);
    let bytes = jpeg(width, height, &busy(width, height), ColorType::Rgb, |_| {});
    let photo = photo::read(&bytes).unwrap();
    assert!(photo.height <= 669 && photo.width <= 1031, "{} by {}", photo.width, photo.height);
    assert!((photo.width * height).abs_diff(photo.height * width) <= width, "its shape is kept");
    let PhotoData::Jpeg { bytes: packed, .. } = &photo.data else { panic!("a photograph is packed as JPEG") };
    assert!(packed.len() < 200_000, "{} bytes", packed.len());
    assert_eq!(photo, photo::read(&bytes).unwrap(), "twice the same");
    // The mean of a picture survives shrinking: each channel of this one runs evenly from 0 to 255.
    let pixels = shown(&photo);
    for channel in 0..2 {
        let mean = pixels.iter().map(|p| f64::from(p[channel])).sum::<f64>() / pixels.len() as f64;
        assert!((mean - 127.0).abs() < 2.0, "channel {channel}: {mean}");
    }
    // A tall one is bounded by its height.
    let tall = photo::read(&jpeg(600, 3000, &busy(600, 3000), ColorType::Rgb, |_| {})).unwrap();
    assert_eq!((tall.width, tall.height), (134, 669));
}

#[test]
fn every_kind_of_jpeg_and_png_is_read() {
    let (w, h) = (96, 64);
    let scene = scene(w, h);
    let colour = rgb(w, h, &scene);
    let expected = [RED, GREEN, BLUE, GREY];
    // Inks: CMYK, as print shops store it. 255 less the channel, no black.
    let inks: Vec<u8> = colour.chunks_exact(3).flat_map(|p| [255 - p[0], 255 - p[1], 255 - p[2], 0]).collect();
    let luma: Vec<u8> =
        colour.chunks_exact(3).map(|p| ((u32::from(p[0]) + u32::from(p[1]) + u32::from(p[2])) / 3) as u8).collect();
    let deep: Vec<u8> = colour.iter().flat_map(|&c| [c, 77]).collect();
    let clear: Vec<u8> = colour.chunks_exact(3).flat_map(|p| [p[0], p[1], p[2], 255]).collect();
    let indices: Vec<u8> = (0..h)
        .flat_map(|y| (0..w / 4).map(move |x| (x, y)))
        .map(|(x, y)| {
            let index = |x: usize| ((x * 2 >= w) as u8) + 2 * ((y * 2 >= h) as u8);
            (0..4).fold(0, |byte, n| byte << 2 | index(x * 4 + n))
        })
        .collect();
    let palette: Vec<u8> = expected.concat();
    let (w32, h32) = (w as u32, h as u32);
    let plain = |_: &mut png::Info<'_>| {};
    let cases: Vec<(&str, Vec<u8>, bool)> = vec![
        ("progressive", jpeg(w, h, &colour, ColorType::Rgb, |e| e.set_progressive(true)), true),
        ("with restarts", jpeg(w, h, &colour, ColorType::Rgb, |e| e.set_restart_interval(2)), true),
        ("grey JPEG", jpeg(w, h, &luma, ColorType::Luma, |_| {}), false),
        ("CMYK", jpeg(w, h, &inks, ColorType::Cmyk, |_| {}), true),
        ("CMYK as YCCK", jpeg(w, h, &inks, ColorType::CmykAsYcck, |_| {}), true),
        ("RGB PNG", png_file(w32, h32, png::ColorType::Rgb, png::BitDepth::Eight, &colour, plain), true),
        ("16 bits", png_file(w32, h32, png::ColorType::Rgb, png::BitDepth::Sixteen, &deep, plain), true),
        ("alpha", png_file(w32, h32, png::ColorType::Rgba, png::BitDepth::Eight, &clear, plain), true),
        ("grey PNG", png_file(w32, h32, png::ColorType::Grayscale, png::BitDepth::Eight, &luma, plain), false),
        (
            "palette of two bits",
            png_file(w32, h32, png::ColorType::Indexed, png::BitDepth::Two, &indices, |info| {
                info.palette = Some(palette.clone().into());
            }),
            true,
        ),
        ("interlaced", interlaced(w, h, &colour), true),
    ];
    for (name, bytes, coloured) in cases {
        let photo = photo::read(&bytes).unwrap_or_else(|fault| panic!("{name}: {fault:?}"));
        let found = quarters(&photo);
        let means = expected.map(|p| [(p.iter().map(|&c| u32::from(c)).sum::<u32>() / 3) as u8; 3]);
        let wanted = if coloured { expected } else { means };
        assert!(found.iter().zip(wanted).all(|(&a, b)| near(a, b)), "{name}: {found:?}, not {wanted:?}");
        // And the same as a letterhead.
        let Art::Raster { width, height, rgba } = art::read(&bytes).unwrap() else { panic!("{name}") };
        assert_eq!(rgba.len(), (width * height * 4) as usize);
        assert_eq!((width, height), (w32, h32));
    }
}

/// A PNG in the seven passes of Adam7 (PNG 3rd edition, section 8.1), which the encoder at hand does not write.
fn interlaced(width: usize, height: usize, rgb: &[u8]) -> Vec<u8> {
    let mut rows = Vec::new();
    for (x0, y0, dx, dy) in
        [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)]
    {
        for y in (y0..height).step_by(dy) {
            rows.push(0);
            for x in (x0..width).step_by(dx) {
                let at = (y * width + x) * 3;
                rows.extend(&rgb[at..at + 3]);
            }
        }
    }
    let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(&rows).unwrap();
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut head = Vec::new();
    head.extend((width as u32).to_be_bytes());
    head.extend((height as u32).to_be_bytes());
    head.extend([8, 2, 0, 0, 1]);
    for (kind, data) in [(b"IHDR", head), (b"IDAT", packed.finish().unwrap()), (b"IEND", Vec::new())] {
        bytes.extend((data.len() as u32).to_be_bytes());
        bytes.extend(kind);
        bytes.extend(&data);
        let sum = crc([&kind[..], &data].concat());
        bytes.extend(sum.to_be_bytes());
    }
    bytes
}

/// The check sum of PNG, annex D.
fn crc(bytes: Vec<u8>) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 })
    })
}

#[test]
fn colours_come_through_whatever_the_sampling() {
    // A smooth picture, so that coarse colour loses little: the mean error of a channel stays under 2 of 255 at quality 95.
    // Turned, so that the pixels have to be decoded and packed again.
    let (w, h) = (1200, 900);
    let pixels =
        rgb(w, h, |x, y| [(40 + x * 170 / w) as u8, (200 - y * 150 / h) as u8, (60 + (x + y) * 120 / (w + h)) as u8]);
    use jpeg_encoder::SamplingFactor as S;
    for sampling in [S::F_1_1, S::F_2_1, S::F_1_2, S::F_2_2] {
        for progressive in [false, true] {
            let bytes = jpeg(w, h, &pixels, ColorType::Rgb, |e| {
                e.set_sampling_factor(sampling);
                e.set_progressive(progressive);
                e.add_exif_metadata(&exif(3)).unwrap();
            });
            let photo = photo::read(&bytes).unwrap();
            let found = shown(&photo);
            let mut error = 0.0;
            for (n, pixel) in found.iter().enumerate() {
                let (x, y) = (n % photo.width, n / photo.width);
                // Upside down: TIFF 6.0, orientation 3.
                let (x, y) = ((photo.width - 1 - x) * w / photo.width, (photo.height - 1 - y) * h / photo.height);
                let at = (y * w + x) * 3;
                error += pixel.iter().zip(&pixels[at..at + 3]).map(|(&a, &b)| f64::from(a.abs_diff(b))).sum::<f64>();
            }
            let error = error / (found.len() * 3) as f64;
            assert!(error < 2.0, "{sampling:?}, progressive {progressive}: {error}");
        }
    }
}

#[test]
fn what_is_clear_shows_the_paper() {
    // Half red over nothing: half way to white.
    let pixels: Vec<u8> = (0..64 * 64).flat_map(|_| [255, 0, 0, 128]).collect();
    let bytes = png_file(64, 64, png::ColorType::Rgba, png::BitDepth::Eight, &pixels, |_| {});
    let Art::Raster { rgba, .. } = art::read(&bytes).unwrap() else { panic!() };
    assert_eq!(rgba[..4], [255, 127, 127, 255]);
}

#[test]
fn a_huge_letterhead_is_shrunk_to_its_box() {
    // 80 by 17 mm at 300 dots to the inch: 945 by 201.
    let (w, h) = (9000, 1200);
    let pixels = rgb(w, h, scene(w, h));
    let bytes = png_file(w as u32, h as u32, png::ColorType::Rgb, png::BitDepth::Eight, &pixels, |_| {});
    let Art::Raster { width, height, .. } = art::read(&bytes).unwrap() else { panic!() };
    assert_eq!((width, height), (945, 126));
}

/// A PNG that says it has so many pixels, and no picture.
fn boast(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = interlaced(8, 8, &[90; 192]);
    bytes[16..20].copy_from_slice(&width.to_be_bytes());
    bytes[20..24].copy_from_slice(&height.to_be_bytes());
    let sum = crc(bytes[12..29].to_vec());
    bytes[29..33].copy_from_slice(&sum.to_be_bytes());
    bytes
}

#[test]
fn files_that_cannot_be_used_are_named_with_what_to_do() {
    let good = jpeg(96, 64, &busy(96, 64), ColorType::Rgb, |_| {});
    let png = png_file(96, 64, png::ColorType::Rgb, png::BitDepth::Eight, &busy(96, 64), |_| {});
    let svg = |body: &str| {
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 100 20\">\n{body}\n</svg>").into_bytes()
    };
    let both: Vec<(&str, Vec<u8>)> = vec![
        ("empty", Vec::new()),
        ("words", b"Dear Sir, enclosed please find".to_vec()),
        ("noise", vec![0x93; 400]),
        ("GIF", b"GIF89a....".to_vec()),
        ("PDF", b"%PDF-1.7".to_vec()),
        ("HEIC", b"\0\0\0\x18ftypheic".to_vec()),
        ("WebP", b"RIFF\0\0\0\0WEBPVP8 ".to_vec()),
        ("TIFF", b"II*\0".to_vec()),
        ("JPEG cut short", good[..good.len() / 2].to_vec()),
        (
            "JPEG in separate scans, turned",
            jpeg(96, 64, &busy(96, 64), ColorType::Rgb, |e| {
                e.set_optimized_huffman_tables(true);
                e.add_exif_metadata(&exif(6)).unwrap();
            }),
        ),
        ("JPEG cut in its head", good[..30].to_vec()),
        ("PNG cut short", png[..png.len() / 2].to_vec()),
        ("PNG of 60,000 by 60,000", boast(60_000, 60_000)),
        ("PNG with a wrong sum", {
            let mut bytes = png.clone();
            bytes[40] ^= 0x55;
            bytes
        }),
    ];
    let letterheads: Vec<(&str, Vec<u8>)> = vec![
        ("text", svg("<path d=\"M0 0h9v9z\"/>\n<text x=\"5\">Otterby</text>")),
        ("text in a group of a group", svg("<g><g><text>Otterby</text></g></g>")),
        ("a picture inside", svg("<image href=\"file:///etc/hostname\" width=\"9\" height=\"9\"/>")),
        ("a gradient", svg("<linearGradient id=\"g\"><stop stop-color=\"red\"/><stop offset=\"1\" stop-color=\"blue\"/></linearGradient><rect width=\"9\" height=\"9\" fill=\"url(#g)\"/>")),
        ("a pattern", svg("<pattern id=\"p\" width=\"2\" height=\"2\" patternUnits=\"userSpaceOnUse\"><rect width=\"1\" height=\"1\"/></pattern><rect width=\"9\" height=\"9\" fill=\"url(#p)\"/>")),
        ("a blur", svg("<filter id=\"f\"><feGaussianBlur stdDeviation=\"2\"/></filter><rect width=\"9\" height=\"9\" filter=\"url(#f)\"/>")),
        ("a mask", svg("<mask id=\"m\"><circle r=\"4\" fill=\"white\"/></mask><rect width=\"9\" height=\"9\" mask=\"url(#m)\"/>")),
        ("a clip", svg("<clipPath id=\"c\"><circle r=\"4\"/></clipPath><rect width=\"9\" height=\"9\" clip-path=\"url(#c)\"/>")),
        ("past the edge", svg("<rect x=\"50\" width=\"200\" height=\"9\"/>")),
        ("white on white", svg("<rect width=\"9\" height=\"9\" fill=\"white\"/>")),
        ("nothing", svg("<defs/>")),
        ("a tag left open", svg("<g><path d=\"M0 0h9\"/>")),
        ("HTML", b"<html><body>404</body></html>".to_vec()),
        ("no size", b"<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"0\" height=\"0\"><rect width=\"9\" height=\"9\"/></svg>".to_vec()),
        ("Latin-1", b"<svg xmlns=\"http://www.w3.org/2000/svg\"><!-- \xe9 --></svg>".to_vec()),
        ("compressed", b"\x1f\x8b\x08\0".to_vec()),
        ("too deep", svg(&format!("{}<rect width=\"9\" height=\"9\"/>{}", "<g>".repeat(2_000), "</g>".repeat(2_000)))),
        ("too many points", svg(&format!("<path d=\"M0 0{}\"/>", "l1 1l-1-1".repeat(25_000)))),
        ("clear", png_file(9, 9, png::ColorType::Rgba, png::BitDepth::Eight, &[0; 324], |_| {})),
    ];
    let mut said = String::new();
    for (name, bytes) in both.iter().chain(&letterheads) {
        let fault = art::read(bytes).expect_err(name);
        said += &format!("letterhead, {name}: {}\n    hint: {}\n", fault.reason, fault.hint);
    }
    for (name, bytes) in
        both.iter().chain([("SVG", svg("<rect width=\"9\" height=\"9\"/>"))].iter().map(|case| case as _))
    {
        let fault = photo::read(bytes).expect_err(name);
        said += &format!("photograph, {name}: {}\n    hint: {}\n", fault.reason, fault.hint);
    }
    insta::assert_snapshot!("pictures_that_cannot_be_used", said);
}

#[test]
fn strokes_that_the_page_does_not_draw_become_outlines() {
    let svg = |attributes: &str| {
        let text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 100 100\"><path d=\"M20 50H80\" fill=\"none\" stroke=\"#123456\" stroke-width=\"10\" {attributes}/></svg>"
        );
        let Art::Vector { paths, .. } = art::read(text.as_bytes()).unwrap() else { panic!() };
        paths
    };
    let plain = svg("");
    assert_eq!((plain.len(), plain[0].stroke, plain[0].fill), (1, Some(([0x12, 0x34, 0x56], 10.0)), None));
    for attributes in ["stroke-linecap=\"round\"", "stroke-dasharray=\"8 4\"", "stroke-linejoin=\"round\""] {
        let paths = svg(attributes);
        assert_eq!((paths.len(), paths[0].stroke, paths[0].fill), (1, None, Some([0x12, 0x34, 0x56])), "{attributes}");
    }
    // Five dashes of 8 on and 4 off over 60 units: five outlines.
    let dashes = &svg("stroke-dasharray=\"8 4\"")[0];
    let starts = dashes.segments.iter().filter(|s| matches!(s, weirbook::page::Segment::Move(..))).count();
    assert_eq!(starts, 5);
    // What shines through is paper: half of black is grey.
    let half = svg("opacity=\"0.5\" ");
    assert_eq!(half[0].stroke.unwrap().0, [0x89, 0x9a, 0xab]);
}

#[test]
fn the_page_box_that_drawing_programs_clip_by_is_no_clip() {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 100 20\"><clipPath id=\"c\"><rect width=\"100\" height=\"20\"/></clipPath>\
        <g clip-path=\"url(#c)\"><rect x=\"2\" y=\"2\" width=\"90\" height=\"10\"/></g></svg>";
    assert!(art::read(svg.as_bytes()).is_ok());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Whatever a file holds, it is read or refused.
    #[test]
    fn no_file_brings_the_program_down(which in 0_usize..4, at in any::<prop::sample::Index>(), byte: u8, cut in any::<prop::sample::Index>(), shorten: bool) {
        let mut bytes = match which {
            0 => jpeg(40, 24, &busy(40, 24), ColorType::Rgb, |e| e.add_exif_metadata(&exif(6)).unwrap()),
            1 => jpeg(40, 24, &busy(40, 24), ColorType::Rgb, |e| e.set_progressive(true)),
            2 => interlaced(40, 24, &busy(40, 24)),
            _ => b"<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\"><path d=\"M1 1L8 1Q8 8 1 8z\" stroke=\"red\" stroke-dasharray=\"1 2\"/></svg>".to_vec(),
        };
        let place = at.index(bytes.len());
        bytes[place] = byte;
        if shorten {
            let end = cut.index(bytes.len());
            bytes.truncate(end);
        }
        let _ = photo::read(&bytes);
        let _ = art::read(&bytes);
    }
}

/// A fresh folder with a demo site, these files beside it, and these lines after its site file; what a run says, and the plan.
fn run(files: &[(&str, &[u8])], lines: &str) -> (String, Option<Vec<u8>>) {
    let folder = tempfile::TempDir::new().unwrap();
    let (_, site, log) = DEMOS[0];
    let at = |name: &str| folder.path().join(name);
    std::fs::write(at("site.toml"), format!("{}\n{lines}", site.replace("letterhead = ", "# letterhead = "))).unwrap();
    std::fs::write(at("log.csv"), log).unwrap();
    for (name, bytes) in files {
        std::fs::write(at(name), bytes).unwrap();
    }
    // A film taken by mistake: larger than is opened, and no bytes on the disk.
    std::fs::File::create(at("film.jpg")).unwrap().set_len(photo::MOST_BYTES + 1).unwrap();
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_weirbook"))
        .args(["plan", "site.toml", "--edition", "care-plan"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let said = String::from_utf8(run.stderr).unwrap();
    // What is said of the demo's own readings does not belong here.
    let said: Vec<&str> = said.split_inclusive("\n\n").filter(|part| !part.contains("[softened-water]")).collect();
    (said.concat(), std::fs::read(at("quoyle-end-care-plan.pdf")).ok())
}

#[test]
fn photographs_stand_in_their_parts_upright_with_caption_and_description() {
    let (width, height) = (400, 600);
    let colour = jpeg(600, 400, &busy(600, 400), ColorType::Rgb, |_| {});
    // An upright scene, taken with the camera on its side: orientation 6.
    let upright = scene(width, height);
    let pixels = rgb(height, width, |column, row| {
        let (x, y) = stored(6, (width, height), column, row);
        let [red, green, blue] = upright(x, y);
        // A little grain: a photograph, and no drawing.
        let grain = ((column * 7 + row * 3) % 9) as u8;
        [red + grain, green + grain, blue + grain]
    });
    let turned = jpeg(height, width, &pixels, ColorType::Rgb, |e| e.add_exif_metadata(&exif(6)).unwrap());
    let drawn = rgb(120, 90, scene(120, 90));
    let drawn = png_file(120, 90, png::ColorType::Rgb, png::BitDepth::Eight, &drawn, |_| {});
    let lines = "[[photo]]\nfile = \"return.jpg\"\ncaption = \"Pour here: *the return*.\"\n\
        description = \"Water falls from a slate lip\"\npart = \"correction\"\n\n\
        [[photo]]\nfile = \"bars.jpg\"\ndescription = \"Two bars upright in the flow\"\n\n\
        [[photo]]\nfile = \"valves.png\"\ncaption = \"The valves\"\ndescription = \"Four valves in a row\"\npart = \"bars\"\n";
    let (said, plan) = run(&[("return.jpg", &colour), ("bars.jpg", &turned), ("valves.png", &drawn)], lines);
    assert_eq!(said, "");
    let plan = plan.unwrap();
    let file = lopdf::Document::load_mem(&plan).unwrap();
    let named = |dict: &lopdf::Dictionary, key: &[u8], name: &[u8]| {
        dict.get(key).and_then(lopdf::Object::as_name).is_ok_and(|found| found == name)
    };
    let images = file.objects.values().filter_map(|object| object.as_stream().ok());
    let images: Vec<Photo> = images
        .filter(|stream| named(&stream.dict, b"Subtype", b"Image"))
        .map(|stream| {
            let side = |key: &[u8]| stream.dict.get(key).unwrap().as_i64().unwrap() as usize;
            let data = if named(&stream.dict, b"Filter", b"DCTDecode") {
                PhotoData::Jpeg {
                    grey: named(&stream.dict, b"ColorSpace", b"DeviceGray"),
                    bytes: stream.content.as_slice().into(),
                }
            } else {
                let rgb = stream.get_plain_content().unwrap();
                PhotoData::Rgba(rgb.chunks_exact(3).flat_map(|p| [p[0], p[1], p[2], 255]).collect())
            };
            Photo { width: side(b"Width"), height: side(b"Height"), data }
        })
        .collect();
    let image = |width, height| {
        let found = images.iter().find(|image| (image.width, image.height) == (width, height));
        found.unwrap_or_else(|| panic!("no picture of {width} by {height}"))
    };
    assert!(matches!(image(600, 400).data, PhotoData::Jpeg { .. }), "packed once, as JPEG");
    for (what, found) in [("the turned JPEG", image(width, height)), ("the PNG", image(120, 90))] {
        let found = quarters(found);
        let right = found.iter().zip([RED, GREEN, BLUE, GREY]).all(|(&a, b)| near(a, b));
        assert!(right, "{what} does not stand upright: {found:?}");
    }
    // Every figure's description, and a caption beside each photograph that has one.
    let elements = file.objects.values().filter_map(|object| object.as_dict().ok());
    let alternatives: Vec<String> = elements
        .clone()
        .filter(|dict| named(dict, b"S", b"Figure"))
        .map(|dict| lopdf::decode_text_string(dict.get(b"Alt").unwrap()).unwrap())
        .collect();
    for words in ["Water falls from a slate lip", "Two bars upright in the flow", "Four valves in a row"] {
        assert!(alternatives.iter().any(|alternative| alternative == words), "{alternatives:?}");
    }
    assert_eq!(elements.filter(|dict| named(dict, b"S", b"Caption")).count(), 2);
    let pages = weirbook::pdf::read::text(&plan).unwrap();
    let page_of = |words: &str| pages.iter().position(|page| page.contains(words)).unwrap();
    let caption = page_of("Pour here: *the return*.");
    assert!(caption > page_of("Four readings") && caption < page_of("Low all year"), "at the end of the correction");
    assert!(page_of("The valves") >= page_of("Bars and flow"));
    assert!(page_of("Pictures") > page_of("Bars and flow"));
}

#[test]
fn photographs_that_cannot_be_used_are_complained_of_and_left_out() {
    let good = jpeg(60, 40, &busy(60, 40), ColorType::Rgb, |_| {});
    let lines = "[[photo]]\nfile = \"missing.jpg\"\ndescription = \"The return\"\n\n\
        [[photo]]\nfile = \"letter.jpg\"\ndescription = \"The return\"\n\n\
        [[photo]]\nfile = \"film.jpg\"\ndescription = \"The return\"\n\n\
        [[photo]]\nfile = \".\"\ndescription = \"The return\"\n";
    let (said, plan) = run(&[("letter.jpg", b"Dear Sir")], lines);
    insta::assert_snapshot!("photographs_left_out", said);
    let plan = plan.expect("the plan is made without them");
    assert!(!weirbook::pdf::read::text(&plan).unwrap().concat().contains("Pictures"));
    // Without a description there is no plan: it could not be read aloud.
    let lines = "[[photo]]\nfile = \"return.jpg\"\ncaption = \"The return\"\n\n\
        [[photo]]\nfile = \"return.jpg\"\ndescription = \"\"\npart = \"bar\"\nwidth = \"9 cm\"\n";
    let (said, plan) = run(&[("return.jpg", &good)], lines);
    insta::assert_snapshot!("photographs_without_description", said);
    assert!(plan.is_none());
}

/// A firm's own template that was written before there were photographs does not lose them.
#[test]
fn a_template_without_a_place_for_photographs_gets_them_at_its_end() {
    let (_, site, log) = DEMOS[0];
    let words = format!("{site}\n[[photo]]\nfile = \"x.png\"\ndescription = \"Bars\"\npart = \"bars\"\n");
    let site = Text { name: "site.toml".into(), words };
    let log = Text { name: "log.csv".into(), words: log.into() };
    let supplies = Own("# Plan\n\nWords.\n");
    let job = prepare(&site, Some(&log), Choices::default(), &supplies).0.unwrap();
    let (document, _) = weirbook::set(&job, Edition::CarePlan, &supplies, fonts()).unwrap();
    let kinds: Vec<bool> = document.blocks.iter().map(|b| matches!(b.kind, BlockKind::Photo(_))).collect();
    assert_eq!(kinds.last(), Some(&true), "{kinds:?}");
}

/// One template for everything, and a grey picture.
#[derive(Debug)]
struct Own(&'static str);

impl Templates for Own {
    fn template(&self, _name: &str) -> Option<&str> {
        Some(self.0)
    }
}

impl Supplies for Own {
    fn face(&self, face: Face) -> Cow<'static, [u8]> {
        Shipped.face(face)
    }
    fn art(&self, _path: &str) -> Option<Result<Art, Fault>> {
        None
    }
    fn photo(&self, _path: &str) -> Option<Result<Photo, Fault>> {
        Some(Ok(Photo { width: 2, height: 2, data: PhotoData::Rgba(vec![90; 16].into()) }))
    }
}
