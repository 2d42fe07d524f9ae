use super::*;
use crate::crop::Crop;
use crate::trial::example::{application, plot, trial};
use crate::trial::{Design, Excluded, Exclusion, NeedFrom, ResultUnits, Timing, Trial};
use crate::units::{MoisturePercent, NRate, NRateUnit, YieldUnit};

fn units() -> ResultUnits {
    ResultUnits {
        n_rate: NRateUnit::PoundsPerAcre,
        yields: YieldUnit::BushelsPerAcre,
        standard_moisture: MoisturePercent::new(13.5),
    }
}

fn groups(trial: &Trial) -> Vec<ResponseGroup> {
    groups_of_trial(trial, &Crop::named("wheat"), &units()).unwrap()
}

/// Rates 0 to 120 in four blocks under two levels of fungicide; the treated yield 5 bu/ac more.
fn with_fungicide() -> Trial {
    let mut plots = Vec::new();
    for block in 1..=4 {
        for (level, gain) in [("none", 0.0), ("treated", 5.0)] {
            for (position, rate) in [0.0, 40.0, 80.0, 120.0].into_iter().enumerate() {
                let bushels = [40.0, 58.0, 69.0, 70.0][position] + gain + f64::from(block);
                let mut plot = plot(&format!("{block}{level}{rate}"), &block.to_string(), rate, bushels);
                plot.factor_levels = vec![level.to_owned()];
                plots.push(plot);
            }
        }
    }
    Trial { factors: vec!["fungicide".to_owned()], ..trial(plots) }
}

#[test]
fn each_level_of_a_factor_has_its_own_curve() {
    let groups = groups(&with_fungicide());
    let labels: Vec<_> = groups.iter().map(|group| group.key.labels()).collect();
    let label =
        |level: &str| vec![("trial".to_owned(), "upper-2024".to_owned()), ("fungicide".to_owned(), level.to_owned())];
    assert_eq!(labels, [label("none"), label("treated")]);
    let lowest = |group: &ResponseGroup| group.yields.iter().copied().fold(f64::INFINITY, f64::min);
    assert_eq!(groups.iter().map(lowest).collect::<Vec<_>>(), [41.0, 46.0]);
    assert!(groups.iter().all(|group| group.rates.len() == 16 && group.block_count() == 4));
}

#[test]
fn a_factor_on_main_plots_leaves_n_to_vary_within_them() {
    let split = |factor: &str| {
        let mut trial = with_fungicide();
        trial.design = Design::SplitPlot { main_plot: vec![factor.to_owned()] };
        groups(&trial)
    };
    assert!(split("fungicide").iter().all(|group| group.error_stratum == ErrorStratum::Subplots));
    let on_main_plots = split("green-up");
    assert!(on_main_plots.iter().all(|group| group.error_stratum == ErrorStratum::MainPlots));
    assert!(on_main_plots.iter().all(|group| group.rates.len() == 16), "fungicide is within the main plots of N");
}

#[test]
fn main_plots_that_a_column_tells_apart_are_not_averaged_together() {
    let mut plots = Vec::new();
    for (main_plot, rate, bushels) in [("a", 0.0, 40.0), ("a", 0.0, 42.0), ("b", 0.0, 50.0), ("c", 80.0, 70.0)] {
        let mut plot = plot(&format!("{main_plot}{bushels}"), "1", rate, bushels);
        plot.main_plot = Some(main_plot.to_owned());
        plots.push(plot);
    }
    let mut trial = trial(plots);
    trial.design = Design::SplitPlot { main_plot: vec!["green-up".to_owned()] };
    assert_eq!(groups(&trial)[0].yields, [41.0, 50.0, 70.0]);
    for plot in &mut trial.plots {
        plot.main_plot = None;
    }
    assert_eq!(groups(&trial)[0].yields, [44.0, 70.0], "without a column those of one rate are one");
}

#[test]
fn n_on_strips_is_tested_on_strips_whichever_way_it_runs() {
    for factor in ["fungicide", "green-up"] {
        let mut trial = with_fungicide();
        trial.design = Design::StripPlot { strip: vec![factor.to_owned()] };
        let groups = groups(&trial);
        assert!(groups.iter().all(|group| group.error_stratum == ErrorStratum::Strips && group.rates.len() == 16));
        assert_eq!(groups[0].names[0], "the strip of plot 1none0");
    }
    let strips = |trial: &mut Trial, named: &str| {
        trial.design = Design::StripPlot { strip: vec![named.to_owned()] };
        groups(trial).iter().map(|group| group.yields.clone()).collect::<Vec<_>>()
    };
    let mut plots = Vec::new();
    for (strip, rate, bushels) in [("a", 0.0, 40.0), ("b", 0.0, 42.0), ("c", 80.0, 70.0)] {
        let mut plot = plot(strip, "1", rate, bushels);
        plot.strip = Some(strip.to_owned());
        plots.push(plot);
    }
    let mut trial = trial(plots);
    assert_eq!(strips(&mut trial, "green-up"), [[40.0, 42.0, 70.0]], "a column tells strips of N apart");
    assert_eq!(strips(&mut trial, "variety"), [[41.0, 70.0]], "but not where it numbers the strips across them");
}

#[test]
fn a_group_with_a_yield_left_out_is_also_fitted_with_it() {
    let mut trial = with_fungicide();
    trial.plots[0].exclusions = vec![Exclusion { what: Excluded::Yield, reason: "deer".to_owned() }];
    trial.plots[1].harvest = None;
    let groups = groups(&trial);
    let [none, treated] = groups.as_slice() else { panic!("two groups") };
    assert!(treated.with_excluded.is_none());
    let all = none.with_excluded.as_ref().unwrap();
    assert_eq!((none.rates.len(), none.left_out.len()), (14, 2));
    assert_eq!((all.rates.len(), all.left_out.len()), (15, 1), "a missing yield can't be put in");
    let options = FitOptions { permutations: 99, ..FitOptions::new(0.95, 1) };
    let fitted = FittedGroup::fit(none.clone(), &options);
    let refitted = fitted.with_excluded.as_deref().unwrap();
    let alone = FittedGroup::fit((**all).clone(), &options);
    let rate = |group: &FittedGroup| group.outcome.as_ref().unwrap().chosen_optimum(0.1).unwrap().1.rate;
    assert_eq!(rate(refitted), rate(&alone));
    assert!(refitted.with_excluded.is_none());
}

#[test]
fn curves_take_what_went_on_and_early_levels_what_was_planned() {
    let mut plots = Vec::new();
    for (position, (early, top)) in [(29.0, 0.0), (30.0, 41.0), (31.5, 80.0)].into_iter().enumerate() {
        let mut plot = plot(&position.to_string(), "1", 0.0, 50.0 + top / 4.0);
        let rate = |n| NRate::new(n, NRateUnit::PoundsPerAcre);
        plot.rates = vec![rate(early), rate(top)];
        plot.planned_rates = vec![Some(rate(30.0)), None];
        plots.push(plot);
    }
    let mut trial = trial(plots);
    trial.need_from = NeedFrom::TopdressResponse;
    trial.applications =
        vec![application("early", Timing::BeforeSensing), application("top", Timing::DecidedBySensing)];
    let groups = groups(&trial);
    assert_eq!(groups.len(), 1);
    assert_eq!((groups[0].key.early_n, groups[0].rates.as_slice()), (Some(30.0), &[0.0, 41.0, 80.0][..]));
}

#[test]
fn a_yield_counts_as_what_its_quality_makes_it_worth() {
    use crate::trial::example::with_protein;
    use crate::trial::{GrainPrice, LodgingLoss, NitrogenPrice, PremiumStep, Prices, ProteinPremium};
    use crate::units::MassUnit;

    let grain = GrainPrice { price: 6.0, per: MassUnit::Bushel, spread: None };
    let nitrogen = NitrogenPrice { price: 0.6, per: MassUnit::Pound, n_percent: 100.0, spread: None };
    let mut prices = Prices::new(grain, nitrogen);
    let mut trial = with_fungicide();
    let options = FitOptions { permutations: 99, ..FitOptions::new(0.95, 1) };
    let valued = |trial: &Trial, prices: &Prices| {
        quality_groups_of_trial(trial, &Crop::named("wheat"), &units(), prices, &options).unwrap()
    };
    prices.protein_premium = Some(ProteinPremium { moisture: None, steps: vec![PremiumStep { from: 12.0, add: 0.6 }] });
    prices.lodging_loss = Some(LodgingLoss { yield_percent: 20.0, at_score: 100.0 });
    assert!(valued(&trial, &prices).is_empty(), "nothing was measured");

    // Protein rises with N and reaches the premium at 80; one plot was not analysed, nothing was scored for lodging.
    for (position, plot) in trial.plots.iter_mut().enumerate().skip(1) {
        *plot = with_protein(plot.clone(), 10.0 + (position % 4) as f64);
    }
    let plain = groups(&trial);
    let found = valued(&trial, &prices);
    assert_eq!(found.len(), plain.len());
    for (found, plain) in found.iter().zip(&plain) {
        assert_eq!(found.fitted.group.key, plain.key);
        assert_eq!((found.premium, found.lodging, found.without_lodging), (true, false, 0));
        let pairs = found.fitted.group.rates.iter().zip(&found.fitted.group.yields);
        let skipped = found.without_protein;
        for ((rate, worth), yields) in pairs.zip(&plain.yields[skipped..]) {
            let factor = if *rate >= 80.0 { 1.1 } else { 1.0 };
            approx::assert_relative_eq!(*worth, yields * factor, max_relative = 1e-14);
        }
    }
    assert_eq!(found.iter().map(|group| group.without_protein).collect::<Vec<_>>(), [1, 0]);
    prices.protein_premium = None;
    assert!(valued(&trial, &prices).is_empty(), "protein is not priced, lodging not scored");
}
