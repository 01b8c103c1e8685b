//! Draws the display list. printpdf makes the document, its pages, faces and images; `finish` adds what it does not know.

use std::collections::BTreeMap;
use std::fmt;

use printpdf::{
    Codepoint, DictItem, FontId, Op, ParsedFont, PdfDocument, PdfFont, PdfFontHandle, PdfPage, PdfSaveOptions, Pt,
    Rect, TextItem, XObject, XObjectId,
};
use subsetter::GlyphRemapper;

use crate::page::display::{
    Bounds, DisplayList, Draw, DrawItem, Glyph, GlyphText, Page, Paint, PathStroke, Role, Run, TagId,
};
use crate::page::fonts::Fonts;
use crate::page::{Document, Face, Segment, Style};

use super::artifact::Content;
use super::{finish, save, structure};

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

/// A resource of a face: where one glyph stands for two texts, the face is specimened once for each.
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

/// What the pages show, page by page, and to which tags it belongs.
#[derive(Default)]
pub(super) struct Drawn {
    /// The drawing operators of each page.
    pub(super) contents: Vec<Vec<u8>>,
    /// The stretches of marked content, in the order drawn.
    pub(super) marked: Vec<Marked>,
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
    let mut faces = FaceUse::of(list);
    let mut pdf = PdfDocument::new(&document.title);
    let (resources, mut specimen) = faces.embed(fonts, &mut pdf)?;
    let size = || Rect {
        x: Pt(0.0),
        y: Pt(0.0),
        width: Pt(round(list.page_width)),
        height: Pt(round(list.page_height)),
        mode: None,
        winding_order: None,
    };
    let mut drawn = Drawn::default();
    for (number, page) in list.pages.iter().enumerate() {
        let mut drawing = PageDrawing::new(list, &document.style, &faces, number);
        drawing.draw(page, &mut pdf);
        drawn.marked.append(&mut drawing.marked);
        drawn.contents.push(drawing.out);
        let ops = std::mem::take(&mut specimen);
        pdf.pages.push(PdfPage { media_box: size(), trim_box: size(), crop_box: size(), ops });
    }
    let options = PdfSaveOptions { optimize: false, subset_fonts: false, secure: true, image_optimization: None };
    let raw = pdf.to_lopdf_document(&options, &mut Vec::new());
    finish::finish(raw, list, document, fonts, &resources, drawn, attachments)
}

/// Coordinates carry two decimals.
pub(super) fn round(v: f32) -> f32 {
    (v * 100.0).round() / 100.0
}

/// The glyphs of one face that are used.
#[derive(Default)]
struct FaceGlyphs {
    /// By glyph of the whole face: the texts it stands for, in the order met. The place in the list is the variant.
    texts: Vec<Vec<GlyphText>>,
    /// By glyph of the whole face: its number in the face as embedded.
    codes: Vec<u16>,
}

impl FaceGlyphs {
    fn meet(&mut self, glyph: &Glyph) {
        let at = usize::from(glyph.id);
        if self.texts.len() <= at {
            self.texts.resize_with(at + 1, Vec::new);
        }
        if let Some(known) = self.texts.get_mut(at)
            && !known.contains(&glyph.text)
        {
            known.push(glyph.text.clone());
        }
    }

    /// Each used glyph with its texts, in the order of the face.
    fn used(&self) -> impl Iterator<Item = (u16, &[GlyphText])> {
        self.texts.iter().enumerate().filter(|(_, texts)| !texts.is_empty()).map(|(id, texts)| (id as u16, &texts[..]))
    }

    fn code(&self, glyph: &Glyph) -> u16 {
        self.codes.get(usize::from(glyph.id)).copied().unwrap_or(0)
    }

    /// Which of a glyph's texts this one stands for.
    fn variant(&self, glyph: &Glyph) -> usize {
        match self.texts.get(usize::from(glyph.id)) {
            Some(texts) if texts.len() > 1 => texts.iter().position(|known| *known == glyph.text).unwrap_or(0),
            _ => 0,
        }
    }
}

/// Which glyphs of which face are used, for which texts.
struct FaceUse(BTreeMap<Face, FaceGlyphs>);

impl FaceUse {
    fn of(list: &DisplayList) -> FaceUse {
        let mut faces: BTreeMap<Face, FaceGlyphs> = BTreeMap::new();
        for item in list.pages.iter().flat_map(|page| &page.items) {
            let Draw::Text(run) = &item.draw else { continue };
            let face = faces.entry(run.face).or_default();
            run.glyphs.iter().for_each(|glyph| face.meet(glyph));
        }
        FaceUse(faces)
    }

    /// Cuts each face down to its used glyphs and embeds it. printpdf learns what each glyph stands for from what pages
    /// show: the second value shows every glyph once, until the page's own operators take its place.
    fn embed(&mut self, fonts: &Fonts, pdf: &mut PdfDocument) -> Result<(Vec<FaceResource>, Vec<Op>), PdfError> {
        let mut resources = Vec::new();
        let mut specimen = vec![Op::StartTextSection];
        for (face, glyphs) in &mut self.0 {
            let mut remap = GlyphRemapper::new();
            let mut codes = vec![0; glyphs.texts.len()];
            for (id, _) in glyphs.used() {
                if let Some(code) = codes.get_mut(usize::from(id)) {
                    *code = remap.remap(id);
                }
            }
            glyphs.codes = codes;
            let measures = fonts.measures(*face).ok_or(PdfError::Font(*face))?;
            let bytes = subsetter::subset(fonts.bytes(*face), 0, &remap).map_err(|_| PdfError::Font(*face))?;
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
            let variants = glyphs.used().map(|(_, texts)| texts.len()).max().unwrap_or(1);
            for variant in 0..variants {
                let name = resource(*face, variant);
                let shown = glyphs.used().filter_map(|(id, texts)| {
                    let text = texts.get(variant)?;
                    let cid = if text.is_empty() { "\u{200b}".to_owned() } else { text.to_string() };
                    let gid = glyphs.codes.get(usize::from(id)).copied()?;
                    Some(Codepoint { gid, offset: 0.0, cid: Some(cid) })
                });
                let items = vec![TextItem::GlyphIds(shown.collect())];
                let font = PdfFontHandle::External(FontId(name.clone()));
                specimen.extend([Op::SetFont { font, size: Pt(1.0) }, Op::ShowText { items }]);
                pdf.resources.fonts.map.insert(FontId(name.clone()), PdfFont::new(parsed.clone()));
                resources.push(FaceResource { face: *face, name });
            }
        }
        specimen.push(Op::EndTextSection);
        Ok((resources, specimen))
    }
}

fn resource(face: Face, variant: usize) -> String {
    let number = Face::ALL.iter().position(|&each| each == face).unwrap_or(0) + 1;
    if variant == 0 { format!("F{number}") } else { format!("F{number}v{variant}") }
}

/// One page being drawn, as operators; remembers the graphics state so that it is set only when it changes.
///
/// Written here and not by printpdf, which makes several objects of every operator and one of every glyph: a plan of
/// twenty pages then takes 70 million instructions more, as many as all the rest of writing it.
struct PageDrawing<'a> {
    list: &'a DisplayList,
    style: &'a Style,
    faces: &'a FaceUse,
    number: usize,
    out: Vec<u8>,
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
            out: Vec::new(),
            marked: Vec::new(),
            fill: None,
            outline: None,
            thickness: None,
            dash: None,
        }
    }

    /// Numbers, each with a space after it, then an operator.
    fn operator(&mut self, numbers: &[f32], operator: &str) {
        for &number in numbers {
            save::real(&mut self.out, round(number));
            self.out.push(b' ');
        }
        self.out.extend(operator.bytes());
        self.out.push(b'\n');
    }

    fn draw(&mut self, page: &Page, pdf: &mut PdfDocument) {
        let mut open: Option<Content> = None;
        let mut ends = 0;
        for (index, item) in page.items.iter().enumerate() {
            let content = Content::of(item, self.list, &self.style.grid());
            if open != Some(content) {
                self.end(ends);
                ends = self.begin(content);
                open = Some(content);
            }
            self.item(item, index, pdf);
        }
        self.end(ends);
    }

    fn end(&mut self, ends: usize) {
        for _ in 0..ends {
            self.operator(&[], "EMC");
        }
    }

    /// Opens marked content; gives back how many ends it needs.
    fn begin(&mut self, content: Content) -> usize {
        let (tag, role) = match content {
            Content::Tagged(tag) => (tag, self.list.tags.get(tag.0 as usize).map_or(&Role::Span, |node| &node.role)),
            Content::Artifact(kind) => {
                self.out.extend(b"/Artifact <<");
                for (key, value) in kind.properties() {
                    self.out.extend(format!("/{key} /{value}").bytes());
                }
                self.operator(&[], ">> BDC");
                return 1;
            }
        };
        let number = self.marked.len() as i64;
        self.out.push(b'/');
        self.out.extend(structure::structure_type(role).bytes());
        self.out.extend(b" <</MCID ");
        save::integer(&mut self.out, number);
        self.operator(&[], ">> BDC");
        self.marked.push(Marked { page: self.number, number, tag });
        let (Role::Formula { written, .. } | Role::Written(written)) = role else { return 1 };
        // What stands in two levels is copied out as one line. Readers look for such words at a span.
        self.out.extend(b"/Span <</ActualText <FEFF");
        self.out.extend(written.encode_utf16().flat_map(|unit| format!("{unit:04X}").into_bytes()));
        self.operator(&[], ">>> BDC");
        2
    }

    fn item(&mut self, item: &DrawItem, index: usize, pdf: &mut PdfDocument) {
        match &item.draw {
            Draw::Text(run) => self.text(run),
            Draw::Path { segments, fill, even_odd, stroke } => {
                self.path(segments, *fill, *even_odd, stroke.as_ref());
            }
            Draw::Jpeg { bounds, width, height, grey, bytes } => {
                let space = if *grey { "DeviceGray" } else { "DeviceRGB" };
                let made = object((*width, *height), space, bytes.to_vec(), Some("DCTDecode"));
                self.place(bounds, index, made, pdf);
            }
            Draw::Image { bounds, width, height, rgba } => {
                self.place(bounds, index, image(*width, *height, rgba), pdf);
            }
        }
    }

    /// Puts an image object on the page, in its box.
    fn place(&mut self, bounds: &Bounds, index: usize, image: printpdf::ExternalXObject, pdf: &mut PdfDocument) {
        let id = format!("I{}x{index}", self.number + 1);
        self.operator(&[], "q");
        let bottom = self.list.page_height - bounds.bottom();
        self.operator(&[bounds.width, 0.0, 0.0, bounds.height, bounds.x, bottom], "cm");
        self.operator(&[], &format!("/{id} Do"));
        self.operator(&[], "Q");
        pdf.resources.xobjects.map.insert(XObjectId(id), XObject::External(image));
    }

    fn paint(&mut self, paint: Paint, operator: &str) {
        let rgb = self.colour(paint);
        // Three decimals tell all 256 steps apart.
        for channel in rgb {
            let thousandths = (f32::from(channel) / 255.0 * 1000.0).round() / 1000.0;
            save::real(&mut self.out, thousandths);
            self.out.push(b' ');
        }
        self.operator(&[], operator);
    }

    fn colour(&self, paint: Paint) -> [u8; 3] {
        match paint {
            Paint::Ink(ink) => self.style.colour(ink),
            Paint::Rgb(rgb) => rgb,
        }
    }

    fn fill_with(&mut self, paint: Paint) {
        let rgb = self.colour(paint);
        if self.fill != Some(rgb) {
            self.fill = Some(rgb);
            self.paint(paint, "rg");
        }
    }

    fn stroke_with(&mut self, stroke: &PathStroke) {
        let rgb = self.colour(stroke.paint);
        if self.outline != Some(rgb) {
            self.outline = Some(rgb);
            self.paint(stroke.paint, "RG");
        }
        if self.thickness != Some(stroke.width) {
            self.thickness = Some(stroke.width);
            self.operator(&[stroke.width], "w");
        }
        if self.dash != stroke.dash {
            self.dash = stroke.dash;
            self.out.push(b'[');
            if let Some((on, off)) = stroke.dash {
                save::real(&mut self.out, round(on));
                self.out.push(b' ');
                save::real(&mut self.out, round(off));
            }
            self.operator(&[], "] 0 d");
        }
    }

    /// A run is cut where a glyph needs another resource of its face.
    fn text(&mut self, run: &Run) {
        self.fill_with(Paint::Ink(run.ink));
        let Some(face) = self.faces.0.get(&run.face) else { return };
        let y = self.list.page_height - run.y;
        let mut x = run.x;
        let mut glyphs = run.glyphs.iter().map(|glyph| (glyph, face.variant(glyph))).peekable();
        let mut together: Vec<u8> = Vec::new();
        while let Some(&(_, variant)) = glyphs.peek() {
            self.out.extend(b"BT\n/");
            self.out.extend(resource(run.face, variant).bytes());
            self.out.push(b' ');
            self.operator(&[run.size], "Tf");
            self.operator(&[1.0, 0.0, 0.0, 1.0, x, y], "Tm");
            self.out.push(b'[');
            let mut advance = 0.0;
            while let Some((glyph, _)) = glyphs.next_if(|(_, of)| *of == variant) {
                together.extend(face.code(glyph).to_be_bytes());
                advance += glyph.advance;
                let offset = round(glyph.natural - glyph.advance);
                if offset != 0.0 {
                    save::string(&mut self.out, &together);
                    together.clear();
                    save::real(&mut self.out, offset);
                }
            }
            if !together.is_empty() {
                save::string(&mut self.out, &together);
                together.clear();
            }
            self.operator(&[], "] TJ\nET");
            x += advance * run.size / 1000.0;
        }
    }

    fn path(&mut self, segments: &[Segment], fill: Option<Paint>, even_odd: bool, stroke: Option<&PathStroke>) {
        let outlines = outlines(segments);
        if let Some(paint) = fill {
            self.fill_with(paint);
            for outline in &outlines {
                self.outline(outline);
                self.operator(&[], "h");
            }
            self.operator(&[], if even_odd { "f*" } else { "f" });
        }
        if let Some(stroke) = stroke {
            self.stroke_with(stroke);
            for outline in &outlines {
                let closed = self.outline(outline);
                self.operator(&[], if closed { "s" } else { "S" });
            }
        }
    }

    /// One outline, and whether it is closed.
    fn outline(&mut self, outline: &[Segment]) -> bool {
        let height = self.list.page_height;
        let mut closed = false;
        for segment in outline {
            match *segment {
                Segment::Move(x, y) => self.operator(&[x, height - y], "m"),
                Segment::Line(x, y) => self.operator(&[x, height - y], "l"),
                Segment::Curve(a, b, c, d, x, y) => {
                    self.operator(&[a, height - b, c, height - d, x, height - y], "c");
                }
                Segment::Close => closed = true,
            }
        }
        closed
    }
}

/// The outlines of a path; what goes nowhere is left out.
fn outlines(segments: &[Segment]) -> Vec<&[Segment]> {
    let starts = segments.iter().enumerate().filter(|(_, segment)| matches!(segment, Segment::Move(..)));
    let starts: Vec<usize> = starts.map(|(index, _)| index).collect();
    let ends = starts.iter().skip(1).copied().chain([segments.len()]);
    let outlines = starts.iter().zip(ends).filter_map(|(&start, end)| segments.get(start..end));
    outlines.filter(|outline| outline.iter().any(|s| matches!(s, Segment::Line(..) | Segment::Curve(..)))).collect()
}

/// Pixels laid on white paper: archives and old printers handle transparency badly.
fn image(width: u32, height: u32, rgba: &[u8]) -> printpdf::ExternalXObject {
    let count = width as usize * height as usize;
    let mut content = on_paper(rgba.get(..count * 4).unwrap_or(rgba));
    content.resize(count * 3, 255);
    object((width as usize, height as usize), "DeviceRGB", content, None)
}

/// RGBA pixels laid on white paper: three bytes a pixel.
#[must_use]
pub fn on_paper(rgba: &[u8]) -> Vec<u8> {
    let mut content = Vec::with_capacity(rgba.len() / 4 * 3);
    for pixel in rgba.chunks_exact(4) {
        if let [r, g, b, a] = *pixel {
            let over = |c: u8| ((u32::from(c) * u32::from(a) + 255 * (255 - u32::from(a)) + 127) / 255) as u8;
            content.extend([over(r), over(g), over(b)]);
        }
    }
    content
}

/// An image of eight bits a channel; without a filter of its own it is compressed on writing.
fn object(
    (width, height): (usize, usize),
    space: &str,
    content: Vec<u8>,
    filter: Option<&str>,
) -> printpdf::ExternalXObject {
    let name = |name: &str| DictItem::Name(name.as_bytes().to_vec());
    let mut dict = BTreeMap::from([
        ("Type".to_owned(), name("XObject")),
        ("Subtype".to_owned(), name("Image")),
        ("Width".to_owned(), DictItem::Int(width as i64)),
        ("Height".to_owned(), DictItem::Int(height as i64)),
        ("ColorSpace".to_owned(), name(space)),
        ("BitsPerComponent".to_owned(), DictItem::Int(8)),
    ]);
    dict.extend(filter.map(|filter| ("Filter".to_owned(), name(filter))));
    let stream = printpdf::ExternalStream { dict, content, compress: filter.is_none() };
    printpdf::ExternalXObject { stream, width: None, height: None, dpi: None }
}

/// Whether a node without content must stand in the tree all the same: an empty cell.
pub(super) fn kept_empty(role: &Role) -> bool {
    matches!(role, Role::Cell | Role::HeadCell(_))
}
