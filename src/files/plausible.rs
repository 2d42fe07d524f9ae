//! Numbers that no field gives, whatever the crop: far beyond what was ever measured, so that only a slip of unit or typing makes
//! them. All are common practice, set well above the highest that is plausible.

use super::cell::Cell;
use crate::finding::Finding;
use crate::units::{NRate, NRateUnit, Yield, YieldUnit};

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

/// Refuses an N rate that no field was ever given.
pub(super) fn n_rate(cell: &Cell, rate: NRate) -> Result<NRate, Finding> {
    let kilograms = rate.in_unit(NRateUnit::KilogramsPerHectare);
    if kilograms <= N_RATE {
        return Ok(rate);
    }
    let text = format!("an N rate of {} is {} kg of N a hectare", cell.text, rounded(kilograms));
    Err(cell.error("out-of-range", text).remedy(format!("at most {N_RATE} kg/ha is believed: correct the number or its unit")))
}

/// Refuses a yield that no crop ever gave; `pounds_per_bushel` where yields are in bushels.
pub(super) fn harvested(cell: &Cell, quantity: Yield, pounds_per_bushel: Option<f64>) -> Result<(), Finding> {
    match quantity.in_unit(YieldUnit::MegagramsPerHectare, pounds_per_bushel) {
        Ok(megagrams) if megagrams > YIELD => {
            let text = format!("a yield of {} is {} Mg/ha", cell.text, rounded(megagrams));
            let remedy = format!("at most {YIELD} Mg/ha is believed of any crop: correct the number or its unit");
            Err(cell.error("out-of-range", text).remedy(remedy))
        }
        _ => Ok(()),
    }
}

/// A number in a column whose unit is not known.
pub(super) fn any(cell: &Cell, value: Option<f64>) -> Result<Option<f64>, Finding> {
    match value {
        Some(value) if value.abs() > ANY => Err(cell
            .error("out-of-range", format!("{} is too large to be believed", cell.text))
            .remedy("correct the number, or leave the cell empty if it is missing")),
        value => Ok(value),
    }
}

fn rounded(value: f64) -> f64 {
    value.round()
}
