//! The fitted shortfall model.

use super::criterion::Problem;
use super::search::{self, Ordinates, polynomial};
use super::{NoShortfall, ShortfallData, ShortfallModel};

/// A fitted shortfall model.
#[derive(Clone, Debug, PartialEq)]
pub struct Shortfall {
    /// Which model.
    pub model: ShortfallModel,
    /// Coefficients of the polynomial whose positive part is need, in the rate unit: need = p₀ + p₁·(1 − index) (+ p₂·(1 − index)²).
    pub need_coefficients: Vec<f64>,
    /// Yield lost per squared unit of shortfall, above 0.
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
    /// Ordinates of the polynomial in highest topdress rates, over the domain.
    pub(super) ordinates: Ordinates,
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
        let problem = Problem::new(data, model.nuisance, weights)?;
        Self::of(&problem, model)
    }

    pub(super) fn of(problem: &Problem, model: ShortfallModel) -> Result<Self, NoShortfall> {
        let parameters = model.parameters();
        let df = problem.count.checked_sub(problem.levels + parameters).filter(|df| *df > 0);
        let too_few = NoShortfall::TooFewPlots { plots: problem.count, levels: problem.levels, parameters };
        let df = df.ok_or(too_few)?;
        let best = search::best(problem, model.degree, model.never_rising)?;
        let rss = problem.residual_sum_of_squares(|z| polynomial(best.ordinates, z), best.c);
        let (low, high) = problem.shortness;
        Ok(Self {
            model,
            need_coefficients: coefficients(best.ordinates, problem.shortness, problem.highest, model.degree.number()),
            c: best.c / (problem.highest * problem.highest),
            rss,
            rss_without: problem.total,
            df,
            sigma: (rss / df as f64).sqrt(),
            domain: (1.0 - high, 1.0 - low),
            highest_topdress: problem.highest,
            site_years: problem.site_years,
            plots: problem.count,
            levels: problem.levels,
            ordinates: best.ordinates,
        })
    }

    /// The N need at an index, in the rate unit; never below 0.
    #[must_use]
    pub fn need(&self, index: f64) -> f64 {
        self.unfloored(index).max(0.0)
    }

    /// The topdress of the largest return at an index, in the rate unit: need − r/(2c), never below 0. `price_ratio` is the price of one rate unit of N ÷
    /// the price of one yield unit.
    #[must_use]
    pub fn rate(&self, index: f64, price_ratio: f64) -> f64 {
        (self.unfloored(index) - price_ratio / (2.0 * self.c)).max(0.0)
    }

    /// The yield that a topdress forgoes at an index, in the yield unit: c·max(0, need − topdress)².
    #[must_use]
    pub fn yield_lost(&self, index: f64, topdress: f64) -> f64 {
        self.c * (self.need(index) - topdress).max(0.0).powi(2)
    }

    /// The polynomial at an index, below 0 where the need is 0.
    fn unfloored(&self, index: f64) -> f64 {
        let (low, high) = self.domain;
        self.highest_topdress * polynomial(self.ordinates, (high - index) / (high - low))
    }
}

/// The coefficients in 1 − index of a polynomial by its ordinates.
fn coefficients([u0, m, u1]: Ordinates, (low, high): (f64, f64), highest: f64, degree: usize) -> Vec<f64> {
    let span = high - low;
    let (b, c) = (2.0 * (m - u0) / span, (u0 - 2.0 * m + u1) / (span * span));
    let (b, c) = if degree == 1 { ((u1 - u0) / span, 0.0) } else { (b, c) };
    let mut all = vec![u0 - low * (b - low * c), b - 2.0 * low * c, c];
    all.truncate(degree + 1);
    all.iter().map(|coefficient| coefficient * highest).collect()
}
