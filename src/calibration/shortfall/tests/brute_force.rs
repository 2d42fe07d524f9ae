//! No need, however it is looked for, fits better than the one found.

use super::super::criterion::Problem;
use super::super::search::{BELIEVED_TO, Curve, Ordinates, best, lowest, polynomial};
use super::super::spline::SplineSearch;
use super::super::{NoShortfall, Nuisance, Power, Shape, ShortfallData};
use super::made_up::{Plain, awkward};
use crate::stats::stream::stream;
use rand::RngExt as _;

/// Share of the residual sum of squares by which the search may be worse: rounding of two searches.
const WORSE: f64 = 1e-9;
/// Of sums of squares that are rounding, share of the total.
const ROUNDING: f64 = 1e-13;

fn never_falls(ordinates: Ordinates) -> bool {
    let mut last = f64::NEG_INFINITY;
    let [u0, m, u1] = ordinates;
    let grid = (0..=200).all(|step| {
        let need = polynomial(ordinates, f64::from(step) / 200.0).max(0.0);
        let rises = need >= last - 1e-12 * (1.0 + need);
        last = need;
        rises
    });
    // Between the points of the grid too.
    grid && m <= u1 + 1e-13 && (m >= u0 - 1e-13 || u0 <= 1e-13)
}

/// The least residual sum of squares of a dense grid and of a simplex search from the best of it that lie apart.
fn by_force(plain: &Plain, shape: Shape, dense: usize, starts: usize) -> f64 {
    let ordinates = |x: &[f64]| match *x {
        [u0, u1] => [u0, 0.5 * (u0 + u1), u1],
        [u0, m, u1] => [u0, m, u1],
        _ => unreachable!("two or three"),
    };
    let value = |x: &[f64]| {
        let ordinates = ordinates(x);
        let within = ordinates.iter().all(|u| *u <= BELIEVED_TO) && never_falls(ordinates);
        if within { plain.rss(|z| polynomial(ordinates, z)) } else { f64::INFINITY }
    };
    let steps = (0..dense).map(|step| (step as f64 + 0.5) / dense as f64);
    let highs: Vec<f64> = steps.clone().map(|q| 0.02 + (3.2 * q).exp() - 1.0).collect();
    let both: Vec<f64> = steps.map(|q| 2.0 * q - 1.0).map(|q| q.signum() * ((3.5 * q.abs()).exp() - 1.0)).collect();
    let mut points: Vec<(f64, Vec<f64>)> = Vec::new();
    for u1 in &highs {
        for u0 in both.iter().filter(|u0| *u0 <= u1) {
            match shape {
                Shape::Line => points.push((value(&[*u0, *u1]), vec![*u0, *u1])),
                _ => points.extend(both.iter().map(|m| (value(&[*u0, *m, *u1]), vec![*u0, *m, *u1]))),
            }
        }
    }
    points.retain(|(value, _)| value.is_finite());
    points.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut apart: Vec<Vec<f64>> = Vec::new();
    for (_, x) in points {
        let far = |other: &Vec<f64>| other.iter().zip(&x).any(|(a, b)| ((a - b) / (0.15 + a.abs())).abs() > 0.25);
        if apart.iter().all(far) {
            apart.push(x);
        }
        if apart.len() == starts {
            break;
        }
    }
    apart.into_iter().map(|start| simplex(&value, start)).fold(f64::INFINITY, f64::min)
}

/// Nelder and Mead's simplex, started anew where it ended.
fn simplex(f: &dyn Fn(&[f64]) -> f64, start: Vec<f64>) -> f64 {
    let n = start.len();
    let mut best = (f(&start), start);
    for _ in 0..4 {
        let mut corners = vec![best.clone()];
        for i in 0..n {
            let mut step = 0.05 * (0.2 + best.1[i].abs());
            let mut corner = best.1.clone();
            for _ in 0..6 {
                corner[i] = best.1[i] + step;
                if f(&corner).is_finite() {
                    break;
                }
                step *= -0.5;
            }
            corners.push((f(&corner), corner));
        }
        for _ in 0..400 {
            corners.sort_by(|one, other| one.0.total_cmp(&other.0));
            if (corners[n].0 - corners[0].0).abs() <= 1e-14 * corners[0].0.abs() {
                break;
            }
            let centre: Vec<f64> =
                (0..n).map(|j| corners[..n].iter().map(|corner| corner.1[j]).sum::<f64>() / n as f64).collect();
            let along = |by: f64| {
                let x: Vec<f64> = (0..n).map(|j| centre[j] + by * (corners[n].1[j] - centre[j])).collect();
                (f(&x), x)
            };
            let reflected = along(-1.0);
            if reflected.0 < corners[0].0 {
                let further = along(-2.0);
                corners[n] = if further.0 < reflected.0 { further } else { reflected };
            } else if reflected.0 < corners[n - 1].0 {
                corners[n] = reflected;
            } else {
                let nearer = if reflected.0 < corners[n].0 { along(-0.5) } else { along(0.5) };
                if nearer.0 < corners[n].0.min(reflected.0) {
                    corners[n] = nearer;
                } else {
                    let lowest = corners[0].1.clone();
                    for corner in corners.iter_mut().skip(1) {
                        corner.1.iter_mut().zip(&lowest).for_each(|(x, low)| *x = low + 0.5 * (*x - low));
                        corner.0 = f(&corner.1);
                    }
                }
            }
        }
        corners.sort_by(|one, other| one.0.total_cmp(&other.0));
        best = corners.swap_remove(0);
    }
    best.0
}

/// How many fits were compared, and how many of them are worse than by force.
fn compare(seeds: std::ops::Range<u64>, dense: [usize; 2], starts: usize) -> (usize, Vec<String>) {
    let (mut compared, mut worse) = (0, Vec::new());
    for seed in seeds {
        let evidence = awkward(seed);
        let Ok(data) = ShortfallData::of(&evidence) else { continue };
        for nuisance in Nuisance::ALL {
            let problem = match Problem::new(&data, nuisance, None) {
                Ok(problem) => problem,
                Err(NoShortfall::IndexConstant { .. } | NoShortfall::OneTopdress) => continue,
                Err(reason) => panic!("{seed}: {reason}"),
            };
            let plain = Plain::new(&evidence, nuisance);
            for (shape, dense) in [Shape::Line, Shape::Parabola].into_iter().zip(dense) {
                let rss = |curve: Curve| plain.rss(|z| curve.value(z));
                let found = lowest(&problem, shape, true, None).map_or(plain.total(), rss);
                let forced = by_force(&plain, shape, dense, starts);
                compared += 1;
                if found > forced * (1.0 + WORSE) + ROUNDING * plain.total() {
                    worse.push(format!("{seed} {nuisance:?} {shape:?}: {found} against {forced}"));
                }
            }
        }
    }
    (compared, worse)
}

#[test]
fn no_need_of_a_dense_search_fits_better() {
    let (compared, worse) = compare(0..24, [40, 12], 8);
    assert!(compared > 60, "{compared}");
    assert!(worse.is_empty(), "{worse:#?}");
}

#[test]
#[ignore = "some minutes: denser, and over many more data"]
fn no_need_of_a_denser_search_fits_better() {
    let (compared, worse) = compare(24..1_200, [70, 24], 14);
    assert!(compared > 3_000, "{compared}");
    assert!(worse.is_empty(), "{worse:#?}");
}

#[test]
fn no_spline_from_anywhere_else_fits_better() {
    let (mut compared, mut worse) = (0, Vec::new());
    for seed in 0..120 {
        let evidence = awkward(seed);
        let Ok(data) = ShortfallData::of(&evidence) else { continue };
        for nuisance in Nuisance::ALL {
            let Ok(mut problem) = Problem::new(&data, nuisance, None) else { continue };
            let mut plain = Plain::new(&evidence, nuisance);
            problem.power = if seed % 2 == 0 { Power::Square } else { Power::Cube };
            plain.power = i32::from(problem.power.exponent());
            let rss = |curve: Curve| plain.rss(|z| curve.value(z));
            // Where needs differ that fit alike, none of them is given.
            let Ok(best) = best(&problem, Shape::Spline, true, None) else { continue };
            let found = rss(best.curve);
            let search = SplineSearch::new(&problem, true);
            let mut random = stream(seed, 9);
            let starts: Vec<_> = (0..150)
                .map(|_| {
                    let mut ordinates = [0.0; 6].map(|_: f64| random.random_range(0.0..2.0));
                    ordinates.sort_by(f64::total_cmp);
                    ordinates
                })
                .collect();
            let other = search.best(&starts).map_or(plain.total(), |(ordinates, _)| {
                let curve = Curve::Spline(search.knots, ordinates);
                if problem.z.iter().all(|z| curve.value(*z) <= BELIEVED_TO) { rss(curve) } else { f64::INFINITY }
            });
            compared += 1;
            if found > other * (1.0 + WORSE) + ROUNDING * plain.total() {
                worse.push(format!("{seed} {nuisance:?}: {found} against {other}"));
            }
        }
    }
    assert!(compared > 60, "{compared}");
    assert!(worse.is_empty(), "{worse:#?}");
}
