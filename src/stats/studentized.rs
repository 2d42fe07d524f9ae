//! What the survival function of a statistic becomes where its standard deviation is estimated, not known.
//!
//! With ν degrees of freedom the estimate over the truth is `s = √(χ²_ν/ν)`, and `P(Q > q) = ∫ f(s) P(W > q·s) ds`, W being the statistic
//! with the standard deviation known. Every term is positive, so nothing cancels and a probability of 1e-100 has as many digits as one of
//! one half. The integral is a sum over equal steps of t, `ln s = c + t + 1 − e^(−t)`: with that the integrand falls to nothing doubly
//! exponentially at both ends, and such a sum converges exponentially (Takahasi & Mori 1974, Publ. RIMS 9:721-741, from memory).

use super::distribution::{normal_quantile, t_quantile};
use super::root::bracketed_root;
use libm::erfc;
use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

/// Terms this small beside the sum of those before end it, because what follows falls faster still.
pub(super) const NEGLIGIBLE: f64 = 1e-18;
/// The widest step of t: the integrand is smooth in a strip about the real line, of which this is an eighth of the width.
const WIDEST_STEP: f64 = 0.1;
/// Steps to a standard deviation of the density of ln s. With these and the next, halving every step moves no probability by more than
/// 1e-13 of it, for 2 to 1000 means, λ up to 0.98 and 0.1 degrees of freedom upward.
const STEPS: f64 = 2.2;
/// Steps while the survival function falls to 1/e at its steepest.
const STEPS_A_FALL: f64 = 2.2;
/// What a probability carries of rounding, relatively: a search that went on within it would not end.
const ROUNDING: f64 = 4e-15;
/// What a quantile of t may be wrong by, relatively.
const BRACKET_MARGIN: f64 = 1e-6;

/// How the standard deviation was estimated, and the shape of the statistic's survival function where it is known.
pub(super) struct EstimatedError {
    /// ν, above 0; infinite where the standard deviation is known.
    pub df: f64,
    /// c in `P(W > w) ≈ exp(−c·w²)` far out.
    pub decay: f64,
    /// About where P(W > w) leaves 1.
    pub typical: f64,
    /// P(W > w) falls at most about as fast as `exp(−steepness·ln w)` where it leaves 1.
    pub steepness: f64,
}

impl EstimatedError {
    /// P(Q > q) from P(W > w), which is 1 at w = 0; `q` above 0.
    pub fn survival(&self, q: f64, known: impl Fn(f64) -> f64) -> f64 {
        let Self { df, decay, typical, steepness } = *self;
        if q == f64::INFINITY {
            return 0.0;
        }
        if df == f64::INFINITY {
            return known(q).min(1.0);
        }
        // Near the mode of the integrand over ln s: where the statistic's tail meets the density of s, but not where the statistic is
        // still sure to exceed.
        let tail = df.sqrt() / df.sqrt().hypot(q * (2.0 * decay).sqrt());
        let centre = tail.max((typical / q).min(1.0)).ln();
        let constant = log_density_at_one(df);
        // Over ln s the density has a standard deviation of 1/√(2ν). ln s moves by 2 for each t about the centre.
        let step = (0.5 / (STEPS * SQRT_2 * df.sqrt()).hypot(STEPS_A_FALL * steepness)).min(WIDEST_STEP);
        let sum = sum_outward(0, |i| {
            let t = f64::from(i) * step;
            let pull = (-t).exp_m1();
            let y = centre + t - pull;
            let density = (constant - 0.5 * df * excess_of_exp(2.0 * y)).exp() * (2.0 + pull);
            density * known(q * y.exp())
        });
        (step * sum).min(1.0)
    }
}

/// The q that the largest of `comparisons` statistics exceeds with probability `upper`, each of which is `scale` times a two-sided Student's
/// t with `df` degrees of freedom; `survival` is that of the largest.
pub(super) fn upper_quantile(
    upper: f64,
    df: f64,
    comparisons: f64,
    scale: f64,
    survival: impl Fn(f64) -> f64,
) -> Option<f64> {
    if !(upper > 0.0 && upper < 1.0) {
        return None;
    }
    let miss = |log_q: f64| {
        let miss = (survival(log_q.exp()) / upper).ln();
        if miss.abs() < ROUNDING { 0.0 } else { miss }
    };
    // One comparison exceeds at least as rarely as the largest, and the largest at most as often as the sum of all.
    let single = |upper: f64| {
        let t = if df == f64::INFINITY { normal_quantile(0.5 * upper) } else { t_quantile(0.5 * upper, df) };
        t.map(|t| (-scale * t).ln()).filter(|log_q| log_q.is_finite())
    };
    // On one degree of freedom or fewer our quantile of t is wrong far out, so no q may lie between; then all are looked at.
    let narrow = single(upper).zip(single(upper / comparisons));
    let root = narrow.and_then(|(low, high)| bracketed_root(miss, [low - BRACKET_MARGIN, high + BRACKET_MARGIN]));
    root.or_else(|| bracketed_root(miss, [f64::MIN_POSITIVE.ln(), f64::MAX.ln()])).map(f64::exp)
}

/// Σ f(i) over all whole numbers, outward from one near the largest term until terms no longer count.
pub(super) fn sum_outward(from: i32, f: impl Fn(i32) -> f64) -> f64 {
    let mut sum = 0.0;
    for i in from..=i32::MAX {
        let term = f(i);
        sum += term;
        if term.is_nan() || term <= NEGLIGIBLE * sum {
            break;
        }
    }
    for i in (i32::MIN..from).rev() {
        let term = f(i);
        sum += term;
        if term.is_nan() || term <= NEGLIGIBLE * sum {
            break;
        }
    }
    sum
}

/// The logarithm of the density of ln s at s = 1: `½ ln(ν/π) − δ(ν/2)`, δ being what Stirling's formula leaves of the logarithm of the
/// gamma function. Written so because ln Γ(ν/2) itself loses digits where ν is large.
fn log_density_at_one(df: f64) -> f64 {
    let mut x = 0.5 * df;
    let mut remainder = 0.0;
    // δ(x) − δ(x + 1) = (x + ½) ln(1 + 1/x) − 1, up to where the series is good to rounding.
    while x < 16.0 {
        remainder += (x + 0.5) * x.recip().ln_1p() - 1.0;
        x += 1.0;
    }
    let r = x.recip();
    let r2 = r * r;
    remainder += r * (1.0 / 12.0 - r2 * (1.0 / 360.0 - r2 * (1.0 / 1260.0 - r2 * (1.0 / 1680.0 - r2 / 1188.0))));
    0.5 * (df / PI).ln() - remainder
}

/// `e^x − 1 − x`, which is x²/2 at small x.
fn excess_of_exp(x: f64) -> f64 {
    if x.abs() > 0.05 {
        return x.exp_m1() - x;
    }
    let terms = [10.0, 9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0];
    0.5 * x * x * terms.iter().fold(1.0, |rest, n| 1.0 + rest * x / n)
}

/// The probability that a standard normal exceeds `x`, to rounding far into the tail and quickly.
pub(super) fn normal_upper(x: f64) -> f64 {
    0.5 * erfc(x * FRAC_1_SQRT_2)
}
