//! Text as a reader sees it.

use crate::run::oats;

/// Versions come and go.
fn without_version(text: &str) -> String {
    text.replace(env!("CARGO_PKG_VERSION"), "VERSION")
}

#[test]
fn curves_read_by_an_agronomist() {
    insta::assert_snapshot!("oats_curves", without_version(&oats("curves", &[]).stdout));
}

#[test]
fn optima_read_by_an_agronomist() {
    let run = oats("optimum", &["--price-ratio", "0.1", "--rate-unit", "cwt/ac"]);
    insta::assert_snapshot!("oats_optimum", without_version(&run.stdout));
}
