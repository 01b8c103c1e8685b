//! Photographs: in the main column, the caption in the label column beside the picture.

use crate::page::display::{Bounds, Draw, DrawItem, Role};
use crate::page::style::MM;
use crate::page::{Captioned, PhotoData};

use super::Setter;
use super::flow::{HALF, LINE};
use super::piece::Piece;
use super::text::Look;

/// The tallest a photograph stands.
const TALLEST: f32 = 85.0 * MM;
/// Pixels to the inch under which a photograph is not enlarged any further.
const COARSEST: f32 = 100.0;

impl Setter<'_> {
    pub(super) fn photo(&mut self, block: &Captioned) -> Vec<Piece> {
        let grid = self.grid;
        let photo = &block.photo;
        let (across, down) = (photo.width.max(1) as f32, photo.height.max(1) as f32);
        let widest = grid.main_width.min(across / COARSEST * 72.0);
        let scale = (widest / across).min(TALLEST / down);
        let bounds = Bounds { x: grid.main_x, y: 0.0, width: across * scale, height: down * scale };
        let tag = self.tag(Role::Figure { alternative: block.alternative.clone(), bounds: None });
        let mut piece = Piece { before: LINE, height: bounds.height, origin: self.origin, ..Piece::default() };
        let draw = match &photo.data {
            PhotoData::Jpeg { grey, bytes } => {
                Draw::Jpeg { bounds, width: photo.width, height: photo.height, grey: *grey, bytes: bytes.clone() }
            }
            PhotoData::Rgba(rgba) => {
                let side = |length: usize| u32::try_from(length).unwrap_or(0);
                Draw::Image { bounds, width: side(photo.width), height: side(photo.height), rgba: rgba.to_vec() }
            }
        };
        piece.items.push(DrawItem { tag: Some(tag), draw });
        piece.figures.push((tag, bounds));
        if !block.caption.is_empty() {
            let caption = self.tag(Role::Caption);
            let look = Look::sans(9.0, LINE);
            let words = self.block_of_text(&block.caption, &look, (grid.label_x, grid.label_width), caption);
            // Its first line stands level with the top edge of the picture.
            piece.take(words, -2.5);
        }
        piece.height += HALF;
        vec![piece]
    }
}
