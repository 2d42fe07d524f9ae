//! Leaf positions, passes, reflectances, reference plates and what a programme decides of readings.

use std::collections::BTreeMap;

use approx::assert_relative_eq;

use super::{OSIER, PROGRAMME, UPPER, load, valid};
use crate::finding::{Finding, Severity};
use crate::trial::{FlaggedLeaves, Programme, Reading};

/// The one column of NDVI in the sound trial, to be replaced.
const COLUMNS: &str = "columns = [{ column = \"ndvi_apr02\", date = 2024-04-02, stage = \"Feekes 5\" }]";

type Files = BTreeMap<&'static str, String>;

/// The sound programme with the canopy columns of its first trial replaced, and its plots file.
fn canopy(columns: &str, plots: &str) -> Files {
    let mut files = valid();
    files.insert("upper-2024/trial.toml", UPPER.replace(COLUMNS, columns));
    files.insert("upper-2024/plots.csv", plots.to_owned());
    files
}

/// The same with plates checked.
fn plates(section: &str, plate: &str) -> Files {
    let mut files = valid();
    files.insert("upper-2024/trial.toml", format!("{UPPER}[[plate_check]]\n{section}\n"));
    files.insert("upper-2024/plate.csv", plate.to_owned());
    files
}

fn programme(files: &Files) -> Programme {
    load(files).unwrap_or_else(|findings| panic!("{findings:#?}")).value
}

/// The one error of some files: its code and its whole text.
#[track_caller]
fn error(files: &Files) -> (&'static str, String) {
    let findings = load(files).err().unwrap_or_default();
    let errors: Vec<&Finding> = findings.iter().filter(|finding| finding.severity == Severity::Error).collect();
    let [error] = errors.as_slice() else { panic!("one error: {findings:#?}") };
    assert!(error.remedy.is_some(), "{error}");
    (error.code, error.to_string())
}

#[track_caller]
fn assert_error(files: &Files, code: &str, words: &[&str]) {
    let (found, text) = error(files);
    assert_eq!(found, code, "{text}");
    for word in words {
        assert!(text.contains(word), "{word:?} in {text}");
    }
}

const REFLECTANCE: &str =
    "columns = [{ red = \"r\", near_infrared = \"nir\", date = 2024-04-02, stage = \"Feekes 5\" }]";

fn reflectances(rows: [&str; 4]) -> String {
    let [a, b, c, d] = rows;
    format!(
        "plot,rep,urea_lb_ac,r,nir,yield\n101,1,0,{a},41.5\n102,1,391,{b},78\n103,2,391.0,{c},NA\n104,2,0,{d},39.25\n"
    )
}

#[test]
fn ndvi_is_computed_from_red_and_near_infrared_as_fractions_or_in_per_cent() {
    // (0.45 − 0.05) ÷ 0.50 = 0.8 and (0.40 − 0.10) ÷ 0.50 = 0.6; a plot without both has no reading.
    for rows in [["0.10,0.40", "0.05,0.45", "0.05,0.45", ","], ["10,40", "5,45", "5,45", "NA,NA"]] {
        let programme = programme(&canopy(REFLECTANCE, &reflectances(rows)));
        let trial = &programme.trials[0];
        let values: Vec<f64> = trial.readings.iter().map(|reading| reading.value).collect();
        assert_eq!(values.len(), 3);
        for (value, expected) in values.into_iter().zip([0.6, 0.8, 0.8]) {
            assert_relative_eq!(value, expected, max_relative = 1e-12);
        }
        assert_eq!(trial.reading_columns[0].header, "r and nir");
    }
}

#[test]
fn reflectances_that_give_no_ndvi_are_refused_where_they_stand() {
    let refused = |rows: [&str; 4], code: &str, words: &[&str]| {
        assert_error(&canopy(REFLECTANCE, &reflectances(rows)), code, words);
    };
    let sound = "0.05,0.45";
    refused([sound, "0,0", sound, sound], "out-of-range", &["row 3", "without light"]);
    refused([sound, sound, "-0.1,0.5", sound], "out-of-range", &["row 4", "-0.1", "impossible"]);
    refused(["5,145", "5,45", "5,45", "5,45"], "out-of-range", &["row 2", "145"]);
    refused([sound, "NA,0.45", sound, sound], "missing-cell", &["row 3", "nir has 0.45"]);
    refused(
        ["0.05,45", "0.06,46", "0.05,45", "0.05,44"],
        "reflectance-scale",
        &["0.06", "46", "a fraction", "per cent"],
    );
}

#[test]
fn keys_of_reflectance_go_together_and_with_a_canopy_sensor_only() {
    let plots = reflectances(["0.1,0.4"; 4]);
    let with = |keys: &str| canopy(&format!("columns = [{{ {keys}, date = 2024-04-02 }}]"), &plots);
    assert_error(&with("red = \"r\""), "missing-key", &["near_infrared"]);
    assert_error(
        &with("column = \"r\", red = \"r\", near_infrared = \"nir\""),
        "conflicting-keys",
        &["red and near_infrared"],
    );
    let mut files = with("red = \"r\", near_infrared = \"nir\"");
    let trial = files["upper-2024/trial.toml"].replace("canopy-ndvi", "leaf-chlorophyll");
    files.insert("upper-2024/trial.toml", trial);
    assert_error(&files, "conflicting-keys", &["a leaf meter gives no reflectance"]);
}

#[test]
fn reflectances_may_stand_a_row_a_reading() {
    let mut files = valid();
    let trial = OSIER.replacen("value = \"value\"", "red = \"leaf\"\nnear_infrared = \"value\"", 1);
    files.insert("osier-2025/trial.toml", trial);
    let readings = files["osier-2025/readings.csv"].replace("Feekes 5,,0.61", "Feekes 5,0.1,0.3");
    files.insert("osier-2025/readings.csv", readings.replace("5,,0.", "5,0.1,0."));
    let programme = programme(&files);
    assert_relative_eq!(programme.trials[1].readings[0].value, 0.5, max_relative = 1e-12);
}

const TWO_PASSES: &str = "plot,rep,urea_lb_ac,a,b,yield\n101,1,0,0.55,0.57,41.5\n102,1,391,0.81,0.83,78\n103,2,391.0,0.80,,NA\n104,2,0,,0.5,39.25\n";

#[test]
fn two_columns_of_a_day_are_passes_where_they_are_numbered_and_refused_where_not() {
    let columns = |first: &str, second: &str| {
        format!(
            "columns = [{{ column = \"a\", date = 2024-04-02{first} }}, {{ column = \"b\", date = 2024-04-02{second} }}]"
        )
    };
    let numbered = programme(&canopy(&columns(", pass = 1", ", pass = 2"), TWO_PASSES));
    let readings: Vec<(usize, Option<u32>, f64)> =
        numbered.trials[0].readings.iter().map(|reading| (reading.plot, reading.leaf, reading.value)).collect();
    assert_eq!(
        readings,
        [
            (0, Some(1), 0.55),
            (0, Some(2), 0.57),
            (1, Some(1), 0.81),
            (1, Some(2), 0.83),
            (2, Some(1), 0.80),
            (3, Some(2), 0.5)
        ]
    );
    let refused = load(&canopy(&columns("", ""), TWO_PASSES)).unwrap_err();
    assert!(refused.iter().all(|finding| finding.code == "duplicate-reading"));
    assert!(refused[0].remedy.as_ref().is_some_and(|remedy| remedy.contains("pass = 1, pass = 2")));
    assert_error(&canopy(&columns(", pass = 0", ", pass = 2"), TWO_PASSES), "out-of-range", &["0"]);
}

#[test]
fn positions_of_leaves_are_kept_as_typed_in_the_order_of_the_file() {
    let mut files = valid();
    files.insert("osier-2025/trial.toml", OSIER.replace("leaf = \"leaf\"", "leaf = \"leaf\"\nposition = \"where\""));
    let with_position = |line: &str| match line {
        header if header.starts_with("rep") => format!("{line},where\n"),
        leaf if leaf.contains(",2,44.1") => format!("{line},flag leaf\n"),
        leaf if leaf.contains(",1,43.9") => format!("{line},second\n"),
        other => format!("{other},\n"),
    };
    let readings: String = files["osier-2025/readings.csv"].lines().map(with_position).collect();
    files.insert("osier-2025/readings.csv", readings);
    let programme = programme(&files);
    let trial = &programme.trials[1];
    assert_eq!(trial.leaf_positions, ["flag leaf", "second"]);
    let positions: Vec<Option<&str>> = trial.readings.iter().map(|reading| trial.leaf_position(reading)).collect();
    assert_eq!(positions, [None, None, None, None, Some("second"), Some("flag leaf"), None]);
}

#[test]
fn a_reading_stays_at_64_bytes() {
    assert_eq!(size_of::<Reading>(), 64);
}

const IN_FILE: &str = "instrument = \"canopy-ndvi\"\ntolerance = 0.02\nfile = \"plate.csv\"\ndate = \"day\"\ntime = \"at\"\nexpected = 0.45\nvalue = \"read\"";

#[test]
fn plates_are_read_from_a_file_or_the_descriptor_in_order_of_time() {
    let file = programme(&plates(
        IN_FILE,
        "day,at,read\n2024-04-02,14:30,0.455\n2024-04-02,9:05,0.45\n2024-04-01,12:00:30,0.46\n",
    ));
    let [check] = file.trials[0].plate_checks.as_slice() else { panic!("one check") };
    let readings: Vec<(String, f64)> =
        check.readings.iter().map(|reading| (format!("{} {}", reading.date, reading.time), reading.value)).collect();
    assert_eq!(
        readings,
        [
            ("2024-04-01 12:00:30".to_owned(), 0.46),
            ("2024-04-02 09:05:00".to_owned(), 0.45),
            ("2024-04-02 14:30:00".to_owned(), 0.455)
        ]
    );
    assert_eq!((check.tolerance, check.readings[0].expected, check.readings[0].place.row), (0.02, 0.45, Some(4)));
    let typed = "instrument = \"canopy-ndvi\"\ntolerance = 0.02\nexpected = 0.45\nreadings = [{ date = 2024-04-02, time = 14:30:00, value = 0.47 }, { date = 2024-04-02, time = \"9:05\", value = 0.45 }]";
    let typed = programme(&plates(typed, ""));
    let values: Vec<f64> = typed.trials[0].plate_checks[0].readings.iter().map(|reading| reading.value).collect();
    assert_eq!(values, [0.45, 0.47]);
    let column = IN_FILE.replace("expected = 0.45", "expected = \"plate\"");
    let column = programme(&plates(&column, "day,at,plate,read\n2024-04-02,9:00,0.4,0.41\n"));
    assert_eq!(column.trials[0].plate_checks[0].readings[0].expected, 0.4);
}

#[test]
fn a_fault_of_a_plate_check_is_named_with_its_place() {
    let sound = "day,at,read\n2024-04-02,9:05,0.45\n";
    let file = |plate: &str| plates(IN_FILE, plate);
    assert_error(&file("day,at,read\n2024-04-02,9.05,0.45\n"), "not-a-time", &["row 2", "at", "9.05"]);
    assert_error(&file("day,at,read\n2024-04-02,9:05,\n"), "no-readings", &["no reading of the plate"]);
    assert_error(&file("day,at,value\n2024-04-02,9:05,0.45\n"), "missing-column", &["plate_check.value", "read"]);
    let section = |from: &str, to: &str| plates(&IN_FILE.replace(from, to), sound);
    assert_error(&section("tolerance = 0.02\n", ""), "missing-key", &["plate_check.tolerance"]);
    assert_error(&section("tolerance = 0.02", "tolerance = 0"), "out-of-range", &["plate_check.tolerance", "0"]);
    assert_error(&section("expected = 0.45\n", ""), "missing-key", &["plate_check.expected"]);
    assert_error(&section("time = \"at\"", "tme = \"at\""), "unknown-key", &["tme"]);
    let without = "instrument = \"canopy-ndvi\"\ntolerance = 0.02\nexpected = 0.45";
    assert_error(&plates(without, ""), "missing-key", &["the plate check has no readings"]);
    assert_error(&plates(&format!("{without}\nreadings = []"), ""), "no-readings", &["no reading of the plate"]);
    let both = format!("{IN_FILE}\nreadings = [{{ date = 2024-04-02, time = \"9:05\", value = 0.45 }}]");
    let findings = load(&plates(&both, sound)).unwrap_err();
    assert!(findings.iter().all(|finding| finding.code == "conflicting-keys"), "{findings:#?}");
    let late = format!("{without}\nreadings = [{{ date = 2024-04-02, time = \"25:00\", value = 0.45 }}]");
    assert_error(&plates(&late, ""), "wrong-type", &["time of day", "25:00"]);
}

#[test]
fn a_programme_decides_on_flagged_leaves_and_thin_stands() {
    let with = |keys: &str| {
        let mut files = valid();
        files.insert("programme.toml", PROGRAMME.replace("[decisions]", &format!("[decisions]\n{keys}")));
        files
    };
    let usual = programme(&valid());
    assert_eq!((usual.decisions.flagged_leaves, usual.decisions.thin_stand_below), (FlaggedLeaves::Keep, None));
    let decided =
        programme(&with("flagged_leaves = \"leave-out\"\nthin_stand_below = { tillers = 70, unit = \"per ft2\" }"));
    assert_eq!(decided.trials[0].flagged_leaves, FlaggedLeaves::LeaveOut);
    assert_relative_eq!(decided.decisions.thin_stand_below.unwrap().per_square_foot(), 70.0, max_relative = 1e-12);
    assert_error(&with("flagged_leaves = \"drop\""), "unknown-value", &["decisions.flagged_leaves", "drop"]);
    assert_error(&with("thin_stand_below = 70"), "wrong-type", &["decisions.thin_stand_below", "70"]);
    assert_error(
        &with("thin_stand_below = { tillers = 0, unit = \"per ft2\" }"),
        "out-of-range",
        &["thin_stand_below.tillers"],
    );
    let along_rows = "thin_stand_below = { tillers = 70, unit = \"per ft of row\" }";
    assert_error(&with(along_rows), "unknown-value", &["thin_stand_below.unit", "per ft of row"]);
}
