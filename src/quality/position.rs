//! Where plots lie against the block they belong to.

use std::collections::BTreeMap;

use super::view::View;
use crate::finding::Finding;
use crate::trial::Position;

/// Blocks of fewer plots show no place of their own.
const FEWEST_IN_BLOCK: usize = 3;
/// Rows or columns between a plot and the nearest of its block from which on it lies apart: a border or an alley is one (common
/// practice).
const APART: u32 = 3;
/// Where more than this share of the plots lies apart, blocks are laid out that way.
const EXCEPTIONS_SHARE: f64 = 0.10;

/// A plot whose position is away from every other plot of its block, where nearly all others lie together.
pub(super) fn apart_from_block(view: &View<'_>) -> Vec<Finding> {
    let mut blocks: BTreeMap<&str, Vec<(usize, Position)>> = BTreeMap::new();
    for (plot, block) in view.blocks.iter().enumerate().filter(|(_, block)| !block.is_empty()) {
        if let Some(position) = view.plot(plot).and_then(|plot| plot.position) {
            blocks.entry(block).or_default().push((plot, position));
        }
    }
    let columns = view.trial.plot_columns.position.as_ref();
    let mut findings = Vec::new();
    for (block, plots) in blocks.iter().filter(|(_, plots)| plots.len() >= FEWEST_IN_BLOCK) {
        for (plot, Position { row, column }) in plots {
            let distance = |other: &Position| row.abs_diff(other.row).max(column.abs_diff(other.column));
            let nearest = plots.iter().filter(|(other, _)| other != plot).map(|(_, other)| distance(other)).min();
            if nearest.is_some_and(|nearest| nearest >= APART) {
                let id = view.id(*plot);
                let text = format!(
                    "plot {id} lies at row {row}, column {column} of the field, away from every other plot of block {block}"
                );
                let place = view.cell(*plot, columns.map(|[row, _]| row.as_str()), row.to_string());
                let remedy = "correct its row or column, or its block; the map of the field shows it there";
                findings.push(Finding::warning("apart-from-block", place, text).remedy(remedy));
            }
        }
    }
    let most = EXCEPTIONS_SHARE * view.trial.plots.len() as f64;
    if findings.len() as f64 <= most { findings } else { Vec::new() }
}
