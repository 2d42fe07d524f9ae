//! Prices in money, and what is asked of them beside the optimum.

use super::price::price_per_yield_unit;
use super::uncertain::{PRICE_DRAWS, PriceDraws, UncertainPrice};
use crate::trial::Programme;
use crate::units::AreaUnit;

/// Prices in money, and what is asked of them beside the optimum. By default no money is known and nothing more is asked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Economy {
    /// What a yield unit brings, in money; `None` where only a price ratio is known.
    pub grain_price: Option<f64>,
    /// Money over an area unit of the yield, as in *USD/ac*, where it has a name.
    pub money_unit: Option<String>,
    /// What one pass costs, in money over an area unit of the yield.
    pub pass_cost: Option<f64>,
    /// Rates whose forgone return is asked.
    pub forgone_at: Vec<f64>,
    /// Further prices in every combination, by price of grain, then of N; empty without any.
    pub price_grid: Vec<GridPrices>,
    /// By how many per cent each price is moved, where that is asked.
    pub sensitivity_percent: Option<f64>,
    /// Prices that are not known yet, drawn.
    pub draws: Option<PriceDraws>,
}

/// Two prices of a grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GridPrices {
    /// Money for a yield unit of grain.
    pub grain: f64,
    /// Money for the N in a rate unit, or for its product, as it was typed.
    pub nitrogen: f64,
    /// The price ratio that they make.
    pub price_ratio: f64,
}

impl Economy {
    /// What a programme's prices say, with the price ratio that is in force. Where that is not the one of the prices (`is_own_ratio`
    /// false) nothing is known of how the price of N may turn out, and no prices are drawn.
    #[must_use]
    pub fn of_programme(programme: &Programme, price_ratio: f64, is_own_ratio: bool, seed: u64) -> Self {
        let units = &programme.units;
        let area = units.yields.area_symbol();
        let money_unit = Some(format!("{}/{area}", programme.currency));
        let known = programme.prices.as_ref().and_then(|prices| {
            let grain_price = price_per_yield_unit(prices, units, &programme.crop).ok()?;
            Some((prices, grain_price))
        });
        let Some((prices, grain_price)) = known else { return Self { money_unit, ..Self::default() } };
        let area = if units.yields.is_per_acre() { AreaUnit::Acre } else { AreaUnit::Hectare };
        // Of the same area the quotient is 1 exactly, and the cost stays as typed.
        let pass_cost = prices.pass_cost.map(|cost| cost.price * (area.hectares() / cost.per.hectares()));
        let is_uncertain = prices.grain.spread.is_some() || prices.nitrogen.spread.is_some();
        let draws = (is_uncertain && is_own_ratio).then(|| {
            let grain = UncertainPrice { price: prices.grain.price, spread: prices.grain.spread };
            let nitrogen = UncertainPrice { price: prices.nitrogen.price, spread: prices.nitrogen.spread };
            let n_price = price_ratio * grain_price;
            PriceDraws::new(
                grain.scaled(grain_price / grain.price),
                nitrogen.scaled(n_price / nitrogen.price),
                PRICE_DRAWS,
                seed,
            )
        });
        Self { grain_price: Some(grain_price), money_unit, pass_cost, draws, ..Self::default() }
    }
}
