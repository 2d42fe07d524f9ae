//! Flags that several commands share, as they are typed; each group turns itself into a validated option.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde_json::{Map, Value};

use super::failure::Failure;
use crate::economics::price_ratio_unit;
use crate::files::{ColumnRoles, Decimal, DeclaredBy, Layout, Separator, TextEncoding};
use crate::output::{Format, is_same_file};
use crate::response::{
    BOOTSTRAP_REPLICATES, Bootstrap, BootstrapLimits, Family, IntervalMethod, PooledError, Resampling,
};
use crate::season::DEFAULT_SEED;
use crate::trial::{Design, InputFile, LARGEST_PRICE_RATIO, Programme, ResultUnits};
use crate::units::{NRateUnit, Unit as _, YieldUnit};

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

/// Which columns of a bare data file play which role.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Columns of a bare data file (not with a programme or trial folder)")]
pub(super) struct RoleFlags {
    /// Column of the N rate
    #[arg(long, value_name = "COLUMN")]
    rate: Option<String>,
    /// Column of the yield
    #[arg(long = "yield", value_name = "COLUMN")]
    yields: Option<String>,
    /// Column of the block
    #[arg(long, value_name = "COLUMN")]
    block: Option<String>,
    /// Column of a factor, each level of which has its own curve
    #[arg(long, value_name = "COLUMN")]
    by: Option<String>,
    /// Column of a factor whose levels are compared: does the response to N differ between them? anova takes several
    #[arg(long, value_name = "COLUMN")]
    factor: Vec<String>,
    /// Column of a factor on the main plots of a split-plot, the N rate perhaps; may be given several times
    #[arg(long, value_name = "COLUMN")]
    main_plot: Vec<String>,
    /// Column of a factor on the strips that run one way through a block of a strip-plot; may be given several times
    #[arg(long, value_name = "COLUMN")]
    strip: Vec<String>,
    /// How treatments were randomised [default: by --strip, --main-plot and --block]
    #[arg(long, value_enum)]
    design: Option<DesignFlag>,
    /// Column of the site-year, where anova is to put several together
    #[arg(long, value_name = "COLUMN")]
    site_year: Option<String>,
    /// Column of the number of plots behind each row, where rows are treatment means
    #[arg(long, value_name = "COLUMN")]
    replicates: Option<String>,
    /// Error mean square of the plots behind treatment means, with --error-df
    #[arg(long, value_name = "SQUARE", value_parser = positive, allow_negative_numbers = true)]
    error_mean_square: Option<f64>,
    /// Degrees of freedom of --error-mean-square
    #[arg(long, value_name = "DF", value_parser = degrees_of_freedom, allow_negative_numbers = true)]
    error_df: Option<usize>,
    /// Unit of the N rate, as in kg/ha
    #[arg(long, value_name = "UNIT", value_parser = named_unit)]
    pub(super) rate_unit: Option<String>,
    /// Unit of the yield, as in Mg/ha
    #[arg(long, value_name = "UNIT", value_parser = named_unit)]
    pub(super) yield_unit: Option<String>,
    /// Sheet of a workbook [default: the only one]
    #[arg(long, value_name = "SHEET")]
    sheet: Option<String>,
    /// Row of the column headers; 0 where there are none [default: 1]
    #[arg(long, value_name = "ROW")]
    header_row: Option<u64>,
    /// Rows that the headers take [default: 1]
    #[arg(long, value_name = "ROWS", value_parser = clap::value_parser!(u64).range(1..=10))]
    header_rows: Option<u64>,
    /// Last row of the data, where notes stand below it [default: none]
    #[arg(long, value_name = "ROW", value_parser = clap::value_parser!(u64).range(1..))]
    last_row: Option<u64>,
    /// What stands between cells: , ; | or tab [default: seen from the file]
    #[arg(long, value_name = "SIGN", value_parser = separator)]
    separator: Option<Separator>,
    /// Decimal sign of numbers in text: . or , [default: .]
    #[arg(long, value_name = "SIGN", value_parser = decimal)]
    decimal: Option<Decimal>,
    /// Encoding of a text file, as in latin-1 or utf-16 [default: utf-8]
    #[arg(long, value_name = "NAME", value_parser = encoding)]
    encoding: Option<TextEncoding>,
    /// Text that stands for a missing value; may be given several times [default: NA, N/A, ., * and -]
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    missing: Option<Vec<String>>,
}

/// A design, as it is typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum DesignFlag {
    /// Over all plots
    CompletelyRandomised,
    /// Within blocks
    RandomisedCompleteBlock,
    /// Some factors on main plots within blocks, the others within main plots
    SplitPlot,
    /// Some factors on strips that run one way through a block, the others on strips across them
    StripPlot,
}

impl DesignFlag {
    /// The name it is typed as.
    fn name(self) -> &'static str {
        match self {
            Self::CompletelyRandomised => "completely-randomised",
            Self::RandomisedCompleteBlock => "randomised-complete-block",
            Self::SplitPlot => "split-plot",
            Self::StripPlot => "strip-plot",
        }
    }
}

fn named_unit(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("write a unit, such as kg/ha, or leave the flag out".to_owned()),
        unit => Ok(unit.to_owned()),
    }
}

fn separator(text: &str) -> Result<Separator, String> {
    Separator::parse(text).ok_or_else(|| "write , or ; or | or tab".to_owned())
}

fn decimal(text: &str) -> Result<Decimal, String> {
    Decimal::parse(text).ok_or_else(|| "write . or ,".to_owned())
}

fn encoding(text: &str) -> Result<TextEncoding, String> {
    TextEncoding::parse(text).ok_or_else(|| "write utf-8, utf-16, latin-1 or the usual name of another".to_owned())
}

fn degrees_of_freedom(text: &str) -> Result<usize, String> {
    match text.parse::<usize>() {
        Ok(df) if (1..=1_000_000).contains(&df) => Ok(df),
        _ => Err("degrees of freedom are a whole number of at least 1, such as 15".to_owned()),
    }
}

impl RoleFlags {
    /// The error of treatment means, where it was given.
    ///
    /// # Errors
    /// A usage error for one half of it, for an error without replicates, and for treatment means in blocks.
    pub(super) fn pooled_error(&self) -> Result<Option<PooledError>, Failure> {
        let error = match (self.error_mean_square, self.error_df) {
            (Some(mean_square), Some(df)) => Some(PooledError { mean_square, df }),
            (None, None) => None,
            (Some(_), None) => return Err(Failure::usage("--error-mean-square needs its --error-df beside it")),
            (None, Some(_)) => return Err(Failure::usage("--error-df needs the --error-mean-square that it is of")),
        };
        if error.is_some() && self.replicates.is_none() {
            return Err(Failure::usage(
                "--error-mean-square is for treatment means: name the column of how many plots each is of with --replicates",
            ));
        }
        if self.replicates.is_some() && self.block.is_some() {
            return Err(Failure::usage(
                "treatment means (--replicates) lie in no block: leave --block out; blocks are in the --error-mean-square",
            ));
        }
        Ok(error)
    }

    /// How treatments were randomised: as declared, or else as the columns given imply.
    ///
    /// # Errors
    /// A usage error for a design without the columns that make it, or with those of another.
    fn design(&self) -> Result<Design, Failure> {
        let (main_plot, strip) = (self.main_plot.clone(), self.strip.clone());
        if !main_plot.is_empty() && !strip.is_empty() {
            return Err(Failure::usage(
                "a trial has main plots (--main-plot, a split-plot) or strips (--strip, a strip-plot), not both: leave one out",
            ));
        }
        let implied = if !strip.is_empty() {
            DesignFlag::StripPlot
        } else if !main_plot.is_empty() {
            DesignFlag::SplitPlot
        } else if self.block.is_some() {
            DesignFlag::RandomisedCompleteBlock
        } else {
            DesignFlag::CompletelyRandomised
        };
        let design = self.design.unwrap_or(implied);
        let name = design.name();
        let extra = match (design, main_plot.is_empty(), strip.is_empty()) {
            (DesignFlag::SplitPlot, _, true) | (DesignFlag::StripPlot, true, _) | (_, true, true) => None,
            (_, false, _) => Some(("--main-plot", "split-plot")),
            (_, _, false) => Some(("--strip", "strip-plot")),
        };
        if let Some((flag, other)) = extra {
            return Err(Failure::usage(format!(
                "{flag} is of a {other}, and --design says {name}: write --design {other}, or leave {flag} out"
            )));
        }
        let is_blocked = design != DesignFlag::CompletelyRandomised;
        if self.replicates.is_some() && is_blocked {
            return Err(Failure::usage(format!(
                "treatment means (--replicates) hold no plots of a {name}: leave its flags out; what the design takes out of the error \
                 is in the --error-mean-square"
            )));
        }
        match design {
            DesignFlag::SplitPlot if main_plot.is_empty() => Err(Failure::usage(
                "a split-plot has a factor on its main plots: add its column, as in --main-plot variety",
            )),
            DesignFlag::StripPlot if strip.is_empty() => Err(Failure::usage(
                "a strip-plot has a factor on the strips that run one way: add its column, as in --strip variety",
            )),
            _ if is_blocked && self.block.is_none() => {
                Err(Failure::usage(format!("a {name} design has blocks: add their column with --block")))
            }
            DesignFlag::CompletelyRandomised if self.block.is_some() => Err(Failure::usage(
                "a completely-randomised design has no blocks: leave --block out, or write --design randomised-complete-block",
            )),
            DesignFlag::CompletelyRandomised => Ok(Design::CompletelyRandomised),
            DesignFlag::RandomisedCompleteBlock => Ok(Design::RandomisedCompleteBlock),
            DesignFlag::SplitPlot => Ok(Design::SplitPlot { main_plot }),
            DesignFlag::StripPlot => Ok(Design::StripPlot { strip }),
        }
    }

    /// Nothing, where no role is given that only an analysis of variance takes.
    ///
    /// # Errors
    /// A usage error that says which.
    pub(super) fn of_curves(&self) -> Result<(), Failure> {
        if self.factor.len() > 1 {
            return Err(Failure::usage(format!(
                "curves compare the levels of one factor, and --factor was given {} times: give one; stook anova takes several",
                self.factor.len()
            )));
        }
        if self.site_year.is_some() {
            return Err(Failure::usage(
                "--site-year is for stook anova: here give the column as --by, for curves of each site-year; stook optimum then puts \
                 them together with --site-years",
            ));
        }
        Ok(())
    }

    /// Nothing, where no role is given that only curves take.
    ///
    /// # Errors
    /// A usage error for treatment means.
    pub(super) fn of_plots(&self) -> Result<(), Failure> {
        if self.replicates.is_some() || self.error_mean_square.is_some() || self.error_df.is_some() {
            return Err(Failure::usage(
                "an analysis of variance needs the plots, and --replicates, --error-mean-square and --error-df are of treatment means: \
                 leave them out and give a file with a row a plot; stook curves takes means",
            ));
        }
        Ok(())
    }

    /// The flags that were given, with their values.
    pub(super) fn given(&self) -> Map<String, Value> {
        let texts = [
            ("rate", &self.rate),
            ("yield", &self.yields),
            ("block", &self.block),
            ("by", &self.by),
            ("site_year", &self.site_year),
            ("replicates", &self.replicates),
            ("rate_unit", &self.rate_unit),
            ("yield_unit", &self.yield_unit),
        ];
        let texts = texts.into_iter().filter_map(|(name, text)| Some((name, Value::from(text.as_deref()?))));
        let several = [("factor", &self.factor), ("main_plot", &self.main_plot), ("strip", &self.strip)];
        let several = several.into_iter().filter(|(_, names)| !names.is_empty());
        let several = several.map(|(name, names)| (name, Value::from(names.clone())));
        let layout = [
            ("design", self.design.map(|design| design.name().into())),
            ("error_mean_square", self.error_mean_square.map(Value::from)),
            ("error_df", self.error_df.map(Value::from)),
            ("sheet", self.sheet.as_deref().map(Value::from)),
            ("header_row", self.header_row.map(Value::from)),
            ("header_rows", self.header_rows.map(Value::from)),
            ("last_row", self.last_row.map(Value::from)),
            ("separator", self.separator.map(|separator| separator.name().into())),
            ("decimal", self.decimal.map(|decimal| decimal.name().into())),
            ("encoding", self.encoding.map(|encoding| encoding.name().into())),
            ("missing", self.missing.clone().map(Value::from)),
        ];
        let layout = layout.into_iter().filter_map(|(name, value)| Some((name, value?)));
        texts.chain(several).chain(layout).map(|(name, value)| (name.to_owned(), value)).collect()
    }

    /// How the file is laid out.
    fn layout(&self) -> Layout {
        let standard = Layout { declared_by: DeclaredBy::Flags, ..Layout::default() };
        Layout {
            sheet: self.sheet.clone(),
            header_row: self.header_row.unwrap_or(standard.header_row),
            header_rows: self.header_rows.unwrap_or(standard.header_rows),
            last_row: self.last_row,
            separator: self.separator,
            decimal: self.decimal.unwrap_or(standard.decimal),
            encoding: self.encoding,
            missing: self.missing.clone(),
            ..standard
        }
    }

    /// The unit of the N rate, where it was given and is a known one.
    pub(super) fn known_rate_unit(&self) -> Option<NRateUnit> {
        NRateUnit::parse(self.rate_unit.as_deref()?)
    }

    /// The unit of the yield, where it was given and is a known one.
    pub(super) fn known_yield_unit(&self) -> Option<YieldUnit> {
        YieldUnit::parse(self.yield_unit.as_deref()?)
    }

    /// The unit of a price ratio in the units given, where both are known ones.
    pub(super) fn price_ratio_unit(&self) -> Option<String> {
        let (n_rate, yields) = (self.known_rate_unit()?, self.known_yield_unit()?);
        Some(price_ratio_unit(&ResultUnits { n_rate, yields, standard_moisture: None }))
    }

    /// The roles for a bare data file.
    ///
    /// # Errors
    /// A usage error that names the roles that are missing, or what of a design contradicts another.
    pub(super) fn of_file(&self, file: &std::path::Path) -> Result<ColumnRoles, Failure> {
        match (&self.rate, &self.yields) {
            (Some(rate), Some(yields)) => Ok(ColumnRoles {
                rate: rate.clone(),
                yields: yields.clone(),
                block: self.block.clone(),
                by: self.by.clone(),
                factors: self.factor.clone(),
                design: self.design()?,
                site_year: self.site_year.clone(),
                replicates: self.replicates.clone(),
                layout: self.layout(),
            }),
            (rate, yields) => {
                let missing = [rate.is_none().then_some("--rate"), yields.is_none().then_some("--yield")];
                let missing: Vec<&str> = missing.into_iter().flatten().collect();
                Err(Failure::usage(format!(
                    "{} is a data file: name its columns; {} is missing (as in --rate nitrogen --yield yield --block block)",
                    file.display(),
                    missing.join(" and "),
                )))
            }
        }
    }

    /// Nothing, for a folder whose descriptor names the columns.
    ///
    /// # Errors
    /// A usage error where any flag was given.
    pub(super) fn none_for(&self, folder: &std::path::Path) -> Result<(), Failure> {
        let given: Vec<String> = self.given().keys().map(|name| format!("--{}", name.replace('_', "-"))).collect();
        if given.is_empty() {
            return Ok(());
        }
        Err(Failure::usage(format!(
            "{} is for a bare data file: in {} the descriptor says which column plays which role",
            given.join(" "),
            folder.display(),
        )))
    }
}
