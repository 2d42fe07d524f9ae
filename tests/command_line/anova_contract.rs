//! The JSON of analyses of variance that scripts may rely on, written down by hand and held against what is printed.

use serde_json::{Value, json};

use crate::contract::{
    envelope, f_test, holds, interval, level, number_or_null, oats_split_plot, object, or_null, text_or_null,
};
use crate::run::stook;

fn anova_schema() -> Value {
    let count = || json!({"type": "integer", "minimum": 0});
    let text = || json!({"type": "string"});
    let p = || json!({"type": ["number", "null"], "minimum": 0, "maximum": 1});
    let list = |items: Value| json!({"type": "array", "items": items});
    let row = object(json!({
        "source": text(), "part_of": text_or_null(), "df": count(), "ss": number_or_null(), "ms": number_or_null(),
        "f": number_or_null(), "p": p(), "significance": {"enum": ["ns", "*", "**", "***", null]}, "error": text_or_null(),
        "error_df": number_or_null(),
    }));
    let stratum = object(json!({
        "name": text(), "df": {"type": ["integer", "null"]}, "mean_square": number_or_null(), "cv_percent": number_or_null(),
        "plots_in_unit": {"type": ["integer", "null"]}, "cv_of_units_percent": number_or_null(),
    }));
    let means = object(json!({
        "factors": list(text()),
        "means": list(object(json!({
            "levels": list(text()), "n": count(), "mean": number_or_null(), "standard_error": number_or_null(),
            "df": number_or_null(), "interval": or_null(interval()),
        }))),
    }));
    let comparison = object(json!({
        "factors": list(text()), "within": {"type": "object"}, "levels": list(list(text())), "protecting_p": p(),
        "sed": or_null(object(json!({"mean": number_or_null(), "lowest": number_or_null(), "highest": number_or_null()}))),
        "pairs": list(object(json!({
            "first": list(text()), "second": list(text()), "difference": number_or_null(), "standard_error": number_or_null(),
            "df": number_or_null(), "p_lsd": p(), "p_tukey": p(), "p_dunnett": p(),
        }))),
        "procedures": list(object(json!({
            "procedure": {"enum": ["protected-lsd", "tukey", "dunnett"]}, "least_significant_difference": number_or_null(),
            "letters": list(text()), "note": text_or_null(),
        }))),
    }));
    let likelihood = object(json!({
        "log_likelihood": number_or_null(), "parameters": count(), "aic": number_or_null(), "bic": number_or_null(),
        "zero_variances": list(text()),
    }));
    let variances = object(json!({
        "site_years": list(object(json!({"site_year": text(), "mean_square": number_or_null(), "df": number_or_null()}))),
        "bartlett": or_null(object(json!({"chi_squared": number_or_null(), "df": number_or_null(), "p": p()}))),
        "ratio": number_or_null(), "separate": {"type": "boolean"},
    }));
    let assumptions = object(json!({
        "normality": or_null(object(json!({"w": {"type": "number"}, "p": p()}))), "spread": or_null(f_test()),
        "neighbours": number_or_null(),
        "outliers": list(object(json!({"plot": text(), "deleted": number_or_null(), "p": p()}))),
        "residuals": list(object(json!({
            "plot": text(), "fitted": number_or_null(), "residual": number_or_null(), "deleted": number_or_null(),
            "normal_score": number_or_null(),
        }))),
    }));
    let analysis = object(json!({
        "group": {"type": "object"}, "site_years": list(text()), "design": text(),
        "method": {"enum": ["classical", "least-squares", "reml", "ml"]},
        "tests": {"enum": ["adjusted", "sequential", "marginal", null]},
        "degrees_of_freedom": {"enum": ["kenward-roger", "satterthwaite", null]}, "inference": text_or_null(), "n": count(),
        "excluded": list(object(json!({"plot": text(), "reason": text()}))), "blocks": count(),
        "balanced": {"type": "boolean"}, "yield_unit": text_or_null(), "rate_unit": text_or_null(), "rate_factors": list(text()),
        "level": level(), "grand_mean": number_or_null(),
        "tables": {"type": "array", "minItems": 1, "items": object(json!({"name": text(), "rows": list(row)}))},
        "strata": list(stratum), "means": list(means), "comparisons": list(comparison),
        "components": list(object(json!({"term": text(), "variance": interval()}))), "likelihood": or_null(likelihood),
        "predictions": list(object(json!({
            "site_year": text(), "predicted": number_or_null(), "deviation": number_or_null(),
            "standard_deviation": number_or_null(),
        }))),
        "error_variances": or_null(variances), "assumptions": or_null(assumptions),
        "warnings": list(object(json!({"code": text(), "text": text()}))),
    }));
    let mut schema = envelope("anova", json!({}));
    let fields = schema["properties"].as_object_mut().expect("an envelope has fields");
    fields.remove("groups");
    // Nothing is left to chance.
    fields.insert("seed".to_owned(), json!({"type": "null"}));
    fields.insert("analyses".to_owned(), list(analysis));
    fields.insert("not_analysed".to_owned(), list(object(json!({"group": {"type": "object"}, "reason": text()}))));
    schema["required"] = schema["properties"].as_object().expect("fields").keys().cloned().collect();
    schema
}

#[test]
fn analyses_of_variance_are_as_the_contract_says() {
    holds(&anova_schema(), &oats_split_plot(&[]));
    holds(&anova_schema(), &oats_split_plot(&["--method", "reml"]));
    let trials = ["chalk-rise-2024", "osier-bend-2025", "upper-terrace-2023"];
    for trial in trials {
        holds(&anova_schema(), &stook(["anova", &format!("trials/{trial}"), "--format", "json"]).json());
    }
    let mut document = oats_split_plot(&[]);
    document["analyses"][0]["tables"][0]["rows"][1]["significance"] = "quite".into();
    assert!(!jsonschema::validator_for(&anova_schema()).unwrap().is_valid(&document));
}
