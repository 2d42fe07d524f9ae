//! How an interval is made, and what it is an interval of.

use super::bootstrap::Bootstrap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How an interval is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum IntervalMethod {
    /// Every value of the quantity itself whose best curve has a residual sum of squares under RSSmin·(1 + F(level; 1, df)/df).
    #[default]
    Profile,
    /// The estimate ± t(level; df) standard errors, from the curve's derivatives at the estimate (the delta method).
    Wald,
    /// Fieller's (1954, from memory) set of a ratio of two coefficients: for families whose optimum is one.
    Fieller,
    /// What the same analysis gives for resampled yields.
    Bootstrap(Bootstrap),
}

impl IntervalMethod {
    /// How it resamples, if it does.
    #[must_use]
    pub fn bootstrap(&self) -> Option<Bootstrap> {
        match self {
            IntervalMethod::Bootstrap(how) => Some(*how),
            IntervalMethod::Profile | IntervalMethod::Wald | IntervalMethod::Fieller => None,
        }
    }

    /// The name that results carry, for example `profile`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            IntervalMethod::Profile => "profile",
            IntervalMethod::Wald => "wald",
            IntervalMethod::Fieller => "fieller",
            IntervalMethod::Bootstrap(_) => "bootstrap",
        }
    }
}

/// What a curve's parameters determine, in the units of rates and yields.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// f(0), in yield units.
    Intercept,
    /// The slope at N = 0, of a square root the factor of N, in yield units a rate unit.
    Slope,
    /// The factor of N², in yield units a squared rate unit.
    Curvature,
    /// Of a square root: the factor of √N, in yield units a root of the rate unit.
    Root,
    /// Of an exponential: the rise from f(0) to what the curve nears, in yield units.
    Rise,
    /// Of an exponential: k in e^(−kN), a rate unit⁻¹.
    RateConstant,
    /// The plateau, or what an exponential nears, in yield units.
    Plateau,
    /// The join, in the rate unit.
    Join,
    /// The rate where the slope equals a ratio, in the rate unit: at 0 the agronomic optimum.
    Optimum {
        /// Yield units a rate unit.
        slope_ratio: f64,
    },
}
