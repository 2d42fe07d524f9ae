//! `stook check`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, RoleFlags};
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
        Ok(Source::Columns { groups, input, warnings }) => {
            // Groups of the levels of a compared factor hold the rows of the group that is pooled over them again.
            let once = || groups.iter().filter(|group| group.key.factors.is_empty());
            let used = once().map(|group| group.yields.len()).sum();
            let without = once().flat_map(|group| &group.left_out).map(|left_out| left_out.plot.clone());
            let plots = vec![PlotsReadOf::of_rows(input.file.clone(), used, without.collect())];
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
