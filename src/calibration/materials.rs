//! What relations are fitted to: points, and the yields of early × topdress trials, by site-year.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::points::NeedPoint;
use super::relation::{Candidate, Form, NoRelation, Relation};
use super::shortfall::{NeedCurve, NoShortfall, Nuisance, Shape, Shortfall, ShortfallData, ShortfallModel};
use super::site_years;
use crate::experiment::Evidence;
use crate::trial::RelationKind;

/// Up to so many site-years a one-stage relation is searched anew whatever relation of like points is known: one of them may move it far.
const SEARCHED_ANEW: usize = 32;

/// The points of a calibration at a price ratio, and the yields that a one-stage relation is fitted to.
#[derive(Clone, Debug)]
pub struct Materials {
    /// The points.
    pub points: Vec<NeedPoint>,
    /// Their site-years, in order.
    pub site_years: Vec<String>,
    /// The price ratio.
    pub price_ratio: f64,
    shortfall: Arc<Result<ShortfallData, NoShortfall>>,
}

impl Materials {
    /// Points with the evidence they are counted from.
    #[must_use]
    pub fn new(points: Vec<NeedPoint>, evidence: &Evidence, price_ratio: f64) -> Self {
        Self::with(points, Arc::new(ShortfallData::of(evidence)), price_ratio)
    }

    fn with(points: Vec<NeedPoint>, shortfall: Arc<Result<ShortfallData, NoShortfall>>, price_ratio: f64) -> Self {
        let site_years = site_years(&points).into_iter().map(str::to_owned).collect();
        Self { points, site_years, price_ratio, shortfall }
    }

    /// The same without some site-years: whatever those yielded, nothing of what is left changes.
    #[must_use]
    pub fn without(&self, held: &BTreeSet<&str>) -> Self {
        let points = self.points.iter().filter(|point| !held.contains(point.site_year.as_str())).cloned().collect();
        Self::with(points, Arc::clone(&self.shortfall), self.price_ratio)
    }

    /// A kind of relation made ready for them.
    ///
    /// # Errors
    /// [`NoRelation`] where they determine none.
    pub fn ready(&self, kind: RelationKind) -> Result<Ready, NoRelation> {
        let shape = match kind {
            RelationKind::ShortfallLinear => Shape::Line,
            RelationKind::ShortfallQuadratic => Shape::Parabola,
            RelationKind::ShortfallSpline => Shape::Spline,
            _ => return Ok(Ready(Stages::Two(Candidate::new(kind, &self.points, &self.site_years)?))),
        };
        let data = self.shortfall.as_ref().as_ref().map_err(Clone::clone)?;
        let place = |name: &String| self.site_years.iter().position(|known| known == name);
        let places = data.site_years().iter().map(place).collect();
        let shortfall = Arc::clone(&self.shortfall);
        Ok(Ready(Stages::One { kind, shape, shortfall, places, price_ratio: self.price_ratio }))
    }

    /// The site-years that take part in a kind of relation; none where they determine none.
    #[must_use]
    pub fn taking_part(&self, kind: RelationKind) -> Vec<String> {
        let parts = self.ready(kind).map(|ready| ready.taking_part()).unwrap_or_default();
        parts.iter().filter_map(|part| self.site_years.get(*part).cloned()).collect()
    }

    /// The relation of a kind, with how far the needs lie from it.
    ///
    /// # Errors
    /// [`NoRelation`] where they determine none.
    pub fn relation(&self, kind: RelationKind) -> Result<Relation, NoRelation> {
        let mut relation = self.ready(kind)?.fit(None, None)?;
        if kind.is_one_stage() {
            let candidate = Candidate::new(RelationKind::LinearWithFloor, &self.points, &self.site_years).ok();
            let spread = candidate.and_then(|candidate| candidate.spread_about(&relation.form));
            [relation.between, relation.within] = spread.unwrap_or([f64::NAN; 2]);
        }
        Ok(relation)
    }
}

/// A kind of relation, ready to be fitted to site-years that count more than once or not at all.
#[derive(Clone, Debug)]
pub struct Ready(Stages);

#[derive(Clone, Debug)]
enum Stages {
    /// To needs.
    Two(Candidate),
    /// To yields.
    One {
        kind: RelationKind,
        shape: Shape,
        shortfall: Arc<Result<ShortfallData, NoShortfall>>,
        /// Which site-year of the materials each of its site-years is; `None` of those that take no part.
        places: Vec<Option<usize>>,
        price_ratio: f64,
    },
}

impl Ready {
    /// The relation; `weights` count each site-year of the [`Materials`] so many times, once without; `near` is that of like points, near
    /// which it is looked for first.
    ///
    /// # Errors
    /// [`NoRelation`] where the site-years that count determine none.
    pub fn fit(&self, weights: Option<&[f64]>, near: Option<&Relation>) -> Result<Relation, NoRelation> {
        let (kind, shape, shortfall, places, price_ratio) = match &self.0 {
            Stages::Two(candidate) => return candidate.fit(weights, near),
            Stages::One { kind, shape, shortfall, places, price_ratio } => {
                (*kind, *shape, shortfall, places, *price_ratio)
            }
        };
        let data = shortfall.as_ref().as_ref().map_err(Clone::clone)?;
        let weight = |place: &Option<usize>| match (place, weights) {
            (None, _) => 0.0,
            (Some(_), None) => 1.0,
            (Some(place), Some(weights)) => weights.get(*place).copied().unwrap_or(0.0),
        };
        let weights: Vec<f64> = places.iter().map(weight).collect();
        let (nuisance, weights) = (Nuisance::default(), Some(weights.as_slice()));
        let found = match near.map(|near| &near.form) {
            Some(Form::Shortfall { need: NeedCurve::Spline(near), power, .. }) if places.len() > SEARCHED_ANEW => {
                Shortfall::fit_near(data, nuisance, weights, near, *power)?
            }
            _ => Shortfall::fit(data, ShortfallModel::new(shape, nuisance), weights)?,
        };
        Ok(Relation {
            kind,
            between: f64::NAN,
            within: f64::NAN,
            log_likelihood: f64::NAN,
            domain: found.domain,
            held_from_rising: false,
            form: Form::Shortfall { need: found.need, power: found.power, loss: found.c, price_ratio },
        })
    }

    /// Positions of the site-years that take part in the relation.
    #[must_use]
    pub fn taking_part(&self) -> Vec<usize> {
        match &self.0 {
            Stages::Two(candidate) => (0..candidate.site_years()).collect(),
            Stages::One { places, .. } => places.iter().copied().flatten().collect(),
        }
    }
}
