//! `stook sense`

use std::path::PathBuf;

use clap::Args;
use serde_json::Map;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, positive};
use super::source::{read_programme, without_curves};
use crate::output::{Provenance, Sense};

/// Read every plot against its N-rich reference, and tell whether reading, reference and instrument can be trusted
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    /// Say how many leaves and plots a standard error of treatment means asks for, per cent of the mean
    #[arg(long, value_name = "PERCENT", value_parser = positive, allow_negative_numbers = true)]
    wanted_se_percent: Option<f64>,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "Examples:
  stook sense trials/upper-terrace-2024
  stook sense trials/upper-terrace-2024 --wanted-se-percent 1
  stook sense trials --format csv --out index.csv";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let loaded = read_programme(&flags.path)?;
    flags.output.spares(&flags.path, Some(&loaded.value.inputs))?;
    let warnings = loaded.warnings.clone();
    let season = without_curves(loaded)?;
    let sense = Sense::of(&season.programme, &season.trials, flags.wanted_se_percent);
    let mut options = Map::new();
    if let Some(percent) = flags.wanted_se_percent {
        options.insert("wanted_se_percent".to_owned(), percent.into());
    }
    let inputs = season.programme.inputs.clone();
    let provenance = Provenance { inputs, options, warnings, ..Provenance::default() };
    Answer::report(&sense, &provenance, sense.any(), &flags.output)
}
