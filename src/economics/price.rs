//! Prices of grain and N products → the price ratio, in the programme's units.

use crate::crop::Crop;
use crate::trial::{NitrogenPrice, Prices, ResultUnits};
use crate::units::{BushelUnknown, MassUnit, NRateUnit, SQUARE_METRES_PER_ACRE, YieldUnit};

const HECTARES_PER_ACRE: f64 = SQUARE_METRES_PER_ACRE / 10_000.0;

/// Price of one rate unit of N ÷ price of one yield unit.
#[derive(Clone, Debug, PartialEq)]
pub struct PriceRatio {
    /// The ratio.
    pub value: f64,
    /// Its unit, as in *bu per lb*; `None` for bare columns without units.
    pub unit: Option<String>,
}

/// What a unit of N costs: the price of the product ÷ the N in it.
///
/// # Errors
/// [`BushelUnknown`] where the product is priced by the bushel of a crop without one.
pub fn price_per_mass_of_n(price: &NitrogenPrice, per: MassUnit, crop: &Crop) -> Result<f64, BushelUnknown> {
    let priced = price.per.kilograms(crop.pounds_per_bushel)?;
    let wanted = per.kilograms(crop.pounds_per_bushel)?;
    Ok(price.price * wanted / (priced * price.n_percent / 100.0))
}

/// What one yield unit brings, in the programme's currency per area unit of the yield.
///
/// # Errors
/// [`BushelUnknown`] where bushels are converted for a crop without a bushel weight.
pub fn price_per_yield_unit(prices: &Prices, units: &ResultUnits, crop: &Crop) -> Result<f64, BushelUnknown> {
    let per = prices.grain.per;
    if per == MassUnit::Bushel && units.yields == YieldUnit::BushelsPerAcre {
        return Ok(prices.grain.price);
    }
    let kilograms_per_hectare = units.yields.kilograms_per_hectare(crop.pounds_per_bushel)?;
    let per_hectare = prices.grain.price * kilograms_per_hectare / per.kilograms(crop.pounds_per_bushel)?;
    Ok(if units.yields.is_per_acre() { per_hectare * HECTARES_PER_ACRE } else { per_hectare })
}

/// The programme's price ratio.
///
/// # Errors
/// [`BushelUnknown`] where bushels are converted for a crop without a bushel weight.
pub fn price_ratio(prices: &Prices, units: &ResultUnits, crop: &Crop) -> Result<PriceRatio, BushelUnknown> {
    let per_kilogram_n = price_per_mass_of_n(&prices.nitrogen, MassUnit::Kilogram, crop)?;
    let rate_unit_per_hectare = per_kilogram_n * units.n_rate.kilograms_per_hectare();
    let per_kilogram_grain = prices.grain.price / prices.grain.per.kilograms(crop.pounds_per_bushel)?;
    let yield_unit_per_hectare = per_kilogram_grain * units.yields.kilograms_per_hectare(crop.pounds_per_bushel)?;
    Ok(PriceRatio { value: rate_unit_per_hectare / yield_unit_per_hectare, unit: Some(price_ratio_unit(units)) })
}

/// The price ratio of N at `nitrogen` for the mass of N in a rate unit and grain at `grain` for the mass in a yield unit. Where one is
/// counted on acres and the other on hectares, the area comes in.
#[must_use]
pub fn ratio_of_prices(nitrogen: f64, grain: f64, n_rate: Option<NRateUnit>, yields: Option<YieldUnit>) -> f64 {
    nitrogen * n_area_factor(n_rate, yields) / grain
}

/// Areas of N rates in one area of yields: 1 where either unit is not known.
fn n_area_factor(n_rate: Option<NRateUnit>, yields: Option<YieldUnit>) -> f64 {
    match (n_rate.map(NRateUnit::is_per_acre), yields.map(YieldUnit::is_per_acre)) {
        (Some(true), Some(false)) => 1.0 / HECTARES_PER_ACRE,
        (Some(false), Some(true)) => HECTARES_PER_ACRE,
        _ => 1.0,
    }
}

/// The unit of a price ratio: yield units that one rate unit of N costs.
#[must_use]
pub fn price_ratio_unit(units: &ResultUnits) -> String {
    if units.n_rate.is_per_acre() == units.yields.is_per_acre() {
        format!("{} per {} N", units.yields.mass_symbol(), units.n_rate.mass_symbol())
    } else {
        format!("{} per {} N", units.yields, units.n_rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trial::GrainPrice;
    use crate::units::MoisturePercent;
    use approx::assert_relative_eq;

    /// The references are printed to six decimals.
    const PRINTED: f64 = 1e-6;

    fn units(n_rate: NRateUnit, yields: YieldUnit) -> ResultUnits {
        ResultUnits { n_rate, yields, standard_moisture: MoisturePercent::new(13.5) }
    }

    #[test]
    fn the_price_of_n_follows_from_product_and_analysis() {
        // Urea at 560: Illinois Extension prints 0.61; urea 900 and anhydrous 1600: Purdue 2022 prints 0.98; digits by NumPy.
        let wheat = Crop::named("wheat");
        let cases =
            [(560.0, 46.0, 0.608_696), (900.0, 46.0, 0.978_261), (1600.0, 82.0, 0.975_610), (370.0, 34.0, 0.544_118)];
        for (price, n_percent, expected) in cases {
            let nitrogen = NitrogenPrice { price, per: MassUnit::ShortTon, n_percent, spread: None };
            let found = price_per_mass_of_n(&nitrogen, MassUnit::Pound, &wheat).unwrap();
            assert_relative_eq!(found, expected, max_relative = PRINTED);
        }
    }

    #[test]
    fn the_price_ratio_is_the_same_money_in_any_units() {
        let wheat = Crop::named("wheat");
        let prices = Prices::new(
            GrainPrice { price: 6.0, per: MassUnit::Bushel, spread: None },
            NitrogenPrice { price: 560.0, per: MassUnit::ShortTon, n_percent: 46.0, spread: None },
        );
        let us = price_ratio(&prices, &units(NRateUnit::PoundsPerAcre, YieldUnit::BushelsPerAcre), &wheat).unwrap();
        assert_relative_eq!(us.value, 560.0 / 920.0 / 6.0, max_relative = 1e-14);
        assert_eq!(us.unit.as_deref(), Some("bu per lb N"));
        // One kg of N costs as much as 1/0.45359237 lb; one kg of wheat is 1/(60·0.45359237) bu.
        let si = price_ratio(&prices, &units(NRateUnit::KilogramsPerHectare, YieldUnit::KilogramsPerHectare), &wheat)
            .unwrap();
        assert_relative_eq!(si.value, us.value * 60.0, max_relative = 1e-14);
    }

    #[test]
    fn a_ratio_of_two_prices_minds_the_areas() {
        let (us, si) = (NRateUnit::PoundsPerAcre, NRateUnit::KilogramsPerHectare);
        assert_eq!(ratio_of_prices(0.6, 6.0, Some(us), Some(YieldUnit::BushelsPerAcre)), 0.6 / 6.0);
        assert_eq!(ratio_of_prices(0.6, 6.0, None, None), 0.6 / 6.0);
        // The same prices as a programme's, where N is counted on hectares and grain on acres.
        let wheat = Crop::named("wheat");
        let nitrogen = NitrogenPrice { price: 1.32, per: MassUnit::Kilogram, n_percent: 100.0, spread: None };
        let prices = Prices::new(GrainPrice { price: 6.0, per: MassUnit::Bushel, spread: None }, nitrogen);
        for (n_rate, yields) in [(si, YieldUnit::BushelsPerAcre), (si, YieldUnit::KilogramsPerHectare)] {
            let grain = price_per_yield_unit(&prices, &units(n_rate, yields), &wheat).unwrap();
            let expected = price_ratio(&prices, &units(n_rate, yields), &wheat).unwrap().value;
            assert_relative_eq!(
                ratio_of_prices(1.32, grain, Some(n_rate), Some(yields)),
                expected,
                max_relative = 1e-14
            );
        }
    }

    #[test]
    fn a_yield_unit_brings_what_the_grain_price_says() {
        let wheat = Crop::named("wheat");
        let prices = Prices::new(
            GrainPrice { price: 6.0, per: MassUnit::Bushel, spread: None },
            NitrogenPrice { price: 1.0, per: MassUnit::Pound, n_percent: 100.0, spread: None },
        );
        let bushels =
            price_per_yield_unit(&prices, &units(NRateUnit::PoundsPerAcre, YieldUnit::BushelsPerAcre), &wheat);
        assert_eq!(bushels, Ok(6.0));
        let pounds =
            price_per_yield_unit(&prices, &units(NRateUnit::PoundsPerAcre, YieldUnit::PoundsPerAcre), &wheat).unwrap();
        assert_relative_eq!(pounds, 0.1, max_relative = 1e-14);
    }
}
