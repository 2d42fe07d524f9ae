//! Linear least squares by QR with column pivoting: never the normal equations, and the rank is known.

use faer::Mat;

/// A column counts as a linear combination of earlier ones if, after scaling to unit length, this little of it is left.
const RANK_TOLERANCE: f64 = 1e-10;

/// Why a least-squares problem could not be posed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LeastSquaresError {
    /// Columns and response differ in length.
    #[error("the columns and the response differ in length")]
    LengthsDiffer,
    /// A number is NaN or infinite.
    #[error("a column or the response holds a number that is not finite")]
    NotFinite,
}

/// A thin QR factorisation of unit-length columns with column pivoting, cut at the rank.
#[derive(Clone, Debug)]
pub struct Factor {
    rank: usize,
    rows: usize,
    /// Orthonormal columns one after the other, `rows × rank`.
    q: Vec<f64>,
    /// The columns' coordinates in `q` one after the other, `rank × columns`, in the order in which the columns came.
    r: Vec<f64>,
    /// Columns in pivoting order: the first `rank` of them span all.
    pivots: Vec<usize>,
}

impl Factor {
    /// Factors `columns`, all of the length `rows`.
    ///
    /// # Errors
    /// A column of another length, or a number that is not finite.
    pub fn new(columns: &[Vec<f64>], rows: usize) -> Result<Self, LeastSquaresError> {
        if columns.iter().any(|column| column.len() != rows) {
            return Err(LeastSquaresError::LengthsDiffer);
        }
        let lengths: Vec<f64> = columns.iter().map(|column| length(column)).collect();
        if lengths.iter().any(|length| !length.is_finite()) {
            return Err(LeastSquaresError::NotFinite);
        }
        let kept: Vec<usize> = (0..columns.len()).filter(|c| lengths[*c] > 0.0).collect();
        if kept.is_empty() || rows == 0 {
            return Ok(Self { rank: 0, rows, q: Vec::new(), r: Vec::new(), pivots: (0..columns.len()).collect() });
        }
        let unit = Mat::from_fn(rows, kept.len(), |i, c| columns[kept[c]][i] / lengths[kept[c]]);
        let factored = unit.col_piv_qr();
        let triangle = factored.thin_R();
        let order = factored.P().arrays().0;
        let largest = triangle[(0, 0)].abs();
        let steps = rows.min(kept.len());
        let rank = (0..steps).take_while(|i| triangle[(*i, *i)].abs() > RANK_TOLERANCE * largest).count();
        let thin = factored.compute_thin_Q();
        let q = (0..rank).flat_map(|c| (0..rows).map(move |i| (i, c))).map(|place| thin[place]).collect();
        let mut r = vec![0.0; rank * columns.len()];
        for (position, original) in order.iter().enumerate() {
            let column = kept[*original];
            for i in 0..rank.min(position + 1) {
                r[column * rank + i] = triangle[(i, position)] * lengths[column];
            }
        }
        let mut pivots: Vec<usize> = order.iter().map(|original| kept[*original]).collect();
        pivots.extend((0..columns.len()).filter(|c| lengths[*c] == 0.0));
        Ok(Self { rank, rows, q, r, pivots })
    }

    /// The factorisation of no columns at all.
    pub fn empty(rows: usize) -> Self {
        Self { rank: 0, rows, q: Vec::new(), r: Vec::new(), pivots: Vec::new() }
    }

    /// The number of linearly independent columns.
    pub fn rank(&self) -> usize {
        self.rank
    }

    /// Column `c` of the factored matrix in the orthonormal coordinates, of length [`rank`](Self::rank).
    pub fn coordinates(&self, c: usize) -> &[f64] {
        self.r.get(c * self.rank..(c + 1) * self.rank).unwrap_or(&[])
    }

    /// `Qᵀv`, of length [`rank`](Self::rank). `v` must have as many rows as the factored columns.
    pub fn project(&self, v: &[f64]) -> Vec<f64> {
        self.basis().map(|column| dot(column, v)).collect()
    }

    /// `v − QQᵀv` for `projected = Qᵀv`.
    pub fn residuals(&self, v: &[f64], projected: &[f64]) -> Vec<f64> {
        let mut left = v.to_vec();
        for (column, coordinate) in self.basis().zip(projected) {
            left.iter_mut().zip(column).for_each(|(value, q)| *value -= coordinate * q);
        }
        left
    }

    /// The orthonormal columns, [`rank`](Self::rank) of them.
    pub fn basis(&self) -> impl Iterator<Item = &[f64]> {
        self.q.chunks_exact(self.rows.max(1)).take(self.rank)
    }

    /// Solves `R·b = projected` for the pivot columns; `None` for each column that others already span.
    pub fn solve(&self, projected: &[f64]) -> Vec<Option<f64>> {
        let mut solution = vec![None; self.pivots.len()];
        for i in (0..self.rank).rev() {
            let mut value = projected.get(i).copied().unwrap_or(0.0);
            for later in self.pivots[i + 1..self.rank].iter() {
                value -= self.coordinates(*later)[i] * solution[*later].unwrap_or(0.0);
            }
            let pivot = self.pivots[i];
            solution[pivot] = Some(value / self.coordinates(pivot)[i]);
        }
        solution
    }

    /// `cᵀ(XᵀX)⁻¹c` for the contrast `c` of the coefficients, the variance of its estimate in units of the error variance.
    ///
    /// `None` where the contrast rests on a column that others already span.
    pub fn variance_factor(&self, contrast: &[f64]) -> Option<f64> {
        let weight = |c: &usize| contrast.get(*c).copied().unwrap_or(0.0);
        if self.pivots[self.rank..].iter().any(|c| weight(c) != 0.0) {
            return None;
        }
        let w = self.forward(contrast);
        Some(dot(&w, &w))
    }

    /// The vector `w` with `c·b̂ = w·Qᵀy` for the contrast `c` of the coefficients, of length [`rank`](Self::rank): ‖w‖² is the variance
    /// of the contrast and `w·v` its covariance with another one, in units of the error variance.
    ///
    /// `None` where the contrast is not estimable: where it does not follow a column that others span as that column follows them.
    pub fn whitened(&self, contrast: &[f64]) -> Option<Vec<f64>> {
        let w = self.forward(contrast);
        let follows = |c: &usize| {
            let wanted = contrast.get(*c).copied().unwrap_or(0.0);
            let implied = dot(self.coordinates(*c), &w);
            let size = wanted.abs().max(length(self.coordinates(*c)) * length(&w));
            (wanted - implied).abs() <= RANK_TOLERANCE.sqrt() * size
        };
        self.pivots[self.rank..].iter().all(follows).then_some(w)
    }

    /// Forward substitution Rᵀw = c over the pivot columns.
    fn forward(&self, contrast: &[f64]) -> Vec<f64> {
        let mut w = vec![0.0; self.rank];
        for i in 0..self.rank {
            let pivot = self.pivots[i];
            let column = self.coordinates(pivot);
            let known: f64 = (0..i).map(|j| column[j] * w[j]).sum();
            w[i] = (contrast.get(pivot).copied().unwrap_or(0.0) - known) / column[i];
        }
        w
    }
}

/// A solved least-squares problem.
#[derive(Clone, Debug)]
pub struct Solution {
    /// A coefficient a column, in order; `None` where earlier columns already span it (it then counts as zero).
    pub coefficients: Vec<Option<f64>>,
    /// Observed minus fitted.
    pub residuals: Vec<f64>,
    /// The residual sum of squares.
    pub rss: f64,
    /// Observations minus rank.
    pub df: usize,
    /// The factorisation, for variances.
    pub factor: Factor,
}

impl Solution {
    /// The residual variance `rss / df`; `None` without degrees of freedom.
    pub fn variance(&self) -> Option<f64> {
        (self.df > 0).then(|| self.rss / self.df as f64)
    }

    /// The standard error of the contrast of the coefficients; `None` without degrees of freedom or where it is not estimable.
    pub fn standard_error(&self, contrast: &[f64]) -> Option<f64> {
        Some((self.variance()? * self.factor.variance_factor(contrast)?).sqrt())
    }
}

/// Solves `min ‖y − Xb‖²` for the columns of X. For weights, multiply columns and `y` by their square roots.
///
/// # Errors
/// See [`LeastSquaresError`].
pub fn solve(columns: &[Vec<f64>], y: &[f64]) -> Result<Solution, LeastSquaresError> {
    if y.iter().any(|value| !value.is_finite()) {
        return Err(LeastSquaresError::NotFinite);
    }
    let factor = Factor::new(columns, y.len())?;
    let projected = factor.project(y);
    let residuals = factor.residuals(y, &projected);
    let rss = dot(&residuals, &residuals);
    let coefficients = factor.solve(&projected);
    Ok(Solution { coefficients, rss, df: y.len() - factor.rank(), residuals, factor })
}

/// The inner product of two vectors of one length.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// The Euclidean length, without overflow for large values.
fn length(v: &[f64]) -> f64 {
    let largest = v.iter().fold(0.0_f64, |largest, x| if x.is_nan() { f64::NAN } else { largest.max(x.abs()) });
    if largest == 0.0 || !largest.is_finite() {
        return largest;
    }
    largest * v.iter().map(|x| (x / largest).powi(2)).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_straight_line_has_its_textbook_standard_errors() {
        // R: summary(lm(c(1, 3, 2, 5, 4) ~ I(0:4))): intercept 1.4 (0.8485281), slope 0.8 (0.3464102), rss 3.6.
        let columns = [vec![1.0; 5], vec![0.0, 1.0, 2.0, 3.0, 4.0]];
        let solution = solve(&columns, &[1.0, 3.0, 2.0, 5.0, 4.0]).unwrap();
        assert_relative_eq!(solution.coefficients[0].unwrap(), 1.4, max_relative = 1e-13);
        assert_relative_eq!(solution.coefficients[1].unwrap(), 0.8, max_relative = 1e-13);
        assert_relative_eq!(solution.rss, 3.6, max_relative = 1e-13);
        assert_relative_eq!(solution.standard_error(&[1.0, 0.0]).unwrap(), 0.72_f64.sqrt(), max_relative = 1e-12);
        assert_relative_eq!(solution.standard_error(&[0.0, 1.0]).unwrap(), 0.12_f64.sqrt(), max_relative = 1e-12);
    }

    #[test]
    fn a_repeated_column_is_named_and_the_fit_stands() {
        let line = vec![0.0, 1.0, 2.0, 3.0];
        let columns = [vec![1.0; 4], line.clone(), line.iter().map(|x| 3.0 * x - 1.0).collect(), vec![0.0; 4]];
        let solution = solve(&columns, &[1.0, 2.0, 4.0, 4.5]).unwrap();
        assert_eq!(solution.factor.rank(), 2);
        assert_eq!(solution.coefficients.iter().filter(|c| c.is_none()).count(), 2);
        let plain = solve(&columns[..2], &[1.0, 2.0, 4.0, 4.5]).unwrap();
        assert_relative_eq!(solution.rss, plain.rss, max_relative = 1e-12);
    }

    #[test]
    fn a_contrast_of_dependent_columns_is_estimable_only_where_it_follows_them() {
        // The second column is twice the first: only b₁ + 2·b₂ is known, with the variance of the slope on the first.
        let first = vec![-1.0, 0.0, 1.0, 2.0];
        let factor = Factor::new(&[first.clone(), first.iter().map(|x| 2.0 * x).collect()], 4).unwrap();
        let w = factor.whitened(&[1.0, 2.0]).unwrap();
        assert_relative_eq!(dot(&w, &w), 1.0 / 6.0, max_relative = 1e-12);
        assert_eq!(factor.whitened(&[1.0, 0.0]), None);
        assert_eq!(factor.whitened(&[0.0, 1.0]), None);
    }

    #[test]
    fn columns_of_very_different_size_keep_their_rank() {
        let columns = [vec![1e-9; 4], vec![0.0, 1e9, 2e9, 3e9]];
        assert_eq!(Factor::new(&columns, 4).unwrap().rank(), 2);
    }

    #[test]
    fn numbers_that_are_not_finite_and_ragged_columns_are_refused() {
        assert_eq!(solve(&[vec![1.0, f64::NAN]], &[1.0, 2.0]).unwrap_err(), LeastSquaresError::NotFinite);
        assert_eq!(solve(&[vec![1.0, 1.0]], &[1.0, f64::INFINITY]).unwrap_err(), LeastSquaresError::NotFinite);
        assert_eq!(solve(&[vec![1.0]], &[1.0, 2.0]).unwrap_err(), LeastSquaresError::LengthsDiffer);
    }

    #[test]
    fn no_columns_leave_everything_in_the_residuals() {
        let solution = solve(&[], &[3.0, 4.0]).unwrap();
        assert_eq!((solution.rss, solution.df), (25.0, 2));
    }
}
