//! Stand or N.

use approx::assert_relative_eq;

use super::{CANOPY, COMPUTED, DAY, LEAF, Row, add_readings, indices, read, study};
use crate::sensing::{Asked, Counted, LowBecause, Stand, Study};
use crate::trial::Trial;
use crate::units::{CountUnit, Density, NRateUnit};

/// Block, N, stand a square metre and canopy reading of twelve plots.
const PLOTS: [(&str, f64, f64, f64); 12] = [
    ("1", 0.0, 86.0, 0.82),
    ("1", 50.0, 73.0, 0.913),
    ("1", 100.0, 66.0, 0.955),
    ("2", 0.0, 44.0, 0.729),
    ("2", 50.0, 53.0, 0.911),
    ("2", 100.0, 62.0, 0.941),
    ("3", 0.0, 48.0, 0.734),
    ("3", 50.0, 42.0, 0.823),
    ("3", 100.0, 54.0, 0.918),
    ("4", 0.0, 48.0, 0.741),
    ("4", 50.0, 40.0, 0.846),
    ("4", 100.0, 44.0, 0.884),
];

/// Those plots, and a reference that reads exactly 1 with a full stand of 100.
fn counted() -> Trial {
    let reference = ("1", 150.0, 100.0, 1.0);
    let plots: Vec<_> = PLOTS.into_iter().chain([reference]).collect();
    let rows: Vec<Row<'static>> =
        plots.iter().map(|(block, n, _, ndvi)| (*block, *n, *n == 150.0, vec![*ndvi])).collect();
    let mut trial = read(CANOPY, &rows);
    for (plot, (_, _, stand, _)) in trial.plots.iter_mut().zip(&plots) {
        plot.tillers = Density::new(*stand, CountUnit::PerSquareMetre, None);
    }
    trial
}

fn stand(trial: &Trial) -> Stand {
    study(trial, CANOPY).stand.unwrap()
}

#[test]
fn stand_and_n_have_their_partial_effects() {
    // statsmodels: OLS of the index on stand ÷ 100 and indicators of N; unique shares from the fits without stand and without N.
    let model = stand(&counted()).model.unwrap();
    assert_eq!((model.plots, model.df, model.blocks_removed), (12, 8, false));
    assert_relative_eq!(model.stand_between_blocks.unwrap(), 0.784_867_821_330_902_5, max_relative = COMPUTED);
    let effect = &model.stand;
    assert_relative_eq!(effect.change.estimate.unwrap(), 0.024_042_056_074_766_463, max_relative = COMPUTED);
    assert_relative_eq!(effect.change.low.unwrap(), 0.015_549_277_583_623, max_relative = 1e-8);
    assert_relative_eq!(effect.standard_error, 0.003_682_898_205_380_618_3, max_relative = COMPUTED);
    assert_relative_eq!(effect.p, 0.000_182_637_620_041_219, max_relative = 1e-8);
    assert_relative_eq!(effect.unique_share, 0.166_302_719_478_185, max_relative = 1e-8);
    let (range, n) = model.n.unwrap();
    assert_eq!(range, [0.0, 100.0]);
    assert_relative_eq!(n.change.estimate.unwrap(), 0.1685, max_relative = COMPUTED);
    assert_relative_eq!(n.standard_error, 0.012_047_074_721_516_204, max_relative = COMPUTED);
    assert_relative_eq!(n.p, 1.722_176_175_960_051e-6, max_relative = 1e-8);
    assert_relative_eq!(n.unique_share, 0.830_579_878_872_649_8, max_relative = 1e-8);
}

#[test]
fn a_stand_that_varies_within_blocks_leaves_blocks_removed() {
    let mut trial = counted();
    for (position, plot) in trial.plots.iter_mut().enumerate() {
        let stand = [70.0, 90.0, 80.0, 95.0, 75.0][position * 2 % 5];
        plot.tillers = Density::new(stand, CountUnit::PerSquareMetre, None);
    }
    assert!(stand(&trial).model.is_some_and(|model| model.blocks_removed));
}

#[test]
fn the_full_stand_is_the_references_where_most_plots_are_thin() {
    let counts = stand(&counted()).counts.unwrap();
    assert_eq!(
        (counts.counted, counts.full, counts.thin_below, counts.declared),
        (Counted::Tillers, 100.0, 80.0, false)
    );
    assert_eq!((counts.plots, counts.thin), (13, 11));
    let below = Density::new(45.0, CountUnit::PerSquareMetre, None);
    let trial = counted();
    let asked = Asked { unit: NRateUnit::PoundsPerAcre, level: 0.95, thin_stand_below: below, yields: &[] };
    let declared = Study::of(&trial, CANOPY, DAY, &indices(&trial, CANOPY, DAY), &asked).stand.unwrap().counts.unwrap();
    assert_eq!((declared.thin_below, declared.declared, declared.thin), (45.0, true, 4));
}

/// Leaf indices of the twelve plots: `green` reads as the reference, otherwise 0.80 of it.
fn with_leaves(mut trial: Trial, green: impl Fn(usize) -> bool) -> Trial {
    let values: Vec<Vec<f64>> = (0..13).map(|plot| vec![if green(plot) || plot == 12 { 50.0 } else { 40.0 }]).collect();
    add_readings(&mut trial, LEAF, DAY, &values);
    trial
}

fn because(trial: &Trial, plot: usize) -> Option<LowBecause> {
    stand(trial).low.iter().find(|low| low.plot == plot).map(|low| low.because)
}

#[test]
fn a_leaf_meter_tells_a_thin_stand_from_short_n() {
    // Plot 0 has a full stand and reads 0.82, plot 3 a thin one and 0.729, plot 2 reads 0.955: not low.
    let (green, pale) = (with_leaves(counted(), |_| true), with_leaves(counted(), |_| false));
    assert_eq!((because(&green, 3), because(&pale, 3)), (Some(LowBecause::ThinStand), Some(LowBecause::ThinStandAndN)));
    assert_eq!((because(&green, 0), because(&pale, 0)), (Some(LowBecause::NotNitrogen), Some(LowBecause::Nitrogen)));
    assert_eq!(because(&green, 2), None);
    assert!(stand(&green).low.iter().all(|low| low.plot != 12), "the reference is not judged");
}

#[test]
fn without_a_leaf_meter_the_index_at_a_full_stand_decides() {
    let found = stand(&counted());
    // Plot 8: 0.918 + 0.024042056 · (1 − 0.54) ÷ 0.1 = 1.0286, plot 3: 0.729 + 0.024042056 · 5.6 = 0.8636.
    let low = |plot: usize| found.low.iter().find(|low| low.plot == plot).unwrap();
    assert_eq!((low(8).because, low(3).because), (LowBecause::ThinStand, LowBecause::ThinStandAndN));
    assert_relative_eq!(
        low(3).at_full_stand.unwrap(),
        0.729 + 0.240_420_560_747_664_63 * 0.56,
        max_relative = COMPUTED
    );
    assert_eq!(low(0).because, LowBecause::Nitrogen);
}

#[test]
fn without_counts_only_a_wide_gap_between_the_sensors_is_told_and_without_leaves_nothing() {
    let uncounted = |mut trial: Trial| {
        trial.plots.iter_mut().for_each(|plot| plot.tillers = None);
        trial
    };
    assert!(study(&uncounted(counted()), CANOPY).stand.is_none());
    let trial = uncounted(with_leaves(counted(), |_| true));
    // The leaf index is 1; the canopy reads 0.82 in plot 0 and 0.913 in plot 1.
    assert_eq!((because(&trial, 0), because(&trial, 1)), (Some(LowBecause::NotNitrogen), None));
    assert!(stand(&trial).counts.is_none() && stand(&trial).model.is_none());
}

#[test]
fn plots_with_a_thin_stand_are_no_measure_of_the_reference() {
    let reference = study(&counted(), CANOPY).references.remove(0);
    assert_eq!((reference.thin_left_out, reference.plots), (11, 12));
}
