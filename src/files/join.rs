//! Readings joined to plots by key, put in order, and looked through for repeated ones.
//!
//! A million readings are joined without one allocation each: a key is looked up as it stands in the file, and a reading is a
//! handful of numbers until its order is known.

use std::collections::HashMap;

use jiff::civil::Date;
use rayon::slice::ParallelSliceMut as _;

use crate::trial::Instrument;

/// Between the parts of a composite key: no file of text can hold it.
const BETWEEN_PARTS: char = '\0';

/// Positions of plots by their key.
pub(super) struct KeyIndex {
    positions: HashMap<String, u32>,
}

impl KeyIndex {
    /// The plots of these keys, one list a key column.
    pub(super) fn of(keys: &[Vec<String>]) -> Self {
        let mut positions = HashMap::new();
        for row in 0..keys.first().map_or(0, Vec::len) {
            let mut key = String::new();
            join_parts(&mut key, keys.iter().filter_map(|part| part.get(row)).map(String::as_str));
            positions.entry(key).or_insert(row as u32);
        }
        Self { positions }
    }

    /// The plot of a key of several parts; `buffer` is only room to work in.
    pub(super) fn position<'k>(&self, buffer: &mut String, parts: impl Iterator<Item = &'k str>) -> Option<u32> {
        buffer.clear();
        join_parts(buffer, parts);
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

/// A reading as it was found: numbers only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    /// Position of its plot; [`UNKNOWN`] where its key is no plot's.
    pub(super) plot: u32,
    /// Position of its row in its table.
    pub(super) row: u32,
    /// Position of the column it stands in, among those that were read.
    pub(super) origin: u32,
    pub(super) day: Date,
    /// Position of its stage among those that were met, from 1; 0 where it has none.
    pub(super) stage: u32,
    /// One more than its leaf; 0 where it has none.
    pub(super) leaf: u32,
    pub(super) value: f64,
}

/// The plot of a reading whose key is no plot's.
pub(super) const UNKNOWN: u32 = u32::MAX;

/// Readings of plots in order of instrument, day, plot and leaf, by their positions.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Ordered {
    pub(super) positions: Vec<u32>,
    /// First and last reading of every plot × instrument × day × leaf that has several.
    pub(super) repeated: Vec<(u32, u32)>,
}

/// Puts readings in order; those without a plot are left out.
pub(super) fn order(readings: &[Found], instrument: impl Fn(u32) -> Instrument) -> Ordered {
    let known = || readings.iter().enumerate().filter(|(_, found)| found.plot != UNKNOWN);
    let keys = || known().map(|(position, found)| key(found, instrument(found.origin), position));
    // Most files are in order already, without a reading twice.
    let in_order = keys().zip(keys().skip(1)).all(|(a, b)| a >> 32 < b >> 32);
    if in_order {
        return Ordered { positions: known().map(|(position, _)| position as u32).collect(), repeated: Vec::new() };
    }
    let mut keys: Vec<u128> = keys().collect();
    keys.par_sort_unstable();
    let same = |a: &u128, b: &u128| a >> 32 == b >> 32;
    let mut repeated: Vec<(u32, u32)> = keys
        .chunk_by(same)
        .filter(|group| group.len() > 1)
        .filter_map(|group| Some((*group.first()? as u32, *group.last()? as u32)))
        .collect();
    repeated.sort_unstable();
    Ordered { positions: keys.into_iter().map(|key| key as u32).collect(), repeated }
}

/// Instrument (2 bits), day (24), plot (32), leaf (32) and position (32), so that numbers compare as readings do.
fn key(found: &Found, instrument: Instrument, position: usize) -> u128 {
    let (year, month, day) = (found.day.year(), found.day.month(), found.day.day());
    // Years run from -9999 to 9999.
    let day = (i32::from(year) + 10_000) * 512 + i32::from(month) * 32 + i32::from(day);
    let high = u128::from(instrument as u8) << 24 | day as u128;
    ((high << 32 | u128::from(found.plot)) << 32 | u128::from(found.leaf)) << 32 | position as u128
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn found(plot: u32, day: i8, leaf: u32) -> Found {
        Found { plot, row: 0, origin: 0, day: date(2025, 4, day), stage: 0, leaf, value: 1.0 }
    }

    fn ordered(readings: &[Found]) -> Ordered {
        order(readings, |_| Instrument::CanopyNdvi)
    }

    #[test]
    fn readings_come_in_order_of_day_plot_and_leaf() {
        let readings = [found(1, 2, 0), found(0, 2, 3), found(1, 1, 0), found(0, 2, 2), found(UNKNOWN, 1, 0)];
        assert_eq!(ordered(&readings), Ordered { positions: vec![2, 3, 1, 0], repeated: vec![] });
    }

    #[test]
    fn readings_of_one_plot_day_and_leaf_are_repeated_also_where_leaves_have_no_number() {
        let readings = [found(0, 1, 0), found(0, 1, 2), found(0, 1, 0), found(0, 1, 2), found(0, 1, 3)];
        assert_eq!(ordered(&readings).repeated, [(0, 2), (1, 3)]);
    }

    #[test]
    fn instruments_are_kept_apart() {
        let readings = [Found { origin: 1, ..found(0, 1, 0) }, found(0, 1, 0)];
        let instruments = [Instrument::CanopyNdvi, Instrument::LeafChlorophyll];
        let ordered = order(&readings, |origin| instruments[origin as usize]);
        assert_eq!(ordered, Ordered { positions: vec![1, 0], repeated: vec![] });
    }

    #[test]
    fn parts_of_a_key_are_joined_part_by_part() {
        let texts = |texts: [&str; 2]| texts.map(str::to_owned).to_vec();
        let index = KeyIndex::of(&[texts(["1", "1-2"]), texts(["2-3", "3"])]);
        let mut buffer = String::new();
        assert_eq!(index.position(&mut buffer, ["1-2", "3"].into_iter()), Some(1));
        assert_eq!(index.position(&mut buffer, ["1", "2-3"].into_iter()), Some(0));
        assert_eq!(index.position(&mut buffer, ["1-2-3"].into_iter()), None);
    }
}
