//! The look of a document: paper, grid, and the firm's one colour (PAGE.md sections 2, 4, 12 and 13).

use super::Ink;

/// The paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm.
    A4,
    /// 8½ by 11 inches.
    Letter,
    /// 148 by 210 mm.
    A5,
    /// 5½ by 8½ inches.
    HalfLetter,
}

impl Paper {
    /// Width and height, in millimetres.
    #[must_use]
    pub fn size(self) -> (f32, f32) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (215.9, 279.4),
            Paper::A5 => (148.0, 210.0),
            Paper::HalfLetter => (139.7, 215.9),
        }
    }

    /// Whether it is too narrow for a label column beside the text.
    #[must_use]
    pub fn is_small(self) -> bool {
        matches!(self, Paper::A5 | Paper::HalfLetter)
    }
}

/// What kind of sheet is set; sizes and faces follow from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sheet {
    /// Several pages, label column, number column.
    Report,
    /// One page with large amounts, to be read from two metres.
    Poster,
}

/// The look of one document.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// The paper.
    pub paper: Paper,
    /// The kind of sheet.
    pub sheet: Sheet,
    /// The firm's colour, eight bits a channel.
    pub accent: [u8; 3],
}

/// The columns, in points from the left edge, and the top and bottom of the text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Page width.
    pub page_width: f32,
    /// Page height.
    pub page_height: f32,
    /// Left edge of the label column.
    pub label_x: f32,
    /// Its width.
    pub label_width: f32,
    /// Left edge of the main column.
    pub main_x: f32,
    /// Its width.
    pub main_width: f32,
    /// Left edge of the number column.
    pub number_x: f32,
    /// Its width.
    pub number_width: f32,
    /// Top of the text on the first page.
    pub first_top: f32,
    /// Top of the text on later pages.
    pub top: f32,
    /// Bottom of the text, from the top of the page.
    pub bottom: f32,
}

/// Points in a millimetre.
pub const MM: f32 = 72.0 / 25.4;

/// The least contrast of text to its ground (WCAG 2.2, success criterion 1.4.3).
pub const TEXT_CONTRAST: f64 = 4.5;
/// The least contrast of large type and of lines that mean something (WCAG 2.2, 1.4.3 and 1.4.11).
pub const LARGE_CONTRAST: f64 = 3.0;

/// The relative luminance of a colour of eight bits a channel, 0 for black to 1 for white, as WCAG 2.2 defines it.
#[must_use]
pub fn luminance(colour: [u8; 3]) -> f64 {
    let [red, green, blue] = colour.map(|channel| {
        let c = f64::from(channel) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) }
    });
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/// The contrast of two colours, 1 to 21, as WCAG 2.2 defines it.
#[must_use]
pub fn contrast(one: [u8; 3], other: [u8; 3]) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

impl Style {
    /// The grid for this paper and sheet.
    #[must_use]
    pub fn grid(&self) -> Grid {
        let mm = |v: f32| v * MM;
        let (width, height) = self.paper.size();
        let page = Grid {
            page_width: mm(width),
            page_height: mm(height),
            label_x: mm(18.0),
            label_width: mm(34.0),
            main_x: mm(57.0),
            main_width: mm(width - 57.0 - 28.0),
            number_x: mm(width - 25.0),
            number_width: mm(9.0),
            first_top: mm(15.0),
            top: mm(26.0),
            bottom: mm(height - 22.0),
        };
        match (self.sheet, self.paper) {
            (Sheet::Report, Paper::A4) => page,
            (Sheet::Report, Paper::Letter) => Grid { top: mm(24.0), bottom: mm(height - 20.0), ..page },
            (Sheet::Report, Paper::A5 | Paper::HalfLetter) => page,
            (Sheet::Poster, Paper::A4 | Paper::Letter) => Grid {
                label_x: mm(15.0),
                label_width: mm(88.0),
                main_x: mm(107.0),
                main_width: mm(width - 107.0 - 15.0),
                number_x: mm(width - 15.0),
                number_width: 0.0,
                top: mm(15.0),
                bottom: mm(height - 12.0),
                ..page
            },
            (Sheet::Poster, Paper::A5 | Paper::HalfLetter) => Grid {
                label_x: mm(9.0),
                label_width: mm(62.0),
                main_x: mm(74.0),
                main_width: mm(width - 74.0 - 9.0),
                number_x: mm(width - 9.0),
                number_width: 0.0,
                first_top: mm(9.5),
                top: mm(9.5),
                bottom: mm(height - 9.0),
                ..page
            },
        }
    }

    /// The colour of an ink, eight bits a channel.
    #[must_use]
    pub fn colour(&self, ink: Ink) -> [u8; 3] {
        match ink {
            Ink::Ink => [0x1b, 0x23, 0x26],
            Ink::Quiet => [0x4c, 0x58, 0x5b],
            Ink::Rule => [0x7d, 0x89, 0x8b],
            Ink::Hair => [0xb9, 0xc2, 0xc3],
            Ink::Band => [0xc3, 0xd0, 0xd3],
            Ink::Window => [0xe6, 0xec, 0xea],
            Ink::Accent => self.accent,
            Ink::Paper => [0xff, 0xff, 0xff],
        }
    }

    /// The contrast of the firm's colour to white paper.
    #[must_use]
    pub fn accent_contrast(&self) -> f64 {
        contrast(self.accent, self.colour(Ink::Paper))
    }

    /// The ink of the firm's name and the step rule: plain ink if the firm's colour is too pale (section 4).
    #[must_use]
    pub fn firm_ink(&self) -> Ink {
        if self.accent_contrast() < LARGE_CONTRAST { Ink::Ink } else { Ink::Accent }
    }

    /// The ink of numerals and line numbers.
    #[must_use]
    pub fn numeral_ink(&self) -> Ink {
        match self.accent_contrast() {
            contrast if contrast < LARGE_CONTRAST => Ink::Ink,
            contrast if contrast < TEXT_CONTRAST => Ink::Quiet,
            _ => Ink::Accent,
        }
    }
}
