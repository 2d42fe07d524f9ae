//! `stook curves`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::fitting::{Asked, fit};
use super::flags::{FamilyFlag, IntervalFlags, OutputFlags, RoleFlags, SeedFlag};
use crate::output::Curves;

/// Fit response curves of yield to N rate, and test whether there is a response
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial, or a CSV file
    path: PathBuf,
    #[command(flatten)]
    roles: RoleFlags,
    #[command(flatten)]
    family: FamilyFlag,
    #[command(flatten)]
    interval: IntervalFlags,
    #[command(flatten)]
    seed: SeedFlag,
    #[command(flatten)]
    output: OutputFlags,
}

const EXAMPLES: &str = "Examples:
  stook curves trials/upper-terrace-2024
  stook curves oats.csv --rate nitrogen --yield yield --block block --by variety --rate-unit kg/ha";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let asked = Asked { family: flags.family, interval: flags.interval, seed: flags.seed, price_ratio: None };
    let fitted = fit(&flags.path, &flags.roles, asked)?;
    flags.output.spares(&flags.path, Some(&fitted.provenance.inputs))?;
    let price_ratio = fitted.season.as_ref().and_then(|season| season.price_ratio.as_ref()).map(|ratio| ratio.value);
    let curves = Curves::of(&fitted.groups, fitted.level, price_ratio);
    Answer::report(&curves, &fitted.provenance, curves.any(), &flags.output)
}
