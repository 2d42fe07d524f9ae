//! `--interval`: every method by its name, and what it cannot give.

use serde_json::Value;

use crate::run::oats;

fn groups(command: &str, further: &[&str]) -> Vec<Value> {
    let json = oats(command, &[further, &["--format", "json"]].concat()).json();
    json["groups"].as_array().expect("groups").clone()
}

#[test]
fn every_interval_names_the_method_that_was_asked_for() {
    for method in ["profile", "wald", "fieller"] {
        let asked = ["--interval", method, "--level", "0.9"];
        let curves = groups("curves", &asked);
        for curve in curves.iter().flat_map(|group| group["curves"].as_array().expect("curves")) {
            for interval in ["join", "plateau", "aonr"].map(|name| &curve[name]).into_iter().filter(|of| !of.is_null())
            {
                assert_eq!((&interval["method"], &interval["level"]), (&method.into(), &0.9.into()), "{curve}");
                let computed = interval["limits"] != "not-computed";
                assert_eq!(computed, interval["reason"].is_null(), "{curve}");
            }
        }
        let optima = groups("optimum", &[&asked[..], &["--price-ratio", "10"]].concat());
        for optimum in optima.iter().flat_map(|group| group["by_family"].as_array().expect("families")) {
            assert_eq!((&optimum["method"], &optimum["level"]), (&method.into(), &0.9.into()), "{optimum}");
            assert_eq!(optimum["limits"] != "not-computed", optimum["reason"].is_null(), "{optimum}");
        }
    }
}

#[test]
fn the_rate_and_the_answer_do_not_depend_on_the_method() {
    let of = |method: &str| -> Vec<Value> {
        let groups = groups("optimum", &["--price-ratio", "10", "--interval", method]);
        let answer = |group: &Value| {
            [&group["response"], &group["optimum"]["rate"], &group["optimum"]["status"]].map(Value::clone)
        };
        groups.iter().flat_map(answer).collect()
    };
    let profile = of("profile");
    assert_eq!(profile, of("wald"));
    assert_eq!(profile, of("fieller"));
}

#[test]
fn text_says_what_the_method_is_and_why_an_interval_is_missing() {
    let optimum =
        |method: &str| oats("optimum", &["--price-ratio", "10", "--interval", method]).stdout.replace("\n  ", " ");
    let wald = optimum("wald");
    assert!(wald.contains("Wald intervals: the estimate plus and minus t standard errors"), "{wald}");
    assert!(wald.contains("No interval of quadratic: the best rate is not reached within the tested rates"), "{wald}");
    let fieller = optimum("fieller");
    assert!(
        fieller.contains("Fieller's set: the rates at which the slope does not differ from the price ratio."),
        "{fieller}"
    );
    assert!(fieller.contains("No interval of linear-plateau: Fieller's method is for"), "{fieller}");
    // The bend of no variety is significant: each set leaves out only the rates between two pieces.
    assert!(fieller.contains("open to 0.032 and 0.429 to open"), "{fieller}");
    let curves = oats("curves", &["--interval", "wald"]).stdout.replace("\n  ", " ");
    assert!(
        curves.contains("No interval of the join of quadratic-plateau: the join is not reached within"),
        "{curves}"
    );
}

#[test]
fn an_unknown_method_lists_those_there_are() {
    let run = oats("optimum", &["--price-ratio", "10", "--interval", "guess"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""));
    assert!(run.stderr.contains("profile, wald, fieller"), "{}", run.stderr);
}
