//! Which plots a response curve is fitted to, and what is their error.

use std::collections::{BTreeMap, BTreeSet};

use crate::crop::Crop;
use crate::harvest::{PlotYield, plot_yields, yields_with_excluded};
use crate::response::{DataError, Observations, PooledError};
use crate::stats::levels::level_indices;
use crate::trial::{BesideN, Design, NeedFrom, ResultUnits, Timing, Trial};
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
    /// Strips within blocks: N is on the strips of a strip-plot, one way or the other, and each observation is a strip's mean.
    Strips,
    /// Plots within levels of a factor, no blocks.
    PlotsWithinLevels,
    /// Plots within levels of a factor in each block.
    PlotsWithinLevelsAndBlocks,
    /// Treatment means around the curve: their plots are not known.
    Means,
    /// Treatment means with the error mean square of their plots.
    MeansWithPooledError,
}

impl ErrorStratum {
    /// What an observation is the mean of, where N was randomised over more than single plots: a main plot or a strip.
    #[must_use]
    pub fn observed_as(self) -> Option<&'static str> {
        match self {
            Self::MainPlots => Some("main plot"),
            Self::Strips => Some("strip"),
            _ => None,
        }
    }

    /// In words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Plots => "plots",
            Self::PlotsWithinBlocks => "plots within blocks",
            Self::Subplots => "subplots within main plots",
            Self::MainPlots => "main plots within blocks",
            Self::Strips => "strips of N within blocks",
            Self::PlotsWithinLevels => "plots within levels of the factor",
            Self::PlotsWithinLevelsAndBlocks => "plots within levels of the factor in each block",
            Self::Means => "treatment means around the curve",
            Self::MeansWithPooledError => "the pooled error mean square, and treatment means around the curve",
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
    /// Each factor beside N and variety, with its level.
    pub factors: Vec<(String, String)>,
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
        trial.chain(self.by.clone()).chain(variety).chain(self.factors.iter().cloned()).chain(early).collect()
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
    /// What each observation is called: *plot 304*, *row 17*.
    pub names: Vec<String>,
    /// Block of each observation, numbered from 0 over the whole trial or file; `None` without blocks.
    pub blocks: Option<Vec<usize>>,
    /// What N varies within, of each observation, numbered from 0, where that is less than a block; `None` where it is the block. It is a main
    /// plot, or the level of a factor that shares main plots or strips with N.
    pub within_blocks: Option<Vec<usize>>,
    /// Factors that lie where N does: each of their levels has main plots or strips of its own. Counts only where N is on those.
    pub laid_with_n: Vec<String>,
    /// The factor that the group is pooled over, with the level of each observation, numbered from 0; `None` where it is of one level.
    pub pooled_over: Option<PooledOver>,
    /// Plots behind each observation, where observations are treatment means.
    pub replicates: Option<Vec<usize>>,
    /// The error of those plots, where it is known.
    pub pooled_error: Option<PooledError>,
    /// What the error is made of.
    pub error_stratum: ErrorStratum,
    /// Plots of the group that do not enter, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Unit of the rates, where it is known.
    pub rate_unit: Option<String>,
    /// Unit of the yields, where it is known.
    pub yield_unit: Option<String>,
    /// The same group with the yields that are left out among its observations; `None` where none is that was measured.
    pub with_excluded: Option<Box<ResponseGroup>>,
}

/// A factor that a group is pooled over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PooledOver {
    /// The factor.
    pub factor: String,
    /// Its levels.
    pub levels: Vec<String>,
    /// The position of the level of each observation; `None` where each is the mean over them, of a main plot or strip that they share.
    pub level_of: Option<Vec<usize>>,
}

impl ResponseGroup {
    /// The observations, reduced. Their nuisance is the block, or the main plot where N varies within several in a block; where they are
    /// pooled over a factor, each of its levels there.
    ///
    /// What N does otherwise in one level than in another is then part of the error: an analysis of variance that tests N × factor has
    /// those degrees of freedom less.
    ///
    /// # Errors
    /// What they lack to be observations of a response.
    pub fn observations(&self) -> Result<Observations, DataError> {
        let nuisance = self.nuisance();
        match &self.replicates {
            None => Observations::new(&self.rates, &self.yields, nuisance.as_deref()),
            Some(replicates) => {
                Observations::of_means(&self.rates, &self.yields, replicates, nuisance.as_deref(), self.pooled_error)
            }
        }
    }

    /// What N varies within, of each observation: its block, or what in it is smaller.
    pub(super) fn within(&self) -> Option<&Vec<usize>> {
        self.within_blocks.as_ref().or(self.blocks.as_ref())
    }

    /// What is taken out of each observation before a curve is fitted: the level of its nuisance factor, numbered from 0; `None` without.
    pub fn nuisance(&self) -> Option<Vec<usize>> {
        match (self.pooled_over.as_ref().and_then(|pooled| pooled.level_of.as_ref()), self.within()) {
            (None, within) => within.cloned(),
            (Some(level_of), None) => Some(level_of.clone()),
            (Some(level_of), Some(within)) => {
                let cells: Vec<(usize, usize)> = level_of.iter().copied().zip(within.iter().copied()).collect();
                Some(level_indices(&cells))
            }
        }
    }

    /// The plots behind all observations, where those are treatment means; else their number.
    #[must_use]
    pub fn plots(&self) -> usize {
        self.replicates.as_ref().map_or(self.rates.len(), |replicates| replicates.iter().sum())
    }

    /// How many blocks the observations lie in; 0 without blocks.
    #[must_use]
    pub fn block_count(&self) -> usize {
        self.blocks.iter().flatten().collect::<BTreeSet<_>>().len()
    }
}

/// Groups of a trial: one for each variety and combination of factors, and each early level where the topdress is what varies.
///
/// Rates are the sum of all N before the sensing and decided by it (the topdress alone within an early level), as it went on; an early level
/// is the one that was planned. N after the decided topdress is the same on all plots and left out of the rate. Reference plots enter
/// where they are also a treatment.
///
/// # Errors
/// [`BushelUnknown`] where yields cannot be brought to the programme's unit.
pub fn groups_of_trial(trial: &Trial, crop: &Crop, units: &ResultUnits) -> Result<Vec<ResponseGroup>, BushelUnknown> {
    let yields = plot_yields(trial, crop, units)?;
    let measured = yields_with_excluded(trial, crop, units)?;
    let with_excluded: Vec<PlotYield> =
        yields.iter().zip(measured).map(|(found, value)| put_in(found, value)).collect();
    Ok(groups_of_yields(trial, units, &yields, &with_excluded))
}

/// The groups of a trial with these yields, in the order of its plots; `with_excluded` has those put in that are left out.
pub(super) fn groups_of_yields(
    trial: &Trial,
    units: &ResultUnits,
    yields: &[PlotYield],
    with_excluded: &[PlotYield],
) -> Vec<ResponseGroup> {
    let reference_enters = trial.reference.is_some_and(|reference| reference.also_treatment);
    let mut members: BTreeMap<(BesideN, Option<u64>), Vec<usize>> = BTreeMap::new();
    for (position, plot) in trial.plots.iter().enumerate() {
        if plot.is_reference && !reference_enters {
            continue;
        }
        let early = trial.early_level(plot, units.n_rate);
        // Rates are not negative, so the order of their bits is the order of their values.
        members.entry((plot.beside_n(), early.map(f64::to_bits))).or_default().push(position);
    }
    let group = |(((variety, levels), early), positions): ((BesideN, Option<u64>), Vec<usize>)| {
        let key = GroupKey {
            trial: Some(trial.folder.clone()),
            by: None,
            variety: variety.map(str::to_owned),
            factors: trial.factors.iter().cloned().zip(levels.iter().cloned()).collect(),
            early_n: early.map(f64::from_bits),
        };
        let group = observations(trial, units, yields, key.clone(), &positions);
        let with_excluded = observations(trial, units, with_excluded, key, &positions);
        let differs = with_excluded.left_out.len() < group.left_out.len();
        ResponseGroup { with_excluded: differs.then(|| Box::new(with_excluded)), ..group }
    };
    members.into_iter().map(group).collect()
}

/// A yield that is left out, put back in where it was measured.
fn put_in(found: &PlotYield, measured: Option<f64>) -> PlotYield {
    match (found, measured) {
        (PlotYield::Excluded(_), Some(value)) => PlotYield::Used(value),
        _ => found.clone(),
    }
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
    let n_is_named = names_n(trial);
    let mut left_out = Vec::new();
    let mut used: Vec<Observed> = Vec::new();
    for (plot, result) in positions.iter().filter_map(|&position| trial.plots.get(position).zip(yields.get(position))) {
        let reason = match result {
            PlotYield::Used(value) => {
                used.push(Observed {
                    rate: trial.n_where(plot, units.n_rate, |application| enters_rate(application.timing)),
                    planned: trial.planned_n_where(plot, units.n_rate, |application| enters_rate(application.timing)),
                    value: *value,
                    block: plot.block.as_deref().filter(|_| has_blocks),
                    whole: trial.whole_plot(plot).filter(|_| n_is_named),
                    plot: &plot.id,
                });
                continue;
            }
            PlotYield::Missing => "yield missing",
            PlotYield::Excluded(reason) => reason,
        };
        left_out.push(LeftOut { plot: plot.id.clone(), reason: reason.to_owned() });
    }
    let error_stratum = error_stratum(trial);
    let whole = error_stratum.observed_as();
    if whole.is_some() {
        used = means_of_whole(&used);
    }
    // Numbered over the whole trial, so that a block has one number in all its groups.
    let labels: BTreeSet<Option<&str>> = trial.plots.iter().map(|plot| plot.block.as_deref()).collect();
    let number = |observed: &Observed<'_>| labels.iter().position(|label| *label == observed.block).unwrap_or_default();
    let name = whole.map_or_else(|| "plot".to_owned(), |whole| format!("the {whole} of plot"));
    ResponseGroup {
        key,
        within_blocks: None,
        laid_with_n: laid_with_n(trial, n_is_named),
        names: used.iter().map(|observed| format!("{name} {}", observed.plot)).collect(),
        pooled_over: None,
        replicates: None,
        pooled_error: None,
        rates: used.iter().map(|observed| observed.rate).collect(),
        yields: used.iter().map(|observed| observed.value).collect(),
        blocks: has_blocks.then(|| used.iter().map(number).collect()),
        error_stratum,
        left_out,
        rate_unit: Some(units.n_rate.symbol().to_owned()),
        yield_unit: Some(units.yields.symbol().to_owned()),
        with_excluded: None,
    }
}

/// One plot that enters a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Observed<'t> {
    /// N as it went on.
    rate: f64,
    /// N as planned.
    planned: f64,
    /// Yield.
    value: f64,
    block: Option<&'t str>,
    /// The label of the main plot or strip that N is on, where a column tells it.
    whole: Option<&'t str>,
    /// The plot as typed; of a main plot or strip, the first of its plots.
    plot: &'t str,
}

/// The stratum that N is tested in. Variety and factors on main plots leave N to vary within them: each of their levels is a group of its
/// own, with one main plot in a block. On strips N is either way, and a level of what lies across it has one plot of each strip.
fn error_stratum(trial: &Trial) -> ErrorStratum {
    match &trial.design {
        Design::CompletelyRandomised => ErrorStratum::Plots,
        Design::RandomisedCompleteBlock => ErrorStratum::PlotsWithinBlocks,
        Design::SplitPlot { .. } if names_n(trial) => ErrorStratum::MainPlots,
        Design::SplitPlot { .. } => ErrorStratum::Subplots,
        Design::StripPlot { .. } => ErrorStratum::Strips,
    }
}

/// Whether the design names an application whose N varies in a group: on main plots, or on the strips that run one way.
fn names_n(trial: &Trial) -> bool {
    let varies =
        |timing: Timing| trial.need_from == NeedFrom::DifferenceFromOptimum || timing == Timing::DecidedBySensing;
    let mut tested = trial.applications.iter().filter(|application| varies(application.timing));
    tested.any(|application| trial.design.named_factors().contains(&application.name))
}

/// The variety and factors of a trial that its design names, as it names N, or does not, as it does not.
fn laid_with_n(trial: &Trial, n_is_named: bool) -> Vec<String> {
    let factors = std::iter::once("variety").chain(trial.factors.iter().map(String::as_str)).map(str::to_owned);
    factors.filter(|factor| trial.design.named_factors().contains(factor) == n_is_named).collect()
}

/// Means over the observations of each main plot or strip of N: those of one block at one planned rate, and of one label where a column
/// tells main plots.
fn means_of_whole<'t>(used: &[Observed<'t>]) -> Vec<Observed<'t>> {
    let mut whole: BTreeMap<_, Vec<&Observed<'t>>> = BTreeMap::new();
    for observed in used {
        whole.entry((observed.block, observed.planned.to_bits(), observed.whole)).or_default().push(observed);
    }
    let mean = |plots: &[&Observed<'t>], value: fn(&Observed<'t>) -> f64| match plots {
        [one] => value(one),
        several => several.iter().map(|observed| value(observed)).sum::<f64>() / several.len() as f64,
    };
    let of_one = |plots: Vec<&Observed<'t>>| {
        let first = **plots.first()?;
        Some(Observed { rate: mean(&plots, |it| it.rate), value: mean(&plots, |it| it.value), ..first })
    };
    whole.into_values().filter_map(of_one).collect()
}
