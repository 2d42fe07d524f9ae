//! N need against the sufficiency index, and what the relation says of a site-year it has not seen.
//!
//! A *point* is a treatment of a site-year: one variety at one level of N already on. Its need is found in one of two ways:
//!
//! - *difference from optimum*: the optimum of that site-year minus the N already on, kept signed;
//! - *topdress response*: the optimum topdress within that early level.
//!
//! The site-year is the unit of inference: what is held out, and what is resampled, is always a whole site-year.

mod critical_index;
mod features;
mod points;
mod relation;
mod reliability;
mod resample;
mod validation;

pub use critical_index::{
    ClassOptions, ClassRow, Classifier, Confusion, CriticalIndex, CutOff, HeldOutClass, NoClassifier, NoCriticalIndex,
};
pub use features::{
    Coefficient, Feature, FeatureComparison, FeatureFit, FeatureRow, FeatureSet, Gain, NoFeatureComparison,
    NoFeatureFit, NotExplained, all_sets,
};
pub use points::{Bound, NeedPoint, SetAside, TrialPoints, trial_points};
pub use relation::{NoRelation, Relation};
pub use reliability::{NoReliability, Reliability, ReliabilityOptions, ReplicatedIndex, Share};
pub use resample::{FEWEST_SITE_YEARS, REPLICATES, Resampled, resample_site_years};
pub use validation::{HeldOut, Prediction, Proven, Validation, hold_out_site_years};

use std::collections::BTreeSet;

use crate::experiment::FittedGroup;
use crate::trial::{RelationKind, TableSpecification, Trial};
use crate::units::NRateUnit;

/// A trial with its fitted groups.
#[derive(Clone, Copy, Debug)]
pub struct FittedTrial<'a> {
    /// The trial.
    pub trial: &'a Trial,
    /// Its groups.
    pub groups: &'a [FittedGroup],
}

/// Everything a table is calibrated from, at one price ratio.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// The points, in order of trial, variety and N already on.
    pub points: Vec<NeedPoint>,
    /// Trials and plots that give no point, with the reason.
    pub set_aside: Vec<SetAside>,
    /// One relation a kind, or why there is none.
    pub relations: Vec<(RelationKind, Result<Relation, NoRelation>)>,
}

impl Calibration {
    /// The relation of a kind.
    ///
    /// # Errors
    /// [`NoRelation`] where the points do not determine it.
    pub fn relation(&self, kind: RelationKind) -> Result<&Relation, NoRelation> {
        let found = self.relations.iter().find(|(known, _)| *known == kind);
        found.map_or(Err(NoRelation::NoPoints), |(_, relation)| relation.as_ref().map_err(Clone::clone))
    }

    /// The site-years of the points, in order.
    #[must_use]
    pub fn site_years(&self) -> BTreeSet<&str> {
        site_years(&self.points)
    }
}

/// The distinct site-years of points.
#[must_use]
pub fn site_years(points: &[NeedPoint]) -> BTreeSet<&str> {
    points.iter().map(|point| point.site_year.as_str()).collect()
}

/// The points of every trial for a table at a price ratio, and the relations through them.
#[must_use]
pub fn calibrate(
    trials: &[FittedTrial<'_>],
    table: &TableSpecification,
    unit: NRateUnit,
    price_ratio: f64,
) -> Calibration {
    let mut points = Vec::new();
    let mut set_aside = Vec::new();
    for trial in trials {
        let found = trial_points(trial, table, unit, price_ratio);
        points.extend(found.points);
        set_aside.extend(found.set_aside);
    }
    let relations = RelationKind::ALL.map(|kind| (kind, Relation::fit(kind, &points))).to_vec();
    Calibration { price_ratio, points, set_aside, relations }
}
