//! An interval as every result carries it: what was estimated, between which limits, how they were found.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the data say about the two ends of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Limits {
    /// Both ends are known.
    Both,
    /// The data set no lower end.
    OpenBelow,
    /// The data set no upper end.
    OpenAbove,
    /// The data set neither end.
    Open,
    /// More than one piece: see `segments`. `low` and `high` are the hull, and either may still be open (`None`).
    Disjoint,
    /// No interval could be computed, for example because no error degrees of freedom are left.
    NotComputed,
}

impl Limits {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Limits::Both => "both",
            Limits::OpenBelow => "open-below",
            Limits::OpenAbove => "open-above",
            Limits::Open => "open",
            Limits::Disjoint => "disjoint",
            Limits::NotComputed => "not-computed",
        }
    }
}

/// A point with its interval, in the unit of what was estimated.
///
/// An end that the data leave open is `None`, never an infinity or NaN.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Interval {
    /// The point, where the data give one; `None` where they only bound it.
    pub estimate: Option<f64>,
    /// The lower end, or `None` where it is open.
    pub low: Option<f64>,
    /// The upper end, or `None` where it is open.
    pub high: Option<f64>,
    /// The confidence level, for example 0.95.
    pub level: f64,
    /// How the interval was made, for example `profile`.
    pub method: String,
    /// Which ends are known.
    pub limits: Limits,
    /// Every piece as `[low, high]`, ascending; an open end is `None`.
    pub segments: Vec<[Option<f64>; 2]>,
    /// Why it is not computed, in words for a reader; `None` where it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Of a bootstrap interval, the replicates that it rests on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resamples: Option<Resamples>,
}

/// The replicates of a bootstrap.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Resamples {
    /// Replicates attempted.
    pub attempted: usize,
    /// Those of them without an estimate.
    pub failed: usize,
}

impl Interval {
    /// An interval with ends and no more than one piece.
    pub fn between(estimate: Option<f64>, low: Option<f64>, high: Option<f64>, level: f64, method: &str) -> Self {
        Self::from_segments(estimate, vec![[low, high]], level, method)
    }

    /// The interval of one or more ascending pieces that do not touch; with no piece it is [`Limits::NotComputed`].
    pub fn from_segments(estimate: Option<f64>, segments: Vec<[Option<f64>; 2]>, level: f64, method: &str) -> Self {
        let low = segments.first().and_then(|piece| piece[0]);
        let high = segments.last().and_then(|piece| piece[1]);
        let limits = match (segments.len(), low, high) {
            (0, _, _) => Limits::NotComputed,
            (1, Some(_), Some(_)) => Limits::Both,
            (1, None, Some(_)) => Limits::OpenBelow,
            (1, Some(_), None) => Limits::OpenAbove,
            (1, None, None) => Limits::Open,
            _ => Limits::Disjoint,
        };
        Self { estimate, low, high, level, method: method.to_owned(), limits, segments, reason: None, resamples: None }
    }

    /// A point whose interval could not be computed.
    pub fn not_computed(estimate: Option<f64>, level: f64, method: &str) -> Self {
        Self::from_segments(estimate, Vec::new(), level, method)
    }

    /// A point whose interval is not computed, with the reason in words for a reader.
    pub fn refused(estimate: Option<f64>, level: f64, method: &str, reason: &str) -> Self {
        Self { reason: Some(reason.to_owned()), ..Self::not_computed(estimate, level, method) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_end_is_null_in_json_and_named_in_words() {
        let interval = Interval::between(Some(90.0), Some(71.5), None, 0.95, "profile");
        let json = serde_json::to_value(&interval).unwrap();
        assert_eq!(
            json,
            serde_json::json!({"estimate": 90.0, "low": 71.5, "high": null, "level": 0.95, "method": "profile",
                "limits": "open-above", "segments": [[71.5, null]]})
        );
        assert_eq!(serde_json::from_value::<Interval>(json).unwrap(), interval);
    }

    #[test]
    fn two_pieces_are_disjoint_and_keep_their_hull() {
        let pieces = vec![[Some(0.0), Some(0.0)], [Some(60.0), Some(90.0)]];
        let interval = Interval::from_segments(None, pieces, 0.9, "profile");
        assert_eq!((interval.limits, interval.low, interval.high), (Limits::Disjoint, Some(0.0), Some(90.0)));
    }

    #[test]
    fn no_piece_is_not_computed() {
        assert_eq!(Interval::not_computed(Some(1.0), 0.95, "profile").limits, Limits::NotComputed);
    }
}
