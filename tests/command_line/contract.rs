//! The JSON that scripts may rely on, written down here by hand and held against what is printed.

use serde_json::{Value, json};

use crate::run::{oats, stook};

pub fn number_or_null() -> Value {
    json!({"type": ["number", "null"]})
}

pub fn text_or_null() -> Value {
    json!({"type": ["string", "null"]})
}

fn limits() -> Value {
    json!({"enum": ["both", "open-below", "open-above", "open", "disjoint", "not-computed"]})
}

fn segments() -> Value {
    json!({"type": "array", "items": {"type": "array", "minItems": 2, "maxItems": 2, "items": number_or_null()}})
}

pub fn level() -> Value {
    json!({"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1})
}

/// An object whose fields are all there; more may stand beside them.
pub fn object(fields: Value) -> Value {
    let required: Vec<&String> = fields.as_object().expect("fields are an object").keys().collect();
    json!({"type": "object", "required": required, "properties": fields})
}

pub fn interval() -> Value {
    object(json!({
        "estimate": number_or_null(), "low": number_or_null(), "high": number_or_null(), "level": level(),
        "method": {"type": "string"}, "limits": limits(), "segments": segments(),
    }))
}

pub fn or_null(schema: Value) -> Value {
    json!({"anyOf": [schema, {"type": "null"}]})
}

pub fn envelope(command: &str, groups: Value) -> Value {
    let input = object(json!({"file": {"type": "string"}, "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"}}));
    let warning = object(json!({"code": {"type": "string"}, "text": {"type": "string"}}));
    object(json!({
        "schema": {"const": format!("stook/{command}/1")},
        "version": {"type": "string"},
        "inputs": {"type": "array", "items": input, "minItems": 1},
        "options": {"type": "object"},
        "seed": {"type": "integer"},
        "warnings": {"type": "array", "items": warning},
        "groups": {"type": "array", "items": groups, "minItems": 1},
    }))
}

fn families() -> Value {
    json!(["mean", "linear", "quadratic", "square-root", "linear-plateau", "quadratic-plateau", "exponential-rise"])
}

fn curves_schema() -> Value {
    let coefficients = object(json!({
        "intercept": number_or_null(), "slope": number_or_null(), "curvature": number_or_null(), "plateau": number_or_null(),
    }));
    let curve = object(json!({
        "family": {"enum": families()},
        "status": {"enum": ["estimated", "not-estimable"]},
        "reason": text_or_null(),
        "coefficients": coefficients,
        "rss": number_or_null(),
        "df": {"type": ["integer", "null"]},
        "sigma": number_or_null(),
        "r_squared": number_or_null(),
        "aic": number_or_null(),
        "aicc": number_or_null(),
        "bic": number_or_null(),
        "join": or_null(interval()),
        "reach": {"enum": ["within-tested-rates", "not-reached", "before-first-rate", null]},
        "standard_errors": object(json!({
            "intercept": number_or_null(), "slope": number_or_null(), "curvature": number_or_null(), "plateau": number_or_null(),
            "join": number_or_null(), "aonr": number_or_null(),
        })),
        "plateau": or_null(interval()),
        "aonr": or_null(interval()),
        "weight": {"type": ["number", "null"], "minimum": 0, "maximum": 1},
        "lack_of_fit": or_null(f_test()),
    }));
    let diagnostics = object(json!({
        "family": {"enum": families()},
        "normality": or_null(object(json!({"w": {"type": "number"}, "p": {"type": "number"}}))),
        "spread": or_null(f_test()),
        "furthest": or_null(object(json!({"observation": {"type": "string"}, "deleted": {"type": "number"}, "p": {"type": "number"}}))),
        "residuals": {"type": "array", "items": object(json!({
            "observation": {"type": "string"}, "rate": {"type": "number"}, "residual": {"type": "number"},
            "leverage": {"type": "number", "minimum": 0, "maximum": 1}, "studentised": number_or_null(), "deleted": number_or_null(),
        }))},
    }));
    let factor_test = object(json!({
        "group": {"type": "object"},
        "factor": {"type": "string"},
        "levels": {"type": "array", "items": {"type": "string"}, "minItems": 2},
        "interaction": or_null(f_test()),
        "curves": {"type": "array", "items": object(json!({
            "family": {"enum": families()}, "test": or_null(f_test()), "reason": text_or_null(),
        }))},
        "reason": text_or_null(),
    }));
    let mut schema = envelope(
        "curves",
        object(json!({
            "group": {"type": "object"},
            "n": {"type": "integer"},
            "excluded": {"type": "integer"},
            "rate_unit": text_or_null(),
            "yield_unit": text_or_null(),
            "blocks": {"type": "integer"},
            "error_stratum": {"type": "string"},
            "response": {"enum": ["detected", "not-detected", "negligible", null]},
            "curves": {"type": "array", "items": curve, "minItems": 5},
            "chosen": text_or_null(),
            "chosen_by": {"type": "string"},
            "diagnostics": or_null(diagnostics),
        })),
    );
    schema["properties"]["factor_tests"] = json!({"type": "array", "items": factor_test});
    schema["required"].as_array_mut().expect("an envelope requires its fields").push("factor_tests".into());
    schema
}

pub fn f_test() -> Value {
    object(json!({
        "f": {"type": "number"}, "df": {"type": "integer"}, "error_df": {"type": "integer"},
        "p": {"type": "number", "minimum": 0, "maximum": 1},
    }))
}

fn optimum_schema() -> Value {
    let optimum = object(json!({
        "family": {"enum": families()},
        "rate": number_or_null(),
        "low": number_or_null(),
        "high": number_or_null(),
        "level": level(),
        "method": text_or_null(),
        "limits": limits(),
        "status": {"enum": ["interior", "at-zero", "at-highest-tested-rate", "before-first-rate", "not-shown", "not-estimable"]},
    }));
    let near = object(json!({"low": {"type": "number"}, "high": {"type": "number"}, "tolerance": {"type": "number"}}));
    envelope(
        "optimum",
        object(json!({
            "group": {"type": "object"},
            "price_ratio": {"type": "number", "minimum": 0},
            "price_ratio_unit": text_or_null(),
            "optimum": optimum,
            "by_family": {"type": "array", "items": optimum, "minItems": 4},
            "by_price": {"type": "array", "items": object(json!({"price_ratio": {"type": "number"}, "optimum": optimum})), "minItems": 1},
            "net_return": number_or_null(),
            "near_optimum": or_null(near),
            "disagreement": or_null(object(json!({
                "families": {"type": "array", "items": {"enum": families()}, "minItems": 2},
                "lowest": object(json!({"family": {"enum": families()}, "rate": {"type": "number"}})),
                "highest": object(json!({"family": {"enum": families()}, "rate": {"type": "number"}})),
                "by_how_much": {"type": "number", "minimum": 0},
            }))),
            "averaged": or_null(object(json!({"rate": {"type": "number"}, "status": {"type": "string"}}))),
            "money_unit": text_or_null(),
            "net_return_money": number_or_null(),
            "price_grid": {"type": "array"},
            "pass": or_null(object(json!({
                "cost": {"type": "number"}, "cost_in_yield": {"type": "number"}, "gain_over_zero": number_or_null(),
                "gain_after_pass": number_or_null(), "better": {"enum": ["optimum", "rate-zero", null]}, "reason": text_or_null(),
            }))),
            "forgone": {"type": "array", "items": object(json!({
                "rate": {"type": "number"}, "net_return": number_or_null(), "forgone_return": number_or_null(),
                "forgone_money": number_or_null(), "outside_tested_rates": {"type": "boolean"}, "reason": text_or_null(),
            }))},
            "sensitivity": or_null(object(json!({
                "percent": {"type": "number"}, "rate_per_price_ratio": {"type": "number"}, "prices": {"type": "array"},
            }))),
            "uncertain_prices": or_null(object(json!({
                "draws": {"type": "integer"}, "optimum": {"type": "object"}, "net_return": {"type": "object"},
                "share_at_lowest_rate": {"type": "number"}, "share_at_highest_rate": {"type": "number"},
                "expected_net_return_of_optimum": {"type": "number"}, "best_single_rate": {"type": "number"},
                "expected_net_return_of_best_single_rate": {"type": "number"},
            }))),
            "with_quality": or_null(object(json!({
                "plots": {"type": "integer"}, "without_protein": {"type": "integer"}, "without_lodging": {"type": "integer"},
                "rate": number_or_null(), "low": number_or_null(), "high": number_or_null(), "status": {"type": "string"},
            }))),
        })),
    )
}

fn across_schema() -> Value {
    let count = || json!({"type": "integer", "minimum": 0});
    let site_year = object(json!({
        "site_year": {"type": "string"}, "trials": {"type": "array"}, "groups": count(),
        "weight": {"type": "number", "minimum": 0},
        "optimum_is": {"enum": ["number", "at-least", "at-most", "between", "nothing", "none"]},
        "optimum": number_or_null(), "standard_error": number_or_null(), "at_least": number_or_null(),
        "at_most": number_or_null(), "best_rate": number_or_null(), "forgone_return": number_or_null(),
    }));
    let aside = object(json!({
        "site_year": {"type": "string"}, "group": {"type": "object"}, "from": {"enum": ["both", "mean-optimum"]},
        "reason": {"type": "string"},
    }));
    let common = object(json!({
        "site_years": count(), "rate": or_null(interval()), "lowest_rate": number_or_null(), "highest_rate": number_or_null(),
        "mean_forgone_return": number_or_null(), "resamples": count(), "failed": count(), "reason": text_or_null(),
    }));
    let mean = object(json!({
        "estimation": {"enum": ["reml", "ml-interval-censored", null]}, "numbers": count(), "bounds": count(),
        "mean": or_null(interval()), "sd_between": or_null(interval()), "new_site_year": or_null(interval()),
        "q": number_or_null(), "q_df": {"type": ["integer", "null"]}, "i_squared": number_or_null(), "reason": text_or_null(),
    }));
    let kind = object(json!({
        "varies": {"enum": ["all", "topdress"]},
        "early_n": or_null(object(json!({"low": {"type": "number"}, "high": {"type": "number"}}))),
        "rate_unit": text_or_null(), "yield_unit": text_or_null(),
        "site_years": {"type": "array", "items": site_year, "minItems": 1},
        "set_aside": {"type": "array", "items": aside},
        "common_rate": common,
        "mean_optimum": mean,
        "cautions": {"type": "array", "items": object(json!({"code": {"type": "string"}, "text": {"type": "string"}}))},
    }));
    json!({"type": "object", "required": ["across"], "properties": {"across": {"type": "array", "items": kind}}})
}

pub fn holds(schema: &Value, document: &Value) {
    let validator = jsonschema::validator_for(schema).expect("the contract is a schema");
    let errors: Vec<String> =
        validator.iter_errors(document).map(|error| format!("{}: {error}", error.instance_path())).collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

#[test]
fn curves_are_as_the_contract_says() {
    holds(&curves_schema(), &oats("curves", &["--format", "json"]).json());
    holds(&curves_schema(), &stook(["curves", "trials", "--format", "json"]).json());
}

#[test]
fn optima_are_as_the_contract_says() {
    holds(&optimum_schema(), &oats("optimum", &["--price-ratio", "0.1", "--format", "json"]).json());
    holds(&optimum_schema(), &stook(["optimum", "trials", "--format", "json"]).json());
    let asked = [
        "--grain-price",
        "0.1,0.2",
        "--n-price",
        "2",
        "--n-price-range",
        "1,4",
        "--pass-cost",
        "3",
        "--forgone-at",
        "0,0.3,0.7",
        "--sensitivity",
        "10",
        "--format",
        "json",
    ];
    holds(&optimum_schema(), &oats("optimum", &asked).json());
}

/// The oats as the split-plot that they were.
pub fn oats_split_plot(further: &[&str]) -> Value {
    let roles =
        ["--rate", "nitrogen", "--yield", "yield", "--block", "block", "--main-plot", "variety", "--format", "json"];
    let arguments = ["anova", crate::run::OATS].into_iter().chain(roles).chain(further.iter().copied());
    crate::run::stook_in(&crate::run::data(), arguments).json()
}

#[test]
fn site_years_are_put_together_as_the_contract_says() {
    let json = stook(["optimum", "trials", "--format", "json"]).json();
    holds(&across_schema(), &json);
    let kinds: Vec<(&Value, usize)> = json["across"]
        .as_array()
        .unwrap()
        .iter()
        .map(|kind| (&kind["early_n"]["low"], kind["site_years"].as_array().unwrap().len()))
        .collect();
    let onto = |level: f64, site_years: usize| (Value::from(level), site_years);
    let levels: Vec<(Value, usize)> = kinds.iter().skip(1).map(|(low, count)| ((*low).clone(), *count)).collect();
    assert_eq!(kinds[0], (&Value::Null, 5));
    assert_eq!(levels[0], onto(0.0, 4));
    // One trial is one site-year, and a bare file has none that are named.
    assert_eq!(stook(["optimum", "trials/osier-bend-2025", "--format", "json"]).json()["across"], json!([]));
    assert_eq!(oats("optimum", &["--price-ratio", "0.1", "--format", "json"]).json()["across"], json!([]));
    // Varieties stand in for site-years: three levels, all of one kind.
    let named = oats("optimum", &["--price-ratio", "0.1", "--site-years", "--format", "json"]).json();
    holds(&across_schema(), &named);
    assert_eq!(named["across"][0]["site_years"].as_array().unwrap().len(), 3);
}

#[test]
fn weights_of_site_years_move_the_best_common_rate_and_are_in_the_options() {
    let rate = |weights: &[&str]| {
        let run = oats("optimum", &[&["--price-ratio", "80", "--site-years", "--format", "json"], weights].concat());
        let json = run.json();
        (json["across"][0]["common_rate"]["rate"]["estimate"].as_f64().unwrap(), json["options"]["weights"].clone())
    };
    let (even, none) = rate(&[]);
    let (uneven, given) = rate(&["--weights", "Victory=5,Marvellous=0"]);
    assert!((even - uneven).abs() > 1e-6, "{even} {uneven}");
    assert_eq!((none, given), (Value::Null, json!({"Marvellous": 0.0, "Victory": 5.0})));
    // The demo's trials by their folders.
    let run = stook(["optimum", "trials", "--weights", "chalk-rise-2024=3", "--format", "json"]);
    let kind = &run.json()["across"][0];
    let weights: Vec<f64> =
        kind["site_years"].as_array().unwrap().iter().filter_map(|of| of["weight"].as_f64()).collect();
    assert_eq!(weights, [1.0, 1.0, 3.0, 1.0, 1.0]);
}

#[test]
fn the_contract_is_not_held_by_anything() {
    let mut document = oats("curves", &["--format", "json"]).json();
    document["groups"][0]["curves"][1]["reach"] = "soon".into();
    let validator = jsonschema::validator_for(&curves_schema()).unwrap();
    assert!(!validator.is_valid(&document));
}

#[test]
fn groups_are_named_by_their_factors() {
    let oats = oats("curves", &["--format", "json"]).json();
    assert_eq!(oats["groups"][0]["group"], json!({"variety": "Victory"}));
    assert_eq!((&oats["groups"][0]["rate_unit"], &oats["groups"][0]["yield_unit"]), (&Value::Null, &Value::Null));
    let trial = stook(["curves", "trials/osier-bend-2023", "--format", "json"]).json();
    assert_eq!(
        trial["groups"][1]["group"],
        json!({"trial": "osier-bend-2023", "variety": "Dark Sedge", "early_n": 30.0})
    );
    assert_eq!(trial["groups"][1]["rate_unit"], "lb/ac");
}

#[test]
fn the_options_that_made_a_result_are_in_it() {
    let run = oats(
        "optimum",
        &[
            "--price-ratio",
            "0.1",
            "--level",
            "0.9",
            "--seed",
            "9",
            "--rate-unit",
            "kg/ha",
            "--yield-unit",
            "kg/ha",
            "--format",
            "json",
        ],
    );
    let json = run.json();
    assert_eq!(json["seed"], 9);
    let options = &json["options"];
    assert_eq!(
        (&options["rate"], &options["by"], &options["rate_unit"]),
        (&"nitrogen".into(), &"variety".into(), &"kg/ha".into())
    );
    assert_eq!(
        (&options["level"], &options["interval"], &options["price_ratio"]),
        (&0.9.into(), &"profile".into(), &0.1.into())
    );
    assert_eq!(json["groups"][0]["price_ratio_unit"], "kg per kg N");
    assert_eq!(json["groups"][0]["optimum"]["level"], 0.9);
}

#[test]
fn the_numbers_of_a_line_are_those_of_its_means() {
    // Victory: means 71.5, 89.6667, 110.8333, 118.5 at 0 to 0.6; by hand the slope is (0.3·47 + 0.1·21.16667) ÷ 0.2.
    let json = oats("curves", &["--format", "json"]).json();
    let line = &json["groups"][0]["curves"][1];
    assert_eq!(line["family"], "linear");
    let slope = line["coefficients"]["slope"].as_f64().unwrap();
    // Twelve digits: both sides are sums of a few dozen doubles.
    approx::assert_relative_eq!(slope, (0.3 * 47.0 + 0.1 * (127.0 / 6.0)) / 0.2, max_relative = 1e-12);
}

#[test]
fn every_document_is_as_its_types_say() {
    use stook::output::{Anova, Calibrations, Curves, Envelope, Findings, NewTrial, Optima, Sense, Summary, Yields};

    fn schema<T: schemars::JsonSchema + 'static>() -> Value {
        serde_json::to_value(schemars::schema_for!(Envelope<'static, T>)).unwrap()
    }
    let place = tempfile::tempdir().unwrap();
    let season = place.path().join("season");
    holds(&schema::<Curves>(), &stook(["curves", "trials", "--format", "json"]).json());
    holds(&schema::<Optima>(), &stook(["optimum", "trials", "--format", "json"]).json());
    holds(&schema::<Anova>(), &oats_split_plot(&[]));
    holds(&schema::<Anova>(), &oats_split_plot(&["--method", "reml"]));
    holds(&schema::<Yields>(), &stook(["yields", "trials", "--format", "json"]).json());
    holds(&schema::<Sense>(), &stook(["sense", "trials", "--format", "json"]).json());
    holds(&schema::<Calibrations>(), &stook(["calibrate", "trials", "--format", "json"]).json());
    holds(&schema::<Findings>(), &stook(["check", "trials", "--format", "json"]).json());
    let run = stook(["season", "trials", "--format", "json", "--out", season.to_str().unwrap()]);
    holds(&schema::<Summary>(), &run.json());
    let plots = crate::run::trials().join("osier-bend-2025/plots.csv");
    let folder = place.path().join("trial");
    let run = stook(["new", plots.to_str().unwrap(), "--out", folder.to_str().unwrap(), "--format", "json"]);
    holds(&schema::<NewTrial>(), &run.json());
}
