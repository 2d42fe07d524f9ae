//! The two forms readings are kept in: a column a sensing date, or a row a reading.

use jiff::civil::Date;

use super::cell::{Cell, keep};
use super::descriptor::{Document, Supplied, Typed};
use super::plots::{column, rows_that_meet};
use super::table::{Column, DataTable};
use super::trial_descriptor::{LongForm, ReadingColumn};
use crate::finding::Finding;
use crate::trial::{GrowthStage, Instrument};

/// One reading with its cell.
pub(super) struct One<'t> {
    pub(super) cell: Cell<'t>,
    /// Position of its row in the table.
    pub(super) row: usize,
    pub(super) date: Date,
    pub(super) stage: Option<GrowthStage>,
    pub(super) leaf: Option<u32>,
    pub(super) value: f64,
}

/// A reading that its instrument can give; `None` where the cell is missing.
fn value(cell: &Cell, instrument: Instrument) -> Result<Option<f64>, Finding> {
    let Some(value) = cell.number()? else { return Ok(None) };
    let (possible, range) = match instrument {
        Instrument::CanopyNdvi => ((-1.0..=1.0).contains(&value), "NDVI lies from -1 to 1"),
        Instrument::LeafChlorophyll => (value >= 0.0, "a leaf chlorophyll reading is 0 or more"),
    };
    if possible {
        return Ok(Some(value));
    }
    let text = format!("{} is no {} reading", cell.text, instrument.name());
    Err(cell.error("out-of-range", text).remedy(format!("{range}; leave the cell empty if it is missing")))
}

/// The readings of one sensing date, kept in a column; missing cells are no readings.
pub(super) fn wide<'t>(
    document: &Document,
    table: &'t DataTable,
    instrument: Instrument,
    form: &ReadingColumn,
    findings: &mut Vec<Finding>,
) -> Vec<One<'t>> {
    let Some(column) = keep(column(document, table, &form.column), findings) else { return Vec::new() };
    let mut readings = Vec::new();
    for (row, cell) in column.cells().enumerate() {
        if let Some(Some(value)) = keep(value(&cell, instrument), findings) {
            readings.push(One { cell, row, date: form.date, stage: form.stage.clone(), leaf: None, value });
        }
    }
    readings
}

/// The readings kept a row each, of the rows that meet the condition; missing values are no readings.
pub(super) fn long<'t>(
    document: &Document,
    table: &'t DataTable,
    instrument: Instrument,
    form: &LongForm,
    findings: &mut Vec<Finding>,
) -> Option<Vec<One<'t>>> {
    let rows = match &form.condition {
        Some(condition) => keep(rows_that_meet(document, table, condition), findings),
        None => Some(vec![true; table.len()]),
    };
    let mut named = |name: &Typed<String>| keep(column(document, table, name), findings);
    let values = named(&form.value);
    let leaves = form.leaf.as_ref().map(&mut named);
    let dates = Role::of(&form.date, &mut named);
    let stages = form.stage.as_ref().map(|stage| Role::of(stage, &mut named));
    let (values, dates) = (values?, dates?);
    let leaves = if let Some(leaves) = leaves { Some(leaves?) } else { None };
    let stages = if let Some(stages) = stages { Some(stages?) } else { None };
    let mut readings = Vec::new();
    for (row, cell) in values.cells().enumerate().zip(rows?).filter_map(|(cell, meets)| meets.then_some(cell)) {
        let reading = value(&cell, instrument);
        let date = dates.at(row, |cell| cell.date());
        let stage = stages.as_ref().map_or(Ok(None), |stages| match stages {
            Role::Same(stage) => Ok(Some(stage.clone())),
            Role::Column(column) => column.cell(row).map_or(Ok(None), |cell| cell.stage()),
        });
        let leaf = leaves.and_then(|leaves| leaves.cell(row)).map_or(Ok(None), |cell| cell.count());
        // Each is kept first, so that every fault of the row is reported.
        let (reading, date) = (keep(reading, findings), keep(date, findings));
        let (stage, leaf) = (keep(stage, findings), keep(leaf, findings));
        if let (Some(Some(value)), Some(Some(date)), Some(stage), Some(leaf)) = (reading, date, stage, leaf) {
            readings.push(One { cell, row, date, stage, leaf, value });
        }
    }
    Some(readings)
}

/// A role whose column was found.
enum Role<'t, T> {
    Column(Column<'t>),
    Same(T),
}

impl<'t, T: Clone> Role<'t, T> {
    fn of(supplied: &Supplied<T>, named: impl FnOnce(&Typed<String>) -> Option<Column<'t>>) -> Option<Self> {
        match supplied {
            Supplied::Column(name) => named(name).map(Self::Column),
            Supplied::Same(value) => Some(Self::Same(value.value.clone())),
        }
    }

    /// The value in one row, counted from 0; `None` below the last.
    fn at(&self, row: usize, read: impl FnOnce(Cell<'t>) -> Result<T, Finding>) -> Result<Option<T>, Finding> {
        match self {
            Self::Same(value) => Ok(Some(value.clone())),
            Self::Column(column) => column.cell(row).map(read).transpose(),
        }
    }
}
