//! What is known of the optimum of a group and of a site-year, and the mean over site-years.

use super::SiteYear;
use crate::experiment::{FittedGroup, KnownOptimum};
use crate::stats::quantile::quantile;
use crate::stats::random_effects::{Known, RandomEffects, RandomEffectsError, Unit, random_effects};
use thiserror::Error;

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

/// What is known of a group's optimum at a price ratio; see the [module](super). From the profile whichever interval is asked for: half of it
/// over t is a standard error, and it is open where the data are.
///
/// # Errors
/// Why nothing is known of it.
pub(super) fn of_group(group: &FittedGroup, price_ratio: f64) -> Result<KnownOptimum, String> {
    let fitted = group.outcome.as_ref().map_err(|error| format!("no curve can be fitted: {error}"))?;
    let none = || fitted.why_none_chosen().unwrap_or("there is no optimum").to_owned();
    fitted.curve_for_optimum().ok_or_else(none)?.known_optimum(price_ratio, fitted.level())
}

/// The mean of what is known of the groups of a site-year; `None` without any.
pub(super) fn mean_of(groups: &[KnownOptimum]) -> Option<KnownOptimum> {
    let count = groups.len() as f64;
    let ends = |group: &KnownOptimum| match group.known {
        Known::Exact(rate) => (rate, rate),
        Known::Between { low, high } => (low, high),
    };
    let mean = |end: fn((f64, f64)) -> f64| groups.iter().map(|group| end(ends(group))).sum::<f64>() / count;
    let variances: Option<f64> = groups.iter().map(|group| group.variance).sum();
    let (low, high) = (mean(|ends| ends.0), mean(|ends| ends.1));
    let known = if variances.is_some() { Known::Exact(low) } else { Known::Between { low, high } };
    let variance = variances.map(|sum| sum / (count * count));
    (!groups.is_empty()).then_some(KnownOptimum { known, variance })
}

/// The mean of the optima of site-years, how far they differ, and where that of a new one would lie.
pub(super) fn mean_optimum(site_years: &[SiteYear], level: f64) -> Result<RandomEffects, NoMeanOptimum> {
    let optima: Vec<KnownOptimum> = site_years.iter().filter_map(|site_year| site_year.optimum).collect();
    let mut variances: Vec<f64> = optima.iter().filter_map(|optimum| optimum.variance).collect();
    variances.sort_by(f64::total_cmp);
    // Without any the answer is that none is known.
    let usual = quantile(&variances, 0.5).unwrap_or(1.0);
    let unit = |optimum: &KnownOptimum| Unit { known: optimum.known, within: optimum.variance.unwrap_or(usual) };
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

    #[test]
    fn one_number_among_bounds_has_no_mean() {
        let site_year = |known, variance| SiteYear {
            name: "Reedmoor 2024".to_owned(),
            trials: Vec::new(),
            groups: 1,
            weight: 1.0,
            optimum: Some(KnownOptimum { known, variance }),
        };
        let at_least = site_year(Known::Between { low: 120.0, high: f64::INFINITY }, None);
        let one = [site_year(Known::Exact(90.0), Some(100.0)), at_least];
        assert_eq!(mean_optimum(&one, 0.95), Err(NoMeanOptimum::FewNumbers { numbers: 1 }));
    }

    #[test]
    fn a_site_year_is_the_mean_of_its_groups() {
        let exact = |rate, variance| KnownOptimum { known: Known::Exact(rate), variance: Some(variance) };
        let two = mean_of(&[exact(80.0, 100.0), exact(100.0, 300.0)]).unwrap();
        assert_eq!(two, exact(90.0, 100.0));
        let at_least = KnownOptimum { known: Known::Between { low: 120.0, high: f64::INFINITY }, variance: None };
        let mixed = mean_of(&[exact(80.0, 100.0), at_least]).unwrap();
        assert_eq!(mixed.known, Known::Between { low: 100.0, high: f64::INFINITY });
        assert_eq!((mixed.variance, mean_of(&[])), (None, None));
    }
}
