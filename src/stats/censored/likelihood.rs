//! The log-likelihood in Olsen's parameters, its derivatives, and its maximum.

use super::Response;
use crate::stats::distribution::{normal_hazard, normal_log_density, normal_log_survival};
use crate::stats::least_squares::dot;
use argmin::core::{CostFunction, Error, Executor, Gradient, State};
use argmin::solver::linesearch::MoreThuenteLineSearch;
use argmin::solver::quasinewton::LBFGS;
use faer::Mat;
use faer::linalg::solvers::SolveCore;
use std::cell::Cell;

/// γ = 1/σ under which −ln γ is continued by a parabola, so that a line search that steps to γ ≤ 0
/// meets a high finite wall instead of NaN. In units in which the least-squares fit has γ = 1, no
/// estimate comes near it.
const LOWEST_PRECISION: f64 = 1e-6;

/// The search ends when the log-likelihood still to be gained is half of this: coefficients are then
/// within 10⁻¹⁰ standard errors. It also ends where the slope is rounding alone.
const LAST_DECREMENT: f64 = 1e-20;

/// Under this decrement a full Newton step is safe, and the change of the cost is lost in rounding.
const QUADRATIC_PHASE: f64 = 1e-10;

/// Where `h − t` has lost four digits.
const VARIANCE_SERIES_ABOVE: f64 = 100.0;

const QUASI_NEWTON_STEPS: u64 = 100;
const QUASI_NEWTON_EVALUATIONS: usize = 5_000;
const NEWTON_STEPS: u64 = 200;

/// One response: its gradient direction in (δ, γ), so that `v·(δ, γ) = γ y − z·δ`, and what is known.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) v: Vec<f64>,
    pub(super) known: Known,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Known {
    Exact,
    AtMost,
    AtLeast,
}

impl Row {
    /// A row of the orthonormal design and its centred, scaled response.
    pub(super) fn new(z: &[f64], y: f64, response: Response) -> Row {
        let known = match response {
            Response::Exact(_) => Known::Exact,
            Response::AtMost(_) => Known::AtMost,
            Response::AtLeast(_) => Known::AtLeast,
        };
        Row { v: z.iter().map(|z| -z).chain([y]).collect(), known }
    }
}

/// Minus the log-likelihood of (δ, γ), a convex function; the constant of the exact rows left out.
#[derive(Debug, Clone)]
pub(super) struct Likelihood {
    pub(super) rows: Vec<Row>,
    exact: f64,
}

/// Where the likelihood is largest.
pub(super) struct Maximum {
    /// δ = β/σ.
    pub(super) slopes: Vec<f64>,
    /// γ = 1/σ.
    pub(super) precision: f64,
    pub(super) log_likelihood: f64,
    pub(super) converged: bool,
    pub(super) iterations: u64,
}

impl Likelihood {
    pub(super) fn new(rows: Vec<Row>) -> Likelihood {
        let exact = rows.iter().filter(|r| r.known == Known::Exact).count() as f64;
        Likelihood { rows, exact }
    }

    fn dimension(&self) -> usize {
        self.rows.first().map_or(1, |row| row.v.len())
    }

    /// −ln γ with its first two derivatives, continued below [`LOWEST_PRECISION`].
    fn barrier(at: &[f64]) -> (f64, f64, f64) {
        let gamma = at.last().copied().unwrap_or(1.0);
        let low = LOWEST_PRECISION;
        if gamma >= low {
            return (-gamma.ln(), -1.0 / gamma, 1.0 / (gamma * gamma));
        }
        let by = gamma - low;
        (-low.ln() - by / low + 0.5 * (by / low).powi(2), -1.0 / low + by / (low * low), 1.0 / (low * low))
    }

    pub(super) fn value(&self, at: &[f64]) -> f64 {
        let row = |row: &Row| {
            let u = dot(&row.v, at);
            match row.known {
                Known::Exact => 0.5 * u * u,
                Known::AtMost => -normal_log_survival(-u),
                Known::AtLeast => -normal_log_survival(u),
            }
        };
        self.exact * Self::barrier(at).0 + self.rows.iter().map(row).sum::<f64>()
    }

    pub(super) fn slope(&self, at: &[f64]) -> Vec<f64> {
        let mut slope = vec![0.0; self.dimension()];
        for row in &self.rows {
            let u = dot(&row.v, at);
            let factor = match row.known {
                Known::Exact => u,
                Known::AtMost => -normal_hazard(-u),
                Known::AtLeast => normal_hazard(u),
            };
            slope.iter_mut().zip(&row.v).for_each(|(s, v)| *s += factor * v);
        }
        if let Some(last) = slope.last_mut() {
            *last += self.exact * Self::barrier(at).1;
        }
        slope
    }

    /// Whether a slope is nothing but the rounding of its terms. Where the limits hold a direction by next to nothing, no step can then bring
    /// the cost nearer to its least, and what is left is still far below a standard error.
    fn is_rounding(&self, at: &[f64], slope: &[f64]) -> bool {
        let mut size = vec![0.0; self.dimension()];
        for row in &self.rows {
            let u = dot(&row.v, at);
            // Of a hazard, as of its argument, rounding leaves so much.
            let factor = row.v.iter().zip(at).map(|(v, x)| (v * x).abs()).sum::<f64>() + u.abs().max(1.0);
            size.iter_mut().zip(&row.v).for_each(|(size, v)| *size += factor * v.abs());
        }
        if let Some(last) = size.last_mut() {
            *last += self.exact * Self::barrier(at).1.abs();
        }
        slope.iter().zip(&size).all(|(slope, size)| slope.abs() <= f64::EPSILON * size)
    }

    pub(super) fn bend(&self, at: &[f64]) -> Mat<f64> {
        let size = self.dimension();
        let mut bend = Mat::zeros(size, size);
        for row in &self.rows {
            let u = dot(&row.v, at);
            let factor = match row.known {
                Known::Exact => 1.0,
                Known::AtMost => tail_bend(-u),
                Known::AtLeast => tail_bend(u),
            };
            for i in 0..size {
                for j in 0..size {
                    bend[(i, j)] += factor * row.v[i] * row.v[j];
                }
            }
        }
        bend[(size - 1, size - 1)] += self.exact * Self::barrier(at).2;
        bend
    }

    /// From the least-squares fit to the maximum.
    pub(super) fn maximise(&self) -> Maximum {
        let mut start = vec![0.0; self.dimension()];
        if let Some(gamma) = start.last_mut() {
            *gamma = 1.0;
        }
        let (mut at, first_steps) = self.quasi_newton(&start).unwrap_or((start, 0));
        let (converged, last_steps) = self.newton(&mut at);
        let log_likelihood = -self.value(&at) + self.exact * normal_log_density(0.0);
        let precision = at.pop().unwrap_or(1.0);
        Maximum {
            slopes: at,
            precision,
            log_likelihood,
            converged: converged && precision > LOWEST_PRECISION,
            iterations: first_steps + last_steps,
        }
    }

    /// L-BFGS with the line search of Moré and Thuente: near the maximum, not yet at it. `None` where
    /// it breaks off; Newton's method then starts from the least-squares fit instead.
    fn quasi_newton(&self, start: &[f64]) -> Option<(Vec<f64>, u64)> {
        let problem = Counted { likelihood: self, left: Cell::new(QUASI_NEWTON_EVALUATIONS) };
        let solver = LBFGS::new(MoreThuenteLineSearch::new(), 5);
        let ended = Executor::new(problem, solver)
            .configure(|state| state.param(start.to_vec()).max_iters(QUASI_NEWTON_STEPS))
            .ctrlc(false)
            .timer(false)
            .run()
            .ok()?;
        let state = ended.state();
        let best = state.get_best_param()?.clone();
        let usable = best.iter().all(|x| x.is_finite()) && self.value(&best).is_finite();
        usable.then(|| (best, state.get_iter()))
    }

    /// Newton's method with the step halved until the cost falls. Returns whether it arrived.
    fn newton(&self, at: &mut Vec<f64>) -> (bool, u64) {
        for step in 0..NEWTON_STEPS {
            let slope = self.slope(at);
            let mut direction = Mat::from_fn(slope.len(), 1, |i, _| -slope[i]);
            let bend = self.bend(at).col_piv_qr();
            bend.solve_in_place_with_conj(faer::Conj::No, direction.as_mut());
            let decrement: f64 = -(0..slope.len()).map(|i| slope[i] * direction[(i, 0)]).sum::<f64>();
            if !decrement.is_finite() || decrement < 0.0 {
                return (self.is_rounding(at, &slope), step);
            }
            let moved = |share: f64| -> Vec<f64> {
                let moves = at.iter().enumerate();
                moves.map(|(i, x)| x + share * direction[(i, 0)]).collect()
            };
            if decrement < QUADRATIC_PHASE {
                let next = moved(1.0);
                *at = next;
                if decrement <= LAST_DECREMENT || self.is_rounding(at, &slope) {
                    return (true, step + 1);
                }
                continue;
            }
            let value = self.value(at);
            let shares = (0..60).map(|halvings| 0.5_f64.powi(halvings));
            let falls = |share: &f64| self.value(&moved(*share)) < value - 1e-4 * share * decrement;
            let Some(share) = shares.into_iter().find(falls) else {
                return (false, step);
            };
            let next = moved(share);
            *at = next;
        }
        (false, NEWTON_STEPS)
    }
}

/// Minus the second derivative of the log of the probability that a standard normal exceeds `t`:
/// `h (h − t)`, h its hazard; it lies in 0…1.
fn tail_bend(t: f64) -> f64 {
    if t > VARIANCE_SERIES_ABOVE {
        // h − t cancels here; 1 − Var(Z | Z > t), and the variance has its own series.
        let r = 1.0 / (t * t);
        return 1.0 - r * (1.0 - r * (6.0 - r * (50.0 - r * 518.0)));
    }
    let hazard = normal_hazard(t);
    hazard * (hazard - t)
}

/// The likelihood as argmin asks for it, with an end to how often: a line search that has met infinity
/// need not end by itself.
struct Counted<'a> {
    likelihood: &'a Likelihood,
    left: Cell<usize>,
}

impl Counted<'_> {
    fn count(&self) -> Result<(), Error> {
        let left = self.left.get().checked_sub(1);
        self.left.set(left.ok_or_else(|| Error::msg("the search evaluates the likelihood without end"))?);
        Ok(())
    }
}

impl CostFunction for Counted<'_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, at: &Vec<f64>) -> Result<f64, Error> {
        self.count()?;
        Ok(self.likelihood.value(at))
    }
}

impl Gradient for Counted<'_> {
    type Param = Vec<f64>;
    type Gradient = Vec<f64>;

    fn gradient(&self, at: &Vec<f64>) -> Result<Vec<f64>, Error> {
        self.count()?;
        Ok(self.likelihood.slope(at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Central differences with a step of 1e-5 keep about ten digits of numbers near 1.
    const DIFFERENCE: f64 = 1e-7;
    const STEP: f64 = 1e-5;

    fn mixed() -> Likelihood {
        let rows = [
            (0.4, 1.1, Response::Exact(0.0)),
            (-1.2, 0.3, Response::AtMost(0.0)),
            (0.9, -0.7, Response::AtLeast(0.0)),
            (-0.1, -1.4, Response::Exact(0.0)),
            (1.5, 0.2, Response::Exact(0.0)),
        ];
        let row = |&(z, y, response): &(f64, f64, Response)| Row::new(&[1.0, z], y, response);
        Likelihood::new(rows.iter().map(row).collect())
    }

    /// The least sure of the digits of a hazard, which cancelling below 2 costs.
    const DIGITS: f64 = 1e-13;

    #[test]
    fn the_tails_keep_their_digits_however_far_out() {
        // Reference: mpmath in 120 digits; script beside its output.
        let text = include_str!("../../../tests/reference/censored/normal_tail.json");
        let reference: serde_json::Value = serde_json::from_str(text).unwrap();
        let rows: Vec<[f64; 4]> = serde_json::from_value(reference["rows"].clone()).unwrap();
        for [u, ln, slope, bend] in rows {
            let near = |ours, theirs, digits| {
                assert_relative_eq!(ours, theirs, max_relative = digits, epsilon = 0.0);
            };
            near(normal_log_survival(-u), ln, DIGITS);
            near(normal_hazard(-u), slope, DIGITS);
            // h (h − t) loses as many digits as h − t cancels.
            near(tail_bend(-u), bend, DIGITS * (1.0 + u.min(0.0).powi(2)));
        }
        for t in [-1e308, -1e160, 1e5, 1e160, 1e308] {
            assert!((0.0..=1.0).contains(&tail_bend(t)) && !normal_log_survival(t).is_nan(), "{t}");
        }
    }

    #[test]
    fn the_derivatives_are_those_of_the_likelihood() {
        let likelihood = mixed();
        // The last point lies on the continuation below the lowest precision.
        for at in [[0.3, -0.8, 1.2], [2.0, 1.0, 0.4], [-40.0, 3.0, 5.0], [0.1, 0.2, 5e-7]] {
            let step = if at[2] < LOWEST_PRECISION { 1e-8 } else { STEP };
            let (slope, bend) = (likelihood.slope(&at), likelihood.bend(&at));
            for i in 0..3 {
                let (mut up, mut down) = (at, at);
                up[i] += step;
                down[i] -= step;
                let numeric = (likelihood.value(&up) - likelihood.value(&down)) / (2.0 * step);
                let scale = 1.0 + likelihood.value(&at).abs() * f64::EPSILON / step / DIFFERENCE;
                assert_relative_eq!(slope[i], numeric, max_relative = DIFFERENCE, epsilon = DIFFERENCE * scale);
                let (above, below) = (likelihood.slope(&up), likelihood.slope(&down));
                for j in 0..3 {
                    let numeric = (above[j] - below[j]) / (2.0 * step);
                    let size = slope[j].abs() * f64::EPSILON / step;
                    assert_relative_eq!(
                        bend[(i, j)],
                        numeric,
                        max_relative = DIFFERENCE,
                        epsilon = DIFFERENCE + 4.0 * size
                    );
                }
            }
        }
    }

    #[test]
    fn the_search_arrives_from_the_quasi_newton_end_and_without_it() {
        let likelihood = mixed();
        let best = likelihood.maximise();
        assert!(best.converged);
        let mut alone = vec![0.0, 0.0, 1.0];
        assert!(likelihood.newton(&mut alone).0);
        assert_relative_eq!(best.precision, alone[2], max_relative = DIFFERENCE);
        assert!(likelihood.quasi_newton(&[0.0, 0.0, 1.0]).is_some());
    }

    #[test]
    fn a_long_and_narrow_likelihood_is_searched_to_its_end() {
        // Found by the property test of `existence`, once in 270 000 likelihoods.
        let rows = [
            ([2.0, 2.0], -1.0, Response::AtLeast(0.0)),
            ([0.0, 0.0], -1.0, Response::AtLeast(0.0)),
            ([2.0, 1.0], -1.0, Response::Exact(0.0)),
            ([2.0, 0.0], 0.0, Response::Exact(0.0)),
            ([2.0, 2.0], -1.0, Response::Exact(0.0)),
            ([1.0, 2.0], 2.0, Response::AtMost(0.0)),
        ];
        let row = |(x, y, response): &([f64; 2], f64, Response)| Row::new(&[1.0, x[0], x[1]], *y, *response);
        let likelihood = Likelihood::new(rows.iter().map(row).collect());
        // The limits hold one direction by so little that rounding of the slope moves it.
        let best = likelihood.maximise();
        assert!(best.converged);
    }
}
