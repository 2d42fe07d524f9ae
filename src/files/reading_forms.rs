//! The forms readings are kept in: a column a sensing date, or a row a reading.

use std::num::NonZeroU8;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use jiff::civil::Date;
use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};

use super::cell::{Cell, keep};
use super::descriptor::{Document, Supplied, Typed};
use super::join::KeyIndex;
use super::leaf_positions::Positions;
use super::plausible;
use super::plots::{column, rows_that_meet};
use super::readings_descriptor::{LongForm, ReadingColumn};
use super::reflectance::Values;
use super::table::{Column, CutRow, DataTable};
use crate::finding::Finding;
use crate::trial::{GrowthStage, Instrument, Reading};

/// Where the readings stand and what took them.
#[derive(Clone, Copy)]
pub(super) struct Origin<'t> {
    pub(super) table: &'t DataTable,
    pub(super) instrument: Instrument,
    /// Position of the column among those that readings stand in.
    pub(super) column: u32,
}

/// The readings of one column.
#[derive(Default)]
pub(super) struct Forms {
    /// A reading in walking order has no plot yet, and may be missing: its value is then no number.
    pub(super) readings: Vec<Reading>,
    /// Rows of readings whose key is no plot's.
    pub(super) unknown: Vec<usize>,
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
fn value(cell: &Cell<'_>, instrument: Instrument) -> Result<Option<f64>, Finding> {
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
    origin: Origin,
    form: &ReadingColumn,
    keys: Keys,
    findings: &mut Vec<Finding>,
) -> Forms {
    let Some(values) = Values::find(document, origin.table, &form.value, findings) else { return Forms::default() };
    let stages = form.stage.clone().map(Role::Same);
    let dates = Role::Same(form.date);
    let roles = Roles { origin, values, leaves: Leaves::Same(form.pass), positions: None, dates, stages };
    roles.read_all(None, keys, findings)
}

/// The readings kept a row each, of the rows that meet the condition; missing values are no readings.
pub(super) fn long(
    document: &Document,
    origin: Origin,
    form: &LongForm,
    keys: Keys,
    known_positions: &mut Vec<String>,
    findings: &mut Vec<Finding>,
) -> Option<Forms> {
    let table = origin.table;
    let rows = match &form.condition {
        Some(condition) => keep(rows_that_meet(document, table, condition), findings).map(Some),
        None => Some(None),
    };
    let values = Values::find(document, table, &form.value, findings);
    let mut named = |name: &Typed<String>| keep(column(document, table, name), findings);
    let leaves = form.leaf.as_ref().map(&mut named);
    let positions = form.position.as_ref().map(&mut named);
    let dates = Role::of(&form.date, &mut named);
    let stages = form.stage.as_ref().map(|stage| Role::of(stage, &mut named));
    let (values, dates) = (values?, dates?);
    let leaves = if let Some(leaves) = leaves { Leaves::Column(leaves?) } else { Leaves::Same(None) };
    let positions = match positions {
        Some(column) => Some(Positions::of(column?, known_positions, findings)?),
        None => None,
    };
    let stages = if let Some(stages) = stages { Some(stages?) } else { None };
    let roles = Roles { origin, values, leaves, positions, dates, stages };
    Some(roles.read_all(rows?.as_deref(), keys, findings))
}

/// The columns that a reading is made from.
struct Roles<'t> {
    origin: Origin<'t>,
    values: Values<'t>,
    leaves: Leaves<'t>,
    positions: Option<Positions<'t>>,
    dates: Role<'t, Date>,
    stages: Option<Role<'t, GrowthStage>>,
}

/// What numbers the readings of a plot.
enum Leaves<'t> {
    Column(Column<'t>),
    Same(Option<u32>),
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

impl<'t, T> Last<'t, T> {
    fn new(value: T) -> Self {
        Self { text: None, value }
    }

    /// Reads a cell of that text, unless the one above has it too.
    fn read(&mut self, text: &'t str, read: impl FnOnce() -> Result<T, Finding>) -> Result<(), Finding> {
        if self.text != Some(text) {
            self.value = read()?;
            self.text = Some(text);
        }
        Ok(())
    }
}

/// What one thread remembers of the rows above, and the row it is at.
struct Reader<'t> {
    day: Last<'t, Date>,
    stage: Last<'t, Option<GrowthStage>>,
    plot: Last<'t, Option<usize>>,
    key: String,
    row: CutRow<'t>,
}

/// What all threads bring together.
#[derive(Default)]
struct Shared {
    /// The faults of each row.
    faults: Mutex<Vec<(usize, Vec<Finding>)>>,
    unknown: Mutex<Vec<usize>>,
    /// Whether any row gives no reading.
    has_gaps: AtomicBool,
}

/// A list that no thread can leave half done.
fn locked<T>(list: &Mutex<Vec<T>>) -> MutexGuard<'_, Vec<T>> {
    list.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The column of a row that gives no reading: it keeps its place until all are read, so that each thread writes where its rows are.
const NO_COLUMN: u32 = u32::MAX;

impl<'t> Roles<'t> {
    /// Every row, by all cores; in the order of the rows.
    fn read_all(&self, met: Option<&[bool]>, keys: Keys<'t, '_>, findings: &mut Vec<Finding>) -> Forms {
        let shared = Shared::default();
        let same_day = match &self.dates {
            Role::Same(day) => *day,
            Role::Column(_) => Date::ZERO,
        };
        let same_stage = match &self.stages {
            Some(Role::Same(stage)) => Some(stage.clone()),
            _ => None,
        };
        let reader = || Reader {
            day: Last::new(same_day),
            stage: Last::new(same_stage.clone()),
            plot: Last::new(None),
            key: String::new(),
            row: self.origin.table.cut(),
        };
        let nothing = || {
            shared.has_gaps.store(true, Ordering::Relaxed);
            let (instrument, date) = (self.origin.instrument, Date::ZERO);
            let (leaf, position, stage) = (None, None, None);
            Reading { plot: 0, instrument, date, stage, leaf, position, value: 0.0, column: NO_COLUMN, row: 0 }
        };
        let read = |reader: &mut Reader<'t>, row: usize| {
            if met.is_some_and(|met| met.get(row) != Some(&true)) {
                return nothing();
            }
            let mut faults = Vec::new();
            let read = self.read(row, keys, reader, &shared, &mut faults);
            if !faults.is_empty() {
                locked(&shared.faults).push((row, faults));
            }
            read.unwrap_or_else(nothing)
        };
        let mut readings: Vec<Reading> = (0..self.origin.table.len()).into_par_iter().map_init(reader, read).collect();
        if shared.has_gaps.load(Ordering::Relaxed) {
            readings.retain(|reading| reading.column != NO_COLUMN);
        }
        let mut faults = std::mem::take(&mut *locked(&shared.faults));
        faults.sort_by_key(|(row, _)| *row);
        findings.extend(faults.into_iter().flat_map(|(_, faults)| faults));
        let mut unknown = std::mem::take(&mut *locked(&shared.unknown));
        unknown.sort_unstable();
        Forms { readings, unknown }
    }

    /// The reading of a row; none where it is missing or at fault, or its key is no plot's.
    fn read(
        &self,
        row: usize,
        keys: Keys<'t, '_>,
        reader: &mut Reader<'t>,
        shared: &Shared,
        faults: &mut Vec<Finding>,
    ) -> Option<Reading> {
        let Reader { day, stage, plot, key, row: cells } = reader;
        cells.go_to(row);
        let cell = |column: Column<'t>| column.within(cells);
        let value = keep(self.values.within(cells, |cell| value(cell, self.origin.instrument)), faults).flatten();
        if let Role::Column(column) = &self.dates {
            keep(day.read(cells.text(*column), || cell(*column).date()), faults);
        }
        if let Some(Role::Column(column)) = &self.stages {
            keep(stage.read(cells.text(*column), || cell(*column).stage()), faults);
        }
        let leaf = match self.leaves {
            Leaves::Column(leaves) => keep(cell(leaves).count(), faults).flatten(),
            Leaves::Same(pass) => pass,
        };
        let position: Option<NonZeroU8> =
            self.positions.as_ref().and_then(|positions| positions.position(cells.text(positions.column)));
        if let Keys::Columns(parts, index) = keys {
            let above = plot.value;
            match parts {
                [only] => {
                    keep(plot.read(cells.text(*only), || plot_of([cell(*only)].into_iter(), index, above, key)), faults)
                }
                _ => keep(plot_of(parts.iter().map(|part| cell(*part)), index, above, key), faults)
                    .map(|read| plot.value = read),
            };
        }
        if !faults.is_empty() {
            return None;
        }
        let (plot, value) = match (keys, plot.value, value) {
            (Keys::Walk, _, value) => (0, value.unwrap_or(f64::NAN)),
            (Keys::Columns(..), _, None) => return None,
            (Keys::Columns(..), Some(plot), Some(value)) => (plot, value),
            (Keys::Columns(..), None, Some(_)) => {
                locked(&shared.unknown).push(row);
                return None;
            }
        };
        let (date, stage) = (day.value, stage.value.clone());
        let Origin { instrument, column, .. } = self.origin;
        // The grid counts rows in four bytes.
        Some(Reading { plot, instrument, date, stage, leaf, position, value, column, row: cells.number as u32 })
    }
}

fn plot_of<'t>(
    parts: impl Iterator<Item = Cell<'t>> + Clone,
    index: Option<&KeyIndex>,
    above: Option<usize>,
    buffer: &mut String,
) -> Result<Option<usize>, Finding> {
    for part in parts.clone() {
        part.label("plot")?;
    }
    Ok(index.and_then(|index| index.position(parts.map(|part| part.text), above, buffer)))
}
