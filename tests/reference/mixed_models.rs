//! Mixed models against R's lme4, lmerTest, pbkrtest and nlme.
//!
//! The scripts stand beside the data: `oracle/05_anova.R` (oats, randomised blocks), `oracle/07_multisite.R` (site-years),
//! `mixed/mixed.R` (profiles, a residual variance a group).

use std::fs;

use serde_json::Value;
use stook::stats::mixed_model::{DegreesOfFreedom, FTest, Likelihood, MixedData, MixedModel, RandomTerm, fit};

use crate::data::{Table, beside};

fn oracle(name: &str) -> Value {
    let text = fs::read_to_string(beside(&format!("oracle/{name}"))).expect("the oracle's results");
    serde_json::from_str(&text).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("no number: {value}"))
}

fn indicators(groups: &[usize]) -> Vec<Vec<f64>> {
    let levels = groups.iter().max().map_or(0, |largest| largest + 1);
    (1..levels).map(|level| groups.iter().map(|group| f64::from(u8::from(*group == level))).collect()).collect()
}

fn products(one: &[Vec<f64>], other: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let column = |b: &Vec<f64>, a: &Vec<f64>| a.iter().zip(b).map(|(x, y)| x * y).collect();
    other.iter().flat_map(|b| one.iter().map(move |a| column(b, a))).collect()
}

fn pairs(one: &[usize], other: &[usize]) -> Vec<usize> {
    one.iter().zip(other).map(|(a, b)| 1000 * a + b).collect()
}

fn digits(what: &str, ours: f64, theirs: f64) {
    let relative = ((ours - theirs) / theirs).abs();
    println!("{what:40} {ours:<22} {theirs:<22} {:.1}", if relative == 0.0 { 16.0 } else { -relative.log10() });
}

fn show_f(what: &str, test: Option<FTest>, row: &Value) {
    let Some(test) = test else {
        println!("{what}: NONE");
        return;
    };
    digits(&format!("{what} F"), test.f, number(&row["F value"]));
    digits(&format!("{what} df1"), test.df1, number(&row["NumDF"]));
    digits(&format!("{what} df2"), test.df2, number(&row["DenDF"]));
    digits(&format!("{what} p"), test.p, number(&row["Pr(>F)"]));
}

struct Oats {
    data: MixedData,
    terms: Vec<std::ops::Range<usize>>,
}

fn oats(file: &str, model: &str) -> Oats {
    let table = Table::read(&beside(&format!("oracle/{file}")));
    let (block, variety, rate) = (table.groups("block"), table.groups("variety"), table.groups("nitrogen"));
    let x = table.numbers("nitrogen");
    let (v, n) = (indicators(&variety), indicators(&rate));
    let mut fixed = vec![vec![1.0; x.len()]];
    fixed.extend(v.clone());
    let terms;
    match model {
        "quadratic" => {
            fixed.push(x.clone());
            fixed.push(x.iter().map(|x| x * x).collect());
            terms = vec![1..3, 3..4, 4..5];
        }
        "additive" => {
            fixed.extend(n);
            terms = vec![1..3, 3..6];
        }
        _ => {
            fixed.extend(n.clone());
            fixed.extend(products(&v, &n));
            terms = vec![1..3, 3..6, 6..12];
        }
    }
    let random =
        vec![RandomTerm::intercept("block:variety", pairs(&block, &variety)), RandomTerm::intercept("block", block)];
    Oats { data: MixedData { y: table.numbers("yield"), fixed, random, residual_group: None }, terms }
}

#[test]
fn explore() {
    let all = oracle("B_splitplot_oats.json");
    for (key, file, model) in [
        ("reml_factorial_treatment_contrasts", "oats.csv", "factorial"),
        ("reml_additive", "oats.csv", "additive"),
        ("reml_quadratic", "oats.csv", "quadratic"),
        ("unbalanced_minus6", "oats_unbalanced.csv", "factorial"),
    ] {
        println!("== {key}");
        let oats = oats(file, model);
        let fitted = fit(&oats.data, Likelihood::Reml).unwrap();
        let o = &all[key];
        digits("logLik", fitted.log_likelihood, number(&o["logLik_REML"]));
        println!("crit diff {:e} conv {}", fitted.criterion() - number(&o["reml_criterion"]), fitted.converged);
        digits("V:B", fitted.components[0].covariance[0][0], number(&o["varcomp"]["V:B"]));
        digits("B", fitted.components[1].covariance[0][0], number(&o["varcomp"]["B"]));
        digits("Res", fitted.residual[0].variance, number(&o["varcomp"]["Residual"]));
        for (i, (b, (name, theirs))) in fitted.coefficients.iter().zip(o["fixef"].as_object().unwrap()).enumerate() {
            digits(name, b.unwrap(), number(theirs));
            digits("se", fitted.covariance()[i][i].sqrt(), number(&o["fixef_se"][name]));
        }
        for (i, range) in oats.terms.iter().enumerate() {
            let rows = fitted.sequential(range.clone());
            show_f("Satt", fitted.f_test(&rows, DegreesOfFreedom::Satterthwaite), &o["satterthwaite"][i]);
            show_f("KR", fitted.f_test(&rows, DegreesOfFreedom::KenwardRoger), &o["kenward_roger"][i]);
        }
        for i in 0..fitted.coefficients.len() {
            let mut unit = vec![0.0; fitted.coefficients.len()];
            unit[i] = 1.0;
            for (m, k) in
                [(DegreesOfFreedom::Satterthwaite, "coef_satterthwaite"), (DegreesOfFreedom::KenwardRoger, "coef_kr")]
            {
                let c = fitted.contrast(&unit, m).unwrap();
                digits(&format!("{k} se"), c.standard_error, number(&o[k][i]["Std. Error"]));
                digits(&format!("{k} df"), c.df, number(&o[k][i]["df"]));
            }
        }
    }
    let blocks = oracle("B_rcbd.json");
    for (name, o) in blocks["trials"].as_object().unwrap() {
        println!("== {name}");
        let table = Table::read(&beside(&format!("oracle/{name}.csv")));
        let rate = {
            let mut r = table.numbers("rate");
            r.sort_by(f64::total_cmp);
            r.dedup();
            table.numbers("rate").iter().map(|x| r.iter().position(|y| y == x).unwrap()).collect::<Vec<_>>()
        };
        let mut fixed = vec![vec![1.0; rate.len()]];
        fixed.extend(indicators(&rate));
        let count = fixed.len();
        let data = MixedData {
            y: table.numbers("yield"),
            fixed,
            random: vec![RandomTerm::intercept("block", table.groups("block"))],
            residual_group: None,
        };
        let fitted = fit(&data, Likelihood::Reml).unwrap();
        let o = &o["random_blocks_reml"];
        digits("logLik", fitted.log_likelihood, number(&o["logLik_REML"]));
        digits("B", fitted.components[0].covariance[0][0], number(&o["var_block"]));
        digits("Res", fitted.residual[0].variance, number(&o["var_resid"]));
        let rows = fitted.sequential(1..count);
        show_f("Satt", fitted.f_test(&rows, DegreesOfFreedom::Satterthwaite), &o["satterthwaite"][0]);
        show_f("KR", fitted.f_test(&rows, DegreesOfFreedom::KenwardRoger), &o["kenward_roger"][0]);
    }
    let sites = oracle("C_multisite.json");
    for (set, o) in sites["sets"].as_object().unwrap() {
        let table = Table::read(&beside(&format!("oracle/{set}.csv")));
        let (site, block) = (table.groups("site"), table.groups("block"));
        let x: Vec<f64> = table.numbers("rate").iter().map(|r| r / 100.0).collect();
        let square: Vec<f64> = x.iter().map(|x| x * x).collect();
        let ones = vec![1.0; x.len()];
        let rate: Vec<usize> = x.iter().map(|x| (x * 2.5).round() as usize).collect();
        let sb = pairs(&site, &block);
        for (model, o) in o["lme4"].as_object().unwrap() {
            println!("== {set} {model}");
            let term = |name: &str, columns: Vec<Vec<f64>>, correlated: bool| RandomTerm {
                name: name.to_owned(),
                group_of: site.clone(),
                columns,
                correlated,
            };
            let three = vec![ones.clone(), x.clone(), square.clone()];
            let (fixed, mut random) = match model.as_str() {
                "quadratic_random_coef" => (three.clone(), vec![term("site", three.clone(), true)]),
                "quadratic_random_coef_uncorrelated" => (three.clone(), vec![term("site", three.clone(), false)]),
                "quadratic_random_intercept" => (three.clone(), vec![RandomTerm::intercept("site", site.clone())]),
                _ => {
                    let mut f = vec![ones.clone()];
                    f.extend(indicators(&rate));
                    (
                        f,
                        vec![
                            RandomTerm::intercept("site", site.clone()),
                            RandomTerm::intercept("site:rate", pairs(&site, &rate)),
                        ],
                    )
                }
            };
            random.push(RandomTerm::intercept("sb", sb.clone()));
            let data = MixedData { y: table.numbers("yield"), fixed, random, residual_group: None };
            let fitted = fit(&data, Likelihood::Reml).unwrap();
            digits("logLik", fitted.log_likelihood, number(&o["logLik_REML"]));
            println!(
                "crit diff {:e} conv {} sing {} {}",
                fitted.criterion() - number(&o["reml_criterion"]),
                fitted.converged,
                fitted.is_singular,
                o["singular"]
            );
            let ml = fit(&data, Likelihood::Ml).unwrap();
            digits("ML logLik", ml.log_likelihood, number(&o["ML_logLik"]));
            println!(
                "ML crit diff {:e} conv {} sing {}",
                ml.criterion() - number(&o["ML_deviance"]),
                ml.converged,
                ml.is_singular
            );
            println!("{:?} {:?}", fitted.components, fitted.residual);
            println!(
                "{}",
                o["varcomp"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|v| format!("{} {} {} {}", v["grp"], v["var1"], v["var2"], v["vcov"]))
                    .collect::<Vec<_>>()
                    .join("\n")
            );
            for i in 0..fitted.coefficients.len() {
                digits("vcov", fitted.covariance()[i][i], number(&o["fixef_vcov"][i][i]));
            }
            let n = fitted.coefficients.len();
            for i in 0..n {
                let mut unit = vec![0.0; n];
                unit[i] = 1.0;
                let c = fitted.contrast(&unit, DegreesOfFreedom::Satterthwaite).unwrap();
                digits("df", c.df, number(&o["coef_table"][i]["df"]));
            }
            let terms: Vec<_> = if model == "factor_site_random" { vec![1..6] } else { vec![1..2, 2..3] };
            for (i, range) in terms.into_iter().enumerate() {
                // lmerTest's default is type III: for columns that are terms of their own the coefficient itself.
                let rows: Vec<Vec<f64>> = range
                    .map(|c| {
                        let mut u = vec![0.0; n];
                        u[c] = 1.0;
                        u
                    })
                    .collect();
                show_f("Satt", fitted.f_test(&rows, DegreesOfFreedom::Satterthwaite), &o["satterthwaite"][i]);
                if !o["kenward_roger"].is_null() {
                    show_f("KR", fitted.f_test(&rows, DegreesOfFreedom::KenwardRoger), &o["kenward_roger"][i]);
                }
            }
            let effects = fitted.random_effects();
            println!("{:?}", effects[0]);
            println!("{}", o["ranef_site"][0]);
        }
    }
}
