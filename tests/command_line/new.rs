//! A descriptor proposed from a spreadsheet.

use std::fs;
use std::path::Path;

use crate::run::stook_in;

const PLOTS: &str = "plot,rep,n_lb_ac,yield_bu_ac
101,1,0,40.1
102,1,60,55.2
103,1,120,60.3
201,2,120,61.4
202,2,0,41.5
203,2,60,57.6
";

/// A folder that holds `osier-bend-2025/plots.csv`.
fn with_plots() -> tempfile::TempDir {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("osier-bend-2025")).unwrap();
    fs::write(place.path().join("osier-bend-2025/plots.csv"), PLOTS).unwrap();
    place
}

fn read(place: &Path, file: &str) -> String {
    fs::read_to_string(place.join(file)).unwrap_or_else(|error| panic!("{file}: {error}"))
}

#[test]
fn a_descriptor_is_written_beside_the_file_and_what_is_missing_is_said() {
    let place = with_plots();
    let run = stook_in(place.path(), ["new", "osier-bend-2025/plots.csv"]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""), "{}", run.stdout);
    for words in [
        "plots.csv: plots, headers on row 1, 6 rows below",
        "n_lb_ac      n-rate  sure",
        "osier-bend-2025/trial.toml",
        "date of N: the day it went on",
        "stook check osier-bend-2025 says now",
        "the key \"date\" is missing",
        "stook curves osier-bend-2025/plots.csv --rate n_lb_ac --yield yield_bu_ac --block rep",
    ] {
        assert!(run.stdout.contains(words), "{words} in\n{}", run.stdout);
    }
    assert!(read(place.path(), "programme.toml").contains("yield = \"bu/ac\""));
    // Filled in as it asks, it is ready.
    let trial = read(place.path(), "osier-bend-2025/trial.toml");
    fs::write(
        place.path().join("osier-bend-2025/trial.toml"),
        trial.replace("# date = YYYY-MM-DD", "date = 2025-03-02").replace("# moisture", "moisture"),
    )
    .unwrap();
    let programme = read(place.path(), "programme.toml").replace("# crop", "crop").replace("# currency", "currency");
    fs::write(place.path().join("programme.toml"), programme).unwrap();
    let check = stook_in(place.path(), ["check", "osier-bend-2025"]);
    assert_eq!(check.status, 0, "{}", check.stdout);
    let look = stook_in(place.path(), ["curves", "osier-bend-2025"]);
    assert_eq!(look.status, 0, "{}", look.stderr);
}

#[test]
fn a_descriptor_that_is_there_is_left_as_it_is() {
    let place = with_plots();
    let trial = place.path().join("osier-bend-2025/trial.toml");
    fs::write(&trial, "mine").unwrap();
    let run = stook_in(place.path(), ["new", "osier-bend-2025/plots.csv"]);
    assert_eq!((run.status, run.stdout.as_str()), (3, ""));
    assert!(run.stderr.contains("there is one already"), "{}", run.stderr);
    assert_eq!(fs::read_to_string(trial).unwrap(), "mine");
    assert!(!place.path().join("programme.toml").exists());
}

#[test]
fn a_folder_for_the_trial_is_made_and_the_files_are_copied_there() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir_all(place.path().join("downloads/more")).unwrap();
    fs::create_dir(place.path().join("trials")).unwrap();
    fs::write(place.path().join("downloads/plots.csv"), PLOTS).unwrap();
    let readings = "plot,date,ndvi\n101,2025-04-02,0.41\n102,2025-04-02,0.52\n103,2025-04-02,0.6\n";
    fs::write(place.path().join("downloads/more/readings.csv"), readings).unwrap();
    let files = ["new", "downloads/plots.csv", "downloads/more/readings.csv"];
    let apart = stook_in(place.path(), files);
    assert_eq!((apart.status, apart.stdout.as_str()), (2, ""));
    let run = stook_in(place.path(), files.into_iter().chain(["--out", "trials/osier-bend-2025", "--format", "json"]));
    assert_eq!(run.status, 0, "{}", run.stderr);
    let json = run.json();
    assert_eq!(json["schema"], "stook/new/1");
    assert_eq!(json["inputs"].as_array().unwrap().len(), 2);
    assert_eq!(json["sheets"][1]["taken_for"], "readings");
    assert_eq!(json["columns"][2]["role"], "n-rate");
    assert!(json["check"]["errors"].as_u64().unwrap() > 0);
    assert_eq!(read(place.path(), "trials/osier-bend-2025/plots.csv"), PLOTS);
    let trial = read(place.path(), "trials/osier-bend-2025/trial.toml");
    assert!(trial.contains("file = \"readings.csv\"") && trial.contains("site = \"Osier Bend\""), "{trial}");
    assert!(place.path().join("trials/programme.toml").exists());
}

#[test]
fn passes_and_reflectances_are_proposed_and_what_is_unclear_is_left_to_choose() {
    let place = with_plots();
    let (mut canopy, mut leaves) =
        ("plot,date,run,red,nir,position\n".to_owned(), "plot,date,leaf,position,value\n".to_owned());
    for (row, plot) in PLOTS.lines().skip(1).map(|line| &line[..3]).enumerate() {
        for (number, side) in [(1, "east"), (2, "west")] {
            canopy += &format!("{plot},2025-04-02,{number},0.{number},0.{},{side}\n", 41 + row);
            leaves += &format!("{plot},2025-04-02,{number},{side},4{row}.{number}\n");
        }
    }
    fs::write(place.path().join("osier-bend-2025/canopy.csv"), canopy).unwrap();
    fs::write(place.path().join("osier-bend-2025/leaves.csv"), leaves).unwrap();
    let files = ["plots", "canopy", "leaves"].map(|file| format!("osier-bend-2025/{file}.csv"));
    let run = stook_in(place.path(), ["new"].into_iter().chain(files.iter().map(String::as_str)));
    assert_eq!((run.status, run.stderr.as_str()), (0, ""), "{}", run.stdout);
    for words in
        ["near-infrared  sure", "pass           likely  no two readings", "- position: where on the plant a leaf sat"]
    {
        assert!(run.stdout.contains(words), "{words} in\n{}", run.stdout);
    }
    let trial = read(place.path(), "osier-bend-2025/trial.toml");
    for line in [
        "\nred = \"red\"\nnear_infrared = \"nir\"\n",
        "\npass = \"run\"    # likely",
        "\n# position = \"position\"    # choose",
    ] {
        assert!(trial.contains(line), "{line} in\n{trial}");
    }
    // Filled in, with the position chosen, it is read.
    let chosen = [
        ("# date = YYYY-MM-DD", "date = 2025-02-02"),
        ("# timing = ", "timing = "),
        ("# moisture", "moisture"),
        ("# position", "position"),
    ];
    let trial = chosen.iter().fold(trial, |trial, (blank, value)| trial.replace(blank, value));
    fs::write(place.path().join("osier-bend-2025/trial.toml"), trial).unwrap();
    let programme = read(place.path(), "programme.toml").replace("# crop", "crop").replace("# currency", "currency");
    fs::write(place.path().join("programme.toml"), programme).unwrap();
    let sense = stook_in(place.path(), ["sense", "osier-bend-2025", "--format", "json"]);
    assert_eq!(sense.status, 0, "{}{}", sense.stdout, sense.stderr);
    let json = sense.json();
    let first = |sensing: usize| json["sensings"][sensing]["plots"][0].clone();
    assert_eq!(
        (&first(0)["plot"], &first(0)["readings"], &first(1)["readings"]),
        (&"101".into(), &2.into(), &2.into())
    );
    // The mean NDVI of both passes.
    let ndvi = f64::midpoint(0.31 / 0.51, 0.21 / 0.61);
    assert!((first(0)["reading"].as_f64().unwrap() - ndvi).abs() < 1e-12, "{}", first(0));
}

#[test]
fn a_file_that_can_not_be_read_leaves_nothing_behind() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("trial")).unwrap();
    fs::write(place.path().join("trial/plots.xlsx"), "not a workbook").unwrap();
    fs::write(place.path().join("trial/empty.csv"), "").unwrap();
    for file in ["trial/plots.xlsx", "trial/empty.csv", "trial/none.csv"] {
        let run = stook_in(place.path(), ["new", file]);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{file}");
        assert!(run.stderr.contains(file), "{file}: {}", run.stderr);
    }
    assert_eq!(fs::read_dir(place.path().join("trial")).unwrap().count(), 2);
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1);
}

#[test]
fn a_programme_folder_is_no_place_for_a_trial() {
    let place = with_plots();
    fs::write(place.path().join("osier-bend-2025/programme.toml"), "format = 1\n").unwrap();
    let run = stook_in(place.path(), ["new", "osier-bend-2025/plots.csv"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("--out"), "{}", run.stderr);
}

#[test]
fn latin_letters_are_taken_and_the_descriptor_says_so() {
    let place = tempfile::tempdir().unwrap();
    fs::create_dir(place.path().join("talacker-2024")).unwrap();
    let text: Vec<u8> =
        "Parzelle;Sorte;N kg/ha;Ertrag t/ha\n1;Grüne Ähre;0;4,1\n2;Grüne Ähre;60;5,2\n3;Grüne Ähre;120;6\n"
            .chars()
            .map(|letter| u8::try_from(u32::from(letter)).unwrap())
            .collect();
    fs::write(place.path().join("talacker-2024/ernte.csv"), text).unwrap();
    let run = stook_in(place.path(), ["new", "talacker-2024/ernte.csv"]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let trial = read(place.path(), "talacker-2024/trial.toml");
    assert!(trial.contains("encoding = \"latin-1\"    # likely"), "{trial}");
    assert!(!run.stdout.contains("not-utf8") && !run.stdout.contains("not UTF-8"), "{}", run.stdout);
}
