//! What is best at an index, over a population and without chance.
//!
//! A rate table is read with an index and gives a rate, so its right answer is the rate with the largest mean net return over all site-years and
//! treatments that show that index. It is not the mean of their optima: returns fall faster below an optimum than above it.

use rayon::prelude::*;

use super::super::field::{Plot, grow};
use super::super::growth::{Growth, Progress, Variety};
use super::super::site_year::{RichPlots, SiteYear};
use super::{PopulationOptions, site_year};
use crate::stats::quantile::quantile;
use crate::trial::Instrument;

/// Rates are tried up to here, lb/ac, …
const HIGHEST_RATE: u32 = 300;
/// … in steps of one over so much.
const STEPS_PER_POUND: u32 = 2;
/// Parts of the population whose best rates tell how far chance has moved the whole's.
const PARTS: usize = 20;

/// Which index a rate is decided by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Given {
    /// The treatment mean as it was measured, against N-rich plots as they were measured. This is what a table is looked up with, so what it must
    /// be right for.
    Measured,
    /// The index without chance in ground or readings, which nobody has.
    True,
}

/// A treatment of a site-year of the population: what it shows and how it answers to a topdress.
#[derive(Debug, Clone, PartialEq)]
pub struct TruePoint {
    /// Position of the site-year in the population.
    pub site_year: usize,
    /// N on before sensing, lb/ac.
    pub early: f64,
    canopy: [f64; 2],
    leaf: [f64; 2],
    growth: Growth,
    variety: Variety,
}

impl TruePoint {
    /// Its index.
    #[must_use]
    pub fn index(&self, instrument: Instrument, given: Given) -> f64 {
        let [measured, without_chance] = match instrument {
            Instrument::CanopyNdvi => self.canopy,
            Instrument::LeafChlorophyll => self.leaf,
        };
        match given {
            Given::Measured => measured,
            Given::True => without_chance,
        }
    }

    /// What a topdress brings after what it costs, bu/ac; `price_ratio` in bu a pound of N.
    #[must_use]
    pub fn net_return(&self, topdress: f64, price_ratio: f64) -> f64 {
        let supply = self.growth.supply(self.early, topdress);
        self.growth.grain_yield(&self.variety, supply, 1.0) - price_ratio * topdress
    }
}

/// A large sample of a population, from which truths are read.
#[derive(Debug, Clone, PartialEq)]
pub struct PopulationTruth {
    points: Vec<TruePoint>,
    site_years: usize,
}

/// The truth at an index.
#[derive(Debug, Clone, PartialEq)]
pub struct RowTruth {
    /// The topdress with the largest mean net return, lb/ac.
    pub rate: f64,
    /// Its standard error, from parts of the population; all that chance has left in the truth.
    pub error: f64,
    /// The best topdress of each treatment at this index for itself, lb/ac, ascending.
    pub optima: Vec<f64>,
}

impl RowTruth {
    /// A quantile of the treatments' own optima.
    #[must_use]
    pub fn optimum_quantile(&self, probability: f64) -> Option<f64> {
        quantile(&self.optima, probability)
    }

    /// The share of treatments whose own optimum lies within limits, both counted in.
    #[must_use]
    pub fn share_within(&self, low: f64, high: f64) -> f64 {
        let below = self.optima.partition_point(|optimum| *optimum < low);
        let up_to = self.optima.partition_point(|optimum| *optimum <= high);
        up_to.saturating_sub(below) as f64 / self.optima.len().max(1) as f64
    }
}

impl PopulationTruth {
    /// Grows and reads the first `count` site-years of a population.
    #[must_use]
    pub fn sample(seed: u64, count: usize, options: &PopulationOptions) -> Self {
        let points = (0..count).into_par_iter().flat_map_iter(|index| {
            let site_year = site_year(seed, index, options);
            let plots = grow(seed, index as u64, &site_year);
            points(index, &site_year, &plots)
        });
        Self { points: points.collect(), site_years: count }
    }

    /// Every treatment, in order of site-year and early N.
    #[must_use]
    pub fn points(&self) -> &[TruePoint] {
        &self.points
    }

    /// The truth at an index, from treatments at most `half_width` away. Their mean net return is taken at the index itself, by a line through
    /// them at each rate. `None` where fewer treatments than parts lie there.
    #[must_use]
    pub fn at(
        &self,
        instrument: Instrument,
        given: Given,
        index: f64,
        half_width: f64,
        price_ratio: f64,
    ) -> Option<RowTruth> {
        let away = |point: &TruePoint| point.index(instrument, given) - index;
        let near: Vec<(&TruePoint, f64)> =
            self.points.iter().map(|point| (point, away(point))).filter(|(_, away)| away.abs() <= half_width).collect();
        if near.len() < PARTS {
            return None;
        }
        let curves: Vec<Vec<f64>> = near
            .par_iter()
            .map(|(point, _)| rates().map(|rate| point.net_return(rate, price_ratio)).collect())
            .collect();
        let mut optima: Vec<f64> = curves.iter().map(|curve| best(curve.iter().copied())).collect();
        optima.sort_by(f64::total_cmp);
        let best_of = |part: &dyn Fn(usize) -> bool| {
            let members = near.iter().zip(&curves).filter(|((point, _), _)| part(point.site_year));
            let members: Vec<(f64, &Vec<f64>)> = members.map(|((_, away), curve)| (*away, curve)).collect();
            best_on_average(&members)
        };
        let rate = best_of(&|_| true);
        // Neighbours together: designs go round, and every part must have all of them.
        let part_of = |site_year: usize| site_year * PARTS / self.site_years.max(1);
        let parts: Vec<f64> = (0..PARTS).map(|part| best_of(&|site_year| part_of(site_year) == part)).collect();
        let mean = parts.iter().sum::<f64>() / PARTS as f64;
        let variance = parts.iter().map(|part| (part - mean).powi(2)).sum::<f64>() / (PARTS - 1) as f64;
        Some(RowTruth { rate, error: (variance / PARTS as f64).sqrt(), optima })
    }

    /// How many site-years were drawn.
    #[must_use]
    pub fn site_years(&self) -> usize {
        self.site_years
    }
}

/// The best topdress of one treatment for itself.
#[cfg(test)]
pub(super) fn best_for(point: &TruePoint, price_ratio: f64) -> f64 {
    best(rates().map(|rate| point.net_return(rate, price_ratio)))
}

fn rates() -> impl Iterator<Item = f64> {
    (0..=HIGHEST_RATE * STEPS_PER_POUND).map(|step| f64::from(step) / f64::from(STEPS_PER_POUND))
}

/// The rate of the largest value; a parabola through it and its neighbours tells it between the steps.
fn best(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    let largest = values.iter().enumerate().fold(0, |best, (position, value)| match values.get(best) {
        Some(before) if value > before => position,
        _ => best,
    });
    let value = |position: Option<usize>| position.and_then(|position| values.get(position).copied());
    let (before, at, after) = (value(largest.checked_sub(1)), value(Some(largest)), value(largest.checked_add(1)));
    let between = match (before, at, after) {
        (Some(before), Some(at), Some(after)) => {
            let bend = before - 2.0 * at + after;
            if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 }
        }
        _ => 0.0,
    };
    (largest as f64 + between) / f64::from(STEPS_PER_POUND)
}

/// The best rate of the mean curve where `away` is 0: weights of a line's value there, the same at every rate.
fn best_on_average(members: &[(f64, &Vec<f64>)]) -> f64 {
    let count = members.len().max(1) as f64;
    let first = members.iter().map(|(away, _)| away).sum::<f64>() / count;
    let second = members.iter().map(|(away, _)| away * away).sum::<f64>() / count - first * first;
    let slope = if second > 0.0 { first / second } else { 0.0 };
    let mut mean = vec![0.0; rates().count()];
    for (away, curve) in members {
        let weight = 1.0 - slope * (away - first);
        for (sum, value) in mean.iter_mut().zip(curve.iter()) {
            *sum += weight * value;
        }
    }
    best(mean.into_iter())
}

/// The treatments of one site-year.
fn points(index: usize, site_year: &SiteYear, plots: &[Plot<'_>]) -> Vec<TruePoint> {
    let rich_typed = site_year.rich_rate();
    let is_rich = |plot: &Plot<'_>| match site_year.rich {
        RichPlots::Beside { .. } => plot.rich_beside,
        RichPlots::HighestRate => plot.early == rich_typed,
    };
    let mut found = Vec::new();
    for variety in &site_year.varieties {
        let own = || plots.iter().filter(|plot| plot.variety.name == variety.name);
        let measured = |read: fn(&Plot<'_>) -> f64, early: f64| {
            let rich = mean(own().filter(|plot| is_rich(plot)).map(read));
            mean(own().filter(|plot| plot.early == early && !is_rich(plot)).map(read)) / rich
        };
        let status =
            |early: f64| site_year.growth.status(site_year.typed_rate.pounds(early), 0.0, 1.0, Progress::AT_SENSING);
        let canopy = |early: f64| variety.canopy_ndvi(status(early), 1.0, 1.0, Progress::AT_SENSING);
        let leaf = |early: f64| variety.leaf_reading(status(early));
        for &early in site_year.early_rates() {
            if own().all(|plot| plot.early != early || is_rich(plot)) {
                continue;
            }
            found.push(TruePoint {
                site_year: index,
                early: site_year.typed_rate.pounds(early),
                canopy: [measured(|plot| plot.ndvi, early), canopy(early) / canopy(rich_typed)],
                leaf: [measured(leaf_mean, early), leaf(early) / leaf(rich_typed)],
                growth: site_year.growth.clone(),
                variety: variety.clone(),
            });
        }
    }
    found
}

fn leaf_mean(plot: &Plot<'_>) -> f64 {
    mean(plot.leaves.iter().copied())
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    sum / count
}
