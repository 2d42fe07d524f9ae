//! The committed tables.

use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

use super::study::Study;
use super::tally::Tally;
use super::truths::Truth;
use super::{Line, Lines};

fn report(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reports/row_coverage").join(name)
}

fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or(String::new(), |value| format!("{value:.decimals$}"))
}

/// A file name of a study's.
fn file(kind: &str, study: &Study) -> PathBuf {
    report(&format!("{kind}-{}.csv", study.file))
}

const HEADER: &str = "study,instrument,site_years,relation,method,row,programmes,rows,rated,with_interval,coverage,coverage_error,\
                      interval_above_truth,interval_below_truth,median_width,bias,standard_deviation,share_of_optima,median_range_width\n";

fn row(study: &Study, line: &Line, programmes: u64, tally: &Tally) -> String {
    let of = |count: usize| count as f64 / tally.with_interval.max(1) as f64;
    let row =
        line.midpoint.map_or("within clamps".to_owned(), |midpoint| format!("{:.3}", f64::from(midpoint) / 1_000.0));
    let cells = [
        study.name.to_owned(),
        line.instrument.name().to_owned(),
        line.site_years.to_string(),
        line.relation.clone(),
        line.method.name().to_owned(),
        row,
        programmes.to_string(),
        tally.rows.to_string(),
        tally.rated.to_string(),
        tally.with_interval.to_string(),
        number(tally.coverage(), 4),
        number(tally.coverage_error(), 4),
        number(Some(of(tally.above)), 4),
        number(Some(of(tally.below)), 4),
        number(tally.median_width(), 1),
        number(tally.bias(), 2),
        number(tally.spread(), 2),
        number(tally.range_share(), 4),
        number(tally.median_range_width(), 1),
    ];
    cells.join(",")
}

/// Writes what was counted, a row a line.
pub fn write(study: &Study, programmes: u64, lines: &Lines) {
    let mut text = String::from(HEADER);
    for (line, tally) in lines {
        writeln!(text, "{}", row(study, line, programmes, tally)).expect("text");
    }
    fs::write(file("coverage", study), text).expect("reports/row_coverage is there");
}

/// Writes the truths of a study.
pub fn write_truths(study: &Study, truths: &[Truth]) {
    let mut text = String::from(
        "study,instrument,row,truth,truth_error,optima_10,optima_50,optima_90,truth_without_chance,error_without_chance,optima_10_without_chance,\
         optima_90_without_chance,treatments\n",
    );
    for truth in truths {
        let (measured, without) = (&truth.measured, &truth.without_chance);
        let cells = [
            study.name.to_owned(),
            truth.instrument.name().to_owned(),
            format!("{:.3}", f64::from(truth.midpoint) / 1_000.0),
            number(Some(measured.rate), 2),
            number(Some(measured.error), 2),
            number(measured.optimum_quantile(0.1), 1),
            number(measured.optimum_quantile(0.5), 1),
            number(measured.optimum_quantile(0.9), 1),
            number(Some(without.rate), 2),
            number(Some(without.error), 2),
            number(without.optimum_quantile(0.1), 1),
            number(without.optimum_quantile(0.9), 1),
            measured.optima.len().to_string(),
        ];
        writeln!(text, "{}", cells.join(",")).expect("text");
    }
    fs::write(file("truth", study), text).expect("reports/row_coverage is there");
}
