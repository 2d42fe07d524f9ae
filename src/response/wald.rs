//! Standard errors, and the intervals that are an estimate ± a multiple of one.

use super::curve::{Curve, Reach};
use super::family::Family;
use super::linearised::Linearised;
use super::method::{IntervalMethod, Quantity};
use super::observations::Observations;
use super::optimum::OptimumStatus;
use crate::stats::distribution::t_quantile;
use crate::stats::interval::Interval;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Standard errors of what a curve reports, from its derivatives at the estimate (the delta method); `None` where the curve does not
/// report it, or the plots do not determine it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StandardErrors {
    /// Of f(0), in yield units.
    pub intercept: Option<f64>,
    /// Of the slope at N = 0, or of a square root's factor of N, in yield units a rate unit.
    pub slope: Option<f64>,
    /// Of the factor of N², in yield units a squared rate unit.
    pub curvature: Option<f64>,
    /// Of the plateau, in yield units.
    pub plateau: Option<f64>,
    /// Of a square root's factor of √N, in yield units a root of the rate unit.
    pub root: Option<f64>,
    /// Of an exponential's rise, in yield units.
    pub rise: Option<f64>,
    /// Of an exponential's rate constant, a rate unit⁻¹.
    pub rate_constant: Option<f64>,
    /// Of the join, in the rate unit.
    pub join: Option<f64>,
    /// Of the agronomic optimum, in the rate unit.
    pub aonr: Option<f64>,
    /// Where the join of a linear-plateau lies on a tested rate, its derivatives differ by the side: here as the join moves up, then as
    /// it moves down. The errors above are then the larger ones. `None` anywhere else.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_side: Option<Box<[StandardErrors; 2]>>,
}

impl Observations {
    /// Standard errors of the coefficients, the join and the agronomic optimum of a curve fitted to these observations.
    ///
    /// The error variance is RSS/df. A join that is not reached, or lies before the first rate, has none, and neither has what depends
    /// on it.
    pub fn standard_errors(&self, curve: &Curve) -> StandardErrors {
        let Some(linearised) = Linearised::of(self, curve) else { return StandardErrors::default() };
        let errors = |pick: &dyn Fn(&[Option<f64>]) -> Option<f64>| {
            let of = |quantity: Quantity| {
                let gradient = linearised.gradient(quantity).filter(|_| self.is_reported(curve, quantity))?;
                pick(&linearised.standard_errors(&gradient))
            };
            StandardErrors {
                intercept: of(Quantity::Intercept),
                slope: of(Quantity::Slope),
                curvature: of(Quantity::Curvature),
                plateau: of(Quantity::Plateau),
                root: of(Quantity::Root),
                rise: of(Quantity::Rise),
                rate_constant: of(Quantity::RateConstant),
                join: of(Quantity::Join),
                aonr: of(Quantity::Optimum { slope_ratio: 0.0 }),
                by_side: None,
            }
        };
        let side = |index: usize| errors(&|sides: &[Option<f64>]| sides.get(index).copied().flatten());
        let by_side = linearised.has_kink().then(|| Box::new([side(0), side(1)]));
        StandardErrors { by_side, ..errors(&larger) }
    }

    /// The estimate ± t(level; df) standard errors of a quantity as the family's formula gives it, wherever that lies: the optimum of a
    /// parabola past the tested rates is extrapolation, and the caller must say so.
    ///
    /// Where a linear-plateau joins at a tested rate the larger of its two standard errors is taken. Not computed, with the reason,
    /// where the family has no such quantity, the plots do not determine it, or no error is left to measure it by.
    pub fn wald(&self, curve: &Curve, quantity: Quantity, level: f64) -> Interval {
        let name = IntervalMethod::Wald.name();
        let Some(linearised) = Linearised::of(self, curve) else {
            return Interval::refused(None, level, name, self.why_no_error(curve));
        };
        let Some(gradient) = linearised.gradient(quantity) else {
            return Interval::refused(None, level, name, why_none(curve, quantity));
        };
        let estimate = Some(gradient.value);
        let error = larger(&linearised.standard_errors(&gradient));
        match error.zip(t_quantile(0.5 * (1.0 + level), curve.df as f64)) {
            Some((error, t)) => {
                let ends = [gradient.value - t * error, gradient.value + t * error];
                Interval::between(estimate, Some(ends[0]), Some(ends[1]), level, name)
            }
            None => Interval::refused(estimate, level, name, "the tested rates do not determine it"),
        }
    }

    /// The Wald interval of what is reported: a quantity inside the tested rates, or the reason why there is none.
    pub(super) fn wald_reported(
        &self,
        curve: &Curve,
        quantity: Quantity,
        estimate: Option<f64>,
        level: f64,
    ) -> Interval {
        match self.why_not_smooth(curve, quantity) {
            Some(reason) => Interval::refused(estimate, level, IntervalMethod::Wald.name(), reason),
            None => Interval { estimate, ..self.wald(curve, quantity, level) },
        }
    }

    fn is_reported(&self, curve: &Curve, quantity: Quantity) -> bool {
        let early = curve.reach == Some(Reach::BeforeFirstRate);
        match quantity {
            Quantity::Intercept | Quantity::Root => true,
            Quantity::Slope | Quantity::Curvature | Quantity::RateConstant => !early,
            Quantity::Rise => curve.coefficients.rise.is_some(),
            Quantity::Plateau => curve.coefficients.plateau.is_some(),
            Quantity::Join | Quantity::Optimum { .. } => self.why_not_smooth(curve, quantity).is_none(),
        }
    }

    /// Why an estimate is a bound or an end, around which no interval can be symmetric; `None` where it is neither.
    fn why_not_smooth(&self, curve: &Curve, quantity: Quantity) -> Option<&'static str> {
        match (quantity, curve.reach) {
            (Quantity::Join, Some(Reach::BeforeFirstRate)) => {
                Some("the join lies before the second tested rate, where every join fits alike")
            }
            (Quantity::Plateau, Some(Reach::NotReached)) if curve.family == Family::ExponentialRise => {
                Some("the best curve is the straight line that is an exponential's limit, and nears nothing")
            }
            (Quantity::Join | Quantity::Plateau, Some(Reach::NotReached)) => {
                Some("the join is not reached within the tested rates")
            }
            (Quantity::Optimum { slope_ratio }, _) => self.why_no_smooth_optimum(curve, slope_ratio),
            _ => None,
        }
    }

    fn why_no_smooth_optimum(&self, curve: &Curve, slope_ratio: f64) -> Option<&'static str> {
        match self.best_rate(curve, slope_ratio).1 {
            _ if curve.family == Family::Linear => Some(LINE),
            OptimumStatus::Interior => None,
            OptimumStatus::AtZero => Some("the best rate is 0, an end of the rates, where no interval is symmetric"),
            OptimumStatus::AtHighestTestedRate => Some(
                "the best rate is not reached within the tested rates, so there is no estimate to put an interval around",
            ),
            OptimumStatus::BeforeFirstRate => Some("the best rate is only bounded by the tested rates"),
            OptimumStatus::NotShown | OptimumStatus::NotEstimable => Some("the mean has no slope"),
        }
    }

    /// Why there is no noise to measure anything against.
    pub(super) fn why_no_error(&self, curve: &Curve) -> &'static str {
        if curve.df == 0 { "as many parameters as observations leave no error" } else { "the curve leaves no error" }
    }
}

/// Why a straight line has no optimum.
pub(super) const LINE: &str = "a straight line is best at an end of the rates and has no optimum of its own";

/// Why an exponential has no agronomic optimum.
pub(super) const NEARS: &str = "an exponential rise nears its plateau without end and has no rate of its highest yield";

/// Why a family has no join.
pub(super) const NO_JOIN: &str = "the family has no join";

/// Why a family has no plateau.
pub(super) const NO_PLATEAU: &str = "the family has no plateau";

fn why_none(curve: &Curve, quantity: Quantity) -> &'static str {
    match (quantity, curve.family) {
        (_, Family::Mean) => "the mean has no slope",
        (Quantity::Optimum { .. }, Family::Linear) => LINE,
        (Quantity::Optimum { .. }, _) => "the curve rises nowhere as steeply as the ratio",
        (Quantity::Join, _) => NO_JOIN,
        (Quantity::Plateau, _) => NO_PLATEAU,
        _ => "the family has no such coefficient",
    }
}

/// The larger of the standard errors; `None` where the plots do not determine the quantity from every side.
fn larger(sides: &[Option<f64>]) -> Option<f64> {
    let all: Option<Vec<f64>> = sides.iter().copied().collect();
    all?.into_iter().reduce(f64::max)
}
