//! `[[plate_check]]` of `trial.toml`: readings of a reference plate.

use jiff::civil::{Date, Time};

use super::descriptor::{Item, Section, Supplied, Typed};
use super::file_reference::{FileReference, file_reference, with_file_keys};
use super::programme_descriptor::positive;
use super::trial_descriptor::{COLUMN_OR_SAME, Condition, condition};
use super::values::instrument;
use crate::trial::Instrument;

const PLATE: &[&str] =
    with_file_keys!["instrument", "tolerance", "expected", "readings", "where", "date", "time", "value"];
const READING: &[&str] = &["date", "time", "value"];

/// What a plate check says.
pub(super) struct PlateSection {
    pub(super) instrument: Instrument,
    pub(super) tolerance: f64,
    pub(super) form: PlateForm,
}

pub(super) enum PlateForm {
    /// Typed in the descriptor, all of one plate.
    Typed { expected: f64, readings: Vec<(Date, Time, Typed<f64>)> },
    /// A row a reading in a file.
    File(Box<PlateFile>),
}

pub(super) struct PlateFile {
    pub(super) file: FileReference,
    pub(super) condition: Option<Condition>,
    pub(super) date: Supplied<Date>,
    pub(super) time: Typed<String>,
    pub(super) expected: Supplied<f64>,
    pub(super) value: Typed<String>,
}

/// Every plate check of a descriptor.
pub(super) fn plates(root: &Section) -> Vec<PlateSection> {
    root.sections("plate_check", PLATE).iter().filter_map(plate).collect()
}

fn plate(section: &Section) -> Option<PlateSection> {
    let instrument = section.required("instrument").and_then(|item| instrument(&item));
    let tolerance = section.required("tolerance").and_then(|item| positive(&item));
    let form = match section.get("readings") {
        Some(readings) => {
            for key in ["file", "where", "date", "time", "value"] {
                if let Some(item) = section.get(key) {
                    let text = format!("{key:?} is for readings in a file, and they are typed here");
                    item.fault("conflicting-keys", text, "use readings, or file with date, time and value");
                }
            }
            let expected = section.required("expected").and_then(|item| item.number());
            let items = readings.list()?;
            if items.is_empty() {
                readings.fault(
                    "no-readings",
                    "there is no reading of the plate",
                    "add { date = …, time = …, value = … }",
                );
                return None;
            }
            let readings: Vec<Option<(Date, Time, Typed<f64>)>> = items.iter().map(typed_reading).collect();
            PlateForm::Typed { expected: expected?.value, readings: readings.into_iter().collect::<Option<_>>()? }
        }
        None => PlateForm::File(Box::new(in_file(section)?)),
    };
    Some(PlateSection { instrument: instrument?, tolerance: tolerance?, form })
}

fn typed_reading(item: &Item) -> Option<(Date, Time, Typed<f64>)> {
    let section = item.section(READING)?;
    let date = section.required("date").and_then(|item| item.date());
    let time = section.required("time").and_then(|item| item.time());
    let value = section.required("value").and_then(|item| item.number());
    Some((date?.value, time?, value?))
}

fn in_file(section: &Section) -> Option<PlateFile> {
    if section.get("file").is_none() {
        let text = "the plate check has no readings".to_owned();
        let remedy = "add readings = [{ date = …, time = …, value = … }], or file with date, time and value".to_owned();
        section.report("missing-key", "readings", text, remedy);
        return None;
    }
    let file = file_reference(section);
    let where_ = section.get("where").map(|item| condition(&item));
    let date = section.required("date").and_then(|item| item.supplied(COLUMN_OR_SAME, Item::date));
    let time = section.required("time").and_then(|item| item.text());
    let value = section.required("value").and_then(|item| item.text());
    let expected = section.required("expected").and_then(|item| expected(&item));
    let condition = match where_ {
        Some(condition) => Some(condition?),
        None => None,
    };
    Some(PlateFile { file: file?, condition, date: date?.0, time: time?, expected: expected?, value: value? })
}

/// A number for every row, or the column that holds the value of the plate that was read.
fn expected(item: &Item) -> Option<Supplied<f64>> {
    if item.is_number() {
        return item.number().map(Supplied::Same);
    }
    item.supplied(COLUMN_OR_SAME, Item::number).map(|(supplied, _)| supplied)
}
