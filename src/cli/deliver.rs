//! Handing an answer over: to standard output or to a file.

use std::io::{ErrorKind, Write as _};
use std::path::PathBuf;
use std::process::ExitCode;

use super::failure::Failure;
use super::flags::{FormatFlag, OutputFlags};
use crate::finding::Finding;
use crate::output::{Format, Provenance, Report, Summary, WriteError, render, warnings_text, write_file};

/// Nothing that was asked could be answered.
const NOT_ANSWERED: u8 = 1;

/// A finished answer.
#[derive(Debug)]
pub(super) struct Answer {
    text: String,
    answered: bool,
    out: Option<PathBuf>,
    aside: Vec<Finding>,
}

impl Answer {
    /// A report in the format that was asked for.
    pub(super) fn report<T: Report>(report: &T, provenance: &Provenance, answered: bool, flags: &OutputFlags) -> Self {
        let format = flags.format();
        // CSV has no place for warnings: they go to standard error.
        let aside = if format == Format::Csv { provenance.warnings.clone() } else { Vec::new() };
        Self { text: render(report, provenance, format), answered, out: flags.out.clone(), aside }
    }

    /// A season's summary, which says itself how many warnings there are and fits one screen.
    pub(super) fn summary(report: &Summary, provenance: &Provenance, answered: bool, format: FormatFlag) -> Self {
        let text = match format.into() {
            Format::Text => report.text(),
            format => render(report, provenance, format),
        };
        Self::text(text, answered, None)
    }

    /// A text that is already in the format that was asked for.
    pub(super) fn text(text: String, answered: bool, out: Option<PathBuf>) -> Self {
        Self { text, answered, out, aside: Vec::new() }
    }

    /// Writes the answer where it is wanted.
    ///
    /// # Errors
    /// [`Failure::CannotWrite`]; a reader that stopped reading is no failure.
    pub(super) fn deliver(self) -> Result<ExitCode, Failure> {
        match &self.out {
            Some(file) => write_file(file, self.text.as_bytes())?,
            None => {
                let mut stdout = std::io::stdout().lock();
                match stdout.write_all(self.text.as_bytes()).and_then(|()| stdout.flush()) {
                    Err(error) if error.kind() != ErrorKind::BrokenPipe => {
                        return Err(WriteError::new("standard output", error).into());
                    }
                    _ => {}
                }
            }
        }
        // Standard error may be closed; there is then nobody to tell.
        let _ = std::io::stderr().write_all(warnings_text(&self.aside).as_bytes());
        Ok(if self.answered { ExitCode::SUCCESS } else { ExitCode::from(NOT_ANSWERED) })
    }
}
