//! `stook optimum`

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::fitting::{FitFlags, Fitted};
use super::flags::PriceFlags;
use crate::economics::PriceRatio;
use crate::output::{Optima, Prices};

/// Find the N rate that pays best, with its interval
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    fit: FitFlags,
    #[command(flatten)]
    prices: PriceFlags,
}

const EXAMPLES: &str = "Examples:
  stook optimum trials
  stook optimum oats.csv --rate nitrogen --yield yield --block block --by variety --price-ratio 0.1
  stook optimum oats.csv --rate nitrogen --yield yield --grain-price 6.00 --n-price 0.60";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    let price_ratio = flags.prices.ratio()?;
    let mut fitted = flags.fit.fit(price_ratio)?;
    let prices = prices(&fitted, price_ratio, flags)?;
    let optima = Optima::of(&fitted.groups, &prices);
    fitted.provenance.options.extend(flags.prices.options(prices.base.value));
    Answer::report(&optima, &fitted.provenance, optima.any(), &flags.fit.output)
}

fn prices(fitted: &Fitted, asked: Option<f64>, flags: &Flags) -> Result<Prices, Failure> {
    let level = fitted.level;
    let known = match &fitted.season {
        Some(season) => season.price_ratio.clone().map(|base| {
            let others = season.price_ratios.iter().skip(1).copied().collect();
            Prices { base, others, tolerance: season.tolerance(), level }
        }),
        None => asked.map(|value| Prices {
            base: PriceRatio { value, unit: flags.fit.roles.price_ratio_unit() },
            others: Vec::new(),
            tolerance: crate::economics::Tolerance::PercentOfNetReturn(1.0),
            level,
        }),
    };
    known.ok_or_else(|| {
        Failure::usage(format!(
            "an optimum needs prices, and {} gives none: add --price-ratio, or --grain-price with --n-price",
            flags.fit.path.display(),
        ))
    })
}
