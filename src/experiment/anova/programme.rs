//! Every trial of a programme, and trials of like treatments together.

use rayon::prelude::*;

use super::analyse::{AnovaOptions, NotAnalysed, analyse};
use super::combined::combined;
use super::experiment::Experiment;
use super::result::{Analysis, AnalysisKey};
use super::sources::experiment_of_trial;
use crate::trial::{Programme, Trial};
use crate::units::BushelUnknown;

/// An experiment with its analysis, or why there is none.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysed {
    /// What tells it from the others.
    pub key: AnalysisKey,
    /// The analysis.
    pub outcome: Result<Analysis, NotAnalysed>,
}

impl Analysed {
    /// Analyses an experiment.
    #[must_use]
    pub fn of(experiment: &Experiment, options: &AnovaOptions) -> Self {
        Self { key: experiment.key.clone(), outcome: analyse(experiment, options) }
    }
}

/// An analysis of each trial in the order of the programme, then of those with like treatments together.
///
/// # Errors
/// [`BushelUnknown`] where yields cannot be brought to the programme's unit.
pub fn analyses_of_programme(programme: &Programme, options: &AnovaOptions) -> Result<Vec<Analysed>, BushelUnknown> {
    let of_trial =
        |trial: &Trial| Ok((trial.site_year(), experiment_of_trial(trial, &programme.crop, &programme.units)?));
    let trials: Vec<(String, Experiment)> = programme.trials.iter().map(of_trial).collect::<Result<_, _>>()?;
    let together = combined(&trials);
    let all: Vec<&Experiment> = trials.iter().map(|(_, one)| one).chain(&together).collect();
    Ok(all.into_par_iter().map(|experiment| Analysed::of(experiment, options)).collect())
}
