//! `stook optimum`

use clap::Args;

use super::deliver::Answer;
use super::failure::Failure;
use super::fitting::{FitFlags, Fitted};
use super::pricing::PricingFlags;
use crate::economics::{Economy, PriceRatio, Tolerance};
use crate::output::{Optima, Prices};

/// Find the N rate that pays best, with its interval
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    fit: FitFlags,
    #[command(flatten)]
    prices: PricingFlags,
}

const EXAMPLES: &str = "CSV, workbook and Parquet hold the optima, those of combined prices included; what else is asked is in text and JSON.

Examples:
  stook optimum trials
  stook optimum oats.csv --rate nitrogen --yield yield --block block --by variety --price-ratio 0.1
  stook optimum oats.csv --rate nitrogen --yield yield --grain-price 6.00 --n-price 0.60
  stook optimum trials/upper-terrace-2024 --forgone-at 60,80,120 --sensitivity 10";

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    flags.prices.check()?;
    let mut fitted = flags.fit.fit_at(&|programme| flags.prices.settle_programme(programme))?;
    let prices = prices(&fitted, flags)?;
    let with_quality = fitted.season.iter().flat_map(|season| &season.trials).flat_map(|trial| &trial.with_quality);
    let optima = Optima::of(&fitted.groups, &prices).with_quality(with_quality, &prices);
    fitted.provenance.options.extend(flags.prices.options(prices.base.value));
    Answer::report(&optima, &fitted.provenance, optima.any(), &flags.fit.output)
}

fn prices(fitted: &Fitted, flags: &Flags) -> Result<Prices, Failure> {
    let (level, seed, roles) = (fitted.level, flags.fit.seed.seed, &flags.fit.roles);
    let known = match &fitted.season {
        Some(season) => match season.price_ratio.clone() {
            Some(base) => {
                let programme = &season.programme;
                let units = &programme.units;
                let mut economy = Economy::of_programme(programme, base.value, !flags.prices.has_ratio(), seed);
                flags.prices.ask(&mut economy, Some(units.n_rate), Some(units.yields))?;
                let others = season.price_ratios.iter().skip(1).copied().collect();
                Some(Prices { base, others, tolerance: season.tolerance(), level, economy })
            }
            None => None,
        },
        None => {
            let settled = flags.prices.settle_columns(roles.known_rate_unit(), roles.known_yield_unit(), seed)?;
            settled.price_ratio.map(|value| Prices {
                base: PriceRatio { value, unit: roles.price_ratio_unit() },
                others: Vec::new(),
                tolerance: Tolerance::PercentOfNetReturn(1.0),
                level,
                economy: settled.economy,
            })
        }
    };
    let mut prices = known.ok_or_else(|| {
        Failure::usage(format!(
            "an optimum needs prices, and {} gives none: add --price-ratio, or --grain-price with --n-price",
            flags.fit.path.display(),
        ))
    })?;
    if let Some(others) = flags.prices.other_ratios(prices.base.value)? {
        prices.others = others;
    }
    Ok(prices)
}
