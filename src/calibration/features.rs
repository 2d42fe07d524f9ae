//! N need explained by several features at once: both sensors' indices, an index and the N already on, an index and the stand.
//!
//! need = intercept + Σ coefficient · feature by least squares, each site-year with the same weight however many rows it has. A feature
//! always lowers the error on the rows that it was fitted to, so what counts is the error on site-years not seen: each is held out in
//! turn, and a set of features *earns its place* where its mean squared error there is below that of the best set within it by more
//! than the standard error of that difference over site-years (in the manner of the one-standard-error rule: Breiman et al. 1984,
//! *Classification and Regression Trees*, from memory). Predictions without one site-year share most of their data, so that this
//! standard error is a guide, not a test.
//!
//! Every set is fitted to the same rows: those that have all features.

mod explained;

use std::collections::BTreeMap;

use crate::stats::jackknife;
use explained::Explained;
pub use explained::NotExplained;

/// A quantity that may help to tell N need.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feature {
    /// Its name, such as "index, leaf chlorophyll".
    pub name: String,
    /// Its unit; `None` where it has none, as an index.
    pub unit: Option<String>,
}

/// What is known of one treatment of a site-year.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureRow {
    /// Site and harvest year.
    pub site_year: String,
    /// A value a feature, in the order of the features and in their units; `None` where it was not read.
    pub values: Vec<Option<f64>>,
    /// N need, in the programme's rate unit; a need that is a bound can't enter.
    pub need: f64,
}

/// Sets of features, compared on site-years that they have not seen.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureComparison {
    /// The features.
    pub features: Vec<Feature>,
    /// Rows compared: those with every feature.
    pub rows: usize,
    /// Rows left out because a feature is missing.
    pub left_out: usize,
    /// How many rows miss each feature.
    pub missing: Vec<usize>,
    /// Site-years of the rows compared.
    pub site_years: Vec<String>,
    /// The sets, the empty one (one need for all) first.
    pub sets: Vec<FeatureSet>,
    /// Position in `sets` of the one with the smallest error among those that earn their place, else of the empty one.
    pub chosen: usize,
}

/// A set of features.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureSet {
    /// Positions of its features, ascending.
    pub features: Vec<usize>,
    /// What it gives, or why it gives nothing.
    pub outcome: Result<FeatureFit, NoFeatureFit>,
}

/// A set of features that explains needs.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureFit {
    /// Need where every feature is 0, in the rate unit.
    pub intercept: f64,
    /// One a feature of the set, in the rate unit per unit of the feature.
    pub coefficients: Vec<Coefficient>,
    /// Mean squared error of need on each site-year, fitted without it, in squared rate units; as
    /// [`site_years`](FeatureComparison::site_years).
    pub squared_errors: Vec<f64>,
    /// Root mean square of the held-out errors, each site-year counting the same, in the rate unit.
    pub rmse: f64,
    /// Mean held-out error (predicted minus found), each site-year counting the same, in the rate unit.
    pub bias: f64,
    /// What it gains over the best set within it; `None` for the empty set, or where no set within it gives anything.
    pub gain: Option<Gain>,
}

/// A coefficient.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficient {
    /// Its value, in the rate unit per unit of the feature.
    pub value: f64,
    /// Its standard error by leaving out one site-year at a time (the jackknife: Tukey 1958, from memory).
    pub standard_error: f64,
}

/// What a set gains over one within it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gain {
    /// Position of the other set.
    pub over: usize,
    /// Mean over site-years of the other's squared error minus its own, in squared rate units.
    pub mean: f64,
    /// Standard error of that mean over site-years.
    pub standard_error: f64,
}

impl Gain {
    /// Whether it exceeds its standard error.
    #[must_use]
    pub fn is_earned(&self) -> bool {
        self.mean > self.standard_error
    }
}

/// Why a set of features gives nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoFeatureFit {
    /// All rows together do not determine it.
    #[error("{0}")]
    Together(NotExplained),
    /// The rows without a site-year do not determine it.
    #[error("without {site_year}, {why}")]
    Without {
        /// The site-year.
        site_year: String,
        /// Why.
        why: NotExplained,
    },
}

/// Why features can't be compared.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoFeatureComparison {
    /// A row with another number of features.
    #[error("a row has {found} features instead of {expected}")]
    Lengths {
        /// Features expected.
        expected: usize,
        /// Features found.
        found: usize,
    },
    /// A set names a feature that is not there.
    #[error("a set holds feature {position} (from 0) of {features}")]
    NoSuchFeature {
        /// The position.
        position: usize,
        /// How many features there are.
        features: usize,
    },
    /// NaN or an infinity.
    #[error("a row of {site_year} holds a number that is not finite")]
    NotFinite {
        /// Its site-year.
        site_year: String,
    },
    /// With one site-year none can be held out and fitted without.
    #[error(
        "rows with every feature: {rows} of {of}; their site-years: {found}, and one is to be held out from others"
    )]
    TooFewSiteYears {
        /// Rows with every feature.
        rows: usize,
        /// All rows.
        of: usize,
        /// Their site-years.
        found: usize,
    },
}

/// Every set of the first `features` features, the smaller ones first.
#[must_use]
pub fn all_sets(features: usize) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = vec![Vec::new()];
    for feature in 0..features {
        let with: Vec<Vec<usize>> = sets.iter().map(|set| set.iter().copied().chain([feature]).collect()).collect();
        sets.extend(with);
    }
    sets.sort_by_key(|set| (set.len(), set.clone()));
    sets
}

/// The rows with every feature.
struct Table<'a> {
    rows: Vec<(&'a str, Vec<f64>, f64)>,
    site_years: Vec<String>,
}

impl Table<'_> {
    fn fit(&self, set: &[usize], without: Option<&str>) -> Result<Explained, NotExplained> {
        let kept: Vec<_> = self.rows.iter().filter(|(site_year, ..)| Some(*site_year) != without).collect();
        let mut sizes: BTreeMap<&str, f64> = BTreeMap::new();
        kept.iter().for_each(|(site_year, ..)| *sizes.entry(site_year).or_default() += 1.0);
        let columns: Vec<Vec<f64>> = set
            .iter()
            .map(|feature| kept.iter().filter_map(|(_, values, _)| values.get(*feature).copied()).collect())
            .collect();
        let needs: Vec<f64> = kept.iter().map(|(.., need)| *need).collect();
        let weights: Vec<f64> =
            kept.iter().map(|(site_year, ..)| 1.0 / sizes.get(site_year).copied().unwrap_or(1.0)).collect();
        Explained::fit(&columns, &needs, &weights)
    }

    /// Predicted minus found need of each row of a site-year.
    fn errors(&self, set: &[usize], site_year: &str, fitted: &Explained) -> Vec<f64> {
        let own = self.rows.iter().filter(|(name, ..)| *name == site_year);
        own.map(|(_, values, need)| {
            let features: Vec<f64> = set.iter().filter_map(|feature| values.get(*feature).copied()).collect();
            fitted.need(&features) - need
        })
        .collect()
    }

    fn outcome(&self, set: &[usize]) -> Result<FeatureFit, NoFeatureFit> {
        let together = self.fit(set, None).map_err(NoFeatureFit::Together)?;
        let mut without = Vec::with_capacity(self.site_years.len());
        for site_year in &self.site_years {
            let fitted = self.fit(set, Some(site_year));
            without.push(fitted.map_err(|why| NoFeatureFit::Without { site_year: site_year.clone(), why })?);
        }
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let errors: Vec<Vec<f64>> = self
            .site_years
            .iter()
            .zip(&without)
            .map(|(site_year, fitted)| self.errors(set, site_year, fitted))
            .collect();
        let squared_errors: Vec<f64> =
            errors.iter().map(|own| mean(&own.iter().map(|error| error * error).collect::<Vec<f64>>())).collect();
        let coefficients = together.coefficients.iter().enumerate().map(|(position, value)| {
            let others: Vec<f64> =
                without.iter().filter_map(|fitted| fitted.coefficients.get(position).copied()).collect();
            Coefficient { value: *value, standard_error: jackknife::standard_error(&others) }
        });
        Ok(FeatureFit {
            intercept: together.intercept,
            coefficients: coefficients.collect(),
            rmse: mean(&squared_errors).sqrt(),
            bias: mean(&errors.iter().map(|own| mean(own)).collect::<Vec<f64>>()),
            squared_errors,
            gain: None,
        })
    }
}

impl FeatureComparison {
    /// Compares sets of features; the empty set is always among them.
    ///
    /// # Errors
    /// [`NoFeatureComparison`].
    pub fn of(features: &[Feature], rows: &[FeatureRow], sets: &[Vec<usize>]) -> Result<Self, NoFeatureComparison> {
        if let Some(position) = sets.iter().flatten().copied().find(|position| *position >= features.len()) {
            return Err(NoFeatureComparison::NoSuchFeature { position, features: features.len() });
        }
        let mut missing = vec![0; features.len()];
        let mut complete = Vec::new();
        for row in rows {
            if row.values.len() != features.len() {
                return Err(NoFeatureComparison::Lengths { expected: features.len(), found: row.values.len() });
            }
            if row.values.iter().flatten().chain([&row.need]).any(|value| !value.is_finite()) {
                return Err(NoFeatureComparison::NotFinite { site_year: row.site_year.clone() });
            }
            missing.iter_mut().zip(&row.values).for_each(|(count, value)| *count += usize::from(value.is_none()));
            if let Some(values) = row.values.iter().copied().collect::<Option<Vec<f64>>>() {
                complete.push((row.site_year.as_str(), values, row.need));
            }
        }
        let mut site_years: Vec<String> = complete.iter().map(|(site_year, ..)| (*site_year).to_owned()).collect();
        site_years.sort_unstable();
        site_years.dedup();
        if site_years.len() < 2 {
            let (rows, of) = (complete.len(), rows.len());
            return Err(NoFeatureComparison::TooFewSiteYears { rows, of, found: site_years.len() });
        }
        let table = Table { rows: complete, site_years };
        let mut wanted: Vec<Vec<usize>> = sets.to_vec();
        wanted.push(Vec::new());
        for set in &mut wanted {
            set.sort_unstable();
            set.dedup();
        }
        wanted.sort_by_key(|set| (set.len(), set.clone()));
        wanted.dedup();
        let mut compared: Vec<FeatureSet> =
            wanted.into_iter().map(|features| FeatureSet { outcome: table.outcome(&features), features }).collect();
        let gains: Vec<Option<Gain>> = compared.iter().map(|set| gain(set, &compared)).collect();
        for (set, gain) in compared.iter_mut().zip(gains) {
            if let Ok(fit) = &mut set.outcome {
                fit.gain = gain;
            }
        }
        let earned = compared.iter().enumerate().filter_map(|(position, set)| {
            let fit = set.outcome.as_ref().ok()?;
            (set.features.is_empty() || fit.gain.is_some_and(|gain| gain.is_earned())).then_some((position, fit.rmse))
        });
        let chosen = earned.min_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(position, _)| position);
        Ok(Self {
            features: features.to_vec(),
            rows: table.rows.len(),
            left_out: rows.len() - table.rows.len(),
            missing,
            site_years: table.site_years,
            sets: compared,
            chosen,
        })
    }
}

/// What a set gains over the best of the sets within it.
fn gain(set: &FeatureSet, all: &[FeatureSet]) -> Option<Gain> {
    let own = set.outcome.as_ref().ok()?;
    let within = |other: &FeatureSet| {
        other.features.len() < set.features.len() && other.features.iter().all(|feature| set.features.contains(feature))
    };
    let others = all.iter().enumerate().filter(|(_, other)| within(other));
    let (over, best) = others
        .filter_map(|(position, other)| Some((position, other.outcome.as_ref().ok()?)))
        .min_by(|a, b| a.1.rmse.total_cmp(&b.1.rmse))?;
    let gains: Vec<f64> = best.squared_errors.iter().zip(&own.squared_errors).map(|(other, own)| other - own).collect();
    let count = gains.len() as f64;
    let mean = gains.iter().sum::<f64>() / count;
    let squares: f64 = gains.iter().map(|gain| (gain - mean).powi(2)).sum();
    Some(Gain { over, mean, standard_error: (squares / (count - 1.0) / count).sqrt() })
}

#[cfg(test)]
mod tests;
