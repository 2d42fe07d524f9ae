//! Readings of one plot with one instrument on one date → their mean.

use jiff::civil::Date;
use rayon::iter::ParallelIterator as _;
use rayon::slice::ParallelSlice as _;

use crate::trial::{Excluded, GrowthStage, Instrument, Reading, Trial};

/// The mean of the readings of a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotMean {
    /// Position in [`Trial::plots`].
    pub plot: usize,
    /// Growth stage, where it was scored.
    pub stage: Option<GrowthStage>,
    /// Mean of the readings.
    pub mean: f64,
    /// How many readings (leaves) it is the mean of.
    pub readings: usize,
    /// Sample standard deviation of the readings; `None` for a single one.
    pub standard_deviation: Option<f64>,
}

/// Means of the readings with `instrument` on `date`, in the order of the plots. Plots whose readings are left out are absent.
#[must_use]
pub fn plot_means(trial: &Trial, instrument: Instrument, date: Date) -> Vec<PlotMean> {
    // Readings are in order of instrument, date and plot.
    let wanted = (instrument, date);
    let key = |reading: &Reading| (reading.instrument, reading.date);
    let first = trial.readings.partition_point(|reading| key(reading) < wanted);
    let from = trial.readings.get(first..).unwrap_or_default();
    let that_day = from.get(..from.partition_point(|reading| key(reading) == wanted)).unwrap_or_default();
    that_day
        .par_chunk_by(|a, b| a.plot == b.plot)
        .filter_map(|readings| {
            let plot = readings.first()?.plot;
            if trial.plots.get(plot)?.excluded(Excluded::Readings).is_some() {
                return None;
            }
            let values: Vec<f64> = readings.iter().map(|reading| reading.value).collect();
            let mean = mean(&values);
            Some(PlotMean {
                plot,
                stage: readings.iter().find_map(|reading| reading.stage.clone()),
                mean,
                readings: values.len(),
                standard_deviation: standard_deviation(&values, mean),
            })
        })
        .collect()
}

/// Arithmetic mean of at least one value.
pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn standard_deviation(values: &[f64], mean: f64) -> Option<f64> {
    let degrees = values.len().checked_sub(1).filter(|&degrees| degrees > 0)?;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((squares / degrees as f64).sqrt())
}
