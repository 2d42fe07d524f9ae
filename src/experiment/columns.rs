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
/// level of each factor that lies where N does. It is left out where it lacks a level that others of its block hold, or has fewer plots
/// than most: its mean would differ from theirs by more than N. Where N varies within main plots, these take the place of the blocks.
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
            laid_with_n: columns
                .factors
                .iter()
                .map(|(factor, _)| factor.clone())
                .filter(|it| self.lies_with_n(it))
                .collect(),
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
    /// of factors that lie across them count alike, however many plots they have. One that is short of plots is left out.
    fn means_of_whole(&self, rows: &[usize], whole: &str, without: &mut Vec<LeftOut>) -> Vec<(usize, f64)> {
        let columns = self.columns;
        let mut wholes: BTreeMap<_, BTreeMap<_, Vec<usize>>> = BTreeMap::new();
        for &row in rows {
            // Within a place means must be of the same levels, or they would differ by more than N.
            let place = (self.block(row), self.levels_of(row, true));
            // Zero with a minus sign is the same rate.
            let rate = columns.rates.get(row).map(|rate| (rate + 0.0).to_bits());
            wholes.entry((place, rate)).or_default().entry(self.levels_of(row, false)).or_default().push(row);
        }
        let mut held: BTreeMap<_, BTreeSet<_>> = BTreeMap::new();
        let mut counts: BTreeMap<_, Vec<usize>> = BTreeMap::new();
        for ((place, _), cells) in &wholes {
            for (across, rows) in cells {
                held.entry(place).or_default().insert(across);
                counts.entry(across).or_default().push(rows.len());
            }
        }
        let usual: BTreeMap<_, usize> = counts.iter().map(|(across, counts)| (*across, most_common(counts))).collect();
        let short = |place, cells: &BTreeMap<_, Vec<usize>>| {
            held.get(place)?.iter().find_map(|across| {
                let (plots, usual) = (cells.get(*across).map_or(0, Vec::len), *usual.get(*across)?);
                let of: String = across.iter().map(|(factor, level)| format!(" of {factor} {level}")).collect();
                match plots {
                    0 => Some(format!("its {whole} has no yield{of}")),
                    few if few < usual => Some(format!(
                        "its {whole} has {few} yield{}{of} where most have {usual}",
                        if few == 1 { "" } else { "s" }
                    )),
                    _ => None,
                }
            })
        };
        let mut means = Vec::new();
        for ((place, _), cells) in &wholes {
            if let Some(reason) = short(place, cells) {
                let rows = cells.values().flatten().filter_map(|row| columns.rows.get(*row));
                without.extend(rows.map(|row| left_out(*row, &reason)));
                continue;
            }
            let value = mean(cells.values().map(|rows| mean(pick(&columns.yields, rows))).collect());
            means.extend(cells.values().flatten().min().map(|first| (*first, value)));
        }
        means.sort_by_key(|(first, _)| *first);
        means
    }
}

/// The number that is there most often; the largest of several.
fn most_common(numbers: &[usize]) -> usize {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable();
    let most = sorted.chunk_by(|a, b| a == b).max_by_key(|alike| alike.len());
    most.and_then(|alike| alike.first()).copied().unwrap_or(0)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::{FitOptions, FittedGroup, compare_factors};

    /// Two blocks, each with the rates 0, 50 and 100 under two varieties, in that order; the second yields 3 more, and block and rate show.
    fn columns(design: Design) -> Columns {
        let plots = || (0..12_usize).map(|row| (row / 6, row % 6 / 2, row % 2));
        let label = |text: &str, number: usize| format!("{text}{number}");
        Columns {
            file: "plots.csv".to_owned(),
            rate_name: "n".to_owned(),
            yield_name: "y".to_owned(),
            rates: plots().map(|(_, rate, _)| 50.0 * rate as f64).collect(),
            yields: plots().map(|(block, rate, variety)| (10 * block + 4 * rate + 3 * variety) as f64).collect(),
            design,
            blocks: Some(plots().map(|(block, ..)| label("b", block)).collect()),
            by: None,
            factors: Vec::new(),
            design_factors: vec![("variety".to_owned(), plots().map(|(.., variety)| label("v", variety)).collect())],
            site_years: None,
            replicates: None,
            rows: (2..14).collect(),
            missing: Vec::new(),
        }
    }

    fn split(main_plot: &[&str]) -> Design {
        Design::SplitPlot { main_plot: main_plot.iter().map(|name| (*name).to_owned()).collect() }
    }

    fn strip(strip: &[&str]) -> Design {
        Design::StripPlot { strip: strip.iter().map(|name| (*name).to_owned()).collect() }
    }

    /// The factor that the design names is also compared.
    fn compared(design: Design) -> Columns {
        let columns = columns(design);
        Columns { factors: columns.design_factors.clone(), design_factors: Vec::new(), ..columns }
    }

    /// The columns without a row, as if it had no yield.
    fn without(columns: &Columns, row: usize) -> Columns {
        let rows: Vec<usize> = (0..columns.rates.len()).filter(|kept| *kept != row).collect();
        let kept = |factors: &[(String, Vec<String>)]| {
            factors.iter().map(|(name, levels)| (name.clone(), pick(levels, &rows))).collect::<Vec<_>>()
        };
        Columns {
            rates: pick(&columns.rates, &rows),
            yields: pick(&columns.yields, &rows),
            blocks: columns.blocks.as_ref().map(|blocks| pick(blocks, &rows)),
            factors: kept(&columns.factors),
            design_factors: kept(&columns.design_factors),
            rows: pick(&columns.rows, &rows),
            ..columns.clone()
        }
    }

    fn groups(columns: &Columns) -> Vec<ResponseGroup> {
        groups_of_columns(columns, None, None, None)
    }

    fn error_df(group: &ResponseGroup) -> usize {
        group.observations().unwrap().analysis().error_df
    }

    #[test]
    fn main_plots_take_the_place_of_blocks_where_n_varies_within_them() {
        let group = groups(&columns(split(&["variety"]))).remove(0);
        assert_eq!((group.error_stratum, group.block_count()), (ErrorStratum::Subplots, 2));
        // 12 plots less 4 main plots and 2 contrasts of rates.
        assert_eq!(error_df(&group), 6);
        let in_blocks = groups(&columns(Design::RandomisedCompleteBlock)).remove(0);
        assert_eq!((in_blocks.error_stratum, error_df(&in_blocks)), (ErrorStratum::PlotsWithinBlocks, 8));
        let of_each = groups(&compared(split(&["variety"])));
        assert_eq!(of_each.iter().map(error_df).collect::<Vec<_>>(), [6, 2, 2]);
        assert!(of_each.iter().all(|group| group.error_stratum == ErrorStratum::Subplots));
    }

    #[test]
    fn where_n_is_on_main_plots_or_strips_an_observation_is_the_mean_of_one() {
        let designs = [
            (split(&["n"]), ErrorStratum::MainPlots, "the main plot of row 4"),
            (strip(&["n"]), ErrorStratum::Strips, "the strip of row 4"),
            (strip(&["variety"]), ErrorStratum::Strips, "the strip of row 4"),
        ];
        for (design, stratum, second) in designs {
            let group = groups(&columns(design)).remove(0);
            assert_eq!((group.error_stratum, group.names[1].as_str()), (stratum, second));
            assert_eq!(group.rates, [0.0, 50.0, 100.0, 0.0, 50.0, 100.0]);
            assert_eq!(group.yields, [1.5, 5.5, 9.5, 11.5, 15.5, 19.5]);
            assert_eq!(error_df(&group), 2, "6 means less 2 blocks and 2 contrasts of rates");
        }
    }

    #[test]
    fn a_strip_or_main_plot_that_is_short_of_plots_is_left_out() {
        // Row 7 is the second variety at 100 in the first block.
        let group = groups(&without(&columns(strip(&["variety"])), 5)).remove(0);
        assert_eq!(group.yields, [1.5, 5.5, 11.5, 15.5, 19.5]);
        let reason = "its strip has no yield of variety v1".to_owned();
        assert_eq!(group.left_out, [LeftOut { plot: "row 6".to_owned(), reason }]);
        let of_levels = groups(&without(&compared(strip(&["variety"])), 5));
        assert_eq!(of_levels.iter().map(|group| group.rates.len()).collect::<Vec<_>>(), [5, 6, 5]);
        // With no factor named across them, the number of plots tells.
        let unnamed = Columns { design_factors: Vec::new(), ..without(&columns(split(&["n"])), 5) };
        let group = groups(&unnamed).remove(0);
        assert_eq!(group.yields, [1.5, 5.5, 11.5, 15.5, 19.5]);
        assert_eq!(group.left_out[0].reason, "its main plot has 1 yield where most have 2");
        // Where the whole block does without the level, its means are alike.
        let whole = [5, 3, 1].iter().fold(columns(strip(&["variety"])), |columns, row| without(&columns, *row));
        assert_eq!(groups(&whole).remove(0).yields, [0.0, 4.0, 8.0, 11.5, 15.5, 19.5]);
    }

    #[test]
    fn levels_count_alike_in_a_mean_however_many_plots_they_have() {
        let mut twice = columns(split(&["n"]));
        twice.factors = std::mem::take(&mut twice.design_factors);
        // The first row is a second plot of its variety in its main plot.
        twice.rates[2] = 0.0;
        twice.yields[2] = 2.0;
        let group = groups(&twice).remove(0);
        // Main plot at 0: 0 and 2 of the one variety, 3 of the other. At 50 the first variety is now missing.
        assert_eq!((group.yields[0], group.left_out.len()), (2.0, 1));
    }

    #[test]
    fn a_factor_that_shares_main_plots_with_n_keeps_a_height_of_its_own() {
        let group = groups(&compared(split(&["n", "variety"]))).remove(0);
        assert_eq!((group.error_stratum, group.rates.len()), (ErrorStratum::MainPlots, 12));
        assert_eq!(error_df(&group), 6);
        assert!(group.pooled_over.unwrap().level_of.is_some());
        let averaged = groups(&compared(split(&["n"]))).remove(0);
        assert!(averaged.pooled_over.unwrap().level_of.is_none());
    }

    #[test]
    fn levels_that_share_the_strips_of_n_are_not_compared_by_their_curves() {
        let options = FitOptions { permutations: 0, ..FitOptions::new(0.95, 1) };
        let fitted: Vec<FittedGroup> =
            groups(&compared(strip(&["n"]))).into_iter().map(|group| FittedGroup::fit(group, &options)).collect();
        let comparison = compare_factors(&fitted).remove(0);
        assert_eq!(comparison.levels, ["v0", "v1"]);
        assert!(comparison.outcome.unwrap_err().contains("N is on strips, which the levels of variety share"));
        // With strips of their own they share none.
        let mut own = compared(strip(&["n", "variety"]));
        own.yields[0] += 1.0;
        let fitted: Vec<FittedGroup> =
            groups(&own).into_iter().map(|group| FittedGroup::fit(group, &options)).collect();
        let test = compare_factors(&fitted).remove(0).outcome.unwrap().test.interaction.unwrap();
        // Each level leaves 6 strips less 2 blocks and 2 contrasts of rates.
        assert_eq!((test.df, test.error_df), (2, 4));
    }
}
