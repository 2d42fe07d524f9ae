//! `stook calibrate`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::not_negative;
use super::source::TablesFlags;
use crate::output::{Calibrations, provenance_of};
use crate::season::SeasonOptions;

/// Relate N need to the index, and predict each site-year from the others
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    #[command(flatten)]
    tables: TablesFlags,
    /// N need above which a treatment counts as deficient for the critical index, in the programme's rate unit
    #[arg(long, value_name = "RATE", default_value_t = 0.0, allow_negative_numbers = true, value_parser = not_negative)]
    deficient_above: f64,
}

const EXAMPLES: &str = "Examples:
  stook calibrate trials
  stook calibrate trials --name leaf-jointing --price-ratio 0.15";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let loaded = flags.tables.read(&flags.path)?;
    let options = SeasonOptions { deficient_above: flags.deficient_above, ..SeasonOptions::default() };
    let season = flags.tables.season_with(loaded, options)?;
    let calibrations = Calibrations::of(&season, &season.tables);
    Answer::report(&calibrations, &provenance_of(&season), calibrations.any(), &flags.tables.output)
}
