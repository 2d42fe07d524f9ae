//! Nuisance means taken out of yields and of the rates' indicators.

use super::reduced::Reduced;
use crate::stats::least_squares::{Factor, dot};

/// How the vector `z` is made from group-centred yields.
#[derive(Clone, Debug)]
pub(super) enum Projector {
    /// Rates and groups are proportional: z is √n times the mean at each rate.
    Balanced,
    /// Anything else: z = Qᵀy.
    General(Factor),
}

/// Where each observation belongs.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rows<'a> {
    /// The distinct rate of each.
    pub rate_of: &'a [usize],
    /// The group of each.
    pub group_of: &'a [usize],
    /// The plots behind each; `None` where it is one plot.
    pub weights: Option<&'a [f64]>,
}

/// Takes nuisance means out of yields that are centred by group. `pooled_ss` is a sum of squares of error from elsewhere.
pub(super) fn reduce(
    cells: &Cells,
    rates: Vec<f64>,
    centred: &[f64],
    rows: &Rows<'_>,
    pooled_ss: f64,
) -> (Projector, Reduced) {
    if cells.proportional() {
        (Projector::Balanced, balanced(cells, rates, centred, rows, pooled_ss))
    } else {
        general(cells, rates, centred, rows, pooled_ss)
    }
}

/// Each value times the root of its weight.
pub(super) fn scaled(values: &[f64], weights: &[f64]) -> Vec<f64> {
    values.iter().zip(weights).map(|(value, weight)| value * weight.sqrt()).collect()
}

/// Weighted means by group, in two passes so that a large common part costs no digits. `sizes` are the summed weights.
pub(super) fn means(values: &[f64], group_of: &[usize], sizes: &[usize], weights: Option<&[f64]>) -> Vec<f64> {
    let weight = weight_of(weights);
    let mut means = vec![0.0; sizes.len()];
    for _ in 0..2 {
        let mut sums = vec![0.0; sizes.len()];
        for (row, (value, group)) in values.iter().zip(group_of).enumerate() {
            sums[*group] += weight(row) * (value - means[*group]);
        }
        means.iter_mut().zip(sums).zip(sizes).for_each(|((mean, sum), size)| *mean += sum / *size as f64);
    }
    means
}

fn weight_of(weights: Option<&[f64]>) -> impl Fn(usize) -> f64 + '_ {
    move |row| weights.and_then(|weights| weights.get(row)).copied().unwrap_or(1.0)
}

/// How many plots each rate has in each group.
pub(super) struct Cells {
    plots: usize,
    counts: Vec<usize>,
    pub rate_sizes: Vec<usize>,
    pub group_sizes: Vec<usize>,
}

impl Cells {
    pub fn new(rate_of: &[usize], group_of: &[usize], rates: usize, groups: usize, weights: Option<&[f64]>) -> Self {
        let mut cells = Self {
            plots: 0,
            counts: vec![0; rates * groups],
            rate_sizes: vec![0; rates],
            group_sizes: vec![0; groups],
        };
        let weight = weight_of(weights);
        for (row, (rate, group)) in rate_of.iter().zip(group_of).enumerate() {
            // Weights are whole numbers.
            let plots = weight(row) as usize;
            cells.plots += plots;
            cells.counts[group * rates + rate] += plots;
            cells.rate_sizes[*rate] += plots;
            cells.group_sizes[*group] += plots;
        }
        cells
    }

    fn by_group(&self) -> impl Iterator<Item = (&[usize], usize)> {
        self.counts.chunks_exact(self.rate_sizes.len()).zip(self.group_sizes.iter().copied())
    }

    /// Whether every group holds the rates in the same proportions.
    fn proportional(&self) -> bool {
        let product = |a: usize, b: usize| a as u128 * b as u128;
        self.by_group().all(|(counts, size)| {
            let mut cells = counts.iter().zip(&self.rate_sizes);
            cells.all(|(count, rate_size)| product(*count, self.plots) == product(size, *rate_size))
        })
    }

    pub fn rate_weights(&self) -> Vec<f64> {
        let mut weights = vec![0.0; self.rate_sizes.len()];
        let groups = self.group_sizes.len() as f64;
        for (counts, size) in self.by_group() {
            weights.iter_mut().zip(counts).for_each(|(w, count)| *w += *count as f64 / size as f64 / groups);
        }
        weights
    }
}

/// √n times the mean at each rate of yields that are centred by group.
pub(super) fn balanced_z(counts: &[usize], centred: &[f64], rate_of: &[usize], weights: Option<&[f64]>) -> Vec<f64> {
    let mut z = vec![0.0; counts.len()];
    match weights {
        None => centred.iter().zip(rate_of).for_each(|(y, rate)| z[*rate] += y),
        Some(weights) => centred.iter().zip(rate_of).zip(weights).for_each(|((y, rate), w)| z[*rate] += w * y),
    }
    z.iter_mut().zip(counts).for_each(|(sum, count)| *sum /= (*count as f64).sqrt());
    z
}

/// The reduction where rates and groups are proportional: `R` is diag(√nᵣ)·(I − 1·wᵀ) with w = nᵣ/n.
fn balanced(cells: &Cells, rates: Vec<f64>, centred: &[f64], rows: &Rows<'_>, pooled_ss: f64) -> Reduced {
    let roots: Vec<f64> = cells.rate_sizes.iter().map(|size| (*size as f64).sqrt()).collect();
    let z = balanced_z(&cells.rate_sizes, centred, rows.rate_of, rows.weights);
    let mut columns = Vec::with_capacity(roots.len() * roots.len());
    for (column, size) in cells.rate_sizes.iter().enumerate() {
        let weight = *size as f64 / cells.plots as f64;
        columns.extend(
            roots.iter().enumerate().map(|(row, root)| root * if row == column { 1.0 - weight } else { -weight }),
        );
    }
    let weight = weight_of(rows.weights);
    let residual = |(row, (y, rate)): (usize, (&f64, &usize))| weight(row) * (y - z[*rate] / roots[*rate]).powi(2);
    let pure_error: f64 = centred.iter().zip(rows.rate_of).enumerate().map(residual).sum();
    Reduced::new(rates, columns, z, pure_error + pooled_ss)
}

/// The reduction of any design: QR of the rates' indicators, the lowest rate left out, after group means.
fn general(cells: &Cells, rates: Vec<f64>, centred: &[f64], rows: &Rows<'_>, pooled_ss: f64) -> (Projector, Reduced) {
    let rate_count = rates.len();
    let share =
        |rate: usize, group: usize| cells.counts[group * rate_count + rate] as f64 / cells.group_sizes[group] as f64;
    let weigh = |values: Vec<f64>| match rows.weights {
        None => values,
        Some(weights) => scaled(&values, weights),
    };
    let indicator = |rate: usize| -> Vec<f64> {
        let own = rows.rate_of.iter().zip(rows.group_of);
        weigh(own.map(|(r, g)| if *r == rate { 1.0 } else { 0.0 } - share(rate, *g)).collect())
    };
    let indicators: Vec<Vec<f64>> = (1..rate_count).map(indicator).collect();
    let yields = weigh(centred.to_vec());
    // Lengths agree and every number is finite, so the factorisation cannot be refused; a refusal would count as no contrast.
    let factor = Factor::new(&indicators, yields.len()).unwrap_or_else(|_| Factor::empty(yields.len()));
    let z = factor.project(&yields);
    let residuals = factor.residuals(&yields, &z);
    let mut lowest = vec![0.0; z.len()];
    let mut above = Vec::with_capacity(z.len() * rate_count);
    for column in 0..rate_count - 1 {
        let coordinates = factor.coordinates(column);
        lowest.iter_mut().zip(coordinates).for_each(|(sum, entry)| *sum -= entry);
        above.extend_from_slice(coordinates);
    }
    lowest.extend(above);
    let reduced = Reduced::new(rates, lowest, z, dot(&residuals, &residuals) + pooled_ss);
    (Projector::General(factor), reduced)
}
