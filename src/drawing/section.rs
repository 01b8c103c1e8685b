//! The section sketch: each part of the water cut lengthwise, with the dimensions that were measured.
//!
//! Length and depth are drawn to one scale where the page allows, and the sketch says so; where it does not (a long
//! shallow stream, an area without a length), it says `sketch, not to scale`. The floor between soundings is never more
//! than a sketch: soundings are drawn in the order of their depths, not in that of their places.

use super::canvas::{Canvas, Clear, Line, Said, Spot, TEXT};
use super::scale::{length, narrow, nothing, tame, tame_width};
use crate::page::fonts::Fonts;
use crate::page::{Drawing, Face, Ink};

/// What is known of the floor. Depths in one unit with the length.
#[derive(Clone, Debug)]
pub enum Floor {
    /// One depth: drawn level.
    Level(f64),
    /// The mean depth only: drawn as a box.
    Mean(f64),
    /// Soundings between upright walls.
    Walled(Vec<f64>),
    /// Soundings between sloping banks.
    Banked(Vec<f64>),
    /// The greatest depth only: drawn as a bowl.
    Bowl(f64),
    /// Widths at the water line, half way down and at the floor, in shares of one another, and the depth.
    Taper([f64; 3], f64),
}

/// One part of the water.
#[derive(Clone, Debug)]
pub struct SketchPart {
    /// Its name and what it is, for the label column.
    pub title: Vec<String>,
    /// Its length; `None` where only areas were measured.
    pub across: Option<f64>,
    /// The length (or area) as printed.
    pub across_label: String,
    /// The floor.
    pub floor: Floor,
    /// The greatest depth as printed.
    pub deepest: Said,
    /// The least depth as printed; empty for none.
    pub shallowest: Said,
    /// The mean depth and how it is printed.
    pub mean: Option<(f64, Said)>,
    /// What it holds.
    pub volume: Said,
}

/// The parts of the water, one under another.
#[derive(Clone, Debug)]
pub struct SectionSketch {
    /// Width of the main column.
    pub width: f32,
    /// The parts, largest first.
    pub parts: Vec<SketchPart>,
    /// What all of them hold, line by line, for the label column.
    pub total: Vec<String>,
    /// Lines that prove it.
    pub total_lines: Vec<u32>,
    /// What the sketch says, in words.
    pub alternative: String,
}

/// The water line below the top of a part: room for the length and its arrow over it.
const WATER: f32 = 23.0;
/// The deepest and the shallowest that water is drawn.
const DEPTHS: (f32, f32) = (28.0, 88.0);
/// Room under the floor for the words on scale.
const FOOT: f32 = 15.0;
/// Between two parts.
const BETWEEN: f32 = 8.0;
/// Narrower than this, a part is not drawn to scale.
const NARROWEST: f32 = 90.0;
/// The deepest that a part but the first is drawn.
const LESSER_DEPTH: f32 = 48.0;
/// So far the walls stand over the water.
const RIM: f32 = 5.0;

impl Floor {
    /// The outline of the floor from the left end to the right: places from 0 to 1, and depths.
    fn outline(&self) -> Vec<(f32, f64)> {
        let sorted = |depths: &[f64]| {
            let mut sorted: Vec<f64> = depths.iter().map(|depth| tame(*depth).max(0.0)).filter(|d| *d > 0.0).collect();
            sorted.sort_by(f64::total_cmp);
            sorted
        };
        match self {
            Self::Level(depth) | Self::Mean(depth) => vec![(0.0, tame(*depth)), (1.0, tame(*depth))],
            Self::Walled(depths) => {
                let sorted = sorted(depths);
                let count = length(sorted.len()).max(1.0);
                let mut points: Vec<(f32, f64)> =
                    sorted.iter().enumerate().map(|(at, depth)| ((length(at) + 0.5) / count, *depth)).collect();
                let ends = (points.first().copied(), points.last().copied());
                if let (Some(first), Some(last)) = ends {
                    points.insert(0, (0.0, first.1));
                    points.push((1.0, last.1));
                }
                points
            }
            Self::Banked(depths) => {
                let sorted = sorted(depths);
                // From the banks inward, by turns left and right: the deepest comes to lie in the middle.
                let (mut left, mut right) = (Vec::new(), Vec::new());
                for (at, depth) in sorted.iter().enumerate() {
                    if at % 2 == 0 { left.push(*depth) } else { right.push(*depth) }
                }
                let inner: Vec<f64> = left.into_iter().chain(right.into_iter().rev()).collect();
                let gaps = length(inner.len()) + 1.0;
                let mut points = vec![(0.0, 0.0)];
                points.extend(inner.iter().enumerate().map(|(at, depth)| ((length(at) + 1.0) / gaps, *depth)));
                points.push((1.0, 0.0));
                points
            }
            Self::Bowl(depth) => (0..=24_u8)
                .map(|step| {
                    let place = f32::from(step) / 24.0;
                    let from_middle = 2.0 * f64::from(place) - 1.0;
                    (place, tame(*depth) * (1.0 - from_middle * from_middle))
                })
                .collect(),
            Self::Taper(widths, depth) => {
                let widest = widths.iter().map(|width| tame(*width)).fold(1.0e-9, f64::max);
                let inset = |width: f64| narrow((1.0 - tame(width) / widest) / 2.0);
                let [top, middle, bottom] = widths.map(inset);
                let depth = tame(*depth);
                let left = [(top, 0.0), (middle, depth / 2.0), (bottom, depth)];
                let right = left.iter().rev().map(|(place, depth)| (1.0 - place, *depth));
                left.iter().copied().chain(right).collect()
            }
        }
    }
}

/// A part with its place on the page worked out.
struct Placed {
    /// The outline of the floor, from the part's own top left corner.
    floor: Vec<(f32, f32)>,
    /// Points a unit of depth.
    down: f32,
    /// Whether length and depth have one scale.
    to_scale: bool,
    height: f32,
}

fn place(part: &SketchPart, width: f32, most_deep: f32) -> Option<Placed> {
    let outline = part.floor.outline();
    let deepest = outline.iter().map(|point| point.1).fold(0.0, f64::max);
    if deepest <= 0.0 {
        return None;
    }
    let most = width - 2.0;
    let (mut wide, mut deep, mut to_scale) = (most * 0.7, DEPTHS.1 * 0.6, false);
    if let Some(across) = part.across.map(tame).filter(|across| *across > 0.0) {
        // Shares only: sizes of any unit, however large, come down to the page here.
        let ratio = narrow((deepest / across).min(1.0e6));
        (wide, deep, to_scale) = (most, most * ratio, true);
        if deep > most_deep {
            (wide, deep) = (most_deep / ratio, most_deep);
            if wide < NARROWEST {
                (wide, to_scale) = (NARROWEST, false);
            }
        } else if deep < DEPTHS.0 {
            (deep, to_scale) = (DEPTHS.0, false);
        }
    }
    let down = deep / narrow(deepest);
    let floor = outline.iter().map(|(at, depth)| (1.0 + at * wide, WATER + narrow(depth / deepest) * deep)).collect();
    Some(Placed { floor, down, to_scale, height: WATER + deep + FOOT })
}

/// Draws the sketch.
#[must_use]
pub fn section_sketch(s: &SectionSketch, fonts: &Fonts) -> Drawing {
    let width = tame_width(s.width);
    let deepest = std::iter::once(DEPTHS.1).chain(std::iter::repeat(LESSER_DEPTH));
    let parts = s.parts.iter().zip(deepest);
    let placed: Vec<(&SketchPart, Placed)> =
        parts.filter_map(|(part, deepest)| place(part, width, deepest).map(|placed| (part, placed))).collect();
    if placed.is_empty() {
        return nothing(s.width, fonts, &s.alternative);
    }
    let gaps = BETWEEN * (length(placed.len()) - 1.0);
    let height = placed.iter().map(|(_, placed)| placed.height).sum::<f32>() + gaps;
    let mut canvas = Canvas::new(fonts, width, height);
    let mut top = 0.0;
    for (part, placed) in &placed {
        draw_part(&mut canvas, part, placed, top, width);
        top += placed.height + BETWEEN;
    }
    let lines = length(s.total.len());
    if canvas.region(height - 4.0 - 9.75 * lines / 2.0, Face::SansSemibold, Ink::Ink, &s.total) {
        canvas.prove(&s.total_lines);
    }
    canvas.finish(&s.alternative)
}

/// A part on the page.
struct Basin<'p> {
    part: &'p SketchPart,
    /// The floor from bank to bank, at least two points.
    floor: Vec<(f32, f32)>,
    /// Height of the water line.
    water: f32,
    /// Points a unit of depth.
    down: f32,
    left: f32,
    right: f32,
    deepest: (f32, f32),
}

impl Basin<'_> {
    /// Whether a point lies in the water, a little off the floor.
    fn is_wet(&self, x: f32, y: f32) -> bool {
        let under = |point: &&(f32, f32)| point.1 >= y + 1.5;
        let from = self.floor.iter().find(under);
        let to = self.floor.iter().rev().find(under);
        from.zip(to).is_some_and(|(from, to)| x >= from.0 + 2.0 && x <= to.0 - 2.0)
    }

    /// A place so many thirtieths along, at a height.
    fn along(&self, thirtieths: u8, y: f32) -> Spot {
        Spot::start(self.left + (self.right - self.left) * f32::from(thirtieths) / 30.0, y)
    }

    /// Height of a share of the greatest depth, for the middle of a line of text.
    fn at_share(&self, share: f32) -> f32 {
        self.water + (self.deepest.1 - self.water) * share + 2.7
    }

    /// Right of the sketch.
    fn beside(&self, y: f32) -> Spot {
        Spot::start(self.right + 4.0, y)
    }

    /// Water, floor and walls, and the water line with its sign.
    fn draw_shell(&self, canvas: &mut Canvas<'_>) {
        let (left, right, water) = (self.left, self.right, self.water);
        let mut body = vec![(left, water)];
        body.extend(&self.floor);
        body.push((right, water));
        canvas.fill(&body, Ink::Window);
        let mut shell = vec![(left, water - RIM), (left, water)];
        shell.extend(&self.floor);
        shell.extend([(right, water), (right, water - RIM)]);
        canvas.line(&shell, 1.2, Ink::Ink);
        canvas.fence(&shell);
        canvas.line(&[(left, water), (right, water)], 0.5, Ink::Ink);
        canvas.fence(&[(left, water), (right, water)]);
        let sign = left + 12.0;
        canvas.fill(&[(sign - 3.0, water - 5.0), (sign + 3.0, water - 5.0), (sign, water)], Ink::Ink);
        canvas.block(sign, water - 2.5, 3.5, 3.0);
        canvas.label(&[Spot::start(sign + 5.5, water - 3.0)], Face::Sans, TEXT, Ink::Quiet, "water line");
    }

    /// The length over the water.
    fn draw_length(&self, canvas: &mut Canvas<'_>, width: f32) {
        let over = self.water - RIM - 6.5;
        canvas.line(&[(self.left, over), (self.right, over)], 0.4, Ink::Rule);
        for x in [self.left, self.right] {
            canvas.line(&[(x, over - 2.5), (x, over + 2.5)], 0.4, Ink::Rule);
        }
        let label = &self.part.across_label;
        let half = canvas.measure(Face::SansSemibold, TEXT, label) / 2.0;
        let middle = (self.left + self.right) / 2.0;
        let middle = middle.clamp(half.min(width / 2.0), (width - half).max(width / 2.0));
        canvas.firm_label(&[Spot::middle(middle, over - 2.5)], Face::SansSemibold, TEXT, Ink::Ink, label);
    }

    /// The mean depth, as a dashed line where there is water that deep.
    fn draw_mean(&self, canvas: &mut Canvas<'_>, mean: f64) {
        let y = self.water + narrow(tame(mean)) * self.down;
        let under = |point: &&(f32, f32)| point.1 >= y - 0.01;
        if let (Some(from), Some(to)) = (self.floor.iter().find(under), self.floor.iter().rev().find(under)) {
            canvas.dashed(&[(from.0, y), (to.0, y)], 0.4, Ink::Quiet, Some((2.0, 2.0)));
            canvas.fence(&[(from.0, y), (to.0, y)]);
        }
    }

    fn label_mean(&self, canvas: &mut Canvas<'_>, mean: f64, said: &Said) {
        let y = self.water + narrow(tame(mean)) * self.down;
        let wide = canvas.measure(Face::Sans, TEXT, &said.words);
        // From right of the middle outward, then to the left: the left belongs to what it holds.
        let steps = || (17..30_u8).chain((1..17).rev());
        let over = steps().map(|step| self.along(step, y - 2.8));
        let under = steps().map(|step| self.along(step, y + 9.0));
        let wet = |spot: &Spot| self.is_wet(spot.x, spot.y) && self.is_wet(spot.x + wide, spot.y);
        let spots: Vec<Spot> = over.chain(under).filter(wet).chain([self.beside(y + 2.7)]).collect();
        canvas.said(&spots, Face::Sans, TEXT, Ink::Ink, said);
    }

    /// A depth: a line from the water line to the floor, with its words beside it.
    fn draw_depth(&self, canvas: &mut Canvas<'_>, (x, y): (f32, f32), said: &Said) {
        if said.words.is_empty() {
            return;
        }
        // Not on a wall itself: an upright line there would not be seen.
        let x = x.clamp(self.left + 14.0, (self.right - 14.0).max(self.left + 14.0));
        canvas.line(&[(x, self.water), (x, y)], 0.4, Ink::Quiet);
        for end in [self.water + 0.4, y - 0.4] {
            canvas.line(&[(x - 2.5, end), (x + 2.5, end)], 0.8, Ink::Quiet);
        }
        canvas.fence(&[(x, self.water), (x, y)]);
        let shares = [0.5_f32, 0.35, 0.65, 0.2, 0.8];
        let height = |share: f32| self.water + (y - self.water) * share + 2.7;
        let near = shares.iter().flat_map(|s| [Spot::start(x + 3.5, height(*s)), Spot::end(x - 3.5, height(*s))]);
        // Outside, low: the mean depth has its own height there.
        let beside = [0.8_f32, 0.65, 0.5, 0.35, 0.2].map(|share| self.beside(height(share)));
        let spots: Vec<Spot> = near.chain(beside).collect();
        canvas.said(&spots, Face::Sans, TEXT, Ink::Ink, said);
    }

    /// What it holds: in the water where that has room, else beside it.
    fn label_volume(&self, canvas: &mut Canvas<'_>) {
        let said = &self.part.volume;
        let wide = canvas.measure(Face::SansSemibold, 9.0, &said.words);
        let steps = [9_u8, 8, 10, 7, 11, 6, 12, 5, 13, 4, 14, 16, 18, 20, 22, 24];
        let grid = [0.3_f32, 0.45, 0.2, 0.6, 0.75].into_iter().flat_map(|share| steps.map(|step| (share, step)));
        let inside = grid.map(|(share, step)| self.along(step, self.at_share(share)));
        let wet = |spot: &Spot| self.is_wet(spot.x, spot.y) && self.is_wet(spot.x + wide, spot.y);
        let beside = [0.2_f32, 0.45, 0.7, 0.95, 0.0].map(|share| self.beside(self.at_share(share)));
        let spots: Vec<Spot> = inside.filter(wet).chain(beside).collect();
        canvas.said(&spots, Face::SansSemibold, 9.0, Ink::Ink, said);
    }
}

fn draw_part(canvas: &mut Canvas<'_>, part: &SketchPart, placed: &Placed, top: f32, width: f32) {
    let floor: Vec<(f32, f32)> = placed.floor.iter().map(|(x, y)| (*x, top + y)).collect();
    let (Some(first), Some(last)) = (floor.first().copied(), floor.last().copied()) else { return };
    let water = top + WATER;
    let deepest = floor.iter().copied().fold(first, |best, point| if point.1 > best.1 { point } else { best });
    let shallowest = floor.iter().copied().filter(|point| point.1 > water + 0.5).fold(None, |best, point| match best {
        Some((_, y)) if y <= point.1 => best,
        _ => Some(point),
    });
    let basin = Basin { part, floor, water, down: placed.down, left: first.0, right: last.0, deepest };
    basin.draw_shell(canvas);
    basin.draw_length(canvas, width);
    if let Some((mean, _)) = &part.mean {
        basin.draw_mean(canvas, *mean);
    }
    basin.draw_depth(canvas, deepest, &part.deepest);
    if let Some(shallowest) = shallowest {
        basin.draw_depth(canvas, shallowest, &part.shallowest);
    }
    if let Some((mean, said)) = &part.mean {
        basin.label_mean(canvas, *mean, said);
    }
    basin.label_volume(canvas);
    let scale = match (placed.to_scale, &part.floor) {
        (false, _) => "sketch, not to scale",
        (true, Floor::Mean(_)) => "length and mean depth to scale; drawn as a box",
        (true, Floor::Walled(_) | Floor::Banked(_)) => {
            "length and depths to scale; the floor between soundings is a sketch"
        }
        (true, Floor::Bowl(_)) => "length and depth to scale; the floor is a sketch",
        (true, Floor::Level(_) | Floor::Taper(..)) => "length and depth to scale",
    };
    let foot = top + placed.height - 3.0;
    canvas.lines(&[Spot::start(0.0, foot)], 0.0, &[Line::new(Face::Sans, TEXT, Ink::Quiet, scale)], Clear::Labels);
    canvas.title(top + 9.0, &part.title);
}
