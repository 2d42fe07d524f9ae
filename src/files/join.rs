//! Readings joined to plots by key, in polars: its frames stay within this file.

use polars::prelude::{
    Column, DataFrame, DataType, Expr, IntoLazy, JoinArgs, JoinType, LazyFrame, PolarsResult, SortMultipleOptions, col,
    len,
};

/// Readings column by column; all columns have one length.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// Number of the file it stands in.
    pub(super) file: Vec<u32>,
    /// One list a key column.
    pub(super) keys: Vec<Vec<String>>,
    /// Rank of the instrument.
    pub(super) instrument: Vec<u32>,
    /// The date as a number, year × 10 000 + month × 100 + day.
    pub(super) day: Vec<i32>,
    /// Leaf, where leaves are numbered.
    pub(super) leaf: Vec<Option<u32>>,
}

/// What the join made of [`Rows`]; readings are named by their position there.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Joined {
    /// Reading and its plot, in order of instrument, day, plot, leaf.
    pub(super) matched: Vec<(u32, u32)>,
    /// The first reading of every key in a file that is no plot's, with the number of readings that share it.
    pub(super) unmatched: Vec<(u32, u32)>,
    /// First and last reading of every plot × instrument × day × leaf that has several.
    pub(super) repeated: Vec<(u32, u32)>,
}

/// Joins readings to plots by key and looks for repeated ones. `plots` holds one list a key column.
///
/// # Errors
/// Columns of unequal length; nothing in their content makes it fail.
pub(super) fn join(plots: &[Vec<String>], readings: &Rows) -> PolarsResult<Joined> {
    let on: Vec<Expr> = (0..plots.len()).map(|part| col(key_name(part))).collect();
    let plots = frame("plot", plots, Vec::new())?;
    let columns = vec![
        Column::new("file".into(), &readings.file),
        Column::new("instrument".into(), &readings.instrument),
        Column::new("day".into(), &readings.day),
        Column::new("leaf".into(), &readings.leaf),
    ];
    let readings = frame("reading", &readings.keys, columns)?;
    // Collected once, since three questions are asked of it.
    let joined = readings.join(plots, &on, &on, JoinArgs::new(JoinType::Left)).collect()?.lazy();
    let count = || len().cast(DataType::UInt32).alias("count");
    let first = || col("reading").min().alias("first");
    let last = || col("reading").max().alias("last");

    let one_key: Vec<Expr> = std::iter::once(col("file")).chain(on).collect();
    let unmatched = joined.clone().filter(col("plot").is_null()).group_by(one_key).agg([first(), count()]);
    let unmatched = sorted(unmatched, &["first"])?;

    let matched = joined.filter(col("plot").is_not_null());
    let one_reading = ["instrument", "day", "plot", "leaf"].map(col);
    let repeated = matched.clone().group_by(one_reading).agg([first(), last()]);
    let repeated = sorted(repeated.filter(col("first").neq(col("last"))), &["first"])?;
    let matched = sorted(matched, &["instrument", "day", "plot", "leaf", "reading"])?;

    Ok(Joined {
        matched: pairs(&matched, "reading", "plot")?,
        unmatched: pairs(&unmatched, "first", "count")?,
        repeated: pairs(&repeated, "first", "last")?,
    })
}

fn key_name(part: usize) -> String {
    format!("key {part}")
}

/// Key columns and further ones, with each row's position under `position`.
fn frame(position: &str, keys: &[Vec<String>], mut columns: Vec<Column>) -> PolarsResult<LazyFrame> {
    let height = keys.first().map_or(0, Vec::len);
    columns.extend(keys.iter().enumerate().map(|(part, key)| Column::new(key_name(part).into(), key)));
    Ok(DataFrame::new(height, columns)?.lazy().with_row_index(position, None))
}

fn sorted(frame: LazyFrame, by: &[&str]) -> PolarsResult<DataFrame> {
    frame.sort(by.iter().copied(), SortMultipleOptions::default()).collect()
}

fn pairs(frame: &DataFrame, first: &str, second: &str) -> PolarsResult<Vec<(u32, u32)>> {
    let (first, second) = (frame.column(first)?.u32()?, frame.column(second)?.u32()?);
    Ok(first.iter().flatten().zip(second.iter().flatten()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(texts: &[&str]) -> Vec<String> {
        texts.iter().map(|text| (*text).to_owned()).collect()
    }

    fn rows(plots: &[&str], days: &[i32], leaves: &[Option<u32>]) -> Rows {
        Rows {
            file: vec![0; plots.len()],
            keys: vec![texts(plots)],
            instrument: vec![0; plots.len()],
            day: days.to_vec(),
            leaf: leaves.to_vec(),
        }
    }

    #[test]
    fn readings_come_in_order_of_day_plot_and_leaf_with_their_plot() {
        let readings = rows(&["b", "a", "b", "a"], &[1, 1, 0, 1], &[None, Some(2), None, Some(1)]);
        let joined = join(&[texts(&["a", "b"])], &readings).unwrap();
        assert_eq!(joined.matched, [(2, 1), (3, 0), (1, 0), (0, 1)]);
        assert_eq!((joined.unmatched, joined.repeated), (vec![], vec![]));
    }

    #[test]
    fn a_key_that_is_no_plots_is_told_once_with_its_count() {
        let joined = join(&[texts(&["a"])], &rows(&["x", "a", "x", "y"], &[0; 4], &[None; 4])).unwrap();
        assert_eq!(joined.unmatched, [(0, 2), (3, 1)]);
    }

    #[test]
    fn readings_of_one_plot_day_and_leaf_are_repeated_also_where_leaves_have_no_number() {
        let leaves = [None, Some(1), None, Some(1), Some(2)];
        let joined = join(&[texts(&["a"])], &rows(&["a"; 5], &[0; 5], &leaves)).unwrap();
        assert_eq!(joined.repeated, [(0, 2), (1, 3)]);
    }

    #[test]
    fn parts_of_a_key_are_joined_part_by_part() {
        let plots = [texts(&["1", "1-2"]), texts(&["2-3", "3"])];
        let readings = Rows { keys: vec![texts(&["1-2"]), texts(&["3"])], ..rows(&["-"], &[0], &[None]) };
        assert_eq!(join(&plots, &readings).unwrap().matched, [(0, 1)]);
    }

    #[test]
    fn no_readings_are_no_fault() {
        assert_eq!(join(&[texts(&["a"])], &rows(&[], &[], &[])).unwrap(), Joined::default());
    }
}
