//! Tables of version 1, read as those of today: enough for looking up, not for deriving anew.

use super::document::{
    Document, Domain, IndexRows, Price, RateRule, Relation, Row, RowInterval, RowRate, Settings, SiteYear, Stages,
    Support, UsableReadings, Warning,
};
use crate::trial::{InputFile, Instrument, Outside, RelationKind};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;

/// What the `schema` of a table of version 1 says.
pub(super) const SCHEMA_1: &str = "stook/table/1";
/// Code of the warning that a converted table carries.
pub(super) const CONVERTED: &str = "older-table";
/// Stands in where no interval says its level.
const LEVEL: f64 = 0.95;
/// Stands in: version 1 made no range of new site-years' optima.
const NEW_SITE_YEARS: f64 = 0.8;

/// A document of version 1; fields as in [`Document`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Document1 {
    schema: String,
    pub(super) digest: String,
    version: String,
    name: String,
    title: String,
    crop: String,
    instrument: Instrument,
    stages: Stages,
    varieties: Vec<String>,
    reference: String,
    usable: UsableReadings,
    lookup_rule: Vec<String>,
    index: IndexRows,
    rate_unit: String,
    rate: RateRule1,
    yield_unit: String,
    currency: Option<String>,
    prices: Vec<Price1>,
    outside: Outside,
    rows: Vec<Row1>,
    domain: Domain,
    relations: Vec<Relation>,
    site_years: Vec<SiteYear>,
    cautions: Vec<String>,
    warnings: Vec<Warning>,
    inputs: Vec<InputFile>,
    options: BTreeMap<String, Value>,
    seed: Option<u64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct RateRule1 {
    round_to: f64,
    highest: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Price1 {
    price_ratio: f64,
    price_ratio_unit: String,
    base: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row1 {
    index_from: u32,
    index_below: u32,
    rates: Vec<RowRate1>,
    support: Support,
    note: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct RowRate1 {
    rate: Option<f64>,
    interval: Option<RowInterval>,
}

impl From<Document1> for Document {
    fn from(old: Document1) -> Document {
        let settings = old.settings();
        let row = |row: Row1| Row {
            index_from: row.index_from,
            index_below: row.index_below,
            rates: row.rates.into_iter().map(RowRate::from).collect(),
            support: row.support,
            note: row.note,
        };
        let price = |price: Price1| Price {
            price_ratio: price.price_ratio,
            price_ratio_unit: price.price_ratio_unit,
            base: price.base,
            money: None,
        };
        let mut warnings = old.warnings;
        let text = "a table of version 1: a reading can be looked up in it, but it does not carry what it was derived from, so that it \
                    can't be repriced, nor what moved its rates be told; derive it again from its trials for that";
        warnings.push(Warning { code: CONVERTED.to_owned(), text: text.to_owned() });
        Document {
            schema: old.schema,
            digest: old.digest,
            version: old.version,
            name: old.name,
            title: old.title,
            crop: old.crop,
            instrument: old.instrument,
            stages: old.stages,
            varieties: old.varieties,
            reference: old.reference,
            usable: old.usable,
            lookup_rule: old.lookup_rule,
            rate_unit: old.rate_unit,
            yield_unit: old.yield_unit,
            currency: old.currency,
            prices: old.prices.into_iter().map(price).collect(),
            settings,
            seed: old.seed,
            rows: old.rows.into_iter().map(row).collect(),
            domain: old.domain,
            relations: old.relations,
            site_years: old.site_years,
            verdict: None,
            cautions: old.cautions,
            warnings,
            inputs: old.inputs,
            evidence: None,
        }
    }
}

impl From<RowRate1> for RowRate {
    fn from(old: RowRate1) -> RowRate {
        RowRate { rate: old.rate, interval: old.interval, new_site_years: None }
    }
}

impl Document1 {
    fn settings(&self) -> Settings {
        let whole = |name: &str| self.options.get(name).and_then(Value::as_u64).unwrap_or_default();
        let relation = self.options.get("relation").and_then(Value::as_str);
        let interval = self.rows.iter().flat_map(|row| &row.rates).find_map(|rate| rate.interval.as_ref());
        let level = interval.map(|noted| noted.interval.level);
        Settings {
            index: self.index,
            rate: RateRule { round_to: self.rate.round_to, highest: self.rate.highest, smallest: 0.0 },
            outside: self.outside,
            varieties: Vec::new(),
            relation: RelationKind::ALL.into_iter().find(|kind| Some(kind.name()) == relation),
            relation_taken: relation
                .or(self.relations.first().map(|one| one.kind.as_str()))
                .unwrap_or("not said")
                .to_owned(),
            interval_method: interval.map_or("none", |noted| noted.interval.method.as_str()).to_owned(),
            level: level.or_else(|| self.options.get("level")?.as_f64()).unwrap_or(LEVEL),
            new_site_years: NEW_SITE_YEARS,
            replicates: whole("replicates"),
            permutations: whole("permutations"),
        }
    }
}
