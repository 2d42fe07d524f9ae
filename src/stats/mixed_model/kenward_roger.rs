//! The correction of Kenward & Roger 1997, Biometrics 53:983-997.
//!
//! V is linear in the variances φ, so the second derivatives of V in their formulas are zero. On a singular fit every variance still
//! counts, the zero ones at zero, as in R's pbkrtest.

use super::dense::{Matrix, factor, forward, generalised_inverse};
use super::{Likelihood, MixedModel};

/// Eigenvalues of the scaled expected information that mean no information.
const NO_INFORMATION: f64 = 1e-12;

/// What does not depend on the contrast.
#[derive(Clone, Debug)]
pub(super) struct Corrected {
    /// Φ_A, the covariance matrix of the coefficients of the orthonormal columns, corrected.
    pub(super) covariance: Matrix,
    /// W, the covariance matrix of the estimated variances.
    w: Matrix,
    /// `ΦPᵣΦ`.
    turned: Vec<Matrix>,
}

/// How an F is scaled and on which degrees of freedom.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scaling {
    pub(super) factor: f64,
    pub(super) df: f64,
}

impl MixedModel {
    /// `None` unless the fit is by restricted likelihood.
    pub(super) fn corrected(&self) -> Option<&Corrected> {
        let make = || match self.likelihood {
            Likelihood::Reml => Corrected::new(self),
            Likelihood::Ml => None,
        };
        self.corrected.get_or_init(make).as_ref()
    }
}

impl Corrected {
    fn new(model: &MixedModel) -> Option<Self> {
        let curvature = &model.curvature;
        let phi = &curvature.covariance;
        let count = curvature.k.len();
        let mut w = generalised_inverse(&curvature.expected(Likelihood::Reml), NO_INFORMATION)?;
        w.values.iter_mut().for_each(|x| *x *= 2.0);
        // P = −K.
        let left: Vec<Matrix> = curvature.k.iter().map(|k| phi.times(k)).collect();
        let mut middle = Matrix { columns: phi.columns, values: vec![0.0; phi.values.len()] };
        for r in 0..count {
            for (s, of_s) in left.iter().enumerate() {
                let weight = w.at(r, s);
                let q = &curvature.q[r * count + s];
                if !q.values.is_empty() {
                    middle.add(weight, q);
                }
                middle.add(-weight, &curvature.k[r].times(of_s));
            }
        }
        let mut covariance = phi.times(&middle).times(phi);
        covariance.values.iter_mut().for_each(|x| *x *= 2.0);
        covariance.add(1.0, phi);
        let turned = left.iter().map(|left| {
            let mut turned = left.times(phi);
            turned.values.iter_mut().for_each(|x| *x = -*x);
            turned
        });
        Some(Self { covariance, turned: turned.collect(), w })
    }

    /// The scale and the denominator degrees of freedom for independent contrasts, a row each, whose estimates are uncorrelated under the
    /// uncorrected covariance matrix `phi`.
    pub(super) fn scaling(&self, rows: &[Vec<f64>], phi: &Matrix) -> Option<Scaling> {
        let q = rows.len() as f64;
        // With contrasts of unit variance, Θ = LᵀL and ΘΦPᵣΦ has the traces of LΦPᵣΦLᵀ.
        let units: Vec<f64> = rows.iter().map(|w| phi.form(w, w).sqrt()).collect();
        let small = |turned: &Matrix| {
            let mut small = Matrix::zeros(rows.len(), rows.len());
            for (i, (one, of_one)) in rows.iter().zip(&units).enumerate() {
                for (j, (other, of_other)) in rows.iter().zip(&units).enumerate() {
                    small.values[i * rows.len() + j] = turned.form(one, other) / (of_one * of_other);
                }
            }
            small
        };
        let small: Vec<Matrix> = self.turned.iter().map(small).collect();
        let trace = |m: &Matrix| (0..rows.len()).map(|i| m.at(i, i)).sum::<f64>();
        let (mut a1, mut a2) = (0.0, 0.0);
        for (r, one) in small.iter().enumerate() {
            for (s, other) in small.iter().enumerate() {
                a1 += self.w.at(r, s) * trace(one) * trace(other);
                a2 += self.w.at(r, s) * one.trace_of_product(other);
            }
        }
        if rows.len() == 1 {
            // The general formulas then reduce to this, without their cancellation.
            return (a2 > 0.0).then(|| Scaling { factor: 1.0, df: 2.0 / a2 });
        }
        let b = (a1 + 6.0 * a2) / (2.0 * q);
        let g = ((q + 1.0) * a1 - (q + 4.0) * a2) / ((q + 2.0) * a2);
        let below = 3.0 * q + 2.0 * (1.0 - g);
        let (c1, c2, c3) = (g / below, (q - g) / below, (q + 2.0 - g) / below);
        let mean = 1.0 / (1.0 - a2 / q);
        let variance = 2.0 / q * (1.0 + c1 * b) / ((1.0 - c2 * b).powi(2) * (1.0 - c3 * b));
        let ratio = variance / (2.0 * mean * mean);
        let df = 4.0 + (q + 2.0) / (q * ratio - 1.0);
        let factor = df / (mean * (df - 2.0));
        (df > 0.0 && df.is_finite() && factor > 0.0).then_some(Scaling { factor, df })
    }

    /// `vᵀ(LΦ_A Lᵀ)⁻¹v` for the values of the contrasts.
    pub(super) fn quadratic(&self, rows: &[Vec<f64>], values: &[f64]) -> Option<f64> {
        let count = rows.len();
        let mut covariance = Vec::with_capacity(count * count);
        for one in rows {
            covariance.extend(rows.iter().map(|other| self.covariance.form(one, other)));
        }
        factor(&mut covariance, count)?;
        let mut white = values.to_vec();
        forward(&covariance, &mut white);
        Some(white.iter().map(|x| x * x).sum())
    }
}
