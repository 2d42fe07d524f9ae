//! The small problem that is left of the plots once nuisance means are out: min ‖z − b·R·g‖² over curves g of the distinct rates.

use crate::stats::least_squares::dot;
use std::ops::RangeInclusive;

/// A curve's column has no length if this little of its columns' lengths is left after projection.
const NO_CONTRAST: f64 = 1e-12;

/// `R` (a column a distinct rate), `z`, and the error sum of squares that no curve can explain.
#[derive(Clone, Debug)]
pub(super) struct Reduced {
    /// Distinct rates divided by the highest, ascending.
    rates: Vec<f64>,
    /// Column after column, `size` numbers each; together they sum to zero, because a constant is nuisance.
    columns: Vec<f64>,
    z: Vec<f64>,
    size: usize,
    pure_error: f64,
    /// The summed squared length of the columns, against which a column without contrast is known.
    scale: f64,
}

/// A curve's column set against `z`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Match {
    /// The least-squares factor of the column.
    pub slope: f64,
    /// The column's squared length.
    pub norm: f64,
    /// The residual sum of squares, pure error included.
    pub rss: f64,
}

impl Reduced {
    pub fn new(rates: Vec<f64>, columns: Vec<f64>, z: Vec<f64>, pure_error: f64) -> Self {
        let size = z.len();
        let scale = dot(&columns, &columns);
        Self { rates, columns, z, size, pure_error, scale }
    }

    pub fn rates(&self) -> &[f64] {
        &self.rates
    }

    /// The lowest tested rate.
    pub fn lowest(&self) -> f64 {
        self.rates.first().copied().unwrap_or(0.0)
    }

    pub fn z(&self) -> &[f64] {
        &self.z
    }

    pub fn pure_error(&self) -> f64 {
        self.pure_error
    }

    /// The sum of squares after nuisance means.
    pub fn total(&self) -> f64 {
        dot(&self.z, &self.z) + self.pure_error
    }

    pub fn column(&self, rate: usize) -> &[f64] {
        self.columns.get(rate * self.size..(rate + 1) * self.size).unwrap_or(&[])
    }

    /// Adds `weight` times the column of a rate to `sum`.
    pub fn add(&self, sum: &mut [f64], rate: usize, weight: f64) {
        sum.iter_mut().zip(self.column(rate)).for_each(|(total, entry)| *total += weight * entry);
    }

    /// Σ g(Rᵢ)·(column i) over the rates with index in `over`.
    pub fn sum(&self, over: RangeInclusive<usize>, g: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut sum = vec![0.0; self.size];
        for index in over {
            if let Some(rate) = self.rates.get(index) {
                self.add(&mut sum, index, g(*rate));
            }
        }
        sum
    }

    /// The projected column `R·g`, with g taken as its difference from the lowest rate so that a constant cancels exactly.
    pub fn curve(&self, g: impl Fn(f64) -> f64) -> Vec<f64> {
        let lowest = self.rates.first().map_or(0.0, |rate| g(*rate));
        self.sum(1..=self.rates.len().saturating_sub(1), |rate| g(rate) - lowest)
    }

    /// The best factor of a projected column and what it leaves; `None` where its curve is flat over the rates within groups.
    pub fn match_column(&self, x: &[f64]) -> Option<Match> {
        let norm = dot(x, x);
        if norm.is_nan() || norm <= NO_CONTRAST * NO_CONTRAST * self.scale {
            return None;
        }
        let slope = dot(x, &self.z) / norm;
        Some(Match { slope, norm, rss: self.rss_with_slope(x, slope) })
    }

    /// The best factor of a projected column for another `z`.
    pub fn slope_for(&self, x: &[f64], z: &[f64]) -> Option<f64> {
        let norm = dot(x, x);
        (norm > NO_CONTRAST * NO_CONTRAST * self.scale).then(|| dot(x, z) / norm)
    }

    /// The residual sum of squares of `slope` times a projected column, from the residuals themselves.
    pub fn rss_with_slope(&self, x: &[f64], slope: f64) -> f64 {
        let lack: f64 = self.z.iter().zip(x).map(|(z, x)| (z - slope * x).powi(2)).sum();
        lack + self.pure_error
    }
}
