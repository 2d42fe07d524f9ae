//! Legends: a small drawing and its words, in columns, always outside the panels.

use super::scene::{Anchor, Colour, HAIR, Place, STONE, Scene, at};
use super::typeface::{SMALL, Typeface, WIDER_FALLBACK, capital_height, line_height};

/// Width of the drawing before the words, mm.
const KEY: f64 = 6.5;
const KEY_GAP: f64 = 1.2;
const COLUMN_GAP: f64 = 3.0;

/// Draws an entry's mark at its centre.
type Drawing = Box<dyn Fn(&mut Scene, Place)>;

/// One line of a legend. `draw` is given the centre of a field [`KEY`] mm wide and a line high.
pub(super) struct Entry {
    pub words: String,
    pub draw: Drawing,
}

impl Entry {
    pub(super) fn new(words: impl Into<String>, draw: impl Fn(&mut Scene, Place) + 'static) -> Entry {
        Entry { words: words.into(), draw: Box::new(draw) }
    }
}

/// Width that the entries would take in one column, at most `most` mm.
pub(super) fn natural_width(entries: &[Entry], most: f64, typeface: &Typeface) -> f64 {
    let words = entries
        .iter()
        .flat_map(|entry| typeface.wrap(&entry.words, SMALL, most - KEY - KEY_GAP))
        .map(|line| typeface.length(&line, SMALL))
        .fold(0.0, f64::max);
    KEY + KEY_GAP + words * WIDER_FALLBACK
}

/// Draws the entries below `origin` within `width` mm, in as many columns as fit; returns the bottom, mm.
pub(super) fn draw(scene: &mut Scene, entries: &[Entry], origin: Place, width: f64, typeface: &Typeface) -> f64 {
    let widths =
        |rows: usize| entries.chunks(rows).map(|members| natural_width(members, width, typeface)).collect::<Vec<f64>>();
    // The fewest rows whose columns fit side by side; one column if none do.
    let fits = |rows: &usize| {
        let widths = widths(*rows);
        widths.iter().sum::<f64>() + COLUMN_GAP * (widths.len() - 1) as f64 <= width
    };
    let rows = (1..entries.len()).find(fits).unwrap_or(entries.len()).max(1);
    let (mut x, mut bottom) = (origin.x, origin.y);
    for (members, column_width) in entries.chunks(rows).zip(widths(rows)) {
        let mut top = origin.y;
        for entry in members {
            let middle = top + capital_height(SMALL) / 2.0 + 0.3;
            (entry.draw)(scene, at(x + KEY / 2.0, middle));
            for line in typeface.wrap(&entry.words, SMALL, width - KEY - KEY_GAP) {
                scene.text(
                    &line,
                    SMALL,
                    typeface.length(&line, SMALL),
                    Anchor::Start,
                    at(x + KEY + KEY_GAP, top + 0.3 + capital_height(SMALL)),
                );
                top += line_height(SMALL);
            }
            top += 0.5;
        }
        bottom = bottom.max(top);
        x += column_width + COLUMN_GAP;
    }
    bottom
}

/// A patch of fill colour with a hairline round it, so that light fills stay visible on paper.
pub(super) fn swatch(scene: &mut Scene, Place { x, y }: Place, colour: Colour) {
    for (inset, colour) in [(0.0, STONE), (HAIR / 2.0, colour)] {
        let (across, up) = (3.2 - inset, 1.1 - inset);
        scene.rectangle(at(x - across, y - up), at(x + across, y + up), colour);
    }
}
