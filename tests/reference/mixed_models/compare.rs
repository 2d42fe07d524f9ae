//! How near to R, and comparisons with what its tables hold.

use std::fs;

use approx::assert_relative_eq;
use serde_json::Value;
use stook::stats::mixed_model::{DegreesOfFreedom, FTest, Likelihood, MixedModel, fit};

use super::cases::{Case, unit};
use crate::data::beside;

use DegreesOfFreedom::{KenwardRoger, Satterthwaite};

/// log-likelihoods: flat at the optimum, so that wherever a search stops they agree.
pub const LOG_LIKELIHOOD: f64 = 1e-12;
/// What rests on variances where lme4's own optimiser stopped: it stops at six or seven digits of them.
pub const SEARCHED: f64 = 2e-6;
/// As [`SEARCHED`] for strongly correlated random coefficients, where it stops earlier: its criterion is higher there, as tested.
pub const STOPPED_EARLY: f64 = 3e-5;
/// What rests on an optimum that Newton's method polished, with derivatives by differences.
pub const POLISHED: f64 = 5e-8;
/// Satterthwaite's degrees of freedom there: lmerTest takes its second derivatives by differences.
pub const BY_DIFFERENCES: f64 = 1e-6;
/// Far in the tail a p-value multiplies the relative error of F by half the degrees of freedom.
pub const TAIL: f64 = 3e-5;
/// lme4 interpolates its profile between a few dozen points.
pub const INTERPOLATED: f64 = 2e-4;
/// The restricted profile of the script: each point searched by a quasi-Newton method without derivatives.
pub const PROFILED: f64 = 1e-8;
/// nlme's variances where its optimiser stopped.
pub const VAR_IDENT: f64 = 1e-4;
/// Closed forms that REML equals in balanced data.
pub const BALANCED: f64 = 1e-10;

pub fn oracle(name: &str) -> Value {
    let text = fs::read_to_string(beside(name)).expect("the oracle's results");
    serde_json::from_str(&text).expect("JSON")
}

pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number: {value}"))
}

pub fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

/// A vector; the script writes one of a single number as that number.
pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().map_or_else(|| vec![number(value)], |values| values.iter().map(number).collect())
}

pub fn assert_test(found: Option<FTest>, row: &Value, digits: f64) {
    let found = found.expect("a test");
    assert_relative_eq!(found.f, number(&row["F value"]), max_relative = digits);
    assert_eq!(found.df1, number(&row["NumDF"]));
    assert_relative_eq!(found.df2, number(&row["DenDF"]), max_relative = digits);
    let relative = digits.max(TAIL * digits / SEARCHED);
    assert_relative_eq!(found.p, number(&row["Pr(>F)"]), max_relative = relative, epsilon = 1e-30);
}

pub fn assert_coefficients(model: &MixedModel, method: DegreesOfFreedom, rows: &Value, digits: f64) {
    let count = model.coefficients.len();
    for (i, row) in list(rows).iter().enumerate() {
        let found = model.contrast(&unit(count, i), method).expect("estimable");
        assert_relative_eq!(found.estimate, number(&row["Estimate"]), max_relative = digits, epsilon = 1e-10);
        assert_relative_eq!(found.standard_error, number(&row["Std. Error"]), max_relative = digits);
        assert_relative_eq!(found.df, number(&row["df"]), max_relative = digits);
    }
}

pub fn assert_variances(model: &MixedModel, rows: &Value, digits: f64) {
    for row in list(rows) {
        let (group, wanted) = (row["grp"].as_str().unwrap(), number(&row["vcov"]));
        if group == "Residual" {
            assert_relative_eq!(model.residual[0].variance, wanted, max_relative = digits);
            continue;
        }
        let place = |name: &Value| match name.as_str() {
            Some("x" | "Days") => 1,
            Some("I(x^2)") => 2,
            _ => 0,
        };
        // Uncorrelated coefficients are terms of their own in lme4: site, site.1, site.2.
        let name = group.split('.').next().unwrap();
        let of = model.components.iter().find(|term| term.name == name).unwrap_or_else(|| panic!("{group}"));
        let i = place(&row["var1"]);
        let j = if row["var2"].is_null() { i } else { place(&row["var2"]) };
        let size = (of.covariance[i][i] * of.covariance[j][j]).sqrt();
        assert_relative_eq!(of.covariance[i][j], wanted, max_relative = digits, epsilon = digits * size + 1e-12);
    }
}

pub fn assert_matrix(found: &[Vec<f64>], wanted: &Value, digits: f64) {
    for (found, wanted) in found.iter().zip(list(wanted)) {
        for (found, wanted) in found.iter().zip(numbers(wanted)) {
            assert_relative_eq!(*found, wanted, max_relative = digits, epsilon = digits * 1e-3);
        }
    }
}

/// Everything that `summary_of` in the script wrote.
pub fn assert_summary(
    case: &Case,
    likelihood: Likelihood,
    wanted: &Value,
    level_names: &[(&str, Vec<String>)],
    digits: f64,
) {
    let model = fit(&case.data, likelihood).unwrap();
    assert!(model.converged);
    assert_relative_eq!(model.log_likelihood, number(&wanted["log_likelihood"]), max_relative = LOG_LIKELIHOOD);
    assert_relative_eq!(model.aic(), number(&wanted["aic"]), max_relative = LOG_LIKELIHOOD);
    assert_relative_eq!(model.bic(), number(&wanted["bic"]), max_relative = LOG_LIKELIHOOD);
    assert_variances(&model, &wanted["varcomp"], digits);
    assert_matrix(&model.covariance(), &wanted["vcov"], digits);
    for (found, wanted) in model.conditional_fitted().iter().zip(numbers(&wanted["fitted"])) {
        assert_relative_eq!(*found, wanted, max_relative = digits);
    }
    for (found, wanted) in model.coefficients.iter().zip(numbers(&wanted["fixef"])) {
        assert_relative_eq!(found.unwrap(), wanted, max_relative = digits);
    }
    if !wanted["coef_satterthwaite"].is_null() {
        assert_coefficients(&model, Satterthwaite, &wanted["coef_satterthwaite"], BY_DIFFERENCES);
        assert_coefficients(&model, KenwardRoger, &wanted["coef_kenward_roger"], digits);
        for (i, range) in case.terms.iter().enumerate() {
            let rows = model.sequential(range.clone());
            assert_test(model.f_test(&rows, Satterthwaite), &wanted["satterthwaite"][i], BY_DIFFERENCES);
            assert_test(model.f_test(&rows, KenwardRoger), &wanted["kenward_roger"][i], digits);
        }
    }
    for effect in model.random_effects() {
        let Some((_, names)) = level_names.iter().find(|(term, _)| *term == effect.term) else { continue };
        for (column, name) in ["(Intercept)", "x", "I(x^2)"].iter().enumerate().take(effect.values.len()) {
            let slope = if column == 1 { "Days" } else { name };
            let is_it = |row: &&Value| {
                let term = row["term"].as_str();
                row["group"] == effect.term.as_str()
                    && row["level"] == names[effect.level].as_str()
                    && (term == Some(name) || term == Some(slope))
            };
            let row = list(&wanted["random_effects"]).iter().find(is_it).expect("the level");
            assert_relative_eq!(effect.values[column], number(&row["value"]), max_relative = digits, epsilon = digits);
            let deviation = number(&row["sd"]);
            assert_relative_eq!(
                effect.conditional_deviations[column],
                deviation,
                max_relative = digits,
                epsilon = 1e-6
            );
            assert!(effect.prediction_errors[column] >= effect.conditional_deviations[column]);
        }
    }
}
