//! The command that draws figures.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::run::{Run, command, finish, trials};

fn trial() -> PathBuf {
    trials().join("upper-terrace-2024")
}

fn figures(place: &Path, threads: &str, further: &[&str]) -> Run {
    let trial = trial();
    let arguments = ["figures", trial.to_str().unwrap()].into_iter().chain(further.iter().copied());
    finish(command(place, arguments).env("RAYON_NUM_THREADS", threads))
}

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries
        .map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), std::fs::read(&path).unwrap()))
        .collect()
}

#[test]
fn every_figure_comes_in_three_formats_with_its_caption_and_the_same_bytes_on_any_number_of_threads() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let run = figures(one.path(), "1", &["--dpi", "72", "--format", "json"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let listed = run.json();
    assert_eq!(listed["schema"], "stook/figures/1");
    let drawn = files(&one.path().join("figures"));
    let mut expected = 0;
    for figure in listed["figures"].as_array().unwrap() {
        let name = figure["name"].as_str().unwrap();
        for (ending, begins) in [("svg", "<svg"), ("pdf", "%PDF-"), ("png", "\u{89}PNG"), ("txt", "")] {
            let bytes = &drawn[&format!("{name}.{ending}")];
            let begins: Vec<u8> = begins.chars().map(|c| c as u8).collect();
            assert!(bytes.starts_with(&begins) && bytes.len() > 50, "{name}.{ending}");
            expected += 1;
        }
        assert_eq!(drawn[&format!("{name}.txt")], format!("{}\n", figure["caption"].as_str().unwrap()).into_bytes());
        assert!(figure["finding"].as_str().unwrap().len() > 30 && figure["width_mm"].as_f64().unwrap() > 80.0);
    }
    assert!(expected >= 8 && drawn.len() == expected, "{expected} {}", drawn.len());
    assert_eq!(figures(two.path(), "2", &["--dpi", "72"]).status, 0);
    assert_eq!(drawn, files(&two.path().join("figures")));
}

#[test]
fn figures_are_drawn_as_asked() {
    let place = tempfile::tempdir().unwrap();
    let asked = ["--only", "response", "--files", "svg", "--width", "130", "--units", "si", "--unit-form", "exponent"];
    let run = figures(
        place.path(),
        "2",
        &[&asked[..], &["--decimal-mark", "comma", "--grey", "--titles", "--out", "print"]].concat(),
    );
    assert_eq!(run.status, 0, "{}", run.stderr);
    let drawn = files(&place.path().join("print"));
    assert_eq!(
        drawn.keys().map(String::as_str).collect::<Vec<_>>(),
        ["upper-terrace-2024-response.svg", "upper-terrace-2024-response.txt"]
    );
    let svg = String::from_utf8(drawn["upper-terrace-2024-response.svg"].clone()).unwrap();
    for wanted in [
        "width=\"130mm\"",
        "Yield (Mg\u{a0}ha\u{207b}\u{b9})",
        "N rate (kg\u{a0}ha\u{207b}\u{b9})",
        "Upper Terrace 2024</text>",
    ] {
        assert!(svg.contains(wanted), "{wanted}");
    }
    // The palette's blue of curves is gone; the price ratio of the caption has a comma.
    assert!(!svg.contains("#1B5878"));
    assert!(String::from_utf8_lossy(&drawn["upper-terrace-2024-response.txt"]).contains("6,087\u{20}kg per kg N"));
}

#[test]
fn what_cannot_be_drawn_as_asked_is_said_and_nothing_is_written() {
    let place = tempfile::tempdir().unwrap();
    let trial = trial();
    for (further, words) in [
        (vec!["--only", "moon"], "no figure has “moon” in its name; there are upper-terrace-2024-response"),
        (vec!["--width", "20"], "a number of millimetres from 70 to 300"),
        (vec!["--dpi", "5000"], "5000 is not in 72..=1200"),
        (vec!["--files", "gif"], "[possible values: svg, pdf, png]"),
        (vec!["--format", "xlsx"], "the list of figures is text, json or csv"),
        (vec!["--out", trial.to_str().unwrap()], "is or holds the programme: name a folder of its own"),
    ] {
        let run = figures(place.path(), "2", &further);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{further:?}");
        assert!(run.stderr.contains(words), "{further:?}: {}", run.stderr);
        assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 0, "{further:?}");
    }
    std::fs::write(place.path().join("figures"), "mine").unwrap();
    let run = figures(place.path(), "2", &["--only", "response"]);
    assert_eq!(run.status, 3, "{}", run.stderr);
    assert_eq!(std::fs::read_to_string(place.path().join("figures")).unwrap(), "mine");
}
