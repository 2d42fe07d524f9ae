//! One value for each unit that N was laid out on, and their means by level of N, blocks removed.

use std::collections::BTreeMap;

use crate::stats::distribution::{t_quantile, t_two_sided};
use crate::stats::interval::Interval;
use crate::stats::least_squares::{Solution, dot, solve};
use crate::stats::levels::level_indices;
use crate::trial::{Application, Plot, Trial};

/// Residual variances below this share of the mean square are rounding, not error.
const ROUNDING: f64 = 1e-20;
/// Method of intervals from a standard error.
pub(super) const METHOD: &str = "t";

/// A value with where it stands in the trial.
#[derive(Clone, Debug)]
pub(super) struct Unit<'t> {
    /// N on it, in the rate unit.
    pub(super) n: f64,
    /// Whether it is an N-rich reference.
    pub(super) is_reference: bool,
    /// Block, and variety where levels are compared over varieties.
    pub(super) within: (Option<&'t str>, Option<&'t str>),
    /// The mean reading, or the yield.
    pub(super) value: f64,
    /// Plots it is the mean of.
    pub(super) plots: usize,
}

/// Values of plots as values of what N was laid out on: where an application is a factor on main plots or strips, the plots of one level in
/// a block are one unit and no replicates of each other.
pub(super) fn units<'t>(
    trial: &'t Trial,
    values: impl Iterator<Item = (&'t Plot, f64)>,
    n_of: impl Fn(&Plot) -> f64,
) -> Vec<Unit<'t>> {
    let by_variety = trial.reference.is_some_and(|reference| !reference.shared_within.variety);
    let units = values.map(|(plot, value)| Unit {
        n: n_of(plot),
        is_reference: plot.is_reference,
        within: (plot.block.as_deref(), plot.variety.as_deref().filter(|_| by_variety)),
        value,
        plots: 1,
    });
    let is_n = |name: &String| trial.applications.iter().any(|Application { name: known, .. }| known == name);
    if !trial.design.named_factors().iter().any(is_n) {
        return units.collect();
    }
    let mut together: BTreeMap<_, Unit<'t>> = BTreeMap::new();
    for unit in units {
        let key = (unit.within, unit.is_reference, unit.n.to_bits());
        match together.get_mut(&key) {
            Some(sum) => {
                sum.value += unit.value;
                sum.plots += 1;
            }
            None => {
                together.insert(key, unit);
            }
        }
    }
    let mean = |unit: Unit<'t>| Unit { value: unit.value / unit.plots as f64, ..unit };
    together.into_values().map(mean).collect()
}

/// A level of N.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    pub(super) n: f64,
    pub(super) is_reference: bool,
    pub(super) units: usize,
    /// The plain mean of its units.
    pub(super) mean: f64,
}

/// The least-squares fit of levels and blocks to units: y = level + block + error.
pub(super) struct LevelFit {
    /// In order of N, an N-rich reference after plots with as much.
    pub(super) levels: Vec<Level>,
    solution: Solution,
}

/// A contrast of level means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Contrast {
    pub(super) estimate: f64,
    pub(super) standard_error: f64,
    pub(super) df: f64,
}

impl Contrast {
    pub(super) fn t(&self) -> f64 {
        self.estimate / self.standard_error
    }

    pub(super) fn p(&self) -> Option<f64> {
        t_two_sided(self.t(), self.df)
    }

    /// Both limits at a level, everything multiplied by `scale`.
    pub(super) fn interval(&self, level: f64, scale: f64) -> Interval {
        let half = t_quantile(0.5 + level / 2.0, self.df).map(|t| t * self.standard_error);
        let Some(half) = half else { return Interval::not_computed(Some(self.estimate * scale), level, METHOD) };
        let ends = [self.estimate - half, self.estimate + half].map(|end| end * scale);
        let [low, high] = if scale < 0.0 { [ends[1], ends[0]] } else { ends };
        Interval::between(Some(self.estimate * scale), Some(low), Some(high), level, METHOD)
    }
}

impl LevelFit {
    /// `None` with fewer than two levels, without degrees of freedom of error, or where units differ by rounding only.
    pub(super) fn of(units: &[Unit<'_>]) -> Option<Self> {
        let labels: Vec<(u64, bool)> = units.iter().map(|unit| (unit.n.to_bits(), unit.is_reference)).collect();
        let level_of = level_indices(&labels);
        let blocks: Vec<_> = units.iter().map(|unit| unit.within).collect();
        let block_of = level_indices(&blocks);
        let levels = level_of.iter().max()? + 1;
        let values: Vec<f64> = units.iter().map(|unit| unit.value).collect();
        let columns: Vec<Vec<f64>> =
            indicators(&level_of).into_iter().chain(indicators(&block_of).into_iter().skip(1)).collect();
        let solution = solve(&columns, &values).ok().filter(|_| levels > 1)?;
        let size = dot(&values, &values) / values.len() as f64;
        solution.variance().filter(|variance| *variance > ROUNDING * size)?;
        let level = |position: usize| {
            let own: Vec<&Unit<'_>> =
                units.iter().zip(&level_of).filter(|(_, level)| **level == position).map(|(unit, _)| unit).collect();
            let first = own.first()?;
            let mean = own.iter().map(|unit| unit.value).sum::<f64>() / own.len() as f64;
            Some(Level { n: first.n, is_reference: first.is_reference, units: own.len(), mean })
        };
        Some(Self { levels: (0..levels).filter_map(level).collect(), solution })
    }

    pub(super) fn df(&self) -> usize {
        self.solution.df
    }

    /// Σ wᵢ·(level i), for weights that sum to zero; `None` where blocks do not let it be estimated.
    pub(super) fn contrast(&self, weights: &[f64]) -> Option<Contrast> {
        let mut whole = vec![0.0; self.solution.coefficients.len()];
        whole.iter_mut().zip(weights).take(self.levels.len()).for_each(|(own, weight)| *own = *weight);
        let whitened = self.solution.factor.whitened(&whole)?;
        let coefficients = self.solution.coefficients.iter().map(|coefficient| coefficient.unwrap_or(0.0));
        let estimate = coefficients.zip(&whole).map(|(coefficient, weight)| coefficient * weight).sum();
        let variance = self.solution.variance()? * dot(&whitened, &whitened);
        Some(Contrast { estimate, standard_error: variance.sqrt(), df: self.solution.df as f64 })
    }

    /// Level `a` minus level `b`.
    pub(super) fn difference(&self, a: usize, b: usize) -> Option<Contrast> {
        let weight = |level: usize| f64::from(u8::from(level == a)) - f64::from(u8::from(level == b));
        self.contrast(&(0..self.levels.len()).map(weight).collect::<Vec<_>>())
    }

    /// The weights of the least-squares slope on N over the levels from `first` to `last`: (xᵢ − x̄) ÷ Σ(x − x̄)².
    pub(super) fn slope(&self, first: usize, last: usize) -> Vec<f64> {
        let within = |level: &usize| (first..=last).contains(level);
        let rates: Vec<f64> =
            self.levels.iter().enumerate().filter(|(level, _)| within(level)).map(|(_, level)| level.n).collect();
        let centre = rates.iter().sum::<f64>() / rates.len() as f64;
        let squares: f64 = rates.iter().map(|rate| (rate - centre).powi(2)).sum();
        let weight = |(position, level): (usize, &Level)| {
            if within(&position) && squares > 0.0 { (level.n - centre) / squares } else { 0.0 }
        };
        self.levels.iter().enumerate().map(weight).collect()
    }
}

/// A column of zeros and ones for each level.
pub(super) fn indicators(levels: &[usize]) -> Vec<Vec<f64>> {
    let count = levels.iter().max().map_or(0, |highest| highest + 1);
    (0..count).map(|level| levels.iter().map(|own| f64::from(u8::from(*own == level))).collect()).collect()
}
