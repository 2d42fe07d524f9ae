//! `stook yields`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::OutputFlags;
use super::source::{read_programme, without_curves};
use crate::output::{Provenance, Yields};

/// Bring plot yields to standard moisture, and account for every plot
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "Examples:
  stook yields trials/osier-bend-2025
  stook yields trials --format csv --out yields.csv";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let loaded = read_programme(&flags.path)?;
    let warnings = loaded.warnings.clone();
    let season = without_curves(loaded)?;
    let yields = Yields::of(&season.programme, season.trials.iter().map(|trial| trial.yields.as_slice()));
    let provenance = Provenance { inputs: season.programme.inputs.clone(), warnings, ..Provenance::default() };
    let answered = yields.trials.iter().any(|trial| trial.used > 0);
    Answer::report(&yields, &provenance, answered, &flags.output)
}
