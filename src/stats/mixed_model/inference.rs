//! Contrasts of the fixed coefficients and F tests of several, with Satterthwaite's or Kenward and Roger's degrees of freedom.

use super::dense::{Matrix, eigen, inner};
use super::{DegreesOfFreedom, MixedModel};
use crate::stats::distribution::{f_survival, t_quantile, t_two_sided};

/// Eigenvalues of the contrasts' correlation matrix below this are rounding of zero: a row that others imply.
const DEPENDENT: f64 = 1e-10;
/// Degrees of freedom of independent contrasts that agree to this are one number.
const SAME_DF: f64 = 1e-8;

/// A contrast of the fixed coefficients.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contrast {
    /// The estimate.
    pub estimate: f64,
    /// Its standard error, after Kenward and Roger the corrected one.
    pub standard_error: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

impl Contrast {
    /// The two-sided probability under the hypothesis that the contrast is zero.
    pub fn p(&self) -> Option<f64> {
        t_two_sided(self.estimate / self.standard_error, self.df)
    }

    /// The interval at a confidence level.
    pub fn interval(&self, level: f64) -> Option<[f64; 2]> {
        let half = t_quantile(0.5 + 0.5 * level, self.df)? * self.standard_error;
        Some([self.estimate - half, self.estimate + half])
    }
}

/// An F test of the hypothesis that several contrasts are all zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FTest {
    /// F, after Kenward and Roger scaled.
    pub f: f64,
    /// Numerator degrees of freedom: contrasts that are independent.
    pub df1: f64,
    /// Denominator degrees of freedom.
    pub df2: f64,
    /// The probability of an F at least as large under the hypothesis.
    pub p: f64,
}

impl MixedModel {
    /// A contrast `Σ cᵢ·βᵢ` of the fixed coefficients.
    ///
    /// `None` where it is not estimable (it rests on columns that others span), is all zero, or the method does not give degrees of freedom:
    /// Kenward and Roger's needs restricted likelihood.
    pub fn contrast(&self, contrast: &[f64], method: DegreesOfFreedom) -> Option<Contrast> {
        let w = self.design.basis.whitened(contrast)?;
        let spread = self.curvature.covariance.form(&w, &w);
        if spread <= 0.0 {
            return None;
        }
        let (variance, df) = match method {
            DegreesOfFreedom::Satterthwaite => (spread, self.satterthwaite(&w, spread)),
            DegreesOfFreedom::KenwardRoger => {
                let corrected = self.corrected()?;
                (
                    corrected.covariance.form(&w, &w),
                    corrected.scaling(std::slice::from_ref(&w), &self.curvature.covariance)?.df,
                )
            }
        };
        let found = Contrast {
            estimate: inner(&w, &self.orthonormal()),
            standard_error: variance.sqrt() * self.design.unit,
            df,
        };
        (df > 0.0 && found.standard_error.is_finite()).then_some(found)
    }

    /// The F test that every contrast, one a row of `rows`, is zero. Rows that others imply count once. Where the rows have unequal degrees
    /// of freedom of their own, Satterthwaite's for all of them depend a little on the rows' scale beside each other, as published.
    ///
    /// `None` where a row is not estimable, all are zero, or the method gives no degrees of freedom.
    pub fn f_test(&self, rows: &[Vec<f64>], method: DegreesOfFreedom) -> Option<FTest> {
        let contrasts: Vec<Vec<f64>> = rows.iter().map(|row| self.design.basis.whitened(row)).collect::<Option<_>>()?;
        let independent = self.independent(&contrasts)?;
        let df1 = independent.len() as f64;
        let (f, df2) = match method {
            DegreesOfFreedom::Satterthwaite => {
                let estimates = self.orthonormal();
                let unit = self.design.unit;
                let squares = independent.iter().map(|(w, spread)| (inner(w, &estimates) / unit).powi(2) / spread);
                let df = independent.iter().map(|(w, spread)| self.satterthwaite(w, *spread)).collect::<Vec<_>>();
                (squares.sum::<f64>() / df1, together(&df))
            }
            DegreesOfFreedom::KenwardRoger => {
                let corrected = self.corrected()?;
                let rows: Vec<Vec<f64>> = independent.into_iter().map(|(w, _)| w).collect();
                let scaling = corrected.scaling(&rows, &self.curvature.covariance)?;
                let estimates = self.orthonormal();
                let values: Vec<f64> = rows.iter().map(|w| inner(w, &estimates) / self.design.unit).collect();
                (scaling.factor * corrected.quadratic(&rows, &values)? / df1, scaling.df)
            }
        };
        Some(FTest { f, df1, df2, p: f_survival(f, df1, df2)? })
    }

    /// Estimated coefficients of the orthonormal columns, in units of the response.
    pub(super) fn orthonormal(&self) -> Vec<f64> {
        let both = self.design.least_squares.iter().zip(&self.generalised);
        both.map(|(first, further)| first + further * self.design.unit).collect()
    }

    /// Contrasts with uncorrelated estimates that span the given ones, and the variance of each: the eigenvectors of their covariance
    /// matrix as it is (Fai & Cornelius 1996). How many are independent is counted with every row at unit variance, so that their units do
    /// not decide it.
    fn independent(&self, contrasts: &[Vec<f64>]) -> Option<Vec<(Vec<f64>, f64)>> {
        let covariance = &self.curvature.covariance;
        let count = contrasts.len();
        let mut products = Matrix::zeros(count, count);
        for (i, one) in contrasts.iter().enumerate() {
            for (j, other) in contrasts.iter().enumerate() {
                products.values[i * count + j] = covariance.form(one, other);
            }
        }
        let mut scaled = products.clone();
        for i in 0..count {
            for j in 0..count {
                let unit = (products.at(i, i) * products.at(j, j)).sqrt();
                scaled.values[i * count + j] = if unit > 0.0 { products.at(i, j) / unit } else { 0.0 };
            }
        }
        let rank = eigen(&scaled)?.0.iter().filter(|value| **value > DEPENDENT).count();
        let (values, vectors) = eigen(&products)?;
        let mut largest_first: Vec<usize> = (0..count).collect();
        largest_first.sort_by(|a, b| values[*b].total_cmp(&values[*a]));
        let mut independent = Vec::new();
        for i in largest_first.into_iter().take(rank) {
            let mut w = vec![0.0; self.design.rank()];
            for (weight, row) in vectors.row(i).iter().zip(contrasts) {
                super::dense::add_scaled(&mut w, *weight, row);
            }
            let spread = covariance.form(&w, &w);
            independent.push((w, spread));
        }
        (!independent.is_empty()).then_some(independent)
    }

    /// `2 v² / Var(v)` for the variance v of a contrast: its gradient by the factors is `Jᵀ(wᵀΦKᵣΦw)`, and the factors' covariance matrix
    /// is twice the inverse of the criterion's second derivatives. Around a variance of zero the gradient by its factor is zero, so that
    /// the term counts as not being there; R's lmerTest answers alike.
    fn satterthwaite(&self, w: &[f64], spread: f64) -> f64 {
        let along = self.curvature.covariance.times_vector(w);
        let by_variances: Vec<f64> = self.curvature.k.iter().map(|k| k.form(&along, &along)).collect();
        let by_factors = self.jacobian.transposed().times_vector(&by_variances);
        2.0 * spread * spread / self.factor_covariance.form(&by_factors, &by_factors)
    }
}

/// The denominator degrees of freedom of an F of q independent t² with degrees of freedom ν: those at which F has the mean
/// `Σ ν/(ν − 2)/q` (Fai & Cornelius 1996). 2 where a ν is at most 2, as in R's lmerTest.
fn together(df: &[f64]) -> f64 {
    let (low, high) = df.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
    if df.len() == 1 || high - low <= SAME_DF * high {
        return df.iter().sum::<f64>() / df.len() as f64;
    }
    if low <= 2.0 {
        return 2.0;
    }
    // Σ 2/(ν − 2), which is E − q without its cancellation.
    let excess: f64 = df.iter().map(|x| 2.0 / (x - 2.0)).sum();
    2.0 * (excess + df.len() as f64) / excess
}
