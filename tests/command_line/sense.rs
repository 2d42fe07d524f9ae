//! Readings in full: text, JSON and CSV of the demo programme, and of programmes with something wrong.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::contract::{interval, number_or_null, object, text_or_null};
use crate::run::{edit, programme_copy, stook, stook_in};

/// A text in one line, so that a phrase is found wherever lines were broken.
fn unbroken(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn trial(folder: &str) -> Value {
    stook(["sense", &format!("trials/{folder}"), "--format", "json"]).json()
}

fn sensing<'j>(json: &'j Value, instrument: &str, date: &str) -> &'j Value {
    let sensings = json["sensings"].as_array().unwrap();
    sensings.iter().find(|sensing| sensing["instrument"] == instrument && sensing["date"] == date).unwrap()
}

#[test]
fn the_text_fits_a_screen_and_that_of_a_trial_has_the_numbers_of_leaves() {
    let programme = stook(["sense", "trials"]).stdout;
    let one = stook(["sense", "trials/upper-terrace-2024"]).stdout;
    for line in programme.lines().chain(one.lines()) {
        assert!(line.chars().count() <= 100, "{line}");
    }
    assert!(one.contains("leaves a plot") && !programme.contains("leaves a plot"));
    insta::assert_snapshot!("sense_of_a_trial", one.replace(env!("CARGO_PKG_VERSION"), "VERSION"));
}

#[test]
fn the_thin_stand_of_the_demo_is_told_from_short_n() {
    let json = trial("chalk-rise-2024");
    let stand = &sensing(&json, "canopy-ndvi", "2024-04-08")["stand"];
    // 18 plots of plots.csv have 37 to 41 shoots a square foot, all others 81 to 87; the median of the four reference plots is 84.5.
    assert_eq!(
        (&stand["plots_thin"], &stand["plots_counted"], &stand["unit"]),
        (&json!(18), &json!(28), &json!("per ft2"))
    );
    approx::assert_relative_eq!(stand["full"].as_f64().unwrap(), 84.5, max_relative = 1e-12);
    approx::assert_relative_eq!(stand["thin_below"].as_f64().unwrap(), 67.6, max_relative = 1e-12);
    let low = stand["low"].as_array().unwrap();
    let marked: Vec<&Value> = low.iter().filter(|plot| plot["because"] == "thin-stand").collect();
    assert!(marked.len() >= 10, "{low:#?}");
    assert!(
        marked
            .iter()
            .all(|plot| plot["leaf_index"].as_f64().unwrap() >= 0.95 && plot["stand"].as_f64().unwrap() < 50.0)
    );
    let text = stook(["sense", "trials/chalk-rise-2024"]).stdout;
    assert!(unbroken(&text).contains("extra N there may not pay"), "{text}");
}

#[test]
fn a_wanted_standard_error_is_answered_in_leaves_or_plots() {
    let run = |percent: &str| stook(["sense", "trials/upper-terrace-2024", "--wanted-se-percent", percent]);
    let json = stook(["sense", "trials/upper-terrace-2024", "--wanted-se-percent", "1", "--format", "json"]).json();
    assert_eq!(json["options"], json!({"wanted_se_percent": 1.0}));
    let precision = &sensing(&json, "leaf-chlorophyll", "2024-04-03")["precision"];
    let wanted = precision["wanted"]["readings"].as_u64().unwrap();
    let at = |leaves: u64| {
        let (within, between) = (precision["within_sd"].as_f64().unwrap(), precision["between_sd"].as_f64().unwrap());
        let variance = between.powi(2) + within.powi(2) / leaves as f64;
        100.0 * (variance / precision["plots"].as_f64().unwrap()).sqrt() / precision["mean"].as_f64().unwrap()
    };
    assert!(at(wanted) <= 1.0 && at(wanted - 1) > 1.0);
    assert!(unbroken(&run("1").stdout).contains(&format!("takes {wanted} leaves a plot")));
    assert!(unbroken(&run("0.5").stdout).contains("No number of leaves gives a standard error of 0.5 %"));
    let refused = run("0");
    assert_eq!((refused.status, refused.stdout.as_str()), (2, ""));
}

#[test]
fn csv_has_a_record_a_plot_with_the_numbers_of_json() {
    let json = stook(["sense", "trials", "--format", "json"]).json();
    let csv = stook(["sense", "trials", "--format", "csv"]).stdout;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let column = |name: &str| header.iter().position(|known| known == name).unwrap();
    let plots: Vec<&Value> =
        json["sensings"].as_array().unwrap().iter().flat_map(|sensing| sensing["plots"].as_array().unwrap()).collect();
    let mut flagged = 0;
    let mut records = 0;
    for (record, plot) in reader.records().zip(&plots) {
        let record = record.unwrap();
        let number = |name: &str| record[column(name)].parse::<f64>().ok();
        assert_eq!(&record[column("plot")], plot["plot"].as_str().unwrap());
        assert_eq!(
            (number("cv_percent"), number("standard_error")),
            (plot["cv_percent"].as_f64(), plot["standard_error"].as_f64())
        );
        assert_eq!(number("index_without_flagged"), plot["without_flagged"]["index"].as_f64());
        assert_eq!(number("reading_with_flagged"), plot["with_flagged"]["reading"].as_f64());
        assert_eq!(&record[column("low_because")], plot["low_because"].as_str().unwrap_or_default());
        flagged += plot["flagged"].as_u64().unwrap();
        records += 1;
    }
    assert_eq!(records, plots.len());
    let listed: usize =
        json["sensings"].as_array().unwrap().iter().map(|it| it["flagged"].as_array().unwrap().len()).sum();
    assert!(flagged > 0 && flagged as usize == listed);
}

#[test]
fn the_json_has_intervals_as_the_contract_has_them() {
    let json = trial("osier-bend-2025");
    let against = || {
        json!({"anyOf": [object(json!({
            "verdict": {"enum": ["sufficient", "doubtful", "cannot-tell"]}, "because": {"type": "string"},
            "reference": {"type": "number"}, "highest_n": number_or_null(), "p_value": number_or_null(),
            "highest_minus_reference_percent": {"anyOf": [interval(), {"type": "null"}]},
            "last_step_percent": {"anyOf": [interval(), {"type": "null"}]},
            "plateau_from": {"anyOf": [interval(), {"type": "null"}]},
        })), {"type": "null"}]})
    };
    let slope =
        || json!({"anyOf": [object(json!({"from_n": {"type": "number"}, "slope": interval()})), {"type": "null"}]});
    let sensing = object(json!({
        "references": {"type": "array", "minItems": 2, "items": object(json!({
            "variety": text_or_null(), "verdict": {"type": "string"}, "plots_above": {"type": "integer"},
            "by_reading": against(), "by_yield": against(),
        }))},
        "crowding": {"type": "array", "items": object(json!({
            "crowded": {"enum": ["crowded", "perhaps", "not-crowded", "cannot-tell"]}, "lower": slope(), "upper": slope(),
        }))},
        "flagged": {"type": "array"},
    }));
    let schema = object(json!({"flagged_leaves": {"enum": ["keep", "leave-out"]}, "plates": {"type": "array"},
        "sensings": {"type": "array", "minItems": 3, "items": sensing}}));
    let validator = jsonschema::validator_for(&schema).unwrap();
    let faults: Vec<String> =
        validator.iter_errors(&json).map(|error| format!("{error} at {}", error.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn leaves_left_out_by_the_programme_change_the_index_to_the_one_shown_before() {
    let copy = programme_copy();
    let run = || stook_in(copy.path(), ["sense", "trials/osier-bend-2023", "--format", "json"]).json();
    let plot = |json: &Value| {
        let plots = sensing(json, "leaf-chlorophyll", "2023-04-08")["plots"].as_array().unwrap().clone();
        plots.into_iter().find(|plot| plot["flagged"] == 1).unwrap()
    };
    let kept = plot(&run());
    edit(&copy.path().join("trials/programme.toml"), "[decisions]", "[decisions]\nflagged_leaves = \"leave-out\"");
    let left_out = plot(&run());
    assert_eq!(
        (&kept["with_flagged"], &kept["without_flagged"]),
        (&left_out["with_flagged"], &left_out["without_flagged"])
    );
    assert_eq!(kept["index"], kept["with_flagged"]["index"]);
    assert_eq!(left_out["index"], left_out["without_flagged"]["index"]);
    assert_ne!(kept["index"], left_out["index"]);
}

fn add(folder: &Path, text: &str) {
    let file = folder.join("trials/upper-terrace-2024/trial.toml");
    let descriptor = fs::read_to_string(&file).unwrap();
    fs::write(file, format!("{descriptor}\n{text}\n")).unwrap();
}

const PLATE: &str = r#"[[plate_check]]
instrument = "leaf-chlorophyll"
tolerance = 1.0
expected = 45.0
readings = [
    { date = 2024-04-03, time = "8:10", value = 45.1 },
    { date = 2024-04-03, time = "11:40", value = 45.6 },
    { date = 2024-04-03, time = "15:20", value = 46.4 },
]
"#;

#[test]
fn an_instrument_off_its_plate_is_told_in_check_in_sense_and_in_json() {
    let copy = programme_copy();
    add(copy.path(), PLATE);
    let text = unbroken(&stook_in(copy.path(), ["sense", "trials/upper-terrace-2024"]).stdout);
    assert!(text.contains("OUT OF TOLERANCE (± 1): 15:20 read 46.4 for 45"), "{text}");
    let json = stook_in(copy.path(), ["sense", "trials/upper-terrace-2024", "--format", "json"]).json();
    let plate = &json["plates"][0];
    assert_eq!((&plate["kept"], &plate["readings"][2]["outside"]), (&json!("out-of-tolerance"), &json!(true)));
    let check = unbroken(&stook_in(copy.path(), ["check", "trials"]).stdout);
    assert!(check.contains("plate of 45 as 46.4 at 15:20"), "{check}");
}

#[test]
fn readings_without_a_reference_or_with_one_below_its_plots_get_plain_words() {
    let copy = programme_copy();
    let plots = copy.path().join("trials/upper-terrace-2023/trial.toml");
    // The plots without any N made the reference.
    edit(&plots, "equals = 326", "equals = 0");
    let text = unbroken(&stook_in(copy.path(), ["sense", "trials/upper-terrace-2023"]).stdout);
    assert!(text.contains("DOUBTFUL; 20 of 20 plots read above it. Most plots read above it"), "{text}");
    let json = stook_in(copy.path(), ["sense", "trials/upper-terrace-2023", "--format", "json"]).json();
    let reference = &sensing(&json, "canopy-ndvi", "2023-04-05")["references"][0];
    assert_eq!(
        (&reference["verdict"], &reference["by_reading"]["because"]),
        (&json!("doubtful"), &json!("level-above"))
    );
}
