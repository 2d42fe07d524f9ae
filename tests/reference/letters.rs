//! Compact letters: two levels share one exactly where they do not differ significantly.

use crate::data::beside;
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeSet;
use stook::stats::letters::compact_letters;

/// `yza2` is y, z and a2.
fn split(written: &str) -> BTreeSet<String> {
    let mut letters: Vec<String> = Vec::new();
    for character in written.chars() {
        match letters.last_mut() {
            Some(letter) if character.is_ascii_digit() => letter.push(character),
            _ => letters.push(character.to_string()),
        }
    }
    letters.into_iter().collect()
}

/// The pairs that share a letter, each level with itself included.
fn sharing(letters: &[BTreeSet<String>]) -> BTreeSet<(usize, usize)> {
    let pairs = (0..letters.len()).flat_map(|i| (i..letters.len()).map(move |j| (i, j)));
    pairs.filter(|(i, j)| !letters[*i].is_disjoint(&letters[*j])).collect()
}

/// The letters of levels with descending means that differ where `differ` says so, once they are found to be true and none to be spare.
fn checked(levels: usize, differ: impl Fn(usize, usize) -> bool) -> Vec<String> {
    let means: Vec<f64> = (0..levels).map(|level| -(level as f64)).collect();
    let written = compact_letters(&means, &differ);
    let letters: Vec<BTreeSet<String>> = written.iter().map(|written| split(written)).collect();
    let pairs = (0..levels).flat_map(|i| (i..levels).map(move |j| (i, j)));
    let alike: BTreeSet<(usize, usize)> = pairs.filter(|(i, j)| i == j || !differ(*i, *j)).collect();
    assert_eq!(sharing(&letters), alike, "{written:?}");
    for spare in letters.iter().flatten().collect::<BTreeSet<_>>() {
        let without = letters.iter().map(|letters| letters.iter().filter(|letter| *letter != spare).cloned().collect());
        assert_ne!(sharing(&without.collect::<Vec<_>>()), alike, "{spare} is spare in {written:?}");
    }
    written
}

proptest! {
    #[test]
    fn two_levels_share_a_letter_exactly_where_they_do_not_differ(
        (levels, differ) in (0_usize..14).prop_flat_map(|n| (Just(n), prop::collection::vec(any::<bool>(), n * n))),
    ) {
        checked(levels, |i, j| differ[i * levels + j]);
    }

    #[test]
    fn means_that_differ_beyond_one_limit_have_a_letter_for_each_longest_run(
        gaps in prop::collection::vec(0_u32..40, 1..60), limit in 0_u32..120,
    ) {
        let heights: Vec<u32> = gaps.iter().scan(10_000, |height, gap| { *height -= gap; Some(*height) }).collect();
        let differ = |i: usize, j: usize| heights[i].abs_diff(heights[j]) > limit;
        let letters: BTreeSet<String> = checked(heights.len(), differ).iter().flat_map(|written| split(written)).collect();
        let last = |i: usize| (i..heights.len()).take_while(|j| !differ(i, *j)).last();
        prop_assert_eq!(letters.len(), (0..heights.len()).map(last).collect::<BTreeSet<_>>().len());
    }
}

#[test]
fn letters_hold_for_sixty_levels_whose_relation_is_chance_or_worse() {
    // Thirds of a hash, at three densities.
    for share in [2, 5, 8] {
        checked(60, |i, j| {
            (i * 7919 + j * 104_729 + i * j * 1299).wrapping_mul(2_654_435_761) % 1_000_003 % 10 < share
        });
    }
    // Levels that differ from the two beside them alone: 3^20 largest sets of levels that are alike (Moon & Moser 1965, Israel J. Math.
    // 3:23-28, from memory).
    checked(60, |i, j| i / 3 == j / 3);
}

#[test]
fn letter_a_goes_to_the_largest_mean_and_ties_keep_their_order() {
    assert_eq!(compact_letters(&[3.0, 9.0, 5.0], |_, _| true), ["c", "a", "b"]);
    assert_eq!(compact_letters(&[4.0, 4.0, 4.0], |_, _| true), ["a", "b", "c"]);
    assert_eq!(compact_letters(&[3.0, 9.0, 5.0], |_, _| false), ["a", "a", "a"]);
    // 9 and 5 alike, 5 and 3 alike, 9 and 3 not.
    assert_eq!(compact_letters(&[3.0, 9.0, 5.0], |i, j| (i, j) == (0, 1)), ["b", "a", "ab"]);
    assert_eq!(compact_letters(&[], |_, _| true), [""; 0]);
    assert_eq!(compact_letters(&[7.0], |_, _| true), ["a"]);
}

#[test]
fn past_z_letters_are_numbered_and_still_read_one_way() {
    let each_its_own = checked(54, |_, _| true);
    assert_eq!((&each_its_own[25][..], &each_its_own[26][..], &each_its_own[53][..]), ("z", "a2", "b3"));
    // Each alike to its neighbours alone.
    let chain = checked(30, |i, j| j > i + 1);
    assert_eq!((&chain[0][..], &chain[1][..], &chain[26][..], &chain[29][..]), ("a", "ab", "za2", "c2"));
}

#[test]
fn the_block_trials_have_the_oracles_letters_by_lsd_and_by_tukey() {
    let file = beside("oracle").join("B_rcbd.json");
    let reference: Value = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    for (trial, case) in reference["trials"].as_object().unwrap() {
        let numbers = |name: &str| -> Vec<f64> { serde_json::from_value(case[name].clone()).unwrap() };
        let rates = numbers("rates");
        for p in ["p_lsd", "p_tukey_direct"] {
            let differ = |i: usize, j: usize| {
                let mut pairs = case["pairs"].as_array().unwrap().iter();
                pairs.any(|pair| {
                    pair["rate_i"] == rates[i] && pair["rate_j"] == rates[j] && pair[p].as_f64() < Some(0.05)
                })
            };
            let expected: Vec<String> =
                serde_json::from_value(case[format!("letters_{p}")]["letters"].clone()).unwrap();
            assert_eq!(compact_letters(&numbers("adjusted_means"), differ), expected, "{trial} by {p}");
        }
    }
}
