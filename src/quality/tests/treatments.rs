//! Plots, treatments, blocks, main plots and rates.

use super::{assert_one, plot, position, remove_plot, sound_trial, told};
use crate::finding::Severity;
use crate::trial::{Design, Plot, Position, Trial};
use crate::units::{NRate, NRateUnit};

const POUNDS: NRateUnit = NRateUnit::PoundsPerAcre;
const TERRACE: &str = "upper-terrace-2024";

/// The plot of a block with a variety and rate that is no N-rich plot.
fn with(trial: &Trial, block: &str, variety: &str, rate: f64) -> Plot {
    let is_meant = |plot: &&Plot| {
        plot.block.as_deref() == Some(block)
            && plot.variety.as_deref() == Some(variety)
            && plot.rates[0].in_unit(POUNDS) == rate
            && !plot.is_reference
    };
    trial.plots.iter().find(is_meant).unwrap().clone()
}

fn set_rate(trial: &mut Trial, id: &str, rate: f64) {
    plot(trial, id).rates[0] = NRate::new(rate, POUNDS);
}

#[test]
fn a_row_that_is_not_there_is_a_missing_treatment() {
    let gone = with(&sound_trial(TERRACE), "1", "Pale Heron", 60.0);
    let told = told(TERRACE, |trial| remove_plot(trial, &gone.id));
    let skipped = format!("skips plot {}", gone.id);
    let words = ["block 1", "variety Pale Heron, green-up 60", &skipped];
    assert_one(&told, "missing-treatment", (None, Some("rep"), Some("1")), &words);
}

#[test]
fn a_treatment_twice_in_a_block_is_told_with_the_one_that_is_missing() {
    let trial = sound_trial(TERRACE);
    let mut both = [with(&trial, "2", "Pale Heron", 120.0), with(&trial, "2", "Pale Heron", 150.0)];
    both.sort_by_key(|plot| plot.row);
    let [earlier, later] = both;
    let rate = earlier.rates[0].in_unit(POUNDS);
    let told = told(TERRACE, |trial| set_rate(trial, &later.id, rate));
    let value = rate.to_string();
    let words = ["block 2", &*earlier.id, &*later.id, "none with variety Pale Heron"];
    assert_one(&told, "repeated-treatment", (Some(later.row), Some("n_lb_ac"), Some(&value)), &words);
}

#[test]
fn a_slip_of_the_decimal_makes_a_treatment_of_its_own() {
    let wrong = with(&sound_trial(TERRACE), "3", "Dark Sedge", 30.0);
    let told = told(TERRACE, |trial| set_rate(trial, &wrong.id, 3.0));
    let words = ["block 3 has none with variety Dark Sedge, green-up 30"];
    assert_one(&told, "lone-treatment", (Some(wrong.row), Some("n_lb_ac"), Some("3")), &words);
}

#[test]
fn a_rate_a_little_off_its_level_is_told_once() {
    let wrong = with(&sound_trial(TERRACE), "3", "Dark Sedge", 60.0);
    let told = told(TERRACE, |trial| set_rate(trial, &wrong.id, 59.2));
    assert_one(&told, "near-level", (Some(wrong.row), Some("n_lb_ac"), Some("59.2")), &["60 in 7 plots"]);
}

#[test]
fn a_variety_spelt_another_way_is_told_once() {
    for spelling in ["pale heron", "Pale Herron"] {
        let wrong = with(&sound_trial(TERRACE), "4", "Pale Heron", 0.0);
        let told = told(TERRACE, |trial| plot(trial, &wrong.id).variety = Some(spelling.to_owned()));
        assert_one(&told, "two-spellings", (Some(wrong.row), Some("cultivar"), Some(spelling)), &["Pale Heron"]);
    }
}

#[test]
fn a_plot_number_of_another_block_is_told_once() {
    let told = told(TERRACE, |trial| plot(trial, "105").block = Some("2".to_owned()));
    let row = sound_trial(TERRACE).plots[position(&sound_trial(TERRACE), "105")].row;
    assert_one(&told, "number-in-other-block", (Some(row), Some("rep"), Some("2")), &["plot 105", "block 1"]);
}

#[test]
fn a_plot_that_lies_away_from_its_block_is_told_once() {
    let folder = "osier-bend-2025";
    let told = told(folder, |trial| plot(trial, "104").position = Some(Position { row: 7, column: 4 }));
    let row = sound_trial(folder).plots[position(&sound_trial(folder), "104")].row;
    assert_one(
        &told,
        "apart-from-block",
        (Some(row), Some("field_row"), Some("7")),
        &["plot 104", "column 4", "block 1"],
    );
}

#[test]
fn blocks_that_are_scattered_over_the_field_are_left_alone() {
    let told = told("osier-bend-2025", |trial| {
        for (number, plot) in (1..).zip(&mut trial.plots) {
            plot.position = Some(Position { row: 5 * number, column: 1 });
        }
    });
    assert_eq!(told, []);
}

#[test]
fn a_main_plot_that_holds_two_levels_is_an_error() {
    let folder = "osier-bend-2025";
    // Main plots A and B in each block, which the demo does not write down.
    let main_plots = |trial: &mut Trial| {
        trial.plot_columns.main_plot = Some("strip".to_owned());
        for plot in &mut trial.plots {
            plot.main_plot =
                plot.variety.as_ref().map(|variety| if variety.starts_with('D') { "A" } else { "B" }.to_owned());
        }
    };
    assert_eq!(told(folder, main_plots), []);
    let trial = sound_trial(folder);
    let wrong = trial.plots.iter().find(|plot| plot.variety.as_deref() == Some("Dark Sedge")).unwrap();
    let told = told(folder, |trial| {
        main_plots(trial);
        plot(trial, &wrong.id).variety = Some("Pale Heron".to_owned());
    });
    let words = ["main plot A of block 1", &*wrong.id, "Dark Sedge"];
    assert_one(&told, "main-plot-levels", (Some(wrong.row), Some("cultivar"), Some("Pale Heron")), &words);
    assert_eq!(told[0].severity, Severity::Error);
}

#[test]
fn a_strip_that_holds_two_levels_is_an_error() {
    let folder = "osier-bend-2025";
    let strips = |trial: &mut Trial| {
        trial.design = Design::StripPlot { strip: vec!["variety".to_owned()] };
        trial.plot_columns.strip = Some("strip".to_owned());
        for plot in &mut trial.plots {
            let number = |variety: &String| if variety.starts_with('D') { "1" } else { "2" }.to_owned();
            plot.strip = plot.variety.as_ref().map(number);
        }
    };
    assert_eq!(told(folder, strips), []);
    let trial = sound_trial(folder);
    let wrong = trial.plots.iter().find(|plot| plot.variety.as_deref() == Some("Dark Sedge")).unwrap();
    let told = told(folder, |trial| {
        strips(trial);
        plot(trial, &wrong.id).variety = Some("Pale Heron".to_owned());
    });
    let words = ["strip 1 of block 1", &*wrong.id, "Dark Sedge"];
    assert_one(&told, "strip-levels", (Some(wrong.row), Some("cultivar"), Some("Pale Heron")), &words);
    assert_eq!(told[0].severity, Severity::Error);
}

#[test]
fn blocks_that_hold_no_complete_set_are_told_as_one() {
    let told = told(TERRACE, |trial| {
        for (position, plot) in trial.plots.iter_mut().enumerate() {
            plot.block = Some((position / 3 % 4 + 1).to_string());
        }
    });
    let design = Some("randomised-complete-block");
    assert_one(&told, "incomplete-blocks", (None, Some("design"), design), &["no complete block design"]);
}

#[test]
fn a_completely_randomised_trial_misses_a_plot_of_a_treatment() {
    let folder = "upper-terrace-2023";
    assert_eq!(told(folder, |trial| trial.design = Design::CompletelyRandomised), []);
    let told = told(folder, |trial| {
        trial.design = Design::CompletelyRandomised;
        remove_plot(trial, "203");
    });
    assert_one(&told, "missing-treatment", (None, None, None), &["the trial has 3 plots", "4 are expected"]);
}

/// Every plot planned at the rate that went on.
fn plan(trial: &mut Trial) {
    for plot in &mut trial.plots {
        plot.planned_rates = plot.rates.iter().copied().map(Some).collect();
    }
}

#[test]
fn a_rate_off_the_plan_is_told_and_keeps_its_treatment() {
    assert_eq!(told(TERRACE, plan), []);
    let wrong = with(&sound_trial(TERRACE), "2", "Pale Heron", 90.0);
    let told = told(TERRACE, |trial| {
        plan(trial);
        set_rate(trial, &wrong.id, 105.0);
    });
    assert_one(&told, "rate-off-plan", (Some(wrong.row), Some("n_lb_ac"), Some("105")), &["planned was 90"]);
}

#[test]
fn rates_all_off_the_plan_by_one_factor_are_told_as_one() {
    let told = told("upper-terrace-2024", |trial| {
        plan(trial);
        for plot in &mut trial.plots {
            plot.rates[0] = NRate::new(plot.rates[0].in_unit(POUNDS) * 0.46, POUNDS);
        }
    });
    let first = sound_trial(TERRACE).plots.iter().find(|plot| plot.rates[0].in_unit(POUNDS) > 0.0).unwrap().clone();
    let value = (first.rates[0].in_unit(POUNDS) * 0.46 * 1e6).round() / 1e6;
    let place = (Some(first.row), Some("n_lb_ac"), Some(&*value.to_string()));
    assert_one(&told, "rate-off-plan", place, &["at 0.46 of the planned rate", "of the product"]);
}

#[test]
fn product_typed_as_n_is_too_much_n() {
    let told = told(TERRACE, |trial| {
        for plot in &mut trial.plots {
            plot.rates[0] = NRate::new(plot.rates[0].in_unit(POUNDS) / 0.46, POUNDS);
        }
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.column.as_deref()), ("high-rate", Some("n_lb_ac")));
    assert!(finding.text.contains("391 lb/ac"), "{finding}");
}

#[test]
fn one_plot_with_far_too_much_n_is_told_once() {
    let wrong = with(&sound_trial(TERRACE), "3", "Dark Sedge", 60.0);
    let told = told(TERRACE, |trial| set_rate(trial, &wrong.id, 6000.0));
    assert_one(&told, "high-rate", (Some(wrong.row), Some("n_lb_ac"), Some("6000")), &["6000 lb/ac"]);
}

#[test]
fn n_that_is_the_same_in_every_plot_is_told() {
    let told = told("upper-terrace-2023", |trial| {
        let rate = trial.plots[0].rates[0];
        for plot in &mut trial.plots {
            plot.rates[0] = rate;
        }
    });
    assert_one(&told, "one-level", (None, Some("urea_lb_ac"), None), &["green-up 65"]);
}

#[test]
fn a_factor_with_one_level_is_told() {
    let told = told("upper-terrace-2023", |trial| {
        trial.factors = vec!["source".to_owned()];
        trial.plot_columns.factors = vec!["n_source".to_owned()];
        for plot in &mut trial.plots {
            plot.factor_levels = vec!["urea".to_owned()];
        }
    });
    assert_one(&told, "one-level", (None, Some("n_source"), Some("urea")), &["\"source\""]);
}

#[test]
fn row_order_changes_nothing_that_is_told() {
    let told = told(TERRACE, |trial| {
        let count = trial.plots.len();
        trial.plots.reverse();
        for reading in &mut trial.readings {
            reading.plot = count - 1 - reading.plot;
        }
    });
    assert_eq!(told, []);
}
