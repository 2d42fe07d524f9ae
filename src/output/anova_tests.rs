//! Analyses printed: made-up results of every shape, so that each line of text has its case.

use super::anova::{Anova, Letters};
use super::envelope::Report as _;
use crate::experiment::LeftOut;
use crate::experiment::anova::{
    Analysed, Analysis, Assumptions, Comparison, ComparisonFamily, Component, DegreesOfFreedom, ErrorVariances,
    FittedLikelihood, Method, NotAnalysed, Note, Outlier, Pair, PlotResidual, SiteYearPrediction, SourceRow,
    StratumError, TermTests, TreatmentMeanOf, TreatmentMeans, VarianceOf,
};
use crate::stats::interval::Interval;
use crate::stats::shapiro_wilk::ShapiroWilk;
use crate::stats::spread::SpreadTest;

const LEVEL: f64 = 0.95;

fn anova<const N: usize>(analyses: [Analysis; N]) -> Anova {
    let analysed = analyses.map(|analysis| Analysed { key: analysis.key.clone(), outcome: Ok(analysis) });
    Anova::of(&analysed, LEVEL)
}

fn refused() -> Analysed {
    Analysed { key: vec![("trial".to_owned(), "chalk-rise-2025".to_owned())], outcome: Err(NotAnalysed::NoTreatments) }
}

fn words(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

/// A row: source, what it is a part of, df and sum of squares; F and p with the error and its df.
fn row(source: &str, part_of: Option<&str>, df: usize, ss: f64, test: Option<(f64, f64, &str, f64)>) -> SourceRow {
    SourceRow {
        source: source.to_owned(),
        part_of: part_of.map(str::to_owned),
        df,
        ss: Some(ss),
        ms: Some(ss / df as f64),
        f: test.map(|(f, ..)| f),
        p: test.map(|(_, p, ..)| p),
        error: test.map(|(_, _, error, _)| error.to_owned()),
        error_df: test.map(|(.., df)| df),
    }
}

fn mean(levels: &[&str], n: usize, mean: f64, error: f64) -> TreatmentMeanOf {
    let half = 2.1 * error;
    TreatmentMeanOf {
        levels: words(levels),
        n,
        mean: Some(mean),
        standard_error: Some(error),
        df: Some(18.0),
        interval: Some(Interval::between(Some(mean), Some(mean - half), Some(mean + half), LEVEL, "t")),
    }
}

/// Every pair of means, alike in their standard error, with the letters of two procedures.
fn family(
    factors: &[&str],
    within: &[(&str, &str)],
    means: &[(&str, f64)],
    [sed, df]: [f64; 2],
    letters: [&[&str]; 2],
) -> ComparisonFamily {
    let mut pairs = Vec::new();
    for (first, (_, one)) in means.iter().enumerate() {
        for (second, (_, other)) in means.iter().enumerate().skip(first + 1) {
            let p = if (one - other).abs() > 2.0 * sed { 0.003 } else { 0.4 };
            let dunnett = (first == 0 && within.is_empty()).then_some(p);
            pairs.push(Pair {
                first,
                second,
                difference: one - other,
                standard_error: sed,
                df,
                p_lsd: p,
                p_tukey: Some(p),
                p_dunnett: dunnett,
            });
        }
    }
    let [tukey, lsd] = letters;
    let comparison = |procedure, times: f64, letters: &[&str]| Comparison {
        procedure,
        least_significant_difference: Some(times * sed),
        letters: words(letters),
        note: None,
    };
    ComparisonFamily {
        factors: words(factors),
        within: within.iter().map(|(factor, level)| ((*factor).to_owned(), (*level).to_owned())).collect(),
        levels: means.iter().map(|(level, _)| words(&[level])).collect(),
        protecting_p: Some(0.0004),
        pairs,
        sed: Some(VarianceOf { mean: sed, lowest: sed, highest: sed }),
        procedures: vec![comparison("protected-lsd", 2.01, lsd), comparison("tukey", 2.67, tukey)],
    }
}

fn residuals(count: usize) -> Vec<PlotResidual> {
    let residual = |plot: usize| {
        let value = ((plot * 7) % 11) as f64 - 5.0;
        PlotResidual {
            name: format!("plot {}", 101 + plot),
            fitted: 80.0 + plot as f64,
            residual: value,
            deleted: Some(value / 3.0),
            normal_score: value / 4.0,
        }
    };
    (0..count).map(residual).collect()
}

/// A split-plot of two varieties on main plots and three rates of N in four blocks; the interaction is significant or not.
fn split_plot(interaction: f64) -> Analysis {
    let rates = [("0", 61.3), ("40", 74.9), ("80", 79.2)];
    let varieties = [("Dark Sedge", 69.0), ("Pale Heron", 74.6)];
    let cells = [
        ("Dark Sedge", "0", 60.1),
        ("Dark Sedge", "40", 72.0),
        ("Dark Sedge", "80", 74.9),
        ("Pale Heron", "0", 62.5),
        ("Pale Heron", "40", 77.8),
        ("Pale Heron", "80", 83.5),
    ];
    let cells_of = |variety: &str| -> Vec<(&str, f64)> {
        cells.iter().filter(|(name, ..)| *name == variety).map(|(_, rate, mean)| (*rate, *mean)).collect()
    };
    let at_rate = |rate: &str| -> Vec<(&str, f64)> {
        cells.iter().filter(|(_, at, _)| *at == rate).map(|(variety, _, mean)| (*variety, *mean)).collect()
    };
    let mut comparisons = vec![
        family(&["variety"], &[], &varieties, [3.6, 3.0], [&["a", "a"], &["a", "a"]]),
        family(&["N rate"], &[], &rates, [1.5, 12.0], [&["b", "a", "a"], &["c", "b", "a"]]),
    ];
    comparisons[0].protecting_p = Some(0.21);
    comparisons[0].procedures[0].note =
        Some("the F test does not protect it: no pair is declared different".to_owned());
    for variety in ["Dark Sedge", "Pale Heron"] {
        comparisons.push(family(
            &["N rate"],
            &[("variety", variety)],
            &cells_of(variety),
            [2.1, 12.0],
            [&["b", "a", "a"], &["c", "b", "a"]],
        ));
    }
    for rate in ["0", "40", "80"] {
        comparisons.push(family(
            &["variety"],
            &[("N rate", rate)],
            &at_rate(rate),
            [4.0, 4.4],
            [&["b", "a"], &["b", "a"]],
        ));
    }
    Analysis {
        key: vec![("trial".to_owned(), "osier-bend-2025".to_owned())],
        site_years: Vec::new(),
        design: "split-plot, variety on main plots".to_owned(),
        method: Method::Classical,
        term_tests: None,
        degrees_of_freedom: None,
        inference: None,
        observations: 24,
        left_out: Vec::new(),
        blocks: 4,
        balanced: true,
        yield_unit: Some("bu/ac".to_owned()),
        rate_unit: Some("lb/ac".to_owned()),
        rate_factors: words(&["N rate"]),
        grand_mean: 71.8,
        strata: vec![
            StratumError {
                name: "main plots within blocks".to_owned(),
                df: Some(3),
                mean_square: Some(77.76),
                cv_percent: Some(12.28),
                plots_in_unit: Some(3),
            },
            StratumError {
                name: "subplots within main plots".to_owned(),
                df: Some(12),
                mean_square: Some(9.0),
                cv_percent: Some(4.18),
                plots_in_unit: Some(1),
            },
        ],
        rows: vec![
            row("block", None, 3, 210.6, None),
            row("variety", None, 1, 188.2, Some((2.42, 0.21, "error a", 3.0))),
            row("error a", None, 3, 233.3, None),
            row("N rate", None, 2, 1398.4, Some((77.69, 1.4e-7, "error b", 12.0))),
            row("linear", Some("N rate"), 1, 1281.6, Some((142.4, 5e-8, "error b", 12.0))),
            row("quadratic", Some("N rate"), 1, 116.8, Some((12.98, 0.0036, "error b", 12.0))),
            row("variety × N rate", None, 2, 66.5, Some((3.69, interaction, "error b", 12.0))),
            row("error b", None, 12, 108.0, None),
        ],
        means: vec![
            TreatmentMeans {
                factors: words(&["variety"]),
                means: varieties.iter().map(|(level, value)| mean(&[level], 12, *value, 2.55)).collect(),
            },
            TreatmentMeans {
                factors: words(&["N rate"]),
                means: rates.iter().map(|(level, value)| mean(&[level], 8, *value, 1.8)).collect(),
            },
            TreatmentMeans {
                factors: words(&["variety", "N rate"]),
                means: cells.iter().map(|(variety, rate, value)| mean(&[variety, rate], 4, *value, 2.9)).collect(),
            },
        ],
        comparisons,
        components: vec![
            Component { term: "main plot".to_owned(), variance: Interval::not_computed(Some(22.92), LEVEL, "anova") },
            Component { term: "residual".to_owned(), variance: Interval::not_computed(Some(9.0), LEVEL, "anova") },
        ],
        likelihood: None,
        predictions: Vec::new(),
        error_variances: None,
        assumptions: Some(Assumptions {
            residuals: residuals(24),
            normality: Some(ShapiroWilk { w: 0.981, p: 0.91 }),
            spread: Some(SpreadTest { f: 0.6, df: 5, error_df: 18, p: 0.7 }),
            neighbours: Some(-0.08),
            outliers: Vec::new(),
        }),
        notes: Vec::new(),
    }
}

/// Three site-years as a mixed model, with everything that is to be said of one.
fn site_years_together() -> Analysis {
    let without_squares = |row: SourceRow| SourceRow { ss: None, ms: None, error: None, ..row };
    let rates = [("0", 55.2), ("40", 68.4), ("80", 73.9)];
    let mut comparison = family(&["N rate"], &[], &rates, [3.3, 3.9], [&["b", "a", "a"], &["b", "a", "a"]]);
    comparison.pairs[0].standard_error = 2.9;
    comparison.pairs[2].df = 4.6;
    for procedure in &mut comparison.procedures {
        procedure.least_significant_difference = None;
    }
    comparison.procedures[1].note = Some("Tukey–Kramer: standard errors of differences are not equal".to_owned());
    let interval = |estimate: f64, low: f64, high: Option<f64>| {
        Interval::between(Some(estimate), Some(low), high, LEVEL, "profile")
    };
    let split = split_plot(0.4);
    Analysis {
        key: vec![("together".to_owned(), "N rate".to_owned())],
        site_years: words(&["Osier Bend 2024", "Osier Bend 2025", "Chalk Rise 2025"]),
        design: "randomised complete blocks".to_owned(),
        method: Method::Reml,
        term_tests: Some(TermTests::Adjusted),
        degrees_of_freedom: Some(DegreesOfFreedom::KenwardRoger),
        inference: Some("broad: the site-years stand for others like them".to_owned()),
        observations: 35,
        left_out: vec![LeftOut { plot: "304".to_owned(), reason: "combine plugged".to_owned() }],
        blocks: 12,
        balanced: false,
        strata: vec![StratumError {
            name: "plots".to_owned(),
            df: Some(18),
            mean_square: Some(12.4),
            cv_percent: Some(5.3),
            plots_in_unit: Some(1),
        }],
        rows: vec![without_squares(row("N rate", None, 2, 0.0, Some((17.31, 0.0116, "", 3.87))))],
        means: vec![TreatmentMeans {
            factors: words(&["N rate"]),
            means: vec![
                mean(&["0"], 12, 55.2, 4.1),
                mean(&["40"], 12, 68.4, 4.1),
                TreatmentMeanOf { mean: None, standard_error: None, interval: None, ..mean(&["80"], 0, 0.0, 4.2) },
            ],
        }],
        comparisons: vec![comparison],
        components: vec![
            Component { term: "site-year".to_owned(), variance: interval(41.2, 6.3, None) },
            Component { term: "block".to_owned(), variance: interval(0.0, 0.0, Some(5.8)) },
            Component { term: "residual".to_owned(), variance: interval(12.4, 7.1, Some(24.0)) },
        ],
        likelihood: Some(FittedLikelihood {
            log_likelihood: -97.312,
            parameters: 7,
            aic: 208.62,
            bic: 219.51,
            zero_variances: words(&["block"]),
        }),
        predictions: vec![
            SiteYearPrediction {
                site_year: "Osier Bend 2024".to_owned(),
                predicted: 61.7,
                deviation: -4.1,
                standard_deviation: 1.2,
            },
            SiteYearPrediction {
                site_year: "Chalk Rise 2025".to_owned(),
                predicted: 69.9,
                deviation: 4.1,
                standard_deviation: 1.2,
            },
        ],
        error_variances: Some(ErrorVariances {
            site_years: vec![
                ("Osier Bend 2024".to_owned(), 3.1, 6.0),
                ("Osier Bend 2025".to_owned(), 28.9, 6.0),
                ("Chalk Rise 2025".to_owned(), 9.4, 5.0),
            ],
            bartlett: Some((9.9, 2.0, 0.0071)),
            ratio: Some(9.32),
            separate: false,
        }),
        assumptions: Some(Assumptions {
            residuals: residuals(35),
            normality: Some(ShapiroWilk { w: 0.871, p: 0.0008 }),
            spread: None,
            neighbours: Some(0.55),
            outliers: vec![Outlier { name: "plot 207".to_owned(), deleted: -4.61, p: 0.0021 }],
        }),
        notes: vec![Note {
            code: "empty-cells",
            text: "no plot has 80 lb/ac in Osier Bend 2024: its mean cannot be estimated".to_owned(),
        }],
        ..split
    }
}

#[test]
fn a_split_plot_is_printed_as_a_paper_has_it() {
    insta::assert_snapshot!(anova([split_plot(0.4)]).text());
}

#[test]
fn letters_stand_within_the_grid_where_the_interaction_is_significant() {
    insta::assert_snapshot!(anova([split_plot(0.012)]).with_letters(Letters::ProtectedLsd).text());
}

#[test]
fn a_mixed_model_says_what_its_fit_and_its_residuals_show() {
    insta::assert_snapshot!(anova([site_years_together()]).text());
}

#[test]
fn what_is_not_analysed_is_named_with_the_reason() {
    let anova = Anova::of(&[refused()], LEVEL);
    assert_eq!(
        anova.text(),
        "Analysis of variance\n\nTrial chalk-rise-2025: not analysed, as no factor has two levels: there is nothing to compare.\n"
    );
    assert!(!anova.any());
}

#[test]
fn no_line_is_wider_than_the_page() {
    for analysis in [split_plot(0.012), site_years_together()] {
        for line in anova([analysis]).text().lines() {
            assert!(line.chars().count() <= super::layout::WIDTH, "{line}");
        }
    }
}

#[test]
fn a_grid_that_is_too_wide_is_turned_or_written_as_a_list() {
    let name = |what: &str, number: usize| format!("{what} of a long name {number}");
    let mut analysis = split_plot(0.4);
    let effect = &mut analysis.means[2];
    effect.means = (0..5)
        .flat_map(|row| (0..5).map(move |column| (row, column)))
        .map(|(row, column)| mean(&[&name("variety", row), &name("rate", column)], 4, 70.0, 2.0))
        .collect();
    let text = anova([analysis]).text();
    assert!(text.lines().all(|line| line.chars().count() <= super::layout::WIDTH), "{text}");
    assert!(text.contains("rate of a long name 4"), "{text}");
}

#[test]
fn numbers_that_overflow_are_null() {
    let mut analysis = split_plot(0.4);
    analysis.grand_mean = f64::INFINITY;
    analysis.rows[0].ss = Some(f64::NAN);
    analysis.rows[1].p = Some(f64::NAN);
    let anova = anova([analysis]);
    let json = serde_json::to_value(&anova).unwrap();
    let analysis = &json["analyses"][0];
    let rows = &analysis["tables"][0]["rows"];
    assert_eq!((&analysis["grand_mean"], &rows[0]["ss"]), (&serde_json::Value::Null, &serde_json::Value::Null));
    assert_eq!((&rows[1]["p"], &rows[1]["significance"]), (&serde_json::Value::Null, &serde_json::Value::Null));
    assert!(!anova.text().contains("NaN") && !anova.csv().contains("NaN"));
}

#[test]
fn stars_begin_below_their_limits() {
    let stars = |p: f64| {
        let mut analysis = split_plot(0.4);
        analysis.rows[1].p = Some(p);
        let json = serde_json::to_value(anova([analysis])).unwrap();
        json["analyses"][0]["tables"][0]["rows"][1]["significance"].as_str().map(str::to_owned).unwrap()
    };
    for (p, expected) in [(0.05, "ns"), (0.0499, "*"), (0.01, "*"), (0.0099, "**"), (0.001, "**"), (0.0009, "***")] {
        assert_eq!(stars(p), expected, "{p}");
    }
}

#[test]
fn the_long_table_has_a_record_of_everything() {
    let of = |analysis: Analysis| Analysed { key: analysis.key.clone(), outcome: Ok(analysis) };
    let anova = Anova::of(&[of(split_plot(0.4)), of(site_years_together()), refused()], LEVEL);
    let table = anova.table();
    assert!(table.rows.iter().all(|row| row.len() == table.columns.len()));
    // The first record of each kind, without what is missing.
    let kind = table.columns.iter().position(|column| column == "record").unwrap();
    let mut seen: Vec<String> = Vec::new();
    let mut text = String::new();
    for row in &table.rows {
        if !seen.contains(&row[kind].field()) {
            seen.push(row[kind].field());
            let named = table.columns.iter().zip(row).map(|(column, cell)| (column, cell.field()));
            let known: Vec<String> =
                named.filter(|(_, field)| !field.is_empty()).map(|(of, it)| format!("{of}={it}")).collect();
            text += &(known.join(" | ") + "\n");
        }
    }
    insta::assert_snapshot!(text);
}
