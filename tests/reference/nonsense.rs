//! Whatever numbers come in: an error, *not estimable* with its reason, or numbers; never a panic, never NaN.

use proptest::prelude::*;
use std::fmt::Debug;
use stook::response::{
    Family, Fit, Observations, PooledError, averaged_optimum, choose, disagreement, factor_test, weights,
};

/// Numbers that a trial has, and numbers that none has.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => (0u8..6).prop_map(|step| 30.0 * f64::from(step)),
        3 => 0.0..200.0f64,
        1 => prop::sample::select(vec![
            f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, -0.0, f64::MIN_POSITIVE, 1e-300, 1e-150, 1e-9, 1e9, 9e49, 1e100,
            f64::MAX, -1e49, 120.000_000_000_000_01, f64::EPSILON,
        ]),
    ]
}

/// Mostly well-formed trials, so that fits are reached.
fn plain() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => (0u8..5).prop_map(|step| 40.0 * f64::from(step)),
        1 => prop::sample::select(vec![0.0, -0.0, 1e-300, 1e-9, 120.000_000_000_000_01, 1e9, 9e49]),
    ]
}

fn no_nonsense(what: &str, found: &impl Debug) -> Result<(), TestCaseError> {
    let text = format!("{found:?}");
    prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{what}: {text}");
    Ok(())
}

/// Everything that can be asked of observations.
fn ask_everything(observations: &Observations) -> Result<(), TestCaseError> {
    let fits: Vec<Fit> = Family::ALL.iter().map(|family| observations.fit(*family)).collect();
    let mut optima = Vec::new();
    for fit in &fits {
        no_nonsense("fit", fit)?;
        let Fit::Estimated(curve) = fit else {
            continue;
        };
        no_nonsense("join", &observations.join_interval(curve, 0.95))?;
        no_nonsense("lack of fit", &observations.lack_of_fit(curve))?;
        no_nonsense("diagnostics", &observations.diagnostics(curve))?;
        for ratio in [0.0, 0.1, 1e30, -1.0, f64::NAN, f64::INFINITY] {
            let optimum = observations.optimum(curve, ratio, 0.95);
            no_nonsense("optimum", &optimum)?;
            if let Some(rate) = optimum.rate {
                prop_assert!((observations.lowest_rate()..=observations.highest_rate()).contains(&rate), "{optimum:?}");
            }
            if ratio == 0.1 {
                optima.push(optimum);
            }
        }
        let at = [observations.lowest_rate(), observations.highest_rate()];
        no_nonsense("band", &observations.band(curve, &at, 0.95))?;
    }
    no_nonsense("means", &observations.treatment_means())?;
    no_nonsense("analysis", &observations.analysis())?;
    no_nonsense("response", &observations.response_test(19, 1))?;
    no_nonsense("choice", &choose(&fits))?;
    if let Some(weights) = weights(&fits) {
        no_nonsense("weights", &weights)?;
        no_nonsense("disagreement", &disagreement(&weights, &optima))?;
        no_nonsense("average", &averaged_optimum(&weights, &optima))?;
    }
    no_nonsense("factor", &factor_test(observations, &[observations.clone(), observations.clone()]))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_numbers_give_an_error_or_numbers(
        rates in prop::collection::vec(number(), 0..14),
        yields in prop::collection::vec(number(), 0..14),
        groups in prop::option::of(prop::collection::vec(prop_oneof![0usize..3, Just(usize::MAX)], 0..14)),
    ) {
        match Observations::new(&rates, &yields, groups.as_deref()) {
            Ok(observations) => ask_everything(&observations)?,
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn any_trial_gives_an_error_or_numbers(
        plots in prop::collection::vec((plain(), plain(), 0usize..3), 0..14),
        grouped in any::<bool>(),
    ) {
        let rates: Vec<f64> = plots.iter().map(|plot| plot.0).collect();
        let yields: Vec<f64> = plots.iter().map(|plot| plot.1).collect();
        let groups: Vec<usize> = plots.iter().map(|plot| plot.2).collect();
        if let Ok(observations) = Observations::new(&rates, &yields, grouped.then_some(&groups)) {
            ask_everything(&observations)?;
        }
    }

    #[test]
    fn any_treatment_means_give_an_error_or_numbers(
        means in prop::collection::vec((plain(), plain(), prop_oneof![8 => 1usize..6, 1 => prop::sample::select(vec![0, 10_000, usize::MAX])]), 0..10),
        groups in prop::option::of(prop::collection::vec(0usize..2, 10)),
        error in prop::option::of((number(), prop_oneof![8 => 1usize..40, 1 => prop::sample::select(vec![0, 1_000_000, usize::MAX])])),
    ) {
        let rates: Vec<f64> = means.iter().map(|mean| mean.0).collect();
        let yields: Vec<f64> = means.iter().map(|mean| mean.1).collect();
        let replicates: Vec<usize> = means.iter().map(|mean| mean.2).collect();
        let groups = groups.map(|groups| groups[..means.len()].to_vec());
        let error = error.map(|(mean_square, df)| PooledError { mean_square, df });
        match Observations::of_means(&rates, &yields, &replicates, groups.as_deref(), error) {
            Ok(observations) => ask_everything(&observations)?,
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}

#[test]
fn what_is_wrong_with_numbers_is_said_plainly() {
    let said = |rates: &[f64], yields: &[f64]| Observations::new(rates, yields, None).unwrap_err().to_string();
    assert_eq!(said(&[0.0, 40.0], &[1.0]), "2 rates, 1 yields and 2 groups: the numbers must agree");
    assert!(said(&[0.0, 40.0], &[1.0, f64::NAN]).contains("observation 1"));
    assert!(said(&[0.0, -40.0], &[1.0, 2.0]).contains("rate -40 is negative"));
    assert!(said(&[40.0, 40.0], &[1.0, 2.0]).contains("at least two"));
    let error = Some(PooledError { mean_square: 2.0, df: 12 });
    let means = |replicates: &[usize], error| {
        Observations::of_means(&[0.0, 40.0], &[1.0, 2.0], replicates, None, error).unwrap_err().to_string()
    };
    assert_eq!(means(&[4, 0], error), "mean 1: 0 replicates; a treatment mean is of 1 to 10000 plots");
    assert_eq!(means(&[4], error), "2 means and 1 numbers of replicates: they must agree");
    for (mean_square, df) in [(0.0, 12), (-1.0, 12), (f64::NAN, 12), (f64::INFINITY, 12), (2.0, 0)] {
        assert!(means(&[4, 4], Some(PooledError { mean_square, df })).starts_with("a pooled error mean square of"));
    }
}

#[test]
fn equal_yields_and_too_few_points_are_not_estimable_and_say_why() {
    let reason = |rates: &[f64], yields: &[f64], family: Family| match Observations::new(rates, yields, None)
        .unwrap()
        .fit(family)
    {
        Fit::NotEstimable { reason, .. } => reason,
        Fit::Estimated(curve) => panic!("{curve:?}"),
    };
    let equal = reason(&[0.0, 40.0, 80.0, 120.0], &[50.0; 4], Family::QuadraticPlateau);
    assert_eq!(equal, "the yields do not differ within groups");
    let few = reason(&[0.0, 40.0], &[50.0, 60.0], Family::Quadratic);
    assert_eq!(few, "2 distinct rates are compared within groups; this family needs 3");
}
