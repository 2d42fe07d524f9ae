//! Relations of resampled site-years: how far the rule would move with other site-years like these.

use rand::RngExt as _;
use rayon::prelude::*;

use super::points::NeedPoint;
use super::relation::Relation;
use super::site_years;
use crate::stats::quantile::quantile;
use crate::stats::stream::stream;
use crate::trial::RelationKind;

/// Replicates where nothing else is asked.
pub const REPLICATES: u64 = 2_000;

/// Below this many site-years, resampling them says too little to print.
pub const FEWEST_SITE_YEARS: usize = 4;

/// The relations of resampled site-years.
#[derive(Clone, Debug, PartialEq)]
pub struct Resampled {
    /// The relations that could be fitted, in order of replicate.
    pub relations: Vec<Relation>,
    /// Replicates attempted.
    pub attempted: u64,
    /// How many site-years were resampled.
    pub site_years: usize,
}

impl Resampled {
    /// Replicates whose points did not determine a relation.
    #[must_use]
    pub fn failed(&self) -> u64 {
        self.attempted - self.relations.len() as u64
    }

    /// The percentile interval of the rule's rate at an index, never below zero; `None` where no replicate gave a relation.
    #[must_use]
    pub fn rate_interval(&self, index: f64, level: f64) -> Option<(f64, f64)> {
        // The rate never falls as the need rises, so its percentiles are those of the need, clipped.
        self.need_interval(index, level).map(|(low, high)| (low.max(0.0), high.max(0.0)))
    }

    /// The percentile interval of the need at an index; `None` where no replicate gave a relation.
    #[must_use]
    pub fn need_interval(&self, index: f64, level: f64) -> Option<(f64, f64)> {
        let mut needs: Vec<f64> = self.relations.iter().map(|relation| relation.need(index)).collect();
        needs.sort_by(f64::total_cmp);
        Some((quantile(&needs, (1.0 - level) / 2.0)?, quantile(&needs, (1.0 + level) / 2.0)?))
    }
}

/// Resamples whole site-years with replacement and refits the relation of a kind to each resample; replicate *i* draws from the
/// stream (seed, *i*), whatever the number of threads. `None` below [`FEWEST_SITE_YEARS`].
#[must_use]
pub fn resample_site_years(kind: RelationKind, points: &[NeedPoint], replicates: u64, seed: u64) -> Option<Resampled> {
    let site_years: Vec<&str> = site_years(points).into_iter().collect();
    if site_years.len() < FEWEST_SITE_YEARS {
        return None;
    }
    let by_site_year: Vec<Vec<&NeedPoint>> = site_years
        .iter()
        .map(|site_year| points.iter().filter(|point| point.site_year == *site_year).collect())
        .collect();
    let relation = |replicate: u64| {
        let mut random = stream(seed, replicate);
        let drawn = (0..by_site_year.len()).map(|_| random.random_range(0..by_site_year.len()));
        let resample: Vec<&NeedPoint> =
            drawn.filter_map(|position| by_site_year.get(position)).flatten().copied().collect();
        Relation::fit(kind, resample).ok()
    };
    let relations = (0..replicates).into_par_iter().filter_map(relation).collect();
    Some(Resampled { relations, attempted: replicates, site_years: site_years.len() })
}
