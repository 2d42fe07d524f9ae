//! What the figures of response groups have in common: titles, pages, and words of trial and price.

use std::collections::BTreeSet;

use crate::experiment::FittedGroup;
use crate::figures::{Censoring, Wording};
use crate::response::{Curve, OptimumStatus};
use crate::trial::{NeedFrom, Trial};

/// What tells a group from the others of its trial; empty for the only one.
pub(super) fn title(group: &FittedGroup, wording: &Wording) -> String {
    let labels = group.group.key.labels();
    let named = labels.iter().filter(|(name, _)| name != "trial").map(|(name, level)| match name.as_str() {
        "early_n" => format!("{}\u{a0}{} early", wording.rate_of_text(level), wording.rate_unit()),
        _ => level.clone(),
    });
    named.collect::<Vec<String>>().join(", ")
}

/// What the rate of a trial's curves counts.
pub(super) fn rate_name(need_from: NeedFrom) -> &'static str {
    match need_from {
        NeedFrom::DifferenceFromOptimum => "N rate",
        NeedFrom::TopdressResponse => "topdress N rate",
    }
}

/// What the panels of a trial's figure are, for its caption.
pub(super) fn panelled(need_from: NeedFrom) -> &'static str {
    match need_from {
        NeedFrom::DifferenceFromOptimum => "",
        NeedFrom::TopdressResponse => ", a panel each early N level",
    }
}

/// With a capital at its beginning.
pub(super) fn capitalised(words: &str) -> String {
    let mut words = words.to_owned();
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words
}

/// Site-year, folder, design and blocks of a trial.
pub(super) fn trial_words(trial: &Trial) -> String {
    let blocks = trial.plots.iter().filter_map(|plot| plot.block.as_deref()).collect::<BTreeSet<_>>().len();
    format!("{} ({}, {}, {blocks} blocks", trial.site_year(), trial.folder, trial.design.name().replace('-', " "))
}

/// A price ratio of the programme, as shown with its unit.
pub(super) fn ratio_text(price_ratio: f64, wording: &Wording) -> String {
    format!("{} {}", wording.significant(wording.price_ratio(price_ratio), 4), wording.price_ratio_unit())
}

/// The most panels of a figure that is to fit on a page of print, with titles of two lines.
const ON_A_PAGE: usize = 20;
/// Panels side by side in a figure as wide as a page.
const IN_A_ROW: usize = 4;

/// Panels by page, each page with the name of its files: whole rows, about as many on each.
pub(super) fn pages<P>(name: &str, panels: Vec<P>) -> Vec<(String, Vec<P>)> {
    let count = panels.len().div_ceil(ON_A_PAGE).max(1);
    let on_each = panels.len().div_ceil(count).next_multiple_of(IN_A_ROW);
    let mut pages = Vec::new();
    let mut rest = panels.into_iter();
    loop {
        let page: Vec<P> = rest.by_ref().take(on_each).collect();
        if page.is_empty() {
            return pages;
        }
        let number = if pages.is_empty() { String::new() } else { format!("-{}", pages.len() + 1) };
        pages.push((format!("{name}{number}"), page));
    }
}

/// Evenly spaced rates over the tested range of a curve.
pub(super) fn drawn_rates(curve: &Curve, points: usize) -> Vec<f64> {
    let step = (curve.highest_rate - curve.lowest_rate) / (points - 1) as f64;
    (0..points).map(|position| curve.lowest_rate + step * position as f64).collect()
}

/// Whether an optimum is only a bound.
pub(super) fn censoring(status: OptimumStatus) -> Censoring {
    match status {
        OptimumStatus::AtHighestTestedRate => Censoring::AtLeast,
        OptimumStatus::BeforeFirstRate => Censoring::AtMost,
        OptimumStatus::Interior | OptimumStatus::AtZero | OptimumStatus::NotShown | OptimumStatus::NotEstimable => {
            Censoring::None
        }
    }
}
