//! Texts fit on a page: no line is wider than running text.

use std::path::Path;

use crate::run::{edit, package, programme_copy, stook_in};
use crate::tables::{changed, shared};

/// Widest line of a text.
const WIDTH: usize = 100;

/// Runs a command that must answer, and looks for lines that are too wide.
fn fits(folder: &Path, arguments: &[&str]) -> String {
    let run = stook_in(folder, arguments);
    assert_eq!(run.status, 0, "{}", run.stderr);
    let wide: Vec<&str> = run.stdout.lines().filter(|line| line.chars().count() > WIDTH).collect();
    assert!(wide.is_empty(), "{arguments:?}:\n{}", wide.join("\n"));
    run.stdout
}

/// The demo programme in kg/ha and another currency, with one relation for each of its tables.
fn metric() -> tempfile::TempDir {
    let copy = programme_copy();
    let file = copy.path().join("trials/programme.toml");
    for (from, to) in [
        ("n_rate = \"lb/ac\"", "n_rate = \"kg/ha\""),
        ("yield = \"bu/ac\"", "yield = \"kg/ha\""),
        ("currency = \"USD\"", "currency = \"EUR\""),
        ("price = 6.00, per = \"bu\"", "price = 0.22, per = \"kg\""),
        ("[0.05, 0.15]", "[3, 8]"),
        ("name = \"canopy-jointing\"", "name = \"canopy-jointing\"\nrelation = \"shortfall-quadratic\""),
        ("name = \"leaf-jointing\"", "name = \"leaf-jointing\"\nrelation = \"linear-with-floor\""),
    ] {
        edit(&file, from, to);
    }
    copy
}

#[test]
fn a_comparison_is_no_wider_than_a_page() {
    let text = fits(shared(), &["compare", "base.json", "dear.json"]);
    assert!(text.contains("interval of") && text.contains("not more than chance"), "{text}");
    // Another version's rates, some of them in one table only: every column there is.
    changed("by-hand.json", |document| {
        document.version = "0.0.9".to_owned();
        for rate in document.rows.iter_mut().flat_map(|row| &mut row.rates) {
            rate.rate = rate.rate.map(|rate| (rate + 15.0).min(120.0));
        }
        for rate in document.rows.iter_mut().take(1).flat_map(|row| &mut row.rates) {
            rate.rate = None;
        }
    });
    let text = fits(shared(), &["compare", "dear.json", "by-hand.json"]);
    for words in ["a rate in the old table only", "from stook's", "together", "interval of"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let old = package().join("tests/documents/leaf-jointing.version-1.json");
    std::fs::copy(old, shared().join("version-1.json")).unwrap();
    fits(shared(), &["compare", "version-1.json", "base.json"]);
    // Where nothing moves there is nothing to split.
    let text = fits(shared(), &["compare", "base.json", "base.json"]);
    assert!(text.contains("Neither prices nor site-years nor settings move a rate here"), "{text}");
}

#[test]
fn a_calibration_is_no_wider_than_a_page_nor_what_follows_from_it_in_kilograms() {
    let demo = programme_copy();
    let text = fits(demo.path(), &["calibrate", "trials"]);
    let tables: Vec<&str> = text.lines().filter(|line| line.trim_start().starts_with("Upper Terrace 2023")).collect();
    // How near the sensor comes, and what each rule forgoes, for both tables.
    assert_eq!(tables.len(), 4, "{text}");
    let metric = metric();
    let text = fits(metric.path(), &["calibrate", "trials"]);
    assert!(text.contains("forgone return, EUR/ha") && text.contains("kg/ha"), "{text}");
    for (file, further) in [("base.json", &[][..]), ("dear.json", &["--grain-price", "0.18", "--n-price", "1.3"])] {
        let arguments = ["table", "trials", "--name", "leaf-jointing", "--format", "json", "--out", file];
        let run = stook_in(metric.path(), arguments.iter().chain(further));
        assert_eq!(run.status, 0, "{}", run.stderr);
    }
    let text = fits(metric.path(), &["compare", "base.json", "dear.json"]);
    assert!(text.contains("kg per kg N, kg/ha"), "{text}");
}
