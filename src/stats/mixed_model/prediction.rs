//! What is predicted: random effects, fitted values, residuals.

use super::MixedModel;
use super::dense::{Matrix, add_scaled, inner};
use super::point::Point;
use std::collections::BTreeMap;

/// The predicted coefficients of one level of a random term (best linear unbiased predictions).
#[derive(Clone, Debug, PartialEq)]
pub struct RandomEffect {
    /// The term.
    pub term: String,
    /// The label of the level, as given.
    pub level: usize,
    /// One a column, in units of the response ÷ the column's: `GZᵀV⁻¹(y − Xβ̂)`.
    pub values: Vec<f64>,
    /// The standard deviation of each coefficient given the data, with β taken as known: `G − GZᵀV⁻¹ZG` (as R's lme4 gives it).
    pub conditional_deviations: Vec<f64>,
    /// The standard deviation of prediction − truth with β estimated: `G − GZᵀPZG`, P of [`Likelihood`](super::Likelihood)'s formulas. Never
    /// smaller than the conditional one.
    pub prediction_errors: Vec<f64>,
}

/// A linear combination of the coefficients of one level of a random term.
#[derive(Clone, Debug, PartialEq)]
pub struct OfLevel {
    /// Position of the term.
    pub term: usize,
    /// The label of the level, as given. One without observations is a new one, drawn from the same distribution.
    pub level: usize,
    /// The weight of each of its coefficients: one for a random intercept.
    pub weights: Vec<f64>,
}

/// The prediction of a combination of fixed and random coefficients, such as the yield of a treatment in one site-year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prediction {
    /// `c·β̂ + m·b̂`.
    pub value: f64,
    /// The standard deviation of prediction − truth, the variances taken as known: with s = XᵀV⁻¹ZGm it is the root of
    /// `mᵀGm − mᵀGZᵀV⁻¹ZGm + (c − s)ᵀΦ(c − s)` (Henderson 1975, Biometrics 31:423-447, in this form from memory).
    pub standard_error: f64,
}

impl MixedModel {
    /// Predicts `fixed·β + Σ weights·b(level)`. Levels named twice add up.
    ///
    /// `None` where the fixed part is not estimable or the random part does not fit the terms.
    pub fn predict(&self, fixed: &[f64], random: &[OfLevel]) -> Option<Prediction> {
        let layout = &self.design.layout;
        let covariances = layout.covariances(&self.psi);
        let point = Point::new(&self.design, &self.psi)?;
        let mut from_fixed = self.design.basis.whitened(fixed)?;
        let mut value = inner(&from_fixed, &self.orthonormal()) / self.design.unit;
        // Weights of coefficients of columns in units of their own, one entry a level.
        let mut wanted: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
        for of in random {
            let term = layout.terms.get(of.term).filter(|term| term.size == of.weights.len())?;
            let own = term.back.transposed().times_vector(&of.weights);
            let sum = wanted.entry((of.term, of.level)).or_insert_with(|| vec![0.0; term.size]);
            add_scaled(sum, 1.0, &own);
        }
        let mut variance: f64 = wanted.iter().map(|((term, _), own)| covariances[*term].form(own, own)).sum();
        for (component, white) in self.design.components.iter().zip(&point.white) {
            let residuals = point.white_residuals(component, white);
            for (levels, residuals) in component.copies.iter().zip(&residuals) {
                // L⁻¹ZGm of this component.
                let mut along = vec![0.0; component.rows];
                for (block, level) in component.blocks.iter().zip(levels) {
                    let label = layout.terms[block.term].levels[*level];
                    let Some(own) = wanted.get(&(block.term, label)) else { continue };
                    for (i, weight) in covariances[block.term].times_vector(own).iter().enumerate() {
                        add_scaled(&mut along, *weight, white.row(block.first + i));
                    }
                }
                value += inner(&along, residuals);
                variance -= inner(&along, &along);
                for (i, weight) in from_fixed.iter_mut().enumerate() {
                    *weight -= inner(&along, white.row(component.effects + i));
                }
            }
        }
        variance += self.curvature.covariance.form(&from_fixed, &from_fixed);
        let standard_error = variance.max(0.0).sqrt() * self.design.unit;
        let value = value * self.design.unit;
        (value.is_finite() && standard_error.is_finite()).then_some(Prediction { value, standard_error })
    }

    /// The predicted coefficients of every level, term by term, levels ascending.
    pub fn random_effects(&self) -> Vec<RandomEffect> {
        let layout = &self.design.layout;
        let Some(point) = Point::new(&self.design, &self.psi) else { return Vec::new() };
        let covariances = layout.covariances(&self.psi);
        let mut found: Vec<Vec<Option<RandomEffect>>> =
            layout.terms.iter().map(|term| vec![None; term.levels.len()]).collect();
        for (component, white) in self.design.components.iter().zip(&point.white) {
            let residuals = point.white_residuals(component, white);
            for (position, block) in component.blocks.iter().enumerate() {
                let (term, g) = (&layout.terms[block.term], &covariances[block.term]);
                let own: Vec<&[f64]> = (0..term.size).map(|i| white.row(block.first + i)).collect();
                let mut products = Matrix::zeros(term.size, term.size);
                let mut spent = Matrix::zeros(term.size, point.coefficients.len());
                for (i, column) in own.iter().enumerate() {
                    for (j, other) in own.iter().enumerate() {
                        products.values[i * term.size + j] = inner(column, other);
                    }
                    for (j, x) in spent.row_mut(i).iter_mut().enumerate() {
                        *x = inner(column, white.row(component.effects + j));
                    }
                }
                // Coefficients of the given columns, and the same for a variance.
                let back = term.back.times(g);
                let given = term.back.times(g).times(&term.back.transposed());
                let deviation = |i: usize, taken: f64| (given.at(i, i) - taken).max(0.0).sqrt() * self.design.unit;
                let conditional = |i: usize| deviation(i, products.form(back.row(i), back.row(i)));
                let predicted = |i: usize| {
                    let along: Vec<f64> = spent.transposed().times_vector(back.row(i));
                    let by_fixed = self.curvature.covariance.form(&along, &along);
                    deviation(i, products.form(back.row(i), back.row(i)) - by_fixed)
                };
                let conditional: Vec<f64> = (0..term.size).map(conditional).collect();
                let predicted: Vec<f64> = (0..term.size).map(predicted).collect();
                for (levels, residuals) in component.copies.iter().zip(&residuals) {
                    let left: Vec<f64> = own.iter().map(|column| inner(column, residuals)).collect();
                    found[block.term][levels[position]] = Some(RandomEffect {
                        term: term.name.clone(),
                        level: term.levels[levels[position]],
                        values: back.times_vector(&left).iter().map(|x| x * self.design.unit).collect(),
                        conditional_deviations: conditional.clone(),
                        prediction_errors: predicted.clone(),
                    });
                }
            }
        }
        found.into_iter().flatten().flatten().collect()
    }

    /// `Xβ̂` of every observation.
    pub fn marginal_fitted(&self) -> Vec<f64> {
        let cells = &self.design.cells;
        let by_cell = cells.combined(&self.design.basis, &self.orthonormal());
        cells.of.iter().map(|cell| by_cell[*cell]).collect()
    }

    /// `Xβ̂ + Zb̂` of every observation.
    pub fn conditional_fitted(&self) -> Vec<f64> {
        let mut fitted = self.marginal_fitted();
        let effects = self.random_effects();
        let mut start = 0;
        for (term, layout) in self.data.random.iter().zip(&self.design.layout.terms) {
            let of_term = &effects[start..start + layout.levels.len()];
            start += layout.levels.len();
            for (i, (level, value)) in term.group_of.iter().zip(&mut fitted).enumerate() {
                let own = &of_term[layout.levels.partition_point(|other| other < level)].values;
                *value += match term.columns.as_slice() {
                    [] => own[0],
                    columns => columns.iter().zip(own).map(|(column, b)| column[i] * b).sum(),
                };
            }
        }
        fitted
    }

    /// `y − Xβ̂`.
    pub fn marginal_residuals(&self) -> Vec<f64> {
        self.data.y.iter().zip(self.marginal_fitted()).map(|(y, fitted)| y - fitted).collect()
    }

    /// `y − Xβ̂ − Zb̂`.
    pub fn conditional_residuals(&self) -> Vec<f64> {
        self.data.y.iter().zip(self.conditional_fitted()).map(|(y, fitted)| y - fitted).collect()
    }
}
