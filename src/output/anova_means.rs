//! Means of an analysis of variance and their comparisons.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::anova::{finite, key_object};
use crate::experiment::anova::{Comparison, ComparisonFamily, Pair, TreatmentMeanOf, TreatmentMeans, VarianceOf};
use crate::stats::interval::Interval;

/// Means of one effect.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct MeansOf {
    /// Factors of the effect.
    pub factors: Vec<String>,
    /// One mean a combination of levels.
    pub means: Vec<MeanOfLevels>,
}

/// The mean of a level or combination of levels.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct MeanOfLevels {
    /// The level of each factor.
    pub levels: Vec<String>,
    /// Plots behind it.
    pub n: usize,
    /// Estimated marginal mean; null where a cell is empty.
    pub mean: Option<f64>,
    /// Its standard error.
    pub standard_error: Option<f64>,
    /// Degrees of freedom of that.
    pub df: Option<f64>,
    /// The mean with its interval.
    pub interval: Option<Interval>,
}

/// Means that are compared with each other.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ComparisonsOf {
    /// Factors whose levels are compared.
    pub factors: Vec<String>,
    /// Levels of other factors at which they are; empty for marginal means.
    pub within: Map<String, Value>,
    /// The levels compared.
    pub levels: Vec<Vec<String>>,
    /// p of the test that protects the least significant difference.
    pub protecting_p: Option<f64>,
    /// Standard error of a difference.
    pub sed: Option<OverPairs>,
    /// Every pair.
    pub pairs: Vec<PairOf>,
    /// One entry a procedure.
    pub procedures: Vec<ProcedureOf>,
}

/// A number that may differ between pairs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OverPairs {
    /// Mean over pairs.
    pub mean: Option<f64>,
    /// Least.
    pub lowest: Option<f64>,
    /// Largest.
    pub highest: Option<f64>,
}

/// Two means compared.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PairOf {
    /// Levels of the first.
    pub first: Vec<String>,
    /// Levels of the second.
    pub second: Vec<String>,
    /// First minus second.
    pub difference: Option<f64>,
    /// Standard error of the difference.
    pub standard_error: Option<f64>,
    /// Degrees of freedom of that.
    pub df: Option<f64>,
    /// Of Student's t, without regard to other pairs.
    pub p_lsd: Option<f64>,
    /// Tukey's (Tukey–Kramer where standard errors differ).
    pub p_tukey: Option<f64>,
    /// Dunnett's, in pairs with the zero rate.
    pub p_dunnett: Option<f64>,
}

/// What a procedure makes of the means compared.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ProcedureOf {
    /// `protected-lsd`, `tukey` or `dunnett`.
    pub procedure: &'static str,
    /// The difference that is significant, where it is the same for all pairs.
    pub least_significant_difference: Option<f64>,
    /// Letters of each level: two share one exactly where they do not differ significantly; empty for a procedure without.
    pub letters: Vec<String>,
    /// What its reader must know.
    pub note: Option<String>,
}

impl From<&TreatmentMeans> for MeansOf {
    fn from(means: &TreatmentMeans) -> Self {
        let of = |mean: &TreatmentMeanOf| MeanOfLevels {
            levels: mean.levels.clone(),
            n: mean.n,
            mean: finite(mean.mean),
            standard_error: finite(mean.standard_error),
            df: finite(mean.df),
            interval: mean.interval.clone(),
        };
        Self { factors: means.factors.clone(), means: means.means.iter().map(of).collect() }
    }
}

impl From<&ComparisonFamily> for ComparisonsOf {
    fn from(family: &ComparisonFamily) -> Self {
        let levels = |position: usize| family.levels.get(position).cloned().unwrap_or_default();
        let pair = |pair: &Pair| PairOf {
            first: levels(pair.first),
            second: levels(pair.second),
            difference: finite(pair.difference),
            standard_error: finite(pair.standard_error),
            df: finite(pair.df),
            p_lsd: finite(pair.p_lsd),
            p_tukey: finite(pair.p_tukey),
            p_dunnett: finite(pair.p_dunnett),
        };
        let over = |number: VarianceOf| OverPairs {
            mean: finite(number.mean),
            lowest: finite(number.lowest),
            highest: finite(number.highest),
        };
        Self {
            factors: family.factors.clone(),
            within: key_object(&family.within),
            levels: family.levels.clone(),
            protecting_p: finite(family.protecting_p),
            sed: family.sed.map(over),
            pairs: family.pairs.iter().map(pair).collect(),
            procedures: family.procedures.iter().map(ProcedureOf::from).collect(),
        }
    }
}

impl From<&Comparison> for ProcedureOf {
    fn from(comparison: &Comparison) -> Self {
        Self {
            procedure: comparison.procedure,
            least_significant_difference: finite(comparison.least_significant_difference),
            letters: comparison.letters.clone(),
            note: comparison.note.clone(),
        }
    }
}
