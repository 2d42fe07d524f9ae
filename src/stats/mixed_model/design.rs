//! A mixed model's data, checked, brought to units of its own and cut into pieces that share no random effect.
//!
//! The response is taken as what the fixed columns leave of it, in units of its own spread, and the fixed columns as an orthonormal
//! basis of them: neither shift nor scale of anything then costs digits. Observations that share a level of a random term, directly
//! or through others, form a *component*; the covariance matrix is block diagonal over components. Within a component and a group of
//! one residual variance the observations are turned so that the random effects touch only the first few of them, at most as many as
//! there are random effects (their covariance is a multiple of the unit matrix before and after). The others carry nothing but
//! residual variance and enter as sums of products, once for all components.

use super::basis::{Basis, length};
use super::dense::{Matrix, add_scaled};
use super::layout::{Layout, TermLayout, in_own_units};
use super::{MixedData, MixedModelError};
use std::collections::HashMap;

/// Of a fixed column, what is left beside earlier ones if it counts as spanned by them.
const FIXED_TOLERANCE: f64 = 1e-10;
/// Of a random effect's column within a component, what rounding may leave beside others that span it.
const TURN_TOLERANCE: f64 = 1e-13;
/// What of the response is left by fixed columns that fit it without error.
const NO_VARIATION: f64 = 1e-13;

/// The problem in its own units.
#[derive(Clone, Debug)]
pub(super) struct Design {
    pub(super) layout: Layout,
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

/// Turned observations that share random effects.
#[derive(Clone, Debug)]
pub(super) struct Component {
    /// How many there are.
    pub(super) rows: usize,
    /// How many random effects.
    pub(super) effects: usize,
    /// Which random effects: a level of a term each, its coefficients one after the other.
    pub(super) blocks: Vec<Block>,
    /// A *row* each: the columns of the random effects, then the fixed columns, then the response.
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
    /// Position among the term's levels.
    pub(super) level: usize,
    /// Position of its first coefficient among the component's random effects.
    pub(super) first: usize,
}

impl Design {
    /// Checks and prepares; `first` names a coefficient of a correlated term (term, column) to stand first in its covariance factor.
    pub(super) fn new(data: &MixedData, first: Option<(usize, usize)>) -> Result<Self, MixedModelError> {
        let observations = check(data)?;
        let basis = Basis::new(&data.fixed, FIXED_TOLERANCE);
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
        let least_squares = basis.take_out(&mut response);
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
            basis,
            observations,
            least_squares,
            unit,
            components: Vec::new(),
        };
        for members in components(&level_of, observations) {
            design.add_component(&members, &columns, &level_of, &group_of, &response);
        }
        Ok(design)
    }

    /// Fixed columns that are kept.
    pub(super) fn rank(&self) -> usize {
        self.basis.q.len()
    }

    fn add_component(
        &mut self,
        members: &[usize],
        columns: &[Vec<Vec<f64>>],
        level_of: &[Vec<usize>],
        group_of: &[usize],
        response: &[f64],
    ) {
        let mut blocks: Vec<Block> = Vec::new();
        let mut effects = 0;
        let mut block_of: HashMap<(usize, usize), usize> = HashMap::new();
        for (term, levels) in level_of.iter().enumerate() {
            for member in members {
                block_of.entry((term, levels[*member])).or_insert_with(|| {
                    blocks.push(Block { term, level: levels[*member], first: effects });
                    effects += self.layout.terms[term].size;
                    blocks.len() - 1
                });
            }
        }
        let mut sorted = members.to_vec();
        sorted.sort_by_key(|member| group_of[*member]);
        let rank = self.rank();
        let mut turned: Vec<Vec<f64>> = vec![Vec::new(); effects + rank + 1];
        let mut groups = Vec::new();
        for of_group in sorted.chunk_by(|a, b| group_of[*a] == group_of[*b]) {
            let group = of_group.first().map_or(0, |member| group_of[*member]);
            let mut random = vec![vec![0.0; of_group.len()]; effects];
            for (position, member) in of_group.iter().enumerate() {
                for (term, levels) in level_of.iter().enumerate() {
                    let first = blocks[block_of[&(term, levels[*member])]].first;
                    match columns[term].as_slice() {
                        [] => random[first][position] = 1.0,
                        own => own.iter().enumerate().for_each(|(i, c)| random[first + i][position] = c[*member]),
                    }
                }
            }
            let turn = Basis::new(&random, TURN_TOLERANCE);
            turned.iter_mut().zip(&turn.coordinates).for_each(|(to, coordinates)| to.extend(coordinates));
            let given = self.basis.q.iter().map(Vec::as_slice).chain([response]);
            let mut rest: Vec<Vec<f64>> = given.map(|column| of_group.iter().map(|i| column[*i]).collect()).collect();
            for (to, left) in turned[effects..].iter_mut().zip(&mut rest) {
                to.extend(turn.take_out(left));
            }
            groups.extend(std::iter::repeat_n(group, turn.q.len()));
            let untouched = &mut self.untouched[group];
            untouched.count += of_group.len() - turn.q.len();
            if of_group.len() > turn.q.len() {
                for i in 0..=rank {
                    for j in 0..=rank {
                        untouched.products.values[i * (rank + 1) + j] += super::dense::inner(&rest[i], &rest[j]);
                    }
                }
            }
        }
        if effects == 0 {
            return;
        }
        let rows = groups.len();
        let columns = Matrix { columns: rows, values: turned.concat() };
        let places = places(&self.layout, &blocks, &groups, effects);
        self.components.push(Component { rows, effects, blocks, columns, groups, places });
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

/// Where each variance parameter stands in a component.
fn places(layout: &Layout, blocks: &[Block], groups: &[usize], effects: usize) -> Vec<(usize, Vec<(usize, usize)>)> {
    let mut places: Vec<(usize, Vec<(usize, usize)>)> = Vec::new();
    let mut position: HashMap<usize, usize> = HashMap::new();
    let mut add = |parameter: usize, place: (usize, usize)| {
        let at = *position.entry(parameter).or_insert_with(|| {
            places.push((parameter, Vec::new()));
            places.len() - 1
        });
        places[at].1.push(place);
    };
    for block in blocks {
        for (parameter, i, j) in layout.terms[block.term].entries() {
            let (a, b) = (block.first + i, block.first + j);
            add(parameter, (a, b));
            if a != b {
                add(parameter, (b, a));
            }
        }
    }
    for (row, group) in groups.iter().enumerate() {
        add(layout.residual(*group), (effects + row, effects + row));
    }
    places
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
