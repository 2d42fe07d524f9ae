//! Growth stages on the scale they were scored on.

use std::fmt;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Steps of the longest stage number, as in 10.5.1.
const MOST_STEPS: usize = 3;

/// A growth stage such as *Feekes 10.5.1* or *Zadoks 31*. Stages compare on their own scale only.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String")]
pub struct GrowthStage {
    // Shared, since a trial of a million readings holds as many stages.
    scale: Arc<str>,
    steps: [u16; MOST_STEPS],
    step_count: usize,
}

impl GrowthStage {
    /// The stage typed as *scale number*, the number in one to three dotted steps.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (scale, number) = text.trim().rsplit_once(char::is_whitespace)?;
        let parsed = number.split('.').map(|step| step.parse().ok()).collect::<Option<Vec<u16>>>()?;
        let mut steps = [0; MOST_STEPS];
        let step_count = parsed.len();
        steps.get_mut(..step_count)?.copy_from_slice(&parsed);
        let scale = scale.trim();
        (!scale.is_empty()).then(|| Self { scale: scale.into(), steps, step_count })
    }

    /// Whether this stage lies from `first` to `last`, both included; `None` where the scales differ.
    #[must_use]
    pub fn is_within(&self, first: &Self, last: &Self) -> Option<bool> {
        let same_scale = self.scale == first.scale && self.scale == last.scale;
        same_scale.then(|| first.steps() <= self.steps() && self.steps() <= last.steps())
    }

    fn steps(&self) -> &[u16] {
        self.steps.get(..self.step_count).unwrap_or_default()
    }
}

impl fmt::Display for GrowthStage {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let steps = self.steps().iter().map(u16::to_string).collect::<Vec<_>>().join(".");
        write!(formatter, "{} {steps}", self.scale)
    }
}

impl TryFrom<String> for GrowthStage {
    type Error = String;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        Self::parse(&text)
            .ok_or_else(|| format!("{text:?} is not a growth stage such as \"Feekes 5\" or \"Zadoks 31\""))
    }
}

impl From<GrowthStage> for String {
    fn from(stage: GrowthStage) -> Self {
        stage.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage(text: &str) -> GrowthStage {
        GrowthStage::parse(text).unwrap()
    }

    #[test]
    fn a_stage_is_compared_step_by_step_on_its_own_scale() {
        assert_eq!(stage("Feekes 10.5.1").is_within(&stage("Feekes 9"), &stage("Feekes 10.5.2")), Some(true));
        assert_eq!(stage("Feekes 4").is_within(&stage("Feekes 5"), &stage("Feekes 6")), Some(false));
        assert_eq!(stage("Zadoks 31").is_within(&stage("Feekes 5"), &stage("Feekes 6")), None);
    }

    #[test]
    fn what_is_no_stage_is_refused() {
        for text in ["", "Feekes", "5", "Feekes five", "Feekes 1.2.3.4"] {
            assert_eq!(GrowthStage::parse(text), None, "{text}");
        }
    }
}
