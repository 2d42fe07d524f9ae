//! Amounts in kg and ha as the programme's units have them.

use crate::trial::Programme;
use crate::units::{NRateUnit, YieldUnit};

/// The units of yields, N rates and efficiencies.
#[derive(Clone, Copy, Debug)]
pub(super) struct YieldUnits {
    pub(super) n_rate: NRateUnit,
    yields: YieldUnit,
    pounds_per_bushel: Option<f64>,
}

impl YieldUnits {
    pub(super) fn of(programme: &Programme) -> Self {
        let units = programme.units;
        Self { n_rate: units.n_rate, yields: units.yields, pounds_per_bushel: programme.crop.pounds_per_bushel }
    }

    /// Rate units in a kg/ha.
    pub(super) fn rates_per_kg_ha(&self) -> f64 {
        1.0 / self.n_rate.kilograms_per_hectare()
    }

    /// Yield units in a kg/ha. A programme in bushels is only read for a crop whose bushel is known; without one there is no yield to bring
    /// to this unit.
    pub(super) fn yields_per_kg_ha(&self) -> f64 {
        1.0 / self.yields.kilograms_per_hectare(self.pounds_per_bushel).unwrap_or(f64::NAN)
    }

    /// Yield units for a rate unit in a kg/kg.
    pub(super) fn efficiencies_per_kg_kg(&self) -> f64 {
        self.yields_per_kg_ha() / self.rates_per_kg_ha()
    }

    /// The unit of grain for N: *bu/lb* where both count on the same area.
    pub(super) fn efficiency_unit(&self) -> String {
        if self.n_rate.is_per_acre() == self.yields.is_per_acre() {
            format!("{}/{}", self.yields.mass_symbol(), self.n_rate.mass_symbol())
        } else {
            format!("({})/({})", self.yields, self.n_rate)
        }
    }
}
