//! Prices that are not known yet → how the optimum and its net return are distributed.
//!
//! Grain and N prices are drawn independently of each other, each draw from its own stream. Net return, price of grain × f(N) − price of N
//! × N, is straight in both prices, so its expectation at any rate is that at the expected prices, and the one rate with the highest
//! expected net return is the optimum at the ratio of the expected prices: exact, without a draw. That is the decision of someone who
//! weighs a gain and a loss alike; whoever fears losses more decides otherwise.

use rand_distr::{Distribution as _, Normal, Triangular};
use schemars::JsonSchema;
use serde::Serialize;

use super::decision::Decision;
use super::optimum::net_return;
use crate::stats::distribution::normal_hazard;
use crate::stats::quantile::quantile;
use crate::stats::stream::stream;
use crate::trial::{LARGEST_PRICE_RATIO, PriceSpread};

/// Draws where nothing else is asked: a share of 0.05 is known to about ±0.004.
pub const PRICE_DRAWS: u64 = 10_000;

/// A price and how far it may turn out otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UncertainPrice {
    /// The price that is expected, above 0: the mode of its spread.
    pub price: f64,
    /// Around the price; `None` for one that is known.
    pub spread: Option<PriceSpread>,
}

impl UncertainPrice {
    /// The same in another unit: everything times `factor`, which is above 0.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        let spread = self.spread.map(|spread| match spread {
            PriceSpread::Triangular { lowest, highest } => {
                PriceSpread::Triangular { lowest: lowest * factor, highest: highest * factor }
            }
            PriceSpread::Normal { standard_deviation } => {
                PriceSpread::Normal { standard_deviation: standard_deviation * factor }
            }
        });
        Self { price: self.price * factor, spread }
    }

    /// Its expectation: of a triangular (lowest + price + highest)/3, of a normal cut off at 0 price + sd·h(−price/sd) with the hazard
    /// h = φ/(1 − Φ) of the standard normal.
    #[must_use]
    pub fn expected(&self) -> f64 {
        match self.spread {
            None => self.price,
            Some(PriceSpread::Triangular { lowest, highest }) => (lowest + self.price + highest) / 3.0,
            Some(PriceSpread::Normal { standard_deviation: sd }) => self.price + sd * normal_hazard(-self.price / sd),
        }
    }

    fn draw(&self, rng: &mut impl rand::Rng) -> f64 {
        match self.spread {
            None => self.price,
            Some(PriceSpread::Triangular { lowest, highest }) => {
                Triangular::new(lowest, highest, self.price).map_or(self.price, |spread| spread.sample(rng))
            }
            Some(PriceSpread::Normal { standard_deviation }) => {
                let Ok(spread) = Normal::new(self.price, standard_deviation) else { return self.price };
                // The price lies above 0, so at least every second draw does.
                loop {
                    let drawn = spread.sample(rng);
                    if drawn > 0.0 {
                        return drawn;
                    }
                }
            }
        }
    }
}

/// Prices of a yield unit and a rate unit, drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct PriceDraws {
    grain: UncertainPrice,
    nitrogen: UncertainPrice,
    /// Money for a yield unit and for a rate unit.
    draws: Vec<[f64; 2]>,
}

impl PriceDraws {
    /// `count` draws under `seed`: money for a yield unit of grain and for a rate unit of N, over the same area.
    #[must_use]
    pub fn new(grain: UncertainPrice, nitrogen: UncertainPrice, count: u64, seed: u64) -> Self {
        let draw = |index| {
            let mut rng = stream(seed, index);
            [grain.draw(&mut rng), nitrogen.draw(&mut rng)]
        };
        Self { grain, nitrogen, draws: (0..count).map(draw).collect() }
    }
}

/// Mean, spread and quantiles of what came of the draws.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Distribution {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
    /// 5 % of the draws are lower.
    pub q05: f64,
    /// A quarter is lower.
    pub q25: f64,
    /// Median.
    pub q50: f64,
    /// A quarter is higher.
    pub q75: f64,
    /// 5 % are higher.
    pub q95: f64,
}

/// The optimum under prices that are not known yet. Net returns are money over an area unit of the yield.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct UncertainOptimum {
    /// Draws of the two prices.
    pub draws: usize,
    /// The optimum at the prices of each draw.
    pub optimum: Distribution,
    /// Its net return.
    pub net_return: Distribution,
    /// Share of the draws whose optimum is the lowest tested rate.
    pub share_at_lowest_rate: f64,
    /// Share of the draws whose optimum is the highest tested rate, or lies beyond.
    pub share_at_highest_rate: f64,
    /// The price of a yield unit that is expected.
    pub expected_grain_price: f64,
    /// The price of a rate unit of N that is expected.
    pub expected_n_price: f64,
    /// Net return that is expected of the optimum at the base prices.
    pub expected_net_return_of_optimum: f64,
    /// The one rate with the highest expected net return.
    pub best_single_rate: f64,
    /// Net return that is expected of it.
    pub expected_net_return_of_best_single_rate: f64,
}

impl Decision<'_> {
    /// The optimum under drawn prices; `None` where it is only a bound whatever the prices, and without draws.
    #[must_use]
    pub fn under(&self, prices: &PriceDraws) -> Option<UncertainOptimum> {
        if self.is_bounded_only() || prices.draws.is_empty() {
            return None;
        }
        let curve = self.curve();
        // Beyond this no rate pays, and the quotient of two prices may not be a number.
        let ratio = |grain: f64, nitrogen: f64| (nitrogen / grain).min(LARGEST_PRICE_RATIO);
        let mut rates = Vec::with_capacity(prices.draws.len());
        let mut returns = Vec::with_capacity(prices.draws.len());
        for [grain, nitrogen] in &prices.draws {
            let (rate, _) = self.best(ratio(*grain, *nitrogen));
            rates.push(rate);
            returns.push(grain * curve.value(rate) - nitrogen * rate);
        }
        let share =
            |is: &dyn Fn(f64) -> bool| rates.iter().filter(|rate| is(**rate)).count() as f64 / rates.len() as f64;
        let share_at_lowest_rate = share(&|rate| rate <= curve.lowest_rate);
        let share_at_highest_rate = share(&|rate| rate >= curve.highest_rate);
        let (grain, nitrogen) = (prices.grain.expected(), prices.nitrogen.expected());
        let expected = |rate: f64| grain * net_return(curve, rate, nitrogen / grain);
        let (base, _) = self.best(self.price_ratio());
        let (single, _) = self.best(ratio(grain, nitrogen));
        Some(UncertainOptimum {
            draws: rates.len(),
            share_at_lowest_rate,
            share_at_highest_rate,
            optimum: Distribution::of(rates)?,
            net_return: Distribution::of(returns)?,
            expected_grain_price: grain,
            expected_n_price: nitrogen,
            expected_net_return_of_optimum: expected(base),
            best_single_rate: single,
            expected_net_return_of_best_single_rate: expected(single),
        })
    }
}

impl Distribution {
    /// Of values in any order; `None` without any.
    fn of(mut values: Vec<f64>) -> Option<Self> {
        values.sort_by(f64::total_cmp);
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        // One value, or the same in every draw, has no spread.
        let sd = if values.first() == values.last() { 0.0 } else { (squares / (count - 1.0)).sqrt() };
        let at = |probability: f64| quantile(&values, probability);
        Some(Self { mean, sd, q05: at(0.05)?, q25: at(0.25)?, q50: at(0.5)?, q75: at(0.75)?, q95: at(0.95)? })
    }
}
