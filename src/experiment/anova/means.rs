//! Estimated marginal means of every effect, and how they differ.
//!
//! In the mean of a level the cells of all other factors weigh alike, as do blocks (Searle, Speed & Milliken 1980, Am. Stat. 34:216-221,
//! from memory).

use super::engine::Engine;
use super::experiment::Experiment;
use super::result::{TreatmentMeanOf, TreatmentMeans};
use super::terms::Cells;
use crate::stats::distribution::t_quantile;
use crate::stats::interval::Interval;

/// Effects of more factors than this have no means of their own.
const MOST_FACTORS_OF_MEANS: usize = 2;

/// Means of every effect of at most two factors.
pub(super) fn treatment_means(
    experiment: &Experiment,
    cells: &Cells,
    engine: &dyn Engine,
    level: f64,
) -> Vec<TreatmentMeans> {
    let shown = cells.terms.iter().filter(|term| term.factors.len() <= MOST_FACTORS_OF_MEANS);
    shown
        .map(|term| TreatmentMeans {
            factors: names(experiment, &term.factors),
            means: combinations(cells, &term.factors)
                .into_iter()
                .map(|levels| mean(experiment, cells, engine, &term.factors, &levels, level))
                .collect(),
        })
        .collect()
}

/// Names of factors by their positions.
pub(super) fn names(experiment: &Experiment, factors: &[usize]) -> Vec<String> {
    factors.iter().filter_map(|factor| experiment.treatments.get(*factor)).map(|factor| factor.name.clone()).collect()
}

/// Names of levels by their positions.
pub(super) fn level_names(experiment: &Experiment, factors: &[usize], levels: &[usize]) -> Vec<String> {
    let name = |(factor, level): (&usize, &usize)| experiment.treatments.get(*factor)?.levels.get(*level).cloned();
    factors.iter().zip(levels).filter_map(name).collect()
}

/// Every combination of levels of some factors, the last one varying fastest.
pub(super) fn combinations(cells: &Cells, factors: &[usize]) -> Vec<Vec<usize>> {
    let mut all = vec![Vec::new()];
    for factor in factors {
        let size = cells.sizes.get(*factor).copied().unwrap_or(0);
        all = all
            .into_iter()
            .flat_map(|levels: Vec<usize>| (0..size).map(move |level| levels.iter().copied().chain([level]).collect()))
            .collect();
    }
    all
}

/// Equal weights over the cells at some levels.
pub(super) fn weights(cells: &Cells, factors: &[usize], levels: &[usize]) -> Vec<f64> {
    let at: Vec<bool> = (0..cells.number()).map(|cell| cells.is_at(cell, factors, levels)).collect();
    let number = at.iter().filter(|at| **at).count().max(1) as f64;
    at.into_iter().map(|at| if at { 1.0 / number } else { 0.0 }).collect()
}

fn mean(
    experiment: &Experiment,
    cells: &Cells,
    engine: &dyn Engine,
    factors: &[usize],
    levels: &[usize],
    level: f64,
) -> TreatmentMeanOf {
    let at = (0..cells.number()).filter(|cell| cells.is_at(*cell, factors, levels));
    let n = at.filter_map(|cell| cells.counts.get(cell)).sum();
    let estimate = engine.estimate(&weights(cells, factors, levels));
    let interval = estimate.and_then(|found| {
        let half = t_quantile(0.5 + level / 2.0, found.df?)? * found.standard_error?;
        let (low, high) = (found.estimate - half, found.estimate + half);
        Some(Interval::between(Some(found.estimate), Some(low), Some(high), level, "t"))
    });
    TreatmentMeanOf {
        levels: level_names(experiment, factors, levels),
        n,
        mean: estimate.map(|found| found.estimate),
        standard_error: estimate.and_then(|found| found.standard_error),
        df: estimate.and_then(|found| found.df),
        interval,
    }
}
