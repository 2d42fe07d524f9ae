mod brute_force;
mod made_up;

use approx::assert_relative_eq;
use made_up::{Need, awkward, level, programme, trial};

use super::criterion::{Basis, Problem};
use super::search::explained;
use super::*;
use crate::experiment::Evidence;

const TOPDRESS: [f64; 4] = [0.0, 40.0, 80.0, 120.0];
/// A parabola whose top lies beyond the indices.
const PARABOLA: Need = |s| 30.0 + 500.0 * s - 400.0 * s * s;
/// Newton's steps end where doubles do; the criterion then carries this much of the parameters.
const CONVERGED: f64 = 1e-9;

fn models() -> impl Iterator<Item = ShortfallModel> {
    Shape::ALL.into_iter().flat_map(|shape| Nuisance::ALL.map(|nuisance| ShortfallModel::new(shape, nuisance)))
}

fn fit(evidence: &Evidence, model: ShortfallModel) -> Result<Shortfall, NoShortfall> {
    Shortfall::fit(&ShortfallData::of(evidence)?, model, None)
}

fn noisy() -> Evidence {
    programme(11, 6, 5, &TOPDRESS, 3, 3.0, PARABOLA)
}

#[test]
fn a_truth_of_the_models_own_is_found_again_from_yields_without_error() {
    let parabola = programme(3, 5, 4, &TOPDRESS, 2, 0.0, PARABOLA);
    let line = programme(3, 5, 4, &TOPDRESS, 2, 0.0, |s| 20.0 + 450.0 * s);
    for nuisance in Nuisance::ALL {
        for (evidence, shape, truth) in
            [(&line, Shape::Line, &[20.0, 450.0][..]), (&parabola, Shape::Parabola, &[30.0, 500.0, -400.0])]
        {
            let found = fit(evidence, ShortfallModel::new(shape, nuisance)).expect("a response");
            let NeedCurve::Polynomial(coefficients) = &found.need else { panic!("{:?}", found.need) };
            assert_eq!(coefficients.len(), truth.len());
            for (coefficient, truth) in coefficients.iter().zip(truth) {
                assert_relative_eq!(*coefficient, *truth, max_relative = 1e-7);
            }
            // A spline holds lines and parabolas that are nowhere below 0.
            let spline = fit(evidence, ShortfallModel::new(Shape::Spline, nuisance)).expect("a response");
            let (low, high) = spline.domain;
            for index in [low, 0.75, 0.8, 0.9, high] {
                assert_relative_eq!(spline.need(index), found.need(index), max_relative = 1e-5, epsilon = 1e-3);
            }
            assert_relative_eq!(found.c, 0.0016, max_relative = 1e-8);
            assert!(found.rss < 1e-18 * found.rss_without, "{}", found.rss);
            // By hand: 0.1/(2·0.0016) = 31.25 less than the need.
            assert_relative_eq!(found.need(0.8) - found.rate(0.8, 0.1), 31.25, max_relative = 1e-7);
            assert_eq!(found.rate(1.0, 1e6), 0.0);
        }
    }
}

#[test]
fn derivatives_are_those_of_differences() {
    for seed in [4, 9, 17, 23] {
        let data = ShortfallData::of(&awkward(seed)).expect("plots");
        for nuisance in Nuisance::ALL {
            let Ok(mut problem) = Problem::new(&data, nuisance, None) else { continue };
            problem.power = if seed % 2 == 0 { Power::Square } else { Power::Cube };
            let basis = Basis::of(&problem, |z| [1.0, z, z * z]);
            let at = [0.31, 0.47, 0.29];
            let local = |x: &[f64; 3]| problem.derived(&basis, x);
            let here = local(&at);
            let sums = problem.sums(&basis, &at, &mut Vec::new());
            assert_relative_eq!(sums.a, here.sums.a, max_relative = 1e-12);
            assert_relative_eq!(sums.b, here.sums.b, max_relative = 1e-12, epsilon = 1e-12);
            for i in 0..3 {
                let step = 1e-5;
                let moved = |by: f64| {
                    let mut x = at;
                    x[i] += by;
                    local(&x)
                };
                let (up, down) = (moved(step), moved(-step));
                let slope = |up: f64, down: f64| (up - down) / (2.0 * step);
                let scale = here.a1.iter().map(|a| a.abs()).fold(1.0, f64::max);
                assert_relative_eq!(
                    slope(up.sums.a, down.sums.a),
                    here.a1[i],
                    max_relative = 1e-6,
                    epsilon = 1e-6 * scale
                );
                assert_relative_eq!(slope(up.sums.b, down.sums.b), here.b1[i], max_relative = 1e-6, epsilon = 1e-5);
                for j in 0..3 {
                    assert_relative_eq!(
                        slope(up.a1[j], down.a1[j]),
                        here.a2[i][j],
                        max_relative = 1e-5,
                        epsilon = 1e-5 * scale
                    );
                    assert_relative_eq!(
                        slope(up.b1[j], down.b1[j]),
                        here.b2[i][j],
                        max_relative = 1e-5,
                        epsilon = 1e-4
                    );
                }
                if let (Some(up), Some(down), Some(here)) = (explained(&up), explained(&down), explained(&here)) {
                    let scale = here.0.abs();
                    assert_relative_eq!(slope(up.0, down.0), here.1[i], max_relative = 1e-5, epsilon = 1e-6 * scale);
                    for j in 0..3 {
                        assert_relative_eq!(
                            slope(up.1[j], down.1[j]),
                            here.2[i][j],
                            max_relative = 1e-4,
                            epsilon = 1e-5 * scale
                        );
                    }
                }
            }
        }
    }
}

/// The same trials with each yield and rate changed.
fn changed(evidence: &Evidence, change: impl Fn(&str, usize, f64, f64) -> (f64, f64)) -> Evidence {
    let mut evidence = evidence.clone();
    for trial in &mut evidence.trials {
        for group in &mut trial.groups {
            let blocks = group.blocks.as_ref().expect("blocks");
            for ((rate, value), block) in group.rates.iter_mut().zip(&mut group.yields).zip(blocks) {
                (*rate, *value) = change(&trial.site, *block, *rate, *value);
            }
        }
    }
    evidence
}

#[test]
fn units_move_the_need_as_they_move_rates_and_plateaus_move_nothing() {
    let evidence = noisy();
    let shifted = changed(&evidence, |site, block, rate, value| {
        (1.12 * rate, 67.0 * (value + site.len() as f64 + 20.0 * block as f64))
    });
    for model in models() {
        let (before, after) = (fit(&evidence, model).expect("a fit"), fit(&shifted, model).expect("a fit"));
        for index in [0.7, 0.8, 0.95] {
            assert_relative_eq!(1.12 * before.need(index), after.need(index), max_relative = CONVERGED);
        }
        assert_relative_eq!(before.c * 67.0 / (1.12 * 1.12), after.c, max_relative = CONVERGED);
        assert_relative_eq!(before.sigma * 67.0, after.sigma, max_relative = CONVERGED);
    }
}

#[test]
fn a_spline_near_another_is_the_one_that_is_searched_anew() {
    let data = ShortfallData::of(&programme(5, 40, 5, &TOPDRESS, 3, 3.0, PARABOLA)).expect("trials");
    let model = ShortfallModel::new(Shape::Spline, Nuisance::BlockByEarlyLevel);
    let all = Shortfall::fit(&data, model, None).expect("a fit");
    let NeedCurve::Spline(spline) = &all.need else { panic!("{:?}", all.need) };
    for left_out in [0, 17, 39] {
        let weights: Vec<f64> = (0..40).map(|position| f64::from(u8::from(position != left_out))).collect();
        let anew = Shortfall::fit(&data, model, Some(&weights)).expect("a fit");
        let near = Shortfall::fit_near(&data, model.nuisance, Some(&weights), spline, all.power).expect("a fit");
        assert_eq!(anew.power, near.power);
        assert!(anew.need(0.85) != all.need(0.85));
        for index in [0.7, 0.8, 0.9, 0.97] {
            assert_relative_eq!(anew.need(index), near.need(index), max_relative = 1e-7, epsilon = 1e-6);
        }
    }
}

#[test]
fn neither_order_nor_the_numbers_of_blocks_matter() {
    let evidence = noisy();
    let mut other = evidence.clone();
    other.trials.reverse();
    for group in other.trials.iter_mut().flat_map(|trial| &mut trial.groups) {
        group.rates.reverse();
        group.yields.reverse();
        let blocks = group.blocks.as_mut().expect("blocks");
        blocks.reverse();
        blocks.iter_mut().for_each(|block| *block = 40 - 7 * *block);
    }
    other.trials.iter_mut().for_each(|trial| trial.groups.reverse());
    for model in models() {
        let (one, two) = (fit(&evidence, model).expect("a fit"), fit(&other, model).expect("a fit"));
        assert_relative_eq!(one.rss, two.rss, max_relative = 1e-12);
        for index in [0.7, 0.8, 0.95] {
            assert_relative_eq!(one.rate(index, 0.1), two.rate(index, 0.1), max_relative = CONVERGED);
        }
    }
}

#[test]
fn a_site_year_that_is_held_out_plays_no_part() {
    let evidence = noisy();
    let held = evidence.trials[2].site_year();
    let spoilt = changed(
        &evidence,
        |site, _, rate, value| if site == "Field 2" { (3.0 * rate, -value.exp()) } else { (rate, value) },
    );
    for model in models() {
        let [one, two] = [&evidence, &spoilt].map(|evidence| {
            let data = ShortfallData::of(evidence).expect("trials");
            let position = data.site_years().iter().position(|name| *name == held).expect("it is there");
            leave_one_site_year_out(&data, model).expect("six").swap_remove(position).expect("a fit")
        });
        // Bit for bit.
        assert_eq!(one, two);
        let mut without = evidence.clone();
        without.trials.remove(2);
        assert_eq!(one, fit(&without, model).expect("a fit"));
    }
}

#[test]
fn a_site_year_that_counts_twice_is_two_alike() {
    let evidence = noisy();
    let mut twice = evidence.clone();
    let mut again = evidence.trials[1].clone();
    again.site = "Field 1 again".to_owned();
    twice.trials.push(again);
    let data = ShortfallData::of(&evidence).expect("trials");
    for model in models() {
        let weighted = Shortfall::fit(&data, model, Some(&[1.0, 2.0, 1.0, 1.0, 1.0, 1.0])).expect("a fit");
        let doubled = fit(&twice, model).expect("a fit");
        assert_relative_eq!(weighted.rss, doubled.rss, max_relative = 1e-12);
        assert_relative_eq!(weighted.rate(0.8, 0.1), doubled.rate(0.8, 0.1), max_relative = CONVERGED);
        assert_eq!((weighted.site_years, doubled.site_years), (6, 7));
    }
}

#[test]
fn need_never_rises_with_the_index_unless_it_may() {
    let mut held = 0;
    for seed in 0..60 {
        let Ok(data) = ShortfallData::of(&awkward(seed)) else { continue };
        for model in models() {
            let Ok(found) = Shortfall::fit(&data, model, None) else { continue };
            let (low, high) = found.domain;
            let needs: Vec<f64> =
                (0..=100).map(|step| found.need(low + (high - low) * f64::from(step) / 100.0)).collect();
            assert!(
                needs.windows(2).all(|pair| pair[1] <= pair[0] + 1e-9 * found.highest_topdress),
                "{seed} {model:?}"
            );
            if let Ok(free) = Shortfall::fit(&data, ShortfallModel { never_rising: false, ..model }, None) {
                assert!(free.rss <= found.rss * (1.0 + 1e-9) + 1e-13 * found.rss_without, "{seed} {model:?}");
                held += usize::from(free.rss < 0.999 * found.rss);
            }
        }
    }
    assert!(held > 3, "{held}");
}

#[test]
fn early_loss_that_topdress_cannot_mend_is_told_from_need() {
    let evidence = noisy();
    let mut lossy = evidence.clone();
    for group in lossy.trials.iter_mut().flat_map(|trial| &mut trial.groups) {
        let lost = 0.002 * (120.0 - group.early_n.expect("early")).powi(2);
        group.yields.iter_mut().for_each(|value| *value -= lost);
    }
    for shape in Shape::ALL {
        let fine = ShortfallModel::new(shape, Nuisance::BlockByEarlyLevel);
        let (one, two) = (fit(&evidence, fine).expect("a fit"), fit(&lossy, fine).expect("a fit"));
        // The finer nuisance takes the loss.
        assert_relative_eq!(one.rate(0.8, 0.1), two.rate(0.8, 0.1), max_relative = CONVERGED);
        let data = ShortfallData::of(&lossy).expect("trials");
        let (chosen, test) = fit_by_test(&data, shape, None).expect("a fit");
        let test = test.expect("both fit");
        assert!(test.p < 1e-6, "{test:?}");
        // 6 site-years × 3 blocks × 5 early levels against 6 × 3 plateaus.
        assert_eq!(test.df.0, 72);
        assert_eq!(chosen.model.nuisance, Nuisance::BlockByEarlyLevel);
    }
    let data = ShortfallData::of(&evidence).expect("trials");
    let test = test_nuisance(&data, Shape::Parabola, None).expect("both fit");
    assert!(test.p > 0.05, "{test:?}");
}

#[test]
fn the_variance_of_a_site_year_is_that_of_plots_about_blocks_and_cells() {
    // Two blocks of four cells, by hand: block means 2 and 4, cell effects 0; residuals ±0.5 in the first and second cell.
    let plots = |low: f64, high: f64| [(0.0, low, 0), (60.0, high, 0), (0.0, high + 2.0, 1), (60.0, low + 2.0, 1)];
    let one = trial("A", vec![level(0.0, 0.8, &plots(1.5, 2.5)), level(40.0, 0.9, &plots(2.0, 2.0))]);
    let data = ShortfallData::of(&Evidence { trials: vec![one] }).expect("a trial");
    let (variance, df) = data.error_variances()[0].expect("three degrees of freedom");
    assert_eq!(df, 3);
    assert_relative_eq!(variance, 4.0 * 0.25 / 3.0, max_relative = 1e-12);
}

fn reason(evidence: &Evidence, model: ShortfallModel) -> NoShortfall {
    fit(evidence, model).expect_err("no model")
}

#[test]
fn data_that_say_nothing_of_need_say_why() {
    let line = ShortfallModel::new(Shape::Line, Nuisance::BlockByEarlyLevel);
    let none = NoShortfall::NoTrials;
    assert_eq!(reason(&Evidence::default(), line), none);

    let equal = changed(&noisy(), |_, block, rate, _| (rate, 61.7 + 0.3 * block as f64));
    let falling = changed(&noisy(), |_, _, rate, _| (rate, 60.0 - 0.1 * rate));
    let rising = changed(&noisy(), |_, _, rate, _| (rate, 60.0 + 0.1 * rate));
    let one_rate = changed(&noisy(), |_, _, _, value| (40.0, value));
    let mut same_index = noisy();
    for group in same_index.trials.iter_mut().flat_map(|trial| &mut trial.groups) {
        group.treatments[0].index = 0.8;
    }
    for model in models() {
        assert_eq!(reason(&equal, model), NoShortfall::NoResponse);
        assert_eq!(reason(&one_rate, model), NoShortfall::OneTopdress);
        assert!(matches!(reason(&same_index, model), NoShortfall::IndexConstant { .. }));
        assert_eq!(reason(&falling, model), NoShortfall::NoResponse);
        let beyond = reason(&rising, model);
        assert!(
            matches!(beyond, NoShortfall::NeedBeyondTested { highest: 120.0 } | NoShortfall::NotIdentified),
            "{beyond}"
        );
    }
    let few =
        trial("A", vec![level(0.0, 0.8, &[(0.0, 40.0, 0), (60.0, 50.0, 0)]), level(40.0, 0.9, &[(0.0, 50.0, 0)])]);
    assert!(matches!(reason(&Evidence { trials: vec![few] }, line), NoShortfall::TooFewPlots { plots: 3, .. }));
    // Of two topdress rates only the share of the need's square that the first lacks is known.
    let two_rates = programme(1, 4, 4, &[0.0, 120.0], 3, 0.0, |s| 20.0 + 200.0 * s);
    assert_eq!(reason(&two_rates, line), NoShortfall::NotIdentified);
    let alone = programme(1, 1, 4, &TOPDRESS, 3, 0.5, PARABOLA);
    let data = ShortfallData::of(&alone).expect("a trial");
    assert!(Shortfall::fit(&data, line, None).is_ok());
    assert_eq!(leave_one_site_year_out(&data, line), Err(NoShortfall::OneSiteYear));
    assert_eq!(Shortfall::fit(&data, line, Some(&[0.0])), Err(NoShortfall::NoTrials));
}

#[test]
fn numbers_that_are_none_are_refused() {
    for bad in [f64::NAN, f64::INFINITY, -1.0] {
        let evidence = changed(&noisy(), |_, _, rate, value| (if rate == 40.0 { bad } else { rate }, value));
        assert!(matches!(ShortfallData::of(&evidence), Err(NoShortfall::NotANumber { what: "topdress rate", .. })));
    }
    for bad in [f64::NAN, f64::NEG_INFINITY, 1e300] {
        let evidence = changed(&noisy(), |_, _, rate, value| (rate, if rate == 40.0 { bad } else { value }));
        let refused = ShortfallData::of(&evidence).expect_err("no yield");
        assert!(refused.to_string().contains("a finite number"), "{refused}");
        let mut evidence = noisy();
        evidence.trials[1].groups[1].treatments[0].index = bad;
        assert!(matches!(ShortfallData::of(&evidence), Err(NoShortfall::NotANumber { what: "index", .. })));
    }
    let mut short = noisy();
    short.trials[0].groups[0].yields.pop();
    assert!(matches!(ShortfallData::of(&short), Err(NoShortfall::LengthsDiffer { rates: 12, yields: 11, .. })));
    let data = ShortfallData::of(&noisy()).expect("trials");
    let model = ShortfallModel::new(Shape::Line, Nuisance::Block);
    for weights in [&[1.0][..], &[1.0, 1.0, f64::NAN, 1.0, 1.0, 1.0], &[1.0, 1.0, -1.0, 1.0, 1.0, 1.0]] {
        assert_eq!(Shortfall::fit(&data, model, Some(weights)), Err(NoShortfall::Weights { site_years: 6 }));
    }
}

#[test]
fn early_levels_without_an_index_are_listed() {
    let mut evidence = noisy();
    evidence.trials[0].groups[1].treatments.clear();
    let data = ShortfallData::of(&evidence).expect("trials");
    let [left] = data.not_used() else { panic!("one early level") };
    assert_eq!((left.early_n, left.plots, left.reason), (Some(30.0), 12, "no index of its plots"));
    assert_eq!(data.plots(), [48, 60, 60, 60, 60, 60]);
}

/// The least residual sum of squares at a rate by a dense grid over the lines.
fn least_at_rate(evidence: &Evidence, nuisance: Nuisance, z: f64, rate: f64, half_ratio: f64) -> f64 {
    let plain = made_up::Plain::new(evidence, nuisance);
    let grid = |low: f64, high: f64| (0..=240).map(move |step| low + (high - low) * f64::from(step) / 240.0);
    let mut least = f64::INFINITY;
    for above in grid(0.02, 0.8) {
        for rise in grid(0.0, 2.5) {
            let need = rate + above;
            least = least.min(plain.rss_with(|at| need + rise * (at - z), half_ratio / above));
        }
    }
    least
}

#[test]
fn the_profile_of_a_rate_ends_where_a_dense_search_does() {
    let evidence = programme(21, 4, 4, &TOPDRESS, 3, 3.0, |s| 10.0 + 350.0 * s);
    let data = ShortfallData::of(&evidence).expect("trials");
    for nuisance in Nuisance::ALL {
        let found = Shortfall::fit(&data, ShortfallModel::new(Shape::Line, nuisance), None).expect("a fit");
        let interval = found.rate_interval(&data, None, 0.85, 0.1, 0.95).expect("data");
        let (low, high) = (interval.low.expect("an end"), interval.high.expect("an end"));
        let rate = found.rate(0.85, 0.1);
        assert!(low < rate && rate < high, "{interval:?}");
        let z = (found.domain.1 - 0.85) / (found.domain.1 - found.domain.0);
        // F(0.95; 1, df) from the quantile of t.
        let t = crate::stats::distribution::t_quantile(0.975, found.df as f64).expect("degrees of freedom");
        let cutoff = found.rss * (1.0 + t * t / found.df as f64);
        for end in [low, high] {
            let least = least_at_rate(&evidence, nuisance, z, end / 120.0, 0.05 * 120.0);
            // The grid comes near the least from above.
            assert!(least >= cutoff * (1.0 - 1e-9) && least < cutoff * 1.0005, "{end}: {least} {cutoff}");
        }
        for shape in [Shape::Parabola, Shape::Spline] {
            let bent = Shortfall::fit(&data, ShortfallModel::new(shape, nuisance), None).expect("a fit");
            let wider = bent.rate_interval(&data, None, 0.85, 0.1, 0.95).expect("data");
            assert!(wider.low.is_some_and(|low| low < bent.rate(0.85, 0.1)), "{wider:?}");
            assert!(wider.high.is_some_and(|high| high > bent.rate(0.85, 0.1)), "{wider:?}");
        }
        let refused = found.rate_interval(&data, None, 1.5, 0.1, 0.95).expect("data");
        assert!(refused.reason.is_some_and(|reason| reason.contains("outside")));
    }
}
