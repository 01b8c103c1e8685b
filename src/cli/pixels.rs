//! Pixels: a picture shrunk to what the page needs, turned the right way up, laid on white paper.
//!
//! All arithmetic is in whole numbers, so that every machine makes the same picture.

/// Eight-bit pixels, row by row from the top left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Pixels {
    pub width: usize,
    pub height: usize,
    /// 1 for grey, 3 for red, green and blue.
    pub channels: usize,
    pub bytes: Vec<u8>,
}

impl Pixels {
    /// Takes pixels with a channel for opacity, and lays them on white.
    pub fn on_white(width: usize, height: usize, with_opacity: usize, bytes: &[u8]) -> Self {
        let channels = with_opacity.saturating_sub(1).max(1);
        let mut flat = Vec::with_capacity(width * height * channels);
        for pixel in bytes.chunks_exact(with_opacity) {
            let Some((opacity, colour)) = pixel.split_last() else { continue };
            let opacity = u32::from(*opacity);
            // At most 255, so nothing is lost.
            flat.extend(colour.iter().map(|&c| ((u32::from(c) * opacity + 255 * (255 - opacity) + 127) / 255) as u8));
        }
        Self { width, height, channels, bytes: flat }
    }

    /// The largest size of the same shape that stays within a box; never larger than it is.
    pub fn fitted(&self, (width, height): (usize, usize)) -> (usize, usize) {
        let (from, to) = ((self.width.max(1), self.height.max(1)), (width.max(1), height.max(1)));
        if from.0 <= to.0 && from.1 <= to.1 {
            return from;
        }
        // Compared crosswise: which side is the tighter.
        let by_width = to.0 * from.1 <= to.1 * from.0;
        let (over, under) = if by_width { (to.0, from.0) } else { (to.1, from.1) };
        let side = |length: usize| ((length * over + under / 2) / under).max(1);
        (side(from.0), side(from.1))
    }

    /// The picture in fewer pixels, each the mean of all it stands for.
    pub fn shrunk(self, (width, height): (usize, usize)) -> Self {
        let (width, height) = (width.clamp(1, self.width.max(1)), height.clamp(1, self.height.max(1)));
        if (width, height) == (self.width, self.height) || self.width == 0 || self.height == 0 {
            return self;
        }
        let channels = self.channels;
        let across = shares(self.width, width);
        let down = shares(self.height, height);
        // The sum of shares over one new pixel is `self.width * self.height`: 10⁸ × 255 is far from the end of a u64.
        let mut sums = vec![0_u64; width * height * channels];
        let mut row_sums = vec![0_u64; width * channels];
        for (y, row) in self.bytes.chunks_exact(self.width * channels).enumerate() {
            row_sums.fill(0);
            for (pixel, shares) in row.chunks_exact(channels).zip(&across) {
                for &(to, share) in shares {
                    let into = row_sums.get_mut(to * channels..(to + 1) * channels).unwrap_or_default();
                    for (sum, &value) in into.iter_mut().zip(pixel) {
                        *sum += u64::from(value) * share;
                    }
                }
            }
            for &(to, share) in down.get(y).map_or(&[][..], |shares| shares) {
                let line = width * channels;
                let into = sums.get_mut(to * line..(to + 1) * line).unwrap_or_default();
                for (sum, row) in into.iter_mut().zip(&row_sums) {
                    *sum += row * share;
                }
            }
        }
        let whole = (self.width * self.height) as u64;
        let bytes = sums.into_iter().map(|sum| ((sum + whole / 2) / whole).min(255) as u8).collect();
        Self { width, height, channels, bytes }
    }

    /// The picture as it is meant to be looked at, from how it is stored: the orientations 1 to 8 of TIFF 6.0 and EXIF.
    pub fn upright(self, orientation: u32) -> Self {
        let (w, h) = (self.width, self.height);
        let turned = matches!(orientation, 5..=8);
        let (width, height) = if turned { (h, w) } else { (w, h) };
        // Where the pixel at x, y of the upright picture is stored.
        let stored = |x: usize, y: usize| match orientation {
            2 => (w - 1 - x, y),
            3 => (w - 1 - x, h - 1 - y),
            4 => (x, h - 1 - y),
            5 => (y, x),
            6 => (y, h - 1 - x),
            7 => (w - 1 - y, h - 1 - x),
            8 => (w - 1 - y, x),
            _ => (x, y),
        };
        if !matches!(orientation, 2..=8) {
            return self;
        }
        let mut bytes = Vec::with_capacity(self.bytes.len());
        for y in 0..height {
            for x in 0..width {
                let (from_x, from_y) = stored(x, y);
                let at = (from_y * w + from_x) * self.channels;
                bytes.extend(self.bytes.get(at..at + self.channels).unwrap_or_default());
            }
        }
        Self { width, height, channels: self.channels, bytes }
    }

    /// Four channels, all opaque.
    pub fn rgba(&self) -> Vec<u8> {
        let rgb = |pixel: &[u8]| match *pixel {
            [grey] => [grey, grey, grey, 255],
            [r, g, b] => [r, g, b, 255],
            _ => [255; 4],
        };
        self.bytes.chunks_exact(self.channels).flat_map(rgb).collect()
    }

    /// Whether nothing of it would be seen on white paper.
    pub fn is_blank(&self) -> bool {
        self.bytes.iter().all(|&channel| channel > 250)
    }

    /// Whether it has so few colours that it was drawn and not photographed.
    pub fn is_drawn(&self) -> bool {
        const FEW: usize = 256;
        let mut seen = std::collections::BTreeSet::new();
        self.bytes.chunks_exact(self.channels).all(|pixel| {
            seen.insert(pixel);
            seen.len() <= FEW
        })
    }
}

/// Which new pixels each old one goes into, and with what share of one new pixel: a new pixel is `from` wide, an old one `to`.
fn shares(from: usize, to: usize) -> Vec<Vec<(usize, u64)>> {
    (0..from)
        .map(|old| {
            let (start, end) = (old * to, (old + 1) * to);
            (start / from..=(end - 1) / from)
                .map(|new| (new, (end.min((new + 1) * from) - start.max(new * from)) as u64))
                .collect()
        })
        .collect()
}
