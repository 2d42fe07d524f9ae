//! Designed experiments: analysis of variance, mixed models and means.
//!
//! The user names the design; which error each effect is tested on follows from it. [`Experiment`] holds the plots with their treatments
//! and design ([`experiment_of_trial`], [`experiments_of_columns`], [`combined`] for several site-years), [`analyse`] gives an
//! [`Analysis`].
//!
//! | design | method |
//! |---|---|
//! | balanced | the classical table: means swept out effect by effect (`classical`) |
//! | not balanced, one error | least squares with fixed blocks (`least_squares`) |
//! | not balanced, several errors; random terms asked for | a mixed model by REML or ML (`mixed`) |

mod analyse;
mod assembled;
mod assumptions;
mod balance;
mod classical;
mod combined;
mod comparisons;
mod confounded;
mod engine;
mod experiment;
mod hypotheses;
mod least_squares;
mod linear;
mod means;
mod mixed;
mod programme;
mod result;
mod sources;
mod table;
mod terms;
#[cfg(test)]
mod tests;

pub use crate::stats::mixed_model::DegreesOfFreedom;
pub use analyse::{AnovaOptions, AskedMethod, Effect, NotAnalysed, ResidualVariance, analyse};
pub use combined::combined;
pub use experiment::{Experiment, Factor, WholeUnits};
pub use programme::{Analysed, analyses_of_programme};
pub use result::{
    Analysis, AnalysisKey, Assumptions, Comparison, ComparisonFamily, Component, ErrorVariances, FittedLikelihood,
    Method, Note, Outlier, Pair, PlotResidual, SiteYearPrediction, SourceRow, StratumError, TermTests, TreatmentMeanOf,
    TreatmentMeans, VarianceOf,
};
pub use sources::{experiment_of_trial, experiments_of_columns};
