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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::stream::stream;
    use approx::assert_relative_eq;
    use rand::RngExt as _;

    /// A plateau in noise, in blocks with or without a plot lost.
    fn plots(index: u64) -> Observations {
        let mut rng = stream(11, index);
        let (mut rates, mut yields, mut blocks) = (Vec::new(), Vec::new(), Vec::new());
        for block in 0..4_usize {
            for rate in [0.0, 30.0, 55.0, 90.0, 130.0, 180.0] {
                if index % 2 == 1 && block == 2 && rate == 55.0 {
                    continue;
                }
                let share = (rate / 100.0_f64).min(1.0);
                rates.push(rate);
                yields.push(50.0 + 20.0 * (2.0 * share - share * share) + rng.random_range(-9.0..9.0_f64));
                blocks.push(block);
            }
        }
        Observations::new(&rates, &yields, Some(&blocks)).unwrap()
    }

    #[test]
    fn a_family_refitted_to_other_yields_is_that_fitted_to_them() {
        for family in Family::ALL {
            for design in [0, 1] {
                let first = plots(design);
                let mut refit = Refit::new(&first, family);
                for index in (0..60).map(|step| 2 * step + design) {
                    let other = plots(index);
                    let mut z = Vec::new();
                    first.project(other.centred(), &mut z);
                    let again = refit.curve(&z, other.mean_of_groups());
                    match (again, other.fit(family).curve()) {
                        (Some(again), Some(curve)) => {
                            assert_eq!(again.reach, curve.reach, "{family} {index}");
                            for rate in [0.0, 45.0, 100.0, 180.0] {
                                // The join of an unpolished search is right to half of all digits where the profile is flat.
                                assert_relative_eq!(again.value(rate), curve.value(rate), max_relative = 1e-6);
                            }
                        }
                        (None, None) => {}
                        (again, curve) => panic!("{family} {index}: {again:?} {curve:?}"),
                    }
                }
            }
        }
    }
}
