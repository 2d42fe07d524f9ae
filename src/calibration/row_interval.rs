//! How far the rule would move with other site-years like these, and where a new one's optimum would lie.

use rand::RngExt as _;
use rayon::prelude::*;

use super::materials::{Materials, Ready};
use super::relation::{NoRelation, Relation};
use crate::stats::distribution::t_quantile;
use crate::stats::interval::Interval;
use crate::stats::jackknife;
use crate::stats::quantile::quantile;
use crate::stats::stream::stream;

/// Replicates where nothing else is asked.
pub const REPLICATES: u64 = 1_000;

/// Below this many site-years, what they tell of others is too little to print.
pub const FEWEST_SITE_YEARS: usize = 4;

/// The relations without each site-year in turn, and those of resampled site-years; the kind is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Resampled {
    /// The relation of all of them.
    pub relation: Relation,
    /// The relations without one site-year each, where the others give one.
    pub without_one: Vec<Relation>,
    /// The relations of resamples that give one, in order of replicate.
    pub resamples: Vec<Relation>,
    /// Replicates attempted.
    pub attempted: u64,
    /// The site-years that take part, in the order in which they are left out.
    pub names: Vec<String>,
}

/// Leaves every site-year out in turn, and resamples whole site-years with replacement; replicate *i* draws from the stream (seed, *i*),
/// whatever the number of threads. `Ok(None)` below [`FEWEST_SITE_YEARS`].
///
/// # Errors
/// [`NoRelation`] where the site-years give none.
pub fn resample(
    materials: &Materials,
    relation: &Relation,
    replicates: u64,
    seed: u64,
) -> Result<Option<Resampled>, NoRelation> {
    let ready: Ready = materials.ready(relation.kind)?;
    let parts = ready.taking_part();
    let count = parts.len();
    if count < FEWEST_SITE_YEARS {
        return Ok(None);
    }
    let all = vec![0.0; materials.site_years.len()];
    // How often each part counts, as weights of all site-years.
    let fit = |counts: &[f64]| {
        let mut weights = all.clone();
        for (part, count) in parts.iter().zip(counts) {
            if let Some(weight) = weights.get_mut(*part) {
                *weight = *count;
            }
        }
        ready.fit(Some(&weights), Some(relation)).ok()
    };
    let without = |left_out: usize| -> Vec<f64> {
        (0..count).map(|position| f64::from(u8::from(position != left_out))).collect()
    };
    let without_one = (0..count).into_par_iter().filter_map(|left_out| fit(&without(left_out))).collect();
    let replicate = |index: u64| {
        let mut random = stream(seed, index);
        let mut counts = vec![0.0; count];
        for _ in 0..count {
            if let Some(count) = counts.get_mut(random.random_range(0..count)) {
                *count += 1.0;
            }
        }
        fit(&counts)
    };
    let resamples = (0..replicates).into_par_iter().filter_map(replicate).collect();
    let names = parts.iter().filter_map(|part| materials.site_years.get(*part).cloned()).collect();
    Ok(Some(Resampled { relation: relation.clone(), without_one, resamples, attempted: replicates, names }))
}

/// Student's t with the standard error of the jackknife over site-years.
pub const INTERVAL_METHOD: &str = "site-year-jackknife-t";
/// Student's t with the spread of site-years beside that error.
const PREDICTION: &str = "prediction-t";

impl Resampled {
    /// How many site-years take part.
    #[must_use]
    pub fn site_years(&self) -> usize {
        self.names.len()
    }

    /// Replicates whose site-years gave no relation.
    #[must_use]
    pub fn failed(&self) -> u64 {
        self.attempted - self.resamples.len() as u64
    }

    /// The standard error of the need at an index: of the jackknife over site-years, √((n − 1)/n·Σ(need without one − their mean)²).
    /// `None` where a site-year can't be left out.
    #[must_use]
    pub fn standard_error(&self, index: f64) -> Option<f64> {
        self.needs_without_one(index).map(|needs| jackknife::standard_error(&needs))
    }

    /// The needs at an index without each site-year in turn; `None` where one can't be left out.
    fn needs_without_one(&self, index: f64) -> Option<Vec<f64>> {
        let needs: Vec<f64> = self.without_one.iter().map(|relation| relation.need(index)).collect();
        (needs.len() == self.site_years()).then_some(needs)
    }

    /// The interval of the need at an index, over site-years, below zero where it says so; `None` where a site-year can't be left out.
    #[must_use]
    pub fn need_interval(&self, index: f64, level: f64) -> Option<[f64; 2]> {
        let found =
            jackknife::interval(self.relation.need(index), &self.needs_without_one(index)?, level, INTERVAL_METHOD);
        Some([found.low?, found.high?])
    }

    /// The interval of the return-maximising rate at an index, over site-years, never below zero.
    #[must_use]
    pub fn rate_interval(&self, index: f64, level: f64) -> Interval {
        self.cut_at_zero(index, self.need_interval(index, level), level, INTERVAL_METHOD)
    }

    /// The percentiles of the resampled needs at an index, below zero where they say so; `None` where no resample gave a relation.
    #[must_use]
    pub fn percentiles(&self, index: f64, level: f64) -> Option<[f64; 2]> {
        let mut needs: Vec<f64> = self.resamples.iter().map(|relation| relation.need(index)).collect();
        needs.sort_by(f64::total_cmp);
        Some([quantile(&needs, (1.0 - level) / 2.0)?, quantile(&needs, (1.0 + level) / 2.0)?])
    }

    /// The range expected to hold a share of new site-years' optima at an index, never below zero: need ± t·√(SE² + τ² + σ²), with the
    /// variances, which maximum likelihood underestimates, times n/(n − 2), and n − 2 degrees of freedom.
    #[must_use]
    pub fn range_of_new_site_years(&self, index: f64, share: f64) -> Interval {
        let n = self.site_years() as f64;
        let spread = (self.relation.between.powi(2) + self.relation.within.powi(2)) * n / (n - 2.0);
        let found = self.standard_error(index).zip(t_quantile(0.5 * (1.0 + share), n - 2.0));
        let half = found.map(|(error, t)| t * (error * error + spread).sqrt()).filter(|half| half.is_finite());
        let need = self.relation.need(index);
        self.cut_at_zero(index, half.map(|half| [need - half, need + half]), share, PREDICTION)
    }

    /// The interval of the rate at an index: that of the need, what lies below zero cut off.
    fn cut_at_zero(&self, index: f64, ends: Option<[f64; 2]>, level: f64, method: &str) -> Interval {
        let rate = Some(self.relation.rate(index));
        match ends.map(|ends| ends.map(|end| Some(end.max(0.0)))) {
            Some([low, high]) => Interval::between(rate, low, high, level, method),
            None => {
                let reason = "without one of the site-years the others give no relation";
                Interval::refused(rate, level, method, reason)
            }
        }
    }
}
