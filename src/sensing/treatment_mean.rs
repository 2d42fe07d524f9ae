//! Mean reading and index of each treatment.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::index::PlotIndex;
use crate::trial::{BesideN, Trial};
use crate::units::NRateUnit;

/// The plots of one variety at one level of N already on; N-rich reference plots apart.
#[derive(Clone, Debug, PartialEq)]
pub struct TreatmentMean {
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// N already on, in the unit asked for.
    pub n_on: f64,
    /// Whether these are N-rich reference plots.
    pub is_reference: bool,
    /// Plots with an index.
    pub plots: usize,
    /// Mean of their readings.
    pub reading: f64,
    /// Mean of their indices.
    pub index: f64,
}

/// Plain means over the plots of each treatment that have an index, in order of variety and N already on, reference plots last.
#[must_use]
pub fn treatment_means(trial: &Trial, date: Date, unit: NRateUnit, indices: &[PlotIndex]) -> Vec<TreatmentMean> {
    let mut sums: BTreeMap<(Option<&str>, bool, u64), TreatmentMean> = BTreeMap::new();
    for read in indices {
        let (Some(plot), Ok(indexed)) = (trial.plots.get(read.reading.plot), &read.index) else { continue };
        let n_on = trial.n_already_on(plot, date, unit);
        // Rates are not negative, so the order of their bits is the order of their values.
        let key = (plot.variety.as_deref(), read.is_reference, n_on.to_bits());
        let sum = sums.entry(key).or_insert_with(|| TreatmentMean {
            variety: plot.variety.clone(),
            n_on,
            is_reference: read.is_reference,
            plots: 0,
            reading: 0.0,
            index: 0.0,
        });
        sum.plots += 1;
        sum.reading += read.reading.mean;
        sum.index += indexed.index;
    }
    let mean = |sum: TreatmentMean| {
        let plots = sum.plots as f64;
        TreatmentMean { reading: sum.reading / plots, index: sum.index / plots, ..sum }
    };
    sums.into_values().map(mean).collect()
}

/// The plots that had one treatment when they were read: variety, factors and N already on; N-rich reference plots apart.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingMean {
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// Level of each factor, in the order of [`Trial::factors`].
    pub factor_levels: Vec<String>,
    /// N already on, in the unit asked for.
    pub n_on: f64,
    /// Whether these are N-rich reference plots.
    pub is_reference: bool,
    /// Plots read.
    pub plots: usize,
    /// Mean of their mean readings.
    pub mean: f64,
    /// Sample standard deviation of their mean readings, blocks and all; `None` for a single plot.
    pub standard_deviation: Option<f64>,
}

/// Plain means of the readings of each treatment, with or without an index, in order of variety, factors and N already on, reference
/// plots last.
#[must_use]
pub fn reading_means(trial: &Trial, date: Date, unit: NRateUnit, reads: &[PlotIndex]) -> Vec<ReadingMean> {
    let mut treatments: BTreeMap<(BesideN<'_>, bool, u64), Vec<f64>> = BTreeMap::new();
    for read in reads {
        let Some(plot) = trial.plots.get(read.reading.plot) else { continue };
        // Rates are not negative, so the order of their bits is the order of their values.
        let key = (plot.beside_n(), read.is_reference, trial.n_already_on(plot, date, unit).to_bits());
        treatments.entry(key).or_default().push(read.reading.mean);
    }
    let mean = |(((variety, factor_levels), is_reference, n_on), values): ((BesideN<'_>, bool, u64), Vec<f64>)| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let degrees = values.len() - 1;
        ReadingMean {
            variety: variety.map(str::to_owned),
            factor_levels: factor_levels.to_vec(),
            n_on: f64::from_bits(n_on),
            is_reference,
            plots: values.len(),
            mean,
            standard_deviation: (degrees > 0).then(|| (squares / degrees as f64).sqrt()),
        }
    };
    treatments.into_iter().map(mean).collect()
}
