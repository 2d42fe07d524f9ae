//! `stook sense`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::OutputFlags;
use super::source::{read_programme, without_curves};
use crate::output::{Provenance, Sense};

/// Read every plot against its N-rich reference, and test whether the readings show the N already on
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "Examples:
  stook sense trials/upper-terrace-2024
  stook sense trials --format csv --out index.csv";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let loaded = read_programme(&flags.path)?;
    flags.output.spares(&flags.path, Some(&loaded.value.inputs))?;
    let warnings = loaded.warnings.clone();
    let season = without_curves(loaded)?;
    let sense = Sense::of(&season.programme, season.trials.iter().map(|trial| trial.sensings.as_slice()));
    let provenance = Provenance { inputs: season.programme.inputs.clone(), warnings, ..Provenance::default() };
    Answer::report(&sense, &provenance, sense.any(), &flags.output)
}
