//! Readings by instrument and day, and single readings that cannot be.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::harvested::zeros;
use super::view::View;
use super::words::typed;
use crate::finding::{Finding, Place};
use crate::trial::{Excluded, Instrument, Reading};

/// A leaf chlorophyll reading below this is soil, midrib or an open chamber, and one above `HIGHEST_LEAF` is no leaf's (common practice).
const LOWEST_LEAF: f64 = 5.0;
const HIGHEST_LEAF: f64 = 100.0;
/// NDVI of a crop lies above 0 (water and snow lie below) and below this, where a canopy is closed and wet (common practice).
const HIGHEST_NDVI: f64 = 0.98;
/// Readings out of range are told one by one up to so many in a sensing, then once.
const MOST_SINGLE: usize = 5;

/// The readings of one instrument on one day.
pub(super) struct Sensed {
    pub(super) instrument: Instrument,
    pub(super) date: Date,
    /// Plots in the order of their rows (or as the field was walked); those whose readings are left out are absent.
    pub(super) reads: Vec<Read>,
    /// Whether the order is that of a walk.
    pub(super) walked: bool,
}

/// The readings of one plot on one day.
pub(super) struct Read {
    pub(super) plot: usize,
    pub(super) values: Vec<f64>,
    /// The first of them.
    pub(super) first: Reading,
}

impl Read {
    pub(super) fn mean(&self) -> f64 {
        self.values.iter().sum::<f64>() / self.values.len().max(1) as f64
    }

    /// The cell of its first reading.
    pub(super) fn place(&self, view: &View<'_>) -> Place {
        view.trial.place_of(&self.first)
    }
}

impl Sensed {
    /// *leaf-chlorophyll readings of 2024-04-02*.
    pub(super) fn label(&self) -> String {
        format!("{} readings of {}", self.instrument.name(), self.date)
    }
}

/// Readings by instrument and day without those at `impossible` positions of the trial's readings.
pub(super) fn sensed(view: &View<'_>, impossible: &BTreeSet<usize>) -> Vec<Sensed> {
    let trial = view.trial;
    let left_out: Vec<bool> = trial.plots.iter().map(|plot| plot.excluded(Excluded::Readings).is_some()).collect();
    let mut days: BTreeMap<(Instrument, Date), BTreeMap<usize, Read>> = BTreeMap::new();
    for (position, reading) in trial.readings.iter().enumerate() {
        if left_out.get(reading.plot) != Some(&false) || impossible.contains(&position) {
            continue;
        }
        let day = days.entry((reading.instrument, reading.date)).or_default();
        let read = day.entry(reading.plot).or_insert_with(|| Read {
            plot: reading.plot,
            values: Vec::new(),
            first: reading.clone(),
        });
        read.values.push(reading.value);
    }
    let sensed = days.into_iter().map(|((instrument, date), day)| {
        let mut reads: Vec<Read> = day.into_values().collect();
        let file = |reading: &Reading| trial.reading_columns.get(reading.column as usize).map(|column| column.file);
        reads.sort_by_key(|read| (file(&read.first), read.first.row));
        let walk = trial.walks.iter().find(|walk| walk.instrument == instrument && walk.date == date);
        if let Some(walk) = walk {
            let passed: BTreeMap<usize, usize> =
                walk.plots.iter().enumerate().map(|(passed, plot)| (*plot, passed)).collect();
            reads.sort_by_key(|read| passed.get(&read.plot).copied());
        }
        Sensed { instrument, date, reads, walked: walk.is_some() }
    });
    sensed.collect()
}

/// Readings that cannot be: a leaf below 5 or above 100, NDVI of a crop at or below 0 or above 0.98, a 0 among readings far from 0.
/// With the findings come the positions of those readings, so that no mean is judged by them.
pub(super) fn impossible(view: &View<'_>) -> (Vec<Finding>, BTreeSet<usize>) {
    let readings = &view.trial.readings;
    let mut by_day: BTreeMap<(Instrument, Date), Vec<(usize, f64)>> = BTreeMap::new();
    for (position, reading) in readings.iter().enumerate() {
        if view.plot(reading.plot).is_some_and(|plot| plot.excluded(Excluded::Readings).is_none()) {
            by_day.entry((reading.instrument, reading.date)).or_default().push((position, reading.value));
        }
    }
    let (mut findings, mut positions) = (Vec::new(), BTreeSet::new());
    for ((instrument, date), values) in by_day {
        let zeros: BTreeSet<usize> = zeros(&values).into_iter().collect();
        let cannot_be = |value: f64| match instrument {
            Instrument::LeafChlorophyll => !(LOWEST_LEAF..=HIGHEST_LEAF).contains(&value),
            Instrument::CanopyNdvi => value <= 0.0 || value > HIGHEST_NDVI,
        };
        let outside: Vec<usize> = values
            .iter()
            .filter(|(position, value)| cannot_be(*value) && !zeros.contains(position))
            .map(|(position, _)| *position)
            .collect();
        let code = match instrument {
            Instrument::LeafChlorophyll => "leaf-reading-range",
            Instrument::CanopyNdvi => "ndvi-range",
        };
        let usual = match instrument {
            Instrument::LeafChlorophyll => "leaves read between 5 and 100".to_owned(),
            Instrument::CanopyNdvi => format!("a crop reads above 0 and up to {HIGHEST_NDVI}"),
        };
        let what = format!("{} reading of {date}", instrument.name());
        findings.extend(told(view, code, &outside, values.len(), |reading| {
            format!("the {what} of plot {} is {}: {usual}", view.id(reading.plot), typed(reading.value))
        }));
        let zeros: Vec<usize> = zeros.into_iter().collect();
        findings.extend(told(view, "zero-for-missing", &zeros, values.len(), |reading| {
            format!("the {what} of plot {} is 0, while no other is near 0", view.id(reading.plot))
        }));
        positions.extend(outside.into_iter().chain(zeros));
    }
    (findings, positions)
}

/// A finding a reading, or one for all where they are many.
fn told(
    view: &View<'_>,
    code: &'static str,
    positions: &[usize],
    of: usize,
    text: impl Fn(&Reading) -> String,
) -> Vec<Finding> {
    let place = |reading: &Reading| view.trial.place_of(reading).value(typed(reading.value));
    let readings: Vec<&Reading> = positions.iter().filter_map(|position| view.trial.readings.get(*position)).collect();
    let remedy = "correct the cell, or leave it empty if there is no reading";
    match readings.first() {
        Some(first) if readings.len() > MOST_SINGLE => {
            let text = format!("{}; so are {} of {of} readings of that day", text(first), readings.len());
            vec![
                Finding::warning(code, place(first), text).remedy("check that this is the right column, and its scale"),
            ]
        }
        _ => readings
            .into_iter()
            .map(|reading| Finding::warning(code, place(reading), text(reading)).remedy(remedy))
            .collect(),
    }
}
