//! `stook calibrate`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::source::TablesFlags;
use crate::output::{Calibrations, provenance_of};

/// Relate N need to the index, and predict each site-year from the others
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    #[command(flatten)]
    tables: TablesFlags,
}

const EXAMPLES: &str = "Examples:
  stook calibrate trials
  stook calibrate trials --name leaf-jointing --price-ratio 0.15";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let loaded = flags.tables.read(&flags.path)?;
    let season = flags.tables.season(loaded)?;
    let calibrations = Calibrations::of(&season, &season.tables);
    Answer::report(&calibrations, &provenance_of(&season), calibrations.any(), &flags.tables.output)
}
