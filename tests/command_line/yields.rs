//! Yields in full: JSON, CSV and text of the demo programme.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::run::stook;

/// References carry every digit of a double; the order of operations may differ.
const COMPUTED: f64 = 1e-12;

fn trial(folder: &str, further: &[&str]) -> Value {
    let path = format!("trials/{folder}");
    let arguments = ["yields", &path, "--format", "json"];
    stook(arguments.iter().chain(further)).json()
}

fn plot<'j>(json: &'j Value, id: &str) -> &'j Value {
    let plots = json["trials"][0]["plots"].as_array().unwrap();
    plots.iter().find(|plot| plot["plot"] == id).unwrap()
}

fn is(found: &Value, expected: f64) {
    approx::assert_relative_eq!(found.as_f64().unwrap(), expected, max_relative = COMPUTED);
}

#[test]
fn n_of_a_plot_is_what_its_row_of_the_file_says() {
    let json = trial("osier-bend-2023", &[]);
    assert_eq!(
        (&json["yield_unit"], &json["rate_unit"], &json["efficiency_unit"]),
        (&json!("bu/ac"), &json!("lb/ac"), &json!("bu/lb"))
    );
    // Computed in Python from plots.csv: 15.30 lb at 13.1 % from 24 ft × 5 ft with 10.9 % protein at 12 %, 60 + 40 lb/ac of N; its block's
    // zero-N plot 103 with 11.45 lb at 13.2 % and 9.3 %.
    let plot = plot(&json, "101");
    for (name, expected) in [
        ("yield", 92.993_046_242_774_55),
        ("yield_kg_ha", 6_253.881_803_955_503),
        ("n_applied", 100.0),
        ("n_applied_kg_ha", 112.085_115_619_445_6),
        ("grain_n", 104.878_580_921_052_62),
        ("grain_n_kg_ha", 117.553_278_685_395_65),
        ("agronomic_efficiency", 0.234_802_947_976_878_67),
        ("agronomic_efficiency_kg_kg", 14.088_176_878_612_723),
        ("recovery", 0.379_891_874_999_999_9),
        ("partial_factor_productivity", 0.929_930_462_427_745_4),
        ("partial_factor_productivity_kg_kg", 55.795_827_745_664_745),
        ("physiological_efficiency_kg_kg", 37.084_701_742_075_23),
        ("n_surplus", -4.878_580_921_052_626_5),
        ("n_surplus_kg_ha", -5.468_163_065_950_051),
    ] {
        is(&plot[name], expected);
    }
    assert_eq!(plot["zero_n_yield"]["from"], "block");
    assert_eq!((&plot["not_known"], &plot["factors"]), (&json!({}), &json!({})));
}

#[test]
fn what_is_null_has_its_reason() {
    let zero = trial("osier-bend-2023", &[]);
    let zero = plot(&zero, "103");
    assert_eq!(zero["agronomic_efficiency"], Value::Null);
    assert_eq!(zero["not_known"]["agronomic_efficiency"], "no N was applied");
    let json = trial("upper-terrace-2023", &[]);
    let excluded = plot(&json, "304");
    assert_eq!(
        (&excluded["status"], &excluded["yield"], &excluded["grain_n"]),
        (&json!("excluded"), &Value::Null, &Value::Null)
    );
    assert_eq!(excluded["not_known"]["partial_factor_productivity"], "the yield is left out");
    assert!(excluded["excluded_yield"].as_f64().is_some_and(|value| value < 45.0));
    let used = plot(&json, "303");
    assert_eq!(used["not_known"]["grain_n"], "no protein");
}

#[test]
fn a_treatment_is_shown_with_and_without_the_yield_that_is_left_out() {
    let json = trial("upper-terrace-2023", &[]);
    let treatments = json["trials"][0]["treatments"].as_array().unwrap();
    let shown: Vec<_> = treatments.iter().filter(|means| !means["yield_with_excluded"].is_null()).collect();
    let [means] = shown.as_slice() else { panic!("one treatment") };
    assert_eq!((&means["yield"]["n"], &means["yield_with_excluded"]["n"]), (&json!(3), &json!(4)));
    let used = json["trials"][0]["plots"].as_array().unwrap();
    let same = used.iter().filter(|plot| plot["n_planned"] == means["treatment"]["n"]);
    let values: Vec<f64> = same.filter_map(|plot| plot["yield"].as_f64().or(plot["excluded_yield"].as_f64())).collect();
    is(&means["yield_with_excluded"]["mean"], values.iter().sum::<f64>() / 4.0);
}

#[test]
fn si_and_us_units_tell_the_same() {
    let (own, si, us) = (
        trial("osier-bend-2025", &[]),
        trial("osier-bend-2025", &["--units", "si"]),
        trial("osier-bend-2025", &["--units", "us"]),
    );
    assert_eq!(
        (&si["yield_unit"], &si["efficiency_unit"], &si["options"]["units"]),
        (&json!("kg/ha"), &json!("kg/kg"), &json!("si"))
    );
    assert_eq!(us["yield_unit"], "bu/ac");
    let plots = |json: &Value| json["trials"][0]["plots"].as_array().unwrap().clone();
    for ((own, si), us) in plots(&own).iter().zip(plots(&si)).zip(plots(&us)) {
        for (name, other) in [("yield_kg_ha", "yield"), ("grain_n_kg_ha", "grain_n"), ("n_surplus_kg_ha", "n_surplus")]
        {
            let Some(expected) = own[name].as_f64() else {
                assert_eq!(si[other], Value::Null);
                continue;
            };
            is(&si[other], expected);
        }
        assert_eq!((&own["yield"], &own["recovery"]), (&us["yield"], &us["recovery"]), "the programme is in US units");
    }
}

#[test]
fn csv_has_a_record_a_plot_with_the_numbers_of_json() {
    let json = stook(["yields", "trials", "--format", "json"]).json();
    let csv = stook(["yields", "trials", "--format", "csv"]).stdout;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let header = reader.headers().unwrap().clone();
    let records: Vec<BTreeMap<String, String>> = reader
        .records()
        .map(|record| header.iter().map(str::to_owned).zip(record.unwrap().iter().map(str::to_owned)).collect())
        .collect();
    let plots: Vec<&Value> =
        json["trials"].as_array().unwrap().iter().flat_map(|trial| trial["plots"].as_array().unwrap()).collect();
    assert_eq!(records.len(), plots.len());
    let mut compared = 0;
    for (record, plot) in records.iter().zip(plots) {
        assert_eq!(
            (&record["plot"], &record["status"]),
            (&plot["plot"].as_str().unwrap().to_owned(), &plot["status"].as_str().unwrap().to_owned())
        );
        for name in
            ["yield", "n_applied", "grain_n", "agronomic_efficiency", "recovery", "n_surplus_kg_ha", "tillers_per_m2"]
        {
            assert_eq!(record[name].parse::<f64>().ok(), plot[name].as_f64(), "{name}");
            compared += usize::from(plot[name].is_number());
        }
        assert_eq!((record["rate_unit"].as_str(), record["efficiency_unit"].as_str()), ("lb/ac", "bu/lb"));
    }
    assert!(compared > 1_000, "{compared}");
}

#[test]
fn the_text_of_every_trial_fits_a_screen_and_a_small_one_reads_well() {
    for folder in ["osier-bend-2025", "upper-terrace-2025", "chalk-rise-2024"] {
        let text = stook(["yields", &format!("trials/{folder}")]).stdout;
        for line in text.lines() {
            assert!(line.chars().count() <= 100, "{folder}: {line}");
        }
    }
    let text = stook(["yields", "trials/upper-terrace-2023"]).stdout;
    insta::assert_snapshot!("yields_of_a_trial", text.replace(env!("CARGO_PKG_VERSION"), "VERSION"));
}

#[test]
fn an_optimum_is_told_again_with_the_yield_that_is_left_out() {
    let json = stook(["optimum", "trials/upper-terrace-2023", "--format", "json"]).json();
    let group = &json["groups"][0];
    let with = &group["with_excluded"];
    assert_eq!(with["put_in"], 1);
    assert!(with["rate"].is_number() && with["rate"] != group["optimum"]["rate"], "{with}");
    assert!(with["family"].is_string() && with["status"].is_string() && with["limits"].is_string());
    let text = stook(["optimum", "trials/upper-terrace-2023"]).stdout;
    assert!(text.contains("With the yield that is left out put back in: EONR"), "{text}");
    let curves = stook(["curves", "trials/upper-terrace-2023", "--format", "json"]).json();
    let curves = &curves["groups"][0];
    assert_eq!(curves["with_excluded"]["n"].as_u64(), curves["n"].as_u64().map(|n| n + 1));
    assert_eq!(curves["with_excluded"]["optimum"]["rate"], with["rate"]);
    let whole = stook(["optimum", "trials/chalk-rise-2023", "--format", "json"]).json();
    assert_eq!(whole["groups"][0]["with_excluded"], Value::Null);
}
