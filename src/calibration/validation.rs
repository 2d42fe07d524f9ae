//! What the relation says of a site-year that it has not seen.

use super::points::{Bound, NeedPoint};
use super::relation::{NoRelation, Relation};
use super::site_years;
use crate::stats::censored::{CensoredError, Response, fit};
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
    /// What one rate for all would give: the mean of the other site-years' non-negative needs, by maximum likelihood where some are
    /// bounds; `None` where all of them are.
    pub one_rate: Option<f64>,
}

impl Prediction {
    /// A rate minus the need that could be met (never below zero); `None` where the need is only a bound.
    #[must_use]
    pub fn error(&self, rate: f64) -> Option<f64> {
        (self.point.bound == Bound::Exact).then(|| rate - self.point.need.max(0.0))
    }

    /// A need that is at least so much, minus a rate: above zero the rate falls short by that or more. `None` for any other need.
    #[must_use]
    pub fn shortfall(&self, rate: f64) -> Option<f64> {
        (self.point.bound == Bound::AtLeast).then_some(self.point.need - rate)
    }

    /// A rate minus a need that is at most so much: above zero the rate is too high by that or more. `None` for any other need.
    #[must_use]
    pub fn excess(&self, rate: f64) -> Option<f64> {
        (self.point.bound == Bound::AtMost).then(|| rate - self.point.need.max(0.0))
    }
}

/// Rates beside needs that are bounds on one side.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Proven {
    /// Needs that are such bounds.
    pub bounds: usize,
    /// Rates that are proven to be on their wrong side.
    pub missed: usize,
    /// The mean of how much those miss at least; `None` without any.
    pub mean: Option<f64>,
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

impl Validation {
    /// The rates that bounds prove to miss, over all points; `beyond` is how far a rate lies beyond a bound.
    #[must_use]
    pub fn proven(&self, beyond: impl Fn(&Prediction) -> Option<f64>) -> Proven {
        let all: Vec<f64> = self
            .held_out
            .iter()
            .flat_map(|held_out| held_out.predictions.iter().flatten())
            .filter_map(beyond)
            .collect();
        let missed: Vec<f64> = all.iter().copied().filter(|amount| *amount > 0.0).collect();
        let mean = (!missed.is_empty()).then(|| missed.iter().sum::<f64>() / missed.len() as f64);
        Proven { bounds: all.len(), missed: missed.len(), mean }
    }
}

/// The mean of non-negative needs, by maximum likelihood where some are bounds.
fn one_rate<'a>(points: impl Iterator<Item = &'a NeedPoint>) -> Option<f64> {
    let needs: Vec<Response> = points
        .map(|point| {
            let need = point.need.max(0.0);
            match point.bound {
                Bound::Exact => Response::Exact(need),
                Bound::AtMost => Response::AtMost(need),
                Bound::AtLeast => Response::AtLeast(need),
            }
        })
        .collect();
    let exact: Vec<f64> =
        needs.iter().filter(|need| matches!(need, Response::Exact(_))).map(|need| need.limit()).collect();
    let mean = || (!exact.is_empty()).then(|| exact.iter().sum::<f64>() / exact.len() as f64);
    if exact.len() == needs.len() {
        return mean();
    }
    match fit(&vec![vec![1.0]; needs.len()], &needs) {
        Ok(found) => found.coefficients.first().map(|rate| rate.max(0.0)),
        // The needs that are numbers are one number, with which every bound agrees.
        Err(CensoredError::PerfectFit { .. }) => mean(),
        Err(_) => None,
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
        let one_rate = one_rate(others());
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::{Family, OptimumStatus};
    use crate::trial::NeedFrom;

    fn point(site_year: &str, index: f64, need: f64, bound: Bound) -> NeedPoint {
        NeedPoint {
            trial: site_year.to_owned(),
            site_year: site_year.to_owned(),
            variety: None,
            need_from: NeedFrom::TopdressResponse,
            n_on: 0.0,
            index,
            plots: 4,
            need,
            low: None,
            high: None,
            bound,
            family: Family::Quadratic,
            optimum_status: OptimumStatus::Interior,
        }
    }

    #[test]
    fn a_need_of_at_least_so_much_proves_a_rate_below_it_short() {
        let points = [
            point("a", 0.7, 90.0, Bound::Exact),
            point("a", 0.9, 30.0, Bound::Exact),
            point("b", 0.8, 62.0, Bound::Exact),
            point("b", 1.0, 1.0, Bound::Exact),
            point("c", 0.9, 100.0, Bound::AtLeast),
            point("c", 1.0, 0.0, Bound::AtLeast),
            point("c", 0.8, 20.0, Bound::AtMost),
        ];
        let validation = hold_out_site_years(RelationKind::Linear, &points).expect("three site-years");
        let c = Validation {
            held_out: validation.held_out.into_iter().filter(|one| one.site_year == "c").collect(),
            ..validation
        };
        // The line through a and b, by hand: 45.75 at the mean index 0.85, slope −14.95/0.05; so 30.8 at 0.9, 0.9 at 1.0, 60.7 at 0.8.
        let short = c.proven(|one| one.shortfall(one.rate));
        assert_eq!((short.bounds, short.missed), (2, 1));
        approx::assert_relative_eq!(short.mean.expect("one"), 69.2, max_relative = 1e-12);
        let excess = c.proven(|one| one.excess(one.rate));
        assert_eq!((excess.bounds, excess.missed), (1, 1));
        approx::assert_relative_eq!(excess.mean.expect("one"), 40.7, max_relative = 1e-12);
        assert_eq!(c.root_mean_square_and_bias(|one| one.error(one.rate)), None);
        // All their needs are numbers: the plain mean.
        let one_rate = c.proven(|one| one.shortfall(one.one_rate?));
        approx::assert_relative_eq!(one_rate.mean.expect("one"), 100.0 - 45.75, max_relative = 1e-12);
    }

    #[test]
    fn one_rate_for_all_takes_bounds_as_bounds() {
        let exact = [20.0, 40.0, 60.0].map(|need| point("a", 0.8, need, Bound::Exact));
        let bound = point("b", 0.8, 50.0, Bound::AtLeast);
        let found = one_rate(exact.iter().chain([&bound])).expect("three numbers");
        // As numbers they would give 42.5; a need of 50 or more gives more, and less than were it 100.
        assert!(found > 42.5 && found < 55.0, "{found}");
        assert_eq!(one_rate([&bound].into_iter()), None);
        assert_eq!(one_rate([&exact[0], &point("b", 0.8, 10.0, Bound::AtLeast)].into_iter()), Some(20.0));
    }
}
