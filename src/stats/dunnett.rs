//! Several means against one: Dunnett's two-sided test (1955, J. Am. Stat. Assoc. 50:1096-1121, from memory).
//!
//! `Tᵢ = (mean i − mean 0)/√(s²(1/nᵢ + 1/n₀))` are correlated by `λᵢ·λⱼ` with `λᵢ = √(nᵢ/(nᵢ + n₀))`: √½ where replication is equal. With
//! the error known, and z the standardised error of mean 0, they are independent, so that
//! `P(max |T| > w) = ∫ φ(z) (1 − Π (1 − pᵢ(z))) dz`, `pᵢ(z) = Φ((λᵢz − w)/cᵢ) + Φ((−λᵢz − w)/cᵢ)`, `cᵢ² = 1 − λᵢ²`. As in
//! [`studentized_range`](super::studentized_range) no term is negative, and a sum over equal steps converges faster than exponentially.

use super::distribution::{normal_log_density, normal_quantile};
use super::studentized::{EstimatedError, normal_upper, upper_quantile};

/// The largest λ² that is taken: 10 000 times the replication of mean 0. Nearer to 1 the integrand has corners.
const LARGEST_SQUARE: f64 = 0.9999;
/// The step of z for one normal, in standard deviations.
const STEP: f64 = 0.75;
/// How far z is followed past the last place where it alone brings a T to w.
const REACH: f64 = 9.0;
/// A standard normal beyond this has a probability less than the least double.
const UNREACHABLE: f64 = 39.0;

/// P(max |Tᵢ| > t) for comparisons with one mean, `lambdas` having a λ for each and `df` degrees of freedom of error, which may be
/// fractional or infinite: the p of a comparison at |T| = t, adjusted for all of them.
///
/// Relative accuracy is 1e-12 or better, checked against 30-digit quadrature. 1 at or below t = 0; `None` without comparisons, for a λ that
/// is not a number or whose square is above 0.9999, degrees of freedom that are not above 0, or a t that is not a number. The
/// sign of a λ makes no difference.
pub fn dunnett_survival(t: f64, lambdas: &[f64], df: f64) -> Option<f64> {
    if t.is_nan() {
        return None;
    }
    ManyToOne::new(lambdas, df).map(|many| many.survival(t))
}

/// The t that max |Tᵢ| stays at or below with probability `p`: the table value for a test at level 1 − p; `None` unless 0 < p < 1, and
/// as for [`dunnett_survival`].
pub fn dunnett_quantile(p: f64, lambdas: &[f64], df: f64) -> Option<f64> {
    dunnett_quantile_upper(1.0 - p, lambdas, df)
}

/// The t that max |Tᵢ| exceeds with probability `upper`; `None` as for [`dunnett_quantile`].
pub fn dunnett_quantile_upper(upper: f64, lambdas: &[f64], df: f64) -> Option<f64> {
    let many = ManyToOne::new(lambdas, df)?;
    upper_quantile(upper, df, lambdas.len() as f64, 1.0, |t| many.survival(t))
}

/// Comparisons that share a λ.
struct Group {
    lambda: f64,
    /// √(1 − λ²).
    own: f64,
    comparisons: f64,
}

struct ManyToOne {
    groups: Vec<Group>,
    df: f64,
    step: f64,
    largest: f64,
    /// The median of max |T| if all T were independent.
    typical: f64,
}

impl ManyToOne {
    fn new(lambdas: &[f64], df: f64) -> Option<Self> {
        let are_fit = lambdas.iter().all(|lambda| lambda * lambda <= LARGEST_SQUARE);
        if lambdas.is_empty() || !are_fit || df.is_nan() || df < f64::MIN_POSITIVE {
            return None;
        }
        let mut sizes: Vec<f64> = lambdas.iter().map(|lambda| lambda.abs()).collect();
        sizes.sort_unstable_by(f64::total_cmp);
        let largest = *sizes.last()?;
        let group = |same: &[f64]| {
            let lambda = *same.first()?;
            Some(Group { lambda, own: (1.0 - lambda * lambda).sqrt(), comparisons: same.len() as f64 })
        };
        let groups: Vec<Group> = sizes.chunk_by(|a, b| a == b).filter_map(group).collect();
        // In z a comparison is a normal of standard deviation c/λ, and a product of them is as much narrower as their variances say.
        let sharpness: f64 = groups.iter().map(|group| group.comparisons * (group.lambda / group.own).powi(2)).sum();
        let single = -0.5 * (-std::f64::consts::LN_2 / lambdas.len() as f64).exp_m1();
        Some(Self { groups, df, step: STEP / (1.0 + sharpness).sqrt(), largest, typical: -normal_quantile(single)? })
    }

    fn survival(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 1.0;
        }
        let typical = self.typical;
        // Twice what exp(−w²/2) has there, for λ near 1, where two slopes meet.
        let steepness = 2.0 * typical * typical;
        EstimatedError { df: self.df, decay: 0.5, typical, steepness }.survival(t, |w| self.known_error(w))
    }

    /// P(max |T| > w).
    fn known_error(&self, w: f64) -> f64 {
        if w > UNREACHABLE {
            return 0.0;
        }
        let at = |z: f64| {
            let none: f64 = self.groups.iter().map(|group| group.comparisons * group.log_within(z, w)).sum();
            -normal_log_density(z).exp() * none.exp_m1()
        };
        let steps = ((self.largest * w + REACH) / self.step) as u32;
        // Even in z. The masses about λ·w are as many as there are λ, so every step is taken.
        let half: f64 = (1..=steps).map(|i| at(f64::from(i) * self.step)).sum();
        self.step * (at(0.0) + 2.0 * half)
    }
}

impl Group {
    /// The logarithm of the probability that one |T| is within w, given z.
    fn log_within(&self, z: f64, w: f64) -> f64 {
        let shift = self.lambda * z;
        let out = normal_upper((w - shift) / self.own) + normal_upper((w + shift) / self.own);
        (-out.min(1.0)).ln_1p()
    }
}
