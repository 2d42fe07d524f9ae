//! The one typeface: measured, broken into lines, and filled in as coverage of pixels.
//!
//! Not through the drawing library's own text: that leaves out the space to the left of each letter, so that words
//! come out unevenly spaced.

use ab_glyph::{Font as _, FontRef, GlyphId, Point, PxScale};

use super::FigureError;
use super::style::DecimalMark;

/// Family name, in the SVG and for the drawing library.
pub(super) const FAMILY: &str = "Inter";
/// Millimetres in a point.
pub(super) const MM_PER_POINT: f64 = 25.4 / 72.0;
/// Size of tick labels, notes and legends; the smallest type in any figure.
pub(super) const SMALL: f64 = 7.0;
/// Size of axis titles and panel titles.
pub(super) const LARGE: f64 = 8.0;
/// Height of capitals as a share of the type size (1490 of 2048 units, the font's OS/2 table).
pub(super) const CAPITAL_HEIGHT: f64 = 0.7275;
pub(crate) static INTER: &[u8] = include_bytes!("font/Inter-Regular.ttf");

/// Distance between lines of type, in millimetres.
pub(super) fn line_height(points: f64) -> f64 {
    1.3 * points * MM_PER_POINT
}

/// Height of capitals, in millimetres.
pub(super) fn capital_height(points: f64) -> f64 {
    CAPITAL_HEIGHT * points * MM_PER_POINT
}

/// The compiled-in font, and how numbers are set in it.
pub(super) struct Typeface {
    font: FontRef<'static>,
    units_per_em: f64,
    decimal_mark: DecimalMark,
}

impl Typeface {
    /// Reads the compiled-in font.
    pub(super) fn load(decimal_mark: DecimalMark) -> Result<Self, FigureError> {
        let font = FontRef::try_from_slice(INTER).map_err(|error| FigureError::Drawing(error.to_string()))?;
        let units_per_em =
            font.units_per_em().ok_or_else(|| FigureError::Drawing("the font states no em".to_owned()))?;
        Ok(Typeface { font, units_per_em: f64::from(units_per_em), decimal_mark })
    }

    /// A number as it is set on an axis.
    pub(super) fn number(&self, value: f64, decimals: usize) -> String {
        self.decimal_mark.number(value, decimals)
    }

    /// A share as a percentage, set likewise.
    pub(super) fn percentage(&self, share: f64) -> String {
        self.decimal_mark.percentage(share)
    }

    /// The number of a character's glyph.
    pub(super) fn glyph(&self, character: char) -> u16 {
        self.font.glyph_id(character).0
    }

    /// Width of a character, as a share of the type size.
    pub(super) fn ems(&self, character: char) -> f64 {
        self.advance(self.font.glyph_id(character)) / self.units_per_em
    }

    /// How far letters reach above and (below zero) under the baseline, as a share of the type size.
    pub(super) fn ascent_and_descent(&self) -> [f64; 2] {
        [self.font.ascent_unscaled(), self.font.descent_unscaled()].map(|units| f64::from(units) / self.units_per_em)
    }

    /// Length of a text in millimetres.
    pub(super) fn length(&self, text: &str, points: f64) -> f64 {
        let units: f64 = text.chars().map(|c| self.advance(self.font.glyph_id(c))).sum();
        units / self.units_per_em * points * MM_PER_POINT
    }

    fn advance(&self, glyph: GlyphId) -> f64 {
        f64::from(self.font.h_advance_unscaled(glyph))
    }

    /// Calls `paint` with each pixel that a text of `em` pixels covers, relative to the start of its baseline
    /// (down is positive), and the share that is covered.
    pub(super) fn cover(&self, text: &str, em: f64, mut paint: impl FnMut(i32, i32, f64)) {
        // The font library takes ascent plus descent as the size.
        let scale = PxScale::from((em / self.units_per_em * f64::from(self.font.height_unscaled())) as f32);
        let mut pen = 0.0;
        for c in text.chars() {
            let id = self.font.glyph_id(c);
            let glyph = id.with_scale_and_position(scale, Point { x: pen as f32, y: 0.0 });
            if let Some(outline) = self.font.outline_glyph(glyph) {
                let corner = outline.px_bounds().min;
                outline.draw(|x, y, share| {
                    paint(corner.x as i32 + x as i32, corner.y as i32 + y as i32, f64::from(share));
                });
            }
            pen += self.advance(id) / self.units_per_em * em;
        }
    }

    /// Breaks a text into lines no longer than `most` millimetres: at spaces (not at no-break spaces), inside a word only
    /// if it alone is too long.
    /// Control characters become spaces, so that the result is valid in XML. Part of the line is kept free for viewers
    /// that put a wider typeface in and pay no heed to the stated length.
    pub(super) fn wrap(&self, text: &str, points: f64, most: f64) -> Vec<String> {
        let most = most / WIDER_FALLBACK;
        let clean: String = text.chars().map(|c| if unprintable(c) { ' ' } else { c }).collect();
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in clean.split(' ').filter(|word| !word.is_empty()) {
            let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if self.length(&joined, points) <= most {
                line = joined;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for character in word.chars() {
                line.push(character);
                if line.chars().count() > 1 && self.length(&line, points) > most {
                    line.pop();
                    lines.push(std::mem::replace(&mut line, character.to_string()));
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }
}

/// How much wider a common fallback sets the same text.
pub(super) const WIDER_FALLBACK: f64 = 1.1;

fn unprintable(c: char) -> bool {
    c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}')
}
