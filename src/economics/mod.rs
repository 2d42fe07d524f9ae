//! Prices, the price ratio, net return and the near-optimum range; what a curve says of a decision, under prices that are known and under
//! prices that are not; grain quality as yield.

mod decision;
mod economy;
mod optimum;
mod price;
mod quality;
mod uncertain;

#[cfg(test)]
mod tests;

pub use decision::{AtMovedPrice, Better, Decision, Forgone, MovedPrice, Pass, PriceMoved, Sensitivity};
pub use economy::{Economy, GridPrices};
pub use optimum::{NearOptimum, Tolerance, forgone_return, near_optimum, net_return};
pub use price::{
    PriceRatio, price_per_mass_of_n, price_per_yield_unit, price_ratio, price_ratio_unit, ratio_of_prices,
};
pub use quality::{QualityPrices, QualityUnknown, premium_of};
pub use uncertain::{Distribution, PRICE_DRAWS, PriceDraws, UncertainOptimum, UncertainPrice};
