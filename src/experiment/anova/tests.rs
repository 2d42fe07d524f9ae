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

fn of(text: &str, design: Design) -> Analysis {
    let columns = columns(text, design);
    analyse(&experiments_of_columns(&columns, None, None)[0], &AnovaOptions::new(0.95)).unwrap()
}

fn row<'a>(analysis: &'a Analysis, source: &str) -> &'a SourceRow {
    analysis.rows.iter().find(|row| row.source == source).unwrap_or_else(|| panic!("no row {source}"))
}

fn notes(analysis: &Analysis) -> Vec<(&str, &str)> {
    analysis.notes.iter().map(|note| (note.code, note.text.as_str())).collect()
}

#[test]
fn a_factor_that_goes_with_another_is_named_and_the_rest_is_tested() {
    // Sedge is always sprayed, Heron never.
    let text = "n,yield,block,variety,sprayed\n0,40,1,Heron,no\n60,52,1,Heron,no\n0,38,1,Sedge,yes\n60,49,1,Sedge,yes\n\
                0,44,2,Heron,no\n60,55,2,Heron,no\n0,45,2,Sedge,yes\n60,58,2,Sedge,yes\n";
    let analysis = of(text, Design::RandomisedCompleteBlock);
    let confounded: Vec<_> = notes(&analysis).into_iter().filter(|(code, _)| *code == "confounded-effects").collect();
    assert_eq!(
        confounded,
        [("confounded-effects", "these effects can't be told apart, in whole or in part: variety and sprayed")]
    );
    assert_eq!((row(&analysis, "variety").df, row(&analysis, "variety").f), (0, None));
    assert!(row(&analysis, "n").p.is_some_and(|p| p < 0.01));
}

#[test]
fn a_factor_that_goes_with_the_blocks_is_named() {
    let text = "n,yield,block,variety\n0,40,1,Heron\n60,52,1,Heron\n0,38,2,Heron\n60,49,2,Heron\n\
                0,44,3,Sedge\n60,55,3,Sedge\n0,45,4,Sedge\n60,58,4,Sedge\n";
    let analysis = of(text, Design::RandomisedCompleteBlock);
    assert!(
        notes(&analysis)
            .iter()
            .any(|(code, text)| *code == "confounded-effects" && text.ends_with("variety and blocks"))
    );
    assert_eq!(row(&analysis, "variety").df, 0);
    // Within blocks all else is there: rates, and whether they act alike on both varieties.
    assert!(row(&analysis, "n").f.is_some() && row(&analysis, "variety × n").f.is_some());
    // A variety's mean is not known, but how far rates differ is: 11.5 in Heron and 12 in Sedge.
    assert!(analysis.means[0].means.iter().all(|one| one.mean.is_none()));
    let of_rates =
        analysis.comparisons.iter().find(|family| family.factors == ["n"] && family.within.is_empty()).unwrap();
    approx::assert_relative_eq!(of_rates.pairs[0].difference, -11.75, max_relative = 1e-12);
    assert_eq!(of_rates.procedures[0].letters, ["b", "a"]);
}

#[test]
fn fixed_site_years_are_a_source_of_their_own_and_act_on_rates() {
    let text = "n,yield,block,site\n0,40,1,East\n60,52,1,East\n0,38,2,East\n60,49,2,East\n\
                0,44,1,West\n60,50,1,West\n0,45,2,West\n60,53,2,West\n0,46,3,West\n60,54,3,West\n";
    let mut columns = columns(text, Design::RandomisedCompleteBlock);
    columns.site_years = columns.factors.pop();
    let options = AnovaOptions { site_years: Effect::Fixed, ..AnovaOptions::new(0.95) };
    let analysis = analyse(&experiments_of_columns(&columns, None, None)[0], &options).unwrap();
    let sources: Vec<(&str, usize)> = analysis.rows.iter().map(|row| (row.source.as_str(), row.df)).collect();
    let expected =
        [("site-year", 1), ("block within site-year", 3), ("n", 1), ("n × site-year", 1), ("error", 3), ("total", 9)];
    assert_eq!((analysis.method, sources.as_slice()), (Method::LeastSquares, expected.as_slice()));
    // By hand: differences 12 and 11 in East, 6, 8 and 8 in West. Over all 45/5, so SS 5·9²/2; within site-years the pairs leave
    // (0.5 + 8/3)/2.
    approx::assert_relative_eq!(row(&analysis, "n").ss.unwrap(), 202.5, max_relative = 1e-12);
    approx::assert_relative_eq!(row(&analysis, "error").ss.unwrap(), 19.0 / 12.0, max_relative = 1e-12);
}

#[test]
fn a_combination_without_a_plot_is_named_and_what_rests_on_it_left_open() {
    let text = "n,yield,block,variety\n0,40,1,Heron\n60,52,1,Heron\n0,38,1,Sedge\n\
                0,44,2,Heron\n60,55,2,Heron\n0,45,2,Sedge\n0,43,3,Heron\n60,57,3,Heron\n0,41,3,Sedge\n";
    let analysis = of(text, Design::RandomisedCompleteBlock);
    let (_, told) = notes(&analysis).into_iter().find(|(code, _)| *code == "empty-cells").unwrap();
    assert!(told.contains("1 of 4") && told.contains("variety Sedge, n 60"), "{told}");
    let of_variety = &analysis.means[0].means;
    assert!(of_variety[0].mean.is_some() && of_variety[1].mean.is_none(), "{of_variety:?}");
    assert_eq!(row(&analysis, "variety × n").df, 0);
    assert!(row(&analysis, "variety").f.is_some() && row(&analysis, "n").f.is_some());
}

#[test]
fn one_block_leaves_main_plots_without_an_error() {
    let text = "n,yield,block,variety\n0,40,1,Heron\n60,52,1,Heron\n120,60,1,Heron\n0,38,1,Sedge\n60,49,1,Sedge\n120,62,1,Sedge\n";
    let analysis = of(text, Design::SplitPlot { main_plot: vec!["variety".to_owned()] });
    let codes: Vec<&str> = analysis.notes.iter().map(|note| note.code).collect();
    assert_eq!(codes, ["one-block", "no-error"]);
    assert!(analysis.rows.iter().all(|row| row.f.is_none()));
    // By hand: rate means 39, 50.5 and 61 around 50 1/6.
    approx::assert_relative_eq!(row(&analysis, "n").ss.unwrap(), 1453.0 / 3.0, max_relative = 1e-12);
}

#[test]
fn yields_without_error_are_not_tested() {
    let text = "n,yield,block\n0,40,1\n60,52,1\n120,60,1\n0,41,2\n60,53,2\n120,61,2\n";
    let analysis = of(text, Design::RandomisedCompleteBlock);
    assert_eq!(row(&analysis, "n").f, None);
    assert!(analysis.notes.iter().any(|note| note.code == "no-error"));
    assert!(analysis.assumptions.is_none() && analysis.comparisons.is_empty());
}

#[test]
fn nothing_to_compare_and_too_much_of_it_are_refused() {
    let refused = |text: &str| {
        let columns = columns(text, Design::RandomisedCompleteBlock);
        analyse(&experiments_of_columns(&columns, None, None)[0], &AnovaOptions::new(0.95)).unwrap_err()
    };
    assert_eq!(refused("n,yield,block\n0,40,1\n0,52,2\n"), NotAnalysed::NoTreatments);
    assert_eq!(refused("n,yield,block\n0,40,1\n60,1e200,1\n"), NotAnalysed::NotFinite);
    let many: String = (0..1001).map(|n| format!("{n},{},1\n", n % 7)).collect();
    assert_eq!(refused(&format!("n,yield,block\n{many}")), NotAnalysed::TooManyCells(1001));
}

/// A split-plot with three varieties on main plots, five rates and four blocks; some plots may be missing.
fn drawn(seed: u64, missing: &[usize]) -> Columns {
    use rand::RngExt;
    let mut chance = crate::stats::stream::stream(seed, 0);
    let mut rows = Vec::new();
    for block in 0..4 {
        for variety in 0..3 {
            let main_plot: f64 = chance.random_range(-4.0..4.0);
            for rate in [0.0, 30.0, 60.0, 100.0, 150.0_f64] {
                let noise: f64 = chance.random_range(-3.0..3.0);
                let value = 50.0 + 0.2 * rate - 0.0007 * rate * rate + f64::from(block) + main_plot + noise;
                rows.push((rate, value, block.to_string(), ["Heron", "Sedge", "Teal"][variety].to_owned()));
            }
        }
    }
    let mut position = 0;
    rows.retain(|_| {
        position += 1;
        !missing.contains(&(position - 1))
    });
    Columns {
        file: "made-up.csv".to_owned(),
        rate_name: "n".to_owned(),
        yield_name: "yield".to_owned(),
        rates: rows.iter().map(|row| row.0).collect(),
        yields: rows.iter().map(|row| row.1).collect(),
        design: Design::SplitPlot { main_plot: vec!["variety".to_owned()] },
        blocks: Some(rows.iter().map(|row| row.2.clone()).collect()),
        by: None,
        factors: vec![("variety".to_owned(), rows.iter().map(|row| row.3.clone()).collect())],
        design_factors: Vec::new(),
        site_years: None,
        replicates: None,
        rows: (2..).take(rows.len()).collect(),
        missing: Vec::new(),
    }
}

fn tests_of(columns: &Columns, design: Design) -> Vec<(String, Option<f64>, Option<f64>)> {
    let columns = Columns { design, ..columns.clone() };
    let analysis = analyse(&experiments_of_columns(&columns, None, None)[0], &AnovaOptions::new(0.95)).unwrap();
    analysis.rows.into_iter().filter(|row| row.f.is_some()).map(|row| (row.source, row.f, row.error_df)).collect()
}

#[track_caller]
fn same_tests(
    one: &[(String, Option<f64>, Option<f64>)],
    other: &[(String, Option<f64>, Option<f64>)],
    tolerance: f64,
) {
    assert_eq!(one.len(), other.len());
    for (one, other) in one.iter().zip(other) {
        assert_eq!(one.0, other.0);
        approx::assert_relative_eq!(one.1.unwrap(), other.1.unwrap(), max_relative = tolerance, epsilon = 1e-12);
        approx::assert_relative_eq!(one.2.unwrap(), other.2.unwrap(), max_relative = tolerance);
    }
}

#[test]
fn order_of_rows_names_of_levels_and_units_do_not_change_a_test() {
    let split = || Design::SplitPlot { main_plot: vec!["variety".to_owned()] };
    // Balanced, and with a plot or several missing: classical, and REML whose search ends where it may.
    for (seed, missing, tolerance) in [(1, vec![], 1e-10), (2, vec![7], 1e-6), (3, vec![0, 21, 22, 40, 59], 1e-6)] {
        let columns = drawn(seed, &missing);
        let plain = tests_of(&columns, split());
        assert!(!plain.is_empty());
        let plots = columns.yields.len();
        // 7 has no factor in common with 60, 59 and 55 plots.
        let order: Vec<usize> = (0..plots).map(|row| row * 7 % plots).collect();
        let pick = |labels: &[String]| -> Vec<String> { order.iter().map(|row| labels[*row].clone()).collect() };
        let permuted = Columns {
            rates: order.iter().map(|row| columns.rates[*row]).collect(),
            yields: order.iter().map(|row| columns.yields[*row]).collect(),
            blocks: columns.blocks.as_deref().map(pick),
            factors: vec![("variety".to_owned(), pick(&columns.factors[0].1))],
            ..columns.clone()
        };
        same_tests(&plain, &tests_of(&permuted, split()), tolerance);
        let renamed = |labels: &[String]| labels.iter().map(|label| format!("{} {label}", 9 - label.len())).collect();
        let reversed = |labels: &[String]| {
            labels
                .iter()
                .map(|label| {
                    match label.as_str() {
                        "Heron" => "z",
                        "Sedge" => "y",
                        _ => "x",
                    }
                    .to_owned()
                })
                .collect()
        };
        let renamed = Columns {
            blocks: columns.blocks.as_deref().map(renamed),
            factors: vec![("variety".to_owned(), reversed(&columns.factors[0].1))],
            ..columns.clone()
        };
        same_tests(&plain, &tests_of(&renamed, split()), tolerance);
        let in_kilograms = Columns {
            rates: columns.rates.iter().map(|rate| rate * 1.120_851_156_2).collect(),
            yields: columns.yields.iter().map(|value| value * 67.251_069 + 1e4).collect(),
            ..columns.clone()
        };
        same_tests(&plain, &tests_of(&in_kilograms, split()), tolerance);
    }
}
