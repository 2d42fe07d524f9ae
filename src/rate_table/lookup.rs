//! From a reading and its reference to a rate.

use super::document::{Document, RowInterval};
use super::table::RateTable;
use super::{Decimal, index_thousandths};
use crate::trial::GrowthStage;
use serde::Serialize;

/// A price ratio asked for is one of the table if it differs by at most this share of it: prices are
/// typed with three or four digits. Those of one table are further apart: [`PRICE_RATIOS_APART`](crate::trial::PRICE_RATIOS_APART).
pub(super) const PRICE_MATCH: f64 = 1e-3;

/// What else is known of the reading: checked against the table where given.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Asked<'a> {
    /// The instrument's kind: `canopy-ndvi` or `leaf-chlorophyll`.
    pub instrument: Option<&'a str>,
    /// Growth stage, such as `Feekes 5`, on the scale of the table.
    pub stage: Option<&'a str>,
    /// Variety, capital letters or not.
    pub variety: Option<&'a str>,
    /// Price ratio, in the table's unit; the table's base where none is asked for.
    pub price_ratio: Option<f64>,
}

/// Where an index lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// In a row that has a rate.
    InDomain,
    /// Below the first row that has a rate.
    BelowDomain,
    /// Above the last row that has a rate.
    AboveDomain,
    /// Nothing can be looked up; the reason says why.
    Unusable,
}

impl Status {
    /// The name in documents.
    pub fn name(self) -> &'static str {
        match self {
            Status::InDomain => "in-domain",
            Status::BelowDomain => "below-domain",
            Status::AboveDomain => "above-domain",
            Status::Unusable => "unusable",
        }
    }
}

/// The answer to one lookup.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lookup {
    /// Reading ÷ reference, to the thousandth; `None` where one of them can't be used.
    pub index: Option<f64>,
    /// N rate, in [`rate_unit`](Lookup::rate_unit).
    pub rate: Option<f64>,
    /// Unit of the rate.
    pub rate_unit: String,
    /// Where the index lies.
    pub status: Status,
    /// Why there is no rate, or why it is not the index's own row's.
    pub reason: Option<String>,
    /// Position, from 0, of the row that gave the rate.
    pub row: Option<usize>,
    /// Interval of that row's return-maximising rate.
    pub interval: Option<RowInterval>,
    /// The range that is expected to hold the optima of most new site-years at that row.
    pub new_site_years: Option<RowInterval>,
    /// Whether the rate is that of the nearest row because the index lies in none that has one.
    pub nearest_row_used: bool,
    /// The table's price ratio that was used.
    pub price_ratio: Option<f64>,
    /// Its unit.
    pub price_ratio_unit: Option<String>,
    /// What the user must know: the table's cautions, and what concerns this reading.
    pub cautions: Vec<String>,
    /// Name of the table.
    pub table: String,
    /// Digest of the table.
    pub table_digest: String,
}

impl RateTable {
    /// The rate for a reading and the reading of its N-rich reference, both as typed, by
    /// [`LOOKUP_RULE`](super::LOOKUP_RULE).
    ///
    /// Input that can't be used is an answer, not an error: status `unusable`, with every reason.
    pub fn lookup(&self, reading: &str, reference: &str, asked: &Asked) -> Lookup {
        let document = self.document();
        let mut reasons = mismatches(document, asked);
        let index = match usable_index(document, reading, reference) {
            Ok(index) if index > u64::from(document.usable.index_up_to) => {
                reasons.push(format!(
                    "index {} is too far above its reference (at most {}): check both readings, and that they aren't swapped",
                    thousandths(index),
                    thousandths(document.usable.index_up_to.into()),
                ));
                Some(index)
            }
            Ok(index) => Some(index),
            Err(unusable) => {
                reasons.extend(unusable);
                None
            }
        };
        let price = self.price(asked.price_ratio).map_err(|reason| reasons.push(reason)).ok();
        let mut answer = Lookup {
            index: index.map(|index| index as f64 / 1000.0),
            rate: None,
            rate_unit: document.rate_unit.clone(),
            status: Status::Unusable,
            reason: None,
            row: None,
            interval: None,
            new_site_years: None,
            nearest_row_used: false,
            price_ratio: None,
            price_ratio_unit: None,
            cautions: document.cautions.clone(),
            table: document.name.clone(),
            table_digest: self.digest().to_owned(),
        };
        let listed = price.and_then(|price| document.prices.get(price));
        answer.price_ratio = listed.map(|price| price.price_ratio);
        answer.price_ratio_unit = listed.map(|price| price.price_ratio_unit.clone());
        match (index, price) {
            (Some(index), Some(price)) if reasons.is_empty() => self.fill_in(&mut answer, index, price, asked),
            _ => answer.reason = Some(reasons.join("; ")),
        }
        answer
    }

    /// The same for numbers, each taken as the shortest decimal text that reads back to it.
    pub fn lookup_numbers(&self, reading: f64, reference: f64, asked: &Asked) -> Lookup {
        self.lookup(&reading.to_string(), &reference.to_string(), asked)
    }

    /// Position of the price ratio asked for, or of the base.
    fn price(&self, asked: Option<f64>) -> Result<usize, String> {
        let Some(asked) = asked else { return Ok(self.base_price()) };
        let prices = &self.document().prices;
        let same = |listed: f64| (asked - listed).abs() <= PRICE_MATCH * listed;
        prices.iter().position(|price| same(price.price_ratio)).ok_or_else(|| {
            let listed: Vec<String> = prices.iter().map(|price| price.price_ratio.to_string()).collect();
            let unit = prices.first().map_or("", |price| price.price_ratio_unit.as_str());
            format!("the table has no rates for a price ratio of {asked}; it has {} {unit}", listed.join(", "))
        })
    }

    fn fill_in(&self, answer: &mut Lookup, index: u64, price: usize, asked: &Asked) {
        let document = self.document();
        // Every price ratio of a checked table has a row with a rate.
        let Some((first, last)) = self.rows_with_a_rate(price) else { return };
        let rows = &document.rows;
        let holds = |&i: &usize| {
            rows.get(i).is_some_and(|row| {
                let closed = i + 1 == rows.len() && index == u64::from(row.index_below);
                u64::from(row.index_from) <= index && (index < u64::from(row.index_below) || closed)
            })
        };
        let (status, used) = match (first..=last).find(holds) {
            Some(row) => (Status::InDomain, Some(row)),
            None => {
                let below = rows.get(first).is_some_and(|row| index < u64::from(row.index_from));
                let (status, nearest) = if below { (Status::BelowDomain, first) } else { (Status::AboveDomain, last) };
                let edge = if below {
                    rows.get(first).map(|row| row.index_from)
                } else {
                    rows.get(last).map(|row| row.index_below)
                };
                let nearest = self.gives_nearest_row().then_some(nearest);
                answer.nearest_row_used = nearest.is_some();
                answer.reason = Some(format!(
                    "index {} is {} the rows that have a rate, which {} at {}: {}",
                    thousandths(index),
                    if below { "below" } else { "above" },
                    if below { "begin" } else { "end" },
                    thousandths(edge.unwrap_or(0).into()),
                    if nearest.is_some() {
                        "the rate is that of the nearest row"
                    } else {
                        "the table gives no rate there"
                    },
                ));
                (status, nearest)
            }
        };
        answer.status = status;
        answer.row = used;
        if let Some(cell) = used.and_then(|row| rows.get(row)).and_then(|row| row.rates.get(price)) {
            answer.rate = cell.rate;
            answer.interval = cell.interval.clone();
            answer.new_site_years = cell.new_site_years.clone();
        }
        let domain = document.domain;
        if answer.rate.is_some() && !(u64::from(domain.lowest)..=u64::from(domain.highest)).contains(&index) {
            answer.cautions.push(format!(
                "Index {} lies outside the calibration, {} to {}.",
                thousandths(index),
                thousandths(domain.lowest.into()),
                thousandths(domain.highest.into()),
            ));
        }
        if asked.variety.is_some() && document.varieties.is_empty() {
            answer.cautions.push("The table doesn't say which varieties it was calibrated on.".to_owned());
        }
    }
}

/// An index in thousandths as people write it: 927 is 0.927.
pub(super) fn thousandths(index: u64) -> String {
    format!("{}.{:03}", index / 1000, index % 1000)
}

/// The index, or what is wrong with reading and reference.
fn usable_index(document: &Document, reading: &str, reference: &str) -> Result<u64, Vec<String>> {
    let usable = &document.usable;
    let number = |what: &str, text: &str| -> Result<Decimal, String> {
        let value: Decimal = text.parse().map_err(|error| format!("the {what}: {error}"))?;
        // The limits of a checked table are decimals.
        let above = |limit: f64| Decimal::from_f64(limit).is_ok_and(|limit| value > limit);
        if !above(usable.above) {
            return Err(format!("the {what} is {value}: it must be above {}", usable.above));
        }
        if above(usable.up_to) {
            let name = document.instrument.name();
            return Err(format!("the {what} is {value}: a {name} reading is at most {}", usable.up_to));
        }
        Ok(value)
    };
    match (number("reading", reading), number("reference", reference)) {
        (Ok(reading), Ok(reference)) => index_thousandths(reading, reference)
            .ok_or_else(|| vec![format!("the reference is {reference}: it must be above 0")]),
        (reading, reference) => Err([reading.err(), reference.err()].into_iter().flatten().collect()),
    }
}

/// Where the reading is not of the table's kind.
fn mismatches(document: &Document, asked: &Asked) -> Vec<String> {
    let mut reasons = Vec::new();
    let name = document.instrument.name();
    if let Some(instrument) = asked.instrument.filter(|asked| !asked.trim().eq_ignore_ascii_case(name)) {
        reasons.push(format!("the table is for {name} readings, not {instrument}"));
    }
    if let Some(reason) = asked.stage.and_then(|stage| stage_mismatch(document, stage)) {
        reasons.push(reason);
    }
    let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
    if let Some(variety) = asked.variety
        && !document.varieties.is_empty()
        && !document.varieties.iter().any(|listed| same(listed, variety))
    {
        reasons.push(format!("the table was calibrated on {}, not on {variety}", document.varieties.join(", ")));
    }
    reasons
}

fn stage_mismatch(document: &Document, asked: &str) -> Option<String> {
    let (first, last) = (&document.stages.first, &document.stages.last);
    match GrowthStage::parse(asked).map(|stage| stage.is_within(first, last)) {
        Some(Some(true)) => None,
        Some(Some(false)) => Some(format!("the table is for {first} to {last}, not {asked}")),
        Some(None) => Some(format!("{asked} is on another scale than {first} to {last}, which the table is for")),
        None => Some(format!("\"{asked}\" is not a growth stage such as {first}; the table is for {first} to {last}")),
    }
}
