//! Linear mixed models by restricted maximum likelihood or maximum likelihood.
//!
//! `y = Xβ + Zb + e`: the coefficients b of every level of a random term are normal with a covariance matrix G of that term, all levels
//! independent; the errors e are normal with one variance, or one a group. So `V = Var(y) = ZGZᵀ + R`, and β is estimated by generalised
//! least squares at the variances whose (restricted) likelihood is largest. The search runs over covariance *factors*, so that a variance
//! of zero is an ordinary answer. Sources: Harville 1977, J. Am. Stat. Assoc. 72:320-338 (likelihoods and derivatives); Bates, Mächler,
//! Bolker & Walker 2015, J. Stat. Softw. 67(1) (the profiled criterion); further ones beside each formula.
//!
//! # Limits
//! Work grows linearly with the number of *components* (observations that no chain of shared levels connects) and with the third power
//! of the number of random effects in one: nested and crossed designs within site-years are fast, a single component with thousands of
//! random effects is not.

mod basis;
mod cells;
mod curvature;
mod dense;
mod design;
mod inference;
mod kenward_roger;
mod layout;
mod model;
mod point;
mod prediction;
mod profile;
mod search;
#[cfg(test)]
mod tests;
mod turning;

pub use inference::{Contrast, FTest};
pub use model::{MixedModel, ResidualVariance, TermCovariance, fit};
pub use prediction::{OfLevel, Prediction, RandomEffect};
pub use profile::VarianceOf;

use thiserror::Error;

/// A random term: coefficients that every level of a factor draws anew.
#[derive(Clone, Debug, PartialEq)]
pub struct RandomTerm {
    /// What the term is called in results and errors.
    pub name: String,
    /// The level of each observation. Any numbers: only whether they are equal matters.
    pub group_of: Vec<usize>,
    /// One column a random coefficient, as long as the response. None: a random intercept.
    pub columns: Vec<Vec<f64>>,
    /// Whether the coefficients of one level may be correlated. Without it each has a variance of its own, and no covariance.
    pub correlated: bool,
}

impl RandomTerm {
    /// A random intercept.
    pub fn intercept(name: &str, group_of: Vec<usize>) -> Self {
        Self { name: name.to_owned(), group_of, columns: Vec::new(), correlated: false }
    }
}

/// What a mixed model is fitted to.
#[derive(Clone, Debug, PartialEq)]
pub struct MixedData {
    /// The response.
    pub y: Vec<f64>,
    /// The fixed columns, each as long as the response, an intercept being a column of ones. A column that earlier ones span is left out.
    pub fixed: Vec<Vec<f64>>,
    /// The random terms. None: a linear model.
    pub random: Vec<RandomTerm>,
    /// The group of each observation with one residual variance a group; `None`: one for all.
    pub residual_group: Option<Vec<usize>>,
}

/// Which likelihood is maximised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Likelihood {
    /// Restricted: of contrasts that do not depend on β. Variances are unbiased in balanced data; criteria compare models with the same
    /// fixed columns only.
    Reml,
    /// That of the response itself.
    Ml,
}

/// How the degrees of freedom of a test are approximated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DegreesOfFreedom {
    /// By matching the variance of the estimated variance of the contrast (Satterthwaite 1946, Biometrics 2:110-114; Giesbrecht & Burns
    /// 1985, Biometrics 41:477-486); several rows after Fai & Cornelius 1996, J. Stat. Comput. Simul. 54:363-378.
    Satterthwaite,
    /// After Kenward & Roger 1997, Biometrics 53:983-997: the covariance matrix corrected for having estimated the variances, F scaled.
    /// For restricted likelihood only.
    #[default]
    KenwardRoger,
}

impl DegreesOfFreedom {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::KenwardRoger => "kenward-roger",
            Self::Satterthwaite => "satterthwaite",
        }
    }
}

/// Why there is no fit.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum MixedModelError {
    /// Something is not as long as the response.
    #[error("{what}: {found} values where the response has {expected}")]
    Lengths {
        /// What it is.
        what: String,
        /// Its length.
        found: usize,
        /// The number of observations.
        expected: usize,
    },
    /// A number that is not finite, or too large to be squared.
    #[error("{what}: a number is missing, infinite or too large")]
    NotFinite {
        /// Where it stands.
        what: String,
    },
    /// The fixed columns take every degree of freedom.
    #[error("{observations} observations for {coefficients} coefficients leave no degrees of freedom for the error")]
    NoDegreesOfFreedom {
        /// Observations.
        observations: usize,
        /// Fixed columns that are independent.
        coefficients: usize,
    },
    /// The fixed columns fit the response without error.
    #[error("the fixed effects fit the response without error: there is no variance to estimate")]
    NoVariation,
    /// The columns of a random term are zero or depend on each other.
    #[error("the random coefficients of {term} can't be told apart: one of their columns follows from the others")]
    RandomColumns {
        /// The term.
        term: String,
    },
    /// Variances that the data can't tell apart from each other, or from the fixed effects.
    #[error("these variances can't be told apart, or the fixed effects take them up: {}", terms.join(", "))]
    NotIdentified {
        /// The names of the terms; `residual` is the error.
        terms: Vec<String>,
    },
    /// The residual variance of a group goes to zero: the likelihood has no maximum.
    #[error(
        "fixed and random effects leave the observations of residual group {group} no error beside the spread of the response"
    )]
    FittedWithoutError {
        /// The label of the group; 0 where all observations are one.
        group: usize,
    },
    /// The likelihood could not be evaluated.
    #[error(
        "the likelihood could not be evaluated in floating point: the variances differ by too many orders of magnitude"
    )]
    NotEvaluated,
}
