//! Awkward early × topdress trials, and the plainest criterion for them.

use rand::RngExt as _;
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;

use super::super::Nuisance;
use crate::experiment::{Evidence, GroupEvidence, TreatmentEvidence, TrialEvidence};
use crate::response::Family;
use crate::stats::stream::stream;
use crate::trial::NeedFrom;

/// An early level: its index, rates, yields and blocks.
pub fn level(early: f64, index: f64, plots: &[(f64, f64, usize)]) -> GroupEvidence {
    GroupEvidence {
        variety: None,
        factors: Vec::new(),
        early_n: Some(early),
        rates: plots.iter().map(|(rate, ..)| *rate).collect(),
        yields: plots.iter().map(|(_, value, _)| *value).collect(),
        blocks: Some(plots.iter().map(|(.., block)| *block).collect()),
        family: Family::Quadratic,
        detected: None,
        treatments: vec![TreatmentEvidence { n_on: early, index, plots: plots.len(), standard_deviation: None }],
    }
}

pub fn trial(site: &str, groups: Vec<GroupEvidence>) -> TrialEvidence {
    TrialEvidence {
        trial: site.to_lowercase(),
        site: site.to_owned(),
        harvest_year: 2024,
        need_from: NeedFrom::TopdressResponse,
        groups,
    }
}

/// Something bell-shaped with deviation 1.
pub fn chance(random: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| random.random_range(0.0..1.0)).sum::<f64>() - 6.0
}

/// A need by 1 − index.
pub type Need = fn(f64) -> f64;

/// Site-years with c = 0.0016, soils of their own, early N 0, 30, 60 … and this need.
pub fn programme(
    seed: u64,
    site_years: usize,
    early_levels: usize,
    topdress: &[f64],
    blocks: usize,
    noise: f64,
    need: Need,
) -> Evidence {
    let mut random = stream(seed, 0);
    let one = |number: usize| {
        let soil = random.random_range(10.0..80.0);
        let plateau = random.random_range(50.0..90.0);
        let effects: Vec<f64> = (0..blocks).map(|_| 1.5 * chance(&mut random)).collect();
        let levels = (0..early_levels).map(|level_number| {
            let early = 30.0 * level_number as f64;
            let share: f64 = ((soil + early) / 170.0_f64).min(1.0);
            let index = 1.0 - 0.35 * (1.0 - share).powf(1.4) + 0.01 * chance(&mut random);
            let mut plots = Vec::new();
            for (block, effect) in effects.iter().enumerate() {
                for rate in topdress {
                    let lost = 0.0016 * (need(1.0 - index).max(0.0) - rate).max(0.0).powi(2);
                    plots.push((*rate, plateau + effect - lost + noise * chance(&mut random), block));
                }
            }
            level(early, index, &plots)
        });
        let levels = levels.collect();
        trial(&format!("Field {number}"), levels)
    };
    Evidence { trials: (0..site_years).map(one).collect() }
}

/// Few site-years, few or many rates, plots that are missing, indices that coincide, no noise or much, and needs of every kind.
pub fn awkward(seed: u64) -> Evidence {
    const NEEDS: [Need; 7] = [
        |s| 20.0 + 400.0 * s,
        |s| -30.0 + 600.0 * s,
        |s| 200.0 * s + 800.0 * s * s,
        |_| 90.0,
        |s| 300.0 + 900.0 * s,
        |s| 150.0 - 300.0 * s,
        |_| 0.0,
    ];
    const TOPDRESS: [&[f64]; 4] =
        [&[0.0, 120.0], &[0.0, 60.0, 120.0], &[0.0, 40.0, 80.0, 120.0], &[20.0, 30.0, 50.0, 90.0, 140.0]];
    let mut random = stream(seed, 1);
    let mut pick = |of: usize| random.random_range(0..of);
    let (need, topdress) = (NEEDS[pick(NEEDS.len())], TOPDRESS[pick(TOPDRESS.len())]);
    let noise = [0.0, 0.5, 2.0, 6.0, 15.0][pick(5)];
    let (site_years, levels, blocks) = (1 + pick(5), 2 + pick(4), 1 + pick(4));
    let (missing, coincide, early_counts) = ([0.0, 0.0, 0.1, 0.3][pick(4)], pick(3) == 0, pick(3) == 0);
    let mut evidence = programme(seed, site_years, levels, topdress, blocks, noise, need);
    for group in evidence.trials.iter_mut().flat_map(|trial| &mut trial.groups) {
        let kept: Vec<bool> = group.rates.iter().map(|_| random.random_range(0.0..1.0) >= missing).collect();
        let mut keep = kept.iter();
        group.rates.retain(|_| *keep.next().unwrap());
        keep = kept.iter();
        group.yields.retain(|_| *keep.next().unwrap());
        keep = kept.iter();
        group.blocks.as_mut().unwrap().retain(|_| *keep.next().unwrap());
        if early_counts {
            let more = group.early_n.unwrap() / 6.0;
            group.yields.iter_mut().for_each(|value| *value += more);
        }
        if coincide {
            let index = &mut group.treatments[0].index;
            *index = (*index * 12.0).round() / 12.0;
        }
    }
    evidence
}

/// Plots one by one: the criterion without any reduction.
pub struct Plain {
    /// z, topdress (by the highest), yield less its level's mean, level.
    plots: Vec<(f64, f64, f64, usize)>,
    levels: usize,
    /// Of the shortfall.
    pub power: i32,
}

impl Plain {
    pub fn new(evidence: &Evidence, nuisance: Nuisance) -> Self {
        let mut known = BTreeMap::new();
        let mut plots = Vec::new();
        for (site_year, trial) in evidence.trials.iter().enumerate() {
            for (early, group) in trial.groups.iter().enumerate() {
                for (at, rate) in group.rates.iter().enumerate() {
                    let early = if nuisance == Nuisance::Block { 0 } else { early };
                    let new = known.len();
                    let key = (site_year, group.blocks.as_ref().unwrap()[at], early);
                    let level = *known.entry(key).or_insert(new);
                    plots.push((1.0 - group.treatments[0].index, *rate, group.yields[at], level));
                }
            }
        }
        let low = plots.iter().map(|plot| plot.0).fold(f64::INFINITY, f64::min);
        let high = plots.iter().map(|plot| plot.0).fold(f64::NEG_INFINITY, f64::max);
        let highest = plots.iter().map(|plot| plot.1).fold(0.0, f64::max);
        let mut plain = Self { plots, levels: known.len(), power: 2 };
        let yields = plain.centred(|plot| plot.2);
        for (plot, value) in plain.plots.iter_mut().zip(yields) {
            *plot = ((plot.0 - low) / (high - low), plot.1 / highest, value, plot.3);
        }
        plain
    }

    fn centred(&self, value: impl Fn(&(f64, f64, f64, usize)) -> f64) -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); self.levels];
        for plot in &self.plots {
            sums[plot.3].0 += value(plot);
            sums[plot.3].1 += 1.0;
        }
        self.plots.iter().map(|plot| value(plot) - sums[plot.3].0 / sums[plot.3].1).collect()
    }

    pub fn total(&self) -> f64 {
        self.plots.iter().map(|plot| plot.2 * plot.2).sum()
    }

    pub fn rss(&self, curve: impl Fn(f64) -> f64) -> f64 {
        let h = self.centred(|plot| (curve(plot.0) - plot.1).max(0.0).powi(self.power));
        let a: f64 = h.iter().map(|h| h * h).sum();
        let b: f64 = h.iter().zip(&self.plots).map(|(h, plot)| h * plot.2).sum();
        if b >= 0.0 || a < 1e-18 {
            return self.total();
        }
        h.iter().zip(&self.plots).map(|(h, plot)| (plot.2 - b / a * h).powi(2)).sum()
    }

    /// With a c that is given.
    pub fn rss_with(&self, curve: impl Fn(f64) -> f64, c: f64) -> f64 {
        let h = self.centred(|plot| (curve(plot.0) - plot.1).max(0.0).powi(2));
        h.iter().zip(&self.plots).map(|(h, plot)| (plot.2 + c * h).powi(2)).sum()
    }
}
