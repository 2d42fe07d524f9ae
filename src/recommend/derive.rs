//! One rate table from its calibrations.

use std::collections::{BTreeMap, BTreeSet};

use crate::calibration::{
    self, Basis, Calibration, CalibrationOptions, FEWEST_SITE_YEARS, HoldOut, NeedPoint, NoRelation, Relation, Rule,
    SetAside, Validation, Word, calibrate, verdict,
};
use crate::experiment::Evidence;
use crate::rate_table::{
    self, Document, Domain, IndexRows, Price, RateTable, Row, RowInterval, RowRate, Settings, SiteYear, Stages,
    Support, TableError, UsableReadings, VerdictWord, Warning, reference_instructions,
};
use crate::stats::interval::Interval;
use crate::stats::isotonic::non_increasing;
use crate::trial::{InputFile, Instrument};

/// The share of new site-years' optima that a row's range is to hold.
pub const NEW_SITE_YEARS: f64 = 0.8;

/// What a table says of itself beside what it is derived from.
#[derive(Clone, Debug)]
pub struct Heading {
    /// Name of the table.
    pub name: String,
    /// Title of the programme.
    pub title: String,
    /// The crop.
    pub crop: String,
    /// The instrument.
    pub instrument: Instrument,
    /// First and last growth stage.
    pub stages: Stages,
    /// Unit of every rate.
    pub rate_unit: String,
    /// Unit of yields.
    pub yield_unit: String,
    /// Currency, where prices were given.
    pub currency: Option<String>,
    /// Price ratios, the base first.
    pub prices: Vec<Price>,
    /// The programme's standard topdress.
    pub standard: Option<f64>,
    /// Seed of what is left to chance.
    pub seed: Option<u64>,
    /// Files it is made from.
    pub inputs: Vec<InputFile>,
    /// Whether the table carries its evidence, plot yields among it.
    pub share_plots: bool,
}

/// What a table is derived from, with everything that was derived on the way.
#[derive(Clone, Debug)]
pub struct Derived {
    /// One calibration a price ratio, the base first.
    pub calibrations: Vec<Calibration>,
    /// Held-out site-years, seasons and sites at the base price ratio, whichever are two or more.
    pub validations: Vec<Validation>,
    /// What the held-out site-years say of the sensor; `None` with fewer than two.
    pub verdict: Option<calibration::Verdict>,
    /// What a yield unit is worth in the unit of forgone returns.
    pub return_factor: f64,
    /// Unit of forgone returns: money an area where the price of the crop is known, else the yield unit.
    pub return_unit: String,
    /// The table, or why there is none.
    pub table: Result<RateTable, NoTable>,
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

/// Derives a table from evidence, at every price ratio of its heading. `set_aside` is what gave no evidence, for the reason where there is no
/// table.
#[must_use]
pub fn derive(evidence: &Evidence, set_aside: &[SetAside], heading: &Heading, settings: &Settings) -> Derived {
    derive_with(evidence, set_aside, heading, settings, true)
}

/// The same, without holding anything out where only the rates are wanted: that is the dear part.
pub(super) fn derive_with(
    evidence: &Evidence,
    set_aside: &[SetAside],
    heading: &Heading,
    settings: &Settings,
    validated: bool,
) -> Derived {
    let options = CalibrationOptions {
        relation: settings.relation,
        level: settings.level,
        highest: settings.rate.highest,
        standard: heading.standard,
        seed: heading.seed.unwrap_or_default(),
    };
    let basis = Basis::of(evidence);
    let mut calibrations: Vec<Calibration> = Vec::new();
    for price in &heading.prices {
        let taken = calibrations.first().and_then(|base| base.chosen.as_ref().ok()).map(|chosen| chosen.kind);
        calibrations.push(calibrate(&basis, evidence, &options, price.price_ratio, taken));
    }
    let base = calibrations.first().filter(|_| validated);
    let validations = base.map(|base| base.validations(&basis, evidence, &options)).unwrap_or_default();
    let by_site_year = validations.iter().find(|validation| validation.by == HoldOut::SiteYear);
    let verdict = by_site_year.and_then(|validation| verdict(validation, options.level, options.seed));
    let (return_factor, return_unit) = heading.returns();
    let held_out = by_site_year
        .zip(verdict.as_ref())
        .and_then(|(validation, verdict)| held_out(validation, verdict, return_factor, &return_unit));
    let table = table(evidence, set_aside, heading, settings, &calibrations, held_out);
    Derived { calibrations, validations, verdict, return_factor, return_unit, table }
}

impl Heading {
    /// What a yield unit is worth in the unit of returns, and that unit: money an area where the price of the crop is known, else the
    /// yield unit itself.
    fn returns(&self) -> (f64, String) {
        let money = self.prices.first().and_then(|price| price.money.as_ref());
        match (money, &self.currency) {
            (Some(money), Some(currency)) => {
                let area = self.yield_unit.rsplit('/').next().unwrap_or_default();
                (money.crop, format!("{currency}/{area}"))
            }
            _ => (1.0, self.yield_unit.clone()),
        }
    }
}

/// The verdict as a table carries it.
fn held_out(
    validation: &Validation,
    verdict: &calibration::Verdict,
    factor: f64,
    unit: &str,
) -> Option<rate_table::Verdict> {
    Some(rate_table::Verdict {
        verdict: match verdict.word {
            Word::Pays => VerdictWord::Pays,
            Word::CannotTellYet => VerdictWord::CannotTellYet,
            Word::DoesNotPay => VerdictWord::DoesNotPay,
        },
        sensor_rule: validation.performance(Rule::Sensor)?.forgone * factor,
        flat_rule: validation.performance(verdict.against)?.forgone * factor,
        flat_rule_is: match verdict.against {
            Rule::FlatTotal => "the best total of early and topdress N of the other site-years, less the N already on",
            _ => "the best topdress of the other site-years given the N already on",
        }
        .to_owned(),
        unit: unit.to_owned(),
        site_years: verdict.site_years as u32,
    })
}

/// A row whose midpoint lies outside the calibrated indices has no rate: nothing is extrapolated.
fn table(
    evidence: &Evidence,
    set_aside: &[SetAside],
    heading: &Heading,
    settings: &Settings,
    calibrations: &[Calibration],
    verdict: Option<rate_table::Verdict>,
) -> Result<RateTable, NoTable> {
    let base = calibrations.first().ok_or(NoTable::NoPriceRatio)?;
    if base.points.is_empty() {
        let aside: Vec<&SetAside> = set_aside.iter().chain(&base.set_aside).collect();
        if aside.is_empty() {
            return Err(NoTable::NoPoints("every reading that it could use is excluded or missing".to_owned()));
        }
        let reasons: Vec<String> = aside.iter().map(|aside| format!("{}: {}", aside.trial, aside.reason)).collect();
        return Err(NoTable::NoPoints(reasons.join("; ")));
    }
    let relations: Vec<&Relation> = calibrations.iter().map(Calibration::relation).collect::<Result<_, _>>()?;
    let base_relation = relations.first().ok_or(NoTable::NoPriceRatio)?;
    let edges = row_edges(settings.index);
    let points: Vec<&NeedPoint> = base.points_taking_part().collect();
    let supports: Vec<Support> =
        edges.iter().map(|&(from, below)| support(&points, from, below, settings.index.highest)).collect();
    let supported: Vec<bool> = edges.iter().map(|edge| in_domain(midpoint(*edge), base_relation.domain)).collect();
    if !supported.contains(&true) {
        let (lowest, highest) = base_relation.domain;
        return Err(NoTable::NoRowSupported { lowest, highest });
    }
    let columns: Vec<Vec<Option<f64>>> =
        relations.iter().map(|relation| rates(relation, settings, &edges, &supported, &supports)).collect();
    let rows = edges.iter().enumerate().map(|(position, &edge)| {
        let index = midpoint(edge);
        let row_rates = columns.iter().zip(calibrations).map(|(rates, calibration)| {
            let rate = rates.get(position).copied().flatten();
            let resampled = rate.and(calibration.resampled.as_ref());
            RowRate {
                rate,
                interval: resampled.map(|resampled| noted(resampled.rate_interval(index, settings.level))),
                new_site_years: resampled
                    .map(|resampled| noted(resampled.range_of_new_site_years(index, settings.new_site_years))),
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
    Ok(RateTable::new(document(evidence, heading, settings, calibrations, &relations, rows, verdict))?)
}

/// Lower and upper edge of each row, in thousandths.
fn row_edges(range: IndexRows) -> Vec<(u32, u32)> {
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
fn support(points: &[&NeedPoint], from: u32, below: u32, highest: u32) -> Support {
    let in_row = |point: &&&NeedPoint| {
        let thousandths = (point.index * 1_000.0 + 0.5).floor();
        let above = if below == highest { thousandths > f64::from(below) } else { thousandths >= f64::from(below) };
        thousandths >= f64::from(from) && !above
    };
    let inside: Vec<&NeedPoint> = points.iter().filter(in_row).copied().collect();
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
    settings: &Settings,
    edges: &[(u32, u32)],
    supported: &[bool],
    supports: &[Support],
) -> Vec<Option<f64>> {
    let limits = settings.rate;
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

/// An interval, and what is not known of it.
fn noted(interval: Interval) -> RowInterval {
    RowInterval { interval, note: Some(COVERAGE.to_owned()) }
}

/// What every row interval says of itself: a programme is none of the simulated ones (`reports/row_coverage`).
const COVERAGE: &str = "coverage known from simulated programmes alone";

fn document(
    evidence: &Evidence,
    heading: &Heading,
    settings: &Settings,
    calibrations: &[Calibration],
    relations: &[&Relation],
    rows: Vec<Row>,
    verdict: Option<rate_table::Verdict>,
) -> Document {
    let points: Vec<&NeedPoint> =
        calibrations.first().map(|base| base.points_taking_part().collect()).unwrap_or_default();
    let domain = relations.first().map_or((0.0, 0.0), |relation| relation.domain);
    let varieties: BTreeSet<String> = points.iter().filter_map(|point| point.variety.clone()).collect();
    let trials: BTreeSet<&str> = points.iter().map(|point| point.trial.as_str()).collect();
    let used = evidence.trials.iter().filter(|trial| trials.contains(trial.trial.as_str()));
    let site_years = used.map(|trial| SiteYear {
        site: trial.site.clone(),
        harvest_year: i32::from(trial.harvest_year),
        trial: trial.trial.clone(),
        need_from: trial.need_from,
    });
    Document {
        schema: String::new(),
        digest: String::new(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        name: heading.name.clone(),
        title: heading.title.clone(),
        crop: heading.crop.clone(),
        instrument: heading.instrument,
        stages: heading.stages.clone(),
        varieties: varieties.into_iter().collect(),
        reference: reference_instructions(heading.instrument).to_owned(),
        usable: UsableReadings::of(heading.instrument),
        lookup_rule: Vec::new(),
        rate_unit: heading.rate_unit.clone(),
        yield_unit: heading.yield_unit.clone(),
        currency: heading.currency.clone(),
        prices: heading.prices.clone(),
        settings: Settings {
            relation_taken: relations.first().map_or_else(String::new, |relation| relation.kind.name().to_owned()),
            ..settings.clone()
        },
        seed: heading.seed,
        rows,
        domain: Domain { lowest: (domain.0 * 1_000.0).ceil() as u32, highest: (domain.1 * 1_000.0).floor() as u32 },
        relations: relations
            .iter()
            .zip(calibrations)
            .map(|(relation, calibration)| rate_table::Relation {
                kind: relation.kind.name().to_owned(),
                price_ratio: calibration.price_ratio,
                coefficients: coefficients(relation),
                sigma: Some(relation.between.hypot(relation.within)),
            })
            .collect(),
        warnings: warnings(calibrations),
        site_years: site_years.collect(),
        verdict,
        cautions: Vec::new(),
        inputs: heading.inputs.clone(),
        evidence: heading.share_plots.then(|| evidence.clone()),
    }
}

fn coefficients(relation: &Relation) -> BTreeMap<String, f64> {
    relation.form.coefficients().into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}

fn warnings(calibrations: &[Calibration]) -> Vec<Warning> {
    let site_years = calibrations.first().map_or(0, |calibration| calibration.taking_part.len());
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
