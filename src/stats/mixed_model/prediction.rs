//! What is predicted: random effects, fitted values, residuals.

use super::MixedModel;
use super::dense::{Matrix, inner};
use super::point::Point;

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

impl MixedModel {
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
