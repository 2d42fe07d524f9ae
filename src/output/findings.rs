//! Findings as a list: what `check` answers, and the season's `findings.csv`.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::layout::paragraph;
use super::long::{Long, text};
use super::numbers::count;
use super::plots_read::{PlotsReadOf, plots_read_text};
use crate::files::export::Table;
use crate::finding::{Finding, Severity};

/// Findings of one kind in one file are written out up to so many; the rows of the others are listed.
const WRITTEN_OUT: usize = 3;
/// Rows of further findings of a kind that are listed.
const LISTED_ROWS: usize = 12;

/// Every finding of a programme, trial or file.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Findings {
    /// How many are errors.
    pub errors: usize,
    /// How many are warnings.
    pub warning_count: usize,
    /// Every finding.
    pub findings: Vec<FindingOf>,
    /// What became of the plots, by trial; empty where a file could not be read.
    pub plots: Vec<PlotsReadOf>,
}

/// One finding.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FindingOf {
    /// `error` or `warning`.
    pub severity: &'static str,
    /// A stable name of the kind of finding.
    pub code: &'static str,
    /// File.
    pub file: String,
    /// Sheet, in a workbook.
    pub sheet: Option<String>,
    /// Line of a descriptor or row of a data file, counted from 1.
    pub row: Option<u64>,
    /// Column header or descriptor key.
    pub column: Option<String>,
    /// Value as typed.
    pub value: Option<String>,
    /// What is the matter.
    pub text: String,
    /// What would be right.
    pub remedy: Option<String>,
    /// Place within the file, in words; empty for the file as a whole.
    #[serde(skip)]
    within: String,
}

impl From<&Finding> for FindingOf {
    fn from(finding: &Finding) -> Self {
        Self {
            severity: match finding.severity {
                Severity::Error => "error",
                Severity::Warning => "warning",
            },
            code: finding.code,
            file: finding.place.file.clone(),
            sheet: finding.place.sheet.clone(),
            row: finding.place.row,
            column: finding.place.column.clone(),
            value: finding.place.value.clone(),
            text: finding.text.clone(),
            remedy: finding.remedy.clone(),
            within: within(finding),
        }
    }
}

/// *row 12, yield = "0"*: the place without its file.
fn within(finding: &Finding) -> String {
    let place = finding.place.to_string();
    let within = place.strip_prefix(&finding.place.file).unwrap_or(&place);
    within.trim_start_matches(", ").to_owned()
}

impl Findings {
    /// With what became of the plots.
    #[must_use]
    pub fn with_plots(mut self, plots: Vec<PlotsReadOf>) -> Self {
        self.plots = plots;
        self
    }

    /// The findings of one severity, by file in the order in which files come first.
    fn by_file(&self, severity: &str) -> Vec<(&str, Vec<&FindingOf>)> {
        let mut files: Vec<(&str, Vec<&FindingOf>)> = Vec::new();
        for finding in self.findings.iter().filter(|finding| finding.severity == severity) {
            match files.iter_mut().find(|(file, _)| *file == finding.file) {
                Some((_, findings)) => findings.push(finding),
                None => files.push((&finding.file, vec![finding])),
            }
        }
        files
    }

    /// Findings, errors first.
    #[must_use]
    pub fn of(findings: &[Finding]) -> Self {
        let mut sorted: Vec<&Finding> = findings.iter().collect();
        sorted.sort_by_key(|finding| finding.severity);
        let errors = sorted.iter().filter(|finding| finding.severity == Severity::Error).count();
        Self {
            errors,
            warning_count: sorted.len() - errors,
            findings: sorted.into_iter().map(FindingOf::from).collect(),
            plots: Vec::new(),
        }
    }
}

impl Report for Findings {
    const COMMAND: &'static str = "check";

    fn text(&self) -> String {
        let mut text = if self.findings.is_empty() {
            "No findings.\n".to_owned()
        } else {
            format!("{}, {}\n", count(self.errors, "error"), count(self.warning_count, "warning"))
        };
        for (severity, head) in [("error", "Errors"), ("warning", "Warnings")] {
            for (position, (file, findings)) in self.by_file(severity).into_iter().enumerate() {
                text += &if position == 0 { format!("\n{head}\n") } else { String::new() };
                text += &format!("  {file}\n");
                text += &of_file(&findings);
            }
        }
        if !self.plots.is_empty() {
            text.push('\n');
        }
        text + &plots_read_text(&self.plots)
    }

    fn table(&self) -> Table {
        let mut long = Long::new(["severity", "code", "file", "sheet", "row", "column", "value", "text", "remedy"]);
        for finding in &self.findings {
            long.row([
                finding.severity.into(),
                finding.code.into(),
                finding.file.as_str().into(),
                text(finding.sheet.as_deref()),
                finding.row.into(),
                text(finding.column.as_deref()),
                text(finding.value.as_deref()),
                finding.text.as_str().into(),
                text(finding.remedy.as_deref()),
            ]);
        }
        long.finish()
    }
}

/// The findings of one file; of many of one kind, the first few are written out and the rows of the others listed.
fn of_file(findings: &[&FindingOf]) -> String {
    let mut text = String::new();
    let mut written: BTreeMap<&str, usize> = BTreeMap::new();
    // Every line of a descriptor has its own fault.
    let is_descriptor = findings.first().is_some_and(|finding| finding.file.ends_with(".toml"));
    for finding in findings {
        let count = written.entry(finding.code).or_default();
        *count += 1;
        if *count > WRITTEN_OUT && !is_descriptor {
            continue;
        }
        let place = if finding.within.is_empty() { String::new() } else { format!("{}: ", finding.within) };
        text += &paragraph("    ", &format!("{place}{}", finding.text));
        if let Some(remedy) = &finding.remedy {
            text += &paragraph("      → ", remedy);
        }
    }
    for (code, number) in written.into_iter().filter(|(_, number)| *number > WRITTEN_OUT && !is_descriptor) {
        let further = findings.iter().filter(|finding| finding.code == code).skip(WRITTEN_OUT);
        let rows: Vec<String> = further.filter_map(|finding| finding.row).map(|row| row.to_string()).collect();
        let shown = rows.get(..LISTED_ROWS).unwrap_or(&rows).join(", ");
        let rows = match rows.len() {
            0 => String::new(),
            1 => format!(" on row {shown}"),
            many if many > LISTED_ROWS => format!(" on rows {shown} and more"),
            _ => format!(" on rows {shown}"),
        };
        text += &paragraph("    ", &format!("and {} more {code}{rows} (--format csv lists all)", number - WRITTEN_OUT));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Place;

    #[test]
    fn errors_come_before_warnings_each_under_its_file_with_place_and_remedy() {
        let at = |file: &str, row| Place::file(file).row(row).column("yield").value("0");
        let findings = [
            Finding::warning("zero-for-missing", at("a/plots.csv", 3), "the yield is 0").remedy("leave it empty"),
            Finding::error("not-a-number", at("b/plots.csv", 4), "no number"),
            Finding::warning("odd", Place::file("a/trial.toml"), "odd"),
        ];
        let expected = "1 error, 2 warnings\n\nErrors\n  b/plots.csv\n    row 4, yield = \"0\": no number\n\n\
                        Warnings\n  a/plots.csv\n    row 3, yield = \"0\": the yield is 0\n      → leave it empty\n  \
                        a/trial.toml\n    odd\n";
        assert_eq!(Findings::of(&findings).text(), expected);
    }

    #[test]
    fn many_findings_of_a_kind_are_cut_short_and_their_rows_listed() {
        let finding = |row| Finding::warning("off", Place::file("plots.csv").row(row), format!("row {row} is off"));
        let text = Findings::of(&(2..=30).map(finding).collect::<Vec<_>>()).text();
        assert!(text.contains("row 4 is off") && !text.contains("row 5 is off"), "{text}");
        assert!(text.contains("and 26 more off on rows 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16 and more"), "{text}");
    }
}
