//! The classical analysis of variance of a balanced design: means are swept from the observations, effect by effect, and each effect is
//! tested on the mean square of the units that it was randomised to.
//!
//! In a balanced design all these projections are orthogonal, so sweeping in any order that takes an effect after those it contains gives
//! each its sum of squares.

use super::engine::{Engine, Estimate, Test};
use super::experiment::{Experiment, SITE_YEAR};
use super::linear::{Groups, clean_sum};
use super::result::{SourceRow, StratumError};
use super::table::{BLOCK_WITHIN, error_name, source_row, stratum_error, stratum_of};
use super::terms::{Cells, Term};
use crate::stats::distribution::f_survival;
use crate::stats::least_squares::dot;

/// A sum of squares that is this little of the total is rounding.
const ROUNDING: f64 = 1e-24;
/// A weight that is this little of the others is rounding.
const NO_WEIGHT: f64 = 1e-14;

/// A source of variation.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    df: usize,
    ss: f64,
}

impl Line {
    fn mean_square(self) -> Option<f64> {
        (self.df > 0 && self.ss > 0.0).then(|| self.ss / self.df as f64)
    }
}

/// What effects are tested on.
#[derive(Clone, Debug, PartialEq)]
struct Error {
    /// As in the table: *error a*, *N rate × site-year*.
    name: String,
    line: Line,
}

/// The classical table and what estimates need of it.
#[derive(Clone, Debug)]
pub(super) struct Classical {
    pub(super) rows: Vec<SourceRow>,
    pub(super) strata: Vec<StratumError>,
    errors: Vec<Error>,
    /// The error of each term.
    error_of: Vec<usize>,
    /// The errors that make the variance of the mean of all plots, each with its sign.
    error_of_mean: Vec<(f64, usize)>,
    /// Mean of each cell, the grand mean apart.
    cell_means: Vec<f64>,
    grand_mean: f64,
    /// Plots in each cell.
    replicates: f64,
    /// Columns of each term over the cells, with the square of their length.
    columns: Vec<Vec<(Vec<f64>, f64)>>,
}

impl Classical {
    /// Analyses a balanced experiment; `cells` are of the treatments alone. With `random_site_years` an effect is tested on its
    /// interaction with the site-years, and the mean of all is one of site-years.
    pub(super) fn new(experiment: &Experiment, cells: &Cells, random_site_years: bool) -> Self {
        Sweep::of(experiment, cells).table(random_site_years)
    }

    /// Share of each error in the variance of weighted cells.
    fn shares(&self, weights: &[f64]) -> Vec<(f64, usize)> {
        let total = clean_sum(weights);
        let cells = self.cell_means.len() as f64;
        let of_mean = total * total / (cells * self.replicates);
        let mut shares: Vec<(f64, usize)> =
            self.error_of_mean.iter().map(|(sign, error)| (sign * of_mean, *error)).collect();
        for (columns, error) in self.columns.iter().zip(&self.error_of) {
            let share: f64 = columns.iter().map(|(column, square)| dot(column, weights).powi(2) / square).sum();
            shares.push((share / self.replicates, *error));
        }
        let mut by_error = vec![0.0; self.errors.len()];
        for (share, error) in shares {
            if let Some(sum) = by_error.get_mut(error) {
                *sum += share;
            }
        }
        let largest = by_error.iter().fold(0.0_f64, |largest, share| largest.max(share.abs()));
        by_error
            .into_iter()
            .enumerate()
            .filter(|(_, share)| share.abs() > NO_WEIGHT * largest)
            .map(|(error, share)| (share, error))
            .collect()
    }

    /// The variance of weighted cells with Satterthwaite's degrees of freedom (1946, Biometrics Bull. 2:110-114).
    fn variance(&self, weights: &[f64]) -> Option<(f64, f64)> {
        let (mut variance, mut spread) = (0.0, 0.0);
        let shares = self.shares(weights);
        for (share, error) in &shares {
            let line = self.errors.get(*error)?.line;
            let part = share * line.mean_square()?;
            variance += part;
            spread += part * part / line.df as f64;
        }
        let df = match shares.as_slice() {
            [(_, error)] => self.errors.get(*error)?.line.df as f64,
            _ => variance * variance / spread,
        };
        (variance > 0.0).then_some((variance, df))
    }
}

impl Engine for Classical {
    fn estimate(&self, weights: &[f64]) -> Option<Estimate> {
        let variance = self.variance(weights);
        Some(Estimate {
            estimate: clean_sum(weights) * self.grand_mean + dot(weights, &self.cell_means),
            standard_error: variance.map(|(variance, _)| variance.sqrt()),
            df: variance.map(|(_, df)| df),
        })
    }

    /// For rows that are orthogonal and vary alike, as codes of one factor at fixed levels of the others do in a balanced design.
    fn test(&self, rows: &[Vec<f64>]) -> Option<Test> {
        let (mut sum, mut df2) = (0.0, f64::INFINITY);
        for row in rows {
            let (variance, df) = self.variance(row)?;
            sum += dot(row, &self.cell_means).powi(2) / variance;
            df2 = df.min(df2);
        }
        let f = sum / rows.len() as f64;
        Some(Test { f, df1: rows.len(), df2, p: f_survival(f, rows.len() as f64, df2)? })
    }
}

/// The observations with every effect swept out.
struct Sweep<'e> {
    experiment: &'e Experiment,
    cells: &'e Cells,
    grand_mean: f64,
    total: Line,
    cell_means: Vec<f64>,
    site_years: Option<Line>,
    blocks: Option<Line>,
    /// Each term, and its interaction with the site-years.
    terms: Vec<(Line, Option<Line>)>,
    /// What is left in whole units, then in plots.
    errors: Vec<Line>,
}

impl<'e> Sweep<'e> {
    fn of(experiment: &'e Experiment, cells: &'e Cells) -> Self {
        let plots = experiment.plots();
        // The first value taken off is exact for values that agree in their leading digits.
        let origin = experiment.yields.first().copied().unwrap_or(0.0);
        let mut left: Vec<f64> = experiment.yields.iter().map(|value| value - origin).collect();
        let mean = Groups::new(None, plots).sweep(&mut left);
        let total = dot(&left, &left);
        let rounding = ROUNDING * total;
        let real = |ss: f64| if ss <= rounding { 0.0 } else { ss };
        let cell_means = Groups::new(Some(&cells.cell_of), plots).means(&left);
        let mut sweep = |groups: &[usize], df: usize| {
            let groups = Groups::new(Some(groups), plots);
            let means = groups.sweep(&mut left);
            let ss = (0..plots)
                .zip(groups.labels())
                .map(|(_, group)| means.get(*group).map_or(0.0, |mean| mean * mean))
                .sum();
            Line { df, ss: real(ss) }
        };
        let site_year_levels = experiment.site_years.as_ref().map_or(1, |factor| factor.levels.len());
        let site_years = experiment.site_years.as_ref().map(|factor| sweep(&factor.level_of, site_year_levels - 1));
        let blocks =
            experiment.blocks.as_ref().map(|of| sweep(of, experiment.block_count().saturating_sub(site_year_levels)));
        let terms: Vec<(Line, Option<Line>)> = cells
            .terms
            .iter()
            .map(|term| {
                let level = |cell: &usize| {
                    let index = |index: usize, factor: &usize| {
                        index * cells.sizes.get(*factor).copied().unwrap_or(1) + cells.level(*cell, *factor)
                    };
                    term.factors.iter().fold(0, index)
                };
                let levels: Vec<usize> = cells.cell_of.iter().map(level).collect();
                let of_term = sweep(&levels, term.columns.len());
                let with_site_years = experiment.site_years.as_ref().map(|factor| {
                    let both: Vec<usize> = levels
                        .iter()
                        .zip(&factor.level_of)
                        .map(|(level, one)| level * site_year_levels + one)
                        .collect();
                    sweep(&both, term.columns.len() * (site_year_levels - 1))
                });
                (of_term, with_site_years)
            })
            .collect();
        let used = |on: &dyn Fn(&Term) -> bool| -> usize {
            let lines = cells.terms.iter().zip(&terms).filter(|(term, _)| on(term));
            lines.map(|(_, (line, with))| line.df + with.map_or(0, |line| line.df)).sum()
        };
        let strata_before = experiment.blocks.as_ref().map_or(site_year_levels, |_| experiment.block_count());
        let mut errors = Vec::new();
        for (position, whole) in experiment.whole_units.iter().enumerate() {
            let units: Vec<usize> = whole.unit_of.iter().map(|unit| unit.unwrap_or(0)).collect();
            let number = units.iter().max().map_or(0, |last| last + 1);
            let own = used(&|term| stratum_of(experiment, term) == position);
            errors.push(sweep(&units, number.saturating_sub(strata_before + own)));
        }
        let all: usize = errors.iter().map(|line| line.df).sum::<usize>() + used(&|_| true) + strata_before;
        let ss = dot(&left, &left);
        errors.push(Line { df: plots.saturating_sub(all), ss: real(ss) });
        Self {
            experiment,
            cells,
            grand_mean: origin + mean.first().copied().unwrap_or(0.0),
            total: Line { df: plots.saturating_sub(1), ss: total },
            cell_means,
            site_years,
            blocks,
            terms,
            errors,
        }
    }

    fn table(self, random_site_years: bool) -> Classical {
        let Self { experiment, cells, .. } = self;
        let strata = self.errors.len();
        let named = |(stratum, line): (usize, &Line)| Error { name: error_name(experiment, stratum), line: *line };
        let mut errors: Vec<Error> = self.errors.iter().enumerate().map(named).collect();
        let mut rows = Vec::new();
        if let Some(line) = self.site_years {
            // Blocks are the units of site-years; without blocks their plots.
            let error = self.blocks.map(|blocks| Error { name: BLOCK_WITHIN.to_owned(), line: blocks });
            rows.push(tested(SITE_YEAR, None, line, error.as_ref().or(errors.first())));
        }
        if let Some(line) = self.blocks {
            let name = if self.site_years.is_some() { BLOCK_WITHIN } else { "block" };
            rows.push(untested(name, line));
        }
        let mut error_of = Vec::new();
        for stratum in 0..strata {
            let lines = cells.terms.iter().zip(&self.terms).enumerate();
            for (position, (term, (line, with_site_years))) in
                lines.filter(|(_, (term, _))| stratum_of(experiment, term) == stratum)
            {
                let (line, own) = (*line, stratum);
                let with_site_years =
                    with_site_years.map(|line| Error { name: format!("{} × site-year", term.name), line });
                let tested_on = match with_site_years.clone().filter(|_| random_site_years) {
                    None => own,
                    Some(error) => {
                        errors.push(error);
                        errors.len() - 1
                    }
                };
                error_of.push((position, tested_on));
                let error = errors.get(tested_on);
                rows.push(tested(&term.name, None, line, error));
                for part in term.parts(&experiment.treatments) {
                    let columns = term.columns.get(part.columns.clone()).unwrap_or_default();
                    let ss = columns
                        .iter()
                        .map(|column| dot(column, &self.cell_means).powi(2) / dot(column, column))
                        .sum::<f64>();
                    let line = Line { df: columns.len(), ss: ss * self.replicates() };
                    rows.push(tested(&part.name, Some(&term.name), line, error));
                }
                if let Some(with) = with_site_years {
                    rows.push(tested(&with.name, None, with.line, errors.get(own)));
                }
            }
            rows.extend(errors.get(stratum).map(|error| untested(&error.name, error.line)));
        }
        rows.push(untested("total", self.total));
        let error_of_mean = match (random_site_years.then_some(self.site_years).flatten(), experiment.whole_units.len())
        {
            (Some(line), _) => {
                errors.push(Error { name: SITE_YEAR.to_owned(), line });
                vec![(1.0, errors.len() - 1)]
            }
            // Strips both ways vary beside the plots, which both hold.
            (None, 2) => vec![(1.0, 0), (1.0, 1), (-1.0, 2)],
            (None, 1) => vec![(1.0, 0)],
            (None, _) => vec![(1.0, strata.saturating_sub(1))],
        };
        error_of.sort_unstable();
        Classical {
            strata: (0..strata).filter_map(|stratum| self.stratum(stratum)).collect(),
            rows,
            errors,
            error_of: error_of.into_iter().map(|(_, error)| error).collect(),
            error_of_mean,
            replicates: self.replicates(),
            columns: cells
                .terms
                .iter()
                .map(|term| term.columns.iter().map(|column| (column.clone(), dot(column, column))).collect())
                .collect(),
            cell_means: self.cell_means,
            grand_mean: self.grand_mean,
        }
    }

    fn replicates(&self) -> f64 {
        self.experiment.plots() as f64 / self.cells.number().max(1) as f64
    }

    fn stratum(&self, stratum: usize) -> Option<StratumError> {
        let line = *self.errors.get(stratum)?;
        let whole = self.experiment.whole_units.get(stratum);
        let units = whole.map(|whole| whole.unit_of.iter().flatten().max().map_or(0, |last| last + 1));
        Some(stratum_error(
            self.experiment,
            stratum,
            line.df,
            line.mean_square(),
            self.grand_mean,
            units.map_or(1, |units| self.experiment.plots() / units.max(1)),
        ))
    }
}

/// A row that is tested on an error.
fn tested(source: &str, part_of: Option<&str>, line: Line, error: Option<&Error>) -> SourceRow {
    let tested = error.and_then(|error| {
        let f = line.ss / line.df as f64 / error.line.mean_square()?;
        let (df1, df2) = (line.df as f64, error.line.df as f64);
        Some((f, f_survival(f, df1, df2)?, error.name.clone(), df2))
    });
    let tested = tested.filter(|_| line.df > 0);
    SourceRow { part_of: part_of.map(str::to_owned), ..source_row(source, line.df, line.ss, tested) }
}

/// A row that is an error, or is of no interest.
fn untested(source: &str, line: Line) -> SourceRow {
    source_row(source, line.df, line.ss, None)
}
