//! Figures for journals and bulletins, drawn from finished numbers.
//!
//! Nothing is estimated here. A caller fills in a plain description ([`ResponsePanels`], [`CalibrationFigure`],
//! [`ComparisonFigure`] or [`ResidualFigure`]); one layout in millimetres is made from it, and that layout is written twice: as SVG (vector, text
//! kept as text) and as PNG.
//!
//! - Sizes are those of print. Type is 7 pt or larger at that width.
//! - Marker shape, fill and line pattern carry the meaning; colour only repeats it, so a grey copy reads the same.
//! - The same description gives the same bytes. No system font is needed: Inter (SIL Open Font License, in `font/`) is
//!   compiled in for the PNG and for measuring. The SVG names it with `sans-serif` as the fallback and states the measured
//!   length of every text, so that a viewer with another font keeps the text inside its place.

mod axis;
mod calibration;
mod card;
mod card_words;
mod comparison;
mod font_subset;
mod legend;
mod marker;
mod pdf;
mod png_image;
mod residuals;
mod response;
mod scene;
mod season;
mod svg;
mod typeface;

/// The typeface, for what stands beside figures.
#[cfg(feature = "pdf")]
pub(crate) use typeface::INTER;

/// The palette, for what stands beside figures.
pub(crate) mod palette {
    pub(crate) use super::scene::{BRICK, Colour, INK, MIST, PAPER, SAND, SEA};
}

#[cfg(test)]
mod tests;

pub use calibration::{CalibrationFigure, CalibrationPoint, Censoring, IndexBand};
pub use card::{Card, render_card};
pub use comparison::{ComparisonFigure, Step};
pub use residuals::{ResidualFigure, ResidualPoint};
pub use response::{BandPoint, CurveLine, MarkedRate, MeanPoint, ResponsePanel, ResponsePanels};
pub use season::{NamedFigure, residual_figures, season_cards, season_figures};

use scene::Scene;
use typeface::Typeface;

/// Width of a figure in print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// One column of a journal page, 85 mm.
    SingleColumn,
    /// The whole text width of a journal page, 175 mm.
    DoubleColumn,
}

impl Width {
    /// The width in millimetres.
    pub fn millimetres(self) -> f64 {
        match self {
            Width::SingleColumn => 85.0,
            Width::DoubleColumn => 175.0,
        }
    }
}

/// How a figure is put on paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Width in print.
    pub width: Width,
    /// Pixels per inch of the PNG, 72 to 1200.
    pub dots_per_inch: u32,
}

impl Default for Style {
    /// A single column at 300 dots per inch.
    fn default() -> Self {
        Style { width: Width::SingleColumn, dots_per_inch: 300 }
    }
}

/// A figure in both formats, with the text that goes beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rendered {
    /// The SVG document. Its `width` and `height` are in millimetres.
    pub svg: String,
    /// The PNG file, with its resolution recorded in it.
    pub png: Vec<u8>,
    /// The caption exactly as the caller gave it.
    pub caption: String,
}

/// Why a figure could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FigureError {
    /// There is nothing to draw.
    #[error("{what} holds no data; a figure needs at least one point")]
    Empty {
        /// Which part of the description.
        what: String,
    },
    /// A number is NaN, infinite, or too large to be placed on an axis.
    #[error("{what} is {value}; a figure takes finite numbers between -1e12 and 1e12")]
    NotDrawable {
        /// Which part of the description.
        what: String,
        /// The number as text.
        value: String,
    },
    /// Two limits stand in the wrong order.
    #[error("{what} runs from {low} to {high}; the lower limit must come first")]
    Reversed {
        /// Which part of the description.
        what: String,
        /// The limit given as the lower one.
        low: String,
        /// The limit given as the upper one.
        high: String,
    },
    /// A text is too long for a figure.
    #[error("{what} has {length} characters; a figure takes at most {most}")]
    TextTooLong {
        /// Which part of the description.
        what: String,
        /// Its length.
        length: usize,
        /// The most that is taken.
        most: usize,
    },
    /// More panels than fit on a page.
    #[error("{count} panels; one figure takes at most {most}")]
    TooManyPanels {
        /// The number asked for.
        count: usize,
        /// The most that is taken.
        most: usize,
    },
    /// A card with more rows and words than a page.
    #[error("{rows} rows and what must be said with them don't fit on one page: widen the table's index step")]
    PageTooSmall {
        /// Rows of the table.
        rows: usize,
    },
    /// A resolution outside the range.
    #[error("{0} dots per inch; the PNG takes 72 to 1200")]
    Resolution(u32),
    /// The typeface, the drawing library or the PNG encoder failed.
    #[error("the figure could not be written: {0}")]
    Drawing(String),
}

/// Draws yield against N rate, one panel for each response, all on the same axes.
///
/// # Errors
///
/// [`FigureError`] if there is no panel, a panel has no points, a number is not finite, limits are reversed, or a text is
/// too long.
pub fn render_response(panels: &ResponsePanels, style: &Style) -> Result<Rendered, FigureError> {
    panels.validate()?;
    let typeface = Typeface::load()?;
    let scene = response::lay_out(panels, style.width.millimetres(), &typeface);
    finish(&scene, style, &panels.caption, &typeface)
}

/// Draws N need against the index of a reading, by site-year.
///
/// # Errors
///
/// [`FigureError`] if there are no points, a number is not finite, limits are reversed, or a text is too long.
pub fn render_calibration(figure: &CalibrationFigure, style: &Style) -> Result<Rendered, FigureError> {
    figure.validate()?;
    let typeface = Typeface::load()?;
    let scene = calibration::lay_out(figure, style.width.millimetres(), &typeface);
    finish(&scene, style, &figure.caption, &typeface)
}

/// Draws the rates of two tables by index.
///
/// # Errors
///
/// [`FigureError`] if neither has a rate, a number is not finite, limits are reversed, or a text is too long.
pub fn render_comparison(figure: &ComparisonFigure, style: &Style) -> Result<Rendered, FigureError> {
    figure.validate()?;
    let typeface = Typeface::load()?;
    let scene = comparison::lay_out(figure, style.width.millimetres(), &typeface);
    finish(&scene, style, &figure.caption, &typeface)
}

/// Draws residuals against what was fitted, in field order, and against normal scores.
///
/// # Errors
///
/// [`FigureError`] if there are no points, a number is not finite, or a text is too long.
pub fn render_residuals(figure: &ResidualFigure, style: &Style) -> Result<Rendered, FigureError> {
    figure.validate()?;
    let typeface = Typeface::load()?;
    let scene = residuals::lay_out(figure, style.width.millimetres(), &typeface);
    finish(&scene, style, &figure.caption, &typeface)
}

fn finish(scene: &Scene, style: &Style, caption: &str, typeface: &Typeface) -> Result<Rendered, FigureError> {
    if !(72..=1200).contains(&style.dots_per_inch) {
        return Err(FigureError::Resolution(style.dots_per_inch));
    }
    Ok(Rendered {
        svg: svg::write(scene, caption)?,
        png: png_image::write(scene, style.dots_per_inch, typeface)?,
        caption: caption.to_owned(),
    })
}

/// Longest label, title or note taken.
const LONGEST_TEXT: usize = 200;
/// Longest unit taken: it stands upright beside the shortest panel.
const LONGEST_UNIT: usize = 40;

fn check_number(what: &str, value: f64) -> Result<(), FigureError> {
    if value.abs() <= 1e12 {
        Ok(())
    } else {
        Err(FigureError::NotDrawable { what: what.to_owned(), value: value.to_string() })
    }
}

fn check_numbers(what: &str, values: impl IntoIterator<Item = f64>) -> Result<(), FigureError> {
    values.into_iter().try_for_each(|value| check_number(what, value))
}

fn check_order(what: &str, low: f64, high: f64) -> Result<(), FigureError> {
    check_numbers(what, [low, high])?;
    if low <= high {
        Ok(())
    } else {
        Err(FigureError::Reversed { what: what.to_owned(), low: low.to_string(), high: high.to_string() })
    }
}

fn check_text(what: &str, text: &str) -> Result<(), FigureError> {
    check_length(what, text, LONGEST_TEXT)
}

fn check_unit(what: &str, unit: Option<&str>) -> Result<(), FigureError> {
    check_length(what, unit.unwrap_or(""), LONGEST_UNIT)
}

fn check_length(what: &str, text: &str, most: usize) -> Result<(), FigureError> {
    let length = text.chars().count();
    if length <= most { Ok(()) } else { Err(FigureError::TextTooLong { what: what.to_owned(), length, most }) }
}
