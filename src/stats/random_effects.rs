//! The mean of units that differ among themselves, each known with an error of its own.
//!
//! `yᵢ ~ N(mean, τ² + vᵢ)`: vᵢ is the variance within unit i, which is known, τ² the variance between units, which is not. A y is exact, or
//! known only to lie within limits, of which one or both may be infinite.
//!
//! - Where every y is exact, τ² is estimated by restricted maximum likelihood. The mean has the interval of Knapp and Hartung (2003,
//!   Stat. Med. 22:2693-2710, from memory): its variance is scaled by the weighted residual mean square, here never by less than 1
//!   (Röver, Knapp & Friede 2015, BMC Med. Res. Methodol. 15:99, from memory), and it is Student's t with k − 1 degrees of freedom. τ has
//!   the interval whose ends make Cochran's Q equal to quantiles of χ² (the Q-profile; Viechtbauer 2007, Stat. Med. 26:37-52, from memory).
//! - Otherwise both are estimated by maximum likelihood, a unit within limits adding the logarithm of the probability between them.
//!   Mean and τ have profile-likelihood intervals. With few units χ² would make that of the mean too short: its cutoff is k·ln(1 + t²/(k − 1)),
//!   t the quantile of Student's t with k − 1 degrees of freedom, which is the usual t interval where all y are exact and the vᵢ equal. In k
//!   an exact unit counts 1, a bounded one the share of an exact one's information about the mean that it keeps, 1 − Var(z) of the
//!   standard normal z within its limits. An interval of the mean takes a k of 2, a prediction a k of 3.
//!
//! The prediction interval of a new unit's own y, free of the error within it, is mean ± t·√(τ² + SE²) with k − 2 degrees of
//! freedom (Higgins, Thompson & Spiegelhalter 2009, J. R. Stat. Soc. A 172:137-159, from memory).
//!
//! Both likelihoods are searched over all of τ² ≥ 0: the mean is solved for at each τ², where the log-likelihood is concave in it, and
//! every bend of what is left is bracketed. τ² = 0 is an ordinary answer.

mod likelihood;

use super::distribution::{chi_square_quantile, t_quantile};
use super::interval::Interval;
use super::root::falling_root;
use likelihood::{Likelihood, range};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// What is known of a unit's y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Known {
    /// y itself.
    Exact(f64),
    /// y lies between these; either may be infinite.
    Between {
        /// The lower limit.
        low: f64,
        /// The upper limit.
        high: f64,
    },
}

/// A unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// What is known of its y.
    pub known: Known,
    /// The variance of y within the unit, above 0, in squared units of y.
    pub within: f64,
}

/// How the variance between units is estimated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Estimation {
    /// Restricted maximum likelihood.
    Reml,
    /// Maximum likelihood, with the probability between the limits of each unit that is not exact.
    MlIntervalCensored,
}

impl Estimation {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Reml => "reml",
            Self::MlIntervalCensored => "ml-interval-censored",
        }
    }
}

/// How far exact units differ beyond their errors.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Heterogeneity {
    /// Cochran's Q: Σ (y − weighted mean)²/v with weights 1/v.
    pub q: f64,
    /// Its degrees of freedom, k − 1: what Q is on average where units differ by their errors alone.
    pub df: usize,
    /// The share (Q − df)/Q of the variation that is not error, never below 0 (Higgins & Thompson 2002, Stat. Med. 21:1539-1558, from
    /// memory).
    pub i_squared: f64,
}

/// The mean of units and how they spread about it.
#[derive(Clone, Debug, PartialEq)]
pub struct RandomEffects {
    /// What estimated them.
    pub estimation: Estimation,
    /// The mean.
    pub mean: Interval,
    /// τ, the standard deviation between units.
    pub between: Interval,
    /// Heterogeneity; `None` where a unit is not exact, which Q can't take in.
    pub heterogeneity: Option<Heterogeneity>,
    /// Where a new unit's y would lie.
    pub prediction: Interval,
    /// The restricted log-likelihood, or the log-likelihood, at its largest.
    pub log_likelihood: f64,
    /// Units whose y is exact.
    pub exact: usize,
    /// Units whose y is known within limits.
    pub bounded: usize,
}

/// Why there is no mean.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum RandomEffectsError {
    /// A mean of units needs two.
    #[error("{units} of which something is known: a mean of units that differ needs 2")]
    TooFew {
        /// Units of which something is known.
        units: usize,
    },
    /// Every unit is bounded.
    #[error("none of {bounded} is known exactly: limits alone don't tell how far they differ")]
    NoExact {
        /// Units known within limits.
        bounded: usize,
    },
    /// A value, variance, limit or level that makes no sense.
    #[error("unit {unit} (from 0) {what}")]
    Invalid {
        /// Position of the unit.
        unit: usize,
        /// What is wrong with it.
        what: &'static str,
    },
    /// The level is not between 0 and 1.
    #[error("a level lies between 0 and 1")]
    Level,
    /// Errors so small next to the differences, or so unequal, that their squares do not fit into one sum.
    #[error("the variances within units and the range of the values are too far apart to be added")]
    TooFarApart,
}

/// Squares this far apart leave nothing of the smaller one; they come from units that are not measured alike.
const FARTHEST_APART: f64 = 1e24;

/// The mean of units, how they spread about it, and where a new one would lie, with intervals at `level`.
///
/// # Errors
/// [`RandomEffectsError`] where fewer than two units are known or none exactly, or numbers make no sense.
///
/// # Example
/// ```
/// use stook::stats::random_effects::{Known, Unit, random_effects};
/// let unit = |y: f64| Unit { known: Known::Exact(y), within: 25.0 };
/// let found = random_effects(&[unit(80.0), unit(100.0), unit(120.0)], 0.95)?;
/// assert_eq!(found.mean.estimate, Some(100.0));
/// // The variance of the three is 400, of which 25 is error.
/// assert!((found.between.estimate.unwrap_or(0.0) - 375_f64.sqrt()).abs() < 1e-9);
/// # Ok::<(), stook::stats::random_effects::RandomEffectsError>(())
/// ```
pub fn random_effects(units: &[Unit], level: f64) -> Result<RandomEffects, RandomEffectsError> {
    check(units, level)?;
    let exact = units.iter().filter(|unit| matches!(unit.known, Known::Exact(_))).count();
    let bounded = units.len() - exact;
    let likelihood = Likelihood { units };
    let grid = likelihood.grid();
    if bounded == 0 {
        Ok(reml(likelihood, &grid, level))
    } else {
        Ok(maximum_likelihood(likelihood, &grid, exact, level))
    }
}

fn check(units: &[Unit], level: f64) -> Result<(), RandomEffectsError> {
    if !(level > 0.0 && level < 1.0) {
        return Err(RandomEffectsError::Level);
    }
    for (position, unit) in units.iter().enumerate() {
        let invalid = |what| Err(RandomEffectsError::Invalid { unit: position, what });
        if !(unit.within > 0.0 && unit.within.is_finite()) {
            return invalid("has a variance that is no finite number above 0");
        }
        match unit.known {
            Known::Exact(y) if !y.is_finite() => return invalid("has a value that is no finite number"),
            Known::Between { low, high } if !(low < high && low < f64::INFINITY && high > f64::NEG_INFINITY) => {
                return invalid("has limits with nothing between them");
            }
            _ => {}
        }
    }
    let says_something = |unit: &&Unit| !matches!(unit.known, Known::Between { low, high } if low == f64::NEG_INFINITY && high == f64::INFINITY);
    let known = units.iter().filter(says_something).count();
    if known < 2 {
        return Err(RandomEffectsError::TooFew { units: known });
    }
    if !units.iter().any(|unit| matches!(unit.known, Known::Exact(_))) {
        return Err(RandomEffectsError::NoExact { bounded: units.len() });
    }
    let smallest = units.iter().map(|unit| unit.within).fold(f64::INFINITY, f64::min);
    let largest = units.iter().map(|unit| unit.within).fold(0.0, f64::max);
    let spread = range(units);
    // Not finite where the square overflows.
    let apart = (spread * spread).max(largest) / smallest;
    if apart > FARTHEST_APART || !apart.is_finite() || !(spread * spread * FARTHEST_APART.sqrt()).is_finite() {
        return Err(RandomEffectsError::TooFarApart);
    }
    Ok(())
}

/// All exact.
fn reml(likelihood: Likelihood<'_>, grid: &[f64], level: f64) -> RandomEffects {
    let units = likelihood.units;
    let count = units.len();
    let (between, log_likelihood) = Likelihood::best_between(grid, |between| likelihood.restricted(between));
    let mean = likelihood.best_mean(between);
    let q_at = |between: f64| cochran_q(units, likelihood.best_mean(between), between);
    let df = (count - 1) as f64;
    let weights: f64 = units.iter().map(|unit| 1.0 / (unit.within + between)).sum();
    let standard_error = ((cochran_q(units, mean, between) / df).max(1.0) / weights).sqrt();
    let half = t_of(level, df).map(|t| t * standard_error);
    let q = q_at(0.0);
    RandomEffects {
        estimation: Estimation::Reml,
        mean: around(mean, half, level, "knapp-hartung"),
        between: q_profile(grid, q_at, between, df, level),
        heterogeneity: Some(Heterogeneity { q, df: count - 1, i_squared: if q > df { (q - df) / q } else { 0.0 } }),
        prediction: prediction(mean, between, standard_error, count as f64, level),
        log_likelihood,
        exact: count,
        bounded: 0,
    }
}

/// Cochran's Q with weights 1/(v + τ²).
fn cochran_q(units: &[Unit], mean: f64, between: f64) -> f64 {
    let part = |unit: &Unit| match unit.known {
        Known::Exact(y) => (y - mean).powi(2) / (unit.within + between),
        Known::Between { .. } => 0.0,
    };
    units.iter().map(part).sum()
}

/// The variances between that make Q neither too large nor too small; Q falls as the variance grows. Both ends are 0 where Q is too
/// small even there.
fn q_profile(grid: &[f64], q_at: impl Fn(f64) -> f64, between: f64, df: f64, level: f64) -> Interval {
    let estimate = Some(between.sqrt());
    let limit = |probability: f64| {
        let wanted = chi_square_quantile(probability, df)?;
        Some(last_above(grid, |between| q_at(between) - wanted).map_or(0.0, f64::sqrt))
    };
    match (limit(0.5 * (1.0 + level)), limit(0.5 * (1.0 - level))) {
        (Some(low), Some(high)) => Interval::between(estimate, Some(low), Some(high), level, "q-profile"),
        _ => Interval::not_computed(estimate, level, "q-profile"),
    }
}

/// Where a function of the variance between falls through 0 for the last time; `None` where it is nowhere above 0 on the grid. The grid
/// is continued as long as the function is above 0 at its end.
fn last_above(grid: &[f64], f: impl Fn(f64) -> f64) -> Option<f64> {
    let last = grid.iter().rposition(|between| f(*between) > 0.0)?;
    let from = grid.get(last).copied()?;
    let mut to = grid.get(last + 1).copied().unwrap_or(4.0 * from);
    while f(to) > 0.0 {
        to *= 4.0;
        if !to.is_finite() {
            return None;
        }
    }
    Some(falling_root(f, from, to))
}

fn maximum_likelihood(likelihood: Likelihood<'_>, grid: &[f64], exact: usize, level: f64) -> RandomEffects {
    let (between, log_likelihood) = Likelihood::best_between(grid, |between| likelihood.profile(between));
    let mean = likelihood.best_mean(between);
    let standard_error = 1.0 / likelihood.at(mean, between).bend.sqrt();
    let count = likelihood.count(mean, between);
    RandomEffects {
        estimation: Estimation::MlIntervalCensored,
        mean: profile_of_mean(likelihood, grid, (mean, standard_error, log_likelihood), count, level),
        between: profile_of_between(likelihood, grid, between, log_likelihood, level),
        heterogeneity: None,
        prediction: prediction(mean, between, standard_error, count, level),
        log_likelihood,
        exact,
        bounded: likelihood.units.len() - exact,
    }
}

/// Name of intervals from the profile of a likelihood.
const PROFILE: &str = "profile-likelihood";

fn profile_of_mean(
    likelihood: Likelihood<'_>,
    grid: &[f64],
    (mean, standard_error, best): (f64, f64, f64),
    count: f64,
    level: f64,
) -> Interval {
    let none = Interval::not_computed(Some(mean), level, PROFILE);
    let Some(t) = t_of(level, count - 1.0) else { return none };
    let allowed = 0.5 * count * (t * t / (count - 1.0)).ln_1p();
    // Steps outward, each a half longer than the last, until the likelihood has fallen too far; the end lies in the last one.
    let end = |side: f64| {
        let above = |distance: f64| likelihood.profile_of_mean(grid, mean + side * distance) - best + allowed;
        let mut near = 0.0;
        let mut step = standard_error;
        for _ in 0..STEPS {
            let far = near + step;
            if above(far) <= 0.0 {
                return Some(mean + side * falling_root(above, near, far));
            }
            (near, step) = (far, 1.5 * step);
        }
        None
    };
    Interval::between(Some(mean), end(-1.0), end(1.0), level, PROFILE)
}

/// Steps outward from a mean: 1.5 to this power is beyond any double.
const STEPS: usize = 1_000;

fn profile_of_between(likelihood: Likelihood<'_>, grid: &[f64], between: f64, best: f64, level: f64) -> Interval {
    let estimate = Some(between.sqrt());
    let Some(allowed) = chi_square_quantile(level, 1.0) else {
        return Interval::not_computed(estimate, level, PROFILE);
    };
    let above = |between: f64| likelihood.profile(between).0 - best + 0.5 * allowed;
    let first = grid.iter().position(|node| *node >= between || above(*node) > 0.0);
    let low = match first {
        None | Some(0) => 0.0,
        Some(inside) => {
            let ends = (
                grid.get(inside - 1).copied().unwrap_or(0.0),
                grid.get(inside).map_or(between, |node| node.min(between)),
            );
            // Upside down it rises, so it is searched with its ends exchanged.
            -falling_root(|minus| above(-minus), -ends.1, -ends.0)
        }
    };
    let high = last_above(grid, above).unwrap_or(between);
    Interval::between(estimate, Some(low.max(0.0).sqrt()), Some(high.max(between).sqrt()), level, PROFILE)
}

fn prediction(mean: f64, between: f64, standard_error: f64, count: f64, level: f64) -> Interval {
    let t = t_of(level, count - 2.0);
    around(mean, t.map(|t| t * (between + standard_error.powi(2)).sqrt()), level, "t")
}

/// The two-sided quantile of Student's t; `None` below 1 degree of freedom, where it says nothing.
fn t_of(level: f64, df: f64) -> Option<f64> {
    if df >= 1.0 { t_quantile(0.5 * (1.0 + level), df) } else { None }
}

/// An interval of equal halves; not computed where there are none.
fn around(middle: f64, half: Option<f64>, level: f64, method: &str) -> Interval {
    match half {
        Some(half) => Interval::between(Some(middle), Some(middle - half), Some(middle + half), level, method),
        None => Interval::not_computed(Some(middle), level, method),
    }
}

#[cfg(test)]
mod tests;
