//! One rate table from its calibrations.

use std::collections::{BTreeMap, BTreeSet};

use super::money::money;
use crate::calibration::{Calibration, FEWEST_SITE_YEARS, NeedPoint, NoRelation, Relation, Resampled};
use crate::rate_table::{
    Document, Domain, IndexRows, Price, RateRule, RateTable, Row, RowInterval, RowRate, Settings, SiteYear, Stages,
    Support, TableError, UsableReadings, Warning, reference_instructions,
};
use crate::stats::interval::Interval;
use crate::stats::isotonic::non_increasing;
use crate::trial::{IndexRange, Programme, TableSpecification};

/// Method of a row's interval.
const METHOD: &str = "site-year-bootstrap";

/// The share of new site-years' optima that a row's range is to hold.
const NEW_SITE_YEARS: f64 = 0.8;

/// What every row interval says of itself until its coverage is measured.
const COVERAGE_NOT_MEASURED: &str = "coverage not measured for this number of site-years";

/// Everything a table is derived from.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    /// The programme.
    pub programme: &'a Programme,
    /// The table wanted.
    pub specification: &'a TableSpecification,
    /// One calibration a price ratio, the base first.
    pub calibrations: &'a [Calibration],
    /// Resampled site-years at the base price ratio.
    pub resampled: Option<&'a Resampled>,
    /// Unit of the price ratios.
    pub price_ratio_unit: Option<&'a str>,
    /// Seed of permutations and resampling.
    pub seed: u64,
    /// Permutations of each response test.
    pub permutations: usize,
    /// Resamples of site-years.
    pub replicates: u64,
}

/// Why there is no table.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoTable {
    /// Neither prices nor a price ratio.
    #[error("no price ratio: give [prices] in the programme, or --price-ratio")]
    NoPriceRatio,
    /// No trial gives a point; each trial's reason.
    #[error("no trial gives a calibration point: {0}")]
    NoPoints(String),
    /// The points determine no relation.
    #[error("no relation between need and index: {0}")]
    NoRelation(#[from] NoRelation),
    /// No row lies in the calibrated range.
    #[error("no row of the table has its midpoint among the calibrated indices {lowest:.3} to {highest:.3}")]
    NoRowSupported {
        /// Lowest index of a point.
        lowest: f64,
        /// Highest index of a point.
        highest: f64,
    },
    /// The table contradicts itself.
    #[error("{0}")]
    Invalid(#[from] TableError),
}

/// Derives the table.
///
/// A row whose midpoint lies outside the calibrated indices has no rate: nothing is extrapolated.
///
/// # Errors
/// [`NoTable`], with the reason.
pub fn derive_table(evidence: &Evidence<'_>) -> Result<RateTable, NoTable> {
    let specification = evidence.specification;
    let base = evidence.calibrations.first().ok_or(NoTable::NoPriceRatio)?;
    if base.points.is_empty() {
        if base.set_aside.is_empty() {
            return Err(NoTable::NoPoints("every reading that it could use is excluded or missing".to_owned()));
        }
        let reasons: Vec<String> =
            base.set_aside.iter().map(|aside| format!("{}: {}", aside.trial, aside.reason)).collect();
        return Err(NoTable::NoPoints(reasons.join("; ")));
    }
    let relations: Vec<&Relation> = evidence
        .calibrations
        .iter()
        .map(|calibration| {
            calibration.relation(specification.relation.unwrap_or(crate::trial::RelationKind::LinearWithFloor))
        })
        .collect::<Result<_, _>>()?;
    let base_relation = relations.first().ok_or(NoTable::NoPriceRatio)?;
    let edges = row_edges(specification.index);
    let supports: Vec<Support> =
        edges.iter().map(|&(from, below)| support(&base.points, from, below, specification.index.highest)).collect();
    let supported: Vec<bool> = edges.iter().map(|edge| in_domain(midpoint(*edge), base_relation.domain)).collect();
    if !supported.contains(&true) {
        let (lowest, highest) = base_relation.domain;
        return Err(NoTable::NoRowSupported { lowest, highest });
    }
    let columns: Vec<Vec<Option<f64>>> =
        relations.iter().map(|relation| rates(relation, evidence, &edges, &supported, &supports)).collect();
    let rows = edges.iter().enumerate().map(|(position, &edge)| {
        let row_rates = columns.iter().zip(&relations).enumerate().map(|(column, (rates, relation))| {
            let rate = rates.get(position).copied().flatten();
            let estimate = relation.rate(midpoint(edge));
            let resampled = evidence.resampled.filter(|_| column == 0);
            RowRate {
                rate,
                interval: rate.and(resampled).and_then(|resampled| interval(resampled, edge, estimate, evidence)),
                new_site_years: None,
            }
        });
        Row {
            index_from: edge.0,
            index_below: edge.1,
            rates: row_rates.collect(),
            support: supports.get(position).copied().unwrap_or_default(),
            note: (!supported.get(position).copied().unwrap_or_default())
                .then(|| "outside the calibrated indices: no rate".to_owned()),
        }
    });
    let rows = rows.collect();
    Ok(RateTable::new(document(evidence, &relations, rows))?)
}

/// Lower and upper edge of each row, in thousandths.
fn row_edges(range: IndexRange) -> Vec<(u32, u32)> {
    let step = range.step.max(1);
    let starts = std::iter::successors(Some(range.lowest), |start| start.checked_add(step));
    starts
        .take_while(|start| *start < range.highest)
        .map(|start| (start, start.saturating_add(step).min(range.highest)))
        .collect()
}

fn midpoint((from, below): (u32, u32)) -> f64 {
    f64::from(from + below) / 2_000.0
}

fn in_domain(index: f64, (lowest, highest): (f64, f64)) -> bool {
    (lowest..=highest).contains(&index)
}

/// The calibration points in a row: index in whole thousandths, the last row closed above.
fn support(points: &[NeedPoint], from: u32, below: u32, highest: u32) -> Support {
    let in_row = |point: &&NeedPoint| {
        let thousandths = (point.index * 1_000.0 + 0.5).floor();
        let above = if below == highest { thousandths > f64::from(below) } else { thousandths >= f64::from(below) };
        thousandths >= f64::from(from) && !above
    };
    let inside: Vec<&NeedPoint> = points.iter().filter(in_row).collect();
    let site_years: BTreeSet<&str> = inside.iter().map(|point| point.site_year.as_str()).collect();
    Support {
        site_years: site_years.len() as u32,
        points: inside.len() as u32,
        plots: inside.iter().map(|point| point.plots as u32).sum(),
    }
}

/// Rates of one price ratio: at the midpoints, never rising with the index, clamped, rounded.
fn rates(
    relation: &Relation,
    evidence: &Evidence<'_>,
    edges: &[(u32, u32)],
    supported: &[bool],
    supports: &[Support],
) -> Vec<Option<f64>> {
    let limits = evidence.specification.rate;
    let usable = || supported.iter().enumerate().filter(|(_, supported)| **supported).map(|(position, _)| position);
    let at_midpoints: Vec<f64> =
        usable().filter_map(|position| edges.get(position)).map(|edge| relation.rate(midpoint(*edge))).collect();
    // One more than its points, so that a row between points still counts.
    let weights: Vec<f64> =
        usable().filter_map(|position| supports.get(position)).map(|support| f64::from(support.points) + 1.0).collect();
    // Values and weights are finite and as many as each other; where they were not, no row would have a rate.
    let monotone = non_increasing(&at_midpoints, &weights).unwrap_or_default();
    let mut rates = vec![None; edges.len()];
    for (position, rate) in usable().zip(monotone) {
        if let Some(slot) = rates.get_mut(position) {
            let rate = round_to(rate.min(limits.highest), limits.round_to).min(limits.highest);
            *slot = Some(if rate < limits.smallest { 0.0 } else { rate });
        }
    }
    rates
}

/// The nearest multiple, halves upward.
fn round_to(rate: f64, multiple: f64) -> f64 {
    (rate / multiple + 0.5).floor() * multiple
}

fn interval(resampled: &Resampled, edge: (u32, u32), estimate: f64, evidence: &Evidence<'_>) -> Option<RowInterval> {
    let level = evidence.programme.decisions.level;
    let (low, high) = resampled.rate_interval(midpoint(edge), level)?;
    Some(RowInterval {
        interval: Interval::between(Some(estimate), Some(low), Some(high), level, METHOD),
        note: Some(COVERAGE_NOT_MEASURED.to_owned()),
    })
}

fn document(evidence: &Evidence<'_>, relations: &[&Relation], rows: Vec<Row>) -> Document {
    let Evidence { programme, specification, calibrations, .. } = *evidence;
    let points = calibrations.first().map_or(&[][..], |calibration| &calibration.points);
    let domain = relations.first().map_or((0.0, 0.0), |relation| relation.domain);
    let varieties: BTreeSet<String> = points.iter().filter_map(|point| point.variety.clone()).collect();
    let trials: BTreeSet<&str> = points.iter().map(|point| point.trial.as_str()).collect();
    let used = programme.trials.iter().filter(|trial| trials.contains(trial.folder.as_str()));
    let site_years: Vec<SiteYear> = used
        .map(|trial| SiteYear {
            site: trial.site.clone(),
            harvest_year: i32::from(trial.harvest_year),
            trial: trial.folder.clone(),
            need_from: trial.need_from,
        })
        .collect();
    let prices = calibrations.iter().enumerate().map(|(position, calibration)| Price {
        price_ratio: calibration.price_ratio,
        price_ratio_unit: evidence.price_ratio_unit.unwrap_or_default().to_owned(),
        base: position == 0,
        money: money(programme, calibration.price_ratio),
    });
    let settings = Settings {
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
        relation_taken: relations.first().map_or_else(String::new, |relation| relation.kind.name().to_owned()),
        interval_method: METHOD.to_owned(),
        level: programme.decisions.level,
        new_site_years: NEW_SITE_YEARS,
        replicates: evidence.replicates,
        permutations: evidence.permutations as u64,
        seed: Some(evidence.seed),
    };
    Document {
        schema: String::new(),
        digest: String::new(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        name: specification.name.clone(),
        title: programme.title.clone(),
        crop: programme.crop.name.clone(),
        instrument: specification.instrument,
        stages: Stages { first: specification.stages.0.clone(), last: specification.stages.1.clone() },
        varieties: varieties.into_iter().collect(),
        reference: reference_instructions(specification.instrument).to_owned(),
        usable: UsableReadings::of(specification.instrument),
        lookup_rule: Vec::new(),
        rate_unit: programme.units.n_rate.to_string(),
        yield_unit: programme.units.yields.to_string(),
        currency: programme.prices.as_ref().map(|_| programme.currency.clone()),
        prices: prices.collect(),
        settings,
        rows,
        domain: Domain { lowest: (domain.0 * 1_000.0).ceil() as u32, highest: (domain.1 * 1_000.0).floor() as u32 },
        relations: relations
            .iter()
            .zip(calibrations)
            .map(|(relation, calibration)| crate::rate_table::Relation {
                kind: relation.kind.name().to_owned(),
                price_ratio: calibration.price_ratio,
                coefficients: coefficients(relation),
                sigma: Some(relation.sigma),
            })
            .collect(),
        warnings: warnings(calibrations),
        site_years,
        verdict: None,
        cautions: Vec::new(),
        inputs: programme.inputs.clone(),
        evidence: None,
    }
}

fn coefficients(relation: &Relation) -> BTreeMap<String, f64> {
    let names = ["intercept", "index", "index_squared"];
    names.into_iter().map(str::to_owned).zip(relation.coefficients.iter().copied()).collect()
}

fn warnings(calibrations: &[Calibration]) -> Vec<Warning> {
    let site_years = calibrations.first().map_or(0, |calibration| calibration.site_years().len());
    let mut warnings = Vec::new();
    if site_years < FEWEST_SITE_YEARS {
        let text = if site_years == 1 {
            "one site-year: nothing tells this rule from the conditions of that site-year".to_owned()
        } else {
            format!("{site_years} site-years: too few for an interval")
        };
        warnings.push(Warning { code: "few-site-years".to_owned(), text });
    }
    warnings
}
