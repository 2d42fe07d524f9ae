use super::curvature::Curvature;
use super::design::Design;
use super::point::Point;
use super::search::Local;
use super::*;
use crate::stats::interval::Limits;
use approx::assert_relative_eq;
use proptest::prelude::*;

/// Central differences with a step of 1e-5 keep nine digits of numbers near 1.
const DIFFERENCE: f64 = 1e-7;
const STEP: f64 = 1e-5;
/// What rounding leaves of a test statistic after rows, levels or units changed.
const INVARIANT: f64 = 1e-8;

/// Numbers between −0.5 and 0.5 without a pattern that matters (quadratic in i: a linear one is additive in blocks and treatments).
fn noise(i: usize) -> f64 {
    ((31 * i * i + 7919 * i) % 1009) as f64 / 1009.0 - 0.5
}

/// Unbalanced site-years: rates in blocks, some plots lost, correlated coefficients, two groups of residual variance.
fn messy() -> MixedData {
    let mut data = MixedData { y: vec![], fixed: vec![vec![]; 3], random: vec![], residual_group: Some(vec![]) };
    let (mut site_of, mut block_of, mut groups) = (vec![], vec![], vec![]);
    for i in 0..5 * 3 * 5 {
        let (site, block, rate) = (i / 15, i / 5, i % 5);
        if [4, 17, 18, 33, 60].contains(&i) {
            continue;
        }
        let x = rate as f64 * 0.5;
        let site_year = 5.0 * noise(site + 3) + 2.0 * x * noise(site + 40);
        data.y.push(50.0 + 6.0 * x - x * x + site_year + 3.0 * noise(block + 7) + 2.0 * noise(3 * i + 1));
        data.fixed[0].push(1.0);
        data.fixed[1].push(x);
        data.fixed[2].push(x * x);
        site_of.push(site);
        block_of.push(block);
        groups.push(usize::from(site > 2));
    }
    let columns = vec![data.fixed[0].clone(), data.fixed[1].clone()];
    data.random.push(RandomTerm { name: "site".to_owned(), group_of: site_of, columns, correlated: true });
    data.random.push(RandomTerm::intercept("block", block_of));
    data.residual_group = Some(groups);
    data
}

/// A randomised block trial: treatments × blocks, with a block effect of this size.
fn trial(treatments: usize, blocks: usize, size: f64) -> MixedData {
    let cells: Vec<(usize, usize)> = (0..blocks).flat_map(|b| (0..treatments).map(move |t| (b, t))).collect();
    let is = |t: usize| cells.iter().map(|cell| f64::from(u8::from(cell.1 == t))).collect();
    let response =
        |(i, (b, t)): (usize, &(usize, usize))| 40.0 + 5.0 * *t as f64 + size * noise(*b + 11) + noise(i + 1);
    MixedData {
        y: cells.iter().enumerate().map(response).collect(),
        fixed: [vec![1.0; cells.len()]].into_iter().chain((1..treatments).map(is)).collect(),
        random: vec![RandomTerm::intercept("block", cells.iter().map(|cell| cell.0).collect())],
        residual_group: None,
    }
}

fn whole(model: &MixedModel, method: DegreesOfFreedom) -> FTest {
    model.f_test(&model.sequential(1..model.coefficients.len()), method).unwrap()
}

#[test]
fn the_derivatives_are_those_of_the_criterion() {
    let design = Design::new(&messy(), None).unwrap();
    for psi in [vec![0.9, 0.3, 0.7, 0.5, -0.4, 0.2], vec![0.4, -0.6, 0.0, -0.2, 0.3, -0.9]] {
        for likelihood in [Likelihood::Reml, Likelihood::Ml] {
            let at = |psi: &[f64]| Point::new(&design, psi).unwrap();
            let local = Local::new(&at(&psi), &psi, likelihood);
            for i in 0..psi.len() {
                let (mut up, mut down) = (psi.clone(), psi.clone());
                up[i] += STEP;
                down[i] -= STEP;
                let rise = (at(&up).criterion(likelihood) - at(&down).criterion(likelihood)) / (2.0 * STEP);
                assert_relative_eq!(local.slope[i], rise, max_relative = DIFFERENCE, epsilon = 1e-6);
                let (above, below) = (Local::new(&at(&up), &up, likelihood), Local::new(&at(&down), &down, likelihood));
                for j in 0..psi.len() {
                    let bend = (above.slope[j] - below.slope[j]) / (2.0 * STEP);
                    assert_relative_eq!(local.bend.at(i, j), bend, max_relative = DIFFERENCE, epsilon = 1e-5);
                }
            }
        }
    }
}

#[test]
fn the_profiled_criterion_is_the_least_over_the_common_scale() {
    let design = Design::new(&messy(), None).unwrap();
    let mut psi = vec![0.9, 0.3, 0.7, 0.5, -0.4, 0.2];
    let point = Point::new(&design, &psi).unwrap();
    let (profiled, scale) = (point.profiled(Likelihood::Reml), point.best_scale(Likelihood::Reml));
    psi[..4].iter_mut().for_each(|factor| *factor *= scale.sqrt());
    psi[4..].iter_mut().for_each(|log| *log += scale.ln());
    let there = Point::new(&design, &psi).unwrap();
    assert_relative_eq!(there.criterion(Likelihood::Reml), profiled, max_relative = 1e-12);
    assert_relative_eq!(there.best_scale(Likelihood::Reml), 1.0, max_relative = 1e-12);
}

#[test]
fn turned_observations_give_the_criterion_of_the_plain_ones() {
    // V of all observations, written out; no rotation, no basis, no components.
    let data = messy();
    let design = Design::new(&data, None).unwrap();
    let psi = [0.9, 0.3, 0.7, 0.5, -0.4, 0.2];
    let count = data.y.len();
    let (g, term) = (&design.layout.covariances(&psi), &design.layout.terms[0]);
    let site = term.back.times(&g[0]).times(&term.back.transposed());
    let residual = design.layout.residual_variances(&psi);
    let groups = data.residual_group.as_ref().unwrap();
    let mut v = vec![0.0; count * count];
    for i in 0..count {
        for j in 0..count {
            let z = |k: usize| [1.0, data.fixed[1][k]];
            let shared = |term: usize| data.random[term].group_of[i] == data.random[term].group_of[j];
            let of_site = if shared(0) { site.form(&z(i), &z(j)) } else { 0.0 };
            let of_block = if shared(1) { g[1].at(0, 0) } else { 0.0 };
            v[i * count + j] = of_site + of_block + if i == j { residual[groups[i]] } else { 0.0 };
        }
    }
    let log_v = dense::factor(&mut v, count).unwrap();
    let white = |column: &[f64]| {
        let mut white = column.to_vec();
        dense::forward(&v, &mut white);
        white
    };
    let x: Vec<Vec<f64>> = data.fixed.iter().map(|column| white(column)).collect();
    let y = white(&data.y.iter().map(|y| y / design.unit).collect::<Vec<_>>());
    let mut information: Vec<f64> = x.iter().flat_map(|a| x.iter().map(|b| dense::inner(a, b))).collect();
    let log_x = dense::factor(&mut information, 3).unwrap() - design.basis.log_determinant();
    let least = crate::stats::least_squares::solve(&x, &y).unwrap().rss;
    let wanted = log_v + log_x + least + (count as f64 - 3.0) * (2.0 * std::f64::consts::PI).ln();
    let point = Point::new(&design, &psi).unwrap();
    assert_relative_eq!(point.criterion(Likelihood::Reml), wanted, max_relative = 1e-11);
    // The covariance of the first two orthonormal coefficients from that of the given ones: RΦRᵀ.
    let row = |i: usize| design.basis.coordinates.iter().map(|column| column[i]).collect::<Vec<_>>();
    let wanted = dense::inverse(&information, 3).form(&row(0), &row(1));
    assert_relative_eq!(Curvature::new(&point).covariance.at(0, 1), wanted, max_relative = 1e-9);
}

#[test]
fn rows_levels_and_units_leave_tests_unchanged() {
    let data = messy();
    let model = fit(&data, Likelihood::Reml).unwrap();
    let mut changed = data.clone();
    // Rows turned round, levels renamed, the response in another unit from another zero.
    let turned = |column: &mut Vec<f64>| column.reverse();
    changed.y.iter_mut().for_each(|y| *y = 67.25 * *y - 4000.0);
    turned(&mut changed.y);
    changed.fixed.iter_mut().for_each(turned);
    for term in &mut changed.random {
        term.columns.iter_mut().for_each(turned);
        term.group_of.reverse();
        term.group_of.iter_mut().for_each(|level| *level = usize::MAX - 17 * *level);
    }
    let groups = changed.residual_group.as_mut().unwrap();
    groups.reverse();
    groups.iter_mut().for_each(|group| *group = 9 - *group);
    let other = fit(&changed, Likelihood::Reml).unwrap();
    for method in [DegreesOfFreedom::Satterthwaite, DegreesOfFreedom::KenwardRoger] {
        let (one, two) = (whole(&model, method), whole(&other, method));
        assert_relative_eq!(one.f, two.f, max_relative = INVARIANT);
        assert_relative_eq!(one.df2, two.df2, max_relative = INVARIANT);
        let (one, two) = (model.contrast(&[0.0, 1.0, 1.0], method), other.contrast(&[0.0, 1.0, 1.0], method));
        assert_relative_eq!(one.unwrap().df, two.unwrap().df, max_relative = INVARIANT);
        assert_relative_eq!(67.25 * one.unwrap().estimate, two.unwrap().estimate, max_relative = INVARIANT);
    }
    let square = 67.25_f64.powi(2);
    assert_relative_eq!(model.residual[0].variance * square, other.residual[1].variance, max_relative = INVARIANT);
    assert_relative_eq!(
        model.components[0].covariance[0][1] * square,
        other.components[0].covariance[0][1],
        max_relative = 1e-6
    );
}

#[test]
fn correlated_coefficients_do_not_depend_on_where_x_has_its_zero() {
    let data = messy();
    let mut shifted = data.clone();
    for column in [&mut shifted.fixed[1], &mut shifted.random[0].columns[1]] {
        column.iter_mut().for_each(|x| *x += 3.0);
    }
    shifted.fixed[2] = shifted.fixed[1].iter().map(|x| x * x).collect();
    let (one, two) = (fit(&data, Likelihood::Ml).unwrap(), fit(&shifted, Likelihood::Ml).unwrap());
    assert_relative_eq!(one.log_likelihood, two.log_likelihood, max_relative = 1e-12);
    assert_relative_eq!(one.components[0].covariance[1][1], two.components[0].covariance[1][1], max_relative = 1e-7);
}

#[test]
fn a_variance_of_zero_is_an_answer() {
    // Blocks that differ by less than their plots do.
    let data = trial(5, 4, 0.0);
    let mut model = fit(&data, Likelihood::Reml).unwrap();
    for seed in 0..20 {
        if model.is_singular {
            break;
        }
        let shifted = data.y.iter().enumerate().map(|(i, y)| y + noise(i * (seed + 2))).collect();
        model = fit(&MixedData { y: shifted, ..data.clone() }, Likelihood::Reml).unwrap();
    }
    assert!(model.is_singular && model.converged);
    assert_eq!(model.components[0].covariance, vec![vec![0.0]]);
    // All plots are then independent: 20 − 5 degrees of freedom.
    assert_relative_eq!(whole(&model, DegreesOfFreedom::Satterthwaite).df2, 15.0, max_relative = 1e-10);
    assert!(model.random_effects().iter().all(|effect| effect.values == [0.0]));
    let interval = model.profile(VarianceOf::Coefficient { term: 0, column: 0 }, 0.95);
    assert_eq!((interval.low, interval.limits), (Some(0.0), Limits::Both));
    assert!(interval.high.unwrap() > 0.0);
}

#[test]
fn without_random_terms_it_is_the_linear_model() {
    let mut data = trial(4, 5, 2.0);
    data.random.clear();
    let model = fit(&data, Likelihood::Reml).unwrap();
    let plain = crate::stats::least_squares::solve(&data.fixed, &data.y).unwrap();
    assert_relative_eq!(model.residual[0].variance, plain.variance().unwrap(), max_relative = 1e-12);
    for method in [DegreesOfFreedom::Satterthwaite, DegreesOfFreedom::KenwardRoger] {
        let difference = model.contrast(&[0.0, 1.0, 0.0, 0.0], method).unwrap();
        assert_relative_eq!(difference.df, 16.0, max_relative = 1e-10);
        let wanted = plain.standard_error(&[0.0, 1.0, 0.0, 0.0]).unwrap();
        assert_relative_eq!(difference.standard_error, wanted, max_relative = 1e-12);
        assert_relative_eq!(whole(&model, method).df2, 16.0, max_relative = 1e-10);
    }
}

#[test]
fn a_spanned_column_is_left_out_and_what_is_estimable_still_is() {
    let data = trial(3, 4, 2.0);
    let mut more = data.clone();
    // An indicator of the first treatment: with the intercept, the others span it.
    more.fixed.push((0..12).map(|i| f64::from(u8::from(i % 3 == 0))).collect());
    let (plain, model) = (fit(&data, Likelihood::Reml).unwrap(), fit(&more, Likelihood::Reml).unwrap());
    assert_eq!(model.left_out, [3]);
    assert_relative_eq!(plain.log_likelihood, model.log_likelihood, max_relative = 1e-13);
    let method = DegreesOfFreedom::KenwardRoger;
    assert_eq!(model.contrast(&[0.0, 1.0, 0.0, 0.0], method), None);
    let (one, two) = (plain.contrast(&[0.0, 1.0, 0.0], method), model.contrast(&[0.0, 1.0, 0.0, -1.0], method));
    assert_relative_eq!(one.unwrap().estimate, two.unwrap().estimate, max_relative = 1e-12);
    assert_eq!(model.f_test(&[vec![0.0; 4]], method), None);
}

#[test]
fn rows_that_others_imply_count_once() {
    let model = fit(&trial(4, 4, 2.0), Likelihood::Reml).unwrap();
    let rows = [vec![0.0, 1.0, 0.0, 0.0], vec![0.0, 0.0, 1.0, 0.0], vec![0.0, 1.0, 1.0, 0.0]];
    for method in [DegreesOfFreedom::Satterthwaite, DegreesOfFreedom::KenwardRoger] {
        let (three, two) = (model.f_test(&rows, method).unwrap(), model.f_test(&rows[..2], method).unwrap());
        assert_eq!(three.df1, 2.0);
        assert_relative_eq!(three.f, two.f, max_relative = 1e-10);
        assert_relative_eq!(three.df2, two.df2, max_relative = 1e-10);
    }
}

#[test]
fn kenward_and_roger_is_not_for_unrestricted_likelihood() {
    let model = fit(&trial(3, 4, 2.0), Likelihood::Ml).unwrap();
    assert_eq!(model.contrast(&[0.0, 1.0, 0.0], DegreesOfFreedom::KenwardRoger), None);
    assert!(model.contrast(&[0.0, 1.0, 0.0], DegreesOfFreedom::Satterthwaite).is_some());
}

#[test]
fn what_can_not_be_told_apart_is_named() {
    let data = trial(3, 4, 2.0);
    let twice = |name: &str, group_of: Vec<usize>| {
        let mut more = data.clone();
        more.random.push(RandomTerm::intercept(name, group_of));
        fit(&more, Likelihood::Reml).unwrap_err()
    };
    let named = |terms: [&str; 2]| MixedModelError::NotIdentified { terms: terms.map(str::to_owned).to_vec() };
    assert_eq!(twice("row", data.random[0].group_of.clone()), named(["block", "row"]));
    assert_eq!(twice("plot", (0..12).collect()), named(["plot", "residual"]));
    let treatment = twice("treatment", (0..12).map(|i| i % 3).collect());
    assert_eq!(treatment, MixedModelError::NotIdentified { terms: vec!["treatment".to_owned()] });
}

#[test]
fn impossible_data_are_refused_by_name() {
    let data = trial(3, 4, 2.0);
    let refused = |change: &dyn Fn(&mut MixedData)| {
        let mut changed = data.clone();
        change(&mut changed);
        fit(&changed, Likelihood::Reml).unwrap_err()
    };
    assert!(matches!(refused(&|d| d.y[3] = f64::NAN), MixedModelError::NotFinite { .. }));
    assert!(matches!(refused(&|d| d.fixed[1][0] = 1e300), MixedModelError::NotFinite { .. }));
    assert!(matches!(refused(&|d| d.random[0].group_of.truncate(4)), MixedModelError::Lengths { found: 4, .. }));
    assert!(matches!(refused(&|d| d.random[0].columns = vec![vec![0.0; 12]]), MixedModelError::RandomColumns { .. }));
    assert_eq!(refused(&|d| d.y = d.fixed[1].clone()), MixedModelError::NoVariation);
    let nothing = MixedData { y: vec![], fixed: vec![], random: vec![], residual_group: None };
    assert!(matches!(fit(&nothing, Likelihood::Reml), Err(MixedModelError::NoDegreesOfFreedom { .. })));
    let additive = |d: &mut MixedData| {
        d.y = (0..12).map(|i| (i % 3) as f64 + [4.0, 1.0, 7.0, 2.0][i / 3]).collect();
    };
    assert_eq!(refused(&additive), MixedModelError::FittedWithoutError { group: 0 });
}

#[test]
fn a_variance_that_is_not_there_has_no_interval() {
    let model = fit(&trial(3, 4, 2.0), Likelihood::Reml).unwrap();
    for of in [VarianceOf::Coefficient { term: 1, column: 0 }, VarianceOf::Residual(1)] {
        assert_eq!(model.profile(of, 0.95).limits, Limits::NotComputed);
    }
    for level in [0.0, 1.0, f64::NAN, -1.0] {
        assert_eq!(model.profile(VarianceOf::Residual(0), level).limits, Limits::NotComputed);
    }
}

#[test]
fn an_interval_holds_its_estimate_and_widens_with_the_level() {
    let model = fit(&messy(), Likelihood::Reml).unwrap();
    let of = [
        VarianceOf::Coefficient { term: 0, column: 0 },
        VarianceOf::Coefficient { term: 0, column: 1 },
        VarianceOf::Coefficient { term: 1, column: 0 },
        VarianceOf::Residual(0),
        VarianceOf::Residual(1),
    ];
    for of in of {
        let (narrow, wide) = (model.profile(of, 0.8), model.profile(of, 0.95));
        let estimate = narrow.estimate.unwrap();
        assert!(wide.low <= narrow.low && narrow.low.unwrap() <= estimate, "{of:?} {narrow:?} {wide:?}");
        assert!(estimate <= narrow.high.unwrap() && narrow.high < wide.high, "{of:?} {narrow:?} {wide:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_other_start_finds_a_lower_criterion(
        lost in prop::collection::vec(any::<bool>(), 48),
        errors in prop::collection::vec(-1.0..1.0f64, 48),
        sites in prop::collection::vec(-1.0..1.0f64, 4),
        size in prop_oneof![Just(0.0), 0.0..3.0f64],
        starts in prop::collection::vec(prop::collection::vec(-2.0..2.0f64, 5), 4),
        correlated: bool,
    ) {
        let kept: Vec<usize> = (0..48).filter(|i| !(lost[*i] && lost[(i + 7) % 48] && lost[(i + 11) % 48])).collect();
        let x = |i: &usize| (*i % 4) as f64;
        let columns = vec![vec![1.0; kept.len()], kept.iter().map(x).collect::<Vec<_>>()];
        let y = |i: &usize| x(i) * 2.0 + size * sites[*i / 12] * (1.0 + 0.3 * x(i)) + errors[*i];
        let site = RandomTerm {
            name: "site".to_owned(),
            group_of: kept.iter().map(|i| i / 12).collect(),
            columns: columns.clone(),
            correlated,
        };
        let block = RandomTerm::intercept("block", kept.iter().map(|i| i / 4).collect());
        let y = kept.iter().map(y).collect();
        let data = MixedData { y, fixed: columns, random: vec![site, block], residual_group: None };
        for likelihood in [Likelihood::Reml, Likelihood::Ml] {
            let design = Design::new(&data, None).unwrap();
            let least = super::search::least(&design, likelihood).unwrap();
            prop_assert!(least.converged);
            for start in &starts {
                let psi: Vec<f64> = start.iter().copied().take(design.layout.parameters()).collect();
                if let Some(other) = super::search::newton(&design, likelihood, psi, None, super::search::LAST_GAIN) {
                    prop_assert!(least.criterion <= other.criterion + 1e-9, "{} {}", least.criterion, other.criterion);
                }
            }
        }
    }

    #[test]
    fn nothing_panics_and_what_is_fitted_is_a_number(
        y in prop::collection::vec(prop_oneof![-50.0..50.0f64, Just(0.0), Just(1e7), Just(-1e-9)], 1..14),
        levels in prop::collection::vec((0..4_usize, 0..3_usize, 0..3_usize, -2..3), 14),
        correlated: bool,
        grouped: bool,
    ) {
        type Levels = (usize, usize, usize, i32);
        let of = |pick: fn(&Levels) -> usize| levels.iter().take(y.len()).map(pick).collect::<Vec<_>>();
        let x: Vec<f64> = levels.iter().take(y.len()).map(|level: &Levels| f64::from(level.3)).collect();
        let ones = vec![1.0; y.len()];
        let data = MixedData {
            fixed: vec![ones.clone(), x.clone()],
            random: vec![
                RandomTerm { name: "a".to_owned(), group_of: of(|l| l.0), columns: vec![ones, x], correlated },
                RandomTerm::intercept("b", of(|l| l.1)),
            ],
            residual_group: grouped.then(|| of(|l| l.2)),
            y,
        };
        for likelihood in [Likelihood::Reml, Likelihood::Ml] {
            let Ok(model) = fit(&data, likelihood) else { continue };
            prop_assert!(model.log_likelihood.is_finite());
            for method in [DegreesOfFreedom::Satterthwaite, DegreesOfFreedom::KenwardRoger] {
                if let Some(test) = model.f_test(&model.sequential(0..2), method) {
                    prop_assert!(test.f >= 0.0 && test.df2 > 0.0 && (0.0..=1.0).contains(&test.p));
                }
            }
            model.profile(VarianceOf::Coefficient { term: 0, column: 1 }, 0.9);
            prop_assert!(model.conditional_residuals().iter().all(|x| x.is_finite()));
        }
    }
}
