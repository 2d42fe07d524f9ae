//! The shortfall model: N need as a function of the index, fitted to the yields of early × topdress trials in one stage.
//!
//! yield = nuisance − c·max(0, need(index) − topdress)², with need(index) = max(0, a line, a parabola or a quadratic spline in 1 − index), never rising
//! with the index over the indices of its data. *Shortfall* is the need minus what was given; its square, times c, is the yield that it costs. The
//! two-stage way fits a curve to every early level of every site-year, reads an optimum from each and draws a relation through these; here all plots
//! of all site-years speak at once, and an early level whose optimum lies past the highest topdress says what it can.
//!
//! The return is largest where the next unit of N buys what it costs: at need − r/(2c), r being the price ratio, and never below 0.
//!
//! A need that is a spline may also go with the cube of the shortfall, whichever of the two fits better: site-years of one index differ in their needs,
//! and the mean of their responses bends more softly into its plateau than each of them.
//!
//! **Nuisance** is either *block* (all early levels of a block share one plateau, so that a loss which topdress cannot mend any more is
//! booked as N need) or *block × early level* (each early level of a block has a plateau of its own, and only the response to topdress
//! speaks). The first is a little more precise where it is true; [`test_nuisance`] tests it against the second, which is the default.
//!
//! **The fit.** Nuisance is projected out once. Given need, c is a linear coefficient, so that the residual sum of squares is Syy − B²/A with
//! A the sum of squares of the centred squared shortfalls and B their product with the yields: a function of two or three numbers, once
//! differentiable everywhere and twice between the lines need = topdress. It is searched globally: over a grid that follows the indices
//! and topdress rates at hand, then by Newton's method with exact derivatives from every local minimum of the grid, and on each edge of
//! what never rises. No starting value is asked for or carried from one fit to the next. One evaluation costs as many operations as there are
//! distinct early × topdress cells.
//!
//! **What it assumes.** The index of a treatment is taken without error; c is one number for all site-years and varieties, whatever their
//! yield; the errors of plots have one variance, unless site-years are weighted. See DEVELOPERS.md for how it does where this is not so.

mod criterion;
mod data;
mod fit;
mod interval;
mod leave_out;
mod newton;
mod nuisance;
mod search;
mod spline;
#[cfg(test)]
mod tests;

pub use data::{NotUsed, ShortfallData};
pub use fit::{NeedCurve, NeedSpline, Shortfall};
pub use leave_out::leave_one_site_year_out;
pub use nuisance::{ALPHA, NuisanceTest, fit_by_test, test_nuisance};

/// How need depends on 1 − index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shape {
    /// A straight line.
    Line,
    /// A parabola.
    Parabola,
    /// A quadratic spline with knots at the quartiles of the early levels' indices.
    Spline,
}

impl Shape {
    /// All of them, the simplest first.
    pub const ALL: [Self; 3] = [Self::Line, Self::Parabola, Self::Spline];

    /// How many numbers it is linear in.
    #[must_use]
    pub fn numbers(self) -> usize {
        match self {
            Self::Line => 2,
            Self::Parabola => 3,
            Self::Spline => spline::ORDINATES,
        }
    }
}

/// The power of the shortfall that yield falls with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Power {
    /// Its square: what a quadratic plateau loses.
    Square,
    /// Its cube: a response that bends softly into its plateau, as the mean of site-years with different needs at one index does.
    Cube,
}

impl Power {
    /// As a number.
    #[must_use]
    pub fn exponent(self) -> u8 {
        match self {
            Self::Square => 2,
            Self::Cube => 3,
        }
    }

    /// The shortfall at which the next unit of N buys what it costs, where `loss` is the yield lost by a shortfall of 1: r = p·c·d^(p − 1).
    #[must_use]
    pub fn worth_leaving(self, loss: f64, price_ratio: f64) -> f64 {
        match self {
            Self::Square => price_ratio / (2.0 * loss),
            Self::Cube => (price_ratio / (3.0 * loss)).sqrt(),
        }
    }

    /// The power of a shortfall.
    fn of(self, short: f64) -> f64 {
        short.powi(i32::from(self.exponent()))
    }
}

/// What has a yield of its own beside the shortfall.
///
/// By default the finer: in `reports/shortfall` the coarser gains little where it is true and costs much where it is not, and
/// [its test](test_nuisance) seldom finds that out at usual plot errors.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Nuisance {
    /// Each block of each variety: a common plateau of all its early levels.
    Block,
    /// Each early level of each block of each variety: only the response to topdress speaks.
    #[default]
    BlockByEarlyLevel,
}

impl Nuisance {
    /// Both, the coarser first.
    pub const ALL: [Self; 2] = [Self::Block, Self::BlockByEarlyLevel];

    /// In words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Block => "block",
            Self::BlockByEarlyLevel => "block × early level",
        }
    }
}

/// Which shortfall model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ShortfallModel {
    /// How need depends on 1 − index.
    pub shape: Shape,
    /// What has a yield of its own.
    pub nuisance: Nuisance,
    /// Whether need must not rise with the index anywhere between the lowest and the highest index of the data. Without, a parabola or spline
    /// may turn there.
    pub never_rising: bool,
}

impl ShortfallModel {
    /// The model of a shape and nuisance, its need never rising with the index.
    #[must_use]
    pub fn new(shape: Shape, nuisance: Nuisance) -> Self {
        Self { shape, nuisance, never_rising: true }
    }

    /// Parameters beside the nuisance: the numbers of need, and c.
    #[must_use]
    pub fn parameters(&self) -> usize {
        self.shape.numbers() + 1
    }
}

/// Why there is no shortfall model.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoShortfall {
    /// No trial has early levels with topdress rates, yields and an index.
    #[error("no trial with early levels × topdress rates has both yields and an index")]
    NoTrials,
    /// Lists of a group differ in length.
    #[error(
        "trial {trial}: {rates} rates, {yields} yields and {blocks} blocks of one early level: the numbers must agree"
    )]
    LengthsDiffer {
        /// Trial folder.
        trial: String,
        /// How many rates.
        rates: usize,
        /// How many yields.
        yields: usize,
        /// How many blocks.
        blocks: usize,
    },
    /// A rate, yield or index that is no number, or out of all bounds.
    #[error("trial {trial}: {what} {value} must be a finite number{bounds}")]
    NotANumber {
        /// Trial folder.
        trial: String,
        /// What it is.
        what: &'static str,
        /// The value.
        value: f64,
        /// What it must be beside finite, in words.
        bounds: &'static str,
    },
    /// Weights that are not one finite number of at least 0 a site-year.
    #[error("the weights must be one finite number of 0 or more for each of {site_years} site-years")]
    Weights {
        /// How many site-years there are.
        site_years: usize,
    },
    /// One site-year alone can be neither held out nor resampled.
    #[error("there is one site-year: nothing is left when it is held out")]
    OneSiteYear,
    /// No block holds different topdress rates.
    #[error("no block has different topdress rates on plots that can be compared")]
    OneTopdress,
    /// All treatments have one index.
    #[error("all treatments have the index {index}: nothing can depend on it")]
    IndexConstant {
        /// The index.
        index: f64,
    },
    /// Fewer plots than a variance needs.
    #[error("{plots} plots do not determine {parameters} parameters, {levels} plateaus and a variance")]
    TooFewPlots {
        /// Plots.
        plots: usize,
        /// Plateaus: levels of the nuisance.
        levels: usize,
        /// Parameters beside them.
        parameters: usize,
    },
    /// Yields do not fall with shortfall, whatever the need.
    #[error(
        "yields are nowhere lower where less topdress was given: there is no response from which a need could be told"
    )]
    NoResponse,
    /// The criterion falls on to needs without end.
    #[error(
        "yields rise with topdress as if the need lay far beyond the highest tested one ({highest}): need and response can't be told apart"
    )]
    NeedBeyondTested {
        /// Highest topdress tested.
        highest: f64,
    },
    /// Several needs fit alike.
    #[error(
        "different needs fit the yields alike: too few early levels have a need between their tested topdress rates"
    )]
    NotIdentified,
}
