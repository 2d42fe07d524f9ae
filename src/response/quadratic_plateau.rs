//! Quadratic-plateau: f(N) = a + b·(m − u·m²/2) with m = min(N, J) and J = 1/u. The shape is u, so that u → 0 is the straight line.
//!
//! In the field's words: rise of the plateau d = b/(2u), curvature c = −b·u/2 = −d/J², slope at zero b = 2d/J.

use super::curve::Coefficients;
use super::plateau::Stretch;
use super::reduced::Reduced;

/// The column of the initial slope b for the shape `u` = 1/join.
pub(super) fn basis(rate: f64, u: f64) -> f64 {
    if rate * u < 1.0 { rate - 0.5 * u * rate * rate } else { 0.5 / u }
}

/// d basis / d u.
pub(super) fn basis_by_shape(rate: f64, u: f64) -> f64 {
    if rate * u < 1.0 { -0.5 * rate * rate } else { -0.5 / (u * u) }
}

/// The stretches of u for joins beyond the second tested rate: between every two tested rates, then beyond the top (u in [0, 1]).
///
/// With the join in [Rⱼ, Rⱼ₊₁] the column times 2u is Σ_{i≤j} (2Rᵢu − Rᵢ²u²)·eᵢ + Σ_{i>j} eᵢ, quadratic in u; beyond the top the column
/// itself is Σ (Rᵢ − Rᵢ²u/2)·eᵢ, linear in u. The factor 2u is positive and drops out of the explained sum of squares.
pub(super) fn stretches(reduced: &Reduced) -> Vec<Stretch> {
    let rates = reduced.rates();
    let last = rates.len().saturating_sub(1);
    let mut level = reduced.sum(2..=last, |_| 1.0);
    let mut slope = reduced.sum(0..=1, |rate| 2.0 * rate);
    let mut bend = reduced.sum(0..=1, |rate| -rate * rate);
    let mut stretches = Vec::with_capacity(rates.len());
    for (j, ends) in rates.windows(2).enumerate().skip(1) {
        if j > 1 {
            reduced.add(&mut level, j, -1.0);
            reduced.add(&mut slope, j, 2.0 * ends[0]);
            reduced.add(&mut bend, j, -ends[0] * ends[0]);
        }
        let columns = [level.clone(), slope.clone(), bend.clone()];
        stretches.push(Stretch::new(1.0 / ends[1], 1.0 / ends[0], columns, reduced.z()));
    }
    let line = reduced.sum(0..=last, |rate| rate);
    let bend = reduced.sum(0..=last, |rate| -0.5 * rate * rate);
    stretches.push(Stretch::new(0.0, 1.0, [line, bend, Vec::new()], reduced.z()));
    stretches
}

/// From the initial slope and `u` on rates divided by `top`; `reached` says whether there is a plateau inside the tested range.
pub(super) fn coefficients(intercept: f64, slope: f64, u: f64, reached: bool, top: f64) -> Coefficients {
    Coefficients {
        slope: Some(slope / top),
        curvature: Some(-0.5 * slope * u / top / top),
        plateau: reached.then(|| intercept + 0.5 * slope / u),
        ..Coefficients::level(intercept)
    }
}

/// The join that the coefficients imply; infinite for a line.
pub(super) fn join(c: &Coefficients) -> f64 {
    match (c.slope, c.curvature) {
        (Some(slope), Some(curvature)) if curvature < 0.0 => -0.5 * slope / curvature,
        _ => f64::INFINITY,
    }
}

pub(super) fn value(c: &Coefficients, rate: f64) -> f64 {
    let (b, curvature) = (c.slope.unwrap_or(0.0), c.curvature.unwrap_or(0.0));
    let join = join(c);
    if rate < join { c.intercept + rate * (b + rate * curvature) } else { c.intercept + 0.5 * b * join }
}

pub(super) fn slope(c: &Coefficients, rate: f64) -> f64 {
    if rate < join(c) { c.slope.unwrap_or(0.0) + 2.0 * rate * c.curvature.unwrap_or(0.0) } else { 0.0 }
}
