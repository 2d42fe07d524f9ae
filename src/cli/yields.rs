//! `stook yields`

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::OutputFlags;
use super::source::{read_programme, without_curves};
use crate::output::{Provenance, Yields};

/// Bring plot yields to standard moisture, account for every plot, and say what the crop made of its N
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial
    path: PathBuf,
    /// Units of the results [default: the programme's]
    #[arg(long, value_enum)]
    units: Option<Units>,
    #[command(flatten)]
    output: OutputFlags,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Units {
    /// kg/ha
    Si,
    /// lb/ac, and bu/ac where the crop is sold by the bushel
    Us,
}

const EXAMPLES: &str = "Examples:
  stook yields trials/osier-bend-2025
  stook yields trials --units si
  stook yields trials --format csv --out yields.csv";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let mut loaded = read_programme(&flags.path)?;
    flags.output.spares(&flags.path, Some(&loaded.value.inputs))?;
    let programme = &mut loaded.value;
    programme.units = match flags.units {
        None => programme.units,
        Some(Units::Si) => programme.units.si(),
        Some(Units::Us) => programme.units.us(&programme.crop),
    };
    let warnings = loaded.warnings.clone();
    let season = without_curves(loaded)?;
    let yields = Yields::of(&season.programme, season.trials.iter().map(|trial| &trial.harvest));
    let units = flags.units.and_then(|units| units.to_possible_value()).map(|units| units.get_name().to_owned());
    let options = [("units".to_owned(), units.into())].into_iter().collect();
    let provenance = Provenance { inputs: season.programme.inputs.clone(), options, warnings, seed: None };
    let answered = yields.trials.iter().any(|trial| trial.used > 0);
    Answer::report(&yields, &provenance, answered, &flags.output)
}
