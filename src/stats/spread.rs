//! Whether groups of values spread alike.

use super::distribution::{chi_square_survival, f_survival};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A test of equal spread.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpreadTest {
    /// Mean square of the distances among groups over that within them.
    pub f: f64,
    /// Groups minus one.
    pub df: usize,
    /// Values minus groups.
    pub error_df: usize,
    /// The probability of an F at least as large if all groups spread alike.
    pub p: f64,
}

/// Distances whose sum of squares within groups is this little of that of all are equal but for rounding.
const NO_SPREAD: f64 = 1e-20;

/// Tests whether groups spread alike by an analysis of variance of the distances from the group medians (Brown & Forsythe 1974, J. Am.
/// Stat. Assoc. 69:364-367, from memory; Levene's test with medians). `group_of[i]` in 0 … groups − 1 is the group of `values[i]`.
///
/// `None` for fewer than two groups, where no group has three values (two lie equally far from their median, so nothing is left to
/// compare with), for values that are not finite, or where distances do not vary within groups.
pub fn brown_forsythe(values: &[f64], group_of: &[usize]) -> Option<SpreadTest> {
    compare_distances(values, group_of, median)
}

/// Levene's own test: that of [`brown_forsythe`] with distances from the group means (Levene 1960, from memory). The more powerful where
/// values are normal, the less reliable where they are skewed.
pub fn levene(values: &[f64], group_of: &[usize]) -> Option<SpreadTest> {
    compare_distances(values, group_of, |group| Some(mean(group)))
}

fn compare_distances(values: &[f64], group_of: &[usize], centre: impl Fn(&[f64]) -> Option<f64>) -> Option<SpreadTest> {
    if values.len() != group_of.len() || !values.iter().all(|value| value.is_finite()) {
        return None;
    }
    let mut groups: Vec<Vec<f64>> = Vec::new();
    for (value, group) in values.iter().zip(group_of) {
        if *group >= groups.len() {
            groups.resize_with(group.checked_add(1)?.min(values.len()), Vec::new);
        }
        groups.get_mut(*group)?.push(*value);
    }
    groups.retain(|group| !group.is_empty());
    if groups.len() < 2 || groups.iter().all(|group| group.len() < 3) {
        return None;
    }
    for group in &mut groups {
        let centre = centre(group)?;
        group.iter_mut().for_each(|value| *value = (*value - centre).abs());
    }
    let grand = groups.iter().flatten().sum::<f64>() / values.len() as f64;
    let squares = |values: &[f64], centre: f64| values.iter().map(|value| (value - centre).powi(2)).sum::<f64>();
    let among: f64 = groups.iter().map(|group| group.len() as f64 * (mean(group) - grand).powi(2)).sum();
    let within: f64 = groups.iter().map(|group| squares(group, mean(group))).sum();
    let all: f64 = groups.iter().map(|group| squares(group, 0.0)).sum();
    if within <= NO_SPREAD * all {
        return None;
    }
    let (df, error_df) = (groups.len() - 1, values.len() - groups.len());
    let f = (among / df as f64) / (within / error_df as f64);
    Some(SpreadTest { f, df, error_df, p: f_survival(f, df as f64, error_df as f64)? })
}

/// A test of equal variances.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VarianceTest {
    /// Bartlett's χ², corrected for few degrees of freedom.
    pub chi_square: f64,
    /// Variances minus one.
    pub df: usize,
    /// The probability of a χ² at least as large if all variances are equal.
    pub p: f64,
}

/// Bartlett's test of equal variances (1937, Proc. R. Soc. A 160:268-282, from memory), each a mean square and its degrees of freedom: of
/// groups of values, or of the errors of several trials. It takes the values to be normal, and finds unequal variances where they are not.
///
/// `None` for fewer than two variances, or unless each of them and each of their degrees of freedom is above 0 and finite.
pub fn bartlett(variances: &[(f64, f64)]) -> Option<VarianceTest> {
    let is_fit = |number: f64| number.is_finite() && number > 0.0;
    if variances.len() < 2 || !variances.iter().all(|(mean_square, df)| is_fit(*mean_square) && is_fit(*df)) {
        return None;
    }
    let total: f64 = variances.iter().map(|(_, df)| df).sum();
    let pooled = variances.iter().map(|(mean_square, df)| mean_square * (df / total)).sum::<f64>();
    let likelihood_ratio: f64 = variances.iter().map(|(mean_square, df)| -df * (mean_square / pooled).ln()).sum();
    let df = variances.len() - 1;
    let reciprocals: f64 = variances.iter().map(|(_, df)| df.recip()).sum();
    let correction = 1.0 + (reciprocals - total.recip()) / (3.0 * df as f64);
    // Equal variances can come out a rounding below 0.
    let chi_square = (likelihood_ratio / correction).max(0.0);
    Some(VarianceTest { chi_square, df, p: chi_square_survival(chi_square, df as f64)? })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The middle value, or the mean of the two.
fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let upper = sorted.get(sorted.len() / 2)?;
    if sorted.len() % 2 == 1 {
        return Some(*upper);
    }
    Some(0.5 * (sorted.get(sorted.len() / 2 - 1)? + upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_lie_equally_far_from_their_median_and_tell_nothing() {
        assert_eq!(brown_forsythe(&[1.0, 2.0, 1.0, 9.0], &[0, 0, 1, 1]), None);
        assert_eq!(brown_forsythe(&[1.0, 2.0, 4.0], &[0, 0, 0]), None);
        assert_eq!(brown_forsythe(&[4.0; 6], &[0, 0, 0, 1, 1, 1]), None);
        assert_eq!(brown_forsythe(&[1.0, 2.0], &[usize::MAX, 0]), None);
    }
}
