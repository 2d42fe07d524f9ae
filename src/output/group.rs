//! How a group is named.

use serde_json::{Map, Value};

use super::layout::quantity;
use super::long;
use super::numbers::plain;
use crate::experiment::GroupKey;
use crate::files::export::Cell;

/// A group as `{factor: level}`: trial, factor of bare columns, variety, factors beside N, N already on.
pub(super) fn group_object(key: &GroupKey) -> Map<String, Value> {
    let mut object = Map::new();
    if let Some(trial) = &key.trial {
        object.insert("trial".to_owned(), trial.as_str().into());
    }
    if let Some((factor, level)) = &key.by {
        object.insert(factor.clone(), level.as_str().into());
    }
    if let Some(variety) = &key.variety {
        object.insert("variety".to_owned(), variety.as_str().into());
    }
    for (factor, level) in &key.factors {
        object.insert(factor.clone(), level.as_str().into());
    }
    if let Some(early_n) = key.early_n {
        object.insert("early_n".to_owned(), early_n.into());
    }
    object
}

/// A level in words, on one line.
pub(crate) fn level_text(level: &Value) -> String {
    match level {
        Value::String(text) => text.replace(char::is_control, " "),
        Value::Number(number) => number.as_f64().map_or_else(|| number.to_string(), plain),
        other => other.to_string(),
    }
}

/// A factor in words.
pub(crate) fn factor_text(factor: &str) -> &str {
    if factor == "early_n" { "early N" } else { factor }
}

/// A group in words: *trial osier-bend-2025, variety Pale Heron, early N 30 lb/ac*.
pub(crate) fn group_text(group: &Map<String, Value>, rate_unit: Option<&str>) -> String {
    if group.is_empty() {
        return "all plots".to_owned();
    }
    let part = |(factor, level): (&String, &Value)| {
        let level = level_text(level);
        let level = if factor == "early_n" { quantity(&level, rate_unit) } else { level };
        format!("{} {level}", factor_text(factor))
    };
    group.iter().map(part).collect::<Vec<_>>().join(", ")
}

/// Every factor that tells some of the groups apart, in order of first appearance.
pub(crate) fn factors<'a>(groups: impl Iterator<Item = &'a Map<String, Value>>) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for factor in groups.flat_map(Map::keys) {
        if !found.contains(factor) {
            found.push(factor.clone());
        }
    }
    found
}

/// The levels of a group in words, one a factor; empty where a factor plays no part in it.
pub(super) fn levels(group: &Map<String, Value>, factors: &[String]) -> Vec<String> {
    factors.iter().map(|factor| group.get(factor).map_or_else(String::new, level_text)).collect()
}

/// The same as cells of a long table: numbers as they are.
pub(super) fn level_fields(group: &Map<String, Value>, factors: &[String]) -> Vec<Cell> {
    let field = |level: &Value| match level {
        Value::Number(number) => long::number(number.as_f64()),
        Value::String(text) => long::text(Some(text)),
        other => long::text(Some(&other.to_string())),
    };
    factors.iter().map(|factor| group.get(factor).map_or(long::text(None), field)).collect()
}
