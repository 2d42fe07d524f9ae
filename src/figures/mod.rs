//! Figures for journals and bulletins, drawn from finished numbers.
//!
//! Nothing is estimated here. A caller fills in a plain description (a [`Figure`]); one layout in millimetres is made from it, and that
//! layout is written three times: as SVG and PDF (vector, text kept as text) and as PNG.
//!
//! - Sizes are those of print. Type is 7 pt or larger at that width.
//! - Marker shape, fill and line pattern carry the meaning; colour only repeats it, so a grey copy reads the same.
//! - The same description gives the same bytes. No system font is needed: Inter (SIL Open Font License, in `font/`) is
//!   compiled in for the PNG and for measuring. The SVG names it with `sans-serif` as the fallback and states the measured
//!   length of every text, so that a viewer with another font keeps the text inside its place.

mod agreement;
mod axis;
mod calibration;
mod card;
mod card_words;
mod field_map;
mod font_subset;
mod forgone;
mod legend;
mod marker;
mod means;
mod net_return;
mod panels;
mod pdf;
mod png_image;
mod price_response;
mod rates;
mod readings;
mod residuals;
mod response;
mod scene;
mod season;
mod stroke;
mod style;
mod svg;
mod typeface;
mod wording;

/// The typeface, for what stands beside figures.
#[cfg(feature = "pdf")]
pub(crate) use typeface::INTER;

/// The palette, for what stands beside figures.
pub(crate) mod palette {
    pub(crate) use super::scene::{BRICK, Colour, INK, MIST, PAPER, SAND, SEA};
}

#[cfg(test)]
mod tests;

pub use agreement::{AgreementFigure, AgreementPoint};
pub use calibration::{CalibrationFigure, CalibrationPoint, Censoring, IndexBand, MarkedIndex};
pub use card::{Card, render_card};
pub use field_map::{FieldMap, MapPlot};
pub use forgone::{ForgoneFigure, ForgoneRow};
pub use means::{DifferenceBar, LevelMean, Levels, MeansFigure, MeansPanel, MeansSeries};
pub use net_return::{BestRate, NearOptimumRange, NetReturnFigure, NetReturnLine, NetReturnPanel};
pub use price_response::{PriceBandPoint, PriceMark, PricePanel, PriceResponseFigure, PriceStretch};
pub use rates::{RateFigure, RateSteps, Step};
pub use readings::{ReadingFigure, ReadingMean, ReadingPanel};
pub use residuals::{ResidualFigure, ResidualPoint};
pub use response::{BandPoint, CurveLine, MarkedRate, MeanPoint, OverlaidCurve, ResponsePanel, ResponsePanels};
pub use season::{DrawnFigure, NamedFigure, draw_figures, rate_figure, season_cards, season_figures};
pub use style::{Colours, DecimalMark, Style, Width};
pub use wording::{UnitForm, UnitSystem, Wording, WordingOptions};

use scene::Scene;
use typeface::Typeface;

/// The words that go with a figure; none of them stands in it, but the title where [`Style::with_title`] asks for it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Words {
    /// Title.
    pub title: String,
    /// The text below the figure: n, design, what bars and bands are. Kept as it is.
    pub caption: String,
    /// What is seen, in a sentence or two with its numbers, for whoever cannot see it.
    pub finding: String,
}

/// A figure in all its formats, with the words that go beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Rendered {
    /// The SVG document. Its `width` and `height` are in millimetres.
    pub svg: String,
    /// The PDF document of one page as large as the figure, its font embedded.
    pub pdf: Vec<u8>,
    /// The PNG file, with its resolution recorded in it; empty where none is asked for.
    pub png: Vec<u8>,
    /// Width in print, mm.
    pub width: f64,
    /// The words exactly as the caller gave them.
    pub words: Words,
}

/// What a figure shows, in finished numbers.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Figure {
    /// Yield against N rate, one panel for each response, all on the same axes.
    Response(ResponsePanels),
    /// N need against the index of a reading, by site-year.
    Calibration(CalibrationFigure),
    /// The rates of a table by index, with those of an earlier one where there is one.
    Rates(RateFigure),
    /// The plots of a field at their places.
    Map(FieldMap),
    /// Readings against the N already on.
    Readings(ReadingFigure),
    /// Two accounts of one thing against each other.
    Agreement(AgreementFigure),
    /// What rules forgo, by site-year.
    Forgone(ForgoneFigure),
    /// Residuals against what was fitted, in field order, and against normal scores.
    Residuals(ResidualFigure),
    /// Net return against N rate at several price ratios, one panel a group.
    NetReturn(NetReturnFigure),
    /// The economic optimum against the price ratio, one panel a group.
    PriceResponse(PriceResponseFigure),
    /// Treatment means with letters and interactions, one panel an effect.
    Means(MeansFigure),
}

impl Figure {
    fn description(&self) -> &dyn Description {
        match self {
            Figure::Response(figure) => figure,
            Figure::Calibration(figure) => figure,
            Figure::Rates(figure) => figure,
            Figure::Map(figure) => figure,
            Figure::Readings(figure) => figure,
            Figure::Agreement(figure) => figure,
            Figure::Forgone(figure) => figure,
            Figure::Residuals(figure) => figure,
            Figure::NetReturn(figure) => figure,
            Figure::PriceResponse(figure) => figure,
            Figure::Means(figure) => figure,
        }
    }

    /// The width it is made for where none is asked.
    #[must_use]
    pub fn usual_width(&self) -> Width {
        self.description().usual_width()
    }

    /// The words that go with it.
    #[must_use]
    pub fn words(&self) -> &Words {
        self.description().words()
    }
}

/// What every kind of figure gives to be drawn.
trait Description {
    /// Refuses what cannot be placed on a page.
    fn validate(&self) -> Result<(), FigureError>;
    /// The figure laid out `width` mm wide.
    fn lay_out(&self, width: f64, typeface: &Typeface) -> Scene;
    /// The words that go with it.
    fn words(&self) -> &Words;
    /// The width it is made for.
    fn usual_width(&self) -> Width {
        Width::DoubleColumn
    }
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
    /// More panels, or rows, than fit on a page.
    #[error("{count} panels or rows; one figure takes at most {most}")]
    TooManyPanels {
        /// The number asked for.
        count: usize,
        /// The most that is taken.
        most: usize,
    },
    /// More rows of plots, or more plots in a row, than fit on a page.
    #[error("a field of {rows} rows and {columns} columns; a map takes at most {most} of each")]
    FieldTooLarge {
        /// Rows.
        rows: u32,
        /// Columns.
        columns: u32,
        /// The most that is taken.
        most: u32,
    },
    /// Two plots at one place of a map.
    #[error("plots {first} and {second} lie at one place of the map")]
    SamePlace {
        /// One.
        first: String,
        /// The other.
        second: String,
    },
    /// More lines than patterns and markers tell apart.
    #[error("{count} lines; patterns and markers tell {most} apart")]
    TooManyLines {
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
    /// A width outside the range.
    #[error("{0} mm wide; a figure takes 70 to 300")]
    Width(String),
    /// A picture of more dots than is taken.
    #[error("{width} by {height} dots; the PNG takes {} million in all: ask for fewer dots per inch", png_image::MOST_DOTS / 1_000_000)]
    TooManyDots {
        /// Dots across.
        width: u32,
        /// Dots down.
        height: u32,
    },
    /// A resolution outside the range.
    #[error("{0} dots per inch; the PNG takes 72 to 1200")]
    Resolution(u32),
    /// The typeface, the drawing library or the PNG encoder failed.
    #[error("the figure could not be written: {0}")]
    Drawing(String),
}

/// Draws a figure.
///
/// # Errors
///
/// [`FigureError`] if there is nothing to draw, a number is not finite, limits are reversed, a text is too long, or the style asks
/// for a size that is not taken.
pub fn render(figure: &Figure, style: &Style) -> Result<Rendered, FigureError> {
    let description = figure.description();
    description.validate()?;
    check_text("the title", &description.words().title)?;
    style.width.check()?;
    let typeface = Typeface::load(style.decimal_mark)?;
    let (width, magnification) = (style.width.millimetres(), style.width.magnification());
    let mut scene = description.lay_out(width / magnification, &typeface);
    if style.with_title {
        scene.head(&description.words().title, &typeface);
    }
    if magnification != 1.0 {
        scene.magnify(magnification);
    }
    finish(scene, style, description.words(), &typeface)
}

fn finish(mut scene: Scene, style: &Style, words: &Words, typeface: &Typeface) -> Result<Rendered, FigureError> {
    if !(72..=1200).contains(&style.dots_per_inch) {
        return Err(FigureError::Resolution(style.dots_per_inch));
    }
    if style.colours == Colours::Grey {
        scene.grey();
    }
    Ok(Rendered {
        svg: svg::write(&scene, words)?,
        pdf: pdf::write(&scene, &words.title, typeface)?,
        png: if style.with_png { png_image::write(&scene, style.dots_per_inch, typeface)? } else { Vec::new() },
        width: scene.width,
        words: words.clone(),
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
