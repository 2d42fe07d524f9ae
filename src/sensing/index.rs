//! reading ÷ reference, for every plot.

use jiff::civil::Date;

use super::plot_mean::{PlotMean, plot_means};
use crate::trial::{Instrument, Plot, SharedWithin, Trial};

/// A plot's reading against its N-rich reference.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotIndex {
    /// The plot's mean reading.
    pub reading: PlotMean,
    /// Whether the plot is itself an N-rich reference plot.
    pub is_reference: bool,
    /// The reference and the index, or why there is none.
    pub index: Result<Indexed, Unindexed>,
}

/// A reading that has a reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Indexed {
    /// Mean reading of the reference plots.
    pub reference: f64,
    /// How many reference plots it is the mean of.
    pub reference_plots: usize,
    /// reading ÷ reference.
    pub index: f64,
    /// The index with the flagged leaves of plot and reference treated the other way (see [`PlotMean::other_mean`]); `None` where none of
    /// either is flagged.
    pub other_index: Option<f64>,
}

/// Why a reading has no index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unindexed {
    /// The trial has no reference plots.
    #[error("the trial has no N-rich reference")]
    NoReference,
    /// The trial has reference plots, none of the plot's variety.
    #[error("the variety has no N-rich reference plot, and that of another variety does not stand for it")]
    OtherVariety,
    /// The variety has reference plots, none in the plot's block, and references are of the block.
    #[error("the block has no N-rich reference plot, and the reference is shared within blocks")]
    OtherBlock,
    /// Its reference plots were not read with the instrument on that date, or their readings are left out.
    #[error("its N-rich reference was not read on that date (or its readings are left out)")]
    NotRead,
    /// The reference reading is not above zero, so that no ratio to it means anything.
    #[error("the N-rich reference reading is not above zero")]
    NotPositive,
}

/// Index of every plot read with `instrument` on `date`, in the order of the plots.
#[must_use]
pub fn indices(trial: &Trial, instrument: Instrument, date: Date) -> Vec<PlotIndex> {
    let means = plot_means(trial, instrument, date);
    let rich: Vec<(&Plot, &PlotMean)> = means
        .iter()
        .filter_map(|read| trial.plots.get(read.plot).map(|plot| (plot, read)))
        .filter(|(plot, _)| plot.is_reference)
        .collect();
    let indexed = means
        .iter()
        .filter_map(|read| trial.plots.get(read.plot).map(|plot| (plot, read)))
        .map(|(plot, read)| against(trial, plot, read, &rich));
    let indexed: Vec<Result<Indexed, Unindexed>> = indexed.collect();
    let is_reference: Vec<bool> =
        means.iter().map(|read| trial.plots.get(read.plot).is_some_and(|plot| plot.is_reference)).collect();
    let found = means.into_iter().zip(is_reference).zip(indexed);
    found.map(|((reading, is_reference), index)| PlotIndex { reading, is_reference, index }).collect()
}

fn against(trial: &Trial, plot: &Plot, read: &PlotMean, rich: &[(&Plot, &PlotMean)]) -> Result<Indexed, Unindexed> {
    let shared_within = trial.reference.ok_or(Unindexed::NoReference)?.shared_within;
    let is_theirs = |rich: &Plot| {
        (!shared_within.variety || rich.variety == plot.variety) && (!shared_within.block || rich.block == plot.block)
    };
    let shared: Vec<&PlotMean> = rich.iter().filter(|(rich, _)| is_theirs(rich)).map(|(_, read)| *read).collect();
    if shared.is_empty() {
        return Err(why_none(trial, shared_within, plot));
    }
    let reference = mean_of(&shared, |read| read.mean);
    if reference <= 0.0 {
        return Err(Unindexed::NotPositive);
    }
    let other = |read: &PlotMean| read.other_mean.unwrap_or(read.mean);
    let differs = read.other_mean.is_some() || shared.iter().any(|read| read.other_mean.is_some());
    let other_index =
        differs.then(|| other(read) / mean_of(&shared, other)).filter(|index| index.is_finite() && *index > 0.0);
    Ok(Indexed { reference, reference_plots: shared.len(), index: read.mean / reference, other_index })
}

fn mean_of(reads: &[&PlotMean], value: impl Fn(&PlotMean) -> f64) -> f64 {
    reads.iter().map(|read| value(read)).sum::<f64>() / reads.len() as f64
}

/// Why a plot has no reference on a day: the widest reason that holds.
fn why_none(trial: &Trial, within: SharedWithin, plot: &Plot) -> Unindexed {
    let rich = || trial.plots.iter().filter(|rich| rich.is_reference);
    let same_variety = |rich: &&Plot| !within.variety || rich.variety == plot.variety;
    if rich().next().is_none() {
        Unindexed::NoReference
    } else if !rich().any(|rich| same_variety(&rich)) {
        Unindexed::OtherVariety
    } else if within.block && !rich().filter(same_variety).any(|rich| rich.block == plot.block) {
        Unindexed::OtherBlock
    } else {
        Unindexed::NotRead
    }
}
