//! The profile interval of the join.

use super::curve::Curve;
use super::method::IntervalMethod;
use super::observations::Observations;
use super::plateau::{Plateau, SAME_JOIN};
use super::reduced::Reduced;
use super::wald::NO_JOIN;
use crate::stats::distribution::f_quantile;
use crate::stats::interval::Interval;
use crate::stats::least_squares::dot;

/// How the intervals of this file and its neighbours are made.
pub(super) const METHOD: &str = IntervalMethod::Profile.name();

/// The confidence region of a plateau family, as the joins that belong to it.
pub(super) struct Region {
    pub plateau: Plateau,
    /// The largest residual sum of squares inside.
    pub cutoff: f64,
    /// Pieces in joins divided by the highest rate, ascending; a start at 0 stands for the stretch where every join fits alike, an end
    /// at infinity for the straight line.
    pub pieces: Vec<[f64; 2]>,
}

impl Observations {
    /// The profile interval of the join of a fitted plateau family, in the rate unit.
    ///
    /// It is {J: RSS(J) ≤ RSSmin·(1 + F(level; 1, df)/df)}, the other parameters free in size and sign, each end the root of a
    /// polynomial. The lower end is open where the joins up to the second tested rate, which fit alike, belong to it; the upper end
    /// where the straight line does. Without error degrees of freedom, without noise, or for a family without a join it is not
    /// computed.
    pub fn join_interval(&self, curve: &Curve, level: f64) -> Interval {
        let Some(region) = self.region(curve, level).filter(|_| curve.family.has_join()) else {
            let reason = if curve.family.has_join() { self.why_no_error(curve) } else { NO_JOIN };
            return Interval::refused(curve.join, level, METHOD, reason);
        };
        let low = |join: f64| (join > 0.0).then(|| self.in_rate_unit(join));
        let high = |join: f64| join.is_finite().then(|| self.in_rate_unit(join));
        let segments = region.pieces.iter().map(|[from, to]| [low(*from), high(*to)]).collect();
        Interval::from_segments(curve.join, segments, level, METHOD)
    }

    /// RSSmin·(1 + F(level; 1, df)/df); `None` where there is no noise to measure against.
    pub(super) fn cutoff(&self, curve: &Curve, level: f64) -> Option<f64> {
        if curve.df == 0 || self.is_rounding(curve.rss) {
            return None;
        }
        let df = curve.df as f64;
        Some(curve.rss * (1.0 + f_quantile(level, 1.0, df)? / df))
    }

    /// The joins whose best curve, rising or falling, is under the cutoff.
    pub(super) fn region(&self, curve: &Curve, level: f64) -> Option<Region> {
        let plateau = Plateau::of(curve.family)?;
        let cutoff = self.cutoff(curve, level)?;
        let reduced = self.reduced();
        let explained = reduced.total() - cutoff;
        let under =
            |shape: f64| plateau.match_shape(reduced, shape).map_or(reduced.total(), |found| found.rss) <= cutoff;
        let mut pieces: Vec<[f64; 2]> = Vec::new();
        let alike = plateau.alike_until(reduced);
        if under(plateau.shape(alike)) {
            pieces.push([0.0, alike]);
        }
        for ends in plateau.explaining(reduced, explained) {
            let [from, to] = ends.map(|end| plateau.join(refine(reduced, plateau, cutoff, end)));
            pieces.push([from.min(to), from.max(to)]);
        }
        if plateau == Plateau::Linear && under(plateau.line()) {
            pieces.push([1.0, f64::INFINITY]);
        }
        Some(Region { plateau, cutoff, pieces: union(pieces) })
    }
}

/// An end of a piece, set right by Newton steps on the residual sum of squares itself; where it is a tested rate it stays.
///
/// The derivative of min ‖z − b·x(t)‖² by the shape is −2b·(residuals · x'(t)).
fn refine(reduced: &Reduced, plateau: Plateau, cutoff: f64, shape: f64) -> f64 {
    let mut shape = shape;
    for _ in 0..2 {
        let Some(found) = plateau.match_shape(reduced, shape) else { break };
        let column = plateau.column(reduced, shape);
        let residuals: Vec<f64> = reduced.z().iter().zip(&column).map(|(z, x)| z - found.slope * x).collect();
        let slope = -2.0 * found.slope * dot(&residuals, &plateau.column_by_shape(reduced, shape));
        let step = (cutoff - found.rss) / slope;
        if !step.is_finite() || step.abs() > SAME_JOIN * shape {
            break;
        }
        shape += step;
    }
    shape
}

/// Pieces in any order, sorted and joined where they touch up to rounding.
pub(super) fn union(mut pieces: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    pieces.sort_unstable_by(|a, b| a[0].total_cmp(&b[0]));
    let mut joined: Vec<[f64; 2]> = Vec::new();
    for piece in pieces {
        match joined.last_mut() {
            Some(last) if piece[0] <= last[1] + SAME_JOIN * last[1].min(1.0) => last[1] = last[1].max(piece[1]),
            _ => joined.push(piece),
        }
    }
    joined
}
