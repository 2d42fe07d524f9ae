//! Readings of every instrument, as columns or one row each, joined to the plots.

use std::sync::Arc;

use super::descriptor::{Document, Typed};
use super::folder::TrialFolder;
use super::join::{Joined, Rows, join};
use super::nearest::nearest;
use super::plots::keys;
use super::reading_forms::{One, long, wide};
use super::table::DataTable;
use super::trial_descriptor::{ReadingForm, ReadingsSection, TrialDescriptor};
use crate::finding::{Finding, Place};
use crate::trial::{Instrument, Reading, Walk};

/// A column of readings: its file and headers, for findings.
struct Origin {
    file: String,
    value_column: String,
    key_column: String,
}

/// The readings of a trial, the files they stand in and the walks that brought them.
pub(super) struct Read {
    pub(super) readings: Vec<Reading>,
    pub(super) files: Vec<String>,
    pub(super) walks: Vec<Walk>,
}

/// Readings before they are joined to plots.
#[derive(Default)]
struct Gathered {
    rows: Rows,
    /// Each reading, its plot not yet known.
    readings: Vec<Reading>,
    /// Position of each reading's origin.
    origin_of: Vec<usize>,
    origins: Vec<Origin>,
    files: Vec<String>,
}

/// Reads the readings of a trial; every fault goes to `findings`. `plot_keys` holds one list a key column.
pub(super) fn read(
    document: &Document,
    descriptor: &TrialDescriptor,
    trial: &mut TrialFolder,
    plots: &DataTable,
    plot_keys: Option<&[Vec<String>]>,
    findings: &mut Vec<Finding>,
) -> Option<Read> {
    let key_columns = &descriptor.plots.as_ref()?.plot;
    let before = findings.len();
    let mut gathered = Gathered::default();
    gathered.rows.keys = vec![Vec::new(); key_columns.len()];
    for section in &descriptor.readings {
        let own = match &section.file {
            Some(file) => match trial.table(document, file, findings) {
                Some(table) => Some(table),
                None => continue,
            },
            None => None,
        };
        let table = own.as_deref().unwrap_or(plots);
        let names = section.plot.as_ref().unwrap_or(key_columns);
        if names.len() != key_columns.len() {
            findings.push(other_key_length(document, section, key_columns.len()));
            continue;
        }
        let keys = keys(document, table, names, findings);
        let mut add = |column: &Typed<String>, readings: Vec<One>| {
            let Some(keys) = &keys else { return };
            let last = names.last().map_or_else(String::new, |name| name.value.clone());
            let origin = Origin { file: table.file().to_owned(), value_column: column.value.clone(), key_column: last };
            gathered.add(origin, keys, section.instrument, readings);
        };
        match &section.form {
            ReadingForm::Wide(columns) => {
                for form in columns {
                    add(&form.column, wide(document, table, section.instrument, form, findings));
                }
            }
            ReadingForm::Long(form) => {
                add(&form.value, long(document, table, section.instrument, form, findings).unwrap_or_default());
            }
        }
    }
    let plot_keys = plot_keys?;
    let joined = match join(plot_keys, &gathered.rows) {
        Ok(joined) => joined,
        Err(error) => {
            findings.push(Finding::error("cannot-join", Place::file(document.file()), format!("readings: {error}")));
            return None;
        }
    };
    gathered.report(&joined, plots.file(), plot_keys, findings);
    if findings.len() == before { gathered.joined(&joined) } else { None }
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
    /// Adds the readings of one column; `keys` holds one list a key column, each as long as the table.
    fn add(&mut self, origin: Origin, keys: &[Vec<String>], instrument: Instrument, readings: Vec<One>) {
        let position = self.origins.len();
        let file = self.files.iter().position(|earlier| *earlier == origin.file).unwrap_or_else(|| {
            self.files.push(origin.file.clone());
            self.files.len() - 1
        });
        let column: Arc<str> = origin.value_column.as_str().into();
        self.origins.push(origin);
        for One { cell, row, date, stage, leaf, value } in readings {
            for (column, key) in self.rows.keys.iter_mut().zip(keys) {
                column.push(key.get(row).cloned().unwrap_or_default());
            }
            self.rows.file.push(file as u32);
            self.rows.instrument.push(instrument as u32);
            self.rows.day.push(i32::from(date.year()) * 10_000 + i32::from(date.month()) * 100 + i32::from(date.day()));
            self.rows.leaf.push(leaf);
            self.origin_of.push(position);
            let column = Arc::clone(&column);
            self.readings.push(Reading { plot: 0, instrument, date, stage, leaf, value, file, row: cell.row, column });
        }
    }

    fn origin(&self, reading: u32) -> Option<(&Reading, &Origin)> {
        let position = reading as usize;
        let origin = self.origin_of.get(position).and_then(|origin| self.origins.get(*origin));
        self.readings.get(position).zip(origin)
    }

    fn report(&self, joined: &Joined, plots_file: &str, plot_keys: &[Vec<String>], findings: &mut Vec<Finding>) {
        let id = |keys: &[Vec<String>], row: usize| {
            keys.iter().filter_map(|part| part.get(row)).map(String::as_str).collect::<Vec<_>>().join("-")
        };
        let plots = plot_keys.first().map_or(0, Vec::len);
        let ids: Vec<String> = (0..plots).map(|row| id(plot_keys, row)).collect();
        for &(first, count) in &joined.unmatched {
            let Some((reading, origin)) = self.origin(first) else { continue };
            let key = id(&self.rows.keys, first as usize);
            let more = if count > 1 { format!(", though it has {count} readings") } else { String::new() };
            let place = Place::file(&origin.file).row(reading.row).column(&origin.key_column).value(&key);
            let text = format!("plot {key:?} is not in {plots_file}{more}");
            let remedy = match nearest(&key, ids.iter().map(String::as_str)) {
                Some(meant) => format!("did you mean {meant:?}? Every reading belongs to a plot of the plots file"),
                None => "every reading belongs to a plot of the plots file".to_owned(),
            };
            findings.push(Finding::error("unknown-plot", place, text).remedy(remedy));
        }
        for &(first, last) in &joined.repeated {
            let (Some((earlier, before)), Some((reading, origin))) = (self.origin(first), self.origin(last)) else {
                continue;
            };
            let key = id(&self.rows.keys, last as usize);
            let leaf = reading.leaf.map_or_else(String::new, |leaf| format!(", leaf {leaf}"));
            let place = Place::file(&origin.file).row(reading.row).column(&origin.value_column).value(&key);
            let text = format!(
                "plot {key:?} has another {} reading of {}{leaf}: {}, row {}, {}",
                reading.instrument.name(),
                reading.date,
                before.file,
                earlier.row,
                before.value_column
            );
            let remedy = match reading.instrument {
                Instrument::LeafChlorophyll if reading.leaf.is_none() => {
                    "name the column that numbers the leaves with leaf = …, or keep one reading"
                }
                _ => "keep one of them, or correct plot, date or leaf",
            };
            findings.push(Finding::error("duplicate-reading", place, text).remedy(remedy));
        }
    }

    /// The readings in their order, each with its plot.
    fn joined(self, joined: &Joined) -> Option<Read> {
        let take = |&(reading, plot): &(u32, u32)| {
            let reading = self.readings.get(reading as usize)?;
            Some(Reading { plot: plot as usize, ..reading.clone() })
        };
        let readings = joined.matched.iter().map(take).collect::<Option<Vec<_>>>()?;
        Some(Read { readings, files: self.files, walks: Vec::new() })
    }
}
