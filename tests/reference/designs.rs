//! Where the N of published designs is tested: strata against R's `aov`.

use stook::experiment::{ErrorStratum, ResponseGroup, groups_of_columns};
use stook::files::{ColumnRoles, Layout, load_columns};
use stook::trial::Design;

use crate::checks::agrees;
use crate::data::{beside, shared};

fn roles(rate: &str, block: &str, design: Design) -> ColumnRoles {
    ColumnRoles {
        rate: rate.to_owned(),
        yields: "yield".to_owned(),
        block: Some(block.to_owned()),
        by: None,
        factors: Vec::new(),
        design,
        site_year: None,
        replicates: None,
        layout: Layout::default(),
    }
}

fn group(path: &std::path::Path, roles: &ColumnRoles) -> ResponseGroup {
    let columns = load_columns(path, roles).unwrap().value.columns;
    groups_of_columns(&columns, None, None, None).remove(0)
}

fn named(factor: &str) -> Vec<String> {
    vec![factor.to_owned()]
}

#[test]
fn nitrogen_of_a_strip_plot_is_tested_on_its_strips_whichever_way_they_run() {
    // Rice, nitrogen and varieties on strips across each other: Gomez and Gomez (1984). R: aov(yield ~ nitro * gen + Error(rep / (nitro + gen))).
    let Some(path) = shared("field-trials/gomez.stripplot.csv") else { return };
    for factor in ["nitro", "gen"] {
        let group = group(&path, &roles("nitro", "rep", Design::StripPlot { strip: named(factor) }));
        assert_eq!((group.error_stratum, group.rates.len()), (ErrorStratum::Strips, 9));
        let analysis = group.observations().unwrap().analysis();
        assert_eq!((analysis.treatment_df, analysis.error_df), (2, 4));
        agrees(analysis.f.unwrap(), 34.069, 5);
        agrees(analysis.p.unwrap(), 0.0030746, 5);
        // Means of six plots: squares are a sixth of those of plots.
        agrees(6.0 * analysis.treatment_ss, 50676061.4444, 12);
        agrees(6.0 * analysis.error_ss, 2974907.8889, 11);
    }
}

#[test]
fn nitrogen_of_oats_is_tested_within_main_plots_or_on_them() {
    let oats = beside("yates_oats_1935.csv");
    let design = |factor: &str| roles("nitrogen", "block", Design::SplitPlot { main_plot: named(factor) });
    let within = group(&oats, &design("variety"));
    assert_eq!(within.error_stratum, ErrorStratum::Subplots);
    let analysis = within.observations().unwrap().analysis();
    // R: aov(yield ~ variety * N + Error(block / variety)), stratum Within. One curve serves all varieties, so variety × N
    // (321.75 on 6 df) is error here beside error b (7968.75 on 45 df).
    agrees(analysis.treatment_ss, 20020.5, 12);
    agrees(analysis.error_ss, 321.75 + 7968.75, 12);
    assert_eq!(analysis.error_df, 6 + 45);
    // Had nitrogen been on the main plots: aov(yield ~ N * variety + Error(block / N)), stratum block:N.
    let on_them = group(&oats, &design("nitrogen"));
    assert_eq!((on_them.error_stratum, on_them.rates.len()), (ErrorStratum::MainPlots, 24));
    let analysis = on_them.observations().unwrap().analysis();
    agrees(analysis.f.unwrap(), 55.98052, 7);
    assert_eq!(analysis.error_df, 15);
}

#[test]
fn a_main_plot_that_lost_a_plot_is_left_out_of_the_means() {
    let text = std::fs::read_to_string(beside("yates_oats_1935.csv")).unwrap();
    let lost: String = text
        .lines()
        .enumerate()
        .map(|(line, row)| match line {
            16 => format!("{},NA\n", row.rsplit_once(',').unwrap().0),
            _ => format!("{row}\n"),
        })
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("oats.csv");
    std::fs::write(&path, lost).unwrap();
    let roles = ColumnRoles {
        factors: named("variety"),
        ..roles("nitrogen", "block", Design::SplitPlot { main_plot: named("nitrogen") })
    };
    let group = group(&path, &roles);
    assert_eq!((group.rates.len(), group.left_out.len()), (23, 3), "{:?}", group.left_out);
    // R: anova(lm(yield ~ block + N)) of the 23 means.
    let analysis = group.observations().unwrap().analysis();
    agrees(analysis.treatment_ss, 5951.46111111, 12);
    agrees(analysis.error_ss, 566.01111111, 11);
    assert_eq!(analysis.error_df, 14);
}
