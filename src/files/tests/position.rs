//! Where plots lie in the field: read as typed, and each fault told where it is.

use std::collections::BTreeMap;

use super::{UPPER, UPPER_PLOTS, load, valid};
use crate::finding::{Finding, Severity};
use crate::trial::Position;

const DESCRIPTOR: &str = "upper-2024/trial.toml";
const PLOTS: &str = "upper-2024/plots.csv";
const KEY: &str = "position = { row = \"range\", column = \"tier\" }";

/// The sound programme, its first trial with this key and these cells for each plot.
fn with(key: &str, cells: &[&str]) -> BTreeMap<&'static str, String> {
    let mut files = valid();
    files.insert(DESCRIPTOR, UPPER.replace("block = \"rep\"\n", &format!("block = \"rep\"\n{key}\n")));
    let rows = UPPER_PLOTS.lines().zip(["range,tier"].iter().chain(cells));
    files.insert(PLOTS, rows.map(|(line, cells)| format!("{line},{cells}\n")).collect());
    files
}

/// Cells for every plot but what is said of the first.
fn cells<'c>(first: &'c [&'c str]) -> Vec<&'c str> {
    let others = ["1,1", "1,2", "1,3", "2,1", "2,2", "2,3", "3,1", "3,2"];
    first.iter().copied().chain(others.into_iter().skip(first.len())).take(UPPER_PLOTS.lines().count() - 1).collect()
}

#[test]
fn a_plot_lies_where_its_row_says_and_nowhere_without_the_key() {
    let positions = |files: &BTreeMap<&'static str, String>| -> Vec<Option<Position>> {
        let programme = load(files).unwrap().value;
        let trial = programme.trials.iter().find(|trial| trial.folder == "upper-2024").unwrap();
        trial.plots.iter().map(|plot| plot.position).collect()
    };
    let found = positions(&with(KEY, &cells(&["4,7"])));
    assert_eq!(found[0], Some(Position { row: 4, column: 7 }));
    assert_eq!(found[1], Some(Position { row: 1, column: 2 }));
    assert!(positions(&valid()).iter().all(Option::is_none));
}

#[test]
fn each_fault_of_a_position_is_one_error_with_its_place_and_what_would_be_right() {
    let told = |key: &str, first: &[&str]| -> (String, Option<u64>, Option<String>, Option<String>) {
        let findings = load(&with(key, &cells(first))).unwrap_err();
        let errors: Vec<&Finding> = findings.iter().filter(|found| found.severity == Severity::Error).collect();
        let [error] = errors.as_slice() else { panic!("{key} {first:?}: {findings:#?}") };
        assert!(error.remedy.is_some(), "{error}");
        let place = &error.place;
        (error.code.to_owned(), place.row, place.column.clone(), place.value.clone())
    };
    let is = |code: &str, row: u64, column: &str, value: Option<&str>| {
        (code.to_owned(), Some(row), Some(column.to_owned()), value.map(str::to_owned))
    };
    // Two plots at one place: told at the second, in the column that its place ends with.
    assert_eq!(told(KEY, &["1,2"]), is("duplicate-position", 3, "tier", Some("2")));
    for typed in ["1.5", "0", "-1", "1001", "A"] {
        let cells = format!("{typed},9");
        assert_eq!(told(KEY, &[&cells]), is("not-a-number", 2, "range", Some(typed)));
    }
    assert_eq!(told(KEY, &["9,"]), is("missing-cell", 2, "tier", Some("")));
    let without = "position = { row = \"range\" }";
    assert_eq!(told(without, &[]), is("missing-key", 10, "plots.position.column", None));
    let unknown = "position = { row = \"range\", column = \"teir\" }";
    assert_eq!(told(unknown, &[]), is("missing-column", 10, "plots.position.column", Some("teir")));
    let misspelt = "position = { row = \"range\", column = \"tier\", colum = 3 }";
    assert_eq!(told(misspelt, &[]), is("unknown-key", 10, "plots.position.colum", Some("colum")));
}
