//! The display list: what stands where on which page, with its role in the document.
//!
//! `layout` makes it, `pdf` writes it, tests walk it. Coordinates are points from the top left corner of the page, y down.
//! Items stand in reading order; an item without a tag is decoration.

use std::sync::Arc;

use super::{Face, Ink, Segment};

/// Everything that is drawn, page by page, and the document's structure.
#[derive(Clone, Debug, Default)]
pub struct DisplayList {
    /// Page width.
    pub page_width: f32,
    /// Page height.
    pub page_height: f32,
    /// The pages, first to last.
    pub pages: Vec<Page>,
    /// The structure tree. The first is the document itself; parents come before their children, in reading order.
    pub tags: Vec<Tag>,
    /// Places that can be jumped to. Sorted by name; names are unique.
    pub anchors: Vec<Anchored>,
    /// The outline, in reading order.
    pub outline: Vec<OutlineEntry>,
}

/// One page.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// What is drawn, in painting and reading order.
    pub items: Vec<DrawItem>,
    /// Places to click on.
    pub links: Vec<Link>,
}

/// Which [`Tag`] an item belongs to: its place in [`DisplayList::tags`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct TagId(pub u32);

/// A node of the structure tree.
#[derive(Clone, Debug, PartialEq)]
pub struct Tag {
    /// What it is.
    pub role: Role,
    /// The node it belongs to; `None` only for the first.
    pub parent: Option<TagId>,
    /// A title: a callout's label, a table's summary.
    pub title: Option<String>,
}

/// What a piece of content is.
#[derive(Clone, Debug, PartialEq)]
pub enum Role {
    /// The whole.
    Document,
    /// A group that belongs together.
    Section,
    /// A heading, level 1 to 6.
    Heading(u8),
    /// A paragraph.
    Paragraph,
    /// A list; `numbered` if its labels count.
    List {
        /// Whether the labels are numbers.
        numbered: bool,
    },
    /// An item of a list.
    ListItem,
    /// An item's label.
    Label,
    /// An item's text.
    ListBody,
    /// A table.
    Table,
    /// A row of a table.
    Row,
    /// A cell that heads a column or a row.
    HeadCell(Scope),
    /// Any other cell.
    Cell,
    /// What is printed with a figure.
    Caption,
    /// A drawing.
    Figure {
        /// The text alternative.
        alternative: String,
        /// Page number, from 0, and the box it fills there.
        bounds: Option<(usize, Bounds)>,
    },
    /// A formula.
    Formula {
        /// As it is read aloud.
        alternative: String,
        /// On one line, as one would type it.
        written: String,
        /// Page number, from 0, and the box it fills there.
        bounds: Option<(usize, Bounds)>,
    },
    /// Something to click on.
    Link,
    /// A stretch of text.
    Span,
    /// A stretch of text that is copied out otherwise than it stands: a raised exponent as `^(2)`.
    Written(String),
}

/// What a head cell heads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scope {
    /// The column below it.
    Column,
    /// The row beside it.
    Row,
}

/// A box on a page.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Bounds {
    /// Left edge.
    pub x: f32,
    /// Top edge.
    pub y: f32,
    /// Width.
    pub width: f32,
    /// Height.
    pub height: f32,
}

impl Bounds {
    /// The right edge.
    #[must_use]
    pub fn right(&self) -> f32 {
        self.x + self.width
    }

    /// The bottom edge.
    #[must_use]
    pub fn bottom(&self) -> f32 {
        self.y + self.height
    }
}

/// One thing drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawItem {
    /// What it belongs to; `None` for decoration.
    pub tag: Option<TagId>,
    /// What is drawn.
    pub draw: Draw,
}

/// The kinds of thing that are drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum Draw {
    /// Text on one line.
    Text(Run),
    /// A path.
    Path {
        /// The outline.
        segments: Vec<Segment>,
        /// Fill.
        fill: Option<Paint>,
        /// Whether the fill counts even and odd crossings.
        even_odd: bool,
        /// Stroke.
        stroke: Option<PathStroke>,
    },
    /// A JPEG file.
    Jpeg {
        /// The box it fills.
        bounds: Bounds,
        /// Pixels in a row.
        width: usize,
        /// Rows.
        height: usize,
        /// One component, not three.
        grey: bool,
        /// The file.
        bytes: Arc<[u8]>,
    },
    /// Eight-bit RGBA pixels.
    Image {
        /// The box it fills.
        bounds: Bounds,
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
        /// `width * height * 4` bytes.
        rgba: Vec<u8>,
    },
}

/// A colour: one of the document's inks, or the firm's art.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paint {
    /// A named ink.
    Ink(Ink),
    /// Eight bits a channel.
    Rgb([u8; 3]),
}

/// How a path is stroked. Butt ends, mitred corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathStroke {
    /// Width.
    pub width: f32,
    /// Colour.
    pub paint: Paint,
    /// Lengths on and off.
    pub dash: Option<(f32, f32)>,
}

/// Glyphs of one face, size and ink on one baseline.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The face.
    pub face: Face,
    /// The size.
    pub size: f32,
    /// The ink.
    pub ink: Ink,
    /// Where it starts.
    pub x: f32,
    /// The baseline.
    pub y: f32,
    /// Width of what can be seen: a space at the end does not count.
    pub width: f32,
    /// The column or cell it was set in: text must not leave it.
    pub frame: Bounds,
    /// The glyphs, shared by the same words elsewhere.
    pub glyphs: Arc<[Glyph]>,
}

impl Run {
    /// The words of this run.
    #[must_use]
    pub fn text(&self) -> String {
        self.glyphs.iter().map(|glyph| glyph.text.as_str()).collect()
    }
}

/// One glyph. Advances are in thousandths of the size, as all nine faces have a thousand units to the em.
#[derive(Clone, Debug, PartialEq)]
pub struct Glyph {
    /// Its number in the whole face.
    pub id: u16,
    /// The face's own advance.
    pub natural: f32,
    /// The advance after kerning.
    pub advance: f32,
    /// The text it stands for; several characters for a ligature.
    pub text: GlyphText,
}

/// The text of a glyph: short, so that it needs no memory of its own.
pub type GlyphText = smol_str::SmolStr;

/// A place to click on.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    /// Where.
    pub bounds: Bounds,
    /// Where it leads.
    pub target: Target,
    /// What it is, for those who hear it.
    pub description: String,
    /// The tag whose content it covers.
    pub tag: Option<TagId>,
}

/// Where a link leads.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Target {
    /// A numbered line.
    Line(u32),
    /// An anchor of the document.
    Anchor(String),
    /// The top of a page, counted from 0.
    Page(usize),
    /// An address outside this document: a URI.
    Outside(String),
}

/// A place that can be jumped to.
#[derive(Clone, Debug, PartialEq)]
pub struct Anchored {
    /// Its address.
    pub target: Target,
    /// Page, counted from 0.
    pub page: usize,
    /// Height on the page.
    pub y: f32,
}

/// A line of the outline.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlineEntry {
    /// 1 for the outermost.
    pub level: u8,
    /// The words.
    pub title: String,
    /// Page, counted from 0.
    pub page: usize,
    /// Height on the page.
    pub y: f32,
}
