//! Logarithm and derivatives of the normal distribution function, to the last digits in the far tail
//! too. (statrs' erfc keeps ten digits of a small tail, too few for a search by Newton's method.)

/// ½ ln 2π.
pub(super) const HALF_LN_TWO_PI: f64 = 0.918_938_533_204_672_7;

/// Above this the continued fraction has all digits in its terms; below, `½ − Φ` cancels less than two.
const FRACTION_ABOVE: f64 = 2.5;
const FRACTION_TERMS: u32 = 100;

/// Beyond this `u + h` has lost four digits, and the variance has its own series.
const VARIANCE_SERIES_BELOW: f64 = -100.0;

/// ln Φ(u), Φ the standard normal distribution function.
pub(super) fn ln_cdf(u: f64) -> f64 {
    if u > 0.0 { (-density(u) * mills_ratio(u)).ln_1p() } else { -0.5 * u * u - HALF_LN_TWO_PI + mills_ratio(-u).ln() }
}

/// The slope `h = φ(u)/Φ(u)` of ln Φ, and minus its curvature, `w = h (u + h)`, which lies in 0…1.
pub(super) fn slope_and_bend(u: f64) -> (f64, f64) {
    let slope = if u > 0.0 { density(u) / (1.0 - density(u) * mills_ratio(u)) } else { 1.0 / mills_ratio(-u) };
    let bend = if u < VARIANCE_SERIES_BELOW {
        // w = 1 − Var(Z | Z < u)
        let r = 1.0 / (u * u);
        1.0 - r * (1.0 - r * (6.0 - r * (50.0 - r * 518.0)))
    } else {
        slope * (u + slope)
    };
    (slope, bend)
}

/// φ(t), the standard normal density.
fn density(t: f64) -> f64 {
    (-0.5 * t * t - HALF_LN_TWO_PI).exp()
}

/// (1 − Φ(t))/φ(t) for t ≥ 0: Laplace's continued fraction (Abramowitz & Stegun 26.2.14) or, near 0,
/// the series Φ(t) = ½ + φ(t)(t + t³/3 + t⁵/(3·5) + …) (26.2.11).
fn mills_ratio(t: f64) -> f64 {
    if t > FRACTION_ABOVE {
        let below = |rest: f64, k: u32| t + f64::from(k) / rest;
        return 1.0 / (1..=FRACTION_TERMS).rev().fold(t, below);
    }
    let (mut term, mut sum, mut odd) = (t, t, 1.0);
    while term > sum * f64::EPSILON * 0.1 {
        odd += 2.0;
        term *= t * t / odd;
        sum += term;
    }
    0.5 / density(t) - sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A few units in the last place, times the cancelling below [`FRACTION_ABOVE`].
    const DIGITS: f64 = 1e-13;

    #[test]
    fn the_logarithm_keeps_its_digits_into_the_far_tail() {
        // Reference: mpmath in 120 digits; script beside its output.
        let text = include_str!("../../../tests/reference/censored/normal_tail.json");
        let reference: serde_json::Value = serde_json::from_str(text).unwrap();
        let rows: Vec<[f64; 4]> = serde_json::from_value(reference["rows"].clone()).unwrap();
        for [u, ln, slope, bend] in rows {
            let near = |ours, theirs, digits| {
                assert_relative_eq!(ours, theirs, max_relative = digits, epsilon = 0.0);
            };
            near(ln_cdf(u), ln, DIGITS);
            let (h, w) = slope_and_bend(u);
            near(h, slope, DIGITS);
            // w = h (u + h) loses as many digits as u + h cancels.
            near(w, bend, DIGITS * (1.0 + u.min(0.0).powi(2)));
        }
    }

    #[test]
    fn nothing_breaks_at_the_ends_of_the_number_line() {
        for u in [-1e308, -1e160, -1e5, 1e5, 1e308] {
            let (h, w) = slope_and_bend(u);
            assert!(!ln_cdf(u).is_nan() && h >= 0.0 && (0.0..=1.0).contains(&w), "{u}");
        }
    }
}
