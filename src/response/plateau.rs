//! What the families with a shape share: they rise towards a plateau, and their one shape is searched globally.

use super::exponential_search::Exponential;
use super::family::Family;
use super::reduced::{Match, Reduced};
use super::{exponential_rise, linear_plateau, quadratic_plateau};
use crate::stats::least_squares::{Factor, dot};
use crate::stats::polynomial::{self, Roots};

/// Two joins are the same if they differ by less than this, relative to the highest rate.
pub(super) const SAME_JOIN: f64 = 1e-9;

/// A family that rises to a plateau, or nears one. Its shape is the join J (linear), u = 1/J (quadratic) or k (exponential), on rates
/// divided by the highest.
///
/// Of the exponential, *join* in this room means 1/k, the rate over which the rest of the rise falls to 1/e: like a join it is 0 for a
/// step and infinite for a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Plateau {
    Linear,
    Quadratic,
    Exponential,
}

impl Plateau {
    pub fn of(family: Family) -> Option<Self> {
        match family {
            Family::LinearPlateau => Some(Plateau::Linear),
            Family::QuadraticPlateau => Some(Plateau::Quadratic),
            Family::ExponentialRise => Some(Plateau::Exponential),
            Family::Mean | Family::Linear | Family::Quadratic | Family::SquareRoot => None,
        }
    }

    /// The column of the slope at zero, or of an exponential at the `lowest` tested rate.
    pub fn basis(self, rate: f64, shape: f64, lowest: f64) -> f64 {
        match self {
            Plateau::Linear => linear_plateau::basis(rate, shape),
            Plateau::Quadratic => quadratic_plateau::basis(rate, shape),
            Plateau::Exponential => exponential_rise::basis(rate - lowest, shape),
        }
    }

    /// The derivative of the column by the shape.
    pub fn basis_by_shape(self, rate: f64, shape: f64, lowest: f64) -> f64 {
        match self {
            Plateau::Linear => linear_plateau::basis_by_shape(rate, shape),
            Plateau::Quadratic => quadratic_plateau::basis_by_shape(rate, shape),
            Plateau::Exponential => exponential_rise::basis_by_shape(rate - lowest, shape),
        }
    }

    /// Shapes among which is that of the best rising curve, tested rates before others.
    pub fn candidates(self, reduced: &Reduced) -> Vec<f64> {
        let stretches = match self {
            Plateau::Linear => linear_plateau::stretches(reduced),
            Plateau::Quadratic => quadratic_plateau::stretches(reduced),
            Plateau::Exponential => return Exponential::new(reduced).candidates(),
        };
        let mut candidates: Vec<f64> = stretches.iter().flat_map(|stretch| [stretch.from, stretch.to]).collect();
        stretches.iter().for_each(|stretch| candidates.extend(stretch.stationary().as_slice()));
        candidates
    }

    /// The stretches of shapes with joins beyond [`alike_until`](Self::alike_until) whose best curves, rising or falling, explain at least
    /// `explained`.
    pub fn explaining(self, reduced: &Reduced, explained: f64) -> Vec<[f64; 2]> {
        let stretches = match self {
            Plateau::Linear => linear_plateau::stretches(reduced),
            Plateau::Quadratic => quadratic_plateau::stretches(reduced),
            Plateau::Exponential => return Exponential::new(reduced).explaining(explained),
        };
        stretches.iter().flat_map(|stretch| stretch.explaining(explained)).collect()
    }

    /// The join up to which all fit alike: the second tested rate, or for an exponential where the rise is over before it.
    pub fn alike_until(self, reduced: &Reduced) -> f64 {
        match self {
            Plateau::Linear | Plateau::Quadratic => reduced.rates().get(1).copied().unwrap_or(1.0),
            Plateau::Exponential => 1.0 / Exponential::steepest(reduced),
        }
    }

    /// The join of a shape; infinite for a straight line.
    pub fn join(self, shape: f64) -> f64 {
        match self {
            Plateau::Linear => shape,
            Plateau::Quadratic | Plateau::Exponential => 1.0 / shape,
        }
    }

    /// The shape of a join.
    pub fn shape(self, join: f64) -> f64 {
        match self {
            Plateau::Linear => join,
            Plateau::Quadratic | Plateau::Exponential => 1.0 / join,
        }
    }

    /// The shape whose curve is a straight line over the tested rates.
    pub fn line(self) -> f64 {
        match self {
            Plateau::Linear => 1.0,
            Plateau::Quadratic | Plateau::Exponential => 0.0,
        }
    }

    /// The join below which there is no curve: no plot lies on its rise.
    pub fn lowest_join(self, reduced: &Reduced) -> f64 {
        match self {
            Plateau::Linear | Plateau::Quadratic => reduced.lowest(),
            Plateau::Exponential => 0.0,
        }
    }

    /// The join at which the curve is a line over the tested rates.
    pub fn not_reached_from(self) -> f64 {
        match self {
            Plateau::Linear | Plateau::Quadratic => 1.0,
            // At so small a shape the curve differs from a line by rounding.
            Plateau::Exponential => 1e12,
        }
    }

    /// The projected column of a shape.
    pub fn column(self, reduced: &Reduced, shape: f64) -> Vec<f64> {
        let lowest = reduced.lowest();
        reduced.curve(|rate| self.basis(rate, shape, lowest))
    }

    /// Its derivative by the shape.
    pub fn column_by_shape(self, reduced: &Reduced, shape: f64) -> Vec<f64> {
        let lowest = reduced.lowest();
        reduced.curve(|rate| self.basis_by_shape(rate, shape, lowest))
    }

    /// The best factor of the column of a shape; `None` where it has no contrast.
    pub fn match_shape(self, reduced: &Reduced, shape: f64) -> Option<Match> {
        reduced.match_column(&self.column(reduced, shape))
    }
}

/// Shapes in `[from, to]`, over which the projected column is x(t) = x₀ + x₁·t + x₂·t² up to a positive factor.
///
/// The explained sum of squares is then q(t)²/p(t) with q = x·z and p = x·x.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    pub from: f64,
    pub to: f64,
    columns: [Vec<f64>; 3],
    along: [f64; 3],
    norm: [f64; 5],
}

impl Stretch {
    /// From the vectors x₀, x₁ and x₂ (empty means zero).
    pub fn new(from: f64, to: f64, columns: [Vec<f64>; 3], z: &[f64]) -> Self {
        let [x0, x1, x2] = &columns;
        let norm = [dot(x0, x0), 2.0 * dot(x0, x1), 2.0 * dot(x0, x2) + dot(x1, x1), 2.0 * dot(x1, x2), dot(x2, x2)];
        let along = [dot(x0, z), dot(x1, z), dot(x2, z)];
        Self { from, to, columns, along, norm }
    }

    /// The projected column at a shape, up to a positive factor.
    fn column(&self, shape: f64) -> Vec<f64> {
        let [x0, x1, x2] = &self.columns;
        let length = x0.len().max(x1.len());
        let entry = |column: &Vec<f64>, row: usize| column.get(row).copied().unwrap_or(0.0);
        (0..length).map(|row| entry(x0, row) + shape * (entry(x1, row) + shape * entry(x2, row))).collect()
    }

    /// Orthonormal vectors that span the columns of all shapes.
    fn span(&self) -> Vec<Vec<f64>> {
        let columns: Vec<Vec<f64>> = self.columns.iter().filter(|column| !column.is_empty()).cloned().collect();
        let rows = columns.first().map_or(0, Vec::len);
        // The columns are as long as each other and finite; were they not, nothing would be left out.
        let factor = Factor::new(&columns, rows).unwrap_or_else(|_| Factor::empty(rows));
        factor.basis().map(<[f64]>::to_vec).collect()
    }

    /// The same stretch for another `z`.
    pub fn set_z(&mut self, z: &[f64]) {
        self.along = [0, 1, 2].map(|i| dot(&self.columns[i], z));
    }

    /// q, ascending.
    pub fn along(&self) -> [f64; 3] {
        self.along
    }

    /// p, ascending.
    pub fn norm(&self) -> [f64; 5] {
        self.norm
    }

    /// The explained sum of squares of the best rising curve at `shape`: zero where it would fall.
    pub fn explained(&self, shape: f64) -> f64 {
        let along = polynomial::value(&self.along, shape);
        let norm = polynomial::value(&self.norm, shape);
        if along > 0.0 && norm > 0.0 { along * along / norm } else { 0.0 }
    }

    /// Where the explained sum of squares is stationary: 2q'p − qp' = 0, a quartic (q·p' and q'·p cancel in the leading term).
    pub fn stationary(&self) -> Roots {
        let (q, p) = (&self.along, &self.norm);
        if q[2] == 0.0 && p[3] == 0.0 && p[4] == 0.0 {
            let line = [2.0 * q[1] * p[0] - q[0] * p[1], q[1] * p[1] - 2.0 * q[0] * p[2]];
            return polynomial::roots(&line, self.from, self.to);
        }
        let quartic = [
            2.0 * q[1] * p[0] - q[0] * p[1],
            q[1] * p[1] + 4.0 * q[2] * p[0] - 2.0 * q[0] * p[2],
            3.0 * (q[2] * p[1] - q[0] * p[3]),
            2.0 * q[2] * p[2] - q[1] * p[3] - 4.0 * q[0] * p[4],
            q[2] * p[3] - 2.0 * q[1] * p[4],
        ];
        polynomial::roots(&quartic, self.from, self.to)
    }

    /// The parts of the stretch, ascending, where q² ≥ `explained`·p: where a curve of either sign explains at least that much.
    pub fn explaining(&self, explained: f64) -> Vec<[f64; 2]> {
        let q = &self.along;
        let squared = [q[0] * q[0], 2.0 * q[0] * q[1], 2.0 * q[0] * q[2] + q[1] * q[1], 2.0 * q[1] * q[2], q[2] * q[2]];
        let mut excess = squared;
        excess.iter_mut().zip(&self.norm).for_each(|(e, p)| *e -= explained * p);
        pieces(self.from, self.to, polynomial::roots(&excess, self.from, self.to).as_slice(), |t| {
            polynomial::value(&excess, t) >= 0.0
        })
    }
}

/// The stretches of a plateau family, ready to be searched for one `z` after another.
#[derive(Clone, Debug)]
pub(super) struct Stretches {
    stretches: Vec<Stretch>,
    /// The ends of stretches, each with its column at unit length.
    ends: Vec<(f64, Vec<f64>)>,
    /// For each stretch, orthonormal vectors that span all its columns: no curve of it explains more than they do.
    spans: Vec<Vec<Vec<f64>>>,
}

impl Stretches {
    pub fn new(stretches: Vec<Stretch>) -> Self {
        let mut ends: Vec<(f64, Vec<f64>)> = Vec::new();
        for stretch in &stretches {
            for shape in [stretch.from, stretch.to] {
                let column = stretch.column(shape);
                let length = dot(&column, &column).sqrt();
                if ends.iter().all(|(known, _)| *known != shape) && length > 0.0 {
                    ends.push((shape, column.iter().map(|entry| entry / length).collect()));
                }
            }
        }
        let spans = stretches.iter().map(Stretch::span).collect();
        Self { stretches, ends, spans }
    }

    /// The shape of the rising curve that explains most of `z`, and how much; `None` if none rises.
    ///
    /// A stretch is searched only if all its columns together explain more than the best curve so far.
    pub fn best(&mut self, z: &[f64]) -> Option<(f64, f64)> {
        let mut best: Option<(f64, f64)> = None;
        for (shape, column) in &self.ends {
            let along = dot(column, z);
            if along > 0.0 && best.is_none_or(|(_, most)| along * along > most) {
                best = Some((*shape, along * along));
            }
        }
        for (stretch, span) in self.stretches.iter_mut().zip(&self.spans) {
            let at_most: f64 = span.iter().map(|vector| dot(vector, z).powi(2)).sum();
            if best.is_some_and(|(_, most)| at_most <= most) {
                continue;
            }
            stretch.set_z(z);
            for shape in stretch.stationary().as_slice() {
                let explained = stretch.explained(*shape);
                if explained > best.map_or(0.0, |(_, most)| most) {
                    best = Some((*shape, explained));
                }
            }
        }
        best
    }
}

/// `[from, to]` cut at ascending `cuts`, of which the parts whose middle is `inside` are kept and joined where they touch.
pub(super) fn pieces(from: f64, to: f64, cuts: &[f64], inside: impl Fn(f64) -> bool) -> Vec<[f64; 2]> {
    let mut kept: Vec<[f64; 2]> = Vec::new();
    let mut left = from;
    for right in cuts.iter().copied().chain([to]) {
        if right > left && inside(0.5 * (left + right)) {
            match kept.last_mut() {
                Some(last) if last[1] == left => last[1] = right,
                _ => kept.push([left, right]),
            }
        }
        left = right;
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A central difference at this step is right to about ten digits.
    const STEP: f64 = 1e-5;
    const DIFFERENCE: f64 = 1e-8;

    fn stretch() -> Stretch {
        let columns = [vec![0.3, -0.2, 0.7], vec![-1.0, 0.4, 0.2], vec![0.5, 0.1, -0.6]];
        Stretch::new(0.0, 3.0, columns, &[0.6, -0.1, 0.8])
    }

    #[test]
    fn the_derivative_by_the_shape_is_that_of_the_basis() {
        for plateau in [Plateau::Linear, Plateau::Quadratic, Plateau::Exponential] {
            for rate in [0.1, 0.2, 0.5, 0.9] {
                for shape in [0.3, 0.7, 1.4, 2.5] {
                    let difference = plateau.basis(rate, shape + STEP, 0.1) - plateau.basis(rate, shape - STEP, 0.1);
                    let expected = difference / (2.0 * STEP);
                    assert_relative_eq!(plateau.basis_by_shape(rate, shape, 0.1), expected, epsilon = DIFFERENCE);
                }
            }
        }
    }

    #[test]
    fn the_explained_sum_of_squares_is_level_at_stationary_shapes_and_only_there() {
        let stretch = stretch();
        let squared = |t: f64| polynomial::value(&stretch.along(), t).powi(2) / polynomial::value(&stretch.norm(), t);
        let slope = |t: f64| (squared(t + STEP) - squared(t - STEP)) / (2.0 * STEP);
        let stationary = stretch.stationary();
        assert!(!stationary.as_slice().is_empty());
        for shape in stationary.as_slice() {
            assert!(slope(*shape).abs() < DIFFERENCE, "{shape}");
        }
        let changes = (0..2999).filter(|i| {
            let at = |i: i32| slope(f64::from(i) / 1000.0 + 5e-4);
            at(*i) * at(i + 1) < 0.0
        });
        // Where q = 0 the explained sum of squares touches zero without being stationary in 2q'p − qp'.
        let zeros = polynomial::roots(&stretch.along(), 0.0, 3.0).as_slice().len();
        assert_eq!(changes.count(), stationary.as_slice().len() + zeros);
    }

    #[test]
    fn the_parts_that_explain_enough_end_where_exactly_that_is_explained() {
        let stretch = stretch();
        let squared = |t: f64| polynomial::value(&stretch.along(), t).powi(2) / polynomial::value(&stretch.norm(), t);
        let parts = stretch.explaining(0.4);
        assert!(!parts.is_empty());
        for end in parts.as_flattened().iter().filter(|end| **end > 0.0 && **end < 3.0) {
            assert_relative_eq!(squared(*end), 0.4, max_relative = 1e-12);
        }
        for step in 0..=300 {
            let t = f64::from(step) / 100.0;
            let inside = parts.iter().any(|[from, to]| (*from..=*to).contains(&t));
            assert_eq!(inside, squared(t) >= 0.4, "{t}");
        }
    }
}
