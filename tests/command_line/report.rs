//! `stook report`

use std::collections::BTreeMap;
use std::path::Path;

use calamine::{Data, Reader as _, Xlsx};

use crate::run::{programme_copy, stook_in};

/// One site-year of the demo as a programme of its own: the whole demo is in the season's tests.
const TRIAL: &str = "trials/upper-terrace-2024";

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![(folder.to_owned(), String::new())];
    while let Some((folder, prefix)) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = format!("{prefix}{}", path.file_name().unwrap().to_str().unwrap());
            if path.is_dir() {
                folders.push((path, format!("{name}/")));
            } else {
                found.insert(name, std::fs::read(path).unwrap());
            }
        }
    }
    found
}

#[test]
fn a_report_is_written_and_the_same_twice() {
    let copy = programme_copy();
    let first = stook_in(copy.path(), ["report", TRIAL, "--out", "first"]);
    assert_eq!(first.status, 0, "{}", first.stderr);
    let second = stook_in(copy.path(), ["report", TRIAL, "--out", "second"]);
    assert_eq!(second.status, 0, "{}", second.stderr);
    let (one, other) = (files(&copy.path().join("first")), files(&copy.path().join("second")));
    assert_eq!(one.keys().collect::<Vec<_>>(), other.keys().collect::<Vec<_>>());
    for (name, bytes) in &one {
        assert!(other.get(name) == Some(bytes), "{name} differs");
    }
    for name in ["report.html", "tables.xlsx", "tables/treatment-means.csv", "tables/optimum-rates.csv"] {
        assert!(one.contains_key(name), "{name} in {:?}", one.keys());
    }
    assert_eq!(one.contains_key("report.pdf"), cfg!(feature = "pdf"));
    assert_eq!(first.stderr.contains("report.pdf is left out"), cfg!(not(feature = "pdf")), "{}", first.stderr);
    let listed: Vec<&str> = first.stdout.lines().collect();
    assert_eq!(listed.len(), one.len());
    assert!(listed.iter().all(|file| copy.path().join(file).is_file()), "{listed:?}");
    let html = String::from_utf8(one["report.html"].clone()).unwrap();
    assert!(html.starts_with("<!DOCTYPE html>") && html.contains("Provenance"), "{}", &html[..200]);
}

#[test]
fn the_workbook_of_a_report_holds_its_tables_and_text_stays_text() {
    let copy = programme_copy();
    let trial = copy.path().join(TRIAL).join("trial.toml");
    let text = std::fs::read_to_string(&trial).unwrap();
    let hostile = text.replace("site = \"Upper Terrace\"", "site = \"=1+1\"");
    assert_ne!(hostile, text);
    std::fs::write(&trial, hostile).unwrap();
    let run = stook_in(copy.path(), ["report", TRIAL]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let found = files(&copy.path().join("report"));
    let mut workbook: Xlsx<_> = Xlsx::new(std::io::Cursor::new(&found["tables.xlsx"])).unwrap();
    let mut tables = 0;
    for (name, bytes) in &found {
        let Some(sheet) = name.strip_prefix("tables/").and_then(|name| name.strip_suffix(".csv")) else { continue };
        tables += 1;
        let range = workbook.worksheet_range(sheet).unwrap_or_else(|error| panic!("{sheet}: {error}"));
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(bytes.as_slice());
        for (row, record) in reader.records().map(Result::unwrap).enumerate() {
            for (column, field) in record.iter().enumerate() {
                match range.get((row, column)).unwrap_or(&Data::Empty) {
                    Data::Float(number) => assert_eq!(number.to_string(), field, "{sheet}"),
                    Data::String(text) => assert_eq!(text, field, "{sheet}"),
                    Data::Empty => assert_eq!("", field, "{sheet}"),
                    other => panic!("{sheet}: {other:?}"),
                }
            }
        }
    }
    assert!(tables > 15, "{tables}");
    let designs = workbook.worksheet_range("trial-designs").unwrap();
    assert_eq!(designs.get((1, 1)), Some(&Data::String("=1+1".to_owned())));
}

#[test]
fn a_report_and_a_figure_say_what_changed_since_an_earlier_table() {
    let copy = programme_copy();
    let programme = copy.path().join("trials/programme.toml");
    let text = std::fs::read_to_string(&programme).unwrap();
    // Few trials: the table is derived several times over.
    let few = text.replace(
        "leave_out = { ",
        "leave_out = { \"chalk-rise-2023\" = \"few\", \"chalk-rise-2024\" = \"few\", \"osier-bend-2024\" = \"few\", \"upper-terrace-2023\" = \"few\", \"upper-terrace-2024\" = \"few\", ",
    );
    assert_ne!(few, text);
    std::fs::write(&programme, few).unwrap();
    let table =
        ["table", "trials", "--name", "leaf-jointing", "--price-ratio", "0.2", "--format", "json", "--out", "old.json"];
    let run = stook_in(copy.path(), table);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let run = stook_in(copy.path(), ["report", "trials", "--earlier", "old.json", "--units", "si"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let found = files(&copy.path().join("report"));
    let moves = String::from_utf8(found["tables/moves-leaf-jointing.csv"].clone()).unwrap();
    assert!(moves.starts_with("index,price ratio before,now,"), "{moves}");
    let html = String::from_utf8(found["report.html"].clone()).unwrap();
    assert!(html.contains("change since Larkwater valley winter wheat"));
    assert!(html.contains("old.json"));
    let rates = String::from_utf8(found["tables/rates-leaf-jointing.csv"].clone()).unwrap();
    assert!(rates.lines().next().unwrap().contains("N rate (lb/ac)") && rates.contains("N rate (kg/ha)"), "{rates}");
    let asked = ["figures", "trials", "--earlier", "old.json", "--only", "change", "--files", "svg"];
    let run = stook_in(copy.path(), asked);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let drawn = files(&copy.path().join("figures"));
    assert_eq!(drawn.keys().collect::<Vec<_>>(), ["leaf-jointing-change-1.svg", "leaf-jointing-change-1.txt"]);
    let drawing = String::from_utf8_lossy(&drawn["leaf-jointing-change-1.svg"]).into_owned();
    assert!(drawing.contains("price ratio 0.2 bu per lb N"), "{drawing}");
}

#[test]
fn arguments_out_of_place_are_refused_before_anything_is_computed() {
    let copy = programme_copy();
    for (arguments, said) in [
        (vec!["report", "trials", "--out", "."], "is or holds the programme"),
        (vec!["report", "trials", "--units", "metric"], "metric"),
        (vec!["report", "trials", "--paper", "a5"], "a5"),
        (vec!["report", "trials", "--earlier", "trials/programme.toml"], "not-a-table"),
        (vec!["report", "trials/upper-terrace-2024/plots.csv"], "not-a-programme"),
        (vec!["report", "trials", "--grain-price", "6"], "--n-price"),
    ] {
        let run = stook_in(copy.path(), arguments.iter().copied());
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{arguments:?}: {}", run.stderr);
        assert!(run.stderr.contains(said), "{arguments:?}: {}", run.stderr);
    }
    assert!(!copy.path().join("report").exists());
    let taken = copy.path().join("taken");
    std::fs::write(&taken, "mine").unwrap();
    let run = stook_in(copy.path(), ["report", TRIAL, "--out", "taken"]);
    assert_eq!(run.status, 3, "{}", run.stderr);
    assert_eq!(std::fs::read_to_string(taken).unwrap(), "mine");
}
