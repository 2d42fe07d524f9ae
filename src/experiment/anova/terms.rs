//! Effects of the treatments: which there are, and the columns that code them.
//!
//! Every factor is coded by orthonormal columns that sum to zero over its levels, so that an estimated marginal mean, in which the levels
//! of other factors weigh alike, takes no part of their columns. A quantity is coded by the orthogonal polynomials of its rates: the
//! columns of its effect then are its linear, quadratic and higher parts.

use super::experiment::{Experiment, Factor};
use crate::stats::orthogonal_polynomials::orthogonal_polynomials;

/// Factors of one experiment, at most: the cells of their combinations are listed.
pub(super) const MOST_FACTORS: usize = 5;
/// Combinations of levels, at most: their columns are held side by side.
pub(super) const MOST_CELLS: usize = 1_000;

/// An effect: a set of factors, with its columns over the cells.
#[derive(Clone, Debug)]
pub(super) struct Term {
    /// Positions among the treatments, ascending.
    pub(super) factors: Vec<usize>,
    /// *variety × N rate*.
    pub(super) name: String,
    /// One column a degree of freedom, over the cells.
    pub(super) columns: Vec<Vec<f64>>,
    /// The same effect coded by its levels, the first of each factor left out.
    pub(super) by_level: Vec<Vec<f64>>,
    /// Of an effect with exactly one quantity, the polynomial degree of each column.
    pub(super) degrees: Option<Vec<usize>>,
}

/// A part of an effect by the polynomial degree of its quantity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    /// *linear*, *variety × quadratic*, *lack of fit*.
    pub(super) name: String,
    /// Its columns among those of the term.
    pub(super) columns: std::ops::Range<usize>,
}

impl Term {
    /// Whether it contains all factors of `other`, and more.
    pub(super) fn contains(&self, other: &Term) -> bool {
        self.factors.len() > other.factors.len() && other.factors.iter().all(|factor| self.factors.contains(factor))
    }

    /// Linear, quadratic and what neither explains, where the effect has one quantity with three levels or more.
    pub(super) fn parts(&self, treatments: &[Factor]) -> Vec<Part> {
        let Some(degrees) = &self.degrees else { return Vec::new() };
        if degrees.iter().max().is_none_or(|highest| *highest < 2) {
            return Vec::new();
        }
        let others: Vec<&str> = self
            .factors
            .iter()
            .filter_map(|factor| treatments.get(*factor))
            .filter(|factor| factor.rates.is_none())
            .map(|factor| factor.name.as_str())
            .collect();
        let named = |part: &str| others.iter().copied().chain([part]).collect::<Vec<_>>().join(" × ");
        let up_to = |degree: usize| degrees.iter().filter(|one| **one <= degree).count();
        let bounds =
            [("linear", 0, up_to(1)), ("quadratic", up_to(1), up_to(2)), ("lack of fit", up_to(2), degrees.len())];
        bounds
            .into_iter()
            .filter(|(_, from, to)| from < to)
            .map(|(part, from, to)| Part { name: named(part), columns: from..to })
            .collect()
    }
}

/// The combinations of treatment levels and the effects on them.
#[derive(Clone, Debug)]
pub(super) struct Cells {
    /// Levels of each factor.
    pub(super) sizes: Vec<usize>,
    /// The cell of each observation.
    pub(super) cell_of: Vec<usize>,
    /// Observations in each cell.
    pub(super) counts: Vec<usize>,
    /// Effects, main effects first.
    pub(super) terms: Vec<Term>,
}

impl Cells {
    /// Lays out the cells of an experiment with at most [`MOST_FACTORS`] factors.
    pub(super) fn of(experiment: &Experiment) -> Self {
        let sizes: Vec<usize> = experiment.treatments.iter().map(|factor| factor.levels.len()).collect();
        let number: usize = sizes.iter().product();
        let cell_of: Vec<usize> = (0..experiment.plots())
            .map(|row| {
                let level = |factor: &Factor| factor.level_of.get(row).copied().unwrap_or(0);
                experiment.treatments.iter().zip(&sizes).fold(0, |cell, (factor, size)| cell * size + level(factor))
            })
            .collect();
        let mut counts = vec![0; number];
        cell_of.iter().filter_map(|cell| counts.get_mut(*cell).map(|count| *count += 1)).for_each(drop);
        let coded: Vec<Vec<Vec<f64>>> = experiment.treatments.iter().map(coding).collect();
        let mut cells = Self { sizes, cell_of, counts, terms: Vec::new() };
        let mut sets: Vec<Vec<usize>> = (1_usize..1 << experiment.treatments.len())
            .map(|mask| (0..experiment.treatments.len()).filter(|factor| mask >> factor & 1 == 1).collect())
            .collect();
        sets.sort_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.cmp(b)));
        cells.terms = sets.into_iter().map(|factors| cells.term(factors, &experiment.treatments, &coded)).collect();
        cells
    }

    /// The number of cells.
    pub(super) fn number(&self) -> usize {
        self.counts.len()
    }

    /// The level of a factor in a cell.
    pub(super) fn level(&self, cell: usize, factor: usize) -> usize {
        let below: usize = self.sizes.iter().skip(factor + 1).product();
        cell / below.max(1) % self.sizes.get(factor).copied().unwrap_or(1).max(1)
    }

    /// A column over the cells at each observation.
    pub(super) fn at_plots(&self, column: &[f64]) -> Vec<f64> {
        self.cell_of.iter().map(|cell| column.get(*cell).copied().unwrap_or(0.0)).collect()
    }

    /// Whether a cell has these levels of these factors.
    pub(super) fn is_at(&self, cell: usize, factors: &[usize], levels: &[usize]) -> bool {
        factors.iter().zip(levels).all(|(factor, level)| self.level(cell, *factor) == *level)
    }

    fn term(&self, factors: Vec<usize>, treatments: &[Factor], coded: &[Vec<Vec<f64>>]) -> Term {
        let quantity = |factor: &&usize| treatments.get(**factor).is_some_and(|factor| factor.rates.is_some());
        let quantities = factors.iter().filter(quantity).count();
        // Every combination of a column of each factor, with the degree of the quantity among them.
        let mut columns: Vec<(usize, Vec<f64>)> = vec![(0, vec![1.0; self.number()])];
        for factor in &factors {
            let is_quantity = quantity(&factor);
            let mut product = Vec::new();
            for (degree, column) in &columns {
                for (position, code) in coded.get(*factor).into_iter().flatten().enumerate() {
                    let value = |(cell, value): (usize, &f64)| {
                        value * code.get(self.level(cell, *factor)).copied().unwrap_or(0.0)
                    };
                    let degree = if is_quantity { position + 1 } else { *degree };
                    product.push((degree, column.iter().enumerate().map(value).collect()));
                }
            }
            columns = product;
        }
        let by_level = (0..self.number()).filter(|cell| factors.iter().all(|factor| self.level(*cell, *factor) > 0));
        let mut combinations: Vec<Vec<usize>> =
            by_level.map(|cell| factors.iter().rev().map(|factor| self.level(cell, *factor)).collect()).collect();
        combinations.sort_unstable();
        combinations.dedup();
        let indicator = |levels: &Vec<usize>| {
            let at = |cell: usize| {
                factors.iter().rev().zip(levels).all(|(factor, level)| self.level(cell, *factor) == *level)
            };
            (0..self.number()).map(|cell| f64::from(u8::from(at(cell)))).collect()
        };
        let by_level = combinations.iter().map(indicator).collect();
        // The parts of a quantity stand together.
        columns.sort_by_key(|(degree, _)| if quantities == 1 { *degree } else { 0 });
        let name = factors.iter().filter_map(|factor| treatments.get(*factor)).map(|factor| factor.name.as_str());
        Term {
            name: name.collect::<Vec<_>>().join(" × "),
            degrees: (quantities == 1).then(|| columns.iter().map(|(degree, _)| *degree).collect()),
            by_level,
            columns: columns.into_iter().map(|(_, column)| column).collect(),
            factors,
        }
    }
}

/// Orthonormal columns over the levels of a factor, each of sum zero.
pub(super) fn coding(factor: &Factor) -> Vec<Vec<f64>> {
    let number = factor.levels.len();
    if let Some(rates) = &factor.rates {
        return orthogonal_polynomials(rates, &vec![1.0; number], number.saturating_sub(1)).unwrap_or_default();
    }
    // Helmert: each level against the mean of those before it.
    (1..number)
        .map(|level| {
            let length = ((level * (level + 1)) as f64).sqrt();
            (0..number)
                .map(|one| match one.cmp(&level) {
                    std::cmp::Ordering::Less => -1.0 / length,
                    std::cmp::Ordering::Equal => level as f64 / length,
                    std::cmp::Ordering::Greater => 0.0,
                })
                .collect()
        })
        .collect()
}
