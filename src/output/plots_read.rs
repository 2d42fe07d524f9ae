//! What became of the plots that were read.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::layout::{TextTable, paragraph};
use super::numbers::count;
use crate::quality::{PlotsRead, Used};

/// Plots of one reason are named up to so many, then counted.
const NAMED: usize = 4;

/// What became of the plots of a trial, or of the rows of a bare data file.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PlotsReadOf {
    /// Trial folder, or file.
    pub trial: String,
    /// Plots (rows) read.
    pub read: usize,
    /// For yields.
    pub yields: Option<UsedOf>,
    /// For readings.
    pub readings: Option<UsedOf>,
    #[serde(skip)]
    noun: &'static str,
}

/// Plots used and excluded: together those read.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct UsedOf {
    /// Plots used.
    pub used: usize,
    /// Plots not used.
    pub excluded: Vec<ExcludedPlot>,
}

/// A plot that is not used.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ExcludedPlot {
    /// Its key, as typed.
    pub plot: String,
    /// Why.
    pub reason: String,
}

impl From<&Used> for UsedOf {
    fn from(used: &Used) -> Self {
        let excluded = used.excluded.iter();
        let excluded = excluded.map(|(plot, reason)| ExcludedPlot { plot: plot.clone(), reason: reason.clone() });
        Self { used: used.used, excluded: excluded.collect() }
    }
}

impl From<&PlotsRead> for PlotsReadOf {
    fn from(plots: &PlotsRead) -> Self {
        Self {
            trial: plots.trial.clone(),
            read: plots.read,
            yields: plots.yields.as_ref().map(UsedOf::from),
            readings: plots.readings.as_ref().map(UsedOf::from),
            noun: "plot",
        }
    }
}

impl PlotsReadOf {
    /// The rows of a bare data file: `used` of them have a yield, and those in `without` have none.
    #[must_use]
    pub fn of_rows(file: String, used: usize, without: Vec<String>) -> Self {
        let excluded = without.into_iter().map(|plot| ExcludedPlot { plot, reason: "no yield".to_owned() });
        let yields = UsedOf { used, excluded: excluded.collect() };
        Self { trial: file, read: used + yields.excluded.len(), yields: Some(yields), readings: None, noun: "row" }
    }
}

/// The plots of several trials as a table, read = used + excluded, with what is excluded and why below it; empty without any.
pub(super) fn plots_read_text(plots: &[PlotsReadOf]) -> String {
    let Some(first) = plots.first() else { return String::new() };
    let mut table = TextTable::new()
        .words("")
        .numbers(format!("{}s read", first.noun))
        .numbers("= yields used")
        .numbers("+ excluded")
        .numbers("= readings used")
        .numbers("+ excluded");
    let mut excluded = String::new();
    for trial in plots {
        let mut row = vec![trial.trial.clone(), trial.read.to_string()];
        for (used, what) in [(&trial.yields, "yields"), (&trial.readings, "readings")] {
            match used {
                Some(used) => {
                    row.extend([used.used.to_string(), used.excluded.len().to_string()]);
                    excluded += &used.reasons(trial, what);
                }
                None => row.extend([String::new(), String::new()]),
            }
        }
        table.row(row);
    }
    let excluded = if excluded.is_empty() { excluded } else { format!("\n  Excluded\n{excluded}") };
    format!("{}{excluded}", table.render(2))
}

impl UsedOf {
    /// *upper-terrace-2023, yields: 304 (combine plugged)*.
    fn reasons(&self, trial: &PlotsReadOf, what: &str) -> String {
        let mut by_reason: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for excluded in &self.excluded {
            by_reason.entry(&excluded.reason).or_default().push(&excluded.plot);
        }
        let reason = |(reason, plots): (&str, Vec<&str>)| match plots.len() {
            many if many > NAMED => format!("{} ({reason})", count(many, trial.noun)),
            _ => format!("{} ({reason})", plots.join(", ")),
        };
        let reasons: Vec<String> = by_reason.into_iter().map(reason).collect();
        if reasons.is_empty() {
            return String::new();
        }
        paragraph(&format!("  {}, {what}: ", trial.trial), &reasons.join("; "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plots_read_are_those_used_and_those_excluded_with_their_reasons() {
        let used = |used, excluded: &[(&str, &str)]| {
            let excluded = excluded.iter().map(|(plot, reason)| ((*plot).to_owned(), (*reason).to_owned())).collect();
            Some(Used { used, excluded })
        };
        let plots = PlotsRead {
            trial: "upper-terrace-2023".to_owned(),
            read: 24,
            yields: used(22, &[("304", "combine plugged"), ("209", "no yield")]),
            readings: used(24, &[]),
        };
        insta::assert_snapshot!(plots_read_text(&[PlotsReadOf::from(&plots)]));
    }

    #[test]
    fn rows_of_a_bare_file_are_counted_by_their_yields() {
        let rows = PlotsReadOf::of_rows("oats.csv".to_owned(), 71, vec!["row 4".to_owned()]);
        insta::assert_snapshot!(plots_read_text(&[rows]));
    }
}
