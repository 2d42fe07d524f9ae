//! Readings in walking order, and readings by the hundred thousand.

use super::{UPPER, UPPER_PLOTS, load, valid};
use crate::trial::{Reading, Trial};

const TRIAL: &str = "upper-2024/trial.toml";

/// Code, row and text of a finding.
type Told = (&'static str, Option<u64>, String);

/// The trial with leaf readings in a file of their own.
fn walked(keys: &str, rows: &str) -> Result<Trial, Vec<Told>> {
    let section = format!(
        "[[readings]]\ninstrument = \"leaf-chlorophyll\"\nfile = \"walk.csv\"\nvalue = \"value\"\n{keys}\n[harvest]"
    );
    let mut files = valid();
    files.insert(TRIAL, UPPER.replacen("[harvest]", &section, 1));
    files.insert("upper-2024/walk.csv", rows.to_owned());
    match load(&files) {
        Ok(loaded) => Ok(loaded.value.trials.into_iter().find(|trial| trial.folder == "upper-2024").unwrap()),
        Err(findings) => Err(findings.into_iter().map(|it| (it.code, it.place.row, it.text)).collect()),
    }
}

fn leaves(trial: &Trial) -> Vec<(&str, Option<u32>, f64, u32)> {
    let leaf = |reading: &&Reading| reading.instrument == crate::trial::Instrument::LeafChlorophyll;
    let plot = |reading: &Reading| trial.plots[reading.plot].id.as_str();
    trial.readings.iter().filter(leaf).map(|it| (plot(it), it.leaf, it.value, it.row)).collect()
}

/// Two leaves of each of the four plots of two blocks.
const EIGHT: &str = "value\n41\n42\n51\n52\n31\nNA\n21\n22\n";
const SERPENTINE: &str = "date = { same = 2024-04-02 }\nwalk = { order = \"serpentine\", readings_per_plot = 2 }";

#[test]
fn a_serpentine_passes_every_second_block_in_reverse() {
    let trial = walked(SERPENTINE, EIGHT).unwrap();
    assert_eq!(trial.walks.len(), 1);
    let walk = &trial.walks[0];
    let passed: Vec<&str> = walk.plots.iter().map(|plot| trial.plots[*plot].id.as_str()).collect();
    assert_eq!(passed, ["101", "102", "104", "103"]);
    assert_eq!(
        (trial.reading_files[walk.file].as_str(), walk.date.to_string()),
        ("upper-2024/walk.csv", "2024-04-02".to_owned())
    );
    let expected = [
        ("101", Some(1), 41.0, 2),
        ("101", Some(2), 42.0, 3),
        ("102", Some(1), 51.0, 4),
        ("102", Some(2), 52.0, 5),
        ("103", Some(1), 21.0, 8),
        ("103", Some(2), 22.0, 9),
        ("104", Some(1), 31.0, 6),
    ];
    assert_eq!(leaves(&trial), expected, "the missing one took its place");
}

#[test]
fn the_order_of_the_plots_file_is_an_order_too_and_each_day_is_a_walk() {
    let rows: String = ["2024-04-02", "2024-04-09"]
        .iter()
        .flat_map(|day| (1..=4).map(move |plot| format!("{day},{plot}0\n")))
        .collect();
    let keys = "date = \"day\"\nwalk = { order = \"plots-file\", readings_per_plot = 1 }";
    let trial = walked(keys, &format!("day,value\n{rows}")).unwrap();
    assert_eq!(trial.walks.iter().map(|walk| walk.plots.clone()).collect::<Vec<_>>(), [[0, 1, 2, 3], [0, 1, 2, 3]]);
    assert_eq!(leaves(&trial)[7], ("104", Some(1), 40.0, 9));
}

#[test]
fn a_walk_of_another_length_is_refused_with_both_numbers() {
    let told = walked(SERPENTINE, &EIGHT.replace("22\n", "")).unwrap_err();
    let text = "the walk of 2024-04-02 has 7 readings, and 4 plots with 2 readings each make 8";
    assert_eq!(told, [("walk-count", Some(8), text.to_owned())]);
}

#[test]
fn a_walk_names_no_plots_and_a_serpentine_needs_lines() {
    let codes = |keys: &str| walked(keys, EIGHT).unwrap_err().into_iter().map(|(code, ..)| code).collect::<Vec<_>>();
    assert_eq!(codes(&format!("{SERPENTINE}\nplot = \"plot\"")), ["conflicting-keys"]);
    assert_eq!(codes(&SERPENTINE.replace("serpentine\"", "serpentine\", along = \"line\"")), ["missing-column"]);
    assert_eq!(codes(&SERPENTINE.replace("= 2 }", "= 0 }")), ["out-of-range"]);
    assert!(UPPER_PLOTS.starts_with("plot,rep"));
}

#[test]
fn two_hundred_thousand_readings_each_find_their_plot() {
    let mut rows = "leaf,plot,value,day\n".to_owned();
    for row in 0..200_000_u32 {
        // Neither in order of plots nor of leaves.
        let (plot, leaf) = (101 + row % 4, 1 + (row / 4) * 7919 % 50_000);
        rows += &format!("{leaf},{plot},{}.5,2024-04-02\n", plot - 60);
    }
    let trial = walked("date = \"day\"\nplot = \"plot\"\nleaf = \"leaf\"", &rows).unwrap();
    let leaves = leaves(&trial);
    assert_eq!(leaves.len(), 200_000);
    assert_eq!(leaves[0], ("101", Some(1), 41.5, 2));
    assert!(leaves.iter().all(|(plot, _, value, _)| plot.parse::<f64>().unwrap() - 59.5 == *value));
    assert!(leaves.is_sorted_by_key(|(plot, leaf, ..)| (plot.to_owned(), *leaf)));
}
