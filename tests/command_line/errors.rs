//! Errors as a user sees them.

use crate::run::{OATS, data, edit, programme_copy, stook_in};

#[test]
fn a_misspelt_column_is_shown_with_the_nearest() {
    let run = stook_in(&data(), ["curves", OATS, "--rate", "nitrogn", "--yield", "yield"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    insta::assert_snapshot!("misspelt_column", run.stderr);
}

#[test]
fn every_fault_of_a_programme_is_shown_with_its_line() {
    let copy = programme_copy();
    edit(&copy.path().join("trials/programme.toml"), "moisture_percent", "moisture_pct");
    edit(&copy.path().join("trials/chalk-rise-2024/trial.toml"), "harvest_year = 2024", "harvest_year = 20244");
    let run = stook_in(copy.path(), ["season", "trials"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    insta::assert_snapshot!("faults_of_a_programme", run.stderr);
}

#[test]
fn numbers_that_are_none_are_shown_with_file_row_and_column() {
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join("strips.csv"), "n,yield\n0,41.2\n40,6o.1\n-80,66\n").unwrap();
    let run =
        stook_in(place.path(), ["optimum", "strips.csv", "--rate", "n", "--yield", "yield", "--price-ratio", "0.1"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    insta::assert_snapshot!("numbers_that_are_none", run.stderr);
}
