//! What one cluster adds to the likelihood, and its derivatives.
//!
//! By Fisher's identity a derivative of the log-likelihood is the mean, over u given the responses, of that of the log-density of responses and
//! u together.

use std::f64::consts::PI;

use super::{Group, Point};
use crate::stats::least_squares::dot;
use crate::stats::piece::Piece;
use crate::stats::random_effects::Known;

/// The trapezoidal rule ends so many standard deviations out, or where a term is e to [`NOTHING`] of the largest.
const REACH: f64 = 8.0;
const NOTHING: f64 = -28.0;
/// Its step, as a share of the narrowest width of the integrand.
const STEP: f64 = 1.0;
/// More nodes than this are not taken: σ would have to be a hundredth of what is shared.
const MOST_NODES: f64 = 2_000.0;

/// A cluster, with the sums of its exact points taken.
#[derive(Clone, Debug)]
pub(super) struct Reduced {
    groups: Vec<ReducedGroup>,
    /// The error of the only group of a cluster, which its points share as they share u.
    shared: f64,
    rows: usize,
    /// The columns of the exact points.
    exact: Vec<Vec<f64>>,
}

#[derive(Clone, Debug)]
struct ReducedGroup {
    variance: f64,
    /// Exact points.
    count: f64,
    /// Mean and centred sums of the exact points: of y, its squares, the columns, their squares and their products with y.
    mean: f64,
    squares: f64,
    column_means: Vec<f64>,
    column_products: Vec<f64>,
    with_response: Vec<f64>,
    /// The point within limits, where it is one.
    bounded: Option<Bounded>,
}

#[derive(Clone, Debug)]
struct Bounded {
    x: Vec<f64>,
    low: f64,
    high: f64,
}

/// Room for the sums of one evaluation.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    /// Derivatives by β, then by τ² and σ².
    pub(super) slope: Vec<f64>,
    node: Vec<f64>,
    exact: Vec<ExactAt>,
}

/// The exact points of a group at given parameters.
#[derive(Clone, Copy, Debug, Default)]
struct ExactAt {
    /// Mean residual and centred sum of squares of the residuals.
    mean: f64,
    squares: f64,
}

impl Reduced {
    pub(super) fn new(groups: Vec<Group>, columns: usize) -> Self {
        let rows = groups.iter().map(|group| group.points.len()).sum();
        let is_exact = |point: &&Point| matches!(point.known, Known::Exact(_));
        let exact =
            groups.iter().flat_map(|group| &group.points).filter(is_exact).map(|point| point.x.clone()).collect();
        let shared = match groups.as_slice() {
            [only] => only.variance,
            _ => 0.0,
        };
        let mut reduced = Vec::with_capacity(groups.len());
        for group in groups {
            let variance = group.variance - shared;
            reduced.extend(ReducedGroup::of(Group { variance, ..group }, columns));
        }
        Self { groups: reduced, shared, rows, exact }
    }

    pub(super) fn rows(&self) -> usize {
        self.rows
    }

    pub(super) fn exact(&self) -> usize {
        self.exact.len()
    }

    /// The columns of its exact points, one entry a point.
    pub(super) fn exact_columns(&self) -> &[Vec<f64>] {
        &self.exact
    }

    fn is_bounded(&self) -> bool {
        self.rows > self.exact.len()
    }

    /// The log-likelihood at β, τ² = `between` and σ² = `within`; its derivatives are left in `scratch.slope`.
    pub(super) fn log_likelihood(&self, beta: &[f64], between: f64, within: f64, scratch: &mut Scratch) -> f64 {
        let between = between + self.shared;
        let columns = self.groups.first().map_or(0, |group| group.column_means.len());
        scratch.slope.clear();
        scratch.slope.resize(columns + 2, 0.0);
        scratch.exact.clear();
        scratch.exact.extend(self.groups.iter().map(|group| group.exact_at(beta)));
        // u given the exact points of groups that hold no others is normal.
        let mut precision = 1.0 / between;
        let mut sum = 0.0;
        let mut log = 0.0;
        let mut at_top = 0.0;
        for (group, exact) in self.groups.iter().zip(&scratch.exact).filter(|(group, _)| group.bounded.is_none()) {
            let shared = within + group.count * group.variance;
            log -= 0.5
                * ((group.count * (2.0 * PI).ln() + (group.count - 1.0) * within.ln() + shared.ln())
                    + exact.squares / within);
            precision += group.count / shared;
            sum += group.count * exact.mean / shared;
            at_top += group.count * exact.mean * exact.mean / shared;
        }
        let top = sum / precision;
        let variance = 1.0 / precision;
        log -= 0.5 * (at_top - top * sum + (between * precision).ln());
        let (mean, square) = if self.is_bounded() {
            let (bounded, mean, square) = self.integrate(beta, within, [top, variance], scratch);
            log += bounded;
            (mean, square)
        } else {
            (top, top * top + variance)
        };
        for (group, exact) in self.groups.iter().zip(&scratch.exact).filter(|(group, _)| group.bounded.is_none()) {
            group.add_exact_slope(exact, beta, within, [mean, square], &mut scratch.slope);
        }
        if let Some(by_between) = scratch.slope.get_mut(columns) {
            *by_between += 0.5 * (square / (between * between) - 1.0 / between);
        }
        log
    }

    /// ln E(Π p(point | u)) over the bounded points, u ~ N(top, variance), and E(u), E(u²) given them. Their derivatives by β and σ² are
    /// added to the slope.
    fn integrate(
        &self,
        beta: &[f64],
        within: f64,
        [top, variance]: [f64; 2],
        scratch: &mut Scratch,
    ) -> (f64, f64, f64) {
        let bounded: Vec<(&Bounded, f64, f64)> = self
            .groups
            .iter()
            .filter_map(|group| {
                let point = group.bounded.as_ref()?;
                let fitted = point.x.iter().zip(beta).map(|(x, slope)| x * slope).sum::<f64>();
                Some((point, fitted, within + group.variance))
            })
            .collect();
        // A product is as narrow as one normal density with the sum of their precisions.
        let precision: f64 = bounded.iter().map(|(_, _, variance)| 1.0 / variance).sum();
        let narrow = (1.0 / variance + precision).sqrt().recip();
        let sd = variance.sqrt();
        let size = scratch.slope.len();
        let half = (REACH * sd / (STEP * narrow)).ceil().clamp(1.0, MOST_NODES);
        let step = REACH * sd / half;
        let mut sums = Sums { largest: f64::NEG_INFINITY, total: 0.0, first: 0.0, second: 0.0, slope: vec![0.0; size] };
        // From the middle either way, until what is left is nothing: no probability adds to the density's fall.
        for direction in [1.0, -1.0] {
            let first = if direction > 0.0 { 0 } else { 1 };
            for node in first..=half as usize {
                let z = direction * node as f64 * step / sd;
                if -0.5 * z * z < sums.largest + NOTHING {
                    break;
                }
                let u = top + z * sd;
                scratch.node.clear();
                scratch.node.resize(size, 0.0);
                let mut log = -0.5 * z * z;
                for (point, fitted, variance) in &bounded {
                    log += ReducedGroup::bounded_at(point, u + fitted, *variance, &mut scratch.node);
                }
                sums.add(log, u, &scratch.node);
            }
        }
        scratch.slope.iter_mut().zip(&sums.slope).for_each(|(slope, sum)| *slope += sum / sums.total);
        let log = sums.largest + (sums.total * step / (2.0 * PI * variance).sqrt()).ln();
        (log, sums.first / sums.total, sums.second / sums.total)
    }
}

/// Sums over nodes, relative to the largest term so far.
struct Sums {
    largest: f64,
    total: f64,
    first: f64,
    second: f64,
    slope: Vec<f64>,
}

impl Sums {
    fn add(&mut self, log: f64, u: f64, slope: &[f64]) {
        if log > self.largest {
            let shrink = (self.largest - log).exp();
            self.total *= shrink;
            self.first *= shrink;
            self.second *= shrink;
            self.slope.iter_mut().for_each(|sum| *sum *= shrink);
            self.largest = log;
        }
        let weight = (log - self.largest).exp();
        self.total += weight;
        self.first += weight * u;
        self.second += weight * u * u;
        self.slope.iter_mut().zip(slope).for_each(|(sum, slope)| *sum += weight * slope);
    }
}

impl ReducedGroup {
    /// The exact points of a group, and every bounded one by itself: the error of a bound is its own.
    fn of(group: Group, columns: usize) -> Vec<Self> {
        let (exact, bounded): (Vec<Point>, Vec<Point>) =
            group.points.into_iter().partition(|point| matches!(point.known, Known::Exact(_)));
        let alone = bounded.into_iter().filter_map(|point| match point.known {
            Known::Between { low, high } => Some(Bounded { x: point.x, low, high }),
            Known::Exact(_) => None,
        });
        let alone = alone.map(|bounded| Self::new(group.variance, &[], Some(bounded), columns));
        let together = (!exact.is_empty()).then(|| Self::new(group.variance, &exact, None, columns));
        together.into_iter().chain(alone).collect()
    }

    fn new(variance: f64, exact: &[Point], bounded: Option<Bounded>, columns: usize) -> Self {
        let count = exact.len() as f64;
        let responses: Vec<f64> = exact
            .iter()
            .map(|point| match point.known {
                Known::Exact(y) => y,
                Known::Between { .. } => 0.0,
            })
            .collect();
        let over = |sum: f64| if count > 0.0 { sum / count } else { 0.0 };
        let mean = over(responses.iter().sum());
        let column = |c: usize| exact.iter().map(move |point| point.x.get(c).copied().unwrap_or(0.0));
        let column_means: Vec<f64> = (0..columns).map(|c| over(column(c).sum())).collect();
        let centred = |c: usize| -> Vec<f64> {
            let mean = column_means.get(c).copied().unwrap_or(0.0);
            column(c).map(|x| x - mean).collect()
        };
        let centred: Vec<Vec<f64>> = (0..columns).map(centred).collect();
        let of_response: Vec<f64> = responses.iter().map(|y| y - mean).collect();
        Self {
            variance,
            count,
            mean,
            squares: dot(&of_response, &of_response),
            column_products: centred.iter().flat_map(|a| centred.iter().map(move |b| dot(a, b))).collect(),
            with_response: centred.iter().map(|a| dot(a, &of_response)).collect(),
            column_means,
            bounded,
        }
    }

    fn exact_at(&self, beta: &[f64]) -> ExactAt {
        if self.count == 0.0 {
            return ExactAt::default();
        }
        let columns = self.column_means.len();
        let mut squares = self.squares;
        for (c, (slope, with)) in beta.iter().zip(&self.with_response).enumerate() {
            squares -= 2.0 * slope * with;
            let row = self.column_products.get(c * columns..(c + 1) * columns).unwrap_or_default();
            squares += slope * row.iter().zip(beta).map(|(product, other)| product * other).sum::<f64>();
        }
        let fitted: f64 = self.column_means.iter().zip(beta).map(|(x, slope)| x * slope).sum();
        ExactAt { mean: self.mean - fitted, squares: squares.max(0.0) }
    }

    /// Adds the derivatives of the exact points' log-density given u, with their shared error integrated out; `u` has E(u) and
    /// E(u²).
    fn add_exact_slope(&self, at: &ExactAt, beta: &[f64], within: f64, [mean, square]: [f64; 2], slope: &mut [f64]) {
        if self.count == 0.0 {
            return;
        }
        let columns = self.column_means.len();
        let total = within + self.count * self.variance;
        let about_mean = self.count * (at.mean - mean) / total;
        for c in 0..columns {
            let row = self.column_products.get(c * columns..(c + 1) * columns).unwrap_or_default();
            let fitted: f64 = row.iter().zip(beta).map(|(product, other)| product * other).sum();
            let with = self.with_response.get(c).copied().unwrap_or(0.0) - fitted;
            let x = self.column_means.get(c).copied().unwrap_or(0.0);
            if let Some(slope) = slope.get_mut(c) {
                *slope += with / within + x * about_mean;
            }
        }
        let apart = at.mean * at.mean - 2.0 * at.mean * mean + square;
        if let Some(by_within) = slope.get_mut(columns + 1) {
            *by_within -= 0.5
                * ((self.count - 1.0) / within + 1.0 / total
                    - at.squares / (within * within)
                    - self.count * apart / (total * total));
        }
    }

    /// ln p(response | u) of a bounded point; adds its derivatives by β and σ² to `slope`.
    fn bounded_at(point: &Bounded, mean: f64, variance: f64, slope: &mut [f64]) -> f64 {
        let sd = variance.sqrt();
        let piece = Piece::between((point.low - mean) / sd, (point.high - mean) / sd);
        for (slope, x) in slope.iter_mut().zip(&point.x) {
            *slope += x * piece.mean / sd;
        }
        if let Some(by_within) = slope.last_mut() {
            *by_within += (piece.square - 1.0) / (2.0 * variance);
        }
        piece.log
    }
}
