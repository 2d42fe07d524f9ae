//! Second derivatives of the criterion by the variances, and the matrices that Kenward and Roger's correction needs.
//!
//! V is linear in φ, so with W = V⁻¹, Aᵣ = ∂V/∂φᵣ and Φ = (XᵀWX)⁻¹ all second derivatives come from three kinds of sums over
//! components: `tr(WAᵣWAₛ)`, `Kᵣ = XᵀWAᵣWX` and `Qᵣₛ = XᵀWAᵣWAₛWX` (Kenward & Roger's −Pᵣ and Qᵣₛ). Below, X is bordered by the
//! generalised residuals e.

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
    /// Qᵣₛ, by row of r and s.
    pub(super) q: Vec<Matrix>,
    /// `XᵀWAᵣWe`, a variance each.
    k_residual: Vec<Vec<f64>>,
    /// `eᵀWAᵣWAₛWe`.
    q_residual: Matrix,
}

impl Curvature {
    pub(super) fn new(point: &Point) -> Self {
        let rank = point.coefficients.len();
        let count = point.design.layout.parameters();
        let border = rank + 1;
        let mut traces = Matrix::zeros(count, count);
        let mut k = vec![Matrix::zeros(border, border); count];
        let mut q = vec![Matrix::default(); count * count];
        for (index, component) in point.design.components.iter().enumerate() {
            add_component(point, component, index, &mut traces, &mut k, &mut q);
        }
        for (group, untouched) in point.design.untouched.iter().enumerate().filter(|(_, u)| u.count > 0) {
            let (parameter, variance) = (point.design.layout.residual(group), point.residual[group]);
            let residuals = point.untouched_residuals(group);
            let mut products = untouched.products.clone();
            for (i, x) in residuals.iter().enumerate() {
                products.values[i * border + rank] = *x;
                products.values[rank * border + i] = *x;
            }
            let square = variance * variance;
            traces.values[parameter * count + parameter] += untouched.count as f64 / square;
            k[parameter].add(square.recip(), &products);
            let own = &mut q[parameter * count + parameter];
            if own.values.is_empty() {
                *own = Matrix::zeros(border, border);
            }
            own.add((square * variance).recip(), &products);
        }
        let covariance = inverse(&point.information, rank);
        let mut q_residual = Matrix::zeros(count, count);
        for r in 0..count {
            for s in 0..r {
                traces.values[s * count + r] = traces.at(r, s);
                q[s * count + r] = q[r * count + s].transposed();
            }
        }
        for (at, full) in q.iter().enumerate().filter(|(_, full)| !full.values.is_empty()) {
            q_residual.values[at] = full.at(rank, rank);
        }
        let k_residual = k.iter().map(|full| (0..rank).map(|i| full.at(i, rank)).collect()).collect();
        let cut = |full: &Matrix| match full.values.is_empty() {
            true => Matrix::default(),
            false => Matrix { columns: rank, values: (0..rank).flat_map(|i| full.row(i)[..rank].to_vec()).collect() },
        };
        Self {
            covariance,
            traces,
            k: k.iter().map(cut).collect(),
            q: q.iter().map(cut).collect(),
            k_residual,
            q_residual,
        }
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
                let q = &self.q[r * count + s];
                let both = if q.values.is_empty() { 0.0 } else { self.covariance.trace_of_product(q) };
                expected.values[r * count + s] += turned[r].trace_of_product(&turned[s]) - 2.0 * both;
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
}

fn add_component(
    point: &Point,
    component: &Component,
    index: usize,
    traces: &mut Matrix,
    k: &mut [Matrix],
    q: &mut [Matrix],
) {
    let (rows, effects) = (component.rows, component.effects);
    let (white, lower) = (&point.white[index], &point.lower[index]);
    let (rank, count) = (point.coefficients.len(), k.len());
    let border = rank + 1;
    let size = effects + rows;
    // The columns of the random effects and of the observations themselves, whitened, a row each.
    let mut own = Matrix::zeros(size, rows);
    own.values[..effects * rows].copy_from_slice(&white.values[..effects * rows]);
    for i in 0..rows {
        let row = own.row_mut(effects + i);
        row[i] = 1.0;
        forward(lower, row);
    }
    let residuals = point.white_residuals(component, white);
    let mut with = Matrix::zeros(size, border);
    let mut t = Matrix::zeros(size, size);
    for a in 0..size {
        let left = own.row(a).to_vec();
        for i in 0..rank {
            with.values[a * border + i] = inner(&left, white.row(effects + i));
        }
        with.values[a * border + rank] = inner(&left, &residuals);
        for b in 0..=a {
            let product = inner(&left, own.row(b));
            t.values[a * size + b] = product;
            t.values[b * size + a] = product;
        }
    }
    for (parameter, places) in &component.places {
        for (a, b) in places {
            k[*parameter].add_outer(1.0, with.row(*a), with.row(*b));
        }
    }
    let mut along = Matrix::zeros(size, border);
    for (s, places_s) in &component.places {
        along.values.fill(0.0);
        for (c, d) in places_s {
            for b in 0..size {
                add_scaled(along.row_mut(b), t.at(b, *c), with.row(*d));
            }
        }
        for (r, places_r) in component.places.iter().filter(|(r, _)| r >= s) {
            let to = &mut q[r * count + s];
            if to.values.is_empty() {
                *to = Matrix::zeros(border, border);
            }
            let mut trace = 0.0;
            for (a, b) in places_r {
                to.add_outer(1.0, with.row(*a), along.row(*b));
                trace += places_s.iter().map(|(c, d)| t.at(*b, *c) * t.at(*d, *a)).sum::<f64>();
            }
            traces.values[r * count + s] += trace;
        }
    }
}
