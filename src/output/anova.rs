//! Analyses of variance: tables, strata, means and their comparisons, components, assumptions.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::anova_means::{ComparisonsOf, MeansOf};
use super::anova_model::{AssumptionsOf, ComponentOf, ErrorVariancesOf, LikelihoodOf, PredictedSiteYear};
use super::envelope::{Report, Warning};
use super::plots_read::ExcludedPlot;
use crate::experiment::anova::{Analysed, Analysis, SourceRow, StratumError};
use crate::files::export::Table;

/// Probabilities below which a test has one, two and three stars.
const STARS: [(f64, &str); 3] = [(0.001, "***"), (0.01, "**"), (0.05, "*")];

/// The procedure whose letters a text prints; JSON and CSV carry those of all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Letters {
    /// Tukey's honestly significant difference: the error rate holds for all pairs together.
    #[default]
    Tukey,
    /// The least significant difference, protected by the F test: each pair has the error rate.
    ProtectedLsd,
}

impl Letters {
    /// Its name among the procedures of a comparison.
    #[must_use]
    pub fn procedure(self) -> &'static str {
        match self {
            Self::Tukey => "tukey",
            Self::ProtectedLsd => "protected-lsd",
        }
    }
}

/// Analyses of variance.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Anova {
    /// One entry an analysis: each trial, then several site-years together.
    pub analyses: Vec<AnalysisOf>,
    /// What could not be analysed, with the reason.
    pub not_analysed: Vec<NotAnalysedOf>,
    /// Which letters the text has.
    #[serde(skip)]
    pub(super) letters: Letters,
}

/// What could not be analysed.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct NotAnalysedOf {
    /// What tells it from the others.
    pub group: Map<String, Value>,
    /// Why there is no analysis.
    pub reason: String,
}

/// One analysis of variance with its means.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AnalysisOf {
    /// What tells it from the others.
    pub group: Map<String, Value>,
    /// The trials or site-years that take part, where it is of several.
    pub site_years: Vec<String>,
    /// The design, in words.
    pub design: String,
    /// `classical`, `least-squares`, `reml` or `ml`.
    pub method: &'static str,
    /// What each effect is adjusted for: `adjusted`, `sequential` or `marginal`; null where that makes no difference.
    pub tests: Option<&'static str>,
    /// Denominator degrees of freedom of a mixed model: `kenward-roger` or `satterthwaite`; null otherwise.
    pub degrees_of_freedom: Option<&'static str>,
    /// To what the tests of several site-years speak; null for one.
    pub inference: Option<String>,
    /// Plots that enter.
    pub n: usize,
    /// Plots that do not, with the reason.
    pub excluded: Vec<ExcludedPlot>,
    /// Blocks, counted within site-years; 0 without.
    pub blocks: usize,
    /// Whether every combination of treatments has equally many plots.
    pub balanced: bool,
    /// Unit of yields, where it is known; sums of squares and variances are in its square.
    pub yield_unit: Option<String>,
    /// Unit of N rates, where it is known.
    pub rate_unit: Option<String>,
    /// The factors that are amounts of N.
    pub rate_factors: Vec<String>,
    /// Level of intervals and comparisons.
    pub level: f64,
    /// Mean of the plots.
    pub grand_mean: Option<f64>,
    /// The tables of tests.
    pub tables: Vec<AnovaTable>,
    /// The error of each stratum, coarsest first.
    pub strata: Vec<StratumOf>,
    /// Means of each effect of treatments.
    pub means: Vec<MeansOf>,
    /// Comparisons of those means.
    pub comparisons: Vec<ComparisonsOf>,
    /// Variance components.
    pub components: Vec<ComponentOf>,
    /// The fit of a mixed model; null otherwise.
    pub likelihood: Option<LikelihoodOf>,
    /// What a mixed model with random site-years predicts each to yield.
    pub predictions: Vec<PredictedSiteYear>,
    /// Error variances of the site-years; null for one.
    pub error_variances: Option<ErrorVariancesOf>,
    /// What the residuals show; null where no error is left.
    pub assumptions: Option<AssumptionsOf>,
    /// What a reader must know.
    pub warnings: Vec<Warning>,
}

/// A table of tests.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct AnovaTable {
    /// What it is called.
    pub name: &'static str,
    /// Sources and errors in the order in which a paper prints them.
    pub rows: Vec<SourceOf>,
}

/// A row of a table.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SourceOf {
    /// What varies.
    pub source: String,
    /// The source that it is a part of; null for whole sources.
    pub part_of: Option<String>,
    /// Degrees of freedom.
    pub df: usize,
    /// Sum of squares; null in a mixed model.
    pub ss: Option<f64>,
    /// Mean square; null in a mixed model.
    pub ms: Option<f64>,
    /// F; null for errors, and where there is none to test against.
    pub f: Option<f64>,
    /// The probability of an F at least as large.
    pub p: Option<f64>,
    /// `ns` from 0.05 up, `*` below 0.05, `**` below 0.01, `***` below 0.001; null without a test.
    pub significance: Option<&'static str>,
    /// What it is tested on; null in a mixed model.
    pub error: Option<String>,
    /// Degrees of freedom of the error of the test.
    pub error_df: Option<f64>,
}

/// The error of a stratum.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct StratumOf {
    /// What the error is made of.
    pub name: String,
    /// Degrees of freedom; null where they are no whole number of their own, as in a mixed model.
    pub df: Option<usize>,
    /// Mean square, on the basis of single plots.
    pub mean_square: Option<f64>,
    /// Coefficient of variation on the basis of single plots, per cent.
    pub cv_percent: Option<f64>,
    /// Plots in one unit of the stratum, where they are equally many.
    pub plots_in_unit: Option<usize>,
    /// Coefficient of variation of the means of units, per cent.
    pub cv_of_units_percent: Option<f64>,
}

/// A number, where it is one: squares of absurd yields overflow.
pub(super) fn finite(value: impl Into<Option<f64>>) -> Option<f64> {
    value.into().filter(|value| value.is_finite())
}

/// The stars of a probability.
fn significance(p: f64) -> &'static str {
    STARS.iter().find(|(limit, _)| p < *limit).map_or("ns", |(_, stars)| stars)
}

/// Names and levels as an object.
pub(super) fn key_object(key: &[(String, String)]) -> Map<String, Value> {
    key.iter().map(|(name, level)| (name.clone(), level.as_str().into())).collect()
}

impl Anova {
    /// Analyses with intervals and comparisons at a level.
    pub fn of<'a>(analysed: impl IntoIterator<Item = &'a Analysed>, level: f64) -> Self {
        let mut anova = Self { analyses: Vec::new(), not_analysed: Vec::new(), letters: Letters::default() };
        for one in analysed {
            match &one.outcome {
                Ok(analysis) => anova.analyses.push(AnalysisOf::of(analysis, level)),
                Err(reason) => {
                    let reason = reason.to_string();
                    anova.not_analysed.push(NotAnalysedOf { group: key_object(&one.key), reason });
                }
            }
        }
        anova
    }

    /// The same with other letters in the text.
    #[must_use]
    pub fn with_letters(self, letters: Letters) -> Self {
        Self { letters, ..self }
    }

    /// Whether anything was analysed.
    #[must_use]
    pub fn any(&self) -> bool {
        !self.analyses.is_empty()
    }
}

impl AnalysisOf {
    fn of(analysis: &Analysis, level: f64) -> Self {
        let excluded = analysis.left_out.iter();
        let mixed = analysis.likelihood.is_some();
        Self {
            group: key_object(&analysis.key),
            site_years: analysis.site_years.clone(),
            design: analysis.design.clone(),
            method: analysis.method.name(),
            tests: analysis.term_tests.map(|tests| tests.name()),
            degrees_of_freedom: analysis.degrees_of_freedom.map(|method| method.name()),
            inference: analysis.inference.clone(),
            n: analysis.observations,
            excluded: excluded
                .map(|left_out| ExcludedPlot { plot: left_out.plot.clone(), reason: left_out.reason.clone() })
                .collect(),
            blocks: analysis.blocks,
            balanced: analysis.balanced,
            yield_unit: analysis.yield_unit.clone(),
            rate_unit: analysis.rate_unit.clone(),
            rate_factors: analysis.rate_factors.clone(),
            level,
            grand_mean: finite(analysis.grand_mean),
            tables: vec![AnovaTable {
                name: if mixed { "tests of fixed effects" } else { "analysis of variance" },
                rows: analysis.rows.iter().map(SourceOf::from).collect(),
            }],
            strata: analysis.strata.iter().map(StratumOf::from).collect(),
            means: analysis.means.iter().map(MeansOf::from).collect(),
            comparisons: analysis.comparisons.iter().map(ComparisonsOf::from).collect(),
            components: analysis.components.iter().map(ComponentOf::from).collect(),
            likelihood: analysis.likelihood.as_ref().map(LikelihoodOf::from),
            predictions: analysis.predictions.iter().map(PredictedSiteYear::from).collect(),
            error_variances: analysis.error_variances.as_ref().map(ErrorVariancesOf::from),
            assumptions: analysis.assumptions.as_ref().map(AssumptionsOf::from),
            warnings: analysis.notes.iter().map(|note| Warning { code: note.code, text: note.text.clone() }).collect(),
        }
    }

    /// Whether levels of a factor are amounts of N.
    pub(super) fn is_rate(&self, factor: &str) -> bool {
        self.rate_factors.iter().any(|rate| rate == factor)
    }

    /// Whether it is a mixed model.
    #[must_use]
    pub fn is_mixed(&self) -> bool {
        self.likelihood.is_some()
    }
}

impl From<&SourceRow> for SourceOf {
    fn from(row: &SourceRow) -> Self {
        let p = finite(row.p);
        Self {
            source: row.source.clone(),
            part_of: row.part_of.clone(),
            df: row.df,
            ss: finite(row.ss),
            ms: finite(row.ms),
            f: finite(row.f),
            p,
            significance: p.map(significance),
            error: row.error.clone(),
            error_df: finite(row.error_df),
        }
    }
}

impl From<&StratumError> for StratumOf {
    fn from(stratum: &StratumError) -> Self {
        let cv_percent = finite(stratum.cv_percent);
        let of_units = |plots: usize| finite(cv_percent.map(|cv| cv / (plots as f64).sqrt()));
        Self {
            name: stratum.name.clone(),
            df: stratum.df,
            mean_square: finite(stratum.mean_square),
            cv_percent,
            plots_in_unit: stratum.plots_in_unit,
            cv_of_units_percent: stratum.plots_in_unit.and_then(of_units),
        }
    }
}

impl Report for Anova {
    const COMMAND: &'static str = "anova";

    fn text(&self) -> String {
        super::anova_text::text(self)
    }

    fn table(&self) -> Table {
        super::anova_csv::table(self)
    }
}
