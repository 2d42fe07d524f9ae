//! The jackknife: how far an estimate moves where one unit is left out.

use super::distribution::t_quantile;
use super::interval::Interval;

/// √((n − 1)/n·Σ(value without one − their mean)²), the standard error of an estimate from its values without each of n units in turn (Efron &
/// Tibshirani 1993, *An Introduction to the Bootstrap*, chapter 11, from memory). NaN without any.
#[must_use]
pub fn standard_error(without_one: &[f64]) -> f64 {
    let n = without_one.len() as f64;
    let mean = without_one.iter().sum::<f64>() / n;
    ((n - 1.0) / n * without_one.iter().map(|value| (value - mean).powi(2)).sum::<f64>()).sqrt()
}

/// The degrees of freedom that t has where the standard error is the jackknife's: (3.16 − 2.77/√n)·(Σd²)²/Σd⁴, d being how far each value without one
/// unit lies from their mean, from 1 to n − 1 (Johnson & Rust 1992, *Journal of Educational Statistics* 17:175–190, from memory). An error that
/// comes from few of the units is known as well as those few tell. NaN without any unit.
#[must_use]
pub fn degrees_of_freedom(without_one: &[f64]) -> f64 {
    let n = without_one.len() as f64;
    let mean = without_one.iter().sum::<f64>() / n;
    let moment = |power| without_one.iter().map(|value| (value - mean).powi(power)).sum::<f64>();
    let most = (n - 1.0).max(1.0);
    let (second, fourth) = (moment(2), moment(4));
    // Values that do not move at all: nothing is uncertain, and any number does.
    if fourth > 0.0 { ((3.16 - 2.77 / n.sqrt()) * second * (second / fourth)).clamp(1.0, most) } else { most }
}

/// The estimate ± t standard errors, t with the [`degrees_of_freedom`] of the values; not computed below two units.
#[must_use]
pub fn interval(estimate: f64, without_one: &[f64], level: f64, method: &str) -> Interval {
    let error = standard_error(without_one);
    let t = (without_one.len() > 1).then(|| t_quantile(0.5 * (1.0 + level), degrees_of_freedom(without_one))).flatten();
    match t {
        Some(t) => {
            Interval::between(Some(estimate), Some(estimate - t * error), Some(estimate + t * error), level, method)
        }
        None => Interval::not_computed(Some(estimate), level, method),
    }
}

#[cfg(test)]
mod tests {
    use super::{degrees_of_freedom, interval};
    use crate::stats::distribution::normal_quantile;
    use crate::stats::stream::stream;
    use rand::RngExt as _;

    #[test]
    fn the_jackknife_of_a_mean_is_its_students_interval() {
        // Values 4, 9, 2, 7, 8: mean 6, variance 8.5, standard error √1.7; t(0.975; 4) = 2.776445 (from any t table). By hand, of their deviations
        // -2, 3, -4, 1, 2: (3.16 − 2.77/√5)·34²/386 degrees of freedom, more than 4.
        let values = [4.0, 9.0, 2.0, 7.0, 8.0];
        assert_eq!(degrees_of_freedom(&values), 4.0);
        let without: Vec<f64> = values.iter().map(|value| (30.0 - value) / 4.0).collect();
        let found = interval(6.0, &without, 0.95, "t");
        let half = 2.776_445 * 1.7_f64.sqrt();
        approx::assert_relative_eq!(found.low.unwrap(), 6.0 - half, max_relative = 1e-6);
        approx::assert_relative_eq!(found.high.unwrap(), 6.0 + half, max_relative = 1e-6);
    }

    #[test]
    fn an_error_that_comes_from_one_unit_has_about_one_degree_of_freedom() {
        // By hand: deviations 7/8 and seven of -1/8; (Σd²)²/Σd⁴ is 1.3; times 3.16 − 2.77/√8.
        let values = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
        let (second, fourth) = (56.0 / 64.0, (2401.0 + 7.0) / 4096.0);
        let expected = (3.16 - 2.77 / 8.0_f64.sqrt()) * second * second / fourth;
        approx::assert_relative_eq!(degrees_of_freedom(&values), expected, max_relative = 1e-12);
        assert_eq!(degrees_of_freedom(&[3.0; 6]), 5.0);
        assert_eq!(degrees_of_freedom(&[3.0]), 1.0);
    }

    #[test]
    fn units_alike_have_about_as_many_degrees_of_freedom_as_units_less_one() {
        // Cut at n − 1 they come out somewhat lower on average.
        for n in [8_usize, 16, 32] {
            let drawn = |number: u64| {
                let mut random = stream(9, number);
                let mut normal = || normal_quantile(random.random_range(0.0001..0.9999)).expect("inside");
                degrees_of_freedom(&(0..n).map(|_| normal()).collect::<Vec<f64>>())
            };
            let mean = (0..2_000).map(drawn).sum::<f64>() / 2_000.0;
            assert!(mean > 0.75 * (n as f64 - 1.0) && mean < n as f64 - 1.0, "{n}: {mean}");
        }
    }
}
