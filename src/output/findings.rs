//! Findings as a list: what `check` answers, and the season's `findings.csv`.

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::layout::paragraph;
use super::long::{Long, text};
use super::numbers::count;
use crate::files::export::Table;
use crate::finding::{Finding, Severity};

/// Every finding of a programme, trial or file.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Findings {
    /// How many are errors.
    pub errors: usize,
    /// How many are warnings.
    pub warning_count: usize,
    /// Every finding.
    pub findings: Vec<FindingOf>,
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
    /// Place and matter in one sentence.
    #[serde(skip)]
    sentence: String,
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
            sentence: finding.to_string(),
        }
    }
}

impl Findings {
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
        }
    }
}

impl Report for Findings {
    const COMMAND: &'static str = "check";

    fn text(&self) -> String {
        if self.findings.is_empty() {
            return "No findings.\n".to_owned();
        }
        let mut text = format!("{}, {}\n\n", count(self.errors, "error"), count(self.warning_count, "warning"));
        for finding in &self.findings {
            text += &paragraph(&format!("{:<9}", finding.severity), &finding.sentence);
            if let Some(remedy) = &finding.remedy {
                text += &paragraph("         ", &format!("→ {remedy}"));
            }
        }
        text
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
