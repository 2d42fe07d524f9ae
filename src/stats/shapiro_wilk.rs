//! The Shapiro–Wilk test of normality.

use super::distribution::{normal_quantile, normal_survival};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The test for one sample.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShapiroWilk {
    /// W: 1 where the sample lies on a normal line, less the further it is from one.
    pub w: f64,
    /// The probability of a W at most as large if the sample is normal.
    pub p: f64,
}

/// Fewest and most values of a sample that the approximation was made for.
const SIZES: std::ops::RangeInclusive<usize> = 3..=5000;
/// A sample whose range is this little of its size is one value and rounding.
const NO_RANGE: f64 = 1e-13;

/// Tests whether a sample is normal, by Royston's approximation of W and of its distribution (Royston 1995, Appl. Stat. 44:547-551,
/// algorithm AS R94; coefficients from memory, checked against R).
///
/// `None` for fewer than 3 or more than 5000 values, values that are not finite, or values that do not differ.
pub fn shapiro_wilk(sample: &[f64]) -> Option<ShapiroWilk> {
    let n = sample.len();
    if !SIZES.contains(&n) || !sample.iter().all(|value| value.is_finite()) {
        return None;
    }
    let mut sorted = sample.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let (lowest, highest) = (*sorted.first()?, *sorted.last()?);
    let range = highest - lowest;
    // Also false for a range that overflows.
    if !(range > NO_RANGE * lowest.abs().max(highest.abs()) && range.is_finite()) {
        return None;
    }
    let half = weights(n)?;
    // Antisymmetric: the smallest value has minus the weight of the largest.
    let weight = |i: usize| match (half.get(i), half.get(n - 1 - i)) {
        (Some(weight), None) => -weight,
        (None, Some(weight)) => *weight,
        _ => 0.0,
    };
    let centre = sorted.iter().map(|value| value / range).sum::<f64>() / n as f64;
    let (mut along, mut weights_ss, mut values_ss) = (0.0, 0.0, 0.0);
    for (i, value) in sorted.iter().enumerate() {
        let (a, x) = (weight(i), value / range - centre);
        along += a * x;
        weights_ss += a * a;
        values_ss += x * x;
    }
    // 1 − W without the loss of digits of a difference of nearly equal numbers.
    let root = (weights_ss * values_ss).sqrt();
    let missing = ((root - along) * (root + along) / (weights_ss * values_ss)).max(0.0);
    let w = 1.0 - missing;
    Some(ShapiroWilk { w, p: probability(w, missing, n) })
}

/// The weights of the lower half of the ordered sample, as positive numbers.
fn weights(n: usize) -> Option<Vec<f64>> {
    if n == 3 {
        return Some(vec![0.5_f64.sqrt()]);
    }
    let size = n as f64;
    let score = |i: usize| normal_quantile((i as f64 + 0.625) / (size + 0.25)).map(|score| -score);
    let scores: Vec<f64> = (0..n / 2).map(score).collect::<Option<_>>()?;
    let squares = 2.0 * scores.iter().map(|score| score * score).sum::<f64>();
    let (length, root) = (squares.sqrt(), 1.0 / size.sqrt());
    let corrected =
        |position: usize, coefficients: &[f64]| Some(scores.get(position)? / length + polynomial(coefficients, root));
    // The outermost weight is corrected, in samples of more than five the one beside it too; the rest keep the proportions of scores.
    let mut outer = vec![corrected(0, &[0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056])?];
    if n > 5 {
        outer.push(corrected(1, &[0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633])?);
    }
    let sum = |values: &[f64]| values.iter().take(outer.len()).map(|value| 2.0 * value * value).sum::<f64>();
    let factor = ((squares - sum(&scores)) / (1.0 - sum(&outer))).sqrt();
    let inner = scores.iter().skip(outer.len()).map(|score| score / factor);
    Some(outer.iter().copied().chain(inner).collect())
}

/// The probability of a W at most as large; `missing` is 1 − W.
fn probability(w: f64, missing: f64, n: usize) -> f64 {
    let size = n as f64;
    if n == 3 {
        // Exact: 6/π·(asin √W − asin √¾).
        let p = 6.0 / std::f64::consts::PI * (w.max(0.0).sqrt().asin() - 0.75_f64.sqrt().asin());
        return p.clamp(0.0, 1.0);
    }
    let y = missing.max(f64::MIN_POSITIVE).ln();
    if n <= 11 {
        let limit = polynomial(&[-2.273, 0.459], size);
        if y >= limit {
            return 0.0;
        }
        let mean = polynomial(&[0.544, -0.39978, 0.025054, -6.714e-4], size);
        let deviation = polynomial(&[1.3822, -0.77857, 0.062767, -0.0020322], size).exp();
        return normal_survival((-(limit - y).ln() - mean) / deviation);
    }
    let log = size.ln();
    let mean = polynomial(&[-1.5861, -0.31082, -0.083751, 0.0038915], log);
    let deviation = polynomial(&[-0.4803, -0.082676, 0.0030302], log).exp();
    normal_survival((y - mean) / deviation)
}

/// Coefficients ascending.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_sample_has_no_test() {
        for sample in
            [&[1.0, 2.0][..], &[4.0; 7], &[1.0, f64::NAN, 2.0, 3.0], &[1.0, f64::INFINITY, 2.0], &[-1e308, 0.0, 1e308]]
        {
            assert_eq!(shapiro_wilk(sample), None, "{sample:?}");
        }
    }

    #[test]
    fn three_values_at_equal_distance_are_as_normal_as_can_be() {
        let test = shapiro_wilk(&[7.0, 5.0, 6.0]).unwrap();
        assert!((test.w - 1.0).abs() < 1e-12 && (test.p - 1.0).abs() < 1e-6, "{test:?}");
    }
}
