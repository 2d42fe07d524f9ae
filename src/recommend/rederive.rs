//! A table derived anew from what it carries: at other prices, from other evidence, with other settings.

use super::derive::{Derived, Heading, NoTable, derive_with};
use crate::experiment::Evidence;
use crate::rate_table::{Document, Price, Settings};

/// What is changed; what is `None` stays as the table has it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Changes {
    /// Price ratios, the base first.
    pub prices: Option<Vec<Price>>,
    /// The currency of those prices, where they are money; `Some(None)` where they are a bare ratio.
    pub currency: Option<Option<String>>,
    /// Evidence.
    pub evidence: Option<Evidence>,
    /// Settings.
    pub settings: Option<Settings>,
}

/// Why a table is not derived anew.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotRederived {
    /// It carries no evidence.
    #[error(
        "the table carries no plot yields to derive it from again: it was published without them, or made by an older version"
    )]
    NoEvidence,
    /// The evidence gives no table.
    #[error("{0}")]
    NoTable(#[from] NoTable),
}

/// Derives a table anew. Without changes it comes out as it was, to the last byte.
///
/// # Errors
/// [`NotRederived`], with the reason.
pub fn rederive(document: &Document, changes: &Changes) -> Result<Derived, NotRederived> {
    again(document, changes, true)
}

/// The same rates with their relations, without holding anything out, which takes most of the time.
///
/// # Errors
/// As in [`rederive`].
pub fn rates_alone(document: &Document, changes: &Changes) -> Result<Derived, NotRederived> {
    again(document, changes, false)
}

fn again(document: &Document, changes: &Changes, validated: bool) -> Result<Derived, NotRederived> {
    let evidence = changes.evidence.as_ref().or(document.evidence.as_ref()).ok_or(NotRederived::NoEvidence)?;
    let mut prices = changes.prices.clone().unwrap_or_else(|| document.prices.clone());
    // The base comes first.
    prices.sort_by_key(|price| !price.base);
    let heading = Heading {
        name: document.name.clone(),
        title: document.title.clone(),
        crop: document.crop.clone(),
        instrument: document.instrument,
        stages: document.stages.clone(),
        rate_unit: document.rate_unit.clone(),
        yield_unit: document.yield_unit.clone(),
        currency: changes.currency.clone().unwrap_or_else(|| document.currency.clone()),
        prices,
        standard: None,
        seed: document.seed,
        inputs: document.inputs.clone(),
        share_plots: document.evidence.is_some(),
    };
    let settings = changes.settings.as_ref().unwrap_or(&document.settings);
    let derived = derive_with(evidence, &[], &heading, settings, validated);
    match &derived.table {
        Ok(_) => Ok(derived),
        Err(reason) => Err(reason.clone().into()),
    }
}
