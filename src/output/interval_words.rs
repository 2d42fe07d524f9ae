//! Intervals in words: an open end is named, never printed as a number.

use super::numbers::{percent, rate};
use crate::stats::interval::{Interval, Limits};

/// *88.1 to 104.3*, or what the data leave open.
pub(super) fn interval_text(interval: &Interval, decimals: usize) -> String {
    limits_text(interval.limits, interval.low, interval.high, &interval.segments, decimals)
}

/// The same from the parts of an interval.
pub(super) fn limits_text(
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
        (Some(low), None) => format!("from {}, open above", number(low)),
        (None, Some(high)) => format!("up to {}, open below", number(high)),
        (None, None) => "open above and below".to_owned(),
    }
}

/// Limits as they are written in files.
pub(super) fn limits_name(limits: Limits) -> &'static str {
    match limits {
        Limits::Both => "both",
        Limits::OpenBelow => "open-below",
        Limits::OpenAbove => "open-above",
        Limits::Open => "open",
        Limits::Disjoint => "disjoint",
        Limits::NotComputed => "not-computed",
    }
}

/// The head of a column of intervals: *95 % interval*.
pub(super) fn interval_head(level: Option<f64>) -> String {
    level.map_or_else(|| "interval".to_owned(), |level| format!("{} interval", percent(level)))
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
        assert_eq!(words(vec![[Some(71.5), None]]), "from 71.5, open above");
        assert_eq!(words(vec![[None, Some(30.0)]]), "up to 30.0, open below");
        assert_eq!(words(vec![[None, None]]), "open above and below");
        assert_eq!(words(vec![]), "not computed");
    }

    #[test]
    fn both_pieces_of_a_split_interval_are_said() {
        assert_eq!(words(vec![[Some(0.0), Some(0.0)], [Some(60.0), None]]), "0 and from 60.0, open above");
    }
}
