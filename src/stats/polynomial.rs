//! The real roots of a small polynomial in a closed interval.

/// The highest degree that [`roots`] takes.
pub const HIGHEST_DEGREE: usize = 6;

/// Up to [`HIGHEST_DEGREE`] ascending roots, held without allocation.
#[derive(Clone, Copy, Debug, Default)]
pub struct Roots {
    values: [f64; HIGHEST_DEGREE],
    count: usize,
}

impl Roots {
    /// The roots, ascending.
    pub fn as_slice(&self) -> &[f64] {
        self.values.get(..self.count).unwrap_or(&[])
    }

    fn push(&mut self, root: f64) {
        if let Some(place) = self.values.get_mut(self.count) {
            *place = root;
            self.count += 1;
        }
    }
}

/// The value of the polynomial with ascending `coefficients` at `x` (Horner's rule).
pub fn value(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Value and first derivative at `x`.
fn value_and_slope(coefficients: &[f64], x: f64) -> (f64, f64) {
    coefficients.iter().rev().fold((0.0, 0.0), |(sum, slope), c| (sum * x + c, slope * x + sum))
}

/// Every real root in `[low, high]` of the polynomial with ascending `coefficients`, each once.
///
/// Between two neighbouring critical points a polynomial is monotone, so a change of sign there brackets exactly one root, which a
/// safeguarded Newton iteration finds; the critical points are the roots of the derivative, found the same way down to the
/// quadratic, which is solved in closed form. A critical point where the value is zero to rounding is a root. The zero polynomial,
/// a degree above [`HIGHEST_DEGREE`], and coefficients or ends that are not finite have no roots here.
pub fn roots(coefficients: &[f64], low: f64, high: f64) -> Roots {
    let degree_plus_one = coefficients.iter().rposition(|c| *c != 0.0).map_or(0, |last| last + 1);
    let polynomial = coefficients.get(..degree_plus_one).unwrap_or(&[]);
    let finite = polynomial.iter().all(|c| c.is_finite()) && low.is_finite() && high.is_finite();
    if !finite || low > high || polynomial.len() > HIGHEST_DEGREE + 1 {
        return Roots::default();
    }
    match *polynomial {
        [] | [_] => Roots::default(),
        [c0, c1] => inside([-c0 / c1], low, high),
        [c0, c1, c2] => quadratic(c0, c1, c2, low, high),
        _ => by_critical_points(polynomial, low, high),
    }
}

fn inside<const N: usize>(candidates: [f64; N], low: f64, high: f64) -> Roots {
    let mut roots = Roots::default();
    candidates.into_iter().filter(|x| (low..=high).contains(x)).for_each(|x| roots.push(x));
    roots
}

fn quadratic(c0: f64, c1: f64, c2: f64, low: f64, high: f64) -> Roots {
    let discriminant = c1 * c1 - 4.0 * c2 * c0;
    if discriminant < 0.0 {
        return Roots::default();
    }
    if discriminant == 0.0 {
        return inside([-0.5 * c1 / c2], low, high);
    }
    // Adding numbers of one sign keeps the digits that the textbook formula loses when c1² is much larger than 4·c2·c0.
    let sum = -0.5 * (c1 + discriminant.sqrt().copysign(c1));
    let (first, second) = (sum / c2, c0 / sum);
    inside(if first <= second { [first, second] } else { [second, first] }, low, high)
}

fn by_critical_points(polynomial: &[f64], low: f64, high: f64) -> Roots {
    let mut derivative = [0.0; HIGHEST_DEGREE];
    for (power, (place, c)) in derivative.iter_mut().zip(polynomial.iter().skip(1)).enumerate() {
        *place = (power + 1) as f64 * c;
    }
    let critical = roots(derivative.get(..polynomial.len() - 1).unwrap_or(&[]), low, high);
    let mut found = Roots::default();
    let mut left = low;
    let mut at_left = value_or_zero(polynomial, low);
    if at_left == 0.0 {
        found.push(low);
    }
    for right in critical.as_slice().iter().copied().filter(|x| *x > low && *x < high).chain([high]) {
        let at_right = value_or_zero(polynomial, right);
        if at_right == 0.0 {
            if right > left {
                found.push(right);
            }
        } else if at_left * at_right < 0.0 {
            found.push(bracketed(polynomial, left, right, at_left));
        }
        (left, at_left) = (right, at_right);
    }
    found
}

/// The value, or exactly zero where rounding could have made it.
fn value_or_zero(polynomial: &[f64], x: f64) -> f64 {
    let value = value(polynomial, x);
    let size = polynomial.iter().rev().fold(0.0, |sum, c| sum * x.abs() + c.abs());
    if value.abs() <= 4.0 * f64::EPSILON * size { 0.0 } else { value }
}

/// The root between `left` and `right`, where the signs differ and the polynomial is monotone.
fn bracketed(polynomial: &[f64], left: f64, right: f64, at_left: f64) -> f64 {
    let (mut left, mut right) = (left, right);
    let mut x = 0.5 * (left + right);
    for _ in 0..200 {
        let (here, slope) = value_and_slope(polynomial, x);
        if here == 0.0 {
            return x;
        }
        if (here > 0.0) == (at_left > 0.0) {
            left = x;
        } else {
            right = x;
        }
        let newton = x - here / slope;
        let next = if newton > left && newton < right { newton } else { 0.5 * (left + right) };
        if (next - x).abs() <= f64::EPSILON * next.abs() || next == left || next == right {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn from_roots(known: &[f64]) -> Vec<f64> {
        known.iter().fold(vec![1.0], |polynomial, root| {
            let mut next = vec![0.0; polynomial.len() + 1];
            for (power, c) in polynomial.iter().enumerate() {
                next[power] -= root * c;
                next[power + 1] += c;
            }
            next
        })
    }

    #[test]
    fn roots_are_found_in_the_interval_only() {
        let polynomial = from_roots(&[-2.0, 0.25, 0.5, 3.0]);
        let found = roots(&polynomial, 0.0, 1.0);
        assert_eq!(found.as_slice().len(), 2);
        assert_relative_eq!(found.as_slice()[0], 0.25, max_relative = 1e-13);
        assert_relative_eq!(found.as_slice()[1], 0.5, max_relative = 1e-13);
    }

    #[test]
    fn a_root_that_only_touches_zero_is_a_root() {
        let found = roots(&from_roots(&[0.5, 0.5, 2.0]), 0.0, 1.0);
        assert_eq!(found.as_slice().len(), 1);
        assert_relative_eq!(found.as_slice()[0], 0.5, max_relative = 1e-7);
    }

    #[test]
    fn an_end_can_be_a_root() {
        let found = roots(&from_roots(&[0.0, 1.0, 5.0]), 0.0, 1.0);
        assert_eq!(found.as_slice(), [0.0, 1.0]);
    }

    #[test]
    fn degenerate_polynomials_have_no_roots() {
        assert!(roots(&[], 0.0, 1.0).as_slice().is_empty());
        assert!(roots(&[0.0, 0.0], 0.0, 1.0).as_slice().is_empty());
        assert!(roots(&[1.0, f64::NAN, 2.0], 0.0, 1.0).as_slice().is_empty());
        assert!(roots(&[1.0; 9], -5.0, 5.0).as_slice().is_empty());
    }

    #[test]
    fn a_leading_coefficient_near_zero_does_not_disturb_the_others() {
        let found = roots(&[-0.5, 1.0, 1e-30, 1e-300], 0.0, 1.0);
        assert_relative_eq!(found.as_slice()[0], 0.5, max_relative = 1e-14);
    }

    proptest! {
        #[test]
        fn known_well_separated_roots_come_back(start in -3.0..0.0f64, gaps in prop::collection::vec(0.1..1.0f64, 1..=5)) {
            let mut known = vec![start];
            for gap in gaps {
                known.push(known[known.len() - 1] + gap);
            }
            let found = roots(&from_roots(&known), -10.0, 10.0);
            prop_assert_eq!(found.as_slice().len(), known.len());
            for (root, expected) in found.as_slice().iter().zip(&known) {
                // Conditioning: the coefficients carry rounding that separation 0.1 at degree six magnifies.
                prop_assert!((root - expected).abs() < 1e-7, "{} {}", root, expected);
            }
        }
    }
}
