//! Readings of one plot with one instrument on one date → their mean.

use jiff::civil::Date;
use rayon::iter::ParallelIterator as _;
use rayon::slice::ParallelSlice as _;

use super::far_leaves::{FarLeaf, Judge};
use crate::trial::{Excluded, FlaggedLeaves, GrowthStage, Instrument, Reading, Trial};

/// The mean of the readings of a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotMean {
    /// Position in [`Trial::plots`].
    pub plot: usize,
    /// Growth stage, where it was scored.
    pub stage: Option<GrowthStage>,
    /// Mean of the readings that count.
    pub mean: f64,
    /// How many readings (leaves, passes) it is the mean of.
    pub readings: usize,
    /// Sample standard deviation of those readings; `None` for a single one.
    pub standard_deviation: Option<f64>,
    /// Leaves that read far from the rest of the plot. Whether they count is what the programme decided
    /// ([`Trial::flagged_leaves`]).
    pub flagged: Vec<FarLeaf>,
    /// The mean with the flagged leaves treated the other way: without them where they are kept, with them where they are left out;
    /// `None` where none is flagged.
    pub other_mean: Option<f64>,
}

impl PlotMean {
    /// Coefficient of variation of the readings, per cent; `None` for a single one, or a mean that is not above 0.
    #[must_use]
    pub fn cv_percent(&self) -> Option<f64> {
        (self.mean > 0.0).then_some(100.0 * self.standard_deviation? / self.mean)
    }

    /// Standard error of the mean, from the spread of the readings within the plot: it says nothing of how plots differ.
    #[must_use]
    pub fn standard_error(&self) -> Option<f64> {
        Some(self.standard_deviation? / (self.readings as f64).sqrt())
    }
}

/// Means of the readings with `instrument` on `date`, in the order of the plots. Plots whose readings are left out are absent.
#[must_use]
pub fn plot_means(trial: &Trial, instrument: Instrument, date: Date) -> Vec<PlotMean> {
    // Readings are in order of instrument, date and plot.
    let wanted = (instrument, date);
    let key = |reading: &Reading| (reading.instrument, reading.date);
    let mut first = trial.readings.partition_point(|reading| key(reading) < wanted);
    let from = trial.readings.get(first..).unwrap_or_default();
    let that_day = from.get(..from.partition_point(|reading| key(reading) == wanted)).unwrap_or_default();
    // A pass of a canopy sensor is a mean of many leaves already.
    let judge = (instrument == Instrument::LeafChlorophyll).then(|| Judge::of(trial, that_day)).flatten();
    let of_plot = |readings: &[Reading]| (readings.len(), plot_mean(trial, readings, judge.as_ref()));
    let of_plots: Vec<(usize, Option<PlotMean>)> =
        that_day.par_chunk_by(|a, b| a.plot == b.plot).map(of_plot).collect();
    let mut means = Vec::with_capacity(of_plots.len());
    for (readings, mean) in of_plots {
        if let Some(mut mean) = mean {
            mean.flagged.iter_mut().for_each(|leaf| leaf.reading += first);
            means.push(mean);
        }
        first += readings;
    }
    means
}

/// The mean of one plot; positions of flagged leaves are counted from its own first reading.
fn plot_mean(trial: &Trial, readings: &[Reading], judge: Option<&Judge>) -> Option<PlotMean> {
    let plot = readings.first()?.plot;
    if trial.plots.get(plot)?.excluded(Excluded::Readings).is_some() {
        return None;
    }
    let values: Vec<f64> = readings.iter().map(|reading| reading.value).collect();
    let flagged = judge.map(|judge| judge.far(readings)).unwrap_or_default();
    let is_flagged = |position: usize| flagged.iter().any(|leaf| leaf.reading == position);
    let stage = readings.iter().find_map(|reading| reading.stage.clone());
    let all = (mean(&values), values.len(), standard_deviation(&values));
    let (used, other) = if flagged.is_empty() {
        (all, None)
    } else {
        let kept: Vec<f64> =
            values.iter().enumerate().filter(|(position, _)| !is_flagged(*position)).map(|(_, value)| *value).collect();
        let without = (mean(&kept), kept.len(), standard_deviation(&kept));
        match trial.flagged_leaves {
            FlaggedLeaves::Keep => (all, Some(without.0)),
            FlaggedLeaves::LeaveOut => (without, Some(all.0)),
        }
    };
    let (mean, readings, standard_deviation) = used;
    Some(PlotMean { plot, stage, mean, readings, standard_deviation, flagged, other_mean: other })
}

/// Arithmetic mean of at least one value.
fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn standard_deviation(values: &[f64]) -> Option<f64> {
    let degrees = values.len().checked_sub(1).filter(|&degrees| degrees > 0)?;
    let mean = mean(values);
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((squares / degrees as f64).sqrt())
}
