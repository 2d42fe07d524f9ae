//! A trial, or the columns of a file → experiments.

use super::assembled::Parts;
use super::experiment::{Experiment, Factor};
use crate::crop::Crop;
use crate::experiment::LeftOut;
use crate::harvest::{PlotYield, plot_yields};
use crate::trial::{Columns, Design, NeedFrom, Plot, ResultUnits, Timing, Trial};
use crate::units::{BushelUnknown, Unit};

/// The plots of a trial as a designed experiment.
///
/// N counts as planned, for that is what was randomised: all of it before and at the sensing as one factor, or, where the topdress is what
/// varies, N before the sensing and the topdress as two. Reference plots enter where they are also a treatment.
///
/// # Errors
/// [`BushelUnknown`] where yields cannot be brought to the programme's unit.
pub fn experiment_of_trial(trial: &Trial, crop: &Crop, units: &ResultUnits) -> Result<Experiment, BushelUnknown> {
    let yields = plot_yields(trial, crop, units)?;
    let reference_enters = trial.reference.is_some_and(|reference| reference.also_treatment);
    let mut used: Vec<(&Plot, f64)> = Vec::new();
    let mut left_out = Vec::new();
    for (plot, found) in trial.plots.iter().zip(&yields).filter(|(plot, _)| reference_enters || !plot.is_reference) {
        let reason = match found {
            PlotYield::Used(value) => {
                used.push((plot, *value));
                continue;
            }
            PlotYield::Missing => "yield missing",
            PlotYield::Excluded(reason) => reason,
        };
        left_out.push(LeftOut { plot: plot.id.clone(), reason: reason.to_owned() });
    }
    let mut factors = Vec::new();
    let labels: Vec<&str> = used.iter().map(|(plot, _)| plot.variety.as_deref().unwrap_or("")).collect();
    factors.push((Factor::of_labels("variety", &labels), vec!["variety".to_owned()]));
    for (position, name) in trial.factors.iter().enumerate() {
        let labels: Vec<&str> =
            used.iter().map(|(plot, _)| plot.factor_levels.get(position).map_or("", String::as_str)).collect();
        factors.push((Factor::of_labels(name, &labels), vec![name.clone()]));
    }
    let mut quantity = |name: &str, counts: &dyn Fn(Timing) -> bool| {
        let rate = |(plot, _): &(&Plot, f64)| trial.planned_n_where(plot, units.n_rate, |one| counts(one.timing));
        let rates: Vec<f64> = used.iter().map(rate).collect();
        let applications = trial.applications.iter().filter(|one| counts(one.timing));
        factors.push((Factor::of_rates(name, &rates, 0.0), applications.map(|one| one.name.clone()).collect()));
    };
    match trial.need_from {
        NeedFrom::DifferenceFromOptimum => quantity(N_RATE, &|timing| timing != Timing::AfterSensing),
        NeedFrom::TopdressResponse => {
            quantity(EARLY_N, &|timing| timing == Timing::BeforeSensing);
            quantity(TOPDRESS_N, &|timing| timing == Timing::DecidedBySensing);
        }
    }
    let blocked = trial.design != Design::CompletelyRandomised;
    Ok(Parts {
        key: vec![("trial".to_owned(), trial.folder.clone())],
        names: used.iter().map(|(plot, _)| format!("plot {}", plot.id)).collect(),
        yields: used.iter().map(|(_, value)| *value).collect(),
        factors,
        blocks: blocked.then(|| used.iter().map(|(plot, _)| plot.block.as_deref().unwrap_or("")).collect()),
        unit_labels: Some(used.iter().map(|(plot, _)| plot.main_plot.as_deref()).collect()),
        design: &trial.design,
        site_years: None,
        left_out,
        rate_unit: Some(units.n_rate.symbol().to_owned()),
        yield_unit: Some(units.yields.symbol().to_owned()),
    }
    .experiment())
}

/// All N of a plot as a factor.
pub(super) const N_RATE: &str = "N rate";
/// N before the sensing as a factor.
pub(super) const EARLY_N: &str = "early N";
/// The topdress as a factor.
pub(super) const TOPDRESS_N: &str = "topdress N";

/// Bare columns as experiments: one for each level of the column that splits them.
#[must_use]
pub fn experiments_of_columns(columns: &Columns, rate_unit: Option<&str>, yield_unit: Option<&str>) -> Vec<Experiment> {
    let all: Vec<usize> = (0..columns.rates.len()).collect();
    let mut groups: Vec<(&str, Vec<usize>)> = Vec::new();
    for row in all {
        let level = columns.by.as_ref().and_then(|(_, levels)| levels.get(row)).map_or("", String::as_str);
        match groups.iter_mut().find(|(known, _)| *known == level) {
            Some((_, rows)) => rows.push(row),
            None => groups.push((level, vec![row])),
        }
    }
    groups.into_iter().map(|(level, rows)| group(columns, level, &rows, rate_unit, yield_unit)).collect()
}

fn group(columns: &Columns, by: &str, rows: &[usize], rate_unit: Option<&str>, yield_unit: Option<&str>) -> Experiment {
    let of =
        |labels: &'_ Vec<String>| -> Vec<String> { rows.iter().filter_map(|row| labels.get(*row).cloned()).collect() };
    let numbers = |values: &[f64]| -> Vec<f64> { rows.iter().filter_map(|row| values.get(*row).copied()).collect() };
    let mut factors: Vec<(Factor, Vec<String>)> = columns
        .factors
        .iter()
        .chain(&columns.design_factors)
        .map(|(name, labels)| (Factor::of_labels(name, &of(labels)), vec![name.clone()]))
        .collect();
    let name = &columns.rate_name;
    factors.push((Factor::of_rates(name, &numbers(&columns.rates), 0.0), vec![name.clone()]));
    let blocks = columns.blocks.as_ref();
    Parts {
        key: columns.by.iter().map(|(name, _)| (name.clone(), by.to_owned())).collect(),
        names: rows.iter().filter_map(|row| columns.rows.get(*row)).map(|row| format!("row {row}")).collect(),
        yields: numbers(&columns.yields),
        factors,
        blocks: blocks.map(|labels| rows.iter().filter_map(|row| labels.get(*row)).map(String::as_str).collect()),
        unit_labels: None,
        design: &columns.design,
        site_years: columns.site_years.as_ref().map(|(name, labels)| Factor::of_labels(name, &of(labels))),
        left_out: columns
            .missing
            .iter()
            .filter(|missing| missing.level == by)
            .map(|missing| LeftOut { plot: format!("row {}", missing.row), reason: "yield missing".to_owned() })
            .collect(),
        rate_unit: rate_unit.map(str::to_owned),
        yield_unit: yield_unit.map(str::to_owned),
    }
    .experiment()
}
