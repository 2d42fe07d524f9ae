//! `stook calibrate`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, PriceFlags, SeedFlag, TableFlag};
use super::source::{read_programme, run_season};
use crate::output::{Calibrations, provenance_of};
use crate::season::SeasonOptions;

/// Relate N need to the index, and predict each site-year from the others
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    #[command(flatten)]
    table: TableFlag,
    #[command(flatten)]
    prices: PriceFlags,
    #[command(flatten)]
    seed: SeedFlag,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "Examples:
  stook calibrate trials
  stook calibrate trials --name leaf-jointing --price-ratio 0.15";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let price_ratio = flags.prices.ratio()?;
    let mut loaded = read_programme(&flags.path)?;
    flags.output.spares(&flags.path, Some(&loaded.value.inputs))?;
    flags.table.select(&mut loaded.value)?;
    let options = SeasonOptions { seed: flags.seed.seed, price_ratio, ..SeasonOptions::default() };
    let season = run_season(loaded, options, &|_| {})?;
    let calibrations = Calibrations::of(&season, &season.tables);
    Answer::report(&calibrations, &provenance_of(&season), calibrations.any(), &flags.output)
}
