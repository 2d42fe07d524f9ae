//! The rate where the slope of a curve equals a ratio.

use super::curve::{Curve, Reach};
use super::family::Family;
use super::join::METHOD;
use super::observations::Observations;
use crate::stats::interval::Interval;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Two net values are the same if they differ by less than this, relative to their size.
const SAME_VALUE: f64 = 1e-12;

/// What kind of rate an optimum is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OptimumStatus {
    /// Inside the tested range, where the slope equals the ratio or the plateau begins.
    Interior,
    /// The lowest tested rate: nothing above it pays.
    AtZero,
    /// The highest tested rate: the best rate may lie beyond it.
    AtHighestTestedRate,
    /// Between the lowest and the second tested rate, where no plot tells rates apart: the rate is that of the widest such curve.
    BeforeFirstRate,
    /// The curve has no slope, so no response was shown.
    NotShown,
    /// There is no curve.
    NotEstimable,
}

/// The rate where the slope of a fitted curve equals a ratio, with its interval.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Optimum {
    /// The family of the curve.
    pub family: Family,
    /// The rate, in the rate unit, always inside the tested range; `None` where there is no curve.
    pub rate: Option<f64>,
    /// Its profile interval, given the family. Its ends may lie past the tested range; its estimate is the rate, or `None` where the
    /// data only bound it.
    pub interval: Interval,
    /// What kind of rate it is.
    pub status: OptimumStatus,
}

impl Optimum {
    /// The optimum of a family that the data do not determine.
    pub fn not_estimable(family: Family, level: f64) -> Self {
        let interval = Interval::not_computed(None, level, METHOD);
        Self { family, rate: None, interval, status: OptimumStatus::NotEstimable }
    }
}

impl Observations {
    /// The smallest rate in the tested range that maximises f(N) − `slope_ratio`·N, with its profile interval.
    ///
    /// `slope_ratio` is in yield units a rate unit, at least zero; zero asks for the agronomic optimum, where a plateau begins or a
    /// parabola peaks. The interval holds every rate θ ≥ 0 that is the smallest best rate of some curve of the family with RSS ≤
    /// RSSmin·(1 + F(level; 1, df)/df): plateau families rising, with the mean as their limit; the quadratic without upward
    /// curvature, which makes it Fieller's set where that is bounded. θ is not confined to the tested range; zero belongs to the
    /// interval if a curve whose initial slope is at most the ratio is under the cutoff. The upper end is open where a straight line at
    /// least as steep as the ratio is under it, the lower end where only the joins up to the second tested rate, which fit alike, bound
    /// it. `curve` must have been fitted to these observations.
    pub fn optimum(&self, curve: &Curve, slope_ratio: f64, level: f64) -> Optimum {
        let family = curve.family;
        if !slope_ratio.is_finite() || slope_ratio < 0.0 {
            return Optimum::not_estimable(family, level);
        }
        let (rate, status) = best_rate(curve, slope_ratio);
        let bounded_only = status == OptimumStatus::BeforeFirstRate;
        let estimate = (!bounded_only).then_some(rate);
        let interval = self.optimum_interval(curve, slope_ratio, level, estimate);
        Optimum { family, rate: Some(rate), interval, status }
    }
}

/// The smallest maximiser of f(N) − ratio·N over the tested range.
fn best_rate(curve: &Curve, ratio: f64) -> (f64, OptimumStatus) {
    let (low, high) = (curve.lowest_rate, curve.highest_rate);
    if curve.family == Family::Mean {
        return (low, OptimumStatus::NotShown);
    }
    let inside = |rate: f64| if rate > low && rate < high { rate } else { low };
    let candidates = [low, inside(slope_equals(curve, ratio)), inside(curve.implied_join().unwrap_or(low)), high];
    let net = |rate: f64| curve.value(rate) - ratio * rate;
    let best = candidates.iter().map(|rate| net(*rate)).fold(f64::NEG_INFINITY, f64::max);
    let close = |rate: &f64| net(*rate) >= best - SAME_VALUE * best.abs().max(net(low).abs());
    let rate = candidates.into_iter().filter(close).fold(high, f64::min);
    let status = if rate <= low {
        OptimumStatus::AtZero
    } else if rate >= high {
        OptimumStatus::AtHighestTestedRate
    } else if curve.reach == Some(Reach::BeforeFirstRate) {
        OptimumStatus::BeforeFirstRate
    } else {
        OptimumStatus::Interior
    };
    (rate, status)
}

/// Where the slope of the curve's parabola equals `ratio`; NaN or infinite without one.
fn slope_equals(curve: &Curve, ratio: f64) -> f64 {
    let c = &curve.coefficients;
    match (c.slope, c.curvature) {
        (Some(slope), Some(curvature)) => (ratio - slope) / (2.0 * curvature),
        _ => f64::NAN,
    }
}
