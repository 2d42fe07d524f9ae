//! Linear regression with a normal error where some responses are known only as a bound.
//!
//! `yᵢ = xᵢ·β + σ εᵢ`, ε standard normal. A response is exact, or the truth is known only to lie at or
//! under a limit, or at or over one. Estimation is by maximum likelihood, in the parameters `δ = β/σ`,
//! `γ = 1/σ` in which the log-likelihood is concave (Olsen 1978, Econometrica 46:1211-1215), so a
//! maximum, where there is one, is the only one.

mod existence;
mod likelihood;

use super::least_squares::{Factor, dot};
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
    /// Whether the search ended at the maximum: the gain still to be had was below 10⁻²⁰, or lost in rounding.
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

/// What is smaller than this, next to what it is a part of, is taken for rounding: far above the sixteenth
/// digit, far below what responses are measured to.
const ROUNDING: f64 = 1e-9;

/// Fits `responses` by the columns of `design`, with a normal error.
///
/// `design` has one row a response and one column a coefficient, an intercept being a column of ones.
/// Where every response is exact this is least squares through a column-pivoted QR and no search.
/// Otherwise the columns are made orthonormal, the response is centred on its least-squares fit and
/// scaled by what that leaves, and the likelihood is maximised by L-BFGS and then Newton's method. So
/// neither shift nor scale of columns or response matters, as long as the columns can be told apart.
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

    let column_units: Vec<f64> = (0..columns).map(|j| largest(design.iter().map(|row| row[j]))).collect();
    let scaled = column_units.iter().enumerate().map(|(j, unit)| design.iter().map(|row| row[j] / unit).collect());
    // Lengths match and the largest number is 1, so that only the rank can be wrong.
    let factor = Factor::new(&scaled.collect::<Vec<_>>(), design.len())
        .map_err(|_| CensoredError::RankDeficient { columns, rank: 0 })?;
    if factor.rank() < columns {
        return Err(CensoredError::RankDeficient { columns, rank: factor.rank() });
    }
    if exact == 0 {
        return Err(CensoredError::NoExactResponse { at_most, at_least });
    }
    let rows = design.len();
    let unit = largest(responses.iter().map(|response| response.limit()));
    let y: Vec<f64> = responses.iter().map(|response| response.limit() / unit).collect();
    let projected = factor.project(&y);
    let residuals = factor.residuals(&y, &projected);
    let rss = dot(&residuals, &residuals);
    let coefficients = |projected: &[f64]| -> Vec<f64> {
        // Of full rank, every column has its coefficient.
        let solved = factor.solve(projected).into_iter().map(|coefficient| coefficient.unwrap_or(0.0));
        solved.zip(&column_units).map(|(coefficient, column)| coefficient / column * unit).collect()
    };

    if exact == rows {
        let df = rows.checked_sub(columns).filter(|&df| df > 0);
        let df = df.ok_or(CensoredError::NoDegreesOfFreedom { rows, columns })?;
        let n = rows as f64;
        let variance = rss / n * unit * unit;
        let two_pi = 2.0 * std::f64::consts::PI;
        return Ok(CensoredFit {
            coefficients: coefficients(&projected),
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
    if rss.sqrt() <= ROUNDING * dot(&y, &y).sqrt() {
        return Err(CensoredError::PerfectFit { exact });
    }
    let root = (rows as f64).sqrt();
    let scale = rss.sqrt() / root;
    // Columns of mean square 1, as the response now has.
    let row = |(i, response): (usize, &Response)| {
        let z: Vec<f64> = factor.basis().map(|column| column[i] * root).collect();
        Row::new(&z, residuals[i] / scale, *response)
    };
    let likelihood = Likelihood::new(responses.iter().enumerate().map(row).collect());
    existence::check(&likelihood, exact)?;
    let best = likelihood.maximise();
    let moved = projected.iter().zip(&best.slopes).map(|(start, slope)| start + root * scale * slope / best.precision);
    Ok(CensoredFit {
        coefficients: coefficients(&moved.collect::<Vec<_>>()),
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

/// The largest size, to divide by: 1 where all are 0.
fn largest(values: impl Iterator<Item = f64>) -> f64 {
    let largest = values.map(f64::abs).fold(0.0, f64::max);
    if largest > 0.0 { largest } else { 1.0 }
}

#[cfg(test)]
mod tests;
