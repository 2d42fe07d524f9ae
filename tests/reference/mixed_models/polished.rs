//! Against `data/mixed/mixed.R`: optima polished by Newton's method, profiles, a residual variance a group, crossed effects, the boundary.

use approx::assert_relative_eq;
use serde_json::Value;
use stook::stats::mixed_model::{DegreesOfFreedom, Likelihood, RandomTerm, VarianceOf, fit};

use super::cases::{Case, column, oats, randomised_blocks, site_years, sleep, sorted_names, texts};
use super::compare::{
    INTERPOLATED, POLISHED, PROFILED, VAR_IDENT, assert_matrix, assert_summary, list, number, numbers, oracle,
};

use DegreesOfFreedom::{KenwardRoger, Satterthwaite};

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
