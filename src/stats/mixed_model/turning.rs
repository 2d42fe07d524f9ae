//! Turns the observations of a component so that its random effects touch few of them.
//!
//! Within a group of one residual variance the errors' covariance is a multiple of the unit matrix, before a rotation and after it. Rotated
//! onto the columns of the random effects, at most as many observations as there are effects carry them. The others carry nothing but
//! residual variance and enter as sums of products, once for all components.
//!
//! Components with the same rows of fixed and random columns, such as all site-years in which no plot was lost, are one *shape*: only their
//! responses differ, and V is factored once for all of them.

use super::basis::Basis;
use super::dense::{Matrix, add_scaled, inner};
use super::design::{Block, Component, Design};
use super::layout::Layout;
use std::collections::HashMap;

/// Of a random effect's column within a component, what rounding may leave beside others that span it.
const TURN_TOLERANCE: f64 = 1e-13;

/// Turns one component after the other.
pub(super) struct Turning<'a> {
    design: &'a mut Design,
    /// Each random term's columns in units of their own.
    columns: Vec<Vec<Vec<f64>>>,
    pub(super) level_of: Vec<Vec<usize>>,
    group_of: Vec<usize>,
    response: Vec<f64>,
    /// The block of each level of each term in its component, once it is known.
    block_of: Vec<Vec<usize>>,
    shapes: HashMap<Vec<usize>, usize>,
    turns: Vec<Vec<Turn>>,
    /// The turned responses of each shape, copy after copy.
    responses: Vec<Vec<f64>>,
}

/// The rotation of the observations of one group in one shape.
struct Turn {
    group: usize,
    /// How many observations it turns.
    members: usize,
    onto: Basis,
    /// What the random effects do not touch of the fixed columns, and of the responses of all copies together.
    fixed: Vec<Vec<f64>>,
    response: Vec<f64>,
}

impl<'a> Turning<'a> {
    pub(super) fn new(
        design: &'a mut Design,
        columns: Vec<Vec<Vec<f64>>>,
        level_of: Vec<Vec<usize>>,
        group_of: Vec<usize>,
        response: Vec<f64>,
    ) -> Self {
        Self {
            block_of: design.layout.terms.iter().map(|term| vec![usize::MAX; term.levels.len()]).collect(),
            design,
            columns,
            level_of,
            group_of,
            response,
            shapes: HashMap::new(),
            turns: Vec::new(),
            responses: Vec::new(),
        }
    }

    /// Adds the component of these observations.
    pub(super) fn add(&mut self, mut members: Vec<usize>) {
        // In an order of their own, so that the shape does not depend on the order of the rows.
        members.sort_by(|a, b| {
            let levels = self.level_of.iter().map(|levels| levels[*a].cmp(&levels[*b]));
            let by_group = self.group_of[*a].cmp(&self.group_of[*b]);
            let by_level = levels.fold(by_group, std::cmp::Ordering::then);
            by_level.then(self.design.cells.of[*a].cmp(&self.design.cells.of[*b]))
        });
        let mut blocks: Vec<Block> = Vec::new();
        let mut of_blocks = Vec::new();
        let mut effects = 0;
        let mut shape = Vec::with_capacity(members.len() * (2 + self.level_of.len()));
        for member in &members {
            shape.extend([self.group_of[*member], self.design.cells.of[*member]]);
            for (term, levels) in self.level_of.iter().enumerate() {
                let block = &mut self.block_of[term][levels[*member]];
                if *block == usize::MAX {
                    *block = blocks.len();
                    blocks.push(Block { term, first: effects });
                    of_blocks.push(levels[*member]);
                    effects += self.design.layout.terms[term].size;
                }
                shape.push(*block);
            }
        }
        let known = self.shapes.get(&shape).copied();
        let index = known.unwrap_or_else(|| {
            self.shapes.insert(shape, self.turns.len());
            self.add_shape(&members, blocks, effects);
            self.turns.len() - 1
        });
        self.design.components[index].copies.push(of_blocks);
        let mut of_group = members.as_slice();
        for turn in &mut self.turns[index] {
            let (own, rest) = of_group.split_at(turn.members);
            of_group = rest;
            let mut response: Vec<f64> = own.iter().map(|i| self.response[*i]).collect();
            self.responses[index].extend(turn.onto.take_out(&mut response));
            let rank = self.design.basis.q.len();
            let untouched = &mut self.design.untouched[turn.group];
            if own.len() > turn.onto.q.len() {
                untouched.count += own.len() - turn.onto.q.len();
                untouched.products.values[rank * (rank + 1) + rank] += inner(&response, &response);
                add_scaled(&mut turn.response, 1.0, &response);
            }
        }
    }

    fn add_shape(&mut self, members: &[usize], blocks: Vec<Block>, effects: usize) {
        let design = &mut *self.design;
        let rank = design.basis.q.len();
        let mut turned: Vec<Vec<f64>> = vec![Vec::new(); effects + rank];
        let mut groups = Vec::new();
        let mut turns = Vec::new();
        // Terms with few levels first: theirs are the variances that may be large, as of site-years beside plots, and only the first
        // turned observations then carry them. Elsewhere a small variance would be lost in the rounding of a large one.
        let levels = |block: &&Block| design.layout.terms[block.term].levels.len();
        let mut by_size: Vec<&Block> = blocks.iter().collect();
        by_size.sort_by_key(levels);
        let of_block = |block: &Block| block.first..block.first + design.layout.terms[block.term].size;
        let order: Vec<usize> = by_size.into_iter().flat_map(of_block).collect();
        for own in members.chunk_by(|a, b| self.group_of[*a] == self.group_of[*b]) {
            let group = own.first().map_or(0, |member| self.group_of[*member]);
            let mut random = vec![vec![0.0; own.len()]; effects];
            for (position, member) in own.iter().enumerate() {
                for (term, levels) in self.level_of.iter().enumerate() {
                    let first = blocks[self.block_of[term][levels[*member]]].first;
                    match self.columns[term].as_slice() {
                        [] => random[first][position] = 1.0,
                        own => own.iter().enumerate().for_each(|(i, c)| random[first + i][position] = c[*member]),
                    }
                }
            }
            let ordered: Vec<Vec<f64>> = order.iter().map(|effect| std::mem::take(&mut random[*effect])).collect();
            let onto = Basis::new(&ordered, TURN_TOLERANCE);
            for (effect, coordinates) in order.iter().zip(&onto.coordinates) {
                turned[*effect].extend(coordinates);
            }
            let gather = |column: &Vec<f64>| own.iter().map(|i| column[design.cells.of[*i]]).collect();
            let mut fixed: Vec<Vec<f64>> = design.basis.q.iter().map(gather).collect();
            for (to, left) in turned[effects..].iter_mut().zip(&mut fixed) {
                to.extend(onto.take_out(left));
            }
            groups.extend(std::iter::repeat_n(group, onto.q.len()));
            turns.push(Turn { group, members: own.len(), onto, fixed, response: vec![0.0; own.len()] });
        }
        let columns = Matrix { columns: groups.len(), values: turned.concat() };
        let places = places(&design.layout, &blocks, &groups, effects);
        let copies = Vec::new();
        design.components.push(Component { rows: groups.len(), effects, blocks, copies, columns, groups, places });
        self.turns.push(turns);
        self.responses.push(Vec::new());
    }

    /// Brings together what all copies of a shape share.
    pub(super) fn finish(self) {
        let rank = self.design.basis.q.len();
        for ((component, turns), responses) in self.design.components.iter_mut().zip(&self.turns).zip(&self.responses) {
            component.columns.values.extend(responses);
            let copies = component.copies.len() as f64;
            for turn in turns.iter().filter(|turn| turn.members > turn.onto.q.len()) {
                let products = &mut self.design.untouched[turn.group].products;
                for (i, column) in turn.fixed.iter().enumerate() {
                    let with_response = inner(column, &turn.response);
                    products.values[i * (rank + 1) + rank] += with_response;
                    products.values[rank * (rank + 1) + i] += with_response;
                    for (j, other) in turn.fixed.iter().enumerate() {
                        products.values[i * (rank + 1) + j] += copies * inner(column, other);
                    }
                }
            }
        }
        self.design.components.retain(|component| component.effects > 0);
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
