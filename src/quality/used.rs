//! What became of the plots that were read: used or excluded, and why.

use crate::trial::{Excluded, Plot, Trial};

/// A trial's plots, counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlotsRead {
    /// Trial folder.
    pub trial: String,
    /// Plots read.
    pub read: usize,
    /// For yields; `None` for a trial without any.
    pub yields: Option<Used>,
    /// For readings; `None` for a trial without any.
    pub readings: Option<Used>,
}

/// Plots used for something, and those that are not. Both sum to the plots read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Used {
    /// Plots used.
    pub used: usize,
    /// Plots not used, with the reason.
    pub excluded: Vec<(String, String)>,
}

impl Used {
    fn of<'p>(plots: impl Iterator<Item = (&'p Plot, bool)>, what: Excluded, absent: &str) -> Self {
        let (mut used, mut excluded) = (0, Vec::new());
        for (plot, is_there) in plots {
            match plot.excluded(what) {
                Some(reason) => excluded.push((plot.id.clone(), reason.to_owned())),
                None if is_there => used += 1,
                None => excluded.push((plot.id.clone(), absent.to_owned())),
            }
        }
        Self { used, excluded }
    }
}

/// The plots of a trial: read = used + excluded, for yields and for readings.
#[must_use]
pub fn plots_read(trial: &Trial) -> PlotsRead {
    let mut is_read = vec![false; trial.plots.len()];
    for reading in &trial.readings {
        if let Some(is_read) = is_read.get_mut(reading.plot) {
            *is_read = true;
        }
    }
    let has_yields = trial.plots.iter().any(|plot| plot.harvest.is_some());
    let yields = trial.plots.iter().map(|plot| (plot, plot.harvest.is_some()));
    let readings = trial.plots.iter().zip(is_read.iter().copied());
    PlotsRead {
        trial: trial.folder.clone(),
        read: trial.plots.len(),
        yields: has_yields.then(|| Used::of(yields, Excluded::Yield, "no yield")),
        readings: is_read.contains(&true).then(|| Used::of(readings, Excluded::Readings, "no reading")),
    }
}
