//! Letterhead art: SVG flattened to paths by `usvg`, PNG to pixels.

use crate::page::{Art, ArtPath, Segment};

/// Largest picture taken, in pixels of one side.
const LARGEST: u32 = 4000;

/// Reads SVG or PNG.
///
/// # Errors
/// Words that say what is wrong with the file.
pub(super) fn read(bytes: &[u8]) -> Result<Art, String> {
    if bytes.starts_with(b"\x89PNG") { png(bytes) } else { svg(bytes) }
}

fn svg(bytes: &[u8]) -> Result<Art, String> {
    let tree = usvg::Tree::from_data(bytes, &usvg::Options::default())
        .map_err(|e| format!("it is neither PNG nor SVG ({e})"))?;
    let mut paths = Vec::new();
    collect(tree.root(), &mut paths);
    if paths.is_empty() {
        return Err("it holds no path; turn its text into outlines".to_owned());
    }
    Ok(Art::Vector { width: tree.size().width(), height: tree.size().height(), paths })
}

fn colour(paint: &usvg::Paint) -> Option<[u8; 3]> {
    match paint {
        usvg::Paint::Color(c) => Some([c.red, c.green, c.blue]),
        _ => None,
    }
}

fn collect(group: &usvg::Group, out: &mut Vec<ArtPath>) {
    for node in group.children() {
        match node {
            usvg::Node::Group(inner) => collect(inner, out),
            usvg::Node::Path(path) if path.is_visible() => {
                let Some(data) = path.data().clone().transform(path.abs_transform()) else { continue };
                let mut segments = Vec::new();
                let mut at = (0.0_f32, 0.0_f32);
                for segment in data.segments() {
                    use usvg::tiny_skia_path::PathSegment as S;
                    match segment {
                        S::MoveTo(p) => {
                            at = (p.x, p.y);
                            segments.push(Segment::Move(p.x, p.y));
                        }
                        S::LineTo(p) => {
                            at = (p.x, p.y);
                            segments.push(Segment::Line(p.x, p.y));
                        }
                        S::QuadTo(c, p) => {
                            // A quadratic curve as a cubic one: controls two thirds of the way.
                            let two = 2.0 / 3.0;
                            segments.push(Segment::Curve(
                                at.0 + two * (c.x - at.0),
                                at.1 + two * (c.y - at.1),
                                p.x + two * (c.x - p.x),
                                p.y + two * (c.y - p.y),
                                p.x,
                                p.y,
                            ));
                            at = (p.x, p.y);
                        }
                        S::CubicTo(a, b, p) => {
                            at = (p.x, p.y);
                            segments.push(Segment::Curve(a.x, a.y, b.x, b.y, p.x, p.y));
                        }
                        S::Close => segments.push(Segment::Close),
                    }
                }
                let scale = path.abs_transform().get_scale().0;
                out.push(ArtPath {
                    segments,
                    fill: path.fill().and_then(|f| colour(f.paint())),
                    even_odd: path.fill().is_some_and(|f| f.rule() == usvg::FillRule::EvenOdd),
                    stroke: path.stroke().and_then(|s| Some((colour(s.paint())?, s.width().get() * scale))),
                });
            }
            _ => {}
        }
    }
}

fn png(bytes: &[u8]) -> Result<Art, String> {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::normalize_to_color8() | png::Transformations::ALPHA);
    let mut reader = decoder.read_info().map_err(|e| format!("the PNG is damaged ({e})"))?;
    let (width, height) = (reader.info().width, reader.info().height);
    if width > LARGEST || height > LARGEST {
        return Err(format!("the PNG is {width} by {height} pixels; {LARGEST} is the most"));
    }
    let size = reader.output_buffer_size().ok_or("the PNG is too large")?;
    let mut buffer = vec![0; size];
    let frame = reader.next_frame(&mut buffer).map_err(|e| format!("the PNG is damaged ({e})"))?;
    buffer.truncate(frame.buffer_size());
    let rgba = match frame.color_type {
        png::ColorType::Rgba => buffer,
        png::ColorType::GrayscaleAlpha => {
            buffer.as_chunks::<2>().0.iter().flat_map(|[g, a]| [*g, *g, *g, *a]).collect()
        }
        other => return Err(format!("the PNG's colours ({other:?}) are not read; save it as RGB")),
    };
    Ok(Art::Raster { width, height, rgba })
}
