//! The forms readings are kept in: a column a sensing date, or a row a reading.

use std::sync::{Mutex, PoisonError};

use jiff::civil::Date;
use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};

use super::cell::{Cell, keep};
use super::descriptor::{Document, Supplied, Typed};
use super::join::{Found, KeyIndex, UNKNOWN};
use super::plausible;
use super::plots::{column, rows_that_meet};
use super::table::{Column, DataTable};
use super::trial_descriptor::{LongForm, ReadingColumn};
use crate::finding::Finding;
use crate::trial::{GrowthStage, Instrument};

/// The place of a row that gives no reading.
const NOTHING: Found =
    Found { plot: UNKNOWN, row: 0, origin: u32::MAX, day: Date::ZERO, stage: 0, leaf: 0, value: 0.0 };

/// The readings of one column.
#[derive(Default)]
pub(super) struct Forms {
    /// Of origin 0 and with their own numbering of stages. A reading in walking order has no plot yet, and may be missing: its value
    /// is then no number.
    pub(super) found: Vec<Found>,
    pub(super) stages: Vec<GrowthStage>,
}

/// How a row tells its plot.
#[derive(Clone, Copy)]
pub(super) enum Keys<'t, 'k> {
    /// By its cells in these columns, among the plots of the index where there is one.
    Columns(&'k [Column<'t>], Option<&'k KeyIndex>),
    /// By its place in the walk.
    Walk,
}

/// A reading that its instrument can give; `None` where the cell is missing.
fn value(cell: &Cell, instrument: Instrument) -> Result<Option<f64>, Finding> {
    let Some(value) = cell.number()? else { return Ok(None) };
    let (lowest, highest, what) = match instrument {
        Instrument::CanopyNdvi => (-1.0, 1.0, "NDVI"),
        Instrument::LeafChlorophyll => (0.0, plausible::LEAF_READING, "a leaf chlorophyll reading"),
    };
    if (lowest..=highest).contains(&value) {
        return Ok(Some(value));
    }
    let text = format!("{} is no {} reading", cell.text, instrument.name());
    Err(cell
        .error("out-of-range", text)
        .remedy(format!("{what} lies from {lowest} to {highest}; leave the cell empty if it is missing")))
}

/// The readings of one sensing date, kept in a column; missing cells are no readings.
pub(super) fn wide(
    document: &Document,
    table: &DataTable,
    instrument: Instrument,
    form: &ReadingColumn,
    keys: Keys,
    findings: &mut Vec<Finding>,
) -> Forms {
    let Some(column) = keep(column(document, table, &form.column), findings) else { return Forms::default() };
    let roles = Roles {
        instrument,
        values: column,
        leaves: None,
        dates: Role::Same(form.date),
        stages: form.stage.clone().map(Role::Same),
    };
    roles.read_all(table.len(), None, keys, findings)
}

/// The readings kept a row each, of the rows that meet the condition; missing values are no readings.
pub(super) fn long(
    document: &Document,
    table: &DataTable,
    instrument: Instrument,
    form: &LongForm,
    keys: Keys,
    findings: &mut Vec<Finding>,
) -> Option<Forms> {
    let rows = match &form.condition {
        Some(condition) => keep(rows_that_meet(document, table, condition), findings).map(Some),
        None => Some(None),
    };
    let mut named = |name: &Typed<String>| keep(column(document, table, name), findings);
    let values = named(&form.value);
    let leaves = form.leaf.as_ref().map(&mut named);
    let dates = Role::of(&form.date, &mut named);
    let stages = form.stage.as_ref().map(|stage| Role::of(stage, &mut named));
    let (values, dates) = (values?, dates?);
    let leaves = if let Some(leaves) = leaves { Some(leaves?) } else { None };
    let stages = if let Some(stages) = stages { Some(stages?) } else { None };
    let roles = Roles { instrument, values, leaves, dates, stages };
    Some(roles.read_all(table.len(), rows?.as_deref(), keys, findings))
}

/// The columns that a reading is made from.
struct Roles<'t> {
    instrument: Instrument,
    values: Column<'t>,
    leaves: Option<Column<'t>>,
    dates: Role<'t, Date>,
    stages: Option<Role<'t, GrowthStage>>,
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
}

/// What a cell was read as, for the cells below it that say the same.
struct Last<'t, T> {
    text: Option<&'t str>,
    value: T,
}

impl<'t, T: Copy> Last<'t, T> {
    fn new(value: T) -> Self {
        Self { text: None, value }
    }

    fn or_read(&mut self, cell: &Cell<'t>, read: impl FnOnce(&Cell<'t>) -> Result<T, Finding>) -> Result<T, Finding> {
        if self.text != Some(cell.text) {
            self.value = read(cell)?;
            self.text = Some(cell.text);
        }
        Ok(self.value)
    }
}

/// What one thread remembers of the rows above.
struct Above<'t> {
    day: Last<'t, Date>,
    stage: Last<'t, u32>,
    plot: Last<'t, u32>,
    key: String,
}

/// What all threads bring together: the stages that were met, and the faults of each row.
#[derive(Default)]
struct Shared {
    stages: Mutex<Vec<GrowthStage>>,
    faults: Mutex<Vec<(usize, Vec<Finding>)>>,
}

impl Shared {
    fn stage(&self, stage: &GrowthStage) -> u32 {
        intern(&mut self.stages.lock().unwrap_or_else(PoisonError::into_inner), stage)
    }
}

impl<'t> Roles<'t> {
    /// Every row, by all cores; in the order of the rows.
    fn read_all(&self, rows: usize, met: Option<&[bool]>, keys: Keys<'t, '_>, findings: &mut Vec<Finding>) -> Forms {
        let shared = Shared::default();
        let same_day = match &self.dates {
            Role::Same(day) => *day,
            Role::Column(_) => Date::ZERO,
        };
        let same_stage = match &self.stages {
            Some(Role::Same(stage)) => shared.stage(stage),
            _ => 0,
        };
        let above = || Above {
            day: Last::new(same_day),
            stage: Last::new(same_stage),
            plot: Last::new(UNKNOWN),
            key: String::new(),
        };
        // A row that gives no reading keeps its place until all are read, so that each thread writes where its rows are.
        let nothing = |row: usize| Found { row: row as u32, ..NOTHING };
        let mut found: Vec<Found> = (0..rows)
            .into_par_iter()
            .map_init(above, |above, row| {
                if met.is_some_and(|met| met.get(row) != Some(&true)) {
                    return nothing(row);
                }
                let mut faults = Vec::new();
                let read = self.read(row, keys, above, &shared, &mut faults);
                if !faults.is_empty() {
                    shared.faults.lock().unwrap_or_else(PoisonError::into_inner).push((row, faults));
                }
                read.unwrap_or(nothing(row))
            })
            .collect();
        found.retain(|found| found.origin != NOTHING.origin);
        let mut faults = shared.faults.into_inner().unwrap_or_else(PoisonError::into_inner);
        faults.sort_by_key(|(row, _)| *row);
        findings.extend(faults.into_iter().flat_map(|(_, faults)| faults));
        Forms { found, stages: shared.stages.into_inner().unwrap_or_else(PoisonError::into_inner) }
    }

    /// The reading of a row; none where it is missing or at fault.
    fn read(
        &self,
        row: usize,
        keys: Keys<'t, '_>,
        above: &mut Above<'t>,
        shared: &Shared,
        faults: &mut Vec<Finding>,
    ) -> Option<Found> {
        let cell = self.values.cell(row)?;
        let value = value(&cell, self.instrument);
        let day = match &self.dates {
            Role::Same(day) => Ok(*day),
            Role::Column(column) => above.day.or_read(&column.cell(row)?, |cell| cell.date()),
        };
        let stage = match &self.stages {
            Some(Role::Column(column)) => above
                .stage
                .or_read(&column.cell(row)?, |cell| Ok(cell.stage()?.map_or(0, |stage| shared.stage(&stage)))),
            _ => Ok(above.stage.value),
        };
        let leaf = match self.leaves.and_then(|leaves| leaves.cell(row)) {
            Some(cell) => cell.count().map(|leaf| leaf.map_or(0, |leaf| leaf.saturating_add(1))),
            None => Ok(0),
        };
        let key = &mut above.key;
        let plot = match keys {
            Keys::Walk => Ok(UNKNOWN),
            Keys::Columns([only], index) => above.plot.or_read(&only.cell(row)?, |cell| {
                let part = cell.label("plot")?;
                Ok(index.and_then(|index| index.position(key, std::iter::once(part))).unwrap_or(UNKNOWN))
            }),
            Keys::Columns(parts, index) => plot_of(parts, row, index, key),
        };
        // Each is kept first, so that every fault of the row is reported.
        let (value, day) = (keep(value, faults), keep(day, faults));
        let (stage, leaf, plot) = (keep(stage, faults), keep(leaf, faults), keep(plot, faults));
        let (value, day, stage, leaf, plot) = (value?, day?, stage?, leaf?, plot?);
        let value = match (value, keys) {
            (Some(value), _) => value,
            (None, Keys::Walk) => f64::NAN,
            (None, Keys::Columns(..)) => return None,
        };
        Some(Found { plot, row: row as u32, origin: 0, day, stage, leaf, value })
    }
}

fn plot_of(parts: &[Column], row: usize, index: Option<&KeyIndex>, buffer: &mut String) -> Result<u32, Finding> {
    for cell in parts.iter().filter_map(|part| part.cell(row)) {
        cell.label("plot")?;
    }
    let texts = parts.iter().filter_map(|part| part.cell(row)).map(|cell| cell.text);
    Ok(index.and_then(|index| index.position(buffer, texts)).unwrap_or(UNKNOWN))
}

/// The number of a stage among those that were met, from 1.
fn intern(stages: &mut Vec<GrowthStage>, stage: &GrowthStage) -> u32 {
    let known = stages.iter().position(|known| known == stage).unwrap_or_else(|| {
        stages.push(stage.clone());
        stages.len() - 1
    });
    known as u32 + 1
}

impl Forms {
    /// Adds the readings of others, which are of `origin`.
    pub(super) fn append(&mut self, others: Self, origin: u32) {
        let numbers: Vec<u32> = others.stages.iter().map(|stage| intern(&mut self.stages, stage)).collect();
        let number = |stage: u32| {
            let position = (stage as usize).checked_sub(1);
            position.and_then(|position| numbers.get(position)).copied().unwrap_or(0)
        };
        if self.found.is_empty() {
            self.found = others.found;
            for found in &mut self.found {
                (found.stage, found.origin) = (number(found.stage), origin);
            }
        } else {
            self.found.extend(others.found.into_iter().map(|found| Found {
                stage: number(found.stage),
                origin,
                ..found
            }));
        }
    }
}
