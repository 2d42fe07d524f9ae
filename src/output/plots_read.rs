//! What became of the plots that were read.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

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

    /// *24 plots read = 23 used + 1 excluded for yields (304: combine plugged) = 24 used + 0 excluded for readings*.
    pub(super) fn line(&self) -> String {
        let parts = [(&self.yields, "yields"), (&self.readings, "readings")];
        let parts = parts.into_iter().filter_map(|(used, what)| Some(used.as_ref()?.words(what, self.noun)));
        let parts: Vec<String> = parts.collect();
        let read = count(self.read, self.noun);
        if parts.is_empty() {
            format!("{read} read, without yields or readings")
        } else {
            format!("{read} read = {}", parts.join(" = "))
        }
    }
}

impl UsedOf {
    fn words(&self, what: &str, noun: &str) -> String {
        let mut by_reason: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for excluded in &self.excluded {
            by_reason.entry(&excluded.reason).or_default().push(&excluded.plot);
        }
        let reason = |(reason, plots): (&str, Vec<&str>)| match plots.len() {
            many if many > NAMED => format!("{}: {reason}", count(many, noun)),
            _ => format!("{}: {reason}", plots.join(", ")),
        };
        let reasons: Vec<String> = by_reason.into_iter().map(reason).collect();
        let reasons = if reasons.is_empty() { String::new() } else { format!(" ({})", reasons.join("; ")) };
        format!("{} used + {} excluded for {what}{reasons}", self.used, self.excluded.len())
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
        let expected = "24 plots read = 22 used + 2 excluded for yields (304: combine plugged; 209: no yield) \
                        = 24 used + 0 excluded for readings";
        assert_eq!(PlotsReadOf::from(&plots).line(), expected);
    }

    #[test]
    fn rows_of_a_bare_file_are_counted_by_their_yields() {
        let rows = PlotsReadOf::of_rows("oats.csv".to_owned(), 71, vec!["row 4".to_owned()]);
        assert_eq!(rows.line(), "72 rows read = 71 used + 1 excluded for yields (row 4: no yield)");
    }
}
