//! Least squares under the order "never rising": pool adjacent violators.
//!
//! Ayer et al. (1955), Annals of Mathematical Statistics 26:641-647. The minimiser of
//! `Σ wᵢ (vᵢ − fᵢ)²` over all `f₁ ≥ f₂ ≥ … ≥ fₙ` is found by merging neighbours that rise into their
//! weighted mean until none is left.

use thiserror::Error;

/// Why values can't be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum IsotonicError {
    /// One weight belongs to each value.
    #[error("{values} values but {weights} weights: give one weight a value")]
    Lengths {
        /// Number of values given.
        values: usize,
        /// Number of weights given.
        weights: usize,
    },
    /// A value that is not a number, or infinite.
    #[error("value {position} (from 0) is {value}: a finite number is needed")]
    Value {
        /// Position of the value, from 0.
        position: usize,
        /// The value as given.
        value: f64,
    },
    /// A weight that is negative, not a number, or infinite.
    #[error("weight {position} (from 0) is {weight}: a finite number of at least 0 is needed")]
    Weight {
        /// Position of the weight, from 0.
        position: usize,
        /// The weight as given.
        weight: f64,
    },
}

/// A run of neighbours that share one fitted value.
#[derive(Clone, Copy)]
struct Pool {
    value: f64,
    weight: f64,
    count: usize,
}

impl Pool {
    fn merged(self, next: Pool) -> Pool {
        let weight = self.weight + next.weight;
        let count = self.count + next.count;
        // Values without weight say nothing about the level: among themselves they count alike.
        let share = if weight > 0.0 { next.weight / weight } else { next.count as f64 / count as f64 };
        let value = self.value * (1.0 - share) + next.value * share;
        Pool {
            // Rounding must not push a mean out of the two it is the mean of.
            value: value.clamp(self.value.min(next.value), self.value.max(next.value)),
            weight,
            count,
        }
    }
}

/// The never-rising sequence nearest to `values` in weighted least squares.
///
/// `values` stand in the order of the index that they must not rise with; where several values have
/// the same index, average them first. `weights` are at least 0 and only their ratios matter; a value
/// with weight 0 takes part in the order but pulls nothing. The result has the length of `values`
/// (empty for empty), and a sequence that never rises is returned unchanged, bit for bit.
///
/// # Errors
/// [`IsotonicError`] if the lengths differ, a value is not finite, or a weight is negative or not
/// finite.
///
/// # Example
/// ```
/// let fitted = stook::stats::isotonic::non_increasing(&[100.0, 80.0, 85.0, 40.0], &[1.0; 4])?;
/// assert_eq!(fitted, [100.0, 82.5, 82.5, 40.0]);
/// # Ok::<(), stook::stats::isotonic::IsotonicError>(())
/// ```
pub fn non_increasing(values: &[f64], weights: &[f64]) -> Result<Vec<f64>, IsotonicError> {
    if values.len() != weights.len() {
        return Err(IsotonicError::Lengths { values: values.len(), weights: weights.len() });
    }
    if let Some((position, &value)) = values.iter().enumerate().find(|(_, v)| !v.is_finite()) {
        return Err(IsotonicError::Value { position, value });
    }
    let bad = |w: f64| !w.is_finite() || w < 0.0;
    if let Some((position, &weight)) = weights.iter().enumerate().find(|(_, w)| bad(**w)) {
        return Err(IsotonicError::Weight { position, weight });
    }
    // Weights near the largest f64 would overflow when they are summed.
    let largest = weights.iter().copied().fold(0.0, f64::max);
    let scale = if largest > 0.0 { largest } else { 1.0 };

    let mut pools: Vec<Pool> = Vec::with_capacity(values.len());
    for (&value, &weight) in values.iter().zip(weights) {
        let mut pool = Pool { value, weight: weight / scale, count: 1 };
        while let Some(&before) = pools.last() {
            if before.value >= pool.value {
                break;
            }
            pools.pop();
            pool = before.merged(pool);
        }
        pools.push(pool);
    }
    let runs = pools.iter().flat_map(|pool| std::iter::repeat_n(pool.value, pool.count));
    Ok(runs.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Sums of at most 40 numbers of the size of a rate.
    const ROUNDING: f64 = 1e-11;

    fn loss(values: &[f64], weights: &[f64], fitted: &[f64]) -> f64 {
        let pairs = values.iter().zip(fitted);
        weights.iter().zip(pairs).map(|(w, (v, f))| w * (v - f).powi(2)).sum()
    }

    /// The best never-rising fit is constant on consecutive runs, each at its run's mean: try every way
    /// to cut the sequence into runs.
    fn best_loss_by_brute_force(values: &[f64], weights: &[f64]) -> f64 {
        let n = values.len();
        let mut best = f64::INFINITY;
        for cuts in 0u32..1 << (n - 1) {
            let mut fitted = Vec::new();
            let mut start = 0;
            for end in 1..=n {
                if end == n || cuts >> (end - 1) & 1 == 1 {
                    let weight: f64 = weights[start..end].iter().sum();
                    let sum: f64 = (start..end).map(|i| weights[i] * values[i]).sum();
                    fitted.extend(std::iter::repeat_n(sum / weight, end - start));
                    start = end;
                }
            }
            if fitted.windows(2).all(|pair| pair[0] >= pair[1]) {
                best = best.min(loss(values, weights, &fitted));
            }
        }
        best
    }

    #[test]
    fn rising_neighbours_share_their_mean() {
        // By hand: 80 and 85 rise, as do 40 and 45; nothing else does.
        let fitted = non_increasing(&[100.0, 80.0, 85.0, 40.0, 45.0, 0.0], &[1.0; 6]).unwrap();
        assert_eq!(fitted, [100.0, 82.5, 82.5, 42.5, 42.5, 0.0]);
    }

    #[test]
    fn a_heavier_value_pulls_the_shared_mean_toward_itself() {
        let fitted = non_increasing(&[10.0, 20.0], &[3.0, 1.0]).unwrap();
        assert_eq!(fitted, [12.5, 12.5]);
    }

    #[test]
    fn a_value_without_weight_follows_the_others() {
        let fitted = non_increasing(&[10.0, 50.0, 8.0], &[1.0, 0.0, 1.0]).unwrap();
        assert_eq!(fitted, [10.0, 10.0, 8.0]);
        let fitted = non_increasing(&[1.0, 3.0, 2.0], &[0.0; 3]).unwrap();
        assert_relative_eq!(fitted[0], 2.0, max_relative = ROUNDING);
    }

    #[test]
    fn input_that_is_not_numbers_is_refused_with_its_place() {
        let refused = |values: &[f64], weights: &[f64]| non_increasing(values, weights).unwrap_err();
        assert!(matches!(refused(&[1.0, f64::NAN], &[1.0, 1.0]), IsotonicError::Value { position: 1, .. }));
        assert!(matches!(refused(&[1.0, 2.0], &[-1.0, 1.0]), IsotonicError::Weight { position: 0, .. }));
        assert!(matches!(refused(&[1.0], &[]), IsotonicError::Lengths { values: 1, weights: 0 }));
        assert_eq!(non_increasing(&[], &[]), Ok(vec![]));
    }

    #[test]
    fn forty_site_years_by_early_n_match_the_reference() {
        // Reference: R 4.2.2, pool adjacent violators checked there against stats::isoreg; an extract,
        // named in the file, of the N need of 40 made-up points in the order of their index.
        let text = include_str!("../../tests/reference/data/isotonic.json");
        let reference: serde_json::Value = serde_json::from_str(text).unwrap();
        for index in ["canopy", "leaf"] {
            let numbers = |key: &str| -> Vec<f64> { serde_json::from_value(reference[index][key].clone()).unwrap() };
            let need = numbers("need");
            let fitted = non_increasing(&need, &vec![1.0; need.len()]).unwrap();
            for (ours, theirs) in fitted.iter().zip(numbers("fitted")) {
                assert_relative_eq!(*ours, theirs, epsilon = ROUNDING, max_relative = ROUNDING);
            }
        }
    }

    proptest! {
        #[test]
        fn the_fit_never_rises_keeps_the_mean_and_stays_when_repeated(
            pairs in prop::collection::vec((-300.0..300.0, 0.0..9.0), 1..40)
        ) {
            let (values, weights): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
            let fitted = non_increasing(&values, &weights).unwrap();
            prop_assert!(fitted.windows(2).all(|pair| pair[0] >= pair[1]));
            let moment = |v: &[f64]| v.iter().zip(&weights).map(|(v, w)| v * w).sum::<f64>();
            let bound = ROUNDING * 300.0 * weights.iter().sum::<f64>();
            prop_assert!((moment(&values) - moment(&fitted)).abs() <= bound);
            prop_assert_eq!(non_increasing(&fitted, &weights).unwrap(), fitted);
        }

        #[test]
        fn no_other_never_rising_sequence_is_nearer(
            pairs in prop::collection::vec((-50.0..50.0, 0.1..5.0), 1..9)
        ) {
            let (values, weights): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
            let fitted = non_increasing(&values, &weights).unwrap();
            let best = best_loss_by_brute_force(&values, &weights);
            prop_assert!((loss(&values, &weights, &fitted) - best).abs() <= ROUNDING * (1.0 + best));
        }

        #[test]
        fn any_bits_at_all_give_a_fit_or_an_error(
            pairs in prop::collection::vec((any::<f64>(), any::<f64>()), 0..12)
        ) {
            let (values, weights): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
            if let Ok(fitted) = non_increasing(&values, &weights) {
                prop_assert!(fitted.iter().all(|value| value.is_finite()));
            }
        }
    }
}
