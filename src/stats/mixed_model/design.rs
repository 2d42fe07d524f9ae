//! A mixed model's data, checked, brought to units of its own and cut into pieces that share no random effect.
//!
//! The response is taken as what the fixed columns leave of it, in units of its own spread, and the fixed columns as an orthonormal
//! basis of them: neither shift nor scale of anything then costs digits. Observations that share a level of a random term, directly
//! or through others, form a *component*; the covariance matrix is block diagonal over components. Within a component and a group of
//! one residual variance the observations are turned so that the random effects touch only the first few of them ([`super::turning`]).

use super::basis::{Basis, length};
use super::cells::Cells;
use super::dense::{Matrix, add_scaled};
use super::layout::{Layout, TermLayout, in_own_units};
use super::turning::Turning;
use super::{MixedData, MixedModelError};
use std::collections::HashMap;

/// Of a fixed column, what is left beside earlier ones if it counts as spanned by them.
const FIXED_TOLERANCE: f64 = 1e-10;
/// What of the response is left by fixed columns that fit it without error.
const NO_VARIATION: f64 = 1e-13;

/// The problem in its own units.
#[derive(Clone, Debug)]
pub(super) struct Design {
    pub(super) layout: Layout,
    pub(super) cells: Cells,
    /// Of the fixed columns; its own columns are given by cell.
    pub(super) basis: Basis,
    pub(super) observations: usize,
    /// The response's coordinates in the basis, in its own unit.
    pub(super) least_squares: Vec<f64>,
    /// Of the response, the root mean square that the fixed columns leave.
    pub(super) unit: f64,
    pub(super) components: Vec<Component>,
    /// A group of residual variance each: what no random effect touches.
    pub(super) untouched: Vec<Untouched>,
}

/// Turned observations that only residual variance touches.
#[derive(Clone, Debug)]
pub(super) struct Untouched {
    pub(super) count: usize,
    /// Sums of products of the fixed columns and, last, the response.
    pub(super) products: Matrix,
}

/// Turned observations that share random effects, and others that only their responses tell from them.
#[derive(Clone, Debug)]
pub(super) struct Component {
    /// How many there are.
    pub(super) rows: usize,
    /// How many random effects.
    pub(super) effects: usize,
    /// Which random effects: a level of a term each, its coefficients one after the other.
    pub(super) blocks: Vec<Block>,
    /// For each component of this shape the levels of its blocks, as positions among those of their terms.
    pub(super) copies: Vec<Vec<usize>>,
    /// A *row* each: the columns of the random effects, then the fixed columns, then the response of each copy.
    pub(super) columns: Matrix,
    /// The group of residual variance of each turned observation.
    pub(super) groups: Vec<usize>,
    /// The variance parameters found here, each with its places: parameter r stands in V at `Σ eₐeᵦᵀ` over its places (a, b), where e runs
    /// over the columns of the random effects and then over the turned observations themselves.
    pub(super) places: Vec<(usize, Vec<(usize, usize)>)>,
}

/// The coefficients of one level of a random term.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    pub(super) term: usize,
    /// Position of its first coefficient among the component's random effects.
    pub(super) first: usize,
}

impl Design {
    /// Checks and prepares; `first` names a coefficient of a correlated term (term, column) to stand first in its covariance factor.
    pub(super) fn new(data: &MixedData, first: Option<(usize, usize)>) -> Result<Self, MixedModelError> {
        let observations = check(data)?;
        let cells = Cells::new(data);
        let basis = cells.basis(&data.fixed, FIXED_TOLERANCE);
        let rank = basis.q.len();
        let groups = data.residual_group.as_ref();
        let (group_of, group_labels) =
            groups.map_or_else(|| (vec![0; observations], vec![0]), |groups| numbered(groups));
        let mut terms = Vec::with_capacity(data.random.len());
        let mut columns = Vec::with_capacity(data.random.len());
        let mut level_of = Vec::with_capacity(data.random.len());
        let mut parameters = 0;
        for (index, term) in data.random.iter().enumerate() {
            let foremost = first.filter(|(of, _)| *of == index).map_or(0, |(_, column)| column);
            let (own, back) = in_own_units(term, observations, foremost)?;
            let (levels, labels) = numbered(&term.group_of);
            let layout = TermLayout {
                name: term.name.clone(),
                size: own.len().max(1),
                correlated: term.correlated,
                first: parameters,
                levels: labels,
                back,
            };
            parameters += layout.parameters();
            columns.push(own);
            level_of.push(levels);
            terms.push(layout);
        }
        let layout = Layout { terms, groups: group_labels };
        if observations < rank + 1 {
            return Err(MixedModelError::NoDegreesOfFreedom { observations, coefficients: rank });
        }
        let mut response = data.y.clone();
        let least_squares = cells.take_out(&basis, &mut response);
        let spread = length(&response);
        if spread <= NO_VARIATION * length(&data.y) {
            return Err(MixedModelError::NoVariation);
        }
        let unit = spread / (observations as f64).sqrt();
        response.iter_mut().for_each(|y| *y /= unit);

        let untouched = Untouched { count: 0, products: Matrix::zeros(rank + 1, rank + 1) };
        let mut design = Self {
            untouched: vec![untouched; layout.groups.len()],
            layout,
            cells,
            basis,
            observations,
            least_squares,
            unit,
            components: Vec::new(),
        };
        let mut turning = Turning::new(&mut design, columns, level_of, group_of, response);
        for members in components(&turning.level_of, observations) {
            turning.add(members);
        }
        turning.finish();
        Ok(design)
    }

    /// Fixed columns that are kept.
    pub(super) fn rank(&self) -> usize {
        self.basis.q.len()
    }

    /// The covariance matrix of a component, by row, for factors of the terms' covariance matrices and residual variances.
    pub(super) fn covariance(&self, component: &Component, factors: &[Matrix], residual: &[f64], v: &mut [f64]) {
        let rows = component.rows;
        v.fill(0.0);
        let mut along = vec![0.0; rows];
        for block in &component.blocks {
            let factor = &factors[block.term];
            for c in 0..factor.columns {
                along.fill(0.0);
                for a in c..factor.columns {
                    let weight = factor.at(a, c);
                    if weight != 0.0 {
                        add_scaled(&mut along, weight, component.columns.row(block.first + a));
                    }
                }
                for (i, x) in along.iter().enumerate() {
                    if *x != 0.0 {
                        add_scaled(&mut v[i * rows..i * rows + i + 1], *x, &along);
                    }
                }
            }
        }
        for (i, group) in component.groups.iter().enumerate() {
            v[i * rows + i] += residual[*group];
        }
    }
}

fn check(data: &MixedData) -> Result<usize, MixedModelError> {
    let observations = data.y.len();
    let mut lengths = vec![("the fixed columns".to_owned(), data.fixed.iter().map(Vec::len).collect::<Vec<_>>())];
    let mut numbers = vec![("the response".to_owned(), vec![&data.y])];
    numbers.push(("the fixed columns".to_owned(), data.fixed.iter().collect()));
    for term in &data.random {
        let name = format!("the random term {}", term.name);
        lengths.push((name.clone(), term.columns.iter().map(Vec::len).chain([term.group_of.len()]).collect()));
        numbers.push((name, term.columns.iter().collect()));
    }
    lengths.push(("the residual groups".to_owned(), data.residual_group.iter().map(Vec::len).collect()));
    for (what, found) in lengths {
        if let Some(found) = found.into_iter().find(|found| *found != observations) {
            return Err(MixedModelError::Lengths { what, found, expected: observations });
        }
    }
    for (what, columns) in numbers {
        // Products of two columns must still be numbers.
        if columns.into_iter().any(|column| !length(column).powi(2).is_finite()) {
            return Err(MixedModelError::NotFinite { what });
        }
    }
    if observations == 0 {
        return Err(MixedModelError::NoDegreesOfFreedom { observations, coefficients: 0 });
    }
    Ok(observations)
}

/// Labels as consecutive numbers in ascending order, and the labels.
fn numbered(labels: &[usize]) -> (Vec<usize>, Vec<usize>) {
    let mut known = labels.to_vec();
    known.sort_unstable();
    known.dedup();
    let position = |label: &usize| known.partition_point(|other| other < label);
    (labels.iter().map(position).collect(), known)
}

/// The observations of each component, in order.
fn components(level_of: &[Vec<usize>], observations: usize) -> Vec<Vec<usize>> {
    if level_of.is_empty() {
        return vec![(0..observations).collect()];
    }
    let mut parent: Vec<usize> = (0..observations).collect();
    for levels in level_of {
        let mut first: HashMap<usize, usize> = HashMap::new();
        for (observation, level) in levels.iter().enumerate() {
            let earlier = *first.entry(*level).or_insert(observation);
            let (a, b) = (root(&mut parent, earlier), root(&mut parent, observation));
            parent[a.max(b)] = a.min(b);
        }
    }
    let mut found: Vec<Vec<usize>> = Vec::new();
    let mut position = vec![usize::MAX; observations];
    for observation in 0..observations {
        let root = root(&mut parent, observation);
        if root == observation {
            position[observation] = found.len();
            found.push(Vec::new());
        }
        found[position[root]].push(observation);
    }
    found
}

fn root(parent: &mut [usize], mut of: usize) -> usize {
    while parent[of] != of {
        parent[of] = parent[parent[of]];
        of = parent[of];
    }
    of
}
