//! Intervals in words: an open end is named, never printed as a number.

use super::numbers::{percent, rate};
use crate::stats::interval::{Interval, Limits};

/// *88.1 to 104.3*, or what the data leave open.
pub(super) fn interval_text(interval: &Interval, decimals: usize) -> String {
    limits_text(interval.limits, interval.low, interval.high, &interval.segments, decimals)
}

/// The same from the parts of an interval.
pub(crate) fn limits_text(
    limits: Limits,
    low: Option<f64>,
    high: Option<f64>,
    segments: &[[Option<f64>; 2]],
    decimals: usize,
) -> String {
    let piece = |low: Option<f64>, high: Option<f64>| piece_text(low, high, decimals);
    match limits {
        Limits::NotComputed => "not computed".to_owned(),
        Limits::Disjoint => segments.iter().map(|&[low, high]| piece(low, high)).collect::<Vec<_>>().join(" and "),
        Limits::Both | Limits::OpenBelow | Limits::OpenAbove | Limits::Open => piece(low, high),
    }
}

/// One piece: *88.1 to 104.3*, or which end is open.
pub(super) fn piece_text(low: Option<f64>, high: Option<f64>, decimals: usize) -> String {
    let number = |value: f64| rate(value, decimals);
    match (low, high) {
        (Some(low), Some(high)) if low == high => number(low),
        (Some(low), Some(high)) => format!("{} to {}", number(low), number(high)),
        (Some(low), None) => format!("{} to open", number(low)),
        (None, Some(high)) => format!("open to {}", number(high)),
        (None, None) => "open".to_owned(),
    }
}

/// The head of a column of intervals: *95 % interval*.
pub(crate) fn interval_head(level: Option<f64>) -> String {
    level.map_or_else(|| "interval".to_owned(), |level| format!("{} interval", percent(level)))
}

/// What a reader must know of intervals by a method; nothing of the default.
pub(super) fn method_note(method: &str) -> Option<&'static str> {
    match method {
        "wald" => Some(
            "Wald intervals: the estimate plus and minus t standard errors (delta method). They are symmetric whatever the data say. \
             Near the highest tested rate 95 % limits held the truth in half to nine tenths of simulated trials, profile intervals, the \
             default, in 95 %.",
        ),
        "fieller" => Some(
            "Fieller's set: the rates at which the slope does not differ from the price ratio. Where the bend itself is not significant \
             it has no ends, or leaves out only the rates between two pieces; by its formula it may hold rates below 0.",
        ),
        "bootstrap" => Some(
            "Bootstrap intervals: the middle of what the same analysis gives for resampled yields. Where a join lies at a tested rate they \
             need not hold their level, and from four to six whole blocks 95 % limits held the truth in 80 to 90 % of simulated trials; \
             profile intervals, the default, lead.",
        ),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(segments: Vec<[Option<f64>; 2]>) -> String {
        interval_text(&Interval::from_segments(Some(90.0), segments, 0.95, "profile"), 1)
    }

    #[test]
    fn an_open_end_is_said() {
        assert_eq!(words(vec![[Some(71.5), Some(104.0)]]), "71.5 to 104.0");
        assert_eq!(words(vec![[Some(71.5), None]]), "71.5 to open");
        assert_eq!(words(vec![[None, Some(30.0)]]), "open to 30.0");
        assert_eq!(words(vec![[None, None]]), "open");
        assert_eq!(words(vec![]), "not computed");
    }

    #[test]
    fn both_pieces_of_a_split_interval_are_said() {
        assert_eq!(words(vec![[Some(0.0), Some(0.0)], [Some(60.0), None]]), "0 and 60.0 to open");
    }
}
