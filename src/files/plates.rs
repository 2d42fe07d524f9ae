//! Readings of reference plates, from the descriptor or a file.

use jiff::civil::Time;

use super::cell::{Cell, keep};
use super::descriptor::{Document, Supplied};
use super::folder::TrialFolder;
use super::plate_descriptor::{PlateFile, PlateForm, PlateSection};
use super::plots::{column, rows_that_meet};
use super::table::DataTable;
use crate::finding::{Finding, Place};
use crate::trial::{PlateCheck, PlateReading};

/// Reads every plate check of a trial; every fault goes to `findings`.
pub(super) fn read(
    document: &Document,
    sections: &[PlateSection],
    trial: &mut TrialFolder,
    findings: &mut Vec<Finding>,
) -> Option<Vec<PlateCheck>> {
    let before = findings.len();
    let mut checks = Vec::new();
    for section in sections {
        let mut readings = match &section.form {
            PlateForm::Typed { expected, readings } => readings
                .iter()
                .map(|(date, time, value)| PlateReading {
                    date: *date,
                    time: *time,
                    expected: *expected,
                    value: value.value,
                    place: document.place_of(value),
                })
                .collect(),
            PlateForm::File(form) => {
                let Some(table) = trial.table(document, &form.file, findings) else { continue };
                let elsewhere = table.headers_elsewhere([&form.time, &form.value]);
                let is_elsewhere = elsewhere.is_some();
                findings.extend(elsewhere);
                if is_elsewhere {
                    continue;
                }
                match in_file(document, form, &table, findings) {
                    Some(readings) => readings,
                    None => continue,
                }
            }
        };
        readings.sort_by_key(|reading| (reading.date, reading.time));
        checks.push(PlateCheck { instrument: section.instrument, tolerance: section.tolerance, readings });
    }
    (findings.len() == before).then_some(checks)
}

fn in_file(
    document: &Document,
    form: &PlateFile,
    table: &DataTable,
    findings: &mut Vec<Finding>,
) -> Option<Vec<PlateReading>> {
    let met = match &form.condition {
        Some(condition) => Some(keep(rows_that_meet(document, table, condition), findings)?),
        None => None,
    };
    let mut named = |name| keep(column(document, table, name), findings);
    let (times, values) = (named(&form.time), named(&form.value));
    let dates = form.date.column().map(&mut named);
    let expected = form.expected.column().map(&mut named);
    let (times, values) = (times?, values?);
    let dates = if let Some(dates) = dates { Some(dates?) } else { None };
    let expected = if let Some(expected) = expected { Some(expected?) } else { None };
    let before = findings.len();
    let mut readings = Vec::new();
    for row in (0..table.len()).filter(|row| met.as_ref().is_none_or(|met| met.get(*row) == Some(&true))) {
        let (Some(time), Some(value)) = (times.cell(row), values.cell(row)) else { continue };
        let Some(found) = keep(value.number(), findings).flatten() else { continue };
        let date = match (&form.date, dates.and_then(|dates| dates.cell(row))) {
            (Supplied::Same(date), _) => Some(date.value),
            (_, Some(cell)) => keep(cell.date(), findings),
            _ => None,
        };
        let expected = match (&form.expected, expected.and_then(|expected| expected.cell(row))) {
            (Supplied::Same(expected), _) => Some(expected.value),
            (_, Some(cell)) => keep(number(&cell), findings),
            _ => None,
        };
        let (Some(date), Some(time), Some(expected)) = (date, keep(self::time(&time), findings), expected) else {
            continue;
        };
        let place = Place::file(table.file()).row(value.row).column(value.column).value(value.text);
        readings.push(PlateReading { date, time, expected, value: found, place });
    }
    if readings.is_empty() && findings.len() == before {
        let place = Place::file(table.file()).column(values.name());
        let remedy = "read the plate before, during and after sensing, or remove [[plate_check]]";
        findings.push(Finding::error("no-readings", place, "there is no reading of the plate").remedy(remedy));
    }
    (findings.len() == before).then_some(readings)
}

fn number(cell: &Cell<'_>) -> Result<f64, Finding> {
    cell.number()?.ok_or_else(|| {
        cell.error("missing-cell", "the value of the plate is missing")
            .remedy("fill in the cell; every reading needs it")
    })
}

/// A time of day that must be there; a spreadsheet may keep it with a day before it.
fn time(cell: &Cell<'_>) -> Result<Time, Finding> {
    let text = cell.text.rsplit([' ', 'T']).next().unwrap_or_default();
    read_time(text).ok_or_else(|| {
        cell.error("not-a-time", format!("{:?} is not a time of day", cell.text))
            .remedy("write hours and minutes from 0:00 to 23:59, such as 9:05 or 14:30")
    })
}

/// Hours, minutes and perhaps seconds with colons between them.
pub(super) fn read_time(text: &str) -> Option<Time> {
    let parts: Vec<Option<i8>> = text.split(':').map(|part| part.parse().ok()).collect();
    match parts.as_slice() {
        [Some(hour), Some(minute)] => Time::new(*hour, *minute, 0, 0).ok(),
        [Some(hour), Some(minute), Some(second)] => Time::new(*hour, *minute, *second, 0).ok(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::time;

    #[test]
    fn times_are_hours_and_minutes_and_perhaps_seconds() {
        assert_eq!(read_time("9:05"), Some(time(9, 5, 0, 0)));
        assert_eq!(read_time("14:30:20"), Some(time(14, 30, 20, 0)));
        for text in ["", "9", "24:00", "9:60", "nine", "9:05:00:00", "-1:00"] {
            assert_eq!(read_time(text), None, "{text}");
        }
    }
}
