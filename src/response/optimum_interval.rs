//! The profile interval of the rate where the slope equals a ratio, family by family.
//!
//! A rate θ belongs to the interval if some curve under the cutoff has θ as its smallest best rate. Instead of minimising the residual
//! sum of squares at every θ, the confidence region of the curve's own parameters is carried over: for each shape the slopes under the
//! cutoff are an interval, on which θ is monotone, so the interval of θ is the hull of its ends over each connected piece of shapes.

use super::curve::Curve;
use super::family::Family;
use super::join::{METHOD, Region, union};
use super::observations::Observations;
use super::plateau::{Plateau, Stretch, pieces};
use super::reduced::Reduced;
use super::{linear_plateau, quadratic, square_root};
use crate::stats::interval::Interval;
use crate::stats::least_squares::dot;
use crate::stats::polynomial;
use argmin::core::{CostFunction, Error, Executor};
use argmin::solver::brent::BrentOpt;
use std::f64::consts::FRAC_PI_2;

/// Shapes looked at between two tested rates before the extreme is refined: θ has few bends there.
const GRID: usize = 32;

/// Where Brent's method may stop, relative to the stretch. The extreme value is then right to the square of this.
const REFINED: f64 = 1e-9;

/// The rates that belong to an interval, on rates divided by the highest.
#[derive(Debug, Default)]
struct Rates {
    /// Pieces of positive rates; an end at infinity is open.
    pieces: Vec<[f64; 2]>,
    /// A curve whose initial slope is at most the ratio is under the cutoff.
    zero: bool,
    /// Rates go down to the lowest tested one only through joins that fit alike.
    open_below: bool,
}

impl Observations {
    pub(super) fn optimum_interval(&self, curve: &Curve, ratio: f64, level: f64, estimate: Option<f64>) -> Interval {
        let scaled_ratio = ratio * self.highest_rate();
        let rates = match curve.family {
            Family::Mean => None,
            Family::Linear => self.cutoff(curve, level).map(|cutoff| linear(self.reduced(), cutoff, scaled_ratio)),
            Family::Quadratic => self
                .cutoff(curve, level)
                .map(|cutoff| bent_rates(self.reduced(), cutoff, scaled_ratio, quadratic::BASIS)),
            Family::SquareRoot => {
                let rates = |cutoff| bent_rates(self.reduced(), cutoff, scaled_ratio, square_root::BASIS);
                self.cutoff(curve, level).map(rates).map(Rates::squared)
            }
            Family::LinearPlateau => {
                self.region(curve, level).map(|region| linear_plateau_rates(self.reduced(), &region, scaled_ratio))
            }
            Family::QuadraticPlateau | Family::ExponentialRise => {
                self.region(curve, level).map(|region| curved_rates(self.reduced(), &region, scaled_ratio))
            }
        };
        let Some(rates) = rates else {
            return Interval::not_computed(estimate, level, METHOD);
        };
        // Where only straight lines are under the cutoff, all that is known of the optimum is what a line says.
        let bounded = |from: f64| if from.is_finite() { from.max(0.0) } else { 1.0 };
        let mut all: Vec<[f64; 2]> = rates.pieces.into_iter().map(|[from, to]| [bounded(from), to]).collect();
        // Where no plot had rate 0, nothing tells 0 from the rates up to the lowest tested one.
        let lowest = self.reduced().rates().first().copied().unwrap_or(0.0);
        if rates.zero {
            all.push([0.0, lowest]);
        }
        let closed = lowest == 0.0 && (rates.zero || !rates.open_below);
        let low = |rate: f64| (rate > 0.0 || closed).then(|| self.in_rate_unit(rate));
        let high = |rate: f64| rate.is_finite().then(|| self.in_rate_unit(rate));
        let segments = union(all).iter().map(|[from, to]| [low(*from), high(*to)]).collect();
        Interval::from_segments(estimate, segments, level, METHOD)
    }
}

/// Slopes under the cutoff for a projected column, or `None` if its best curve is over it.
fn slopes_under(reduced: &Reduced, x: &[f64], cutoff: f64) -> Option<[f64; 2]> {
    let found = reduced.match_column(x)?;
    let room = cutoff - found.rss;
    (room >= 0.0).then(|| {
        let half = (room / found.norm).sqrt();
        [found.slope - half, found.slope + half]
    })
}

/// A line is best at its lowest or at its highest end, and beyond that at any higher rate.
fn linear(reduced: &Reduced, cutoff: f64, ratio: f64) -> Rates {
    let slopes = slopes_under(reduced, &reduced.curve(|rate| rate), cutoff);
    let Some([flattest, steepest]) = slopes else { return Rates::default() };
    let pieces = if steepest > ratio { vec![[1.0, f64::INFINITY]] } else { Vec::new() };
    Rates { pieces, zero: flattest <= ratio, open_below: false }
}

/// Where a parabola in s (the rate itself or its root) less r·N is at its top: it is C·(s² − 2θs), and
/// for each θ one factor C ≤ 0 is free.
///
/// With a = z − r·x over the rates and w = x₂ − 2θx₁ over the powers of s, RSS(θ) ≤ cutoff is (a·w)² ≥ T·(w·w), a quadratic in θ whose
/// set is Fieller's (1954, from memory) where a·w < 0.
fn bent_rates(reduced: &Reduced, cutoff: f64, ratio: f64, basis: [fn(f64) -> f64; 2]) -> Rates {
    let [x1, x2] = basis.map(|g| reduced.curve(g));
    let line = reduced.curve(|rate| rate);
    let a: Vec<f64> = reduced.z().iter().zip(&line).map(|(z, x)| z - ratio * x).collect();
    let left = reduced.rss_with_slope(&line, ratio);
    let explained = left - cutoff;
    let along = [dot(&a, &x2), -2.0 * dot(&a, &x1)];
    let norm = [dot(&x2, &x2), -4.0 * dot(&x1, &x2), 4.0 * dot(&x1, &x1)];
    let excess = [
        along[0] * along[0] - explained * norm[0],
        2.0 * along[0] * along[1] - explained * norm[1],
        along[1] * along[1] - explained * norm[2],
    ];
    // A line as steep as the ratio is as good at any rate: with it under the cutoff every rate belongs.
    let every = explained <= 0.0;
    let belongs =
        |theta: f64| every || (polynomial::value(&along, theta) < 0.0 && polynomial::value(&excess, theta) >= 0.0);
    let mut cuts: Vec<f64> = polynomial::roots(&excess, 0.0, FAR).as_slice().to_vec();
    cuts.extend(polynomial::roots(&along, 0.0, FAR).as_slice());
    cuts.sort_unstable_by(f64::total_cmp);
    let mut found = pieces(0.0, FAR, &cuts, belongs);
    found.iter_mut().filter(|piece| piece[1] >= FAR).for_each(|piece| piece[1] = f64::INFINITY);
    Rates { pieces: found, zero: falling(&a, &x1, &x2) + reduced.pure_error() <= cutoff, open_below: false }
}

/// Beyond this many times the highest rate a limit counts as open.
const FAR: f64 = 1e6;

/// The smallest ‖a − b·x₁ − c·x₂‖² with neither factor above zero: of curves whose best rate is zero.
fn falling(a: &[f64], x1: &[f64], x2: &[f64]) -> f64 {
    let minus = |factor: f64, x: &[f64]| -> Vec<f64> { a.iter().zip(x).map(|(a, x)| a - factor * x).collect() };
    let slope = |v: &[f64], x: &[f64]| dot(v, x) / dot(x, x);
    let left = |b: f64, c: f64| minus(b, x1).iter().zip(x2).map(|(e, x)| (e - c * x).powi(2)).sum::<f64>();
    // Free, then on either edge of the allowed corner: least squares is convex, so one of these is the best.
    let shared = dot(x1, x2) / dot(x1, x1);
    let across: Vec<f64> = x2.iter().zip(x1).map(|(x2, x1)| x2 - shared * x1).collect();
    let free_c = slope(a, &across);
    let free_b = slope(&minus(free_c, x2), x1);
    if free_b <= 0.0 && free_c <= 0.0 {
        return left(free_b, free_c);
    }
    left(0.0, slope(a, x2).min(0.0)).min(left(slope(a, x1).min(0.0), 0.0))
}

impl Rates {
    /// From roots of rates to rates.
    fn squared(mut self) -> Self {
        self.pieces.iter_mut().flatten().for_each(|end| *end *= *end);
        self
    }
}

/// The optimum of a linear-plateau is its join if it is steeper than the ratio, otherwise zero: everything is a quadratic in J.
fn linear_plateau_rates(reduced: &Reduced, region: &Region, ratio: f64) -> Rates {
    let explained = reduced.total() - region.cutoff;
    let mut rates = Rates { zero: explained <= 0.0, ..Rates::default() };
    let mut steep_joins = |stretch: &Stretch| {
        let steep = |join: f64| steep_slopes(stretch, explained, ratio, join);
        let cuts = steepness_cuts(stretch, explained, ratio);
        rates.zero |= !pieces(stretch.from, stretch.to, &cuts, |join| steep(join).1).is_empty();
        pieces(stretch.from, stretch.to, &cuts, |join| steep(join).0)
    };
    let lowest = reduced.rates().first().copied().unwrap_or(0.0);
    let first = steep_joins(&linear_plateau::first_stretch(reduced));
    let mut found: Vec<[f64; 2]> =
        first.iter().map(|[from, to]| [if *from > 0.0 { lowest + from } else { 0.0 }, lowest + to]).collect();
    for stretch in linear_plateau::stretches(reduced) {
        found.extend(steep_joins(&stretch));
    }
    let line = slopes_under(reduced, &reduced.curve(|rate| rate), region.cutoff);
    if line.is_some_and(|[_, steepest]| steepest > ratio) {
        found.push([1.0, f64::INFINITY]);
    }
    rates.open_below = first.iter().any(|piece| piece[0] == 0.0);
    rates.pieces = union(found);
    rates
}

/// Whether at join `j` a rising slope above the ratio, and one at most the ratio, is under the cutoff.
fn steep_slopes(stretch: &Stretch, explained: f64, ratio: f64, j: f64) -> (bool, bool) {
    let q = polynomial::value(&stretch.along(), j);
    let p = polynomial::value(&stretch.norm(), j);
    if q * q < explained * p {
        return (false, false);
    }
    // The rise in RSS from the best slope to the ratio, against the room that the best slope leaves.
    let ratio_is_under = explained - 2.0 * ratio * q + ratio * ratio * p <= 0.0;
    let best_is_steeper = q > ratio * p;
    let rising = q > 0.0 || explained <= 0.0;
    (rising && (best_is_steeper || ratio_is_under), rising && (!best_is_steeper || ratio_is_under))
}

/// The joins where an answer of [`steep_slopes`] can change, ascending.
fn steepness_cuts(stretch: &Stretch, explained: f64, ratio: f64) -> Vec<f64> {
    let (q, p) = (stretch.along(), stretch.norm());
    let excess = [q[0] * q[0] - explained * p[0], 2.0 * q[0] * q[1] - explained * p[1], q[1] * q[1] - explained * p[2]];
    let at_ratio = [
        explained - 2.0 * ratio * q[0] + ratio * ratio * p[0],
        -2.0 * ratio * q[1] + ratio * ratio * p[1],
        ratio * ratio * p[2],
    ];
    let steeper = [q[0] - ratio * p[0], q[1] - ratio * p[1], -ratio * p[2]];
    let rising = [q[0], q[1]];
    let polynomials: [&[f64]; 4] = [&excess, &at_ratio, &steeper, &rising];
    let mut cuts: Vec<f64> = Vec::new();
    for polynomial in polynomials {
        cuts.extend(polynomial::roots(polynomial, stretch.from, stretch.to).as_slice());
    }
    cuts.sort_unstable_by(f64::total_cmp);
    cuts
}

/// The optimum of a curved rise to a plateau is a θ that rises with the slope: see [`theta`].
fn curved_rates(reduced: &Reduced, region: &Region, ratio: f64) -> Rates {
    let mut rates = Rates { zero: reduced.total() <= region.cutoff, ..Rates::default() };
    for piece in &region.pieces {
        let ends = theta_ends(reduced, region, *piece, ratio);
        let Some([smallest, largest]) = ends else { continue };
        rates.zero |= smallest <= 0.0;
        // With curves on both sides of zero the rates above it start there.
        if largest > 0.0 {
            rates.pieces.push([smallest.max(0.0), largest]);
            rates.open_below |= piece[0] == 0.0;
        }
    }
    if rates.open_below
        && let Some(first) = rates.pieces.first_mut()
    {
        first[0] = 0.0;
    }
    rates.pieces = union(std::mem::take(&mut rates.pieces));
    rates
}

/// The rate where a curve has the slope `ratio`: with b at zero and the join 1/`u` a quadratic-plateau has it at (1 − r/b)/u, with b at the
/// lowest tested rate L an exponential at L + ln(b/r)/`u`.
///
/// Infinite for a line: it is best beyond any rate, or at zero. A curve that does not rise has its best rate below any.
fn theta(plateau: Plateau, slope: f64, u: f64, ratio: f64, lowest: f64) -> f64 {
    if slope <= 0.0 {
        return f64::NEG_INFINITY;
    }
    let margin = 1.0 - ratio / slope;
    match (u > 0.0, margin > 0.0) {
        (true, _) if plateau == Plateau::Exponential => lowest + (slope / ratio).ln() / u,
        (true, _) => margin / u,
        (false, true) => f64::INFINITY,
        (false, false) => f64::NEG_INFINITY,
    }
}

/// The smallest and largest θ over a connected piece of joins; `None` if none of its curves rises.
fn theta_ends(reduced: &Reduced, region: &Region, piece: [f64; 2], ratio: f64) -> Option<[f64; 2]> {
    let (plateau, lowest) = (region.plateau, reduced.lowest());
    let slopes = |u: f64| {
        slopes_under(reduced, &plateau.column(reduced, u), region.cutoff).filter(|[_, steepest]| *steepest > 0.0)
    };
    let smallest = |u: f64| slopes(u).map_or(f64::INFINITY, |[flattest, _]| theta(plateau, flattest, u, ratio, lowest));
    let largest = |u: f64| slopes(u).map_or(f64::INFINITY, |[_, steepest]| -theta(plateau, steepest, u, ratio, lowest));
    let mut ends = [f64::INFINITY, f64::NEG_INFINITY];
    for [from, to] in between_rates(reduced, piece, plateau) {
        // Where all joins fit alike u runs to infinity, so there the search goes along the join itself.
        if to <= plateau.alike_until(reduced) {
            ends[0] = ends[0].min(least(from, to, |join| smallest(1.0 / join)));
            ends[1] = ends[1].max(-least(from, to, |join| largest(1.0 / join)));
        } else {
            ends[0] = ends[0].min(least(1.0 / to, 1.0 / from, smallest));
            ends[1] = ends[1].max(-least(1.0 / to, 1.0 / from, largest));
        }
    }
    (ends[1] > f64::NEG_INFINITY).then_some(ends)
}

/// A piece of joins cut at the tested rates, where θ has kinks, and where joins begin to differ; what lies below the lowest join holds no
/// curve.
pub(super) fn between_rates(reduced: &Reduced, piece: [f64; 2], plateau: Plateau) -> Vec<[f64; 2]> {
    let from = piece[0].max(plateau.lowest_join(reduced));
    let inside = |join: &f64| *join > from && *join < piece[1];
    let mut cuts: Vec<f64> = reduced.rates().iter().skip(1).copied().filter(inside).collect();
    cuts.extend([from, piece[1]]);
    cuts.extend(Some(plateau.alike_until(reduced)).filter(inside));
    cuts.sort_unstable_by(f64::total_cmp);
    cuts.dedup();
    cuts.windows(2).map(|ends| [ends[0], ends[1]]).collect()
}

/// The least value of `f` over `[from, to]`; infinite where `f` is nowhere finite.
///
/// At an end of the confidence region θ changes like a square root; the sine makes it smooth there.
pub(super) fn least(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    let at = |angle: f64| f((middle + half * angle.sin()).clamp(from, to));
    let angle = |step: usize| FRAC_PI_2 * (2.0 * step as f64 / GRID as f64 - 1.0);
    let best = (0..=GRID).map(|step| (at(angle(step)), step)).min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((value, step)) = best.filter(|(value, _)| value.is_finite()) else {
        return best.map_or(f64::INFINITY, |(value, _)| value);
    };
    let (left, right) = (angle(step.saturating_sub(1)), angle((step + 1).min(GRID)));
    let solver = BrentOpt::new(left, right).set_tolerance(REFINED, REFINED);
    let refined = Executor::new(Cost(at), solver).configure(|state| state.max_iters(100)).run();
    // Without a result of the refinement the grid's own best stands.
    refined.map_or(value, |result| value.min(result.state.best_cost))
}

/// A function of one number, for the minimiser.
struct Cost<F>(F);

impl<F: Fn(f64) -> f64> CostFunction for Cost<F> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, at: &f64) -> Result<f64, Error> {
        Ok(self.0(*at))
    }
}
