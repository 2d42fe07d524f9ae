//! Response curves: how a yield answers to a rate, fitted exactly, with intervals.
//!
//! Every family here is linear once its shape is fixed, so a fit is a search in at most one dimension, made exactly between every two
//! neighbouring tested rates:
//!
//! 1. [`Observations`] takes the plots, removes the nuisance means (blocks) and reduces what is left to one small matrix `R` over the
//!    distinct rates and a vector `z`. For any curve `g` of the rates, the residual sum of squares is then
//!    `pure error + ‖z − b·R·g‖²`: the first term is the same for all curves, the second is their lack of fit.
//! 2. Between two tested rates the column `x(t) = R·g(t)` of a plateau family is a polynomial of degree one or two in the shape `t`
//!    (`t` = join for the linear-plateau, `t` = 1/join for the quadratic-plateau). The explained sum of squares `(x·z)²/(x·x)` has its
//!    stationary points where a polynomial of degree one or four vanishes: all of them are found, and the best is the global one.
//! 3. The column of the exponential rise is no polynomial of its shape, but every part of it falls as the shape grows, so that intervals
//!    that provably hold no minimum are dropped until the minima are bracketed (`exponential_search`).
//! 4. Profile intervals are the sets where `(x·z)² − T·(x·x) ≥ 0`: roots again.
//!
//! Nothing here knows of crops, money or units: a rate is a number of at least zero, and the "optimum" is the rate where the slope
//! equals a ratio. The intercept of a fit with groups is the unweighted mean of the group intercepts.

mod arrangements;
mod band;
mod bootstrap;
mod choose;
mod curve;
mod diagnostics;
mod exponential_rise;
mod exponential_search;
mod factor;
mod family;
mod fieller;
mod fit;
mod gradient;
mod intervals;
mod join;
mod linear;
mod linear_plateau;
mod linearised;
#[cfg(test)]
mod made_up;
mod mean;
mod means;
mod method;
mod observations;
mod optimum;
mod optimum_interval;
mod plateau;
mod plateau_interval;
mod projection;
mod quadratic;
mod quadratic_plateau;
mod reduced;
mod refit;
mod response_test;
mod square_root;
mod wald;

pub use band::Band;
pub use bootstrap::{BOOTSTRAP_REPLICATES, Bootstrap, BootstrapLimits, Resampling};
pub use choose::{
    ABOUT_EQUALLY_WELL, AveragedOptimum, Choice, Disagreement, FamilyOptimum, FamilyWeight, NEARLY_AS_WELL, Weights,
    average, averaged_optimum, choose, disagreement, spanned, weights,
};
pub use curve::{Coefficients, Curve, Fit, Reach};
pub use diagnostics::{Diagnostics, Furthest, HighestLeverage, LackOfFit, Residual};
pub use factor::{CurvesTest, FactorTest, NestedTest, factor_test};
pub use family::{Family, UnknownFamily};
pub use means::{MOST_REPLICATES, PooledError};
pub use method::{IntervalMethod, Quantity};
pub use observations::{DataError, Observations, TreatmentMean};
pub use optimum::{Optimum, OptimumStatus};
pub use response_test::{RESPONSE_ALPHA, ResponseTest, TestedBy, TreatmentTest};
pub use wald::StandardErrors;
