//! A fitted curve and how the fit ended.

use super::family::Family;
use super::{exponential_rise, linear, linear_plateau, mean, quadratic, quadratic_plateau, square_root};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Coefficients of y = f(N), N in the rate unit. What a family does not have, or the data do not give, is `None`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Coefficients {
    /// f(0), in yield units; with groups the unweighted mean of the group intercepts.
    pub intercept: f64,
    /// Slope at N = 0, in yield units a rate unit; of the square root the factor of N. An exponential rise has it where it is the line
    /// that is its limit.
    pub slope: Option<f64>,
    /// The factor of N², in yield units a squared rate unit.
    pub curvature: Option<f64>,
    /// The plateau, in yield units; `None` where the join is not reached within the tested rates.
    pub plateau: Option<f64>,
    /// Of the square root: the factor of √N, in yield units a root of the rate unit.
    pub root: Option<f64>,
    /// Of the exponential: the rise from f(0) to what the curve nears, in yield units.
    pub rise: Option<f64>,
    /// Of the exponential: k in e^(−kN), a rate unit⁻¹.
    pub rate_constant: Option<f64>,
}

impl Coefficients {
    /// An intercept and nothing else.
    pub fn level(intercept: f64) -> Self {
        Self { intercept, slope: None, curvature: None, plateau: None, root: None, rise: None, rate_constant: None }
    }
}

/// Where the join of a plateau family lies, or for an exponential rise whether its rate constant is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reach {
    /// Between the second and the highest tested rate; an exponential rise bends within the tested rates.
    WithinTestedRates,
    /// At or beyond the highest tested rate: the curve has no plateau where there are data. The exponential rise is its limit, a line.
    NotReached,
    /// Anywhere up to the second tested rate: no plot distinguishes the joins there. The reported curve joins at the second rate; the
    /// exponential rise is its limit, a step that is over before the second rate.
    BeforeFirstRate,
}

/// A curve as fitted to observations.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    /// The family.
    pub family: Family,
    /// The coefficients of y = f(N) inside the tested range.
    pub coefficients: Coefficients,
    /// Residual sum of squares of the model fitted, nuisance included.
    pub rss: f64,
    /// Observations minus mean parameters (groups, slopes and the shape).
    pub df: usize,
    /// √(rss/df); `None` without degrees of freedom.
    pub sigma: Option<f64>,
    /// 1 − RSS/RSS(mean, same nuisance); `None` where the yields do not differ within groups.
    pub r_squared: Option<f64>,
    /// −2·loglik + 2k with loglik = −n/2·(ln 2π + ln(RSS/n) + 1) and k all mean parameters, the shape and the variance; `None`
    /// where the residuals are rounding only.
    pub aic: Option<f64>,
    /// AIC + 2k(k+1)/(n−k−1) (Hurvich & Tsai 1989, from memory); `None` where n − k − 1 ≤ 0 too.
    pub aicc: Option<f64>,
    /// −2·loglik + k·ln n; `None` as for AIC.
    pub bic: Option<f64>,
    /// The join in the rate unit, where it lies within the tested rates and the data determine it.
    pub join: Option<f64>,
    /// Where the join lies; `None` for a family without one.
    pub reach: Option<Reach>,
    /// The lowest tested rate.
    pub lowest_rate: f64,
    /// The highest tested rate.
    pub highest_rate: f64,
}

impl Curve {
    /// f(N), in yield units. Outside the tested range it is extrapolation, and the caller must say so.
    pub fn value(&self, rate: f64) -> f64 {
        let value = match self.family {
            Family::Mean => mean::value,
            Family::Linear => linear::value,
            Family::Quadratic => quadratic::value,
            Family::SquareRoot => square_root::value,
            Family::ExponentialRise => exponential_rise::value,
            Family::LinearPlateau => linear_plateau::value,
            Family::QuadraticPlateau => quadratic_plateau::value,
        };
        value(&self.coefficients, rate)
    }

    /// f'(N), in yield units a rate unit; at a join the slope to its right.
    pub fn slope_at(&self, rate: f64) -> f64 {
        let slope = match self.family {
            Family::Mean => mean::slope,
            Family::Linear => linear::slope,
            Family::Quadratic => quadratic::slope,
            Family::SquareRoot => square_root::slope,
            Family::ExponentialRise => exponential_rise::slope,
            Family::LinearPlateau => linear_plateau::slope,
            Family::QuadraticPlateau => quadratic_plateau::slope,
        };
        slope(&self.coefficients, rate)
    }

    /// Whether the curve is steeper the more N there is, so that no rate inside the tested ones is its best.
    pub fn bends_upward(&self) -> bool {
        let c = &self.coefficients;
        c.curvature.is_some_and(|bend| bend >= 0.0) || c.root.is_some_and(|root| root <= 0.0)
    }

    /// The plateau within the tested rates, or what an exponential nears, in yield units; `None` without one.
    pub fn plateau(&self) -> Option<f64> {
        let c = &self.coefficients;
        c.plateau.or(c.rise.map(|rise| c.intercept + rise))
    }

    /// The join, or where the data do not determine it the one that the coefficients imply; infinite for a line, `None` without a
    /// plateau family.
    pub(crate) fn implied_join(&self) -> Option<f64> {
        self.join.or(match self.family {
            Family::LinearPlateau => Some(linear_plateau::join(&self.coefficients)),
            Family::QuadraticPlateau => Some(quadratic_plateau::join(&self.coefficients)),
            Family::Mean | Family::Linear | Family::Quadratic | Family::SquareRoot | Family::ExponentialRise => None,
        })
    }
}

/// How a fit ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "status")]
#[allow(clippy::large_enum_variant, reason = "most fits are estimated, and there are few of them")]
pub enum Fit {
    /// The curve.
    Estimated(Curve),
    /// The data do not determine a curve of this family.
    NotEstimable {
        /// The family asked for.
        family: Family,
        /// Why, in words for a reader.
        reason: String,
    },
}

impl Fit {
    /// The family that was asked for.
    pub fn family(&self) -> Family {
        match self {
            Fit::Estimated(curve) => curve.family,
            Fit::NotEstimable { family, .. } => *family,
        }
    }

    /// The curve, where there is one.
    pub fn curve(&self) -> Option<&Curve> {
        match self {
            Fit::Estimated(curve) => Some(curve),
            Fit::NotEstimable { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Observations;
    use approx::assert_relative_eq;

    fn curves() -> Vec<Curve> {
        let rates = [0.0, 40.0, 80.0, 120.0, 160.0, 0.0, 160.0];
        let yields = [40.0, 55.0, 66.0, 71.0, 70.0, 41.0, 72.0];
        let observations = Observations::new(&rates, &yields, None).unwrap();
        Family::ALL.iter().filter_map(|family| observations.fit(*family).curve().cloned()).collect()
    }

    #[test]
    fn the_slope_is_the_derivative_of_the_value() {
        assert_eq!(curves().len(), Family::ALL.len());
        for curve in curves() {
            for rate in [5.0, 33.0, 71.0, 118.0, 159.0] {
                let difference = (curve.value(rate + 1e-3) - curve.value(rate - 1e-3)) / 2e-3;
                assert_relative_eq!(curve.slope_at(rate), difference, epsilon = 1e-8);
            }
        }
    }

    #[test]
    fn the_plateau_begins_at_the_join_without_a_step() {
        for curve in curves().iter().filter(|curve| curve.join.is_some()) {
            let join = curve.join.unwrap();
            assert_relative_eq!(curve.value(join), curve.coefficients.plateau.unwrap(), max_relative = 1e-12);
            assert_relative_eq!(curve.value(join * 2.0), curve.coefficients.plateau.unwrap(), max_relative = 1e-12);
            assert_eq!(curve.slope_at(join * 1.01), 0.0);
        }
    }

    #[test]
    fn a_fit_survives_its_own_json() {
        for curve in curves() {
            let fit = Fit::Estimated(curve);
            let json = serde_json::to_string(&fit).unwrap();
            assert_eq!(serde_json::from_str::<Fit>(&json).unwrap(), fit);
            assert!(json.starts_with(r#"{"status":"estimated","family":"#), "{json}");
        }
    }
}
