//! The rate where the slope of a curve equals a ratio.

use super::curve::{Curve, Reach};
use super::family::Family;
use super::join::METHOD;
use super::method::{IntervalMethod, Quantity};
use super::observations::Observations;
use super::{exponential_rise, quadratic, square_root};
use crate::stats::interval::{Interval, Limits};
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
    /// Rate 0: nothing above it pays.
    AtZero,
    /// The highest tested rate: the best rate may lie beyond it.
    AtHighestTestedRate,
    /// Below the first rate that tells rates apart, so the rate is an upper bound. Where the yields rise wholly before the second tested
    /// rate, every join there fits alike, and the rate is the highest that is best under any of them. Where no plot had rate 0 and nothing
    /// above the lowest tested rate pays, it is that rate.
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
    /// Its interval, given the family. Its ends may lie past the tested range; its estimate is the rate, or `None` where the
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
    /// it, or where no plot had rate 0 and the lowest tested rate belongs to it. `curve` must have been fitted to these observations.
    pub fn optimum(&self, curve: &Curve, slope_ratio: f64, level: f64) -> Optimum {
        self.optimum_by(curve, slope_ratio, IntervalMethod::Profile, level)
    }

    /// As [`optimum`](Self::optimum), with an interval by another method: see [`wald`](Self::wald), which is not computed where the
    /// optimum is an end or a bound, and [`fieller`](Self::fieller). Both may hold rates below zero.
    pub fn optimum_by(&self, curve: &Curve, slope_ratio: f64, method: IntervalMethod, level: f64) -> Optimum {
        let family = curve.family;
        if !slope_ratio.is_finite() || slope_ratio < 0.0 {
            return Optimum::not_estimable(family, level);
        }
        let (rate, status) = self.best_rate(curve, slope_ratio);
        let estimate = (status != OptimumStatus::BeforeFirstRate).then_some(rate);
        let mut interval = match method {
            IntervalMethod::Profile => self.optimum_interval(curve, slope_ratio, level, estimate),
            IntervalMethod::Wald => self.wald_reported(curve, Quantity::Optimum { slope_ratio }, estimate, level),
            IntervalMethod::Fieller => self.fieller_reported(curve, slope_ratio, estimate, level),
            IntervalMethod::Bootstrap(how) => {
                self.bootstrap(curve, Quantity::Optimum { slope_ratio }, estimate, &how, level)
            }
        };
        if interval.limits == Limits::NotComputed && interval.reason.is_none() {
            interval.reason = Some(self.why_no_interval(curve).to_owned());
        }
        Optimum { family, rate: Some(rate), interval, status }
    }

    fn why_no_interval(&self, curve: &Curve) -> &'static str {
        if curve.family == Family::Mean {
            "the mean has no slope"
        } else if curve.df == 0 || self.is_rounding(curve.rss) {
            self.why_no_error(curve)
        } else {
            "the curve bends upward, and none that bends downward fits nearly as well"
        }
    }

    /// The smallest maximiser of f(N) − ratio·N over the tested range, or the bound that the data set it: the rate and status of
    /// [`optimum`](Self::optimum) without its interval. `ratio` is finite and at least zero.
    pub fn best_rate(&self, curve: &Curve, ratio: f64) -> (f64, OptimumStatus) {
        let (low, high) = (curve.lowest_rate, curve.highest_rate);
        if curve.reach == Some(Reach::BeforeFirstRate) {
            return (self.highest_early_optimum(curve, ratio), OptimumStatus::BeforeFirstRate);
        }
        match best_tested(curve, ratio) {
            _ if curve.family == Family::Mean => (low, OptimumStatus::NotShown),
            rate if rate <= low && low > 0.0 => (low, OptimumStatus::BeforeFirstRate),
            rate if rate <= low => (low, OptimumStatus::AtZero),
            rate if rate >= high => (high, OptimumStatus::AtHighestTestedRate),
            rate => (rate, OptimumStatus::Interior),
        }
    }

    /// The highest best rate of the curves that join up to the second tested rate, which fit alike.
    ///
    /// With the rise d to the plateau and the join x above the lowest rate, a linear-plateau is best at its join as long as d > r·x; a
    /// quadratic-plateau at x − r·x²/(2d) above the lowest rate, which is largest at x = d/r.
    fn highest_early_optimum(&self, curve: &Curve, ratio: f64) -> f64 {
        let low = curve.lowest_rate;
        let second = self.rates().get(1).copied().unwrap_or(curve.highest_rate);
        let rise = curve.value(curve.highest_rate) - curve.value(low);
        // A rise of nothing but rounding pays nowhere.
        let pays = if ratio > 0.0 { (rise / ratio).max(0.0) } else { f64::INFINITY };
        let join = if pays >= second - low { second } else { low + pays };
        let bent = curve.family == Family::QuadraticPlateau && rise > 0.0;
        if bent { join - ratio * (join - low).powi(2) / (2.0 * rise) } else { join }
    }
}

impl Curve {
    /// The smallest maximiser of f(N) − ratio·N over the tested range, of the curve as it is reported: also where other curves fit alike, so
    /// that [`Observations::best_rate`] is a bound. `ratio` is finite and at least zero.
    #[must_use]
    pub fn best_tested_rate(&self, ratio: f64) -> f64 {
        best_tested(self, ratio)
    }
}

/// The smallest maximiser of f(N) − ratio·N over the tested range, as the curve is.
fn best_tested(curve: &Curve, ratio: f64) -> f64 {
    let (low, high) = (curve.lowest_rate, curve.highest_rate);
    let inside = |rate: f64| if rate > low && rate < high { rate } else { low };
    let candidates = [low, inside(slope_equals(curve, ratio)), inside(curve.implied_join().unwrap_or(low)), high];
    let net = |rate: f64| curve.value(rate) - ratio * rate;
    let best = candidates.iter().map(|rate| net(*rate)).fold(f64::NEG_INFINITY, f64::max);
    let close = |rate: &f64| net(*rate) >= best - SAME_VALUE * best.abs().max(net(low).abs());
    candidates.into_iter().filter(close).fold(high, f64::min)
}

/// Where the slope of a curve that bends equals `ratio`; NaN or infinite where it does nowhere.
fn slope_equals(curve: &Curve, ratio: f64) -> f64 {
    let c = &curve.coefficients;
    match curve.family {
        Family::Mean | Family::Linear | Family::LinearPlateau => f64::NAN,
        Family::Quadratic | Family::QuadraticPlateau => quadratic::slope_equals(c, ratio),
        Family::SquareRoot => square_root::slope_equals(c, ratio),
        Family::ExponentialRise => exponential_rise::slope_equals(c, ratio),
    }
}
