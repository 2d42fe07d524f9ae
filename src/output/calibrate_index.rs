//! What the index itself is worth: how reliable it is, what it tells of whether N is needed, and what stands beside it.

use schemars::JsonSchema;
use serde::Serialize;

use crate::calibration::{
    Classifier, Confusion, FeatureComparison, FeatureFit, FeatureSet, HeldOutClass, NoClassifier, NoReliability,
    Reliability, Share, Together,
};
use crate::stats::interval::Interval;

/// How reliable the mean index of a treatment is.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct ReliabilityOf {
    /// Why it is not known; null where it is.
    pub reason: Option<String>,
    /// Treatments.
    pub treatments: usize,
    /// Their site-years.
    pub site_years: usize,
    /// Pooled standard deviation of the index between plots of a treatment.
    pub between_plots: Option<f64>,
    /// Its degrees of freedom.
    pub degrees_of_freedom: usize,
    /// Mean number of plots of a treatment (harmonic).
    pub plots: Option<f64>,
    /// Of treatments within a site-year.
    pub within_site_years: Option<ShareOf>,
    /// Of treatments over all site-years; null for a single one.
    pub over_all: Option<ShareOf>,
}

/// The share of a variance that is not error.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ShareOf {
    /// 1 − error variance ÷ variance between treatment means.
    pub reliability: Interval,
    /// What the slope of a linear relation would be multiplied by for an index without error.
    pub slope_factor: Option<f64>,
}

impl ReliabilityOf {
    pub(super) fn of(found: &Result<Reliability, NoReliability>) -> Self {
        let found = match found {
            Ok(found) => found,
            Err(reason) => return Self { reason: Some(reason.to_string()), ..Self::default() },
        };
        let share =
            |share: &Share| ShareOf { reliability: share.reliability.clone(), slope_factor: share.slope_factor() };
        Self {
            reason: found.within.as_ref().err().map(ToString::to_string),
            treatments: found.treatments,
            site_years: found.site_years,
            between_plots: Some(found.between_plots),
            degrees_of_freedom: found.degrees_of_freedom,
            plots: Some(found.plots),
            within_site_years: found.within.as_ref().ok().map(share),
            over_all: found.over_all.as_ref().and_then(|over_all| over_all.as_ref().ok()).map(share),
        }
    }
}

/// The index as a classifier: below a critical index N is needed.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CriticalIndexOf {
    /// N need above which a treatment is deficient, in the rate unit.
    pub threshold: f64,
    /// Why nothing can be said, or why there is no critical index.
    pub reason: Option<String>,
    /// Deficient treatments.
    pub deficient: usize,
    /// Sufficient treatments.
    pub sufficient: usize,
    /// Those of the sufficient whose response is only not shown.
    pub not_shown: usize,
    /// Treatments whose need may lie on either side: left out.
    pub undecided: usize,
    /// The chance that a deficient treatment has a lower index than a sufficient one.
    pub area: Option<Interval>,
    /// The critical index.
    pub critical_index: Option<Interval>,
    /// The highest index below it.
    pub last_below: Option<f64>,
    /// The lowest index not below it.
    pub first_above: Option<f64>,
    /// Youden's J on the treatments that it was chosen from.
    pub youden: Option<f64>,
    /// Those treatments.
    pub own: Option<ConfusionOf>,
    /// Every site-year by the critical index of the others.
    pub held_out: Option<ConfusionOf>,
    /// One entry a site-year.
    pub site_years: Vec<HeldOutClassOf>,
    /// What each critical index would give, rising.
    pub characteristic: Vec<CutOffOf>,
}

/// Treatments by class and by the side of the critical index that they lie on.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct ConfusionOf {
    /// Deficient and below.
    pub deficient_below: usize,
    /// Deficient, not below: missed.
    pub deficient_above: usize,
    /// Sufficient, but below: N that was not needed.
    pub sufficient_below: usize,
    /// Sufficient and not below.
    pub sufficient_above: usize,
    /// Share of the deficient that lie below.
    pub sensitivity: Option<f64>,
    /// Share of the sufficient that do not.
    pub specificity: Option<f64>,
    /// Share of all that are called rightly.
    pub accuracy: Option<f64>,
    /// Mean of sensitivity and specificity.
    pub balanced_accuracy: Option<f64>,
}

/// A site-year, classified by the others.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct HeldOutClassOf {
    /// Site-year.
    pub site_year: String,
    /// The critical index of the others.
    pub critical_index: Option<f64>,
    /// Its treatments by it.
    pub counts: Option<ConfusionOf>,
    /// Why the others give none.
    pub reason: Option<String>,
}

/// A critical index and what it gives.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct CutOffOf {
    /// The critical index.
    pub critical_index: f64,
    /// Share of the deficient below it.
    pub sensitivity: Option<f64>,
    /// Share of the sufficient not below it.
    pub specificity: Option<f64>,
}

impl From<Confusion> for ConfusionOf {
    fn from(counts: Confusion) -> Self {
        Self {
            deficient_below: counts.deficient_below,
            deficient_above: counts.deficient_above,
            sufficient_below: counts.sufficient_below,
            sufficient_above: counts.sufficient_above,
            sensitivity: counts.sensitivity(),
            specificity: counts.specificity(),
            accuracy: counts.accuracy(),
            balanced_accuracy: counts.balanced_accuracy(),
        }
    }
}

impl CriticalIndexOf {
    pub(super) fn of(threshold: f64, found: &Result<Classifier, NoClassifier>) -> Self {
        let classifier = found.as_ref().ok();
        let critical = classifier.and_then(|found| found.critical.as_ref().ok());
        let without = classifier.and_then(|found| found.critical.as_ref().err());
        let held_out = |held_out: &HeldOutClass| HeldOutClassOf {
            site_year: held_out.site_year.clone(),
            critical_index: held_out.outcome.as_ref().ok().map(|(index, _)| *index),
            counts: held_out.outcome.as_ref().ok().map(|(_, counts)| (*counts).into()),
            reason: held_out.outcome.as_ref().err().map(ToString::to_string),
        };
        let cut_offs = classifier.map_or(&[][..], |found| &found.cut_offs);
        Self {
            threshold,
            reason: found.as_ref().err().map(ToString::to_string).or_else(|| without.map(ToString::to_string)),
            deficient: classifier.map_or(0, |found| found.deficient),
            sufficient: classifier.map_or(0, |found| found.sufficient),
            not_shown: classifier.map_or(0, |found| found.not_shown),
            undecided: classifier.map_or(0, |found| found.undecided),
            area: classifier.map(|found| found.area.clone()),
            critical_index: critical.map(|critical| critical.index.clone()),
            last_below: critical.map(|critical| critical.last_below),
            first_above: critical.map(|critical| critical.first_above),
            youden: critical.map(|critical| critical.youden),
            own: critical.map(|critical| critical.own.into()),
            held_out: critical.map(|critical| critical.held_out_total.into()),
            site_years: critical.map_or_else(Vec::new, |critical| critical.held_out.iter().map(held_out).collect()),
            characteristic: cut_offs
                .iter()
                .map(|cut| CutOffOf {
                    critical_index: cut.index,
                    sensitivity: cut.counts.sensitivity(),
                    specificity: cut.counts.specificity(),
                })
                .collect(),
        }
    }
}

/// Several features at once, compared on held-out site-years.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FeaturesOf {
    /// What the rows share: the tables or stages that the indices are of.
    pub of: String,
    /// Why they can't be compared; null where they can.
    pub reason: Option<String>,
    /// Names of the features, with how many rows miss each.
    pub features: Vec<FeatureOf>,
    /// Rows compared: those with every feature and a need that is a number.
    pub rows: usize,
    /// Rows left out because a feature is missing.
    pub left_out: usize,
    /// Treatments left out because the need is a bound.
    pub bounds: usize,
    /// Treatments left out because another of the same trial has the same variety and N on.
    pub alike: usize,
    /// Rows whose response is not shown: their need enters as 0, less the N that is on where that counts.
    pub not_shown: usize,
    /// Site-years of the rows compared.
    pub site_years: usize,
    /// Every set, the empty one (one need for all) first.
    pub sets: Vec<FeatureSetOf>,
    /// Names of the features of the set that is best among those that earn their place.
    pub chosen: Vec<String>,
}

/// A feature.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FeatureOf {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: Option<String>,
    /// Rows without it.
    pub missing: usize,
}

/// A set of features.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FeatureSetOf {
    /// Their names; empty for one need for all.
    pub features: Vec<String>,
    /// Why they explain nothing.
    pub reason: Option<String>,
    /// Need where every feature is 0, in the rate unit.
    pub intercept: Option<f64>,
    /// One a feature, in the rate unit per unit of the feature.
    pub coefficients: Vec<FeatureCoefficientOf>,
    /// Root mean square error of need on held-out site-years, each counting the same, in the rate unit.
    pub rmse: Option<f64>,
    /// Mean error of the same, predicted minus found.
    pub bias: Option<f64>,
    /// The best set within it.
    pub gain_over: Option<Vec<String>>,
    /// By how much its mean squared error is smaller than that set's, in squared rate units.
    pub gain: Option<f64>,
    /// Standard error of that over site-years.
    pub gain_standard_error: Option<f64>,
    /// Whether the gain exceeds its standard error.
    pub earns_its_place: Option<bool>,
}

/// A coefficient.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FeatureCoefficientOf {
    /// The feature.
    pub feature: String,
    /// Its value.
    pub value: f64,
    /// Its standard error, by leaving out one site-year at a time.
    pub standard_error: f64,
}

impl FeaturesOf {
    pub(super) fn of(together: &Together) -> Self {
        let mut of = together.tables.join(", ");
        if let Some(stand) = together.stand {
            of += &format!("; with {stand}");
        }
        let (bounds, alike, not_shown) = (together.bounds, together.alike, together.not_shown);
        let found = &together.comparison;
        let found = match found {
            Ok(found) => found,
            Err(reason) => {
                return Self {
                    of,
                    reason: Some(reason.to_string()),
                    features: Vec::new(),
                    rows: 0,
                    left_out: 0,
                    bounds,
                    alike,
                    not_shown,
                    site_years: 0,
                    sets: Vec::new(),
                    chosen: Vec::new(),
                };
            }
        };
        let features = found.features.iter().zip(&found.missing);
        Self {
            of,
            reason: None,
            features: features
                .map(|(feature, missing)| FeatureOf {
                    name: feature.name.clone(),
                    unit: feature.unit.clone(),
                    missing: *missing,
                })
                .collect(),
            rows: found.rows,
            left_out: found.left_out,
            bounds,
            alike,
            not_shown,
            site_years: found.site_years.len(),
            sets: found.sets.iter().map(|set| FeatureSetOf::of(found, set)).collect(),
            chosen: found.sets.get(found.chosen).map_or_else(Vec::new, |set| names(found, set)),
        }
    }
}

fn names(found: &FeatureComparison, set: &FeatureSet) -> Vec<String> {
    let features = set.features.iter().filter_map(|feature| found.features.get(*feature));
    features.map(|feature| feature.name.clone()).collect()
}

impl FeatureSetOf {
    fn of(found: &FeatureComparison, set: &FeatureSet) -> Self {
        let fit: Option<&FeatureFit> = set.outcome.as_ref().ok();
        let features = names(found, set);
        let coefficients = fit.map_or(&[][..], |fit| &fit.coefficients);
        let gain = fit.and_then(|fit| fit.gain);
        Self {
            reason: set.outcome.as_ref().err().map(ToString::to_string),
            intercept: fit.map(|fit| fit.intercept),
            coefficients: features
                .iter()
                .zip(coefficients)
                .map(|(feature, coefficient)| FeatureCoefficientOf {
                    feature: feature.clone(),
                    value: coefficient.value,
                    standard_error: coefficient.standard_error,
                })
                .collect(),
            rmse: fit.map(|fit| fit.rmse),
            bias: fit.map(|fit| fit.bias),
            gain_over: gain.and_then(|gain| found.sets.get(gain.over)).map(|other| names(found, other)),
            gain: gain.map(|gain| gain.mean),
            gain_standard_error: gain.map(|gain| gain.standard_error),
            earns_its_place: gain.map(|gain| gain.is_earned()),
            features,
        }
    }
}
