//! What a page is made of: blocks and inlines before they are set, drawings, and the display list after.
//!
//! Data only, no behaviour beyond small constructors. `document` makes blocks, `drawing` makes [`Drawing`]s, `layout`
//! turns both into a [`display::DisplayList`], and `pdf` writes that. Lengths are PostScript points (1/72 inch),
//! y grows downward, and the origin of a drawing is the top left corner of the main column.
//!
//! Nothing here knows of ponds: it would serve any report with a label column, a text column and a number column.

pub mod display;
pub mod fonts;
pub mod style;

use std::num::NonZeroU32;
use std::sync::Arc;

pub use style::{Grid, Paper, Style};

/// A mark that rides from a template line to the page. `layout` carries it and never reads it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Origin(pub NonZeroU32);

/// One whole document, ready to be set.
#[derive(Clone, Debug)]
pub struct Document {
    /// Title, shown in the window's title bar.
    pub title: String,
    /// BCP 47 language tag, such as `en-GB`.
    pub language: String,
    /// Who is named as the author.
    pub author: String,
    /// One line that says what the document is about.
    pub subject: String,
    /// The document's own date as `YYYY-MM-DD`. Never the clock's.
    pub date: String,
    /// The look: paper, grid, sizes.
    pub style: Style,
    /// The first page's letterhead. Without one, the first page starts with its blocks.
    pub letterhead: Option<Letterhead>,
    /// What stands at the head and foot of pages.
    pub running: Running,
    /// The text, in reading order.
    pub blocks: Vec<Block>,
    /// A hash of everything that made this document; the file's identifier comes from it.
    pub fingerprint: [u8; 32],
}

/// The firm's head on the first page: art or a name at the left, address at the right.
#[derive(Clone, Debug)]
pub struct Letterhead {
    /// The firm's name: the text alternative of the art, or set in its place.
    pub name: String,
    /// The firm's line of trade, set under the name when there is no art.
    pub trade: String,
    /// Address lines, right aligned; four at most.
    pub address: Vec<String>,
    /// The firm's art.
    pub art: Option<Art>,
}

/// A picture made outside: vector paths already flattened, or pixels.
#[derive(Clone, Debug)]
pub enum Art {
    /// Paths in a box of `width` by `height` (any unit; only the ratio matters).
    Vector {
        /// Width of the box the paths stand in.
        width: f32,
        /// Height of that box.
        height: f32,
        /// The paths, in painting order.
        paths: Vec<ArtPath>,
    },
    /// Eight-bit RGBA pixels, row by row from the top left.
    Raster {
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
        /// `width * height * 4` bytes.
        rgba: Vec<u8>,
    },
}

/// A photograph the right way up, in as many pixels as the page needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Photo {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The picture.
    pub data: PhotoData,
}

/// How a photograph goes into the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PhotoData {
    /// A whole JPEG file, eight bits, grey or YCbCr.
    Jpeg {
        /// One component, not three.
        grey: bool,
        /// The file.
        bytes: Arc<[u8]>,
    },
    /// Eight-bit RGBA pixels, row by row from the top left.
    Rgba(Arc<[u8]>),
}

/// One path of vector art.
#[derive(Clone, Debug)]
pub struct ArtPath {
    /// The outline.
    pub segments: Vec<Segment>,
    /// Fill colour, eight bits a channel.
    pub fill: Option<[u8; 3]>,
    /// Whether the fill counts even and odd crossings instead of winding.
    pub even_odd: bool,
    /// Stroke colour and width in the art's own unit.
    pub stroke: Option<([u8; 3], f32)>,
}

/// Running heads and feet.
#[derive(Clone, Debug, Default)]
pub struct Running {
    /// On the high side of the step rule of later pages: the site.
    pub high: String,
    /// On its low side: edition and date.
    pub low: String,
    /// Foot, left: the firm.
    pub foot_left: String,
    /// Foot, middle: telephone, fingerprint.
    pub foot_middle: Vec<String>,
}

/// A block, with the template line that made it.
#[derive(Clone, Debug)]
pub struct Block {
    /// What it is.
    pub kind: BlockKind,
    /// Where it came from.
    pub origin: Option<Origin>,
}

/// The kinds of block.
#[derive(Clone, Debug)]
pub enum BlockKind {
    /// A heading of level 1 to 6.
    Heading(Heading),
    /// A paragraph.
    Paragraph(Paragraph),
    /// A bulleted or numbered list.
    List {
        /// First number; `None` for bullets.
        start: Option<u64>,
        /// The items.
        items: Vec<Vec<Block>>,
    },
    /// Numbered steps: a numeral and a time in the label column, an amount and its text in the main column.
    Steps(Vec<Step>),
    /// Labels in the label column, each with its text beside it.
    Labelled(Vec<Labelled>),
    /// Something set apart.
    Callout {
        /// How heavily.
        weight: Weight,
        /// Its label; empty for the weight's own word.
        label: Vec<Inline>,
        /// What it says.
        body: Vec<Block>,
    },
    /// A table.
    Table(Table),
    /// A drawing on its own, in the main column.
    Drawing(Box<Drawing>),
    /// A photograph in the main column, its caption beside or under it.
    Photo(Box<Captioned>),
    /// Numbered lines of calculation.
    Lines(LineGroup),
    /// What follows starts a new page if this paper does so for parts (PAGE.md section 14, rule 1).
    NewPart,
}

/// A photograph with what is said of it.
#[derive(Clone, Debug)]
pub struct Captioned {
    /// The picture.
    pub photo: Photo,
    /// What it shows, for those who do not see it.
    pub alternative: String,
    /// What is printed with it.
    pub caption: Vec<Inline>,
}

/// A heading.
#[derive(Clone, Debug)]
pub struct Heading {
    /// 1 to 6, in the structure tree.
    pub level: u8,
    /// How it looks.
    pub look: HeadingLook,
    /// A label set beside it in the label column; empty for none.
    pub label: Vec<Inline>,
    /// An address others may refer to.
    pub anchor: Option<String>,
    /// The words.
    pub text: Vec<Inline>,
}

/// How a heading looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeadingLook {
    /// The verdict: display serif, ragged, first words semibold (as [`Inline::Strong`]).
    Verdict,
    /// The title of a part or of the sheet.
    Page,
    /// A section, in the main column.
    Section,
    /// A section whose head starts in the label column with a rule under it (the head of the steps, of a line group).
    Wide,
}

/// A paragraph.
#[derive(Clone, Debug)]
pub struct Paragraph {
    /// How it looks.
    pub look: ParagraphLook,
    /// The words.
    pub text: Vec<Inline>,
}

/// How a paragraph looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ParagraphLook {
    /// Body text.
    Body,
    /// Smaller and quiet: keys under tables, remarks.
    Quiet,
}

/// One numbered step.
#[derive(Clone, Debug)]
pub struct Step {
    /// When to do it, in the label column beside the numeral.
    pub when: Vec<Inline>,
    /// The amount or the act, set large.
    pub amount: Vec<Inline>,
    /// One to three sentences.
    pub text: Vec<Block>,
}

/// A label and what stands beside it.
#[derive(Clone, Debug)]
pub struct Labelled {
    /// The label. On the shed sheet this is the amount: `Strong` runs are its digits, plain runs its units.
    pub label: Vec<Inline>,
    /// What stands beside it.
    pub body: Vec<Block>,
}

/// The three weights of callout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// Background.
    Note,
    /// What can go wrong, and when to stop.
    Care,
    /// What kills fish or people.
    Danger,
}

/// A table. Every row has as many cells as there are columns.
#[derive(Clone, Debug)]
pub struct Table {
    /// What the table is, for those who hear it.
    pub summary: String,
    /// The columns, first to last.
    pub columns: Vec<Column>,
    /// The head row.
    pub head: Vec<Vec<Inline>>,
    /// The body rows.
    pub rows: Vec<Row>,
}

/// A column of a table.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// How its cells stand.
    pub align: Align,
    /// Share of the width to the right of the first column that this column asks for; 0 lets `layout` choose.
    pub share: f32,
}

/// How the cells of a column stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// At the left edge.
    Left,
    /// In the middle.
    Middle,
    /// At the right edge.
    Right,
    /// Numbers under one another by their decimal point.
    Decimal,
}

/// A row of a table. The first cell heads the row.
#[derive(Clone, Debug)]
pub struct Row {
    /// The cells.
    pub cells: Vec<Vec<Inline>>,
    /// The template line it came from.
    pub origin: Option<Origin>,
}

/// A group of numbered lines of calculation, under one head.
#[derive(Clone, Debug)]
pub struct LineGroup {
    /// The head over the group.
    pub title: String,
    /// The lines.
    pub lines: Vec<Line>,
}

/// One numbered line of calculation.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its number, which marks elsewhere refer to.
    pub number: u32,
    /// What it is.
    pub name: Vec<Inline>,
    /// The formula in symbols.
    pub formula: Formula,
    /// The same with numbers, as one would key it; starts after the equals sign.
    pub keyed: Vec<Inline>,
    /// The result, digits only.
    pub result: String,
    /// The result's unit; empty for a pure number.
    pub unit: String,
    /// Sources, roundings, symbols named.
    pub notes: Vec<Vec<Inline>>,
    /// Other places, in words, where it is printed (another edition).
    pub also: Vec<String>,
}

/// A formula in symbols.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Formula {
    /// Its parts, left to right.
    pub parts: Vec<Math>,
    /// On one line, as one would type it: what copying it out gives.
    pub written: String,
    /// As it is read aloud.
    pub aloud: String,
}

/// A part of a formula.
#[derive(Clone, Debug, PartialEq)]
pub enum Math {
    /// On the line: words, numbers, operators upright, variables as [`Inline::Emph`]. A line may be broken before an
    /// operator, which is a text of its own with a space before it.
    Words(Vec<Inline>),
    /// One above the other with a bar between.
    Over(Vec<Math>, Vec<Math>),
    /// Under a radical.
    Root(Vec<Math>),
}

/// Text inside a block.
#[derive(Clone, Debug, PartialEq)]
pub enum Inline {
    /// Words.
    Text(String),
    /// Weightier.
    Strong(Vec<Inline>),
    /// Italic: assumed values, variables.
    Emph(Vec<Inline>),
    /// Lowered and smaller.
    Sub(Vec<Inline>),
    /// Raised and smaller.
    Sup(Vec<Inline>),
    /// Smaller and quiet: a unit beside a row's name.
    Unit(String),
    /// A reference to a numbered line, set in the number column on the baseline of the text it stands in.
    /// Only the first use of a number in a block is set.
    Mark(u32),
    /// A reference to a numbered line inside a calculation, set as a small number in brackets.
    InlineMark(u32),
    /// `page 3`: the page on which an anchor stands, a link to it.
    PageOf(String),
    /// A forced line break.
    Break,
    /// An empty square to tick.
    TickBox,
    /// A small drawing in a table cell.
    Drawing(Box<Drawing>),
}

/// Something drawn, with the sentence that says what it shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Width of its box. Items may reach left of 0 (the label column) and right of it (the number column).
    pub width: f32,
    /// Height of its box.
    pub height: f32,
    /// What is drawn, in painting order.
    pub items: Vec<Item>,
    /// Numbers of lines of the workings that prove what its labels say, in the number column.
    pub marks: Vec<LineMark>,
    /// The text alternative: what it shows, in one or two sentences.
    pub alternative: String,
}

/// Numbers of lines of the workings beside a drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct LineMark {
    /// Their baseline, from the top of the drawing.
    pub y: f32,
    /// The numbers.
    pub lines: Vec<u32>,
}

/// One thing in a drawing.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A path.
    Path {
        /// The outline.
        segments: Vec<Segment>,
        /// Fill, if any.
        fill: Option<Ink>,
        /// Stroke, if any.
        stroke: Option<Stroke>,
    },
    /// A label on one line.
    Label {
        /// Where the baseline's anchor point stands.
        x: f32,
        /// The baseline.
        y: f32,
        /// Which part of the words stands at `x`.
        anchor: Anchor,
        /// The face.
        face: Face,
        /// Size in points.
        size: f32,
        /// The ink.
        ink: Ink,
        /// The words.
        text: String,
    },
}

/// A piece of an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Segment {
    /// Start a new outline here.
    Move(f32, f32),
    /// A straight line to here.
    Line(f32, f32),
    /// A cubic curve: two controls, then the end.
    Curve(f32, f32, f32, f32, f32, f32),
    /// Back to the start of this outline.
    Close,
}

/// How a line is drawn. Butt ends, mitred corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Width.
    pub width: f32,
    /// Ink.
    pub ink: Ink,
    /// Lengths on and off; `None` for solid.
    pub dash: Option<(f32, f32)>,
}

/// Which part of a label stands at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its left end.
    Start,
    /// Its middle.
    Middle,
    /// Its right end.
    End,
}

/// The nine faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Face {
    /// Serif, regular.
    Serif,
    /// Serif, italic.
    SerifItalic,
    /// Serif, semibold.
    SerifSemibold,
    /// Display serif, regular.
    Display,
    /// Display serif, semibold.
    DisplaySemibold,
    /// Sans, regular.
    Sans,
    /// Sans, italic.
    SansItalic,
    /// Sans, semibold.
    SansSemibold,
    /// Sans, bold.
    SansBold,
}

impl Face {
    /// All faces, in a fixed order.
    pub const ALL: [Face; 9] = [
        Face::Serif,
        Face::SerifItalic,
        Face::SerifSemibold,
        Face::Display,
        Face::DisplaySemibold,
        Face::Sans,
        Face::SansItalic,
        Face::SansSemibold,
        Face::SansBold,
    ];

    /// The face of the other family that stands in where this one lacks a character.
    #[must_use]
    pub fn substitute(self) -> Face {
        match self {
            Face::Serif | Face::Display => Face::Sans,
            Face::SerifItalic => Face::SansItalic,
            Face::SerifSemibold | Face::DisplaySemibold => Face::SansSemibold,
            Face::Sans => Face::Serif,
            Face::SansItalic => Face::SerifItalic,
            Face::SansSemibold | Face::SansBold => Face::SerifSemibold,
        }
    }
}

/// The inks of PAGE.md section 4.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// Text, data.
    Ink,
    /// Units, heads, axis text.
    Quiet,
    /// Axes, ticks, separators.
    Rule,
    /// Row lines, decoration only.
    Hair,
    /// A range, the area under a level.
    Band,
    /// Where a reading should be.
    Window,
    /// The firm's own colour.
    Accent,
    /// The paper.
    Paper,
}
