//! What is told of simulated programmes, counted.
//!
//! In the demo programme, whatever the seed, one fault is not written down by its owner: at Chalk Rise 2024 the N-rich plots stand in full
//! and three blocks of four do not.

use std::collections::BTreeMap;

use super::{read, sound, trial};
use crate::finding::Finding;
use crate::quality::check_programme;
use crate::simulate;

/// How often each code is told in the demo programme drawn from these seeds, Chalk Rise 2024 apart.
fn counts(seeds: impl Iterator<Item = u64>) -> (BTreeMap<&'static str, usize>, usize) {
    let (mut counts, mut unlike_block) = (BTreeMap::new(), 0);
    for seed in seeds {
        for finding in check_programme(&read(&simulate::demo(seed))) {
            if finding.place.file.starts_with("chalk-rise-2024/") && finding.code == "reference-unlike-block" {
                unlike_block += 1;
            } else {
                *counts.entry(finding.code).or_default() += 1;
            }
        }
    }
    (counts, unlike_block)
}

/// Sensings and yield columns of a demo programme: each is looked at for outlying plots.
const COLUMNS: usize = 36;
/// Share of the columns in which a plot may be told as outlying by chance: five times the nominal level of 0.001, because simulated scatter
/// is not normal (22 of 7 200 were).
const OUTLYING_SHARE: f64 = 0.005;

#[test]
fn sound_programmes_are_left_alone_but_for_a_few_outlying_plots() {
    let (mut counts, unlike_block) = counts(1..=6);
    let outlying = counts.remove("outlying-plot").unwrap_or(0);
    assert_eq!(counts, BTreeMap::new());
    assert!(outlying <= 3, "{outlying} outlying plots");
    assert!(unlike_block >= 6, "the N-rich plots of Chalk Rise 2024 are told: {unlike_block}");
}

#[test]
#[ignore = "two hundred programmes take a minute or two"]
fn two_hundred_sound_programmes_are_left_alone_but_for_a_few_outlying_plots() {
    let (mut counts, unlike_block) = counts(1..=200);
    println!("{counts:?}, Chalk Rise 2024 {unlike_block}");
    let outlying = counts.remove("outlying-plot").unwrap_or(0) + counts.remove("reference-unlike-block").unwrap_or(0);
    assert!((outlying as f64) < OUTLYING_SHARE * (200 * COLUMNS) as f64, "{outlying} outlying plots");
    // Of 200 programmes, 1 800 trials.
    assert!(counts.values().sum::<usize>() <= 2, "{counts:?}");
}

/// What is told of the demo programme once the exclusions of a plot are taken out of its descriptor.
fn without_exclusion(folder: &str, id: &str) -> Vec<Finding> {
    let mut programme = sound();
    let trial = trial(&mut programme, folder);
    super::plot(trial, id).exclusions.clear();
    let before = check_programme(&sound());
    let mut told = check_programme(&programme);
    told.retain(|finding| !before.contains(finding));
    told
}

#[test]
fn what_the_owner_of_the_demo_excluded_would_be_found() {
    for (folder, plot, column) in [
        ("upper-terrace-2023", "304", "yield"),
        ("osier-bend-2023", "412", "grain_lb"),
        ("osier-bend-2025", "219", "grain_kg"),
        ("chalk-rise-2025", "206", "value"),
    ] {
        let told = without_exclusion(folder, plot);
        let [finding] = told.as_slice() else { panic!("{folder} {plot}: {told:#?}") };
        assert_eq!((finding.code, finding.place.column.as_deref()), ("outlying-plot", Some(column)), "{finding}");
        assert!(finding.text.contains(&format!("plot {plot}")), "{finding}");
    }
}
