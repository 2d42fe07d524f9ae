//! Straight line: f(N) = a + b·N.

use super::curve::Coefficients;

/// Basis columns besides the intercept.
pub(super) const BASIS: [fn(f64) -> f64; 1] = [|rate| rate];

/// From the slope on rates divided by `top`.
pub(super) fn coefficients(intercept: f64, slope: f64, top: f64) -> Coefficients {
    Coefficients { slope: Some(slope / top), ..Coefficients::level(intercept) }
}

pub(super) fn value(c: &Coefficients, rate: f64) -> f64 {
    c.intercept + c.slope.unwrap_or(0.0) * rate
}

pub(super) fn slope(c: &Coefficients, _rate: f64) -> f64 {
    c.slope.unwrap_or(0.0)
}
