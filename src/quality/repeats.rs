//! Readings that stand twice: pasted or read off again.

use std::collections::{BTreeMap, BTreeSet};

use super::sensed::{Read, Sensed};
use super::view::View;
use super::words::{count, typed};
use crate::finding::Finding;

/// A repetition is told where fewer than this many would come about by chance in the whole sensing. (At 0.001, two of the 1 800 trials of 200
/// simulated programmes were told for nothing.)
const EXPECTED_BY_CHANCE: f64 = 1e-4;
/// Shorter repetitions are not told, however unlikely.
const SHORTEST: usize = 3;

/// What repeats were found, and the plots whose readings may be another's.
#[derive(Default)]
pub(super) struct Repeats {
    pub(super) findings: Vec<Finding>,
    pub(super) plots: BTreeSet<usize>,
}

/// The same leaves in two plots; the same run of values in two stretches of plots; one value in plot after plot. How often each comes
/// about by chance is reckoned from how often two readings of the sensing agree.
pub(super) fn repeated(view: &View<'_>, sensed: &Sensed) -> Repeats {
    let mut repeats = Repeats::default();
    if sensed.reads.iter().any(|read| read.values.len() > 1) {
        same_leaves(view, sensed, &mut repeats);
    } else {
        same_value(view, sensed, &mut repeats);
        if repeats.findings.is_empty() {
            same_run(view, sensed, &mut repeats);
        }
    }
    repeats
}

/// Share of pairs that agree among values in groups; 0 without pairs.
fn agreement<'v>(groups: impl Iterator<Item = &'v [f64]>) -> f64 {
    let (mut agreeing, mut pairs) = (0.0, 0.0);
    for group in groups {
        let mut sorted = group.to_vec();
        sorted.sort_by(f64::total_cmp);
        let pairs_of = |count: usize| (count * count.saturating_sub(1) / 2) as f64;
        agreeing += sorted.chunk_by(|a, b| a == b).map(|same| pairs_of(same.len())).sum::<f64>();
        pairs += pairs_of(sorted.len());
    }
    if pairs > 0.0 { agreeing / pairs } else { 0.0 }
}

/// Two plots with the same readings leaf by leaf.
fn same_leaves(view: &View<'_>, sensed: &Sensed, repeats: &mut Repeats) {
    let by_chance = agreement(sensed.reads.iter().map(|read| read.values.as_slice()));
    let pairs = (sensed.reads.len() * sensed.reads.len().saturating_sub(1) / 2) as f64;
    let mut seen: BTreeMap<Vec<u64>, &Read> = BTreeMap::new();
    for read in &sensed.reads {
        let leaves = read.values.len();
        if leaves < SHORTEST || pairs * by_chance.powi(leaves as i32) > EXPECTED_BY_CHANCE {
            continue;
        }
        let key: Vec<u64> = read.values.iter().map(|value| value.to_bits()).collect();
        let Some(first) = seen.get(&key) else {
            seen.insert(key, read);
            continue;
        };
        let text = format!(
            "plots {} and {} have the same {} readings of {}, leaf by leaf",
            view.id(first.plot),
            view.id(read.plot),
            leaves,
            sensed.date
        );
        repeats.plots.extend([first.plot, read.plot]);
        repeats.findings.push(finding(view, read, text));
    }
}

/// One value in consecutive plots, far beyond what rounding explains.
fn same_value(view: &View<'_>, sensed: &Sensed, repeats: &mut Repeats) {
    let values: Vec<f64> = sensed.reads.iter().map(Read::mean).collect();
    for run in sensed.reads.chunk_by(|a, b| a.mean() == b.mean()).filter(|run| run.len() >= SHORTEST) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
        // The run itself would make the agreement look common.
        let others: Vec<f64> =
            values.iter().copied().filter(|value| *value != first.mean()).chain([first.mean()]).collect();
        let by_chance = agreement(std::iter::once(others.as_slice())).max(1.0 / values.len() as f64);
        if values.len() as f64 * by_chance.powi(run.len() as i32 - 1) > EXPECTED_BY_CHANCE {
            continue;
        }
        let text = format!(
            "{} in a row, {} to {}, read {} on {}",
            count(run.len(), "plot"),
            view.id(first.plot),
            view.id(last.plot),
            typed(first.mean()),
            sensed.date
        );
        repeats.plots.extend(run.iter().map(|read| read.plot));
        repeats.findings.push(finding(view, first, text));
    }
}

/// The same run of values in two stretches of plots.
fn same_run(view: &View<'_>, sensed: &Sensed, repeats: &mut Repeats) {
    let values: Vec<f64> = sensed.reads.iter().map(Read::mean).collect();
    let by_chance = agreement(std::iter::once(values.as_slice())).max(1.0 / (values.len().max(2).pow(2) as f64));
    let pairs = (values.len() * values.len().saturating_sub(1) / 2) as f64;
    let mut start = 0;
    while start < values.len() {
        let longest = (start + 1..values.len()).map(|other| (run_length(&values, start, other), other));
        let longest = longest.max_by_key(|(length, other)| (*length, std::cmp::Reverse(*other)));
        let Some((length, other)) = longest else { break };
        if length >= SHORTEST && pairs * by_chance.powi(length as i32) <= EXPECTED_BY_CHANCE {
            let plots = |from: usize| sensed.reads.get(from..from + length).unwrap_or_default();
            let ids = |from: usize| {
                let plots = plots(from);
                let id = |read: Option<&Read>| read.map_or("", |read| view.id(read.plot));
                format!("{} to {}", id(plots.first()), id(plots.last()))
            };
            let text = format!(
                "plots {} have the same {length} {} as plots {}, in the same order",
                ids(other),
                sensed.label(),
                ids(start)
            );
            if let Some(first) = plots(other).first() {
                repeats.findings.push(finding(view, first, text));
            }
            repeats.plots.extend(plots(start).iter().chain(plots(other)).map(|read| read.plot));
        }
        start += length.max(1);
    }
}

/// How many values agree from two starts on, without one run reaching into the other.
fn run_length(values: &[f64], start: usize, other: usize) -> usize {
    let pairs = values.iter().skip(start).zip(values.iter().skip(other)).take(other - start);
    pairs.take_while(|(a, b)| a == b).count()
}

fn finding(view: &View<'_>, read: &Read, text: String) -> Finding {
    let place = read.place(view).value(read.values.first().copied().map_or_else(String::new, typed));
    Finding::warning("repeated-readings", place, text)
        .remedy("one of them was copied or read off twice: restore the readings from the instrument, or exclude them with the reason")
}

/// A day's readings that stand again under another day of the same instrument, plot by plot.
pub(super) fn same_day_twice(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    let by_plot = |sensed: &Sensed| -> BTreeMap<usize, Vec<u64>> {
        let bits = |read: &Read| read.values.iter().map(|value| value.to_bits()).collect();
        sensed.reads.iter().map(|read| (read.plot, bits(read))).collect()
    };
    let mut findings = Vec::new();
    for pair in sensings.windows(2) {
        let [earlier, later] = pair else { continue };
        let same = earlier.instrument == later.instrument && later.reads.len() >= SHORTEST;
        let differing: BTreeSet<u64> =
            later.reads.iter().flat_map(|read| &read.values).map(|value| value.to_bits()).collect();
        if let Some(read) = later.reads.first()
            && same
            && differing.len() >= SHORTEST
            && by_plot(earlier) == by_plot(later)
        {
            let text = format!("the {} are those of {} in every plot", later.label(), earlier.date);
            findings.push(finding(view, read, text));
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn agreement_is_the_share_of_pairs_that_are_equal() {
        // 1 of 3 pairs and 1 of 1.
        assert_relative_eq!(agreement([&[1.0, 1.0, 2.0][..], &[5.0, 5.0]].into_iter()), 0.5);
        assert_eq!(agreement([&[1.0][..]].into_iter()), 0.0);
    }

    #[test]
    fn runs_do_not_reach_into_each_other() {
        let values = [1.0, 2.0, 3.0, 1.0, 2.0, 3.0, 4.0];
        assert_eq!(run_length(&values, 0, 3), 3);
        assert_eq!(run_length(&[1.0; 5], 0, 2), 2);
    }
}
