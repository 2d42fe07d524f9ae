//! Readings of every instrument, as columns, one row each or in walking order, joined to the plots.

use std::collections::HashMap;
use std::rc::Rc;

use super::descriptor::{Document, Typed};
use super::folder::TrialFolder;
use super::join::{KeyIndex, put_in_order};
use super::nearest::nearest;
use super::plots::column;
use super::reading_forms::{Forms, Keys, Origin, long, wide};
use super::readings_descriptor::{ReadingForm, ReadingsSection, ValueColumns};
use super::table::{Column, DataTable};
use super::trial_descriptor::TrialDescriptor;
use super::walk;
use crate::finding::{Finding, Place};
use crate::trial::{Instrument, Reading, ReadingColumn, Walk};

/// A column of readings that was read.
struct ColumnRead {
    column: ReadingColumn,
    table: Rc<DataTable>,
    instrument: Instrument,
    /// The headers that name the plot; none of a walk.
    key_columns: Vec<String>,
}

/// The readings of a trial, the files and columns they stand in and the walks that brought them.
pub(super) struct Read {
    pub(super) readings: Vec<Reading>,
    pub(super) files: Vec<String>,
    pub(super) columns: Vec<ReadingColumn>,
    /// Positions of leaves, as typed.
    pub(super) leaf_positions: Vec<String>,
    pub(super) walks: Vec<Walk>,
}

/// Readings as they come.
#[derive(Default)]
struct Gathered {
    readings: Vec<Reading>,
    /// Column and row of the readings whose key is no plot's.
    unknown: Vec<(usize, usize)>,
    columns: Vec<ColumnRead>,
    files: Vec<String>,
    walks: Vec<Walk>,
}

/// Reads the readings of a trial; every fault goes to `findings`.
pub(super) fn read(
    document: &Document,
    descriptor: &TrialDescriptor,
    trial: &mut TrialFolder,
    plots: &Rc<DataTable>,
    index: Option<&KeyIndex>,
    findings: &mut Vec<Finding>,
) -> Option<Read> {
    let key_columns = &descriptor.plots.as_ref()?.plot;
    let before = findings.len();
    let mut gathered = Gathered::default();
    let mut positions = Vec::new();
    for section in &descriptor.readings {
        let table = match &section.file {
            Some(file) => match trial.table(document, file, findings) {
                Some(table) => table,
                None => continue,
            },
            None => Rc::clone(plots),
        };
        if let Some(elsewhere) = table.headers_elsewhere(section.form.columns()) {
            findings.push(elsewhere);
            continue;
        }
        if let ReadingForm::Walk(form, walk) = &section.form {
            let passed = walk::passed(document, descriptor, walk, plots, findings);
            let (file, origin) = gathered.origin(&table, section.instrument, &form.value, &[]);
            let forms = long(document, origin, form, Keys::Walk, &mut positions, findings);
            let mut forms = forms.unwrap_or_default();
            let Some(passed) = passed.filter(|_| findings.len() == before) else { continue };
            let Some(value) = form.value.columns().next() else { continue };
            let days = walk::assign(document, walk, &passed, &table, value, &mut forms.readings, findings);
            gathered.add(forms);
            let walk = |date| Walk { file, instrument: section.instrument, date, plots: passed.clone() };
            gathered.walks.extend(days.into_iter().map(walk));
            continue;
        }
        let names = section.plot.as_ref().unwrap_or(key_columns);
        if names.len() != key_columns.len() {
            findings.push(other_key_length(document, section, key_columns.len()));
            continue;
        }
        let columns: Vec<Option<Column>> =
            names.iter().map(|name| super::cell::keep(column(document, &table, name), findings)).collect();
        let Some(columns) = columns.into_iter().collect::<Option<Vec<_>>>() else { continue };
        let keys = Keys::Columns(&columns, index);
        match &section.form {
            ReadingForm::Wide(forms) => {
                for form in forms {
                    let (_, origin) = gathered.origin(&table, section.instrument, &form.value, names);
                    gathered.add(wide(document, origin, form, keys, findings));
                }
            }
            ReadingForm::Long(form) => {
                let (_, origin) = gathered.origin(&table, section.instrument, &form.value, names);
                gathered.add(long(document, origin, form, keys, &mut positions, findings).unwrap_or_default());
            }
            ReadingForm::Walk(..) => {}
        }
    }
    let index = index?;
    gathered.report_unknown(plots.file(), index, findings);
    let repeated = put_in_order(&mut gathered.readings);
    gathered.report_repeated(&repeated, index, findings);
    (findings.len() == before).then(|| Read {
        readings: gathered.readings,
        files: gathered.files,
        columns: gathered.columns.into_iter().map(|read| read.column).collect(),
        leaf_positions: positions,
        walks: gathered.walks,
    })
}

fn other_key_length(document: &Document, section: &ReadingsSection, expected: usize) -> Finding {
    let text = format!("a plot is named by {expected} columns in the plots file");
    let remedy = "name the same key columns, in the same order, as [plots] plot";
    match section.plot.as_ref().and_then(|names| names.first()) {
        Some(name) => document.fault("conflicting-keys", name, text).remedy(remedy),
        None => Finding::error("conflicting-keys", Place::file(document.file()), text).remedy(remedy),
    }
}

impl Gathered {
    /// Makes room for a column of readings; with it comes the position of its file.
    fn origin<'t>(
        &mut self,
        table: &'t Rc<DataTable>,
        instrument: Instrument,
        value: &ValueColumns,
        keys: &[Typed<String>],
    ) -> (usize, Origin<'t>) {
        let file = self.files.iter().position(|earlier| earlier == table.file()).unwrap_or_else(|| {
            self.files.push(table.file().to_owned());
            self.files.len() - 1
        });
        let origin = Origin { table, instrument, column: self.columns.len() as u32 };
        self.columns.push(ColumnRead {
            column: ReadingColumn { file, header: value.header() },
            table: Rc::clone(table),
            instrument,
            key_columns: keys.iter().map(|name| name.value.clone()).collect(),
        });
        (file, origin)
    }

    /// Adds the readings of the column that room was made for last.
    fn add(&mut self, forms: Forms) {
        let column = self.columns.len().saturating_sub(1);
        self.unknown.extend(forms.unknown.into_iter().map(|row| (column, row)));
        if self.readings.is_empty() {
            self.readings = forms.readings;
        } else {
            self.readings.extend(forms.readings);
        }
    }

    /// Every key in a file that is no plot's, once, where its first reading is.
    fn report_unknown(&self, plots_file: &str, index: &KeyIndex, findings: &mut Vec<Finding>) {
        if self.unknown.is_empty() {
            return;
        }
        let ids: Vec<String> = (0..index.len()).map(|plot| index.id(plot)).collect();
        let mut unknown: HashMap<(usize, String), usize> = HashMap::new();
        let mut told = Vec::new();
        for &(column, row) in &self.unknown {
            let Some(read) = self.columns.get(column) else { continue };
            let columns = read.key_columns.iter().filter_map(|name| read.table.column(name).ok());
            let cells: Vec<_> = columns.filter_map(|column| column.cell(row)).collect();
            let key = cells.iter().map(|cell| cell.text).collect::<Vec<_>>().join("-");
            let next = told.len();
            let position = *unknown.entry((read.column.file, key.clone())).or_insert(next);
            match told.get_mut(position) {
                Some((_, _, count)) => *count += 1,
                None => told.extend(cells.last().map(|cell| (*cell, key, 1_usize))),
            }
        }
        for (cell, key, count) in told {
            let more = if count > 1 { format!(", though it has {count} readings") } else { String::new() };
            let mut finding = cell.error("unknown-plot", format!("plot {key:?} is not in {plots_file}{more}"));
            finding.place.value = Some(key.clone());
            let remedy = match nearest(&key, ids.iter().map(String::as_str)) {
                Some(meant) => format!("did you mean {meant:?}? Every reading belongs to a plot of the plots file"),
                None => "every reading belongs to a plot of the plots file".to_owned(),
            };
            findings.push(finding.remedy(remedy));
        }
    }

    fn report_repeated(&self, repeated: &[(usize, usize)], index: &KeyIndex, findings: &mut Vec<Finding>) {
        let read = |position: usize| {
            let reading = self.readings.get(position)?;
            Some((reading, self.columns.get(reading.column as usize)?))
        };
        for &(first, last) in repeated {
            let (Some((earlier, before)), Some((reading, here))) = (read(first), read(last)) else { continue };
            let key = index.id(reading.plot);
            let leaf = match reading.leaf {
                Some(leaf) => format!(", leaf {leaf}"),
                None => String::new(),
            };
            let text = format!(
                "plot {key:?} has another {} reading of {}{leaf}: {}, row {}, {}",
                here.instrument.name(),
                reading.date,
                before.table.file(),
                earlier.row,
                before.column.header
            );
            let remedy = match here.instrument {
                Instrument::LeafChlorophyll if reading.leaf.is_none() => {
                    "name the column that numbers the leaves with leaf = …, or keep one reading"
                }
                Instrument::CanopyNdvi if reading.leaf.is_none() => {
                    "number the passes of the day with pass = 1, pass = 2 … (or the column that numbers them), or keep one reading"
                }
                _ => "keep one of them, or correct plot, date or leaf",
            };
            let place = here.table.place().row(u64::from(reading.row)).column(&here.column.header).value(key);
            findings.push(Finding::error("duplicate-reading", place, text).remedy(remedy));
        }
    }
}
