//! A standard normal within limits: how probable that is, and its first two moments there.

use crate::stats::distribution::{normal_hazard, normal_log_density, normal_log_survival, normal_survival};

/// What one unit adds to a likelihood of normal means: with z = (y − mean)/sd, the derivatives of its logarithm are E(z)/sd by the mean,
/// −(1 − Var(z))/sd² by the mean twice, and (E(z²) − 1)/(2·sd²) by the variance. An exact unit is the limit of no width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    /// The logarithm of the probability; of the density where z is exact.
    pub(super) log: f64,
    /// E(z) within the limits.
    pub(super) mean: f64,
    /// E(z²) within the limits.
    pub(super) square: f64,
}

/// Positive nodes and weights of Gauss and Legendre's eight-point rule on −1…1.
const RULE: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_5),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_3),
];

/// Where the limits are so near to each other that differences of tails would cancel: there the density varies by a few units of e at
/// most, and the rule keeps fifteen digits.
const NARROW: f64 = 2.0;

impl Piece {
    /// At an exact z.
    pub(super) fn exact(z: f64) -> Self {
        Self { log: normal_log_density(z), mean: z, square: z * z }
    }

    /// Between `low` and `high`, of which either may be infinite; `low` lies below `high`.
    pub(super) fn between(low: f64, high: f64) -> Self {
        if low == f64::NEG_INFINITY && high == f64::INFINITY {
            return Self { log: 0.0, mean: 0.0, square: 1.0 };
        }
        if low + high < 0.0 {
            let mirrored = Self::between(-high, -low);
            return Self { mean: -mirrored.mean, ..mirrored };
        }
        // From here on the upper limit is the farther from zero.
        if high == f64::INFINITY {
            let hazard = normal_hazard(low);
            return Self { log: normal_log_survival(low), mean: hazard, square: 1.0 + low * hazard };
        }
        if (high - low) * (1.0 + high) <= NARROW {
            return Self::narrow(0.5 * (low + high), 0.5 * (high - low));
        }
        if low > 0.0 {
            let (near, far) = (normal_log_survival(low), normal_log_survival(high));
            let share = -(far - near).exp_m1();
            let at_low = normal_hazard(low) / share;
            let at_high = normal_hazard(high) * (far - near).exp() / share;
            return Self {
                log: near + share.ln(),
                mean: at_low - at_high,
                square: 1.0 + low * at_low - high * at_high,
            };
        }
        let probability = 1.0 - normal_survival(high) - normal_survival(-low);
        let density = |z: f64| normal_log_density(z).exp() / probability;
        let (at_low, at_high) = (density(low), density(high));
        Self { log: probability.ln(), mean: at_low - at_high, square: 1.0 + low * at_low - high * at_high }
    }

    /// Around `middle`, by quadrature: every term is positive.
    fn narrow(middle: f64, half: f64) -> Self {
        let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
        for (node, weight) in RULE {
            for step in [half * node, -half * node] {
                let z = middle + step;
                let share = weight * (-step * (middle + 0.5 * step)).exp();
                sum += share;
                first += share * z;
                second += share * z * z;
            }
        }
        Self { log: normal_log_density(middle) + (half * sum).ln(), mean: first / sum, square: second / sum }
    }

    /// Var(z) within the limits, never more than 1.
    pub(super) fn variance(self) -> f64 {
        (self.square - self.mean * self.mean).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Two ways of computing the same, each good to about this.
    const BOTH_WAYS: f64 = 1e-12;

    #[test]
    fn probabilities_are_those_of_a_table() {
        // Φ(1) − Φ(−1), Φ(2) − Φ(1), 1 − Φ(1): scipy.stats.norm.
        for (low, high, expected) in [
            (-1.0, 1.0, 0.682_689_492_137_085_9),
            (1.0, 2.0, 0.135_905_121_983_277_9),
            (-2.0, -1.0, 0.135_905_121_983_277_9),
            (1.0, f64::INFINITY, 0.158_655_253_931_457_05),
        ] {
            assert_relative_eq!(Piece::between(low, high).log.exp(), expected, max_relative = BOTH_WAYS);
        }
    }

    #[test]
    fn nothing_known_adds_nothing() {
        let piece = Piece::between(f64::NEG_INFINITY, f64::INFINITY);
        assert_eq!((piece.log, piece.mean, piece.square), (0.0, 0.0, 1.0));
    }

    proptest! {
        #[test]
        fn a_piece_is_the_sum_of_its_parts(low in -9.0..9.0_f64, share in 0.01..0.99_f64, width in 1e-6..6.0_f64) {
            let (middle, high) = (low + share * width, low + width);
            let (whole, left, right) = (Piece::between(low, high), Piece::between(low, middle), Piece::between(middle, high));
            let (of_left, of_right) = ((left.log - whole.log).exp(), (right.log - whole.log).exp());
            prop_assert!((of_left + of_right - 1.0).abs() < 1e-10);
            prop_assert!((of_left * left.mean + of_right * right.mean - whole.mean).abs() < 1e-8);
            prop_assert!((of_left * left.square + of_right * right.square - whole.square).abs() < 1e-7);
        }

        #[test]
        fn the_moments_are_the_derivatives(low in -6.0..6.0_f64, width in 1e-3..8.0_f64) {
            // d log P/dμ = E(z) at sd 1.
            let step = 1e-5;
            let at = |mean: f64| Piece::between(low - mean, low + width - mean).log;
            let numeric = (at(step) - at(-step)) / (2.0 * step);
            prop_assert!((Piece::between(low, low + width).mean - numeric).abs() < 1e-6);
        }
    }
}
