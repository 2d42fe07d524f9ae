//! Square root: f(N) = a + b·√N + c·N.

use super::curve::Coefficients;

/// Basis columns besides the intercept.
pub(super) const BASIS: [fn(f64) -> f64; 2] = [f64::sqrt, |rate| rate];

/// From the factors of √N and N on rates divided by `top`.
pub(super) fn coefficients(intercept: f64, root: f64, slope: f64, top: f64) -> Coefficients {
    Coefficients { root: Some(root / top.sqrt()), slope: Some(slope / top), ..Coefficients::level(intercept) }
}

pub(super) fn value(c: &Coefficients, rate: f64) -> f64 {
    c.intercept + c.root.unwrap_or(0.0) * rate.sqrt() + c.slope.unwrap_or(0.0) * rate
}

/// Infinite at N = 0, with the sign of b.
pub(super) fn slope(c: &Coefficients, rate: f64) -> f64 {
    let root = c.root.unwrap_or(0.0);
    let bend = if root == 0.0 { 0.0 } else { 0.5 * root / rate.sqrt() };
    bend + c.slope.unwrap_or(0.0)
}

/// The rate where the slope equals `ratio`; NaN where the curve has that slope nowhere.
pub(super) fn slope_equals(c: &Coefficients, ratio: f64) -> f64 {
    let at = 0.5 * c.root.unwrap_or(0.0) / (ratio - c.slope.unwrap_or(0.0));
    if at >= 0.0 { at * at } else { f64::NAN }
}
