//! Canopy readings: crowding, and whether a reference is sufficient.

use approx::assert_relative_eq;

use super::{CANOPY, COMPUTED, DAY, LEAF, Row, add_readings, read, study, study_with, topdressed};
use crate::sensing::{Because, Crowded, Unindexed, Verdict, indices};
use crate::stats::interval::Interval;
use crate::trial::{Design, Excluded, Exclusion, GrowthStage, SharedWithin, Trial};

const N: [f64; 5] = [0.0, 30.0, 60.0, 90.0, 180.0];
/// Four blocks of five levels, 180 the reference.
const NDVI: [[f64; 5]; 4] = [
    [0.55, 0.734, 0.806, 0.823, 0.846],
    [0.556, 0.737, 0.806, 0.843, 0.843],
    [0.583, 0.742, 0.821, 0.846, 0.865],
    [0.584, 0.759, 0.824, 0.856, 0.884],
];
/// The same with nothing more above 60.
const FLAT: [[f64; 5]; 4] = [
    [0.55, 0.734, 0.846, 0.839, 0.846],
    [0.556, 0.737, 0.846, 0.853, 0.843],
    [0.583, 0.742, 0.871, 0.866, 0.865],
    [0.584, 0.759, 0.874, 0.876, 0.884],
];

fn rows(values: &[[f64; 5]; 4]) -> Vec<Row<'static>> {
    let blocks = ["1", "2", "3", "4"].into_iter().zip(values);
    blocks
        .flat_map(|(block, values)| {
            N.into_iter().zip(values).map(move |(n, value)| (block, n, n == 180.0, vec![*value])).collect::<Vec<_>>()
        })
        .collect()
}

fn canopy(values: &[[f64; 5]; 4]) -> Trial {
    read(CANOPY, &rows(values))
}

/// Leaf readings of the same day that rise over all levels, or over none above 60.
fn with_leaves(mut trial: Trial, rising: bool) -> Trial {
    let leaf = |plot: usize, n: f64| 40.0 + 0.05 * if rising { n } else { n.min(60.0) } + [0.1, -0.1, 0.05][plot % 3];
    let values: Vec<Vec<f64>> = trial.plots.iter().enumerate().map(|(plot, _)| vec![leaf(plot, N[plot % 5])]).collect();
    add_readings(&mut trial, LEAF, DAY, &values);
    trial
}

fn assert_ends(interval: &Interval, [estimate, low, high]: [f64; 3]) {
    assert_relative_eq!(interval.estimate.unwrap(), estimate, max_relative = COMPUTED);
    assert_relative_eq!(interval.low.unwrap(), low, max_relative = COMPUTED);
    assert_relative_eq!(interval.high.unwrap(), high, max_relative = COMPUTED);
}

#[test]
fn slopes_below_and_near_the_reference_are_contrasts_of_the_level_means() {
    // statsmodels: OLS of NDVI on levels and blocks, t_test of the slope weights, divided by the reference mean 0.8595.
    let study = study(&canopy(&NDVI), CANOPY);
    let [crowding] = study.crowding.as_slice() else { panic!("one reference") };
    let (lower, upper) = (crowding.lower.as_ref().unwrap(), crowding.upper.as_ref().unwrap());
    assert_eq!((lower.over, upper.over), ([0.0, 60.0], [60.0, 180.0]));
    assert_ends(&lower.slope, [0.004_770_215_241_419_429, 0.004_573_383_855_531_411, 0.004_967_046_627_307_447_4]);
    assert_ends(&upper.slope, [0.000_389_686_908_011_514_6, 0.000_295_132_168_712_079_2, 0.000_484_241_647_310_949_96]);
    assert_relative_eq!(upper.p, 1.130_985_997_416_8e-6, max_relative = 1e-7);
    assert_relative_eq!(crowding.bend_p.unwrap(), 6.766_486_007_172e-14, max_relative = 1e-6);
    assert_eq!(crowding.crowded, Crowded::No, "it still rises near the reference");
}

#[test]
fn a_canopy_that_answers_below_and_not_near_a_high_reference_is_crowded() {
    let crowded = |trial: &Trial| study(trial, CANOPY).crowding[0].crowded;
    assert_eq!(crowded(&canopy(&FLAT)), Crowded::Yes);
    // Half of those readings are no closed canopy's: the crop had enough.
    assert_eq!(crowded(&canopy(&FLAT.map(|block| block.map(|ndvi| ndvi / 2.0)))), Crowded::No);
    // No answer anywhere: enough N or a sensor that sees no more.
    assert_eq!(
        crowded(&canopy(&NDVI.map(|block| [block[4], block[4] + 0.01, block[4], block[4] - 0.01, block[4]]))),
        Crowded::Perhaps
    );
}

#[test]
fn a_leaf_meter_decides_between_a_crowded_canopy_and_a_crop_that_has_enough() {
    let study = |rising| study(&with_leaves(canopy(&FLAT), rising), CANOPY);
    assert_eq!(study(true).crowding[0].crowded, Crowded::Yes);
    assert!(study(true).crowding[0].leaf_upper.as_ref().unwrap().rises());
    assert_eq!(study(false).crowding[0].crowded, Crowded::Perhaps);
}

#[test]
fn the_reference_is_held_against_every_level_and_the_last_step_of_n() {
    let study = study(&canopy(&NDVI), CANOPY);
    let reference = &study.references[0];
    // statsmodels, as above: −2.0360674810936286 % and the 95 % limits of the step from 90 to 180.
    let reading = &reference.reading;
    let highest = reading.highest_minus_reference.as_ref().unwrap();
    assert_eq!((reading.highest_n, reading.reference_n), (Some(90.0), Some(180.0)));
    assert_relative_eq!(highest.estimate.unwrap(), -2.036_067_481_093_628_6, max_relative = COMPUTED);
    let (from, step) = reading.last_step.as_ref().unwrap();
    assert_eq!(*from, 90.0);
    assert_ends(step, [2.036_067_481_093_628_6, 0.855_079_165_765_516, 3.217_055_796_421_742]);
    assert_eq!((reference.verdict(), reading.because), (Verdict::Sufficient, Because::LastStepSmall));
    assert_eq!((reference.above, reference.plots, reference.reference_plots), (0, 16, 4));
}

/// One way: no blocks, the control the reference.
fn one_way(control_is_rich: bool) -> Trial {
    let groups = [
        (if control_is_rich { 150.0 } else { 40.0 }, [50.1, 49.2, 51.0, 48.8]),
        (0.0, [46.0, 47.2, 45.1, 46.6]),
        (80.0, [51.5, 50.9, 52.4, 51.9]),
        (120.0, [53.4, 52.2, 54.1, 53.0]),
    ];
    let rows: Vec<Row<'static>> = groups
        .iter()
        .enumerate()
        .flat_map(|(group, (n, values))| values.map(|value| ("1", *n, group == 0, vec![value])))
        .collect();
    Trial { design: Design::CompletelyRandomised, ..read(LEAF, &rows) }
}

#[test]
fn a_reference_below_a_level_is_doubtful_by_dunnetts_test() {
    let study = study(&one_way(false), LEAF);
    let reading = &study.references[0].reading;
    // scipy.stats.dunnett with the reference as control: difference 3.4, 95 % limits 1.81298 and 4.98702 (quasi-random, to 1e-3), in per cent
    // of 49.775; p by SciPy's quadrature of Dunnett's double integral at t = 5.7504728720 with 12 degrees of freedom.
    let highest = reading.highest_minus_reference.as_ref().unwrap();
    assert_relative_eq!(highest.estimate.unwrap(), 340.0 / 49.775, max_relative = COMPUTED);
    assert_relative_eq!(highest.low.unwrap(), 181.298 / 49.775, max_relative = 2e-3);
    assert_relative_eq!(highest.high.unwrap(), 498.702 / 49.775, max_relative = 1e-3);
    assert_relative_eq!(reading.p.unwrap(), 0.000_251_974_805_277_156_2, max_relative = 1e-8);
    assert_eq!((study.references[0].verdict(), reading.because), (Verdict::Doubtful, Because::LevelAbove));
    assert!(study.references[0].is_mostly_below());
    assert_eq!((study.references[0].above, study.references[0].plots), (8, 12));
}

#[test]
fn a_yield_below_more_n_ran_short_and_one_below_less_n_had_too_much() {
    let because = |control_is_rich: bool| {
        let trial = one_way(control_is_rich);
        let yields: Vec<Option<f64>> = trial.readings.iter().map(|reading| Some(reading.value)).collect();
        let study = study_with(&trial, LEAF, &yields);
        let yields = study.references[0].yields.clone().unwrap();
        (yields.verdict, yields.because)
    };
    assert_eq!(because(false), (Verdict::Doubtful, Because::MoreNAbove));
    assert_eq!(because(true), (Verdict::Sufficient, Because::LessNAbove));
}

#[test]
fn readings_that_still_rise_at_the_reference_make_it_doubtful() {
    let rising = NDVI.map(|block| {
        let noise = block[4] - 0.86;
        [0, 1, 2, 3, 4].map(|level| {
            0.4 + 0.002 * N[level]
                + 0.2 * noise
                + [0.004, -0.004, 0.003, -0.002, 0.001][level] * if noise > 0.0 { 1.0 } else { -1.0 }
        })
    });
    let study = study(&canopy(&rising), CANOPY);
    assert_eq!(
        (study.references[0].verdict(), study.references[0].reading.because),
        (Verdict::Doubtful, Because::StillRising)
    );
}

#[test]
fn a_constant_index_gives_no_verdict_and_no_crowding_beyond_its_height() {
    for (ndvi, crowded) in [(0.85, Crowded::Perhaps), (0.60, Crowded::CannotTell)] {
        let study = study(&canopy(&[[ndvi; 5]; 4]), CANOPY);
        let reference = &study.references[0];
        assert_eq!((reference.verdict(), reference.reading.because), (Verdict::CannotTell, Because::NothingToCompare));
        assert_eq!((reference.above, study.crowding[0].crowded), (0, crowded));
    }
}

#[test]
fn a_reference_at_another_stage_is_doubtful() {
    let mut trial = canopy(&NDVI);
    for reading in &mut trial.readings {
        let stage = if trial.plots[reading.plot].is_reference { "Feekes 6" } else { "Feekes 5" };
        reading.stage = GrowthStage::parse(stage);
    }
    let study = study(&trial, CANOPY);
    assert_eq!(study.references[0].verdict(), Verdict::Doubtful);
    let (rich, plots) = study.references[0].other_stage.clone().unwrap();
    assert_eq!((rich.to_string(), plots.to_string()), ("Feekes 6".to_owned(), "Feekes 5".to_owned()));
}

#[test]
fn yields_of_early_by_topdress_are_compared_treatment_by_treatment() {
    let trial = topdressed(canopy(&NDVI));
    let yields: Vec<Option<f64>> = trial.readings.iter().map(|reading| Some(100.0 * reading.value)).collect();
    let study = study_with(&trial, CANOPY, &yields);
    let yields = study.references[0].yields.as_ref().unwrap();
    assert!(yields.last_step.is_none() && yields.plateau_from.is_none());
    assert_eq!((yields.verdict, yields.because), (Verdict::Sufficient, Because::NoneAbove));
}

#[test]
fn plots_of_one_level_on_one_main_plot_are_no_replicates() {
    // Each level twice in a block, as subplots of a factor beside N.
    let doubled: Vec<Row<'static>> = rows(&NDVI).into_iter().flat_map(|row| [row.clone(), row]).collect();
    let mut trial = read(CANOPY, &doubled);
    trial.design = Design::SplitPlot { main_plot: vec!["green-up".to_owned()] };
    assert_eq!(study(&trial, CANOPY).crowding, study(&canopy(&NDVI), CANOPY).crowding);
}

#[test]
fn a_plot_without_an_index_has_the_reason() {
    let reason = |change: &dyn Fn(&mut Trial)| {
        let mut trial = canopy(&NDVI);
        change(&mut trial);
        indices(&trial, CANOPY, DAY)[0].index.unwrap_err()
    };
    assert_eq!(reason(&|trial| trial.reference = None), Unindexed::NoReference);
    assert_eq!(
        reason(&|trial| trial.plots.iter_mut().for_each(|plot| plot.is_reference = false)),
        Unindexed::NoReference
    );
    let within = |variety, block| {
        move |trial: &mut Trial| {
            if let Some(reference) = &mut trial.reference {
                reference.shared_within = SharedWithin { variety, block };
            }
        }
    };
    assert_eq!(
        reason(&|trial| {
            within(true, false)(trial);
            trial.plots[0].variety = Some("Dark Sedge".to_owned());
        }),
        Unindexed::OtherVariety
    );
    assert_eq!(
        reason(&|trial| {
            within(false, true)(trial);
            trial.plots[4].is_reference = false;
        }),
        Unindexed::OtherBlock
    );
    let leave_out = |trial: &mut Trial, plot: usize| {
        trial.plots[plot].exclusions.push(Exclusion { what: Excluded::Readings, reason: "hail".to_owned() });
    };
    assert_eq!(
        reason(&|trial| {
            within(false, true)(trial);
            leave_out(trial, 4);
        }),
        Unindexed::NotRead
    );
    assert_eq!(
        reason(&|trial| {
            for reading in &mut trial.readings {
                reading.value = 0.0;
            }
        }),
        Unindexed::NotPositive
    );
}
