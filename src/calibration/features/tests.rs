use super::*;
use approx::assert_relative_eq;

/// What coefficients and errors of a few rows lose to the order of summation.
const ROUNDING: f64 = 1e-11;

/// Made up: index by canopy and by leaf, plants a square foot, need.
const ROWS: [(&str, f64, f64, f64, f64); 18] = [
    ("Alder Flat 2021", 0.853, 0.945, 19.1, 16.2),
    ("Alder Flat 2021", 0.813, 0.875, 20.4, 33.9),
    ("Alder Flat 2021", 0.863, 0.923, 24.7, 28.7),
    ("Birch Rise 2022", 0.995, 1.042, 31.6, 1.6),
    ("Birch Rise 2022", 0.753, 0.834, 27.9, 60.5),
    ("Birch Rise 2022", 0.9, 0.938, 25.0, 17.6),
    ("Birch Rise 2022", 0.85, 0.892, 22.9, 30.7),
    ("Birch Rise 2022", 0.857, 0.918, 31.1, 40.6),
    ("Cress Moor 2022", 0.979, 1.007, 27.5, -1.6),
    ("Cress Moor 2022", 0.765, 0.878, 28.8, 56.1),
    ("Cress Moor 2022", 0.838, 0.889, 20.4, 37.3),
    ("Cress Moor 2022", 0.989, 0.989, 23.4, 14.7),
    ("Dale End 2023", 0.975, 0.994, 29.5, -0.7),
    ("Dale End 2023", 0.813, 0.903, 31.6, 44.7),
    ("Dale End 2023", 0.85, 0.933, 30.6, 28.6),
    ("Dale End 2023", 0.792, 0.888, 19.5, 44.0),
    ("Dale End 2023", 0.963, 0.984, 21.3, 10.5),
    ("Dale End 2023", 0.936, 0.936, 21.3, 15.8),
];

fn features() -> [Feature; 3] {
    let named = |name: &str, unit: Option<&str>| Feature { name: name.to_owned(), unit: unit.map(str::to_owned) };
    [named("index, canopy", None), named("index, leaf", None), named("stand", Some("plants/ft²"))]
}

fn rows() -> Vec<FeatureRow> {
    let row = |(site_year, canopy, leaf, stand, need): (&str, f64, f64, f64, f64)| FeatureRow {
        site_year: site_year.to_owned(),
        values: vec![Some(canopy), Some(leaf), Some(stand)],
        need,
    };
    ROWS.into_iter().map(row).collect()
}

fn fit(comparison: &FeatureComparison, position: usize) -> &FeatureFit {
    comparison.sets[position].outcome.as_ref().expect("determined")
}

#[test]
fn sets_of_features_agree_with_scikit_learn() {
    // scikit-learn 1.9.1: LinearRegression().fit(…, sample_weight = 1 ÷ rows of the site-year), again without each site-year; the
    // jackknife and the gains by their formulas in NumPy.
    let comparison = FeatureComparison::of(&features(), &rows(), &all_sets(3)).expect("four site-years");
    let sets: Vec<&[usize]> = comparison.sets.iter().map(|set| set.features.as_slice()).collect();
    assert_eq!(sets, [&[][..], &[0], &[1], &[2], &[0, 1], &[0, 2], &[1, 2], &[0, 1, 2]]);
    let rmse = [
        17.733799847229722,
        8.276622365531347,
        8.260278454027317,
        17.711353361226376,
        8.0363530637773,
        8.991425324432077,
        6.785402977701106,
        7.63922860501536,
    ];
    for (position, expected) in rmse.into_iter().enumerate() {
        assert_relative_eq!(fit(&comparison, position).rmse, expected, max_relative = ROUNDING);
    }
    let two = fit(&comparison, 6);
    assert_relative_eq!(two.intercept, 304.9278932415586, max_relative = ROUNDING);
    assert_relative_eq!(two.bias, 0.2896960187684167, max_relative = 1e-9);
    for (found, (value, standard_error)) in
        two.coefficients.iter().zip([(-327.9996142443907, 24.89938094608276), (1.074674385062124, 0.35862477985397573)])
    {
        assert_relative_eq!(found.value, value, max_relative = ROUNDING);
        assert_relative_eq!(found.standard_error, standard_error, max_relative = ROUNDING);
    }
    let gain = two.gain.expect("sets within it");
    assert_eq!(gain.over, 2);
    assert_relative_eq!(gain.mean, 22.19050656827286, max_relative = 1e-10);
    assert_relative_eq!(gain.standard_error, 15.013810196744709, max_relative = 1e-10);
    // Both indices and the stand have a smaller error than either index alone, and a larger one than leaf and stand.
    let all = fit(&comparison, 7).gain.expect("sets within it");
    assert_eq!((all.over, all.is_earned()), (6, false));
    assert_relative_eq!(all.mean, -12.316120109889878, max_relative = 1e-10);
    assert_eq!(comparison.chosen, 6);
}

#[test]
fn every_set_is_fitted_to_the_rows_that_have_all_features() {
    let mut some = rows();
    some[4].values[1] = None;
    some[9].values[1] = None;
    some[9].values[2] = None;
    let comparison = FeatureComparison::of(&features(), &some, &[vec![0], vec![0, 1, 2]]).expect("four site-years");
    assert_eq!((comparison.rows, comparison.left_out), (16, 2));
    assert_eq!(comparison.missing, [0, 2, 1]);
    let kept: Vec<FeatureRow> =
        rows().into_iter().enumerate().filter(|(i, _)| ![4, 9].contains(i)).map(|(_, row)| row).collect();
    let of_kept = FeatureComparison::of(&features(), &kept, &[vec![0], vec![0, 1, 2]]).expect("four site-years");
    assert_eq!(comparison.sets, of_kept.sets);
}

#[test]
fn a_site_year_plays_no_part_in_its_own_prediction() {
    // Its own needs made ten times as large change its error by that and nothing else.
    let sets = [vec![1]];
    let before = FeatureComparison::of(&features(), &rows(), &sets).expect("four site-years");
    let mut corrupted = rows();
    corrupted.iter_mut().filter(|row| row.site_year.starts_with("Birch")).for_each(|row| row.need *= 10.0);
    let after = FeatureComparison::of(&features(), &corrupted, &sets).expect("four site-years");
    let without_birch: Vec<FeatureRow> = rows().into_iter().filter(|row| !row.site_year.starts_with("Birch")).collect();
    let others = FeatureComparison::of(&features(), &without_birch, &sets).expect("three site-years");
    let fitted = fit(&others, 1);
    let mean_squared = |of: &[FeatureRow]| {
        let own: Vec<f64> = of
            .iter()
            .filter(|row| row.site_year.starts_with("Birch"))
            .map(|row| fitted.intercept + fitted.coefficients[0].value * row.values[1].expect("read") - row.need)
            .collect();
        own.iter().map(|error| error * error).sum::<f64>() / own.len() as f64
    };
    assert_relative_eq!(fit(&before, 1).squared_errors[1], mean_squared(&rows()), max_relative = ROUNDING);
    assert_relative_eq!(fit(&after, 1).squared_errors[1], mean_squared(&corrupted), max_relative = ROUNDING);
}

#[test]
fn rows_of_a_site_year_share_its_weight() {
    let mut doubled = rows();
    doubled.extend(rows().into_iter().filter(|row| row.site_year.starts_with("Cress")));
    let once = FeatureComparison::of(&features(), &rows(), &all_sets(2)).expect("four site-years");
    let twice = FeatureComparison::of(&features(), &doubled, &all_sets(2)).expect("four site-years");
    for position in 0..4 {
        assert_relative_eq!(fit(&once, position).rmse, fit(&twice, position).rmse, max_relative = ROUNDING);
        assert_relative_eq!(fit(&once, position).intercept, fit(&twice, position).intercept, max_relative = ROUNDING);
    }
}

#[test]
fn a_feature_that_others_give_or_that_never_changes_says_so() {
    let mut copied = rows();
    for row in &mut copied {
        row.values[1] = row.values[0].map(|index| 2.0 * index - 0.5);
        // The stand differs at one site-year only, which is then held out.
        row.values[2] = Some(if row.site_year.starts_with("Dale") { 30.0 } else { 20.0 });
    }
    let comparison = FeatureComparison::of(&features(), &copied, &[vec![0, 1], vec![2]]).expect("four site-years");
    let reasons: Vec<String> =
        comparison.sets.iter().filter_map(|set| set.outcome.as_ref().err()).map(ToString::to_string).collect();
    assert_eq!(
        reasons,
        [
            "without Dale End 2023, a feature has the same value in every row",
            "a feature follows from the others, or there are fewer rows than coefficients",
        ]
    );
    assert_eq!(comparison.chosen, 0);
}

#[test]
fn one_site_year_is_not_compared_with_itself() {
    let one: Vec<FeatureRow> = rows().into_iter().filter(|row| row.site_year.starts_with("Dale")).collect();
    let refused = FeatureComparison::of(&features(), &one, &all_sets(3)).expect_err("one site-year");
    assert_eq!(refused, NoFeatureComparison::TooFewSiteYears { rows: 6, of: 6, found: 1 });
    let nothing = FeatureComparison::of(&features(), &[], &all_sets(3)).expect_err("no rows");
    assert_eq!(nothing, NoFeatureComparison::TooFewSiteYears { rows: 0, of: 0, found: 0 });
}

#[test]
fn rows_that_do_not_fit_the_features_are_refused() {
    let mut short = rows();
    short[2].values.pop();
    let refused = FeatureComparison::of(&features(), &short, &[]).expect_err("two features");
    assert_eq!(refused, NoFeatureComparison::Lengths { expected: 3, found: 2 });
    let mut infinite = rows();
    infinite[0].need = f64::INFINITY;
    let refused = FeatureComparison::of(&features(), &infinite, &[]).expect_err("not finite");
    assert_eq!(refused, NoFeatureComparison::NotFinite { site_year: "Alder Flat 2021".to_owned() });
    let refused = FeatureComparison::of(&features(), &rows(), &[vec![3]]).expect_err("no such feature");
    assert_eq!(refused, NoFeatureComparison::NoSuchFeature { position: 3, features: 3 });
}
