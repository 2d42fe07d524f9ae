//! The design of a bare data file: declared, implied, contradicted.

use serde_json::json;

use crate::run::{OATS, Run, data, stook_in};

const ROLES: [&str; 4] = ["--rate", "nitrogen", "--yield", "yield"];

fn oats(command: &str, flags: &[&str]) -> Run {
    stook_in(&data(), [command, OATS].into_iter().chain(ROLES).chain(flags.iter().copied()))
}

/// Error stratum, observations and error df of the first group.
fn stratum(flags: &[&str]) -> (String, u64, u64) {
    let run = oats("curves", &[flags, &["--format", "json"]].concat());
    assert_eq!(run.status, 0, "{flags:?}: {}", run.stderr);
    let json = run.json();
    let group = &json["groups"][0];
    let number = |value: &serde_json::Value| value.as_u64().unwrap_or_else(|| panic!("{flags:?}: {group}"));
    let stratum = group["error_stratum"].as_str().unwrap_or_default().to_owned();
    (stratum, number(&group["n"]), number(&group["treatment"]["error_df"]))
}

#[test]
fn a_design_says_what_the_error_of_a_curve_is() {
    let is =
        |flags: &[&str], name: &str, n: u64, df: u64| assert_eq!(stratum(flags), (name.to_owned(), n, df), "{flags:?}");
    let block = ["--block", "block"];
    let with = |flags: &[&'static str]| [&block, flags].concat();
    // 72 plots less the rates and what they are within: nothing, 6 blocks, or 18 main plots.
    is(&[], "plots", 72, 68);
    is(&block, "plots within blocks", 72, 63);
    is(&with(&["--main-plot", "variety"]), "subplots within main plots", 72, 51);
    is(&with(&["--main-plot", "variety", "--factor", "variety"]), "subplots within main plots", 72, 51);
    is(&with(&["--main-plot", "variety", "--by", "variety"]), "subplots within main plots", 24, 15);
    is(&with(&["--main-plot", "nitrogen"]), "main plots within blocks", 24, 15);
    is(&with(&["--main-plot", "nitrogen", "--by", "variety"]), "main plots within blocks", 24, 15);
    is(&with(&["--strip", "variety"]), "strips of N within blocks", 24, 15);
    is(&with(&["--strip", "nitrogen", "--design", "strip-plot"]), "strips of N within blocks", 24, 15);
}

#[test]
fn means_over_the_levels_of_a_factor_are_called_that() {
    let said = oats("curves", &["--block", "block", "--strip", "nitrogen", "--factor", "variety"]).stdout;
    assert!(said.contains("24 strips in 6 blocks, each the mean over the levels of variety"), "{said}");
    assert!(said.contains("N is on strips, which the levels of variety share"), "{said}");
}

#[test]
fn a_design_is_echoed_as_it_was_given() {
    let flags = ["--block", "block", "--main-plot", "variety", "--design", "split-plot", "--factor", "variety"];
    let options = oats("curves", &[&flags[..], &["--format", "json"]].concat()).json()["options"].clone();
    let given = ["block", "main_plot", "design", "factor"].map(|key| options[key].clone());
    assert_eq!(given, [json!("block"), json!(["variety"]), json!("split-plot"), json!(["variety"])]);
    assert!(options.get("strip").is_none());
}

#[test]
fn what_of_a_design_contradicts_another_is_refused_with_what_to_add() {
    let refused: [(&[&str], &[&str]); 15] = [
        (&["--design", "randomised-complete-block"], &["has blocks", "--block"]),
        (&["--main-plot", "variety"], &["split-plot design has blocks", "--block"]),
        (&["--strip", "variety"], &["strip-plot design has blocks", "--block"]),
        (&["--block", "block", "--design", "completely-randomised"], &["no blocks", "leave --block out"]),
        (&["--block", "block", "--design", "split-plot"], &["--main-plot variety"]),
        (&["--block", "block", "--design", "strip-plot"], &["--strip variety"]),
        (&["--block", "block", "--strip", "variety", "--design", "split-plot"], &["--strip is of a strip-plot"]),
        (
            &["--block", "block", "--main-plot", "variety", "--design", "strip-plot"],
            &["--main-plot is of a split-plot"],
        ),
        (&["--main-plot", "variety", "--design", "completely-randomised"], &["--main-plot is of a split-plot"]),
        (&["--block", "block", "--main-plot", "variety", "--strip", "nitrogen"], &["not both"]),
        (&["--replicates", "block", "--main-plot", "variety"], &["treatment means", "split-plot"]),
        (&["--block", "block", "--main-plot", "block"], &["two-roles", "as --main-plot"]),
        (&["--block", "block", "--main-plot", "variety", "--main-plot", "variety"], &["given twice", "--main-plot"]),
        (
            &["--block", "block", "--factor", "variety", "--factor", "block"],
            &["one factor", "stook anova takes several"],
        ),
        (&["--site-year", "block", "--by", "variety"], &["--site-year is for stook anova", "--site-years"]),
    ];
    for (flags, words) in refused {
        let run = oats("curves", flags);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{flags:?}");
        let said: Vec<&str> = run.stderr.split_whitespace().filter(|word| *word != "│").collect();
        for word in words {
            assert!(said.join(" ").contains(word), "{flags:?} says {word}: {}", run.stderr);
        }
    }
}

#[test]
fn check_takes_every_role_of_an_analysis() {
    let good = oats("check", &["--block", "block", "--main-plot", "variety"]);
    assert_eq!(good.status, 0, "{}", good.stdout);
    assert!(good.stdout.contains("72"), "{}", good.stdout);
    let two = oats("check", &["--site-year", "block", "--factor", "variety", "--block", "block"]);
    assert_eq!(two.status, 1);
    assert!(two.stdout.contains("is given as --block and as --site-year"), "{}", two.stdout);
}
