//! What the families of a group say together about its optimum.

use super::fitted::{Fitted, families_with_optimum};
use crate::response::{
    AveragedOptimum, Curve, Disagreement, Family, Fit, IntervalMethod, Observations, Optimum, OptimumStatus, Weights,
    averaged_optimum, disagreement, spanned, weights,
};

impl Fitted {
    /// How much each estimated family is worth; `None` where a family leaves no error, or none is estimable.
    #[must_use]
    pub fn weights(&self) -> Option<Weights> {
        weights(&self.fits)
    }

    /// How far the families that fit about equally well disagree on the optimum at a price ratio. They are those that the optimum may be
    /// read from: a line is not among them. `None` where a response is tested and not shown, or where one family stands out.
    #[must_use]
    pub fn disagreement(&self, price_ratio: f64) -> Option<Disagreement> {
        let (weights, optima) = self.weighed_optima(price_ratio)?;
        disagreement(&weights, &optima)
    }

    /// The optimum at a price ratio averaged over the families that it may be read from, by their weights among themselves. `None` where a
    /// response is tested and not shown, or where families have no weights.
    #[must_use]
    pub fn averaged_optimum(&self, price_ratio: f64) -> Option<AveragedOptimum> {
        let (weights, optima) = self.weighed_optima(price_ratio)?;
        let averaged = averaged_optimum(&weights, &optima)?;
        let interval = match self.interval() {
            IntervalMethod::Bootstrap(how) => self.optimum_curve().map(|curve| {
                let estimate = Some(averaged.rate).filter(|_| averaged.status != OptimumStatus::BeforeFirstRate);
                let again = |resampled: &Observations| averaged_again(resampled, price_ratio);
                self.observations.bootstrap_with(curve, again, estimate, &how, self.level())
            }),
            IntervalMethod::Profile | IntervalMethod::Wald | IntervalMethod::Fieller => spanned(&weights, &optima),
        };
        Some(AveragedOptimum { interval, ..averaged })
    }

    fn weighed_optima(&self, price_ratio: f64) -> Option<(Weights, Vec<Optimum>)> {
        if self.detected() == Some(false) {
            return None;
        }
        let detected = self.detected() == Some(true);
        weighed(&self.fits, detected, |curve| self.observations.optimum(curve, price_ratio, self.level()))
    }
}

/// The families that an optimum may be read from: their weights among themselves, and the optimum of each.
fn weighed(fits: &[Fit], detected: bool, optimum: impl Fn(&Curve) -> Optimum) -> Option<(Weights, Vec<Optimum>)> {
    let fits = families_with_optimum(fits, detected);
    let curves = fits.iter().filter_map(Fit::curve).filter(|curve| curve.family != Family::Mean);
    Some((weights(&fits)?, curves.map(optimum).collect()))
}

/// The averaged optimum of resampled yields: every family fitted and weighed anew. Beyond any rate or below where it is only bounded; `None`
/// where no family has an optimum.
fn averaged_again(resampled: &Observations, price_ratio: f64) -> Option<f64> {
    let fits: Vec<Fit> = Family::ALL.iter().map(|family| resampled.fit(*family)).collect();
    // Its rate alone is wanted: an interval a replicate would be work for nothing.
    let (weights, optima) = weighed(&fits, true, |curve| {
        let (rate, status) = resampled.best_rate(curve, price_ratio);
        Optimum { rate: Some(rate), status, ..Optimum::not_estimable(curve.family, 0.0) }
    })?;
    let averaged = averaged_optimum(&weights, &optima)?;
    Some(match averaged.status {
        OptimumStatus::AtHighestTestedRate => f64::INFINITY,
        OptimumStatus::BeforeFirstRate => f64::NEG_INFINITY,
        _ => averaged.rate,
    })
}
