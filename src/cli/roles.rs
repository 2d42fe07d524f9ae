//! The columns of a bare data file and the design of its trial, as they are typed.

use clap::{Args, ValueEnum};
use serde_json::{Map, Value};

use super::failure::Failure;
use super::flags::positive;
use crate::economics::price_ratio_unit;
use crate::files::{ColumnRoles, Decimal, DeclaredBy, Layout, Separator, TextEncoding};
use crate::response::PooledError;
use crate::trial::{Design, ResultUnits};
use crate::units::{NRateUnit, Unit as _, YieldUnit};

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
