//! Curves of yields that are worth what the grain's quality makes them worth.

use super::group::groups_of_yields;
use super::{FitOptions, FittedGroup};
use crate::crop::Crop;
use crate::economics::{QualityPrices, QualityUnknown};
use crate::harvest::{PlotYield, plot_yields};
use crate::trial::{Prices, ResultUnits, Trial};
use crate::units::BushelUnknown;

/// A group whose yields are what would bring as much at the base price, with its curves.
#[derive(Clone, Debug)]
pub struct QualityGroup {
    /// The group and its curves; its key is that of the plain group.
    pub fitted: FittedGroup,
    /// Whether the protein premium is in it.
    pub premium: bool,
    /// Whether the loss to lodging is in it.
    pub lodging: bool,
    /// Plots with a yield but no protein, which are left out.
    pub without_protein: usize,
    /// Plots with a yield and protein but no lodging score on the scale of the loss, which are left out.
    pub without_lodging: usize,
}

/// The groups of a trial with the yield of each plot times what its quality is worth: the same families fitted, the same test.
///
/// A trial where no plot has protein takes no premium, one without lodging scores no loss; with neither, or without a schedule in the
/// prices, there are no groups.
///
/// # Errors
/// [`BushelUnknown`] where yields cannot be brought to the programme's unit.
pub fn quality_groups_of_trial(
    trial: &Trial,
    crop: &Crop,
    units: &ResultUnits,
    prices: &Prices,
    options: &FitOptions,
) -> Result<Vec<QualityGroup>, BushelUnknown> {
    let has_protein = trial.plots.iter().any(|plot| plot.protein.is_some());
    let has_lodging = trial.plots.iter().any(|plot| plot.lodging.is_some());
    let priced = QualityPrices {
        premium: prices.protein_premium.as_ref().filter(|_| has_protein).map(|premium| (premium, prices.grain.price)),
        lodging: prices.lodging_loss.as_ref().filter(|_| has_lodging),
    };
    if priced.premium.is_none() && priced.lodging.is_none() {
        return Ok(Vec::new());
    }
    let mut yields = plot_yields(trial, crop, units)?;
    let mut unmeasured: Vec<(&str, QualityUnknown)> = Vec::new();
    for (plot, found) in trial.plots.iter().zip(&mut yields) {
        if let PlotYield::Used(value) = *found {
            *found = match priced.factor(plot) {
                Ok(factor) => PlotYield::Used(value * factor),
                Err(unknown) => {
                    unmeasured.push((&plot.id, unknown));
                    PlotYield::Excluded(unknown.to_string())
                }
            };
        }
    }
    let groups = groups_of_yields(trial, units, &yields, &yields);
    let fit = |group: super::ResponseGroup| {
        let without = |unknown: QualityUnknown| {
            group.left_out.iter().filter(|left_out| unmeasured.contains(&(&left_out.plot, unknown))).count()
        };
        QualityGroup {
            premium: priced.premium.is_some(),
            lodging: priced.lodging.is_some(),
            without_protein: without(QualityUnknown::Protein),
            without_lodging: without(QualityUnknown::Lodging),
            fitted: FittedGroup::fit(group, options),
        }
    };
    Ok(groups.into_iter().map(fit).collect())
}
