//! A [`Trial`](crate::trial::Trial) or bare columns → observations with their design, and the curves fitted to them.
//!
//! A *group* is what one response curve is fitted to: the plots of one variety, and of one early level where the topdress is what
//! varies. Nuisance (block) and the error stratum follow from the design.

pub mod anova;
mod columns;
mod compared;
mod evidence;
mod factors;
mod fitted;
mod group;
mod optimum_curve;
mod quality;

#[cfg(test)]
mod tests;

pub use columns::groups_of_columns;
pub use evidence::{Evidence, GroupEvidence, TreatmentEvidence, TrialEvidence};
pub use factors::{FactorComparison, compare_factors};
pub use fitted::{FitOptions, Fitted, FittedGroup, GroupOptimum, PERMUTATIONS, Response};
pub use group::{ErrorStratum, GroupKey, LeftOut, PooledOver, ResponseGroup, groups_of_trial};
pub use optimum_curve::{KnownOptimum, OptimumCurve};
pub use quality::{QualityGroup, quality_groups_of_trial};
