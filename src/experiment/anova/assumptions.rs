//! What the residuals of the finest stratum show. Nothing is removed.
//!
//! Residuals are of the plots within the smallest units that hold them (blocks, main plots), all treatment effects taken out, site-year by
//! site-year: they rest on no variance component and on no other site-year.

use super::experiment::Experiment;
use super::linear::{Groups, LinearFit, indicators};
use super::result::{Assumptions, Outlier, PlotResidual};
use super::terms::Cells;
use crate::stats::distribution::{normal_quantile, t_two_sided};
use crate::stats::shapiro_wilk::shapiro_wilk;
use crate::stats::spread::brown_forsythe;

/// A leverage this close to 1 leaves a residual of rounding only.
const ALL_LEVERAGE: f64 = 1e-9;
/// A plot lies too far out if chance gives one of so many as far out less often than this.
const OUTLIER_P: f64 = 0.05;

/// The plots of one site-year within their smallest units.
pub(super) struct Finest {
    /// Site-year; empty where there is one only.
    pub(super) site_year: String,
    pub(super) fit: LinearFit,
    experiment: Experiment,
    cell_of: Vec<usize>,
}

/// The fit of each site-year, in order.
pub(super) fn finest(experiment: &Experiment) -> Vec<Finest> {
    let names = experiment.site_years.as_ref().map_or_else(|| vec![String::new()], |factor| factor.levels.clone());
    let fit = |(position, site_year): (usize, String)| {
        let experiment = experiment.of_site_year(position);
        let cells = Cells::of(&experiment);
        let units =
            |at: usize| -> Option<Vec<usize>> { experiment.whole_units.get(at)?.unit_of.iter().copied().collect() };
        let groups = Groups::new(units(0).as_deref().or(experiment.blocks.as_deref()), experiment.plots());
        let across = units(1).map_or_else(Vec::new, |of| indicators(&of));
        let over_cells = cells.terms.iter().flat_map(|term| term.columns.iter().cloned()).collect();
        let fit = LinearFit::new(&experiment.yields, groups, &across, &cells, over_cells)?;
        Some(Finest { site_year, fit, cell_of: cells.cell_of, experiment })
    };
    names.into_iter().enumerate().filter_map(fit).collect()
}

/// What the residuals show; `None` where no site-year leaves an error.
pub(super) fn assumptions(parts: &[Finest]) -> Option<Assumptions> {
    let with_error: Vec<(&Finest, f64)> =
        parts.iter().filter_map(|part| Some((part, part.fit.mean_square()?))).collect();
    let plots: usize = with_error.iter().map(|(part, _)| part.fit.residuals.len()).sum();
    if plots == 0 {
        return None;
    }
    let mut residuals = Vec::new();
    let mut outliers = Vec::new();
    // Site-years each on their own scale, so that the noisier do not pass for tails.
    let mut scaled = Vec::new();
    let mut cells = Vec::new();
    let (mut products, mut squares) = (0.0, [0.0, 0.0]);
    for (part, mean_square) in &with_error {
        let df = part.fit.df as f64;
        let first_cell = cells.iter().max().map_or(0, |last: &usize| last + 1);
        cells.extend(part.cell_of.iter().map(|cell| first_cell + cell));
        scaled.extend(part.fit.residuals.iter().map(|residual| residual / mean_square.sqrt()));
        let experiment = &part.experiment;
        let block = |row: usize| experiment.blocks.as_ref().and_then(|of| of.get(row).copied());
        let neighbours = part.fit.residuals.windows(2).enumerate();
        for (_, pair) in neighbours.filter(|(row, _)| block(*row) == block(*row + 1)) {
            if let [one, next] = pair {
                products += one * next / mean_square;
                squares[0] += one * one / mean_square;
                squares[1] += next * next / mean_square;
            }
        }
        let observed =
            part.fit.residuals.iter().zip(part.fit.leverages()).zip(experiment.names.iter().zip(&experiment.yields));
        for ((residual, leverage), (name, value)) in observed {
            let studentised =
                (1.0 - leverage > ALL_LEVERAGE).then(|| residual / (mean_square * (1.0 - leverage)).sqrt());
            // σ from the others; a residual may hold all the error there is.
            let deleted = studentised
                .filter(|_| part.fit.df > 1)
                .map(|r| r * ((df - 1.0) / (df - r * r).max(f64::MIN_POSITIVE)).sqrt())
                .filter(|t| t.is_finite());
            if let Some(t) = deleted {
                let p = t_two_sided(t, df - 1.0).map_or(1.0, |p| (p * plots as f64).min(1.0));
                if p <= OUTLIER_P {
                    outliers.push(Outlier { name: name.clone(), deleted: t, p });
                }
            }
            residuals.push(PlotResidual {
                name: name.clone(),
                fitted: value - residual,
                residual: *residual,
                deleted,
                normal_score: 0.0,
            });
        }
    }
    let mut order: Vec<usize> = (0..scaled.len()).collect();
    let at = |row: &usize| scaled.get(*row).copied().unwrap_or(0.0);
    order.sort_by(|one, other| at(one).total_cmp(&at(other)));
    for (rank, row) in order.into_iter().enumerate() {
        // Blom's plotting position (1958, from memory).
        let share = (rank as f64 + 1.0 - 0.375) / (plots as f64 + 0.25);
        if let Some(residual) = residuals.get_mut(row) {
            residual.normal_score = normal_quantile(share).unwrap_or(0.0);
        }
    }
    outliers.sort_by(|one, other| one.p.total_cmp(&other.p));
    Some(Assumptions {
        residuals,
        normality: shapiro_wilk(&scaled),
        spread: brown_forsythe(&scaled, &cells),
        neighbours: (squares[0] > 0.0 && squares[1] > 0.0).then(|| products / (squares[0] * squares[1]).sqrt()),
        outliers,
    })
}
