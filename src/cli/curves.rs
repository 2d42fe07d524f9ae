//! `stook curves`

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::fitting::FitFlags;
use crate::output::Curves;

/// Fit response curves of yield to N rate, and test whether there is a response
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    fit: FitFlags,
}

const EXAMPLES: &str = "Examples:
  stook curves trials/upper-terrace-2024
  stook curves oats.csv --rate nitrogen --yield yield --block block --by variety --rate-unit kg/ha";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let fitted = flags.fit.fit(None)?;
    let price_ratio = fitted.season.as_ref().and_then(|season| season.price_ratio.as_ref()).map(|ratio| ratio.value);
    let curves = Curves::of(&fitted.groups, fitted.level, price_ratio);
    Answer::report(&curves, &fitted.provenance, curves.any(), &flags.fit.output)
}
