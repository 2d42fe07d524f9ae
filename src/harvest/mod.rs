//! Weight, moisture and area → yield at standard moisture; with N and protein → what the crop made of the N.
//!
//! Yields follow Y(S) = Y·(100 − M) ÷ (100 − S): the dry matter stays, the water changes (Mulvaney & Devkota 2020, UF/IFAS SS-AGR-443).
//!
//! # N of a plot
//!
//! With F the N applied (every application, as it went on), Y the yield at standard moisture, U the N in the grain, and Y₀ and U₀ those of
//! the plots without N (definitions after Dobermann 2005, cited from memory):
//!
//! - N in the grain: U = dry grain × N in dry matter, that N being protein ÷ [`protein_per_n`](crate::crop::Crop::protein_per_n) ×
//!   100 ÷ (100 − moisture the protein is stated at);
//! - partial factor productivity Y ÷ F, agronomic efficiency (Y − Y₀) ÷ F, recovery in the grain (U − U₀) ÷ F, physiological efficiency
//!   (Y − Y₀) ÷ (U − U₀);
//! - N surplus: N applied + N credited to manure − U. What the soil gave, and N in rain and straw, is not in it.
//!
//! Y₀ and U₀ are means of the zero-N plots of the same variety and factors: of the same block where the design has blocks and the block has
//! one, else of the trial. A plot whose yield is left out has no efficiency and is no zero-N plot for others. *Recovery in the grain* is
//! below recovery in the whole plant, which takes straw too.

mod nitrogen;
mod treatments;
mod yields;

#[cfg(test)]
mod tests;

pub use nitrogen::{
    Efficiencies, NotKnown, PlotNitrogen, ZeroN, ZeroNFrom, efficiencies, grain_n_percent_dry, plot_nitrogen,
};
pub use treatments::{Measures, Spread, TreatmentMeans, treatment_means};
pub use yields::{
    PlotYield, dry_matter, moisture_factor, plot_yields, yield_at_standard_moisture, yields_with_excluded,
};

use crate::crop::Crop;
use crate::trial::{ResultUnits, Trial};
use crate::units::BushelUnknown;

/// What was harvested from a trial.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialHarvest {
    /// What became of each plot's yield, in the order of the trial's plots.
    pub yields: Vec<PlotYield>,
    /// The yield of each plot, left out or not, in the programme's unit; see [`yields_with_excluded`].
    pub with_excluded: Vec<Option<f64>>,
    /// N of each plot.
    pub nitrogen: Vec<PlotNitrogen>,
    /// Means of each treatment.
    pub treatments: Vec<TreatmentMeans>,
}

impl TrialHarvest {
    /// Everything about the harvest of a trial.
    ///
    /// # Errors
    /// [`BushelUnknown`] as in [`yield_at_standard_moisture`].
    pub fn of(trial: &Trial, crop: &Crop, units: &ResultUnits) -> Result<Self, BushelUnknown> {
        let yields = plot_yields(trial, crop, units)?;
        let with_excluded = yields_with_excluded(trial, crop, units)?;
        let nitrogen = plot_nitrogen(trial, &yields, crop, units)?;
        let treatments = treatment_means(trial, &yields, &with_excluded, &nitrogen, units.n_rate);
        Ok(Self { yields, with_excluded, nitrogen, treatments })
    }
}
