use approx::assert_relative_eq;
use proptest::prelude::*;

use super::*;
use crate::trial::example::{application, plot, trial, with_protein};
use crate::trial::{Design, Excluded, Exclusion, Harvest, NeedFrom, Plot, Protein, ResultUnits, Timing, Trial};
use crate::units::{MoisturePercent, NRate, NRateUnit, Yield, YieldUnit};

/// References that were computed to every digit, so only the order of operations is left.
const COMPUTED: f64 = 1e-12;
/// References that are printed to five significant digits.
const PRINTED: f64 = 3e-5;

fn wheat() -> Crop {
    Crop::named("wheat")
}

fn units(n_rate: NRateUnit, yields: YieldUnit) -> ResultUnits {
    ResultUnits { n_rate, yields, standard_moisture: MoisturePercent::new(13.5) }
}

fn us() -> ResultUnits {
    units(NRateUnit::PoundsPerAcre, YieldUnit::BushelsPerAcre)
}

fn harvest(trial: &Trial) -> TrialHarvest {
    TrialHarvest::of(trial, &wheat(), &us()).unwrap()
}

fn without(plot: Plot, what: Excluded) -> Plot {
    Plot { exclusions: vec![Exclusion { what, reason: "deer".to_owned() }], ..plot }
}

/// Two blocks of 0 and 80 lb/ac.
fn two_blocks() -> Trial {
    trial(vec![
        with_protein(plot("101", "1", 0.0, 40.0), 9.0),
        with_protein(plot("102", "1", 80.0, 64.0), 10.5),
        with_protein(plot("201", "2", 0.0, 44.0), 9.0),
        with_protein(plot("202", "2", 80.0, 70.0), 10.5),
    ])
}

#[test]
fn efficiencies_follow_their_definitions() {
    // Dobermann (2005), example from memory; computed by hand: 5400, 3000, 115, 55, 100 → 54, 24, 0.60, 40.
    let found = efficiencies(100.0, Ok(5_400.0), Ok(115.0), Ok(3_000.0), Ok(55.0));
    assert_eq!(found.partial_factor_productivity, Ok(54.0));
    assert_eq!(found.agronomic, Ok(24.0));
    assert_eq!(found.recovery, Ok(0.6));
    assert_eq!(found.physiological, Ok(40.0));
}

#[test]
fn protein_gives_the_grain_n() {
    // 10.5 % protein is 1.8421 % N of the grain as stated; at 12 % moisture 2.0933 % of dry matter (computed with NumPy).
    let moisture = |percent| MoisturePercent::new(percent).unwrap();
    let wheat = wheat();
    assert_relative_eq!(grain_n_percent_dry(10.5, moisture(0.0), &wheat), 1.842_1, max_relative = PRINTED);
    assert_relative_eq!(grain_n_percent_dry(10.5, moisture(12.0), &wheat), 2.093_3, max_relative = PRINTED);
}

#[test]
fn n_of_a_plot_is_that_of_its_dry_grain() {
    let mut trial = two_blocks();
    trial.plots[0].harvest = Some(Harvest::Yield {
        quantity: Yield::new(72.0, YieldUnit::BushelsPerAcre),
        moisture: MoisturePercent::new(12.0),
    });
    trial.plots[0].protein = Some(Protein { percent: 10.5, moisture: MoisturePercent::new(12.0) });
    trial.plots[2].harvest = Some(Harvest::Yield {
        quantity: Yield::new(60.0, YieldUnit::BushelsPerAcre),
        moisture: MoisturePercent::new(13.5),
    });
    trial.plots[2].protein = Some(Protein { percent: 11.0, moisture: None });
    // Computed in Python from the definitions: 72 bu/ac at 12 %, 4 261.0278 kg/ha of dry grain with 2.0933014 % N; 60 bu/ac with 11 %
    // protein as it stood, whatever its moisture.
    let found = harvest(&trial).nitrogen;
    assert_relative_eq!(found[0].grain_n.unwrap(), 89.196_155_166_632_52, max_relative = COMPUTED);
    assert_relative_eq!(found[2].grain_n.unwrap(), 77.869_659_272_456_94, max_relative = COMPUTED);
}

#[test]
fn a_plot_is_compared_with_the_zero_n_plot_of_its_block() {
    let found = harvest(&two_blocks()).nitrogen;
    let fertilised = &found[1];
    // Computed in Python from the definitions, in kg and ha.
    assert_relative_eq!(found[0].grain_n.unwrap(), 41.750_364_837_195_41, max_relative = COMPUTED);
    assert_relative_eq!(fertilised.grain_n.unwrap(), 77.934_014_362_764_77, max_relative = COMPUTED);
    assert_relative_eq!(fertilised.surplus.unwrap(), 11.734_078_132_791_723, max_relative = COMPUTED);
    let efficiencies = &fertilised.efficiencies;
    assert_relative_eq!(efficiencies.agronomic.unwrap(), 18.0, max_relative = COMPUTED);
    assert_relative_eq!(efficiencies.recovery.unwrap(), 0.403_528_708_133_971_3, max_relative = COMPUTED);
    assert_relative_eq!(efficiencies.partial_factor_productivity.unwrap(), 48.0, max_relative = COMPUTED);
    assert_relative_eq!(efficiencies.physiological.unwrap(), 44.606_491_774_121_835, max_relative = COMPUTED);
    assert_eq!(fertilised.zero_n_grain.map(|zero| (zero.plots, zero.from)), Some((1, ZeroNFrom::Block)));
    // The second block has its own.
    assert_relative_eq!(found[3].efficiencies.agronomic.unwrap(), 60.0 * 26.0 / 80.0, max_relative = COMPUTED);
    assert_eq!(found[0].efficiencies.agronomic, Err(NotKnown::NoNApplied), "nothing was applied to gain from");
}

#[test]
fn a_block_without_a_used_zero_n_plot_is_compared_with_those_of_the_trial() {
    let mut trial = two_blocks();
    trial.plots.push(with_protein(plot("301", "3", 0.0, 48.0), 9.0));
    trial.plots[0] = without(trial.plots[0].clone(), Excluded::Yield);
    let found = harvest(&trial).nitrogen;
    let zero = found[1].zero_n_grain.unwrap();
    assert_eq!((zero.plots, zero.from), (2, ZeroNFrom::Trial), "the one left out is no zero-N plot");
    assert_relative_eq!(found[1].efficiencies.agronomic.unwrap(), 60.0 * (64.0 - 46.0) / 80.0, max_relative = COMPUTED);
    assert_eq!(found[0].efficiencies.agronomic, Err(NotKnown::NoNApplied));
    assert_eq!(found[0].grain_n, Err(NotKnown::Excluded));
    // Without blocks there is nothing but the trial.
    trial.design = Design::CompletelyRandomised;
    assert_eq!(harvest(&trial).nitrogen[3].zero_n_grain.unwrap().from, ZeroNFrom::Trial);
}

#[test]
fn only_zero_n_plots_of_the_same_variety_and_factors_are_compared_with() {
    let mut trial = two_blocks();
    trial.factors = vec!["fungicide".to_owned()];
    for (plot, (variety, level)) in
        trial.plots.iter_mut().zip([("Heron", "none"), ("Heron", "none"), ("Heron", "treated"), ("Heron", "none")])
    {
        plot.variety = Some(variety.to_owned());
        plot.factor_levels = vec![level.to_owned()];
    }
    let found = harvest(&trial).nitrogen;
    assert_eq!(found[3].zero_n_grain.map(|zero| zero.mean), found[1].zero_n_grain.map(|zero| zero.mean));
    assert_eq!(found[3].zero_n_grain.unwrap().from, ZeroNFrom::Trial);
    trial.plots[3].variety = Some("Sedge".to_owned());
    let alone = &harvest(&trial).nitrogen[3];
    assert_eq!(
        (alone.efficiencies.agronomic, alone.efficiencies.recovery),
        (Err(NotKnown::NoZeroN), Err(NotKnown::NoZeroN))
    );
    assert!(alone.efficiencies.partial_factor_productivity.is_ok(), "which needs no zero-N plot");
}

#[test]
fn what_is_not_known_says_why() {
    let mut trial = two_blocks();
    trial.plots[0].protein = None;
    trial.plots[2].protein = None;
    trial.plots[3].harvest = None;
    let found = harvest(&trial).nitrogen;
    assert_eq!(found[0].grain_n, Err(NotKnown::NoProtein));
    assert_eq!(found[1].efficiencies.recovery, Err(NotKnown::NoZeroNGrainN));
    assert!(found[1].efficiencies.agronomic.is_ok());
    assert_eq!(found[3].surplus, Err(NotKnown::NoYield));
    trial.plots[1].harvest =
        Some(Harvest::Yield { quantity: Yield::new(64.0, YieldUnit::BushelsPerAcre), moisture: None });
    assert_eq!(harvest(&trial).nitrogen[1].grain_n, Err(NotKnown::NoMoisture));
    let sinking = efficiencies(90.0, Ok(5_000.0), Ok(60.0), Ok(4_000.0), Ok(60.0));
    assert_eq!(sinking.physiological, Err(NotKnown::GrainNNotRaised));
}

#[test]
fn every_application_and_the_manure_credit_count() {
    let mut trial = two_blocks();
    let before = harvest(&trial).nitrogen;
    trial.applications.push(application("late", Timing::AfterSensing));
    for plot in &mut trial.plots {
        plot.rates.push(NRate::new(22.0, NRateUnit::KilogramsPerHectare));
        plot.planned_rates.push(None);
    }
    trial.background.manure_credit = Some(NRate::new(20.0, NRateUnit::KilogramsPerHectare));
    let after = harvest(&trial).nitrogen;
    assert_relative_eq!(after[1].applied, before[1].applied + 22.0, max_relative = COMPUTED);
    assert_relative_eq!(after[1].surplus.unwrap(), before[1].surplus.unwrap() + 42.0, max_relative = COMPUTED);
    assert_eq!(after[1].efficiencies.agronomic, Err(NotKnown::NoZeroN), "no plot is without N any more");
}

#[test]
fn a_treatment_has_its_mean_with_and_without_what_is_left_out() {
    let mut trial = two_blocks();
    trial.plots.push(plot("302", "3", 80.0, 31.0));
    trial.plots[4] = without(trial.plots[4].clone(), Excluded::Plot);
    trial.plots.push(Plot { harvest: None, ..plot("402", "4", 80.0, 0.0) });
    let treatments = harvest(&trial).treatments;
    let [zero, fertilised] = treatments.as_slice() else { panic!("two treatments") };
    assert_eq!((zero.n, zero.yields.mean, zero.with_excluded), (0.0, Some(42.0), None));
    assert_eq!((fertilised.n, fertilised.plots.len()), (80.0, 4));
    assert_eq!((fertilised.yields.n, fertilised.yields.mean), (2, Some(67.0)));
    // Standard deviation of 64 and 70: √18.
    assert_relative_eq!(fertilised.yields.standard_deviation.unwrap(), 18.0_f64.sqrt(), max_relative = COMPUTED);
    assert_eq!(fertilised.with_excluded.map(|with| (with.n, with.mean)), Some((3, Some(55.0))));
    assert_eq!(fertilised.measures.agronomic_efficiency.n, 2, "a plot that is left out has no efficiency");
}

#[test]
fn a_yield_that_is_left_out_without_its_moisture_is_not_put_back_in() {
    let mut trial = two_blocks();
    trial.plots[3].harvest =
        Some(Harvest::Yield { quantity: Yield::new(70.0, YieldUnit::BushelsPerAcre), moisture: None });
    trial.plots[3] = without(trial.plots[3].clone(), Excluded::Yield);
    let found = harvest(&trial);
    assert_eq!(found.with_excluded, [Some(40.0), Some(64.0), Some(44.0), None]);
    assert_eq!(found.treatments[1].with_excluded, None);
}

#[test]
fn treatments_are_told_by_what_was_planned_and_efficiencies_by_what_went_on() {
    let mut trial = two_blocks();
    trial.plots[1].planned_rates = vec![Some(NRate::new(80.0, NRateUnit::PoundsPerAcre))];
    trial.plots[1].rates = vec![NRate::new(78.5, NRateUnit::PoundsPerAcre)];
    let found = harvest(&trial);
    let rates: Vec<(f64, usize)> = found.treatments.iter().map(|means| (means.n, means.yields.n)).collect();
    assert_eq!(rates, [(0.0, 2), (80.0, 2)]);
    assert_relative_eq!(found.nitrogen[1].efficiencies.agronomic.unwrap(), 60.0 * 24.0 / 78.5, max_relative = COMPUTED);
}

#[test]
fn early_levels_and_topdress_tell_treatments_apart_and_mere_references_stand_last() {
    let mut trial = two_blocks();
    trial.need_from = NeedFrom::TopdressResponse;
    trial.applications =
        vec![application("early", Timing::BeforeSensing), application("top", Timing::DecidedBySensing)];
    let rate = |n| NRate::new(n, NRateUnit::PoundsPerAcre);
    for (plot, [early, top]) in trial.plots.iter_mut().zip([[30.0, 0.0], [0.0, 30.0], [0.0, 0.0], [200.0, 0.0]]) {
        (plot.rates, plot.planned_rates) = (vec![rate(early), rate(top)], vec![None, None]);
    }
    trial.plots[3].is_reference = true;
    let told: Vec<_> =
        harvest(&trial).treatments.iter().map(|it| (it.early_n, it.topdress_n, it.n, it.reference_only)).collect();
    let expected = [
        (Some(0.0), Some(0.0), 0.0, false),
        (Some(0.0), Some(30.0), 30.0, false),
        (Some(30.0), Some(0.0), 30.0, false),
        (Some(200.0), Some(0.0), 200.0, true),
    ];
    assert_eq!(told, expected);
}

/// What changes by the programme's units alone: the rounding of a few multiplications.
const ROUNDING: f64 = 1e-12;

proptest! {
    #[test]
    fn the_programmes_units_change_nothing_but_the_unit(
        plots in prop::collection::vec((0usize..3, 0usize..4, 20.0..90.0f64, 7.0..15.0f64), 2..24),
    ) {
        let rates = [0.0, 33.3, 71.0, 120.0];
        let made = plots.iter().enumerate().map(|(position, (block, rate, bushels, protein))| {
            with_protein(plot(&position.to_string(), &block.to_string(), rates[*rate], *bushels), *protein)
        });
        let trial = trial(made.collect());
        let crop = wheat();
        let one = TrialHarvest::of(&trial, &crop, &us()).unwrap();
        for other in [us().si(), units(NRateUnit::KilogramsPerHectare, YieldUnit::ShortTonsPerAcre)] {
            let other = TrialHarvest::of(&trial, &crop, &other).unwrap();
            for (one, other) in one.nitrogen.iter().zip(&other.nitrogen) {
                let (first, second) = (&one.efficiencies, &other.efficiencies);
                let pairs = [
                    (one.grain, other.grain),
                    (one.grain_n, other.grain_n),
                    (first.partial_factor_productivity, second.partial_factor_productivity),
                    (first.recovery, second.recovery),
                ];
                for (one, other) in pairs {
                    match (one, other) {
                        (Ok(one), Ok(other)) => prop_assert!((one - other).abs() <= ROUNDING * one.abs().max(1.0)),
                        (one, other) => prop_assert_eq!(one, other),
                    }
                }
                // A difference of two yields loses their last digits: the yields' own size is its measure.
                let gain = |found: &Efficiencies| found.agronomic.ok();
                prop_assert_eq!(gain(first).is_some(), gain(second).is_some());
                if let (Some(gain_one), Some(gain_other)) = (gain(first), gain(second)) {
                    let size = one.grain.unwrap_or(0.0) / one.applied;
                    prop_assert!((gain_one - gain_other).abs() <= ROUNDING * size.max(1.0));
                }
            }
            prop_assert_eq!(one.treatments.len(), other.treatments.len());
        }
    }
}
