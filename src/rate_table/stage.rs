//! Growth stages on the Feekes or the Zadoks scale, compared on their own scale only.

use std::str::FromStr;
use thiserror::Error;

/// A growth stage of a cereal: `Feekes 5`, `Feekes 10.5.1`, `Zadoks 31`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GrowthStage {
    scale: Scale,
    /// The main stage and then one digit a subdivision, so that they compare in the order of growth.
    steps: Vec<u8>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scale {
    Feekes,
    Zadoks,
}

/// Text that names no growth stage.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("\"{0}\" is not a growth stage: write the scale and the stage, such as Feekes 5 or Zadoks 30")]
pub struct StageError(pub String);

impl GrowthStage {
    /// The scale's name.
    pub fn scale(&self) -> &'static str {
        match self.scale {
            Scale::Feekes => "Feekes",
            Scale::Zadoks => "Zadoks",
        }
    }
}

/// Stages of different scales have no order.
impl PartialOrd for GrowthStage {
    fn partial_cmp(&self, other: &GrowthStage) -> Option<std::cmp::Ordering> {
        (self.scale == other.scale).then(|| self.steps.cmp(&other.steps))
    }
}

impl FromStr for GrowthStage {
    type Err = StageError;

    /// Reads `Feekes 1` to `Feekes 11.4` with subdivisions by points (`10.5.1` and `10.51` are the same),
    /// and `Zadoks 0` to `Zadoks 99`.
    fn from_str(text: &str) -> Result<GrowthStage, StageError> {
        let wrong = || StageError(text.chars().take(40).collect());
        let mut words = text.split_whitespace();
        let (Some(scale), Some(stage), None) = (words.next(), words.next(), words.next()) else {
            return Err(wrong());
        };
        let (scale, stages) = match scale.to_ascii_lowercase().as_str() {
            "feekes" => (Scale::Feekes, 1..=11),
            "zadoks" => (Scale::Zadoks, 0..=99),
            _ => return Err(wrong()),
        };
        let (main, rest) = stage.split_once('.').map_or((stage, None), |(main, rest)| (main, Some(rest)));
        if !main.bytes().all(|byte| byte.is_ascii_digit()) {
            return Err(wrong());
        }
        let main: u8 = main.parse().map_err(|_| wrong())?;
        if !stages.contains(&main) || (rest.is_some() && scale == Scale::Zadoks) {
            return Err(wrong());
        }
        let mut steps = vec![main];
        for part in rest.into_iter().flat_map(|rest| rest.split('.')) {
            if part.is_empty() || !part.bytes().all(|byte| byte.is_ascii_digit()) {
                return Err(wrong());
            }
            steps.extend(part.bytes().map(|byte| byte - b'0'));
        }
        Ok(GrowthStage { scale, steps })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage(text: &str) -> GrowthStage {
        text.parse().unwrap()
    }

    #[test]
    fn stages_follow_growth_on_their_own_scale_only() {
        let feekes = ["Feekes 3", "feekes 5", "Feekes 6", "Feekes 10", "Feekes 10.1", "Feekes 10.5.1", "Feekes 11"];
        assert!(feekes.windows(2).all(|pair| stage(pair[0]) < stage(pair[1])));
        assert_eq!(stage("Feekes 10.51"), stage("Feekes 10.5.1"));
        assert!(stage("Zadoks 9") < stage("ZADOKS 30"));
        assert_eq!(stage("Feekes 6").partial_cmp(&stage("Zadoks 31")), None);
    }

    #[test]
    fn text_without_a_scale_or_beyond_it_is_refused() {
        for text in ["", "5", "Feekes", "Feekes 12", "Feekes x", "Feekes 5.", "Zadoks 31.5", "Zadoks 100", "jointing 5"]
        {
            assert!(text.parse::<GrowthStage>().is_err(), "{text}");
        }
    }
}
