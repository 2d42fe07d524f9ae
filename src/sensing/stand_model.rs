//! The canopy index explained by stand and early N: index = N level (of each variety) + β·stand + error, by least squares.
//!
//! Blocks are removed only where most of the variation of the stand lies within them. A stand that was lost by block (frost heave along a
//! hedge) is what blocks differ by, and removing them would remove the stand; what else blocks differ by then stays in its effect, and that
//! is said.

use std::collections::BTreeSet;

use jiff::civil::Date;

use super::index::PlotIndex;
use super::level_fit::{METHOD, indicators};
use crate::stats::distribution::{f_survival, t_quantile, t_two_sided};
use crate::stats::interval::Interval;
use crate::stats::least_squares::{Solution, dot, solve};
use crate::stats::levels::level_indices;
use crate::trial::{Plot, Trial};
use crate::units::NRateUnit;

/// Stand and N speak where chance gives as much this rarely.
const ALPHA: f64 = 0.05;
/// The effect of the stand is told for a change by this share of the full stand.
pub const STAND_STEP: f64 = 0.10;
/// Residual variances, or variation of a stand, below this share of the mean square are rounding.
const ROUNDING: f64 = 1e-20;

/// A partial effect: that of one while the other is held.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// The change of the index, with its t interval.
    pub change: Interval,
    /// Its standard error.
    pub standard_error: f64,
    /// Two-sided p of no effect; of N that of the F test of all its levels.
    pub p: f64,
    /// Share of the index's sum of squares that only this explains.
    pub unique_share: f64,
}

/// The canopy index explained by stand and early N.
#[derive(Clone, Debug, PartialEq)]
pub struct StandModel {
    /// Plots it rests on; reference plots are none of them.
    pub plots: usize,
    /// Degrees of freedom of error.
    pub df: usize,
    /// Whether blocks were removed.
    pub blocks_removed: bool,
    /// Share of the stand's sum of squares that lies between blocks; `None` without blocks.
    pub stand_between_blocks: Option<f64>,
    /// Change of the index for a stand denser by [`STAND_STEP`] of the full one.
    pub stand: Effect,
    /// From the lowest to the highest level of N on, in the rate unit; `None` with one level.
    pub n: Option<([f64; 2], Effect)>,
    /// The full stand, as many a square metre.
    full: f64,
}

impl StandModel {
    pub(super) fn of(
        trial: &Trial,
        date: Date,
        unit: NRateUnit,
        canopy: &[PlotIndex],
        stand: impl Fn(&Plot) -> Option<f64>,
        full: f64,
        level: f64,
    ) -> Option<Self> {
        let observed: Vec<(&Plot, f64, f64)> = canopy
            .iter()
            .filter(|read| !read.is_reference)
            .filter_map(|read| {
                let plot = trial.plots.get(read.reading.plot)?;
                Some((plot, read.index.as_ref().ok()?.index, stand(plot)? / full))
            })
            .collect();
        let index: Vec<f64> = observed.iter().map(|(_, index, _)| *index).collect();
        let stands: Vec<f64> = observed.iter().map(|(_, _, stand)| *stand).collect();
        let n_on: Vec<f64> = observed.iter().map(|(plot, ..)| trial.n_already_on(plot, date, unit)).collect();
        let varieties = level_indices(&observed.iter().map(|(plot, ..)| plot.beside_n()).collect::<Vec<_>>());
        let bits: Vec<u64> = n_on.iter().map(|n| n.to_bits()).collect();
        let cells = level_indices(&varieties.iter().zip(&bits).collect::<Vec<_>>());
        let blocks = level_indices(&observed.iter().map(|(plot, ..)| plot.block.as_deref()).collect::<Vec<_>>());
        let has_blocks = blocks.iter().any(|block| *block > 0);
        let between = has_blocks.then(|| share_between(&stands, &blocks)).flatten();
        let blocks_removed = between.is_some_and(|between| between < 0.5);
        let nuisance = || indicators(&blocks).into_iter().skip(1).filter(|_| blocks_removed);
        let with = |cells: &[usize], stand: bool| -> Option<Solution> {
            let stand = Some(stands.clone()).filter(|_| stand);
            let columns: Vec<Vec<f64>> = stand.into_iter().chain(indicators(cells)).chain(nuisance()).collect();
            solve(&columns, &index).ok()
        };
        let whole = with(&cells, true)?;
        let (without_stand, without_n) = (with(&cells, false)?, with(&varieties, true)?);
        let variance = whole.variance().filter(|variance| *variance > ROUNDING)?;
        let grand = index.iter().sum::<f64>() / index.len() as f64;
        let total = index.iter().map(|index| (index - grand).powi(2)).sum::<f64>();
        let df = whole.df as f64;
        let contrast = |weights: &[f64], scale: f64| -> Option<Change> {
            let whitened = whole.factor.whitened(weights)?;
            let coefficients = whole.coefficients.iter().map(|coefficient| coefficient.unwrap_or(0.0));
            let estimate = scale * coefficients.zip(weights).map(|(own, weight)| own * weight).sum::<f64>();
            let error = scale * (variance * dot(&whitened, &whitened)).sqrt();
            let half = t_quantile(0.5 + level / 2.0, df)? * error;
            let interval =
                Interval::between(Some(estimate), Some(estimate - half), Some(estimate + half), level, METHOD);
            Some(Change { interval, standard_error: error, p: t_two_sided(estimate / error, df)? })
        };
        let columns = whole.coefficients.len();
        let of_stand: Vec<f64> = (0..columns).map(|column| f64::from(u8::from(column == 0))).collect();
        let Change { interval: change, standard_error, p } = contrast(&of_stand, STAND_STEP)?;
        let unique_share = (without_stand.rss - whole.rss) / total;
        let stand = Effect { change, standard_error, p, unique_share };
        let n = n_effect(&cells, &varieties, &n_on, columns, &contrast).and_then(|(range, change, standard_error)| {
            let tested = without_n.df.checked_sub(whole.df).filter(|df| *df > 0)? as f64;
            let f = (without_n.rss - whole.rss) / tested / variance;
            let unique_share = (without_n.rss - whole.rss) / total;
            Some((range, Effect { change, standard_error, p: f_survival(f, tested, df)?, unique_share }))
        });
        let (plots, df) = (observed.len(), whole.df);
        Some(Self { plots, df, blocks_removed, stand_between_blocks: between, stand, n, full })
    }

    /// Whether a thinner stand reads lower by more than chance.
    #[must_use]
    pub fn stand_is_shown(&self) -> bool {
        self.stand.p <= ALPHA && self.stand.change.estimate.is_some_and(|change| change > 0.0)
    }

    /// What an index would be at a full stand, for a plot whose stand is `stand` a square metre; `None` where the effect is not shown.
    pub(super) fn at_full_stand(&self, index: f64, stand: f64) -> Option<f64> {
        let change = self.stand.change.estimate.filter(|_| self.stand_is_shown())?;
        Some(index + change * (1.0 - stand / self.full).max(0.0) / STAND_STEP)
    }
}

/// A change of the index with what it may be by chance.
struct Change {
    interval: Interval,
    standard_error: f64,
    p: f64,
}

/// The change of the index from the lowest to the highest level of N, averaged over varieties that have both.
fn n_effect(
    cells: &[usize],
    varieties: &[usize],
    n_on: &[f64],
    columns: usize,
    contrast: &dyn Fn(&[f64], f64) -> Option<Change>,
) -> Option<([f64; 2], Interval, f64)> {
    let lowest = n_on.iter().copied().reduce(f64::min)?;
    let highest = n_on.iter().copied().reduce(f64::max)?;
    let cell = |variety: usize, n: f64| {
        let found = cells.iter().zip(varieties).zip(n_on);
        found.filter(|((_, own), rate)| **own == variety && **rate == n).map(|((cell, _), _)| *cell).next()
    };
    let kinds: BTreeSet<usize> = varieties.iter().copied().collect();
    let pairs: Vec<(usize, usize)> =
        kinds.into_iter().filter_map(|variety| Some((cell(variety, lowest)?, cell(variety, highest)?))).collect();
    let mut weights = vec![0.0; columns];
    for (low, high) in &pairs {
        // The first column is the stand.
        *weights.get_mut(low + 1)? -= 1.0 / pairs.len() as f64;
        *weights.get_mut(high + 1)? += 1.0 / pairs.len() as f64;
    }
    let change = contrast(&weights, 1.0).filter(|_| highest > lowest)?;
    Some(([lowest, highest], change.interval, change.standard_error))
}

/// The share of a sum of squares that lies between groups; `None` where values do not vary.
fn share_between(values: &[f64], groups: &[usize]) -> Option<f64> {
    let grand = values.iter().sum::<f64>() / values.len() as f64;
    let total: f64 = values.iter().map(|value| (value - grand).powi(2)).sum();
    let mut sums = vec![(0.0, 0_usize); groups.iter().max()? + 1];
    for (value, group) in values.iter().zip(groups) {
        let sum = sums.get_mut(*group)?;
        *sum = (sum.0 + value - grand, sum.1 + 1);
    }
    let between: f64 = sums.iter().filter(|(_, count)| *count > 0).map(|(sum, count)| sum * sum / *count as f64).sum();
    (total > ROUNDING * values.len() as f64).then_some(between / total)
}
