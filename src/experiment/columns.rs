//! Bare columns → groups.

use super::group::{ErrorStratum, GroupKey, LeftOut, PooledOver, ResponseGroup};
use crate::response::PooledError;
use crate::stats::levels::level_indices;
use crate::trial::{Columns, MissingYield};

/// Groups of bare columns: one for each level of the `by` factor, followed, where levels of another factor are compared, by one for each of
/// those. The first is then pooled over them.
///
/// `pooled_error` is that of treatment means.
#[must_use]
pub fn groups_of_columns(
    columns: &Columns,
    rate_unit: Option<String>,
    yield_unit: Option<String>,
    pooled_error: Option<PooledError>,
) -> Vec<ResponseGroup> {
    let parts = Parts { columns, rate_unit, yield_unit, pooled_error };
    let all: Vec<usize> = (0..columns.rates.len()).collect();
    let mut groups = Vec::new();
    for (level, rows) in by_level(columns.by.as_ref(), &all) {
        groups.push(parts.group(level, None, &rows));
        if !columns.factors.is_empty() {
            let levels = by_level(columns.factors.first(), &rows);
            groups.extend(levels.into_iter().map(|(one, rows)| parts.group(level, Some(one), &rows)));
        }
    }
    groups
}

/// The rows of each level of a factor, in the order in which they appear; all in one without a factor.
fn by_level<'c>(factor: Option<&'c (String, Vec<String>)>, rows: &[usize]) -> Vec<(&'c str, Vec<usize>)> {
    let level_of = |row: usize| factor.and_then(|(_, levels)| levels.get(row)).map_or("", String::as_str);
    let mut by_level: Vec<(&str, Vec<usize>)> = Vec::new();
    for &row in rows {
        let level = level_of(row);
        match by_level.iter_mut().find(|(known, _)| *known == level) {
            Some((_, rows)) => rows.push(row),
            None => by_level.push((level, vec![row])),
        }
    }
    by_level
}

/// What every group is made from.
struct Parts<'c> {
    columns: &'c Columns,
    rate_unit: Option<String>,
    yield_unit: Option<String>,
    pooled_error: Option<PooledError>,
}

impl Parts<'_> {
    /// The rows of a level of the `by` factor and, if not of all of them, of a level of the other factor.
    fn group(&self, by: &str, level: Option<&str>, rows: &[usize]) -> ResponseGroup {
        let columns = self.columns;
        let labels = columns.blocks.as_ref().map(|blocks| pick(blocks, rows));
        let pooled_over = columns.factors.first().filter(|_| level.is_none()).map(|(factor, levels)| {
            let labels = pick(levels, rows);
            let mut distinct = labels.clone();
            distinct.sort_unstable();
            distinct.dedup();
            PooledOver { factor: factor.clone(), levels: distinct, level_of: level_indices(&labels) }
        });
        let factor = columns.factors.first().zip(level);
        let missing = |missing: &&MissingYield| {
            missing.level == by
                && level.is_none_or(|level| missing.factor_levels.first().is_some_and(|own| own == level))
        };
        let replicates = columns.replicates.as_ref().map(|replicates| pick(replicates, rows));
        ResponseGroup {
            key: GroupKey {
                by: columns.by.as_ref().map(|(factor, _)| (factor.clone(), by.to_owned())),
                factors: factor.map(|((factor, _), level)| (factor.clone(), level.to_owned())).into_iter().collect(),
                ..GroupKey::default()
            },
            rates: pick(&columns.rates, rows),
            yields: pick(&columns.yields, rows),
            names: pick(&columns.rows, rows).iter().map(|row| format!("row {row}")).collect(),
            error_stratum: match (&replicates, &self.pooled_error, &labels, &pooled_over) {
                (Some(_), None, ..) => ErrorStratum::Means,
                (Some(_), Some(_), ..) => ErrorStratum::MeansWithPooledError,
                (None, _, None, None) => ErrorStratum::Plots,
                (None, _, None, Some(_)) => ErrorStratum::PlotsWithinLevels,
                (None, _, Some(_), None) => ErrorStratum::PlotsWithinBlocks,
                (None, _, Some(_), Some(_)) => ErrorStratum::PlotsWithinLevelsAndBlocks,
            },
            blocks: labels.map(|labels| level_indices(&labels)),
            pooled_over,
            replicates,
            pooled_error: self.pooled_error,
            left_out: columns
                .missing
                .iter()
                .filter(missing)
                .map(|missing| LeftOut { plot: format!("row {}", missing.row), reason: "yield missing".to_owned() })
                .collect(),
            rate_unit: self.rate_unit.clone(),
            yield_unit: self.yield_unit.clone(),
            with_excluded: None,
        }
    }
}

fn pick<T: Clone>(values: &[T], rows: &[usize]) -> Vec<T> {
    rows.iter().filter_map(|&row| values.get(row).cloned()).collect()
}
