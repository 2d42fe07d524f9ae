//! What one cluster adds to the likelihood, and its derivatives.
//!
//! By Fisher's identity a derivative of the log-likelihood is the mean, over u and e given the responses, of that of the log-density of
//! responses, u and e together.

use std::f64::consts::PI;

use super::{Group, Point};
use crate::stats::least_squares::dot;
use crate::stats::piece::Piece;
use crate::stats::random_effects::Known;

/// The trapezoidal rule ends so many standard deviations out, where a normal density is below 10⁻¹⁴ of its top.
const REACH: f64 = 8.0;
/// Its step, as a share of the narrowest width of the integrand.
const STEP: f64 = 0.75;
/// More nodes than this are not taken: σ would have to be a thousandth of the spread.
const MOST_NODES: f64 = 20_000.0;

/// A cluster, with the sums of its exact points taken.
#[derive(Clone, Debug)]
pub(super) struct Reduced {
    groups: Vec<ReducedGroup>,
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
    /// Points within limits.
    bounded: Vec<Bounded>,
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
    inner: Vec<f64>,
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
        let exact = groups.iter().flat_map(|group| &group.points).filter(is_exact).map(|point| point.x.clone()).collect();
        // A bounded point whose group has no error of its own to share is a group by itself.
        let mut reduced = Vec::with_capacity(groups.len());
        for group in groups {
            reduced.extend(ReducedGroup::of(group, columns));
        }
        Self { groups: reduced, rows, exact }
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
        for (group, exact) in self.groups.iter().zip(&scratch.exact).filter(|(group, _)| group.bounded.is_empty()) {
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
        for (group, exact) in self.groups.iter().zip(&scratch.exact).filter(|(group, _)| group.bounded.is_empty()) {
            group.add_exact_slope(exact, beta, within, group.variance, [mean, square], &mut scratch.slope);
        }
        if let Some(by_between) = scratch.slope.get_mut(columns) {
            *by_between += 0.5 * (square / (between * between) - 1.0 / between);
        }
        log
    }

    /// ln E(Π p(group | u)) over the groups with bounded points, u ~ N(top, variance), and E(u), E(u²) given them.
    /// The derivatives by β and σ² of those groups are added to the slope.
    fn integrate(
        &self,
        beta: &[f64],
        within: f64,
        [top, variance]: [f64; 2],
        scratch: &mut Scratch,
    ) -> (f64, f64, f64) {
        let with_bounds = || self.groups.iter().zip(0..).filter(|(group, _)| !group.bounded.is_empty());
        let widest = |group: &ReducedGroup| if group.is_single() { within + group.variance } else { within };
        let narrow = with_bounds().map(|(group, _)| widest(group)).fold(variance, f64::min).sqrt();
        let sd = variance.sqrt();
        let size = scratch.slope.len();
        let nodes = (2.0 * REACH * sd / (STEP * narrow)).ceil().clamp(1.0, MOST_NODES) as usize;
        let step = 2.0 * REACH * sd / nodes as f64;
        // Sums relative to the largest term so far.
        let mut largest = f64::NEG_INFINITY;
        let (mut total, mut first, mut second) = (0.0, 0.0, 0.0);
        let mut sums = vec![0.0; size];
        for node in 0..=nodes {
            let u = top + (node as f64 - 0.5 * nodes as f64) * step;
            let z = (u - top) / sd;
            let mut log = -0.5 * z * z;
            scratch.node.clear();
            scratch.node.resize(size, 0.0);
            for (group, position) in with_bounds() {
                let exact = scratch.exact.get(position).copied().unwrap_or_default();
                log += group.bounded_at(beta, u, within, exact, &mut scratch.node, &mut scratch.inner);
            }
            if log > largest {
                let shrink = (largest - log).exp();
                (total, first, second) = (total * shrink, first * shrink, second * shrink);
                sums.iter_mut().for_each(|sum| *sum *= shrink);
                largest = log;
            }
            let weight = (log - largest).exp();
            total += weight;
            first += weight * u;
            second += weight * u * u;
            sums.iter_mut().zip(&scratch.node).for_each(|(sum, slope)| *sum += weight * slope);
        }
        scratch.slope.iter_mut().zip(&sums).for_each(|(slope, sum)| *slope += sum / total);
        let log = largest + (total * step / (2.0 * PI * variance).sqrt()).ln();
        (log, first / total, second / total)
    }
}

impl ReducedGroup {
    /// A group, or several where its points share no error.
    fn of(group: Group, columns: usize) -> Vec<Self> {
        let (exact, bounded): (Vec<Point>, Vec<Point>) =
            group.points.into_iter().partition(|point| matches!(point.known, Known::Exact(_)));
        let bounded: Vec<Bounded> = bounded
            .into_iter()
            .filter_map(|point| match point.known {
                Known::Between { low, high } => Some(Bounded { x: point.x, low, high }),
                Known::Exact(_) => None,
            })
            .collect();
        if group.variance > 0.0 {
            return vec![Self::new(group.variance, &exact, bounded, columns)];
        }
        let alone = bounded.into_iter().map(|bounded| Self::new(0.0, &[], vec![bounded], columns));
        let together = (!exact.is_empty()).then(|| Self::new(0.0, &exact, Vec::new(), columns));
        together.into_iter().chain(alone).collect()
    }

    fn new(variance: f64, exact: &[Point], bounded: Vec<Bounded>, columns: usize) -> Self {
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

    /// Whether it is one point, within limits.
    fn is_single(&self) -> bool {
        self.count == 0.0 && self.bounded.len() == 1
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

    /// Adds the derivatives of the exact points' log-density given u, with an error of `shared` variance integrated out; `u` has E(u) and
    /// E(u²).
    fn add_exact_slope(
        &self,
        at: &ExactAt,
        beta: &[f64],
        within: f64,
        shared: f64,
        [mean, square]: [f64; 2],
        slope: &mut [f64],
    ) {
        if self.count == 0.0 {
            return;
        }
        let columns = self.column_means.len();
        let total = within + self.count * shared;
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

    /// ln p(group | u) of a group with bounded points; adds its derivatives by β and σ² to `slope`.
    fn bounded_at(
        &self,
        beta: &[f64],
        u: f64,
        within: f64,
        exact: ExactAt,
        slope: &mut [f64],
        inner: &mut Vec<f64>,
    ) -> f64 {
        if self.is_single() || self.variance == 0.0 {
            return self.pieces(beta, u, within + self.variance, slope);
        }
        // e given u and the exact points is normal.
        let precision = 1.0 / self.variance + self.count / within;
        let top = self.count * (exact.mean - u) / within / precision;
        let sd = precision.sqrt().recip();
        let mut log = 0.0;
        if self.count > 0.0 {
            let shared = within + self.count * self.variance;
            log -= 0.5
                * (self.count * (2.0 * PI).ln()
                    + (self.count - 1.0) * within.ln()
                    + shared.ln()
                    + exact.squares / within
                    + self.count * (exact.mean - u).powi(2) / shared);
        }
        let nodes = (2.0 * REACH * sd / (STEP * sd.min(within.sqrt()))).ceil().clamp(1.0, MOST_NODES) as usize;
        let step = 2.0 * REACH * sd / nodes as f64;
        let size = slope.len();
        let mut largest = f64::NEG_INFINITY;
        let (mut total, mut first, mut second) = (0.0, 0.0, 0.0);
        inner.clear();
        inner.resize(2 * size, 0.0);
        let (sums, here) = inner.split_at_mut(size);
        for node in 0..=nodes {
            let e = top + (node as f64 - 0.5 * nodes as f64) * step;
            let z = (e - top) / sd;
            here.iter_mut().for_each(|slope| *slope = 0.0);
            let at = -0.5 * z * z + self.pieces(beta, u + e, within, here);
            if at > largest {
                let shrink = (largest - at).exp();
                (total, first, second) = (total * shrink, first * shrink, second * shrink);
                sums.iter_mut().for_each(|sum| *sum *= shrink);
                largest = at;
            }
            let weight = (at - largest).exp();
            total += weight;
            first += weight * e;
            second += weight * e * e;
            sums.iter_mut().zip(here.iter()).for_each(|(sum, slope)| *sum += weight * slope);
        }
        slope.iter_mut().zip(sums.iter()).for_each(|(slope, sum)| *slope += sum / total);
        // Given u + e the exact points are independent.
        let (mean, square) = (u + first / total, u * u + 2.0 * u * first / total + second / total);
        self.add_exact_slope(&exact, beta, within, 0.0, [mean, square], slope);
        log + largest + (total * step / ((2.0 * PI).sqrt() * sd)).ln()
    }

    /// The log-probability of the bounded points about u, each with the variance; adds the derivatives.
    fn pieces(&self, beta: &[f64], u: f64, variance: f64, slope: &mut [f64]) -> f64 {
        let sd = variance.sqrt();
        let mut log = 0.0;
        for point in &self.bounded {
            let mean = u + point.x.iter().zip(beta).map(|(x, slope)| x * slope).sum::<f64>();
            let piece = Piece::between((point.low - mean) / sd, (point.high - mean) / sd);
            log += piece.log;
            for (slope, x) in slope.iter_mut().zip(&point.x) {
                *slope += x * piece.mean / sd;
            }
            if let Some(by_within) = slope.last_mut() {
                *by_within += (piece.square - 1.0) / (2.0 * variance);
            }
        }
        log
    }
}
