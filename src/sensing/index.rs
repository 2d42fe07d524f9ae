//! reading ÷ reference, for every plot.

use jiff::civil::Date;

use super::plot_mean::{PlotMean, mean, plot_means};
use crate::trial::{Instrument, Plot, Reference, Trial};

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
}

/// Why a reading has no index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unindexed {
    /// The trial has no reference plots.
    #[error("the trial has no N-rich reference")]
    NoReference,
    /// None of the reference plots is of the plot's variety (and block, where the reference is shared within blocks).
    #[error(
        "no N-rich reference plot of the same variety (and block, where shared within blocks) was read on that date"
    )]
    NoneShared,
    /// The reference reading is not above zero, so that no ratio to it means anything.
    #[error("the N-rich reference reading is not above zero")]
    NotPositive,
}

/// Index of every plot read with `instrument` on `date`, in the order of the plots.
#[must_use]
pub fn indices(trial: &Trial, instrument: Instrument, date: Date) -> Vec<PlotIndex> {
    let means = plot_means(trial, instrument, date);
    let reference_means: Vec<(&Plot, f64)> = means
        .iter()
        .filter_map(|read| trial.plots.get(read.plot).map(|plot| (plot, read.mean)))
        .filter(|(plot, _)| plot.is_reference)
        .collect();
    means
        .iter()
        .filter_map(|read| trial.plots.get(read.plot).map(|plot| (plot, read)))
        .map(|(plot, read)| PlotIndex {
            reading: read.clone(),
            is_reference: plot.is_reference,
            index: against(plot, read.mean, trial.reference, &reference_means),
        })
        .collect()
}

fn against(
    plot: &Plot,
    reading: f64,
    reference: Option<Reference>,
    reference_means: &[(&Plot, f64)],
) -> Result<Indexed, Unindexed> {
    let shared_within = reference.ok_or(Unindexed::NoReference)?.shared_within;
    let shared: Vec<f64> = reference_means
        .iter()
        .filter(|(rich, _)| !shared_within.variety || rich.variety == plot.variety)
        .filter(|(rich, _)| !shared_within.block || rich.block == plot.block)
        .map(|(_, reading)| *reading)
        .collect();
    if shared.is_empty() {
        return Err(Unindexed::NoneShared);
    }
    let reference = mean(&shared);
    if reference <= 0.0 {
        return Err(Unindexed::NotPositive);
    }
    Ok(Indexed { reference, reference_plots: shared.len(), index: reading / reference })
}
