//! Least squares with groups (blocks, main plots) swept out beforehand: for unbalanced designs of one error stratum, and for the residuals
//! of the finest stratum of any design.

use super::engine::{Engine, Estimate, Test};
use super::terms::Cells;
use crate::stats::distribution::f_survival;
use crate::stats::least_squares::{Factor, dot};

/// A column counts as spanned by others if this little of its length is left beside them.
const SPANNED: f64 = 1e-9;
/// A residual sum of squares that is this little of the total is rounding.
const ROUNDING: f64 = 1e-24;

/// Plots in groups that are taken as they are.
#[derive(Clone, Debug)]
pub(super) struct Groups {
    of: Vec<usize>,
    sizes: Vec<f64>,
}

impl Groups {
    /// The groups of `plots` plots; all are one without labels. A group may be empty.
    pub(super) fn new(of: Option<&[usize]>, plots: usize) -> Self {
        let of = of.map_or_else(|| vec![0; plots], <[usize]>::to_vec);
        let mut sizes = vec![0.0; of.iter().max().map_or(0, |last| last + 1)];
        of.iter().filter_map(|group| sizes.get_mut(*group).map(|size| *size += 1.0)).for_each(drop);
        Self { of, sizes }
    }

    /// The number of groups with a plot.
    pub(super) fn number(&self) -> usize {
        self.sizes.iter().filter(|size| **size > 0.0).count()
    }

    /// The mean of each group; 0 of an empty one.
    pub(super) fn means(&self, values: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.sizes.len()];
        for (value, group) in values.iter().zip(&self.of) {
            if let Some(sum) = sums.get_mut(*group) {
                *sum += value;
            }
        }
        sums.iter().zip(&self.sizes).map(|(sum, size)| if *size > 0.0 { sum / size } else { 0.0 }).collect()
    }

    /// Subtracts the means of the groups, which it returns. Done twice, so that what is left sums to zero in them but for the last digit.
    pub(super) fn sweep(&self, values: &mut [f64]) -> Vec<f64> {
        let mut means = vec![0.0; self.sizes.len()];
        for _ in 0..2 {
            let left = self.means(values);
            for (value, group) in values.iter_mut().zip(&self.of) {
                *value -= left.get(*group).copied().unwrap_or(0.0);
            }
            means.iter_mut().zip(left).for_each(|(mean, more)| *mean += more);
        }
        means
    }

    /// A column as its group means and what is left of it; the latter exactly zero where it lies in the groups but for rounding.
    pub(super) fn apart(&self, mut column: Vec<f64>) -> (Vec<f64>, Vec<f64>) {
        let before = dot(&column, &column);
        let means = self.sweep(&mut column);
        if dot(&column, &column) <= SPANNED * SPANNED * before {
            column.fill(0.0);
        }
        (means, column)
    }

    /// Mean over groups of what they are, and the variance of a mean of group means in units of the error variance.
    fn average(&self, means: &[f64]) -> (f64, f64) {
        let number = self.number().max(1) as f64;
        let of_filled = means.iter().zip(&self.sizes).filter(|(_, size)| **size > 0.0);
        let mean = of_filled.map(|(mean, _)| mean).sum::<f64>() / number;
        let variance = self.sizes.iter().filter(|size| **size > 0.0).map(|size| 1.0 / size).sum::<f64>();
        (mean, variance / (number * number))
    }

    /// The group of each plot.
    pub(super) fn labels(&self) -> &[usize] {
        &self.of
    }

    /// The plots in the group of one.
    pub(super) fn size_at(&self, row: usize) -> f64 {
        self.of.get(row).and_then(|group| self.sizes.get(*group)).copied().unwrap_or(1.0)
    }
}

/// Orthonormal vectors that span what `columns` hold beyond `basis`, which is orthonormal. Each is cleared twice of all before it
/// (Giraud, Langou & Rozložník 2005, Comput. Math. Appl. 50:1069-1075, from memory: twice is enough).
pub(super) fn beyond(basis: &[Vec<f64>], columns: &[Vec<f64>]) -> Vec<Vec<f64>> {
    beyond_with_lengths(basis, columns).0
}

/// The same, with what was left of each column's length before it was brought to 1.
pub(super) fn beyond_with_lengths(basis: &[Vec<f64>], columns: &[Vec<f64>]) -> (Vec<Vec<f64>>, Vec<f64>) {
    let mut new: Vec<Vec<f64>> = Vec::new();
    let mut lengths = Vec::new();
    for column in columns {
        let before = dot(column, column).sqrt();
        let mut left = column.clone();
        for _ in 0..2 {
            for one in basis.iter().chain(&new) {
                let shared = dot(one, &left);
                left.iter_mut().zip(one).for_each(|(value, q)| *value -= shared * q);
            }
        }
        let length = dot(&left, &left).sqrt();
        if length > SPANNED * before {
            left.iter_mut().for_each(|value| *value /= length);
            new.push(left);
            lengths.push(length);
        }
    }
    (new, lengths)
}

/// A least-squares fit of treatment columns within groups.
#[derive(Clone, Debug)]
pub(super) struct LinearFit {
    groups: Groups,
    /// Mean of the observations in each group.
    group_means: Vec<f64>,
    /// Mean of each column in each group, averaged over groups.
    column_averages: Vec<f64>,
    /// Observations minus group means.
    pub(super) within: Vec<f64>,
    /// Columns minus group means, term after term.
    pub(super) columns: Vec<Vec<f64>>,
    factor: Factor,
    coefficients: Vec<f64>,
    /// Observed minus fitted.
    pub(super) residuals: Vec<f64>,
    /// Residual degrees of freedom.
    pub(super) df: usize,
    /// Residual sum of squares; exactly 0 where it is rounding.
    pub(super) rss: f64,
    /// The columns over the cells, in the order of `columns`, for estimates.
    over_cells: Vec<Vec<f64>>,
}

impl LinearFit {
    /// Fits observations. `nuisance` are columns over plots beside the groups; `over_cells` those of the treatments.
    pub(super) fn new(
        yields: &[f64],
        groups: Groups,
        nuisance: &[Vec<f64>],
        cells: &Cells,
        over_cells: Vec<Vec<f64>>,
    ) -> Option<Self> {
        // The first value taken off is exact for values that agree in their leading digits.
        let origin = yields.first().copied()?;
        let mut within: Vec<f64> = yields.iter().map(|value| value - origin).collect();
        let mut group_means = groups.sweep(&mut within);
        group_means.iter_mut().for_each(|mean| *mean += origin);
        let at_plots = over_cells.iter().map(|column| cells.at_plots(column));
        let (column_averages, columns): (Vec<f64>, Vec<Vec<f64>>) = nuisance
            .iter()
            .cloned()
            .chain(at_plots)
            .map(|column| {
                let (means, within) = groups.apart(column);
                (groups.average(&means).0, within)
            })
            .unzip();
        let factor = Factor::new(&columns, yields.len()).ok()?;
        let projected = factor.project(&within);
        let coefficients = factor.solve(&projected).into_iter().map(|one| one.unwrap_or(0.0)).collect();
        let residuals = factor.residuals(&within, &projected);
        let again = factor.project(&residuals);
        let residuals = factor.residuals(&residuals, &again);
        let rss = dot(&residuals, &residuals);
        let df = yields.len().checked_sub(groups.number() + factor.rank())?;
        let rss = if rss <= ROUNDING * dot(&within, &within) { 0.0 } else { rss };
        let over_cells = vec![Vec::new(); nuisance.len()].into_iter().chain(over_cells).collect();
        Some(Self {
            groups,
            group_means,
            column_averages,
            within,
            columns,
            factor,
            coefficients,
            residuals,
            df,
            rss,
            over_cells,
        })
    }

    /// The residual mean square; `None` without degrees of freedom or where nothing but rounding is left.
    pub(super) fn mean_square(&self) -> Option<f64> {
        (self.df > 0 && self.rss > 0.0).then(|| self.rss / self.df as f64)
    }

    /// How far each fitted value follows its observation.
    pub(super) fn leverages(&self) -> Vec<f64> {
        let mut leverages: Vec<f64> = (0..self.within.len()).map(|row| 1.0 / self.groups.size_at(row)).collect();
        for column in self.factor.basis() {
            leverages.iter_mut().zip(column).for_each(|(leverage, q)| *leverage += q * q);
        }
        leverages.into_iter().map(|leverage| leverage.min(1.0)).collect()
    }

    /// The contrast of the coefficients that weights over the cells make, the weight of the mean level taken off.
    fn contrast(&self, weights: &[f64], total: f64) -> Vec<f64> {
        let averages = self.column_averages.iter();
        self.over_cells.iter().zip(averages).map(|(column, average)| dot(column, weights) - total * average).collect()
    }
}

impl Engine for LinearFit {
    fn estimate(&self, weights: &[f64]) -> Option<Estimate> {
        let total: f64 = clean_sum(weights);
        let contrast = self.contrast(weights, total);
        let whitened = self.factor.whitened(&contrast)?;
        let (level, variance) = self.groups.average(&self.group_means);
        let factor = total * total * variance + dot(&whitened, &whitened);
        let mean_square = self.mean_square();
        Some(Estimate {
            estimate: total * level + dot(&contrast, &self.coefficients),
            standard_error: mean_square.map(|mean_square| (mean_square * factor).sqrt()),
            df: mean_square.map(|_| self.df as f64),
        })
    }

    fn test(&self, rows: &[Vec<f64>]) -> Option<Test> {
        let whitened: Option<Vec<Vec<f64>>> =
            rows.iter().map(|row| self.factor.whitened(&self.contrast(row, clean_sum(row)))).collect();
        let basis = beyond(&[], &whitened?);
        let projected = self.factor.project(&self.within);
        let ss: f64 = basis.iter().map(|one| dot(one, &projected).powi(2)).sum();
        let (df1, df2) = (basis.len(), self.df as f64);
        let f = ss / df1 as f64 / self.mean_square()?;
        Some(Test { f, df1, df2, p: f_survival(f, df1 as f64, df2)? })
    }
}

/// The sum of weights, exactly 0 where it is rounding.
pub(super) fn clean_sum(weights: &[f64]) -> f64 {
    let size: f64 = weights.iter().map(|weight| weight.abs()).sum();
    let sum: f64 = weights.iter().sum();
    if sum.abs() <= 1e-12 * size { 0.0 } else { sum }
}

/// A column of zeros and ones for each unit.
pub(super) fn indicators(of: &[usize]) -> Vec<Vec<f64>> {
    let number = of.iter().max().map_or(0, |last| last + 1);
    (0..number).map(|unit| of.iter().map(|one| f64::from(u8::from(*one == unit))).collect()).collect()
}
