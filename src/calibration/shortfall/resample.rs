//! Refits without one site-year, and of resampled site-years.

use rand::RngExt as _;
use rayon::prelude::*;

use super::{NoShortfall, Shortfall, ShortfallData, ShortfallModel};
use crate::stats::quantile::quantile;
use crate::stats::stream::stream;

/// The model without each site-year in turn, in their order: that site-year plays no part in it.
///
/// # Errors
/// [`NoShortfall::OneSiteYear`] for a single one.
pub fn leave_one_site_year_out(
    data: &ShortfallData,
    model: ShortfallModel,
) -> Result<Vec<Result<Shortfall, NoShortfall>>, NoShortfall> {
    let count = data.site_years().len();
    if count < 2 {
        return Err(NoShortfall::OneSiteYear);
    }
    let without = |held_out: usize| {
        let weights: Vec<f64> = (0..count).map(|position| if position == held_out { 0.0 } else { 1.0 }).collect();
        Shortfall::fit(data, model, Some(&weights))
    };
    Ok((0..count).into_par_iter().map(without).collect())
}

/// The models of resampled site-years.
#[derive(Clone, Debug, PartialEq)]
pub struct ResampledShortfalls {
    /// Those that could be fitted, in order of replicate.
    pub fits: Vec<Shortfall>,
    /// Replicates attempted.
    pub attempted: u64,
    /// How many site-years were resampled.
    pub site_years: usize,
}

impl ResampledShortfalls {
    /// Replicates without a fit.
    #[must_use]
    pub fn failed(&self) -> u64 {
        self.attempted - self.fits.len() as u64
    }

    /// The percentile interval of the rate at an index and price ratio; `None` where no replicate gave a fit.
    #[must_use]
    pub fn rate_interval(&self, index: f64, price_ratio: f64, level: f64) -> Option<(f64, f64)> {
        let mut rates: Vec<f64> = self.fits.iter().map(|fit| fit.rate(index, price_ratio)).collect();
        rates.sort_by(f64::total_cmp);
        Some((quantile(&rates, (1.0 - level) / 2.0)?, quantile(&rates, (1.0 + level) / 2.0)?))
    }
}

/// Resamples whole site-years with replacement and refits the model to each resample; replicate *i* draws from the stream (seed, *i*), whatever the
/// number of threads.
///
/// # Errors
/// [`NoShortfall::OneSiteYear`] for a single one.
pub fn resample_shortfall(
    data: &ShortfallData,
    model: ShortfallModel,
    replicates: u64,
    seed: u64,
) -> Result<ResampledShortfalls, NoShortfall> {
    let count = data.site_years().len();
    if count < 2 {
        return Err(NoShortfall::OneSiteYear);
    }
    let fit = |replicate: u64| {
        let mut random = stream(seed, replicate);
        let mut weights = vec![0.0; count];
        for _ in 0..count {
            weights[random.random_range(0..count)] += 1.0;
        }
        Shortfall::fit(data, model, Some(&weights)).ok()
    };
    let fits = (0..replicates).into_par_iter().filter_map(fit).collect();
    Ok(ResampledShortfalls { fits, attempted: replicates, site_years: count })
}
