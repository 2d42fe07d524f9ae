use super::*;
use approx::assert_relative_eq;
use rand_distr::{Distribution as _, Normal};

const OPTIONS: ReliabilityOptions = ReliabilityOptions { level: 0.95, replicates: 500, seed: 3 };

fn treatment(site_year: &str, index: f64, plots: usize, standard_deviation: Option<f64>) -> ReplicatedIndex {
    ReplicatedIndex { site_year: site_year.to_owned(), index, plots, standard_deviation }
}

/// A treatment by its plots.
fn of_plots(site_year: &str, plots: &[f64]) -> ReplicatedIndex {
    let count = plots.len() as f64;
    let mean = plots.iter().sum::<f64>() / count;
    let squares: f64 = plots.iter().map(|plot| (plot - mean).powi(2)).sum();
    treatment(site_year, mean, plots.len(), (plots.len() > 1).then(|| (squares / (count - 1.0)).sqrt()))
}

#[test]
fn six_targets_by_four_judges_have_their_published_reliability() {
    // Shrout & Fleiss 1979, table 2, and their ICC(1,4) of 0.44 (from memory); the digits and the upper limit by SciPy 1.17.1, f.ppf.
    // Its lower limit is −0.884, which a share of a variance can't be.
    let targets = [
        [9.0, 2.0, 5.0, 8.0],
        [6.0, 1.0, 3.0, 2.0],
        [8.0, 4.0, 6.0, 8.0],
        [7.0, 1.0, 2.0, 6.0],
        [10.0, 5.0, 6.0, 9.0],
        [6.0, 2.0, 4.0, 7.0],
    ];
    let treatments = targets.map(|plots| of_plots("one", &plots));
    let found = Reliability::of(&treatments, &OPTIONS).expect("replicated");
    let within = found.within.expect("six treatments");
    assert_relative_eq!(within.total * 4.0, 11.241666666666669, max_relative = 1e-13);
    assert_relative_eq!(within.error * 4.0, 6.263888888888888, max_relative = 1e-13);
    assert_relative_eq!(within.reliability.estimate.expect("found"), 0.44279713367926876, max_relative = 1e-12);
    assert_eq!(within.reliability.low, Some(0.0));
    assert_relative_eq!(within.reliability.high.expect("found"), 0.9124154203407755, max_relative = 1e-11);
    assert_eq!((found.degrees_of_freedom, found.over_all), (18, None));
}

fn unequal() -> [ReplicatedIndex; 6] {
    [
        treatment("A", 0.80, 4, Some(0.02)),
        treatment("A", 0.90, 3, Some(0.03)),
        treatment("A", 0.97, 4, Some(0.01)),
        treatment("B", 0.70, 2, Some(0.04)),
        treatment("B", 0.85, 4, Some(0.02)),
        treatment("C", 0.95, 1, None),
    ]
}

#[test]
fn unequal_plots_weigh_in_the_error_as_they_are() {
    // NumPy and SciPy 1.17.1, by the formulas of the module.
    let found = Reliability::of(&unequal(), &OPTIONS).expect("replicated");
    assert_relative_eq!(found.between_plots, 0.02254624876411447, max_relative = 1e-13);
    assert_relative_eq!(found.plots, 2.3225806451612905, max_relative = 1e-13);
    assert_eq!((found.treatments, found.site_years, found.degrees_of_freedom), (6, 3, 12));
    let within = found.within.expect("two site-years with several");
    assert_relative_eq!(within.error, 0.00015767746913580245, max_relative = 1e-12);
    assert_relative_eq!(within.total, 0.008616666666666663, max_relative = 1e-12);
    let ends = (within.reliability.low.expect("found"), within.reliability.high.expect("found"));
    assert_relative_eq!(ends.0, 0.9181263283679459, max_relative = 1e-11);
    assert_relative_eq!(ends.1, 0.9987236034463776, max_relative = 1e-11);
    let over_all = found.over_all.expect("three site-years").expect("several treatments");
    assert_relative_eq!(over_all.reliability.estimate.expect("found"), 0.9785775783940548, max_relative = 1e-12);
    assert_eq!(over_all.reliability.reason.as_deref(), Some("too few site-years to resample"));
}

#[test]
fn a_slope_on_means_of_plots_is_too_flat_by_the_reliability() {
    // Need = 100 − 100·index without error; 400 site-years of 6 treatments on 3 plots, SD of the true index 0.08 and between plots 0.09.
    let mut random = stream(5, 0);
    let (truth, noise) = (Normal::new(0.85, 0.08).expect("positive"), Normal::new(0.0, 0.09).expect("positive"));
    let (mut treatments, mut needs) = (Vec::new(), Vec::new());
    for site_year in 0..400 {
        for _ in 0..6 {
            let index = truth.sample(&mut random);
            let plots: Vec<f64> = (0..3).map(|_| index + noise.sample(&mut random)).collect();
            treatments.push(of_plots(&format!("{site_year:03}"), &plots));
            needs.push(100.0 - 100.0 * index);
        }
    }
    let found = Reliability::of(&treatments, &OPTIONS).expect("replicated");
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let indices: Vec<f64> = treatments.iter().map(|treatment| treatment.index).collect();
    let (index, need) = (mean(&indices), mean(&needs));
    let products: f64 = indices.iter().zip(&needs).map(|(x, y)| (x - index) * (y - need)).sum();
    let squares: f64 = indices.iter().map(|x| (x - index).powi(2)).sum();
    let slope = products / squares;
    assert!(slope > -75.0, "{slope} is attenuated: λ is 0.0064 ÷ (0.0064 + 0.0081/3) = 0.70");
    for share in [found.within.expect("found"), found.over_all.expect("site-years").expect("found")] {
        assert_relative_eq!(share.reliability.estimate.expect("found"), 0.703, epsilon = 0.02);
        // Three standard errors of a slope of 2 400 treatments.
        assert_relative_eq!(slope * share.slope_factor().expect("above zero"), -100.0, epsilon = 4.0);
        let (low, high) = (share.reliability.low.expect("found"), share.reliability.high.expect("found"));
        assert!(low < 0.703 && 0.703 < high && high - low < 0.06, "{low} {high}");
    }
}

#[test]
fn a_reference_that_is_wrong_for_a_whole_trial_does_not_show_between_its_plots() {
    let shifted = unequal().map(|treatment| ReplicatedIndex {
        index: treatment.index + if treatment.site_year == "A" { 0.3 } else { 0.0 },
        ..treatment
    });
    let (before, after) = (
        Reliability::of(&unequal(), &OPTIONS).expect("replicated"),
        Reliability::of(&shifted, &OPTIONS).expect("replicated"),
    );
    let within = |found: &Reliability| found.within.clone().expect("found").reliability.estimate.expect("found");
    assert_relative_eq!(within(&before), within(&after), max_relative = 1e-12);
    let over_all = |found: Reliability| found.over_all.expect("three").expect("found").reliability.estimate;
    assert!(over_all(after) > over_all(before));
}

#[test]
fn what_gives_no_reliability_says_why() {
    let single = [treatment("A", 0.8, 1, None), treatment("A", 0.9, 1, None)];
    assert_eq!(Reliability::of(&single, &OPTIONS), Err(NoReliability::NotReplicated));
    assert_eq!(Reliability::of(&[], &OPTIONS), Err(NoReliability::NotReplicated));
    let nan = [treatment("A", f64::NAN, 3, Some(0.1))];
    assert_eq!(Reliability::of(&nan, &OPTIONS), Err(NoReliability::NotFinite));
    let alone = [treatment("A", 0.8, 3, Some(0.1)), treatment("B", 0.9, 3, Some(0.1))];
    let found = Reliability::of(&alone, &OPTIONS).expect("replicated");
    assert_eq!(found.within, Err(NoReliability::OneTreatment));
    let same = [treatment("A", 0.8, 3, Some(0.1)), treatment("A", 0.8, 3, Some(0.1))];
    assert_eq!(Reliability::of(&same, &OPTIONS).expect("replicated").within, Err(NoReliability::Constant));
}

#[test]
fn means_that_differ_by_less_than_their_error_have_a_reliability_of_zero() {
    let close = [treatment("A", 0.80, 3, Some(0.1)), treatment("A", 0.81, 3, Some(0.1))];
    let within = Reliability::of(&close, &OPTIONS).expect("replicated").within.expect("two treatments");
    assert_eq!((within.reliability.estimate, within.slope_factor()), (Some(0.0), None));
}

#[test]
fn resampled_site_years_depend_on_the_seed_alone() {
    let many: Vec<ReplicatedIndex> = (0..5_u8)
        .flat_map(|site_year| {
            unequal().map(|treatment| ReplicatedIndex {
                site_year: format!("{site_year}"),
                index: treatment.index + 0.01 * f64::from(site_year) * treatment.index,
                ..treatment
            })
        })
        .collect();
    let found = Reliability::of(&many, &OPTIONS).expect("replicated");
    assert_eq!(Reliability::of(&many, &OPTIONS), Ok(found.clone()));
    let share = found.over_all.expect("five site-years").expect("found").reliability;
    let (low, high) = (share.low.expect("resampled"), share.high.expect("resampled"));
    assert!(low <= share.estimate.expect("found") && share.estimate.expect("found") <= high && low < high);
}
