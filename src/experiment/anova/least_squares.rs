//! The table of an unbalanced design with one error: each effect by what it explains beyond others, blocks first.

use super::experiment::{Experiment, SITE_YEAR};
use super::hypotheses::rows_of_terms;
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
        let row = |name: &str, space: &[Vec<f64>]| {
            let ss = space.iter().map(|one| dot(one, &fit.within).powi(2)).sum::<f64>();
            source_row(name, space.len(), ss, tested(space.len(), ss))
        };
        let whole = |term: &Term, basis: &[Vec<f64>], own: &[Vec<f64>]| row(&term.name, &beyond(basis, own));
        let terms = rows_of_terms(cells, &experiment.treatments, &[], &fit.columns, tests, whole, row);
        // Site-years as such are among the groups.
        rows.extend(terms.into_iter().filter(|row| row.source != SITE_YEAR));
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
        rows.push(source_row(SITE_YEAR, before.1, before.0, None));
    }
    if experiment.blocks.is_some() {
        let name = if experiment.site_years.is_some() { BLOCK_WITHIN } else { "block" };
        let df = groups.number().saturating_sub(1 + before.1);
        rows.push(source_row(name, df, among(groups) - before.0, None));
    }
    rows
}
