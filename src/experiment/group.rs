//! Which plots a response curve is fitted to, and what is their error.

use std::collections::BTreeMap;

use crate::crop::Crop;
use crate::harvest::{PlotYield, plot_yields};
use crate::stats::levels::level_indices;
use crate::trial::{Columns, Design, NeedFrom, ResultUnits, Timing, Trial};
use crate::units::{BushelUnknown, Unit};

/// What the error of a curve is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ErrorStratum {
    /// Plots, no blocks.
    Plots,
    /// Plots within blocks.
    PlotsWithinBlocks,
    /// Subplots within main plots: N varies within main plots.
    Subplots,
    /// Main plots within blocks: N is on main plots, and each observation is a main plot's mean.
    MainPlots,
}

impl ErrorStratum {
    /// In words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Plots => "plots",
            Self::PlotsWithinBlocks => "plots within blocks",
            Self::Subplots => "subplots within main plots",
            Self::MainPlots => "main plots within blocks",
        }
    }
}

/// What tells a group from the others of its trial or file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GroupKey {
    /// Trial folder; `None` for bare columns.
    pub trial: Option<String>,
    /// Factor of bare columns and its level.
    pub by: Option<(String, String)>,
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// N already on in a group whose topdress varies, in the programme's rate unit.
    pub early_n: Option<f64>,
}

impl GroupKey {
    /// Names and levels, in order.
    #[must_use]
    pub fn labels(&self) -> Vec<(String, String)> {
        let trial = self.trial.iter().map(|trial| ("trial".to_owned(), trial.clone()));
        let variety = self.variety.iter().map(|variety| ("variety".to_owned(), variety.clone()));
        // A rate brought from another unit has a dozen decimals; two tell levels apart.
        let early = self.early_n.iter().map(|n| ("early_n".to_owned(), ((n * 100.0).round() / 100.0).to_string()));
        trial.chain(self.by.clone()).chain(variety).chain(early).collect()
    }
}

/// A plot or row that does not enter its group's curve.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The plot, as typed.
    pub plot: String,
    /// Why.
    pub reason: String,
}

/// The observations that one response curve is fitted to.
#[derive(Clone, Debug, PartialEq)]
pub struct ResponseGroup {
    /// What tells it from the others.
    pub key: GroupKey,
    /// N rate of each observation.
    pub rates: Vec<f64>,
    /// Yield of each observation.
    pub yields: Vec<f64>,
    /// Block of each observation, numbered from 0; `None` without blocks.
    pub blocks: Option<Vec<usize>>,
    /// What the error is made of.
    pub error_stratum: ErrorStratum,
    /// Plots of the group that do not enter, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Unit of the rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of the yields, where it is known.
    pub yield_unit: Option<String>,
}

impl ResponseGroup {
    /// How many blocks the observations lie in; 0 without blocks.
    #[must_use]
    pub fn block_count(&self) -> usize {
        self.blocks.iter().flatten().max().map_or(0, |last| last + 1)
    }
}

/// Groups of bare columns: one for each level of the `by` factor.
#[must_use]
pub fn groups_of_columns(
    columns: &Columns,
    rate_unit: Option<String>,
    yield_unit: Option<String>,
) -> Vec<ResponseGroup> {
    let level_of = |row: usize| columns.by.as_ref().and_then(|(_, levels)| levels.get(row)).map_or("", String::as_str);
    let mut rows_by_level: Vec<(&str, Vec<usize>)> = Vec::new();
    for row in 0..columns.rates.len() {
        let level = level_of(row);
        match rows_by_level.iter_mut().find(|(known, _)| *known == level) {
            Some((_, rows)) => rows.push(row),
            None => rows_by_level.push((level, vec![row])),
        }
    }
    let group = |(level, rows): (&str, Vec<usize>)| {
        let labels =
            columns.blocks.as_ref().map(|blocks| rows.iter().filter_map(|&row| blocks.get(row)).collect::<Vec<_>>());
        ResponseGroup {
            key: GroupKey {
                by: columns.by.as_ref().map(|(factor, _)| (factor.clone(), level.to_owned())),
                ..GroupKey::default()
            },
            rates: rows.iter().filter_map(|&row| columns.rates.get(row).copied()).collect(),
            yields: rows.iter().filter_map(|&row| columns.yields.get(row).copied()).collect(),
            error_stratum: if labels.is_some() { ErrorStratum::PlotsWithinBlocks } else { ErrorStratum::Plots },
            blocks: labels.map(|labels| level_indices(&labels)),
            left_out: columns
                .missing
                .iter()
                .filter(|missing| missing.level == level)
                .map(|missing| LeftOut { plot: format!("row {}", missing.row), reason: "yield missing".to_owned() })
                .collect(),
            rate_unit: rate_unit.clone(),
            yield_unit: yield_unit.clone(),
        }
    };
    rows_by_level.into_iter().map(group).collect()
}

/// Groups of a trial: one for each variety, and each early level where the topdress is what varies.
///
/// Rates are the sum of all N before the sensing and decided by it (the topdress alone within an early level); N after the decided
/// topdress is the same on all plots and left out of the rate. Reference plots enter where they are also a treatment.
///
/// # Errors
/// [`BushelUnknown`] where yields cannot be brought to the programme's unit.
pub fn groups_of_trial(trial: &Trial, crop: &Crop, units: &ResultUnits) -> Result<Vec<ResponseGroup>, BushelUnknown> {
    let yields = plot_yields(trial, crop, units)?;
    let reference_enters = trial.reference.is_some_and(|reference| reference.also_treatment);
    let mut members: BTreeMap<(Option<&str>, Option<u64>), Vec<usize>> = BTreeMap::new();
    for (position, plot) in trial.plots.iter().enumerate() {
        if plot.is_reference && !reference_enters {
            continue;
        }
        let early = match trial.need_from {
            NeedFrom::DifferenceFromOptimum => None,
            NeedFrom::TopdressResponse => {
                Some(trial.n_where(plot, units.n_rate, |application| application.timing == Timing::BeforeSensing))
            }
        };
        // Rates are not negative, so the order of their bits is the order of their values.
        members.entry((plot.variety.as_deref(), early.map(f64::to_bits))).or_default().push(position);
    }
    let group = |((variety, early), positions): ((Option<&str>, Option<u64>), Vec<usize>)| {
        let key = GroupKey {
            trial: Some(trial.folder.clone()),
            by: None,
            variety: variety.map(str::to_owned),
            early_n: early.map(f64::from_bits),
        };
        observations(trial, units, &yields, key, &positions)
    };
    Ok(members.into_iter().map(group).collect())
}

fn observations(
    trial: &Trial,
    units: &ResultUnits,
    yields: &[PlotYield],
    key: GroupKey,
    positions: &[usize],
) -> ResponseGroup {
    let enters_rate = |timing: Timing| match trial.need_from {
        NeedFrom::DifferenceFromOptimum => timing != Timing::AfterSensing,
        NeedFrom::TopdressResponse => timing == Timing::DecidedBySensing,
    };
    let has_blocks = trial.design != Design::CompletelyRandomised;
    let mut left_out = Vec::new();
    let mut used: Vec<(f64, f64, Option<&str>)> = Vec::new();
    for (plot, result) in positions.iter().filter_map(|&position| trial.plots.get(position).zip(yields.get(position))) {
        let reason = match result {
            PlotYield::Used(value) => {
                let rate = trial.n_where(plot, units.n_rate, |application| enters_rate(application.timing));
                used.push((rate, *value, plot.block.as_deref().filter(|_| has_blocks)));
                continue;
            }
            PlotYield::Missing => "yield missing",
            PlotYield::Excluded(reason) => reason,
        };
        left_out.push(LeftOut { plot: plot.id.clone(), reason: reason.to_owned() });
    }
    let error_stratum = error_stratum(trial);
    if error_stratum == ErrorStratum::MainPlots {
        used = main_plot_means(&used);
    }
    let labels: Vec<_> = used.iter().map(|(_, _, block)| *block).collect();
    ResponseGroup {
        key,
        rates: used.iter().map(|(rate, ..)| *rate).collect(),
        yields: used.iter().map(|(_, value, _)| *value).collect(),
        blocks: has_blocks.then(|| level_indices(&labels)),
        error_stratum,
        left_out,
        rate_unit: Some(units.n_rate.symbol().to_owned()),
        yield_unit: Some(units.yields.symbol().to_owned()),
    }
}

fn error_stratum(trial: &Trial) -> ErrorStratum {
    match &trial.design {
        Design::CompletelyRandomised => ErrorStratum::Plots,
        Design::RandomisedCompleteBlock => ErrorStratum::PlotsWithinBlocks,
        Design::SplitPlot { main_plot } => {
            let varies = |timing: Timing| {
                trial.need_from == NeedFrom::DifferenceFromOptimum || timing == Timing::DecidedBySensing
            };
            let mut tested = trial.applications.iter().filter(|application| varies(application.timing));
            if tested.any(|application| main_plot.contains(&application.name)) {
                ErrorStratum::MainPlots
            } else {
                ErrorStratum::Subplots
            }
        }
    }
}

/// Means over the observations of one block at one rate: a main plot.
fn main_plot_means<'a>(used: &[(f64, f64, Option<&'a str>)]) -> Vec<(f64, f64, Option<&'a str>)> {
    let mut main_plots: BTreeMap<(Option<&str>, u64), Vec<f64>> = BTreeMap::new();
    for (rate, value, block) in used {
        main_plots.entry((*block, rate.to_bits())).or_default().push(*value);
    }
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    main_plots.into_iter().map(|((block, rate), values)| (f64::from_bits(rate), mean(&values), block)).collect()
}
