//! Prices, the price ratio, net return and the near-optimum range.

mod optimum;
mod price;

pub use optimum::{NearOptimum, Tolerance, forgone_return, near_optimum, net_return};
pub use price::{PriceRatio, price_per_mass_of_n, price_per_yield_unit, price_ratio, price_ratio_unit};
