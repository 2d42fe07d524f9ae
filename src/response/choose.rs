//! Which family to report, how much each is worth, and what they say together.

use super::curve::{Curve, Fit};
use super::family::Family;
use super::optimum::{Optimum, OptimumStatus};
use crate::stats::interval::{Interval, Limits};
use schemars::JsonSchema;
use serde::Serialize;

/// Two criteria are the same if they differ by less than this, relatively: only rounding separates them.
const SAME_CRITERION: f64 = 1e-12;

/// Families whose criterion is at most this much above the smallest fit about equally well (Burnham & Anderson 2002, Model Selection and
/// Multimodel Inference, 2nd ed., section 2.6: "substantial support", from memory).
pub const ABOUT_EQUALLY_WELL: f64 = 2.0;

/// Where families with at least this share of the weight do not reach their optimum, the average is no number but a bound.
const UNREACHED_WEIGHT: f64 = 0.5;

/// A family and the criterion that chose it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// The family with the smallest criterion.
    pub family: Family,
    /// `aicc`; `bic` where AICc is undefined for any of the families; `exact-fit` for the simplest family that leaves no error.
    pub by: &'static str,
}

/// The estimated family, other than the mean, with the smallest AICc; by BIC where any of them has no AICc.
///
/// Families that fit without any error have no criterion: the simplest of them is taken, unless it has as many parameters as there are
/// observations, for then it would fit anything. All fits must be to the same observations with the same nuisance. Ties go to the
/// earlier fit. `None` where nothing was estimated or nothing is left to choose by. Whether there is a response at all is another
/// question: see [`response_test`](super::Observations::response_test); where none is detected the caller reports the mean.
pub fn choose(fits: &[Fit]) -> Option<Choice> {
    // Only a curve without error has no BIC.
    if let Some(exact) = answering(fits).filter(|curve| curve.bic.is_none()).min_by_key(|curve| curve.family.slopes()) {
        return (exact.df > 0).then_some(Choice { family: exact.family, by: "exact-fit" });
    }
    let criterion = Criterion::of(fits);
    let mut best: Option<(f64, Family)> = None;
    for curve in answering(fits) {
        let Some(found) = criterion.value(curve) else { continue };
        if best.is_none_or(|(least, _)| found < least - SAME_CRITERION * least.abs()) {
            best = Some((found, curve.family));
        }
    }
    best.map(|(_, family)| Choice { family, by: criterion.name() })
}

/// The curves that answer to the rate.
fn answering(fits: &[Fit]) -> impl Iterator<Item = &Curve> {
    fits.iter().filter_map(Fit::curve).filter(|curve| curve.family != Family::Mean)
}

/// What families are compared by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Criterion {
    Aicc,
    Bic,
}

impl Criterion {
    /// AICc where every family has one.
    fn of(fits: &[Fit]) -> Self {
        if answering(fits).all(|curve| curve.aicc.is_some()) { Self::Aicc } else { Self::Bic }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Aicc => "aicc",
            Self::Bic => "bic",
        }
    }

    fn value(self, curve: &Curve) -> Option<f64> {
        match self {
            Self::Aicc => curve.aicc,
            Self::Bic => curve.bic,
        }
    }
}

/// How much each family is worth among those that were estimated.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Weights {
    /// `aicc`, or `bic` where AICc is undefined for any of the families.
    pub by: &'static str,
    /// One entry an estimated family other than the mean, in the order of the fits.
    pub families: Vec<FamilyWeight>,
}

/// The weight of one family.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FamilyWeight {
    /// The family.
    pub family: Family,
    /// Its criterion minus the smallest.
    pub above_best: f64,
    /// exp(−above_best/2) over the sum of the same; weights sum to 1.
    pub weight: f64,
}

impl Weights {
    /// The weight of a family, if it was estimated.
    pub fn of(&self, family: Family) -> Option<f64> {
        self.families.iter().find(|one| one.family == family).map(|one| one.weight)
    }
}

/// Akaike weights of the estimated families other than the mean, by the criterion that [`choose`] takes (Burnham & Anderson 2002, section
/// 2.9, from memory).
///
/// All fits must be to the same observations with the same nuisance. `None` where nothing was estimated, or where a family fits without
/// error and has no criterion. A plateau family whose join is not reached is its own parabola or line inside the tested rates and is
/// weighed beside it, as its parameters say.
pub fn weights(fits: &[Fit]) -> Option<Weights> {
    let criterion = Criterion::of(fits);
    let mut families = Vec::new();
    for curve in answering(fits) {
        families.push(FamilyWeight { family: curve.family, above_best: criterion.value(curve)?, weight: 0.0 });
    }
    let least = families.iter().map(|one| one.above_best).reduce(f64::min)?;
    for one in &mut families {
        one.above_best -= least;
        one.weight = (-0.5 * one.above_best).exp();
    }
    let sum: f64 = families.iter().map(|one| one.weight).sum();
    families.iter_mut().for_each(|one| one.weight /= sum);
    Some(Weights { by: criterion.name(), families })
}

/// The mean of values by their weights; `None` where weights sum to nothing.
pub fn average(weighted: impl IntoIterator<Item = (f64, f64)>) -> Option<f64> {
    let add = |(sum, all): (f64, f64), (weight, value): (f64, f64)| (sum + weight * value, all + weight);
    let (sum, all) = weighted.into_iter().fold((0.0, 0.0), add);
    (all > 0.0).then(|| sum / all)
}

/// The optimum averaged over families by their weights.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AveragedOptimum {
    /// Σ weight × rate, in the rate unit, each rate within the tested range: an optimum that is not reached counts as the highest tested
    /// rate, nothing that pays as 0, a bound as the bound.
    pub rate: f64,
    /// `at-highest-tested-rate` (the rate is a lower bound) where families with at least half of the weight do not reach their optimum;
    /// `before-first-rate` (an upper bound) where as much says no more than that; `at-zero` where it is 0; else `interior`.
    pub status: OptimumStatus,
    /// The weight of families whose optimum is not reached within the tested rates: so much of the average is a lower bound.
    pub unreached_weight: f64,
    /// What families are weighed by.
    pub weighted_by: &'static str,
    /// An interval that includes the choice: from resampling, families weighed anew in every replicate, where a bootstrap was asked for; else
    /// what the families that fit nearly as well as the best [span](spanned). `None` where none has an interval.
    pub interval: Option<Interval>,
}

/// Averages the optima of families by their weights; those without a rate or a weight are passed over, and the others share all weight.
///
/// `None` where none is left. Calls for no more than one optimum a family, in any order.
pub fn averaged_optimum(weights: &Weights, optima: &[Optimum]) -> Option<AveragedOptimum> {
    let entry = |optimum: &Optimum| Some((weights.of(optimum.family)?, optimum.rate?, optimum.status));
    let entries = || optima.iter().filter_map(entry);
    let rate = average(entries().map(|(weight, rate, _)| (weight, rate)))?;
    let share = |wanted: OptimumStatus| {
        average(entries().map(|(weight, _, status)| (weight, if status == wanted { 1.0 } else { 0.0 }))).unwrap_or(0.0)
    };
    let unreached_weight = share(OptimumStatus::AtHighestTestedRate);
    let status = if unreached_weight >= UNREACHED_WEIGHT {
        OptimumStatus::AtHighestTestedRate
    } else if share(OptimumStatus::BeforeFirstRate) >= UNREACHED_WEIGHT {
        OptimumStatus::BeforeFirstRate
    } else if rate == 0.0 {
        OptimumStatus::AtZero
    } else {
        OptimumStatus::Interior
    };
    Some(AveragedOptimum { rate, status, unreached_weight, weighted_by: weights.by, interval: None })
}

/// Families within this much of the smallest criterion span the interval that includes the choice. In the simulation of `reports/coverage` it then
/// held 95.5 % on average where the truth was in one of the families, against 92.8 within 2, 97.1 within 7 and 82.9 for the chosen alone.
pub const NEARLY_AS_WELL: f64 = 4.0;

/// What the intervals of families span whose criterion is within [`NEARLY_AS_WELL`] of the smallest: from the lowest to the highest limit, open where
/// one of them is. `None` where no family has a weight and an interval.
///
/// The optimum of a chosen family has an interval given that family, which says nothing of the others that the plots can't tell from it.
pub fn spanned(weights: &Weights, optima: &[Optimum]) -> Option<Interval> {
    let entry = |optimum: &Optimum| {
        let one = weights.families.iter().find(|one| one.family == optimum.family)?;
        (optimum.interval.limits != Limits::NotComputed).then(|| (one.above_best, optimum.interval.clone()))
    };
    let all: Vec<(f64, Interval)> = optima.iter().filter_map(entry).collect();
    let least = all.iter().map(|(above, _)| *above).reduce(f64::min)?;
    let close = || all.iter().filter(|(above, _)| above - least <= NEARLY_AS_WELL).map(|(_, interval)| interval);
    let low = close().map(|interval| interval.low).reduce(|one, other| Some(one?.min(other?)))?;
    let high = close().map(|interval| interval.high).reduce(|one, other| Some(one?.max(other?)))?;
    let level = close().map(|interval| interval.level).next()?;
    Some(Interval::between(None, low, high, level, SPANNED))
}

/// The method of [`spanned`].
const SPANNED: &str = "families-nearly-as-good";

/// How far families that fit about equally well disagree on the optimum.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Disagreement {
    /// What families are compared by.
    pub by: &'static str,
    /// Families within this much of the smallest criterion fit about equally well.
    pub within: f64,
    /// Those families, the best first.
    pub families: Vec<Family>,
    /// The lowest of their optima.
    pub lowest: FamilyOptimum,
    /// The highest of their optima.
    pub highest: FamilyOptimum,
    /// Highest minus lowest, in the rate unit: at least so much where the highest is not reached within the tested rates.
    pub by_how_much: f64,
}

/// The optimum that a family says.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FamilyOptimum {
    /// The family.
    pub family: Family,
    /// Its optimum within the tested range, in the rate unit.
    pub rate: f64,
    /// What kind of rate it is.
    pub status: OptimumStatus,
}

/// How far the families within [`ABOUT_EQUALLY_WELL`] of the smallest criterion disagree on the optimum. Only families that have both a
/// weight and an optimum in `optima` take part, and the smallest criterion is that among them.
///
/// `None` where fewer than two families fit about equally well: then nothing disagrees with the best.
pub fn disagreement(weights: &Weights, optima: &[Optimum]) -> Option<Disagreement> {
    let found = |family: Family| optima.iter().find(|optimum| optimum.family == family);
    let mut close: Vec<(f64, FamilyOptimum)> = Vec::new();
    for one in &weights.families {
        if let Some((optimum, rate)) = found(one.family).and_then(|optimum| Some((optimum, optimum.rate?))) {
            close.push((one.above_best, FamilyOptimum { family: one.family, rate, status: optimum.status }));
        }
    }
    close.sort_by(|a, b| a.0.total_cmp(&b.0));
    let least = close.first()?.0;
    close.retain(|(above, _)| above - least <= ABOUT_EQUALLY_WELL);
    if close.len() < 2 {
        return None;
    }
    let optima = || close.iter().map(|(_, optimum)| *optimum);
    let lowest = optima().reduce(|low, next| if next.rate < low.rate { next } else { low })?;
    let highest = optima().reduce(|high, next| if next.rate > high.rate { next } else { high })?;
    Some(Disagreement {
        by: weights.by,
        within: ABOUT_EQUALLY_WELL,
        families: optima().map(|optimum| optimum.family).collect(),
        lowest,
        highest,
        by_how_much: highest.rate - lowest.rate,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::{Observations, made_up};
    use approx::assert_relative_eq;

    fn fits(observations: &Observations) -> Vec<Fit> {
        Family::ALL.iter().map(|family| observations.fit(*family)).collect()
    }

    #[test]
    fn weights_sum_to_one_and_the_chosen_family_has_the_largest() {
        let fits = fits(&made_up::observations());
        let weights = weights(&fits).unwrap();
        assert_relative_eq!(weights.families.iter().map(|one| one.weight).sum::<f64>(), 1.0, max_relative = 1e-12);
        let chosen = choose(&fits).unwrap();
        assert!(weights.families.iter().all(|one| one.weight <= weights.of(chosen.family).unwrap()));
        assert_eq!((weights.by, weights.of(Family::Mean)), ("aicc", None));
        // A family that is 2 units worse has exp(−1) of the weight.
        for one in &weights.families {
            let best = weights.of(chosen.family).unwrap();
            assert_relative_eq!(one.weight / best, (-0.5 * one.above_best).exp(), max_relative = 1e-12);
        }
    }

    #[test]
    fn families_without_error_have_no_weights() {
        let rates = [0.0, 50.0, 100.0, 150.0, 200.0];
        let yields = rates.map(|rate: f64| 40.0 + 0.5 * rate.min(110.0));
        let fits = fits(&Observations::new(&rates, &yields, None).unwrap());
        assert_eq!(choose(&fits).map(|choice| choice.by), Some("exact-fit"));
        assert_eq!(weights(&fits), None);
    }

    fn optimum(family: Family, rate: f64, status: OptimumStatus) -> Optimum {
        Optimum { rate: Some(rate), status, ..Optimum::not_estimable(family, 0.95) }
    }

    fn weighed(families: &[(Family, f64)]) -> Weights {
        let sum: f64 = families.iter().map(|(_, above)| (-0.5 * above).exp()).sum();
        let one = |(family, above): &(Family, f64)| FamilyWeight {
            family: *family,
            above_best: *above,
            weight: (-0.5 * above).exp() / sum,
        };
        Weights { by: "aicc", families: families.iter().map(one).collect() }
    }

    #[test]
    fn families_within_two_units_say_how_far_apart_their_optima_lie() {
        use Family::{LinearPlateau, Quadratic, QuadraticPlateau};
        let weights = weighed(&[(Quadratic, 1.9), (LinearPlateau, 0.0), (QuadraticPlateau, 2.1)]);
        let optima = [
            optimum(Quadratic, 118.0, OptimumStatus::Interior),
            optimum(LinearPlateau, 78.0, OptimumStatus::Interior),
            optimum(QuadraticPlateau, 10.0, OptimumStatus::Interior),
        ];
        let found = disagreement(&weights, &optima).unwrap();
        assert_eq!(found.families, [LinearPlateau, Quadratic]);
        assert_eq!((found.lowest.rate, found.highest.family, found.by_how_much), (78.0, Quadratic, 40.0));
        // Among those that have an optimum the quadratic is then the best.
        let without_best = disagreement(&weights, &[optima[0].clone(), optima[2].clone()]).unwrap();
        assert_eq!(without_best.families, [Quadratic, QuadraticPlateau]);
        assert_eq!(disagreement(&weights, &optima[..1]), None);
    }

    #[test]
    fn families_that_fit_nearly_as_well_span_an_interval_open_where_one_of_them_is() {
        use Family::{ExponentialRise, LinearPlateau, Quadratic, QuadraticPlateau};
        let weights =
            weighed(&[(LinearPlateau, 0.0), (Quadratic, 3.9), (QuadraticPlateau, 4.1), (ExponentialRise, 1.0)]);
        let with = |family: Family, low: Option<f64>, high: Option<f64>| {
            let interval = Interval::between(None, low, high, 0.95, "profile");
            Optimum { interval, ..Optimum::not_estimable(family, 0.95) }
        };
        let all = [
            with(LinearPlateau, Some(60.0), Some(90.0)),
            with(Quadratic, Some(70.0), Some(120.0)),
            with(QuadraticPlateau, Some(10.0), None),
            Optimum::not_estimable(ExponentialRise, 0.95),
        ];
        let found = spanned(&weights, &all).unwrap();
        assert_eq!((found.low, found.high, found.limits), (Some(60.0), Some(120.0), Limits::Both));
        // Without the best two the quadratic-plateau is near enough, and no limit is set above.
        let rest = spanned(&weights, &all[1..]).unwrap();
        assert_eq!((rest.low, rest.high, rest.limits), (Some(10.0), None, Limits::OpenAbove));
        assert_eq!(spanned(&weights, &all[3..]), None);
    }

    #[test]
    fn an_average_is_a_bound_where_half_of_the_weight_is() {
        use Family::{LinearPlateau, Quadratic};
        let weights = weighed(&[(Quadratic, 0.0), (LinearPlateau, 1.0)]);
        let heavy = weights.of(Quadratic).unwrap();
        let unreached = OptimumStatus::AtHighestTestedRate;
        let two = [optimum(Quadratic, 160.0, unreached), optimum(LinearPlateau, 90.0, OptimumStatus::Interior)];
        let found = averaged_optimum(&weights, &two).unwrap();
        assert_relative_eq!(found.rate, 160.0 * heavy + 90.0 * (1.0 - heavy), max_relative = 1e-12);
        assert_eq!(found.status, unreached);
        assert_relative_eq!(found.unreached_weight, heavy, max_relative = 1e-12);
        let other = [optimum(Quadratic, 120.0, OptimumStatus::Interior), optimum(LinearPlateau, 160.0, unreached)];
        assert_eq!(averaged_optimum(&weights, &other).unwrap().status, OptimumStatus::Interior);
        assert_eq!(averaged_optimum(&weights, &[]), None);
    }
}
