//! `stook optimum`

use std::path::PathBuf;

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::fitting::{Asked, Fitted, fit};
use super::flags::{FamilyFlag, IntervalFlags, OutputFlags, PriceFlags, RoleFlags, SeedFlag};
use crate::economics::PriceRatio;
use crate::output::{Optima, Prices};

/// Find the N rate that pays best, with its interval
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial, or a CSV file
    path: PathBuf,
    #[command(flatten)]
    prices: PriceFlags,
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
  stook optimum trials
  stook optimum oats.csv --rate nitrogen --yield yield --block block --by variety --price-ratio 0.1
  stook optimum oats.csv --rate nitrogen --yield yield --grain-price 6.00 --n-price 0.60";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let price_ratio = flags.prices.ratio()?;
    let asked = Asked { family: flags.family, interval: flags.interval, seed: flags.seed, price_ratio };
    let mut fitted = fit(&flags.path, &flags.roles, asked)?;
    flags.output.spares(&flags.path, Some(&fitted.provenance.inputs))?;
    let prices = prices(&fitted, price_ratio, flags)?;
    let optima = Optima::of(&fitted.groups, &prices);
    fitted.provenance.options.extend(flags.prices.options(prices.base.value));
    Answer::report(&optima, &fitted.provenance, optima.any(), &flags.output)
}

fn prices(fitted: &Fitted, asked: Option<f64>, flags: &Flags) -> Result<Prices, Failure> {
    let level = fitted.level;
    let known = match &fitted.season {
        Some(season) => season.price_ratio.clone().map(|base| {
            let others = season.price_ratios.iter().skip(1).copied().collect();
            Prices { base, others, tolerance: season.tolerance(), level }
        }),
        None => asked.map(|value| Prices {
            base: PriceRatio { value, unit: flags.roles.price_ratio_unit() },
            others: Vec::new(),
            tolerance: crate::economics::Tolerance::PercentOfNetReturn(1.0),
            level,
        }),
    };
    known.ok_or_else(|| {
        Failure::usage(format!(
            "an optimum needs prices, and {} gives none: add --price-ratio, or --grain-price with --n-price",
            flags.path.display(),
        ))
    })
}
