//! Numbers known to lie between two bounds, and arithmetic that keeps that true (Moore 1966, *Interval Analysis*, from memory).
//!
//! Bounds are not rounded outward: they are true up to the rounding of a few operations, which whoever compares them must allow for.

use std::ops::{Add, Mul, Neg, Sub};

/// A number that is at least `low` and at most `high`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bounds {
    /// The lower bound.
    pub low: f64,
    /// The upper bound.
    pub high: f64,
}

impl Bounds {
    /// Whether the number may be `value`.
    #[must_use]
    pub fn holds(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The largest absolute value that the number may have.
    #[must_use]
    pub fn largest(self) -> f64 {
        self.low.abs().max(self.high.abs())
    }

    /// Both bounds moved outward by `by`.
    #[must_use]
    pub fn widened(self, by: f64) -> Self {
        Self { low: self.low - by, high: self.high + by }
    }

    /// What lies within both bounds, of one number bounded twice.
    #[must_use]
    pub fn within(self, other: Self) -> Self {
        let (low, high) = (self.low.max(other.low), self.high.min(other.high));
        // Bounds that only touch may miss each other by rounding.
        if low <= high { Self { low, high } } else { Self { low: high, high: low } }
    }

    /// The square of the number.
    #[must_use]
    pub fn squared(self) -> Self {
        let (low, high) = (self.low * self.low, self.high * self.high);
        Self { low: if self.holds(0.0) { 0.0 } else { low.min(high) }, high: low.max(high) }
    }
}

impl Add for Bounds {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { low: self.low + other.low, high: self.high + other.high }
    }
}

impl Sub for Bounds {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self { low: self.low - other.high, high: self.high - other.low }
    }
}

impl Neg for Bounds {
    type Output = Self;

    fn neg(self) -> Self {
        Self { low: -self.high, high: -self.low }
    }
}

impl Mul<f64> for Bounds {
    type Output = Self;

    fn mul(self, factor: f64) -> Self {
        let (low, high) = (self.low * factor, self.high * factor);
        if factor >= 0.0 { Self { low, high } } else { Self { low: high, high: low } }
    }
}

impl Mul for Bounds {
    type Output = Self;

    fn mul(self, other: Self) -> Self {
        let products = [self.low * other.low, self.low * other.high, self.high * other.low, self.high * other.high];
        let low = products.iter().copied().fold(f64::INFINITY, f64::min);
        let high = products.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Self { low, high }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bounds() -> impl Strategy<Value = (Bounds, f64)> {
        (-5.0..5.0f64, 0.0..3.0f64, 0.0..=1.0f64)
            .prop_map(|(low, width, share)| (Bounds { low, high: low + width }, low + share * width))
    }

    proptest! {
        #[test]
        fn a_result_is_held_by_the_bounds_of_its_parts((a, x) in bounds(), (b, y) in bounds(), factor in -4.0..4.0f64) {
            let nearly = |bounds: Bounds, value: f64| bounds.widened(1e-12).holds(value);
            prop_assert!(nearly(a + b, x + y));
            prop_assert!(nearly(a - b, x - y));
            prop_assert!(nearly(a * b, x * y));
            prop_assert!(nearly(a * factor, x * factor));
            prop_assert!(nearly(-a, -x));
            prop_assert!(nearly(a.squared(), x * x));
            prop_assert!(a.largest() >= x.abs());
            let near = Bounds { low: x - 0.1, high: x + 0.1 };
            prop_assert!(nearly(a.within(near), x));
        }
    }
}
