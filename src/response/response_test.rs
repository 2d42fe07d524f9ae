//! Is there a response? The analysis of variance of the rates, and a permutation test of the best rising curve.

use super::arrangements::Arrangements;
use super::observations::Observations;
use super::plateau::Stretch;
use super::quadratic_plateau;
use super::reduced::Reduced;
use crate::stats::distribution::f_survival;
use crate::stats::least_squares::dot;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A response is *detected* where p is at most this.
pub const RESPONSE_ALPHA: f64 = 0.05;

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

/// What a response is tested by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum TestedBy {
    /// Permutations of the plots within what was randomised.
    Permutation,
    /// The F test of the rates: only means are known, or the plots can be arranged in too few ways for a permutation test to reach
    /// [`RESPONSE_ALPHA`].
    F,
}

impl TestedBy {
    /// The name it is written as.
    pub fn name(self) -> &'static str {
        match self {
            TestedBy::Permutation => "permutation",
            TestedBy::F => "f",
        }
    }
}

/// A test of "no response".
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResponseTest {
    /// The sum of squares that the best rising quadratic-plateau (a line as its limit) explains; zero if none rises.
    pub statistic: f64,
    /// By permutation (b + 1)/(B + 1), b the arrangements besides the observed one that explain at least as much; by F the p of the
    /// rates. `None` where nothing can be tested: see [`untested`](Self::untested).
    pub p: Option<f64>,
    /// What p is of.
    pub by: TestedBy,
    /// Why there is no p, in words for a reader.
    pub untested: Option<String>,
    /// B, the arrangements besides the observed one: those drawn, or all there are where they are no more than were to be drawn.
    pub permutations: usize,
    /// Whether those are all there are; p is then exact and the seed plays no part.
    pub exhaustive: bool,
    /// The smallest p that any arrangement of these yields would have; `None` without permutations.
    pub smallest_p: Option<f64>,
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
    /// The statistic is the sum of squares explained by the best rising quadratic-plateau. Where there are no more than
    /// `permutations` arrangements, all are looked at; else replicate i draws from the stream (seed, i), so the result does not depend
    /// on the number of threads. Groups must be what was randomised within: for a trial with N on main plots give this the main plots'
    /// means. Where no arrangement of the yields would have a p of [`RESPONSE_ALPHA`] or less (two rates in four blocks have sixteen),
    /// that nothing is detected would say nothing, and the F test of the rates stands in. Treatment means are tested by F against their pooled
    /// error; without one they have no test.
    pub fn response_test(&self, permutations: usize, seed: u64) -> ResponseTest {
        let treatment = self.analysis();
        let mut stretches = response_stretches(self.reduced());
        let statistic = explained(&mut stretches, self.reduced().z());
        let test = ResponseTest {
            statistic,
            p: None,
            by: TestedBy::Permutation,
            untested: None,
            permutations: 0,
            exhaustive: false,
            smallest_p: None,
            seed,
            treatment,
        };
        let untested = |reason: &str| ResponseTest { untested: Some(reason.to_owned()), ..test.clone() };
        if self.is_rounding(self.reduced().total()) {
            return untested("the yields do not differ");
        }
        if self.are_means() {
            // Means have no plots that could be permuted: their pooled error, or means that repeat a rate, test the rates.
            let p = test.treatment.p;
            let reason = "treatment means alone hold no error to test against; their error mean square with its degrees of freedom would";
            return ResponseTest { p, by: TestedBy::F, untested: p.is_none().then(|| reason.to_owned()), ..test };
        }
        if self.error_df() == 0 {
            return untested(match self.groups() {
                1 => "no rate is repeated, so there is no error to test against",
                _ => "blocks and rates leave no plot over, so there is no error to test against",
            });
        }
        if permutations == 0 {
            return untested("no permutations were asked for");
        }
        let arrangements = Arrangements::new(self, permutations, seed);
        let explain = |z: &mut Vec<f64>, stretches: &mut Vec<Stretch>, yields: &[f64]| {
            self.project(yields, z);
            explained(stretches, z)
        };
        let mut all: Vec<f64> = (0..arrangements.count())
            .into_par_iter()
            .map_init(
                || (stretches.clone(), self.centred().to_vec(), Vec::new()),
                |(stretches, yields, z), index| {
                    arrangements.arrange(index, yields);
                    explain(z, stretches, yields)
                },
            )
            .collect();
        if !arrangements.exhaustive() {
            all.push(statistic);
        }
        let share =
            |least: f64| all.iter().filter(|one| **one >= least * (1.0 - TIE)).count() as f64 / all.len() as f64;
        let smallest_p = share(all.iter().copied().fold(0.0, f64::max));
        let test = ResponseTest {
            permutations: all.len() - 1,
            exhaustive: arrangements.exhaustive(),
            smallest_p: Some(smallest_p),
            ..test
        };
        if smallest_p <= RESPONSE_ALPHA {
            return ResponseTest { p: Some(share(statistic)), ..test };
        }
        let p = test.treatment.p;
        let reason = "the plots can be arranged in too few ways for a permutation test, and plots of one rate do not differ, so there \
            is no error for an F test";
        ResponseTest { p, by: TestedBy::F, untested: p.is_none().then(|| reason.to_owned()), ..test }
    }

    fn grand_mean(&self) -> f64 {
        let sum: f64 = self.group_means().iter().zip(self.group_sizes()).map(|(mean, size)| mean * *size as f64).sum();
        sum / self.plots() as f64
    }
}

/// Every quadratic-plateau, the flat stretch up to the second rate included through its end; with two rates the line alone.
fn response_stretches(reduced: &Reduced) -> Vec<Stretch> {
    quadratic_plateau::stretches(reduced)
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
