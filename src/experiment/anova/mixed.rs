//! A linear mixed model of a designed experiment: treatments fixed, the units of randomisation random.

use rayon::prelude::*;

use super::engine::{Engine, Estimate, Test};
use super::experiment::{Experiment, Factor, SITE_YEAR};
use super::hypotheses::rows_of_terms;
use super::linear::{beyond, beyond_with_lengths, clean_sum, indicators};
use super::result::{Component, FittedLikelihood, Note, SiteYearPrediction, SourceRow, StratumError, TermTests};
use super::terms::{Cells, Term};
use crate::stats::least_squares::dot;
use crate::stats::levels::level_indices;
use crate::stats::mixed_model::{
    DegreesOfFreedom, Likelihood, MixedData, MixedModel, MixedModelError, RandomTerm, VarianceOf, fit,
};

/// What is random, and how it is tested.
#[derive(Clone, Copy, Debug)]
pub(super) struct MixedOptions {
    pub(super) likelihood: Likelihood,
    pub(super) fixed_blocks: bool,
    pub(super) random_site_years: bool,
    pub(super) by_site_year: bool,
    pub(super) degrees_of_freedom: DegreesOfFreedom,
    pub(super) term_tests: TermTests,
    pub(super) level: f64,
}

/// A fitted mixed model.
pub(super) struct Mixed<'c> {
    model: MixedModel,
    options: MixedOptions,
    cells: &'c Cells,
    /// Columns of fixed blocks, after the intercept.
    block_columns: usize,
    /// The fixed columns at the plots: the intercept, fixed blocks, treatments by their levels.
    fixed: Vec<Vec<f64>>,
    pub(super) notes: Vec<Note>,
}

impl<'c> Mixed<'c> {
    /// Fits the model. Random terms that the data cannot tell from others are left out, and named.
    ///
    /// # Errors
    /// What keeps it from being fitted.
    pub(super) fn fit(
        experiment: &Experiment,
        cells: &'c Cells,
        options: MixedOptions,
    ) -> Result<Self, MixedModelError> {
        let plots = experiment.plots();
        // Coded by levels, so that the restricted likelihood, which depends on the coding, is the one that others report.
        let blocks = experiment.blocks.as_ref().filter(|_| options.fixed_blocks);
        let blocks = blocks.map_or_else(Vec::new, |blocks| indicators(blocks).split_off(1));
        let treatments = cells.terms.iter().flat_map(|term| &term.by_level).map(|column| cells.at_plots(column));
        let block_columns = blocks.len();
        let fixed: Vec<Vec<f64>> = std::iter::once(vec![1.0; plots]).chain(blocks).chain(treatments).collect();
        let (random, mut notes) = told_apart(random_terms(experiment, cells, options), plots);
        let residual_group =
            experiment.site_years.as_ref().filter(|_| options.by_site_year).map(|of| of.level_of.clone());
        let mut data = MixedData { y: experiment.yields.clone(), fixed, random, residual_group };
        let model = loop {
            match fit(&data, options.likelihood) {
                Err(MixedModelError::NotIdentified { terms }) => {
                    // The last of them is the finest: what it would hold stays in the others.
                    let position = data.random.iter().rposition(|random| terms.contains(&random.name));
                    let Some(position) = position else { return Err(MixedModelError::NotIdentified { terms }) };
                    let dropped = data.random.remove(position);
                    notes.push(Note {
                        code: "confounded-effects",
                        text: format!(
                            "these variances can't be told apart: {}; {} is left out of the model",
                            terms.join(", "),
                            dropped.name
                        ),
                    });
                }
                found => break found?,
            }
        };
        if options.degrees_of_freedom == DegreesOfFreedom::KenwardRoger && options.likelihood == Likelihood::Ml {
            notes.push(Note {
                code: "satterthwaite-instead",
                text:
                    "Kenward and Roger's correction is one of REML: under ML the degrees of freedom are Satterthwaite's"
                        .to_owned(),
            });
        }
        if !model.converged {
            notes.push(Note {
                code: "not-converged",
                text: "the search for the variances ended before it could not gain any more: take the last digits with care".to_owned(),
            });
        }
        Ok(Self { model, options, cells, block_columns, fixed: data.fixed, notes })
    }

    /// The degrees of freedom in use.
    pub(super) fn degrees_of_freedom(&self) -> DegreesOfFreedom {
        match self.options.likelihood {
            Likelihood::Reml => self.options.degrees_of_freedom,
            Likelihood::Ml => DegreesOfFreedom::Satterthwaite,
        }
    }

    /// Weights over the cells as a contrast of the fixed coefficients.
    fn contrast(&self, weights: &[f64]) -> Vec<f64> {
        let total = clean_sum(weights);
        // Blocks weigh alike, the first one included, which has no column.
        let of_block = total / (self.block_columns + 1) as f64;
        let treatments = self.cells.terms.iter().flat_map(|term| &term.by_level).map(|column| dot(column, weights));
        std::iter::once(total).chain(std::iter::repeat_n(of_block, self.block_columns)).chain(treatments).collect()
    }

    /// F of each effect. A hypothesis is what its columns hold beyond those that it is adjusted for, as a function of the coefficients.
    ///
    /// Satterthwaite's degrees of freedom of several contrasts depend on which contrasts of the hypothesis are taken. Here they are the rows
    /// of the triangle that eliminates the levels in turn, each with its own level at 1, as R's lmerTest takes them.
    pub(super) fn rows(&self, treatments: &[Factor]) -> Vec<SourceRow> {
        let before = self.fixed.get(..=self.block_columns).unwrap_or_default();
        let of_terms: Vec<Vec<f64>> =
            self.cells.terms.iter().flat_map(|term| &term.columns).map(|column| self.cells.at_plots(column)).collect();
        let whole = |term: &Term, basis: &[Vec<f64>], _: &[Vec<f64>]| {
            let by_level: Vec<Vec<f64>> = term.by_level.iter().map(|column| self.cells.at_plots(column)).collect();
            let (mut space, lengths) = beyond_with_lengths(basis, &by_level);
            for (one, length) in space.iter_mut().zip(lengths) {
                one.iter_mut().for_each(|value| *value /= length);
            }
            self.row(&term.name, &space)
        };
        let part = |name: &str, space: &[Vec<f64>]| self.row(name, space);
        let leading = beyond(&[], before);
        rows_of_terms(self.cells, treatments, &leading, &of_terms, self.options.term_tests, whole, part)
    }

    fn row(&self, source: &str, space: &[Vec<f64>]) -> SourceRow {
        let hypothesis: Vec<Vec<f64>> =
            space.iter().map(|q| self.fixed.iter().map(|column| dot(q, column)).collect()).collect();
        let test =
            (!hypothesis.is_empty()).then(|| self.model.f_test(&hypothesis, self.degrees_of_freedom())).flatten();
        SourceRow {
            source: source.to_owned(),
            part_of: None,
            df: space.len(),
            ss: None,
            ms: None,
            f: test.as_ref().map(|test| test.f),
            p: test.as_ref().map(|test| test.p),
            error: None,
            error_df: test.as_ref().map(|test| test.df2),
        }
    }

    /// Variances with their profile intervals.
    pub(super) fn components(&self, experiment: &Experiment) -> Vec<Component> {
        let random = self.model.components.par_iter().enumerate().map(|(term, one)| Component {
            term: one.name.clone(),
            variance: self.model.profile(VarianceOf::Coefficient { term, column: 0 }, self.options.level),
        });
        let site_year = |group: usize| experiment.site_years.as_ref().and_then(|factor| factor.levels.get(group));
        let residual = self.model.residual.par_iter().enumerate().map(|(position, one)| Component {
            term: match site_year(one.group).filter(|_| self.options.by_site_year) {
                Some(site_year) => format!("residual of {site_year}"),
                None => "residual".to_owned(),
            },
            variance: self.model.profile(VarianceOf::Residual(position), self.options.level),
        });
        random.chain(residual).collect()
    }

    /// The fit in numbers.
    pub(super) fn likelihood(&self) -> FittedLikelihood {
        let zero = |one: &&crate::stats::mixed_model::TermCovariance| {
            one.covariance.first().and_then(|row| row.first()).is_some_and(|variance| *variance <= 0.0)
        };
        FittedLikelihood {
            log_likelihood: self.model.log_likelihood,
            parameters: self.model.parameters,
            aic: self.model.aic(),
            bic: self.model.bic(),
            zero_variances: self.model.components.iter().filter(zero).map(|one| one.name.clone()).collect(),
        }
    }

    /// The residual variance as the error of plots, where there is one.
    pub(super) fn strata(&self, grand_mean: f64) -> Vec<StratumError> {
        let [residual] = self.model.residual.as_slice() else { return Vec::new() };
        vec![StratumError {
            name: "plots (residual variance)".to_owned(),
            df: None,
            mean_square: Some(residual.variance),
            cv_percent: (grand_mean > 0.0).then(|| 100.0 * residual.variance.sqrt() / grand_mean),
            plots_in_unit: Some(1),
        }]
    }

    /// What each random site-year is predicted to yield on average over the treatments.
    pub(super) fn predictions(&self, experiment: &Experiment) -> Vec<SiteYearPrediction> {
        let Some(factor) = &experiment.site_years else { return Vec::new() };
        let number = self.cells.number().max(1) as f64;
        let Some(mean) = self.estimate(&vec![1.0 / number; self.cells.number()]) else { return Vec::new() };
        let of_site_year = |effect: &crate::stats::mixed_model::RandomEffect| {
            let site_year = factor.levels.get(effect.level).filter(|_| effect.term == SITE_YEAR)?;
            let deviation = *effect.values.first()?;
            Some(SiteYearPrediction {
                site_year: site_year.clone(),
                predicted: mean.estimate + deviation,
                deviation,
                standard_deviation: *effect.prediction_errors.first()?,
            })
        };
        self.model.random_effects().iter().filter_map(of_site_year).collect()
    }
}

impl Engine for Mixed<'_> {
    fn estimate(&self, weights: &[f64]) -> Option<Estimate> {
        let found = self.model.contrast(&self.contrast(weights), self.degrees_of_freedom())?;
        Some(Estimate { estimate: found.estimate, standard_error: Some(found.standard_error), df: Some(found.df) })
    }

    fn test(&self, rows: &[Vec<f64>]) -> Option<Test> {
        let rows: Vec<Vec<f64>> = rows.iter().map(|row| self.contrast(row)).collect();
        let test = self.model.f_test(&rows, self.degrees_of_freedom())?;
        Some(Test { f: test.f, df1: rows.len(), df2: test.df2, p: test.p })
    }
}

/// The random terms of a design, coarsest first: site-years, blocks, larger units, and how effects vary between site-years.
fn random_terms(experiment: &Experiment, cells: &Cells, options: MixedOptions) -> Vec<RandomTerm> {
    let mut random = Vec::new();
    let site_years = experiment.site_years.as_ref().filter(|_| options.random_site_years);
    random.extend(site_years.map(|factor| RandomTerm::intercept(SITE_YEAR, factor.level_of.clone())));
    if let Some(blocks) = experiment.blocks.as_ref().filter(|_| !options.fixed_blocks) {
        random.push(RandomTerm::intercept("block", blocks.clone()));
    }
    for whole in &experiment.whole_units {
        let lies_in: Vec<f64> = whole.unit_of.iter().map(|unit| f64::from(u8::from(unit.is_some()))).collect();
        let everywhere = whole.unit_of.iter().all(Option::is_some);
        random.push(RandomTerm {
            // Plots of site-years without such units have no part in it.
            columns: if everywhere { Vec::new() } else { vec![lies_in] },
            ..RandomTerm::intercept(
                &whole.name,
                whole.unit_of.iter().map(|unit| unit.map_or(0, |unit| unit + 1)).collect(),
            )
        });
    }
    if let Some(factor) = site_years {
        for term in &cells.terms {
            let levels = |(cell, site_year): (&usize, &usize)| -> (Vec<usize>, usize) {
                (term.factors.iter().map(|factor| cells.level(*cell, *factor)).collect(), *site_year)
            };
            let labels: Vec<(Vec<usize>, usize)> = cells.cell_of.iter().zip(&factor.level_of).map(levels).collect();
            random.push(RandomTerm::intercept(&format!("{} × site-year", term.name), level_indices(&labels)));
        }
    }
    random
}

/// Random terms without those that part the plots as an earlier one does, or not at all, or one by one as the residual does.
fn told_apart(terms: Vec<RandomTerm>, plots: usize) -> (Vec<RandomTerm>, Vec<Note>) {
    let mut kept: Vec<(Vec<usize>, RandomTerm)> = Vec::new();
    let mut notes = Vec::new();
    for term in terms {
        let partition = by_first_appearance(&term.group_of);
        let parts = partition.iter().max().map_or(0, |last| last + 1);
        let same = kept.iter().find(|(other, _)| *other == partition).map(|(_, other)| other.name.clone());
        let with = if parts == plots { Some("residual".to_owned()) } else { same };
        match with {
            Some(with) => notes.push(Note {
                code: "confounded-effects",
                text: format!("these variances can't be told apart: {with}, {}; {with} holds both", term.name),
            }),
            // One level of a random term is a constant, which the mean holds.
            None if parts < 2 => {}
            None => kept.push((partition, term)),
        }
    }
    (kept.into_iter().map(|(_, term)| term).collect(), notes)
}

/// Labels numbered in the order in which they appear.
fn by_first_appearance(labels: &[usize]) -> Vec<usize> {
    let mut seen = std::collections::HashMap::new();
    labels
        .iter()
        .map(|label| {
            let next = seen.len();
            *seen.entry(*label).or_insert(next)
        })
        .collect()
}
