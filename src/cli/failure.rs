//! What ends a command without an answer.

use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

use miette::{GraphicalReportHandler, GraphicalTheme};

use crate::figures::FigureError;
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
    /// A figure can't be drawn.
    CannotDraw(FigureError),
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

impl From<FigureError> for Failure {
    fn from(error: FigureError) -> Self {
        Self::CannotDraw(error)
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
                // The reader of help may have gone.
                let _ = error.print();
                return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(USAGE_OR_INPUT));
            }
            Self::Input(findings) => (render_findings(findings), USAGE_OR_INPUT),
            Self::CannotWrite(error) => (format!("error: {error}\n"), CANNOT_WRITE),
            Self::CannotDraw(error) => (format!("error: a figure cannot be drawn: {error}\n"), CANNOT_WRITE),
        };
        // Standard error may be closed; there is then nobody to tell.
        let _ = std::io::stderr().write_all(text.as_bytes());
        ExitCode::from(status)
    }
}

/// Every finding with the descriptor's line where there is one, and their count.
fn render_findings(findings: &[Finding]) -> String {
    let coloured = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let theme = if coloured { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let handler = GraphicalReportHandler::new_themed(theme).with_width(WIDTH).with_links(false);
    let mut text = String::new();
    for finding in findings {
        // Writing to a string fails only where a source can't be read, and sources are held in memory.
        let _ = handler.render_report(&mut text, &FindingDiagnostic::from(finding.clone()));
        text.push('\n');
    }
    let errors = findings.iter().filter(|finding| finding.severity == Severity::Error).count();
    let counted = |number: usize, noun: &str| format!("{number} {noun}{}", if number == 1 { "" } else { "s" });
    let warnings = match findings.len() - errors {
        0 => String::new(),
        warnings => format!(", {}", counted(warnings, "warning")),
    };
    text + &format!("{}{warnings}\n", counted(errors, "error"))
}
