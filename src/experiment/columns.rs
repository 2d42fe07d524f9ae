//! Bare columns → groups.

use std::collections::{BTreeMap, BTreeSet};

use super::group::{ErrorStratum, GroupKey, LeftOut, PooledOver, ResponseGroup};
use crate::response::PooledError;
use crate::stats::levels::level_indices;
use crate::trial::{Columns, Design, MissingYield};

/// Groups of bare columns: one for each level of the `by` factor, followed, where levels of another factor (the first of
/// [`Columns::factors`]) are compared, by one for each of those. The first is then pooled over them.
///
/// Where N lies on main plots or strips, an observation is the mean of one: of the plots of a group in one block at one rate, and at one
/// level of each factor that lies where N does. It is left out where it lacks a level that others of its block hold: its mean would differ
/// from theirs by more than N. Where N varies within main plots, these take the place of the blocks.
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
        let factor = columns.factors.first();
        let stratum = self.error_stratum(factor.is_some() && level.is_none());
        let is_missing = |missing: &&MissingYield| {
            missing.level == by
                && level.is_none_or(|level| missing.factor_levels.first().is_some_and(|own| own == level))
        };
        let missing = columns.missing.iter().filter(is_missing);
        let mut without: Vec<LeftOut> = missing.map(|missing| left_out(missing.row, "yield missing")).collect();
        let observed = match stratum.observed_as() {
            Some(whole) => self.means_of_whole(rows, whole, &mut without),
            None => rows.iter().filter_map(|&row| Some((row, *columns.yields.get(row)?))).collect(),
        };
        let firsts: Vec<usize> = observed.iter().map(|(row, _)| *row).collect();
        let pooled_over = factor.filter(|_| level.is_none()).map(|(factor, levels)| PooledOver {
            factor: factor.clone(),
            levels: pick(levels, rows).into_iter().collect::<BTreeSet<_>>().into_iter().collect(),
            level_of: (stratum.observed_as().is_none() || self.lies_with_n(factor))
                .then(|| level_indices(&pick(levels, &firsts))),
        });
        let name = stratum.observed_as().map_or_else(|| "row".to_owned(), |whole| format!("the {whole} of row"));
        ResponseGroup {
            key: GroupKey {
                by: columns.by.as_ref().map(|(factor, _)| (factor.clone(), by.to_owned())),
                factors: factor
                    .zip(level)
                    .map(|((factor, _), level)| (factor.clone(), level.to_owned()))
                    .into_iter()
                    .collect(),
                ..GroupKey::default()
            },
            rates: pick(&columns.rates, &firsts),
            yields: observed.iter().map(|(_, value)| *value).collect(),
            names: pick(&columns.rows, &firsts).iter().map(|row| format!("{name} {row}")).collect(),
            blocks: columns.blocks.as_ref().map(|blocks| level_indices(&pick(blocks, &firsts))),
            within_blocks: self.within(&firsts, stratum),
            pooled_over,
            replicates: columns.replicates.as_ref().map(|replicates| pick(replicates, rows)),
            pooled_error: self.pooled_error,
            error_stratum: stratum,
            left_out: without,
            rate_unit: self.rate_unit.clone(),
            yield_unit: self.yield_unit.clone(),
            with_excluded: None,
        }
    }

    /// The stratum that N is tested in, in a group of all levels of a factor (`pooled`) or one without.
    fn error_stratum(&self, pooled: bool) -> ErrorStratum {
        let Columns { design, blocks, replicates, rate_name, .. } = self.columns;
        match (replicates, self.pooled_error, design) {
            (Some(_), None, _) => ErrorStratum::Means,
            (Some(_), Some(_), _) => ErrorStratum::MeansWithPooledError,
            (None, _, Design::SplitPlot { main_plot }) if main_plot.contains(rate_name) => ErrorStratum::MainPlots,
            (None, _, Design::SplitPlot { .. }) => ErrorStratum::Subplots,
            (None, _, Design::StripPlot { .. }) => ErrorStratum::Strips,
            (None, _, Design::CompletelyRandomised | Design::RandomisedCompleteBlock) => match (blocks, pooled) {
                (None, false) => ErrorStratum::Plots,
                (None, true) => ErrorStratum::PlotsWithinLevels,
                (Some(_), false) => ErrorStratum::PlotsWithinBlocks,
                (Some(_), true) => ErrorStratum::PlotsWithinLevelsAndBlocks,
            },
        }
    }

    /// Whether a factor lies where N does: both on main plots, both within them, or both on the strips that run one way.
    fn lies_with_n(&self, factor: &String) -> bool {
        let named = self.columns.design.named_factors();
        named.contains(factor) == named.contains(&self.columns.rate_name)
    }

    /// The levels of a row, of the factors that lie where N does or of those that do not.
    fn levels_of(&self, row: usize, with_n: bool) -> Vec<(&str, &str)> {
        let factors = self.columns.factors.iter().chain(&self.columns.design_factors);
        let factors = factors.filter(|(factor, _)| self.lies_with_n(factor) == with_n);
        factors.filter_map(|(factor, levels)| Some((factor.as_str(), levels.get(row)?.as_str()))).collect()
    }

    /// What N varies within, where that is less than a block: a main plot, or a level of the factors that share main plots or strips with N.
    fn within(&self, rows: &[usize], stratum: ErrorStratum) -> Option<Vec<usize>> {
        let with_n = match stratum {
            ErrorStratum::Subplots => false,
            ErrorStratum::MainPlots | ErrorStratum::Strips => true,
            _ => return None,
        };
        let levels: Vec<_> = rows.iter().map(|row| self.levels_of(*row, with_n)).collect();
        let varies = levels.iter().any(|own| Some(own) != levels.first());
        let cells = rows.iter().zip(levels).map(|(row, levels)| (self.block(*row), levels));
        varies.then(|| level_indices(&cells.collect::<Vec<_>>()))
    }

    fn block(&self, row: usize) -> Option<&str> {
        self.columns.blocks.as_ref()?.get(row).map(String::as_str)
    }

    /// The main plots or strips (`whole`) that N lies on, each as its first row and its mean, in the order of their first rows. Levels
    /// of factors that lie across them count alike, however many plots they have.
    fn means_of_whole(&self, rows: &[usize], whole: &str, without: &mut Vec<LeftOut>) -> Vec<(usize, f64)> {
        let columns = self.columns;
        // Within one of these all means are of the same levels, or they would differ by more than N.
        let place = |row: usize| (self.block(row), self.levels_of(row, true));
        let mut held: BTreeMap<_, BTreeSet<_>> = BTreeMap::new();
        let mut wholes: BTreeMap<_, BTreeMap<_, Vec<usize>>> = BTreeMap::new();
        for &row in rows {
            let (place, across) = (place(row), self.levels_of(row, false));
            // Zero with a minus sign is the same rate.
            let rate = columns.rates.get(row).map(|rate| (rate + 0.0).to_bits());
            held.entry(place.clone()).or_default().insert(across.clone());
            wholes.entry((place, rate)).or_default().entry(across).or_default().push(row);
        }
        let mut means = Vec::new();
        for ((place, _), cells) in wholes {
            let lacking = held.get(&place).and_then(|held| held.iter().find(|across| !cells.contains_key(*across)));
            if let Some(across) = lacking {
                let level: Vec<String> = across.iter().map(|(factor, level)| format!("{factor} {level}")).collect();
                let reason = format!("its {whole} has no yield of {}", level.join(", "));
                let rows = cells.values().flatten().filter_map(|row| columns.rows.get(*row));
                without.extend(rows.map(|row| left_out(*row, &reason)));
                continue;
            }
            let of_rows = |rows: &Vec<usize>| mean(pick(&columns.yields, rows));
            let value = mean(cells.values().map(of_rows).collect());
            means.extend(cells.values().flatten().min().map(|first| (*first, value)));
        }
        means.sort_by_key(|(first, _)| *first);
        means
    }
}

fn left_out(row: u64, reason: &str) -> LeftOut {
    LeftOut { plot: format!("row {row}"), reason: reason.to_owned() }
}

fn mean(values: Vec<f64>) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn pick<T: Clone>(values: &[T], rows: &[usize]) -> Vec<T> {
    rows.iter().filter_map(|&row| values.get(row).cloned()).collect()
}
