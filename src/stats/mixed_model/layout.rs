//! The variance parameters: where each stands, and the covariance factors that the search moves instead.
//!
//! The covariance matrix of all observations is linear in the *variances* φ: the entries of every term's covariance matrix G (its lower
//! triangle by row; only the diagonal where its coefficients are uncorrelated), then one residual variance a group. The search moves
//! the *factors* ψ: the entries of the lower triangular λ with G = λλᵀ, then the logarithms of the residual variances. A variance of
//! zero is then an ordinary point, around which everything is even in its factor.

use super::basis::{Basis, length};
use super::dense::{Matrix, inner};
use super::{MixedModelError, RandomTerm};

/// Of a random coefficient's column, what is left beside the others if they can't be told apart.
const RANDOM_TOLERANCE: f64 = 1e-8;

/// The parameters of all terms and groups.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) terms: Vec<TermLayout>,
    /// The label of each group of residual variance.
    pub(super) groups: Vec<usize>,
}

/// The parameters of a random term.
#[derive(Clone, Debug)]
pub(super) struct TermLayout {
    pub(super) name: String,
    /// Coefficients a level.
    pub(super) size: usize,
    pub(super) correlated: bool,
    /// Its first parameter.
    pub(super) first: usize,
    /// The label of each level.
    pub(super) levels: Vec<usize>,
    /// Coefficients of the given columns = `back` × coefficients of the columns in units of their own.
    pub(super) back: Matrix,
}

impl TermLayout {
    pub(super) fn parameters(&self) -> usize {
        if self.correlated { self.size * (self.size + 1) / 2 } else { self.size }
    }

    /// Parameter, row and column of every entry of the term's covariance matrix that is one.
    pub(super) fn entries(&self) -> impl Iterator<Item = (usize, usize, usize)> + '_ {
        let inside = (0..self.size).flat_map(move |i| (if self.correlated { 0 } else { i }..=i).map(move |j| (i, j)));
        inside.enumerate().map(|(position, (i, j))| (self.first + position, i, j))
    }

    /// A lower triangular or symmetric matrix of this term from its parameters.
    fn lower(&self, parameters: &[f64]) -> Matrix {
        let mut lower = Matrix::zeros(self.size, self.size);
        for (parameter, i, j) in self.entries() {
            lower.values[i * self.size + j] = parameters[parameter];
        }
        lower
    }
}

impl Layout {
    pub(super) fn parameters(&self) -> usize {
        self.of_terms() + self.groups.len()
    }

    /// Parameters of the random terms, which come first.
    pub(super) fn of_terms(&self) -> usize {
        self.terms.iter().map(TermLayout::parameters).sum()
    }

    /// The parameter of a group's residual variance.
    pub(super) fn residual(&self, group: usize) -> usize {
        self.of_terms() + group
    }

    /// The terms' factors λ at ψ.
    pub(super) fn factors(&self, psi: &[f64]) -> Vec<Matrix> {
        self.terms.iter().map(|term| term.lower(psi)).collect()
    }

    /// The residual variances at ψ.
    pub(super) fn residual_variances(&self, psi: &[f64]) -> Vec<f64> {
        psi[self.of_terms()..].iter().map(|log| log.exp()).collect()
    }

    /// The terms' covariance matrices at ψ.
    pub(super) fn covariances(&self, psi: &[f64]) -> Vec<Matrix> {
        self.factors(psi).iter().map(|factor| factor.times(&factor.transposed())).collect()
    }

    /// ∂φ/∂ψ at ψ, a row a variance.
    pub(super) fn jacobian(&self, psi: &[f64]) -> Matrix {
        let count = self.parameters();
        let mut jacobian = Matrix::zeros(count, count);
        for term in &self.terms {
            let factor = term.lower(psi);
            for (variance, i, j) in term.entries() {
                for (moved, a, b) in term.entries() {
                    let by_row = if i == a { factor.at(j, b) } else { 0.0 };
                    let by_column = if j == a { factor.at(i, b) } else { 0.0 };
                    jacobian.values[variance * count + moved] = by_row + by_column;
                }
            }
        }
        for (parameter, log) in psi.iter().enumerate().skip(self.of_terms()) {
            jacobian.values[parameter * count + parameter] = log.exp();
        }
        jacobian
    }

    /// `Σ gᵣ ∂²φᵣ/∂ψ²` at ψ for a gradient g by the variances.
    pub(super) fn curvature(&self, psi: &[f64], gradient: &[f64]) -> Matrix {
        let count = self.parameters();
        let mut curvature = Matrix::zeros(count, count);
        for term in &self.terms {
            let slope = term.lower(gradient);
            for (one, a, b) in term.entries() {
                for (other, c, _) in term.entries().filter(|(_, _, d)| *d == b) {
                    curvature.values[one * count + other] = match a.cmp(&c) {
                        std::cmp::Ordering::Equal => 2.0 * slope.at(a, a),
                        std::cmp::Ordering::Greater => slope.at(a, c),
                        std::cmp::Ordering::Less => slope.at(c, a),
                    };
                }
            }
        }
        for (parameter, log) in psi.iter().enumerate().skip(self.of_terms()) {
            curvature.values[parameter * count + parameter] = gradient[parameter] * log.exp();
        }
        curvature
    }

    /// Gradient by ψ from that by φ.
    pub(super) fn by_factors(&self, psi: &[f64], gradient: &[f64]) -> Vec<f64> {
        let jacobian = self.jacobian(psi);
        (0..psi.len()).map(|i| (0..gradient.len()).map(|r| gradient[r] * jacobian.at(r, i)).sum()).collect()
    }

    /// A name for a parameter.
    pub(super) fn name(&self, parameter: usize) -> String {
        let within = |term: &&TermLayout| (term.first..term.first + term.parameters()).contains(&parameter);
        self.terms.iter().find(within).map_or_else(|| "residual".to_owned(), |term| term.name.clone())
    }
}

/// A term's columns in units of their own, and the way back for the coefficients.
///
/// Columns of uncorrelated coefficients get a mean square of 1. Those of correlated ones are made orthogonal besides: any linear
/// combination of them is the same model, with the covariance matrix turned. The variance of the coefficient `foremost` stays one
/// parameter, the first.
pub(super) fn in_own_units(
    term: &RandomTerm,
    observations: usize,
    foremost: usize,
) -> Result<(Vec<Vec<f64>>, Matrix), MixedModelError> {
    let columns = &term.columns;
    let size = columns.len();
    if size == 0 {
        return Ok((Vec::new(), Matrix { columns: 1, values: vec![1.0] }));
    }
    let dependent = || MixedModelError::RandomColumns { term: term.name.clone() };
    let root = (observations as f64).sqrt();
    let mut back = Matrix::zeros(size, size);
    if !term.correlated {
        let units: Vec<f64> = columns.iter().map(|column| length(column) / root).collect();
        if units.contains(&0.0) {
            return Err(dependent());
        }
        for (i, unit) in units.iter().enumerate() {
            back.values[i * size + i] = unit.recip();
        }
        let scaled = |(column, unit): (&Vec<f64>, &f64)| column.iter().map(|x| x / unit).collect();
        return Ok((columns.iter().zip(&units).map(scaled).collect(), back));
    }
    // The foremost column comes last here: what is left of it beside the others carries its coefficient alone.
    let order: Vec<usize> = (0..size).filter(|c| *c != foremost).chain([foremost]).collect();
    let ordered: Vec<Vec<f64>> = order.iter().map(|c| columns[*c].clone()).collect();
    let basis = Basis::new(&ordered, RANDOM_TOLERANCE);
    if basis.q.len() < size {
        return Err(dependent());
    }
    for new in 0..size {
        // The coefficients of the given columns, in this order, that make the new column `new` alone.
        let mut old = vec![0.0; size];
        for i in (0..size).rev() {
            let later: Vec<f64> = (i + 1..size).map(|c| basis.coordinates[c][i]).collect();
            let wanted = if i == new { root } else { 0.0 };
            old[i] = (wanted - inner(&later, &old[i + 1..])) / basis.coordinates[i][i];
        }
        for (i, value) in old.iter().enumerate() {
            back.values[order[i] * size + (size - 1 - new)] = *value;
        }
    }
    let own = basis.q.into_iter().rev().map(|column| column.into_iter().map(|x| x * root).collect()).collect();
    Ok((own, back))
}
