//! What ends a command without an answer.

use std::io::{ErrorKind, IsTerminal as _, Write as _};
use std::process::ExitCode;

use miette::{GraphicalReportHandler, GraphicalTheme};

use crate::finding::{Finding, FindingDiagnostic, Severity};
use crate::output::WriteError;

const USAGE_OR_INPUT: u8 = 2;
const CANNOT_WRITE: u8 = 3;
/// Columns of a rendered error.
const WIDTH: usize = 100;

/// Why there is no answer.
#[derive(Debug)]
pub(super) enum Failure {
    /// The arguments are not right, or help was asked for.
    Usage(clap::Error),
    /// The input is not right: every finding.
    Input(Vec<Finding>),
    /// The result can't be written.
    CannotWrite(WriteError),
}

impl From<clap::Error> for Failure {
    fn from(error: clap::Error) -> Self {
        Self::Usage(error)
    }
}

impl From<Vec<Finding>> for Failure {
    fn from(findings: Vec<Finding>) -> Self {
        Self::Input(findings)
    }
}

impl From<Finding> for Failure {
    fn from(finding: Finding) -> Self {
        Self::Input(vec![finding])
    }
}

impl From<WriteError> for Failure {
    fn from(error: WriteError) -> Self {
        Self::CannotWrite(error)
    }
}

impl Failure {
    /// Arguments that are each right but not together.
    pub(super) fn usage(text: impl std::fmt::Display) -> Self {
        Self::Usage(clap::Error::raw(clap::error::ErrorKind::ArgumentConflict, format!("{text}\n")))
    }

    /// Tells the user on standard error (help on standard output) and gives the exit status.
    pub(super) fn report(&self) -> ExitCode {
        let (text, status) = match self {
            Self::Usage(error) => {
                return match error.print() {
                    Err(refused) if !error.use_stderr() && refused.kind() != ErrorKind::BrokenPipe => {
                        Self::from(WriteError::new("standard output", refused)).report()
                    }
                    // The reader of help may have gone.
                    _ => ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(USAGE_OR_INPUT)),
                };
            }
            Self::Input(findings) => (render_findings(findings), USAGE_OR_INPUT),
            Self::CannotWrite(error) => (format!("error: {error}\n"), CANNOT_WRITE),
        };
        // Standard error may be closed; there is then nobody to tell.
        let _ = std::io::stderr().write_all(text.as_bytes());
        ExitCode::from(status)
    }
}

/// A hyphen at which no line is broken: names of files and keys stay whole.
const HYPHEN: char = '\u{2011}';

fn unbroken(finding: &Finding) -> Finding {
    let kept = |text: &str| text.replace('-', &HYPHEN.to_string());
    let mut finding = finding.clone();
    finding.text = kept(&finding.text);
    finding.remedy = finding.remedy.as_deref().map(kept);
    finding.place.file = kept(&finding.place.file);
    finding.place.column = finding.place.column.as_deref().map(kept);
    finding.place.value = finding.place.value.as_deref().map(kept);
    finding
}

/// Every finding with the descriptor's line where there is one, and their count.
fn render_findings(findings: &[Finding]) -> String {
    let coloured = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let theme = if coloured { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let handler = GraphicalReportHandler::new_themed(theme).with_width(WIDTH).with_links(false);
    let mut text = String::new();
    for finding in findings {
        // Writing to a string fails only where a source can't be read, and sources are held in memory.
        let _ = handler.render_report(&mut text, &FindingDiagnostic::from(unbroken(finding)));
        text.push('\n');
    }
    let text = text.replace(HYPHEN, "-");
    let errors = findings.iter().filter(|finding| finding.severity == Severity::Error).count();
    let counted = |number: usize, noun: &str| format!("{number} {noun}{}", if number == 1 { "" } else { "s" });
    let warnings = match findings.len() - errors {
        0 => String::new(),
        warnings => format!(", {}", counted(warnings, "warning")),
    };
    text + &format!("{}{warnings}\n", counted(errors, "error"))
}
