//! Is there a response? The analysis of variance of the rates, and a permutation test of the best rising curve.

use super::observations::Observations;
use super::plateau::{Plateau, Stretch};
use super::reduced::Reduced;
use crate::stats::distribution::f_survival;
use crate::stats::least_squares::dot;
use crate::stats::stream::stream;
use rand::seq::SliceRandom;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A permuted statistic this close to the observed one, relatively, ties with it: only rounding separates them.
const TIE: f64 = 1e-9;

/// The analysis of variance of rates within nuisance groups.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TreatmentTest {
    /// Sum of squares among nuisance groups.
    pub nuisance_ss: f64,
    /// Groups minus one.
    pub nuisance_df: usize,
    /// Sum of squares among rates, adjusted for groups.
    pub treatment_ss: f64,
    /// Independent contrasts among rates within groups.
    pub treatment_df: usize,
    /// Pure error: what neither groups nor rates explain.
    pub error_ss: f64,
    /// Its degrees of freedom.
    pub error_df: usize,
    /// Error mean square; `None` without error degrees of freedom.
    pub error_ms: Option<f64>,
    /// Treatment mean square over error mean square; `None` without error degrees of freedom or without error.
    pub f: Option<f64>,
    /// The probability of an F at least as large.
    pub p: Option<f64>,
    /// 100·√(error mean square)/grand mean; `None` without error degrees of freedom or where the mean is not positive.
    pub cv_percent: Option<f64>,
}

/// A test of "no response", by permuting what was randomised.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResponseTest {
    /// The sum of squares that the best rising quadratic-plateau (a line as its limit) explains; zero if none rises.
    pub statistic: f64,
    /// (b + 1)/(B + 1), b the permutations that explain at least as much; `None` without error degrees of freedom or permutations.
    pub p: Option<f64>,
    /// B, the permutations made.
    pub permutations: usize,
    /// The seed they were drawn with.
    pub seed: u64,
    /// The analysis of variance beside it.
    pub treatment: TreatmentTest,
}

impl Observations {
    /// The analysis of variance: groups, rates adjusted for groups, pure error.
    pub fn analysis(&self) -> TreatmentTest {
        let grand = self.grand_mean();
        let among = self.group_means().iter().zip(self.group_sizes());
        let nuisance_ss = among.map(|(mean, size)| *size as f64 * (mean - grand).powi(2)).sum();
        let (treatment_df, error_df) = (self.contrasts(), self.error_df());
        let treatment_ss = dot(self.reduced().z(), self.reduced().z());
        let error_ss = self.reduced().pure_error();
        let error_ms = self.error_variance();
        let f = error_ms.filter(|_| !self.is_rounding(error_ss)).map(|ms| treatment_ss / treatment_df as f64 / ms);
        TreatmentTest {
            nuisance_ss,
            nuisance_df: self.groups() - 1,
            treatment_ss,
            treatment_df,
            error_ss,
            error_df,
            error_ms,
            f,
            p: f.and_then(|f| f_survival(f, treatment_df as f64, error_df as f64)),
            cv_percent: error_ms.filter(|_| grand > 0.0).map(|ms| 100.0 * ms.sqrt() / grand),
        }
    }

    /// Tests whether yields rise with the rate, by permuting observations within groups (all of them without groups).
    ///
    /// The statistic is the sum of squares explained by the best rising quadratic-plateau. Replicate i draws from the stream
    /// (seed, i), so the result does not depend on the number of threads. Groups must be what was randomised within: for a trial
    /// with N on main plots give this the main plots' means. Treatment means alone have no external error, hence no test.
    pub fn response_test(&self, permutations: usize, seed: u64) -> ResponseTest {
        let treatment = self.analysis();
        let mut stretches = response_stretches(self.reduced());
        let statistic = explained(&mut stretches, self.reduced().z());
        let possible = permutations > 0 && self.error_df() > 0 && !self.is_rounding(self.reduced().total());
        let p = possible.then(|| {
            let least = statistic * (1.0 - TIE);
            let members = self.members();
            let as_large = (0..permutations)
                .into_par_iter()
                .map_init(
                    || (stretches.clone(), self.centred().to_vec(), Vec::new(), Vec::new()),
                    |(stretches, yields, within, z), index| {
                        self.permute(&members, yields, within, seed, index as u64);
                        self.project(yields, z);
                        usize::from(explained(stretches, z) >= least)
                    },
                )
                .sum::<usize>();
            (as_large + 1) as f64 / (permutations + 1) as f64
        });
        ResponseTest { statistic, p, permutations, seed, treatment }
    }

    /// The observations of each group.
    fn members(&self) -> Vec<Vec<usize>> {
        let mut members = vec![Vec::new(); self.groups()];
        self.group_of().iter().enumerate().for_each(|(index, group)| members[*group].push(index));
        members
    }

    /// Centred yields, shuffled within groups.
    fn permute(&self, members: &[Vec<usize>], yields: &mut [f64], within: &mut Vec<f64>, seed: u64, index: u64) {
        let mut rng = stream(seed, index);
        for group in members {
            within.clear();
            within.extend(group.iter().map(|member| self.centred()[*member]));
            within.shuffle(&mut rng);
            group.iter().zip(within.iter()).for_each(|(member, value)| yields[*member] = *value);
        }
    }

    fn grand_mean(&self) -> f64 {
        let sum: f64 = self.group_means().iter().zip(self.group_sizes()).map(|(mean, size)| mean * *size as f64).sum();
        sum / self.n() as f64
    }
}

/// Every quadratic-plateau, the flat stretch up to the second rate included through its end; with two rates the line alone.
fn response_stretches(reduced: &Reduced) -> Vec<Stretch> {
    Plateau::Quadratic.stretches(reduced)
}

/// The largest sum of squares that a rising curve explains.
fn explained(stretches: &mut [Stretch], z: &[f64]) -> f64 {
    let mut most = 0.0_f64;
    for stretch in stretches {
        stretch.set_z(z);
        let ends = [stretch.from, stretch.to];
        let candidates = stretch.stationary();
        for shape in ends.iter().chain(candidates.as_slice()) {
            most = most.max(stretch.explained(*shape));
        }
    }
    most
}
