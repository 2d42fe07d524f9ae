//! The table of an unbalanced design with one error: each effect by what it explains beyond others, blocks first.

use super::experiment::Experiment;
use super::linear::{Groups, LinearFit, beyond};
use super::result::{SourceRow, StratumError, TermTests};
use super::table::{BLOCK_WITHIN, error_name, source_row, stratum_error};
use super::terms::{Cells, Term};
use crate::stats::distribution::f_survival;
use crate::stats::least_squares::dot;

/// The table and the fit that it is of.
pub(super) struct LeastSquares {
    pub(super) rows: Vec<SourceRow>,
    pub(super) strata: Vec<StratumError>,
    pub(super) fit: LinearFit,
}

/// Positions of the terms that a term is adjusted for.
pub(super) fn adjusted_for(terms: &[Term], position: usize, tests: TermTests) -> Vec<usize> {
    let Some(term) = terms.get(position) else { return Vec::new() };
    let others = terms.iter().enumerate().filter(|(other, _)| *other != position);
    let counts = |(other, one): &(usize, &Term)| match tests {
        TermTests::Sequential => *other < position,
        TermTests::Adjusted => !one.contains(term),
        TermTests::Marginal => true,
    };
    others.filter(counts).map(|(other, _)| other).collect()
}

impl LeastSquares {
    /// Analyses an experiment by least squares; `cells` may count the site-years as a factor. `None` without observations.
    pub(super) fn new(experiment: &Experiment, cells: &Cells, grand_mean: f64, tests: TermTests) -> Option<Self> {
        let plots = experiment.plots();
        let site_years = experiment.site_years.as_ref().map(|factor| factor.level_of.as_slice());
        let groups = Groups::new(experiment.blocks.as_deref().or(site_years), plots);
        let over_cells: Vec<Vec<f64>> = cells.terms.iter().flat_map(|term| term.columns.iter().cloned()).collect();
        let fit = LinearFit::new(&experiment.yields, groups.clone(), &[], cells, over_cells)?;
        let mut rows = of_groups(experiment, grand_mean, &groups);
        let error = error_name(experiment, 0);
        let tested = |df: usize, ss: f64| {
            let f = ss / df as f64 / fit.mean_square().filter(|_| df > 0)?;
            Some((f, f_survival(f, df as f64, fit.df as f64)?, error.clone(), fit.df as f64))
        };
        let mut first = 0;
        let ranges: Vec<std::ops::Range<usize>> = cells
            .terms
            .iter()
            .map(|term| {
                first += term.columns.len();
                first - term.columns.len()..first
            })
            .collect();
        let columns_of =
            |position: usize| ranges.get(position).and_then(|range| fit.columns.get(range.clone())).unwrap_or_default();
        for (position, term) in cells.terms.iter().enumerate() {
            let mut basis = Vec::new();
            for other in adjusted_for(&cells.terms, position, tests) {
                let more = beyond(&basis, columns_of(other));
                basis.extend(more);
            }
            let whole = beyond(&basis, columns_of(position));
            let ss = |vectors: &[Vec<f64>]| vectors.iter().map(|one| dot(one, &fit.within).powi(2)).sum::<f64>();
            rows.push(source_row(&term.name, whole.len(), ss(&whole), tested(whole.len(), ss(&whole))));
            for part in term.parts(&experiment.treatments) {
                let more = beyond(&basis, columns_of(position).get(part.columns).unwrap_or_default());
                let row = source_row(&part.name, more.len(), ss(&more), tested(more.len(), ss(&more)));
                rows.push(SourceRow { part_of: Some(term.name.clone()), ..row });
                basis.extend(more);
            }
        }
        rows.push(source_row(&error, fit.df, fit.rss, None));
        let total: f64 = experiment.yields.iter().map(|value| (value - grand_mean).powi(2)).sum();
        rows.push(source_row("total", plots.saturating_sub(1), total, None));
        let strata = vec![stratum_error(experiment, 0, fit.df, fit.mean_square(), grand_mean, 1)];
        Some(Self { rows, strata, fit })
    }
}

/// Rows of site-years and blocks, whatever the treatments: they come first.
fn of_groups(experiment: &Experiment, grand_mean: f64, groups: &Groups) -> Vec<SourceRow> {
    let among = |groups: &Groups| -> f64 {
        let means = groups.means(&experiment.yields.iter().map(|value| value - grand_mean).collect::<Vec<f64>>());
        groups.labels().iter().map(|group| means.get(*group).map_or(0.0, |mean| mean * mean)).sum()
    };
    let mut rows = Vec::new();
    let mut before = (0.0, 0);
    if let Some(factor) = &experiment.site_years {
        let site_years = Groups::new(Some(&factor.level_of), experiment.plots());
        before = (among(&site_years), site_years.number() - 1);
        rows.push(source_row("site-year", before.1, before.0, None));
    }
    if experiment.blocks.is_some() {
        let name = if experiment.site_years.is_some() { BLOCK_WITHIN } else { "block" };
        let df = groups.number().saturating_sub(1 + before.1);
        rows.push(source_row(name, df, among(groups) - before.0, None));
    }
    rows
}
