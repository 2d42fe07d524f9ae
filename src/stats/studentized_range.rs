//! The studentized range, for comparing every pair of means (Tukey 1953; Kramer 1956, Biometrics 12:307-310, both from memory).
//!
//! Q is the largest of k independent means less the smallest, over the standard error of one, estimated with ν degrees of freedom. With
//! the error known, `P(W > w) = k ∫ φ(z) Φ(z)^(k−1) (1 − (1 − Φ(z − w)/Φ(z))^(k−1)) dz`: z is the largest, and of the others, all below it,
//! not all lie within w. No term is negative, so upper tails keep their digits. A sum over equal steps of z converges faster
//! than exponentially here, because the integrand has no singularity anywhere in the complex plane.
//!
//! For two unequally replicated means, q is |difference| over √(error mean square × mean of 1/n₁ and 1/n₂): √2 times Student's t.

use super::distribution::{normal_log_density, normal_quantile};
use super::studentized::{EstimatedError, NEGLIGIBLE, normal_upper, sum_outward, upper_quantile};
use std::f64::consts::{LN_2, SQRT_2};

/// The lowest z that is looked at: two normals both lie below it once in 1e38.
const LOWEST: f64 = -9.0;
/// The highest: beyond it a density is less than the least double.
const HIGHEST: f64 = 38.0;
/// A range of known error beyond this has a probability less than the least double.
const UNREACHABLE: f64 = 60.0;
/// The step of z for a single normal, in standard deviations; the largest of k needs √k times as many.
const STEP: f64 = 0.75;
/// Past this many means steps grow no finer: the largest spreads as 1/√(2 ln k), which these still resolve.
const MOST_RESOLVED: f64 = 1000.0;

/// P(Q > q) for the studentized range of `means` means with `df` degrees of freedom, which may be fractional or infinite.
///
/// Relative accuracy is 1e-12 or better down to 1e-100, checked against 30-digit quadrature for 2 to 100 means and 0.5 to 1e6 degrees of
/// freedom. 1 at or below q = 0; `None` for fewer than two means, degrees of freedom that are not above 0, or a q that is not a number.
pub fn studentized_range_survival(q: f64, means: usize, df: f64) -> Option<f64> {
    if q.is_nan() {
        return None;
    }
    StudentizedRange::new(means, df).map(|range| range.survival(q))
}

/// The q that the studentized range stays at or below with probability `p`: the table value for a test at level 1 − p.
///
/// `None` unless 0 < p < 1, at least two means and degrees of freedom above 0. Where p is so close to 1 that 1 − p has few
/// digits, use [`studentized_range_quantile_upper`]; below about p = 1e-4 digits are lost.
pub fn studentized_range_quantile(p: f64, means: usize, df: f64) -> Option<f64> {
    studentized_range_quantile_upper(1.0 - p, means, df)
}

/// The q that the studentized range exceeds with probability `upper`; `None` as for [`studentized_range_quantile`].
pub fn studentized_range_quantile_upper(upper: f64, means: usize, df: f64) -> Option<f64> {
    let range = StudentizedRange::new(means, df)?;
    // One pair exceeds at least as rarely as any of all pairs, and all of them together at most as often as the sum of each.
    let pairs = 0.5 * range.means * (range.means - 1.0);
    upper_quantile(upper, df, pairs, SQRT_2, |q| range.survival(q))
}

/// What a number of means needs once, for any q.
struct StudentizedRange {
    means: f64,
    df: f64,
    step: f64,
    /// The density of the largest of the means at each step.
    density: Vec<f64>,
    /// Φ at each step.
    below: Vec<f64>,
    /// The median of the largest.
    median: f64,
}

impl StudentizedRange {
    fn new(means: usize, df: f64) -> Option<Self> {
        if means < 2 || df.is_nan() || df < f64::MIN_POSITIVE {
            return None;
        }
        let k = means as f64;
        let step = STEP / k.min(MOST_RESOLVED).sqrt();
        let places = (0..).map(|i| LOWEST + f64::from(i) * step).take_while(|z| *z < HIGHEST);
        let (density, below) = places
            .map(|z| {
                let below = normal_upper(-z);
                (k * (normal_log_density(z) + (k - 1.0) * (-normal_upper(z)).ln_1p()).exp(), below)
            })
            .unzip();
        let median = -normal_quantile(-(-LN_2 / k).exp_m1())?;
        Some(Self { means: k, df, step, density, below, median })
    }

    fn survival(&self, q: f64) -> f64 {
        if q <= 0.0 {
            return 1.0;
        }
        let typical = 2.0 * self.median;
        // As exp(−w²/4) does at the typical range.
        let steepness = 0.5 * typical * typical;
        EstimatedError { df: self.df, decay: 0.25, typical, steepness }.survival(q, |w| self.known_error(w))
    }

    /// P(W > w).
    fn known_error(&self, w: f64) -> f64 {
        if w > UNREACHABLE {
            return 0.0;
        }
        // The others all lie in an interval of length w, where the density is below 0.4.
        if self.means * (0.4 * w).powf(self.means - 1.0) < NEGLIGIBLE {
            return 1.0;
        }
        // The mass lies where the largest does, but no lower than half of w.
        let from = (self.median.max(0.5 * w) - LOWEST) / self.step;
        self.step
            * sum_outward(from as i32, |i| {
                let at = usize::try_from(i).ok();
                let Some((density, below)) = at.and_then(|at| self.density.get(at).zip(self.below.get(at))) else {
                    return 0.0;
                };
                let out = normal_upper(w - (LOWEST + f64::from(i) * self.step)) / below;
                -density * ((self.means - 1.0) * (-out.min(1.0)).ln_1p()).exp_m1()
            })
    }
}
