//! Exit statuses, and where what goes.

use std::process::Stdio;

use crate::run::{OATS, command, data, finish, oats, package, programme_copy, stook, stook_in};

pub const ANSWERED: i32 = 0;
pub const NOT_ANSWERED: i32 = 1;
const USAGE_OR_INPUT: i32 = 2;
const CANNOT_WRITE: i32 = 3;

fn refused(arguments: &[&str], words: &[&str]) {
    let run = stook_in(&data(), arguments);
    assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{arguments:?}");
    for word in words {
        assert!(run.stderr.contains(word), "{arguments:?} says {word}: {}", run.stderr);
    }
}

#[test]
fn every_command_answers_the_demo_programme() {
    // The season has tests of its own.
    let commands: [&[&str]; 8] = [
        &["check", "trials"],
        &["yields", "trials"],
        &["curves", "trials"],
        &["optimum", "trials"],
        &["sense", "trials"],
        &["calibrate", "trials"],
        &["table", "trials", "--name", "leaf-jointing"],
        &["curves", "trials/osier-bend-2025"],
    ];
    for arguments in commands {
        for format in ["text", "json", "csv"] {
            let run = stook(arguments.iter().copied().chain(["--format", format]));
            assert_eq!(run.status, ANSWERED, "{arguments:?} {format}: {}", run.stderr);
            assert!(!run.stdout.is_empty(), "{arguments:?} {format}");
            for never in ["NaN", "inf,", " inf ", "Infinity"] {
                assert!(!run.stdout.contains(never), "{arguments:?} {format} says {never}");
            }
            if format == "json" {
                let json = run.json();
                for field in ["schema", "version", "inputs", "options", "seed", "warnings"] {
                    assert!(json.get(field).is_some(), "{arguments:?} has {field}");
                }
            }
        }
    }
}

#[test]
fn flags_of_site_years_that_make_no_sense_are_refused_with_what_would() {
    let bare = [OATS, "--rate", "nitrogen", "--yield", "yield", "--price-ratio", "0.1"];
    let with = |further: &[&'static str]| [&["optimum"], &bare[..], further].concat();
    refused(&with(&["--site-years"]), &["--site-years", "--by"]);
    refused(&with(&["--by", "variety", "--weights", "Victory=2"]), &["--weights", "--site-years"]);
    refused(&with(&["--by", "variety", "--site-years", "--weights", "Victoria=2"]), &["Victoria", "Victory"]);
    refused(&with(&["--by", "variety", "--site-years", "--weights", "Victory=-1"]), &["at least 0"]);
    let trials = crate::run::trials();
    refused(&["optimum", trials.to_str().unwrap(), "--site-years"], &["--site-years", "trials"]);
}

#[test]
fn a_response_that_is_not_shown_is_an_answer() {
    let run = stook(["optimum", "trials/osier-bend-2024", "--format", "json"]);
    assert_eq!(run.status, ANSWERED);
    let json = run.json();
    let group = &json["groups"][0];
    assert_ne!(group["response"], "detected");
    assert_eq!((&group["optimum"]["status"], &group["optimum"]["rate"]), (&"not-shown".into(), &0.0.into()));
}

#[test]
fn where_nothing_can_be_answered_the_reasons_are_on_standard_output() {
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join("one-rate.csv"), "n,y\n0,1\n0,2\n").unwrap();
    for command in ["curves", "optimum"] {
        for format in ["text", "json", "csv"] {
            let prices: &[&str] = if command == "optimum" { &["--price-ratio", "0.1"] } else { &[] };
            let arguments = [command, "one-rate.csv", "--rate", "n", "--yield", "y", "--format", format];
            let run = stook_in(place.path(), arguments.into_iter().chain(prices.iter().copied()));
            assert_eq!(run.status, NOT_ANSWERED, "{command} {format}");
            assert!(run.stdout.contains("at least two"), "{command} {format}: {}", run.stdout);
        }
    }
}

#[test]
fn a_programme_without_a_reference_has_no_table_and_says_so() {
    let copy = programme_copy();
    let trial = copy.path().join("trials/upper-terrace-2023");
    let text = std::fs::read_to_string(trial.join("trial.toml")).unwrap();
    let start = text.find("[reference]").unwrap();
    let end = start + text[start + 1..].find("\n[").unwrap() + 1;
    std::fs::write(trial.join("trial.toml"), [&text[..start], &text[end..]].concat()).unwrap();
    for format in ["text", "json", "csv"] {
        let arguments = ["table", "trials/upper-terrace-2023", "--name", "leaf-jointing", "--format", format];
        let run = stook_in(copy.path(), arguments);
        assert_eq!(run.status, NOT_ANSWERED, "{format}: {}", run.stderr);
        assert!(run.stdout.contains("N-rich reference"), "{format}: {}", run.stdout);
    }
}

#[test]
fn roles_are_asked_for_on_a_file_and_refused_on_a_folder() {
    refused(&["curves", OATS], &["--rate and --yield"]);
    refused(&["curves", OATS, "--rate", "nitrogen"], &["--yield is missing"]);
    let run = stook(["curves", "trials", "--rate", "n", "--rate-unit", "kg/ha"]);
    assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""));
    assert!(run.stderr.contains("--rate --rate-unit") && run.stderr.contains("descriptor"), "{}", run.stderr);
}

#[test]
fn prices_come_whole_or_not_at_all() {
    let roles = ["optimum", OATS, "--rate", "nitrogen", "--yield", "yield"];
    let with = |further: &[&'static str]| roles.into_iter().chain(further.iter().copied()).collect::<Vec<_>>();
    refused(&with(&[]), &["--price-ratio"]);
    refused(&with(&["--grain-price", "6"]), &["--n-price"]);
    refused(&with(&["--n-price", "0.6"]), &["--grain-price"]);
    refused(&with(&["--price-ratio", "0.1", "--grain-price", "6", "--n-price", "0.6"]), &["not both"]);
    refused(&with(&["--price-ratio", "-0.1"]), &["at least 0"]);
    refused(&with(&["--price-ratio", "NaN"]), &["at least 0"]);
    refused(&with(&["--price-ratio", "2e6"]), &["at most 1000000"]);
    refused(&with(&["--grain-price", "1e-308", "--n-price", "1e308"]), &["no price of N"]);
    refused(&with(&["--grain-price", "0", "--n-price", "0.6"]), &["above 0"]);
    refused(&with(&["--price-ratio", "0.1", "--level", "95"]), &["between 0 and 1"]);
    refused(&with(&["--price-ratio", "0.1", "--family", "cubic"]), &["quadratic-plateau"]);
}

#[test]
fn grain_and_n_prices_are_their_ratio() {
    let by_prices = oats("optimum", &["--grain-price", "5", "--n-price", "0.5"]);
    let by_ratio = oats("optimum", &["--price-ratio", "0.1"]);
    assert_eq!(by_prices.stdout, by_ratio.stdout);
}

#[test]
fn no_result_is_written_over_its_own_input() {
    let copy = programme_copy();
    let kept = |arguments: &[&str], file: &str| {
        let before = std::fs::read(copy.path().join(file)).unwrap();
        let run = stook_in(copy.path(), arguments.iter().copied().chain(["--out", file]));
        assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{arguments:?}: {}", run.stderr);
        assert!(run.stderr.contains("one of the files read"), "{arguments:?}: {}", run.stderr);
        assert!(std::fs::read(copy.path().join(file)).unwrap() == before, "{arguments:?}");
    };
    std::fs::copy(data().join(OATS), copy.path().join("oats.csv")).unwrap();
    std::fs::hard_link(copy.path().join("oats.csv"), copy.path().join("linked.csv")).unwrap();
    for file in ["oats.csv", "linked.csv"] {
        kept(&["curves", "oats.csv", "--rate", "nitrogen", "--yield", "yield"], file);
    }
    kept(&["yields", "trials"], "trials/upper-terrace-2024/plots.csv");
    kept(&["yields", "trials/upper-terrace-2024"], "trials/upper-terrace-2024/plots.csv");
    kept(&["sense", "trials/upper-terrace-2024"], "trials/programme.toml");
    kept(&["check", "trials"], "trials/programme.toml");
    crate::run::edit(&copy.path().join("trials/programme.toml"), "currency", "curency");
    kept(&["check", "trials"], "trials/upper-terrace-2024/plots.csv");
    for out in ["trials", "."] {
        let run = stook_in(copy.path(), ["season", "trials/upper-terrace-2024", "--out", out]);
        assert_eq!(run.status, USAGE_OR_INPUT, "{}", run.stderr);
    }
}

#[test]
fn a_price_ratio_that_coincides_with_another_is_left_out_with_a_warning() {
    let run = stook(["table", "trials/upper-terrace-2024", "--name", "leaf-jointing", "--price-ratio", "0.0501"]);
    assert_eq!(run.status, ANSWERED, "{}{}", run.stdout, run.stderr);
    let run = stook(["calibrate", "trials/upper-terrace-2024", "--price-ratio", "0.0501", "--format", "json"]);
    let warnings = run.json()["warnings"].to_string();
    assert!(warnings.contains("price-ratio-left-out") && warnings.contains("0.05"), "{warnings}");
}

#[test]
fn price_ratios_that_are_one_or_none_are_input_errors_with_their_line() {
    for (list, words) in [("[0.05, 0.0502]", "0.05 is already listed"), ("[0.05, 1e9]", "at most 1000000")] {
        let copy = programme_copy();
        crate::run::edit(&copy.path().join("trials/programme.toml"), "[0.05, 0.15]", list);
        let run = stook_in(copy.path(), ["optimum", "trials"]);
        assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""), "{list}");
        assert!(run.stderr.contains(words) && run.stderr.contains("line"), "{list}: {}", run.stderr);
    }
}

#[test]
fn a_programme_whose_readings_are_all_excluded_says_so() {
    let copy = programme_copy();
    let trial = copy.path().join("trials/upper-terrace-2023");
    let plots = std::fs::read_to_string(trial.join("plots.csv")).unwrap();
    let mut descriptor = std::fs::read_to_string(trial.join("trial.toml")).unwrap();
    for plot in plots.lines().skip(1).filter_map(|line| line.split(',').next()) {
        descriptor += &format!("\n[[exclude]]\nplot = {plot}\nwhat = \"readings\"\nreason = \"lodged\"\n");
    }
    std::fs::write(trial.join("trial.toml"), descriptor).unwrap();
    let run = stook_in(copy.path(), ["table", "trials/upper-terrace-2023", "--name", "leaf-jointing"]);
    assert_eq!(run.status, NOT_ANSWERED, "{}", run.stderr);
    let said = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("gives a calibration point: ") && !said.contains("point: ."), "{said}");
}

#[test]
fn wrong_paths_and_names_are_input_errors() {
    refused(&["curves", "nowhere.csv", "--rate", "n", "--yield", "y"], &["nowhere.csv", "no such file"]);
    refused(&["check", "nowhere"], &["nowhere"]);
    refused(&["season", OATS], &["programme or trial folder"]);
    refused(&["lookup", "--table", OATS, "--reading", "1", "--reference", "2"], &[OATS, "table file"]);
    refused(&["lookup", "--table", "no.json", "--reading", "1", "--reference", "2"], &["there is no such file"]);
    let run = stook(["table", "trials", "--name", "leaf"]);
    assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""));
    assert!(run.stderr.contains("leaf-jointing"), "{}", run.stderr);
    let run = stook(["table", "trials", "--format", "json"]);
    assert_eq!((run.status, run.stdout.as_str()), (USAGE_OR_INPUT, ""));
    assert!(run.stderr.contains("--name"), "{}", run.stderr);
}

#[test]
fn help_and_version_are_answers() {
    for arguments in [&["--help"][..], &["--version"], &["curves", "--help"], &["help", "lookup"]] {
        let run = stook(arguments);
        assert_eq!((run.status, run.stderr.as_str()), (ANSWERED, ""), "{arguments:?}");
    }
    assert_eq!(stook([] as [&str; 0]).status, USAGE_OR_INPUT);
    assert_eq!(stook(["harvest"]).status, USAGE_OR_INPUT);
}

#[test]
fn check_lists_what_it_finds_on_standard_output() {
    let copy = programme_copy();
    crate::run::edit(&copy.path().join("trials/programme.toml"), "currency", "curency");
    crate::run::edit(
        &copy.path().join("trials/upper-terrace-2024/trial.toml"),
        "harvest_year = 2024",
        "harvest_year = \"soon\"",
    );
    let run = stook_in(copy.path(), ["check", "trials", "--format", "json"]);
    assert_eq!(run.status, NOT_ANSWERED, "{}", run.stderr);
    let json = run.json();
    let files: Vec<&str> =
        json["findings"].as_array().unwrap().iter().filter_map(|found| found["file"].as_str()).collect();
    assert!(files.iter().any(|file| file.ends_with("programme.toml")), "{files:?}");
    assert!(files.iter().any(|file| file.ends_with("trial.toml")), "{files:?}");
    assert_eq!(json["errors"].as_u64().unwrap() as usize, files.len());
    for format in ["text", "csv"] {
        let run = stook_in(copy.path(), ["check", "trials", "--format", format]);
        assert_eq!(run.status, NOT_ANSWERED);
        assert!(run.stdout.contains("curency") && run.stdout.contains("soon"), "{format}: {}", run.stdout);
    }
}

#[test]
fn a_reader_that_stops_reading_is_no_failure() {
    let mut child = command(&package(), ["curves", "trials", "--format", "json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(ANSWERED));
    assert!(output.stderr.is_empty());
}

#[test]
fn a_result_goes_to_a_file_instead() {
    let place = tempfile::tempdir().unwrap();
    let file = place.path().join("oats.json");
    let run = oats("curves", &["--format", "json", "--out", file.to_str().unwrap()]);
    assert_eq!((run.status, run.stdout.as_str()), (ANSWERED, ""));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), oats("curves", &["--format", "json"]).stdout);
    let nowhere = place.path().join("nowhere/oats.json");
    let run = oats("curves", &["--out", nowhere.to_str().unwrap()]);
    assert_eq!((run.status, run.stdout.as_str()), (CANNOT_WRITE, ""));
    assert!(run.stderr.contains("nowhere"), "{}", run.stderr);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said() {
    for arguments in [&["curves", "trials/upper-terrace-2024", "--format", "json"][..], &["--help"]] {
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let mut curves = command(&package(), arguments);
        let child = curves.stdout(Stdio::from(full)).stderr(Stdio::piped()).spawn().unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(CANNOT_WRITE), "{arguments:?}");
        assert!(String::from_utf8_lossy(&output.stderr).contains("standard output"));
    }
}

#[test]
fn warnings_of_a_csv_go_to_standard_error() {
    let run = stook(["calibrate", "trials", "--format", "csv"]);
    assert!(run.stderr.contains("Warnings (") && !run.stdout.contains("Warnings ("));
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let run = |threads: &str, seed: &str| {
        let mut command = command(&package(), ["calibrate", "trials", "--format", "json", "--seed", seed]);
        finish(command.env("RAYON_NUM_THREADS", threads)).stdout
    };
    assert_eq!(run("1", "7"), run("2", "7"));
    assert_ne!(run("1", "7"), run("1", "8"));
}
