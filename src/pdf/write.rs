//! Draws the display list with printpdf; `finish` then adds what printpdf does not know.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use printpdf::{
    Codepoint, Color, DictItem, FontId, Line, LineDashPattern, LinePoint, Op, PaintMode, ParsedFont, PdfDocument,
    PdfFont, PdfFontHandle, PdfPage, PdfSaveOptions, Point, Polygon, PolygonRing, Pt, Rect, Rgb, TextItem, TextMatrix,
    WindingOrder, XObject, XObjectId, XObjectTransform,
};
use subsetter::GlyphRemapper;

use crate::page::display::{DisplayList, Draw, DrawItem, Glyph, Page, Paint, PathStroke, Role, Run, TagId};
use crate::page::fonts::Fonts;
use crate::page::{Document, Face, Segment, Style};

use super::artifact::Content;
use super::{finish, structure};

/// A file that travels inside the PDF.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attachment {
    /// File name.
    pub name: String,
    /// Media type, such as `text/plain`.
    pub media_type: String,
    /// The file.
    pub bytes: Vec<u8>,
    /// What it is, in words.
    pub description: String,
    /// What it is to the document: `Source`, `Data`, `Alternative`, `Supplement` or `Unspecified`.
    pub relationship: String,
}

/// Why no file could be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PdfError {
    /// A face could not be cut down to the glyphs used.
    Font(Face),
    /// The file could not be put together.
    Assembly(String),
}

impl fmt::Display for PdfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PdfError::Font(face) => write!(f, "the face {face:?} cannot be embedded"),
            PdfError::Assembly(why) => write!(f, "the file cannot be put together: {why}"),
        }
    }
}

impl std::error::Error for PdfError {}

impl From<lopdf::Error> for PdfError {
    fn from(error: lopdf::Error) -> Self {
        PdfError::Assembly(error.to_string())
    }
}

/// A resource of a face: where one glyph stands for two texts, the face is registered once for each.
pub(super) struct FaceResource {
    pub(super) face: Face,
    pub(super) name: String,
}

/// A stretch of marked content: its page, its number there, and what it belongs to.
pub(super) struct Marked {
    pub(super) page: usize,
    pub(super) number: i64,
    pub(super) tag: TagId,
}

/// Writes a display list as a PDF file.
///
/// # Errors
///
/// When a face cannot be embedded or the file cannot be put together.
pub fn write(
    list: &DisplayList,
    document: &Document,
    fonts: &Fonts,
    attachments: &[Attachment],
) -> Result<Vec<u8>, PdfError> {
    let faces = FaceUse::of(list);
    let mut pdf = PdfDocument::new(&document.title);
    let resources = faces.embed(fonts, &mut pdf)?;
    let mut marked = Vec::new();
    for (number, page) in list.pages.iter().enumerate() {
        let mut drawing = PageDrawing::new(list, &document.style, &faces, number);
        drawing.draw(page, &mut pdf);
        marked.append(&mut drawing.marked);
        let size = || Rect {
            x: Pt(0.0),
            y: Pt(0.0),
            width: Pt(round(list.page_width)),
            height: Pt(round(list.page_height)),
            mode: None,
            winding_order: None,
        };
        pdf.pages.push(PdfPage { media_box: size(), trim_box: size(), crop_box: size(), ops: drawing.ops });
    }
    let options = PdfSaveOptions { optimize: true, subset_fonts: false, secure: true, image_optimization: None };
    let raw = pdf.to_lopdf_document(&options, &mut Vec::new());
    finish::finish(raw, list, document, fonts, &resources, &marked, attachments)
}

/// Coordinates carry two decimals.
pub(super) fn round(v: f32) -> f32 {
    (v * 100.0).round() / 100.0
}

/// Which glyphs of which face are used, for which texts.
struct FaceUse {
    /// The texts each glyph stands for, in the order met; the place in the list is the variant.
    texts: BTreeMap<Face, BTreeMap<u16, Vec<String>>>,
    remaps: BTreeMap<Face, GlyphRemapper>,
}

impl FaceUse {
    fn of(list: &DisplayList) -> FaceUse {
        let mut texts: BTreeMap<Face, BTreeMap<u16, Vec<String>>> = BTreeMap::new();
        for item in list.pages.iter().flat_map(|page| &page.items) {
            let Draw::Text(run) = &item.draw else { continue };
            let face = texts.entry(run.face).or_default();
            for glyph in &run.glyphs {
                let known = face.entry(glyph.id).or_default();
                if !known.contains(&glyph.text) {
                    known.push(glyph.text.clone());
                }
            }
        }
        let remaps = texts
            .iter()
            .map(|(face, glyphs)| {
                let mut remap = GlyphRemapper::new();
                for id in glyphs.keys() {
                    remap.remap(*id);
                }
                (*face, remap)
            })
            .collect();
        FaceUse { texts, remaps }
    }

    fn embed(&self, fonts: &Fonts, pdf: &mut PdfDocument) -> Result<Vec<FaceResource>, PdfError> {
        let mut resources = Vec::new();
        for (face, glyphs) in &self.texts {
            let remap = self.remaps.get(face).ok_or(PdfError::Font(*face))?;
            let measures = fonts.measures(*face).ok_or(PdfError::Font(*face))?;
            let bytes = subsetter::subset(fonts.bytes(*face), 0, remap).map_err(|_| PdfError::Font(*face))?;
            let widths: BTreeMap<u16, u16> =
                remap.remapped_gids().enumerate().map(|(new, old)| (new as u16, fonts.width(*face, old))).collect();
            let number = Face::ALL.iter().position(|each| each == face).unwrap_or(0);
            let tag: String = "WEIRB".chars().chain(std::iter::once(char::from(b'A' + number as u8))).collect();
            let metrics = printpdf::FontMetrics { ascent: measures.ascent, descent: measures.descent };
            let mut parsed = ParsedFont::with_glyph_data(
                bytes,
                0,
                Some(format!("{tag}+{}", measures.name)),
                BTreeMap::new(),
                widths,
                1000,
                metrics,
            );
            let [left, bottom, right, top] = measures.bounds;
            parsed.pdf_font_metrics.x_min = left;
            parsed.pdf_font_metrics.y_min = bottom;
            parsed.pdf_font_metrics.x_max = right;
            parsed.pdf_font_metrics.y_max = top;
            parsed.pdf_font_metrics.caret_slope_rise = measures.caret.0;
            parsed.pdf_font_metrics.caret_slope_run = measures.caret.1;
            parsed.pdf_font_metrics.us_weight_class = measures.weight;
            let variants = glyphs.values().map(Vec::len).max().unwrap_or(1);
            for variant in 0..variants {
                let name = resource(*face, variant);
                pdf.resources.fonts.map.insert(FontId(name.clone()), PdfFont::new(parsed.clone()));
                resources.push(FaceResource { face: *face, name });
            }
        }
        Ok(resources)
    }
}

/// Which of a glyph's texts this one stands for.
fn variant(texts: &BTreeMap<u16, Vec<String>>, glyph: &Glyph) -> usize {
    match texts.get(&glyph.id) {
        Some(texts) if texts.len() > 1 => texts.iter().position(|known| *known == glyph.text).unwrap_or(0),
        _ => 0,
    }
}

fn resource(face: Face, variant: usize) -> String {
    let number = Face::ALL.iter().position(|&each| each == face).unwrap_or(0) + 1;
    if variant == 0 { format!("F{number}") } else { format!("F{number}v{variant}") }
}

/// One page being drawn; remembers the graphics state so that it is set only when it changes.
struct PageDrawing<'a> {
    list: &'a DisplayList,
    style: &'a Style,
    faces: &'a FaceUse,
    number: usize,
    ops: Vec<Op>,
    marked: Vec<Marked>,
    fill: Option<[u8; 3]>,
    outline: Option<[u8; 3]>,
    thickness: Option<f32>,
    dash: Option<(f32, f32)>,
}

impl<'a> PageDrawing<'a> {
    fn new(list: &'a DisplayList, style: &'a Style, faces: &'a FaceUse, number: usize) -> Self {
        PageDrawing {
            list,
            style,
            faces,
            number,
            ops: Vec::new(),
            marked: Vec::new(),
            fill: None,
            outline: None,
            thickness: None,
            dash: None,
        }
    }

    fn draw(&mut self, page: &Page, pdf: &mut PdfDocument) {
        let mut open: Option<Content> = None;
        for (index, item) in page.items.iter().enumerate() {
            let content = Content::of(item, self.list, &self.style.grid());
            if open != Some(content) {
                if open.is_some() {
                    self.ops.push(Op::EndMarkedContent);
                }
                self.begin(content);
                open = Some(content);
            }
            self.item(item, index, pdf);
        }
        if open.is_some() {
            self.ops.push(Op::EndMarkedContent);
        }
    }

    fn begin(&mut self, content: Content) {
        let (tag, role) = match content {
            Content::Tagged(tag) => (tag, self.list.tags.get(tag.0 as usize).map_or(&Role::Span, |node| &node.role)),
            Content::Artifact(kind) => {
                let name = |name: &str| DictItem::Name(name.as_bytes().to_vec());
                let map = kind.properties().map(|(key, value)| (key.to_owned(), name(value))).collect();
                let properties = DictItem::Dict { map };
                self.ops.push(Op::BeginMarkedContentWithProperties { tag: "Artifact".to_owned(), properties });
                return;
            }
        };
        let number = self.marked.len() as i64;
        let map = BTreeMap::from([("MCID".to_owned(), DictItem::Int(number))]);
        self.ops.push(Op::BeginMarkedContentWithProperties {
            tag: structure::structure_type(role).to_owned(),
            properties: DictItem::Dict { map },
        });
        self.marked.push(Marked { page: self.number, number, tag });
    }

    fn item(&mut self, item: &DrawItem, index: usize, pdf: &mut PdfDocument) {
        match &item.draw {
            Draw::Text(run) => self.text(run),
            Draw::Path { segments, fill, even_odd, stroke } => {
                self.path(segments, *fill, *even_odd, stroke.as_ref());
            }
            Draw::Image { bounds, width, height, rgba } => {
                let id = XObjectId(format!("I{}x{index}", self.number + 1));
                pdf.resources.xobjects.map.insert(id.clone(), XObject::External(image(*width, *height, rgba)));
                let transform = XObjectTransform {
                    translate_x: Some(Pt(round(bounds.x))),
                    translate_y: Some(Pt(round(self.list.page_height - bounds.bottom()))),
                    scale_x: Some(round(bounds.width)),
                    scale_y: Some(round(bounds.height)),
                    no_auto_scale: true,
                    ..XObjectTransform::default()
                };
                self.ops.push(Op::UseXobject { id, transform });
            }
        }
    }

    fn colour(&self, paint: Paint) -> [u8; 3] {
        match paint {
            Paint::Ink(ink) => self.style.colour(ink),
            Paint::Rgb(rgb) => rgb,
        }
    }

    fn fill_with(&mut self, rgb: [u8; 3]) {
        if self.fill != Some(rgb) {
            self.fill = Some(rgb);
            self.ops.push(Op::SetFillColor { col: colour(rgb) });
        }
    }

    fn stroke_with(&mut self, stroke: &PathStroke) {
        let rgb = self.colour(stroke.paint);
        if self.outline != Some(rgb) {
            self.outline = Some(rgb);
            self.ops.push(Op::SetOutlineColor { col: colour(rgb) });
        }
        if self.thickness != Some(stroke.width) {
            self.thickness = Some(stroke.width);
            self.ops.push(Op::SetOutlineThickness { pt: Pt(round(stroke.width)) });
        }
        if self.dash != stroke.dash {
            self.dash = stroke.dash;
            let dash = match stroke.dash {
                Some((on, off)) => LineDashPattern::new(0.0, &[on, off]),
                None => LineDashPattern::new(0.0, &[]),
            };
            self.ops.push(Op::SetLineDashPattern { dash });
        }
    }

    /// A run is cut where a glyph needs another resource of its face.
    fn text(&mut self, run: &Run) {
        self.fill_with(self.colour(Paint::Ink(run.ink)));
        let Some(remap) = self.faces.remaps.get(&run.face) else { return };
        let Some(texts) = self.faces.texts.get(&run.face) else { return };
        let variants: Vec<usize> = run.glyphs.iter().map(|glyph| variant(texts, glyph)).collect();
        let mut variants = &variants[..];
        let mut x = run.x;
        let mut rest = &run.glyphs[..];
        while let Some(&variant) = variants.first() {
            let length = variants.iter().take_while(|each| **each == variant).count();
            let (now, later) = rest.split_at_checked(length).unwrap_or((rest, &[]));
            variants = variants.get(length..).unwrap_or(&[]);
            let glyphs: Vec<Codepoint> = now
                .iter()
                .map(|glyph| Codepoint {
                    gid: remap.get(glyph.id).unwrap_or(0),
                    offset: round(glyph.natural - glyph.advance),
                    cid: Some(if glyph.text.is_empty() { "\u{200b}".to_owned() } else { glyph.text.clone() }),
                })
                .collect();
            let font = PdfFontHandle::External(FontId(resource(run.face, variant)));
            let y = round(self.list.page_height - run.y);
            self.ops.push(Op::StartTextSection);
            self.ops.push(Op::SetFont { font, size: Pt(round(run.size)) });
            self.ops.push(Op::SetTextMatrix { matrix: TextMatrix::Raw([1.0, 0.0, 0.0, 1.0, round(x), y]) });
            self.ops.push(Op::ShowText { items: vec![TextItem::GlyphIds(glyphs)] });
            self.ops.push(Op::EndTextSection);
            x += now.iter().map(|glyph| glyph.advance).sum::<f32>() * run.size / 1000.0;
            rest = later;
        }
    }

    fn path(&mut self, segments: &[Segment], fill: Option<Paint>, even_odd: bool, stroke: Option<&PathStroke>) {
        let outlines = self.outlines(segments);
        if let Some(paint) = fill {
            self.fill_with(self.colour(paint));
            let rings = outlines.iter().map(|(points, _)| PolygonRing { points: points.clone() }).collect();
            let winding_order = if even_odd { WindingOrder::EvenOdd } else { WindingOrder::NonZero };
            self.ops.push(Op::DrawPolygon { polygon: Polygon { rings, mode: PaintMode::Fill, winding_order } });
        }
        if let Some(stroke) = stroke {
            self.stroke_with(stroke);
            for (points, closed) in outlines {
                if closed {
                    let rings = vec![PolygonRing { points }];
                    let mode = PaintMode::Stroke;
                    let polygon = Polygon { rings, mode, winding_order: WindingOrder::NonZero };
                    self.ops.push(Op::DrawPolygon { polygon });
                } else {
                    self.ops.push(Op::DrawLine { line: Line { points, is_closed: false } });
                }
            }
        }
    }

    /// The outlines of a path, each with whether it is closed.
    fn outlines(&self, segments: &[Segment]) -> Vec<(Vec<LinePoint>, bool)> {
        let height = self.list.page_height;
        let point =
            |x: f32, y: f32, bezier| LinePoint { p: Point { x: Pt(round(x)), y: Pt(round(height - y)) }, bezier };
        let mut outlines: Vec<(Vec<LinePoint>, bool)> = Vec::new();
        for segment in segments {
            match *segment {
                Segment::Move(x, y) => outlines.push((vec![point(x, y, false)], false)),
                Segment::Line(x, y) => {
                    if let Some((points, _)) = outlines.last_mut() {
                        points.push(point(x, y, false));
                    }
                }
                Segment::Curve(a, b, c, d, x, y) => {
                    if let Some((points, _)) = outlines.last_mut() {
                        points.extend([point(a, b, true), point(c, d, true), point(x, y, false)]);
                    }
                }
                Segment::Close => {
                    if let Some((_, closed)) = outlines.last_mut() {
                        *closed = true;
                    }
                }
            }
        }
        outlines.retain(|(points, _)| points.len() > 1);
        outlines
    }
}

fn colour(rgb: [u8; 3]) -> Color {
    // Three decimals tell all 256 steps apart.
    let [r, g, b] = rgb.map(|channel| (f32::from(channel) / 255.0 * 1000.0).round() / 1000.0);
    Color::Rgb(Rgb { r, g, b, icc_profile: None })
}

/// Pixels laid on white paper: archives and old printers handle transparency badly.
fn image(width: u32, height: u32, rgba: &[u8]) -> printpdf::ExternalXObject {
    let count = width as usize * height as usize;
    let mut content = Vec::with_capacity(count * 3);
    for pixel in rgba.chunks_exact(4).take(count) {
        if let [r, g, b, a] = *pixel {
            let over = |c: u8| ((u32::from(c) * u32::from(a) + 255 * (255 - u32::from(a)) + 127) / 255) as u8;
            content.extend([over(r), over(g), over(b)]);
        }
    }
    content.resize(count * 3, 255);
    let name = |name: &str| DictItem::Name(name.as_bytes().to_vec());
    let dict = BTreeMap::from([
        ("Type".to_owned(), name("XObject")),
        ("Subtype".to_owned(), name("Image")),
        ("Width".to_owned(), DictItem::Int(i64::from(width))),
        ("Height".to_owned(), DictItem::Int(i64::from(height))),
        ("ColorSpace".to_owned(), name("DeviceRGB")),
        ("BitsPerComponent".to_owned(), DictItem::Int(8)),
    ]);
    let stream = printpdf::ExternalStream { dict, content, compress: true };
    printpdf::ExternalXObject { stream, width: None, height: None, dpi: None }
}

/// Tags that own marked content, for `finish`.
pub(super) fn owners(marked: &[Marked]) -> BTreeSet<TagId> {
    marked.iter().map(|each| each.tag).collect()
}

/// Whether a node without content must stand in the tree all the same: an empty cell.
pub(super) fn kept_empty(role: &Role) -> bool {
    matches!(role, Role::Cell | Role::HeadCell(_))
}
