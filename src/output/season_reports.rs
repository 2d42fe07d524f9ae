//! Everything that a season's outputs are written from, brought into reports once.

use super::anova::Anova;
use super::calibrate::Calibrations;
use super::curves::Curves;
use super::optimum::Optima;
use super::season_files::optima;
use super::sense::Sense;
use super::yields::Yields;
use crate::experiment::anova::Analysed;
use crate::season::Season;

/// The reports of a season: those of its summary, its files and its document.
#[derive(Clone, Debug)]
pub struct SeasonReports {
    /// Yields of every plot and treatment.
    pub yields: Yields,
    /// Analyses of variance.
    pub anova: Anova,
    /// Response curves.
    pub curves: Curves,
    /// Economic optima, with what site-years give together; of no group without a price ratio.
    pub optima: Optima,
    /// Readings against their reference.
    pub sense: Sense,
    /// Calibrations, one a table.
    pub calibrations: Calibrations,
}

impl SeasonReports {
    /// The reports of a season with its analyses of variance.
    #[must_use]
    pub fn of(season: &Season, analysed: &[Analysed]) -> Self {
        let level = season.programme.decisions.level;
        let groups = || season.trials.iter().flat_map(|trial| &trial.groups);
        let base = season.price_ratio.as_ref().map(|ratio| ratio.value);
        let optima = optima(season, groups()).unwrap_or(Optima { groups: Vec::new(), across: Vec::new() });
        Self {
            yields: Yields::of(&season.programme, season.trials.iter().map(|trial| &trial.harvest)),
            anova: Anova::of(analysed, level),
            curves: Curves::of(groups(), level, base),
            optima: optima.with_across(&season.across()),
            sense: Sense::of(&season.programme, &season.trials, None),
            calibrations: Calibrations::of(season, &season.tables),
        }
    }
}
