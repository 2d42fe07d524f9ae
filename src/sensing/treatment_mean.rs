//! Mean reading and index of each treatment.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::index::PlotIndex;
use crate::trial::Trial;
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
