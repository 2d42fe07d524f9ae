//! What differs between what two tables were made of.

use std::collections::BTreeMap;

use crate::experiment::{Evidence, TrialEvidence};
use crate::rate_table::{Document, Settings};

/// What differs between what two tables were made of.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Changed {
    /// Site-years of the new table alone.
    pub site_years_added: Vec<String>,
    /// Site-years of the old table alone.
    pub site_years_left: Vec<String>,
    /// Site-years of both whose observations or readings differ; `None` where a table does not carry them.
    pub site_years_corrected: Option<Vec<String>>,
    /// Site-years of both.
    pub site_years_kept: usize,
    /// Whatever else was asked or came out otherwise, by name.
    pub settings: Vec<SettingChange>,
}

/// A setting of both tables.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingChange {
    /// Name.
    pub name: &'static str,
    /// In the old table.
    pub old: String,
    /// In the new one.
    pub new: String,
}

impl Changed {
    pub(super) fn between(old: &Document, new: &Document) -> Self {
        let names = |document: &Document| -> Vec<String> {
            let mut names: Vec<String> =
                document.site_years.iter().map(|one| format!("{} {}", one.site, one.harvest_year)).collect();
            names.sort();
            names.dedup();
            names
        };
        let (before, after) = (names(old), names(new));
        let alone =
            |own: &[String], other: &[String]| own.iter().filter(|name| !other.contains(name)).cloned().collect();
        let kept: Vec<&String> = before.iter().filter(|name| after.contains(name)).collect();
        let corrected = old.evidence.as_ref().zip(new.evidence.as_ref()).map(|(old, new)| {
            let (old, new) = (by_site_year(old), by_site_year(new));
            kept.iter().filter(|name| old.get(**name) != new.get(**name)).map(|name| (*name).clone()).collect()
        });
        Self {
            site_years_added: alone(&after, &before),
            site_years_left: alone(&before, &after),
            site_years_corrected: corrected,
            site_years_kept: kept.len(),
            settings: settings(old, new),
        }
    }
}

fn by_site_year(evidence: &Evidence) -> BTreeMap<String, Vec<&TrialEvidence>> {
    let mut found: BTreeMap<String, Vec<&TrialEvidence>> = BTreeMap::new();
    for trial in &evidence.trials {
        found.entry(trial.site_year()).or_default().push(trial);
    }
    found
}

/// Everything that is told of both tables and differs.
fn settings(old: &Document, new: &Document) -> Vec<SettingChange> {
    let (before, after) = (described(old), described(new));
    let differing = before.into_iter().zip(after).filter(|(old, new)| old.1 != new.1);
    differing.map(|((name, old), (_, new))| SettingChange { name, old, new }).collect()
}

/// What is told of a table, always in this order.
fn described(document: &Document) -> [(&'static str, String); 18] {
    let Settings { index, rate, .. } = &document.settings;
    let settings = &document.settings;
    let thousandths = |index: u32| format!("{}.{:03}", index / 1000, index % 1000);
    let list = |names: &[String], none: &str| if names.is_empty() { none.to_owned() } else { names.join(", ") };
    let base = document.prices.iter().find(|price| price.base);
    let ratio = base.map_or_else(String::new, |price| format!("{} {}", price.price_ratio, price.price_ratio_unit));
    let others: Vec<String> =
        document.prices.iter().filter(|price| !price.base).map(|price| price.price_ratio.to_string()).collect();
    let optional = |value: Option<String>, none: &str| value.unwrap_or_else(|| none.to_owned());
    [
        ("name", document.name.clone()),
        ("price ratio", ratio),
        ("other price ratios", list(&others, "none")),
        ("growth stages", format!("{} to {}", document.stages.first, document.stages.last)),
        ("varieties asked for", list(&settings.varieties, "all")),
        ("varieties of the calibration", list(&document.varieties, "not named")),
        (
            "rows",
            format!("{} to {} by {}", thousandths(index.lowest), thousandths(index.highest), thousandths(index.step)),
        ),
        ("outside the rows", settings.outside.name().to_owned()),
        ("rates are multiples of", rate.round_to.to_string()),
        ("largest single rate", rate.highest.to_string()),
        ("smallest rate worth a pass", rate.smallest.to_string()),
        ("relation asked for", optional(settings.relation.map(|kind| kind.name().to_owned()), "by validation")),
        ("relation", settings.relation_taken.clone()),
        ("intervals", format!("{}, level {}", settings.interval_method, settings.level)),
        ("share of new site-years", settings.new_site_years.to_string()),
        ("resamples and permutations", format!("{} and {}", settings.replicates, settings.permutations)),
        ("seed", optional(document.seed.map(|seed| seed.to_string()), "not known")),
        ("made by stook", document.version.clone()),
    ]
}
