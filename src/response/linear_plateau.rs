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

/// The stretches of joins beyond the second tested rate, ascending.
///
/// With the join in [Rⱼ, Rⱼ₊₁] the projected column is Σ_{i≤j} Rᵢ·eᵢ + J·Σ_{i>j} eᵢ, linear in J.
pub(super) fn stretches(reduced: &Reduced) -> Vec<Stretch> {
    let rates = reduced.rates();
    let mut on_slope = reduced.sum(0..=1, |rate| rate);
    let mut on_plateau = reduced.sum(2..=rates.len().saturating_sub(1), |_| 1.0);
    let mut stretches = Vec::with_capacity(rates.len());
    for (j, ends) in rates.windows(2).enumerate().skip(1) {
        if j > 1 {
            reduced.add(&mut on_slope, j, ends[0]);
            reduced.add(&mut on_plateau, j, -1.0);
        }
        stretches.push(Stretch::new(ends[0], ends[1], [on_slope.clone(), on_plateau.clone(), Vec::new()], reduced.z()));
    }
    stretches
}

/// The stretch of joins up to the second rate, as the join's distance above the lowest rate: a constant out, the column is that
/// distance times the indicator of all higher rates.
pub(super) fn first_stretch(reduced: &Reduced) -> Stretch {
    let rates = reduced.rates();
    let above = reduced.sum(1..=rates.len().saturating_sub(1), |_| 1.0);
    let length = rates.get(1).zip(rates.first()).map_or(0.0, |(second, lowest)| second - lowest);
    Stretch::new(0.0, length, [Vec::new(), above, Vec::new()], reduced.z())
}

/// From slope and join on rates divided by `top`; without a join it is a line inside the tested range.
pub(super) fn coefficients(intercept: f64, slope: f64, join: Option<f64>, top: f64) -> Coefficients {
    Coefficients {
        slope: Some(slope / top),
        plateau: join.map(|join| intercept + slope * join),
        ..Coefficients::level(intercept)
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
