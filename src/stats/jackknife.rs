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

/// The estimate ± t standard errors, t with n − 1 degrees of freedom; not computed below two units.
#[must_use]
pub fn interval(estimate: f64, without_one: &[f64], level: f64, method: &str) -> Interval {
    let error = standard_error(without_one);
    match t_quantile(0.5 * (1.0 + level), without_one.len() as f64 - 1.0) {
        Some(t) => {
            Interval::between(Some(estimate), Some(estimate - t * error), Some(estimate + t * error), level, method)
        }
        None => Interval::not_computed(Some(estimate), level, method),
    }
}

#[cfg(test)]
mod tests {
    use super::interval;

    #[test]
    fn the_jackknife_of_a_mean_is_its_students_interval() {
        // Values 4, 9, 2, 7, 8: mean 6, variance 8.5, standard error √1.7; t(0.975; 4) = 2.776445 (from any t table).
        let values = [4.0, 9.0, 2.0, 7.0, 8.0];
        let without: Vec<f64> = values.iter().map(|value| (30.0 - value) / 4.0).collect();
        let found = interval(6.0, &without, 0.95, "t");
        let half = 2.776_445 * 1.7_f64.sqrt();
        approx::assert_relative_eq!(found.low.unwrap(), 6.0 - half, max_relative = 1e-6);
        approx::assert_relative_eq!(found.high.unwrap(), 6.0 + half, max_relative = 1e-6);
    }
}
