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
    use approx::assert_relative_eq;

    #[test]
    fn pairs_lie_equally_far_from_their_median_and_tell_nothing() {
        assert_eq!(brown_forsythe(&[1.0, 2.0, 1.0, 9.0], &[0, 0, 1, 1]), None);
        assert_eq!(brown_forsythe(&[1.0, 2.0, 4.0], &[0, 0, 0]), None);
        assert_eq!(brown_forsythe(&[4.0; 6], &[0, 0, 0, 1, 1, 1]), None);
        assert_eq!(brown_forsythe(&[1.0, 2.0], &[usize::MAX, 0]), None);
    }

    /// R 4.2.2: `y <- c(4.1, 5, 3.7, 4.4, 6.2, 9.1, 7.7, 5, 8.4, 3, 3.3, 2.9, 10.2, 4.4, 8.1, 12.5); g <- factor(rep(0:3, c(4, 5, 3, 4)))`.
    const VALUES: [f64; 16] = [4.1, 5.0, 3.7, 4.4, 6.2, 9.1, 7.7, 5.0, 8.4, 3.0, 3.3, 2.9, 10.2, 4.4, 8.1, 12.5];
    const GROUPS: [usize; 16] = [0, 0, 0, 0, 1, 1, 1, 1, 1, 2, 2, 2, 3, 3, 3, 3];
    /// The same sums in another order.
    const CLOSED_FORM: f64 = 1e-12;

    #[test]
    fn levene_is_the_analysis_of_variance_of_distances_from_means() {
        // anova(lm(abs(y - ave(y, g)) ~ g))
        let found = levene(&VALUES, &GROUPS).unwrap();
        assert_relative_eq!(found.f, 4.46722569043623, max_relative = CLOSED_FORM);
        assert_relative_eq!(found.p, 0.02511644281250864, max_relative = CLOSED_FORM);
        assert_eq!((found.df, found.error_df), (3, 12));
    }

    #[test]
    fn bartlett_is_that_of_r_from_values_and_from_mean_squares() {
        // bartlett.test(y, g); tapply(y, g, var)
        let variances = [(0.3, 3.0), (2.777, 4.0), (0.13 / 3.0, 2.0), (35.5 / 3.0, 3.0)];
        let found = bartlett(&variances).unwrap();
        assert_relative_eq!(found.chi_square, 12.99928701618249, max_relative = CLOSED_FORM);
        assert_relative_eq!(found.p, 0.004638147560069918, max_relative = CLOSED_FORM);
        assert_eq!(found.df, 3);
        // bartlett.test(yy, gg), yy made to have these variances: mk <- function(v, n) scale(seq_len(n)^1.5)[, 1] * sqrt(v);
        // yy <- unlist(Map(mk, ms, df + 1)); gg <- factor(rep(1:4, df + 1))
        let found = bartlett(&[(6.2, 15.0), (11.9, 12.0), (9.8, 18.0), (31.4, 9.0)]).unwrap();
        assert_relative_eq!(found.chi_square, 8.478822381699112, max_relative = CLOSED_FORM);
        assert_relative_eq!(found.p, 0.03708611512945328, max_relative = CLOSED_FORM);
    }

    #[test]
    fn variances_in_another_unit_are_as_equal() {
        let stretched = |by: f64| bartlett(&[(6.2 * by, 15.0), (11.9 * by, 12.5)]).unwrap().chi_square;
        assert_relative_eq!(stretched(1e-200), stretched(1e200), max_relative = CLOSED_FORM);
        let equal = bartlett(&[(0.1, 3.0), (0.1, 5.0), (0.1, 9.0)]).unwrap();
        assert!(equal.chi_square < CLOSED_FORM && equal.p > 1.0 - CLOSED_FORM);
    }

    #[test]
    fn a_variance_of_nothing_is_not_compared() {
        assert_eq!(bartlett(&[(2.0, 5.0)]), None);
        for unfit in [(0.0, 5.0), (-1.0, 5.0), (2.0, 0.0), (f64::NAN, 5.0), (2.0, f64::INFINITY)] {
            assert_eq!(bartlett(&[(3.0, 8.0), unfit]), None);
        }
        assert_eq!(levene(&[1.0, 2.0, 1.0, 9.0], &[0, 0, 1, 1]), None);
    }
}
