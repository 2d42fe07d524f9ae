//! Needs explained by several columns at once, each site-year with the same weight.
//!
//! The solver is linfa-linear's: a Householder QR in f64, which neither pivots nor tells a column that follows from the others. So it
//! gets columns that are centred at their weighted means and of length 1, and only after `stats::least_squares` has found them all
//! to matter.

use linfa::Dataset;
use linfa::traits::Fit as _;
use linfa_linear::LinearRegression;
use ndarray::{Array1, Array2, ShapeBuilder as _};

use crate::stats::least_squares::Factor;

/// A column whose spread is this little of its size holds one number, but for rounding.
const CONSTANT: f64 = 1e-12;

/// Why columns do not explain needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotExplained {
    /// A column holds one number.
    #[error("a feature has the same value in every row")]
    Constant,
    /// A column follows from the others, or there are too few rows.
    #[error("a feature follows from the others, or there are fewer rows than coefficients")]
    Dependent,
}

/// need = intercept + Σ coefficient · feature.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Explained {
    pub(super) intercept: f64,
    pub(super) coefficients: Vec<f64>,
}

impl Explained {
    /// Weighted least squares of `needs` on `columns`; all have one length, and weights are positive.
    pub(super) fn fit(columns: &[Vec<f64>], needs: &[f64], weights: &[f64]) -> Result<Self, NotExplained> {
        let total: f64 = weights.iter().sum();
        let mean =
            |values: &[f64]| values.iter().zip(weights).map(|(value, weight)| value * weight).sum::<f64>() / total;
        let centred = |values: &[f64], middle: f64| -> Vec<f64> {
            values.iter().zip(weights).map(|(value, weight)| (value - middle) * weight.sqrt()).collect()
        };
        let length = |values: &[f64]| values.iter().map(|value| value * value).sum::<f64>().sqrt();
        let mut scaled = Vec::with_capacity(columns.len());
        let mut middles_and_lengths = Vec::with_capacity(columns.len());
        for column in columns {
            let middle = mean(column);
            let mut own = centred(column, middle);
            let spread = length(&own);
            if spread <= CONSTANT * length(&centred(column, 0.0)) {
                return Err(NotExplained::Constant);
            }
            own.iter_mut().for_each(|value| *value /= spread);
            scaled.push(own);
            middles_and_lengths.push((middle, spread));
        }
        let needed = mean(needs);
        if columns.is_empty() {
            return Ok(Self { intercept: needed, coefficients: Vec::new() });
        }
        let rank = Factor::new(&scaled, needs.len()).map_or(0, |factor| factor.rank());
        // Centring has taken one of the rows.
        if rank < columns.len() || needs.len() <= columns.len() {
            return Err(NotExplained::Dependent);
        }
        let solved = solve(&scaled, centred(needs, needed)).ok_or(NotExplained::Dependent)?;
        let coefficients: Vec<f64> =
            solved.iter().zip(&middles_and_lengths).map(|(found, (_, spread))| found / spread).collect();
        let at_middle: f64 =
            coefficients.iter().zip(&middles_and_lengths).map(|(coefficient, (middle, _))| coefficient * middle).sum();
        Ok(Self { intercept: needed - at_middle, coefficients })
    }

    /// The need at features.
    pub(super) fn need(&self, features: &[f64]) -> f64 {
        self.intercept
            + self.coefficients.iter().zip(features).map(|(coefficient, value)| coefficient * value).sum::<f64>()
    }
}

/// Least squares without an intercept.
fn solve(columns: &[Vec<f64>], response: Vec<f64>) -> Option<Vec<f64>> {
    let shape = (response.len(), columns.len()).f();
    let records = Array2::from_shape_vec(shape, columns.concat()).ok()?;
    let fitted =
        LinearRegression::new().with_intercept(false).fit(&Dataset::new(records, Array1::from(response))).ok()?;
    Some(fitted.params().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::least_squares;
    use approx::assert_relative_eq;

    /// Columns that only just differ, of very different size, far from zero.
    fn ill_conditioned() -> (Vec<Vec<f64>>, Vec<f64>) {
        let rows = 0..24;
        let index: Vec<f64> = rows.clone().map(|row| 0.70 + 0.012 * f64::from(row)).collect();
        let other: Vec<f64> =
            index.iter().zip(rows.clone()).map(|(x, row)| x + 1e-5 * f64::from(row * row % 7)).collect();
        let stand: Vec<f64> = rows.clone().map(|row| 4e6 + 1e3 * f64::from(row * 5 % 11)).collect();
        let needs = rows.map(|row| 90.0 - 3.0 * f64::from(row) + f64::from(row * row * row % 13)).collect();
        (vec![index, other, stand], needs)
    }

    #[test]
    fn coefficients_agree_with_pivoted_least_squares_to_the_digits_that_the_columns_carry() {
        let (columns, needs) = ill_conditioned();
        let weights: Vec<f64> = (0..needs.len()).map(|row| if row % 3 == 0 { 0.25 } else { 1.0 }).collect();
        let found = Explained::fit(&columns, &needs, &weights).expect("full rank");
        let roots: Vec<f64> = weights.iter().map(|weight| weight.sqrt()).collect();
        let times_root =
            |values: &[f64]| -> Vec<f64> { values.iter().zip(&roots).map(|(value, root)| value * root).collect() };
        // The intercept as a column of its own.
        let mut design = vec![roots.clone()];
        design.extend(columns.iter().map(|column| times_root(column)));
        let other = least_squares::solve(&design, &times_root(&needs)).expect("finite");
        // Columns that differ by 1e-5 of their size: the condition number of 2e5 takes five digits, the intercept's column one more.
        assert_relative_eq!(found.intercept, other.coefficients[0].expect("full rank"), max_relative = 1e-9);
        for (own, other) in found.coefficients.iter().zip(&other.coefficients[1..]) {
            assert_relative_eq!(*own, other.expect("full rank"), max_relative = 1e-9);
        }
    }

    #[test]
    fn a_column_that_follows_from_others_is_refused() {
        let (mut columns, needs) = ill_conditioned();
        let weights = vec![1.0; needs.len()];
        columns[1] = columns[0].iter().map(|x| 3.0 * x - 1.0).collect();
        assert_eq!(Explained::fit(&columns, &needs, &weights), Err(NotExplained::Dependent));
        columns[1] = vec![0.1; needs.len()];
        assert_eq!(Explained::fit(&columns, &needs, &weights), Err(NotExplained::Constant));
        let few = [vec![0.7, 0.8], vec![1.0, 3.0]];
        assert_eq!(Explained::fit(&few, &[1.0, 2.0], &[1.0, 1.0]), Err(NotExplained::Dependent));
    }

    #[test]
    fn without_a_column_the_need_is_the_weighted_mean() {
        let found = Explained::fit(&[], &[10.0, 20.0, 60.0], &[0.5, 0.5, 1.0]).expect("a mean");
        assert_eq!(found.need(&[]), 37.5);
    }
}
