//! Made-up site-years whose truth is known: early × topdress trials, and what would have paid there.

use rand::RngExt as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};
use stook::experiment::{
    ErrorStratum, Evidence, FitOptions, FittedGroup, GroupEvidence, GroupKey, ResponseGroup, TreatmentEvidence,
    TrialEvidence,
};
use stook::trial::NeedFrom;

/// Price of one lb of N ÷ price of one bu of grain.
pub const PRICE_RATIO: f64 = 0.1;
/// The highest topdress tested, and the highest that a rule may give, lb/ac.
pub const HIGHEST: f64 = 120.0;
pub const TOPDRESS: [f64; 4] = [0.0, 40.0, 80.0, HIGHEST];
/// Early N of the N-rich reference, lb/ac.
const RICH: f64 = 200.0;
/// Standard deviation of one plot's reading, share of the reference's.
const READING: f64 = 0.014;
/// Standard deviation of blocks, bu/ac.
const BLOCK: f64 = 1.5;

/// How yield answers to N.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Truth {
    /// A quadratic plateau in the N supply, early N and topdress alike: the model's own kind but for a c that differs by site-year and a need
    /// that no polynomial of the index gives exactly.
    Plateau,
    /// The same, where part of what early N lacked is lost for good.
    EarlyLoss,
    /// A Hill curve with a slow loss from too much: no plateau, no squares.
    Hill,
}

impl Truth {
    pub const ALL: [Self; 3] = [Self::Plateau, Self::EarlyLoss, Self::Hill];

    pub fn name(self) -> &'static str {
        match self {
            Self::Plateau => "plateau",
            Self::EarlyLoss => "plateau with early loss",
            Self::Hill => "Hill with lodging",
        }
    }
}

/// A site-year.
#[derive(Clone, Debug)]
pub struct SiteYear {
    truth: Truth,
    soil: f64,
    potential: f64,
    demand: f64,
}

fn normal(random: &mut ChaCha8Rng, mean: f64, deviation: f64) -> f64 {
    Normal::new(mean, deviation).expect("a deviation").sample(random)
}

fn hill(x: f64, half: f64, power: f64) -> f64 {
    let (x, half) = (x.max(0.0).powf(power), half.powf(power));
    x / (x + half)
}

impl SiteYear {
    pub fn draw(truth: Truth, random: &mut ChaCha8Rng) -> Self {
        let demand = if truth == Truth::Hill { normal(random, 70.0, 7.0) } else { normal(random, 165.0, 15.0) };
        Self { truth, soil: random.random_range(15.0..75.0), potential: normal(random, 78.0, 7.0), demand }
    }

    /// Yield without chance, bu/ac.
    pub fn grain(&self, early: f64, topdress: f64) -> f64 {
        let supply = self.soil + 0.8 * early + 0.95 * topdress;
        match self.truth {
            Truth::Plateau => self.plateau(supply),
            Truth::EarlyLoss => self.plateau(supply) * (1.0 - 0.25 * (1.0 - self.shown(early)).powi(2)),
            Truth::Hill => {
                let lodged = 0.15 / (1.0 + (-(supply - 260.0) / 14.0).exp());
                self.potential * 1.1 * (0.3 + 0.7 * hill(supply, self.demand, 2.3)) * (1.0 - lodged)
            }
        }
    }

    fn plateau(&self, supply: f64) -> f64 {
        let fed = supply.min(self.demand) / self.demand;
        self.potential * (1.0 - 0.62 * (1.0 - fed).powi(2))
    }

    /// N that the crop has had by sensing, as a share of what it needs by then, 1 at most.
    fn shown(&self, early: f64) -> f64 {
        let by_then = if self.truth == Truth::Hill { 1.7 } else { 0.75 };
        ((self.soil + 0.8 * early) / (by_then * self.demand)).min(1.0)
    }

    /// Reading without chance, relative to that of ample N.
    fn reading(&self, early: f64) -> f64 {
        1.0 - 0.45 * (1.0 - self.shown(early)).powf(1.6)
    }

    /// The topdress up to the highest tested that pays best, to half a pound.
    pub fn optimum(&self, early: f64) -> f64 {
        let net = |rate: &f64| self.grain(early, *rate) - PRICE_RATIO * rate;
        let rates = (0..=240).map(|half| f64::from(half) / 2.0);
        rates.max_by(|one, other| net(one).total_cmp(&net(other))).expect("rates")
    }

    /// Net return of the best topdress minus that of a rate, bu/ac.
    pub fn forgone(&self, early: f64, rate: f64) -> f64 {
        let net = |rate: f64| self.grain(early, rate) - PRICE_RATIO * rate;
        net(self.optimum(early)) - net(rate)
    }

    /// Mean index of so many plots against as many reference plots as there are blocks.
    pub fn index(&self, early: f64, plots: usize, blocks: usize, random: &mut ChaCha8Rng) -> f64 {
        let mut mean =
            |early: f64, plots: usize| self.reading(early) + normal(random, 0.0, READING / (plots as f64).sqrt());
        mean(early, plots) / mean(RICH, blocks)
    }

    /// What a trial there gives: every early with every topdress rate in every block, analysed early level by early level.
    pub fn trial(&self, name: &str, design: &Design, cv_percent: f64, random: &mut ChaCha8Rng) -> TrialEvidence {
        let deviation = cv_percent / 100.0 * 75.0;
        let blocks: Vec<f64> = (0..design.blocks).map(|_| normal(random, 0.0, BLOCK)).collect();
        let groups = design.early.iter().map(|early| {
            let index = self.index(*early, design.blocks * TOPDRESS.len(), design.blocks, random);
            let (mut rates, mut yields, mut block_of) = (Vec::new(), Vec::new(), Vec::new());
            for (block, effect) in blocks.iter().enumerate() {
                for topdress in TOPDRESS {
                    rates.push(topdress);
                    yields.push(self.grain(*early, topdress) + effect + normal(random, 0.0, deviation));
                    block_of.push(block);
                }
            }
            group(*early, index, rates, yields, block_of)
        });
        TrialEvidence {
            trial: name.to_owned(),
            site: name.to_owned(),
            harvest_year: 2025,
            need_from: NeedFrom::TopdressResponse,
            groups: groups.collect(),
        }
    }
}

/// The plan of a trial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Design {
    pub early: &'static [f64],
    pub blocks: usize,
}

impl Design {
    pub const ALL: [Self; 2] =
        [Self { early: &[0.0, 45.0, 90.0], blocks: 4 }, Self { early: &[0.0, 30.0, 60.0, 90.0, 120.0], blocks: 3 }];

    pub fn name(&self) -> String {
        format!("{} × {} in {} blocks", self.early.len(), TOPDRESS.len(), self.blocks)
    }
}

/// Permutations of the response test: as many as its α of 0.05 needs.
const PERMUTATIONS: usize = 99;

fn group(early: f64, index: f64, rates: Vec<f64>, yields: Vec<f64>, blocks: Vec<usize>) -> GroupEvidence {
    let plots = rates.len();
    let group = ResponseGroup {
        key: GroupKey { early_n: Some(early), ..GroupKey::default() },
        names: (0..plots).map(|plot| format!("plot {plot}")).collect(),
        rates,
        yields,
        blocks: Some(blocks),
        within_blocks: None,
        laid_with_n: Vec::new(),
        pooled_over: None,
        replicates: None,
        pooled_error: None,
        error_stratum: ErrorStratum::PlotsWithinBlocks,
        left_out: Vec::new(),
        rate_unit: None,
        yield_unit: None,
        with_excluded: None,
    };
    let options = FitOptions { permutations: PERMUTATIONS, ..FitOptions::new(0.95, 1) };
    let fitted = FittedGroup::fit(group, &options);
    let outcome = fitted.outcome.as_ref().expect("plots in blocks");
    let family = outcome.optimum_curve().map_or(stook::response::Family::Quadratic, |curve| curve.family);
    GroupEvidence {
        variety: None,
        factors: Vec::new(),
        early_n: Some(early),
        rates: fitted.group.rates.clone(),
        yields: fitted.group.yields.clone(),
        blocks: fitted.group.blocks.clone(),
        family,
        detected: outcome.detected(),
        treatments: vec![TreatmentEvidence { n_on: early, index, plots, standard_deviation: None }],
    }
}

/// Site-years of one truth and their trials.
pub fn programme(
    truth: Truth,
    design: &Design,
    site_years: usize,
    cv_percent: f64,
    random: &mut ChaCha8Rng,
) -> Evidence {
    let trial = |number: usize| {
        let site_year = SiteYear::draw(truth, random);
        site_year.trial(&format!("Field {number}"), design, cv_percent, random)
    };
    Evidence { trials: (1..=site_years).map(trial).collect() }
}
