//! How much leaves differ within a plot and plots within a treatment, and what that asks of the number of leaves and plots.
//!
//! A reading is treatment + block + plot + leaf, plots and leaves at random. With s² the mean square of leaves within plots (Nᵢ leaves, plots
//! i), r the residuals of the plot means from treatment and block (hᵢ the leverages), the method of moments has
//!
//! E(s²) = σ²_leaf and E(Σ rᵢ²) = (a − k)·σ²_plot + σ²_leaf·Σ (1 − hᵢ)/Nᵢ,
//!
//! a plots and k the rank of treatment and block: exact for any numbers of leaves, and the analysis of variance of a nested design where
//! they are equal (analysis of unweighted means; Searle, Casella & McCulloch 1992, *Variance Components*, from memory). The standard error of
//! the mean of p plots with n leaves each is √((σ²_plot + σ²_leaf/n)/p).

use jiff::civil::Date;

use super::index::PlotIndex;
use super::level_fit::indicators;
use crate::stats::distribution::chi_square_quantile;
use crate::stats::interval::Interval;
use crate::stats::least_squares::solve;
use crate::stats::levels::level_indices;
use crate::trial::Trial;
use crate::units::NRateUnit;

/// Numbers of leaves that a table of standard errors has.
pub const LEAF_NUMBERS: [usize; 7] = [5, 10, 15, 20, 30, 40, 60];
/// Nobody reads more leaves or lays out more plots than this: a larger answer is none.
const MOST: f64 = 10_000.0;

/// Variance components of the readings of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Components {
    /// Mean of the plot means.
    pub mean: f64,
    /// Mean reading of the N-rich reference, and how many plots that is the mean of; `None` without one.
    pub reference: Option<(f64, f64)>,
    /// Variance of readings within a plot, squared units of the reading.
    pub within: f64,
    /// Its degrees of freedom.
    pub within_df: usize,
    /// Variance of plots within a treatment beyond that of their leaves; 0 where the estimate was below.
    pub between: f64,
    /// Degrees of freedom of the plots.
    pub between_df: usize,
    /// Whether the estimate of `between` was negative and is taken as 0.
    pub between_was_negative: bool,
    /// Whether blocks were removed.
    pub blocks_removed: bool,
    /// Median number of readings in a plot.
    pub readings: usize,
    /// Median number of plots of a treatment.
    pub plots: usize,
    /// Standard error of a treatment mean of that many plots with the leaves that were read, per cent of the mean, with the
    /// interval of its χ² distribution.
    pub standard_error_percent: Interval,
}

impl Components {
    /// Components of plots with an index or without; `None` where no plot has two readings, plots have no degrees of freedom, or the
    /// readings do not differ.
    pub(super) fn of(trial: &Trial, date: Date, unit: NRateUnit, reads: &[PlotIndex], level: f64) -> Option<Self> {
        let plots: Vec<_> = reads.iter().filter_map(|read| trial.plots.get(read.reading.plot)).collect();
        let treatments: Vec<_> = plots
            .iter()
            .map(|plot| (plot.beside_n(), plot.is_reference, trial.n_already_on(plot, date, unit).to_bits()))
            .collect();
        let treatments = level_indices(&treatments);
        let blocks: Vec<_> = plots.iter().map(|plot| plot.block.as_deref()).collect();
        let blocks = level_indices(&blocks);
        let columns: Vec<Vec<f64>> =
            indicators(&treatments).into_iter().chain(indicators(&blocks).into_iter().skip(1)).collect();
        let means: Vec<f64> = reads.iter().map(|read| read.reading.mean).collect();
        let solution = solve(&columns, &means).ok().filter(|solution| solution.df > 0)?;
        let numbers: Vec<f64> = reads.iter().map(|read| read.reading.readings as f64).collect();
        let squares = |read: &PlotIndex| {
            let degrees = read.reading.readings.saturating_sub(1);
            (degrees, read.reading.standard_deviation.unwrap_or(0.0).powi(2) * degrees as f64)
        };
        let (within_df, within_squares) =
            reads.iter().map(squares).fold((0, 0.0), |(df, sum), (degrees, squares)| (df + degrees, sum + squares));
        if within_df == 0 || within_squares <= 0.0 {
            return None;
        }
        let within = within_squares / within_df as f64;
        let mut kept = vec![1.0; means.len()];
        for direction in solution.factor.basis() {
            kept.iter_mut().zip(direction).for_each(|(kept, part)| *kept -= part * part);
        }
        let of_leaves: f64 = kept.iter().zip(&numbers).map(|(kept, leaves)| kept / leaves).sum();
        let between = (solution.rss - within * of_leaves) / solution.df as f64;
        let mean = means.iter().sum::<f64>() / means.len() as f64;
        let rich: Vec<f64> = reads.iter().filter(|read| read.is_reference).map(|read| read.reading.mean).collect();
        let shared = reads.iter().find_map(|read| Some(read.index.as_ref().ok()?.reference_plots as f64));
        let reference =
            shared.filter(|_| !rich.is_empty()).map(|plots| (rich.iter().sum::<f64>() / rich.len() as f64, plots));
        let replicates = median_count(&treatments);
        let readings = middle(reads.iter().map(|read| read.reading.readings).collect());
        let percent = |mean_square: f64| 100.0 * (mean_square / replicates as f64).sqrt() / mean;
        let df = solution.df as f64;
        let end = |p: f64| Some(percent(solution.rss / chi_square_quantile(p, df)?));
        let estimate = Some(percent(solution.rss / df));
        let standard_error_percent = match (end(0.5 + level / 2.0), end(0.5 - level / 2.0)) {
            (Some(low), Some(high)) => Interval::between(estimate, Some(low), Some(high), level, "chi-square"),
            _ => Interval::not_computed(estimate, level, "chi-square"),
        };
        (mean > 0.0 && replicates > 0).then_some(Self {
            mean,
            reference,
            within,
            within_df,
            between: between.max(0.0),
            between_df: solution.df,
            between_was_negative: between < 0.0,
            blocks_removed: blocks.iter().any(|block| *block > 0),
            readings,
            plots: replicates,
            standard_error_percent,
        })
    }

    /// Standard error of a treatment mean of `plots` plots with `leaves` readings each, per cent of the mean.
    #[must_use]
    pub fn standard_error(&self, plots: usize, leaves: usize) -> f64 {
        100.0 * (self.variance(leaves) / plots as f64).sqrt() / self.mean
    }

    /// Standard error of the index of such a treatment at the mean reading: √(v/(p·R²) + m²·v/(q·R⁴)) with v the variance of a plot's mean, R
    /// the reading of the reference and q its plots (delta method, as many leaves in the reference). `None` without a reference.
    #[must_use]
    pub fn index_standard_error(&self, plots: usize, leaves: usize) -> Option<f64> {
        let (reference, reference_plots) = self.reference?;
        let index = self.mean / reference;
        Some((self.variance(leaves) * (1.0 / plots as f64 + index * index / reference_plots)).sqrt() / reference)
    }

    fn variance(&self, leaves: usize) -> f64 {
        self.between + self.within / leaves as f64
    }

    /// What a wanted standard error of a treatment mean, per cent of the mean, asks for with this trial's plots.
    #[must_use]
    pub fn wanted(&self, percent: f64) -> Wanted {
        let variance = (percent / 100.0 * self.mean).powi(2);
        let left = self.plots as f64 * variance - self.between;
        let whole = |number: f64| {
            // A whole number that rounding puts a hair above itself is that number.
            let number = (number * (1.0 - 1e-12)).ceil().max(1.0);
            (number <= MOST).then_some(number as usize)
        };
        Wanted {
            percent,
            leaves: (left > 0.0).then(|| whole(self.within / left)).flatten(),
            plots: whole(self.variance(self.readings) / variance),
        }
    }
}

/// Leaves and plots for a wanted standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// The wanted standard error of a treatment mean, per cent of the mean.
    pub percent: f64,
    /// The fewest leaves a plot that give it with the plots of this trial; `None` where no number of leaves does, because plots differ too much.
    pub leaves: Option<usize>,
    /// The fewest plots of a treatment that give it with the leaves that were read here; `None` above 10 000.
    pub plots: Option<usize>,
}

fn median_count(levels: &[usize]) -> usize {
    let mut counts = vec![0_usize; levels.iter().max().map_or(0, |highest| highest + 1)];
    for level in levels {
        if let Some(count) = counts.get_mut(*level) {
            *count += 1;
        }
    }
    middle(counts)
}

/// The lower median.
fn middle(mut counts: Vec<usize>) -> usize {
    counts.sort_unstable();
    counts.len().checked_sub(1).and_then(|last| counts.get(last / 2)).copied().unwrap_or(0)
}
