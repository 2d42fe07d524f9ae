//! One name spelt two ways.

use std::collections::BTreeMap;

use super::view::View;
use super::words::count;
use crate::finding::Finding;

/// Names shorter than this differ by a letter on purpose too often (*Line A*, *Line B*): common practice.
const SHORTEST_MISTYPED: usize = 7;
/// A name one letter off another is a slip only where it stands in at most this share of the other's plots: two lines of a series
/// stand in equal numbers.
const MISTYPED_SHARE: f64 = 0.1;

/// A name without case, spaces and punctuation.
fn bare(name: &str) -> String {
    name.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Whether two names are the same but for case, spaces and punctuation.
pub(super) fn same_name(a: &str, b: &str) -> bool {
    // Names of nothing but signs, and numbers (1.5 and 15), are what they are.
    a != b && bare(a) == bare(b) && bare(a).chars().any(char::is_alphabetic)
}

/// Whether `rare` may be `common` with one letter wrong, left out, doubled or exchanged; their figures agree.
pub(super) fn is_slip(rare: &str, common: &str) -> bool {
    let (rare, common) = (bare(rare), bare(common));
    let figures = |name: &str| name.chars().filter(char::is_ascii_digit).collect::<String>();
    common.chars().count() >= SHORTEST_MISTYPED
        && figures(&rare) == figures(&common)
        && strsim::damerau_levenshtein(&rare, &common) == 1
}

/// A variety, factor level or block that is spelt two ways within a trial: the same but for case, spaces and punctuation, or one
/// letter off in a tenth of the plots at most. Spelt two ways it counts as two varieties, and one of them has no reference.
pub(super) fn two_spellings(view: &mut View<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let columns: Vec<(String, Option<String>, Vec<String>)> =
        view.factors.iter().map(|factor| (factor.name.clone(), factor.column.clone(), factor.levels.clone())).collect();
    for (position, (name, column, levels)) in columns.into_iter().enumerate() {
        for (rare, common) in rare_spellings(&levels) {
            findings.extend(finding(view, &name, column.as_deref(), &levels, (&rare, &common)));
            if let Some(factor) = view.factors.get_mut(position) {
                put_right(&mut factor.levels, &rare, &common);
            }
        }
    }
    let blocks = view.blocks.clone();
    for (rare, common) in rare_spellings(&blocks) {
        let column = view.trial.plot_columns.block.as_deref();
        findings.extend(finding(view, "block", column, &blocks, (&rare, &common)));
        put_right(&mut view.blocks, &rare, &common);
    }
    findings
}

fn put_right(levels: &mut [String], rare: &str, common: &str) {
    for level in levels.iter_mut().filter(|level| *level == rare) {
        common.clone_into(level);
    }
}

/// Each rare spelling with the common one.
fn rare_spellings(levels: &[String]) -> Vec<(String, String)> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for level in levels {
        *counts.entry(level).or_default() += 1;
    }
    let mut by_count: Vec<(&str, usize)> = counts.into_iter().collect();
    by_count.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let mut rare: Vec<(String, String)> = Vec::new();
    for (position, (name, count)) in by_count.iter().enumerate() {
        let commoner = by_count.iter().take(position).find(|(common, of_common)| {
            let few = (*count as f64) <= MISTYPED_SHARE * *of_common as f64;
            same_name(name, common) || (few && is_slip(name, common))
        });
        if let Some((common, _)) = commoner {
            rare.push(((*name).to_owned(), (*common).to_owned()));
        }
    }
    rare
}

fn finding(
    view: &View<'_>,
    name: &str,
    column: Option<&str>,
    levels: &[String],
    (rare, common): (&str, &str),
) -> Option<Finding> {
    let first = levels.iter().position(|level| level == rare)?;
    let plots = |spelling: &str| count(levels.iter().filter(|level| *level == spelling).count(), "plot");
    let text =
        format!("{name} is spelt {rare:?} in {} and {common:?} in {}: it counts as two", plots(rare), plots(common));
    let place = view.cell(first, column, rare);
    Some(
        Finding::warning("two-spellings", place, text)
            .remedy("spell it one way, or tell the two apart by more than that"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_differ_by_more_than_case_and_spaces() {
        assert!(same_name("Pale Heron", "pale-heron"));
        for (a, b) in [("1.5", "15"), ("Pale Heron", "Pale Heron"), ("Pale Heron", "Dark Sedge"), ("-", "+")] {
            assert!(!same_name(a, b), "{a} {b}");
        }
    }

    #[test]
    fn one_letter_is_a_slip_and_another_number_is_not() {
        assert!(is_slip("Pale Herron", "Pale Heron"));
        for (a, b) in [("Line B", "Line A"), ("Selection 12", "Selection 13"), ("Pale Heron", "Dark Sedge")] {
            assert!(!is_slip(a, b), "{a} {b}");
        }
    }

    #[test]
    fn a_rare_spelling_is_told_with_the_common_one() {
        let levels: Vec<String> =
            [vec!["Pale Heron"; 20], vec!["pale heron"; 3]].concat().into_iter().map(str::to_owned).collect();
        assert_eq!(rare_spellings(&levels), [("pale heron".to_owned(), "Pale Heron".to_owned())]);
    }
}
