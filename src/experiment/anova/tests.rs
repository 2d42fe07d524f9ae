use super::*;
use crate::trial::{Columns, Design};

/// The columns of a CSV text, `rate,yield,block` and factors after them.
fn columns(text: &str, design: Design) -> Columns {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let labels = |at: usize| -> Vec<String> { rows.iter().map(|row| row[at].to_owned()).collect() };
    let numbers = |at: usize| -> Vec<f64> { rows.iter().map(|row| row[at].parse().unwrap()).collect() };
    Columns {
        file: "made-up.csv".to_owned(),
        rate_name: header[0].clone(),
        yield_name: header[1].clone(),
        rates: numbers(0),
        yields: numbers(1),
        design,
        blocks: Some(labels(2)),
        by: None,
        factors: (3..header.len()).map(|at| (header[at].clone(), labels(at))).collect(),
        design_factors: Vec::new(),
        site_years: None,
        replicates: None,
        rows: (2..).take(rows.len()).collect(),
        missing: Vec::new(),
    }
}

/// A made-up split-plot: two varieties on main plots of two blocks, two rates in each.
const SPLIT: &str = "n,yield,block,variety
0,40,1,Heron
60,52,1,Heron
0,38,1,Sedge
60,49,1,Sedge
0,44,2,Heron
60,55,2,Heron
0,45,2,Sedge
60,58,2,Sedge
";

#[test]
fn a_split_plot_tests_its_main_factor_on_main_plots() {
    let columns = columns(SPLIT, Design::SplitPlot { main_plot: vec!["variety".to_owned()] });
    let experiments = experiments_of_columns(&columns, None, None);
    let analysis = analyse(&experiments[0], &AnovaOptions::new(0.95)).unwrap();
    let sources: Vec<(&str, usize, f64, Option<&str>)> =
        analysis.rows.iter().map(|row| (row.source.as_str(), row.df, row.ss.unwrap(), row.error.as_deref())).collect();
    // By hand: block totals 179 and 202, varieties 191 and 190, rates 167 and 214; cells of main plots 92 87 99 103.
    let expected = [
        ("block", 1, 66.125, None),
        ("variety", 1, 0.125, Some("error a")),
        ("error a", 1, 10.125, None),
        ("n", 1, 276.125, Some("error b")),
        ("variety × n", 1, 0.125, Some("error b")),
        ("error b", 2, 1.25, None),
        ("total", 7, 353.875, None),
    ];
    assert_eq!(sources.len(), expected.len(), "{sources:?}");
    for (found, expected) in sources.iter().zip(expected) {
        assert_eq!((found.0, found.1, found.3), (expected.0, expected.1, expected.3));
        approx::assert_relative_eq!(found.2, expected.2, epsilon = 1e-10);
    }
}
