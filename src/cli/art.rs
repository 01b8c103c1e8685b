//! Letterhead art: SVG flattened to paths by `usvg`, PNG and JPEG to pixels.
//!
//! What the page cannot draw as it is meant (text without its font, gradients, masks) is refused and named, never left out
//! in silence: a firm's mark with a hole in it is worse than its name in type.

use usvg::tiny_skia_path::{Path, PathSegment, Rect, Transform};

use super::pixels::Pixels;
use super::{jpeg, photo};
use crate::page::{Art, ArtPath, Segment};
use crate::supplies::Fault;

/// What a letterhead may fill, 80 by 17 mm, at 300 pixels to the inch.
const BOX: (usize, usize) = (945, 201);
/// The most pieces of outline: more is a drawing, not a letterhead, and makes the plan heavy.
const MOST_SEGMENTS: usize = 40_000;
/// The deepest nesting of groups that is followed.
const DEEPEST: usize = 200;

/// Reads SVG, PNG or JPEG.
///
/// # Errors
/// What is wrong with the file, and what to do about it.
pub fn read(bytes: &[u8]) -> Result<Art, Fault> {
    if bytes.starts_with(b"\x89PNG") {
        let (pixels, orientation) = photo::png(bytes)?;
        return raster(pixels, orientation);
    }
    if bytes.starts_with(b"\xff\xd8\xff") {
        let frame = jpeg::walk(bytes)?;
        photo::bounded(frame.width, frame.height)?;
        if frame.parted {
            return Err(jpeg::parted());
        }
        return raster(jpeg::pixels(bytes, &frame)?, frame.orientation);
    }
    match photo::what_it_is(bytes) {
        Some(kind) if kind != "an SVG file" => Err(Fault::new(format!("it is {kind}"), AS_SVG)),
        _ => svg(bytes),
    }
}

const AS_SVG: &str = "save it as SVG (with its text turned into outlines) or as PNG";
const FLAT: &str = "use flat colours in the drawing program, or save it as a PNG about 1,000 pixels wide";

fn raster(pixels: Pixels, orientation: u32) -> Result<Art, Fault> {
    let frame = if matches!(orientation, 5..=8) { (BOX.1, BOX.0) } else { BOX };
    let fitted = pixels.fitted(frame);
    let pixels = pixels.shrunk(fitted).upright(orientation);
    if pixels.is_blank() {
        return Err(unseen());
    }
    let side = |length: usize| u32::try_from(length).unwrap_or(u32::MAX);
    Ok(Art::Raster { width: side(pixels.width), height: side(pixels.height), rgba: pixels.rgba() })
}

fn unseen() -> Fault {
    Fault::new("nothing of it can be seen on white paper", "save the version that is meant for a white ground")
}

fn svg(bytes: &[u8]) -> Result<Art, Fault> {
    let Ok(words) = std::str::from_utf8(bytes) else {
        return Err(Fault::new("it is neither a picture nor an SVG in UTF-8", AS_SVG));
    };
    if !words.contains('<') {
        return Err(Fault::new("it is no picture", AS_SVG));
    }
    let options = usvg::roxmltree::ParsingOptions { allow_dtd: true, nodes_limit: 500_000, ..Default::default() };
    let tree = usvg::roxmltree::Document::parse_with_options(words, options).map_err(|e| {
        let at = e.pos();
        Fault::new(
            format!("the SVG cannot be read at its line {}, column {}: {e}", at.row, at.col),
            "save it again from the drawing program",
        )
    })?;
    if !tree.root_element().has_tag_name((SVG, "svg")) {
        return Err(Fault::new(
            format!("it is no SVG: it begins with `<{}>`", tree.root_element().tag_name().name()),
            AS_SVG,
        ));
    }
    let mut depths = vec![0_usize; tree.descendants().count() + 1];
    for node in tree.descendants() {
        let above = node.parent().and_then(|parent| depths.get(parent.id().get_usize()).copied()).unwrap_or(0);
        if above > DEEPEST {
            return Err(Fault::new("its groups are nested too deep", "save it as plain SVG, or as PNG"));
        }
        if let Some(depth) = depths.get_mut(node.id().get_usize()) {
            *depth = above + 1;
        }
        let refused = match node.tag_name().name() {
            _ if !node.is_element() => continue,
            "text" => Some(("text", "turn the text into outlines (paths) in the drawing program and save again")),
            "image" => Some(("a picture made of pixels", "save the whole letterhead as PNG, about 1,000 pixels wide")),
            "foreignObject" => Some(("a page of another kind (`foreignObject`)", AS_SVG)),
            "animate" | "animateTransform" | "animateMotion" | "set" => Some(("something that moves", FLAT)),
            _ => None,
        };
        if let Some((what, hint)) = refused {
            let row = tree.text_pos_at(node.range().start).row;
            let why = if what == "text" { ", and the font it is set in is not here" } else { "" };
            return Err(Fault::new(format!("line {row} of the SVG holds {what}{why}"), hint));
        }
    }
    let options = usvg::Options {
        // Nothing outside the file is looked at.
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_xmltree(&tree, &options)
        .map_err(|e| Fault::new(format!("the SVG cannot be drawn ({e})"), "save it again from the drawing program"))?;
    let (width, height) = (tree.size().width(), tree.size().height());
    let mut flat = Flat { paths: Vec::new(), segments: 0, width, height };
    flat.group(tree.root(), 1.0)?;
    if flat.paths.is_empty() {
        return Err(Fault::new(
            "the SVG draws nothing",
            "save it again from the drawing program, with its text turned into outlines",
        ));
    }
    let pale = |colour: [u8; 3]| colour.iter().all(|&channel| channel > 250);
    let seen = |path: &ArtPath| {
        path.fill.is_some_and(|colour| !pale(colour)) || path.stroke.is_some_and(|(colour, _)| !pale(colour))
    };
    if !flat.paths.iter().any(seen) {
        return Err(unseen());
    }
    Ok(Art::Vector { width, height, paths: flat.paths })
}

const SVG: &str = "http://www.w3.org/2000/svg";

/// Paths gathered in painting order.
struct Flat {
    paths: Vec<ArtPath>,
    segments: usize,
    width: f32,
    height: f32,
}

fn colour(paint: &usvg::Paint, opacity: f32) -> Result<[u8; 3], Fault> {
    match paint {
        // What shines through is the paper.
        usvg::Paint::Color(c) => {
            Ok([c.red, c.green, c.blue].map(|c| (255.0 - (255.0 - f32::from(c)) * opacity).round() as u8))
        }
        usvg::Paint::Pattern(_) => Err(Fault::new("the SVG fills a shape with a pattern", FLAT)),
        _ => Err(Fault::new("the SVG fills a shape with a gradient", FLAT)),
    }
}

impl Flat {
    fn group(&mut self, group: &usvg::Group, opacity: f32) -> Result<(), Fault> {
        if !group.filters().is_empty() {
            return Err(Fault::new("the SVG uses a filter (a shadow or a blur)", FLAT));
        }
        if group.mask().is_some() {
            return Err(Fault::new("the SVG uses a mask", FLAT));
        }
        if group.blend_mode() != usvg::BlendMode::Normal {
            return Err(Fault::new("the SVG blends colours", FLAT));
        }
        if let Some(clip) = group.clip_path()
            && !cuts_nothing(clip, group)
        {
            return Err(Fault::new(
                "the SVG clips a shape by another",
                "cut the shapes themselves in the drawing program, or save it as a PNG about 1,000 pixels wide",
            ));
        }
        let opacity = opacity * group.opacity().get();
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => self.group(inner, opacity)?,
                usvg::Node::Path(path) if path.is_visible() => self.path(path, opacity)?,
                _ => {}
            }
        }
        Ok(())
    }

    fn path(&mut self, path: &usvg::Path, opacity: f32) -> Result<(), Fault> {
        let reach = path.abs_stroke_bounding_box();
        if reach.right() <= 0.0 || reach.bottom() <= 0.0 || reach.left() >= self.width || reach.top() >= self.height {
            return Ok(());
        }
        let over = (-reach.left()).max(reach.right() - self.width).max(-reach.top()).max(reach.bottom() - self.height);
        if over > 0.02 * self.width.max(self.height) {
            return Err(Fault::new(
                "a shape of the SVG reaches past the edge of its page",
                "fit the page to the drawing in the drawing program and save again",
            ));
        }
        let fill = match path.fill() {
            Some(fill) => Some(ArtPath {
                segments: self.segments(path.data(), path.abs_transform())?,
                fill: Some(colour(fill.paint(), opacity * fill.opacity().get())?),
                even_odd: fill.rule() == usvg::FillRule::EvenOdd,
                stroke: None,
            }),
            None => None,
        };
        let stroke = match path.stroke() {
            Some(stroke) => self.stroke(path, stroke, opacity)?,
            None => None,
        };
        let pair = if path.paint_order() == usvg::PaintOrder::StrokeAndFill { [stroke, fill] } else { [fill, stroke] };
        self.paths.extend(pair.into_iter().flatten());
        Ok(())
    }

    /// The page draws plain lines with butt ends and mitred corners; any other is turned into its outline.
    fn stroke(&mut self, path: &usvg::Path, stroke: &usvg::Stroke, opacity: f32) -> Result<Option<ArtPath>, Fault> {
        let paint = colour(stroke.paint(), opacity * stroke.opacity().get())?;
        let at = path.abs_transform();
        let (across, down) = at.get_scale();
        let even = (across - down).abs() <= 0.001 * across.abs().max(down.abs()) && !at.has_skew_beyond_turning();
        let plain = stroke.linecap() == usvg::LineCap::Butt
            && stroke.linejoin() == usvg::LineJoin::Miter
            && stroke.dasharray().is_none();
        if plain && even {
            let segments = self.segments(path.data(), at)?;
            let stroke = Some((paint, stroke.width().get() * across));
            return Ok(Some(ArtPath { segments, fill: None, even_odd: false, stroke }));
        }
        let pen = stroke.to_tiny_skia();
        let dashed = pen.dash.as_ref().and_then(|dash| path.data().dash(dash, RESOLUTION));
        let Some(outline) = dashed.as_ref().unwrap_or(path.data()).stroke(&pen, RESOLUTION) else { return Ok(None) };
        let segments = self.segments(&outline, at)?;
        Ok(Some(ArtPath { segments, fill: Some(paint), even_odd: false, stroke: None }))
    }

    fn segments(&mut self, path: &Path, at: Transform) -> Result<Vec<Segment>, Fault> {
        let Some(path) = path.clone().transform(at) else { return Ok(Vec::new()) };
        let segments = outline(&path);
        self.segments += segments.len();
        if self.segments > MOST_SEGMENTS {
            return Err(Fault::new(
                format!("the SVG has more than {MOST_SEGMENTS} pieces of outline"),
                "simplify its paths, or save it as a PNG about 1,000 pixels wide",
            ));
        }
        Ok(segments)
    }
}

/// How finely curves of an outlined stroke are followed.
const RESOLUTION: f32 = 4.0;

trait Turning {
    fn has_skew_beyond_turning(&self) -> bool;
}

impl Turning for Transform {
    /// Whether right angles do not stay right.
    fn has_skew_beyond_turning(&self) -> bool {
        let product = self.sx * self.kx + self.ky * self.sy;
        product.abs() > 0.001 * (self.sx * self.sy).abs().max((self.kx * self.ky).abs())
    }
}

/// Whether a clip is a box around all it clips, as drawing programs write for the page.
fn cuts_nothing(clip: &usvg::ClipPath, group: &usvg::Group) -> bool {
    let [usvg::Node::Path(shape)] = clip.root().children() else { return false };
    let straight = shape.data().segments().all(|s| !matches!(s, PathSegment::QuadTo(..) | PathSegment::CubicTo(..)));
    let own = shape.data().bounds();
    let filled = rectangle_area(shape.data()) >= 0.999 * own.width() * own.height();
    let at = group.abs_transform().pre_concat(clip.transform()).pre_concat(shape.abs_transform());
    let turned = at.kx.abs() + at.ky.abs() > 1e-4 * (at.sx.abs() + at.sy.abs());
    let Some(frame) = own.transform(at) else { return false };
    let inside = group.abs_stroke_bounding_box();
    let slack = 0.01 * frame.width().max(frame.height());
    let holds = |outer: Rect, inner: Rect| {
        inner.left() >= outer.left() - slack
            && inner.right() <= outer.right() + slack
            && inner.top() >= outer.top() - slack
            && inner.bottom() <= outer.bottom() + slack
    };
    straight && filled && !turned && clip.clip_path().is_none() && holds(frame, inside)
}

/// The area inside an outline of straight lines.
fn rectangle_area(path: &Path) -> f32 {
    let points: Vec<(f32, f32)> = path
        .segments()
        .filter_map(|segment| match segment {
            PathSegment::MoveTo(p) | PathSegment::LineTo(p) => Some((p.x, p.y)),
            _ => None,
        })
        .collect();
    let next = points.iter().cycle().skip(1);
    points.iter().zip(next).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum::<f32>().abs() / 2.0
}

fn outline(path: &Path) -> Vec<Segment> {
    let mut segments = Vec::new();
    let mut at = (0.0_f32, 0.0_f32);
    for segment in path.segments() {
        match segment {
            PathSegment::MoveTo(p) => {
                at = (p.x, p.y);
                segments.push(Segment::Move(p.x, p.y));
            }
            PathSegment::LineTo(p) => {
                at = (p.x, p.y);
                segments.push(Segment::Line(p.x, p.y));
            }
            PathSegment::QuadTo(c, p) => {
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
            PathSegment::CubicTo(a, b, p) => {
                at = (p.x, p.y);
                segments.push(Segment::Curve(a.x, a.y, b.x, b.y, p.x, p.y));
            }
            PathSegment::Close => segments.push(Segment::Close),
        }
    }
    segments
}
