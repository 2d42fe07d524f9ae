//! Readings of every instrument, as columns, one row each or in walking order, joined to the plots.

use std::collections::HashMap;
use std::rc::Rc;
use std::sync::Arc;

use rayon::iter::{IntoParallelRefIterator as _, ParallelIterator as _};

use super::descriptor::{Document, Typed};
use super::folder::TrialFolder;
use super::join::{Found, KeyIndex, Ordered, UNKNOWN, order};
use super::nearest::nearest;
use super::plots::column;
use super::reading_forms::{Forms, Keys, long, wide};
use super::table::{Column, DataTable};
use super::trial_descriptor::{ReadingForm, ReadingsSection, TrialDescriptor};
use super::walk;
use crate::finding::{Finding, Place};
use crate::trial::{Instrument, Reading, Walk};

/// A column of readings.
struct Origin {
    table: Rc<DataTable>,
    instrument: Instrument,
    value_column: Arc<str>,
    /// The headers that name the plot; none of a walk.
    key_columns: Vec<String>,
    /// Position of its file in [`Read::files`].
    file: usize,
}

/// The readings of a trial, the files they stand in and the walks that brought them.
pub(super) struct Read {
    pub(super) readings: Vec<Reading>,
    pub(super) files: Vec<String>,
    pub(super) walks: Vec<Walk>,
}

/// Readings before they are put in order.
#[derive(Default)]
struct Gathered {
    readings: Forms,
    origins: Vec<Origin>,
    files: Vec<String>,
    walks: Vec<Walk>,
}

/// Reads the readings of a trial; every fault goes to `findings`. `plot_keys` holds one list a key column.
pub(super) fn read(
    document: &Document,
    descriptor: &TrialDescriptor,
    trial: &mut TrialFolder,
    plots: &Rc<DataTable>,
    plot_keys: Option<&[Vec<String>]>,
    findings: &mut Vec<Finding>,
) -> Option<Read> {
    let key_columns = &descriptor.plots.as_ref()?.plot;
    let before = findings.len();
    let index = plot_keys.map(KeyIndex::of);
    let mut gathered = Gathered::default();
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
            let mut forms = long(document, &table, section.instrument, form, Keys::Walk, findings).unwrap_or_default();
            let Some(passed) = passed.filter(|_| findings.len() == before) else { continue };
            let days = walk::assign(document, walk, &passed, &table, &form.value, &mut forms.found, findings);
            let file = gathered.add(&table, section.instrument, &form.value, &[], forms);
            let plots: Vec<usize> = passed.iter().map(|plot| *plot as usize).collect();
            let walk = |date| Walk { file, instrument: section.instrument, date, plots: plots.clone() };
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
        let keys = Keys::Columns(&columns, index.as_ref());
        match &section.form {
            ReadingForm::Wide(forms) => {
                for form in forms {
                    let read = wide(document, &table, section.instrument, form, keys, findings);
                    gathered.add(&table, section.instrument, &form.column, names, read);
                }
            }
            ReadingForm::Long(form) => {
                let read = long(document, &table, section.instrument, form, keys, findings).unwrap_or_default();
                gathered.add(&table, section.instrument, &form.value, names, read);
            }
            ReadingForm::Walk(..) => {}
        }
    }
    let ids: Vec<String> = ids(plot_keys?);
    let ordered = order(&gathered.readings.found, |origin| gathered.instrument(origin));
    gathered.report_unknown(plots.file(), &ids, findings);
    gathered.report_repeated(&ordered, &ids, findings);
    if findings.len() == before { gathered.in_order(&ordered) } else { None }
}

/// The name of every plot: the parts of its key, joined.
fn ids(keys: &[Vec<String>]) -> Vec<String> {
    let id =
        |row: usize| keys.iter().filter_map(|part| part.get(row)).map(String::as_str).collect::<Vec<_>>().join("-");
    (0..keys.first().map_or(0, Vec::len)).map(id).collect()
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
    /// Adds the readings of one column; the position of its file is returned.
    fn add(
        &mut self,
        table: &Rc<DataTable>,
        instrument: Instrument,
        value: &Typed<String>,
        keys: &[Typed<String>],
        readings: Forms,
    ) -> usize {
        let file = self.files.iter().position(|earlier| earlier == table.file()).unwrap_or_else(|| {
            self.files.push(table.file().to_owned());
            self.files.len() - 1
        });
        self.readings.append(readings, self.origins.len() as u32);
        self.origins.push(Origin {
            table: Rc::clone(table),
            instrument,
            value_column: value.value.trim().into(),
            key_columns: keys.iter().map(|name| name.value.clone()).collect(),
            file,
        });
        file
    }

    fn instrument(&self, origin: u32) -> Instrument {
        self.origins.get(origin as usize).map_or(Instrument::CanopyNdvi, |origin| origin.instrument)
    }

    fn found(&self, reading: u32) -> Option<(&Found, &Origin)> {
        let found = self.readings.found.get(reading as usize)?;
        Some((found, self.origins.get(found.origin as usize)?))
    }

    /// Every key in a file that is no plot's, once, where its first reading is.
    fn report_unknown(&self, plots_file: &str, ids: &[String], findings: &mut Vec<Finding>) {
        let mut unknown: HashMap<(usize, String), usize> = HashMap::new();
        let mut told = Vec::new();
        for found in self.readings.found.iter().filter(|found| found.plot == UNKNOWN) {
            let Some(origin) = self.origins.get(found.origin as usize) else { continue };
            let columns = origin.key_columns.iter().filter_map(|name| origin.table.column(name).ok());
            let cells: Vec<_> = columns.filter_map(|column| column.cell(found.row as usize)).collect();
            let key = cells.iter().map(|cell| cell.text).collect::<Vec<_>>().join("-");
            let next = told.len();
            let position = *unknown.entry((origin.file, key.clone())).or_insert(next);
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

    fn report_repeated(&self, ordered: &Ordered, ids: &[String], findings: &mut Vec<Finding>) {
        for &(first, last) in &ordered.repeated {
            let (Some((earlier, before)), Some((found, origin))) = (self.found(first), self.found(last)) else {
                continue;
            };
            let Some(key) = ids.get(found.plot as usize) else { continue };
            let cell_of = |found: &Found, origin: &Origin| {
                origin.table.row_number(found.row as usize).map(|row| (origin.table.place().row(row), row))
            };
            let (Some((place, _)), Some((_, earlier_row))) = (cell_of(found, origin), cell_of(earlier, before)) else {
                continue;
            };
            let leaf = match found.leaf.checked_sub(1) {
                Some(leaf) => format!(", leaf {leaf}"),
                None => String::new(),
            };
            let text = format!(
                "plot {key:?} has another {} reading of {}{leaf}: {}, row {earlier_row}, {}",
                origin.instrument.name(),
                found.day,
                before.table.file(),
                before.value_column
            );
            let remedy = match origin.instrument {
                Instrument::LeafChlorophyll if found.leaf == 0 => {
                    "name the column that numbers the leaves with leaf = …, or keep one reading"
                }
                _ => "keep one of them, or correct plot, date or leaf",
            };
            let place = place.column(&*origin.value_column).value(key);
            findings.push(Finding::error("duplicate-reading", place, text).remedy(remedy));
        }
    }

    /// The readings in their order.
    fn in_order(self, ordered: &Ordered) -> Option<Read> {
        // Tables are shared within one thread only.
        let of_origin = |origin: &Origin| (origin.instrument, origin.file, Arc::clone(&origin.value_column));
        let origins: Vec<(Instrument, usize, Arc<str>)> = self.origins.iter().map(of_origin).collect();
        let tables: Vec<&DataTable> = self.origins.iter().map(|origin| &*origin.table).collect();
        // Each thread counts the uses of a header of its own: counting those of one together would hold them up.
        let headers = || origins.iter().map(|(_, _, header)| Arc::from(&**header)).collect::<Vec<Arc<str>>>();
        let (stages, found) = (&self.readings.stages, &self.readings.found);
        // Every position is of a reading and every reading of an origin; the first ones stand in where a slice asks for a default.
        let (Some(first), Some(first_origin)) = (found.first(), origins.first()) else {
            return Some(Read { readings: Vec::new(), files: self.files, walks: self.walks });
        };
        let reading = |headers: &mut Vec<Arc<str>>, position: &u32| {
            let found = found.get(*position as usize).unwrap_or(first);
            let origin = found.origin as usize;
            let (instrument, file, header) = origins.get(origin).unwrap_or(first_origin);
            let stage = (found.stage as usize).checked_sub(1);
            Reading {
                plot: found.plot as usize,
                instrument: *instrument,
                date: found.day,
                stage: stage.and_then(|stage| stages.get(stage)).cloned(),
                leaf: found.leaf.checked_sub(1),
                value: found.value,
                file: *file,
                row: tables.get(origin).and_then(|table| table.row_number(found.row as usize)).unwrap_or_default(),
                column: Arc::clone(headers.get(origin).unwrap_or(header)),
            }
        };
        let readings: Vec<Reading> = ordered.positions.par_iter().map_init(headers, reading).collect();
        Some(Read { readings, files: self.files, walks: self.walks })
    }
}
