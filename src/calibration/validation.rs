//! What the relation says of a site-year that it has not seen.

use super::points::{Bound, NeedPoint};
use super::relation::{NoRelation, Relation};
use super::site_years;
use crate::trial::RelationKind;

/// The rate for one point of a site-year that was held out.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// The point.
    pub point: NeedPoint,
    /// The rate that the rule without that site-year gives.
    pub rate: f64,
    /// Whether the point's index lies within the indices of the other site-years.
    pub in_domain: bool,
    /// The mean of the other site-years' non-negative needs: what one rate for all would give.
    pub one_rate: f64,
}

impl Prediction {
    /// Predicted rate minus the need that could be met (never below zero); `None` where the need is only a bound.
    #[must_use]
    pub fn error(&self) -> Option<f64> {
        (self.point.bound == Bound::Exact).then(|| self.rate - self.point.need.max(0.0))
    }

    /// The same for one rate for all.
    #[must_use]
    pub fn one_rate_error(&self) -> Option<f64> {
        (self.point.bound == Bound::Exact).then(|| self.one_rate - self.point.need.max(0.0))
    }
}

/// A site-year that was held out.
#[derive(Clone, Debug, PartialEq)]
pub struct HeldOut {
    /// The site-year.
    pub site_year: String,
    /// Its points as the others predict them, or why the others give no relation.
    pub predictions: Result<Vec<Prediction>, NoRelation>,
}

/// A relation, validated on site-years that it has not seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Validation {
    /// Kind of the relation.
    pub kind: RelationKind,
    /// Every site-year in turn.
    pub held_out: Vec<HeldOut>,
}

impl Validation {
    /// Root mean square and mean of the errors that `error` picks, over points with a number for a need, each site-year
    /// counting the same; `None` without any.
    #[must_use]
    pub fn root_mean_square_and_bias(&self, error: impl Fn(&Prediction) -> Option<f64>) -> Option<(f64, f64)> {
        let mut site_years = 0.0;
        let mut squares = 0.0;
        let mut sum = 0.0;
        for held_out in &self.held_out {
            let errors: Vec<f64> = held_out.predictions.iter().flatten().filter_map(&error).collect();
            if !errors.is_empty() {
                let points = errors.len() as f64;
                site_years += 1.0;
                squares += errors.iter().map(|error| error * error).sum::<f64>() / points;
                sum += errors.iter().sum::<f64>() / points;
            }
        }
        (site_years > 0.0).then(|| ((squares / site_years).sqrt(), sum / site_years))
    }
}

/// Holds every site-year out in turn and refits the relation of a kind without it. Its own yields play no part in its predictions.
/// `None` for a single site-year.
#[must_use]
pub fn hold_out_site_years(kind: RelationKind, points: &[NeedPoint]) -> Option<Validation> {
    let all = site_years(points);
    if all.len() < 2 {
        return None;
    }
    let held_out = all.into_iter().map(|site_year| {
        let others = || points.iter().filter(|point| point.site_year != site_year);
        let one_rate = others().map(|point| point.need.max(0.0)).sum::<f64>() / others().count() as f64;
        let predictions = Relation::fit(kind, others()).map(|relation| {
            let own = points.iter().filter(|point| point.site_year == site_year);
            let predict = |point: &NeedPoint| Prediction {
                rate: relation.rate(point.index),
                in_domain: (relation.domain.0..=relation.domain.1).contains(&point.index),
                one_rate,
                point: point.clone(),
            };
            own.map(predict).collect()
        });
        HeldOut { site_year: site_year.to_owned(), predictions }
    });
    Some(Validation { kind, held_out: held_out.collect() })
}
