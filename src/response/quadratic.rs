//! Parabola: f(N) = a + b·N + c·N².

use super::curve::Coefficients;

/// Basis columns besides the intercept.
pub(super) const BASIS: [fn(f64) -> f64; 2] = [|rate| rate, |rate| rate * rate];

/// From slope and curvature on rates divided by `top`.
pub(super) fn coefficients(intercept: f64, slope: f64, curvature: f64, top: f64) -> Coefficients {
    Coefficients { slope: Some(slope / top), curvature: Some(curvature / top / top), ..Coefficients::level(intercept) }
}

pub(super) fn value(c: &Coefficients, rate: f64) -> f64 {
    c.intercept + rate * (c.slope.unwrap_or(0.0) + rate * c.curvature.unwrap_or(0.0))
}

pub(super) fn slope(c: &Coefficients, rate: f64) -> f64 {
    c.slope.unwrap_or(0.0) + 2.0 * rate * c.curvature.unwrap_or(0.0)
}

/// The rate where the slope equals `ratio`.
pub(super) fn slope_equals(c: &Coefficients, ratio: f64) -> f64 {
    (ratio - c.slope.unwrap_or(0.0)) / (2.0 * c.curvature.unwrap_or(0.0))
}
