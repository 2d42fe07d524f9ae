//! Second derivatives of the criterion by the variances, and the matrices that Kenward and Roger's correction needs.
//!
//! V is linear in φ, so with W = V⁻¹, Aᵣ = ∂V/∂φᵣ and Φ = (XᵀWX)⁻¹ all second derivatives come from three kinds of sums over
//! components: `tr(WAᵣWAₛ)`, `Kᵣ = XᵀWAᵣWX` and `Qᵣₛ = XᵀWAᵣWAₛWX` (Kenward & Roger's −Pᵣ and Qᵣₛ), and the latter two with the generalised
//! residuals e for X.

use super::Likelihood;
use super::dense::{Matrix, add_scaled, forward, inner, inverse};
use super::design::Component;
use super::point::Point;

/// The sums at one point.
#[derive(Clone, Debug)]
pub(super) struct Curvature {
    /// Φ = (XᵀV⁻¹X)⁻¹.
    pub(super) covariance: Matrix,
    /// `tr(WAᵣWAₛ)`.
    traces: Matrix,
    /// Kᵣ, a variance each.
    pub(super) k: Vec<Matrix>,
    /// Qᵣₛ, by row of r and s; none where only second derivatives are wanted.
    pub(super) q: Vec<Matrix>,
    /// `tr(ΦQᵣₛ)`.
    q_traces: Matrix,
    /// `XᵀWAᵣWe`, a variance each.
    k_residual: Vec<Vec<f64>>,
    /// `eᵀWAᵣWAₛWe`.
    q_residual: Matrix,
}

impl Curvature {
    /// All sums, those of Kenward and Roger's correction included.
    pub(super) fn new(point: &Point) -> Self {
        Self::of(point, true)
    }

    /// What second derivatives need. The matrices Qᵣₛ, most of the work, are needed by their traces only.
    pub(super) fn of_derivatives(point: &Point) -> Self {
        Self::of(point, false)
    }

    fn of(point: &Point, with_matrices: bool) -> Self {
        let rank = point.coefficients.len();
        let count = point.design.layout.parameters();
        let mut sums = Self {
            covariance: inverse(&point.information, rank),
            traces: Matrix::zeros(count, count),
            k: vec![Matrix::zeros(rank, rank); count],
            q: if with_matrices { vec![Matrix::default(); count * count] } else { Vec::new() },
            q_traces: Matrix::zeros(count, count),
            k_residual: vec![vec![0.0; rank]; count],
            q_residual: Matrix::zeros(count, count),
        };
        for (index, component) in point.design.components.iter().enumerate() {
            sums.add_component(point, component, index);
        }
        for (group, untouched) in point.design.untouched.iter().enumerate().filter(|(_, u)| u.count > 0) {
            let (parameter, variance) = (point.design.layout.residual(group), point.residual[group]);
            let residuals = point.untouched_residuals(group);
            let products: Vec<f64> = (0..rank).flat_map(|i| untouched.products.row(i)[..rank].to_vec()).collect();
            let products = Matrix { columns: rank, values: products };
            let square = variance * variance;
            let own = parameter * count + parameter;
            sums.traces.values[own] += untouched.count as f64 / square;
            sums.k[parameter].add(square.recip(), &products);
            add_scaled(&mut sums.k_residual[parameter], square.recip(), &residuals[..rank]);
            sums.q_traces.values[own] += sums.covariance.trace_of_product(&products) / (square * variance);
            if with_matrices {
                sums.at(own, rank).add((square * variance).recip(), &products);
            }
            sums.q_residual.values[own] += residuals[rank] / (square * variance);
        }
        for r in 0..count {
            for s in 0..r {
                let (lower, upper) = (r * count + s, s * count + r);
                sums.traces.values[upper] = sums.traces.values[lower];
                sums.q_residual.values[upper] = sums.q_residual.values[lower];
                sums.q_traces.values[upper] = sums.q_traces.values[lower];
                if with_matrices {
                    sums.q[upper] = sums.q[lower].transposed();
                }
            }
        }
        sums
    }

    /// Qᵣₛ, made where it was none.
    fn at(&mut self, place: usize, rank: usize) -> &mut Matrix {
        let q = &mut self.q[place];
        if q.values.is_empty() {
            *q = Matrix::zeros(rank, rank);
        }
        q
    }

    /// `tr(PAᵣPAₛ)`: twice the expected information of the variances.
    pub(super) fn expected(&self, likelihood: Likelihood) -> Matrix {
        let count = self.k.len();
        let mut expected = self.traces.clone();
        if likelihood == Likelihood::Ml {
            return expected;
        }
        let turned: Vec<Matrix> = self.k.iter().map(|k| self.covariance.times(k)).collect();
        for r in 0..count {
            for s in 0..count {
                expected.values[r * count + s] += turned[r].trace_of_product(&turned[s]) - 2.0 * self.q_traces.at(r, s);
            }
        }
        expected
    }

    /// Second derivatives of the criterion by the variances: `−tr(PAᵣPAₛ) + 2 eᵀWAᵣPAₛWe`.
    pub(super) fn observed(&self, likelihood: Likelihood) -> Matrix {
        let count = self.k.len();
        let mut observed = self.expected(likelihood);
        for r in 0..count {
            for s in 0..count {
                let form = self.q_residual.at(r, s) - self.covariance.form(&self.k_residual[r], &self.k_residual[s]);
                let value = &mut observed.values[r * count + s];
                *value = 2.0 * form - *value;
            }
        }
        observed
    }

    fn add_component(&mut self, point: &Point, component: &Component, index: usize) {
        let (rows, effects) = (component.rows, component.effects);
        let (white, lower) = (&point.white[index], &point.lower[index]);
        let (rank, count) = (point.coefficients.len(), self.k.len());
        let (size, copies) = (effects + rows, component.copies.len());
        // The columns of the random effects and of the observations themselves, whitened, a row each.
        let mut own = Matrix::zeros(size, rows);
        own.values[..effects * rows].copy_from_slice(&white.values[..effects * rows]);
        for i in 0..rows {
            let row = own.row_mut(effects + i);
            row[i] = 1.0;
            forward(lower, row);
        }
        // Their products with the fixed columns, with the residuals of each copy, and with each other.
        let residuals = point.white_residuals(component, white);
        let mut fixed = Matrix::zeros(size, rank);
        let mut left = Matrix::zeros(size, copies);
        let mut t = Matrix::zeros(size, size);
        for a in 0..size {
            let one = own.row(a);
            for (i, product) in fixed.row_mut(a).iter_mut().enumerate() {
                *product = inner(one, white.row(effects + i));
            }
            for (product, residuals) in left.row_mut(a).iter_mut().zip(&residuals) {
                *product = inner(one, residuals);
            }
            for b in 0..=a {
                let product = inner(one, own.row(b));
                t.values[a * size + b] = product;
                t.values[b * size + a] = product;
            }
        }
        let left_together: Vec<f64> = (0..size).map(|a| left.row(a).iter().sum()).collect();
        for (parameter, places) in &component.places {
            for (a, b) in places {
                self.k[*parameter].add_outer(copies as f64, fixed.row(*a), fixed.row(*b));
                add_scaled(&mut self.k_residual[*parameter], left_together[*b], fixed.row(*a));
            }
        }
        // The same in coordinates in which Φ is the identity: traces with Φ are then sums of inner products.
        let mut spent = fixed.clone();
        (0..size).for_each(|a| forward(&point.information, spent.row_mut(a)));
        let mut spent_products = Matrix::zeros(size, size);
        for a in 0..size {
            for b in 0..=a {
                let product = inner(spent.row(a), spent.row(b));
                spent_products.values[a * size + b] = product;
                spent_products.values[b * size + a] = product;
            }
        }
        let with_matrices = !self.q.is_empty();
        let mut along_fixed = Matrix::zeros(if with_matrices { size } else { 0 }, rank);
        let mut along_left = Matrix::zeros(size, copies);
        for (s, places_s) in &component.places {
            along_fixed.values.fill(0.0);
            along_left.values.fill(0.0);
            for (c, d) in places_s {
                for b in 0..size {
                    let weight = t.at(b, *c);
                    if with_matrices {
                        add_scaled(along_fixed.row_mut(b), weight, fixed.row(*d));
                    }
                    add_scaled(along_left.row_mut(b), weight, left.row(*d));
                }
            }
            for (r, places_r) in component.places.iter().filter(|(r, _)| r >= s) {
                let place = r * count + s;
                let (mut trace, mut form, mut spent_trace) = (0.0, 0.0, 0.0);
                for (a, b) in places_r {
                    trace += places_s.iter().map(|(c, d)| t.at(*b, *c) * t.at(*d, *a)).sum::<f64>();
                    form += inner(left.row(*a), along_left.row(*b));
                    spent_trace += places_s.iter().map(|(c, d)| t.at(*b, *c) * spent_products.at(*d, *a)).sum::<f64>();
                }
                if with_matrices {
                    let q = self.at(place, rank);
                    for (a, b) in places_r {
                        q.add_outer(copies as f64, fixed.row(*a), along_fixed.row(*b));
                    }
                }
                self.q_traces.values[place] += copies as f64 * spent_trace;
                self.traces.values[place] += copies as f64 * trace;
                self.q_residual.values[place] += form;
            }
        }
    }
}
