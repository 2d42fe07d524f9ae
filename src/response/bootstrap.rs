//! Intervals from resampling: of residuals within blocks, of whole blocks, or with residuals of either sign.
//!
//! Residuals are those of the fitted curve, divided by √(1 − leverage) so that they have the variance of errors, and centred within their
//! block (Davison & Hinkley 1997, *Bootstrap Methods and their Application*, section 6.2, from memory). Replicate i draws from the
//! stream (seed, i), so nothing depends on the number of threads.
//!
//! A join or an optimum is not a smooth function of the yields where a join lies at a tested rate, and there a bootstrap of it is not
//! consistent (Gill 2009): the profile interval leads, and these say by their method what they are.

use super::curve::{Curve, Reach};
use super::method::Quantity;
use super::observations::Observations;
use super::optimum::OptimumStatus;
use super::refit::Refit;
use crate::stats::distribution::{normal_quantile, normal_survival};
use crate::stats::interval::{Interval, Resamples};
use crate::stats::stream::stream;
use rand::RngExt as _;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What is resampled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Resampling {
    /// Residuals within their block, with replacement, added to the fitted curve.
    #[default]
    Residuals,
    /// Whole blocks, with replacement.
    Blocks,
    /// Each plot keeps its residual, with a sign drawn at random (Rademacher's weights): errors may differ in spread from rate to rate.
    Wild,
}

/// How limits are read from replicates.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BootstrapLimits {
    /// The percentiles of the replicates.
    #[default]
    Percentile,
    /// Percentiles corrected for bias and acceleration (Efron 1987, JASA 82:171-185, from memory), the acceleration from leaving out one
    /// plot at a time, or one block where blocks are resampled.
    Bca,
}

/// A bootstrap to be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Bootstrap {
    /// What is resampled.
    pub resampling: Resampling,
    /// How limits are read.
    pub limits: BootstrapLimits,
    /// Replicates.
    pub replicates: usize,
    /// Seed of their streams.
    pub seed: u64,
}

/// Replicates where nothing else is asked: a 95 % limit then rests on the fiftieth from the end.
pub const BOOTSTRAP_REPLICATES: usize = 1_999;

/// The fewest blocks that are resampled whole: three give ten different samples.
const FEWEST_BLOCKS: usize = 4;

const NAME: &str = "bootstrap";

impl Bootstrap {
    /// Residuals within blocks, percentiles, the usual number of replicates.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self {
            resampling: Resampling::default(),
            limits: BootstrapLimits::default(),
            replicates: BOOTSTRAP_REPLICATES,
            seed,
        }
    }
}

impl Observations {
    /// The bootstrap interval of a quantity of a fitted curve, every replicate a full global search in its family.
    ///
    /// A replicate whose optimum or join is not reached counts as beyond any rate, one whose optimum or join lies before the first rate
    /// as below any; a limit that falls on such replicates is open. A replicate whose yields do not rise has its optimum at rate 0, and
    /// no join or plateau: it is counted as failed. `estimate` is what is reported beside the interval.
    pub fn bootstrap(
        &self,
        curve: &Curve,
        quantity: Quantity,
        estimate: Option<f64>,
        bootstrap: &Bootstrap,
        level: f64,
    ) -> Interval {
        let of = |observations: &Observations| {
            observations.resampled_value(observations.fit(curve.family).curve(), quantity)
        };
        if bootstrap.resampling == Resampling::Blocks || self.why_no_bootstrap(curve, bootstrap).is_some() {
            return self.bootstrap_with(curve, of, estimate, bootstrap, level);
        }
        // The design stays: what does not depend on yields is worked out once.
        let errors = Errors::of(self, curve, bootstrap.resampling);
        let refit = Refit::new(self, curve.family);
        let start = || (refit.clone(), vec![0.0; errors.fitted.len()], Vec::new());
        let replicate = |(refit, yields, z): &mut (Refit<'_>, Vec<f64>, Vec<f64>), index: usize| {
            let mean = errors.draw(bootstrap.seed, index, yields);
            self.project(yields, z);
            self.resampled_value(refit.curve(z, self.mean_of_groups() + mean).as_ref(), quantity)
        };
        let values: Vec<Option<f64>> = (0..bootstrap.replicates).into_par_iter().map_init(start, replicate).collect();
        let left_out = || self.left_out_in_turn(bootstrap.resampling, of);
        limits(&values, self.resampled_value(Some(curve), quantity), left_out, bootstrap, level, estimate)
    }

    /// The bootstrap interval of anything that observations say, errors drawn around a fitted curve. A replicate that says nothing counts as
    /// failed.
    pub fn bootstrap_with(
        &self,
        curve: &Curve,
        statistic: impl Fn(&Observations) -> Option<f64> + Sync,
        estimate: Option<f64>,
        bootstrap: &Bootstrap,
        level: f64,
    ) -> Interval {
        if let Some(reason) = self.why_no_bootstrap(curve, bootstrap) {
            return Interval::refused(estimate, level, NAME, reason);
        }
        let values: Vec<Option<f64>> = match bootstrap.resampling {
            Resampling::Blocks => self.over_resampled_blocks(bootstrap, &statistic),
            Resampling::Residuals | Resampling::Wild => {
                let errors = Errors::of(self, curve, bootstrap.resampling);
                let replicate = |yields: &mut Vec<f64>, index: usize| {
                    let mean = errors.draw(bootstrap.seed, index, yields);
                    self.with_yields(yields, mean).and_then(|resampled| statistic(&resampled))
                };
                let start = || vec![0.0; errors.fitted.len()];
                (0..bootstrap.replicates).into_par_iter().map_init(start, replicate).collect()
            }
        };
        let left_out = || self.left_out_in_turn(bootstrap.resampling, &statistic);
        limits(&values, statistic(self), left_out, bootstrap, level, estimate)
    }

    /// Why yields cannot be resampled; `None` where they can.
    fn why_no_bootstrap(&self, curve: &Curve, bootstrap: &Bootstrap) -> Option<&'static str> {
        match bootstrap.resampling {
            _ if self.are_means() => Some("treatment means cannot be resampled: the plots are wanted"),
            _ if curve.df == 0 || self.is_rounding(curve.rss) => Some(self.why_no_error(curve)),
            Resampling::Blocks if self.groups() < FEWEST_BLOCKS => {
                Some("fewer than four blocks cannot be resampled whole: resample residuals")
            }
            _ => None,
        }
    }

    /// A quantity of a replicate's curve, beyond every rate or below where it is only bounded; `None` where there is none.
    fn resampled_value(&self, curve: Option<&Curve>, quantity: Quantity) -> Option<f64> {
        let lowest = if self.lowest_rate() > 0.0 { f64::NEG_INFINITY } else { 0.0 };
        match (quantity, curve) {
            (Quantity::Optimum { slope_ratio }, Some(curve)) => {
                let (rate, status) = self.best_rate(curve, slope_ratio);
                Some(match status {
                    OptimumStatus::AtHighestTestedRate => f64::INFINITY,
                    OptimumStatus::BeforeFirstRate => f64::NEG_INFINITY,
                    _ => rate,
                })
            }
            (Quantity::Optimum { .. }, None) => Some(lowest),
            (Quantity::Join, Some(curve)) => match curve.reach? {
                Reach::WithinTestedRates => curve.join,
                Reach::NotReached => Some(f64::INFINITY),
                Reach::BeforeFirstRate => Some(f64::NEG_INFINITY),
            },
            (Quantity::Plateau, Some(curve)) => Some(curve.plateau().unwrap_or(f64::INFINITY)),
            _ => None,
        }
    }

    /// What `of` says of each sample of whole blocks, each block drawn a block of its own.
    fn over_resampled_blocks(
        &self,
        bootstrap: &Bootstrap,
        of: impl Fn(&Observations) -> Option<f64> + Sync,
    ) -> Vec<Option<f64>> {
        let members = self.members();
        let replicate = |index: usize| {
            let mut rng = stream(bootstrap.seed, index as u64);
            let drawn: Vec<usize> = members.iter().map(|_| rng.random_range(0..members.len())).collect();
            let rows = drawn
                .iter()
                .enumerate()
                .flat_map(|(place, block)| members.get(*block).into_iter().flatten().map(move |row| (*row, place)));
            self.of_rows(rows).and_then(|resampled| of(&resampled))
        };
        (0..bootstrap.replicates).into_par_iter().map(replicate).collect()
    }

    /// What `of` says without each plot, or each block, in turn.
    fn left_out_in_turn(
        &self,
        resampling: Resampling,
        of: impl Fn(&Observations) -> Option<f64> + Sync,
    ) -> Vec<Option<f64>> {
        let groups = self.group_of();
        let (count, is_out): (usize, fn(usize, usize, usize) -> bool) = match resampling {
            Resampling::Blocks => (self.groups(), |_, group, out| group == out),
            Resampling::Residuals | Resampling::Wild => (groups.len(), |row, _, out| row == out),
        };
        let without = |out: usize| {
            let rest = groups.iter().enumerate().filter(|(row, group)| !is_out(*row, **group, out));
            self.of_rows(rest.map(|(row, group)| (row, *group))).and_then(|rest| of(&rest))
        };
        (0..count).into_par_iter().map(without).collect()
    }

    /// The rows of each group.
    fn members(&self) -> Vec<Vec<usize>> {
        let mut members = vec![Vec::new(); self.groups()];
        for (row, group) in self.group_of().iter().enumerate() {
            if let Some(own) = members.get_mut(*group) {
                own.push(row);
            }
        }
        members
    }

    /// Observations of some rows, each in a group.
    fn of_rows(&self, rows: impl Iterator<Item = (usize, usize)>) -> Option<Observations> {
        let (mut rates, mut yields, mut groups) = (Vec::new(), Vec::new(), Vec::new());
        for (row, group) in rows {
            let own = self.group_of().get(row)?;
            rates.push(*self.rates().get(*self.rate_of().get(row)?)?);
            yields.push(self.centred().get(row)? + self.group_means().get(*own)?);
            groups.push(group);
        }
        Observations::new(&rates, &yields, Some(&groups)).ok()
    }

    /// The observations with other yields, given centred by group and with what is added to every group's mean.
    fn with_yields(&self, centred: &[f64], mean: f64) -> Option<Observations> {
        let rate = |row: &usize| self.rates().get(*row).copied();
        let rates: Option<Vec<f64>> = self.rate_of().iter().map(rate).collect();
        let of_group = |(y, group): (&f64, &usize)| Some(y + mean + self.group_means().get(*group)?);
        let yields: Option<Vec<f64>> = centred.iter().zip(self.group_of()).map(of_group).collect();
        Observations::new(&rates?, &yields?, Some(self.group_of())).ok()
    }
}

/// The fitted curve at each observation, and the errors that are drawn.
struct Errors<'a> {
    resampling: Resampling,
    observations: &'a Observations,
    /// Centred by group.
    fitted: Vec<f64>,
    errors: Vec<f64>,
    members: Vec<Vec<usize>>,
}

impl<'a> Errors<'a> {
    fn of(observations: &'a Observations, curve: &Curve, resampling: Resampling) -> Self {
        let fitted = observations.within_groups(|rate| curve.value(rate));
        let leverages = observations.leverages(curve);
        let raw = observations.centred().iter().zip(&fitted).map(|(y, f)| y - f);
        // A plot that the curve must pass through has no residual to scale.
        let scaled = |(e, leverage): (f64, &f64)| if *leverage < 1.0 { e / (1.0 - leverage).sqrt() } else { 0.0 };
        let mut errors: Vec<f64> = raw.zip(&leverages).map(scaled).collect();
        let members = observations.members();
        for own in &members {
            let sum: f64 = own.iter().filter_map(|row| errors.get(*row)).sum();
            let mean = sum / own.len().max(1) as f64;
            for row in own {
                if let Some(error) = errors.get_mut(*row) {
                    *error -= mean;
                }
            }
        }
        Self { resampling, observations, fitted, errors, members }
    }

    /// Writes the yields of a replicate, centred by group, and returns what its errors add to the mean of the groups.
    fn draw(&self, seed: u64, index: usize, yields: &mut [f64]) -> f64 {
        let mut rng = stream(seed, index as u64);
        let mut added = 0.0;
        for own in &self.members {
            let size = own.len() as u32;
            let mut sum = 0.0;
            for row in own {
                let error = match self.resampling {
                    Resampling::Wild => {
                        let error = self.errors.get(*row).copied().unwrap_or(0.0);
                        if rng.random::<bool>() { error } else { -error }
                    }
                    Resampling::Residuals | Resampling::Blocks => {
                        let from = own.get(rng.random_range(0..size) as usize).copied().unwrap_or(*row);
                        self.errors.get(from).copied().unwrap_or(0.0)
                    }
                };
                sum += error;
                if let (Some(y), Some(fitted)) = (yields.get_mut(*row), self.fitted.get(*row)) {
                    *y = fitted + error;
                }
            }
            let mean = sum / f64::from(size);
            for row in own {
                if let Some(y) = yields.get_mut(*row) {
                    *y -= mean;
                }
            }
            added += mean;
        }
        added / self.observations.groups() as f64
    }
}

/// The interval of replicates.
fn limits(
    values: &[Option<f64>],
    found: Option<f64>,
    left_out: impl FnOnce() -> Vec<Option<f64>>,
    bootstrap: &Bootstrap,
    level: f64,
    estimate: Option<f64>,
) -> Interval {
    let mut sorted: Vec<f64> = values.iter().flatten().copied().collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let resamples = Some(Resamples { attempted: values.len(), failed: values.len() - sorted.len() });
    let refuse = |reason: &str| Interval { resamples, ..Interval::refused(estimate, level, NAME, reason) };
    if sorted.len() < 2 {
        return refuse("hardly any replicate has a curve");
    }
    let tail = 0.5 * (1.0 - level);
    let probabilities = match bootstrap.limits {
        BootstrapLimits::Percentile => Ok([tail, 1.0 - tail]),
        BootstrapLimits::Bca => corrected([tail, 1.0 - tail], &sorted, found, &left_out()),
    };
    match probabilities {
        Ok(probabilities) => {
            let [low, high] = probabilities.map(|probability| quantile(&sorted, probability));
            Interval { resamples, ..Interval::between(estimate, low, high, level, NAME) }
        }
        Err(reason) => refuse(reason),
    }
}

/// The quantile of ascending values that may be infinite (type 7); `None` where it falls on or beside one that is.
fn quantile(ascending: &[f64], probability: f64) -> Option<f64> {
    crate::stats::quantile::quantile(ascending, probability).filter(|value| value.is_finite())
}

/// Efron's corrected probabilities.
fn corrected(
    probabilities: [f64; 2],
    sorted: &[f64],
    found: Option<f64>,
    left_out: &[Option<f64>],
) -> Result<[f64; 2], &'static str> {
    const BOUND: &str = "the estimate is a bound, for which there is no correction: ask for percentiles";
    let found = found.filter(|found| found.is_finite()).ok_or(BOUND)?;
    let below = sorted.partition_point(|value| *value < found);
    let tied = sorted.partition_point(|value| *value <= found) - below;
    let share = (below as f64 + 0.5 * tied as f64) / sorted.len() as f64;
    let bias = normal_quantile(share).filter(|bias| bias.is_finite());
    let bias = bias.ok_or("all replicates lie on one side of the estimate: ask for percentiles")?;
    let finite: Option<Vec<f64>> = left_out.iter().map(|value| value.filter(|value| value.is_finite())).collect();
    let finite = finite.ok_or("without one of the plots or blocks the estimate is a bound: ask for percentiles")?;
    let mean = finite.iter().sum::<f64>() / finite.len() as f64;
    let moment = |power: i32| finite.iter().map(|value| (mean - value).powi(power)).sum::<f64>();
    let (second, third) = (moment(2), moment(3));
    let acceleration = if second > 0.0 { third / (6.0 * second.powf(1.5)) } else { 0.0 };
    let correct = |probability: f64| {
        let shifted = bias + normal_quantile(probability)?;
        let at = bias + shifted / (1.0 - acceleration * shifted);
        // Beyond this the correction folds back on itself.
        (acceleration * shifted < 1.0).then(|| normal_survival(-at))
    };
    let [low, high] = probabilities.map(correct);
    low.zip(high)
        .map(|(low, high)| [low, high])
        .ok_or("the correction for acceleration does not exist: ask for percentiles")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::{Family, IntervalMethod, made_up};
    use approx::assert_relative_eq;

    fn optimum(observations: &Observations, bootstrap: &Bootstrap) -> Interval {
        let fit = observations.fit(Family::QuadraticPlateau);
        observations.optimum_by(fit.curve().unwrap(), 0.1, IntervalMethod::Bootstrap(*bootstrap), 0.95).interval
    }

    #[test]
    fn every_way_of_resampling_gives_an_interval_about_as_wide_as_the_profile() {
        let observations = made_up::observations();
        let fit = observations.fit(Family::QuadraticPlateau);
        let profile = observations.optimum(fit.curve().unwrap(), 0.1, 0.95).interval;
        let width = |interval: &Interval| interval.high.unwrap() - interval.low.unwrap();
        for resampling in [Resampling::Residuals, Resampling::Blocks, Resampling::Wild] {
            for limits in [BootstrapLimits::Percentile, BootstrapLimits::Bca] {
                let found = optimum(&observations, &Bootstrap { resampling, limits, ..Bootstrap::new(3) });
                let resamples = found.resamples.unwrap();
                assert_eq!((resamples.attempted, resamples.failed), (BOOTSTRAP_REPLICATES, 0));
                assert!(found.low.unwrap() < 100.03 && found.high.unwrap() > 100.01, "{found:?}");
                // Four blocks whose differences are small tell less of the error than 24 plots.
                let ratio = width(&found) / width(&profile);
                assert!((0.4..1.5).contains(&ratio), "{resampling:?} {limits:?} {ratio}");
            }
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_interval_on_one_thread_and_on_many() {
        let observations = made_up::observations();
        let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        for resampling in [Resampling::Residuals, Resampling::Blocks, Resampling::Wild] {
            let bootstrap = Bootstrap { resampling, replicates: 299, ..Bootstrap::new(7) };
            let one = alone.install(|| optimum(&observations, &bootstrap));
            assert_eq!(one, optimum(&observations, &bootstrap));
            assert_ne!(one, optimum(&observations, &Bootstrap { seed: 8, ..bootstrap }));
        }
    }

    #[test]
    fn errors_are_drawn_within_blocks_with_the_variance_of_errors() {
        let observations = made_up::observations();
        let fit = observations.fit(Family::QuadraticPlateau);
        let curve = fit.curve().unwrap();
        for resampling in [Resampling::Residuals, Resampling::Wild] {
            let errors = Errors::of(&observations, curve, resampling);
            let mut yields = vec![0.0; errors.fitted.len()];
            let (mut squares, draws) = (0.0, 4_000);
            for index in 0..draws {
                errors.draw(1, index, &mut yields);
                squares += yields.iter().zip(&errors.fitted).map(|(y, f)| (y - f).powi(2)).sum::<f64>();
            }
            // Centred by block: of 24 errors 20 are free. Residuals of a block are centred once more before they are drawn.
            let variance = squares / draws as f64 / 20.0;
            assert_relative_eq!(variance, curve.rss / curve.df as f64, max_relative = 0.2);
        }
    }

    #[test]
    fn what_cannot_be_resampled_is_refused_with_the_reason() {
        let three: Vec<usize> = (0..12).map(|plot| plot % 3).collect();
        let rates: Vec<f64> = (0..12).map(|plot| 40.0 * (plot / 3) as f64).collect();
        let yields = [40.0, 42.0, 39.0, 58.0, 57.0, 60.0, 66.0, 69.0, 68.0, 70.0, 69.0, 72.0];
        let observations = Observations::new(&rates, &yields, Some(&three)).unwrap();
        let blocks = Bootstrap { resampling: Resampling::Blocks, ..Bootstrap::new(1) };
        let refused = optimum(&observations, &blocks);
        assert!(refused.reason.is_some_and(|reason| reason.contains("fewer than four blocks")));
        // Still rising at the top: nothing to correct for, but percentiles say that there is no upper limit.
        let rising: Vec<f64> =
            rates.iter().zip([0.3, -0.4, 0.1, 0.2].iter().cycle()).map(|(n, e)| 40.0 + 0.3 * n + e).collect();
        let observations = Observations::new(&rates, &rising, Some(&three)).unwrap();
        let bca = optimum(&observations, &Bootstrap { limits: BootstrapLimits::Bca, ..Bootstrap::new(1) });
        assert!(bca.reason.as_deref().is_some_and(|reason| reason.contains("bound")), "{bca:?}");
        assert_eq!(optimum(&observations, &Bootstrap::new(1)).high, None);
    }

    #[test]
    fn corrected_probabilities_are_efrons() {
        // z0 = Φ⁻¹(0.6); without acceleration the lower is Φ(2·z0 − 1.959964) = Φ(−1.453270), 0.0730744 and 0.9931810 by Python's
        // statistics.NormalDist.
        let sorted: Vec<f64> = (0..1000).map(f64::from).collect();
        let symmetric = [Some(-1.0), Some(0.0), Some(1.0)];
        let [low, high] = corrected([0.025, 0.975], &sorted, Some(599.5), &symmetric).unwrap();
        assert_relative_eq!(low, 0.073_074_4, max_relative = 1e-6);
        assert_relative_eq!(high, 0.993_181_0, max_relative = 1e-6);
    }
}
