//! Readings of one plot with one instrument on one date → their mean.

use jiff::civil::Date;

use crate::trial::{Excluded, GrowthStage, Instrument, Trial};

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
    let mut by_plot: Vec<Vec<f64>> = vec![Vec::new(); trial.plots.len()];
    let mut stages: Vec<Option<&GrowthStage>> = vec![None; trial.plots.len()];
    for reading in trial.readings.iter().filter(|reading| reading.instrument == instrument && reading.date == date) {
        if let (Some(values), Some(stage)) = (by_plot.get_mut(reading.plot), stages.get_mut(reading.plot)) {
            values.push(reading.value);
            *stage = stage.or(reading.stage.as_ref());
        }
    }
    let read = by_plot.iter().zip(stages).zip(&trial.plots).enumerate();
    read.filter(|(_, ((values, _), plot))| !values.is_empty() && plot.excluded(Excluded::Readings).is_none())
        .map(|(plot, ((values, stage), _))| {
            let mean = mean(values);
            PlotMean {
                plot,
                stage: stage.cloned(),
                mean,
                readings: values.len(),
                standard_deviation: standard_deviation(values, mean),
            }
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
