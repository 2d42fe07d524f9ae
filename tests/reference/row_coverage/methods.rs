//! Ways to an interval of a rule's need from the relations without, and with other, site-years.

use super::tally::ends;
use stook::calibration::Resampled;
use stook::stats::distribution::{normal_quantile, normal_survival, t_quantile};
use stook::stats::quantile::quantile;

/// How an interval is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Method {
    /// As the table has it.
    Published,
    /// Percentiles of resampled site-years.
    Percentile,
    /// Percentiles at the level that makes up for few site-years: Φ(−√(n/(n − 1))·t) with t of n − 1 degrees of freedom (Hesterberg 2015, *The
    /// American Statistician* 69:371–386).
    WidePercentile,
    /// Bias corrected and accelerated (Efron 1987, *Journal of the American Statistical Association* 82:171–185).
    Bca,
    /// The estimate ± t of n − 1 degrees of freedom × the standard deviation of resamples × √(n/(n − 1)).
    BootstrapT,
    /// The estimate ± t of n − 1 degrees of freedom × the jackknife's standard error.
    JackknifeT,
    /// The same with n − 3 degrees of freedom, at least one.
    JackknifeFewer,
}

impl Method {
    pub const ALL: [Self; 7] = [
        Self::Published,
        Self::Percentile,
        Self::WidePercentile,
        Self::Bca,
        Self::BootstrapT,
        Self::JackknifeT,
        Self::JackknifeFewer,
    ];

    pub fn needs_resamples(self) -> bool {
        matches!(self, Self::Percentile | Self::WidePercentile | Self::Bca | Self::BootstrapT)
    }

    pub fn name(self) -> &'static str {
        match self {
            Self::Published => "as published",
            Self::Percentile => "percentile",
            Self::WidePercentile => "percentile widened",
            Self::Bca => "BCa",
            Self::BootstrapT => "t with bootstrap SE",
            Self::JackknifeT => "t with jackknife SE",
            Self::JackknifeFewer => "t of n-3 with jackknife SE",
        }
    }

    /// The interval of the rate at an index, never below zero; `None` where the relations do not give one.
    pub fn interval(self, resampled: &Resampled, index: f64, level: f64) -> Option<(f64, f64)> {
        self.of_need(resampled, index, level).map(|(low, high)| (low.max(0.0), high.max(0.0)))
    }

    fn of_need(self, resampled: &Resampled, index: f64, level: f64) -> Option<(f64, f64)> {
        let tail = (1.0 - level) / 2.0;
        let n = resampled.site_years() as f64;
        let need = resampled.relation.need(index);
        let t = |degrees: f64| t_quantile(1.0 - tail, degrees);
        let around = |half: f64| Some((need - half, need + half));
        let needs = |relations: &[stook::calibration::Relation]| -> Vec<f64> {
            relations.iter().map(|relation| relation.need(index)).collect()
        };
        let mut drawn = needs(&resampled.resamples);
        drawn.sort_by(f64::total_cmp);
        let percentiles = |low: f64, high: f64| Some((quantile(&drawn, low)?, quantile(&drawn, high)?));
        match self {
            Self::Published => ends(&resampled.rate_interval(index, level)),
            Self::Percentile => percentiles(tail, 1.0 - tail),
            Self::WidePercentile => {
                let tail = normal_survival((n / (n - 1.0)).sqrt() * t(n - 1.0)?);
                percentiles(tail, 1.0 - tail)
            }
            Self::Bca => {
                let below = drawn.iter().filter(|drawn| **drawn < need).count() as f64 / drawn.len() as f64;
                // Undefined where every resample lies on one side.
                let bias = normal_quantile(below).filter(|bias| bias.is_finite())?;
                let without = needs(&resampled.without_one);
                if without.len() < resampled.site_years() {
                    return None;
                }
                let mean = without.iter().sum::<f64>() / n;
                let moment = |power: i32| without.iter().map(|need| (mean - need).powi(power)).sum::<f64>();
                let squares = moment(2);
                let acceleration = if squares > 0.0 { moment(3) / (6.0 * squares.powf(1.5)) } else { 0.0 };
                let at = |z: f64| normal_survival(-(bias + (bias + z) / (1.0 - acceleration * (bias + z))));
                percentiles(at(normal_quantile(tail)?), at(normal_quantile(1.0 - tail)?))
            }
            Self::BootstrapT => {
                let count = drawn.len() as f64;
                let mean = drawn.iter().sum::<f64>() / count;
                let variance = drawn.iter().map(|drawn| (drawn - mean).powi(2)).sum::<f64>() / (count - 1.0);
                (count > 1.0).then_some(())?;
                around(t(n - 1.0)? * (variance * n / (n - 1.0)).sqrt())
            }
            Self::JackknifeT => around(t(n - 1.0)? * resampled.standard_error(index)?),
            Self::JackknifeFewer => around(t((n - 3.0).max(1.0))? * resampled.standard_error(index)?),
        }
    }
}
