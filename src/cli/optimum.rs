//! `stook optimum`

use std::collections::BTreeMap;

use clap::Args;
use serde_json::Value;

use super::deliver::Answer;
use super::failure::Failure;
use super::fitting::{FitFlags, Fitted};
use super::pricing::PricingFlags;
use crate::calibration::REPLICATES;
use crate::economics::{Economy, PriceRatio, Tolerance};
use crate::output::{Optima, Prices};
use crate::season::DEFAULT_SEED;
use crate::site_years::{self, Across, Member};

/// Find the N rate that pays best, with its interval
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    #[command(flatten)]
    fit: FitFlags,
    #[command(flatten)]
    prices: PricingFlags,
    #[command(flatten)]
    site_years: SiteYearFlags,
}

/// Several site-years together.
#[derive(Debug, Args)]
#[command(next_help_heading = "Site-years")]
struct SiteYearFlags {
    /// The levels of --by are site-years: say what they give together (the trials of a programme always are)
    #[arg(long)]
    site_years: bool,
    /// Weights in the best common rate, by trial folder or level of --by, as in osier-bend-2025=2,chalk-rise-2024=0.5 [default: 1]
    #[arg(long, value_name = "NAME=WEIGHT", value_delimiter = ',', value_parser = weight)]
    weights: Vec<(String, f64)>,
}

fn weight(text: &str) -> Result<(String, f64), String> {
    let weight =
        text.rsplit_once('=').and_then(|(name, weight)| Some((name.trim(), weight.trim().parse::<f64>().ok()?)));
    match weight {
        Some((name, weight)) if !name.is_empty() && weight.is_finite() && weight >= 0.0 => {
            Ok((name.to_owned(), weight))
        }
        _ => Err("write a name and a weight of at least 0, such as osier-bend-2025=2".to_owned()),
    }
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
    let across = across(&mut fitted, &prices, flags)?;
    let with_quality = fitted.season.iter().flat_map(|season| &season.trials).flat_map(|trial| &trial.with_quality);
    let optima = Optima::of(&fitted.groups, &prices).with_quality(with_quality, &prices).with_across(&across);
    fitted.provenance.options.extend(flags.prices.options(prices.base.value));
    Answer::report(&optima, &fitted.provenance, optima.any(), &flags.fit.output)
}

/// What the site-years give together, where there are any.
fn across(fitted: &mut Fitted, prices: &Prices, flags: &Flags) -> Result<Vec<Across>, Failure> {
    let SiteYearFlags { site_years, weights } = &flags.site_years;
    let weights: BTreeMap<String, f64> = weights.iter().cloned().collect();
    let levels: Vec<&str> = match &fitted.season {
        Some(season) => season.programme.trials.iter().map(|trial| trial.folder.as_str()).collect(),
        None => fitted.groups.iter().filter_map(|group| Some(group.group.key.by.as_ref()?.1.as_str())).collect(),
    };
    if fitted.season.is_none() && levels.is_empty() && *site_years {
        return Err(Failure::usage("--site-years needs --by, the column that names the site-year"));
    }
    if fitted.season.is_none() && !site_years && !weights.is_empty() {
        return Err(Failure::usage(
            "--weights are of site-years: add --site-years where the levels of --by are site-years",
        ));
    }
    if fitted.season.is_some() && *site_years {
        return Err(Failure::usage(
            "--site-years is for a bare data file: the trials of a programme are its site-years",
        ));
    }
    if let Some(unknown) = weights.keys().find(|name| !levels.contains(&name.as_str())) {
        return Err(Failure::usage(format!("--weights names {unknown}, which is none of {}", levels.join(", "))));
    }
    if !weights.is_empty() {
        fitted.provenance.options.insert(
            "weights".to_owned(),
            weights.iter().map(|(name, weight)| (name.clone(), Value::from(*weight))).collect(),
        );
    }
    if let Some(season) = &mut fitted.season {
        season.programme.site_year_weights.extend(weights);
        return Ok(season.across());
    }
    if !site_years {
        return Ok(Vec::new());
    }
    let options = site_years::Options {
        price_ratio: prices.base.value,
        level: fitted.level,
        replicates: REPLICATES,
        seed: fitted.provenance.seed.unwrap_or(DEFAULT_SEED),
        weights,
    };
    let named = fitted.groups.iter().filter_map(|group| Some((group.group.key.by.as_ref()?.1.as_str(), group)));
    let members: Vec<Member<'_>> = named.map(|(site_year, group)| Member { site_year, group }).collect();
    Ok(site_years::across(&members, &options))
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
