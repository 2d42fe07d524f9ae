//! Distributions, with the tails kept: survival functions instead of `1 - cdf`, quantiles polished on them.

use libm::erfc;
use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, FisherSnedecor, Normal, StudentsT};
use statrs::function::beta::ln_beta;
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// The quantile of Student's t with `df` degrees of freedom at probability `p`.
///
/// `None` unless `0 < p < 1` and `df > 0`. The library's quantile is polished by Newton steps on the survival function, because it is
/// good to about nine digits only.
pub fn t_quantile(p: f64, df: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    if p == 0.5 {
        return (df > 0.0).then_some(0.0);
    }
    if p < 0.5 {
        return t_quantile_upper(p, df).map(|t| -t);
    }
    t_quantile_upper(1.0 - p, df)
}

/// The value that Student's t exceeds with probability `upper`, at most one half.
fn t_quantile_upper(upper: f64, df: f64) -> Option<f64> {
    let t = distribution_of_t(df)?;
    let start = -t.inverse_cdf(upper);
    polish(start, upper, |x| t.sf(x), |x| t.pdf(x))
}

/// The two-sided probability of a t at least as far from zero as `t`; `None` unless `df > 0` and `t` is a number.
pub fn t_two_sided(t: f64, df: f64) -> Option<f64> {
    let distribution = distribution_of_t(df)?;
    (!t.is_nan()).then(|| (2.0 * distribution.sf(t.abs())).min(1.0))
}

/// The quantile of F with `df1` and `df2` degrees of freedom at probability `p`; `None` unless `0 < p < 1` and both are positive.
pub fn f_quantile(p: f64, df1: f64, df2: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    if df1 == 1.0 {
        // F(1, ν) is the square of t(ν), whose quantile is the better conditioned.
        return t_quantile_upper((1.0 - p) / 2.0, df2).map(|t| t * t);
    }
    let f = FisherSnedecor::new(df1, df2).ok()?;
    // By logarithms: the library's density is not a number from some hundred degrees of freedom on.
    let constant = df1 / 2.0 * df1.ln() + df2 / 2.0 * df2.ln() - ln_beta(df1 / 2.0, df2 / 2.0);
    let density = |x: f64| (constant + (df1 / 2.0 - 1.0) * x.ln() - (df1 + df2) / 2.0 * df1.mul_add(x, df2).ln()).exp();
    polish(f.inverse_cdf(p), 1.0 - p, |x| f.sf(x), density)
}

/// The probability of an F at least as large as `f`; `None` unless both degrees of freedom are positive and `f` is a number.
pub fn f_survival(f: f64, df1: f64, df2: f64) -> Option<f64> {
    let distribution = FisherSnedecor::new(df1, df2).ok()?;
    if f.is_nan() {
        return None;
    }
    if f.is_infinite() {
        return Some(if f > 0.0 { 0.0 } else { 1.0 });
    }
    Some(distribution.sf(f))
}

/// The quantile of χ² with `df` degrees of freedom at probability `p`; `None` unless `0 < p < 1` and `df > 0`.
pub fn chi_square_quantile(p: f64, df: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    let chi_square = ChiSquared::new(df).ok()?;
    polish(chi_square.inverse_cdf(p), 1.0 - p, |x| chi_square.sf(x), |x| chi_square.pdf(x))
}

/// The probability of a χ² at least as large as `x`; `None` unless `df > 0` and `x` is a number.
pub fn chi_square_survival(x: f64, df: f64) -> Option<f64> {
    let chi_square = ChiSquared::new(df).ok()?;
    (!x.is_nan()).then(|| if x <= 0.0 { 1.0 } else { chi_square.sf(x) })
}

fn distribution_of_t(df: f64) -> Option<StudentsT> {
    StudentsT::new(0.0, 1.0, df).ok()
}

/// A few Newton steps toward `survival(x) = target`; a step is kept only while it brings the survival closer.
fn polish(start: f64, target: f64, survival: impl Fn(f64) -> f64, density: impl Fn(f64) -> f64) -> Option<f64> {
    if !start.is_finite() {
        return None;
    }
    let mut x = start;
    let mut miss = survival(x) - target;
    for _ in 0..8 {
        let slope = density(x);
        let next = x + miss / slope;
        if miss == 0.0 || !next.is_finite() {
            break;
        }
        let next_miss = survival(next) - target;
        if next_miss.abs() >= miss.abs() {
            break;
        }
        (x, miss) = (next, next_miss);
    }
    Some(x)
}

/// The quantile of the standard normal at probability `p`; `None` unless `0 < p < 1`. Polished as that of t.
pub fn normal_quantile(p: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    let upper = p.min(1.0 - p);
    let start = -Normal::standard().inverse_cdf(upper);
    let quantile = polish(start, upper, normal_survival, |x| normal_log_density(x).exp())?;
    Some(if p < 0.5 { -quantile } else { quantile })
}

/// The logarithm of the standard normal density at `x`.
pub fn normal_log_density(x: f64) -> f64 {
    -0.5 * (x * x + (2.0 * PI).ln())
}

/// The logarithm of the probability that a standard normal exceeds `x`, without underflow far out in the tail.
pub fn normal_log_survival(x: f64) -> f64 {
    if x < 0.0 {
        return (-normal_survival(-x)).ln_1p();
    }
    if x < TAIL {
        return normal_survival(x).ln();
    }
    normal_log_density(x) - normal_hazard(x).ln()
}

/// Density over survival of the standard normal at `x` (the inverse Mills ratio), stable far out in the tail.
pub fn normal_hazard(x: f64) -> f64 {
    if x < TAIL {
        return normal_log_density(x).exp() / normal_survival(x);
    }
    // Laplace's continued fraction x + 1/(x + 2/(x + 3/(x + …))): at `TAIL` this many terms reach rounding.
    let mut fraction = x;
    for term in (1..=30).rev() {
        fraction = x + f64::from(term) / fraction;
    }
    fraction
}

/// The probability that a standard normal exceeds `x`.
pub fn normal_survival(x: f64) -> f64 {
    0.5 * erfc(x * FRAC_1_SQRT_2)
}

/// From here on the hazard is a continued fraction: φ(x) is known to x²/2 units in the last place, and it still has fourteen digits here.
const TAIL: f64 = 6.0;

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// What the survival functions promise (2e-13 against SciPy); a quantile divides that by its relative sensitivity.
    const QUANTILE: f64 = 1e-11;

    #[test]
    fn t_quantiles_agree_with_scipy() {
        // scipy.stats.t.ppf
        for (p, df, expected) in REFERENCE_T {
            assert_relative_eq!(t_quantile(*p, *df).unwrap(), *expected, max_relative = QUANTILE);
        }
    }

    #[test]
    fn a_million_degrees_of_freedom_cost_two_digits() {
        // scipy.stats.t.ppf(.975, 1e6); the library's incomplete beta function is the limit here, and no field trial is that large.
        assert_relative_eq!(t_quantile(0.975, 1e6).unwrap(), 1.959966356814107, max_relative = 1e-9);
    }

    #[test]
    fn f_quantiles_agree_with_scipy() {
        // scipy.stats.f.ppf
        for (p, df1, df2, expected) in REFERENCE_F {
            assert_relative_eq!(f_quantile(*p, *df1, *df2).unwrap(), *expected, max_relative = QUANTILE);
        }
    }

    #[test]
    fn chi_square_quantiles_agree_with_r() {
        // R 4.2.2, qchisq.
        for (p, df, expected) in REFERENCE_CHI_SQUARE {
            assert_relative_eq!(chi_square_quantile(*p, *df).unwrap(), *expected, max_relative = QUANTILE);
        }
    }

    #[test]
    fn chi_square_tails_agree_with_r() {
        // R 4.2.2, pchisq(x, df, lower.tail = FALSE).
        let reference = [
            (0.02, 3.0, 0.9992522446606089),
            (3.2, 3.0, 0.3618050274975322),
            (100.0, 3.0, 1.5541594313896051e-21),
            (700.0, 10.0, 6.280146699235951e-144),
        ];
        for (x, df, expected) in reference {
            assert_relative_eq!(chi_square_survival(x, df).unwrap(), expected, max_relative = QUANTILE);
        }
        assert_eq!(chi_square_survival(0.0, 2.0), Some(1.0));
        assert_eq!((chi_square_survival(f64::NAN, 2.0), chi_square_survival(1.0, 0.0)), (None, None));
    }

    #[test]
    fn normal_tails_agree_with_forty_digits() {
        // mpmath at 40 digits: erfc(x/√2)/2.
        for (x, log_survival, hazard) in REFERENCE_NORMAL {
            assert_relative_eq!(normal_log_survival(*x), *log_survival, max_relative = 1e-13);
            assert_relative_eq!(normal_hazard(*x), *hazard, max_relative = 1e-13);
        }
    }

    #[test]
    fn probabilities_outside_zero_and_one_have_no_quantile() {
        for p in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!(t_quantile(p, 5.0), None);
            assert_eq!(f_quantile(p, 2.0, 5.0), None);
        }
        assert_eq!(t_quantile(0.9, 0.0), None);
        assert_eq!(t_quantile(0.9, f64::NAN), None);
        assert_eq!(f_survival(f64::NAN, 1.0, 2.0), None);
    }

    const REFERENCE_T: &[(f64, f64, f64)] = &[
        (0.975, 1.0, 12.706204736174694),
        (0.975, 3.0, 3.1824463052837078),
        (0.975, 20.0, 2.085963447265864),
        (0.95, 25.0, 1.7081407612518986),
        (0.995, 1000.0, 2.580754698065951),
        (0.05, 12.0, -1.7822875556493194),
        (0.5, 4.0, 0.0),
        (0.9999, 15.0, 4.8799982884245034),
    ];
    const REFERENCE_F: &[(f64, f64, f64, f64)] = &[
        (0.95, 1.0, 1.0, 161.4476387975882),
        (0.95, 1.0, 22.0, 4.300949501777654),
        (0.9, 1.0, 13.0, 3.1362050930216006),
        (0.95, 3.0, 15.0, 3.2873821046365115),
        (0.99, 5.0, 20.0, 4.102684630584732),
        (0.5, 2.0, 7.0, 0.766547789715664),
        (0.95, 300.0, 1000.0, 1.161434176358745),
        (0.975, 2000.0, 4800.0, 1.0759661188953649),
        (0.025, 2000.0, 4800.0, 0.9283418837009565),
        (0.99, 1200.0, 3.0, 26.134798628011332),
    ];
    const REFERENCE_CHI_SQUARE: &[(f64, f64, f64)] = &[
        (0.95, 1.0, 3.841458820694124),
        (0.975, 1.0, 5.023886187314885),
        (0.025, 1.0, 0.0009820691171752562),
        (0.025, 4.0, 0.4844185570879297),
        (0.975, 4.0, 11.1432867818778),
        (0.025, 12.0, 4.403788506981702),
        (0.975, 12.0, 23.33666415864533),
        (0.5, 30.0, 29.33603151666159),
    ];
    const REFERENCE_NORMAL: &[(f64, f64, f64)] = &[
        (-9.0, -1.1285884059538405e-19, 1.0279773571668915e-18),
        (-3.0, -0.0013508099647481938, 0.004437839042125664),
        (-1.99, -0.02357109616905325, 0.05639259423241784),
        (-0.5, -0.3689464152886564, 0.5091604338370335),
        (0.25, -0.9130617648111351, 0.9635539794164039),
        (1.0, -1.8410216450092636, 1.525135276160981),
        (1.99, -3.759496454489689, 2.36436129820252),
        (2.01, -3.8069607849314813, 2.3820757030535398),
        (5.9, -20.125799580203175, 6.060916625635347),
        (20.0, -203.91715537109727, 20.04975306852785),
        (300.0, -45006.62273211866, 300.0033332592634),
    ];
}
