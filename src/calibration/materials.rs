//! What relations are fitted to: points, and the yields of early × topdress trials, by site-year.

use std::collections::BTreeSet;

use super::points::NeedPoint;
use super::relation::{Candidate, NoRelation, Relation};
use super::site_years;
use crate::trial::RelationKind;

/// The points of a calibration at a price ratio, and what a one-stage relation needs besides.
#[derive(Clone, Debug)]
pub struct Materials<'a> {
    /// The points.
    pub points: Vec<NeedPoint>,
    /// Their site-years, in order.
    pub site_years: Vec<String>,
    /// The price ratio.
    pub price_ratio: f64,
    /// The evidence that the points are counted from.
    pub evidence: &'a crate::experiment::Evidence,
}

impl<'a> Materials<'a> {
    /// Points with the evidence they are counted from.
    #[must_use]
    pub fn new(points: Vec<NeedPoint>, evidence: &'a crate::experiment::Evidence, price_ratio: f64) -> Self {
        let site_years = site_years(&points).into_iter().map(str::to_owned).collect();
        Self { points, site_years, price_ratio, evidence }
    }

    /// The same without some site-years: whatever those yielded, nothing of what is left changes.
    #[must_use]
    pub fn without(&self, held: &BTreeSet<&str>) -> Self {
        let points = self.points.iter().filter(|point| !held.contains(point.site_year.as_str())).cloned().collect();
        Self::new(points, self.evidence, self.price_ratio)
    }

    /// A kind of relation made ready for them.
    ///
    /// # Errors
    /// [`NoRelation`] where they determine none.
    pub fn ready(&self, kind: RelationKind) -> Result<Ready, NoRelation> {
        if kind.is_one_stage() {
            return Err(NoRelation::Shortfall("not yet".to_owned()));
        }
        Ok(Ready(Candidate::new(kind, &self.points, &self.site_years)?))
    }

    /// The relation of a kind.
    ///
    /// # Errors
    /// [`NoRelation`] where they determine none.
    pub fn relation(&self, kind: RelationKind) -> Result<Relation, NoRelation> {
        self.ready(kind)?.fit(None, None)
    }
}

/// A kind of relation, ready to be fitted to site-years that count more than once or not at all.
#[derive(Clone, Debug)]
pub struct Ready(Candidate);

impl Ready {
    /// The relation; `weights` count each site-year of the [`Materials`] so many times, once without; `near` is that of like points, near
    /// which it is looked for first.
    ///
    /// # Errors
    /// [`NoRelation`] where the site-years that count determine none.
    pub fn fit(&self, weights: Option<&[f64]>, near: Option<&Relation>) -> Result<Relation, NoRelation> {
        self.0.fit(weights, near)
    }
}
