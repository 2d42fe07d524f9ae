//! Mixed models against R's lme4, lmerTest, pbkrtest and nlme.
//!
//! The scripts stand beside their results: `data/oracle/05_anova.R` (oats, randomised blocks), `data/oracle/07_multisite.R` (site-years)
//! and `data/mixed/mixed.R`.

mod cases;
mod compare;
mod polished;

use approx::assert_relative_eq;
use stook::stats::mixed_model::{DegreesOfFreedom, Likelihood, fit};

use cases::{oats, randomised_blocks, site_years, unit};
use compare::{
    BALANCED, LOG_LIKELIHOOD, POLISHED, SEARCHED, STOPPED_EARLY, assert_coefficients, assert_matrix, assert_test,
    assert_variances, list, number, oracle,
};

use DegreesOfFreedom::{KenwardRoger, Satterthwaite};

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
fn blocks_that_differ_a_millionfold_cost_few_digits() {
    // In balanced data whatever is added to a block changes the block's variance alone.
    let squares = &oracle("oracle/B_splitplot_oats.json")["anova_variance_components"];
    let mut case = oats("oracle/oats.csv", "factorial");
    let block = case.data.random[1].group_of.clone();
    case.data.y.iter_mut().zip(block).for_each(|(y, block)| *y += 1e6 * ((block * block) as f64 - 3.0));
    let model = fit(&case.data, Likelihood::Reml).unwrap();
    // The standard deviation of blocks is 10⁶ times that of the error: 7 of 16 digits of a yield.
    assert!(model.converged && model.components[1].covariance[0][0] > 1e13);
    assert_relative_eq!(model.components[0].covariance[0][0], number(&squares["BV"]), max_relative = 1e-9);
    assert_relative_eq!(model.residual[0].variance, number(&squares["resid"]), max_relative = 1e-9);
    let nitrogen = model.f_test(&model.sequential(case.terms[1].clone()), Satterthwaite).unwrap();
    assert_relative_eq!(nitrogen.f, 37.68564705882353, max_relative = 1e-9);
    assert_relative_eq!(nitrogen.df2, 45.0, max_relative = 1e-9);
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
