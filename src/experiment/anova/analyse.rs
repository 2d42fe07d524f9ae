//! From an experiment to its analysis.

use super::assumptions::{Finest, assumptions, finest};
use super::balance::is_balanced;
use super::classical::Classical;
use super::comparisons::comparison_families;
use super::confounded;
use super::engine::Engine;
use super::experiment::{Experiment, SITE_YEAR};
use super::least_squares::LeastSquares;
use super::means::treatment_means;
use super::mixed::{Mixed, MixedOptions};

use super::result::{
    Analysis, ComparisonFamily, Component, ErrorVariances, FittedLikelihood, Method, Note, SiteYearPrediction,
    SourceRow, StratumError, TermTests, TreatmentMeans,
};
use super::terms::{Cells, MOST_CELLS, MOST_FACTORS};
use crate::stats::mixed_model::{DegreesOfFreedom, Likelihood};
use crate::stats::spread::bartlett;

/// Whether the levels of blocks or site-years are themselves of interest, or stand for others like them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// These levels and no others: narrow inference.
    Fixed,
    /// A sample of levels like these: broad inference.
    Random,
}

/// A way of analysing that is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AskedMethod {
    /// The classical table; least squares with one error where the design is not balanced.
    Classical,
    /// A mixed model by restricted maximum likelihood.
    Reml,
    /// A mixed model by maximum likelihood.
    Ml,
}

/// The error variance of several site-years.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ResidualVariance {
    /// One for all.
    #[default]
    Common,
    /// One a site-year.
    BySiteYear,
}

/// What an analysis is asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AnovaOptions {
    /// Level of every interval, 0 to 1; comparisons are made at 1 − level.
    pub level: f64,
    /// `None`: the classical table where the design is balanced, least squares where it has one error, else REML.
    pub method: Option<AskedMethod>,
    /// `None`: fixed, but random in a mixed model.
    pub blocks: Option<Effect>,
    /// Site-years, where there are several.
    pub site_years: Effect,
    /// Of a mixed model.
    pub degrees_of_freedom: DegreesOfFreedom,
    /// What effects are adjusted for, where the design is not balanced.
    pub term_tests: TermTests,
    /// Of several site-years; one a site-year makes it a mixed model.
    pub residual_variance: ResidualVariance,
}

impl AnovaOptions {
    /// Everything by default but the level.
    #[must_use]
    pub fn new(level: f64) -> Self {
        Self {
            level,
            method: None,
            blocks: None,
            site_years: Effect::Random,
            degrees_of_freedom: DegreesOfFreedom::default(),
            term_tests: TermTests::default(),
            residual_variance: ResidualVariance::default(),
        }
    }
}

/// Why there is no analysis of variance.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAnalysed {
    /// Nothing was varied.
    #[error("no factor has two levels: there is nothing to compare")]
    NoTreatments,
    /// Too many factors.
    #[error("{0} factors are more than {MOST_FACTORS}: analyse fewer together")]
    TooManyFactors(usize),
    /// Too many combinations of levels.
    #[error(
        "the factors make {0} combinations of levels, more than {MOST_CELLS}: analyse fewer together, or bring rates that were meant alike to one value"
    )]
    TooManyCells(usize),
    /// Yields that cannot be analysed.
    #[error("a yield is no finite number, or too large to be squared")]
    NotFinite,
    /// The classical table was asked for.
    #[error(
        "the design is not balanced, so its classical table has no proper errors: leave the method out, or ask for REML"
    )]
    NotBalanced,
    /// A mixed model could not be fitted.
    #[error("{0}")]
    MixedModel(String),
}

/// Analyses an experiment as its design demands.
///
/// # Errors
/// See [`NotAnalysed`].
pub fn analyse(experiment: &Experiment, options: &AnovaOptions) -> Result<Analysis, NotAnalysed> {
    check(experiment)?;
    let several = experiment.site_years.is_some();
    let random_site_years = several && options.site_years == Effect::Random;
    let cells = Cells::of(experiment);
    let balanced = is_balanced(experiment, &cells);
    let by_site_year = several && options.residual_variance == ResidualVariance::BySiteYear;
    let asks_random = options.blocks == Some(Effect::Random) && experiment.blocks.is_some();
    let one_error = experiment.whole_units.is_empty() && !random_site_years;
    let method = match options.method {
        Some(AskedMethod::Reml) => Method::Reml,
        Some(AskedMethod::Ml) => Method::Ml,
        None if by_site_year || asks_random => Method::Reml,
        _ if balanced => Method::Classical,
        _ if one_error => Method::LeastSquares,
        None => Method::Reml,
        Some(AskedMethod::Classical) => return Err(NotAnalysed::NotBalanced),
    };
    let grand_mean = mean(&experiment.yields);
    let parts = finest(experiment);
    // Fixed site-years are a factor like any other; the classical sweep takes them apart by itself.
    let as_factor = several && !random_site_years && method != Method::Classical;
    let with_site_years = as_factor.then(|| experiment.with_site_years_as_factor());
    let modelled = with_site_years.as_ref().unwrap_or(experiment);
    check(modelled)?;
    let modelled_cells = with_site_years.as_ref().map_or_else(|| cells.clone(), Cells::of);
    let found = match method {
        Method::Classical => {
            let classical = Classical::new(experiment, &cells, random_site_years);
            let found =
                Found::new(classical.rows.clone(), classical.strata.clone(), &cells, experiment, &classical, options);
            Found { components: components(experiment, &cells, options, random_site_years), ..found }
        }
        Method::LeastSquares => {
            let fit = LeastSquares::new(modelled, &modelled_cells, grand_mean, options.term_tests)
                .ok_or(NotAnalysed::NotFinite)?;
            Found::new(fit.rows.clone(), fit.strata.clone(), &modelled_cells, modelled, &fit.fit, options)
        }
        Method::Reml | Method::Ml => {
            let mixed = MixedOptions {
                likelihood: if method == Method::Ml { Likelihood::Ml } else { Likelihood::Reml },
                fixed_blocks: options.blocks == Some(Effect::Fixed) && !random_site_years,
                random_site_years,
                by_site_year,
                degrees_of_freedom: options.degrees_of_freedom,
                term_tests: options.term_tests,
                level: options.level,
            };
            mixed_model(modelled, &modelled_cells, grand_mean, mixed, options)?
        }
    };
    let mut notes = confounded::notes(experiment, &cells);
    notes.extend(found.notes);
    if options.blocks == Some(Effect::Fixed) && random_site_years && found.likelihood.is_some() {
        notes.push(Note {
            code: "random-blocks",
            text: "blocks are random as their site-years are: fixed ones ask for fixed site-years".to_owned(),
        });
    }
    notes.extend(no_error(&found.rows));
    notes.extend(hardly_tested(&found.rows));
    Ok(Analysis {
        key: experiment.key.clone(),
        site_years: experiment.site_years.as_ref().map_or_else(Vec::new, |factor| factor.levels.clone()),
        design: experiment.design.clone(),
        method,
        term_tests: (method != Method::Classical && !balanced).then_some(options.term_tests),
        degrees_of_freedom: found.degrees_of_freedom,
        inference: several.then(|| inference(options.site_years)),
        observations: experiment.plots(),
        left_out: experiment.left_out.clone(),
        blocks: experiment.block_count(),
        balanced,
        yield_unit: experiment.yield_unit.clone(),
        rate_unit: experiment.rate_unit.clone(),
        rate_factors: experiment
            .treatments
            .iter()
            .filter(|factor| factor.rates.is_some())
            .map(|factor| factor.name.clone())
            .collect(),
        grand_mean,
        strata: found.strata,
        rows: found.rows,
        means: found.means,
        comparisons: found.comparisons,
        components: found.components,
        likelihood: found.likelihood,
        predictions: found.predictions,
        error_variances: several.then(|| error_variances(&parts, by_site_year)),
        assumptions: assumptions(&parts),
        notes,
    })
}

/// What every method finds.
struct Found {
    rows: Vec<SourceRow>,
    strata: Vec<StratumError>,
    means: Vec<TreatmentMeans>,
    comparisons: Vec<ComparisonFamily>,
    degrees_of_freedom: Option<DegreesOfFreedom>,
    components: Vec<Component>,
    likelihood: Option<FittedLikelihood>,
    predictions: Vec<SiteYearPrediction>,
    notes: Vec<Note>,
}

impl Found {
    fn new(
        rows: Vec<SourceRow>,
        strata: Vec<StratumError>,
        cells: &Cells,
        experiment: &Experiment,
        engine: &dyn Engine,
        options: &AnovaOptions,
    ) -> Self {
        Self {
            means: treatment_means(experiment, cells, engine, options.level),
            comparisons: comparison_families(experiment, cells, engine, &rows, options.level),
            rows,
            strata,
            degrees_of_freedom: None,
            components: Vec::new(),
            likelihood: None,
            predictions: Vec::new(),
            notes: Vec::new(),
        }
    }
}

/// Variances of a balanced design of several errors. REML gives them as the mean squares do, but for those that would be negative.
fn components(
    experiment: &Experiment,
    cells: &Cells,
    options: &AnovaOptions,
    random_site_years: bool,
) -> Vec<Component> {
    if experiment.whole_units.is_empty() && !random_site_years {
        return Vec::new();
    }
    let mixed = MixedOptions {
        likelihood: Likelihood::Reml,
        fixed_blocks: false,
        random_site_years,
        by_site_year: false,
        degrees_of_freedom: options.degrees_of_freedom,
        term_tests: options.term_tests,
        level: options.level,
    };
    // Without an error, or with variances that cannot be told apart, the table stands alone.
    Mixed::fit(experiment, cells, mixed).map_or_else(|_| Vec::new(), |model| model.components(experiment))
}

fn mixed_model(
    experiment: &Experiment,
    cells: &Cells,
    grand_mean: f64,
    mixed: MixedOptions,
    options: &AnovaOptions,
) -> Result<Found, NotAnalysed> {
    let model = Mixed::fit(experiment, cells, mixed).map_err(|error| NotAnalysed::MixedModel(error.to_string()))?;
    let rows = model.rows(&experiment.treatments);
    let found = Found::new(rows, model.strata(grand_mean), cells, experiment, &model, options);
    Ok(Found {
        degrees_of_freedom: Some(model.degrees_of_freedom()),
        components: model.components(experiment),
        likelihood: Some(model.likelihood()),
        predictions: model.predictions(experiment),
        notes: model.notes.clone(),
        ..found
    })
}

/// Squares of larger numbers overflow sums.
const LARGEST_YIELD: f64 = 1e100;

fn check(experiment: &Experiment) -> Result<(), NotAnalysed> {
    let factors = experiment.treatments.len();
    if factors == 0 || experiment.plots() < 2 {
        return Err(NotAnalysed::NoTreatments);
    }
    if factors > MOST_FACTORS {
        return Err(NotAnalysed::TooManyFactors(factors));
    }
    let cells = experiment.treatments.iter().try_fold(1_usize, |cells, factor| cells.checked_mul(factor.levels.len()));
    match cells {
        Some(cells) if cells <= MOST_CELLS => {}
        cells => return Err(NotAnalysed::TooManyCells(cells.unwrap_or(usize::MAX))),
    }
    let usable = |value: &f64| value.abs() <= LARGEST_YIELD;
    if experiment.yields.iter().all(usable) { Ok(()) } else { Err(NotAnalysed::NotFinite) }
}

fn mean(values: &[f64]) -> f64 {
    let origin = values.first().copied().unwrap_or(0.0);
    origin + values.iter().map(|value| value - origin).sum::<f64>() / values.len() as f64
}

fn inference(site_years: Effect) -> String {
    match site_years {
        Effect::Random => {
            "broad: the site-years stand for others like them, and effects are tested on how they vary between them"
        }
        Effect::Fixed => "narrow: effects in these site-years, tested on plots; it says nothing of others",
    }
    .to_owned()
}

fn no_error(rows: &[SourceRow]) -> Option<Note> {
    let untested: Vec<&str> = rows
        .iter()
        .filter(|row| row.part_of.is_none() && row.f.is_none() && row.df > 0)
        .map(|row| row.source.as_str())
        .filter(|source| {
            !["block", super::table::BLOCK_WITHIN, "total", SITE_YEAR].contains(source) && !source.starts_with("error")
        })
        .collect();
    (!untested.is_empty()).then(|| Note {
        code: "no-error",
        text: format!(
            "no error is left to test {} on: there are no degrees of freedom for it, or yields do not vary within treatments",
            untested.join(", "),
        ),
    })
}

/// Effects whose error has less than one degree of freedom: an F test is a matter of form then.
fn hardly_tested(rows: &[SourceRow]) -> Option<Note> {
    let hardly = |row: &&SourceRow| row.part_of.is_none() && row.error_df.is_some_and(|df| df < 1.0);
    let sources: Vec<&str> = rows.iter().filter(hardly).map(|row| row.source.as_str()).collect();
    (!sources.is_empty()).then(|| Note {
        code: "few-error-df",
        text: format!(
            "the error of {} has less than one degree of freedom: too few site-years or larger units hold it, and its test says nothing",
            sources.join(", "),
        ),
    })
}

fn error_variances(parts: &[Finest], separate: bool) -> ErrorVariances {
    let of = |part: &Finest| Some((part.site_year.clone(), part.fit.mean_square()?, part.fit.df as f64));
    let site_years: Vec<(String, f64, f64)> = parts.iter().filter_map(of).collect();
    let squares: Vec<(f64, f64)> = site_years.iter().map(|(_, square, df)| (*square, *df)).collect();
    let extreme = |pick: fn(f64, f64) -> f64| squares.iter().map(|(square, _)| *square).reduce(pick);
    ErrorVariances {
        bartlett: bartlett(&squares).map(|test| (test.chi_square, test.df as f64, test.p)),
        ratio: extreme(f64::max).zip(extreme(f64::min)).map(|(largest, smallest)| largest / smallest),
        site_years,
        separate,
    }
}
