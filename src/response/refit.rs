//! A family prepared to be fitted to other yields of the same plots, over and over.

use super::curve::Curve;
use super::exponential_search::Exponential;
use super::family::Family;
use super::fit::Fitted;
use super::observations::Observations;
use super::plateau::{Plateau, Stretches};
use super::{linear_plateau, quadratic_plateau};
use crate::stats::least_squares::Factor;

/// What does not depend on yields, worked out once.
#[derive(Clone, Debug)]
pub(super) struct Refit<'a> {
    observations: &'a Observations,
    family: Family,
    plan: Plan,
}

#[derive(Clone, Debug)]
enum Plan {
    Terms(Factor),
    Stretches(Plateau, Stretches),
    Exponential(Exponential),
}

impl<'a> Refit<'a> {
    pub fn new(observations: &'a Observations, family: Family) -> Self {
        let reduced = observations.reduced();
        let plan = match Plateau::of(family) {
            Some(Plateau::Linear) => {
                Plan::Stretches(Plateau::Linear, Stretches::new(linear_plateau::stretches(reduced)))
            }
            Some(Plateau::Quadratic) => {
                Plan::Stretches(Plateau::Quadratic, Stretches::new(quadratic_plateau::stretches(reduced)))
            }
            Some(Plateau::Exponential) => Plan::Exponential(Exponential::new(reduced)),
            None => Plan::Terms(observations.factor_of_terms(family)),
        };
        Self { observations, family, plan }
    }

    /// The curve of the family through yields with this `z` and mean of groups, its criteria left out; `None` where it is not estimable.
    ///
    /// The global search is that of [`Observations::fit`], without its last polish.
    pub fn curve(&mut self, z: &[f64], mean: f64) -> Option<Curve> {
        let (observations, reduced) = (self.observations, self.observations.reduced());
        let plateau_fitted = |plateau: Plateau, shape: f64| {
            let slope = reduced.slope_for(&plateau.column(reduced, shape), z).filter(|slope| *slope > 0.0)?;
            observations.plateau_fitted(plateau, shape, slope, 0.0, mean).ok()
        };
        let fitted = match &mut self.plan {
            Plan::Terms(factor) => {
                let solved = factor.solve(&factor.project(z));
                observations.terms_fitted(self.family, &solved, 0.0, mean)
            }
            Plan::Stretches(plateau, stretches) => plateau_fitted(*plateau, stretches.best(z)?.0)?,
            Plan::Exponential(search) => {
                search.set_z(reduced, z);
                plateau_fitted(Plateau::Exponential, search.best()?)?
            }
        };
        Some(self.described(fitted))
    }

    fn described(&self, fitted: Fitted) -> Curve {
        Curve {
            family: self.family,
            coefficients: fitted.coefficients,
            rss: fitted.rss,
            df: 0,
            sigma: None,
            r_squared: None,
            aic: None,
            aicc: None,
            bic: None,
            join: fitted.join,
            reach: fitted.reach,
            lowest_rate: self.observations.lowest_rate(),
            highest_rate: self.observations.highest_rate(),
        }
    }
}
