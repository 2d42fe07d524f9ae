//! `stook anova`

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde_json::{Map, Value};

use super::deliver::Answer;
use super::failure::Failure;
use super::flags::{OutputFlags, level};
use super::roles::RoleFlags;
use super::source::{Source, bushel_unknown};
use crate::experiment::anova::{
    Analysed, AnovaOptions, AskedMethod, DegreesOfFreedom, Effect, ResidualVariance, TermTests, analyses_of_programme,
    experiments_of_columns,
};
use crate::finding::Severity;
use crate::output::{Anova, Letters, Provenance};
use crate::quality::check_programme;
use crate::trial::{Decisions, InputFile};

/// Test what varied in the experiment, each effect on its proper error, and compare means
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Flags {
    /// Folder of a programme or trial, or a data file (CSV, TSV, XLSX, Parquet)
    path: PathBuf,
    #[command(flatten)]
    roles: RoleFlags,
    #[command(flatten)]
    analysis: AnalysisFlags,
    #[command(flatten)]
    output: OutputFlags,
}

/// How to analyse.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Analysis")]
struct AnalysisFlags {
    /// Method [default: classical where balanced; else least squares where there is one error, a mixed model by REML where several]
    #[arg(long, value_enum)]
    method: Option<MethodFlag>,
    /// Blocks [default: fixed; random in a mixed model]
    #[arg(long, value_enum)]
    blocks: Option<EffectFlag>,
    /// Several site-years: random ones stand for others like them, fixed ones for themselves alone
    #[arg(long, value_enum, default_value = "random")]
    site_years: EffectFlag,
    /// Error variance of several site-years; one a site-year makes a mixed model
    #[arg(long, value_enum, default_value = "common")]
    residual_variance: ResidualFlag,
    /// Denominator degrees of freedom of a mixed model
    #[arg(long, value_enum, default_value = "kenward-roger")]
    df: DfFlag,
    /// What each effect is adjusted for, where the design is not balanced
    #[arg(long, value_enum, default_value = "adjusted")]
    tests: TestsFlag,
    /// Level of intervals, between 0 and 1; means are compared at what is left of 1 [default: the programme's, or 0.95]
    #[arg(long, value_parser = level, allow_negative_numbers = true)]
    level: Option<f64>,
    /// Procedure whose letters the text prints beside means; other formats hold both
    #[arg(long, value_enum, default_value = "tukey")]
    letters: LettersFlag,
}

/// A method, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum MethodFlag {
    /// Mean squares of the design's strata; least squares where the design is not balanced and has one error
    Classical,
    /// A mixed model by restricted maximum likelihood
    Reml,
    /// A mixed model by maximum likelihood
    Ml,
}

/// Fixed or random, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum EffectFlag {
    /// These and no others
    Fixed,
    /// A sample of others like them
    Random,
}

/// Error variances, as they are typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum ResidualFlag {
    /// One for all
    Common,
    /// One a site-year
    BySiteYear,
}

/// Degrees of freedom, as they are typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum DfFlag {
    /// Kenward and Roger, with their standard errors
    KenwardRoger,
    /// Satterthwaite
    Satterthwaite,
}

/// Tests, as they are typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum TestsFlag {
    /// For all others that do not contain it (type II)
    Adjusted,
    /// For those before it (type I)
    Sequential,
    /// For all others, cells weighing alike (type III)
    Marginal,
}

/// A procedure, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum LettersFlag {
    /// Tukey's honestly significant difference
    Tukey,
    /// The least significant difference, where the F test protects it
    Lsd,
}

impl From<EffectFlag> for Effect {
    fn from(flag: EffectFlag) -> Self {
        match flag {
            EffectFlag::Fixed => Self::Fixed,
            EffectFlag::Random => Self::Random,
        }
    }
}

impl AnalysisFlags {
    /// Nothing, where what is asked goes together.
    ///
    /// # Errors
    /// A usage error for a classical table of what only a mixed model has.
    fn check(self) -> Result<(), Failure> {
        let random = matches!(self.blocks, Some(EffectFlag::Random)).then_some("--blocks random");
        let separate =
            matches!(self.residual_variance, ResidualFlag::BySiteYear).then_some("--residual-variance by-site-year");
        match (self.method, random.or(separate)) {
            (Some(MethodFlag::Classical), Some(flag)) => Err(Failure::usage(format!(
                "{flag} is of a mixed model, and --method says classical: write --method reml, or leave one of them out"
            ))),
            _ => Ok(()),
        }
    }

    fn options(self, level: f64) -> AnovaOptions {
        AnovaOptions {
            level,
            method: self.method.map(|method| match method {
                MethodFlag::Classical => AskedMethod::Classical,
                MethodFlag::Reml => AskedMethod::Reml,
                MethodFlag::Ml => AskedMethod::Ml,
            }),
            blocks: self.blocks.map(Effect::from),
            site_years: self.site_years.into(),
            degrees_of_freedom: match self.df {
                DfFlag::KenwardRoger => DegreesOfFreedom::KenwardRoger,
                DfFlag::Satterthwaite => DegreesOfFreedom::Satterthwaite,
            },
            term_tests: match self.tests {
                TestsFlag::Adjusted => TermTests::Adjusted,
                TestsFlag::Sequential => TermTests::Sequential,
                TestsFlag::Marginal => TermTests::Marginal,
            },
            residual_variance: match self.residual_variance {
                ResidualFlag::Common => ResidualVariance::Common,
                ResidualFlag::BySiteYear => ResidualVariance::BySiteYear,
            },
        }
    }

    fn letters(self) -> Letters {
        match self.letters {
            LettersFlag::Tukey => Letters::Tukey,
            LettersFlag::Lsd => Letters::ProtectedLsd,
        }
    }

    /// What was asked, as it is typed.
    fn given(self, level: f64) -> Map<String, Value> {
        let names = [
            ("method", self.method.and_then(|flag| flag.to_possible_value())),
            ("blocks", self.blocks.and_then(|flag| flag.to_possible_value())),
            ("site_years", self.site_years.to_possible_value()),
            ("residual_variance", self.residual_variance.to_possible_value()),
            ("df", self.df.to_possible_value()),
            ("tests", self.tests.to_possible_value()),
            ("letters", self.letters.to_possible_value()),
        ];
        let names = names.map(|(name, value)| (name, value.map(|value| value.get_name().to_owned()).into()));
        let level = [("level", Value::from(level))];
        names.into_iter().chain(level).map(|(name, value)| (name.to_owned(), value)).collect()
    }
}

const EXAMPLES: &str = "The design says which error each effect is tested on: it is in a trial's descriptor, or given with --block, --main-plot and
--strip. A programme is analysed trial by trial, then trials of the same factors together, each a site-year.

Examples:
  stook anova trials
  stook anova trials/osier-bend-2025 --letters lsd
  stook anova oats.csv --rate nitrogen --yield yield --block block --main-plot variety
  stook anova plots.csv --rate n --yield yield --block rep --factor variety --method reml
  stook anova plots.csv --rate n --yield yield --block rep --site-year place --site-years fixed";

/// What was analysed, and where it comes from.
struct Found {
    analysed: Vec<Analysed>,
    level: f64,
    provenance: Provenance,
}

pub(super) fn run(flags: &Flags) -> Result<Answer, Failure> {
    flags.roles.of_plots()?;
    flags.analysis.check()?;
    let Found { analysed, level, provenance } = flags.analyse()?;
    flags.output.spares(&flags.path, Some(&provenance.inputs))?;
    let anova = Anova::of(&analysed, level).with_letters(flags.analysis.letters());
    Answer::report(&anova, &provenance, anova.any(), &flags.output)
}

impl Flags {
    fn analyse(&self) -> Result<Found, Failure> {
        let asked = &self.analysis;
        let provenance = |level: f64, mut options: Map<String, Value>, inputs: Vec<InputFile>, warnings| {
            options.extend(asked.given(level));
            Provenance { inputs, options, seed: None, warnings }
        };
        match Source::read(&self.path, &self.roles)? {
            Source::Columns { columns, input, warnings } => {
                let level = asked.level.unwrap_or(Decisions::default().level);
                let (rate_unit, yield_unit) = (self.roles.rate_unit.as_deref(), self.roles.yield_unit.as_deref());
                let experiments = experiments_of_columns(&columns, rate_unit, yield_unit);
                let analysed = |experiment| Analysed::of(experiment, &asked.options(level));
                Ok(Found {
                    analysed: experiments.iter().map(analysed).collect(),
                    level,
                    provenance: provenance(level, self.roles.given(), vec![input], warnings),
                })
            }
            Source::Programme(loaded) => {
                let programme = loaded.value;
                let found = check_programme(&programme);
                if found.iter().any(|finding| finding.severity == Severity::Error) {
                    return Err(Failure::Input(found));
                }
                let level = asked.level.unwrap_or(programme.decisions.level);
                let analysed = analyses_of_programme(&programme, &asked.options(level))
                    .map_err(|error| bushel_unknown(&error, &programme.crop.name))?;
                Ok(Found {
                    analysed,
                    level,
                    provenance: provenance(level, Map::new(), programme.inputs, loaded.warnings),
                })
            }
        }
    }
}
