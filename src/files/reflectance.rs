//! NDVI from red and near-infrared reflectance: (near infrared − red) ÷ (near infrared + red).

use super::cell::{Cell, keep};
use super::descriptor::Document;
use super::plots::column;
use super::readings_descriptor::ValueColumns;
use super::table::{Column, CutRow, DataTable};
use crate::finding::Finding;

/// Reflectance as a fraction is at most this; a column that goes higher is in per cent.
const FRACTION: f64 = 1.0;
/// Reflectance in per cent is at most this.
const PER_CENT: f64 = 100.0;

/// The columns that the value of a reading is read from, found in a file.
#[derive(Clone, Copy)]
pub(super) enum Values<'t> {
    /// The reading itself.
    Value(Column<'t>),
    /// Red and near-infrared reflectance.
    Reflectance { red: Column<'t>, near_infrared: Column<'t> },
}

impl<'t> Values<'t> {
    /// Finds the columns. Reflectances in which one is a fraction and the other in per cent are refused: their NDVI would be near −1 or 1.
    pub(super) fn find(
        document: &Document,
        table: &'t DataTable,
        value: &ValueColumns,
        findings: &mut Vec<Finding>,
    ) -> Option<Self> {
        let mut named = |name| keep(column(document, table, name), findings);
        match value {
            ValueColumns::Value(name) => named(name).map(Self::Value),
            ValueColumns::Reflectance { red, near_infrared } => {
                let columns = (named(red), named(near_infrared));
                let (red_column, near_infrared_column) = (columns.0?, columns.1?);
                let highest =
                    |column: Column<'t>| column.cells().filter_map(|cell| cell.plain_number()).reduce(f64::max);
                let (of_red, of_near_infrared) = (highest(red_column)?, highest(near_infrared_column)?);
                if (of_red <= FRACTION) != (of_near_infrared <= FRACTION) {
                    let scale = |highest: f64| if highest <= FRACTION { "a fraction" } else { "in per cent" };
                    let text = format!(
                        "red goes up to {of_red} and near-infrared up to {of_near_infrared}: one is {}, the other {}",
                        scale(of_red),
                        scale(of_near_infrared)
                    );
                    let fault = document.fault("reflectance-scale", red, text);
                    findings.push(fault.remedy("write both as fractions from 0 to 1, or both in per cent"));
                    return None;
                }
                Some(Self::Reflectance { red: red_column, near_infrared: near_infrared_column })
            }
        }
    }

    /// What stands in a row: the reading, or the NDVI of its reflectances; `None` where it is missing. `read` takes the cell of a
    /// reading.
    pub(super) fn within(
        self,
        row: &CutRow<'t>,
        read: impl FnOnce(&Cell<'t>) -> Result<Option<f64>, Finding>,
    ) -> Result<Option<f64>, Finding> {
        match self {
            Self::Value(column) => read(&column.within(row)),
            Self::Reflectance { red, near_infrared } => ndvi(&red.within(row), &near_infrared.within(row)),
        }
    }
}

/// NDVI of two cells; `None` where both are missing.
///
/// # Errors
/// One missing beside the other; a reflectance below 0 or above 100 %; no light at all, whose ratio is none.
fn ndvi(red: &Cell<'_>, near_infrared: &Cell<'_>) -> Result<Option<f64>, Finding> {
    let (of_red, of_near_infrared) = match (reflectance(red)?, reflectance(near_infrared)?) {
        (Some(of_red), Some(of_near_infrared)) => (of_red, of_near_infrared),
        (None, None) => return Ok(None),
        (of_red, _) => {
            let (missing, there) = if of_red.is_none() { (red, near_infrared) } else { (near_infrared, red) };
            let text = format!("the reflectance is missing, while {} has {}", there.column, there.text);
            return Err(missing
                .error("missing-cell", text)
                .remedy("NDVI needs both: fill in the cell, or leave both empty if there is no reading"));
        }
    };
    let sum = of_near_infrared + of_red;
    if sum <= 0.0 {
        let text = format!("{} and {} are both 0: without light there is no NDVI", red.column, near_infrared.column);
        return Err(red.error("out-of-range", text).remedy("leave both cells empty if there is no reading"));
    }
    Ok(Some((of_near_infrared - of_red) / sum))
}

fn reflectance(cell: &Cell<'_>) -> Result<Option<f64>, Finding> {
    match cell.number()? {
        Some(value) if !(0.0..=PER_CENT).contains(&value) => Err(cell
            .error("out-of-range", format!("a reflectance of {} is impossible", cell.text))
            .remedy("from 0 to 1 as a fraction, from 0 to 100 in per cent; leave the cell empty if it is missing")),
        value => Ok(value),
    }
}
