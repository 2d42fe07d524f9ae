//! Linear regression in clusters, with responses of which some are known only within limits.
//!
//! `y = x·β + u + e + ε`: u ~ N(0, τ²) is shared by the points of a cluster, e ~ N(0, v) by those of a group within it, v being known, and
//! ε ~ N(0, σ²) is each point's own. A response is exact or lies within limits, of which one or both may be infinite. In a cluster of several
//! groups the e of a response within limits is its own. β, τ and σ are estimated by maximum likelihood. What is exact is integrated over u and
//! e in closed form; limits by the trapezoidal rule, whose error falls like exp(−2π²(width ÷ step)²) for the smooth integrands here
//! (Trefethen & Weideman 2014, SIAM Rev. 56:385-458, from memory): nine digits at the step taken.
//!
//! Here a cluster is a site-year, a group the points whose need is counted from one optimum, and v the variance of that optimum.

mod cluster;

use thiserror::Error;

use super::least_squares::{Factor, dot};
use super::random_effects::Known;
use cluster::{Reduced, Scratch};

/// A point: its columns, an intercept among them, and what is known of its response.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Columns of the design.
    pub x: Vec<f64>,
    /// The response.
    pub known: Known,
}

/// Points that share one known error.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Variance of the error they share, at least 0.
    pub variance: f64,
    /// The points.
    pub points: Vec<Point>,
}

/// The groups that share one unknown effect.
pub type Cluster = Vec<Group>;

/// A fitted regression.
#[derive(Clone, Debug, PartialEq)]
pub struct Clustered {
    /// β, one a column.
    pub coefficients: Vec<f64>,
    /// τ, the standard deviation between clusters; 0 where it is less than is told from none, 3 % of the responses' spread about the line.
    pub between: f64,
    /// σ, the standard deviation of points within a cluster beyond the errors that are known; 0 likewise.
    pub within: f64,
    /// The largest log-likelihood.
    pub log_likelihood: f64,
}

/// Why there is no regression.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum ClusteredError {
    /// The exact points do not tell the coefficients apart, so that limits could push them to infinity.
    #[error(
        "{exact} needs that are numbers do not determine {columns} coefficients: more treatments at other indices are needed"
    )]
    NotDetermined {
        /// Exact points.
        exact: usize,
        /// Columns.
        columns: usize,
    },
    /// No error is left.
    #[error("the {exact} needs that are numbers are fitted without error")]
    PerfectFit {
        /// Exact points.
        exact: usize,
    },
    /// A number is not finite, a variance negative or the columns differ in number.
    #[error("points need finite columns, as many each, and variances of 0 or more")]
    Malformed,
    /// The search ended nowhere.
    #[error("the likelihood has no maximum that a search finds")]
    NoMaximum,
}

/// σ and τ are not taken below this share of the responses' spread about the line: the likelihood of points that happen to lie on a line
/// would grow without end.
const SMALLEST_SPREAD: f64 = 0.03;
/// Nor is τ² or σ² taken above e to this, in squared spreads.
const LARGEST_LOGARITHM: f64 = 5.0;
/// The exact responses' spread about their line is rounding below this share of their size.
const ROUNDING: f64 = 1e-9;
/// The search ends where the slope of the log-likelihood by any parameter, in standard units and by row, is below this.
const FLAT: f64 = 1e-8;
const STEPS: usize = 200;
/// No parameter moves farther in one step: a larger one leads where σ is next to nothing and an integral has thousands of nodes.
const LARGEST_STEP: f64 = 1.0;
/// A step must gain this share of what the slope promises.
const ARMIJO: f64 = 1e-4;
const HALVINGS: i32 = 40;

/// Points made ready: columns orthonormal, responses centred and scaled, sums of exact groups taken.
#[derive(Clone, Debug)]
pub struct Prepared {
    factor: Factor,
    reduced: Vec<Reduced>,
    /// β of the centre, in orthonormal coordinates and units of the response.
    centre: Vec<f64>,
    /// Units of the response in one standard unit.
    scale: f64,
    /// Square root of the number of rows, by which orthonormal columns are multiplied.
    root: f64,
    columns: usize,
    exact: usize,
    rows: usize,
}

/// Fits clusters, each once.
///
/// # Errors
/// [`ClusteredError`] where the points determine no regression.
pub fn fit(clusters: &[Cluster]) -> Result<Clustered, ClusteredError> {
    let prepared = Prepared::new(clusters)?;
    prepared.fit(None, None)
}

impl Prepared {
    /// Reduces clusters.
    ///
    /// # Errors
    /// [`ClusteredError`] where the points determine no regression.
    pub fn new(clusters: &[Cluster]) -> Result<Self, ClusteredError> {
        let points = || clusters.iter().flatten().flat_map(|group| &group.points);
        let columns = points().next().map_or(0, |point| point.x.len());
        let well_formed = points().all(|point| point.x.len() == columns && point.x.iter().all(|x| x.is_finite()))
            && points().all(|point| is_well_formed(point.known))
            && clusters.iter().flatten().all(|group| group.variance >= 0.0 && group.variance.is_finite());
        if !well_formed {
            return Err(ClusteredError::Malformed);
        }
        let number = |known: Known| match known {
            Known::Exact(y) => y,
            Known::Between { low, high } => match (low.is_finite(), high.is_finite()) {
                (true, true) => 0.5 * (low + high),
                (true, false) => low,
                (false, true) => high,
                (false, false) => f64::NAN,
            },
        };
        // What is not known at all is no point.
        let informed: Vec<&Point> = points().filter(|point| !number(point.known).is_nan()).collect();
        let rows = informed.len();
        let exact_points: Vec<&Point> = points().filter(|point| matches!(point.known, Known::Exact(_))).collect();
        let exact = exact_points.len();
        let not_determined = ClusteredError::NotDetermined { exact, columns };
        let factor_of = |points: &[&Point]| {
            let column = |c: usize| -> Vec<f64> { points.iter().filter_map(|point| point.x.get(c).copied()).collect() };
            Factor::new(&(0..columns).map(column).collect::<Vec<_>>(), points.len()).ok()
        };
        let of_exact = factor_of(&exact_points).filter(|factor| columns > 0 && factor.rank() == columns);
        if of_exact.is_none() || exact <= columns {
            return Err(not_determined);
        }
        let factor = factor_of(&informed).filter(|factor| factor.rank() == columns).ok_or(not_determined)?;
        let y: Vec<f64> = informed.iter().map(|point| number(point.known)).collect();
        let centre = factor.project(&y);
        let residuals = factor.residuals(&y, &centre);
        let spread = (dot(&residuals, &residuals) / rows as f64).sqrt();
        let size = (dot(&y, &y) / rows as f64).sqrt();
        if spread <= ROUNDING * size || spread <= 0.0 {
            return Err(ClusteredError::PerfectFit { exact });
        }
        let root = (rows as f64).sqrt();
        let basis: Vec<&[f64]> = factor.basis().collect();
        let mut position = 0;
        let mut reduced = Vec::with_capacity(clusters.len());
        for cluster in clusters {
            let mut groups = Vec::with_capacity(cluster.len());
            for group in cluster {
                let mut standard = Vec::with_capacity(group.points.len());
                for point in group.points.iter().filter(|point| !number(point.known).is_nan()) {
                    let fitted = y.get(position).zip(residuals.get(position)).map_or(0.0, |(y, left)| y - left);
                    let x = basis.iter().filter_map(|column| column.get(position)).map(|x| x * root).collect();
                    position += 1;
                    standard.push(Point { x, known: moved(point.known, fitted, spread) });
                }
                if !standard.is_empty() {
                    groups.push(Group { variance: group.variance / (spread * spread), points: standard });
                }
            }
            reduced.push(Reduced::new(groups, columns));
        }
        drop(basis);
        Ok(Self { factor, reduced, centre, scale: spread, root, columns, exact, rows })
    }

    /// Maximises the likelihood. `weights` count each cluster so many times; `start` is a regression of like points to begin at.
    ///
    /// # Errors
    /// [`ClusteredError::NoMaximum`] where the search ends nowhere.
    pub fn fit(&self, weights: Option<&[f64]>, start: Option<&Clustered>) -> Result<Clustered, ClusteredError> {
        if weights.is_some_and(|weights| !self.is_determined(weights)) {
            return Err(ClusteredError::NotDetermined { exact: self.exact, columns: self.columns });
        }
        let total = weights.map_or(self.rows as f64, |weights| self.weighted_rows(weights)).max(1.0);
        let mut scratch = Scratch::default();
        let (at, cost) = minimise(|at| self.evaluate(at, weights, &mut scratch), self.start(start), total);
        if !cost.is_finite() {
            return Err(ClusteredError::NoMaximum);
        }
        Ok(self.finished(&at, cost, weights))
    }

    /// Minus the log-likelihood and its slope.
    fn evaluate(&self, at: &[f64], weights: Option<&[f64]>, scratch: &mut Scratch) -> (f64, Vec<f64>) {
        let [between, within] = variances(at, self.columns);
        let mut cost = 0.0;
        let mut slope = vec![0.0; self.columns + 2];
        for (position, cluster) in self.reduced.iter().enumerate() {
            let weight = weights.map_or(1.0, |weights| weights.get(position).copied().unwrap_or(0.0));
            if weight == 0.0 {
                continue;
            }
            cost -= weight * cluster.log_likelihood(at, between, within, scratch);
            for (sum, by) in slope.iter_mut().zip(&scratch.slope) {
                *sum -= weight * by;
            }
        }
        // From τ² and σ² to the logarithms searched.
        let floor = SMALLEST_SPREAD * SMALLEST_SPREAD;
        if let Some([by_between, by_within]) = slope.get_mut(self.columns..).and_then(|by| by.first_chunk_mut::<2>()) {
            *by_between *= between - floor;
            *by_within *= within - floor;
        }
        (cost, slope)
    }

    /// Whether the exact points of the clusters that count tell the coefficients apart.
    fn is_determined(&self, weights: &[f64]) -> bool {
        let counted = self.reduced.iter().zip(weights).filter(|(_, weight)| **weight > 0.0);
        let rows: Vec<&Vec<f64>> = counted.flat_map(|(cluster, _)| cluster.exact_columns()).collect();
        let column = |c: usize| -> Vec<f64> { rows.iter().filter_map(|row| row.get(c).copied()).collect() };
        let factor = Factor::new(&(0..self.columns).map(column).collect::<Vec<_>>(), rows.len());
        rows.len() > self.columns && factor.is_ok_and(|factor| factor.rank() == self.columns)
    }

    fn weighted_rows(&self, weights: &[f64]) -> f64 {
        self.reduced.iter().zip(weights).map(|(cluster, weight)| cluster.rows() as f64 * weight).sum()
    }

    /// Parameters in standard units: β about the centre, ln(τ² + floor), ln(σ² + floor) less the floor.
    fn start(&self, start: Option<&Clustered>) -> Vec<f64> {
        let mut at = vec![0.0; self.columns + 2];
        let logarithm = |sd: f64| (sd * sd).max(1e-12).ln();
        let (mut between, mut within) = (0.5_f64.sqrt(), 0.5_f64.sqrt());
        if let Some(start) = start {
            let coordinates = self.coordinates(&start.coefficients);
            for ((slot, coordinate), centre) in at.iter_mut().zip(coordinates).zip(&self.centre) {
                *slot = (coordinate - centre) / (self.scale * self.root);
            }
            // Not at a boundary, from which no step leads away.
            between = (start.between / self.scale).max(0.05);
            within = (start.within / self.scale).max(0.05);
        }
        if let [.., tau, sigma] = at.as_mut_slice() {
            *tau = logarithm(between);
            *sigma = logarithm(within);
        }
        at
    }

    /// R·β: coefficients in the coordinates of the orthonormal columns.
    fn coordinates(&self, coefficients: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.columns];
        for (c, coefficient) in coefficients.iter().enumerate() {
            for (sum, entry) in sums.iter_mut().zip(self.factor.coordinates(c)) {
                *sum += coefficient * entry;
            }
        }
        sums
    }

    fn finished(&self, at: &[f64], cost: f64, weights: Option<&[f64]>) -> Clustered {
        let moved: Vec<f64> =
            self.centre.iter().zip(at).map(|(centre, slope)| centre + self.scale * self.root * slope).collect();
        let coefficients = self.factor.solve(&moved).into_iter().map(|solved| solved.unwrap_or(0.0)).collect();
        // What has run down to the floor is none.
        let floor = SMALLEST_SPREAD * SMALLEST_SPREAD;
        let spread = |variance: f64| if variance < 1.001 * floor { 0.0 } else { variance.sqrt() };
        let [tau, sigma] = variances(at, self.columns).map(spread);
        let exact: f64 = match weights {
            None => self.exact as f64,
            Some(weights) => self.reduced.iter().zip(weights).map(|(of, weight)| of.exact() as f64 * weight).sum(),
        };
        Clustered {
            coefficients,
            between: tau * self.scale,
            within: sigma * self.scale,
            log_likelihood: -cost - exact * self.scale.ln(),
        }
    }
}

/// τ² and σ² in standard units.
fn variances(at: &[f64], columns: usize) -> [f64; 2] {
    let floor = SMALLEST_SPREAD * SMALLEST_SPREAD;
    let variance =
        |position: usize| at.get(position).copied().unwrap_or(0.0).clamp(-60.0, LARGEST_LOGARITHM).exp() + floor;
    [variance(columns), variance(columns + 1)]
}

fn is_well_formed(known: Known) -> bool {
    match known {
        Known::Exact(y) => y.is_finite(),
        Known::Between { low, high } => low < high,
    }
}

fn moved(known: Known, by: f64, scale: f64) -> Known {
    let move_one = |y: f64| (y - by) / scale;
    match known {
        Known::Exact(y) => Known::Exact(move_one(y)),
        Known::Between { low, high } => Known::Between { low: move_one(low), high: move_one(high) },
    }
}

/// The least of a smooth function of logarithms of variances and of coefficients, and where it is: BFGS with steps that are cut to
/// [`LARGEST_STEP`] and halved until they gain. `total` is the size of the curvature, one a row.
fn minimise(mut evaluate: impl FnMut(&[f64]) -> (f64, Vec<f64>), start: Vec<f64>, total: f64) -> (Vec<f64>, f64) {
    let size = start.len();
    let scaled = || -> Vec<Vec<f64>> {
        (0..size).map(|i| (0..size).map(|j| if i == j { 1.0 / total } else { 0.0 }).collect()).collect()
    };
    let mut at = start;
    let (mut cost, mut slope) = evaluate(&at);
    let mut inverse = scaled();
    let mut is_fresh = true;
    for _ in 0..STEPS {
        if slope.iter().all(|by| by.abs() <= FLAT * total) {
            break;
        }
        let mut direction: Vec<f64> = inverse.iter().map(|row| -dot(row, &slope)).collect();
        let longest = direction.iter().fold(0.0_f64, |longest, step| longest.max(step.abs()));
        if longest > LARGEST_STEP {
            direction.iter_mut().for_each(|step| *step *= LARGEST_STEP / longest);
        }
        let promised = dot(&direction, &slope);
        let gained = (0..HALVINGS).map(|halvings| 0.5_f64.powi(halvings)).find_map(|share| {
            let next: Vec<f64> = at.iter().zip(&direction).map(|(at, step)| at + share * step).collect();
            let (next_cost, next_slope) = evaluate(&next);
            (next_cost <= cost + ARMIJO * share * promised).then_some((next, next_cost, next_slope))
        });
        let Some((next, next_cost, next_slope)) = gained.filter(|_| promised < 0.0) else {
            // Nothing is gained along the slope itself either: it is rounding.
            if is_fresh {
                break;
            }
            (inverse, is_fresh) = (scaled(), true);
            continue;
        };
        let moved: Vec<f64> = next.iter().zip(&at).map(|(next, at)| next - at).collect();
        let turned: Vec<f64> = next_slope.iter().zip(&slope).map(|(next, slope)| next - slope).collect();
        let is_settled = cost - next_cost <= f64::EPSILON * cost.abs();
        update(&mut inverse, &moved, &turned);
        (at, cost, slope, is_fresh) = (next, next_cost, next_slope, false);
        if is_settled {
            break;
        }
    }
    (at, cost)
}

/// The BFGS update of the inverse curvature; none where the curvature along the step is not positive.
fn update(inverse: &mut [Vec<f64>], moved: &[f64], turned: &[f64]) {
    let curvature = dot(moved, turned);
    if curvature <= 1e-12 * (dot(moved, moved) * dot(turned, turned)).sqrt() {
        return;
    }
    let product: Vec<f64> = inverse.iter().map(|row| dot(row, turned)).collect();
    let factor = (1.0 + dot(turned, &product) / curvature) / curvature;
    for ((row, step), own) in inverse.iter_mut().zip(moved).zip(&product) {
        for ((entry, other_step), other) in row.iter_mut().zip(moved).zip(&product) {
            *entry += factor * step * other_step - (own * other_step + step * other) / curvature;
        }
    }
}

#[cfg(test)]
mod tests;
