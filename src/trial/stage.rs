//! Growth stages on the scale they were scored on.

use std::fmt;
use std::num::NonZeroU8;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Steps of the longest stage number, as in 10.5.1.
const MOST_STEPS: usize = 3;

/// The name of a scale. A trial of a million readings holds as many stages, so those of the usual scales are plain bytes.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Scale {
    /// Position in [`SCALES`].
    Known(u8),
    Other(Arc<str>),
}

impl Scale {
    fn named(name: &str) -> Self {
        let known = (0_u8..).zip(SCALES).find(|(_, (known, ..))| known.eq_ignore_ascii_case(name));
        known.map_or_else(|| Self::Other(name.into()), |(position, _)| Self::Known(position))
    }

    fn name(&self) -> &str {
        match self {
            Self::Known(position) => SCALES.get(usize::from(*position)).map_or("", |(name, ..)| name),
            Self::Other(name) => name,
        }
    }
}

/// The scales with an end that is known here, the last number of each and how that is written: Feekes (Large, Plant Pathology 3,
/// 1954) and Zadoks (Zadoks, Chang and Konzak, Weed Research 14, 1974).
const SCALES: [(&str, [u16; MOST_STEPS], &str); 2] =
    [("Feekes", [11, 4, u16::MAX], "11.4"), ("Zadoks", ZADOKS_LAST, "99")];
const ZADOKS_LAST: [u16; MOST_STEPS] = [99, u16::MAX, u16::MAX];
/// Scales whose names share this much of their letters are the same one misspelt.
const NEAR: f64 = 0.6;

/// A growth stage such as *Feekes 10.5.1* or *Zadoks 31*. Stages compare on their own scale only.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String")]
pub struct GrowthStage {
    scale: Scale,
    steps: [u16; MOST_STEPS],
    /// Never 0, which leaves room for *no stage* within its own bytes.
    step_count: NonZeroU8,
}

impl GrowthStage {
    /// The stage typed as *scale number*, the number in one to three dotted steps. Feekes and Zadoks may be typed in any case.
    ///
    /// # Errors
    /// A text of another form, a misspelt scale, or a number past the end of its scale.
    pub fn read(text: &str) -> Result<Self, StageFault> {
        let fault = |matter| StageFault { typed: text.to_owned(), matter };
        let (scale, number) = text.trim().rsplit_once(char::is_whitespace).ok_or_else(|| fault(Matter::NoStage))?;
        let scale = scale.trim();
        let parsed = number.split('.').map(|step| step.parse().ok()).collect::<Option<Vec<u16>>>();
        let parsed = parsed.filter(|steps| !scale.is_empty() && steps.len() <= MOST_STEPS);
        let parsed = parsed.ok_or_else(|| fault(Matter::NoStage))?;
        let mut steps = [0; MOST_STEPS];
        for (step, value) in steps.iter_mut().zip(&parsed) {
            *step = *value;
        }
        let known = SCALES.iter().find(|(known, ..)| known.eq_ignore_ascii_case(scale));
        if let Some((known, _, shown)) = known.filter(|(_, last, _)| steps > *last) {
            return Err(fault(Matter::PastItsEnd {
                scale: known,
                last: shown,
                is_zadoks: *known == "Feekes" && steps <= ZADOKS_LAST,
            }));
        }
        let likeness =
            |known: &str| strsim::normalized_damerau_levenshtein(&scale.to_lowercase(), &known.to_lowercase());
        let meant = SCALES.iter().find(|(known, ..)| likeness(known) >= NEAR);
        let step_count = NonZeroU8::new(parsed.len() as u8).ok_or_else(|| fault(Matter::NoStage))?;
        match (known, meant) {
            (None, Some((meant, ..))) => Err(fault(Matter::Misspelt { meant: format!("{meant} {number}") })),
            _ => Ok(Self { scale: Scale::named(scale), steps, step_count }),
        }
    }

    /// As [`GrowthStage::read`], where the reason does not matter.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::read(text).ok()
    }

    /// Whether this stage lies from `first` to `last`, both included; `None` where the scales differ.
    #[must_use]
    pub fn is_within(&self, first: &Self, last: &Self) -> Option<bool> {
        let same_scale = self.scale == first.scale && self.scale == last.scale;
        same_scale.then(|| first.steps() <= self.steps() && self.steps() <= last.steps())
    }

    fn steps(&self) -> &[u16] {
        self.steps.get(..usize::from(self.step_count.get())).unwrap_or_default()
    }
}

/// Why a text is no growth stage.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", self.text())]
pub struct StageFault {
    typed: String,
    matter: Matter,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Matter {
    NoStage,
    Misspelt { meant: String },
    PastItsEnd { scale: &'static str, last: &'static str, is_zadoks: bool },
}

impl StageFault {
    fn text(&self) -> String {
        match &self.matter {
            Matter::NoStage => format!("{:?} is not a growth stage", self.typed),
            Matter::Misspelt { .. } => format!("{:?} is on no scale that is known here", self.typed),
            Matter::PastItsEnd { scale, last, .. } => {
                format!("{:?} is past the end of its scale: {scale} ends at {last}", self.typed)
            }
        }
    }

    /// What would be right.
    #[must_use]
    pub fn remedy(&self) -> String {
        match &self.matter {
            Matter::NoStage => "write the scale and the number, such as \"Feekes 5\" or \"Zadoks 31\"".to_owned(),
            Matter::Misspelt { meant } => format!("did you mean {meant:?}?"),
            Matter::PastItsEnd { is_zadoks: true, .. } => {
                let number = self.typed.split_whitespace().last().unwrap_or_default();
                format!("did you mean \"Zadoks {number}\"?")
            }
            Matter::PastItsEnd { .. } => "correct the number".to_owned(),
        }
    }
}

impl fmt::Display for GrowthStage {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let steps = self.steps().iter().map(u16::to_string).collect::<Vec<_>>().join(".");
        write!(formatter, "{} {steps}", self.scale.name())
    }
}

impl TryFrom<String> for GrowthStage {
    type Error = String;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        Self::read(&text).map_err(|fault| format!("{fault}: {}", fault.remedy()))
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
    fn scales_are_known_in_any_case_and_other_scales_are_taken_as_typed() {
        assert_eq!(stage("feekes 5").to_string(), "Feekes 5");
        assert_eq!(stage("ZADOKS 31"), stage("Zadoks 31"));
        assert_eq!(stage("BBCH 31").to_string(), "BBCH 31");
    }

    #[test]
    fn a_misspelt_scale_and_a_number_past_its_end_are_refused_with_what_was_meant() {
        let remedy = |text: &str| GrowthStage::read(text).unwrap_err().remedy();
        assert_eq!(remedy("Feeks 5"), "did you mean \"Feekes 5\"?");
        assert_eq!(remedy("Zadok 31"), "did you mean \"Zadoks 31\"?");
        assert_eq!(remedy("Feekes 60"), "did you mean \"Zadoks 60\"?");
        assert_eq!(remedy("Zadoks 100"), "correct the number");
        assert_eq!(stage("Feekes 11.4").to_string(), "Feekes 11.4");
        assert!(GrowthStage::read("Feekes 11.5").is_err());
    }

    #[test]
    fn what_is_no_stage_is_refused() {
        for text in ["", "Feekes", "5", "Feekes five", "Feekes 1.2.3.4"] {
            assert_eq!(GrowthStage::parse(text), None, "{text}");
        }
    }
}
