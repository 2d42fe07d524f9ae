use super::*;
use approx::assert_relative_eq;

/// Made up: index with ties, N need.
const ROWS: [(&str, f64, f64); 26] = [
    ("Alder Flat 2021", 0.88, 37.0),
    ("Alder Flat 2021", 0.74, 52.0),
    ("Alder Flat 2021", 1.0, 0.0),
    ("Alder Flat 2021", 0.78, 59.0),
    ("Birch Rise 2022", 0.84, 9.0),
    ("Birch Rise 2022", 0.92, 0.0),
    ("Birch Rise 2022", 0.78, 37.0),
    ("Birch Rise 2022", 0.92, 0.0),
    ("Birch Rise 2022", 0.96, 0.0),
    ("Birch Rise 2022", 1.02, 0.0),
    ("Cress Moor 2022", 0.88, 0.0),
    ("Cress Moor 2022", 0.9, 4.0),
    ("Cress Moor 2022", 0.96, 0.0),
    ("Cress Moor 2022", 0.78, 65.0),
    ("Cress Moor 2022", 0.82, 23.0),
    ("Dale End 2023", 0.86, 19.0),
    ("Dale End 2023", 0.92, 25.0),
    ("Dale End 2023", 1.0, 0.0),
    ("Dale End 2023", 0.74, 65.0),
    ("Dale End 2023", 0.84, 7.0),
    ("Dale End 2023", 1.0, 0.0),
    ("Elm Drove 2023", 0.74, 51.0),
    ("Elm Drove 2023", 1.02, 0.0),
    ("Elm Drove 2023", 0.94, 0.0),
    ("Elm Drove 2023", 0.74, 59.0),
    ("Elm Drove 2023", 0.9, 4.0),
];

const OPTIONS: ClassOptions = ClassOptions { threshold: 0.0, level: 0.95, replicates: 500, seed: 7 };

fn row(site_year: &str, index: f64, need: f64) -> ClassRow {
    ClassRow { site_year: site_year.to_owned(), index, lowest_need: need, highest_need: need, is_shown: true }
}

fn rows() -> Vec<ClassRow> {
    ROWS.into_iter().map(|(site_year, index, need)| row(site_year, index, need)).collect()
}

fn counts(
    deficient_below: usize,
    deficient_above: usize,
    sufficient_below: usize,
    sufficient_above: usize,
) -> Confusion {
    Confusion { deficient_below, deficient_above, sufficient_below, sufficient_above }
}

#[test]
fn the_characteristic_agrees_with_scikit_learn() {
    // scikit-learn 1.9.1: roc_auc_score, roc_curve(drop_intermediate = False) and confusion_matrix of (need > 0) on −index; SciPy 1.17.1:
    // mannwhitneyu ÷ (15 · 11). The critical index by the definition of J, also without each site-year.
    let found = Classifier::of(&rows(), &OPTIONS).expect("both classes");
    assert_eq!((found.deficient, found.sufficient, found.undecided, found.site_years), (15, 11, 0, 5));
    assert_relative_eq!(found.area.estimate.expect("both classes"), 0.9727272727272728, max_relative = 1e-15);
    let corners: Vec<(usize, usize)> =
        found.cut_offs.iter().map(|cut| (cut.counts.sufficient_below, cut.counts.deficient_below)).collect();
    let expected = [(0, 4), (0, 7), (0, 8), (0, 10), (0, 11), (1, 12), (1, 14), (3, 15), (4, 15), (6, 15), (9, 15)];
    assert_eq!(corners, expected);
    let critical = found.critical.expect("separated");
    assert_relative_eq!(critical.index.estimate.expect("chosen"), 0.91, max_relative = 1e-15);
    assert_eq!((critical.last_below, critical.first_above), (0.9, 0.92));
    assert_relative_eq!(critical.youden, 0.8424242424242423, max_relative = 1e-14);
    assert_eq!(critical.own, counts(14, 1, 1, 10));
    let held_out: Vec<(f64, Confusion)> =
        critical.held_out.iter().map(|one| one.outcome.expect("both classes elsewhere")).collect();
    let expected = [
        (0.91, counts(3, 0, 0, 1)),
        (0.93, counts(2, 0, 2, 2)),
        (0.91, counts(3, 0, 1, 1)),
        (0.91, counts(3, 1, 0, 2)),
        (0.91, counts(3, 0, 0, 2)),
    ];
    for ((index, own), (expected, expected_counts)) in held_out.into_iter().zip(expected) {
        assert_relative_eq!(index, expected, max_relative = 1e-15);
        assert_eq!(own, expected_counts);
    }
    assert_eq!(critical.held_out_total, counts(14, 1, 3, 8));
}

#[test]
fn the_area_is_the_count_of_pairs_whatever_the_ties_and_the_scale() {
    // Indices that f32 can't tell apart, an index of 0, and many ties; counted pair by pair.
    let indices = [0.0, 0.9, 0.9 + 1e-12, 0.9 + 2e-12, 0.95, 0.95, 3.0];
    let mut pattern = 1_u32;
    for _ in 0..200 {
        let rows: Vec<Labelled> = (0..15)
            .map(|_| {
                pattern = pattern.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let index = indices[(pattern >> 20) as usize % indices.len()];
                Labelled { index, deficient: pattern >> 31 == 1 }
            })
            .collect();
        let of_class = |deficient: bool| rows.iter().filter(move |row| row.deficient == deficient);
        let pairs = of_class(true).flat_map(|low| of_class(false).map(move |high| (low.index, high.index)));
        let halves: Vec<f64> =
            pairs.map(|(low, high)| if low < high { 1.0 } else { 0.5 * f64::from(u8::from(low == high)) }).collect();
        let Some(found) = Characteristic::of(&rows) else {
            assert!(halves.is_empty());
            continue;
        };
        assert_relative_eq!(found.area(), halves.iter().sum::<f64>() / halves.len() as f64, max_relative = 1e-15);
        for cut in &found.cut_offs {
            assert_eq!(cut.counts, Confusion::of(&rows, cut.index), "{cut:?}");
        }
    }
}

#[test]
fn a_need_that_may_lie_on_either_side_of_the_threshold_is_undecided() {
    let mut some = rows();
    some[1].highest_need = f64::INFINITY;
    some[2].lowest_need = f64::NEG_INFINITY;
    some[3].lowest_need = -5.0;
    some[5].highest_need = 30.0;
    some[7].is_shown = false;
    some[4].is_shown = false;
    let found = Classifier::of(&some, &OPTIONS).expect("both classes");
    assert_eq!((found.deficient, found.sufficient, found.undecided), (14, 10, 2));
    // Of those, one that is sufficient.
    assert_eq!(found.not_shown, 1);
    // Above 20 of N the needs of 4, 7, 9, and 19 count as none.
    let options = ClassOptions { threshold: 20.0, ..OPTIONS };
    assert_eq!(Classifier::of(&rows(), &options).expect("both classes").deficient, 10);
}

#[test]
fn one_class_alone_says_which_is_missing() {
    let all_zero: Vec<ClassRow> = ROWS.iter().map(|(site_year, index, _)| row(site_year, *index, 0.0)).collect();
    let refused = Classifier::of(&all_zero, &OPTIONS).expect_err("no need");
    assert_eq!(refused, NoClassifier::NoneDeficient { decided: 26, threshold: 0.0 });
    let all_needed: Vec<ClassRow> = ROWS.iter().map(|(site_year, index, _)| row(site_year, *index, 9.0)).collect();
    let refused = Classifier::of(&all_needed, &OPTIONS).expect_err("all need");
    assert_eq!(refused, NoClassifier::NoneSufficient { decided: 26, threshold: 0.0 });
    assert_eq!(Classifier::of(&[], &OPTIONS), Err(NoClassifier::NoneDeficient { decided: 0, threshold: 0.0 }));
    let nan = [row("a", f64::NAN, 1.0)];
    assert_eq!(Classifier::of(&nan, &OPTIONS), Err(NoClassifier::NotANumber { site_year: "a".to_owned() }));
}

#[test]
fn an_index_that_never_changes_tells_nothing() {
    let constant: Vec<ClassRow> = ROWS.iter().map(|(site_year, _, need)| row(site_year, 0.9, *need)).collect();
    let found = Classifier::of(&constant, &OPTIONS).expect("both classes");
    assert_eq!(found.area.estimate, Some(0.5));
    assert_eq!(found.area.reason.as_deref(), Some("every resample gives the same"));
    assert_eq!(found.critical, Err(NoCriticalIndex::NotSeparated));
}

#[test]
fn an_index_that_rises_with_need_has_no_critical_index() {
    let turned: Vec<ClassRow> =
        ROWS.iter().map(|(site_year, index, need)| row(site_year, 2.0 - index, *need)).collect();
    let found = Classifier::of(&turned, &OPTIONS).expect("both classes");
    assert_relative_eq!(found.area.estimate.expect("both classes"), 1.0 - 0.9727272727272728, max_relative = 1e-13);
    assert_eq!(found.critical, Err(NoCriticalIndex::NotSeparated));
}

#[test]
fn a_complete_separation_has_no_interval_that_would_look_certain() {
    let apart: Vec<ClassRow> = ROWS
        .iter()
        .map(|(site_year, index, _)| row(site_year, *index, if *index < 0.89 { 40.0 } else { 0.0 }))
        .collect();
    let found = Classifier::of(&apart, &OPTIONS).expect("both classes");
    assert_eq!((found.area.estimate, found.area.low), (Some(1.0), None));
}

#[test]
fn intervals_come_from_whole_site_years() {
    let found = Classifier::of(&rows(), &OPTIONS).expect("both classes");
    let (low, high) = (found.area.low.expect("resampled"), found.area.high.expect("resampled"));
    assert!(low < 0.972 && high > 0.973 && high <= 1.0, "{low} {high}");
    // Every treatment ten times over: the same site-years, the same interval.
    let many: Vec<ClassRow> = rows().into_iter().flat_map(|row| vec![row; 10]).collect();
    assert_eq!(Classifier::of(&many, &OPTIONS).expect("both classes").area, found.area);
    assert_eq!(Classifier::of(&rows(), &OPTIONS), Ok(found));
    let few: Vec<ClassRow> = rows().into_iter().take(15).collect();
    let few = Classifier::of(&few, &OPTIONS).expect("both classes");
    assert_eq!(few.area.reason.as_deref(), Some("too few site-years to resample"));
}

#[test]
fn a_site_year_that_alone_holds_a_class_can_not_be_judged_by_the_others() {
    let some = [row("a", 0.7, 40.0), row("a", 0.8, 30.0), row("b", 0.9, 0.0), row("b", 0.6, 50.0), row("c", 0.8, 20.0)];
    let critical = Classifier::of(&some, &OPTIONS).expect("both classes").critical.expect("separated");
    let outcomes: Vec<_> = critical.held_out.into_iter().map(|one| one.outcome).collect();
    assert_eq!(outcomes[1], Err(NoCriticalIndex::OneClass));
    assert_eq!(critical.held_out_total.total(), 3);
}
