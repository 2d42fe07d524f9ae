//! Small dense matrices by row: a Cholesky factor, triangular solves, eigenvalues.

use faer::{Mat, Side};

/// A matrix by row.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Matrix {
    pub(super) columns: usize,
    pub(super) values: Vec<f64>,
}

impl Matrix {
    pub(super) fn zeros(rows: usize, columns: usize) -> Self {
        Self { columns, values: vec![0.0; rows * columns] }
    }

    pub(super) fn row(&self, i: usize) -> &[f64] {
        &self.values[i * self.columns..(i + 1) * self.columns]
    }

    pub(super) fn row_mut(&mut self, i: usize) -> &mut [f64] {
        &mut self.values[i * self.columns..(i + 1) * self.columns]
    }

    pub(super) fn rows(&self) -> usize {
        self.values.len().checked_div(self.columns).unwrap_or(0)
    }

    pub(super) fn at(&self, i: usize, j: usize) -> f64 {
        self.values[i * self.columns + j]
    }

    /// Adds `weight·a·bᵀ`.
    pub(super) fn add_outer(&mut self, weight: f64, a: &[f64], b: &[f64]) {
        for (i, x) in a.iter().enumerate() {
            add_scaled(self.row_mut(i), weight * x, b);
        }
    }

    pub(super) fn add(&mut self, weight: f64, other: &Matrix) {
        add_scaled(&mut self.values, weight, &other.values);
    }

    pub(super) fn times(&self, other: &Matrix) -> Matrix {
        let mut product = Matrix::zeros(self.rows(), other.columns);
        for i in 0..self.rows() {
            for (k, x) in self.row(i).iter().enumerate() {
                add_scaled(product.row_mut(i), *x, other.row(k));
            }
        }
        product
    }

    pub(super) fn times_vector(&self, v: &[f64]) -> Vec<f64> {
        (0..self.rows()).map(|i| inner(self.row(i), v)).collect()
    }

    pub(super) fn transposed(&self) -> Matrix {
        let mut turned = Matrix::zeros(self.columns, self.rows());
        for i in 0..self.rows() {
            for (j, x) in self.row(i).iter().enumerate() {
                turned.values[j * turned.columns + i] = *x;
            }
        }
        turned
    }

    /// `tr(A·B)`.
    pub(super) fn trace_of_product(&self, other: &Matrix) -> f64 {
        let row = |i: usize| self.row(i).iter().enumerate().map(move |(j, x)| x * other.at(j, i)).sum::<f64>();
        (0..self.rows()).map(row).sum()
    }

    /// `aᵀMb`.
    pub(super) fn form(&self, a: &[f64], b: &[f64]) -> f64 {
        a.iter().enumerate().map(|(i, x)| x * inner(self.row(i), b)).sum()
    }
}

/// The inner product of two vectors of one length. Most of the time goes here: eight sums side by side keep the processor from waiting
/// for each addition, always in the same order.
pub(super) fn inner(a: &[f64], b: &[f64]) -> f64 {
    let ((blocks_a, rest_a), (blocks_b, rest_b)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    let mut sums = [0.0; 8];
    for (x, y) in blocks_a.iter().zip(blocks_b) {
        // By index and summed in pairs: so it becomes vector instructions.
        for i in 0..8 {
            sums[i] += x[i] * y[i];
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(x, y)| x * y).sum();
    let four = [sums[0] + sums[4], sums[1] + sums[5], sums[2] + sums[6], sums[3] + sums[7]];
    (four[0] + four[2]) + (four[1] + four[3]) + rest
}

pub(super) fn add_scaled(to: &mut [f64], weight: f64, from: &[f64]) {
    to.iter_mut().zip(from).for_each(|(t, f)| *t += weight * f);
}

/// Replaces the lower triangle of a symmetric matrix by its Cholesky factor and returns ln|A|; `None` where A is not positive definite.
pub(super) fn factor(a: &mut [f64], size: usize) -> Option<f64> {
    let mut log_determinant = 0.0;
    for i in 0..size {
        let (above, below) = a.split_at_mut(i * size);
        let row = &mut below[..size];
        for j in 0..i {
            let earlier = &above[j * size..j * size + size];
            row[j] = (row[j] - inner(&row[..j], &earlier[..j])) / earlier[j];
        }
        let pivot = row[i] - inner(&row[..i], &row[..i]);
        if !(pivot > 0.0 && pivot.is_finite()) {
            return None;
        }
        row[i] = pivot.sqrt();
        log_determinant += pivot.ln();
    }
    Some(log_determinant)
}

/// `L⁻¹b` in place.
pub(super) fn forward(l: &[f64], b: &mut [f64]) {
    let size = b.len();
    for i in 0..size {
        let row = &l[i * size..i * size + i + 1];
        b[i] = (b[i] - inner(&row[..i], &b[..i])) / row[i];
    }
}

/// `L⁻ᵀb` in place.
pub(super) fn backward(l: &[f64], b: &mut [f64]) {
    let size = b.len();
    for i in (0..size).rev() {
        b[i] /= l[i * size + i];
        let x = b[i];
        add_scaled(&mut b[..i], -x, &l[i * size..i * size + i]);
    }
}

/// `(LLᵀ)⁻¹`.
pub(super) fn inverse(l: &[f64], size: usize) -> Matrix {
    let mut inverse = Matrix::zeros(size, size);
    for i in 0..size {
        let row = inverse.row_mut(i);
        row[i] = 1.0;
        forward(l, row);
        backward(l, row);
    }
    // The two halves differ by rounding.
    for i in 0..size {
        for j in 0..i {
            let mean = 0.5 * (inverse.at(i, j) + inverse.at(j, i));
            inverse.values[i * size + j] = mean;
            inverse.values[j * size + i] = mean;
        }
    }
    inverse
}

/// Eigenvalues and eigenvectors (one a row) of a symmetric matrix; `None` where it holds a number that is not finite.
pub(super) fn eigen(a: &Matrix) -> Option<(Vec<f64>, Matrix)> {
    let size = a.rows();
    if a.values.iter().any(|x| !x.is_finite()) {
        return None;
    }
    if size == 0 {
        return Some((Vec::new(), Matrix::default()));
    }
    let dense = Mat::from_fn(size, size, |i, j| 0.5 * (a.at(i, j) + a.at(j, i)));
    let found = dense.self_adjoint_eigen(Side::Lower).ok()?;
    let values = (0..size).map(|i| found.S()[i]).collect();
    let mut vectors = Matrix::zeros(size, size);
    for i in 0..size {
        for (j, x) in vectors.row_mut(i).iter_mut().enumerate() {
            *x = found.U()[(j, i)];
        }
    }
    Some((values, vectors))
}

/// The inverse of a symmetric positive semidefinite matrix on the directions that it tells apart: after scaling to a unit diagonal,
/// eigenvalues at or under `tolerance` count as none, and so do directions with no positive diagonal.
pub(super) fn generalised_inverse(a: &Matrix, tolerance: f64) -> Option<Matrix> {
    let size = a.rows();
    let units: Vec<f64> = (0..size).map(|i| a.at(i, i)).map(|d| if d > 0.0 { d.sqrt().recip() } else { 0.0 }).collect();
    let mut scaled = a.clone();
    for i in 0..size {
        for j in 0..size {
            scaled.values[i * size + j] *= units[i] * units[j];
        }
    }
    let (values, vectors) = eigen(&scaled)?;
    let mut inverse = Matrix::zeros(size, size);
    for (i, value) in values.iter().enumerate().filter(|(_, value)| **value > tolerance) {
        let direction: Vec<f64> = vectors.row(i).iter().zip(&units).map(|(x, unit)| x * unit).collect();
        inverse.add_outer(value.recip(), &direction, &direction);
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn example() -> Matrix {
        Matrix { columns: 3, values: vec![4.0, 2.0, 0.4, 2.0, 5.0, 1.0, 0.4, 1.0, 3.0] }
    }

    #[test]
    fn the_factor_gives_the_determinant_and_the_inverse() {
        let a = example();
        let mut l = a.values.clone();
        let log_determinant = factor(&mut l, 3).unwrap();
        // 4(15 − 1) − 2(6 − 0.4) + 0.4(2 − 2)
        assert_relative_eq!(log_determinant.exp(), 44.8, max_relative = 1e-14);
        for product in [a.times(&inverse(&l, 3)), a.times(&generalised_inverse(&a, 1e-12).unwrap())] {
            for i in 0..3 {
                for j in 0..3 {
                    assert_relative_eq!(product.at(i, j), f64::from(u8::from(i == j)), epsilon = 1e-14);
                }
            }
        }
        assert_eq!(factor(&mut [1.0, 2.0, 2.0, 1.0], 2), None);
    }

    #[test]
    fn a_direction_without_spread_has_no_inverse_and_leaves_the_rest() {
        let a = Matrix { columns: 3, values: vec![2.0, 2.0, 0.0, 2.0, 2.0, 0.0, 0.0, 0.0, 0.0] };
        let inverse = generalised_inverse(&a, 1e-10).unwrap();
        // Moore and Penrose's for the block of twos: 1/8 everywhere.
        for (i, expected) in [0.125, 0.125, 0.0, 0.125, 0.125, 0.0, 0.0, 0.0, 0.0].iter().enumerate() {
            assert_relative_eq!(inverse.values[i], *expected, epsilon = 1e-14);
        }
    }
}
