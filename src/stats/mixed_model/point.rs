//! The criterion −2 ln L and its gradient at given covariance factors.
//!
//! With V the covariance matrix, X the fixed columns and e = y − Xβ̂ the generalised residuals, the criterion is
//! `ln|V| + eᵀV⁻¹e + n ln 2π`; restricted, it has `ln|XᵀV⁻¹X|` besides and n − p for n (Harville 1977, J. Am. Stat. Assoc. 72:320-338).
//! V = LLᵀ component by component, so that all products are of whitened columns. With P = V⁻¹ − V⁻¹X(XᵀV⁻¹X)⁻¹XᵀV⁻¹ and
//! Aᵣ = ∂V/∂φᵣ the gradient by φ is `tr(PAᵣ) − eᵀV⁻¹AᵣV⁻¹e` (with V⁻¹ for P in the unrestricted trace).

use super::Likelihood;
use super::dense::{Matrix, add_scaled, backward, factor, forward, inner};
use super::design::{Component, Design};
use std::f64::consts::PI;

/// All that one factorisation gives.
#[derive(Clone, Debug)]
pub(super) struct Point<'a> {
    pub(super) design: &'a Design,
    pub(super) residual: Vec<f64>,
    /// Whitened columns of each component, a row each: random effects, fixed columns, the response of each copy.
    pub(super) white: Vec<Matrix>,
    /// The Cholesky factor of each component's covariance matrix.
    pub(super) lower: Vec<Vec<f64>>,
    /// The Cholesky factor of XᵀV⁻¹X.
    pub(super) information: Vec<f64>,
    /// Coefficients of the orthonormal fixed columns, for what least squares leaves of the response.
    pub(super) coefficients: Vec<f64>,
    /// eᵀV⁻¹e.
    pub(super) quadratic: f64,
    log_v: f64,
    log_information: f64,
}

impl<'a> Point<'a> {
    /// `None` where a covariance matrix is not positive definite in floating point.
    pub(super) fn new(design: &'a Design, psi: &[f64]) -> Option<Self> {
        let factors = design.layout.factors(psi);
        let residual = design.layout.residual_variances(psi);
        let rank = design.rank();
        let mut products = Matrix::zeros(rank + 1, rank + 1);
        let mut log_v = 0.0;
        for (untouched, variance) in design.untouched.iter().zip(&residual).filter(|(untouched, _)| untouched.count > 0)
        {
            products.add(variance.recip(), &untouched.products);
            log_v += untouched.count as f64 * variance.ln();
        }
        let mut white = Vec::with_capacity(design.components.len());
        let mut lower = Vec::with_capacity(design.components.len());
        for component in &design.components {
            let rows = component.rows;
            let mut v = vec![0.0; rows * rows];
            design.covariance(component, &factors, &residual, &mut v);
            let log_component = factor(&mut v, rows)?;
            let mut columns = component.columns.clone();
            if rows > 0 {
                columns.values.chunks_exact_mut(rows).for_each(|column| forward(&v, column));
            }
            // Copies share all but the response.
            let copies = component.copies.len();
            let responses = |copy: usize| columns.row(component.effects + rank + copy);
            let mut together = vec![0.0; rows];
            for copy in 0..copies {
                add_scaled(&mut together, 1.0, responses(copy));
                products.values[rank * (rank + 1) + rank] += inner(responses(copy), responses(copy));
            }
            for i in 0..rank {
                let one = columns.row(component.effects + i);
                products.values[rank * (rank + 1) + i] += inner(one, &together);
                for j in 0..=i {
                    products.values[i * (rank + 1) + j] +=
                        copies as f64 * inner(one, columns.row(component.effects + j));
                }
            }
            log_v += copies as f64 * log_component;
            white.push(columns);
            lower.push(v);
        }
        // The factor of the products bordered by the response: its last row holds C⁻¹XᵀV⁻¹y, and what is left of yᵀV⁻¹y.
        let mut information: Vec<f64> = (0..rank).flat_map(|i| products.row(i)[..rank].to_vec()).collect();
        let log_information = factor(&mut information, rank)?;
        let mut coefficients = products.row(rank)[..rank].to_vec();
        forward(&information, &mut coefficients);
        let quadratic = products.at(rank, rank) - inner(&coefficients, &coefficients);
        backward(&information, &mut coefficients);
        (quadratic.is_finite() && log_v.is_finite()).then_some(Self {
            design,
            residual,
            white,
            lower,
            information,
            coefficients,
            quadratic,
            log_v,
            log_information,
        })
    }

    /// The number of independent contrasts that the likelihood is of: n, or n − p for the restricted one.
    pub(super) fn contrasts(design: &Design, likelihood: Likelihood) -> f64 {
        let count = match likelihood {
            Likelihood::Ml => design.observations,
            Likelihood::Reml => design.observations - design.rank(),
        };
        count as f64
    }

    fn logarithms(&self, likelihood: Likelihood) -> f64 {
        match likelihood {
            Likelihood::Ml => self.log_v,
            Likelihood::Reml => self.log_v + self.log_information,
        }
    }

    /// The criterion of the response in its own unit, fixed columns orthonormal.
    pub(super) fn criterion(&self, likelihood: Likelihood) -> f64 {
        self.logarithms(likelihood) + self.quadratic + Self::contrasts(self.design, likelihood) * (2.0 * PI).ln()
    }

    /// The factor by which all variances together should be multiplied.
    pub(super) fn best_scale(&self, likelihood: Likelihood) -> f64 {
        self.quadratic / Self::contrasts(self.design, likelihood)
    }

    /// The criterion with all variances multiplied by [`best_scale`](Self::best_scale).
    pub(super) fn profiled(&self, likelihood: Likelihood) -> f64 {
        let contrasts = Self::contrasts(self.design, likelihood);
        self.logarithms(likelihood) + contrasts * (1.0 + (2.0 * PI * self.best_scale(likelihood)).ln())
    }

    /// Whitened generalised residuals of each copy of a component.
    pub(super) fn white_residuals(&self, component: &Component, white: &Matrix) -> Vec<Vec<f64>> {
        let rank = self.coefficients.len();
        let mut fitted = vec![0.0; component.rows];
        for (i, coefficient) in self.coefficients.iter().enumerate() {
            add_scaled(&mut fitted, *coefficient, white.row(component.effects + i));
        }
        let less = |copy| {
            let response = white.row(component.effects + rank + copy);
            response.iter().zip(&fitted).map(|(y, fitted)| y - fitted).collect()
        };
        (0..component.copies.len()).map(less).collect()
    }

    /// Products of the residuals that no random effect touches with the fixed columns, and with themselves last.
    pub(super) fn untouched_residuals(&self, group: usize) -> Vec<f64> {
        let rank = self.coefficients.len();
        let products = &self.design.untouched[group].products;
        let with = |i: usize| products.at(i, rank) - inner(&products.row(i)[..rank], &self.coefficients);
        let mut found: Vec<f64> = (0..=rank).map(with).collect();
        found[rank] -= inner(&found[..rank], &self.coefficients);
        found
    }

    /// The gradient by the variances φ, the quadratic form divided by `scale`.
    pub(super) fn gradient(&self, likelihood: Likelihood, scale: f64) -> Vec<f64> {
        let rank = self.coefficients.len();
        let restricted = likelihood == Likelihood::Reml;
        let mut gradient = vec![0.0; self.design.layout.parameters()];
        for ((component, white), lower) in self.design.components.iter().zip(&self.white).zip(&self.lower) {
            let rows = component.rows;
            let residuals = self.white_residuals(component, white);
            // X C⁻ᵀ, whitened: its products with whatever else are those that the restricted likelihood takes out.
            let mut spent: Vec<Vec<f64>> = Vec::with_capacity(rank);
            for i in 0..if restricted { rank } else { 0 } {
                let mut column = white.row(component.effects + i).to_vec();
                let row = &self.information[i * rank..=i * rank + i];
                for (earlier, weight) in spent.iter().zip(row) {
                    add_scaled(&mut column, -weight, earlier);
                }
                column.iter_mut().for_each(|x| *x /= row[i]);
                spent.push(column);
            }
            let along = |own: &[f64], columns: &[Vec<f64>]| -> Vec<f64> {
                columns.iter().map(|column| inner(own, column)).collect()
            };
            let of_effect = |effect| (along(white.row(effect), &spent), along(white.row(effect), &residuals));
            let projected: Vec<_> = (0..component.effects).map(of_effect).collect();
            let copies = component.copies.len() as f64;
            let mut unit = vec![0.0; rows];
            for (parameter, places) in &component.places {
                let mut sum = 0.0;
                for (a, b) in places {
                    if *a < component.effects {
                        let ((spent_a, left_a), (spent_b, left_b)) = (&projected[*a], &projected[*b]);
                        let trace = inner(white.row(*a), white.row(*b)) - inner(spent_a, spent_b);
                        sum += copies * trace - inner(left_a, left_b) / scale;
                    } else {
                        unit.fill(0.0);
                        unit[a - component.effects] = 1.0;
                        forward(lower, &mut unit);
                        let (spent, left) = (along(&unit, &spent), along(&unit, &residuals));
                        sum += copies * (inner(&unit, &unit) - inner(&spent, &spent)) - inner(&left, &left) / scale;
                    }
                }
                gradient[*parameter] += sum;
            }
        }
        for (group, untouched) in self.design.untouched.iter().enumerate().filter(|(_, u)| u.count > 0) {
            let variance = self.residual[group];
            let mut spent = 0.0;
            if restricted {
                for i in 0..rank {
                    let mut column = untouched.products.row(i)[..rank].to_vec();
                    forward(&self.information, &mut column);
                    backward(&self.information, &mut column);
                    spent += column[i];
                }
            }
            let left = self.untouched_residuals(group)[rank];
            let square = variance * variance;
            gradient[self.design.layout.residual(group)] +=
                untouched.count as f64 / variance - spent / square - left / (square * scale);
        }
        gradient
    }
}
