//! What an analysis of variance finds.

use crate::experiment::LeftOut;
use crate::stats::interval::Interval;
use crate::stats::mixed_model::DegreesOfFreedom;
use crate::stats::shapiro_wilk::ShapiroWilk;
use crate::stats::spread::SpreadTest;

/// How sums of squares and tests were made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// The classical table of a balanced design: each effect against the mean square of its proper stratum.
    Classical,
    /// Least squares with fixed blocks, for unbalanced designs of one error stratum.
    LeastSquares,
    /// A linear mixed model by restricted maximum likelihood.
    Reml,
    /// A linear mixed model by maximum likelihood.
    Ml,
}

impl Method {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Classical => "classical",
            Self::LeastSquares => "least-squares",
            Self::Reml => "reml",
            Self::Ml => "ml",
        }
    }
}

/// What each effect is adjusted for; in balanced designs all are the same.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TermTests {
    /// For every other effect that does not contain it (type II).
    #[default]
    Adjusted,
    /// For the effects before it (type I).
    Sequential,
    /// For all others, on equally weighted cell means (type III).
    Marginal,
}

impl TermTests {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Adjusted => "adjusted",
            Self::Sequential => "sequential",
            Self::Marginal => "marginal",
        }
    }
}

/// What tells an analysis from the others, as names and levels: trial, or the level of the column that splits a file; of several
/// site-years together empty but for what they have in common.
pub type AnalysisKey = Vec<(String, String)>;

/// An analysis of variance with its means.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// What tells it from the others.
    pub key: AnalysisKey,
    /// The trials or site-years that take part, where it is of several.
    pub site_years: Vec<String>,
    /// The design in words of the trade: *split-plot, variety on main plots, in 6 blocks*.
    pub design: String,
    /// How it was made.
    pub method: Method,
    /// Which effects each effect is adjusted for; `None` where that makes no difference.
    pub term_tests: Option<TermTests>,
    /// Of a mixed model.
    pub degrees_of_freedom: Option<DegreesOfFreedom>,
    /// To what the tests speak: *these site-years only* or *site-years like these*; `None` for one site-year.
    pub inference: Option<String>,
    /// Plots that enter.
    pub observations: usize,
    /// Plots that do not, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Blocks, counted within site-years; 0 without.
    pub blocks: usize,
    /// Whether every combination has equally many plots.
    pub balanced: bool,
    /// Unit of the yields, where it is known.
    pub yield_unit: Option<String>,
    /// Unit of the N rates, where it is known.
    pub rate_unit: Option<String>,
    /// The factors that are amounts of N.
    pub rate_factors: Vec<String>,
    /// Mean of the plots.
    pub grand_mean: f64,
    /// The error of each stratum, coarsest first; of a mixed model the residual alone (see `components`).
    pub strata: Vec<StratumError>,
    /// The table. Rows of sources and of errors in the order in which a paper prints them.
    pub rows: Vec<SourceRow>,
    /// Means of each effect of treatments, main effects first.
    pub means: Vec<TreatmentMeans>,
    /// Comparisons of those means.
    pub comparisons: Vec<ComparisonFamily>,
    /// Variance components by REML (ML where that was asked for); empty with one error.
    pub components: Vec<Component>,
    /// Of a mixed model.
    pub likelihood: Option<FittedLikelihood>,
    /// Of a mixed model with random site-years: what each is predicted to yield.
    pub predictions: Vec<SiteYearPrediction>,
    /// Error variances of the site-years, where it is of several.
    pub error_variances: Option<ErrorVariances>,
    /// Residuals and what they show; `None` where no error is left.
    pub assumptions: Option<Assumptions>,
    /// What its reader must know: confounded effects, empty cells, one block.
    pub notes: Vec<Note>,
}

/// The error of a stratum.
#[derive(Clone, Debug, PartialEq)]
pub struct StratumError {
    /// *plots*, *main plots within blocks*.
    pub name: String,
    /// Degrees of freedom; `None` of a mixed model.
    pub df: Option<usize>,
    /// Mean square (of a mixed model the residual variance), on the basis of single plots.
    pub mean_square: Option<f64>,
    /// 100·√(mean square) ÷ grand mean, on the basis of single plots; `None` where the mean is not positive.
    pub cv_percent: Option<f64>,
    /// Plots in one unit of the stratum, where they are equally many: the CV of unit means is the CV divided by its square root.
    pub plots_in_unit: Option<usize>,
}

/// A row of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceRow {
    /// *N rate*, *variety × N rate*, *block*, *error a*, *linear*.
    pub source: String,
    /// The source that it is a part of, for the parts of N: *N rate*; `None` for whole sources.
    pub part_of: Option<String>,
    /// Degrees of freedom; those of the numerator.
    pub df: usize,
    /// Sum of squares; `None` in a mixed model.
    pub ss: Option<f64>,
    /// Mean square; `None` in a mixed model.
    pub ms: Option<f64>,
    /// `None` for errors, and where there is no error to test against.
    pub f: Option<f64>,
    /// The probability of an F at least as large.
    pub p: Option<f64>,
    /// The row or stratum that it is tested on: *error a*, *N rate × site-year*; of a mixed model `None`.
    pub error: Option<String>,
    /// Denominator degrees of freedom of the test.
    pub error_df: Option<f64>,
}

/// Means of one effect.
#[derive(Clone, Debug, PartialEq)]
pub struct TreatmentMeans {
    /// Factors of the effect, in order: *N rate*; *variety*, *N rate*.
    pub factors: Vec<String>,
    /// One mean a combination of levels.
    pub means: Vec<TreatmentMeanOf>,
}

/// The mean of a level or combination of levels.
#[derive(Clone, Debug, PartialEq)]
pub struct TreatmentMeanOf {
    /// Level of each factor.
    pub levels: Vec<String>,
    /// Plots behind it.
    pub n: usize,
    /// Estimated marginal mean: cells of the other factors and blocks weigh alike. `None` where a cell is empty.
    pub mean: Option<f64>,
    /// Its standard error.
    pub standard_error: Option<f64>,
    /// Degrees of freedom of that.
    pub df: Option<f64>,
    /// The mean with its interval.
    pub interval: Option<Interval>,
}

/// Means that are compared with each other.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparisonFamily {
    /// Factors whose levels are compared.
    pub factors: Vec<String>,
    /// Levels of the other factors at which they are: *N rate* within *variety* = …; empty for marginal means.
    pub within: Vec<(String, String)>,
    /// The levels compared, in the order of `means`.
    pub levels: Vec<Vec<String>>,
    /// The test that protects the LSD: p of the effect (of a comparison within levels, of its own F).
    pub protecting_p: Option<f64>,
    /// Every pair, first and second in the order of `levels`.
    pub pairs: Vec<Pair>,
    /// Average standard error of a difference, with the smallest and largest where they differ.
    pub sed: Option<VarianceOf>,
    /// One entry a procedure.
    pub procedures: Vec<Comparison>,
}

/// A number that differs between pairs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VarianceOf {
    /// Mean over pairs.
    pub mean: f64,
    /// Least.
    pub lowest: f64,
    /// Largest.
    pub highest: f64,
}

/// Two means compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// Position of the first among the levels.
    pub first: usize,
    /// Position of the second.
    pub second: usize,
    /// First minus second.
    pub difference: f64,
    /// Standard error of the difference.
    pub standard_error: f64,
    /// Degrees of freedom of that.
    pub df: f64,
    /// Of Student's t, without regard to other pairs.
    pub p_lsd: f64,
    /// Tukey's (Tukey–Kramer where standard errors differ).
    pub p_tukey: Option<f64>,
    /// Dunnett's, in pairs with the zero rate.
    pub p_dunnett: Option<f64>,
}

/// What a procedure makes of a family.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// *protected-lsd*, *tukey*, *dunnett*.
    pub procedure: &'static str,
    /// The difference that is significant at the level, where it is the same for all pairs (to rounding).
    pub least_significant_difference: Option<f64>,
    /// Letters of each level: two share one exactly where they do not differ significantly. Empty for Dunnett.
    pub letters: Vec<String>,
    /// In words: protection that failed, Tukey–Kramer in place of Tukey.
    pub note: Option<String>,
}

/// A variance component.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// *block*, *main plot*, *site-year*, *residual*, *residual of Upper Terrace 2024*.
    pub term: String,
    /// Its variance with the interval by profile.
    pub variance: Interval,
}

/// The fit of a mixed model.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedLikelihood {
    /// Restricted under REML.
    pub log_likelihood: f64,
    /// Fixed effects and variances.
    pub parameters: usize,
    /// −2·log-likelihood + 2·parameters.
    pub aic: f64,
    /// −2·log-likelihood + ln(n)·parameters.
    pub bic: f64,
    /// Terms whose variance is estimated as zero.
    pub zero_variances: Vec<String>,
}

/// A site-year as a mixed model predicts it.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteYearPrediction {
    /// Site-year.
    pub site_year: String,
    /// Mean yield over treatments.
    pub predicted: f64,
    /// Its difference from the mean of all site-years.
    pub deviation: f64,
    /// Standard deviation of that deviation given the data.
    pub standard_deviation: f64,
}

/// Error variances of site-years.
#[derive(Clone, Debug, PartialEq)]
pub struct ErrorVariances {
    /// Site-year, error mean square, its degrees of freedom.
    pub site_years: Vec<(String, f64, f64)>,
    /// Bartlett's test that they are equal: χ², degrees of freedom, p; `None` with fewer than two.
    pub bartlett: Option<(f64, f64, f64)>,
    /// Largest over smallest.
    pub ratio: Option<f64>,
    /// Whether the model has one residual variance a site-year.
    pub separate: bool,
}

/// What the residuals of the finest stratum show. Nothing is removed.
#[derive(Clone, Debug, PartialEq)]
pub struct Assumptions {
    /// One entry a plot, in field order.
    pub residuals: Vec<PlotResidual>,
    /// Are they normal?
    pub normality: Option<ShapiroWilk>,
    /// Do they spread alike in all treatments (Levene, distances from medians)?
    pub spread: Option<SpreadTest>,
    /// Do neighbours in field order resemble each other? The lag-one correlation within blocks.
    pub neighbours: Option<f64>,
    /// Plots whose residual is too large for chance, by Bonferroni.
    pub outliers: Vec<Outlier>,
}

/// The residual of a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotResidual {
    /// *plot 304*, *row 17*.
    pub name: String,
    /// What the model gives, blocks and main plots included.
    pub fitted: f64,
    /// Observed minus fitted.
    pub residual: f64,
    /// Over its own standard deviation, σ from the others; `None` where the plot has all leverage.
    pub deleted: Option<f64>,
    /// The normal score of its rank.
    pub normal_score: f64,
}

/// A plot that lies far out.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlier {
    /// *plot 304*.
    pub name: String,
    /// Its studentised residual.
    pub deleted: f64,
    /// Bonferroni's bound on the probability that the furthest of so many lies at least as far.
    pub p: f64,
}

/// Something that the reader must know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// Kebab-case, never changes: *confounded-effects*, *empty-cells*, *one-block*, *no-error*, *few-error-df*, …
    pub code: &'static str,
    /// For a reader.
    pub text: String,
}
