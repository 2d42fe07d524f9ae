//! Mixed models against R's lme4, lmerTest, pbkrtest and nlme.
//!
//! The scripts stand beside their results: `data/oracle/05_anova.R` (oats, randomised blocks), `data/oracle/07_multisite.R` (site-years),
//! `data/mixed/mixed.R` (optima polished by Newton's method, profiles, a residual variance a group, crossed effects, Kenward and Roger at
//! the boundary).

use std::fs;
use std::ops::Range;

use approx::assert_relative_eq;
use serde_json::Value;
use stook::stats::mixed_model::{
    DegreesOfFreedom, FTest, Likelihood, MixedData, MixedModel, RandomTerm, VarianceOf, fit,
};

use crate::data::{Table, beside};

use DegreesOfFreedom::{KenwardRoger, Satterthwaite};

/// log-likelihoods: flat at the optimum, so that wherever a search stops they agree.
const LOG_LIKELIHOOD: f64 = 1e-12;
/// What rests on variances where lme4's own optimiser stopped: it stops at six or seven digits of them.
const SEARCHED: f64 = 2e-6;
/// As [`SEARCHED`] for strongly correlated random coefficients, where it stops earlier: its criterion is higher there, as tested.
const STOPPED_EARLY: f64 = 3e-5;
/// What rests on an optimum that Newton's method polished, with derivatives by differences.
const POLISHED: f64 = 5e-8;
/// Satterthwaite's degrees of freedom there: lmerTest takes its second derivatives by differences.
const BY_DIFFERENCES: f64 = 1e-6;
/// Far in the tail a p-value multiplies the relative error of F by half the degrees of freedom.
const TAIL: f64 = 3e-5;
/// lme4 interpolates its profile between a few dozen points.
const INTERPOLATED: f64 = 2e-4;
/// The restricted profile of the script: each point searched by a quasi-Newton method without derivatives.
const PROFILED: f64 = 1e-8;
/// nlme's variances where its optimiser stopped.
const VAR_IDENT: f64 = 1e-4;
/// Closed forms that REML equals in balanced data.
const BALANCED: f64 = 1e-10;

fn oracle(name: &str) -> Value {
    let text = fs::read_to_string(beside(name)).expect("the oracle's results");
    serde_json::from_str(&text).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number: {value}"))
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

/// A vector; the script writes one of a single number as that number.
fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().map_or_else(|| vec![number(value)], |values| values.iter().map(number).collect())
}

/// A column a level but the first.
fn indicators(groups: &[usize]) -> Vec<Vec<f64>> {
    let levels = groups.iter().max().map_or(0, |largest| largest + 1);
    (1..levels).map(|level| groups.iter().map(|group| f64::from(u8::from(*group == level))).collect()).collect()
}

/// Columns of an interaction, the first factor's running fastest, as R orders them.
fn interaction(one: &[Vec<f64>], other: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let product = |a: &Vec<f64>, b: &Vec<f64>| a.iter().zip(b).map(|(x, y)| x * y).collect();
    other.iter().flat_map(|b| one.iter().map(move |a| product(a, b))).collect()
}

fn both(one: &[usize], other: &[usize]) -> Vec<usize> {
    one.iter().zip(other).map(|(a, b)| 1000 * a + b).collect()
}

fn unit(count: usize, at: usize) -> Vec<f64> {
    (0..count).map(|i| f64::from(u8::from(i == at))).collect()
}

fn term(name: &str, group_of: &[usize], columns: &[Vec<f64>], correlated: bool) -> RandomTerm {
    RandomTerm { name: name.to_owned(), group_of: group_of.to_vec(), columns: columns.to_vec(), correlated }
}

/// A model with the columns of each fixed term after the intercept.
struct Case {
    data: MixedData,
    terms: Vec<Range<usize>>,
}

impl Case {
    fn new(y: Vec<f64>, terms: &[Vec<Vec<f64>>], random: Vec<RandomTerm>) -> Self {
        let mut fixed = vec![vec![1.0; y.len()]];
        let mut ranges = Vec::new();
        for term in terms {
            ranges.push(fixed.len()..fixed.len() + term.len());
            fixed.extend(term.clone());
        }
        Self { data: MixedData { y, fixed, random, residual_group: None }, terms: ranges }
    }
}

fn oats(file: &str, model: &str) -> Case {
    let table = Table::read(&beside(file));
    let (block, variety, rate) = (table.groups("block"), table.groups("variety"), table.groups("nitrogen"));
    let x = table.numbers("nitrogen");
    let square = x.iter().map(|x| x * x).collect();
    let (v, n) = (indicators(&variety), indicators(&rate));
    let terms = match model {
        "quadratic" => vec![v, vec![x], vec![square]],
        "line" => vec![v.clone(), vec![x.clone()], interaction(&v, &[x])],
        "additive" => vec![v, n],
        _ => vec![v.clone(), n.clone(), interaction(&v, &n)],
    };
    let random =
        vec![RandomTerm::intercept("block × variety", both(&block, &variety)), RandomTerm::intercept("block", block)];
    Case::new(table.numbers("yield"), &terms, random)
}

fn randomised_blocks(name: &str) -> Case {
    let table = Table::read(&beside(&format!("oracle/{name}.csv")));
    let rates = table.numbers("rate");
    let mut known = rates.clone();
    known.sort_by(f64::total_cmp);
    known.dedup();
    let level: Vec<usize> = rates.iter().map(|rate| known.iter().position(|other| other == rate).unwrap()).collect();
    let block = RandomTerm::intercept("B", table.groups("block"));
    Case::new(table.numbers("yield"), &[indicators(&level)], vec![block])
}

fn site_years(set: &str, model: &str) -> Case {
    let table = Table::read(&beside(&format!("oracle/{set}.csv")));
    let (site, block) = (table.groups("site"), table.groups("block"));
    let x: Vec<f64> = table.numbers("rate").iter().map(|rate| rate / 100.0).collect();
    let square: Vec<f64> = x.iter().map(|x| x * x).collect();
    // Rates are 0 to 200 by 40.
    let level: Vec<usize> = x.iter().map(|x| (x * 2.5).round() as usize).collect();
    let curve = [vec![1.0; x.len()], x.clone(), square.clone()];
    let mut random = match model {
        "quadratic_random_coef" | "correlated" => vec![term("site", &site, &curve, true)],
        "quadratic_random_coef_uncorrelated" | "uncorrelated" => vec![term("site", &site, &curve, false)],
        "quadratic_random_intercept" => vec![term("site", &site, &[], false)],
        _ => vec![term("site", &site, &[], false), term("site:rf", &both(&site, &level), &[], false)],
    };
    random.push(term("sb", &both(&site, &block), &[], false));
    let terms = if model == "factor_site_random" { vec![indicators(&level)] } else { vec![vec![x], vec![square]] };
    Case::new(table.numbers("yield"), &terms, random)
}

fn assert_test(found: Option<FTest>, row: &Value, digits: f64) {
    let found = found.expect("a test");
    assert_relative_eq!(found.f, number(&row["F value"]), max_relative = digits);
    assert_eq!(found.df1, number(&row["NumDF"]));
    assert_relative_eq!(found.df2, number(&row["DenDF"]), max_relative = digits);
    let relative = digits.max(TAIL * digits / SEARCHED);
    assert_relative_eq!(found.p, number(&row["Pr(>F)"]), max_relative = relative, epsilon = 1e-30);
}

fn assert_coefficients(model: &MixedModel, method: DegreesOfFreedom, rows: &Value, digits: f64) {
    let count = model.coefficients.len();
    for (i, row) in list(rows).iter().enumerate() {
        let found = model.contrast(&unit(count, i), method).expect("estimable");
        assert_relative_eq!(found.estimate, number(&row["Estimate"]), max_relative = digits, epsilon = 1e-10);
        assert_relative_eq!(found.standard_error, number(&row["Std. Error"]), max_relative = digits);
        assert_relative_eq!(found.df, number(&row["df"]), max_relative = digits);
    }
}

fn assert_variances(model: &MixedModel, rows: &Value, digits: f64) {
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

fn assert_matrix(found: &[Vec<f64>], wanted: &Value, digits: f64) {
    for (found, wanted) in found.iter().zip(list(wanted)) {
        for (found, wanted) in found.iter().zip(numbers(wanted)) {
            assert_relative_eq!(*found, wanted, max_relative = digits, epsilon = digits * 1e-3);
        }
    }
}

#[test]
fn oats_agree_with_lme4_lmertest_and_pbkrtest() {
    let all = oracle("oracle/B_splitplot_oats.json");
    for (key, file, model) in [
        ("reml_factorial_treatment_contrasts", "oracle/oats.csv", "factorial"),
        ("reml_additive", "oracle/oats.csv", "additive"),
        ("reml_quadratic", "oracle/oats.csv", "quadratic"),
        ("unbalanced_minus6", "oracle/oats_unbalanced.csv", "factorial"),
    ] {
        let (case, wanted) = (oats(file, model), &all[key]);
        let model = fit(&case.data, Likelihood::Reml).unwrap();
        assert!(model.converged && !model.is_singular);
        assert_relative_eq!(model.log_likelihood, number(&wanted["logLik_REML"]), max_relative = LOG_LIKELIHOOD);
        let variances = [model.components[0].covariance[0][0], model.components[1].covariance[0][0]];
        for (found, name) in variances.into_iter().chain([model.residual[0].variance]).zip(["V:B", "B", "Residual"]) {
            assert_relative_eq!(found, number(&wanted["varcomp"][name]), max_relative = SEARCHED);
        }
        for (i, range) in case.terms.iter().enumerate() {
            let rows = model.sequential(range.clone());
            assert_test(model.f_test(&rows, Satterthwaite), &wanted["satterthwaite"][i], SEARCHED);
            assert_test(model.f_test(&rows, KenwardRoger), &wanted["kenward_roger"][i], SEARCHED);
        }
        assert_coefficients(&model, Satterthwaite, &wanted["coef_satterthwaite"], SEARCHED);
        assert_coefficients(&model, KenwardRoger, &wanted["coef_kr"], SEARCHED);
    }
}

#[test]
fn balanced_oats_have_the_variances_and_tests_of_the_split_plot_table() {
    let all = oracle("oracle/B_splitplot_oats.json");
    let case = oats("oracle/oats.csv", "factorial");
    let model = fit(&case.data, Likelihood::Reml).unwrap();
    let (wanted, squares) = (&all["anova_variance_components"], &all["ms"]);
    assert_relative_eq!(model.components[0].covariance[0][0], number(&wanted["BV"]), max_relative = BALANCED);
    assert_relative_eq!(model.components[1].covariance[0][0], number(&wanted["B"]), max_relative = BALANCED);
    assert_relative_eq!(model.residual[0].variance, number(&wanted["resid"]), max_relative = BALANCED);
    // Varieties on error a, the others on error b: Yates 1935, from `aov(Y ~ V * N + Error(B / V))`.
    let errors =
        [(1786.361111111111 / 2.0, 2.0, number(&squares["error_a"]), 10.0), (20020.5 / 3.0, 3.0, 7968.75 / 45.0, 45.0)];
    for (range, (square, df1, error, df2)) in case.terms.iter().zip(errors) {
        for method in [Satterthwaite, KenwardRoger] {
            let found = model.f_test(&model.sequential(range.clone()), method).unwrap();
            assert_relative_eq!(found.f, square / error, max_relative = BALANCED);
            assert_eq!(found.df1, df1);
            assert_relative_eq!(found.df2, df2, max_relative = BALANCED);
        }
    }
    // Varieties at one rate: Satterthwaite's combination of both errors.
    let variety = model.contrast(&unit(12, 1), Satterthwaite).unwrap();
    assert_relative_eq!(variety.df, number(&all["satterthwaite_df_V_within_N"]), max_relative = BALANCED);
    assert_relative_eq!(variety.standard_error, number(&all["sed"]["V_at_same_or_diff_N"]), max_relative = BALANCED);
}

#[test]
fn the_published_criterion_of_the_oats_is_that_of_a_line_for_each_variety() {
    // AIC 581.2372 by REML: `lmer(Y ~ V * x + (1 | B / V))`, x the nitrogen in cwt, 9 parameters.
    let case = oats("oracle/oats.csv", "line");
    let model = fit(&case.data, Likelihood::Reml).unwrap();
    assert_eq!((format!("{:.4}", model.aic()), model.parameters), ("581.2372".to_owned(), 9));
    let wanted = &oracle("mixed/mixed.json")["oats_line"];
    assert_relative_eq!(model.aic(), number(&wanted["aic"]), max_relative = LOG_LIKELIHOOD);
    assert_relative_eq!(model.bic(), number(&wanted["bic"]), max_relative = LOG_LIKELIHOOD);
    for (i, range) in case.terms.iter().enumerate() {
        let rows = model.sequential(range.clone());
        assert_test(model.f_test(&rows, Satterthwaite), &wanted["satterthwaite"][i], POLISHED);
        assert_test(model.f_test(&rows, KenwardRoger), &wanted["kenward_roger"][i], POLISHED);
    }
}

#[test]
fn randomised_blocks_agree_with_lme4_lmertest_and_pbkrtest() {
    let all = oracle("oracle/B_rcbd.json");
    for (name, trial) in all["trials"].as_object().unwrap() {
        let (case, wanted) = (randomised_blocks(name), &trial["random_blocks_reml"]);
        let model = fit(&case.data, Likelihood::Reml).unwrap();
        assert_relative_eq!(model.log_likelihood, number(&wanted["logLik_REML"]), max_relative = LOG_LIKELIHOOD);
        assert_eq!(model.is_singular, wanted["singular"].as_bool().unwrap());
        let block = model.components[0].covariance[0][0];
        assert_relative_eq!(block, number(&wanted["var_block"]), max_relative = SEARCHED);
        assert_relative_eq!(model.residual[0].variance, number(&wanted["var_resid"]), max_relative = SEARCHED);
        let rows = model.sequential(case.terms[0].clone());
        assert_test(model.f_test(&rows, Satterthwaite), &wanted["satterthwaite"][0], SEARCHED);
        assert_test(model.f_test(&rows, KenwardRoger), &wanted["kenward_roger"][0], SEARCHED);
    }
}

#[test]
fn site_years_agree_with_lme4_singular_fits_included() {
    let all = oracle("oracle/C_multisite.json");
    for (set, results) in all["sets"].as_object().unwrap() {
        for (name, wanted) in results["lme4"].as_object().unwrap() {
            let case = site_years(set, name);
            let digits = if name == "quadratic_random_coef" { STOPPED_EARLY } else { SEARCHED };
            let model = fit(&case.data, Likelihood::Reml).unwrap();
            assert!(model.converged, "{set} {name}");
            assert_eq!(model.is_singular, wanted["singular"].as_bool().unwrap(), "{set} {name}");
            assert_relative_eq!(model.log_likelihood, number(&wanted["logLik_REML"]), max_relative = LOG_LIKELIHOOD);
            // Never above the oracle's, but for rounding of numbers near 1 500.
            assert!(model.criterion() <= number(&wanted["reml_criterion"]) + 2e-12, "{set} {name}");
            let unrestricted = fit(&case.data, Likelihood::Ml).unwrap();
            assert_relative_eq!(
                unrestricted.log_likelihood,
                number(&wanted["ML_logLik"]),
                max_relative = LOG_LIKELIHOOD
            );
            assert_variances(&model, &wanted["varcomp"], digits);
            assert_matrix(&model.covariance(), &wanted["fixef_vcov"], digits);
            if name != "quadratic_random_coef" {
                assert_coefficients(&model, Satterthwaite, &wanted["coef_table"], digits);
            }
            for (i, range) in case.terms.iter().enumerate().filter(|_| !wanted["kenward_roger"].is_null()) {
                // lmerTest's type III of columns that are terms of their own is the coefficient itself.
                let rows: Vec<Vec<f64>> = range.clone().map(|c| unit(case.data.fixed.len(), c)).collect();
                assert_test(model.f_test(&rows, Satterthwaite), &wanted["satterthwaite"][i], digits);
                assert_test(model.f_test(&rows, KenwardRoger), &wanted["kenward_roger"][i], digits);
            }
            let effects = model.random_effects();
            for (effect, row) in effects.iter().filter(|effect| effect.term == "site").zip(list(&wanted["ranef_site"]))
            {
                for (name, column) in [("(Intercept)", 0), ("x", 1), ("I(x^2)", 2)] {
                    if let (Some(found), Some(wanted)) = (effect.values.get(column), row[name].as_f64()) {
                        // Shrunken to near zero some of them; a predicted yield has a unit of 1.
                        assert_relative_eq!(*found, wanted, max_relative = digits, epsilon = digits);
                    }
                }
            }
        }
    }
}

#[test]
fn balanced_random_curves_have_the_variances_of_the_site_years_own_curves() {
    // With one design at every site-year the generalised estimate is the mean of the site-years' own least-squares curves, and their
    // covariance matrix S is G + the error's share: for the coefficients of x and x² that is σ²(ZᵀZ)⁻¹ within blocks, σ² the mean square
    // of all plots about their site-year's curve and block. The degrees of freedom are those of S, 12 − 1.
    let case = site_years("c2_variable", "correlated");
    let model = fit(&case.data, Likelihood::Reml).unwrap();
    let (curve, site, block) = (&case.data.fixed, &case.data.random[0].group_of, &case.data.random[1].group_of);
    let mut slopes: Vec<[f64; 2]> = Vec::new();
    let (mut rss, mut share) = (0.0, [[0.0; 2]; 2]);
    for s in 0..12 {
        let plots: Vec<usize> = (0..site.len()).filter(|i| site[*i] == s).collect();
        let within = |column: &[f64]| -> Vec<f64> {
            let mean = |b: usize| {
                let of_block: Vec<f64> = plots.iter().filter(|i| block[**i] == b).map(|i| column[*i]).collect();
                of_block.iter().sum::<f64>() / of_block.len() as f64
            };
            plots.iter().map(|i| column[*i] - mean(block[*i])).collect()
        };
        let (x, z, y) = (within(&curve[1]), within(&curve[2]), within(&case.data.y));
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let (xx, xz, zz) = (dot(&x, &x), dot(&x, &z), dot(&z, &z));
        let determinant = xx * zz - xz * xz;
        let (xy, zy) = (dot(&x, &y), dot(&z, &y));
        let own = [(zz * xy - xz * zy) / determinant, (xx * zy - xz * xy) / determinant];
        rss += dot(&y, &y) - own[0] * xy - own[1] * zy;
        share = [[zz / determinant, -xz / determinant], [-xz / determinant, xx / determinant]];
        slopes.push(own);
    }
    let error = rss / (12.0 * (24.0 - 4.0 - 2.0));
    assert_relative_eq!(model.residual[0].variance, error, max_relative = BALANCED);
    let mean = |i: usize| slopes.iter().map(|own| own[i]).sum::<f64>() / 12.0;
    for i in 0..2 {
        assert_relative_eq!(model.coefficients[i + 1].unwrap(), mean(i), max_relative = BALANCED);
        for j in 0..2 {
            let products = slopes.iter().map(|own| (own[i] - mean(i)) * (own[j] - mean(j)));
            let wanted = products.sum::<f64>() / 11.0 - error * share[i][j];
            // The closed form itself cancels two digits.
            assert_relative_eq!(model.components[0].covariance[i + 1][j + 1], wanted, max_relative = 10.0 * BALANCED);
        }
        for method in [Satterthwaite, KenwardRoger] {
            let found = model.contrast(&unit(3, i + 1), method).unwrap();
            assert_relative_eq!(found.df, 11.0, max_relative = BALANCED);
        }
    }
}

/// Everything that `summary_of` in the script wrote.
fn assert_summary(
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

fn sorted_names(column: &[String]) -> (Vec<usize>, Vec<String>) {
    let mut names = column.to_vec();
    names.sort();
    names.dedup();
    (column.iter().map(|name| names.binary_search(name).unwrap()).collect(), names)
}

fn texts(rows: &Value, name: &str) -> Vec<String> {
    list(rows).iter().map(|row| row[name].as_str().unwrap().to_owned()).collect()
}

fn column(rows: &Value, name: &str) -> Vec<f64> {
    list(rows).iter().map(|row| number(&row[name])).collect()
}

#[test]
fn random_coefficients_agree_with_the_polished_optimum() {
    let all = oracle("mixed/mixed.json");
    let names: Vec<String> = (1..=12).map(|site| format!("S{site:02}")).collect();
    for set in ["c1_regular", "c2_variable"] {
        for name in ["correlated", "uncorrelated"] {
            // The correlated fit of c1 is singular: its polish has one factor fixed at zero.
            let names = if name == "correlated" { vec![("site", names.clone())] } else { Vec::new() };
            assert_summary(&site_years(set, name), Likelihood::Reml, &all[set][name], &names, POLISHED);
        }
    }
}

#[test]
fn crossed_effects_agree_with_lme4() {
    let all = &oracle("mixed/mixed.json")["penicillin"];
    let (plate, plates) = sorted_names(&texts(&all["data"], "plate"));
    let (sample, samples) = sorted_names(&texts(&all["data"], "sample"));
    let random = vec![RandomTerm::intercept("plate", plate), RandomTerm::intercept("sample", sample)];
    let case = Case::new(column(&all["data"], "diameter"), &[], random);
    let names = [("plate", plates), ("sample", samples)];
    for (likelihood, key) in [(Likelihood::Reml, "REML"), (Likelihood::Ml, "ML")] {
        assert_summary(&case, likelihood, &all[key], &names, POLISHED);
    }
}

/// Reaction times by days, and the names of the subjects.
fn sleep() -> (Case, Vec<String>) {
    let data = &oracle("mixed/mixed.json")["sleep"]["data"];
    let (subject, subjects) = sorted_names(&texts(data, "subject"));
    let days = column(data, "days");
    let random = vec![term("Subject", &subject, &[vec![1.0; days.len()], days.clone()], true)];
    (Case::new(column(data, "reaction"), &[vec![days]], random), subjects)
}

#[test]
fn correlated_intercepts_and_slopes_agree_with_lme4() {
    let all = &oracle("mixed/mixed.json")["sleep"];
    let (case, subjects) = sleep();
    for (likelihood, key) in [(Likelihood::Reml, "REML"), (Likelihood::Ml, "ML")] {
        assert_summary(&case, likelihood, &all[key], &[("Subject", subjects.clone())], POLISHED);
    }
    // Published: Bates et al. 2015, J. Stat. Softw. 67(1), section 5.2: criterion 1743.6, variances 612.09, 35.07 and 654.94 (from memory).
    let model = fit(&case.data, Likelihood::Reml).unwrap();
    assert_eq!(format!("{:.1}", model.criterion()), "1743.6");
    assert_eq!(format!("{:.2}", model.residual[0].variance), "654.94");
}

#[test]
fn a_variance_of_zero_keeps_its_place_in_kenward_and_rogers_correction() {
    let wanted = &oracle("mixed/mixed.json")["zero_block"];
    let mut case = randomised_blocks("s6_unbalanced");
    case.data.y = numbers(&wanted["response"]);
    assert!(fit(&case.data, Likelihood::Reml).unwrap().is_singular);
    assert_summary(&case, Likelihood::Reml, wanted, &[], POLISHED);
}

#[test]
fn profile_intervals_agree_with_the_likelihoods_of_lme4() {
    let all = &oracle("mixed/mixed.json")["profile"];
    let cases = [
        ("oats_additive", oats("oracle/oats.csv", "additive"), ["V:B", "B"].as_slice()),
        ("oats_unbalanced", oats("oracle/oats_unbalanced.csv", "additive"), &["variety:block", "block"]),
        ("s1", randomised_blocks("s1_qp"), &["block"]),
        ("c1", site_years("c1_regular", "quadratic_random_intercept"), &["site", "sb"]),
    ];
    for (name, case, terms) in cases {
        for (likelihood, key) in [(Likelihood::Ml, "ML"), (Likelihood::Reml, "REML")] {
            let model = fit(&case.data, likelihood).unwrap();
            let of = |position: Option<usize>| match position {
                Some(term) => VarianceOf::Coefficient { term, column: 0 },
                None => VarianceOf::Residual(0),
            };
            for row in list(&all[name][key]) {
                // `V:B.(Intercept)`, `residual`.
                let label = row["name"].as_str().unwrap().split('.').next().unwrap();
                let interval = model.profile(of(terms.iter().position(|term| *term == label)), 0.95);
                for (found, end) in [(interval.low, "low"), (interval.high, "high")] {
                    assert_relative_eq!(found.unwrap(), number(&row[end]), max_relative = PROFILED, epsilon = 1e-12);
                }
            }
            for row in list(&all[name]["lme4"]).iter().filter(|_| likelihood == Likelihood::Ml) {
                // `sd_(Intercept)|V:B`, `sigma`.
                let label = row["name"].as_str().unwrap().split('|').next_back().unwrap();
                let interval = model.profile(of(terms.iter().position(|term| *term == label)), 0.95);
                for (found, end) in [(interval.low, "low"), (interval.high, "high")] {
                    // lme4 gives up on the upper end of s1, and calls the lower one of the oats' blocks 0, where the criterion is 5.97
                    // over the least, not 3.84: the direct profile above is the judge there.
                    let wanted = row[end].as_f64().filter(|wanted| *wanted > 0.0);
                    if let Some(wanted) = wanted {
                        assert_relative_eq!(found.unwrap(), wanted, max_relative = INTERPOLATED);
                    }
                }
            }
        }
    }
    // A random slope: the variance of one of two correlated coefficients.
    let case = sleep();
    let model = fit(&case.0.data, Likelihood::Ml).unwrap();
    for (row, of) in [
        (0, VarianceOf::Coefficient { term: 0, column: 0 }),
        (2, VarianceOf::Coefficient { term: 0, column: 1 }),
        (3, VarianceOf::Residual(0)),
    ] {
        let (interval, wanted) = (model.profile(of, 0.95), &all["sleep"]["lme4"][row]);
        assert_relative_eq!(interval.low.unwrap(), number(&wanted["low"]), max_relative = INTERPOLATED);
        assert_relative_eq!(interval.high.unwrap(), number(&wanted["high"]), max_relative = INTERPOLATED);
    }
}

#[test]
fn one_residual_variance_a_site_year_agrees_with_nlme() {
    let all = oracle("mixed/mixed.json");
    for set in ["c1_regular", "c2_variable"] {
        let mut case = site_years(set, "quadratic_random_intercept");
        case.data.residual_group = Some(case.data.random[0].group_of.clone());
        for (likelihood, key) in [(Likelihood::Reml, "var_ident_REML"), (Likelihood::Ml, "var_ident_ML")] {
            let (model, wanted) = (fit(&case.data, likelihood).unwrap(), &all[set][key]);
            assert!(model.converged);
            let theirs = number(&wanted["log_likelihood"]);
            assert_relative_eq!(model.log_likelihood, theirs, max_relative = 1e-9);
            assert!(model.log_likelihood >= theirs - 1e-9, "{set} {key} {} {theirs}", model.log_likelihood);
            for (residual, (_, variance)) in model.residual.iter().zip(wanted["residual"].as_object().unwrap()) {
                assert_relative_eq!(residual.variance, number(variance), max_relative = VAR_IDENT);
            }
            // Site and block within it, among the lines of nlme's table.
            let random: Vec<f64> = list(&wanted["random"]).iter().filter_map(Value::as_f64).collect();
            for (term, variance) in model.components.iter().zip(random) {
                assert_relative_eq!(term.covariance[0][0], variance, max_relative = 10.0 * VAR_IDENT);
            }
            assert_matrix(&model.covariance(), &wanted["vcov"], VAR_IDENT);
            // Its tests exist and lie between the containing strata.
            let rows = model.sequential(case.terms[0].start..case.terms[1].end);
            for method in [Satterthwaite, KenwardRoger].into_iter().filter(|_| likelihood == Likelihood::Reml) {
                let test = model.f_test(&rows, method).unwrap();
                assert!(test.df1 == 2.0 && test.df2 > 11.0 && test.df2 < 12.0 * 24.0, "{test:?}");
            }
        }
    }
}
