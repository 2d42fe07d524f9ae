//! The prices that a price ratio is the ratio of.

use crate::economics::{price_per_mass_of_n, price_per_yield_unit, price_ratio};
use crate::rate_table::Money;
use crate::trial::Programme;
use crate::units::{MassUnit, NRateUnit};

/// Prices that were computed twice differ by rounding only.
const ROUNDING: f64 = 1e-12;

/// The programme's prices per rate unit and yield unit, where this ratio is theirs.
pub(super) fn money(programme: &Programme, ratio: f64) -> Option<Money> {
    let prices = programme.prices.as_ref()?;
    let (units, crop) = (&programme.units, &programme.crop);
    let of_prices = price_ratio(prices, units, crop).ok()?.value;
    if (of_prices - ratio).abs() > ROUNDING * ratio {
        return None;
    }
    let mass_of_n = match units.n_rate {
        NRateUnit::PoundsPerAcre => MassUnit::Pound,
        NRateUnit::KilogramsPerHectare => MassUnit::Kilogram,
    };
    let currency = &programme.currency;
    Some(Money {
        crop: price_per_yield_unit(prices, units, crop).ok()?,
        crop_unit: format!("{currency} per {}", units.yields.mass_symbol()),
        nitrogen: price_per_mass_of_n(&prices.nitrogen, mass_of_n, crop).ok()?,
        nitrogen_unit: format!("{currency} per {} N", units.n_rate.mass_symbol()),
    })
}
