//! Flags that several commands share, as they are typed; each group turns itself into a validated option.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::failure::Failure;
use crate::output::{Format, is_same_file};
use crate::response::{BOOTSTRAP_REPLICATES, Bootstrap, BootstrapLimits, Family, IntervalMethod, Resampling};
use crate::season::DEFAULT_SEED;
use crate::trial::{InputFile, LARGEST_PRICE_RATIO, Programme};

/// Where the answer goes and how it looks.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Output")]
pub(super) struct OutputFlags {
    /// Text for a reader, JSON for a script, or a long table as CSV, workbook or Parquet
    #[arg(long, value_enum, default_value = "text")]
    format: FormatFlag,
    /// Write to this file instead of standard output; a workbook and Parquet need one
    #[arg(long, value_name = "FILE", required_if_eq_any = [("format", "xlsx"), ("format", "parquet")])]
    pub(super) out: Option<PathBuf>,
}

/// A format, as it is typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum FormatFlag {
    /// For a reader
    Text,
    /// For a script
    Json,
    /// Long: one header, one record a line
    Csv,
    /// The same as a workbook, with a sheet about it
    Xlsx,
    /// The same with typed columns
    Parquet,
}

impl From<FormatFlag> for Format {
    fn from(flag: FormatFlag) -> Self {
        match flag {
            FormatFlag::Text => Self::Text,
            FormatFlag::Json => Self::Json,
            FormatFlag::Csv => Self::Csv,
            FormatFlag::Xlsx => Self::Xlsx,
            FormatFlag::Parquet => Self::Parquet,
        }
    }
}

impl OutputFlags {
    /// Nothing, where `--out` is none of the files that were read below `read`, which is a file or a folder. Where the inputs could not be
    /// told, every file in it counts as one.
    ///
    /// # Errors
    /// A usage error that names the input.
    pub(super) fn spares(&self, read: &Path, inputs: Option<&[InputFile]>) -> Result<(), Failure> {
        let Some(out) = &self.out else { return Ok(()) };
        // Inputs are named relative to the programme, which for a single trial is the folder above.
        let places = [Some(read), read.parent()].into_iter().flatten();
        let mut named = places.flat_map(|place| inputs.unwrap_or_default().iter().map(|input| place.join(&input.file)));
        let within = |folder: PathBuf| out.canonicalize().is_ok_and(|out| out.starts_with(folder));
        let is_input = is_same_file(out, read)
            || named.any(|input| is_same_file(out, &input))
            || inputs.is_none() && read.canonicalize().is_ok_and(within);
        if is_input {
            return Err(Failure::usage(format!("--out {} is one of the files read: name another", out.display())));
        }
        Ok(())
    }

    /// The format.
    pub(super) fn format(&self) -> Format {
        self.format.into()
    }
}

/// One of a programme's tables.
#[derive(Clone, Debug, Args)]
pub(super) struct TableFlag {
    /// Only the table of this name
    #[arg(long, value_name = "TABLE")]
    name: Option<String>,
}

impl TableFlag {
    /// Leaves only the table asked for in the programme.
    ///
    /// # Errors
    /// A usage error where the programme has no such table.
    pub(super) fn select(&self, programme: &mut Programme) -> Result<(), Failure> {
        let Some(name) = &self.name else { return Ok(()) };
        let known: Vec<&str> = programme.tables.iter().map(|table| table.name.as_str()).collect();
        if !known.contains(&name.as_str()) {
            return Err(Failure::usage(format!("the programme has no table {name}; it has {}", known.join(", "))));
        }
        programme.tables.retain(|table| table.name == *name);
        Ok(())
    }
}

/// The seed of everything left to chance.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Intervals and tests")]
pub(super) struct SeedFlag {
    /// Seed of permutations and resampling: the same seed gives the same bytes
    #[arg(long, value_name = "NUMBER", default_value_t = DEFAULT_SEED)]
    pub(super) seed: u64,
}

/// How intervals are made.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Intervals and tests")]
pub(super) struct IntervalFlags {
    /// Level of the intervals, between 0 and 1 [default: the programme's, or 0.95]
    #[arg(long, value_parser = level, allow_negative_numbers = true)]
    pub(super) level: Option<f64>,
    /// Method of the intervals of join, plateau and optimum
    #[arg(long, value_enum, default_value = "profile")]
    interval: MethodFlag,
    /// What a bootstrap resamples [default: residuals]
    #[arg(long, value_enum)]
    resample: Option<ResampleFlag>,
    /// How limits are read from bootstrap replicates [default: percentile]
    #[arg(long, value_enum)]
    bootstrap_limits: Option<LimitsFlag>,
    /// Bootstrap replicates [default: 1999]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(99..=1_000_000))]
    resamples: Option<u32>,
}

/// A method, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum MethodFlag {
    /// Every value whose best curve fits nearly as well as the best of all
    Profile,
    /// The estimate plus and minus standard errors (the delta method); narrow where curves are uncertain
    Wald,
    /// Fieller's set of a ratio: for the optimum of a quadratic or a square root
    Fieller,
    /// What the same analysis gives for resampled yields; the averaged optimum gets an interval that includes the choice of family
    Bootstrap,
}

/// What is resampled, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum ResampleFlag {
    /// Residuals within their block
    Residuals,
    /// Whole blocks
    Blocks,
    /// Each plot keeps its residual, with a sign drawn at random
    Wild,
}

/// How limits are read, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum LimitsFlag {
    /// The percentiles of the replicates
    Percentile,
    /// Percentiles corrected for bias and acceleration
    Bca,
}

impl IntervalFlags {
    /// The method, a bootstrap with its seed.
    ///
    /// # Errors
    /// A usage error for flags of a bootstrap that is not asked for.
    pub(super) fn method(self, seed: SeedFlag) -> Result<IntervalMethod, Failure> {
        let of_bootstrap = [
            self.resample.map(|_| "--resample"),
            self.bootstrap_limits.map(|_| "--bootstrap-limits"),
            self.resamples.map(|_| "--resamples"),
        ];
        let given: Vec<&str> = of_bootstrap.into_iter().flatten().collect();
        if !given.is_empty() && !matches!(self.interval, MethodFlag::Bootstrap) {
            return Err(Failure::usage(format!("{} is of a bootstrap: add --interval bootstrap", given.join(" "))));
        }
        Ok(match self.interval {
            MethodFlag::Profile => IntervalMethod::Profile,
            MethodFlag::Wald => IntervalMethod::Wald,
            MethodFlag::Fieller => IntervalMethod::Fieller,
            MethodFlag::Bootstrap => IntervalMethod::Bootstrap(Bootstrap {
                resampling: match self.resample {
                    None | Some(ResampleFlag::Residuals) => Resampling::Residuals,
                    Some(ResampleFlag::Blocks) => Resampling::Blocks,
                    Some(ResampleFlag::Wild) => Resampling::Wild,
                },
                limits: match self.bootstrap_limits {
                    None | Some(LimitsFlag::Percentile) => BootstrapLimits::Percentile,
                    Some(LimitsFlag::Bca) => BootstrapLimits::Bca,
                },
                replicates: self.resamples.map_or(BOOTSTRAP_REPLICATES, |number| number as usize),
                seed: seed.seed,
            }),
        })
    }
}

pub(super) fn level(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(level) if level > 0.0 && level < 1.0 => Ok(level),
        _ => Err("a level lies between 0 and 1, such as 0.95".to_owned()),
    }
}

/// The family to report.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Intervals and tests")]
pub(super) struct FamilyFlag {
    /// Take this family where it is estimable, instead of the one with the smallest AICc
    #[arg(long, value_parser = family, value_name = "FAMILY")]
    pub(super) family: Option<Family>,
}

fn family(text: &str) -> Result<Family, String> {
    match text.parse() {
        Ok(Family::Mean) => Err("the mean does not answer to N: name a family that does".to_owned()),
        Ok(family) => Ok(family),
        Err(error) => Err(format!("{error}")),
    }
}

/// The price of N against the price of yield.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Prices")]
pub(super) struct PriceFlags {
    /// Price of one rate unit of N ÷ price of one yield unit [default: from the programme's prices]
    #[arg(long, value_name = "RATIO", value_parser = not_negative, allow_negative_numbers = true)]
    price_ratio: Option<f64>,
    /// What one yield unit brings, in the currency of --n-price
    #[arg(long, value_name = "PRICE", value_parser = positive, allow_negative_numbers = true)]
    grain_price: Option<f64>,
    /// What one rate unit of N costs, in the currency of --grain-price
    #[arg(long, value_name = "PRICE", value_parser = not_negative, allow_negative_numbers = true)]
    n_price: Option<f64>,
}

impl PriceFlags {
    /// The price ratio asked for, if any.
    ///
    /// # Errors
    /// A usage error for a ratio beside prices, or one price without the other.
    pub(super) fn ratio(&self) -> Result<Option<f64>, Failure> {
        let ratio = match (self.price_ratio, self.grain_price, self.n_price) {
            (ratio, None, None) => ratio,
            (None, Some(grain), Some(n)) => Some(n / grain),
            (Some(_), _, _) => {
                return Err(Failure::usage("give either --price-ratio or --grain-price with --n-price, not both"));
            }
            (None, Some(_), None) => return Err(Failure::usage("--grain-price needs --n-price beside it")),
            (None, None, Some(_)) => return Err(Failure::usage("--n-price needs --grain-price beside it")),
        };
        ratio.map(believable_ratio).transpose()
    }
}

impl PriceFlags {
    /// What a yield unit brings and a rate unit of N costs, where both are given.
    pub(super) fn money(&self) -> Option<[f64; 2]> {
        Some([self.grain_price?, self.n_price?])
    }
}

/// The ratio, where it may be one of two prices.
///
/// # Errors
/// A usage error for one that no prices make.
pub(super) fn believable_ratio(ratio: f64) -> Result<f64, Failure> {
    if (0.0..=LARGEST_PRICE_RATIO).contains(&ratio) {
        return Ok(ratio);
    }
    Err(Failure::usage(format!(
        "a price ratio of {ratio:e} is no price of N over a price of yield: at most {LARGEST_PRICE_RATIO} is taken"
    )))
}

pub(super) fn not_negative(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() && number >= 0.0 => Ok(number),
        _ => Err("a number of at least 0 is wanted, such as 0.1".to_owned()),
    }
}

pub(super) fn positive(text: &str) -> Result<f64, String> {
    not_negative(text)
        .ok()
        .filter(|number| *number > 0.0)
        .ok_or_else(|| "a number above 0 is wanted, such as 6.00".to_owned())
}
