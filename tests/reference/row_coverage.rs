//! Whether the rows of a rate table hold what they promise: simulated programmes of a population whose right answers are known, counted.
//!
//! A row's truth is the topdress with the largest mean net return over all site-years and treatments of the population that show the row's index as
//! measured. Interval (a) is to hold it at its level; range (b) is to hold 80 % of the treatments' own optima there.
//!
//! The whole simulation writes the tables under `reports/row_coverage`:
//! `cargo test --release --test reference -- --ignored --nocapture row_coverage::full`. The reduced one is of the same kind, with few programmes.

mod methods;
pub mod study;
mod table;
mod tally;
mod truths;

use std::collections::BTreeMap;

use methods::Method;
use rayon::prelude::*;
use stook::calibration::{Materials, Resampled, resample};
use stook::rate_table::Row;
use stook::season::{Season, TableResult};
use stook::trial::{Instrument, RelationKind};
use study::{LEVEL, PRICE_RATIO, Study};
use tally::{Tally, ends};
use truths::{Truth, truths};

/// Programmes of each number of site-years in the committed tables.
const PROGRAMMES: u64 = 400;
/// Numbers of site-years.
const SITE_YEARS: [usize; 4] = [4, 8, 16, 32];

/// What is counted together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Line {
    pub instrument: Instrument,
    pub site_years: usize,
    /// Name of the relation, or `chosen`.
    pub relation: String,
    pub method: Method,
    /// Midpoint of the row in thousandths; `None` for all rows whose truth lies within the clamps.
    pub midpoint: Option<u32>,
}

pub type Lines = BTreeMap<Line, Tally>;

/// The row of a table that has its midpoint there.
fn row_at(table: &TableResult, midpoint: u32) -> Option<&Row> {
    let rows = &table.derived.table.as_ref().ok()?.document().rows;
    rows.iter().find(|row| row.index_from + row.index_below == 2 * midpoint)
}

/// Counts every table of a season.
fn count(season: &Season, site_years: usize, truths: &[Truth]) -> Lines {
    let mut lines = Lines::new();
    for table in &season.tables {
        let own: Vec<&Truth> =
            truths.iter().filter(|truth| truth.instrument == table.specification.instrument).collect();
        let mut add = |relation: &str, method: Method, truth: &Truth, of: &dyn Fn(&mut Tally)| {
            let line = |midpoint| Line {
                instrument: truth.instrument,
                site_years,
                relation: relation.to_owned(),
                method,
                midpoint,
            };
            of(lines.entry(line(Some(truth.midpoint))).or_default());
            if truth.is_within_clamps() {
                of(lines.entry(line(None)).or_default());
            }
        };
        for truth in &own {
            let rated =
                row_at(table, truth.midpoint).and_then(|row| row.rates.first()).filter(|rate| rate.rate.is_some());
            add("chosen", Method::Published, truth, &|tally| {
                let Some(rated) = rated else { return tally.count_unrated() };
                let interval = rated.interval.as_ref().map(|found| &found.interval);
                let estimate = interval.and_then(|found| found.estimate).or(rated.rate).unwrap_or(f64::NAN);
                tally.count(estimate, interval.and_then(ends), truth.measured.rate);
                if let Some((low, high)) = rated.new_site_years.as_ref().and_then(|range| ends(&range.interval)) {
                    tally.count_range((low, high), truth.measured.share_within(low, high));
                }
            });
        }
        let mut by_method = |relation: &str, resampled: &Resampled, methods: &[Method]| {
            let (lowest, highest) = resampled.relation.domain;
            for truth in &own {
                let index = f64::from(truth.midpoint) / 1_000.0;
                for method in methods {
                    add(relation, *method, truth, &|tally| {
                        if !(lowest..=highest).contains(&index) {
                            return tally.count_unrated();
                        }
                        let estimate = resampled.relation.rate(index);
                        tally.count(estimate, method.interval(resampled, index, LEVEL), truth.measured.rate);
                    });
                }
            }
        };
        let Some(calibration) = table.derived.calibrations.first() else { continue };
        if let Some(resampled) = &calibration.resampled {
            by_method("chosen", resampled, &Method::OF_RESAMPLES);
            by_method("chosen", resampled, &Method::OF_JACKKNIFE);
        }
        let materials = Materials::new(calibration.points.clone(), &table.gathered.evidence, PRICE_RATIO);
        for kind in RelationKind::ALL {
            let relation = materials.relation(kind);
            let resampled = relation.and_then(|relation| resample(&materials, &relation, 0, season.options.seed));
            if let Ok(Some(resampled)) = resampled {
                by_method(kind.name(), &resampled, &Method::OF_JACKKNIFE);
            }
        }
    }
    lines.values_mut().for_each(Tally::close_programme);
    lines
}

/// Lines of so many programmes of a study, counted. The same on any number of threads: counts, means and medians have no order but for rounding.
fn run(study: &Study, site_years: usize, programmes: u64, truths: &[Truth]) -> Lines {
    let one = |seed: u64| count(&study.season(seed, site_years), site_years, truths);
    let together = |mut lines: Lines, others: Lines| {
        for (line, tally) in others {
            let before = lines.remove(&line).unwrap_or_default();
            lines.insert(line, before.merge(tally));
        }
        lines
    };
    let all: Vec<Lines> = (1..=programmes).into_par_iter().map(one).collect();
    all.into_iter().fold(Lines::new(), together)
}

/// Prints the lines over all rows within the clamps.
fn print(lines: &Lines) {
    for (line, tally) in lines.iter().filter(|(line, _)| line.midpoint.is_none()) {
        let percent = |share: Option<f64>| 100.0 * share.unwrap_or(f64::NAN);
        let rows = lines.iter().filter(|(other, _)| {
            (other.instrument, &other.relation, other.method) == (line.instrument, &line.relation, line.method)
                && other.site_years == line.site_years
                && other.midpoint.is_some()
        });
        let by_row: Vec<String> = rows
            .map(|(_, tally)| format!("{:.0}/{:+.0}", percent(tally.coverage()), tally.bias().unwrap_or(f64::NAN)))
            .collect();
        println!(
            "{:16} {:2} {:20} {:28} {:5.1} ± {:.1} width {:5.1} none {} range {:.1} ({:.0}); by row {}",
            line.instrument.name(),
            line.site_years,
            line.relation,
            line.method.name(),
            percent(tally.coverage()),
            percent(tally.coverage_error()),
            tally.median_width().unwrap_or(f64::NAN),
            tally.rated - tally.with_interval,
            percent(tally.range_share()),
            tally.median_range_width().unwrap_or(f64::NAN),
            by_row.join(" ")
        );
    }
}

fn full(study: &Study) {
    let truths = truths(study);
    table::write_truths(study, &truths);
    let mut all = Lines::new();
    for site_years in SITE_YEARS {
        let lines = run(study, site_years, PROGRAMMES, &truths);
        println!("{}, {PROGRAMMES} programmes of {site_years} site-years", study.name);
        print(&lines);
        all.extend(lines);
        table::write(study, PROGRAMMES, &all);
    }
}

#[test]
#[ignore = "an hour: early × topdress programmes, written to reports/row_coverage"]
fn full_simulation_of_early_by_topdress_is_written_to_the_reports() {
    full(&Study::topdress());
}

#[test]
#[ignore = "an hour: programmes with trials all early, written to reports/row_coverage"]
fn full_simulation_of_mixed_designs_is_written_to_the_reports() {
    full(&Study::mixed());
}

#[test]
#[ignore = "an hour: site-years that are not independent, written to reports/row_coverage"]
fn full_simulation_of_like_sites_and_seasons_is_written_to_the_reports() {
    full(&Study::alike());
}
