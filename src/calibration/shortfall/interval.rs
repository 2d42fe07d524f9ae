//! The profile interval of the rate at an index.
//!
//! A rate v fixes c: with κ = r/2 and w the polynomial at the index, c = κ/(w − v). The residual sum of squares is then Syy + 2cB + c²A, a function
//! of the curve's numbers alone, and is searched on the same edges as the fit, each from where it was at the rate before.

use super::criterion::{Derived, Problem};
use super::newton::Local;
use super::search::{BELIEVED_TO, Curve, Objective, least_by};
use super::{NoShortfall, Shortfall, ShortfallData};
use crate::stats::distribution::f_quantile;
use crate::stats::interval::Interval;
use crate::stats::root::bracketed_root;

const METHOD: &str = "profile";
/// First step from the estimate, in highest topdress rates; each is so much longer than the one before.
const STEP: f64 = 0.01;
const LONGER: f64 = 1.5;

impl Shortfall {
    /// The interval of the rate at an index: all rates under which the model fits with a residual sum of squares of at most RSS·(1 + F(level; 1, df)/df),
    /// as for the optimum of a response curve. An end past what is [believed](NoShortfall::NeedBeyondTested) is open.
    ///
    /// It is of the model and of the plots' error: site-years that differ from each other by more than that make it too narrow, so that an interval
    /// [over site-years](crate::calibration::Resampled::rate_interval) is the one to print where there are enough. `data` and `weights` are those of the fit.
    ///
    /// # Errors
    /// [`NoShortfall`] where the data give no problem.
    pub fn rate_interval(
        &self,
        data: &ShortfallData,
        weights: Option<&[f64]>,
        index: f64,
        price_ratio: f64,
        level: f64,
    ) -> Result<Interval, NoShortfall> {
        let mut problem = Problem::new(data, self.model.nuisance, weights)?;
        problem.power = self.power;
        let estimate = Some(self.rate(index, price_ratio));
        let refuse = |reason: &str| Ok(Interval::refused(estimate, level, METHOD, reason));
        if !(price_ratio > 0.0 && price_ratio.is_finite()) {
            return refuse("the price ratio must be above 0");
        }
        let (low, high) = self.domain;
        if !(low..=high).contains(&index) {
            return refuse("the index lies outside those of the data");
        }
        let Some(f) = f_quantile(level, 1.0, self.df as f64) else {
            return refuse("the level must lie between 0 and 1");
        };
        let profile = Profile {
            problem: &problem,
            fit: self,
            z: (high - index) / (high - low),
            // A rate is in highest topdress rates here, and c in yield by a shortfall of as much.
            ratio: price_ratio * self.highest_topdress,
        };
        let cutoff = self.rss * (1.0 + f / self.df as f64);
        let loss = self.c * self.power.of(self.highest_topdress);
        let best = self.curve.value(profile.z) - self.power.worth_leaving(loss, profile.ratio);
        let lower = if best > 0.0 { profile.end(best, -STEP, 0.0, cutoff).unwrap_or(0.0) } else { 0.0 };
        let upper = profile.end(best, STEP, BELIEVED_TO, cutoff);
        let rate = |scaled: f64| scaled.max(0.0) * self.highest_topdress;
        Ok(Interval::between(estimate, Some(rate(lower)), upper.map(rate), level, METHOD))
    }
}

struct Profile<'p> {
    problem: &'p Problem,
    fit: &'p Shortfall,
    z: f64,
    ratio: f64,
}

impl Profile<'_> {
    /// The rate at which the profile crosses the cutoff, walking from the best; `None` where it does not up to `last`.
    fn end(&self, best: f64, first_step: f64, last: f64, cutoff: f64) -> Option<f64> {
        let (mut inside, mut from, mut step) = (best, self.fit.curve, first_step);
        loop {
            let outside = if step < 0.0 { (inside + step).max(last) } else { (inside + step).min(last) };
            let (rss, at) = self.least(outside, inside, from);
            if rss > cutoff {
                let crossing = |rate: f64| self.least(rate, inside, from).0 - cutoff;
                return bracketed_root(crossing, [inside, outside]);
            }
            if outside == last {
                return None;
            }
            (inside, from, step) = (outside, at, step * LONGER);
        }
    }

    /// The least residual sum of squares at a rate, with the curve; `from` is that of a rate nearby.
    fn least(&self, rate: f64, nearby: f64, from: Curve) -> (f64, Curve) {
        let at_rate = AtRate { rate, ratio: self.ratio, exponent: f64::from(self.fit.power.exponent()), z: self.z };
        // The same curve moved along with the rate keeps c, and so is always a start.
        let found = least_by(self.problem, self.fit.model, from, rate - nearby, &at_rate);
        found.map_or((f64::INFINITY, from), |(curve, fallen)| (self.problem.total + fallen, curve))
    }
}

/// 2cB + c²A where c follows from the rate at z.
struct AtRate {
    rate: f64,
    ratio: f64,
    exponent: f64,
    z: f64,
}

impl Objective for AtRate {
    fn z(&self) -> f64 {
        self.z
    }

    fn local<const K: usize>(&self, derived: &Derived<K>, need: f64, slopes: &[f64; K]) -> Option<Local<K>> {
        let above = need - self.rate;
        if above.is_nan() || above <= 0.0 {
            return None;
        }
        let Derived { sums, b1, a1, b2, a2, .. } = derived;
        let p = self.exponent;
        let c = self.ratio / (p * above.powf(p - 1.0));
        let c1: [f64; K] = std::array::from_fn(|i| (1.0 - p) * c / above * slopes[i]);
        let gradient = std::array::from_fn(|i| 2.0 * (c1[i] * (sums.b + c * sums.a) + c * b1[i]) + c * c * a1[i]);
        let hessian = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let c2 = p * (p - 1.0) * c / (above * above) * slopes[i] * slopes[j];
                let of_c = c2 * (sums.b + c * sums.a) + c1[i] * c1[j] * sums.a;
                let mixed = c1[i] * (b1[j] + c * a1[j]) + c1[j] * (b1[i] + c * a1[i]);
                2.0 * (of_c + mixed + c * b2[i][j]) + c * c * a2[i][j]
            })
        });
        let value = c * (2.0 * sums.b + c * sums.a);
        value.is_finite().then_some((value, gradient, hessian))
    }
}
