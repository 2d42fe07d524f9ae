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
    bytes: Vec<u8>,
    answered: bool,
    out: Option<PathBuf>,
    aside: Vec<Finding>,
}

impl Answer {
    /// A report in the format that was asked for.
    ///
    /// # Errors
    /// [`Failure::CannotWrite`] for a table that is too large for a workbook.
    pub(super) fn report<T: Report>(
        report: &T,
        provenance: &Provenance,
        answered: bool,
        flags: &OutputFlags,
    ) -> Result<Self, Failure> {
        let format = flags.format();
        // Neither CSV nor Parquet has a place for warnings: they go to standard error.
        let bare = matches!(format, Format::Csv | Format::Parquet);
        let aside = if bare { provenance.warnings.clone() } else { Vec::new() };
        let bytes = render(report, provenance, format).map_err(WriteError::from)?;
        Ok(Self { bytes, answered, out: flags.out.clone(), aside })
    }

    /// A season's summary, which says itself how many warnings there are and fits one screen.
    ///
    /// # Errors
    /// As in [`Answer::report`].
    pub(super) fn summary(
        report: &Summary,
        provenance: &Provenance,
        answered: bool,
        format: FormatFlag,
    ) -> Result<Self, Failure> {
        let bytes = match format.into() {
            Format::Text => report.text().into_bytes(),
            format => render(report, provenance, format).map_err(WriteError::from)?,
        };
        Ok(Self::bytes(bytes, answered, None))
    }

    /// What is already in the format that was asked for.
    pub(super) fn bytes(bytes: Vec<u8>, answered: bool, out: Option<PathBuf>) -> Self {
        Self { bytes, answered, out, aside: Vec::new() }
    }

    /// Writes the answer where it is wanted.
    ///
    /// # Errors
    /// [`Failure::CannotWrite`]; a reader that stopped reading is no failure.
    pub(super) fn deliver(self) -> Result<ExitCode, Failure> {
        match &self.out {
            Some(file) => write_file(file, &self.bytes)?,
            None => {
                let mut stdout = std::io::stdout().lock();
                match stdout.write_all(&self.bytes).and_then(|()| stdout.flush()) {
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
