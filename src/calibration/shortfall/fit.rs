//! The fitted shortfall model.

use super::criterion::Problem;
use super::search::{self, Curve, Ordinates};
use super::spline::{Knots, SplineOrdinates};
use super::{NoShortfall, Nuisance, Power, Shape, ShortfallData, ShortfallModel};

/// A fitted shortfall model.
#[derive(Clone, Debug, PartialEq)]
pub struct Shortfall {
    /// Which model.
    pub model: ShortfallModel,
    /// The curve whose positive part is need.
    pub need: NeedCurve,
    /// The power of the shortfall that yield falls with: the square, but of a spline the one of the two that fits better.
    pub power: Power,
    /// Yield lost by a shortfall of one rate unit, above 0; one of d loses d², or d³, times as much.
    pub c: f64,
    /// Residual sum of squares; weighted where site-years are.
    pub rss: f64,
    /// Residual sum of squares of the nuisance alone.
    pub rss_without: f64,
    /// Degrees of freedom of the error: plots less plateaus less the model's parameters.
    pub df: usize,
    /// Standard deviation of a plot within blocks (of weight 1).
    pub sigma: f64,
    /// Lowest and highest index of its data: beyond them it says nothing.
    pub domain: (f64, f64),
    /// Highest topdress tested, in the rate unit.
    pub highest_topdress: f64,
    /// Site-years it rests on.
    pub site_years: usize,
    /// Plots it rests on.
    pub plots: usize,
    /// Plateaus: levels of the nuisance.
    pub levels: usize,
    /// The curve in highest topdress rates, over the domain.
    pub(super) curve: Curve,
}

/// A curve whose positive part is need, in the rate unit.
#[derive(Clone, Debug, PartialEq)]
pub enum NeedCurve {
    /// p₀ + p₁·s (+ p₂·s²), with s = 1 − index.
    Polynomial(Vec<f64>),
    /// A quadratic spline.
    Spline(NeedSpline),
}

/// A quadratic B-spline of s = 1 − index.
#[derive(Clone, Debug, PartialEq)]
pub struct NeedSpline {
    /// The lowest s of the data, the quartiles of s over the early levels, the highest.
    pub knots: [f64; 5],
    /// Its ordinates, in the rate unit, from the lowest s to the highest: those of the B-splines whose ends count three times among the knots.
    pub ordinates: [f64; 6],
}

impl NeedCurve {
    /// Its value at an index, in the rate unit. A polynomial goes on below 0; a spline, which nothing determines there, does not. Beyond its ends a
    /// spline goes on as a straight line.
    #[must_use]
    pub fn value(&self, index: f64) -> f64 {
        let s = 1.0 - index;
        match self {
            Self::Polynomial(coefficients) => coefficients.iter().rev().fold(0.0, |sum, c| sum * s + c),
            Self::Spline(NeedSpline { knots: [low, first, second, third, high], ordinates }) => {
                let z = |s: f64| (s - low) / (high - low);
                Knots::at([first, second, third].map(|knot| z(*knot))).value(ordinates, z(s)).max(0.0)
            }
        }
    }
}

impl Shortfall {
    /// Fits a model by least squares.
    ///
    /// `weights` holds one number of 0 or more a site-year, in the order of [`ShortfallData::site_years`]; `None` weighs all alike. A site-year of weight
    /// 0 plays no part at all: what is fitted without it is the same to the last bit whatever its yields. Whole numbers stand for a
    /// resample; inverse variances for site-years of unequal error. Degrees of freedom count the plots of every site-year once.
    ///
    /// # Errors
    /// [`NoShortfall`] where the yields determine no need.
    pub fn fit(data: &ShortfallData, model: ShortfallModel, weights: Option<&[f64]>) -> Result<Self, NoShortfall> {
        let mut problem = Problem::new(data, model.nuisance, weights)?;
        let squares = Self::of(&problem, model, None);
        if model.shape != Shape::Spline {
            return squares;
        }
        problem.power = Power::Cube;
        match (squares, Self::of(&problem, model, None)) {
            (Ok(squares), Ok(cubes)) => Ok(if cubes.rss < squares.rss { cubes } else { squares }),
            (Err(_), Ok(cubes)) => Ok(cubes),
            (squares, Err(_)) => squares,
        }
    }

    /// A need that is a spline, looked for near another alone and with its power: where site-years are many, leaving one out hardly moves it.
    ///
    /// # Errors
    /// [`NoShortfall`] where the yields determine no need.
    pub fn fit_near(
        data: &ShortfallData,
        nuisance: Nuisance,
        weights: Option<&[f64]>,
        near: &NeedSpline,
        power: Power,
    ) -> Result<Self, NoShortfall> {
        let mut problem = Problem::new(data, nuisance, weights)?;
        problem.power = power;
        let ordinates = near.ordinates.map(|ordinate| ordinate / problem.highest);
        Self::of(&problem, ShortfallModel::new(Shape::Spline, nuisance), Some(ordinates))
    }

    fn of(problem: &Problem, model: ShortfallModel, near: Option<SplineOrdinates>) -> Result<Self, NoShortfall> {
        let parameters = model.parameters();
        let df = problem.count.checked_sub(problem.levels + parameters).filter(|df| *df > 0);
        let too_few = NoShortfall::TooFewPlots { plots: problem.count, levels: problem.levels, parameters };
        let df = df.ok_or(too_few)?;
        let best = search::best(problem, model.shape, model.never_rising, near)?;
        let rss = problem.residual_sum_of_squares(|z| best.curve.value(z), best.c);
        let (low, high) = problem.shortness;
        Ok(Self {
            model,
            need: need(best.curve, model.shape, problem),
            power: problem.power,
            c: best.c / problem.power.of(problem.highest),
            rss,
            rss_without: problem.total,
            df,
            sigma: (rss / df as f64).sqrt(),
            domain: (1.0 - high, 1.0 - low),
            highest_topdress: problem.highest,
            site_years: problem.site_years,
            plots: problem.count,
            levels: problem.levels,
            curve: best.curve,
        })
    }

    /// The N need at an index, in the rate unit; never below 0.
    #[must_use]
    pub fn need(&self, index: f64) -> f64 {
        self.need.value(index).max(0.0)
    }

    /// The topdress of the largest return at an index, in the rate unit: the need less what is [worth leaving](Power::worth_leaving), never below 0. `price_ratio` is the price of one rate unit of N ÷
    /// the price of one yield unit.
    #[must_use]
    pub fn rate(&self, index: f64, price_ratio: f64) -> f64 {
        (self.need.value(index) - self.power.worth_leaving(self.c, price_ratio)).max(0.0)
    }

    /// The yield that a topdress forgoes at an index, in the yield unit: c·max(0, need − topdress)², or the cube.
    #[must_use]
    pub fn yield_lost(&self, index: f64, topdress: f64) -> f64 {
        self.c * self.power.of((self.need(index) - topdress).max(0.0))
    }
}

/// A curve over z by the index, in the rate unit.
fn need(curve: Curve, shape: Shape, problem: &Problem) -> NeedCurve {
    let (low, high) = problem.shortness;
    match curve {
        Curve::Polynomial(ordinates) => {
            let mut coefficients = coefficients(ordinates, (low, high), shape);
            coefficients.iter_mut().for_each(|coefficient| *coefficient *= problem.highest);
            NeedCurve::Polynomial(coefficients)
        }
        Curve::Spline(knots, ordinates) => {
            let [first, second, third] = knots.inner().map(|z| low + z * (high - low));
            let ordinates = ordinates.map(|ordinate| ordinate * problem.highest);
            NeedCurve::Spline(NeedSpline { knots: [low, first, second, third, high], ordinates })
        }
    }
}

/// The coefficients in 1 − index of a polynomial by its ordinates.
fn coefficients([u0, m, u1]: Ordinates, (low, high): (f64, f64), shape: Shape) -> Vec<f64> {
    let span = high - low;
    if shape == Shape::Line {
        let slope = (u1 - u0) / span;
        return vec![u0 - low * slope, slope];
    }
    let (b, c) = (2.0 * (m - u0) / span, (u0 - 2.0 * m + u1) / (span * span));
    vec![u0 - low * (b - low * c), b - 2.0 * low * c, c]
}
