//! Plot numbers against blocks.

use std::collections::BTreeMap;

use super::view::View;
use crate::finding::Finding;

/// A numbering is a rule where at most this share of the plots breaks it; beyond that plots were numbered some other way.
const EXCEPTIONS_SHARE: f64 = 0.10;
/// Blocks of fewer plots show no rule.
const FEWEST_IN_BLOCK: usize = 3;
/// Plot numbers are below this; what is longer is a code.
const MOST_PLOTS: u64 = 1_000_000_000_000;
/// Figures after the block's own in a plot number: 104 is the fourth plot of block 1 (common practice).
const STEPS: [u64; 3] = [1_000, 100, 10];

/// A plot whose number belongs to another block than its row says: where nearly all plots follow a rule (the first figures name the
/// block, or each block is one stretch of numbers) and this one does not.
pub(super) fn number_in_other_block(view: &mut View<'_>) -> Vec<Finding> {
    let numbers: Vec<Option<u64>> = view.trial.plots.iter().map(|plot| number_of(&plot.id)).collect();
    let Some(numbers) = numbers.into_iter().collect::<Option<Vec<u64>>>() else { return Vec::new() };
    let mut findings = Vec::new();
    for (plot, block) in exceptions(&numbers, &view.blocks) {
        let own = view.blocks.get(plot).cloned().unwrap_or_default();
        let text = format!(
            "plot {} stands in block {own}, but its number lies among those of block {block}, as in no other plot",
            view.id(plot)
        );
        let column = view.trial.plot_columns.block.as_deref();
        let place = view.cell(plot, column, own);
        let remedy = format!("write block {block}, or correct the plot's number");
        findings.push(Finding::warning("number-in-other-block", place, text).remedy(remedy));
        if let Some(own) = view.blocks.get_mut(plot) {
            *own = block;
        }
    }
    findings
}

/// The number of a plot: the last part of its key.
pub(super) fn number_of(id: &str) -> Option<u64> {
    id.rsplit('-').next()?.parse().ok().filter(|number| *number < MOST_PLOTS)
}

/// Plots whose number belongs to another block, with that block.
fn exceptions(numbers: &[u64], blocks: &[String]) -> Vec<(usize, String)> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for block in blocks {
        *counts.entry(block).or_default() += 1;
    }
    let mut sorted: Vec<u64> = numbers.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    if counts.len() < 2 || counts.values().any(|count| *count < FEWEST_IN_BLOCK) || sorted.len() < numbers.len() {
        return Vec::new();
    }
    let most = (EXCEPTIONS_SHARE * numbers.len() as f64) as usize;
    let few = |found: &Vec<(usize, String)>| found.len() <= most;
    let by_figures = STEPS.iter().find_map(|step| by_first_figures(numbers, blocks, *step, counts.len()).filter(few));
    by_figures.or_else(|| Some(by_stretch(numbers, blocks, counts.len())).filter(few)).unwrap_or_default()
}

/// Where the first figures name blocks: the numbers begin anew with each prefix, each prefix has one block for most of its plots, and no
/// two prefixes the same.
fn by_first_figures(numbers: &[u64], blocks: &[String], step: u64, count: usize) -> Option<Vec<(usize, String)>> {
    let mut by_prefix: BTreeMap<u64, BTreeMap<&str, usize>> = BTreeMap::new();
    for (number, block) in numbers.iter().zip(blocks) {
        *by_prefix.entry(number / step).or_default().entry(block).or_default() += 1;
    }
    let block_of: BTreeMap<u64, &str> = by_prefix
        .iter()
        .filter_map(|(prefix, blocks)| {
            let (block, own) = blocks.iter().max_by_key(|(_, count)| **count)?;
            (own * 2 > blocks.values().sum()).then_some((*prefix, *block))
        })
        .collect();
    let mut named: Vec<&str> = block_of.values().copied().collect();
    named.sort_unstable();
    named.dedup();
    if named.len() != count || block_of.len() != count || by_prefix.len() != count {
        return None;
    }
    let first =
        |prefix: &u64| numbers.iter().filter(|number| *number / step == *prefix).map(|number| number % step).min();
    let mut firsts: Vec<Option<u64>> = by_prefix.keys().map(first).collect();
    firsts.dedup();
    if firsts.len() > 1 {
        return None;
    }
    let belongs = numbers.iter().map(|number| block_of.get(&(number / step)).copied());
    let belongs = belongs.zip(blocks).enumerate();
    Some(
        belongs
            .filter_map(|(plot, (block, own))| block.filter(|block| block != own).map(|block| (plot, block.to_owned())))
            .collect(),
    )
}

/// Where each block is one stretch of numbers: a plot between two neighbours (and theirs) of one other block.
fn by_stretch(numbers: &[u64], blocks: &[String], count: usize) -> Vec<(usize, String)> {
    let mut order: Vec<(u64, usize, &str)> =
        numbers.iter().zip(blocks).enumerate().map(|(plot, (number, block))| (*number, plot, block.as_str())).collect();
    order.sort_unstable();
    let mut found = Vec::new();
    for window in order.windows(3) {
        if let [(_, _, before), (_, plot, own), (_, _, after)] = window
            && before == after
            && own != before
        {
            found.push((*plot, (*before).to_owned()));
        }
    }
    order.retain(|(_, plot, _)| found.iter().all(|(exception, _)| exception != plot));
    // Without the exceptions the rule must hold for every other plot.
    if order.chunk_by(|a, b| a.2 == b.2).count() == count { found } else { Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn blocks(text: &str) -> Vec<String> {
        text.chars().map(String::from).collect()
    }

    fn hundreds(blocks: u64, plots: u64) -> Vec<u64> {
        (1..=blocks).flat_map(|block| (1..=plots).map(move |plot| block * 100 + plot)).collect()
    }

    #[test]
    fn a_number_of_another_hundred_is_found_at_the_edge_of_a_block_too() {
        assert_eq!(exceptions(&hundreds(2, 6), &blocks("111111122222")), [(6, "2".to_owned())]);
        assert_eq!(exceptions(&hundreds(2, 6), &blocks("111111222222")), []);
    }

    #[test]
    fn a_number_within_the_stretch_of_another_block_is_found() {
        let numbers: Vec<u64> = (1..=24).collect();
        let right = blocks("111111112222222233333333");
        let wrong = blocks("111311112222222233333333");
        assert_eq!(exceptions(&numbers, &right), []);
        assert_eq!(exceptions(&numbers, &wrong), [(3, "1".to_owned())]);
    }

    #[test]
    fn numbers_that_follow_no_rule_tell_nothing() {
        let numbers: Vec<u64> = (1..=12).collect();
        for labels in ["121212121212", "112211221122", "111122223333"] {
            assert_eq!(exceptions(&numbers, &blocks(labels)), [], "{labels}");
        }
        // Nine plots a block, numbered through: 19 has the first figure of block 2 and belongs to block 3.
        let numbers: Vec<u64> = (1..=27).collect();
        assert_eq!(exceptions(&numbers, &blocks("111111111222222222333333333")), []);
        // Numbers that begin anew in each block.
        assert_eq!(exceptions(&[1, 2, 3, 4, 1, 2, 3, 4], &blocks("11112222")), []);
    }
}
