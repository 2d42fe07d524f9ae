//! Part A of the oracle: standard errors, Wald intervals and Fieller's sets of all 41 cases, computed in R from σ²(J'J)⁻¹.
//!
//! Deliberate differences of convention, each applied where it is compared:
//! - where the linear-plateau joins at a tested rate the oracle's `se` counts the plots there as on the slope and its
//!   `se_right_convention` as on the plateau: both are compared, and the larger is the one reported here;
//! - the oracle prints standard errors of slope and join where every join up to the second rate fits alike: here those are not
//!   determined, the intercept and the plateau are;
//! - past the tested rates the oracle's formulas go on: they are compared with `wald` and `fieller`, which do the same.

use crate::oracle_curves::{CLOSED_FORM, Case, LEVEL, SEARCHED, cases, close, noiseless, number, same};
use serde_json::Value;
use std::collections::BTreeMap;
use stook::response::{Curve, Family, IntervalMethod, Quantity, Reach};
use stook::stats::interval::{Interval, Limits};

/// An interval's ends against an estimate and a standard error that agree to `tolerance`: ends near zero lose digits to their
/// difference, so they are compared on the scale of the estimate and the width.
#[track_caller]
fn same_wald(what: &str, ours: &Interval, lower: &Value, upper: &Value, tolerance: f64) {
    let (Some(lower), Some(upper)) = (number(lower), number(upper)) else {
        panic!("{what}: {ours:?} here, nothing in the oracle")
    };
    let (low, high) = (ours.low.unwrap(), ours.high.unwrap());
    let scale = lower.abs().max(upper.abs());
    assert!((low - lower).abs() <= tolerance * scale, "{what} low: {low} here, {lower} in the oracle");
    assert!((high - upper).abs() <= tolerance * scale, "{what} high: {high} here, {upper} in the oracle");
    assert_eq!((ours.limits, ours.method.as_str(), ours.level), (Limits::Both, "wald", LEVEL), "{what}");
}

struct Compared<'a> {
    case: &'a Case,
    curve: Curve,
    theirs: &'a Value,
    tolerance: f64,
}

/// The curves of a family that the oracle has standard errors of, where ours is the same curve with noise.
fn compared<'a>(cases: &'a [Case], family: Family, key: &str) -> Vec<Compared<'a>> {
    let plateau = matches!(family, Family::LinearPlateau | Family::QuadraticPlateau | Family::ExponentialRise);
    let searched = matches!(family, Family::QuadraticPlateau | Family::ExponentialRise);
    let tolerance = if searched { SEARCHED } else { CLOSED_FORM };
    let of = |case: &'a Case| {
        let theirs = &case.expected[key];
        let theirs = if plateau { &theirs["increasing"] } else { theirs };
        let curve = case.observations.fit(family).curve()?.clone();
        (!noiseless(&curve)).then_some(Compared { case, curve, theirs, tolerance })
    };
    cases.iter().filter_map(of).collect()
}

impl Compared<'_> {
    fn what(&self, field: &str) -> String {
        format!("{} {} {field}", self.case.name, self.curve.family)
    }

    fn wald(&self, quantity: Quantity) -> Interval {
        self.case.observations.wald(&self.curve, quantity, LEVEL)
    }

    /// A coefficient's standard error and Wald limits.
    fn coefficient(&self, key: &str, ours: Option<f64>, quantity: Quantity) {
        let theirs = self.theirs;
        same(&self.what(&format!("se of {key}")), ours, &theirs["se"][key], self.tolerance);
        let what = self.what(&format!("Wald interval of {key}"));
        same_wald(&what, &self.wald(quantity), &theirs["wald_lower"][key], &theirs["wald_upper"][key], self.tolerance);
    }

    /// A derived quantity, as the formula gives it.
    fn derived(&self, quantity: Quantity, theirs: &Value, name: &str) -> bool {
        if number(&theirs["se"]).is_none() {
            return false;
        }
        let what = self.what(name);
        same_wald(&what, &self.wald(quantity), &theirs["lower"], &theirs["upper"], self.tolerance);
        true
    }
}

#[test]
fn standard_errors_of_lines_and_parabolas_agree_with_the_oracle() {
    let (cases, mut compared_curves) = (cases(), 0);
    for family in [Family::Linear, Family::Quadratic] {
        for compared in compared(&cases, family, family.name()) {
            let errors = compared.case.observations.standard_errors(&compared.curve);
            if compared.theirs["se"].is_null() {
                assert_eq!(errors, Default::default(), "{}", compared.what("se"));
                continue;
            }
            compared.coefficient("a", errors.intercept, Quantity::Intercept);
            compared.coefficient("b", errors.slope, Quantity::Slope);
            if family == Family::Quadratic {
                compared.coefficient("c", errors.curvature, Quantity::Curvature);
                let vertex = Quantity::Optimum { slope_ratio: 0.0 };
                assert!(compared.derived(vertex, &compared.theirs["vertex_wald"], "vertex"));
                for (ratio, economics) in compared.case.ratios.iter().zip(compared.theirs["econ"].as_array().unwrap()) {
                    let optimum = Quantity::Optimum { slope_ratio: *ratio };
                    assert!(compared.derived(optimum, &economics["wald"], &format!("optimum at {ratio}")));
                }
            }
            assert_eq!((errors.plateau, errors.join, errors.by_side), (None, None, None));
            compared_curves += 1;
        }
    }
    assert!(compared_curves >= 77, "{compared_curves}");
}

#[test]
fn standard_errors_of_the_square_root_agree_with_the_oracle() {
    let (cases, mut curves) = (cases(), 0);
    for compared in compared(&cases, Family::SquareRoot, "sqrt") {
        let errors = compared.case.observations.standard_errors(&compared.curve);
        if compared.theirs["se"].is_null() {
            assert_eq!(errors, Default::default(), "{}", compared.what("se"));
            continue;
        }
        compared.coefficient("a", errors.intercept, Quantity::Intercept);
        // There b is the factor of N and c that of √N.
        compared.coefficient("b", errors.slope, Quantity::Slope);
        compared.coefficient("c", errors.root, Quantity::Root);
        curves += 1;
    }
    assert!(curves >= 38, "{curves}");
}

#[test]
fn standard_errors_of_the_exponential_agree_with_the_oracle() {
    let (cases, mut curves, mut optima) = (cases(), 0, 0);
    for compared in compared(&cases, Family::ExponentialRise, "exponential") {
        let (observations, curve) = (&compared.case.observations, &compared.curve);
        let errors = observations.standard_errors(curve);
        if compared.theirs["se"].is_null() {
            // A step or a line is the limit of the family, where the rate constant is none.
            assert!(curve.df == 0 || curve.reach != Some(Reach::WithinTestedRates), "{}", compared.what("se"));
            assert_eq!(errors.rate_constant, None);
            continue;
        }
        compared.coefficient("B", errors.rise, Quantity::Rise);
        compared.coefficient("k", errors.rate_constant, Quantity::RateConstant);
        // f(0) is A − B there.
        let covariance = |i: usize, j: usize| compared.theirs["vcov"][i][j].as_f64().unwrap();
        let at_zero = (covariance(0, 0) + covariance(1, 1) - 2.0 * covariance(0, 1)).sqrt();
        close(&compared.what("se of f(0)"), errors.intercept.unwrap(), at_zero, SEARCHED);
        let plateau = compared.wald(Quantity::Plateau);
        let (lower, upper) = (&compared.theirs["wald_lower"]["A"], &compared.theirs["wald_upper"]["A"]);
        same_wald(&compared.what("Wald interval of A"), &plateau, lower, upper, SEARCHED);
        for (ratio, economics) in compared.case.ratios.iter().zip(compared.theirs["econ"].as_array().unwrap()) {
            let optimum = Quantity::Optimum { slope_ratio: *ratio };
            optima += usize::from(compared.derived(optimum, &economics["wald"], &format!("optimum at {ratio}")));
        }
        curves += 1;
    }
    assert!(curves >= 34 && optima >= 68, "{curves} {optima}");
}

#[test]
fn standard_errors_of_the_quadratic_plateau_agree_with_the_oracle() {
    let (cases, mut curves, mut optima) = (cases(), 0, 0);
    for compared in compared(&cases, Family::QuadraticPlateau, "qp") {
        let (observations, curve) = (&compared.case.observations, &compared.curve);
        let errors = observations.standard_errors(curve);
        if compared.theirs["se"].is_null() {
            // Not one of these has its join where joins are told apart.
            assert!(curve.df == 0 || curve.reach == Some(Reach::BeforeFirstRate), "{}", compared.what("se"));
            assert_eq!((errors.slope, errors.join, errors.aonr), (None, None, None));
            continue;
        }
        compared.coefficient("a", errors.intercept, Quantity::Intercept);
        compared.coefficient("b", errors.slope, Quantity::Slope);
        compared.coefficient("c", errors.curvature, Quantity::Curvature);
        assert!(compared.derived(Quantity::Join, &compared.theirs["x0_wald"], "join"));
        assert!(compared.derived(Quantity::Plateau, &compared.theirs["plateau_wald"], "plateau"));
        let reached = curve.reach == Some(Reach::WithinTestedRates);
        same(&compared.what("se of the join"), errors.join, &theirs_if(reached, &compared.theirs["x0_wald"]), SEARCHED);
        same(
            &compared.what("se of the plateau"),
            errors.plateau,
            &theirs_if(reached, &compared.theirs["plateau_wald"]),
            SEARCHED,
        );
        same(&compared.what("se of the AONR"), errors.aonr, &theirs_if(reached, &compared.theirs["x0_wald"]), SEARCHED);
        for (ratio, economics) in compared.case.ratios.iter().zip(compared.theirs["econ"].as_array().unwrap()) {
            let optimum = Quantity::Optimum { slope_ratio: *ratio };
            optima += usize::from(compared.derived(optimum, &economics["wald"], &format!("optimum at {ratio}")));
        }
        curves += 1;
    }
    assert!(curves >= 34 && optima >= 102, "{curves} {optima}");
}

fn theirs_if(reported: bool, wald: &Value) -> Value {
    if reported { wald["se"].clone() } else { Value::Null }
}

#[test]
fn standard_errors_of_the_linear_plateau_agree_with_the_oracle_from_both_sides() {
    let (cases, mut within, mut kinks, mut early) = (cases(), 0, 0, 0);
    for compared in compared(&cases, Family::LinearPlateau, "lp") {
        let (observations, curve, theirs) = (&compared.case.observations, &compared.curve, compared.theirs);
        let errors = observations.standard_errors(curve);
        if theirs["se"].is_null() || theirs["no_response"] == true {
            assert_eq!(curve.df, 0, "{}", compared.what("se"));
            continue;
        }
        match (curve.reach.unwrap(), &errors.by_side) {
            (Reach::WithinTestedRates, None) => {
                compared.coefficient("a", errors.intercept, Quantity::Intercept);
                compared.coefficient("b", errors.slope, Quantity::Slope);
                compared.coefficient("x0", errors.join, Quantity::Join);
                assert!(compared.derived(Quantity::Plateau, &theirs["plateau_wald"], "plateau"));
                within += 1;
            }
            (Reach::WithinTestedRates, Some(sides)) => {
                for (side, key) in sides.iter().zip(["se", "se_right_convention"]) {
                    let of = |name: &str| &theirs[key][name];
                    same(&compared.what("a at a kink"), side.intercept, of("a"), CLOSED_FORM);
                    same(&compared.what("b at a kink"), side.slope, of("b"), CLOSED_FORM);
                    same(&compared.what("join at a kink"), side.join, of("x0"), CLOSED_FORM);
                }
                same(&compared.what("plateau"), sides[0].plateau, &theirs["plateau_wald"]["se"], CLOSED_FORM);
                let larger =
                    |of: fn(&stook::response::StandardErrors) -> Option<f64>| of(&sides[0]).max_of(of(&sides[1]));
                assert_eq!(errors.join, larger(|side| side.join));
                assert_eq!(errors.slope, larger(|side| side.slope));
                assert_eq!(errors.plateau, larger(|side| side.plateau));
                kinks += 1;
            }
            (Reach::BeforeFirstRate, sides) => {
                assert_eq!((errors.slope, errors.join, errors.aonr), (None, None, None));
                same(
                    &compared.what("intercept"),
                    sides.as_ref().unwrap()[0].intercept,
                    &theirs["se"]["a"],
                    CLOSED_FORM,
                );
                same(&compared.what("intercept"), errors.intercept, &theirs["se"]["a"], CLOSED_FORM);
                same(&compared.what("plateau"), errors.plateau, &theirs["plateau_wald"]["se"], CLOSED_FORM);
                early += 1;
            }
            (Reach::NotReached, _) => panic!("{} is a line here", compared.what("")),
        }
    }
    assert!(within >= 33 && kinks == 2 && early == 2, "{within} {kinks} {early}");
}

trait MaxOf {
    fn max_of(self, other: Self) -> Self;
}

impl MaxOf for Option<f64> {
    fn max_of(self, other: Self) -> Self {
        Some(self?.max(other?))
    }
}

#[test]
fn fiellers_sets_agree_with_the_oracle_in_all_three_kinds() {
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for case in cases() {
        let fit = case.observations.fit(Family::Quadratic);
        let curve = fit.curve().unwrap();
        for (ratio, economics) in case.ratios.iter().zip(case.expected["quadratic"]["econ"].as_array().unwrap()) {
            let theirs = &economics["fieller"];
            let ours = case.observations.fieller(curve, *ratio, LEVEL);
            let what = format!("{} at {ratio}: {ours:?} here, {theirs} in the oracle", case.name);
            let Some(kind) = theirs["type"].as_str().filter(|_| !noiseless(curve)) else {
                assert_eq!(ours.limits, Limits::NotComputed, "{what}");
                assert!(ours.reason.is_some(), "{what}");
                continue;
            };
            let (lower, upper) = (number(&theirs["lower"]).unwrap(), number(&theirs["upper"]).unwrap());
            match kind {
                "bounded" => {
                    assert_eq!(ours.limits, Limits::Both, "{what}");
                    close(&what, ours.low.unwrap(), lower, CLOSED_FORM);
                    close(&what, ours.high.unwrap(), upper, CLOSED_FORM);
                }
                "complement_of_interval" => {
                    assert_eq!(ours.limits, Limits::Disjoint, "{what}");
                    let [[None, Some(below)], [Some(above), None]] = ours.segments[..] else { panic!("{what}") };
                    close(&what, below, lower, CLOSED_FORM);
                    close(&what, above, upper, CLOSED_FORM);
                }
                "whole_line" => assert_eq!(ours.limits, Limits::Open, "{what}"),
                other => panic!("{other} is no kind of Fieller's set"),
            }
            *kinds.entry(kind.to_owned()).or_default() += 1;
        }
    }
    println!("{kinds:?}");
    assert!(kinds["bounded"] == 84 && kinds["complement_of_interval"] == 32 && kinds["whole_line"] == 7, "{kinds:?}");
}

#[test]
fn what_a_method_cannot_give_is_refused_with_a_reason_and_no_other_method() {
    let mut refused = 0;
    for case in cases() {
        for family in Family::ALL {
            let fit = case.observations.fit(family);
            let Some(curve) = fit.curve() else { continue };
            for method in [IntervalMethod::Profile, IntervalMethod::Wald, IntervalMethod::Fieller] {
                let optimum = case.observations.optimum_by(curve, 0.1, method, LEVEL).interval;
                let aonr = case.observations.agronomic_optimum_by(curve, method, LEVEL);
                let join = case.observations.join_by(curve, method, LEVEL);
                let plateau = case.observations.plateau_by(curve, method, LEVEL);
                for interval in [optimum, aonr, join, plateau] {
                    assert_eq!(interval.method, method.name());
                    assert_eq!(interval.limits == Limits::NotComputed, interval.reason.is_some(), "{interval:?}");
                    refused += usize::from(interval.reason.is_some());
                }
            }
        }
    }
    assert!(refused > 0);
}
