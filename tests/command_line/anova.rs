//! Analyses of variance as a user asks for them.

use serde_json::Value;

use crate::run::{OATS, Run, data, stook, stook_in};

/// The oats as the split-plot that they were.
const SPLIT_PLOT: [&str; 8] = ["--rate", "nitrogen", "--yield", "yield", "--block", "block", "--main-plot", "variety"];

fn anova(further: &[&str]) -> Run {
    stook_in(&data(), ["anova", OATS].into_iter().chain(further.iter().copied()))
}

fn split_plot(further: &[&str]) -> Run {
    anova(&[&SPLIT_PLOT, further].concat())
}

/// Versions come and go.
fn without_version(text: &str) -> String {
    text.replace(env!("CARGO_PKG_VERSION"), "VERSION")
}

/// A file in a folder of its own.
fn plots(text: &str) -> tempfile::TempDir {
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join("plots.csv"), text).unwrap();
    place
}

#[test]
fn a_split_plot_read_by_an_agronomist() {
    insta::assert_snapshot!("oats_split_plot", without_version(&split_plot(&["--design", "split-plot"]).stdout));
}

#[test]
fn a_mixed_model_read_by_an_agronomist() {
    let run = split_plot(&["--method", "reml", "--letters", "lsd", "--yield-unit", "Mg/ha", "--rate-unit", "cwt/ac"]);
    insta::assert_snapshot!("oats_mixed_model", without_version(&run.stdout));
}

#[test]
fn every_format_holds_the_same_table() {
    let rows = split_plot(&["--format", "json"]).json()["analyses"][0]["tables"][0]["rows"].clone();
    let csv = split_plot(&["--format", "csv"]).stdout;
    let mut lines = csv.lines();
    let columns: Vec<&str> = lines.next().unwrap().split(',').collect();
    let column = |name: &str| columns.iter().position(|column| *column == name).unwrap();
    // The design is quoted, as it holds a comma: the fields after it are counted from the end.
    let from_end = |line: &str, name: &str| line.rsplit(',').nth(columns.len() - 1 - column(name)).unwrap().to_owned();
    let sources: Vec<&str> = lines.filter(|line| from_end(line, "record") == "source").collect();
    let rows = rows.as_array().unwrap();
    assert_eq!(sources.len(), rows.len());
    for (line, row) in sources.iter().zip(rows) {
        assert_eq!(from_end(line, "term"), row["source"].as_str().unwrap());
        let number = |name: &str| from_end(line, name).parse::<f64>().ok();
        assert_eq!(number("ss"), row["ss"].as_f64(), "{line}");
        assert_eq!(number("p"), row["p"].as_f64(), "{line}");
    }
}

#[test]
fn options_are_in_the_answer_as_they_were_typed() {
    let options =
        split_plot(&["--df", "satterthwaite", "--level", "0.9", "--format", "json"]).json()["options"].clone();
    assert_eq!(
        (&options["df"], &options["level"], &options["main_plot"], &options["method"]),
        (&"satterthwaite".into(), &0.9.into(), &serde_json::json!(["variety"]), &Value::Null)
    );
}

#[test]
fn what_cannot_be_analysed_says_why_and_ends_with_one() {
    let place = plots("n,yield\n40,61\n40,66\n40,63\n");
    let run = stook_in(place.path(), ["anova", "plots.csv", "--rate", "n", "--yield", "yield"]);
    assert_eq!(run.status, 1, "{}{}", run.stdout, run.stderr);
    let said = "All plots: not analysed, as no factor has two levels: there is nothing to compare.";
    assert!(run.stdout.contains(said), "{}", run.stdout);
    let run = stook_in(place.path(), ["anova", "plots.csv", "--rate", "n", "--yield", "yield", "--format", "json"]);
    assert_eq!((run.status, run.json()["not_analysed"].as_array().unwrap().len()), (1, 1));
}

#[test]
fn a_trial_without_replicates_has_a_table_without_tests() {
    let place = plots("n,yield\n0,41\n40,61\n80,66\n");
    let run = stook_in(place.path(), ["anova", "plots.csv", "--rate", "n", "--yield", "yield"]);
    assert_eq!(run.status, 0, "{}{}", run.stdout, run.stderr);
    assert!(run.stdout.contains("no error is left to test n on"), "{}", run.stdout);
    assert!(!run.stdout.contains("share a letter"), "{}", run.stdout);
}

#[test]
fn treatment_means_are_refused() {
    let run = anova(&["--rate", "nitrogen", "--yield", "yield", "--replicates", "block"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("an analysis of variance needs the plots"), "{}", run.stderr);
}

#[test]
fn a_classical_table_of_what_is_random_is_refused() {
    for flags in [["--blocks", "random"], ["--residual-variance", "by-site-year"]] {
        let run = split_plot(&["--method", "classical", flags[0], flags[1]]);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""));
        assert!(run.stderr.contains(&format!("{} {} is of a mixed model", flags[0], flags[1])), "{}", run.stderr);
    }
}

#[test]
fn roles_are_for_a_bare_file() {
    let run = stook(["anova", "trials/upper-terrace-2024", "--block", "rep"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("--block is for a bare data file"), "{}", run.stderr);
}

#[test]
fn a_level_that_is_none_is_refused() {
    let run = split_plot(&["--level", "95"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("a level lies between 0 and 1"), "{}", run.stderr);
}

#[test]
fn no_line_of_a_trial_is_wider_than_the_page() {
    let run = stook(["anova", "trials/upper-terrace-2025"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    for line in run.stdout.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
}
