//! The curves of a group, the one that is chosen, and whether there is a response at all.

use crate::economics::{NearOptimum, Tolerance, near_optimum, net_return};
use crate::response::{
    Choice, Curve, DataError, Family, Fit, IntervalMethod, Observations, Optimum, OptimumStatus, RESPONSE_ALPHA,
    ResponseTest, TreatmentMean, TreatmentTest, choose,
};

use super::ResponseGroup;
use super::optimum_curve::{OptimumCurve, judged};
use crate::stats::interval::Interval;

/// What fitting is asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FitOptions {
    /// Level of every interval, 0 to 1.
    pub level: f64,
    /// Method of the intervals of join, plateau and optimum.
    pub interval: IntervalMethod,
    /// Permutations of the response test.
    pub permutations: usize,
    /// Seed of the permutations.
    pub seed: u64,
    /// The family to take; the one with the smallest AICc where `None`.
    pub family: Option<Family>,
}

/// Permutations where nothing else is asked: p is known to about ±0.01 at 0.05.
pub const PERMUTATIONS: usize = 1_999;

impl FitOptions {
    /// The level and the seed, everything else by default.
    #[must_use]
    pub fn new(level: f64, seed: u64) -> Self {
        Self { level, interval: IntervalMethod::default(), permutations: PERMUTATIONS, seed, family: None }
    }
}

/// A group with its curves, or why none can be fitted.
#[derive(Clone, Debug)]
pub struct FittedGroup {
    /// The observations.
    pub group: ResponseGroup,
    /// The curves, or what the observations lack.
    pub outcome: Result<Fitted, DataError>,
    /// The same with the yields that are left out among the observations; `None` where none is that was measured.
    pub with_excluded: Option<Box<FittedGroup>>,
}

/// The curves of a group.
#[derive(Clone, Debug)]
pub struct Fitted {
    /// The observations, reduced.
    pub observations: Observations,
    /// Treatment means.
    pub means: Vec<TreatmentMean>,
    /// Analysis of variance with the treatments as they are.
    pub analysis: TreatmentTest,
    /// The test of a response.
    pub response: ResponseTest,
    /// One fit a family, simplest first.
    pub fits: Vec<Fit>,
    /// The best family that answers to N, whether or not a response was detected; `None` where none is estimable.
    pub best: Option<Choice>,
    /// The best family that has an optimum of its own; the line where no other is estimable.
    pub best_for_optimum: Option<Choice>,
    level: f64,
    interval: IntervalMethod,
}

/// Is there a response?
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response {
    /// The test detects one.
    Detected,
    /// It does not: *not shown*, which is not *none*.
    NotDetected,
    /// It does not, and the upper limit of the gain does not pay for the N.
    Negligible,
}

impl Response {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Detected => "detected",
            Self::NotDetected => "not-detected",
            Self::Negligible => "negligible",
        }
    }
}

/// The optimum of a group at one price ratio.
#[derive(Clone, Debug)]
pub struct GroupOptimum {
    /// Price of one rate unit of N ÷ price of one yield unit.
    pub price_ratio: f64,
    /// Is there a response, and could it pay? `None` where that cannot be tested.
    pub response: Option<Response>,
    /// The optimum of the chosen family. Where a response is tested and not detected its rate is 0 (the lowest tested) with the best
    /// family's interval.
    pub optimum: Optimum,
    /// The optimum of every estimable family.
    pub by_family: Vec<Optimum>,
    /// Net return at the optimum, in yield units: yield − price ratio × rate.
    pub net_return: Option<f64>,
    /// Rates about as good as the optimum; `None` where a response is not shown.
    pub near_optimum: Option<NearOptimum>,
}

impl FittedGroup {
    /// Fits every family to the group and tests for a response.
    #[must_use]
    pub fn fit(group: ResponseGroup, options: &FitOptions) -> Self {
        let outcome = group.observations().map(|observations| {
            let fits: Vec<Fit> = Family::ALL.iter().map(|family| observations.fit(*family)).collect();
            let wanted = options
                .family
                .filter(|family| fits.iter().any(|fit| fit.curve().is_some_and(|curve| curve.family == *family)));
            let declared = wanted.map(|family| Choice { family, by: "declared" });
            let best = declared.or_else(|| choose(&fits));
            let response = observations.response_test(options.permutations, options.seed);
            let bent = families_with_optimum(&fits, is_detected(&response));
            let best_for_optimum = declared.or_else(|| choose(&bent)).or(best);
            Fitted {
                means: observations.treatment_means(),
                analysis: observations.analysis(),
                response,
                fits,
                best,
                best_for_optimum,
                level: options.level,
                interval: options.interval,
                observations,
            }
        });
        let with_excluded = group.with_excluded.as_ref().map(|group| Box::new(Self::fit((**group).clone(), options)));
        Self { group, outcome, with_excluded }
    }
}

/// The fits that an optimum may be read from.
///
/// A line puts the optimum at an end of the tested rates by its form alone: that no bend is detected is no evidence for it. A square root
/// is infinitely steep at zero and bends most where the fewest rates are: chosen by AICc it misplaces optima (see DEVELOPERS). Where no
/// response is detected, neither is a parabola that bends upward, which has no optimum inside them.
pub(super) fn families_with_optimum(fits: &[Fit], detected: bool) -> Vec<Fit> {
    let bends = |fit: &&Fit| {
        let upward = fit.curve().is_some_and(Curve::bends_upward);
        !matches!(fit.family(), Family::Linear | Family::SquareRoot) && (detected || !upward)
    };
    fits.iter().filter(bends).cloned().collect()
}

fn is_detected(response: &ResponseTest) -> bool {
    response.p.is_some_and(|p| p <= RESPONSE_ALPHA)
}

impl Fitted {
    /// The method of every interval.
    #[must_use]
    pub fn interval(&self) -> IntervalMethod {
        self.interval
    }

    /// The level of every interval.
    #[must_use]
    pub fn level(&self) -> f64 {
        self.level
    }

    /// Whether a response is detected; `None` where it cannot be tested.
    #[must_use]
    pub fn detected(&self) -> Option<bool> {
        self.response.p.map(|_| is_detected(&self.response))
    }

    /// The family that stands for the group, and what chose it: the mean where a response is tested and not detected, else the best one.
    #[must_use]
    pub fn chosen(&self) -> Option<Choice> {
        match self.detected() {
            Some(false) => Some(Choice { family: Family::Mean, by: "response-test" }),
            Some(true) | None => self.best,
        }
    }

    /// Why no family is chosen that answers to N; `None` where one is.
    #[must_use]
    pub fn why_none_chosen(&self) -> Option<&'static str> {
        let answers = |curve: &Curve| curve.family != Family::Mean;
        match self.best_for_optimum {
            Some(_) => None,
            None if self.fits.iter().filter_map(Fit::curve).any(answers) => Some(
                "families with as many parameters as there are observations fit them all without error, so nothing is left to choose \
                 one by: ask for one, or test more rates or replicates",
            ),
            None => Some("no family that answers to N is estimable"),
        }
    }

    /// The curve of a family, where it is estimable.
    #[must_use]
    pub fn curve(&self, family: Family) -> Option<&Curve> {
        self.fits.iter().filter_map(Fit::curve).find(|curve| curve.family == family)
    }

    /// The curve that the optimum is read from, whether or not a response was detected.
    #[must_use]
    pub fn optimum_curve(&self) -> Option<&Curve> {
        self.best_for_optimum.and_then(|choice| self.curve(choice.family))
    }

    /// The optimum at a price ratio, of the best family that has one, and whether there is a response. Where one is tested and not
    /// detected the rate is the lowest tested, *not shown*, with that family's interval; where it cannot be tested the optimum is the
    /// family's own. `None` where no family is chosen: see [`why_none_chosen`](Self::why_none_chosen).
    #[must_use]
    pub fn chosen_optimum(&self, price_ratio: f64) -> Option<(Option<Response>, Optimum)> {
        let curve = self.optimum_curve()?;
        let optimum = self.optimum_of(curve, price_ratio);
        let highest = match self.interval {
            IntervalMethod::Profile => optimum.interval.high,
            _ => self.observations.optimum(curve, price_ratio, self.level).interval.high,
        };
        Some(judged(curve, self.detected(), optimum, highest))
    }

    /// The curve that the optimum is read from, with its observations.
    #[must_use]
    pub fn curve_for_optimum(&self) -> Option<OptimumCurve> {
        let curve = self.optimum_curve()?.clone();
        Some(OptimumCurve { observations: self.observations.clone(), curve, detected: self.detected() })
    }

    /// The optimum at a price ratio with everything that is said of it. `None` where no family is chosen.
    #[must_use]
    pub fn optimum(&self, price_ratio: f64, tolerance: Tolerance) -> Option<GroupOptimum> {
        let (response, optimum) = self.chosen_optimum(price_ratio)?;
        let curve = self.optimum_curve()?;
        let rate = optimum.rate.filter(|_| optimum.status != OptimumStatus::NotShown);
        Some(GroupOptimum {
            price_ratio,
            response,
            by_family: self.optimum_by_family(price_ratio),
            net_return: rate.map(|rate| net_return(curve, rate, price_ratio)),
            near_optimum: rate
                .map(|rate| near_optimum(curve, rate, price_ratio, tolerance, curve.lowest_rate, curve.highest_rate)),
            optimum,
        })
    }

    /// The optimum of every estimable family that answers to N.
    #[must_use]
    pub fn optimum_by_family(&self, price_ratio: f64) -> Vec<Optimum> {
        let curves = self.fits.iter().filter_map(Fit::curve).filter(|curve| curve.family != Family::Mean);
        curves.map(|curve| self.optimum_of(curve, price_ratio)).collect()
    }

    fn optimum_of(&self, curve: &Curve, price_ratio: f64) -> Optimum {
        self.observations.optimum_by(curve, price_ratio, self.interval, self.level)
    }

    /// The interval of the join of a plateau family, in the rate unit, by the method that was asked for.
    #[must_use]
    pub fn join(&self, curve: &Curve) -> Interval {
        self.observations.join_by(curve, self.interval, self.level)
    }

    /// The interval of the plateau of a plateau family, in yield units, by the method that was asked for.
    #[must_use]
    pub fn plateau(&self, curve: &Curve) -> Interval {
        self.observations.plateau_by(curve, self.interval, self.level)
    }

    /// The interval of the agronomic optimum, in the rate unit, by the method that was asked for.
    #[must_use]
    pub fn agronomic_optimum(&self, curve: &Curve) -> Interval {
        self.observations.agronomic_optimum_by(curve, self.interval, self.level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::{ErrorStratum, GroupKey};
    use crate::response::TestedBy;

    fn fit(rates: &[f64], yields: &[f64], blocks: Option<&[usize]>) -> Fitted {
        let group = ResponseGroup {
            key: GroupKey::default(),
            rates: rates.to_vec(),
            yields: yields.to_vec(),
            names: vec![String::new(); rates.len()],
            blocks: blocks.map(<[usize]>::to_vec),
            within_blocks: None,
            laid_with_n: Vec::new(),
            pooled_over: None,
            replicates: None,
            pooled_error: None,
            error_stratum: ErrorStratum::Plots,
            left_out: Vec::new(),
            rate_unit: None,
            yield_unit: None,
            with_excluded: None,
        };
        let fitted = FittedGroup::fit(group, &FitOptions { permutations: 199, ..FitOptions::new(0.95, 1) });
        fitted.outcome.expect("plots at several rates")
    }

    #[test]
    fn two_rates_in_few_blocks_are_tested_by_f() {
        // Sixteen arrangements: no permutation p is below 1/16, however clear the response. F of the means by hand: 4·30²/2 over 0.25.
        let rates = [0.0, 100.0, 0.0, 100.0, 0.0, 100.0, 0.0, 100.0];
        let yields = [40.0, 70.5, 42.0, 71.5, 41.0, 71.5, 43.0, 72.5];
        let clear = fit(&rates, &yields, Some(&[0, 0, 1, 1, 2, 2, 3, 3]));
        assert_eq!((clear.response.by, clear.response.smallest_p), (TestedBy::F, Some(0.0625)));
        assert_eq!(clear.detected(), Some(true));
        let (response, _) = clear.chosen_optimum(0.1).expect("a line");
        assert_eq!(response, Some(Response::Detected));
    }

    #[test]
    fn where_nothing_can_be_tested_the_optimum_is_the_familys_own() {
        let fitted = fit(&[0.0, 30.0, 60.0, 90.0, 120.0], &[40.0, 50.0, 58.0, 59.0, 60.5], None);
        assert_eq!((fitted.response.p, fitted.detected()), (None, None));
        assert!(fitted.response.untested.is_some());
        let (response, optimum) = fitted.chosen_optimum(0.1).expect("a family by BIC");
        assert_eq!(response, None);
        assert!(optimum.rate > Some(0.0) && optimum.status != OptimumStatus::NotShown, "{optimum:?}");
    }

    #[test]
    fn data_without_error_take_the_simplest_family_that_leaves_none() {
        // A quadratic-plateau: 40 + 0.5·N − N²/480 up to 120, the plateau 70.
        let rates = [0.0, 40.0, 80.0, 120.0, 160.0, 0.0, 40.0, 80.0, 120.0, 160.0];
        let at = |n: f64| if n < 120.0 { 40.0 + 0.5 * n - n * n / 480.0 } else { 70.0 };
        let fitted = fit(&rates, &rates.map(at), None);
        let choice = fitted.best_for_optimum.expect("a family without error");
        assert_eq!((choice.family, choice.by), (Family::QuadraticPlateau, "exact-fit"));
        // Slope 0.1 at 0.5 − N/240 = 0.1.
        let (_, optimum) = fitted.chosen_optimum(0.1).expect("a family without error");
        approx::assert_relative_eq!(optimum.rate.expect("a rate"), 96.0, max_relative = 1e-9);
        assert!(optimum.interval.reason.is_some());
    }

    #[test]
    fn saturated_families_are_not_chosen_among() {
        let fitted = fit(&[0.0, 50.0, 100.0], &[40.0, 60.0, 65.0], None);
        assert!(fitted.chosen_optimum(0.1).is_none() && fitted.chosen().is_none());
        assert!(fitted.why_none_chosen().is_some_and(|reason| reason.contains("as many parameters")));
        assert_eq!(fitted.optimum_by_family(0.1).len(), 6);
    }

    #[test]
    fn an_undetected_response_that_bends_upward_still_has_an_interval() {
        let rates = [0.0, 0.0, 0.0, 40.0, 40.0, 40.0, 80.0, 80.0, 80.0, 120.0, 120.0, 120.0];
        let yields = [61.0, 63.5, 62.1, 56.0, 57.2, 55.1, 55.4, 57.0, 56.3, 61.2, 63.0, 62.5];
        let fitted = fit(&rates, &yields, None);
        let upward = fitted.curve(Family::Quadratic).and_then(|curve| curve.coefficients.curvature);
        assert!(upward > Some(0.0) && fitted.detected() == Some(false));
        let (_, optimum) = fitted.chosen_optimum(0.1).expect("a family that may have an optimum");
        assert_eq!((optimum.rate, optimum.status), (Some(0.0), OptimumStatus::NotShown));
        assert!(!optimum.interval.segments.is_empty(), "{:?}", optimum.interval);
    }
}
