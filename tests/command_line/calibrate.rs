//! `calibrate`: what it promises to scripts, and what it says to readers.

use serde_json::{Value, json};

use crate::contract::{envelope, holds, interval, level, number_or_null, object, or_null, text_or_null};
use crate::run::{Run, edit, programme_copy, stook_in};
use crate::status::{ANSWERED, NOT_ANSWERED};

/// Four site-years of both kinds of need: enough to hold out and to resample.
const FOUR: [&str; 4] = ["chalk-rise-2025", "osier-bend-2025", "upper-terrace-2023", "upper-terrace-2025"];

/// A copy of the demo programme with these trials alone.
fn programme_of(kept: &[&str]) -> tempfile::TempDir {
    let copy = programme_copy();
    let trials = copy.path().join("trials");
    edit(&trials.join("programme.toml"), "leave_out = { \"mill-ground-2024\" = \"hail, 3 June\" }\n", "");
    for entry in std::fs::read_dir(&trials).expect("the folder can be listed") {
        let path = entry.expect("its entries can be read").path();
        let name = path.file_name().and_then(|name| name.to_str()).expect("a name").to_owned();
        if path.is_dir() && !kept.contains(&name.as_str()) {
            std::fs::remove_dir_all(&path).expect("a copy can be removed");
        }
    }
    copy
}

fn calibrate(programme: &tempfile::TempDir, flags: &[&str]) -> Run {
    let arguments = ["calibrate", "trials", "--name", "leaf-jointing"].iter().chain(flags).copied();
    stook_in(programme.path(), arguments)
}

/// Text without its line breaks.
fn said(run: &Run) -> String {
    run.stdout.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn whole() -> Value {
    json!({"type": "integer", "minimum": 0})
}

fn share() -> Value {
    json!({"type": ["number", "null"], "minimum": 0, "maximum": 1})
}

fn kinds() -> Value {
    json!({"enum": ["linear", "linear-with-floor", "quadratic", "exponential", "shortfall-linear", "shortfall-quadratic", "shortfall-spline", null]})
}

fn rules() -> Value {
    json!({"enum": [
        "sensor", "best-given-early-n", "best-total-less-early-n", "best-single-topdress", "standard", "best-in-hindsight",
    ]})
}

fn point() -> Value {
    object(json!({
        "trial": {"type": "string"}, "site_year": {"type": "string"}, "variety": text_or_null(),
        "need_from": {"enum": ["difference-from-optimum", "topdress-response"]},
        "n_on": {"type": "number"}, "index": {"type": "number"}, "plots": whole(), "need": {"type": "number"},
        "standard_error": number_or_null(), "low": number_or_null(), "high": number_or_null(),
        "bound": {"enum": ["exact", "at-most", "at-least", "within", "open"]},
        "known_low": number_or_null(), "known_high": number_or_null(),
        "family": {"type": "string"},
        "optimum_status": {"enum": ["interior", "at-zero", "at-highest-tested-rate", "before-first-rate", "not-shown"]},
    }))
}

fn performance() -> Value {
    object(json!({
        "rule": rules(), "rmse": number_or_null(), "bias": number_or_null(), "rate": {"type": "number"},
        "forgone": {"type": "number"}, "site_years": whole(), "lower_bounds": whole(),
    }))
}

fn validation() -> Value {
    let rate = object(json!({"rule": rules(), "rate": {"type": "number"}, "forgone": {"type": "number"}}));
    let prediction = object(json!({
        "point": point(), "need": {"type": "number"}, "in_domain": {"type": "boolean"},
        "is_lower_bound": {"type": "boolean"}, "rules": {"type": "array", "items": rate},
    }));
    object(json!({
        "held_out": {"enum": ["site-year", "season", "site"]},
        "parts": whole(),
        "rules": {"type": "array", "items": performance()},
        "site_years": {"type": "array", "items": object(json!({
            "site_year": {"type": "string"}, "relation": kinds(), "reason": text_or_null(),
            "rules": {"type": "array", "items": performance()},
            "predictions": {"type": "array", "items": prediction},
        }))},
    }))
}

fn confusion() -> Value {
    object(json!({
        "deficient_below": whole(), "deficient_above": whole(), "sufficient_below": whole(), "sufficient_above": whole(),
        "sensitivity": share(), "specificity": share(), "accuracy": share(), "balanced_accuracy": share(),
    }))
}

fn critical_index() -> Value {
    object(json!({
        "threshold": {"type": "number"}, "reason": text_or_null(),
        "deficient": whole(), "sufficient": whole(), "not_shown": whole(), "undecided": whole(),
        "area": or_null(interval()), "critical_index": or_null(interval()),
        "last_below": number_or_null(), "first_above": number_or_null(), "youden": share(),
        "own": or_null(confusion()), "held_out": or_null(confusion()),
        "site_years": {"type": "array", "items": object(json!({
            "site_year": {"type": "string"}, "critical_index": number_or_null(), "counts": or_null(confusion()),
            "reason": text_or_null(),
        }))},
        "characteristic": {"type": "array", "items": object(json!({
            "critical_index": {"type": "number"}, "sensitivity": share(), "specificity": share(),
        }))},
    }))
}

fn table() -> Value {
    let relation = object(json!({
        "kind": kinds(), "coefficients": {"type": "object", "additionalProperties": {"type": "number"}},
        "between": number_or_null(), "within": number_or_null(),
        "lowest_index": number_or_null(), "highest_index": number_or_null(),
        "held_from_rising": {"type": ["boolean", "null"]}, "reason": text_or_null(),
    }));
    let verdict = object(json!({
        "verdict": {"enum": ["pays", "cannot tell yet", "does not pay"]},
        "against": {"enum": ["best-given-early-n", "best-total-less-early-n"]},
        "gain": interval(), "p_value": {"type": "number", "minimum": 0, "maximum": 1},
        "site_years": whole(), "more_site_years": {"type": ["integer", "null"]},
    }));
    let reliability = object(json!({"reliability": interval(), "slope_factor": number_or_null()}));
    object(json!({
        "table": {"type": "string"}, "instrument": {"enum": ["canopy-ndvi", "leaf-chlorophyll"]},
        "first_stage": {"type": "string"}, "last_stage": {"type": "string"},
        "relation_asked": kinds(), "relation": kinds(), "reason": text_or_null(),
        "tried": {"type": "array", "items": object(json!({
            "relation": kinds(), "forgone": number_or_null(), "reason": text_or_null(),
        }))},
        "site_years": whole(), "relation_site_years": whole(), "return_unit": {"type": "string"},
        "at_prices": {"type": "array", "minItems": 1, "items": object(json!({
            "price_ratio": {"type": "number"},
            "points": {"type": "array", "items": point()},
            "set_aside": {"type": "array", "items": object(json!({
                "trial": {"type": "string"}, "plots": whole(), "reason": {"type": "string"},
            }))},
            "relations": {"type": "array", "items": relation},
        }))},
        "validation": {"type": "array", "items": validation()},
        "verdict": or_null(verdict),
        "resampled": or_null(object(json!({"site_years": whole(), "attempted": whole(), "failed": whole()}))),
        "reliability": object(json!({
            "reason": text_or_null(), "treatments": whole(), "site_years": whole(), "between_plots": number_or_null(),
            "degrees_of_freedom": whole(), "plots": number_or_null(),
            "within_site_years": or_null(reliability.clone()), "over_all": or_null(reliability),
        })),
        "critical_index": critical_index(),
    }))
}

fn calibrate_schema() -> Value {
    let set = object(json!({
        "features": {"type": "array", "items": {"type": "string"}}, "reason": text_or_null(),
        "intercept": number_or_null(), "rmse": number_or_null(), "bias": number_or_null(),
        "coefficients": {"type": "array", "items": object(json!({
            "feature": {"type": "string"}, "value": {"type": "number"}, "standard_error": {"type": "number"},
        }))},
        "gain_over": {"type": ["array", "null"]}, "gain": number_or_null(), "gain_standard_error": number_or_null(),
        "earns_its_place": {"type": ["boolean", "null"]},
    }));
    let features = object(json!({
        "of": {"type": "string"}, "reason": text_or_null(),
        "features": {"type": "array", "items": object(json!({
            "name": {"type": "string"}, "unit": text_or_null(), "missing": whole(),
        }))},
        "rows": whole(), "left_out": whole(), "bounds": whole(), "alike": whole(), "not_shown": whole(), "site_years": whole(),
        "sets": {"type": "array", "items": set},
        "chosen": {"type": "array", "items": {"type": "string"}},
    }));
    let mut schema = envelope("calibrate", level());
    let fields = [
        ("rate_unit", json!({"type": "string"})),
        ("price_ratio_unit", text_or_null()),
        ("tables", json!({"type": "array", "minItems": 1, "items": table()})),
        ("features", json!({"type": "array", "items": features})),
    ];
    // An envelope has groups; these are tables.
    let required = schema["required"].as_array_mut().expect("an envelope requires its fields");
    required.retain(|field| field != "groups");
    required.extend(fields.iter().map(|(name, _)| Value::from(*name)));
    for (name, field) in fields {
        schema["properties"][name] = field;
    }
    schema
}

#[test]
fn a_calibration_holds_what_scripts_rely_on() {
    let programme = programme_of(&FOUR);
    let run = calibrate(&programme, &["--format", "json"]);
    assert_eq!(run.status, ANSWERED, "{}", run.stderr);
    let found = run.json();
    holds(&calibrate_schema(), &found);
    let table = &found["tables"][0];
    assert_eq!((&table["site_years"], &table["return_unit"]), (&json!(4), &json!("USD/ac")));
    let held_out: Vec<&str> = table["validation"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|validation| validation["held_out"].as_str())
        .collect();
    assert_eq!(held_out, ["site-year", "season", "site"]);
    // Every point is predicted once, and no rule beats hindsight.
    let points = table["at_prices"][0]["points"].as_array().unwrap();
    for validation in table["validation"].as_array().unwrap() {
        let site_years = validation["site_years"].as_array().unwrap();
        let predictions: Vec<&Value> =
            site_years.iter().flat_map(|held_out| held_out["predictions"].as_array().unwrap()).collect();
        assert_eq!(predictions.len(), points.len());
        for rule in predictions.iter().flat_map(|prediction| prediction["rules"].as_array().unwrap()) {
            assert!(rule["forgone"].as_f64().unwrap() >= -1e-9, "{rule}");
        }
    }
}

#[test]
fn the_verdict_stands_before_the_relations_and_these_before_the_points() {
    let text = said(&calibrate(&programme_of(&FOUR), &[]));
    let places: Vec<usize> = [
        "the sensor",
        "rule, held-out site-years",
        "held-out site-year relation",
        "left out as a whole",
        "relation N need =",
        "variety N on",
        "Set aside, with the number",
        "Reliability of the index",
        "Critical index",
        "Several readings at once",
    ]
    .into_iter()
    .map(|words| text.to_lowercase().find(&words.to_lowercase()).unwrap_or_else(|| panic!("{words}: {text}")))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
    assert!(text.contains("topdress N is taken to work as early N does"), "{text}");
    assert!(text.contains("against a single flat rate any sensor looks better than it is"), "{text}");
}

#[test]
fn topdress_trials_alone_assume_nothing_of_early_n() {
    let text = said(&calibrate(&programme_of(&["chalk-rise-2025", "osier-bend-2025", "upper-terrace-2025"]), &[]));
    assert!(text.contains("the sensor") && !text.contains("taken to work as early N does"), "{text}");
}

#[test]
fn one_site_year_is_not_validated_on_itself() {
    let programme = programme_of(&["osier-bend-2025"]);
    let run = calibrate(&programme, &[]);
    assert_eq!(run.status, ANSWERED, "{}", run.stderr);
    assert!(said(&run).contains("No validation: one site-year cannot be held out from itself."), "{}", run.stdout);
    assert!(said(&run).contains("Not compared: "), "{}", run.stdout);
    let table = &calibrate(&programme, &["--format", "json"]).json()["tables"][0];
    assert_eq!((&table["verdict"], &table["validation"]), (&Value::Null, &json!([])));
}

#[test]
fn needs_that_are_all_zero_say_that_there_is_nothing_to_relate() {
    // At five bushels a pound no N pays anywhere.
    let run = calibrate(&programme_of(&FOUR), &["--price-ratio", "5"]);
    assert!([ANSWERED, NOT_ANSWERED].contains(&run.status), "{}", run.stderr);
    let text = said(&run);
    assert!(text.contains("no need is a number"), "{text}");
    assert!(text.contains("there are no deficient ones to tell from the rest"), "{text}");
}

#[test]
fn an_index_that_never_changes_is_said_to_tell_nothing() {
    let programme = programme_of(&["upper-terrace-2023", "upper-terrace-2025"]);
    for trial in ["upper-terrace-2023", "upper-terrace-2025"] {
        let file = programme.path().join("trials").join(trial).join("leaf.csv");
        let readings = std::fs::read_to_string(&file).unwrap();
        let mut lines = readings.lines();
        let head = lines.next().unwrap();
        let value = head.split(',').position(|name| name == "value").unwrap();
        let constant = |line: &str| {
            let cells = line.split(',').enumerate();
            cells.map(|(column, cell)| if column == value { "50" } else { cell }).collect::<Vec<_>>().join(",")
        };
        let constant: Vec<String> = lines.map(constant).collect();
        std::fs::write(&file, format!("{head}\n{}\n", constant.join("\n"))).unwrap();
    }
    let text = said(&calibrate(&programme, &[]));
    assert!(text.contains("every treatment has the same index, 1.000: nothing can be related to it"), "{text}");
    assert!(text.contains("the mean index is the same for every treatment"), "{text}");
    assert!(text.contains("a feature has the same value in every row"), "{text}");
}

#[test]
fn the_threshold_of_deficiency_is_settable() {
    let programme = programme_of(&FOUR);
    let deficient = |flags: &[&str]| {
        let flags: Vec<&str> = flags.iter().copied().chain(["--format", "json"]).collect();
        calibrate(&programme, &flags).json()["tables"][0]["critical_index"].clone()
    };
    let (any, fifty) = (deficient(&[]), deficient(&["--deficient-above", "50"]));
    assert_eq!((&any["threshold"], &fifty["threshold"]), (&json!(0.0), &json!(50.0)));
    assert!(fifty["deficient"].as_u64().unwrap() < any["deficient"].as_u64().unwrap(), "{any} {fifty}");
    let wrong = calibrate(&programme, &["--deficient-above", "much"]);
    assert_eq!(wrong.status, 2);
}

#[test]
fn a_long_table_has_one_value_a_record() {
    let programme = programme_of(&FOUR);
    let run = calibrate(&programme, &["--format", "csv"]);
    let json = calibrate(&programme, &["--format", "json"]).json();
    let mut reader = csv::Reader::from_reader(run.stdout.as_bytes());
    let columns = reader.headers().unwrap().clone();
    let at = |record: &csv::StringRecord, column: &str| {
        record[columns.iter().position(|name| name == column).unwrap()].to_owned()
    };
    // Every record is as wide as the header, or this fails.
    let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let find = |record: &str, held_out: &str, name: &str, quantity: &str| {
        let found = records.iter().find(|one| {
            at(one, "record") == record
                && at(one, "held_out") == held_out
                && at(one, "name") == name
                && at(one, "quantity") == quantity
        });
        at(found.unwrap_or_else(|| panic!("{record} {name} {quantity}")), "value").parse::<f64>().unwrap()
    };
    let table = &json["tables"][0];
    let sensor = &table["validation"][0]["rules"][0];
    assert_eq!(sensor["rule"], "sensor");
    assert_eq!(find("rule", "site-year", "sensor", "forgone"), sensor["forgone"].as_f64().unwrap());
    let gain = &table["verdict"]["gain"]["estimate"];
    assert_eq!(find("verdict", "", table["verdict"]["against"].as_str().unwrap(), "gain"), gain.as_f64().unwrap());
    let points = records
        .iter()
        .filter(|record| at(record, "record") == "point" && at(record, "price_ratio").starts_with("0.101"));
    assert_eq!(points.count(), table["at_prices"][0]["points"].as_array().unwrap().len());
}

#[test]
fn both_sensors_speak_of_the_same_treatments() {
    let programme = programme_of(&FOUR);
    let found = stook_in(programme.path(), ["calibrate", "trials", "--format", "json"]).json();
    let features = &found["features"][0];
    let names: Vec<&str> =
        features["features"].as_array().unwrap().iter().filter_map(|feature| feature["name"].as_str()).collect();
    assert_eq!(names, ["canopy-ndvi index", "leaf-chlorophyll index", "N already on"]);
    // Trial, variety and N on of the points of a table whose need counts as a number.
    let treatments = |table: usize| -> Vec<String> {
        let points = found["tables"][table]["at_prices"][0]["points"].as_array().unwrap().iter();
        let numbers =
            points.filter(|point| ["interior", "not-shown"].contains(&point["optimum_status"].as_str().unwrap()));
        numbers.map(|point| format!("{} {} {}", point["trial"], point["variety"], point["n_on"])).collect()
    };
    let (canopy, leaf) = (treatments(0), treatments(1));
    let both = canopy.iter().filter(|treatment| leaf.contains(treatment)).count();
    let count = |name: &str| features[name].as_u64().unwrap() as usize;
    assert!(both > 15, "{both}");
    let all: std::collections::BTreeSet<&String> = canopy.iter().chain(&leaf).collect();
    assert_eq!(
        (count("rows") + count("left_out"), features["features"][0]["missing"].as_u64().unwrap() as usize),
        (all.len(), all.len() - canopy.len())
    );
    // Every set is of the same site-years, and the empty one is among them.
    assert_eq!(features["sets"][0]["features"], json!([]));
    assert_eq!(count("site_years"), 4);
}
