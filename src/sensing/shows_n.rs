//! Do the readings of a date show the N that is already on?

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::plot_mean::plot_means;
use crate::response::Observations;
use crate::stats::levels::level_indices;
use crate::trial::{Instrument, Trial};
use crate::units::NRateUnit;

/// How the readings of a date answer to the N already on.
#[derive(Clone, Debug, PartialEq)]
pub struct ShowsN {
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// F test of the N levels on plot means, blocks removed: its p.
    pub p_value: f64,
    /// Mean reading at the lowest level of N already on ÷ mean reading at the highest.
    pub lowest_to_highest: f64,
}

/// Readings show N where p is at most this, …
const SHOWN_ALPHA: f64 = 0.05;
/// … and the lowest level of N reads at most this share of the highest: below 5 % of the reading no rate can be told from another
/// (the rows of a table are commonly that high; common practice).
const SHOWN_RATIO: f64 = 0.95;

impl ShowsN {
    /// Whether the readings show the N already on: a difference that is both unlikely by chance and large enough to act on.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.p_value <= SHOWN_ALPHA && self.lowest_to_highest <= SHOWN_RATIO
    }
}

/// The test for each variety of a trial that had at least two levels of N on by `date`; others are absent.
#[must_use]
pub fn shows_n(trial: &Trial, instrument: Instrument, date: Date, unit: NRateUnit) -> Vec<ShowsN> {
    let mut varieties: BTreeMap<Option<&str>, [Vec<f64>; 2]> = BTreeMap::new();
    let mut blocks: BTreeMap<Option<&str>, Vec<Option<&str>>> = BTreeMap::new();
    for read in plot_means(trial, instrument, date) {
        let Some(plot) = trial.plots.get(read.plot) else { continue };
        let n_on = trial.n_already_on(plot, date, unit);
        let variety = plot.variety.as_deref();
        let [levels, readings] = varieties.entry(variety).or_default();
        levels.push(n_on);
        readings.push(read.mean);
        blocks.entry(variety).or_default().push(plot.block.as_deref());
    }
    let tested = varieties.into_iter().zip(blocks.into_values());
    tested
        .filter_map(|((variety, [levels, readings]), blocks)| {
            let groups = level_indices(&blocks);
            let observations = Observations::new(&levels, &readings, Some(&groups)).ok()?;
            let means = observations.treatment_means();
            let (lowest, highest) = means.first().zip(means.last())?;
            Some(ShowsN {
                variety: variety.map(str::to_owned),
                p_value: observations.analysis().p?,
                lowest_to_highest: lowest.mean / highest.mean,
            })
        })
        .collect()
}
