//! The global fit against dense brute force on trials of awkward shape: rates close together and far apart, none at zero, plots lost and
//! doubled, yields without noise, without response, falling, stepping, with several minima.

use rand::RngExt;
use stook::response::{Family, Fit, Observations};
use stook::stats::stream::stream;

const TRIALS: u64 = 10_000;
/// The exact fit may lose to a grid by rounding only.
const NO_WORSE: f64 = 1e-9;
/// Sums of squares of yields this small beside the yields are rounding.
const NOISELESS: f64 = 1e-20;

struct Trial {
    rates: Vec<f64>,
    yields: Vec<f64>,
    groups: Vec<usize>,
}

fn trial(index: u64) -> Trial {
    let mut rng = stream(4, index);
    let count = rng.random_range(3..=9);
    let mut rate = if rng.random_bool(0.7) { 0.0 } else { rng.random_range(0.5..80.0_f64).round() };
    let mut rates = vec![rate];
    while rates.len() < count {
        // Steps of very unequal length.
        rate += 10f64.powf(rng.random_range(-0.5..2.0_f64)).max(0.3);
        rates.push(if rng.random_bool(0.5) { rate.ceil() } else { rate });
        rate = rates[rates.len() - 1];
    }
    let blocks = rng.random_range(1..=5_usize);
    let top = rate;
    let kind = rng.random_range(0..6);
    let bend = rng.random_range(0.02..1.6_f64) * top;
    let noise = 10f64.powf(rng.random_range(-4.0..1.2_f64));
    let own: Vec<f64> = rates.iter().map(|_| rng.random_range(-8.0..8.0_f64)).collect();
    let mut trial = Trial { rates: Vec::new(), yields: Vec::new(), groups: Vec::new() };
    for block in 0..blocks {
        for (level, rate) in rates.iter().enumerate() {
            let plots = if rng.random_bool(0.85) { 1 } else { rng.random_range(0..=2) };
            for _ in 0..plots {
                let share = (rate / bend).min(1.0);
                let response = match kind {
                    0 => 0.0,
                    1 => 30.0 * (2.0 * share - share * share),
                    2 => 25.0 * share,
                    3 => {
                        if level > 0 {
                            20.0
                        } else {
                            0.0
                        }
                    }
                    4 => -12.0 * rate / top,
                    // Means that go up and down: several minima.
                    _ => own[level] + 10.0 * rate / top,
                };
                trial.rates.push(*rate);
                trial.yields.push(55.0 + 4.0 * block as f64 + response + noise * rng.random_range(-1.0..1.0_f64));
                trial.groups.push(block);
            }
        }
    }
    trial
}

/// Values less the mean of their group.
fn centred(values: impl Iterator<Item = f64>, groups: &[usize]) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    let last = groups.iter().max().copied().unwrap_or(0);
    for group in 0..=last {
        let members: Vec<usize> = (0..values.len()).filter(|place| groups[*place] == group).collect();
        let mean = members.iter().map(|place| values[*place]).sum::<f64>() / members.len().max(1) as f64;
        members.iter().for_each(|place| values[*place] -= mean);
    }
    values
}

/// The residual sum of squares of the best rising multiple of a column.
fn rising(y: &[f64], x: &[f64]) -> Option<f64> {
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in x.iter().zip(y) {
        xx += x * x;
        xy += x * y;
    }
    let slope = xy / xx;
    (xx > 0.0 && slope > 0.0).then(|| y.iter().zip(x).map(|(y, x)| (y - slope * x).powi(2)).sum())
}

fn basis(family: Family, rate: f64, shape: f64) -> f64 {
    let used = rate.min(shape);
    match family {
        Family::LinearPlateau => used,
        Family::QuadraticPlateau => used - 0.5 * used * used / shape,
        _ => -(-rate / shape).exp_m1() * shape,
    }
}

/// Joins, or for the exponential 1/k: dense inside the tested rates, at them, and beyond by their inverse.
fn shapes(rates: &[f64], family: Family) -> Vec<f64> {
    let mut rates = rates.to_vec();
    rates.sort_by(f64::total_cmp);
    rates.dedup();
    let (lowest, second, top) = (rates[0], rates[1], rates[rates.len() - 1]);
    let from = if family == Family::ExponentialRise { (second - lowest) / 40.0 } else { second };
    let inside = (0..=400).map(|step| from * (top / from).powf(f64::from(step) / 400.0));
    let beyond = (1..100).map(|step| top * 100.0 / f64::from(step));
    inside.chain(beyond).chain(rates[1..].iter().copied()).collect()
}

#[test]
fn no_curve_of_a_dense_grid_fits_better_than_the_global_fit() {
    let (mut held, mut beaten) = (0, 0.0_f64);
    for index in 0..TRIALS {
        let trial = trial(index);
        let Ok(observations) = Observations::new(&trial.rates, &trial.yields, Some(&trial.groups)) else { continue };
        let y = centred(trial.yields.iter().copied(), &trial.groups);
        let largest = trial.yields.iter().fold(0.0_f64, |most, y| most.max(y.abs()));
        let noiseless = NOISELESS * largest * largest * y.len() as f64;
        let lowest = observations.lowest_rate();
        for family in [Family::LinearPlateau, Family::QuadraticPlateau, Family::ExponentialRise] {
            // From the lowest rate, so that an exponential does not vanish far from zero.
            let from = if family == Family::ExponentialRise { lowest } else { 0.0 };
            let column =
                |shape: f64| centred(trial.rates.iter().map(|rate| basis(family, rate - from, shape)), &trial.groups);
            let grid = shapes(&trial.rates, family).into_iter().filter_map(|shape| rising(&y, &column(shape)));
            let grid = grid.fold(f64::INFINITY, f64::min);
            match observations.fit(family) {
                Fit::Estimated(curve) => {
                    beaten = beaten.max(curve.rss / grid - 1.0);
                    let enough = curve.rss <= grid * (1.0 + NO_WORSE) + noiseless;
                    assert!(enough, "trial {index} {family}: {} here, {grid} on the grid", curve.rss);
                    held += 1;
                }
                Fit::NotEstimable { reason, .. } => {
                    let allowed =
                        grid.is_infinite() || reason.contains("distinct rates") || reason.contains("parameters");
                    let allowed = allowed || reason.contains("so steeply") || grid <= noiseless;
                    // A rise of rounding alone is none.
                    let total = y.iter().map(|y| y * y).sum::<f64>();
                    assert!(
                        allowed || grid >= total * (1.0 - 1e-12),
                        "trial {index} {family}: {reason}, {grid} on the grid"
                    );
                }
            }
        }
    }
    assert!(held > 20_000, "{held}");
    assert!(beaten <= NO_WORSE, "{beaten}");
}
