//! The global search of the need: a grid that follows the data, then Newton's method from each of its local minima, then the edges of what
//! never rises.
//!
//! A polynomial is written by its Bézier ordinates over z = 0 (the highest index) to 1 (the lowest): u₀ and u₁ its values there and m the middle
//! one. It never falls with z exactly if u₀ ≤ m ≤ u₁; and need, which is its positive part, also where u₀ ≤ 0 and m lies below it.

use super::criterion::{Basis, Derived, Problem, Sums};
use super::newton::{Local, descend};
use super::spline::{Knots, SplineOrdinates, SplineSearch};
use super::{NoShortfall, Shape, ShortfallModel};

/// Needs are searched up to so many times the highest topdress.
pub(super) const SEARCHED_TO: f64 = 24.0;
/// A best need above so many times the highest topdress is none: the criterion falls on to needs without end.
pub(super) const BELIEVED_TO: f64 = 12.0;
/// Rounding of ordinates relative to the largest.
const ROUNDING: f64 = 1e-12;

/// The ordinates of a polynomial of degree 2 at most.
pub(super) type Ordinates = [f64; 3];

/// A curve over z whose positive part is need, in highest topdress rates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Curve {
    Polynomial(Ordinates),
    Spline(Knots, SplineOrdinates),
}

impl Curve {
    pub fn value(&self, z: f64) -> f64 {
        match self {
            Self::Polynomial(ordinates) => polynomial(*ordinates, z),
            Self::Spline(knots, ordinates) => knots.value(ordinates, z),
        }
    }

    /// The same, so much higher.
    fn raised(self, by: f64) -> Self {
        match self {
            Self::Polynomial(ordinates) => Self::Polynomial(ordinates.map(|ordinate| ordinate + by)),
            Self::Spline(knots, ordinates) => Self::Spline(knots, ordinates.map(|ordinate| ordinate + by)),
        }
    }
}

/// The best need of a problem.
#[derive(Clone, Copy, Debug)]
pub(super) struct Best {
    pub curve: Curve,
    /// Yield lost by a shortfall of the highest topdress.
    pub c: f64,
}

fn is_searched([u0, m, u1]: Ordinates) -> bool {
    u0.max(m).max(u1) <= SEARCHED_TO
}

/// The value of a polynomial at z.
pub(super) fn polynomial([u0, m, u1]: Ordinates, z: f64) -> f64 {
    let rest = 1.0 - z;
    u0 * rest * rest + 2.0 * m * z * rest + u1 * z * z
}

/// −B²/A and its derivatives; `None` where yields do not fall with shortfall.
pub(super) fn explained<const K: usize>(derived: &Derived<K>) -> Option<Local<K>> {
    let Derived { sums, b1, a1, b2, a2, .. } = derived;
    let value = value_of(*sums);
    if value >= 0.0 {
        return None;
    }
    let ratio = sums.b / sums.a;
    let gradient = std::array::from_fn(|i| ratio * (ratio * a1[i] - 2.0 * b1[i]));
    let hessian = std::array::from_fn(|i| {
        std::array::from_fn(|j| {
            // (B/A)′ = (B′ − (B/A)·A′)/A.
            let by_i = b1[i] - ratio * a1[i];
            let by_j = b1[j] - ratio * a1[j];
            ratio * (ratio * a2[i][j] - 2.0 * b2[i][j]) - 2.0 * by_i * by_j / sums.a
        })
    });
    Some((value, gradient, hessian))
}

/// −B²/A where B is below 0, else 0.
fn value_of(Sums { a, b }: Sums) -> f64 {
    if b < 0.0 && a > 0.0 && a.is_finite() { -b / a * b } else { 0.0 }
}

/// A family of polynomials that is linear in K numbers.
struct Face<const K: usize> {
    /// The columns at z.
    columns: fn(f64) -> [f64; K],
    ordinates: fn([f64; K]) -> Ordinates,
    numbers: fn(Ordinates) -> [f64; K],
    /// The polynomial of a bend, a scale and a position (see [`from_zero`]) that a search starts from.
    start: fn(f64, f64, f64) -> Ordinates,
}

const CONSTANT: Face<1> =
    Face { columns: |_| [1.0], ordinates: |[v]| [v; 3], numbers: |[_, _, u1]| [u1], start: |_, scale, _| [scale; 3] };

const LINE: Face<2> = Face {
    columns: |z| [1.0 - z, z],
    ordinates: |[u0, u1]| [u0, 0.5 * (u0 + u1), u1],
    numbers: |[u0, _, u1]| [u0, u1],
    start: |_, scale, position| from_zero(scale, position, 0.0),
};

/// Level at the lowest index: m = u₁.
const LEVEL_AT_LOWEST: Face<2> = Face {
    columns: |z| [(1.0 - z) * (1.0 - z), z * (2.0 - z)],
    ordinates: |[u0, u1]| [u0, u1, u1],
    numbers: |[u0, _, u1]| [u0, u1],
    start: |_, scale, position| from_zero(scale, position, -1.0),
};

/// Level at the highest index: m = u₀.
const LEVEL_AT_HIGHEST: Face<2> = Face {
    columns: |z| [1.0 - z * z, z * z],
    ordinates: |[u0, u1]| [u0, u0, u1],
    numbers: |[u0, _, u1]| [u0, u1],
    start: |_, scale, position| {
        let u0 =
            if position > 0.0 { -scale * position * position / (1.0 - position * position) } else { -scale * position };
        [u0, u0, scale]
    },
};

/// Zero at the highest index: u₀ = 0, with m below it.
const ZERO_AT_HIGHEST: Face<2> = Face {
    columns: |z| [2.0 * z * (1.0 - z), z * z],
    ordinates: |[m, u1]| [0.0, m, u1],
    numbers: |[_, m, u1]| [m, u1],
    start: |_, scale, position| [0.0, -0.5 * scale * position.max(0.0) / (1.0 - position), scale],
};

const PARABOLA: Face<3> = Face {
    columns: |z| [(1.0 - z) * (1.0 - z), 2.0 * z * (1.0 - z), z * z],
    ordinates: |ordinates| ordinates,
    numbers: |ordinates| ordinates,
    start: |bend, scale, position| from_zero(scale, position, bend),
};

/// The polynomial of value `scale` at z = 1 that is zero at z = `position` if that is above 0, and has the share −`position` of `scale` at
/// z = 0 otherwise; in between w·(1 − `bend`) + w²·`bend`.
fn from_zero(scale: f64, position: f64, bend: f64) -> Ordinates {
    if position <= 0.0 {
        let rise = scale * (1.0 + position);
        let u0 = -scale * position;
        return [u0, u0 + 0.5 * rise * (1.0 - bend), scale];
    }
    // w = (z − position)/(1 − position), so p = a·w + b·w².
    let span = 1.0 - position;
    let (a, b) = (scale * (1.0 - bend), scale * bend);
    let at_zero = -position / span;
    let u0 = a * at_zero + b * at_zero * at_zero;
    let slope = (a + 2.0 * b * at_zero) / span;
    [u0, u0 + 0.5 * slope, scale]
}

/// The grid that a search of so many numbers starts from.
struct Grid {
    bends: Vec<f64>,
    positions: Vec<f64>,
    scales: Vec<f64>,
    /// The most local minima that are followed.
    most: usize,
}

/// Cells up to which the grid is finest, and above which it is coarsest: the fewer cells, the rougher the criterion, and the less a point of it
/// costs.
const FEW: usize = 160;
const MANY: usize = 600;

impl Grid {
    fn new(problem: &Problem, numbers: usize, never_rising: bool) -> Self {
        let cells = problem.topdress.len();
        let (between, shares, scales, bends): (_, &[f64], &[f64], &[f64]) = match cells {
            0..=FEW => (24, &SHARES, &SCALES, &[-0.95, -0.6, -0.2, 0.2, 0.6, 0.95]),
            _ if cells <= MANY => (10, &SHARES[1..], &SCALES, &[-0.9, -0.4, 0.2, 0.8]),
            _ => (6, &[-0.7, -0.3, 0.0], &SCALES[2..16], &[-0.8, 0.0, 0.8]),
        };
        let mut grid = Self {
            bends: if numbers == 3 { bends.to_vec() } else { vec![0.0] },
            positions: shares.iter().copied().chain(positions_between(problem, between)).collect(),
            scales: scales.to_vec(),
            most: if cells > MANY { 5 } else { 16 },
        };
        if numbers == 3 && !never_rising {
            grid.bends.extend([-4.0, -2.0, 2.0, 4.0]);
            grid.bends.sort_by(f64::total_cmp);
        }
        if numbers == 1 {
            grid.positions.truncate(1);
        }
        if numbers < 3 && cells <= FEW {
            grid.positions = refined(&refined(&grid.positions));
            grid.scales = refined(&grid.scales);
        }
        grid
    }
}

/// Ascending numbers with the middles between them.
fn refined(numbers: &[f64]) -> Vec<f64> {
    let middles = numbers.windows(2).flat_map(|pair| [0.5 * (pair[0] + pair[1]), pair[1]]);
    numbers.first().copied().into_iter().chain(middles).collect()
}

/// Middles between neighbouring indices, as z: of all, or of so many spread over them.
fn positions_between(problem: &Problem, most: usize) -> Vec<f64> {
    let mut z = problem.z.clone();
    z.sort_by(f64::total_cmp);
    z.dedup_by(|one, other| (*one - *other).abs() < 1e-9);
    let gaps = z.len().saturating_sub(1);
    let taken = gaps.min(most);
    let middle = |position: usize| {
        let gap = position * gaps / taken;
        0.5 * (z[gap] + z[gap + 1])
    };
    (0..taken).map(middle).collect()
}

/// Level needs that a spline is searched from too, in highest topdress rates: parabolas lead to needs that bend or are straight.
const LEVELS: [f64; 6] = [0.15, 0.3, 0.5, 0.7, 0.9, 1.1];
/// Needs at the lowest index that the grid tries, in highest topdress rates.
const SCALES: [f64; 20] =
    [0.06, 0.14, 0.24, 0.34, 0.44, 0.54, 0.66, 0.78, 0.9, 1.02, 1.16, 1.35, 1.65, 2.1, 2.8, 4.2, 6.5, 10.0, 15.0, 22.0];
/// The need at the highest index that the grid tries, as a share of that at the lowest, below 0 as positions in z are above.
const SHARES: [f64; 8] = [-0.97, -0.88, -0.72, -0.55, -0.38, -0.22, -0.09, 0.0];

/// A polynomial that was come to, with its value.
type Candidate = (Ordinates, f64);

struct Search<'p> {
    problem: &'p Problem,
    bernstein: Basis<3>,
    squares: Vec<f64>,
}

impl Search<'_> {
    fn value(&mut self, ordinates: &Ordinates) -> f64 {
        value_of(self.problem.sums(&self.bernstein, ordinates, &mut self.squares))
    }

    /// Local minima on a face, from those of a grid.
    fn on<const K: usize>(&mut self, face: &Face<K>, never_rising: bool, mirrored: bool) -> Vec<Candidate> {
        let Grid { bends, positions, scales, most } = Grid::new(self.problem, K, never_rising);
        let size = [bends.len(), positions.len(), scales.len()];
        let mut grid = Vec::with_capacity(size.iter().product());
        for bend in &bends {
            for position in &positions {
                for scale in &scales {
                    let mut ordinates = (face.start)(*bend, *scale, *position);
                    if mirrored {
                        ordinates.reverse();
                    }
                    grid.push((ordinates, self.value(&ordinates)));
                }
            }
        }
        let mut lowest: Vec<Candidate> = local_minima(&grid, size).map(|at| grid[at]).collect();
        lowest.sort_by(|one, other| one.1.total_cmp(&other.1));
        lowest.truncate(most);
        let basis = Basis::of(self.problem, face.columns);
        let local = |numbers: &[f64; K]| {
            explained(&is_searched((face.ordinates)(*numbers)).then(|| self.problem.derived(&basis, numbers))?)
        };
        let minima = lowest.iter().filter_map(|(start, _)| descend(local, (face.numbers)(*start)));
        minima.map(|minimum| ((face.ordinates)(minimum.at), minimum.value)).collect()
    }
}

/// The points of a grid in three directions that none of their neighbours lies below, of those below 0.
fn local_minima(grid: &[Candidate], [_, positions, scales]: [usize; 3]) -> impl Iterator<Item = usize> {
    let is_lowest = move |at: &usize| {
        let here = grid[*at].1;
        let lower = |neighbour: Option<usize>, in_line: bool| {
            in_line && neighbour.and_then(|neighbour| grid.get(neighbour)).is_some_and(|(_, value)| *value < here)
        };
        let (scale, position, plane) = (at % scales, at / scales % positions, scales * positions);
        here < 0.0
            && !lower(at.checked_sub(1), scale > 0)
            && !lower(Some(at + 1), scale + 1 < scales)
            && !lower(at.checked_sub(scales), position > 0)
            && !lower(Some(at + scales), position + 1 < positions)
            && !lower(at.checked_sub(plane), true)
            && !lower(Some(at + plane), true)
    };
    (0..grid.len()).filter(is_lowest)
}

/// Whether need never falls with z from 0 to 1.
fn never_falls(ordinates: &Ordinates) -> bool {
    let [u0, m, u1] = *ordinates;
    let slack = ROUNDING * u0.abs().max(m.abs()).max(u1.abs());
    m <= u1 + slack && (m >= u0 - slack || u0 <= slack)
}

/// The polynomials that a search for the least residual sum of squares comes to, with −B²/A; parabolas for a spline.
fn polynomials(problem: &Problem, shape: Shape, never_rising: bool) -> Vec<Candidate> {
    let mut search = Search { problem, bernstein: Basis::of(problem, PARABOLA.columns), squares: Vec::new() };
    let mut on_face = |mirrored| match shape {
        Shape::Line => search.on(&LINE, never_rising, mirrored),
        Shape::Parabola | Shape::Spline => search.on(&PARABOLA, never_rising, mirrored),
    };
    let mut found = on_face(false);
    if !never_rising {
        found.extend(on_face(true));
        return found;
    }
    let inside = found.len();
    found.retain(|(ordinates, _)| never_falls(ordinates));
    // What would rise further has its best on an edge.
    if found.len() < inside || found.is_empty() {
        let mut edges = search.on(&CONSTANT, never_rising, false);
        if shape != Shape::Line {
            edges.extend(search.on(&LEVEL_AT_LOWEST, never_rising, false));
            edges.extend(search.on(&LEVEL_AT_HIGHEST, never_rising, false));
            edges.extend(search.on(&ZERO_AT_HIGHEST, never_rising, false));
        }
        found.extend(edges.into_iter().filter(|(ordinates, _)| never_falls(ordinates)));
    }
    found
}

fn lowest_of<T>(found: impl IntoIterator<Item = (T, f64)>) -> Option<(T, f64)> {
    found.into_iter().reduce(|best, next| if next.1 < best.1 { next } else { best })
}

/// The curve of the least residual sum of squares, of splines that nearest to `near` where that is given; `None` where no need takes anything off it.
pub(super) fn lowest(
    problem: &Problem,
    shape: Shape,
    never_rising: bool,
    near: Option<SplineOrdinates>,
) -> Option<Curve> {
    if let (Shape::Spline, Some(near)) = (shape, near) {
        let search = SplineSearch::new(problem, never_rising);
        return search.best(&[near]).map(|(ordinates, _)| Curve::Spline(search.knots, ordinates));
    }
    let polynomials = polynomials(problem, shape, never_rising);
    if shape != Shape::Spline {
        return lowest_of(polynomials).map(|(ordinates, _)| Curve::Polynomial(ordinates));
    }
    let search = SplineSearch::new(problem, never_rising);
    let parabolas = polynomials.iter().map(|(ordinates, _)| search.knots.of_parabola(*ordinates));
    let starts: Vec<SplineOrdinates> = parabolas.chain(LEVELS.map(|level| [level; _])).collect();
    search.best(&starts).map(|(ordinates, _)| Curve::Spline(search.knots, ordinates))
}

/// The best need of a shape.
///
/// # Errors
/// [`NoShortfall`] where there is none, or it is not one.
pub(super) fn best(
    problem: &Problem,
    shape: Shape,
    never_rising: bool,
    near: Option<SplineOrdinates>,
) -> Result<Best, NoShortfall> {
    // What rounding leaves of equal yields answers to nothing.
    if problem.total <= problem.rounding {
        return Err(NoShortfall::NoResponse);
    }
    let curve = lowest(problem, shape, never_rising, near).ok_or(NoShortfall::NoResponse)?;
    if problem.z.iter().any(|z| curve.value(*z) > BELIEVED_TO) {
        return Err(NoShortfall::NeedBeyondTested { highest: problem.highest });
    }
    let is_one = match (&curve, shape) {
        (Curve::Polynomial(ordinates), Shape::Line) => is_determined(problem, &LINE, *ordinates),
        (Curve::Polynomial(ordinates), _) => is_determined(problem, &PARABOLA, *ordinates),
        (Curve::Spline(_, ordinates), _) => SplineSearch::new(problem, never_rising).is_determined(ordinates),
    };
    if !is_one {
        return Err(NoShortfall::NotIdentified);
    }
    let Sums { a, b } = problem.sums(&Basis::of(problem, |z| [curve.value(z)]), &[1.0], &mut Vec::new());
    Ok(Best { curve, c: -b / a })
}

/// What is searched beside the best fit: a function of the sums, and of the polynomial at one z.
pub(super) trait Objective {
    /// That z.
    fn z(&self) -> f64;

    /// Value and derivatives by the numbers, `need` being the polynomial at z and `slopes` its derivatives by them; `None` outside its domain.
    fn local<const K: usize>(&self, derived: &Derived<K>, need: f64, slopes: &[f64; K]) -> Option<Local<K>>;
}

/// The least value that an objective comes to from a curve and from the same so much higher, inside and on every edge of what a model allows.
pub(super) fn least_by(
    problem: &Problem,
    model: ShortfallModel,
    from: Curve,
    raised_by: f64,
    objective: &impl Objective,
) -> Option<(Curve, f64)> {
    match (from.raised(raised_by), from) {
        (Curve::Polynomial(moved), Curve::Polynomial(from)) => {
            let found = polynomial_by(problem, model, &[moved, from], objective)?;
            Some((Curve::Polynomial(found.0), found.1))
        }
        (Curve::Spline(knots, moved), Curve::Spline(_, from)) => {
            let search = SplineSearch::new(problem, model.never_rising);
            let found = search.least_by(&[moved, from], objective)?;
            Some((Curve::Spline(knots, found.0), found.1))
        }
        _ => None,
    }
}

fn polynomial_by(
    problem: &Problem,
    model: ShortfallModel,
    starts: &[Ordinates],
    objective: &impl Objective,
) -> Option<Candidate> {
    let mut found = match model.shape {
        Shape::Line => come_to(problem, &LINE, starts, objective),
        _ => come_to(problem, &PARABOLA, starts, objective),
    };
    if model.never_rising {
        found.extend(come_to(problem, &CONSTANT, starts, objective));
        if model.shape != Shape::Line {
            found.extend(come_to(problem, &LEVEL_AT_LOWEST, starts, objective));
            found.extend(come_to(problem, &LEVEL_AT_HIGHEST, starts, objective));
            found.extend(come_to(problem, &ZERO_AT_HIGHEST, starts, objective));
        }
        found.retain(|(ordinates, _)| never_falls(ordinates));
    }
    lowest_of(found)
}

fn come_to<const K: usize>(
    problem: &Problem,
    face: &Face<K>,
    starts: &[Ordinates],
    objective: &impl Objective,
) -> Vec<Candidate> {
    let basis = Basis::of(problem, face.columns);
    let slopes = (face.columns)(objective.z());
    let local = |numbers: &[f64; K]| {
        let need = slopes.iter().zip(numbers).map(|(slope, number)| slope * number).sum();
        let derived = is_searched((face.ordinates)(*numbers)).then(|| problem.derived(&basis, numbers))?;
        objective.local(&derived, need, &slopes)
    };
    let minima = starts.iter().filter_map(|start| descend(local, (face.numbers)(*start)));
    minima.map(|minimum| ((face.ordinates)(minimum.at), minimum.value)).collect()
}

/// Whether the numbers of a face, and c, change the curve each in a way of its own.
fn is_determined<const K: usize>(problem: &Problem, face: &Face<K>, ordinates: Ordinates) -> bool {
    let derived = problem.derived(&Basis::of(problem, face.columns), &(face.numbers)(ordinates));
    !derived.is_dependent(&[true; K])
}
