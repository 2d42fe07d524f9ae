//! What is known of the optimum of a group and of a site-year, and the mean over site-years.

use super::SiteYear;
use crate::experiment::FittedGroup;
use crate::response::{Optimum, OptimumStatus};
use crate::stats::distribution::t_quantile;
use crate::stats::interval::Limits;
use crate::stats::quantile::quantile;
use crate::stats::random_effects::{Known, RandomEffects, RandomEffectsError, Unit, random_effects};
use thiserror::Error;

/// What is known of an optimum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SiteYearOptimum {
    /// The rate, or between which rates it lies.
    pub known: Known,
    /// The variance of a rate that is known, in squared rate units; `None` where only limits are.
    pub variance: Option<f64>,
}

/// Why there is no mean of the optima.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoMeanOptimum {
    /// A mean over site-years needs two.
    #[error("{site_years} with a known optimum, or with limits of it: a mean over site-years needs 2")]
    TooFew {
        /// How many there are, in words.
        site_years: String,
    },
    /// Fewer than two optima are numbers.
    #[error(
        "{} has an optimum that is a number: limits alone don't tell how far the optima of site-years lie apart",
        if *.numbers == 0 { "no site-year" } else { "only one site-year" }
    )]
    FewNumbers {
        /// Site-years whose optimum is a number.
        numbers: usize,
    },
    /// The variances are too far apart to be added.
    #[error("{0}")]
    NotComputed(RandomEffectsError),
}

/// What is known of a group's optimum at a price ratio; see the [module](super).
///
/// # Errors
/// Why nothing is known of it.
pub(super) fn of_group(group: &FittedGroup, price_ratio: f64) -> Result<SiteYearOptimum, String> {
    let fitted = group.outcome.as_ref().map_err(|error| format!("no curve can be fitted: {error}"))?;
    let found = fitted.chosen_optimum(price_ratio).map(|(_, optimum)| optimum);
    let none = || fitted.why_none_chosen().unwrap_or("there is no optimum").to_owned();
    let (mut optimum, curve) = found.zip(fitted.optimum_curve()).ok_or_else(none)?;
    // The profile whichever interval is asked for: half of it over t is a standard error, and it is open where the data are.
    let profile = fitted.observations.optimum(curve, price_ratio, optimum.interval.level);
    optimum.interval = profile.interval;
    known_of(&optimum, curve.df)
}

fn known_of(optimum: &Optimum, df: usize) -> Result<SiteYearOptimum, String> {
    let Some(rate) = optimum.rate else { return Err("there is no optimum".to_owned()) };
    let interval = &optimum.interval;
    // A curve that is steeper the more N there is has no interval of its best rate, but that is not within the tested ones.
    let beyond = optimum.status == OptimumStatus::AtHighestTestedRate && df > 0;
    if interval.limits == Limits::NotComputed && !beyond {
        let reason = optimum.interval.reason.as_deref().unwrap_or("the data give none");
        return Err(format!("its optimum has no interval: {reason}"));
    }
    let within = |low: f64, high: f64| {
        let bounded = SiteYearOptimum { known: Known::Between { low, high }, variance: None };
        if low < high { Ok(bounded) } else { Err("its interval has no width".to_owned()) }
    };
    let low = interval.low.filter(|low| *low > 0.0);
    let by_limits = || within(low.unwrap_or(f64::NEG_INFINITY), interval.high.unwrap_or(f64::INFINITY));
    match optimum.status {
        OptimumStatus::AtHighestTestedRate => within(rate, f64::INFINITY),
        OptimumStatus::BeforeFirstRate | OptimumStatus::AtZero => within(f64::NEG_INFINITY, rate),
        OptimumStatus::NotShown | OptimumStatus::NotEstimable => by_limits(),
        OptimumStatus::Interior => match (standard_error(optimum, rate, df), interval.limits) {
            (Some(error), Limits::Both) => {
                Ok(SiteYearOptimum { known: Known::Exact(rate), variance: Some(error * error) })
            }
            _ => by_limits(),
        },
    }
}

/// Half the interval over Student's t; the upper half where the lower limit is 0. `None` where that is no number above 0.
fn standard_error(optimum: &Optimum, rate: f64, df: usize) -> Option<f64> {
    let (low, high) = (optimum.interval.low?, optimum.interval.high?);
    let half = if low > 0.0 { 0.5 * (high - low) } else { high - rate };
    let error = half / t_quantile(0.5 * (1.0 + optimum.interval.level), df as f64)?;
    (error > 0.0 && error.is_finite()).then_some(error)
}

/// The mean of what is known of the groups of a site-year; `None` without any.
pub(super) fn mean_of(groups: &[SiteYearOptimum]) -> Option<SiteYearOptimum> {
    let count = groups.len() as f64;
    let ends = |group: &SiteYearOptimum| match group.known {
        Known::Exact(rate) => (rate, rate),
        Known::Between { low, high } => (low, high),
    };
    let mean = |end: fn((f64, f64)) -> f64| groups.iter().map(|group| end(ends(group))).sum::<f64>() / count;
    let variances: Option<f64> = groups.iter().map(|group| group.variance).sum();
    let (low, high) = (mean(|ends| ends.0), mean(|ends| ends.1));
    let known = if variances.is_some() { Known::Exact(low) } else { Known::Between { low, high } };
    let variance = variances.map(|sum| sum / (count * count));
    (!groups.is_empty()).then_some(SiteYearOptimum { known, variance })
}

/// The mean of the optima of site-years, how far they differ, and where that of a new one would lie.
pub(super) fn mean_optimum(site_years: &[SiteYear], level: f64) -> Result<RandomEffects, NoMeanOptimum> {
    let optima: Vec<SiteYearOptimum> = site_years.iter().filter_map(|site_year| site_year.optimum).collect();
    let mut variances: Vec<f64> = optima.iter().filter_map(|optimum| optimum.variance).collect();
    variances.sort_by(f64::total_cmp);
    // Without any the answer is that none is known.
    let usual = quantile(&variances, 0.5).unwrap_or(1.0);
    let unit = |optimum: &SiteYearOptimum| Unit { known: optimum.known, within: optimum.variance.unwrap_or(usual) };
    let units: Vec<Unit> = optima.iter().map(unit).collect();
    let found = random_effects(&units, level).map(at_least_zero).map_err(|error| match error {
        RandomEffectsError::TooFew { units } => NoMeanOptimum::TooFew {
            site_years: match units {
                0 => "no site-year".to_owned(),
                1 => "one site-year".to_owned(),
                several => format!("{several} site-years"),
            },
        },
        RandomEffectsError::NoExact { .. } => NoMeanOptimum::FewNumbers { numbers: 0 },
        other => NoMeanOptimum::NotComputed(other),
    })?;
    // One number and bounds have a likelihood with a maximum, and intervals that reach many times past any rate.
    if found.exact < 2 { Err(NoMeanOptimum::FewNumbers { numbers: found.exact }) } else { Ok(found) }
}

/// The mean and the prediction with what lies below 0 cut off: no rate does.
fn at_least_zero(mut found: RandomEffects) -> RandomEffects {
    for interval in [&mut found.mean, &mut found.prediction] {
        let ends = interval.segments.iter_mut().flatten();
        for end in ends.chain([&mut interval.estimate, &mut interval.low, &mut interval.high]).flatten() {
            *end = end.max(0.0);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Family;
    use crate::stats::interval::Interval;

    fn optimum(rate: f64, ends: [Option<f64>; 2], status: OptimumStatus) -> Optimum {
        let interval = Interval::between(Some(rate), ends[0], ends[1], 0.95, "profile");
        Optimum { family: Family::Quadratic, rate: Some(rate), interval, status }
    }

    fn known(rate: f64, ends: [Option<f64>; 2], status: OptimumStatus) -> Known {
        known_of(&optimum(rate, ends, status), 20).unwrap().known
    }

    #[test]
    fn an_optimum_between_two_limits_has_a_standard_error() {
        // t(.975, 20) = 2.085963447.
        let found = known_of(&optimum(90.0, [Some(70.0), Some(130.0)], OptimumStatus::Interior), 20).unwrap();
        assert_eq!(found.known, Known::Exact(90.0));
        approx::assert_relative_eq!(found.variance.unwrap().sqrt(), 30.0 / 2.085_963_447, max_relative = 1e-9);
        // A lower limit of 0 is where the interval was cut.
        let cut = known_of(&optimum(40.0, [Some(0.0), Some(70.0)], OptimumStatus::Interior), 20).unwrap();
        approx::assert_relative_eq!(cut.variance.unwrap().sqrt(), 30.0 / 2.085_963_447, max_relative = 1e-9);
    }

    #[test]
    fn bounds_stay_bounds() {
        let at_most = |high| Known::Between { low: f64::NEG_INFINITY, high };
        let at_least = |low| Known::Between { low, high: f64::INFINITY };
        assert_eq!(known(120.0, [Some(88.0), None], OptimumStatus::AtHighestTestedRate), at_least(120.0));
        assert_eq!(known(40.0, [Some(0.0), Some(79.0)], OptimumStatus::BeforeFirstRate), at_most(40.0));
        assert_eq!(known(0.0, [Some(0.0), Some(12.0)], OptimumStatus::AtZero), at_most(0.0));
        assert_eq!(known(0.0, [Some(0.0), Some(38.0)], OptimumStatus::NotShown), at_most(38.0));
        assert_eq!(known(79.0, [Some(57.0), None], OptimumStatus::Interior), at_least(57.0));
    }

    #[test]
    fn an_optimum_without_an_interval_is_only_known_to_lie_beyond_the_tested_rates() {
        let mut beyond = optimum(120.0, [None, None], OptimumStatus::AtHighestTestedRate);
        beyond.interval = Interval::not_computed(Some(120.0), 0.95, "profile");
        let at_least = Known::Between { low: 120.0, high: f64::INFINITY };
        assert_eq!(known_of(&beyond, 20).unwrap().known, at_least);
        // Without error nothing is known, nor is anything of a rate inside.
        assert!(known_of(&beyond, 0).is_err());
        assert!(known_of(&Optimum { status: OptimumStatus::Interior, ..beyond }, 20).is_err());
    }

    #[test]
    fn one_number_among_bounds_has_no_mean() {
        let site_year = |known, variance| SiteYear {
            name: "Reedmoor 2024".to_owned(),
            trials: Vec::new(),
            groups: 1,
            weight: 1.0,
            optimum: Some(SiteYearOptimum { known, variance }),
        };
        let at_least = site_year(Known::Between { low: 120.0, high: f64::INFINITY }, None);
        let one = [site_year(Known::Exact(90.0), Some(100.0)), at_least];
        assert_eq!(mean_optimum(&one, 0.95), Err(NoMeanOptimum::FewNumbers { numbers: 1 }));
    }

    #[test]
    fn a_site_year_is_the_mean_of_its_groups() {
        let exact = |rate, variance| SiteYearOptimum { known: Known::Exact(rate), variance: Some(variance) };
        let two = mean_of(&[exact(80.0, 100.0), exact(100.0, 300.0)]).unwrap();
        assert_eq!(two, exact(90.0, 100.0));
        let at_least = SiteYearOptimum { known: Known::Between { low: 120.0, high: f64::INFINITY }, variance: None };
        let mixed = mean_of(&[exact(80.0, 100.0), at_least]).unwrap();
        assert_eq!(mixed.known, Known::Between { low: 100.0, high: f64::INFINITY });
        assert_eq!((mixed.variance, mean_of(&[])), (None, None));
    }
}
