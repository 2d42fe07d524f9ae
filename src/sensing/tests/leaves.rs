//! Leaves one by one: far ones, components of variance, how many to read.

use std::num::NonZeroU8;

use approx::assert_relative_eq;
use proptest::prelude::*;

use super::{COMPUTED, DAY, LEAF, Row, read, study};
use crate::sensing::{LEAF_NUMBERS, PlotMean, indices, plot_means};
use crate::trial::{FlaggedLeaves, Trial};

/// Ten leaves of which the last has a lesion.
const LESION: [f64; 10] = [50.2, 48.9, 51.3, 49.5, 50.8, 47.9, 52.1, 50.0, 49.2, 30.4];

fn lesion() -> Trial {
    let sound = |shift: f64| LESION.map(|leaf| if leaf < 40.0 { 50.6 } else { leaf } + shift).to_vec();
    read(LEAF, &[("1", 0.0, false, LESION.to_vec()), ("1", 100.0, true, sound(4.0)), ("2", 0.0, false, sound(-1.0))])
}

fn means(trial: &Trial) -> Vec<PlotMean> {
    plot_means(trial, LEAF, DAY)
}

#[test]
fn a_leaf_far_from_its_plot_is_flagged_and_kept_with_both_means_at_hand() {
    let found = means(&lesion());
    let [plot, rest @ ..] = found.as_slice() else { panic!("plots") };
    // By hand: median 49.75, MAD 0.95, s = 1.4826022 · 10/9.2 · 0.95 = 1.5309479, so the leaf lies −12.639 away; the limit
    // Φ⁻¹(1 − 0.01/20) is 3.2905 (SciPy).
    let [leaf] = plot.flagged.as_slice() else { panic!("one leaf: {:?}", plot.flagged) };
    assert_eq!(leaf.reading, 9);
    assert_relative_eq!(leaf.distance, 30.4 - 49.75, max_relative = COMPUTED);
    assert_relative_eq!(leaf.deviations, -12.639_227_929_463_846, max_relative = COMPUTED);
    assert_relative_eq!(plot.mean, 48.03, max_relative = COMPUTED);
    assert_relative_eq!(plot.other_mean.unwrap(), 49.988_888_888_888_89, max_relative = COMPUTED);
    assert_eq!(plot.readings, 10);
    assert!(rest.iter().all(|plot| plot.flagged.is_empty() && plot.other_mean.is_none()));
}

#[test]
fn where_the_programme_leaves_flagged_leaves_out_means_and_indices_go_without_them() {
    let kept = lesion();
    let left_out = Trial { flagged_leaves: FlaggedLeaves::LeaveOut, ..lesion() };
    let index = |trial: &Trial| indices(trial, LEAF, DAY)[0].index.unwrap();
    let (with, without) = (index(&kept), index(&left_out));
    assert_eq!((with.other_index, without.other_index), (Some(without.index), Some(with.index)));
    // The reference has the sound leaves plus 4: its mean is 54.05.
    assert_relative_eq!(without.index, 49.988_888_888_888_89 / 54.05, max_relative = COMPUTED);
    assert_eq!(means(&left_out)[0].readings, 9);
}

#[test]
fn mean_spread_and_standard_error_are_those_of_the_leaves() {
    // numpy: std([44.0, 42.2, 44.8, 52.0], ddof = 1) = 4.306197084822445.
    let trial = read(LEAF, &[("1", 0.0, false, vec![44.0, 42.2, 44.8, 52.0]), ("1", 0.0, true, vec![50.0])]);
    let found = means(&trial);
    assert_relative_eq!(found[0].standard_deviation.unwrap(), 4.306_197_084_822_445, max_relative = COMPUTED);
    assert_relative_eq!(found[0].cv_percent().unwrap(), 9.412_452_644_420_645, max_relative = COMPUTED);
    assert_relative_eq!(found[0].standard_error().unwrap(), 2.153_098_542_411_222_6, max_relative = COMPUTED);
    let single = &found[1];
    assert_eq!((single.standard_deviation, single.cv_percent(), single.standard_error()), (None, None, None));
}

#[test]
fn equal_leaves_and_few_leaves_are_not_flagged() {
    let equal = read(LEAF, &[("1", 0.0, false, vec![50.0; 30]), ("1", 0.0, true, vec![50.0; 30])]);
    assert!(means(&equal).iter().all(|plot| plot.flagged.is_empty()));
    assert!(study(&equal, LEAF).components.is_none());
    let few = read(LEAF, &[("1", 0.0, false, vec![50.0, 51.0, 49.0, 20.0]), ("1", 0.0, true, vec![50.0])]);
    assert!(means(&few).iter().all(|plot| plot.flagged.is_empty()));
}

#[test]
fn a_lower_leaf_is_not_far_where_positions_are_recorded() {
    // Every tenth leaf is a lower one that reads 20 less.
    let leaves = |shift: f64| LESION.map(|leaf| leaf + shift).to_vec();
    let rows: Vec<Row<'_>> = (0..8).map(|plot| ("1", 0.0, plot == 0, leaves(f64::from(plot) / 10.0))).collect();
    let mut trial = read(LEAF, &rows);
    assert!(means(&trial).iter().all(|plot| plot.flagged.len() == 1));
    trial.leaf_positions = vec!["upper".to_owned(), "lower".to_owned()];
    for reading in &mut trial.readings {
        reading.position = NonZeroU8::new(if reading.leaf == Some(10) { 2 } else { 1 });
    }
    assert!(means(&trial).iter().all(|plot| plot.flagged.is_empty()));
    assert_eq!(trial.leaf_position(&trial.readings[9]), Some("lower"));
}

/// Three blocks of two treatments with unequal numbers of leaves; the plots with 100 are the reference.
fn unequal() -> Trial {
    let row = |block, n: f64, leaves: &[f64]| (block, n, n > 0.0, leaves.to_vec());
    read(
        LEAF,
        &[
            row("1", 0.0, &[40.1, 42.3, 41.0, 43.2]),
            row("1", 100.0, &[50.2, 49.1, 51.7]),
            row("2", 0.0, &[38.8, 40.9, 39.7]),
            row("2", 100.0, &[51.9, 54.3, 53.0, 52.1, 54.7]),
            row("3", 0.0, &[42.0, 44.1, 41.9, 43.4]),
            row("3", 100.0, &[50.2, 48.1]),
        ],
    )
}

#[test]
fn components_of_unequal_leaves_are_those_of_the_method_of_moments() {
    // NumPy, from E(Σr²) = (a − k)·σ²_plot + σ²_leaf·Σ(1 − hᵢ)/Nᵢ with the hat matrix written out.
    let found = study(&unequal(), LEAF).components.unwrap();
    assert_eq!((found.within_df, found.between_df, found.plots, found.readings), (15, 2, 3, 3));
    assert_relative_eq!(found.within, 1.558_111_111_111_112_3, max_relative = COMPUTED);
    assert_relative_eq!(found.between, 6.043_356_172_839_494, max_relative = COMPUTED);
    assert_relative_eq!(found.standard_error(3, 30), 3.087_694_232_159_986_3, max_relative = COMPUTED);
    assert_relative_eq!(found.index_standard_error(3, 30).unwrap(), 0.037_811_941_292_398_03, max_relative = COMPUTED);
    let interval = &found.standard_error_percent;
    for (end, expected) in [
        (interval.estimate, 3.195_438_374_710_093_4),
        (interval.low, 1.663_731_405_519_443_7),
        (interval.high, 20.082_482_424_021_386),
    ] {
        assert_relative_eq!(end.unwrap(), expected, max_relative = COMPUTED);
    }
}

#[test]
fn components_of_equal_leaves_are_those_of_the_nested_analysis_of_variance() {
    let row = |block, n: f64, leaves: [f64; 2]| (block, n, n > 0.0, leaves.to_vec());
    let trial = read(
        LEAF,
        &[
            row("1", 0.0, [40.1, 42.3]),
            row("1", 100.0, [50.2, 49.1]),
            row("2", 0.0, [38.8, 40.9]),
            row("2", 100.0, [51.9, 54.3]),
            row("3", 0.0, [42.0, 44.1]),
            row("3", 100.0, [50.2, 48.1]),
        ],
    );
    // Sums of squares by hand (NumPy): (MS plots − MS leaves) ÷ 2 leaves.
    let found = study(&trial, LEAF).components.unwrap();
    assert_relative_eq!(found.within, 2.086_666_666_666_666, max_relative = COMPUTED);
    // 3 % of 46.0 takes 17.97 leaves.
    assert_eq!(found.wanted(3.0).leaves, Some(18));
    assert_relative_eq!(found.between, (13.280_833_333_333_302 - 2.086_666_666_666_666) / 2.0, max_relative = COMPUTED);
}

#[test]
fn a_wanted_standard_error_is_turned_into_leaves_or_plots_and_what_no_leaves_give_is_said() {
    let found = study(&unequal(), LEAF).components.unwrap();
    let reachable = found.wanted(4.0);
    let leaves = reachable.leaves.unwrap();
    assert!(found.standard_error(3, leaves) <= 4.0 && (leaves == 1 || found.standard_error(3, leaves - 1) > 4.0));
    let unreachable = found.wanted(1.0);
    assert_eq!(unreachable.leaves, None);
    let plots = unreachable.plots.unwrap();
    assert!(
        found.standard_error(plots, found.readings) <= 1.0 && found.standard_error(plots - 1, found.readings) > 1.0
    );
    assert_eq!(plots, 31);
    assert!(LEAF_NUMBERS.windows(2).all(|pair| found.standard_error(3, pair[0]) > found.standard_error(3, pair[1])));
}

#[test]
fn one_leaf_a_plot_has_no_components() {
    let trial =
        read(LEAF, &[("1", 0.0, false, vec![45.0]), ("1", 100.0, true, vec![50.0]), ("2", 0.0, false, vec![44.0])]);
    assert!(study(&trial, LEAF).components.is_none());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn the_scale_of_readings_changes_no_index_and_no_flag(
        leaves in prop::collection::vec(prop::collection::vec(30.0..60.0_f64, 12), 6),
        spoilt in 0.2..1.5_f64,
        power in -6..7_i32,
    ) {
        // Powers of two scale without rounding.
        let scale = 2.0_f64.powi(power);
        let trial = |scale: f64| {
            let rows: Vec<Row<'_>> = leaves.iter().enumerate().map(|(plot, leaves)| {
                let leaf = |(leaf, value): (usize, &f64)| scale * value * if leaf == 3 { spoilt } else { 1.0 };
                (if plot < 3 { "1" } else { "2" }, 50.0 * (plot % 3) as f64, plot % 3 == 2, leaves.iter().enumerate().map(leaf).collect())
            }).collect();
            read(LEAF, &rows)
        };
        let (plain, scaled) = (trial(1.0), trial(scale));
        let index = |trial: &Trial| -> Vec<_> {
            indices(trial, LEAF, DAY).into_iter().map(|read| {
                let flagged: Vec<(usize, f64)> = read.reading.flagged.iter().map(|leaf| (leaf.reading, leaf.deviations)).collect();
                (read.index.map(|indexed| (indexed.index, indexed.other_index)), flagged)
            }).collect()
        };
        prop_assert_eq!(index(&plain), index(&scaled));
        let verdicts = |trial: &Trial| study(trial, LEAF).references.iter().map(|it| (it.verdict(), it.reading.because, it.above)).collect::<Vec<_>>();
        prop_assert_eq!(verdicts(&plain), verdicts(&scaled));
    }
}
