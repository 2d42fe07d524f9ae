//! Whether every combination of a design has equally many plots.

use std::collections::BTreeMap;

use super::experiment::Experiment;
use super::terms::Cells;

/// Whether sums of squares of all effects and errors are orthogonal: every treatment in every block, block in every site-year and whole
/// unit as often as any other.
pub(super) fn is_balanced(experiment: &Experiment, cells: &Cells) -> bool {
    let plots = experiment.plots();
    let full = |tally: &BTreeMap<(usize, usize), usize>, rows: usize, columns: usize| {
        tally.len() == rows * columns && all_equal(tally.values().copied())
    };
    let tally = |of: &dyn Fn(usize) -> (usize, usize)| {
        let mut tally = BTreeMap::new();
        (0..plots).for_each(|row| *tally.entry(of(row)).or_insert(0) += 1);
        tally
    };
    let cell = |row: usize| cells.cell_of.get(row).copied().unwrap_or(0);
    let site_year =
        |row: usize| experiment.site_years.as_ref().and_then(|of| of.level_of.get(row).copied()).unwrap_or(0);
    let block =
        |row: usize| experiment.blocks.as_ref().and_then(|of| of.get(row).copied()).unwrap_or_else(|| site_year(row));
    let site_years = experiment.site_years.as_ref().map_or(1, |of| of.levels.len());
    let blocks = (0..plots).map(block).max().map_or(0, |last| last + 1);
    let blocks_in: BTreeMap<usize, usize> = (0..plots).map(|row| (block(row), site_year(row))).collect();
    full(&tally(&|row| (site_year(row), cell(row))), site_years, cells.number())
        && full(&tally(&|row| (block(row), cell(row))), blocks, cells.number())
        && all_equal(tallied(blocks_in.into_values()).into_values())
        && experiment.whole_units.iter().all(|whole| {
            let of: Option<Vec<usize>> = whole.unit_of.iter().copied().collect();
            let Some(of) = of else { return false };
            let unit = |row: usize| of.get(row).copied().unwrap_or(0);
            let treatment = |row: usize| {
                whole.treatments.iter().fold(0, |index, factor| {
                    index * cells.sizes.get(*factor).copied().unwrap_or(1) + cells.level(cell(row), *factor)
                })
            };
            // Units of each treatment in each block, and plots of each cell in each unit.
            let units: BTreeMap<usize, (usize, usize)> =
                (0..plots).map(|row| (unit(row), (block(row), treatment(row)))).collect();
            all_equal(tallied(units.into_values()).into_values())
                && all_equal(tally(&|row| (unit(row), cell(row))).into_values())
                && all_equal(tallied((0..plots).map(unit)).into_values())
        })
}

fn tallied<T: Ord>(items: impl Iterator<Item = T>) -> BTreeMap<T, usize> {
    let mut tally = BTreeMap::new();
    items.for_each(|item| *tally.entry(item).or_insert(0) += 1);
    tally
}

fn all_equal(mut counts: impl Iterator<Item = usize>) -> bool {
    let first = counts.next();
    counts.all(|count| Some(count) == first)
}
