use super::*;
use crate::experiment::{ErrorStratum, FitOptions, GroupKey, ResponseGroup};
use crate::stats::random_effects::{Estimation, Known};

/// A group whose yields follow 40 + d·(1 − (1 − min(N, join)/join)²) in four blocks, with a small error that sums to 0 at each rate.
fn group(key: GroupKey, rise: f64, join: f64) -> FittedGroup {
    let at = |n: f64| 40.0 + rise * (1.0 - (1.0 - n.min(join) / join).powi(2));
    let errors = [
        [0.6, -0.9, 0.1, 0.2],
        [-0.4, 0.8, 0.3, -0.7],
        [0.9, 0.2, -0.6, -0.5],
        [-0.2, -0.3, 0.9, -0.4],
        [0.1, 0.7, -0.5, -0.3],
    ];
    let mut group = ResponseGroup {
        key,
        rates: Vec::new(),
        yields: Vec::new(),
        names: Vec::new(),
        within_blocks: None,
        laid_with_n: Vec::new(),
        pooled_over: None,
        replicates: None,
        pooled_error: None,
        blocks: Some(Vec::new()),
        error_stratum: ErrorStratum::PlotsWithinBlocks,
        left_out: Vec::new(),
        rate_unit: Some("kg/ha".to_owned()),
        yield_unit: Some("Mg/ha".to_owned()),
        with_excluded: None,
    };
    for (position, row) in errors.iter().enumerate() {
        for (block, error) in row.iter().enumerate() {
            let rate = 40.0 * position as f64;
            group.rates.push(rate);
            group.names.push(format!("row {}", group.rates.len()));
            group.yields.push(at(rate) + error);
            group.blocks.as_mut().unwrap().push(block);
        }
    }
    FittedGroup::fit(group, &FitOptions { permutations: 199, ..FitOptions::new(0.95, 1) })
}

fn key(trial: &str, variety: Option<&str>, early_n: Option<f64>) -> GroupKey {
    GroupKey { trial: Some(trial.to_owned()), variety: variety.map(str::to_owned), early_n, ..GroupKey::default() }
}

fn options() -> Options {
    Options { price_ratio: 0.05, level: 0.95, replicates: 200, seed: 1, weights: BTreeMap::new() }
}

fn members<'a>(groups: &'a [(&'static str, FittedGroup)]) -> Vec<Member<'a>> {
    groups.iter().map(|(site_year, group)| Member { site_year, group }).collect()
}

fn reached() -> Vec<(&'static str, FittedGroup)> {
    vec![
        ("Reedmoor 2023", group(key("reed-23", None, None), 30.0, 90.0)),
        ("Reedmoor 2024", group(key("reed-24", None, None), 25.0, 130.0)),
        ("Gorse Hill 2023", group(key("gorse-23", None, None), 35.0, 110.0)),
        ("Gorse Hill 2024", group(key("gorse-24", None, None), 28.0, 140.0)),
    ]
}

#[test]
fn optima_that_are_numbers_are_put_together_by_reml() {
    let groups = reached();
    let found = across(&members(&groups), &options());
    let [all] = found.as_slice() else { panic!("one kind: {found:?}") };
    let optima = all.optima.as_ref().unwrap();
    assert_eq!((optima.estimation, optima.exact, optima.bounded), (Estimation::Reml, 4, 0));
    let common = all.common_rate.as_ref().unwrap();
    assert!(all.set_aside.is_empty() && common.attempted == 200);
    let (rate, mean) = (common.rate.estimate.unwrap(), optima.mean.estimate.unwrap());
    assert!((80.0..130.0).contains(&rate) && (80.0..130.0).contains(&mean), "{rate} {mean}");
}

#[test]
fn an_optimum_beyond_the_tested_rates_is_a_bound() {
    let mut groups = reached();
    groups.push(("Gorse Hill 2025", group(key("gorse-25", None, None), 60.0, 400.0)));
    let found = across(&members(&groups), &options());
    let all = &found[0];
    let last = all.site_years.last().unwrap().optimum.unwrap();
    assert_eq!(last.known, Known::Between { low: 160.0, high: f64::INFINITY });
    let optima = all.optima.as_ref().unwrap();
    assert_eq!((optima.estimation, optima.exact, optima.bounded), (Estimation::MlIntervalCensored, 4, 1));
    let before = across(&members(&groups[..4]), &options())[0].optima.as_ref().unwrap().mean.estimate;
    assert!(optima.mean.estimate > before);
}

#[test]
fn varieties_of_a_site_year_are_not_site_years() {
    let mut groups = reached();
    groups.push(("Reedmoor 2023", group(key("reed-23", Some("Pale Heron"), None), 30.0, 90.0)));
    let all = &across(&members(&groups), &options())[0];
    assert_eq!(all.site_years.iter().map(|site_year| site_year.groups).collect::<Vec<_>>(), [2, 1, 1, 1]);
    // The same variety twice: the same mean at half the variance, since their plots are others.
    let once = across(&members(&groups[..4]), &options())[0].site_years[0].optimum.unwrap();
    let twice = all.site_years[0].optimum.unwrap();
    assert_eq!(once.known, twice.known);
    approx::assert_relative_eq!(twice.variance.unwrap(), 0.5 * once.variance.unwrap(), max_relative = 1e-12);
}

#[test]
fn like_is_put_together_with_like() {
    let groups = vec![
        ("Reedmoor 2023", group(key("reed-23", None, Some(89.22)), 30.0, 90.0)),
        ("Reedmoor 2024", group(key("reed-24", None, Some(90.0)), 25.0, 130.0)),
        ("Reedmoor 2024", group(key("reed-24", None, Some(0.0)), 25.0, 130.0)),
        ("Gorse Hill 2023", group(key("gorse-23", None, None), 35.0, 110.0)),
        ("Gorse Hill 2024", group(key("gorse-24", None, None), 35.0, 120.0)),
    ];
    let found = across(&members(&groups), &options());
    let kinds: Vec<_> = found.iter().map(|all| (all.early_n, all.site_years.len())).collect();
    assert_eq!(kinds, [(None, 2), (Some([0.0, 0.0]), 1), (Some([89.22, 90.0]), 2)]);
    // A kind of one site-year is there, and says so.
    assert_eq!(found[1].common_rate, Err(NoCommonRate::TooFew { site_years: 1 }));
    assert!(matches!(found[1].optima, Err(NoMeanOptimum::TooFew { .. })));
}

#[test]
fn one_site_year_alone_is_no_result() {
    let groups = reached();
    assert!(across(&members(&groups[..1]), &options()).is_empty());
}

#[test]
fn a_site_year_without_a_curve_is_listed_with_its_reason() {
    let mut groups = reached();
    let mut empty = groups[0].1.group.clone();
    empty.key = key("gorse-25", None, None);
    empty.yields.clear();
    empty.rates.clear();
    empty.names.clear();
    empty.blocks = Some(Vec::new());
    groups.push(("Gorse Hill 2025", FittedGroup::fit(empty, &FitOptions::new(0.95, 1))));
    let all = &across(&members(&groups), &options())[0];
    assert_eq!((all.site_years.len(), all.site_years[4].groups), (5, 0));
    let [aside] = all.set_aside.as_slice() else { panic!("{:?}", all.set_aside) };
    assert_eq!((aside.site_year.as_str(), aside.from), ("Gorse Hill 2025", SetAsideFrom::Both));
    assert!(aside.reason.contains("no curve"), "{}", aside.reason);
    assert_eq!(all.common_rate.as_ref().unwrap().forgone.len(), 4);
}

#[test]
fn a_weight_moves_the_common_rate_toward_its_site_year() {
    let groups = reached();
    let rate = |weights: BTreeMap<String, f64>| {
        let found = across(&members(&groups), &Options { weights, ..options() });
        found[0].common_rate.as_ref().unwrap().rate.estimate.unwrap()
    };
    let even = rate(BTreeMap::new());
    assert!(rate(BTreeMap::from([("Gorse Hill 2024".to_owned(), 20.0)])) > even);
    assert!(rate(BTreeMap::from([("Reedmoor 2023".to_owned(), 20.0)])) < even);
}
