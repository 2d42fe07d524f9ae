//! N need against the sufficiency index, what the relation says of site-years it has not seen, and what the sensor is worth.
//!
//! A *point* is a treatment of a site-year: one variety at one level of N already on. Its need is found in one of two ways:
//!
//! - *difference from optimum*: the optimum of that site-year minus the N already on, kept signed;
//! - *topdress response*: the optimum topdress within that early level.
//!
//! A need is a number with the error of its optimum, or lies within limits; points that are counted from one optimum share its error. The
//! site-year is the unit of inference: what is held out, and what is resampled, is always a whole site-year.

mod basis;
mod calibrate;
mod choose;
mod critical_index;
mod features;
mod materials;
mod points;
mod relation;
mod reliability;
mod returns;
mod row_interval;
pub mod shortfall;
mod together;
mod validation;
mod verdict;

#[cfg(test)]
mod tests;

pub use basis::{Basis, Gathered, GroupBasis, TrialBasis, gather};
pub use calibrate::{Calibration, CalibrationOptions, calibrate};
pub use choose::{Chosen, MOST_FOLDS, Tried, choose};
pub use critical_index::{
    ClassOptions, ClassRow, Classifier, Confusion, CriticalIndex, CutOff, HeldOutClass, NoClassifier, NoCriticalIndex,
};
pub use features::{
    Coefficient, Feature, FeatureComparison, FeatureFit, FeatureRow, FeatureSet, Gain, NoFeatureComparison,
    NoFeatureFit, NotExplained, all_sets,
};
pub use materials::{Materials, Ready};
pub use points::{Bound, NeedPoint, SetAside, needs};
pub use relation::{Form, NoRelation, Relation};
pub use reliability::{NoReliability, Reliability, ReliabilityOptions, ReplicatedIndex, Share};
pub use returns::Scoring;
pub use row_interval::{FEWEST_SITE_YEARS, INTERVAL_METHOD, REPLICATES, Resampled, resample};
pub use together::{Together, together};
pub use validation::{HeldOut, HoldOut, MOST_HELD_OUT, Performance, Prediction, Rule, Scored, Validation, hold_out};
pub use verdict::{Verdict, Word, verdict};

use std::collections::BTreeSet;

use crate::experiment::FittedGroup;
use crate::trial::Trial;

/// A trial with its fitted groups.
#[derive(Clone, Copy, Debug)]
pub struct FittedTrial<'a> {
    /// The trial.
    pub trial: &'a Trial,
    /// Its groups.
    pub groups: &'a [FittedGroup],
}

/// The distinct site-years of points.
#[must_use]
pub fn site_years(points: &[NeedPoint]) -> BTreeSet<&str> {
    points.iter().map(|point| point.site_year.as_str()).collect()
}

/// The rate of a relation's rule at an index: at the nearest index it was fitted to, from 0 to the highest rate.
#[must_use]
pub fn rule_rate(relation: &Relation, index: f64, highest: f64) -> f64 {
    let (lowest_index, highest_index) = relation.domain;
    relation.rate(index.clamp(lowest_index, highest_index)).min(highest)
}
