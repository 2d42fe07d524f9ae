//! Readings joined to plots by key, put in order, and looked through for repeated ones.
//!
//! A million readings are joined without one allocation each: a key is looked up as it stands in the file.

use std::collections::HashMap;

use jiff::civil::Date;
use rayon::iter::ParallelIterator as _;
use rayon::slice::{ParallelSlice as _, ParallelSliceMut as _};

use crate::trial::{Instrument, Reading};

/// Between the parts of a composite key: no file of text can hold it.
const BETWEEN_PARTS: char = '\0';

/// The plots by their key.
pub(super) struct KeyIndex {
    /// One list a key column.
    parts: Vec<Vec<String>>,
    positions: HashMap<String, usize>,
}

impl KeyIndex {
    /// The plots of these keys, one list a key column.
    pub(super) fn of(parts: Vec<Vec<String>>) -> Self {
        let rows = parts.first().map_or(0, Vec::len);
        let mut positions = HashMap::with_capacity(rows);
        for row in 0..rows {
            let mut key = String::new();
            join_parts(&mut key, parts.iter().filter_map(|part| part.get(row)).map(String::as_str));
            positions.entry(key).or_insert(row);
        }
        Self { parts, positions }
    }

    /// The parts of the keys, one list a key column.
    pub(super) fn parts(&self) -> &[Vec<String>] {
        &self.parts
    }

    /// Number of plots.
    pub(super) fn len(&self) -> usize {
        self.parts.first().map_or(0, Vec::len)
    }

    /// Whether a key names several plots.
    pub(super) fn has_repeated(&self) -> bool {
        self.positions.len() < self.len()
    }

    /// The name of a plot: the parts of its key, joined.
    pub(super) fn id(&self, plot: usize) -> String {
        self.parts.iter().filter_map(|part| part.get(plot)).map(String::as_str).collect::<Vec<_>>().join("-")
    }

    /// The plot of a key; `buffer` is only room to work in. Readings mostly come in the order of the plots, so the plot behind the one
    /// `above` is tried first.
    pub(super) fn position<'k>(
        &self,
        key: impl Iterator<Item = &'k str> + Clone,
        above: Option<usize>,
        buffer: &mut String,
    ) -> Option<usize> {
        let next = above.map_or(0, |above| above + 1);
        let mut cells = key.clone();
        if self
            .parts
            .iter()
            .all(|part| cells.next().is_some_and(|cell| part.get(next).is_some_and(|part| part == cell)))
        {
            return Some(next);
        }
        buffer.clear();
        join_parts(buffer, key);
        self.positions.get(buffer.as_str()).copied()
    }
}

fn join_parts<'k>(key: &mut String, parts: impl Iterator<Item = &'k str>) {
    for (number, part) in parts.enumerate() {
        if number > 0 {
            key.push(BETWEEN_PARTS);
        }
        key.push_str(part);
    }
}

/// Puts readings in order of instrument, day, plot and leaf. The positions of the first and last reading of every plot × instrument ×
/// day × leaf that has several are returned, in the order that the first of them stand in the files.
pub(super) fn put_in_order(readings: &mut [Reading]) -> Vec<(usize, usize)> {
    // Most files are in order already, without a reading twice.
    if readings.par_windows(2).all(|pair| pair.first().map(key) < pair.last().map(key)) {
        return Vec::new();
    }
    // Stable, so that readings of one key stay in the order of the files.
    readings.par_sort_by_key(key);
    let mut repeated = Vec::new();
    let mut start = 0;
    for same in readings.chunk_by(|a, b| key(a) == key(b)) {
        if same.len() > 1 {
            repeated.push((start, start + same.len() - 1));
        }
        start += same.len();
    }
    repeated.sort_by_key(|(first, _)| readings.get(*first).map(|reading| (reading.column, reading.row)));
    repeated
}

fn key(reading: &Reading) -> (Instrument, Date, usize, Option<u32>) {
    (reading.instrument, reading.date, reading.plot, reading.leaf)
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn reading(row: u32, plot: usize, day: i8, leaf: Option<u32>) -> Reading {
        let date = date(2025, 4, day);
        Reading {
            plot,
            instrument: Instrument::CanopyNdvi,
            date,
            stage: None,
            leaf,
            position: None,
            value: 1.0,
            column: 0,
            row,
        }
    }

    fn rows(readings: &[Reading]) -> Vec<u32> {
        readings.iter().map(|reading| reading.row).collect()
    }

    #[test]
    fn readings_come_in_order_of_day_plot_and_leaf() {
        let mut readings =
            [reading(0, 1, 2, None), reading(1, 0, 2, Some(3)), reading(2, 1, 1, None), reading(3, 0, 2, Some(2))];
        assert_eq!(put_in_order(&mut readings), []);
        assert_eq!(rows(&readings), [2, 3, 1, 0]);
        assert_eq!(put_in_order(&mut readings), [], "in order already");
        assert_eq!(rows(&readings), [2, 3, 1, 0]);
    }

    #[test]
    fn readings_of_one_plot_day_and_leaf_are_repeated_also_where_leaves_have_no_number() {
        let leaves = [Some(2), None, Some(2), None, Some(3)];
        let mut readings: Vec<Reading> = (0..).zip(leaves).map(|(row, leaf)| reading(row, 0, 1, leaf)).collect();
        assert_eq!(put_in_order(&mut readings), [(2, 3), (0, 1)], "the one that comes first in the file is told first");
        assert_eq!(rows(&readings), [1, 3, 0, 2, 4]);
    }

    #[test]
    fn instruments_are_kept_apart() {
        let leaf = Reading { instrument: Instrument::LeafChlorophyll, ..reading(0, 0, 1, None) };
        let mut readings = [leaf, reading(1, 0, 1, None)];
        assert_eq!(put_in_order(&mut readings), []);
        assert_eq!(rows(&readings), [1, 0]);
    }

    #[test]
    fn parts_of_a_key_are_joined_part_by_part() {
        let texts = |texts: [&str; 2]| texts.map(str::to_owned).to_vec();
        let index = KeyIndex::of(vec![texts(["1", "1-2"]), texts(["2-3", "3"])]);
        for above in [None, Some(0), Some(1)] {
            let position = |key: [&'static str; 2]| index.position(key.into_iter(), above, &mut String::new());
            assert_eq!(position(["1-2", "3"]), Some(1));
            assert_eq!(position(["1", "2-3"]), Some(0));
            assert_eq!(position(["1-2-3", ""]), None);
        }
        assert!(!index.has_repeated());
        assert!(KeyIndex::of(vec![texts(["1", "1"])]).has_repeated());
    }
}
