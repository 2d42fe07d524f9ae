//! Residuals of each trial's analysis of variance.

use super::{Material, NamedFigure};
use crate::experiment::anova::Analysed;
use crate::figures::{Figure, ResidualFigure};
use crate::trial::Trial;

/// One figure a trial that was analysed and leaves an error.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let described = |one: &Analysed| {
        let (_, trial) = one.key.iter().find(|(name, _)| name == "trial")?;
        let trials = material.season.programme.trials.iter();
        let site_year = trials.filter(|one| one.folder == *trial).map(Trial::site_year).next()?;
        let figure = ResidualFigure::of(one.outcome.as_ref().ok()?, &site_year, material.wording)?;
        Some(NamedFigure { name: format!("{trial}-residuals"), figure: Figure::Residuals(figure) })
    };
    material.analysed.iter().filter_map(described).collect()
}
