//! Linear regression with a normal error where some responses are known only as a bound.
//!
//! `yᵢ = xᵢ·β + σ εᵢ`, ε standard normal. A response is exact, or the truth is known only to lie at or
//! under a limit, or at or over one. Estimation is by maximum likelihood, in the parameters `δ = β/σ`,
//! `γ = 1/σ` in which the log-likelihood is concave (Olsen 1978, Econometrica 46:1211-1215), so a
//! maximum, where there is one, is the only one.

mod existence;
mod likelihood;
mod normal_tail;

use faer::Mat;
use faer::linalg::solvers::{ColPivQr, SolveLstsqCore};
use likelihood::{Likelihood, Row};
use thiserror::Error;

/// What is known of one response.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Response {
    /// The response itself.
    Exact(f64),
    /// The response is this or less: left-censored here.
    AtMost(f64),
    /// The response is this or more: right-censored here.
    AtLeast(f64),
}

impl Response {
    /// The response, or its limit where it is censored.
    pub fn limit(self) -> f64 {
        match self {
            Response::Exact(y) | Response::AtMost(y) | Response::AtLeast(y) => y,
        }
    }
}

/// A regression with censored responses, fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct CensoredFit {
    /// β, one a column of the design, in units of the response ÷ the column's.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the error, in units of the response. Where every response is exact:
    /// √(RSS/(n − p)); otherwise the maximum likelihood estimate, which has no such correction and is
    /// therefore smaller for few rows.
    pub sigma: f64,
    /// The largest log-likelihood. Where every response is exact it is that of the variance RSS/n, and
    /// +∞ if RSS is 0.
    pub log_likelihood: f64,
    /// Whether the search ended at the maximum: the gain still to be had was below 10⁻²⁰.
    pub converged: bool,
    /// Steps of the search; 0 where every response is exact.
    pub iterations: u64,
    /// Number of exact responses.
    pub exact: usize,
    /// Number of responses known to be at most a limit.
    pub at_most: usize,
    /// Number of responses known to be at least a limit.
    pub at_least: usize,
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum CensoredError {
    /// One row of the design belongs to each response.
    #[error("{rows} rows of the design but {responses} responses: give one row a response")]
    Lengths {
        /// Rows given.
        rows: usize,
        /// Responses given.
        responses: usize,
    },
    /// Rows of unequal length, or without any column.
    #[error("row {row} (from 0) has {columns} columns where {expected} are needed")]
    Columns {
        /// Position of the row, from 0.
        row: usize,
        /// Its length.
        columns: usize,
        /// The length of the first row, at least 1.
        expected: usize,
    },
    /// A number that is not finite.
    #[error("row {row} (from 0) holds {value}: finite numbers are needed")]
    NotFinite {
        /// Position of the row, from 0.
        row: usize,
        /// The value as given.
        value: f64,
    },
    /// The columns do not differ enough to tell their coefficients apart.
    #[error("the {columns} columns have rank {rank}: more rows, or fewer columns, are needed")]
    RankDeficient {
        /// Columns of the design.
        columns: usize,
        /// How many of them are independent.
        rank: usize,
    },
    /// As many coefficients as rows: nothing is left to estimate the error from.
    #[error("{rows} rows for {columns} coefficients leave no degrees of freedom for the error")]
    NoDegreesOfFreedom {
        /// Rows of the design.
        rows: usize,
        /// Columns of the design.
        columns: usize,
    },
    /// Every response is censored. With all on one side the likelihood has no maximum; with both sides
    /// it may have one, but its σ would rest on the limits alone, so it isn't offered.
    #[error(
        "no response is exact ({at_most} at most, {at_least} at least a limit): \
         the size of the error can't be estimated"
    )]
    NoExactResponse {
        /// Number of responses known to be at most a limit.
        at_most: usize,
        /// Number of responses known to be at least a limit.
        at_least: usize,
    },
    /// The exact responses lie on one fit with which every limit agrees: the likelihood grows without
    /// bound as σ goes to 0.
    #[error("the {exact} exact responses are fitted without error and every limit agrees")]
    PerfectFit {
        /// Number of exact responses.
        exact: usize,
    },
    /// The exact responses leave a combination of coefficients open and the censored ones all push it
    /// one way: it would run to infinity.
    #[error(
        "the {exact} exact responses leave a coefficient open that the limits push to infinity: \
         exact responses at more values of the columns are needed"
    )]
    Separated {
        /// Number of exact responses.
        exact: usize,
    },
}

/// A column counts as a combination of others if less than this share of it is left: far above
/// rounding (10⁻¹⁶), far below what a column measured to nine digits can mean.
pub(crate) const RANK_TOLERANCE: f64 = 1e-9;

/// Fits `responses` by the columns of `design`, with a normal error.
///
/// `design` has one row a response and one column a coefficient, an intercept being a column of ones.
/// Where every response is exact this is least squares through a column-pivoted QR and no search.
/// Otherwise the columns are made orthonormal, the response is centred on its least-squares fit and
/// scaled by what that leaves, and the likelihood is maximised by L-BFGS and then Newton's method. So
/// neither shift nor scale of columns or response matters, within [`RankDeficient`]'s tolerance of one
/// part in 10⁹.
///
/// [`RankDeficient`]: CensoredError::RankDeficient
///
/// # Errors
/// [`CensoredError`] says why a likelihood has no maximum, or what is wrong with the input.
///
/// # Example
/// ```
/// use stook::stats::censored::{Response, fit};
/// let design: Vec<Vec<f64>> = [0.7, 0.8, 0.9, 1.0].iter().map(|&x| vec![1.0, x]).collect();
/// let need = [92.0, 61.0, 28.0, 2.0].map(Response::Exact);
/// let line = fit(&design, &need)?;
/// assert!((line.coefficients[1] - -303.0).abs() < 1e-9);
/// # Ok::<(), stook::stats::censored::CensoredError>(())
/// ```
pub fn fit(design: &[Vec<f64>], responses: &[Response]) -> Result<CensoredFit, CensoredError> {
    let columns = checked_columns(design, responses)?;
    let count = |is: fn(&Response) -> bool| responses.iter().filter(|r| is(r)).count();
    let exact = count(|r| matches!(r, Response::Exact(_)));
    let at_most = count(|r| matches!(r, Response::AtMost(_)));
    let at_least = count(|r| matches!(r, Response::AtLeast(_)));

    let basis = Basis::new(design, columns)?;
    if exact == 0 {
        return Err(CensoredError::NoExactResponse { at_most, at_least });
    }
    let rows = design.len();
    let unit = nonzero(responses.iter().map(|r| r.limit().abs()).fold(0.0, f64::max));
    let y: Vec<f64> = responses.iter().map(|r| r.limit() / unit).collect();
    let start = basis.project(&y);
    let residuals: Vec<f64> = (0..rows).map(|i| y[i] - dot(&basis.rows[i], &start)).collect();
    let rss = dot(&residuals, &residuals);

    if exact == rows {
        let df = rows.checked_sub(columns).filter(|&df| df > 0);
        let df = df.ok_or(CensoredError::NoDegreesOfFreedom { rows, columns })?;
        let n = rows as f64;
        let variance = rss / n * unit * unit;
        let two_pi = 2.0 * std::f64::consts::PI;
        return Ok(CensoredFit {
            coefficients: basis.coefficients(&start, unit),
            sigma: (rss / df as f64).sqrt() * unit,
            log_likelihood: -0.5 * n * (two_pi.ln() + variance.ln() + 1.0),
            converged: true,
            iterations: 0,
            exact,
            at_most,
            at_least,
        });
    }

    // Residuals of pure rounding would be taken for an error of their own.
    if rss.sqrt() <= RANK_TOLERANCE * dot(&y, &y).sqrt() {
        return Err(CensoredError::PerfectFit { exact });
    }
    let scale = (rss / rows as f64).sqrt();
    let likelihood =
        Likelihood::new((0..rows).map(|i| Row::new(&basis.rows[i], residuals[i] / scale, responses[i])).collect());
    existence::check(&likelihood, exact)?;
    let best = likelihood.maximise();
    let standardised: Vec<f64> = (0..columns).map(|j| start[j] + scale * best.slopes[j] / best.precision).collect();
    Ok(CensoredFit {
        coefficients: basis.coefficients(&standardised, unit),
        sigma: scale * unit / best.precision,
        log_likelihood: best.log_likelihood - exact as f64 * (scale.ln() + unit.ln()),
        converged: best.converged,
        iterations: best.iterations,
        exact,
        at_most,
        at_least,
    })
}

/// The number of columns, once rows and responses are known to be finite and to match.
fn checked_columns(design: &[Vec<f64>], responses: &[Response]) -> Result<usize, CensoredError> {
    if design.len() != responses.len() {
        return Err(CensoredError::Lengths { rows: design.len(), responses: responses.len() });
    }
    let expected = design.first().map_or(0, Vec::len).max(1);
    for (row, (x, response)) in design.iter().zip(responses).enumerate() {
        if x.len() != expected {
            return Err(CensoredError::Columns { row, columns: x.len(), expected });
        }
        let numbers = x.iter().copied().chain([response.limit()]);
        if let Some(value) = numbers.into_iter().find(|v| !v.is_finite()) {
            return Err(CensoredError::NotFinite { row, value });
        }
    }
    if design.len() < expected {
        return Err(CensoredError::RankDeficient { columns: expected, rank: design.len() });
    }
    Ok(expected)
}

/// Orthonormal columns (times √n, so that each has mean square 1) that span those of a design.
struct Basis {
    rows: Vec<Vec<f64>>,
    qr: ColPivQr<f64>,
    column_units: Vec<f64>,
}

impl Basis {
    fn new(design: &[Vec<f64>], columns: usize) -> Result<Basis, CensoredError> {
        let n = design.len();
        let largest = |j: usize| design.iter().map(|row| row[j].abs()).fold(0.0, f64::max);
        let column_units: Vec<f64> = (0..columns).map(|j| nonzero(largest(j))).collect();
        let qr = Mat::from_fn(n, columns, |i, j| design[i][j] / column_units[j]).col_piv_qr();
        let rank = diagonal_rank(&qr);
        if rank < columns {
            return Err(CensoredError::RankDeficient { columns, rank });
        }
        let q = qr.compute_thin_Q();
        let root = (n as f64).sqrt();
        let rows = (0..n).map(|i| (0..columns).map(|j| q[(i, j)] * root).collect()).collect();
        Ok(Basis { rows, qr, column_units })
    }

    /// Coordinates in the basis of the point nearest to `y`.
    fn project(&self, y: &[f64]) -> Vec<f64> {
        let columns = self.column_units.len();
        let n = y.len() as f64;
        (0..columns).map(|j| self.rows.iter().zip(y).map(|(z, y)| z[j] * y).sum::<f64>() / n).collect()
    }

    /// Coefficients of the design's own columns, of a point given by its coordinates in the basis.
    fn coefficients(&self, coordinates: &[f64], unit: f64) -> Vec<f64> {
        let mut point = Mat::from_fn(self.rows.len(), 1, |i, _| dot(&self.rows[i], coordinates));
        self.qr.solve_lstsq_in_place_with_conj(faer::Conj::No, point.as_mut());
        let units = self.column_units.iter().enumerate();
        units.map(|(j, u)| point[(j, 0)] / u * unit).collect()
    }
}

/// How many columns of a pivoted decomposition are more than rounding.
fn diagonal_rank(qr: &ColPivQr<f64>) -> usize {
    let r = qr.thin_R();
    let size = r.nrows().min(r.ncols());
    let floor = RANK_TOLERANCE * if size > 0 { r[(0, 0)].abs() } else { 0.0 };
    (0..size).take_while(|&j| r[(j, j)].abs() > floor).count()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// A divisor: 1 in place of 0.
fn nonzero(value: f64) -> f64 {
    if value > 0.0 { value } else { 1.0 }
}

#[cfg(test)]
mod tests;
