//! `stook check`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::OutputFlags;
use super::roles::RoleFlags;
use super::source::Source;
use crate::files::{Loaded, kind_of};
use crate::output::{Findings, PlotsReadOf, Provenance};
use crate::quality::{check_programme, plots_read};
use crate::trial::Programme;

/// List every finding in a programme, a trial, or one data file: what can't be used, and what to look at
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial, or a data file (CSV, TSV, XLSX, Parquet)
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
    let (inputs, findings) = match Source::read(&flags.path, &flags.roles) {
        Ok(Source::Programme(loaded)) => (loaded.value.inputs.clone(), of_programme(*loaded)),
        Ok(Source::Columns { columns, input, warnings }) => {
            let without = columns.missing.iter().map(|missing| format!("row {}", missing.row));
            let plots = vec![PlotsReadOf::of_rows(input.file.clone(), columns.yields.len(), without.collect())];
            (vec![input], Findings::of(&warnings).with_plots(plots))
        }
        Err(Failure::Input(findings)) => {
            flags.output.spares(&flags.path, None)?;
            (Vec::new(), Findings::of(&findings))
        }
        Err(failure) => return Err(failure),
    };
    flags.output.spares(&flags.path, Some(&inputs))?;
    let provenance = Provenance { inputs, ..Provenance::default() };
    Answer::report(&findings, &provenance, findings.errors == 0, &flags.output)
}

/// What a check says of a programme, or of a trial as one, that could be read.
pub(super) fn of_programme(loaded: Loaded<Programme>) -> Findings {
    let programme = loaded.value;
    let mut found = loaded.warnings;
    found.extend(check_programme(&programme));
    let plots = programme.trials.iter().map(|trial| PlotsReadOf::from(&plots_read(trial))).collect();
    Findings::of(&found).with_plots(plots)
}
