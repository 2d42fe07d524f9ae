//! Where the criterion is least.
//!
//! L-BFGS moves the relative factors θ = λ/σ and the logarithms of the ratios of residual variances, with the common variance profiled
//! out (Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1), equations 34 to 42). Newton's method with exact second derivatives
//! then goes from there to the last digit, over all factors together.

use super::Likelihood;
use super::curvature::Curvature;
use super::dense::{Matrix, eigen, inner};
use super::design::Design;
use super::point::Point;
use argmin::core::{CostFunction, Error, Executor, Gradient};
use argmin::solver::linesearch::MoreThuenteLineSearch;
use argmin::solver::quasinewton::LBFGS;
use std::cell::RefCell;

/// Relative factors of the search's first start: equal standard deviations.
pub(super) const START: f64 = 1.0;
/// Where a variance came out as zero the search starts again from these: the criterion may have a second valley.
const OTHER_STARTS: [f64; 2] = [0.2, 5.0];
/// L-BFGS only has to come near: Newton's method does the rest.
const QUASI_NEWTON_STEPS: u64 = 60;
const QUASI_NEWTON_EVALUATIONS: usize = 400;
/// A fall of the criterion in one step under which L-BFGS has come near.
const NEAR: f64 = 1e-4;
const NEWTON_STEPS: usize = 60;
/// Under this gain still to be had, full steps of Newton's method converge quadratically.
const QUADRATIC_PHASE: f64 = 1e-5;
/// The step that has less than this to gain is the last: what it leaves is far below rounding.
pub(super) const LAST_GAIN: f64 = 1e-22;
/// A gain below this that falls no further is rounding.
const ROUNDING_GAIN: f64 = 1e-14;
/// Eigenvalues of the second derivatives below this share of the largest are taken for flat.
const FLAT: f64 = 1e-10;
/// A direction bends down if its eigenvalue is at or under minus this share of the largest.
const BENDS_DOWN: f64 = 1e-8;
/// A residual variance below this share of what the fixed columns leave is on its way to zero, where the likelihood has no bound.
const NO_ERROR: f64 = 1e-20;
/// A factor under this share of the residual standard deviation is tried at zero,
const NEARLY_ZERO: f64 = 1e-3;
/// and so is one under this share of what a coefficient has in common with those before it;
const NEARLY_FOLLOWS: f64 = 0.3;
/// it is zero if that raises the criterion by no more than this: rounding of it.
const SAME_CRITERION: f64 = 1e-11;

/// The factors at which the criterion is least.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) psi: Vec<f64>,
    pub(super) criterion: f64,
    pub(super) converged: bool,
}

/// Slope and second derivatives by the factors.
pub(super) struct Local {
    pub(super) slope: Vec<f64>,
    pub(super) bend: Matrix,
    pub(super) jacobian: Matrix,
}

impl Local {
    pub(super) fn new(point: &Point, psi: &[f64], likelihood: Likelihood) -> Self {
        let layout = &point.design.layout;
        let by_variances = point.gradient(likelihood, 1.0);
        let curvature = Curvature::of_derivatives(point);
        let jacobian = layout.jacobian(psi);
        let mut bend = jacobian.transposed().times(&curvature.observed(likelihood)).times(&jacobian);
        bend.add(1.0, &layout.curvature(psi, &by_variances));
        Self { slope: jacobian.transposed().times_vector(&by_variances), bend, jacobian }
    }
}

/// The least criterion of a design; `None` where it has no value anywhere near.
pub(super) fn least(design: &Design, likelihood: Likelihood) -> Option<Found> {
    let lower = |best: Option<Found>, found: Option<Found>| match (best, found) {
        (Some(best), Some(found)) => {
            let is_lower = found.criterion < best.criterion - SAME_CRITERION * best.criterion.abs().max(1.0);
            Some(if is_lower { found } else { best })
        }
        (best, found) => best.or(found),
    };
    // No variance at all may be a valley of its own, beside one of small variances.
    let nothing = ended(design, likelihood, vec![0.0; design.layout.parameters()]);
    let mut best = lower(from(design, likelihood, START), nothing);
    let is_zero = |found: &Found| zeros(design, &found.psi).next().is_some();
    if best.as_ref().is_none_or(is_zero) {
        for start in OTHER_STARTS {
            best = lower(best, from(design, likelihood, start));
        }
    }
    best
}

/// Diagonal entries of the covariance factors that are zero.
pub(super) fn zeros<'a>(design: &'a Design, psi: &'a [f64]) -> impl Iterator<Item = usize> + 'a {
    diagonal(design).filter(|parameter| psi[*parameter] == 0.0)
}

fn diagonal(design: &Design) -> impl Iterator<Item = usize> + '_ {
    let of_term = |term: &super::layout::TermLayout| {
        term.entries().filter(|(_, i, j)| i == j).map(|(parameter, _, _)| parameter).collect::<Vec<_>>()
    };
    design.layout.terms.iter().flat_map(of_term)
}

/// From relative factors that are all `start`.
pub(super) fn from(design: &Design, likelihood: Likelihood, start: f64) -> Option<Found> {
    let mut theta = vec![0.0; design.layout.parameters()];
    diagonal(design).for_each(|parameter| theta[parameter] = start);
    let problem = Profiled { design, likelihood, seen: RefCell::new(Seen::default()) };
    let first = design.layout.residual(0);
    let free: Vec<f64> = theta.iter().enumerate().filter(|(i, _)| *i != first).map(|(_, x)| *x).collect();
    if !free.is_empty() {
        let solver = LBFGS::new(MoreThuenteLineSearch::new(), 7).with_tolerance_cost(NEAR).ok()?;
        // However the search ends, the best point that it saw is where Newton's method starts.
        let _ = Executor::new(&problem, solver)
            .configure(|state| state.param(free.clone()).max_iters(QUASI_NEWTON_STEPS))
            .ctrlc(false)
            .timer(false)
            .run();
    }
    let mut psi = problem.seen.into_inner().best.unwrap_or(free);
    psi.insert(first, 0.0);
    ended(design, likelihood, psi)
}

/// From relative factors to the end of the search, with Newton's method.
fn ended(design: &Design, likelihood: Likelihood, mut psi: Vec<f64>) -> Option<Found> {
    let scale = Point::new(design, &psi)?.best_scale(likelihood);
    if scale.is_nan() || scale <= 0.0 {
        return None;
    }
    let of_terms = design.layout.of_terms();
    psi[..of_terms].iter_mut().for_each(|factor| *factor *= scale.sqrt());
    psi[of_terms..].iter_mut().for_each(|log| *log += scale.ln());
    let mut found = newton(design, likelihood, psi, None, LAST_GAIN)?;
    if settle_at_zero(design, likelihood, &mut found) {
        found = newton(design, likelihood, found.psi, None, LAST_GAIN)?;
        settle_at_zero(design, likelihood, &mut found);
    }
    Some(found)
}

/// Puts factors at zero that are zero but for rounding: around it the criterion is even, so that the search only comes near. A
/// coefficient that nearly follows from those before it keeps its variance: toward that the criterion falls along a bent valley.
fn settle_at_zero(design: &Design, likelihood: Likelihood, found: &mut Found) -> bool {
    let residual = design.layout.residual_variances(&found.psi);
    let smallest = residual.iter().copied().fold(f64::INFINITY, f64::min).sqrt();
    let mut settled = false;
    for term in &design.layout.terms {
        for (parameter, i, _) in term.entries().filter(|(_, i, j)| i == j) {
            let own = found.psi[parameter];
            let before: Vec<usize> =
                term.entries().filter(|(_, row, j)| *row == i && *j < i).map(|entry| entry.0).collect();
            let shared = before.iter().map(|other| found.psi[*other].powi(2)).sum::<f64>().sqrt();
            if own == 0.0 || own.abs() > (NEARLY_ZERO * smallest).max(NEARLY_FOLLOWS * shared) {
                continue;
            }
            let mut tried = found.psi.clone();
            tried[parameter] = 0.0;
            if shared > 0.0 {
                before.iter().for_each(|other| tried[*other] *= own.hypot(shared) / shared);
            }
            let criterion = Point::new(design, &tried).map(|point| point.criterion(likelihood));
            if let Some(criterion) = criterion.filter(|c| *c <= found.criterion + SAME_CRITERION * c.abs().max(1.0)) {
                (found.psi, found.criterion, settled) = (tried, criterion, true);
            }
        }
    }
    settled
}

/// Newton's method on the factors, all but one that is `held`. A direction that bends down is walked down; so a variance of zero, where
/// every slope is level, is left if that helps. It ends where no more than `enough` is left to gain.
pub(super) fn newton(
    design: &Design,
    likelihood: Likelihood,
    mut psi: Vec<f64>,
    held: Option<usize>,
    enough: f64,
) -> Option<Found> {
    let mut point = Point::new(design, &psi)?;
    let mut criterion = point.criterion(likelihood);
    let mut last_gain = f64::INFINITY;
    for _ in 0..NEWTON_STEPS {
        let mut local = Local::new(&point, &psi, likelihood);
        if let Some(held) = held {
            hold(&mut local, held);
        }
        if point.residual.iter().any(|variance| *variance < NO_ERROR) {
            return Some(Found { psi, criterion, converged: false });
        }
        let Steps { direction, gain, down } = Steps::new(&local)?;
        if gain <= enough || (gain < ROUNDING_GAIN && gain >= 0.25 * last_gain) {
            let lower = down.and_then(|down| fall(design, likelihood, &psi, criterion, &down, 1.0));
            let Some(next) = lower else { return Some(Found { psi, criterion, converged: true }) };
            (psi, point, criterion) = next;
            last_gain = f64::INFINITY;
            continue;
        }
        let full = |share: f64| -> Vec<f64> { psi.iter().zip(&direction).map(|(x, d)| x + share * d).collect() };
        if gain < QUADRATIC_PHASE && down.is_none() {
            let next = full(1.0);
            let there = Point::new(design, &next)?;
            let value = there.criterion(likelihood);
            if value <= criterion + SAME_CRITERION * criterion.abs().max(1.0) {
                (psi, point, criterion, last_gain) = (next, there, value, gain);
                continue;
            }
        }
        match fall(design, likelihood, &psi, criterion, &direction, gain) {
            Some(next) => (psi, point, criterion) = next,
            None => return Some(Found { psi, criterion, converged: gain < ROUNDING_GAIN.sqrt() }),
        }
        last_gain = f64::INFINITY;
    }
    Some(Found { psi, criterion, converged: false })
}

/// Where to go from a point.
struct Steps {
    /// Newton's step, along directions that bend down turned to fall.
    direction: Vec<f64>,
    /// Twice what the step would gain if the criterion were quadratic.
    gain: f64,
    /// The direction that bends down most, if any does.
    down: Option<Vec<f64>>,
}

impl Steps {
    fn new(local: &Local) -> Option<Self> {
        // Each factor in units in which the criterion bends by 1: variances may differ by many orders of magnitude.
        let count = local.slope.len();
        let own = (0..count).map(|i| local.bend.at(i, i).abs());
        let units: Vec<f64> = own.map(|bend| if bend > 0.0 { bend.sqrt().recip() } else { 1.0 }).collect();
        let mut scaled = local.bend.clone();
        for i in 0..count {
            scaled.row_mut(i).iter_mut().zip(&units).for_each(|(bend, unit)| *bend *= units[i] * unit);
        }
        let (values, vectors) = eigen(&scaled)?;
        let along = |i: usize| -> Vec<f64> { vectors.row(i).iter().zip(&units).map(|(x, unit)| x * unit).collect() };
        let largest = values.iter().fold(0.0_f64, |largest, value| largest.max(value.abs()));
        let mut steps = Self { direction: vec![0.0; count], gain: 0.0, down: None };
        for (i, value) in values.iter().enumerate() {
            let along = along(i);
            let slope = inner(&along, &local.slope);
            let bend = value.abs().max(FLAT * largest);
            if bend > 0.0 {
                steps.gain += slope * slope / bend;
                super::dense::add_scaled(&mut steps.direction, -slope / bend, &along);
            }
        }
        let lowest = (0..count).min_by(|a, b| values[*a].total_cmp(&values[*b]));
        steps.down = lowest.filter(|i| values[*i] < -BENDS_DOWN * largest).map(along);
        Some(steps)
    }
}

fn hold(local: &mut Local, held: usize) {
    let count = local.slope.len();
    local.slope[held] = 0.0;
    for i in 0..count {
        local.bend.values[held * count + i] = 0.0;
        local.bend.values[i * count + held] = 0.0;
    }
    // Any positive bend: without a slope nothing moves here.
    local.bend.values[held * count + held] = 1.0;
}

/// The first of ever shorter steps, either way, at which the criterion is lower.
fn fall<'a>(
    design: &'a Design,
    likelihood: Likelihood,
    psi: &[f64],
    criterion: f64,
    direction: &[f64],
    gain: f64,
) -> Option<(Vec<f64>, Point<'a>, f64)> {
    for halvings in 0..30 {
        for side in [1.0, -1.0] {
            let share = side * 0.5_f64.powi(halvings);
            let next: Vec<f64> = psi.iter().zip(direction).map(|(x, d)| x + share * d).collect();
            let Some(point) = Point::new(design, &next) else { continue };
            let value = point.criterion(likelihood);
            // A sliver of what a straight line would gain, so that the steps do not die out before the end.
            if value < criterion - 1e-4 * share.abs() * gain.min(1e-3) && value.is_finite() {
                return Some((next, point, value));
            }
        }
    }
    None
}

/// The profiled criterion as argmin asks for it.
struct Profiled<'a> {
    design: &'a Design,
    likelihood: Likelihood,
    seen: RefCell<Seen>,
}

#[derive(Default)]
struct Seen {
    evaluations: usize,
    best: Option<Vec<f64>>,
    least: Option<f64>,
    last: Option<(Vec<f64>, f64, Vec<f64>)>,
}

impl Profiled<'_> {
    /// Value and gradient by the free parameters.
    fn at(&self, free: &[f64]) -> Result<(f64, Vec<f64>), Error> {
        let mut seen = self.seen.borrow_mut();
        if let Some((at, value, slope)) = &seen.last
            && at == free
        {
            return Ok((*value, slope.clone()));
        }
        seen.evaluations += 1;
        if seen.evaluations > QUASI_NEWTON_EVALUATIONS {
            return Err(Error::msg("the search evaluates the criterion without end"));
        }
        let first = self.design.layout.residual(0);
        let mut theta = free.to_vec();
        theta.insert(first, 0.0);
        let point = Point::new(self.design, &theta).ok_or_else(|| Error::msg("the criterion has no value here"))?;
        let value = point.profiled(self.likelihood);
        if !value.is_finite() {
            return Err(Error::msg("the criterion has no value here"));
        }
        let by_variances = point.gradient(self.likelihood, point.best_scale(self.likelihood));
        let mut slope = self.design.layout.by_factors(&theta, &by_variances);
        slope.remove(first);
        if seen.least.is_none_or(|least| value < least) {
            (seen.least, seen.best) = (Some(value), Some(free.to_vec()));
        }
        seen.last = Some((free.to_vec(), value, slope.clone()));
        Ok((value, slope))
    }
}

impl CostFunction for &Profiled<'_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, at: &Vec<f64>) -> Result<f64, Error> {
        self.at(at).map(|(value, _)| value)
    }
}

impl Gradient for &Profiled<'_> {
    type Param = Vec<f64>;
    type Gradient = Vec<f64>;

    fn gradient(&self, at: &Vec<f64>) -> Result<Vec<f64>, Error> {
        self.at(at).map(|(_, slope)| slope)
    }
}
