//! Part D of the oracle again, in one stage: the shortfall model by a grid and the simplex method, in Python (`09_shortfall.py`).
//!
//! The oracle's choices are made here: blocks of each site as nuisance, a need that is not kept from rising, rates clipped to the tested
//! topdress.

use std::collections::BTreeMap;
use std::fs;

use approx::{assert_abs_diff_eq, assert_relative_eq};
use serde_json::Value;
use stook::calibration::shortfall::{
    NeedCurve, Nuisance, Power, Shape, Shortfall, ShortfallData, ShortfallModel, leave_one_site_year_out,
};
use stook::experiment::{Evidence, GroupEvidence, TreatmentEvidence, TrialEvidence};
use stook::response::Family;
use stook::trial::NeedFrom;

use crate::data::{Table, beside};

/// The simplex stops at 1e-12 of the residual sum of squares, which is flat at its minimum: c and the coefficients carry seven digits.
const SIMPLEX: f64 = 1e-6;
/// lb/ac: held-out rates rest on such coefficients.
const RATE: f64 = 2e-5;
/// The residual sum of squares itself carries nearly all of them.
const RSS: f64 = 1e-12;
const PRICE_RATIO: f64 = 0.1;
const HIGHEST: f64 = 120.0;

/// Index, rates, yields and blocks by early level, by site.
fn evidence(reading: &str) -> Evidence {
    let [plots, reference] = ["d_plots", "d_reference"].map(|name| Table::read(&beside(&format!("oracle/{name}.csv"))));
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let mut rich: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (site, value) in reference.text("site").iter().zip(reference.numbers(reading)) {
        rich.entry(site.clone()).or_default().push(value);
    }
    let columns = ["early", "topdress", "yield", "block", reading].map(|name| plots.numbers(name));
    let mut levels: BTreeMap<(String, u64), Vec<usize>> = BTreeMap::new();
    for (row, site) in plots.text("site").iter().enumerate() {
        levels.entry((site.clone(), columns[0][row].to_bits())).or_default().push(row);
    }
    let mut trials: BTreeMap<String, Vec<GroupEvidence>> = BTreeMap::new();
    for ((site, early), rows) in levels {
        let pick = |column: usize| rows.iter().map(|row| columns[column][*row]).collect::<Vec<f64>>();
        let n_on = f64::from_bits(early);
        let index = mean(&pick(4)) / mean(&rich[&site]);
        trials.entry(site).or_default().push(GroupEvidence {
            variety: None,
            factors: Vec::new(),
            early_n: Some(n_on),
            rates: pick(1),
            yields: pick(2),
            blocks: Some(pick(3).into_iter().map(|block| block as usize).collect()),
            family: Family::Quadratic,
            detected: None,
            treatments: vec![TreatmentEvidence { n_on, index, plots: rows.len(), standard_deviation: None }],
        });
    }
    let trial = |(site, groups): (String, Vec<GroupEvidence>)| TrialEvidence {
        trial: site.to_lowercase(),
        site,
        harvest_year: 2024,
        need_from: NeedFrom::TopdressResponse,
        groups,
    };
    Evidence { trials: trials.into_iter().map(trial).collect() }
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn list(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

#[test]
fn both_sensors_and_shapes_give_the_oracles_model_and_held_out_rates() {
    let oracle = fs::read_to_string(beside("oracle/D_shortfall.json")).expect("the oracle's results");
    let oracle: Value = serde_json::from_str(&oracle).expect("JSON");
    for (reading, sensor) in [("ndvi", "ndvi"), ("leaf_meter", "leaf")] {
        let evidence = evidence(reading);
        let data = ShortfallData::of(&evidence).expect("eight trials");
        for (order, shape) in [(1, Shape::Line), (2, Shape::Parabola)] {
            let expected = &oracle[format!("{sensor}_order{order}")];
            // The need that may not rise is the best of all here, so the oracle's choice does not matter.
            for never_rising in [false, true] {
                let model = ShortfallModel { never_rising, ..ShortfallModel::new(shape, Nuisance::Block) };
                let found = Shortfall::fit(&data, model, None).expect("a response");
                let coefficients = list(&expected["need_in_shortfall_1_minus_s"]);
                let NeedCurve::Polynomial(need) = &found.need else { panic!("{:?}", found.need) };
                assert_eq!(need.len(), coefficients.len());
                for (found, expected) in need.iter().zip(coefficients) {
                    assert_relative_eq!(*found, expected, max_relative = SIMPLEX);
                }
                assert_relative_eq!(found.c, number(&expected["c"]), max_relative = SIMPLEX);
                // Never worse, and no better either: the oracle's search is global on these data.
                assert_relative_eq!(found.rss, number(&expected["rss"]), max_relative = RSS);
                // 480 plots less 24 plateaus, the coefficients and c.
                assert_eq!((found.plots, found.df), (480, 480 - 24 - order - 2));

                let held_out = leave_one_site_year_out(&data, model).expect("eight site-years");
                let mut expected = list(&expected["loso_prediction"]).into_iter();
                for (fit, trial) in held_out.iter().zip(&evidence.trials) {
                    let fit = fit.as_ref().expect("a fit");
                    for group in &trial.groups {
                        let rate = fit.rate(group.treatments[0].index, PRICE_RATIO).min(HIGHEST);
                        assert_abs_diff_eq!(rate, expected.next().expect("40 rates"), epsilon = RATE);
                    }
                }
                assert_eq!(expected.next(), None);
            }
        }
    }
}

/// Residual sums of squares by the square and by the cube, c and needs by the square, of splines through the same plots by SciPy 1.17
/// (`scipy.optimize.least_squares`, bounded, the best of 40 starts; `scipy.interpolate.BSpline` with the same knots).
type Splined = (&'static str, Nuisance, [f64; 2], f64, &'static [(f64, f64)]);

const SPLINES: [Splined; 4] = [
    (
        "ndvi",
        Nuisance::Block,
        [2_369.016_805_921_2, 2_417.875_087_701_9],
        1.503_518_40e-3,
        &[(0.7, 150.907_50), (0.8, 126.918_42), (0.85, 114.945_76), (0.9, 101.553_20), (0.95, 79.572_55)],
    ),
    (
        "ndvi",
        Nuisance::BlockByEarlyLevel,
        [1_881.896_393_922_9, 1_925.017_296_864_7],
        1.439_399_65e-3,
        &[(0.7, 156.193_68), (0.8, 129.490_11), (0.85, 117.086_39), (0.9, 103.695_81), (0.95, 81.228_75)],
    ),
    (
        "leaf_meter",
        Nuisance::Block,
        [2_661.598_938_374_6, 2_695.750_611_662_5],
        1.475_772_15e-3,
        &[(0.8, 157.574_15), (0.85, 138.267_91), (0.9, 117.969_97), (0.95, 90.236_82)],
    ),
    (
        "leaf_meter",
        Nuisance::BlockByEarlyLevel,
        [2_102.892_695_812_5, 2_145.918_986_766_9],
        1.431_271_39e-3,
        &[(0.8, 162.803_37), (0.85, 138.786_51), (0.9, 118.881_99), (0.95, 92.208_34)],
    ),
];

#[test]
fn splines_of_need_are_those_of_another_solver() {
    for (reading, nuisance, [square, cube], c, needs) in SPLINES {
        let data = ShortfallData::of(&evidence(reading)).expect("eight trials");
        let found = Shortfall::fit(&data, ShortfallModel::new(Shape::Spline, nuisance), None).expect("a response");
        assert_eq!(found.power, Power::Square);
        assert_relative_eq!(found.rss, square, max_relative = RSS);
        assert_relative_eq!(found.c, c, max_relative = SIMPLEX);
        for (index, need) in needs {
            assert_abs_diff_eq!(found.need(*index), *need, epsilon = RATE);
        }
        let NeedCurve::Spline(spline) = &found.need else { panic!("{:?}", found.need) };
        let cubed = Shortfall::fit_near(&data, nuisance, None, spline, Power::Cube).expect("a response");
        assert_relative_eq!(cubed.rss, cube, max_relative = RSS);
    }
}
