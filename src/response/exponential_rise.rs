//! Exponential rise: f(N) = a + d·(1 − e^(−kN)). The shape is k, so that k → 0 is the straight line.
//!
//! With L the lowest tested rate the column is that of the slope at L, (1 − e^(−k(N − L)))/k: unlike the slope at zero it stays of one
//! size where L is far from zero.

use super::curve::Coefficients;

/// Below this the closed forms of [`Moments`] lose digits to cancellation, and their series converge in a few terms.
const SMALL: f64 = 1.0;

/// Terms of the series: at [`SMALL`] the next is below 1/20!.
const TERMS: usize = 20;

/// The column of the slope at the lowest tested rate, by the distance from it.
pub(super) fn basis(distance: f64, k: f64) -> f64 {
    if k * distance == 0.0 { distance } else { -(-k * distance).exp_m1() / k }
}

/// d basis / d k.
pub(super) fn basis_by_shape(distance: f64, k: f64) -> f64 {
    -Moments::at(distance, k).0[1]
}

/// ∫₀ʳ sⁿ e^(−ks) ds for n = 0, 1, 2: the basis and, up to the sign (−1)ⁿ, its first two derivatives by k.
///
/// Each is positive and falls as k grows, which is what brackets are made of.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments(pub [f64; 3]);

impl Moments {
    pub fn at(distance: f64, k: f64) -> Self {
        Self::of(distance, k, (-k * distance).exp())
    }

    /// With e^(−kr) known.
    fn of(distance: f64, k: f64, left: f64) -> Self {
        let x = k * distance;
        let scaled = if x.abs() < SMALL { series(x) } else { closed(x, left) };
        Self([distance * scaled[0], distance.powi(2) * scaled[1], distance.powi(3) * scaled[2]])
    }
}

/// ∫₀¹ tⁿ e^(−xt) dt = Σ (−x)^j / (j!·(n + j + 1)).
fn series(x: f64) -> [f64; 3] {
    SERIES.iter().rev().fold([0.0; 3], |sums, factors| {
        let mut next = sums;
        next.iter_mut().zip(factors).for_each(|(sum, factor)| *sum = *sum * x + factor);
        next
    })
}

/// (−1)^j / (j!·(n + j + 1)) for each j and n.
const SERIES: [[f64; 3]; TERMS] = {
    let mut factors = [[0.0; 3]; TERMS];
    let mut term = 1.0;
    let mut j = 0;
    while j < TERMS {
        let power = j as f64;
        factors[j] = [term / (power + 1.0), term / (power + 2.0), term / (power + 3.0)];
        term /= -(power + 1.0);
        j += 1;
    }
    factors
};

fn closed(x: f64, left: f64) -> [f64; 3] {
    [(1.0 - left) / x, (1.0 - left * (1.0 + x)) / (x * x), (2.0 - left * (2.0 + x * (2.0 + x))) / (x * x * x)]
}

/// (e^(kL) − 1)/k and its derivative by k: what a slope of one at L takes from f(L) back to f(0).
pub(super) fn back(lowest: f64, k: f64) -> [f64; 2] {
    let grown = (k * lowest).exp();
    // From L downwards the curve is the same with the sign of k turned.
    let Moments([back, rising, _]) = Moments::of(lowest, -k, grown);
    [back, rising]
}

/// From the value and slope at the lowest tested rate, all on rates divided by `top`; with k = 0 it is a line inside the tested range.
pub(super) fn coefficients(at_lowest: f64, slope: f64, k: f64, lowest: f64, top: f64) -> Coefficients {
    if k == 0.0 {
        return Coefficients { slope: Some(slope / top), ..Coefficients::level(at_lowest - slope * lowest) };
    }
    let rise = slope * (k * lowest).exp() / k;
    let intercept = at_lowest - slope * back(lowest, k)[0];
    Coefficients { rise: Some(rise), rate_constant: Some(k / top), ..Coefficients::level(intercept) }
}

pub(super) fn value(c: &Coefficients, rate: f64) -> f64 {
    match (c.rise, c.rate_constant) {
        (Some(rise), Some(k)) => c.intercept - rise * (-k * rate).exp_m1(),
        _ => c.intercept + c.slope.unwrap_or(0.0) * rate,
    }
}

pub(super) fn slope(c: &Coefficients, rate: f64) -> f64 {
    match (c.rise, c.rate_constant) {
        (Some(rise), Some(k)) => rise * k * (-k * rate).exp(),
        _ => c.slope.unwrap_or(0.0),
    }
}

/// The rate where the slope equals `ratio`, for a slope above it at zero; infinite for a line and for no ratio.
pub(super) fn slope_equals(c: &Coefficients, ratio: f64) -> f64 {
    match (c.rise, c.rate_constant) {
        (Some(rise), Some(k)) => (rise * k / ratio).ln() / k,
        _ => f64::INFINITY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn moments_are_the_integrals_that_they_stand_for() {
        // Simpson's rule with 20 000 steps is right to about 1e-9 where the curve is steepest.
        for (distance, k) in [(0.3, 0.0), (0.3, 2.0), (1.0, 0.999), (1.0, 1.001), (0.7, 40.0), (1.0, 300.0)] {
            let Moments(found) = Moments::at(distance, k);
            for (n, found) in (0..).zip(found) {
                let f = |s: f64| s.powi(n) * (-k * s).exp();
                let h = distance / 20_000.0;
                let inner: f64 = (1..20_000).map(|i| f(h * f64::from(i)) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
                let expected = h / 3.0 * (f(0.0) + inner + f(distance));
                assert_relative_eq!(found, expected, max_relative = 1e-8);
                if k < 5.0 {
                    assert_relative_eq!(found, expected, max_relative = 1e-12);
                }
            }
        }
    }

    #[test]
    fn the_basis_and_its_derivative_are_the_first_two_moments() {
        for (distance, k) in [(0.4, 0.0), (0.4, 1e-12), (0.4, 3.0), (1.0, 90.0)] {
            let Moments([g, falling, _]) = Moments::at(distance, k);
            assert_relative_eq!(basis(distance, k), g, max_relative = 1e-13);
            assert_relative_eq!(basis_by_shape(distance, k), -falling, max_relative = 1e-13);
        }
    }
}
