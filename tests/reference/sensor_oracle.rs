//! Part D of the oracle: eight site-years of early × topdress trials, made and analysed with R.
//!
//! The oracle is deliberately plain: blocks are ignored, every optimum is a quadratic-plateau's, clipped to the tested rates, and a
//! fit that does not rise counts as zero. The same choices are made here, through the library.

use std::collections::BTreeMap;
use std::fs;

use approx::{assert_abs_diff_eq, assert_relative_eq};
use serde_json::Value;
use stook::calibration::{
    Basis, FittedTrial, HoldOut, Materials, NeedPoint, Relation, Rule, Scoring, gather, hold_out,
};
use stook::experiment::{Evidence, FitOptions, FittedGroup, groups_of_trial};
use stook::response::{Family, Fit, Observations, OptimumStatus, Reach};
use stook::stats::random_effects::Known;
use stook::trial::{Instrument, Programme, RelationKind};

use crate::data::{Table, beside};
use crate::programme::{load, written};

/// lb/ac. The oracle searches the join numerically: where the profile is flat, or bends at a tested rate, its optimum carries four
/// decimals at best. Ours is exact there, which the comparison of the residual sums of squares shows.
const SEARCHED: f64 = 5e-4;
/// Means and straight least squares.
const CLOSED_FORM: f64 = 1e-9;
/// bu/ac: a net return is level about its optimum, so that the error of a searched one counts squared.
const LOSS: f64 = 1e-5;
/// bu of grain a pound of N.
const RATIO: f64 = 0.1;
/// Least squares on searched optima.
const ON_SEARCHED: f64 = 5e-5;

const PROGRAMME: &str = r#"
format = 1
title = "Oracle part D"
crop = "wheat"
currency = "USD"
[units]
n_rate = "lb/ac"
yield = "bu/ac"
[[table]]
name = "canopy"
instrument = "canopy-ndvi"
stages = ["Feekes 5", "Feekes 5"]
index = { lowest = 0.60, highest = 1.00, step = 0.05 }
rate = { round_to = 5, highest = 120 }
outside = "no-rate"
[[table]]
name = "leaf"
instrument = "leaf-chlorophyll"
stages = ["Feekes 5", "Feekes 5"]
index = { lowest = 0.60, highest = 1.00, step = 0.05 }
rate = { round_to = 5, highest = 120 }
outside = "no-rate"
"#;

fn trial_toml(site: &str) -> String {
    format!(
        r#"
format = 1
site = "{site}"
harvest_year = 2024
design = "completely-randomised"
need_from = "topdress-response"
[plots]
file = "plots.csv"
plot = "plot"
[[application]]
name = "early"
n = {{ column = "early", unit = "lb/ac" }}
date = 2024-02-20
timing = "before-sensing"
[[application]]
name = "topdress"
n = {{ column = "topdress", unit = "lb/ac" }}
date = 2024-04-10
timing = "decided-by-sensing"
[reference]
where = {{ column = "kind", equals = "rich" }}
also_treatment = false
shared_within = []
[[readings]]
instrument = "canopy-ndvi"
columns = [{{ column = "ndvi", date = 2024-04-02, stage = "Feekes 5" }}]
[[readings]]
instrument = "leaf-chlorophyll"
columns = [{{ column = "leaf", date = 2024-04-02, stage = "Feekes 5" }}]
[harvest]
yield = {{ column = "yield", unit = "bu/ac" }}
"#
    )
}

/// The oracle's two files as one programme of eight trials.
fn programme() -> Programme {
    let plots = Table::read(&beside("oracle/d_plots.csv"));
    let reference = Table::read(&beside("oracle/d_reference.csv"));
    let mut rows: BTreeMap<String, String> = BTreeMap::new();
    for (row, site) in plots.text("site").iter().enumerate() {
        let cell = |name: &str| plots.text(name)[row].clone();
        let text = rows.entry(site.clone()).or_insert_with(|| "plot,kind,early,topdress,ndvi,leaf,yield\n".to_owned());
        let cells = ["early", "topdress", "ndvi", "leaf_meter", "yield"].map(cell).join(",");
        text.push_str(&format!("{},treatment,{cells}\n", plots.text("plot")[row]));
    }
    for (row, site) in reference.text("site").iter().enumerate() {
        let cell = |name: &str| reference.text(name)[row].clone();
        let text = rows.get_mut(site).expect("a site of the plots");
        let (block, early) = (cell("block"), cell("ref_early"));
        text.push_str(&format!("{block}99,rich,{early},0,{},{},NA\n", cell("ndvi"), cell("leaf_meter")));
    }
    let trials = rows.into_iter().flat_map(|(site, plots)| {
        let folder = site.to_lowercase();
        [(format!("{folder}/trial.toml"), trial_toml(&site)), (format!("{folder}/plots.csv"), plots)]
    });
    let folder = written([("programme.toml".to_owned(), PROGRAMME.to_owned())].into_iter().chain(trials));
    load(folder.path())
}

fn oracle() -> Value {
    let text = fs::read_to_string(beside("oracle/D_sensor.json")).expect("the oracle's results");
    serde_json::from_str(&text).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The oracle's evidence: a quadratic-plateau a site-year and early level, the mean where none rises.
fn evidence(programme: &Programme, instrument: Instrument) -> Evidence {
    let options = FitOptions { permutations: 19, family: Some(Family::QuadraticPlateau), ..FitOptions::new(0.95, 1) };
    let table = programme.tables.iter().find(|table| table.instrument == instrument).expect("a table");
    let fitted: Vec<Vec<FittedGroup>> = programme
        .trials
        .iter()
        .map(|trial| {
            let groups = groups_of_trial(trial, &programme.crop, &programme.units).expect("bushels of wheat are known");
            groups.into_iter().map(|group| FittedGroup::fit(group, &options)).collect()
        })
        .collect();
    let trials: Vec<FittedTrial<'_>> =
        programme.trials.iter().zip(&fitted).map(|(trial, groups)| FittedTrial { trial, groups }).collect();
    let mut evidence = gather(&trials, table, programme.units.n_rate).evidence;
    for group in evidence.trials.iter_mut().flat_map(|trial| &mut trial.groups) {
        if group.family != Family::QuadraticPlateau {
            group.family = Family::Mean;
        }
        group.detected = Some(true);
    }
    evidence
}

/// The oracle's points in its order: every optimum a number.
fn points(basis: &Basis) -> Vec<NeedPoint> {
    let mut points = Vec::new();
    for (position, trial) in basis.trials.iter().enumerate() {
        assert_eq!(trial.groups.len(), 5, "{}", trial.trial);
        for (number, group) in trial.groups.iter().enumerate() {
            let of = group.curve.as_ref().expect("twelve plots");
            let treatment = group.evidence.treatments.first().expect("a treatment a level");
            let need = match of.curve.reach {
                // Of the curves that join before the second rate, which fit alike, the oracle takes the widest; ours is a bound.
                Some(Reach::BeforeFirstRate) => {
                    let [slope, curvature] =
                        [of.curve.coefficients.slope, of.curve.coefficients.curvature].map(|c| c.expect("it bends"));
                    ((RATIO - slope) / (2.0 * curvature)).max(0.0)
                }
                _ => of.observations.optimum(&of.curve, RATIO, 0.95).rate.expect("a rate"),
            };
            points.push(NeedPoint {
                trial: trial.trial.clone(),
                site_year: trial.site_year.clone(),
                site: trial.site.clone(),
                harvest_year: trial.harvest_year,
                variety: None,
                need_from: trial.need_from,
                n_on: treatment.n_on,
                index: treatment.index,
                plots: treatment.plots,
                need,
                low: None,
                high: None,
                known: Known::Exact(need),
                variance: None,
                curve: [position, number],
                family: of.curve.family,
                optimum_status: OptimumStatus::Interior,
            });
        }
    }
    points
}

#[test]
fn indices_and_optima_are_the_oracles() {
    let (programme, oracle) = (programme(), oracle());
    let expected = oracle["points"].as_array().expect("points");
    for (instrument, index) in [(Instrument::CanopyNdvi, "si_ndvi"), (Instrument::LeafChlorophyll, "si_leaf")] {
        let found = points(&Basis::of(&evidence(&programme, instrument)));
        assert_eq!(found.len(), expected.len());
        for (point, expected) in found.iter().zip(expected) {
            assert_eq!(point.n_on, number(&expected["early"]));
            assert_relative_eq!(point.index, number(&expected[index]), max_relative = CLOSED_FORM);
            assert_abs_diff_eq!(point.need, number(&expected["Nopt"]), epsilon = SEARCHED);
        }
    }
}

#[test]
fn no_quadratic_plateau_of_the_oracle_fits_better() {
    let (programme, oracle) = (programme(), oracle());
    let mut expected = oracle["points"].as_array().expect("points").iter();
    for trial in &programme.trials {
        for group in groups_of_trial(trial, &programme.crop, &programme.units).expect("bushels of wheat are known") {
            let expected = expected.next().expect("a point a group");
            let observations = Observations::new(&group.rates, &group.yields, None).expect("twelve plots");
            if let Fit::Estimated(curve) = observations.fit(Family::QuadraticPlateau) {
                assert!(curve.rss <= number(&expected["rss"]) * (1.0 + CLOSED_FORM), "{expected}");
            }
        }
    }
}

#[test]
fn relations_held_out_predictions_and_losses_are_the_oracles() {
    let (programme, oracle) = (programme(), oracle());
    for (instrument, index) in [(Instrument::CanopyNdvi, "si_ndvi"), (Instrument::LeafChlorophyll, "si_leaf")] {
        let basis = Basis::of(&evidence(&programme, instrument));
        let points = points(&basis);
        let scoring = Scoring { basis: &basis, price_ratio: RATIO, highest: 120.0, standard: None };
        let loss = |point: &NeedPoint, rate: f64| {
            let at = |rate: f64| scoring.net_return(point, point.n_on, rate).expect("a curve");
            at(point.need) - at(rate)
        };
        let pairs = |points: &mut dyn Iterator<Item = &NeedPoint>| -> Vec<(f64, f64)> {
            points.map(|point| (point.index, point.need)).collect()
        };
        for kind in [RelationKind::Linear, RelationKind::Quadratic] {
            let expected = &oracle[index][kind.name()];
            let relation = Relation::plain(kind, &pairs(&mut points.iter())).expect("a relation");
            let coefficients = expected["coef"].as_array().expect("coefficients");
            let found = relation.form.coefficients();
            assert_eq!(found.len(), coefficients.len());
            for ((_, found), expected) in found.iter().zip(coefficients) {
                assert_relative_eq!(*found, number(expected), max_relative = ON_SEARCHED);
            }
            assert_relative_eq!(relation.within, number(&expected["sigma"]), max_relative = ON_SEARCHED);

            let held_out = &oracle[index]["loso"][kind.name()];
            let mut squares = 0.0;
            let mut sum = 0.0;
            let predictions = held_out["prediction"].as_array().expect("predictions");
            let losses = held_out["loss"].as_array().expect("losses");
            for ((point, expected), lost) in points.iter().zip(predictions).zip(losses) {
                let mut others = points.iter().filter(|other| other.site_year != point.site_year);
                let relation = Relation::plain(kind, &pairs(&mut others)).expect("a relation");
                let rate = relation.rate(point.index).min(120.0);
                assert_relative_eq!(rate, number(expected), max_relative = ON_SEARCHED, epsilon = ON_SEARCHED);
                assert_abs_diff_eq!(loss(point, rate), number(lost), epsilon = LOSS);
                squares += (rate - point.need).powi(2);
                sum += rate - point.need;
            }
            let n = points.len() as f64;
            assert_relative_eq!((squares / n).sqrt(), number(&held_out["rmse"]), max_relative = ON_SEARCHED);
            assert_relative_eq!(sum / n, number(&held_out["bias"]), max_relative = ON_SEARCHED, epsilon = ON_SEARCHED);
        }
    }
}

#[test]
fn the_best_single_topdress_of_the_other_site_years_is_the_oracles() {
    let (programme, oracle) = (programme(), oracle());
    let evidence = evidence(&programme, Instrument::CanopyNdvi);
    let basis = Basis::of(&evidence);
    let scoring = Scoring { basis: &basis, price_ratio: RATIO, highest: 120.0, standard: Some(80.0) };
    let materials = Materials::new(points(&basis), &evidence, RATIO);
    let validation = hold_out(&materials, &scoring, Some(RelationKind::Linear), HoldOut::SiteYear).expect("eight");
    let expected = &oracle["flat_loso_best"];
    let rates = expected["rate"].as_array().expect("rates").iter();
    let losses = expected["loss"].as_array().expect("losses").iter();
    let at_80 = oracle["flat_80"]["loss"].as_array().expect("losses").iter();
    let found = validation.held_out.iter().flat_map(|held_out| &held_out.predictions);
    assert_eq!(found.clone().count(), 40);
    for (((prediction, rate), lost), lost_at_80) in found.zip(rates).zip(losses).zip(at_80) {
        let flat = prediction.scores[&Rule::FlatTopdress];
        assert_eq!(flat.rate, number(rate));
        assert_abs_diff_eq!(flat.forgone, number(lost), epsilon = LOSS);
        assert_abs_diff_eq!(prediction.scores[&Rule::Standard].forgone, number(lost_at_80), epsilon = LOSS);
    }
    let flat = validation.performance(Rule::FlatTopdress).expect("a rate");
    assert_abs_diff_eq!(flat.forgone, number(&expected["mean_loss"]), epsilon = LOSS);
}
