//! Readings without a plot: taken in the order that the field was walked.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::descriptor::{Document, Typed};
use super::plots::{column, values};
use super::table::DataTable;
use super::trial_descriptor::TrialDescriptor;
use crate::finding::Finding;
use crate::trial::Reading;

/// How a field was walked.
pub(super) struct WalkSection {
    pub(super) order: Typed<WalkOrder>,
    /// The column of the plots file that tells the line a plot stands in, where that is not the block.
    pub(super) along: Option<Typed<String>>,
    pub(super) readings_per_plot: Typed<i64>,
}

/// The order that plots are passed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum WalkOrder {
    /// That of the rows of the plots file.
    PlotsFile,
    /// Line after line, every second one in reverse.
    Serpentine,
}

/// The plots in the order that they were passed, as positions in the plots file; `None` where the lines are not known.
///
/// The lines of a serpentine are passed in the order that they first stand in the plots file; within a line, plots are passed in the
/// order of the plots file, and on every second line in reverse.
pub(super) fn passed(
    document: &Document,
    descriptor: &TrialDescriptor,
    walk: &WalkSection,
    plots: &DataTable,
    findings: &mut Vec<Finding>,
) -> Option<Vec<usize>> {
    if walk.order.value == WalkOrder::PlotsFile {
        return Some((0..plots.len()).collect());
    }
    let block = descriptor.plots.as_ref().and_then(|plots| plots.block.as_ref());
    let Some(name) = walk.along.as_ref().or(block) else {
        let fault =
            document.fault("missing-key", &walk.order, "a serpentine runs along lines of plots, and none are named");
        let remedy =
            "add along = \"…\", the column of the plots file that tells the line of a plot, or block to [plots]";
        findings.push(fault.remedy(remedy));
        return None;
    };
    let lines = values(document, plots, name, findings, |cell| cell.label("line of the plot"))?;
    Some(serpentine(&lines))
}

fn serpentine(lines: &[&str]) -> Vec<usize> {
    let mut order: Vec<&str> = Vec::new();
    for line in lines {
        if !order.contains(line) {
            order.push(line);
        }
    }
    let plots_of = |wanted: &str| -> Vec<usize> {
        (0..).zip(lines).filter(|(_, line)| **line == wanted).map(|(plot, _)| plot).collect()
    };
    let passes = order.iter().enumerate().map(|(pass, line)| {
        let mut plots = plots_of(line);
        if pass % 2 == 1 {
            plots.reverse();
        }
        plots
    });
    passes.flatten().collect()
}

/// Gives every reading of a walk its plot, and its number within the plot as its leaf where leaves are not numbered. The readings of
/// one day are one walk; a missing one takes its place in it and is then left out. The days are returned.
///
/// # Errors
/// A day whose readings are not as many as the plots passed times the readings of a plot, with both numbers.
pub(super) fn assign(
    document: &Document,
    walk: &WalkSection,
    passed: &[usize],
    table: &DataTable,
    value_column: &Typed<String>,
    readings: &mut Vec<Reading>,
    findings: &mut Vec<Finding>,
) -> Vec<Date> {
    let per_plot = usize::try_from(walk.readings_per_plot.value).unwrap_or(usize::MAX);
    let expected = passed.len().saturating_mul(per_plot);
    let mut days: BTreeMap<Date, (usize, u32)> = BTreeMap::new();
    for reading in &mut *readings {
        let (count, last) = days.entry(reading.date).or_default();
        if let Some(plot) = passed.get(*count / per_plot.max(1)) {
            reading.plot = *plot;
            let leaf = || u32::try_from(*count % per_plot.max(1)).unwrap_or(u32::MAX).saturating_add(1);
            reading.leaf = reading.leaf.or_else(|| Some(leaf()));
        }
        *count += 1;
        *last = reading.row;
    }
    let before = findings.len();
    for (day, (count, last)) in days.iter().filter(|(_, (count, _))| *count != expected) {
        let text = format!(
            "the walk of {day} has {count} readings, and {} plots with {per_plot} readings each make {expected}",
            passed.len()
        );
        let remedy =
            "keep a row for every reading of the walk, with NA where it is missing; or correct readings_per_plot";
        let cell =
            column(document, table, value_column).ok().and_then(|column| column.cell(table.row_at(u64::from(*last))?));
        findings.extend(cell.map(|cell| cell.error("walk-count", text).remedy(remedy)));
    }
    if findings.len() > before {
        readings.clear();
        return Vec::new();
    }
    readings.retain(|reading| !reading.value.is_nan());
    days.into_keys().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_second_line_of_a_serpentine_is_passed_in_reverse() {
        assert_eq!(serpentine(&["1", "1", "1", "2", "2", "2", "3", "3"]), [0, 1, 2, 5, 4, 3, 6, 7]);
        assert_eq!(serpentine(&["a", "b", "a", "b"]), [0, 2, 3, 1]);
    }
}
