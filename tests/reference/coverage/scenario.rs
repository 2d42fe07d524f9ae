//! What is simulated: trials of a true curve, its rates, blocks and noise.

use super::truth::{TOP, TrueCurve, Truth};
use rand_distr::{Distribution, StandardNormal};
use stook::experiment::{ErrorStratum, GroupKey, ResponseGroup};
use stook::stats::stream::stream;

/// Seed of everything here.
pub const SEED: u64 = 20_264;
/// Standard deviation of block effects, of the highest true yield.
const BLOCKS_DIFFER: f64 = 0.05;
/// Streams of one scenario: more than its trials.
const STREAMS: u64 = 1 << 20;

/// Where the join, or the optimum of a curve without one, lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Midway between the two tested rates about the middle of the range (those around 88 lb/ac).
    Between,
    /// At the upper one of those two rates.
    AtRate,
    /// Midway between the two highest rates.
    NearTop,
}

impl Place {
    pub const ALL: [Self; 3] = [Self::Between, Self::AtRate, Self::NearTop];

    pub fn name(self) -> &'static str {
        match self {
            Self::Between => "between rates",
            Self::AtRate => "at a rate",
            Self::NearTop => "near the top",
        }
    }

    fn rate(self, rates: usize) -> f64 {
        let step = TOP / (rates - 1) as f64;
        let below = (0.55 * TOP / step).floor();
        match self {
            Self::Between => (below + 0.5) * step,
            Self::AtRate => (below + 1.0) * step,
            Self::NearTop => TOP - 0.5 * step,
        }
    }
}

/// One kind of trial.
#[derive(Clone, Copy, Debug)]
pub struct Scenario {
    /// Its number among all, which picks its streams.
    pub number: u64,
    pub truth: Truth,
    pub place: Place,
    /// Evenly spaced rates from 0 to [`TOP`].
    pub rates: usize,
    pub blocks: usize,
    /// Standard deviation of a plot, per cent of the highest true yield.
    pub cv_percent: f64,
}

impl Scenario {
    /// Every truth × place × number of rates × CV; blocks go round as in a Latin square, so that each number of them meets each rate number,
    /// place and CV equally often.
    pub fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for truth in Truth::ALL {
            for (p, place) in Place::ALL.into_iter().enumerate() {
                for (r, rates) in [4, 5, 6, 8].into_iter().enumerate() {
                    for (c, cv_percent) in [4.0, 8.0, 12.0].into_iter().enumerate() {
                        let blocks = [3, 4, 6][(p + r + c) % 3];
                        all.push(Self { number: all.len() as u64, truth, place, rates, blocks, cv_percent });
                    }
                }
            }
        }
        all
    }

    /// Where intervals should hold what they promise: decided before anything was run.
    pub fn is_regular(&self) -> bool {
        self.place == Place::Between && self.rates >= 5 && self.cv_percent <= 8.0
    }

    pub fn curve(&self) -> TrueCurve {
        TrueCurve::at(self.truth, self.place.rate(self.rates))
    }

    /// One trial: a block effect, the curve and noise, each normal, from the stream of the scenario and the trial.
    pub fn trial(&self, curve: &TrueCurve, trial: u64) -> ResponseGroup {
        let highest = curve.highest_yield();
        let tested: Vec<f64> = (0..self.rates).map(|rate| TOP * rate as f64 / (self.rates - 1) as f64).collect();
        let yields = |rate: f64| curve.value(rate);
        draw(&tested, yields, self.blocks, highest, self.cv_percent, self.number * STREAMS + trial)
    }
}

/// A trial in complete blocks, drawn from stream `index`.
pub fn draw(
    tested: &[f64],
    curve: impl Fn(f64) -> f64,
    blocks: usize,
    highest: f64,
    cv_percent: f64,
    index: u64,
) -> ResponseGroup {
    let mut chance = stream(SEED, index);
    let mut normal = |deviation: f64| -> f64 {
        let z: f64 = StandardNormal.sample(&mut chance);
        deviation * z
    };
    let (mut rates, mut yields, mut block_of) = (Vec::new(), Vec::new(), Vec::new());
    for block in 0..blocks {
        let effect = normal(BLOCKS_DIFFER * highest);
        for rate in tested {
            rates.push(*rate);
            yields.push(curve(*rate) + effect + normal(0.01 * cv_percent * highest));
            block_of.push(block);
        }
    }
    ResponseGroup {
        key: GroupKey::default(),
        names: vec![String::new(); rates.len()],
        rates,
        yields,
        blocks: Some(block_of),
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
    }
}
