//! `stook check`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, RoleFlags};
use super::source::Source;
use crate::files::kind_of;
use crate::output::{Findings, Provenance};

/// List every finding in the files of a programme, a trial, or one data file
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial, or a CSV file
    path: PathBuf,
    #[command(flatten)]
    roles: RoleFlags,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "The exit status is 1 where there are errors; warnings alone leave it 0.

Examples:
  stook check trials
  stook check oats.csv --rate nitrogen --yield yield --format csv";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    // A path that leads nowhere is wrong input; what is found at the end of it is the answer.
    kind_of(&flags.path)?;
    let (inputs, found) = match Source::read(&flags.path, &flags.roles) {
        Ok(Source::Programme(loaded)) => (loaded.value.inputs, loaded.warnings),
        Ok(Source::Columns { input, warnings, .. }) => (vec![input], warnings),
        Err(Failure::Input(findings)) => (Vec::new(), findings),
        Err(failure) => return Err(failure),
    };
    let findings = Findings::of(&found);
    let provenance = Provenance { inputs, ..Provenance::default() };
    Answer::report(&findings, &provenance, findings.errors == 0, &flags.output)
}
