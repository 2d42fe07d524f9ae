//! A need that bends where the indices lie: a quadratic spline with knots at the quartiles of the early levels' indices.
//!
//! Readings crowd where crops have enough N, so that the need falls steeply over the last few hundredths of the index, which a parabola that
//! also has to follow the rest can't. The spline is written by its B-spline ordinates in z. They are at least 0 and never fall with z, and so
//! neither does the spline: with ordinates below 0 it could jump from none to the need of the lowest index that has any.

use super::criterion::{Basis, Derived, Problem};
use super::newton::{Local, descend_above, free};
use super::search::{Objective, SEARCHED_TO, explained};
use crate::stats::quantile::quantile;

/// Ordinates of a quadratic spline with three knots.
pub(super) const ORDINATES: usize = 6;
/// The ordinates, from z = 0 to z = 1.
pub(super) type SplineOrdinates = [f64; ORDINATES];

/// The knots, with the ends as often as they count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Knots([f64; ORDINATES + 3]);

impl Knots {
    /// The quartiles of the different z of the early levels.
    pub fn of(problem: &Problem) -> Self {
        let mut z = problem.z.clone();
        z.sort_by(f64::total_cmp);
        z.dedup();
        let quartile = |probability| quantile(&z, probability).unwrap_or(probability);
        Self::at([quartile(0.25), quartile(0.5), quartile(0.75)])
    }

    /// Ascending knots between 0 and 1.
    pub fn at([first, second, third]: [f64; 3]) -> Self {
        Self([0.0, 0.0, 0.0, first, second, third, 1.0, 1.0, 1.0])
    }

    /// The knots between the ends.
    pub fn inner(&self) -> [f64; 3] {
        let [_, _, _, first, second, third, ..] = self.0;
        [first, second, third]
    }

    /// The B-splines at z; before 0 and beyond 1 they go on as straight lines.
    pub fn columns(&self, z: f64) -> [f64; ORDINATES] {
        let inside = z.clamp(0.0, 1.0);
        let t = &self.0;
        // The last piece that z lies in, of those that are not empty.
        let piece = (2..=5).rev().find(|at| t[*at] < t[at + 1] && t[*at] <= inside).unwrap_or(2);
        let (from, to) = (t[piece], t[piece + 1]);
        // De Boor's recursion: two straight B-splines on the piece, then three of degree two.
        let right = (inside - from) / (to - from);
        let share = |low: f64, high: f64| (inside - low) / (high - low);
        let (below, above) = (share(t[piece - 1], to), share(from, t[piece + 2]));
        let mut columns = [0.0; ORDINATES];
        columns[piece - 2] = (1.0 - right) * (1.0 - below);
        columns[piece - 1] = (1.0 - right) * below + right * (1.0 - above);
        columns[piece] = right * above;
        if z != inside {
            let beyond = 2.0 * (z - inside);
            let (falls, rises) = ((1.0 - right) / (to - t[piece - 1]), right / (t[piece + 2] - from));
            columns[piece - 2] -= beyond * falls;
            columns[piece - 1] += beyond * (falls - rises);
            columns[piece] += beyond * rises;
        }
        columns
    }

    /// The spline at z.
    pub fn value(&self, ordinates: &SplineOrdinates, z: f64) -> f64 {
        self.columns(z).iter().zip(ordinates).map(|(column, ordinate)| column * ordinate).sum()
    }

    /// The ordinates of the positive part of a parabola that is given by its own over z, or near it; held from falling where it does.
    pub fn of_parabola(&self, [u0, m, u1]: [f64; 3]) -> SplineOrdinates {
        // Its polar form at neighbouring knots.
        let polar = |s: f64, t: f64| u0 * (1.0 - s) * (1.0 - t) + m * (s * (1.0 - t) + t * (1.0 - s)) + u1 * s * t;
        let mut highest = 0.0_f64;
        std::array::from_fn(|at| {
            highest = highest.max(polar(self.0[at + 1], self.0[at + 2]));
            highest
        })
    }
}

/// The first ordinate and how far each rises above the one before it.
fn steps(ordinates: &SplineOrdinates) -> [f64; ORDINATES] {
    std::array::from_fn(|at| ordinates[at] - at.checked_sub(1).map_or(0.0, |before| ordinates[before]))
}

fn of_steps(steps: &[f64; ORDINATES]) -> SplineOrdinates {
    let mut sum = 0.0;
    steps.map(|step| {
        sum += step;
        sum
    })
}

/// The columns of the steps where the B-splines are `columns`.
fn of_columns(columns: &[f64; ORDINATES]) -> [f64; ORDINATES] {
    std::array::from_fn(|at| columns.iter().skip(at).sum())
}

/// The splines that a function of the sums comes down to from some starts.
pub(super) struct SplineSearch<'p> {
    problem: &'p Problem,
    pub knots: Knots,
    basis: Basis<ORDINATES>,
    least: [f64; ORDINATES],
}

impl<'p> SplineSearch<'p> {
    pub fn new(problem: &'p Problem, never_rising: bool) -> Self {
        let knots = Knots::of(problem);
        let least = [if never_rising { 0.0 } else { f64::NEG_INFINITY }; ORDINATES];
        Self { problem, knots, basis: Basis::of(problem, |z| of_columns(&knots.columns(z))), least }
    }

    fn derived(&self, steps: &[f64; ORDINATES]) -> Option<Derived<ORDINATES>> {
        let highest = of_steps(steps).into_iter().fold(f64::NEG_INFINITY, f64::max);
        (highest <= SEARCHED_TO).then(|| self.problem.derived(&self.basis, steps))
    }

    fn lowest_of(
        &self,
        starts: &[SplineOrdinates],
        local: impl Fn(&[f64; ORDINATES]) -> Option<Local<ORDINATES>>,
    ) -> Option<(SplineOrdinates, f64)> {
        let found = starts.iter().filter_map(|start| descend_above(&local, steps(start), &self.least));
        let lowest = found.reduce(|best, next| if next.value < best.value { next } else { best })?;
        Some((of_steps(&lowest.at), lowest.value))
    }

    /// The best fit.
    pub fn best(&self, starts: &[SplineOrdinates]) -> Option<(SplineOrdinates, f64)> {
        self.lowest_of(starts, |steps| explained(&self.derived(steps)?))
    }

    /// The least of another objective.
    pub fn least_by(&self, starts: &[SplineOrdinates], objective: &impl Objective) -> Option<(SplineOrdinates, f64)> {
        let slopes = of_columns(&self.knots.columns(objective.z()));
        self.lowest_of(starts, |steps| {
            let need = slopes.iter().zip(steps).map(|(slope, step)| slope * step).sum();
            objective.local(&self.derived(steps)?, need, &slopes)
        })
    }

    /// Whether the steps that are free, and c, change the curve each in a way of its own.
    pub fn is_determined(&self, ordinates: &SplineOrdinates) -> bool {
        let at = steps(ordinates);
        let Some(derived) = self.derived(&at) else { return false };
        let free = explained(&derived).map(|local| free(&at, &local, &self.least));
        free.is_some_and(|free| !derived.is_dependent(&free))
    }
}
