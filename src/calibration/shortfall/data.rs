//! The yields of early × topdress trials, reduced once to what every fit needs.

use std::collections::BTreeMap;

use super::{NoShortfall, Nuisance};
use crate::experiment::{Evidence, GroupEvidence, TrialEvidence};
use crate::trial::NeedFrom;

/// Larger numbers would overflow when raised to the eighth power.
const LARGEST: f64 = 1e30;

/// Early × topdress trials, ready for any number of fits to any of their site-years.
#[derive(Clone, Debug)]
pub struct ShortfallData {
    pub(super) site_years: Vec<SiteYear>,
    names: Vec<String>,
    not_used: Vec<NotUsed>,
}

/// An early level that the model cannot use.
#[derive(Clone, Debug, PartialEq)]
pub struct NotUsed {
    /// Trial folder.
    pub trial: String,
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// N already on.
    pub early_n: Option<f64>,
    /// Plots with a yield.
    pub plots: usize,
    /// Why.
    pub reason: &'static str,
}

/// A site-year, reduced under either nuisance.
#[derive(Clone, Debug)]
pub(super) struct SiteYear {
    pub block: Cells,
    pub block_by_early: Cells,
    pub plots: usize,
}

impl SiteYear {
    pub fn cells(&self, nuisance: Nuisance) -> &Cells {
        match nuisance {
            Nuisance::Block => &self.block,
            Nuisance::BlockByEarlyLevel => &self.block_by_early,
        }
    }
}

/// Distinct topdress rates of the early levels of a site-year, under one nuisance.
#[derive(Clone, Debug, Default)]
pub(super) struct Cells {
    /// 1 − index of each early level.
    pub shortness: Vec<f64>,
    /// Where the cells of each early level end.
    pub level_ends: Vec<usize>,
    /// Topdress of each cell, ascending within an early level.
    pub topdress: Vec<f64>,
    /// Plots of each cell.
    pub plots: Vec<f64>,
    /// Sum of the cell's yields, each less the mean of its nuisance level.
    pub yields: Vec<f64>,
    /// Early levels that share nuisance levels, and how.
    pub strata: Vec<Stratum>,
    /// Every plot: its cell, its nuisance pattern (counted over all strata), and its yield less the mean of its nuisance level.
    pub observed: Vec<Observed>,
    /// Levels of the nuisance.
    pub levels: usize,
    /// The yield farthest from 0.
    pub largest: f64,
}

/// Early levels whose plots share nuisance levels.
#[derive(Clone, Debug)]
pub(super) struct Stratum {
    /// Where its early levels end.
    pub level_end: usize,
    /// The different ways in which its cells lie in nuisance levels.
    pub patterns: Vec<Pattern>,
}

/// Nuisance levels that hold the same cells.
#[derive(Clone, Debug)]
pub(super) struct Pattern {
    /// How many nuisance levels there are like this, divided by the plots in one.
    pub weight: f64,
    /// Plots of one such level in each cell of the stratum; empty where that is one in every cell.
    pub counts: Vec<f64>,
}

/// A plot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Observed {
    pub cell: usize,
    pub pattern: usize,
    pub centred: f64,
}

/// What shares a plateau under the coarser nuisance: a trial's variety with its levels of other factors.
type Crop<'e> = (Option<&'e str>, &'e [(String, String)]);

impl ShortfallData {
    /// Reduces the trials whose need is counted from the response to topdress. Trials of one site-year are held out and resampled together.
    ///
    /// Early levels without an index are not used, and listed.
    ///
    /// # Errors
    /// [`NoShortfall`] where no trial has the plots for it, or a number is none.
    pub fn of(evidence: &Evidence) -> Result<Self, NoShortfall> {
        let mut trials: BTreeMap<String, Vec<&TrialEvidence>> = BTreeMap::new();
        for trial in evidence.trials.iter().filter(|trial| trial.need_from == NeedFrom::TopdressResponse) {
            trials.entry(trial.site_year()).or_default().push(trial);
        }
        let mut data = Self { site_years: Vec::new(), names: Vec::new(), not_used: Vec::new() };
        for (name, trials) in trials {
            let mut crops: BTreeMap<(usize, Crop<'_>), Vec<(f64, &GroupEvidence)>> = BTreeMap::new();
            for (position, trial) in trials.iter().enumerate() {
                for group in &trial.groups {
                    check(trial, group)?;
                    match group.treatments.as_slice() {
                        [treatment] if !group.rates.is_empty() => {
                            let crop = (group.variety.as_deref(), group.factors.as_slice());
                            crops.entry((position, crop)).or_default().push((1.0 - treatment.index, group));
                        }
                        treatments => data.not_used.push(NotUsed {
                            trial: trial.trial.clone(),
                            variety: group.variety.clone(),
                            early_n: group.early_n,
                            plots: group.rates.len(),
                            reason: why_not(treatments.len()),
                        }),
                    }
                }
            }
            if crops.is_empty() {
                continue;
            }
            let crops: Vec<&[(f64, &GroupEvidence)]> = crops.values().map(Vec::as_slice).collect();
            let single: Vec<&[(f64, &GroupEvidence)]> = crops.iter().flat_map(|crop| crop.chunks(1)).collect();
            data.site_years.push(SiteYear {
                block: reduce(&crops),
                block_by_early: reduce(&single),
                plots: single.iter().flat_map(|levels| levels.iter()).map(|(_, group)| group.rates.len()).sum(),
            });
            data.names.push(name);
        }
        if data.names.is_empty() { Err(NoShortfall::NoTrials) } else { Ok(data) }
    }

    /// Site and harvest year of each site-year, in ascending order; weights go in the same order.
    #[must_use]
    pub fn site_years(&self) -> &[String] {
        &self.names
    }

    /// Plots of each site-year.
    #[must_use]
    pub fn plots(&self) -> Vec<usize> {
        self.site_years.iter().map(|site_year| site_year.plots).collect()
    }

    /// What is not used, with the reason.
    #[must_use]
    pub fn not_used(&self) -> &[NotUsed] {
        &self.not_used
    }

    /// The variance of plots within blocks of each site-year whatever the model of need (each early × topdress cell with a mean of its own),
    /// with its degrees of freedom; `None` where plots are too few.
    ///
    /// Their inverses are weights for site-years of unequal error. With few degrees of freedom such weights are worse than none: by
    /// default all site-years weigh alike.
    #[must_use]
    pub fn error_variances(&self) -> Vec<Option<(f64, usize)>> {
        self.site_years.iter().map(|site_year| super::nuisance::error_variance(&site_year.block)).collect()
    }
}

fn why_not(treatments: usize) -> &'static str {
    match treatments {
        0 => "no index of its plots",
        1 => "no yields of its plots",
        _ => "more than one index: its plots differ in the N already on",
    }
}

fn check(trial: &TrialEvidence, group: &GroupEvidence) -> Result<(), NoShortfall> {
    let blocks = group.blocks.as_ref().map_or(group.rates.len(), Vec::len);
    if group.rates.len() != group.yields.len() || blocks != group.rates.len() {
        return Err(NoShortfall::LengthsDiffer {
            trial: trial.trial.clone(),
            rates: group.rates.len(),
            yields: group.yields.len(),
            blocks,
        });
    }
    let refuse = |what: &'static str, bounds: &'static str, value: f64| NoShortfall::NotANumber {
        trial: trial.trial.clone(),
        what,
        value,
        bounds,
    };
    if let Some(rate) = group.rates.iter().find(|rate| !(0.0..LARGEST).contains(*rate)) {
        return Err(refuse("topdress rate", " of 0 or more", *rate));
    }
    if let Some(value) = group.yields.iter().find(|value| value.is_nan() || value.abs() >= LARGEST) {
        return Err(refuse("yield", "", *value));
    }
    let indices = group.treatments.iter().map(|treatment| treatment.index);
    match indices.into_iter().find(|index| index.is_nan() || index.abs() >= LARGEST) {
        Some(index) => Err(refuse("index", "", index)),
        None => Ok(()),
    }
}

/// The cells of early levels, those of one slice sharing nuisance levels.
fn reduce(strata: &[&[(f64, &GroupEvidence)]]) -> Cells {
    let mut cells = Cells::default();
    let mut first_pattern = 0;
    for levels in strata {
        let first_cell = cells.topdress.len();
        // Plots by nuisance level: (cell, yield).
        let mut blocks: BTreeMap<usize, Vec<(usize, f64)>> = BTreeMap::new();
        for (shortness, group) in *levels {
            let mut rates: Vec<f64> = group.rates.clone();
            rates.sort_by(f64::total_cmp);
            rates.dedup();
            let start = cells.topdress.len();
            for (position, (rate, value)) in group.rates.iter().zip(&group.yields).enumerate() {
                let cell = start + rates.partition_point(|known| known < rate);
                let block = group.blocks.as_ref().and_then(|blocks| blocks.get(position)).copied().unwrap_or(0);
                blocks.entry(block).or_default().push((cell, *value));
            }
            cells.topdress.extend(rates);
            cells.shortness.push(*shortness);
            cells.level_ends.push(cells.topdress.len());
        }
        let count = cells.topdress.len() - first_cell;
        cells.plots.resize(first_cell + count, 0.0);
        cells.yields.resize(first_cell + count, 0.0);
        let mut patterns: BTreeMap<Vec<usize>, Vec<Vec<(usize, f64)>>> = BTreeMap::new();
        for plots in blocks.into_values() {
            let mut counts = vec![0; count];
            plots.iter().for_each(|(cell, _)| counts[cell - first_cell] += 1);
            patterns.entry(counts).or_default().push(plots);
        }
        let mut stratum = Stratum { level_end: cells.shortness.len(), patterns: Vec::new() };
        for (position, (counts, alike)) in patterns.into_iter().enumerate() {
            let size = counts.iter().sum::<usize>() as f64;
            for plots in &alike {
                let mean = plots.iter().map(|(_, value)| value).sum::<f64>() / size;
                for (cell, value) in plots {
                    let centred = value - mean;
                    cells.largest = cells.largest.max(value.abs());
                    cells.plots[*cell] += 1.0;
                    cells.yields[*cell] += centred;
                    cells.observed.push(Observed { cell: *cell, pattern: first_pattern + position, centred });
                }
            }
            cells.levels += alike.len();
            let is_complete = counts.iter().all(|count| *count == 1);
            stratum.patterns.push(Pattern {
                weight: alike.len() as f64 / size,
                counts: if is_complete { Vec::new() } else { counts.iter().map(|count| *count as f64).collect() },
            });
        }
        first_pattern += stratum.patterns.len();
        cells.strata.push(stratum);
    }
    cells
}

impl Cells {
    /// The share of a cell in the plots of the nuisance levels of a pattern.
    pub fn share_of(&self, pattern: usize, cell: usize) -> f64 {
        let (mut first_pattern, mut first_cell) = (0, 0);
        for stratum in &self.strata {
            let end = stratum.level_end.checked_sub(1).map_or(0, |last| self.level_ends[last]);
            let Some(own) = stratum.patterns.get(pattern - first_pattern) else {
                first_pattern += stratum.patterns.len();
                first_cell = end;
                continue;
            };
            if !(first_cell..end).contains(&cell) {
                return 0.0;
            }
            if own.counts.is_empty() {
                return 1.0 / (end - first_cell) as f64;
            }
            return own.counts[cell - first_cell] / own.counts.iter().sum::<f64>();
        }
        0.0
    }
}
