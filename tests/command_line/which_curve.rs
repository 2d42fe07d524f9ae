//! Which curve, factors and treatment means on the command line.

use crate::run::{OATS, Run, data, stook_in};

/// The made-up block trial as treatment means of four plots; its error mean square is 9.8333/15.
const MEANS: &str = "n,mean,reps\n0,40.25,4\n30,56.25,4\n60,67.5,4\n90,74,4\n120,76.5,4\n150,76.5,4\n";
const MEANS_ROLES: [&str; 6] = ["--rate", "n", "--yield", "mean", "--replicates", "reps"];
const ERROR: [&str; 4] = ["--error-mean-square", "0.6555555555555556", "--error-df", "15"];

fn on(file: &str, text: &str, command: &str, flags: &[&str]) -> Run {
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join(file), text).unwrap();
    stook_in(place.path(), [command, file].into_iter().chain(flags.iter().copied()))
}

fn means(text: &str, command: &str, flags: &[&str]) -> Run {
    on("means.csv", text, command, &[&MEANS_ROLES, flags].concat())
}

#[test]
fn levels_of_a_factor_are_compared_in_plain_sentences() {
    let roles = ["--rate", "nitrogen", "--yield", "yield", "--block", "block", "--factor", "variety"];
    let run = stook_in(&data(), ["curves", OATS].into_iter().chain(roles));
    let said = run.stdout.split("Does the response").nth(1).expect("the question is asked").replace("\n  ", " ");
    // Yates's split-plot: interaction F 0.3028 on 6 and 45 df, p 0.9322, as R's analysis has it.
    assert!(said.contains("Not shown (N rate × variety: F = 0.303 on 6 and 45 df, p = 0.932)."), "{said}");
    let json = stook_in(&data(), ["curves", OATS].into_iter().chain(roles).chain(["--format", "json"])).json();
    let test = &json["factor_tests"][0];
    assert_eq!((&test["factor"], &test["levels"][2]), (&"variety".into(), &"Marvellous".into()));
    assert!((test["interaction"]["f"].as_f64().unwrap() - 0.3028).abs() < 5e-5);
    assert_eq!(json["groups"].as_array().unwrap().len(), 4, "all levels together, then each of them");
    assert_eq!((&json["groups"][0]["pooled_over"], &json["groups"][1]["n"]), (&"variety".into(), &24.into()));
}

#[test]
fn varieties_of_a_trial_are_compared_without_being_asked() {
    let json = crate::run::stook(["curves", "trials/upper-terrace-2024", "--format", "json"]).json();
    let test = &json["factor_tests"][0];
    assert_eq!((&test["factor"], &test["group"]["trial"]), (&"variety".into(), &"upper-terrace-2024".into()));
    assert!(test["interaction"]["p"].is_number());
}

#[test]
fn the_weights_of_a_group_sum_to_one_and_its_plots_are_named() {
    let json = crate::run::oats("curves", &["--format", "json"]).json();
    for group in json["groups"].as_array().unwrap() {
        let weights = group["curves"].as_array().unwrap().iter().filter_map(|curve| curve["weight"].as_f64());
        assert!((weights.sum::<f64>() - 1.0).abs() < 1e-12);
        let residuals = group["diagnostics"]["residuals"].as_array().unwrap();
        assert_eq!(residuals.len(), 24);
        assert!(residuals.iter().all(|one| one["observation"].as_str().unwrap().starts_with("row ")));
        assert!(group["curves"][1]["lack_of_fit"]["p"].is_number());
    }
}

#[test]
fn an_outlying_plot_is_named_and_stays() {
    let yields = [40.1, 39.2, 41.3, 57.0, 55.8, 56.4, 66.9, 68.1, 67.2, 73.6, 74.9, 31.0, 75.2, 76.6, 75.4];
    let mut text = "n,yield\n".to_owned();
    yields.iter().enumerate().for_each(|(row, y)| text += &format!("{},{y}\n", 40 * (row / 3)));
    let run = on("strips.csv", &text, "curves", &["--rate", "n", "--yield", "yield"]);
    let said = run.stdout.replace("\n  ", " ");
    assert!(said.contains("row 13 (120) lies ") && said.contains("check what was recorded there"), "{said}");
    assert!(said.contains("Nothing is removed on that account."), "{said}");
    assert!(said.contains("15 observations"), "{said}");
}

#[test]
fn families_that_fit_alike_say_how_far_apart_their_optima_are() {
    let json = crate::run::stook(["optimum", "trials/upper-terrace-2024", "--format", "json"]).json();
    let found = &json["groups"][0]["disagreement"];
    let (low, high) = (&found["lowest"], &found["highest"]);
    let apart = high["rate"].as_f64().unwrap() - low["rate"].as_f64().unwrap();
    assert_eq!(found["by_how_much"].as_f64(), Some(apart));
    assert!(json["groups"][0]["averaged"]["rate"].is_number());
    for command in ["curves", "optimum"] {
        let text = crate::run::stook([command, "trials/upper-terrace-2024"]).stdout.replace("\n  ", " ");
        assert!(text.contains("fit about equally well"), "{text}");
    }
}

#[test]
fn treatment_means_with_their_error_are_tested_by_f() {
    let run = means(MEANS, "curves", &ERROR);
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert!(run.stdout.contains("6 treatment means of 24 plots"), "{}", run.stdout);
    assert!(run.stdout.contains("F = 1270 on 5 and 15 df"), "{}", run.stdout);
    let alone = means(MEANS, "curves", &[]);
    assert!(alone.stdout.contains("cannot be tested: treatment means alone hold no error"), "{}", alone.stdout);
    let optimum = means(MEANS, "optimum", &[&ERROR[..], &["--price-ratio", "0.1", "--format", "json"]].concat()).json();
    // Computed: 100.024 for the plots themselves.
    let rate = optimum["groups"][0]["optimum"]["rate"].as_f64().unwrap();
    assert!((rate - 100.024).abs() < 5e-4, "{rate}");
    assert_eq!(optimum["options"]["error_df"], 15);
}

#[test]
fn replicates_that_are_none_are_shown_with_file_row_and_column() {
    let text = "n,mean,reps\n0,40.25,0\n30,56.25,-4\n60,67.5,2.5\n90,74,NaN\n120,76.5,\n150,76.5,4\n180,77,99999\n";
    let run = means(text, "curves", &[]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    insta::assert_snapshot!("replicates_that_are_none", run.stderr);
}

#[test]
fn half_an_error_or_one_without_means_is_a_usage_error() {
    let wrong: [&[&str]; 8] = [
        &["--error-mean-square", "2"],
        &["--error-df", "15"],
        &["--error-mean-square", "0", "--error-df", "15"],
        &["--error-mean-square", "-2", "--error-df", "15"],
        &["--error-mean-square", "2", "--error-df", "0"],
        &["--error-mean-square", "2", "--error-df", "-3"],
        &["--error-mean-square", "2", "--error-df", "1.5"],
        &["--block", "n"],
    ];
    let mut said = String::new();
    for flags in wrong {
        let run = means(MEANS, "curves", flags);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{flags:?}");
        said += &format!("{}\n{}\n", flags.join(" "), run.stderr);
    }
    let alone = on("means.csv", MEANS, "curves", &[&["--rate", "n", "--yield", "mean"], &ERROR[..]].concat());
    assert_eq!(alone.status, 2);
    insta::assert_snapshot!("half_an_error", said + &alone.stderr);
}

#[test]
fn what_cannot_be_fitted_says_why_and_prints_no_number() {
    let roles = ["--rate", "n", "--yield", "y"];
    let mut said = String::new();
    for (what, text) in [
        ("one rate", "n,y\n40,50\n40,52\n40,51\n"),
        ("one row", "n,y\n40,50\n"),
        ("equal yields", "n,y\n0,50\n40,50\n80,50\n120,50\n160,50\n"),
        ("two points", "n,y\n0,50\n80,61\n"),
        ("three points", "n,y\n0,50\n80,61\n160,60\n"),
    ] {
        let run = on("few.csv", text, "optimum", &[&roles[..], &["--price-ratio", "0.1"]].concat());
        assert!(run.status < 2, "{}", run.stderr);
        assert!(!run.stdout.contains("NaN") && !run.stdout.contains("inf"), "{}", run.stdout);
        said += &format!("== {what}: exit status {}\n{}\n", run.status, run.stdout);
        let run = on("few.csv", text, "curves", &roles);
        said += &format!("-- curves: exit status {}\n{}\n", run.status, run.stdout);
    }
    insta::assert_snapshot!("what_cannot_be_fitted", said);
}

#[test]
fn numbers_that_no_field_gives_are_refused_in_every_role() {
    let roles = ["--rate", "n", "--yield", "y"];
    let mut said = String::new();
    for text in ["n,y\n0,NaN\n40,50\n", "n,y\ninf,40\n40,50\n", "n,y\n-40,40\n40,50\n", "n,y\n0,-3\n40,1e12\n"] {
        let run = on("odd.csv", text, "curves", &roles);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{text}");
        said += &format!("{}\n", run.stderr);
    }
    insta::assert_snapshot!("numbers_that_no_field_gives", said);
}
