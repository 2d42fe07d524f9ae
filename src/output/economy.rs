//! What is asked beside the optimum of a group: a grid of prices, a pass, other rates, moved and uncertain prices, grain quality.

use schemars::JsonSchema;
use serde::Serialize;

use super::optimum::{AtPrice, OptimumOf, Prices};
use crate::economics::{Decision, Forgone, Pass, Sensitivity, UncertainOptimum};
use crate::experiment::{FittedGroup, GroupOptimum, QualityGroup, Response};
use crate::response::OptimumStatus;

/// What is asked beside the optimum of a group. What was not asked is null or empty.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct EconomyOf {
    /// Unit of money over an area unit of the yield, where it has a name.
    pub money_unit: Option<String>,
    /// Net return at the optimum in money over an area unit of the yield, where the price of grain is known.
    pub net_return_money: Option<f64>,
    /// The optimum at every combination of prices.
    pub price_grid: Vec<AtPrices>,
    /// Whether the optimum earns the cost of a pass.
    pub pass: Option<Pass>,
    /// What the rates asked about give up against the best.
    pub forgone: Vec<Forgone>,
    /// How the optimum moves with each price; null too where a response is not shown.
    pub sensitivity: Option<Sensitivity>,
    /// The optimum under prices that are not known yet; null too where a response is not shown, or the optimum is a bound below the second
    /// rate whatever the prices.
    pub uncertain_prices: Option<UncertainOptimum>,
    /// The optimum of yields that are worth what the quality of their grain makes them worth; null where nothing of it is priced and
    /// measured.
    pub with_quality: Option<WithQuality>,
}

/// The optimum at two prices.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AtPrices {
    /// Money for a yield unit of grain.
    pub grain_price: f64,
    /// Money for a rate unit of N, or for its product where that is what was priced.
    pub n_price: f64,
    /// Net return at the optimum in money over an area unit of the yield.
    pub net_return_money: Option<f64>,
    /// The optimum at their ratio.
    #[serde(flatten)]
    pub at: AtPrice,
}

/// The optimum of a group whose yields are each worth what the quality of its grain makes it worth: yield × (1 + premium ÷ base price) ×
/// (1 − share lost to lodging).
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WithQuality {
    /// Whether the protein premium is in it.
    pub protein_premium: bool,
    /// Whether the loss to lodging is in it.
    pub lodging_loss: bool,
    /// Plots used.
    pub plots: usize,
    /// Plots with a yield that are left out for want of a protein content.
    pub without_protein: usize,
    /// Plots with a yield that are left out for want of a lodging score on the scale of the loss.
    pub without_lodging: usize,
    /// As in the group.
    pub response: Option<&'static str>,
    /// Net return at this optimum, in yield units at the base price.
    pub net_return: Option<f64>,
    /// The optimum of the family that then stands for the group.
    #[serde(flatten)]
    pub optimum: OptimumOf,
}

impl EconomyOf {
    /// Of a group with its optimum at the base price ratio.
    pub(super) fn of(fitted: &FittedGroup, base: Option<&GroupOptimum>, prices: &Prices, reason: Option<&str>) -> Self {
        let asked = &prices.economy;
        let decision = decision(fitted, base, prices.base.value);
        let why_none = match base {
            Some(_) => "a response is not shown",
            None => reason.unwrap_or("there is no curve"),
        };
        let at = |ratio: f64| fitted.outcome.as_ref().ok()?.optimum(ratio, prices.tolerance);
        let grid = asked.price_grid.iter().map(|cell| {
            let at = AtPrice::of(cell.price_ratio, at(cell.price_ratio), prices.level, reason);
            let net_return_money = at.net_return.map(|net_return| net_return * cell.grain);
            AtPrices { grain_price: cell.grain, n_price: cell.nitrogen, net_return_money, at }
        });
        let pass = asked.pass_cost.zip(asked.grain_price).map(|(cost, grain_price)| match &decision {
            Some(decision) => decision.pass(cost, grain_price),
            None => Pass::unknown(cost, grain_price, why_none),
        });
        let net_return = base.and_then(|optimum| optimum.net_return);
        Self {
            money_unit: asked.money_unit.clone(),
            net_return_money: net_return.zip(asked.grain_price).map(|(net_return, price)| net_return * price),
            price_grid: grid.collect(),
            pass,
            forgone: match &decision {
                Some(decision) => decision.forgone(&asked.forgone_at, asked.grain_price),
                None => asked.forgone_at.iter().map(|rate| not_forgone(fitted, *rate, why_none)).collect(),
            },
            sensitivity: decision
                .zip(asked.sensitivity_percent)
                .map(|(decision, percent)| decision.sensitivity(percent, asked.grain_price)),
            uncertain_prices: decision.zip(asked.draws.as_ref()).and_then(|(decision, draws)| decision.under(draws)),
            with_quality: None,
        }
    }
}

/// The curve that the optimum is read from, where a response is not in doubt.
fn decision<'f>(fitted: &'f FittedGroup, base: Option<&GroupOptimum>, price_ratio: f64) -> Option<Decision<'f>> {
    let curves = fitted.outcome.as_ref().ok()?;
    base.filter(|optimum| optimum.optimum.status != OptimumStatus::NotShown)?;
    Some(Decision::new(&curves.observations, curves.optimum_curve()?, price_ratio))
}

fn not_forgone(fitted: &FittedGroup, rate: f64, reason: &str) -> Forgone {
    let rates = || fitted.group.rates.iter().copied();
    let tested = rates().reduce(f64::min).zip(rates().reduce(f64::max));
    let is_outside = tested.is_none_or(|(lowest, highest)| !(lowest..=highest).contains(&rate));
    Forgone::unknown(rate, is_outside, reason)
}

impl WithQuality {
    /// Of a group whose yields are valued.
    pub(super) fn of(group: &QualityGroup, prices: &Prices) -> Self {
        let curves = group.fitted.outcome.as_ref();
        let optimum = curves.ok().and_then(|curves| curves.optimum(prices.base.value, prices.tolerance));
        let reason = match curves {
            Ok(curves) => curves.why_none_chosen().map(str::to_owned),
            Err(error) => Some(error.to_string()),
        };
        Self {
            protein_premium: group.premium,
            lodging_loss: group.lodging,
            plots: group.fitted.group.rates.len(),
            without_protein: group.without_protein,
            without_lodging: group.without_lodging,
            response: optimum.as_ref().and_then(|optimum| optimum.response).map(Response::name),
            net_return: optimum.as_ref().and_then(|optimum| optimum.net_return),
            optimum: OptimumOf::of_group(optimum.as_ref(), prices.level, reason.as_deref()),
        }
    }
}
