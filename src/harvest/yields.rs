//! Plot yields at standard moisture, and what became of each.

use crate::crop::Crop;
use crate::trial::{Excluded, Harvest, Plot, ResultUnits, Trial};
use crate::units::{BushelUnknown, MoisturePercent, Yield, YieldUnit};

/// A yield brought from one moisture to another; 1 exactly where the two are the same.
#[must_use]
pub fn moisture_factor(from: MoisturePercent, to: MoisturePercent) -> f64 {
    from.dry_matter_percent() / to.dry_matter_percent()
}

/// A harvest in the programme's yield unit at its standard moisture.
///
/// A harvest without a stated moisture, or a programme without a standard one, is left as it stands.
///
/// # Errors
/// [`BushelUnknown`] where bushels are wanted, or given, for a crop without a bushel weight.
pub fn yield_at_standard_moisture(harvest: &Harvest, crop: &Crop, units: &ResultUnits) -> Result<f64, BushelUnknown> {
    let (quantity, moisture) = quantity_and_moisture(harvest);
    let as_stood = quantity.in_unit(units.yields, crop.pounds_per_bushel)?;
    Ok(match (moisture, units.standard_moisture) {
        (Some(from), Some(to)) => as_stood * moisture_factor(from, to),
        _ => as_stood,
    })
}

fn quantity_and_moisture(harvest: &Harvest) -> (Yield, Option<MoisturePercent>) {
    match *harvest {
        Harvest::Yield { quantity, moisture } => (quantity, moisture),
        Harvest::Weight { kilograms, square_metres, moisture, .. } => {
            (Yield::new(kilograms / square_metres * 10_000.0, YieldUnit::KilogramsPerHectare), moisture)
        }
    }
}

/// What became of a plot's yield.
#[derive(Clone, Debug, PartialEq)]
pub enum PlotYield {
    /// It is used: the yield in the programme's unit at its standard moisture.
    Used(f64),
    /// The cell was missing.
    Missing,
    /// It was left out, with the reason.
    Excluded(String),
}

impl PlotYield {
    /// The yield, where it is used.
    #[must_use]
    pub fn used(&self) -> Option<f64> {
        match self {
            Self::Used(value) => Some(*value),
            _ => None,
        }
    }
}

/// What became of the yield of every plot of a trial, in the order of its plots.
///
/// # Errors
/// [`BushelUnknown`] as in [`yield_at_standard_moisture`].
pub fn plot_yields(trial: &Trial, crop: &Crop, units: &ResultUnits) -> Result<Vec<PlotYield>, BushelUnknown> {
    trial.plots.iter().map(|plot| plot_yield(plot, crop, units)).collect()
}

fn plot_yield(plot: &Plot, crop: &Crop, units: &ResultUnits) -> Result<PlotYield, BushelUnknown> {
    if let Some(reason) = plot.excluded(Excluded::Yield) {
        return Ok(PlotYield::Excluded(reason.to_owned()));
    }
    match &plot.harvest {
        Some(harvest) => yield_at_standard_moisture(harvest, crop, units).map(PlotYield::Used),
        None => Ok(PlotYield::Missing),
    }
}

/// The yield of every plot that was harvested, left out or not, in the programme's unit at its standard moisture; `None` where the cell
/// was missing, or where the moisture of this plot alone is: as it stood it would not compare with the others.
///
/// # Errors
/// [`BushelUnknown`] as in [`yield_at_standard_moisture`].
pub fn yields_with_excluded(
    trial: &Trial,
    crop: &Crop,
    units: &ResultUnits,
) -> Result<Vec<Option<f64>>, BushelUnknown> {
    let moisture_is_known = trial.plots.iter().any(|plot| plot.harvest.and_then(Harvest::moisture).is_some());
    let measured = |plot: &Plot| {
        let harvest = plot.harvest.filter(|harvest| harvest.moisture().is_some() || !moisture_is_known);
        harvest.map(|harvest| yield_at_standard_moisture(&harvest, crop, units)).transpose()
    };
    trial.plots.iter().map(measured).collect()
}

/// Dry matter of a harvest, kg/ha; `None` where its moisture is not known.
///
/// # Errors
/// [`BushelUnknown`] where bushels were given for a crop without a bushel weight.
pub fn dry_matter(harvest: &Harvest, crop: &Crop) -> Result<Option<f64>, BushelUnknown> {
    let Some(moisture) = harvest.moisture() else { return Ok(None) };
    let (quantity, _) = quantity_and_moisture(harvest);
    let as_stood = quantity.in_unit(YieldUnit::KilogramsPerHectare, crop.pounds_per_bushel)?;
    Ok(Some(as_stood * moisture.dry_matter_percent() / 100.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{KILOGRAMS_PER_POUND, NRateUnit};
    use approx::assert_relative_eq;

    /// The references carry seven significant digits.
    const PRINTED: f64 = 1e-7;

    fn wheat(yields: YieldUnit) -> (Crop, ResultUnits) {
        let crop = Crop::named("wheat");
        let standard_moisture = crop.standard_moisture_percent.and_then(MoisturePercent::new);
        (crop, ResultUnits { n_rate: NRateUnit::PoundsPerAcre, yields, standard_moisture })
    }

    #[test]
    fn drying_keeps_the_dry_matter() {
        // Mulvaney & Devkota 2020: 10 000 lb at 20 % is 9 467.456 lb at 15.5 %; 9 240 would be the usual slip.
        let moisture = |percent| MoisturePercent::new(percent).unwrap();
        assert_relative_eq!(
            10_000.0 * moisture_factor(moisture(20.0), moisture(15.5)),
            9_467.456,
            max_relative = PRINTED
        );
    }

    #[test]
    fn bushels_at_one_moisture_become_bushels_and_kilograms_at_standard_moisture() {
        // Computed with NumPy from the legal bushel and the moisture formula.
        let harvest = Harvest::Yield {
            quantity: Yield::new(72.0, YieldUnit::BushelsPerAcre),
            moisture: MoisturePercent::new(12.0),
        };
        for (unit, expected) in [(YieldUnit::BushelsPerAcre, 73.248_55), (YieldUnit::KilogramsPerHectare, 4_926.044)] {
            let (crop, units) = wheat(unit);
            let found = yield_at_standard_moisture(&harvest, &crop, &units).unwrap();
            assert_relative_eq!(found, expected, max_relative = PRINTED);
        }
    }

    #[test]
    fn a_weighed_plot_becomes_a_yield() {
        // 8.40 lb from 5 ft × 20 ft at 14.2 %, computed with NumPy.
        let harvest = Harvest::Weight {
            typed: 8.40,
            kilograms: 8.40 * KILOGRAMS_PER_POUND,
            square_metres: 5.0 * 20.0 * 0.3048 * 0.3048,
            moisture: MoisturePercent::new(14.2),
        };
        for (unit, expected) in [(YieldUnit::BushelsPerAcre, 60.490_5), (YieldUnit::KilogramsPerHectare, 4_068.05)] {
            let (crop, units) = wheat(unit);
            let found = yield_at_standard_moisture(&harvest, &crop, &units).unwrap();
            assert_relative_eq!(found, expected, max_relative = 1e-6); // printed to six digits
        }
    }

    #[test]
    fn a_yield_at_standard_moisture_stays_as_typed() {
        let (crop, units) = wheat(YieldUnit::BushelsPerAcre);
        let harvest = Harvest::Yield {
            quantity: Yield::new(61.7, YieldUnit::BushelsPerAcre),
            moisture: MoisturePercent::new(13.5),
        };
        assert_eq!(yield_at_standard_moisture(&harvest, &crop, &units), Ok(61.7));
    }
}
