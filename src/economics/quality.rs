//! Protein premium and lodging loss: a plot's yield → the yield at the base price that would bring as much.

use crate::trial::{Harvest, LodgingLoss, Plot, PremiumStep, ProteinPremium};

/// Why a plot has no value with its quality.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QualityUnknown {
    /// Its protein was not analysed, or not at a known moisture where the premium is stated at one.
    #[error("no protein")]
    Protein,
    /// It has no lodging score, or one above the scale of the loss.
    #[error("no lodging score on the scale of the loss")]
    Lodging,
}

/// What is priced beside the yield itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct QualityPrices<'p> {
    /// The premium, and the base price in the same money and mass.
    pub premium: Option<(&'p ProteinPremium, f64)>,
    /// The loss to lodging.
    pub lodging: Option<&'p LodgingLoss>,
}

impl QualityPrices<'_> {
    /// What a plot's yield is multiplied by: (1 + premium ÷ base price) × (1 − share lost to lodging).
    ///
    /// # Errors
    /// [`QualityUnknown`] where the plot was not measured; nothing is filled in for it.
    pub fn factor(&self, plot: &Plot) -> Result<f64, QualityUnknown> {
        let premium = match self.premium {
            Some((premium, base_price)) => {
                let protein = protein_at(plot, premium).ok_or(QualityUnknown::Protein)?;
                premium_of(&premium.steps, protein) / base_price
            }
            None => 0.0,
        };
        let lost = match self.lodging {
            Some(loss) => {
                let score = plot.lodging.filter(|score| *score <= loss.at_score).ok_or(QualityUnknown::Lodging)?;
                0.01 * loss.yield_percent * score / loss.at_score
            }
            None => 0.0,
        };
        Ok((1.0 + premium) * (1.0 - lost))
    }
}

/// What is added to the price at a protein content: that of the last step reached, and nothing below the first.
#[must_use]
pub fn premium_of(steps: &[PremiumStep], protein_percent: f64) -> f64 {
    steps.iter().rev().find(|step| protein_percent >= step.from).map_or(0.0, |step| step.add)
}

/// Protein at the moisture of the premium; as reported where it is stated at none.
fn protein_at(plot: &Plot, premium: &ProteinPremium) -> Option<f64> {
    let protein = plot.protein?;
    let Some(wanted) = premium.moisture else { return Some(protein.percent) };
    let stated_at = protein.moisture.or(plot.harvest.and_then(Harvest::moisture))?;
    // The same moisture leaves a value that lies on a step where it was typed.
    let dry_matter = wanted.dry_matter_percent() / stated_at.dry_matter_percent();
    Some(protein.percent * dry_matter)
}
