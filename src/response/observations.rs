//! Plots, reduced once to what every fit needs.

use super::means::PooledError;
use super::projection::{self, Cells, Projector};
use super::reduced::Reduced;
use crate::stats::least_squares::dot;
use serde::Serialize;

/// Why numbers are not observations of a response.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DataError {
    /// Rates, yields or groups differ in number.
    #[error("{rates} rates, {yields} yields and {groups} groups: the numbers must agree")]
    LengthsDiffer {
        /// How many rates.
        rates: usize,
        /// How many yields.
        yields: usize,
        /// How many groups.
        groups: usize,
    },
    /// A rate or yield is NaN, infinite or absurdly large.
    #[error("observation {index}: rate {rate} and yield {yield_value} must both be finite numbers below 1e50")]
    NotFinite {
        /// Position of the observation, from zero.
        index: usize,
        /// Its rate.
        rate: f64,
        /// Its yield.
        yield_value: f64,
    },
    /// A rate is below zero.
    #[error("observation {index}: rate {rate} is negative; a rate is zero or more")]
    NegativeRate {
        /// Position of the observation, from zero.
        index: usize,
        /// Its rate.
        rate: f64,
    },
    /// Fewer than two distinct rates.
    #[error("a response needs at least two distinct rates, and there is {found}")]
    TooFewRates {
        /// How many there are.
        found: usize,
    },
    /// Treatment means and their replicates differ in number.
    #[error("{means} means and {replicates} numbers of replicates: they must agree")]
    ReplicatesDiffer {
        /// How many means.
        means: usize,
        /// How many numbers of replicates.
        replicates: usize,
    },
    /// The highest rate is so small that a slope has no number.
    #[error("the highest rate is {highest:e}, which is no rate of anything; write rates in another unit")]
    RatesTooSmall {
        /// The highest rate.
        highest: f64,
    },
    /// A treatment mean of no plots, or of more than any trial has.
    #[error("mean {index}: {replicates} replicates; a treatment mean is of 1 to {MOST_REPLICATES} plots", MOST_REPLICATES = super::means::MOST_REPLICATES)]
    Replicates {
        /// Position of the mean, from zero.
        index: usize,
        /// The plots it is said to be of.
        replicates: usize,
    },
    /// A pooled error that is none.
    #[error(
        "a pooled error mean square of {mean_square} on {df} degrees of freedom: the mean square must be a number above 0, on at least 1"
    )]
    PooledError {
        /// The mean square.
        mean_square: f64,
        /// Its degrees of freedom.
        df: usize,
    },
    /// Every group holds one rate only.
    #[error("no group (block) holds more than one rate, so rates cannot be compared within groups")]
    NoContrastWithinGroups,
}

/// The mean of a rate's plots.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TreatmentMean {
    /// The rate.
    pub rate: f64,
    /// Plots at the rate.
    pub n: usize,
    /// The mean, adjusted to the unweighted mean of the groups where groups are unbalanced; the plain mean where they are balanced or
    /// where the groups do not connect the rates.
    pub mean: f64,
    /// Its standard error from the pure error; `None` without error degrees of freedom or where the rates are not connected.
    pub standard_error: Option<f64>,
}

/// Larger numbers would overflow when squared.
const LARGEST: f64 = 1e50;
/// A smaller highest rate would let slopes overflow.
const SMALLEST_HIGHEST_RATE: f64 = 1e-50;
/// Rates that differ by less than this, relative to the highest, are one: rounding of a unit's conversion separates them, and nothing is
/// fitted to differences so small.
const SAME_RATE: f64 = 1e-9;

/// Yields at rates, with nuisance groups taken out, ready for any number of fits.
///
/// Making one costs a microsecond or two for a balanced trial; every curve is then fitted to the few numbers that are left.
#[derive(Clone, Debug)]
pub struct Observations {
    /// Observations as the criteria count them.
    n: usize,
    /// Nuisance parameters: the groups, and of treatment means with a pooled error those of the plots behind them.
    nuisance: usize,
    rates: Vec<f64>,
    /// Plots at each rate.
    counts: Vec<usize>,
    /// The distinct rate of each observation.
    rate_of: Vec<usize>,
    /// The group of each observation, 0 … groups − 1.
    group_of: Vec<usize>,
    /// Plots in each group.
    group_sizes: Vec<usize>,
    group_means: Vec<f64>,
    /// The plots behind each observation, where it is a treatment mean.
    weights: Option<Vec<f64>>,
    pooled_error: Option<PooledError>,
    /// Yields minus the mean of their group.
    centred: Vec<f64>,
    /// The weight of each rate in the unweighted mean over groups of the group's mean of a curve.
    rate_weights: Vec<f64>,
    projector: Projector,
    reduced: Reduced,
    /// Below this a residual sum of squares is rounding.
    rounding: f64,
}

impl Observations {
    /// Reduces one yield a plot at its rate.
    ///
    /// `rates` and `yields` are in any one unit each; `groups` gives the level of the nuisance factor (the block, or factor × block
    /// where curves are pooled over a factor) of each observation, as any labels. Nuisance is projected out by subtracting group means
    /// from yields and from the indicator columns of the rates. If rates and groups are proportional (every balanced trial, and every
    /// trial without groups) the indicators are then orthogonal up to the mean; otherwise a pivoted QR is taken.
    ///
    /// # Errors
    /// See [`DataError`].
    pub fn new(rates: &[f64], yields: &[f64], groups: Option<&[usize]>) -> Result<Self, DataError> {
        Self::reduce(rates, yields, groups, None, None)
    }

    /// As [`new`](Self::new), each observation counting as `weights` plots, with a pooled error beside theirs.
    pub(super) fn reduce(
        rates: &[f64],
        yields: &[f64],
        groups: Option<&[usize]>,
        weights: Option<Vec<f64>>,
        pooled_error: Option<PooledError>,
    ) -> Result<Self, DataError> {
        check(rates, yields, groups)?;
        let rows = rates.len();
        let distinct = distinct_rates(rates);
        if distinct.len() < 2 {
            return Err(DataError::TooFewRates { found: distinct.len() });
        }
        let top = distinct[distinct.len() - 1];
        if top < SMALLEST_HIGHEST_RATE {
            return Err(DataError::RatesTooSmall { highest: top });
        }
        // Every rate is at or a rounding above one of `distinct`, the lowest of which is at most any rate.
        let place = |rate: f64| distinct.partition_point(|known| *known <= rate) - 1;
        let rate_of: Vec<usize> = rates.iter().map(|rate| place(*rate)).collect();
        let group_of = dense(groups, rows);
        let group_count = group_of.iter().max().map_or(0, |last| last + 1);
        let cells = Cells::new(&rate_of, &group_of, distinct.len(), group_count, weights.as_deref());
        let group_means = projection::means(yields, &group_of, &cells.group_sizes, weights.as_deref());
        let centred: Vec<f64> = yields.iter().zip(&group_of).map(|(y, g)| y - group_means[*g]).collect();
        let scaled: Vec<f64> = distinct.iter().map(|rate| rate / top).collect();
        let pooled_ss = pooled_error.map_or(0.0, PooledError::sum_of_squares);
        let rows_of = projection::Rows { rate_of: &rate_of, group_of: &group_of, weights: weights.as_deref() };
        let (projector, reduced) = projection::reduce(&cells, scaled, &centred, &rows_of, pooled_ss);
        if reduced.z().is_empty() {
            return Err(DataError::NoContrastWithinGroups);
        }
        let largest = yields.iter().fold(0.0_f64, |largest, y| largest.max(y.abs()));
        Ok(Self {
            n: rows,
            nuisance: group_count,
            rate_weights: cells.rate_weights(),
            counts: cells.rate_sizes,
            group_sizes: cells.group_sizes,
            rates: distinct,
            rate_of,
            group_of,
            group_means,
            weights,
            pooled_error,
            centred,
            projector,
            reduced,
            rounding: rows as f64 * (8.0 * f64::EPSILON * largest).powi(2),
        })
    }

    /// Counts observations and nuisance parameters otherwise than by rows and groups.
    pub(super) fn counted(self, n: usize, nuisance: usize) -> Self {
        Self { n, nuisance, ..self }
    }

    /// The number of observations as the criteria count them; see [`of_means`](Self::of_means) for treatment means.
    pub fn n(&self) -> usize {
        self.n
    }

    /// The distinct rates, ascending.
    pub fn rates(&self) -> &[f64] {
        &self.rates
    }

    /// The number of nuisance groups; 1 where none were given.
    pub fn groups(&self) -> usize {
        self.group_sizes.len()
    }

    /// Whether the observations are treatment means, which no plot can be permuted or resampled from.
    pub fn are_means(&self) -> bool {
        self.weights.is_some()
    }

    /// The error mean square that was given beside treatment means.
    pub fn pooled_error(&self) -> Option<PooledError> {
        self.pooled_error
    }

    /// Nuisance parameters of every model.
    pub(super) fn nuisance(&self) -> usize {
        self.nuisance
    }

    /// The plots behind each observation; `None` where it is one plot.
    pub(super) fn weights(&self) -> Option<&[f64]> {
        self.weights.as_deref()
    }

    /// The plots behind all observations.
    pub(super) fn plots(&self) -> usize {
        self.group_sizes.iter().sum()
    }

    /// The lowest tested rate.
    pub fn lowest_rate(&self) -> f64 {
        self.rates.first().copied().unwrap_or(0.0)
    }

    /// The highest tested rate.
    pub fn highest_rate(&self) -> f64 {
        self.rates.last().copied().unwrap_or(0.0)
    }

    /// Whether the groups connect the rates: where they do not, some rates are never compared within groups, and treatment means are
    /// plain means with the differences between groups in them.
    pub fn rates_connected(&self) -> bool {
        self.contrasts() + 1 == self.rates.len()
    }

    /// The mean of each rate, ascending, adjusted for groups where they are unbalanced.
    pub fn treatment_means(&self) -> Vec<TreatmentMean> {
        let variance = self.error_variance();
        let effects = self.rate_effects();
        (0..self.rates.len())
            .map(|rate| {
                let adjusted = effects.as_ref().map(|effects| self.mean_of_groups() + effects[rate]);
                let factor = effects.as_ref().and_then(|_| self.mean_variance_factor(rate));
                TreatmentMean {
                    rate: self.rates[rate],
                    n: self.counts[rate],
                    mean: adjusted.unwrap_or_else(|| self.plain_mean(rate)),
                    standard_error: variance.zip(factor).map(|(variance, factor)| (variance * factor).sqrt()),
                }
            })
            .collect()
    }

    pub(super) fn reduced(&self) -> &Reduced {
        &self.reduced
    }

    pub(super) fn group_of(&self) -> &[usize] {
        &self.group_of
    }

    /// The place of each observation's rate among the distinct ones.
    pub(super) fn rate_of(&self) -> &[usize] {
        &self.rate_of
    }

    pub(super) fn group_sizes(&self) -> &[usize] {
        &self.group_sizes
    }

    pub(super) fn group_means(&self) -> &[f64] {
        &self.group_means
    }

    pub(super) fn centred(&self) -> &[f64] {
        &self.centred
    }

    /// A rate divided by the highest, in the rate unit: a tested rate is given back as it was typed.
    pub(super) fn in_rate_unit(&self, scaled: f64) -> f64 {
        let tested = self.reduced.rates().iter().zip(&self.rates).find(|(rate, _)| **rate == scaled);
        tested.map_or(scaled * self.highest_rate(), |(_, rate)| *rate)
    }

    /// Independent contrasts among the rates within groups.
    pub(super) fn contrasts(&self) -> usize {
        match &self.projector {
            Projector::Balanced => self.rates.len() - 1,
            Projector::General(factor) => factor.rank(),
        }
    }

    /// Degrees of freedom of the pure error: observations minus nuisance parameters minus contrasts.
    pub(super) fn error_df(&self) -> usize {
        self.n.saturating_sub(self.nuisance + self.contrasts())
    }

    /// The pure error mean square.
    pub(super) fn error_variance(&self) -> Option<f64> {
        let df = self.error_df();
        (df > 0).then(|| self.reduced.pure_error() / df as f64)
    }

    /// Whether a residual sum of squares is rounding and nothing else.
    pub(super) fn is_rounding(&self, rss: f64) -> bool {
        rss <= self.rounding
    }

    /// The unweighted mean of the group means.
    pub(super) fn mean_of_groups(&self) -> f64 {
        self.group_means.iter().sum::<f64>() / self.group_means.len() as f64
    }

    /// The variance of [`mean_of_groups`](Self::mean_of_groups) in units of the error variance.
    pub(super) fn mean_of_groups_factor(&self) -> f64 {
        let inverse_sizes: f64 = self.group_sizes.iter().map(|size| 1.0 / *size as f64).sum();
        inverse_sizes / (self.groups() as f64).powi(2)
    }

    /// The unweighted mean over groups of the mean of `g`, a function of rates divided by the highest.
    pub(super) fn mean_of_curve(&self, g: impl Fn(f64) -> f64) -> f64 {
        self.reduced.rates().iter().zip(&self.rate_weights).map(|(rate, weight)| weight * g(*rate)).sum()
    }

    /// `z` for other yields, given centred by group.
    pub(super) fn project(&self, centred: &[f64], z: &mut Vec<f64>) {
        z.clear();
        match &self.projector {
            Projector::Balanced => {
                z.extend(projection::balanced_z(&self.counts, centred, &self.rate_of, self.weights()));
            }
            Projector::General(factor) => match self.weights() {
                None => z.extend(factor.project(centred)),
                Some(weights) => z.extend(factor.project(&projection::scaled(centred, weights))),
            },
        }
    }

    /// The effect of each rate around the mean of the groups; `None` where groups do not connect the rates.
    fn rate_effects(&self) -> Option<Vec<f64>> {
        match &self.projector {
            Projector::Balanced => {
                let z = self.reduced.z().iter().zip(&self.counts);
                Some(z.map(|(z, count)| z / (*count as f64).sqrt()).collect())
            }
            Projector::General(factor) => {
                // The lowest rate is the baseline of the indicators.
                let above: Option<Vec<f64>> = factor.solve(self.reduced.z()).into_iter().collect();
                let effects: Vec<f64> = std::iter::once(0.0).chain(above?).collect();
                let centre = dot(&effects, &self.rate_weights);
                Some(effects.iter().map(|effect| effect - centre).collect())
            }
        }
    }

    /// The variance of an adjusted mean in units of the error variance.
    fn mean_variance_factor(&self, rate: usize) -> Option<f64> {
        match &self.projector {
            Projector::Balanced if self.groups() == 1 => Some(1.0 / self.counts[rate] as f64),
            Projector::Balanced => {
                let contrast = 1.0 / self.counts[rate] as f64 - 1.0 / self.plots() as f64;
                Some(self.mean_of_groups_factor() + contrast)
            }
            Projector::General(factor) => {
                let weights = self.rate_weights.iter().enumerate().skip(1);
                let contrast: Vec<f64> = weights.map(|(i, w)| if i == rate { 1.0 - w } else { -w }).collect();
                Some(self.mean_of_groups_factor() + factor.variance_factor(&contrast)?)
            }
        }
    }

    fn plain_mean(&self, rate: usize) -> f64 {
        let weight = |row: usize| self.weights().and_then(|weights| weights.get(row)).copied().unwrap_or(1.0);
        let at = self.centred.iter().zip(&self.group_of).zip(&self.rate_of).enumerate();
        let sum: f64 = at
            .filter(|(_, (_, r))| **r == rate)
            .map(|(row, ((y, g), _))| weight(row) * (y + self.group_means[*g]))
            .sum();
        sum / self.counts[rate] as f64
    }
}

fn check(rates: &[f64], yields: &[f64], groups: Option<&[usize]>) -> Result<(), DataError> {
    let group_count = groups.map_or(rates.len(), <[usize]>::len);
    if rates.len() != yields.len() || rates.len() != group_count {
        return Err(DataError::LengthsDiffer { rates: rates.len(), yields: yields.len(), groups: group_count });
    }
    for (index, (rate, yield_value)) in rates.iter().zip(yields).enumerate() {
        if ![*rate, *yield_value].iter().all(|number| number.abs() < LARGEST) {
            return Err(DataError::NotFinite { index, rate: *rate, yield_value: *yield_value });
        }
        if *rate < 0.0 {
            return Err(DataError::NegativeRate { index, rate: *rate });
        }
    }
    Ok(())
}

/// Rates that are told apart, ascending; of those that rounding separates, the lowest.
fn distinct_rates(rates: &[f64]) -> Vec<f64> {
    // Adding zero makes −0 the +0 that it equals.
    let mut distinct = ascending(rates.iter().map(|rate| rate + 0.0).collect(), f64::total_cmp);
    let apart = SAME_RATE * distinct.last().copied().unwrap_or(0.0);
    // The first of a run of close rates stays, and each later one is compared with it.
    distinct.dedup_by(|rate, kept| *rate - *kept < apart);
    distinct
}

/// Distinct values, ascending.
fn ascending<T: PartialEq>(mut values: Vec<T>, order: impl Fn(&T, &T) -> std::cmp::Ordering) -> Vec<T> {
    values.sort_unstable_by(order);
    values.dedup();
    values
}

/// Groups renamed 0, 1, … in the order of their labels.
fn dense(groups: Option<&[usize]>, n: usize) -> Vec<usize> {
    let Some(groups) = groups else { return vec![0; n] };
    let labels = ascending(groups.to_vec(), usize::cmp);
    groups.iter().map(|group| labels.partition_point(|known| known < group)).collect()
}
