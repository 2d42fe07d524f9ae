//! Linear-plateau: f(N) = a + b·min(N, J). The shape is the join J.

use super::curve::Coefficients;
use super::plateau::Stretch;
use super::reduced::Reduced;

/// The column of the slope b for the join `join`.
pub(super) fn basis(rate: f64, join: f64) -> f64 {
    rate.min(join)
}

/// d basis / d join.
pub(super) fn basis_by_shape(rate: f64, join: f64) -> f64 {
    if rate > join { 1.0 } else { 0.0 }
}

/// The stretches of joins between the `first` and every following tested rate, ascending.
///
/// With the join in [Rⱼ, Rⱼ₊₁] the projected column is Σ_{i≤j} Rᵢ·eᵢ + J·Σ_{i>j} eᵢ, linear in J.
pub(super) fn stretches(reduced: &Reduced, first: usize) -> Vec<Stretch> {
    let rates = reduced.rates();
    let mut on_slope = reduced.sum(0..=first, |rate| rate);
    let mut on_plateau = reduced.sum(first + 1..=rates.len().saturating_sub(1), |_| 1.0);
    let mut stretches = Vec::with_capacity(rates.len());
    for (j, ends) in rates.windows(2).enumerate().skip(first) {
        if j > first {
            reduced.add(&mut on_slope, j, ends[0]);
            reduced.add(&mut on_plateau, j, -1.0);
        }
        stretches.push(Stretch::new(ends[0], ends[1], [on_slope.clone(), on_plateau.clone(), Vec::new()], reduced.z()));
    }
    stretches
}

/// From slope and join on rates divided by `top`; without a join it is a line inside the tested range.
pub(super) fn coefficients(intercept: f64, slope: f64, join: Option<f64>, top: f64) -> Coefficients {
    Coefficients {
        intercept,
        slope: Some(slope / top),
        curvature: None,
        plateau: join.map(|join| intercept + slope * join),
    }
}

/// The join that the coefficients imply; infinite for a line.
pub(super) fn join(c: &Coefficients) -> f64 {
    match (c.plateau, c.slope) {
        (Some(plateau), Some(slope)) if slope > 0.0 => (plateau - c.intercept) / slope,
        _ => f64::INFINITY,
    }
}

pub(super) fn value(c: &Coefficients, rate: f64) -> f64 {
    let line = c.intercept + c.slope.unwrap_or(0.0) * rate;
    c.plateau.map_or(line, |plateau| line.min(plateau))
}

/// The slope to the right, which at the join is zero.
pub(super) fn slope(c: &Coefficients, rate: f64) -> f64 {
    if rate < join(c) { c.slope.unwrap_or(0.0) } else { 0.0 }
}
