//! What is told of simulated programmes, counted.

use std::collections::BTreeMap;

use super::{read, sound};
use crate::quality::check_programme;
use crate::simulate;
use crate::trial::Programme;

/// How often each code is told in the demo programme drawn from these seeds.
fn counts(seeds: impl Iterator<Item = u64>) -> BTreeMap<&'static str, usize> {
    let mut counts = BTreeMap::new();
    for seed in seeds {
        for finding in check_programme(&read(&simulate::demo(seed))) {
            if std::env::var_os("STOOK_SHOW").is_some() {
                println!("{seed} {} {finding}", finding.code);
            }
            *counts.entry(finding.code).or_default() += 1;
        }
    }
    counts
}

#[test]
fn few() {
    println!("{:#?}", counts(1..=20));
    for f in check_programme(&sound()) {
        println!("{} {f}", f.code);
    }
}
