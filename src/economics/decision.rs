//! What a fitted curve says of a decision: what another rate gives up, whether a pass pays, how each price moves the optimum.

use schemars::JsonSchema;
use serde::Serialize;

use super::optimum::net_return;
use crate::response::{Curve, Family, Observations, OptimumStatus, Reach};

/// A fitted curve whose response is not in doubt, at a price ratio. Everything here holds inside the tested rates and for the curve as
/// fitted: the uncertainty of the curve is in the interval of its optimum.
#[derive(Clone, Copy, Debug)]
pub struct Decision<'a> {
    observations: &'a Observations,
    curve: &'a Curve,
    price_ratio: f64,
}

/// What one rate gives up against the best.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Forgone {
    /// The rate asked about.
    pub rate: f64,
    /// Its net return, in yield units; null outside the tested rates.
    pub net_return: Option<f64>,
    /// Net return of the best rate inside the tested ones minus that of this rate, in yield units.
    pub forgone_return: Option<f64>,
    /// The same in money over an area unit of the yield, where the price of grain is known.
    pub forgone_money: Option<f64>,
    /// Whether no plot was fertilised so little, or so much.
    pub outside_tested_rates: bool,
    /// Why there is no number.
    pub reason: Option<String>,
}

/// Whether the best rate earns the cost of putting it on.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Pass {
    /// What one pass costs, in money over an area unit of the yield.
    pub cost: f64,
    /// The same in yield units.
    pub cost_in_yield: f64,
    /// Net return of the optimum minus that of rate 0, before the pass is paid, in yield units.
    pub gain_over_zero: Option<f64>,
    /// The same after the pass is paid.
    pub gain_after_pass: Option<f64>,
    /// `optimum` or `rate-zero`; null where that is not known.
    pub better: Option<Better>,
    /// Why that is not known.
    pub reason: Option<String>,
}

/// The better of two decisions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Better {
    /// Apply the optimum.
    Optimum,
    /// Save the pass.
    RateZero,
}

/// Which price moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MovedPrice {
    /// That of grain.
    Grain,
    /// That of N.
    Nitrogen,
}

/// How the optimum and its net return move with each price.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sensitivity {
    /// By how much each price is moved, per cent.
    pub percent: f64,
    /// The derivative of the optimum by the price ratio, in rate units for 1 of the ratio: 1 ÷ f''(N) where the slope equals the
    /// ratio, 0 at a join and at the ends of the tested rates.
    pub rate_per_price_ratio: f64,
    /// One entry a price.
    pub prices: Vec<PriceMoved>,
}

/// The optimum with one price moved.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PriceMoved {
    /// Which price.
    pub price: MovedPrice,
    /// The derivative of the optimum by this price, in rate units for 1 % of it.
    pub rate_per_percent: f64,
    /// With the price lower.
    pub lower: AtMovedPrice,
    /// With the price higher.
    pub higher: AtMovedPrice,
}

/// The optimum at a moved price.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AtMovedPrice {
    /// The price ratio that follows.
    pub price_ratio: f64,
    /// The optimum.
    pub rate: f64,
    /// What kind of rate it is.
    pub status: OptimumStatus,
    /// Its net return, in yield units.
    pub net_return: f64,
    /// The same in money over an area unit of the yield, at the moved price of grain; null where that price is not known.
    pub net_return_money: Option<f64>,
}

impl<'a> Decision<'a> {
    /// `curve` must have been fitted to `observations`; `price_ratio` is finite and at least 0.
    #[must_use]
    pub fn new(observations: &'a Observations, curve: &'a Curve, price_ratio: f64) -> Self {
        Self { observations, curve, price_ratio }
    }

    /// The best rate at another price ratio, and what kind of rate it is.
    pub(super) fn best(&self, price_ratio: f64) -> (f64, OptimumStatus) {
        self.observations.best_rate(self.curve, price_ratio)
    }

    /// The price ratio of the decision.
    pub(super) fn price_ratio(&self) -> f64 {
        self.price_ratio
    }

    pub(super) fn curve(&self) -> &Curve {
        self.curve
    }

    /// Whether the curve between the two lowest rates is any of several that fit alike.
    pub(super) fn is_bounded_only(&self) -> bool {
        self.curve.reach == Some(Reach::BeforeFirstRate)
    }

    /// What each of `rates` gives up against the best rate inside the tested ones, in the order given.
    ///
    /// Never below zero but for rounding, and never extrapolated. `grain_price` is money for a yield unit.
    #[must_use]
    pub fn forgone(&self, rates: &[f64], grain_price: Option<f64>) -> Vec<Forgone> {
        let (best, _) = self.best(self.price_ratio);
        let best = net_return(self.curve, best, self.price_ratio);
        let of = |rate: f64| {
            if self.is_bounded_only() {
                return Forgone::unknown(rate, self.is_outside(rate), BOUNDED_ONLY);
            }
            if self.is_outside(rate) {
                return Forgone::unknown(rate, true, &self.outside());
            }
            let net = net_return(self.curve, rate, self.price_ratio);
            // A rate as good as the best is worse by nothing, whatever the rounding.
            let forgone = (best - net).max(0.0);
            Forgone {
                rate,
                net_return: Some(net),
                forgone_return: Some(forgone),
                forgone_money: grain_price.map(|price| price * forgone),
                outside_tested_rates: false,
                reason: None,
            }
        };
        rates.iter().map(|rate| of(*rate)).collect()
    }

    fn is_outside(&self, rate: f64) -> bool {
        !(self.curve.lowest_rate..=self.curve.highest_rate).contains(&rate)
    }

    fn outside(&self) -> String {
        format!("outside the tested rates, {} to {}", self.curve.lowest_rate, self.curve.highest_rate)
    }

    /// Whether the optimum earns a pass that costs `cost`, money over an area unit of the yield, with grain at `grain_price` for a yield
    /// unit. A fixed cost moves no optimum inside the tested rates (Pannell 2006); it decides between that rate and none.
    #[must_use]
    pub fn pass(&self, cost: f64, grain_price: f64) -> Pass {
        let unknown = |reason: &str| Pass::unknown(cost, grain_price, reason);
        if self.is_bounded_only() {
            return unknown(BOUNDED_ONLY);
        }
        if self.curve.lowest_rate > 0.0 {
            return unknown("no plot had rate 0 to compare with");
        }
        let (rate, status) = self.best(self.price_ratio);
        let gain = net_return(self.curve, rate, self.price_ratio) - net_return(self.curve, 0.0, self.price_ratio);
        let cost_in_yield = cost / grain_price;
        let after = gain - cost_in_yield;
        let better = match status {
            _ if after > 0.0 => Some(Better::Optimum),
            // A rate beyond the tested ones may earn more, not less.
            OptimumStatus::AtHighestTestedRate => None,
            _ => Some(Better::RateZero),
        };
        let reason = better.is_none().then(|| "the best rate may lie beyond the tested ones, and earn more".to_owned());
        Pass { cost, cost_in_yield, gain_over_zero: Some(gain), gain_after_pass: Some(after), better, reason }
    }

    /// How the optimum and its net return move where each price is `percent` per cent lower and higher, the other as it is. `percent`
    /// is above 0 and below 100; `grain_price` is money for a yield unit.
    #[must_use]
    pub fn sensitivity(&self, percent: f64, grain_price: Option<f64>) -> Sensitivity {
        let slope = self.rate_per_price_ratio();
        let share = 0.01 * percent;
        let at = |grain: f64, nitrogen: f64| {
            let ratio = self.price_ratio * nitrogen / grain;
            let (rate, status) = self.best(ratio);
            let net = net_return(self.curve, rate, ratio);
            let money = grain_price.map(|price| price * grain * net);
            AtMovedPrice { price_ratio: ratio, rate, status, net_return: net, net_return_money: money }
        };
        let (low, high) = (1.0 - share, 1.0 + share);
        // The ratio rises as much as the price of N does, and falls as much as that of grain rises.
        let per_percent = 0.01 * slope * self.price_ratio;
        let grain = PriceMoved {
            price: MovedPrice::Grain,
            rate_per_percent: -per_percent,
            lower: at(low, 1.0),
            higher: at(high, 1.0),
        };
        let nitrogen = PriceMoved {
            price: MovedPrice::Nitrogen,
            rate_per_percent: per_percent,
            lower: at(1.0, low),
            higher: at(1.0, high),
        };
        Sensitivity { percent, rate_per_price_ratio: slope, prices: vec![grain, nitrogen] }
    }

    /// dN/dr of the optimum f'(N) = r: 1 ÷ f''(N). Zero where the optimum is an end of the tested rates or a join, which a small change
    /// of the ratio leaves where it is.
    fn rate_per_price_ratio(&self) -> f64 {
        let (rate, status) = self.best(self.price_ratio);
        let bend = bend_at(self.curve, rate);
        let is_at_join = self.curve.implied_join().is_some_and(|join| rate >= join);
        if status == OptimumStatus::Interior && bend < 0.0 && !is_at_join { 1.0 / bend } else { 0.0 }
    }
}

/// f''(N) below a join.
fn bend_at(curve: &Curve, rate: f64) -> f64 {
    let c = &curve.coefficients;
    match curve.family {
        Family::Quadratic | Family::QuadraticPlateau => 2.0 * c.curvature.unwrap_or(0.0),
        Family::SquareRoot => -0.25 * c.root.unwrap_or(0.0) / rate.powf(1.5),
        Family::ExponentialRise => -c.rate_constant.unwrap_or(0.0) * curve.slope_at(rate),
        Family::Mean | Family::Linear | Family::LinearPlateau => 0.0,
    }
}

const BOUNDED_ONLY: &str = "the optimum is only a bound: no plot tells the rates up to it apart";

impl Forgone {
    /// No number, and why.
    #[must_use]
    pub fn unknown(rate: f64, outside_tested_rates: bool, reason: &str) -> Self {
        Self {
            rate,
            net_return: None,
            forgone_return: None,
            forgone_money: None,
            outside_tested_rates,
            reason: Some(reason.to_owned()),
        }
    }
}

impl Pass {
    /// No comparison, and why.
    #[must_use]
    pub fn unknown(cost: f64, grain_price: f64, reason: &str) -> Self {
        Self {
            cost,
            cost_in_yield: cost / grain_price,
            gain_over_zero: None,
            gain_after_pass: None,
            better: None,
            reason: Some(reason.to_owned()),
        }
    }
}
