//! The shape of a pond: how much surface it has at each filling, and how far its water line has sunk.
//!
//! The parts of a feature are put into one table over volume. The balance moves volumes, so the table is the basin: what
//! lies between two of its rows is a straight line, and nothing is solved on the way.

/// One part of the feature below its brim. Lengths in m, areas in m², volumes in m³.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Part {
    /// Water whose level does not fall with the pond's: a running stream, a closed filter.
    Steady {
        /// Its volume.
        volume: f64,
        /// Its open surface.
        open: f64,
    },
    /// Walls straight down to `straight`, then narrowing to nothing at `depth`: the area left at a depth z below
    /// `straight` is area · (1 − z / (depth − straight))^power.
    Bowl {
        /// Surface at the brim.
        area: f64,
        /// Depth of the straight part.
        straight: f64,
        /// Greatest depth.
        depth: f64,
        /// How the area narrows: 0 is a box, 1 a wedge, 2 a cone.
        power: f64,
        /// Whether it is open to the air.
        open: bool,
    },
    /// Areas at brim, half depth and bottom, a parabola between (the prismoidal formula is exact for it).
    Prismoid {
        /// Surface at the brim.
        top: f64,
        /// Area half way down.
        middle: f64,
        /// Area of the bottom.
        bottom: f64,
        /// Depth.
        depth: f64,
        /// Whether it is open to the air.
        open: bool,
    },
}

impl Part {
    /// A bowl of this area whose soundings have this mean, least and greatest depth: straight down to the least of them,
    /// and narrowing so that the mean comes out.
    #[must_use]
    pub fn sounded(area: f64, mean: f64, least: f64, greatest: f64, open: bool) -> Self {
        let power = if mean > least { ((greatest - least) / (mean - least) - 1.0).max(0.0) } else { 0.0 };
        Part::Bowl { area, straight: least.min(mean), depth: greatest.max(mean), power, open }
    }

    fn depth(&self) -> f64 {
        match *self {
            Part::Steady { .. } => 0.0,
            Part::Bowl { depth, .. } | Part::Prismoid { depth, .. } => depth,
        }
    }

    /// Area at a depth below the brim.
    fn area(&self, z: f64) -> f64 {
        match *self {
            Part::Steady { .. } => 0.0,
            Part::Bowl { area, straight, depth, power, .. } => {
                if z <= straight {
                    area
                } else if z >= depth {
                    0.0
                } else {
                    area * libm::pow(1.0 - (z - straight) / (depth - straight), power)
                }
            }
            Part::Prismoid { top, middle, bottom, depth, .. } => {
                if z > depth {
                    return 0.0;
                }
                // Lagrange's parabola through the three areas, at u = z / depth.
                let u = z / depth;
                (top * (1.0 - u) * (1.0 - 2.0 * u) + 4.0 * middle * u * (1.0 - u) + bottom * u * (2.0 * u - 1.0))
                    .max(0.0)
            }
        }
    }

    /// Volume below a depth under the brim.
    fn below(&self, z: f64) -> f64 {
        match *self {
            Part::Steady { volume, .. } => volume,
            Part::Bowl { area, straight, depth, power, .. } => {
                let narrowing = depth - straight;
                let cone = |z: f64| {
                    if narrowing <= 0.0 || z >= depth {
                        return 0.0;
                    }
                    area * narrowing / (power + 1.0) * libm::pow(1.0 - (z - straight).max(0.0) / narrowing, power + 1.0)
                };
                area * (straight - z).max(0.0) + cone(z)
            }
            Part::Prismoid { top, middle, bottom, depth, .. } => {
                if z >= depth {
                    return 0.0;
                }
                // The integral of the parabola from u to 1.
                let whole = |u: f64| {
                    let (a, b) = (2.0 * top - 4.0 * middle + 2.0 * bottom, -3.0 * top + 4.0 * middle - bottom);
                    u * (top + u * (b / 2.0 + u * a / 3.0))
                };
                depth * (whole(1.0) - whole(z / depth))
            }
        }
    }

    fn open(&self) -> bool {
        match *self {
            Part::Steady { .. } => false,
            Part::Bowl { open, .. } | Part::Prismoid { open, .. } => open,
        }
    }
}

/// Rows of the table over volume.
const ROWS: usize = 128;

/// A basin.
#[derive(Clone, Debug, PartialEq)]
pub struct Basin {
    /// Volume at the brim, m³.
    pub full: f64,
    /// Surface open to the air that stays the same at every filling, m².
    steady: f64,
    /// Surface open to the air at each row, m², from empty to full.
    open: [f64; ROWS + 1],
    /// Water line below the brim at each row, m.
    below: [f64; ROWS + 1],
}

impl Basin {
    /// The basin of these parts, scaled to a volume at the brim that was found in other ways as well: depths are
    /// stretched, surfaces stay as they were measured. `None` when there is no water, or no part whose level can fall.
    #[must_use]
    pub fn new(parts: &[Part], full: f64) -> Option<Self> {
        let told: f64 = parts.iter().map(|part| part.below(0.0)).sum();
        let deepest = parts.iter().map(Part::depth).fold(0.0, f64::max);
        if told.is_nan() || told <= 0.0 || full.is_nan() || full <= 0.0 || deepest <= 0.0 {
            return None;
        }
        let stretch = full / told;
        let volume = |z: f64| parts.iter().map(|part| part.below(z)).sum::<f64>();
        let steady = parts.iter().map(|part| if let Part::Steady { open, .. } = part { *open } else { 0.0 }).sum();
        let mut basin = Self { full, steady, open: [0.0; ROWS + 1], below: [0.0; ROWS + 1] };
        for (row, (open, below)) in basin.open.iter_mut().zip(&mut basin.below).enumerate() {
            let wanted = told * row as f64 / ROWS as f64;
            // The volume falls with depth: halve until the depth is found to a hair.
            let (mut low, mut high) = (0.0, deepest);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if volume(middle) > wanted { low = middle } else { high = middle }
            }
            let z = if row == ROWS { 0.0 } else { 0.5 * (low + high) };
            *open = parts.iter().filter(|part| part.open()).map(|part| part.area(z)).sum();
            *below = z * stretch;
        }
        Some(basin)
    }

    fn between(&self, table: &[f64; ROWS + 1], volume: f64) -> f64 {
        let place = (volume / self.full).clamp(0.0, 1.0) * ROWS as f64;
        let row = (place as usize).min(ROWS - 1);
        let (low, high) = (table.get(row).copied().unwrap_or(0.0), table.get(row + 1).copied().unwrap_or(0.0));
        low + (place - row as f64) * (high - low)
    }

    /// Surface open to rain and air when the basin holds so much, m².
    #[must_use]
    pub fn surface(&self, volume: f64) -> f64 {
        self.steady + self.between(&self.open, volume)
    }

    /// How far the water line stands below the brim, m.
    #[must_use]
    pub fn below_brim(&self, volume: f64) -> f64 {
        self.between(&self.below, volume)
    }

    /// The same basin, holding another volume at the brim by stretching its depths.
    #[must_use]
    pub fn holding(&self, full: f64) -> Self {
        let stretch = full / self.full;
        Self { full, steady: self.steady, open: self.open, below: self.below.map(|z| z * stretch) }
    }
}
