//! The committed table: written by the whole simulation, read by the reduced one.

use super::{Cell, Tally, Way};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

fn report(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reports/shortfall").join(name)
}

const STUDY: &str = "study.csv";

fn key(cell: &Cell, way: Way) -> Vec<String> {
    vec![
        cell.truth.name().to_owned(),
        cell.design.name(),
        cell.site_years.to_string(),
        cell.cv_percent.to_string(),
        way.name().to_owned(),
    ]
}

pub fn write(runs: &[(Cell, Vec<(Way, Tally)>)]) {
    let mut text = String::from(
        "truth,design,site_years,cv_percent,way,programmes,without_rule,forgone_return,standard_error,rmse_of_rate,bias_of_rate,\
         block_by_early\n",
    );
    for (cell, tallies) in runs {
        for (way, tally) in tallies {
            let (mean, error) = tally.forgone();
            let (rmse, bias) = tally.rate();
            let share = if *way == Way::ByTest { format!("{:.2}", tally.share_finer()) } else { String::new() };
            writeln!(
                text,
                "{},{},{},{mean:.4},{error:.4},{rmse:.2},{bias:.2},{share}",
                key(cell, *way).join(","),
                tally.programmes(),
                tally.without
            )
            .expect("text");
        }
    }
    fs::write(report(STUDY), text).expect("reports/shortfall is there");
}

/// The mean forgone return of the committed table with its standard error, by cell and way.
pub struct Committed(BTreeMap<Vec<String>, (f64, f64)>);

impl Committed {
    pub fn read() -> Self {
        let mut reader = csv::Reader::from_path(report(STUDY)).expect("the committed table");
        let rows = reader.records().map(|row| {
            let row = row.expect("a row");
            let number = |at: usize| row[at].parse().expect("a number");
            (row.iter().take(5).map(str::to_owned).collect(), (number(7), number(8)))
        });
        Self(rows.collect())
    }

    pub fn forgone(&self, cell: &Cell, way: Way) -> Option<(f64, f64)> {
        self.0.get(&key(cell, way)).copied()
    }
}
