//! Observations with the same fixed and random columns, such as all plots of one treatment, are one *cell*: what concerns the columns
//! alone is done once a cell.

use super::MixedData;
use super::basis::Basis;
use std::collections::HashMap;

/// The cells.
#[derive(Clone, Debug)]
pub(super) struct Cells {
    /// The cell of each observation.
    pub(super) of: Vec<usize>,
    /// An observation of each cell.
    pub(super) first: Vec<usize>,
    /// How many each has.
    counts: Vec<f64>,
}

impl Cells {
    pub(super) fn new(data: &MixedData) -> Self {
        let random = data.random.iter().flat_map(|term| &term.columns);
        let columns: Vec<&Vec<f64>> = data.fixed.iter().chain(random).collect();
        let mut of_hash: HashMap<u64, usize> = HashMap::new();
        let mut cells = Self { of: Vec::with_capacity(data.y.len()), first: Vec::new(), counts: Vec::new() };
        for i in 0..data.y.len() {
            // Multiplied and turned as Fowler, Noll and Vo's hash. Of different rows with the same, the later is a cell of its own.
            let mix = |hash: u64, column: &&Vec<f64>| {
                (hash ^ column[i].to_bits()).wrapping_mul(0x0100_0000_01b3).rotate_left(23)
            };
            let hash = columns.iter().fold(0xcbf2_9ce4_8422_2325, mix);
            let known = *of_hash.entry(hash).or_insert(cells.first.len());
            let is_it = |first: &usize| columns.iter().all(|column| column[i].to_bits() == column[*first].to_bits());
            let cell = if cells.first.get(known).is_some_and(is_it) { known } else { cells.first.len() };
            if cell == cells.first.len() {
                cells.first.push(i);
                cells.counts.push(0.0);
            }
            cells.of.push(cell);
            cells.counts[cell] += 1.0;
        }
        cells
    }

    /// An orthonormal basis of columns of all observations, its own columns given by cell.
    pub(super) fn basis(&self, columns: &[Vec<f64>], tolerance: f64) -> Basis {
        let weighted = |column: &Vec<f64>| {
            self.first.iter().zip(&self.counts).map(|(first, count)| column[*first] * count.sqrt()).collect()
        };
        let mut basis = Basis::new(&columns.iter().map(weighted).collect::<Vec<_>>(), tolerance);
        for column in &mut basis.q {
            column.iter_mut().zip(&self.counts).for_each(|(x, count)| *x /= count.sqrt());
        }
        basis
    }

    /// Takes the projection on a [`basis`](Self::basis) out of a vector of all observations, twice as [`Basis::take_out`] does.
    pub(super) fn take_out(&self, basis: &Basis, v: &mut [f64]) -> Vec<f64> {
        let mut coordinates = vec![0.0; basis.q.len()];
        for _ in 0..2 {
            let mut sums = vec![0.0; self.first.len()];
            self.of.iter().zip(v.iter()).for_each(|(cell, x)| sums[*cell] += x);
            let along: Vec<f64> = basis.q.iter().map(|q| super::dense::inner(q, &sums)).collect();
            let taken = self.combined(basis, &along);
            self.of.iter().zip(v.iter_mut()).for_each(|(cell, x)| *x -= taken[*cell]);
            super::dense::add_scaled(&mut coordinates, 1.0, &along);
        }
        coordinates
    }

    /// The combination of a basis' columns with these coordinates, by cell.
    pub(super) fn combined(&self, basis: &Basis, coordinates: &[f64]) -> Vec<f64> {
        let mut combined = vec![0.0; self.first.len()];
        for (q, coordinate) in basis.q.iter().zip(coordinates) {
            super::dense::add_scaled(&mut combined, *coordinate, q);
        }
        combined
    }
}
