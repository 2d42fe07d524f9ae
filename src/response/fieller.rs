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
    /// Fieller's (1954, from memory) set of the rate where the slope of a curve equals a ratio: every θ at which the slope does not
    /// differ from the ratio at the level, |f'(θ) − r| ≤ t(level; df)·s·√v(θ). For a parabola f' is b + 2cθ, and negative θ are included;
    /// for a square root 2√θ·(f' − r) is b + 2(c − r)·√θ, and the set is made of the roots of at least zero.
    ///
    /// It has three kinds. With a bend that is significant at the level it is bounded; otherwise it is the complement of an interval
    /// ([`Limits::Disjoint`](crate::stats::interval::Limits::Disjoint), open at both ends) or the whole line
    /// ([`Limits::Open`](crate::stats::interval::Limits::Open)). The profile interval of [`optimum`](Self::optimum) differs from it in
    /// that it takes curves without upward bend only, and rates of at least zero: where Fieller's set is bounded and the bend
    /// downward the two agree above zero; where it is not, the profile leaves out the rates that only upward bends reach.
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
        let Some((whitened, quantile)) = whitened.zip(f_quantile(level, 1.0, df)) else {
            return refuse("the tested rates do not determine it");
        };
        let top = self.highest_rate();
        let (c, ratio) = (&curve.coefficients, slope_ratio * top);
        let (slope, squared) = (c.slope.unwrap_or(0.0) * top, top * top);
        // The excess of the slope over the ratio, up to a positive factor: at zero and by the rate or its root.
        let (excess, root) = match curve.family {
            Family::SquareRoot => ([c.root.unwrap_or(0.0) * top.sqrt(), 2.0 * (slope - ratio)], true),
            _ => ([slope - ratio, 2.0 * c.curvature.unwrap_or(0.0) * squared], false),
        };
        let set = set_of(excess, &whitened, quantile * curve.rss / df);
        let estimate = -excess[0] / excess[1];
        let (set, estimate) = if root { squares(set, estimate) } else { (set, Some(estimate)) };
        if set.is_empty() {
            return refuse("the curve has this slope at no rate");
        }
        let segments = set.into_iter().map(|piece| piece.map(|end| end.map(|theta| theta * top))).collect();
        let estimate = estimate.map(|theta| theta * top).filter(|rate| rate.is_finite());
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
        if curve.bends_upward() && matches!(curve.family, Family::Quadratic | Family::SquareRoot) {
            let reason = "the curve bends upward: where its slope equals the ratio is its worst rate";
            return Interval::refused(estimate, level, NAME, reason);
        }
        Interval { estimate, ..self.fieller(curve, slope_ratio, level) }
    }
}

/// Where (e₀ + e₁·x)² ≤ allowed·‖w₀ + w₁·x‖².
fn set_of(excess: [f64; 2], whitened: &[Vec<f64>; 2], allowed: f64) -> Vec<[Option<f64>; 2]> {
    let [at_zero, by] = whitened;
    not_positive([
        excess[0] * excess[0] - allowed * dot(at_zero, at_zero),
        2.0 * (excess[0] * excess[1] - allowed * dot(at_zero, by)),
        excess[1] * excess[1] - allowed * dot(by, by),
    ])
}

/// From roots of rates, of which those below zero are none, to rates.
fn squares(set: Vec<[Option<f64>; 2]>, estimate: f64) -> (Vec<[Option<f64>; 2]>, Option<f64>) {
    let square = |root: f64| root * root;
    let piece = |[low, high]: [Option<f64>; 2]| {
        let reaches = high.is_none_or(|high| high >= 0.0);
        reaches.then(|| [Some(low.map_or(0.0, |low| square(low.max(0.0)))), high.map(square)])
    };
    (set.into_iter().filter_map(piece).collect(), (estimate >= 0.0).then(|| square(estimate)))
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
