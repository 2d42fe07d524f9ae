//! How reliable the index of a treatment is, from its replicate plots.
//!
//! The mean index of a treatment differs from the one that many more plots would give. Its *reliability* λ is the share of the variance
//! between treatment means that is not this error: λ = 1 − error ÷ total. A linear relation of need on such an index is too flat, by λ:
//! its slope ÷ λ is what an index without error would have (Fuller 1987, *Measurement Error Models*, chapter 1, from memory). It is
//! reported and never applied: a rule is used on readings with error, and for those the flatter slope is right, as long as
//! they are as many as were averaged here.
//!
//! Two totals, for two relations:
//!
//! - *within site-years*, for a relation with an effect a site-year: the variance between the treatments of a site-year, pooled over
//!   site-years by its degrees of freedom. Its error is unbiased for unequal numbers of plots. The interval is that of a reliability
//!   by analysis of variance, λ = 1 − 1/F (Shrout & Fleiss 1979, *Psychol. Bull.* 86:420-428, case 1, from memory), exact for normal
//!   errors, equal numbers of plots and treatments drawn at random; chosen rates are not drawn at random, so it is a guide.
//! - *over all*, for a relation through all points alike: the variance between treatments whatever their site-year. The interval is
//!   of resampled site-years.
//!
//! The error is the pooled variance between plots of a treatment, blocks included: where readings differ between blocks it is too
//! large for comparisons within them, and λ then too small. On the other side, what all plots of a trial share does not show between
//! them: the error of a shared N-rich reference, the weather of the day, the instrument's calibration. That error does not average
//! out over plots, and λ over all site-years is too large by it.

use std::collections::BTreeMap;

use rand::RngExt as _;
use rayon::prelude::*;

use super::FEWEST_SITE_YEARS;
use crate::experiment::Evidence;
use crate::stats::distribution::f_quantile;
use crate::stats::interval::{Interval, Resamples};
use crate::stats::quantile::quantile;
use crate::stats::stream::stream;

/// How the interval within site-years is made.
pub const F_RATIO: &str = "F ratio";
/// How the interval over all is made.
pub const RESAMPLED: &str = "percentiles of resampled site-years";

/// The mean index of a treatment and how its plots differ.
#[derive(Clone, Debug, PartialEq)]
pub struct ReplicatedIndex {
    /// Site and harvest year.
    pub site_year: String,
    /// Mean index of its plots.
    pub index: f64,
    /// Plots.
    pub plots: usize,
    /// Standard deviation between its plots; `None` for a single one.
    pub standard_deviation: Option<f64>,
}

impl ReplicatedIndex {
    /// The treatments of the trials that a table rests on.
    #[must_use]
    pub fn of_evidence(evidence: &Evidence) -> Vec<Self> {
        let mut all = Vec::new();
        for trial in &evidence.trials {
            for treatment in trial.groups.iter().flat_map(|group| &group.treatments) {
                all.push(Self {
                    site_year: trial.site_year(),
                    index: treatment.index,
                    plots: treatment.plots,
                    standard_deviation: treatment.standard_deviation,
                });
            }
        }
        all
    }
}

/// Why the reliability is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoReliability {
    /// No treatment was read on more than one plot.
    #[error("no treatment has an index on two plots or more")]
    NotReplicated,
    /// Nothing to compare.
    #[error("no site-year has two treatments")]
    OneTreatment,
    /// All treatment means are the same.
    #[error("the mean index is the same for every treatment")]
    Constant,
    /// NaN or an infinity.
    #[error("an index or a standard deviation is not a finite number")]
    NotFinite,
}

/// How reliable treatment means are.
#[derive(Clone, Debug, PartialEq)]
pub struct Reliability {
    /// Treatments.
    pub treatments: usize,
    /// Their site-years.
    pub site_years: usize,
    /// Pooled standard deviation between plots of a treatment.
    pub between_plots: f64,
    /// Degrees of freedom of that.
    pub degrees_of_freedom: usize,
    /// Mean number of plots of a treatment (harmonic).
    pub plots: f64,
    /// Of treatments within a site-year.
    pub within: Result<Share, NoReliability>,
    /// Of treatments over all site-years; `None` for a single one.
    pub over_all: Option<Result<Share, NoReliability>>,
}

/// A reliability.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// Variance between treatment means that is error.
    pub error: f64,
    /// Variance between treatment means.
    pub total: f64,
    /// λ, with its interval: at most 1, and 0 where the means differ by no more than their error lets them.
    pub reliability: Interval,
}

impl Share {
    fn estimate(error: f64, total: f64) -> f64 {
        (1.0 - error / total).max(0.0)
    }

    /// What the slope of a linear relation would be multiplied by for an index without error, 1 ÷ λ; `None` where λ is 0.
    #[must_use]
    pub fn slope_factor(&self) -> Option<f64> {
        let reliability = self.reliability.estimate.filter(|estimate| *estimate > 0.0)?;
        Some(1.0 / reliability)
    }
}

/// How the intervals are made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReliabilityOptions {
    /// Level of the intervals.
    pub level: f64,
    /// Resamples of site-years.
    pub replicates: u64,
    /// Seed of the resamples.
    pub seed: u64,
}

/// The sums that a variance between treatment means and its error are made of.
#[derive(Clone, Copy, Default)]
struct Between {
    squares: f64,
    /// Expected value of `squares` if the treatments differed by error alone, in units of the variance between plots.
    error_squares: f64,
    degrees_of_freedom: f64,
}

impl Between {
    fn of(treatments: &[&ReplicatedIndex]) -> Self {
        let count = treatments.len() as f64;
        let mean = treatments.iter().map(|treatment| treatment.index).sum::<f64>() / count;
        Self {
            squares: treatments.iter().map(|treatment| (treatment.index - mean).powi(2)).sum(),
            error_squares: treatments.iter().map(|treatment| 1.0 / treatment.plots as f64).sum::<f64>()
                * (1.0 - 1.0 / count),
            degrees_of_freedom: count - 1.0,
        }
    }

    fn plus(self, other: Self) -> Self {
        Self {
            squares: self.squares + other.squares,
            error_squares: self.error_squares + other.error_squares,
            degrees_of_freedom: self.degrees_of_freedom + other.degrees_of_freedom,
        }
    }

    /// Error and total variance of treatment means.
    fn variances(self, between_plots: f64) -> Result<(f64, f64), NoReliability> {
        if self.degrees_of_freedom < 1.0 {
            return Err(NoReliability::OneTreatment);
        }
        let total = self.squares / self.degrees_of_freedom;
        let error = between_plots * self.error_squares / self.degrees_of_freedom;
        if total > 0.0 { Ok((error, total)) } else { Err(NoReliability::Constant) }
    }
}

/// The pooled variance between plots of a treatment with its degrees of freedom.
fn pooled<'a>(treatments: impl Iterator<Item = &'a ReplicatedIndex>) -> Option<(f64, f64)> {
    let (mut squares, mut degrees_of_freedom) = (0.0, 0.0);
    for treatment in treatments {
        if let (Some(deviation), Some(spare @ 1..)) = (treatment.standard_deviation, treatment.plots.checked_sub(1)) {
            squares += deviation * deviation * spare as f64;
            degrees_of_freedom += spare as f64;
        }
    }
    (degrees_of_freedom > 0.0).then(|| (squares / degrees_of_freedom, degrees_of_freedom))
}

impl Reliability {
    /// The reliability of treatment means.
    ///
    /// # Errors
    /// [`NoReliability`] where no treatment is replicated, or a number is none.
    pub fn of(treatments: &[ReplicatedIndex], options: &ReliabilityOptions) -> Result<Self, NoReliability> {
        let read: Vec<&ReplicatedIndex> = treatments.iter().filter(|treatment| treatment.plots > 0).collect();
        let finite = |treatment: &&ReplicatedIndex| {
            treatment.index.is_finite() && treatment.standard_deviation.is_none_or(f64::is_finite)
        };
        if !read.iter().all(finite) {
            return Err(NoReliability::NotFinite);
        }
        let (variance, spare) = pooled(read.iter().copied()).ok_or(NoReliability::NotReplicated)?;
        let mut by_site_year: BTreeMap<&str, Vec<&ReplicatedIndex>> = BTreeMap::new();
        for treatment in &read {
            by_site_year.entry(&treatment.site_year).or_default().push(treatment);
        }
        let site_years: Vec<&Vec<&ReplicatedIndex>> = by_site_year.values().collect();
        let within = site_years.iter().map(|own| Between::of(own)).fold(Between::default(), Between::plus);
        let over_all = || {
            let (error, total) = Between::of(&read).variances(variance)?;
            Ok(Share { error, total, reliability: resampled(Share::estimate(error, total), &site_years, options) })
        };
        Ok(Self {
            treatments: read.len(),
            site_years: site_years.len(),
            between_plots: variance.sqrt(),
            degrees_of_freedom: spare as usize,
            plots: read.len() as f64 / read.iter().map(|treatment| 1.0 / treatment.plots as f64).sum::<f64>(),
            within: within.variances(variance).map(|(error, total)| Share {
                error,
                total,
                reliability: by_f(error, total, within.degrees_of_freedom, spare, options.level),
            }),
            over_all: (site_years.len() > 1).then(over_all),
        })
    }
}

/// λ = 1 − 1/F, F the ratio of the variances, with `between` and `within` degrees of freedom.
fn by_f(error: f64, total: f64, between: f64, within: f64, level: f64) -> Interval {
    let estimate = Share::estimate(error, total);
    let at = |quantile: Option<f64>| quantile.map(|quantile| Share::estimate(error * quantile, total));
    let tail = (1.0 - level) / 2.0;
    match (at(f_quantile(1.0 - tail, between, within)), at(f_quantile(tail, between, within))) {
        (Some(low), Some(high)) => Interval::between(Some(estimate), Some(low), Some(high), level, F_RATIO),
        _ => Interval::refused(Some(estimate), level, F_RATIO, "the level is not between 0 and 1"),
    }
}

/// The percentile interval of λ over all, of resampled site-years.
fn resampled(estimate: f64, site_years: &[&Vec<&ReplicatedIndex>], options: &ReliabilityOptions) -> Interval {
    let refused = |reason: &str| Interval::refused(Some(estimate), options.level, RESAMPLED, reason);
    if site_years.len() < FEWEST_SITE_YEARS {
        return refused("too few site-years to resample");
    }
    let replicate = |replicate: u64| {
        let mut random = stream(options.seed, replicate);
        let drawn = (0..site_years.len()).map(|_| random.random_range(0..site_years.len()));
        let own: Vec<&ReplicatedIndex> =
            drawn.filter_map(|position| site_years.get(position)).flat_map(|own| own.iter().copied()).collect();
        let (variance, _) = pooled(own.iter().copied())?;
        let (error, total) = Between::of(&own).variances(variance).ok()?;
        Some(Share::estimate(error, total))
    };
    let mut found: Vec<f64> = (0..options.replicates).into_par_iter().filter_map(replicate).collect();
    found.sort_by(f64::total_cmp);
    let tail = (1.0 - options.level) / 2.0;
    let (Some(low), Some(high)) = (quantile(&found, tail), quantile(&found, 1.0 - tail)) else {
        return refused("no resample gives a reliability");
    };
    let attempted = options.replicates as usize;
    Interval {
        resamples: Some(Resamples { attempted, failed: attempted - found.len() }),
        ..Interval::between(Some(estimate), Some(low), Some(high), options.level, RESAMPLED)
    }
}

#[cfg(test)]
mod tests;
