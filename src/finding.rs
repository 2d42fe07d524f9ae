//! A finding: what is wrong or noteworthy, where, and what would be right.

use std::fmt;
use std::sync::Arc;

use miette::{Diagnostic, LabeledSpan, NamedSource, SourceCode};
use serde::Serialize;

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// The input can't be used as it stands.
    Error,
    /// The input is used; the reader should know.
    Warning,
}

/// Where in the input a finding is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Place {
    /// The file, as the user named it or relative to the programme.
    pub file: String,
    /// The sheet, in a workbook.
    pub sheet: Option<String>,
    /// Line of a descriptor or row of a data file, counted from 1 with the header included.
    pub row: Option<u64>,
    /// The column header or descriptor key.
    pub column: Option<String>,
    /// The value as typed.
    pub value: Option<String>,
}

impl Place {
    /// The file as a whole.
    #[must_use]
    pub fn file(file: impl Into<String>) -> Self {
        Self { file: file.into(), ..Self::default() }
    }

    /// With the sheet of a workbook.
    #[must_use]
    pub fn sheet(mut self, sheet: Option<String>) -> Self {
        self.sheet = sheet;
        self
    }

    /// With its row.
    #[must_use]
    pub fn row(mut self, row: u64) -> Self {
        self.row = Some(row);
        self
    }

    /// With its column or key.
    #[must_use]
    pub fn column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self
    }

    /// With the value as typed.
    #[must_use]
    pub fn value(mut self, value: impl Into<String>) -> Self {
        self.value = Some(value.into());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.file)?;
        if let Some(sheet) = &self.sheet {
            write!(formatter, ", sheet {sheet:?}")?;
        }
        if let Some(row) = self.row {
            let word = if self.file.ends_with(".toml") { "line" } else { "row" };
            write!(formatter, ", {word} {row}")?;
        }
        if let Some(column) = &self.column {
            write!(formatter, ", {column}")?;
        }
        if let Some(value) = &self.value {
            write!(formatter, " = {value:?}")?;
        }
        Ok(())
    }
}

/// A stretch of a descriptor's text to show with a finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// The whole text of the file, shared by its findings.
    pub text: Arc<str>,
    /// First byte of the stretch.
    pub start: usize,
    /// Its length in bytes.
    pub length: usize,
}

/// Something found in the input: severity, place, what is the matter, what would be right.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// Error or warning.
    pub severity: Severity,
    /// A stable name of the kind of finding, in kebab case.
    pub code: &'static str,
    /// Where it is.
    #[serde(flatten)]
    pub place: Place,
    /// What is the matter.
    pub text: String,
    /// What would be right.
    pub remedy: Option<String>,
    /// The descriptor text around it.
    #[serde(skip)]
    pub excerpt: Option<Excerpt>,
}

impl Finding {
    /// An error at a place.
    #[must_use]
    pub fn error(code: &'static str, place: Place, text: impl Into<String>) -> Self {
        Self { severity: Severity::Error, code, place, text: text.into(), remedy: None, excerpt: None }
    }

    /// A warning at a place.
    #[must_use]
    pub fn warning(code: &'static str, place: Place, text: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::error(code, place, text) }
    }

    /// With what would be right.
    #[must_use]
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = Some(remedy.into());
        self
    }

    /// With the descriptor text around it.
    #[must_use]
    pub fn excerpt(mut self, excerpt: Excerpt) -> Self {
        self.excerpt = Some(excerpt);
        self
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}: {}", self.place, self.text)
    }
}

impl std::error::Error for Finding {}

/// A finding as a diagnostic that shows the descriptor's line, where there is one.
#[derive(Debug)]
pub struct FindingDiagnostic {
    finding: Finding,
    source: Option<NamedSource<Arc<str>>>,
}

impl From<Finding> for FindingDiagnostic {
    fn from(finding: Finding) -> Self {
        let source =
            finding.excerpt.as_ref().map(|excerpt| NamedSource::new(&finding.place.file, Arc::clone(&excerpt.text)));
        Self { finding, source }
    }
}

impl fmt::Display for FindingDiagnostic {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.finding.fmt(formatter)
    }
}

impl std::error::Error for FindingDiagnostic {}

impl Diagnostic for FindingDiagnostic {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.finding.code))
    }

    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.finding.severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
        })
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.finding.remedy.as_ref().map(|remedy| Box::new(remedy) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.source.as_ref().map(|source| source as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let excerpt = self.finding.excerpt.as_ref()?;
        let label = LabeledSpan::new(Some("here".to_owned()), excerpt.start, excerpt.length);
        Some(Box::new(std::iter::once(label)))
    }
}
