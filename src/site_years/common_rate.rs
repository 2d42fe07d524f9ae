//! The one rate that would have been best for all site-years together.

use rand::RngExt as _;
use rayon::prelude::*;
use thiserror::Error;

use super::Options;
use crate::response::Curve;
use crate::stats::interval::Interval;
use crate::stats::quantile::quantile;
use crate::stats::root::falling_root;
use crate::stats::stream::stream;

/// Below this many site-years, resampling them says too little to print.
pub const FEWEST_RESAMPLED: usize = 4;

/// Parts of each piece between two joins at whose ends the slope is looked at. With parabolas and lines it is straight within a piece.
const PARTS: u32 = 32;

/// More such ends from the beginning of a piece, each √2 times as far from it as the one before: a square root and an exponential that
/// rises wholly before the second rate bend at the lowest rates, and by ratios of the rate rather than by its differences.
const NEAR_THE_BEGINNING: u32 = 64;

/// How far inside the end of a piece its slope is taken, relative to the piece: at a join the slope is that to its right.
const INSIDE: f64 = 1e-9;

/// Two net returns are the same if they differ by less than this, relative to their size.
const SAME_VALUE: f64 = 1e-12;

/// The best common rate.
#[derive(Clone, Debug, PartialEq)]
pub struct CommonRate {
    /// The smallest rate between the two below that maximises the weighted mean net return of the site-years, with the percentile
    /// interval of that rate over resampled site-years; not computed below [`FEWEST_RESAMPLED`].
    pub rate: Interval,
    /// The lowest rate within the tested rates of every group of every site-year.
    pub lowest: f64,
    /// The highest such rate.
    pub highest: f64,
    /// What each site-year gives up at the common rate, in their order.
    pub forgone: Vec<Forgone>,
    /// The weighted mean of what they give up, in yield units.
    pub mean_forgone: f64,
    /// Resamples attempted.
    pub attempted: u64,
    /// Resamples that gave no rate, because all their site-years have weight 0.
    pub failed: u64,
}

/// What a site-year gives up at the common rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Forgone {
    /// Its name.
    pub site_year: String,
    /// The best rate of its own curve within its own tested rates.
    pub best_rate: f64,
    /// Its net return there minus that at the common rate, in yield units.
    pub forgone: f64,
}

/// Why there is no best common rate.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoCommonRate {
    /// A common rate needs two site-years.
    #[error("{}: a common rate needs 2", site_years_with_a_curve(*.site_years))]
    TooFew {
        /// Site-years with a curve.
        site_years: usize,
    },
    /// No rate lies within the tested rates of every site-year.
    #[error(
        "no rate lies within the tested rates of all site-years: the lowest rates reach up to {lowest}, the highest down to {highest}"
    )]
    NothingInCommon {
        /// The highest of the lowest tested rates.
        lowest: f64,
        /// The lowest of the highest tested rates.
        highest: f64,
    },
    /// Every weight is 0.
    #[error("the weights of all site-years are 0")]
    NoWeight,
}

fn site_years_with_a_curve(count: usize) -> String {
    match count {
        0 => "no site-year with a curve".to_owned(),
        1 => "one site-year with a curve".to_owned(),
        several => format!("{several} site-years with a curve"),
    }
}

/// A site-year's curve: the mean of those of its groups, of which there is at least one.
#[derive(Clone, Debug)]
pub(super) struct SiteYearCurve<'a> {
    pub(super) name: &'a str,
    pub(super) weight: f64,
    pub(super) curves: Vec<&'a Curve>,
}

impl SiteYearCurve<'_> {
    fn mean(&self, of: impl Fn(&Curve) -> f64) -> f64 {
        self.curves.iter().map(|curve| of(curve)).sum::<f64>() / self.curves.len() as f64
    }

    fn value(&self, rate: f64) -> f64 {
        self.mean(|curve| curve.value(rate))
    }

    fn slope(&self, rate: f64) -> f64 {
        self.mean(|curve| curve.slope_at(rate))
    }
}

/// The rates that every curve covers; the first is above the second where there are none.
fn common_range<'a>(curves: impl Iterator<Item = &'a Curve>) -> (f64, f64) {
    curves.fold((0.0, f64::INFINITY), |(low, high), curve| (curve.lowest_rate.max(low), curve.highest_rate.min(high)))
}

pub(super) fn common_rate(site_years: &[SiteYearCurve<'_>], options: &Options) -> Result<CommonRate, NoCommonRate> {
    if site_years.len() < 2 {
        return Err(NoCommonRate::TooFew { site_years: site_years.len() });
    }
    let (lowest, highest) = common_range(site_years.iter().flat_map(|site_year| site_year.curves.iter().copied()));
    if lowest >= highest {
        return Err(NoCommonRate::NothingInCommon { lowest, highest });
    }
    let weights: Vec<f64> = site_years.iter().map(|site_year| site_year.weight).collect();
    let total: f64 = weights.iter().sum();
    let search = Search::new(site_years, lowest, highest, options.price_ratio);
    let rate = search.best(&weights).ok_or(NoCommonRate::NoWeight)?;
    let net = |site_year: &SiteYearCurve<'_>, rate: f64| site_year.value(rate) - options.price_ratio * rate;
    let forgone: Vec<Forgone> = site_years
        .iter()
        .map(|site_year| {
            let best_rate = own_best(site_year, options.price_ratio).unwrap_or(rate);
            Forgone {
                site_year: site_year.name.to_owned(),
                best_rate,
                // Its own best is at least as good; what lies below 0 is rounding.
                forgone: (net(site_year, best_rate) - net(site_year, rate)).max(0.0),
            }
        })
        .collect();
    let mean_forgone = forgone.iter().zip(&weights).map(|(of, weight)| of.forgone * weight).sum::<f64>() / total;
    let resampled = resample(&search, &weights, options);
    let attempted = if resampled.is_some() { options.replicates } else { 0 };
    let rates = resampled.unwrap_or_default();
    let ends = [0.5 * (1.0 - options.level), 0.5 * (1.0 + options.level)].map(|share| quantile(&rates, share));
    let interval = match ends {
        [Some(low), Some(high)] => Interval::between(Some(rate), Some(low), Some(high), options.level, METHOD),
        _ => Interval::not_computed(Some(rate), options.level, METHOD),
    };
    Ok(CommonRate {
        rate: interval,
        lowest,
        highest,
        forgone,
        mean_forgone,
        attempted,
        failed: attempted - rates.len() as u64,
    })
}

/// Percentiles over resampled site-years.
const METHOD: &str = "site-year-resampling";

/// The best rate of a site-year's own curve within its own tested rates.
fn own_best(site_year: &SiteYearCurve<'_>, price_ratio: f64) -> Option<f64> {
    let (lowest, highest) = common_range(site_year.curves.iter().copied());
    Search::new(std::slice::from_ref(site_year), lowest, highest, price_ratio).best(&[1.0])
}

/// The best common rates of resampled site-years, ascending; replicate *i* draws from the stream (seed, *i*). `None` below
/// [`FEWEST_RESAMPLED`].
fn resample(search: &Search<'_>, weights: &[f64], options: &Options) -> Option<Vec<f64>> {
    let count = weights.len();
    if count < FEWEST_RESAMPLED {
        return None;
    }
    let replicate = |index: u64| {
        let mut random = stream(options.seed, index);
        let mut drawn = vec![0.0; count];
        for _ in 0..count {
            let position = random.random_range(0..count);
            if let (Some(sum), Some(weight)) = (drawn.get_mut(position), weights.get(position)) {
                *sum += weight;
            }
        }
        search.best(&drawn)
    };
    let mut rates: Vec<f64> = (0..options.replicates).into_par_iter().filter_map(replicate).collect();
    rates.sort_by(f64::total_cmp);
    Some(rates)
}

/// What the search for the best rate needs to know of site-years, whatever their weights.
struct Search<'a> {
    site_years: &'a [SiteYearCurve<'a>],
    price_ratio: f64,
    /// The ends of all pieces, with the value of each site-year there.
    ends: Vec<(f64, Vec<f64>)>,
    /// Neighbouring rates within one piece, with the slope of each site-year at both.
    cells: Vec<[(f64, Vec<f64>); 2]>,
}

impl<'a> Search<'a> {
    fn new(site_years: &'a [SiteYearCurve<'a>], lowest: f64, highest: f64, price_ratio: f64) -> Self {
        let joins = site_years.iter().flat_map(|site_year| &site_year.curves).filter_map(|curve| curve.implied_join());
        let mut ends: Vec<f64> = joins.filter(|join| *join > lowest && *join < highest).collect();
        ends.extend([lowest, highest]);
        ends.sort_by(f64::total_cmp);
        ends.dedup();
        let slopes = |rate: f64| -> (f64, Vec<f64>) {
            (rate, site_years.iter().map(|site_year| site_year.slope(rate)).collect())
        };
        let cells = ends.windows(2).flat_map(|piece| match *piece {
            [from, to] => {
                let even = (0..=PARTS).map(|part| f64::from(part) / f64::from(PARTS));
                let near = (1..NEAR_THE_BEGINNING).map(|step| 0.5_f64.powf(0.5 * f64::from(step)));
                let mut shares: Vec<f64> = even.chain(near).map(|share| share.min(1.0 - INSIDE)).collect();
                shares.sort_by(f64::total_cmp);
                let nodes: Vec<(f64, Vec<f64>)> =
                    shares.into_iter().map(|share| slopes(from + (to - from) * share)).collect();
                nodes.windows(2).filter_map(|pair| <[_; 2]>::try_from(pair.to_vec()).ok()).collect()
            }
            _ => Vec::new(),
        });
        let values = |rate: f64| (rate, site_years.iter().map(|site_year| site_year.value(rate)).collect());
        Self { site_years, price_ratio, cells: cells.collect(), ends: ends.iter().map(|end| values(*end)).collect() }
    }

    /// The smallest rate that maximises the weighted mean net return; `None` where all weights are 0.
    fn best(&self, weights: &[f64]) -> Option<f64> {
        let total: f64 = weights.iter().sum();
        if total <= 0.0 || !total.is_finite() {
            return None;
        }
        let mean = |of: &[f64]| of.iter().zip(weights).map(|(value, weight)| value * weight).sum::<f64>() / total;
        let over = |of: &dyn Fn(&SiteYearCurve<'_>) -> f64| {
            let drawn = self.site_years.iter().zip(weights).filter(|(_, weight)| **weight > 0.0);
            drawn.map(|(site_year, weight)| weight * of(site_year)).sum::<f64>() / total
        };
        let slope = |rate: f64| over(&|site_year| site_year.slope(rate)) - self.price_ratio;
        let net = |rate: f64| over(&|site_year| site_year.value(rate)) - self.price_ratio * rate;
        let at_ends = self.ends.iter().map(|(rate, values)| (*rate, mean(values) - self.price_ratio * rate));
        let tops = self.cells.iter().filter_map(|[(near, rising), (far, falling)]| {
            let turns = mean(rising) > self.price_ratio && mean(falling) <= self.price_ratio;
            turns.then(|| falling_root(slope, *near, *far)).map(|top| (top, net(top)))
        });
        let candidates: Vec<(f64, f64)> = at_ends.chain(tops).collect();
        let best = candidates.iter().map(|(_, net)| *net).fold(f64::NEG_INFINITY, f64::max);
        let size = candidates.iter().map(|(_, net)| net.abs()).fold(0.0, f64::max);
        let close = candidates.iter().filter(|(_, net)| *net >= best - SAME_VALUE * size);
        close.map(|(rate, _)| *rate).min_by(f64::total_cmp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::{Family, Observations};
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    fn options(price_ratio: f64) -> Options {
        Options { price_ratio, level: 0.9, replicates: 200, seed: 1, weights: BTreeMap::new() }
    }

    /// The same with next to no resamples, for properties of the rate alone.
    fn hardly_resampled(price_ratio: f64) -> Options {
        Options { replicates: 1, ..options(price_ratio) }
    }

    fn curve(family: usize, yields: &[f64], rates: &[f64]) -> Option<Curve> {
        let observations = Observations::new(rates, yields, None).ok()?;
        let answering: Vec<Family> = Family::ALL.into_iter().filter(|family| *family != Family::Mean).collect();
        observations.fit(answering[family % answering.len()]).curve().cloned()
    }

    fn site_years(curves: &[Curve], weights: &[f64]) -> Vec<SiteYearCurve<'static>> {
        let own = curves.iter().cloned().zip(weights);
        own.map(|(curve, weight)| SiteYearCurve {
            name: "one",
            weight: *weight,
            curves: vec![Box::leak(Box::new(curve))],
        })
        .collect()
    }

    /// Curves of any family through any yields, so that joins fall anywhere and parabolas bend either way.
    fn any_site_years() -> impl Strategy<Value = Vec<SiteYearCurve<'static>>> {
        let one = (0usize..12, prop::collection::vec(30.0..90.0_f64, 6), 10.0..40.0_f64, 0.1..3.0_f64);
        prop::collection::vec(one, 2..6).prop_map(|all| {
            let fitted = all.iter().filter_map(|(family, yields, step, weight)| {
                let rates: Vec<f64> = (0..yields.len()).map(|position| step * position as f64).collect();
                Some((curve(*family, yields, &rates)?, *weight))
            });
            let (curves, weights): (Vec<Curve>, Vec<f64>) = fitted.unzip();
            site_years(&curves, &weights)
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_rate_on_a_dense_grid_is_better(site_years in any_site_years(), ratio in 0.0..0.6_f64) {
            let Ok(found) = common_rate(&site_years, &hardly_resampled(ratio)) else { return Ok(()) };
            let total: f64 = site_years.iter().map(|site_year| site_year.weight).sum();
            let net = |rate: f64| {
                site_years.iter().map(|site_year| site_year.weight * site_year.value(rate)).sum::<f64>() / total - ratio * rate
            };
            let rate = found.rate.estimate.unwrap();
            prop_assert!((found.lowest..=found.highest).contains(&rate));
            for step in 0..=4000 {
                let other = found.lowest + (found.highest - found.lowest) * f64::from(step) / 4000.0;
                prop_assert!(net(other) <= net(rate) + 1e-9 * net(rate).abs().max(1.0), "{other} over {rate}");
            }
            let forgone: f64 = found.forgone.iter().zip(&site_years).map(|(of, own)| of.forgone * own.weight).sum();
            prop_assert!((forgone / total - found.mean_forgone).abs() <= 1e-9 * (1.0 + found.mean_forgone));
        }

        #[test]
        fn the_order_of_site_years_does_not_matter(site_years in any_site_years(), ratio in 0.0..0.3_f64) {
            let mut turned = site_years.clone();
            turned.reverse();
            let rate = |all: &[SiteYearCurve<'_>]| common_rate(all, &hardly_resampled(ratio)).ok().and_then(|found| found.rate.estimate);
            let (one, other) = (rate(&site_years), rate(&turned));
            prop_assert!(one.is_none() == other.is_none());
            if let (Some(one), Some(other)) = (one, other) {
                prop_assert!((one - other).abs() < 1e-4 * (1.0 + one), "{one} {other}");
            }
        }
    }

    /// 40 + 0.6·N − 0.0025·N², with a slope of 0.1 at 100; and half of its curvature, at 200, beyond the tested rates.
    fn two_parabolas() -> Vec<Curve> {
        let rates = [0.0, 40.0, 80.0, 120.0, 160.0];
        let at = |bend: f64| rates.map(|n: f64| 40.0 + 0.6 * n - bend * n * n);
        [0.0025, 0.00125].iter().filter_map(|bend| curve(1, &at(*bend), &rates)).collect()
    }

    #[test]
    fn the_common_rate_of_parabolas_is_that_of_their_mean() {
        // Mean curvature 0.001875: 0.5 ÷ (2·0.001875) = 133.33; with weights 2 and 1 it is 0.00625/3: 120.
        let curves = two_parabolas();
        let even = common_rate(&site_years(&curves, &[1.0, 1.0]), &options(0.1)).unwrap();
        approx::assert_relative_eq!(even.rate.estimate.unwrap(), 400.0 / 3.0, max_relative = 1e-9);
        let uneven = common_rate(&site_years(&curves, &[2.0, 1.0]), &options(0.1)).unwrap();
        approx::assert_relative_eq!(uneven.rate.estimate.unwrap(), 120.0, max_relative = 1e-9);
        // The first is best at 100, the second at its highest rate: 0.0025·20² and 0.00125·(80² − 40²) are given up.
        let forgone: Vec<f64> = uneven.forgone.iter().map(|of| of.forgone).collect();
        approx::assert_relative_eq!(forgone[0], 1.0, max_relative = 1e-9);
        approx::assert_relative_eq!(forgone[1], 6.0, max_relative = 1e-9);
        approx::assert_relative_eq!(uneven.mean_forgone, 8.0 / 3.0, max_relative = 1e-9);
    }

    #[test]
    fn the_common_rate_of_square_roots_is_found_next_to_the_lowest_rate() {
        // 40 + b·√N + c·N, as [b, c, weight]. The mean has b = 0.392 and c = 0.236: its slope falls to 0.42 at (b/2 ÷ (0.42 − c))², far
        // below the first of 32 even parts of the tested rates.
        let rates = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0];
        let all = [[1.17, 0.344, 2.04], [0.46, -0.307, 0.10], [-0.16, 0.179, 2.87]];
        let curves = all.map(|[b, c, _]| {
            let yields = rates.map(|n: f64| 40.0 + b * n.sqrt() + c * n);
            Observations::new(&rates, &yields, None).unwrap().fit(Family::SquareRoot).curve().unwrap().clone()
        });
        let found = common_rate(&site_years(&curves, &all.map(|[.., weight]| weight)), &options(0.42)).unwrap();
        let total: f64 = all.iter().map(|[.., weight]| weight).sum();
        let mean = |of: usize| all.iter().map(|curve| curve[of] * curve[2]).sum::<f64>() / total;
        let best = (0.5 * mean(0) / (0.42 - mean(1))).powi(2);
        assert!(best < 50.0 / f64::from(PARTS), "{best}");
        approx::assert_relative_eq!(found.rate.estimate.unwrap(), best, max_relative = 1e-9);
    }

    #[test]
    fn fewer_than_four_site_years_are_not_resampled() {
        let curves = two_parabolas();
        let two = common_rate(&site_years(&curves, &[1.0, 1.0]), &options(0.1)).unwrap();
        assert_eq!((two.rate.limits, two.attempted), (crate::stats::interval::Limits::NotComputed, 0));
        let four: Vec<Curve> = curves.iter().cycle().take(4).cloned().collect();
        let found = common_rate(&site_years(&four, &[1.0; 4]), &options(0.1)).unwrap();
        // All of the first kind to all of the second, which is best at the highest rate.
        assert_eq!((found.attempted, found.failed), (200, 0));
        assert!(found.rate.low > Some(99.999) && found.rate.low < Some(133.0) && found.rate.high <= Some(160.0));
        assert_eq!(found, common_rate(&site_years(&four, &[1.0; 4]), &options(0.1)).unwrap());
    }

    #[test]
    fn without_rates_in_common_or_weights_there_is_none() {
        let high = curve(1, &[60.0, 66.0, 70.0, 71.0], &[200.0, 240.0, 280.0, 320.0]).unwrap();
        let apart = site_years(&[two_parabolas()[0].clone(), high], &[1.0, 1.0]);
        let none = common_rate(&apart, &options(0.1)).unwrap_err();
        assert_eq!(none, NoCommonRate::NothingInCommon { lowest: 200.0, highest: 160.0 });
        let weightless = site_years(&two_parabolas(), &[0.0, 0.0]);
        assert_eq!(common_rate(&weightless, &options(0.1)), Err(NoCommonRate::NoWeight));
        assert_eq!(common_rate(&apart[..1], &options(0.1)), Err(NoCommonRate::TooFew { site_years: 1 }));
    }
}
