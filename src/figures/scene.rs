//! A figure laid out in millimetres, before any file format: lines, areas, discs and text, in drawing order.

use super::typeface::{LARGE, Typeface, capital_height, line_height};

/// Red, green, blue.
pub(crate) type Colour = (u8, u8, u8);

/// Our palette: dark hues that differ in lightness, and two light fills.
pub(crate) const INK: Colour = (0x22, 0x27, 0x2B);
pub(crate) const PAPER: Colour = (0xFF, 0xFF, 0xFF);
pub(crate) const STONE: Colour = (0x7A, 0x82, 0x88);
pub(crate) const SEA: Colour = (0x1B, 0x58, 0x78);
pub(crate) const BRICK: Colour = (0xB0, 0x45, 0x1C);
pub(crate) const PLUM: Colour = (0x5E, 0x35, 0x70);
pub(crate) const MOSS: Colour = (0x4A, 0x76, 0x34);
pub(crate) const OCHRE: Colour = (0x93, 0x6A, 0x0C);
pub(crate) const MIST: Colour = (0xCC, 0xDB, 0xE3);
pub(crate) const SAND: Colour = (0xF1, 0xEE, 0xE8);
/// The deepest shades of a map, on which type can still be read: equally dark, so that grey does not part them.
pub(super) const SKY: Colour = (0x7D, 0xA7, 0xBF);
pub(super) const STRAW: Colour = (0xC8, 0x97, 0x4A);

/// Width of axes and ticks, mm.
pub(super) const HAIR: f64 = 0.2;
/// Width of interval bars, mm.
pub(super) const THIN: f64 = 0.28;
/// Width of curves, mm.
pub(super) const BOLD: f64 = 0.5;

/// A place on the page, mm from the upper left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub x: f64,
    pub y: f64,
}

/// Shorthand for a [`Place`].
pub(super) fn at(x: f64, y: f64) -> Place {
    Place { x, y }
}

/// One stroke or fill.
#[derive(Debug)]
pub(super) enum Shape {
    /// An open line with round joins.
    Line { places: Vec<Place>, width: f64, colour: Colour },
    /// A filled polygon.
    Area { places: Vec<Place>, colour: Colour },
    /// A filled circle.
    Disc { centre: Place, radius: f64, colour: Colour },
}

/// Which part of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A line of type; `place` is on its baseline.
#[derive(Debug)]
pub(super) struct Text {
    pub place: Place,
    pub anchor: Anchor,
    /// Reads upward if true.
    pub upright: bool,
    pub points: f64,
    /// Measured length, mm.
    pub length: f64,
    pub content: String,
}

/// Everything in a figure.
#[derive(Debug, Default)]
pub(super) struct Scene {
    pub width: f64,
    pub height: f64,
    pub shapes: Vec<Shape>,
    pub texts: Vec<Text>,
}

impl Scene {
    pub(super) fn line(&mut self, places: Vec<Place>, width: f64, colour: Colour) {
        self.shapes.push(Shape::Line { places, width, colour });
    }

    /// A dense curve: points that lie within a hundredth of a millimetre of the line between their neighbours are left
    /// out, for a smaller file and a smoother edge where coordinates are rounded.
    pub(super) fn curve(&mut self, places: &[Place], width: f64, colour: Colour) {
        self.line(thinned(places), width, colour);
    }

    pub(super) fn area(&mut self, places: Vec<Place>, colour: Colour) {
        self.shapes.push(Shape::Area { places, colour });
    }

    pub(super) fn disc(&mut self, centre: Place, radius: f64, colour: Colour) {
        self.shapes.push(Shape::Disc { centre, radius, colour });
    }

    pub(super) fn rectangle(&mut self, from: Place, to: Place, colour: Colour) {
        self.area(vec![from, at(to.x, from.y), to, at(from.x, to.y)], colour);
    }

    /// Open marks that let what lies under them show, each set off by a rim of paper. All rims come first, so that marks
    /// at one place stay whole.
    pub(super) fn outlines(&mut self, marks: &[([Place; 4], Colour)]) {
        // The first side twice, so that every corner gets its join.
        let closed = |[a, b, c, d]: [Place; 4]| vec![a, b, c, d, a, b];
        for (corners, _) in marks {
            self.line(closed(*corners), 2.0 * BOLD, PAPER);
        }
        for (corners, colour) in marks {
            self.line(closed(*corners), 0.9 * BOLD, *colour);
        }
    }

    /// A broken line: strokes and gaps by turns, mm, the pattern carried round corners.
    pub(super) fn dashes(&mut self, places: &[Place], pattern: impl AsRef<[f64]>, width: f64, colour: Colour) {
        let pattern = pattern.as_ref();
        let period: f64 = pattern.iter().sum();
        let mut travelled = 0.0;
        let mut stroke: Vec<Place> = places.iter().take(1).copied().collect();
        for (from, to) in places.iter().zip(places.iter().skip(1)) {
            let length = (to.x - from.x).hypot(to.y - from.y);
            let mut done = 0.0;
            while done < length {
                let (drawing, left) = part_of(pattern, travelled % period);
                // Never less than a micrometre, so that rounding cannot stall the walk.
                let step = left.max(1e-3).min(length - done);
                done += step;
                travelled += step;
                let share = (done / length).min(1.0);
                let here = at(from.x + share * (to.x - from.x), from.y + share * (to.y - from.y));
                if drawing {
                    stroke.push(here);
                    if step >= left {
                        self.line(std::mem::take(&mut stroke), width, colour);
                    }
                } else {
                    stroke = vec![here];
                }
            }
        }
        if stroke.len() > 1 {
            self.line(stroke, width, colour);
        }
    }

    /// An upright bar with short ends.
    pub(super) fn bar_up(&mut self, x: f64, ends: [f64; 2], width: f64, colour: Colour) {
        self.line(ends.map(|y| at(x, y)).to_vec(), width, colour);
        for y in ends {
            self.line(vec![at(x - 0.7, y), at(x + 0.7, y)], width, colour);
        }
    }

    /// An arrow head with its tip at `tip`, pointing along `(dx, dy)` (a unit vector along one axis).
    pub(super) fn arrow_head(&mut self, tip: Place, (dx, dy): (f64, f64), colour: Colour) {
        let (long, half) = (1.5, 0.65);
        let (bx, by) = (tip.x - long * dx, tip.y - long * dy);
        self.area(vec![tip, at(bx - half * dy, by + half * dx), at(bx + half * dy, by - half * dx)], colour);
    }

    /// Puts a title above everything else, from the left edge of the figure.
    pub(super) fn head(&mut self, title: &str, typeface: &Typeface) {
        let lines = typeface.wrap(title, LARGE, self.width - 2.0 * TITLE_EDGE);
        if lines.is_empty() {
            return;
        }
        let height = lines.len() as f64 * line_height(LARGE) + TITLE_GAP;
        self.each_place(|place| place.y += height);
        self.height += height;
        for (position, line) in lines.iter().enumerate() {
            let baseline = TITLE_EDGE + capital_height(LARGE) + position as f64 * line_height(LARGE);
            self.text(line, LARGE, typeface.length(line, LARGE), Anchor::Start, at(TITLE_EDGE, baseline));
        }
    }

    /// Makes everything larger.
    pub(super) fn magnify(&mut self, factor: f64) {
        self.each_place(|place| *place = at(factor * place.x, factor * place.y));
        self.width *= factor;
        self.height *= factor;
        for shape in &mut self.shapes {
            match shape {
                Shape::Line { width: size, .. } | Shape::Disc { radius: size, .. } => *size *= factor,
                Shape::Area { .. } => {}
            }
        }
        for text in &mut self.texts {
            text.points *= factor;
            text.length *= factor;
        }
    }

    /// Takes the hue out of every colour.
    pub(super) fn grey(&mut self) {
        for shape in &mut self.shapes {
            let (Shape::Line { colour, .. } | Shape::Area { colour, .. } | Shape::Disc { colour, .. }) = shape;
            *colour = grey(*colour);
        }
    }

    fn each_place(&mut self, mut change: impl FnMut(&mut Place)) {
        for shape in &mut self.shapes {
            match shape {
                Shape::Line { places, .. } | Shape::Area { places, .. } => places.iter_mut().for_each(&mut change),
                Shape::Disc { centre, .. } => change(centre),
            }
        }
        self.texts.iter_mut().for_each(|text| change(&mut text.place));
    }

    pub(super) fn text(&mut self, content: &str, points: f64, length: f64, anchor: Anchor, place: Place) {
        self.texts.push(Text { place, anchor, upright: false, points, length, content: content.to_owned() });
    }
}

/// From the edge of the figure to its title, mm.
const TITLE_EDGE: f64 = 1.5;
/// From the title to the rest, mm.
const TITLE_GAP: f64 = 2.5;

/// Whether a pattern is drawn at a place of its period, and how far that goes on.
fn part_of(pattern: &[f64], phase: f64) -> (bool, f64) {
    let mut end = 0.0;
    for (position, length) in pattern.iter().enumerate() {
        end += length;
        if phase < end {
            return (position % 2 == 0, end - phase);
        }
    }
    // The end of the period, or no period: drawn.
    (true, f64::INFINITY)
}

/// A colour that lies a share of the way from one to another.
pub(super) fn between(from: Colour, to: Colour, share: f64) -> Colour {
    let share = share.clamp(0.0, 1.0);
    let channel = |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
    (channel(from.0, to.0), channel(from.1, to.1), channel(from.2, to.2))
}

/// Relative luminance (IEC 61966-2-1; weights of ITU-R BT.709).
pub(super) fn luminance((r, g, b): Colour) -> f64 {
    let linear = |channel: u8| {
        let share = f64::from(channel) / 255.0;
        if share <= 0.040_45 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
}

/// The grey of the same luminance.
pub(super) fn grey(colour: Colour) -> Colour {
    let luminance = luminance(colour);
    let share = if luminance <= 0.003_130_8 { 12.92 * luminance } else { 1.055 * luminance.powf(1.0 / 2.4) - 0.055 };
    let level = (255.0 * share).round() as u8;
    (level, level, level)
}

/// The places that a polyline needs to stay within [`UNSEEN`] of the given one (Ramer 1972; Douglas and Peucker 1973).
pub(super) fn thinned(places: &[Place]) -> Vec<Place> {
    let mut kept: Vec<Place> = places.iter().take(1).copied().collect();
    // Spans still to be looked at, the leftmost on top.
    let mut spans = vec![places];
    while let Some(span) = spans.pop() {
        let (Some(from), Some(to)) = (span.first(), span.last()) else {
            continue;
        };
        let farthest = span
            .iter()
            .enumerate()
            .map(|(i, place)| (i, distance(*place, *from, *to)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        match farthest {
            Some((i, off)) if off > UNSEEN => {
                let (left, right) = (span.get(..=i), span.get(i..));
                spans.extend(right.into_iter().chain(left));
            }
            _ => kept.push(*to),
        }
    }
    kept
}

/// A distance that print does not show, mm.
const UNSEEN: f64 = 0.01;

/// Distance of a place from the segment between two others.
fn distance(place: Place, from: Place, to: Place) -> f64 {
    let (dx, dy) = (to.x - from.x, to.y - from.y);
    let length = dx * dx + dy * dy;
    let share =
        if length > 0.0 { (((place.x - from.x) * dx + (place.y - from.y) * dy) / length).clamp(0.0, 1.0) } else { 0.0 };
    (place.x - from.x - share * dx).hypot(place.y - from.y - share * dy)
}

#[cfg(test)]
mod tests {
    use super::{BOLD, SEA, Scene, Shape, UNSEEN, at, distance, thinned};

    #[test]
    fn a_thinned_curve_stays_within_what_print_shows() {
        let dense: Vec<_> = (0..=2000)
            .map(|i| {
                let x = f64::from(i) / 40.0;
                // A plateau from 30 mm on.
                at(x, (x.min(30.0) - 30.0).powi(2) / 20.0)
            })
            .collect();
        let few = thinned(&dense);
        assert!(few.len() < 80, "{}", few.len());
        assert_eq!((few.first(), few.last()), (dense.first(), dense.last()));
        for place in &dense {
            let nearest = few.windows(2).map(|pair| distance(*place, pair[0], pair[1])).fold(f64::INFINITY, f64::min);
            assert!(nearest <= UNSEEN, "{nearest}");
        }
    }

    #[test]
    fn dashes_cover_their_share_of_a_line_and_carry_round_corners() {
        let mut scene = Scene::default();
        scene.dashes(&[at(0.0, 0.0), at(3.5, 0.0), at(3.5, 6.5)], [1.0, 1.0], BOLD, SEA);
        let lengths: Vec<f64> = scene
            .shapes
            .iter()
            .map(|shape| match shape {
                Shape::Line { places, .. } => {
                    places.windows(2).map(|pair| (pair[1].x - pair[0].x).hypot(pair[1].y - pair[0].y)).sum()
                }
                _ => 0.0,
            })
            .collect();
        assert_eq!(lengths.len(), 5);
        assert!(lengths.iter().all(|length| (length - 1.0).abs() < 1e-9), "{lengths:?}");
    }
}
