//! How often the response test detects a true gain.

use super::scenario::{SEED, draw};
use super::truth::TOP;
use rayon::prelude::*;
use stook::response::RESPONSE_ALPHA;

/// Yield of the plateau, bu/ac, to which the CV refers.
const PLATEAU: f64 = 75.0;
/// Streams of the designs begin above those of the scenarios.
const FIRST_STREAM: u64 = 1 << 40;
const STREAMS: u64 = 1 << 20;
/// The join of the true quadratic-plateau, lb/ac.
const JOIN: f64 = 100.0;

/// One kind of trial.
#[derive(Clone, Copy, Debug)]
pub struct Design {
    pub number: u64,
    /// What N adds at the most, bu/ac.
    pub gain: f64,
    pub cv_percent: f64,
    pub blocks: usize,
    pub rates: usize,
}

impl Design {
    pub fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for gain in [0.0, 2.0, 4.0, 8.0, 12.0, 16.0] {
            for cv_percent in [6.0, 9.0, 12.0] {
                for blocks in [4, 6] {
                    for rates in [5, 6, 7] {
                        all.push(Self { number: all.len() as u64, gain, cv_percent, blocks, rates });
                    }
                }
            }
        }
        all
    }
}

/// In how many of so many trials a response is detected.
pub fn detected(design: &Design, trials: u64, permutations: usize) -> usize {
    let tested: Vec<f64> = (0..design.rates).map(|rate| TOP * rate as f64 / (design.rates - 1) as f64).collect();
    let curve = |rate: f64| PLATEAU - design.gain * (1.0 - rate / JOIN).max(0.0).powi(2);
    let is_detected = |trial: &u64| {
        let index = FIRST_STREAM + design.number * STREAMS + trial;
        let group = draw(&tested, curve, design.blocks, PLATEAU, design.cv_percent, index);
        let observations = group.observations().expect("rates in complete blocks");
        observations.response_test(permutations, SEED + trial).p.is_some_and(|p| p <= RESPONSE_ALPHA)
    };
    (0..trials).into_par_iter().filter(is_detected).count()
}

#[test]
fn without_a_gain_a_response_is_detected_no_more_often_than_its_alpha() {
    let design = Design { number: 1_000, gain: 0.0, cv_percent: 9.0, blocks: 4, rates: 5 };
    // 40 of 400 would be 4.6 standard deviations above 20.
    assert!(detected(&design, 400, 99) < 40);
}
