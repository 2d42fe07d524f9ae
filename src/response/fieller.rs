//! Fieller's set of the optimum of a family whose slope there is linear in its coefficients.

use super::curve::Curve;
use super::family::Family;
use super::method::IntervalMethod;
use super::observations::Observations;
use super::{quadratic, square_root};
use crate::stats::distribution::f_quantile;
use crate::stats::interval::Interval;
use crate::stats::least_squares::{Factor, dot};

const NAME: &str = IntervalMethod::Fieller.name();

impl Observations {
    /// Fieller's (1954, from memory) set of the rate where the slope of a parabola equals a ratio: every θ, negative ones included, for
    /// which b + 2cθ does not differ from the ratio at the level, |b + 2cθ − r| ≤ t(level; df)·s·√v(θ).
    ///
    /// It has three kinds. With a bend that is significant at the level it is bounded; otherwise it is the complement of an interval
    /// ([`Limits::Disjoint`](crate::stats::interval::Limits::Disjoint), open at both ends) or the whole line
    /// ([`Limits::Open`](crate::stats::interval::Limits::Open)). The profile interval of [`optimum`](Self::optimum) differs from it in
    /// that it takes parabolas without upward bend only, and rates of at least zero: where Fieller's set is bounded and the bend
    /// downward the two agree above zero; where it is not, the profile leaves out the rates that only upward bends reach.
    ///
    /// For a square root it is the same set of √θ, which is not negative, squared.
    ///
    /// For another family it is not computed, with the reason. The estimate is the rate by formula, wherever that lies.
    pub fn fieller(&self, curve: &Curve, slope_ratio: f64, level: f64) -> Interval {
        let refuse = |reason: &str| Interval::refused(None, level, NAME, reason);
        let basis = match curve.family {
            Family::Quadratic => quadratic::BASIS,
            Family::SquareRoot => square_root::BASIS,
            _ => return refuse("Fieller's method is for the optimum of a quadratic or a square root"),
        };
        if curve.df == 0 || self.is_rounding(curve.rss) {
            return refuse(self.why_no_error(curve));
        }
        let columns = basis.map(|g| self.reduced().curve(g));
        let factor = Factor::new(&columns, self.reduced().z().len()).ok();
        let whitened = factor.and_then(|factor| Some([factor.whitened(&[1.0, 0.0])?, factor.whitened(&[0.0, 2.0])?]));
        let df = curve.df as f64;
        let Some(([at_zero, by_rate], quantile)) = whitened.zip(f_quantile(level, 1.0, df)) else {
            return refuse("the tested rates do not determine it");
        };
        let top = self.highest_rate();
        let c = &curve.coefficients;
        // Of f(N) − r·N in s, which is N or its root: the slope at zero, and twice the factor of s².
        let in_roots = curve.family == Family::SquareRoot;
        let over = (c.slope.unwrap_or(0.0) - slope_ratio) * top;
        let (excess, bend) = if in_roots {
            (c.root.unwrap_or(0.0) * top.sqrt(), 2.0 * over)
        } else {
            (over, 2.0 * c.curvature.unwrap_or(0.0) * top * top)
        };
        // (excess + bend·θ)² ≤ allowed·‖w₀ + w₁·θ‖².
        let allowed = quantile * curve.rss / df;
        let set = not_positive([
            excess * excess - allowed * dot(&at_zero, &at_zero),
            2.0 * (excess * bend - allowed * dot(&at_zero, &by_rate)),
            bend * bend - allowed * dot(&by_rate, &by_rate),
        ]);
        let in_rate_unit = |theta: f64| if in_roots { theta * theta * top } else { theta * top };
        let set = if in_roots { not_negative(set) } else { set };
        let segments = set.into_iter().map(|piece| piece.map(|end| end.map(in_rate_unit))).collect();
        let estimate = Some(-excess / bend).filter(|theta| theta.is_finite() && (*theta >= 0.0 || !in_roots));
        let estimate = estimate.map(in_rate_unit);
        Interval::from_segments(estimate, segments, level, NAME)
    }

    /// Fieller's set of what is reported as the optimum, or the reason why there is none.
    pub(super) fn fieller_reported(
        &self,
        curve: &Curve,
        slope_ratio: f64,
        estimate: Option<f64>,
        level: f64,
    ) -> Interval {
        if curve.bends_upward() {
            let reason = "the curve bends upward: where its slope equals the ratio is its worst rate";
            return Interval::refused(estimate, level, NAME, reason);
        }
        Interval { estimate, ..self.fieller(curve, slope_ratio, level) }
    }
}

/// What of ascending pieces is not below zero: a root is not.
fn not_negative(pieces: Vec<[Option<f64>; 2]>) -> Vec<[Option<f64>; 2]> {
    let kept = pieces.into_iter().filter(|piece| piece[1].is_none_or(|high| high >= 0.0));
    kept.map(|[low, high]| [Some(low.unwrap_or(0.0).max(0.0)), high]).collect()
}

/// Where c₀ + c₁·x + c₂·x² ≤ 0, in ascending pieces; an open end is `None`.
///
/// Without a root the polynomial is taken as nowhere positive: a Fieller set holds its estimate.
fn not_positive([c0, c1, c2]: [f64; 3]) -> Vec<[Option<f64>; 2]> {
    let discriminant = c1 * c1 - 4.0 * c2 * c0;
    if c2 == 0.0 {
        let root = -c0 / c1;
        return vec![if c1 > 0.0 {
            [None, Some(root)]
        } else if c1 < 0.0 {
            [Some(root), None]
        } else {
            [None, None]
        }];
    }
    if discriminant <= 0.0 && c2 < 0.0 {
        return vec![[None, None]];
    }
    // The root of larger size first, the other from the product: no digits cancel.
    let sum = -0.5 * (c1 + discriminant.max(0.0).sqrt().copysign(c1));
    let (one, other) = (sum / c2, if sum == 0.0 { 0.0 } else { c0 / sum });
    let (low, high) = (Some(one.min(other)), Some(one.max(other)));
    if c2 > 0.0 { vec![[low, high]] } else { vec![[None, low], [high, None]] }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_is_not_positive_between_its_roots_or_outside_them() {
        // (x − 1)(x − 3), its opposite, one without roots, and lines.
        assert_eq!(not_positive([3.0, -4.0, 1.0]), [[Some(1.0), Some(3.0)]]);
        assert_eq!(not_positive([-3.0, 4.0, -1.0]), [[None, Some(1.0)], [Some(3.0), None]]);
        assert_eq!(not_positive([-1.0, 0.0, -1.0]), [[None, None]]);
        assert_eq!(not_positive([-2.0, 1.0, 0.0]), [[None, Some(2.0)]]);
        assert_eq!(not_positive([-2.0, -1.0, 0.0]), [[Some(-2.0), None]]);
    }
}
