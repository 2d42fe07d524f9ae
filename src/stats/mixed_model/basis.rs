//! Orthonormal columns that span given ones, the earlier columns first.
//!
//! Least squares elsewhere pivots by length ([`crate::stats::least_squares::Factor`]). Here the order counts: of columns that span
//! each other the *later* is left out, as the field's tables do, and the restricted likelihood depends on which are kept.

use super::dense::{add_scaled, inner};

/// Orthonormal columns and every given column's coordinates in them.
#[derive(Clone, Debug)]
pub(super) struct Basis {
    /// Orthonormal columns.
    pub(super) q: Vec<Vec<f64>>,
    /// The coordinates of each given column, of length `q.len()`.
    pub(super) coordinates: Vec<Vec<f64>>,
    /// The given columns that make the basis, ascending.
    pub(super) kept: Vec<usize>,
}

impl Basis {
    /// Gram and Schmidt's process, each projection done twice, which keeps the columns orthogonal to rounding (Giraud, Langou &
    /// Rozložník 2005, Comput. Math. Appl. 50:1069-1075). A column of which no more than `tolerance` is left is spanned by others.
    pub(super) fn new(columns: &[Vec<f64>], tolerance: f64) -> Self {
        let mut basis = Self { q: Vec::new(), coordinates: Vec::with_capacity(columns.len()), kept: Vec::new() };
        for (index, column) in columns.iter().enumerate() {
            let length = length(column);
            let mut left = column.clone();
            let mut coordinates = basis.take_out(&mut left);
            let rest = self::length(&left);
            if rest > tolerance * length && length > 0.0 {
                left.iter_mut().for_each(|x| *x /= rest);
                coordinates.push(rest);
                basis.q.push(left);
                basis.kept.push(index);
            }
            basis.coordinates.push(coordinates);
        }
        let rank = basis.q.len();
        basis.coordinates.iter_mut().for_each(|coordinates| coordinates.resize(rank, 0.0));
        basis
    }

    /// Takes its projection out of a vector and returns the coordinates of what was taken.
    pub(super) fn take_out(&self, v: &mut [f64]) -> Vec<f64> {
        let mut coordinates = vec![0.0; self.q.len()];
        for _ in 0..2 {
            for (q, coordinate) in self.q.iter().zip(&mut coordinates) {
                let along = inner(q, v);
                *coordinate += along;
                add_scaled(v, -along, q);
            }
        }
        coordinates
    }

    /// The vector `w` with `c·b̂ = w·g` for coefficients `b̂` of the given columns and `g` of the orthonormal ones; `None` where the
    /// contrast is not estimable: where it does not follow a column that is left out as that column follows the others.
    pub(super) fn whitened(&self, contrast: &[f64]) -> Option<Vec<f64>> {
        if contrast.len() != self.coordinates.len() || contrast.iter().any(|c| !c.is_finite()) {
            return None;
        }
        let w = self.forward(contrast);
        let follows = |(wanted, coordinates): (&f64, &Vec<f64>)| {
            let implied = inner(coordinates, &w);
            let size = wanted.abs().max(length(coordinates) * length(&w));
            (wanted - implied).abs() <= ESTIMABLE * size
        };
        contrast.iter().zip(&self.coordinates).all(follows).then_some(w)
    }

    /// Forward substitution over the kept columns: the `w` of a contrast that counts coefficients left out as zero.
    pub(super) fn forward(&self, contrast: &[f64]) -> Vec<f64> {
        let mut w: Vec<f64> = Vec::with_capacity(self.kept.len());
        for (i, kept) in self.kept.iter().enumerate() {
            let column = &self.coordinates[*kept];
            w.push((contrast[*kept] - inner(&column[..i], &w)) / column[i]);
        }
        w
    }

    /// The coefficients of the given columns for those of the orthonormal ones; `None` for a column that others span.
    pub(super) fn coefficients(&self, g: &[f64]) -> Vec<Option<f64>> {
        let mut b = vec![None; self.coordinates.len()];
        for (i, kept) in self.kept.iter().enumerate().rev() {
            let later = self.kept[i + 1..].iter();
            let known: f64 = later.map(|c| self.coordinates[*c][i] * b[*c].unwrap_or(0.0)).sum();
            b[*kept] = Some((g[i] - known) / self.coordinates[*kept][i]);
        }
        b
    }

    /// `ln|RᵀR|` for the kept columns.
    pub(super) fn log_determinant(&self) -> f64 {
        self.kept.iter().enumerate().map(|(i, kept)| 2.0 * self.coordinates[*kept][i].abs().ln()).sum()
    }
}

/// How far a contrast may miss the columns that are left out and still count as following them.
const ESTIMABLE: f64 = 1e-7;

/// The Euclidean length, without overflow for large values.
pub(super) fn length(v: &[f64]) -> f64 {
    let largest = v.iter().fold(0.0_f64, |largest, x| if x.is_nan() { f64::NAN } else { largest.max(x.abs()) });
    if largest == 0.0 || !largest.is_finite() {
        return largest;
    }
    largest * v.iter().map(|x| (x / largest).powi(2)).sum::<f64>().sqrt()
}
