//! Values of harvest and readings, the reference, dates, and the order of readings.

use super::{assert_one, assert_one_number, change_readings, plot, position, scale_harvest, sound_trial, told};
use crate::finding::{Finding, Place};
use crate::trial::{GrowthStage, Harvest, Instrument, PlateCheck, PlateReading, Plot, Reading, Trial};
use crate::units::{MoisturePercent, NRate, NRateUnit, TestWeight, TestWeightUnit};

const LEAF: Instrument = Instrument::LeafChlorophyll;
const CANOPY: Instrument = Instrument::CanopyNdvi;
const TERRACE: &str = "upper-terrace-2024";
const LEAF_DAY: &str = "2024-04-03";
const CANOPY_DAY: &str = "2024-04-02";

fn row(folder: &str, id: &str) -> u64 {
    let trial = sound_trial(folder);
    trial.plots[position(&trial, id)].row
}

/// What is told once the first reading of plot 207 with an instrument is another.
fn told_of_reading(instrument: Instrument, day: &str, value: f64) -> (Vec<Finding>, u64) {
    let mut found = 0;
    let told = told(TERRACE, |trial| {
        change_readings(
            trial,
            instrument,
            day,
            |plot| plot.id == "207",
            |reading| {
                if found == 0 {
                    reading.value = value;
                    found = u64::from(reading.row);
                }
            },
        );
    });
    (told, found)
}

#[test]
fn a_leaf_reading_that_cannot_be_is_told() {
    for (value, typed) in [(3.0, "3"), (472.0, "472")] {
        let (told, row) = told_of_reading(LEAF, LEAF_DAY, value);
        assert_one(&told, "leaf-reading-range", (Some(row), Some("value"), Some(typed)), &["207", "between 5 and 100"]);
    }
}

#[test]
fn ndvi_that_no_canopy_has_is_told() {
    for (value, typed) in [(0.99, "0.99"), (-0.2, "-0.2")] {
        let (told, row) = told_of_reading(CANOPY, CANOPY_DAY, value);
        assert_one(&told, "ndvi-range", (Some(row), Some("ndvi_apr02"), Some(typed)), &["207"]);
    }
}

#[test]
fn a_zero_among_readings_is_missing() {
    for (instrument, day, column) in [(LEAF, LEAF_DAY, "value"), (CANOPY, CANOPY_DAY, "ndvi_apr02")] {
        let (told, row) = told_of_reading(instrument, day, 0.0);
        assert_one(&told, "zero-for-missing", (Some(row), Some(column), Some("0")), &["207", "no other is near 0"]);
    }
}

#[test]
fn many_readings_that_cannot_be_are_told_as_one() {
    let told = told(TERRACE, |trial| change_readings(trial, LEAF, LEAF_DAY, |_| true, |reading| reading.value *= 10.0));
    let out_of_range: Vec<_> = told.iter().filter(|finding| finding.code == "leaf-reading-range").collect();
    assert_eq!(out_of_range.len(), 1, "{told:#?}");
    assert!(out_of_range[0].text.contains("so are"), "{}", out_of_range[0]);
}

#[test]
fn a_yield_of_zero_is_missing() {
    let told = told("upper-terrace-2023", |trial| scale_harvest(plot(trial, "203"), 0.0));
    let place = (Some(row("upper-terrace-2023", "203")), Some("yield"), Some("0"));
    assert_one(&told, "zero-for-missing", place, &["yield of plot 203"]);
}

fn set_moisture(plot: &mut Plot, percent: f64) {
    if let Some(Harvest::Yield { moisture, .. } | Harvest::Weight { moisture, .. }) = &mut plot.harvest {
        *moisture = MoisturePercent::new(percent);
    }
}

#[test]
fn moisture_protein_and_test_weight_keep_to_the_crop() {
    let row = row(TERRACE, "207");
    let told_of = |change: fn(&mut Trial)| told(TERRACE, change);
    let told = told_of(|trial| set_moisture(plot(trial, "207"), 45.0));
    assert_one(&told, "moisture-range", (Some(row), Some("moist"), Some("45")), &["of wheat it is 6 to 25 %"]);
    let told = told_of(|trial| plot(trial, "207").protein.as_mut().unwrap().percent = 1.13);
    assert_one(&told, "protein-range", (Some(row), Some("protein"), Some("1.13")), &["207"]);
    let told = told_of(|trial| {
        trial.plot_columns.test_weight = Some("tw".to_owned());
        for plot in &mut trial.plots {
            let pounds = if plot.id == "207" { 85.0 } else { 59.5 };
            plot.test_weight = Some(TestWeight::new(pounds, TestWeightUnit::PoundsPerBushel));
        }
    });
    assert_one(&told, "test-weight-range", (Some(row), Some("tw"), Some("85")), &["lb/bu"]);
}

#[test]
fn a_moisture_copied_down_a_column_is_told() {
    let told = told(TERRACE, |trial| trial.plots.iter_mut().for_each(|plot| set_moisture(plot, 13.0)));
    assert_one(&told, "constant-moisture", (Some(2), Some("moist"), Some("13")), &["in all"]);
}

#[test]
fn yields_in_another_unit_are_told_with_the_unit_they_fit() {
    // 67.25 kg/ha are a bushel of wheat an acre; the column says bu/ac.
    let told_bushels =
        told("upper-terrace-2023", |trial| trial.plots.iter_mut().for_each(|plot| scale_harvest(plot, 67.25)));
    assert_one_number(&told_bushels, "yield-unit", (2, "yield"), &["bu/ac", "would fit kg/ha or lb/ac"]);
    let told_weights = told(TERRACE, |trial| {
        trial.plots.iter_mut().filter(|plot| plot.harvest.is_some()).for_each(|plot| scale_harvest(plot, 453.6));
    });
    assert_one_number(&told_weights, "yield-unit", (2, "grain_lb"), &["would fit g"]);
}

#[test]
fn a_lodging_score_off_its_scale_is_told() {
    let scores = |trial: &mut Trial, odd: f64| {
        trial.plot_columns.lodging = Some("lodging".to_owned());
        for (position, plot) in trial.plots.iter_mut().enumerate() {
            plot.lodging = Some((position % 4) as f64);
        }
        plot(trial, "207").lodging = Some(odd);
    };
    assert_eq!(told(TERRACE, |trial| scores(trial, 9.0)), []);
    let told = told(TERRACE, |trial| scores(trial, 60.0));
    assert_one(&told, "lodging-scale", (Some(row(TERRACE, "207")), Some("lodging"), Some("60")), &["single figures"]);
}

#[test]
fn an_outlying_yield_is_told_with_what_was_expected() {
    let told = told("upper-terrace-2023", |trial| scale_harvest(plot(trial, "203"), 0.5));
    let place = (row("upper-terrace-2023", "203"), "yield");
    assert_one_number(&told, "outlying-plot", place, &["lead to expect", "t = -"]);
}

#[test]
fn an_outlying_plot_mean_is_told_at_its_first_leaf() {
    let told = told(TERRACE, |trial| {
        change_readings(trial, LEAF, LEAF_DAY, |plot| plot.id == "207", |reading| reading.value *= 0.8);
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.file.as_str()), ("outlying-plot", "upper-terrace-2024/leaf.csv"));
    assert!(finding.text.contains("plot 207") && finding.text.contains("mean of 30"), "{finding}");
}

/// The values of a plot with an instrument on a day.
fn values(trial: &Trial, instrument: Instrument, day: &str, id: &str) -> Vec<f64> {
    let date: jiff::civil::Date = day.parse().unwrap();
    let plot = position(trial, id);
    let is_meant = |reading: &&Reading| (reading.plot, reading.instrument, reading.date) == (plot, instrument, date);
    trial.readings.iter().filter(is_meant).map(|reading| reading.value).collect()
}

/// Gives a plot the values of another.
fn copy(trial: &mut Trial, instrument: Instrument, day: &str, from: &str, to: &str) {
    let mut values = values(trial, instrument, day, from).into_iter();
    change_readings(trial, instrument, day, |plot| plot.id == to, |reading| reading.value = values.next().unwrap());
}

#[test]
fn the_leaves_of_another_plot_are_told() {
    let told = told(TERRACE, |trial| copy(trial, LEAF, LEAF_DAY, "105", "211"));
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.column.as_deref()), ("repeated-readings", Some("value")));
    assert!(finding.text.contains("plots 105 and 211 have the same 30 readings"), "{finding}");
}

#[test]
fn a_run_of_values_pasted_twice_is_told() {
    let told = told(TERRACE, |trial| {
        for (from, to) in [("102", "304"), ("103", "305"), ("104", "306"), ("105", "307")] {
            copy(trial, CANOPY, CANOPY_DAY, from, to);
        }
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.row), ("repeated-readings", Some(row(TERRACE, "304"))));
    assert!(finding.text.contains("plots 304 to 307") && finding.text.contains("plots 102 to 105"), "{finding}");
}

#[test]
fn one_value_in_plot_after_plot_is_told() {
    let told = told(TERRACE, |trial| {
        for to in ["303", "304", "305", "306"] {
            copy(trial, CANOPY, CANOPY_DAY, "302", to);
        }
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.row), ("repeated-readings", Some(row(TERRACE, "302"))));
    assert!(finding.text.contains("5 plots in a row, 302 to 306"), "{finding}");
}

#[test]
fn a_day_that_repeats_another_is_told() {
    let told = told(TERRACE, |trial| {
        let ids: Vec<String> = trial.plots.iter().map(|plot| plot.id.clone()).collect();
        for id in ids {
            let mut early = values(trial, CANOPY, "2024-03-12", &id).into_iter();
            let set = |reading: &mut Reading| reading.value = early.next().unwrap();
            change_readings(trial, CANOPY, CANOPY_DAY, |plot| plot.id == id, set);
        }
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.column.as_deref()), ("repeated-readings", Some("ndvi_apr02")));
    assert!(finding.text.contains("those of 2024-03-12 in every plot"), "{finding}");
}

#[test]
fn readings_that_slipped_by_a_plot_are_told_and_nothing_else() {
    let told = told(TERRACE, |trial| {
        let mut slipped: Vec<f64> =
            trial.plots.iter().flat_map(|plot| values(trial, CANOPY, CANOPY_DAY, &plot.id)).collect();
        slipped.rotate_right(1);
        let mut slipped = slipped.into_iter();
        change_readings(trial, CANOPY, CANOPY_DAY, |_| true, |reading| reading.value = slipped.next().unwrap());
    });
    let place = (Some(2), Some("ndvi_apr02"), None);
    assert_one(&told, "readings-out-of-order", place, &["moved 1 plot back", "residual SD"]);
}

#[test]
fn a_variety_without_a_reference_is_told() {
    let told = told(TERRACE, |trial| {
        let sedge = |plot: &&mut Plot| plot.variety.as_deref() == Some("Dark Sedge");
        trial.plots.iter_mut().filter(sedge).for_each(|plot| plot.is_reference = false);
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!(finding.code, "no-reference-for-plots");
    assert_eq!(finding.place.value.as_deref(), Some("Dark Sedge"));
    assert!(finding.text.contains("28 plots"), "{finding}");
}

#[test]
fn a_block_without_a_reference_is_told_where_blocks_have_their_own() {
    let told = told("osier-bend-2023", |trial| {
        let third = |plot: &&mut Plot| plot.block.as_deref() == Some("3");
        trial.plots.iter_mut().filter(third).for_each(|plot| plot.is_reference = false);
    });
    let codes: Vec<&str> = told.iter().map(|finding| finding.code).collect();
    // The plot that was the reference is now a treatment that no other block has.
    assert_eq!(codes, ["lone-treatment", "no-reference-for-plots"], "{told:#?}");
    assert_eq!((told[1].place.column.as_deref(), told[1].place.value.as_deref()), (Some("rep"), Some("3")));
    assert!(told[1].text.contains("in block 3"), "{}", told[1]);
}

#[test]
fn one_reference_for_two_varieties_is_told() {
    let told = told(TERRACE, |trial| trial.reference.as_mut().unwrap().shared_within.variety = false);
    let place = (None, Some("reference.shared_within"), None);
    assert_one(&told, "reference-of-another-variety", place, &["2 varieties"]);
}

#[test]
fn a_reference_with_less_n_than_its_plots_is_told() {
    let is_pale_rich = |plot: &&mut Plot| plot.is_reference && plot.variety.as_deref() == Some("Pale Heron");
    let told = told(TERRACE, |trial| {
        for plot in trial.plots.iter_mut().filter(is_pale_rich) {
            plot.rates[0] = NRate::new(100.0, NRateUnit::PoundsPerAcre);
        }
    });
    let first = sound_trial(TERRACE).plots.iter_mut().find(is_pale_rich).unwrap().row;
    assert_one(&told, "reference-not-rich", (Some(first), Some("n_lb_ac"), Some("100")), &["100 lb/ac", "150"]);
}

#[test]
fn a_reference_that_reads_below_its_plots_is_told() {
    let told = told(TERRACE, |trial| {
        let is_meant = |plot: &Plot| plot.is_reference && plot.variety.as_deref() == Some("Pale Heron");
        change_readings(trial, LEAF, LEAF_DAY, is_meant, |reading| reading.value *= 0.85);
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.file.as_str()), ("reference-below-plots", "upper-terrace-2024/leaf.csv"));
    assert!(finding.text.contains("Pale Heron") && finding.text.contains("below the plots with"), "{finding}");
}

#[test]
fn a_reference_that_was_not_read_with_its_plots_is_told_with_its_own_day() {
    let told = told(TERRACE, |trial| {
        let plots = trial.plots.clone();
        let day: jiff::civil::Date = CANOPY_DAY.parse().unwrap();
        trial.readings.retain(|reading| {
            let plot = &plots[reading.plot];
            let theirs = plot.is_reference && plot.variety.as_deref() == Some("Dark Sedge");
            !(theirs && reading.instrument == CANOPY && reading.date == day)
        });
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.column.as_deref()), ("reference-not-read", Some("ndvi_apr02")));
    assert!(finding.text.contains("24 plots of variety Dark Sedge were read"), "{finding}");
    assert!(finding.text.contains("21 days before, on 2024-03-12"), "{finding}");
}

fn feekes(step: u16) -> Option<GrowthStage> {
    GrowthStage::parse(&format!("Feekes {step}"))
}

#[test]
fn a_reference_read_at_another_stage_is_told() {
    let told = told("upper-terrace-2025", |trial| {
        let first_block = |plot: &Plot| {
            plot.is_reference && plot.variety.as_deref() == Some("Dark Sedge") && plot.block.as_deref() == Some("2")
        };
        change_readings(trial, LEAF, "2025-04-04", first_block, |reading| reading.stage = feekes(7));
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.column.as_deref()), ("reference-other-stage", Some("value")));
    assert!(finding.text.contains("Feekes 7") && finding.text.contains("Feekes 5"), "{finding}");
}

#[test]
fn n_long_before_planting_and_a_year_after_it_are_told() {
    let told_before = told("upper-terrace-2023", |trial| {
        trial.background.planting_date = Some("2022-10-08".parse().unwrap());
        trial.applications[0].date = "2022-01-20".parse().unwrap();
    });
    let codes: Vec<&str> = told_before.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, ["against-planting", "long-season"], "{told_before:#?}");
    assert_eq!(
        told("upper-terrace-2023", |trial| trial.background.planting_date = Some("2022-10-08".parse().unwrap())),
        []
    );
    let told_after =
        told("upper-terrace-2023", |trial| trial.background.planting_date = Some("2021-10-08".parse().unwrap()));
    assert!(
        told_after.iter().all(|finding| finding.code == "against-planting" && finding.text.contains("after planting"))
    );
    assert!(!told_after.is_empty());
}

#[test]
fn a_date_of_the_season_before_is_told_at_that_date() {
    let told = told("upper-terrace-2023", |trial| trial.applications[0].date = "2022-02-21".parse().unwrap());
    let place = (None, Some("application.date"), Some("2022-02-21"));
    assert_one(&told, "long-season", place, &["\"green-up\" went on", "409 days"]);
}

#[test]
fn a_stage_that_goes_back_is_told_once() {
    let told = told(TERRACE, |trial| {
        change_readings(trial, CANOPY, "2024-03-12", |_| true, |reading| reading.stage = feekes(7));
    });
    let codes: Vec<&str> = told.iter().map(|finding| finding.code).collect();
    // The canopy and the leaves were read on two days, both after it.
    assert_eq!(codes, ["stage-goes-back", "stage-goes-back"], "{told:#?}");
    assert!(told[0].text.contains("at Feekes 5 on 2024-04-02, and already at Feekes 7 on 2024-03-12"), "{}", told[0]);
}

#[test]
fn readings_after_the_topdress_they_should_decide_are_told_once() {
    let told = told("upper-terrace-2025", |trial| {
        change_readings(trial, LEAF, "2025-04-04", |_| true, |reading| reading.date = "2025-04-12".parse().unwrap());
    });
    let [finding] = told.as_slice() else { panic!("{told:#?}") };
    assert_eq!((finding.code, finding.place.column.as_deref()), ("readings-after-topdress", Some("value")));
    assert!(finding.text.contains("2025-04-12") && finding.text.contains("2025-04-08"), "{finding}");
}

/// What is told once the leaf meter of a day read its plate of 45 so, at 8:00, 10:00 and 12:00.
fn told_of_plate(day: &str, values: [f64; 3]) -> Vec<Finding> {
    told(TERRACE, |trial| {
        let readings = [8, 10, 12].into_iter().zip(values).map(|(hour, value)| PlateReading {
            date: day.parse().unwrap(),
            time: jiff::civil::time(hour, 0, 0, 0),
            expected: 45.0,
            value,
            place: Place::file("plate.csv").row(u64::from(hour.unsigned_abs())).column("read").value(value.to_string()),
        });
        trial.plate_checks = vec![PlateCheck { instrument: LEAF, tolerance: 1.0, readings: readings.collect() }];
    })
}

#[test]
fn a_plate_read_off_by_more_than_its_tolerance_is_told_where_it_is_and_drift_where_it_ends() {
    assert_eq!(told_of_plate(LEAF_DAY, [45.3, 44.8, 45.1]), []);
    let place = (Some(10), Some("read"), Some("46.2"));
    assert_one(
        &told_of_plate(LEAF_DAY, [45.3, 46.2, 45.1]),
        "plate-out-of-tolerance",
        place,
        &["46.2 at 10:00", "1 of 3 readings"],
    );
    let place = (Some(12), Some("read"), Some("45.8"));
    assert_one(&told_of_plate(LEAF_DAY, [44.2, 45.0, 45.8]), "plate-drift", place, &["1.60 in 4.00 hours"]);
}

#[test]
fn a_day_of_readings_without_its_plate_is_told_where_plates_are_checked() {
    let told = told_of_plate("2024-04-01", [45.0, 45.1, 45.0]);
    assert_one(&told, "plate-not-read", (None, Some("plate_check"), None), &["2024-04-03"]);
}
