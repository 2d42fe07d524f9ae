//! Mean only: f(N) = a.

use super::curve::Coefficients;

/// Basis columns besides the intercept: none.
pub(super) const BASIS: [fn(f64) -> f64; 0] = [];

pub(super) fn coefficients(intercept: f64) -> Coefficients {
    Coefficients::level(intercept)
}

pub(super) fn value(c: &Coefficients, _rate: f64) -> f64 {
    c.intercept
}

pub(super) fn slope(_c: &Coefficients, _rate: f64) -> f64 {
    0.0
}
