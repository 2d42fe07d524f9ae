//! What a rate table rests on, without prices: the observations of every response curve and the index of every treatment.
//!
//! Whoever has it can count the needs at any price ratio anew, without the trials' files: a table carries it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::response::Family;
use crate::trial::NeedFrom;

/// The trials of a calibration.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Evidence {
    /// One a trial, in the programme's order.
    pub trials: Vec<TrialEvidence>,
}

/// A trial of a calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TrialEvidence {
    /// Trial folder.
    pub trial: String,
    /// The site, as typed.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i16,
    /// How its N needs are found.
    pub need_from: NeedFrom,
    /// Its curves.
    pub groups: Vec<GroupEvidence>,
}

/// A response curve and the treatments whose need is counted from it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupEvidence {
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// Each factor beside N and variety, with its level.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub factors: Vec<(String, String)>,
    /// N already on where the rate is the topdress alone, in the rate unit; null where the rate is all of the N.
    pub early_n: Option<f64>,
    /// N rate of each observation, in the rate unit.
    pub rates: Vec<f64>,
    /// Yield of each observation, in the yield unit.
    pub yields: Vec<f64>,
    /// The block (or what in it N varies within) of each observation, numbered over the whole trial: the same number is the same block
    /// in every group; null without blocks.
    pub blocks: Option<Vec<usize>>,
    /// The family that its optimum is read from.
    pub family: Family,
    /// Whether a response is detected; null where that cannot be tested.
    pub detected: Option<bool>,
    /// Treatments with readings, by rising N already on.
    pub treatments: Vec<TreatmentEvidence>,
}

/// The index of a treatment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TreatmentEvidence {
    /// N already on at sensing, in the rate unit.
    pub n_on: f64,
    /// Mean sufficiency index of its plots.
    pub index: f64,
    /// Plots it is the mean of.
    pub plots: usize,
    /// Standard deviation of the index between its plots; null for a single one.
    pub standard_deviation: Option<f64>,
}

impl TrialEvidence {
    /// Site and harvest year: what a site-year is told by.
    #[must_use]
    pub fn site_year(&self) -> String {
        format!("{} {}", self.site, self.harvest_year)
    }
}
