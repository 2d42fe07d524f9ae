//! The heading and settings of a table that a programme wants.

use super::derive::{Heading, NEW_SITE_YEARS};
use super::money::money;
use crate::calibration::INTERVAL_METHOD;
use crate::rate_table::{IndexRows, Price, RateRule, Settings, Stages};
use crate::trial::{Programme, TableSpecification};

/// What a table of a programme says of itself, at price ratios of which the first is the base.
#[must_use]
pub fn heading(
    programme: &Programme,
    specification: &TableSpecification,
    price_ratios: &[f64],
    price_ratio_unit: Option<&str>,
    seed: u64,
) -> Heading {
    let price = |(position, ratio): (usize, &f64)| Price {
        price_ratio: *ratio,
        price_ratio_unit: price_ratio_unit.unwrap_or_default().to_owned(),
        base: position == 0,
        money: money(programme, *ratio),
    };
    Heading {
        name: specification.name.clone(),
        title: programme.title.clone(),
        crop: programme.crop.name.clone(),
        instrument: specification.instrument,
        stages: Stages { first: specification.stages.0.clone(), last: specification.stages.1.clone() },
        rate_unit: programme.units.n_rate.to_string(),
        yield_unit: programme.units.yields.to_string(),
        currency: programme.prices.as_ref().map(|_| programme.currency.clone()),
        prices: price_ratios.iter().enumerate().map(price).collect(),
        standard: programme.decisions.standard_topdress,
        seed: Some(seed),
        inputs: programme.inputs.clone(),
        share_plots: specification.share_plots,
    }
}

/// What a programme asks of a table.
#[must_use]
pub fn settings(programme: &Programme, specification: &TableSpecification, permutations: usize) -> Settings {
    Settings {
        index: IndexRows {
            lowest: specification.index.lowest,
            highest: specification.index.highest,
            step: specification.index.step,
        },
        rate: RateRule {
            round_to: specification.rate.round_to,
            highest: specification.rate.highest,
            smallest: specification.rate.smallest,
        },
        outside: specification.outside,
        varieties: specification.varieties.clone(),
        relation: specification.relation,
        relation_taken: String::new(),
        interval_method: INTERVAL_METHOD.to_owned(),
        level: programme.decisions.level,
        new_site_years: NEW_SITE_YEARS,
        // Intervals come from site-years left out in turn.
        replicates: 0,
        permutations: permutations as u64,
    }
}
