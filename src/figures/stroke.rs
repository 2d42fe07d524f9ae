//! Lines that are told apart by their pattern and their marker; colour only repeats it.

use super::marker::Marker;
use super::scene::{Colour, Place, Scene, at};

/// One of several lines in a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stroke {
    /// Strokes and gaps by turns, mm; empty for an unbroken line.
    pattern: &'static [f64],
    /// Its marker.
    pub marker: Marker,
}

/// Unbroken, dashes, dots, dash and dot, short dashes, dash and two dots.
const PATTERNS: [&[f64]; 6] =
    [&[], &[2.2, 0.9], &[0.5, 0.7], &[2.2, 0.7, 0.5, 0.7], &[1.1, 0.7], &[2.2, 0.6, 0.5, 0.6, 0.5, 0.6]];

/// Half the width of a line in a legend, mm.
const HALF_KEY: f64 = 3.2;

impl Stroke {
    /// The most lines that are told apart: as many as markers. Those after the sixth have the patterns of the first six, with open markers.
    pub(super) const LINES: usize = Marker::GROUPS;

    /// Line `index` of at most [`Stroke::LINES`].
    pub(super) fn of(index: usize) -> Stroke {
        let pattern = PATTERNS.get(index % PATTERNS.len()).copied().unwrap_or_default();
        Stroke { pattern, marker: Marker::of_group(index, Stroke::LINES) }
    }

    /// Its colour.
    pub(super) fn colour(self) -> Colour {
        self.marker.colour
    }

    pub(super) fn draw(self, scene: &mut Scene, places: &[Place], width: f64) {
        if places.len() < 2 {
            return;
        }
        if self.pattern.is_empty() {
            scene.curve(places, width, self.colour());
        } else {
            scene.dashes(places, self.pattern, width, self.colour());
        }
    }

    /// A piece of it for a legend, `width` mm thick, with its marker if it has one in the figure.
    pub(super) fn key(self, scene: &mut Scene, Place { x, y }: Place, width: f64, marked: bool) {
        self.draw(scene, &[at(x - HALF_KEY, y), at(x + HALF_KEY, y)], width);
        if marked {
            self.marker.draw(scene, at(x, y));
        }
    }
}
