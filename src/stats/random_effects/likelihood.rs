//! The likelihood of the mean and the variance between units, and where it is largest.

use super::{Known, Unit};
use crate::stats::piece::Piece;
use crate::stats::root::{HALVINGS, falling_root};
use std::f64::consts::PI;

/// Steps of the grid on ln(variance between + smallest variance within). In that variable every unit's part of the likelihood is
/// analytic within π of the real line and has features of the size of 1, so that this step parts any two of its maxima that matter.
const STEP: f64 = 0.25;

/// The grid ends where the variance between is this many times the square of the range, and of the square of the units a bounded one stands
/// against: beyond it the likelihood falls, as each exact unit loses half a logarithm of the variance and a bounded one can't gain as much.
const FARTHEST: f64 = 64.0;

/// Likelihood of yᵢ ~ N(mean, between + withinᵢ), each y exact or within limits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Likelihood<'a> {
    pub(super) units: &'a [Unit],
}

/// The log-likelihood at a mean and a variance between, with its derivatives.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct At {
    pub(super) log: f64,
    /// First derivative by the mean.
    pub(super) by_mean: f64,
    /// Minus the second derivative by the mean.
    pub(super) bend: f64,
    /// First derivative by the variance between.
    pub(super) by_between: f64,
}

impl Likelihood<'_> {
    pub(super) fn is_exact(self) -> bool {
        self.units.iter().all(|unit| matches!(unit.known, Known::Exact(_)))
    }

    pub(super) fn at(self, mean: f64, between: f64) -> At {
        self.units.iter().fold(At::default(), |sum, unit| {
            let variance = unit.within + between;
            let sd = variance.sqrt();
            let (piece, bend, own) = match unit.known {
                Known::Exact(y) => (Piece::exact((y - mean) / sd), 1.0, -sd.ln()),
                Known::Between { low, high } => {
                    let piece = Piece::between((low - mean) / sd, (high - mean) / sd);
                    (piece, 1.0 - piece.variance(), 0.0)
                }
            };
            At {
                log: sum.log + piece.log + own,
                by_mean: sum.by_mean + piece.mean / sd,
                bend: sum.bend + bend / variance,
                by_between: sum.by_between + (piece.square - 1.0) / (2.0 * variance),
            }
        })
    }

    /// How many exact units would tell as much of the mean: an exact one counts 1, a bounded one 1 − Var(z) within its limits, which is the
    /// share of an exact one's information that it keeps.
    pub(super) fn count(self, mean: f64, between: f64) -> f64 {
        let share = |unit: &Unit| match unit.known {
            Known::Exact(_) => 1.0,
            Known::Between { low, high } => {
                let sd = (unit.within + between).sqrt();
                1.0 - Piece::between((low - mean) / sd, (high - mean) / sd).variance()
            }
        };
        self.units.iter().map(share).sum()
    }

    /// The mean that is most likely at a variance between. The log-likelihood is concave in it, so its slope falls through 0 once.
    pub(super) fn best_mean(self, between: f64) -> f64 {
        let exact = self.units.iter().filter_map(|unit| match unit.known {
            Known::Exact(y) => Some((y, 1.0 / (unit.within + between))),
            Known::Between { .. } => None,
        });
        let (sum, weights) = exact.fold((0.0, 0.0), |(sum, weights), (y, weight)| (sum + weight * y, weights + weight));
        let start: f64 = sum / weights;
        if self.is_exact() {
            return start;
        }
        let slope = |mean: f64| self.at(mean, between).by_mean;
        let up = slope(start) > 0.0;
        let (mut near, mut step) = (start, (1.0 / weights).sqrt());
        for _ in 0..HALVINGS {
            let far = if up { near + step } else { near - step };
            if (slope(far) > 0.0) != up {
                return if up { falling_root(slope, near, far) } else { falling_root(slope, far, near) };
            }
            (near, step) = (far, 2.0 * step);
        }
        near
    }

    /// The log-likelihood at the best mean, and its slope by the variance between.
    pub(super) fn profile(self, between: f64) -> (f64, f64) {
        // The mean is at its best, so that moving it with the variance changes nothing.
        let at = self.at(self.best_mean(between), between);
        (at.log, at.by_between)
    }

    /// The restricted log-likelihood of exact units and its slope by the variance between: −½ ln Σw more, and a constant.
    pub(super) fn restricted(self, between: f64) -> (f64, f64) {
        let (value, slope) = self.profile(between);
        let weights = self.units.iter().map(|unit| 1.0 / (unit.within + between));
        let (sum, squares) =
            weights.fold((0.0, 0.0), |(sum, squares), weight| (sum + weight, squares + weight * weight));
        (value - 0.5 * (sum.ln() - (2.0 * PI).ln()), slope + 0.5 * squares / sum)
    }

    /// Variances between, from 0 to beyond any that could be the most likely, ascending.
    pub(super) fn grid(self) -> Vec<f64> {
        let smallest = self.units.iter().map(|unit| unit.within).fold(f64::INFINITY, f64::min);
        let largest = self.units.iter().map(|unit| unit.within).fold(0.0, f64::max);
        let exact = self.units.iter().filter(|unit| matches!(unit.known, Known::Exact(_))).count().max(1) as f64;
        let against = 1.0 + (self.units.len() as f64 - exact) / exact;
        let farthest = largest + FARTHEST * against * against * range(self.units).powi(2);
        let steps = ((farthest / smallest).ln() / STEP).ceil() as usize + 1;
        (0..=steps).map(|step| smallest * (STEP * step as f64).exp_m1()).collect()
    }

    /// The variance between where `profile` is largest over a grid, and its value there.
    pub(super) fn best_between(grid: &[f64], profile: impl Fn(f64) -> (f64, f64)) -> (f64, f64) {
        let slope = |between: f64| profile(between).1;
        let nodes: Vec<(f64, f64)> = grid.iter().map(|between| (*between, slope(*between))).collect();
        let level_start = nodes.first().filter(|(_, slope)| *slope <= 0.0).map(|(between, _)| *between);
        let tops = nodes.windows(2).filter_map(|pair| match *pair {
            [(near, rising), (far, falling)] if rising > 0.0 && falling <= 0.0 => Some(falling_root(slope, near, far)),
            _ => None,
        });
        let still_rising = nodes.last().filter(|(_, slope)| *slope > 0.0).map(|(between, _)| *between);
        let candidates = level_start.into_iter().chain(tops).chain(still_rising).map(|at| (at, profile(at).0));
        // Of equals the first, the smallest variance.
        candidates.fold((0.0, f64::NEG_INFINITY), |best, found| if found.1 > best.1 { found } else { best })
    }

    /// The log-likelihood at a mean, at the variance between that suits it best.
    pub(super) fn profile_of_mean(self, grid: &[f64], mean: f64) -> f64 {
        let at = |between: f64| {
            let at = self.at(mean, between);
            (at.log, at.by_between)
        };
        Self::best_between(grid, at).1
    }
}

/// The distance between the smallest and the largest of all exact values and finite limits.
pub(super) fn range(units: &[Unit]) -> f64 {
    let ends = units.iter().flat_map(|unit| match unit.known {
        Known::Exact(y) => [y, y],
        Known::Between { low, high } => [low, high],
    });
    let finite = ends.filter(|end| end.is_finite());
    let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), end| (low.min(end), high.max(end)));
    (high - low).max(0.0)
}
