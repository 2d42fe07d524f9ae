//! The curve that an optimum is read from, with what it was fitted to: all that an optimum at another price ratio needs.

use super::Response;
use super::evidence::GroupEvidence;
use crate::response::{Curve, DataError, Observations, Optimum, OptimumStatus};
use crate::stats::distribution::t_quantile;
use crate::stats::interval::Limits;
use crate::stats::random_effects::Known;

/// A curve, its observations, and whether they show a response.
#[derive(Clone, Debug)]
pub struct OptimumCurve {
    /// The observations, reduced.
    pub observations: Observations,
    /// The curve fitted to them.
    pub curve: Curve,
    /// Whether a response is detected; `None` where it cannot be tested.
    pub detected: Option<bool>,
}

/// What is known of an optimum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownOptimum {
    /// The rate, or between which rates it lies.
    pub known: Known,
    /// The variance of a rate that is known, in squared rate units; `None` where only limits are.
    pub variance: Option<f64>,
}

impl OptimumCurve {
    /// The curve that a group's evidence names, fitted to its observations; `None` where it is not estimable.
    ///
    /// # Errors
    /// What the observations lack.
    pub fn of_evidence(evidence: &GroupEvidence) -> Result<Option<Self>, DataError> {
        let observations = Observations::new(&evidence.rates, &evidence.yields, evidence.blocks.as_deref())?;
        let fit = observations.fit(evidence.family);
        let curve = fit.curve().cloned();
        Ok(curve.map(|curve| Self { curve, detected: evidence.detected, observations }))
    }

    /// The optimum at a price ratio with its profile interval, and whether there is a response. Where one is tested and not detected the
    /// rate is the lowest tested, *not shown*, with the curve's interval.
    #[must_use]
    pub fn optimum(&self, price_ratio: f64, level: f64) -> (Option<Response>, Optimum) {
        let optimum = self.observations.optimum(&self.curve, price_ratio, level);
        let highest = optimum.interval.high;
        judged(&self.curve, self.detected, optimum, highest)
    }

    /// What is known of the optimum at a price ratio: the rate where both limits of its profile interval are computed, with half the
    /// interval over Student's t for a standard error (the upper half where the lower limit is 0, which cuts an interval short); its
    /// interval where a limit is open, where it is in pieces, or where a response is not shown; the highest tested rate or more where
    /// the optimum is not reached; the rate or less where it is only a bound from above, and where nothing pays.
    ///
    /// # Errors
    /// Why nothing is known of it.
    pub fn known_optimum(&self, price_ratio: f64, level: f64) -> Result<KnownOptimum, String> {
        let (_, optimum) = self.optimum(price_ratio, level);
        known_of(&optimum, self.curve.df)
    }
}

/// An optimum once a response was tested. `highest` is the upper limit of its profile, from which it is read whether a gain could pay: the
/// answer is then one, whichever interval is asked for.
pub(super) fn judged(
    curve: &Curve,
    detected: Option<bool>,
    mut optimum: Optimum,
    highest: Option<f64>,
) -> (Option<Response>, Optimum) {
    let pays_nowhere = highest.is_some_and(|high| high <= curve.lowest_rate);
    let response = detected.map(|detected| match (detected, pays_nowhere) {
        (true, _) => Response::Detected,
        (false, true) => Response::Negligible,
        (false, false) => Response::NotDetected,
    });
    if matches!(response, Some(Response::Negligible | Response::NotDetected)) {
        optimum.rate = Some(curve.lowest_rate);
        optimum.status = OptimumStatus::NotShown;
        // Where no plot had rate 0 the lowest tested rate is a bound.
        optimum.interval.estimate = Some(curve.lowest_rate).filter(|rate| *rate == 0.0);
    }
    (response, optimum)
}

/// What an optimum with its profile interval tells, on `df` degrees of freedom of error; see [`OptimumCurve::known_optimum`].
///
/// # Errors
/// Why nothing is known of it.
fn known_of(optimum: &Optimum, df: usize) -> Result<KnownOptimum, String> {
    let Some(rate) = optimum.rate else { return Err("there is no optimum".to_owned()) };
    let interval = &optimum.interval;
    // A curve that is steeper the more N there is has no interval of its best rate, but that is not within the tested ones.
    let beyond = optimum.status == OptimumStatus::AtHighestTestedRate && df > 0;
    if interval.limits == Limits::NotComputed && !beyond {
        let reason = optimum.interval.reason.as_deref().unwrap_or("the data give none");
        return Err(format!("its optimum has no interval: {reason}"));
    }
    let within = |low: f64, high: f64| {
        let bounded = KnownOptimum { known: Known::Between { low, high }, variance: None };
        if low < high { Ok(bounded) } else { Err("its interval has no width".to_owned()) }
    };
    let low = interval.low.filter(|low| *low > 0.0);
    let by_limits = || within(low.unwrap_or(f64::NEG_INFINITY), interval.high.unwrap_or(f64::INFINITY));
    match optimum.status {
        OptimumStatus::AtHighestTestedRate => within(rate, f64::INFINITY),
        OptimumStatus::BeforeFirstRate | OptimumStatus::AtZero => within(f64::NEG_INFINITY, rate),
        OptimumStatus::NotShown | OptimumStatus::NotEstimable => by_limits(),
        OptimumStatus::Interior => match (standard_error(optimum, rate, df), interval.limits) {
            (Some(error), Limits::Both) => {
                Ok(KnownOptimum { known: Known::Exact(rate), variance: Some(error * error) })
            }
            _ => by_limits(),
        },
    }
}

/// Half the interval over Student's t; the upper half where the lower limit is 0. `None` where that is no number above 0.
fn standard_error(optimum: &Optimum, rate: f64, df: usize) -> Option<f64> {
    let (low, high) = (optimum.interval.low?, optimum.interval.high?);
    let half = if low > 0.0 { 0.5 * (high - low) } else { high - rate };
    let error = half / t_quantile(0.5 * (1.0 + optimum.interval.level), df as f64)?;
    (error > 0.0 && error.is_finite()).then_some(error)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Family;
    use crate::stats::interval::Interval;

    fn optimum(rate: f64, ends: [Option<f64>; 2], status: OptimumStatus) -> Optimum {
        let interval = Interval::between(Some(rate), ends[0], ends[1], 0.95, "profile");
        Optimum { family: Family::Quadratic, rate: Some(rate), interval, status }
    }

    fn known(rate: f64, ends: [Option<f64>; 2], status: OptimumStatus) -> Known {
        known_of(&optimum(rate, ends, status), 20).unwrap().known
    }

    #[test]
    fn an_optimum_between_two_limits_has_a_standard_error() {
        // t(.975, 20) = 2.085963447.
        let found = known_of(&optimum(90.0, [Some(70.0), Some(130.0)], OptimumStatus::Interior), 20).unwrap();
        assert_eq!(found.known, Known::Exact(90.0));
        approx::assert_relative_eq!(found.variance.unwrap().sqrt(), 30.0 / 2.085_963_447, max_relative = 1e-9);
        // A lower limit of 0 is where the interval was cut.
        let cut = known_of(&optimum(40.0, [Some(0.0), Some(70.0)], OptimumStatus::Interior), 20).unwrap();
        approx::assert_relative_eq!(cut.variance.unwrap().sqrt(), 30.0 / 2.085_963_447, max_relative = 1e-9);
    }

    #[test]
    fn bounds_stay_bounds() {
        let at_most = |high| Known::Between { low: f64::NEG_INFINITY, high };
        let at_least = |low| Known::Between { low, high: f64::INFINITY };
        assert_eq!(known(120.0, [Some(88.0), None], OptimumStatus::AtHighestTestedRate), at_least(120.0));
        assert_eq!(known(40.0, [Some(0.0), Some(79.0)], OptimumStatus::BeforeFirstRate), at_most(40.0));
        assert_eq!(known(0.0, [Some(0.0), Some(12.0)], OptimumStatus::AtZero), at_most(0.0));
        assert_eq!(known(0.0, [Some(0.0), Some(38.0)], OptimumStatus::NotShown), at_most(38.0));
        assert_eq!(known(79.0, [Some(57.0), None], OptimumStatus::Interior), at_least(57.0));
    }

    #[test]
    fn an_optimum_without_an_interval_is_only_known_to_lie_beyond_the_tested_rates() {
        let mut beyond = optimum(120.0, [None, None], OptimumStatus::AtHighestTestedRate);
        beyond.interval = Interval::not_computed(Some(120.0), 0.95, "profile");
        let at_least = Known::Between { low: 120.0, high: f64::INFINITY };
        assert_eq!(known_of(&beyond, 20).unwrap().known, at_least);
        // Without error nothing is known, nor is anything of a rate inside.
        assert!(known_of(&beyond, 0).is_err());
        assert!(known_of(&Optimum { status: OptimumStatus::Interior, ..beyond }, 20).is_err());
    }
}
