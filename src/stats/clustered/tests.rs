use super::*;
use approx::assert_relative_eq;

fn exact(x: f64, y: f64) -> Point {
    Point { x: vec![1.0, x], known: Known::Exact(y) }
}

fn between(x: f64, low: f64, high: f64) -> Point {
    Point { x: vec![1.0, x], known: Known::Between { low, high } }
}

fn group(variance: f64, points: Vec<Point>) -> Group {
    Group { variance, points }
}

/// Five clusters of every kind: exact groups with and without an error, one bounded point, several in a group with and without exact ones.
fn mixed() -> Vec<Cluster> {
    let open = f64::INFINITY;
    vec![
        vec![group(40.0, vec![exact(0.7, 92.0), exact(0.8, 61.0), exact(0.95, 20.0)])],
        vec![
            group(90.0, vec![exact(0.72, 70.0)]),
            group(60.0, vec![exact(0.9, 31.0)]),
            group(0.0, vec![exact(0.97, 9.0)]),
        ],
        vec![group(80.0, vec![between(0.68, 120.0, open), between(0.85, 80.0, open)])],
        vec![group(70.0, vec![exact(0.75, 66.0), between(0.96, -open, 0.0), between(0.99, -open, 0.0)])],
        vec![group(50.0, vec![between(0.8, 40.0, 75.0)]), group(30.0, vec![exact(0.88, 44.0), exact(0.93, 25.0)])],
    ]
}

#[test]
fn the_slope_is_the_derivative_of_the_likelihood() {
    let prepared = Prepared::new(&mixed()).unwrap();
    let evaluate = |at: &[f64]| prepared.evaluate(at, Some(&[1.0, 2.0, 1.0, 1.0, 3.0]), &mut Scratch::default());
    for at in [[0.0, 0.0, -0.7, -0.7], [0.3, -0.8, 1.2, -2.0], [-0.5, 0.4, -3.0, 0.5], [0.1, 0.1, -9.0, -1.0]] {
        let (_, slope) = evaluate(&at);
        for i in 0..4 {
            let step = 1e-5;
            let (mut up, mut down) = (at, at);
            up[i] += step;
            down[i] -= step;
            let numeric = (evaluate(&up).0 - evaluate(&down).0) / (2.0 * step);
            assert_relative_eq!(slope[i], numeric, max_relative = 1e-6, epsilon = 1e-7);
        }
    }
}

#[test]
fn a_cluster_counted_twice_is_two_clusters() {
    let clusters = mixed();
    let prepared = Prepared::new(&clusters).unwrap();
    let weighted = prepared.fit(Some(&[1.0, 2.0, 1.0, 0.0, 1.0]), None).unwrap();
    let listed: Vec<Cluster> = [0, 1, 1, 2, 4].map(|position: usize| clusters[position].clone()).to_vec();
    let found = fit(&listed).unwrap();
    assert_relative_eq!(weighted.log_likelihood, found.log_likelihood, max_relative = 1e-10);
    for (one, other) in weighted.coefficients.iter().zip(&found.coefficients) {
        assert_relative_eq!(one, other, max_relative = 1e-5);
    }
}

#[test]
fn points_that_nothing_is_known_of_add_nothing() {
    let mut clusters = mixed();
    let found = fit(&clusters).unwrap();
    clusters[1].push(group(10.0, vec![between(0.5, f64::NEG_INFINITY, f64::INFINITY)]));
    let with = fit(&clusters).unwrap();
    assert_relative_eq!(found.log_likelihood, with.log_likelihood, max_relative = 1e-10);
}

#[test]
fn exact_points_that_do_not_tell_the_coefficients_apart_determine_nothing() {
    let one = vec![vec![group(1.0, vec![exact(0.8, 50.0), exact(0.8, 60.0), exact(0.8, 55.0)])]];
    assert!(matches!(fit(&one), Err(ClusteredError::NotDetermined { exact: 3, columns: 2 })));
    let line =
        vec![vec![group(0.0, vec![exact(0.7, 90.0), exact(0.8, 60.0)])], vec![group(0.0, vec![exact(0.9, 30.0)])]];
    assert!(matches!(fit(&line), Err(ClusteredError::PerfectFit { .. })));
    let malformed = vec![vec![group(f64::NAN, vec![exact(0.7, 90.0)])]];
    assert_eq!(fit(&malformed), Err(ClusteredError::Malformed));
    assert!(fit(&[]).is_err());
}
