//! Numbers that no field gives, whatever the crop: far beyond what was ever measured, so that only a slip of unit or typing makes
//! them. All are common practice, set well above the highest that is plausible.

use super::cell::Cell;
use crate::finding::Finding;
use crate::units::{NRate, NRateUnit};

/// Highest N rate of one application, kg/ha: the richest reference strips have some 400.
pub(super) const N_RATE: f64 = 1000.0;
/// Highest yield, Mg/ha: sugarcane reaches some 150 of fresh weight.
pub(super) const YIELD: f64 = 200.0;
/// Shortest and longest side of what was harvested from a plot, m.
pub(super) const SIDE: (f64, f64) = (0.1, 1000.0);
/// Highest leaf chlorophyll reading: meters show two digits and a decimal, some of them a little more than 100.
pub(super) const LEAF_READING: f64 = 150.0;
/// Highest number of any column of a quick look, where units are not known.
pub(super) const ANY: f64 = 1e9;

/// Refuses an N rate that no field was ever given: what it is, and what would be right.
pub(super) fn n_rate(rate: NRate) -> Result<(), (String, String)> {
    let kilograms = rate.in_unit(NRateUnit::KilogramsPerHectare);
    if kilograms <= N_RATE {
        return Ok(());
    }
    let remedy = format!("at most {N_RATE} kg/ha is believed: correct the number or its unit");
    Err((format!("this is {} kg of N a hectare", kilograms.round()), remedy))
}

/// Refuses a harvest in Mg/ha that no crop ever gave.
pub(super) fn harvested(megagrams: f64) -> Result<(), (String, String)> {
    if megagrams <= YIELD {
        return Ok(());
    }
    let remedy = format!("at most {YIELD} Mg/ha is believed of any crop: correct the number, its unit or the area");
    Err((format!("this is {} Mg a hectare", megagrams.round()), remedy))
}

/// Refuses a number in a column whose unit is not known.
pub(super) fn any(cell: &Cell, value: Option<f64>) -> Result<Option<f64>, Finding> {
    match value {
        Some(value) if value > ANY => Err(cell
            .error("out-of-range", format!("{} is too large to be believed", cell.text))
            .remedy("correct the number, or leave the cell empty if it is missing")),
        value => Ok(value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_field_gives_is_refused_and_what_a_rich_one_gives_is_not() {
        assert!(n_rate(NRate::new(891.0, NRateUnit::PoundsPerAcre)).is_ok(), "999 kg/ha");
        assert!(n_rate(NRate::new(900.0, NRateUnit::PoundsPerAcre)).is_err(), "1009 kg/ha");
        assert!(harvested(150.0).is_ok() && harvested(201.0).is_err());
    }
}
