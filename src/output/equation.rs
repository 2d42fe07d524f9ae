//! A curve as a formula that is read at a glance.

use super::curves::Coefficients;
use super::numbers::{fixed, significant};

/// Significant digits of a coefficient per rate unit.
const DIGITS: i32 = 4;

/// *40.3 + 0.6027 N − 0.002513 N², then 76.5*: the plateau last. `decimals` are those of yields.
pub(crate) fn equation(coefficients: &Coefficients, decimals: usize) -> String {
    let Some(intercept) = coefficients.intercept else { return String::new() };
    let of_yield = |value: f64| fixed(value, decimals);
    let mut text = of_yield(intercept).replace('-', "−");
    if let (Some(rise), Some(constant)) = (coefficients.rise, coefficients.rate_constant) {
        text += &term(Some(rise), of_yield, &format!(" (1 − exp(−{} N))", significant(constant, DIGITS)));
        return text;
    }
    if let Some(rise) = coefficients.rise {
        // A step before the first rate: how steep it is the plots do not tell.
        return text + &term(Some(rise), of_yield, " at once");
    }
    let per_rate = |value: f64| significant(value, DIGITS);
    text += &term(coefficients.root, per_rate, " √N");
    text += &term(coefficients.slope, per_rate, " N");
    text += &term(coefficients.curvature, per_rate, " N²");
    match coefficients.plateau {
        Some(plateau) => text + ", then " + &of_yield(plateau).replace('-', "−"),
        None => text,
    }
}

/// A coefficient with its sign, and what it is multiplied by.
fn term(coefficient: Option<f64>, written: impl Fn(f64) -> String, of: &str) -> String {
    coefficient.map_or_else(String::new, |value| {
        let sign = if value < 0.0 { '−' } else { '+' };
        format!(" {sign} {}{of}", written(value.abs()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_written_as_its_formula() {
        let level = Coefficients { intercept: Some(40.318), ..Coefficients::default() };
        let plateau = Coefficients {
            slope: Some(0.602659),
            curvature: Some(-0.00251269),
            plateau: Some(76.4544),
            ..level.clone()
        };
        assert_eq!(equation(&plateau, 1), "40.3 + 0.6027 N − 0.002513 N², then 76.5");
        let root = Coefficients { root: Some(5.2), slope: Some(-0.11), ..level.clone() };
        assert_eq!(equation(&root, 1), "40.3 + 5.200 √N − 0.1100 N");
        let rise = Coefficients { rise: Some(38.21), rate_constant: Some(0.0191), ..level.clone() };
        assert_eq!(equation(&rise, 1), "40.3 + 38.2 (1 − exp(−0.01910 N))");
        assert_eq!(equation(&Coefficients { rate_constant: None, ..rise }, 1), "40.3 + 38.2 at once");
        assert_eq!(equation(&level, 1), "40.3");
        assert_eq!(equation(&Coefficients::default(), 1), "");
    }
}
