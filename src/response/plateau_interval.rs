//! The profile interval of the plateau.
//!
//! For a join the curves under the cutoff have plateaus in an interval: with the column's height k above its mean over the groups the
//! plateau is ȳ + b·k, a linear function of the mean of the groups and the slope, with the variance v₀ + k²/‖x‖² in units of the error
//! variance. The interval is the hull of these over each connected piece of joins.

use super::curve::Curve;
use super::join::{METHOD, Region, union};
use super::observations::Observations;
use super::optimum_interval::{between_rates, least};
use super::plateau::Plateau;
use super::wald::NO_PLATEAU;
use crate::stats::interval::Interval;

impl Observations {
    /// The profile interval of the plateau of a fitted plateau family, or of what an exponential nears, in yield units.
    ///
    /// It is {p: the best rising curve with the plateau p has RSS ≤ RSSmin·(1 + F(level; 1, df)/df)}, the mean as the limit of rising
    /// curves. The upper end is open where a rising straight line is under the cutoff. The estimate is `None` where the join is not
    /// reached. Not computed, with the reason, for a family without a plateau, without error degrees of freedom or without noise.
    pub fn plateau_interval(&self, curve: &Curve, level: f64) -> Interval {
        let estimate = curve.plateau();
        let Some(region) = self.region(curve, level) else {
            return Interval::refused(estimate, level, METHOD, self.why_no_region(curve));
        };
        let heights = Heights { observations: self, region: &region };
        let ends: Vec<[f64; 2]> = region.pieces.iter().filter_map(|piece| heights.over(*piece)).collect();
        let end = |value: f64| value.is_finite().then_some(value);
        let segments = union(ends).into_iter().map(|piece| piece.map(end)).collect();
        Interval::from_segments(estimate, segments, level, METHOD)
    }

    /// Why a curve has no confidence region of joins.
    pub(super) fn why_no_region(&self, curve: &Curve) -> &'static str {
        if Plateau::of(curve.family).is_none() { NO_PLATEAU } else { self.why_no_error(curve) }
    }
}

/// The plateaus under the cutoff of a region.
struct Heights<'a> {
    observations: &'a Observations,
    region: &'a Region,
}

impl Heights<'_> {
    /// The lowest and highest plateau over a connected piece of joins; `None` if none of its curves rises.
    fn over(&self, [from, to]: [f64; 2]) -> Option<[f64; 2]> {
        let reduced = self.observations.reduced();
        let plateau = self.region.plateau;
        let alike = plateau.alike_until(reduced);
        let low = |shape: f64| self.at(shape).map_or(f64::INFINITY, |[low, _]| low);
        let minus_high = |shape: f64| self.at(shape).map_or(f64::INFINITY, |[_, high]| -high);
        let mut ends = [f64::INFINITY, f64::NEG_INFINITY];
        for [from, to] in between_rates(reduced, [from, to], plateau) {
            let shapes = if to <= alike {
                [plateau.shape(alike); 2]
            } else if plateau == Plateau::Linear {
                // A line is the same from the top rate on, and its plateau higher the later it joins.
                [from.min(1.0), to.min(1.0)]
            } else {
                [1.0 / to, 1.0 / from]
            };
            ends[0] = ends[0].min(least(shapes[0], shapes[1], low));
            ends[1] = ends[1].max(-least(shapes[0], shapes[1], minus_high));
        }
        if to == f64::INFINITY && self.rises(plateau.line()) {
            ends[1] = f64::INFINITY;
        }
        (ends[1] > f64::NEG_INFINITY).then_some(ends)
    }

    /// Whether a rising curve of this shape is under the cutoff.
    fn rises(&self, shape: f64) -> bool {
        let found = self.region.plateau.match_shape(self.observations.reduced(), shape);
        let room = found.map_or(-1.0, |found| self.region.cutoff - found.rss);
        found.is_some_and(|found| room >= 0.0 && found.slope + (room / found.norm).sqrt() > 0.0)
    }

    /// The lowest and highest plateau of the rising curves of a shape, the mean among them.
    fn at(&self, shape: f64) -> Option<[f64; 2]> {
        let (observations, region) = (self.observations, self.region);
        let found = region.plateau.match_shape(observations.reduced(), shape)?;
        let room = region.cutoff - found.rss;
        let lowest = observations.reduced().lowest();
        let basis = |rate: f64| region.plateau.basis(rate, shape, lowest);
        let height = basis(f64::INFINITY) - observations.mean_of_curve(basis);
        if room < 0.0 || !height.is_finite() {
            return None;
        }
        let mean = observations.mean_of_groups();
        let mean_factor = observations.mean_of_groups_factor();
        let across = height / found.norm;
        let factor = mean_factor + height * across;
        let level_room = region.cutoff - observations.reduced().total();
        let end = |sign: f64| {
            if found.slope + sign * across * (room / factor).sqrt() > 0.0 {
                return Some(mean + found.slope * height + sign * (room * factor).sqrt());
            }
            // Where the end's own curve falls, the mean is the last one that does not.
            (level_room >= 0.0).then(|| mean + sign * (level_room * mean_factor).sqrt())
        };
        Some([end(-1.0)?, end(1.0)?])
    }
}
